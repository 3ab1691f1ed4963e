//! Rules about the order of what happened: rows of a sheet dated before their equipment was there or after it was
//! gone, a pump exchanged twice in a day, a program older than its pump, entries of days to come.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::speeds::SpeedsThere;
use super::{Checker, plain, standing};
use crate::address::{Address, Id};
use crate::calendar::days_between;
use crate::diagnostic::{Diagnostic, Rule, Second, Severity};
use crate::records::forms::Fitted;
use crate::records::load::SiteFiles;
use crate::records::log::{Quantity, Visit};
use crate::records::tree::{Folder, LARGEST_SHEET, SourceText};
use crate::records::{Fleet, Pump, ReadingRow, Record, Site};

/// A fault that waits longer to be mended is asked about: two months (assumed).
const LONGEST_WAIT: i64 = 61;

/// The first day something can have stood there; `None` if nothing is known of it.
pub(super) fn first_day(fitted: Fitted) -> Option<NaiveDate> {
    match fitted {
        Fitted::Before(_) | Fitted::Unknown => None,
        known => known.earliest(),
    }
}

/// The days from which things are gone, with the visit that says so, by address; what stands in a spa goes with it.
#[derive(Debug, Default)]
pub(super) struct Removals(BTreeMap<Address, (NaiveDate, u32)>);

impl Removals {
    pub(super) fn of(site: &Site) -> Self {
        let mut days = BTreeMap::new();
        for (index, visit) in &site.visits {
            for (at, _) in visit.at.iter().filter(|(_, entry)| entry.removed == Some(true)) {
                let gone = days.entry(at.clone()).or_insert((visit.date.0, *index));
                *gone = (visit.date.0, *index).min(*gone);
            }
        }
        Self(days)
    }

    /// The day from which nothing stood at an address, if that was before `day`, and the visit that says so.
    pub(super) fn gone_before(&self, at: &Address, day: NaiveDate) -> Option<(NaiveDate, u32)> {
        if self.0.is_empty() {
            return None;
        }
        let spa = Address::parse(at.spa()).ok();
        [Some(at), spa.as_ref()]
            .into_iter()
            .flatten()
            .filter_map(|at| self.0.get(at))
            .min()
            .copied()
            .filter(|(gone, _)| *gone < day)
    }
}

/// Rows of a sheet that cannot be right where they stand: they are taken out of the site. Each mistake is told once
/// for an address, with its first line and how many rows it costs. `source` is the site's own file.
pub(crate) fn wrong_rows(fleet: &Fleet, site: &mut Site, sheet: &SourceText, source: &SourceText) -> Vec<Diagnostic> {
    let removals = Removals::of(site);
    let speeds = SpeedsThere::of(fleet, site);
    let mut readings = std::mem::take(&mut site.readings);
    let mut diagnostics = Vec::new();
    for (at, rows) in &mut readings {
        let Some(standing) = standing(site, at) else { continue };
        let first = first_day(standing.fitted);
        let fault = |row: &ReadingRow| -> Option<(Rule, String)> {
            if first.is_some_and(|first| row.day < first) {
                let message = format!("this is dated {}, before `{at}` was fitted: {}", row.day, standing.fitted);
                Some((Rule::BeforeFitting, message))
            } else if let Some((gone, _)) = removals.gone_before(at, row.day) {
                let message = format!("this is dated {}, but `{at}` was removed on {gone}", row.day);
                Some((Rule::UnknownAddress, message))
            } else if speeds.lacks(at, row.day, row.quantity) {
                Some((Rule::SpeedNotThere, SpeedsThere::says(at, row.quantity).0))
            } else {
                let belongs = super::sense::belongs_elsewhere(row.quantity, standing.fits)?;
                let name = Quantity::name(row.quantity);
                let message = format!("`{name}` is read at a {belongs}, and `{at}` is a {}", standing.fits);
                Some((Rule::WrongValue, message))
            }
        };
        let mut told: Vec<(Rule, String, usize, usize, NaiveDate)> = Vec::new();
        rows.retain(|row| {
            let Some((rule, message)) = fault(row) else { return true };
            let Record::Sheet(line) = row.record else { return true };
            // Dates differ from row to row, quantities do not.
            let same = |known: &&mut (Rule, String, usize, usize, NaiveDate)| {
                known.0 == rule && (!matches!(rule, Rule::WrongValue | Rule::SpeedNotThere) || known.1 == message)
            };
            match told.iter_mut().find(same) {
                Some(known) => known.3 += 1,
                None => told.push((rule, message, line as usize, 1, row.day)),
            }
            false
        });
        for (rule, message, line, count, day) in told {
            let mut diagnostic = plain(Severity::Error, rule, &sheet.file, message);
            (diagnostic.spot, diagnostic.excerpt) = sheet.row(line).unzip();
            diagnostic.second = match rule {
                Rule::BeforeFitting => fitting(source, at, standing.group),
                Rule::UnknownAddress => removals.gone_before(at, day).and_then(|(_, visit)| removal(source, visit)),
                _ => None,
            };
            let readings = if count == 1 { "a reading".to_owned() } else { format!("{count} readings") };
            let are = if count == 1 { "is" } else { "are" };
            diagnostic.left_out = Some(format!("{readings} for `{at}` in {} {are} left out", sheet.file));
            diagnostics.push(diagnostic);
        }
    }
    readings.retain(|_, rows| !rows.is_empty());
    site.readings = readings;
    diagnostics
}

/// Where it stands when something was fitted. What has no day of its own is as old as its spa.
pub(super) fn fitting(source: &SourceText, at: &Address, group: Option<&str>) -> Option<Box<Second>> {
    let of_spa = format!("spas.{}.fitted", at.spa());
    let label = format!("`{at}` was fitted then");
    let own = group
        .and_then(|group| source.beside(&format!("spas.{}.{group}.{}.fitted", at.spa(), at.last()), label.clone()));
    own.or_else(|| source.beside(&of_spa, label))
}

/// The visit at which something was removed.
pub(super) fn removal(source: &SourceText, visit: u32) -> Option<Box<Second>> {
    source.beside(&format!("log[{visit}].date"), "removed at this visit".to_owned())
}

impl Checker<'_> {
    /// Dates of a visit the wrong way round: they are not used.
    pub(super) fn out_of_order(&mut self, index: u32, visit: &mut Visit) {
        let day = visit.date;
        if let Some(reported) = visit.reported.map(|reported| reported.day).filter(|reported| *reported > day.0) {
            let message = format!("a fault was reported on {reported}, after the visit of {day} that mended it");
            let path = format!("log[{index}].reported");
            let second = self.source.beside(&format!("log[{index}].date"), "the visit".to_owned());
            let told = self.tell(Severity::Warning, Rule::DatesOutOfOrder, &path, message, None);
            told.left_out = Some("`reported` is not used".to_owned());
            told.second = second;
            visit.reported = None;
        }
        let before = visit.reported.map(|reported| days_between(reported.day, day.0));
        if let Some(days) = before.filter(|days| *days > LONGEST_WAIT) {
            let message = format!("a fault was reported {days} days before the visit of {day} that mended it");
            let hint = Some("is the month right? the failure counts from the day it was reported".to_owned());
            let path = format!("log[{index}].reported");
            let second = self.source.beside(&format!("log[{index}].date"), "the visit".to_owned());
            self.tell(Severity::Warning, Rule::UnlikelyValue, &path, message, hint).second = second;
        }
        for (at, entry) in &mut visit.at.0 {
            let Some(work) = entry.work_mut() else { continue };
            work.deferred.0.retain(|(name, until)| {
                if *until >= day {
                    return true;
                }
                let message = format!("`{name}` of `{at}` is put off on {day} to {until}, a day before");
                let path = format!("log[{index}].at.{at}.deferred.{name}");
                let second = self.source.beside(&format!("log[{index}].date"), "the visit".to_owned());
                let told = self.tell(Severity::Warning, Rule::DatesOutOfOrder, &path, message, None);
                told.left_out = Some("it counts as not put off".to_owned());
                told.second = second;
                false
            });
        }
    }

    /// A program written for this pump that begins before it was there.
    pub(super) fn program_before_pump(&mut self, pump: &Pump, path: &str) {
        let Some(first) = first_day(pump.fitted).filter(|_| !pump.usual_program) else { return };
        let Some(from) = pump.programs.iter().filter_map(|p| p.from).map(|d| d.0).find(|from| *from < first) else {
            return;
        };
        // A program of a type may well be older than this one pump of it.
        let path = format!("{path}.program");
        if !self.source.holds(&path) {
            return;
        }
        let message =
            format!("a program of `{}` begins on {from}, before the pump was fitted: {}", pump.at, pump.fitted);
        let hint = Some("leave `from` out if it holds from the fitting".to_owned());
        self.tell(Severity::Warning, Rule::BeforeFitting, &path, message, hint);
    }

    /// Pumps exchanged, and parts renewed, twice in one day.
    pub(super) fn exchanged_twice(&mut self, site: &Site) {
        let mut exchanged: BTreeMap<(&Address, NaiveDate), u32> = BTreeMap::new();
        let mut renewed: BTreeMap<(&Address, &Id, NaiveDate), u32> = BTreeMap::new();
        for (index, visit) in &site.visits {
            for (at, entry) in visit.at.iter() {
                if entry.exchanged.is_some()
                    && let Some(first) = exchanged.insert((at, visit.date.0), *index)
                {
                    let message = format!("`{at}` is exchanged twice on {}", visit.date);
                    let so = Some("it counts as one exchange".to_owned());
                    self.twice(at, "exchanged", (first, *index), message, so);
                }
                for (part, _) in &entry.renewed.0 {
                    if let Some(first) = renewed.insert((at, part, visit.date.0), *index) {
                        let message = format!("`{part}` of `{at}` is renewed twice on {}", visit.date);
                        self.twice(at, "renewed", (first, *index), message, None);
                    }
                }
            }
        }
    }

    fn twice(&mut self, at: &Address, field: &str, visits: (u32, u32), message: String, so: Option<String>) {
        let path = |index: u32| format!("log[{index}].at.{at}.{field}");
        let second = self.source.beside(&path(visits.0), "the first".to_owned());
        let hint = Some("keep one of them, or mend the date of the other".to_owned());
        let told = self.tell(Severity::Warning, Rule::ReadingsContradict, &path(visits.1), message, hint);
        told.second = second;
        told.left_out = so;
    }
}

/// Dates of a site after the as-of day that should not be: entries and readings, told once for a file, and what was
/// fitted or holds from a day too far ahead.
pub fn after_as_of(site: &Site, files: &SiteFiles, folder: &Folder, as_of: NaiveDate) -> Vec<Diagnostic> {
    let later: Vec<(u32, NaiveDate)> =
        site.visits.iter().map(|(index, visit)| (*index, visit.date.0)).filter(|(_, day)| *day > as_of).collect();
    let mut diagnostics = super::to_come::of_site(site, files, folder, as_of);
    if let Some((index, day)) = later.iter().min() {
        let mut diagnostic = told_later(&site.file, *day, later.len(), "entries");
        super::place(&mut diagnostic, folder, &format!("log[{index}].date"));
        diagnostics.push(diagnostic);
    }
    let mut of_sheets: BTreeMap<&str, Vec<(u32, NaiveDate)>> = BTreeMap::new();
    for row in site.readings.values().flatten().filter(|row| row.day > as_of) {
        if let Record::Sheet(line) = row.record {
            of_sheets.entry(&site.sheet).or_default().push((line, row.day));
        }
    }
    for (file, mut rows) in of_sheets {
        rows.sort_unstable();
        rows.dedup();
        let Some((line, day)) = rows.first() else { continue };
        let mut diagnostic = told_later(file, *day, rows.len(), "rows");
        let row = folder.text(file, LARGEST_SHEET).ok().and_then(|text| text.row(*line as usize));
        (diagnostic.spot, diagnostic.excerpt) = row.unzip();
        diagnostics.push(diagnostic);
    }
    diagnostics
}

fn told_later(file: &str, day: NaiveDate, count: usize, what: &str) -> Diagnostic {
    let more = if count > 1 { format!(", the first of {count} {what} of days to come") } else { String::new() };
    let mut diagnostic = plain(Severity::Warning, Rule::AfterAsOf, file, format!("{day} is still to come{more}"));
    diagnostic.hint = Some("is the year or the month right?".to_owned());
    diagnostic.left_out = Some("no report of a day before it uses it".to_owned());
    diagnostic
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::parse_date;
    use crate::records::load::Shared;

    const FLEET: &str = "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\n";

    /// What is said of a site with a filter and a pump, fitted in 2022, as of the end of 2026.
    fn said(pump: &str, log: &str, sheet: &str) -> Vec<String> {
        let folder = tempfile::tempdir().unwrap();
        let write = |name: &str, text: &str| {
            fs_err::create_dir_all(folder.path().join(name).parent().unwrap()).unwrap();
            fs_err::write(folder.path().join(name), text).unwrap();
        };
        write("fleet.yaml", FLEET);
        write(
            "sites/quay.yaml",
            &format!(
                "format: 1\nspas: {{a: {{fitted: 2022, filters: {{main: {{kind: cartridge}}}}, pumps: {{p: {{duty: filtration, {pump}}}}}}}}}\nlog:\n{log}"
            ),
        );
        if !sheet.is_empty() {
            write("readings/quay.csv", sheet);
        }
        let shared = Shared::load(folder.path()).unwrap();
        let all = match shared.read_site(&shared.sites[0]) {
            Ok(site) => {
                let later = after_as_of(&site, &shared.sites[0], &shared.folder, parse_date("2026-12-31").unwrap());
                site.diagnostics.iter().cloned().chain(later).collect()
            }
            Err(diagnostics) => diagnostics,
        };
        all.iter().map(Diagnostic::one_line).collect()
    }

    const RUN: &str = "program: {run: 8 h/day}";

    #[test]
    fn a_pump_of_one_speed_has_no_counter_of_two() {
        let log = "  - {date: 2026-03-01, at: {a/p: {hours_low: 9}}}\n  - {date: 2026-03-02, at: {a/p: {hours: 9}}}\n";
        let all = said(RUN, log, "date,at,hours_high,current_low\n2026-03-03,a/p,10,2\n2026-03-04,a/p,11,\n");
        assert_eq!(all.len(), 3, "{all:?}");
        assert!(all.iter().all(|line| line.contains("error[speed-not-there]")), "{all:?}");
        assert!(all[1].contains("`hours_high` is a reading of a pump with two speeds, and `a/p` has one"), "{all:?}");
        assert!(all[1].ends_with("2 readings for `a/p` in readings/quay.csv are left out"), "{all:?}");
        assert!(all[2].ends_with("the entry for `a/p` on line 4 of sites/quay.yaml is left out"), "{all:?}");
        // Of two speeds by its program, and nothing known of it.
        for pump in ["program: {low: 8 h/day}, filters_at: [low]", "model: X"] {
            assert_eq!(said(pump, log, ""), Vec::<String>::new(), "{pump}");
        }
        // Exchanged for one nobody knows: it may have two.
        let exchanged = "  - {date: 2026-03-01, at: {a/p: {exchanged: {because: failure, model: Y}, hours_low: 9}}}\n";
        assert_eq!(said(RUN, exchanged, "date,at,hours_low\n2026-03-02,a/p,10\n"), Vec::<String>::new());
    }

    #[test]
    fn rows_dated_before_the_pump_was_there_are_left_out_and_counted() {
        let sheet =
            "date,at,hours,ph\n2021-12-31,a/p,10,\n2021-12-30,a/p,9,\n2022-02-01,a/p,300,\n2022-02-01,a/p,,7.2\n";
        let all = said(RUN, "  []\n", sheet);
        assert_eq!(all.len(), 2, "{all:?}");
        assert!(
            all[0].starts_with("readings/quay.csv:2:1: error[before-fitting]: this is dated 2021-12-31"),
            "{all:?}"
        );
        assert!(all[0].ends_with("2 readings for `a/p` in readings/quay.csv are left out"), "{all:?}");
        assert!(all[1].contains(":5:1: error[wrong-value]: `ph` is read at a spa, and `a/p` is a pump"), "{all:?}");
    }

    #[test]
    fn nothing_is_read_where_nothing_stands_any_more() {
        let log = "  - {date: 2024-03-01, at: {a/p: {hours: 9, removed: true}}}\n  - {date: 2024-03-02, at: {a/p: {hours: 10}, a: {ph: 7.2}}}\n";
        let all = said(RUN, log, "date,at,hours\n2024-03-01,a/p,9\n2024-04-01,a/p,20\n");
        assert_eq!(all.len(), 2, "{all:?}");
        assert!(all[0].contains("dated 2024-04-01, but `a/p` was removed on 2024-03-01"), "{all:?}");
        assert!(all[1].starts_with("sites/quay.yaml:5:"), "{all:?}");
        assert!(all[1].contains("error[unknown-address]: this is dated 2024-03-02"), "{all:?}");
    }

    #[test]
    fn a_pump_is_exchanged_once_a_day() {
        let one = "  - {date: 2024-03-01, at: {a/p: {exchanged: {because: failure}}}}\n";
        let all = said(RUN, &one.repeat(2), "");
        assert_eq!(all.len(), 1, "{all:?}");
        assert!(all[0].contains("warning[readings-contradict]: `a/p` is exchanged twice on 2024-03-01"), "{all:?}");
        assert_eq!(said(RUN, one, ""), Vec::<String>::new());
    }

    #[test]
    fn a_program_does_not_begin_before_its_pump() {
        let pump = |from: &str| format!("fitted: 2023-05-04, program: [{{from: {from}, run: 8 h/day}}]");
        let all = said(&pump("2023-05-03"), "  []\n", "");
        assert_eq!(all.len(), 1, "{all:?}");
        assert!(all[0].contains("warning[before-fitting]: a program of `a/p` begins on 2023-05-03"), "{all:?}");
        assert_eq!(said(&pump("2023-05-04"), "  []\n", ""), Vec::<String>::new());
    }

    #[test]
    fn days_to_come_are_told_once_for_a_file() {
        let log = "  - {date: 2062-03-01, at: {a: {ph: 7.2}}}\n  - {date: 2026-12-31, at: {a: {ph: 7.2}}}\n  - {date: 2027-01-01, at: {a: {ph: 7.2}}}\n";
        let all = said(RUN, log, "date,at,ph\n2026-12-31,a,7.2\n2027-06-01,a,7.2\n");
        assert_eq!(all.len(), 2, "{all:?}");
        assert!(all[0].starts_with("sites/quay.yaml:4:"), "{all:?}");
        assert!(
            all[0].contains("warning[after-as-of]: 2062-03-01 is still to come, the first of 2 entries"),
            "{all:?}"
        );
        assert!(
            all[1].starts_with("readings/quay.csv:3:1: warning[after-as-of]: 2027-06-01 is still to come;"),
            "{all:?}"
        );
    }
}
