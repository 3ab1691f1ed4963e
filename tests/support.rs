//! What the tests share: running the program, small fleets, the tables and folders a run wrote.
//!
//! Each run has an output folder of its own, so that the tests may run at the same time. Nothing here asserts more than
//! that a thing the test needs is there.

pub mod fleet;
pub mod pdf;
pub mod spoil;
pub mod table;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

use tempfile::TempDir;

pub use fleet::Fleet;
pub use pdf::Pdf;
pub use table::Table;

/// The project's folder.
pub fn project() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The demo fleet.
pub fn demo() -> PathBuf {
    project().join("data/demo")
}

/// A folder of the fixtures.
pub fn fixtures(folder: &str) -> PathBuf {
    project().join("tests/fixtures").join(folder)
}

/// The program, without what the environment of whoever runs the tests would add.
pub fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_tubwright"));
    command.env_remove("RUST_LOG").env_remove("NO_COLOR");
    command
}

/// What the program did: its exit status, what it said, and the folder it wrote into.
#[derive(Debug)]
pub struct Run {
    /// The exit status; 128 + n where a signal ended it.
    pub status: i32,
    pub stdout: String,
    pub stderr: String,
    /// The output folder, removed with this value.
    pub out: TempDir,
    month: String,
}

impl Run {
    /// Runs the program with these arguments only.
    pub fn of<A: AsRef<std::ffi::OsStr>>(arguments: &[A]) -> Self {
        Self::finish(program().args(arguments), tempfile::tempdir().unwrap(), "")
    }

    /// Checks a fleet.
    pub fn check(fleet: &Path, more: &[&str]) -> Self {
        Self::finish(program().arg("check").arg(fleet).args(more), tempfile::tempdir().unwrap(), "")
    }

    /// Reports a month into a new folder.
    pub fn report(fleet: &Path, month: &str, more: &[&str]) -> Self {
        Self::report_into(tempfile::tempdir().unwrap(), fleet, month, more)
    }

    /// Reports a month into a folder that may hold something already.
    pub fn report_into(out: TempDir, fleet: &Path, month: &str, more: &[&str]) -> Self {
        let mut command = program();
        command.arg("report").arg(fleet).args(["--month", month, "--out"]).arg(out.path()).args(more);
        Self::finish(&mut command, out, month)
    }

    fn finish(command: &mut Command, out: TempDir, month: &str) -> Self {
        let output = command.output().unwrap();
        Self {
            status: status(output.status),
            stdout: String::from_utf8(output.stdout).expect("standard output is UTF-8"),
            stderr: String::from_utf8(output.stderr).expect("standard error is UTF-8"),
            out,
            month: month.to_owned(),
        }
    }

    /// The same, if it ended with this status.
    #[track_caller]
    pub fn expect_status(self, status: i32) -> Self {
        assert_eq!(self.status, status, "stdout: {}\nstderr: {}", self.stdout, self.stderr);
        self
    }

    /// The folder of the month.
    pub fn month(&self) -> PathBuf {
        self.out.path().join(&self.month)
    }

    /// A table, if the run wrote it.
    pub fn table_if_there(&self, name: &str) -> Option<Table> {
        let path = self.month().join("tables").join(format!("{name}.csv"));
        path.exists().then(|| Table::read(&path))
    }

    /// A table.
    #[track_caller]
    pub fn table(&self, name: &str) -> Table {
        self.table_if_there(name).unwrap_or_else(|| panic!("no table {name}.csv; {}", self.stderr))
    }

    /// `run.json`.
    pub fn manifest(&self) -> serde_json::Value {
        serde_json::from_slice(&std::fs::read(self.month().join("run.json")).unwrap()).unwrap()
    }

    /// The report of a site.
    pub fn pdf(&self, site: &str) -> Pdf {
        Pdf::open(&self.month().join("sites").join(site).join("report.pdf"))
    }
}

/// An exit status as a shell shows it.
pub fn status(status: std::process::ExitStatus) -> i32 {
    #[cfg(unix)]
    if let Some(signal) = std::os::unix::process::ExitStatusExt::signal(&status) {
        return 128 + signal;
    }
    status.code().unwrap_or(-1)
}

/// Every file below a folder with its bytes, by its path from there; hidden files too.
pub fn contents(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    walkdir::WalkDir::new(folder)
        .into_iter()
        .map(Result::unwrap)
        .filter(|entry| entry.file_type().is_file())
        .map(|entry| {
            let path = entry.path().strip_prefix(folder).unwrap().to_str().unwrap().to_owned();
            (path, std::fs::read(entry.path()).unwrap())
        })
        .collect()
}

/// Says which files of two folders differ.
#[track_caller]
pub fn assert_same_files(one: &BTreeMap<String, Vec<u8>>, other: &BTreeMap<String, Vec<u8>>) {
    let names = |files: &BTreeMap<String, Vec<u8>>| files.keys().cloned().collect::<Vec<_>>();
    assert_eq!(names(one), names(other));
    let differing: Vec<&String> = one.keys().filter(|name| one[*name] != other[*name]).collect();
    assert!(differing.is_empty(), "these differ: {differing:?}");
}

/// Copies a folder with everything in it; links stay links.
pub fn copy_folder(from: &Path, to: &Path) {
    for entry in walkdir::WalkDir::new(from) {
        let entry = entry.unwrap();
        let target = to.join(entry.path().strip_prefix(from).unwrap());
        if entry.file_type().is_dir() {
            std::fs::create_dir_all(&target).unwrap();
        } else {
            std::fs::copy(entry.path(), &target).unwrap();
        }
    }
}
