//! `schedule.ics` and `schedule-<technician>.ics`: the planned visits for calendars (RFC 5545).
//!
//! A visit is an event of a whole day, since the records know no hours; on a changeover its description says between
//! which. Its UID is the visit's name, which stays; a change against the accepted plan raises SEQUENCE, a visit that is
//! not made any more stays as a cancellation until its day has passed. Guests are not named, nor is anything of a
//! booking. DTSTAMP is the as-of day: the same records give the same bytes.

use std::fmt::Write as _;

use chrono::NaiveDate;
use icalendar::{Calendar, Component, Event, EventLike, EventStatus, Property};

use crate::address::Id;
use crate::calendar::plus_days;
use crate::records::Fleet;
use crate::report::format;
use crate::schedule::visits::{Cancelled, Plan, Visit, Work};
use crate::site::{self, SiteFigures};

/// What marks this program as the maker.
const MADE_BY: &str = "-//tubwright//planned visits//EN";

/// How much of a file is put together before it is handed on: events are many in a large fleet, and each is short.
const PIECE: usize = 1 << 16;

/// The names of the calendar files: the fleet's, then each technician's by id.
pub fn names(fleet: &Fleet) -> Vec<String> {
    let of_each = fleet.settings.technicians.iter().map(|(id, _)| format!("schedule-{id}.ics"));
    std::iter::once("schedule.ics".to_owned()).chain(of_each).collect()
}

/// Writes the calendars of a plan, event by event: `put` is given the place of a file in [`names`] and the next piece of
/// its text.
///
/// # Errors
/// If an event cannot be written as text, or what `put` says.
pub fn write<E: From<std::fmt::Error>>(
    fleet: &Fleet,
    sites: &[SiteFigures],
    plan: &Plan,
    as_of: NaiveDate,
    put: impl FnMut(usize, &str) -> Result<(), E>,
) -> Result<(), E> {
    let technicians: Vec<&Id> = fleet.settings.technicians.iter().map(|(id, _)| id).collect();
    let maker = Maker { fleet, sites, as_of, at: slug(&fleet.settings.fleet.0) };
    let mut files = Files { pieces: vec![String::new(); technicians.len() + 1], put };
    let of = |who: Option<&Id>| technicians.iter().position(|id| Some(*id) == who).map(|place| place + 1);
    let (head, end) = frame()?;
    files.all(&head)?;
    for visit in &plan.visits {
        files.event(&maker.visit(visit), true, of(visit.technician.as_ref()))?;
    }
    for gone in &plan.cancelled {
        files.event(&maker.gone(gone), true, of(gone.technician.as_ref()))?;
    }
    // Whoever is relieved of a visit is told so.
    for (visit, before) in plan.visits.iter().filter_map(|visit| Some((visit, visit.before.as_ref()?))) {
        let relieved = of(before.as_ref()).filter(|_| before != &visit.technician);
        if relieved.is_some() {
            let gone = Cancelled {
                id: visit.id.clone(),
                site: visit.site.clone(),
                date: visit.date,
                technician: before.clone(),
                sequence: visit.sequence,
                because: visit.moved.clone().unwrap_or_default(),
            };
            files.event(&maker.gone(&gone), false, relieved)?;
        }
    }
    files.all(&end)?;
    files.finish()
}

/// What stands before the events of a calendar, and behind them.
fn frame() -> Result<(String, String), std::fmt::Error> {
    let mut calendar = Calendar::empty();
    calendar.append_property(Property::new("VERSION", "2.0"));
    calendar.append_property(Property::new("PRODID", MADE_BY));
    calendar.append_property(Property::new("CALSCALE", "GREGORIAN"));
    let mut head = String::new();
    write!(head, "{calendar}")?;
    let end = head.split_off(head.rfind("END:").unwrap_or(head.len()));
    Ok((head, end))
}

/// The files as far as they are put together.
struct Files<P> {
    /// What is to be handed on next, a file each.
    pieces: Vec<String>,
    put: P,
}

impl<E: From<std::fmt::Error>, P: FnMut(usize, &str) -> Result<(), E>> Files<P> {
    fn all(&mut self, text: &str) -> Result<(), E> {
        (0..self.pieces.len()).try_for_each(|file| self.add(file, text))
    }

    /// An event of the fleet's calendar and of one technician's.
    fn event(&mut self, event: &Event, of_fleet: bool, technician: Option<usize>) -> Result<(), E> {
        let mut text = String::new();
        event.fmt_write(&mut text)?;
        of_fleet.then_some(0).into_iter().chain(technician).try_for_each(|file| self.add(file, &text))
    }

    fn add(&mut self, file: usize, text: &str) -> Result<(), E> {
        let piece = &mut self.pieces[file];
        piece.push_str(text);
        if piece.len() >= PIECE {
            (self.put)(file, piece)?;
            piece.clear();
        }
        Ok(())
    }

    fn finish(mut self) -> Result<(), E> {
        self.pieces.iter().enumerate().try_for_each(|(file, piece)| (self.put)(file, piece))
    }
}

/// A name as part of a UID.
fn slug(name: &str) -> String {
    let letters: String =
        name.to_lowercase().chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect();
    let words: Vec<&str> = letters.split('-').filter(|word| !word.is_empty()).collect();
    if words.is_empty() { "fleet".to_owned() } else { words.join("-") }
}

struct Maker<'a> {
    fleet: &'a Fleet,
    /// Sorted by id.
    sites: &'a [SiteFigures<'a>],
    as_of: NaiveDate,
    at: String,
}

impl Maker<'_> {
    fn event(&self, id: &str, site: &Id, day: NaiveDate, sequence: u32) -> Event {
        let mut event = Event::new();
        let figures = site::place_of(self.sites, site).map(|place| &self.sites[place]);
        let name = figures.map_or(site.as_str(), |figures| figures.site.name.as_str());
        event.uid(&format!("{id}@{}.invalid", self.at));
        event.sequence(sequence);
        event.timestamp(self.as_of.and_time(chrono::NaiveTime::MIN).and_utc());
        event.starts(day);
        event.ends(plus_days(day, 1));
        event.summary(name);
        if let Some(address) = figures.and_then(|figures| figures.site.address.as_ref()) {
            event.location(&address.0);
        }
        event
    }

    fn visit(&self, visit: &Visit) -> Event {
        let mut event = self.event(&visit.id, &visit.site, visit.date, visit.sequence);
        event.status(EventStatus::Confirmed);
        let mut lines = Vec::new();
        if visit.changeover {
            lines.push("Guests change: between 10:00 and 16:00.".to_owned());
        }
        let person = visit.technician.as_ref().and_then(|id| self.fleet.settings.technicians.get(id));
        if let Some(name) = person.and_then(|person| person.name.as_ref()) {
            lines.push(format!("Technician: {}", name.0));
        }
        for task in &visit.tasks {
            let what = match &task.work {
                Work::Renew(part) => format!("renew the {}", format::words(part.as_str())),
                // A note may speak of people; the calendar only says where to look.
                Work::Left(_) => "what was left at a visit".to_owned(),
                other => format::words(&other.word()),
            };
            lines.push(format!("{}: {what} ({:.0} min)", format::place(task.at.as_str()), task.minutes));
        }
        let minutes: f64 = visit.tasks.iter().map(|task| task.minutes).sum();
        lines.push(format!("Work {minutes:.0} min, way {:.0} min.", visit.travel_minutes));
        event.description(&lines.join("\n"));
        event.done()
    }

    fn gone(&self, gone: &Cancelled) -> Event {
        let mut event = self.event(&gone.id, &gone.site, gone.date, gone.sequence);
        event.status(EventStatus::Cancelled);
        event.description(&gone.because);
        event.done()
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use std::collections::BTreeMap;

    use super::*;

    /// The calendars by the names of their files.
    pub(crate) fn calendars(
        fleet: &Fleet,
        sites: &[SiteFigures],
        plan: &Plan,
        as_of: NaiveDate,
    ) -> Result<Vec<(String, String)>, std::fmt::Error> {
        let mut files: Vec<(String, String)> = names(fleet).into_iter().map(|name| (name, String::new())).collect();
        write(fleet, sites, plan, as_of, |file, piece| {
            files[file].1.push_str(piece);
            Ok::<(), std::fmt::Error>(())
        })?;
        Ok(files)
    }

    /// The events of a calendar as another author's parser reads them (crate `ical`): properties by name.
    pub(crate) fn events(text: &str) -> Vec<BTreeMap<String, String>> {
        // Lines end with CRLF and are no longer than 75 octets (RFC 5545, 3.1).
        for line in text.split_inclusive('\n') {
            assert!(line.ends_with("\r\n"), "{line:?}");
            assert!(line.trim_end().len() <= 75, "{line:?}");
        }
        let mut calendars = ical::IcalParser::new(text.as_bytes());
        let calendar = calendars.next().unwrap().unwrap();
        assert!(calendars.next().is_none());
        calendar
            .events
            .into_iter()
            .map(|event| {
                let mut found: BTreeMap<String, String> = BTreeMap::new();
                for property in event.properties {
                    let before = found.insert(property.name.clone(), property.value.unwrap_or_default());
                    assert!(before.is_none(), "{} stands twice", property.name);
                }
                for needed in ["UID", "DTSTAMP", "DTSTART", "SEQUENCE", "STATUS"] {
                    assert!(found.contains_key(needed), "{needed} is missing: {found:?}");
                }
                found
            })
            .collect()
    }

    #[test]
    fn names_make_plain_parts_of_a_uid() {
        assert_eq!(slug("Saltmarsh Lettings"), "saltmarsh-lettings");
        assert_eq!(slug("  "), "fleet");
    }
}
