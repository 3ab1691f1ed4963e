//! Do pumps of one model differ in how often their parts fail? One that has failed far more than its
//! exposure explains will go on so: what is expected of it is multiplied by a factor, drawn towards 1 as far
//! as its own few failures leave it unknown.
//!
//! How far pumps differ is not known: each of a few spreads is believed as far as it explains the fleet's pumps, beside the
//! belief that all are alike. Where next to nothing speaks against that, every factor is 1.

use std::collections::BTreeMap;

use crate::address::{Address, Id};
use crate::quantities::part_life_model::FleetLives;
use crate::quantities::part_lives::PartPosition;
use crate::records::Site;
use crate::stats::Life;
use crate::stats::counts::{Gamma, spreads_of_rates, with_moments};

/// Where the belief that pumps differ at all is less, they count as alike.
const LEAST_BELIEF: f64 = 0.05;

/// The lives of a pump's parts.
#[derive(Debug, Clone)]
pub struct PumpLives {
    site: Id,
    at: Address,
    lives: Vec<(Id, Option<String>, Life)>,
}

/// Adds a life to those of its pump.
pub(super) fn add(all: &mut Vec<PumpLives>, site: &Site, position: &PartPosition, model: Option<&String>, life: Life) {
    // Positions come sorted by where they are.
    if all.last().is_none_or(|last| last.at != *position.at) {
        all.push(PumpLives { site: site.id.clone(), at: position.at.clone(), lives: Vec::new() });
    }
    if let Some(last) = all.last_mut() {
        last.lives.push((position.id.clone(), model.cloned(), life));
    }
}

#[cfg(test)]
impl PumpLives {
    /// The lives of a pump's parts, for a simulation.
    pub(crate) fn simulated(site: Id, at: Address, lives: Vec<(Id, Life)>) -> Self {
        Self { site, at, lives: lives.into_iter().map(|(id, life)| (id, None, life)).collect() }
    }
}

/// How pumps differ.
#[derive(Debug, Clone, Default)]
pub struct PumpDifferences {
    factors: BTreeMap<(Id, Address), Gamma>,
}

impl PumpDifferences {
    /// Holds the failures of each pump's parts against what the fleet's lives make of their exposure.
    pub(super) fn new(lives: &FleetLives, pumps: Vec<PumpLives>) -> Self {
        use rayon::prelude::*;
        let units: Vec<(f64, f64)> = pumps
            .par_iter()
            .map(|pump| {
                pump.lives.iter().fold((0.0, 0.0), |(failures, expected), (id, model, life)| {
                    let Some(kind) = lives.kind(id) else { return (failures, expected) };
                    let kind = model.as_ref().and_then(|model| kind.groups.get(model)).unwrap_or(kind);
                    let Some(weibull) = kind.typical else { return (failures, expected) };
                    let hazard = weibull.cumulative_hazard(life.last_age()) - weibull.cumulative_hazard(life.entry);
                    (failures + f64::from(u8::from(life.failed())), expected + hazard)
                })
            })
            .collect();
        let spreads = spreads_of_rates(&units).unwrap_or_default();
        let differ: f64 = spreads.iter().map(|(_, weight)| weight).sum();
        if differ < LEAST_BELIEF {
            return Self::default();
        }
        let factors = pumps.into_iter().zip(units).map(|(pump, (failures, expected))| {
            // The factor is 1 where pumps are alike.
            let (mut mean, mut square) = (1.0 - differ, 1.0 - differ);
            for (spread, weight) in &spreads {
                let own = Gamma { shape: spread.shape + failures, rate: spread.shape + spread.mean() * expected };
                mean += weight * own.mean();
                square += weight * (own.variance() + own.mean().powi(2));
            }
            ((pump.site, pump.at), with_moments(mean, square - mean * mean))
        });
        Self { factors: factors.collect() }
    }

    /// What is known of a pump's factor; `None` = pumps do not differ, it is 1.
    pub fn factor(&self, site: &Id, at: &Address) -> Option<Gamma> {
        self.factors.get(&(site.clone(), at.clone())).copied()
    }
}

#[cfg(test)]
mod tests;
