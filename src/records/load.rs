//! Putting a fleet together from its files: what all sites share once, then site by site, so that a
//! large fleet never stands in memory whole.
//!
//! An error costs as little as it can: an entry, a row, a site; only `fleet.yaml` and a shared file
//! that cannot be parsed at all cost the run.

mod one_site;

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::Arc;

use self::one_site::SiteReader;
use crate::address::Id;
use crate::diagnostic::{Diagnostic, Rule, Second, Severity, Spot};
use crate::limits;
use crate::records::check;
use crate::records::customers::CustomersFile;
use crate::records::fleet::{FleetFile, Technician};
use crate::records::plan::PlanFile;
use crate::records::pumps::PumpsFile;
use crate::records::readings;
use crate::records::site::{SheetLine, SiteFile};
use crate::records::tree::{Folder, LARGEST_RECORD, LARGEST_SHEET, SourceText};
use crate::records::tubs::{SpaFile, TubsFile};
use crate::records::upkeep::UpkeepFile;
use crate::records::yaml::{self, Problem, Step};
use crate::records::{Assumed, Book, Fleet, LostNames, Site};

/// The built-in book of wear parts and tasks.
const BUILT_IN_BOOK: &str = include_str!("../../data/book.yaml");

/// A fleet's shared files, and the sites that are to be read.
#[derive(Debug)]
pub struct Shared {
    /// What all sites share.
    pub fleet: Fleet,
    /// The folder.
    pub folder: Folder,
    /// The sites in sorted order.
    pub sites: Vec<SiteFiles>,
    /// What is wrong or odd in the shared files.
    pub diagnostics: Vec<Diagnostic>,
    types: BTreeMap<String, SpaFile>,
    bad_models: BTreeSet<String>,
    bad_types: BTreeSet<String>,
}

/// What belongs to one site before it is read.
#[derive(Debug, Clone)]
pub struct SiteFiles {
    /// The site's id.
    pub id: Id,
    /// `sites/<site>.yaml`, if it has one.
    pub file: Option<String>,
    /// Its lines of `sites.csv`.
    pub lines: Vec<SheetLine>,
    /// Whether one of its lines cannot be understood.
    pub bad_line: bool,
}

impl SiteFiles {
    /// The file it has or would have.
    pub fn own_file(&self) -> String {
        self.file.clone().unwrap_or_else(|| format!("sites/{}.yaml", self.id))
    }
}

/// Why nothing can be reported.
#[derive(Debug, thiserror::Error)]
pub enum LoadError {
    /// The folder cannot be listed.
    #[error("the fleet's folder `{folder}` cannot be read: {source}")]
    Folder {
        /// The folder as given.
        folder: String,
        /// Why.
        source: std::io::Error,
    },
    /// There is no `fleet.yaml`.
    #[error("there is no `fleet.yaml` in `{0}`; a fleet is a folder with that file in it")]
    NoFleet(String),
    /// `fleet.yaml` has an error, or a shared file cannot be parsed.
    #[error("{0} cannot be used as it stands, and nothing can be reported without it")]
    Unusable(String, Vec<Diagnostic>),
}

/// A diagnostic from a problem of a file.
fn diagnose(source: &SourceText, problem: &Problem) -> Diagnostic {
    Diagnostic {
        severity: Severity::Error,
        rule: problem.rule,
        file: source.file.to_string(),
        spot: Some(problem.spot),
        excerpt: source.line(problem.spot.line),
        message: problem.message.clone(),
        hint: problem.hint.clone(),
        second: problem.second.as_deref().and_then(|&(spot, label)| {
            let excerpt = source.line(spot.line)?;
            Some(Box::new(Second { file: source.file.to_string(), spot, excerpt, label: label.to_owned() }))
        }),
        left_out: None,
    }
}

/// A diagnostic about a whole file.
pub fn about_file(severity: Severity, rule: Rule, file: &str, message: String, line: Option<usize>) -> Diagnostic {
    Diagnostic {
        severity,
        rule,
        file: file.to_owned(),
        spot: line.map(|line| Spot { line, column: 1, length: 1 }),
        excerpt: None,
        message,
        hint: None,
        second: None,
        left_out: None,
    }
}

impl Shared {
    /// Reads what all sites share and finds the sites.
    ///
    /// # Errors
    /// If nothing can be reported at all: no folder, no `fleet.yaml`, an error in it, or a shared
    /// file that cannot be parsed.
    pub fn load(root: &Path) -> Result<Self, LoadError> {
        let shown = || root.display().to_string();
        let folder = Folder::list(root).map_err(|source| LoadError::Folder { folder: shown(), source })?;
        if !folder.has("fleet.yaml") {
            return Err(LoadError::NoFleet(shown()));
        }
        let mut diagnostics = Vec::new();
        for (name, why) in &folder.refused {
            diagnostics.push(about_file(
                Severity::Error,
                Rule::UnreadableFile,
                name,
                format!("`{name}` is not read: {why}"),
                None,
            ));
        }
        // Any error in fleet.yaml costs the run: every site depends on it. What is wrong elsewhere is told all the same.
        let settings = read_shared::<FleetFile>(&folder, "fleet.yaml", |_| 0, &mut diagnostics).map(|(file, _)| file);
        let entry = |path: &[Step]| if path.len() >= 2 { 2 } else { 0 };
        let mut unusable = None;
        let mut bad_models = BTreeSet::new();
        let mut lost = LostNames::default();
        let mut bad_types = BTreeSet::new();
        let mut models = BTreeMap::new();
        let mut types = BTreeMap::new();
        let mut customers = BTreeMap::new();
        let mut assumed = Vec::new();
        if folder.has("pumps.yaml") {
            match read_shared::<PumpsFile>(&folder, "pumps.yaml", entry, &mut diagnostics) {
                Some((file, lost_models)) => {
                    models = file.models.0.into_iter().map(|(name, model)| (name.0, model)).collect();
                    bad_models.extend(lost_models.iter().cloned());
                    lost.models = lost_models;
                }
                None => unusable = Some("pumps.yaml"),
            }
        }
        if folder.has("tubs.yaml") {
            match read_shared::<TubsFile>(&folder, "tubs.yaml", entry, &mut diagnostics) {
                Some((file, lost)) => {
                    types = file.types.0.into_iter().map(|(name, spa)| (name.0, spa)).collect();
                    bad_types.extend(lost);
                }
                None => unusable = Some("tubs.yaml"),
            }
        }
        if folder.has("customers.yaml") {
            match read_shared::<CustomersFile>(&folder, "customers.yaml", entry, &mut diagnostics) {
                Some((file, lost_customers)) => {
                    customers = file.customers.0.into_iter().collect();
                    lost.customers = lost_customers;
                }
                None => unusable = Some("customers.yaml"),
            }
        }
        let built_in: UpkeepFile = match yaml::read(BUILT_IN_BOOK, |_| 0).value {
            Some(book) => book,
            None => return Err(LoadError::Unusable("the built-in book".to_owned(), Vec::new())),
        };
        let mut book = Book {
            built_in: true,
            lost: Vec::new(),
            parts: built_in.parts,
            tasks: built_in.tasks,
            programs: built_in.programs.unwrap_or_default(),
        };
        if folder.has("upkeep.yaml") {
            match read_shared::<UpkeepFile>(&folder, "upkeep.yaml", entry, &mut diagnostics) {
                Some((file, lost)) => {
                    book.built_in = false;
                    book.lost = lost;
                    book.parts = file.parts;
                    book.tasks = file.tasks;
                    if let Some(programs) = file.programs {
                        book.programs = programs;
                    }
                }
                None => unusable = Some("upkeep.yaml"),
            }
        } else {
            assumed.push(Assumed {
                what: "the built-in book of wear parts and tasks, which has no prices".to_owned(),
                change: "upkeep.yaml, with parts and tasks of your own".to_owned(),
            });
        }
        let mut plan = None;
        if folder.has("plan.yaml") {
            match read_shared::<PlanFile>(&folder, "plan.yaml", |_| 0, &mut diagnostics) {
                Some((file, _)) => plan = Some(file),
                None => unusable = Some("plan.yaml"),
            }
        }
        let (rule_books, wrong_books) = read_rule_books(&folder);
        diagnostics.extend(wrong_books);
        let mut sheet = BTreeMap::new();
        if folder.has("sites.csv") {
            match read_sheet(&folder, &mut diagnostics) {
                Some(lines) => sheet = lines,
                None => unusable = Some("sites.csv"),
            }
        }
        let (Some(settings), None) = (&settings, unusable) else {
            let file = if settings.is_none() { "fleet.yaml" } else { unusable.unwrap_or("fleet.yaml") };
            diagnostics.extend(problems_of_sites(&folder));
            diagnostics.sort_by_cached_key(Diagnostic::order);
            return Err(LoadError::Unusable(file.to_owned(), diagnostics));
        };
        let settings = settings.clone();
        let sites = find_sites(&folder, sheet, &mut diagnostics);
        assume_settings(&settings, &folder, &mut assumed);
        let mut fleet = Fleet { settings, models, book, customers, rule_books, lost, plan, assumed };
        let (found, without_contract) = check::contracts_without_sense(&fleet, &folder);
        diagnostics.extend(found);
        for id in without_contract {
            if let Some(customer) = fleet.customers.get_mut(&id) {
                customer.contract = None;
            }
        }
        diagnostics.extend(check::check_shared(&fleet, &folder));
        diagnostics.extend(check::unlikely_shared(&fleet, &types, &folder));
        if diagnostics.iter().any(|d| d.file == "fleet.yaml" && d.severity == Severity::Error) {
            diagnostics.extend(problems_of_sites(&folder));
            diagnostics.sort_by_cached_key(Diagnostic::order);
            return Err(LoadError::Unusable("fleet.yaml".to_owned(), diagnostics));
        }
        diagnostics.sort_by_cached_key(Diagnostic::order);
        check::one_question_a_value(&mut diagnostics);
        Ok(Self { fleet, folder, sites, diagnostics, types, bad_models, bad_types })
    }

    /// Reads one site.
    ///
    /// # Errors
    /// What is wrong, if the site cannot be reported.
    pub fn read_site(&self, files: &SiteFiles) -> Result<Site, Vec<Diagnostic>> {
        SiteReader::new(self, files, None).read(files)
    }

    /// Reads one site as it would be if its file held another text: for what is about to be written.
    ///
    /// # Errors
    /// What is wrong, if the site could not be reported.
    pub fn read_site_as(&self, files: &SiteFiles, text: String) -> Result<Site, Vec<Diagnostic>> {
        SiteReader::new(self, files, Some(text)).read(files)
    }

    /// The names of the spa types.
    pub fn type_names(&self) -> impl Iterator<Item = &str> {
        self.types.keys().map(String::as_str)
    }

    /// A spa type.
    pub fn spa_type(&self, name: &str) -> Option<&SpaFile> {
        self.types.get(name)
    }
}

/// Reads a shared file: the value and the names of the entries that were left out. `None` if it
/// cannot be used at all.
fn read_shared<T: serde::de::DeserializeOwned>(
    folder: &Folder,
    file: &str,
    cost: impl Fn(&[Step]) -> usize,
    diagnostics: &mut Vec<Diagnostic>,
) -> Option<(T, Vec<String>)> {
    let source = match folder.text(file, LARGEST_RECORD) {
        Ok(source) => source,
        Err((message, line)) => {
            diagnostics.push(about_file(Severity::Error, Rule::UnreadableFile, file, message, line));
            return None;
        }
    };
    let reading = yaml::read::<T>(&source.text, cost);
    let mut lost = Vec::new();
    for problem in &reading.problems {
        let mut diagnostic = diagnose(&source, problem);
        if let (2, Some(Step::Key(name))) = (problem.left_out, problem.path.get(1)) {
            diagnostic.left_out = Some(format!("`{name}` is left out, with what uses it"));
            lost.push(name.clone());
        } else {
            diagnostic.left_out = Some("nothing can be reported".to_owned());
        }
        diagnostics.push(diagnostic);
    }
    reading.value.map(|value| (value, lost))
}

/// What cannot be understood in the sites' own files, where what they share cannot be used and so no site can be put
/// together: everything that can be mended is told in one go.
fn problems_of_sites(folder: &Folder) -> Vec<Diagnostic> {
    let mut found = Vec::new();
    for (_, file) in folder.under("sites", ".yaml") {
        match folder.text(file, LARGEST_RECORD) {
            Ok(source) => {
                let reading = yaml::read::<SiteFile>(&source.text, <[Step]>::len);
                found.extend(reading.problems.iter().map(|problem| diagnose(&source, problem)));
            }
            Err((message, line)) => {
                found.push(about_file(Severity::Error, Rule::UnreadableFile, file, message, line));
            }
        }
    }
    found
}

fn read_rule_books(folder: &Folder) -> (BTreeMap<String, Arc<limits::RuleBook>>, Vec<Diagnostic>) {
    let mut books: BTreeMap<String, Arc<limits::RuleBook>> =
        limits::built_in().into_iter().map(|book| (book.name.clone(), Arc::new(book))).collect();
    let mut diagnostics = Vec::new();
    for (name, file) in folder.under("limits", ".yaml") {
        match folder.text(file, LARGEST_RECORD) {
            Err((message, line)) => {
                diagnostics.push(about_file(Severity::Error, Rule::UnreadableFile, file, message, line));
            }
            Ok(source) => {
                let reading = limits::read(name, &source.text);
                for problem in &reading.problems {
                    let mut diagnostic = diagnose(&source, problem);
                    diagnostic.left_out = Some("the rule book is left out, with the sites it judges".to_owned());
                    diagnostics.push(diagnostic);
                }
                match reading.value {
                    Some(book) => drop(books.insert(name.to_owned(), Arc::new(book))),
                    None => drop(books.remove(name)),
                }
            }
        }
    }
    (books, diagnostics)
}

type SheetSites = BTreeMap<Id, (Vec<SheetLine>, bool)>;

fn read_sheet(folder: &Folder, diagnostics: &mut Vec<Diagnostic>) -> Option<SheetSites> {
    let source = match folder.text("sites.csv", LARGEST_SHEET) {
        Ok(source) => source,
        Err((message, line)) => {
            diagnostics.push(about_file(Severity::Error, Rule::UnreadableFile, "sites.csv", message, line));
            return None;
        }
    };
    let tell = |problem: readings::SheetProblem, left_out: String| Diagnostic {
        severity: Severity::Error,
        rule: problem.rule,
        file: "sites.csv".to_owned(),
        spot: Some(problem.spot),
        excerpt: source.line(problem.spot.line),
        message: problem.message,
        hint: problem.hint,
        second: None,
        left_out: Some(left_out),
    };
    let lines = match readings::read_sites(&source.text) {
        Ok(lines) => lines,
        Err(problem) => {
            diagnostics.push(tell(problem, "nothing can be reported".to_owned()));
            return None;
        }
    };
    let mut sites = SheetSites::new();
    let mut spas: BTreeMap<(Id, Id), u32> = BTreeMap::new();
    for (site, line) in lines {
        match (site, line) {
            (Some(site), Ok(line)) => {
                let (known, bad) = sites.entry(site.clone()).or_default();
                if let Some(first) = spas.insert((site.clone(), line.spa.clone()), line.line) {
                    let spot = Spot { line: line.line as usize, column: 1, length: site.as_str().len() };
                    let message = format!("the spa `{site}/{}` stands on line {first} already", line.spa);
                    let problem =
                        readings::SheetProblem { rule: Rule::RepeatedId, spot, message, hint: None, whole_file: false };
                    let mut told = tell(problem, format!("the site `{site}` is left out"));
                    told.second = source.beside_row(first as usize, "the first".to_owned());
                    diagnostics.push(told);
                    *bad = true;
                } else {
                    known.push(line);
                }
            }
            (Some(site), Err(problem)) => {
                diagnostics.push(tell(problem, format!("the site `{site}` is left out")));
                sites.entry(site).or_default().1 = true;
            }
            (None, Err(problem)) => diagnostics.push(tell(problem, "the line is left out".to_owned())),
            (None, Ok(_)) => {}
        }
    }
    for (site, (lines, _)) in &sites {
        diagnostics.extend(lines_that_disagree(site, lines, &source));
    }
    Some(sites)
}

/// Lines of one site that do not say the same of it: the first of them holds.
fn lines_that_disagree(site: &Id, lines: &[SheetLine], source: &SourceText) -> Vec<Diagnostic> {
    let said = |line: &SheetLine| {
        [
            ("name", line.name.as_ref().map(ToString::to_string)),
            ("customer", line.customer.as_ref().map(ToString::to_string)),
            ("use", line.r#use.map(|used_as| used_as.word().to_owned())),
            ("area", line.area.as_ref().map(ToString::to_string)),
        ]
    };
    let mut first: BTreeMap<&str, (String, u32)> = BTreeMap::new();
    let mut diagnostics = Vec::new();
    for line in lines {
        for (field, value) in said(line) {
            let Some(value) = value else { continue };
            let (known, at) = first.entry(field).or_insert_with(|| (value.clone(), line.line));
            if *known == value {
                continue;
            }
            let message = format!("`{field}` of the site `{site}` is `{value}` here and `{known}` on line {at}");
            let number = line.line as usize;
            let mut told = about_file(Severity::Warning, Rule::LinesDisagree, "sites.csv", message, Some(number));
            told.excerpt = source.line(number);
            told.second = source.beside_row(*at as usize, "the first".to_owned());
            told.hint = Some("say the same of a site on all its lines, or leave it empty on all but one".to_owned());
            told.left_out = Some(format!("`{known}` is used"));
            diagnostics.push(told);
        }
    }
    diagnostics
}

/// The site a file is of by its place and name; `None` = it is of the whole fleet, or of none.
pub fn site_of(file: &str) -> Option<&str> {
    match file.split_once('/')? {
        ("sites", name) => name.strip_suffix(".yaml"),
        ("readings", name) => name.strip_suffix(".csv"),
        ("bookings", name) => {
            name.strip_suffix(".ics").map(|stem| stem.split_once("--").map_or(stem, |(site, _)| site))
        }
        _ => None,
    }
}

/// The folder of the customers' quotes. A site's quotes stand beside it, in a folder of the site's name.
pub const CUSTOMERS_FOLDER: &str = "customers";

/// Whether an id is no site's, for the sake of a folder.
pub fn is_reserved(site: &Id) -> bool {
    site.as_str() == CUSTOMERS_FOLDER
}

fn find_sites(folder: &Folder, sheet: SheetSites, diagnostics: &mut Vec<Diagnostic>) -> Vec<SiteFiles> {
    let mut sites: BTreeMap<Id, SiteFiles> = sheet
        .into_iter()
        .map(|(id, (lines, bad_line))| (id.clone(), SiteFiles { id, file: None, lines, bad_line }))
        .collect();
    for file in &folder.files {
        let Some(name) = file.strip_prefix("sites/") else { continue };
        let stem = name.strip_suffix(".yaml");
        match stem.map(Id::parse) {
            Some(Ok(id)) => {
                let entry =
                    sites.entry(id.clone()).or_insert(SiteFiles { id, file: None, lines: Vec::new(), bad_line: false });
                entry.file = Some(file.clone());
            }
            Some(Err(message)) => {
                let mut diagnostic = about_file(
                    Severity::Error,
                    Rule::StrayFile,
                    file,
                    format!("{message}, and the file's name is the site's id"),
                    None,
                );
                diagnostic.left_out = Some("the site is left out".to_owned());
                diagnostics.push(diagnostic);
            }
            None => {
                let message = "a site's file is named `sites/<site>.yaml`; this one is not read".to_owned();
                diagnostics.push(about_file(Severity::Warning, Rule::StrayFile, file, message, None));
            }
        }
    }
    sites.retain(|id, files| {
        let reserved = is_reserved(id);
        if reserved {
            let line = files.lines.first().map(|line| line.line as usize);
            let (file, line) = files.file.as_deref().map_or(("sites.csv", line), |file| (file, None));
            let message = format!("no site may be named `{id}`, the folder of customers' quotes");
            let mut diagnostic = about_file(Severity::Error, Rule::ReservedId, file, message, line);
            diagnostic.left_out = Some("the site is left out".to_owned());
            diagnostics.push(diagnostic);
        }
        !reserved
    });
    let known: BTreeSet<&str> = sites.keys().map(Id::as_str).collect();
    for file in &folder.files {
        if !["readings/", "bookings/"].iter().any(|folder| file.starts_with(folder)) {
            continue;
        }
        let site = site_of(file);
        if !site.is_some_and(|site| known.contains(site)) {
            let mut diagnostic = about_file(
                Severity::Warning,
                Rule::StrayFile,
                file,
                "no site is named like this file, so it is not read".to_owned(),
                None,
            );
            diagnostic.hint = site
                .and_then(|site| yaml::nearest(site, known.iter().copied()))
                .map(|near| format!("did you mean the site `{near}`?"));
            diagnostics.push(diagnostic);
        }
    }
    sites.into_values().collect()
}

fn assume_settings(settings: &FleetFile, folder: &Folder, assumed: &mut Vec<Assumed>) {
    let source = folder.text("fleet.yaml", LARGEST_RECORD).ok();
    let left_out = |field: &str| source.as_ref().is_some_and(|source| !source.holds(field));
    let mut assume = |missing: bool, what: &str, change: &str| {
        if missing {
            assumed.push(Assumed { what: what.to_owned(), change: change.to_owned() });
        }
    };
    assume(settings.limits.is_none(), "no rule book, so no limit is known", "`limits` in fleet.yaml");
    assume(settings.typed_in.hours.is_none(), "hours typed without a unit are hours", "`typed_in` in fleet.yaml");
    assume(
        settings.typed_in.pressure.is_none(),
        &format!("pressures typed without a unit are in {}", settings.pressure_unit()),
        "`typed_in` in fleet.yaml",
    );
    assume(
        settings.typed_in.flow.is_none(),
        &format!("flows typed without a unit are in {}", settings.flow_unit()),
        "`typed_in` in fleet.yaml",
    );
    assume(
        settings.typed_in.temperature.is_none(),
        &format!("temperatures typed without a unit are in {}", settings.temperature_unit()),
        "`typed_in` in fleet.yaml",
    );
    assume(
        settings.technicians.0.is_empty(),
        "one technician, Monday to Friday, 7 h a day",
        "`technicians` in fleet.yaml",
    );
    let without = |what: fn(&Technician) -> bool| settings.technicians.iter().any(|(_, person)| what(person));
    assume(
        without(|person| person.days.is_none()),
        "a technician whose days are not written works Monday to Friday",
        "`days` under `technicians` in fleet.yaml",
    );
    assume(
        without(|person| person.hours_per_day.is_none()),
        "a technician whose hours are not written works 7 h a day",
        "`hours_per_day` under `technicians` in fleet.yaml",
    );
    assume(
        true,
        "concentrations typed without a unit are in mg/L, redox potentials in mV, currents in A",
        "the unit beside the reading",
    );
    for (field, what) in [
        ("units", "reports are in metric units"),
        ("paper", "reports are printed on A4"),
        ("renew_by", "parts are renewed by the book or by the best age of their lives, whichever comes first"),
        ("reports_for", "reports are for the office, with costs and notes"),
        ("seed", "simulations begin from the seed 1"),
    ] {
        assume(left_out(field), what, &format!("`{field}` in fleet.yaml"));
    }
}
