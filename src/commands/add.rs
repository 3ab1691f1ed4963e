//! `tubwright add`: one more entry in a site's log, checked in memory and written all or nothing.

use std::collections::BTreeSet;
use std::path::Path;

use crate::address::{Address, Id};
use crate::calendar;
use crate::cli::Add;
use crate::commands::{Failure, add_sheet, failure, load};
use crate::diagnostic::{Diagnostic, Severity};
use crate::output;
use crate::printer::{Printer, count};
use crate::records::Site;
use crate::records::append::{NewVisit, Value, append};
use crate::records::check;
use crate::records::load::{Shared, SiteFiles};
use crate::records::tree::{LARGEST_RECORD, SourceText};
use crate::records::yaml::nearest;

/// Fields of the visit that stand before `at`, in the order they are written.
const BEFORE: [&str; 5] = ["date", "time", "by", "why", "reported"];
/// Fields of the visit that stand after it.
const AFTER: [&str; 4] = ["labour", "used", "left", "note"];
/// Fields whose value is free text.
const FREE_TEXT: [&str; 4] = ["note", "found", "model", "left"];

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

/// `site/spa[/equipment]` as the site and the address inside it.
fn address(written: &str) -> Result<(Id, Address), Failure> {
    let Some((site, at)) = written.split_once('/') else {
        return Err(failure(format!("`{written}` names no spa; write `site/spa` or `site/spa/equipment`")));
    };
    if at.split('/').count() > 2 {
        let message = "name a part in the key, like `renewed.shaft_seal=failure`";
        return Err(failure(format!("`{written}` has more than three steps; {message}")));
    }
    Ok((Id::parse(site).map_err(failure)?, Address::parse(at).map_err(failure)?))
}

fn new_visit(all: &[(Address, &[String])], day: String, day_given: bool) -> Result<NewVisit, String> {
    let mut of_visit: Vec<(String, Value)> = Vec::new();
    let mut entries = Vec::new();
    for (at, values) in all {
        let mut fields: Vec<(String, Value)> = Vec::new();
        for written in *values {
            let (key, value) =
                written.split_once('=').ok_or_else(|| format!("`{written}` is not `key=value`, like `hours=25310`"))?;
            let steps: Vec<&str> = match key.split_once('.') {
                // A part number may hold points itself.
                Some(("used", number)) => vec!["used", number],
                _ => key.split('.').collect(),
            };
            if steps.iter().any(|step| step.trim().is_empty()) {
                return Err(format!("`{written}` has no key; write `key=value`, like `hours=25310`"));
            }
            if value.trim().is_empty() {
                return Err(format!("`{key}` has no value; leave it out if it is not known"));
            }
            if key == "date" && day_given {
                return Err("the day is given twice: with `--date` and as `date=`".to_owned());
            }
            let is_of_visit = BEFORE.contains(&steps[0]) || AFTER.contains(&steps[0]);
            let put_into = if is_of_visit { &mut of_visit } else { &mut fields };
            put(put_into, &steps, value_of(at, &steps, value.trim())).map_err(|what| format!("`{key}` {what}"))?;
        }
        if fields.is_empty() && !of_visit.iter().any(|(key, _)| key == "left" || key == "note") {
            return Err(format!("nothing is said of `{at}`; add what was read or done there, like `hours=25310`"));
        }
        if entries.iter().any(|(known, _)| known == at.as_str()) {
            return Err(format!("`{at}` stands twice in one visit"));
        }
        entries.push((at.as_str().to_owned(), fields));
    }
    if !of_visit.iter().any(|(key, _)| key == "date") {
        of_visit.push(("date".to_owned(), Value::Plain(day)));
    }
    let mut take = |names: &[&str]| -> Vec<(String, Value)> {
        let found = |name: &&str| {
            let index = of_visit.iter().position(|(key, _)| key == name)?;
            Some(of_visit.remove(index))
        };
        names.iter().filter_map(found).collect()
    };
    let (before, after) = (take(&BEFORE), take(&AFTER));
    Ok(NewVisit { before, at: entries, after })
}

/// A value as its field wants it: `done` and `renewed` are lists, `renewed.PART` is a reason.
fn value_of(at: &Address, steps: &[&str], value: &str) -> Value {
    let list = || Value::List(value.split(',').map(|name| name.trim().to_owned()).collect());
    let field = |key: &str, value: Value| Value::Mapping(vec![(key.to_owned(), value)]);
    match steps {
        ["done" | "renewed" | "repaired"] => list(),
        ["renewed", _] | ["exchanged"] => field("because", Value::Plain(value.to_owned())),
        ["repaired", _] => field("found", Value::Text(value.to_owned())),
        ["left"] => Value::Single(vec![
            ("at".to_owned(), Value::Plain(at.as_str().to_owned())),
            ("note".to_owned(), Value::Text(value.to_owned())),
        ]),
        [.., last] if FREE_TEXT.contains(last) => Value::Text(value.to_owned()),
        _ => Value::Plain(value.to_owned()),
    }
}

/// Puts a value where its steps lead, making the mappings on the way.
fn put(fields: &mut Vec<(String, Value)>, steps: &[&str], value: Value) -> Result<(), &'static str> {
    let [first, rest @ ..] = steps else { return Err("has no key") };
    let place = fields.iter_mut().find(|(key, _)| key == first).map(|(_, value)| value);
    match (place, rest) {
        (None, []) => fields.push(((*first).to_owned(), value)),
        (None, rest) => {
            let mut inner = Vec::new();
            put(&mut inner, rest, value)?;
            fields.push(((*first).to_owned(), Value::Mapping(inner)));
        }
        (Some(Value::Mapping(known)), []) => match value {
            // `renewed.shaft_seal=failure` beside `renewed.shaft_seal.found=…`.
            Value::Mapping(new) => {
                for (key, value) in new {
                    put(known, &[key.as_str()], value)?;
                }
            }
            _ => return Err("is written twice"),
        },
        (Some(Value::Mapping(inner)), rest) => put(inner, rest, value)?,
        (Some(_), []) => return Err("is written twice"),
        (Some(_), _) => return Err("is written both whole and in pieces"),
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::load::Shared;

    const FLEET: &str = "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\n";
    const SITE: &str = "format: 1\n# kept\nspas:\n  terrace:\n    fitted: 2022\n    filters: {main: {kind: cartridge}}\n    pumps:\n      filtration: {duty: filtration, program: {run: 8 h/day}}\nlog: # kept too\n  - date: 2026-09-30 # and this\n    at:\n      terrace/filtration: {hours: 100}\n";

    fn fleet() -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        fs_err::create_dir(folder.path().join("sites")).unwrap();
        fs_err::write(folder.path().join("fleet.yaml"), FLEET).unwrap();
        fs_err::write(folder.path().join("sites/quay.yaml"), SITE).unwrap();
        folder
    }

    fn add(folder: &Path, address: &str, values: &[&str], date: Option<&str>) -> Result<u8, String> {
        let saying = crate::cli::Saying { quiet: 2, verbose: 0, format: crate::cli::Format::Short };
        let arguments = Add {
            address: Some(address.to_owned()),
            sheet: None,
            month: None,
            values: values.iter().map(|v| (*v).to_owned()).collect(),
            fleet: folder.to_path_buf(),
            date: date.map(str::to_owned),
        };
        run(&arguments, Printer::new(saying)).map_err(|failure| format!("{:#}", failure.error))
    }

    fn file(folder: &Path) -> String {
        fs_err::read_to_string(folder.join("sites/quay.yaml")).unwrap()
    }

    #[test]
    fn an_entry_is_appended_and_everything_else_stays() {
        let folder = fleet();
        let values = [
            "hours=340",
            "renewed.shaft_seal=failure",
            "renewed.shaft_seal.found=leak: at the shaft",
            "inspected.motor_bearing=good",
            "time=09:10-10:25",
            "labour=1.25 h",
            "used.SS-16=1",
            "note=yes",
            "left=strap torn",
        ];
        assert_eq!(add(folder.path(), "quay/terrace/filtration", &values, Some("2026-10-20")), Ok(0));
        let text = file(folder.path());
        assert!(text.starts_with(SITE));
        assert_eq!(
            &text[SITE.len()..],
            "  - date: 2026-10-20\n    time: 09:10-10:25\n    at:\n      terrace/filtration: {hours: 340, renewed: {shaft_seal: {because: failure, found: \"leak: at the shaft\"}}, inspected: {motor_bearing: good}}\n    labour: 1.25 h\n    used: {SS-16: 1}\n    left: [{at: terrace/filtration, note: strap torn}]\n    note: \"yes\"\n"
        );
        let shared = Shared::load(folder.path()).unwrap();
        let site = shared.read_site(&shared.sites[0]).unwrap();
        assert_eq!((site.visits.len(), site.diagnostics.len()), (2, 0));
    }

    #[test]
    fn an_entry_that_is_wrong_changes_nothing() {
        let folder = fleet();
        for values in [
            &["hourz=340"][..],
            &["hours=many"],
            &["hours=340 L"],
            &["done=polish"],
            &["renewed.shaft_zeal=failure"],
            &["renewed.shaft_seal=bored"],
            &["hours=340", "date=2026-13-01"],
            &["hours=340", "why=boredom"],
            &["hours=340", "date=2020-01-01"],
        ] {
            assert_eq!(add(folder.path(), "quay/terrace/filtration", values, None), Ok(2), "{values:?}");
            assert_eq!(file(folder.path()), SITE, "{values:?}");
        }
        assert_eq!(add(folder.path(), "quay/terrace/jets", &["hours=1"], None), Ok(2));
        for (address, values, says) in [
            ("quay", &["hours=1"][..], "names no spa"),
            ("key/terrace", &["ph=7"], "no site `key`"),
            ("quay/terrace/filtration/shaft_seal", &["hours=1"], "more than three steps"),
            ("quay/../terrace", &["hours=1"], "the address"),
            ("../quay/terrace", &["hours=1"], "the id `..`"),
            ("quay/terrace", &["ph"], "not `key=value`"),
            ("quay/terrace", &["ph="], "no value"),
            ("quay/terrace", &["ph=7", "ph=8"], "written twice"),
            ("quay/terrace", &["why=planned"], "nothing is said"),
        ] {
            let error = add(folder.path(), address, values, None).unwrap_err();
            assert!(error.contains(says), "{error}");
        }
        assert_eq!(file(folder.path()), SITE);
    }

    #[test]
    fn an_older_mistake_does_not_stand_in_the_way_and_a_broken_file_does() {
        let folder = fleet();
        let path = folder.path().join("sites/quay.yaml");
        let with_mistake = SITE.replace("{hours: 100}", "{hourz: 100}");
        fs_err::write(&path, &with_mistake).unwrap();
        assert_eq!(add(folder.path(), "quay/terrace/filtration", &["hours=340"], None), Ok(0));
        assert!(file(folder.path()).starts_with(&with_mistake));
        let broken = SITE.replace("spas:", "spas: [");
        fs_err::write(&path, &broken).unwrap();
        assert!(add(folder.path(), "quay/terrace/filtration", &["hours=340"], None).is_err());
        assert_eq!(file(folder.path()), broken);
    }

    #[test]
    fn a_log_in_brackets_is_added_to_inside_them() {
        let folder = fleet();
        let path = folder.path().join("sites/quay.yaml");
        let (head, _) = SITE.split_once("log:").unwrap();
        let log = "log: [{date: 2026-09-30, at: {terrace/filtration: {hours: 100}}}] # kept\n";
        fs_err::write(&path, format!("{head}{log}")).unwrap();
        assert_eq!(add(folder.path(), "quay/terrace/filtration", &["hours=340"], Some("2026-10-20")), Ok(0));
        let new = ", {date: 2026-10-20, at: {terrace/filtration: {hours: 340}}}] # kept\n";
        assert_eq!(file(folder.path()), format!("{head}{}{new}", log.strip_suffix("] # kept\n").unwrap()));
        assert_eq!(add(folder.path(), "quay/terrace/filtration", &["hours=many"], None), Ok(2));
    }

    #[test]
    fn of_many_at_once_none_is_lost() {
        let folder = fleet();
        let before = file(folder.path());
        std::thread::scope(|scope| {
            for worker in 0..4 {
                let folder = folder.path();
                scope.spawn(move || {
                    for entry in 0..5 {
                        let ph = format!("ph=7.{worker}{entry}");
                        assert_eq!(add(folder, "quay/terrace", &[&ph], Some("2026-10-20")), Ok(0));
                    }
                });
            }
        });
        let after = file(folder.path());
        assert!(after.starts_with(&before));
        for worker in 0..4 {
            for entry in 0..5 {
                assert!(after.contains(&format!("{{ph: 7.{worker}{entry}}}")), "{after}");
            }
        }
        assert_eq!(after.matches("- date: 2026-10-20").count(), 20);
        assert_eq!(fs_err::read_dir(folder.path().join("sites")).unwrap().count(), 1);
    }

    #[test]
    fn of_several_visits_one_that_is_wrong_leaves_all_unwritten() {
        let folder = fleet();
        let bay = SITE.replace("terrace", "roof");
        fs_err::write(folder.path().join("sites/bay.yaml"), &bay).unwrap();
        let visit = |at: &str, value: &str| Wanted {
            date: Some("2026-10-20".to_owned()),
            at: vec![(at.to_owned(), vec![value.to_owned()])],
        };
        let printer = Printer::new(crate::cli::Saying { quiet: 2, verbose: 0, format: crate::cli::Format::Short });
        let wrong = [visit("quay/terrace", "ph=7.4"), visit("bay/roof", "phh=7.4")];
        let added = super::add(folder.path(), &wrong, printer).unwrap();
        assert!(matches!(&added, Added::Refused { what, .. } if what == "sites/bay.yaml"), "{added:?}");
        assert_eq!(file(folder.path()), SITE);
        let right = [visit("quay/terrace", "ph=7.4"), visit("bay/roof", "ph=7.3"), visit("quay/terrace", "ph=7.5")];
        let added = super::add(folder.path(), &right, printer).unwrap();
        assert!(matches!(&added, Added::Written { files, .. } if files.len() == 2), "{added:?}");
        assert_eq!(file(folder.path()).matches("{ph: 7.").count(), 2);
        let both = Wanted {
            date: Some("2026-10-21".to_owned()),
            at: vec![
                ("quay/terrace".to_owned(), vec!["ph=7.2".to_owned(), "by=dan".to_owned()]),
                ("quay/terrace/filtration".to_owned(), vec!["hours=500".to_owned()]),
            ],
        };
        super::add(folder.path(), &[both], printer).unwrap();
        let end = "  - date: 2026-10-21\n    by: dan\n    at:\n      terrace: {ph: 7.2}\n      terrace/filtration: {hours: 500}\n";
        assert!(file(folder.path()).ends_with(end), "{}", file(folder.path()));
    }

    #[cfg(unix)]
    #[test]
    fn a_link_is_neither_followed_nor_replaced() {
        let folder = fleet();
        let outside = tempfile::tempdir().unwrap();
        fs_err::write(outside.path().join("x.yaml"), "format: 1\n").unwrap();
        let sheet = "site,spa,type\nbay,terrace,\n";
        fs_err::write(folder.path().join("sites.csv"), sheet).unwrap();
        std::os::unix::fs::symlink(outside.path().join("x.yaml"), folder.path().join("sites/bay.yaml")).unwrap();
        assert!(add(folder.path(), "bay/terrace", &["ph=7.4"], None).unwrap_err().contains("there already"));
        assert_eq!(fs_err::read_to_string(outside.path().join("x.yaml")).unwrap(), "format: 1\n");
    }
}
