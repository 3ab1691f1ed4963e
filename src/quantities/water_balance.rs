//! Does the water eat or scale? The saturation index of a day on which pH, alkalinity, hardness and
//! temperature were all tested.
//!
//! By the table of the operators' training manual, interpolated, and where dissolved solids were tested by the
//! formula too: the two differ by about 0.1 at spa temperature, so each is named where it is printed. Hardness is taken as
//! calcium hardness and alkalinity as carbonate alkalinity: with cyanuric acid in the water the index is
//! lower. Nothing is computed from a test of another day.

use chrono::NaiveDate;

use crate::calendar::Month;
use crate::records::log::Quantity;
use crate::records::{Site, Spa};

/// Dissolved solids up to which the lower constant holds, mg/L.
const USUAL_TDS: f64 = 1000.0;
/// The widest of the published balanced bands (second-hand).
pub const BALANCED: std::ops::RangeInclusive<f64> = -0.5..=0.5;

/// °F and the temperature factor.
const TEMPERATURE: [(f64, f64); 11] = [
    (32.0, 0.0),
    (37.0, 0.1),
    (46.0, 0.2),
    (53.0, 0.3),
    (60.0, 0.4),
    (66.0, 0.5),
    (76.0, 0.6),
    (84.0, 0.7),
    (94.0, 0.8),
    (105.0, 0.9),
    (128.0, 1.0),
];
/// Calcium hardness, ppm, and its factor.
const CALCIUM: [(f64, f64); 11] = [
    (5.0, 0.3),
    (25.0, 1.0),
    (50.0, 1.3),
    (75.0, 1.5),
    (100.0, 1.6),
    (150.0, 1.8),
    (200.0, 1.9),
    (300.0, 2.1),
    (400.0, 2.2),
    (800.0, 2.5),
    (1000.0, 2.6),
];
/// Alkalinity, ppm, and its factor.
const ALKALINITY: [(f64, f64); 11] = [
    (5.0, 0.7),
    (25.0, 1.4),
    (50.0, 1.7),
    (75.0, 1.9),
    (100.0, 2.0),
    (150.0, 2.2),
    (200.0, 2.3),
    (300.0, 2.5),
    (400.0, 2.6),
    (800.0, 2.9),
    (1000.0, 3.0),
];

/// The balance of the water on a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WaterBalance {
    /// The day.
    pub day: NaiveDate,
    /// The saturation index by the table.
    pub index: f64,
    /// The index by the formula, which needs the dissolved solids; `None` where they were not tested, and up to
    /// 1000 mg/L are assumed for the table.
    pub by_formula: Option<f64>,
}

impl WaterBalance {
    /// What it means, in a word.
    pub fn word(self) -> &'static str {
        if BALANCED.contains(&self.index) {
            "balanced"
        } else if self.index < 0.0 {
            "corrosive"
        } else {
            "scaling"
        }
    }
}

fn interpolated(table: &[(f64, f64)], at: f64) -> Option<f64> {
    table.windows(2).find(|pair| (pair[0].0..=pair[1].0).contains(&at)).map(|pair| {
        let ((x0, y0), (x1, y1)) = (pair[0], pair[1]);
        y0 + (y1 - y0) * (at - x0) / (x1 - x0)
    })
}

/// The saturation index by the table: pH + TF + CF + AF − 12.1, or − 12.2 above 1000 mg/L of dissolved solids.
/// `None` outside the table.
pub fn saturation_index(ph: f64, fahrenheit: f64, calcium: f64, alkalinity: f64, tds: Option<f64>) -> Option<f64> {
    let constant = if tds.is_some_and(|tds| tds > USUAL_TDS) { 12.2 } else { 12.1 };
    Some(
        ph + interpolated(&TEMPERATURE, fahrenheit)?
            + interpolated(&CALCIUM, calcium)?
            + interpolated(&ALKALINITY, alkalinity)?
            - constant,
    )
}

/// The saturation index by the formula: pH less (9.3 + A + B) − (C + D), with A = (log TDS − 1)/10,
/// B = −13.12 log (°C + 273) + 34.55, C = log calcium − 0.4, D = log alkalinity (both in mg/L of calcium carbonate; from memory).
/// `None` where one of them is not above zero.
pub fn saturation_index_by_formula(ph: f64, celsius: f64, calcium: f64, alkalinity: f64, tds: f64) -> Option<f64> {
    let known = [celsius + 273.0, calcium, alkalinity, tds].iter().all(|value| value.is_finite() && *value > 0.0);
    let a = (tds.log10() - 1.0) / 10.0;
    let b = -13.12 * (celsius + 273.0).log10() + 34.55;
    let (c, d) = (calcium.log10() - 0.4, alkalinity.log10());
    known.then_some(ph - (9.3 + a + b - c - d))
}

/// The last day of a month on which all four were tested, with its index.
pub fn water_balance(site: &Site, spa: &Spa, month: Month) -> Option<WaterBalance> {
    let on =
        |day: NaiveDate, quantity| site.readings_of(&spa.at, quantity).filter(|r| r.day == day).last().map(|r| r.value);
    let days: Vec<NaiveDate> =
        site.readings_of(&spa.at, Quantity::Hardness).map(|r| r.day).filter(|day| Month::of(*day) == month).collect();
    days.into_iter().rev().find_map(|day| {
        let celsius = on(day, Quantity::Temperature)?;
        let tds = on(day, Quantity::Tds);
        let (ph, calcium) = (on(day, Quantity::Ph)?, on(day, Quantity::Hardness)?);
        let alkalinity = on(day, Quantity::Alkalinity)?;
        let index = saturation_index(ph, celsius * 1.8 + 32.0, calcium, alkalinity, tds)?;
        let by_formula = tds.and_then(|tds| saturation_index_by_formula(ph, celsius, calcium, alkalinity, tds));
        Some(WaterBalance { day, index, by_formula })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantities::fleet_for_tests::{day, load};

    #[track_caller]
    fn close(actual: Option<f64>, expected: f64, within: f64) {
        let actual = actual.unwrap();
        assert!((actual - expected).abs() <= within, "{actual} is not {expected}");
    }

    #[test]
    fn published_and_computed_cases() {
        // W-07: pool-chemistry page reproducing the training manual's table.
        close(saturation_index(7.0, 84.0, 300.0, 25.0, None), -0.9, 0.01);
        // W-08: pool water help page; its row at 84 °F gives +0.1, interpolation at 83 °F +0.0875.
        close(saturation_index(7.4, 84.0, 300.0, 100.0, Some(800.0)), 0.1, 0.01);
        close(saturation_index(7.4, 83.0, 300.0, 100.0, Some(800.0)), 0.0875, 1e-6);
        // table, linear interpolation.
        close(saturation_index(7.4, 104.0, 200.0, 100.0, None), 0.091, 0.005);
        close(saturation_index(7.6, 102.0, 150.0, 80.0, None), 0.093, 0.005);
        close(saturation_index(7.2, 100.0, 300.0, 120.0, None), 0.135, 0.005);
        // Above 1000 mg/L of dissolved solids a tenth less; outside the table nothing.
        close(saturation_index(7.4, 104.0, 200.0, 100.0, Some(1200.0)), -0.009, 0.005);
        assert_eq!(saturation_index(7.4, 104.0, 2.0, 100.0, None), None);
    }

    #[test]
    fn cases_of_the_formula() {
        // W-09: corrosion teaching page: −0.7 at 25 °C, +0.3 at 82 °C as printed.
        close(saturation_index_by_formula(7.5, 25.0, 150.0, 34.0, 320.0), -0.73, 0.01);
        close(saturation_index_by_formula(7.5, 82.0, 150.0, 34.0, 320.0), 0.27, 0.01);
        // computed.
        close(saturation_index_by_formula(7.4, 40.0, 200.0, 100.0, 1000.0), -0.007, 0.005);
        close(saturation_index_by_formula(7.4, 38.0, 150.0, 80.0, 600.0), -0.244, 0.005);
        close(saturation_index_by_formula(7.2, 40.0, 300.0, 120.0, 1500.0), 0.030, 0.005);
        assert_eq!(saturation_index_by_formula(7.2, 40.0, 0.0, 120.0, 1500.0), None);
    }

    /// X-34 from records: 40 °C is 104 °F. A test of another day does not help.
    #[test]
    fn only_tests_of_one_day_count() {
        let fleet = "{format: 1, fleet: Test, currency: GBP, timezone: Europe/London}";
        let of = |log: &str| {
            let site = format!("format: 1\nspas: {{tub: {{fitted: 2026-01-01}}}}\nlog: [{log}]\n");
            load(&[("fleet.yaml", fleet), ("sites/home.yaml", &site)], "2026-06-30").spas[0].balance
        };
        let found =
            of("{date: 2026-06-10, at: {tub: {ph: 7.4, temperature: 40, hardness: 200, alkalinity: 100}}}").unwrap();
        assert_eq!((found.day, found.word()), (day("2026-06-10"), "balanced"));
        close(Some(found.index), 0.091, 0.005);
        assert_eq!(found.by_formula, None);
        // the same water with its dissolved solids tested.
        let solids =
            "{date: 2026-06-10, at: {tub: {ph: 7.4, temperature: 40, hardness: 200, alkalinity: 100, tds: 1000}}}";
        close(of(solids).unwrap().by_formula, -0.007, 0.005);
        let split = "{date: 2026-06-10, at: {tub: {ph: 7.4, temperature: 40, hardness: 200}}}, {date: 2026-06-11, at: {tub: {alkalinity: 100}}}";
        assert_eq!(of(split), None);
    }
}
