//! Making the documents of a quote: the customer's, and the office's. Two files from two views: what stands in one cannot
//! get into the other.

use chrono::NaiveDate;

use crate::charts::Chart;
use crate::costs::quote::{Quote, Unit};
use crate::output::Part;
use crate::report::document::{Document, MakeError, Problem};
use crate::report::inside_view::InsideView;
use crate::report::quote_view::QuoteView;
use crate::report::template::{TemplateError, Templates};
use crate::report::typst::Typesetter;

/// Makes the documents of quotes; shared between workers.
pub struct Maker {
    templates: Templates,
}

impl Maker {
    /// Prepares the templates.
    ///
    /// # Errors
    /// If they are not valid.
    pub fn new() -> Result<Self, TemplateError> {
        Ok(Self { templates: Templates::embedded()? })
    }

    /// Makes `quote.pdf` and `inside.pdf`.
    ///
    /// # Errors
    /// Only what ends the run; what the renderer refuses is a problem of this quote.
    pub fn make(
        &self,
        part: &Part,
        quote: &Quote,
        customer: &QuoteView,
        (inside, chart): (&InsideView, Option<&Chart>),
        typesetter: &dyn Typesetter,
        as_of: NaiveDate,
    ) -> Result<Vec<Problem>, MakeError> {
        let subject = match &quote.unit {
            Unit::Site(id) | Unit::Customer(id) => id.as_str(),
        };
        let mut problems = Vec::new();
        let document = Document {
            subject,
            build: "quote".to_owned(),
            main: "quote.typ",
            pdf: "quote.pdf".to_owned(),
            files: self.templates.files(
                "quote.typ",
                self.templates.render_quote(customer)?,
                &["quote-layout.typ", "statement-layout.typ", "layout.typ"],
            ),
            data: serde_json::to_value(customer)?,
        };
        document.typeset(part, typesetter, as_of, &mut problems)?;
        let text = self.templates.render_inside(inside)?;
        let mut files = self.templates.files("inside.typ", text, &["inside-layout.typ", "layout.typ"]);
        files.extend(chart.map(|chart| (format!("charts/{}.svg", chart.name), chart.svg.clone().into_bytes())));
        let document = Document {
            subject,
            build: "inside".to_owned(),
            main: "inside.typ",
            pdf: "inside.pdf".to_owned(),
            files,
            data: serde_json::to_value(inside)?,
        };
        document.typeset(part, typesetter, as_of, &mut problems)?;
        Ok(problems)
    }
}
