//! `occupied_nights.csv`: when guests are in, by the bookings of the coming twelve months, what the strip of the year draws.

use super::{Cell, Of, Table, TableError, table};
use crate::calendar::{days_between, plus_days};
use crate::site::SiteFigures;

/// Days ahead: the strip ends there.
const DAYS: i64 = 365;

pub(super) fn occupied_nights(sites: &[SiteFigures]) -> Result<Table, TableError> {
    let mut rows = Vec::new();
    for site in sites {
        let (first, last) = (plus_days(site.as_of, 1), plus_days(site.as_of, DAYS));
        for spa in &site.site.spas {
            for (from, to) in spa.stays.iter().flat_map(|stays| stays.occupied()) {
                // A stay under way is told from the day behind the as-of day on.
                let from = from.max(first);
                if from <= last && from < to {
                    rows.push(Of { site: site.site.id.as_str(), at: &spa.at, row: (from, to) });
                }
            }
        }
    }
    rows.sort_by(|a, b| (a.site, a.at, a.row).cmp(&(b.site, b.at, b.row)));
    table(
        "occupied_nights",
        &rows,
        &[
            ("site", |r| Cell::text(r.site)),
            ("at", |r| Cell::text(r.at)),
            ("from", |r| Cell::date(Some(r.row.0))),
            ("to", |r| Cell::date(Some(r.row.1))),
            ("nights", |r| Cell::Count(Some(days_between(r.row.0, r.row.1)))),
        ],
    )
}
