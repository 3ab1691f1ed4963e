//! What do failures cost most? Each kind of thing that failed, with how often and what one costs, the dearest first.
//!
//! At the prices of the as-of day. A part's failure costs what the life model takes (part, work, damage, call-out, nights); an
//! exchange of a pump that failed its price, its work and the call-out. How long a pump is missing is not written, so its
//! lost nights are not in it. What has no price has no cost here, and comes last.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use rust_decimal::prelude::ToPrimitive;
use uom::si::time::minute;

use crate::costs::year::ASSUMED_EXCHANGE_MINUTES;
use crate::quantities::part_life_model::FleetLives;
use crate::quantities::run_hours::model_now;
use crate::records::Fleet;
use crate::schedule::due::labour_cost;
use crate::site::SiteFigures;

/// What of a kind failed and what that cost.
#[derive(Debug, Clone, PartialEq)]
pub struct FailureCost {
    /// The part, or `pump` for the pump itself.
    pub what: String,
    /// How many.
    pub failures: usize,
    /// What one costs on the average; `None` = a price is not written.
    pub each: Option<f64>,
    /// Its share of the cost of all that have one.
    pub share: Option<f64>,
    /// The share of it and all before it.
    pub summed: Option<f64>,
}

impl FailureCost {
    /// What all of them cost.
    pub fn cost(&self) -> Option<f64> {
        self.each.map(|each| each * self.failures as f64)
    }
}

/// The kinds, what cost most first.
pub fn pareto(fleet: &Fleet, sites: &[SiteFigures], lives: &FleetLives, as_of: NaiveDate) -> Vec<FailureCost> {
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    // Of pumps exchanged: how many have a price, and the sum of those.
    let mut exchanges = (0, 0.0);
    for site in sites {
        let records = site.site.spas.iter().flat_map(|spa| &spa.pumps);
        for (record, pump) in records.zip(site.spas.iter().flat_map(|spa| &spa.pumps)) {
            for what in pump.failures.of_all_units().flat_map(|incident| &incident.what) {
                *counts.entry(what.as_str()).or_default() += 1;
                let price = || exchange(fleet, &model_now(site.site, record)?, as_of);
                if let Some(cost) = (what == "pump").then(price).flatten() {
                    exchanges = (exchanges.0 + 1, exchanges.1 + cost);
                }
            }
        }
    }
    let each = |what: &str| {
        if what == "pump" {
            return (exchanges.0 > 0).then(|| exchanges.1 / f64::from(exchanges.0));
        }
        let (_, kind) = lives.kinds().find(|(id, _)| id.as_str() == what)?;
        kind.costs.map(|costs| costs.failure)
    };
    let mut all: Vec<FailureCost> = counts
        .into_iter()
        .map(|(what, failures)| FailureCost {
            what: what.to_owned(),
            failures,
            each: each(what),
            share: None,
            summed: None,
        })
        .collect();
    all.sort_by(|a, b| b.cost().unwrap_or(-1.0).total_cmp(&a.cost().unwrap_or(-1.0)));
    let total: f64 = all.iter().filter_map(FailureCost::cost).sum();
    let mut sum = 0.0;
    for one in &mut all {
        if let Some(cost) = one.cost().filter(|cost| *cost > 0.0) {
            sum += cost;
            (one.share, one.summed) = (Some(cost / total), Some(sum / total));
        }
    }
    all
}

/// What the exchange of a failed pump costs; `None` = its model's price or that of work is not written.
fn exchange(fleet: &Fleet, model: &str, as_of: NaiveDate) -> Option<f64> {
    let model = fleet.models.get(model)?;
    let pump = model.cost.as_ref()?.on(as_of)?.0.to_f64()?;
    let minutes = model.time.map_or(ASSUMED_EXCHANGE_MINUTES, |time| time.0.get::<minute>());
    let work = labour_cost(fleet, minutes, as_of)?.to_f64()?;
    let callout = fleet.settings.labour.callout.as_ref().and_then(|cost| cost.on(as_of)).and_then(|c| c.0.to_f64());
    Some(pump + work + callout.unwrap_or(0.0))
}
