//! `mean_failures.csv`: the failures a pump has had on the average by its hours, what the charts of mean failures draw.

use super::{Cell, Table, TableError, table};
use crate::quantities::failure_trends::Scope;
use crate::quantities::part_life_model::FleetLives;
use crate::stats::recurrence::MeanStep;

struct Row<'a> {
    scope: Scope,
    id: &'a str,
    since: &'static str,
    step: &'a MeanStep,
}

pub(super) fn mean_failures(lives: &FleetLives) -> Result<Table, TableError> {
    // A pump's own failures are a count, and stand in `failures.csv`.
    let groups = lives.trends.all().filter(|(scope, ..)| *scope != Scope::Pump);
    let rows: Vec<Row> = groups
        .flat_map(|(scope, id, trend)| {
            let by_age = trend.mean_failures.iter().map(|step| ("new", step));
            let watched = trend.mean_watched.iter().map(|step| ("records began", step));
            by_age.chain(watched).map(move |(since, step)| Row { scope, id, since, step })
        })
        .collect();
    table(
        "mean_failures",
        &rows,
        &[
            ("scope", |r| Cell::text(r.scope.word())),
            ("id", |r| Cell::text(r.id)),
            ("since", |r| Cell::text(r.since)),
            ("hours", |r| Cell::rounded(Some(r.step.age), 1)),
            ("pumps", |r| Cell::Count(i64::try_from(r.step.at_risk).ok())),
            ("failures", |r| Cell::Count(i64::try_from(r.step.failures).ok())),
            ("mean", |r| Cell::rounded(Some(r.step.mean), 4)),
            ("low", |r| Cell::rounded(r.step.interval(0.8).map(|ends| ends.0), 4)),
            ("high", |r| Cell::rounded(r.step.interval(0.8).map(|ends| ends.1), 4)),
        ],
    )
}
