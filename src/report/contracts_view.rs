//! What the fleet's report says of contracts: quoted against spent and still to come, which lose money and why, and the
//! price the next year should have. For the office; it holds no raw numbers.

use rust_decimal::prelude::ToPrimitive;
use schemars::JsonSchema;
use serde::Serialize;

use crate::costs::contract::PriceBasis;
use crate::costs::outlook::{ContractYear, FleetCosts};
use crate::costs::prices::minor_units;
use crate::records::Fleet;
use crate::report::inside_view::chance_in_words;
use crate::report::{format, view};

/// The section.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct ContractsSection {
    /// In a sentence or two.
    pub summary: String,
    /// The currency's code.
    pub currency: String,
    /// The contracts, those that do worst first.
    pub rows: Vec<ContractRow>,
    /// Under the table.
    pub note: String,
    /// Why next prices are far from this year's, a sentence or two each.
    pub reasons: Vec<String>,
}

/// A contract.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct ContractRow {
    /// Act now where it is more likely than not to lose money, plan where it may.
    pub mark: view::Mark,
    /// Whose.
    pub customer: String,
    /// Its scope.
    pub scope: String,
    /// The price of the year.
    pub price: String,
    /// Spent so far.
    pub spent: String,
    /// Of it on failures.
    pub failures: String,
    /// Still to come.
    pub to_come: String,
    /// What is left at the year's end.
    pub result: String,
    /// The ends of its central 80 %.
    pub result_range: String,
    /// The next year's price by its simulated cost.
    pub next_price: String,
    /// By its index alone.
    pub next_by_index: String,
    /// Why it does what it does.
    pub why: String,
}

/// From such a change on a next price is explained: common practice, no source.
const FAR: f64 = 0.15;
/// How many are explained.
const REASONS: usize = 12;
/// How many contracts are shown.
const SHOWN: usize = 40;

/// The section; `None` where no contract is in force or no cost of labour is written.
pub fn section(fleet: &Fleet, costs: &FleetCosts) -> Option<ContractsSection> {
    let year = costs.contracts.first()?.year;
    let mut contracts: Vec<&ContractYear> = costs.contracts.iter().collect();
    contracts.sort_by(|a, b| {
        let worst = |contract: &ContractYear| -contract.loses.unwrap_or(0.0);
        worst(a).total_cmp(&worst(b)).then_with(|| {
            let result = |contract: &ContractYear| contract.result.map_or(f64::INFINITY, |result| result.0);
            result(a).total_cmp(&result(b))
        })
    });
    let losing = contracts.iter().filter(|contract| contract.loses.is_some_and(|chance| chance > 0.5)).count();
    let unsure = contracts.iter().filter(|c| c.loses.is_some_and(|chance| chance > 0.2 && chance <= 0.5)).count();
    let without = contracts.iter().filter(|contract| contract.price.is_none()).count();
    let words = |count: usize, one: &str, many: &str| match count {
        0 => format!("none {many}"),
        1 => format!("one {one}"),
        count => format!("{count} {many}"),
    };
    let mut summary = if losing + unsure == 0 {
        format!(
            "{} in force in {year}, and none is likely to lose money.",
            if contracts.len() == 1 {
                "One contract is".to_owned()
            } else {
                format!("{} contracts are", contracts.len())
            }
        )
    } else {
        format!(
            "Of {} in force in {year}, {} more likely than not to lose money by the year's end, and {}.",
            if contracts.len() == 1 { "one contract".to_owned() } else { format!("{} contracts", contracts.len()) },
            words(losing, "is", "are"),
            words(unsure, "may", "may")
        )
    };
    if without > 0 {
        summary.push_str(&format!(" {} no price for the year.", format::sentence(&words(without, "has", "have"))));
    }
    let mut note = "Spent: work, ways and pieces at cost that the contract covers; what is charged beside it stands on neither \
                    side. To come: the rest of the year, drawn. The range holds at least 4 years in 5. Next: the price that covers the \
                    chosen share of years with the margin; ± twice the standard error of the few years drawn here, and a quote draws \
                    more. By index: the price that the contract states for the next year, else this year's with its index."
        .to_owned();
    if contracts.len() > SHOWN {
        note.push_str(&format!(" {} more stand in contracts.csv.", contracts.len() - SHOWN));
    }
    Some(ContractsSection {
        summary,
        currency: fleet.settings.currency.0.clone(),
        reasons: contracts.iter().take(SHOWN).filter_map(|contract| reason(fleet, contract)).take(REASONS).collect(),
        rows: contracts.into_iter().take(SHOWN).map(|contract| row(fleet, contract)).collect(),
        note,
    })
}

/// The next year's price as far as so few draws tell it.
pub fn about(contract: &ContractYear) -> String {
    let (rounded, within) = contract.next_price_about();
    format!("{} ± {}", format::number(rounded, 0), format::number(within, 0))
}

/// Why a contract's next price is what it is, where it is far from this year's: what the running year comes to, and what
/// the next one's cost is made of, the largest first.
fn reason(fleet: &Fleet, contract: &ContractYear) -> Option<String> {
    let units = minor_units(&fleet.settings.currency.0);
    let name = fleet.customers.get(&contract.customer).and_then(|customer| customer.name.as_ref());
    let name = name.map_or_else(|| contract.customer.to_string(), |name| name.0.clone());
    let now = contract.price.and_then(|(price, _)| price.to_f64()).filter(|price| *price > 0.0)?;
    let change = contract.next_price.to_f64()? / now - 1.0;
    if change.abs() < FAR {
        return None;
    }
    let ([labour, parts, travel, beside], failures) = contract.next_borne;
    let all = (labour + parts + travel + beside).max(1.0);
    let mut made_of = [
        (labour / all, "work"),
        (travel / all, "ways"),
        (parts / all, "parts"),
        (beside / all, "what else failures cost"),
    ];
    made_of.sort_by(|a, b| b.0.total_cmp(&a.0));
    let made_of: Vec<String> = made_of
        .iter()
        .filter(|(share, _)| *share >= 0.005)
        .map(|(share, what)| format!("{what} {:.0} %", share * 100.0))
        .collect();
    let year = (contract.spent.total() + contract.to_come.0.mean.value) / units;
    Some(format!(
        "{name}: the next price is {} % {} this year's {}. This year comes to {} at cost, {} spent and {} to come; the next \
         comes to {} on the average, with {} planned visits ({} were made so far this year): {}; failures are {:.0} % of it.",
        format::number(change.abs() * 100.0, 0),
        if change > 0.0 { "over" } else { "under" },
        format::number(now, 0),
        format::number(year, 0),
        format::number(contract.spent.total() / units, 0),
        format::number(contract.to_come.0.mean.value / units, 0),
        format::number(all / units, 0),
        format::number(contract.next_visits, 0),
        contract.spent.visits,
        made_of.join(", "),
        failures / all * 100.0
    ))
}

fn row(fleet: &Fleet, contract: &ContractYear) -> ContractRow {
    let units = minor_units(&fleet.settings.currency.0);
    let whole = |minor: f64| format::number(minor / units, 0);
    let price = |amount: rust_decimal::Decimal| {
        let rounded = amount.round_dp_with_strategy(0, rust_decimal::RoundingStrategy::MidpointAwayFromZero);
        format::money(rounded, "JPY")
    };
    let name = fleet.customers.get(&contract.customer).and_then(|customer| customer.name.as_ref());
    ContractRow {
        mark: match contract.loses {
            Some(chance) if chance > 0.5 => view::Mark::ActNow,
            Some(chance) if chance > 0.2 => view::Mark::Plan,
            _ => view::Mark::None,
        },
        customer: name.map_or_else(|| contract.customer.to_string(), |name| name.0.clone()),
        scope: contract.scope.words().to_owned(),
        price: contract.price.map_or_else(
            || format::NOT_KNOWN.to_owned(),
            |(amount, basis)| match basis {
                PriceBasis::Stated => price(amount),
                PriceBasis::Indexed => format!("{} by index", price(amount)),
            },
        ),
        spent: whole(contract.spent.total()),
        failures: whole(contract.spent.failures),
        to_come: whole(contract.to_come.0.mean.value),
        result: contract.result.map_or_else(|| format::NOT_KNOWN.to_owned(), |(result, _, _)| whole(result)),
        result_range: contract
            .result
            .map_or_else(String::new, |(_, low, high)| format!("{} to {}", whole(low), whole(high))),
        next_price: about(contract),
        next_by_index: contract.next_by_index.map_or_else(|| "–".to_owned(), price),
        why: match contract.loses {
            Some(chance) if chance > 0.005 => format!("{}; chance of loss {}", contract.why, chance_in_words(chance)),
            _ => contract.why.clone(),
        },
    }
}
