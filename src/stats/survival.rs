//! What share is still sound at an age, with no curve assumed: the product-limit estimate.
//!
//! It stands beside the Weibull fit as a check that the curve follows the lives.

use statrs::distribution::{ContinuousCDF, Normal};

use super::{End, Life};

/// A step of the product-limit curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// The age of the failures.
    pub age: f64,
    /// Lives seen just before it.
    pub at_risk: f64,
    /// Failures at it.
    pub failures: f64,
    /// The share still sound after it.
    pub sound: f64,
    /// Greenwood's variance of that share; `None` once all have failed.
    pub variance: Option<f64>,
    /// Its log-log interval; `None` once all have failed.
    pub interval: Option<(f64, f64)>,
    /// The cumulative hazard (Nelson–Aalen) and its variance: it curves upwards where a part wears out.
    pub hazard: (f64, f64),
}

/// The product-limit (Kaplan–Meier) estimate with Greenwood's variance and log-log intervals, at each
/// age of failure. A failure found between two ages counts at the middle of them. At one age,
/// failures come before lives that ended sound.
pub fn product_limit(lives: &[Life], confidence: f64) -> Vec<Step> {
    let age_of = |life: &Life| match life.end {
        End::Failed(age) | End::Sound(age) => age,
        End::FailedBetween(after, by) => f64::midpoint(after, by),
    };
    let z = Normal::standard().inverse_cdf(0.5 + confidence / 2.0);
    let mut failed: Vec<(f64, f64)> = lives.iter().filter(|l| l.failed()).map(|l| (age_of(l), l.count)).collect();
    failed.sort_by(|a, b| a.0.total_cmp(&b.0));
    failed.dedup_by(|next, kept| {
        let same = next.0 == kept.0;
        if same {
            kept.1 += next.1;
        }
        same
    });
    // Lives by exit and by entry, with running sums, so that each step is a look-up.
    let running = |mut ages: Vec<(f64, f64)>| {
        ages.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut sum = 0.0;
        for age in &mut ages {
            sum += age.1;
            age.1 = sum;
        }
        ages
    };
    let exits = running(lives.iter().map(|l| (age_of(l), l.count)).collect());
    let entries = running(lives.iter().map(|l| (l.entry, l.count)).collect());
    let below = |sums: &[(f64, f64)], age: f64| {
        let index = sums.partition_point(|(a, _)| *a < age);
        if index == 0 { 0.0 } else { sums[index - 1].1 }
    };
    let (mut sound, mut greenwood) = (1.0, 0.0);
    let mut hazard = (0.0, 0.0);
    let mut steps = Vec::new();
    for (age, failures) in failed {
        let at_risk = below(&entries, age) - below(&exits, age);
        if at_risk <= 0.0 {
            continue;
        }
        hazard = (hazard.0 + failures / at_risk, hazard.1 + failures / (at_risk * at_risk));
        sound *= (1.0 - failures / at_risk).max(0.0);
        greenwood += failures / (at_risk * (at_risk - failures));
        let known = sound > 0.0 && greenwood.is_finite();
        let interval = known.then(|| {
            let reach = (z * greenwood.sqrt() / f64::ln(sound).abs()).exp();
            (sound.powf(reach), sound.powf(1.0 / reach))
        });
        let variance = known.then_some(sound * sound * greenwood);
        steps.push(Step { age, at_risk, failures, sound, variance, interval, hazard });
    }
    steps
}
