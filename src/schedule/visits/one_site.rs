//! On which of the possible days is one site visited, and what is done when, so that the money is least? The exact
//! answer for windows, minutes and costs as given.
//!
//! Days and jobs stand in order of time, and a job's cost falls or rises along its window. So, but for the room of a
//! day and days a job cannot use, only the visits on either side of a job's best day matter, and a dynamic programme
//! over pairs of visits that follow each other is exact. Where its answer overfills a visit, or puts a job on a day it
//! cannot use, branch and bound goes on: a job goes before that day, or behind it, or that visit is not made. It knows
//! days as numbers and nothing of records.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

/// A visit that could be made: a day with somebody who is there on it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Node {
    /// The day, counted from the first of the plan.
    pub day: usize,
    /// Who, as a number.
    pub technician: usize,
    /// What making it costs: the way.
    pub cost: f64,
    /// Minutes of work there is room for.
    pub room: u32,
    /// The skills there, a bit each.
    pub skills: u64,
}

/// A thing to do within a window.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    /// The first day it may be done.
    pub first: usize,
    /// The last.
    pub last: usize,
    /// Minutes.
    pub minutes: u32,
    /// The skills it needs, a bit each.
    pub skills: u64,
    /// Which of the site's lists of days it goes by.
    pub access: usize,
    /// What it costs on `anchor`.
    pub cost: f64,
    /// What each day later than that adds (negative where waiting saves).
    pub slope: f64,
    /// The day `cost` is of.
    pub anchor: usize,
}

impl Job {
    /// What it costs on a day.
    pub fn cost_on(&self, day: usize) -> f64 {
        self.cost + self.slope * (day as f64 - self.anchor as f64)
    }
}

/// A site's visits and jobs.
#[derive(Debug, Clone)]
pub struct Problem<'a> {
    /// Visits that could be made, by day.
    pub nodes: &'a [Node],
    /// What is to be done.
    pub jobs: &'a [Job],
    /// By list, the minutes that may be worked on each day; 0 = none.
    pub access: &'a [Vec<u32>],
    /// After how many steps of branch and bound the best answer found is taken.
    pub most_steps: usize,
}

/// Which visits are made and what is done at each.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// By job, the place of its visit among the nodes.
    pub node_of: Vec<usize>,
    /// What it costs.
    pub cost: f64,
    /// What no answer can undercut; equal to the cost where it is proven best.
    pub bound: f64,
    /// Steps of branch and bound it took.
    pub steps: usize,
}

/// Nodes times jobs times steps: a step looks at every job on every node, so that the more there is of both, the fewer
/// steps may be taken before the best answer so far stands.
const MOST_WORK: usize = 5_000_000;

/// How many steps may be taken for so many visits that could be made and so many jobs.
pub fn steps_for(nodes: usize, jobs: usize) -> usize {
    (MOST_WORK / (nodes * jobs).max(1)).max(1)
}

/// A part of the search: windows narrowed and visits ruled out.
struct Branch {
    windows: Vec<(usize, usize)>,
    without: Vec<usize>,
    bound: f64,
    chosen: Vec<usize>,
}

impl PartialEq for Branch {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}
impl Eq for Branch {}
impl PartialOrd for Branch {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Branch {
    /// The least bound is the greatest: a heap then gives it first.
    fn cmp(&self, other: &Self) -> Ordering {
        other.bound.total_cmp(&self.bound)
    }
}

/// A job as the dynamic programme asks of it, within its narrowed window.
struct Asked {
    best: usize,
    first: usize,
    last: usize,
    /// What it would cost on day 0.
    at_start: f64,
    slope: f64,
}

impl Problem<'_> {
    /// Whether a job can be done at a visit at all.
    pub fn fits(&self, job: &Job, node: &Node) -> bool {
        job.skills & !node.skills == 0
            && self.access[job.access].get(node.day).is_some_and(|minutes| *minutes >= job.minutes)
            && node.room >= job.minutes
    }

    /// The cheapest way, or `None` if the jobs cannot all be done within their windows (or no way was found).
    pub fn solve(&self) -> Option<Answer> {
        let windows: Vec<_> = self.jobs.iter().map(|job| (job.first, job.last)).collect();
        let (bound, chosen) = self.relaxed(&windows, &[])?;
        let mut best: Option<Answer> = None;
        let mut heap = BinaryHeap::from([Branch { windows, without: Vec::new(), bound, chosen }]);
        let most_steps = self.most_steps.min(steps_for(self.nodes.len(), self.jobs.len()));
        let mut steps = 0;
        while let Some(branch) = heap.pop() {
            if best.as_ref().is_some_and(|best| best.cost <= branch.bound + 1e-9) {
                break;
            }
            steps += 1;
            if steps > most_steps {
                heap.push(branch);
                break;
            }
            let assigned = self.neighbours(&branch);
            let Some(clash) = self.clash(&assigned) else {
                let cost = branch.bound;
                best = Some(Answer { node_of: assigned, cost, bound: cost, steps });
                break;
            };
            if let Some(found) = self.filled(&branch.chosen)
                && best.as_ref().is_none_or(|best| found.cost < best.cost)
            {
                best = Some(found);
            }
            self.split(branch, &clash, &mut heap);
        }
        let open = heap.peek().map_or(f64::INFINITY, |branch| branch.bound);
        best.map(|best| Answer { bound: best.cost.min(open).max(bound), steps, ..best })
    }

    /// The bound without rooms and ruled-out days.
    pub fn lower_bound(&self) -> Option<f64> {
        let windows: Vec<_> = self.jobs.iter().map(|job| (job.first, job.last)).collect();
        self.relaxed(&windows, &[]).map(|(bound, _)| bound)
    }

    /// The same with the visits it rests on.
    pub fn relaxed_visits(&self) -> Option<(f64, Vec<usize>)> {
        let windows: Vec<_> = self.jobs.iter().map(|job| (job.first, job.last)).collect();
        self.relaxed(&windows, &[])
    }

    /// The dynamic programme: cheapest visits where a visit has room for everything.
    fn relaxed(&self, windows: &[(usize, usize)], without: &[usize]) -> Option<(f64, Vec<usize>)> {
        if windows.iter().any(|(first, last)| first > last) {
            return None;
        }
        // A job by its best day: those that rather wait have it at their window's end, the others at its beginning. All that a
        // pair of visits asks of a job and of a visit stands side by side, since there are very many pairs.
        let mut jobs: Vec<Asked> = self
            .jobs
            .iter()
            .zip(windows)
            .map(|(job, (first, last))| Asked {
                best: if job.slope > 0.0 { *first } else { *last },
                first: *first,
                last: *last,
                at_start: job.cost - job.slope * job.anchor as f64,
                slope: job.slope,
            })
            .collect();
        jobs.sort_by_key(|job| job.best);
        let nodes: Vec<usize> = (0..self.nodes.len()).filter(|node| !without.contains(node)).collect();
        let visits: Vec<(usize, f64)> =
            nodes.iter().map(|node| (self.nodes[*node].day, self.nodes[*node].cost)).collect();
        let count = visits.len();
        // Place 0 is before the first visit, place count + 1 behind the last.
        let mut least = vec![f64::INFINITY; count + 2];
        let mut before = vec![0usize; count + 2];
        least[0] = 0.0;
        for from in 0..=count {
            if least[from].is_infinite() {
                continue;
            }
            let here = (from > 0).then(|| visits[from - 1].0);
            let mut next = here.map_or(0, |day| jobs.partition_point(|job| job.best < day));
            let (mut sum, mut slope) = (least[from], 0.0);
            let mut latest = usize::MAX;
            let mut to = from + 1;
            while to <= count && here == Some(visits[to - 1].0) {
                to += 1;
            }
            // Takes the jobs whose best day lies before `until` on this visit, or leaves them to the next; whether all can.
            let mut take = |until: usize, sum: &mut f64, slope: &mut f64, latest: &mut usize| {
                while let Some(job) = jobs.get(next).filter(|job| job.best < until) {
                    if let Some(day) = here.filter(|day| (job.first..=job.best).contains(day)) {
                        *sum += job.at_start + job.slope * day as f64;
                    } else if job.best < job.last {
                        // It waits for the next visit.
                        *sum += job.at_start;
                        *slope += job.slope;
                        *latest = (*latest).min(job.last);
                    } else {
                        return false;
                    }
                    next += 1;
                }
                true
            };
            let mut possible = true;
            while to <= count {
                let (day, cost) = visits[to - 1];
                possible = take(day, &mut sum, &mut slope, &mut latest) && day <= latest;
                if !possible {
                    break;
                }
                let sum = sum + cost + slope * day as f64;
                if sum < least[to] - 1e-12 {
                    least[to] = sum;
                    before[to] = from;
                }
                to += 1;
            }
            if possible && take(usize::MAX, &mut sum, &mut slope, &mut latest) && latest == usize::MAX {
                let end = count + 1;
                if sum < least[end] - 1e-12 {
                    least[end] = sum;
                    before[end] = from;
                }
            }
        }
        let total = least[count + 1];
        if total.is_infinite() {
            return None;
        }
        let mut chosen = Vec::new();
        let mut place = before[count + 1];
        while place > 0 {
            chosen.push(nodes[place - 1]);
            place = before[place];
        }
        chosen.reverse();
        Some((total, chosen))
    }

    /// Each job at the cheaper of the visits on either side of its best day, as the dynamic programme counts it.
    fn neighbours(&self, branch: &Branch) -> Vec<usize> {
        self.jobs
            .iter()
            .zip(&branch.windows)
            .map(|(job, (first, last))| {
                branch
                    .chosen
                    .iter()
                    .copied()
                    .filter(|node| (*first..=*last).contains(&self.nodes[*node].day))
                    .min_by(|a, b| {
                        let cost = |node: &usize| job.cost_on(self.nodes[*node].day);
                        // Of two that cost the same, the one nearer to the best day, as above.
                        let away =
                            |node: &usize| self.nodes[*node].day.abs_diff(if job.slope > 0.0 { *first } else { *last });
                        cost(a).total_cmp(&cost(b)).then(away(a).cmp(&away(b)))
                    })
                    .unwrap_or(usize::MAX)
            })
            .collect()
    }

    /// The first visit that cannot hold what is put on it, with jobs of which one must leave it.
    fn clash(&self, assigned: &[usize]) -> Option<(usize, Vec<usize>)> {
        let mut used: Vec<(usize, usize)> = assigned.iter().enumerate().map(|(job, node)| (*node, job)).collect();
        used.sort_unstable();
        for group in used.chunk_by(|a, b| a.0 == b.0) {
            let (node, visit) = (group[0].0, &self.nodes[group[0].0]);
            if let Some((_, job)) = group.iter().find(|(_, job)| !self.fits(&self.jobs[*job], visit)) {
                return Some((node, vec![*job]));
            }
            let mut jobs: Vec<usize> = group.iter().map(|(_, job)| *job).collect();
            let limit = self.room(visit, &jobs);
            if jobs.iter().map(|job| self.jobs[*job].minutes).sum::<u32>() > limit {
                // The fewest that overfill it: the longest.
                jobs.sort_by_key(|job| (std::cmp::Reverse(self.jobs[*job].minutes), *job));
                let mut sum = 0;
                let mut few = Vec::new();
                for job in jobs {
                    sum += self.jobs[job].minutes;
                    few.push(job);
                    if sum > limit {
                        break;
                    }
                }
                return Some((node, few));
            }
        }
        None
    }

    /// Minutes of work a visit has room for, with what its jobs' lists of days allow.
    fn room(&self, visit: &Node, jobs: &[usize]) -> u32 {
        jobs.iter().map(|job| self.access[self.jobs[*job].access][visit.day]).min().unwrap_or(0).min(visit.room)
    }

    /// The ways out of a clash.
    fn split(&self, branch: Branch, (node, jobs): &(usize, Vec<usize>), heap: &mut BinaryHeap<Branch>) {
        let day = self.nodes[*node].day;
        let mut push = |windows: Vec<(usize, usize)>, without: Vec<usize>| {
            if let Some((bound, chosen)) = self.relaxed(&windows, &without) {
                heap.push(Branch { windows, without, bound, chosen });
            }
        };
        for job in jobs {
            let (first, last) = branch.windows[*job];
            if day > first {
                let mut windows = branch.windows.clone();
                windows[*job] = (first, day - 1);
                push(windows, branch.without.clone());
            }
            if day < last {
                let mut windows = branch.windows.clone();
                windows[*job] = (day + 1, last);
                push(windows, branch.without.clone());
            }
        }
        // Somebody else may come on that day instead; with nobody else, the ways above hold all there is.
        let others = |other: &usize| self.nodes[*other].day == day && other != node && !branch.without.contains(other);
        if (0..self.nodes.len()).any(|other| others(&other)) {
            let mut without = branch.without.clone();
            without.push(*node);
            push(branch.windows, without);
        }
    }

    /// An answer on chosen visits: each job, the one with the fewest ways out first, on its cheapest visit with room.
    fn filled(&self, chosen: &[usize]) -> Option<Answer> {
        let mut order: Vec<usize> = (0..self.jobs.len()).collect();
        let ways = |job: &usize| {
            let job = &self.jobs[*job];
            chosen
                .iter()
                .filter(|node| {
                    (job.first..=job.last).contains(&self.nodes[**node].day) && self.fits(job, &self.nodes[**node])
                })
                .count()
        };
        order.sort_by_cached_key(|job| (ways(job), std::cmp::Reverse(self.jobs[*job].minutes), *job));
        let mut filled = vec![(0u32, u32::MAX); chosen.len()];
        let mut node_of = vec![usize::MAX; self.jobs.len()];
        let mut cost = 0.0;
        for index in order {
            let job = &self.jobs[index];
            let (place, _) = chosen
                .iter()
                .enumerate()
                .filter(|(place, node)| {
                    let visit = &self.nodes[**node];
                    let (minutes, allowed) = filled[*place];
                    let allowed = allowed.min(visit.room).min(self.access[job.access][visit.day]);
                    (job.first..=job.last).contains(&visit.day)
                        && self.fits(job, visit)
                        && minutes + job.minutes <= allowed
                })
                .min_by(|a, b| job.cost_on(self.nodes[*a.1].day).total_cmp(&job.cost_on(self.nodes[*b.1].day)))?;
            let visit = &self.nodes[chosen[place]];
            filled[place].0 += job.minutes;
            filled[place].1 = filled[place].1.min(self.access[job.access][visit.day]);
            node_of[index] = chosen[place];
            cost += job.cost_on(visit.day);
        }
        let used = |node: &usize| node_of.contains(node);
        cost += chosen.iter().filter(|node| used(node)).map(|node| self.nodes[*node].cost).sum::<f64>();
        Some(Answer { node_of, cost, bound: f64::NEG_INFINITY, steps: 0 })
    }
}

#[cfg(test)]
mod tests;
