//! How much will each pump run? Twelve months from the as-of day, per speed, with a range of the
//! cumulative use; due dates are crossings of it.
//!
//! The program in force goes on, corrected by what the counter has shown. Nights are those booked;
//! where a month is usually fuller than it is booked yet, the usual share is expected.

use chrono::NaiveDate;

use crate::basis::{Basis, CENTRAL_80};
use crate::calendar::{Month, days_between, plus_days};
use crate::quantities::hours_spread::{MeteredStretch, Spread};
use crate::quantities::program::{self, Stretch};
use crate::quantities::run_hours::{Curve, RunHours};
use crate::records::tubs::{ProgramFile, Speed};
use crate::records::{Pump, Site, Spa};

/// A month to come.
#[derive(Debug, Clone)]
pub struct ForecastMonth {
    /// The month.
    pub month: Month,
    /// The speed.
    pub speed: Speed,
    /// Hours expected in the month.
    pub hours: f64,
    /// The low end of the sum from the as-of day to the month's end.
    pub low: f64,
    /// The high end of that sum.
    pub high: f64,
}

/// The hours to come of a pump.
#[derive(Debug, Clone)]
pub struct Forecast {
    /// Months by speed.
    pub months: Vec<ForecastMonth>,
    /// The as-of day.
    pub from: NaiveDate,
    /// How unsure the sum of some months is.
    pub spread: Spread,
    /// What the forecast rests on.
    pub basis: Basis,
    cumulative: Vec<(NaiveDate, f64)>,
}

/// Spread of the share of nights booked in a month where no two years of bookings show it: assumed.
const ASSUMED_OCCUPATION_SPREAD: f64 = 0.15;
/// As how many months of bookings that assumption counts against those there are: assumed.
const ASSUMED_COUNTS_AS: f64 = 1.0;
/// Days that a stretch between readings must have: in a shorter one the time of day of the readings tells.
const STRETCH_DAYS: i64 = 28;
/// Days of readings that the spread is learned from.
const LEARNED_FROM_DAYS: i64 = 3 * 365;
/// Days in a month on the average.
const MONTH_DAYS: f64 = 30.44;

/// Forecasts a pump's hours. `None` if its use now is not known.
pub fn forecast(site: &Site, spa: &Spa, pump: &Pump, hours: &RunHours, as_of: NaiveDate) -> Option<Forecast> {
    if hours.end < as_of || hours.curves.is_empty() {
        return None;
    }
    let usual = UsualOccupation::of(spa, as_of);
    let last = Month::of(plus_days(as_of, 1)).plus(11).last();
    let coming = program::stretches(site, spa, pump, (plus_days(as_of, 1), last), as_of);
    let mut result = Forecast {
        months: Vec::new(),
        from: as_of,
        spread: Spread::of(&metered_stretches(site, spa, pump, hours)),
        // What has been metered says how the program is to be corrected; the coming months are not metered.
        basis: match hours.basis_now() {
            Some(Basis::Metered) => Basis::Calibrated,
            basis => basis.unwrap_or(Basis::Estimated),
        },
        cumulative: vec![(as_of, 0.0)],
    };
    let first = Month::of(plus_days(as_of, 1));
    let mut total = 0.0;
    let mut by_guests = 0.0;
    let mut by_speed = vec![0.0; hours.curves.len()];
    let mut by_month: Vec<(Month, Vec<f64>)> = Vec::new();
    for month in first.through(first.plus(11)) {
        let from = month.first().max(plus_days(as_of, 1));
        let mut room = 24.0 * (days_between(from, month.last()) + 1) as f64;
        let mut expected = vec![0.0; hours.curves.len()];
        // High before low, which gets what is left of the days.
        for (curve, expected) in hours.curves.iter().zip(&mut expected).rev() {
            // What is usual elsewhere says less than this pump's own counter.
            let own = !pump.usual_program || curve.rate.is_none();
            let hours_of_month = match program::in_force(&pump.programs, from).filter(|_| own) {
                Some(program) => {
                    let factor = curve.factor.unwrap_or(1.0);
                    by_guests += factor * hours_by_guests(program, curve.speed) * f64::from(month.days());
                    factor * expected_by_program(site, program, &coming, curve.speed, (from, month.last()), &usual)
                }
                None => rate_of_late(hours, curve.speed)? * (days_between(from, month.last()) + 1) as f64,
            };
            *expected = hours_of_month.min(room);
            room -= *expected;
            total += *expected;
        }
        by_month.push((month, expected));
        result.cumulative.push((month.last(), total));
    }
    if total > 0.0 {
        // Nights still to be booked add to what a counter shows beside the program.
        result.spread.month = result.spread.month.hypot(usual.spread * by_guests / total);
    }
    for (index, (month, expected)) in by_month.into_iter().enumerate() {
        let spread = CENTRAL_80 * result.spread.of_months(index as f64 + 1.0);
        for ((curve, expected), sum) in hours.curves.iter().zip(expected).zip(&mut by_speed) {
            *sum += expected;
            result.months.push(ForecastMonth {
                month,
                speed: curve.speed,
                hours: expected,
                low: (*sum * (1.0 - spread)).max(0.0),
                high: (*sum * (1.0 + spread)).min(24.0 * days_between(as_of, month.last()) as f64),
            });
        }
    }
    Some(result)
}

/// Hours a day by which guests change what a program runs.
fn hours_by_guests(program: &ProgramFile, speed: Speed) -> f64 {
    let at = |occupied: bool| -> f64 {
        let hours = program::hours_on(program, occupied).into_iter();
        hours.filter(|(s, _)| *s == speed || speed == Speed::All).map(|(_, h)| h).sum()
    };
    (at(true) - at(false)).abs()
}

impl Forecast {
    /// Hours expected over the twelve months, all speeds.
    pub fn year(&self) -> f64 {
        self.cumulative.last().map_or(0.0, |(_, hours)| *hours)
    }

    /// Hours expected up to the end of a day; beyond the twelve months at their rate.
    pub fn hours_until(&self, day: NaiveDate) -> f64 {
        for pair in self.cumulative.windows(2) {
            let ((from, before), (to, after)) = (pair[0], pair[1]);
            if day <= to {
                let share = days_between(from, day).max(0) as f64 / days_between(from, to).max(1) as f64;
                return before + (after - before) * share;
            }
        }
        let last = self.cumulative.last().map_or(self.from, |(last, _)| *last);
        self.year() * days_between(self.from, day) as f64 / days_between(self.from, last).max(1) as f64
    }

    /// The day by whose end `hours` more have run, if the use is `factor` times the expected one.
    fn crossing(&self, hours: f64, factor: f64) -> Option<NaiveDate> {
        for pair in self.cumulative.windows(2) {
            let ((from, before), (to, after)) = (pair[0], pair[1]);
            if after * factor >= hours - 1e-9 {
                let days = days_between(from, to) as f64;
                let share = (hours - before * factor) / ((after - before) * factor);
                return Some(plus_days(from, ((days * share - 1e-9).ceil() as i64).max(1)));
            }
        }
        let (last, total) = *self.cumulative.last()?;
        let rate = total * factor / days_between(self.from, last) as f64;
        let days = (hours - total * factor) / rate;
        (rate > 1e-9 && days < 36_525.0).then(|| plus_days(last, (days - 1e-9).ceil() as i64))
    }

    /// The day by whose end `hours` more have run, with the ends of its central 80 %; `None` if that
    /// is beyond a hundred years.
    ///
    /// `unmetered` are hours up to the as-of day that count toward them but that no counter brackets: they
    /// are as unsure as the level, and wrong in the same direction.
    pub fn day_of(&self, hours: f64, unmetered: f64) -> Option<(NaiveDate, Option<NaiveDate>, Option<NaiveDate>)> {
        let expected = self.crossing(hours, 1.0)?;
        let months = (days_between(self.from, expected) as f64 / MONTH_DAYS).max(1.0);
        let spread = (CENTRAL_80 * self.spread.of_months(months)).min(0.9);
        let level = self.level();
        let early = self.crossing((hours - level * unmetered).max(0.0), 1.0 + spread);
        let late = self.crossing(hours + level * unmetered, 1.0 - spread);
        Some((expected, early, late))
    }

    /// Half the width of the central 80 % of the level of use, as a share of it.
    pub fn level(&self) -> f64 {
        (CENTRAL_80 * self.spread.level).min(0.9)
    }

    /// The hours of the first so many months with the ends of their central 80 %, all speeds.
    pub fn sum_of_months(&self, months: usize) -> Option<(f64, f64, f64)> {
        let (last, expected) = *self.cumulative.get(months)?;
        let of_last = self.months.iter().filter(|m| m.month.last() == last);
        let (low, high) = of_last.fold((0.0, 0.0), |(low, high), m| (low + m.low, high + m.high));
        Some((expected, low, high.min(24.0 * days_between(self.from, last) as f64)))
    }
}

/// Hours a day over the last 365 days.
fn rate_of_late(hours: &RunHours, speed: Speed) -> Option<f64> {
    let curve = hours.curves.iter().find(|c| c.speed == speed)?;
    let from = plus_days(hours.end, -365).max(hours.start);
    let days = days_between(from, hours.end);
    (days > 0).then(|| curve.hours_between(from, hours.end)).flatten().map(|sum| sum / days as f64)
}

/// The program's hours in some days to come, nights as booked or as usual, whichever is more.
fn expected_by_program(
    site: &Site,
    program: &ProgramFile,
    coming: &[Stretch],
    speed: Speed,
    (from, to): (NaiveDate, NaiveDate),
    usual: &UsualOccupation,
) -> f64 {
    let begin = coming.partition_point(|s| s.to < from);
    let booked: f64 = coming[begin..]
        .iter()
        .take_while(|s| s.from <= to)
        .map(|s| s.at(speed) * (days_between(s.from.max(from), s.to.min(to)) + 1) as f64)
        .sum();
    if program.occupied.is_none() {
        return booked;
    }
    let Some(share) = usual.share(Month::of(from)) else { return booked };
    let hours_at = |occupied: bool| {
        program::hours_on(program, occupied).into_iter().find(|(s, _)| *s == speed).map_or(0.0, |(_, h)| h)
    };
    let days = (days_between(from, to) + 1) as f64;
    let open = days - site.closed_days(from, to) as f64;
    let nights_booked = usual.nights(from, to);
    let more = (share * open - nights_booked).max(0.0);
    booked + more * (hours_at(true) - hours_at(false))
}

/// How many nights are usually booked, by month of the year.
struct UsualOccupation {
    occupied: Vec<(NaiveDate, NaiveDate)>,
    by_month: [Option<f64>; 12],
    overall: Option<f64>,
    /// The spread of a month's share of nights booked about the usual one.
    spread: f64,
}

impl UsualOccupation {
    fn of(spa: &Spa, as_of: NaiveDate) -> Self {
        let occupied = spa.stays.as_ref().map(|s| s.occupied()).unwrap_or_default();
        let mut usual = Self { occupied, by_month: [None; 12], overall: None, spread: 0.0 };
        let Some((first, _)) = usual.occupied.first().copied() else { return usual };
        let (mut all_nights, mut all_days) = (0.0, 0.0);
        let mut shares: Vec<f64> = Vec::new();
        let mut sums = [(0.0, 0.0); 12];
        let last = Month::of(as_of);
        for month in Month::of(first).next().max(last.plus(-35)).through(last) {
            let (nights, days) = (usual.nights(month.first(), month.last()), f64::from(month.days()));
            let sum = &mut sums[month.number() as usize - 1];
            sum.0 += nights;
            sum.1 += days;
            all_nights += nights;
            all_days += days;
            shares.push(nights / days);
        }
        for (share, (nights, days)) in usual.by_month.iter_mut().zip(sums) {
            *share = (days > 0.0).then(|| nights / days);
        }
        usual.overall = (all_days > 0.0).then(|| all_nights / all_days);
        // The same month of two years differs by the root of two spreads.
        let pairs = shares.len().saturating_sub(12);
        let squares: f64 = shares.iter().skip(12).zip(&shares).map(|(now, before)| (now - before).powi(2) / 2.0).sum();
        usual.spread = ((ASSUMED_COUNTS_AS * ASSUMED_OCCUPATION_SPREAD.powi(2) + squares)
            / (ASSUMED_COUNTS_AS + pairs as f64))
            .sqrt();
        // What is usual is itself the mean of so many years only.
        let years = (shares.len() as f64 / 12.0).max(1.0);
        usual.spread *= (1.0 + 1.0 / years).sqrt();
        usual
    }

    fn share(&self, month: Month) -> Option<f64> {
        self.by_month[month.number() as usize - 1].or(self.overall)
    }

    /// Nights booked in some days, both counted.
    fn nights(&self, from: NaiveDate, to: NaiveDate) -> f64 {
        let end = plus_days(to, 1);
        let begin = self.occupied.partition_point(|(_, leaving)| *leaving <= from);
        self.occupied[begin..]
            .iter()
            .take_while(|(first, _)| *first < end)
            .map(|(first, leaving)| days_between((*first).max(from), (*leaving).min(end)).max(0) as f64)
            .sum()
    }
}

/// The stretches between a pump's readings over the last years, of the speed that runs longest: what the
/// counter gained and what the program would have given.
fn metered_stretches(site: &Site, spa: &Spa, pump: &Pump, hours: &RunHours) -> Vec<MeteredStretch> {
    let counted = |curve: &&Curve| curve.hours_until(hours.end);
    let metered = hours.curves.iter().filter(|c| c.readings.len() > 1);
    let Some(curve) = metered.max_by(|a, b| counted(a).total_cmp(&counted(b))) else { return Vec::new() };
    let counter = curve.counter.unwrap_or(curve.speed);
    let recent = curve.readings.partition_point(|p| days_between(p.day, hours.end) > LEARNED_FROM_DAYS);
    let points = &curve.readings[recent..];
    let Some(first) = points.first() else { return Vec::new() };
    let mut programs = program::stretches(site, spa, pump, (plus_days(first.day, 1), hours.end), hours.end);
    if pump.usual_program {
        for stretch in &mut programs {
            stretch.hours = None;
        }
    }
    let mut all = Vec::new();
    let mut end = points.len();
    while let Some(to) = end.checked_sub(1).map(|index| points[index]) {
        let begin = points[..end].partition_point(|p| days_between(p.day, to.day) >= STRETCH_DAYS);
        let Some(from) = begin.checked_sub(1).map(|index| points[index]) else { break };
        end = begin;
        let counted = to.hours - from.hours;
        let programmed = programmed_between(&programs, counter, from.day, to.day);
        let sound = curve.metered_days_between(from.day, to.day) == days_between(from.day, to.day);
        // A counter set back begins anew, a closed season shows nothing, and days in doubt are no measurement.
        if counted >= 0.0 && programmed > 0.0 && sound {
            let months = days_between(from.day, to.day) as f64 / MONTH_DAYS;
            all.push(MeteredStretch { months, counted, programmed });
        }
    }
    all.reverse();
    all
}

/// The program's hours after one day up to another; the days themselves where there is no program.
fn programmed_between(stretches: &[Stretch], counter: Speed, after: NaiveDate, until: NaiveDate) -> f64 {
    let begin = stretches.partition_point(|s| s.to <= after);
    stretches[begin..]
        .iter()
        .take_while(|s| s.from <= until)
        .map(|s| {
            let days = days_between(s.from.max(plus_days(after, 1)), s.to.min(until)) + 1;
            days as f64 * if s.hours.is_some() { s.at(counter) } else { 1.0 }
        })
        .sum()
}
