//! The fleet's folder on disk: which files are there, in sorted order, and their text within bounds.
//!
//! Links are not followed and nothing outside the folder is read. The file knows names and sizes,
//! not what the records mean.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::diagnostic::{Second, Spot};
use crate::records::yaml::{self, Step, Tree};

/// The largest YAML or iCalendar file that is read, in bytes.
pub const LARGEST_RECORD: u64 = 8 << 20;
/// The largest sheet that is read, in bytes.
pub const LARGEST_SHEET: u64 = 64 << 20;

/// The files of a fleet's folder, sorted by name.
#[derive(Debug, Clone)]
pub struct Folder {
    root: PathBuf,
    /// Paths from the folder, with `/`.
    pub files: Vec<String>,
    /// Links, which are not followed, and names that are not text.
    pub refused: Vec<(String, &'static str)>,
    /// Folders in it that are none of the format's, and are not looked into.
    pub other_folders: Vec<String>,
}

/// The folders of a fleet whose files are read.
pub const READ_FOLDERS: [&str; 4] = ["sites", "readings", "bookings", "limits"];

impl Folder {
    /// Lists a fleet's folder: the folder itself and the folders of the format, one level deep.
    ///
    /// # Errors
    /// If the folder cannot be listed.
    pub fn list(root: &Path) -> std::io::Result<Self> {
        let mut folder =
            Self { root: root.to_path_buf(), files: Vec::new(), refused: Vec::new(), other_folders: Vec::new() };
        let mut other_folders = Vec::new();
        for entry in walkdir::WalkDir::new(root)
            .follow_links(false)
            .follow_root_links(true)
            .min_depth(1)
            .max_depth(2)
            .sort_by_file_name()
            .into_iter()
            .filter_entry(|entry| {
                let other = entry.depth() == 1 && entry.file_type().is_dir() && !is_read(entry.file_name());
                if other {
                    other_folders.push(entry.file_name().to_string_lossy().into_owned());
                }
                !other
            })
        {
            let entry = entry.map_err(std::io::Error::from)?;
            let Ok(relative) = entry.path().strip_prefix(root) else { continue };
            let Some(name) = relative.to_str().map(|name| name.replace(std::path::MAIN_SEPARATOR, "/")) else {
                folder.refused.push((relative.to_string_lossy().into_owned(), "its name is not UTF-8 text"));
                continue;
            };
            let parent = name.split_once('/').map(|(parent, _)| parent);
            if parent.is_some_and(|p| !READ_FOLDERS.contains(&p))
                || name.rsplit('/').next().is_some_and(|n| n.starts_with('.'))
            {
                continue;
            }
            let kind = entry.file_type();
            let reads = parent.is_some() || is_read(entry.file_name());
            if kind.is_symlink() && reads {
                folder.refused.push((name, "it is a link, and links are not followed"));
            } else if kind.is_file() {
                folder.files.push(name);
            } else if reads && !(kind.is_dir() && parent.is_none() && READ_FOLDERS.contains(&name.as_str())) {
                // A pipe would be waited for without end, so nothing but plain files is ever opened.
                let what = if kind.is_dir() { "it is a folder" } else { "it is no plain file" };
                folder.refused.push((name, what));
            }
        }
        folder.files.sort();
        folder.other_folders = other_folders;
        Ok(folder)
    }

    /// The folder itself.
    pub fn root(&self) -> &Path {
        &self.root
    }

    /// Whether a file is there.
    pub fn has(&self, file: &str) -> bool {
        self.files.binary_search_by(|f| f.as_str().cmp(file)).is_ok()
    }

    /// The files whose path begins so.
    pub fn beginning(&self, start: &str) -> &[String] {
        let from = self.files.partition_point(|file| file.as_str() < start);
        let count = self.files[from..].iter().take_while(|file| file.starts_with(start)).count();
        &self.files[from..from + count]
    }

    /// The files of a subfolder with an ending, as (stem, path).
    pub fn under<'a>(&'a self, subfolder: &'a str, ending: &'a str) -> impl Iterator<Item = (&'a str, &'a str)> {
        self.files.iter().filter_map(move |file| {
            let rest = file.strip_prefix(subfolder)?.strip_prefix('/')?;
            Some((rest.strip_suffix(ending)?, file.as_str()))
        })
    }

    /// The bytes of a file.
    ///
    /// # Errors
    /// If it cannot be read or is larger than `largest` bytes.
    pub fn bytes(&self, file: &str, largest: u64) -> Result<Vec<u8>, String> {
        use std::io::Read;
        let path = self.root.join(file);
        let opened = fs_err::File::open(path).map_err(|error| plain_error(&error))?;
        let size = opened.metadata().map_or(0, |file| file.len()).min(largest);
        let mut bytes = Vec::with_capacity(size as usize + 1);
        opened.take(largest + 1).read_to_end(&mut bytes).map_err(|error| plain_error(&error))?;
        if bytes.len() as u64 > largest {
            return Err(format!("it is larger than {} MB, more than any such record needs", largest >> 20));
        }
        Ok(bytes)
    }

    /// The text of a file.
    ///
    /// # Errors
    /// If it cannot be read, is too large, or is not UTF-8 text.
    pub fn text(&self, file: &str, largest: u64) -> Result<SourceText, (String, Option<usize>)> {
        let bytes = self.bytes(file, largest).map_err(|error| (error, None))?;
        if bytes.contains(&0) {
            let place = bytes.iter().position(|b| *b == 0).unwrap_or_default();
            return Err(("it holds a NUL byte, so it is not text".to_owned(), Some(line_of(&bytes, place))));
        }
        match String::from_utf8(bytes) {
            Ok(text) => Ok(SourceText::new(file, text)),
            Err(error) => {
                let place = error.utf8_error().valid_up_to();
                let line = line_of(error.as_bytes(), place);
                Err(("it is not UTF-8 text; save it as UTF-8".to_owned(), Some(line)))
            }
        }
    }
}

/// Whether something in the fleet's folder itself may be read: a folder of the format, or what is named like a record.
fn is_read(name: &std::ffi::OsStr) -> bool {
    READ_FOLDERS.iter().any(|folder| name == *folder)
        || Path::new(name).extension().is_some_and(|ending| ending == "yaml" || ending == "csv")
}

/// The error of the system without the path, which the message names already.
fn plain_error(error: &std::io::Error) -> String {
    let whole = error.to_string();
    whole.rsplit("`: ").next().unwrap_or(&whole).to_owned()
}

#[expect(clippy::naive_bytecount, reason = "once, for a message")]
fn line_of(bytes: &[u8], place: usize) -> usize {
    bytes[..place].iter().filter(|b| **b == b'\n').count() + 1
}

/// A file's text, and where things stand in it.
#[derive(Debug)]
pub struct SourceText {
    /// The file, from the fleet's folder.
    pub file: Arc<str>,
    /// Its text.
    pub text: String,
    tree: std::sync::OnceLock<Option<Tree>>,
    /// The byte each line starts at, so that a thousand problems do not read the file a thousand times.
    starts: std::sync::OnceLock<Vec<usize>>,
}

impl SourceText {
    /// A text of a file.
    pub fn new(file: &str, text: String) -> Self {
        Self { file: file.into(), text, tree: std::sync::OnceLock::new(), starts: std::sync::OnceLock::new() }
    }

    fn tree(&self) -> Option<&Tree> {
        self.tree.get_or_init(|| Tree::read(&self.text).ok()).as_ref()
    }

    /// Where a path of a YAML file stands.
    pub fn find(&self, path: &[Step]) -> Option<Spot> {
        self.tree().map(|tree| tree.find(path))
    }

    /// Where a path written as text stands.
    pub fn find_text(&self, path: &str) -> Option<Spot> {
        self.find(&yaml::parse_path(path))
    }

    /// Whether a path of a YAML file is written in it.
    pub fn holds(&self, path: &str) -> bool {
        self.tree().is_some_and(|tree| tree.holds(&yaml::parse_path(path)))
    }

    /// The values of a YAML file that are read, and where they stand.
    pub fn scalars(&self) -> Vec<(&str, Spot)> {
        self.tree().map(Tree::scalars).unwrap_or_default()
    }

    /// A row of a sheet by its line, from 1: where its first cell stands, and its text.
    pub fn row(&self, line: usize) -> Option<(Spot, String)> {
        let text = self.line(line)?;
        let length = text.split(',').next().map_or(1, |cell| cell.chars().count().max(1));
        Some((Spot { line, column: 1, length }, text))
    }

    /// A second place in this file: a path of a YAML file that is written in it.
    pub fn beside(&self, path: &str, label: String) -> Option<Box<Second>> {
        let spot = self.find_text(path).filter(|_| self.holds(path))?;
        let excerpt = self.line(spot.line)?;
        Some(Box::new(Second { file: self.file.to_string(), spot, excerpt, label }))
    }

    /// A second place in this sheet: a row.
    pub fn beside_row(&self, line: usize, label: String) -> Option<Box<Second>> {
        let (spot, excerpt) = self.row(line)?;
        Some(Box::new(Second { file: self.file.to_string(), spot, excerpt, label }))
    }

    /// A line's text, from 1.
    pub fn line(&self, line: usize) -> Option<String> {
        let text = self.text.strip_prefix('\u{feff}').unwrap_or(&self.text);
        let starts = self.starts.get_or_init(|| {
            // A carriage return alone ends a line too, as it does for the reader.
            let bytes = text.as_bytes();
            let ends =
                |index: usize| bytes[index] == b'\n' || bytes[index] == b'\r' && bytes.get(index + 1) != Some(&b'\n');
            std::iter::once(0).chain((0..bytes.len()).filter(|index| ends(*index)).map(|end| end + 1)).collect()
        });
        let start = *starts.get(line.checked_sub(1)?)?;
        text[start..].split(['\r', '\n']).next().filter(|_| start < text.len()).map(str::to_owned)
    }
}

#[cfg(test)]
#[cfg(unix)]
mod tests {
    use std::os::unix::fs::symlink;

    use super::*;

    /// A folder that holds a fleet's folders, and one outside it.
    fn fleet() -> (tempfile::TempDir, PathBuf) {
        let whole = tempfile::tempdir().unwrap();
        let root = whole.path().join("fleet");
        fs_err::create_dir_all(root.join("sites")).unwrap();
        fs_err::write(root.join("fleet.yaml"), "format: 1\n").unwrap();
        fs_err::write(whole.path().join("secret.yaml"), "format: 1\n").unwrap();
        (whole, root)
    }

    fn refused(root: &Path) -> Vec<(String, &'static str)> {
        Folder::list(root).unwrap().refused
    }

    #[test]
    fn links_are_not_followed_wherever_they_lead() {
        let (whole, root) = fleet();
        symlink(whole.path().join("secret.yaml"), root.join("sites/a.yaml")).unwrap();
        symlink(&root, root.join("readings")).unwrap();
        symlink("loop.yaml", root.join("loop.yaml")).unwrap();
        symlink(whole.path(), root.join("unrelated")).unwrap();
        let link = "it is a link, and links are not followed";
        let names = ["loop.yaml", "readings", "sites/a.yaml"].map(|name| (name.to_owned(), link));
        assert_eq!(refused(&root), names);
        assert_eq!(Folder::list(&root).unwrap().files, ["fleet.yaml"]);
    }

    #[test]
    fn only_plain_files_are_read() {
        use rustix::fs::{CWD, FileType, Mode, mknodat};
        let (_whole, root) = fleet();
        fs_err::create_dir_all(root.join("sites/a.yaml/deeper")).unwrap();
        fs_err::create_dir_all(root.join("tubs.yaml")).unwrap();
        fs_err::create_dir_all(root.join("unrelated/pumps.yaml")).unwrap();
        mknodat(CWD, root.join("sites/pipe.yaml"), FileType::Fifo, Mode::RWXU, 0).unwrap();
        let expected = [
            ("sites/a.yaml", "it is a folder"),
            ("sites/pipe.yaml", "it is no plain file"),
            ("tubs.yaml", "it is a folder"),
        ];
        assert_eq!(refused(&root), expected.map(|(name, why)| (name.to_owned(), why)));
        assert_eq!(Folder::list(&root).unwrap().files, ["fleet.yaml"]);
    }

    #[test]
    fn a_huge_file_costs_no_more_than_its_bound() {
        let (_whole, root) = fleet();
        let file = fs_err::File::create(root.join("sites/a.yaml")).unwrap();
        file.set_len(100 << 20).unwrap();
        let folder = Folder::list(&root).unwrap();
        assert!(folder.bytes("sites/a.yaml", LARGEST_RECORD).unwrap_err().contains("larger than 8 MB"));
        assert!(folder.text("sites/a.yaml", LARGEST_RECORD).is_err());
    }

    #[test]
    fn what_is_no_text_is_told_with_its_line() {
        let (_whole, root) = fleet();
        for (bytes, line) in [(&b"format: 1\nname: a\0b\n"[..], 2), (b"\xff\xfe", 1), (b"a\nb\n\xc3\x28", 3)] {
            fs_err::write(root.join("sites/a.yaml"), bytes).unwrap();
            let told = Folder::list(&root).unwrap().text("sites/a.yaml", LARGEST_RECORD).unwrap_err();
            assert_eq!(told.1, Some(line), "{told:?}");
        }
    }
}
