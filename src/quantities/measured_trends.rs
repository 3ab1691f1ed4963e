//! What is drifting? A pump's motor current, a filter's gauge since its last clean and after each clean,
//! and how far the water stays below its setpoint: slope with its range, the chance that it is none, and
//! the day a limit is crossed.
//!
//! A drift begins anew when what it is measured on is renewed or cleaned. Readings closer than a week are
//! put together by the week, and no more than the last twelve months count: what matters is the drift of
//! now. A day of crossing is told only of a drift that is more than chance.

use chrono::NaiveDate;
use uom::si::electric_current::ampere;
use uom::si::pressure::bar;
use uom::si::thermodynamic_temperature::degree_celsius;

use crate::address::{Address, Id};
use crate::basis::Source;
use crate::calendar::{days_between, plus_days};
use crate::quantities::{SpaFigures, filters};
use crate::records::log::{Entry, Quantity};
use crate::records::{Fleet, Pump, ReadingRow, Site};
use crate::stats::trend::{rank_test, slope};

/// A measured quantity over the last months.
#[derive(Debug, Clone)]
pub struct MeasuredTrend {
    /// The pump, filter or spa.
    pub at: Address,
    /// Of what.
    pub quantity: Drifting,
    /// The days of the first and the last reading.
    pub from: NaiveDate,
    /// The last.
    pub to: NaiveDate,
    /// How many readings, those of a week counted as one.
    pub readings: usize,
    /// Change in 30 days.
    pub slope: f64,
    /// The ends of its central 80 %; `None` = too few readings to give them.
    pub range: Option<(f64, f64)>,
    /// The chance of so clear a drift, were there none.
    pub p_value: f64,
    /// The median of the first three readings and of the last three.
    pub levels: (f64, f64),
    /// A point of the fitted line, about which its range turns: days after the first reading, and the value there.
    pub middle: (f64, f64),
    /// The limit it is held against; `None` = there is none.
    pub limit: Option<f64>,
    /// The day it crosses or crossed the limit; `None` = it does not, or the drift may be chance.
    pub crosses: Option<NaiveDate>,
    /// The early end of that day's range.
    pub crosses_low: Option<NaiveDate>,
    /// The late end; `None` = perhaps never.
    pub crosses_high: Option<NaiveDate>,
    /// The last reading's record.
    pub source: Source,
}

impl MeasuredTrend {
    /// Whether it drifts by more than chance, and by enough to speak of.
    pub fn is_worth_telling(&self) -> bool {
        self.p_value < CLEAR
            && self.range.is_none_or(|(low, high)| low > 0.0 || high < 0.0)
            && (self.levels.1 - self.levels.0).abs() >= LEAST_DRIFT * self.levels.0.abs()
    }

    /// The value on a day, were its change in 30 days `slope`.
    pub fn value_on(&self, day: NaiveDate, slope: f64) -> f64 {
        self.middle.1 + slope / 30.0 * (days_between(self.from, day) as f64 - self.middle.0)
    }
}

/// A quantity that may drift.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Drifting {
    /// A motor's current at `run` or `high`, A.
    Current,
    /// At `low`, A.
    CurrentLow,
    /// The gauge at a filter's inlet since its last clean, bar.
    Pressure,
    /// The gauge just after each clean since the cartridge was renewed, bar.
    CleanPressure,
    /// The setpoint less the water's temperature, K.
    TemperatureLag,
}

impl Drifting {
    /// What it is, in words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Current => "motor current",
            Self::CurrentLow => "motor current at low speed",
            Self::Pressure => "pressure since its last clean",
            Self::CleanPressure => "pressure when clean",
            Self::TemperatureLag => "distance below its set point",
        }
    }

    /// The word in tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::Current => "current",
            Self::CurrentLow => "current_low",
            Self::Pressure => "pressure",
            Self::CleanPressure => "clean_pressure",
            Self::TemperatureLag => "temperature_lag",
        }
    }

    /// The quantity that is read for it.
    pub fn read(self) -> Quantity {
        match self {
            Self::Current => Quantity::Current,
            Self::CurrentLow => Quantity::CurrentLow,
            Self::Pressure | Self::CleanPressure => Quantity::Pressure,
            Self::TemperatureLag => Quantity::Temperature,
        }
    }
}

/// Readings without which nothing is said.
const LEAST_READINGS: usize = 4;
/// The days that count.
const LOOKS_BACK: i64 = 365;
/// Days whose readings are put together.
const TOGETHER: i64 = 7;
/// A chance above which a drift may be none.
pub const CLEAR: f64 = 0.05;
/// What the names of parts hold that bear on a motor's current.
const OF_THE_MOTOR: [&str; 3] = ["bearing", "capacitor", "motor"];
/// The drift below which nothing is said, as a share of where it began.
const LEAST_DRIFT: f64 = 0.05;
/// The share of its model's current above which a motor is told to be overloaded: common practice, no source.
pub const OVERLOADED: f64 = 1.15;
/// Days past which a crossing is too far off to be told.
const FARTHEST: f64 = 3650.0;

/// The drifts at a site up to the as-of day.
pub fn measured_trends(fleet: &Fleet, site: &Site, spas: &[SpaFigures], as_of: NaiveDate) -> Vec<MeasuredTrend> {
    let earliest = plus_days(as_of, -LOOKS_BACK);
    let mut all = Vec::new();
    for (spa, figures) in site.spas.iter().zip(spas) {
        for pump in &spa.pumps {
            // A new seal or gasket makes no motor draw less: the drift of its bearings goes on.
            let of_motor = |part: &Id| OF_THE_MOTOR.iter().any(|name| part.as_str().contains(name));
            let since = last_day(site, &pump.at, as_of, |entry| {
                entry.exchanged.is_some() || entry.renewed.0.iter().any(|(part, _)| of_motor(part))
            });
            for (quantity, drifting) in
                [(Quantity::Current, Drifting::Current), (Quantity::CurrentLow, Drifting::CurrentLow)]
            {
                let rows = since_start(site, &pump.at, quantity, since, earliest, as_of);
                let limit = current_limit(fleet, site, pump, drifting);
                all.extend(trend(site, &pump.at, drifting, &rows, |row| row.value, limit));
            }
        }
        for (filter, figures) in spa.filters.iter().zip(&figures.filters) {
            let cleans = filters::cleans(site, &filter.at);
            let last = cleans.iter().rev().find(|day| **day <= as_of).copied();
            let rows = since_start(site, &filter.at, Quantity::Pressure, last, earliest, as_of);
            let clean = figures.state.clean_pressure.or(filter.clean_pressure.map(|p| p.0.get::<bar>()));
            let limit = clean.zip(figures.state.rise_limit).map(|(clean, rise)| clean + rise);
            all.extend(trend(site, &filter.at, Drifting::Pressure, &rows, |row| row.value, limit));
            let renewed = last_day(site, &filter.at, as_of, |entry| !entry.renewed.0.is_empty());
            let mut rows = since_start(site, &filter.at, Quantity::Pressure, renewed, earliest, as_of);
            rows.retain(|row| row.after && cleans.binary_search(&row.day).is_ok());
            // Where a clean gauge has risen by as much as it is cleaned for, cleaning helps no more.
            let as_new = filter.clean_pressure.map(|pressure| pressure.0.get::<bar>());
            let limit = as_new.zip(figures.state.rise_limit).map(|(new, rise)| new + rise);
            all.extend(trend(site, &filter.at, Drifting::CleanPressure, &rows, |row| row.value, limit));
        }
        if let Some(setpoint) = spa.setpoint.map(|t| t.0.get::<degree_celsius>()) {
            let renewed = spa
                .equipment
                .iter()
                .filter(|item| item.kind.as_str() == "heater")
                .filter_map(|item| {
                    last_day(site, &item.at, as_of, |entry| !entry.renewed.0.is_empty() || entry.exchanged.is_some())
                })
                .max();
            let rows = since_start(site, &spa.at, Quantity::Temperature, renewed, earliest, as_of);
            all.extend(trend(site, &spa.at, Drifting::TemperatureLag, &rows, |row| setpoint - row.value, None));
        }
    }
    all.sort_by(|a, b| (&a.at, a.quantity).cmp(&(&b.at, b.quantity)));
    all
}

/// The last day something was done at an address.
fn last_day(site: &Site, at: &Address, as_of: NaiveDate, done: impl Fn(&Entry) -> bool) -> Option<NaiveDate> {
    site.entries(at).filter(|(_, visit, entry)| visit.date.0 <= as_of && done(entry)).map(|(_, v, _)| v.date.0).max()
}

/// Readings from a new start on: those of its own day only if they were taken after the work.
fn since_start<'a>(
    site: &'a Site,
    at: &'a Address,
    quantity: Quantity,
    start: Option<NaiveDate>,
    earliest: NaiveDate,
    as_of: NaiveDate,
) -> Vec<&'a ReadingRow> {
    site.readings_of(at, quantity)
        .filter(|row| row.day > earliest && row.day <= as_of)
        .filter(|row| start.is_none_or(|start| row.day > start || (row.day == start && row.after)))
        .collect()
}

/// The current above which a motor is overloaded.
fn current_limit(fleet: &Fleet, site: &Site, pump: &Pump, quantity: Drifting) -> Option<f64> {
    let (_, model) = fleet.models_at(site, pump).pop()?;
    let currents = model?.current;
    let current = match quantity {
        Drifting::CurrentLow => currents.low,
        _ => currents.run.or(currents.high),
    };
    current.map(|current| current.0.get::<ampere>() * OVERLOADED)
}

/// The drift of readings in order of day. `None` of too few.
fn trend(
    site: &Site,
    at: &Address,
    quantity: Drifting,
    rows: &[&ReadingRow],
    value: impl Fn(&ReadingRow) -> f64,
    limit: Option<f64>,
) -> Option<MeasuredTrend> {
    let (first, last) = (rows.first()?, rows.last()?);
    let mut points: Vec<(f64, f64)> = Vec::new();
    let mut index = 0;
    while let Some(row) = rows.get(index) {
        let week = rows[index..].iter().take_while(|r| days_between(row.day, r.day) < TOGETHER).count();
        let of_week = &rows[index..index + week];
        let mean = |of: &dyn Fn(&ReadingRow) -> f64| of_week.iter().map(|r| of(r)).sum::<f64>() / week as f64;
        points.push((mean(&|r| days_between(first.day, r.day) as f64), mean(&|r| value(r))));
        index += week;
    }
    if points.len() < LEAST_READINGS {
        return None;
    }
    let readings: Vec<f64> = points.iter().map(|p| p.1).collect();
    let (test, line) = (rank_test(&readings)?, slope(&points, 0.8)?);
    let clear = test.p_value < CLEAR;
    // The line turns about its middle: a steeper one crosses sooner.
    let crossing = |slope: f64| {
        let days = line.centre + (limit? - line.level) / slope;
        // All limits here are highest values: only what rises crosses one.
        (slope > 1e-12 && (-FARTHEST..FARTHEST).contains(&days)).then(|| plus_days(first.day, days.ceil() as i64))
    };
    let (low, high) = line.range.unwrap_or((line.slope, line.slope));
    let (gentle, steep) = if line.slope >= 0.0 { (low, high) } else { (high, low) };
    let crosses = if clear { crossing(line.slope) } else { None };
    Some(MeasuredTrend {
        at: at.clone(),
        quantity,
        from: first.day,
        to: last.day,
        readings: points.len(),
        slope: line.slope * 30.0,
        range: line.range.map(|(low, high)| (low * 30.0, high * 30.0)),
        p_value: test.p_value,
        levels: (middle(&readings[..3]), middle(&readings[readings.len() - 3..])),
        middle: (line.centre, line.level),
        limit,
        crosses,
        crosses_low: crosses.and_then(|day| crossing(steep).map(|c| c.min(day))),
        crosses_high: crosses.and_then(|day| crossing(gentle).map(|c| c.max(day))),
        source: last.source(site, at),
    })
}

/// The middle one of three.
fn middle(readings: &[f64]) -> f64 {
    let mut sorted = readings.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[sorted.len() / 2]
}

#[cfg(test)]
mod tests;
