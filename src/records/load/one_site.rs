//! One site put together: its lines of the sheet, its types, its file, its readings and its bookings.
//!
//! A wrong entry of the log or row of a sheet costs itself, a wrong thing of what stands there the site.

mod near_ids;
mod sheets;
mod spa;

use std::collections::BTreeMap;
use std::sync::Arc;

use self::sheets::index_readings;
use super::{Shared, SiteFiles, about_file, diagnose};
use crate::address::{Address, Id};
use crate::diagnostic::{Diagnostic, Rule, Severity, Spot};
use crate::records::check;
use crate::records::forms::Name;
use crate::records::log::Visit;
use crate::records::site::SiteFile;
use crate::records::tree::{LARGEST_RECORD, LARGEST_SHEET, SourceText};
use crate::records::tubs::SpaFile;
use crate::records::yaml::{self, Step};
use crate::records::{Assumed, ClosedSeason, Site};

/// The most spas of a site, and the most things in a spa: more was never meant, and takes time without end.
const MOST_SPAS: usize = 500;
pub(super) const MOST_THINGS: usize = 200;

/// The thing that a path of a site's file is about: a spa, or what stands in one.
fn address_of(path: &[Step]) -> Option<Address> {
    let key = |index: usize| if let Some(Step::Key(key)) = path.get(index) { Some(key.as_str()) } else { None };
    let spa = key(1).filter(|_| key(0) == Some("spas"))?;
    let thing = key(3).filter(|_| matches!(key(2), Some("pumps" | "filters" | "equipment")));
    Address::parse(&thing.map_or_else(|| spa.to_owned(), |thing| format!("{spa}/{thing}"))).ok()
}

pub(super) struct SiteReader<'a> {
    shared: &'a Shared,
    /// The text that stands for the site's file.
    instead: Option<String>,
    diagnostics: Vec<Diagnostic>,
    left_out: Vec<String>,
    /// Whether something was found that costs the site.
    lost: bool,
    /// Where something stands that could not be understood: what is said of it elsewhere is no mistake.
    lost_at: Vec<Address>,
    /// Entries of the log that could not be understood, by address; of a whole visit nobody knows the addresses.
    lost_entries: Vec<Option<Address>>,
}

impl<'a> SiteReader<'a> {
    /// A reader of one site, with the text that stands for its file if that is not the one on disk.
    pub(super) fn new(shared: &'a Shared, files: &SiteFiles, instead: Option<String>) -> Self {
        Self {
            shared,
            instead,
            diagnostics: Vec::new(),
            left_out: Vec::new(),
            lost: files.bad_line,
            lost_at: Vec::new(),
            lost_entries: Vec::new(),
        }
    }

    pub(super) fn read(mut self, files: &SiteFiles) -> Result<Site, Vec<Diagnostic>> {
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
        let spas = file.iter().flat_map(|file| file.spas.iter()).map(|(id, spa)| (id.as_str(), spa));
        self.diagnostics.extend(check::unlikely_spas(spas, &source));
        let mut site = self.resolve(files, file, &source);
        self.read_sheet_readings(&mut site, &source);
        self.read_bookings(&mut site);
        let typed = self.shared.fleet.typed_units();
        let told = check::Told { lost: self.lost, lost_at: &self.lost_at };
        let found = check::check_site(&self.shared.fleet, &self.shared.folder, &mut site, &source, &told);
        self.lost |= found.lost;
        self.diagnostics.extend(found.diagnostics);
        self.left_out.extend(found.left_out);
        index_readings(&mut site, &typed);
        // A reset or an exchange that could not be read has been told: its readings are not told again.
        let is_whole = |at: &Address| {
            !self.lost && self.lost_entries.iter().all(|lost| lost.as_ref().is_some_and(|lost| lost != at))
        };
        let of_counters = check::check_counters(&self.shared.fleet, &site, &source, &self.shared.folder, is_whole);
        self.diagnostics.extend(of_counters);
        self.diagnostics.extend(check::unlikely_readings(&self.shared.fleet, &site, &source, &self.shared.folder));
        self.diagnostics.sort_by_cached_key(Diagnostic::order);
        check::one_question_a_value(&mut self.diagnostics);
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
                let of = problem.path.get(3).filter(|_| problem.left_out == 4);
                let at = of.and_then(|step| if let Step::Key(at) = step { Address::parse(at).ok() } else { None });
                self.lost_entries.push(at);
                diagnostic.left_out = Some(what.clone());
                if self.left_out.last() != Some(&what) {
                    self.left_out.push(what);
                }
            } else {
                diagnostic.left_out = Some("the site is left out".to_owned());
                self.lost = true;
                self.lost_at.extend(address_of(&problem.path));
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
        self.spas_nearly_named(files, &spas, source);
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
        if customer.is_none() {
            let what = "no customer, so no statement is made".to_owned();
            assumed.push(Assumed { what, change: place_of_site("customer") });
        }
        let own = |field: &str| format!("`{field}` in {}", files.own_file());
        if rest.as_ref().and_then(|f| f.travel.as_ref()?.time).is_none() {
            assumed.push(Assumed { what: "30 min there and back".to_owned(), change: own("travel") });
        }
        if rest.as_ref().is_none_or(|f| f.visit_days.is_none()) {
            let what = "it can be visited on every day the technicians work".to_owned();
            assumed.push(Assumed { what, change: own("visit_days") });
        }
        if rest.as_ref().is_none_or(|f| f.records_from.is_none()) {
            let what = "all failures since the first entry of the log are in it".to_owned();
            assumed.push(Assumed { what, change: own("records_from") });
        }
        let travel = rest.as_ref().and_then(|f| f.travel.clone()).unwrap_or_default();
        let visit_days = rest.as_ref().and_then(|f| f.visit_days.clone());
        let mut resolved = Vec::new();
        if spas.len() > MOST_SPAS {
            let message = format!("this site has {} spas; a site may have {MOST_SPAS}", spas.len());
            let hint = Some("make several sites of it".to_owned());
            let spot = source.find_text("spas");
            self.lose(source.file.to_string(), spot, Rule::WrongValue, message, hint, source);
            spas.truncate(MOST_SPAS);
        }
        for (id, mut spa) in spas {
            let base = spa.r#type.as_ref().and_then(|name| self.shared.types.get(&name.0));
            self.drops_nothing(&id, &spa, base, source);
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
        visits.shrink_to_fit();
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
            visit_days,
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
            sheet: format!("readings/{}.csv", files.id).into(),
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
            // A site that stands in the sheet alone has no text of its own here.
            excerpt: spot.and_then(|spot| {
                let own = source.line(spot.line).filter(|_| *source.file == *file);
                own.or_else(|| self.shared.folder.text(&file, LARGEST_SHEET).ok()?.line(spot.line))
            }),
            file,
            spot,
            message,
            hint,
            second: None,
            left_out: Some("the site is left out".to_owned()),
        });
    }
}
