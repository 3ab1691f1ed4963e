//! The numbers of the tables as figures: with their range, their basis and the records they came from.
//!
//! They are put together when asked for and not kept: a fleet has millions of months, and a month's
//! readings stand in its pump's curve already.

use crate::basis::{Basis, Figure, Source};
use crate::quantities::PumpFigures;
use crate::quantities::hours_forecast::ASSUMED_MONTH_SPREAD;
use crate::quantities::run_hours::MonthHours;
use crate::quantities::water_turnover::WaterMonth;
use crate::records::Site;

/// How far a month's hours by a corrected program may be off at the ends of the central 80 %, assumed.
const CALIBRATED_WITHIN: f64 = 0.10;
/// The same of hours that nothing but a default names, assumed.
const ASSUMED_WITHIN: f64 = 0.50;
/// From a standard deviation to the end of the central 80 %.
const CENTRAL_80: f64 = 1.281_551_565_5;

/// The hours of a month at a speed. Hours between readings are as exact as the counter; the others
/// have the spread of what they rest on.
pub fn month_hours(site: &Site, pump: &PumpFigures, row: &MonthHours) -> Option<Figure> {
    let (value, basis) = row.hours.zip(row.basis)?;
    let within = match basis {
        Basis::Assumed => ASSUMED_WITHIN,
        Basis::Programmed | Basis::Estimated => CENTRAL_80 * ASSUMED_MONTH_SPREAD,
        _ => CALIBRATED_WITHIN,
    };
    let open = (value - row.metered_hours).max(0.0) * within;
    let most = 24.0 * f64::from(row.month.days());
    Some(Figure::new(value, value - open, (value + open).min(most).max(value), basis, month_sources(site, pump, row)))
}

/// The readings around a month, or the program where there are none.
fn month_sources(site: &Site, pump: &PumpFigures, row: &MonthHours) -> Vec<Source> {
    let curve = pump.hours.iter().flat_map(|h| &h.curves).find(|c| c.speed == row.speed);
    let readings = curve.map_or(&[][..], |c| c.readings.as_slice());
    let before = readings.partition_point(|point| point.day < row.month.first());
    let after = readings.partition_point(|point| point.day < row.month.last());
    let mut sources: Vec<Source> = [before.checked_sub(1), Some(after)]
        .into_iter()
        .flatten()
        .filter_map(|index| readings.get(index))
        .map(|point| point.source.clone())
        .collect();
    if sources.is_empty() {
        sources.push(site.source(&format!("spas.{}.pumps.{}.program", pump.at.spa(), pump.at.last())));
    }
    sources
}

/// The energy of a month, which has the hours' range.
pub fn month_energy(hours: &Figure, row: &MonthHours) -> Option<Figure> {
    let kilowatts = row.energy_kwh.filter(|_| hours.value > 0.0)? / hours.value;
    Some(hours.map(|h| h * kilowatts))
}

/// A number of a spa's month that goes with its flow: turnovers a day, filter rate, velocity.
pub fn with_flow(row: &WaterMonth, value: Option<f64>) -> Option<Figure> {
    let flow = row.flow.as_ref().filter(|f| f.value > 0.0)?;
    let share = value? / flow.value;
    Some(flow.map(|f| f * share))
}

/// The record a figure rests on most, as text for a table.
pub fn source_text(sources: &[Source]) -> String {
    sources.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantities::fleet_for_tests;

    #[test]
    fn a_metered_month_is_exact_and_names_its_readings_and_a_programmed_one_is_not() {
        let files = [
            ("fleet.yaml", "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\n"),
            (
                "sites/a.yaml",
                "format: 1\nspas:\n  s:\n    fitted: 2026-01-01\n    pumps:\n      one: {duty: filtration, program: {run: 8 h/day}}\n      \
                 two: {duty: filtration, program: {run: 8 h/day}}\nlog:\n  - date: 2026-01-31\n    at: {s/one: {hours: 100}}\n  \
                 - date: 2026-02-28\n    at: {s/one: {hours: 380}}\n",
            ),
        ];
        fleet_for_tests::load_with(&files, "2026-02-28", |_, figures, _| {
            let february = |pump: usize| {
                let pump = &figures.spas[0].pumps[pump];
                let row = pump.hours.as_ref().unwrap().months.iter().find(|m| m.month.number() == 2).unwrap();
                month_hours(figures.site, pump, row).unwrap()
            };
            // 380 - 100 = 280 h between two readings that bracket February.
            let metered = february(0);
            assert_eq!((metered.value.round(), metered.low, metered.high), (280.0, metered.value, metered.value));
            assert_eq!(
                source_text(&metered.sources),
                "sites/a.yaml: log[0].at.s/one.hours; sites/a.yaml: log[1].at.s/one.hours"
            );
            // 28 days at 8 h.
            let programmed = february(1);
            assert_eq!(programmed.value.round(), 224.0);
            assert!(programmed.low < 200.0 && programmed.high > 250.0);
            assert_eq!(source_text(&programmed.sources), "sites/a.yaml: spas.s.pumps.two.program");
        });
    }
}
