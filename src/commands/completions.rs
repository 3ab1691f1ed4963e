//! `tubwright completions`: what a shell needs to complete commands and options.

use clap::CommandFactory as _;

use crate::cli::{Cli, Completions};
use crate::commands::Failure;
use crate::printer::Printer;

/// Writes the completions of a shell to standard output.
///
/// # Errors
/// If they are not text, which no shell's are.
pub fn run(arguments: &Completions, printer: Printer) -> Result<u8, Failure> {
    let mut bytes = Vec::new();
    clap_complete::generate(arguments.shell, &mut Cli::command(), "tubwright", &mut bytes);
    printer.data(String::from_utf8(bytes).map_err(Failure::new)?.trim_end());
    Ok(0)
}
