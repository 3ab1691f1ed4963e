//! Do failures of something that is repaired and goes on come more often, and how many has a unit had
//! by an age?
//!
//! A unit is watched from an age to an age and fails at ages between. The tests ask whether the rate is
//! steady within each unit; units may differ in their rates. Successive gaps are never treated as lives.

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};

use super::falling_root;

/// A unit with its failures.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Unit {
    /// The age at which its watch begins.
    pub from: f64,
    /// The age at which it ends.
    pub to: f64,
    /// Ages at failure, in order, after the first and up to the last.
    pub failures: Vec<f64>,
}

/// What the tests of a steady rate say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrendTest {
    /// Failures it rests on.
    pub failures: usize,
    /// The military handbook's χ² = 2 Σ ln(watched/until failure), with twice as many degrees of freedom as failures;
    /// small where failures come late.
    pub chi_squared: f64,
    /// The chance of so small a χ² were the rate steady: worsening.
    pub p_worsening: f64,
    /// The chance of so large a one: improving.
    pub p_improving: f64,
    /// Laplace's statistic: about normal were the rate steady; above 0 where failures come late.
    pub laplace: f64,
}

/// The military handbook's test and Laplace's over units (MIL-HDBK-189C (2011); H. Ascher and
/// H. Feingold, Repairable Systems Reliability (1984)), watched for a time. `None` without failures.
pub fn trend_test(units: &[Unit]) -> Option<TrendTest> {
    let (mut logs, mut sum, mut centre, mut variance, mut failures) = (0.0, 0.0, 0.0, 0.0, 0usize);
    for unit in units {
        let watched = unit.to - unit.from;
        let n = unit.failures.len() as f64;
        for at in &unit.failures {
            let until = at - unit.from;
            if until <= 0.0 || until > watched {
                return None;
            }
            logs += (watched / until).ln();
            sum += until;
        }
        centre += n * watched / 2.0;
        variance += n * watched * watched / 12.0;
        failures += unit.failures.len();
    }
    if failures == 0 || logs <= 0.0 {
        return None;
    }
    let distribution = ChiSquared::new(2.0 * failures as f64).ok()?;
    let chi_squared = 2.0 * logs;
    Some(TrendTest {
        failures,
        chi_squared,
        p_worsening: distribution.cdf(chi_squared),
        p_improving: distribution.sf(chi_squared),
        laplace: (sum - centre) / variance.sqrt(),
    })
}

impl TrendTest {
    /// The exponent of a power law common to all units: above 1 where failures come closer together. The
    /// likeliest, given the count of each unit.
    pub fn growth(&self) -> f64 {
        2.0 * self.failures as f64 / self.chi_squared
    }

    /// The same without its bias; `None` of one failure.
    pub fn unbiased_growth(&self) -> Option<f64> {
        (self.failures > 1).then(|| 2.0 * (self.failures as f64 - 1.0) / self.chi_squared)
    }

    /// The exact interval of the exponent.
    pub fn growth_interval(&self, confidence: f64) -> Option<(f64, f64)> {
        let distribution = ChiSquared::new(2.0 * self.failures as f64).ok()?;
        let at = |share: f64| distribution.inverse_cdf(share) / self.chi_squared;
        Some((at(0.5 - confidence / 2.0), at(0.5 + confidence / 2.0)))
    }

    /// The two-sided chance of Laplace's statistic were the rate steady.
    pub fn laplace_p(&self) -> f64 {
        2.0 * Normal::standard().sf(self.laplace.abs())
    }
}

/// The chance that the military handbook's test finds worsening at a level, for a power law of an exponent
/// and so many failures: under it χ² times the exponent is χ².
pub fn power_to_find(failures: usize, growth: f64, level: f64) -> f64 {
    ChiSquared::new(2.0 * failures as f64).map_or(0.0, |chi| chi.cdf(growth * chi.inverse_cdf(level)))
}

/// The likeliest power law of units watched between different ages, (scale, exponent): expected
/// failures by an age are scale · age^exponent. `None` without failures.
pub fn power_law(units: &[Unit]) -> Option<(f64, f64)> {
    let unit_age = units.iter().map(|u| u.to).fold(0.0, f64::max);
    let failures: Vec<f64> = units.iter().flat_map(|u| &u.failures).map(|at| (at / unit_age).ln()).collect();
    if failures.is_empty() || unit_age <= 0.0 || failures.iter().any(|f| !f.is_finite()) {
        return None;
    }
    let n = failures.len() as f64;
    let logs: f64 = failures.iter().sum();
    let ln_power = |age: f64, b: f64| if age > 0.0 { (age / unit_age).powf(b) } else { 0.0 };
    let sums = |b: f64| {
        units.iter().fold((0.0, 0.0), |(power, with_ln), u| {
            let (high, low) = (ln_power(u.to, b), ln_power(u.from, b));
            let ln = |age: f64, power: f64| if power > 0.0 { power * (age / unit_age).ln() } else { 0.0 };
            (power + high - low, with_ln + ln(u.to, high) - ln(u.from, low))
        })
    };
    let score = |ln_b: f64| {
        let b = ln_b.exp();
        let (power, with_ln) = sums(b);
        n / b + logs - n * with_ln / power
    };
    let b = falling_root(-5.0, 5.0, score).exp();
    let (power, _) = sums(b);
    Some((n / (power * unit_age.powf(b)), b))
}

/// The distance of a power law from failures, Cramér and von Mises', with the exponent without bias (L. H.
/// Crow, AMSAA Technical Report 138 (1975)). Units watched from 0. `None` of fewer than two failures.
pub fn misfit(units: &[Unit]) -> Option<f64> {
    let test = trend_test(units)?;
    let growth = test.unbiased_growth()?;
    let mut shares: Vec<f64> = units
        .iter()
        .flat_map(|u| u.failures.iter().map(move |at| (at - u.from) / (u.to - u.from)))
        .map(|share| share.powf(growth))
        .collect();
    shares.sort_by(f64::total_cmp);
    let m = shares.len() as f64;
    let squares: f64 =
        shares.iter().enumerate().map(|(j, z)| (z - (2.0 * (j as f64 + 1.0) - 1.0) / (2.0 * m)).powi(2)).sum();
    Some(1.0 / (12.0 * m) + squares)
}

/// The misfit that a power law exceeds one time in twenty, by the number of failures (the same report,
/// table 2, read from a page image; from 20 on it hardly changes).
pub fn misfit_limit(failures: usize) -> f64 {
    const TABLE: [f64; 11] = [0.175, 0.183, 0.195, 0.202, 0.206, 0.207, 0.209, 0.212, 0.213, 0.216, 0.213];
    match failures {
        0..=1 => f64::INFINITY,
        few if few < 2 + TABLE.len() => TABLE[few - 2],
        _ => 0.218,
    }
}

/// A step of the mean cumulative function.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanStep {
    /// The age.
    pub age: f64,
    /// Units watched at it.
    pub at_risk: usize,
    /// Failures at it.
    pub failures: usize,
    /// Failures a unit has had by it on the average.
    pub mean: f64,
    /// The robust variance of that.
    pub variance: f64,
}

impl MeanStep {
    /// The interval of the mean, on a ln scale; `None` with fewer than three units.
    pub fn interval(&self, confidence: f64) -> Option<(f64, f64)> {
        let z = Normal::standard().inverse_cdf(0.5 + confidence / 2.0);
        let reach = (z * self.variance.sqrt() / self.mean).exp();
        (self.at_risk > 2).then(|| (self.mean / reach, self.mean * reach))
    }
}

/// The mean cumulative function with the robust variance of J. F. Lawless and C. Nadeau (Technometrics 37
/// (1995) 158–168). A unit is watched after the age it enters at, up to and at the one it leaves at.
pub fn mean_cumulative(units: &[Unit]) -> Vec<MeanStep> {
    let by_age = |mut all: Vec<(f64, usize)>| {
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        all
    };
    let ends = |pick: fn(&Unit) -> f64| by_age(units.iter().enumerate().map(|(i, u)| (pick(u), i)).collect());
    let (entries, exits) = (ends(|u| u.from), ends(|u| u.to));
    let events =
        by_age(units.iter().enumerate().flat_map(|(i, u)| u.failures.iter().map(move |at| (*at, i))).collect());
    // Each unit's part of the sum of squares is what it had more or less than the mean, over those watched. While it is
    // watched all of them lose the same at each failure: that is kept once, and each unit's own beside it.
    let mut own = vec![0.0; units.len()];
    let mut watched = vec![false; units.len()];
    let (mut lost, mut at_risk, mut sum, mut squares, mut left) = (0.0, 0usize, 0.0, 0.0, 0.0);
    let (mut entered, mut gone) = (0, 0);
    let (mut mean, mut steps) = (0.0, Vec::new());
    for group in events.chunk_by(|a, b| a.0 == b.0) {
        let age = group[0].0;
        while entered < entries.len() && entries[entered].0 < age {
            let unit = entries[entered].1;
            entered += 1;
            if units[unit].to >= age {
                own[unit] += lost;
                watched[unit] = true;
                at_risk += 1;
                sum += own[unit];
                squares += own[unit] * own[unit];
            }
        }
        while gone < exits.len() && exits[gone].0 < age {
            let unit = exits[gone].1;
            gone += 1;
            if std::mem::take(&mut watched[unit]) {
                at_risk -= 1;
                sum -= own[unit];
                squares -= own[unit] * own[unit];
                let influence: f64 = own[unit] - lost;
                left += influence * influence;
            }
        }
        if at_risk == 0 {
            continue;
        }
        let r = at_risk as f64;
        let each = group.len() as f64 / r;
        lost += each / r;
        for (_, unit) in group.iter().filter(|(_, unit)| watched[*unit]) {
            let before = own[*unit];
            own[*unit] += 1.0 / r;
            sum += 1.0 / r;
            squares += own[*unit] * own[*unit] - before * before;
        }
        mean += each;
        let variance = left + (squares - 2.0 * lost * sum + r * lost * lost).max(0.0);
        steps.push(MeanStep { age, at_risk, failures: group.len(), mean, variance });
    }
    steps
}

/// Which of some hypotheses are rejected when they are tested together (S. Holm, Scand. J. Stat. 6 (1979)
/// 65–70): each is a chance and its part of the level, which is what the parts add up to.
pub fn rejected_together(tests: &[(f64, f64)]) -> Vec<bool> {
    let mut order: Vec<usize> = (0..tests.len()).collect();
    let level: f64 = tests.iter().map(|t| t.1).sum();
    order.sort_by(|a, b| (tests[*a].0 / tests[*a].1).total_cmp(&(tests[*b].0 / tests[*b].1)));
    let mut result = vec![false; tests.len()];
    let mut left = level;
    for index in order {
        let (p, weight) = tests[index];
        if left <= 0.0 || p > level * weight / left {
            break;
        }
        result[index] = true;
        left -= weight;
    }
    result
}

/// Which of many tests stand out when a share of false ones among them is allowed (Y. Benjamini and
/// Y. Hochberg, J. R. Stat. Soc. B 57 (1995) 289–300).
pub fn discoveries(p_values: &[f64], false_share: f64) -> Vec<bool> {
    let mut order: Vec<usize> = (0..p_values.len()).collect();
    order.sort_by(|a, b| p_values[*a].total_cmp(&p_values[*b]));
    let m = p_values.len() as f64;
    let last = order.iter().enumerate().rev().find(|(rank, i)| p_values[**i] <= false_share * (*rank as f64 + 1.0) / m);
    let mut result = vec![false; p_values.len()];
    if let Some((rank, _)) = last {
        order[..=rank].iter().for_each(|i| result[*i] = true);
    }
    result
}
