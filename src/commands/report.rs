//! `tubwright report`: a month's figures and documents, published whole or not at all.

use std::path::Path;

use chrono::NaiveDate;
use rayon::prelude::*;

use crate::calendar::{self, Month};
use crate::cli::Report;
use crate::commands::{Failure, failure, renderer, tell};
use crate::costs::outlook;
use crate::diagnostic::{Diagnostic, Severity};
use crate::fleet_figures::{FleetFigures, give_visits};
use crate::ics;
use crate::interrupt::Stop;
use crate::manifest::{self, Manifest, Versions, What};
use crate::output::{FileDigest, Growing, OutputError, OutputFolder, Part};
use crate::printer::{Printer, count};
use crate::quantities::{self, SpaFigures, forecast_check};
use crate::records::Site;
use crate::records::load::{LoadError, Shared};
use crate::records::tree::Folder;
use crate::report;
use crate::report::document::Problem;
use crate::report::fleet;
use crate::report::own_templates;
use crate::report::site::{Maker, Numbers};
use crate::report::template::Templates;
use crate::report::typst::{self, Typesetter};
use crate::report::view;
use crate::report::work_sheets::WorkSheets;
use crate::schedule::visits;
use crate::site::{self, AllRead, SiteFigures};
use crate::tables::{self, TableError};
use crate::usage::{Clock, Usage};
use crate::workbook::{self, Book, WorkbookError};

/// Reports a month.
///
/// # Errors
/// If nothing could be written; the status says why.
pub fn run(arguments: &Report, printer: Printer, stop: &Stop) -> Result<u8, Failure> {
    if let Some(jobs) = arguments.jobs {
        // A pool that is there already serves as well.
        let _ = rayon::ThreadPoolBuilder::new().num_threads(jobs.get()).build_global();
    }
    let shared = match Shared::load(&arguments.fleet) {
        Ok(shared) => shared,
        Err(LoadError::Unusable(file, diagnostics)) => {
            printer.diagnostics(&diagnostics);
            let message = format!("{file} cannot be used as it stands, and nothing can be reported without it");
            return Err(Failure::new(anyhow::anyhow!(message)));
        }
        Err(error) => return Err(Failure::new(error)),
    };
    if shared.sites.is_empty() {
        return Err(Failure::new(anyhow::anyhow!(
            "the fleet has no site: add `sites.csv`, or files `sites/<site>.yaml`"
        )));
    }
    let today = || calendar::today(shared.fleet.settings.timezone.0);
    let last = arguments.to.or(arguments.month).unwrap_or_else(|| Month::of(today()).plus(-1));
    let first = arguments.from.unwrap_or(last);
    if first > last {
        return Err(failure(format!("--from {first} is after {last}")));
    }
    let output = OutputFolder::open(&arguments.out)?;
    let limit = std::time::Duration::from_secs(arguments.typst_seconds.into());
    let mut left_out: Vec<String> = Vec::new();
    let renderer = renderer(arguments.pdf, arguments.typst.as_deref(), printer, stop, &mut left_out)
        .map(|found| found.with_time_limit(limit));
    let (templates, own) = own_templates::templates(arguments.templates.as_deref()).map_err(Failure::new)?;
    let typesetter = renderer.as_ref().map(|r| r as &dyn Typesetter);
    let mut status = 0;
    let mut month = first;
    while month <= last {
        let run = Run {
            shared: &shared,
            as_of: month.last(),
            month,
            printer,
            stop,
            force: arguments.force,
            templates: &templates,
            own_templates: &own,
        };
        status = status.max(run.month(&arguments.out, &output, typesetter, left_out.clone())?);
        month = month.plus(1);
    }
    Ok(status)
}

/// A run with what it needs everywhere.
struct Run<'a> {
    shared: &'a Shared,
    as_of: NaiveDate,
    month: Month,
    printer: Printer,
    stop: &'a Stop,
    /// Whether everything is made anew, whatever was made before.
    force: bool,
    templates: &'a Templates,
    /// Digests of the user's own templates.
    own_templates: &'a [FileDigest],
}

/// What a run has to account for in its manifest.
struct Account {
    renderer: Option<String>,
    inputs: Vec<FileDigest>,
    made_from: Option<String>,
    diagnostics: Vec<Diagnostic>,
    left_out: Vec<String>,
}

impl Run<'_> {
    fn interrupted(&self) -> Result<(), Failure> {
        Ok(self.stop.check()?)
    }

    /// One month: nothing to do where nothing changed since it was published, else all of it.
    fn month(
        &self,
        out: &Path,
        output: &OutputFolder,
        typesetter: Option<&dyn Typesetter>,
        left_out: Vec<String>,
    ) -> Result<u8, Failure> {
        let clock = Clock::start();
        let inputs = manifest::inputs(&self.shared.folder);
        let renderer = typesetter.map_or_else(|| "none".to_owned(), Typesetter::version);
        let month = self.month.to_string();
        let made_of: Vec<FileDigest> = inputs.iter().chain(self.own_templates).cloned().collect();
        let made_from = manifest::made_from(&[&month, manifest::SOURCE, &renderer, typst::calling()], &made_of);
        self.printer.stage("digests", clock);
        if !self.force
            && left_out.is_empty()
            && let Some(published) = self.unchanged(&out.join(&month), &made_from)
        {
            return Ok(published);
        }
        self.publish(output, typesetter, left_out, inputs, &made_from)
    }

    /// The status of the published month, if it was made from the same and is as it was written.
    fn unchanged(&self, folder: &Path, made_from: &str) -> Option<u8> {
        let clock = Clock::start();
        let manifest = Manifest::read(folder)?;
        if manifest.made_from.as_deref() != Some(made_from)
            // Files of the user's own beside ours are none of our business.
            || manifest.differences(folder).iter().any(|difference| difference.what != What::Added)
        {
            return None;
        }
        for diagnostic in &manifest.diagnostics {
            self.printer.recorded_diagnostic(diagnostic);
        }
        let errors = manifest.diagnostics.iter().any(|diagnostic| diagnostic["severity"] == "error");
        self.printer.stage("published files", clock);
        self.printer.summary(&format!(
            "{}: nothing changed since it was made; {} stands",
            self.month,
            folder.display()
        ));
        Some(u8::from(errors || !manifest.left_out.is_empty()))
    }

    fn publish(
        &self,
        output: &OutputFolder,
        typesetter: Option<&dyn Typesetter>,
        mut left_out: Vec<String>,
        inputs: Vec<FileDigest>,
        made_from: &str,
    ) -> Result<u8, Failure> {
        // A renderer that was asked for and is not there is among what is left out already.
        let typesetter_found = left_out.is_empty();
        let clock = Clock::start();
        let mut diagnostics = self.shared.diagnostics.clone();
        let AllRead { sites, lost } = site::read_all(self.shared, self.as_of, self.stop)?;
        for (site, _) in &sites {
            diagnostics.extend(site.diagnostics.iter().cloned());
            left_out.extend(site.left_out.iter().map(|what| format!("{}: {what}", site.id)));
        }
        for (id, found) in lost {
            diagnostics.extend(found);
            left_out.push(format!("{id}: the site could not be understood and has no report"));
        }
        diagnostics.sort_by_cached_key(Diagnostic::order);
        // What is said alike of every site is said once.
        diagnostics.dedup();
        self.printer.diagnostics(&diagnostics);
        self.printer.stage("read, hours and water", clock);
        let water: f64 = sites.iter().flat_map(|(_, spas)| spas).map(|spa| spa.water_took.as_secs_f64()).sum();
        self.printer.verbose(&format!("of that, water: {water:.2} s of work over all threads"));
        let clock = Clock::start();
        let lives = site::fleet_lives(&self.shared.fleet, &sites, self.as_of);
        self.printer.stage("lives", clock);
        let clock = Clock::start();
        let mut figures = site::all_figures(&self.shared.fleet, &lives, &sites, self.as_of);
        self.printer.stage("due and to-do", clock);
        let clock = Clock::start();
        let plan = visits::plan_unless(&self.shared.fleet, &figures, self.as_of, false, self.stop)?;
        give_visits(&self.shared.fleet, &mut figures, &plan, self.as_of);
        self.printer.stage("visits", clock);
        let clock = Clock::start();
        let checks = forecast_check::fleet_checks(&self.shared.fleet, &sites, self.as_of);
        let mut figures: Vec<SiteFigures> = figures
            .into_iter()
            .zip(&checks.pumps)
            .map(|(site, of_pumps)| site.with_checks(of_pumps, &checks))
            .collect();
        self.printer.stage("past forecasts", clock);
        let clock = Clock::start();
        let costs = outlook::outlook(&self.shared.fleet, &figures, &plan, &lives, self.as_of);
        for site in &mut figures {
            site.expected_year = costs.twelve_months.get(&site.site.id).cloned();
        }
        self.printer.stage("costs", clock);
        let clock = Clock::start();
        let part = output.part(&self.month.to_string())?;
        let part = if self.force { part.anew() } else { part };
        // Only documents show them.
        let previous =
            if typesetter.is_some() { self.previous_figures(&sites) } else { sites.iter().map(|_| None).collect() };
        self.printer.stage("last month", clock);
        let clock = Clock::start();
        let figures = FleetFigures {
            fleet: &self.shared.fleet,
            month: self.month,
            as_of: self.as_of,
            plan,
            costs,
            sites: figures,
            lives: &lives,
            checks: &checks,
        };
        let templates = self.templates;
        let maker = Maker::new(&self.shared.fleet, self.month, &inputs, typesetter, templates);
        // The workbook is one long line of cells: the documents of the sites are made beside it.
        let (tables, made) = rayon::join(
            || self.write_tables(&part, &figures),
            || {
                self.write_calendars(&part, &figures)?;
                self.make_documents(&part, &figures, &previous, (&maker, typesetter))
            },
        );
        // Interrupted wins over what it caused: the status then says so.
        self.interrupted()?;
        tables?;
        let of_records = left_out.len();
        let mut problems = made?;
        if let Some(typesetter) = typesetter {
            problems.extend(report::statement::make(&figures, &part, typesetter, templates).map_err(Failure::new)?);
            self.interrupted()?;
        }
        tell(problems, self.printer, &mut left_out);
        self.printer.stage("tables, workbook, calendars and documents", clock);
        let clock = Clock::start();
        let problems = fleet::make(&maker, &part, &figures, &previous, &left_out).map_err(Failure::new)?;
        self.interrupted()?;
        tell(problems, self.printer, &mut left_out);
        self.printer.stage("report and page of the fleet", clock);
        // What the renderer failed at may go well the next time, so the next run is not to think it was done.
        let made_from = (left_out.len() == of_records && typesetter_found).then(|| made_from.to_owned());
        let renderer = typesetter.map(Typesetter::version);
        self.finish(part, Account { renderer, inputs, made_from, diagnostics, left_out }, figures.sites.len())
    }

    /// The documents of every site; what somebody must know of them.
    fn make_documents(
        &self,
        part: &Part,
        figures: &FleetFigures,
        previous: &[Option<Numbers>],
        (maker, typesetter): (&Maker, Option<&dyn Typesetter>),
    ) -> Result<Vec<Problem>, Failure> {
        let fleet = &self.shared.fleet;
        let sheets = WorkSheets { fleet, plan: &figures.plan, month: self.month, templates: self.templates };
        let made: Vec<Vec<Problem>> = figures
            .sites
            .par_iter()
            .zip(previous)
            .map(|(site, previous)| {
                self.interrupted()?;
                let mut made = maker.make(part, site, previous.as_ref()).map_err(Failure::new)?;
                if let Some(typesetter) = typesetter {
                    sheets.make(part, site, typesetter, &mut made.problems).map_err(Failure::new)?;
                }
                self.printer.progress(&format!("{}: {}", site.site.id, made.in_words()));
                Ok(made.problems)
            })
            .collect::<Result<_, Failure>>()?;
        Ok(made.into_iter().flatten().collect())
    }

    fn write_calendars(&self, part: &Part, figures: &FleetFigures) -> Result<(), Failure> {
        let names = ics::names(figures.fleet);
        let mut files: Vec<Growing> =
            names.iter().map(|name| part.begin(name)).collect::<Result<_, _>>().map_err(Failure::new)?;
        ics::write(figures.fleet, &figures.sites, &figures.plan, self.as_of, |file, piece| -> Result<(), WriteError> {
            Ok(files[file].put(piece.as_bytes())?)
        })
        .map_err(Failure::new)?;
        files.into_iter().try_for_each(|file| part.finish(file)).map_err(Failure::new)
    }

    /// Writes every table as CSV and into the workbook, as they are put together.
    fn write_tables(&self, part: &Part, figures: &FleetFigures) -> Result<(), Failure> {
        let month = self.month.in_words();
        let given = workbook::Given {
            fleet: figures.fleet,
            month: &month,
            as_of: self.as_of,
            reported: self.month,
            sites: figures.sites.len(),
            folder: part.folder(),
        };
        let mut book = Book::begin(&given).map_err(Failure::new)?;
        let mut growing: Option<(&'static str, Growing)> = None;
        tables::tables(figures, |piece| -> Result<(), WriteError> {
            // A table's pieces come one after the other.
            if growing.as_ref().is_none_or(|(name, _)| *name != piece.name) {
                let begun = part.begin(&format!("tables/{}.csv", piece.name))?;
                if let Some((_, whole)) = growing.replace((piece.name, begun)) {
                    part.finish(whole)?;
                }
            }
            if let Some((_, file)) = &mut growing {
                file.put(&piece.csv)?;
            }
            Ok(book.put(&piece)?)
        })
        .map_err(Failure::new)?;
        if let Some((_, whole)) = growing {
            part.finish(whole).map_err(Failure::new)?;
        }
        let bytes = book.finish().map_err(Failure::new)?;
        part.write("fleet.xlsx", &bytes).map_err(Failure::new)?;
        self.interrupted()
    }

    /// The figures of the month before, for the numbers of page one.
    fn previous_figures(&self, sites: &[(Site, Vec<SpaFigures>)]) -> Vec<Option<Numbers>> {
        let as_of = self.month.plus(-1).last();
        let before: Vec<(Site, Vec<SpaFigures>)> = sites
            .par_iter()
            .map(|(site, _)| {
                let site = site.clone().as_of(as_of);
                let spas = quantities::spa_figures(&self.shared.fleet, &site, as_of);
                (site, spas)
            })
            .collect();
        let lives = site::fleet_lives(&self.shared.fleet, &before, as_of);
        let fleet = &self.shared.fleet;
        let mut figures = site::all_figures(fleet, &lives, &before, as_of);
        // Once the run is asked to end nothing of this is used.
        let plan = visits::plan_unless(fleet, &figures, as_of, false, self.stop).unwrap_or_default();
        give_visits(fleet, &mut figures, &plan, as_of);
        let costs = outlook::twelve_months(fleet, &figures, &plan, &lives, as_of);
        for (site, expected) in figures.iter_mut().zip(costs) {
            site.expected_year = expected;
        }
        figures.iter().map(|site| (!site.site.spas.is_empty()).then(|| Numbers::of(site))).collect()
    }

    /// A file of the fleet that is not what it was when the run began.
    fn changed_meanwhile(&self, inputs: &[FileDigest]) -> Option<String> {
        let now = manifest::inputs(&self.shared.folder);
        let differs = inputs.iter().zip(&now).find(|(before, after)| before != after).map(|(before, _)| before);
        let listed = Folder::list(self.shared.folder.root()).ok()?.files;
        differs.map(|file| file.path.clone()).or_else(|| listed.into_iter().find(|file| !self.shared.folder.has(file)))
    }

    fn finish(&self, part: Part, account: Account, sites: usize) -> Result<u8, Failure> {
        let Account { renderer, inputs, made_from, diagnostics, left_out } = account;
        if let Some(changed) = self.changed_meanwhile(&inputs) {
            return Err(failure(format!(
                "{changed} changed while it was read, so nothing was published: run it again"
            )));
        }
        let errors = diagnostics.iter().any(|d| d.severity == Severity::Error);
        let status = u8::from(errors || !left_out.is_empty());
        let manifest = Manifest {
            as_of: self.as_of.to_string(),
            versions: Versions {
                tubwright: env!("CARGO_PKG_VERSION").to_owned(),
                source: manifest::SOURCE.to_owned(),
                renderer,
                site_view: view::VIEW_VERSION,
                record_format: 1,
            },
            made_from,
            inputs,
            files: part.files(),
            diagnostics: diagnostics.iter().map(Diagnostic::as_json).collect(),
            left_out: left_out.clone(),
        };
        let bytes = manifest.bytes().map_err(Failure::new)?;
        self.interrupted()?;
        let published = part.publish(&bytes)?;
        if let Some(error) = &published.left_behind {
            self.printer.problem(&format!("warning: the folder it replaced could not be removed: {error}"));
        }
        let left = match left_out.len() {
            0 => String::new(),
            1 => "; one thing left out".to_owned(),
            things => format!("; {things} things left out"),
        };
        if let Some(usage) = Usage::now() {
            self.printer.verbose(&usage.to_string());
        }
        self.printer.summary(&format!(
            "{}: {sites} of {} sites in {}{left}{}",
            self.month,
            self.shared.sites.len(),
            published.folder.display(),
            if diagnostics.is_empty() { String::new() } else { format!("; {}", count(&diagnostics)) }
        ));
        Ok(status)
    }
}

/// Why a table or a calendar could not be written.
#[derive(Debug, thiserror::Error)]
enum WriteError {
    #[error(transparent)]
    Table(#[from] TableError),
    #[error(transparent)]
    Workbook(#[from] WorkbookError),
    #[error(transparent)]
    Output(#[from] OutputError),
    #[error("an event of a calendar could not be written as text: {0}")]
    Event(#[from] std::fmt::Error),
}
