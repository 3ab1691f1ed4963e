//! `part_lives.csv`: what the fleet's lives say of each kind of part.

use super::{Cell, Table, TableError, table};
use crate::address::Id;
use crate::quantities::part_life_model::{Advice, FleetLives, KindModel};
use crate::stats::weibull::Weibull;

struct Row<'a> {
    part: &'a Id,
    /// `all`, or the pump model.
    group: &'a str,
    kind: &'a KindModel,
    /// Shape, scale and B10, each at 10, 50 and 90 %.
    shape: [Option<f64>; 3],
    scale: [Option<f64>; 3],
    b10: [Option<f64>; 3],
    /// The best age and its ends; nothing where renewing early does not pay.
    best: [Option<f64>; 3],
    /// What it saves against the book.
    saving: [Option<f64>; 3],
    against_failure: [Option<f64>; 3],
    advice: &'static str,
}

fn row<'a>(part: &'a Id, group: &'a str, kind: &'a KindModel) -> Row<'a> {
    let posterior = kind.posterior.as_ref();
    let of = |function: fn(&Weibull) -> f64| match posterior {
        Some(posterior) => posterior.quantiles_of([0.1, 0.5, 0.9], function).map(Some),
        None => [None; 3],
    };
    let advice = kind.advice();
    let replacement = kind.replacement.as_ref();
    let pays = replacement.filter(|_| matches!(advice, Advice::BestAge(_) | Advice::Book));
    // No number where no age is best.
    let finite = |age: f64| Some(age).filter(|age| age.is_finite());
    Row {
        part,
        group,
        kind,
        shape: posterior.map_or([None; 3], |p| [0.1, 0.5, 0.9].map(|share| Some(p.shape(share)))),
        scale: of(|w| w.scale),
        b10: of(|w| w.quantile(0.1)),
        best: pays.map_or([None; 3], |r| [finite(r.age_low.min(r.age)), Some(r.age), finite(r.age_high.max(r.age))]),
        saving: pays.map_or([None; 3], |r| r.against_book.map(Some)),
        against_failure: replacement.map_or([None; 3], |r| r.against_failure.map(Some)),
        advice: match advice {
            Advice::BestAge(_) => "renew at the best age",
            Advice::Book => "keep to the book",
            Advice::NoSignYet => "no sign yet that renewing early pays",
            Advice::DoesNotPay => "renewing early does not pay",
            Advice::Unknown => "",
        },
    }
}

/// A row a kind of part over the whole fleet, and one a pump model where models differ.
pub(super) fn part_lives(lives: &FleetLives) -> Result<Table, TableError> {
    let rows: Vec<Row> = lives
        .kinds()
        .flat_map(|(id, kind)| {
            let groups = kind.groups.iter().map(|(model, of_model)| (model.as_str(), of_model));
            std::iter::once(("all", kind)).chain(groups).map(|(group, kind)| row(id, group, kind))
        })
        .collect();
    table(
        "part_lives",
        &rows,
        &[
            ("part", |r| Cell::text(r.part)),
            ("group", |r| Cell::text(r.group)),
            ("clock", |r| Cell::text(r.kind.unit())),
            ("in_service", |r| Cell::Count(Some(r.kind.in_service as i64))),
            ("failures", |r| Cell::Count(Some(r.kind.failures as i64))),
            ("method", |r| Cell::text(if r.kind.posterior.is_some() { "weibull posterior" } else { "" })),
            ("shape", |r| Cell::rounded(r.shape[1], 4)),
            ("shape_low", |r| Cell::rounded(r.shape[0], 4)),
            ("shape_high", |r| Cell::rounded(r.shape[2], 4)),
            ("scale", |r| Cell::rounded(r.scale[1], 1)),
            ("scale_low", |r| Cell::rounded(r.scale[0], 1)),
            ("scale_high", |r| Cell::rounded(r.scale[2], 1)),
            ("b10", |r| Cell::rounded(r.b10[1], 1)),
            ("b10_low", |r| Cell::rounded(r.b10[0], 1)),
            ("b10_high", |r| Cell::rounded(r.b10[2], 1)),
            ("best_age", |r| Cell::rounded(r.best[1], 1)),
            ("best_age_low", |r| Cell::rounded(r.best[0], 1)),
            ("best_age_high", |r| Cell::rounded(r.best[2], 1)),
            ("best_age_saving", |r| Cell::rounded(r.saving[1], 4)),
            ("status", |r| Cell::text(r.kind.status.word())),
            ("best_age_saving_low", |r| Cell::rounded(r.saving[0], 4)),
            ("best_age_saving_high", |r| Cell::rounded(r.saving[2], 4)),
            ("saving_against_failure", |r| Cell::rounded(r.against_failure[1], 4)),
            ("saving_against_failure_low", |r| Cell::rounded(r.against_failure[0], 4)),
            ("saving_against_failure_high", |r| Cell::rounded(r.against_failure[2], 4)),
            ("advice_flips_at_failure_cost", |r| {
                Cell::rounded(r.kind.replacement.as_ref().and_then(|found| found.flips_at), 2)
            }),
            ("advice", |r| Cell::text(r.advice)),
            ("book", |r| Cell::rounded(r.kind.book, 1)),
            ("failures_of_unknown_age", |r| Cell::Count(Some(r.kind.failures_of_unknown_age as i64))),
            ("likelihood_shape", |r| Cell::rounded(r.kind.maximum.map(|(weibull, _)| weibull.shape), 4)),
            ("likelihood_scale", |r| Cell::rounded(r.kind.maximum.map(|(weibull, _)| weibull.scale), 1)),
            ("likelihood_disagrees", |r| Cell::text(if r.kind.is_disputed() { "yes" } else { "no" })),
            ("sound_from_age", |r| Cell::rounded(r.kind.curve_check.map(|c| c.from), 1)),
            ("sound_at_age", |r| Cell::rounded(r.kind.curve_check.map(|c| c.age), 1)),
            ("sound_counted", |r| Cell::rounded(r.kind.curve_check.map(|c| c.counted[1]), 4)),
            ("sound_counted_low", |r| Cell::rounded(r.kind.curve_check.map(|c| c.counted[0]), 4)),
            ("sound_counted_high", |r| Cell::rounded(r.kind.curve_check.map(|c| c.counted[2]), 4)),
            ("sound_modelled", |r| Cell::rounded(r.kind.curve_check.map(|c| c.modelled[1]), 4)),
            ("book_at_usual_use", |r| Cell::rounded(r.kind.book_at_usual_use(), 1)),
        ],
    )
}
