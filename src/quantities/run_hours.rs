//! What has each pump run? Cumulative hours per pump and speed, from counters, programs, both or
//! neither, and the months as differences of two values.
//!
//! Between two readings the counter's difference is spread in proportion to the program; outside
//! them the program, corrected by what the counter has shown, gives the hours.

mod months;
#[cfg(test)]
mod tests;

pub use months::{MOTOR_EFFICIENCY, POWER_FACTOR};

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::basis::{Basis, Source};
use crate::calendar::{Month, days_between, plus_days};
use crate::quantities::program::{self, Stretch};
use crate::records::counters::{self, Counters, Point};
use crate::records::pumps::Model;
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
    /// Readings that were set aside.
    pub set_aside: usize,
    /// Months by speed.
    pub months: Vec<MonthHours>,
}

impl RunHours {
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

/// The least days between readings that say something of how a counter runs against its program.
const LEAST_METERED_DAYS: f64 = 14.0;
/// The days that a factor or a rate is learned from.
const LEARNED_FROM_DAYS: f64 = 365.0;

/// What a unit's counter has shown of late.
#[derive(Debug, Clone, Copy, Default)]
struct Learned {
    /// Counter over program.
    factor: Option<f64>,
    /// Hours a day.
    rate: Option<f64>,
    /// Whether the counter ran and the program says that the pump never does.
    silent: bool,
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
    let counters = counters::counters_with(site, pump, fleet.model(pump), &fleet.typed_units(), as_of, more);
    let start = start_of(site, pump, &counters)?;
    let end = counters.removed.map_or(as_of, |removed| removed.min(as_of));
    let mut result = RunHours {
        curves: Vec::new(),
        start,
        end,
        exchanges: counters.exchanges.clone(),
        sources: Vec::new(),
        set_aside: counters.set_aside.len(),
        months: Vec::new(),
    };
    if end <= start {
        return Some(result);
    }
    let programs = program::stretches(site, spa, pump, plus_days(start, 1), end);
    // High before low: while the pump runs at high it cannot run at low, so low gets what high leaves of a day.
    for speed in speeds_of(&programs, &counters, pump).into_iter().rev() {
        let above = result.curves.last().filter(|curve| curve.speed == Speed::High && speed == Speed::Low);
        let legs = legs(&programs, speed, above);
        let curve = curve_of(speed, pump, &counters, &legs, start, end);
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
    pump.fitted.middle().or_else(|| {
        let reading = counters.counts.iter().flat_map(|(_, c)| c).filter_map(|c| c.points.first()).map(|p| p.day).min();
        let program = pump.programs.iter().filter_map(|p| p.from).map(|from| plus_days(from.0, -1)).min();
        let records = site.records_start().map(|day| plus_days(day, -1));
        [reading, program, records].into_iter().flatten().min()
    })
}

fn speeds_of(programs: &[Stretch], counters: &Counters, pump: &Pump) -> Vec<Speed> {
    let mut speeds: Vec<Speed> =
        programs.iter().flat_map(|s| s.hours.iter().flatten().map(|(speed, _)| *speed)).collect();
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

/// Days on which one speed of a pump has one program, both ends counted.
#[derive(Debug, Clone, Copy)]
struct Leg {
    from: NaiveDate,
    to: NaiveDate,
    /// Hours a day of this speed and of all speeds; `None` where no program holds.
    programmed: Option<(f64, f64)>,
    /// Whether programs stand still: a closed season, or out of service.
    still: bool,
    occupation_unknown: bool,
    /// The most this speed can run in a day.
    ceiling: f64,
}

impl Leg {
    fn days(&self) -> f64 {
        (days_between(self.from, self.to) + 1) as f64
    }

    /// The program's hours a day of what a counter counts.
    fn counted_by(&self, counter_of_all: bool) -> Option<f64> {
        self.programmed.map(|(own, all)| if counter_of_all { all } else { own })
    }
}

/// The legs of a speed; `above` is the curve of the higher speed, whose hours a day are not there for this one.
fn legs(programs: &[Stretch], speed: Speed, above: Option<&Curve>) -> Vec<Leg> {
    let whole = programs.iter().map(|stretch| Leg {
        from: stretch.from,
        to: stretch.to,
        programmed: stretch.hours.is_some().then(|| (stretch.at(speed), stretch.at(Speed::All))),
        still: stretch.still,
        occupation_unknown: stretch.occupation_unknown,
        ceiling: 24.0,
    });
    let Some(above) = above else { return whole.collect() };
    let mut legs = Vec::new();
    for leg in whole {
        let begin = above.runs.partition_point(|run| run.to < leg.from);
        for run in above.runs[begin..].iter().take_while(|run| run.from <= leg.to) {
            legs.push(Leg {
                from: leg.from.max(run.from),
                to: leg.to.min(run.to),
                ceiling: (24.0 - run.hours_a_day).max(0.0),
                ..leg
            });
        }
    }
    legs
}

/// The parts of legs after one day up to another.
fn clipped(legs: &[Leg], after: NaiveDate, until: NaiveDate) -> impl Iterator<Item = Leg> + '_ {
    let begin = legs.partition_point(move |leg| leg.to <= after);
    legs[begin..].iter().take_while(move |leg| leg.from <= until).map(move |leg| Leg {
        from: leg.from.max(plus_days(after, 1)),
        to: leg.to.min(until),
        ..*leg
    })
}

/// What a counter gained between two sound readings of one count.
#[derive(Debug, Clone, Copy)]
struct Interval {
    from: NaiveDate,
    to: NaiveDate,
    hours: f64,
}

/// The intervals of a count. A reading is taken some time within its day but holds at the day's end, so
/// an interval may seem to hold more than 24 h a day: the excess is what ran on the day of its first
/// reading after that was taken, and goes to the interval before; where there is none, to the next.
fn intervals_of(points: &[Point]) -> Vec<Interval> {
    let mut all: Vec<Interval> = points
        .windows(2)
        .map(|pair| Interval { from: pair[0].day, to: pair[1].day, hours: pair[1].hours - pair[0].hours })
        .collect();
    let most = |interval: &Interval| 24.0 * days_between(interval.from, interval.to) as f64;
    for index in 0..all.len() {
        let mut excess = all[index].hours - most(&all[index]);
        if excess <= 0.0 {
            continue;
        }
        all[index].hours -= excess;
        for other in (0..index).rev().chain(index + 1..all.len()) {
            let room = (most(&all[other]) - all[other].hours).clamp(0.0, excess);
            all[other].hours += room;
            excess -= room;
            if excess <= 0.0 {
                break;
            }
        }
    }
    all
}

/// What one speed's counter says of one unit.
struct Metering<'a> {
    /// Whether the counter counts all speeds and this speed has a share of it.
    of_all: bool,
    /// This speed's share of all hours by the programs, where a day's own program does not say.
    share: f64,
    /// The program that stands for days on which none holds.
    stand_in: Option<(f64, f64)>,
    legs: &'a [Leg],
}

impl Metering<'_> {
    /// The interval's hours a day of the counter on each of its legs, and whether they found room.
    fn spread(&self, interval: Interval) -> (Vec<(Leg, f64)>, bool) {
        let legs: Vec<Leg> = clipped(self.legs, interval.from, interval.to).collect();
        let weights: Vec<(f64, f64, f64)> = legs
            .iter()
            .map(|leg| {
                let stand_in = self.stand_in.map(|(own, all)| if self.of_all { all } else { own });
                let weight = leg.counted_by(self.of_all).or(stand_in).unwrap_or(0.0);
                (leg.days(), weight, if self.of_all { 24.0 } else { leg.ceiling })
            })
            .collect();
        let (rates, rest) = spread(interval.hours, &weights);
        (legs.into_iter().zip(rates).collect(), rest <= ROUNDING_HOURS)
    }

    fn share_of(&self, leg: &Leg) -> f64 {
        if !self.of_all {
            return 1.0;
        }
        match leg.programmed.or(self.stand_in) {
            Some((own, all)) if all > 0.0 => own / all,
            _ => self.share,
        }
    }
}

/// Hours that may find no room in an interval without its being wrong: a counter's rounding.
const ROUNDING_HOURS: f64 = 1.0;

fn curve_of(speed: Speed, pump: &Pump, counters: &Counters, legs: &[Leg], start: NaiveDate, end: NaiveDate) -> Curve {
    // The counter that counts this speed: its own, else the one that serves both.
    let counts = counters
        .counts
        .iter()
        .find(|(s, _)| *s == speed)
        .or_else(|| counters.counts.iter().find(|(s, _)| *s == Speed::All))
        .map(|(s, counts)| (*s, counts.as_slice()));
    let counter = counts.map(|(counter, _)| counter);
    let of_all = counter.is_some_and(|counter| counter != speed);
    let sum = |pick: fn((f64, f64)) -> f64| -> f64 {
        legs.iter().filter_map(|leg| Some(pick(leg.programmed?) * leg.days())).sum()
    };
    let (own, all) = (sum(|(own, _)| own), sum(|(_, all)| all));
    let share = if all > 0.0 { own / all } else { f64::from(u8::from(speed == Speed::Low)) };
    let stand_in =
        legs.iter().filter_map(|leg| leg.programmed).find(|(own, all)| if of_all { *all > 0.0 } else { *own > 0.0 });
    let metering = Metering { of_all, share, stand_in, legs };
    let metered_basis = if of_all { Basis::Estimated } else { Basis::Metered };
    let mut runs: Vec<Run> = Vec::new();
    let mut now = Learned::default();
    let mut readings = Vec::new();
    let mut unit_start = start;
    let current = counters.exchanges.len();
    for unit in 0..=current {
        let unit_end = counters.exchanges.get(unit).map_or(end, |day| (*day).min(end));
        // An exchange dated before the start changes nothing that is counted.
        if unit_end > unit_start || unit == current {
            let mut intervals: Vec<Interval> = Vec::new();
            for count in counts.iter().flat_map(|(_, counts)| *counts).filter(|count| count.unit == unit) {
                intervals.extend(intervals_of(&count.points));
                if unit == current {
                    readings.extend_from_slice(&count.points);
                }
            }
            intervals.sort_by_key(|interval| interval.from);
            let mut pieces: Vec<(Vec<(Leg, f64)>, bool)> = Vec::with_capacity(intervals.len());
            let mut at = unit_start;
            for interval in intervals {
                let (first, last) = (interval.from.max(at), interval.to.min(unit_end));
                if last <= first {
                    continue;
                }
                // A reading from before the fitting gives its share only.
                let part = days_between(first, last) as f64 / days_between(interval.from, interval.to) as f64;
                pieces.push(metering.spread(Interval { from: first, to: last, hours: interval.hours * part }));
                at = last;
            }
            let learned = learn(&pieces, of_all);
            at = unit_start;
            for (piece, fits) in &pieces {
                let (Some((first, _)), Some((last, _))) = (piece.first(), piece.last()) else { continue };
                outside(&metering, speed, pump, learned, at, plus_days(first.from, -1), &mut runs);
                at = last.to;
                runs.extend(piece.iter().map(|(leg, rate)| Run {
                    from: leg.from,
                    to: leg.to,
                    hours_a_day: (rate * metering.share_of(leg)).min(leg.ceiling),
                    basis: Some(if *fits { metered_basis } else { Basis::Estimated }),
                    between_readings: true,
                    hours_to_end: 0.0,
                }));
            }
            outside(&metering, speed, pump, learned, at, unit_end, &mut runs);
            if unit == current {
                now = learned;
            }
        }
        unit_start = unit_start.max(unit_end);
    }
    let mut total = 0.0;
    for run in &mut runs {
        total += run.hours_a_day * run.days();
        run.hours_to_end = total;
    }
    Curve { speed, counter, runs, factor: now.factor, readings }
}

/// Learns from a unit's last 365 metered days.
fn learn(pieces: &[(Vec<(Leg, f64)>, bool)], of_all: bool) -> Learned {
    let (mut days, mut counted) = (0.0, 0.0);
    let (mut days_with_program, mut counted_with_program, mut programmed) = (0.0, 0.0, 0.0);
    for (leg, rate) in pieces.iter().rev().flat_map(|(piece, _)| piece.iter().rev()) {
        let take = leg.days().min(LEARNED_FROM_DAYS - days);
        if take <= 0.0 {
            break;
        }
        days += take;
        counted += rate * take;
        if let Some(hours) = leg.counted_by(of_all) {
            days_with_program += take;
            counted_with_program += rate * take;
            programmed += hours * take;
        }
    }
    if days < LEAST_METERED_DAYS {
        return Learned::default();
    }
    let factor =
        (programmed > 0.0 && days_with_program >= LEAST_METERED_DAYS).then(|| counted_with_program / programmed);
    Learned {
        factor,
        rate: Some(counted / days),
        silent: days_with_program > 0.0 && programmed == 0.0 && counted > 0.0,
    }
}

/// Days outside the readings: the program with what the counter has taught, else the rate of late.
fn outside(
    metering: &Metering,
    speed: Speed,
    pump: &Pump,
    learned: Learned,
    after: NaiveDate,
    until: NaiveDate,
    runs: &mut Vec<Run>,
) {
    if until <= after {
        return;
    }
    for leg in clipped(metering.legs, after, until) {
        let of_rate = |rate: f64| rate * metering.share_of(&leg);
        let (hours_a_day, basis) = match (leg.programmed, learned) {
            (Some((own, _)), Learned { factor: Some(factor), .. }) => (own * factor, Some(Basis::Calibrated)),
            // The program says the pump never runs, and the counter says it does.
            (Some((own, _)), Learned { rate: Some(rate), silent: true, .. }) if own == 0.0 && !leg.still => {
                (of_rate(rate), Some(Basis::Estimated))
            }
            (Some((own, _)), _) => {
                let basis = if pump.usual_program {
                    Basis::Assumed
                } else if leg.occupation_unknown {
                    Basis::Estimated
                } else {
                    Basis::Programmed
                };
                (own, Some(basis))
            }
            (None, Learned { rate: Some(rate), .. }) if !metering.of_all || metering.stand_in.is_some() => {
                (of_rate(rate), Some(Basis::Estimated))
            }
            (None, _) => (0.0, None),
        };
        let ceiling = if speed == Speed::All { 24.0 } else { leg.ceiling };
        runs.push(Run {
            from: leg.from,
            to: leg.to,
            hours_a_day: hours_a_day.min(ceiling),
            basis,
            between_readings: false,
            hours_to_end: 0.0,
        });
    }
}

/// Hours a day for each of some stretches (days, program's hours a day, the most hours a day) so that they
/// add up to `hours`, in proportion to the program, evenly where there is none, and never over the
/// most: what would exceed it goes to the other days. Also gives the hours that find no room.
pub fn spread(hours: f64, stretches: &[(f64, f64, f64)]) -> (Vec<f64>, f64) {
    let mut rates = vec![0.0; stretches.len()];
    let mut rest = hours;
    for with_program in [true, false] {
        let mut open: Vec<usize> = (0..stretches.len())
            .filter(|i| (stretches[*i].1 > 0.0) == with_program && stretches[*i].0 > 0.0 && stretches[*i].2 > 0.0)
            .collect();
        while rest > 1e-12 && !open.is_empty() {
            let weight = |i: usize| if with_program { stretches[i].1 } else { 1.0 };
            let total: f64 = open.iter().map(|i| stretches[*i].0 * weight(*i)).sum();
            let factor = rest / total;
            let full: Vec<usize> = open.iter().copied().filter(|i| factor * weight(*i) > stretches[*i].2).collect();
            if full.is_empty() {
                for i in open.drain(..) {
                    rates[i] = factor * weight(i);
                }
                rest = 0.0;
            } else {
                for i in full {
                    rates[i] = stretches[i].2;
                    rest -= stretches[i].2 * stretches[i].0;
                    open.retain(|o| *o != i);
                }
            }
        }
        if rest <= 1e-12 {
            break;
        }
    }
    (rates, rest.max(0.0))
}

/// The models that have stood at a pump's address, each from its day on.
pub fn models<'a>(fleet: &'a Fleet, site: &Site, pump: &Pump) -> Vec<(NaiveDate, Option<&'a Model>)> {
    let mut models = vec![(NaiveDate::MIN, fleet.model(pump))];
    for (_, visit, entry) in site.entries(&pump.at) {
        if let Some(exchange) = &entry.exchanged {
            let model = match &exchange.model {
                Some(name) => fleet.models.get(&name.0),
                None => models.last().and_then(|(_, m)| *m),
            };
            models.push((visit.date.0, model));
        }
    }
    models
}

/// The name of the model that stands at a pump's address now.
pub fn model_now(site: &Site, pump: &Pump) -> Option<String> {
    site.entries(&pump.at)
        .filter_map(|(_, _, entry)| entry.exchanged.as_ref()?.model.as_ref())
        .last()
        .or(pump.model.as_ref())
        .map(|name| name.0.clone())
}
