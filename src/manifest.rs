//! `run.json`: what a run read and wrote, so that a month can be checked afterwards and a run that has nothing to do
//! knows it. No clock and no absolute path, so that it repeats.

use std::path::Path;

use fs_err as fs;
use serde::{Deserialize, Serialize};

use crate::digest::{OfAll, sha256};
use crate::output::{FileDigest, MANIFEST};
use crate::records::tree::{Folder, LARGEST_SHEET};

/// A digest of the sources this program was built from.
pub const SOURCE: &str = env!("TUBWRIGHT_SOURCE");

/// What a run read and wrote.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Manifest {
    /// The as-of day.
    pub as_of: String,
    /// What made it.
    pub versions: Versions,
    /// What the figures and documents were made from, as one digest; absent where the next run should try again although
    /// nothing changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub made_from: Option<String>,
    /// Every file of the fleet that was read.
    pub inputs: Vec<FileDigest>,
    /// Every file that was written, but this one.
    pub files: Vec<FileDigest>,
    /// What was found wrong or odd.
    pub diagnostics: Vec<serde_json::Value>,
    /// What was left out, in words.
    pub left_out: Vec<String>,
}

/// What made a month.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Versions {
    /// This program.
    pub tubwright: String,
    /// A digest of its sources.
    pub source: String,
    /// The renderer, where there was one.
    pub renderer: Option<String>,
    /// The site report's view.
    pub site_view: u32,
    /// The format of the records.
    pub record_format: u32,
}

impl Manifest {
    /// The manifest of a published folder; `None` where there is none this program can read.
    pub fn read(folder: &Path) -> Option<Self> {
        serde_json::from_slice(&fs::read(folder.join(MANIFEST)).ok()?).ok()
    }

    /// Its bytes as they are written.
    ///
    /// # Errors
    /// If it cannot be written as JSON.
    pub fn bytes(&self) -> Result<Vec<u8>, serde_json::Error> {
        let mut bytes = serde_json::to_vec_pretty(self)?;
        bytes.push(b'\n');
        Ok(bytes)
    }

    /// Every way in which a published folder is not as it was written, sorted by path.
    pub fn differences(&self, folder: &Path) -> Vec<Difference> {
        use rayon::prelude::*;
        let mut found: Vec<Difference> = self
            .files
            .par_iter()
            .filter_map(|file| {
                let what = match fs::read(folder.join(&file.path)) {
                    Ok(bytes) if sha256(&bytes) == file.sha256 => return None,
                    Ok(_) => What::Altered,
                    Err(error) if error.kind() == std::io::ErrorKind::NotFound => What::Missing,
                    Err(_) => What::Unreadable,
                };
                Some(Difference { path: file.path.clone(), what })
            })
            .collect();
        let listed: std::collections::BTreeSet<&str> = self.files.iter().map(|file| file.path.as_str()).collect();
        for entry in walkdir::WalkDir::new(folder).min_depth(1).into_iter().filter_map(Result::ok) {
            let relative = entry.path().strip_prefix(folder).unwrap_or(entry.path());
            let path = relative.to_string_lossy().replace(std::path::MAIN_SEPARATOR, "/");
            if !entry.file_type().is_dir() && path != MANIFEST && !listed.contains(path.as_str()) {
                found.push(Difference { path, what: What::Added });
            }
        }
        found.sort();
        found
    }
}

/// One way in which a published folder is not as it was written.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Difference {
    /// The file.
    pub path: String,
    /// What is different.
    pub what: What,
}

/// What is different about a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum What {
    /// It is not what was written.
    Altered,
    /// It is gone.
    Missing,
    /// It cannot be read.
    Unreadable,
    /// No run wrote it.
    Added,
}

impl What {
    /// In a word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Altered => "altered",
            Self::Missing => "missing",
            Self::Unreadable => "cannot be read",
            Self::Added => "not of this run",
        }
    }
}

/// One digest of everything a month is made from: month, what was asked for, versions, inputs.
pub fn made_from(asked_for: &[&str], inputs: &[FileDigest]) -> String {
    let mut all = OfAll::default();
    for text in asked_for {
        all.put(text);
    }
    for input in inputs {
        all.put(&input.path);
        all.put(&input.sha256);
    }
    all.finish()
}

/// The digests of every file of a fleet's folder that may be read.
pub fn inputs(folder: &Folder) -> Vec<FileDigest> {
    use rayon::prelude::*;
    folder
        .files
        .par_iter()
        .filter(|file| [".yaml", ".csv", ".ics"].iter().any(|ending| file.ends_with(ending)))
        .map(|file| {
            // A file too large to be read was told of and read by nobody.
            let bytes = folder.bytes(file, LARGEST_SHEET).unwrap_or_default();
            FileDigest::of(file.clone(), &bytes)
        })
        .collect()
}
