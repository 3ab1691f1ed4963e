//! Every field of the demo fleet, spoilt in every way a hand may spoil it: deleted, misspelt, with another unit, below
//! zero. Each time what is said must name that field and its line.
//!
//! Which fields there are and which must be there is taken from the JSON Schemas, and so from the record types; `duty`
//! and `kind`, which a type may say for its sites, are added by hand.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use rayon::prelude::*;
use serde_json::Value;
use tubwright::diagnostic::{Diagnostic, Rule, Severity};
use tubwright::records::load::{LoadError, Shared, SiteFiles};
use tubwright::records::schema;

use crate::support::spoil::{Field, File, Kinds};
use crate::support::{Fleet, demo};

/// Fields that may say anything at all, so that another unit or a sign before them is no mistake.
const FREE_TEXT: [&str; 2] = ["fleet", "name"];
/// The shared files and their schemas.
pub(super) const SHARED: [(&str, &str); 5] = [
    ("fleet.yaml", "fleet.schema.json"),
    ("tubs.yaml", "tubs.schema.json"),
    ("pumps.yaml", "pumps.schema.json"),
    ("upkeep.yaml", "upkeep.schema.json"),
    ("customers.yaml", "customers.schema.json"),
];

pub(super) fn schema_of(name: &str) -> Value {
    schema::schemas().into_iter().find(|(file, _)| *file == name).unwrap().1
}

pub(super) fn demo_text(name: &str) -> String {
    std::fs::read_to_string(demo().join(name)).unwrap()
}

/// What a hand did to a field.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Slip {
    Deleted,
    Misspelt,
    OtherUnit,
    BelowZero,
}

/// Slips of a field, each with the text it leaves.
fn slips(file: &File, field: &Field) -> Vec<(Slip, String)> {
    let mut slips: Vec<(Slip, String)> =
        misspelt(&field.name).iter().map(|name| (Slip::Misspelt, file.renamed(field, name))).collect();
    if must_be_there(field) {
        slips.push((Slip::Deleted, file.without(field)));
    }
    let value = file.value(field);
    let free = field.value.is_none_or(|kinds| kinds == Kinds::Text) || value.starts_with(['"', '\'']);
    if free {
        let excepted = !must_be_there(field) || field.value.is_none() || FREE_TEXT.contains(&field.name.as_str());
        assert!(excepted, "{} must be there and may be any text", field.path);
    } else {
        slips.push((Slip::OtherUnit, file.revalued(field, &in_other_unit(value))));
        // Nought with a sign before it is nought to YAML.
        if field.value == Some(Kinds::Strict) && value != "0" {
            slips.push((Slip::BelowZero, file.revalued(field, &format!("-{value}"))));
        }
    }
    slips
}

/// Two slips of the hand: a letter twice, two letters the wrong way round.
fn misspelt(name: &str) -> Vec<String> {
    let mut all = vec![format!("{name}{}", &name[name.len() - 1..])];
    if name.len() >= 4 && name.as_bytes()[1] != name.as_bytes()[2] {
        all.push(format!("{}{}{}{}", &name[..1], &name[2..3], &name[1..2], &name[3..]));
    }
    all
}

fn in_other_unit(value: &str) -> String {
    let number = value.trim_end_matches(|c: char| !c.is_ascii_digit()).trim_end();
    let unit = value[number.len()..].trim();
    match unit {
        "" => format!("{value} L"),
        // Words have no unit; one after them is as wrong.
        _ if number.is_empty() => format!("{value} L"),
        "bar" | "psi" | "kPa" => format!("{number} L"),
        _ => format!("{number} bar"),
    }
}

/// What a type may say instead of a site must be said by one of them.
pub(super) fn must_be_there(field: &Field) -> bool {
    let inherited = ["/pumps/*/duty", "/filters/*/kind", "/equipment/*/kind"];
    field.required || inherited.iter().any(|form| field.form.ends_with(form))
}

/// What is wrong with what is said of a slip. `before` is what was said without it: a slip is told once, and nothing
/// else is said for it.
fn fault(slip: Slip, file: &str, field: &Field, said: &[Diagnostic], before: &[Diagnostic]) -> Option<String> {
    let line = if slip == Slip::Deleted { field.mapping_line } else { field.line };
    let rule = match slip {
        Slip::Deleted => Rule::MissingField,
        Slip::Misspelt => Rule::UnknownField,
        Slip::OtherUnit | Slip::BelowZero => Rule::WrongValue,
    };
    // `format: 2` names the field as well as `format` does.
    let (name, with_value) = (format!("`{}`", field.name), format!("`{}: ", field.name));
    let names = |d: &Diagnostic| {
        let said = [Some(&d.message), d.hint.as_ref()];
        said.into_iter().flatten().any(|words| words.contains(&name) || words.contains(&with_value))
    };
    let tells = |d: &Diagnostic| {
        d.file == file
            && d.rule == rule
            && d.severity == Severity::Error
            && d.spot.is_some_and(|spot| spot.line == line)
            && names(d)
    };
    // A warning that stands anyway may move to another line; a field that must be there and is misspelt is unknown as it
    // stands, and missing.
    let known = |d: &Diagnostic| {
        let misses = slip == Slip::Misspelt && d.rule == Rule::MissingField && names(d);
        // What uses an entry that is left out says so, in its own file.
        let uses = d.file != file && d.message.contains("cannot be used as it stands in");
        misses || uses || before.iter().any(|b| b.rule == d.rule && b.message == d.message)
    };
    let told = said.iter().filter(|d| tells(d)).count();
    if told == 1 && said.iter().all(|d| tells(d) || known(d)) {
        return None;
    }
    let said: Vec<String> = said.iter().map(Diagnostic::one_line).collect();
    Some(format!("{slip:?} {file}:{line} {}:\n    {}", field.path, said.join("\n    ")))
}

/// What is said of the shared files, and of the first site that uses what was spoilt.
fn said_of(folder: &Path, site: Option<&str>) -> Vec<Diagnostic> {
    match Shared::load(folder) {
        Ok(shared) => {
            let mut said = shared.diagnostics.clone();
            if let Some(files) = shared.sites.iter().find(|files| Some(files.id.as_str()) == site) {
                said.extend(shared.read_site(files).map_or_else(|found| found, |site| site.diagnostics));
            }
            said
        }
        Err(LoadError::Unusable(_, said)) => said,
        Err(error) => panic!("{error}"),
    }
}

/// The demo's shared files in a folder of their own, beside a site of each type without a log.
fn without_logs() -> Fleet {
    let mut fleet = Fleet::empty().file("sites.csv", demo_text("sites.csv"));
    for (name, _) in SHARED {
        fleet = fleet.file(name, demo_text(name));
    }
    for of_type in ["six-seat", "four-seat", "eight-seat"] {
        let text = format!("format: 1\nspas: {{a: {{type: {of_type}, fitted: 2022}}}}\n");
        fleet = fleet.file(&format!("sites/{of_type}.yaml"), text);
    }
    fleet
}

#[test]
fn every_slip_in_a_shared_file_is_told_with_its_field_and_line() {
    let faults: Vec<String> = SHARED
        .par_iter()
        .flat_map(|(name, schema)| {
            let fleet = without_logs();
            let file = File::new(&demo_text(name), &schema_of(schema));
            assert!(file.fields.len() > 10, "{name}: {}", file.fields.len());
            let mut faults = Vec::new();
            let unspoilt = without_logs();
            let before = |site: Option<&str>| said_of(unspoilt.path(), site);
            for field in &file.fields {
                let of_type = if *name == "tubs.yaml" { field.path.split('/').nth(2) } else { None };
                for (slip, text) in slips(&file, field) {
                    std::fs::write(fleet.at(name), text).unwrap();
                    faults.extend(fault(slip, name, field, &said_of(fleet.path(), of_type), &before(of_type)));
                }
            }
            faults
        })
        .collect();
    assert!(faults.is_empty(), "{} slips are not told:\n{}", faults.len(), faults.join("\n"));
}

#[test]
fn every_slip_in_a_site_is_told_with_its_field_and_line() {
    let shared = Shared::load(&demo()).unwrap();
    let schema = schema_of("site.schema.json");
    let texts: Vec<(&SiteFiles, String, String)> = shared
        .sites
        .iter()
        .map(|files| {
            let name = files.file.clone().unwrap();
            let text = demo_text(&name);
            (files, name, text)
        })
        .collect();
    assert_eq!(texts.len(), 6);
    // What stands at a site is spoilt field by field, each with the log's first visit below it. The entries of all
    // logs are alike: of each form of a field one is spoilt, in its whole file.
    let mut spoilt: Vec<(&SiteFiles, &str, File, Field)> = Vec::new();
    let mut forms = BTreeSet::new();
    // What is said of a text without any slip: one cut after its first visit may miss what its sheet speaks of.
    let mut before: BTreeMap<_, Vec<Diagnostic>> = BTreeMap::new();
    for (files, name, text) in &texts {
        let second = text.match_indices("\n  - date:").nth(1).map(|(byte, _)| byte + 1);
        let head = &text[..second.unwrap()];
        for (text, in_log) in [(head, false), (text.as_str(), true)] {
            let said = shared.read_site_as(files, text.to_owned()).map_or_else(|found| found, |site| site.diagnostics);
            before.insert((files.id.clone(), text.len()), said);
            let mut file = File::new(text, &schema);
            let fields = std::mem::take(&mut file.fields);
            let fields = fields.into_iter().filter(|field| {
                field.form.starts_with("/log/") == in_log && (!in_log || forms.insert(field.form.clone()))
            });
            spoilt.extend(
                fields.map(|field| (*files, name.as_str(), File { text: text.to_owned(), fields: Vec::new() }, field)),
            );
        }
    }
    assert!(spoilt.len() > 400, "{}", spoilt.len());
    let faults: Vec<String> = spoilt
        .par_iter()
        .flat_map_iter(|(files, name, file, field)| {
            slips(file, field).into_iter().filter_map(|(slip, text)| {
                let said = shared.read_site_as(files, text).map_or_else(|found| found, |site| site.diagnostics);
                let before = &before[&(files.id.clone(), file.text.len())];
                fault(slip, name, field, &said, before)
            })
        })
        .collect();
    assert!(faults.is_empty(), "{} slips are not told:\n{}", faults.len(), faults.join("\n"));
}

#[test]
fn every_slip_in_a_sheet_is_told_with_its_column_and_line() {
    let shared = Shared::load(&demo()).unwrap();
    let sheets = [("sites.csv", &["site", "spa"][..]), ("readings/kingfisher-barns.csv", &["date", "at"][..])];
    for (name, needed) in sheets {
        let text = demo_text(name);
        let header: Vec<&str> = text.lines().next().unwrap().split(',').collect();
        let said = |text: &str| {
            let fleet = without_logs()
                .file(
                    "sites/kingfisher-barns.yaml",
                    "format: 1\nspas: {weir: {type: six-seat}, sluice: {type: six-seat}, osier: {type: four-seat}}\n",
                )
                .file(name, text);
            said_of(fleet.path(), Some("kingfisher-barns"))
        };
        let told = |said: &[Diagnostic], line: usize, column: &str, what: &str| {
            let name_it = format!("`{column}`");
            let told = said.iter().any(|d| {
                let words = format!("{} {}", d.message, d.hint.as_deref().unwrap_or_default());
                d.file == name
                    && d.severity == Severity::Error
                    && d.spot.is_some_and(|s| s.line == line)
                    && words.contains(&name_it)
            });
            assert!(
                told,
                "{what} `{column}` of {name}:{line}: {:?}",
                said.iter().map(Diagnostic::one_line).collect::<Vec<_>>()
            );
        };
        for (index, column) in header.iter().enumerate() {
            let edited = |line: usize, edit: &dyn Fn(&str) -> String| -> String {
                let rows = text.lines().enumerate().map(|(row, text)| {
                    let cells = text.split(',').enumerate();
                    let cells: Vec<String> = cells
                        .map(|(i, cell)| if row == line && i == index { edit(cell) } else { cell.to_owned() })
                        .collect();
                    cells.join(",") + "\n"
                });
                rows.collect()
            };
            told(&said(&edited(0, &|cell| format!("{cell}{}", &cell[cell.len() - 1..]))), 1, column, "misspelt");
            // The first row that holds a value in this column.
            let row = text.lines().skip(1).position(|row| !row.split(',').nth(index).unwrap().is_empty()).unwrap() + 1;
            if needed.contains(column) {
                let without: String = text
                    .lines()
                    .map(|row| {
                        let cells = row.split(',').enumerate().filter(|(i, _)| *i != index).map(|(_, cell)| cell);
                        cells.collect::<Vec<_>>().join(",") + "\n"
                    })
                    .collect();
                told(&said(&without), 1, column, "deleted");
                told(&said(&edited(row, &|_| String::new())), row + 1, column, "emptied");
            }
            if !["name", "area", "type", "customer"].contains(column) {
                told(&said(&edited(row, &|cell| format!("{cell} L L"))), row + 1, column, "in another unit");
                if *column != "temperature" {
                    told(&said(&edited(row, &|cell| format!("-{cell}"))), row + 1, column, "below zero");
                }
            }
        }
    }
    assert!(!shared.sites.is_empty());
}

/// The tool the mechanical test spoils files with must leave the rest of a file as it is.
#[test]
fn what_is_deleted_takes_nothing_else_with_it() {
    let schema = schema_of("site.schema.json");
    let text =
        "format: 1 # one\nspas:\n  a: {fitted: 2022, volume: 5 L}\nlog:\n  - date: 2026-01-01\n    at: {a: {ph: 7}}\n";
    let file = File::new(text, &schema);
    let without = |path: &str| file.without(file.fields.iter().find(|f| f.path == path).unwrap());
    assert_eq!(without("/spas/a/volume"), text.replace(", volume: 5 L", ""));
    assert_eq!(without("/spas/a/fitted"), text.replace("fitted: 2022, ", ""));
    assert_eq!(without("/log/0/date"), text.replace("date: 2026-01-01\n    ", ""));
    assert_eq!(without("/log/0/at"), text.replace("at: {a: {ph: 7}}", ""));
}
