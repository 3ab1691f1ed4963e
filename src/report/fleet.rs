//! Making the fleet's own documents: the report and the page. Glue; what they say is decided in `fleet_view` and
//! `index`.

use crate::calendar::Month;
use crate::charts;
use crate::fleet_figures::FleetFigures;
use crate::output::Part;
use crate::report::document::{Document, MakeError, Problem};
use crate::report::site::{Maker, Numbers};
use crate::report::{fleet_view, index};

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
        for chart in charts.ahead.iter().chain(&charts.held) {
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
    use charts::{MonthsAheadInput, RangesHeldInput};
    let due: Vec<_> = figures.sites.iter().flat_map(|site| &site.parts).filter_map(|part| part.due).collect();
    let coming = figures.month.next().through(figures.month.plus(12));
    let ahead = MonthsAheadInput {
        name: "parts-ahead".to_owned(),
        past: due.iter().filter(|day| **day <= figures.as_of).count(),
        months: coming
            .map(|month| (month.first(), due.iter().filter(|day| Month::of(**day) == month).count()))
            .collect(),
    };
    let held = RangesHeldInput {
        name: "ranges-held".to_owned(),
        promised: fleet_view::PROMISED,
        made: fleet_view::ranges_made(figures),
        range_name: "central 80 %".to_owned(),
    };
    fleet_view::Charts { ahead: charts::months_ahead(&ahead).ok(), held: charts::ranges_held(&held).ok() }
}
