//! Stage 2: what can be computed of each pump, spa and part. Plain structs, one question a file; no
//! tables and no print.

pub mod failures;
pub mod filters;
pub mod hours_forecast;
pub mod part_life_model;
pub mod part_lives;
pub mod program;
pub mod run_hours;
pub mod water_tests;
pub mod water_turnover;

use chrono::NaiveDate;

use crate::address::Address;
use crate::calendar::Month;
use crate::records::{Fleet, Site};

/// What was computed of a pump.
#[derive(Debug, Clone)]
pub struct PumpFigures {
    /// Its address.
    pub at: Address,
    /// What it has run; `None` if nothing says when it began.
    pub hours: Option<run_hours::RunHours>,
    /// What it will run; `None` = not known.
    pub forecast: Option<hours_forecast::Forecast>,
    /// How often it failed.
    pub failures: failures::Failures,
}

/// What was computed of a filter.
#[derive(Debug, Clone)]
pub struct FilterFigures {
    /// Its address.
    pub at: Address,
    /// How fouled it is.
    pub state: filters::FilterState,
}

/// What was computed of a spa.
#[derive(Debug, Clone)]
pub struct SpaFigures {
    /// Its address.
    pub at: Address,
    /// What its water gets.
    pub water: water_turnover::Water,
    /// Its filters.
    pub filters: Vec<FilterFigures>,
    /// The month's tests.
    pub tests: Vec<water_tests::WaterTest>,
    /// Its pumps.
    pub pumps: Vec<PumpFigures>,
}

/// Computes all of a site's figures up to the as-of day.
pub fn site_figures(fleet: &Fleet, site: &Site, as_of: NaiveDate) -> Vec<SpaFigures> {
    site.spas
        .iter()
        .map(|spa| {
            let hours: Vec<_> =
                spa.pumps.iter().map(|pump| run_hours::run_hours(fleet, site, spa, pump, as_of)).collect();
            let water = water_turnover::water(fleet, site, spa, &hours, as_of);
            let filters = spa
                .filters
                .iter()
                .map(|filter| FilterFigures {
                    at: filter.at.clone(),
                    state: filters::state(fleet, site, filter, as_of),
                })
                .collect();
            let pumps = spa
                .pumps
                .iter()
                .zip(hours)
                .map(|(pump, hours)| PumpFigures {
                    at: pump.at.clone(),
                    forecast: hours.as_ref().and_then(|h| hours_forecast::forecast(site, spa, pump, h, as_of)),
                    failures: failures::failures(site, pump, hours.as_ref(), as_of),
                    hours,
                })
                .collect();
            let tests = water_tests::tests(fleet, site, spa, Month::of(as_of));
            SpaFigures { at: spa.at.clone(), water, filters, tests, pumps }
        })
        .collect()
}
