//! What a quote is offered on: what is in the price and what is not, rates, assumptions, terms and cautions. For the
//! customer: nothing of the side the price was reckoned from may stand in it.

use rust_decimal::Decimal;

use super::{site_names, work};
use crate::calendar::{self, plus_days};
use crate::costs::contract::{CallOuts, WORKING_DAY};
use crate::costs::prices::Missing;
use crate::costs::quote::{Given, Quote, VALID_DAYS};
use crate::costs::year::Window;
use crate::records::Fleet;
use crate::records::customers::{Contract, Scope};
use crate::records::forms::{Dated, Money};
use crate::report::format;
use crate::report::statement_view::{amount_of, tax_name};

pub(super) fn included(quote: &Quote, window: Window) -> Vec<String> {
    let when = if window.is_whole_year() { "the year" } else { "that time" };
    let mut lines = vec![format!("The planned visits of {when}, the way to them, and the work listed above.")];
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
        CallOuts::Some(0) | CallOuts::Charged => {}
        CallOuts::Some(1) => lines.push("One call-out in the year.".to_owned()),
        CallOuts::Some(number) => lines.push(format!("Up to {number} call-outs in the year.")),
    }
    lines.push("A record of every visit, and the monthly report of the site.".to_owned());
    lines
}

pub(super) fn excluded(fleet: &Fleet, given: &Given, quote: &Quote) -> Vec<String> {
    let charged = charged(fleet, given);
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
            CallOuts::Charged | CallOuts::Some(0) => lines.push(format!("Call-outs: {charged}.")),
            CallOuts::Some(1) => lines.push(format!("Call-outs beyond the first in the year: {charged}.")),
            CallOuts::Some(number) => lines.push(format!("Call-outs beyond {number} in the year: {charged}.")),
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
    if !quote.bears_lost_nights {
        lines.push("Guest nights lost to a fault.".to_owned());
    }
    lines.extend(work::waits_for_quote(given, quote));
    lines.extend(without_price(quote));
    lines
}

/// What is not in the price because the records do not hold what it would take to reckon it: a line a reason, with all that
/// lacks the same.
fn without_price(quote: &Quote) -> Vec<String> {
    let name = |id: &crate::address::Id| format::words(id.as_str());
    let place = |at: &crate::address::Address| format::place(at.as_str()).to_lowercase();
    let all = |of: &dyn Fn(&Missing) -> Option<String>| -> String {
        let mut found: Vec<String> = quote.missing.iter().filter_map(of).collect();
        found.sort();
        found.dedup();
        found.join("; ")
    };
    let parts = all(&|missing| match missing {
        Missing::PartPrice(id) if quote.chosen != Scope::Labour => Some(name(id)),
        _ => None,
    });
    let pumps = all(&|missing| match missing {
        Missing::PumpPrice(at) if quote.chosen == Scope::Everything => Some(place(at)),
        _ => None,
    });
    let lives = all(&|missing| if let Missing::Life(id) = missing { Some(name(id)) } else { None });
    let used = all(&|missing| if let Missing::Use(at) = missing { Some(place(at)) } else { None });
    [
        (
            &parts,
            "The part itself, wherever one of these is renewed",
            "no price is on record for it; it is agreed before the work",
        ),
        (&pumps, "A new pump, should one be needed", "no price is on record for it; it is agreed before the work"),
        (
            &lives,
            "Renewing",
            "how long it lasts is not known yet, so that neither its renewal nor its failure is in the price",
        ),
        (&used, "Parts that wear with running hours", "how much the pump runs is not known yet"),
    ]
    .into_iter()
    .filter(|(which, ..)| !which.is_empty())
    .map(|(which, what, why)| format!("{what} ({which}): {why}."))
    .collect()
}

/// How what is charged is charged: at the rates that stand on the page, as far as any do.
pub(super) fn charged(fleet: &Fleet, given: &Given) -> &'static str {
    if rate(fleet.settings.labour.charge.as_ref(), given).is_some() {
        "charged at the rates below"
    } else {
        "charged as agreed before the work"
    }
}

fn rate(rate: Option<&Dated<Money>>, given: &Given) -> Option<Decimal> {
    Some(rate?.on(given.worlds.window().as_of)?.0)
}

pub(super) fn rates(fleet: &Fleet, given: &Given) -> Vec<String> {
    let day = given.worlds.window().as_of;
    let labour = &fleet.settings.labour;
    let (hour, callout) = (rate(labour.charge.as_ref(), given), rate(labour.callout.as_ref(), given));
    let mut lines = Vec::new();
    if let Some(hour) = hour {
        lines.push(format!("An hour of work: {}.", amount_of(fleet, hour)));
    } else if callout.is_some() {
        lines.push("An hour of work: no rate is stated; it is agreed before the work.".to_owned());
    }
    if let Some(callout) = callout {
        lines.push(format!("A call-out, beside the work: {}.", amount_of(fleet, callout)));
    }
    // A multiple of an hour that is not stated says nothing.
    if let Some(factor) = labour.out_of_hours.filter(|_| hour.is_some()) {
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

pub(super) fn assumptions(given: &Given, quote: &Quote) -> Vec<String> {
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
    lines.extend(work::not_fitted(given, quote));
    lines
}

pub(super) fn terms(fleet: &Fleet, given: &Given, quote: &Quote, contract: Option<&Contract>) -> Vec<String> {
    let window = given.worlds.window();
    let mut lines = vec![format!(
        "This quotation holds until {} ({VALID_DAYS} days from the day up to which the records were read).",
        calendar::in_words(plus_days(window.as_of, i64::from(VALID_DAYS)))
    )];
    lines.push(format!(
        "{} from {} to {}.",
        if window.is_whole_year() { "The contract year runs" } else { "Quoted is what is left of the contract year," },
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

pub(super) fn cautions() -> Vec<String> {
    vec![
        "Electrical work is done by licensed people with the supply isolated and locked; covers, lids and grilles are not \
         opened by guests or staff."
            .to_owned(),
        "A spa with a broken or missing suction cover, a tripping supply, or water outside its limits is not used until it \
         has been seen to. Local codes and the rule book come before this quotation."
            .to_owned(),
    ]
}
