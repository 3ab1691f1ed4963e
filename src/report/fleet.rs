//! Making the fleet's own documents: the report and the page. Glue; what they say is decided in `fleet_view` and
//! `index`.

use crate::charts;
use crate::fleet_figures::FleetFigures;
use crate::output::Part;
use crate::report::document::{Document, MakeError, Problem};
use crate::report::site::{Maker, Numbers};
use crate::report::template::{FLEET_LAYOUT, LAYOUT};
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
        let charts: Vec<charts::Chart> = charts(figures);
        let view = fleet_view::view(&fleet_view::Given { figures, previous, left_out, charts: &charts });
        let mut files = vec![
            ("fleet.typ".to_owned(), maker.templates().render_fleet(&view)?.into_bytes()),
            ("fleet-layout.typ".to_owned(), FLEET_LAYOUT.into()),
            ("layout.typ".to_owned(), LAYOUT.into()),
        ];
        for chart in charts {
            files.push((format!("charts/{}.svg", chart.name), chart.svg.into_bytes()));
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

fn charts(_figures: &FleetFigures) -> Vec<charts::Chart> {
    Vec::new()
}
