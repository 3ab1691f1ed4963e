//! Dates that are still to come and should not be, or lie further ahead than anybody plans: a slip in a year is silent
//! everywhere else.
//!
//! What was fitted was fitted in the past. Programs, prices, contracts, leave, closed seasons and bookings may be written
//! ahead; years ahead they are asked about.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::{place, plain};
use crate::address::{Address, Id};
use crate::calendar::add;
use crate::diagnostic::{Diagnostic, Rule, Severity, Spot};
use crate::records::bookings::{self, Stays};
use crate::records::forms::{Dated, Fitted, Keyed};
use crate::records::load::SiteFiles;
use crate::records::tree::{Folder, LARGEST_RECORD, LARGEST_SHEET};
use crate::records::tubs::PartFitted;
use crate::records::{Fleet, Site};
use crate::units::Period;

/// So far ahead something may be planned: five years (common practice, no source).
const AHEAD: Period = Period { months: 60, days: 0 };
/// The most that is told of one file: more is no help.
const MOST: usize = 20;

/// A date told of: the field's path, and what is said.
type Found = (String, String);

fn far(found: &mut Vec<Found>, as_of: NaiveDate, path: String, what: &str, day: Option<NaiveDate>) {
    if let Some(day) = day.filter(|day| *day > add(as_of, AHEAD)) {
        found.push((path, format!("{what} {day}, over five years ahead")));
    }
}

fn told(file: &str, message: String) -> Diagnostic {
    let mut diagnostic = plain(Severity::Warning, Rule::AfterAsOf, file, message);
    diagnostic.hint = Some("is the year right?".to_owned());
    diagnostic
}

/// Dates of a site that are still to come.
pub(super) fn of_site(site: &Site, files: &SiteFiles, folder: &Folder, as_of: NaiveDate) -> Vec<Diagnostic> {
    let mut diagnostics = Vec::new();
    let mut fitted: Vec<(String, &Address, Fitted)> = Vec::new();
    let mut found: Vec<Found> = Vec::new();
    for spa in &site.spas {
        let path = |group: &str, at: &Address| format!("spas.{}.{group}.{}", spa.at, at.last());
        fitted.push((format!("spas.{}", spa.at), &spa.at, spa.fitted));
        fitted.extend(spa.filters.iter().map(|filter| (path("filters", &filter.at), &filter.at, filter.fitted)));
        fitted.extend(spa.pumps.iter().map(|pump| (path("pumps", &pump.at), &pump.at, pump.fitted)));
        fitted.extend(spa.equipment.iter().map(|item| (path("equipment", &item.at), &item.at, item.fitted)));
        for pump in &spa.pumps {
            let from = pump.programs.iter().filter_map(|program| program.from).map(|from| from.0).max();
            let what = format!("a program of `{}` begins on", pump.at);
            far(&mut found, as_of, format!("{}.program", path("pumps", &pump.at)), &what, from);
        }
    }
    for (index, closed) in site.closed.iter().enumerate() {
        let what = format!("a closed season of `{}` ends on", site.id);
        far(&mut found, as_of, format!("closed[{index}].to"), &what, Some(closed.to));
    }
    for (index, visit) in &site.visits {
        for (at, entry) in visit.at.iter() {
            for (name, day) in entry.deferred.iter() {
                let what = format!("`{name}` of `{at}` is put off to");
                far(&mut found, as_of, format!("log[{index}].at.{at}.deferred.{name}"), &what, Some(day.0));
            }
        }
    }
    if let Some(day) = site.records_from.filter(|day| *day > as_of) {
        found.push(("records_from".to_owned(), format!("the records of `{}` begin on {day}, still to come", site.id)));
    }
    let mut told_spa: Option<(&str, Fitted)> = None;
    for (path, at, day) in fitted {
        // What can have stood there by then at the earliest.
        if day.range().is_none_or(|(first, _)| first <= as_of) {
            continue;
        }
        // What a spa's day gives to all in it is told once.
        if told_spa.is_some_and(|(spa, known)| spa == at.spa() && known == day) {
            continue;
        }
        let message = format!("`{at}` was fitted in days to come: {day}");
        let mut diagnostic = told(&site.file, message);
        diagnostic.left_out = Some("until then it counts as not there".to_owned());
        let line = files.lines.iter().find(|line| line.spa.as_str() == at.spa() && line.file.fitted == Some(day));
        place(&mut diagnostic, folder, &format!("{path}.fitted"));
        if let (None, Some(line)) = (diagnostic.spot, line) {
            let line = line.line as usize;
            "sites.csv".clone_into(&mut diagnostic.file);
            diagnostic.spot = Some(Spot { line, column: 1, length: 1 });
            diagnostic.excerpt = folder.text("sites.csv", LARGEST_SHEET).ok().and_then(|text| text.line(line));
        }
        if at.as_str() == at.spa() {
            told_spa = Some((at.spa(), day));
        }
        diagnostics.push(diagnostic);
    }
    diagnostics.extend(placed(&site.file, found, folder));
    diagnostics.extend(parts_of(site, folder, as_of));
    diagnostics.extend(far_stays(site, folder, as_of));
    diagnostics.truncate(MOST);
    diagnostics
}

/// Parts that were fitted in days to come, or before what they stand in: their age would be that of another year.
fn parts_of(site: &Site, folder: &Folder, as_of: NaiveDate) -> Vec<Diagnostic> {
    type Holder<'a> = (String, &'a Address, Fitted, &'a Keyed<Id, PartFitted>);
    let mut holders: Vec<Holder> = Vec::new();
    for spa in &site.spas {
        let path = |group: &str, at: &Address| format!("spas.{}.{group}.{}", spa.at, at.last());
        holders.push((format!("spas.{}", spa.at), &spa.at, spa.fitted, &spa.parts));
        holders.extend(spa.filters.iter().map(|one| (path("filters", &one.at), &one.at, one.fitted, &one.parts)));
        holders.extend(spa.pumps.iter().map(|one| (path("pumps", &one.at), &one.at, one.fitted, &one.parts)));
        holders.extend(spa.equipment.iter().map(|one| (path("equipment", &one.at), &one.at, one.fitted, &one.parts)));
    }
    let mut diagnostics = Vec::new();
    for (path, at, there_since, parts) in holders {
        for (name, part) in parts.iter() {
            let Some((first, last)) = part.fitted.range() else { continue };
            let begun = there_since.range().map(|(first, _)| first);
            let mut diagnostic = if first > as_of {
                told(&site.file, format!("`{name}` of `{at}` was fitted in days to come: {}", part.fitted))
            } else if let Some(begun) = begun.filter(|begun| last < *begun) {
                let message =
                    format!("`{name}` of `{at}` was fitted {}, before `{at}` stood there ({begun})", part.fitted);
                let mut diagnostic = plain(Severity::Warning, Rule::BeforeFitting, &site.file, message);
                diagnostic.hint = Some("is the year right?".to_owned());
                diagnostic
            } else {
                continue;
            };
            place(&mut diagnostic, folder, &format!("{path}.parts.{name}.fitted"));
            diagnostics.push(diagnostic);
        }
    }
    diagnostics
}

/// Stays that begin too far ahead, told once for a file with the first of them. No text of a booking is told: it may hold a
/// guest's name.
fn far_stays(site: &Site, folder: &Folder, as_of: NaiveDate) -> Vec<Diagnostic> {
    let of_site = format!("bookings/{}.ics", site.id);
    let mut files: BTreeMap<String, &Stays> = BTreeMap::new();
    for spa in &site.spas {
        let Some(stays) = &spa.stays else { continue };
        let own = format!("bookings/{}--{}.ics", site.id, spa.at);
        files.insert(if folder.has(&own) { own } else { of_site.clone() }, stays.as_ref());
    }
    let of_file = |(file, stays): (String, &Stays)| {
        let far: Vec<NaiveDate> =
            stays.stays.iter().map(|(from, _)| *from).filter(|from| *from > add(as_of, AHEAD)).collect();
        let first = far.first()?;
        let more = if far.len() > 1 { format!(", the first of {} so far ahead", far.len()) } else { String::new() };
        let mut diagnostic = told(&file, format!("a stay begins on {first}, over five years ahead{more}"));
        let text = folder.text(&file, LARGEST_RECORD).ok();
        let line = text.and_then(|source| bookings::line_of(&source.text, *first));
        diagnostic.spot = line.map(|line| Spot { line, column: 1, length: 1 });
        Some(diagnostic)
    };
    files.into_iter().filter_map(of_file).collect()
}

/// Dates of the files all sites share that lie too far ahead.
pub fn of_fleet(fleet: &Fleet, folder: &Folder, as_of: NaiveDate) -> Vec<Diagnostic> {
    let mut found: Vec<Found> = Vec::new();
    let settings = &fleet.settings;
    let labour = &settings.labour;
    for (path, prices) in [
        ("electricity", &settings.electricity),
        ("labour.cost", &labour.cost),
        ("labour.charge", &labour.charge),
        ("labour.callout", &labour.callout),
    ] {
        let from = prices.as_ref().and_then(Dated::last_step);
        far(&mut found, as_of, path.to_owned(), &format!("a price of `{path}` begins on"), from);
    }
    for (index, day) in settings.holidays.iter().enumerate() {
        far(&mut found, as_of, format!("holidays[{index}]"), "a holiday is on", Some(day.0));
    }
    for (id, person) in settings.technicians.iter() {
        for (index, leave) in person.leave.iter().enumerate() {
            let path = format!("technicians.{id}.leave[{index}].to");
            far(&mut found, as_of, path, &format!("the leave of `{id}` ends on"), Some(leave.to.0));
        }
    }
    let mut diagnostics = placed("fleet.yaml", found, folder);
    let mut found: Vec<Found> = Vec::new();
    for (id, customer) in &fleet.customers {
        let Some(contract) = &customer.contract else { continue };
        for (field, what, day) in [("from", "begins on", contract.from), ("to", "ends on", contract.to)] {
            let path = format!("customers.{id}.contract.{field}");
            far(&mut found, as_of, path, &format!("the contract of `{id}` {what}"), day.map(|day| day.0));
        }
    }
    diagnostics.extend(placed("customers.yaml", found, folder));
    let mut found: Vec<Found> = Vec::new();
    for (id, part) in fleet.book.parts.iter().filter(|_| !fleet.book.built_in) {
        for (field, price) in [("cost", &part.cost), ("sell", &part.sell)] {
            let from = price.as_ref().and_then(Dated::last_step);
            let path = format!("parts.{id}.{field}");
            far(&mut found, as_of, path, &format!("a price of `{id}` begins on"), from);
        }
    }
    diagnostics.extend(placed("upkeep.yaml", found, folder));
    diagnostics
}

fn placed(file: &str, found: Vec<Found>, folder: &Folder) -> Vec<Diagnostic> {
    let of_path = |(path, message): Found| {
        let mut diagnostic = told(file, message);
        place(&mut diagnostic, folder, &path);
        diagnostic
    };
    found.into_iter().take(MOST).map(of_path).collect()
}
