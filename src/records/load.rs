//! Putting a fleet together from its files: what all sites share once, then site by site, so that a
//! large fleet never stands in memory whole.
//!
//! An error costs as little as it can: an entry, a row, a site; only `fleet.yaml` and a shared file
//! that cannot be parsed at all cost the run.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::Arc;

use crate::address::{Address, Id};
use crate::basis::Place;
use crate::diagnostic::{Diagnostic, Rule, Severity, Spot};
use crate::limits;
use crate::records::bookings::{self, Stays};
use crate::records::check;
use crate::records::customers::CustomersFile;
use crate::records::fleet::FleetFile;
use crate::records::forms::{Fitted, Name};
use crate::records::log::{Quantity, TypedUnits, Visit};
use crate::records::pumps::PumpsFile;
use crate::records::readings;
use crate::records::site::{SheetLine, SiteFile};
use crate::records::tree::{Folder, LARGEST_RECORD, LARGEST_SHEET, SourceText};
use crate::records::tubs::{Duty, SpaFile, Speed, TubsFile};
use crate::records::upkeep::UpkeepFile;
use crate::records::yaml::{self, Problem, Step};
use crate::records::{Assumed, Book, ClosedSeason, Equipment, Filter, Fleet, Pump, ReadingRow, Site, Spa};

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
        second: None,
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
        // Any error in fleet.yaml costs the run: every site depends on it.
        let settings: FleetFile = match read_shared(&folder, "fleet.yaml", |_| 0, &mut diagnostics) {
            Some((file, _)) => file,
            None => return Err(LoadError::Unusable("fleet.yaml".to_owned(), diagnostics)),
        };
        let entry = |path: &[Step]| if path.len() >= 2 { 2 } else { 0 };
        let mut unusable = None;
        let mut bad_models = BTreeSet::new();
        let mut bad_types = BTreeSet::new();
        let mut models = BTreeMap::new();
        let mut types = BTreeMap::new();
        let mut customers = BTreeMap::new();
        let mut assumed = Vec::new();
        if folder.has("pumps.yaml") {
            match read_shared::<PumpsFile>(&folder, "pumps.yaml", entry, &mut diagnostics) {
                Some((file, lost)) => {
                    models = file.models.0.into_iter().map(|(name, model)| (name.0, model)).collect();
                    bad_models.extend(lost);
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
                Some((file, _)) => customers = file.customers.0.into_iter().collect(),
                None => unusable = Some("customers.yaml"),
            }
        }
        let built_in: UpkeepFile = match yaml::read(BUILT_IN_BOOK, |_| 0).value {
            Some(book) => book,
            None => return Err(LoadError::Unusable("the built-in book".to_owned(), Vec::new())),
        };
        let mut book = Book {
            built_in: true,
            parts: built_in.parts,
            tasks: built_in.tasks,
            programs: built_in.programs.unwrap_or_default(),
        };
        if folder.has("upkeep.yaml") {
            match read_shared::<UpkeepFile>(&folder, "upkeep.yaml", entry, &mut diagnostics) {
                Some((file, _)) => {
                    book.built_in = false;
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
        let (rule_books, wrong_books) = read_rule_books(&folder);
        diagnostics.extend(wrong_books);
        let mut sheet = BTreeMap::new();
        if folder.has("sites.csv") {
            match read_sheet(&folder, &mut diagnostics) {
                Some(lines) => sheet = lines,
                None => unusable = Some("sites.csv"),
            }
        }
        if let Some(file) = unusable {
            return Err(LoadError::Unusable(file.to_owned(), diagnostics));
        }
        let sites = find_sites(&folder, sheet, &mut diagnostics);
        assume_settings(&settings, &mut assumed);
        let fleet = Fleet { settings, models, book, customers, rule_books, assumed };
        diagnostics.extend(check::check_shared(&fleet, &folder));
        if diagnostics.iter().any(|d| d.file == "fleet.yaml" && d.severity == Severity::Error) {
            return Err(LoadError::Unusable("fleet.yaml".to_owned(), diagnostics));
        }
        diagnostics.sort_by_cached_key(Diagnostic::order);
        Ok(Self { fleet, folder, sites, diagnostics, types, bad_models, bad_types })
    }

    /// Reads one site.
    ///
    /// # Errors
    /// What is wrong, if the site cannot be reported.
    pub fn read_site(&self, files: &SiteFiles) -> Result<Site, Vec<Diagnostic>> {
        self.reader(files, None).read(files)
    }

    /// Reads one site as it would be if its file held another text: for what is about to be written.
    ///
    /// # Errors
    /// What is wrong, if the site could not be reported.
    pub fn read_site_as(&self, files: &SiteFiles, text: String) -> Result<Site, Vec<Diagnostic>> {
        self.reader(files, Some(text)).read(files)
    }

    fn reader(&self, files: &SiteFiles, instead: Option<String>) -> SiteReader<'_> {
        SiteReader {
            shared: self,
            instead,
            diagnostics: Vec::new(),
            left_out: Vec::new(),
            lost: files.bad_line,
            lost_at: Vec::new(),
        }
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
    for (site, line) in lines {
        match (site, line) {
            (Some(site), Ok(line)) => {
                let (known, bad) = sites.entry(site.clone()).or_default();
                if let Some(first) = known.iter().find(|known| known.spa == line.spa) {
                    let spot = Spot { line: line.line as usize, column: 1, length: site.as_str().len() };
                    let message = format!("the spa `{site}/{}` stands on line {} already", line.spa, first.line);
                    let problem =
                        readings::SheetProblem { rule: Rule::RepeatedId, spot, message, hint: None, whole_file: false };
                    diagnostics.push(tell(problem, format!("the site `{site}` is left out")));
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
    Some(sites)
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
    let known: BTreeSet<&str> = sites.keys().map(Id::as_str).collect();
    for file in &folder.files {
        let site = if let Some(name) = file.strip_prefix("readings/") {
            name.strip_suffix(".csv")
        } else if let Some(name) = file.strip_prefix("bookings/") {
            name.strip_suffix(".ics").map(|stem| stem.split_once("--").map_or(stem, |(site, _)| site))
        } else {
            continue;
        };
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

fn assume_settings(settings: &FleetFile, assumed: &mut Vec<Assumed>) {
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
}

struct SiteReader<'a> {
    shared: &'a Shared,
    /// The text that stands for the site's file.
    instead: Option<String>,
    diagnostics: Vec<Diagnostic>,
    left_out: Vec<String>,
    /// Whether something was found that costs the site.
    lost: bool,
    /// Where something stands that could not be understood: what is said of it elsewhere is no mistake.
    lost_at: Vec<Address>,
}

impl SiteReader<'_> {
    fn read(mut self, files: &SiteFiles) -> Result<Site, Vec<Diagnostic>> {
        let mut source = None;
        let mut file: Option<SiteFile> = None;
        if let Some(name) = &files.file {
            let text = match self.instead.take() {
                Some(text) => Ok(SourceText::new(name, text)),
                None => self.shared.folder.text(name, LARGEST_RECORD),
            };
            match text {
                Err((message, line)) => {
                    self.diagnostics.push(about_file(Severity::Error, Rule::UnreadableFile, name, message, line));
                    self.lost = true;
                }
                Ok(text) => {
                    file = self.read_file(&text);
                    source = Some(text);
                }
            }
        }
        let source = source.unwrap_or_else(|| SourceText::new("sites.csv", String::new()));
        let mut site = self.resolve(files, file, &source);
        self.read_sheet_readings(&mut site);
        self.read_bookings(&mut site);
        let typed = self.shared.fleet.typed_units();
        let told = check::Told { lost: self.lost, lost_at: &self.lost_at };
        let found = check::check_site(&self.shared.fleet, &mut site, &source, &told);
        self.lost |= found.lost;
        self.diagnostics.extend(found.diagnostics);
        self.left_out.extend(found.left_out);
        index_readings(&mut site, &typed);
        self.diagnostics.extend(check::check_counters(&self.shared.fleet, &site, &source));
        self.diagnostics.sort_by_cached_key(Diagnostic::order);
        if self.lost {
            return Err(self.diagnostics);
        }
        site.diagnostics = self.diagnostics;
        site.left_out = self.left_out;
        Ok(site)
    }

    fn read_file(&mut self, source: &SourceText) -> Option<SiteFile> {
        let in_log = |path: &[Step]| matches!(path.first(), Some(Step::Key(key)) if key == "log") && path.len() >= 2;
        let reading = yaml::read::<SiteFile>(&source.text, |path| {
            let in_entry = in_log(path) && path.len() >= 4 && matches!(&path[2], Step::Key(key) if key == "at");
            if in_entry {
                4
            } else if in_log(path) {
                2
            } else {
                path.len()
            }
        });
        for problem in &reading.problems {
            let mut diagnostic = diagnose(source, problem);
            if in_log(&problem.path) {
                let line = problem.spot.line;
                let what = if problem.left_out == 4 {
                    let Some(Step::Key(at)) = problem.path.get(3) else { continue };
                    format!("the entry for `{at}` on line {line} of {} is left out", source.file)
                } else {
                    format!("the visit on line {line} of {} is left out", source.file)
                };
                diagnostic.left_out = Some(what.clone());
                if self.left_out.last() != Some(&what) {
                    self.left_out.push(what);
                }
            } else {
                diagnostic.left_out = Some("the site is left out".to_owned());
                self.lost = true;
            }
            self.diagnostics.push(diagnostic);
        }
        if reading.value.is_none() {
            self.lost = true;
        }
        reading.value
    }

    fn resolve(&mut self, files: &SiteFiles, file: Option<SiteFile>, source: &SourceText) -> Site {
        let mut assumed = Vec::new();
        let mut name = None;
        let mut customer = None;
        let mut used_as = None;
        let mut area = None;
        let mut spas: Vec<(Id, SpaFile)> = Vec::new();
        let mut rest = None;
        if let Some(file) = file {
            name.clone_from(&file.name);
            customer.clone_from(&file.customer);
            used_as = file.r#use;
            area.clone_from(&file.area);
            spas.clone_from(&file.spas.0);
            rest = Some(file);
        }
        for line in &files.lines {
            name = name.or_else(|| line.name.clone());
            customer = customer.or_else(|| line.customer.clone());
            used_as = used_as.or(line.r#use);
            area = area.or_else(|| line.area.clone());
            match spas.iter_mut().find(|(id, _)| *id == line.spa) {
                Some((_, spa)) => {
                    spa.r#type = spa.r#type.clone().or_else(|| line.file.r#type.clone());
                    spa.fitted = spa.fitted.or(line.file.fitted);
                }
                None => spas.push((line.spa.clone(), line.file.clone())),
            }
        }
        let place_of_site = |field: &str| {
            if files.file.is_some() {
                format!("`{field}` in {}", source.file)
            } else {
                format!("`{field}` of {} in sites.csv", files.id)
            }
        };
        if used_as.is_none() {
            assumed.push(Assumed { what: "no use, so no limit applies".to_owned(), change: place_of_site("use") });
        }
        let travel = rest.as_ref().and_then(|f| f.travel.clone()).unwrap_or_default();
        let mut resolved = Vec::new();
        for (id, mut spa) in spas {
            if let Some(name) = spa.r#type.clone() {
                match self.shared.types.get(&name.0) {
                    Some(base) => spa.inherit_from(base),
                    None => self.unknown_type(&id, &name, files, source),
                }
            }
            resolved.push(self.resolve_spa(&id, spa, used_as, files, source, &mut assumed));
        }
        resolved.sort_by(|a, b| a.at.cmp(&b.at));
        let (records_from, closed, limits, address, contact, key, lost_night, log) = match rest {
            Some(f) => (f.records_from, f.closed, f.limits, f.address, f.contact, f.key, f.lost_night, f.log),
            None => Default::default(),
        };
        let mut visits: Vec<(u32, Visit)> =
            log.into_iter().enumerate().filter_map(|(index, visit)| Some((index as u32, visit?))).collect();
        visits.sort_by_key(|(index, visit)| (visit.date, visit.time.map(|t| t.start), *index));
        Site {
            name: name.map_or_else(|| files.id.to_string(), |n| n.0),
            id: files.id.clone(),
            customer,
            r#use: used_as,
            limits,
            area,
            address,
            contact,
            key,
            travel,
            records_from: records_from.map(|d| d.0),
            closed: closed
                .iter()
                .map(|c| ClosedSeason { from: c.from.0, to: c.to.0, drained: c.drained.unwrap_or(false) })
                .collect(),
            lost_night,
            spas: resolved,
            visits,
            readings: BTreeMap::new(),
            file: Arc::clone(&source.file),
            left_out: Vec::new(),
            diagnostics: Vec::new(),
            assumed,
        }
    }

    fn unknown_type(&mut self, spa: &Id, name: &Name, files: &SiteFiles, source: &SourceText) {
        let bad = self.shared.bad_types.contains(&name.0);
        let message = if bad {
            format!("the type `{name}` cannot be used as it stands in tubs.yaml")
        } else {
            format!("no type is named `{name}` in tubs.yaml")
        };
        let hint = if bad {
            None
        } else {
            yaml::nearest(&name.0, self.shared.types.keys().map(String::as_str))
                .map(|near| format!("did you mean `{near}`?"))
        };
        let line = files.lines.iter().find(|line| line.spa == *spa && line.file.r#type.as_ref() == Some(name));
        let (file, spot) = match line {
            Some(line) => ("sites.csv".to_owned(), Some(Spot { line: line.line as usize, column: 1, length: 1 })),
            None => (source.file.to_string(), source.find_text(&format!("spas.{spa}.type"))),
        };
        self.lost_at.push(Address::of_spa(spa));
        self.lose(file, spot, Rule::UnknownType, message, hint, source);
    }

    /// Something that costs the site.
    fn lose(
        &mut self,
        file: String,
        spot: Option<Spot>,
        rule: Rule,
        message: String,
        hint: Option<String>,
        source: &SourceText,
    ) {
        self.lost = true;
        self.diagnostics.push(Diagnostic {
            severity: Severity::Error,
            rule,
            excerpt: if *source.file == *file { spot.and_then(|s| source.line(s.line)) } else { None },
            file,
            spot,
            message,
            hint,
            second: None,
            left_out: Some("the site is left out".to_owned()),
        });
    }

    fn resolve_spa(
        &mut self,
        id: &Id,
        spa: SpaFile,
        used_as: Option<crate::records::site::Use>,
        files: &SiteFiles,
        source: &SourceText,
        assumed: &mut Vec<Assumed>,
    ) -> Spa {
        let at = Address::of_spa(id);
        let fitted = spa.fitted.unwrap_or(Fitted::Unknown);
        let where_written = |path: &str| -> (String, Option<Spot>) {
            if files.file.is_some() {
                (source.file.to_string(), source.find_text(path))
            } else {
                ("sites.csv".to_owned(), None)
            }
        };
        let mut filters = Vec::new();
        for (id, filter) in spa.filters.0 {
            if filter.here == Some(false) {
                continue;
            }
            let at = at.join(&id);
            let Some(kind) = filter.kind else {
                let (file, spot) = where_written(&format!("spas.{}.filters.{id}", at.spa()));
                let hint = Some("add `kind: cartridge`, `sand` or `precoat`".to_owned());
                self.lose(
                    file,
                    spot,
                    Rule::MissingField,
                    format!("`kind` of the filter `{at}` is missing"),
                    hint,
                    source,
                );
                self.lost_at.push(at);
                continue;
            };
            filters.push(Filter {
                at,
                kind,
                area: filter.area,
                fitted: filter.fitted.unwrap_or(fitted),
                clean_pressure: filter.clean_pressure,
                drop: filter.drop,
                parts: filter.parts,
            });
        }
        let mut pumps = Vec::new();
        for (id, pump) in spa.pumps.0 {
            if pump.here == Some(false) {
                continue;
            }
            let at = at.join(&id);
            let path = format!("spas.{}.pumps.{id}", at.spa());
            let Some(duty) = pump.duty else {
                let (file, spot) = where_written(&path);
                let hint = Some("add `duty: filtration`, `jets` or `filtration_and_jets`".to_owned());
                self.lose(
                    file,
                    spot,
                    Rule::MissingField,
                    format!("`duty` of the pump `{at}` is missing"),
                    hint,
                    source,
                );
                self.lost_at.push(at);
                continue;
            };
            if let Some(model) = pump.model.as_ref().filter(|m| self.shared.bad_models.contains(&m.0)) {
                let (file, spot) = where_written(&format!("{path}.model"));
                let message = format!("the model `{model}` of `{at}` cannot be used as it stands in pumps.yaml");
                self.lose(file, spot, Rule::UnknownModel, message, None, source);
            }
            let mut programs = pump.program.map(|p| p.0).unwrap_or_default();
            let mut usual_program = false;
            if programs.is_empty()
                && let Some(usual) = self.shared.fleet.book.usual_program(used_as, duty)
            {
                let two = pump
                    .model
                    .as_ref()
                    .and_then(|m| self.shared.fleet.models.get(&m.0))
                    .map(|m| m.speeds == crate::records::pumps::Speeds::Two);
                programs = usual.iter().map(|program| usual_for_speeds(program, two)).collect();
                usual_program = true;
            }
            programs.sort_by_key(|p| p.from);
            pumps.push(Pump {
                filters_at: filtering_speeds(duty, pump.filters_at),
                at,
                model: pump.model,
                duty,
                fitted: pump.fitted.unwrap_or(fitted),
                meter: pump.meter,
                bolt_spacing: pump.bolt_spacing,
                programs,
                usual_program,
                parts: pump.parts,
            });
        }
        let mut equipment = Vec::new();
        for (id, item) in spa.equipment.0 {
            if item.here == Some(false) {
                continue;
            }
            let at = at.join(&id);
            let Some(kind) = item.kind else {
                let (file, spot) = where_written(&format!("spas.{}.equipment.{id}", at.spa()));
                let hint = Some("add `kind:`, for example `heater` or `cover`".to_owned());
                self.lose(file, spot, Rule::MissingField, format!("`kind` of `{at}` is missing"), hint, source);
                self.lost_at.push(at);
                continue;
            };
            equipment.push(Equipment {
                at,
                kind,
                fitted: item.fitted.unwrap_or(fitted),
                power: item.power,
                parts: item.parts,
            });
        }
        let mut all: Vec<&Address> = filters
            .iter()
            .map(|f| &f.at)
            .chain(pumps.iter().map(|p| &p.at))
            .chain(equipment.iter().map(|e| &e.at))
            .collect();
        all.sort();
        if let Some(twice) = all.windows(2).find_map(|pair| (pair[0] == pair[1]).then_some(pair[0])) {
            let (file, spot) = where_written(&format!("spas.{id}"));
            let message = format!(
                "two things are named `{twice}`; ids are unique among the pumps, filters and equipment of a spa",
            );
            self.lose(file, spot, Rule::RepeatedId, message, None, source);
        }
        filters.sort_by(|a, b| a.at.cmp(&b.at));
        pumps.sort_by(|a, b| a.at.cmp(&b.at));
        equipment.sort_by(|a, b| a.at.cmp(&b.at));
        if fitted == Fitted::Unknown {
            assumed.push(Assumed {
                what: format!("the day `{at}` was fitted is not known, so ages of what is as old as it are not"),
                change: format!("`fitted` of {at} in {}", source.file),
            });
        }
        Spa {
            at,
            fitted,
            volume: spa.volume,
            stated_flow: spa.stated_flow,
            setpoint: spa.setpoint,
            bathers: spa.bathers.map(|b| b.times),
            pipe: spa.pipe,
            filters,
            pumps,
            equipment,
            parts: spa.parts,
            stays: None,
        }
    }

    fn read_sheet_readings(&mut self, site: &mut Site) {
        let file = format!("readings/{}.csv", site.id);
        if !self.shared.folder.has(&file) {
            return;
        }
        let source = match self.shared.folder.text(&file, LARGEST_SHEET) {
            Ok(source) => source,
            Err((message, line)) => {
                self.left_out.push(format!("{file} is left out: {message}"));
                let mut diagnostic = about_file(Severity::Error, Rule::UnreadableFile, &file, message, line);
                diagnostic.left_out = Some("the sheet is left out".to_owned());
                self.diagnostics.push(diagnostic);
                return;
            }
        };
        let (rows, problems) = readings::read_readings(&source.text, &self.shared.fleet.typed_units());
        for problem in problems {
            let left_out = if problem.whole_file {
                format!("the sheet {file} is left out")
            } else {
                format!("line {} of {file} is left out", problem.spot.line)
            };
            self.left_out.push(left_out.clone());
            self.diagnostics.push(Diagnostic {
                severity: Severity::Error,
                rule: problem.rule,
                excerpt: source.line(problem.spot.line),
                file: file.clone(),
                spot: Some(problem.spot),
                message: problem.message,
                hint: problem.hint,
                second: None,
                left_out: Some(left_out),
            });
        }
        let name: Arc<str> = file.as_str().into();
        for row in rows {
            site.readings.entry(row.at).or_default().push(ReadingRow {
                day: row.day,
                minute: row.time.map(|t| t.start),
                after: false,
                quantity: row.quantity,
                value: row.value,
                file: Arc::clone(&name),
                place: Place::Line(row.line),
            });
        }
        // An address nothing stands at costs its rows, each told once with its first line.
        let known = check::addresses(site);
        let unknown: Vec<Address> = site.readings.keys().filter(|at| !known.contains(*at)).cloned().collect();
        let told = check::Told { lost: self.lost, lost_at: &self.lost_at };
        for at in unknown {
            let Some(rows) = site.readings.remove(&at) else { continue };
            if told.covers(&at) || (told.lost && site.spas.is_empty()) {
                continue;
            }
            let line = rows.first().map_or(0, |row| if let Place::Line(line) = row.place { line as usize } else { 0 });
            let left_out = format!("{} readings for `{at}` in {file} are left out", rows.len());
            self.left_out.push(left_out.clone());
            self.diagnostics.push(Diagnostic {
                severity: Severity::Error,
                rule: Rule::UnknownAddress,
                excerpt: source.line(line),
                file: file.clone(),
                spot: Some(Spot { line, column: 1, length: 1 }),
                message: format!("nothing at this site has the address `{at}`"),
                hint: yaml::nearest(at.as_str(), known.iter().map(Address::as_str))
                    .map(|near| format!("did you mean `{near}`?")),
                second: None,
                left_out: Some(left_out),
            });
        }
        for diagnostic in check::wrong_rows(site, &source) {
            self.left_out.extend(diagnostic.left_out.clone());
            self.diagnostics.push(diagnostic);
        }
        self.diagnostics.extend(check::gallons_in_header(&self.shared.fleet, &source));
    }

    fn read_bookings(&mut self, site: &mut Site) {
        let timezone = self.shared.fleet.settings.timezone.0;
        let whole = format!("bookings/{}.ics", site.id);
        let site_stays = self.stays_of(&whole, timezone);
        for spa in &mut site.spas {
            let own = format!("bookings/{}--{}.ics", site.id, spa.at);
            spa.stays = self.stays_of(&own, timezone).or_else(|| site_stays.clone());
        }
    }

    fn stays_of(&mut self, file: &str, timezone: chrono_tz::Tz) -> Option<Arc<Stays>> {
        if !self.shared.folder.has(file) {
            return None;
        }
        let source = match self.shared.folder.text(file, LARGEST_RECORD) {
            Ok(source) => source,
            Err((message, line)) => {
                self.left_out.push(format!("{file} is left out: {message}"));
                self.diagnostics.push(about_file(Severity::Error, Rule::UnreadableFile, file, message, line));
                return None;
            }
        };
        let (stays, problems) = bookings::read(&source.text, timezone);
        let mut lost = false;
        for problem in problems {
            lost |= problem.whole_file;
            let left_out = if problem.whole_file {
                format!("{file} is left out")
            } else {
                format!("a booking in {file} is left out")
            };
            self.left_out.push(left_out.clone());
            let mut diagnostic = about_file(Severity::Error, Rule::Bookings, file, problem.message, problem.line);
            // The line of a booking may hold a guest's name, so no excerpt is kept.
            diagnostic.left_out = Some(left_out);
            self.diagnostics.push(diagnostic);
        }
        (!lost).then(|| Arc::new(stays))
    }
}

/// A usual program names speeds of both kinds of pump; only those of this pump's kind hold.
fn usual_for_speeds(
    program: &crate::records::tubs::ProgramFile,
    two: Option<bool>,
) -> crate::records::tubs::ProgramFile {
    let mut program = *program;
    let two = two.unwrap_or(false);
    let keep = |hours: &mut crate::records::tubs::SpeedHours| {
        if two {
            hours.run = None;
        } else {
            hours.low = None;
            hours.high = None;
        }
    };
    let mut base = program.base();
    keep(&mut base);
    (program.run, program.low, program.high) = (base.run, base.low, base.high);
    if let Some(occupied) = &mut program.occupied {
        keep(occupied);
    }
    program
}

fn filtering_speeds(duty: Duty, written: Option<Vec<Speed>>) -> Vec<Speed> {
    written.unwrap_or_else(|| match duty {
        Duty::Filtration => vec![Speed::Run, Speed::Low, Speed::High, Speed::All],
        Duty::Jets => Vec::new(),
        Duty::FiltrationAndJets => vec![Speed::Run, Speed::Low],
    })
}

/// Puts the log's readings beside the sheet's, sorted; a reading given twice is kept once.
fn index_readings(site: &mut Site, typed: &TypedUnits) {
    let file = Arc::clone(&site.file);
    let mut names: BTreeMap<Address, Arc<str>> = BTreeMap::new();
    for (index, visit) in &site.visits {
        for (at, entry) in visit.at.iter() {
            let name = Arc::clone(names.entry(at.clone()).or_insert_with(|| at.as_str().into()));
            let mut push = |quantity: Quantity, value: f64, after: bool| {
                let place = Place::Entry { visit: *index, at: Arc::clone(&name), field: quantity.name() };
                site.readings.entry(at.clone()).or_default().push(ReadingRow {
                    day: visit.date.0,
                    minute: visit.time.map(|t| t.start),
                    after,
                    quantity,
                    value,
                    file: Arc::clone(&file),
                    place,
                });
            };
            for (quantity, value) in entry.readings(typed) {
                push(quantity, value, false);
            }
            for (quantity, value) in entry.after.iter().flat_map(|after| after.readings(typed)) {
                push(quantity, value, true);
            }
        }
    }
    for rows in site.readings.values_mut() {
        rows.sort_by_key(|a| (a.day, a.after, a.minute, a.quantity));
        let mut kept: Vec<ReadingRow> = Vec::with_capacity(rows.len());
        for row in rows.drain(..) {
            let same = |k: &ReadingRow| {
                k.quantity == row.quantity
                    && k.value == row.value
                    && k.after == row.after
                    && (k.minute == row.minute || k.minute.is_none() || row.minute.is_none())
            };
            let given_twice = kept.iter().rev().take_while(|k| k.day == row.day).any(same);
            if !given_twice {
                kept.push(row);
            }
        }
        *rows = kept;
    }
}
