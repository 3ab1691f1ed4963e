//! Puts files where readers find them: a month appears whole or not at all, and nothing of the user's own is lost.
//!
//! A run holds a lock on the output folder, writes into a hidden folder beside the target, and swaps the two in one
//! step. What it deletes is what an earlier run's manifest lists, nothing else. This module is the only one that
//! creates files; it must not know what is in them, and it must not read the clock.
//!
//! Beside the published folder `X` there may be, all ours and all gone after a run that ended well:
//! `.part-X` being written, `.old-X` replaced but not yet deleted, `.kept-X` the renderer's input that failed.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::TryLockError;
use std::io::{self, Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use fs_err as fs;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use walkdir::WalkDir;

use crate::digest::{hexadecimal, sha256};

mod replace;
mod single;

use replace::{Manifest, carry, listed_in, relative_to, retire, swap};
use single::sync_folder;
pub use single::{NewFolder, Pending, PrivateFolder, write_atomically};

/// The manifest's name in every published folder.
pub const MANIFEST: &str = "run.json";

const LOCK: &str = ".lock";
const PART: &str = ".part-";
const OLD: &str = ".old-";
const KEPT: &str = ".kept-";
/// Where the renderer's input is inside a part folder; gone before anything is published.
const BUILD: &str = ".build";

/// Why something could not be written.
#[derive(Debug, thiserror::Error)]
pub enum OutputError {
    /// Another run holds the lock.
    #[error("{} is in use by another run{}", folder.display(), process(*holder))]
    Held {
        /// The output folder.
        folder: PathBuf,
        /// The other run's process id, if it could be read.
        holder: Option<u32>,
    },
    /// The target holds something no run of this program put there.
    #[error("{} is not empty and holds no {MANIFEST} of an earlier run: move it away or choose another output folder", folder.display())]
    NotOurs {
        /// The target.
        folder: PathBuf,
    },
    /// A new folder was asked for and this one holds something.
    #[error("{} is not empty: choose a new folder", folder.display())]
    NotEmpty {
        /// The folder.
        folder: PathBuf,
    },
    /// A name that could lead out of the folder, or would not be the same on every system.
    #[error("`{path}` is not a plain relative path")]
    BadPath {
        /// The path as given.
        path: String,
    },
    /// Two writers for one file: one of them would be lost.
    #[error("`{path}` is written twice")]
    Twice {
        /// The path inside the published folder.
        path: String,
    },
    /// The manifest and the folder do not agree, so the next run would not know what it may delete.
    #[error("the manifest and the files written differ at `{path}`")]
    Manifest {
        /// The first path at which they differ.
        path: String,
    },
    /// A file of the user's own has the name of a new file.
    #[error("{} is not ours, but a new file needs its place: move it away", file.display())]
    InTheWay {
        /// The user's file.
        file: PathBuf,
    },
    /// An earlier run could not delete what it replaced.
    #[error("{} is left of an earlier run and holds files that are not ours: move them away", folder.display())]
    LeftBehind {
        /// The replaced folder.
        folder: PathBuf,
    },
    /// The operating system refused; the message names the path.
    #[error(transparent)]
    Io(#[from] io::Error),
}

impl OutputError {
    /// The exit status of a run that ends with this error.
    pub fn exit_status(&self) -> u8 {
        if matches!(self, OutputError::Held { .. }) { 3 } else { 2 }
    }
}

fn process(holder: Option<u32>) -> String {
    holder.map_or_else(String::new, |id| format!(" (process {id})"))
}

/// A published file, as the manifest lists it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct FileDigest {
    /// Path inside the published folder, with `/` between its parts.
    pub path: String,
    /// SHA-256 of the content, in lower-case hexadecimal digits.
    pub sha256: String,
    /// SHA-256 of all it was made from, where the next run may keep it if that is still the same.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub made_from: Option<String>,
}

impl FileDigest {
    /// A file that was read or written, by its content alone.
    pub fn of(path: impl Into<String>, bytes: &[u8]) -> Self {
        Self { path: path.into(), sha256: sha256(bytes), made_from: None }
    }
}

/// What is known of a file of the part: its digest, and that of what it was made from.
#[derive(Debug, Clone)]
struct Recorded {
    sha256: String,
    made_from: Option<String>,
}

/// Accepts `a/b.csv`; refuses what leads elsewhere (`..`, `/a`), is hidden, or differs between systems (`a\b`, `c:x`).
fn check_relative(path: &str) -> Result<(), OutputError> {
    let plain = |name: &str| {
        !name.is_empty()
            && !name.starts_with('.')
            && !name.chars().any(|c| c.is_control() || matches!(c, '\\' | ':' | '+'))
    };
    if path.split('/').all(plain) { Ok(()) } else { Err(OutputError::BadPath { path: path.to_owned() }) }
}

/// Creates a file that must not exist yet, and the folders above it.
fn create(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut options = fs::OpenOptions::new();
    options.write(true).create_new(true);
    let mut file = match options.open(path) {
        // The folders nearly always exist already, so they are made only when they are missed.
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            if let Some(parent) = path.parent() {
                fs::create_dir_all(parent)?;
            }
            options.open(path)?
        }
        other => other?,
    };
    file.write_all(bytes)
}

/// The lock file while it is locked.
#[derive(Debug)]
struct Lock(fs::File);

impl Drop for Lock {
    fn drop(&mut self) {
        // Closing is not enough while a process just being started still has a copy of the handle.
        let _ = self.0.file().unlock();
    }
}

/// An output folder this run holds; the lock is free again when this and every [`Part`] of it are dropped.
#[derive(Debug)]
pub struct OutputFolder {
    path: PathBuf,
    lock: Arc<Lock>,
}

impl OutputFolder {
    /// Creates the folder if needed, takes its lock, and clears up after a run that was killed.
    ///
    /// # Errors
    /// [`OutputError::Held`] if another run holds the folder; otherwise what the operating system refused.
    pub fn open(path: &Path) -> Result<OutputFolder, OutputError> {
        fs::create_dir_all(path)?;
        let lock_path = path.join(LOCK);
        let mut lock = fs::OpenOptions::new().read(true).write(true).create(true).truncate(false).open(&lock_path)?;
        match lock.file().try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let mut text = String::new();
                let read = lock.read_to_string(&mut text).is_ok();
                let holder = if read { text.trim().parse().ok() } else { None };
                return Err(OutputError::Held { folder: path.to_owned(), holder });
            }
            Err(TryLockError::Error(error)) => {
                let text = format!("cannot lock {}: {error}", lock_path.display());
                return Err(io::Error::new(error.kind(), text).into());
            }
        }
        lock.set_len(0)?;
        writeln!(lock, "{}", std::process::id())?;
        let folder = OutputFolder { path: path.to_owned(), lock: Arc::new(Lock(lock)) };
        folder.clear_up()?;
        Ok(folder)
    }

    /// Removes what a killed run was writing, and finishes or undoes a replacement it was in the middle of.
    fn clear_up(&self) -> Result<(), OutputError> {
        for entry in fs::read_dir(&self.path)? {
            let entry = entry?;
            let name = entry.file_name();
            let Some(name) = name.to_str().filter(|_| entry.file_type().is_ok_and(|kind| kind.is_dir())) else {
                continue;
            };
            if name.starts_with(PART) {
                fs::remove_dir_all(entry.path())?;
            } else if let Some(replaced) = name.strip_prefix(OLD) {
                let target = self.path.join(replaced.replace('+', "/"));
                if !target.try_exists()? {
                    fs::rename(entry.path(), &target)?;
                } else if listed_in(&target)?.is_some() {
                    // If files of the user's own stand in the way they stay; `part` says so for the month it concerns.
                    let _ = retire(&entry.path(), &target);
                }
            }
        }
        Ok(())
    }

    /// Starts a folder to be published as `name`, such as `2026-10` or `quotes/2027`.
    ///
    /// # Errors
    /// Refuses, before any work is done, a target that publishing would refuse.
    pub fn part(&self, name: &str) -> Result<Part, OutputError> {
        check_relative(name)?;
        let flat = name.replace('/', "+");
        let beside = |prefix: &str| self.path.join(format!("{prefix}{flat}"));
        let part = Part {
            path: beside(PART),
            target: self.path.join(name),
            old: beside(OLD),
            kept: beside(KEPT),
            files: Mutex::default(),
            published: published_in(&self.path.join(name)),
            _lock: Arc::clone(&self.lock),
        };
        if part.old.try_exists()? {
            return Err(OutputError::LeftBehind { folder: part.old.clone() });
        }
        part.check_target()?;
        if part.kept.try_exists()? {
            fs::remove_dir_all(&part.kept)?;
        }
        // Not `create_dir_all`: two parts of one name would write into each other.
        fs::create_dir(&part.path)?;
        Ok(part)
    }
}

/// A file of a part while it is being written; one that is dropped is half a file, and publishing then fails.
#[derive(Debug)]
pub struct Growing {
    relative: String,
    file: fs::File,
    digest: Sha256,
}

impl Growing {
    /// Writes the next piece.
    ///
    /// # Errors
    /// What the operating system refused.
    pub fn put(&mut self, bytes: &[u8]) -> Result<(), OutputError> {
        self.file.write_all(bytes)?;
        self.digest.update(bytes);
        Ok(())
    }
}

/// What the manifest of a published folder says of its files; nothing where there is none that can be read.
fn published_in(folder: &Path) -> BTreeMap<String, Recorded> {
    let Ok(bytes) = fs::read(folder.join(MANIFEST)) else { return BTreeMap::new() };
    let Ok(manifest) = serde_json::from_slice::<Manifest>(&bytes) else { return BTreeMap::new() };
    let known = |file: FileDigest| (file.path, Recorded { sha256: file.sha256, made_from: file.made_from });
    manifest.files.into_iter().map(known).collect()
}

/// A folder being written. Dropped without [`publish`](Part::publish), it is removed.
#[derive(Debug)]
pub struct Part {
    path: PathBuf,
    target: PathBuf,
    old: PathBuf,
    kept: PathBuf,
    files: Mutex<BTreeMap<String, Recorded>>,
    /// What the published folder of this name holds, by path; empty where there is none or nothing of it may be kept.
    published: BTreeMap<String, Recorded>,
    /// A part may outlive its `OutputFolder`; the lock must outlive both.
    _lock: Arc<Lock>,
}

/// What publishing did.
#[derive(Debug)]
pub struct Published {
    /// The published folder.
    pub folder: PathBuf,
    /// The user's own files and folders carried over from the folder it replaced, relative to it.
    pub carried: Vec<PathBuf>,
    /// Why the replaced folder could not be deleted; the new one is in place all the same.
    pub left_behind: Option<OutputError>,
}

impl Part {
    fn recorded(&self) -> MutexGuard<'_, BTreeMap<String, Recorded>> {
        self.files.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn record(&self, relative: &str, sha256: String, made_from: Option<String>) -> Result<(), OutputError> {
        match self.recorded().insert(relative.to_owned(), Recorded { sha256, made_from }) {
            None => Ok(()),
            Some(_) => Err(OutputError::Twice { path: relative.to_owned() }),
        }
    }

    /// Where `relative` is while it is being written; for another process, which is followed by [`adopt`](Part::adopt).
    ///
    /// # Errors
    /// [`OutputError::BadPath`] if the path is not plain and relative.
    pub fn path(&self, relative: &str) -> Result<PathBuf, OutputError> {
        check_relative(relative)?;
        if relative == MANIFEST {
            return Err(OutputError::BadPath { path: relative.to_owned() });
        }
        Ok(self.path.join(relative))
    }

    /// The folder it is built in, for what needs room on the same disk for a while.
    pub fn folder(&self) -> &Path {
        &self.path
    }

    /// Writes a file. Any number of threads may write at the same time, each path once.
    pub fn write(&self, relative: &str, bytes: &[u8]) -> Result<(), OutputError> {
        let path = self.path(relative)?;
        match create(&path, bytes) {
            Ok(()) => self.record(relative, sha256(bytes), None),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                Err(OutputError::Twice { path: relative.to_owned() })
            }
            Err(error) => {
                // Half a file must not be published should the caller go on without it.
                let _ = fs::remove_file(&path);
                Err(error.into())
            }
        }
    }

    /// Starts a file that is written piece by piece; it counts once it is [`finish`](Part::finish)ed.
    ///
    /// # Errors
    /// As [`write`](Part::write).
    pub fn begin(&self, relative: &str) -> Result<Growing, OutputError> {
        let path = self.path(relative)?;
        if let Some(parent) = path.parent() {
            fs::create_dir_all(parent)?;
        }
        match fs::OpenOptions::new().write(true).create_new(true).open(&path) {
            Ok(file) => Ok(Growing { relative: relative.to_owned(), file, digest: Sha256::new() }),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                Err(OutputError::Twice { path: relative.to_owned() })
            }
            Err(error) => Err(error.into()),
        }
    }

    /// Records a file that was written piece by piece.
    pub fn finish(&self, growing: Growing) -> Result<(), OutputError> {
        self.record(&growing.relative, hexadecimal(growing.digest), None)
    }

    /// Records a file another process wrote to [`path`](Part::path), and what it was made from, if the next run may
    /// keep it.
    pub fn adopt(&self, relative: &str, made_from: Option<&str>) -> Result<(), OutputError> {
        let bytes = fs::read(self.path(relative)?)?;
        self.record(relative, sha256(&bytes), made_from.map(str::to_owned))
    }

    /// Takes a file over from the published folder if it was made from the same and is as it was written; whether it was.
    ///
    /// # Errors
    /// If the path is not plain and relative. A published file that cannot be read or linked is made anew.
    pub fn keep(&self, relative: &str, made_from: &str) -> Result<bool, OutputError> {
        let place = self.path(relative)?;
        let known = self.published.get(relative).filter(|known| known.made_from.as_deref() == Some(made_from));
        let Some(known) = known else { return Ok(false) };
        let published = self.target.join(relative);
        let Ok(bytes) = fs::read(&published) else { return Ok(false) };
        if sha256(&bytes) != known.sha256 {
            return Ok(false);
        }
        // Written and not linked: what somebody does to the one must not reach the other.
        create(&place, &bytes)?;
        self.record(relative, known.sha256.clone(), Some(made_from.to_owned()))?;
        Ok(true)
    }

    /// Lets nothing of the published folder be kept: everything is made anew.
    #[must_use]
    pub fn anew(mut self) -> Self {
        self.published.clear();
        self
    }

    /// The files written so far, sorted by path: what the manifest has to list under `files`.
    pub fn files(&self) -> Vec<FileDigest> {
        let digest = |(path, recorded): (&String, &Recorded)| FileDigest {
            path: path.clone(),
            sha256: recorded.sha256.clone(),
            made_from: recorded.made_from.clone(),
        };
        self.recorded().iter().map(digest).collect()
    }

    /// A private folder for the renderer's input, inside the part folder.
    ///
    /// There, and not in the system's temporary folder, because that may be small and held in memory, and because what a
    /// killed run leaves is then removed with the part folder by the next run.
    pub fn build_folder(&self, name: &str) -> Result<BuildFolder, OutputError> {
        check_relative(name)?;
        if name.contains('/') {
            return Err(OutputError::BadPath { path: name.to_owned() });
        }
        let parent = self.path.join(BUILD);
        fs::create_dir_all(&parent)?;
        let path = parent.join(name);
        fs::create_dir(&path)?;
        Ok(BuildFolder { path, kept: self.kept.join(name) })
    }

    /// Which files the target's manifest lists; `None` if there is no target or an empty one.
    fn check_target(&self) -> Result<Option<BTreeSet<PathBuf>>, OutputError> {
        let not_ours = || OutputError::NotOurs { folder: self.target.clone() };
        match fs::symlink_metadata(&self.target) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(error.into()),
            Ok(found) if !found.is_dir() => return Err(not_ours()),
            Ok(_) => {}
        }
        match listed_in(&self.target)? {
            Some(listed) => Ok(Some(listed)),
            None if fs::read_dir(&self.target)?.next().is_none() => Ok(None),
            None => Err(not_ours()),
        }
    }

    /// Puts the folder in its place as a whole, with `manifest` as its `run.json`.
    ///
    /// # Errors
    /// Nothing is published, and what was published stays, if the manifest does not list exactly [`files`](Part::files),
    /// if the target is not ours, if a file of the user's own is in the way, or if the operating system refuses.
    pub fn publish(self, manifest: &[u8]) -> Result<Published, OutputError> {
        let replaced = self.check_target()?;
        match fs::remove_dir_all(self.path.join(BUILD)) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error.into()),
            _ => {}
        }
        self.check_manifest(manifest)?;
        create(&self.path.join(MANIFEST), manifest)?;
        let carried = match &replaced {
            Some(listed) => carry(&self.target, &self.path, listed)?,
            None => Vec::new(),
        };
        self.sync()?;
        let mut left_behind = None;
        if replaced.is_some() {
            swap(&self.path, &self.target, &self.old)?;
            left_behind = retire(&self.old, &self.target).err();
        } else {
            if let Some(parent) = self.target.parent() {
                fs::create_dir_all(parent)?;
            }
            if self.target.try_exists()? {
                fs::remove_dir(&self.target)?;
            }
            fs::rename(&self.path, &self.target)?;
        }
        if let Some(parent) = self.target.parent() {
            sync_folder(parent)?;
        }
        Ok(Published { folder: self.target.clone(), carried, left_behind })
    }

    /// The next run deletes what the manifest lists and keeps the rest, so it has to list every file, and no other.
    /// Also removes empty folders.
    fn check_manifest(&self, manifest: &[u8]) -> Result<(), OutputError> {
        let differ = |path: &str| OutputError::Manifest { path: path.to_owned() };
        let manifest: Manifest = serde_json::from_slice(manifest).map_err(|_| differ(MANIFEST))?;
        let listed: BTreeSet<FileDigest> = manifest.files.into_iter().collect();
        let written: BTreeSet<FileDigest> = self.files().into_iter().collect();
        if let Some(file) = listed.symmetric_difference(&written).next() {
            return Err(differ(&file.path));
        }
        let mut found = written.iter().map(|file| PathBuf::from(&file.path)).collect::<BTreeSet<_>>();
        for entry in WalkDir::new(&self.path).min_depth(1).contents_first(true) {
            let entry = entry.map_err(io::Error::from)?;
            let relative = relative_to(&self.path, entry.path());
            if entry.file_type().is_dir() {
                // Succeeds for empty ones alone, left by a document that failed; the next run would take them for the
                // user's own.
                let _ = fs::remove_dir(entry.path());
            } else if !found.remove(&relative) {
                return Err(differ(&relative.to_string_lossy()));
            }
        }
        found.first().map_or(Ok(()), |missing| Err(differ(&missing.to_string_lossy())))
    }

    /// Makes sure that what is published survives a power cut.
    fn sync(&self) -> io::Result<()> {
        // One call for all: tens of thousands of single ones would take longer than writing the files.
        #[cfg(target_os = "linux")]
        rustix::fs::syncfs(fs::File::open(&self.path)?.file())?;
        #[cfg(not(target_os = "linux"))]
        for path in self.recorded().keys().map(String::as_str).chain([MANIFEST]) {
            fs::File::open(self.path.join(path))?.sync_all()?;
        }
        Ok(())
    }
}

impl Drop for Part {
    fn drop(&mut self) {
        // After publishing, there is nothing of this name left. Otherwise the next run removes what stays here.
        let _ = fs::remove_dir_all(&self.path);
    }
}

/// The renderer's private folder: its whole world, so it is made by us and holds no links.
#[derive(Debug)]
pub struct BuildFolder {
    path: PathBuf,
    kept: PathBuf,
}

impl BuildFolder {
    /// The folder itself.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Writes a file the renderer reads; it is neither recorded nor published.
    pub fn write(&self, relative: &str, bytes: &[u8]) -> Result<(), OutputError> {
        check_relative(relative)?;
        Ok(create(&self.path.join(relative), bytes)?)
    }

    /// Keeps the folder for whoever looks into a failure, beside the published folders until the month is next run.
    pub fn keep(self) -> Result<PathBuf, OutputError> {
        if let Some(parent) = self.kept.parent() {
            fs::create_dir_all(parent)?;
        }
        fs::rename(&self.path, &self.kept)?;
        Ok(self.kept.clone())
    }
}

impl Drop for BuildFolder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.path);
    }
}

#[cfg(test)]
mod tests;
