//! `tubwright check`: everything that is wrong or odd in a fleet's records, in one go.

use rayon::prelude::*;

use crate::calendar;
use crate::cli::Check;
use crate::commands::{Failure, load};
use crate::diagnostic::{Diagnostic, Rule, Severity};
use crate::printer::{Printer, count};
use crate::records::check;
use crate::records::yaml::nearest;

/// Checks a fleet: status 0 without errors, 1 with some, 2 if nothing could be reported.
///
/// # Errors
/// If the folder is no fleet.
pub fn run(arguments: &Check, printer: Printer) -> Result<u8, Failure> {
    if let Some(name) = &arguments.about {
        return about(name, printer);
    }
    let Some(folder) = &arguments.fleet else { return Ok(2) };
    let Some(shared) = load(folder, printer)? else { return Ok(2) };
    let as_of = arguments.as_of.unwrap_or_else(|| calendar::today(shared.fleet.settings.timezone.0));
    let of_sites: Vec<Vec<Diagnostic>> = shared
        .sites
        .par_iter()
        .map(|files| match shared.read_site(files) {
            Ok(site) => {
                let later = check::after_as_of(&site, files, &shared.folder, as_of);
                site.diagnostics.into_iter().chain(later).collect()
            }
            Err(diagnostics) => diagnostics,
        })
        .collect();
    let mut diagnostics = shared.diagnostics.clone();
    diagnostics.extend(check::far_ahead(&shared.fleet, &shared.folder, as_of));
    diagnostics.extend(of_sites.into_iter().flatten());
    diagnostics.sort_by_cached_key(Diagnostic::order);
    // What is wrong in a type is found at every site of it, and told once.
    diagnostics.dedup();
    printer.diagnostics(&diagnostics);
    if !diagnostics.is_empty() {
        printer.summary(&count(&diagnostics));
    }
    Ok(u8::from(diagnostics.iter().any(|d| d.severity == Severity::Error)))
}

fn about(name: &str, printer: Printer) -> Result<u8, Failure> {
    if name == "all" {
        for rule in Rule::ALL {
            printer.data(rule.name());
        }
        return Ok(0);
    }
    if let Some(rule) = Rule::ALL.iter().find(|rule| rule.name() == name) {
        printer.data(&format!("{}\n\n{}", rule.name(), rule.about()));
        Ok(0)
    } else {
        let near = nearest(name, Rule::ALL.iter().map(|r| r.name()));
        let hint =
            near.map_or_else(|| "list them with `--about all`".to_owned(), |near| format!("did you mean `{near}`?"));
        Err(Failure::new(anyhow::anyhow!("no rule is named `{name}`; {hint}")))
    }
}
