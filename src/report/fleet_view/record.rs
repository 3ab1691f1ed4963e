//! How good the forecasts of run hours were: what they expected beside what happened, and how often their ranges held.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::{Given, Record, RecordRow, change};
use crate::address::{Address, Id};
use crate::basis::CENTRAL_80;
use crate::charts::RangesMade;
use crate::fleet_figures::FleetFigures;
use crate::quantities::forecast_check::What;
use crate::quantities::forecast_check::judged::apart;
use crate::report::site::in_view;
use crate::report::{calibration_words, format};

/// The share of ranges that ought to hold: they are the central 80 %.
pub const PROMISED: f64 = 0.8;

pub(super) fn record(given: &Given) -> Record {
    let all = checks(given);
    if all.is_empty() {
        return Record {
            nothing_to_say: Some(
                "No forecast can be held against what happened yet: that takes a log that is kept, and counters that are read, for at least two \
                 quarters."
                    .to_owned(),
            ),
            ..Record::default()
        };
    }
    let mut kinds: Vec<(What, u32)> = all.iter().map(|check| (check.what, check.months)).collect();
    kinds.sort_unstable();
    kinds.dedup();
    let of_each = given.figures.checks.judged.iter();
    Record {
        nothing_to_say: None,
        summary: of_each
            .filter_map(|one| calibration_words::sentence(one, |s, at| named(given, s, at)))
            .collect::<Vec<_>>()
            .join(" "),
        charts: given.charts.held.iter().map(|chart| in_view(chart, "Did the ranges of run hours hold?")).collect(),
        rows: kinds.into_iter().map(|(what, months)| row(what, months, &all)).collect(),
        note: format!(
            "Each forecast was made again from the records dated before it, with the bookings and programs known by then: run \
             hours pump by pump, failures and due parts for the fleet and for sites of which at least two were expected. A \
             program changed later explains hours it did not foresee. Renewals that were made are taken as planned; those \
             that a failure made necessary are not. Forecasts of 12 months overlap: what was expected and what happened is \
             counted once, in those that do not. Only hours that a counter shows count as what happened. Sites share guests \
             and weather, so that the forecasts are not independent; and {}. One by one they are in tables/forecast_check.csv.",
            calibration_words::FLATTERED
        ),
    }
}

/// The notice of poor forecasts for the first page.
pub(super) fn notice(given: &Given) -> Option<String> {
    calibration_words::notice(&given.figures.checks.judged, |site, at| named(given, site, at))
}

fn named(given: &Given, site: &Id, at: &Address) -> String {
    let found = given.figures.sites.iter().find(|figures| figures.site.id == *site);
    found.map_or_else(
        || format!("{site}/{at}"),
        |figures| format!("{}, {}", figures.site.name, super::within(figures, at.as_str())),
    )
}

/// A past forecast, of whatever.
struct Check {
    what: What,
    made_on: NaiveDate,
    months: u32,
    inside: bool,
    /// Expected and observed; nothing where it is the sum of others.
    values: Option<(f64, f64)>,
}

fn checks(given: &Given) -> Vec<Check> {
    let of_pumps = given.figures.sites.iter().flat_map(|site| &site.forecast_checks).map(|check| Check {
        what: What::Hours,
        made_on: check.made_on,
        months: check.horizon_months,
        inside: check.inside(),
        values: Some((check.expected, check.observed)),
    });
    let groups = given.figures.checks.groups.iter().filter(|check| check.what != What::Hours);
    let of_groups = groups.map(|check| Check {
        what: check.what,
        made_on: check.made_on,
        months: check.horizon_months,
        inside: check.inside(),
        values: check.site.is_none().then_some((check.expected, check.observed)),
    });
    of_pumps.chain(of_groups).collect()
}

/// The ranges by the day they were made, each with the central 80 % of its share (Wilson's score interval, 1927).
pub fn ranges_made(figures: &FleetFigures) -> Vec<RangesMade> {
    let mut days: BTreeMap<NaiveDate, (usize, usize)> = BTreeMap::new();
    for check in figures.sites.iter().flat_map(|site| &site.forecast_checks) {
        let day = days.entry(check.made_on).or_default();
        day.0 += 1;
        day.1 += usize::from(check.inside());
    }
    days.into_iter()
        .map(|(on, (forecasts, held))| {
            let (low, high) = wilson(held, forecasts);
            RangesMade { on, forecasts, share: held as f64 / forecasts as f64, low, high }
        })
        .collect()
}

fn wilson(held: usize, of: usize) -> (f64, f64) {
    let (n, z) = (of as f64, CENTRAL_80);
    let share = held as f64 / n;
    let middle = share + z * z / (2.0 * n);
    let half = z * (share * (1.0 - share) / n + z * z / (4.0 * n * n)).sqrt();
    let scale = 1.0 + z * z / n;
    (((middle - half) / scale).max(0.0), ((middle + half) / scale).min(1.0))
}

fn row(what: What, months: u32, checks: &[Check]) -> RecordRow {
    let of: Vec<_> = checks.iter().filter(|c| c.what == what && c.months == months).collect();
    let held = of.iter().filter(|c| c.inside).count();
    let once = apart(of.iter().map(|c| c.made_on), months);
    let counted = of.iter().filter(|c| once.contains(&c.made_on));
    let (expected, observed) = counted.filter_map(|c| c.values).fold((0.0, 0.0), |(a, b), (e, o)| (a + e, b + o));
    let decimals = usize::from(what != What::Hours);
    RecordRow {
        what: format!(
            "{}, {months} months ahead",
            match what {
                What::Hours => "Run hours",
                What::Failures => "Failures of pumps",
                What::DueParts => "Parts that reach their hours",
            }
        ),
        forecasts: of.len().to_string(),
        held: held.to_string(),
        share: percent(held as f64 / of.len().max(1) as f64),
        expected: format::number(expected, decimals),
        observed: format::number(observed, 0),
        difference: change(expected, observed),
    }
}

fn percent(share: f64) -> String {
    format!("{} %", format::number(share * 100.0, 0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_range_of_a_share_is_wilsons() {
        // Worked by hand for 8 of 10 at z = 1.2816: (0.8 + 0.08212 ± 1.2816 sqrt(0.016 + 0.004106)) / 1.16425.
        let (low, high) = wilson(8, 10);
        assert!((low - 0.6016).abs() < 1e-3 && (high - 0.9138).abs() < 1e-3, "{low} {high}");
        assert_eq!(wilson(0, 4).0, 0.0);
        assert!((wilson(4, 4).1 - 1.0).abs() < 1e-12);
    }
}
