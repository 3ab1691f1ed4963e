//! Do pumps of one model differ in how often their parts fail? One that has failed far more than its
//! exposure explains will go on so: what is expected of it is multiplied by a factor, drawn towards 1 as far
//! as its own few failures leave it unknown.
//!
//! Where the fleet's pumps differ by no more than chance, every factor is 1.

use std::collections::BTreeMap;

use crate::address::{Address, Id};
use crate::quantities::part_life_model::FleetLives;
use crate::quantities::part_lives::PartPosition;
use crate::records::Site;
use crate::stats::Life;
use crate::stats::counts::{Gamma, likelihood, spread_of_rates};

/// Twice the log-likelihood by which pumps must differ before they are told apart: the one-sided 5 % point
/// of a spread that cannot be negative.
const LEAST_DIFFERENCE: f64 = 2.705_543_454_095_4;

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
        let Some(spread) = spread_of_rates(&units) else { return Self::default() };
        let (failures, expected) = units.iter().fold((0.0, 0.0), |sum, u| (sum.0 + u.0, sum.1 + u.1));
        let alike = Gamma { shape: 1e9, rate: 1e9 * expected / failures };
        if 2.0 * (likelihood(&units, &spread) - likelihood(&units, &alike)) <= LEAST_DIFFERENCE {
            return Self::default();
        }
        let mean = spread.mean();
        let factors = pumps.into_iter().zip(units).map(|(pump, (failures, expected))| {
            let factor = Gamma { shape: spread.shape + failures, rate: spread.shape + mean * expected };
            ((pump.site, pump.at), factor)
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
