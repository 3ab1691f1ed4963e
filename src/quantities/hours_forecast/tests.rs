//! Forecasts against worked cases: small fleets read as a user's would be. The arithmetic stands beside each.

use super::*;
use crate::quantities::fleet_for_tests::{day, load};

const FLEET: &str = "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\n";

/// The forecast of a fleet's one pump, from its mapping, its counter's readings (date, hours) and other fields of the site.
fn forecast_of(pump: &str, readings: &[(String, String)], more: &str, as_of: &str) -> Forecast {
    let mut site = format!("format: 1\n{more}\nspas: {{s: {{fitted: 2022-12-31, pumps: {{p: {pump}}}}}}}\nlog:\n");
    for (date, entry) in readings {
        site.push_str(&format!("  - {{date: {date}, at: {{s/p: {entry}}}}}\n"));
    }
    if readings.is_empty() {
        site.push_str("  []\n");
    }
    let loaded = load(&[("fleet.yaml", FLEET), ("sites/a.yaml", &site)], as_of);
    loaded.spas[0].pumps[0].forecast.clone().unwrap()
}

fn of_month(forecast: &Forecast, month: &str, speed: Speed) -> f64 {
    let month: Month = month.parse().unwrap();
    forecast.months.iter().find(|m| m.month == month && m.speed == speed).unwrap().hours
}

#[track_caller]
fn near(found: f64, expected: f64) {
    assert!((found - expected).abs() < 1e-6 * expected.abs().max(1.0), "{found}, not {expected}");
}

/// Readings at the ends of months from a month on, gaining by the month's number.
fn read_monthly(first: &str, months: i32, field: &str, gain: impl Fn(Month) -> f64) -> Vec<(String, String)> {
    let first: Month = first.parse().unwrap();
    let mut total = 0.0;
    let begin = (plus_days(first.first(), -1).to_string(), format!("{{{field}: 0}}"));
    let rest = first.through(first.plus(months - 1)).map(|month| {
        total += gain(month);
        (month.last().to_string(), format!("{{{field}: {total:.3}}}"))
    });
    std::iter::once(begin).chain(rest).collect()
}

/// Ten hours a day in summer and four in winter, changed by hand twice a year: they will be changed again. A change made
/// once stays.
#[test]
fn programs_that_change_with_the_season_change_again() {
    let seasonal = "[{run: 4 h/day}, {from: 2025-05-03, run: 10 h/day}, {from: 2025-10-01, run: 4 h/day}, {from: 2026-04-28, run: 10 h/day}, \
                    {from: 2026-10-04, run: 4 h/day}]";
    let forecast = forecast_of(&format!("{{duty: filtration, program: {seasonal}}}"), &[], "", "2026-10-31");
    assert!(forecast.seasonal_programs);
    near(of_month(&forecast, "2027-03", Speed::Run), 31.0 * 4.0);
    near(of_month(&forecast, "2027-04", Speed::Run), 27.0 * 4.0 + 3.0 * 10.0);
    near(of_month(&forecast, "2027-07", Speed::Run), 31.0 * 10.0);
    near(of_month(&forecast, "2027-10", Speed::Run), 3.0 * 10.0 + 28.0 * 4.0);
    let once = "[{run: 4 h/day}, {from: 2025-05-03, run: 10 h/day}]";
    let forecast = forecast_of(&format!("{{duty: filtration, program: {once}}}"), &[], "", "2026-10-31");
    assert!(!forecast.seasonal_programs);
    near(forecast.year(), 3650.0);
    // In the first winter nobody can know.
    let first = "[{run: 4 h/day}, {from: 2026-05-03, run: 10 h/day}, {from: 2026-10-02, run: 8 h/day}]";
    let forecast = forecast_of(&format!("{{duty: filtration, program: {first}}}"), &[], "", "2026-10-31");
    near(forecast.year(), 8.0 * 365.0);
}

/// The counter of a pump without a program shows the season: three years of ten hours a day in summer and four in winter.
#[test]
fn a_counter_that_runs_with_the_season_is_forecast_so() {
    let summer = |month: Month| if (4..=9).contains(&month.number()) { 10.0 } else { 4.0 };
    let gain = |month: Month| summer(month) * f64::from(month.days());
    for program in ["", ", program: {run: 8 h/day}"] {
        let readings = read_monthly("2023-11", 36, "hours", gain);
        let forecast = forecast_of(&format!("{{duty: filtration{program}}}"), &readings, "", "2026-10-31");
        let first: Month = "2026-11".parse().unwrap();
        for month in first.through(first.plus(11)) {
            let found = of_month(&forecast, &month.to_string(), Speed::Run);
            assert!((found / gain(month) - 1.0).abs() < 0.01, "{month}: {found}, not {}", gain(month));
        }
        // It comes again to the hour, so its range is narrow; with no season it would have to hold 4 h and 10 h alike.
        let (expected, low, high) = forecast.sum_of_months(3).unwrap();
        assert!(low > 0.95 * expected && high < 1.05 * expected, "{low} {expected} {high}");
    }
}

/// The program runs for guests alone, nobody sends bookings, and the counter runs: it goes on as it ran.
#[test]
fn a_counter_is_believed_where_the_program_knows_no_guests() {
    let pump = "{duty: jets, program: {occupied: {run: 40 min/day}}}";
    let readings = read_monthly("2026-01", 10, "hours", |month| 0.5 * f64::from(month.days()));
    let forecast = forecast_of(pump, &readings, "", "2026-10-31");
    near(forecast.year(), 0.5 * 365.0);
    let (_, low, high) = forecast.sum_of_months(12).unwrap();
    assert!(low < 0.5 * 365.0 && high > 0.5 * 365.0);
}

/// A counter without a program, and a season out of water to come.
#[test]
fn a_closed_season_to_come_is_out_of_it_without_a_program() {
    let readings = read_monthly("2026-01", 10, "hours", |month| 10.0 * f64::from(month.days()));
    let closed = "closed: [{from: 2027-01-01, to: 2027-01-20}]";
    let forecast = forecast_of("{duty: filtration}", &readings, closed, "2026-10-31");
    near(of_month(&forecast, "2026-12", Speed::Run), 310.0);
    near(of_month(&forecast, "2027-01", Speed::Run), 110.0);
}

/// Low speed keeps to its program, high speed strays by half from month to month: each has its own range.
#[test]
fn each_speed_has_its_own_range() {
    let stray = |month: Month| if month.number().is_multiple_of(2) { 1.5 } else { 0.5 };
    let mut low = read_monthly("2025-11", 12, "hours_low", |month| 10.0 * f64::from(month.days()));
    let high = read_monthly("2025-11", 12, "hours_high", |month| stray(month) * f64::from(month.days()));
    for ((_, low), (_, high)) in low.iter_mut().zip(&high) {
        *low = format!("{}, {}", low.trim_end_matches('}'), high.trim_start_matches('{'));
    }
    let pump = "{duty: filtration_and_jets, program: {low: 10 h/day, high: 1 h/day}}";
    let forecast = forecast_of(pump, &low, "", "2026-10-31");
    let month: Month = "2026-12".parse().unwrap();
    let width = |speed: Speed| {
        let row = forecast.months.iter().find(|m| m.month == month && m.speed == speed).unwrap();
        (row.high - row.low) / row.hours
    };
    assert!(width(Speed::Low) < 0.05 && width(Speed::High) > 0.5, "{} {}", width(Speed::Low), width(Speed::High));
    let total = forecast.spread.of_months(2.0);
    assert!(total > width(Speed::Low) / 4.0 && total < width(Speed::High), "{total}");
    assert_eq!(forecast.from, day("2026-10-31"));
}
