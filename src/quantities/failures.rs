//! How often does each pump fail? Incidents from the log, the hours or days they fell in, and what the
//! tests of a steady rate make of them once there are five.
//!
//! One incident is one failure of the pump a day, however many parts. Fewer than five failures are
//! a count, never a trend. Whether a trend is told is decided over the fleet (`failure_trends`): among many
//! pumps some always look worse by chance.

use chrono::NaiveDate;

use crate::basis::Source;
use crate::calendar::days_between;
use crate::quantities::run_hours::RunHours;
use crate::records::log::{Because, Noticed};
use crate::records::upkeep::Clock;
use crate::records::{Pump, Site};
use crate::stats::recurrence::{TrendTest, Unit, trend_test};

/// A failure of a pump.
#[derive(Debug, Clone)]
pub struct Incident {
    /// The day it happened or was found.
    pub day: NaiveDate,
    /// What failed: part names, or `pump`.
    pub what: Vec<String>,
    /// The record.
    pub source: Source,
}

/// What the failures of a pump say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trend {
    /// More and more often.
    Worsening,
    /// No more and no less often, as far as can be told.
    Steady,
    /// Less and less often.
    Improving,
    /// Fewer than five.
    TooFew,
}

impl Trend {
    /// The words in tables and print.
    pub fn words(self) -> &'static str {
        match self {
            Self::Worsening => "worsening",
            Self::Steady => "steady",
            Self::Improving => "improving",
            Self::TooFew => "too few failures",
        }
    }
}

/// The failures of a pump.
#[derive(Debug, Clone)]
pub struct Failures {
    /// In order.
    pub incidents: Vec<Incident>,
    /// From which day all failures are in the log.
    pub since: NaiveDate,
    /// Hours run since then; `None` = not known.
    pub exposure_hours: Option<f64>,
    /// The clock of what follows: hours where they are known, else days.
    pub clock: Clock,
    /// The watch from that day, and the failures in it, on the clock; `None` = nothing was watched.
    pub watch: Option<Unit>,
    /// Hours the pump had run when the watch began, if it is known from new.
    pub entered_at: Option<f64>,
    /// The tests of a steady rate; `None` with fewer than five failures.
    pub test: Option<TrendTest>,
}

impl Failures {
    /// What was watched, on the clock; `None` = not known.
    pub fn exposure(&self) -> Option<f64> {
        self.watch.as_ref().map(|watch| watch.to)
    }
}

/// Failures without which nothing is said of a trend.
pub const LEAST_FAILURES: usize = 5;

/// Counts a pump's failures up to the as-of day.
pub fn failures(site: &Site, pump: &Pump, hours: Option<&RunHours>, as_of: NaiveDate) -> Failures {
    let since = site.records_start().unwrap_or(as_of);
    let since = hours.map_or(since, |h| since.max(h.start));
    let mut incidents: Vec<Incident> = Vec::new();
    for (index, visit, entry) in site.entries(&pump.at) {
        let mut what: Vec<String> = entry
            .renewed
            .0
            .iter()
            .filter(|(_, r)| r.because == Because::Failure)
            .map(|(part, _)| part.as_str().to_owned())
            .collect();
        let mut in_use =
            entry.renewed.0.iter().any(|(_, r)| r.because == Because::Failure && r.noticed == Noticed::InUse);
        if let Some(exchange) = entry.exchanged.as_ref().filter(|e| e.because == Because::Failure) {
            what.push("pump".to_owned());
            in_use |= exchange.noticed == Noticed::InUse;
        }
        if what.is_empty() {
            continue;
        }
        let day = visit.reported.filter(|_| in_use).map_or(visit.date.0, |reported| reported.day.min(visit.date.0));
        if day < since || visit.date.0 > as_of {
            continue;
        }
        match incidents.iter_mut().find(|i| i.day == day) {
            Some(incident) => incident.what.extend(what),
            None => incidents.push(Incident { day, what, source: site.entry_source(index, &pump.at, "renewed") }),
        }
    }
    incidents.sort_by_key(|i| i.day);
    let exposure_hours = hours.and_then(|h| h.hours_between(since, h.end));
    let watch = match (hours, exposure_hours) {
        (Some(hours), Some(total)) if total > 0.0 => {
            let times = incidents.iter().filter_map(|i| hours.hours_between(since, i.day));
            Some((Clock::Hours, watch(times, total)))
        }
        _ => {
            let total = days_between(since, as_of) as f64;
            let times = incidents.iter().map(|i| days_between(since, i.day) as f64);
            (total > 0.0).then(|| (Clock::Age, watch(times, total)))
        }
    };
    let test = watch.as_ref().filter(|_| incidents.len() >= LEAST_FAILURES).and_then(|(_, watch)| {
        // Every failure counts, or none of them says anything of the trend.
        (watch.failures.len() == incidents.len()).then(|| trend_test(std::slice::from_ref(watch)))?
    });
    let from_new = hours.filter(|h| pump.fitted.middle() == Some(h.start));
    Failures {
        incidents,
        since,
        exposure_hours,
        clock: watch.as_ref().map_or(Clock::Hours, |(clock, _)| *clock),
        watch: watch.map(|(_, watch)| watch),
        entered_at: from_new.and_then(|h| h.hours_between(h.start, since)),
        test,
    }
}

#[cfg(test)]
impl Failures {
    /// Those of a seal in a pump watched for 10,000 hours from new.
    pub(crate) fn simulated(at: &[f64]) -> Self {
        let watch = Unit { from: 0.0, to: 10_000.0, failures: at.to_vec() };
        let source = Source { file: "a".into(), place: crate::basis::Place::Line(1) };
        let day = NaiveDate::from_ymd_opt(2025, 1, 1).unwrap();
        let incident = |_: &f64| Incident { day, what: vec!["seal".to_owned()], source: source.clone() };
        Self {
            incidents: at.iter().map(incident).collect(),
            since: day,
            exposure_hours: Some(10_000.0),
            clock: Clock::Hours,
            test: (at.len() >= LEAST_FAILURES).then(|| trend_test(std::slice::from_ref(&watch))).flatten(),
            watch: Some(watch),
            entered_at: Some(0.0),
        }
    }
}

/// The watch with the failures in it. One on the very day it began happened some time after that: half
/// an hour, half a day.
fn watch(times: impl Iterator<Item = f64>, total: f64) -> Unit {
    Unit { from: 0.0, to: total, failures: times.map(|at| at.clamp(0.5f64.min(total), total)).collect() }
}
