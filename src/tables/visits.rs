//! `visits.csv`: what is done at each planned visit.

use rust_decimal::prelude::ToPrimitive;

use super::{Cell, Table, TableError, table};
use crate::schedule::visits::{Visit, VisitTask};
use crate::site::SiteFigures;

/// A row for each task of each planned visit, by site, then day.
pub(super) fn visits(sites: &[SiteFigures]) -> Result<Table, TableError> {
    let visits = sites.iter().flat_map(|site| &site.visits);
    let mut rows: Vec<(&Visit, &VisitTask)> =
        visits.flat_map(|visit| visit.tasks.iter().map(move |task| (visit.as_ref(), task))).collect();
    rows.sort_by(|(a, one), (b, other)| {
        (&a.site, a.date, &one.at, &one.work).cmp(&(&b.site, b.date, &other.at, &other.work))
    });
    table(
        "visits",
        &rows,
        &[
            ("visit", |(visit, _)| Cell::text(&visit.id)),
            ("site", |(visit, _)| Cell::text(&visit.site)),
            ("date", |(visit, _)| Cell::date(Some(visit.date))),
            ("technician", |(visit, _)| Cell::text(visit.technician.as_ref().map_or("", |id| id.as_str()))),
            ("at", |(_, task)| Cell::text(&task.at)),
            ("task", |(_, task)| Cell::text(task.work.word())),
            ("because", |(_, task)| Cell::text(&task.because)),
            ("due", |(_, task)| Cell::date(task.due)),
            ("minutes", |(_, task)| Cell::rounded(Some(task.minutes), 0)),
            ("take", |(_, task)| Cell::text(taken(task))),
            ("cost", |(_, task)| Cell::rounded(task.cost.and_then(|cost| cost.to_f64()), 4)),
            ("travel_minutes", |(visit, _)| Cell::rounded(Some(visit.travel_minutes), 0)),
            ("travel_cost", |(visit, _)| Cell::rounded(visit.travel_cost.and_then(|cost| cost.to_f64()), 4)),
            ("urgent", |(_, task)| Cell::Count(Some(i64::from(task.urgent)))),
            ("late_because", |(_, task)| Cell::text(task.late.as_deref().unwrap_or_default())),
            ("moved", |(visit, task)| Cell::text(task.moved.as_deref().or(visit.moved.as_deref()).unwrap_or_default())),
        ],
    )
}

/// What is brought: `1 × SS-16 shaft_seal; 2 × union_gasket`.
fn taken(task: &VisitTask) -> String {
    let one = |take: &crate::schedule::visits::Take| match &take.number {
        Some(number) => format!("{} × {number} {}", take.count, take.part),
        None => format!("{} × {}", take.count, take.part),
    };
    task.take.iter().map(one).collect::<Vec<_>>().join("; ")
}
