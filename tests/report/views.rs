//! What the documents say, before they are set: the data of every build folder, kept by a renderer that refuses all.
//!
//! Every number is held against the tables; a customer's report is looked through for what is the office's own; a small
//! fleet's views are compared with the ones kept in `tests/fixtures/views` (set `UPDATE_EXPECTED=1` to write them anew, and
//! read what changed).
#![cfg(unix)]

use std::collections::{BTreeMap, BTreeSet};
use std::os::unix::fs::PermissionsExt;
use std::path::Path;

use regex::Regex;
use serde_json::Value;

use crate::support::{Fleet, Run, contents, copy_folder, demo, project};

/// A renderer that says its version and refuses everything, so that what it was given is kept.
const REFUSES: &str = "#!/bin/sh\ncase \"$1\" in --version) echo 'typst 0.15.1 (none)';; *) echo 'x.typ:1:1: error: no' >&2; exit 1;; esac\n";

/// The data of every document of a run, by its build folder's name, and the run.
pub(super) fn views(fleet: &Path, month: &str) -> (BTreeMap<String, Value>, Run) {
    let folder = tempfile::tempdir().unwrap();
    let renderer = folder.path().join("typst");
    std::fs::write(&renderer, REFUSES).unwrap();
    std::fs::set_permissions(&renderer, std::fs::Permissions::from_mode(0o755)).unwrap();
    let run = Run::report(fleet, month, &["--typst", renderer.to_str().unwrap()]).expect_status(1);
    let kept = run.out.path().join(format!(".kept-{month}"));
    let data = contents(&kept)
        .into_iter()
        .filter_map(|(path, bytes)| {
            let name = path.strip_suffix("/data.json")?;
            Some((name.to_owned(), serde_json::from_slice(&bytes).unwrap()))
        })
        .collect();
    (data, run)
}

/// Every text of a view with the names that lead to it.
pub(super) fn texts<'a>(value: &'a Value, at: &str, found: &mut Vec<(String, &'a str)>) {
    match value {
        Value::String(text) => found.push((at.to_owned(), text)),
        Value::Array(items) => items.iter().for_each(|item| texts(item, at, found)),
        Value::Object(fields) => fields.iter().for_each(|(name, field)| texts(field, &format!("{at}.{name}"), found)),
        _ => {}
    }
}

/// Where numbers are not the figures': methods, limits and cautions with their sources, names of files and documents, last
/// month's (which are in last month's tables, and held against last month's report), defaults of the program.
const NOT_FIGURES: [&str; 9] = [
    ".closing",
    ".cautions",
    ".document",
    ".last_month",
    ".unknowns.assumptions",
    ".view_version",
    ".left_out",
    ".rule_book",
    ".reading_advice",
];

#[test]
fn every_number_of_the_reports_is_in_a_table_or_in_the_records() {
    let (views, run) = views(&demo(), super::demo::MONTH);
    let number = Regex::new("[0-9][0-9\u{a0}]*(?:\\.[0-9]+)?").unwrap();
    let mut known: BTreeSet<String> = BTreeSet::new();
    let mut know = |value: f64| {
        // Tables are rounded already: what stood on a half may have been rounded either way.
        for value in [value.abs() - 6e-5, value.abs(), value.abs() + 6e-5] {
            for decimals in 0..=3 {
                known.insert(format!("{value:.decimals$}"));
            }
        }
    };
    for (_, bytes) in contents(&run.month().join("tables")) {
        let mut table = csv::Reader::from_reader(bytes.as_slice());
        for record in table.records() {
            for cell in &record.unwrap() {
                if let Ok(value) = cell.parse::<f64>() {
                    // As it is; as a share in per cent; a rate in 1000 as one in 10,000.
                    [1.0, 100.0, 10.0].into_iter().for_each(|scale| know(value * scale));
                    // Estimates of lives are printed to two digits.
                    let step = 10f64.powf(value.abs().max(1.0).log10().floor() - 1.0);
                    know((value / step).round() * step);
                } else {
                    number.find_iter(cell).for_each(|n| know(n.as_str().replace('\u{a0}', "").parse().unwrap()));
                }
            }
        }
    }
    let book = std::fs::read(project().join("data/book.yaml")).unwrap();
    for bytes in contents(&demo()).into_values().chain([book]) {
        let text = String::from_utf8_lossy(&bytes).into_owned();
        number.find_iter(&text).filter_map(|n| n.as_str().parse().ok()).for_each(&mut know);
    }
    let mut missing = Vec::new();
    let mut seen = 0;
    for (name, view) in views.iter().filter(|(name, _)| !name.contains("--") || *name == "fleet--report") {
        let mut found = Vec::new();
        texts(view, "", &mut found);
        for (at, text) in found {
            if NOT_FIGURES.iter().any(|prefix| at.contains(prefix)) {
                continue;
            }
            for token in number.find_iter(text) {
                let digits = token.as_str().replace('\u{a0}', "");
                let value: f64 = digits.parse().unwrap();
                let year = (1990.0..2100.0).contains(&value) && !digits.contains('.');
                // Small whole numbers are days and counts that stand in the rows themselves.
                if year || digits.replace('.', "").trim_start_matches('0').len() < 3 {
                    continue;
                }
                seen += 1;
                if !known.contains(&digits) {
                    missing.push(format!("{name}{at}: {digits} in “{text}”"));
                }
            }
        }
    }
    assert!(seen > 700, "only {seen} numbers were looked at");
    assert!(missing.is_empty(), "{} numbers are in no table:\n{}", missing.len(), missing.join("\n"));
}

#[test]
fn a_customers_report_carries_nothing_of_the_offices_own() {
    let folder = tempfile::tempdir().unwrap();
    copy_folder(&demo(), folder.path());
    let settings = folder.path().join("fleet.yaml");
    let text = std::fs::read_to_string(&settings).unwrap().replace("reports_for: office", "reports_for: customer");
    std::fs::write(&settings, text).unwrap();
    // Every note of the records, which are the office's own.
    let note = Regex::new("note: *\"?([^\"\n}]{12,})").unwrap();
    let mut notes = BTreeSet::new();
    for (path, bytes) in contents(folder.path()) {
        if path.starts_with("sites/") {
            let text = String::from_utf8(bytes).unwrap();
            notes.extend(note.captures_iter(&text).map(|found| found[1].trim().to_owned()));
        }
    }
    assert!(notes.len() > 5, "{notes:?}");
    let (views, _run) = views(folder.path(), super::demo::MONTH);
    let sites: Vec<_> = views.iter().filter(|(name, _)| !name.contains("--")).collect();
    assert_eq!(sites.len(), 6);
    let mut overviews = 0;
    for (name, view) in sites {
        assert_eq!(view["visits"]["planned_cost"], Value::Null, "{name}");
        assert_eq!(view["pumps"]["energy"]["currency"], "", "{name}");
        assert_eq!(view["closing"]["inputs"], serde_json::json!([]), "{name}");
        // The tables stay in the office, so that the months the page has no room for are asked for by name.
        if let Some(note) = view["water"]["overview"]["note"].as_str() {
            let ends = format!("Every month is to be had from {}.", view["document"]["prepared_by"].as_str().unwrap());
            assert!(note.ends_with(&ends), "{name}: {note}");
            overviews += 1;
        }
        let mut found = Vec::new();
        texts(view, "", &mut found);
        for (at, text) in found {
            for inside in ["£", "GBP", ".yaml", ".csv", "log[", "`"] {
                assert!(!text.contains(inside), "{name}{at}: {inside} in “{text}”");
            }
            if let Some(note) = notes.iter().find(|note| text.contains(note.as_str())) {
                panic!("{name}{at}: the note “{note}” in “{text}”");
            }
        }
    }
    assert!(overviews > 0, "no site has an overview of its water");
}

#[test]
fn a_small_fleets_views_are_as_they_were_read_and_found_right() {
    let (views, _run) = views(Fleet::small().path(), "2026-03");
    let folder = project().join("tests/fixtures/views");
    for (name, kept) in [("quay-house", "site.json"), ("fleet--report", "fleet.json")] {
        let mut view = views[name].clone();
        // Digests and versions are of the program, not of what it says.
        if let Some(closing) = view.get_mut("closing").and_then(Value::as_object_mut) {
            ["inputs", "versions", "cautions", "methods"].into_iter().for_each(|key| drop(closing.remove(key)));
        }
        if let Some(all) = view.as_object_mut() {
            all.remove("cautions");
        }
        let text = format!("{}\n", serde_json::to_string_pretty(&view).unwrap());
        let path = folder.join(kept);
        if std::env::var_os("UPDATE_EXPECTED").is_some() {
            std::fs::create_dir_all(&folder).unwrap();
            std::fs::write(&path, &text).unwrap();
        }
        let expected = std::fs::read_to_string(&path).unwrap();
        for (number, (now, then)) in text.lines().zip(expected.lines()).enumerate() {
            assert_eq!(now, then, "{kept}, line {}", number + 1);
        }
        assert_eq!(text.lines().count(), expected.lines().count(), "{kept}");
    }
}
