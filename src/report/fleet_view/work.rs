//! The coming month's visits by week and technician, and what to buy for it.

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate};
use rust_decimal::Decimal;

use super::{Buy, BuyRow, Given, Visit, Week, Work};
use crate::address::Id;
use crate::calendar::plus_days;
use crate::charts::style::list;
use crate::report::format;
use crate::schedule::visits;

/// Visits listed at most: beyond them the weeks tell enough, and every task is in the table of visits.
const VISITS: usize = 60;
/// Things that did not fit, named at most.
const NOT_FITTED: usize = 8;
/// Days ahead for which parts are bought.
const BUY_DAYS: i64 = 90;
/// Kinds of parts listed at most.
const PARTS: usize = 14;
/// Sites named beside a part.
const NAMES: usize = 3;

pub(super) fn work(given: &Given) -> Option<Work> {
    let figures = given.figures;
    let month = figures.month.next();
    let visits: Vec<&visits::Visit> =
        figures.plan.visits.iter().filter(|v| v.date >= month.first() && v.date <= month.last()).collect();
    if visits.is_empty() {
        return None;
    }
    let mut weeks: BTreeMap<(NaiveDate, Option<&Id>), Vec<&visits::Visit>> = BTreeMap::new();
    for visit in &visits {
        let monday = plus_days(visit.date, -i64::from(visit.date.weekday().num_days_from_monday()));
        weeks.entry((monday, visit.technician.as_ref())).or_default().push(visit);
    }
    let hours = |minutes: f64| format::number(minutes / 60.0, 1);
    let work_minutes =
        |visits: &[&visits::Visit]| -> f64 { visits.iter().flat_map(|v| &v.tasks).map(|task| task.minutes).sum() };
    let travel_minutes = |visits: &[&visits::Visit]| -> f64 { visits.iter().map(|v| v.travel_minutes).sum() };
    let sites: std::collections::BTreeSet<&Id> = visits.iter().map(|v| &v.site).collect();
    let mut summary = format!(
        "{} {} to {} planned in {}: {} h of work and {} h on the way.",
        format::number(visits.len() as f64, 0),
        if visits.len() == 1 { "visit" } else { "visits" },
        match sites.len() {
            1 => "one site is".to_owned(),
            many => format!("{many} sites are"),
        },
        month.in_words(),
        hours(work_minutes(&visits)),
        hours(travel_minutes(&visits))
    );
    if visits.len() > VISITS {
        summary.push_str(" The tasks of each are in tables/visits.csv.");
    }
    let mut not_fitted: Vec<String> = figures
        .plan
        .not_fitted
        .iter()
        .take(NOT_FITTED)
        .map(|one| {
            format!(
                "{}: {} ({}) is in no visit: {}.",
                site_name(given, &one.site),
                format::words(&one.work.word()),
                format::words(&one.at.as_str().replace('/', ", ")),
                one.why.trim_end_matches('.')
            )
        })
        .collect();
    let more = figures.plan.not_fitted.len().saturating_sub(NOT_FITTED);
    if more > 0 {
        not_fitted.push(format!("And {more} more."));
    }
    Some(Work {
        summary,
        weeks: weeks
            .iter()
            .map(|((monday, technician), visits)| {
                let urgent = visits.iter().flat_map(|v| &v.tasks).filter(|task| task.urgent).count();
                Week {
                    week: week(*monday),
                    technician: technician_name(given, *technician),
                    visits: visits.len().to_string(),
                    work: hours(work_minutes(visits)),
                    travel: hours(travel_minutes(visits)),
                    urgent: if urgent == 0 { "–".to_owned() } else { urgent.to_string() },
                }
            })
            .collect(),
        visits: visits
            .iter()
            .take(VISITS)
            .map(|visit| Visit {
                date: format!("{} {}", visit.date.format("%a"), format::near_date(visit.date, figures.as_of)),
                technician: technician_name(given, visit.technician.as_ref()),
                site: site_name(given, &visit.site),
                tasks: tasks(visit),
                minutes: format::number(visit.tasks.iter().map(|task| task.minutes).sum(), 0),
            })
            .collect(),
        not_fitted,
    })
}

/// A week by its first and last day.
fn week(monday: NaiveDate) -> String {
    let sunday = plus_days(monday, 6);
    let month = |day: NaiveDate| &crate::calendar::MONTHS[day.month0() as usize][..3];
    if monday.month() == sunday.month() {
        format!("{} to {} {}", monday.day(), sunday.day(), month(sunday))
    } else {
        format!("{} {} to {} {}", monday.day(), month(monday), sunday.day(), month(sunday))
    }
}

fn technician_name(given: &Given, technician: Option<&Id>) -> String {
    let Some(id) = technician else { return "nobody named".to_owned() };
    let name = given.figures.fleet.settings.technicians.get(id).and_then(|t| t.name.as_ref());
    name.map_or_else(|| format::sentence(&format::words(id.as_str())), |name| name.0.clone())
}

fn site_name(given: &Given, id: &Id) -> String {
    let site = given.figures.sites.iter().find(|site| site.site.id == *id);
    site.map_or_else(|| id.to_string(), |site| site.site.name.clone())
}

/// What a visit does, each kind of work once with how often.
fn tasks(visit: &visits::Visit) -> String {
    let mut kinds: Vec<(String, usize)> = Vec::new();
    for task in &visit.tasks {
        let word = match &task.work {
            visits::Work::Renew(part) => format!("renew {}", format::words(part.as_str())),
            other => format::words(&other.word()),
        };
        match kinds.iter_mut().find(|(known, _)| *known == word) {
            Some((_, times)) => *times += 1,
            None => kinds.push((word, 1)),
        }
    }
    let words = kinds.iter().map(|(word, times)| if *times > 1 { format!("{word} × {times}") } else { word.clone() });
    format::sentence(&words.collect::<Vec<_>>().join(", "))
}

/// The parts that fall due in the coming months, by kind.
pub(super) fn buy(given: &Given) -> Option<Buy> {
    struct Kind<'a> {
        count: u32,
        sites: Vec<&'a str>,
        first: NaiveDate,
        cost: Option<Decimal>,
    }
    let as_of = given.figures.as_of;
    let end = plus_days(as_of, BUY_DAYS);
    let mut kinds: BTreeMap<&str, Kind> = BTreeMap::new();
    for site in &given.figures.sites {
        for part in &site.parts {
            let Some(due) = part.due.filter(|due| *due <= end) else { continue };
            let kind = kinds.entry(part.part.id.as_str()).or_insert(Kind {
                count: 0,
                sites: Vec::new(),
                first: due,
                cost: Some(Decimal::ZERO),
            });
            kind.count += part.part.part.count.unwrap_or(1);
            if !kind.sites.contains(&site.site.name.as_str()) {
                kind.sites.push(&site.site.name);
            }
            kind.first = kind.first.min(due);
            kind.cost = kind.cost.zip(part.cost).map(|(sum, cost)| sum + cost);
        }
    }
    if kinds.is_empty() {
        return None;
    }
    let pieces: u32 = kinds.values().map(|kind| kind.count).sum();
    let mut sorted: Vec<(&str, Kind)> = kinds.into_iter().collect();
    sorted.sort_by_key(|(part, kind)| (kind.first, *part));
    let left = sorted.len().saturating_sub(PARTS);
    let mut summary = format!(
        "{} past their limit or due by {}.",
        if pieces == 1 { "One part is".to_owned() } else { format!("{} parts are", format::number(pieces.into(), 0)) },
        format::near_date(end, as_of)
    )
    .replace("One part is past their limit", "One part is past its limit");
    if left > 0 {
        summary.push_str(&format!(" {left} kinds that are needed later are not listed; all are in tables/parts.csv."));
    }
    Some(Buy {
        summary,
        rows: sorted
            .into_iter()
            .take(PARTS)
            .map(|(part, kind)| BuyRow {
                part: format::sentence(&format::words(part)),
                count: format::number(kind.count.into(), 0),
                sites: if kind.sites.len() > NAMES {
                    format!("{} and {} more", kind.sites[..NAMES].join(", "), kind.sites.len() - NAMES)
                } else {
                    list(&kind.sites.iter().map(|site| (*site).to_owned()).collect::<Vec<_>>())
                },
                first: if kind.first <= as_of { "now".to_owned() } else { format::near_date(kind.first, as_of) },
                cost: kind.cost.map_or_else(|| "–".to_owned(), |cost| format::money(cost, given.currency())),
            })
            .collect(),
    })
}
