//! Making the customers' statements: one document a customer and month. Glue between the statement, its view and the
//! renderer.

use crate::calendar::Month;
use crate::costs::statement::statement;
use crate::fleet_figures::FleetFigures;
use crate::output::Part;
use crate::records::Site;
use crate::report::document::{Document, MakeError, Problem};
use crate::report::statement_view;
use crate::report::template::Templates;
use crate::report::typst::Typesetter;

/// Makes the statement of every customer with a site in the run, each in a worker of its own; what was amiss with some.
///
/// # Errors
/// Only what ends the run; a statement the renderer refuses is a problem of that customer.
pub fn make(
    figures: &FleetFigures,
    part: &Part,
    typesetter: &dyn Typesetter,
    templates: &Templates,
) -> Result<Vec<Problem>, MakeError> {
    use rayon::prelude::*;
    let made: Vec<Result<Vec<Problem>, MakeError>> = figures
        .fleet
        .customers
        .par_iter()
        .map(|(id, customer)| {
            let sites: Vec<&Site> =
                figures.sites.iter().map(|site| site.site).filter(|site| site.customer.as_ref() == Some(id)).collect();
            let mut problems = Vec::new();
            if sites.is_empty() {
                return Ok(problems);
            }
            let month: Month = figures.month;
            let view = statement_view::view(figures.fleet, &statement(figures.fleet, id, customer, &sites, month));
            let document = Document {
                subject: id.as_str(),
                // No site's id begins so: an id has no two hyphens in a row.
                build: format!("customer--{id}"),
                main: "statement.typ",
                pdf: format!("customers/{id}/statement.pdf"),
                files: templates.files(
                    "statement.typ",
                    templates.render_statement(&view)?,
                    &["statement-layout.typ", "layout.typ"],
                ),
                data: serde_json::to_value(&view)?,
            };
            document.typeset(part, typesetter, figures.as_of, &mut problems)?;
            Ok(problems)
        })
        .collect();
    Ok(made.into_iter().collect::<Result<Vec<_>, _>>()?.into_iter().flatten().collect())
}
