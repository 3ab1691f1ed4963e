//! `tubwright swap`: a fitted pump against every model, to standard output.

use crate::address::Address;
use crate::calendar::{self, Month};
use crate::cli::Swap;
use crate::commands::{Failure, failure, load};
use crate::printer::Printer;
use crate::records::yaml::nearest;
use crate::report::cautions;
use crate::site;
use crate::swap;

/// Compares a pump: status 0, or 2 where there is no such pump or the records cannot be used.
///
/// # Errors
/// If the folder is no fleet or no pump has the address.
pub fn run(arguments: &Swap, printer: Printer) -> Result<u8, Failure> {
    let Some(shared) = load(&arguments.fleet, printer)? else { return Ok(2) };
    let (name, inside) = arguments.address.split_once('/').unwrap_or((&arguments.address, ""));
    let Some(files) = shared.sites.iter().find(|files| files.id.as_str() == name) else {
        let hint = nearest(name, shared.sites.iter().map(|files| files.id.as_str()))
            .map_or_else(String::new, |near| format!("; did you mean `{near}`?"));
        return Err(failure(format!("no site is named `{name}`{hint}")));
    };
    let today = || calendar::today(shared.fleet.settings.timezone.0);
    let month = arguments.month.unwrap_or_else(|| Month::of(today()).plus(-1));
    let (site, spas) = match site::read(&shared, files, month.last()) {
        Ok(read) => read,
        Err(diagnostics) => {
            printer.diagnostics(&diagnostics);
            return Err(failure(format!("the site `{name}` cannot be understood as it stands")));
        }
    };
    let asked = Address::parse(inside).ok();
    let found = site.spas.iter().zip(&spas).find_map(|(spa, figures)| {
        let pump = spa.pumps.iter().find(|pump| Some(&pump.at) == asked.as_ref())?;
        Some(swap::swap(&shared.fleet, &site, spa, figures, pump, month))
    });
    let Some(found) = found else {
        let all: Vec<&str> = site.spas.iter().flat_map(|spa| &spa.pumps).map(|pump| pump.at.as_str()).collect();
        let hint = match nearest(inside, all.iter().copied()).filter(|_| !inside.is_empty()) {
            Some(near) => format!("did you mean `{name}/{near}`?"),
            None if all.is_empty() => "the site has none".to_owned(),
            None => format!("there are {}", all.iter().map(|at| format!("{name}/{at}")).collect::<Vec<_>>().join(", ")),
        };
        return Err(failure(format!("no pump has the address `{}`; {hint}", arguments.address)));
    };
    let mut lines = swap::lines(&found, &arguments.address);
    lines.push(String::new());
    lines.push("Cautions".to_owned());
    lines.extend(
        cautions::before_a_pump_is_exchanged().map(|caution| format!("  {}: {}", caution.subject, caution.text)),
    );
    printer.data(&lines.join("\n"));
    Ok(0)
}
