//! At which age is it cheapest to renew a part before it fails?
//!
//! The long-run cost per unit of age of renewing at failure or at an age, whichever comes first
//! (Barlow and Proschan's age replacement): (planned · S(t) + failure · F(t)) / ∫₀ᵗ S. It assumes that a
//! new part is as good as new.

use statrs::function::gamma::{gamma, gamma_lr};

use super::falling_root;
use super::weibull::Weibull;

/// What it costs to renew a part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Costs {
    /// In good time.
    pub planned: f64,
    /// Once it has failed, with all that brings.
    pub failure: f64,
}

/// The cheapest age.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Best {
    /// It; `None` = run it until it fails.
    pub age: Option<f64>,
    /// Its cost per unit of age.
    pub cost_rate: f64,
    /// The cost per unit of age of running to failure.
    pub run_to_failure: f64,
}

impl Best {
    /// The share of the cost of running to failure that the best age saves.
    pub fn saving(&self) -> f64 {
        1.0 - self.cost_rate / self.run_to_failure
    }
}

impl Weibull {
    /// ∫₀ᵗ S: the mean time in service when renewed at an age.
    pub fn mean_until(&self, age: f64) -> f64 {
        let hazard = self.cumulative_hazard(age);
        if hazard > 700.0 {
            return self.mean();
        }
        if hazard <= 0.0 {
            return age;
        }
        self.scale * gamma(1.0 + 1.0 / self.shape) * gamma_lr(1.0 / self.shape, hazard)
    }

    /// The cost per unit of age of renewing at failure or at an age.
    pub fn cost_rate(&self, costs: Costs, age: f64) -> f64 {
        let failed = -(-self.cumulative_hazard(age)).exp_m1();
        (costs.planned * (1.0 - failed) + costs.failure * failed) / self.mean_until(age)
    }

    /// The age at which renewing costs least.
    pub fn best_age(&self, costs: Costs) -> Best {
        let run_to_failure = costs.failure / self.mean();
        let never = Best { age: None, cost_rate: run_to_failure, run_to_failure };
        if self.shape <= 1.0 || costs.failure <= costs.planned || costs.planned <= 0.0 {
            return never;
        }
        let hazard = |age: f64| self.shape / self.scale * (age / self.scale).powf(self.shape - 1.0);
        let failed = |age: f64| -(-self.cumulative_hazard(age)).exp_m1();
        let Some(age) = cheapest_age(costs, self.scale, hazard, |age| self.mean_until(age), failed) else {
            return never;
        };
        Best { age: Some(age), cost_rate: (costs.failure - costs.planned) * hazard(age), run_to_failure }
    }
}

/// The age at which renewing lives of a rising hazard costs least, looked for from a typical age on: its hazard, the mean time in
/// service when renewed at an age, the share failed by it. `None` = so late that nothing is left to renew.
fn cheapest_age(
    costs: Costs,
    typical: f64,
    hazard: impl Fn(f64) -> f64,
    mean_until: impl Fn(f64) -> f64,
    failed: impl Fn(f64) -> f64,
) -> Option<f64> {
    let target = costs.planned / (costs.failure - costs.planned);
    // Falls below zero once the rising hazard makes a further day dearer than the average one.
    let gain = |ln_age: f64| {
        let age = ln_age.exp();
        target - (hazard(age) * mean_until(age) - failed(age))
    };
    let centre = typical.ln();
    let (mut low, mut high) = (centre - 1.0, centre + 1.0);
    while gain(low) <= 0.0 && low > centre - 60.0 {
        low -= 2.0;
    }
    while gain(high) > 0.0 {
        high += 1.0;
        if high > centre + 20.0 {
            return None;
        }
    }
    Some(falling_root(low, high, gain).exp())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Barlow & Proschan (1965) ch. 4; Barlow & Hunter (1960): formula recalled, numbers computed with
    /// mpmath and agreed by R integrate + uniroot. (shape, scale, planned, failure, age, cost rate,
    /// cost rate of running to failure.)
    #[test]
    fn the_cheapest_age_of_reference_cases() {
        let cases = [
            (2.5, 1000.0, 1.0, 5.0, 493.046_957_597, 0.003_462_042_738_79, 0.005_635_302_489_93),
            (2.0, 1000.0, 1.0, 10.0, 336.451_191_255, 0.006_056_121_442_6, 0.011_283_791_671),
            (3.5, 900.0, 120.0, 1500.0, 345.118_338_911, 0.488_673_109_336, 1.852_372_210_99),
            (1.5, 26000.0, 80.0, 400.0, 17_562.791_795_5, 0.015_173_228_281_8, 0.017_042_033_345_1),
            (1.2, 1000.0, 1.0, 3.0, 4_142.341_030_45, 0.003_189_043_269_25, 0.003_189_264_143_38),
        ];
        for (shape, scale, planned, failure, age, rate, run) in cases {
            let weibull = Weibull { shape, scale };
            let costs = Costs { planned, failure };
            let best = weibull.best_age(costs);
            let found = best.age.unwrap();
            assert!((found / age - 1.0).abs() < 1e-6, "shape {shape}: {found}");
            assert!((best.cost_rate / rate - 1.0).abs() < 1e-9, "shape {shape}: {}", best.cost_rate);
            assert!((weibull.cost_rate(costs, found) / rate - 1.0).abs() < 1e-9);
            assert!((best.run_to_failure / run - 1.0).abs() < 1e-9);
        }
    }

    /// Lives uniform up to 40,000: the closed form B (√(1 + 2k) − 1)/k with k = failure/planned − 1, from the same theory; its
    /// textbook solution by steps of 10,000 is 30,000.
    #[test]
    fn the_cheapest_age_of_uniform_lives() {
        let (most, costs) = (40_000.0, Costs { planned: 100.0, failure: 200.0 });
        let hazard = |age: f64| if age < most { 1.0 / (most - age) } else { f64::INFINITY };
        let mean_until = |age: f64| age - age * age / (2.0 * most);
        let age = cheapest_age(costs, most / 2.0, hazard, mean_until, |age| age / most).unwrap();
        assert!((age / 29_282.032_302_8 - 1.0).abs() < 1e-9, "{age}");
        let rate = (costs.failure - costs.planned) * hazard(age);
        assert!((rate / 0.009_330_127_018_92 - 1.0).abs() < 1e-9, "{rate}");
    }

    /// Reference cases of the same set: with a hazard that does not rise there is no best age.
    #[test]
    fn a_hazard_that_does_not_rise_is_run_to_failure() {
        for (shape, run) in [(1.0, 0.005), (0.8, 0.004_413_050_605_28)] {
            let best = Weibull { shape, scale: 1000.0 }.best_age(Costs { planned: 1.0, failure: 5.0 });
            assert_eq!(best.age, None);
            assert!((best.run_to_failure / run - 1.0).abs() < 1e-9);
            assert_eq!(best.saving(), 0.0);
        }
    }
}
