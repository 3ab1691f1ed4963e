//! What to carry: by month and kind of part, what the planned work needs and what to hold for failures, so that the
//! shelf lasts through the time an order takes.
//!
//! Failures come from the one model of lives, with the ages, the use to come and the planned renewals of every part;
//! what is not known of a kind of part is not known of all parts of the kind at once, so that the count to come is spread
//! wider than chance alone (`stats::stock`). What a shelf already holds is in no record: these are numbers to hold,
//! not to buy.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use rayon::prelude::*;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use crate::address::{Address, Id};
use crate::calendar::{Month, add, days_between, plus_days};
use crate::fleet_figures::FleetFigures;
use crate::quantities::expected_failures::{DAYS, Exposure};
use crate::quantities::part_life_model::clock_of;
use crate::quantities::run_hours;
use crate::records::Fleet;
use crate::records::upkeep::{Clock, Part};
use crate::schedule::due::PartDue;
use crate::schedule::visits::Work;
use crate::site::SiteFigures;
use crate::stats::stock::{Demand, Held};
use crate::swap;
use crate::units::Period;

/// The months that are looked ahead.
pub const MONTHS: usize = 12;
/// Failures are computed at the ends of quarters and spread evenly between.
const QUARTERS: usize = 4;
/// What a part fits is named so many times, the most frequent first.
const MOST_NAMED: usize = 8;

/// A kind of part in a month.
#[derive(Debug, Clone)]
pub struct Carry<'a> {
    /// The month.
    pub month: Month,
    /// Its id in the book.
    pub part: &'a Id,
    /// Its line of the book.
    pub line: &'a Part,
    /// What it fits here, and how many of each.
    pub fits: String,
    /// Pieces that the planned visits of the month take.
    pub planned: u32,
    /// Failures of the part expected in the month; `None` = nothing is known of its lives.
    pub expected_failures: Option<f64>,
    /// What to hold for failures from the month's beginning, in pieces.
    pub hold: Option<Hold>,
    /// The day by which what the month needs is to be on order; `None` = nothing needs to be, or how long an order
    /// takes is not written.
    pub on_order_by: Option<NaiveDate>,
    /// The first visit of the month that an order of the as-of day comes too late for; `None` = there is none.
    pub too_late_for: Option<NaiveDate>,
    /// The day an order of `on_order_by` comes.
    pub comes_on: Option<NaiveDate>,
}

/// A stock with what one more or one fewer would do. All of it is of sets: `pieces` make one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hold {
    /// Pieces of a set.
    pub pieces: u32,
    /// What is wanted within the lead time.
    pub demand: Demand,
    /// The stock.
    pub held: Held,
    /// With one set fewer; `None` where none is held.
    pub one_fewer: Option<Held>,
    /// With one set more.
    pub one_more: Held,
    /// What a set costs; `None` = not written.
    pub price: Option<Decimal>,
    /// What it costs when one is wanting: the nights of a lead time; `None` = no site says what a night is worth.
    pub wanting: Option<f64>,
}

impl Hold {
    /// The stock in pieces.
    pub fn stock(&self) -> u32 {
        self.held.stock * self.pieces
    }

    /// Whether one set more costs less than it saves in a single lead time, though the service level is met without it.
    pub fn one_more_pays(&self) -> bool {
        let price = self.price.and_then(|price| price.to_f64());
        self.one_more_saves().zip(price).is_some_and(|(saves, price)| saves > price)
    }

    /// What one set more saves in a lead time, on the average, if every night without the part is lost.
    pub fn one_more_saves(&self) -> Option<f64> {
        Some((self.held.short - self.one_more.short) * self.wanting?)
    }

    /// What one set fewer costs in a lead time, on the average, if every night without the part is lost.
    pub fn one_fewer_costs(&self) -> Option<f64> {
        Some((self.one_fewer?.short - self.held.short) * self.wanting?)
    }
}

/// What is gathered of a kind of part over some sites.
#[derive(Debug, Clone, Default)]
struct Gathered {
    /// What it fits, with how many stand there.
    fits: BTreeMap<String, u32>,
    /// Pieces by month, with the first day of need.
    planned: [(u32, Option<NaiveDate>); MONTHS],
    /// Expected failures to the end of each quarter, under each distribution the kind may have.
    failures: [Vec<f64>; QUARTERS],
}

impl Gathered {
    fn add(&mut self, other: Self) {
        for (what, count) in other.fits {
            *self.fits.entry(what).or_default() += count;
        }
        for (mine, (count, first)) in self.planned.iter_mut().zip(other.planned) {
            mine.0 += count;
            mine.1 = [mine.1, first].into_iter().flatten().min();
        }
        for (mine, more) in self.failures.iter_mut().zip(other.failures) {
            add_up(mine, &more);
        }
    }
}

fn add_up(sums: &mut Vec<f64>, more: &[f64]) {
    if sums.len() < more.len() {
        sums.resize(more.len(), 0.0);
    }
    for (sum, more) in sums.iter_mut().zip(more) {
        *sum += more;
    }
}

type Kinds = BTreeMap<Id, Gathered>;

/// What to carry in each of the coming twelve months, by month and part.
pub fn carry<'a>(figures: &FleetFigures<'a>) -> Vec<Carry<'a>> {
    let fleet = figures.fleet;
    let planned = planned_renewals(figures);
    let gathered: Vec<Kinds> = figures.sites.par_iter().map(|site| of_site(figures, site, &planned)).collect();
    let mut kinds = Kinds::new();
    for site in gathered {
        for (part, more) in site {
            kinds.entry(part).or_default().add(more);
        }
    }
    let first = figures.month.plus(1);
    for (part, months) in taken(figures, first) {
        kinds.entry(part).or_default().planned = months;
    }
    let nights: Vec<f64> =
        figures.sites.iter().filter_map(|site| site.site.lost_night.as_ref()?.on(figures.as_of)?.0.to_f64()).collect();
    let night = (!nights.is_empty()).then(|| nights.iter().sum::<f64>() / nights.len() as f64);
    let mut rows = Vec::new();
    for index in 0..MONTHS {
        for (part, gathered) in &kinds {
            let Some((part, line)) = fleet.book.parts.iter().find(|(id, _)| id == part) else { continue };
            let kind = Kind { figures, kinds: &kinds, part, line, gathered, night };
            rows.push(kind.row(first, index));
        }
    }
    rows
}

/// Planned renewals by site, address and part, as days from the as-of day.
type Planned<'a> = BTreeMap<(&'a Id, &'a Address, &'a Id), Vec<NaiveDate>>;

fn planned_renewals<'a>(figures: &'a FleetFigures) -> Planned<'a> {
    let mut planned = Planned::new();
    for visit in &figures.plan.visits {
        for task in &visit.tasks {
            if let Work::Renew(part) = &task.work {
                planned.entry((&visit.site, &task.at, part)).or_default().push(visit.date);
            }
        }
    }
    planned
}

/// Pieces that planned visits take, by part and month.
fn taken(figures: &FleetFigures, first: Month) -> BTreeMap<Id, [(u32, Option<NaiveDate>); MONTHS]> {
    let mut needed: BTreeMap<Id, [(u32, Option<NaiveDate>); MONTHS]> = BTreeMap::new();
    for visit in &figures.plan.visits {
        let Some(index) = (0..MONTHS).find(|index| first.plus(*index as i32) == Month::of(visit.date)) else {
            continue;
        };
        for take in visit.tasks.iter().flat_map(|task| &task.take) {
            let (count, day) = &mut needed.entry(take.part.clone()).or_default()[index];
            *count += take.count;
            *day = Some(day.map_or(visit.date, |day| day.min(visit.date)));
        }
    }
    needed
}

fn of_site(figures: &FleetFigures, site: &SiteFigures, planned: &Planned) -> Kinds {
    let mut kinds = Kinds::new();
    for part in &site.parts {
        let gathered = kinds.entry(part.part.id.clone()).or_default();
        let what = what_it_stands_in(figures.fleet, site, part);
        *gathered.fits.entry(what).or_default() += 1;
        let days = planned.get(&(&site.site.id, &part.part.at, part.part.id)).map_or(&[][..], Vec::as_slice);
        for (quarter, sums) in gathered.failures.iter_mut().enumerate() {
            let end = plus_days(figures.as_of, (DAYS * (quarter + 1) as f64 / QUARTERS as f64).round() as i64);
            if let Some(means) = failures_until(figures, site, part, days, end) {
                add_up(sums, &means);
            }
        }
    }
    kinds
}

fn what_it_stands_in(fleet: &Fleet, site: &SiteFigures, part: &PartDue) -> String {
    let at = &part.part.at;
    let pump = site.site.spas.iter().flat_map(|spa| &spa.pumps).find(|pump| pump.at == *at);
    match pump {
        Some(pump) => run_hours::model_now(site.site, pump).unwrap_or_default(),
        None => swap::measures_of(fleet, site.site, at),
    }
}

/// Failures expected of a part's place up to a day, under each distribution its kind may have. `None` = its use is not
/// known, or nothing is known of its lives.
fn failures_until(
    figures: &FleetFigures,
    site: &SiteFigures,
    part: &PartDue,
    renewals: &[NaiveDate],
    end: NaiveDate,
) -> Option<Vec<f64>> {
    let pump = site.spas.iter().flat_map(|spa| &spa.pumps).find(|pump| pump.at == part.part.at);
    let exposure_to = |day: NaiveDate| -> Option<f64> {
        match clock_of(part.part.part) {
            Clock::Age => Some(days_between(figures.as_of, day) as f64),
            Clock::Hours => Some(pump?.forecast.as_ref()?.hours_until(day)),
        }
    };
    let mut planned: Vec<f64> =
        renewals.iter().filter(|day| **day < end).map(|day| exposure_to(*day)).collect::<Option<_>>()?;
    planned.sort_by(f64::total_cmp);
    let exposure = Exposure { further: exposure_to(end)?, planned: &planned };
    figures.lives.means_of(&part.part, &exposure)
}

/// A kind of part with what its rows are made from.
struct Kind<'a, 'b> {
    figures: &'b FleetFigures<'a>,
    kinds: &'b Kinds,
    part: &'a Id,
    line: &'a Part,
    gathered: &'b Gathered,
    night: Option<f64>,
}

impl<'a> Kind<'a, '_> {
    fn row(&self, first: Month, index: usize) -> Carry<'a> {
        let month = first.plus(index as i32);
        let (planned, needed) = self.gathered.planned[index];
        let lead = self.line.lead_time.or(self.figures.fleet.settings.stock.lead_time);
        let hold = lead.and_then(|lead| self.hold(month.first(), lead));
        let before = (index > 0)
            .then(|| lead.and_then(|lead| self.hold(month.plus(-1).first(), lead)))
            .flatten()
            .map_or(0, |hold| hold.stock());
        // More than a month earlier is to be there when the month begins.
        let more = hold.filter(|hold| hold.stock() > before).map(|_| month.first());
        let on_order_by = lead
            .zip([needed, more].into_iter().flatten().min())
            .map(|(lead, day)| before_by(day, lead).max(self.figures.as_of));
        let comes_on = lead.zip(on_order_by).map(|(lead, ordered)| plus_days(ordered, whole_days(lead)));
        let too_late_for = needed.zip(comes_on).filter(|(needed, comes)| comes > needed).map(|(needed, _)| needed);
        Carry {
            month,
            part: self.part,
            line: self.line,
            fits: self.fits(),
            planned,
            expected_failures: self.demand(month.first(), month.next().first()).map(|demand| demand.mean),
            hold,
            on_order_by,
            too_late_for,
            comes_on,
        }
    }

    /// Kind and frequency of what it fits.
    fn fits(&self) -> String {
        let mut all: Vec<(&String, &u32)> = self.gathered.fits.iter().collect();
        all.sort_by(|a, b| b.1.cmp(a.1).then(a.0.cmp(b.0)));
        let more = all.len().saturating_sub(MOST_NAMED);
        let mut named: Vec<String> = all
            .iter()
            .take(MOST_NAMED)
            .map(|(what, count)| format!("{what} ×{count}").trim_start().to_owned())
            .collect();
        if more > 0 {
            named.push(format!("{more} more"));
        }
        if named.is_empty() { self.line.fits.to_string() } else { format!("{}: {}", self.line.fits, named.join("; ")) }
    }

    /// Failures of this kind from a day up to another.
    fn demand(&self, from: NaiveDate, to: NaiveDate) -> Option<Demand> {
        self.figures.lives.kind(self.part)?.posterior.as_ref()?;
        Some(demand_of(self.figures, self.part, self.gathered, from, to))
    }

    /// What is wanted of it within a lead time: its own failures, and those that have it renewed along.
    fn wanted(&self, from: NaiveDate, to: NaiveDate) -> Option<Demand> {
        let mut wanted = self.demand(from, to)?;
        for (id, line) in self.figures.fleet.book.parts.iter().filter(|(_, line)| line.also_renew.contains(self.part)) {
            if let Some(other) = self.kinds.get(id).filter(|_| id != self.part && line.fits == self.line.fits) {
                let more = demand_of(self.figures, id, other, from, to);
                wanted = Demand { mean: wanted.mean + more.mean, variance: wanted.variance + more.variance };
            }
        }
        Some(wanted)
    }

    fn hold(&self, from: NaiveDate, lead: Period) -> Option<Hold> {
        let level = self.figures.fleet.settings.stock.service_level.as_ref()?.0;
        let demand = self.wanted(from, add(from, lead))?;
        let held = demand.least_stock(level)?;
        let pieces = self.line.count.unwrap_or(1);
        let price = self.line.cost.as_ref().and_then(|cost| cost.on(self.figures.as_of));
        Some(Hold {
            pieces,
            demand,
            held,
            one_fewer: held.stock.checked_sub(1).map(|fewer| demand.held(fewer)),
            one_more: demand.held(held.stock + 1),
            price: price.map(|price| price.0 * Decimal::from(pieces)),
            wanting: self.night.map(|night| night * lead.mean_days()),
        })
    }
}

/// The day a period before another.
fn before_by(day: NaiveDate, period: Period) -> NaiveDate {
    plus_days(day, -whole_days(period))
}

/// Days an order takes at the longest.
fn whole_days(period: Period) -> i64 {
    period.mean_days().ceil() as i64
}

/// Failures of a kind from a day up to another: those of each distribution it may have, Poisson about its mean.
fn demand_of(figures: &FleetFigures, part: &Id, gathered: &Gathered, from: NaiveDate, to: NaiveDate) -> Demand {
    let at = |day: NaiveDate, node: usize| -> f64 {
        let quarters = days_between(figures.as_of, day) as f64 / (DAYS / QUARTERS as f64);
        let until =
            |end: usize| if end == 0 { 0.0 } else { gathered.failures[end - 1].get(node).copied().unwrap_or(0.0) };
        // Beyond the year it goes on as in the last quarter.
        let whole = (quarters.max(0.0) as usize).min(QUARTERS - 1);
        until(whole) + (until(whole + 1) - until(whole)) * (quarters.max(0.0) - whole as f64)
    };
    let (mut mean, mut square) = (0.0, 0.0);
    for (node, weight) in figures.lives.weights_of(part).iter().enumerate() {
        // The month behind the as-of day begins the day after it.
        let of_node = (at(plus_days(to, -1), node) - at(plus_days(from, -1), node)).max(0.0);
        mean += weight * of_node;
        square += weight * of_node * of_node;
    }
    Demand { mean, variance: mean + (square - mean * mean).max(0.0) }
}

#[cfg(test)]
mod tests;
