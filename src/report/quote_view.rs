//! What a customer's quote says, as finished text: the price, three scopes side by side, visits as a choice, what the year
//! holds, what is in and what is out, response, assumptions, validity, tax, and lines to sign.
//!
//! It is handed to whoever pays. Nothing of the side it was reckoned from may stand in it, neither amounts nor words: a
//! test scans the file for both. It takes prices and the planned work from the quote and nothing else.

use std::collections::BTreeMap;

use chrono::Datelike;
use rust_decimal::Decimal;
use schemars::JsonSchema;
use serde::Serialize;

use crate::calendar::{self, plus_days};
use crate::costs::contract::{CallOuts, WORKING_DAY};
use crate::costs::quote::{Given, Quote, ScopeQuote, Unit, VALID_DAYS};
use crate::records::Fleet;
use crate::records::customers::{Contract, Customer, Scope};
use crate::report::statement_view::{amount_of, document, tax_name};
use crate::report::{format, view};
use crate::schedule::visits::Work;

/// The version of the shape below. It goes up with any change that an overriding template would notice.
pub const QUOTE_VIEW_VERSION: u32 = 1;

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
    let year = window.last.year();
    let (customer, contract) = customer_of(fleet, quote);
    let name = customer.and_then(|customer| customer.name.as_ref());
    let name = name.map_or_else(|| unit_name(given, quote), |name| name.0.clone());
    let sites = site_names(given, quote).join(", ");
    let title = format!("Quotation for {year}: {sites}");
    let price = chosen(quote).map_or(Decimal::ZERO, |of| of.price);
    let mut amounts =
        vec![super::statement_view::Amount { what: "Price for the year".to_owned(), amount: amount_of(fleet, price) }];
    if let (Some(tax), Some(set)) = (chosen(quote).and_then(|of| of.tax), &fleet.settings.tax) {
        amounts.push(super::statement_view::Amount { what: tax_name(set), amount: amount_of(fleet, tax) });
    }
    let to_pay = chosen(quote).map_or(Decimal::ZERO, |of| of.to_pay);
    amounts.push(super::statement_view::Amount { what: "Price with tax".to_owned(), amount: amount_of(fleet, to_pay) });
    let work = work_rows(given, quote);
    let visits = quote.visits.round();
    QuoteView {
        view_version: QUOTE_VIEW_VERSION,
        document: document(
            fleet,
            &name,
            &format!("Quotation for {year}"),
            calendar::in_words(window.as_of),
            window.as_of,
        ),
        address: customer.and_then(|c| c.address.as_ref()).map_or_else(String::new, |address| address.0.clone()),
        summary: format!(
            "For the care of {} in {year} we quote {} before tax for {}. The year has {} planned {}.",
            spas(given, quote),
            amount_of(fleet, price),
            scope_in_words(quote.chosen),
            format::number(visits, 0),
            if visits == 1.0 { "visit" } else { "visits" }
        ),
        amounts,
        scopes: quote
            .scopes
            .iter()
            .map(|of| ScopeHead { name: of.scope.words().to_owned(), chosen: of.scope == quote.chosen })
            .collect(),
        rows: scope_rows(fleet, quote),
        scope_note: format!(
            "Prices in {} for the calendar year {year}. What is charged is charged at the rates below and the price list.",
            format::currency_sign(&fleet.settings.currency.0)
        ),
        choices: quote
            .choices
            .iter()
            .map(|choice| ChoiceRow {
                promised: format::sentence(choice.words),
                visits: format::number(choice.visits.round(), 0),
                price: format::money(choice.price, &fleet.settings.currency.0),
            })
            .collect(),
        choice_note: format!(
            "For {}, before tax. The visits of the year are those promised and those that the work itself asks for: cleaning \
             filters and changing water cannot wait for a promised visit.",
            scope_in_words(quote.chosen)
        ),
        no_work:
            "The plan holds no work for the year yet: there are no intervals and no dates of fitting in the records."
                .to_owned(),
        work,
        included: included(quote),
        excluded: excluded(quote),
        rates: rates(fleet, given),
        assumptions: assumptions(given, quote),
        terms: terms(fleet, given, quote, contract),
        cautions: cautions(),
        sign: vec![format!("Accepted for {name}"), "For us".to_owned()],
        title,
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

fn scope_rows(fleet: &Fleet, quote: &Quote) -> Vec<ScopeRow> {
    let currency = &fleet.settings.currency.0;
    let yes = "included".to_owned();
    let no = "charged".to_owned();
    let callouts = match quote.callouts {
        CallOuts::Included => yes.clone(),
        CallOuts::Charged => no.clone(),
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
        row("Guest nights lost to a fault", ["not included", "not included", nights]),
    ];
    let amounts = |pick: fn(&ScopeQuote) -> Decimal| -> Vec<String> {
        quote.scopes.iter().map(|of| format::money(pick(of), currency)).collect()
    };
    rows.push(ScopeRow {
        what: format!("Price for the year, {}", format::currency_sign(currency)),
        cells: amounts(|of| of.price),
        strong: true,
    });
    if let Some(tax) = &fleet.settings.tax {
        rows.push(ScopeRow { what: tax_name(tax), cells: amounts(|of| of.tax.unwrap_or_default()), strong: false });
        rows.push(ScopeRow { what: "Price with tax".to_owned(), cells: amounts(|of| of.to_pay), strong: true });
    }
    rows
}

/// What the plan holds within the year; of days beyond the plan's twelve months, what the same days of the plan hold.
fn work_rows(given: &Given, quote: &Quote) -> Vec<WorkRow> {
    let window = given.worlds.window();
    let mut rows: Vec<WorkRow> = Vec::new();
    for index in &quote.sites {
        let site = given.base.sites[*index].site;
        let mut work: BTreeMap<(u8, String), (u32, Vec<String>)> = BTreeMap::new();
        for visit in given.base.plan.of_site(&site.id) {
            let days = (0..40).map(|years| plus_days(visit.date, 365 * years));
            let times = days.filter(|day| (window.first..=window.last).contains(day)).count() as u32;
            for task in visit.tasks.iter().filter(|_| times > 0) {
                let (order, what) = match &task.work {
                    Work::ContractVisit => (0, "look round, test of the water".to_owned()),
                    Work::Task(id) => (1, format::words(id.as_str())),
                    Work::Renew(id) => (2, format!("{} renewed", format::words(id.as_str()))),
                    Work::Close => (3, "closing for the season".to_owned()),
                    Work::Reopen => (3, "opening after the season".to_owned()),
                    Work::Left(_) => continue,
                };
                let entry = work.entry((order, what)).or_default();
                entry.0 += times;
                let place = format::place(task.at.as_str());
                if !entry.1.contains(&place) {
                    entry.1.push(place);
                }
            }
        }
        for ((_, what), (times, mut places)) in work {
            places.sort();
            rows.push(WorkRow {
                site: site.name.clone(),
                what: format::sentence(&what),
                places: places.join("; "),
                times: times.to_string(),
            });
        }
    }
    rows
}

fn included(quote: &Quote) -> Vec<String> {
    let mut lines = vec!["The planned visits of the year, the way to them, and the work listed above.".to_owned()];
    match quote.chosen {
        Scope::Labour => {}
        Scope::LabourAndParts => lines.push("The parts renewed at planned visits.".to_owned()),
        Scope::Everything => {
            lines.push("The parts renewed at planned visits, and parts that failed in normal use.".to_owned());
        }
    }
    let callouts = if quote.chosen == Scope::Everything { CallOuts::Included } else { quote.callouts };
    match callouts {
        CallOuts::Included => lines.push("Call-outs, in and outside working hours.".to_owned()),
        CallOuts::Some(number) => lines.push(format!("Up to {number} call-outs in the year.")),
        CallOuts::Charged => {}
    }
    lines.push("A record of every visit, and the monthly report of the site.".to_owned());
    lines
}

fn excluded(quote: &Quote) -> Vec<String> {
    let mut lines = Vec::new();
    match quote.chosen {
        Scope::Labour => lines.push("Parts: charged at the price list in force on the day.".to_owned()),
        Scope::LabourAndParts => {
            lines.push("Parts that failed: charged at the price list in force on the day.".to_owned());
        }
        Scope::Everything => {}
    }
    if quote.chosen != Scope::Everything {
        match quote.callouts {
            CallOuts::Charged => lines.push("Call-outs: charged at the rates below.".to_owned()),
            CallOuts::Some(number) => {
                lines.push(format!("Call-outs beyond {number} in the year: charged at the rates below."));
            }
            CallOuts::Included => {}
        }
    }
    lines.extend(
        [
            "Damage, misuse, frost, flood, and faults of the building's supplies.",
            "Changes wanted by the customer or by an authority, and replacing the spa itself.",
            "Electricity, water, and the chemicals and daily tests of the water between visits.",
        ]
        .map(str::to_owned),
    );
    if !quote.bears_lost_nights || quote.chosen != Scope::Everything {
        lines.push("Guest nights lost to a fault.".to_owned());
    }
    lines
}

fn rates(fleet: &Fleet, given: &Given) -> Vec<String> {
    let day = given.worlds.window().as_of;
    let labour = &fleet.settings.labour;
    let mut lines = Vec::new();
    if let Some(charge) = labour.charge.as_ref().and_then(|charge| charge.on(day)) {
        lines.push(format!("An hour of work: {}.", amount_of(fleet, charge.0)));
    }
    if let Some(callout) = labour.callout.as_ref().and_then(|charge| charge.on(day)) {
        lines.push(format!("A call-out, beside the work: {}.", amount_of(fleet, callout.0)));
    }
    if let Some(factor) = labour.out_of_hours {
        let clock = |minutes: u32| format!("{:02}:{:02}", minutes / 60, minutes % 60);
        lines.push(format!(
            "Work on a call outside working hours (before {}, from {} on, holidays and days on which nobody works): {} times \
             the hour.",
            clock(WORKING_DAY.0),
            clock(WORKING_DAY.1),
            format::number(factor.0, if (factor.0 * 10.0).fract().abs() < 1e-9 { 1 } else { 2 })
        ));
    }
    if lines.is_empty() {
        lines.push("No rates are stated; they are agreed before the work.".to_owned());
    } else {
        lines.push(format!("Rates as of {}, before tax.", calendar::in_words(day)));
    }
    lines
}

fn assumptions(given: &Given, quote: &Quote) -> Vec<String> {
    let as_of = given.worlds.window().as_of;
    let mut lines = vec![
        format!(
            "The price is for what stood at {} on {}, used as it is used now.",
            site_names(given, quote).join(", "),
            calendar::in_words(as_of)
        ),
        "Spas can be reached on the days agreed, between stays where guests are booked, with the water out where the work \
         asks for it."
            .to_owned(),
        "The water is cared for between visits as the rule book and the makers ask.".to_owned(),
    ];
    if quote.not_fitted > 0 {
        lines.push(
            "Some work found no free day in the bookings and working days known now; its day is to be agreed."
                .to_owned(),
        );
    }
    lines
}

fn terms(fleet: &Fleet, given: &Given, quote: &Quote, contract: Option<&Contract>) -> Vec<String> {
    let window = given.worlds.window();
    let mut lines = vec![format!(
        "This quotation holds until {} ({VALID_DAYS} days from the day up to which the records were read).",
        calendar::in_words(plus_days(window.as_of, i64::from(VALID_DAYS)))
    )];
    lines.push(format!(
        "The contract year runs from {} to {}.",
        calendar::in_words(window.first),
        calendar::in_words(window.last)
    ));
    let response = contract.and_then(|contract| contract.response).map(|r| r.0.get::<uom::si::time::hour>());
    lines.push(match response {
        Some(hours) => format!("Response: somebody is there within {} h of a call.", format::number(hours, 0)),
        None => "Response: no time is promised; calls are answered in the order they come.".to_owned(),
    });
    lines.push(match &fleet.settings.tax {
        Some(tax) => format!("Tax: {}, at the rate in force on the day of the invoice.", tax_name(tax)),
        None => "Tax: none is stated; what the law asks for is added.".to_owned(),
    });
    if let Some(index) = contract.and_then(|contract| contract.index) {
        lines.push(format!(
            "The years after are quoted anew; by the contract the price rises by {} % a year where it is not.",
            format::number(index.0 * 100.0, usize::from((index.0 * 100.0).fract().abs() >= 1e-9))
        ));
    }
    if quote.sites.len() > 1 {
        lines.push(
            "The price is for all the sites together and does not divide into prices of its own for each.".to_owned(),
        );
    }
    lines
}

fn cautions() -> Vec<String> {
    vec![
        "Electrical work is done by licensed people with the supply isolated and locked; covers, lids and grilles are not \
         opened by guests or staff."
            .to_owned(),
        "A spa with a broken or missing suction cover, a tripping supply, or water outside its limits is not used until it \
         has been seen to. Local codes and the rule book come before this quotation."
            .to_owned(),
    ]
}
