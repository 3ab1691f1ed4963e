//! `measured_trends.csv`: what drifts of what is measured.

use super::{Cell, Of, Table, TableError, table};
use crate::site::SiteFigures;

pub(super) fn measured_trends(sites: &[SiteFigures]) -> Result<Table, TableError> {
    let rows: Vec<_> = sites
        .iter()
        .flat_map(|site| site.trends.iter().map(move |row| Of { site: site.site.id.as_str(), at: &row.at, row }))
        .collect();
    table(
        "measured_trends",
        &rows,
        &[
            ("site", |r| Cell::text(r.site)),
            ("at", |r| Cell::text(r.at)),
            ("quantity", |r| Cell::text(r.row.quantity.word())),
            ("readings", |r| Cell::Count(Some(r.row.readings as i64))),
            ("slope_per_30d", |r| Cell::rounded(Some(r.row.slope), 6)),
            ("slope_low", |r| Cell::rounded(r.row.range.map(|range| range.0), 6)),
            ("slope_high", |r| Cell::rounded(r.row.range.map(|range| range.1), 6)),
            ("p_value", |r| Cell::rounded(Some(r.row.p_value), 6)),
            ("limit", |r| Cell::rounded(r.row.limit, 4)),
            ("crosses", |r| Cell::date(r.row.crosses)),
            ("crosses_low", |r| Cell::date(r.row.crosses_low)),
            ("crosses_high", |r| Cell::date(r.row.crosses_high)),
            ("from", |r| Cell::date(Some(r.row.from))),
            ("to", |r| Cell::date(Some(r.row.to))),
            // The line of the charts, and the levels the reports name.
            ("fitted_from", |r| Cell::rounded(Some(r.row.value_on(r.row.from, r.row.slope)), 4)),
            ("fitted_to", |r| Cell::rounded(Some(r.row.value_on(r.row.to, r.row.slope)), 4)),
            ("first_three_median", |r| Cell::rounded(Some(r.row.levels.0), 4)),
            ("last_three_median", |r| Cell::rounded(Some(r.row.levels.1), 4)),
            ("source", |r| Cell::text(&r.row.source)),
        ],
    )
}
