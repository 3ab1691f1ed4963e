//! How fouled is each filter, and when will it have to be cleaned? From the gauge at its inlet.
//!
//! Only the rise above clean is the filter's. Clean is what the gauge showed after the last clean,
//! else what the record states.

use chrono::NaiveDate;
use uom::si::pressure::bar;

use crate::address::Address;
use crate::basis::Source;
use crate::calendar::{Month, days_between, plus_days};
use crate::records::log::Quantity;
use crate::records::{Filter, Fleet, Site};

/// A filter at the as-of day.
#[derive(Debug, Clone)]
pub struct FilterState {
    /// The gauge at the last reading, bar.
    pub pressure: Option<f64>,
    /// The day of that reading.
    pub read_on: Option<NaiveDate>,
    /// The gauge when clean, bar.
    pub clean_pressure: Option<f64>,
    /// The last clean or renewal.
    pub last_clean: Option<NaiveDate>,
    /// How fast the pressure rises, bar a day.
    pub rise_per_day: Option<f64>,
    /// The rise at which it is to be cleaned, bar.
    pub rise_limit: Option<f64>,
    /// The day it reaches that limit, with the ends of the range.
    pub clean_by: Option<(NaiveDate, NaiveDate, NaiveDate)>,
    /// Rises of the last cycles between cleans, bar a day, the last first.
    pub past_rises: Vec<f64>,
    /// The records it rests on.
    pub sources: Vec<Source>,
}

/// The days a filter was cleaned or its cartridge renewed, in order.
pub fn cleans(site: &Site, at: &Address) -> Vec<NaiveDate> {
    let mut days: Vec<NaiveDate> = site
        .entries(at)
        .filter(|(_, _, entry)| {
            entry.done.iter().any(|task| task.as_str() == "filter_clean") || !entry.renewed.0.is_empty()
        })
        .map(|(_, visit, _)| visit.date.0)
        .collect();
    days.dedup();
    days
}

/// The gauge when clean, as known at the end of a day, bar.
pub fn clean_pressure(site: &Site, filter: &Filter, day: NaiveDate) -> Option<f64> {
    let cleans = cleans(site, &filter.at);
    let after = site
        .readings_of(&filter.at, Quantity::Pressure)
        .filter(|row| row.after && row.day <= day && cleans.contains(&row.day))
        .last();
    after.map(|row| row.value).or_else(|| filter.clean_pressure.map(|p| p.0.get::<bar>()))
}

/// The rise above clean at a day's reading, bar: before the work of the day, or after it.
pub fn rise_on(site: &Site, filter: &Filter, day: NaiveDate, after: bool) -> Option<f64> {
    let known = if after { day } else { plus_days(day, -1) };
    let clean = clean_pressure(site, filter, known)?;
    let row = site
        .readings_of(&filter.at, Quantity::Pressure)
        .filter(|row| row.day < day || (row.day == day && row.after <= after))
        .last()?;
    // A clean since the reading leaves nothing of the rise.
    let cleaned = cleans(site, &filter.at).into_iter().any(|c| c <= known && c > row.day);
    Some(if cleaned { 0.0 } else { (row.value - clean).max(0.0) })
}

/// The mean rise above clean in a month, from its readings, else the last one before it; bar.
pub fn mean_rise(site: &Site, filter: &Filter, month: Month) -> Option<f64> {
    let rows: Vec<f64> = site
        .readings_of(&filter.at, Quantity::Pressure)
        .filter(|row| Month::of(row.day) == month)
        .filter_map(|row| rise_on(site, filter, row.day, row.after))
        .collect();
    if rows.is_empty() {
        return rise_on(site, filter, month.last(), true);
    }
    Some(rows.iter().sum::<f64>() / rows.len() as f64)
}

/// The filter at the as-of day.
pub fn state(fleet: &Fleet, site: &Site, filter: &Filter, as_of: NaiveDate) -> FilterState {
    let readings: Vec<_> = site.readings_of(&filter.at, Quantity::Pressure).collect();
    let cleans = cleans(site, &filter.at);
    let last = readings.last();
    let clean = clean_pressure(site, filter, as_of);
    let limit = fleet
        .book
        .tasks
        .iter()
        .filter(|(_, task)| task.fits.as_str() == "filter")
        .find_map(|(_, task)| task.or_pressure_rise)
        .map(|p| p.0.get::<bar>());
    let mut state = FilterState {
        pressure: last.map(|row| row.value),
        read_on: last.map(|row| row.day),
        clean_pressure: clean,
        last_clean: cleans.last().copied(),
        rise_per_day: None,
        rise_limit: limit,
        clean_by: None,
        past_rises: Vec::new(),
        sources: last.map(|row| row.source()).into_iter().collect(),
    };
    let mut rises = Vec::new();
    for (index, clean_day) in cleans.iter().enumerate().rev() {
        let until = cleans.get(index + 1).copied().unwrap_or(as_of);
        let start = readings.iter().rfind(|r| r.day == *clean_day && r.after);
        let end = readings.iter().rfind(|r| r.day > *clean_day && (r.day < until || (r.day == until && !r.after)));
        if let (Some(start), Some(end)) = (start, end) {
            let days = days_between(start.day, end.day);
            if days >= LEAST_DAYS {
                rises.push((index + 1 == cleans.len(), (end.value - start.value) / days as f64));
            }
        }
        if rises.len() == CYCLES {
            break;
        }
    }
    state.past_rises = rises.iter().map(|(_, rise)| *rise).collect();
    let typical = median(&state.past_rises);
    state.rise_per_day = rises.first().filter(|(current, _)| *current).map(|(_, rise)| *rise).or(typical);
    if let (Some(rise), Some(limit), Some(clean), Some(pressure), Some(read_on)) =
        (state.rise_per_day, limit, clean, state.pressure, state.read_on)
    {
        // Since the last clean, or since the last reading after it.
        let (from, risen) = match state.last_clean {
            Some(clean_day) if clean_day >= read_on => {
                (clean_day, 0.0f64.max(if last.is_some_and(|r| r.after) { pressure - clean } else { 0.0 }))
            }
            _ => (read_on, pressure - clean),
        };
        let day_at = |rate: f64| {
            let days = if risen >= limit { 0.0 } else { (limit - risen) / rate };
            (rate > 1e-6 && days < 3650.0).then(|| plus_days(from, days.round() as i64))
        };
        let fastest = state.past_rises.iter().copied().fold(rise, f64::max);
        let slowest = state.past_rises.iter().copied().fold(rise, f64::min);
        if let Some(expected) = day_at(rise) {
            let early = day_at(fastest * 1.1).unwrap_or(expected);
            let late = day_at(slowest * 0.9).unwrap_or_else(|| plus_days(expected, 365));
            state.clean_by = Some((expected, early.min(expected), late.max(expected)));
        }
    }
    state
}

/// Days without which a rise says nothing.
const LEAST_DAYS: i64 = 4;
/// Cycles between cleans that are looked at.
const CYCLES: usize = 4;

fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    match sorted.len() {
        0 => None,
        n if n % 2 == 1 => Some(sorted[n / 2]),
        n => Some(f64::midpoint(sorted[n / 2 - 1], sorted[n / 2])),
    }
}
