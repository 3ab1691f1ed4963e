//! Work and closures of the log book's month, as the log tells them, without its notes.

use chrono::NaiveDate;

use super::{Closure, Given, WorkRow};
use crate::address::Address;
use crate::calendar::{Month, plus_days};
use crate::records::log::{Entry, Quantity, Visit};
use crate::records::{Fleet, Record, Spa};
use crate::report::format;

/// Cleans, changes and other work of the month at a spa.
pub(super) fn work(given: &Given, spa: &Spa) -> Vec<WorkRow> {
    let mut rows = Vec::new();
    for (index, visit) in &given.site.site.visits {
        if Month::of(visit.date.0) != given.month {
            continue;
        }
        for (at, entry) in visit.at.iter().filter(|(at, _)| at.spa() == spa.at.as_str()) {
            let what = work_words(entry);
            if what.is_empty() {
                continue;
            }
            let place = at.as_str().split_once('/').map_or("the spa".to_owned(), |(_, inside)| format::place(inside));
            rows.push((
                (visit.date.0, visit.time.map(|t| t.start)),
                WorkRow {
                    date: format::near_date(visit.date.0, given.site.as_of),
                    place: format::sentence(&place),
                    what: format::sentence(&what.join(", ")),
                    by: by(given.fleet, visit),
                    after: after_words(given, at, *index),
                },
            ));
        }
    }
    rows.sort_by_key(|(when, _)| *when);
    rows.into_iter().map(|(_, row)| row).collect()
}

fn work_words(entry: &Entry) -> Vec<String> {
    let mut what: Vec<String> = entry.done.iter().map(|task| format::words(task.as_str())).collect();
    what.extend(entry.renewed.0.iter().map(|(part, _)| format!("renewed {}", format::words(part.as_str()))));
    what.extend(entry.repaired.0.iter().map(|(part, _)| format!("repaired {}", format::words(part.as_str()))));
    if entry.exchanged.is_some() {
        what.push("pump exchanged".to_owned());
    }
    if entry.removed == Some(true) {
        what.push("taken out of service for good".to_owned());
    }
    what
}

/// What was read there after the work of a visit.
fn after_words(given: &Given, at: &Address, visit: u32) -> String {
    let units = given.fleet.settings.units;
    let readings = given.site.site.readings.get(at).into_iter().flatten();
    readings
        .filter(|row| row.after && row.record == Record::Log(visit))
        .filter_map(|row| match row.quantity {
            Quantity::Pressure => Some(format!("pressure {}", format::pressure(row.value, units))),
            Quantity::Flow => Some(format!("flow {}", format::flow(row.value, units))),
            q if q.is_water_test() => {
                Some(format!("{} {}", format::quantity_name(q), format::test_value(q, row.value, units)))
            }
            _ => None,
        })
        .collect::<Vec<_>>()
        .join(", ")
}

/// Closures of the month: closed seasons of the site, and what stood out of service.
pub(super) fn closures(given: &Given) -> Vec<Closure> {
    let site = given.site.site;
    let (first, last) = (given.month.first(), given.month.last());
    let day = |day: NaiveDate| format::near_date(day, given.site.as_of);
    let mut all: Vec<Closure> = site
        .closed
        .iter()
        .filter(|c| c.from <= last && c.to >= first)
        .map(|c| Closure {
            place: "The whole site".to_owned(),
            when: format!("{} to {}", day(c.from), day(c.to)),
            why: if c.drained { "closed season, water out" } else { "closed season" }.to_owned(),
        })
        .collect();
    for (_, visit) in &site.visits {
        for (at, entry) in visit.at.iter() {
            let Some(down) = entry.down else { continue };
            let from = plus_days(visit.date.0, 1 - down.mean_days().round() as i64);
            if from > last || visit.date.0 < first {
                continue;
            }
            all.push(Closure {
                place: format::sentence(&format::place(at.as_str())),
                when: if from == visit.date.0 { day(from) } else { format!("{} to {}", day(from), day(visit.date.0)) },
                why: format!("out of service, {}", work_words(entry).join(", ")).trim_end_matches(", ").to_owned(),
            });
        }
    }
    all
}

fn by(fleet: &Fleet, visit: &Visit) -> String {
    visit.by.as_ref().map_or(String::new(), |id| first_name(fleet, id.as_str()))
}

/// A technician's first name as in `fleet.yaml`; the id where there is none.
pub(super) fn first_name(fleet: &Fleet, id: &str) -> String {
    let name = fleet.settings.technicians.iter().find(|(key, _)| key.as_str() == id).and_then(|(_, t)| t.name.as_ref());
    let name = name.map_or(id, |name| name.0.as_str());
    name.split_whitespace().next().unwrap_or(id).to_owned()
}
