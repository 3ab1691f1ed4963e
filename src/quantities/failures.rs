//! How often does each pump fail? Incidents from the log, the hours or days they fell in, and what the
//! tests of a steady rate make of them once there are five.
//!
//! One incident is one failure of the pump a day, however many parts; a part that a look found failed counts as from that day,
//! whatever it was renewed for in the end. A pump put in the place of another begins anew. A repair is no failure. Fewer than five failures are
//! a count, never a trend. Whether a trend is told is decided over the fleet (`failure_trends`): among many
//! pumps some always look worse by chance.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::address::Id;
use crate::basis::Source;
use crate::calendar::days_between;
use crate::quantities::run_hours::RunHours;
use crate::records::log::{Because, Condition, Noticed};
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

/// The failures of a pump: of the one that stands at an address now. Those before it are pumps of their own, for a new pump
/// has neither the failures nor the hours of the one it was put in the place of.
#[derive(Debug, Clone)]
pub struct Failures {
    /// In order.
    pub incidents: Vec<Incident>,
    /// From which day on its failures are in the log: the records begin, or it was put in the place of another.
    pub since: NaiveDate,
    /// Its model; `None` = not known.
    pub model: Option<String>,
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
    /// The pumps that stood there before, in order.
    pub earlier: Vec<Failures>,
}

impl Failures {
    /// What was watched, on the clock; `None` = not known.
    pub fn exposure(&self) -> Option<f64> {
        self.watch.as_ref().map(|watch| watch.to)
    }

    /// The pumps that have stood at the address, the one of now last.
    pub fn units(&self) -> impl Iterator<Item = &Self> {
        self.earlier.iter().chain([self])
    }

    /// The failures of all of them.
    pub fn of_all_units(&self) -> impl Iterator<Item = &Incident> {
        self.units().flat_map(|unit| &unit.incidents)
    }
}

/// Failures without which nothing is said of a trend.
pub const LEAST_FAILURES: usize = 5;

/// Counts the failures at a pump's address up to the as-of day, each unit's for itself.
pub fn failures(site: &Site, pump: &Pump, hours: Option<&RunHours>, as_of: NaiveDate) -> Failures {
    let since = site.records_start().unwrap_or(as_of);
    let since = hours.map_or(since, |h| since.max(h.start));
    let incidents = incidents(site, pump, since, as_of);
    let mut model = pump.model.as_ref().map(|name| name.0.clone());
    // From new: its hours then begin on the day it was fitted.
    let mut new_on = hours.map(|h| h.start).filter(|start| pump.fitted.middle() == Some(*start));
    let (mut from, mut units) = (since, Vec::new());
    // What failed on the day of an exchange failed before it; on the day the records begin, behind that.
    let of_unit = |from: NaiveDate, to: NaiveDate, is_first: bool| -> Vec<Incident> {
        let is_its = |day: NaiveDate| (day > from || (is_first && day == from)) && day <= to;
        incidents.iter().filter(|incident| is_its(incident.day)).cloned().collect()
    };
    for (_, visit, entry) in site.entries(&pump.at) {
        let day = visit.date.0;
        let Some(exchange) = entry.exchanged.as_ref().filter(|_| day <= as_of) else { continue };
        if day > from {
            units.push(unit(hours, (from, day), new_on, model.clone(), of_unit(from, day, units.is_empty())));
            from = day;
        }
        if let Some(other) = &exchange.model {
            model = Some(other.0.clone());
        }
        // Another age is that of a pump which ran elsewhere before.
        new_on = exchange.fitted.is_none().then_some(day);
    }
    let end = hours.map_or(as_of, |hours| hours.end.max(from));
    let mut now = unit(hours, (from, end), new_on, model, of_unit(from, as_of, units.is_empty()));
    now.earlier = units;
    now
}

/// What failed at an address, whichever pump stood there.
fn incidents(site: &Site, pump: &Pump, since: NaiveDate, as_of: NaiveDate) -> Vec<Incident> {
    let mut incidents: Vec<Incident> = Vec::new();
    let mut add = |day: NaiveDate, what: Vec<String>, source: Source| {
        if what.is_empty() || day < since {
            return;
        }
        match incidents.iter_mut().find(|incident| incident.day == day) {
            Some(incident) => {
                let more: Vec<String> = what.into_iter().filter(|one| !incident.what.contains(one)).collect();
                incident.what.extend(more);
            }
            None => incidents.push(Incident { day, what, source }),
        }
    };
    // Parts seen failed and not renewed yet: what was seen first, and where.
    let mut seen: BTreeMap<&Id, (NaiveDate, Source)> = BTreeMap::new();
    for (index, visit, entry) in site.entries(&pump.at).filter(|(_, visit, _)| visit.date.0 <= as_of) {
        for (part, condition) in entry.inspected.iter() {
            match condition {
                Condition::Failed => {
                    let first = || (visit.date.0, site.entry_source(index, &pump.at, "inspected"));
                    seen.entry(part).or_insert_with(first);
                }
                Condition::Good => drop(seen.remove(part)),
                Condition::Worn => {}
            }
        }
        let mut what = Vec::new();
        let mut in_use = false;
        for (part, renewal) in &entry.renewed.0 {
            let before = seen.remove(part);
            match (renewal.because == Because::Failure, before) {
                // Found failed at a look at it, whatever it was renewed for in the end.
                (failed, Some((day, source))) if !failed || renewal.noticed != Noticed::InUse => {
                    add(day, vec![part.as_str().to_owned()], source);
                }
                (true, _) => {
                    what.push(part.as_str().to_owned());
                    in_use |= renewal.noticed == Noticed::InUse;
                }
                (false, _) => {}
            }
        }
        if let Some(exchange) = &entry.exchanged {
            // Its parts go with it.
            for (part, (day, source)) in std::mem::take(&mut seen) {
                add(day, vec![part.as_str().to_owned()], source);
            }
            if exchange.because == Because::Failure {
                what.push("pump".to_owned());
                in_use |= exchange.noticed == Noticed::InUse;
            }
        }
        let day = visit.reported.filter(|_| in_use).map_or(visit.date.0, |reported| reported.day.min(visit.date.0));
        add(day, what, site.entry_source(index, &pump.at, "renewed"));
    }
    for (part, (day, source)) in seen {
        add(day, vec![part.as_str().to_owned()], source);
    }
    incidents.sort_by_key(|incident| incident.day);
    incidents
}

/// One pump from a day to another, both at their ends.
fn unit(
    hours: Option<&RunHours>,
    (since, end): (NaiveDate, NaiveDate),
    new_on: Option<NaiveDate>,
    model: Option<String>,
    incidents: Vec<Incident>,
) -> Failures {
    let exposure_hours = hours.and_then(|h| h.hours_between(since, end.min(h.end)));
    let watch = match (hours, exposure_hours) {
        (Some(hours), Some(total)) if total > 0.0 => {
            let times = incidents.iter().filter_map(|i| hours.hours_between(since, i.day));
            Some((Clock::Hours, watch(times, total)))
        }
        _ => {
            let total = days_between(since, end) as f64;
            let times = incidents.iter().map(|i| days_between(since, i.day) as f64);
            (total > 0.0).then(|| (Clock::Age, watch(times, total)))
        }
    };
    let test = watch.as_ref().filter(|_| incidents.len() >= LEAST_FAILURES).and_then(|(_, watch)| {
        // Every failure counts, or none of them says anything of the trend.
        (watch.failures.len() == incidents.len()).then(|| trend_test(std::slice::from_ref(watch)))?
    });
    let entered_at = new_on.zip(hours).and_then(|(new_on, hours)| hours.hours_between(new_on, since.max(new_on)));
    Failures {
        incidents,
        since,
        model,
        exposure_hours,
        clock: watch.as_ref().map_or(Clock::Hours, |(clock, _)| *clock),
        watch: watch.map(|(_, watch)| watch),
        entered_at,
        test,
        earlier: Vec::new(),
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
            model: None,
            earlier: Vec::new(),
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantities::fleet_for_tests::load_with;

    const FLEET: &str = "{format: 1, fleet: Test, currency: GBP, timezone: Europe/London}";
    const PUMPS: &str = "format: 1\nmodels: {P: {speeds: 1, power: 0.5 hp}, Q: {speeds: 1, power: 0.75 hp}}\n";

    fn of(log: &str, then: impl Fn(&Failures)) {
        let site = format!(
            "format: 1\nrecords_from: 2025-01-01\nspas: {{tub: {{fitted: 2025-01-01, pumps: {{one: {{model: P, duty: filtration, program: {{run: 10 h/day}}}}}}}}}}\nlog: [{log}]\n"
        );
        load_with(
            &[("fleet.yaml", FLEET), ("pumps.yaml", PUMPS), ("sites/home.yaml", &site)],
            "2026-10-31",
            |_, figures, _| then(&figures.spas[0].pumps[0].failures),
        );
    }

    /// 365 days at 10 h up to the exchange, 303 behind it. Two seals and the pump itself failed in the first, one seal in the
    /// second, eleven days after it was put there.
    #[test]
    fn a_new_pump_has_neither_the_failures_nor_the_hours_of_the_one_before() {
        let log = "{date: 2025-03-02, at: {tub/one: {renewed: {shaft_seal: {because: failure}}}}},
            {date: 2025-08-02, at: {tub/one: {renewed: {shaft_seal: {because: failure}}}}},
            {date: 2026-01-01, at: {tub/one: {exchanged: {because: failure, model: Q}}}},
            {date: 2026-01-12, at: {tub/one: {renewed: {shaft_seal: {because: failure}}}}}";
        of(log, |now| {
            let [before] = now.earlier.as_slice() else { panic!("{now:?}") };
            assert_eq!((before.model.as_deref(), now.model.as_deref()), (Some("P"), Some("Q")));
            assert_eq!((before.incidents.len(), now.incidents.len()), (3, 1));
            assert_eq!((before.exposure(), now.exposure()), (Some(3650.0), Some(3030.0)));
            assert_eq!((before.entered_at, now.entered_at), (Some(0.0), Some(0.0)));
            assert_eq!(now.watch.as_ref().unwrap().failures, [110.0]);
            assert_eq!(now.of_all_units().count(), 4);
        });
    }

    /// A part that a look found failed has failed, on the day of the look, whatever it is renewed for in the end; told as a
    /// failure behind that, it is the same one.
    #[test]
    fn what_was_seen_failed_counts_once() {
        for renewed in ["renewed: [shaft_seal]", "renewed: {shaft_seal: {because: failure, noticed: visit}}"] {
            let log = format!(
                "{{date: 2025-03-02, at: {{tub/one: {{inspected: {{shaft_seal: failed}}}}}}}},
                 {{date: 2025-03-09, at: {{tub/one: {{{renewed}}}}}}},
                 {{date: 2025-05-09, at: {{tub/one: {{inspected: {{shaft_seal: failed}}, {renewed}}}}}}},
                 {{date: 2025-07-01, at: {{tub/one: {{inspected: {{shaft_seal: failed}}}}}}}}"
            );
            of(&log, |now| {
                let days: Vec<String> = now.incidents.iter().map(|incident| incident.day.to_string()).collect();
                assert_eq!(days, ["2025-03-02", "2025-05-09", "2025-07-01"], "{renewed}");
                assert!(now.incidents.iter().all(|incident| incident.what == ["shaft_seal"]));
            });
        }
        // Seen good again by somebody who looked better, or renewed in good time: no failure.
        let log = "{date: 2025-03-02, at: {tub/one: {inspected: {shaft_seal: failed}}}},
            {date: 2025-03-09, at: {tub/one: {inspected: {shaft_seal: good}}}},
            {date: 2025-05-09, at: {tub/one: {renewed: [shaft_seal]}}}";
        of(log, |now| assert!(now.incidents.is_empty(), "{:?}", now.incidents));
    }
}
