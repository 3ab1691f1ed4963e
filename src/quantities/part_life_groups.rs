//! Do the pump models differ in how long a part lasts in them? Where the lives show it, each model has a
//! posterior of its own, drawn towards the others' as far as its own lives leave it unknown.
//!
//! What is believed of a model before its own lives is what the lives of the other models say, made as much
//! wider as models differ. A model of few lives is then close to the others, and one of many is its own.

use std::collections::BTreeMap;

use crate::quantities::part_life_model::{Gathered, KindModel, kind_model};
use crate::records::upkeep::Part;
use crate::stats::counts::{Gamma, likelihood, spread_of_rates};
use crate::stats::posterior::{Posterior, Prior};
use crate::stats::weibull::{KnownShape, Sample};
use crate::stats::{End, Life};

/// Twice the log-likelihood by which models must differ before they are told apart: the one-sided 5 % point
/// of a spread that cannot be negative.
const LEAST_DIFFERENCE: f64 = 2.705_543_454_095_4;
/// Failures of a kind without which models are not told apart.
const LEAST_FAILURES: usize = 5;
/// The share of failed by whose age models are held against each other: B10.
const SHARE: f64 = 0.1;

/// The models of a kind; none where the lives do not show that they differ.
pub(super) fn groups(
    part: &Part,
    by_model: &BTreeMap<Option<String>, Gathered>,
    together: &KindModel,
) -> BTreeMap<String, KindModel> {
    let mut result = BTreeMap::new();
    let Some(posterior) = together.posterior.as_ref().filter(|_| together.failures >= LEAST_FAILURES) else {
        return result;
    };
    let shape = posterior.shape(0.5);
    let lives: Vec<&[Life]> = by_model.values().map(|gathered| gathered.lives.as_slice()).collect();
    let Some(spread) = difference(&lives, shape) else { return result };
    // Rates that differ as a gamma distribution does, about as one of the ln does with the same mean and variance;
    // ages differ by as much over the shape.
    let of_rates = (1.0 / spread).ln_1p();
    let deviation = of_rates.sqrt() / shape;
    let longer = (0.5 * of_rates / shape).exp();
    for (model, gathered) in by_model {
        let Some(name) = model else { continue };
        let others: Vec<Life> = by_model
            .iter()
            .filter(|(other, _)| *other != model)
            .flat_map(|(_, gathered)| gathered.lives.iter().copied())
            .collect();
        let Some(of_others) = together.prior.map(|prior| Posterior::new(Sample::new(&others).as_ref(), &prior)) else {
            continue;
        };
        let [low, middle, high] = of_others.quantiles_of([0.1, 0.5, 0.9], |w| w.quantile(SHARE));
        let known = (high / low).ln() / (2.0 * crate::basis::CENTRAL_80);
        let shape = (of_others.shape(0.1), of_others.shape(0.5), of_others.shape(0.9));
        let believed = Prior::new(shape, SHARE, middle * longer, known.hypot(deviation));
        let mut own = kind_model(part, gathered, together.costs, believed);
        // The book's guess is not the only thing known of it.
        own.status = together.status;
        result.insert(name.clone(), own);
    }
    result
}

/// How groups of lives differ in their rates at a shape: the shape of the gamma distribution of them. `None`
/// if they do not differ by more than chance.
pub fn difference(groups: &[&[Life]], shape: f64) -> Option<f64> {
    // In units of the largest age, whose power would be out of all measure.
    let unit = groups.iter().flat_map(|g| g.iter()).map(Life::last_age).fold(0.0, f64::max);
    let units: Vec<(f64, f64)> = groups
        .iter()
        .map(|lives| {
            let scaled: Vec<Life> = lives.iter().map(|life| in_middle(life, unit)).collect();
            let known = KnownShape::of(&scaled, shape);
            (known.failures, known.exposure)
        })
        .filter(|(_, exposure)| *exposure > 0.0)
        .collect();
    let spread = spread_of_rates(&units)?;
    let (failures, exposure) = units.iter().fold((0.0, 0.0), |sum, u| (sum.0 + u.0, sum.1 + u.1));
    let alike = Gamma { shape: 1e9, rate: 1e9 * exposure / failures };
    let gained = 2.0 * (likelihood(&units, &spread) - likelihood(&units, &alike));
    (gained > LEAST_DIFFERENCE).then_some(spread.shape)
}

/// A life in another unit, its failure at the middle of the ages between which it was found.
fn in_middle(life: &Life, unit: f64) -> Life {
    let end = match life.end {
        End::Failed(age) => End::Failed(age / unit),
        End::Sound(age) => End::Sound(age / unit),
        End::FailedBetween(after, by) => End::Failed(f64::midpoint(after, by) / unit),
    };
    Life { entry: life.entry / unit, end, count: life.count }
}

#[cfg(test)]
mod tests;
