//! `readings.csv`: what was measured at spas, filters and pumps in the last twelve months: what the charts of pressures and of
//! condition draw.

use super::{Cell, Of, Table, TableError, table};
use crate::calendar::plus_days;
use crate::records::log::Quantity;
use crate::site::SiteFigures;

/// Days of readings in the table: the charts reach back no further.
const DAYS: i64 = 365;

pub(super) fn readings(sites: &[SiteFigures]) -> Result<Table, TableError> {
    let mut rows = Vec::new();
    for site in sites {
        let from = plus_days(site.as_of, -DAYS);
        for (at, readings) in &site.site.readings {
            for row in readings.iter().filter(|row| row.day >= from) {
                if let Some(quantity) = name(row.quantity) {
                    rows.push(Of { site: site.site.id.as_str(), at, row: (row, quantity, row.source(site.site, at)) });
                }
            }
        }
    }
    table(
        "readings",
        &rows,
        &[
            ("site", |r| Cell::text(r.site)),
            ("at", |r| Cell::text(r.at)),
            ("date", |r| Cell::date(Some(r.row.0.day))),
            ("quantity", |r| Cell::text(r.row.1)),
            ("value", |r| Cell::rounded(Some(r.row.0.value), 4)),
            ("source", |r| Cell::text(&r.row.2)),
        ],
    )
}

/// A quantity with its unit; `None` for what stands in other tables.
fn name(quantity: Quantity) -> Option<&'static str> {
    match quantity {
        Quantity::Pressure => Some("pressure_bar"),
        Quantity::Current => Some("current_a"),
        Quantity::CurrentLow => Some("current_low_a"),
        Quantity::Temperature => Some("temperature_c"),
        _ => None,
    }
}
