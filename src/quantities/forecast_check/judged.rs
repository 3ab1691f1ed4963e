//! What do the past forecasts say of the forecasts to come, kind by kind?
//!
//! Two questions of each kind: did the ranges hold as often as they promise, and did more happen than was expected,
//! or less? Both are asked of forecasts that follow each other without overlapping, so that nothing is counted twice, the
//! second of each horizon; the one that misses by more is told. What each of them missed by was not to be foreseen from the ones before it, so that the
//! variances of what they missed by add up. A kind must never hide behind another: hours are many and failures few.
//!
//! The levels are such that a fleet whose forecasts are as good as they say is seldom called poor.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use statrs::distribution::{Binomial, ContinuousCDF, DiscreteCDF, StudentsT};

use super::{Checks, ForecastCheck, GroupCheck, HORIZONS, PumpSum, What};
use crate::address::{Address, Id};
use crate::calendar::Month;
use crate::stats::counts::{count_at_most, count_quantiles};

/// How often the ranges of past forecasts held.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Held {
    /// Forecasts looked at.
    pub of: usize,
    /// Those whose range held what happened.
    pub inside: usize,
    /// The share that ought to hold, as the forecasts have it: four in five, and more of whole counts.
    pub promised: f64,
}

/// What happened against what was expected, over forecasts that follow each other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Total {
    /// The months they cover.
    pub months: u32,
    /// Expected, all together.
    pub expected: f64,
    /// The low end of the central 80 % of it.
    pub low: f64,
    /// The high end.
    pub high: f64,
    /// What happened.
    pub observed: f64,
    /// The chance of so much or more, or of so little or less, whichever is smaller.
    pub chance: f64,
}

/// A pump without which a kind's forecasts would not be called biased.
#[derive(Debug, Clone, PartialEq)]
pub struct BehindIt {
    /// Its site.
    pub site: Id,
    /// Where it stands.
    pub at: Address,
    /// What of the total it is.
    pub sum: PumpSum,
}

/// What the past forecasts of a kind say.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// Of what.
    pub what: What,
    /// How often ranges held; windows that overlap are left out.
    pub held: Held,
    /// More or less than expected; `None` = nothing was.
    pub total: Option<Total>,
    /// The pump behind the difference, where one explains it.
    pub behind: Option<BehindIt>,
}

/// Forecasts without which nothing is said of how often ranges hold.
const LEAST_FORECASTS: usize = 10;
/// The share of the promised below which ranges are called too narrow, if chance does not explain it.
const POOR: f64 = 0.8;
/// The chance below which ranges that held too seldom are more than chance.
const TOO_SELDOM: f64 = 0.02;
/// The chance below which more failures than expected are more than chance; half of it for all else.
const UNLIKELY: f64 = 0.05;
/// The most that ranges of counts are taken to promise.
const MOST_SURE: f64 = 0.95;
/// By how much hours must differ before it is said to matter: assumed.
const HOURS_MATTER: f64 = 0.05;
/// The same of parts that fall due, whose days are often known so well that a single one is more than chance: assumed.
const DUE_MATTER: f64 = 0.1;
/// How many of them it must be.
const FEWEST_DUE: f64 = 2.0;

impl Held {
    /// Counts another.
    #[must_use]
    pub fn with(self, inside: bool, promised: f64) -> Self {
        let of = self.of + 1;
        let promised = (self.promised * self.of as f64 + promised) / of as f64;
        Self { of, inside: self.inside + usize::from(inside), promised }
    }

    /// The share that held.
    pub fn share(self) -> f64 {
        self.inside as f64 / self.of.max(1) as f64
    }

    /// The share that ought to hold, kept from certainty: no forecast is as good as that.
    pub fn surely(self) -> f64 {
        self.promised.clamp(0.0, MOST_SURE)
    }

    /// Whether there are enough to say how good they were.
    pub fn is_enough(self) -> bool {
        self.of >= LEAST_FORECASTS
    }

    /// Whether they held less often than they should by more than chance, and there are enough to say so.
    pub fn is_poor(self) -> bool {
        let by_chance = || Binomial::new(self.surely(), self.of as u64).ok();
        self.is_enough()
            && self.share() < POOR * self.promised
            && by_chance().is_some_and(|chance| chance.cdf(self.inside as u64) < TOO_SELDOM)
    }
}

impl Total {
    /// The difference to what was expected, in parts of it.
    pub fn bias(&self) -> f64 {
        self.observed / self.expected - 1.0
    }
}

impl Judged {
    /// Whether more happened than was expected, or less, by more than chance and by enough to matter.
    pub fn is_biased(&self) -> bool {
        self.total.is_some_and(|total| {
            // Failures nobody expected are what hurts: of the two directions it is told sooner.
            let hurts = self.what == What::Failures && total.bias() > 0.0;
            self.matters() && total.chance < if hurts { UNLIKELY } else { 0.5 * UNLIKELY }
        })
    }

    /// Whether the difference is large enough for a reader to care, whatever chance says.
    pub fn matters(&self) -> bool {
        self.total.is_some_and(|total| match self.what {
            What::Hours => total.bias().abs() >= HOURS_MATTER,
            What::Failures => true,
            What::DueParts => total.bias().abs() >= DUE_MATTER && (total.observed - total.expected).abs() >= FEWEST_DUE,
        })
    }

    /// Whether a reader should be told on the first page.
    pub fn is_poor(&self) -> bool {
        self.held.is_poor() || self.is_biased()
    }
}

/// The days forecasts of a horizon were made on that do not overlap, the latest first taken.
pub fn apart(days: impl Iterator<Item = NaiveDate>, months: u32) -> BTreeSet<NaiveDate> {
    let all: BTreeSet<NaiveDate> = days.collect();
    let mut chosen: BTreeSet<NaiveDate> = BTreeSet::new();
    for day in all.into_iter().rev() {
        if chosen.first().is_none_or(|next| Month::of(day).plus(months as i32).last() <= *next) {
            chosen.insert(day);
        }
    }
    chosen
}

/// Judges each kind.
pub(super) fn judge(checks: &Checks) -> Vec<Judged> {
    [What::Hours, What::Failures, What::DueParts].into_iter().map(|what| judge_kind(checks, what)).collect()
}

/// How often the ranges of pumps' hours held, forecasts that overlap counted once.
pub fn hours_held<'a>(checks: &(impl Iterator<Item = &'a ForecastCheck> + Clone)) -> Held {
    let mut held = Held::default();
    for months in HORIZONS {
        let of_horizon = || checks.clone().filter(|check| check.horizon_months == months);
        let days = apart(of_horizon().map(|check| check.made_on), months);
        let all = of_horizon().filter(|check| days.contains(&check.made_on));
        held = all.map(ForecastCheck::inside).fold(held, |held, inside| held.with(inside, 0.8));
    }
    held
}

fn judge_kind(checks: &Checks, what: What) -> Judged {
    let mut held = if what == What::Hours { hours_held(&checks.pumps.iter().flatten()) } else { Held::default() };
    for months in HORIZONS {
        // Of hours there is a row a pump, and those of sites add them up.
        let of_groups = || {
            let of_kind = |check: &&GroupCheck| check.what == what && what != What::Hours;
            checks.groups.iter().filter(of_kind).filter(|check| check.horizon_months == months)
        };
        let days = apart(of_groups().map(|check| check.made_on), months);
        let all = of_groups().filter(|check| days.contains(&check.made_on));
        held = all.fold(held, |held, check| held.with(check.inside(), check.promised));
    }
    let mut judged = Judged { what, held, total: None, behind: None };
    // Both horizons are looked at, and the one that is the less likely is told. Nearly the same happened in both, so that there
    // being two makes a false alarm hardly more likely.
    let totals = HORIZONS.into_iter().filter_map(|months| Windows::of(checks, what, months));
    let told = totals.min_by(|a, b| a.total(what).chance.total_cmp(&b.total(what).chance));
    if let Some(windows) = told {
        judged.total = Some(windows.total(what));
        if judged.is_biased() {
            judged.behind = behind(checks, &judged, &windows);
        }
    }
    judged
}

/// The fleet's forecasts of a horizon that do not overlap.
struct Windows {
    months: u32,
    number: usize,
    sums: PumpSum,
    /// Of hours: how far the windows' own differences lie apart.
    scatter: Option<f64>,
}

impl Windows {
    fn of(checks: &Checks, what: What, months: u32) -> Option<Self> {
        let of_fleet = || {
            let is_one = move |check: &&GroupCheck| check.what == what && check.site.is_none();
            checks.groups.iter().filter(is_one).filter(move |check| check.horizon_months == months)
        };
        let days = apart(of_fleet().map(|check| check.made_on), months);
        let windows: Vec<&GroupCheck> = of_fleet().filter(|check| days.contains(&check.made_on)).collect();
        let sums = windows.iter().fold(PumpSum::default(), |mut sum, check| {
            sum.add(&PumpSum { expected: check.expected, variance: check.variance, observed: check.observed });
            sum
        });
        let scatter = (what == What::Hours).then(|| scatter(&windows)).flatten();
        (sums.expected > 0.0).then_some(Self { months, number: windows.len(), sums, scatter })
    }

    fn total(&self, what: What) -> Total {
        total(what, self.months, self.sums, self.number, self.scatter)
    }
}

/// The variance of a window's difference to what was expected, as the windows' own differences show it: sites share guests and
/// weather, so that what each pump's range allows for does not tell it. `None` of fewer than four windows.
fn scatter(windows: &[&GroupCheck]) -> Option<f64> {
    let n = windows.len() as f64;
    let differences = || windows.iter().map(|check| check.observed - check.expected);
    let mean = differences().sum::<f64>() / n;
    (windows.len() >= 4).then(|| differences().map(|d| (d - mean).powi(2)).sum::<f64>() / (n - 1.0))
}

fn total(what: What, of_one: u32, sums: PumpSum, windows: usize, scatter: Option<f64>) -> Total {
    let PumpSum { expected, variance, observed } = sums;
    let months = of_one * windows as u32;
    if what != What::Hours {
        let [low, high] = count_quantiles(expected, variance, [0.1, 0.9]);
        let less = if observed < 1.0 { 0.0 } else { count_at_most(expected, variance, observed - 1.0) };
        let (so_few, so_many) = (count_at_most(expected, variance, observed), 1.0 - less);
        return Total { months, expected, low, high, observed, chance: so_few.min(so_many) };
    }
    // The wider of both counts: what each pump's range allows for, and what the windows show.
    let freedom = (windows as f64 - 1.0).max(1.0);
    let deviation = scatter.map_or(f64::INFINITY, |of_one| (of_one * windows as f64).max(variance).sqrt());
    let student = StudentsT::new(0.0, 1.0, freedom);
    let (reach, chance) = student.map_or((f64::NAN, 0.5), |student| {
        (student.inverse_cdf(0.9), student.sf(((observed - expected) / deviation).abs()))
    });
    let (low, high) = ((expected - reach * deviation).max(0.0), expected + reach * deviation);
    Total { months, expected, low, high, observed, chance }
}

/// The pump without which the rest would not be called biased: of those that miss the same way the one that misses by most.
fn behind(checks: &Checks, judged: &Judged, windows: &Windows) -> Option<BehindIt> {
    let sums = windows.sums;
    let more = sums.observed > sums.expected;
    let miss = |sum: &PumpSum| if more { sum.observed - sum.expected } else { sum.expected - sum.observed };
    let of_kind =
        checks.sums.iter().filter(|((what, months, ..), _)| (*what, *months) == (judged.what, windows.months));
    let ((_, _, site, at), sum) = of_kind.max_by(|a, b| miss(a.1).total_cmp(&miss(b.1)))?;
    let rest = PumpSum {
        expected: sums.expected - sum.expected,
        // What is not known of a kind is common to all, so that a pump's own part of the variance is at most this.
        variance: (sums.variance - sum.variance).max(sums.expected - sum.expected),
        observed: sums.observed - sum.observed,
    };
    let without = Windows { sums: rest, ..*windows };
    let explains = rest.expected <= 0.0
        || !Judged { total: Some(without.total(judged.what)), behind: None, ..judged.clone() }.is_biased();
    (explains && miss(sum) > 0.0).then(|| BehindIt { site: site.clone(), at: at.clone(), sum: *sum })
}
