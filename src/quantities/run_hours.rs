//! What has each pump run? Cumulative hours per pump and speed, from counters, programs, both or
//! neither, and the months as differences of two values.
//!
//! Between two readings the counter's difference is spread in proportion to the program; outside
//! them the program, corrected by what the counter has shown, gives the hours.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::basis::{Basis, Source};
use crate::calendar::{Month, days_between, plus_days};
use crate::quantities::program::{self, Stretch};
use crate::records::counters::{self, Counters, Point};
use crate::records::forms::{Dated, Money};
use crate::records::log::Quantity;
use crate::records::pumps::Model;
use crate::records::tubs::Speed;
use crate::records::{Fleet, Pump, Site, Spa};

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

    /// The records the hours now rest on: the last two readings of each counter.
    pub fn sources(&self) -> Vec<Source> {
        self.curves.iter().flat_map(|c| c.readings.iter().rev().take(2).map(|p| p.source.clone())).collect()
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
}

/// Computes what a pump has run up to a day. `None` if nothing says when it began.
pub fn run_hours(fleet: &Fleet, site: &Site, spa: &Spa, pump: &Pump, as_of: NaiveDate) -> Option<RunHours> {
    let model = fleet.model(pump);
    let counters = counters::counters(site, pump, model, &fleet.typed_units());
    let start = start_of(site, pump, &counters)?;
    let end = counters.removed.map_or(as_of, |removed| removed.min(as_of));
    let mut result = RunHours {
        curves: Vec::new(),
        start,
        end,
        exchanges: counters.exchanges.clone(),
        set_aside: counters.set_aside.len(),
        months: Vec::new(),
    };
    if end <= start {
        return Some(result);
    }
    let programs = program::stretches(site, spa, pump, plus_days(start, 1), end);
    for speed in speeds_of(&programs, &counters, pump) {
        result.curves.push(curve_of(speed, pump, &counters, &programs, start, end));
    }
    if let Some(curve) = split_of_one_counter(&counters, &result.curves) {
        result.curves = curve;
    }
    result.curves.retain(|curve| curve.runs.iter().any(|run| run.basis.is_some()));
    months(fleet, site, pump, &mut result);
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

/// Where one counter serves two speeds, each speed's curve already holds its share.
fn split_of_one_counter(counters: &Counters, curves: &[Curve]) -> Option<Vec<Curve>> {
    let one_for_two = counters.counts.iter().any(|(speed, _)| *speed == Speed::All);
    let two = curves.iter().any(|c| c.speed == Speed::Low || c.speed == Speed::High);
    (one_for_two && two).then(|| {
        let mut curves = curves.to_vec();
        for run in curves.iter_mut().flat_map(|c| &mut c.runs) {
            if run.basis == Some(Basis::Metered) {
                run.basis = Some(Basis::Estimated);
            }
        }
        curves
    })
}

fn curve_of(
    speed: Speed,
    pump: &Pump,
    counters: &Counters,
    programs: &[Stretch],
    start: NaiveDate,
    end: NaiveDate,
) -> Curve {
    // The counter that counts this speed: its own, else the one that serves both.
    let counts = counters
        .counts
        .iter()
        .find(|(s, _)| *s == speed)
        .or_else(|| counters.counts.iter().find(|(s, _)| *s == Speed::All))
        .map(|(s, counts)| (*s, counts.as_slice()));
    let mut runs: Vec<Run> = Vec::new();
    let mut now = Learned::default();
    let mut readings = Vec::new();
    let mut unit_start = start;
    for unit in 0..=counters.exchanges.len() {
        let unit_end = counters.exchanges.get(unit).map_or(end, |day| (*day).min(end));
        // An exchange dated before the start changes nothing that is counted.
        if unit_end > unit_start || unit == counters.exchanges.len() {
            let mut learned = Learned::default();
            let mut intervals: Vec<(&Point, &Point)> = Vec::new();
            let mut counted = Speed::All;
            if let Some((counter, counts)) = counts {
                counted = counter;
                for count in counts.iter().filter(|c| c.unit == unit) {
                    intervals.extend(count.points.windows(2).map(|pair| (&pair[0], &pair[1])));
                }
                intervals.sort_by_key(|(from, _)| from.day);
                learned = learn(counter, &intervals, programs);
                if unit == counters.exchanges.len() {
                    readings = counts.iter().filter(|c| c.unit == unit).flat_map(|c| c.points.clone()).collect();
                }
            }
            let mut at = unit_start;
            for (from, to) in intervals {
                let (first, last) = (from.day.max(at), to.day.min(unit_end));
                if last <= first {
                    continue;
                }
                outside(speed, counted, pump, learned, programs, at, first, &mut runs);
                // A reading from before the fitting gives its share only.
                let share = days_between(first, last) as f64 / days_between(from.day, to.day) as f64;
                between(speed, counted, programs, first, last, (to.hours - from.hours) * share, &mut runs);
                at = last;
            }
            outside(speed, counted, pump, learned, programs, at, unit_end, &mut runs);
            if unit == counters.exchanges.len() {
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
    Curve { speed, runs, factor: now.factor, readings }
}

/// The parts of the programs' stretches after one day up to another.
fn clipped(programs: &[Stretch], after: NaiveDate, until: NaiveDate) -> impl Iterator<Item = Stretch> + '_ {
    let begin = programs.partition_point(move |s| s.to <= after);
    programs[begin..].iter().take_while(move |s| s.from <= until).map(move |s| Stretch {
        from: s.from.max(plus_days(after, 1)),
        to: s.to.min(until),
        ..s.clone()
    })
}

fn learn(counter: Speed, intervals: &[(&Point, &Point)], programs: &[Stretch]) -> Learned {
    let (mut days, mut counted, mut programmed) = (0.0, 0.0, 0.0);
    let mut programmed_days = 0.0;
    for (from, to) in intervals.iter().rev() {
        let length = days_between(from.day, to.day) as f64;
        let take = length.min(LEARNED_FROM_DAYS - days);
        if take <= 0.0 {
            break;
        }
        let after = plus_days(to.day, -(take as i64));
        days += take;
        counted += (to.hours - from.hours) * take / length;
        for stretch in clipped(programs, after, to.day) {
            if stretch.hours.is_some() {
                programmed += stretch.at(counter) * stretch.days();
                programmed_days += stretch.days();
            }
        }
    }
    if days < LEAST_METERED_DAYS {
        return Learned::default();
    }
    let factor = (programmed > 0.0 && programmed_days > days - 0.5).then(|| counted / programmed);
    Learned { factor, rate: Some(counted / days) }
}

/// Days outside the readings: the program with what the counter has taught, else the rate of late.
#[expect(clippy::too_many_arguments, reason = "the state of one curve, used in one place")]
fn outside(
    speed: Speed,
    counter: Speed,
    pump: &Pump,
    learned: Learned,
    programs: &[Stretch],
    after: NaiveDate,
    until: NaiveDate,
    runs: &mut Vec<Run>,
) {
    if until <= after {
        return;
    }
    for stretch in clipped(programs, after, until) {
        let (hours_a_day, basis) = match (&stretch.hours, learned) {
            (Some(_), Learned { factor: Some(factor), .. }) => (stretch.at(speed) * factor, Some(Basis::Calibrated)),
            (Some(_), Learned { rate: Some(rate), .. }) if counter == speed => (rate, Some(Basis::Estimated)),
            (Some(_), _) => {
                let basis = if pump.usual_program {
                    Basis::Assumed
                } else if stretch.occupation_unknown {
                    Basis::Estimated
                } else {
                    Basis::Programmed
                };
                (stretch.at(speed), Some(basis))
            }
            (None, Learned { rate: Some(rate), .. }) if counter == speed => (rate, Some(Basis::Estimated)),
            (None, _) => (0.0, None),
        };
        runs.push(Run {
            from: stretch.from,
            to: stretch.to,
            hours_a_day: hours_a_day.min(24.0),
            basis,
            between_readings: false,
            hours_to_end: 0.0,
        });
    }
}

/// Days between two readings: the counter's difference, spread in proportion to the program.
fn between(
    speed: Speed,
    counter: Speed,
    programs: &[Stretch],
    after: NaiveDate,
    until: NaiveDate,
    hours: f64,
    runs: &mut Vec<Run>,
) {
    let stretches: Vec<Stretch> = clipped(programs, after, until).collect();
    let weights: Vec<(f64, f64)> = stretches.iter().map(|s| (s.days(), s.at(counter))).collect();
    let rates = spread(hours, &weights);
    // Where the program names no hours, one counter's hours go by the programs' own proportion.
    let all: f64 = stretches.iter().map(|s| s.at(Speed::All) * s.days()).sum();
    let own: f64 = stretches.iter().map(|s| s.at(speed) * s.days()).sum();
    for (stretch, rate) in stretches.iter().zip(rates) {
        let share = if counter == speed {
            1.0
        } else if stretch.at(Speed::All) > 0.0 {
            stretch.at(speed) / stretch.at(Speed::All)
        } else if all > 0.0 {
            own / all
        } else if speed == Speed::Low {
            1.0
        } else {
            0.0
        };
        runs.push(Run {
            from: stretch.from,
            to: stretch.to,
            hours_a_day: rate * share,
            basis: Some(Basis::Metered),
            between_readings: true,
            hours_to_end: 0.0,
        });
    }
}

/// Hours a day for each of some stretches (days, program's hours a day) so that they add up to
/// `hours`, in proportion to the program, evenly where there is none, and never over 24 a day: what
/// would exceed it goes to the other days.
pub fn spread(hours: f64, stretches: &[(f64, f64)]) -> Vec<f64> {
    let mut rates = vec![0.0; stretches.len()];
    let mut rest = hours;
    for with_program in [true, false] {
        let mut open: Vec<usize> =
            (0..stretches.len()).filter(|i| (stretches[*i].1 > 0.0) == with_program && stretches[*i].0 > 0.0).collect();
        while rest > 1e-12 && !open.is_empty() {
            let weight = |i: usize| if with_program { stretches[i].1 } else { 1.0 };
            let total: f64 = open.iter().map(|i| stretches[*i].0 * weight(*i)).sum();
            let factor = rest / total;
            let full: Vec<usize> = open.iter().copied().filter(|i| factor * weight(*i) > 24.0).collect();
            if full.is_empty() {
                for i in open.drain(..) {
                    rates[i] = factor * weight(i);
                }
                rest = 0.0;
            } else {
                for i in full {
                    rates[i] = 24.0;
                    rest -= 24.0 * stretches[i].0;
                    open.retain(|o| *o != i);
                }
            }
        }
        if rest <= 1e-12 {
            break;
        }
    }
    rates
}

fn months(fleet: &Fleet, site: &Site, pump: &Pump, hours: &mut RunHours) {
    let first = Month::of(plus_days(hours.start, 1));
    let last = Month::of(hours.end);
    let currents = Currents::new(fleet, site, pump, &hours.exchanges);
    for curve in &hours.curves {
        let mut runs = curve.runs.iter().peekable();
        for month in first.through(last) {
            let (from, to) = (month.first().max(plus_days(hours.start, 1)), month.last().min(hours.end));
            let mut days: BTreeMap<Basis, f64> = BTreeMap::new();
            let (mut metered_days, mut metered_hours, mut unknown, mut energy_hours) = (0.0, 0.0, false, Vec::new());
            while let Some(run) = runs.peek() {
                if run.from > to {
                    break;
                }
                let (begin, end) = (run.from.max(from), run.to.min(to));
                let length = (days_between(begin, end) + 1) as f64;
                match run.basis {
                    Some(basis) => *days.entry(basis).or_default() += length,
                    None => unknown = true,
                }
                if run.between_readings {
                    metered_days += length;
                    metered_hours += run.hours_a_day * length;
                }
                energy_hours.push((begin, end, run.hours_a_day));
                if run.to > to {
                    break;
                }
                runs.next();
            }
            let total: f64 = energy_hours.iter().map(|(b, e, rate)| rate * (days_between(*b, *e) + 1) as f64).sum();
            let known = !unknown;
            let kilowatts = currents.kilowatts(curve.speed, month);
            let basis = days.into_iter().max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0))).map(|(basis, _)| basis);
            hours.months.push(MonthHours {
                month,
                speed: curve.speed,
                hours: known.then_some(total),
                basis: if known { basis } else { None },
                metered_fraction: metered_days / (days_between(from, to) + 1) as f64,
                metered_hours,
                energy_kwh: if known { kilowatts.map(|kw| kw * total) } else { None },
                energy_cost: if known {
                    kilowatts.and_then(|kw| energy_cost(fleet.settings.electricity.as_ref()?, kw, &energy_hours))
                } else {
                    None
                },
            });
        }
    }
    hours.months.sort_by_key(|m| (m.month, m.speed));
}

/// The cost of running at a power, at the price of each day; `None` if a day has none.
fn energy_cost(price: &Dated<Money>, kilowatts: f64, runs: &[(NaiveDate, NaiveDate, f64)]) -> Option<f64> {
    use rust_decimal::prelude::ToPrimitive;
    let mut cost = 0.0;
    for (from, to, hours_a_day) in runs {
        let mut at = *from;
        while at <= *to {
            let until = match price {
                Dated::Always(_) => *to,
                Dated::From(steps) => {
                    let next = steps.iter().map(|(day, _)| *day).find(|day| *day > at);
                    next.map_or(*to, |next| plus_days(next, -1).min(*to))
                }
            };
            let hours = hours_a_day * (days_between(at, until) + 1) as f64;
            if hours > 0.0 {
                cost += price.on(at)?.0.to_f64()? * kilowatts * hours;
            }
            at = plus_days(until, 1);
        }
    }
    Some(cost)
}

/// Assumed of a single-phase motor under load, where only current and voltage are known.
pub const POWER_FACTOR: f64 = 0.9;
/// Assumed share of its input that a small motor gives at the shaft.
pub const MOTOR_EFFICIENCY: f64 = 0.7;

/// The currents measured at a pump, for its power.
struct Currents<'a> {
    /// Quantity, day and amperes, by day.
    measured: Vec<(Quantity, NaiveDate, f64)>,
    exchanges: &'a [NaiveDate],
    models: Vec<(NaiveDate, Option<&'a Model>)>,
}

impl<'a> Currents<'a> {
    fn new(fleet: &'a Fleet, site: &Site, pump: &Pump, exchanges: &'a [NaiveDate]) -> Self {
        let measured = site
            .readings
            .get(&pump.at)
            .into_iter()
            .flatten()
            .filter(|row| matches!(row.quantity, Quantity::Current | Quantity::CurrentLow))
            .map(|row| (row.quantity, row.day, row.value))
            .collect();
        Self { measured, exchanges, models: models(fleet, site, pump) }
    }

    /// The pump's input at a speed in a month.
    fn kilowatts(&self, speed: Speed, month: Month) -> Option<f64> {
        use uom::si::{electric_current::ampere, electric_potential::volt, power::kilowatt};
        let quantity = match speed {
            Speed::Run | Speed::High => Quantity::Current,
            Speed::Low => Quantity::CurrentLow,
            Speed::All => return None,
        };
        let last_day = month.last();
        let model = self.models.iter().rev().find(|(from, _)| *from <= last_day).and_then(|(_, model)| *model)?;
        let since = self.exchanges.iter().copied().filter(|day| *day <= last_day).max().unwrap_or(NaiveDate::MIN);
        let mine = |day: NaiveDate| day >= since && day <= last_day;
        let of_speed = || self.measured.iter().filter(|(q, day, _)| *q == quantity && mine(*day));
        let of_month: Vec<f64> =
            of_speed().filter(|(_, day, _)| Month::of(*day) == month).map(|(_, _, a)| *a).collect();
        let measured = if of_month.is_empty() {
            of_speed().next_back().map(|(_, _, a)| *a)
        } else {
            Some(of_month.iter().sum::<f64>() / of_month.len() as f64)
        };
        let stated = match speed {
            Speed::Run => model.current.run,
            Speed::Low => model.current.low,
            _ => model.current.high,
        };
        let current = measured.or_else(|| stated.map(|c| c.0.get::<ampere>()));
        let voltage = model.supply.and_then(|s| s.voltage).map(|v| v.0.get::<volt>());
        if let (Some(current), Some(voltage)) = (current, voltage) {
            let phases =
                if model.supply.and_then(|s| s.phases).is_some_and(|p| p.0 == 3.0) { 3f64.sqrt() } else { 1.0 };
            return Some(current * voltage * POWER_FACTOR * phases / 1000.0);
        }
        // The plate's power is that of full speed.
        if speed == Speed::Low {
            return None;
        }
        model.power.map(|power| power.0.get::<kilowatt>() / MOTOR_EFFICIENCY)
    }
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

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_would_exceed_a_day_goes_to_the_other_days() {
        // 10 days at 20 h and 10 at 2 h, 300 h in all: 300/220 of 20 h is over 24, so 240 h there and 60 h elsewhere.
        let rates = spread(300.0, &[(10.0, 20.0), (10.0, 2.0)]);
        assert!((rates[0] - 24.0).abs() < 1e-9 && (rates[1] - 6.0).abs() < 1e-9, "{rates:?}");
        // No program: evenly.
        assert_eq!(spread(100.0, &[(10.0, 0.0), (10.0, 0.0)]), [5.0, 5.0]);
        // The program's days are full: the rest goes to days without one.
        let rates = spread(300.0, &[(10.0, 1.0), (10.0, 0.0)]);
        assert!((rates[0] - 24.0).abs() < 1e-9 && (rates[1] - 6.0).abs() < 1e-9, "{rates:?}");
    }

    proptest! {
        #[test]
        fn spread_adds_up_and_never_exceeds_a_day(
            stretches in prop::collection::vec((1u32..60, 0u32..25), 1..8),
            share in 0.0f64..1.0,
        ) {
            let stretches: Vec<(f64, f64)> = stretches.iter().map(|(d, h)| (f64::from(*d), f64::from(*h))).collect();
            let most: f64 = stretches.iter().map(|(days, _)| days * 24.0).sum();
            let rates = spread(most * share, &stretches);
            let sum: f64 = rates.iter().zip(&stretches).map(|(rate, (days, _))| rate * days).sum();
            prop_assert!((sum - most * share).abs() < 1e-6);
            prop_assert!(rates.iter().all(|rate| (0.0..=24.0 + 1e-9).contains(rate)));
        }
    }
}
