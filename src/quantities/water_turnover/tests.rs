//! Hand-worked fleets. The curve of a pump of one stated point (q, h) is h = 4/3 h − h/3 (Q/q)², so that
//! against losses that go with the square alone the flow can be worked out on paper.

use super::*;
use crate::basis::Basis;
use crate::quantities::fleet_for_tests::load;
use proptest::prelude::*;

const FLEET: &str = "{format: 1, fleet: Test, currency: GBP, timezone: Europe/London, limits: uk}";

/// A rental site of one spa with one filter; `spa` is written into the spa, `log` is the log.
fn site(spa: &str, log: &str) -> String {
    format!("format: 1\nuse: rental\nspas:\n  tub:\n{spa}\nlog: [{log}]\n")
}

/// 2 in pipe without length, no fittings: the heater's drop is all there is to lose.
const SQUARE_LOOP: &str = "    pipe: {size: 2 in, length: 0 m, heater_drop: {head: 3 m, flow: 100 L/min}}\n";

fn pumps(curve: &str) -> String {
    format!("format: 1\nmodels:\n  P: {{speeds: 1, power: 0.5 hp, curve: {curve}}}\n")
}

fn tub(more: &str) -> String {
    format!(
        "    fitted: 2026-01-01\n    volume: 1200 L\n{SQUARE_LOOP}    filters: {{main: {{kind: cartridge, area: 10 m2{more}}}}}\n    pumps: {{filtration: {{model: P, duty: filtration, program: {{run: 24 h/day}}}}}}"
    )
}

fn row_of(pumps: &str, spa: &str, log: &str) -> (WaterMonth, Water) {
    let site = site(spa, log);
    let loaded = load(&[("fleet.yaml", FLEET), ("pumps.yaml", pumps), ("sites/home.yaml", &site)], "2026-06-30");
    let water = loaded.spas[0].water.clone();
    (water.months.last().unwrap().clone(), water)
}

#[track_caller]
fn close(actual: f64, expected: f64) {
    assert!((actual - expected).abs() < 1e-4 * expected.abs().max(1.0), "{actual} is not {expected}");
}

/// One point 120 L/min at 6 m: h = 8 − 2 (Q/120)². The loop: 3 (Q/100)². 8 = Q² (2/14400 + 3/10000),
/// Q² = 8 / 4.388889e-4 = 18227.8, Q = 135.010 L/min, head 3 × 1.82278 = 5.4683 m. 1200 L take 8.8882 min, 162.0 a day.
#[test]
fn a_curve_against_a_square_loop_by_hand() {
    let (row, water) = row_of(&pumps("[{flow: 120 L/min, head: 6 m}]"), &tub(""), "");
    let flow = row.flow.unwrap();
    close(flow.value, 135.0104);
    assert_eq!(flow.basis, Basis::Curve);
    close(row.head_m.unwrap(), 5.46835);
    close(row.turnover.as_ref().unwrap().value, 8.88820);
    close(row.turnovers_per_day.unwrap(), 162.0125);
    close(row.filter_rate.unwrap(), 13.50104);
    close(row.hours_per_day.unwrap(), 24.0);
    assert_eq!(row.verdict, Verdict::Meets);
    // Fittings and the filter's drop are not written: the low end is a quarter down, the high end 15 % up.
    close(flow.low, 135.0104 * 0.75);
    close(flow.high, 135.0104 * 1.15);
    assert_eq!(water.model_error, None);
}

/// Pressure 0.30 bar over 0.10 bar clean: 0.2 bar of water of 38 °C (992.97 kg/m³) is 2.05390 m at the working
/// point. 8 − 2.05390 = Q² × 4.388889e-4, Q² = 13548.1, Q = 116.396.
#[test]
fn the_filter_as_it_was() {
    let fouled = "{date: 2026-06-10, at: {tub/main: {pressure: 0.30}}}";
    let (row, water) = row_of(&pumps("[{flow: 120 L/min, head: 6 m}]"), &tub(", clean_pressure: 0.10 bar"), fouled);
    close(row.flow.unwrap().value, 116.396);
    // The book's limit of 0.15 bar: 1.54043 m, Q² = 6.45957 / 4.388889e-4 = 14718.0, Q = 121.318.
    close(water.flow_when_fouled.unwrap().value, 121.318);
}

/// Measured 110 before and 130 after the clean: the month's flow is the mean, 120. A month without a measurement
/// takes the last one since cleaning (130), and after another clean the curve matched to the last measurement.
#[test]
fn the_order_of_flows() {
    let june = "{date: 2026-06-10, at: {tub/main: {flow: 110, done: [filter_clean], after: {flow: 130}}}}";
    let curve = pumps("[{flow: 120 L/min, head: 6 m}]");
    let (row, water) = row_of(&curve, &tub(""), june);
    let flow = row.flow.unwrap();
    assert_eq!((flow.basis, flow.value), (Basis::Measured, 120.0));
    close(flow.low, 110.0);
    close(flow.high, 130.0);
    close(water.model_error.unwrap(), 135.0104 / 130.0 - 1.0);
    let (row, _) = row_of(&curve, &tub(""), &june.replace("-06-", "-05-"));
    let flow = row.flow.unwrap();
    assert_eq!((flow.basis, flow.value), (Basis::Estimated, 130.0));
    let again =
        format!("{}, {{date: 2026-06-02, at: {{tub/main: {{done: [filter_clean]}}}}}}", june.replace("-06-", "-05-"));
    let (row, _) = row_of(&curve, &tub(""), &again);
    let flow = row.flow.unwrap();
    assert_eq!(flow.basis, Basis::Curve);
    close(flow.value, 130.0);
    close(flow.low, 117.0);
    // With no curve at all, what the maker states.
    let stated = tub("").replace("    volume:", "    stated_flow: 90 L/min\n    volume:");
    let (row, _) = row_of("format: 1\nmodels: {P: {speeds: 1}}\n", &stated, "");
    assert_eq!(row.flow.as_ref().map(|f| (f.basis, f.value)), Some((Basis::Stated, 90.0)));
}

/// A new O-ring is no clean: the measurement before it still stands.
#[test]
fn an_o_ring_cleans_nothing() {
    let log = "{date: 2026-05-10, at: {tub/main: {flow: 100}}}, {date: 2026-05-20, at: {tub/main: {renewed: [filter_o_ring]}}}";
    let (row, _) = row_of("format: 1\nmodels: {P: {speeds: 1}}\n", &tub(""), log);
    assert_eq!(row.flow.map(|f| (f.basis, f.value)), Some((Basis::Estimated, 100.0)));
}

/// Two speeds, low at half: h = ¼ (8 − 2 (Q/60)²) = 2 − 0.5 (Q/60)² against 3 (Q/100)²: exactly half of 135.0104
/// as both go with the square. 20 h at 67.5052 and 4 h at 135.0104: 60 × 1890.146 / 1200 = 94.5073 a day.
#[test]
fn two_speeds_filter() {
    let two = "format: 1\nmodels: {P: {speeds: 2, low_speed: 0.5, curve: [{flow: 120 L/min, head: 6 m}]}}\n";
    let spa = tub("").replace("{run: 24 h/day}", "{low: 20 h/day, high: 4 h/day}");
    let (row, _) = row_of(two, &spa, "");
    close(row.flow.as_ref().unwrap().value, 67.5052);
    close(row.turnovers_per_day.unwrap(), 94.5073);
    close(row.hours_per_day.unwrap(), 24.0);
    // The pipe and the filter bear the high flow too.
    close(row.filter_rate.unwrap(), 13.50104);
    // At low only: the jets' hours at high do not count.
    let low_only = spa.replace("duty: filtration,", "duty: filtration, filters_at: [low],");
    let (row, _) = row_of(two, &low_only, "");
    close(row.hours_per_day.unwrap(), 20.0);
    close(row.turnovers_per_day.unwrap(), 67.5052 * 60.0 * 20.0 / 1200.0);
    // 1200 L at 67.5 L/min take 17.8 min, over the 15 min of a rental spa.
    assert_eq!(row.failing, ["turnover", "filtration hours"]);
    // A flow measured at low gives the one at high by the same curve: 60 and 120.
    let (row, _) = row_of(two, &spa, "{date: 2026-06-10, at: {tub/main: {flow: 60}}}");
    close(row.turnovers_per_day.unwrap(), (20.0 * 60.0 + 4.0 * 120.0) * 60.0 / 1200.0);
    // A low curve of its own wins over the affinity laws: 2 m at 40 L/min, h = 8/3 − 2/3 (Q/40)²;
    // Q² = 2.666667 / (2/4800 + 3/10000) = 3720.93, Q = 60.9994.
    let own = two.replace("low_speed: 0.5", "low_curve: [{flow: 40 L/min, head: 2 m}]");
    let (row, _) = row_of(&own, &low_only, "");
    close(row.flow.unwrap().value, 60.9994);
}

/// Two pumps of 135.0104 L/min each on one loop. 12 h each: one after the other. 24 h each: side by side, so that at
/// each head their flows add, 8 − 2 (Q/240)²: 8 = Q² (2/57600 + 3/10000), Q² = 23900.4, Q = 154.598. 16 h each: 8 h
/// together and 16 h alone, (8 × 154.598 + 16 × 135.0104) / 24 = 141.540.
#[test]
fn several_pumps_filter() {
    let spa = |hours: &str| {
        tub("").replace(
            "pumps: {filtration: {model: P, duty: filtration, program: {run: 24 h/day}}}",
            &format!("pumps: {{one: {{model: P, duty: filtration, program: {{run: {hours}}}}}, two: {{model: P, duty: filtration, program: {{run: {hours}}}}}}}"),
        )
    };
    let curve = pumps("[{flow: 120 L/min, head: 6 m}]");
    let (row, _) = row_of(&curve, &spa("24 h/day"), "");
    let flow = row.flow.unwrap();
    close(flow.value, 154.598);
    // One alone at the least, and each with a loop of its own at the most.
    close(flow.low, 135.0104 * 0.75);
    close(flow.high, 270.0208 * 1.15);
    close(row.filter_rate.unwrap(), 15.4598);
    close(row.hours_per_day.unwrap(), 24.0);
    close(row.turnovers_per_day.unwrap(), 154.598 * 1440.0 / 1200.0);
    let (row, _) = row_of(&curve, &spa("16 h/day"), "");
    close(row.flow.unwrap().value, 141.540);
    close(row.turnovers_per_day.unwrap(), 141.540 * 1440.0 / 1200.0);
    let (row, _) = row_of(&curve, &spa("12 h/day"), "");
    close(row.flow.unwrap().value, 135.0104);
    close(row.turnovers_per_day.unwrap(), 162.0125);
}

/// Two equal filters side by side, 0.4 bar at 100 L/min each, are as one of 0.4 bar at 200 L/min: 4.10780 m at 200.
/// 8 = Q² (2/14400 + 3/10000 + 4.10780/40000), Q² = 8 / 5.41584e-4 = 14771.5, Q = 121.538; the area is 20 m².
#[test]
fn filters_side_by_side() {
    let one = "{kind: cartridge, area: 10 m2, drop: {pressure: 0.4 bar, flow: 100 L/min}}";
    let spa = tub("").replace("{kind: cartridge, area: 10 m2}", &format!("{one}, second: {one}"));
    let (row, _) = row_of(&pumps("[{flow: 120 L/min, head: 6 m}]"), &spa, "");
    close(row.flow.unwrap().value, 121.538);
    close(row.filter_rate.unwrap(), 6.0769);
    // A flow is measured only when it is at both: the sum.
    let both = "{date: 2026-06-10, at: {tub/main: {flow: 50}, tub/second: {flow: 60}}}";
    let (row, _) = row_of(&pumps("[{flow: 120 L/min, head: 6 m}]"), &spa, both);
    assert_eq!(row.flow.map(|f| f.value), Some(110.0));
}

#[test]
fn a_curve_that_never_meets_the_loop_is_a_finding() {
    let high = tub("").replace("length: 0 m,", "length: 0 m, static_head: 9 m,");
    let (row, water) = row_of(&pumps("[{flow: 120 L/min, head: 6 m}]"), &high, "");
    assert!(row.flow.is_none());
    assert_eq!(row.verdict, Verdict::Unknown);
    assert_eq!(
        water.findings,
        ["the pump moves no water: it can lift it 8.0 m at most, and the loop asks for 9.0 m before anything flows"]
    );
}

/// 24 h of a 30-day month, closed for 10 of them: 20 × 24 / 30 = 16 hours a day, and no shortage.
#[test]
fn a_season_closed_is_no_shortage() {
    let text = site(&tub(""), "").replace("use: rental", "use: rental\nclosed: [{from: 2026-06-01, to: 2026-06-10}]");
    let loaded = load(
        &[("fleet.yaml", FLEET), ("pumps.yaml", &pumps("[{flow: 120 L/min, head: 6 m}]")), ("sites/home.yaml", &text)],
        "2026-06-30",
    );
    let row = loaded.spas[0].water.months.last().unwrap();
    close(row.hours_per_day.unwrap(), 16.0);
    assert_eq!(row.verdict, Verdict::Meets);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    #[test]
    fn more_fouling_never_gives_more_flow(first in 0.0f64..0.5, more in 0.0f64..0.3) {
        let flow = |rise: f64| {
            let log = format!("{{date: 2026-06-10, at: {{tub/main: {{pressure: {:.4}}}}}}}", 0.1 + rise);
            row_of(&pumps("[{flow: 0 L/min, head: 9 m}, {flow: 150 L/min, head: 7 m}, {flow: 260 L/min, head: 2.6 m}]"), &tub(", clean_pressure: 0.1 bar"), &log).0.flow.unwrap().value
        };
        prop_assert!(flow(first + more) <= flow(first) + 1e-6);
    }

    #[test]
    fn a_larger_pipe_never_gives_less_flow(length in 0.0f64..40.0, smaller in 0usize..5) {
        let sizes = ["1 in", "1.25 in", "1.5 in", "2 in", "2.5 in", "3 in"];
        let flow = |size: &str| {
            let spa = tub("").replace("size: 2 in, length: 0 m,", &format!("size: {size}, length: {length:.3} m, fittings: {{elbow_90: 8}},"));
            row_of(&pumps("[{flow: 120 L/min, head: 6 m}]"), &spa, "").0.flow.unwrap().value
        };
        prop_assert!(flow(sizes[smaller + 1]) >= flow(sizes[smaller]) - 1e-6);
    }

    #[test]
    fn litres_or_gallons_give_the_same_verdict(litres in 300.0f64..3000.0) {
        let curve = pumps("[{flow: 120 L/min, head: 6 m}]");
        let metric = row_of(&curve, &tub("").replace("1200 L", &format!("{litres:.3} L")), "").0;
        let us = row_of(&curve, &tub("").replace("1200 L", &format!("{:.9} gal", litres / 3.785_411_784)), "").0;
        let (a, b) = (metric.turnover.unwrap().value, us.turnover.unwrap().value);
        prop_assert!((a - b).abs() < 1e-3);
        // On the limit itself the rounding of what is written decides.
        if (a - 15.0).abs() > 0.01 { prop_assert_eq!(metric.verdict, us.verdict); }
    }
}
