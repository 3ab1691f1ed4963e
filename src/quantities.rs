//! Stage 2: what can be computed of each pump, spa and part. Plain structs, one question a file; no
//! tables and no print.

pub mod expected_failures;
pub mod failed_together;
pub mod failure_trends;
pub mod failures;
pub mod filters;
#[cfg(test)]
pub(crate) mod fleet_for_tests;
pub mod forecast_check;
pub mod hours_forecast;
pub mod hours_spread;
pub mod like_for_like;
pub mod measured_trends;
pub mod part_life_groups;
pub mod part_life_model;
pub mod part_lives;
pub mod program;
pub mod pump_differences;
pub mod robust_slope;
pub mod run_hours;
pub mod spa_loop;
pub mod water_balance;
pub mod water_change;
pub mod water_tests;
pub mod water_turnover;
pub mod ways_out;
pub mod worsening_pumps;

use std::time::{Duration, Instant};

use chrono::NaiveDate;
use uom::si::volume::liter;

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
    /// If short: what would bring it within its limits, the best first.
    pub ways_out: Vec<ways_out::WayOut>,
    /// When the water is to be changed by the rule book's rule; `None` = it has none for the use.
    pub water_change: Option<water_change::WaterChange>,
    /// Whether the water eats or scales; `None` = not all of its tests were made on one day.
    pub balance: Option<water_balance::WaterBalance>,
    /// The month's tests.
    pub tests: Vec<water_tests::WaterTest>,
    /// How often it was tested in the month against how often it should be; `None` = the rule book does not say.
    pub test_frequency: Option<water_tests::Frequency>,
    /// Its pumps.
    pub pumps: Vec<PumpFigures>,
    /// How long its water took to compute, for who wants to know where a run's time goes; no figure depends on it.
    pub water_took: Duration,
}

impl SpaFigures {
    /// A spa of which only the pumps are looked at.
    pub fn of_pumps(at: Address, pumps: Vec<PumpFigures>) -> Self {
        Self {
            at,
            water: water_turnover::Water {
                months: Vec::new(),
                missing: Vec::new(),
                findings: Vec::new(),
                model_error: None,
                flow_when_fouled: None,
                short_rise: None,
            },
            filters: Vec::new(),
            ways_out: Vec::new(),
            water_change: None,
            balance: None,
            tests: Vec::new(),
            test_frequency: None,
            pumps,
            water_took: Duration::ZERO,
        }
    }
}

/// Computes all of a site's figures up to the as-of day.
pub fn spa_figures(fleet: &Fleet, site: &Site, as_of: NaiveDate) -> Vec<SpaFigures> {
    site.spas
        .iter()
        .map(|spa| {
            let hours: Vec<_> =
                spa.pumps.iter().map(|pump| run_hours::run_hours(fleet, site, spa, pump, as_of)).collect();
            let begun = Instant::now();
            let histories = filters::histories(fleet, site, spa);
            let flows = water_turnover::Flows::of(fleet, site, spa, &hours, &histories);
            let limits = fleet.rule_book(site).and_then(|book| book.limits(site.r#use));
            let water = water_turnover::water(&flows, limits, as_of);
            let filters: Vec<FilterFigures> = spa
                .filters
                .iter()
                .zip(&histories)
                .map(|(filter, history)| {
                    let mut state = filters::state(fleet, site, filter, history);
                    let volume = spa
                        .volume
                        .map(|v| v.0.get::<liter>())
                        .filter(|_| state.clean_by.is_some() && !state.on_reopening);
                    state.turnover_then =
                        volume.and_then(|litres| Some(water.flow_when_fouled.as_ref()?.map(|flow| litres / flow)));
                    state.flow_then = water.flow_when_fouled.clone().filter(|_| state.turnover_then.is_some());
                    if let Some(rise) = water.short_rise {
                        state.short_at(site, rise);
                    }
                    FilterFigures { at: filter.at.clone(), state }
                })
                .collect();
            let ways_out = water.months.last().map_or(Vec::new(), |row| {
                let states: Vec<_> = filters.iter().map(|f| f.state.clone()).collect();
                ways_out::ways_out(&flows, &states, limits, row)
            });
            let water_change = water_change::water_change(limits, site, spa, as_of);
            let balance = water_balance::water_balance(site, spa, Month::of(as_of));
            let tests = water_tests::tests(fleet, site, spa, Month::of(as_of));
            let test_frequency = water_tests::frequency(limits, site, spa, &tests, as_of);
            drop(flows);
            let water_took = begun.elapsed();
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
            let at = spa.at.clone();
            SpaFigures { at, water, filters, ways_out, water_change, balance, tests, test_frequency, pumps, water_took }
        })
        .collect()
}
