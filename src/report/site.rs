//! Making a site's documents: charts, view, template, PDF. Glue between the view, the charts and the
//! renderer; what the report says is decided in `site_view`.

use std::fmt::Write;

use chrono::{NaiveTime, TimeZone, Utc};
use rust_decimal::Decimal;

use crate::calendar::Month;
use crate::charts::Chart;
use crate::charts::style::printable;
use crate::output::{FileDigest, OutputError, Part};
use crate::quantities::water_turnover::WaterMonth;
use crate::records::Fleet;
use crate::report::logbook_view;
use crate::report::site_charts::{self, Charts};
use crate::report::site_view;
use crate::report::template::{LAYOUT, LOGBOOK_LAYOUT, TemplateError, Templates};
use crate::report::typst::{Job, TypesetError, Typesetter};
use crate::site::SiteFigures;

/// The numbers of page one that stand beside last month's.
#[derive(Debug, Clone)]
pub struct Numbers {
    /// The spa whose turnover is worst against its limit: its address, the time and the limit in minutes.
    pub worst: Option<(String, f64, Option<f64>)>,
    /// Parts overdue or due within 90 days.
    pub parts_due: usize,
    /// The planned work of twelve months, if any of it has a price.
    pub planned_cost: Option<Decimal>,
}

impl Numbers {
    /// The numbers of a site.
    pub fn of(site: &SiteFigures) -> Self {
        let turnover = |row: &WaterMonth| row.turnover.as_ref().map(|t| (t.value, row.limit_min));
        let worst = site
            .spas
            .iter()
            .filter_map(|spa| {
                let (minutes, limit) = turnover(spa.water.months.last()?)?;
                Some((spa.at.to_string(), minutes, limit))
            })
            .max_by(|a, b| {
                let against = |x: &(String, f64, Option<f64>)| x.2.map_or(x.1 / 1e6, |limit| x.1 / limit);
                against(a).total_cmp(&against(b))
            });
        let priced = site.year.lines.iter().any(|line| line.amount.is_some());
        Self { worst, parts_due: site.parts_due_within(90), planned_cost: priced.then_some(site.year.total) }
    }
}

/// What was made of a site.
#[derive(Debug, Default)]
pub struct Made {
    /// Whether its PDF was.
    pub pdf: bool,
    /// What somebody must know.
    pub problems: Vec<Problem>,
}

impl Made {
    /// In words, for progress.
    pub fn in_words(&self) -> &'static str {
        if self.pdf { "report" } else { "figures" }
    }
}

/// A problem of a site's documents.
#[derive(Debug)]
pub struct Problem {
    /// What it is.
    pub text: String,
    /// Whether something was left out for it.
    pub costs: bool,
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

/// Makes the documents of sites; shared between workers.
pub struct Maker<'a> {
    fleet: &'a Fleet,
    month: Month,
    inputs: &'a [FileDigest],
    typesetter: Option<&'a dyn Typesetter>,
    templates: Templates,
}

impl<'a> Maker<'a> {
    /// Prepares the templates.
    ///
    /// # Errors
    /// If they are not valid.
    pub fn new(
        fleet: &'a Fleet,
        month: Month,
        inputs: &'a [FileDigest],
        typesetter: Option<&'a dyn Typesetter>,
    ) -> Result<Self, TemplateError> {
        Ok(Self { fleet, month, inputs, typesetter, templates: Templates::embedded()? })
    }

    /// Makes a site's charts and report.
    ///
    /// # Errors
    /// Only what ends the run; a report the renderer refuses is a problem of that site.
    pub fn make(&self, part: &Part, site: &SiteFigures, previous: Option<&Numbers>) -> Result<Made, MakeError> {
        let mut made = Made::default();
        let charts: Charts = site_charts::draw(self.fleet, site, self.month);
        let folder = format!("sites/{}", site.site.id);
        for chart in charts.all() {
            part.write(&format!("{folder}/charts/{}.svg", chart.name), chart.svg.as_bytes())?;
        }
        let Some(typesetter) = self.typesetter else { return Ok(made) };
        let renderer = typesetter.version();
        let view = site_view::view(&site_view::Given {
            fleet: self.fleet,
            site,
            month: self.month,
            previous,
            charts: &charts,
            inputs: self.inputs,
            renderer: &renderer,
        });
        let logbook = logbook_view::view(&logbook_view::Given {
            fleet: self.fleet,
            site,
            month: self.month,
            document: &view.document,
            rule_book: &view.water.rule_book,
            limits: &view.closing.sources,
        });
        let id = site.site.id.as_str();
        let mut files = vec![
            ("site.typ".to_owned(), self.templates.render_site(&view)?.into_bytes()),
            ("layout.typ".to_owned(), LAYOUT.into()),
        ];
        files.extend(charts.all().map(|chart| (format!("charts/{}.svg", chart.name), chart.svg.clone().into_bytes())));
        let report = DocumentJob { build: id.to_owned(), main: "site.typ", pdf: format!("{folder}/report.pdf"), files };
        made.pdf = self.typeset(part, site, &report, serde_json::to_value(&view)?, &mut made.problems)?;
        let files = vec![
            ("logbook.typ".to_owned(), self.templates.render_logbook(&logbook)?.into_bytes()),
            ("logbook-layout.typ".to_owned(), LOGBOOK_LAYOUT.into()),
            ("layout.typ".to_owned(), LAYOUT.into()),
        ];
        let book = DocumentJob {
            // No id has two hyphens in a row, so that this is no site's.
            build: format!("{id}--logbook"),
            main: "logbook.typ",
            pdf: format!("{folder}/logbook.pdf"),
            files,
        };
        self.typeset(part, site, &book, serde_json::to_value(&logbook)?, &mut made.problems)?;
        Ok(made)
    }

    /// Typesets one document of a site; whether it was made.
    fn typeset(
        &self,
        part: &Part,
        site: &SiteFigures,
        document: &DocumentJob,
        mut data: serde_json::Value,
        problems: &mut Vec<Problem>,
    ) -> Result<bool, MakeError> {
        let Some(typesetter) = self.typesetter else { return Ok(false) };
        let mut replaced = 0;
        make_printable(&mut data, &mut replaced);
        if replaced > 0 {
            let text = format!(
                "{}: texts with characters the reports' font lacks, which print as □: {replaced}",
                site.site.id
            );
            problems.push(Problem { text, costs: false });
        }
        let build = part.build_folder(&document.build)?;
        for (name, bytes) in &document.files {
            build.write(name, bytes)?;
        }
        build.write("data.json", serde_json::to_string_pretty(&data)?.as_bytes())?;
        let target = part.path(&document.pdf)?;
        let noon = NaiveTime::from_hms_opt(12, 0, 0).unwrap_or_default();
        let timestamp = Utc.from_utc_datetime(&site.as_of.and_time(noon)).timestamp();
        let job =
            Job { build: build.path(), main: document.main, pdf: &target, timestamp, subject: site.site.id.as_str() };
        match typesetter.typeset(&job) {
            Ok(warnings) => {
                part.adopt(&document.pdf)?;
                if let Some(text) = warnings {
                    let text = format!("{}: the renderer warns: {text}", site.site.id);
                    problems.push(Problem { text, costs: false });
                }
                return Ok(true);
            }
            // The run notices by itself that it was asked to end.
            Err(TypesetError::Interrupted(_)) => {}
            Err(TypesetError::Output(error)) => return Err(error.into()),
            Err(error) => {
                let mut text = error.to_string();
                if let Ok(kept) = build.keep() {
                    let _ = write!(text, " (its input is kept in {})", kept.display());
                }
                problems.push(Problem { text, costs: true });
            }
        }
        Ok(false)
    }
}

/// One document to typeset: what goes into its build folder, and where the PDF goes.
struct DocumentJob {
    build: String,
    main: &'static str,
    pdf: String,
    files: Vec<(String, Vec<u8>)>,
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

/// A chart's place in the view.
pub fn in_view(chart: &Chart, title: &str) -> crate::report::view::Chart {
    crate::report::view::Chart {
        file: format!("charts/{}.svg", chart.name),
        alt: chart.alt.clone(),
        caption: chart.caption.clone(),
        title: title.to_owned(),
    }
}
