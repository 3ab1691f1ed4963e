//! `tubwright add`: one more entry in a site's log, checked in memory and written all or nothing.

mod entry;

use std::collections::BTreeSet;
use std::path::Path;

use self::entry::{address, new_visit};
use crate::address::Id;
use crate::calendar;
use crate::cli::Add;
use crate::commands::{Failure, add_sheet, failure, load};
use crate::diagnostic::{Diagnostic, Severity};
use crate::output;
use crate::printer::{Printer, count};
use crate::records::Site;
use crate::records::append::{NewVisit, append};
use crate::records::check;
use crate::records::load::{Shared, SiteFiles};
use crate::records::tree::{LARGEST_RECORD, SourceText};
use crate::records::yaml::nearest;

/// A visit that is to be added: a day, and what was read and done at each address.
#[derive(Debug, Clone)]
pub struct Wanted {
    /// The day; `None`: `date=` among the values, else today in the fleet's time zone.
    pub date: Option<String>,
    /// What is said of each address (`site/spa` or `site/spa/equipment`, all of one site), as `key=value`.
    pub at: Vec<(String, Vec<String>)>,
}

/// What came of it.
#[derive(Debug)]
pub enum Added {
    /// It is written into these files.
    Written {
        /// The files, from the fleet's folder.
        files: Vec<String>,
        /// What is odd in the new entries.
        warnings: Vec<Diagnostic>,
    },
    /// Nothing is written: this is wrong in the new entries, or in what they were to be added to.
    Refused {
        /// What is wrong.
        found: Vec<Diagnostic>,
        /// What was to be written, in words.
        what: String,
    },
    /// The fleet itself cannot be read; why was told.
    NoFleet,
}

/// Adds an entry.
///
/// # Errors
/// If nothing was written: an argument that cannot be meant, or a file that cannot be read or written.
pub fn run(arguments: &Add, printer: Printer) -> Result<u8, Failure> {
    if let Some(sheet) = &arguments.sheet {
        return add_sheet::run(arguments, sheet, printer);
    }
    let address = arguments.address.clone().unwrap_or_default();
    let wanted = Wanted { date: arguments.date.clone(), at: vec![(address, arguments.values.clone())] };
    Ok(tell(add(&arguments.fleet, &[wanted], printer)?, printer))
}

/// Says what came of it, and gives the exit status.
pub(super) fn tell(added: Added, printer: Printer) -> u8 {
    match added {
        Added::NoFleet => 2,
        Added::Refused { found, what } => {
            printer.diagnostics(&found);
            printer.summary(&format!("{}; {what} is as it was", count(&found)));
            2
        }
        Added::Written { files, warnings } => {
            printer.diagnostics(&warnings);
            printer.summary(&format!("added to {}", files.join(", ")));
            0
        }
    }
}

/// Adds visits to the logs of their sites: all of them, or nothing. Two of these at once wait for one another.
///
/// # Errors
/// If nothing was written: a value that cannot be meant, or a file that cannot be read or written.
pub fn add(fleet: &Path, visits: &[Wanted], printer: Printer) -> Result<Added, Failure> {
    let _lock = lock(fleet);
    let Some(shared) = load(fleet, printer)? else { return Ok(Added::NoFleet) };
    let mut changes: Vec<Change> = Vec::new();
    for wanted in visits {
        let mut at = Vec::new();
        let mut of_site = None;
        for (written, values) in &wanted.at {
            let (site, inside) = address(written)?;
            if of_site.get_or_insert_with(|| site.clone()) != &site {
                return Err(failure(format!("one visit is to one site, and `{written}` is at another")));
            }
            at.push((inside, values.as_slice()));
        }
        let Some(site) = of_site else { return Err(failure("nothing is to be added".to_owned())) };
        let today = || calendar::today(shared.fleet.settings.timezone.0).to_string();
        let day = match &wanted.date {
            Some(written) => calendar::parse_date(written).map_err(failure)?.to_string(),
            None => today(),
        };
        let visit = new_visit(&at, day, wanted.date.is_some()).map_err(failure)?;
        let known = changes.iter().position(|change| change.files.id == site);
        let index = if let Some(index) = known {
            index
        } else {
            changes.push(Change::of(&shared, fleet, &site)?);
            changes.len() - 1
        };
        if let Err(refused) = changes[index].add(&shared, &visit)? {
            return Ok(refused);
        }
    }
    // Somebody else may have saved a file meanwhile: their words are not lost to ours.
    for change in &changes {
        if change.files.file.is_some() && change.is_there {
            let now = shared.folder.text(&change.name, LARGEST_RECORD).map(|now| now.text);
            if now.ok().as_deref() != Some(change.old.as_str()) {
                return Err(failure(format!("{} was changed meanwhile; nothing is written", change.name)));
            }
        }
    }
    write(fleet, &changes)?;
    let files = changes.iter().map(|change| change.name.clone()).collect();
    Ok(Added::Written { files, warnings: changes.into_iter().flat_map(|change| change.warnings).collect() })
}

/// Held while entries are read, checked and written, so that of two commands at once neither loses the other's entry.
/// Where a system cannot lock a folder, the look at what the file holds before it is replaced must do.
fn lock(fleet: &Path) -> Option<std::fs::File> {
    let folder = fs_err::File::open(fleet).ok()?.into_parts().0;
    folder.lock().ok()?;
    Some(folder)
}

/// Writes every file; if one cannot be, those before it are put back as they were.
fn write(fleet: &Path, changes: &[Change]) -> Result<(), Failure> {
    for (index, change) in changes.iter().enumerate() {
        let Err(error) = output::write_atomically(&fleet.join(&change.name), change.new.as_bytes()) else { continue };
        for done in &changes[..index] {
            let path = fleet.join(&done.name);
            let back = if done.is_there {
                output::write_atomically(&path, done.old.as_bytes()).is_ok()
            } else {
                fs_err::remove_file(&path).is_ok()
            };
            if !back {
                return Err(failure(format!("{error}, and {} could not be put back as it was", done.name)));
            }
        }
        return Err(Failure::new(error));
    }
    Ok(())
}

/// A site's file as it is and as it is to be.
struct Change {
    files: SiteFiles,
    name: String,
    is_there: bool,
    old: String,
    new: String,
    warnings: Vec<Diagnostic>,
}

impl Change {
    fn of(shared: &Shared, fleet: &Path, site: &Id) -> Result<Self, Failure> {
        let Some(files) = shared.sites.iter().find(|files| files.id == *site) else {
            let hint = nearest(site.as_str(), shared.sites.iter().map(|files| files.id.as_str()))
                .map_or_else(String::new, |near| format!("; did you mean `{near}`?"));
            return Err(failure(format!("the fleet has no site `{site}`{hint}")));
        };
        let name = files.file.clone().unwrap_or_else(|| format!("sites/{site}.yaml"));
        let old = if let Some(file) = &files.file {
            shared.folder.text(file, LARGEST_RECORD).map_err(|(why, _)| failure(format!("{file}: {why}")))?.text
        } else {
            refuse_what_is_there(fleet, &name)?;
            format!("format: 1\n# `{site}` also stands in sites.csv; what is written here wins.\n")
        };
        let is_there = files.file.is_some();
        let files = SiteFiles { file: Some(name.clone()), ..files.clone() };
        Ok(Self { files, name, is_there, new: old.clone(), old, warnings: Vec::new() })
    }

    /// One more visit, if the file is then no worse than it was.
    fn add(&mut self, shared: &Shared, visit: &NewVisit) -> Result<Result<(), Added>, Failure> {
        let name = &self.name;
        let new = append(&self.new, visit);
        let before = shared.read_site_as(&self.files, self.new.clone());
        let after = shared.read_site_as(&self.files, new.clone());
        let known: BTreeSet<String> = diagnostics_of(&before).iter().map(in_words).collect();
        let mut found: Vec<Diagnostic> =
            diagnostics_of(&after).iter().filter(|d| !known.contains(&in_words(d))).cloned().collect();
        found.extend(self.later(shared, &before, &after, &new));
        if found.iter().any(|d| d.severity == Severity::Error) {
            return Ok(Err(Added::Refused { found, what: name.clone() }));
        }
        let (Ok(before), Ok(after)) = (&before, &after) else {
            let first = diagnostics_of(&before).first().map_or_else(String::new, Diagnostic::one_line);
            return Err(failure(format!("{name} must be mended before anything can be added to it: {first}")));
        };
        if !is_one_more(before, after) {
            return Err(failure(format!("the layout of {name} is not one that can be added to; nothing is written")));
        }
        if new.len() as u64 > LARGEST_RECORD {
            return Err(failure(format!("{name} would be larger than {} MB", LARGEST_RECORD >> 20)));
        }
        self.new = new;
        self.warnings.extend(found);
        Ok(Ok(()))
    }
}

impl Change {
    /// What of a new visit is of days to come: nobody writes a log of those.
    fn later(
        &self,
        shared: &Shared,
        before: &Result<Site, Vec<Diagnostic>>,
        after: &Result<Site, Vec<Diagnostic>>,
        new: &str,
    ) -> Vec<Diagnostic> {
        let today = calendar::today(shared.fleet.settings.timezone.0);
        let text = SourceText::new(&self.name, new.to_owned());
        let later = |site: &Result<Site, Vec<Diagnostic>>| {
            site.as_ref()
                .map_or_else(|_| Vec::new(), |site| check::after_as_of(site, &self.files, &shared.folder, today))
        };
        let known: BTreeSet<String> = later(before).into_iter().map(|d| d.message).collect();
        let mut found = later(after);
        found.retain(|diagnostic| !known.contains(&diagnostic.message));
        let newest = after.as_ref().ok().and_then(|site| site.visits.iter().map(|(index, _)| *index).max());
        for diagnostic in found.iter_mut().filter(|diagnostic| diagnostic.file == self.name) {
            // The file is not written yet: the place is the new visit's.
            diagnostic.spot = newest.and_then(|index| text.find_text(&format!("log[{index}].date")));
            diagnostic.excerpt = diagnostic.spot.and_then(|spot| text.line(spot.line));
        }
        found
    }
}

/// A new file must not take the place of anything, nor lead out of the fleet's folder through a link.
pub(super) fn refuse_what_is_there(fleet: &Path, name: &str) -> Result<(), Failure> {
    if fs_err::symlink_metadata(fleet.join("sites")).is_ok_and(|found| !found.is_dir()) {
        return Err(failure("`sites` in the fleet's folder is not a folder (links are not followed)".to_owned()));
    }
    if fs_err::symlink_metadata(fleet.join(name)).is_ok() {
        return Err(failure(format!("{name} is there already and is not overwritten")));
    }
    Ok(())
}

fn diagnostics_of(read: &Result<Site, Vec<Diagnostic>>) -> &[Diagnostic] {
    match read {
        Ok(site) => &site.diagnostics,
        Err(diagnostics) => diagnostics,
    }
}

/// What tells a new problem from one that was there: lines move, words do not.
fn in_words(diagnostic: &Diagnostic) -> String {
    format!("{}\n{}\n{}", diagnostic.rule.name(), diagnostic.message, diagnostic.excerpt.as_deref().unwrap_or_default())
}

/// Whether a site has one visit more, the last of its log, and is otherwise as it was.
fn is_one_more(before: &Site, after: &Site) -> bool {
    let Some(newest) = after.visits.iter().map(|(index, _)| *index).max() else { return false };
    let rest: Vec<_> = after.visits.iter().filter(|(index, _)| *index != newest).collect();
    rest.len() == before.visits.len()
        && rest.iter().zip(&before.visits).all(|(a, b)| format!("{a:?}") == format!("{b:?}"))
        && format!("{:?}{:?}{:?}", before.spas, before.name, before.closed)
            == format!("{:?}{:?}{:?}", after.spas, after.name, after.closed)
}

#[cfg(test)]
mod tests;
