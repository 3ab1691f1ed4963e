//! Which routine visits does a window hold, and what is done at them? The visits of the plan that fall in it; of days behind
//! the plan's twelve months, what recurs; and the looks round a contract promises, as far as it runs.
//!
//! One list is made here, and both the price and the customer's page are made from it, so that nothing is promised that is
//! not paid for. Wear parts are not in it: their renewals are drawn with the lives ([`crate::costs::simulation`]). What a
//! visit left to be done is done once. Nothing that recurs is counted twice where the plan and its repetition meet.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use uom::si::time::minute;

use crate::address::Address;
use crate::calendar::{Month, days_between, plus_days};
use crate::costs::prices::Prices;
use crate::costs::year::{ASSUMED_TRAVEL_MINUTES, Window};
use crate::records::{Fleet, Site};
use crate::schedule::visits::work::{LOOK_ROUND_MINUTES, months_between};
use crate::schedule::visits::{Plan, Visit, Work};
use crate::site::SiteFigures;

/// How often a look round is promised.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LookRounds {
    /// As the contract says and the plan has it.
    AsPlanned,
    /// Once in so many months, all the window.
    Every(i32),
}

/// What is done at routine visits, one place and kind.
#[derive(Debug, Clone, PartialEq)]
pub struct RoutineWork {
    /// Where.
    pub at: Address,
    /// What; never a renewal.
    pub work: Work,
    /// How often in the window.
    pub times: u32,
    /// Minutes of all these times together.
    pub minutes: f64,
}

/// The routine visits of a window, with what they cost in minor units.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Routine {
    /// How many there are.
    pub visits: f64,
    /// How many of them are made for a promised look round alone.
    pub for_look_rounds: f64,
    /// Work, renewals left out.
    pub labour: f64,
    /// The ways.
    pub travel: f64,
    /// What is done.
    pub work: Vec<RoutineWork>,
}

/// A visit on its way into the sums.
struct Dated {
    day: NaiveDate,
    travel: f64,
    /// Whether parts are renewed at it by the plan.
    renews: bool,
    tasks: Vec<(Address, Work, f64)>,
}

impl Dated {
    fn is_for_look_round(&self) -> bool {
        !self.renews && self.tasks.iter().all(|(_, work, _)| *work == Work::ContractVisit)
    }
}

/// The routine visits of a window by the plan.
pub(super) fn of_plan(
    site: &SiteFigures,
    plan: &Plan,
    prices: &mut Prices,
    window: Window,
    look_rounds: LookRounds,
) -> Routine {
    let mut visits = planned(site.site, plan, prices, window);
    let usual_way = usual_way(site.site, plan, prices);
    if let LookRounds::Every(_) = look_rounds {
        visits.retain(|visit| !visit.is_for_look_round());
        for visit in &mut visits {
            visit.tasks.retain(|(_, work, _)| *work != Work::ContractVisit);
        }
    }
    promised(prices.fleet, site.site, window, look_rounds, usual_way, &mut visits);
    let mut routine = Routine::default();
    let mut work: BTreeMap<(Address, Work), (u32, f64)> = BTreeMap::new();
    for visit in visits {
        routine.visits += 1.0;
        routine.for_look_rounds += f64::from(u8::from(visit.is_for_look_round()));
        routine.travel += visit.travel;
        for (at, what, minutes) in visit.tasks {
            routine.labour += prices.work(minutes);
            let entry = work.entry((at, what)).or_default();
            entry.0 += 1;
            entry.1 += minutes;
        }
    }
    routine.work =
        work.into_iter().map(|((at, work), (times, minutes))| RoutineWork { at, work, times, minutes }).collect();
    routine
}

/// What the way of a visit costs. What the plan has for it holds the time on the way; with nothing there the time alone.
fn way_of(visit: &Visit, prices: &mut Prices) -> f64 {
    match visit.travel_cost {
        Some(cost) => prices.minor(cost),
        None => prices.work(visit.travel_minutes),
    }
}

/// What the way to a site costs at a visit more: as the plan's visits on the average, whose trips are shared with sites
/// nearby; the whole way where there are none.
fn usual_way(site: &Site, plan: &Plan, prices: &mut Prices) -> f64 {
    let (mut ways, mut visits) = (0.0, 0.0);
    for visit in plan.of_site(&site.id) {
        ways += way_of(visit, prices);
        visits += 1.0;
    }
    if visits > 0.0 {
        return ways / visits;
    }
    let fare =
        site.travel.cost.as_ref().and_then(|cost| cost.on(prices.day)).map_or(0.0, |money| prices.minor(money.0));
    prices.work(site.travel.time.map_or(ASSUMED_TRAVEL_MINUTES, |time| time.0.get::<minute>())) + fare
}

/// The plan's visits within the window and, behind the plan's end, those on which something recurs, year by year.
fn planned(site: &Site, plan: &Plan, prices: &mut Prices, window: Window) -> Vec<Dated> {
    let own: Vec<(&Visit, f64)> = plan.of_site(&site.id).map(|visit| (visit.as_ref(), way_of(visit, prices))).collect();
    // When each thing that recurs was last done, in which year of the repetition, and how often the plan has it.
    let mut last: BTreeMap<(&Address, &Work), (NaiveDate, i64)> = BTreeMap::new();
    let mut often: BTreeMap<(&Address, &Work), f64> = BTreeMap::new();
    for (visit, _) in &own {
        for task in visit.tasks.iter().filter(|task| recurs(&task.work)) {
            last.insert((&task.at, &task.work), (visit.date, 0));
            *often.entry((&task.at, &task.work)).or_default() += 1.0;
        }
    }
    let mut all = Vec::new();
    for (visit, travel) in own.iter().filter(|(visit, _)| (window.first..=window.last).contains(&visit.date)) {
        let tasks = visit.tasks.iter().filter(|task| !matches!(task.work, Work::Renew(_)));
        all.push(Dated {
            day: visit.date,
            travel: *travel,
            renews: visit.tasks.iter().any(|task| matches!(task.work, Work::Renew(_))),
            tasks: tasks.map(|task| (task.at.clone(), task.work.clone(), task.minutes)).collect(),
        });
    }
    for years in 1..40 {
        if own.first().is_none_or(|(visit, _)| plus_days(visit.date, 365 * years) > window.last) {
            break;
        }
        for (visit, travel) in &own {
            let day = plus_days(visit.date, 365 * years);
            let mut tasks = Vec::new();
            for task in visit.tasks.iter().filter(|task| recurs(&task.work)) {
                let key = (&task.at, &task.work);
                let (before, of_year) = last.get(&key).copied().unwrap_or((visit.date, 0));
                // What was pulled forward at the plan's end is not due again at once: half of its usual time must pass.
                let half = 0.5 * 365.0 / often.get(&key).copied().unwrap_or(1.0);
                if of_year != years && (days_between(before, day) as f64) < half {
                    continue;
                }
                last.insert(key, (day, years));
                tasks.push((task.at.clone(), task.work.clone(), task.minutes));
            }
            if !tasks.is_empty() && (window.first..=window.last).contains(&day) {
                all.push(Dated { day, travel: *travel, renews: false, tasks });
            }
        }
    }
    all
}

/// What the plan's twelve months show to come again each year. Looks round are counted by the contract instead.
fn recurs(work: &Work) -> bool {
    match work {
        Work::Task(_) | Work::Close | Work::Reopen => true,
        Work::Renew(_) | Work::Left(_) | Work::ContractVisit => false,
    }
}

/// Adds the looks round that are promised and not planned, one in each month, quarter and so on of the calendar, at a
/// visit that is made anyway or else at one of their own. A stretch in which the site is closed has none.
fn promised(
    fleet: &Fleet,
    site: &Site,
    window: Window,
    look_rounds: LookRounds,
    usual_way: f64,
    visits: &mut Vec<Dated>,
) {
    let Some(at) = site.spas.first().map(|spa| &spa.at) else { return };
    let customer = site.customer.as_ref().and_then(|id| fleet.customers.get(id));
    let contract = customer.and_then(|customer| customer.contract.as_ref());
    let (months, begins, ends) = match look_rounds {
        LookRounds::Every(months) => (months, None, None),
        LookRounds::AsPlanned => {
            let words = contract.and_then(|contract| contract.visits.as_ref());
            let Some(months) = words.and_then(|words| months_between(&words.0)) else { return };
            let contract_day = |day: Option<crate::records::forms::Date>| day.map(|day| day.0);
            (months, contract.and_then(|c| contract_day(c.from)), contract.and_then(|c| contract_day(c.to)))
        }
    };
    let first = Month::of(window.first);
    let begin = first.plus(-((first.number() as i32 - 1) % months));
    for month in begin.through(Month::of(window.last)).step_by(months as usize) {
        let stretch = (month.first(), month.plus(months - 1).last());
        let from = stretch.0.max(window.first).max(begins.unwrap_or(window.first));
        let to = stretch.1.min(window.last).min(ends.unwrap_or(window.last));
        // A stretch begun before the as-of day may have been visited; one that is not over with the window still can be.
        let visited = site.visits.iter().any(|(_, v)| v.date.0 >= stretch.0 && v.date.0 <= window.as_of);
        let cut_off = stretch.1 > window.last && ends.is_none_or(|day| day > window.last);
        if from > to || (stretch.0 < window.first && visited) || cut_off {
            continue;
        }
        let within = |visit: &&mut Dated| (from..=to).contains(&visit.day);
        let has = |visit: &Dated| visit.tasks.iter().any(|(_, work, _)| *work == Work::ContractVisit);
        if visits.iter_mut().filter(within).any(|visit| has(visit)) {
            continue;
        }
        let look = (at.clone(), Work::ContractVisit, f64::from(LOOK_ROUND_MINUTES));
        if let Some(host) = visits.iter_mut().find(within) {
            host.tasks.push(look);
            continue;
        }
        let open =
            (0..=days_between(from, to)).map(|ahead| plus_days(to, -ahead)).find(|day| !is_closed(site, window, *day));
        if let Some(day) = open {
            visits.push(Dated { day, travel: usual_way, renews: false, tasks: vec![look] });
        }
    }
}

/// Whether a site is closed on a day: as written, or, behind the plan's twelve months, as on the same day of the plan.
fn is_closed(site: &Site, window: Window, day: NaiveDate) -> bool {
    let years = (days_between(window.as_of, day) - 1).max(0) / 365;
    site.is_closed(day) || site.is_closed(plus_days(day, -365 * years))
}

/// The visits that the tasks due need, where nothing is planned: as many as the task that is done most often.
pub(super) fn of_tasks(site: &SiteFigures, prices: &mut Prices, window: Window, way: f64) -> Routine {
    let share = (window.ends() - window.begins()) / 365.0;
    let mut routine = Routine::default();
    for task in &site.tasks {
        let times = f64::from(task.times.unwrap_or(0)) * share;
        let minutes = task.task.time.map_or(0.0, |time| time.0.get::<minute>());
        routine.labour += times * prices.work(minutes);
        routine.visits = routine.visits.max(times);
        if times.round() >= 1.0 {
            routine.work.push(RoutineWork {
                at: task.at.clone(),
                work: Work::Task(task.id.clone()),
                times: times.round() as u32,
                minutes: minutes * times,
            });
        }
    }
    routine.travel = routine.visits * way;
    routine
}

/// The months between two looks round that a site's contract promises; `None` = none are, or its words are not understood.
pub fn months_promised(fleet: &Fleet, site: &Site) -> Option<i32> {
    let customer = site.customer.as_ref().and_then(|id| fleet.customers.get(id))?;
    months_between(&customer.contract.as_ref()?.visits.as_ref()?.0)
}

#[cfg(test)]
mod tests;
