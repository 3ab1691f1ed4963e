//! What does a contract year of a site hold? Its planned visits, its wear parts with their ages, policies and prices, its
//! pumps with their use: everything a simulation draws from, put together once.
//!
//! Costs are ours, at the prices in force on the as-of day, as numbers of the currency's minor unit; the index is applied
//! by whoever asks. What has no price counts as nothing and is named, never guessed.

mod worsening;

pub use worsening::GettingWorse;

use chrono::{Datelike, NaiveDate};
use uom::si::time::{hour, minute};

use crate::address::{Address, Id};
use crate::calendar::{days_between, plus_days};
use crate::costs::contract::is_out_of_hours;
use crate::costs::prices::{Missing, Prices};
use crate::costs::routine::{self, LookRounds, Routine};
use crate::quantities::PumpFigures;
use crate::quantities::expected_failures::{Residual, ResidualHistory};
use crate::quantities::part_life_model::KindModel;
use crate::records::fleet::RenewBy;
use crate::records::log::{Because, Noticed, Why};
use crate::records::upkeep::Clock;
use crate::records::{Fleet, Site};
use crate::schedule::due::PartDue;
use crate::schedule::visits::{Plan, Work};
use crate::site::SiteFigures;
use crate::stats::renewal_path::Position;
use crate::stats::weibull::Weibull;

/// The stretch of days that is counted, both ends included, and the day from which it is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// The as-of day: records end with it.
    pub as_of: NaiveDate,
    /// The first day counted.
    pub first: NaiveDate,
    /// The last.
    pub last: NaiveDate,
}

impl Window {
    /// A contract year: a calendar year. What of it is past is left out.
    pub fn of_year(year: i32, as_of: NaiveDate) -> Option<Self> {
        let first = NaiveDate::from_ymd_opt(year, 1, 1)?.max(plus_days(as_of, 1));
        let last = NaiveDate::from_ymd_opt(year, 12, 31)?;
        (first <= last).then_some(Self { as_of, first, last })
    }

    /// The twelve months from the as-of day.
    pub fn of_twelve_months(as_of: NaiveDate) -> Self {
        Self { as_of, first: plus_days(as_of, 1), last: plus_days(as_of, 365) }
    }

    /// Whether it is a calendar year from its first day on: not what is left of the running one.
    pub fn is_whole_year(self) -> bool {
        self.first.ordinal() == 1 && NaiveDate::from_ymd_opt(self.first.year(), 12, 31) == Some(self.last)
    }

    /// Days from the as-of day to the beginning of the first day.
    pub fn begins(self) -> f64 {
        (days_between(self.as_of, self.first) - 1) as f64
    }

    /// Days from the as-of day to the end of the last.
    pub fn ends(self) -> f64 {
        days_between(self.as_of, self.last) as f64
    }

    /// What it is called in the streams of chance: two windows of one year share their luck.
    pub fn name(self) -> String {
        if self.first == plus_days(self.as_of, 1) && self.last == plus_days(self.as_of, 365) {
            format!("{} and 12 months", self.as_of)
        } else {
            self.last.year().to_string()
        }
    }
}

/// How the fleet's failures come to be known, from all call-outs in the log.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Habits {
    /// The share of failures that are answered by a call-out, the rest being found at visits.
    pub by_callout: f64,
    /// The share of call-outs outside working hours.
    pub out_of_hours: f64,
}

impl Habits {
    /// Counts them, from one half of each where nothing has been seen.
    pub fn of<'a>(fleet: &Fleet, sites: impl Iterator<Item = &'a Site>) -> Self {
        let (mut failures, mut in_use, mut callouts, mut out_of_hours) = (0.0, 0.0, 0.0, 0.0);
        for (_, visit) in sites.flat_map(|site| &site.visits) {
            if visit.why == Some(Why::Callout) {
                callouts += 1.0;
                out_of_hours += f64::from(u8::from(is_out_of_hours(fleet, visit)));
            }
            for (_, renewal) in visit.at.iter().flat_map(|(_, entry)| &entry.renewed.0) {
                if renewal.because == Because::Failure {
                    failures += 1.0;
                    let called = renewal.noticed == Noticed::InUse || visit.why == Some(Why::Callout);
                    in_use += f64::from(u8::from(called));
                }
            }
        }
        Self { by_callout: (in_use + 0.5) / (failures + 1.0), out_of_hours: (out_of_hours + 0.5) / (callouts + 1.0) }
    }
}

/// What the failure or the renewal of a part costs.
#[derive(Debug, Clone, PartialEq)]
pub struct PartCosts {
    /// Which kind.
    pub kind: Id,
    /// Lives by the nodes of what is known of the kind; `None` = not known, so that it never fails here.
    pub lives: Option<Vec<Weibull>>,
    /// The parts of one renewal, with those renewed together.
    pub parts: f64,
    /// Its work.
    pub labour: f64,
    /// What a failure costs beside the part.
    pub damage: f64,
    /// Nights a failure costs, times what a night is worth and the share of nights with guests.
    pub nights: f64,
    /// Whether its failures are those of its pump in the years in which that gets worse.
    pub worsens: bool,
}

/// Something parts stand in.
#[derive(Debug, Clone)]
pub struct Thing {
    /// Where.
    pub at: Address,
    /// Its positions, at each level of use; one level where nothing runs by hours.
    pub levels: Vec<Vec<Position>>,
    /// What its positions cost, beside them.
    pub costs: Vec<PartCosts>,
}

/// A pump's failures that no part explains.
#[derive(Debug, Clone)]
pub struct Unexplained {
    /// Which pump.
    pub at: Address,
    /// What has been seen of it.
    pub history: ResidualHistory,
    /// Hours it runs in the window.
    pub hours: f64,
    /// The pump that is fitted then.
    pub parts: f64,
    /// The work.
    pub labour: f64,
    /// What a failure costs beside.
    pub damage: f64,
    /// Nights lost.
    pub nights: f64,
}

/// A site's year, ready to be drawn.
#[derive(Debug, Clone)]
pub struct SiteYear {
    /// The site.
    pub id: Id,
    /// The window.
    pub window: Window,
    /// Its planned visits.
    pub routine: Routine,
    /// What stands there.
    pub things: Vec<Thing>,
    /// Its pumps' unexplained failures.
    pub unexplained: Vec<Unexplained>,
    /// Its pumps that may go on failing more and more often.
    pub getting_worse: Vec<GettingWorse>,
    /// The rate of those; `None` = not known.
    pub residual: Option<Residual>,
    /// A call-out's way in working hours: time and fare.
    pub callout_time: f64,
    /// See above.
    pub callout_fare: f64,
    /// The factor on work outside working hours.
    pub out_of_hours_factor: f64,
    /// How failures come to be known.
    pub habits: Habits,
    /// What is missing: a price, a life, a use; each once.
    pub missing: Vec<Missing>,
}

/// The travel of a site whose record has none: assumed.
pub const ASSUMED_TRAVEL_MINUTES: f64 = 30.0;
/// The work of exchanging a pump whose sheet does not say: assumed.
pub const ASSUMED_EXCHANGE_MINUTES: f64 = 120.0;
/// Days within which something overdue that is not in the plan is renewed: assumed.
const OVERDUE_WITHIN: f64 = 30.0;

/// Levels of use: Gauss–Hermite nodes and weights for the standard normal distribution (Abramowitz & Stegun, table 25.10,
/// nodes times √2 and weights over √π).
pub const LEVELS: [(f64, f64); 5] = [
    (-2.856_970_013_872_805_6, 0.011_257_411_327_720_69),
    (-1.355_626_179_974_266, 0.222_075_922_005_612_64),
    (0.0, 0.533_333_333_333_333_3),
    (1.355_626_179_974_266, 0.222_075_922_005_612_64),
    (2.856_970_013_872_805_6, 0.011_257_411_327_720_69),
];

/// Puts a site's year together. With an empty plan, the tasks due and the visits they need stand for its visits.
pub fn site_year(
    fleet: &Fleet,
    site: &SiteFigures,
    plan: &Plan,
    habits: Habits,
    window: Window,
    look_rounds: LookRounds,
) -> SiteYear {
    let mut prices = Prices::on(fleet, window.as_of);
    let record = site.site;
    let routine = routine(site, plan, &mut prices, window, look_rounds);
    let (travel_minutes, fare) = way(record, &prices);
    let night = record.lost_night.as_ref().and_then(|night| night.on(window.as_of)).map_or(0.0, |m| prices.minor(m.0));
    let unexplained = unexplained(site, &mut prices, window);
    let getting_worse = worsening::getting_worse(site, &mut prices, window, night);
    let mut places: Vec<Address> = site.parts.iter().map(|part| part.part.at.clone()).collect();
    places.dedup();
    let mut things = Vec::new();
    for at in places {
        let parts: Vec<&PartDue> = site.parts.iter().filter(|part| part.part.at == at).collect();
        let night = night * share_with_guests(site, &at, window.as_of);
        if let Some(thing) = thing(site, &at, &parts, plan, &mut prices, window, night) {
            things.push(thing);
        }
    }
    SiteYear {
        id: record.id.clone(),
        window,
        routine,
        things,
        unexplained,
        getting_worse,
        residual: site.lives.residual,
        callout_time: prices.work(travel_minutes),
        callout_fare: fare,
        out_of_hours_factor: fleet.settings.labour.out_of_hours.map_or(1.0, |factor| factor.0),
        habits,
        missing: prices.missing.into_iter().collect(),
    }
}

/// What the routine visits of a window come to, and nothing else of the year.
pub fn routine_of(fleet: &Fleet, site: &SiteFigures, plan: &Plan, window: Window, look_rounds: LookRounds) -> Routine {
    routine(site, plan, &mut Prices::on(fleet, window.as_of), window, look_rounds)
}

fn routine(site: &SiteFigures, plan: &Plan, prices: &mut Prices, window: Window, look_rounds: LookRounds) -> Routine {
    if plan.visits.is_empty() {
        let (minutes, fare) = way(site.site, prices);
        let way = prices.work(minutes) + fare;
        routine::of_tasks(site, prices, window, way)
    } else {
        routine::of_plan(site, plan, prices, window, look_rounds)
    }
}

/// The way to a site and back by itself: minutes, and the fare in minor units.
fn way(site: &Site, prices: &Prices) -> (f64, f64) {
    let fare =
        site.travel.cost.as_ref().and_then(|cost| cost.on(prices.day)).map_or(0.0, |money| prices.minor(money.0));
    (site.travel.time.map_or(ASSUMED_TRAVEL_MINUTES, |time| time.0.get::<minute>()), fare)
}

/// The share of the last year's nights with guests in the spa of an address; every night where no bookings say.
fn share_with_guests(site: &SiteFigures, at: &Address, as_of: NaiveDate) -> f64 {
    let Some(stays) = site.site.spas.iter().find(|spa| spa.at.as_str() == at.spa()).and_then(|spa| spa.stays.as_ref())
    else {
        return 1.0;
    };
    let from = plus_days(as_of, -365);
    let nights: i64 =
        stays.occupied().iter().map(|(first, last)| days_between(*first.max(&from), *last.min(&as_of)).max(0)).sum();
    (nights as f64 / 365.0).min(1.0)
}

fn thing(
    site: &SiteFigures,
    at: &Address,
    parts: &[&PartDue],
    plan: &Plan,
    prices: &mut Prices,
    window: Window,
    night: f64,
) -> Option<Thing> {
    let pump = site.spas.iter().flat_map(|spa| &spa.pumps).find(|pump| pump.at == *at);
    let per_day = pump.and_then(|pump| pump.forecast.as_ref()).map(|forecast| forecast.year() / 365.0);
    // What brings others with it comes first, so that of two planned for one day it is the one that happens.
    let mut parts: Vec<&PartDue> = parts.to_vec();
    parts.sort_by_key(|part| (std::cmp::Reverse(part.part.part.also_renew.len()), part.part.id.clone()));
    let mut costs = Vec::new();
    let mut kept: Vec<&PartDue> = Vec::new();
    for part in parts {
        let by_hours = site.lives.kind(part.part.id).map(|kind| kind.clock) == Some(Clock::Hours);
        // A pump that has failed more than its like goes on so, as in every other figure.
        let rate = site.lives.pumps.factor(&part.part.site, &part.part.at).map_or(1.0, |factor| factor.mean());
        let mut lives =
            site.lives.posterior_of(&part.part).map(|of| of.nodes().iter().map(|n| n.0.at_rate(rate)).collect());
        if lives.is_none() {
            prices.miss(Missing::Life(part.part.id.clone()));
        }
        if by_hours && per_day.is_none() {
            lives = None;
            prices.miss(Missing::Use(at.clone()));
        }
        let worsens = site.lives.worsens_with(&part.part).is_some();
        costs.push(PartCosts { worsens, ..part_costs(part, lives, prices, night) });
        kept.push(part);
    }
    if kept.is_empty() {
        return None;
    }
    let together: Vec<Vec<usize>> = kept
        .iter()
        .map(|part| {
            let also = &part.part.part.also_renew;
            also.iter().filter_map(|id| kept.iter().position(|other| other.part.id == id)).collect()
        })
        .collect();
    let spread = pump.and_then(|pump| pump.forecast.as_ref()).map_or(0.0, |forecast| forecast.spread.of_months(12.0));
    let any_by_hours = kept.iter().any(|part| site.lives.kind(part.part.id).map(|k| k.clock) == Some(Clock::Hours));
    let levels: &[(f64, f64)] = if any_by_hours && per_day.is_some() { &LEVELS } else { &[(0.0, 1.0)] };
    let levels = levels
        .iter()
        .map(|(z, _)| {
            let runs = per_day.map(|per_day| per_day * (1.0 + spread * z).max(0.05));
            let all = kept.iter().zip(&together);
            all.map(|(part, together)| position(site, part, plan, prices.fleet, window, runs, together.clone()))
                .collect()
        })
        .collect();
    Some(Thing { at: at.clone(), levels, costs })
}

fn part_costs(part: &PartDue, lives: Option<Vec<Weibull>>, prices: &mut Prices, night: f64) -> PartCosts {
    let (id, line) = (part.part.id, part.part.part);
    let mut set = prices.set(id, line);
    for also in &line.also_renew {
        if let Some(also_line) = prices.fleet.book.parts.get(also) {
            set += prices.set(also, also_line);
        }
    }
    let failure = line.failure.as_ref();
    let damage = failure.and_then(|failure| failure.cost.as_ref()).and_then(|cost| cost.on(prices.day));
    let down = failure.and_then(|failure| failure.down).map_or(0.0, crate::units::Period::mean_days);
    PartCosts {
        kind: id.clone(),
        lives,
        parts: set,
        labour: prices.work(line.time.map_or(0.0, |time| time.0.get::<minute>())),
        damage: damage.map_or(0.0, |cost| prices.minor(cost.0)),
        nights: down * night,
        worsens: false,
    }
}

fn position(
    site: &SiteFigures,
    part: &PartDue,
    plan: &Plan,
    fleet: &Fleet,
    window: Window,
    runs: Option<f64>,
    together: Vec<usize>,
) -> Position {
    let kind = site.lives.kind(part.part.id);
    let (age, per_day) = match kind.map_or(Clock::Age, |kind| kind.clock) {
        Clock::Age => (part.part.age_days.unwrap_or(part.part.least_days) as f64, 1.0),
        Clock::Hours => (part.part.age_hours.unwrap_or(part.part.least_hours), runs.unwrap_or(0.0)),
    };
    let in_plan = plan.of_site(&site.site.id).find(|visit| {
        visit.tasks.iter().any(|task| task.at == part.part.at && task.work == Work::Renew(part.part.id.clone()))
    });
    let days = |day: NaiveDate| days_between(window.as_of, day) as f64;
    let first = match in_plan {
        Some(visit) => days(visit.date),
        None => part.due.map_or(f64::INFINITY, |due| days(due).max(OVERDUE_WITHIN)),
    };
    Position { per_day, age, first, every: every(fleet, part, kind, runs), together }
}

/// Days from a renewal to the next planned one, by the limits the fleet renews by.
fn every(fleet: &Fleet, part: &PartDue, kind: Option<&KindModel>, runs: Option<f64>) -> f64 {
    let in_days = |hours: f64| runs.filter(|runs| *runs > 0.0).map_or(f64::INFINITY, |runs| hours / runs);
    let interval = part.part.part.interval;
    let by_hours = interval.hours.map_or(f64::INFINITY, |hours| in_days(hours.0.get::<hour>()));
    let by_age = interval.age.map_or(f64::INFINITY, crate::units::Period::mean_days);
    let book = by_hours.min(by_age);
    let life = kind.and_then(KindModel::age_that_pays).map(|(clock, age)| match clock {
        Clock::Hours => in_days(age),
        Clock::Age => age,
    });
    let days = match (fleet.settings.renew_by, life) {
        (RenewBy::Life, Some(life)) => life,
        (RenewBy::Earliest, Some(life)) => life.min(book),
        _ => book,
    };
    // An interval of less than a day would be renewed without end.
    days.max(1.0)
}

fn unexplained(site: &SiteFigures, prices: &mut Prices, window: Window) -> Vec<Unexplained> {
    let mut all = Vec::new();
    let pumps: Vec<&PumpFigures> = site.spas.iter().flat_map(|spa| &spa.pumps).collect();
    for pump in pumps {
        let (Some(forecast), Some(history)) = (&pump.forecast, site.lives.residual_history(&pump.failures)) else {
            continue;
        };
        let record = site.site.spas.iter().flat_map(|spa| &spa.pumps).find(|record| record.at == pump.at);
        let model = record
            .and_then(|record| prices.fleet.models.get(&crate::quantities::run_hours::model_now(site.site, record)?));
        let cost = model.and_then(|model| model.cost.as_ref()).and_then(|cost| cost.on(window.as_of));
        if cost.is_none() {
            prices.miss(Missing::PumpPrice(pump.at.clone()));
        }
        let minutes = model.and_then(|model| model.time).map_or(ASSUMED_EXCHANGE_MINUTES, |t| t.0.get::<minute>());
        all.push(Unexplained {
            at: pump.at.clone(),
            history,
            hours: forecast.year() / 365.0 * (window.ends() - window.begins()),
            parts: cost.map_or(0.0, |cost| prices.minor(cost.0)),
            labour: prices.work(minutes),
            damage: 0.0,
            nights: 0.0,
        });
    }
    all
}
