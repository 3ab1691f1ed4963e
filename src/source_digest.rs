//! The build script: one digest of everything this program is made from, so that a run can tell whether the program
//! that made a month was the same. A version number alone would not do: it stands still while the code is worked on.

#![allow(clippy::print_stdout, reason = "a build script speaks to Cargo on standard output")]
#![allow(clippy::disallowed_methods, reason = "it reads the sources, and nothing of a fleet")]

use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

fn main() -> std::io::Result<()> {
    let mut files = vec![PathBuf::from("Cargo.lock"), PathBuf::from("Cargo.toml")];
    for folder in ["src", "templates", "data/limits"] {
        println!("cargo::rerun-if-changed={folder}");
        walk(Path::new(folder), &mut files)?;
    }
    files.push("data/book.yaml".into());
    for file in ["Cargo.lock", "Cargo.toml", "data/book.yaml"] {
        println!("cargo::rerun-if-changed={file}");
    }
    files.sort();
    let mut digest = Sha256::new();
    for file in files {
        let Ok(bytes) = std::fs::read(&file) else { continue };
        digest.update(file.to_string_lossy().replace('\\', "/"));
        digest.update([0]);
        digest.update((bytes.len() as u64).to_le_bytes());
        digest.update(bytes);
    }
    let hexadecimal: String = digest.finalize().iter().take(16).map(|byte| format!("{byte:02x}")).collect();
    println!("cargo::rustc-env=TUBWRIGHT_SOURCE={hexadecimal}");
    Ok(())
}

fn walk(folder: &Path, files: &mut Vec<PathBuf>) -> std::io::Result<()> {
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() { walk(&path, files)? } else { files.push(path) }
    }
    Ok(())
}
