//! `costs.csv`: what the next contract year of each site may cost under each scope, and its price. `contracts.csv`: each
//! contract's year, quoted against spent and still to come.

use rust_decimal::prelude::ToPrimitive;

use super::{Cell, Table, TableError, table};
use crate::costs::contract::PriceBasis;
use crate::costs::outlook::{ContractYear, FleetCosts, SiteScope};

/// A row for each site and scope; amounts in the fleet's currency.
pub(super) fn costs(costs: &FleetCosts, units: f64) -> Result<Table, TableError> {
    let rows: Vec<(&SiteScope, f64)> = costs.next_year.iter().map(|row| (row, units)).collect();
    table(
        "costs",
        &rows,
        &[
            ("site", |(r, _)| Cell::text(&r.site)),
            ("year", |(r, _)| Cell::Count(Some(r.year.into()))),
            ("scope", |(r, _)| Cell::text(r.scope.word())),
            ("labour", |(r, _)| Cell::rounded(Some(r.borne[0]), 2)),
            ("parts", |(r, _)| Cell::rounded(Some(r.borne[1]), 2)),
            ("travel", |(r, _)| Cell::rounded(Some(r.borne[2]), 2)),
            ("failures_expected", |(r, _)| Cell::rounded(Some(r.failures), 4)),
            ("total_mean", |(r, units)| Cell::rounded(Some(r.spread.mean.value / units), 2)),
            ("total_p50", |(r, units)| Cell::rounded(Some(r.spread.p50.value / units), 2)),
            ("total_p80", |(r, units)| Cell::rounded(Some(r.spread.p80.value / units), 2)),
            ("total_p95", |(r, units)| Cell::rounded(Some(r.spread.p95.value / units), 2)),
            ("price", |(r, _)| Cell::rounded(r.price.to_f64(), 3)),
            ("tax", |(r, _)| Cell::rounded(r.tax.and_then(|tax| tax.to_f64()), 3)),
            ("failure_costs", |(r, _)| Cell::rounded(Some(r.borne[3]), 2)),
            ("total_p80_error", |(r, units)| Cell::rounded(Some(r.spread.p80.error / units), 2)),
            ("total_low", |(r, units)| Cell::rounded(Some(r.spread.low / units), 2)),
            ("total_high", |(r, units)| Cell::rounded(Some(r.spread.high / units), 2)),
        ],
    )
}

/// A row for each contract in force; `site` is empty where it has several.
pub(super) fn contracts(costs: &FleetCosts, units: f64) -> Result<Table, TableError> {
    let rows: Vec<(&ContractYear, f64)> = costs.contracts.iter().map(|row| (row, units)).collect();
    table(
        "contracts",
        &rows,
        &[
            ("customer", |(r, _)| Cell::text(&r.customer)),
            ("site", |(r, _)| match r.sites.as_slice() {
                [one] => Cell::text(one),
                _ => Cell::text(""),
            }),
            ("year", |(r, _)| Cell::Count(Some(r.year.into()))),
            ("price", |(r, _)| Cell::rounded(r.price.and_then(|(price, _)| price.to_f64()), 3)),
            ("planned", |(r, units)| Cell::rounded(Some((r.spent.planned + r.planned_to_come()) / units), 2)),
            ("spent", |(r, units)| Cell::rounded(Some(r.spent.total() / units), 2)),
            ("failures", |(r, units)| Cell::rounded(Some(r.spent.failures / units), 2)),
            ("result", |(r, units)| Cell::rounded(r.result.map(|(result, _, _)| result / units), 2)),
            ("scope", |(r, _)| Cell::text(r.scope.word())),
            ("price_basis", |(r, _)| match r.price {
                Some((_, PriceBasis::Stated)) => Cell::text("stated"),
                Some((_, PriceBasis::Indexed)) => Cell::text("indexed"),
                None => Cell::text(""),
            }),
            ("to_come", |(r, units)| Cell::rounded(Some(r.to_come.0.mean.value / units), 2)),
            ("to_come_low", |(r, units)| Cell::rounded(Some(r.to_come.0.low / units), 2)),
            ("to_come_high", |(r, units)| Cell::rounded(Some(r.to_come.0.high / units), 2)),
            ("result_low", |(r, units)| Cell::rounded(r.result.map(|(_, low, _)| low / units), 2)),
            ("result_high", |(r, units)| Cell::rounded(r.result.map(|(_, _, high)| high / units), 2)),
            ("chance_of_loss", |(r, _)| Cell::rounded(r.loses, 4)),
            ("next_price", |(r, _)| Cell::rounded(r.next_price.to_f64(), 3)),
            ("next_price_by_index", |(r, _)| Cell::rounded(r.next_by_index.and_then(|price| price.to_f64()), 3)),
            ("why", |(r, _)| Cell::text(&r.why)),
            ("without_amount", |(r, _)| Cell::Count(Some(r.spent.without_amount.into()))),
            ("next_price_error", |(r, _)| Cell::rounded(Some(r.next_price_error), 2)),
            ("year_cost", |(r, units)| Cell::rounded(Some((r.spent.total() + r.to_come.0.mean.value) / units), 2)),
            ("next_mean", |(r, units)| Cell::rounded(Some(r.next_borne.0.iter().sum::<f64>() / units), 2)),
            ("next_visits", |(r, _)| Cell::rounded(Some(r.next_visits), 1)),
        ],
    )
}
