//! `pump_failures.csv`: how often pumps failed, whether that grows, and how often they are expected to, pump
//! by pump and put together by model, site and fleet. `failure_costs.csv`: what failures cost most.

use std::collections::{BTreeMap, BTreeSet};

use super::{Cell, Column, Table, TableError, table};
use crate::address::Address;
use crate::costs::pareto::pareto;
use crate::fleet_figures::FleetFigures;
use crate::quantities::expected_failures::{ExpectedFailures, Tally};
use crate::quantities::failure_trends::{Scope, ScopeTrend};
use crate::quantities::part_life_model::FleetLives;
use crate::records::Site;
use crate::records::upkeep::Clock;
use crate::site::SiteFigures;
use crate::stats::growth::mtbf_range;

struct Row<'a> {
    scope: Scope,
    id: &'a str,
    trend: &'a ScopeTrend,
    expected: Option<ExpectedFailures>,
    /// Whether that comes of its own failures, or of a pump of it does.
    own: bool,
    /// The chance that a pump's failures go on coming closer together; only with that verdict.
    goes_on: Option<f64>,
}

impl Row<'_> {
    fn interval(&self) -> Option<(f64, f64)> {
        self.trend.test.and_then(|test| test.growth_interval(0.8))
    }

    fn per_thousand(&self, pick: fn((f64, f64, f64)) -> f64) -> Cell {
        Cell::rounded(self.trend.rate.map(|rate| pick(rate) * 1000.0), 6)
    }

    /// Hours or days between a pump's failures at the end, by the likeliest power law: low, middle, high.
    fn between_now(&self) -> Option<[f64; 3]> {
        let test = self.trend.test.filter(|_| self.scope == Scope::Pump)?;
        let now = self.trend.exposure? / (test.failures as f64 * test.growth());
        let (low, high) = mtbf_range(test.failures, 0.8)?;
        Some([low * now, now, high * now])
    }

    fn mean(&self) -> Option<(f64, Option<(f64, f64)>)> {
        self.trend.mean_failures.last().map(|step| (step.mean, step.interval(0.8)))
    }
}

pub(super) fn pump_failures(sites: &[SiteFigures], lives: &FleetLives) -> Result<Table, TableError> {
    let mut of_pumps: BTreeMap<String, ExpectedFailures> = BTreeMap::new();
    let mut groups: BTreeMap<(Scope, String), Tally> = BTreeMap::new();
    let mut own: BTreeSet<(Scope, String)> = BTreeSet::new();
    let mut goes_on: BTreeMap<String, f64> = BTreeMap::new();
    for site in sites {
        for (at, outlook) in &site.pumps_to_come {
            let Some(outlook) = outlook else { continue };
            of_pumps.insert(format!("{}/{at}", site.site.id), outlook.failures);
            let worsening = lives.worsening(&site.site.id, at);
            if let Some(worsening) = worsening {
                own.insert((Scope::Pump, format!("{}/{at}", site.site.id)));
                goes_on.insert(format!("{}/{at}", site.site.id), worsening.chance);
            }
            let keys = [
                (Scope::Model, model_of(site.site, at)),
                (Scope::Site, site.site.id.to_string()),
                (Scope::Fleet, "all".to_owned()),
            ];
            for key in keys {
                if worsening.is_some() {
                    own.insert((key.0, key.1.clone()));
                }
                groups.entry(key).or_default().add(&outlook.tally);
            }
        }
    }
    let expected = |scope: Scope, id: &str| match scope {
        Scope::Pump => of_pumps.get(id).copied(),
        _ => groups.get(&(scope, id.to_owned())).map(|tally| tally.expected(lives)),
    };
    let rows: Vec<Row> = lives
        .trends
        .all()
        .map(|(scope, id, trend)| Row {
            scope,
            id,
            trend,
            expected: expected(scope, id),
            own: own.contains(&(scope, id.to_owned())),
            goes_on: goes_on.get(id).copied().filter(|_| scope == Scope::Pump),
        })
        .collect();
    let columns: &[Column<Row>] = &[
        ("scope", |r| Cell::text(r.scope.word())),
        ("id", |r| Cell::text(r.id)),
        ("clock", |r| Cell::text(if r.trend.clock == Clock::Hours { "hours" } else { "days" })),
        ("failures", |r| Cell::Count(Some(r.trend.failures as i64))),
        ("exposure", |r| Cell::rounded(r.trend.exposure, 2)),
        ("rate_per_1000", |r| r.per_thousand(|rate| rate.0)),
        ("growth", |r| Cell::rounded(r.trend.test.map(|t| t.growth()), 4)),
        ("growth_low", |r| Cell::rounded(r.interval().map(|i| i.0), 4)),
        ("growth_high", |r| Cell::rounded(r.interval().map(|i| i.1), 4)),
        ("p_worsening", |r| Cell::rounded(r.trend.test.map(|t| t.p_worsening), 6)),
        ("verdict", |r| Cell::text(r.trend.trend.words())),
        ("expected_12mo", |r| Cell::rounded(r.expected.map(|e| e.expected), 4)),
        ("expected_low", |r| Cell::Count(r.expected.map(|e| e.low as i64))),
        ("expected_high", |r| Cell::Count(r.expected.map(|e| e.high as i64))),
        ("rate_low", |r| r.per_thousand(|rate| rate.1)),
        ("rate_high", |r| r.per_thousand(|rate| rate.2)),
        ("growth_unbiased", |r| Cell::rounded(r.trend.test.and_then(|t| t.unbiased_growth()), 4)),
        ("laplace", |r| Cell::rounded(r.trend.test.map(|t| t.laplace), 4)),
        ("power_law_fits", |r| Cell::text(r.trend.fits.map_or("", |fits| if fits { "yes" } else { "no" }))),
        ("power", |r| Cell::rounded(r.trend.power, 4)),
        ("mean_failures", |r| Cell::rounded(r.mean().map(|m| m.0), 4)),
        ("mean_failures_low", |r| Cell::rounded(r.mean().and_then(|m| Some(m.1?.0)), 4)),
        ("mean_failures_high", |r| Cell::rounded(r.mean().and_then(|m| Some(m.1?.1)), 4)),
        ("expected_of_its_like", |r| Cell::rounded(r.trend.beside.map(|b| b.expected), 4)),
        ("p_of_its_like", |r| Cell::rounded(r.trend.beside.map(|b| b.p_value), 6)),
        ("beside_its_like", |r| {
            Cell::text(match r.trend.beside {
                Some(beside) if beside.stands_out => "more than bad luck explains",
                Some(beside) if r.trend.failures as f64 > beside.expected => "bad luck explains it",
                _ => "",
            })
        }),
        ("between_failures_now", |r| Cell::rounded(r.between_now().map(|b| b[1]), 1)),
        ("between_failures_now_low", |r| Cell::rounded(r.between_now().map(|b| b[0]), 1)),
        ("between_failures_now_high", |r| Cell::rounded(r.between_now().map(|b| b[2]), 1)),
        ("because_of", |r| Cell::text(r.trend.because_of.join(" "))),
        ("expected_basis", |r| {
            Cell::text(match (r.expected, r.own) {
                (None, _) => "",
                (_, true) if r.scope == Scope::Pump => "lives of parts and its own failures, weighed",
                (_, true) => "lives of parts, own failures of pumps getting worse",
                _ => "lives of parts",
            })
        }),
        ("goes_on_getting_worse", |r| Cell::rounded(r.goes_on, 4)),
    ];
    table("pump_failures", &rows, columns)
}

fn model_of(site: &Site, at: &Address) -> String {
    site.spas
        .iter()
        .flat_map(|s| &s.pumps)
        .find(|p| p.at == *at)
        .and_then(|pump| crate::quantities::run_hours::model_now(site, pump))
        .unwrap_or_default()
}

/// A row a thing that failed, what cost most first; those whose cost is not known last.
pub(super) fn failure_costs(figures: &FleetFigures) -> Result<Table, TableError> {
    let rows = pareto(figures.fleet, &figures.sites, figures.lives, figures.as_of);
    table(
        "failure_costs",
        &rows,
        &[
            ("what", |r| Cell::text(&r.what)),
            ("failures", |r| Cell::Count(Some(r.failures as i64))),
            ("cost_each", |r| Cell::rounded(r.each, 2)),
            ("cost", |r| Cell::rounded(r.cost(), 2)),
            ("share", |r| Cell::rounded(r.share, 4)),
            ("share_summed", |r| Cell::rounded(r.summed, 4)),
        ],
    )
}
