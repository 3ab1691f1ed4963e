//! What the inside sheet of a quote says, for the office: what the year may cost under each scope with the error of the
//! drawing, the price and the chance that it does not cover, what the cost is made of, where its spread comes from, how the
//! running contract stands, and what other ways of doing the year would change.
//!
//! It is a file of its own, never handed out. It holds no raw numbers; every sentence is computed here.

mod notes;
mod words;

pub use words::{chance_in_words, share_in_words};

use rust_decimal::Decimal;
use schemars::JsonSchema;
use serde::Serialize;

use crate::costs::outlook::ContractYear;
use crate::costs::prices::minor_units;
use crate::costs::quote::{Change, Given, Portfolio, Pricing, Quote, Unit};
use crate::costs::spread::Estimate;
use crate::costs::year::Window;
use crate::records::Fleet;
use crate::report::quote_view::{chosen, period, unit_name};
use crate::report::statement_view::{amount_of, document};
use crate::report::{format, view};
use words::{error_in_words, is_usual, range, signed, with_error};

/// The version of the shape below. It goes up with any change that an overriding template would notice.
pub const INSIDE_VIEW_VERSION: u32 = 1;

/// Everything on one inside sheet.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct InsideView {
    /// [`INSIDE_VIEW_VERSION`] at the time of writing.
    pub view_version: u32,
    /// Names, paper and language.
    pub document: view::Document,
    /// The title on the page.
    pub title: String,
    /// That it is not to be handed out.
    pub warning: String,
    /// The currency, for heads.
    pub currency: String,
    /// "4 years in 5 it costs less than …".
    pub lead: String,
    /// The price, and the chance that it does not cover.
    pub rest: String,
    /// The spread of the quoted scope's cost, where it can be drawn.
    pub chart: Option<view::Chart>,
    /// The heads beside the scope.
    pub scope_heads: Vec<Head>,
    /// The scopes.
    pub scopes: Vec<ScopeRow>,
    /// Under the table.
    pub scope_note: String,
    /// What the cost is made of.
    pub made_of: Vec<MadeOf>,
    /// Under the table.
    pub made_note: String,
    /// What the drivers are.
    pub driver_head: String,
    /// Where the spread comes from.
    pub drivers: Vec<DriverRow>,
    /// Under the table; where nothing is traced, why.
    pub driver_note: String,
    /// How the running contract stands.
    pub contract: Vec<String>,
    /// Other ways of doing the year.
    pub changes: Vec<ChangeRow>,
    /// Under the table.
    pub change_note: String,
    /// All quotes of the run together.
    pub together: Vec<String>,
    /// What is missing and what is assumed.
    pub missing: Vec<String>,
    /// Methods in two lines each.
    pub methods: Vec<String>,
}

/// A head of a column.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Head {
    /// It.
    pub head: String,
    /// Its second line.
    pub unit: String,
}

/// A scope.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct ScopeRow {
    /// Its name.
    pub name: String,
    /// Whether it is the one quoted.
    pub chosen: bool,
    /// Beside each head.
    pub cells: Vec<String>,
}

/// A share of the cost.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct MadeOf {
    /// Of what.
    pub what: String,
    /// The mean.
    pub amount: String,
}

/// A cause of the spread.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct DriverRow {
    /// Of what.
    pub what: String,
    /// Its share.
    pub share: String,
    /// What of it comes of lives not known better.
    pub not_known: String,
}

/// Another way of doing the year.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct ChangeRow {
    /// In words.
    pub way: String,
    /// The mean change of cost with its error.
    pub cost: String,
    /// Its range.
    pub cost_range: String,
    /// The mean change of failures with its error.
    pub failures: String,
    /// Its range.
    pub failures_range: String,
    /// The change of the price.
    pub price: String,
}

fn whole(fleet: &Fleet, minor: f64) -> String {
    format::number(minor / minor_units(&fleet.settings.currency.0), 0)
}

fn in_currency(fleet: &Fleet, minor: f64) -> String {
    format!("{}\u{a0}{}", format::currency_sign(&fleet.settings.currency.0), whole(fleet, minor))
}

/// The error of an amount in minor units.
fn error_of(fleet: &Fleet, error: f64) -> String {
    error_in_words(error / minor_units(&fleet.settings.currency.0), 0, 2)
}

/// The inside sheet.
pub fn view(
    given: &Given,
    quote: &Quote,
    contract: Option<&ContractYear>,
    portfolio: Option<&Portfolio>,
) -> InsideView {
    let fleet = given.base.fleet;
    let window = given.worlds.window();
    let period = period(window);
    let name = unit_name(given, quote);
    let title = format!("Inside of the quotation for {period}: {name}");
    let currency = format::currency_sign(&fleet.settings.currency.0).to_owned();
    InsideView {
        view_version: INSIDE_VIEW_VERSION,
        document: document(fleet, &name, &format!("Inside of the quotation for {period}"), String::new(), window.as_of),
        title,
        warning: "For the office only: not to be handed out".to_owned(),
        lead: lead(fleet, quote),
        rest: rest(given, quote),
        chart: chart(fleet, quote, &name).map(|chart| crate::report::site::in_view(&chart, "What may the year cost?")),
        scope_heads: scope_heads(&currency, Pricing::of(fleet).covers),
        scopes: scopes(fleet, quote),
        scope_note: format!(
            "± is the standard error of drawing {} years and no more; what is not known of the lives of parts is in the cost \
             itself. Half the years cost less than the 50 % point.",
            format::number(given.worlds.draws as f64, 0)
        ),
        made_of: made_of(fleet, quote),
        made_note: format!(
            "{} failures are expected, {} to {} {}; {} call-outs.",
            format::number(quote.means.failures, 1),
            format::number(quote.failures.0, 0),
            format::number(quote.failures.1, 0),
            format::in_years(quote.failures.2),
            format::number(quote.means.callouts, 1)
        ),
        driver_head: "Failures of".to_owned(),
        drivers: drivers(quote),
        driver_note: driver_note(quote),
        contract: contract.map_or(Vec::new(), |contract| notes::contract_lines(given, quote, contract)),
        changes: quote.changes.iter().map(|change| change_row(fleet, change)).collect(),
        change_note:
            "Against the year as quoted, with the same luck; minus is less. ± is the error of the drawing. Where 4 \
                      years in 5 do not hold the mean, since something happens seldom, the range is of more years."
                .to_owned(),
        together: portfolio.map_or(Vec::new(), |all| vec![together(fleet, all)]),
        missing: notes::missing(fleet, given, quote),
        methods: notes::methods(fleet, given, quote),
        currency,
    }
}

/// The spread of the quoted scope's cost.
pub fn chart(fleet: &Fleet, quote: &Quote, name: &str) -> Option<crate::charts::Chart> {
    let of = chosen(quote)?;
    let units = minor_units(&fleet.settings.currency.0);
    let covers = Pricing::of(fleet).covers;
    crate::charts::cost(&crate::charts::CostInput {
        name: "cost".to_owned(),
        subject: name.to_owned(),
        currency: format::currency_sign(&fleet.settings.currency.0).to_owned(),
        totals: of.spread.totals().iter().map(|total| *total as f64 / units).collect(),
        covered: of.spread.quantile(covers).value / units,
        share: share_in_words(covers),
        price: rust_decimal::prelude::ToPrimitive::to_f64(&of.price).unwrap_or(0.0),
    })
    .ok()
}

fn lead(fleet: &Fleet, quote: &Quote) -> String {
    let Some(of) = chosen(quote) else { return String::new() };
    let covers = Pricing::of(fleet).covers;
    let share = share_in_words(covers);
    format!(
        "{share} it costs less than {}: {} on the average, less than {} in half the years, less than {} in 19 of 20.",
        in_currency(fleet, of.spread.quantile(covers).value),
        in_currency(fleet, of.spread.mean.value),
        in_currency(fleet, of.spread.p50.value),
        in_currency(fleet, of.spread.p95.value),
    )
}

fn rest(given: &Given, quote: &Quote) -> String {
    let fleet = given.base.fleet;
    let Some(of) = chosen(quote) else { return String::new() };
    let pricing = Pricing::of(fleet);
    let margin = if fleet.settings.quote.margin.is_some() {
        format!("a margin of {} % of the price", format::number(pricing.margin * 100.0, 0))
    } else {
        "no margin, since none is written (quote.margin in fleet.yaml)".to_owned()
    };
    let now = beside_the_contract(given, quote, of.price);
    format!(
        "The price of {} covers that with {margin}; the chance that the year costs more than the price is {}.{now}",
        amount_of(fleet, of.price),
        chance_in_words(of.loses)
    )
}

/// The price beside those of the contract: of the running year, and what it states of the year quoted.
fn beside_the_contract(given: &Given, quote: &Quote, quoted: Decimal) -> String {
    let fleet = given.base.fleet;
    let window = given.worlds.window();
    let change = |price: Decimal| {
        let change = (quoted - price) / price * Decimal::ONE_HUNDRED;
        signed(format::number(rust_decimal::prelude::ToPrimitive::to_f64(&change).unwrap_or(0.0), 0))
    };
    let now = quote.price_now.map(|(price, _)| price).filter(|price| *price > Decimal::ZERO);
    let stated = quote.price_stated.filter(|price| *price > Decimal::ZERO);
    let of_customer = |site: &&crate::site::SiteFigures| site.site.customer == quote.customer;
    let others = given.base.sites.iter().filter(of_customer).count() > quote.sites.len();
    if others {
        let now = now.map_or(String::new(), |price| {
            format!(" This year's price of the contract, which has other sites too, is {}.", amount_of(fleet, price))
        });
        let stated = stated.map_or(String::new(), |price| {
            format!(" For {}, of all its sites, it states {}.", period(window), amount_of(fleet, price))
        });
        return now + &stated;
    }
    let stated = stated.map_or(String::new(), |price| {
        let (year, stated) = (period(window), amount_of(fleet, price));
        format!(" For {year} the contract states {stated}: the price quoted is {}\u{a0}% against it.", change(price))
    });
    let Some(price) = now else { return stated };
    if !window.is_whole_year() {
        return format!(
            " The contract's price of {} is for the whole of this year, and is not held against a part of it.",
            amount_of(fleet, price)
        );
    }
    format!(" This year's price is {}: {}\u{a0}%.{stated}", amount_of(fleet, price), change(price))
}

fn scope_heads(currency: &str, covers: f64) -> Vec<Head> {
    let head = |head: &str, unit: &str| Head { head: head.to_owned(), unit: unit.to_owned() };
    vec![
        head("Mean", currency),
        head("50 %", currency),
        head("80 %", currency),
        head("95 %", currency),
        head("Price", &format!("covers {:.0} %", covers * 100.0)),
        head("More than the price", "chance"),
    ]
}

fn scopes(fleet: &Fleet, quote: &Quote) -> Vec<ScopeRow> {
    let estimate = |estimate: Estimate| with_error(&whole(fleet, estimate.value), &error_of(fleet, estimate.error));
    quote
        .scopes
        .iter()
        .map(|of| ScopeRow {
            name: of.scope.words().to_owned(),
            chosen: of.scope == quote.chosen,
            cells: vec![
                estimate(of.spread.mean),
                estimate(of.spread.p50),
                estimate(of.spread.p80),
                estimate(of.spread.p95),
                format::money(of.price, &fleet.settings.currency.0),
                chance_in_words(of.loses),
            ],
        })
        .collect()
}

fn made_of(fleet: &Fleet, quote: &Quote) -> Vec<MadeOf> {
    let means = &quote.means;
    [
        ("Work of planned visits and renewals", means.planned_labour),
        ("Parts of planned renewals", means.planned_parts),
        ("Ways of planned visits", means.planned_travel),
        ("Work on failures found at visits", means.found_labour),
        ("Work on call-outs", means.callout_labour),
        ("Ways of call-outs", means.callout_travel),
        ("Parts that failed", means.failed_parts),
        ("What failures cost beside the part", means.damage),
        ("Nights lost, where the worth of a night is written", means.nights),
    ]
    .into_iter()
    .map(|(what, amount)| MadeOf { what: what.to_owned(), amount: whole(fleet, amount) })
    .collect()
}

/// Under the drivers; where there are none, why.
fn driver_note(quote: &Quote) -> String {
    if drivers(quote).is_empty() {
        return "Failures move the quoted scope's total in none of the years drawn: what it has of spread comes of when parts \
                fall due."
            .to_owned();
    }
    "Shares of the variance of the quoted scope's total. Unknown life: how far the year's mean moves with what the lives of the \
     kind may be; records of more failures would narrow it. The rest is luck."
        .to_owned()
}

fn drivers(quote: &Quote) -> Vec<DriverRow> {
    let percent = |share: f64| if share < 0.005 { "–".to_owned() } else { format!("{:.0} %", share * 100.0) };
    quote
        .drivers
        .iter()
        .filter(|driver| driver.share >= 0.01)
        .take(8)
        .map(|driver| DriverRow {
            what: driver.what.as_ref().map_or_else(
                || "What no wear part explains: the pump itself".to_owned(),
                |id| format::sentence(&format::words(id.as_str())),
            ),
            share: percent(driver.share),
            not_known: percent(driver.not_known.min(driver.share)),
        })
        .collect()
}

fn change_row(fleet: &Fleet, change: &Change) -> ChangeRow {
    let cost = |minor: f64| signed(whole(fleet, minor));
    let failures = |number: f64| signed(format::number(number, 0));
    ChangeRow {
        way: format::sentence(&change.words),
        cost: with_error(&cost(change.cost.mean.value), &error_of(fleet, change.cost.mean.error)),
        cost_range: range(cost(change.cost.low), &cost(change.cost.high), change.cost.within),
        failures: with_error(
            &signed(format::number(change.failures.mean.value, 3)),
            &error_in_words(change.failures.mean.error, 3, 3),
        ),
        failures_range: range(failures(change.failures.low), &failures(change.failures.high), change.failures.within),
        price: signed_money(fleet, change.price),
    }
}

fn signed_money(fleet: &Fleet, amount: Decimal) -> String {
    let minor = rust_decimal::prelude::ToPrimitive::to_f64(&amount).unwrap_or(0.0);
    signed(whole(fleet, minor * minor_units(&fleet.settings.currency.0)))
}

/// All quotes of a run together, in a sentence or two.
pub fn together(fleet: &Fleet, all: &Portfolio) -> String {
    let covers = Pricing::of(fleet).covers;
    format!(
        "All {} quotes together: {} they cost less than {}, drawn jointly, and the price that covers that is {}; the single costs \
         that are covered would add up to {}, which is not the same. The single prices come to {}; the chance that together \
         they cost more than those is {}.",
        all.quotes,
        share_in_words(covers),
        in_currency(fleet, all.spread.quantile(covers).value),
        amount_of(fleet, all.price),
        in_currency(fleet, all.added_up),
        amount_of(fleet, all.prices),
        chance_in_words(all.loses)
    )
}

/// A quote for the terminal.
pub fn in_short(fleet: &Fleet, quote: &Quote, window: Window) -> Vec<String> {
    let name = match &quote.unit {
        Unit::Site(id) | Unit::Customer(id) => id,
    };
    let Some(of) = chosen(quote) else { return Vec::new() };
    let covers = Pricing::of(fleet).covers;
    let mut lines = vec![format!(
        "{name} {}, {}: price {}; {} it costs less than {} ± {}",
        period(window),
        of.scope.words().to_lowercase(),
        amount_of(fleet, of.price),
        share_in_words(covers),
        in_currency(fleet, of.spread.quantile(covers).value),
        error_of(fleet, of.spread.quantile(covers).error)
    )];
    for change in &quote.changes {
        let row = change_row(fleet, change);
        let usual = |within: f64| if is_usual(within) { " in 4 years of 5" } else { "" };
        lines.push(format!(
            "  {}: cost {} ({}{}), failures {} ({}{}), price {}",
            change.words,
            row.cost,
            row.cost_range,
            usual(change.cost.within),
            row.failures,
            row.failures_range,
            usual(change.failures.within),
            row.price
        ));
    }
    lines
}
