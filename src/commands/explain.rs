//! `tubwright explain`: the chain behind the figures of one address, to standard output.

use chrono::NaiveDate;
use rayon::prelude::*;

use crate::address::Address;
use crate::calendar::{self, Month};
use crate::cli::Explain;
use crate::commands::{Failure, failure, load};
use crate::explain::{Explainer, Lines};
use crate::printer::Printer;
use crate::records::forms::Fitted;
use crate::records::load::Shared;
use crate::records::yaml::nearest;
use crate::site;

/// Explains an address: status 0, or 2 where there is nothing of the name or the records cannot be used.
///
/// # Errors
/// If the folder is no fleet or nothing has the address.
pub fn run(arguments: &Explain, printer: Printer) -> Result<u8, Failure> {
    let Some(shared) = load(&arguments.fleet, printer)? else { return Ok(2) };
    let (name, inside) = arguments.address.split_once('/').unwrap_or((&arguments.address, ""));
    let Some(asked_site) = shared.sites.iter().position(|files| files.id.as_str() == name) else {
        let hint = nearest(name, shared.sites.iter().map(|files| files.id.as_str()))
            .map_or_else(String::new, |near| format!("; did you mean `{near}`?"));
        return Err(failure(format!("no site is named `{name}`{hint}")));
    };
    let today = || calendar::today(shared.fleet.settings.timezone.0);
    let as_of = arguments.month.unwrap_or_else(|| Month::of(today()).plus(-1)).last();
    // What a part's chance rests on are the lives of all sites, as in the report.
    let mut read: Vec<_> = shared.sites.par_iter().map(|files| site::read(&shared, files, as_of)).collect();
    if let Err(diagnostics) = &read[asked_site] {
        printer.diagnostics(diagnostics);
        return Err(failure(format!("the site `{name}` cannot be understood as it stands")));
    }
    let before = read.iter().take(asked_site).filter(|read| read.is_ok()).count();
    let all: Vec<_> = read.drain(..).flatten().collect();
    let (site, spas) = &all[before];
    let lives = site::fleet_lives(&shared.fleet, &all, as_of);
    let figures = site::site_figures(&shared.fleet, &lives, site, spas, as_of).with_forecast_checks(&shared.fleet);
    let lines = Lines::new(&shared.folder);
    let explainer = Explainer { fleet: &shared.fleet, figures: &figures, lines: &lines };
    let told = Address::parse(inside).ok().and_then(|at| explainer.explain(&at));
    let Some(told) = told else {
        let all = explainer.addresses();
        // What stands there by now may not have stood there yet.
        let to_come = Address::parse(inside).ok().and_then(|at| fitted_later(&shared, asked_site, &at, as_of));
        if let Some(fitted) = to_come {
            return Err(failure(format!("`{}` did not stand there on {as_of}: fitted {fitted}", arguments.address)));
        }
        let hint = match nearest(inside, all.iter().map(String::as_str)).filter(|_| !inside.is_empty()) {
            Some(near) => format!("did you mean `{name}/{near}`?"),
            None => format!("there are {}", all.iter().map(|at| format!("{name}/{at}")).collect::<Vec<_>>().join(", ")),
        };
        return Err(failure(format!("nothing that can be explained has the address `{}`; {hint}", arguments.address)));
    };
    printer.data(&told.join("\n"));
    Ok(0)
}

/// When something was fitted that did not stand there yet on a day.
fn fitted_later(shared: &Shared, site: usize, at: &Address, as_of: NaiveDate) -> Option<Fitted> {
    let site = shared.read_site(shared.sites.get(site)?).ok()?;
    let spa = site.spas.iter().find(|spa| spa.at.as_str() == at.spa())?;
    let within = |thing: &Address| at == thing || at.as_str().starts_with(&format!("{thing}/"));
    let pump = spa.pumps.iter().find(|pump| within(&pump.at)).map(|pump| pump.fitted);
    let fitted = [Some(spa.fitted), pump].into_iter().flatten();
    fitted.rev().find(|fitted| fitted.range().is_some_and(|(first, _)| first > as_of))
}
