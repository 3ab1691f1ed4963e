//! How good were the forecasts? At the last quarter ends they are made again from what was dated before,
//! and held against what then happened: hours, failures, parts that fell due.
//!
//! Only hours bracketed by readings count as observed. Bookings carry no date of their making, so
//! none that begins after the quarter's end is used: what a forecast made today knows of the coming
//! nights, these did not know, and they are the wider for it. Entries of the log that were dated back
//! are taken as known on their date, which flatters the forecasts.
//!
//! In a large fleet this is done for sites spread evenly over it: what is learned of the forecasts does not
//! grow with every further site, and the work does.
//!
//! The renewals that were made in the time forecast are taken as planned: how many parts somebody would
//! renew in good time is no forecast of failures. What was renewed because something failed was not planned.
//!
//! Which sites have a row is decided by what was expected of them alone: rows chosen by what happened would miss
//! by their choice. What all of it says of the forecasts is judged in [`judged`].

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::NaiveDate;
use rayon::prelude::*;
use uom::si::time::hour;

use crate::address::{Address, Id};
use crate::basis::CENTRAL_80;
use crate::calendar::{Month, days_between, plus_days};
use crate::quantities::expected_failures::Tally;
use crate::quantities::part_life_model::{self, FleetLives, SiteLives};
use crate::quantities::part_lives::{self, LifeEnd, PartInService, PartPosition};
use crate::quantities::{PumpFigures, SpaFigures, failures, hours_forecast, run_hours};
use crate::records::bookings::Stays;
use crate::records::log::Because;
use crate::records::upkeep::Clock;
use crate::records::{Fleet, Site, Spa};
use crate::schedule::due;
use crate::stats::counts::{count_at_most, count_quantiles};
use statrs::distribution::{ContinuousCDF, Normal};

/// A past forecast of a pump's hours against what happened.
#[derive(Debug, Clone)]
pub struct ForecastCheck {
    /// The quarter end up to which records were used.
    pub made_on: NaiveDate,
    /// How many months it looks ahead.
    pub horizon_months: u32,
    /// The pump.
    pub at: Address,
    /// Hours expected.
    pub expected: f64,
    /// The low end of the central 80 %.
    pub low: f64,
    /// The high end.
    pub high: f64,
    /// Hours that the counter showed.
    pub observed: f64,
}

impl ForecastCheck {
    /// Whether what happened lies within the range.
    pub fn inside(&self) -> bool {
        (self.low..=self.high).contains(&self.observed)
    }
}

/// What a forecast of a site or the fleet was of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum What {
    /// Hours of its pumps whose counters bracket them.
    Hours,
    /// Failures of its pumps.
    Failures,
    /// Parts that reach the hours of the book. Limits of age cannot be forecast wrongly and are not counted.
    DueParts,
}

impl What {
    /// The words in tables.
    pub fn words(self) -> &'static str {
        match self {
            Self::Hours => "hours",
            Self::Failures => "failures",
            Self::DueParts => "due parts",
        }
    }
}

/// A past forecast of a site or of the fleet against what happened.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupCheck {
    /// The quarter end up to which records were used.
    pub made_on: NaiveDate,
    /// How many months it looks ahead.
    pub horizon_months: u32,
    /// The site; `None` = the fleet.
    pub site: Option<String>,
    /// Of what.
    pub what: What,
    /// The mean.
    pub expected: f64,
    /// The low end of the central 80 %.
    pub low: f64,
    /// The high end.
    pub high: f64,
    /// What happened.
    pub observed: f64,
    /// The variance of what was to happen, as the forecast has it.
    pub variance: f64,
    /// The chance that the range holds, as the forecast has it: whole counts make it more than four in five.
    pub promised: f64,
}

impl GroupCheck {
    /// Whether what happened lies within the range.
    pub fn inside(&self) -> bool {
        (self.low..=self.high).contains(&self.observed)
    }
}

/// What was expected of a pump over all forecasts of a horizon that do not overlap, and what happened.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PumpSum {
    /// The mean.
    pub expected: f64,
    /// The variance.
    pub variance: f64,
    /// What happened.
    pub observed: f64,
}

impl PumpSum {
    fn add(&mut self, other: &Self) {
        self.expected += other.expected;
        self.variance += other.variance;
        self.observed += other.observed;
    }
}

/// How many quarter ends are looked at.
const QUARTERS: i32 = 8;
/// The months that the forecasts look ahead.
const HORIZONS: [u32; 2] = [3, 12];
/// The share of days between readings from which hours count as observed.
const LEAST_METERED: f64 = 0.9;
/// Days from either end of a window within which its counter must have been read: half a month, so that readings by the month
/// do. Assumed.
const NEAR_DAYS: f64 = 16.0;
/// The same as a share of a longer window.
const NEAR_SHARE: f64 = 0.1;
/// Sites that are looked at at most.
const MOST_SITES: usize = 700;
/// Failures or parts that must have been expected of a site for a row of its own. What was seen must not choose it.
const ENOUGH: f64 = 2.0;

/// All past forecasts.
#[derive(Debug, Clone, Default)]
pub struct Checks {
    /// Of each site's pumps, in the sites' order.
    pub pumps: Vec<Vec<ForecastCheck>>,
    /// Of sites and the fleet.
    pub groups: Vec<GroupCheck>,
    /// What they say of the forecasts of each kind.
    pub judged: Vec<Judged>,
    /// Each pump's sums over the forecasts of a horizon that do not overlap, by its months, site and address.
    pub sums: BTreeMap<(What, u32, Id, Address), PumpSum>,
    /// How many sites were looked at.
    pub sites: usize,
}

/// Checks the forecasts of all sites; their figures are those of the as-of day.
pub fn fleet_checks(fleet: &Fleet, sites: &[(Site, Vec<SpaFigures>)], as_of: NaiveDate) -> Checks {
    let mut all = Checks { pumps: vec![Vec::new(); sites.len()], ..Checks::default() };
    let every = sites.len().div_ceil(MOST_SITES).max(1);
    let looked_at: Vec<&(Site, Vec<SpaFigures>)> = sites.iter().step_by(every).collect();
    all.sites = looked_at.len();
    let whole = |made_on: NaiveDate, months: u32| Month::of(made_on).plus(months as i32).last() <= as_of;
    let once =
        HORIZONS.map(|months| judged::apart(quarter_ends(as_of).filter(|made_on| whole(*made_on, months)), months));
    for made_on in quarter_ends(as_of) {
        let mut of_sites: Vec<PastSite> =
            looked_at.par_iter().map(|(site, now)| past_site(fleet, site, now, made_on, as_of)).collect();
        for (kept, of_site) in all.pumps.iter_mut().step_by(every).zip(&mut of_sites) {
            kept.append(&mut of_site.hours);
        }
        let gathered: Vec<SiteLives> = of_sites.iter_mut().map(|past| std::mem::take(&mut past.lives)).collect();
        let mut lives = FleetLives::for_counts(fleet, looked_at.iter().map(|(site, _)| site).zip(gathered), made_on);
        // Which pumps were getting worse is known as it was then, too.
        lives.judge(looked_at.iter().zip(&of_sites).map(|((site, _), past)| (site, past.spas.as_slice())));
        let horizons: Vec<(u32, NaiveDate)> = HORIZONS
            .into_iter()
            .map(|months| (months, Month::of(made_on).plus(months as i32).last()))
            .filter(|(_, until)| *until <= as_of)
            .collect();
        let of_each: Vec<Vec<Sums>> = looked_at
            .par_iter()
            .zip(&of_sites)
            .map(|((site, now), past)| past.sums(fleet, site, now, &lives, made_on, &horizons))
            .collect();
        for (index, (months, _)) in horizons.into_iter().enumerate() {
            let mut of_fleet = Sums::default();
            for ((site, _), sums) in looked_at.iter().zip(&of_each) {
                let sums = &sums[index];
                of_fleet.add(sums);
                if once[index].contains(&made_on) {
                    for (what, at, sum) in &sums.pumps {
                        all.sums.entry((*what, months, site.id.clone(), at.clone())).or_default().add(sum);
                    }
                }
                all.groups.extend(sums.checks(&lives, Some(&site.id.to_string()), (made_on, months)));
            }
            all.groups.extend(of_fleet.checks(&lives, None, (made_on, months)));
        }
    }
    for of_site in &mut all.pumps {
        of_site.sort_by(|a, b| (&a.at, a.made_on, a.horizon_months).cmp(&(&b.at, b.made_on, b.horizon_months)));
    }
    all.groups.sort_by(|a, b| {
        (a.site.is_some(), &a.site, a.what, a.made_on, a.horizon_months).cmp(&(
            b.site.is_some(),
            &b.site,
            b.what,
            b.made_on,
            b.horizon_months,
        ))
    });
    all.judged = judged::judge(&all);
    all
}

/// Checks the forecasts of hours of a site's pumps alone.
pub fn checks(fleet: &Fleet, site: &Site, figures: &[SpaFigures], as_of: NaiveDate) -> Vec<ForecastCheck> {
    let mut all: Vec<ForecastCheck> = quarter_ends(as_of)
        .flat_map(|made_on| hour_checks(figures, &known_then(fleet, site, figures, made_on), made_on, as_of))
        .collect();
    all.sort_by(|a, b| (&a.at, a.made_on, a.horizon_months).cmp(&(&b.at, b.made_on, b.horizon_months)));
    all
}

/// A site as it was known at a quarter's end.
struct PastSite {
    spas: Vec<SpaFigures>,
    lives: SiteLives,
    hours: Vec<ForecastCheck>,
}

fn past_site(fleet: &Fleet, site: &Site, now: &[SpaFigures], made_on: NaiveDate, as_of: NaiveDate) -> PastSite {
    let spas = known_then(fleet, site, now, made_on);
    let lives = part_life_model::site_lives(fleet, site, &spas, made_on);
    let hours = hour_checks(now, &spas, made_on, as_of);
    PastSite { spas, lives, hours }
}

/// The pumps of a site as they were known on a day: nothing else of its spas is looked at.
fn known_then(fleet: &Fleet, site: &Site, now: &[SpaFigures], day: NaiveDate) -> Vec<SpaFigures> {
    let of_pumps = site.spas.iter().zip(now).map(|(spa, now)| {
        let known = known_on(spa, day);
        let pumps = known
            .pumps
            .iter()
            .zip(&now.pumps)
            .map(|(pump, now)| {
                let began = now.hours.as_ref().is_some_and(|hours| hours.start < day);
                let hours = began.then(|| run_hours::with_readings(fleet, site, &known, pump, day, &[])).flatten();
                PumpFigures {
                    at: pump.at.clone(),
                    forecast: hours.as_ref().and_then(|hours| hours_forecast::forecast(site, &known, pump, hours, day)),
                    failures: failures::failures(site, pump, hours.as_ref(), day),
                    hours,
                }
            })
            .collect();
        SpaFigures::of_pumps(spa.at.clone(), pumps)
    });
    of_pumps.collect()
}

/// A spa with the bookings that had begun and the programs that held by a day.
fn known_on(spa: &Spa, day: NaiveDate) -> Spa {
    let mut known = spa.clone();
    known.stays = spa
        .stays
        .as_ref()
        .map(|all| Arc::new(Stays { stays: all.stays.iter().copied().filter(|(from, _)| *from <= day).collect() }));
    for pump in &mut known.pumps {
        pump.programs.retain(|p| p.from.is_none_or(|from| from.0 <= day));
    }
    known
}

fn pumps(spas: &[SpaFigures]) -> impl Iterator<Item = &PumpFigures> {
    spas.iter().flat_map(|spa| &spa.pumps)
}

fn hour_checks(now: &[SpaFigures], past: &[SpaFigures], made_on: NaiveDate, as_of: NaiveDate) -> Vec<ForecastCheck> {
    let mut all = Vec::new();
    for (now, past) in pumps(now).zip(pumps(past)) {
        let Some(hours) = now.hours.as_ref().filter(|hours| hours.last_reading().is_some()) else { continue };
        let Some(forecast) = &past.forecast else { continue };
        for horizon_months in HORIZONS {
            let until = Month::of(made_on).plus(horizon_months as i32).last();
            let Some(observed) = (until <= as_of).then(|| observed(hours, made_on, until)).flatten() else { continue };
            let Some((expected, low, high)) = forecast.sum_of_months(horizon_months as usize) else { continue };
            all.push(ForecastCheck { made_on, horizon_months, at: now.at.clone(), expected, low, high, observed });
        }
    }
    all
}

/// What adds up of a site's or the fleet's forecasts and of what happened.
#[derive(Default)]
struct Sums {
    failures: Tally,
    failed: f64,
    /// Hours expected, the squares of the half widths of their ranges below and above, hours observed.
    hours: Option<[f64; 4]>,
    /// Parts expected due, the variance of their number, those that were.
    due: [f64; 3],
    /// The same of each pump.
    pumps: Vec<(What, Address, PumpSum)>,
}

impl Sums {
    fn add(&mut self, other: &Self) {
        self.failures.add(&other.failures);
        self.failed += other.failed;
        if let Some(more) = other.hours {
            let sums = self.hours.get_or_insert_default();
            sums.iter_mut().zip(more).for_each(|(sum, more)| *sum += more);
        }
        self.due.iter_mut().zip(other.due).for_each(|(sum, more)| *sum += more);
    }

    fn checks(&self, lives: &FleetLives, site: Option<&str>, made: (NaiveDate, u32)) -> Vec<GroupCheck> {
        let check = |what, expected, variance, [low, high]: [f64; 2], observed, promised| GroupCheck {
            made_on: made.0,
            horizon_months: made.1,
            site: site.map(str::to_owned),
            what,
            expected,
            low,
            high,
            observed,
            variance,
            promised,
        };
        let counted = |what, expected: f64, variance: f64, observed: f64| {
            let ends = count_quantiles(expected, variance, [0.1, 0.9]);
            let at_most = |count: f64| if count < 0.0 { 0.0 } else { count_at_most(expected, variance, count) };
            check(what, expected, variance, ends, observed, at_most(ends[1]) - at_most(ends[0] - 1.0))
        };
        let enough = |expected: f64| if site.is_none() { expected > 0.0 } else { expected >= ENOUGH };
        let mut all = Vec::new();
        let (expected, variance) = self.failures.moments(lives);
        if enough(expected) {
            all.push(counted(What::Failures, expected, variance, self.failed));
        }
        if let Some([expected, below, above, observed]) = self.hours {
            let ends = [(expected - below.sqrt()).max(0.0), expected + above.sqrt()];
            let variance = f64::midpoint(below, above) / (CENTRAL_80 * CENTRAL_80);
            all.push(check(What::Hours, expected, variance, ends, observed, 0.8));
        }
        let [expected, variance, seen] = self.due;
        if enough(expected) {
            all.push(counted(What::DueParts, expected, variance, seen));
        }
        all
    }
}

impl PastSite {
    /// What adds up for each horizon, told by its months and its end.
    fn sums(
        &self,
        fleet: &Fleet,
        site: &Site,
        now: &[SpaFigures],
        lives: &FleetLives,
        made_on: NaiveDate,
        horizons: &[(u32, NaiveDate)],
    ) -> Vec<Sums> {
        let then = part_lives::part_positions(fleet, site, &self.spas, made_on);
        let parts = part_lives::in_service(site, &then, made_on);
        let sums = |(months, until): &(u32, NaiveDate)| {
            self.sums_of(fleet, site, now, lives, &parts, (made_on, *until), *months)
        };
        horizons.iter().map(sums).collect()
    }

    #[expect(clippy::too_many_arguments, reason = "a site and its fleet, then and since")]
    fn sums_of(
        &self,
        fleet: &Fleet,
        site: &Site,
        now: &[SpaFigures],
        lives: &FleetLives,
        parts: &[PartInService],
        (made_on, until): (NaiveDate, NaiveDate),
        months: u32,
    ) -> Sums {
        let mut sums = Sums::default();
        let since = part_lives::part_positions(fleet, site, now, until);
        let mut renewals = renewals(site, &since, made_on, until);
        for (past, now) in pumps(&self.spas).zip(pumps(now)) {
            let Some((hours_to_come, _, _)) = past.forecast.as_ref().and_then(|f| f.sum_of_months(months as usize))
            else {
                continue;
            };
            let own: Vec<(&PartInService, Vec<f64>)> = parts
                .iter()
                .filter(|part| part.at == past.at)
                .map(|part| (part, renewals.remove(&(&part.at, part.id.as_str())).unwrap_or_default()))
                .collect();
            let days = days_between(made_on, until) as f64;
            // Where no log is kept, or none was yet, nobody knows what failed: there is nothing to hold a forecast against.
            if site.records_start().is_none_or(|start| start > made_on) {
                continue;
            }
            let tally = lives.pump_tally(&site.id, past, &own, hours_to_come, days);
            sums.failures.add(&tally);
            let in_window = |day: NaiveDate| day > made_on && day <= until;
            let failed = now.failures.of_all_units().filter(|i| in_window(i.day)).count() as f64;
            sums.failed += failed;
            let mut due = [0.0; 3];
            for (part, _) in own {
                due_parts(part, past, now, (made_on, until), &mut due);
            }
            sums.due.iter_mut().zip(due).for_each(|(sum, more)| *sum += more);
            let (expected, variance) = tally.moments(lives);
            let sum = |[expected, variance, observed]: [f64; 3]| PumpSum { expected, variance, observed };
            sums.pumps.push((What::Failures, past.at.clone(), sum([expected, variance, failed])));
            sums.pumps.push((What::DueParts, past.at.clone(), sum(due)));
        }
        for check in &hour_checks(now, &self.spas, made_on, until) {
            if check.horizon_months == months {
                let summed = sums.hours.get_or_insert_default();
                let (below, above) = (check.expected - check.low, check.high - check.expected);
                let more = [check.expected, below * below, above * above, check.observed];
                summed.iter_mut().zip(more).for_each(|(sum, more)| *sum += more);
                let variance = (f64::midpoint(below, above) / CENTRAL_80).powi(2);
                let sum = PumpSum { expected: check.expected, variance, observed: check.observed };
                sums.pumps.push((What::Hours, check.at.clone(), sum));
            }
        }
        sums
    }
}

/// Whether something in a place failed on a day: what is renewed then was not planned.
fn failed_on(site: &Site, at: &Address, day: NaiveDate) -> bool {
    site.entries(at).filter(|(_, visit, _)| visit.date.0 == day).any(|(_, _, entry)| {
        entry.renewed.0.iter().any(|(_, renewal)| renewal.because == Because::Failure)
            || entry.exchanged.as_ref().is_some_and(|exchange| exchange.because == Because::Failure)
    })
}

/// The exposures after a day, on each part's clock, at which it was renewed though nothing had failed.
fn renewals<'a>(
    site: &Site,
    positions: &'a [PartPosition],
    after: NaiveDate,
    until: NaiveDate,
) -> BTreeMap<(&'a Address, &'a str), Vec<f64>> {
    let mut all = BTreeMap::new();
    for position in positions {
        let exposure = |day: NaiveDate| match part_life_model::clock_of(position.part) {
            Clock::Age => Some(days_between(after, day) as f64),
            Clock::Hours => position.hours.and_then(|hours| hours.hours_between(after, day.min(hours.end))),
        };
        let planned: Vec<f64> = position
            .lives
            .iter()
            .filter_map(|life| match life.end {
                LifeEnd::Sound(day) if day > after && day <= until && !failed_on(site, position.at, day) => {
                    exposure(day)
                }
                _ => None,
            })
            .collect();
        if !planned.is_empty() {
            all.insert((position.at, position.id.as_str()), planned);
        }
    }
    all
}

/// Adds whether a part was to reach the hours of the book in the time, and whether it did.
fn due_parts(
    part: &PartInService,
    past: &PumpFigures,
    now: &PumpFigures,
    (made_on, until): (NaiveDate, NaiveDate),
    sums: &mut [f64; 3],
) {
    let Some(limit) = part.part.interval.hours.map(|h| h.0.get::<hour>()) else { return };
    let (Some(then), Some(seen), Some(start)) = (&past.hours, &now.hours, part.fitted.middle()) else { return };
    let known = seen.last_reading().is_some_and(|last| last >= plus_days(until, -31)) && start >= seen.start;
    if !known || part.age_hours.is_none_or(|age| age >= limit) {
        return;
    }
    let Some((day, low, high)) = due::due_by_hours(part, limit, then, past.forecast.as_ref(), made_on) else { return };
    let deviation = (days_between(low, high) as f64 / (2.0 * CENTRAL_80)).max(0.5);
    let chance = Normal::standard().cdf((days_between(day, until) as f64 + 0.5) / deviation);
    sums[0] += chance;
    sums[1] += chance * (1.0 - chance);
    sums[2] += f64::from(u8::from(seen.day_reached(start, limit).is_some_and(|reached| reached <= until)));
}

/// The last quarter ends that a shortest forecast can be held against, in order.
fn quarter_ends(as_of: NaiveDate) -> impl Iterator<Item = NaiveDate> {
    let whole = if Month::of(as_of).last() == as_of { Month::of(as_of) } else { Month::of(as_of).plus(-1) };
    let last = whole.plus(-3);
    let last = last.plus(-((last.number() % 3) as i32));
    (0..QUARTERS).rev().map(move |quarter| last.plus(-3 * quarter).last())
}

/// Hours after a day up to another, if a counter brackets them, read near both; no unit is there for two. Between readings
/// far apart the program says how the hours lie, and would be held against itself.
fn observed(hours: &run_hours::RunHours, after: NaiveDate, until: NaiveDate) -> Option<f64> {
    let days = days_between(after, until) as f64;
    let least = hours.curves.iter().map(|curve| curve.metered_days_between(after, until) as f64).reduce(f64::min)?;
    if hours.end < until || least < LEAST_METERED * days {
        return None;
    }
    let near = (days * NEAR_SHARE).max(NEAR_DAYS) as i64;
    let read_near = |curve: &run_hours::Curve, day: NaiveDate| {
        let from = curve.readings.partition_point(|point| days_between(point.day, day) > near);
        curve.readings.get(from).is_some_and(|point| days_between(day, point.day) <= near)
    };
    if !hours.curves.iter().all(|curve| read_near(curve, after) && read_near(curve, until)) {
        return None;
    }
    hours.hours_between(after, until)
}

pub mod judged;
pub use judged::{BehindIt, Held, Judged};

#[cfg(test)]
mod tests;
