//! What the inside sheet says in sentences: how the running contract stands, what is missing and assumed, how it was
//! reckoned.

use std::collections::BTreeSet;

use chrono::Datelike;

use super::{chosen, in_currency};
use crate::address::Id;
use crate::costs::contract::PriceBasis;
use crate::costs::outlook::{ContractYear, DRAWS};
use crate::costs::quote::{Given, Quote};
use crate::records::forms::{Dated, Money};
use crate::records::log::Why;
use crate::records::{Fleet, Site};
use crate::report::format;
use crate::report::statement_view::amount_of;
use crate::schedule::visits::Work;
use crate::site::SiteFigures;

/// How a contract's running year stands, a sentence each.
pub(super) fn contract_lines(given: &Given, quote: &Quote, contract: &ContractYear) -> Vec<String> {
    let fleet = given.base.fleet;
    let mut lines = Vec::new();
    let all_quoted = contract.sites.len() == quote.sites.len();
    if !all_quoted {
        let name =
            |id: &Id| given.base.sites.iter().find(|site| site.site.id == *id).map(|site| site.site.name.as_str());
        let names: Vec<&str> = contract.sites.iter().filter_map(name).collect();
        lines.push(format!("These figures are of the whole contract: {}.", names.join(", ")));
    }
    if let Some((price, basis)) = contract.price {
        let index = if basis == PriceBasis::Indexed { " (by its index)" } else { "" };
        lines.push(format!(
            "Quoted for {}: {}{index}, for {}.",
            contract.year,
            amount_of(fleet, price),
            contract.scope.words().to_lowercase()
        ));
    }
    lines.push(format!(
        "Spent so far: {}, of it {} on failures; {}.",
        in_currency(fleet, contract.spent.total()),
        in_currency(fleet, contract.spent.failures),
        visits_in_words(contract.spent.visits as usize, contract.spent.callouts as usize)
    ));
    let to_come = &contract.to_come.0;
    lines.push(format!(
        "Still to come up to the year's end: {}, between {} and {} {}.",
        in_currency(fleet, to_come.mean.value),
        in_currency(fleet, to_come.low),
        in_currency(fleet, to_come.high),
        format::in_years(to_come.within)
    ));
    if let Some((result, low, high)) = contract.result {
        let word = if result < 0.0 { "short by" } else { "left over:" };
        lines.push(format!(
            "At the year's end {word} {}, between {} and {} {}; it {}.",
            in_currency(fleet, result.abs()),
            in_currency(fleet, low),
            in_currency(fleet, high),
            format::in_years(to_come.within),
            contract.why
        ));
    }
    let year = given.worlds.window().last.year();
    let index = match (contract.next_by_index, quote.price_stated.filter(|_| year == contract.year + 1)) {
        (_, Some(price)) => format!("; the contract states {}", amount_of(fleet, price)),
        (Some(price), None) => format!("; by the index alone it would be {}", amount_of(fleet, price)),
        (None, None) => String::new(),
    };
    lines.push(match chosen(quote) {
        Some(of) if all_quoted && year == contract.year + 1 => {
            format!("The next year's price is the one quoted here, {}{index}.", amount_of(fleet, of.price))
        }
        _ => format!(
            "The next year's price, for all the contract's sites together: about {}\u{a0}{}, drawn from {DRAWS} years; to quote \
             them together draws more{index}.",
            format::currency_sign(&fleet.settings.currency.0),
            crate::report::contracts_view::about(contract)
        ),
    });
    if contract.spent.without_amount > 0 {
        lines.push(format!(
            "{} records of the year have no hours or no price and are not in what was spent.",
            contract.spent.without_amount
        ));
    }
    lines
}

/// "12 visits, one of them a call-out".
fn visits_in_words(visits: usize, callouts: usize) -> String {
    match (visits, callouts) {
        (0, _) => "no visit".to_owned(),
        (1, 0) => "one visit, no call-out".to_owned(),
        (1, _) => "one visit, a call-out".to_owned(),
        (visits, 0) => format!("{visits} visits, none of them a call-out"),
        (visits, 1) => format!("{visits} visits, one of them a call-out"),
        (visits, callouts) => format!("{visits} visits, {callouts} of them call-outs"),
    }
}

pub(super) fn missing(fleet: &Fleet, given: &Given, quote: &Quote) -> Vec<String> {
    let mut lines: Vec<String> =
        quote.missing.iter().map(|what| format!("Not known, and counted as nothing: {}.", what.words())).collect();
    lines.extend(rates_missing(fleet, given));
    // Renewals without a day are drawn all the same.
    let not_fitted = quote.not_fitted.iter().filter(|not| !matches!(not.work, Work::Renew(_))).count();
    if not_fitted > 0 {
        lines.push(match not_fitted {
            1 => "One piece of work found no day in the plan and is not in the cost.".to_owned(),
            many => format!("{many} pieces of work found no day in the plan and are not in the cost."),
        });
    }
    if !quote.waits_for_quote.is_empty() {
        lines.push(format!(
            "Waiting for a quotation of its own, and not in the cost: {}.",
            match quote.waits_for_quote.len() {
                1 => "one thing a visit left".to_owned(),
                many => format!("{many} things visits left"),
            }
        ));
    }
    if quote.bears_lost_nights {
        lines.extend(nights(given, quote));
    }
    lines.extend(plan_against_log(given, quote));
    let habits = given.habits;
    lines.push(format!(
        "By the log of all sites {} % of failures are answered by a call-out, and {} % of call-outs fall outside working hours.",
        format::number(habits.by_callout * 100.0, 0),
        format::number(habits.out_of_hours * 100.0, 0)
    ));
    if quote.index > 1.0 {
        lines.push(format!(
            "All costs are {} % dearer than on the as-of day, by the contract's index.",
            format::number((quote.index - 1.0) * 100.0, 1)
        ));
    } else if given.worlds.window().last.year() == given.worlds.window().as_of.year() {
        lines.push("Costs are those of the as-of day: within the running year no index is applied.".to_owned());
    } else {
        lines.push("Costs are those of the as-of day: no index is written.".to_owned());
    }
    if fleet.settings.quote.covers.is_none() {
        lines.push("The share of years that the price covers is assumed (quote.covers in fleet.yaml).".to_owned());
    }
    lines
}

/// Rates that the customer's page should state and the records do not hold.
fn rates_missing(fleet: &Fleet, given: &Given) -> Option<String> {
    let as_of = given.worlds.window().as_of;
    let labour = &fleet.settings.labour;
    let none = |rate: &Option<Dated<Money>>| rate.as_ref().and_then(|rate| rate.on(as_of)).is_none();
    let missing: Vec<&str> = [
        (none(&labour.charge), "what an hour of work is charged at (labour.charge)"),
        (none(&labour.callout), "what a call-out is charged at (labour.callout)"),
    ]
    .into_iter()
    .filter_map(|(missing, what)| missing.then_some(what))
    .collect();
    (!missing.is_empty())
        .then(|| format!("Not known, and not among the rates of the quote: {} in fleet.yaml.", missing.join(", ")))
}

/// Of a contract that bears lost nights: what of them is counted as nothing, and what is taken of guests.
fn nights(given: &Given, quote: &Quote) -> Vec<String> {
    let as_of = given.worlds.window().as_of;
    let sites = || quote.sites.iter().map(|index| &given.base.sites[*index]);
    let named = |names: BTreeSet<String>| names.into_iter().collect::<Vec<_>>().join(", ");
    let mut lines = Vec::new();
    let has_worth = |site: &Site| site.lost_night.as_ref().is_some_and(|night| night.on(as_of).is_some());
    let worthless = named(sites().filter(|site| !has_worth(site.site)).map(|site| site.site.name.clone()).collect());
    if !worthless.is_empty() {
        lines.push(format!(
            "Lost nights are borne by the contract and counted as nothing, for what a night is worth is not written \
             (lost_night in the site's file): {worthless}."
        ));
    }
    let place = |site: &SiteFigures, spa: &str| match quote.sites.len() {
        1 => format::place(spa),
        _ => format!("{}, {}", site.site.name, format::place(spa).to_lowercase()),
    };
    let without_bookings = sites().flat_map(|site| {
        let spas = site.site.spas.iter().filter(|spa| spa.stays.is_none());
        spas.map(move |spa| place(site, spa.at.as_str()))
    });
    let without_bookings = named(without_bookings.collect());
    if !without_bookings.is_empty() {
        lines.push(format!(
            "No bookings are read, so that every night of a fault counts as one with guests: {without_bookings}."
        ));
    }
    let takes_no_time = sites()
        .flat_map(|site| &site.parts)
        .filter(|part| part.part.part.failure.as_ref().and_then(|failure| failure.down).is_none());
    let takes_no_time = named(takes_no_time.map(|part| format::words(part.part.id.as_str())).collect());
    lines.push(if takes_no_time.is_empty() {
        "No night is counted for a fault of the pump itself that no wear part explains.".to_owned()
    } else {
        format!(
            "No night is counted for a fault of the pump itself that no wear part explains, nor where no time out of use is \
             written (failure.down in upkeep.yaml): {takes_no_time}."
        )
    });
    lines
}

/// What the plan and the model expect beside what the last twelve months of the log show: where they are far apart, one of
/// them is to be looked at before the quote goes out.
fn plan_against_log(given: &Given, quote: &Quote) -> Vec<String> {
    let window = given.worlds.window();
    let from = crate::calendar::plus_days(window.as_of, -365);
    let sites = || quote.sites.iter().map(|index| &given.base.sites[*index]);
    let visits = || sites().flat_map(|site| &site.site.visits).filter(|(_, visit)| visit.date.0 > from);
    let callouts = visits().filter(|(_, visit)| visit.why == Some(Why::Callout)).count();
    let mut lines = vec![format!(
        "In the last twelve months of the log: {}. {}: {} planned visits and {} call-outs expected.",
        visits_in_words(visits().count(), callouts),
        if window.is_whole_year() { "In the year quoted" } else { "In the part of a year quoted" },
        format::number(quote.visits, 0),
        format::number(quote.means.callouts, 1)
    )];
    let worsening = sites().flat_map(|site| site.spas.iter().flat_map(|spa| &spa.pumps).map(move |pump| (site, pump)));
    for (site, pump) in worsening {
        let Some(own) = site.lives.worsening(&site.site.id, &pump.at) else { continue };
        lines.push(format!(
            "{}, {}: its failures come closer together. That goes on in {} of the years drawn; in the others it fails like its \
             like. Find the cause before quoting everything.",
            site.site.name,
            format::place(pump.at.as_str()).to_lowercase(),
            crate::report::life_words::percent(own.chance)
        ));
    }
    lines
}

/// What of the price hangs on the plan of other sites.
fn ways(fleet: &Fleet, quote: &Quote) -> String {
    let ways = quote.ways;
    let shared = in_currency(fleet, ways.shared);
    if (ways.alone - ways.shared).abs() < 1.0 {
        return format!("The ways of planned visits, {shared}, are trips of their own, shared with no other site.");
    }
    format!(
        "The ways of planned visits, {shared}, are those of this plan, in which trips are shared with sites nearby. With each \
         visit a trip of its own they would be {} and the price {}. The plan is of all sites: a record mended at another one \
         may change which trips are shared, and with them this price.",
        in_currency(fleet, ways.alone),
        amount_of(fleet, ways.price_alone)
    )
}

pub(super) fn methods(fleet: &Fleet, given: &Given, quote: &Quote) -> Vec<String> {
    let window = given.worlds.window();
    let mut lines = vec![
        format!(
            "{} years drawn from {} to {}, from records up to {}; seed {}. Each part has a stream of chance of its own, so that \
             a record mended elsewhere moves none of the draws and other ways of doing the year meet the same luck.",
            format::number(given.worlds.draws as f64, 0),
            window.first,
            window.last,
            window.as_of,
            fleet.settings.seed.unwrap_or(1)
        ),
        "Failures: lives of the fleet's parts, Weibull, drawn anew each year from what is known of them; renewals as planned \
         unless a part fails first; failures of a pump that no part explains by the fleet's rate."
            .to_owned(),
        "Visits and their ways: the plan of the coming twelve months; on days beyond it, what recurs, as on the same days of \
         the plan, and the looks round the contract promises, which is taken to go on. Renewals are those of the years drawn."
            .to_owned(),
        ways(fleet, quote),
        "Price: the cost that the share of years stays below, over one less the margin.".to_owned(),
    ];
    if quote.sites.len() > 1 {
        lines.push(
            "Sites are added draw by draw before the share is taken; their single points are never added up."
                .to_owned(),
        );
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::visits_in_words;

    #[test]
    fn one_visit_is_one() {
        let said =
            [(0, 0), (1, 0), (1, 1), (12, 0), (12, 1), (12, 3)].map(|(visits, calls)| visits_in_words(visits, calls));
        assert_eq!(
            said,
            [
                "no visit",
                "one visit, no call-out",
                "one visit, a call-out",
                "12 visits, none of them a call-out",
                "12 visits, one of them a call-out",
                "12 visits, 3 of them call-outs"
            ]
        );
    }
}
