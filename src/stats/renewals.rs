//! How many failures are to be expected of a part that is renewed whenever it fails, and at planned
//! times: the renewal function, and the first two moments of the count.
//!
//! A new part is taken to be as good as new. Exposure is on the part's own clock; nothing here knows
//! of days or pumps.

use super::weibull::Weibull;

/// Steps of the renewal function's table.
const STEPS: usize = 64;
/// A renewal function below which its shape within a stretch no longer matters.
const SMALL: f64 = 0.02;
/// Gauss–Legendre nodes and weights on 0 to 1 (Abramowitz & Stegun, table 25.4).
const LEGENDRE: [(f64, f64); 4] = [
    (0.069_431_844_202_973_71, 0.173_927_422_568_726_92),
    (0.330_009_478_207_571_87, 0.326_072_577_431_273_07),
    (0.669_990_521_792_428_1, 0.326_072_577_431_273_07),
    (0.930_568_155_797_026_3, 0.173_927_422_568_726_92),
];

/// What is expected of a part's failures within an exposure.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Outlook {
    /// The chance of at least one.
    pub chance: f64,
    /// The expected number.
    pub mean: f64,
    /// The expected square of the number.
    pub square: f64,
}

/// The renewal function of a distribution: failures expected of a new part, renewed at each failure.
#[derive(Debug, Clone)]
pub struct Renewals {
    /// The distribution.
    pub weibull: Weibull,
    step: f64,
    /// The expected count and its expected square at each step.
    values: Vec<(f64, f64)>,
}

impl Renewals {
    /// The table up to an exposure.
    pub fn new(weibull: Weibull, reach: f64) -> Self {
        let means = renewal_function(&weibull, reach, STEPS);
        let squares = squares(&means);
        Self { weibull, step: reach / STEPS as f64, values: means.into_iter().zip(squares).collect() }
    }

    /// Failures expected of a new part within an exposure, and the expected square of their number;
    /// beyond the table its last slope goes on.
    pub fn expected(&self, exposure: f64) -> (f64, f64) {
        if exposure <= 0.0 {
            return (0.0, 0.0);
        }
        let place = exposure / self.step;
        let index = (place as usize).min(self.values.len() - 2);
        let (before, after) = (self.values[index], self.values[index + 1]);
        let into = place - index as f64;
        (before.0 + (after.0 - before.0) * into, before.1 + (after.1 - before.1) * into)
    }

    /// What is expected of a part that has failed already and is renewed at once.
    pub fn failed(&self, further: f64) -> Outlook {
        let (again, its_square) = self.expected(further);
        Outlook { chance: 1.0, mean: 1.0 + again, square: 1.0 + 2.0 * again + its_square }
    }

    /// What is expected of a part of an age within a further exposure, renewed at each failure and, if it
    /// has not failed by then, after each of some planned exposures in rising order.
    pub fn outlook(&self, age: f64, further: f64, planned: &[f64]) -> Outlook {
        if further <= 0.0 {
            return Outlook::default();
        }
        let until = planned.first().map_or(further, |at| at.clamp(0.0, further));
        let chance = self.weibull.chance_within(age, until);
        let (mut mean, mut square) = (0.0, 0.0);
        let mut add = |weight: f64, left: f64| {
            let (again, its_square) = self.expected(left);
            mean += weight * (1.0 + again);
            square += weight * (1.0 + 2.0 * again + its_square);
        };
        if self.expected(further).0 < SMALL {
            add(chance, further - 0.5 * until);
        } else {
            let start = self.weibull.cumulative_hazard(age);
            for (place, weight) in LEGENDRE {
                let hazard = start - (-place * chance).ln_1p();
                let at = (self.weibull.scale * hazard.powf(1.0 / self.weibull.shape) - age).clamp(0.0, until);
                add(chance * weight, further - at);
            }
        }
        let mut all = Outlook { chance, mean, square };
        if until < further {
            let rest: Vec<f64> = planned[1..].iter().map(|at| at - until).collect();
            let new = self.outlook(0.0, further - until, &rest);
            all.chance += (1.0 - chance) * new.chance;
            all.mean += (1.0 - chance) * new.mean;
            all.square += (1.0 - chance) * new.square;
        }
        all
    }
}

/// The renewal function at even steps from 0, by the midpoint scheme of M. Xie (Commun. Stat. Simul. 18
/// (1989) 281–293).
pub fn renewal_function(weibull: &Weibull, reach: f64, steps: usize) -> Vec<f64> {
    renewals_of(|age| -(-weibull.cumulative_hazard(age)).exp_m1(), reach, steps)
}

/// The same of any lives, by the share that has failed at an age.
fn renewals_of(failed: impl Fn(f64) -> f64, reach: f64, steps: usize) -> Vec<f64> {
    let step = reach / steps as f64;
    let halves: Vec<f64> = (0..steps).map(|k| failed((k as f64 + 0.5) * step)).collect();
    let mut values = vec![0.0; steps + 1];
    for i in 1..=steps {
        let past: f64 = (1..i).map(|k| halves[i - k] * (values[k] - values[k - 1])).sum();
        values[i] = (failed(i as f64 * step) + past - halves[0] * values[i - 1]) / (1.0 - halves[0]);
    }
    values
}

/// The expected square of the count at the same steps: E N² = M + 2 ∫ M(t − x) dM(x).
fn squares(means: &[f64]) -> Vec<f64> {
    (0..means.len())
        .map(|i| {
            let twice: f64 = (1..=i).map(|k| (means[i - k] + means[i - k + 1]) * (means[k] - means[k - 1])).sum();
            means[i] + twice
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Lives of two exponential stages: M(x) = x/2 − 1/4 + exp(−2x)/4 (D. R. Cox, Renewal Theory (1962)). The midpoint scheme and one
    /// step of Richardson's.
    #[test]
    fn the_renewal_function_of_lives_in_two_stages() {
        let failed = |age: f64| 1.0 - (1.0 + age) * (-age).exp();
        for (reach, expected) in [(1.0, 0.283_833_820_809), (3.0, 1.250_619_688_04)] {
            let last = |steps: usize| renewals_of(failed, reach, steps)[steps];
            let better = (4.0 * last(2000) - last(1000)) / 3.0;
            assert!((better / expected - 1.0).abs() < 1e-6, "{reach}: {better}");
        }
    }
}
