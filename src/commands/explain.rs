//! `tubwright explain`: the chain behind the figures of one address, to standard output.

use crate::address::Address;
use crate::calendar::{self, Month};
use crate::cli::Explain;
use crate::commands::Failure;
use crate::explain::{Explainer, Lines};
use crate::printer::{Printer, count};
use crate::records::load::{LoadError, Shared};
use crate::records::yaml::nearest;
use crate::site;

/// Explains an address: status 0, or 2 where there is nothing of the name or the records cannot be used.
///
/// # Errors
/// If the folder is no fleet or nothing has the address.
pub fn run(arguments: &Explain, printer: Printer) -> Result<u8, Failure> {
    let shared = match Shared::load(&arguments.fleet) {
        Ok(shared) => shared,
        Err(LoadError::Unusable(file, diagnostics)) => {
            printer.diagnostics(&diagnostics);
            printer.summary(&format!("{}; {file} must be mended first", count(&diagnostics)));
            return Ok(2);
        }
        Err(error) => return Err(Failure::new(error)),
    };
    let wrong = |message: String| Failure::new(anyhow::anyhow!(message));
    let (name, inside) = arguments.address.split_once('/').unwrap_or((&arguments.address, ""));
    let Some(files) = shared.sites.iter().find(|files| files.id.as_str() == name) else {
        let hint = nearest(name, shared.sites.iter().map(|files| files.id.as_str()))
            .map_or_else(String::new, |near| format!("; did you mean `{near}`?"));
        return Err(wrong(format!("no site is named `{name}`{hint}")));
    };
    let today = || calendar::today(shared.fleet.settings.timezone.0);
    let as_of = arguments.month.unwrap_or_else(|| Month::of(today()).plus(-1)).last();
    let site = match shared.read_site(files) {
        Ok(site) => site.as_of(as_of),
        Err(diagnostics) => {
            printer.diagnostics(&diagnostics);
            return Err(wrong(format!("the site `{name}` cannot be understood as it stands")));
        }
    };
    let spas = site::spa_figures(&shared.fleet, &site, as_of);
    let figures = site::site_figures(&shared.fleet, &site, &spas, as_of).with_forecast_checks(&shared.fleet);
    let lines = Lines::new(&shared.folder);
    let explainer = Explainer { fleet: &shared.fleet, figures: &figures, lines: &lines };
    let told = Address::parse(inside).ok().and_then(|at| explainer.explain(&at));
    let Some(told) = told else {
        let all = explainer.addresses();
        let hint = match nearest(inside, all.iter().map(String::as_str)).filter(|_| !inside.is_empty()) {
            Some(near) => format!("did you mean `{name}/{near}`?"),
            None => format!("there are {}", all.iter().map(|at| format!("{name}/{at}")).collect::<Vec<_>>().join(", ")),
        };
        return Err(wrong(format!("nothing that can be explained has the address `{}`; {hint}", arguments.address)));
    };
    printer.data(&told.join("\n"));
    Ok(0)
}
