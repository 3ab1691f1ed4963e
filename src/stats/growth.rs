//! How many failures are to come of a unit whose failures come closer together, from its own failures alone?
//!
//! The power law: the expected number by an age is scale · age^exponent. With nothing believed beforehand this is
//! the exact prediction after a watch that time ended (reference values: `tests/reference/recurrence.json`). Carried on
//! from the few failures of a unit that was picked out because it looks bad, it promises several times too many. So
//! something is believed of the exponent; and that the unit grows at all is one of two stories, the other being that its
//! rate is steady and it was picked by chance: [`chance_of_growth`] weighs them. Both beliefs are assumed; what they do
//! stands in `tests/reference/coverage.md`.
//!
//! It must not be asked of a unit that shows no trend: then its like know more of it than it does itself.

use statrs::distribution::{ContinuousCDF, Gamma as GammaDistribution};
use statrs::function::gamma::ln_gamma;

use super::counts::Gamma;
use super::falling_root;
use super::recurrence::{Unit, trend_test};

/// Exponents that stand for what is known of it, evenly in chance.
const NODES: usize = 200;
/// What is believed of the exponent of a unit that grows, before any failure: 0.6 to 2.7 four times in five. Assumed.
pub const BELIEVED: Gamma = Gamma { shape: 3.0, rate: 2.0 };
/// The chance that some unit of a fleet grows, before any failure; the units looked at share it, so that a fleet of many is not
/// believed to be full of them. Assumed.
pub const SOME_GROWS: f64 = 0.2;

/// Growth that is believed is carried no farther past the watch than this part of it; from there on the rate stays as it is. A few
/// months of failures would else promise hundreds in a year. Assumed.
const CARRIED: f64 = 0.5;

/// What a unit's own failures say.
#[derive(Debug, Clone, PartialEq)]
pub struct Growing {
    failures: f64,
    watched: f64,
    exponents: Vec<f64>,
    /// How far past the watch the rate goes on growing, in parts of the watch.
    carried: f64,
}

impl Growing {
    /// From a unit watched from 0 on, with what was believed of the exponent (`None` = nothing, the reference's case).
    /// `None` without failures.
    pub fn new(unit: &Unit, believed: Option<Gamma>) -> Option<Self> {
        let test = trend_test(std::slice::from_ref(unit))?;
        let failures = test.failures as f64;
        let Gamma { shape, rate } = believed.unwrap_or(Gamma { shape: 0.0, rate: 0.0 });
        let known = GammaDistribution::new(failures + shape, test.chi_squared / 2.0 + rate).ok()?;
        let exponents = (0..NODES).map(|k| known.inverse_cdf((k as f64 + 0.5) / NODES as f64)).collect();
        // A reference's power law has no end.
        let carried = if believed.is_some() { CARRIED } else { f64::INFINITY };
        Some(Self { failures, watched: unit.to - unit.from, exponents, carried })
    }

    /// For each exponent, the mean between two exposures after the watch in parts of the failures so far.
    fn means(&self, from: f64, to: f64) -> impl Iterator<Item = f64> + '_ {
        let grows_to = 1.0 + self.carried;
        let by = move |further: f64, exponent: f64| {
            let age = 1.0 + further / self.watched;
            let grown = age.min(grows_to).powf(exponent);
            let beyond = age - grows_to;
            if beyond > 0.0 { grown + beyond * exponent * grown / grows_to } else { grown }
        };
        self.exponents.iter().map(move |exponent| by(to, *exponent) - by(from, *exponent))
    }

    /// The mean and the variance of the number of failures between two exposures after the watch; of a share of them,
    /// where only some are of the kind asked for.
    pub fn to_come(&self, from: f64, to: f64, share: f64) -> (f64, f64) {
        let n = NODES as f64;
        let (mut mean, mut square) = (0.0, 0.0);
        for of_all in self.means(from, to) {
            let part = of_all * share;
            mean += self.failures * part / n;
            // Negative binomial: failures · part · (1 + part), and the square of the mean.
            square += (self.failures * part * (1.0 + part) + (self.failures * part).powi(2)) / n;
        }
        (mean, square - mean * mean)
    }

    /// The chance of at least one.
    pub fn chance(&self, to: f64, share: f64) -> f64 {
        let none: f64 = self.means(0.0, to).map(|of_all| (1.0 + of_all * share).powf(-self.failures)).sum();
        1.0 - none / NODES as f64
    }

    /// The chances of at most none, one, two … until nearly all is told.
    pub fn at_most(&self, from: f64, to: f64) -> Vec<f64> {
        const MOST: usize = 1000;
        let mut each: Vec<(f64, f64)> =
            self.means(from, to).map(|part| ((1.0 + part).powf(-self.failures), part / (1.0 + part))).collect();
        let (mut sum, mut all) = (0.0, Vec::new());
        for count in 0..MOST {
            sum += each.iter().map(|(chance, _)| chance).sum::<f64>() / NODES as f64;
            all.push(sum.min(1.0));
            if sum > 1.0 - 1e-9 {
                break;
            }
            for (chance, step) in &mut each {
                *chance *= *step * (self.failures + count as f64) / (count as f64 + 1.0);
            }
        }
        all
    }
}

/// The chance that a unit's failures follow a power law rather than a steady rate, from the chance of it before any failure;
/// `None` without failures.
///
/// Both stories have the same number of failures, so that only their times tell them apart. With S the sum of
/// ln(watched/until failure), an exponent b makes n times likelier by bⁿ e^(−(b − 1) S) than a steady rate does; over the
/// gamma distribution that is believed of b (shape a, rate r) the mean of it is e^S rᵃ Γ(n + a) / (Γ(a) (r + S)^(n + a)).
pub fn chance_of_growth(unit: &Unit, believed: Gamma, before: f64) -> Option<f64> {
    let test = trend_test(std::slice::from_ref(unit))?;
    let (n, logs) = (test.failures as f64, test.chi_squared / 2.0);
    let Gamma { shape, rate } = believed;
    let ln_likelier =
        logs + shape * rate.ln() - ln_gamma(shape) + ln_gamma(n + shape) - (n + shape) * (rate + logs).ln();
    let ln_odds = ln_likelier + (before / (1.0 - before)).ln();
    Some(1.0 / (1.0 + (-ln_odds).exp()))
}

/// The factors on the time between failures at the end of a watch, by the likeliest power law, between which its true value lies:
/// low, high (L. H. Crow, 1977, as in NASA TM-103511; a watch that time ended). `None` of fewer than two failures.
///
/// Given the sum of the logs, a count k + 1 comes with the weight xᵏ/(k! (k + 1)!): the ends are where so few, or so many, are
/// as unlikely as the confidence says.
pub fn mtbf_range(failures: usize, confidence: f64) -> Option<(f64, f64)> {
    let tail = 0.5 - confidence / 2.0;
    let n = failures as f64;
    // The chance of at most a count.
    let at_most = |ln_x: f64, most: usize| {
        let (mut ln_weight, mut weights, mut place) = (0.0, Vec::new(), 0.0);
        // Past the heaviest the weights fall for good.
        while ln_weight > -60.0 + weights.iter().copied().fold(0.0, f64::max) || place * (place + 1.0) < ln_x.exp() {
            weights.push(ln_weight);
            place += 1.0;
            ln_weight += ln_x - (place * (place + 1.0)).ln();
        }
        let top = weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let sum = |weights: &[f64]| weights.iter().map(|weight| (weight - top).exp()).sum::<f64>();
        sum(&weights[..most.min(weights.len())]) / sum(&weights)
    };
    let (low, high) = (-10.0, 4.0 * n.ln() + 10.0);
    let few = falling_root(low, high, |ln_x| at_most(ln_x, failures) - tail);
    let many = falling_root(low, high, |ln_x| at_most(ln_x, failures - 1) - (1.0 - tail));
    (failures >= 2).then(|| (n * n / few.exp(), n * n / many.exp()))
}

#[cfg(test)]
mod tests;
