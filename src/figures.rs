//! The numbers of the tables as figures: with their range, their basis and the records they came from.
//!
//! They are put together when asked for and not kept: a fleet has millions of months, and a month's
//! readings stand in its pump's curve already.

use chrono::NaiveDate;

use crate::basis::{Basis, CENTRAL_80, Figure, Source};
use crate::calendar::days_between;
use crate::quantities::PumpFigures;
use crate::quantities::hours_spread::ASSUMED_MONTH_SPREAD;
use crate::quantities::run_hours::MonthHours;
use crate::quantities::water_turnover::WaterMonth;
use crate::records::{Site, Spa};
use crate::schedule::due::PartDue;

/// How far a month's hours by a corrected program may be off at the ends of the central 80 %, assumed.
const CALIBRATED_WITHIN: f64 = 0.10;
/// The same of hours that nothing but a default names, assumed.
const ASSUMED_WITHIN: f64 = 0.50;

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
        .map(|point| point.source(site, &pump.at))
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

/// The hours a day a spa's water was filtered in a month: those of the pumps and speeds that filter.
pub fn filtration_hours(site: &Site, spa: &Spa, pumps: &[PumpFigures], row: &WaterMonth) -> Option<Figure> {
    let value = row.hours_per_day?;
    let hours: Vec<Figure> = spa
        .pumps
        .iter()
        .zip(pumps)
        .flat_map(|(pump, figures)| {
            let rows = figures.hours.iter().flat_map(|hours| hours.of_month(row.month));
            rows.filter(|m| pump.filters_at.contains(&m.speed)).filter_map(move |m| month_hours(site, figures, m))
        })
        .collect();
    let sum = |end: fn(&Figure) -> f64| hours.iter().map(end).sum::<f64>();
    let total = sum(|f| f.value);
    // The sum of several pumps is known no better than the least sure of them.
    let basis = hours.iter().map(|f| f.basis).max()?;
    let sources: Vec<Source> = hours.iter().flat_map(|f| f.sources.iter().cloned()).collect();
    let share = |end: f64| if total > 0.0 { value * end / total } else { value };
    Some(Figure::new(value, share(sum(|f| f.low)), share(sum(|f| f.high)).min(24.0), basis, sources))
}

/// The share of a part's life that is used; a day of fitting that is not exact gives its range.
pub fn life_used(part: &PartDue, as_of: NaiveDate) -> Option<Figure> {
    let value = part.life_used?;
    let (first, last) = part.part.fitted.range()?;
    let age = days_between(part.part.fitted.middle()?, as_of) as f64;
    let share =
        |fitted: NaiveDate| if age > 0.0 { value * days_between(fitted, as_of).max(0) as f64 / age } else { value };
    Some(Figure::new(value, share(last), share(first), part.basis, part.sources.clone()))
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
            // Both filter: 280 h and 224 h in 28 days are 18 h a day, known no better than the program.
            let spa = &figures.spas[0];
            let row = spa.water.months.last().unwrap();
            let hours = filtration_hours(figures.site, &figures.site.spas[0], &spa.pumps, row).unwrap();
            assert!((hours.value - 18.0).abs() < 1e-6, "{hours:?}");
            assert_eq!(hours.basis, Basis::Programmed);
            assert!(hours.low < 18.0 && hours.high > 18.0 && hours.sources.len() == 3, "{hours:?}");
        });
    }
}
