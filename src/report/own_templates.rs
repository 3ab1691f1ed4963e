//! A user's own templates and layouts: a folder whose files stand in the place of ours.
//!
//! Only files by the names of ours count, and any other is told of, so that a misspelt name does not pass in silence.
//! What they say is tried when they are rendered; a mistake names template, line and what was at hand.

use std::path::{Path, PathBuf};

use crate::output::FileDigest;
use crate::report::template::{TemplateError, Templates};

/// The largest template that is read, bytes.
const LARGEST: u64 = 1 << 20;

/// Why a folder of templates cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum OwnTemplatesError {
    /// The folder or a file of it cannot be read.
    #[error("{0}")]
    Io(#[from] std::io::Error),
    /// A file is no text, or too large.
    #[error("{} is no template: {why}", file.display())]
    NotText {
        /// The file.
        file: PathBuf,
        /// Why.
        why: &'static str,
    },
    /// A template is not valid, or has no name of ours.
    #[error("{}: {source}", file.display())]
    Template {
        /// The file.
        file: PathBuf,
        /// What is wrong.
        source: TemplateError,
    },
}

/// Our templates with those of a folder in their places, and the digests of what was read.
///
/// # Errors
/// If the folder, a file or a template in it cannot be used.
pub fn templates(folder: Option<&Path>) -> Result<(Templates, Vec<FileDigest>), OwnTemplatesError> {
    let embedded = |source| OwnTemplatesError::Template { file: PathBuf::from("embedded"), source };
    let mut templates = Templates::embedded().map_err(embedded)?;
    let mut digests = Vec::new();
    let Some(folder) = folder else { return Ok((templates, digests)) };
    let mut files: Vec<PathBuf> = Vec::new();
    for entry in fs_err::read_dir(folder)? {
        let entry = entry?;
        // Notes and hidden files may lie beside the templates.
        let name = entry.file_name().to_string_lossy().into_owned();
        if !name.starts_with('.')
            && Path::new(&name).extension().is_none_or(|ending| !ending.eq_ignore_ascii_case("md"))
            && !name.ends_with('~')
        {
            files.push(entry.path());
        }
    }
    files.sort();
    for file in files {
        let not_text = |why| OwnTemplatesError::NotText { file: file.clone(), why };
        if fs_err::metadata(&file)?.len() > LARGEST {
            return Err(not_text("it is larger than a megabyte"));
        }
        let bytes = fs_err::read(&file)?;
        let text = std::str::from_utf8(&bytes).map_err(|_| not_text("it is not UTF-8"))?;
        let name = file.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        templates
            .override_with(&name, text)
            .map_err(|source| OwnTemplatesError::Template { file: file.clone(), source })?;
        digests.push(FileDigest::of(name, &bytes));
    }
    Ok((templates, digests))
}
