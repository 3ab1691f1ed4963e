//! What is to be done at a site over the year: wear parts that fall due, tasks that recur, what a contract promises,
//! closing and reopening, and what a visit left. Each becomes a chain with its window, minutes, skill and what it costs to
//! be early or to wait.

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::NaiveDate;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use uom::si::time::minute;

use super::access::{Access, CLOSING_DAYS, CLOSING_LATE_DAYS};
use super::chains::{Chain, Next};
use super::water::{self, Asked};
use super::{Take, Work};
use crate::address::{Address, Id};
use crate::calendar::{Month, add, days_between, plus_days};
use crate::quantities::PumpFigures;
use crate::records::log::Why as WhyVisited;
use crate::records::upkeep::{CLOSE, Clock, Every, Part};
use crate::records::{Fleet, Site, Spa};
use crate::report::format;
use crate::schedule::due::{PartDue, TaskDue, labour_cost};
use crate::site::SiteFigures;
use crate::to_do::{Urgency, part_urgency};
use crate::units::Period;

/// The share of an interval before its end from which the work may be done: common practice, no source.
const EARLY_SHARE: f64 = 0.25;
/// The most days a part may be renewed before its due day: common practice, no source.
const EARLIEST_PART_DAYS: i64 = 180;
/// Days within which what was put off is done, counted from the day it was put off to: common practice, no source.
const AFTER_DEFERRAL_DAYS: i64 = 14;
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

/// A closed season, by its first and last day's numbers, with the days of what it shuts out.
type Shut = ((i64, i64), Vec<(NaiveDate, NaiveDate)>);

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

    fn parts(&self, figures: &SiteFigures, all: &mut SiteItems) {
        let mut here: Vec<&PartDue> = figures.parts.iter().filter(|part| part.due.is_some()).collect();
        here.sort_by_key(|part| (&part.part.at, part.due, part.part.id));
        let mut gone: Vec<bool> = vec![false; here.len()];
        let mut pulled: Vec<Option<NaiveDate>> = vec![None; here.len()];
        // A part that is renewed with another goes with it, if it is not due long before.
        for (index, part) in here.iter().enumerate() {
            if gone[index] {
                continue;
            }
            for other in 0..here.len() {
                let with = here[other];
                if other == index
                    || gone[other]
                    || with.part.at != part.part.at
                    || !part.part.part.also_renew.contains(with.part.id)
                {
                    continue;
                }
                let (Some(due), Some(own)) = (with.due, part.due) else { continue };
                let own = pulled[index].unwrap_or(own);
                let days = days_between(due, own);
                let lost = self.day_thrown_away(part) * days.max(0) as f64;
                let once_more = self.worth(with.cost, minutes_of(with.part.part));
                let within = days <= Self::early_days(part).max(0) || own <= self.as_of;
                if days <= 0 || own <= self.as_of || (within && lost <= once_more) {
                    gone[other] = true;
                    if days > 0 {
                        pulled[index] = Some(due);
                    }
                }
            }
        }
        for (index, part) in here.iter().enumerate() {
            if !gone[index] {
                let due = pulled[index].or(part.due);
                if let Some(due) = due {
                    all.items.push(self.part(figures, part, due));
                }
            }
        }
    }

    /// Days of a part's whole life by its due day.
    fn life_days(part: &PartDue) -> f64 {
        let fitted = part.part.fitted.middle();
        fitted.zip(part.due).map_or(365.0, |(fitted, due)| days_between(fitted, due).max(30) as f64)
    }

    fn early_days(part: &PartDue) -> i64 {
        ((Self::life_days(part) * EARLY_SHARE) as i64).clamp(1, EARLIEST_PART_DAYS)
    }

    fn day_thrown_away(&self, part: &PartDue) -> f64 {
        self.worth(part.cost, minutes_of(part.part.part)) / Self::life_days(part)
    }

    fn part(&self, figures: &SiteFigures, part: &PartDue, due: NaiveDate) -> Item {
        let book = part.part.part;
        let minutes = minutes_of(book);
        let skill = book.skill.as_ref().map(|s| s.0.as_str());
        let mut item = self.item(figures.site, &part.part.at, Work::Renew(part.part.id.clone()), minutes, skill);
        item.because = format::part_reason(part, self.as_of);
        item.water_out = book.water_out == Some(true);
        let take = |id: &Id, book: &Part| Take {
            part: id.clone(),
            count: book.count.unwrap_or(1),
            number: book.number.as_ref().map(|n| n.0.clone()),
        };
        item.take.push(take(part.part.id, book));
        item.cost = part.cost;
        let mut with = Vec::new();
        let mut along = 0.0;
        for id in &book.also_renew {
            let Some(other) = self.fleet.book.parts.get(id) else { continue };
            // It goes along where such a part stands there at all.
            if figures.parts.iter().any(|p| p.part.at == part.part.at && p.part.id == id) {
                item.take.push(take(id, other));
                with.push(format::words(id.as_str()));
                // What is renewed along is thrown away along.
                along += figures
                    .parts
                    .iter()
                    .find(|p| p.part.at == part.part.at && p.part.id == id)
                    .map_or(0.0, |other| self.day_thrown_away(other));
                let piece = other.cost.as_ref().and_then(|cost| cost.on(self.as_of));
                item.cost =
                    item.cost.zip(piece).map(|(sum, piece)| sum + piece.0 * Decimal::from(other.count.unwrap_or(1)));
            }
        }
        if !with.is_empty() {
            item.because.push_str(&format!(" With it: {}.", with.join(", ")));
        }
        let chain = &mut item.chain;
        chain.early = Self::early_days(part);
        chain.due = self.index(due);
        chain.first = (chain.due - chain.early).max(0) as usize;
        chain.thrown_away = self.day_thrown_away(part) + along;
        self.risk(figures, part, chain);
        let urgency = part_urgency(part, self.as_of);
        let unsafe_now = urgency == Some(Urgency::DoNotUse);
        match part.part.deferred.filter(|until| *until > self.as_of && !unsafe_now) {
            Some(until) => {
                let until = self.index(until);
                chain.first = chain.first.max(until.max(0) as usize);
                chain.due = chain.due.max(until + AFTER_DEFERRAL_DAYS);
            }
            None if chain.due < 0 => {
                chain.urgent = Some(match urgency {
                    Some(Urgency::DoNotUse) => 0,
                    Some(Urgency::ActNow) => 1,
                    _ => 2,
                });
            }
            None => {}
        }
        // Nothing says what is held, so that what is not urgent waits until it can have come.
        let lead = book.lead_time.or(self.fleet.settings.stock.lead_time);
        let comes = lead.map(|lead| self.index(add(self.as_of, lead)).max(0) as usize);
        if let (Some(lead), Some(comes)) = (lead, comes) {
            if chain.urgent.is_some() {
                item.because.push_str(&format!(
                    " To be ordered at once if none is held: it takes {} to come.",
                    format::period(lead)
                ));
            } else if chain.first < comes {
                chain.first = comes;
                item.lead = Some(lead);
            }
        }
        let chain = &mut item.chain;
        let by_age = book.interval.age;
        let by_hours = book.interval.hours.and_then(|hours| {
            let a_day = pump(figures, &part.part.at)?.forecast.as_ref()?.year() / 365.0;
            let days = hours.0.get::<uom::si::time::hour>() / a_day;
            (days.is_finite() && days < 36_500.0).then_some(Period { months: 0, days: days.max(1.0) as u32 })
        });
        chain.again = match (by_age, by_hours) {
            (Some(age), Some(hours)) if hours.mean_days() < age.mean_days() => Some(hours),
            (Some(age), _) => Some(age),
            (None, hours) => hours,
        };
        item
    }

    /// What waiting risks: the chance, by the life model, of failing before a day, times what a failure costs more than
    /// planned work; a straight line over the window.
    fn risk(&self, figures: &SiteFigures, part: &PartDue, chain: &mut Chain) {
        // Renewing sooner than the book says saves failures only of what wears out, and is worth it only where the best
        // age says so; elsewhere a new part fails as soon as the old one would.
        let Some(kind) = figures.lives.kind_of(&part.part).filter(|kind| kind.age_that_pays().is_some()) else {
            return;
        };
        let (Some(posterior), Some(costs)) = (&kind.posterior, kind.costs) else { return };
        let chance = |day: i64| -> Option<f64> {
            let days = day.max(0) as f64;
            let (age, further) = match kind.clock {
                Clock::Age => (part.part.age_days? as f64, days),
                Clock::Hours => {
                    let a_day = pump(figures, &part.part.at)?.forecast.as_ref()?.year() / 365.0;
                    (part.part.age_hours?, days * a_day)
                }
            };
            Some(posterior.chance_within(age, further)).filter(|chance| chance.is_finite())
        };
        if chain.due < 0 || chain.due >= self.days as i64 {
            return;
        }
        let (Some(early), Some(late)) = (chance(chain.first as i64), chance(chain.due)) else { return };
        let dearer = costs.failure - costs.planned;
        // A new part may fail too: renewing a day sooner buys a day of a whole life's chance, which is not saved.
        let book = kind.book.unwrap_or(0.0);
        let whole_life = posterior.chance_within(0.0, book);
        if whole_life.is_finite() {
            chain.thrown_away += dearer * whole_life / Self::life_days(part);
        }
        let days = (chain.due - chain.first as i64).max(1) as f64;
        chain.base = dearer * late;
        chain.risk = dearer * (late - early).max(0.0) / days;
    }

    fn tasks(&self, figures: &SiteFigures, all: &mut SiteItems) {
        for task in &figures.tasks {
            let Some(due) = task.due else { continue };
            let minutes = task.task.time.map_or(UNSAID_MINUTES, |t| whole(t.0.get::<minute>()));
            let skill = task.task.skill.as_ref().map(|s| s.0.as_str());
            let mut item = self.item(figures.site, &task.at, Work::Task(task.id.clone()), minutes, skill);
            item.because = format::sentence(&task.because);
            item.water_out = task.task.water_out == Some(true);
            let spa = figures.site.spas.iter().find(|spa| spa.at.as_str() == task.at.spa());
            let after = spa.and_then(|spa| self.asked_again(figures.site, spa, task));
            let again = after.as_deref().map_or_else(|| Self::comes_again(figures, task), |after| self.about(after));
            let period = again.map_or(365.0, Period::mean_days).max(1.0);
            item.chain.again = again;
            item.chain.after = after;
            item.chain.early = ((period * EARLY_SHARE) as i64).max(1);
            item.chain.due = self.index(due);
            item.chain.first = (item.chain.due - item.chain.early).max(0) as usize;
            item.chain.thrown_away = self.worth(item.cost, minutes) / period;
            item.chain.waits = true;
            if item.chain.after.as_deref().is_some_and(|after| after.iter().any(|next| next.why.is_guests())) {
                // The water is used up when guests leave; sooner is better, and nothing is thrown away.
                (item.chain.thrown_away, item.chain.risk) = (0.0, SOONER);
            }
            if task.because == "on reopening" {
                item.chain.first = item.chain.due.max(0) as usize;
                item.chain.due += REOPENING_DAYS - 1;
            } else if item.chain.due >= 0 && item.chain.after.is_some() {
                self.after_guests(figures.site, spa, task, due, &mut item.chain);
            }
            if item.chain.due < 0 {
                item.chain.urgent = Some(if task.by_rule { 1 } else { 2 });
            }
            all.items.push(item);
        }
    }

    /// When a task is due again by the day it is done, where the rule for changing the water or guests changing say so.
    fn asked_again(&self, site: &Site, spa: &Spa, task: &TaskDue) -> Option<Arc<[Next]>> {
        let limits = self.fleet.rule_book(site).and_then(|book| book.limits(site.r#use));
        let rule = limits.and_then(|limits| limits.refill.as_ref()).filter(|_| task.task.or_bather_limit == Some(true));
        let at_most = match task.task.every {
            Some(Every::Period(period)) => Some(period),
            _ => task.task.at_most,
        };
        let each_change = task.task.every == Some(Every::Changeover);
        let asked = Asked { rule, each_change, at_most, early_share: EARLY_SHARE };
        water::again(site, spa, self.start(), self.days, asked).map(Arc::from)
    }

    /// About how long it is until something is due again: the mean over the plan's days, counted by whole times.
    fn about(&self, after: &[Next]) -> Option<Period> {
        let mut day = 0;
        let mut times = 0u32;
        while let Some(next) = after.get(day).filter(|next| next.due < self.days as i64) {
            day = (next.due.max(0) as usize).max(day + 1);
            times += 1;
        }
        (times > 0).then(|| Period { months: 0, days: (day as u32 / times).max(1) })
    }

    /// Work that guests leaving ask for first is done behind them, not before.
    fn after_guests(&self, site: &Site, spa: Option<&Spa>, task: &TaskDue, due: NaiveDate, chain: &mut Chain) {
        let leaves = spa.and_then(|spa| spa.stays.as_ref()).is_some_and(|stays| stays.leavings().any(|day| day == due));
        let by_group = task.by_rule || task.task.every == Some(Every::Changeover);
        if let Some(next) = spa.filter(|_| leaves && by_group).and_then(|spa| {
            let next = water::leaving(site, spa, self.start(), self.days, due)?;
            (next.first as i64 == self.index(due)).then_some(next)
        }) {
            (chain.first, chain.due, chain.early) = (next.first, next.last, 0);
        }
    }

    /// How long until a task is due again: its period, or less where pressure asks for it sooner.
    fn comes_again(figures: &SiteFigures, task: &TaskDue) -> Option<Period> {
        let period = match task.task.every {
            Some(Every::Period(period)) => Some(period),
            _ => task.task.at_most,
        };
        let filter = figures.spas.iter().flat_map(|spa| &spa.filters).find(|f| f.at == task.at);
        let by_pressure = task.task.or_pressure_rise.and_then(|_| {
            let state = &filter?.state;
            Some(state.rise_limit? / state.rise_per_day.filter(|rise| *rise > 0.0)?)
        });
        let sooner = by_pressure.filter(|days: &f64| days.is_finite());
        match (period, sooner) {
            (Some(period), Some(days)) if days < period.mean_days() => {
                Some(Period { months: 0, days: days.max(1.0) as u32 })
            }
            (Some(period), _) => Some(period),
            (None, Some(days)) => Some(Period { months: 0, days: days.max(1.0) as u32 }),
            (None, None) => None,
        }
    }

    /// What is urgent is done within the response the contract promises.
    fn respond(&self, site: &Site, all: &mut SiteItems) {
        let customer = site.customer.as_ref().and_then(|id| self.fleet.customers.get(id));
        let Some(contract) = customer.and_then(|customer| customer.contract.as_ref()) else { return };
        let runs = contract.from.is_none_or(|day| day.0 <= self.start())
            && contract.to.is_none_or(|day| day.0 >= self.start());
        let Some(response) = contract.response.filter(|_| runs) else { return };
        let hours = response.0.get::<uom::si::time::hour>();
        // Days are planned, not hours: 24 h from the evening of the as-of day end with the next day.
        let by = ((hours / 24.0).ceil().max(1.0) as usize - 1).min(self.days - 1);
        for item in all.items.iter_mut().filter(|item| item.chain.urgent.is_some() && item.chain.due < 0) {
            item.chain.respond_by = Some(by.max(item.chain.first));
        }
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

    /// The visits a contract promises, one in each month, quarter and so on.
    fn contract(&self, site: &Site, access: &Access, all: &mut SiteItems) {
        let Some(at) = site.spas.first().map(|spa| &spa.at) else { return };
        let customer = site.customer.as_ref().and_then(|id| self.fleet.customers.get(id));
        let Some(contract) = customer.and_then(|customer| customer.contract.as_ref()) else { return };
        let Some(words) = contract.visits.as_ref().map(|words| words.0.as_str()) else { return };
        let Some(months) = months_between(words) else {
            let why = format!(
                "`visits: {words}` of the contract is not understood; monthly, every two months, quarterly, half-yearly and \
                 yearly are"
            );
            all.refused.push((at.clone(), Work::ContractVisit, None, why));
            return;
        };
        let from = contract.from.map_or(self.start(), |day| day.0).max(self.start());
        let to = contract.to.map_or(self.end(), |day| day.0).min(self.end());
        let first = Month::of(self.start());
        let mut shut: Vec<Shut> = Vec::new();
        // Quarters and halves are those of the calendar year.
        let begin = first.plus(-((first.number() as i32 - 1) % months));
        for month in begin.through(Month::of(self.end())).step_by(months as usize) {
            let (begins, ends) = (month.first(), month.plus(months - 1).last());
            let (window_from, window_to) = (begins.max(from), ends.min(to));
            // What is not over when the plan or the contract ends can still be visited; a stretch begun may have been.
            // A call-out is no promised visit.
            let visited = site.visits.iter().any(|(_, visit)| {
                visit.date.0 >= begins && visit.date.0 < self.start() && visit.why != Some(WhyVisited::Callout)
            });
            let cut_off = ends > self.end() && contract.to.is_none_or(|day| day.0 > self.end());
            if window_from > window_to || visited || cut_off {
                continue;
            }
            if let Some(season) =
                access.closed.iter().find(|season| self.shut(access, **season, window_from, window_to))
            {
                match shut.last_mut().filter(|(before, _)| before == season) {
                    Some((_, stretches)) => stretches.push((window_from, window_to)),
                    None => shut.push((*season, vec![(window_from, window_to)])),
                }
                continue;
            }
            let mut item = self.item(site, at, Work::ContractVisit, LOOK_ROUND_MINUTES, None);
            item.because = format!("Promised {words}");
            item.chain.access = 0;
            item.chain.first = self.index(window_from).max(0) as usize;
            item.chain.due = self.index(window_to);
            item.chain.may_be_late = false;
            all.items.push(item);
        }
        for ((from, to), stretches) in shut {
            let (Some((first, _)), Some((_, last))) = (stretches.first(), stretches.last()) else { continue };
            let why = format!(
                "the site is closed from {} to {}: {} promised {words} from {} to {} cannot be made",
                format::short_date(plus_days(self.start(), from)),
                format::short_date(plus_days(self.start(), to)),
                if stretches.len() == 1 { "the visit".to_owned() } else { format!("the {} visits", stretches.len()) },
                format::short_date(*first),
                format::short_date(*last),
            );
            all.refused.push((at.clone(), Work::ContractVisit, Some(*last), why));
        }
    }

    /// Whether a closed season leaves no day within a stretch on which somebody works and the site can be visited.
    fn shut(&self, access: &Access, (from, to): (i64, i64), first: NaiveDate, last: NaiveDate) -> bool {
        let (first, last) = (self.index(first).max(0), self.index(last));
        (first..=last).any(|day| (from..=to).contains(&day))
            && (first..=last).all(|day| {
                let open =
                    usize::try_from(day).ok().and_then(|day| access.lists[0].get(day)).is_some_and(|min| *min > 0);
                !open || !super::made::somebody_works(self.fleet, plus_days(self.start(), day))
            })
    }
}

/// How many months a contract's words put between two visits.
pub fn months_between(words: &str) -> Option<i32> {
    let words = words.trim().to_lowercase().replace(['_', '-'], " ");
    Some(match words.as_str() {
        "monthly" | "every month" | "12" | "12 a year" => 1,
        "every two months" | "two monthly" | "6" | "6 a year" => 2,
        "quarterly" | "every quarter" | "every three months" | "4" | "4 a year" => 3,
        "half yearly" | "twice a year" | "every six months" | "2" | "2 a year" => 6,
        "yearly" | "annually" | "once a year" | "every year" | "1" | "1 a year" => 12,
        _ => return None,
    })
}

fn minutes_of(part: &Part) -> u32 {
    part.time.map_or(UNSAID_MINUTES, |time| whole(time.0.get::<minute>()))
}

/// Whole minutes, none lost.
pub fn whole(minutes: f64) -> u32 {
    (minutes.clamp(0.0, 1e6) - 1e-6).ceil().max(0.0) as u32
}

fn pump<'a>(figures: &'a SiteFigures, at: &Address) -> Option<&'a PumpFigures> {
    figures.spas.iter().flat_map(|spa| &spa.pumps).find(|pump| pump.at == *at)
}

#[cfg(test)]
mod tests;
