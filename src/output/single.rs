//! Single files and private folders, outside the folder that is published as a whole.
//!
//! It exists so that a file appears complete or not at all, with the mode the umask asks for, also where another process
//! writes it. It must not record or publish anything.

use std::ffi::OsStr;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use fs_err as fs;

use super::{OutputError, PART, check_relative, create};

/// A folder in the system's temporary folder that lasts as long as this value; for a few small files such as fonts.
#[derive(Debug)]
pub struct PrivateFolder(tempfile::TempDir);

impl PrivateFolder {
    /// Makes an empty folder only this user can read.
    pub fn new() -> Result<PrivateFolder, OutputError> {
        Ok(PrivateFolder(tempfile::Builder::new().prefix("tubwright-").tempdir()?))
    }

    /// The folder itself.
    pub fn path(&self) -> &Path {
        self.0.path()
    }

    /// Writes a file.
    pub fn write(&self, relative: &str, bytes: &[u8]) -> Result<(), OutputError> {
        check_relative(relative)?;
        Ok(create(&self.path().join(relative), bytes)?)
    }

    /// Makes an empty folder inside.
    pub fn folder(&self, relative: &str) -> Result<PathBuf, OutputError> {
        check_relative(relative)?;
        let path = self.path().join(relative);
        fs::create_dir_all(&path)?;
        Ok(path)
    }
}

/// A file being written beside its target by somebody else. Dropped without [`persist`](Pending::persist), it is removed.
#[derive(Debug)]
pub struct Pending {
    path: tempfile::TempPath,
    target: PathBuf,
}

impl Pending {
    /// Makes an empty file beside `target`, whose name ends like the target's, and the folders above it.
    pub fn beside(target: &Path) -> Result<Pending, OutputError> {
        Ok(Pending { path: temporary(target)?.into_temp_path(), target: target.to_owned() })
    }

    /// The file to write to.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Renames the file to its target.
    pub fn persist(self) -> Result<(), OutputError> {
        let Pending { path, target } = self;
        path.persist(&target).map_err(|error| cannot_write(&target, &error.error))
    }
}

/// Writes one file so that a reader sees the old content or the new, never half. An existing file keeps its mode.
pub fn write_atomically(path: &Path, bytes: &[u8]) -> Result<(), OutputError> {
    let mut file = temporary(path)?;
    file.write_all(bytes)?;
    if let Ok(existing) = fs::metadata(path) {
        file.as_file().set_permissions(existing.permissions())?;
    }
    file.as_file().sync_all()?;
    file.persist(path).map_err(|error| cannot_write(path, &error.error))?;
    Ok(sync_folder(folder_of(path))?)
}

fn cannot_write(path: &Path, error: &io::Error) -> OutputError {
    io::Error::new(error.kind(), format!("cannot write {}: {error}", path.display())).into()
}

fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

fn temporary(target: &Path) -> Result<tempfile::NamedTempFile, OutputError> {
    let folder = folder_of(target);
    fs::create_dir_all(folder)?;
    let suffix = target.extension().and_then(OsStr::to_str).map_or_else(String::new, |end| format!(".{end}"));
    let mut builder = tempfile::Builder::new();
    builder.prefix(PART).suffix(&suffix);
    // Temporary files are made for their owner alone; these become the published ones, so the umask decides.
    #[cfg(unix)]
    let permissions = <std::fs::Permissions as std::os::unix::fs::PermissionsExt>::from_mode(0o666);
    #[cfg(unix)]
    builder.permissions(permissions);
    Ok(builder.tempfile_in(folder)?)
}

/// Makes names in a folder survive a power cut, where the system has a way to.
pub(super) fn sync_folder(folder: &Path) -> io::Result<()> {
    #[cfg(unix)]
    fs::File::open(folder)?.sync_all()?;
    #[cfg(not(unix))]
    let _ = folder;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_atomic_write_makes_folders_replaces_and_leaves_nothing_beside() {
        let root = tempfile::tempdir().unwrap();
        let path = root.path().join("a/b/notes.csv");
        write_atomically(&path, b"one").unwrap();
        write_atomically(&path, b"two").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"two");
        assert_eq!(fs::read_dir(root.path().join("a/b")).unwrap().count(), 1);
    }

    #[cfg(unix)]
    #[test]
    fn a_new_file_has_the_mode_of_any_other_and_an_existing_one_keeps_its_own() {
        use std::os::unix::fs::PermissionsExt as _;
        let root = tempfile::tempdir().unwrap();
        let (path, other) = (root.path().join("x"), root.path().join("y"));
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
        write_atomically(&path, b"one").unwrap();
        fs::write(&other, "one").unwrap();
        assert_eq!(mode(&path), mode(&other));
        fs::set_permissions(&path, std::fs::Permissions::from_mode(0o640)).unwrap();
        write_atomically(&path, b"two").unwrap();
        assert_eq!(mode(&path), 0o640);
    }

    #[test]
    fn a_pending_file_is_removed_unless_persisted() {
        let root = tempfile::tempdir().unwrap();
        let target = root.path().join("report.pdf");
        let pending = Pending::beside(&target).unwrap();
        assert_eq!(pending.path().extension(), Some(OsStr::new("pdf")));
        drop(pending);
        assert_eq!(fs::read_dir(root.path()).unwrap().count(), 0);
        let pending = Pending::beside(&target).unwrap();
        fs::write(pending.path(), "%PDF-").unwrap();
        pending.persist().unwrap();
        assert_eq!(fs::read_dir(root.path()).unwrap().count(), 1);
        assert_eq!(fs::read(target).unwrap(), b"%PDF-");
    }
}

/// A folder of files that must not have been there, or must have been empty: what it is given to hold is the user's from
/// then on, and no later run touches it.
#[derive(Debug)]
pub struct NewFolder(PathBuf);

impl NewFolder {
    /// Makes the folder, and those above it.
    ///
    /// # Errors
    /// [`OutputError::NotEmpty`] if it holds anything already; otherwise what the operating system refused.
    pub fn create(path: &Path) -> Result<NewFolder, OutputError> {
        fs::create_dir_all(path)?;
        if fs::read_dir(path)?.next().is_some() {
            return Err(OutputError::NotEmpty { folder: path.to_owned() });
        }
        Ok(NewFolder(path.to_owned()))
    }

    /// Writes a file that is not there yet.
    pub fn write(&self, relative: &str, bytes: &[u8]) -> Result<(), OutputError> {
        check_relative(relative)?;
        Ok(create(&self.0.join(relative), bytes)?)
    }
}
