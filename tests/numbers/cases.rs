//! Six small fleets whose figures were worked by hand from the format's conventions: each `expected.json` names the
//! table, the row and the value, and says how it comes about.
//!
//! A check that does not understand what it is to look at fails: none may pass unread.

use std::fmt::Write;

use serde_json::{Map, Value};

use super::contract;
use crate::support::table::Row;
use crate::support::{Run, fixtures};

#[test]
fn pro_rata_between_readings() {
    run_case("01-pro-rata");
}

#[test]
fn program_through_a_leap_february() {
    run_case("04-programme-leap-february");
}

#[test]
fn turnover_from_a_measured_flow() {
    run_case("09-turnover-measured");
}

#[test]
fn a_part_that_falls_due() {
    run_case("13-part-due");
}

#[test]
fn the_first_evening() {
    run_case("17-first-evening");
}

#[test]
fn a_broken_log_entry_costs_only_itself() {
    run_case("20-broken-log-entry");
}

fn run_case(name: &str) {
    let folder = fixtures("worked").join(name);
    let expected: Value = serde_json::from_slice(&std::fs::read(folder.join("expected.json")).unwrap()).unwrap();
    let mut faults = String::new();
    let mut count = 0;
    for run in expected["runs"].as_array().unwrap() {
        let month = run["month"].as_str().unwrap();
        let fleet = folder.join(run["fleet"].as_str().unwrap());
        let done = Run::report(&fleet, month, &["--pdf", "none"]);
        let statuses = run["exit"].as_array().unwrap();
        assert!(statuses.contains(&done.status.into()), "status {}: {}", done.status, done.stderr);
        for entry in std::fs::read_dir(done.month().join("tables")).unwrap() {
            contract::assert_kept(&crate::support::Table::read(&entry.unwrap().path()));
        }
        for check in run["checks"].as_array().unwrap() {
            count += 1;
            let check = check.as_object().unwrap();
            if let Err(fault) = hold(&done, check) {
                let _ = writeln!(faults, "{month} {}: {fault}", Value::Object(check.clone()));
            }
        }
    }
    assert!(count > 0, "{name} checks nothing");
    assert!(faults.is_empty(), "{faults}");
}

/// Holds one check against what a run wrote and said.
fn hold(run: &Run, check: &Map<String, Value>) -> Result<(), String> {
    const KNOWN: [&str; 16] = [
        "level",
        "why",
        "table",
        "where",
        "column",
        "sum",
        "value",
        "or_value",
        "alt",
        "tol",
        "date",
        "tol_days",
        "one_of",
        "absent",
        "ratio",
        "may_be_absent",
    ];
    if let Some(message) = check.get("message") {
        return said(run, message);
    }
    if let Some(key) = check.keys().find(|key| !KNOWN.contains(&key.as_str())) {
        return Err(format!("this test does not know `{key}`"));
    }
    let flag = |name: &str| check.get(name).and_then(Value::as_bool).unwrap_or(false);
    let name = check["table"].as_str().unwrap();
    let allowed_absent = |fault: &str| if flag("may_be_absent") { Ok(()) } else { Err(fault.to_owned()) };
    let Some(table) = run.table_if_there(name) else { return allowed_absent("the table is not there") };
    let wanted: Vec<(&str, &str)> =
        check["where"].as_object().unwrap().iter().map(|(k, v)| (k.as_str(), v.as_str().unwrap())).collect();
    let rows = table.rows_where(&wanted);
    if flag("absent") {
        return if rows.is_empty() { Ok(()) } else { Err(format!("{} rows", rows.len())) };
    }
    let Some(row) = rows.first() else { return allowed_absent("no such row") };
    if let Some(columns) = check.get("ratio").and_then(Value::as_array) {
        let part = |index: usize| number(row, columns[index].as_str().unwrap());
        return near(part(0)? / part(1)?, check);
    }
    let column = check["column"].as_str().unwrap();
    let cell = row.get(column);
    if let Some(words) = check.get("one_of").and_then(Value::as_array) {
        return if words.contains(&cell.into()) { Ok(()) } else { Err(format!("is `{cell}`")) };
    }
    if let Some(date) = check.get("date").and_then(Value::as_str) {
        let day = |text: &str| text.parse::<chrono::NaiveDate>().map_err(|_| format!("`{text}` is no date"));
        let days = (day(cell)? - day(date)?).num_days().abs();
        return if days <= check["tol_days"].as_i64().unwrap() { Ok(()) } else { Err(format!("is {cell}")) };
    }
    match &check["value"] {
        Value::String(text) if cell == text => Ok(()),
        Value::String(_) => Err(format!("is `{cell}`")),
        _ if flag("sum") => near(rows.iter().map(|row| number(row, column)).sum::<Result<f64, _>>()?, check),
        _ => near(number(row, column)?, check),
    }
}

fn number(row: &Row, column: &str) -> Result<f64, String> {
    row.get(column).parse().map_err(|_| format!("`{column}` is `{}`, not a number", row.get(column)))
}

/// Holds a number against `value`, or one of `or_value`. `alt` lists what another reading of the conventions would
/// give; the project has settled on its own, so such a number is a fault that is explained.
fn near(number: f64, check: &Map<String, Value>) -> Result<(), String> {
    let tolerance = check["tol"].as_f64().unwrap() + 1e-9;
    let any = |key: &str| -> bool {
        let values = match check.get(key) {
            Some(Value::Array(values)) => values.clone(),
            Some(value) => vec![value.clone()],
            None => Vec::new(),
        };
        values.iter().any(|value| (number - value.as_f64().unwrap()).abs() <= tolerance)
    };
    if any("value") || any("or_value") {
        Ok(())
    } else if any("alt") {
        Err(format!("is {number}, which is another reading of the conventions"))
    } else {
        Err(format!("is {number}"))
    }
}

/// Whether the run named the file and one of the lines, on standard error and in `run.json` alike.
fn said(run: &Run, message: &Value) -> Result<(), String> {
    let file = message["file"].as_str().unwrap();
    let lines: Vec<u64> = message["line"].as_array().unwrap().iter().map(|line| line.as_u64().unwrap()).collect();
    if !lines.iter().any(|line| run.stderr.contains(&format!("{file}:{line}:"))) {
        return Err(format!("not said on standard error: {}", run.stderr));
    }
    let manifest = run.manifest();
    let told = manifest["diagnostics"].as_array().unwrap().iter().any(|diagnostic| {
        diagnostic["file"] == file && diagnostic["line"].as_u64().is_some_and(|line| lines.contains(&line))
    });
    if !told {
        return Err(format!("not in run.json: {}", manifest["diagnostics"]));
    }
    let words = message["any_of"].as_array().unwrap();
    let all_there = |group: &Value| group.as_array().unwrap().iter().all(|w| run.stderr.contains(w.as_str().unwrap()));
    if words.iter().any(all_there) { Ok(()) } else { Err(format!("without its words: {}", run.stderr)) }
}
