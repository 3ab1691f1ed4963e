//! What has each pump run? Cumulative hours per pump and speed, from counters, programs, both or
//! neither, and the months as differences of two values.
//!
//! Between two readings the counter's difference is spread in proportion to the program; outside
//! them the program, corrected by what the counter has shown, gives the hours.

mod curve;
mod energy;
mod legs;
mod months;
#[cfg(test)]
mod tests;

pub use energy::{Input, InputFrom, MOTOR_EFFICIENCY, POWER_FACTOR, inputs};
pub use legs::spread;

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::basis::{Basis, Source};
use crate::calendar::{Month, days_between, plus_days};
use crate::quantities::program::{self, DailyHours, Stretch};
use crate::records::counters::{self, Counters, Point};
use crate::records::tubs::Speed;
use crate::records::{Fleet, Pump, ReadingRow, Site, Spa};

/// Days of one rate, both ends counted.
#[derive(Debug, Clone)]
pub struct Run {
    /// The first day.
    pub from: NaiveDate,
    /// The last day.
    pub to: NaiveDate,
    /// Hours a day.
    pub hours_a_day: f64,
    /// What they rest on; `None` = not known.
    pub basis: Option<Basis>,
    /// Whether these days lie between two valid readings.
    pub between_readings: bool,
    /// Hours from the start of the curve to the end of the last day.
    pub hours_to_end: f64,
}

impl Run {
    fn days(&self) -> f64 {
        (days_between(self.from, self.to) + 1) as f64
    }
}

/// The hours of one speed of a pump.
#[derive(Debug, Clone)]
pub struct Curve {
    /// The speed.
    pub speed: Speed,
    /// The counter that counts it: its own speed's, or one of all speeds; `None` = none.
    pub counter: Option<Speed>,
    /// Runs in order without gaps, from the day after fitting to the as-of day.
    pub runs: Vec<Run>,
    /// The counter over the program, where both are known for the unit there now.
    pub factor: Option<f64>,
    /// The hours that factor is of: the counter's and the program's over the same days.
    pub factor_of: Option<(f64, f64)>,
    /// Hours a day, closed seasons out, that the counter of the unit there now has shown of late.
    pub rate: Option<f64>,
    /// Whether that counter ran and the program says that the pump never does.
    pub silent: bool,
    /// The sound readings of the unit there now.
    pub readings: Vec<Point>,
}

impl Curve {
    /// Hours from the start to the end of a day.
    pub fn hours_until(&self, day: NaiveDate) -> f64 {
        let index = self.runs.partition_point(|run| run.to < day);
        match self.runs.get(index) {
            Some(run) if run.from <= day => run.hours_to_end - run.hours_a_day * days_between(day, run.to) as f64,
            Some(_) => 0.0,
            None => self.runs.last().map_or(0.0, |run| run.hours_to_end),
        }
    }

    /// Hours after the end of one day up to the end of another; `None` if some are not known.
    pub fn hours_between(&self, after: NaiveDate, until: NaiveDate) -> Option<f64> {
        let unknown = self.runs.iter().any(|run| run.basis.is_none() && run.to > after && run.from <= until);
        (!unknown).then(|| self.hours_until(until) - self.hours_until(after))
    }

    /// How many days after one up to another lie between valid readings.
    pub fn metered_days_between(&self, after: NaiveDate, until: NaiveDate) -> i64 {
        let begin = self.runs.partition_point(|run| run.to <= after);
        let inside = self.runs[begin..].iter().take_while(|run| run.from <= until);
        inside
            .filter(|run| run.between_readings)
            .map(|run| days_between(run.from.max(plus_days(after, 1)), run.to.min(until)) + 1)
            .sum()
    }

    /// The first day by whose end so many hours have run after the end of `after`; `None` if not yet.
    pub fn day_reached(&self, after: NaiveDate, hours: f64) -> Option<NaiveDate> {
        let target = self.hours_until(after) + hours - 1e-9;
        let index = self.runs.partition_point(|run| run.hours_to_end < target);
        let run = self.runs.get(index)?;
        let short_of_end =
            if run.hours_a_day > 0.0 { ((run.hours_to_end - target) / run.hours_a_day).floor() } else { 0.0 };
        Some(plus_days(run.to, -(short_of_end as i64)).max(plus_days(after, 1)))
    }
}

/// The hours of a month at a speed.
#[derive(Debug, Clone)]
pub struct MonthHours {
    /// The month.
    pub month: Month,
    /// The speed.
    pub speed: Speed,
    /// Hours run; `None` = not known.
    pub hours: Option<f64>,
    /// What most of its days rest on.
    pub basis: Option<Basis>,
    /// The share of its days between valid readings.
    pub metered_fraction: f64,
    /// Hours of days between valid readings.
    pub metered_hours: f64,
    /// Energy of the pump.
    pub energy_kwh: Option<f64>,
    /// Its cost at the prices then in force.
    pub energy_cost: Option<f64>,
}

/// What a pump has run.
#[derive(Debug, Clone)]
pub struct RunHours {
    /// By speed.
    pub curves: Vec<Curve>,
    /// The day at whose end its hours begin.
    pub start: NaiveDate,
    /// The last day counted: the as-of day, or the day it was removed.
    pub end: NaiveDate,
    /// Days of exchange.
    pub exchanges: Vec<NaiveDate>,
    /// The records the hours now rest on: the last two readings of each counter.
    pub sources: Vec<Source>,
    /// The records of readings that were set aside.
    pub set_aside: Vec<Source>,
    /// Stretches of days, the first after one and up to the other, on which a counter ran faster than time.
    pub too_fast: Vec<(NaiveDate, NaiveDate)>,
    /// Months by speed, sorted by month.
    pub months: Vec<MonthHours>,
}

impl RunHours {
    /// A month, each of its speeds.
    pub fn of_month(&self, month: Month) -> &[MonthHours] {
        let from = self.months.partition_point(|row| row.month < month);
        let of_month = self.months[from..].partition_point(|row| row.month == month);
        &self.months[from..from + of_month]
    }

    /// Hours of all speeds after one day up to another; `None` if some are not known.
    pub fn hours_between(&self, after: NaiveDate, until: NaiveDate) -> Option<f64> {
        if self.curves.is_empty() {
            return None;
        }
        self.curves.iter().map(|curve| curve.hours_between(after, until)).sum()
    }

    /// Those of the hours after one day up to another that no counter brackets, all speeds.
    pub fn unmetered_hours_between(&self, after: NaiveDate, until: NaiveDate) -> f64 {
        let outside = |run: &&Run| !run.between_readings && run.to > after && run.from <= until;
        let hours = |run: &Run| {
            let (first, last) = (run.from.max(plus_days(after, 1)), run.to.min(until));
            run.hours_a_day * (days_between(first, last) + 1) as f64
        };
        self.curves.iter().flat_map(|curve| &curve.runs).filter(outside).map(hours).sum()
    }

    /// The first day by whose end so many hours of all speeds have run after `after`.
    pub fn day_reached(&self, after: NaiveDate, hours: f64) -> Option<NaiveDate> {
        if let [only] = self.curves.as_slice() {
            return only.day_reached(after, hours);
        }
        // Sums of rising curves rise: halve the days until one is left.
        let total = |day: NaiveDate| self.curves.iter().map(|c| c.hours_until(day) - c.hours_until(after)).sum::<f64>();
        if total(self.end) < hours - 1e-9 {
            return None;
        }
        let (mut low, mut high) = (0, days_between(after, self.end));
        while low < high {
            let middle = low + (high - low) / 2;
            if total(plus_days(after, middle)) >= hours - 1e-9 {
                high = middle;
            } else {
                low = middle + 1;
            }
        }
        Some(plus_days(after, low))
    }

    /// What the hours of the last 365 days mostly rest on.
    pub fn basis_now(&self) -> Option<Basis> {
        let from = plus_days(self.end, -364);
        let mut days: BTreeMap<Basis, f64> = BTreeMap::new();
        for run in self.curves.iter().flat_map(|c| &c.runs).filter(|run| run.to >= from) {
            if let Some(basis) = run.basis {
                *days.entry(basis).or_default() += run.days();
            }
        }
        days.into_iter().max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0))).map(|(basis, _)| basis)
    }

    /// The day of the last sound reading.
    pub fn last_reading(&self) -> Option<NaiveDate> {
        self.curves.iter().filter_map(|c| c.readings.last()).map(|p| p.day).max()
    }
}

/// Computes what a pump has run up to a day. `None` if nothing says when it began.
pub fn run_hours(fleet: &Fleet, site: &Site, spa: &Spa, pump: &Pump, as_of: NaiveDate) -> Option<RunHours> {
    let mut result = with_readings(fleet, site, spa, pump, as_of, &[])?;
    months::months(fleet, site, pump, &mut result);
    Some(result)
}

/// What it would have run if some more readings of its counters were known; without the months.
pub fn with_readings(
    fleet: &Fleet,
    site: &Site,
    spa: &Spa,
    pump: &Pump,
    as_of: NaiveDate,
    more: &[ReadingRow],
) -> Option<RunHours> {
    let counters = counters::counters_with(fleet, site, pump, as_of, more);
    let start = start_of(site, pump, &counters)?;
    let end = counters.removed.map_or(as_of, |removed| removed.min(as_of));
    let mut result = RunHours {
        curves: Vec::new(),
        start,
        end,
        exchanges: counters.exchanges.clone(),
        sources: Vec::new(),
        set_aside: counters.set_aside.iter().map(|aside| aside.reading.source(site, &pump.at)).collect(),
        too_fast: counters.too_fast().map(|doubt| (doubt.first.day, doubt.last.day)).collect(),
        months: Vec::new(),
    };
    if end <= start {
        return Some(result);
    }
    let programs = program::stretches(site, spa, pump, (plus_days(start, 1), end), end);
    // High before low: while the pump runs at high it cannot run at low, so low gets what high leaves of a day, and
    // nothing gets more than all others leave.
    for speed in speeds_of(&programs, &counters, pump).into_iter().rev() {
        let legs = legs::legs(&programs, speed, &result.curves);
        let curve = curve::curve_of(speed, pump, &counters, &legs, start, end);
        result.curves.push(curve);
    }
    result.curves.reverse();
    let last_two =
        |curve: &Curve| curve.readings.iter().rev().take(2).map(|p| p.source(site, &pump.at)).collect::<Vec<_>>();
    result.curves.retain(|curve| curve.runs.iter().any(|run| run.basis.is_some()));
    result.sources = result.curves.iter().flat_map(last_two).collect();
    Some(result)
}

/// The day at whose end a pump's hours begin: its fitting, or the first thing that is known of it.
fn start_of(site: &Site, pump: &Pump, counters: &Counters) -> Option<NaiveDate> {
    let reading = counters.counts.iter().flat_map(|(_, c)| c).filter_map(|c| c.points.first()).map(|p| p.day).min();
    // A day of fitting known only about is no later than what was read at the pump.
    let fitted = pump.fitted.middle().map(|middle| reading.map_or(middle, |reading| reading.min(middle)));
    fitted.or_else(|| {
        let program = pump.programs.iter().filter_map(|p| p.from).map(|from| plus_days(from.0, -1)).min();
        let records = site.records_start().map(|day| plus_days(day, -1));
        [reading, program, records].into_iter().flatten().min()
    })
}

fn speeds_of(programs: &[Stretch], counters: &Counters, pump: &Pump) -> Vec<Speed> {
    // A counter of both speeds, and a program that is only what is usual: nothing says how it is split.
    if pump.usual_program && counters.counts.iter().any(|(speed, _)| *speed == Speed::All) {
        return vec![Speed::All];
    }
    let mut speeds: Vec<Speed> =
        programs.iter().flat_map(|s| s.hours.iter().flat_map(DailyHours::iter).map(|(speed, _)| speed)).collect();
    if speeds.is_empty() {
        speeds.extend(pump.programs.iter().flat_map(|p| program::hours_on(p, true)).map(|(speed, _)| speed));
    }
    for (speed, _) in &counters.counts {
        if *speed != Speed::All || speeds.is_empty() {
            speeds.push(*speed);
        }
    }
    speeds.sort_unstable();
    speeds.dedup();
    speeds
}

/// The name of the model that stands at a pump's address now.
pub fn model_now(site: &Site, pump: &Pump) -> Option<String> {
    site.entries(&pump.at)
        .filter_map(|(_, _, entry)| entry.exchanged.as_ref()?.model.as_ref())
        .last()
        .or(pump.model.as_ref())
        .map(|name| name.0.clone())
}
