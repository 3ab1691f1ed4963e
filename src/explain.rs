//! Why a figure is what it is: the records it rests on with file and line, the figures with basis and
//! range, the formula, the result, and the one reading that would narrow it most.
//!
//! It computes nothing of its own; it tells what was computed, for a pump, a part or a spa.

mod advice;
mod energy;
mod water;

pub use advice::{ReadingAdvice, first_readings, reading_advice};

use std::cell::RefCell;
use std::collections::BTreeMap;

use chrono::NaiveDate;
use uom::si::time::hour;

use crate::address::Address;
use crate::basis::{Basis, Place, Source};
use crate::calendar::{Month, add, in_words};
use crate::quantities::PumpFigures;
use crate::quantities::hours_forecast::Forecast;
use crate::quantities::program;
use crate::quantities::run_hours::{self, RunHours};
use crate::records::tree::{Folder, LARGEST_RECORD, LARGEST_SHEET, SourceText};
use crate::records::{Fleet, Pump, Site, Spa};
use crate::report::format;
use crate::schedule::due::{self, DueBy, PartDue};
use crate::site::SiteFigures;

/// Finds the lines of records, each file read once.
pub struct Lines<'a> {
    folder: &'a Folder,
    files: RefCell<BTreeMap<String, Option<SourceText>>>,
}

impl<'a> Lines<'a> {
    /// Of a fleet's folder.
    pub fn new(folder: &'a Folder) -> Self {
        Self { folder, files: RefCell::default() }
    }

    fn in_text<T>(&self, file: &str, look: impl FnOnce(Option<&SourceText>) -> T) -> T {
        let mut files = self.files.borrow_mut();
        let text = files.entry(file.to_owned()).or_insert_with(|| {
            let largest = if std::path::Path::new(file).extension().is_some_and(|extension| extension == "csv") {
                LARGEST_SHEET
            } else {
                LARGEST_RECORD
            };
            self.folder.text(file, largest).ok()
        });
        look(text.as_ref())
    }

    /// Where a field of a spa, or of what stands in it, was written: in the site's file, in the spa's type, or in its line of
    /// `sites.csv`.
    fn written(&self, site: &Site, spa: &Spa, field: &str) -> Source {
        let own = site.source(&format!("spas.{}.{field}", spa.at));
        let holds = |source: &Source| match &source.place {
            Place::Path(path) => self.in_text(&source.file, |text| text.is_some_and(|text| text.holds(path))),
            _ => true,
        };
        let of_type = spa.of_type.as_ref().map(|name| Source {
            file: "tubs.yaml".into(),
            place: Place::Path(format!("types.{name}.{field}").into()),
        });
        // What has no day of its own is as old as its spa.
        let of_spa = || field.ends_with("fitted").then(|| site.source(&format!("spas.{}.fitted", spa.at)));
        let of_line = || spa.line.map(|line| Source { file: "sites.csv".into(), place: Place::Line(line) });
        let known = [Some(own.clone()), of_type].into_iter().chain([of_spa()]).flatten().find(holds);
        known.or_else(of_line).unwrap_or(own)
    }

    /// The file and line of a record, with the line's text.
    fn show(&self, source: &Source) -> String {
        self.in_text(&source.file, |text| Self::shown(source, text))
    }

    fn shown(source: &Source, text: Option<&SourceText>) -> String {
        let line = match (&source.place, text) {
            (Place::Line(line), _) => Some(*line as usize),
            (_, None) => None,
            (Place::Path(path), Some(text)) => text.find_text(path).map(|spot| spot.line),
            (Place::Entry { visit, at, field }, Some(text)) => {
                text.find_text(&format!("log[{visit}].at.{at}.{field}")).map(|spot| spot.line)
            }
        };
        match line {
            Some(line) => {
                let excerpt = text.and_then(|text| text.line(line)).unwrap_or_default();
                format!("{}:{line}: {}", source.file, excerpt.trim().chars().take(110).collect::<String>())
            }
            None => source.file.to_string(),
        }
    }
}

/// What an explanation needs.
pub struct Explainer<'a> {
    /// What all sites share.
    pub fleet: &'a Fleet,
    /// The site with its figures.
    pub figures: &'a SiteFigures<'a>,
    /// Where records stand.
    pub lines: &'a Lines<'a>,
}

/// Hours in print.
fn hours_in_print(hours: f64) -> String {
    format!("{} h", format::number(hours, 1))
}

/// How the hours to come follow from program and counter.
fn how_forecast(hours: Option<&RunHours>, forecast: &Forecast) -> Vec<String> {
    let mut out = Vec::new();
    let by_rate = |curve: &run_hours::Curve| curve.silent || curve.rate.is_some() && curve.factor.is_none();
    out.push(if hours.is_some_and(|hours| hours.curves.iter().any(by_rate)) {
        "  = the counter's rate of the last 365 metered days, closed seasons out".to_owned()
    } else {
        "  = program in force × factor, nights as booked or as usual, closed seasons out".to_owned()
    });
    if forecast.seasonal_programs {
        out.push("    the programs change with the season: last year's changes are expected again".to_owned());
    }
    for (speed, season) in forecast.seasons.iter().filter(|(_, season)| season.years > 0) {
        let months = season.by_month.iter().zip(crate::calendar::MONTHS);
        let shares: Vec<String> =
            months.map(|(share, month)| format!("{} {}", &month[..3], format::number(*share, 2))).collect();
        out.push(format!(
            "    {}: × what the month shows over the year's mean by the counter in {} years: {}",
            speed.word(),
            season.years,
            shares.join(", ")
        ));
    }
    out
}

fn range(low: NaiveDate, high: NaiveDate) -> String {
    if low == high { "exact".to_owned() } else { format!("{low} to {high}") }
}

impl Explainer<'_> {
    /// The chain for an address inside the site: a spa, what stands in it, or a part of that; `None` if
    /// there is nothing of the name.
    pub fn explain(&self, at: &Address) -> Option<Vec<String>> {
        let site = self.figures.site;
        let mut out = vec![format!("{}/{at} on {}", site.id, in_words(self.figures.as_of)), String::new()];
        let known = out.len();
        for (spa, figures) in site.spas.iter().zip(self.figures.spas) {
            if spa.at == *at {
                self.spa(spa, figures, &mut out);
            }
            for (pump, figures) in spa.pumps.iter().zip(&figures.pumps).filter(|(pump, _)| pump.at == *at) {
                self.pump(spa, pump, figures, &mut out);
            }
        }
        let of = |part: &&PartDue| part.part.at == *at && out.len() == known;
        let parts: Vec<&PartDue> = self.figures.parts.iter().filter(of).collect();
        for part in parts {
            self.part(part, &mut out);
        }
        let own = |part: &&PartDue| format!("{}/{}", part.part.at, part.part.id) == at.as_str();
        for part in self.figures.parts.iter().filter(own) {
            self.part(part, &mut out);
        }
        (out.len() > known).then_some(out)
    }

    /// Every address that can be explained.
    pub fn addresses(&self) -> Vec<String> {
        let spas = self.figures.site.spas.iter();
        let mut all: Vec<String> = spas
            .flat_map(|spa| std::iter::once(spa.at.to_string()).chain(spa.pumps.iter().map(|p| p.at.to_string())))
            .chain(self.figures.parts.iter().map(|part| format!("{}/{}", part.part.at, part.part.id)))
            .collect();
        all.sort();
        all
    }

    fn from<'b>(&self, sources: impl IntoIterator<Item = &'b Source>, out: &mut Vec<String>) {
        let mut shown: Vec<String> = Vec::new();
        for source in sources {
            let line = format!("    {}", self.lines.show(source));
            if !shown.contains(&line) {
                shown.push(line);
            }
        }
        out.extend(shown);
    }

    fn advise(&self, of: impl Fn(&ReadingAdvice) -> bool, otherwise: &str, out: &mut Vec<String>) {
        out.push(String::new());
        let all = reading_advice(self.fleet, self.figures);
        out.push(all.into_iter().find(of).map_or_else(|| otherwise.to_owned(), |advice| advice.says));
    }

    fn pump(&self, spa: &Spa, pump: &Pump, figures: &PumpFigures, out: &mut Vec<String>) {
        let site = self.figures.site;
        let model = run_hours::model_now(site, pump).unwrap_or_else(|| "not written".to_owned());
        let exchange = site.entries(&pump.at).filter(|(_, _, entry)| entry.exchanged.is_some()).last();
        let fitted = if let Some((index, visit, _)) = exchange {
            out.push(format!("Model {model}; fitted {} in the place of the one before", visit.date));
            let place = Place::Entry { visit: index, at: pump.at.clone(), field: "exchanged" };
            Source { file: site.file.clone(), place }
        } else {
            out.push(format!("Model {model}; fitted {}", format::fitted(pump.fitted)));
            self.lines.written(site, spa, &format!("pumps.{}.fitted", pump.at.last()))
        };
        let sheet = Source { file: "pumps.yaml".into(), place: Place::Path(format!("models.{model}").into()) };
        let known = self.fleet.models.contains_key(&model);
        self.from([&fitted].into_iter().chain(known.then_some(&sheet)), out);
        let Some(hours) = &figures.hours else {
            out.push(
                "Hours: not known. Nothing says when it began: `fitted`, a `program` or a counter would.".to_owned(),
            );
            return;
        };
        if hours.curves.is_empty() {
            out.push("Hours: not known. A `program` or two counter readings would tell.".to_owned());
            return;
        }
        self.hours_of(spa, pump, hours, out);
        self.forecast_of(figures, out);
        self.energy_of(pump, hours, out);
        let due = self.figures.parts.iter().filter(|part| part.part.at == pump.at);
        out.extend([String::new(), "Parts".to_owned()]);
        for part in due {
            let when = part.due.map_or_else(|| "not known".to_owned(), |day| day.to_string());
            out.push(format!("  {}: due {when}; explain {}/{}/{}", part.part.id, site.id, pump.at, part.part.id));
        }
        let otherwise = match hours.last_reading() {
            None => first_readings(self.figures.as_of),
            Some(last) => format!(
                "No reading now would narrow the date of a part due by hours in the next three years: the counter was last read on {}.",
                in_words(last)
            ),
        };
        self.advise(|advice| advice.at == pump.at, &otherwise, out);
    }

    fn hours_of(&self, spa: &Spa, pump: &Pump, hours: &RunHours, out: &mut Vec<String>) {
        let site = self.figures.site;
        out.extend([String::new(), "Hours".to_owned()]);
        let by_counter =
            hours.curves.iter().filter(|_| pump.usual_program).filter_map(|curve| curve.rate).collect::<Vec<_>>();
        if let [rate, ..] = by_counter.as_slice() {
            let rate = format::number(*rate, 2);
            out.push(format!(
                "  no program is written: the counter's rate of the last 365 metered days counts, {rate} h/day"
            ));
        } else if let Some(now) = program::in_force(&pump.programs, self.figures.as_of) {
            let of = |occupied: bool| {
                let named = program::hours_on(now, occupied).into_iter();
                named.map(|(speed, h)| format!("{} {} h/day", speed.word(), format::number(h, 2))).collect::<Vec<_>>()
            };
            let guests =
                if now.occupied.is_some() { format!("; occupied: {}", of(true).join(", ")) } else { String::new() };
            let whose = if pump.usual_program { "usual program (assumed)" } else { "program" };
            out.push(format!("  {whose} now: {}{guests}", of(false).join(", ")));
            if !pump.usual_program {
                let field = format!("pumps.{}.program", pump.at.last());
                self.from([&self.lines.written(site, spa, &field)], out);
            }
            if now.occupied.is_some() {
                self.bookings_of(spa, out);
            }
        }
        for curve in &hours.curves {
            let speed = curve.speed.word();
            let readings = &curve.readings;
            if readings.is_empty() {
                out.push(format!("  {speed}: no counter reading of the pump there now"));
            } else {
                out.push(format!("  {speed}: {} counter readings of the pump there now, the last", readings.len()));
                let last: Vec<Source> = readings.iter().rev().take(3).map(|p| p.source(site, &pump.at)).collect();
                self.from(&last, out);
            }
            if let Some(factor) = curve.factor {
                let of = curve.factor_of.map_or(String::new(), |(counted, programmed)| {
                    format!(
                        " = {} by the counter ÷ {} by the program",
                        hours_in_print(counted),
                        hours_in_print(programmed)
                    )
                });
                out.push(format!("  {speed}: factor {}{of}, the last 365 metered days", format::number(factor, 3)));
            }
            if let Some(total) = curve.hours_between(hours.start, hours.end) {
                out.push(format!("  {speed}: {} from {} to {}", hours_in_print(total), hours.start, hours.end));
            }
        }
        if !hours.set_aside.is_empty() {
            let set_aside = match hours.set_aside.len() {
                1 => "one reading cannot be right beside the others and is".to_owned(),
                count => format!("{count} readings cannot be right beside the others and are"),
            };
            out.push(format!("  {set_aside} set aside"));
            self.from(&hours.set_aside, out);
        }
        for (after, until) in &hours.too_fast {
            out.push(format!(
                "  from {after} to {until} the counter ran faster than time: held to 24 h a day, estimated"
            ));
        }
        let since = Month::of(self.figures.as_of).plus(-11);
        for month in hours.months.iter().filter(|m| m.month >= since) {
            out.push(format!(
                "  {} {:<4} {:>9}  {}; {} % of its days between readings",
                month.month,
                month.speed.word(),
                month.hours.map_or_else(|| "not known".to_owned(), hours_in_print),
                month.basis.map_or("not known", |b| b.word()),
                format::number(month.metered_fraction * 100.0, 0)
            ));
        }
    }

    fn forecast_of(&self, figures: &PumpFigures, out: &mut Vec<String>) {
        out.extend([String::new(), "Forecast".to_owned()]);
        let Some(forecast) = &figures.forecast else {
            out.push("  not known".to_owned());
            return;
        };
        let percent = |share: f64| format!("{} %", format::number(share * 100.0, 1));
        for months in [3, 12] {
            if let Some((expected, low, high)) = forecast.sum_of_months(months) {
                out.push(format!(
                    "  next {months} months: {}, central 80 % {} to {}  {}",
                    hours_in_print(expected),
                    hours_in_print(low),
                    hours_in_print(high),
                    forecast.basis
                ));
            }
        }
        out.extend(how_forecast(figures.hours.as_ref(), forecast));
        out.push(format!(
            "  range: ± 1.28 × √(level² + month² ÷ months + drift² × months), level {}, month {}, drift {}{}",
            percent(forecast.spread.level),
            percent(forecast.spread.month),
            percent(forecast.spread.drift),
            if forecast.spread.assumed { " (mostly assumed: too few readings)" } else { "" }
        ));
        if forecast.basis == Basis::Assumed {
            out.push(
                "  the program is only what is usual, so the hours may differ by more than the range says".to_owned(),
            );
        }
        let checks: Vec<_> = self.figures.forecast_checks.iter().filter(|c| c.at == figures.at).collect();
        if !checks.is_empty() {
            let inside = checks.iter().filter(|c| c.inside()).count();
            out.push(format!("  past forecasts made again: {inside} of {} held what came", checks.len()));
        }
    }

    fn part(&self, part: &PartDue, out: &mut Vec<String>) {
        let line = part.part.part;
        let as_of = self.figures.as_of;
        let id = &part.part.id;
        out.push(format!(
            "{} of {}: fitted {}",
            format::words(id.as_str()),
            part.part.at,
            format::fitted(part.part.fitted)
        ));
        self.from(&part.part.source, out);
        let source = line.source.as_ref().map_or("no source written", |s| s.0.as_str());
        if let Some(days) = part.part.age_days {
            let hours = part.part.age_hours.map_or(String::new(), |hours| format!(", {} run", hours_in_print(hours)));
            out.push(format!("  age {days} days{hours}"));
        }
        let pumps = self.figures.spas.iter().flat_map(|spa| &spa.pumps);
        let pump = pumps.into_iter().find(|pump| pump.at == part.part.at);
        if let (Some(interval), Some(pump)) = (line.interval.hours.map(|h| h.0.get::<hour>()), pump) {
            self.by_hours(part, interval, pump, source, out);
        }
        if let Some(age) = line.interval.age {
            let date = part.part.fitted.middle().map(|fitted| add(fitted, age));
            out.push(format!("  by age: {} by the book ({source})", format::period(age)));
            out.push(match (date, part.part.fitted.range()) {
                (Some(date), Some((first, last))) => {
                    format!("    fitted + {} = {date}, {}", format::period(age), range(add(first, age), add(last, age)))
                }
                _ => "    not known: the day of fitting would tell".to_owned(),
            });
        }
        let by = match part.by {
            DueBy::Hours => "the hours come first",
            DueBy::Age => "the age comes first",
        };
        out.push(match (part.due, part.due_low, part.due_high) {
            (Some(due), Some(low), Some(high)) => {
                let overdue = if due <= as_of { ", overdue" } else { "" };
                format!("  due {due}{overdue}; central 80 % {}: {by}  {}", range(low, high), part.basis)
            }
            _ => "  due: not known".to_owned(),
        });
        let otherwise = self.no_reading_narrows(part, pump);
        self.advise(|advice| advice.at == part.part.at && advice.part.as_ref() == Some(id), &otherwise, out);
    }

    /// Why no one reading now would narrow a part's date.
    fn no_reading_narrows(&self, part: &PartDue, pump: Option<&PumpFigures>) -> String {
        let as_of = self.figures.as_of;
        let hours = pump.and_then(|pump| pump.hours.as_ref());
        let last = hours.and_then(RunHours::last_reading);
        match (part.due, part.by, hours, last) {
            (Some(due), ..) if due <= as_of => "It is overdue: no reading moves that.".to_owned(),
            (Some(_), DueBy::Age, ..) => {
                "No reading would narrow it: the date is by age, as exact as the day of fitting is written.".to_owned()
            }
            (None, _, Some(_), _) if part.part.fitted.middle().is_none() => {
                "The day it was fitted would tell.".to_owned()
            }
            (None, _, None, _) => "The day it was fitted, or the hours of its pump, would tell.".to_owned(),
            (.., None) => first_readings(as_of),
            (.., Some(last)) if last >= as_of => {
                "No reading would narrow it: the counter was read on the day itself, and what is open is to come."
                    .to_owned()
            }
            (Some(due), ..) if advice::is_far_off(as_of, due) => {
                "No reading now would narrow it: it is more than three years off.".to_owned()
            }
            (.., Some(last)) => format!(
                "No reading now would narrow it by much: the counter was last read on {}, and what is open is to come.",
                in_words(last)
            ),
        }
    }

    /// The readings that a pump's hours since a day rest on: those about that day, and the last.
    fn readings_since(&self, hours: &RunHours, start: NaiveDate, at: &Address) -> Vec<Source> {
        let site = self.figures.site;
        let of = |curve: &run_hours::Curve| {
            let after = curve.readings.partition_point(|point| point.day <= start);
            let about = after.saturating_sub(1)..(after + 1).min(curve.readings.len());
            let last = curve.readings.len().saturating_sub(2).max(about.end)..curve.readings.len();
            about.chain(last).map(|index| curve.readings[index].source(site, at)).collect::<Vec<_>>()
        };
        hours.curves.iter().flat_map(of).collect()
    }

    fn by_hours(&self, part: &PartDue, interval: f64, pump: &PumpFigures, source: &str, out: &mut Vec<String>) {
        out.push(format!("  by hours: {} by the book ({source})", hours_in_print(interval)));
        let (Some(hours), Some(age)) = (&pump.hours, part.part.age_hours) else {
            out.push(
                "    its hours are not known: the day of fitting, a program or counter readings would tell".to_owned(),
            );
            return;
        };
        let start = part.part.fitted.middle().unwrap_or(hours.start);
        let unmetered = hours.unmetered_hours_between(start, hours.end);
        out.push(format!(
            "    run since: {}, of which no counter brackets {}",
            hours_in_print(age),
            hours_in_print(unmetered)
        ));
        self.from(&self.readings_since(hours, start, &pump.at), out);
        let date = due::due_by_hours(&part.part, interval, hours, pump.forecast.as_ref(), self.figures.as_of);
        out.push(match date {
            Some((due, low, high)) if due <= self.figures.as_of => {
                let ends = if low < high { format!(", central 80 % {}", range(low, high)) } else { String::new() };
                format!("    {} were reached on {due}{ends}", hours_in_print(interval))
            }
            Some((due, low, high)) => {
                let left = hours_in_print(interval - age);
                format!("    {left} are left; the forecast reaches them on {due}, central 80 % {}", range(low, high))
            }
            None => "    the forecast does not reach it".to_owned(),
        });
    }
}
