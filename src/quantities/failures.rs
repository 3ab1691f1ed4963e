//! How often does each pump fail, and is it getting worse? Incidents from the log, the hours they
//! fell in, and the military-handbook test once there are five of them.
//!
//! One incident is one failure of the pump a day, however many parts. Fewer than five failures are
//! a count, never a trend.

use chrono::NaiveDate;
use statrs::distribution::{ChiSquared, ContinuousCDF};

use crate::basis::Source;
use crate::quantities::run_hours::RunHours;
use crate::records::log::{Because, Noticed};
use crate::records::{Pump, Site};

/// A failure of a pump.
#[derive(Debug, Clone)]
pub struct Incident {
    /// The day it happened or was found.
    pub day: NaiveDate,
    /// What failed: part names, or `pump`.
    pub what: Vec<String>,
    /// The record.
    pub source: Source,
}

/// What the failures of a pump say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trend {
    /// More and more often.
    Worsening,
    /// No more and no less often, as far as can be told.
    Steady,
    /// Less and less often.
    Improving,
    /// Fewer than five.
    TooFew,
}

impl Trend {
    /// The words in tables and print.
    pub fn words(self) -> &'static str {
        match self {
            Self::Worsening => "worsening",
            Self::Steady => "steady",
            Self::Improving => "improving",
            Self::TooFew => "too few failures",
        }
    }
}

/// The failures of a pump.
#[derive(Debug, Clone)]
pub struct Failures {
    /// In order.
    pub incidents: Vec<Incident>,
    /// From which day all failures are in the log.
    pub since: NaiveDate,
    /// Hours run since then; `None` = not known.
    pub exposure_hours: Option<f64>,
    /// The power-law exponent: above 1 the failures come closer together.
    pub growth: Option<f64>,
    /// One-sided chance of so late a set of failures, were they coming steadily.
    pub p_worsening: Option<f64>,
    /// The verdict.
    pub trend: Trend,
}

/// Failures without which nothing is said of a trend.
pub const LEAST_FAILURES: usize = 5;
/// One-sided level of the verdicts.
const LEVEL: f64 = 0.05;

/// Counts a pump's failures up to the as-of day.
pub fn failures(site: &Site, pump: &Pump, hours: Option<&RunHours>, as_of: NaiveDate) -> Failures {
    let since = site.records_start().unwrap_or(as_of);
    let since = hours.map_or(since, |h| since.max(h.start));
    let mut incidents: Vec<Incident> = Vec::new();
    for (index, visit, entry) in site.entries(&pump.at) {
        let mut what: Vec<String> = entry
            .renewed
            .0
            .iter()
            .filter(|(_, r)| r.because == Because::Failure)
            .map(|(part, _)| part.as_str().to_owned())
            .collect();
        let mut in_use =
            entry.renewed.0.iter().any(|(_, r)| r.because == Because::Failure && r.noticed == Noticed::InUse);
        if let Some(exchange) = entry.exchanged.as_ref().filter(|e| e.because == Because::Failure) {
            what.push("pump".to_owned());
            in_use |= exchange.noticed == Noticed::InUse;
        }
        if what.is_empty() {
            continue;
        }
        let day = visit.reported.filter(|_| in_use).map_or(visit.date.0, |reported| reported.0.min(visit.date.0));
        if day < since || day > as_of {
            continue;
        }
        match incidents.iter_mut().find(|i| i.day == day) {
            Some(incident) => incident.what.extend(what),
            None => incidents.push(Incident { day, what, source: site.entry_source(index, &pump.at, "renewed") }),
        }
    }
    incidents.sort_by_key(|i| i.day);
    let exposure_hours = hours.and_then(|h| h.hours_between(since, h.end));
    let mut result =
        Failures { incidents, since, exposure_hours, growth: None, p_worsening: None, trend: Trend::TooFew };
    if result.incidents.len() >= LEAST_FAILURES
        && let (Some(hours), Some(total)) = (hours, exposure_hours)
    {
        let times: Vec<f64> = result.incidents.iter().filter_map(|i| hours.hours_between(since, i.day)).collect();
        if let Some((growth, p_worsening)) = handbook_test(&times, total) {
            result.growth = Some(growth);
            result.p_worsening = Some(p_worsening);
            result.trend = if p_worsening < LEVEL {
                Trend::Worsening
            } else if p_worsening > 1.0 - LEVEL {
                Trend::Improving
            } else {
                Trend::Steady
            };
        }
    }
    result
}

/// The military-handbook test of a steady rate, for failures at `times` watched to `end`: the
/// power-law exponent r / Σ ln(end/t) and the one-sided chance of so small a χ² = 2 Σ ln(end/t) with
/// 2r degrees of freedom (NIST e-Handbook 8.2.3.4 and 8.4.5.2). `None` if a time is not inside.
pub fn handbook_test(times: &[f64], end: f64) -> Option<(f64, f64)> {
    if times.is_empty() || times.iter().any(|t| *t <= 0.0 || *t > end) {
        return None;
    }
    let sum: f64 = times.iter().map(|t| (end / t).ln()).sum();
    if sum <= 0.0 {
        return None;
    }
    let r = times.len() as f64;
    let distribution = ChiSquared::new(2.0 * r).ok()?;
    Some((r / sum, distribution.cdf(2.0 * sum)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST e-Handbook 8.4.5 data set (worked-example W-27): χ² 37.23 with 20 degrees of freedom,
    /// exponent 0.537, upper tail 0.011: improving.
    #[test]
    fn the_handbook_test_of_a_published_set() {
        let times = [5.0, 40.0, 43.0, 175.0, 389.0, 712.0, 747.0, 795.0, 1299.0, 1478.0];
        let (growth, p) = handbook_test(&times, 1500.0).unwrap();
        assert!((growth - 0.537).abs() < 0.0006, "{growth}");
        assert!((1.0 - p - 0.011).abs() < 0.0006, "{p}");
    }

    /// Worked example X-55 (computed with scipy): exponent 2.249, χ² 6.224 with 14 degrees of
    /// freedom, lower tail 0.039: worsening.
    #[test]
    fn failures_that_come_closer_together_are_worsening() {
        let times = [2100.0, 3900.0, 5200.0, 6100.0, 6700.0, 7150.0, 7500.0];
        let (growth, p) = handbook_test(&times, 8000.0).unwrap();
        assert!((growth - 2.249).abs() < 0.003, "{growth}");
        assert!((p - 0.039).abs() < 0.001, "{p}");
        assert!(handbook_test(&[0.0], 10.0).is_none());
        assert!(handbook_test(&[], 10.0).is_none());
    }
}
