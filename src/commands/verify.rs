//! `tubwright verify`: whether a published month is as it was written.

use fs_err as fs;

use crate::cli::Verify;
use crate::commands::{Failure, failure};
use crate::digest::sha256;
use crate::manifest::Manifest;
use crate::output::MANIFEST;
use crate::printer::Printer;

/// Holds every file of a published month against its manifest.
///
/// # Errors
/// If there is no published month.
pub fn run(arguments: &Verify, printer: Printer) -> Result<u8, Failure> {
    let folder = &arguments.folder;
    let Some(manifest) = Manifest::read(folder) else {
        return Err(failure(format!("there is no {MANIFEST} of a published month in {}", folder.display())));
    };
    let own = sha256(&fs::read(folder.join(MANIFEST)).map_err(Failure::new)?);
    let differences = manifest.differences(folder);
    for difference in &differences {
        printer.problem(&format!("{}: {}", difference.path, difference.what.word()));
    }
    let files = manifest.files.len();
    printer.data(&match differences.len() {
        0 => format!("{}: all {files} files are as they were written", folder.display()),
        1 => format!("{}: one file is not as it was written", folder.display()),
        many => format!("{}: {many} files are not as they were written", folder.display()),
    });
    printer.data(&format!("{MANIFEST} {own}"));
    Ok(u8::from(!differences.is_empty()))
}
