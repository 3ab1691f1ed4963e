//! What stands beside a site's file: its sheet of readings and its bookings.

use std::sync::Arc;

use super::SiteReader;
use crate::address::Address;
use crate::calendar::days_between;
use crate::diagnostic::{Diagnostic, Rule, Severity};
use crate::records::bookings::{self, Stays};
use crate::records::check;
use crate::records::load::about_file;
use crate::records::log::TypedUnits;
use crate::records::readings;
use crate::records::tree::{LARGEST_RECORD, LARGEST_SHEET, SourceText};
use crate::records::yaml;
use crate::records::{MinuteOfDay, ReadingRow, Record, Site};

impl SiteReader<'_> {
    pub(super) fn read_sheet_readings(&mut self, site: &mut Site, own: &SourceText) {
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
            let (spot, excerpt) = source.row(line).unzip();
            self.diagnostics.push(Diagnostic {
                severity: Severity::Error,
                rule: Rule::UnknownAddress,
                excerpt,
                file: file.clone(),
                spot,
                message: format!("nothing at this site has the address `{at}`"),
                hint: yaml::nearest(at.as_str(), known.iter().map(Address::as_str))
                    .map(|near| format!("did you mean `{near}`?")),
                second: None,
                left_out: Some(left_out),
            });
        }
        for diagnostic in check::wrong_rows(&self.shared.fleet, site, &source, own) {
            self.left_out.extend(diagnostic.left_out.clone());
            self.diagnostics.push(diagnostic);
        }
        self.diagnostics.extend(check::gallons_in_header(&self.shared.fleet, &source));
    }

    pub(super) fn read_bookings(&mut self, site: &mut Site) {
        let timezone = self.shared.fleet.settings.timezone.0;
        let whole = format!("bookings/{}.ics", site.id);
        let site_stays = self.stays_of(&whole, timezone);
        let of_spas = format!("bookings/{}--", site.id);
        for file in self.shared.folder.beginning(&of_spas) {
            let Some(spa) = file.strip_prefix(&of_spas).and_then(|spa| spa.strip_suffix(".ics")) else { continue };
            let known = || site.spas.iter().map(|spa| spa.at.as_str());
            if known().any(|known| known == spa) {
                continue;
            }
            let message = format!("the site `{}` has no spa `{spa}`, so its bookings are not read", site.id);
            let mut told = about_file(Severity::Warning, Rule::StrayFile, file, message, None);
            let there = || format!("there are {}", known().collect::<Vec<_>>().join(", "));
            told.hint = Some(yaml::nearest(spa, known()).map_or_else(there, |near| format!("did you mean `{near}`?")));
            self.diagnostics.push(told);
        }
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
        self.long_stays(file, &stays, &source);
        (!lost).then(|| Arc::new(stays))
    }

    /// Stays so long that a day of leaving may have a slip in it; told once of a file, with the first.
    fn long_stays(&mut self, file: &str, stays: &Stays, source: &SourceText) {
        let long: Vec<_> = stays.stays.iter().filter(|(from, to)| days_between(*from, *to) > LONGEST_STAY).collect();
        let Some((from, to)) = long.first() else { return };
        let more = if long.len() > 1 { format!(", the first of {} so long", long.len()) } else { String::new() };
        let message = format!("the stay of {from} lasts {} nights, up to {to}{more}", days_between(*from, *to));
        let line = bookings::line_of(&source.text, *from);
        let mut told = about_file(Severity::Warning, Rule::Bookings, file, message, line);
        told.hint = Some("is the day of leaving right? it counts as it is written".to_owned());
        self.diagnostics.push(told);
    }
}

/// A longer stay is asked about: half a year (assumed; winter lets are shorter).
const LONGEST_STAY: i64 = 183;

/// Moves the log's readings beside the sheet's, sorted; a reading given twice is kept once.
pub(super) fn index_readings(site: &mut Site, typed: &TypedUnits) {
    for (index, visit) in &mut site.visits {
        for (at, entry) in &mut visit.at.0 {
            let (before, after) = entry.take_readings();
            let minute = visit.time.and_then(|t| MinuteOfDay::after_midnight(t.start));
            let row = |(quantity, value), after| ReadingRow {
                value,
                record: Record::Log(*index),
                day: visit.date.0,
                minute,
                after,
                quantity,
            };
            let before = before.readings(typed).map(|read| row(read, false));
            let mut rows = before.chain(after.readings(typed).map(|read| row(read, true))).peekable();
            if rows.peek().is_some() {
                site.readings.entry(at.clone()).or_default().extend(rows);
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
