//! The year of all sites: who goes where on which day, so that the fleet's money is least. Crews are planned apart from
//! each other; within a crew site after site is planned exactly beside what the others have booked, and again while that
//! saves, so that visits gather on common days. What is overdue or unsafe is booked before all else.

mod better;
mod crews;
mod first;

use std::collections::BTreeMap;

use chrono::NaiveDate;
use rayon::prelude::*;

use super::chains::{Chain, Chains, Done, SiteYear, Unfitted};
use super::diary::{Booked, Diary, Technician, Way};
use super::one_site::Node;
use crate::interrupt::{Interrupted, Stop};
use crews::crews;

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
    /// At how many sites the search stopped at its limit of steps.
    pub stopped: usize,
}

/// Up to so many sites time is no question.
const FEW_SITES: usize = 12;
/// Steps of branch and bound a site may take, alone, where there are few and where there are many.
const STEPS: [usize; 3] = [50_000, 100, 4];
/// Chains times visits that may be looked at to make a site's year better, alone and where there are few.
const LOOKS: usize = 3_000_000;
const LOOKS_OF_FEW: usize = 1_000_000;
/// How often each site is planned again beside the others, alone, where there are few and where there are many.
const ROUNDS: [usize; 3] = [6, 6, 1];
/// Things to do, again and again or once, beyond which each site is planned again once.
const MANY_CHAINS: usize = 300;

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
            planner.polish();
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
    let stopped = years.iter().filter(|year| year.stopped).count();
    Ok(FleetYear { sites: years, cost, stopped })
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

    /// What is to be done at it, as it can be asked when; no steps are taken before it says how many may be.
    pub(super) fn asked<'a>(&'a self, start: NaiveDate, days: usize, chains: &'a [Chain]) -> Chains<'a> {
        let (access, closed) = (&self.access, &self.closed);
        Chains { start, days, chains, access, closed, most_steps: 0, most_looks: 0, hasty: false }
    }

    /// The most minutes any list allows on a day, and whether it is a changeover.
    pub(super) fn open(&self, day: usize) -> (u32, bool) {
        (self.access.iter().map(|list| list[day]).max().unwrap_or(0), self.changeover[day])
    }
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

    fn ended(&self) -> bool {
        self.stop.check().is_err()
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
            let year = self.year(place, 1.0, 0);
            self.write(place, year);
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
    /// expected to join; `most_looks` is how much may be looked at to make it better.
    fn year(&self, place: usize, discount: f64, most_looks: usize) -> SiteYear {
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
        let asked = Chains { most_looks, ..self.asked(site, &chains) };
        let mut year = asked.plan(&nodes, &self.given[place]);
        year.unfitted.extend(self.without[place].iter().copied());
        year
    }

    fn asked<'b>(&self, site: &'b SiteWork, chains: &'b [Chain]) -> Chains<'b> {
        Chains {
            most_steps: STEPS[self.many()],
            hasty: self.many() == 2,
            ..site.asked(self.work.start, self.work.days, chains)
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
