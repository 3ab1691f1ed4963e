//! What will it cost, and which contracts pay? Of every site the coming twelve months and the next contract year, of every
//! contract the year so far, what is still to come, and the price it should have next.
//!
//! A few hundred years are drawn of each site, enough for a report; a quote draws more ([`crate::costs::quote`]).

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate};
use rayon::prelude::*;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use crate::address::Id;
use crate::costs::contract::{CallOuts, PriceBasis, contract_on, price_of};
use crate::costs::prices::{Missing, minor_units};
use crate::costs::quote::{Pricing, with_contracts_to};
use crate::costs::routine::LookRounds;
use crate::costs::simulation::{Means, Outcome, Terms, Worlds, simulate};
use crate::costs::spent::{Spent, Trips, spent};
use crate::costs::spread::Spread;
use crate::costs::year::{Habits, Window, site_year};
use crate::quantities::part_life_model::FleetLives;
use crate::records::customers::{Customer, Scope};
use crate::records::{Fleet, Site};
use crate::schedule::visits::Plan;
use crate::site::SiteFigures;

/// Years drawn of each site.
pub const DRAWS: usize = 400;

/// What the coming twelve months of a site cost us, whoever is charged for it: work, parts, ways and failures, without
/// nights lost. In the currency.
#[derive(Debug, Clone, PartialEq)]
pub struct ExpectedYear {
    /// Its mean and range.
    pub range: CostRange,
    /// One year in two costs less.
    pub p50: f64,
    /// Four years in five cost less.
    pub p80: f64,
    /// Nineteen years in twenty cost less.
    pub p95: f64,
    /// How many failures are expected.
    pub failures: f64,
    /// What of the mean is planned work.
    pub planned: f64,
    /// What is not in it for want of a record.
    pub missing: Vec<Missing>,
}

/// What a year may cost, in the currency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CostRange {
    /// The mean.
    pub mean: f64,
    /// The low end of the central 80 %, or of the wider range that holds the mean.
    pub low: f64,
    /// Its high end.
    pub high: f64,
    /// The share of years between them: as a rule 0.8.
    pub within: f64,
}

impl CostRange {
    /// Of years drawn, whose totals are in the currency's smallest coins, of which `units` are one of it.
    fn of(spread: &Spread, units: f64) -> Self {
        Self {
            mean: spread.mean.value / units,
            low: spread.low / units,
            high: spread.high / units,
            within: spread.within,
        }
    }
}

/// A row of `costs.csv`: a site's contract year under a scope, in the currency.
#[derive(Debug, Clone)]
pub struct SiteScope {
    /// The site.
    pub site: Id,
    /// The year.
    pub year: i32,
    /// The scope.
    pub scope: Scope,
    /// Means borne: work, parts, ways, what else failures cost.
    pub borne: [f64; 4],
    /// Failures expected.
    pub failures: f64,
    /// What it may come to, in minor units.
    pub spread: Spread,
    /// The price.
    pub price: Decimal,
    /// The tax on it.
    pub tax: Option<Decimal>,
}

/// A contract's year: quoted against spent and still to come. In minor units but for prices.
#[derive(Debug, Clone)]
pub struct ContractYear {
    /// Whose.
    pub customer: Id,
    /// Its sites.
    pub sites: Vec<Id>,
    /// The year.
    pub year: i32,
    /// The scope.
    pub scope: Scope,
    /// The price of the year; `None` = not written.
    pub price: Option<(Decimal, PriceBasis)>,
    /// What was spent so far.
    pub spent: Spent,
    /// What is still to come up to the year's end, and its means.
    pub to_come: (Spread, Means),
    /// Price less spent and to come, with the ends of the range of what is to come.
    pub result: Option<(f64, f64, f64)>,
    /// The chance that the year loses money.
    pub loses: Option<f64>,
    /// Why, in words.
    pub why: String,
    /// The price the next year should have, from its simulated cost.
    pub next_price: Decimal,
    /// One standard error of that price, in the currency: it comes of drawing only [`DRAWS`] years.
    pub next_price_error: f64,
    /// What the next year's cost is made of, borne by the contract: means of work, parts, ways, what else failures cost,
    /// and what of them all is failures; minor units.
    pub next_borne: ([f64; 4], f64),
    /// Visits planned for the next year.
    pub next_visits: f64,
    /// The price it would have by the index alone.
    pub next_by_index: Option<Decimal>,
}

impl ContractYear {
    /// The next year's price as far as so few draws tell it: two standard errors, and no digit that they make meaningless.
    pub fn next_price_about(&self) -> (f64, f64) {
        let price = self.next_price.to_f64().unwrap_or(0.0);
        let error = 2.0 * self.next_price_error;
        // A tenth of the error's leading place, and not below the unit of the currency.
        let step = 10f64.powf((error.max(1.0).log10().floor() - 1.0).max(0.0));
        let rounded = (price / step).round() * step;
        (rounded, ((error + (price - rounded).abs()) / step).ceil().max(1.0) * step)
    }

    /// What planned work is still to come under the contract, in minor units.
    pub fn planned_to_come(&self) -> f64 {
        let means = &self.to_come.1;
        let parts = if self.scope == Scope::Labour { 0.0 } else { means.planned_parts };
        means.planned_labour + means.planned_travel + parts
    }
}

/// The fleet's costs to come.
#[derive(Debug, Clone, Default)]
pub struct FleetCosts {
    /// The coming twelve months, by site.
    pub twelve_months: BTreeMap<Id, ExpectedYear>,
    /// All sites' twelve months together; `None` = no labour cost is written.
    pub all_sites: Option<CostRange>,
    /// The next contract year, by site and scope.
    pub next_year: Vec<SiteScope>,
    /// The contracts in force.
    pub contracts: Vec<ContractYear>,
}

/// What a site draws.
struct Drawn {
    id: Id,
    twelve_months: (ExpectedYear, Vec<i64>),
    rest: Option<Outcome>,
    next: Option<(Outcome, Terms)>,
    next_visits: f64,
}

/// Draws all sites' years. Without a cost of labour there is nothing to say.
pub fn outlook(fleet: &Fleet, sites: &[SiteFigures], plan: &Plan, lives: &FleetLives, as_of: NaiveDate) -> FleetCosts {
    if fleet.settings.labour.cost.as_ref().and_then(|cost| cost.on(as_of)).is_none() {
        return FleetCosts::default();
    }
    let habits = Habits::of(fleet, sites.iter().map(|site| site.site));
    let seed = fleet.settings.seed.unwrap_or(1);
    let worlds = |window: Window| Worlds::new(lives, seed, window, DRAWS);
    let twelve = worlds(Window::of_twelve_months(as_of));
    let rest = Window::of_year(as_of.year(), as_of).map(worlds);
    let next = Window::of_year(as_of.year() + 1, as_of).map(worlds);
    // The contracts are taken to go on, with the looks round they promise, as a quote takes them.
    let going_on = with_contracts_to(fleet, as_of.year() + 1);
    let drawn: Vec<Drawn> = sites
        .par_iter()
        .map(|site| {
            let customer = site.site.customer.as_ref().and_then(|id| fleet.customers.get(id));
            let draw = |worlds: &Worlds, fleet: &Fleet| {
                let year = site_year(fleet, site, plan, habits, worlds.window(), LookRounds::AsPlanned);
                let terms = terms_of(fleet, site.site, worlds.window());
                (simulate(&year, worlds, &terms), terms, year.routine.visits)
            };
            let in_force = customer.and_then(|customer| contract_on(customer, as_of)).is_some();
            let next = next.as_ref().map(|worlds| draw(worlds, &going_on));
            Drawn {
                id: site.site.id.clone(),
                twelve_months: expected_year(fleet, site, plan, habits, &twelve),
                rest: rest.as_ref().filter(|_| in_force).map(|worlds| draw(worlds, fleet).0),
                next_visits: next.as_ref().map_or(0.0, |next| next.2),
                next: next.map(|(outcome, terms, _)| (outcome, terms)),
            }
        })
        .collect();
    let trips = Trips::of(sites.iter().map(|site| site.site));
    let mut costs = FleetCosts { all_sites: all_sites(fleet, &drawn), ..FleetCosts::default() };
    costs.next_year = next_year(fleet, &drawn, as_of.year() + 1);
    costs.contracts = fleet
        .customers
        .iter()
        .filter_map(|(id, customer)| contract_year(fleet, (id, customer), sites, &drawn, &trips, as_of))
        .collect();
    costs.twelve_months = drawn.into_iter().map(|drawn| (drawn.id, drawn.twelve_months.0)).collect();
    costs
}

/// The coming twelve months of each site; `None` for all where no cost of labour is written.
pub fn twelve_months(
    fleet: &Fleet,
    sites: &[SiteFigures],
    plan: &Plan,
    lives: &FleetLives,
    as_of: NaiveDate,
) -> Vec<Option<ExpectedYear>> {
    if fleet.settings.labour.cost.as_ref().and_then(|cost| cost.on(as_of)).is_none() {
        return sites.iter().map(|_| None).collect();
    }
    let habits = Habits::of(fleet, sites.iter().map(|site| site.site));
    let seed = fleet.settings.seed.unwrap_or(1);
    let worlds = Worlds::new(lives, seed, Window::of_twelve_months(as_of), DRAWS);
    sites.par_iter().map(|site| Some(expected_year(fleet, site, plan, habits, &worlds).0)).collect()
}

/// What the coming twelve months of a site may cost, with the totals of the years drawn.
pub fn expected_year(
    fleet: &Fleet,
    site: &SiteFigures,
    plan: &Plan,
    habits: Habits,
    worlds: &Worlds,
) -> (ExpectedYear, Vec<i64>) {
    let year = site_year(fleet, site, plan, habits, worlds.window(), LookRounds::AsPlanned);
    let terms = Terms { callouts: CallOuts::Included, bears_lost_nights: false, index: 1.0, traced: None };
    let mut outcome = simulate(&year, worlds, &terms);
    let totals = std::mem::take(&mut outcome.totals[2]);
    let spread = Spread::of(totals.clone());
    let units = minor_units(&fleet.settings.currency.0);
    let means = outcome.means;
    let expected = ExpectedYear {
        range: CostRange::of(&spread, units),
        p50: spread.p50.value / units,
        p80: spread.p80.value / units,
        p95: spread.p95.value / units,
        failures: means.failures,
        planned: (means.planned_labour + means.planned_parts + means.planned_travel) / units,
        missing: year.missing,
    };
    (expected, totals)
}

/// What a site's contract says of a window: by the contract in force or, for a year to come, the one there is.
pub fn terms_of(fleet: &Fleet, site: &Site, window: Window) -> Terms {
    let customer = site.customer.as_ref().and_then(|id| fleet.customers.get(id));
    let contract = customer.and_then(|customer| customer.contract.as_ref());
    let words = contract.and_then(|contract| contract.callouts.as_ref());
    let years = (window.last.year() - window.as_of.year()).max(0);
    let index = contract.and_then(|contract| contract.index).map_or(0.0, |index| index.0);
    Terms {
        callouts: words.and_then(|words| CallOuts::read(&words.0)).unwrap_or(CallOuts::Charged),
        bears_lost_nights: contract.and_then(|contract| contract.bears_lost_nights).unwrap_or(false),
        index: (1.0 + index).powi(years),
        traced: None,
    }
}

/// Sums of totals, draw by draw.
pub fn together<'a>(totals: impl Iterator<Item = &'a [i64]>) -> Vec<i64> {
    let mut sums: Vec<i64> = Vec::new();
    for totals in totals {
        sums.resize(sums.len().max(totals.len()), 0);
        for (sum, total) in sums.iter_mut().zip(totals) {
            *sum += total;
        }
    }
    sums
}

fn all_sites(fleet: &Fleet, drawn: &[Drawn]) -> Option<CostRange> {
    let units = minor_units(&fleet.settings.currency.0);
    let spread = Spread::of(together(drawn.iter().map(|drawn| drawn.twelve_months.1.as_slice())));
    (!drawn.is_empty()).then(|| CostRange::of(&spread, units))
}

fn next_year(fleet: &Fleet, drawn: &[Drawn], year: i32) -> Vec<SiteScope> {
    let pricing = Pricing::of(fleet);
    let units = minor_units(&fleet.settings.currency.0);
    let mut rows = Vec::new();
    for drawn in drawn {
        let Some((outcome, terms)) = &drawn.next else { continue };
        for (scope, totals) in Scope::ALL.into_iter().zip(&outcome.totals) {
            let spread = Spread::of(totals.clone());
            let price = pricing.price(fleet, &spread);
            rows.push(SiteScope {
                site: drawn.id.clone(),
                year,
                scope,
                borne: outcome.means.borne(scope, terms).map(|amount| amount / units),
                failures: outcome.means.failures,
                tax: crate::costs::statement::tax(fleet, price),
                price,
                spread,
            });
        }
    }
    rows
}

fn contract_year(
    fleet: &Fleet,
    (id, customer): (&Id, &Customer),
    sites: &[SiteFigures],
    drawn: &[Drawn],
    trips: &Trips,
    as_of: NaiveDate,
) -> Option<ContractYear> {
    let contract = contract_on(customer, as_of)?;
    let scope = contract.scope?;
    let year = as_of.year();
    let of_customer: Vec<(&Site, &Drawn)> =
        sites.iter().map(|site| site.site).zip(drawn).filter(|(site, _)| site.customer.as_ref() == Some(id)).collect();
    if of_customer.is_empty() {
        return None;
    }
    let records: Vec<&Site> = of_customer.iter().map(|(site, _)| *site).collect();
    let place = Scope::ALL.iter().position(|one| *one == scope).unwrap_or_default();
    let rest = || of_customer.iter().filter_map(|(_, drawn)| drawn.rest.as_ref());
    let mut to_come = Means::default();
    for outcome in rest() {
        to_come.add(&outcome.means);
    }
    let terms = terms_of(fleet, records[0], Window::of_year(year, as_of)?);
    let spread = Spread::of(together(rest().map(|outcome| outcome.totals[place].as_slice())));
    let spent = spent(fleet, customer, &records, trips, year);
    let price = price_of(contract, year).map(|(price, basis)| (crate::costs::rounded(price, &currency(fleet)), basis));
    let units = minor_units(&fleet.settings.currency.0);
    let left = price.map(|(price, _)| price.to_f64().unwrap_or(0.0) * units - spent.total());
    let next = || of_customer.iter().filter_map(|(_, drawn)| drawn.next.as_ref());
    let next_spread = Spread::of(together(next().map(|(outcome, _)| outcome.totals[place].as_slice())));
    let mut next_means = Means::default();
    for (outcome, _) in next() {
        next_means.add(&outcome.means);
    }
    let borne = next_means.borne(scope, &terms);
    let planned = next_means.planned_labour
        + next_means.planned_travel
        + if scope == Scope::Labour { 0.0 } else { next_means.planned_parts };
    let next_borne = (borne, (borne.iter().sum::<f64>() - planned).max(0.0));
    let loses = left.map(|left| 1.0 - spread.share_at_most(left));
    Some(ContractYear {
        customer: id.clone(),
        sites: records.iter().map(|site| site.id.clone()).collect(),
        year,
        scope,
        price,
        why: why(&spent, &to_come, scope, &terms, loses),
        spent,
        result: left.map(|left| (left - spread.mean.value, left - spread.high, left - spread.low)),
        loses,
        to_come: (spread, to_come),
        next_price_error: Pricing::of(fleet).error(&next_spread) / units,
        next_borne,
        next_visits: of_customer.iter().map(|(_, drawn)| drawn.next_visits).sum(),
        next_price: Pricing::of(fleet).price(fleet, &next_spread),
        next_by_index: price_of(contract, year + 1).map(|(price, _)| crate::costs::rounded(price, &currency(fleet))),
    })
}

fn currency(fleet: &Fleet) -> String {
    fleet.settings.currency.0.clone()
}

/// What makes a contract what it is: the larger of planned work and failures.
fn why(spent: &Spent, to_come: &Means, scope: Scope, terms: &Terms, loses: Option<f64>) -> String {
    let [labour, parts, travel, beside] = to_come.borne(scope, terms);
    let planned_to_come = to_come.planned_labour
        + to_come.planned_travel
        + if scope == Scope::Labour { 0.0 } else { to_come.planned_parts };
    let failures = spent.failures + (labour + parts + travel + beside - planned_to_come).max(0.0);
    let planned = spent.planned + planned_to_come;
    let all = (failures + planned).max(1.0);
    let verdict = match loses {
        Some(chance) if chance > 0.5 => "loses money",
        Some(chance) if chance > 0.2 => "may lose money",
        Some(_) => "pays",
        None => "has no price for the year",
    };
    let share = |part: f64| format!("{:.0} %", 100.0 * part / all);
    let calls = match spent.callouts {
        0 => "no call-out so far".to_owned(),
        1 => "one call-out so far".to_owned(),
        calls => format!("{calls} call-outs so far"),
    };
    format!("{verdict}: planned work is {} of its cost, failures {} ({calls})", share(planned), share(failures))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantities::fleet_for_tests::load_with;

    const BOOK: &str = "format: 1\nparts:\n  lamp: {fits: uv_lamp, interval: {age: 30 mo}, wears_by: age, cost: 46.00, time: 20 min, failure: {cost: 130.00}}\n\
        tasks: {look: {fits: spa, every: 30 d, time: 60 min}}\n";
    const SITE: &str = "format: 1\ncustomer: harbour\ntravel: {time: 30 min, cost: 10.00}\nspas: {tub: {fitted: 2024-01-01, equipment: {uv: {kind: uv_lamp}}}}\n\
        log: [{date: 2026-03-02, why: planned, labour: 2 h, at: {tub: {done: [look]}}}, \
        {date: 2026-04-06, why: callout, labour: 1 h, at: {tub/uv: {renewed: {lamp: {because: failure, noticed: in_use}}}}}]\n";

    fn of<R>(price: &str, look: impl FnOnce(&FleetCosts) -> R) -> R {
        let fleet = "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\ntax: {name: VAT, rate: 0.20}\n\
            labour: {cost: 24.00, out_of_hours: 1.5}\nquote: {margin: 0.20, covers: 0.80}\n";
        let customers = format!(
            "format: 1\ncustomers: {{harbour: {{contract: {{scope: everything, visits: monthly, price: {{2026: {price}}}, index: 0.05}}}}}}\n"
        );
        let files =
            [("fleet.yaml", fleet), ("customers.yaml", &*customers), ("upkeep.yaml", BOOK), ("sites/home.yaml", SITE)];
        load_with(&files, "2026-06-30", |fleet, site, as_of| {
            let own = crate::site::site_figures(fleet, site.lives, site.site, site.spas, as_of);
            let sites = vec![own];
            let plan = crate::schedule::visits::plan(fleet, &sites, as_of, false);
            look(&outlook(fleet, &sites, &plan, site.lives, as_of))
        })
    }

    /// Spent by hand: 2 h at 24.00, the way of 12.00 and 10.00: 70.00; on Easter Monday, which the records do not call a
    /// holiday, 1 h, the way, a lamp 46.00 and 130.00 beside it: 222.00.
    #[test]
    fn a_contract_is_its_price_less_what_was_spent_and_is_to_come() {
        of("2000.00", |costs| {
            let contract = &costs.contracts[0];
            assert!((contract.spent.planned - 7000.0).abs() < 1e-6, "{:?}", contract.spent);
            assert!((contract.spent.failures - 22_200.0).abs() < 1e-6, "{:?}", contract.spent);
            let (result, low, high) = contract.result.unwrap();
            assert!((result - (200_000.0 - 29_200.0 - contract.to_come.0.mean.value)).abs() < 1e-6);
            assert!(low <= result && result <= high);
            assert!(contract.to_come.0.mean.value > 0.0 && contract.loses.unwrap() < 0.01);
            assert_eq!(contract.next_by_index.unwrap().to_string(), "2100.00");
        });
        of("200.00", |costs| {
            assert!(costs.contracts[0].loses.unwrap() > 0.99 && costs.contracts[0].why.starts_with("loses"));
        });
    }

    #[test]
    fn a_price_covers_the_share_of_years_with_its_margin_and_the_index() {
        of("2000.00", |costs| {
            assert_eq!(costs.next_year.len(), 3);
            for row in &costs.next_year {
                let price = row.price.to_f64().unwrap();
                assert!((price - row.spread.p80.value / 100.0 / 0.8).abs() < 0.011, "{price}");
                assert_eq!(row.tax.unwrap(), crate::costs::rounded(row.price / Decimal::from(5), "GBP"));
                let mean: f64 = row.borne.iter().sum();
                assert!((mean - row.spread.mean.value / 100.0).abs() < 0.02, "{mean}");
            }
            let year = costs.twelve_months.values().next().unwrap();
            let range = year.range;
            assert!(range.low <= year.p50 && year.p50 <= year.p80 && year.p80 <= range.high && range.high <= year.p95);
            assert!(year.planned < range.mean);
        });
    }
}
