//! What a site's year costs on visits that are chosen: each chain takes its cheapest way through them, from time to time,
//! with every window as the time before makes it. Exact for each chain by itself; where a visit has too little room for
//! all that wants to go there, chains are put on one after the other, the longest work first.

use super::{Chains, Done, SiteYear};
use crate::schedule::visits::one_site::{Node, Problem};

/// What a time that comes late and one that finds no day count, which is more than any money.
const LATE: f64 = 1e6;
const WITHOUT: f64 = 1e9;

/// When a time may be done: its window, and the day it is due.
type Time = ((usize, usize), i64);

/// A site's visits that could be made, with what could be done at which.
pub(super) struct OverVisits<'a, 'b> {
    asked: &'a Chains<'b>,
    nodes: &'a [Node],
    /// By chain, what stands already.
    given: Vec<Option<Done>>,
    /// By chain and node, whether it can be done there.
    fits: Vec<Vec<bool>>,
    /// By chain and node, the time that follows one done there.
    next: Vec<Vec<Option<Time>>>,
    /// In which order chains are put on visits that have too little room.
    order: Vec<usize>,
}

/// A chain's way through the visits while it is looked for.
struct Way {
    /// By visit, the least that a way ending there costs, and how it came there.
    least: Vec<f64>,
    came: Vec<(Option<usize>, Time, bool)>,
    total: f64,
    /// Where the cheapest way ends, and the time it leaves out.
    end: (Option<usize>, Option<Time>),
}

/// Minutes put on each visit, and how many there may be.
type Load = Vec<(u32, u32)>;

impl<'a, 'b> OverVisits<'a, 'b> {
    pub(super) fn new(asked: &'a Chains<'b>, nodes: &'a [Node], given: &[Done]) -> Self {
        let chains = asked.chains;
        let problem = Problem { nodes, jobs: &[], access: asked.access, most_steps: 0 };
        let fits = chains.iter().map(|chain| {
            let job = Chains::job(chain, (0, 0), 0);
            nodes.iter().map(|node| problem.fits(&job, node)).collect()
        });
        let next = chains
            .iter()
            .map(|chain| nodes.iter().map(|node| asked.time(asked.next_window(chain, node.day))).collect::<Vec<_>>());
        let mut of_chain: Vec<Option<Done>> = vec![None; chains.len()];
        for done in given {
            let known = &mut of_chain[done.chain];
            if known.is_none_or(|known| known.day < done.day) {
                *known = Some(*done);
            }
        }
        let mut order: Vec<usize> = (0..chains.len()).collect();
        order.sort_by_key(|index| (of_chain[*index].is_none(), std::cmp::Reverse(chains[*index].minutes), *index));
        Self { asked, nodes, fits: fits.collect(), next: next.collect(), given: of_chain, order }
    }

    /// The year on visits, given by their places among the nodes in order of the days, and what it comes to with what is
    /// late and left out; `None` where what stands already has no visit.
    pub(super) fn year(&self, visits: &[usize]) -> Option<(f64, SiteYear)> {
        let free: Load = visits.iter().map(|node| (0, self.nodes[*node].room)).collect();
        let mut load = free.clone();
        let mut year = SiteYear::default();
        let mut sum = self.put(visits, &mut load, &mut year, false)?;
        if load.iter().any(|(minutes, most)| minutes > most) {
            year = SiteYear::default();
            load = free;
            sum = self.put(visits, &mut load, &mut year, true)?;
        }
        let made = visits.iter().zip(&load).filter(|(_, (minutes, _))| *minutes > 0);
        year.ways = made.map(|(node, _)| self.nodes[*node].cost).sum();
        year.done.sort_by_key(|done| (done.day, done.chain, done.due));
        year.jobs = year.done.iter().map(|done| done.cost).sum();
        Some((sum + year.ways, year))
    }

    fn put(&self, visits: &[usize], load: &mut Load, year: &mut SiteYear, with_room: bool) -> Option<f64> {
        let mut sum = 0.0;
        for index in &self.order {
            let chain = &self.asked.chains[*index];
            let room = |place: usize| {
                let (minutes, most) = load[place];
                let allowed = self.asked.access[chain.access][self.nodes[visits[place]].day];
                !with_room || minutes + chain.minutes <= most.min(allowed)
            };
            let way = self.way(*index, visits, room)?;
            sum += way.total;
            let mut place = way.end.0;
            while let Some(at) = place {
                let node = &self.nodes[visits[at]];
                let (before, (window, due), late) = way.came[at];
                let (minutes, most) = &mut load[at];
                *minutes += chain.minutes;
                *most = (*most).min(self.asked.access[chain.access][node.day]);
                let cost = if late { chain.base } else { Chains::job(chain, window, due).cost_on(node.day) };
                let (day, technician) = (node.day, node.technician);
                let done = Done { chain: *index, day, technician, window, due, late, cost };
                // What stands already stays as it was given.
                let given = self.given[*index].filter(|given| before.is_none() && given.day == day);
                year.done.push(given.unwrap_or(done));
                place = before;
            }
            if let Some(((first, last), due)) = way.end.1 {
                year.unfitted.push(self.asked.unfitted(*index, (first, due, last as i64)));
            }
        }
        Some(sum)
    }

    /// The cheapest way of a chain through visits.
    fn way(&self, index: usize, visits: &[usize], room: impl Fn(usize) -> bool) -> Option<Way> {
        let nothing = (None, ((0, 0), 0), false);
        let mut way = Way {
            least: vec![f64::INFINITY; visits.len()],
            came: vec![nothing; visits.len()],
            total: f64::INFINITY,
            end: (None, None),
        };
        let first = if let Some(given) = self.given[index] {
            let place = visits.iter().position(|node| self.nodes[*node].day == given.day)?;
            way.least[place] = given.cost + if given.late { LATE } else { 0.0 };
            way.came[place] = (None, (given.window, given.due), given.late);
            place
        } else {
            let chain = &self.asked.chains[index];
            self.go_on(index, visits, &room, &mut way, None, self.asked.time(Some(self.asked.first_window(chain))));
            0
        };
        for place in first..visits.len() {
            if way.least[place].is_finite() {
                self.go_on(index, visits, &room, &mut way, Some(place), self.next[index][visits[place]]);
            }
        }
        Some(way)
    }

    /// Notes where a way can go from a visit.
    fn go_on(
        &self,
        index: usize,
        visits: &[usize],
        room: &impl Fn(usize) -> bool,
        way: &mut Way,
        from: Option<usize>,
        time: Option<Time>,
    ) {
        let before = from.map_or(0.0, |place| way.least[place]);
        let mut ends = |left_out: Option<Time>| {
            let total = before + if left_out.is_some() { WITHOUT } else { 0.0 };
            if total < way.total {
                (way.total, way.end) = (total, (from, left_out));
            }
        };
        let Some((window, due)) = time else { return ends(None) };
        let chain = &self.asked.chains[index];
        let day = |place: usize| self.nodes[visits[place]].day;
        let begin = visits.partition_point(|node| self.nodes[*node].day < window.0);
        let end = visits.partition_point(|node| self.nodes[*node].day <= window.1).max(begin);
        let can = |place: &usize| self.fits[index][visits[*place]] && room(*place);
        let promised = |place: &usize| chain.promised.contains(&day(*place)) && can(place);
        let kept = (begin..end).find(promised);
        let within = kept.map_or(begin..end, |place| place..place + 1);
        let job = Chains::job(chain, window, due);
        let mut any = false;
        for place in within.filter(can) {
            any = true;
            let cost = before + job.cost_on(day(place));
            if cost < way.least[place] - 1e-12 {
                (way.least[place], way.came[place]) = (cost, (from, (window, due), false));
            }
        }
        if any {
            return;
        }
        let behind = if chain.may_be_late { end..visits.len() } else { 0..0 };
        match behind.clone().find(promised).or_else(|| behind.clone().find(can)) {
            Some(place) => {
                let cost = before + LATE + chain.base;
                if cost < way.least[place] - 1e-12 {
                    (way.least[place], way.came[place]) = (cost, (from, (window, due), true));
                }
            }
            None => ends(Some((window, due))),
        }
    }
}
