use super::*;
use crate::quantities::fleet_for_tests::{day, load_with};

const FLEET: &str = "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\n";
const BOOK: &str = "format: 1\nparts: {shaft_seal: {fits: pump, interval: {hours: 3000 h}}}\n";

/// The due range of a seal of a pump whose counter is read at both ends: 12 h a day.
fn range_of(fitted: &str, as_of: &str) -> [Option<NaiveDate>; 3] {
    let run = 12 * days_between(day("2024-12-31"), day(as_of));
    let log = format!(
        "log:\n  - {{date: 2024-12-31, at: {{s/jets-1: {{hours: 0}}}}}}\n  - {{date: {as_of}, at: {{s/jets-1: {{hours: {run}}}}}}}\n"
    );
    let pump = format!("{{duty: jets, program: {{run: 12 h/day}}, parts: {{shaft_seal: {{fitted: {fitted}}}}}}}");
    let site = format!("format: 1\nspas: {{s: {{fitted: 2024-12-31, pumps: {{jets-1: {pump}}}}}}}\n{log}");
    load_with(&[("fleet.yaml", FLEET), ("upkeep.yaml", BOOK), ("sites/a.yaml", &site)], as_of, |_, site, _| {
        let part = &site.parts[0];
        [part.due, part.due_low, part.due_high]
    })
}

/// 3000 h at 12 h a day are 250 days: counted from any day of the month of fitting, they end within that month's length.
#[test]
fn a_part_that_is_overdue_keeps_the_range_of_the_day_it_was_fitted() {
    let [due, low, high] = range_of("2025-06", "2026-10-31");
    assert_eq!(due, Some(plus_days(day("2025-06-15"), 250)));
    assert_eq!(low, Some(plus_days(day("2025-06-01"), 250)));
    assert_eq!(high, Some(plus_days(day("2025-06-30"), 250)));
    // Fitted on a day that is known, and metered throughout, the day is known.
    let exact = Some(plus_days(day("2025-06-15"), 250));
    assert_eq!(range_of("2025-06-15", "2026-10-31"), [exact; 3]);
}

/// Fitted on the last days of its month, it would not be due yet: the late end lies ahead though the part is overdue.
#[test]
fn the_late_end_of_a_part_that_is_overdue_may_lie_ahead() {
    let [due, low, high] = range_of("2025-06", "2026-02-25").map(Option::unwrap);
    assert_eq!((due, low), (plus_days(day("2025-06-15"), 250), plus_days(day("2025-06-01"), 250)));
    assert!(due < day("2026-02-25") && high > day("2026-02-25"));
    assert!(days_between(plus_days(day("2025-06-30"), 250), high).abs() <= 1, "{high}");
}
