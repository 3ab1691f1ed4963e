//! `tubwright add --sheet`: a work sheet typed back, blank by blank in the sheet's order, into one entry of the log.
//!
//! What is asked comes from the same list the sheet is printed from, made from the same plan; what is written goes the
//! one way every entry goes. Nothing is written before the last answer is read, and an answer that cannot be meant ends it
//! with the file as it was, unless somebody sits there to be asked again.

use std::io::{BufRead, IsTerminal};

use super::add::{self, Wanted};
use crate::calendar::{self, Month};
use crate::cli::Add;
use crate::commands::{Failure, failure, load};
use crate::interrupt::Stop;
use crate::printer::Printer;
use crate::records::Site;
use crate::records::load::Shared;
use crate::records::yaml::nearest;
use crate::schedule::visits::{self, Plan};
use crate::site;
use crate::work_sheet::{self, AT, Asked, Blank, Kind, PART, Sheet};

/// What leaves out even what the sheet has printed.
const LEFT_OUT: &str = "-";

/// Asks for a sheet's blanks on standard input and adds the entry.
///
/// # Errors
/// If there is no such visit, an answer cannot be meant, or nothing was written.
pub fn run(arguments: &Add, visit: &str, printer: Printer) -> Result<u8, Failure> {
    let Some(shared) = load(&arguments.fleet, printer)? else { return Ok(2) };
    let today = || calendar::today(shared.fleet.settings.timezone.0);
    let month = arguments.month.unwrap_or_else(|| Month::of(today()).plus(-1));
    let (sites, plan) = planned(&shared, month);
    // No visit's name has a full stop in it.
    let (visit, mark) = visit.split_once('.').map_or((visit, None), |(visit, mark)| (visit, Some(mark)));
    let Some(visit) = plan.visits.iter().find(|planned| planned.id == visit) else {
        let hint = nearest(visit, plan.visits.iter().map(|planned| planned.id.as_str()))
            .map_or_else(String::new, |near| format!("; did you mean `{near}`?"));
        return Err(failure(format!("no visit `{visit}` is planned from the records up to the end of {month}{hint}")));
    };
    let Some(site) = sites.iter().find(|site| site.id == visit.site) else {
        return Err(failure(format!("the site `{}` cannot be understood as it stands", visit.site)));
    };
    let sheet = work_sheet::sheet(&shared.fleet, site, visit);
    if mark.is_some_and(|mark| mark != sheet.mark()) {
        return Err(failure(format!(
            "the plan has changed since that sheet was made: `{}` of {month} asks for something else now; type what was \
             done with `tubwright add {}/…`, or leave `.{}` out to be asked by the new sheet",
            visit.id,
            visit.site,
            mark.unwrap_or_default()
        )));
    }
    let stdin = std::io::stdin();
    let somebody = stdin.is_terminal().then_some(printer);
    let wanted = answered(&sheet, site, &mut stdin.lock(), somebody).map_err(failure)?;
    Ok(add::tell(add::add(&arguments.fleet, &[wanted], printer)?, printer))
}

/// The sites and the plan as a report of the month has them.
fn planned(shared: &Shared, month: Month) -> (Vec<Site>, Plan) {
    let as_of = month.last();
    let read = site::read_all(shared, as_of, &Stop::never()).unwrap_or_default().sites;
    let lives = site::fleet_lives(&shared.fleet, &read, as_of);
    let figures = site::all_figures(&shared.fleet, &lives, &read, as_of);
    let plan = visits::plan(&shared.fleet, &figures, as_of, false);
    drop(figures);
    (read.into_iter().map(|(site, _)| site).collect(), plan)
}

/// Reads answers to a sheet's blanks, one a line in the sheet's order; lines that are not there are blanks left out.
///
/// # Errors
/// Says which answer cannot be meant, if nobody is there to be asked again.
pub fn answered(
    sheet: &Sheet,
    site: &Site,
    input: &mut impl BufRead,
    somebody: Option<Printer>,
) -> Result<Wanted, String> {
    let mut reader = Reader { input, somebody, line: 0 };
    let mut entries = Entries { at: Vec::new() };
    let mut of_visit: Vec<(String, String)> = Vec::new();
    for blank in &sheet.arriving {
        of_visit.extend(reader.answer("", blank)?);
    }
    reader.entries(&sheet.readings, &mut entries)?;
    for job in &sheet.jobs {
        for blank in &job.blanks {
            if let Some((key, value)) = reader.answer(job.task.at.as_str(), blank)? {
                entries.put(job.task.at.as_str(), key, value);
            }
        }
    }
    reader.entries(&sheet.after, &mut entries)?;
    let mut by_hand: Option<ByHand> = None;
    for blank in &sheet.leaving {
        let answer = reader.answer("", blank)?;
        if blank.key == AT {
            by_hand.replace(ByHand::at(answer, site)).map_or(Ok(()), ByHand::end)?;
        } else if let Some(by_hand) = &mut by_hand {
            if let Some((key, value)) = answer {
                let (at, key) = by_hand.place(&key)?;
                entries.put(&at, key, value);
            }
        } else {
            of_visit.extend(answer);
        }
    }
    by_hand.map_or(Ok(()), ByHand::end)?;
    reader.end()?;
    entries.check()?;
    if entries.at.is_empty() && !of_visit.iter().any(|(key, _)| key == "note") {
        return Err("nothing is filled in; nothing is written".to_owned());
    }
    Ok(entries.wanted(site, of_visit))
}

/// Answers, line by line.
struct Reader<'a, R> {
    input: &'a mut R,
    somebody: Option<Printer>,
    line: usize,
}

impl<R: BufRead> Reader<'_, R> {
    fn entries(&mut self, all: &[Asked], entries: &mut Entries) -> Result<(), String> {
        for asked in all {
            for blank in &asked.blanks {
                if let Some((key, value)) = self.answer(asked.at.as_str(), blank)? {
                    entries.put(asked.at.as_str(), key, value);
                }
            }
        }
        Ok(())
    }

    /// The answer to a blank, as key and value; `None` = left out.
    fn answer(&mut self, at: &str, blank: &Blank) -> Result<Option<(String, String)>, String> {
        loop {
            if let Some(printer) = self.somebody {
                printer.question(&question(at, blank));
            }
            let Some(typed) = self.next()? else { return Ok(filled(blank)) };
            let typed = crate::cli::without_invisible(typed.into());
            match meant(blank, typed.to_string_lossy().trim()) {
                Ok(answer) => return Ok(answer),
                Err(wrong) => {
                    let wrong = format!("line {}, {}: {wrong}", self.line, called(at, blank));
                    match self.somebody {
                        Some(printer) => printer.problem(&wrong),
                        None => return Err(wrong),
                    }
                }
            }
        }
    }

    fn next(&mut self) -> Result<Option<String>, String> {
        let mut typed = String::new();
        self.line += 1;
        match self.input.read_line(&mut typed) {
            Ok(0) => Ok(None),
            Ok(_) => Ok(Some(typed)),
            Err(error) => Err(format!("line {} cannot be read: {error}", self.line)),
        }
    }

    /// Lines behind the last blank say that the answers are those of another sheet.
    fn end(&mut self) -> Result<(), String> {
        if self.somebody.is_some() {
            return Ok(());
        }
        while let Some(typed) = self.next()? {
            if !typed.trim().is_empty() {
                return Err(format!("line {} is behind the sheet's last blank; nothing is written", self.line));
            }
        }
        Ok(())
    }
}

fn called(at: &str, blank: &Blank) -> String {
    let name = match &blank.kind {
        Kind::Tick(value) => format!("{}: {value}", blank.key),
        _ => blank.key.clone(),
    };
    if at.is_empty() { name } else { format!("{at} {name}") }
}

fn question(at: &str, blank: &Blank) -> String {
    let unit = if blank.unit.is_empty() { String::new() } else { format!(" ({})", blank.unit) };
    let choice = match &blank.kind {
        Kind::Tick(_) => " (y)".to_owned(),
        Kind::OneOf(words) => format!(" ({})", words.join(", ")),
        _ => String::new(),
    };
    let filled = blank.filled.as_ref().map_or_else(String::new, |filled| format!(" [{filled}]"));
    format!("{}{unit}{choice}{filled}: ", called(at, blank))
}

fn filled(blank: &Blank) -> Option<(String, String)> {
    blank.filled.as_ref().map(|filled| (blank.key.clone(), filled.clone()))
}

/// What an answer means.
fn meant(blank: &Blank, typed: &str) -> Result<Option<(String, String)>, String> {
    let answer = |value: &str| Ok(Some((blank.key.clone(), value.to_owned())));
    if typed.is_empty() {
        return Ok(filled(blank));
    }
    if typed == LEFT_OUT {
        return Ok(None);
    }
    let word = typed.to_lowercase();
    let yes = ["y", "yes", "x", "✓"].contains(&word.as_str());
    let no = ["n", "no"].contains(&word.as_str());
    match &blank.kind {
        Kind::Tick(_) | Kind::OneOf(_) if no => Ok(None),
        Kind::Tick(value) if yes => answer(value),
        Kind::Tick(_) => Err(format!("`{typed}` is neither y nor n")),
        Kind::OneOf(words) if yes => answer(words.first().copied().unwrap_or_default()),
        Kind::OneOf(words) if words.contains(&word.as_str()) => answer(&word),
        Kind::OneOf(words) => Err(format!("`{typed}` is none of {}", words.join(", "))),
        // The log takes hours of work with their unit.
        Kind::Number if blank.key == "labour" && typed.parse::<f64>().is_ok() => answer(&format!("{typed} h")),
        _ => answer(typed),
    }
}

fn first_spa(site: &Site) -> String {
    site.spas.first().map_or_else(String::new, |spa| spa.at.to_string())
}

/// An address written by hand, of which the blanks behind it speak.
struct ByHand {
    /// As it was written, without the site; `None` = left blank.
    at: Option<String>,
    /// What is meant where it was left blank.
    usual: String,
    /// Whether anything was said of it.
    used: bool,
}

impl ByHand {
    fn at(answer: Option<(String, String)>, site: &Site) -> Self {
        let of_site = format!("{}/", site.id);
        let at = answer.map(|(_, at)| at.strip_prefix(&of_site).unwrap_or(&at).to_owned());
        Self { at, usual: first_spa(site), used: false }
    }

    /// Where an answer goes, and its field: `renewed.PART.found` under `tub/one/shaft_seal` is `renewed.shaft_seal.found` of
    /// `tub/one`.
    fn place(&mut self, key: &str) -> Result<(String, String), String> {
        self.used = true;
        if !key.contains(PART) {
            return Ok((self.at.clone().unwrap_or_else(|| self.usual.clone()), key.to_owned()));
        }
        let Some(at) = &self.at else {
            return Err(format!(
                "`{key}` is filled in, and `{AT}` before it does not say of which part (address/part)"
            ));
        };
        let Some((at, part)) = at.rsplit_once('/') else {
            return Err(format!("`{AT}`: `{at}` is no address with a part behind it, like `spa/pump/shaft_seal`"));
        };
        Ok((at.to_owned(), key.replace(PART, part)))
    }

    fn end(self) -> Result<(), String> {
        match self.at {
            Some(at) if !self.used => Err(format!("`{AT}` names `{at}`, and nothing behind it says what is there")),
            _ => Ok(()),
        }
    }
}

/// What is said of each address, in the order it was first spoken of.
struct Entries {
    at: Vec<(String, Vec<(String, String)>)>,
}

impl Entries {
    fn put(&mut self, at: &str, key: String, value: String) {
        let place = self.at.iter().position(|(known, _)| known == at).unwrap_or_else(|| {
            self.at.push((at.to_owned(), Vec::new()));
            self.at.len() - 1
        });
        let fields = &mut self.at[place].1;
        // Ticks are one list; the same part at one visit is renewed once.
        match fields.iter_mut().find(|(known, _)| *known == key) {
            Some((_, values)) if key == "done" => {
                values.push(',');
                values.push_str(&value);
            }
            Some((_, there)) => *there = value,
            None => fields.push((key, value)),
        }
    }

    /// What was found belongs to a part that was renewed: alone it would say that it was.
    fn check(&self) -> Result<(), String> {
        for (at, fields) in &self.at {
            for (key, _) in fields {
                if let Some(part) = key.strip_suffix(".found")
                    && !fields.iter().any(|(other, _)| other == part)
                {
                    return Err(format!(
                        "{at}: `{key}` is filled in, but `{part}` is not ticked; tick it, or write it into `note`"
                    ));
                }
            }
        }
        Ok(())
    }

    fn wanted(mut self, site: &Site, of_visit: Vec<(String, String)>) -> Wanted {
        let first_spa = first_spa(site);
        if self.at.is_empty() {
            self.at.push((first_spa, Vec::new()));
        }
        // Fields of the visit may be said at any address.
        self.at[0].1.extend(of_visit);
        let at = self.at.into_iter().map(|(at, fields)| {
            let values = fields.into_iter().map(|(key, value)| format!("{key}={value}")).collect();
            (format!("{}/{at}", site.id), values)
        });
        Wanted { date: None, at: at.collect() }
    }
}

#[cfg(test)]
mod tests;
