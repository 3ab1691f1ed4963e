//! How good were the forecasts of hours? For the last quarter ends the forecast is made again from
//! what was dated before, and held against what the counters then showed.
//!
//! Only hours bracketed by readings count as observed. Bookings carry no date of their making, so
//! none that begins after the quarter's end is used: what a forecast made today knows of the coming
//! nights, these did not know, and they are the wider for it.

use std::sync::Arc;

use chrono::NaiveDate;

use crate::address::Address;
use crate::calendar::{Month, days_between, plus_days};
use crate::quantities::SpaFigures;
use crate::quantities::{hours_forecast, run_hours};
use crate::records::bookings::Stays;
use crate::records::{Fleet, Site, Spa};

/// A past forecast of a pump's hours against what happened.
#[derive(Debug, Clone)]
pub struct ForecastCheck {
    /// The quarter end up to which records were used.
    pub made_on: NaiveDate,
    /// How many months it looks ahead.
    pub horizon_months: u32,
    /// The pump.
    pub at: Address,
    /// Hours expected.
    pub expected: f64,
    /// The low end of the central 80 %.
    pub low: f64,
    /// The high end.
    pub high: f64,
    /// Hours that the counter showed.
    pub observed: f64,
}

impl ForecastCheck {
    /// Whether what happened lies within the range.
    pub fn inside(&self) -> bool {
        (self.low..=self.high).contains(&self.observed)
    }
}

/// Days before those a forecast learns from that are looked at too, so that a reading begins them.
const MARGIN_DAYS: i64 = 100;
/// How many quarter ends are looked at.
const QUARTERS: i32 = 8;
/// The months that the forecasts look ahead.
const HORIZONS: [u32; 2] = [3, 12];
/// The share of days between readings from which hours count as observed.
const LEAST_METERED: f64 = 0.9;

/// Checks the forecasts of a site's pumps; `figures` are those of the as-of day.
pub fn checks(fleet: &Fleet, site: &Site, figures: &[SpaFigures], as_of: NaiveDate) -> Vec<ForecastCheck> {
    let mut all = Vec::new();
    for (spa, figures) in site.spas.iter().zip(figures) {
        let metered: Vec<_> = spa
            .pumps
            .iter()
            .zip(&figures.pumps)
            .filter_map(|(pump, figures)| Some((pump, figures.hours.as_ref()?)))
            .filter(|(_, hours)| hours.last_reading().is_some())
            .collect();
        if metered.is_empty() {
            continue;
        }
        for made_on in quarter_ends(as_of) {
            let spa = known_on(spa, made_on);
            for (pump, hours) in metered.iter().filter(|(_, hours)| hours.start < made_on) {
                let mut observed = HORIZONS.iter().filter_map(|months| {
                    let until = Month::of(made_on).plus(*months as i32).last();
                    Some((*months, observed(hours, made_on, until.min(as_of)).filter(|_| until <= as_of)?))
                });
                let Some(first) = observed.next() else { continue };
                let mut pump = (*pump).clone();
                pump.programs.retain(|p| p.from.is_none_or(|from| from.0 <= made_on));
                let since = plus_days(made_on, -hours_forecast::LEARNED_FROM_DAYS - MARGIN_DAYS);
                let Some(past) = run_hours::lately(fleet, site, &spa, &pump, made_on, since, &[]) else { continue };
                let Some(forecast) = hours_forecast::forecast(site, &spa, &pump, &past, made_on) else { continue };
                for (horizon_months, observed) in std::iter::once(first).chain(observed) {
                    let Some((expected, low, high)) = forecast.sum_of_months(horizon_months as usize) else { continue };
                    all.push(ForecastCheck {
                        made_on,
                        horizon_months,
                        at: pump.at.clone(),
                        expected,
                        low,
                        high,
                        observed,
                    });
                }
            }
        }
    }
    all.sort_by(|a, b| (&a.at, a.made_on, a.horizon_months).cmp(&(&b.at, b.made_on, b.horizon_months)));
    all
}

/// The last quarter ends that a shortest forecast can be held against, in order.
fn quarter_ends(as_of: NaiveDate) -> impl Iterator<Item = NaiveDate> {
    let whole = if Month::of(as_of).last() == as_of { Month::of(as_of) } else { Month::of(as_of).plus(-1) };
    let last = whole.plus(-3);
    let last = last.plus(-((last.number() % 3) as i32));
    (0..QUARTERS).rev().map(move |quarter| last.plus(-3 * quarter).last())
}

/// A spa with the bookings that had begun by a day.
fn known_on(spa: &Spa, day: NaiveDate) -> Spa {
    let mut known = spa.clone();
    known.stays = spa
        .stays
        .as_ref()
        .map(|all| Arc::new(Stays { stays: all.stays.iter().copied().filter(|(from, _)| *from <= day).collect() }));
    known
}

/// Hours after a day up to another, if a counter brackets them; no unit is there for two.
fn observed(hours: &run_hours::RunHours, after: NaiveDate, until: NaiveDate) -> Option<f64> {
    let days = days_between(after, until) as f64;
    let least = hours.curves.iter().map(|curve| curve.metered_days_between(after, until) as f64).reduce(f64::min)?;
    if hours.end < until || least < LEAST_METERED * days {
        return None;
    }
    hours.hours_between(after, until)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::parse_date;
    use crate::demo::{self, Plan};
    use crate::output::NewFolder;
    use crate::records::load::Shared;

    #[test]
    fn quarter_ends_have_three_months_behind_them() {
        let all: Vec<String> = quarter_ends(parse_date("2026-10-31").unwrap()).map(|day| day.to_string()).collect();
        assert_eq!(all.len(), 8);
        assert_eq!((all[0].as_str(), all[7].as_str()), ("2024-09-30", "2026-06-30"));
        let last = quarter_ends(parse_date("2026-09-30").unwrap()).last().unwrap();
        assert_eq!(last.to_string(), "2026-06-30");
        let last = quarter_ends(parse_date("2026-09-29").unwrap()).last().unwrap();
        assert_eq!(last.to_string(), "2026-03-31");
    }

    /// An invented fleet, whose truth is known: a range promises to hold four of five. Measured on `tubwright demo
    /// --sites 200 --years 4 --seed 5` before what is usual of guests' nights was taken as unsure: jets 78 % of 1545
    /// forecasts of twelve months and 75 % of 2472 of three; filtration 94 % and 92 % within 0.2 % of its hours, where
    /// the hour of a reading tells.
    #[test]
    fn ranges_hold_what_they_promise_on_an_invented_fleet() {
        let folder = tempfile::tempdir().unwrap();
        let tree = NewFolder::create(&folder.path().join("fleet")).unwrap();
        for file in demo::files(&Plan { sites: 24, years: 4, seed: 5, readings_per_day: 0.27 }) {
            tree.write(&file.path, file.text.as_bytes()).unwrap();
        }
        let shared = Shared::load(&folder.path().join("fleet")).unwrap();
        let as_of = parse_date("2026-10-31").unwrap();
        let mut all = Vec::new();
        for files in &shared.sites {
            let site = shared.read_site(files).unwrap().as_of(as_of);
            let figures = crate::quantities::spa_figures(&shared.fleet, &site, as_of);
            all.extend(checks(&shared.fleet, &site, &figures, as_of));
        }
        for (id, least, most, width) in [("jets-1", 0.68, 0.93, 0.20), ("filtration", 0.80, 1.0, 0.006)] {
            for horizon in HORIZONS {
                let mine: Vec<&ForecastCheck> =
                    all.iter().filter(|c| c.at.last() == id && c.horizon_months == horizon).collect();
                let held = mine.iter().filter(|c| c.inside()).count() as f64 / mine.len() as f64;
                assert!((least..=most).contains(&held), "{id}, {horizon} months: {held} of {}", mine.len());
                let wide = mine.iter().map(|c| (c.high - c.low) / 2.0 / c.expected).sum::<f64>() / mine.len() as f64;
                assert!(wide < width, "{id}, {horizon} months: {wide}");
            }
        }
    }
}
