//! What should a year be quoted at? The simulated cost of a site, or of a customer's sites together, under each scope; the
//! price that covers the chosen share of years with the margin; visits as a choice; and what another way of doing the year
//! would change, met by the same luck.
//!
//! The price covers the cost of the unit that is quoted: totals of sites are added draw by draw, and only then is a
//! quantile taken. The margin is a share of the price.

use std::str::FromStr;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use crate::address::Id;
use crate::costs::contract::{CallOuts, PriceBasis, price_of};
use crate::costs::outlook::{terms_of, together};
use crate::costs::simulation::{Driver, Means, Outcome, Terms, Worlds, simulate};
use crate::costs::spread::{Estimate, Spread};
use crate::costs::year::{Habits, SiteYear, minor_units, site_year};
use crate::costs::{minor_digits, rounded, statement};
use crate::records::Fleet;
use crate::records::customers::{Contract, Scope};
use crate::records::fleet::RenewBy;
use crate::records::forms::{Date, Text};
use crate::schedule::visits::Plan;
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
            margin: quote.margin.map_or(0.0, |share| share.0.min(0.95)),
        }
    }

    /// The price: the cost that the share of years stays below, over one less the margin, rounded.
    pub fn price(self, fleet: &Fleet, spread: &Spread) -> Decimal {
        let currency = &fleet.settings.currency.0;
        let minor = spread.quantile(self.covers).value / (1.0 - self.margin);
        let price = Decimal::try_from(minor.round()).unwrap_or_default();
        rounded(price * Decimal::new(1, minor_digits(currency)), currency)
    }
}

/// Another way of doing the year.
#[derive(Debug, Clone, PartialEq)]
pub enum WhatIf {
    /// Visits are promised so often.
    Visits(String),
    /// Parts are renewed by these limits.
    RenewBy(RenewBy),
    /// Every part of a kind is renewed at the first visit of the year.
    Renew(Id),
}

impl FromStr for WhatIf {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || {
            format!(
                "`{text}` is no way of doing the year; there are `visits=monthly` (or quarterly, half-yearly …), \
                 `renew_by=book`, `life` or `earliest`, and `renew=shaft_seal` (or another part of the book)"
            )
        };
        let (key, value) = text.split_once('=').ok_or_else(wrong)?;
        match (key.trim(), value.trim()) {
            ("visits", words) if crate::schedule::visits::work::months_between(words).is_some() => {
                Ok(Self::Visits(words.to_owned()))
            }
            ("renew_by", "book") => Ok(Self::RenewBy(RenewBy::Book)),
            ("renew_by", "life") => Ok(Self::RenewBy(RenewBy::Life)),
            ("renew_by", "earliest") => Ok(Self::RenewBy(RenewBy::Earliest)),
            ("renew", part) => Id::parse(part).map(Self::Renew).map_err(|_| wrong()),
            _ => Err(wrong()),
        }
    }
}

impl WhatIf {
    /// In words: "with visits monthly".
    pub fn words(&self) -> String {
        match self {
            Self::Visits(words) => format!("with visits {words}"),
            Self::RenewBy(RenewBy::Book) => "renewing by the book alone".to_owned(),
            Self::RenewBy(RenewBy::Life) => "renewing by the fleet's own lives where that pays".to_owned(),
            Self::RenewBy(RenewBy::Earliest) => {
                "renewing by the book or the fleet's own lives, whichever is first".to_owned()
            }
            Self::Renew(part) => {
                format!("renewing every {} at the first visit", crate::report::format::words(part.as_str()))
            }
        }
    }

    /// The fleet as it would be.
    pub fn applied(&self, fleet: &Fleet) -> Fleet {
        let mut fleet = fleet.clone();
        match self {
            Self::Visits(words) => {
                for customer in fleet.customers.values_mut() {
                    let contract = customer.contract.get_or_insert_with(Contract::default);
                    contract.visits = Some(Text(words.clone()));
                }
            }
            Self::RenewBy(by) => fleet.settings.renew_by = *by,
            Self::Renew(_) => {}
        }
        fleet
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
}

/// All a quote is made from.
pub struct Given<'a> {
    /// The year as it is to be.
    pub base: Scenario<'a>,
    /// Visits as a choice: the words, and the year with them.
    pub choices: Vec<(&'static str, Scenario<'a>)>,
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

/// A frequency of visits and its price.
#[derive(Debug, Clone)]
pub struct Choice {
    /// How often visits are promised.
    pub words: &'static str,
    /// How many visits the year then has, those the work asks for included.
    pub visits: f64,
    /// The price before tax, under the chosen scope.
    pub price: Decimal,
}

/// What another way of doing the year changes, under the chosen scope: each with the central 80 % of what it may be.
#[derive(Debug, Clone)]
pub struct Change {
    /// In words.
    pub words: String,
    /// The mean change of cost, minor units, with its Monte Carlo error.
    pub cost: Estimate,
    /// Its range over the years drawn.
    pub cost_range: (f64, f64),
    /// The mean change of failures, with its Monte Carlo error.
    pub failures: Estimate,
    /// Its range.
    pub failures_range: (f64, f64),
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
    /// Whether lost nights are borne.
    pub bears_lost_nights: bool,
    /// How much dearer the year is than the as-of day.
    pub index: f64,
    /// How many visits the year has.
    pub visits: f64,
    /// Visits as a choice.
    pub choices: Vec<Choice>,
    /// Other ways of doing the year.
    pub changes: Vec<Change>,
    /// Means of everything that happens, minor units.
    pub means: Means,
    /// What the spread comes from, of one site.
    pub drivers: Vec<Driver>,
    /// How many failures: the central 80 %.
    pub failures: (f64, f64),
    /// What is missing from the cost, in words.
    pub missing: Vec<String>,
    /// Work the plan found no day for.
    pub not_fitted: usize,
    /// The price of the running year.
    pub price_now: Option<(Decimal, PriceBasis)>,
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
    first: Option<Outcome>,
}

fn draw(given: &Given, scenario: &Scenario, sites: &[usize], traced: Scope) -> Drawn {
    let mut drawn = Drawn {
        totals: [const { Vec::new() }; 3],
        failures: Vec::new(),
        means: Means::default(),
        years: Vec::new(),
        first: None,
    };
    for index in sites {
        let site = &scenario.sites[*index];
        let window = given.worlds.window();
        let mut year = site_year(scenario.fleet, site, scenario.plan, given.habits, window);
        if let Some(part) = scenario.renew {
            renew_at_first_visit(&mut year, scenario.plan, part);
        }
        let terms = Terms { traced, ..terms_of(scenario.fleet, site.site, window) };
        let outcome = simulate(&year, given.worlds, &terms);
        for (sums, totals) in drawn.totals.iter_mut().zip(&outcome.totals) {
            *sums = together([sums.as_slice(), totals.as_slice()].into_iter());
        }
        drawn.failures.resize(outcome.failures.len(), 0);
        for (sum, failures) in drawn.failures.iter_mut().zip(&outcome.failures) {
            *sum += failures;
        }
        drawn.means.add(&outcome.means);
        drawn.years.push(year);
        drawn.first.get_or_insert(outcome);
    }
    drawn
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
pub fn quote(given: &Given, unit: Unit, sites: Vec<usize>) -> (Quote, Vec<i64>) {
    let fleet = given.base.fleet;
    let first = &given.base.sites[sites[0]];
    let window = given.worlds.window();
    let customer = first.site.customer.clone();
    let contract = customer.as_ref().and_then(|id| fleet.customers.get(id)).and_then(|c| c.contract.as_ref());
    let chosen = contract.and_then(|contract| contract.scope).unwrap_or(Scope::LabourAndParts);
    let place = Scope::ALL.iter().position(|scope| *scope == chosen).unwrap_or_default();
    let terms = Terms { traced: chosen, ..terms_of(fleet, first.site, window) };
    let base = draw(given, &given.base, &sites, chosen);
    let scopes = scope_quotes(fleet, &base.totals, &base.means, &terms);
    let failures = Spread::of(base.failures.iter().map(|failures| i64::from(*failures)).collect());
    let visits: f64 = base.years.iter().map(|year| year.routine.visits).sum();
    let choices = given
        .choices
        .iter()
        .map(|(words, scenario)| choice(given, words, scenario, &sites, &base, place, terms.index))
        .collect();
    let changes = given
        .what_ifs
        .iter()
        .map(|(what_if, scenario)| {
            let other = draw(given, scenario, &sites, chosen);
            change(fleet, what_if, &base, &other, place)
        })
        .collect();
    let mut missing: Vec<String> = base.years.iter().flat_map(|year| year.missing.iter().cloned()).collect();
    missing.sort();
    missing.dedup();
    let of_unit = |id: &Id| sites.iter().any(|index| given.base.sites[*index].site.id == *id);
    let single = sites.len() == 1;
    let quote = Quote {
        unit,
        chosen,
        callouts: terms.callouts,
        bears_lost_nights: terms.bears_lost_nights,
        index: terms.index,
        visits,
        choices,
        changes,
        means: base.means,
        drivers: base.first.filter(|_| single).map_or(Vec::new(), |outcome| outcome.drivers),
        failures: (failures.low, failures.high),
        missing,
        not_fitted: given.base.plan.not_fitted.iter().filter(|not| of_unit(&not.site)).count(),
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
    (quote, totals)
}

/// A frequency of visits: the planned visits are other ones, and with them each year's total moves by the same amount.
fn choice(
    given: &Given,
    words: &'static str,
    scenario: &Scenario,
    sites: &[usize],
    base: &Drawn,
    place: usize,
    index: f64,
) -> Choice {
    let window = given.worlds.window();
    let (mut visits, mut moves) = (0.0, 0.0);
    for (site, was) in sites.iter().zip(&base.years) {
        let year = site_year(scenario.fleet, &scenario.sites[*site], scenario.plan, given.habits, window);
        visits += year.routine.visits;
        moves += year.routine.labour + year.routine.travel - was.routine.labour - was.routine.travel;
    }
    let moves = (moves * index).round() as i64;
    let spread = Spread::of(base.totals[place].iter().map(|total| total + moves).collect());
    Choice { words, visits, price: Pricing::of(scenario.fleet).price(scenario.fleet, &spread) }
}

fn change(fleet: &Fleet, what_if: &WhatIf, base: &Drawn, other: &Drawn, place: usize) -> Change {
    let differences = |before: &mut dyn Iterator<Item = i64>, after: &mut dyn Iterator<Item = i64>| {
        Spread::of(before.zip(after).map(|(before, after)| after - before).collect())
    };
    let cost = differences(&mut base.totals[place].iter().copied(), &mut other.totals[place].iter().copied());
    let failures = differences(
        &mut base.failures.iter().map(|n| i64::from(*n)),
        &mut other.failures.iter().map(|n| i64::from(*n)),
    );
    let pricing = Pricing::of(fleet);
    let price = |drawn: &Drawn| pricing.price(fleet, &Spread::of(drawn.totals[place].clone()));
    Change {
        words: what_if.words(),
        cost: cost.mean,
        cost_range: (cost.low, cost.high),
        failures: failures.mean,
        failures_range: (failures.low, failures.high),
        price: price(other) - price(base),
    }
}

/// What several quotes come to together.
#[derive(Debug, Clone)]
pub struct Portfolio {
    /// How many.
    pub quotes: usize,
    /// What all of them may cost, drawn jointly; minor units.
    pub spread: Spread,
    /// What the single costs that are covered would add up to, which is not what is covered together.
    pub added_up: f64,
    /// The prices together.
    pub prices: Decimal,
    /// The chance that all together cost more than their prices.
    pub loses: f64,
}

/// Puts quotes together.
pub fn portfolio(fleet: &Fleet, quotes: &[(Quote, Vec<i64>)]) -> Portfolio {
    let covers = Pricing::of(fleet).covers;
    let spread = Spread::of(together(quotes.iter().map(|(_, totals)| totals.as_slice())));
    let chosen = |quote: &Quote| quote.scopes.iter().find(|of| of.scope == quote.chosen).cloned();
    let chosen: Vec<ScopeQuote> = quotes.iter().filter_map(|(quote, _)| chosen(quote)).collect();
    let prices: Decimal = chosen.iter().map(|of| of.price).sum();
    let in_minor = prices.to_f64().unwrap_or(0.0) * minor_units(&fleet.settings.currency.0);
    Portfolio {
        quotes: quotes.len(),
        added_up: chosen.iter().map(|of| of.spread.quantile(covers).value).sum(),
        loses: 1.0 - spread.share_at_most(in_minor),
        prices,
        spread,
    }
}
