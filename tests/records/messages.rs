//! Each rule has folders in `fixtures/invalid`, named `<rule>` or `<rule>-<variant>`: a tiny fleet, and in `expected.txt`
//! the exact words that must be said of it. Beside them, `fixtures/silent/<rule>` (or `<rule>-<variant>`) is a fleet near to
//! the mistake that must pass without a word.
//!
//! `UPDATE_EXPECTED=1 cargo test --test all messages` writes the words anew; read them as their reader would before they
//! are kept.

use std::path::{Path, PathBuf};

use crate::support::{Run, fixtures};

/// Rules that have no folder of their own, and why.
const WITHOUT_FOLDERS: [(&str, &str); 0] = [];

/// Every rule the program knows.
fn rules() -> Vec<String> {
    Run::of(&["check", "--about", "all"]).expect_status(0).stdout.lines().map(str::to_owned).collect()
}

/// The folders of a kind, sorted by name.
fn folders(kind: &str) -> Vec<(String, PathBuf)> {
    let mut folders: Vec<(String, PathBuf)> = std::fs::read_dir(fixtures(kind))
        .unwrap()
        .map(|entry| entry.unwrap())
        .map(|entry| (entry.file_name().into_string().unwrap(), entry.path()))
        .collect();
    folders.sort();
    folders
}

/// The rule a folder is named after: the longest that its name begins with.
fn rule_of<'a>(folder: &str, rules: &'a [String]) -> Option<&'a String> {
    rules
        .iter()
        .filter(|rule| folder.strip_prefix(rule.as_str()).is_some_and(|rest| rest.is_empty() || rest.starts_with('-')))
        .max_by_key(|rule| rule.len())
}

/// What is wrong with what is said of a faulty fleet.
fn fault_of(name: &str, folder: &Path, rule: &str) -> Option<String> {
    let run = Run::check(folder, &["--format", "full"]);
    let expected_at = folder.join("expected.txt");
    if std::env::var_os("UPDATE_EXPECTED").is_some() {
        std::fs::write(&expected_at, &run.stderr).unwrap();
    }
    let expected = std::fs::read_to_string(&expected_at).unwrap_or_default();
    let status = if !run.stderr.contains("error[") {
        0
    } else if run.stderr.contains(" must be mended first\n") {
        2
    } else {
        1
    };
    if run.stderr != expected {
        Some(format!("{name} says\n{}instead of\n{expected}", run.stderr))
    } else if !run.stderr.contains(&format!("[{rule}]")) {
        Some(format!("{name} does not raise {rule}"))
    } else if run.status != status || !run.stdout.is_empty() {
        Some(format!("{name} ends with {} and on standard output with `{}`", run.status, run.stdout))
    } else {
        None
    }
}

#[test]
fn each_mistake_is_told_in_these_words() {
    let rules = rules();
    let mut faults = Vec::new();
    for (name, folder) in folders("invalid") {
        match rule_of(&name, &rules) {
            Some(rule) => faults.extend(fault_of(&name, &folder, rule)),
            None => faults.push(format!("{name} is named after no rule")),
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn near_misses_pass_without_a_word() {
    let rules = rules();
    for (name, folder) in folders("silent") {
        assert!(rule_of(&name, &rules).is_some(), "{name} is named after no rule");
        let run = Run::check(&folder, &["--format", "full"]);
        assert_eq!((run.status, run.stdout.as_str(), run.stderr.as_str()), (0, "", ""), "{name}");
    }
}

#[test]
fn every_rule_has_its_folders() {
    let rules = rules();
    let invalid: Vec<String> = folders("invalid").into_iter().map(|(name, _)| name).collect();
    let silent: Vec<String> = folders("silent").into_iter().map(|(name, _)| name).collect();
    for rule in &rules {
        let has = invalid.iter().any(|name| rule_of(name, &rules) == Some(rule)) && silent.contains(rule);
        let excepted = WITHOUT_FOLDERS.iter().any(|(name, _)| name == rule);
        assert!(has != excepted, "{rule}: has folders: {has}, is excepted: {excepted}");
    }
    for (name, _) in WITHOUT_FOLDERS {
        assert!(rules.iter().any(|rule| rule == name), "{name} is no rule");
    }
}

#[test]
fn messages_are_the_same_in_every_form() {
    let folder = fixtures("invalid/unknown-field");
    let short = Run::check(&folder, &["--format", "short"]).expect_status(1);
    let auto = Run::check(&folder, &[]).expect_status(1);
    assert_eq!(short.stderr, auto.stderr, "away from a terminal one line each");
    assert!(short.stderr.starts_with("sites/quay-house.yaml:6:5: error[unknown-field]: "), "{}", short.stderr);
    let json = Run::check(&folder, &["--format", "json"]).expect_status(1);
    let lines: Vec<serde_json::Value> = json.stdout.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!(lines.len(), 1);
    let first = &lines[0];
    assert_eq!((&first["severity"], &first["rule"]), (&"error".into(), &"unknown-field".into()));
    assert_eq!((&first["line"], &first["column"]), (&6.into(), &5.into()));
    assert!(short.stderr.contains(first["message"].as_str().unwrap()));
    assert!(short.stderr.contains(first["hint"].as_str().unwrap()));
}

/// A slip in a year is told before it is in the log, and a second place stands in the JSON too.
#[test]
fn a_visit_of_days_to_come_is_told_as_it_is_added() {
    let folder = tempfile::tempdir().unwrap();
    let from = fixtures("silent/dates-out-of-order");
    std::fs::create_dir(folder.path().join("sites")).unwrap();
    for file in ["fleet.yaml", "sites/quay-house.yaml"] {
        std::fs::copy(from.join(file), folder.path().join(file)).unwrap();
    }
    let fleet = folder.path().to_str().unwrap();
    let add = |day: &str| Run::of(&["add", "quay-house/terrace", "ph=7.2", "--date", day, "--fleet", fleet]);
    let said = add("2126-01-01").expect_status(0).stderr;
    assert!(said.contains("warning[after-as-of]: 2126-01-01 is still to come"), "{said}");
    let said = add("2026-03-01").expect_status(0).stderr;
    assert!(!said.contains("warning"), "{said}");
    let run = Run::check(&fixtures("invalid/repeated-key"), &["--format", "json"]);
    let told: serde_json::Value =
        serde_json::from_str(run.stdout.lines().chain(run.stderr.lines()).next().unwrap()).unwrap();
    assert_eq!(told["second"]["line"], 2, "{told}");
    assert_eq!(told["second"]["message"], "the first", "{told}");
}
