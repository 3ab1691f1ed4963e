//! Replaces a published folder: what stays of the old one, the swap, and what is deleted.
//!
//! The rule it exists for: an earlier run's files go, the user's own stay. It decides by the manifest alone; it must not
//! delete a file that no manifest lists and that the new folder does not have. A listed file is ours even if it was
//! edited by hand since: it is written anew by every run of the month.

use std::collections::BTreeSet;
use std::io;
use std::path::{Path, PathBuf};

use fs_err as fs;
use serde::Deserialize;
use walkdir::WalkDir;

use super::{FileDigest, MANIFEST, OutputError};

/// The part of a manifest this module needs.
#[derive(Deserialize)]
pub(super) struct Manifest {
    pub(super) files: Vec<FileDigest>,
}

/// The files an earlier run put into `folder`; `None` if no run of ours did.
pub(super) fn listed_in(folder: &Path) -> Result<Option<BTreeSet<PathBuf>>, OutputError> {
    let bytes = match fs::read(folder.join(MANIFEST)) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(error.into()),
    };
    let Ok(manifest) = serde_json::from_slice::<Manifest>(&bytes) else { return Ok(None) };
    let mut listed: BTreeSet<PathBuf> = manifest.files.into_iter().map(|file| PathBuf::from(file.path)).collect();
    listed.insert(PathBuf::from(MANIFEST));
    Ok(Some(listed))
}

pub(super) fn relative_to(folder: &Path, path: &Path) -> PathBuf {
    path.strip_prefix(folder).unwrap_or(path).to_owned()
}

/// Puts `part` in the place of `target` and leaves the replaced folder at `old`.
pub(super) fn swap(part: &Path, target: &Path, old: &Path) -> io::Result<()> {
    #[cfg(target_os = "linux")]
    {
        use rustix::fs::{CWD, RenameFlags, renameat_with};
        use rustix::io::Errno;
        match renameat_with(CWD, part, CWD, target, RenameFlags::EXCHANGE) {
            Ok(()) => {
                return fs::rename(part, old).inspect_err(|_| {
                    // Not published, then: `part` is what the caller will remove.
                    let _ = renameat_with(CWD, part, CWD, target, RenameFlags::EXCHANGE);
                });
            }
            // Some file systems cannot exchange.
            Err(Errno::INVAL | Errno::NOSYS | Errno::NOTSUP) => {}
            Err(error) => return Err(error.into()),
        }
    }
    swap_in_two_steps(part, target, old)
}

/// As [`swap`], with a moment in which there is no target. `OutputFolder::open` puts the old one back after a kill then.
fn swap_in_two_steps(part: &Path, target: &Path, old: &Path) -> io::Result<()> {
    fs::rename(target, old)?;
    if let Err(error) = fs::rename(part, target) {
        fs::rename(old, target)?;
        return Err(error);
    }
    Ok(())
}

/// Gives `new` everything in `old` that `listed` does not name, and says what that was. `old` stays as it is.
pub(super) fn carry(old: &Path, new: &Path, listed: &BTreeSet<PathBuf>) -> Result<Vec<PathBuf>, OutputError> {
    let ours: BTreeSet<&Path> = listed.iter().flat_map(|path| path.ancestors().skip(1)).collect();
    let mut carried = Vec::new();
    let mut folders = Vec::new();
    for entry in WalkDir::new(old).min_depth(1).sort_by_file_name() {
        let entry = entry.map_err(io::Error::from)?;
        let relative = relative_to(old, entry.path());
        let place = new.join(&relative);
        if !entry.file_type().is_dir() {
            if listed.contains(&relative) {
                continue;
            }
            carry_file(entry.path(), &place)?;
        } else if ours.contains(relative.as_path()) {
            continue;
        } else {
            if fs::symlink_metadata(&place).is_ok_and(|found| !found.is_dir()) {
                return Err(OutputError::InTheWay { file: entry.path().to_owned() });
            }
            fs::create_dir_all(&place)?;
            folders.push((place, fs::metadata(entry.path())?.permissions()));
        }
        carried.push(relative);
    }
    // Last, since a folder may be closed to writing; and at all, since it may be closed to readers.
    for (folder, permissions) in folders {
        fs::set_permissions(folder, permissions)?;
    }
    Ok(carried)
}

/// Links or copies one file of the user's own, unless it is there already.
fn carry_file(old: &Path, new: &Path) -> Result<(), OutputError> {
    let in_the_way = || OutputError::InTheWay { file: old.to_owned() };
    let kind = fs::symlink_metadata(old)?.file_type();
    if let Ok(found) = fs::symlink_metadata(new) {
        let same = if kind.is_symlink() {
            found.is_symlink() && fs::read_link(old)? == fs::read_link(new)?
        } else {
            kind.is_file() && found.is_file() && fs::read(old)? == fs::read(new)?
        };
        return if same { Ok(()) } else { Err(in_the_way()) };
    }
    if let Some(parent) = new.parent() {
        // Fails where the user's folder has the name of a new file.
        fs::create_dir_all(parent).map_err(|_| in_the_way())?;
    }
    // A link costs nothing and keeps dates and owner; it cannot be made everywhere.
    if fs::hard_link(old, new).is_ok() {
        return Ok(());
    }
    #[cfg(unix)]
    if kind.is_symlink() {
        return Ok(fs_err::os::unix::fs::symlink(fs::read_link(old)?, new)?);
    }
    if !kind.is_file() {
        return Err(in_the_way());
    }
    fs::copy(old, new)?;
    Ok(())
}

/// Deletes the replaced folder: the files its manifest lists, and those the new folder has too.
pub(super) fn retire(old: &Path, new: &Path) -> Result<(), OutputError> {
    let listed = listed_in(old)?.unwrap_or_default();
    // Once more, for what the user saved between the first time and the swap.
    let carried: BTreeSet<PathBuf> = carry(old, new, &listed)?.into_iter().collect();
    for entry in WalkDir::new(old).contents_first(true) {
        let entry = entry.map_err(io::Error::from)?;
        let relative = relative_to(old, entry.path());
        if entry.depth() == 0 {
            // The manifest goes last: a run killed here can be finished by the next one.
            match fs::remove_file(old.join(MANIFEST)) {
                Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error.into()),
                _ => fs::remove_dir(old)?,
            }
        } else if entry.file_type().is_dir() {
            fs::remove_dir(entry.path())?;
        } else if relative != Path::new(MANIFEST) && (listed.contains(&relative) || carried.contains(&relative)) {
            fs::remove_file(entry.path())?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_an_exchange_the_swap_ends_the_same_or_is_undone() {
        let root = tempfile::tempdir().unwrap();
        let [part, target, old] = ["part", "target", "old"].map(|name| root.path().join(name));
        for swap in [swap, swap_in_two_steps] {
            for (folder, text) in [(&part, "new"), (&target, "old")] {
                fs::create_dir(folder).unwrap();
                fs::write(folder.join("file"), text).unwrap();
            }
            swap(&part, &target, &old).unwrap();
            assert_eq!(fs::read_to_string(target.join("file")).unwrap(), "new");
            assert_eq!(fs::read_to_string(old.join("file")).unwrap(), "old");
            assert!(!part.exists());
            fs::remove_dir_all(&old).unwrap();
            swap(&part, &target, &old).unwrap_err();
            assert_eq!(fs::read_to_string(target.join("file")).unwrap(), "new");
            fs::remove_dir_all(&target).unwrap();
        }
    }

    #[test]
    fn a_file_saved_between_carrying_and_the_swap_is_not_lost() {
        let root = tempfile::tempdir().unwrap();
        let [old, new] = ["old", "new"].map(|name| root.path().join(name));
        fs::create_dir(&new).unwrap();
        fs::create_dir(&old).unwrap();
        fs::write(old.join(MANIFEST), r#"{"files": [{"path": "a", "sha256": ""}]}"#).unwrap();
        for name in ["a", "late"] {
            fs::write(old.join(name), name).unwrap();
        }
        retire(&old, &new).unwrap();
        assert!(!old.exists());
        assert_eq!(fs::read_to_string(new.join("late")).unwrap(), "late");
        assert!(!new.join("a").exists());
    }
}
