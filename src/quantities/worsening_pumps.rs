//! What is expected of a pump that fails more and more often? Two stories are weighed. Either its failures go on growing,
//! by a cause of which the lives of other pumps' parts know nothing: then its own failures tell. Or its rate is steady
//! and its failures came late by chance, as must happen to some pump of a large fleet: then it is like its like.
//!
//! Only of pumps with the verdict `worsening`, which is held over the fleet (`failure_trends`). Renewing its parts has
//! not stopped it so far, and where its failures go on growing is not taken to stop it. What has never failed in it is in
//! both stories as in its like. Every page asks here: the pump's count, the chance of each of its parts, what it may cost.

use std::collections::BTreeMap;

use crate::address::{Address, Id};
use crate::quantities::SpaFigures;
use crate::quantities::expected_failures::DAYS;
use crate::quantities::failure_trends::{FailureTrends, Scope, ScopeTrend};
use crate::quantities::failures::{Failures, Trend};
use crate::quantities::hours_forecast::Forecast;
use crate::quantities::part_life_model::FleetLives;
use crate::quantities::part_lives::PartInService;
use crate::records::Site;
use crate::records::upkeep::Clock;
use crate::stats::growth::{BELIEVED, Growing, SOME_GROWS, chance_of_growth};

/// A pump that fails more and more often.
#[derive(Debug, Clone)]
pub struct WorseningPump {
    /// The chance that its failures go on growing.
    pub chance: f64,
    growing: Growing,
    clock: Clock,
    /// Units of its clock that pass in a day to come; `None` = its use is not known.
    per_day: Option<f64>,
    /// How many of its failures were of each part, or of the pump itself (`pump`), in parts of them.
    pub shares: BTreeMap<String, f64>,
}

impl WorseningPump {
    fn new(failures: &Failures, hours_to_come: Option<f64>, before: f64) -> Option<Self> {
        let watch = failures.watch.as_ref()?;
        let chance = chance_of_growth(watch, BELIEVED, before)?;
        let growing = Growing::new(watch, Some(BELIEVED))?;
        let mut shares: BTreeMap<String, f64> = BTreeMap::new();
        for what in failures.incidents.iter().flat_map(|incident| &incident.what) {
            *shares.entry(what.clone()).or_default() += 1.0 / failures.incidents.len() as f64;
        }
        let per_day = match failures.clock {
            Clock::Hours => hours_to_come.map(|hours| hours / DAYS),
            Clock::Age => Some(1.0),
        };
        Some(Self { chance, growing, clock: failures.clock, per_day, shares })
    }

    /// The mean and variance of its failures over some hours and days to come, should they go on growing.
    pub fn to_come(&self, hours: f64, days: f64) -> (f64, f64) {
        self.growing.to_come(0.0, if self.clock == Clock::Hours { hours } else { days }, 1.0)
    }

    /// The chances of at most none, one, two … failures between two days from now, should they go on growing; `None` = its
    /// use is not known.
    pub fn at_most(&self, from_day: f64, to_day: f64) -> Option<Vec<f64>> {
        let per_day = self.per_day?;
        Some(self.growing.at_most(from_day * per_day, to_day * per_day))
    }

    /// The chance and the expected number of failures of one of its parts within an exposure on the part's clock, should its
    /// failures go on growing; `None` = it has not failed here, or its use is not known.
    pub fn of_part(&self, part: &Id, clock: Clock, further: f64) -> Option<(f64, f64)> {
        let share = self.shares.get(part.as_str())?.min(1.0);
        let further = match (clock, self.clock) {
            (Clock::Age, Clock::Hours) => further * self.per_day?,
            (Clock::Hours, Clock::Age) => return None,
            _ => further,
        };
        Some((self.growing.chance(further, share), self.growing.to_come(0.0, further, share).0))
    }
}

impl FleetLives {
    /// Judges which pumps, models and sites fail more and more often, and weighs what the own failures of such pumps let
    /// expect.
    pub fn judge<'a>(&mut self, sites: impl Iterator<Item = (&'a Site, &'a [SpaFigures])> + Clone) {
        self.trends = FailureTrends::of_sites(sites.clone());
        self.worsening.clear();
        let is_tested = |(scope, _, trend): &(Scope, &str, &ScopeTrend)| *scope == Scope::Pump && trend.test.is_some();
        let before = SOME_GROWS / self.trends.all().filter(is_tested).count().max(1) as f64;
        for (site, spas) in sites {
            for pump in spas.iter().flat_map(|spa| &spa.pumps) {
                let trend = self.trends.pump(&site.id, &pump.at).map(|trend| trend.trend);
                if trend == Some(Trend::Worsening)
                    && let Some(own) =
                        WorseningPump::new(&pump.failures, pump.forecast.as_ref().map(Forecast::year), before)
                {
                    self.worsening.insert((site.id.clone(), pump.at.clone()), own);
                }
            }
        }
    }

    /// The pump of which a part's failures are, if it gets worse; `None` = it does not, or the part is in both stories as in
    /// its like: it has not failed here, or it has and waits to be renewed.
    pub fn worsens_with(&self, part: &PartInService) -> Option<&WorseningPump> {
        let own = self.worsening(&part.site, &part.at).filter(|_| part.seen_failed.is_none())?;
        own.of_part(part.id, self.kind(part.id)?.clock, 0.0).map(|_| own)
    }

    /// A pump that fails more and more often; `None` = it does not, as far as can be told.
    pub fn worsening(&self, site: &Id, at: &Address) -> Option<&WorseningPump> {
        if self.worsening.is_empty() {
            return None;
        }
        self.worsening.get(&(site.clone(), at.clone()))
    }
}

#[cfg(test)]
mod tests;
