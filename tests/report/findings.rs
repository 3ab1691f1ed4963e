//! The demo fleet's troubles: what the head of `data/demo/fleet.yaml` says is to be found, is found. And some of its
//! figures, worked by hand from the records.

use super::demo::run;

/// What to do: site, address, reason. The numbers are those of the list in `data/demo/fleet.yaml`.
const TO_DO: [(u8, &str, &str, &str); 13] = [
    (1, "alder-lodge", "north/filtration", "part-overdue"),
    (2, "willow-court", "courtyard", "turnover-short"),
    (2, "willow-court", "courtyard/filtration", "pump-exchanged"),
    (3, "kingfisher-barns", "weir/main", "filter-fouling-fast"),
    (4, "heron-gym", "hydro/jets-1", "failing-more-often"),
    (5, "kingfisher-barns", "sluice/filtration", "pump-exchanged"),
    (5, "alder-lodge", "", "silent-month"),
    (7, "heron-gym", "recovery", "water-test-out"),
    (9, "kingfisher-barns", "osier/filtration", "part-due"),
    (10, "rowan-house", "garden", "turnover-unknown"),
    // Beside the list: what the last visits left behind.
    (0, "alder-lodge", "north/filtration", "left-at-visit"),
    (0, "heron-gym", "hydro/jets-1", "left-at-visit"),
    (0, "kingfisher-barns", "osier/filtration", "left-at-visit"),
];

#[test]
fn every_planted_trouble_is_on_the_list() {
    let to_do = run().table("to_do");
    let missed: Vec<_> = TO_DO
        .iter()
        .filter(|(_, site, at, reason)| to_do.rows_where(&[("site", site), ("at", at), ("reason", reason)]).is_empty())
        .collect();
    assert!(missed.is_empty(), "not on the list: {missed:?}");
}

#[test]
fn each_finding_says_what_it_rests_on() {
    let to_do = run().table("to_do");
    let says = |site: &str, at: &str, reason: &str| {
        to_do.row(&[("site", site), ("at", at), ("reason", reason)]).get("says").to_owned()
    };
    // The seal's hours are the counter's since the renewal of February 2024; 14 000 h is the book's interval.
    assert!(says("alder-lodge", "north/filtration", "part-overdue").contains("of its 14\u{a0}000 h"));
    // 1,600 L at the mean of 225 and 239 L/min.
    assert!(says("willow-court", "courtyard", "turnover-short").contains("6.9 min at 232 L/min (measured)"));
    assert!(says("kingfisher-barns", "sluice/filtration", "pump-exchanged").contains("14 August 2025"));
    assert!(says("alder-lodge", "", "silent-month").contains("April 2026"));
    assert!(
        says("heron-gym", "hydro/jets-1", "failing-more-often")
            .starts_with("Find out why it keeps failing: 7 failures")
    );
    assert!(says("rowan-house", "garden", "turnover-unknown").contains("`volume` of garden"));
    let tests = says("heron-gym", "recovery", "water-test-out");
    assert!(tests.starts_with("pH is high: pH was 7.9 on 31 October 2026"), "{tests}");
}

/// Number 4 of the list: 7 failures, 5 of them in the last twelve months of about three and a half years. No page may expect fewer
/// than a steady rate of its own, 7 in the hours watched, would bring; its model's and site's verdicts are not made by it alone.
#[test]
fn a_pump_that_gets_worse_is_expected_to_fail_as_it_does() {
    let table = run().table("pump_failures");
    let pump = table.row(&[("scope", "pump"), ("id", "heron-gym/hydro/jets-1")]);
    let expected: f64 = pump.get("expected_12mo").parse().unwrap();
    let hours = run().table("run_hours");
    let year: f64 = hours
        .rows_where(&[("site", "heron-gym"), ("at", "hydro/jets-1")])
        .iter()
        .filter(|row| row.get("month") > "2025-10")
        .map(|row| row.get("hours").parse::<f64>().unwrap())
        .sum();
    let exposure: f64 = pump.get("exposure").parse().unwrap();
    assert!(expected > 7.0 / exposure * year, "{expected} against {}", 7.0 / exposure * year);
    assert_eq!(
        (pump.get("verdict"), pump.get("expected_basis")),
        ("worsening", "lives of parts and its own failures, weighed")
    );
    // The quote's year is a calendar year that begins two months later.
    let costs = run().table("costs");
    let quoted: f64 = costs.rows_where(&[("site", "heron-gym"), ("scope", "everything")])[0]
        .get("failures_expected")
        .parse()
        .unwrap();
    assert!(quoted > 0.9 * expected && quoted < 1.8 * expected, "{quoted} {expected}");
    let seal = run().table("parts");
    let chance: f64 = seal
        .row(&[("site", "heron-gym"), ("at", "hydro/jets-1"), ("part", "shaft_seal")])
        .get("fail_12mo")
        .parse()
        .unwrap();
    assert!(chance > 0.5, "{chance}");
    for (scope, id) in [("model", "J-400"), ("site", "heron-gym"), ("fleet", "all")] {
        let group = table.row(&[("scope", scope), ("id", id)]);
        assert_eq!((group.get("verdict"), group.get("because_of")), ("steady", "heron-gym/hydro/jets-1"), "{id}");
    }
}

#[test]
fn spas_without_the_trouble_are_not_accused_of_it() {
    let to_do = run().table("to_do");
    for (reason, sites) in [
        ("filter-fouling-fast", vec![("kingfisher-barns", "weir/main")]),
        ("failing-more-often", vec![("heron-gym", "hydro/jets-1")]),
        ("current-rising", vec![("kingfisher-barns", "osier/filtration")]),
        ("turnover-unknown", vec![("rowan-house", "garden")]),
        ("water-test-out", vec![("heron-gym", "recovery")]),
        ("reading-set-aside", vec![]),
        ("hours-unknown", vec![]),
    ] {
        let found: Vec<_> =
            to_do.rows_where(&[("reason", reason)]).iter().map(|row| (row.get("site"), row.get("at"))).collect();
        assert_eq!(found, sites, "{reason}");
    }
}

/// Number 6 of the list: no counter, so the hours are the program's with the bookings.
#[test]
fn a_pump_without_a_counter_has_its_programs_hours() {
    let hours = run().table("run_hours");
    for row in hours.rows_where(&[("site", "alder-lodge"), ("at", "north/jets-1")]) {
        // The bookings began later than the pump: before them the program alone is an estimate.
        assert!(["programmed", "estimated"].contains(&row.get("basis")), "{row:?}");
        assert_eq!(row.get("metered_fraction"), "0.0");
    }
    let october = hours.row(&[("site", "alder-lodge"), ("at", "north/jets-1"), ("month", "2026-10")]);
    assert_eq!(october.get("basis"), "programmed");
}

/// Number 8 of the list: whole months of the closed season say `closed`, others do not.
#[test]
fn a_closed_season_says_closed() {
    let turnover = run().table("water_turnover");
    let verdict = |month: &str| {
        turnover.row(&[("site", "lapwing-club"), ("at", "terrace"), ("month", month)]).get("verdict").to_owned()
    };
    for month in ["2024-12", "2025-01", "2025-02", "2025-12", "2026-01", "2026-02"] {
        assert_eq!(verdict(month), "closed", "{month}");
    }
    for month in ["2025-06", "2026-10"] {
        assert_ne!(verdict(month), "closed", "{month}");
    }
}

/// Number 4 of the list: seven call-outs, each sooner than the one before.
#[test]
fn the_pump_that_fails_more_often_is_worsening() {
    let failures = run().table("pump_failures");
    let pump = failures.row(&[("scope", "pump"), ("id", "heron-gym/hydro/jets-1")]);
    assert_eq!((pump.get("failures"), pump.get("verdict")), ("7", "worsening"));
    assert!(pump.number("p_worsening") < 0.05);
}

/// Between the readings of 1 September (4,045 h) and 29 September 2026 (4,693 h) lie 28 days of 648 h; between that
/// and 21 October (5,204 h) 22 days of 511 h. An entry holds at the end of its day.
#[test]
fn hours_between_two_readings_are_spread_over_the_days() {
    let hours = run().table("run_hours");
    let row = hours.row(&[("site", "willow-court"), ("at", "courtyard/filtration"), ("month", "2026-09")]);
    // 1 September belongs to the interval before: 3,396 h on 4 August, so 649 h in 28 days.
    let by_hand = 649.0 / 28.0 + 28.0 * (648.0 / 28.0) + 511.0 / 22.0;
    assert!((row.number("hours") - by_hand).abs() < 0.0051, "{} against {by_hand}", row.number("hours"));
    assert_eq!((row.get("basis"), row.get("metered_fraction")), ("metered", "1.0"));
    // 2.6 A was measured on 29 September; 230 V of the model, power factor 0.9; 0.28 a kWh from April 2026.
    let energy = by_hand * 2.6 * 230.0 * 0.9 / 1000.0;
    assert!((row.number("energy_kwh") - energy).abs() < 0.01);
    assert!((row.number("energy_cost") - energy * 0.28).abs() < 0.01);
}

/// 21 of October's 31 days lie before the last reading.
#[test]
fn past_the_last_reading_the_month_is_metered_in_part() {
    let hours = run().table("run_hours");
    let row = hours.row(&[("site", "willow-court"), ("at", "courtyard/filtration"), ("month", "2026-10")]);
    assert!((row.number("metered_fraction") - 21.0 / 31.0).abs() < 0.0001);
    // Program 24 h a day, and the counter of this pump has always run a little less.
    let metered = 21.0 * 511.0 / 22.0;
    let calibrated = row.number("hours") - metered;
    assert!((10.0 * 22.5..10.0 * 24.0).contains(&calibrated), "{calibrated}");
}

/// On 21 October the flow was 225 L/min, and 239 L/min after the clean: their mean turns 1,600 L over in 6.897 min.
#[test]
fn turnover_is_volume_over_the_mean_measured_flow() {
    let turnover = run().table("water_turnover");
    let row = turnover.row(&[("site", "willow-court"), ("at", "courtyard"), ("month", "2026-10")]);
    assert_eq!((row.get("basis"), row.get("verdict"), row.get("failing")), ("measured", "short", "turnover"));
    assert_eq!(row.number("flow_l_min"), f64::midpoint(225.0, 239.0));
    assert!((row.number("turnover_min") - 1600.0 / 232.0).abs() < 0.00006);
    // HSE HSG282 (2017), second-hand: 6 min for a commercial spa.
    assert_eq!(row.number("limit_min"), 6.0);
    // Turnovers a day are flow times hours over volume; the hours are those of the month's table.
    let hours = run().table("run_hours");
    let month = hours.row(&[("site", "willow-court"), ("at", "courtyard/filtration"), ("month", "2026-10")]);
    let by_hand = 232.0 * 60.0 * month.number("hours") / 1600.0 / 31.0;
    assert!((row.number("turnovers_per_day") - by_hand).abs() < 0.01, "{by_hand}");
}

/// A cartridge renewed on 22 May 2026 with 12 months by the book; heater parts of 12 December 2024 with 60 and 48.
#[test]
fn a_part_is_due_its_interval_after_its_renewal() {
    let parts = run().table("parts");
    for (at, part, fitted, due) in [
        ("garden/main", "cartridge", "2026-05-22", "2027-05-22"),
        ("garden/heater", "heater_element", "2024-12-12", "2029-12-12"),
        ("garden/heater", "heater_gasket", "2024-12-12", "2028-12-12"),
    ] {
        let row = parts.row(&[("site", "rowan-house"), ("at", at), ("part", part)]);
        assert_eq!((row.get("fitted"), row.get("due"), row.get("due_basis")), (fitted, due, "book"), "{at} {part}");
    }
    // 22 May to 31 October 2026 are 162 days.
    let cartridge = parts.row(&[("site", "rowan-house"), ("at", "garden/main"), ("part", "cartridge")]);
    assert_eq!(cartridge.get("age_days"), "162");
}

/// Only the year is known, 2022: the middle of its range, with the range as its ends.
#[test]
fn an_approximate_fitting_carries_its_range_into_the_due_date() {
    let parts = run().table("parts");
    let cover = parts.row(&[("site", "rowan-house"), ("at", "garden"), ("part", "suction_cover")]);
    assert_eq!(cover.get("fitted"), "2022");
    // 60 months on: 2027.
    assert_eq!((cover.get("due_low"), cover.get("due_high")), ("2027-01-01", "2027-12-31"));
    assert!(cover.get("due").starts_with("2027-07-0"), "{}", cover.get("due"));
}
