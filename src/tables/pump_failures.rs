//! `pump_failures.csv`: how often pumps failed and how often they are expected to, pump by pump and put
//! together by model, site and fleet.

use std::collections::BTreeMap;

use super::{Cell, Column, Table, TableError, table};
use crate::address::Address;
use crate::quantities::expected_failures::{ExpectedFailures, Tally};
use crate::quantities::failures::{Failures, LEAST_FAILURES};
use crate::quantities::part_life_model::FleetLives;
use crate::records::Site;
use crate::site::SiteFigures;

struct Row {
    scope: &'static str,
    id: String,
    failures: i64,
    exposure: Option<f64>,
    growth: Option<f64>,
    p_worsening: Option<f64>,
    verdict: &'static str,
    expected: Option<ExpectedFailures>,
}

const COLUMNS: &[Column<Row>] = &[
    ("scope", |r| Cell::text(r.scope)),
    ("id", |r| Cell::text(&r.id)),
    ("clock", |_| Cell::text("hours")),
    ("failures", |r| Cell::Count(Some(r.failures))),
    ("exposure", |r| Cell::rounded(r.exposure, 2)),
    ("rate_per_1000", |r| Cell::rounded(r.exposure.filter(|e| *e > 0.0).map(|e| r.failures as f64 / e * 1000.0), 6)),
    ("growth", |r| Cell::rounded(r.growth, 4)),
    ("growth_low", |_| Cell::Number(None)),
    ("growth_high", |_| Cell::Number(None)),
    ("p_worsening", |r| Cell::rounded(r.p_worsening, 6)),
    ("verdict", |r| Cell::text(r.verdict)),
    ("expected_12mo", |r| Cell::rounded(r.expected.map(|e| e.expected), 4)),
    ("expected_low", |r| Cell::rounded(r.expected.map(|e| e.low), 0)),
    ("expected_high", |r| Cell::rounded(r.expected.map(|e| e.high), 0)),
];

/// Failures, exposure and what is to come, added up.
#[derive(Default)]
struct Sum {
    failures: i64,
    exposure: Option<f64>,
    tally: Option<Tally>,
}

pub(super) fn pump_failures(sites: &[SiteFigures], lives: &FleetLives) -> Result<Table, TableError> {
    let mut rows = Vec::new();
    let mut sums: [BTreeMap<String, Sum>; 3] = Default::default();
    for (site, pump) in super::pumps(sites) {
        let outlook =
            site.pumps_to_come.iter().find(|(at, _)| *at == pump.at).and_then(|(_, outlook)| outlook.as_ref());
        let row = of_pump(format!("{}/{}", site.site.id, pump.at), &pump.failures, outlook.map(|o| o.failures));
        let keys = [model_of(site.site, &pump.at), site.site.id.to_string(), "all".to_owned()];
        for (key, sums) in keys.into_iter().zip(&mut sums).filter(|(key, _)| !key.is_empty()) {
            let sum = sums.entry(key).or_default();
            sum.failures += row.failures;
            sum.exposure = match (sum.exposure, row.exposure) {
                (Some(one), Some(other)) => Some(one + other),
                (one, other) => one.or(other),
            };
            if let Some(outlook) = outlook {
                sum.tally.get_or_insert_default().add(&outlook.tally);
            }
        }
        rows.push(row);
    }
    for (scope, sums) in ["model", "site", "fleet"].into_iter().zip(sums) {
        rows.extend(sums.into_iter().map(|(id, sum)| Row {
            scope,
            id,
            failures: sum.failures,
            exposure: sum.exposure,
            growth: None,
            p_worsening: None,
            verdict: if sum.failures < LEAST_FAILURES as i64 { "too few failures" } else { "" },
            expected: sum.tally.map(|tally| tally.expected(lives)),
        }));
    }
    table("pump_failures", &rows, COLUMNS)
}

fn of_pump(id: String, failures: &Failures, expected: Option<ExpectedFailures>) -> Row {
    let tested = failures.growth.is_some() || failures.incidents.len() < LEAST_FAILURES;
    Row {
        scope: "pump",
        id,
        failures: failures.incidents.len() as i64,
        exposure: failures.exposure_hours,
        growth: failures.growth,
        p_worsening: failures.p_worsening,
        verdict: if tested { failures.trend.words() } else { "" },
        expected,
    }
}

fn model_of(site: &Site, at: &Address) -> String {
    site.spas
        .iter()
        .flat_map(|s| &s.pumps)
        .find(|p| p.at == *at)
        .and_then(|pump| crate::quantities::run_hours::model_now(site, pump))
        .unwrap_or_default()
}
