//! Filters with a written history, worked by hand. The built-in book cleans at 0.15 bar, planned every 14 days.

use crate::quantities::fleet_for_tests::{Loaded, day, load};

const FLEET: &str = "{format: 1, fleet: Test, currency: GBP, timezone: Europe/London, limits: uk}";

fn filter(readings: &[(&str, &str)]) -> Loaded {
    let log: Vec<String> =
        readings.iter().map(|(date, entry)| format!("{{date: {date}, at: {{tub/main: {entry}}}}}")).collect();
    let site = format!(
        "format: 1\nuse: rental\nspas: {{tub: {{fitted: 2026-01-01, volume: 1200 L, filters: {{main: {{kind: cartridge, clean_pressure: 0.30 bar}}}}}}}}\nlog: [{}]\n",
        log.join(", ")
    );
    load(&[("fleet.yaml", FLEET), ("sites/home.yaml", &site)], "2026-06-30")
}

const CLEAN: &str = "{done: [filter_clean], after: {pressure: 0.40}}";

/// Clean at 0.40 on 1 June, then 0.01 bar a day but for one reading written 0.95: the median of the ten slopes
/// is 0.01. At 0.55 on 16 June, 15 days on.
#[test]
fn one_wrong_reading_does_not_move_the_day() {
    let loaded = filter(&[
        ("2026-06-01", CLEAN),
        ("2026-06-03", "{pressure: 0.42}"),
        ("2026-06-05", "{pressure: 0.95}"),
        ("2026-06-07", "{pressure: 0.46}"),
        ("2026-06-09", "{pressure: 0.48}"),
    ]);
    let state = &loaded.spas[0].filters[0].state;
    assert!((state.rise_per_day.unwrap() - 0.01).abs() < 1e-9, "{state:?}");
    let (expected, low, high) = state.clean_by.unwrap();
    assert_eq!(expected, day("2026-06-16"));
    assert!(low <= expected && expected <= high);
    let (needs, soonest, latest) = state.needs_every.unwrap();
    assert!((needs - 15.0).abs() < 1e-6 && soonest <= needs && needs <= latest);
    assert_eq!(state.planned_every, Some(14.0));
}

/// Cycles of 0.010 and 0.020 bar a day, then a clean with nothing read since: the median, 0.015, from the clean on
/// 20 June at nothing: 10 days.
#[test]
fn a_fresh_clean_goes_by_the_cycles_before() {
    let loaded = filter(&[
        ("2026-05-01", CLEAN),
        ("2026-05-11", "{pressure: 0.50, done: [filter_clean], after: {pressure: 0.40}}"),
        ("2026-05-21", "{pressure: 0.60, done: [filter_clean]}"),
        ("2026-06-20", "{done: [filter_clean]}"),
    ]);
    let state = &loaded.spas[0].filters[0].state;
    assert_eq!(state.past_rises.len(), 2, "{state:?}");
    assert!((state.rise_per_day.unwrap() - 0.015).abs() < 1e-9);
    assert_eq!(state.clean_by.unwrap().0, day("2026-06-30"));
}

/// 0.60 read, limit 0.55: it is over since before the reading, and the day is not in the future.
#[test]
fn a_filter_over_its_limit_is_overdue() {
    let loaded = filter(&[("2026-06-01", CLEAN), ("2026-06-11", "{pressure: 0.60}")]);
    let (expected, low, high) = loaded.spas[0].filters[0].state.clean_by.unwrap();
    assert!(expected <= day("2026-06-11") && low <= expected && high >= expected);
}

#[test]
fn a_gauge_that_does_not_rise_gives_no_day() {
    let loaded = filter(&[("2026-06-01", CLEAN), ("2026-06-11", "{pressure: 0.40}")]);
    let state = &loaded.spas[0].filters[0].state;
    assert_eq!(state.rise_per_day, Some(0.0));
    assert_eq!((state.clean_by, state.needs_every), (None, None));
}
