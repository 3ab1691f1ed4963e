//! How much will each pump run? Twelve months from the as-of day, per speed, with a range of the
//! cumulative use; due dates are crossings of it.
//!
//! The program in force goes on, corrected by what the counter has shown. Nights are those booked;
//! where a month is usually fuller than it is booked yet, the usual share is expected.

use chrono::NaiveDate;

use crate::basis::Basis;
use crate::calendar::{Month, days_between, plus_days};
use crate::quantities::program;
use crate::quantities::run_hours::RunHours;
use crate::records::tubs::Speed;
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
    /// The relative spread of the sum of `n` months is the root of `level`² + `month`²/n.
    pub level_spread: f64,
    /// The relative spread of one month.
    pub month_spread: f64,
    /// Whether the spread is a default, for want of metered months.
    pub spread_assumed: bool,
    /// What the forecast rests on.
    pub basis: Basis,
    cumulative: Vec<(NaiveDate, f64)>,
}

/// Half the width of a central 80 % range in standard deviations.
const CENTRAL_80: f64 = 1.281_551_565_5;
/// Spread of a month's hours where no counter has shown it: assumed.
const ASSUMED_MONTH_SPREAD: f64 = 0.20;
/// Spread of a pump's level where no counter has shown it: assumed.
const ASSUMED_LEVEL_SPREAD: f64 = 0.10;
/// Metered months without which a spread cannot be told.
const LEAST_MONTHS: usize = 6;

/// Forecasts a pump's hours. `None` if its use now is not known.
pub fn forecast(site: &Site, spa: &Spa, pump: &Pump, hours: &RunHours, as_of: NaiveDate) -> Option<Forecast> {
    if hours.end < as_of || hours.curves.is_empty() {
        return None;
    }
    let (level_spread, month_spread, spread_assumed) = spread_of(site, spa, pump, hours);
    let mut result = Forecast {
        months: Vec::new(),
        from: as_of,
        level_spread,
        month_spread,
        spread_assumed,
        basis: hours.basis_now().unwrap_or(Basis::Estimated),
        cumulative: vec![(as_of, 0.0)],
    };
    let first = Month::of(plus_days(as_of, 1));
    let usual = UsualOccupation::of(spa, as_of);
    let mut total = 0.0;
    let mut by_speed = vec![0.0; hours.curves.len()];
    for (index, month) in first.through(first.plus(11)).enumerate() {
        for (curve, sum) in hours.curves.iter().zip(&mut by_speed) {
            let from = month.first().max(plus_days(as_of, 1));
            let expected = match program::in_force(&pump.programs, from) {
                Some(_) => {
                    let factor = curve.factor.unwrap_or(1.0);
                    factor * expected_by_program(site, spa, pump, curve.speed, from, month.last(), &usual)
                }
                None => rate_of_late(hours, curve.speed)? * (days_between(from, month.last()) + 1) as f64,
            };
            let expected = expected.min(24.0 * (days_between(from, month.last()) + 1) as f64);
            *sum += expected;
            total += expected;
            let spread = CENTRAL_80 * result.spread(index as f64 + 1.0);
            result.months.push(ForecastMonth {
                month,
                speed: curve.speed,
                hours: expected,
                low: (*sum * (1.0 - spread)).max(0.0),
                high: (*sum * (1.0 + spread)).min(24.0 * days_between(as_of, month.last()) as f64),
            });
        }
        result.cumulative.push((month.last(), total));
    }
    Some(result)
}

impl Forecast {
    fn spread(&self, months: f64) -> f64 {
        (self.level_spread.powi(2) + self.month_spread.powi(2) / months.max(1.0)).sqrt()
    }

    /// Hours expected over the twelve months, all speeds.
    pub fn year(&self) -> f64 {
        self.cumulative.last().map_or(0.0, |(_, hours)| *hours)
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
    pub fn day_of(&self, hours: f64) -> Option<(NaiveDate, Option<NaiveDate>, Option<NaiveDate>)> {
        let expected = self.crossing(hours, 1.0)?;
        let months = (days_between(self.from, expected) as f64 / 30.44).max(1.0);
        let spread = (CENTRAL_80 * self.spread(months)).min(0.9);
        Some((expected, self.crossing(hours, 1.0 + spread), self.crossing(hours, 1.0 - spread)))
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
    spa: &Spa,
    pump: &Pump,
    speed: Speed,
    from: NaiveDate,
    to: NaiveDate,
    usual: &UsualOccupation,
) -> f64 {
    let stretches = program::stretches(site, spa, pump, from, to);
    let booked: f64 = stretches.iter().map(|s| s.at(speed) * s.days()).sum();
    let Some(program) = program::in_force(&pump.programs, from).filter(|p| p.occupied.is_some()) else { return booked };
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
}

impl UsualOccupation {
    fn of(spa: &Spa, as_of: NaiveDate) -> Self {
        let occupied = spa.stays.as_ref().map(|s| s.occupied()).unwrap_or_default();
        let mut usual = Self { occupied, by_month: [None; 12], overall: None };
        let Some((first, _)) = usual.occupied.first().copied() else { return usual };
        let (mut all_nights, mut all_days) = (0.0, 0.0);
        let mut sums = [(0.0, 0.0); 12];
        let last = Month::of(as_of);
        for month in Month::of(first).next().max(last.plus(-35)).through(last) {
            let (nights, days) = (usual.nights(month.first(), month.last()), f64::from(month.days()));
            let sum = &mut sums[month.number() as usize - 1];
            sum.0 += nights;
            sum.1 += days;
            all_nights += nights;
            all_days += days;
        }
        for (share, (nights, days)) in usual.by_month.iter_mut().zip(sums) {
            *share = (days > 0.0).then(|| nights / days);
        }
        usual.overall = (all_days > 0.0).then(|| all_nights / all_days);
        usual
    }

    fn share(&self, month: Month) -> Option<f64> {
        self.by_month[month.number() as usize - 1].or(self.overall)
    }

    /// Nights booked in some days, both counted.
    fn nights(&self, from: NaiveDate, to: NaiveDate) -> f64 {
        let end = plus_days(to, 1);
        self.occupied
            .iter()
            .map(|(first, leaving)| days_between((*first).max(from), (*leaving).min(end)).max(0) as f64)
            .sum()
    }
}

/// How far metered months lie from what the program would have given, corrected by the counter.
fn spread_of(site: &Site, spa: &Spa, pump: &Pump, hours: &RunHours) -> (f64, f64, bool) {
    let since = hours.exchanges.last().copied().unwrap_or(hours.start);
    let mut ratios = Vec::new();
    for month in Month::of(hours.end).plus(-23).through(Month::of(hours.end)) {
        if month.first() <= since || month.last() > hours.end {
            continue;
        }
        let rows: Vec<_> = hours.months.iter().filter(|m| m.month == month).collect();
        if rows.is_empty() || rows.iter().any(|m| m.metered_fraction < 0.9) {
            continue;
        }
        let actual: f64 = rows.iter().filter_map(|m| m.hours).sum();
        let programmed: f64 = program::stretches(site, spa, pump, month.first(), month.last())
            .iter()
            .map(|s| s.at(Speed::All) * s.days())
            .sum();
        if programmed > 0.0 {
            ratios.push(actual / programmed);
        }
    }
    if ratios.len() < LEAST_MONTHS {
        return (ASSUMED_LEVEL_SPREAD, ASSUMED_MONTH_SPREAD, true);
    }
    let n = ratios.len() as f64;
    let mean = ratios.iter().sum::<f64>() / n;
    if mean <= 0.0 {
        return (ASSUMED_LEVEL_SPREAD, ASSUMED_MONTH_SPREAD, true);
    }
    let variance = ratios.iter().map(|r| (r - mean).powi(2)).sum::<f64>() / (n - 1.0);
    let month = (variance.sqrt() / mean).max(0.01);
    // Next year is not this year: a level never seen to move may still move.
    ((month / n.sqrt()).hypot(0.03), month, false)
}
