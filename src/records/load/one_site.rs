//! One site put together: its lines of the sheet, its types, its file, its readings and its bookings.
//!
//! A wrong entry of the log or row of a sheet costs itself, a wrong thing of what stands there the site.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::{Shared, SiteFiles, about_file, diagnose};
use crate::address::{Address, Id};
use crate::diagnostic::{Diagnostic, Rule, Severity, Spot};
use crate::records::bookings::{self, Stays};
use crate::records::check;
use crate::records::forms::{Fitted, Name};
use crate::records::log::{Quantity, TypedUnits, Visit};
use crate::records::readings;
use crate::records::site::SiteFile;
use crate::records::tree::{LARGEST_RECORD, LARGEST_SHEET, SourceText};
use crate::records::tubs::{Duty, SpaFile, Speed};
use crate::records::yaml::{self, Step};
use crate::records::{Assumed, ClosedSeason, Equipment, Filter, MinuteOfDay, Pump, ReadingRow, Record, Site, Spa};

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
        let (sheet, problems) = readings::read_readings(&source.text, &self.shared.fleet.typed_units());
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
        let mut by_address: Vec<Vec<ReadingRow>> = vec![Vec::new(); sheet.addresses.len()];
        for row in sheet.readings {
            by_address[row.at as usize].push(ReadingRow {
                value: row.value,
                record: Record::Sheet(row.line),
                day: row.day,
                minute: row.time.and_then(|t| MinuteOfDay::after_midnight(t.start)),
                after: false,
                quantity: row.quantity,
            });
        }
        site.readings = sheet.addresses.into_iter().zip(by_address).filter(|(_, rows)| !rows.is_empty()).collect();
        // An address nothing stands at costs its rows, each told once with its first line.
        let known = check::addresses(site);
        let unknown: Vec<Address> = site.readings.keys().filter(|at| !known.contains(*at)).cloned().collect();
        let told = check::Told { lost: self.lost, lost_at: &self.lost_at };
        for at in unknown {
            let Some(rows) = site.readings.remove(&at) else { continue };
            if told.covers(&at) || (told.lost && site.spas.is_empty()) {
                continue;
            }
            let line =
                rows.first().map_or(0, |row| if let Record::Sheet(line) = row.record { line as usize } else { 0 });
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
    for (index, visit) in &site.visits {
        for (at, entry) in visit.at.iter() {
            let mut push = |quantity: Quantity, value: f64, after: bool| {
                site.readings.entry(at.clone()).or_default().push(ReadingRow {
                    value,
                    record: Record::Log(*index),
                    day: visit.date.0,
                    minute: visit.time.and_then(|t| MinuteOfDay::after_midnight(t.start)),
                    after,
                    quantity,
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
