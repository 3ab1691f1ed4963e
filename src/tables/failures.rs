//! `failures.csv`: each failure, what the charts of failures draw.

use super::{Cell, Of, Table, TableError, table};
use crate::site::SiteFigures;

pub(super) fn failures(sites: &[SiteFigures]) -> Result<Table, TableError> {
    let mut rows: Vec<_> = sites
        .iter()
        .flat_map(|site| {
            let pumps = site.spas.iter().flat_map(|spa| &spa.pumps);
            pumps.flat_map(move |pump| {
                let units = pump.failures.units();
                units.flat_map(|unit| unit.incidents.iter().map(move |row| (unit, row))).map(move |(unit, row)| {
                    // As the chart has it: from where the failures of this pump are on record.
                    let since = unit.since;
                    let hours = pump.hours.as_ref().filter(|hours| !hours.curves.is_empty()).and_then(|hours| {
                        hours.curves.iter().map(|curve| curve.hours_between(since, row.day)).sum::<Option<f64>>()
                    });
                    Of { site: site.site.id.as_str(), at: &pump.at, row: (row, hours) }
                })
            })
        })
        .collect();
    rows.sort_by(|a, b| (a.site, a.at).cmp(&(b.site, b.at)));
    table(
        "failures",
        &rows,
        &[
            ("site", |r| Cell::text(r.site)),
            ("at", |r| Cell::text(r.at)),
            ("date", |r| Cell::date(Some(r.row.0.day))),
            ("what", |r| Cell::text(r.row.0.what.join(" + "))),
            ("hours_since_records", |r| Cell::rounded(r.row.1, 1)),
            ("source", |r| Cell::text(&r.row.0.source)),
        ],
    )
}
