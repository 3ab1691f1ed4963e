//! What should a year be quoted at? The simulated cost of a site, or of a customer's sites together, under each scope; the
//! price that covers the chosen share of years with the margin; visits as a choice; and what another way of doing the year
//! would change, met by the same luck.
//!
//! The price covers the cost of the unit that is quoted: totals of sites are added draw by draw, and only then is a
//! quantile taken. The margin is a share of the price.

mod choices;
mod portfolio;
mod what_if;

pub use choices::{Choice, Ways};
pub use portfolio::{Portfolio, portfolio};
pub use what_if::WhatIf;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use crate::address::{Address, Id};
use crate::costs::contract::{CallOuts, PriceBasis, price_of};
use crate::costs::outlook::{terms_of, together};
use crate::costs::prices::{Missing, minor_units};
use crate::costs::routine::{LookRounds, RoutineWork, months_promised};
use crate::costs::simulation::{Driver, Means, Terms, Trace, Worlds, simulate_unless};
use crate::costs::spread::{Estimate, Spread};
use crate::costs::year::{Habits, SiteYear, site_year};
use crate::costs::{minor_digits, rounded, statement};
use crate::interrupt::{Interrupted, Stop};
use crate::records::customers::Scope;
use crate::records::forms::Date;
use crate::records::{Fleet, Site};
use crate::schedule::visits::{NotFitted, Plan, Work};
use crate::site::SiteFigures;

/// The share of years a price covers where `quote.covers` is not written: assumed.
pub const ASSUMED_COVERS: f64 = 0.80;
/// Days for which a quote holds: common practice, no source.
pub const VALID_DAYS: u32 = 60;

/// How a cost becomes a price.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pricing {
    /// The share of years the price covers.
    pub covers: f64,
    /// The margin, a share of the price.
    pub margin: f64,
}

impl Pricing {
    /// As the fleet has written it; with no margin written there is none.
    pub fn of(fleet: &Fleet) -> Self {
        let quote = &fleet.settings.quote;
        Self {
            covers: quote.covers.map_or(ASSUMED_COVERS, |share| share.0),
            margin: quote.margin.map_or(0.0, |share| share.0),
        }
    }

    /// How far the price may be off because only so many years were drawn: one standard error, in minor units.
    pub fn error(self, spread: &Spread) -> f64 {
        spread.quantile(self.covers).error / (1.0 - self.margin)
    }

    /// The price: the cost that the share of years stays below, over one less the margin, rounded.
    pub fn price(self, fleet: &Fleet, spread: &Spread) -> Decimal {
        self.price_moved(fleet, spread, 0.0)
    }

    /// The price, were every year dearer by so many whole minor units.
    pub fn price_moved(self, fleet: &Fleet, spread: &Spread, by: f64) -> Decimal {
        let currency = &fleet.settings.currency.0;
        let minor = (spread.point(self.covers) + by.round()) / (1.0 - self.margin);
        let price = Decimal::try_from(minor.round()).unwrap_or_default();
        rounded(price * Decimal::new(1, minor_digits(currency)), currency)
    }
}

/// The fleet with every contract going on to the end of a year.
pub fn with_contracts_to(fleet: &Fleet, year: i32) -> Fleet {
    let mut fleet = fleet.clone();
    let Some(end) = chrono::NaiveDate::from_ymd_opt(year, 12, 31) else { return fleet };
    for contract in fleet.customers.values_mut().filter_map(|customer| customer.contract.as_mut()) {
        contract.to = contract.to.map(|to| Date(to.0.max(end)));
    }
    fleet
}

/// One way of doing the year, for all sites.
#[derive(Clone, Copy)]
pub struct Scenario<'a> {
    /// The fleet as it would be.
    pub fleet: &'a Fleet,
    /// Its sites, the same and in the same order in every scenario.
    pub sites: &'a [SiteFigures<'a>],
    /// Its visits.
    pub plan: &'a Plan,
    /// The kind of part that is renewed at the first visit.
    pub renew: Option<&'a Id>,
    /// How often a look round is promised; `None` = as the contract says.
    pub months: Option<i32>,
}

impl Scenario<'_> {
    fn look_rounds(&self, site: &SiteFigures) -> LookRounds {
        look_rounds(self.fleet, site.site, self.months)
    }
}

/// What a promise of a look round in so many months is for a site: as planned, where its contract says the same.
fn look_rounds(fleet: &Fleet, site: &Site, months: Option<i32>) -> LookRounds {
    match months {
        Some(months) if months_promised(fleet, site) != Some(months) => LookRounds::Every(months),
        _ => LookRounds::AsPlanned,
    }
}

/// All a quote is made from.
pub struct Given<'a> {
    /// The year as it is to be.
    pub base: Scenario<'a>,
    /// Visits as a choice: the words, and the months between two.
    pub choices: Vec<(&'static str, i32)>,
    /// Other ways of doing the year.
    pub what_ifs: Vec<(&'a WhatIf, Scenario<'a>)>,
    /// What is drawn once for all sites.
    pub worlds: &'a Worlds,
    /// How failures come to be known.
    pub habits: Habits,
}

/// What is quoted as one.
#[derive(Debug, Clone, PartialEq)]
pub enum Unit {
    /// A site.
    Site(Id),
    /// All sites of a customer.
    Customer(Id),
}

/// A scope's price.
#[derive(Debug, Clone)]
pub struct ScopeQuote {
    /// The scope.
    pub scope: Scope,
    /// What the year may cost, in minor units.
    pub spread: Spread,
    /// Means borne: work, parts, ways, what else failures cost; minor units.
    pub borne: [f64; 4],
    /// The price before tax.
    pub price: Decimal,
    /// The tax on it.
    pub tax: Option<Decimal>,
    /// Both.
    pub to_pay: Decimal,
    /// The chance that the year costs more than the price, so that it loses money.
    pub loses: f64,
}

/// What a year drawn has less or more of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Difference {
    /// The mean, with its Monte Carlo error.
    pub mean: Estimate,
    /// The low end of the range that holds so many of the years drawn, and the mean.
    pub low: f64,
    /// The high end.
    pub high: f64,
    /// Their share: as a rule 80 %.
    pub within: f64,
}

impl Difference {
    fn of(differences: impl Iterator<Item = i64>) -> Self {
        let spread = Spread::of(differences.collect());
        Self { mean: spread.mean, low: spread.low, high: spread.high, within: spread.within }
    }
}

/// What another way of doing the year changes, under the chosen scope.
#[derive(Debug, Clone)]
pub struct Change {
    /// In words.
    pub words: String,
    /// The cost, in minor units.
    pub cost: Difference,
    /// The number of failures.
    pub failures: Difference,
    /// The change of the price.
    pub price: Decimal,
}

/// A quote, with its inside.
#[derive(Debug, Clone)]
pub struct Quote {
    /// What is quoted.
    pub unit: Unit,
    /// The sites in it: where they stand among all.
    pub sites: Vec<usize>,
    /// The customer.
    pub customer: Option<Id>,
    /// The scopes, from the narrowest.
    pub scopes: Vec<ScopeQuote>,
    /// The contract's scope, else labour and parts.
    pub chosen: Scope,
    /// How call-outs are agreed, outside of everything.
    pub callouts: CallOuts,
    /// Whether lost nights are borne, under every scope.
    pub bears_lost_nights: bool,
    /// How much dearer the year is than the as-of day.
    pub index: f64,
    /// How many visits the year has.
    pub visits: f64,
    /// Their ways.
    pub ways: Ways,
    /// Visits as a choice.
    pub choices: Vec<Choice>,
    /// Other ways of doing the year.
    pub changes: Vec<Change>,
    /// Means of everything that happens, minor units.
    pub means: Means,
    /// What the spread of the chosen scope comes from.
    pub drivers: Vec<Driver>,
    /// How many failures: the low and the high end of the range, and the share of years in it.
    pub failures: (f64, f64, f64),
    /// What is missing from the cost, in words.
    pub missing: Vec<Missing>,
    /// What is done at routine visits: the site's place among all, and the work.
    pub work: Vec<(usize, RoutineWork)>,
    /// The planned renewals of the year: the site, where, which part, and how many the years drawn have on the average.
    pub renewals: Vec<(usize, Address, Id, f64)>,
    /// Work the plan found no day for, and which is not in the cost.
    pub not_fitted: Vec<NotFitted>,
    /// What a visit left and waits for a quotation of its own.
    pub waits_for_quote: Vec<NotFitted>,
    /// The price of the running year.
    pub price_now: Option<(Decimal, PriceBasis)>,
    /// What the contract states as the price of the year quoted, where that is a year to come.
    pub price_stated: Option<Decimal>,
}

/// The scopes and pricing of spreads.
fn scope_quotes(fleet: &Fleet, totals: &[Vec<i64>; 3], means: &Means, terms: &Terms) -> Vec<ScopeQuote> {
    let pricing = Pricing::of(fleet);
    let units = minor_units(&fleet.settings.currency.0);
    Scope::ALL
        .into_iter()
        .zip(totals)
        .map(|(scope, totals)| {
            let spread = Spread::of(totals.clone());
            let price = pricing.price(fleet, &spread);
            let tax = statement::tax(fleet, price);
            let loses = 1.0 - spread.share_at_most(price.to_f64().unwrap_or(0.0) * units);
            ScopeQuote {
                scope,
                borne: means.borne(scope, terms),
                price,
                tax,
                to_pay: price + tax.unwrap_or_default(),
                loses,
                spread,
            }
        })
        .collect()
}

/// The drawn years of a unit's sites.
struct Drawn {
    totals: [Vec<i64>; 3],
    failures: Vec<u32>,
    means: Means,
    years: Vec<SiteYear>,
    renewals: Vec<(usize, Address, Id, f64)>,
    trace: Trace,
}

fn draw(
    given: &Given,
    scenario: &Scenario,
    sites: &[usize],
    traced: Option<Scope>,
    stop: &Stop,
) -> Result<Drawn, Interrupted> {
    let mut drawn = Drawn {
        totals: [const { Vec::new() }; 3],
        failures: Vec::new(),
        means: Means::default(),
        years: Vec::new(),
        renewals: Vec::new(),
        trace: Trace::default(),
    };
    for index in sites {
        let site = &scenario.sites[*index];
        let window = given.worlds.window();
        let look_rounds = scenario.look_rounds(site);
        let mut year = site_year(scenario.fleet, site, scenario.plan, given.habits, window, look_rounds);
        if let Some(part) = scenario.renew {
            renew_at_first_visit(&mut year, scenario.plan, part);
        }
        let terms = Terms { traced, ..terms_of(scenario.fleet, site.site, window) };
        let outcome = simulate_unless(&year, given.worlds, &terms, stop)?;
        for (sums, totals) in drawn.totals.iter_mut().zip(outcome.totals) {
            *sums = if sums.is_empty() { totals } else { together([sums.as_slice(), &totals].into_iter()) };
        }
        drawn.failures.resize(outcome.failures.len(), 0);
        for (sum, failures) in drawn.failures.iter_mut().zip(&outcome.failures) {
            *sum += failures;
        }
        drawn.means.add(&outcome.means);
        drawn.years.push(year);
        drawn.renewals.extend(outcome.renewals.iter().map(|of| (*index, of.at.clone(), of.part.clone(), of.times)));
        drawn.trace.add(outcome.trace);
    }
    Ok(drawn)
}

/// Every part of a kind is renewed at the first visit of the window, or on its first day where there is none.
fn renew_at_first_visit(year: &mut SiteYear, plan: &Plan, part: &Id) {
    let window = year.window;
    let visit = plan.of_site(&year.id).map(|visit| visit.date).find(|day| (window.first..=window.last).contains(day));
    let days = crate::calendar::days_between(window.as_of, visit.unwrap_or(window.first)) as f64;
    for thing in &mut year.things {
        for (index, costs) in thing.costs.iter().enumerate() {
            if costs.kind == *part {
                for positions in &mut thing.levels {
                    positions[index].first = positions[index].first.min(days);
                }
            }
        }
    }
}

/// Quotes a unit; its totals under the chosen scope come with it, for sums over units.
///
/// # Errors
/// The run was asked to end.
pub fn quote(given: &Given, unit: Unit, sites: Vec<usize>, stop: &Stop) -> Result<(Quote, Vec<i64>), Interrupted> {
    let fleet = given.base.fleet;
    let first = &given.base.sites[sites[0]];
    let window = given.worlds.window();
    let customer = first.site.customer.clone();
    let contract = customer.as_ref().and_then(|id| fleet.customers.get(id)).and_then(|c| c.contract.as_ref());
    let chosen = contract.and_then(|contract| contract.scope).unwrap_or(Scope::LabourAndParts);
    let place = Scope::ALL.iter().position(|scope| *scope == chosen).unwrap_or_default();
    let terms = terms_of(fleet, first.site, window);
    let base = draw(given, &given.base, &sites, Some(chosen), stop)?;
    let scopes = scope_quotes(fleet, &base.totals, &base.means, &terms);
    let failures = Spread::of(base.failures.iter().map(|failures| i64::from(*failures)).collect());
    let visits: f64 = base.years.iter().map(|year| year.routine.visits).sum();
    let choices = choices::choices(given, contract, &sites, &base, &scopes[place].spread, terms.index);
    let changes = given
        .what_ifs
        .iter()
        .map(|(what_if, scenario)| {
            let other = draw(given, scenario, &sites, None, stop)?;
            Ok(change(fleet, what_if, &base, &other, place))
        })
        .collect::<Result<_, Interrupted>>()?;
    let mut missing: Vec<Missing> = base.years.iter().flat_map(|year| year.missing.iter().cloned()).collect();
    missing.sort();
    missing.dedup();
    // Looks round that are promised and found no day are owed and counted all the same.
    let of_unit = |not: &&NotFitted| {
        // What falls due outside of the year is no matter of its price.
        let in_year = not.due.is_none_or(|due| (window.first..=window.last).contains(&due));
        in_year
            && not.work != Work::ContractVisit
            && sites.iter().any(|index| given.base.sites[*index].site.id == not.site)
    };
    let (waits_for_quote, not_fitted) = given
        .base
        .plan
        .not_fitted
        .iter()
        .filter(of_unit)
        .cloned()
        .partition(|not| matches!(not.work, Work::Left(_)) && not.due.is_none());
    let quote = Quote {
        unit,
        chosen,
        callouts: terms.callouts,
        bears_lost_nights: terms.bears_lost_nights,
        index: terms.index,
        visits,
        ways: Ways::of(fleet, &base.years, terms.index, &scopes[place].spread),
        choices,
        changes,
        means: base.means,
        drivers: base.trace.drivers(&base.totals[place], given.worlds),
        failures: (failures.low, failures.high, failures.within),
        missing,
        work: sites
            .iter()
            .zip(&base.years)
            .flat_map(|(site, year)| year.routine.work.iter().map(|work| (*site, work.clone())))
            .collect(),
        renewals: base.renewals,
        not_fitted,
        waits_for_quote,
        price_stated: contract
            .filter(|_| window.is_whole_year())
            .and_then(|contract| price_of(contract, chrono::Datelike::year(&window.last)))
            .and_then(|(price, basis)| (basis == PriceBasis::Stated).then_some(price)),
        price_now: contract.and_then(|contract| price_of(contract, chrono::Datelike::year(&window.as_of))),
        customer,
        sites,
        scopes,
    };
    let [labour, parts, everything] = base.totals;
    let totals = match chosen {
        Scope::Labour => labour,
        Scope::LabourAndParts => parts,
        Scope::Everything => everything,
    };
    Ok((quote, totals))
}

fn change(fleet: &Fleet, what_if: &WhatIf, base: &Drawn, other: &Drawn, place: usize) -> Change {
    let pricing = Pricing::of(fleet);
    let price = |drawn: &Drawn| pricing.price(fleet, &Spread::of(drawn.totals[place].clone()));
    Change {
        words: what_if.words(),
        cost: Difference::of(base.totals[place].iter().zip(&other.totals[place]).map(|(before, after)| after - before)),
        failures: Difference::of(
            base.failures.iter().zip(&other.failures).map(|(before, after)| i64::from(*after) - i64::from(*before)),
        ),
        price: price(other) - price(base),
    }
}

#[cfg(test)]
mod tests;
