//! Warnings about counters out of order: each with the reading it contradicts beside it.

use std::cell::OnceCell;

use super::plain;
use crate::address::Address;
use crate::basis::{Place, Source};
use crate::calendar::days_between;
use crate::diagnostic::{Diagnostic, Rule, Second, Severity, Spot};
use crate::records::counters::{self, Point, SetAside};
use crate::records::tree::{Folder, LARGEST_SHEET, SourceText};
use crate::records::yaml;
use crate::records::{Fleet, Pump, Site};

/// Warnings about counters out of order, once the readings are in, of pumps whose log could be read whole.
pub fn check_counters(
    fleet: &Fleet,
    site: &Site,
    source: &SourceText,
    folder: &Folder,
    is_whole: impl Fn(&Address) -> bool,
) -> Vec<Diagnostic> {
    let mut diagnostics = Vec::new();
    let typed = fleet.typed_units();
    let files = Files { site, own: source, folder, sheet: OnceCell::new() };
    for pump in site.spas.iter().flat_map(|spa| &spa.pumps) {
        if !is_whole(&pump.at) || counters::plainly_sound(site, pump) {
            continue;
        }
        let counters = counters::counters(site, pump, fleet.model(pump), &typed);
        for aside in counters.set_aside.iter().filter(|aside| aside.agreeing != Some(0)) {
            let said = says(pump, aside);
            let mut told = files.told(pump, aside.rule, &aside.reading, said.message);
            told.second = aside.against.and_then(|other| files.second(pump, &other));
            (told.hint, told.left_out) = (Some(said.hint), Some(said.left_out));
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

/// What is said of a reading set aside.
struct Said {
    message: String,
    hint: String,
    left_out: String,
}

fn says(pump: &Pump, aside: &SetAside) -> Said {
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
            "the reading is set aside, and its neighbours' difference is used as an estimate",
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
