//! How much will each pump run? Twelve months from the as-of day, per speed, with a range of the
//! cumulative use; due dates are crossings of it.
//!
//! The program in force goes on, corrected by what the counter has shown; where programs change with the season, or the
//! counter does beside them, so do the months to come. Nights are those booked; where a month is usually fuller than
//! it is booked yet, the usual share is expected.

mod metered;
mod nights;

pub use metered::Season;

use std::borrow::Cow;

use chrono::NaiveDate;

use crate::basis::{Basis, CENTRAL_80};
use crate::calendar::{Month, days_between, plus_days};
use crate::quantities::hours_spread::Spread;
use crate::quantities::program::{self, Stretch};
use crate::quantities::run_hours::RunHours;
use crate::records::tubs::{ProgramFile, Speed};
use crate::records::{Pump, Site, Spa};
use metered::{Metered, metered};
use nights::UsualOccupation;

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
    /// How each speed's hours over its program change with the month.
    pub seasons: Vec<(Speed, Season)>,
    /// Whether its programs change with the season, so that last year's changes are expected again.
    pub seasonal_programs: bool,
    cumulative: Vec<(NaiveDate, f64)>,
}

/// Days in a month on the average.
const MONTH_DAYS: f64 = 30.44;

/// Forecasts a pump's hours. `None` if its use now is not known.
pub fn forecast(site: &Site, spa: &Spa, pump: &Pump, hours: &RunHours, as_of: NaiveDate) -> Option<Forecast> {
    if hours.end < as_of || hours.curves.is_empty() {
        return None;
    }
    let usual = UsualOccupation::of(spa, as_of);
    let last = Month::of(plus_days(as_of, 1)).plus(11).last();
    let programs = program::expected(&pump.programs, as_of);
    let seasonal_programs = programs.len() > pump.programs.len();
    let pump = if seasonal_programs { Cow::Owned(Pump { programs, ..pump.clone() }) } else { Cow::Borrowed(pump) };
    let pump = pump.as_ref();
    let coming = program::stretches(site, spa, pump, (plus_days(as_of, 1), last), as_of);
    let shown: Vec<Metered> = hours.curves.iter().map(|curve| metered(site, spa, pump, hours, curve)).collect();
    let first = Month::of(plus_days(as_of, 1));
    let mut total = 0.0;
    let mut cumulative = vec![(as_of, 0.0)];
    let mut by_guests = vec![0.0; hours.curves.len()];
    let mut by_speed = vec![0.0; hours.curves.len()];
    let mut by_month: Vec<(Month, Vec<f64>)> = Vec::new();
    for month in first.through(first.plus(11)) {
        let from = month.first().max(plus_days(as_of, 1));
        let days = days_between(from, month.last()) + 1;
        let mut room = 24.0 * days as f64;
        let mut expected = vec![0.0; hours.curves.len()];
        // High before low, which gets what is left of the days.
        for (index, curve) in hours.curves.iter().enumerate().rev() {
            // What is usual elsewhere says less than this pump's own counter, and so does a program that says it never runs.
            let own = curve.rate.is_none() || !(pump.usual_program || curve.silent);
            let hours_of_month = match program::in_force(&pump.programs, from).filter(|_| own) {
                Some(program) => {
                    let factor = curve.factor.unwrap_or(1.0);
                    by_guests[index] += factor * hours_by_guests(program, curve.speed) * f64::from(month.days());
                    factor * expected_by_program(site, program, &coming, curve.speed, (from, month.last()), &usual)
                }
                None => rate_of_late(site, hours, curve.speed)? * (days - site.closed_days(from, month.last())) as f64,
            };
            expected[index] = (hours_of_month * shown[index].season.over_learned(month)).min(room);
            room -= expected[index];
            total += expected[index];
            by_speed[index] += expected[index];
        }
        by_month.push((month, expected));
        cumulative.push((month.last(), total));
    }
    let spreads: Vec<Spread> = shown
        .iter()
        .zip(by_speed.iter().zip(by_guests))
        .map(|(of, (hours, by_guests))| {
            let mut spread = Spread::of(&of.stretches);
            spread.month *= of.season.fitted();
            if *hours > 0.0 {
                // Nights still to be booked add to what a counter shows beside the program.
                spread.month = spread.month.hypot(usual.spread * by_guests / hours);
            }
            spread
        })
        .collect();
    let mut result = Forecast {
        months: Vec::new(),
        from: as_of,
        spread: Spread::of_sum(&spreads.iter().copied().zip(by_speed).collect::<Vec<_>>()),
        // What has been metered says how the program is to be corrected; the coming months are not metered.
        basis: match hours.basis_now() {
            Some(Basis::Metered) => Basis::Calibrated,
            basis => basis.unwrap_or(Basis::Estimated),
        },
        seasons: hours.curves.iter().map(|curve| curve.speed).zip(shown.iter().map(|of| of.season)).collect(),
        seasonal_programs,
        cumulative,
    };
    let mut sums = vec![0.0; hours.curves.len()];
    for (index, (month, expected)) in by_month.into_iter().enumerate() {
        let of_speeds = hours.curves.iter().zip(expected).zip(&spreads);
        for (((curve, expected), spread), sum) in of_speeds.zip(&mut sums) {
            let spread = CENTRAL_80 * spread.of_months(index as f64 + 1.0);
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

/// Hours a day of the last 365 days, those of closed seasons out.
fn rate_of_late(site: &Site, hours: &RunHours, speed: Speed) -> Option<f64> {
    let curve = hours.curves.iter().find(|c| c.speed == speed)?;
    let from = plus_days(hours.end, -365).max(hours.start);
    let days = days_between(from, hours.end) - site.closed_days(plus_days(from, 1), hours.end);
    let of_late = (days > 0).then(|| curve.hours_between(from, hours.end)).flatten().map(|sum| sum / days as f64);
    of_late.or(curve.rate)
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

#[cfg(test)]
mod tests;
