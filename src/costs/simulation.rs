//! What may a year cost? Many years of a site are drawn: planned visits and renewals as they are planned, failures from
//! the one model of lives, and with each year another of the distributions that the lives may have.
//!
//! What is not known of a kind of part is drawn once a year for all sites, so that it does not average out over a fleet.
//! Each part has a stream of chance of its own ([`crate::stats::random`]): a record mended elsewhere moves none of its draws,
//! though it may move the plan whose visits and ways are drawn with them; and two
//! ways of doing the year meet the same luck. Totals are whole minor units, so that sums over sites are exact in any
//! order; quantiles are never added up, totals are.

mod drivers;
mod failures;
mod things;
mod worsening;

use std::collections::BTreeMap;

pub use drivers::Trace;

use drivers::Tracer;
use things::Group;
use worsening::Worsens;

use crate::address::{Address, Id};
use crate::costs::contract::CallOuts;
use crate::costs::year::{SiteYear, Unexplained, Window};
use crate::interrupt::{Interrupted, Stop};
use crate::quantities::part_life_model::FleetLives;
use crate::records::customers::Scope;
use crate::stats::random::{Stream, even};

/// Years drawn at a time.
const BLOCK: usize = 500;

/// What is drawn once for all sites: which distribution each kind's lives have in each year, and the rate of failures
/// that no part explains.
#[derive(Debug)]
pub struct Worlds {
    /// The years drawn.
    pub draws: usize,
    seed: u64,
    window: Window,
    nodes: BTreeMap<Id, Vec<u8>>,
    fleet_rate: Vec<f64>,
}

impl Worlds {
    /// Draws them.
    pub fn new(lives: &FleetLives, seed: u64, window: Window, draws: usize) -> Self {
        let name = window.name();
        let mut words = vec![0; draws];
        let mut nodes = BTreeMap::new();
        for (id, kind) in lives.kinds() {
            let Some(posterior) = &kind.posterior else { continue };
            let summed: Vec<f64> = posterior
                .nodes()
                .iter()
                .scan(0.0, |sum, (_, weight)| {
                    *sum += weight;
                    Some(*sum)
                })
                .collect();
            Stream::new(seed, &[&name, "lives of a kind", id.as_str()]).fill(&mut words);
            let node = |word: &u32| summed.partition_point(|sum| *sum < even(*word)).min(summed.len() - 1) as u8;
            nodes.insert(id.clone(), words.iter().map(node).collect());
        }
        let fleet_rate = lives.residual.map_or(Vec::new(), |residual| {
            let stream = Stream::new(seed, &[&name, "failures that no part explains"]);
            (0..draws)
                .map(|draw| {
                    let mut more = stream.more(draw);
                    residual.draw_fleet(|| more.even())
                })
                .collect()
        });
        Self { draws, seed, window, nodes, fleet_rate }
    }

    /// The window the years are drawn for.
    pub fn window(&self) -> Window {
        self.window
    }

    fn stream(&self, site: &Id, at: &str, of: &str) -> Stream {
        Stream::new(self.seed, &[&self.window.name(), &format!("{site}/{at}"), of])
    }
}

/// What of a year is borne by whoever quotes it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Terms {
    /// How call-outs are agreed, where the scope is not everything.
    pub callouts: CallOuts,
    /// Whether the contract bears nights that are lost, whatever its scope.
    pub bears_lost_nights: bool,
    /// How much dearer the window is than the as-of day.
    pub index: f64,
    /// The scope whose spread is to be traced to its causes; `None` = none is.
    pub traced: Option<Scope>,
}

/// Means of a year, in minor units; of everything that happens, whoever bears it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Means {
    /// Work of planned visits and renewals.
    pub planned_labour: f64,
    /// Parts of planned renewals.
    pub planned_parts: f64,
    /// The ways of planned visits.
    pub planned_travel: f64,
    /// Work on failures found at visits.
    pub found_labour: f64,
    /// Work on call-outs.
    pub callout_labour: f64,
    /// The ways of call-outs.
    pub callout_travel: f64,
    /// Parts that failed.
    pub failed_parts: f64,
    /// What failures cost beside the part.
    pub damage: f64,
    /// Nights lost.
    pub nights: f64,
    /// How many failures.
    pub failures: f64,
    /// How many call-outs.
    pub callouts: f64,
}

/// The planned renewals of one part in a window.
#[derive(Debug, Clone, PartialEq)]
pub struct Renewals {
    /// Where it stands.
    pub at: Address,
    /// Which part.
    pub part: Id,
    /// How many the years drawn have on the average.
    pub times: f64,
}

/// What moves a year's total.
#[derive(Debug, Clone, PartialEq)]
pub struct Driver {
    /// A kind of part, or what no part explains.
    pub what: Option<Id>,
    /// Its share of the variance, its chance and its unknown lives together.
    pub share: f64,
    /// The share of the variance that comes of its lives not being known better.
    pub not_known: f64,
}

/// The drawn years of a site.
#[derive(Debug, Clone, Default)]
pub struct Outcome {
    /// Totals by scope, as in [`Scope::ALL`], a draw each.
    pub totals: [Vec<i64>; 3],
    /// Failures, a draw each.
    pub failures: Vec<u32>,
    /// Means.
    pub means: Means,
    /// Planned renewals, a line each part that may have one.
    pub renewals: Vec<Renewals>,
    /// What the traced total's spread comes from; empty where no scope is traced.
    pub trace: Trace,
}

/// What a draw adds up, in minor units. The order is that of the fields of [`Means`], from the second block on.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    planned_labour: f64,
    planned_parts: f64,
    found_labour: f64,
    callout_labour: f64,
    callout_travel: f64,
    failed_parts: f64,
    damage: f64,
    nights: f64,
    failures: u32,
    callouts: u32,
}

impl Sums {
    fn total(&self, scope: Scope, terms: &Terms) -> f64 {
        let within = match terms.callouts {
            CallOuts::Included => 1.0,
            CallOuts::Charged => 0.0,
            CallOuts::Some(number) => (f64::from(number) / f64::from(self.callouts.max(1))).min(1.0),
        };
        let labour = self.planned_labour + self.found_labour;
        let callouts = self.callout_labour + self.callout_travel;
        let nights = if terms.bears_lost_nights { self.nights } else { 0.0 };
        nights
            + match scope {
                Scope::Labour => labour + within * callouts,
                Scope::LabourAndParts => labour + within * callouts + self.planned_parts,
                Scope::Everything => labour + callouts + self.planned_parts + self.failed_parts + self.damage,
            }
    }
}

/// Draws a site's years.
pub fn simulate(year: &SiteYear, worlds: &Worlds, terms: &Terms) -> Outcome {
    // Nobody can ask this one to end.
    simulate_unless(year, worlds, terms, &Stop::never()).unwrap_or_default()
}

/// Draws a site's years, unless the run is asked to end: a million of them take their time.
///
/// # Errors
/// The run was asked to end.
pub fn simulate_unless(year: &SiteYear, worlds: &Worlds, terms: &Terms, stop: &Stop) -> Result<Outcome, Interrupted> {
    let mut groups: Vec<Group> = year.things.iter().flat_map(|thing| Group::of(year, thing, worlds)).collect();
    let mut unexplained: Vec<(&Unexplained, Stream)> = year
        .unexplained
        .iter()
        .map(|one| (one, worlds.stream(&year.id, one.at.as_str(), "failures that no part explains")))
        .collect();
    let mut worsens = Worsens::of(year, worlds);
    let mut kinds: Vec<&Id> = year.things.iter().flat_map(|thing| &thing.costs).map(|costs| &costs.kind).collect();
    kinds.sort();
    kinds.dedup();
    let mut tracer = Tracer::new(&kinds, worlds.draws, terms);
    let mut outcome = Outcome::default();
    for totals in &mut outcome.totals {
        totals.reserve(worlds.draws);
    }
    let mut means = Means::default();
    outcome.failures.reserve(worlds.draws);
    let mut words = vec![0u32; BLOCK];
    let mut block = vec![Sums::default(); BLOCK];
    let mut first = 0;
    while first < worlds.draws {
        stop.check()?;
        let count = BLOCK.min(worlds.draws - first);
        let sums = &mut block[..count];
        sums.fill(Sums::default());
        tracer.begin(first);
        for pump in &mut worsens {
            pump.draw_story(count);
        }
        for group in &mut groups {
            let story = worsens.iter().find(|pump| pump.is_of(group.at));
            group
                .draw(first, sums, story.map(Worsens::story), &mut |kind, draw, amount| tracer.add(kind, draw, amount));
        }
        for (one, stream) in &mut unexplained {
            stream.fill(&mut words[..count]);
            let story = worsens.iter().find(|pump| pump.is_of(&one.at)).filter(|_| one.history.failures > 0.0);
            let story = story.map(Worsens::story);
            failures::draw_unexplained(year, one, stream, worlds, first, &words[..count], story, sums, &mut tracer);
        }
        for pump in &mut worsens {
            pump.draw(year, first, sums, &mut tracer);
        }
        let routine = year.routine.labour + year.routine.travel;
        for sums in sums.iter() {
            for (scope, totals) in Scope::ALL.into_iter().zip(&mut outcome.totals) {
                let total = routine + sums.total(scope, terms);
                totals.push((total * terms.index).round() as i64);
            }
            outcome.failures.push(sums.failures);
            means.planned_labour += sums.planned_labour;
            means.planned_parts += sums.planned_parts;
            means.found_labour += sums.found_labour;
            means.callout_labour += sums.callout_labour;
            means.callout_travel += sums.callout_travel;
            means.failed_parts += sums.failed_parts;
            means.damage += sums.damage;
            means.nights += sums.nights;
            means.failures += f64::from(sums.failures);
            means.callouts += f64::from(sums.callouts);
        }
        first += count;
    }
    outcome.renewals = groups.iter().flat_map(|group| group.renewals(worlds.draws as f64)).collect();
    outcome.means = scaled(means, year, worlds.draws as f64, terms.index);
    outcome.trace = tracer.trace();
    Ok(outcome)
}

fn scaled(sums: Means, year: &SiteYear, draws: f64, index: f64) -> Means {
    let mean = |sum: f64| sum / draws * index;
    Means {
        planned_labour: mean(sums.planned_labour) + year.routine.labour * index,
        planned_parts: mean(sums.planned_parts),
        planned_travel: year.routine.travel * index,
        found_labour: mean(sums.found_labour),
        callout_labour: mean(sums.callout_labour),
        callout_travel: mean(sums.callout_travel),
        failed_parts: mean(sums.failed_parts),
        damage: mean(sums.damage),
        nights: mean(sums.nights),
        failures: sums.failures / draws,
        callouts: sums.callouts / draws,
    }
}

impl Means {
    /// Adds another site's.
    pub fn add(&mut self, other: &Self) {
        self.planned_labour += other.planned_labour;
        self.planned_parts += other.planned_parts;
        self.planned_travel += other.planned_travel;
        self.found_labour += other.found_labour;
        self.callout_labour += other.callout_labour;
        self.callout_travel += other.callout_travel;
        self.failed_parts += other.failed_parts;
        self.damage += other.damage;
        self.nights += other.nights;
        self.failures += other.failures;
        self.callouts += other.callouts;
    }

    /// What a scope bears of them: work, parts, ways, and what else failures cost.
    pub fn borne(&self, scope: Scope, terms: &Terms) -> [f64; 4] {
        let within = match terms.callouts {
            CallOuts::Included => 1.0,
            CallOuts::Charged => 0.0,
            CallOuts::Some(number) => (f64::from(number) / self.callouts.max(1.0)).min(1.0),
        };
        let (within, everything) = if scope == Scope::Everything { (1.0, 1.0) } else { (within, 0.0) };
        let parts = if scope == Scope::Labour { 0.0 } else { self.planned_parts };
        let nights = if terms.bears_lost_nights { self.nights } else { 0.0 };
        [
            self.planned_labour + self.found_labour + within * self.callout_labour,
            parts + everything * self.failed_parts,
            self.planned_travel + within * self.callout_travel,
            everything * self.damage + nights,
        ]
    }
}

#[cfg(test)]
mod tests;
