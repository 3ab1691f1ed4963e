//! The coming month's visits by week and technician, and what to buy for it.

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate};
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use super::{Buy, BuyRow, Given, Visit, Week, Work, name};
use crate::address::Id;
use crate::calendar::plus_days;
use crate::report::format;
use crate::schedule::carry::{self, Carry, Hold};
use crate::schedule::visits;

/// Visits listed at most: beyond them the weeks tell enough, and every task is in the table of visits.
const VISITS: usize = 60;
/// Things that did not fit, named at most.
const NOT_FITTED: usize = 8;
/// Months ahead for which parts are bought.
const BUY_MONTHS: i32 = 3;
/// Kinds of parts listed at most.
const PARTS: usize = 16;

pub(super) fn work(given: &Given) -> Option<Work> {
    let figures = given.figures;
    let month = figures.month.next();
    let visits: Vec<&visits::Visit> = figures
        .plan
        .visits
        .iter()
        .map(AsRef::as_ref)
        .filter(|v| v.date >= month.first() && v.date <= month.last())
        .collect();
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
    let summary = format!(
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
                format::place(one.at.as_str()),
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
        visits_note: visits_note(visits.len()),
        not_fitted,
    })
}

/// That the list stops, if it does.
fn visits_note(visits: usize) -> String {
    if visits <= VISITS {
        return String::new();
    }
    let all = format::number(visits as f64, 0);
    format!("The first {VISITS} of {all} visits of the month; all, with their tasks, are in tables/visits.csv.")
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
    site.map_or_else(|| id.to_string(), name)
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

/// What the planned work of the coming months takes, and what to hold for failures.
pub(super) fn buy(given: &Given) -> Option<Buy> {
    let figures = given.figures;
    let (first, last) = (figures.month.next(), figures.month.plus(BUY_MONTHS));
    let mut kinds: BTreeMap<(&Id, Option<&str>), Vec<Carry>> = BTreeMap::new();
    for row in carry::carry(figures).into_iter().filter(|row| row.month >= first && row.month <= last) {
        let number = row.line.number.as_ref().map(|number| number.0.as_str());
        kinds.entry((row.part, number)).or_default().push(row);
    }
    let mut pays: Vec<(String, Hold)> = Vec::new();
    let mut rows: Vec<(NaiveDate, u32, BuyRow)> = kinds
        .into_iter()
        .filter_map(|((part, number), rows)| {
            let planned: u32 = rows.iter().map(|row| row.planned).sum();
            let hold = rows.iter().filter_map(|row| row.hold.map(|hold| hold.stock())).max();
            let worth = rows.iter().filter_map(|row| row.hold).any(|hold| hold.one_more_pays());
            if planned == 0 && hold.unwrap_or(0) == 0 && !worth {
                return None;
            }
            let expected: Option<f64> = rows.iter().map(|row| row.expected_failures).sum();
            let order_by = rows.iter().filter_map(|row| row.on_order_by).min();
            let most = rows.iter().filter_map(|row| row.hold).max_by_key(Hold::stock);
            if let Some(hold) = most.filter(Hold::one_more_pays) {
                pays.push((format::words(part.as_str()), hold));
            }
            let money = |amount: Option<f64>| {
                let amount = amount.and_then(|amount| Decimal::try_from(amount).ok());
                amount.map_or_else(|| "–".to_owned(), |amount| format::money(amount.round_dp(2), given.currency()))
            };
            let late = rows.iter().find_map(|row| row.too_late_for.zip(row.comes_on));
            let row = BuyRow {
                part: format::sentence(&format::words(part.as_str())),
                number: number.unwrap_or_default().to_owned(),
                planned: format::number(planned.into(), 0),
                failures: expected.map_or_else(|| "–".to_owned(), |expected| format::number(expected, 2)),
                hold: hold.map_or_else(|| "–".to_owned(), |hold| format::number(hold.into(), 0)),
                set_cost: money(most.and_then(|hold| hold.price?.to_f64())),
                one_fewer_costs: money(most.and_then(|hold| hold.one_fewer_costs())),
                one_more_saves: money(most.and_then(|hold| hold.one_more_saves())),
                order_by: match (order_by, late) {
                    (_, Some((visit, comes))) => format!(
                        "too late for {} unless on the shelf: now, comes {}",
                        format::near_date(visit, figures.as_of),
                        format::near_date(comes, figures.as_of)
                    ),
                    (None, _) => "–".to_owned(),
                    (Some(day), _) if day <= figures.as_of => "now".to_owned(),
                    (Some(day), _) => format::near_date(day, figures.as_of),
                },
            };
            Some((order_by.unwrap_or(NaiveDate::MAX), planned, row))
        })
        .collect();
    if rows.is_empty() {
        return None;
    }
    rows.sort_by(|a, b| a.0.cmp(&b.0).then(b.1.cmp(&a.1)).then(a.2.part.cmp(&b.2.part)));
    let left = rows.len().saturating_sub(PARTS);
    let planned: u32 = rows.iter().map(|row| row.1).sum();
    let mut summary = format!(
        "The planned visits of {} to {} take {}. What to hold covers failures at the service level the fleet asks for, over the time a part takes to come.",
        first.in_words(),
        last.in_words(),
        match planned {
            0 => "no part".to_owned(),
            1 => "one part".to_owned(),
            many => format!("{} parts", format::number(many.into(), 0)),
        }
    );
    if left > 0 {
        summary.push_str(&format!(" {left} more kinds are in tables/carry.csv."));
    }
    let priced = rows.iter().any(|(_, _, row)| row.one_more_saves != "–" || row.one_fewer_costs != "–");
    let note = if priced { buy_note(given, &pays) } else { String::new() };
    Some(Buy { summary, rows: rows.into_iter().take(PARTS).map(|(_, _, row)| row).collect(), note })
}

/// What one fewer and one more are reckoned by, and where the service level holds less than would be cheapest.
fn buy_note(given: &Given, pays: &[(String, Hold)]) -> String {
    let stock = &given.figures.fleet.settings.stock;
    let level = stock.service_level.as_ref().map_or_else(String::new, |level| {
        format!(
            "To hold is the least that lasts through the time an order takes in {} % of cases. ",
            format::number(level.0 * 100.0, 0)
        )
    });
    let mut says = format!(
        "{level}One set fewer costs and one set more saves what stands there in one such time, on the average, if every \
         night without the part is lost."
    );
    if !pays.is_empty() {
        let names: Vec<&str> = pays.iter().map(|(name, _)| name.as_str()).collect();
        let it = if names.len() == 1 { "it" } else { "them" };
        let names: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
        says.push_str(&format!(
            " {}: one set more than stands under “to hold” costs less than it saves in a single such time, so that holding it is \
             cheaper. The service level is met without {it} and alone decides what is counted.",
            format::sentence(&crate::charts::style::list(&names))
        ));
    }
    says
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_list_of_visits_that_stops_says_so() {
        assert_eq!(visits_note(VISITS), "");
        assert_eq!(
            visits_note(1828),
            "The first 60 of 1828 visits of the month; all, with their tasks, are in tables/visits.csv."
        );
    }
}
