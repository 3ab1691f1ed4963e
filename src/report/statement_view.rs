//! What a customer's statement says, as finished text: the month's visits, how calls were answered, what each line comes
//! to, what the contract covers, what is charged, and the tax.
//!
//! It is handed to whoever pays. It is made from [`crate::costs::statement`] alone, which knows no cost of ours; notes of
//! the house, record files and margins cannot reach it. Like the other views it holds no raw numbers.

use rust_decimal::Decimal;
use schemars::JsonSchema;
use serde::Serialize;

use crate::calendar;
use crate::costs::contract::{Covered, PriceBasis, Terms, WORKING_DAY, contract_on, price_of};
use crate::costs::statement::{Kept, Line, Response, Statement, VisitDone, What};
use crate::records::Fleet;
use crate::records::fleet::{Paper, Units};
use crate::records::log::{Because, Entry, Why};
use crate::report::left_words::left_words;
use crate::report::{format, view};

/// The version of the shape below. It goes up with any change that an overriding template would notice.
pub const STATEMENT_VIEW_VERSION: u32 = 1;

/// Everything in one statement.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct StatementView {
    /// [`STATEMENT_VIEW_VERSION`] at the time of writing.
    pub view_version: u32,
    /// Names, paper and language.
    pub document: view::Document,
    /// The title on the page.
    pub title: String,
    /// The customer's address.
    pub address: String,
    /// The month in two sentences.
    pub summary: String,
    /// The amounts that matter, the last of them what is to pay.
    pub amounts: Vec<Amount>,
    /// Stands for all the tables when there was no visit.
    pub nothing_to_say: Option<String>,
    /// The visits.
    pub visits: Vec<VisitRow>,
    /// The call-outs.
    pub callouts: Vec<CallOutRow>,
    /// What the hour of a call that is not written means.
    pub callout_note: String,
    /// The lines.
    pub lines: Vec<LineRow>,
    /// The sums under them.
    pub total: LineRow,
    /// Under the table: lines without an amount, rates.
    pub line_notes: Vec<String>,
    /// What was seen and will be quoted for.
    pub to_quote: Vec<String>,
    /// What the contract says.
    pub contract: Vec<String>,
}

/// An amount with its name.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Amount {
    /// Of what.
    pub what: String,
    /// How much, with its currency.
    pub amount: String,
}

/// A visit.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct VisitRow {
    /// The day.
    pub date: String,
    /// The site.
    pub site: String,
    /// Why it was made.
    pub why: String,
    /// What was done, a place each.
    pub done: Vec<String>,
}

/// A call-out.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct CallOutRow {
    /// The site.
    pub site: String,
    /// The day of the call.
    pub reported: String,
    /// When somebody was there.
    pub there: String,
    /// What was promised.
    pub promised: String,
    /// Whether it was kept; act now where it was not.
    pub mark: view::Mark,
    /// In words.
    pub kept: String,
}

/// A line.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct LineRow {
    /// The day.
    pub date: String,
    /// What, and where.
    pub what: String,
    /// Why it is charged.
    pub why: String,
    /// How many.
    pub quantity: String,
    /// The price of one.
    pub each: String,
    /// The amount, where the contract covers it.
    pub covered: String,
    /// The amount, where it is charged.
    pub charged: String,
}

/// Names, paper and language of a document for a customer.
pub fn document(fleet: &Fleet, name: &str, title: &str, month: String, as_of: chrono::NaiveDate) -> view::Document {
    let settings = &fleet.settings;
    view::Document {
        title: format!("{name}: {title}"),
        site: name.to_owned(),
        month,
        prepared_by: fleet.prepared_by().to_owned(),
        prepared_for: Some(name.to_owned()),
        as_of: as_of.to_string(),
        paper: match settings.paper {
            Paper::A4 => view::Paper::A4,
            Paper::UsLetter => view::Paper::UsLetter,
        },
        lang: if settings.units == Units::Us { "en-US" } else { "en-GB" }.to_owned(),
        header: title.to_owned(),
        footer: format!("{} · {title}", settings.fleet.0),
    }
}

/// A customer's statement.
pub fn view(fleet: &Fleet, statement: &Statement) -> StatementView {
    let month = statement.month.in_words();
    let last = statement.month.last();
    let name = statement.customer.name.as_ref().map_or(statement.id.as_str(), |name| name.0.as_str());
    let money = |amount: Decimal| amount_of(fleet, amount);
    let sums = &statement.sums;
    let mut amounts = vec![
        Amount { what: "Covered by the contract".to_owned(), amount: money(sums.covered) },
        Amount { what: "Charged".to_owned(), amount: money(sums.charged) },
    ];
    if let (Some(tax), Some(set)) = (sums.tax, &fleet.settings.tax) {
        amounts.push(Amount { what: tax_name(set), amount: money(tax) });
    }
    amounts.push(Amount { what: "To pay".to_owned(), amount: money(sums.to_pay) });
    let title = format!("Statement for {month}");
    let nothing = statement.visits.is_empty();
    let lines: Vec<LineRow> =
        statement.visits.iter().flat_map(|visit| visit.lines.iter().map(|line| line_row(fleet, visit, line))).collect();
    let currency = &fleet.settings.currency.0;
    StatementView {
        view_version: STATEMENT_VIEW_VERSION,
        document: document(fleet, name, &title, month.clone(), last),
        title,
        address: statement.customer.address.as_ref().map_or_else(String::new, |address| address.0.clone()),
        summary: summary(fleet, statement),
        amounts,
        nothing_to_say: nothing.then(|| format!("The records hold no visit in {month}, and nothing is charged.")),
        visits: statement.visits.iter().map(visit_row).collect(),
        callouts: statement.visits.iter().filter_map(|visit| Some(callout_row(visit, visit.response?))).collect(),
        callout_note: if statement.visits.iter().any(|v| v.response.is_some_and(|r| r.kept == Kept::Unknown)) {
            "Where the time of a call or of the visit is not recorded, a promise is said to be kept or missed only if the hour \
             cannot matter."
                .to_owned()
        } else {
            String::new()
        },
        lines,
        total: LineRow {
            what: "Sum".to_owned(),
            covered: format::money(sums.covered, currency),
            charged: format::money(sums.charged, currency),
            ..Default::default()
        },
        line_notes: line_notes(fleet, statement),
        to_quote: to_quote(statement),
        contract: contract_lines(fleet, statement),
    }
}

/// An amount with its currency, to the smallest coin.
pub fn amount_of(fleet: &Fleet, amount: Decimal) -> String {
    let currency = &fleet.settings.currency.0;
    format!("{}\u{a0}{}", format::currency_sign(currency), format::money(amount, currency))
}

/// "VAT at 20 %".
pub fn tax_name(tax: &crate::records::fleet::Tax) -> String {
    let percent = tax.rate.0 * 100.0;
    let decimals = if (percent - percent.round()).abs() < 1e-9 { 0 } else { 2 };
    format!("{} at {}\u{a0}%", tax.name.0, format::number(percent, decimals))
}

fn summary(fleet: &Fleet, statement: &Statement) -> String {
    let visits = statement.visits.len();
    if visits == 0 {
        return String::new();
    }
    let callouts = statement.visits.iter().filter(|visit| visit.visit.why == Some(Why::Callout)).count();
    let counted = |count: usize, one: &str, many: &str| {
        if count == 1 { format!("one {one}") } else { format!("{count} {many}") }
    };
    let mut says = format!("In {} we made {}", statement.month.in_words(), counted(visits, "visit", "visits"));
    match callouts {
        0 if visits == 1 => says.push_str("; it was no call-out. "),
        0 => says.push_str(", none of them a call-out. "),
        all if all == visits && visits == 1 => says.push_str(", a call-out. "),
        1 => says.push_str(", one of them a call-out. "),
        some => says.push_str(&format!(", {some} of them call-outs. ")),
    }
    let sums = &statement.sums;
    if sums.covered > Decimal::ZERO {
        says.push_str(&format!("The contract covers work worth {}. ", amount_of(fleet, sums.covered)));
    }
    if sums.charged > Decimal::ZERO {
        says.push_str(&format!("{} is charged", amount_of(fleet, sums.charged)));
        if sums.tax.is_some_and(|tax| tax > Decimal::ZERO) {
            says.push_str(&format!(", {} with tax", amount_of(fleet, sums.to_pay)));
        }
        says.push('.');
    } else {
        says.push_str("Nothing is charged.");
    }
    if sums.without_amount > 0 {
        says.push_str(&format!(
            " {} cannot be charged yet, for want of a price or of the hours worked.",
            format::sentence(&counted(sums.without_amount, "line", "lines"))
        ));
    }
    says
}

fn visit_row(visit: &VisitDone) -> VisitRow {
    let why = match visit.visit.why {
        Some(Why::Callout) if visit.out_of_hours => "call-out, outside working hours",
        Some(Why::Callout) => "call-out",
        Some(Why::Changeover) => "between guests",
        Some(Why::Test) => "water test",
        Some(Why::Planned) => "planned",
        None => "visit",
    };
    let mut done: Vec<String> = visit
        .visit
        .at
        .iter()
        .filter_map(|(at, entry)| {
            let what = done_words(entry);
            (!what.is_empty()).then(|| format!("{}: {}", format::place(at.as_str()), what.join(", ")))
        })
        .collect();
    if done.is_empty() {
        done.push("Looked over; no work recorded".to_owned());
    }
    VisitRow {
        date: format::short_date(visit.visit.date.0),
        site: visit.site.name.clone(),
        why: format::sentence(why),
        done,
    }
}

fn done_words(entry: &Entry) -> Vec<String> {
    let found = |what: &str, found: Option<&crate::records::forms::Text>| match found {
        Some(found) => format!("{what} ({})", found.0),
        None => what.to_owned(),
    };
    let mut what: Vec<String> = entry.done.iter().map(|task| format::words(task.as_str())).collect();
    for (part, renewal) in &entry.renewed.0 {
        let why = match renewal.because {
            Because::Failure => "failed, renewed",
            Because::Damage => "damaged, renewed",
            Because::Request => "renewed on request",
            Because::Due | Because::WhileThere => "renewed",
        };
        what.push(found(&format!("{} {why}", format::words(part.as_str())), renewal.found.as_ref()));
    }
    for (part, repair) in &entry.repaired.0 {
        what.push(found(&format!("{} repaired", format::words(part.as_str())), repair.found.as_ref()));
    }
    if let Some(exchange) = &entry.exchanged {
        let model = exchange.model.as_ref().map_or(String::new(), |model| format!(" for {}", model.0));
        what.push(found(&format!("pump exchanged{model}"), exchange.found.as_ref()));
    }
    if entry.removed == Some(true) {
        what.push("taken out of service".to_owned());
    }
    if what.is_empty() && entry.water_tested {
        what.push("water tested".to_owned());
    }
    what
}

fn callout_row(visit: &VisitDone, response: Response) -> CallOutRow {
    let there = format::short_date(visit.visit.date.0);
    CallOutRow {
        site: visit.site.name.clone(),
        reported: response.reported.map_or_else(
            || format::NOT_KNOWN.to_owned(),
            |reported| {
                let day = format::short_date(reported.day);
                reported.minute.map_or(day.clone(), |minute| format!("{day}, {:02}:{:02}", minute / 60, minute % 60))
            },
        ),
        there: visit.visit.time.map_or(there.clone(), |time| format!("{there}, {time}")),
        promised: response
            .promised_hours
            .map_or_else(|| "none".to_owned(), |hours| format!("within {} h", format::number(hours, 0))),
        mark: if response.kept == Kept::No { view::Mark::ActNow } else { view::Mark::None },
        kept: {
            let word = match response.kept {
                Kept::Yes => "kept",
                Kept::No => "missed",
                Kept::Unknown => "not known to the hour",
                Kept::NotPromised => "no time was promised",
            };
            // A fraction of an hour more than was promised must not look like what was promised.
            let hours = response.hours.map(|hours| format::number(hours, usize::from(hours.fract() != 0.0) * 2));
            hours.map_or(word.to_owned(), |hours| format!("{word}: {hours} h"))
        },
    }
}

fn line_row(fleet: &Fleet, visit: &VisitDone, line: &Line) -> LineRow {
    let currency = &fleet.settings.currency.0;
    let what = match &line.what {
        What::Labour if visit.out_of_hours => "Work, outside working hours".to_owned(),
        What::Labour => "Work".to_owned(),
        What::CallOut => "Call-out".to_owned(),
        What::Part(id) => match fleet.book.parts.get(id).and_then(|part| part.number.as_ref()) {
            Some(number) => format!("{}, {}", format::sentence(&format::words(id.as_str())), number.0),
            None => format::sentence(&format::words(id.as_str())),
        },
        What::Piece(number) => format!("Part number {number}"),
        What::Pump(Some(model)) => format!("Pump {model}"),
        What::Pump(None) => "Pump".to_owned(),
    };
    let quantity = line.quantity.map_or_else(
        || format::NOT_KNOWN.to_owned(),
        |quantity| match line.what {
            What::Labour => format!("{} h", quantity.normalize()),
            _ => quantity.normalize().to_string(),
        },
    );
    let amount = line.amount.map_or_else(|| format::NOT_KNOWN.to_owned(), |amount| format::money(amount, currency));
    let (covered, charged, why) = match line.covered {
        Covered::ByContract => (amount, String::new(), String::new()),
        Covered::Charged(why) => (String::new(), amount, why.to_owned()),
    };
    LineRow {
        date: format::near_date(visit.visit.date.0, visit.visit.date.0),
        what: format!("{what} · {}", visit.site.name),
        why,
        quantity,
        each: line.each.map_or_else(|| format::NOT_KNOWN.to_owned(), |each| format::money(each, currency)),
        covered,
        charged,
    }
}

fn line_notes(fleet: &Fleet, statement: &Statement) -> Vec<String> {
    let mut notes = Vec::new();
    if statement.visits.iter().any(|visit| visit.out_of_hours) {
        let clock = |minutes: u32| format!("{:02}:{:02}", minutes / 60, minutes % 60);
        notes.push(format!(
            "Outside working hours: before {}, from {} on, on a holiday or on a day on which nobody works.",
            clock(WORKING_DAY.0),
            clock(WORKING_DAY.1)
        ));
    }
    let mut unknown: Vec<String> = statement
        .visits
        .iter()
        .flat_map(|visit| &visit.lines)
        .filter(|line| line.amount.is_none())
        .map(|line| match (&line.what, line.quantity) {
            (What::Labour, None) => "the hours of work of a visit are not recorded".to_owned(),
            (What::Labour, _) => "no hourly rate is in force".to_owned(),
            (What::CallOut, _) => "no call-out charge is in force".to_owned(),
            (What::Part(id), _) => format!("no price is in force for the {}", format::words(id.as_str())),
            (What::Piece(number), _) => format!("part number {number} is not in the price list"),
            (What::Pump(Some(model)), _) => format!("no price is in force for pump {model}"),
            (What::Pump(None), _) => "the model of an exchanged pump is not recorded".to_owned(),
        })
        .collect();
    unknown.sort();
    unknown.dedup();
    notes.extend(unknown.iter().map(|what| format!("{}: the line has no amount.", format::sentence(what))));
    notes.push(format!(
        "Each line is rounded to the smallest coin; prices are those in force on the day of the work, in {}, without tax.",
        format::currency_sign(&fleet.settings.currency.0)
    ));
    notes
}

fn to_quote(statement: &Statement) -> Vec<String> {
    let left = |visit: &VisitDone| -> Vec<String> {
        let wanted = visit.visit.left.iter().filter(|left| left.quote == Some(true));
        wanted
            .map(|left| format!("{}, {}", visit.site.name, left_words(visit.site, left, visit.visit.date.0)))
            .collect()
    };
    statement.visits.iter().flat_map(left).collect()
}

fn contract_lines(fleet: &Fleet, statement: &Statement) -> Vec<String> {
    let day = statement.month.last();
    let Some(contract) = contract_on(statement.customer, day) else {
        return vec![format!("No contract is in force on {}: work is charged by the visit.", calendar::in_words(day))];
    };
    let terms = Terms::on(Some(statement.customer), day);
    let mut lines = Vec::new();
    match terms.scope() {
        Some(scope) => lines.push(format!("Scope: {}.", scope_words(scope))),
        None => lines.push("Scope: not stated, so that nothing is taken as covered.".to_owned()),
    }
    if let Some(visits) = &contract.visits {
        lines.push(format!("Visits: {}.", visits.0));
    }
    lines.push(format!("Call-outs: {}.", terms.callouts().words()));
    if let Some(hours) = terms.response_hours() {
        lines.push(format!("Response: within {} h of the call.", format::number(hours, 0)));
    }
    match (contract.from, contract.to) {
        (Some(from), Some(to)) => {
            lines.push(format!("Runs from {} to {}.", calendar::in_words(from.0), calendar::in_words(to.0)));
        }
        (Some(from), None) => lines.push(format!("Runs from {}.", calendar::in_words(from.0))),
        (None, Some(to)) => lines.push(format!("Runs to {}.", calendar::in_words(to.0))),
        (None, None) => {}
    }
    let year = statement.month.year();
    if let Some((price, basis)) = price_of(contract, year) {
        let index = match basis {
            PriceBasis::Stated => "",
            PriceBasis::Indexed => " by its index",
        };
        let price = crate::costs::rounded(price, &fleet.settings.currency.0);
        lines.push(format!(
            "The contract's price for {year}, {}{index} before tax, is billed as agreed and is not part of this statement.",
            amount_of(fleet, price)
        ));
    }
    lines
}

/// What a scope means, for a customer.
pub fn scope_words(scope: crate::records::customers::Scope) -> &'static str {
    use crate::records::customers::Scope;
    match scope {
        Scope::Labour => "labour (the work of planned visits; parts are charged)",
        Scope::LabourAndParts => {
            "labour and parts (the work and the parts of planned visits; parts that failed are charged)"
        }
        Scope::Everything => "everything (planned work, call-outs, and parts that failed)",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::costs::statement;
    use crate::quantities::fleet_for_tests::load_with;

    #[test]
    fn a_statement_says_what_was_done_and_nothing_of_the_inside() {
        let fleet = "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\ntax: {name: VAT, rate: 0.20}\n\
            labour: {cost: 23.17, charge: 46.00, callout: 95.00}\ntechnicians: {dan: {name: Dan}}\nquote: {margin: 0.18, covers: 0.8}\n";
        let book =
            "format: 1\nparts:\n  shaft_seal: {fits: pump, number: SS-16, cost: 21.93, sell: 41.50}\ntasks: {}\n";
        let customers = "format: 1\ncustomers:\n  harbour: {name: Harbour Stays, note: SECRET, contract: {scope: labour, visits: monthly, callouts: included, response: 24 h, price: {2026: 2140.00}}}\n";
        let site = "format: 1\nname: Home\ncustomer: harbour\nkey: SECRET under the mat\nspas: {tub: {fitted: 2024-01-01, pumps: {jets: {duty: jets}}, equipment: {cover: {kind: cover}}}}\n\
            log: [{date: 2026-06-05, time: 09:00-10:30, why: callout, reported: 2026-06-05, note: SECRET, labour: 1.5 h, used: {SS-16: 1}, \
            at: {tub/jets: {renewed: {shaft_seal: {because: failure, noticed: in_use, found: leak at the shaft}}, note: SECRET}}, \
            left: [{at: tub/cover, note: SECRET, quote: true}]}]\n";
        let files =
            [("fleet.yaml", fleet), ("customers.yaml", customers), ("upkeep.yaml", book), ("sites/home.yaml", site)];
        load_with(&files, "2026-06-30", |fleet, site, _| {
            let (id, customer) = fleet.customers.iter().next().unwrap();
            let statement = statement::statement(fleet, id, customer, &[site.site], "2026-06".parse().unwrap());
            let view = view(fleet, &statement);
            let text = serde_json::to_string(&view).unwrap();
            for inside in ["SECRET", "23.17", "21.93", "0.18", ".yaml", "margin", "cost"] {
                assert!(!text.contains(inside), "{inside} in {text}");
            }
            assert_eq!(
                view.summary,
                "In June 2026 we made one visit, a call-out. The contract covers work worth £\u{a0}164.00. \
                 £\u{a0}41.50 is charged, £\u{a0}49.80 with tax."
            );
            assert_eq!(view.callouts[0].kept, "kept");
            assert_eq!(
                view.to_quote,
                ["Home, the cover of tub: seen on 5 Jun 2026; what is to be done will stand in its quotation"]
            );
            assert_eq!((view.total.covered.as_str(), view.total.charged.as_str()), ("164.00", "41.50"));
            assert_eq!(view.visits[0].done, ["Tub, jets: shaft seal failed, renewed (leak at the shaft)"]);
        });
    }
}
