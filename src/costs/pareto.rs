//! What do failures cost most? Each kind of thing that failed, with how often and what one costs, the dearest first.
//!
//! At the prices of the as-of day. A part's failure costs what the life model takes (part, work, damage, call-out, nights); an
//! exchange of a pump that failed its price, its work and the call-out. What failed at a site on one day shares one call-out. How long a pump is missing is not written, so its
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
    // Of each kind: the shares of a call-out it did not need, since it came with another's.
    let mut spared: BTreeMap<&str, f64> = BTreeMap::new();
    for site in sites {
        let mut by_day: BTreeMap<NaiveDate, Vec<&str>> = BTreeMap::new();
        for incident in site.spas.iter().flat_map(|spa| &spa.pumps).flat_map(|pump| pump.failures.of_all_units()) {
            by_day.entry(incident.day).or_default().extend(incident.what.iter().map(String::as_str));
        }
        for together in by_day.values() {
            for what in together {
                *spared.entry(what).or_default() += 1.0 - 1.0 / together.len() as f64;
            }
        }
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
    let callout = callout(fleet, as_of).unwrap_or(0.0);
    let mut all: Vec<FailureCost> = counts
        .into_iter()
        .map(|(what, failures)| FailureCost {
            what: what.to_owned(),
            failures,
            each: each(what).map(|each| each - callout * spared.get(what).unwrap_or(&0.0) / failures as f64),
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
    Some(pump + work + callout(fleet, as_of).unwrap_or(0.0))
}

fn callout(fleet: &Fleet, as_of: NaiveDate) -> Option<f64> {
    fleet.settings.labour.callout.as_ref()?.on(as_of)?.0.to_f64()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantities::fleet_for_tests::load_with;

    /// A call-out of 90.00; of three seals one failed alone and two on one day, so that three failures took two call-outs:
    /// each costs 30.00 less than had it come alone.
    #[test]
    fn what_failed_on_one_day_shares_a_call_out() {
        let fleet =
            "{format: 1, fleet: Test, currency: GBP, timezone: Europe/London, labour: {cost: 24.00, callout: 90.00}}";
        let book = "{format: 1, parts: {shaft_seal: {fits: pump, interval: {age: 48 mo}, wears_by: age, cost: 22.00, time: 60 min, \
                    failure: {cost: 260.00}}}}";
        let each = |days: [&str; 3]| {
            let seal = |pump: usize| {
                format!(
                    "{{date: {}, at: {{s/p{pump}: {{renewed: {{shaft_seal: {{because: failure, noticed: in_use}}}}}}}}}}",
                    days[pump]
                )
            };
            let pumps: Vec<String> =
                (0..3).map(|k| format!("p{k}: {{duty: jets, program: {{run: 1 h/day}}}}")).collect();
            let site = format!(
                "{{format: 1, records_from: 2021-01-01, spas: {{s: {{fitted: 2021-01-01, pumps: {{{}}}}}}}, log: [{}, {}, {}]}}",
                pumps.join(", "),
                seal(0),
                seal(1),
                seal(2)
            );
            let files = [("fleet.yaml", fleet), ("upkeep.yaml", book), ("sites/a.yaml", site.as_str())];
            load_with(&files, "2025-12-31", |fleet, figures, as_of| {
                let all = pareto(fleet, std::slice::from_ref(figures), figures.lives, as_of);
                assert_eq!((all.len(), all[0].what.as_str(), all[0].failures), (1, "shaft_seal", 3));
                all[0].each.unwrap()
            })
        };
        let alone = each(["2024-01-05", "2024-06-05", "2025-03-05"]);
        let together = each(["2024-01-05", "2025-03-05", "2025-03-05"]);
        assert!((alone - together - 30.0).abs() < 1e-6, "{alone} {together}");
    }
}
