//! Making the fleet's own documents: the report and the page. Glue; what they say is decided in `fleet_view` and
//! `index`.

use crate::charts;
use crate::fleet_figures::FleetFigures;
use crate::output::Part;
use crate::quantities::failure_trends::{Scope, ScopeTrend};
use crate::quantities::failures::LEAST_FAILURES;
use crate::report::document::{Document, MakeError, Problem};
use crate::report::site::{Maker, Numbers};
use crate::report::{fleet_view, index};
use crate::schedule::due_by_month::due_by_month;
use crate::stats::recurrence::MeanStep;

/// The name of the fleet's build folder: no site's id has two hyphens in a row.
const BUILD: &str = "fleet--report";

/// Makes `fleet.pdf`, where there is a renderer, then `index.html`, which links what is there.
///
/// # Errors
/// Only what ends the run; a report the renderer refuses is a problem.
pub fn make(
    maker: &Maker,
    part: &Part,
    figures: &FleetFigures,
    previous: &[Option<Numbers>],
    left_out: &[String],
) -> Result<Vec<Problem>, MakeError> {
    let mut problems = Vec::new();
    if let Some(typesetter) = maker.typesetter() {
        let charts = charts(figures);
        let view = fleet_view::view(&fleet_view::Given { figures, previous, left_out, charts: &charts });
        let mut files = maker.templates().files(
            "fleet.typ",
            maker.templates().render_fleet(&view)?,
            &["fleet-layout.typ", "layout.typ"],
        );
        for chart in charts.ahead.iter().chain(&charts.held).chain(&charts.means) {
            files.push((format!("charts/{}.svg", chart.name), chart.svg.clone().into_bytes()));
        }
        let document = Document {
            subject: "the fleet",
            build: BUILD.to_owned(),
            main: "fleet.typ",
            pdf: "fleet.pdf".to_owned(),
            files,
            data: serde_json::to_value(&view)?,
        };
        document.typeset(part, typesetter, figures.as_of, &mut problems)?;
    }
    let mut left_out = left_out.to_vec();
    left_out.extend(problems.iter().filter(|problem| problem.costs).map(|problem| problem.text.clone()));
    let page = index::view(figures, &part.files(), &left_out);
    part.write("index.html", maker.templates().render_index(&page)?.as_bytes())?;
    Ok(problems)
}

/// The charts of the fleet's report, by the places they stand in.
fn charts(figures: &FleetFigures) -> fleet_view::Charts {
    use charts::{MonthAhead, MonthsAheadInput, RangesHeldInput};
    let due = due_by_month(figures.sites.iter().flat_map(|site| &site.parts), figures.as_of);
    let ahead = MonthsAheadInput {
        name: "parts-ahead".to_owned(),
        past: due.past,
        months: due
            .months
            .iter()
            .map(|row| MonthAhead { day: row.month.first(), parts: row.parts, range: (row.low, row.high) })
            .collect(),
    };
    let held = RangesHeldInput {
        name: "ranges-held".to_owned(),
        promised: fleet_view::PROMISED,
        made: fleet_view::ranges_made(figures),
        range_name: "central 80 %".to_owned(),
    };
    fleet_view::Charts {
        ahead: charts::months_ahead(&ahead).ok(),
        held: charts::ranges_held(&held).ok(),
        means: means(figures),
    }
}

/// Models whose mean failures are drawn at most: of more no picture says more than the table.
const MODELS_DRAWN: usize = 2;

/// The mean failures of all pumps, and of the models that failed often where these are few.
fn means(figures: &FleetFigures) -> Vec<charts::Chart> {
    let drawn = |scope: Scope| {
        let all = figures.lives.trends.all().filter(move |(of, ..)| *of == scope);
        all.filter_map(|(_, id, trend)| {
            let (name, subject) = match scope {
                Scope::Fleet => ("mean-failures".to_owned(), "All pumps".to_owned()),
                _ => (format!("mean-failures-{}", file_name(id)), id.to_owned()),
            };
            mean_failures(trend, name, subject)
        })
        .collect::<Vec<_>>()
    };
    let of_models = drawn(Scope::Model);
    let few = if of_models.len() <= MODELS_DRAWN { of_models } else { Vec::new() };
    drawn(Scope::Fleet).into_iter().chain(few).collect()
}

/// A model's name as a part of a file's.
fn file_name(model: &str) -> String {
    model.chars().map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' }).collect()
}

/// The chart of a group's mean failures: by age where the ages of most that failed are known, else since the watch began.
pub(super) fn mean_failures(trend: &ScopeTrend, name: String, subject: String) -> Option<charts::Chart> {
    if trend.failures < LEAST_FAILURES {
        return None;
    }
    let count = |steps: &[MeanStep]| steps.iter().map(|step| step.failures).sum::<usize>();
    let by_age = 2 * count(&trend.mean_failures) >= trend.failures;
    let (steps, since) =
        if by_age { (&trend.mean_failures, "since new") } else { (&trend.mean_watched, "since the records began") };
    let input = charts::MeanFailuresInput {
        name,
        subject,
        since: since.to_owned(),
        steps: steps
            .iter()
            .map(|step| charts::MeanFailures {
                hours: step.age,
                pumps: step.at_risk,
                mean: step.mean,
                bounds: step.interval(0.8),
            })
            .collect(),
        range_name: "central 80 %".to_owned(),
    };
    charts::mean_failures(&input).ok()
}
