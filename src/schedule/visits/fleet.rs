//! The year of all sites: who goes where on which day, so that the fleet's money is least. Crews are planned apart from
//! each other; within a crew site after site is planned exactly beside what the others have booked, and again while that
//! saves, so that visits gather on common days. What is overdue or unsafe is booked before all else.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use super::chains::{Chain, Chains, Done, SiteYear, Unfitted};
use super::diary::{Booked, CHANGEOVER_MINUTES, Diary, Technician, Way};
use super::one_site::Node;
use crate::interrupt::{Interrupted, Stop};

/// A site as a number among others.
#[derive(Debug, Clone, PartialEq)]
pub struct SiteWork {
    /// The way to it.
    pub way: Way,
    /// By list, the minutes that may be worked on each day; 0 = none.
    pub access: Vec<Vec<u32>>,
    /// Which days are changeovers.
    pub changeover: Vec<bool>,
    /// Closed seasons by day, both ends counted.
    pub closed: Vec<(i64, i64)>,
    /// What is to be done.
    pub chains: Vec<Chain>,
    /// Visits that are promised: the day, who comes, and minutes of work.
    pub promised: Vec<(usize, usize, u32)>,
}

/// What is planned.
#[derive(Debug, Clone)]
pub struct FleetWork {
    /// The day that is numbered 0.
    pub start: NaiveDate,
    /// How many days are planned.
    pub days: usize,
    /// Who makes visits.
    pub technicians: Vec<Technician>,
    /// The sites.
    pub sites: Vec<SiteWork>,
}

/// The plan in numbers.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct FleetYear {
    /// By site.
    pub sites: Vec<SiteYear>,
    /// What it costs: ways, life thrown away, risk.
    pub cost: f64,
    /// What no plan with these windows can undercut.
    pub bound: f64,
}

/// Up to so many sites time is no question.
const FEW_SITES: usize = 12;
/// Steps of branch and bound a site may take, alone, where there are few and where there are many.
const STEPS: [usize; 3] = [50_000, 100, 4];
/// How often each site is planned again beside the others, alone, where there are few and where there are many.
const ROUNDS: [usize; 3] = [6, 6, 1];
/// Things to do, again and again or once, beyond which each site is planned again once.
const MANY_CHAINS: usize = 300;
/// How often visits of several sites are moved at once is this over the square of how much there is to do, and at most so
/// often: it takes longer the more there is.
const SHAKES: usize = 200_000;
const SHAKES_MOST: usize = 150;
/// Technicians of a crew, about.
const CREW: usize = 4;

/// Plans the year, unless the run is asked to end.
///
/// # Errors
/// The run was asked to end meanwhile.
pub fn plan(work: &FleetWork, stop: &Stop) -> Result<FleetYear, Interrupted> {
    let crews = crews(work);
    let planned: Vec<Vec<(usize, SiteYear)>> = crews
        .par_iter()
        .map(|(people, sites)| {
            let mut planner = Planner::new(work, people, sites, stop);
            planner.promise();
            planner.urgent();
            planner.first_round();
            planner.again();
            planner.shake();
            planner.mend();
            planner.finish()
        })
        .collect();
    stop.check()?;
    let mut years: Vec<SiteYear> = vec![SiteYear::default(); work.sites.len()];
    for (site, year) in planned.into_iter().flatten() {
        years[site] = year;
    }
    let mut ways = Diary::new(work.technicians.clone(), work.days);
    for (site, year) in years.iter().enumerate() {
        for (day, technician, minutes) in visits_of(&work.sites[site], year) {
            ways.book(technician, day, work.sites[site].booked(site, day, minutes));
        }
    }
    let cost = ways.ways_cost() + years.iter().map(|year| year.jobs).sum::<f64>();
    let bound = super::bound::bound(work, &years, stop).min(cost);
    stop.check()?;
    Ok(FleetYear { sites: years, cost, bound })
}

/// The visits of a site's year: day, who, minutes of work.
pub fn visits_of(site: &SiteWork, year: &SiteYear) -> Vec<(usize, usize, u32)> {
    let mut visits: BTreeMap<(usize, usize), u32> = BTreeMap::new();
    for done in &year.done {
        *visits.entry((done.day, done.technician)).or_default() += site.chains[done.chain].minutes;
    }
    visits.into_iter().map(|((day, technician), minutes)| (day, technician, minutes)).collect()
}

impl SiteWork {
    fn booked(&self, site: usize, day: usize, minutes: u32) -> Booked {
        Booked { site, way: self.way, minutes, changeover: self.changeover[day] }
    }

    /// The most minutes any list allows on a day, and whether it is a changeover.
    pub(super) fn open(&self, day: usize) -> (u32, bool) {
        (self.access.iter().map(|list| list[day]).max().unwrap_or(0), self.changeover[day])
    }
}

/// Who works together, and for which sites: few people are one crew; many are dealt into crews that each have every
/// skill some crew needs, and areas go to the crew with the most time left.
fn crews(work: &FleetWork) -> Vec<(Vec<usize>, Vec<usize>)> {
    let mut by_area: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (index, site) in work.sites.iter().enumerate() {
        by_area.entry(site.way.area).or_default().push(index);
    }
    let mut people: Vec<usize> = (0..work.technicians.len()).collect();
    people.sort_by_key(|person| {
        (work.technicians[*person].skills.count_ones(), work.technicians[*person].skills, *person)
    });
    // Every skill is in every crew.
    let all_skills = work.technicians.iter().fold(0, |all, t| all | t.skills);
    let rarest = (0..64)
        .filter(|bit| all_skills >> bit & 1 == 1)
        .map(|bit| work.technicians.iter().filter(|t| t.skills >> bit & 1 == 1).count())
        .min()
        .unwrap_or(usize::MAX);
    let count = (people.len() / CREW).min(rarest).max(1);
    let mut crews: Vec<(Vec<usize>, Vec<usize>)> = vec![Default::default(); count];
    for (place, person) in people.into_iter().enumerate() {
        crews[place % count].0.push(person);
    }
    if count > 1
        && crews.iter().any(|(crew, _)| crew.iter().fold(0, |all, p| all | work.technicians[*p].skills) != all_skills)
    {
        crews = vec![((0..work.technicians.len()).collect(), Vec::new())];
    }
    let minutes_of = |person: &usize| work.technicians[*person].minutes.iter().map(|m| u64::from(*m)).sum::<u64>();
    let time: Vec<u64> = crews.iter().map(|(crew, _)| crew.iter().map(minutes_of).sum::<u64>().max(1)).collect();
    let mut load = vec![0u64; crews.len()];
    let need = |site: &usize| {
        let work_of = |chain: &Chain| {
            let times = chain.again.map_or(1.0, |again| work.days as f64 / again.mean_days().max(1.0)).max(1.0);
            (f64::from(chain.minutes) * times) as u64
        };
        work.sites[*site].chains.iter().map(work_of).sum::<u64>() + u64::from(work.sites[*site].way.minutes)
    };
    let mut areas: Vec<(u64, Vec<usize>)> =
        by_area.into_values().map(|sites| (sites.iter().map(need).sum(), sites)).collect();
    areas.sort_by_key(|(minutes, sites)| (std::cmp::Reverse(*minutes), sites[0]));
    for (minutes, sites) in areas {
        let share = |crew: &usize| (load[*crew] + minutes) as f64 / time[*crew] as f64;
        let crew = (0..crews.len()).min_by(|a, b| share(a).total_cmp(&share(b))).unwrap_or(0);
        load[crew] += minutes;
        crews[crew].1.extend(sites);
    }
    crews
}

/// A crew's plan while it is made.
struct Planner<'a> {
    work: &'a FleetWork,
    people: &'a [usize],
    sites: &'a [usize],
    diary: Diary,
    /// What is overdue or unsafe and has its day, by the site's place.
    given: Vec<Vec<Done>>,
    /// What of it found none.
    without: Vec<Vec<Unfitted>>,
    /// The visits that stand in the diary, by the site's place: day and who.
    booked: Vec<Vec<(usize, usize)>>,
    years: Vec<SiteYear>,
    /// Once it is raised, what is planned is of no use any more.
    stop: &'a Stop,
}

impl<'a> Planner<'a> {
    fn new(work: &'a FleetWork, people: &'a [usize], sites: &'a [usize], stop: &'a Stop) -> Self {
        let technicians = people.iter().map(|person| work.technicians[*person].clone()).collect();
        Self {
            work,
            people,
            sites,
            diary: Diary::new(technicians, work.days),
            given: vec![Vec::new(); sites.len()],
            without: vec![Vec::new(); sites.len()],
            booked: vec![Vec::new(); sites.len()],
            years: vec![SiteYear::default(); sites.len()],
            stop,
        }
    }

    /// How often each site is planned again: once where there is so much to do that once takes long.
    fn rounds(&self) -> usize {
        let chains: usize = self.sites.iter().map(|index| self.work.sites[*index].chains.len()).sum();
        if chains > MANY_CHAINS { 1 } else { ROUNDS[self.many()] }
    }

    /// 0 where a site stands alone, 1 where there are few, 2 where there are many.
    fn many(&self) -> usize {
        match self.work.sites.len() {
            1 => 0,
            few if few <= FEW_SITES => 1,
            _ => 2,
        }
    }

    fn site(&self, place: usize) -> &'a SiteWork {
        &self.work.sites[self.sites[place]]
    }

    fn book(&mut self, place: usize, day: usize, technician: usize, minutes: u32) {
        let visit = self.site(place).booked(place, day, minutes);
        self.diary.book(technician, day, visit);
        self.booked[place].push((day, technician));
    }

    /// Keeps room for the visits that are promised.
    fn promise(&mut self) {
        for place in 0..self.sites.len() {
            for (day, technician, minutes) in &self.site(place).promised {
                let Some(person) = self.people.iter().position(|person| person == technician) else { continue };
                if self.diary.technicians()[person].minutes.get(*day).is_some_and(|m| *m > 0) {
                    self.book(place, *day, person, *minutes);
                }
            }
        }
    }

    /// Books what is overdue or unsafe on the first day it can be done, whatever it costs.
    fn urgent(&mut self) {
        let mut all: Vec<(u8, i64, usize, usize)> = Vec::new();
        for place in 0..self.sites.len() {
            for (index, chain) in self.site(place).chains.iter().enumerate() {
                if let Some(rank) = chain.urgent {
                    all.push((rank, chain.due, place, index));
                }
            }
        }
        all.sort_unstable();
        for (_, due, place, index) in all {
            if self.ended() {
                return;
            }
            let site = self.site(place);
            let chain = &site.chains[index];
            let kept = site.promised.iter().filter(|(day, _, _)| chain.promised_first == Some(*day)).find_map(
                |(day, person, _)| {
                    let person = self.people.iter().position(|p| p == person)?;
                    let able = chain.skills & !self.diary.technicians()[person].skills == 0;
                    let open = site.access[chain.access][*day] >= chain.minutes;
                    (able && open && self.booked[place].contains(&(*day, person))).then_some((*day, person))
                },
            );
            // Its room is kept already.
            let reserved = kept.is_some();
            let found = kept.or_else(|| self.earliest(place, chain, chain.first, self.work.days - 1));
            let Some((day, technician)) = found else {
                self.without[place].push(Unfitted { chain: index, due, window: (chain.first, self.work.days - 1) });
                continue;
            };
            // What a contract promises a response for is late behind it; what is due still, behind its due day.
            let by = chain.respond_by.or(usize::try_from(due).ok());
            let late = by.is_some_and(|by| day > by);
            let window = (chain.first, by.unwrap_or(chain.first).max(chain.first).min(self.work.days - 1));
            let done = Done { chain: index, day, technician, window, due, late, cost: 0.0 };
            self.given[place].push(done);
            if reserved {
                continue;
            }
            self.book(place, day, technician, chain.minutes);
        }
    }

    /// The first day on which somebody can do a thing at a site, beside what is booked there.
    fn earliest(&self, place: usize, chain: &Chain, from: usize, to: usize) -> Option<(usize, usize)> {
        let site = self.site(place);
        let others = self.others_need(place);
        for day in from..=to.min(self.work.days - 1) {
            let allowed = site.access[chain.access][day];
            if allowed < chain.minutes {
                continue;
            }
            let there: Vec<usize> =
                self.booked[place].iter().filter(|(booked, _)| *booked == day).map(|(_, person)| *person).collect();
            let minutes_here: u32 =
                there.iter().flat_map(|p| self.diary.of(*p, day)).filter(|b| b.site == place).map(|b| b.minutes).sum();
            let can = |person: &usize| {
                let technician = &self.diary.technicians()[*person];
                let booked = self.diary.of(*person, day);
                let trip = booked.iter().filter(|b| b.way.area == site.way.area).map(|b| b.way.minutes).max();
                let way = site.way.minutes.saturating_sub(trip.unwrap_or(0));
                let changeover: u32 = booked.iter().filter(|b| b.changeover).map(|b| b.minutes).sum();
                technician.minutes[day] > 0
                    && chain.skills & !technician.skills == 0
                    && self.diary.taken(*person, day) + way + chain.minutes <= technician.minutes[day]
                    && minutes_here + chain.minutes <= allowed
                    && (!site.changeover[day] || changeover + chain.minutes <= CHANGEOVER_MINUTES)
            };
            let person = if there.is_empty() {
                (0..self.people.len()).filter(can).max_by_key(|person| {
                    let technician = &self.diary.technicians()[*person];
                    let also = (technician.skills & others).count_ones();
                    (also, technician.minutes[day] - self.diary.taken(*person, day), std::cmp::Reverse(*person))
                })
            } else {
                there.into_iter().find(can)
            };
            if let Some(person) = person {
                return Some((day, person));
            }
        }
        None
    }

    fn ended(&self) -> bool {
        self.stop.check().is_err()
    }

    /// The skills that what is urgent at a site needs.
    fn others_need(&self, place: usize) -> u64 {
        self.site(place).chains.iter().filter(|c| c.urgent.is_some()).fold(0, |all, c| all | c.skills)
    }

    /// Plans every site once, those first that can be visited on the fewest days.
    fn first_round(&mut self) {
        let mut order: Vec<usize> = (0..self.sites.len()).collect();
        order.sort_by_cached_key(|place| {
            let site = self.site(*place);
            let open = (0..self.work.days).filter(|day| site.open(*day).0 > 0).count();
            (site.way.area, open, std::cmp::Reverse(site.way.minutes), *place)
        });
        for place in order {
            if self.ended() {
                return;
            }
            self.strike(place);
            let year = self.year(place, 1.0);
            self.write(place, year);
        }
    }

    /// Plans sites again beside what the others have become, as long as that saves.
    fn again(&mut self) {
        let mut alone: BTreeMap<usize, usize> = BTreeMap::new();
        for place in 0..self.sites.len() {
            *alone.entry(self.site(place).way.area).or_default() += 1;
        }
        for _ in 0..self.rounds() {
            let mut better = false;
            for place in 0..self.sites.len() {
                if self.ended() {
                    return;
                }
                let rank = self.years[place].rank();
                if alone[&self.site(place).way.area] == 1 && rank.0 + rank.1 == 0 {
                    continue;
                }
                let ways = self.strike(place);
                let before = SiteYear { ways, ..std::mem::take(&mut self.years[place]) };
                let year = self.year(place, 1.0);
                let take = year.beats(&before);
                better |= take;
                self.write(place, if take { year } else { before });
            }
            if !better {
                break;
            }
        }
    }

    /// How good the crew's plan is, the least best.
    fn rank(&self) -> (usize, usize, f64) {
        let (mut without, mut late, mut cost) = (0, 0, self.diary.ways_cost());
        for year in &self.years {
            let rank = year.rank();
            without += rank.0;
            late += rank.1;
            cost += year.jobs;
        }
        (without, late, cost)
    }

    /// Where there are few sites: takes the visits of some out and plans them together in another order, reckoning with a
    /// part of their ways, then each again; keeps what is better. Planning one by one cannot move two sites at once.
    fn shake(&mut self) {
        if self.many() != 1 || self.sites.len() < 2 {
            return;
        }
        let tasks: usize = self.years.iter().map(|year| year.done.len()).sum();
        let mut draw = ChaCha8Rng::seed_from_u64(1);
        for _ in 0..(SHAKES / (tasks * tasks).max(1)).min(SHAKES_MOST) {
            if self.ended() {
                return;
            }
            let before = (self.diary.clone(), self.booked.clone(), self.years.clone());
            let rank = self.rank();
            let mut some: Vec<usize> = (0..self.sites.len()).collect();
            some.shuffle(&mut draw);
            some.truncate(draw.random_range(2..=self.sites.len()));
            for place in &some {
                self.strike(*place);
            }
            let discount = [1.0, 0.7, 0.5, 0.3][draw.random_range(0..4)];
            for place in &some {
                let year = self.year(*place, discount);
                self.write(*place, year);
            }
            self.again();
            let now = self.rank();
            let better =
                (now.0, now.1) < (rank.0, rank.1) || ((now.0, now.1) == (rank.0, rank.1) && now.2 < rank.2 - 1e-9);
            if !better {
                (self.diary, self.booked, self.years) = before;
            }
        }
    }

    /// Takes a site's visits out of the diary; gives back what their ways cost beside the others'.
    fn strike(&mut self, place: usize) -> f64 {
        let mut booked = std::mem::take(&mut self.booked[place]);
        booked.sort_unstable();
        booked.iter().map(|(day, technician)| self.diary.strike(*technician, *day, place)).sum()
    }

    /// The days of a site for which it is settled who comes: those given to what is urgent, and those promised on which
    /// that person works.
    fn settled(&self, place: usize) -> BTreeMap<usize, usize> {
        let mut settled = BTreeMap::new();
        for (day, technician, _) in &self.site(place).promised {
            let person = self.people.iter().position(|person| person == technician);
            if let Some(person) = person.filter(|person| self.diary.technicians()[*person].minutes[*day] > 0) {
                settled.insert(*day, person);
            }
        }
        settled.extend(self.given[place].iter().map(|done| (done.day, done.technician)));
        settled
    }

    /// A site's year beside what the others have booked; `discount` is the share of ways it reckons with, where others are
    /// expected to join.
    fn year(&self, place: usize, discount: f64) -> SiteYear {
        // Whoever asked the run to end gets no plan; all that is left to do is done at once.
        if self.stop.check().is_err() {
            return SiteYear::default();
        }
        let site = self.site(place);
        let mut nodes: Vec<Node> = Vec::new();
        // A day on which somebody is promised or given is theirs.
        let settled = self.settled(place);
        self.diary.nodes(&site.way, |day| site.open(day), |day| settled.get(&day).copied(), &mut nodes);
        for node in &mut nodes {
            // The way of a promised visit is no question any more.
            let promised = site.promised.iter().any(|(day, _, _)| *day == node.day && settled.contains_key(day));
            node.cost *= if promised { 0.0 } else { discount };
        }
        let left_out: Vec<usize> = self.without[place].iter().map(|u| u.chain).collect();
        let mut chains = site.chains.clone();
        for index in &left_out {
            // It found no day at all; it is not looked for again.
            chains[*index].due = self.work.days as i64;
        }
        let asked = self.asked(site, &chains);
        let mut year = asked.plan(&nodes, &self.given[place]);
        year.unfitted.extend(self.without[place].iter().copied());
        year
    }

    fn asked<'b>(&self, site: &'b SiteWork, chains: &'b [Chain]) -> Chains<'b> {
        Chains {
            start: self.work.start,
            days: self.work.days,
            chains,
            access: &site.access,
            closed: &site.closed,
            most_steps: STEPS[self.many()],
            hasty: self.many() == 2,
        }
    }

    /// What is late and can be done in time after all, beside what the others have become, is; unless its next time would
    /// then be late.
    fn mend(&mut self) {
        for place in 0..self.sites.len() {
            if self.ended() {
                return;
            }
            let site = self.site(place);
            for index in 0..self.years[place].done.len() {
                let done = self.years[place].done[index];
                let chain = &site.chains[done.chain];
                if !done.late {
                    continue;
                }
                let asked = self.asked(site, &site.chains);
                let next = self.years[place].done.iter().position(|d| d.chain == done.chain && d.day > done.day);
                let found = (done.window.0..=done.window.1).find_map(|day| {
                    let (day, person) = self.earliest(place, chain, day, day)?;
                    let window = asked.next_window(chain, day);
                    let fits = match (next, window) {
                        (Some(next), Some((first, _, last))) => {
                            let next = self.years[place].done[next].day;
                            next >= first && next as i64 <= last
                        }
                        // A time more would be due within the plan.
                        (None, Some((_, due, _))) => due >= self.work.days as i64,
                        (_, None) => true,
                    };
                    fits.then_some((day, person, window))
                });
                let Some((day, person, window)) = found else { continue };
                let cost = Chains::job(chain, done.window, done.due).cost_on(day);
                self.strike(place);
                let mut year = std::mem::take(&mut self.years[place]);
                year.done[index] = Done { day, technician: person, late: false, cost, ..done };
                if let (Some(next), Some((first, due, last))) = (next, window) {
                    let after = &mut year.done[next];
                    after.window = (first, (last.max(0) as usize).min(self.work.days - 1));
                    after.due = due;
                    after.late = false;
                    after.cost = Chains::job(chain, after.window, due).cost_on(after.day);
                }
                year.jobs = year.done.iter().map(|done| done.cost).sum();
                self.write(place, year);
            }
            self.years[place].done.sort_by_key(|done| (done.day, done.chain, done.due));
        }
    }

    fn write(&mut self, place: usize, year: SiteYear) {
        for (day, technician, minutes) in visits_of(self.site(place), &year) {
            self.book(place, day, technician, minutes);
        }
        self.years[place] = year;
    }

    fn finish(self) -> Vec<(usize, SiteYear)> {
        let people = self.people;
        self.sites
            .iter()
            .copied()
            .zip(self.years)
            .map(|(site, mut year)| {
                for done in &mut year.done {
                    done.technician = people[done.technician];
                }
                (site, year)
            })
            .collect()
    }
}

#[cfg(test)]
mod tests;
