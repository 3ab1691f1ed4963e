//! `tubwright report`: a month's figures and documents, published whole or not at all.

use std::time::Instant;

use chrono::NaiveDate;
use rayon::prelude::*;
use serde::Serialize;

use crate::calendar::{self, Month};
use crate::cli::{Pdf, Report};
use crate::commands::Failure;
use crate::diagnostic::{Diagnostic, Severity};
use crate::fleet_figures::FleetFigures;
use crate::ics;
use crate::interrupt::Stop;
use crate::output::{FileDigest, OutputFolder, Part, sha256};
use crate::printer::{Printer, count};
use crate::quantities::{self, SpaFigures};
use crate::records::Site;
use crate::records::load::{LoadError, Shared};
use crate::records::tree::LARGEST_SHEET;
use crate::report::site::{Made, Maker, Numbers};
use crate::report::typst::{Places, Typesetter, Typst};
use crate::report::view;
use crate::schedule::visits;
use crate::site::{self, SiteFigures};
use crate::tables;
use crate::to_do;

/// `run.json`: what a run read and wrote. No clock and no absolute path, so that it repeats.
#[derive(Debug, Serialize)]
struct Manifest {
    as_of: String,
    versions: Versions,
    inputs: Vec<FileDigest>,
    files: Vec<FileDigest>,
    diagnostics: Vec<serde_json::Value>,
    left_out: Vec<String>,
}

#[derive(Debug, Serialize)]
struct Versions {
    tubwright: String,
    renderer: Option<String>,
    site_view: u32,
    record_format: u32,
}

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
    let month = arguments.month.unwrap_or_else(|| Month::of(today()).plus(-1));
    let as_of = month.last();
    let output = OutputFolder::open(&arguments.out)
        .map_err(|error| Failure { status: error.exit_status(), error: error.into() })?;
    let mut renderer: Option<Typst> = None;
    let mut left_out: Vec<String> = Vec::new();
    if arguments.pdf == Pdf::Required {
        match Typst::find(&Places::from_environment(arguments.typst.as_deref()), stop.clone()) {
            Ok(found) => renderer = Some(found),
            Err(error) => {
                printer.problem(&format!("error: no PDF can be made: {error}"));
                left_out.push(format!("every PDF: {error}"));
            }
        }
    }
    let typesetter = renderer.as_ref().map(|r| r as &dyn Typesetter);
    let run = Run { shared: &shared, as_of, month, printer, stop };
    run.publish(&output, typesetter, left_out)
}

/// A run with what it needs everywhere.
struct Run<'a> {
    shared: &'a Shared,
    as_of: NaiveDate,
    month: Month,
    printer: Printer,
    stop: &'a Stop,
}

impl Run<'_> {
    fn interrupted(&self) -> Result<(), Failure> {
        self.stop.check().map_err(|stopped| Failure { status: stopped.exit_status(), error: stopped.into() })
    }

    fn publish(
        &self,
        output: &OutputFolder,
        typesetter: Option<&dyn Typesetter>,
        mut left_out: Vec<String>,
    ) -> Result<u8, Failure> {
        let clock = Instant::now();
        let mut diagnostics = self.shared.diagnostics.clone();
        let mut sites: Vec<(Site, Vec<SpaFigures>)> = Vec::new();
        let read: Vec<_> = self
            .shared
            .sites
            .par_iter()
            .map(|files| {
                if self.stop.check().is_err() {
                    return Err((files.id.clone(), Vec::new()));
                }
                site::read(self.shared, files, self.as_of).map_err(|found| (files.id.clone(), found))
            })
            .collect();
        self.interrupted()?;
        for result in read {
            match result {
                Ok((site, figures)) => {
                    diagnostics.extend(site.diagnostics.iter().cloned());
                    left_out.extend(site.left_out.iter().map(|what| format!("{}: {what}", site.id)));
                    sites.push((site, figures));
                }
                Err((id, found)) => {
                    diagnostics.extend(found);
                    left_out.push(format!("{id}: the site could not be understood and has no report"));
                }
            }
        }
        diagnostics.sort_by_cached_key(Diagnostic::order);
        self.printer.diagnostics(&diagnostics);
        self.printer.stage(&format!(
            "read and computed {} sites in {:.2} s",
            sites.len(),
            clock.elapsed().as_secs_f64()
        ));
        let clock = Instant::now();
        let lives = site::fleet_lives(&self.shared.fleet, &sites, self.as_of);
        self.printer.stage(&format!("lives of parts in {:.2} s", clock.elapsed().as_secs_f64()));
        let clock = Instant::now();
        let mut figures: Vec<SiteFigures> = sites
            .par_iter()
            .map(|(site, spas)| {
                site::site_figures(&self.shared.fleet, &lives, site, spas, self.as_of)
                    .with_forecast_checks(&self.shared.fleet)
            })
            .collect();
        self.printer.stage(&format!("parts, tasks and past forecasts in {:.2} s", clock.elapsed().as_secs_f64()));
        let clock = Instant::now();
        let plan = visits::plan(&self.shared.fleet, &figures, self.as_of, false);
        for visit in &plan.visits {
            if let Ok(place) = figures.binary_search_by(|site| site.site.id.cmp(&visit.site)) {
                figures[place].visits.push(visit.clone());
            }
        }
        for not_fitted in &plan.not_fitted {
            // The sites are in sorted order.
            if let Ok(place) = figures.binary_search_by(|site| site.site.id.cmp(&not_fitted.site)) {
                to_do::add_not_fitted(&mut figures[place].to_do, not_fitted);
            }
        }
        self.printer.stage(&format!("the year's visits in {:.2} s", clock.elapsed().as_secs_f64()));
        let clock = Instant::now();
        let part = output
            .part(&self.month.to_string())
            .map_err(|error| Failure { status: error.exit_status(), error: error.into() })?;
        let inputs = self.inputs();
        let previous = self.previous_figures(&sites);
        self.printer.stage(&format!("digests and last month in {:.2} s", clock.elapsed().as_secs_f64()));
        let clock = Instant::now();
        let figures = FleetFigures {
            fleet: &self.shared.fleet,
            month: self.month,
            as_of: self.as_of,
            plan,
            sites: figures,
            lives: &lives,
        };
        for table in tables::tables(&figures).map_err(Failure::new)? {
            part.write(&format!("tables/{}.csv", table.name), &table.csv).map_err(Failure::new)?;
        }
        let calendars = ics::calendars(&self.shared.fleet, &figures.sites, &figures.plan, self.as_of);
        for (name, text) in calendars.map_err(Failure::new)? {
            part.write(&name, text.as_bytes()).map_err(Failure::new)?;
        }
        self.printer.stage(&format!("tables in {:.2} s", clock.elapsed().as_secs_f64()));
        let clock = Instant::now();
        let maker = Maker::new(&self.shared.fleet, self.month, &inputs, typesetter).map_err(Failure::new)?;
        let made: Vec<Result<Made, Failure>> = figures
            .sites
            .par_iter()
            .zip(&previous)
            .map(|(site, previous)| {
                self.interrupted()?;
                let made = maker.make(&part, site, previous.as_ref()).map_err(Failure::new)?;
                self.printer.progress(&format!("{}: {}", site.site.id, made.in_words()));
                Ok(made)
            })
            .collect();
        // Interrupted wins over what it caused: the status then says so.
        self.interrupted()?;
        for made in made {
            let made = made?;
            for problem in made.problems {
                self.printer.problem(&format!(
                    "{}{}",
                    if problem.costs { "error: " } else { "warning: " },
                    problem.text
                ));
                if problem.costs {
                    left_out.push(problem.text);
                }
            }
        }
        self.printer.stage(&format!("documents in {:.2} s", clock.elapsed().as_secs_f64()));
        self.finish(part, typesetter, inputs, &diagnostics, &left_out, figures.sites.len())
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
        before
            .par_iter()
            .map(|(site, spas)| {
                if site.spas.is_empty() {
                    return None;
                }
                let figures = site::site_figures(&self.shared.fleet, &lives, site, spas, as_of);
                Some(Numbers::of(&figures))
            })
            .collect()
    }

    /// The digests of every file of the fleet that may be read.
    fn inputs(&self) -> Vec<FileDigest> {
        let folder = &self.shared.folder;
        folder
            .files
            .par_iter()
            .filter(|file| [".yaml", ".csv", ".ics"].iter().any(|ending| file.ends_with(ending)))
            .map(|file| {
                // A file too large to be read was told of and read by nobody.
                let bytes = folder.bytes(file, LARGEST_SHEET).unwrap_or_default();
                FileDigest { path: file.clone(), sha256: sha256(&bytes) }
            })
            .collect()
    }

    fn finish(
        &self,
        part: Part,
        typesetter: Option<&dyn Typesetter>,
        inputs: Vec<FileDigest>,
        diagnostics: &[Diagnostic],
        left_out: &[String],
        sites: usize,
    ) -> Result<u8, Failure> {
        let errors = diagnostics.iter().any(|d| d.severity == Severity::Error);
        let status = u8::from(errors || !left_out.is_empty());
        let manifest = Manifest {
            as_of: self.as_of.to_string(),
            versions: Versions {
                tubwright: env!("CARGO_PKG_VERSION").to_owned(),
                renderer: typesetter.map(Typesetter::version),
                site_view: view::VIEW_VERSION,
                record_format: 1,
            },
            inputs,
            files: part.files(),
            diagnostics: diagnostics.iter().map(Diagnostic::as_json).collect(),
            left_out: left_out.to_vec(),
        };
        let mut bytes = serde_json::to_vec_pretty(&manifest).map_err(Failure::new)?;
        bytes.push(b'\n');
        self.interrupted()?;
        let published =
            part.publish(&bytes).map_err(|error| Failure { status: error.exit_status(), error: error.into() })?;
        if let Some(error) = &published.left_behind {
            self.printer.problem(&format!("warning: the folder it replaced could not be removed: {error}"));
        }
        let left = match left_out.len() {
            0 => String::new(),
            1 => "; one thing left out".to_owned(),
            things => format!("; {things} things left out"),
        };
        self.printer.summary(&format!(
            "{}: {sites} of {} sites in {}{left}{}",
            self.month,
            self.shared.sites.len(),
            published.folder.display(),
            if diagnostics.is_empty() { String::new() } else { format!("; {}", count(diagnostics)) }
        ));
        Ok(status)
    }
}
