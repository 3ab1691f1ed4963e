//! What do the fleet's own lives say of each kind of part? The lives of every position of all sites,
//! pooled; from them and the book one posterior a kind, from which every later figure comes.
//!
//! Only what was watched counts: a life enters at the age it had when the records begin. A failure
//! found at a visit happened since the part was last seen good; a day of fitting known only as a month
//! or a year makes the age at failure a range. What failed with no known age is counted, but says
//! nothing of ages.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use rust_decimal::prelude::ToPrimitive;
use uom::si::time::hour;

use crate::address::{Address, Id};
use crate::calendar::days_between;
use crate::quantities::SpaFigures;
use crate::quantities::expected_failures::{KindOutlook, Residual, ResidualHistory};
use crate::quantities::failed_together;
use crate::quantities::failure_trends::FailureTrends;
use crate::quantities::part_life_groups;
use crate::quantities::part_lives::{self, LifeEnd, PartInService, PartLife, PartPosition};
use crate::quantities::pump_differences::{self, PumpDifferences, PumpLives};
use crate::quantities::worsening_pumps::WorseningPump;
use crate::records::upkeep::{Clock, Part};
use crate::records::{Fleet, Site};
use crate::schedule::due;
use crate::stats::decision;
pub use crate::stats::decision::{Advice, FEW_FAILURES};
use crate::stats::posterior::{NODES, Posterior, Prior, Replacement};
use crate::stats::replacement::Costs;
use crate::stats::survival::product_limit;
use crate::stats::weibull::{Interval, Sample, Weibull};
use crate::stats::{End, Life};

/// The share that is believed to have failed by the book's interval: it is read as a B10 life, since whoever
/// wrote an interval wanted few to fail before it. Common practice, no source.
pub const BOOK_SHARE: f64 = 0.1;
/// Standard deviation of the ln of the book's interval: a guess within a factor of 3.6 four times in five. That
/// holds as well what the book may have meant instead: at a shape of 1.4, from the age by which one in fifty
/// has failed to the one by which nearly half have.
const BOOK_DEVIATION: f64 = 1.0;
/// The shapes believed of a part whose line of the book has none: assumed, and kept wide.
const ASSUMED_SHAPE: (f64, f64, f64) = (0.7, 1.3, 3.5);

/// Whether the fleet's own lives can say something.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    /// They can.
    Ok,
    /// Fewer than five failures: the book leads.
    FewFailures,
    /// None has failed: what is said is the book's guess, held against the ages reached.
    NoFailures,
    /// The book has no interval on the part's clock, or no life has a known age.
    NotEstimable,
}

impl Status {
    /// The word in tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::Ok => "ok",
            Self::FewFailures => "few failures",
            Self::NoFailures => "no failures",
            Self::NotEstimable => "not estimable",
        }
    }
}

/// The share of parts sound at an age of those sound at an earlier one, with no curve assumed and by the
/// posterior. Ends are those of the central 80 %.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurveCheck {
    /// The earlier age: few are watched before it.
    pub from: f64,
    /// The age: half of the failures after the earlier one are before it.
    pub age: f64,
    /// With no curve assumed: the low end, the share, the high end.
    pub counted: [f64; 3],
    /// By the posterior.
    pub modelled: [f64; 3],
}

impl CurveCheck {
    /// Parts that must be watched at an age.
    const LEAST_WATCHED: f64 = 5.0;

    fn new(lives: &[Life], posterior: &Posterior) -> Option<Self> {
        let steps = product_limit(lives, 0.8);
        let first = steps.iter().position(|step| step.at_risk >= Self::LEAST_WATCHED)?;
        let end = steps.iter().rposition(|step| step.at_risk >= Self::LEAST_WATCHED)? + 1;
        if end < first + FEW_FAILURES {
            return None;
        }
        let (begin, middle) = (&steps[first], &steps[first + (end - first) / 2]);
        let (hazard, variance) = (middle.hazard.0 - begin.hazard.0, middle.hazard.1 - begin.hazard.1);
        let reach = (crate::basis::CENTRAL_80 * variance.sqrt() / hazard).exp();
        let further = |w: &Weibull| (w.cumulative_hazard(begin.age) - w.cumulative_hazard(middle.age)).exp();
        (hazard > 0.0).then(|| Self {
            from: begin.age,
            age: middle.age,
            counted: [hazard * reach, hazard, hazard / reach].map(|h| (-h).exp()),
            modelled: posterior.quantiles_of([0.1, 0.5, 0.9], further),
        })
    }

    /// Whether the two ranges have nothing in common.
    pub fn disagrees(&self) -> bool {
        self.counted[2] < self.modelled[0] || self.counted[0] > self.modelled[2]
    }
}

/// A kind of part over the fleet.
#[derive(Debug, Clone)]
pub struct KindModel {
    /// The clock its lives are measured on.
    pub clock: Clock,
    /// Parts in service.
    pub in_service: usize,
    /// Failures in the estimate.
    pub failures: usize,
    /// Failures whose age is not known.
    pub failures_of_unknown_age: usize,
    /// The book's interval on the clock, in hours or days.
    pub book: Option<f64>,
    /// The ages on the clock at which the book has parts renewed, each the earlier of its limits at a usual use, with the
    /// exposure that a day brings to all of that use.
    pub renewed_at: Vec<(f64, f64)>,
    /// What is known of its lives.
    pub posterior: Option<Posterior>,
    /// Maximum likelihood beside it, with the shape's 80 % likelihood-ratio interval.
    pub maximum: Option<(Weibull, Interval)>,
    /// What was believed before any life was seen.
    pub prior: Option<Prior>,
    /// The distribution in the middle of what is known.
    pub typical: Option<Weibull>,
    /// The posterior made ready to be asked of every part.
    pub outlook: Option<KindOutlook>,
    /// The share still sound with no curve assumed, beside the posterior's; `None` = too few lives.
    pub curve_check: Option<CurveCheck>,
    /// What renewing costs; `None` = a price is not written.
    pub costs: Option<Costs>,
    /// What the best age comes to; only where something has failed.
    pub replacement: Option<Replacement>,
    /// How firm it is.
    pub status: Status,
    /// The same of each pump model, where the lives show that models differ; by the model's name.
    pub groups: BTreeMap<String, KindModel>,
}

/// The lives of all kinds of part over the fleet.
#[derive(Debug, Clone, Default)]
pub struct FleetLives {
    kinds: BTreeMap<Id, KindModel>,
    /// The rate of pump failures that no part explains; `None` = no pump's hours are known.
    pub residual: Option<Residual>,
    early: BTreeMap<Id, EarlyFailures>,
    /// How pumps differ in the failures of their parts.
    pub pumps: PumpDifferences,
    /// Which pumps, models and sites fail more and more often.
    pub trends: FailureTrends,
    /// What is expected of the pumps among them.
    pub(super) worsening: BTreeMap<(Id, Address), WorseningPump>,
}

/// The lives of one kind at some sites.
#[derive(Debug, Clone, Default)]
pub(super) struct Gathered {
    pub(super) lives: Vec<Life>,
    in_service: usize,
    failures_of_unknown_age: usize,
    /// Hours run and the days of that, of what the parts in service stand in, by how much it runs.
    uses: BTreeMap<i32, (f64, f64)>,
}

/// By how much uses differ that are told apart, as a step of the ln of hours a day.
const USE_STEP: f64 = 0.25;

impl Gathered {
    fn add_use(&mut self, hours: f64, days: f64) {
        if hours > 0.0 && days > 0.0 {
            let run = self.uses.entry(((hours / days).ln() / USE_STEP).round() as i32).or_default();
            *run = (run.0 + hours, run.1 + days);
        }
    }

    fn add(&mut self, more: &Self) {
        self.lives.extend(&more.lives);
        self.in_service += more.in_service;
        self.failures_of_unknown_age += more.failures_of_unknown_age;
        for (step, more) in &more.uses {
            let run = self.uses.entry(*step).or_default();
            *run = (run.0 + more.0, run.1 + more.1);
        }
    }
}

/// The lives of a site by kind, gathered before the fleet's are put together.
#[derive(Debug, Clone, Default)]
pub struct SiteLives {
    /// By kind and pump model; no model where it is not in a pump, or its model is not known.
    kinds: BTreeMap<(Id, Option<String>), Gathered>,
    /// Each pump's own lives, to be held against what the fleet's make of them.
    pumps: Vec<PumpLives>,
    residual: Vec<ResidualHistory>,
    early: BTreeMap<Id, EarlyFailures>,
}

/// Failures of a kind of known age, and those of them soon after the part was new.
#[derive(Debug, Clone, Copy, Default)]
pub struct EarlyFailures {
    /// How many came soon.
    pub early: usize,
    /// Of how many.
    pub of: usize,
}

impl SiteLives {
    pub(super) fn count_early(&mut self, id: &Id, early: bool) {
        let counts = self.early.entry(id.clone()).or_default();
        counts.early += usize::from(early);
        counts.of += 1;
    }
}

/// The clock a part's life is measured on: as its line says, else hours where the book limits them.
pub fn clock_of(part: &Part) -> Clock {
    part.wears_by.unwrap_or(if part.interval.hours.is_some() { Clock::Hours } else { Clock::Age })
}

/// The book's interval on a part's clock, in hours or days.
pub(super) fn book_age(part: &Part) -> Option<f64> {
    match clock_of(part) {
        Clock::Hours => part.interval.hours.map(|h| h.0.get::<hour>()),
        Clock::Age => part.interval.age.map(crate::units::Period::mean_days),
    }
}

/// The ages on a part's clock at which the book has it renewed, at each use, with the exposure of a day.
fn renewed_at(part: &Part, gathered: &Gathered) -> Vec<(f64, f64)> {
    let by_hours = part.interval.hours.map(|h| h.0.get::<hour>());
    let by_age = part.interval.age.map(crate::units::Period::mean_days);
    let earlier = |own: Option<f64>, other: Option<f64>| match (own, other) {
        (Some(own), Some(other)) => Some(own.min(other)),
        (one, other) => one.or(other),
    };
    let at = |(hours, days): &(f64, f64)| {
        let per_day = hours / days;
        Some(match clock_of(part) {
            Clock::Hours => (earlier(by_hours, by_age.map(|age| age * per_day))?, *hours),
            Clock::Age => (earlier(by_age, by_hours.map(|hours| hours / per_day))?, *days),
        })
    };
    let all: Vec<(f64, f64)> = gathered.uses.values().filter_map(at).collect();
    if all.is_empty() { book_age(part).map(|age| (age, 1.0)).into_iter().collect() } else { all }
}

/// Gathers the lives of a site up to the as-of day.
pub fn site_lives(fleet: &Fleet, site: &Site, figures: &[SpaFigures], as_of: NaiveDate) -> SiteLives {
    let mut result = SiteLives::default();
    let is_modelled =
        |name: &str| fleet.book.parts.iter().any(|(id, part)| id.as_str() == name && book_age(part).is_some());
    let pumps = figures.iter().flat_map(|spa| &spa.pumps);
    result.residual = pumps.filter_map(|pump| ResidualHistory::of(&pump.failures, is_modelled)).collect();
    let Some(watched_from) = site.records_start() else {
        // Nothing is recorded yet: parts stand there, and no life has been watched.
        for position in part_lives::part_positions(fleet, site, figures, as_of) {
            let model = position.lives.last().and_then(|life| life.model.clone());
            result.kinds.entry((position.id.clone(), model)).or_default().in_service += 1;
        }
        return result;
    };
    let positions = part_lives::part_positions(fleet, site, figures, as_of);
    failed_together::count_early(&positions, &mut result);
    for position in positions {
        for life in &position.lives {
            let gathered = result.kinds.entry((position.id.clone(), life.model.clone())).or_default();
            if life.end == LifeEnd::InService {
                gathered.in_service += 1;
                if let Some((hours, run)) = position.hours.and_then(|h| Some((h, h.hours_between(h.start, h.end)?))) {
                    gathered.add_use(run, days_between(hours.start, hours.end) as f64);
                }
            }
            match life_of(&position, life, watched_from, as_of) {
                Watched::Life(watched) => {
                    gathered.lives.push(watched);
                    if position.hours.is_some() {
                        pump_differences::add(&mut result.pumps, site, &position, life.model.as_ref(), watched);
                    }
                }
                Watched::FailureOfUnknownAge => gathered.failures_of_unknown_age += 1,
                Watched::Nothing => {}
            }
        }
    }
    result
}

/// What was watched of a life.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Watched {
    Life(Life),
    FailureOfUnknownAge,
    Nothing,
}

fn life_of(position: &PartPosition, life: &PartLife, watched_from: NaiveDate, as_of: NaiveDate) -> Watched {
    let last_day = position.hours.map_or(as_of, |hours| hours.end.min(as_of));
    // Seen failed and not renewed yet: it has failed all the same.
    let ended = match (life.end, life.seen_failed) {
        (LifeEnd::InService, Some(seen)) => LifeEnd::FoundFailed(seen),
        (end, _) => end,
    };
    let day = match ended {
        LifeEnd::InService => last_day,
        LifeEnd::Sound(day) | LifeEnd::Failed(day) | LifeEnd::FoundFailed(day) => day.min(as_of),
    };
    let failed = matches!(ended, LifeEnd::Failed(_) | LifeEnd::FoundFailed(_));
    if day < watched_from {
        return Watched::Nothing;
    }
    let unknown = if failed { Watched::FailureOfUnknownAge } else { Watched::Nothing };
    let Some((start, (first, last))) = life.fitted.middle().zip(life.fitted.range()) else { return unknown };
    let age_on = |to: NaiveDate| age_between(position, start, to);
    let (Some(entry), Some(age)) = (age_on(start.max(watched_from).min(day)), age_on(day)) else { return unknown };
    // A failure on the day of fitting, or before the pump has run at all, had some age: half a day, half an hour.
    let age = if failed { age.max(entry + 0.5) } else { age };
    if age <= entry {
        return Watched::Nothing;
    }
    // A day of fitting that is not exact moves the age by its share of the days.
    let days = days_between(start, day).max(1) as f64;
    let scaled = |from: NaiveDate| age * days_between(from.min(day), day) as f64 / days;
    let (youngest, oldest) = (scaled(last).max(entry), scaled(first).max(age));
    let between = |low: f64, high: f64| {
        if high > low { End::FailedBetween(low, high) } else { End::Failed(high) }
    };
    let end = match ended {
        LifeEnd::InService | LifeEnd::Sound(_) => End::Sound(age),
        LifeEnd::Failed(_) if first == last => End::Failed(age),
        LifeEnd::Failed(_) => between(youngest, oldest),
        LifeEnd::FoundFailed(_) => {
            let seen = life.seen_good.filter(|seen| *seen < day).and_then(age_on).unwrap_or(0.0).max(entry);
            between(seen.min(age), oldest)
        }
    };
    Watched::Life(Life { entry, end, count: 1.0 })
}

/// The age on the clock of a position's part that came on a day, on another; `None` = not known.
pub(super) fn age_between(position: &PartPosition, came: NaiveDate, to: NaiveDate) -> Option<f64> {
    match clock_of(position.part) {
        Clock::Age => Some(days_between(came, to) as f64),
        Clock::Hours => {
            let hours = position.hours.filter(|hours| came >= hours.start)?;
            hours.hours_between(came, to.min(hours.end))
        }
    }
}

impl FleetLives {
    /// Puts the lives of all sites together, in the sites' order.
    pub fn new<'a>(fleet: &Fleet, sites: impl Iterator<Item = (&'a Site, SiteLives)>, as_of: NaiveDate) -> Self {
        Self::put_together(fleet, sites, as_of, true)
    }

    /// The same where only the number of failures to come is asked for: when renewing would pay is not worked out.
    pub fn for_counts<'a>(fleet: &Fleet, sites: impl Iterator<Item = (&'a Site, SiteLives)>, as_of: NaiveDate) -> Self {
        Self::put_together(fleet, sites, as_of, false)
    }

    fn put_together<'a>(
        fleet: &Fleet,
        sites: impl Iterator<Item = (&'a Site, SiteLives)>,
        as_of: NaiveDate,
        with_advice: bool,
    ) -> Self {
        use rayon::prelude::*;
        let mut all: BTreeMap<Id, BTreeMap<Option<String>, Gathered>> = BTreeMap::new();
        let mut pumps = Vec::new();
        let mut lost_nights = Vec::new();
        let mut residual = Vec::new();
        let mut early: BTreeMap<Id, EarlyFailures> = BTreeMap::new();
        for (site, lives) in sites {
            residual.extend(lives.residual);
            for (id, more) in lives.early {
                let counts = early.entry(id).or_default();
                counts.early += more.early;
                counts.of += more.of;
            }
            lost_nights.extend(site.lost_night.as_ref().and_then(|cost| cost.on(as_of)).and_then(|m| m.0.to_f64()));
            pumps.extend(lives.pumps);
            for ((id, model), more) in lives.kinds {
                let gathered = all.entry(id).or_default().entry(model).or_default();
                gathered.add(&more);
            }
        }
        let lost_night =
            if lost_nights.is_empty() { 0.0 } else { lost_nights.iter().sum::<f64>() / lost_nights.len() as f64 };
        let kinds: Vec<(Id, KindModel)> = all
            .into_par_iter()
            .filter_map(|(id, by_model)| {
                let part = fleet.book.parts.get(&id)?;
                let costs = if with_advice { costs(fleet, part, lost_night, as_of) } else { None };
                let mut together = Gathered::default();
                for gathered in by_model.values() {
                    together.add(gathered);
                }
                let mut kind = kind_model(part, &together, costs, None);
                kind.groups = part_life_groups::groups(part, &by_model, &kind);
                Some((id, kind))
            })
            .collect();
        let mut lives = Self {
            kinds: kinds.into_iter().collect(),
            residual: Residual::new(&residual),
            early,
            pumps: PumpDifferences::default(),
            trends: FailureTrends::default(),
            worsening: BTreeMap::new(),
        };
        lives.pumps = PumpDifferences::new(&lives, pumps);
        lives
    }

    /// How many failures of a kind came soon after the part was new.
    pub fn early(&self, id: &Id) -> EarlyFailures {
        self.early.get(id).copied().unwrap_or_default()
    }

    /// A kind of part.
    pub fn kind(&self, id: &Id) -> Option<&KindModel> {
        self.kinds.get(id)
    }

    /// Every kind of part that stands somewhere, by its id.
    pub fn kinds(&self) -> impl Iterator<Item = (&Id, &KindModel)> {
        self.kinds.iter()
    }

    /// What is known of the lives of a part in service, in the unit of its clock.
    pub fn posterior_of(&self, part: &PartInService) -> Option<&Posterior> {
        self.kind_of(part)?.posterior.as_ref()
    }

    /// The kind of a part in service: its pump model's own, where models differ.
    pub fn kind_of(&self, part: &PartInService) -> Option<&KindModel> {
        let kind = self.kind(part.id)?;
        Some(part.model.as_ref().and_then(|model| kind.groups.get(model)).unwrap_or(kind))
    }

    /// The same made ready, with its number among the kinds.
    pub(super) fn outlook_of(&self, part: &PartInService) -> Option<((usize, usize), &KindOutlook)> {
        let index = self.kinds.keys().position(|id| id == part.id)?;
        let kind = self.kind(part.id)?;
        let group = part.model.as_ref().and_then(|model| kind.groups.keys().position(|name| name == model));
        match group {
            Some(group) => Some(((index, group + 1), kind.groups.values().nth(group)?.outlook.as_ref()?)),
            None => Some(((index, 0), kind.outlook.as_ref()?)),
        }
    }

    /// The one of a number.
    pub(super) fn outlook(&self, (kind, group): (usize, usize)) -> Option<&KindOutlook> {
        let kind = self.kinds.values().nth(kind)?;
        match group {
            0 => kind.outlook.as_ref(),
            group => kind.groups.values().nth(group - 1)?.outlook.as_ref(),
        }
    }
}

/// What renewing costs: in good time the part and its work; at a failure also what the book says it
/// costs, the call-out and the nights lost. `None` = the part's price, the rate or the failure's cost is
/// not written.
fn costs(fleet: &Fleet, part: &Part, lost_night: f64, day: NaiveDate) -> Option<Costs> {
    let planned = due::renewal_cost(fleet, part, day)?.to_f64()?;
    let failure = part.failure.as_ref()?;
    let damage = failure.cost.as_ref()?.on(day)?.0.to_f64()?;
    let callout = fleet.settings.labour.callout.as_ref().and_then(|c| c.on(day)).and_then(|c| c.0.to_f64());
    let nights = failure.down.map_or(0.0, crate::units::Period::mean_days) * lost_night;
    Some(Costs { planned, failure: planned + damage + callout.unwrap_or(0.0) + nights })
}

/// The model of lives; what is believed before them is the book's unless something else is given.
pub(super) fn kind_model(part: &Part, gathered: &Gathered, costs: Option<Costs>, believed: Option<Prior>) -> KindModel {
    let clock = clock_of(part);
    let book = book_age(part);
    let shape = part.shape.map_or(ASSUMED_SHAPE, |s| (s.low.0, s.typical.0, s.high.0));
    let sample = Sample::new(&gathered.lives);
    let failures = gathered.lives.iter().filter(|l| l.failed()).count();
    let by_book = book.and_then(|book| Prior::new(shape, BOOK_SHARE, book, BOOK_DEVIATION));
    let prior = believed.or(by_book);
    let posterior = prior.map(|prior| Posterior::new(sample.as_ref(), &prior));
    let maximum = sample.as_ref().and_then(|sample| {
        let maximum = sample.maximum().ok()?;
        Some((maximum.weibull, sample.shape_interval(&maximum, 0.8)))
    });
    let status = match failures {
        _ if posterior.is_none() => Status::NotEstimable,
        0 => Status::NoFailures,
        few if few < FEW_FAILURES => Status::FewFailures,
        _ => Status::Ok,
    };
    let renewed_at = renewed_at(part, gathered);
    let replacement = match (&posterior, costs, book) {
        (Some(posterior), Some(costs), Some(_)) if failures > 0 => {
            posterior.replacement_of(costs, &renewed_at, decision::within(failures))
        }
        _ => None,
    };
    KindModel {
        clock,
        in_service: gathered.in_service,
        failures,
        failures_of_unknown_age: gathered.failures_of_unknown_age,
        book,
        renewed_at,
        curve_check: posterior.as_ref().and_then(|posterior| CurveCheck::new(&gathered.lives, posterior)),
        prior,
        typical: posterior.as_ref().and_then(|p| p.nodes().get(NODES / 2)).map(|(weibull, _)| *weibull),
        outlook: posterior.as_ref().map(|posterior| KindOutlook::new(posterior, clock)),
        posterior,
        maximum,
        costs,
        replacement,
        status,
        groups: BTreeMap::new(),
    }
}

#[cfg(test)]
impl FleetLives {
    /// What simulated lives say.
    pub(crate) fn simulated(
        kinds: Vec<(Id, &Part, Vec<Life>)>,
        pumps: Vec<PumpLives>,
        residual: &[ResidualHistory],
    ) -> Self {
        let model = |part: &Part, lives| kind_model(part, &Gathered { lives, ..Gathered::default() }, None, None);
        let kinds = kinds.into_iter().map(|(id, part, lives)| (id, model(part, lives))).collect();
        let mut lives = Self { kinds, residual: Residual::new(residual), ..Self::default() };
        lives.pumps = PumpDifferences::new(&lives, pumps);
        lives
    }
}

impl KindModel {
    /// What to do about renewing before failure.
    pub fn advice(&self) -> Advice {
        self.replacement.as_ref().map_or(Advice::Unknown, |found| decision::advise(found, self.failures))
    }

    /// The best age and its clock, where renewing then pays.
    pub fn age_that_pays(&self) -> Option<(Clock, f64)> {
        match self.advice() {
            Advice::BestAge(age) => Some((self.clock, age)),
            _ => None,
        }
    }

    /// The age at which the book renews on the average of its uses; `None` = it has no limit.
    pub fn book_at_usual_use(&self) -> Option<f64> {
        let exposure: f64 = self.renewed_at.iter().map(|(_, share)| share).sum();
        (exposure > 0.0).then(|| self.renewed_at.iter().map(|(age, share)| age * share).sum::<f64>() / exposure)
    }

    /// Whether maximum likelihood, where there are failures enough for it, finds a shape that the
    /// posterior holds unlikely, or the share still sound with no curve assumed lies apart from its: signs that
    /// the lives do not follow the book's shapes, or no such curve.
    pub fn is_disputed(&self) -> bool {
        self.curve_check.is_some_and(|check| check.disagrees()) || self.shape_is_disputed()
    }

    fn shape_is_disputed(&self) -> bool {
        match (&self.posterior, &self.maximum) {
            (Some(posterior), Some((_, (low, high)))) if self.failures >= FEW_FAILURES => {
                low.is_some_and(|low| low > posterior.shape(0.9))
                    || high.is_some_and(|high| high < posterior.shape(0.1))
            }
            _ => false,
        }
    }

    /// The unit of its ages.
    pub fn unit(&self) -> &'static str {
        match self.clock {
            Clock::Hours => "hours",
            Clock::Age => "days",
        }
    }
}

#[cfg(test)]
mod tests;
