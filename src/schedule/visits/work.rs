//! What is to be done at a site over the year: wear parts that fall due, tasks that recur, what a contract promises,
//! closing and reopening, and what a visit left. Each becomes a chain with its window, minutes, skill and what it costs to
//! be early or to wait.

mod contract;
mod parts;
mod tasks;

pub use crate::records::contract_words::months_between;

use std::collections::BTreeMap;

use chrono::NaiveDate;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use uom::si::time::minute;

use super::access::{Access, CLOSING_DAYS, CLOSING_LATE_DAYS};
use super::chains::Chain;
use super::{Take, Work};
use crate::address::Address;
use crate::calendar::{days_between, plus_days};
use crate::records::upkeep::{CLOSE, Part};
use crate::records::{Fleet, Site};
use crate::report::format;
use crate::schedule::due::labour_cost;
use crate::site::SiteFigures;
use crate::units::Period;

/// The share of an interval before its end from which the work may be done: common practice, no source.
const EARLY_SHARE: f64 = 0.25;
/// Days after it within which it is opened: common practice, no source.
const REOPENING_DAYS: i64 = 7;
/// Days within which what a visit left is seen to: common practice, no source.
const LEFT_DAYS: i64 = 60;
/// Minutes to close or to open a spa: assumed, common practice, no source.
pub const SEASON_MINUTES: u32 = 60;
/// Minutes of the look round a contract promises: assumed, common practice, no source.
pub const LOOK_ROUND_MINUTES: u32 = 15;
/// Minutes for what a visit left: assumed, common practice, no source.
pub const LEFT_MINUTES: u32 = 30;
/// Minutes for work whose time the book does not say: assumed, common practice, no source.
const UNSAID_MINUTES: u32 = 30;
/// The way there and back where the record does not say, in minutes (records, format 1).
pub const ASSUMED_TRAVEL_MINUTES: u32 = 30;
/// What makes the sooner of two days that cost the same the better one.
const SOONER: f64 = 1e-6;

/// A chain with what the reader is told of it.
#[derive(Debug, Clone)]
pub struct Item {
    /// Where.
    pub at: Address,
    /// What.
    pub work: Work,
    /// Why at its first time, in words.
    pub because: String,
    /// The skill it needs.
    pub skill: Option<String>,
    /// Minutes.
    pub minutes: u32,
    /// What is brought.
    pub take: Vec<Take>,
    /// What the work and parts cost.
    pub cost: Option<Decimal>,
    /// Whether the water must be out.
    pub water_out: bool,
    /// How long what it needs takes to come, where nothing says that it is held and the work can wait for it.
    pub lead: Option<Period>,
    /// The numbers.
    pub chain: Chain,
}

/// What makes items.
pub struct Maker<'a> {
    /// The fleet.
    pub fleet: &'a Fleet,
    /// The as-of day.
    pub as_of: NaiveDate,
    /// How many days are planned.
    pub days: usize,
    /// Skills by name, a bit each.
    pub skills: &'a BTreeMap<String, u64>,
    /// What a minute costs: money where the rate of labour is known, else 1.
    pub minute_rate: f64,
}

/// Work that can be planned, and work that cannot and why.
#[derive(Debug, Default)]
pub struct SiteItems {
    /// What gets a day.
    pub items: Vec<Item>,
    /// What gets none from the start: where, what, the due day, why.
    pub refused: Vec<(Address, Work, Option<NaiveDate>, String)>,
}

impl Maker<'_> {
    fn start(&self) -> NaiveDate {
        plus_days(self.as_of, 1)
    }

    fn index(&self, day: NaiveDate) -> i64 {
        days_between(self.start(), day)
    }

    fn end(&self) -> NaiveDate {
        plus_days(self.start(), self.days as i64 - 1)
    }

    /// What is to be done at a site.
    pub fn items(&self, figures: &SiteFigures, access: &Access) -> SiteItems {
        let mut all = SiteItems::default();
        self.parts(figures, &mut all);
        self.tasks(figures, &mut all);
        self.season(figures.site, access, &mut all);
        self.left(figures.site, &mut all);
        self.contract(figures.site, access, &mut all);
        self.respond(figures.site, &mut all);
        all
    }

    fn item(&self, site: &Site, at: &Address, work: Work, minutes: u32, skill: Option<&str>) -> Item {
        let list = site.spas.iter().position(|spa| spa.at.as_str() == at.spa()).map_or(0, |spa| spa + 1);
        Item {
            at: at.clone(),
            work,
            because: String::new(),
            skill: skill.map(str::to_owned),
            minutes,
            take: Vec::new(),
            cost: labour_cost(self.fleet, f64::from(minutes), self.as_of),
            water_out: false,
            lead: None,
            chain: Chain {
                may_be_late: true,
                first: 0,
                due: 0,
                early: 0,
                again: None,
                after: None,
                minutes,
                skills: skill.map_or(0, |skill| self.skills.get(skill).copied().unwrap_or(0)),
                access: list,
                base: 0.0,
                thrown_away: 0.0,
                risk: 0.0,
                urgent: None,
                respond_by: None,
                waits: false,
                promised: Vec::new(),
                promised_first: None,
            },
        }
    }

    /// Money as a number; the minutes of the work where no price is known.
    fn worth(&self, cost: Option<Decimal>, minutes: u32) -> f64 {
        cost.and_then(|cost| cost.to_f64()).unwrap_or(f64::from(minutes) * self.minute_rate)
    }

    fn season(&self, site: &Site, access: &Access, all: &mut SiteItems) {
        let Some(at) = site.spas.first().map(|spa| &spa.at) else { return };
        let minutes = SEASON_MINUTES * site.spas.len() as u32;
        for (from, to) in &access.closed {
            let whole_site = |mut item: Item| {
                item.chain.access = 0;
                item
            };
            let day = |index: i64| plus_days(self.start(), index);
            let closed_up = site.visits.iter().any(|(_, visit)| {
                visit.date.0 >= day(*from - CLOSING_DAYS)
                    && visit.at.iter().any(|(_, entry)| entry.done.iter().any(|task| task.as_str() == CLOSE))
            });
            if *from + CLOSING_LATE_DAYS > 0 && !closed_up {
                let mut item = whole_site(self.item(site, at, Work::Close, minutes, None));
                item.because = format!("Closed from {}", format::short_date(day(*from)));
                item.chain.first = (*from - CLOSING_DAYS).max(0) as usize;
                item.chain.due = *from - 1;
                item.chain.access = access.closing(site.spas.len());
                item.chain.thrown_away = SOONER;
                if *from <= CLOSING_DAYS {
                    item.chain.urgent = Some(1);
                }
                all.items.push(item);
            }
            if *to + 1 < self.days as i64 {
                let mut item = whole_site(self.item(site, at, Work::Reopen, minutes, None));
                item.because = format!("Closed until {}", format::short_date(day(*to)));
                item.chain.first = (*to + 1) as usize;
                item.chain.due = *to + REOPENING_DAYS;
                item.chain.risk = SOONER;
                all.items.push(item);
            }
        }
    }

    /// What a visit of late left, as the list of things to do has it.
    fn left(&self, site: &Site, all: &mut SiteItems) {
        let known = crate::records::check::addresses(site);
        let Some((_, newest)) = site.visits.last() else { return };
        let recent = plus_days(newest.date.0, -60);
        for (_, visit) in site.visits.iter().filter(|(_, visit)| visit.date.0 >= recent) {
            for left in &visit.left {
                let done = site.entries(&left.at).any(|(_, later, entry)| {
                    later.date.0 > visit.date.0
                        && (!entry.renewed.0.is_empty() || !entry.repaired.0.is_empty() || entry.exchanged.is_some())
                });
                if done || !known.contains(&left.at) {
                    continue;
                }
                let what = left.note.as_ref().map_or_else(|| "left at a visit".to_owned(), |note| note.0.clone());
                let work = Work::Left(what);
                if left.quote == Some(true) {
                    let why = format!("seen on {}; it waits for a quote", format::short_date(visit.date.0));
                    all.refused.push((left.at.clone(), work, None, why));
                    continue;
                }
                let mut item = self.item(site, &left.at, work, LEFT_MINUTES, None);
                item.because = format!("Seen on {}", format::short_date(visit.date.0));
                item.chain.due = LEFT_DAYS.min(self.days as i64 - 1);
                item.chain.risk = SOONER;
                all.items.push(item);
            }
        }
    }
}

fn minutes_of(part: &Part) -> u32 {
    part.time.map_or(UNSAID_MINUTES, |time| whole(time.0.get::<minute>()))
}

/// Whole minutes, none lost.
pub fn whole(minutes: f64) -> u32 {
    (minutes.clamp(0.0, 1e6) - 1e-6).ceil().max(0.0) as u32
}

#[cfg(test)]
mod tests;
