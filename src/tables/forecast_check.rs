//! `forecast_check.csv`: past forecasts against what happened, of pumps, sites and the fleet.

use chrono::NaiveDate;

use super::{Cell, Table, TableError, table};
use crate::quantities::forecast_check::{Checks, What};
use crate::site::SiteFigures;

struct Row {
    made_on: NaiveDate,
    horizon_months: u32,
    scope: &'static str,
    id: String,
    what: What,
    /// Expected, low, high, observed.
    values: [f64; 4],
    inside: bool,
}

pub(super) fn forecast_check(sites: &[SiteFigures], checks: &Checks) -> Result<Table, TableError> {
    let of_pumps = sites.iter().flat_map(|site| {
        site.forecast_checks.iter().map(move |check| Row {
            made_on: check.made_on,
            horizon_months: check.horizon_months,
            scope: "pump",
            id: format!("{}/{}", site.site.id, check.at),
            what: What::Hours,
            values: [check.expected, check.low, check.high, check.observed],
            inside: check.inside(),
        })
    });
    let of_groups = checks.groups.iter().map(|check| Row {
        made_on: check.made_on,
        horizon_months: check.horizon_months,
        scope: if check.site.is_some() { "site" } else { "fleet" },
        id: check.site.clone().unwrap_or_else(|| "all".to_owned()),
        what: check.what,
        values: [check.expected, check.low, check.high, check.observed],
        inside: check.inside(),
    });
    let rows: Vec<Row> = of_pumps.chain(of_groups).collect();
    table(
        "forecast_check",
        &rows,
        &[
            ("made_on", |r| Cell::date(Some(r.made_on))),
            ("horizon_months", |r| Cell::Count(Some(i64::from(r.horizon_months)))),
            ("scope", |r| Cell::text(r.scope)),
            ("id", |r| Cell::text(&r.id)),
            ("what", |r| Cell::text(r.what.words())),
            ("expected", |r| Cell::rounded(Some(r.values[0]), 2)),
            ("low", |r| Cell::rounded(Some(r.values[1]), 2)),
            ("high", |r| Cell::rounded(Some(r.values[2]), 2)),
            ("observed", |r| Cell::rounded(Some(r.values[3]), 2)),
            ("inside", |r| Cell::Count(Some(i64::from(r.inside)))),
        ],
    )
}
