//! Making a site's work sheets: view, template, PDF. What they say is decided in `visits_view`.

use crate::calendar::Month;
use crate::output::Part;
use crate::records::Fleet;
use crate::report::document::{Document, MakeError, Problem};
use crate::report::template::Templates;
use crate::report::typst::Typesetter;
use crate::report::{site_view, visits_view};
use crate::schedule::visits::Plan;
use crate::site::SiteFigures;

/// What the work sheets of every site are made from.
pub struct WorkSheets<'a> {
    /// What all sites share.
    pub fleet: &'a Fleet,
    /// The planned visits.
    pub plan: &'a Plan,
    /// The month.
    pub month: Month,
    /// The templates.
    pub templates: &'a Templates,
}

impl WorkSheets<'_> {
    /// Makes the work sheets of a site, if there is anything to put on one; whether they were made.
    ///
    /// # Errors
    /// Only what ends the run; sheets the renderer refuses are a problem of that site.
    pub fn make(
        &self,
        part: &Part,
        site: &SiteFigures,
        typesetter: &dyn Typesetter,
        problems: &mut Vec<Problem>,
    ) -> Result<bool, MakeError> {
        let document = site_view::document_of(self.fleet, site, self.month);
        let given =
            visits_view::Given { fleet: self.fleet, site, plan: self.plan, month: self.month, document: &document };
        let Some(view) = visits_view::view(&given) else { return Ok(false) };
        let id = site.site.id.as_str();
        let files = self.templates.files(
            "visits.typ",
            self.templates.render_visits(&view)?,
            &["visits-layout.typ", "layout.typ"],
        );
        let sheets = Document {
            subject: id,
            // No id has two hyphens in a row, so that this is no site's.
            build: format!("{id}--visits"),
            main: "visits.typ",
            pdf: format!("sites/{id}/visits.pdf"),
            files,
            data: serde_json::to_value(&view)?,
        };
        sheets.typeset(part, typesetter, site.as_of, problems)
    }
}
