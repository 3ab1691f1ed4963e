//! Which pumps, models and sites fail more and more often, and which fail more than their like? Decided
//! over the whole fleet, so that the number of pumps looked at does not raise false alarms.
//!
//! A verdict `worsening` or `improving` anywhere in a fleet whose rates are steady comes up in at most
//! one run of twenty a direction (Holm's procedure). Fewer than five failures are a count with an exact
//! range of their rate, never a trend. Pumps that fail more than others of their model are told apart from
//! bad luck with a share of false ones of at most a tenth (Benjamini and Hochberg's).

use std::collections::BTreeMap;

use statrs::distribution::{Binomial, DiscreteCDF};

use crate::address::{Address, Id};
use crate::quantities::SpaFigures;
use crate::quantities::failures::{Failures, LEAST_FAILURES, Trend};
use crate::records::Site;
use crate::records::upkeep::Clock;
use crate::stats::counts::rate_range;
use crate::stats::recurrence::{
    MeanStep, TrendTest, Unit, discoveries, mean_cumulative, misfit, misfit_limit, power_to_find, rejected_together,
    trend_test,
};

/// What failures are put together by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Scope {
    /// One pump: `site/spa/pump`.
    Pump,
    /// All pumps of a model.
    Model,
    /// All pumps of a site.
    Site,
    /// All pumps: `all`.
    Fleet,
}

impl Scope {
    /// The word in tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::Pump => "pump",
            Self::Model => "model",
            Self::Site => "site",
            Self::Fleet => "fleet",
        }
    }
}

/// The level of all verdicts of a direction together.
const PUMPS_LEVEL: f64 = 0.03;
/// The rest of it, shared by models, sites and the fleet: one in twenty in all.
const GROUPS_LEVEL: f64 = 0.02;
/// The exponent whose being found is told as the power: a rate that grows with the hours run.
pub const POWER_AT: f64 = 2.0;
/// The share of false ones among the pumps said to fail more than their like.
const FALSE_OUTLIERS: f64 = 0.1;

/// A pump beside the others of its model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beside {
    /// Failures it would have had at the others' rate.
    pub expected: f64,
    /// The chance of so many or more at that rate.
    pub p_value: f64,
    /// Whether that is more than bad luck explains.
    pub stands_out: bool,
}

/// What the failures of a scope say.
#[derive(Debug, Clone)]
pub struct ScopeTrend {
    /// The clock of the exposure.
    pub clock: Clock,
    /// How many failures, all told.
    pub failures: usize,
    /// What was watched, in hours or days; `None` = nothing.
    pub exposure: Option<f64>,
    /// Failures per hour or day of it, with the exact range of a steady rate.
    pub rate: Option<(f64, f64, f64)>,
    /// The tests of a steady rate; `None` with fewer than five failures.
    pub test: Option<TrendTest>,
    /// Whether a power law fits; `None` = not tested.
    pub fits: Option<bool>,
    /// The verdict.
    pub trend: Trend,
    /// The chance that so many failures would be told as worsening if their rate grew with the hours run.
    pub power: Option<f64>,
    /// A pump beside its like; `None` = there is none, or it has not failed.
    pub beside: Option<Beside>,
    /// Of a group whose pumps together fail more and more often only because some of them do: those.
    pub because_of: Vec<String>,
    /// The mean cumulative failures of its pumps by their age, at each age at which one failed.
    pub mean_failures: Vec<MeanStep>,
    /// The same since the watch began, of pumps whose age may not be known; of groups with failures enough to draw.
    pub mean_watched: Vec<MeanStep>,
}

/// The failures of the whole fleet.
#[derive(Debug, Clone, Default)]
pub struct FailureTrends {
    scopes: BTreeMap<(Scope, String), ScopeTrend>,
}

/// Watches put together.
#[derive(Default)]
struct Gathered {
    failures: usize,
    by_hours: Vec<Unit>,
    by_days: Vec<Unit>,
    /// On the age of each pump, where that is known.
    by_age: Vec<Unit>,
}

impl Gathered {
    fn add(&mut self, failures: &Failures) {
        self.failures += failures.incidents.len();
        let Some(watch) = &failures.watch else { return };
        match failures.clock {
            Clock::Hours => self.by_hours.push(watch.clone()),
            Clock::Age => self.by_days.push(watch.clone()),
        }
        if let (Clock::Hours, Some(from)) = (failures.clock, failures.entered_at) {
            let at = watch.failures.iter().map(|at| from + at).collect();
            self.by_age.push(Unit { from, to: from + watch.to, failures: at });
        }
    }

    fn into_trend(self) -> ScopeTrend {
        let (clock, units) =
            if self.by_hours.is_empty() { (Clock::Age, self.by_days) } else { (Clock::Hours, self.by_hours) };
        let counted: usize = units.iter().map(|u| u.failures.len()).sum();
        let exposure = (!units.is_empty()).then(|| units.iter().map(|u| u.to).sum::<f64>());
        let test = (counted >= LEAST_FAILURES).then(|| trend_test(&units)).flatten();
        ScopeTrend {
            clock,
            failures: self.failures,
            exposure,
            rate: exposure.filter(|e| *e > 0.0).map(|exposure| {
                let (low, high) = rate_range(counted as f64, exposure, 0.8);
                (counted as f64 / exposure, low, high)
            }),
            fits: test.and_then(|test| Some(misfit(&units)? <= misfit_limit(test.failures))),
            trend: if test.is_some() { Trend::Steady } else { Trend::TooFew },
            test,
            power: None,
            beside: None,
            because_of: Vec::new(),
            mean_failures: mean_cumulative(&self.by_age),
            mean_watched: if clock == Clock::Hours && counted >= LEAST_FAILURES && units.len() > 1 {
                mean_cumulative(&units)
            } else {
                Vec::new()
            },
        }
    }
}

/// A pump's watch with what it is put together by.
#[derive(Debug, Clone)]
pub struct Watched<'a> {
    /// `site/spa/pump`; empty = a pump that stood there before and counts in its groups alone.
    pub id: String,
    /// Its model; empty = not known.
    pub model: String,
    /// Its site.
    pub site: String,
    /// Its failures.
    pub failures: &'a Failures,
}

impl FailureTrends {
    /// Judges the failures of all sites.
    pub fn of_sites<'a>(sites: impl Iterator<Item = (&'a Site, &'a [SpaFigures])>) -> Self {
        let pumps = sites.flat_map(|(site, spas)| {
            let records = site.spas.iter().flat_map(|spa| &spa.pumps);
            records.zip(spas.iter().flat_map(|spa| &spa.pumps)).flat_map(move |(pump, figures)| {
                let now = &figures.failures;
                now.units().map(move |unit| Watched {
                    id: if std::ptr::eq(unit, now) { format!("{}/{}", site.id, pump.at) } else { String::new() },
                    model: unit.model.clone().unwrap_or_default(),
                    site: site.id.to_string(),
                    failures: unit,
                })
            })
        });
        Self::new(&pumps.collect::<Vec<_>>())
    }

    /// Judges the failures of pumps.
    pub fn new(pumps: &[Watched]) -> Self {
        let mut gathered: BTreeMap<(Scope, String), Gathered> = BTreeMap::new();
        for pump in pumps {
            let keys = [
                (Scope::Pump, pump.id.clone()),
                (Scope::Model, pump.model.clone()),
                (Scope::Site, pump.site.clone()),
                (Scope::Fleet, "all".to_owned()),
            ];
            for key in keys.into_iter().filter(|key| !key.1.is_empty()) {
                gathered.entry(key).or_default().add(pump.failures);
            }
        }
        let mut scopes: BTreeMap<(Scope, String), ScopeTrend> =
            gathered.into_iter().map(|(key, all)| (key, all.into_trend())).collect();
        judge(&mut scopes);
        retest_without_flagged(&mut scopes, pumps);
        set_beside_their_like(&mut scopes, pumps);
        Self { scopes }
    }

    /// What the failures of a scope say.
    pub fn scope(&self, scope: Scope, id: &str) -> Option<&ScopeTrend> {
        self.scopes.get(&(scope, id.to_owned()))
    }

    /// What the failures of a pump say.
    pub fn pump(&self, site: &Id, at: &Address) -> Option<&ScopeTrend> {
        self.scope(Scope::Pump, &format!("{site}/{at}"))
    }

    /// All scopes, pumps first.
    pub fn all(&self) -> impl Iterator<Item = (Scope, &str, &ScopeTrend)> {
        self.scopes.iter().map(|((scope, id), trend)| (*scope, id.as_str(), trend))
    }
}

/// Gives the verdicts, the level shared by all that can be tested.
fn judge(scopes: &mut BTreeMap<(Scope, String), ScopeTrend>) {
    let mut tested: Vec<(Scope, &mut ScopeTrend)> =
        scopes.iter_mut().filter(|(_, t)| t.test.is_some()).map(|((scope, _), trend)| (*scope, trend)).collect();
    let pumps = tested.iter().filter(|(scope, _)| *scope == Scope::Pump).count();
    let groups = tested.len() - pumps;
    // What one kind does not need the other has.
    let (of_pumps, of_groups) = match (pumps, groups) {
        (_, 0) => (PUMPS_LEVEL + GROUPS_LEVEL, 0.0),
        (0, _) => (0.0, PUMPS_LEVEL + GROUPS_LEVEL),
        _ => (PUMPS_LEVEL, GROUPS_LEVEL),
    };
    let level = |scope: Scope| {
        if scope == Scope::Pump { of_pumps / pumps as f64 } else { of_groups / groups as f64 }
    };
    for (direction, chance) in [
        (Trend::Worsening, (|test| test.p_worsening) as fn(&TrendTest) -> f64),
        (Trend::Improving, |test| test.p_improving),
    ] {
        let tests: Vec<(f64, f64)> =
            tested.iter().map(|(scope, trend)| (trend.test.as_ref().map_or(1.0, chance), level(*scope))).collect();
        for ((_, trend), rejected) in tested.iter_mut().zip(rejected_together(&tests)) {
            if rejected {
                trend.trend = direction;
            }
        }
    }
    for (scope, trend) in &mut tested {
        trend.power = trend.test.map(|test| power_to_find(test.failures, POWER_AT, level(*scope)));
    }
}

/// The level at which what is left of a group must still show a trend.
const STILL_LEVEL: f64 = 0.05;

/// A group in which one pump gets worse looks worse for it. Without the pumps that have the verdict themselves the group is
/// tested again; where no trend is left, it is those pumps', not the group's. It only ever takes verdicts back.
fn retest_without_flagged(scopes: &mut BTreeMap<(Scope, String), ScopeTrend>, pumps: &[Watched]) {
    for (direction, chance) in [
        (Trend::Worsening, (|test| test.p_worsening) as fn(&TrendTest) -> f64),
        (Trend::Improving, |test| test.p_improving),
    ] {
        let verdict = |scope: Scope, id: &str| scopes.get(&(scope, id.to_owned())).map(|trend| trend.trend);
        let (flagged, others): (Vec<&Watched>, Vec<&Watched>) =
            pumps.iter().partition(|pump| verdict(Scope::Pump, &pump.id) == Some(direction));
        if flagged.is_empty() {
            continue;
        }
        let groups: Vec<(Scope, String)> = scopes
            .iter()
            .filter(|((scope, _), trend)| *scope != Scope::Pump && trend.trend == direction)
            .map(|(key, _)| key.clone())
            .collect();
        for (scope, id) in groups {
            let is_in = |pump: &Watched| match scope {
                Scope::Model => pump.model == id,
                Scope::Site => pump.site == id,
                _ => true,
            };
            let because: Vec<String> = flagged.iter().filter(|p| is_in(p)).map(|p| p.id.clone()).collect();
            if because.is_empty() {
                continue;
            }
            let mut rest = Gathered::default();
            others.iter().filter(|pump| is_in(pump)).for_each(|pump| rest.add(pump.failures));
            let still = rest.into_trend().test.is_some_and(|test| chance(&test) <= STILL_LEVEL);
            if let (false, Some(trend)) = (still, scopes.get_mut(&(scope, id))) {
                trend.trend = Trend::Steady;
                trend.because_of = because;
            }
        }
    }
}

/// Sets each pump beside the others of its model: given the failures of all of them, its own are binomial
/// with the share of its exposure, were they alike.
fn set_beside_their_like(scopes: &mut BTreeMap<(Scope, String), ScopeTrend>, pumps: &[Watched]) {
    let mut models: BTreeMap<&str, (f64, f64)> = BTreeMap::new();
    let own = |pump: &Watched| {
        let watch = pump.failures.watch.as_ref().filter(|_| pump.failures.clock == Clock::Hours)?;
        Some((watch.failures.len() as f64, watch.to))
    };
    for pump in pumps.iter().filter(|pump| !pump.model.is_empty()) {
        let Some((failures, hours)) = own(pump) else { continue };
        let sum = models.entry(pump.model.as_str()).or_default();
        *sum = (sum.0 + failures, sum.1 + hours);
    }
    let mut found: Vec<(&Watched, f64, f64)> = Vec::new();
    for pump in pumps {
        let (Some((failures, hours)), Some((all, all_hours))) = (own(pump), models.get(pump.model.as_str())) else {
            continue;
        };
        // Others that were watched and have not failed say as much as others that have; without them nothing is compared.
        if pump.id.is_empty() || failures < 1.0 || *all_hours <= hours || hours <= 0.0 {
            continue;
        }
        let Ok(alike) = Binomial::new(hours / all_hours, *all as u64) else { continue };
        let expected = (all - failures) / (all_hours - hours) * hours;
        found.push((pump, expected, alike.sf(failures as u64 - 1)));
    }
    let chances: Vec<f64> = found.iter().map(|f| f.2).collect();
    for ((pump, expected, p_value), stands_out) in found.into_iter().zip(discoveries(&chances, FALSE_OUTLIERS)) {
        if let Some(trend) = scopes.get_mut(&(Scope::Pump, pump.id.clone())) {
            trend.beside = Some(Beside { expected, p_value, stands_out });
        }
    }
}

#[cfg(test)]
mod tests;
