//! `tubwright man`: manual pages made from the same words as `--help`.

use clap::CommandFactory as _;

use crate::cli::{Cli, Man};
use crate::commands::Failure;
use crate::output;
use crate::printer::Printer;

/// Writes `tubwright.1` and one page for each command.
///
/// # Errors
/// If the folder cannot be written.
pub fn run(arguments: &Man, printer: Printer) -> Result<u8, Failure> {
    let mut command = Cli::command();
    command.build();
    let mut pages = vec![("tubwright".to_owned(), command.clone())];
    for of in command.get_subcommands().filter(|of| of.get_name() != "help") {
        let name = format!("tubwright-{}", of.get_name());
        // Clap wants a name that lives as long as the program; there are a dozen of them, made once.
        let lasting: &'static str = Box::leak(name.clone().into_boxed_str());
        pages.push((name, of.clone().name(lasting)));
    }
    for (name, command) in &pages {
        let mut bytes = Vec::new();
        clap_mangen::Man::new(command.clone()).render(&mut bytes).map_err(Failure::new)?;
        output::write_atomically(&arguments.out.join(format!("{name}.1")), &bytes).map_err(Failure::new)?;
    }
    printer.summary(&format!("{} manual pages in {}", pages.len(), arguments.out.display()));
    Ok(0)
}
