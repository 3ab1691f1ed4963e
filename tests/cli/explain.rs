//! `explain`: the chain behind a pump, a part and a spa of the demo fleet, with the records by file and line, and the one
//! reading that would narrow the answer most.

use crate::support::{Fleet, Run, demo};

fn explained(fleet: &std::path::Path, address: &str, month: &str) -> String {
    let fleet = fleet.to_str().unwrap();
    Run::of(&["explain", "--fleet", fleet, address, "--month", month]).expect_status(0).stdout
}

#[track_caller]
fn holds(text: &str, needed: &[&str]) {
    for needed in needed {
        assert!(text.contains(needed), "no `{needed}`: {text}");
    }
}

/// Every file and line it names is there, and the line holds what is shown of it.
fn assert_lines_are_there(text: &str) {
    let mut seen = 0;
    for line in text.lines().map(str::trim) {
        let Some((file, rest)) =
            line.split_once(':').filter(|(file, _)| file.ends_with(".yaml") || file.ends_with(".csv"))
        else {
            continue;
        };
        let Some((number, shown)) = rest.split_once(": ") else { continue };
        let source = std::fs::read_to_string(demo().join(file)).unwrap();
        let found = source.lines().nth(number.parse::<usize>().unwrap() - 1).unwrap();
        assert!(found.trim().starts_with(shown), "{file}:{number}: {found}");
        seen += 1;
    }
    assert!(seen > 0, "{text}");
}

#[test]
fn a_pumps_hours_forecast_and_energy() {
    let told = explained(&demo(), "alder-lodge/north/filtration", "2026-10");
    holds(
        &told,
        &[
            "Hours",
            "factor",
            "by the counter ÷",
            " A measured",
            "pumps.yaml:",
            "Forecast",
            "central 80 %",
            "Energy of the pump",
            "kWh",
            "Parts",
        ],
    );
    assert_lines_are_there(&told);
}

#[test]
fn a_parts_date_by_hours_and_by_age() {
    let told = explained(&demo(), "alder-lodge/south/combined/shaft_seal", "2026-10");
    holds(&told, &["by hours", "by age", "run since", "are left", "the hours come first"]);
    assert_lines_are_there(&told);
}

#[test]
fn a_spas_water_to_the_pump_and_the_filter() {
    let told = explained(&demo(), "alder-lodge/south", "2026-10");
    holds(&told, &["flow", "turnover", "= volume ÷ flow", "limit", "verdict", "Filter south/main", "Water change"]);
    assert_lines_are_there(&told);
}

/// A pump last read in February 2025: its seal's date is by hours, and a reading now would narrow it.
#[test]
fn the_reading_that_narrows_most_comes_last() {
    let fleet = Fleet::without_sites()
        .file("upkeep.yaml", "format: 1\nparts: {shaft_seal: {fits: pump, interval: {hours: 10000 h}}}\n")
        .file(
            "sites/home.yaml",
            "format: 1\nspas: {tub: {fitted: 2024-12-31, pumps: {jets-1: {duty: jets, program: {run: 12 h/day}}}}}\nlog:\n  \
             - {date: 2024-12-31, at: {tub/jets-1: {hours: 0}}}\n  - {date: 2025-02-28, at: {tub/jets-1: {hours: 708}}}\n",
        );
    let told = explained(fleet.path(), "home/tub/jets-1/shaft_seal", "2026-10");
    let sentence = told.lines().last().unwrap();
    holds(sentence, &["A counter reading on", "now would narrow the date of the shaft seal from"]);
}

/// A program that changes with guests rests on the nights of the bookings: how many they were, counted here from the file
/// itself, and where they stand; no line of the file is shown, since it may hold a name.
#[test]
fn a_program_of_occupied_nights_names_the_bookings() {
    let told = explained(&demo(), "alder-lodge/north/jets-1", "2026-10");
    let text = std::fs::read_to_string(demo().join("bookings/alder-lodge.ics")).unwrap();
    let days = |name: &str| -> Vec<chrono::NaiveDate> {
        let of = |line: &str| {
            let written = line.strip_prefix(name)?.strip_prefix(";VALUE=DATE:")?;
            Some(chrono::NaiveDate::parse_from_str(written.trim(), "%Y%m%d").unwrap())
        };
        text.lines().filter_map(of).collect()
    };
    let (from, to) = (days("DTSTART"), days("DTEND"));
    assert!(from.len() > 50 && from.len() == to.len());
    let first: chrono::NaiveDate = "2025-11-01".parse().unwrap();
    let last: chrono::NaiveDate = "2026-10-31".parse().unwrap();
    let nights: std::collections::BTreeSet<_> = from
        .iter()
        .zip(&to)
        .flat_map(|(from, to)| from.iter_days().take_while(move |day| day < to))
        .filter(|day| (first..=last).contains(day))
        .collect();
    assert!(nights.len() > 100 && nights.len() < 365, "{}", nights.len());
    let says = format!("nights guests were in: {} of the last 365\n    bookings/alder-lodge.ics\n", nights.len());
    holds(&told, &["occupied: run 0.75 h/day", &says]);
    assert!(!told.contains("SUMMARY") && !told.contains("Booked"), "{told}");
}

/// Without bookings it says so and where they would stand; a spa's own file goes before its site's.
#[test]
fn nights_that_are_not_known_are_said_to_be() {
    let site = "format: 1\nspas: {tub: {fitted: 2024-12-31, pumps: {jets: {duty: jets, program: {run: 10 min/day, occupied: {run: 1 h/day}}}}}}\n";
    let fleet = Fleet::without_sites().file("sites/home.yaml", site);
    let told = explained(fleet.path(), "home/tub/jets", "2026-10");
    holds(&told, &["nights guests are in: not known, so none is counted; bookings/home.ics would tell"]);
    let stay = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//x//x//EN\r\nBEGIN:VEVENT\r\nUID:1\r\nDTSTAMP:20260101T090000Z\r\nDTSTART;VALUE=DATE:20260306\r\nDTEND;VALUE=DATE:20260309\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n";
    let fleet = fleet.file("bookings/home--tub.ics", stay);
    let told = explained(fleet.path(), "home/tub/jets", "2026-10");
    holds(&told, &["nights guests were in: 3 of the last 365\n    bookings/home--tub.ics"]);
}
