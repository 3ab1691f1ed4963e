//! What the fleet's report says of contracts: quoted against spent and still to come, which lose money and why, and the
//! price the next year should have. For the office; it holds no raw numbers.

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
                    side. To come: the rest of the year, drawn. The range holds 4 years in 5. Next: the price that covers the \
                    chosen share of years with the margin; by index: this year's price and the contract's index."
        .to_owned();
    if contracts.len() > SHOWN {
        note.push_str(&format!(" {} more stand in contracts.csv.", contracts.len() - SHOWN));
    }
    Some(ContractsSection {
        summary,
        currency: fleet.settings.currency.0.clone(),
        rows: contracts.into_iter().take(SHOWN).map(|contract| row(fleet, contract)).collect(),
        note,
    })
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
        next_price: price(contract.next_price),
        next_by_index: contract.next_by_index.map_or_else(|| "–".to_owned(), price),
        why: match contract.loses {
            Some(chance) if chance > 0.005 => format!("{}; chance of loss {}", contract.why, chance_in_words(chance)),
            _ => contract.why.clone(),
        },
    }
}
