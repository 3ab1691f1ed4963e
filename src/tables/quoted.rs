//! `costs.csv` of a quote: the same columns as the month's table, for what is quoted, from more years drawn.

use rust_decimal::prelude::ToPrimitive;

use super::{Cell, TableError, table};
use crate::costs::prices::minor_units;
use crate::costs::quote::{Quote, ScopeQuote};
use crate::records::Fleet;

/// A row for each scope. `site` holds the site, or several with spaces between.
///
/// # Errors
/// If polars refuses the table.
pub fn quoted(quote: &Quote, sites: &str, year: i32, fleet: &Fleet) -> Result<Vec<u8>, TableError> {
    struct Row<'a> {
        sites: &'a str,
        year: i32,
        failures: f64,
        units: f64,
        of: &'a ScopeQuote,
    }
    let units = minor_units(&fleet.settings.currency.0);
    let failures = quote.means.failures;
    let rows: Vec<Row> = quote.scopes.iter().map(|of| Row { sites, year, failures, units, of }).collect();
    let table = table(
        "costs",
        &rows,
        &[
            ("site", |r| Cell::text(r.sites)),
            ("year", |r| Cell::Count(Some(r.year.into()))),
            ("scope", |r| Cell::text(r.of.scope.word())),
            ("labour", |r| Cell::rounded(Some(r.of.borne[0] / r.units), 2)),
            ("parts", |r| Cell::rounded(Some(r.of.borne[1] / r.units), 2)),
            ("travel", |r| Cell::rounded(Some(r.of.borne[2] / r.units), 2)),
            ("failures_expected", |r| Cell::rounded(Some(r.failures), 4)),
            ("total_mean", |r| Cell::rounded(Some(r.of.spread.mean.value / r.units), 2)),
            ("total_p50", |r| Cell::rounded(Some(r.of.spread.p50.value / r.units), 2)),
            ("total_p80", |r| Cell::rounded(Some(r.of.spread.p80.value / r.units), 2)),
            ("total_p95", |r| Cell::rounded(Some(r.of.spread.p95.value / r.units), 2)),
            ("price", |r| Cell::rounded(r.of.price.to_f64(), 3)),
            ("tax", |r| Cell::rounded(r.of.tax.and_then(|tax| tax.to_f64()), 3)),
            ("failure_costs", |r| Cell::rounded(Some(r.of.borne[3] / r.units), 2)),
            ("total_p80_error", |r| Cell::rounded(Some(r.of.spread.p80.error / r.units), 2)),
            ("total_low", |r| Cell::rounded(Some(r.of.spread.low / r.units), 2)),
            ("total_high", |r| Cell::rounded(Some(r.of.spread.high / r.units), 2)),
        ],
    )?;
    Ok(table.csv)
}
