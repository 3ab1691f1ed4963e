//! What a customer's quote says, as finished text: the price, three scopes side by side, visits as a choice, what the year
//! holds, what is in and what is out, response, assumptions, validity, tax, and lines to sign.
//!
//! It is handed to whoever pays. Nothing of the side it was reckoned from may stand in it, neither amounts nor words: a
//! test scans the file for both. It takes prices and the planned work from the quote and nothing else.

mod conditions;
mod work;

use chrono::Datelike;
use rust_decimal::Decimal;
use schemars::JsonSchema;
use serde::Serialize;

use crate::calendar;
use crate::costs::contract::CallOuts;
use crate::costs::quote::{Given, Quote, ScopeQuote, Unit};
use crate::costs::year::Window;
use crate::records::Fleet;
use crate::records::customers::{Contract, Customer, Scope};
use crate::report::statement_view::{amount_of, document, tax_name};
use crate::report::{format, view};

/// The version of the shape below. It goes up with any change that an overriding template would notice.
pub const QUOTE_VIEW_VERSION: u32 = 2;

/// Everything in one quote.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct QuoteView {
    /// [`QUOTE_VIEW_VERSION`] at the time of writing.
    pub view_version: u32,
    /// Names, paper and language.
    pub document: view::Document,
    /// The title on the page.
    pub title: String,
    /// The customer's address.
    pub address: String,
    /// Heads that go by what is quoted.
    pub heads: Heads,
    /// The quote in a sentence or two.
    pub summary: String,
    /// The price of the chosen scope, its tax, and both.
    pub amounts: Vec<super::statement_view::Amount>,
    /// The heads of the scopes, the chosen one told.
    pub scopes: Vec<ScopeHead>,
    /// What each scope holds, a row each.
    pub rows: Vec<ScopeRow>,
    /// Under the table.
    pub scope_note: String,
    /// Visits as a choice.
    pub choices: Vec<ChoiceRow>,
    /// Under that table.
    pub choice_note: String,
    /// What the year holds.
    pub work: Vec<WorkRow>,
    /// Under that table.
    pub work_note: String,
    /// Stands where the plan holds nothing.
    pub no_work: String,
    /// What is in the price.
    pub included: Vec<String>,
    /// What is not.
    pub excluded: Vec<String>,
    /// Rates for what is not in the price.
    pub rates: Vec<String>,
    /// What the price rests on.
    pub assumptions: Vec<String>,
    /// Validity, year, tax, index.
    pub terms: Vec<String>,
    /// Cautions that go with any work on a spa.
    pub cautions: Vec<String>,
    /// Lines to sign: for what each is.
    pub sign: Vec<String>,
}

/// The head of a scope.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct ScopeHead {
    /// Its name.
    pub name: String,
    /// Whether it is the one quoted.
    pub chosen: bool,
}

/// A row of the scopes side by side.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct ScopeRow {
    /// Of what.
    pub what: String,
    /// What stands under each scope.
    pub cells: Vec<String>,
    /// Whether it is a sum.
    pub strong: bool,
}

/// A frequency of visits.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct ChoiceRow {
    /// How often they are promised.
    pub promised: String,
    /// How many the year then has.
    pub visits: String,
    /// The price before tax.
    pub price: String,
}

/// Work of the year.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct WorkRow {
    /// The site.
    pub site: String,
    /// What.
    pub what: String,
    /// Where.
    pub places: String,
    /// How often in the year, all places together.
    pub times: String,
}

/// Words that are other ones where a quote is for what is left of the running year.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Heads {
    /// Over prices.
    pub price: String,
    /// Over numbers of visits.
    pub visits: String,
    /// Over the work.
    pub holds: String,
    /// Over how often work is done.
    pub times: String,
}

impl Heads {
    fn of(window: Window) -> Self {
        let words = if window.is_whole_year() {
            ["Price for the year", "Visits in the year", "What the year holds", "Times a year"]
        } else {
            return Self {
                price: format!("Price for {}", period(window)),
                visits: "Visits in that time".to_owned(),
                holds: "What that time holds".to_owned(),
                times: "Times".to_owned(),
            };
        };
        let [price, visits, holds, times] = words.map(str::to_owned);
        Self { price, visits, holds, times }
    }
}

/// What is quoted: "2027", or "1 November to 31 December 2026" of a year that has begun.
pub fn period(window: Window) -> String {
    let last = calendar::in_words(window.last);
    if window.is_whole_year() {
        window.last.year().to_string()
    } else if window.first == window.last {
        last
    } else {
        let first = calendar::in_words(window.first);
        format!("{} to {last}", first.strip_suffix(&format!(" {}", window.last.year())).unwrap_or(&first))
    }
}

/// The customer of a quote, and its contract.
fn customer_of<'a>(fleet: &'a Fleet, quote: &Quote) -> (Option<&'a Customer>, Option<&'a Contract>) {
    let customer = quote.customer.as_ref().and_then(|id| fleet.customers.get(id));
    (customer, customer.and_then(|customer| customer.contract.as_ref()))
}

/// The name of what is quoted: a site's, or a customer's.
pub fn unit_name(given: &Given, quote: &Quote) -> String {
    match &quote.unit {
        Unit::Site(_) => given.base.sites[quote.sites[0]].site.name.clone(),
        Unit::Customer(id) => {
            let customer = given.base.fleet.customers.get(id).and_then(|customer| customer.name.as_ref());
            customer.map_or_else(|| id.to_string(), |name| name.0.clone())
        }
    }
}

/// The names of the sites quoted.
fn site_names(given: &Given, quote: &Quote) -> Vec<String> {
    quote.sites.iter().map(|index| given.base.sites[*index].site.name.clone()).collect()
}

/// The scope that is quoted.
pub fn chosen(quote: &Quote) -> Option<&ScopeQuote> {
    quote.scopes.iter().find(|of| of.scope == quote.chosen)
}

/// A customer's quote.
pub fn view(given: &Given, quote: &Quote) -> QuoteView {
    let fleet = given.base.fleet;
    let window = given.worlds.window();
    let (period, heads) = (period(window), Heads::of(window));
    let (customer, contract) = customer_of(fleet, quote);
    let name = customer.and_then(|customer| customer.name.as_ref());
    let name = name.map_or_else(|| unit_name(given, quote), |name| name.0.clone());
    let sites = site_names(given, quote).join(", ");
    let title = format!("Quotation for {period}: {sites}");
    let price = chosen(quote).map_or(Decimal::ZERO, |of| of.price);
    let mut amounts =
        vec![super::statement_view::Amount { what: heads.price.clone(), amount: amount_of(fleet, price) }];
    if let (Some(tax), Some(set)) = (chosen(quote).and_then(|of| of.tax), &fleet.settings.tax) {
        amounts.push(super::statement_view::Amount { what: tax_name(set), amount: amount_of(fleet, tax) });
    }
    let to_pay = chosen(quote).map_or(Decimal::ZERO, |of| of.to_pay);
    amounts.push(super::statement_view::Amount { what: "Price with tax".to_owned(), amount: amount_of(fleet, to_pay) });
    let work = work::rows(given, quote);
    let visits = quote.visits.round();
    QuoteView {
        view_version: QUOTE_VIEW_VERSION,
        document: document(
            fleet,
            &name,
            &format!("Quotation for {period}"),
            calendar::in_words(window.as_of),
            window.as_of,
        ),
        address: customer.and_then(|c| c.address.as_ref()).map_or_else(String::new, |address| address.0.clone()),
        summary: format!(
            "For the care of {} {} we quote {} before tax for {}. {} {} planned {}.",
            spas(given, quote),
            if window.is_whole_year() { format!("in {period}") } else { format!("from {period}") },
            amount_of(fleet, price),
            scope_in_words(quote.chosen),
            if window.is_whole_year() { "The year has" } else { "That time has" },
            format::number(visits, 0),
            if visits == 1.0 { "visit" } else { "visits" }
        ),
        amounts,
        scopes: quote
            .scopes
            .iter()
            .map(|of| ScopeHead { name: of.scope.words().to_owned(), chosen: of.scope == quote.chosen })
            .collect(),
        rows: scope_rows(fleet, quote, &heads.price),
        scope_note: format!(
            "Prices in {} for {}{period}. What is charged is {}, parts at the price list.",
            format::currency_sign(&fleet.settings.currency.0),
            if window.is_whole_year() { "the calendar year " } else { "" },
            conditions::charged(fleet, given)
        ),
        choices: choices(quote)
            .iter()
            .map(|choice| ChoiceRow {
                promised: format!(
                    "{}{}",
                    format::sentence(&choice.words),
                    if choice.as_quoted { ", as quoted" } else { "" }
                ),
                visits: format::number(choice.visits.round(), 0),
                price: format::money(choice.price, &fleet.settings.currency.0),
            })
            .collect(),
        choice_note: format!("For {}, before tax. {}", scope_in_words(quote.chosen), work::choice_note(quote)),
        work_note: work_note(quote),
        no_work: "The plan holds no work yet: there are no intervals and no dates of fitting in the records."
            .to_owned(),
        work,
        included: conditions::included(quote, window),
        excluded: conditions::excluded(fleet, given, quote),
        rates: conditions::rates(fleet, given),
        assumptions: conditions::assumptions(given, quote),
        terms: conditions::terms(fleet, given, quote, contract),
        cautions: conditions::cautions(),
        sign: vec![format!("Accepted for {name}"), "For us".to_owned()],
        title,
        heads,
    }
}

/// "the two spas at Alder Lodge".
fn spas(given: &Given, quote: &Quote) -> String {
    let count: usize = quote.sites.iter().map(|index| given.base.sites[*index].site.spas.len()).sum();
    let spas = match count {
        0 => "the site".to_owned(),
        1 => "the spa".to_owned(),
        2 => "the two spas".to_owned(),
        3 => "the three spas".to_owned(),
        many => format!("the {many} spas"),
    };
    format!("{spas} at {}", site_names(given, quote).join(", "))
}

fn scope_in_words(scope: Scope) -> &'static str {
    match scope {
        Scope::Labour => "labour",
        Scope::LabourAndParts => "labour and parts",
        Scope::Everything => "everything, failures included",
    }
}

/// How often renewals are told, where there are any.
fn work_note(quote: &Quote) -> String {
    if quote.renewals.is_empty() {
        return String::new();
    }
    "Parts are renewed as they fall due by their dates and running hours, so that their numbers are averages; a part renewed \
     after a fault is not due again at once."
        .to_owned()
}

/// The choices; none where they make no difference.
fn choices(quote: &Quote) -> &[crate::costs::quote::Choice] {
    let all = quote.choices.as_slice();
    if all.windows(2).all(|pair| pair[0].price == pair[1].price) { &[] } else { all }
}

fn scope_rows(fleet: &Fleet, quote: &Quote, price: &str) -> Vec<ScopeRow> {
    let currency = &fleet.settings.currency.0;
    let yes = "included".to_owned();
    let no = "charged".to_owned();
    let callouts = match quote.callouts {
        CallOuts::Included => yes.clone(),
        CallOuts::Charged | CallOuts::Some(0) => no.clone(),
        CallOuts::Some(1) => "one included".to_owned(),
        CallOuts::Some(number) => format!("{number} included"),
    };
    let row = |what: &str, cells: [&str; 3]| ScopeRow {
        what: what.to_owned(),
        cells: cells.map(str::to_owned).to_vec(),
        strong: false,
    };
    let nights = if quote.bears_lost_nights { "included" } else { "not included" };
    let mut rows = vec![
        row("Work and way of planned visits", [&yes, &yes, &yes]),
        row("Parts renewed as planned", [&no, &yes, &yes]),
        row("Work on faults found at visits", [&yes, &yes, &yes]),
        row("Work and way of call-outs", [&callouts, &callouts, &yes]),
        row("Parts that failed, and what goes with them", [&no, &no, &yes]),
        row("Guest nights lost to a fault", [nights; 3]),
    ];
    let amounts = |pick: fn(&ScopeQuote) -> Decimal| -> Vec<String> {
        quote.scopes.iter().map(|of| format::money(pick(of), currency)).collect()
    };
    rows.push(ScopeRow {
        what: format!("{price}, {}", format::currency_sign(currency)),
        cells: amounts(|of| of.price),
        strong: true,
    });
    if let Some(tax) = &fleet.settings.tax {
        rows.push(ScopeRow { what: tax_name(tax), cells: amounts(|of| of.tax.unwrap_or_default()), strong: false });
        rows.push(ScopeRow { what: "Price with tax".to_owned(), cells: amounts(|of| of.to_pay), strong: true });
    }
    rows
}
