//! What recurs at one site over the year, chained from when it is really done: the windows of a second time depend on
//! the day of the first. The exact answer of [`super::one_site`] is asked for the windows as far as they are known; what is
//! decided up to the first window that has moved stands, and the rest is asked again.

mod fitting;
mod over_visits;
mod search;

use std::sync::Arc;

use chrono::NaiveDate;

use super::one_site::{Job, Node, Problem, steps_for};
use crate::calendar::{add, days_between, plus_days};
use crate::units::Period;
use fitting::crowded;

/// Why something is due again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// Its period is over.
    Period,
    /// Guests who are booked leave.
    Guests,
    /// Guests are expected to leave as a year before.
    GuestsExpected,
    /// Guests have been in for the longest time the water may stand.
    AtMost,
    /// So many have bathed.
    Bathers,
    /// So many will have bathed if guests come as a year before.
    BathersExpected,
}

impl Why {
    /// Whether guests leaving ask for it.
    pub fn is_guests(self) -> bool {
        matches!(self, Self::Guests | Self::GuestsExpected)
    }
}

/// When something is due again that is done on a given day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Next {
    /// The first day it may be done.
    pub first: usize,
    /// The day it is due.
    pub due: i64,
    /// The last day in time.
    pub last: i64,
    /// Why.
    pub why: Why,
}

/// Something to do at a site once, or again and again.
#[derive(Debug, Clone, PartialEq)]
pub struct Chain {
    /// The first day it may first be done.
    pub first: usize,
    /// The last day it is first done in time; before 0 where it is overdue.
    pub due: i64,
    /// Days before the due day from which a later time may be done.
    pub early: i64,
    /// How long until it is due again.
    pub again: Option<Period>,
    /// By day of the plan, when it is due again if done that day, where a rule says so; `again` is then about how long.
    pub after: Option<Arc<[Next]>>,
    /// Minutes.
    pub minutes: u32,
    /// Skills it needs, a bit each.
    pub skills: u64,
    /// Which of the site's lists of days it goes by.
    pub access: usize,
    /// What it costs on its due day: the risk of having waited.
    pub base: f64,
    /// What each day before the due day throws away.
    pub thrown_away: f64,
    /// What each day of waiting adds to the risk.
    pub risk: f64,
    /// Whether it comes before all else, the least number first.
    pub urgent: Option<u8>,
    /// The last day of the response a contract promises for what is urgent.
    pub respond_by: Option<usize>,
    /// Whether it waits for a closed season to end.
    pub waits: bool,
    /// Whether a day behind its window is better than none.
    pub may_be_late: bool,
    /// Days it was promised for.
    pub promised: Vec<usize>,
    /// The day its first time was promised for, where it was due then as it is now.
    pub promised_first: Option<usize>,
}

/// A time something is done.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Done {
    /// Of which chain.
    pub chain: usize,
    /// The day.
    pub day: usize,
    /// By whom.
    pub technician: usize,
    /// Its window: the first day, and the last in time.
    pub window: (usize, usize),
    /// The day it is due; before 0 where it is overdue.
    pub due: i64,
    /// Whether no day within its window could be had.
    pub late: bool,
    /// What doing it that day costs in life thrown away and risk.
    pub cost: f64,
}

/// Something that found no day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unfitted {
    /// Of which chain.
    pub chain: usize,
    /// The day it is due.
    pub due: i64,
    /// Its window: the first day, and the last looked at.
    pub window: (usize, usize),
}

/// The year of a site.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SiteYear {
    /// What is done, by day.
    pub done: Vec<Done>,
    /// What is not.
    pub unfitted: Vec<Unfitted>,
    /// What the ways cost beside those of others.
    pub ways: f64,
    /// What the jobs cost in life thrown away and risk.
    pub jobs: f64,
    /// Whether the search for it stopped at its limit of steps, so that a better one may have been missed.
    pub stopped: bool,
    /// Steps of branch and bound it took.
    pub steps: usize,
}

impl SiteYear {
    /// How good it is, the least best: what is left out, what is late, what it costs.
    pub fn rank(&self) -> (usize, usize, f64) {
        (self.unfitted.len(), self.done.iter().filter(|d| d.late).count(), self.ways + self.jobs)
    }

    /// Whether it is better than another.
    pub fn beats(&self, other: &Self) -> bool {
        let (a, b) = (self.rank(), other.rank());
        (a.0, a.1) < (b.0, b.1) || ((a.0, a.1) == (b.0, b.1) && a.2 < b.2 - 1e-9)
    }
}

/// A site's calendar and what is to be done there.
#[derive(Debug, Clone)]
pub struct Chains<'a> {
    /// The day that is numbered 0.
    pub start: NaiveDate,
    /// How many days are planned.
    pub days: usize,
    /// What is to be done.
    pub chains: &'a [Chain],
    /// By list, the minutes that may be worked on each day.
    pub access: &'a [Vec<u32>],
    /// Closed seasons, both ends counted, by day.
    pub closed: &'a [(i64, i64)],
    /// Steps of branch and bound the year may take.
    pub most_steps: usize,
    /// Chains times visits that may be looked at to make the year better; 0 = it stands as step by step makes it.
    pub most_looks: usize,
    /// Whether a time that must come sooner is put on a visit that is made anyway before the year is asked again: quicker,
    /// and a little dearer.
    pub hasty: bool,
}

/// Days after reopening within which what waited is done: common practice, no source.
const AFTER_REOPENING: i64 = 6;

/// A time something is to be done, before it has a day.
#[derive(Debug, Clone)]
struct Wanted {
    chain: usize,
    window: (usize, usize),
    due: i64,
    late: bool,
    job: Job,
}

impl Chains<'_> {
    /// The window and due day of the first time.
    pub(super) fn first_window(&self, chain: &Chain) -> (usize, i64, i64) {
        let (due, last) = self.waiting(chain, chain.due);
        (chain.first, due, last)
    }

    /// A time as window and due day within the plan; `None` = it is not due within it.
    pub(super) fn time(&self, window: Option<(usize, i64, i64)>) -> Option<((usize, usize), i64)> {
        let (first, due, last) = window.filter(|(_, due, _)| *due < self.days as i64)?;
        let horizon = self.days - 1;
        Some(((first.min(horizon), (last.max(0) as usize).min(horizon)), due))
    }

    /// The window of a time that follows one done on a day; `None` = never again.
    pub(super) fn next_window(&self, chain: &Chain, done: usize) -> Option<(usize, i64, i64)> {
        if let Some(next) = chain.after.as_ref().and_then(|after| after.get(done)) {
            let (due, last) = self.waiting(chain, next.due);
            return Some(if due == next.due { (next.first, due, next.last) } else { (due as usize, due, last) });
        }
        let again = chain.again?;
        let day = plus_days(self.start, done as i64);
        let due = days_between(self.start, add(day, again)).max(done as i64 + 1);
        let (due, last) = self.waiting(chain, due);
        let first = (due - chain.early).max(done as i64 + 1).max(0) as usize;
        Some((first, due, last))
    }

    /// The due day and the last day in time, moved behind a closed season where the work waits for its end.
    fn waiting(&self, chain: &Chain, due: i64) -> (i64, i64) {
        match self.closed.iter().find(|(from, to)| chain.waits && (*from..=*to).contains(&due) && *to >= 0) {
            Some((_, to)) => (to + 1, to + 1 + AFTER_REOPENING),
            None => (due, due),
        }
    }

    pub(super) fn job(chain: &Chain, window: (usize, usize), due: i64) -> Job {
        Job {
            first: window.0,
            last: window.1,
            minutes: chain.minutes,
            skills: chain.skills,
            access: chain.access,
            cost: chain.base,
            slope: chain.risk - chain.thrown_away,
            anchor: due.max(0) as usize,
        }
    }

    /// A time with the window it can have among the visits that could be made: as wanted, else the first day after it.
    fn wanted(&self, index: usize, (first, due, last): (usize, i64, i64), nodes: &[Node]) -> Option<Wanted> {
        let chain = &self.chains[index];
        let horizon = self.days - 1;
        let window = (first.min(horizon), (last.max(0) as usize).min(horizon));
        let job = Self::job(chain, window, due);
        let problem = Problem { nodes, jobs: &[], access: self.access, most_steps: 0 };
        let fits = |node: &&Node| problem.fits(&job, node);
        let from = |day: usize| &nodes[nodes.partition_point(|node| node.day < day)..];
        let within = |day: usize| (window.0..=window.1).contains(&day);
        let at = |day: usize, late: bool| Wanted {
            chain: index,
            window,
            due,
            late,
            job: Job {
                first: day,
                last: day,
                slope: 0.0,
                cost: if late { chain.base } else { job.cost_on(day) },
                ..job.clone()
            },
        };
        let on = |day: usize| from(day).iter().take_while(|n| n.day == day).any(|n| fits(&n));
        // What was promised stays, if its day will do.
        if let Some(day) = chain.promised.iter().copied().find(|day| within(*day) && on(*day)) {
            return Some(at(day, false));
        }
        if from(window.0).iter().take_while(|n| n.day <= window.1).any(|n| fits(&n)) && window.0 <= window.1 {
            return Some(Wanted { chain: index, window, due, late: false, job });
        }
        if !chain.may_be_late {
            return None;
        }
        let after = window.1.max(window.0);
        if let Some(day) = chain.promised.iter().copied().find(|day| *day >= after && on(*day)) {
            return Some(at(day, true));
        }
        from(after).iter().find(fits).map(|node| at(node.day, true))
    }

    /// Plans the year on the visits that could be made; `given` is what stands already.
    pub fn plan(&self, nodes: &[Node], given: &[Done]) -> SiteYear {
        self.better(self.step_by_step(nodes, given), nodes, given)
    }

    /// The year asked for as far as windows are known, and again from the first that has moved.
    fn step_by_step(&self, nodes: &[Node], given: &[Done]) -> SiteYear {
        let mut standing: Vec<Done> = given.to_vec();
        // Up to this day nothing is asked again.
        let mut settled: Option<usize> = None;
        // Asked again and again, the year may take no more steps than once.
        let mut steps = self.most_steps;
        let (mut taken, mut stopped) = (0, false);
        loop {
            let mut year = SiteYear::default();
            let mut all: Vec<Wanted> = Vec::new();
            let mut last_dones: Vec<Option<usize>> = vec![None; self.chains.len()];
            for done in &standing {
                let chain = &self.chains[done.chain];
                let job = Job {
                    first: done.day,
                    last: done.day,
                    cost: done.cost,
                    slope: 0.0,
                    ..Self::job(chain, done.window, done.due)
                };
                all.push(Wanted { chain: done.chain, window: done.window, due: done.due, late: done.late, job });
                last_dones[done.chain] = last_dones[done.chain].max(Some(done.day));
            }
            for (index, chain) in self.chains.iter().enumerate() {
                let mut last_done = last_dones[index];
                loop {
                    let window = match last_done {
                        None => Some(self.first_window(chain)),
                        Some(day) => self.next_window(chain, day),
                    };
                    let Some(window) = window.filter(|(_, due, _)| *due < self.days as i64) else { break };
                    let Some(wanted) = self.wanted(index, window, nodes) else {
                        year.unfitted.push(self.unfitted(index, window));
                        break;
                    };
                    last_done = Some(wanted.job.last);
                    all.push(wanted);
                }
            }
            let jobs: Vec<Job> = all.iter().map(|wanted| wanted.job.clone()).collect();
            steps = steps.min(steps_for(nodes.len(), jobs.len()).saturating_sub(taken));
            let problem = Problem { nodes, jobs: &jobs, access: self.access, most_steps: steps.max(1) };
            let solved = problem.solve();
            let took = solved.as_ref().map_or(steps, |answer| answer.steps);
            steps = steps.saturating_sub(took);
            taken += took;
            year.steps = taken;
            stopped |= solved.as_ref().is_some_and(|answer| answer.bound < answer.cost - 1e-9);
            year.stopped = stopped;
            let solved = solved.map(|answer| answer.node_of.into_iter().map(Some).collect::<Vec<_>>());
            let node_of = solved.unwrap_or_else(|| crowded(&problem, standing.len()));
            for (wanted, node) in all.iter().zip(&node_of) {
                let in_time =
                    |node: &usize| nodes[*node].day <= wanted.job.last || self.chains[wanted.chain].may_be_late;
                let Some(node) = node.filter(in_time).map(|node| &nodes[node]) else {
                    let (first, last) = (wanted.window.0, wanted.window.1 as i64);
                    year.unfitted.push(self.unfitted(wanted.chain, (first, wanted.due, last)));
                    continue;
                };
                let late = wanted.late || node.day > wanted.window.1.max(wanted.job.last);
                year.done.push(Done {
                    chain: wanted.chain,
                    day: node.day,
                    technician: node.technician,
                    window: wanted.window,
                    due: wanted.due,
                    late,
                    cost: if late { wanted.job.cost } else { wanted.job.cost_on(node.day) },
                });
            }
            year.done.sort_by_key(|done| (done.day, done.chain, done.due));
            if self.hasty {
                self.sooner(&mut year, nodes);
            }
            let first_moved = self.first_moved(&mut year);
            let moved = first_moved.filter(|day| settled.is_none_or(|settled| *day > settled));
            if moved.is_none() {
                if first_moved.is_some() {
                    self.straighten(&mut year, nodes);
                }
                year.jobs = year.done.iter().map(|done| done.cost).sum();
                let mut made: Vec<(usize, usize)> = year.done.iter().map(|done| (done.day, done.technician)).collect();
                made.sort_unstable();
                made.dedup();
                let of_visit = |node: &&Node| made.binary_search(&(node.day, node.technician)).is_ok();
                year.ways = nodes.iter().filter(of_visit).map(|node| node.cost).sum();
                return year;
            }
            settled = moved;
            standing = year.done.into_iter().filter(|done| moved.is_some_and(|day| done.day <= day)).collect();
            standing.sort_by_key(|done| (done.chain, done.day, done.due));
            standing.dedup_by_key(|done| (done.chain, done.day));
        }
    }

    /// What found no day, with the days it could have been done on.
    fn unfitted(&self, chain: usize, (first, due, last): (usize, i64, i64)) -> Unfitted {
        let horizon = self.days - 1;
        let last = if self.chains[chain].may_be_late { horizon } else { (last.max(0) as usize).min(horizon) };
        Unfitted { chain, due, window: (first.min(last), last) }
    }

    /// The first day on which something is done whose next time must now be sooner than planned; `None` = all is well.
    /// Windows are put right where the day planned lies within the new one.
    fn first_moved(&self, year: &mut SiteYear) -> Option<usize> {
        let mut last: Vec<Option<usize>> = vec![None; self.chains.len()];
        let mut moved: Option<usize> = None;
        for done in &mut year.done {
            let chain = &self.chains[done.chain];
            if let Some(before) = last[done.chain]
                && let Some((first, due, latest)) = self.next_window(chain, before)
                && due != done.due
            {
                let latest = (latest.max(0) as usize).min(self.days - 1);
                if (first..=latest).contains(&done.day) {
                    done.window = (first, latest);
                    done.due = due;
                    done.late = false;
                    done.cost = Self::job(chain, done.window, due).cost_on(done.day);
                } else {
                    moved = Some(moved.map_or(before, |day: usize| day.min(before)));
                }
            }
            last[done.chain] = Some(done.day);
        }
        for (index, before) in last.iter().enumerate() {
            let Some(before) = *before else { continue };
            let given_up = year.unfitted.iter().any(|unfitted| unfitted.chain == index);
            let next = self.next_window(&self.chains[index], before).is_some_and(|(_, due, _)| due < self.days as i64);
            if next && !given_up {
                moved = Some(moved.map_or(before, |day: usize| day.min(before)));
            }
        }
        moved
    }
}
