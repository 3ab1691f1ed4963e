//! One document on its way through the renderer: its build folder, its data with every text made printable, its PDF.
//! What it says is decided elsewhere.

use chrono::{NaiveDate, NaiveTime, TimeZone, Utc};

use crate::charts::style::printable;
use crate::digest::OfAll;
use crate::output::{OutputError, Part};
use crate::report::template::TemplateError;
use crate::report::typst::{self, Job, TypesetError, Typesetter};

/// A problem of the documents.
#[derive(Debug)]
pub struct Problem {
    /// What it is.
    pub text: String,
    /// Whether something was left out for it.
    pub costs: bool,
    /// Texts of a document with characters the font lacks, told once for all documents of a subject; `None` = it is
    /// something else, and `text` says it.
    pub lacking: Option<Lacking>,
}

/// Texts of a document with characters the reports' font lacks.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Lacking {
    /// What the document is about.
    pub subject: String,
    /// The document's file.
    pub document: String,
    /// How many texts.
    pub texts: usize,
}

impl Problem {
    /// Something to be told in these words.
    pub fn told(text: String, costs: bool) -> Self {
        Self { text, costs, lacking: None }
    }
}

/// Why a run must end: the disk or the templates, not one site.
#[derive(Debug, thiserror::Error)]
pub enum MakeError {
    /// A file could not be written.
    #[error(transparent)]
    Output(#[from] OutputError),
    /// The templates are not valid.
    #[error(transparent)]
    Template(#[from] TemplateError),
    /// The view could not be written as JSON.
    #[error("a report's data could not be written: {0}")]
    Json(#[from] serde_json::Error),
}

/// One document to typeset: what goes into its build folder, and where the PDF goes.
#[derive(Debug)]
pub struct Document<'a> {
    /// What it is about, for messages: a site's or customer's id, or the fleet.
    pub subject: &'a str,
    /// The name of its build folder, its own among all documents of the run.
    pub build: String,
    /// The Typst file that is set.
    pub main: &'static str,
    /// The PDF's path in the month's folder.
    pub pdf: String,
    /// The files it is set from.
    pub files: Vec<(String, Vec<u8>)>,
    /// What stands in `data.json`.
    pub data: serde_json::Value,
}

impl Document<'_> {
    /// Typesets it; whether it was made.
    ///
    /// # Errors
    /// Only what ends the run; what the renderer refuses is a problem of this document.
    pub fn typeset(
        mut self,
        part: &Part,
        typesetter: &dyn Typesetter,
        as_of: NaiveDate,
        problems: &mut Vec<Problem>,
    ) -> Result<bool, MakeError> {
        let mut replaced = 0;
        make_printable(&mut self.data, &mut replaced);
        if replaced > 0 {
            let document = self.pdf.rsplit('/').next().unwrap_or(&self.pdf).to_owned();
            let lacking = Lacking { subject: self.subject.to_owned(), document, texts: replaced };
            problems.push(Problem { text: String::new(), costs: false, lacking: Some(lacking) });
        }
        let data = serde_json::to_string_pretty(&self.data)?;
        let timestamp = Utc.from_utc_datetime(&as_of.and_time(NaiveTime::from_hms_opt(12, 0, 0).unwrap_or_default()));
        let made_from = self.made_from(&data, &typesetter.version(), timestamp.timestamp());
        if part.keep(&self.pdf, &made_from)? {
            return Ok(true);
        }
        let build = part.build_folder(&self.build)?;
        for (name, bytes) in &self.files {
            build.write(name, bytes)?;
        }
        build.write("data.json", data.as_bytes())?;
        let target = part.path(&self.pdf)?;
        let job = Job {
            build: build.path(),
            main: self.main,
            pdf: &target,
            timestamp: timestamp.timestamp(),
            subject: self.subject,
        };
        match typesetter.typeset(&job) {
            Ok(warnings) => {
                // What the renderer warned of is to be said by every run, so it is made anew by every run.
                part.adopt(&self.pdf, warnings.is_none().then_some(made_from.as_str()))?;
                if let Some(text) = warnings {
                    let text = format!("{}: the renderer warns: {text}", self.subject);
                    problems.push(Problem::told(text, false));
                }
                return Ok(true);
            }
            // The run notices by itself that it was asked to end.
            Err(TypesetError::Interrupted(_)) => {}
            Err(TypesetError::Output(error)) => return Err(error.into()),
            Err(error) => {
                problems.push(Problem::told(error.to_string(), true));
                // Where it lies is for whoever runs this, not for the manifest and the reports: it differs by machine.
                if let Ok(kept) = build.keep() {
                    let text = format!("{}: the renderer's input is kept in {}", self.subject, kept.display());
                    problems.push(Problem::told(text, false));
                }
            }
        }
        Ok(false)
    }
}

impl Document<'_> {
    /// A digest of all the PDF is made from: the renderer and how it is called, the fonts, the day written into it, and
    /// every file of the build folder.
    fn made_from(&self, data: &str, renderer: &str, timestamp: i64) -> String {
        let mut all = OfAll::default();
        all.put(renderer);
        all.put(timestamp.to_le_bytes());
        all.put(self.main);
        all.put(typst::calling());
        for (name, bytes) in &self.files {
            all.put(name);
            all.put(bytes);
        }
        all.put(data);
        all.finish()
    }
}

/// Replaces what no bundled font has, visibly, in every text.
fn make_printable(value: &mut serde_json::Value, replaced: &mut usize) {
    match value {
        serde_json::Value::String(text) => {
            let shown = printable(text);
            // White space put in order is no loss; what was shown as a box is.
            let boxes = |text: &str| text.matches('□').count();
            *replaced += usize::from(boxes(&shown) > boxes(text));
            *text = shown;
        }
        serde_json::Value::Array(items) => items.iter_mut().for_each(|item| make_printable(item, replaced)),
        serde_json::Value::Object(fields) => fields.values_mut().for_each(|field| make_printable(field, replaced)),
        _ => {}
    }
}
