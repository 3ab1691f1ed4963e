//! From a fleet's figures to its planned visits: sites, people and work become numbers, the days are chosen, and what was
//! chosen becomes visits again, with the reason where something found no day.

mod promise;
mod reasons;

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate};
use rayon::prelude::*;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use uom::si::time::minute;

use super::access::{self, Access};
use super::bound::bound;
use super::chains::{Done, SiteYear};
use super::diary::{Technician, Way};
use super::fleet::{FleetWork, FleetYear, SiteWork};
use super::kept::{self, Accepted};
use super::work::{self, ASSUMED_TRAVEL_MINUTES, Maker, SiteItems};
use super::{NotFitted, Plan, Visit, VisitTask, Work};
use crate::address::{Address, Id};
use crate::calendar::{add, days_between, plus_days};
use crate::interrupt::{Interrupted, Stop};
use crate::records::fleet::Technician as Person;
use crate::records::{Fleet, Site};
use crate::report::format;
use crate::schedule::due::labour_cost;
use crate::site::SiteFigures;
use crate::units::Period;

/// Hours a technician works on a day where the record does not say (records, format 1).
const ASSUMED_HOURS: f64 = 7.0;
/// The bit of skills nobody can be given a bit for any more.
const NOBODYS: u64 = 1 << 63;

/// A site with its work, between records and numbers.
struct Prepared {
    access: Access,
    items: SiteItems,
}

/// Plans the visits of the twelve months behind the as-of day; what was accepted stays where records give no reason to
/// move it, but for the coming week where that is planned anew.
pub fn plan(fleet: &Fleet, sites: &[SiteFigures], as_of: NaiveDate, week_anew: bool) -> Plan {
    // Nobody raises this flag.
    plan_unless(fleet, sites, as_of, week_anew, &Stop::never()).unwrap_or_default()
}

/// The same, unless the run is asked to end.
///
/// # Errors
/// The run was asked to end meanwhile.
pub fn plan_unless(
    fleet: &Fleet,
    sites: &[SiteFigures],
    as_of: NaiveDate,
    week_anew: bool,
    stop: &Stop,
) -> Result<Plan, Interrupted> {
    made(fleet, sites, as_of, week_anew, stop, |_, _| None)
}

/// The same, with what no plan can undercut: to prove it takes as long as the plan itself where there are many sites.
///
/// # Errors
/// The run was asked to end meanwhile.
pub fn plan_with_bound(
    fleet: &Fleet,
    sites: &[SiteFigures],
    as_of: NaiveDate,
    week_anew: bool,
    stop: &Stop,
) -> Result<Plan, Interrupted> {
    made(fleet, sites, as_of, week_anew, stop, |numbers, year| Some(bound(numbers, year, stop)))
}

fn made(
    fleet: &Fleet,
    sites: &[SiteFigures],
    as_of: NaiveDate,
    week_anew: bool,
    stop: &Stop,
    bound: impl Fn(&FleetWork, &FleetYear) -> Option<f64>,
) -> Result<Plan, Interrupted> {
    let accepted = fleet.plan.as_ref().map(|plan| Accepted { plan, as_of, week_anew });
    let start = plus_days(as_of, 1);
    let days = days_between(as_of, add(as_of, Period { months: 12, days: 0 })).max(1) as usize;
    let skills = skills(fleet);
    let people = technicians(fleet, &skills, start, days);
    let minute_rate = labour_cost(fleet, 1.0, as_of).and_then(|cost| cost.to_f64()).filter(|rate| *rate > 0.0);
    let minute_rate = minute_rate.unwrap_or(1.0);
    let maker = Maker { fleet, as_of, days, skills: &skills, minute_rate };
    let areas = areas(sites);
    let anybody = promise::anybody(&people, days);
    stop.check()?;
    let (prepared, works): (Vec<Prepared>, Vec<SiteWork>) = sites
        .par_iter()
        .zip(&areas)
        .map(|(figures, area)| {
            let access = access::access(figures.site, start, days);
            let mut items = maker.items(figures, &access);
            let mut work = SiteWork {
                way: way(figures.site, *area, as_of, minute_rate),
                access: access.lists.clone(),
                changeover: access.changeover.clone(),
                closed: access.closed.clone(),
                chains: items.items.iter().map(|item| item.chain.clone()).collect(),
                promised: Vec::new(),
            };
            if let Some(accepted) = accepted {
                promise::promise(fleet, figures, accepted, (&mut items, &mut work), (start, days), &anybody);
            }
            (Prepared { access, items }, work)
        })
        .unzip();
    let numbers = FleetWork { start, days, technicians: people, sites: works };
    let year = super::fleet::plan(&numbers, stop)?;
    let bound = bound(&numbers, &year);
    stop.check()?;
    let told = Told { fleet, sites, prepared: &prepared, numbers: &numbers, year: &year, as_of };
    let mut plan = Plan { bound, ..told.plan() };
    if let Some(accepted) = accepted {
        kept::settle(&mut plan, fleet, sites, accepted);
    }
    Ok(plan)
}

/// Every skill that is named, a bit each.
fn skills(fleet: &Fleet) -> BTreeMap<String, u64> {
    let of_people = fleet.settings.technicians.iter().flat_map(|(_, person)| &person.skills);
    let of_parts = fleet.book.parts.iter().filter_map(|(_, part)| part.skill.as_ref());
    let of_tasks = fleet.book.tasks.iter().filter_map(|(_, task)| task.skill.as_ref());
    let mut names: Vec<&str> = of_people.chain(of_parts).chain(of_tasks).map(|text| text.0.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    let bit = |place: usize| if place < 63 { 1 << place } else { NOBODYS };
    names.into_iter().enumerate().map(|(place, name)| (name.to_owned(), bit(place))).collect()
}

/// Who makes visits, in the order of the record: one person of five days and seven hours where it names nobody.
fn technicians(fleet: &Fleet, skills: &BTreeMap<String, u64>, start: NaiveDate, days: usize) -> Vec<Technician> {
    let usual = Person::default();
    let named: Vec<&Person> = fleet.settings.technicians.iter().map(|(_, person)| person).collect();
    let people = if named.is_empty() { vec![&usual] } else { named };
    people
        .into_iter()
        .map(|person| {
            let minutes = person.hours_per_day.map_or(ASSUMED_HOURS * 60.0, |hours| hours.0.get::<minute>()) as u32;
            let of_day = |index: usize| {
                let day = plus_days(start, index as i64);
                if works(person, day) && !fleet.settings.holidays.iter().any(|h| h.0 == day) { minutes } else { 0 }
            };
            Technician {
                minutes: (0..days).map(of_day).collect(),
                skills: person
                    .skills
                    .iter()
                    .filter_map(|skill| skills.get(&skill.0).filter(|bit| **bit != NOBODYS))
                    .fold(0, |all, bit| all | bit),
            }
        })
        .collect()
}

/// Whether somebody works on a day, holidays aside.
pub(super) fn works(person: &Person, day: NaiveDate) -> bool {
    let weekday = day.weekday();
    let on_list = match &person.days {
        Some(list) => list.iter().any(|d| d.of_calendar() == weekday),
        None => weekday.num_days_from_monday() < 5,
    };
    on_list && !person.leave.iter().any(|leave| (leave.from.0..=leave.to.0).contains(&day))
}

/// Whether anybody works on a day.
pub(super) fn somebody_works(fleet: &Fleet, day: NaiveDate) -> bool {
    let people = &fleet.settings.technicians;
    let usual = people.0.is_empty() && works(&Person::default(), day);
    (usual || people.iter().any(|(_, person)| works(person, day)))
        && !fleet.settings.holidays.iter().any(|h| h.0 == day)
}

/// Areas as numbers; a site without one is an area of its own.
fn areas(sites: &[SiteFigures]) -> Vec<usize> {
    let mut known: BTreeMap<&str, usize> = BTreeMap::new();
    let mut next = 0;
    sites
        .iter()
        .map(|site| {
            let mut fresh = || {
                next += 1;
                next - 1
            };
            match &site.site.area {
                Some(area) => *known.entry(area.0.as_str()).or_insert_with(fresh),
                None => fresh(),
            }
        })
        .collect()
}

fn way(site: &Site, area: usize, as_of: NaiveDate, minute_rate: f64) -> Way {
    let minutes = site.travel.time.map_or(ASSUMED_TRAVEL_MINUTES, |time| work::whole(time.0.get::<minute>()));
    let written = site.travel.cost.as_ref().and_then(|cost| cost.on(as_of)).and_then(|cost| cost.0.to_f64());
    Way { area, minutes, cost: written.unwrap_or(0.0) + f64::from(minutes) * minute_rate }
}

/// The plan in numbers with what it is to be told by.
struct Told<'a> {
    fleet: &'a Fleet,
    sites: &'a [SiteFigures<'a>],
    prepared: &'a [Prepared],
    numbers: &'a FleetWork,
    year: &'a FleetYear,
    as_of: NaiveDate,
}

impl Told<'_> {
    fn day(&self, index: usize) -> NaiveDate {
        plus_days(self.numbers.start, index as i64)
    }

    fn plan(&self) -> Plan {
        let mut plan = Plan { cost: self.year.cost, stopped: self.year.stopped, ..Plan::default() };
        let trips = self.trips();
        for (index, year) in self.year.sites.iter().enumerate() {
            let figures = &self.sites[index];
            for (count, (day, technician, _)) in
                super::fleet::visits_of(&self.numbers.sites[index], year).into_iter().enumerate()
            {
                let mut visit = self.visit(index, year, day, technician, &trips);
                visit.id = format!("{}-{}", figures.site.id, count + 1);
                plan.visits.push(visit.into());
            }
            self.not_fitted(index, year, &mut plan.not_fitted);
        }
        plan.visits.sort_by(|a, b| (a.date, &a.site).cmp(&(b.date, &b.site)));
        plan
    }

    /// Each trip's longest and dearest way, and the sum of its sites' ways.
    fn trips(&self) -> BTreeMap<(usize, usize, usize), Trip> {
        let mut trips: BTreeMap<(usize, usize, usize), Trip> = BTreeMap::new();
        for (index, year) in self.year.sites.iter().enumerate() {
            let work = &self.numbers.sites[index];
            let written = self.written_way(index);
            for (day, technician, _) in super::fleet::visits_of(work, year) {
                let trip = trips.entry((technician, day, work.way.area)).or_default();
                trip.minutes = trip.minutes.max(work.way.minutes);
                trip.minutes_of_all += work.way.minutes;
                trip.cost = trip.cost.max(written);
                trip.sites += 1;
                trip.cost_of_all += written.unwrap_or_default();
            }
        }
        trips
    }

    /// What the way to a site costs, the time included where its rate is known; `None` = neither is.
    fn written_way(&self, index: usize) -> Option<Decimal> {
        let site = self.sites[index].site;
        let way = &self.numbers.sites[index].way;
        let written = site.travel.cost.as_ref().and_then(|cost| cost.on(self.as_of)).map(|cost| cost.0);
        let time = labour_cost(self.fleet, f64::from(way.minutes), self.as_of);
        match (written, time) {
            (None, None) => None,
            (a, b) => Some(a.unwrap_or_default() + b.unwrap_or_default()),
        }
    }

    fn technician(&self, index: usize) -> Option<Id> {
        self.fleet.settings.technicians.iter().nth(index).map(|(id, _)| id.clone())
    }

    fn visit(
        &self,
        index: usize,
        year: &SiteYear,
        day: usize,
        technician: usize,
        trips: &BTreeMap<(usize, usize, usize), Trip>,
    ) -> Visit {
        let work = &self.numbers.sites[index];
        let trip = trips.get(&(technician, day, work.way.area)).cloned().unwrap_or_default();
        let share = f64::from(work.way.minutes) / f64::from(trip.minutes_of_all.max(1));
        let written = self.written_way(index);
        let cost_share = written.zip(trip.cost).map(|(own, whole)| {
            let shared = if trip.cost_of_all.is_zero() {
                whole / Decimal::from(trip.sites.max(1))
            } else {
                whole * own / trip.cost_of_all
            };
            crate::costs::rounded(shared, &self.fleet.settings.currency.0)
        });
        let mut tasks: Vec<VisitTask> = year
            .done
            .iter()
            .filter(|done| done.day == day && done.technician == technician)
            .map(|done| self.task(index, year, done))
            .collect();
        together(self.fleet, &mut tasks);
        // A fleet has a million, kept until the last table is written.
        tasks.shrink_to_fit();
        tasks.sort_by(|a, b| (!a.urgent, !a.water_out, &a.at, &a.work).cmp(&(!b.urgent, !b.water_out, &b.at, &b.work)));
        Visit {
            id: String::new(),
            site: self.sites[index].site.id.clone(),
            date: self.day(day),
            technician: self.technician(technician),
            travel_minutes: f64::from(trip.minutes) * share,
            travel_cost: cost_share,
            tasks,
            changeover: work.changeover[day],
            sequence: 0,
            moved: None,
            before: None,
        }
    }

    fn task(&self, index: usize, year: &SiteYear, done: &Done) -> VisitTask {
        let item = &self.prepared[index].items.items[done.chain];
        let before = year.done.iter().rfind(|other| other.chain == done.chain && other.day < done.day);
        let due = plus_days(self.numbers.start, done.due);
        let because = match before {
            Some(before) => self.again_because(item, before.day),
            None => item.because.clone(),
        };
        let urgent = before.is_none() && item.chain.urgent.is_some();
        let because = match self.early(index, item, done, urgent) {
            Some(early) => format!("{because} {early}"),
            None => because,
        };
        VisitTask {
            at: item.at.clone(),
            work: item.work.clone(),
            because,
            due: Some(due),
            urgent,
            minutes: f64::from(item.minutes),
            skill: item.skill.clone(),
            take: item.take.clone(),
            cost: item.cost.map(|cost| crate::costs::rounded(cost, &self.fleet.settings.currency.0)),
            water_out: item.water_out,
            late: done.late.then(|| self.why_not(index, item, done.window)),
            moved: None,
        }
    }

    fn not_fitted(&self, index: usize, year: &SiteYear, all: &mut Vec<NotFitted>) {
        let site = &self.sites[index].site.id;
        for unfitted in &year.unfitted {
            let item = &self.prepared[index].items.items[unfitted.chain];
            let planned = year.done.iter().filter(|done| done.chain == unfitted.chain).count();
            let why = self.why_not(index, item, unfitted.window);
            let why = match planned {
                0 => why,
                1 => format!("the time due after the one that is planned found no day: {why}"),
                _ => format!("the last of {} times found no day: {why}", planned + 1),
            };
            all.push(NotFitted {
                site: site.clone(),
                at: item.at.clone(),
                work: item.work.clone(),
                due: Some(plus_days(self.numbers.start, unfitted.due)),
                planned,
                why,
            });
        }
        for (at, work, due, why) in &self.prepared[index].items.refused {
            all.push(NotFitted {
                site: site.clone(),
                at: at.clone(),
                work: work.clone(),
                due: *due,
                planned: 0,
                why: why.clone(),
            });
        }
    }
}

/// What is renewed with something else at the same visit is not done twice: it goes with that.
fn together(fleet: &Fleet, tasks: &mut Vec<VisitTask>) {
    let goes_with: Vec<(Address, Id, Id)> = tasks
        .iter()
        .filter_map(
            |task| if let Work::Renew(part) = &task.work { Some((task.at.clone(), part.clone())) } else { None },
        )
        .flat_map(|(at, part)| {
            let also = fleet.book.parts.get(&part).map(|book| book.also_renew.clone()).unwrap_or_default();
            also.into_iter().map(move |with| (at.clone(), part.clone(), with))
        })
        .collect();
    for (at, part, with) in goes_with {
        let Some(place) = tasks.iter().position(|t| t.at == at && t.work == Work::Renew(with.clone())) else {
            continue;
        };
        let Some(main) = tasks.iter().position(|t| t.at == at && t.work == Work::Renew(part.clone())) else { continue };
        if place == main {
            continue;
        }
        let gone = tasks[place].clone();
        let main = &mut tasks[main];
        main.urgent |= gone.urgent;
        main.because =
            format!("{} {}: {}", main.because, format::sentence(&format::words(with.as_str())), gone.because);
        for take in gone.take {
            if !main.take.iter().any(|known| known.part == take.part) {
                main.take.push(take);
            }
        }
        tasks.remove(place);
    }
}

/// A shared trip.
#[derive(Debug, Clone, Default)]
struct Trip {
    minutes: u32,
    minutes_of_all: u32,
    cost: Option<Decimal>,
    cost_of_all: Decimal,
    sites: u32,
}
