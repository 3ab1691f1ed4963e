//! What has a contract cost us so far? The visits of a year at cost: hours worked, ways, pieces; what the contract does not
//! cover is charged to the customer and left out on both sides.
//!
//! A failure counts with what the book says it costs beside the part, as it does in the simulated year, where the contract
//! bears that. Amounts are in the currency's minor unit; nothing here may reach a customer.

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate};
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use uom::si::time::minute;

use crate::address::Id;
use crate::calendar::Month;
use crate::costs::contract::{Terms, is_out_of_hours};
use crate::costs::prices::minor_units;
use crate::costs::statement::{What, hours_of, pieces};
use crate::costs::year::ASSUMED_TRAVEL_MINUTES;
use crate::records::customers::{Customer, Scope};
use crate::records::log::{Because, Visit, Why};
use crate::records::{Fleet, Site};
use crate::site::SiteFigures;

/// What was spent under a contract, in minor units.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Spent {
    /// On planned visits.
    pub planned: f64,
    /// On call-outs and on parts that failed.
    pub failures: f64,
    /// Visits made.
    pub visits: u32,
    /// Call-outs among them.
    pub callouts: u32,
    /// Visits whose hours are not recorded, or pieces without a cost.
    pub without_amount: u32,
}

impl Spent {
    /// All of it.
    pub fn total(&self) -> f64 {
        self.planned + self.failures
    }
}

/// How many visits share a trip: those of one technician on one day to sites of one area.
#[derive(Debug, Default)]
pub struct Trips(BTreeMap<(NaiveDate, Option<Id>, String), u32>);

impl Trips {
    /// Counts the visits of all sites.
    pub fn of<'a>(sites: impl Iterator<Item = &'a Site>) -> Self {
        let mut trips = BTreeMap::new();
        for site in sites {
            for (_, visit) in &site.visits {
                *trips.entry(key(site, visit)).or_insert(0) += 1;
            }
        }
        Self(trips)
    }

    fn share(&self, site: &Site, visit: &Visit) -> f64 {
        1.0 / f64::from(self.0.get(&key(site, visit)).copied().unwrap_or(1).max(1))
    }
}

fn key(site: &Site, visit: &Visit) -> (NaiveDate, Option<Id>, String) {
    let area = site.area.as_ref().map_or_else(|| format!("/{}", site.id), |area| area.0.clone());
    (visit.date.0, visit.by.clone(), area)
}

/// Adds up a calendar year of a customer's sites.
pub fn spent(fleet: &Fleet, customer: &Customer, sites: &[&Site], trips: &Trips, year: i32) -> Spent {
    let mut spent = Spent::default();
    let mut visits: Vec<(&Site, &Visit)> = sites
        .iter()
        .flat_map(|site| site.visits.iter().map(move |(_, visit)| (*site, visit)))
        .filter(|(_, visit)| visit.date.0.year() == year)
        .collect();
    visits.sort_by_key(|(site, visit)| (visit.date.0, visit.time.map(|time| time.start), site.id.clone()));
    for (site, visit) in visits {
        let is_callout = visit.why == Some(Why::Callout);
        spent.visits += 1;
        spent.callouts += u32::from(is_callout);
        add_visit(fleet, customer, (site, visit), trips, &mut spent);
    }
    spent
}

/// What the visits of some days cost us, whoever paid for them; minor units.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Done {
    /// Work and ways.
    pub work: f64,
    /// Parts and pumps.
    pub parts: f64,
    /// What of both fell to call-outs.
    pub callouts: f64,
    /// Visits whose hours are not recorded, or pieces without a cost.
    pub without_amount: u32,
}

/// Adds up all visits of all sites from one day to another, both counted.
pub fn done<'a>(
    fleet: &Fleet,
    sites: impl Iterator<Item = &'a Site>,
    trips: &Trips,
    (from, to): (NaiveDate, NaiveDate),
) -> Done {
    let mut done = Done::default();
    for site in sites {
        for (_, visit) in site.visits.iter().filter(|(_, visit)| (from..=to).contains(&visit.date.0)) {
            let (work, way) = work_and_way(fleet, (site, visit), trips);
            done.without_amount += u32::from(work.is_none());
            let mut parts = 0.0;
            for (what, quantity, _) in pieces(fleet, site, visit) {
                match cost_of(fleet, &what, visit.date.0) {
                    Some(cost) => {
                        let amount = (cost * quantity).to_f64().unwrap_or(0.0);
                        parts += amount * minor_units(&fleet.settings.currency.0);
                    }
                    None => done.without_amount += 1,
                }
            }
            let work = work.unwrap_or(0.0) + way;
            done.work += work;
            done.parts += parts;
            if visit.why == Some(Why::Callout) {
                done.callouts += work + parts;
            }
        }
    }
    done
}

/// The same of whole months, in the currency; `None` where an hour of work has no cost from the first of them on.
pub fn months(fleet: &Fleet, sites: &[SiteFigures], from: Month, to: Month) -> Option<Done> {
    fleet.settings.labour.cost.as_ref()?.on(from.first())?;
    let all = || sites.iter().map(|site| site.site);
    let done = done(fleet, all(), &Trips::of(all()), (from.first(), to.last()));
    let units = minor_units(&fleet.settings.currency.0);
    Some(Done {
        work: done.work / units,
        parts: done.parts / units,
        callouts: done.callouts / units,
        without_amount: done.without_amount,
    })
}

/// What the work and the way of a visit cost us; the work is `None` where its hours or their cost are not written.
fn work_and_way(fleet: &Fleet, (site, visit): (&Site, &Visit), trips: &Trips) -> (Option<f64>, f64) {
    let units = minor_units(&fleet.settings.currency.0);
    let minor = |amount: Decimal| amount.to_f64().unwrap_or(0.0) * units;
    let day = visit.date.0;
    let rate = fleet.settings.labour.cost.as_ref().and_then(|rate| rate.on(day)).map(|money| money.0);
    let outside = visit.why == Some(Why::Callout) && is_out_of_hours(fleet, visit);
    let factor = fleet.settings.labour.out_of_hours.filter(|_| outside).map_or(1.0, |factor| factor.0);
    let work = hours_of(visit).zip(rate).map(|(hours, rate)| minor(hours * rate) * factor);
    let way = site.travel.time.map_or(ASSUMED_TRAVEL_MINUTES, |time| time.0.get::<minute>());
    let fare = site.travel.cost.as_ref().and_then(|cost| cost.on(day)).map_or(0.0, |money| minor(money.0));
    (work, (rate.map_or(0.0, minor) * way / 60.0 * factor + fare) * trips.share(site, visit))
}

/// What one piece costs us on a day.
fn cost_of(fleet: &Fleet, what: &What, day: NaiveDate) -> Option<Decimal> {
    let cost = match what {
        What::Part(id) => fleet.book.parts.get(id).and_then(|part| part.cost.as_ref()),
        What::Pump(Some(model)) => fleet.models.get(model).and_then(|model| model.cost.as_ref()),
        _ => None,
    };
    cost.and_then(|cost| cost.on(day)).map(|money| money.0)
}

fn add_visit(fleet: &Fleet, customer: &Customer, (site, visit): (&Site, &Visit), trips: &Trips, spent: &mut Spent) {
    let units = minor_units(&fleet.settings.currency.0);
    let minor = |amount: Decimal| amount.to_f64().unwrap_or(0.0) * units;
    let day = visit.date.0;
    let terms = Terms::on(Some(customer), day);
    let is_callout = visit.why == Some(Why::Callout);
    if terms.work(visit.why, spent.callouts).by_contract() {
        let (work, way) = work_and_way(fleet, (site, visit), trips);
        spent.without_amount += u32::from(work.is_none());
        let amount = work.unwrap_or(0.0) + way;
        if is_callout {
            spent.failures += amount;
        } else {
            spent.planned += amount;
        }
    }
    for (what, quantity, because) in pieces(fleet, site, visit) {
        if !terms.part(because).by_contract() {
            continue;
        }
        match cost_of(fleet, &what, day) {
            Some(cost) if because == Because::Failure || is_callout => spent.failures += minor(cost * quantity),
            Some(cost) => spent.planned += minor(cost * quantity),
            None => spent.without_amount += 1,
        }
    }
    if terms.scope() == Some(Scope::Everything) {
        for (id, renewal) in visit.at.iter().flat_map(|(_, entry)| &entry.renewed.0) {
            let failure = fleet.book.parts.get(id).and_then(|part| part.failure.as_ref());
            let cost = failure.and_then(|failure| failure.cost.as_ref()).and_then(|cost| cost.on(day));
            if let Some(cost) = cost.filter(|_| renewal.because == Because::Failure) {
                spent.failures += minor(cost.0);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantities::fleet_for_tests::{day, load_with};

    /// By hand, everything covered: a planned visit of 2 h at 24.00 with a way of 30 min and 10.00 = 70.00; a call-out on a
    /// Sunday of 1 h at 36.00, the way 18.00 and 10.00, a seal 22.00, beside it 260.00 = 346.00. Of labour alone: 70.00, and
    /// nothing of a call-out that is charged.
    #[test]
    fn a_year_at_cost_by_hand() {
        let fleet = "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\nlabour: {cost: 24.00, out_of_hours: 1.5}\n";
        let book = "format: 1\nparts: {shaft_seal: {fits: pump, cost: 22.00, failure: {cost: 260.00}}}\ntasks: {}\n";
        let site = "format: 1\ncustomer: harbour\ntravel: {time: 30 min, cost: 10.00}\nspas: {tub: {fitted: 2024-01-01, pumps: {jets: {duty: jets}}}}\n\
            log: [{date: 2026-06-01, why: planned, labour: 2 h, at: {tub: {}}}, \
            {date: 2026-06-07, why: callout, labour: 1 h, at: {tub/jets: {renewed: {shaft_seal: {because: failure}}}}}, \
            {date: 2025-06-07, why: planned, labour: 9 h, at: {tub: {}}}]\n";
        let of = |contract: &str| {
            let customers = format!("format: 1\ncustomers: {{harbour: {{contract: {contract}}}}}\n");
            let files = [
                ("fleet.yaml", fleet),
                ("customers.yaml", &*customers),
                ("upkeep.yaml", book),
                ("sites/home.yaml", site),
            ];
            load_with(&files, "2026-06-30", |fleet, site, _| {
                let customer = fleet.customers.values().next().unwrap();
                spent(fleet, customer, &[site.site], &Trips::of(std::iter::once(site.site)), 2026)
            })
        };
        let everything = of("{scope: everything}");
        assert!((everything.planned - 7000.0).abs() < 1e-6 && (everything.failures - 34_600.0).abs() < 1e-6);
        assert_eq!((everything.visits, everything.callouts), (2, 1));
        // Whoever pays: both visits of the year, and of it the call-out without what a failure costs beside the part.
        let files = [("fleet.yaml", fleet), ("upkeep.yaml", book), ("sites/home.yaml", site)];
        load_with(&files, "2026-06-30", |fleet, site, as_of| {
            let sites = || std::iter::once(site.site);
            let of = |from: &str| done(fleet, sites(), &Trips::of(sites()), (day(from), as_of));
            let year = of("2026-01-01");
            assert!((year.work - 7000.0 - 6400.0).abs() < 1e-6 && (year.parts - 2200.0).abs() < 1e-6, "{year:?}");
            assert!((year.callouts - 8600.0).abs() < 1e-6 && year.without_amount == 0, "{year:?}");
            assert!((of("2025-01-01").work - year.work - 21_600.0 - 2200.0).abs() < 1e-6);
        });
        let labour = of("{scope: labour}");
        assert!((labour.total() - 7000.0).abs() < 1e-6, "{labour:?}");
    }
}
