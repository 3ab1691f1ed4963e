//! How many failures are to be expected in the coming twelve months, of each part, pump, model, site and
//! of the fleet? All from the one model of lives: the parts' posteriors, and a rate for what no part
//! explains.
//!
//! Unless planned renewals are given, nothing is renewed before it fails; what fails is renewed and may
//! fail again. What is not known of a kind of part is the same for all parts of the kind, so that it does
//! not average out over a fleet: counts carry it in their range.
//!
//! It must not be added up from rounded numbers: a range of a sum is not the sum of ranges.

use std::collections::BTreeMap;

use crate::address::Id;
use crate::quantities::PumpFigures;
use crate::quantities::failures::Failures;
use crate::quantities::part_life_model::FleetLives;
use crate::quantities::part_lives::PartInService;
use crate::quantities::worsening_pumps::WorseningPump;
use crate::records::upkeep::Clock;
use crate::stats::counts::{self, Gamma, count_quantiles};
use crate::stats::posterior::{NODES, Posterior};
use crate::stats::renewals::{Outlook, Renewals};
use crate::stats::weibull::Weibull;

/// The days of the twelve months.
pub const DAYS: f64 = 365.0;
/// The most hours in them.
const MOST_HOURS: f64 = 24.0 * DAYS;

/// Failures expected in the coming twelve months: a count, with the central 80 % of what it may come to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExpectedFailures {
    /// The mean.
    pub expected: f64,
    /// The low end: a whole count.
    pub low: f64,
    /// The high end: a whole count.
    pub high: f64,
}

/// What is expected of a part in service.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PartOutlook {
    /// The chance that it fails at all.
    pub chance: f64,
    /// The expected number of failures at its place, with those of what it is renewed by.
    pub expected: f64,
}

/// What a part is exposed to from the as-of day on, on its clock.
#[derive(Debug, Clone, Copy)]
pub struct Exposure<'a> {
    /// To the end that is asked for.
    pub further: f64,
    /// Up to each planned renewal before it, in rising order.
    pub planned: &'a [f64],
}

/// The distributions that a kind's posterior is asked at, each with its renewal function over a year.
#[derive(Debug, Clone)]
pub struct KindOutlook {
    nodes: Vec<(Renewals, f64)>,
}

/// The age of a part on its clock.
#[derive(Debug, Clone, Copy)]
enum Age {
    /// It is sound at it.
    Sound(f64),
    /// It was seen failed and has not been renewed.
    Failed,
}

impl Age {
    fn of(part: &PartInService, age: f64) -> Self {
        if part.seen_failed.is_some() { Self::Failed } else { Self::Sound(age) }
    }
}

impl KindOutlook {
    /// Prepares a posterior whose ages are on a clock.
    pub fn new(posterior: &Posterior, clock: Clock) -> Self {
        let reach = match clock {
            Clock::Hours => MOST_HOURS,
            Clock::Age => DAYS,
        };
        let nodes = posterior.nodes().iter().map(|(w, weight)| (Renewals::new(*w, reach), *weight)).collect();
        Self { nodes }
    }

    /// What each distribution makes of an exposure, for a pump whose rate may be a factor of the kind's.
    fn outlooks<'a>(
        &'a self,
        age: Age,
        further: f64,
        planned: &'a [f64],
        factor: Option<Gamma>,
    ) -> impl Iterator<Item = (Outlook, f64)> + 'a {
        self.nodes.iter().map(move |(node, weight)| {
            let Age::Sound(age) = age else { return (node.failed(further), *weight) };
            let Some(factor) = factor else { return (node.outlook(age, further, planned), *weight) };
            // The chance of outliving goes with the power of the factor, counts with the factor, and what is not
            // known of the factor spreads them.
            let (mean, of) = (factor.mean(), node.outlook(age, further, planned));
            let pairs = (of.square - of.mean) * mean * mean;
            let outlook = Outlook {
                chance: -(mean * (-of.chance).ln_1p()).exp_m1(),
                mean: mean * of.mean,
                square: mean * of.mean + pairs + (mean * of.mean).powi(2) / factor.shape,
            };
            (outlook, *weight)
        })
    }
}

/// Failures of pumps that no wear part of the book explains, over the hours in which they were seen.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct ResidualHistory {
    /// How many.
    pub failures: f64,
    /// Hours run.
    pub hours: f64,
}

impl ResidualHistory {
    /// Those of a pump; `None` = its hours are not known. A failure is explained if a part failed that the
    /// life model knows.
    pub fn of(failures: &Failures, is_modelled: impl Fn(&str) -> bool) -> Option<Self> {
        let hours = failures.units().map(|unit| unit.exposure_hours).sum::<Option<f64>>()?.max(0.0);
        let unexplained = failures.of_all_units().filter(|i| !i.what.iter().any(|part| is_modelled(part))).count();
        Some(Self { failures: unexplained as f64, hours })
    }
}

/// The rate of failures that no part explains.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Residual {
    /// What is known of the fleet's rate, per hour.
    pub fleet: Gamma,
    /// How alike pumps are: the shape of the gamma distribution of their rates about the fleet's; `None` =
    /// they do not differ by more than chance.
    pub likeness: Option<f64>,
}

/// Twice the log-likelihood by which pumps must differ before they are told apart: the one-sided 5 % point
/// of a spread that cannot be negative.
const LEAST_DIFFERENCE: f64 = 2.705_543_454_095_4;

impl Residual {
    /// Learns it from every pump whose hours are known. `None` without hours.
    pub fn new(pumps: &[ResidualHistory]) -> Option<Self> {
        let failures: f64 = pumps.iter().map(|p| p.failures).sum();
        let hours: f64 = pumps.iter().map(|p| p.hours).sum();
        if hours <= 0.0 {
            return None;
        }
        let units: Vec<(f64, f64)> = pumps.iter().filter(|p| p.hours > 0.0).map(|p| (p.failures, p.hours)).collect();
        let alike = Gamma { shape: 1e9, rate: 1e9 * hours / failures.max(0.5) };
        let likeness = counts::spread_of_rates(&units)
            .filter(|spread| {
                2.0 * (counts::likelihood(&units, spread) - counts::likelihood(&units, &alike)) > LEAST_DIFFERENCE
            })
            .map(|spread| spread.shape);
        Some(Self { fleet: counts::rate_of(failures, hours), likeness })
    }

    /// What is known of one pump's rate per hour once the fleet's is given; `None` = it is the fleet's.
    pub fn of_pump(&self, fleet_rate: f64, pump: ResidualHistory) -> Option<Gamma> {
        let likeness = self.likeness?;
        Some(Gamma { shape: likeness + pump.failures, rate: likeness / fleet_rate + pump.hours })
    }

    /// The fleet's rate drawn: once a run of a simulation. `even` draws evenly between 0 and 1.
    pub fn draw_fleet(&self, even: impl FnMut() -> f64) -> f64 {
        self.fleet.draw(even)
    }

    /// A pump's rate drawn for a run whose fleet's rate is drawn.
    pub fn draw_pump(&self, fleet_rate: f64, pump: ResidualHistory, even: impl FnMut() -> f64) -> f64 {
        self.of_pump(fleet_rate, pump).map_or(fleet_rate, |rate| rate.draw(even))
    }

    /// Two of the fleet's rates with weights: Gauss and Laguerre's for a gamma distribution, which give its
    /// mean and variance exactly.
    fn nodes(&self) -> [(f64, f64); 2] {
        let root = (self.fleet.shape + 1.0).sqrt();
        let high = (root - 1.0) / (2.0 * root);
        let rate = |value: f64| value / self.fleet.rate;
        [(rate(self.fleet.shape + 1.0 - root), 1.0 - high), (rate(self.fleet.shape + 1.0 + root), high)]
    }
}

/// What adds up of the failures expected of some parts and pumps: for each kind of part the means under
/// each distribution it may have, so that the range of any sum can be told.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    kinds: BTreeMap<(usize, usize), KindTally>,
    residual: ResidualTally,
    /// What the own failures of pumps that get worse add to the mean and the variance of all the rest.
    own: (f64, f64),
}

#[derive(Debug, Clone)]
struct KindTally {
    means: [f64; NODES],
    within: f64,
}

#[derive(Debug, Clone, Default)]
struct ResidualTally {
    means: [f64; 2],
    within: f64,
}

impl Tally {
    /// Adds another.
    pub fn add(&mut self, other: &Self) {
        for (key, more) in &other.kinds {
            let kind = self.kinds.entry(*key).or_insert(KindTally { means: [0.0; NODES], within: 0.0 });
            kind.means.iter_mut().zip(more.means).for_each(|(sum, mean)| *sum += mean);
            kind.within += more.within;
        }
        self.residual.means.iter_mut().zip(other.residual.means).for_each(|(sum, mean)| *sum += mean);
        self.residual.within += other.residual.within;
        self.own = (self.own.0 + other.own.0, self.own.1 + other.own.1);
    }

    /// The count to come and its range.
    pub fn expected(&self, lives: &FleetLives) -> ExpectedFailures {
        let (mean, variance) = self.moments(lives);
        let [low, high] = count_quantiles(mean, variance, [0.1, 0.9]);
        ExpectedFailures { expected: mean, low, high }
    }

    /// The mean and the variance of the count to come.
    pub fn moments(&self, lives: &FleetLives) -> (f64, f64) {
        let (mut mean, mut variance) = (self.own.0, self.residual.within + self.own.1);
        let mut add = |means: &[f64], weights: &mut dyn Iterator<Item = f64>| {
            let (mut first, mut second) = (0.0, 0.0);
            for (mean, weight) in means.iter().zip(weights) {
                first += weight * mean;
                second += weight * mean * mean;
            }
            mean += first;
            variance += (second - first * first).max(0.0);
        };
        for (key, kind) in &self.kinds {
            if let Some(outlook) = lives.outlook(*key) {
                add(&kind.means, &mut outlook.nodes.iter().map(|n| n.1));
            }
        }
        if let Some(residual) = &lives.residual {
            add(&self.residual.means, &mut residual.nodes().into_iter().map(|n| n.1));
        }
        variance += self.kinds.values().map(|kind| kind.within).sum::<f64>();
        (mean, variance)
    }

    /// Weighs what is in it, the failures of one pump, against the mean and variance that its own failures let expect, which
    /// are believed with a chance. What the pump shares with its like it goes on sharing, as far as it is like them.
    fn weigh(&mut self, chance: f64, own: (f64, f64), lives: &FleetLives) {
        let (mean, variance) = counts::mixed(chance, own, self.moments(lives));
        let rest = 1.0 - chance;
        for kind in self.kinds.values_mut() {
            kind.means.iter_mut().for_each(|mean| *mean *= rest);
            kind.within *= rest;
        }
        self.residual.means.iter_mut().for_each(|mean| *mean *= rest);
        self.residual.within *= rest;
        let kept = self.moments(lives);
        self.own = (mean - kept.0, variance - kept.1);
    }

    fn add_part(
        &mut self,
        key: (usize, usize),
        outlook: &KindOutlook,
        (age, further): (Age, f64),
        planned: &[f64],
        factor: Option<Gamma>,
    ) {
        let kind = self.kinds.entry(key).or_insert(KindTally { means: [0.0; NODES], within: 0.0 });
        for ((outlook, weight), sum) in outlook.outlooks(age, further, planned, factor).zip(&mut kind.means) {
            *sum += outlook.mean;
            kind.within += weight * (outlook.square - outlook.mean * outlook.mean);
        }
    }

    fn add_residual(&mut self, residual: &Residual, pump: ResidualHistory, hours: f64) {
        for ((rate, weight), sum) in residual.nodes().into_iter().zip(&mut self.residual.means) {
            let (mean, variance) = match residual.of_pump(rate, pump) {
                Some(of_pump) => (of_pump.mean() * hours, of_pump.variance() * hours * hours),
                None => (rate * hours, 0.0),
            };
            *sum += mean;
            self.residual.within += weight * (mean + variance);
        }
    }
}

/// What is expected of a pump: the failures of its parts and those that no part explains.
#[derive(Debug, Clone)]
pub struct PumpOutlook {
    /// The count of the coming twelve months.
    pub failures: ExpectedFailures,
    /// What adds up of it.
    pub tally: Tally,
}

impl FleetLives {
    /// What is expected of a part in the coming twelve months; `None` = its age, its use or its life is
    /// not known. Hours to come are those expected of its pump.
    pub fn part_outlook(&self, part: &PartInService, hours_to_come: Option<f64>) -> Option<PartOutlook> {
        let kind = self.kind(part.id)?;
        let (age, further) = on_clock(kind.clock, part.age_days.map(|d| d as f64), part.age_hours, hours_to_come)?;
        self.outlook_with(part, age, further, &[])
    }

    /// The same of a part at an age on its clock within a further exposure, renewed after each of some
    /// planned exposures in rising order unless it has failed by then.
    pub fn outlook_with(&self, part: &PartInService, age: f64, further: f64, planned: &[f64]) -> Option<PartOutlook> {
        let (_, outlook) = self.outlook_of(part)?;
        let factor = self.pumps.factor(&part.site, &part.at);
        let (mut chance, mut expected) = (0.0, 0.0);
        for (of_node, weight) in outlook.outlooks(Age::of(part, age), further, planned, factor) {
            chance += weight * of_node.chance;
            expected += weight * of_node.mean;
        }
        if let Some((own, of_own)) = self.by_its_own(part, further) {
            chance += own.chance * (of_own.0 - chance);
            expected += own.chance * (of_own.1 - expected);
        }
        (chance.is_finite() && expected.is_finite()).then_some(PartOutlook { chance, expected })
    }

    /// Failures expected of a part's place within an exposure, under each of the distributions its kind may have, whose
    /// weights are [`Self::weights_of`] it; `None` = nothing is known of its lives, or its use is not known. Of a part
    /// of unknown age, the age is the least that the records allow.
    pub fn means_of(&self, part: &PartInService, exposure: &Exposure) -> Option<Vec<f64>> {
        let (_, outlook) = self.outlook_of(part)?;
        let age = match self.kind(part.id)?.clock {
            Clock::Age => part.age_days.unwrap_or(part.least_days) as f64,
            Clock::Hours => part.age_hours.unwrap_or(part.least_hours),
        };
        let factor = self.pumps.factor(&part.site, &part.at);
        let outlooks = outlook.outlooks(Age::of(part, age), exposure.further, exposure.planned, factor);
        let mut means: Vec<f64> = outlooks.map(|(of_node, _)| of_node.mean).collect();
        if let Some((own, (_, expected))) = self.by_its_own(part, exposure.further) {
            for mean in &mut means {
                *mean += own.chance * (expected - *mean);
            }
        }
        means.iter().all(|mean| mean.is_finite()).then_some(means)
    }

    /// A part's pump that gets worse, with the chance and the expected number of the part's failures should that go on.
    fn by_its_own(&self, part: &PartInService, further: f64) -> Option<(&WorseningPump, (f64, f64))> {
        let own = self.worsens_with(part)?;
        Some((own, own.of_part(part.id, self.kind(part.id)?.clock, further)?))
    }

    /// How far each of the distributions that a kind of part may have is believed; they add up to one. Empty: nothing is
    /// known of its lives.
    pub fn weights_of(&self, kind: &Id) -> Vec<f64> {
        let outlook = self.kind(kind).and_then(|kind| kind.outlook.as_ref());
        outlook.map_or_else(Vec::new, |outlook| outlook.nodes.iter().map(|(_, weight)| *weight).collect())
    }

    /// What is expected of a pump in the coming twelve months, from its parts in service; `None` = its use
    /// to come is not known. Of a part of unknown age, the age is the least that the records allow.
    pub fn pump_outlook(&self, site: &Id, pump: &PumpFigures, parts: &[&PartInService]) -> Option<PumpOutlook> {
        let parts: Vec<_> = parts.iter().map(|part| (*part, Vec::new())).collect();
        let tally = self.pump_tally(site, pump, &parts, pump.forecast.as_ref()?.year(), DAYS);
        Some(PumpOutlook { failures: tally.expected(self), tally })
    }

    /// What adds up of a pump's failures over some hours and days to come. Each part comes with the exposures,
    /// on its clock and in rising order, after which it is renewed unless it has failed by then. Of a pump that gets worse its own
    /// failures are weighed against that.
    pub fn pump_tally(
        &self,
        site: &Id,
        pump: &PumpFigures,
        parts: &[(&PartInService, Vec<f64>)],
        hours_to_come: f64,
        days_to_come: f64,
    ) -> Tally {
        let (mut tally, mut weighed) = (Tally::default(), Tally::default());
        let own = self.worsening(site, &pump.at);
        for (part, planned) in parts {
            let (Some((key, outlook)), Some(kind)) = (self.outlook_of(part), self.kind(part.id)) else { continue };
            let at_least = match kind.clock {
                Clock::Age => (part.age_days.unwrap_or(part.least_days) as f64, days_to_come),
                Clock::Hours => (part.age_hours.unwrap_or(part.least_hours), hours_to_come),
            };
            let at_least = (Age::of(part, at_least.0), at_least.1);
            let factor = self.pumps.factor(&part.site, &part.at);
            let tally = if self.worsens_with(part).is_some() { &mut weighed } else { &mut tally };
            tally.add_part(key, outlook, at_least, planned, factor);
        }
        if let (Some(residual), Some(history)) = (&self.residual, self.residual_history(&pump.failures)) {
            let tally = if own.is_some() && history.failures > 0.0 { &mut weighed } else { &mut tally };
            tally.add_residual(residual, history, hours_to_come);
        }
        if let Some(own) = own {
            weighed.weigh(own.chance, own.to_come(hours_to_come, days_to_come), self);
            tally.add(&weighed);
        }
        tally
    }

    /// The failures of a pump that no part explains.
    pub fn residual_history(&self, failures: &Failures) -> Option<ResidualHistory> {
        ResidualHistory::of(failures, |name| {
            self.kinds().any(|(id, kind)| id.as_str() == name && kind.posterior.is_some())
        })
    }

    /// A distribution of lives drawn from what is known of a part's kind, in the unit of its clock; `even`
    /// is drawn evenly between 0 and 1, once a run of a simulation for all parts of the kind. Where pumps
    /// differ, `pumps.factor` has what is to be put on top with [`Weibull::at_rate`].
    pub fn draw(&self, part: &PartInService, even: f64) -> Option<Weibull> {
        Some(self.posterior_of(part)?.draw(even))
    }
}

/// An age and an exposure to come on a clock.
fn on_clock(clock: Clock, days: Option<f64>, hours: Option<f64>, hours_to_come: Option<f64>) -> Option<(f64, f64)> {
    match clock {
        Clock::Age => Some((days?, DAYS)),
        Clock::Hours => Some((hours?, hours_to_come?)),
    }
}

impl Weibull {
    /// The same lives at a rate that is a factor of theirs.
    #[must_use]
    pub fn at_rate(&self, factor: f64) -> Self {
        Self { shape: self.shape, scale: self.scale * factor.powf(-1.0 / self.shape) }
    }

    /// The age at failure of a part that is sound at an age; `even` is drawn evenly between 0 and 1.
    pub fn age_at_failure(&self, age: f64, even: f64) -> f64 {
        self.scale * (self.cumulative_hazard(age) - even.ln()).powf(1.0 / self.shape)
    }
}

#[cfg(test)]
mod tests;
