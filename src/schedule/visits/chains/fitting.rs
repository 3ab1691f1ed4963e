//! Where the exact answer is not to be had: what must come sooner is put on visits that are made anyway, and what does not
//! fit within its window gets the nearest day with room.

use std::collections::BTreeMap;

use super::{Chains, Done, SiteYear};
use crate::schedule::visits::one_site::{Node, Problem};

impl Chains<'_> {
    /// Puts times that must come sooner than planned on visits that are made anyway, where they have room.
    pub(super) fn sooner(&self, year: &mut SiteYear, nodes: &[Node]) {
        // By day, who comes, the minutes of work, and how many there may be.
        let mut made: BTreeMap<usize, (usize, u32, u32)> = BTreeMap::new();
        let mut of_chain: Vec<Vec<usize>> = vec![Vec::new(); self.chains.len()];
        for (place, done) in year.done.iter().enumerate() {
            let chain = &self.chains[done.chain];
            let allowed = self.access[chain.access][done.day];
            let visit = made.entry(done.day).or_insert((done.technician, 0, allowed));
            visit.1 += chain.minutes;
            visit.2 = visit.2.min(allowed);
            of_chain[done.chain].push(place);
        }
        for (index, places) in of_chain.iter().enumerate() {
            let chain = &self.chains[index];
            for two in places.windows(2) {
                let (before, done) = (year.done[two[0]].day, year.done[two[1]]);
                let Some((first, due, latest)) = self.next_window(chain, before) else { continue };
                let latest = (latest.max(0) as usize).min(self.days - 1);
                if due == done.due || done.late || done.day <= latest || first > latest {
                    continue;
                }
                let day = made.range(first..=latest).rev().find_map(|(day, (technician, minutes, most))| {
                    let start = nodes.partition_point(|node| node.day < *day);
                    let node =
                        nodes[start..].iter().take_while(|n| n.day == *day).find(|n| n.technician == *technician)?;
                    let most = (*most).min(node.room).min(self.access[chain.access][*day]);
                    let able = chain.skills & !node.skills == 0 && minutes + chain.minutes <= most;
                    able.then_some(*day)
                });
                let Some(day) = day else { continue };
                if let Some(visit) = made.get_mut(&done.day) {
                    visit.1 -= chain.minutes;
                }
                let allowed = self.access[chain.access][day];
                let Some(visit) = made.get_mut(&day) else { continue };
                visit.1 += chain.minutes;
                visit.2 = visit.2.min(allowed);
                let cost = Self::job(chain, (first, latest), due).cost_on(day);
                year.done[two[1]] = Done { day, technician: visit.0, window: (first, latest), due, cost, ..done };
            }
        }
        year.done.sort_by_key(|done| (done.day, done.chain, done.due));
    }

    /// Where asking again leads nowhere: windows and due days as the days chosen make them; twice on one day is once; a
    /// time that is then missing gets a day that still has room, or is told.
    pub(super) fn straighten(&self, year: &mut SiteYear, nodes: &[Node]) {
        let mut last: Vec<Option<usize>> = vec![None; self.chains.len()];
        let mut done: Vec<Done> = Vec::new();
        for mut one in std::mem::take(&mut year.done) {
            let chain = &self.chains[one.chain];
            if let Some(before) = last[one.chain] {
                if before == one.day {
                    continue;
                }
                let Some((first, due, latest)) = self.next_window(chain, before) else { continue };
                let latest = (latest.max(0) as usize).min(self.days - 1);
                if due != one.due {
                    one.window = (first, latest);
                    one.due = due;
                    one.late = one.day > latest;
                    one.cost = if one.late { chain.base } else { Self::job(chain, one.window, due).cost_on(one.day) };
                }
            }
            last[one.chain] = Some(one.day);
            done.push(one);
        }
        year.done = done;
        for (index, before) in last.iter().enumerate() {
            let Some(mut before) = *before else { continue };
            if year.unfitted.iter().any(|unfitted| unfitted.chain == index) {
                continue;
            }
            while let Some(window) =
                self.next_window(&self.chains[index], before).filter(|(_, due, _)| *due < self.days as i64)
            {
                let Some(done) = self.with_room(index, window, year, nodes) else {
                    year.unfitted.push(self.unfitted(index, window));
                    break;
                };
                before = done.day;
                year.done.push(done);
            }
        }
        year.done.sort_by_key(|done| (done.day, done.chain, done.due));
    }

    /// A time on a day that has room beside what is done already: within its window, on a visit that is made anyway if
    /// there is one, else on the first day behind it.
    fn with_room(
        &self,
        index: usize,
        (first, due, last): (usize, i64, i64),
        year: &SiteYear,
        nodes: &[Node],
    ) -> Option<Done> {
        let chain = &self.chains[index];
        let last = (last.max(0) as usize).min(self.days - 1);
        let room = |node: &Node| {
            let there: Vec<&Done> = year.done.iter().filter(|done| done.day == node.day).collect();
            let minutes: u32 = there.iter().map(|done| self.chains[done.chain].minutes).sum();
            let lists = there.iter().map(|done| self.chains[done.chain].access).chain([chain.access]);
            let most = lists.map(|list| self.access[list][node.day]).min().unwrap_or(0).min(node.room);
            let able = chain.skills & !node.skills == 0 && self.access[chain.access][node.day] >= chain.minutes;
            let same = there.iter().all(|done| done.technician == node.technician);
            (able && same && minutes + chain.minutes <= most).then_some(there.is_empty())
        };
        let from = |day: usize| nodes[nodes.partition_point(|node| node.day < day)..].iter();
        let within = from(first).take_while(|node| node.day <= last).filter_map(|node| Some((room(node)?, node)));
        let within = within.min_by_key(|(alone, node)| (*alone, std::cmp::Reverse(node.day))).map(|(_, node)| node);
        let behind = || from(last.max(first) + 1).find(|node| room(node).is_some()).filter(|_| chain.may_be_late);
        let late = within.is_none();
        let node = within.or_else(behind)?;
        let window = (first.min(self.days - 1), last);
        let cost = if late { chain.base } else { Self::job(chain, window, due).cost_on(node.day) };
        Some(Done { chain: index, day: node.day, technician: node.technician, window, due, late, cost })
    }
}

/// Where not everything fits within its window: job by job, the soonest due first, on a visit that is made already, on
/// another, or on the first day behind its window that has room. The first `standing` jobs have their day.
pub(super) fn crowded(problem: &Problem, standing: usize) -> Vec<Option<usize>> {
    let mut order: Vec<usize> = (0..problem.jobs.len()).collect();
    order.sort_by_key(|index| {
        let job = &problem.jobs[*index];
        // What has its day already stays on it.
        (*index >= standing, job.first < job.last, job.last, job.access)
    });
    // By day, who comes, how long the work is, and how long it may be.
    let mut made: BTreeMap<usize, (usize, u32, u32)> = BTreeMap::new();
    let mut node_of = vec![None; problem.jobs.len()];
    for index in order {
        let job = &problem.jobs[index];
        let can = |place: usize| {
            let node = &problem.nodes[place];
            let allowed = problem.access[job.access][node.day];
            problem.fits(job, node)
                && made.get(&node.day).is_none_or(|(there, minutes, most)| {
                    *there == place && minutes + job.minutes <= (*most).min(allowed).min(node.room)
                })
        };
        let places = |from: usize, to: usize| {
            let start = problem.nodes.partition_point(|n| n.day < from);
            (start..problem.nodes.len()).take_while(move |place| problem.nodes[*place].day <= to)
        };
        let within = places(job.first, job.last).filter(|place| can(*place)).min_by(|a, b| {
            let cost = |place: usize| {
                let node = &problem.nodes[place];
                job.cost_on(node.day) + if made.contains_key(&node.day) { 0.0 } else { node.cost }
            };
            cost(*a).total_cmp(&cost(*b))
        });
        let chosen = within.or_else(|| places(job.last, usize::MAX).find(|place| can(*place)));
        if let Some(place) = chosen {
            let day = problem.nodes[place].day;
            let allowed = problem.access[job.access][day];
            let entry = made.entry(day).or_insert((place, 0, allowed));
            entry.1 += job.minutes;
            entry.2 = entry.2.min(allowed);
            node_of[index] = Some(place);
        }
    }
    node_of
}
