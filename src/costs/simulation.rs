//! What may a year cost? Many years of a site are drawn: planned visits and renewals as they are planned, failures from
//! the one model of lives, and with each year another of the distributions that the lives may have.
//!
//! What is not known of a kind of part is drawn once a year for all sites, so that it does not average out over a fleet.
//! Each part has a stream of chance of its own ([`crate::stats::random`]): a record mended elsewhere moves nothing, and two
//! ways of doing the year meet the same luck. Totals are whole minor units, so that sums over sites are exact in any
//! order; quantiles are never added up, totals are.

use std::cell::RefCell;
use std::collections::BTreeMap;

use crate::address::Id;
use crate::costs::contract::CallOuts;
use crate::costs::year::{LEVELS, SiteYear, Thing, Unexplained, Window};
use crate::quantities::expected_failures::Residual;
use crate::quantities::part_life_model::FleetLives;
use crate::records::customers::Scope;
use crate::stats::random::{More, Stream, even, exponential, threshold};
use crate::stats::renewal_path::{Happens, walk, without_failures};
use crate::stats::weibull::Weibull;

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
    /// Whether the contract bears nights that are lost.
    pub bears_lost_nights: bool,
    /// How much dearer the window is than the as-of day.
    pub index: f64,
    /// The scope whose spread is traced to its causes.
    pub traced: Scope,
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
    /// What the traced total's spread comes from, the largest first.
    pub drivers: Vec<Driver>,
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
        match scope {
            Scope::Labour => labour + within * callouts,
            Scope::LabourAndParts => labour + within * callouts + self.planned_parts,
            Scope::Everything => {
                let nights = if terms.bears_lost_nights { self.nights } else { 0.0 };
                labour + callouts + self.planned_parts + self.failed_parts + self.damage + nights
            }
        }
    }
}

/// Draws a site's years.
pub fn simulate(year: &SiteYear, worlds: &Worlds, terms: &Terms) -> Outcome {
    let mut things: Vec<ThingDraws> = year.things.iter().map(|thing| ThingDraws::new(year, thing, worlds)).collect();
    let mut unexplained: Vec<(&Unexplained, Stream)> = year
        .unexplained
        .iter()
        .map(|one| (one, worlds.stream(&year.id, one.at.as_str(), "failures that no part explains")))
        .collect();
    let mut kinds: Vec<&Id> = year.things.iter().flat_map(|thing| &thing.costs).map(|costs| &costs.kind).collect();
    kinds.sort();
    kinds.dedup();
    let mut tracer = Tracer::new(&kinds, worlds, terms);
    let mut outcome = Outcome::default();
    for totals in &mut outcome.totals {
        totals.reserve(worlds.draws);
    }
    let mut means = Means::default();
    let mut words = vec![0u32; BLOCK];
    let mut first = 0;
    while first < worlds.draws {
        let count = BLOCK.min(worlds.draws - first);
        let mut sums = vec![Sums::default(); count];
        tracer.begin(count);
        for thing in &mut things {
            thing.draw(first, &mut sums, &mut |kind, draw, amount| tracer.add(kind, draw, amount));
        }
        for (one, stream) in &mut unexplained {
            stream.fill(&mut words[..count]);
            draw_unexplained(year, one, stream, worlds, first, &words[..count], &mut sums, &mut tracer);
        }
        for (draw, sums) in sums.iter().enumerate() {
            let routine = year.routine.labour + year.routine.travel;
            for (scope, totals) in Scope::ALL.into_iter().zip(&mut outcome.totals) {
                let total = routine + sums.total(scope, terms);
                totals.push((total * terms.index).round() as i64);
                if scope == terms.traced {
                    tracer.total(first + draw, draw, total);
                }
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
    outcome.means = scaled(means, year, worlds.draws as f64, terms.index);
    outcome.drivers = tracer.drivers();
    outcome
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
            everything * (self.damage + nights),
        ]
    }
}

/// The draws of the parts of one thing.
struct ThingDraws<'a> {
    year: &'a SiteYear,
    thing: &'a Thing,
    /// The use of each year, where it matters.
    usage: Option<Stream>,
    /// The luck of each position.
    luck: Vec<Stream>,
    /// The node of each position's kind in each year.
    nodes: Vec<Option<&'a [u8]>>,
    /// Below which word a position fails on the undisturbed path: by level and node.
    thresholds: Vec<Vec<Vec<u32>>>,
    /// The planned renewals of the undisturbed path within the window: labour and parts by level.
    planned: Vec<(f64, f64)>,
    words: Vec<Vec<u32>>,
    use_words: Vec<u32>,
}

impl<'a> ThingDraws<'a> {
    fn new(year: &'a SiteYear, thing: &'a Thing, worlds: &'a Worlds) -> Self {
        let (begins, ends) = (year.window.begins(), year.window.ends());
        let mut planned = Vec::with_capacity(thing.levels.len());
        let mut thresholds: Vec<Vec<Vec<u32>>> = vec![Vec::with_capacity(thing.levels.len()); thing.costs.len()];
        for positions in &thing.levels {
            let mut sums = (0.0, 0.0);
            let paths = without_failures(positions, ends, |index, day| {
                if day >= begins {
                    sums.0 += thing.costs[index].labour;
                    sums.1 += thing.costs[index].parts;
                }
            });
            planned.push(sums);
            for ((path, costs), thresholds) in paths.iter().zip(&thing.costs).zip(&mut thresholds) {
                let of_node = |life: &Weibull| {
                    let hazard: f64 = path.iter().map(|stretch| stretch.hazard(life)).sum();
                    threshold(-(-hazard).exp_m1())
                };
                thresholds.push(costs.lives.as_ref().map_or(Vec::new(), |lives| lives.iter().map(of_node).collect()));
            }
        }
        let at = thing.at.as_str();
        Self {
            year,
            thing,
            usage: (thing.levels.len() > 1).then(|| worlds.stream(&year.id, at, "use")),
            luck: thing.costs.iter().map(|costs| worlds.stream(&year.id, at, costs.kind.as_str())).collect(),
            nodes: thing
                .costs
                .iter()
                .map(|costs| {
                    let nodes = worlds.nodes.get(&costs.kind).map(Vec::as_slice);
                    nodes.filter(|_| costs.lives.is_some())
                })
                .collect(),
            thresholds,
            planned,
            words: vec![vec![0; BLOCK]; thing.costs.len()],
            use_words: vec![0; BLOCK],
        }
    }

    /// Draws a block of years, adding to each what happens in it. `trace` is told of what failures cost, by kind.
    fn draw(&mut self, first: usize, sums: &mut [Sums], trace: &mut impl FnMut(&Id, usize, &Failure)) {
        let count = sums.len();
        let mut levels = [0u8; BLOCK];
        if let Some(usage) = &mut self.usage {
            usage.fill(&mut self.use_words[..count]);
            let mut least = [0u32; LEVELS.len()];
            let mut sum = 0.0;
            for (least, (_, weight)) in least.iter_mut().zip(LEVELS) {
                *least = threshold(sum);
                sum += weight;
            }
            for (level, word) in levels.iter_mut().zip(&self.use_words[..count]) {
                *level = (least.iter().filter(|least| *word >= **least).count().max(1) - 1) as u8;
            }
        }
        let mut fails = [false; BLOCK];
        for (index, (stream, words)) in self.luck.iter_mut().zip(&mut self.words).enumerate() {
            let Some(nodes) = self.nodes[index] else { continue };
            stream.fill(&mut words[..count]);
            let nodes = &nodes[first..first + count];
            let thresholds = &self.thresholds[index];
            for draw in 0..count {
                fails[draw] |= words[draw] < thresholds[usize::from(levels[draw])][usize::from(nodes[draw])];
            }
        }
        for (draw, sums) in sums.iter_mut().enumerate() {
            let level = usize::from(levels[draw]);
            if fails[draw] {
                self.walk(first, draw, level, sums, trace);
            } else {
                sums.planned_labour += self.planned[level].0;
                sums.planned_parts += self.planned[level].1;
            }
        }
    }

    /// One year in which something fails, day by day.
    fn walk(
        &self,
        first: usize,
        draw: usize,
        level: usize,
        sums: &mut Sums,
        trace: &mut impl FnMut(&Id, usize, &Failure),
    ) {
        let (begins, ends) = (self.year.window.begins(), self.year.window.ends());
        let costs = &self.thing.costs;
        let node = |index: usize| self.nodes[index].map(|nodes| usize::from(nodes[first + draw]));
        let lives: Vec<Option<Weibull>> =
            costs.iter().enumerate().map(|(index, costs)| Some(costs.lives.as_ref()?[node(index)?])).collect();
        let arrivals: Vec<f64> = (0..costs.len())
            .map(|index| if lives[index].is_some() { exponential(self.words[index][draw]) } else { f64::INFINITY })
            .collect();
        // Made only for what fails: starting a stream costs more than all the rest of a walk.
        let more: Vec<RefCell<Option<More>>> = self.luck.iter().map(|_| RefCell::new(None)).collect();
        let with_more = |index: usize, draw_from: &mut dyn FnMut(&mut More)| {
            let mut more = more[index].borrow_mut();
            draw_from(more.get_or_insert_with(|| self.luck[index].more(first + draw)));
        };
        let again = |index: usize| {
            let mut hazard = 0.0;
            with_more(index, &mut |more| hazard = more.exponential());
            hazard
        };
        walk(&self.thing.levels[level], &lives, &arrivals, ends, again, |index, day, what| {
            let of = &costs[index];
            // Its luck is used up in order, whether the day counts or not.
            let mut failure = None;
            if what == Happens::Fails {
                with_more(index, &mut |more| {
                    failure =
                        Some(Failure::drawn(self.year, of.labour, of.parts, of.damage, of.nights, || more.even()));
                });
            }
            if day < begins {
                return;
            }
            match failure {
                None => {
                    sums.planned_labour += of.labour;
                    sums.planned_parts += of.parts;
                }
                Some(failure) => {
                    failure.add_to(sums);
                    trace(&of.kind, draw, &failure);
                }
            }
        });
    }
}

/// What a failure costs.
#[derive(Debug, Clone, Copy)]
struct Failure {
    found_labour: f64,
    callout_labour: f64,
    callout_travel: f64,
    parts: f64,
    damage: f64,
    nights: f64,
    callout: bool,
}

impl Failure {
    /// How it comes to be known is drawn: by a call, in or outside working hours, or at a visit.
    fn drawn(
        year: &SiteYear,
        labour: f64,
        parts: f64,
        damage: f64,
        nights: f64,
        mut even: impl FnMut() -> f64,
    ) -> Self {
        let callout = even() < year.habits.by_callout;
        let outside = even() < year.habits.out_of_hours;
        let factor = if outside { year.out_of_hours_factor } else { 1.0 };
        Self {
            found_labour: if callout { 0.0 } else { labour },
            callout_labour: if callout { labour * factor } else { 0.0 },
            callout_travel: if callout { year.callout_time * factor + year.callout_fare } else { 0.0 },
            parts,
            damage,
            nights,
            callout,
        }
    }

    fn add_to(&self, sums: &mut Sums) {
        sums.found_labour += self.found_labour;
        sums.callout_labour += self.callout_labour;
        sums.callout_travel += self.callout_travel;
        sums.failed_parts += self.parts;
        sums.damage += self.damage;
        sums.nights += self.nights;
        sums.failures += 1;
        sums.callouts += u32::from(self.callout);
    }

    fn borne(&self, terms: &Terms) -> f64 {
        let mut sums = Sums::default();
        self.add_to(&mut sums);
        sums.total(terms.traced, terms)
    }
}

/// A pump's failures that no part explains: their number given the rate of the year is Poisson's, or, where pumps
/// differ, negative binomial. It is found by inversion of the one word of the draw.
#[expect(clippy::too_many_arguments, reason = "a block of draws with all that they add to")]
fn draw_unexplained(
    year: &SiteYear,
    one: &Unexplained,
    stream: &Stream,
    worlds: &Worlds,
    first: usize,
    words: &[u32],
    sums: &mut [Sums],
    tracer: &mut Tracer,
) {
    let by_rate = year.residual.as_ref().filter(|_| !worlds.fleet_rate.is_empty());
    if one.at_most.is_none() && by_rate.is_none() {
        return;
    }
    for (draw, (word, sums)) in words.iter().zip(sums).enumerate() {
        let share = even(*word);
        let number = match (&one.at_most, by_rate) {
            (Some(at_most), _) => at_most.partition_point(|sum| *sum < share) as u32,
            (None, Some(residual)) => number_by_rate(residual, worlds.fleet_rate[first + draw], one, share),
            (None, None) => 0,
        };
        if number > 0 {
            let mut more = stream.more(first + draw);
            for _ in 0..number {
                let failure = Failure::drawn(year, one.labour, one.parts, one.damage, one.nights, || more.even());
                failure.add_to(sums);
                tracer.add_unexplained(draw, &failure);
            }
        }
    }
}

/// The number up to which a share of the distribution lies, given the rate of the year.
fn number_by_rate(residual: &Residual, fleet_rate: f64, one: &Unexplained, share: f64) -> u32 {
    let (mut chance, shape, step) = match residual.of_pump(fleet_rate, one.history) {
        Some(gamma) => {
            let stays = gamma.rate / (gamma.rate + one.hours);
            (stays.powf(gamma.shape), Some(gamma.shape), 1.0 - stays)
        }
        None => ((-fleet_rate * one.hours).exp(), None, fleet_rate * one.hours),
    };
    let (mut summed, mut number) = (chance, 0u32);
    while share > summed && number < 100 {
        number += 1;
        let n = f64::from(number);
        chance *= step * shape.map_or(1.0 / n, |shape| (shape + n - 1.0) / n);
        summed += chance;
    }
    number
}

/// Traces a total's spread: what each kind's failures cost against the total (their covariance), and how far the total's
/// mean moves with the kind's distribution.
struct Tracer<'a> {
    kinds: Vec<&'a Id>,
    nodes: Vec<Option<&'a [u8]>>,
    terms: Terms,
    /// By kind, the last what no part explains: this block's amounts.
    amounts: Vec<Vec<f64>>,
    /// Sums over all draws: amount, amount × total.
    products: Vec<(f64, f64)>,
    /// By kind and node: draws, sum of totals.
    by_node: Vec<Vec<(f64, f64)>>,
    draws: f64,
    totals: f64,
    squares: f64,
    /// The first total: sums are taken of differences from it, lest digits be lost.
    origin: Option<f64>,
}

impl<'a> Tracer<'a> {
    fn new(kinds: &[&'a Id], worlds: &'a Worlds, terms: &Terms) -> Self {
        Self {
            kinds: kinds.to_vec(),
            nodes: kinds.iter().map(|id| worlds.nodes.get(*id).map(Vec::as_slice)).collect(),
            terms: *terms,
            amounts: vec![Vec::new(); kinds.len() + 1],
            products: vec![(0.0, 0.0); kinds.len() + 1],
            by_node: vec![vec![(0.0, 0.0); crate::stats::posterior::NODES]; kinds.len()],
            draws: 0.0,
            totals: 0.0,
            squares: 0.0,
            origin: None,
        }
    }

    fn begin(&mut self, count: usize) {
        for amounts in &mut self.amounts {
            amounts.clear();
            amounts.resize(count, 0.0);
        }
    }

    fn add(&mut self, kind: &Id, draw: usize, failure: &Failure) {
        if let Ok(index) = self.kinds.binary_search(&kind) {
            self.amounts[index][draw] += failure.borne(&self.terms);
        }
    }

    fn add_unexplained(&mut self, draw: usize, failure: &Failure) {
        let borne = failure.borne(&self.terms);
        if let Some(amounts) = self.amounts.last_mut() {
            amounts[draw] += borne;
        }
    }

    fn total(&mut self, of_all: usize, of_block: usize, total: f64) {
        let total = total - *self.origin.get_or_insert(total);
        self.draws += 1.0;
        self.totals += total;
        self.squares += total * total;
        for (amounts, (sum, product)) in self.amounts.iter().zip(&mut self.products) {
            let amount = amounts[of_block];
            if amount > 0.0 {
                *sum += amount;
                *product += amount * total;
            }
        }
        for (nodes, by_node) in self.nodes.iter().zip(&mut self.by_node) {
            if let Some(nodes) = nodes {
                let of_node = &mut by_node[usize::from(nodes[of_all])];
                of_node.0 += 1.0;
                of_node.1 += total;
            }
        }
    }

    fn drivers(&self) -> Vec<Driver> {
        let n = self.draws.max(1.0);
        let mean = self.totals / n;
        let variance = self.squares / n - mean * mean;
        if variance <= 0.0 {
            return Vec::new();
        }
        let mut drivers: Vec<Driver> = Vec::new();
        for (index, (sum, product)) in self.products.iter().enumerate() {
            let not_known = self.by_node.get(index).map_or(0.0, |by_node| {
                let filled: Vec<&(f64, f64)> = by_node.iter().filter(|of| of.0 > 0.0).collect();
                let between: f64 = filled.iter().map(|of| of.0 * (of.1 / of.0 - mean).powi(2)).sum::<f64>() / n;
                // Means of a few draws differ by chance alone, by so much.
                (between - (filled.len() as f64 - 1.0) / n * variance).max(0.0) / variance
            });
            let share = (product / n - sum / n * mean) / variance;
            drivers.push(Driver { what: self.kinds.get(index).map(|id| (*id).clone()), share, not_known });
        }
        drivers.sort_by(|a, b| b.share.total_cmp(&a.share).then_with(|| a.what.cmp(&b.what)));
        drivers
    }
}

#[cfg(test)]
mod tests;
