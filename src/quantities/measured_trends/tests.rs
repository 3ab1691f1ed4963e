use super::*;
use crate::quantities::fleet_for_tests::{day, load_with};
use crate::to_do::Urgency;

const FLEET: &str =
    "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\ntyped_in: {current: A, pressure: bar}\n";
const PUMPS: &str = "format: 1\nmodels:\n  P: {speeds: 1, current: {run: 2.0 A}}\n";

fn site(log: &str) -> String {
    format!(
        "format: 1\nspas:\n  s:\n    fitted: 2024-01-01\n    setpoint: 38 C\n    filters: {{main: {{kind: cartridge, clean_pressure: 0.30 bar}}}}\n    equipment: {{heater: {{kind: heater, fitted: 2024-01-01}}}}\n    pumps:\n      p: {{model: P, duty: filtration, fitted: 2024-01-01, program: {{run: 24 h/day}}}}\nlog:\n{log}"
    )
}

fn with<T>(log: &str, as_of: &str, then: impl FnOnce(&crate::site::SiteFigures) -> T) -> T {
    let site = site(log);
    let files = [("fleet.yaml", FLEET), ("pumps.yaml", PUMPS), ("sites/a.yaml", &site)];
    load_with(&files, as_of, |_, figures, _| then(figures))
}

/// Readings every 30 days from 1 January 2025, each 0.05 A above the one before.
fn rising(count: i64) -> String {
    (0..count)
        .map(|k| {
            let day = plus_days(day("2025-01-01"), 30 * k);
            format!("  - {{date: {day}, at: {{s/p: {{current: {:.2}}}}}}}\n", 2.0 + 0.05 * k as f64)
        })
        .collect()
}

#[test]
fn a_current_that_rises_crosses_its_limit_on_the_day_of_the_line() {
    with(&rising(8), "2025-08-31", |figures| {
        let trend = figures.trends.iter().find(|t| t.quantity == Drifting::Current).unwrap();
        assert_eq!(trend.readings, 8);
        assert!((trend.slope - 0.05).abs() < 1e-9, "{trend:?}");
        // Eight readings in order, no ties: 2 of 8! orders are as clear.
        assert!((trend.p_value - 2.0 / 40320.0).abs() < 1e-9, "{trend:?}");
        // 15 % over the model's 2 A is 2.3 A, reached six steps of 30 days after 2.0 A.
        assert!((trend.limit.unwrap() - 2.3).abs() < 1e-9);
        let hit = plus_days(day("2025-01-01"), 180);
        assert!((days_between(hit, trend.crosses.unwrap())).abs() <= 1, "{:?}", trend.crosses);
        let told = figures.to_do.iter().find(|t| t.reason == "current-rising").unwrap();
        assert_eq!(told.urgency, Urgency::ActNow);
        assert!(told.says.contains("rose by 12 %") && told.says.contains("2.30 A"), "{}", told.says);
        assert!(told.says.contains("check the motor bearing, of whose life"), "{}", told.says);
    });
}

#[test]
fn a_renewal_of_the_bearing_begins_the_drift_anew() {
    let log = format!(
        "{}  - {{date: 2025-08-01, at: {{s/p: {{renewed: [motor_bearing], after: {{current: 2.0}}}}}}}}\n",
        rising(7)
    );
    with(&log, "2025-08-31", |figures| {
        assert!(figures.trends.iter().all(|t| t.quantity != Drifting::Current), "{:?}", figures.trends);
        assert!(figures.to_do.iter().all(|t| t.reason != "current-rising"));
    });
}

#[test]
fn readings_that_stay_are_no_drift() {
    let log: String = [2.0, 2.02, 1.99, 2.01, 2.0, 1.98, 2.02, 2.0]
        .iter()
        .enumerate()
        .map(|(k, amps)| {
            let day = plus_days(day("2025-01-01"), 30 * k as i64);
            format!("  - {{date: {day}, at: {{s/p: {{current: {amps}}}}}}}\n")
        })
        .collect();
    with(&log, "2025-08-31", |figures| {
        let trend = figures.trends.iter().find(|t| t.quantity == Drifting::Current).unwrap();
        assert!(trend.p_value > 0.5 && trend.crosses.is_none(), "{trend:?}");
        assert!(figures.to_do.iter().all(|t| t.reason != "current-rising"));
    });
}

#[test]
fn a_gauge_counts_from_the_last_clean_and_readings_of_a_week_are_one() {
    let mut log = String::from(
        "  - {date: 2025-06-01, at: {s/main: {pressure: 0.6, done: [filter_clean], after: {pressure: 0.30}}}}\n",
    );
    for (day, gauge) in [("06-09", 0.32), ("06-17", 0.34), ("06-18", 0.34), ("06-26", 0.36), ("07-05", 0.38)] {
        log.push_str(&format!("  - {{date: 2025-{day}, at: {{s/main: {{pressure: {gauge}}}}}}}\n"));
    }
    for (day, celsius) in [("06-02", 38.0), ("06-12", 37.5), ("06-22", 37.0), ("07-02", 36.5)] {
        log.push_str(&format!("  - {{date: 2025-{day}, at: {{s: {{temperature: {celsius}}}}}}}\n"));
    }
    with(&log, "2025-07-31", |figures| {
        let of = |quantity| figures.trends.iter().find(|t| t.quantity == quantity);
        let gauge = of(Drifting::Pressure).unwrap();
        // Before the clean nothing counts; the two of 17 and 18 June are one.
        assert_eq!((gauge.readings, gauge.from), (5, day("2025-06-01")));
        assert!(gauge.slope > 0.06 && gauge.slope < 0.08, "{gauge:?}");
        // The setpoint less the water: half a degree more every ten days.
        let lag = of(Drifting::TemperatureLag).unwrap();
        assert!((lag.slope - 1.5).abs() < 1e-9 && lag.limit.is_none() && lag.crosses.is_none(), "{lag:?}");
    });
}

/// A gasket renewed while somebody was there takes nothing from what the readings before it say of the bearings.
#[test]
fn a_renewal_of_a_gasket_leaves_the_drift_of_the_motor() {
    let log = format!(
        "{}  - {{date: 2025-08-01, at: {{s/p: {{renewed: {{union_gasket: {{because: while_there}}}}, after: {{current: 2.3}}}}}}}}\n",
        rising(7)
    );
    with(&log, "2025-08-31", |figures| {
        assert!(figures.trends.iter().any(|t| t.quantity == Drifting::Current), "{:?}", figures.trends);
        assert!(figures.to_do.iter().any(|t| t.reason == "current-rising"), "{:?}", figures.to_do);
    });
}

/// A clean gauge that rises from 0.30 to 0.42 bar, and water that falls from its set point to two degrees below it.
#[test]
fn a_cartridge_going_blind_and_a_heater_falling_behind_are_told_with_what_to_do() {
    let mut log = String::new();
    for (month, step) in (1..=8).zip(0..) {
        let clean = 0.30 + 0.017 * f64::from(step);
        let celsius = 38.0 - 0.3 * f64::from(step);
        log.push_str(&format!(
            "  - {{date: 2025-{month:02}-05, at: {{s/main: {{pressure: 0.6, done: [filter_clean], after: {{pressure: \
             {clean:.3}}}}}, s: {{temperature: {celsius:.1}}}}}}}\n"
        ));
    }
    with(&log, "2025-08-31", |figures| {
        let says = |reason: &str| figures.to_do.iter().find(|t| t.reason == reason).map(|t| t.says.clone());
        let blind = says("cartridge-no-longer-clean").unwrap();
        // The middles of 0.300, 0.317, 0.334 and of 0.385, 0.402, 0.419.
        assert!(blind.contains("shows 0.40 bar, where it showed 0.32 bar at first"), "{blind}");
        let cold = says("heat-falls-behind").unwrap();
        assert!(
            cold.starts_with("The water is 1.8 °C below its set point, and was 0.3 °C below it at first"),
            "{cold}"
        );
    });
    // The same numbers the other way round ask for nothing.
    let better: String = (1..=8)
        .map(|month| {
            let celsius = 35.9 + 0.3 * f64::from(month - 1);
            format!("  - {{date: 2025-{month:02}-05, at: {{s: {{temperature: {celsius:.1}}}}}}}\n")
        })
        .collect();
    with(&better, "2025-08-31", |figures| {
        assert!(figures.to_do.iter().all(|t| t.reason != "heat-falls-behind"), "{:?}", figures.to_do);
    });
}
