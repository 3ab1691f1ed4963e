//! The year of a site where work recurs, made better than asking step by step makes it: a visit is left out, moved or added,
//! two are made one, or some that follow each other are moved along, by chance, each time with every chain on its cheapest way through what
//! is left ([`super::over_visits`]). What is dearer is kept too, at first often and in the end never (simulated annealing:
//! Kirkpatrick, Gelatt and Vecchi, Science 220, 1983, 671-680), for the year of fewest visits is seldom the next one.

use std::ops::Range;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::over_visits::OverVisits;
use super::{Chains, Done, SiteYear};
use crate::schedule::visits::one_site::Node;

/// The farthest a visit is moved at once, in visits that could be made.
const FARTHEST: usize = 12;
/// The farthest that visits are moved along, in days.
const FARTHEST_ALONG: i64 = 8;
/// How much dearer a change may be that is kept about every third time, as a part of a way: at first and in the end.
const DEARER: [f64; 2] = [0.5, 0.01];
/// How often it is begun anew from the best year found, and the most changes by chance each time: more find nothing more.
const BEGUN: u64 = 3;
const MOST_CHANGES: usize = 30_000;
/// What is not worth a change.
const NOTHING: f64 = 1e-9;

/// A year while it is looked for: its visits, by their places among the nodes.
#[derive(Clone)]
struct Found {
    visits: Vec<usize>,
    sum: f64,
    year: SiteYear,
}

struct Search<'a, 'b> {
    over: OverVisits<'a, 'b>,
    nodes: &'a [Node],
    chains: usize,
    /// By node, whether its day is promised or settled.
    held: Vec<bool>,
    /// What may still be looked at.
    work: usize,
}

impl Chains<'_> {
    /// The year, or a better one.
    pub(super) fn better(&self, year: SiteYear, nodes: &[Node], given: &[Done]) -> SiteYear {
        let recurs = |chain: &super::Chain| chain.again.is_some() || chain.after.is_some();
        if self.most_looks == 0 || year.done.is_empty() || !self.chains.iter().any(recurs) {
            return year;
        }
        let promised = |day: usize| self.chains.iter().any(|chain| chain.promised.contains(&day));
        let held = nodes.iter().map(|node| promised(node.day) || given.iter().any(|done| done.day == node.day));
        let mut search = Search {
            over: OverVisits::new(self, nodes, given),
            nodes,
            chains: self.chains.len(),
            held: held.collect(),
            work: self.most_looks,
        };
        let made = |node: &usize| {
            let node = &nodes[*node];
            year.done.iter().any(|done| done.day == node.day && done.technician == node.technician)
        };
        let visits: Vec<usize> = (0..nodes.len()).filter(made).collect();
        let Some(mut best) = search.found(visits) else { return year };
        for begun in 0..BEGUN {
            let changes = search.work / (BEGUN - begun) as usize / (search.chains * best.visits.len()).max(1);
            search.anneal(&mut best, changes.min(MOST_CHANGES), begun);
            search.descend(&mut best);
        }
        let stopped = year.stopped || search.work == 0;
        SiteYear { stopped, steps: year.steps, ..if best.year.beats(&year) { best.year } else { year } }
    }
}

impl Search<'_, '_> {
    /// The year on some visits; those nobody needs are left out.
    fn found(&mut self, visits: Vec<usize>) -> Option<Found> {
        self.work = self.work.saturating_sub(self.chains * visits.len().max(1));
        let (sum, year) = self.over.year(&visits)?;
        Some(Found { visits, sum, year })
    }

    /// The same without visits that nobody needs.
    fn needed(&self, mut found: Found) -> Found {
        let made = |node: &usize| found.year.done.iter().any(|done| done.day == self.nodes[*node].day);
        found.visits.retain(|node| made(node) || self.held[*node]);
        found
    }

    /// Visits with some taken out and some put in; `None` where two would fall on one day.
    fn changed(&self, visits: &[usize], out: &[usize], into: &[usize]) -> Option<Vec<usize>> {
        if out.iter().any(|node| self.held[*node]) {
            return None;
        }
        let mut changed: Vec<usize> = visits.iter().copied().filter(|node| !out.contains(node)).collect();
        changed.extend(into);
        changed.sort_unstable();
        let twice = changed.windows(2).any(|two| self.nodes[two[0]].day == self.nodes[two[1]].day);
        (!twice).then_some(changed)
    }

    /// Changes visits by chance, so many times.
    fn anneal(&mut self, best: &mut Found, changes: usize, seed: u64) {
        let way = self.nodes.iter().map(|node| node.cost).fold(0.0, f64::max);
        let mut draw = ChaCha8Rng::seed_from_u64(seed);
        let mut now = best.clone();
        for change in 0..changes {
            let over = change as f64 / changes as f64;
            let dearer = way * DEARER[0] * (DEARER[1] / DEARER[0]).powf(over);
            let Some(found) = self.by_chance(&now.visits, &mut draw).and_then(|visits| self.found(visits)) else {
                continue;
            };
            if found.sum <= now.sum || draw.random::<f64>() < ((now.sum - found.sum) / dearer).exp() {
                now = self.needed(found);
                if now.sum < best.sum - NOTHING {
                    *best = now.clone();
                }
            }
        }
    }

    /// Visits changed one way.
    fn by_chance(&self, visits: &[usize], draw: &mut ChaCha8Rng) -> Option<Vec<usize>> {
        let place = draw.random_range(0..visits.len());
        let here = visits[place];
        let near = (here + draw.random_range(0..=2 * FARTHEST)).checked_sub(FARTHEST)?.min(self.nodes.len() - 1);
        match draw.random_range(0..10) {
            0 => self.changed(visits, &[here], &[]),
            1 => self.changed(visits, &[], &[near]),
            2 => self.changed(visits, &[here, *visits.get(place + 1)?], &[near]),
            3 | 4 => {
                let along = place..draw.random_range(place..visits.len()) + 1;
                self.moved_along(visits, along, draw.random_range(-FARTHEST_ALONG..=FARTHEST_ALONG))
            }
            _ => self.changed(visits, &[here], &[near]),
        }
    }

    /// Leaves out, moves and adds single visits as long as that saves.
    fn descend(&mut self, best: &mut Found) {
        let mut saved = true;
        while saved && self.work > 0 {
            saved = false;
            for node in 0..self.nodes.len() {
                let there = best.visits.binary_search(&node).is_ok();
                let near = best.visits.iter().copied().filter(|made| made.abs_diff(node) <= FARTHEST);
                let mut ways: Vec<Option<Vec<usize>>> = if there {
                    vec![self.changed(&best.visits, &[node], &[])]
                } else {
                    near.map(|made| self.changed(&best.visits, &[made], &[node])).collect()
                };
                ways.extend((!there).then(|| self.changed(&best.visits, &[], &[node])));
                for visits in ways.into_iter().flatten() {
                    let found = self.found(visits).filter(|found| found.sum < best.sum - NOTHING);
                    if let Some(found) = found {
                        *best = self.needed(found);
                        saved = true;
                        break;
                    }
                }
            }
        }
    }

    /// Some visits that follow each other moved by as many days, each to the nearest that could be made.
    fn moved_along(&self, visits: &[usize], along: Range<usize>, days: i64) -> Option<Vec<usize>> {
        let mut moved: Vec<usize> = Vec::new();
        for (place, node) in visits.iter().enumerate() {
            let place = if self.held[*node] || !along.contains(&place) {
                *node
            } else {
                let day = usize::try_from(self.nodes[*node].day as i64 + days).ok()?;
                self.nodes.partition_point(|node| node.day < day).min(self.nodes.len() - 1)
            };
            if moved.last().is_none_or(|last| self.nodes[*last].day < self.nodes[place].day) {
                moved.push(place);
            }
        }
        Some(moved)
    }
}
