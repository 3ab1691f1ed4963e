//! `tubwright demo`: an invented fleet in a new folder.

use crate::cli::Demo;
use crate::commands::Failure;
use crate::demo;
use crate::output;
use crate::printer::Printer;

/// Writes an invented fleet.
///
/// # Errors
/// If the folder is not empty or cannot be written.
pub fn run(arguments: &Demo, printer: Printer) -> Result<u8, Failure> {
    if !(0.0..=24.0).contains(&arguments.readings_per_day) {
        return Err(Failure::new(anyhow::anyhow!("--readings-per-day runs from 0 to 24")));
    }
    let tree = output::NewFolder::create(&arguments.out).map_err(Failure::new)?;
    let plan = demo::Plan {
        sites: arguments.sites.get(),
        years: arguments.years,
        seed: arguments.seed,
        readings_per_day: arguments.readings_per_day,
    };
    for file in demo::files(&plan) {
        tree.write(&file.path, file.text.as_bytes()).map_err(Failure::new)?;
    }
    printer.summary(&format!(
        "an invented fleet of {} sites in {}; its records end on 31 October 2026",
        plan.sites,
        arguments.out.display()
    ));
    Ok(0)
}
