//! What no plan can undercut: each area's ways are shared out among its sites day by day, so that no group of sites pays
//! more than a trip to it costs; each site's cheapest year at those prices is then found exactly, and the sum is a bound.
//! The shares are moved towards whoever comes, while that raises the bound.
//!
//! A trip also holds only so much work: the longest working day less the way. So minutes of work can pay for trips instead of
//! coming, each its part of a full trip, or both can pay a part; every such mixture is a bound, and the highest counts. Who
//! can do what, and that one person's day is full of other areas' work, are left out of it, which can only lower it.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::chains::SiteYear;
use super::diary::Diary;
use super::fleet::{FleetWork, FleetYear, visits_of};
use super::one_site::{Job, Node, Problem};
use crate::interrupt::Stop;

/// How often the shares are moved, and how often where there are very many sites: the bound is then a little lower.
const MOVES: usize = 30;
const MOVES_OF_MANY: usize = 10;
/// Up to so many sites the bound of a site that shares no trip also reckons with skills and the length of days, with at
/// most so many steps.
const FEW_SITES: usize = 12;
const EXACT_STEPS: usize = 50_000;
/// How many are very many.
const MANY_SITES: usize = 1000;
/// What is paid by minutes of work where both pay, and how far the bound of minutes alone may lie below that of coming alone
/// for it to be worth looking.
const BY_MINUTES: f64 = 0.5;
const WORTH_LOOKING: f64 = 0.6;

/// A site's jobs with the windows they came to have, and the days it can be visited.
#[derive(Clone)]
struct Priced {
    index: usize,
    way: f64,
    /// What its minutes of work come to in ways, if each trip holds as much as fits into the longest working day.
    full_trips: f64,
    jobs: Vec<Job>,
    days: Vec<usize>,
    visited: Vec<usize>,
}

/// What no plan of a fleet can undercut, for the windows this one came to have; at most what it costs itself.
pub fn bound(work: &FleetWork, year: &FleetYear, stop: &Stop) -> f64 {
    let mut areas: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (index, site) in work.sites.iter().enumerate() {
        areas.entry(site.way.area).or_default().push(index);
    }
    let areas: Vec<Vec<usize>> = areas.into_values().collect();
    areas
        .par_iter()
        .map(|sites| {
            if stop.check().is_err() {
                return 0.0;
            }
            let mut priced: Vec<Priced> = sites.iter().map(|site| priced(work, *site, &year.sites[*site])).collect();
            // The dearest way last: the shares of the first k sites may not exceed the k-th's way.
            priced.sort_by(|a, b| a.way.total_cmp(&b.way));
            let moves = if work.sites.len() > MANY_SITES { MOVES_OF_MANY } else { MOVES };
            let with_minutes = |part: f64| {
                let full_trips: f64 = priced.iter().map(|site| site.full_trips).sum();
                let coming = |site: &Priced| Priced { way: (1.0 - part) * site.way, ..site.clone() };
                let sites: Vec<Priced> = priced.iter().map(coming).collect();
                // Where coming costs nothing there is nothing to share.
                part * full_trips + area_bound(work, &sites, if part < 1.0 { moves } else { 1 })
            };
            let (coming, minutes) = (with_minutes(0.0), with_minutes(1.0));
            let both = if minutes > WORTH_LOOKING * coming { with_minutes(BY_MINUTES) } else { f64::NEG_INFINITY };
            let alone = match &priced[..] {
                [site] if work.sites.len() <= FEW_SITES => exact_year(work, site),
                _ => f64::NEG_INFINITY,
            };
            coming.max(minutes).max(both).max(alone)
        })
        .collect::<Vec<f64>>()
        .into_iter()
        .sum::<f64>()
        .min(year.cost)
}

fn priced(work: &FleetWork, index: usize, year: &SiteYear) -> Priced {
    let site = &work.sites[index];
    let jobs = year
        .done
        .iter()
        .map(|done| {
            let chain = &site.chains[done.chain];
            let fixed = done.late || chain.urgent.is_some() && done.due < 0;
            let (first, last) = if fixed { (done.day, done.day) } else { done.window };
            Job {
                first,
                last: last.max(first),
                minutes: chain.minutes,
                skills: chain.skills,
                access: chain.access,
                cost: if fixed { done.cost } else { chain.base },
                slope: if fixed { 0.0 } else { chain.risk - chain.thrown_away },
                anchor: done.due.max(0) as usize,
            }
        })
        .collect();
    let minutes: u32 = year.done.iter().map(|done| site.chains[done.chain].minutes).sum();
    let longest = work.technicians.iter().flat_map(|t| &t.minutes).max().copied().unwrap_or(0);
    // The sites of a trip pay no more than its dearest way: each pays at most that way's price a minute, since less of the day
    // is left beside a longer way.
    let a_trip = f64::from(longest.saturating_sub(site.way.minutes).max(1));
    let full_trips = site.way.cost * f64::from(minutes) / a_trip;
    let somebody: Vec<bool> = (0..work.days).map(|day| work.technicians.iter().any(|t| t.minutes[day] > 0)).collect();
    let days = (0..work.days).filter(|day| somebody[*day] && site.access.iter().any(|list| list[*day] > 0)).collect();
    let mut visited: Vec<usize> = visits_of(site, year).into_iter().map(|(day, _, _)| day).collect();
    visited.dedup();
    Priced { index, way: site.way.cost, full_trips, jobs, days, visited }
}

fn area_bound(work: &FleetWork, sites: &[Priced], moves: usize) -> f64 {
    let days = work.days;
    let access: [Vec<u32>; 0] = [];
    let mut nodes: Vec<Node> = Vec::new();
    let mut year = |site: &Priced, price: &dyn Fn(usize) -> f64| {
        nodes.clear();
        let node = |day: &usize| Node { day: *day, technician: 0, cost: price(*day), room: 0, skills: 0 };
        nodes.extend(site.days.iter().map(node));
        let problem = Problem { nodes: &nodes, jobs: &site.jobs, access: &access, most_steps: 0 };
        let found = problem.relaxed_visits();
        found.map_or((0.0, Vec::new()), |(cost, made)| (cost, made.into_iter().map(|n| nodes[n].day).collect()))
    };
    if let [site] = sites {
        return year(site, &|_| site.way).0;
    }
    let dearest = sites.last().map_or(0.0, |site| site.way);
    // On a day the plan visits, those it visits share the way; on others all do.
    let mut shares: Vec<Vec<f64>> = sites.iter().map(|_| vec![0.0; days]).collect();
    for day in 0..days {
        let there: Vec<usize> = (0..sites.len()).filter(|s| sites[*s].visited.binary_search(&day).is_ok()).collect();
        let paying: Vec<usize> = if there.is_empty() {
            (0..sites.len()).filter(|s| sites[*s].days.binary_search(&day).is_ok()).collect()
        } else {
            there
        };
        for site in &paying {
            shares[*site][day] = sites[*site].way / paying.len() as f64;
        }
        within_ways(&mut shares, sites, day);
    }
    let mut best = f64::NEG_INFINITY;
    for step in 0..moves {
        let found: Vec<(f64, Vec<usize>)> =
            sites.iter().zip(&shares).map(|(site, share)| year(site, &|day| share[day])).collect();
        best = best.max(found.iter().map(|(cost, _)| cost).sum());
        let size = 0.25 * dearest / (1.0 + step as f64 / 4.0);
        let mut coming = vec![0usize; days];
        for (_, made) in &found {
            for day in made {
                coming[*day] += 1;
            }
        }
        let mut touched: Vec<usize> = Vec::new();
        for ((_, made), share) in found.iter().zip(&mut shares) {
            for day in made {
                // Whoever comes with few others pays more; the step is shared by those who come.
                share[*day] += size / coming[*day] as f64;
                touched.push(*day);
            }
        }
        touched.sort_unstable();
        touched.dedup();
        for day in touched {
            let comes: Vec<bool> = found.iter().map(|(_, made)| made.binary_search(&day).is_ok()).collect();
            lower_others(&mut shares, sites, &comes, day);
            within_ways(&mut shares, sites, day);
        }
    }
    best
}

/// What the year of a site that shares no trip costs at the least, with who can do what and for how long.
fn exact_year(work: &FleetWork, site: &Priced) -> f64 {
    let records = &work.sites[site.index];
    let diary = Diary::new(work.technicians.clone(), work.days);
    let mut nodes: Vec<Node> = Vec::new();
    diary.nodes(&records.way, |day| records.open(day), |_| None, &mut nodes);
    let problem = Problem { nodes: &nodes, jobs: &site.jobs, access: &records.access, most_steps: EXACT_STEPS };
    problem.solve().map_or(f64::NEG_INFINITY, |answer| answer.bound)
}

/// What is too much altogether is taken from those who do not come.
fn lower_others(shares: &mut [Vec<f64>], sites: &[Priced], comes: &[bool], day: usize) {
    let sum: f64 = shares.iter().map(|share| share[day]).sum();
    let most = sites.last().map_or(0.0, |site| site.way);
    let of_others: f64 = shares.iter().zip(comes).filter(|(_, comes)| !**comes).map(|(share, _)| share[day]).sum();
    let too_much = sum - most;
    if too_much > 0.0 && of_others > 0.0 {
        let keep = (1.0 - too_much / of_others).max(0.0);
        for (share, _) in shares.iter_mut().zip(comes).filter(|(_, comes)| !**comes) {
            share[day] *= keep;
        }
    }
}

/// Lowers shares until no group of sites pays more than the dearest way among them.
fn within_ways(shares: &mut [Vec<f64>], sites: &[Priced], day: usize) {
    let mut sum: f64 = shares.iter().map(|share| share[day]).sum();
    let most = sites.last().map_or(0.0, |site| site.way);
    if sum > most && sum > 0.0 {
        let keep = most / sum;
        for share in shares.iter_mut() {
            share[day] *= keep;
        }
    }
    sum = 0.0;
    for (share, site) in shares.iter_mut().zip(sites) {
        let most = (site.way - sum).max(0.0);
        share[day] = share[day].min(most);
        sum += share[day];
    }
}
