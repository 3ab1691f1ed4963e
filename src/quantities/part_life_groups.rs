//! Do the pump models differ in how long a part lasts in them? Where the lives show it, each model has a
//! posterior of its own, drawn towards the others' as far as its own lives leave it unknown.
//!
//! What is believed of a model before its own lives is what the other models' lives say: their shape, nearly
//! common to all, and their ages, made as much wider as models differ. A model of few lives is then close to
//! the others, and one of many is its own.

use std::collections::BTreeMap;

use crate::basis::CENTRAL_80;
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
/// By how much the ln of the shape may differ between models: assumed.
const UNLIKE_SHAPE: f64 = 0.1;
/// The share of failed by whose age models are held against each other: B10.
const SHARE: f64 = 0.1;

/// What a model's own lives say: ln B10 and ln shape, each with its variance.
struct Own {
    ln_age: (f64, f64),
    ln_shape: (f64, f64),
}

impl Own {
    fn of(posterior: &Posterior) -> Self {
        let normal = |low: f64, middle: f64, high: f64| {
            let deviation = (high / low).ln() / (2.0 * CENTRAL_80);
            (middle.ln(), deviation * deviation)
        };
        let [low, middle, high] = posterior.quantiles_of([0.1, 0.5, 0.9], |w| w.quantile(SHARE));
        Self {
            ln_age: normal(low, middle, high),
            ln_shape: normal(posterior.shape(0.1), posterior.shape(0.5), posterior.shape(0.9)),
        }
    }
}

/// The models of a kind; none where the lives do not show that they differ.
pub(super) fn groups(
    part: &Part,
    by_model: &BTreeMap<Option<String>, Gathered>,
    together: &KindModel,
) -> BTreeMap<String, KindModel> {
    let mut result = BTreeMap::new();
    let Some(prior) = together.prior.filter(|_| together.failures >= LEAST_FAILURES) else { return result };
    let lives: Vec<&[Life]> = by_model.values().map(|gathered| gathered.lives.as_slice()).collect();
    if lives.len() < 2 {
        return result;
    }
    // Each model's own lives from the book alone. Models put together would show too small a shape: the early
    // failures of one and the late ones of another look like no wearing out.
    let before = Own::of(&Posterior::new(None, &prior));
    let own: Vec<Own> =
        lives.iter().map(|lives| Own::of(&Posterior::new(Sample::new(lives).as_ref(), &prior))).collect();
    let shape_of = |left_out: Option<usize>| {
        // What each adds to the book, put together; the shape is common to all models but for a little.
        let added = own.iter().enumerate().filter(|(i, _)| Some(*i) != left_out).map(|(_, own)| own.ln_shape);
        let (mut precision, mut sum) = (1.0 / before.ln_shape.1, before.ln_shape.0 / before.ln_shape.1);
        for (mean, variance) in added {
            let more = 1.0 / variance - 1.0 / before.ln_shape.1;
            if more > 0.0 {
                precision += more;
                sum += mean / variance - before.ln_shape.0 / before.ln_shape.1;
            }
        }
        (sum / precision, 1.0 / precision)
    };
    let Some(spread) = difference(&lives, shape_of(None).0.exp()) else { return result };
    // Rates that differ as a gamma distribution does, about as one of the ln does with the same mean and variance;
    // ages differ by as much over the shape.
    let of_rates = (1.0 / spread).ln_1p();
    for (index, (model, gathered)) in by_model.iter().enumerate() {
        let Some(name) = model else { continue };
        let (ln_shape, known) = shape_of(Some(index));
        let between = of_rates / (2.0 * ln_shape).exp();
        let others = own.iter().enumerate().filter(|(i, _)| *i != index).map(|(_, own)| own.ln_age);
        let weights = others.map(|(mean, variance)| (mean, 1.0 / (variance + between)));
        let (sum, weight) = weights.fold((0.0, 0.0), |(sum, all), (mean, weight)| (sum + mean * weight, all + weight));
        let around = CENTRAL_80 * (known + UNLIKE_SHAPE * UNLIKE_SHAPE).sqrt();
        let shape = ((ln_shape - around).exp(), ln_shape.exp(), (ln_shape + around).exp());
        let believed = Prior::new(shape, SHARE, (sum / weight).exp(), (between + 1.0 / weight).sqrt());
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
