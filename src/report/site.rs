//! Making a site's documents: charts, view, template, PDF. Glue between the view, the charts and the
//! renderer; what the report says is decided in `site_view`.

use rust_decimal::Decimal;

use crate::calendar::Month;
use crate::charts::Chart;
use crate::costs::outlook::CostRange;
use crate::output::{FileDigest, Part};
use crate::quantities::water_turnover::Verdict;
use crate::records::Fleet;
use crate::report::document::{Document, MakeError, Problem};
use crate::report::logbook_view;
use crate::report::since::Kept;
use crate::report::site_charts::{self, Charts};
use crate::report::site_view;
use crate::report::template::Templates;
use crate::report::typst::Typesetter;
use crate::site::SiteFigures;
use crate::to_do::Urgency;

/// The turnover of the spa whose water is worst off: one that is short of its limits, else the one nearest to its own.
#[derive(Debug, Clone, PartialEq)]
pub struct Worst {
    /// The spa.
    pub at: String,
    /// Its turnover time in minutes.
    pub minutes: f64,
    /// The longest allowed, in minutes.
    pub limit: Option<f64>,
    /// Whether it was filtered fewer hours a day than asked for.
    pub few_hours: bool,
}

impl Worst {
    /// The time against its limit; without one it stands behind all that have one, the slowest first.
    pub fn against_limit(&self) -> f64 {
        self.limit.map_or(self.minutes / 1e6, |limit| self.minutes / limit)
    }
}

/// The numbers of page one that stand beside last month's.
#[derive(Debug, Clone)]
pub struct Numbers {
    /// The water that is worst off.
    pub worst: Option<Worst>,
    /// Parts overdue or due within 90 days.
    pub parts_due: usize,
    /// The planned work of twelve months, if any of it has a price.
    pub planned_cost: Option<Decimal>,
    /// What the coming twelve months are expected to cost, failures and ways too.
    pub expected_cost: Option<CostRange>,
    /// What was to be done, and the visits planned.
    pub kept: Kept,
    /// How the site stood: the most pressing of those.
    pub urgency: Option<Urgency>,
}

impl Numbers {
    /// The numbers of a site.
    pub fn of(site: &SiteFigures) -> Self {
        let worst = site
            .spas
            .iter()
            .filter_map(|spa| {
                let row = spa.water.months.last()?;
                let few_hours = row.failing.contains(&"filtration hours");
                let of = row.turnover.as_ref().map(|turnover| Worst {
                    at: spa.at.to_string(),
                    minutes: turnover.value,
                    limit: row.limit_min,
                    few_hours,
                })?;
                // A spa that is short comes before one that is not, whatever its turnover is.
                Some(((row.verdict == Verdict::Short, of.against_limit()), of))
            })
            .max_by(|((a_short, a), _), ((b_short, b), _)| a_short.cmp(b_short).then(a.total_cmp(b)))
            .map(|(_, worst)| worst);
        let priced = site.year.lines.iter().any(|line| line.amount.is_some());
        let kept = Kept::of(site);
        let urgency = kept.things.iter().map(|thing| thing.urgency).min();
        let planned_cost = priced.then_some(site.year.total);
        let expected_cost = site.expected_year.as_ref().map(|year| year.range);
        Self { worst, parts_due: site.parts_due_within(90), planned_cost, expected_cost, kept, urgency }
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

/// Makes the documents of sites; shared between workers.
pub struct Maker<'a> {
    fleet: &'a Fleet,
    month: Month,
    inputs: &'a [FileDigest],
    typesetter: Option<&'a dyn Typesetter>,
    templates: &'a Templates,
}

impl<'a> Maker<'a> {
    /// A maker of a month's documents.
    pub fn new(
        fleet: &'a Fleet,
        month: Month,
        inputs: &'a [FileDigest],
        typesetter: Option<&'a dyn Typesetter>,
        templates: &'a Templates,
    ) -> Self {
        Self { fleet, month, inputs, typesetter, templates }
    }

    /// The templates.
    pub fn templates(&self) -> &'a Templates {
        self.templates
    }

    /// The renderer, if there is one.
    pub fn typesetter(&self) -> Option<&'a dyn Typesetter> {
        self.typesetter
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
        let mut files = self.templates.files("site.typ", self.templates.render_site(&view)?, &["layout.typ"]);
        files.extend(charts.all().map(|chart| (format!("charts/{}.svg", chart.name), chart.svg.clone().into_bytes())));
        let report = Document {
            subject: id,
            build: id.to_owned(),
            main: "site.typ",
            pdf: format!("{folder}/report.pdf"),
            files,
            data: serde_json::to_value(&view)?,
        };
        made.pdf = report.typeset(part, typesetter, site.as_of, &mut made.problems)?;
        let files = self.templates.files(
            "logbook.typ",
            self.templates.render_logbook(&logbook)?,
            &["logbook-layout.typ", "layout.typ"],
        );
        let book = Document {
            subject: id,
            // No id has two hyphens in a row, so that this is no site's.
            build: format!("{id}--logbook"),
            main: "logbook.typ",
            pdf: format!("{folder}/logbook.pdf"),
            files,
            data: serde_json::to_value(&logbook)?,
        };
        book.typeset(part, typesetter, site.as_of, &mut made.problems)?;
        Ok(made)
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
