//! Stage 1: the records of a fleet, read, checked and resolved into plain typed values.
//!
//! What a user writes is mirrored file by file in the submodules; [`load`] puts a site together from
//! its sheet line, its type, its file and its readings. Nothing here computes a figure.

pub mod append;
pub mod bookings;
pub mod check;
pub mod contract_words;
pub mod counters;
pub mod customers;
pub mod fleet;
pub mod forms;
pub mod load;
pub mod log;
pub mod plan;
pub mod pumps;
pub mod readings;
pub mod schema;
pub mod site;
pub mod tree;
pub mod tubs;
pub mod upkeep;
pub mod yaml;

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::NaiveDate;

use crate::address::{Address, Id};
use crate::basis::{Place, Source};
use crate::calendar;
use crate::diagnostic::Diagnostic;
use crate::limits::RuleBook;
use bookings::Stays;
use customers::Customer;
use fleet::FleetFile;
use forms::{Dated, Fitted, Keyed, Money, Name, OneOrMany, Text};
use log::{Quantity, Visit};
use pumps::Model;
use site::{Contact, Travel, Use};
use tubs::{Duty, FilterKind, Meter, PartFitted, PipeFile, PressureDrop, ProgramFile, Speed};
use upkeep::{Part, Task};

/// What all sites share.
#[derive(Debug, Clone)]
pub struct Fleet {
    /// `fleet.yaml`.
    pub settings: FleetFile,
    /// Pump models by name.
    pub models: BTreeMap<String, Model>,
    /// The book.
    pub book: Book,
    /// Customers by id.
    pub customers: BTreeMap<Id, Customer>,
    /// Rule books by name: the built-in ones and the fleet's own.
    pub rule_books: BTreeMap<String, Arc<RuleBook>>,
    /// Models and customers that could not be understood, which has been told: they are not missing.
    pub lost: LostNames,
    /// The accepted plan, if there is one.
    pub plan: Option<plan::PlanFile>,
    /// Defaults used for the whole fleet: what, and where to change it.
    pub assumed: Vec<Assumed>,
}

/// Names in shared files of what stands there and could not be understood.
#[derive(Debug, Clone, Default)]
pub struct LostNames {
    /// Of `pumps.yaml`.
    pub models: Vec<String>,
    /// Of `customers.yaml`.
    pub customers: Vec<String>,
}

/// The book of wear parts and tasks.
#[derive(Debug, Clone)]
pub struct Book {
    /// Whether it is the built-in one.
    pub built_in: bool,
    /// Parts and tasks that could not be understood, which has been told: their lines are left out everywhere.
    pub lost: Vec<String>,
    /// Wear parts in the book's order.
    pub parts: Keyed<Id, Part>,
    /// Tasks in the book's order.
    pub tasks: Keyed<Id, Task>,
    /// Usual programs by use and duty.
    pub programs: Keyed<Id, Keyed<Id, OneOrMany<ProgramFile>>>,
}

impl Book {
    /// Whether a part or task stands in the book and could not be understood.
    pub fn is_lost(&self, id: &Id) -> bool {
        self.lost.iter().any(|lost| lost == id.as_str())
    }

    /// The usual program for a use and duty.
    pub fn usual_program(&self, used_as: Option<Use>, duty: Duty) -> Option<&[ProgramFile]> {
        let word = match duty {
            Duty::Filtration => "filtration",
            Duty::Jets => "jets",
            Duty::FiltrationAndJets => "filtration_and_jets",
        };
        let by_use = self.programs.iter().find(|(id, _)| Some(id.as_str()) == used_as.map(Use::word))?;
        by_use.1.iter().find(|(id, _)| id.as_str() == word).map(|(_, programs)| programs.0.as_slice())
    }
}

/// A default that was used, and where to change it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Assumed {
    /// What is assumed, in words.
    pub what: String,
    /// The file and field that would say.
    pub change: String,
}

/// A site with all that stands there and its log.
#[derive(Debug, Clone)]
pub struct Site {
    /// Its id.
    pub id: Id,
    /// Its name, or its id.
    pub name: String,
    /// Who pays.
    pub customer: Option<Id>,
    /// What it is used for.
    pub r#use: Option<Use>,
    /// The rule book named for it.
    pub limits: Option<Id>,
    /// Sites of one area share a trip.
    pub area: Option<Text>,
    /// Where it is.
    pub address: Option<Text>,
    /// Whom to ask for; work sheet only.
    pub contact: Option<Contact>,
    /// Where the key is; work sheet only.
    pub key: Option<Text>,
    /// The way there and back.
    pub travel: Travel,
    /// The days of the week it can be visited on; `None` = whenever somebody works.
    pub visit_days: Option<Vec<fleet::Weekday>>,
    /// All failures since then are in the log, if the record says so.
    pub records_from: Option<NaiveDate>,
    /// Closed seasons, both ends counted.
    pub closed: Vec<ClosedSeason>,
    /// What a lost night costs.
    pub lost_night: Option<Dated<Money>>,
    /// What stands there.
    pub spas: Vec<Spa>,
    /// Visits in the order of the log, each with its number there.
    pub visits: Vec<(u32, Visit)>,
    /// Readings of the log and the sheet by address, sorted by day.
    pub readings: BTreeMap<Address, Vec<ReadingRow>>,
    /// The site's file, for sources.
    pub file: Arc<str>,
    /// Its readings sheet, for sources.
    pub sheet: Arc<str>,
    /// What was left out of this site's figures, in words.
    pub left_out: Vec<String>,
    /// What was found wrong or odd at this site.
    pub diagnostics: Vec<Diagnostic>,
    /// Defaults used for this site.
    pub assumed: Vec<Assumed>,
}

/// A closed season, both ends counted.
#[derive(Debug, Clone, Copy)]
pub struct ClosedSeason {
    /// The first day.
    pub from: NaiveDate,
    /// The last day.
    pub to: NaiveDate,
    /// Whether the water is out.
    pub drained: bool,
}

/// A spa.
#[derive(Debug, Clone)]
pub struct Spa {
    /// Its address.
    pub at: Address,
    /// When it was fitted.
    pub fitted: Fitted,
    /// Its water volume.
    pub volume: Option<crate::units::Volume>,
    /// The flow its maker states.
    pub stated_flow: Option<crate::units::Flow>,
    /// The water temperature it is set to.
    pub setpoint: Option<crate::units::Temperature>,
    /// Bathers a day.
    pub bathers: Option<f64>,
    /// The pipe loop.
    pub pipe: Option<PipeFile>,
    /// Its filters.
    pub filters: Vec<Filter>,
    /// Its pumps.
    pub pumps: Vec<Pump>,
    /// What else stands in it.
    pub equipment: Vec<Equipment>,
    /// Its own parts that were not as old as it.
    pub parts: Keyed<Id, PartFitted>,
    /// Nights guests are in; `None` = not known.
    pub stays: Option<Arc<Stays>>,
    /// The type of `tubs.yaml` it is of, for sources.
    pub of_type: Option<Name>,
    /// Its line of `sites.csv`, for sources.
    pub line: Option<u32>,
}

/// A filter.
#[derive(Debug, Clone)]
pub struct Filter {
    /// Its address.
    pub at: Address,
    /// Its kind.
    pub kind: FilterKind,
    /// Its area.
    pub area: Option<crate::units::Area>,
    /// When it was fitted.
    pub fitted: Fitted,
    /// The gauge when it is clean.
    pub clean_pressure: Option<crate::units::Pressure>,
    /// What it takes when clean, at a flow.
    pub drop: Option<PressureDrop>,
    /// Parts that were not as old as it.
    pub parts: Keyed<Id, PartFitted>,
}

/// A pump.
#[derive(Debug, Clone)]
pub struct Pump {
    /// Its address.
    pub at: Address,
    /// Its model's name.
    pub model: Option<Name>,
    /// What it is there for.
    pub duty: Duty,
    /// When it was fitted.
    pub fitted: Fitted,
    /// Its counter.
    pub meter: Option<Meter>,
    /// Across the feet.
    pub bolt_spacing: Option<crate::units::Length>,
    /// Its programs, sorted by their first day.
    pub programs: Vec<ProgramFile>,
    /// Whether the programs are the book's usual ones, for want of its own.
    pub usual_program: bool,
    /// The speeds it filters at.
    pub filters_at: Vec<Speed>,
    /// Parts that were not as old as it.
    pub parts: Keyed<Id, PartFitted>,
}

/// What else stands in a spa.
#[derive(Debug, Clone)]
pub struct Equipment {
    /// Its address.
    pub at: Address,
    /// Its kind.
    pub kind: Id,
    /// When it was fitted.
    pub fitted: Fitted,
    /// Its power.
    pub power: Option<crate::units::Power>,
    /// Parts that were not as old as it.
    pub parts: Keyed<Id, PartFitted>,
}

/// A reading in the fixed unit of its quantity. A fleet has millions, so it is kept narrow.
#[derive(Debug, Clone, Copy)]
pub struct ReadingRow {
    /// The value.
    pub value: f64,
    /// Where it was written.
    pub record: Record,
    /// The day.
    pub day: NaiveDate,
    /// When on that day, if known.
    pub minute: Option<MinuteOfDay>,
    /// Whether it was taken after the work of its visit.
    pub after: bool,
    /// Of what.
    pub quantity: Quantity,
}

impl ReadingRow {
    /// The record of a reading of something at a site.
    pub fn source(&self, site: &Site, at: &Address) -> Source {
        self.record.source(site, at, self.quantity)
    }
}

/// A minute of a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct MinuteOfDay(std::num::NonZeroU16);

impl MinuteOfDay {
    /// So many minutes after midnight.
    pub fn after_midnight(minutes: u32) -> Option<Self> {
        // One more than the minute, so that an unknown one takes no room.
        std::num::NonZeroU16::new(u16::try_from(minutes).ok()?.checked_add(1)?).map(Self)
    }

    /// Minutes after midnight.
    pub fn minutes(self) -> u32 {
        u32::from(self.0.get()) - 1
    }
}

/// Where a reading was written, without what it shares with all others of its site.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Record {
    /// The visit of this number in the log, from 0.
    Log(u32),
    /// A `meter_reset` in the visit of this number.
    Reset(u32),
    /// This line of the readings sheet, from 1.
    Sheet(u32),
    /// What the counter showed when the pump was fitted.
    AtFitting,
    /// Nowhere: a reading that is only thought of, to see what it would tell.
    Supposed,
}

impl Record {
    /// The record in full, for a reading of something at a site.
    pub fn source(self, site: &Site, at: &Address, quantity: Quantity) -> Source {
        match self {
            Self::Log(visit) => site.entry_source(visit, at, quantity.name()),
            Self::Reset(visit) => site.entry_source(visit, at, "meter_reset"),
            Self::Sheet(line) => Source { file: Arc::clone(&site.sheet), place: Place::Line(line) },
            Self::AtFitting => site.source(&format!("spas.{}.pumps.{}.meter.at_fitting", at.spa(), at.last())),
            Self::Supposed => site.source(""),
        }
    }
}

impl Site {
    /// The record of an address's entry of a visit.
    pub fn entry_source(&self, visit: u32, at: &Address, field: &'static str) -> Source {
        Source { file: Arc::clone(&self.file), place: Place::Entry { visit, at: at.clone(), field } }
    }

    /// A place in the site's own file.
    pub fn source(&self, path: &str) -> Source {
        Source { file: Arc::clone(&self.file), place: Place::Path(path.into()) }
    }

    /// Every entry of the log about an address, in order of day.
    pub fn entries<'a>(&'a self, at: &'a Address) -> impl Iterator<Item = (u32, &'a Visit, &'a log::Entry)> {
        self.visits.iter().filter_map(move |(index, visit)| visit.at.get(at).map(|entry| (*index, visit, entry)))
    }

    /// The readings of a quantity at an address, in order.
    pub fn readings_of(&self, at: &Address, quantity: Quantity) -> impl Iterator<Item = &ReadingRow> {
        self.readings.get(at).into_iter().flatten().filter(move |row| row.quantity == quantity)
    }

    /// The day from which the log holds all failures: as written, else the first entry's day.
    pub fn records_start(&self) -> Option<NaiveDate> {
        let first_visit = self.visits.iter().map(|(_, v)| v.date.0).min();
        let first_reading = self.readings.values().filter_map(|rows| rows.first()).map(|row| row.day).min();
        self.records_from.or_else(|| [first_visit, first_reading].into_iter().flatten().min())
    }

    /// Whether the whole site is closed on a day.
    pub fn is_closed(&self, day: NaiveDate) -> bool {
        self.closed.iter().any(|c| (c.from..=c.to).contains(&day))
    }

    /// The site as it was known on a day: nothing dated later but bookings.
    #[must_use]
    pub fn as_of(mut self, day: NaiveDate) -> Self {
        self.visits.retain(|(_, visit)| visit.date.0 <= day);
        for rows in self.readings.values_mut() {
            rows.retain(|row| row.day <= day);
        }
        for spa in &mut self.spas {
            for pump in &mut spa.pumps {
                pump.programs.retain(|p| p.from.is_none_or(|from| from.0 <= day));
            }
            let there = |fitted: &Fitted| fitted.range().is_none_or(|(first, _)| first <= day);
            spa.pumps.retain(|p| there(&p.fitted));
            spa.filters.retain(|f| there(&f.fitted));
            spa.equipment.retain(|e| there(&e.fitted));
        }
        self.spas.retain(|spa| spa.fitted.range().is_none_or(|(first, _)| first <= day));
        self
    }

    /// The days of closed seasons within a stretch, both ends counted.
    pub fn closed_days(&self, from: NaiveDate, to: NaiveDate) -> i64 {
        if self.closed.is_empty() {
            return 0;
        }
        let mut seasons: Vec<_> = self
            .closed
            .iter()
            .map(|c| (c.from.max(from), c.to.min(to)))
            .filter(|(first, last)| first <= last)
            .collect();
        seasons.sort_unstable();
        // Seasons may overlap: a day counts once.
        let mut counted_to = calendar::plus_days(from, -1);
        seasons.iter().fold(0, |days, (first, last)| {
            let after = counted_to.max(calendar::plus_days(*first, -1));
            counted_to = counted_to.max(*last);
            days + calendar::days_between(after, *last).max(0)
        })
    }
}

impl Fleet {
    /// Whether a model stands in `pumps.yaml`, understood or not.
    pub fn has_model(&self, name: &str) -> bool {
        self.models.contains_key(name) || self.lost.models.iter().any(|lost| lost == name)
    }

    /// Who stands as the maker on what is printed: `prepared_by`, else the fleet's name.
    pub fn prepared_by(&self) -> &str {
        &self.settings.prepared_by.as_ref().unwrap_or(&self.settings.fleet).0
    }

    /// The models that have stood at a pump's address, each from its day on: the day at whose end it stood there.
    pub fn models_at<'a>(&'a self, site: &Site, pump: &Pump) -> Vec<(NaiveDate, Option<&'a Model>)> {
        let mut models = vec![(NaiveDate::MIN, self.model(pump))];
        for (_, visit, entry) in site.entries(&pump.at) {
            if let Some(exchange) = &entry.exchanged {
                let model = match &exchange.model {
                    Some(name) => self.models.get(&name.0),
                    None => models.last().and_then(|(_, m)| *m),
                };
                models.push((visit.date.0, model));
            }
        }
        models
    }

    /// A pump's model, if its sheet is there.
    pub fn model(&self, pump: &Pump) -> Option<&Model> {
        self.models.get(&pump.model.as_ref()?.0)
    }

    /// The rule book that judges a site, with its name.
    pub fn rule_book(&self, site: &Site) -> Option<&Arc<RuleBook>> {
        let name = site.limits.as_ref().or(self.settings.limits.as_ref()).map_or("none", Id::as_str);
        self.rule_books.get(name)
    }

    /// The units of bare numbers in logs and sheets.
    pub fn typed_units(&self) -> log::TypedUnits {
        log::TypedUnits {
            hours: self.settings.hours_unit(),
            pressure: self.settings.pressure_unit(),
            flow: self.settings.flow_unit(),
            temperature: self.settings.temperature_unit(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantities::fleet_for_tests::{day, load_with};

    #[test]
    fn a_reading_stays_narrow() {
        // 500 readings a site over 5 years and 10 000 sites: five million rows.
        assert!(size_of::<ReadingRow>() <= 24);
        assert!(size_of::<counters::Point>() <= 24);
        for minutes in [0, 1, 1439] {
            assert_eq!(MinuteOfDay::after_midnight(minutes).map(MinuteOfDay::minutes), Some(minutes));
        }
        assert_eq!(MinuteOfDay::after_midnight(u32::from(u16::MAX)), None);
    }

    #[test]
    fn a_day_of_two_overlapping_seasons_counts_once() {
        let files = [
            ("fleet.yaml", "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\n"),
            (
                "sites/a.yaml",
                "format: 1\nclosed:\n  - {from: 2026-01-05, to: 2026-01-20}\n  - {from: 2026-01-10, to: 2026-01-12}\n  \
                 - {from: 2026-01-18, to: 2026-02-02}\nspas:\n  s: {fitted: 2025-01-01}\n",
            ),
        ];
        load_with(&files, "2026-03-31", |_, figures, _| {
            let closed = |from, to| figures.site.closed_days(day(from), day(to));
            assert_eq!(closed("2026-01-01", "2026-01-31"), 27);
            assert_eq!(closed("2026-02-01", "2026-02-28"), 2);
            assert_eq!(closed("2026-01-11", "2026-01-11"), 1);
            assert_eq!(closed("2026-03-01", "2026-03-31"), 0);
        });
    }
}
