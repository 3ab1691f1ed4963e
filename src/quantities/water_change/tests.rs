//! The rules beside their sources' own examples, and from records.

use super::*;
use crate::quantities::fleet_for_tests::{day, load};

/// W-02: Maine App. B, example 2: (1/3 × 600)/85 = 2.35, printed "2.4 or about 2 days".
#[test]
fn one_day() {
    let interval = replacement_interval(600.0, 85.0).unwrap();
    assert!((interval - 2.353).abs() < 0.001);
    assert_eq!(rounded_half_up(interval), 2.0);
    assert_eq!(replacement_interval(600.0, 0.0), None);
}

/// W-03: Maine App. B, the week's table: 600 gal, last drained Sunday evening; drained Tuesday, Friday, Sunday.
#[test]
fn the_week_of_the_source_exactly() {
    const WEEK: [(&str, f64, &str); 7] = [
        ("Mon", 85.0, "2"),
        ("Tue", 2.0, "100"),
        ("Wed", 19.0, "11"),
        ("Thu", 20.0, "10"),
        ("Fri", 105.0, "2"),
        ("Sat", 100.0, "2"),
        ("Sun", 49.0, "4"),
    ];
    for (name, bathers, printed) in WEEK {
        let rounded = rounded_half_up(replacement_interval(600.0, bathers).unwrap());
        assert_eq!(format!("{rounded:.0}"), printed, "{name}");
    }
    let mut drained = Vec::new();
    let mut start = 0;
    while let Some(days) = drain_day(600.0, WEEK[start..].iter().map(|(_, bathers, _)| *bathers)) {
        start += days;
        drained.push(WEEK[start - 1].0);
    }
    assert_eq!(drained, ["Tue", "Fri", "Sun"]);
}

/// W-04: Maine App. B, example 1: source water 800, spa 2500 ppm.
#[test]
fn dissolved_solids() {
    assert!(drain_for_solids(800.0, 2500.0));
    assert!(drain_for_solids(800.0, 2300.0));
    assert!(!drain_for_solids(800.0, 2299.0));
}

/// W-05: owner guidance quoting the rule: 500, 600 and 400 gal at 2 bathers a day.
#[test]
fn steady_use() {
    for (gallons, days) in [(500.0, 83.3), (600.0, 100.0), (400.0, 66.7)] {
        assert!((replacement_interval(gallons, 2.0).unwrap() - days).abs() < 0.05);
    }
    // 600 gal: every hundredth evening. The other reading of the rule, bathers and days together, gives the tenth.
    assert_eq!(drain_day(600.0, std::iter::repeat_n(2.0, 150)), Some(100));
    assert_eq!(drain_day(600.0, std::iter::repeat_n(2.0, 99)), None);
}

/// W-06: HSG282 (2017): 5 m3 are replaced after 500 bathers, 1.5 m3 after 150.
#[test]
fn bathers_for_each_cubic_metre() {
    assert_eq!(bathers_per_change(5.0, 100.0), 500.0);
    assert_eq!(bathers_per_change(1.5, 100.0), 150.0);
}

/// W-06: HSG282 (2017): a commercial spa of 5 m3 is laid out for 50 bathers an hour (printed); 1.5 m3 for 15, and for 6 at
/// once.
#[test]
fn the_load_a_commercial_spa_is_laid_out_for() {
    assert_eq!((bathers_per_hour(5.0), bathers_per_hour(1.5)), (50.0, 15.0));
    assert_eq!((bathers_at_once(1.5), bathers_at_once(1.49)), (6.0, 5.0));
}

fn due(used_as: &str, limits: &str, spa: &str, more: &[(&str, &str)]) -> Option<WaterChange> {
    let fleet = format!("{{format: 1, fleet: Test, currency: GBP, timezone: Europe/London, limits: {limits}}}");
    let site = format!(
        "format: 1\nuse: {used_as}\nspas: {{tub: {{fitted: 2026-01-01, {spa}}}}}\nlog: [{{date: 2026-06-01, at: {{tub: {{done: [water_change]}}}}}}]\n"
    );
    let mut files = vec![("fleet.yaml", fleet.as_str()), ("sites/home.yaml", site.as_str())];
    files.extend(more);
    load(&files, "2026-06-30").spas[0].water_change.clone()
}

/// 1.5 m3: 150 bathers at 10 a day are reached on the 15th day after the change.
#[test]
fn a_commercial_spa() {
    let change = due("gym", "uk", "volume: 1500 L, bathers: 10 /day", &[]).unwrap();
    assert_eq!((change.due, change.bathers_since), (Some(day("2026-06-16")), Some(290.0)));
    let unknown = due("gym", "uk", "volume: 1500 L", &[]).unwrap();
    assert_eq!((unknown.due, unknown.missing.as_deref()), (None, Some("`bathers` of tub")));
}

/// 600 gal at 20 bathers a day: an interval of 10 days.
#[test]
fn the_replacement_interval_from_records() {
    let change = due("hotel", "us", "volume: 600 gal, bathers: 20 /day", &[]).unwrap();
    assert_eq!(change.due, Some(day("2026-06-11")));
    assert!(change.rule_source.contains("Maine"));
}

/// Guests leave on the 5th, before the week is over; without a bookings file the week counts.
#[test]
fn a_rented_spa() {
    let stay = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:test\r\nBEGIN:VEVENT\r\nUID:1\r\nDTSTAMP:20260101T000000Z\r\nDTSTART;VALUE=DATE:20260602\r\nDTEND;VALUE=DATE:20260605\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n";
    let change = due("rental", "uk", "volume: 1500 L", &[("bookings/home.ics", stay)]).unwrap();
    assert_eq!(change.due, Some(day("2026-06-05")));
    assert_eq!(due("rental", "uk", "volume: 1500 L", &[]).unwrap().due, Some(day("2026-06-08")));
    assert!(due("private", "uk", "volume: 1500 L", &[]).is_none());
}

/// Guests left on 5, 9 and 20 June; the next came on the day itself, on the 12th, and on the 25th. Changed on the 1st,
/// the 8th and the 24th: the first group's was late by the arrival of the next on the 5th, the week of the 1st was kept,
/// that of the 9th came after guests did, as the week of the 8th; the 20th was in time. From the 24th a week has gone by on
/// 1 July, which is after the month.
#[test]
fn each_change_the_rule_asked_for_stands_beside_the_log() {
    let event = |uid: u32, from: &str, to: &str| {
        format!(
            "BEGIN:VEVENT\r\nUID:{uid}\r\nDTSTAMP:20260101T000000Z\r\nDTSTART;VALUE=DATE:{from}\r\nDTEND;VALUE=DATE:{to}\r\nEND:VEVENT\r\n"
        )
    };
    let stays =
        [("20260602", "20260605"), ("20260605", "20260609"), ("20260612", "20260620"), ("20260625", "20260703")];
    let events: String = stays.iter().zip(0..).map(|((from, to), uid)| event(uid, from, to)).collect();
    let ics = format!("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:test\r\n{events}END:VCALENDAR\r\n");
    let of = |log: &str, as_of: &str| {
        let site =
            format!("format: 1\nuse: rental\nspas: {{tub: {{fitted: 2026-01-01, volume: 1500 L}}}}\nlog: [{log}]\n");
        let fleet = "{format: 1, fleet: Test, currency: GBP, timezone: Europe/London, limits: uk}";
        let files = [("fleet.yaml", fleet), ("sites/home.yaml", site.as_str()), ("bookings/home.ics", ics.as_str())];
        let change = load(&files, as_of).spas[0].water_change.clone().unwrap();
        let row = |row: &AskedChange| {
            (
                row.due.map_or(String::new(), |day| day.to_string()),
                row.why,
                row.done.map_or(String::new(), |day| day.to_string()),
                row.stands,
            )
        };
        change.asked.iter().map(row).collect::<Vec<_>>()
    };
    let changed = |day: &str| format!("{{date: {day}, at: {{tub: {{done: [water_change]}}}}}}");
    let log = ["2026-06-01", "2026-06-08", "2026-06-24"].map(changed).join(", ");
    let row = |due: &str, why: Why, done: &str, stands: Stands| {
        let day = |day: &str| if day.is_empty() { String::new() } else { format!("2026-06-{day}") };
        (day(due), why, day(done), stands)
    };
    assert_eq!(
        of(&log, "2026-06-30"),
        [
            row("", Why::Nothing, "01", Stands::InTime),
            row("05", Why::GuestsLeft, "08", Stands::Late),
            row("08", Why::Longest, "08", Stands::InTime),
            row("09", Why::GuestsLeft, "24", Stands::Late),
            row("15", Why::Longest, "24", Stands::Late),
            row("20", Why::GuestsLeft, "24", Stands::InTime),
        ]
    );
    // None logged since the 1st: the guests of the 20th have not been followed by others until the 25th.
    let log = changed("2026-06-01");
    let stands: Vec<Stands> = of(&log, "2026-06-24").iter().map(|row| row.3).collect();
    assert_eq!(stands, [Stands::InTime, Stands::Missing, Stands::Missing, Stands::Missing, Stands::Open]);
    assert_eq!(of(&log, "2026-06-25").last().unwrap().3, Stands::Missing);
    // No change ever: the groups of the month alone.
    assert_eq!(of("", "2026-06-30").len(), 3);
}

/// Changed on 1 June and let out from 5 July to 20 August: the interval that ends behind the season ends with it.
#[test]
fn a_season_without_water_ends_with_new_water() {
    let site = "format: 1\nuse: hotel\nclosed: [{from: 2026-07-05, to: 2026-08-20, drained: true}]\nspas: {tub: {fitted: 2026-01-01, volume: 600 gal, bathers: 2 /day}}\nlog: [{date: 2026-06-01, at: {tub: {done: [water_change]}}}]\n";
    let fleet = "{format: 1, fleet: Test, currency: USD, timezone: America/Denver, limits: us}";
    let change =
        load(&[("fleet.yaml", fleet), ("sites/home.yaml", site)], "2026-06-30").spas[0].water_change.clone().unwrap();
    // W-05: 600 gal at 2 bathers a day last 100 days; the water goes out on the 34th.
    assert_eq!(change.due, Some(day("2026-08-21")));
    assert!(change.on_reopening && change.in_short().ends_with("due on reopening"));
    assert!(change.asked.iter().all(|row| row.why == Why::Nothing), "{:?}", change.asked);
}
