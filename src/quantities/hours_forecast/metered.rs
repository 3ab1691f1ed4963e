//! What a pump's counter has shown beside its program over the last years: by how much it strays from it, stretch by
//! stretch, and whether it does so anew each year, which is its season.

use chrono::NaiveDate;

use crate::calendar::{Month, days_between, plus_days};
use crate::quantities::hours_spread::MeteredStretch;
use crate::quantities::program::{self, Stretch};
use crate::quantities::run_hours::{Curve, Run, RunHours};
use crate::records::tubs::Speed;
use crate::records::{Pump, Site, Spa};

/// Days that a stretch between readings must have: in a shorter one the time of day of the readings tells.
const STRETCH_DAYS: i64 = 28;
/// Days of readings that the spread and the season are learned from.
const LEARNED_FROM_DAYS: i64 = 3 * 365;
/// Metered days without which a month says nothing of its season: assumed.
const LEAST_DAYS_OF_MONTH: i64 = 20;
/// Months of a year without which it says nothing of the season: assumed.
const LEAST_MONTHS_OF_YEAR: usize = 6;
/// By how much the months must differ, as variance over that of one month from year to year, to be seen as a season.
/// With three years that is beyond what chance alone gives in nine cases of ten.
const CLEAR_SEASON: f64 = 2.0;

/// What one speed's counter has shown.
pub(super) struct Metered {
    /// Between readings, in the order of time.
    pub(super) stretches: Vec<MeteredStretch>,
    /// How its hours over the program's change with the month.
    pub(super) season: Season,
}

/// How a pump's hours over its program's change with the month of the year, as its counter has shown.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Season {
    /// January to December, over the mean of the year.
    pub by_month: [f64; 12],
    /// The years it is learned from; 0 = none is seen, and every month counts as the mean.
    pub years: usize,
    /// The mean over the days the counter's factor is learned from.
    learned_at: f64,
    /// By how much the scatter of months seems too small beside it.
    fitted: f64,
}

impl Default for Season {
    fn default() -> Self {
        Self { by_month: [1.0; 12], years: 0, learned_at: 1.0, fitted: 1.0 }
    }
}

/// Hours of a month's metered days, by the counter and by the program.
struct CountedMonth {
    month: Month,
    counted: f64,
    programmed: f64,
    days: i64,
    /// Whether the pump there now was there all along.
    of_unit_now: bool,
}

impl Season {
    /// What a month has over what the counter's factor says.
    pub(super) fn over_learned(&self, month: Month) -> f64 {
        self.of(month) / self.learned_at
    }

    /// By how much the spread about it is to be widened, for it was fitted to the same months.
    pub(super) fn fitted(&self) -> f64 {
        self.fitted
    }

    fn of(&self, month: Month) -> f64 {
        self.by_month[month.number() as usize - 1]
    }

    /// From months in the order of time; each year's own level is taken out, and what chance alone would show is
    /// taken off (the mean squares between months and within them, as in any analysis of variance).
    fn learned(months: &[CountedMonth]) -> Self {
        let Some(last) = months.last().map(|of| of.month) else { return Self::default() };
        let mut ratios: [Vec<f64>; 12] = Default::default();
        let mut years = 0;
        for year in 0i32.. {
            let (first, end) = (last.plus(-12 * year - 11), last.plus(-12 * year));
            if months[0].month > end {
                break;
            }
            let of_year = || months.iter().filter(|of| (first..=end).contains(&of.month));
            let sums = of_year().fold((0.0, 0.0), |sum, of| (sum.0 + of.counted, sum.1 + of.programmed));
            if of_year().count() < LEAST_MONTHS_OF_YEAR || sums.0 <= 0.0 {
                continue;
            }
            years += 1;
            for of in of_year() {
                ratios[of.month.number() as usize - 1].push(of.counted / of.programmed / (sums.0 / sums.1));
            }
        }
        let again: Vec<&Vec<f64>> = ratios.iter().filter(|of_month| of_month.len() > 1).collect();
        let count: usize = again.iter().map(|of_month| of_month.len()).sum();
        if years < 2 || again.len() < LEAST_MONTHS_OF_YEAR {
            return Self::default();
        }
        let mean = |of: &[f64]| of.iter().sum::<f64>() / of.len() as f64;
        let between: f64 = again.iter().map(|of| of.len() as f64 * (mean(of) - 1.0).powi(2)).sum();
        let within: f64 = again.iter().map(|of| of.iter().map(|r| (r - mean(of)).powi(2)).sum::<f64>()).sum();
        let (between, within) = (between / (again.len() - 1) as f64, within / (count - again.len()) as f64);
        // Below that it is a counter's rounding.
        if between < 1e-6 || between < CLEAR_SEASON * within {
            return Self::default();
        }
        let kept = 1.0 - within / between;
        let mut season = Self { years, ..Self::default() };
        for (by_month, of) in season.by_month.iter_mut().zip(&ratios).filter(|(_, of)| of.len() > 1) {
            *by_month = (1.0 + kept * (mean(of) - 1.0)).max(0.0);
        }
        let count = count as f64;
        season.fitted = (count / (count - kept * again.len() as f64)).sqrt();
        // What the factor was learned from: the last year of the pump there now.
        let (mut days, mut sum, mut weight) = (0, 0.0, 0.0);
        for of in months.iter().rev().take_while(|of| of.of_unit_now) {
            // A year, give or take the half of a month.
            if days >= 350 {
                break;
            }
            days += of.days;
            sum += of.programmed * season.of(of.month);
            weight += of.programmed;
        }
        if sum > 0.0 {
            season.learned_at = sum / weight;
        }
        season
    }
}

/// What a pump's counter has shown of one speed over the last years.
pub(super) fn metered(site: &Site, spa: &Spa, pump: &Pump, hours: &RunHours, curve: &Curve) -> Metered {
    let recent = curve.readings.partition_point(|p| days_between(p.day, hours.end) > LEARNED_FROM_DAYS);
    let points = &curve.readings[recent..];
    let Some(counter) = curve.counter.filter(|_| points.len() > 1) else {
        return Metered { stretches: Vec::new(), season: Season::default() };
    };
    let from = plus_days(hours.end, -LEARNED_FROM_DAYS).max(plus_days(hours.start, 1));
    let mut programs = program::stretches(site, spa, pump, (from, hours.end), hours.end);
    // Beside a counter that runs, a program that is only usual, or says it never does, says nothing.
    if pump.usual_program || curve.silent {
        for stretch in &mut programs {
            stretch.hours = None;
        }
    }
    let season = Season::learned(&counted_months(&programs, hours, curve, from));
    let mut stretches = Vec::new();
    let mut end = points.len();
    while let Some(to) = end.checked_sub(1).map(|index| points[index]) {
        let begin = points[..end].partition_point(|p| days_between(p.day, to.day) >= STRETCH_DAYS);
        let Some(from) = begin.checked_sub(1).map(|index| points[index]) else { break };
        end = begin;
        let counted = to.hours - from.hours;
        let programmed = if season.years == 0 {
            programmed_between(&programs, counter, from.day, to.day)
        } else {
            let months = Month::of(plus_days(from.day, 1)).through(Month::of(to.day));
            let of_month = |month: Month| {
                let after = from.day.max(plus_days(month.first(), -1));
                season.of(month) * programmed_between(&programs, counter, after, to.day.min(month.last()))
            };
            months.map(of_month).sum()
        };
        let sound = curve.metered_days_between(from.day, to.day) == days_between(from.day, to.day);
        // A counter set back begins anew, a closed season shows nothing, and days in doubt are no measurement.
        if counted >= 0.0 && programmed > 0.0 && sound {
            let months = days_between(from.day, to.day) as f64 / super::MONTH_DAYS;
            stretches.push(MeteredStretch { months, counted, programmed });
        }
    }
    stretches.reverse();
    Metered { stretches, season }
}

/// The whole months from a day on, of which enough days are metered.
fn counted_months(programs: &[Stretch], hours: &RunHours, curve: &Curve, from: NaiveDate) -> Vec<CountedMonth> {
    let first = Month::of(plus_days(from, -1)).next();
    let last = Month::of(plus_days(hours.end, 1)).plus(-1);
    let since = hours.exchanges.last().copied().unwrap_or(NaiveDate::MIN);
    let mut all = Vec::new();
    // Less than two years shows no season.
    if first.plus(12) > last {
        return all;
    }
    for month in first.through(last) {
        let begin = curve.runs.partition_point(|run| run.to < month.first());
        let inside = curve.runs[begin..].iter().take_while(|run| run.from <= month.last());
        let mut sum = CountedMonth {
            month,
            counted: 0.0,
            programmed: 0.0,
            days: 0,
            of_unit_now: plus_days(month.first(), -1) >= since,
        };
        for run in inside.filter(|run: &&Run| run.between_readings) {
            let (from, to) = (run.from.max(month.first()), run.to.min(month.last()));
            let days = days_between(from, to) + 1;
            sum.days += days;
            sum.counted += run.hours_a_day * days as f64;
            sum.programmed += programmed_between(programs, curve.speed, plus_days(from, -1), to);
        }
        if sum.days >= LEAST_DAYS_OF_MONTH && sum.programmed > 0.0 {
            all.push(sum);
        }
    }
    all
}

/// The program's hours after one day up to another; where there is no program, the days on which it may run.
fn programmed_between(stretches: &[Stretch], counter: Speed, after: NaiveDate, until: NaiveDate) -> f64 {
    let begin = stretches.partition_point(|s| s.to <= after);
    stretches[begin..]
        .iter()
        .take_while(|s| s.from <= until)
        .map(|s| {
            let days = days_between(s.from.max(plus_days(after, 1)), s.to.min(until)) + 1;
            let may_run = f64::from(u8::from(!s.still));
            days as f64 * if s.hours.is_some() { s.at(counter) } else { may_run }
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    /// Three years of months whose counter over program is the season's times one give or take a tenth.
    fn months(season: impl Fn(u32) -> f64, draw: &mut ChaCha8Rng) -> Vec<CountedMonth> {
        let first: Month = "2023-11".parse().unwrap();
        first
            .through(first.plus(35))
            .map(|month| {
                let chance = 1.0 + draw.random_range(-0.1..0.1);
                let counted = 240.0 * season(month.number()) * chance;
                CountedMonth { month, counted, programmed: 240.0, days: 30, of_unit_now: true }
            })
            .collect()
    }

    /// Half as much again in summer, half as little in winter: seen, to within what three years of such months can show.
    #[test]
    fn a_season_is_seen_and_chance_is_not_taken_for_one() {
        let mut draw = ChaCha8Rng::seed_from_u64(4);
        let summer = |month: u32| if (4..=9).contains(&month) { 1.5 } else { 0.5 };
        for _ in 0..50 {
            let season = Season::learned(&months(summer, &mut draw));
            assert_eq!(season.years, 3);
            for (index, found) in season.by_month.iter().enumerate() {
                assert!((found - summer(index as u32 + 1)).abs() < 0.16, "{season:?}");
            }
            // The last year is the factor's: its mean is the year's.
            assert!((season.learned_at - 1.0).abs() < 0.02, "{season:?}");
        }
        let seen = (0..400).filter(|_| Season::learned(&months(|_| 1.0, &mut draw)).years > 0).count();
        assert!(seen < 50, "{seen} of 400 without a season");
    }

    #[test]
    fn one_year_shows_no_season() {
        let mut draw = ChaCha8Rng::seed_from_u64(4);
        let all = months(f64::from, &mut draw);
        assert_eq!(Season::learned(&all[24..]), Season::default());
    }
}
