//! A visit as a sheet: what is asked on site, in the order it is asked, each blank under the name of the log's field
//! it ends up in.
//!
//! It exists so that the printed sheet and `add --sheet` are one list: what is printed in an order is asked in that
//! order. It must not know the page, and it offers no blank the log has no field for.

use chrono::NaiveDate;

use crate::address::{Address, Id};
use crate::calendar;
use crate::digest::sha256;
use crate::records::log::Quantity;
use crate::records::pumps::Speeds;
use crate::records::{Fleet, Pump, Site, Spa};
use crate::schedule::visits::{Plan, Visit, VisitTask, Work};

/// Work sheets are made for the visits of so many days; the next one always has one.
pub const SHEET_DAYS: i64 = 56;
/// Blanks up to which each renewal has some for what was found, how a part looked that was not renewed, and until when it
/// is put off. With more the sheet has what must be said of each, and before leaving the same fields for parts that are
/// written in by hand.
pub const FULL_BLANKS: usize = 45;
/// Pieces of work up to which such a sheet has room for two parts; with more it has it for one.
const ROOM_FOR_TWO: usize = 30;
/// The blank for an address that is written by hand: what stands behind it up to the next is said of that address.
pub const AT: &str = "at";
/// Stands in a key for the part that is written behind the address above it.
pub const PART: &str = "PART";
/// A quantity that was read within so many days is asked for again.
const READ_LATELY: i64 = 400;

/// Something to be written down.
#[derive(Debug, Clone, PartialEq)]
pub struct Blank {
    /// The key as `add` takes it: `hours`, `after.pressure`, `renewed.shaft_seal`, `used.SS-16`; [`AT`] for the address before
    /// it, with [`PART`] in keys where the part is written by hand.
    pub key: String,
    /// What is written there.
    pub kind: Kind,
    /// The unit a bare number has, where it has one.
    pub unit: &'static str,
    /// What stands there unless something else is written.
    pub filled: Option<String>,
}

/// What is written in a blank.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Kind {
    /// A number.
    Number,
    /// A word or two.
    Word,
    /// Words, which take the rest of a line.
    Words,
    /// A day.
    Day,
    /// A time of day, or two.
    Time,
    /// A box to tick that stands for this value.
    Tick(String),
    /// One of some words, each with a box.
    OneOf(&'static [&'static str]),
}

/// The words of `because`, the usual one first.
pub const BECAUSE: &[&str] = &["due", "failure", "while_there", "damage", "request"];
/// The words of `inspected`.
pub const CONDITION: &[&str] = &["good", "worn", "failed"];

/// Blanks of one address.
#[derive(Debug, Clone, PartialEq)]
pub struct Asked {
    /// The address inside the site.
    pub at: Address,
    /// Its blanks.
    pub blanks: Vec<Blank>,
}

/// A piece of work with its blanks.
#[derive(Debug, Clone, PartialEq)]
pub struct Job<'a> {
    /// What is planned.
    pub task: &'a VisitTask,
    /// Its blanks.
    pub blanks: Vec<Blank>,
}

/// A visit as a sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet<'a> {
    /// The visit.
    pub visit: &'a Visit,
    /// Asked on arrival.
    pub arriving: Vec<Blank>,
    /// What is read before anything is switched off.
    pub readings: Vec<Asked>,
    /// The work, in order.
    pub jobs: Vec<Job<'a>>,
    /// What is read when the work is done.
    pub after: Vec<Asked>,
    /// Asked before leaving.
    pub leaving: Vec<Blank>,
}

impl Sheet<'_> {
    /// Four signs that tell this list of blanks from another under the same visit's name: plans change with bookings and
    /// people after a sheet is printed.
    pub fn mark(&self) -> String {
        let asked = |all: &[Asked]| -> Vec<String> {
            all.iter()
                .flat_map(|asked| asked.blanks.iter().map(|blank| format!("{}/{}", asked.at, blank.key)))
                .collect()
        };
        let plain = |blanks: &[Blank]| blanks.iter().map(|blank| blank.key.clone()).collect::<Vec<_>>();
        let jobs = self.jobs.iter().flat_map(|job| {
            let tick = |blank: &Blank| if let Kind::Tick(value) = &blank.kind { value.clone() } else { String::new() };
            job.blanks.iter().map(move |blank| format!("{}/{}{}", job.task.at, blank.key, tick(blank)))
        });
        let mut all = vec![self.visit.date.to_string()];
        all.extend(plain(&self.arriving));
        all.extend(asked(&self.readings));
        all.extend(jobs);
        all.extend(asked(&self.after));
        all.extend(plain(&self.leaving));
        sha256(all.join("\n").as_bytes()).chars().take(4).collect()
    }
}

/// The visits of a site that have sheets: the coming eight weeks', the next one at least.
pub fn coming<'a>(plan: &'a Plan, site: &'a Id, as_of: NaiveDate) -> Vec<&'a Visit> {
    let end = calendar::plus_days(as_of, SHEET_DAYS);
    plan.of_site(site)
        .filter(|visit| visit.date > as_of)
        .enumerate()
        .take_while(|(index, visit)| *index == 0 || visit.date <= end)
        .map(|(_, visit)| visit.as_ref())
        .collect()
}

/// Whether nothing at all has been written down of a site: no visit and no reading.
pub fn has_no_history(site: &Site) -> bool {
    site.visits.is_empty() && site.readings.values().all(Vec::is_empty)
}

/// The sheet of a visit.
pub fn sheet<'a>(fleet: &Fleet, site: &Site, visit: &'a Visit) -> Sheet<'a> {
    let arriving = vec![
        Blank { filled: Some(visit.date.to_string()), ..blank("date", Kind::Day) },
        blank("time", Kind::Time),
        Blank { filled: visit.technician.as_ref().map(Id::to_string), ..blank("by", Kind::Word) },
        Blank { filled: Some("planned".to_owned()), ..blank("why", Kind::Word) },
    ];
    let drained = site.closed.iter().any(|season| season.drained && (season.from..=season.to).contains(&visit.date));
    let readings: Vec<Asked> = site.spas.iter().flat_map(|spa| readings_of(fleet, site, spa, visit, drained)).collect();
    let after = after(fleet, site, visit, drained);
    let jobs = |full: bool| -> Vec<Job> {
        visit.tasks.iter().map(|task| Job { task, blanks: job_blanks(task, full) }).collect()
    };
    let leaving = |full: bool| leaving(visit, full);
    let count = |blanks: &[Asked]| blanks.iter().map(|asked| asked.blanks.len()).sum::<usize>();
    let all = jobs(true);
    let of_jobs: usize = all.iter().map(|job| job.blanks.len()).sum();
    let full = arriving.len() + count(&readings) + of_jobs + count(&after) + leaving(true).len() <= FULL_BLANKS;
    let (jobs, leaving) = (if full { all } else { jobs(false) }, leaving(full));
    Sheet { visit, arriving, readings, jobs, after, leaving }
}

fn blank(key: &str, kind: Kind) -> Blank {
    Blank { key: key.to_owned(), kind, unit: "", filled: None }
}

fn number(fleet: &Fleet, quantity: Quantity, after: bool) -> Blank {
    let key = if after { format!("after.{}", quantity.name()) } else { quantity.name().to_owned() };
    Blank { key, kind: Kind::Number, unit: unit(fleet, quantity), filled: None }
}

/// The unit of a bare number of a quantity.
pub fn unit(fleet: &Fleet, quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Hours | Quantity::HoursLow | Quantity::HoursHigh => fleet.settings.hours_unit(),
        Quantity::Current | Quantity::CurrentLow => "A",
        Quantity::Pressure => fleet.settings.pressure_unit(),
        Quantity::Flow => fleet.settings.flow_unit(),
        Quantity::Temperature => fleet.settings.temperature_unit(),
        Quantity::Ph => "",
        Quantity::Redox => "mV",
        _ => "mg/L",
    }
}

fn readings_of(fleet: &Fleet, site: &Site, spa: &Spa, visit: &Visit, drained: bool) -> Vec<Asked> {
    let since = calendar::plus_days(visit.date, -READ_LATELY);
    let lately = |at: &Address, quantity| site.readings_of(at, quantity).any(|row| row.day >= since);
    let mut all = Vec::new();
    let mut ask = |at: &Address, quantities: Vec<Quantity>| {
        if !quantities.is_empty() {
            let blanks = quantities.into_iter().map(|quantity| number(fleet, quantity, false)).collect();
            all.push(Asked { at: at.clone(), blanks });
        }
    };
    if !drained {
        let bromine = lately(&spa.at, Quantity::Bromine) && !lately(&spa.at, Quantity::FreeChlorine);
        let sanitiser = if bromine { Quantity::Bromine } else { Quantity::FreeChlorine };
        let asked = |quantity: &Quantity| {
            [Quantity::Temperature, Quantity::Ph, sanitiser].contains(quantity) || lately(&spa.at, *quantity)
        };
        ask(&spa.at, Quantity::ALL.into_iter().filter(|q| q.is_water_test()).filter(asked).collect());
        for filter in &spa.filters {
            let mut quantities = vec![Quantity::Pressure];
            quantities.extend(lately(&filter.at, Quantity::Flow).then_some(Quantity::Flow));
            ask(&filter.at, quantities);
        }
    }
    for pump in &spa.pumps {
        let mut quantities = counters(site, pump);
        if !drained {
            let current = [Quantity::Current, Quantity::CurrentLow];
            quantities.extend(current.into_iter().filter(|quantity| lately(&pump.at, *quantity)));
        }
        ask(&pump.at, quantities);
    }
    all
}

/// The counters a pump is known to have.
pub fn counters(site: &Site, pump: &Pump) -> Vec<Quantity> {
    let read = |quantity: &Quantity| site.readings_of(&pump.at, *quantity).next().is_some();
    let found: Vec<Quantity> =
        [Quantity::Hours, Quantity::HoursLow, Quantity::HoursHigh].into_iter().filter(read).collect();
    if found.is_empty() && pump.meter.is_some() { vec![Quantity::Hours] } else { found }
}

fn job_blanks(task: &VisitTask, full: bool) -> Vec<Blank> {
    match &task.work {
        Work::Renew(part) if !full => vec![blank(&format!("renewed.{part}"), Kind::OneOf(BECAUSE))],
        Work::Renew(part) => vec![
            blank(&format!("renewed.{part}"), Kind::OneOf(BECAUSE)),
            blank(&format!("renewed.{part}.found"), Kind::Words),
            blank(&format!("inspected.{part}"), Kind::OneOf(CONDITION)),
            blank(&format!("deferred.{part}"), Kind::Day),
        ],
        Work::Task(task) => vec![blank("done", Kind::Tick(task.to_string()))],
        Work::Close | Work::Reopen | Work::Left(_) | Work::ContractVisit => Vec::new(),
    }
}

/// What tells whether the work helped: the gauge behind a clean, the current behind work on a pump, the water behind
/// a change.
fn after(fleet: &Fleet, site: &Site, visit: &Visit, drained: bool) -> Vec<Asked> {
    let mut all: Vec<Asked> = Vec::new();
    let mut ask = |at: &Address, quantities: &[Quantity]| {
        if all.iter().all(|asked| asked.at != *at) {
            let blanks = quantities.iter().map(|quantity| number(fleet, *quantity, true)).collect();
            all.push(Asked { at: at.clone(), blanks });
        }
    };
    for task in visit.tasks.iter().filter(|task| !drained && task.work != Work::Close) {
        let spa = site.spas.iter().find(|spa| spa.at.spa() == task.at.spa());
        let pump = spa.and_then(|spa| spa.pumps.iter().find(|pump| pump.at == task.at));
        let renewed = matches!(task.work, Work::Renew(_));
        if spa.is_some_and(|spa| spa.filters.iter().any(|filter| filter.at == task.at)) {
            ask(&task.at, &[Quantity::Pressure, Quantity::Flow]);
        } else if let Some(pump) = pump.filter(|_| renewed) {
            ask(&task.at, currents(fleet, site, pump));
        } else if spa.is_some_and(|spa| spa.at == task.at) && changes_the_water(task) {
            let bromine = site.readings_of(&task.at, Quantity::Bromine).next().is_some()
                && site.readings_of(&task.at, Quantity::FreeChlorine).next().is_none();
            let sanitiser = if bromine { Quantity::Bromine } else { Quantity::FreeChlorine };
            ask(&task.at, &[Quantity::Temperature, Quantity::Ph, sanitiser]);
        }
    }
    all
}

/// The currents that are measured at a pump: one a speed.
pub fn currents(fleet: &Fleet, site: &Site, pump: &Pump) -> &'static [Quantity] {
    let model = fleet.models_at(site, pump).last().and_then(|(_, model)| *model);
    let read = site.readings_of(&pump.at, Quantity::CurrentLow).next().is_some();
    let two = model.map_or(read, |model| model.speeds == Speeds::Two);
    if two { &[Quantity::Current, Quantity::CurrentLow] } else { &[Quantity::Current] }
}

/// Whether a piece of work puts new water in.
pub fn changes_the_water(task: &VisitTask) -> bool {
    task.work == Work::Reopen || matches!(&task.work, Work::Task(id) if id.as_str() == "water_change")
}

fn leaving(visit: &Visit, full: bool) -> Vec<Blank> {
    let mut numbers: Vec<&str> =
        visit.tasks.iter().flat_map(|task| &task.take).filter_map(|take| take.number.as_deref()).collect();
    numbers.sort_unstable();
    numbers.dedup();
    let used = numbers.into_iter().map(|number| blank(&format!("used.{number}"), Kind::Number));
    let mut blanks = vec![Blank { unit: "h", ..blank("labour", Kind::Number) }];
    blanks.extend(used);
    if !full && visit.tasks.iter().any(|task| matches!(task.work, Work::Renew(_))) {
        for _ in 0..if visit.tasks.len() <= ROOM_FOR_TWO { 2 } else { 1 } {
            blanks.extend([
                Blank { unit: "address/part", ..blank(AT, Kind::Word) },
                blank(&format!("renewed.{PART}.found"), Kind::Words),
                blank(&format!("inspected.{PART}"), Kind::OneOf(CONDITION)),
                blank(&format!("deferred.{PART}"), Kind::Day),
            ]);
        }
    }
    blanks.extend([blank("note", Kind::Words), blank(AT, Kind::Word), blank("left", Kind::Words)]);
    blanks
}

#[cfg(test)]
pub(crate) mod tests;
