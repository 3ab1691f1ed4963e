//! Warnings about counters out of order: each with the reading it contradicts beside it.

use std::cell::OnceCell;

use chrono::NaiveDate;

use super::plain;
use crate::address::Address;
use crate::basis::{Place, Source};
use crate::calendar::{days_between, plus_days};
use crate::diagnostic::{Diagnostic, Rule, Second, Severity, Spot};
use crate::records::counters::{self, Point, SetAside};
use crate::records::log::{Entry, Quantity, Visit};
use crate::records::tree::{Folder, LARGEST_SHEET, SourceText};
use crate::records::tubs::{ProgramFile, Speed};
use crate::records::yaml;
use crate::records::{Fleet, Pump, ReadingRow, Site};

/// Warnings about counters out of order, once the readings are in, of pumps whose log could be read whole.
pub fn check_counters(
    fleet: &Fleet,
    site: &Site,
    source: &SourceText,
    folder: &Folder,
    is_whole: impl Fn(&Address) -> bool,
) -> Vec<Diagnostic> {
    let mut diagnostics = Vec::new();
    let files = Files { site, own: source, folder, sheet: OnceCell::new() };
    for pump in site.spas.iter().flat_map(|spa| &spa.pumps).filter(|pump| is_whole(&pump.at)) {
        diagnostics.extend(at_rest(&files, pump));
        diagnostics.extend(together_too_fast(&files, pump));
        diagnostics.extend(ran_while_down(&files, pump));
        diagnostics.extend(reset_of_nothing(&files, pump));
        if counters::plainly_sound(site, pump) {
            continue;
        }
        let counters = counters::counters(fleet, site, pump);
        for aside in counters.set_aside.iter().filter(|aside| aside.agreeing != Some(0)) {
            let days = counters.counts.iter().flat_map(|(_, counts)| counts).flat_map(|count| &count.points);
            let of_it = days.filter(|point| point.quantity == aside.reading.quantity).map(|point| point.day);
            let (mut before, mut after) = (false, false);
            for day in of_it {
                before |= day < aside.reading.day;
                after |= day > aside.reading.day;
            }
            let said = says(pump, aside, before && after);
            let mut told = files.told(pump, aside.rule, &aside.reading, said.message);
            told.second = aside.against.and_then(|other| files.second(pump, &other));
            (told.hint, told.left_out) = (Some(said.hint), Some(said.left_out));
            diagnostics.push(told);
        }
        for doubt in counters.turns_unsure() {
            let gained = doubt.last.hours - doubt.first.hours;
            let (first, last) = (doubt.first.day, doubt.last.day);
            let more = gained + counters::turn_of(pump).unwrap_or_default();
            let message = format!(
                "the counter of `{}` may have turned over unseen: {gained:.0} h and {more:.0} h both fit into the {} days \
                 from {first} to {last}",
                pump.at,
                days_between(first, last)
            );
            let mut told = files.told(pump, Rule::CounterTurnUnsure, &doubt.last, message);
            told.second = files.second(pump, &doubt.first);
            told.hint = Some(
                "if it did, add a reading from between them, or `meter_reset` to the visit at which it had; if it did not, mend \
                 the program or the reading that says so"
                    .to_owned(),
            );
            told.left_out =
                Some("the difference of the two is not used, and the hours between them are estimated".to_owned());
            diagnostics.push(told);
        }
        for doubt in counters.too_fast() {
            let gained = doubt.last.hours - doubt.first.hours;
            let days = days_between(doubt.first.day, doubt.last.day);
            let message = format!(
                "the counter of `{}` runs faster than 24 h a day: {gained:.0} h in the {days} days up to {}",
                pump.at, doubt.last.day
            );
            let mut told = files.told(pump, Rule::CounterTooFast, &doubt.last, message);
            told.second = files.second(pump, &doubt.first);
            told.hint = Some("does it count hours, and this pump alone? mend the readings that are wrong".to_owned());
            told.left_out = Some("those days count as 24 h, estimated".to_owned());
            diagnostics.push(told);
        }
    }
    diagnostics
}

/// So many days without a gain are worth a question where the program says it runs: assumed.
const AT_REST_DAYS: i64 = 21;
/// So many hours must the program name for a day for it: assumed.
const RUNS_HOURS_A_DAY: f64 = 1.0;
/// Hours that two counters may seem to gain beyond the days between two readings: a visit's day, and rounding.
const SLACK_HOURS: f64 = 10.0;

/// The first stretch on which a pump's counter stood still though its program says it runs; told once for a pump.
fn at_rest(files: &Files, pump: &Pump) -> Option<Diagnostic> {
    let site = files.site;
    if pump.usual_program {
        return None;
    }
    for (quantity, speeds) in [
        (Quantity::Hours, [Speed::Run, Speed::Low, Speed::High].as_slice()),
        (Quantity::HoursLow, &[Speed::Low]),
        (Quantity::HoursHigh, &[Speed::High]),
    ] {
        let rows: Vec<&ReadingRow> = site.readings_of(&pump.at, quantity).collect();
        let mut first = 0;
        for index in 1..=rows.len() {
            if rows.get(index).is_some_and(|row| row.value == rows[first].value) {
                continue;
            }
            let (from, to) = (rows[first], rows[index - 1]);
            first = index;
            let days = days_between(from.day, to.day);
            if days < AT_REST_DAYS || site.closed_days(plus_days(from.day, 1), to.day) > 0 {
                continue;
            }
            let runs = |program: &ProgramFile| {
                let base = program.base();
                let hours = base.named().filter(|(speed, _)| speeds.contains(speed)).map(|(_, hours)| hours);
                hours.sum::<f64>() >= RUNS_HOURS_A_DAY
            };
            let begun = |day: NaiveDate| pump.programs.iter().rposition(|p| p.from.is_none_or(|from| from.0 <= day));
            let (Some(begin), Some(end)) = (begun(from.day), begun(to.day)) else { continue };
            let stands_still = site.entries(&pump.at).chain(spa_entries(site, pump)).any(|(_, visit, entry)| {
                let noted = entry.down.is_some() || entry.meter_reset.is_some() || entry.exchanged.is_some();
                noted && visit.date.0 >= from.day && visit.date.0 <= plus_days(to.day, AT_REST_DAYS)
            });
            if stands_still || !pump.programs[begin..=end].iter().all(runs) {
                continue;
            }
            let message = format!(
                "the counter of `{}` shows {} h on {} and still on {}, {days} days later, and its program says that it runs",
                pump.at, from.value, from.day, to.day
            );
            let mut told = files.told_of_row(pump, Severity::Warning, Rule::CounterAtRest, to, message);
            told.second = files.second_row(pump, from);
            told.hint = Some(
                "if the counter is broken, leave out what it shows from then on; if the pump stood still, add `down` to the \
                 visit that mended it, or mend its program"
                    .to_owned(),
            );
            told.left_out = Some("those days count as not run".to_owned());
            return Some(told);
        }
    }
    None
}

/// The first days on which a pump is noted as down and its counter ran all the same: it gained more than the other days
/// between two readings have hours.
fn ran_while_down(files: &Files, pump: &Pump) -> Option<Diagnostic> {
    let site = files.site;
    for (index, visit, entry) in site.entries(&pump.at) {
        let Some(down) = entry.down.map(|period| period.mean_days().round() as i64).filter(|days| *days > 0) else {
            continue;
        };
        // Another pump, or a counter set back, counts anew.
        if entry.exchanged.is_some() || entry.meter_reset.is_some() {
            continue;
        }
        let (first, last) = (plus_days(visit.date.0, 1 - down), visit.date.0);
        let mut rows = site.readings_of(&pump.at, Quantity::Hours).peekable();
        let mut before = None;
        while let Some(row) = rows.next_if(|row| row.day < first) {
            before = Some(row);
        }
        let (Some(from), Some(to)) = (before, rows.find(|row| row.day >= last)) else { continue };
        let (days, gained) = (days_between(from.day, to.day), to.value - from.value);
        let most = 24.0 * (days - down) as f64 + SLACK_HOURS;
        if gained <= most || gained > 24.0 * days as f64 + SLACK_HOURS {
            continue;
        }
        let message = format!(
            "`{}` was down for {down} days up to {last}, and its counter ran {gained:.0} h in the {days} days around them",
            pump.at
        );
        let mut told = plain(Severity::Warning, Rule::CounterWhileDown, &site.file, message);
        let place = Place::Entry { visit: index, at: pump.at.clone(), field: "down" };
        (told.spot, told.excerpt) = files.place(&Source { file: site.file.clone(), place }).unzip();
        told.second = files.second_row(pump, to);
        told.hint = Some(
            "was it the spa that was down, and not the pump? then `down` stands at the spa, or is shorter".to_owned(),
        );
        told.left_out = Some("the counter prevails".to_owned());
        return Some(told);
    }
    None
}

fn spa_entries<'a>(site: &'a Site, pump: &'a Pump) -> impl Iterator<Item = (u32, &'a Visit, &'a Entry)> {
    let spa = site.spas.iter().find(|spa| spa.at.as_str() == pump.at.spa());
    spa.into_iter().flat_map(|spa| site.entries(&spa.at))
}

/// The first stretch on which the counters of two speeds gained more together than the days have hours.
fn together_too_fast(files: &Files, pump: &Pump) -> Option<Diagnostic> {
    let rows = |quantity| files.site.readings_of(&pump.at, quantity).collect::<Vec<_>>();
    let (low, high) = (rows(Quantity::HoursLow), rows(Quantity::HoursHigh));
    let on = |rows: &[&ReadingRow], day: NaiveDate| {
        rows.binary_search_by_key(&day, |row| row.day).ok().map(|index| rows[index].value)
    };
    let both: Vec<(&ReadingRow, f64)> =
        low.iter().filter_map(|row| Some((*row, row.value + on(&high, row.day)?))).collect();
    both.windows(2).find_map(|pair| {
        let [(from, before), (to, after)] = [pair[0], pair[1]];
        let (days, gained) = (days_between(from.day, to.day), after - before);
        let alone = |rows: &[&ReadingRow]| Some(on(rows, to.day)? - on(rows, from.day)?);
        // One that runs too fast by itself is told as such.
        let each_sound = [&low, &high]
            .iter()
            .all(|rows| alone(rows).is_some_and(|gain| (0.0..=24.0 * days as f64 + SLACK_HOURS).contains(&gain)));
        if !each_sound || gained <= 24.0 * days as f64 + SLACK_HOURS {
            return None;
        }
        let message = format!(
            "the counters of `{}` run faster than 24 h a day together: {gained:.0} h in the {days} days up to {}",
            pump.at, to.day
        );
        let mut told = files.told_of_row(pump, Severity::Warning, Rule::CounterTooFast, to, message);
        told.second = files.second_row(pump, from);
        told.hint = Some("does each count its own speed alone? mend the reading that is wrong".to_owned());
        told.left_out = Some("low speed counts with what high speed leaves of those days, estimated".to_owned());
        Some(told)
    })
}

/// A `meter_reset` that says nothing of which of two counters was set back.
fn reset_of_nothing(files: &Files, pump: &Pump) -> Option<Diagnostic> {
    let site = files.site;
    let read = |quantity| site.readings_of(&pump.at, quantity).next().is_some();
    if read(Quantity::Hours) || !(read(Quantity::HoursLow) || read(Quantity::HoursHigh)) {
        return None;
    }
    let plain_reset = |(_, _, entry): &(u32, &Visit, &Entry)| {
        entry.meter_reset.as_ref().is_some_and(|reset| reset.low.is_none() && reset.high.is_none())
    };
    let (index, visit, _) = site.entries(&pump.at).find(plain_reset)?;
    let message = format!("`{}` has a counter for each speed, and `meter_reset` names none of them", pump.at);
    let mut told = plain(Severity::Error, Rule::SpeedNotThere, &site.file, message);
    let place = Place::Entry { visit: index, at: pump.at.clone(), field: "meter_reset" };
    (told.spot, told.excerpt) = files.place(&Source { file: site.file.clone(), place }).unzip();
    told.hint = Some("write `meter_reset: {low: {showed: …, to: …}}`, or `high`, or both".to_owned());
    told.left_out = Some(format!("the reset of {} is not used", visit.date));
    Some(told)
}

/// What is said of a reading set aside.
struct Said {
    message: String,
    hint: String,
    left_out: String,
}

fn says(pump: &Pump, aside: &SetAside, between_others: bool) -> Said {
    let (at, reading) = (&pump.at, &aside.reading);
    if let Some(count) = aside.agreeing {
        // Readings before a reset look as wrong as those after it, whichever are more.
        let reset = aside.against.map_or(reading.day, |other| reading.day.max(other.day));
        return Said {
            message: format!(
                "the counter of `{at}` looks reset by {reset}: {count} readings agree among themselves only"
            ),
            hint: format!("write `meter_reset` into the visit of the day it was set back, {reset} or before"),
            left_out: format!("the {count} readings are set aside, and the hours of those days are estimated"),
        };
    }
    let message = match aside.rule {
        Rule::CounterBackwards => {
            format!("the counter of `{at}` runs backwards: {} h on {}", reading.hours, reading.day)
        }
        Rule::ReadingsContradict => format!("two readings of `{at}` on {} contradict each other", reading.day),
        _ => format!("the counter of `{at}` runs faster than 24 h a day: {} h on {}", reading.hours, reading.day),
    };
    let (hint, left_out) = if aside.rule == Rule::ReadingsContradict {
        ("keep the one that is right; of readings of one day an `after` comes last", "the reading is set aside")
    } else {
        (
            "if the counter was replaced or set back, add `meter_reset` to that visit",
            if between_others {
                "the reading is set aside, and its neighbours' difference is used as an estimate"
            } else {
                "the reading is set aside, and the hours go on from the others as if it had not been taken"
            },
        )
    };
    Said { message, hint: hint.to_owned(), left_out: left_out.to_owned() }
}

/// The files readings stand in: the site's own, and its sheet, which is read again only where something is told of it.
struct Files<'a> {
    site: &'a Site,
    own: &'a SourceText,
    folder: &'a Folder,
    sheet: OnceCell<Option<SourceText>>,
}

impl Files<'_> {
    fn told(&self, pump: &Pump, rule: Rule, reading: &Point, message: String) -> Diagnostic {
        let source = reading.source(self.site, &pump.at);
        let mut told = plain(Severity::Warning, rule, &source.file, message);
        (told.spot, told.excerpt) = self.place(&source).unzip();
        told
    }

    fn told_of_row(
        &self,
        pump: &Pump,
        severity: Severity,
        rule: Rule,
        row: &ReadingRow,
        message: String,
    ) -> Diagnostic {
        let source = row.source(self.site, &pump.at);
        let mut told = plain(severity, rule, &source.file, message);
        (told.spot, told.excerpt) = self.place(&source).unzip();
        told
    }

    fn second_row(&self, pump: &Pump, row: &ReadingRow) -> Option<Box<Second>> {
        let source = row.source(self.site, &pump.at);
        let (spot, excerpt) = self.place(&source)?;
        let label = format!("{} h on {}", row.value, row.day);
        Some(Box::new(Second { file: source.file.to_string(), spot, excerpt, label }))
    }

    /// The reading another contradicts, beside it.
    fn second(&self, pump: &Pump, reading: &Point) -> Option<Box<Second>> {
        let source = reading.source(self.site, &pump.at);
        let (spot, excerpt) = self.place(&source)?;
        let label = format!("{} h on {}", reading.hours, reading.day);
        Some(Box::new(Second { file: source.file.to_string(), spot, excerpt, label }))
    }

    fn place(&self, source: &Source) -> Option<(Spot, String)> {
        let spot = match &source.place {
            Place::Line(line) => {
                let read = || self.folder.text(&source.file, LARGEST_SHEET).ok();
                return self.sheet.get_or_init(read).as_ref()?.row(*line as usize);
            }
            Place::Path(path) => self.own.find_text(path),
            Place::Entry { visit, at, field } => self.own.find(&[
                yaml::Step::Key("log".to_owned()),
                yaml::Step::Item(*visit as usize),
                yaml::Step::Key("at".to_owned()),
                yaml::Step::Key(at.to_string()),
                yaml::Step::Key((*field).to_owned()),
            ]),
        }?;
        Some((spot, self.own.line(spot.line)?))
    }
}
