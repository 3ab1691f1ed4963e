//! `sums.csv`: what the documents add up or round from other tables, so that every number printed stands in a table.
//!
//! A row is a number: whose it is, what it is, and the value unrounded. Nothing is computed here that a document does not
//! print.

use rust_decimal::prelude::ToPrimitive;

use super::{Cell, Table, TableError, table};
use crate::calendar::Month;
use crate::fleet_figures::FleetFigures;
use crate::quantities::forecast_check::judged::{apart, hours_held};
use crate::quantities::run_hours::MonthHours;
use crate::schedule::due_by_month::due_by_month;

struct Row {
    scope: &'static str,
    id: String,
    what: String,
    value: Option<f64>,
}

/// Hours, energy and its cost of some months.
#[derive(Default, Clone, Copy)]
struct Sum {
    hours: f64,
    energy: Option<f64>,
    cost: Option<f64>,
}

impl Sum {
    fn of<'a>(months: impl Iterator<Item = &'a MonthHours>) -> Self {
        let start = Self { hours: 0.0, energy: Some(0.0), cost: Some(0.0) };
        months.fold(start, |sum, row| Self {
            hours: sum.hours + row.hours.unwrap_or(0.0),
            energy: sum.energy.zip(row.energy_kwh).map(|(a, b)| a + b),
            cost: sum.cost.zip(row.energy_cost).map(|(a, b)| a + b),
        })
    }

    /// Of several: what is not known of one is left out of the sum.
    fn add(&mut self, other: Self) {
        self.hours += other.hours;
        self.energy = Some(self.energy.unwrap_or(0.0) + other.energy.unwrap_or(0.0));
        self.cost = Some(self.cost.unwrap_or(0.0) + other.cost.unwrap_or(0.0));
    }

    fn rows(self, scope: &'static str, id: &str, when: &str) -> [Row; 3] {
        let row =
            |what: &str, value: Option<f64>| Row { scope, id: id.to_owned(), what: format!("{what}_{when}"), value };
        [row("hours", Some(self.hours)), row("energy_kwh", self.energy), row("energy_cost", self.cost)]
    }
}

pub(super) fn sums(figures: &FleetFigures) -> Result<Table, TableError> {
    let mut rows = Vec::new();
    let month = figures.month;
    let spans: [(&str, Month, Month); 3] = [
        ("month", month, month),
        ("12_months", month.plus(-11), month),
        ("12_months_before", month.plus(-23), month.plus(-12)),
    ];
    let mut fleet = [Sum::default(); 3];
    for site in &figures.sites {
        let id = site.site.id.as_str();
        let mut all = [Sum::default(); 3];
        for pump in site.spas.iter().flat_map(|spa| &spa.pumps) {
            for curve in pump.hours.iter().flat_map(|h| &h.curves) {
                let months = || pump.hours.iter().flat_map(|h| &h.months).filter(|m| m.speed == curve.speed);
                let pump_id = format!("{id}/{} {}", pump.at, curve.speed.word());
                for (index, (when, from, to)) in spans.iter().enumerate() {
                    let sum = Sum::of(months().filter(|m| m.month >= *from && m.month <= *to));
                    all[index].add(sum);
                    if index == 1 {
                        rows.extend(sum.rows("speed", &pump_id, when));
                    }
                    if index == 0
                        && let Some(energy) = sum.energy.filter(|_| sum.hours > 0.0)
                    {
                        let value = Some(energy / sum.hours * 1000.0);
                        rows.push(Row { scope: "speed", id: pump_id.clone(), what: "power_w_month".to_owned(), value });
                    }
                }
            }
        }
        for (index, (when, ..)) in spans.iter().enumerate() {
            fleet[index].add(all[index]);
            if index < 2 {
                rows.extend(all[index].rows("site", id, when));
            }
        }
        for line in &site.year.lines {
            rows.push(Row {
                scope: "site",
                id: id.to_owned(),
                what: format!("planned_cost {}", line.what),
                value: line.amount.and_then(|amount| amount.to_f64()),
            });
        }
        let total = site.year.lines.iter().any(|line| line.amount.is_some()).then_some(site.year.total);
        rows.push(Row {
            scope: "site",
            id: id.to_owned(),
            what: "planned_cost".to_owned(),
            value: total.and_then(|total| total.to_f64()),
        });
        if let Some(year) = figures.costs.twelve_months.get(&site.site.id).map(|year| year.range) {
            for (what, value) in [("mean", year.mean), ("low", year.low), ("high", year.high), ("within", year.within)]
            {
                let what = format!("expected_cost_{what}");
                rows.push(Row { scope: "site", id: id.to_owned(), what, value: Some(value) });
            }
        }
    }
    for site in &figures.sites {
        let held = hours_held(&site.forecast_checks.iter());
        for (what, value) in [("hours_ranges_looked_at", held.of), ("hours_ranges_held", held.inside)] {
            if held.is_enough() {
                let (id, value) = (site.site.id.to_string(), Some(value as f64));
                rows.push(Row { scope: "site", id, what: what.to_owned(), value });
            }
        }
    }
    let of_fleet = |what: String, value: Option<f64>| Row { scope: "fleet", id: "all".to_owned(), what, value };
    for (index, (when, ..)) in spans.iter().enumerate() {
        rows.extend(fleet[index].rows("fleet", "all", when));
    }
    for (when, from, to) in &spans[1..] {
        let Some(done) = crate::costs::spent::months(figures.fleet, &figures.sites, *from, *to) else { continue };
        for (what, value) in [
            ("visits_cost", done.work + done.parts),
            ("visits_cost_work", done.work),
            ("visits_cost_parts", done.parts),
            ("visits_cost_callouts", done.callouts),
        ] {
            rows.push(of_fleet(format!("{what}_{when}"), Some(value)));
        }
    }
    let mut planned: std::collections::BTreeMap<&str, rust_decimal::Decimal> = std::collections::BTreeMap::new();
    for line in figures.sites.iter().flat_map(|site| &site.year.lines) {
        if let Some(amount) = line.amount {
            *planned.entry(&line.what).or_default() += amount;
        }
    }
    let total: rust_decimal::Decimal = figures.sites.iter().map(|site| site.year.total).sum();
    rows.extend(planned.iter().map(|(what, amount)| of_fleet(format!("planned_cost {what}"), amount.to_f64())));
    rows.push(of_fleet("planned_cost".to_owned(), total.to_f64()));
    if let Some(all) = figures.costs.all_sites {
        for (what, value) in [("mean", all.mean), ("low", all.low), ("high", all.high), ("within", all.within)] {
            rows.push(of_fleet(format!("expected_cost_{what}"), Some(value)));
        }
    }
    let mut horizons: std::collections::BTreeMap<u32, (f64, f64)> = std::collections::BTreeMap::new();
    let of_pumps = || figures.sites.iter().flat_map(|site| &site.forecast_checks);
    let once = |months: u32| apart(of_pumps().filter(|c| c.horizon_months == months).map(|c| c.made_on), months);
    let ahead: std::collections::BTreeSet<u32> = of_pumps().map(|check| check.horizon_months).collect();
    let once: std::collections::BTreeMap<u32, _> = ahead.into_iter().map(|months| (months, once(months))).collect();
    // Forecasts that overlap are not counted twice.
    for check in of_pumps().filter(|c| once.get(&c.horizon_months).is_some_and(|days| days.contains(&c.made_on))) {
        let sum = horizons.entry(check.horizon_months).or_default();
        *sum = (sum.0 + check.expected, sum.1 + check.observed);
    }
    for (months, (expected, observed)) in horizons {
        rows.push(of_fleet(format!("hours_expected_{months}_months_ahead"), Some(expected)));
        rows.push(of_fleet(format!("hours_observed_{months}_months_ahead"), Some(observed)));
    }
    for (what, total) in figures.checks.judged.iter().filter_map(|one| Some((one.what.words(), one.total?))) {
        for (end, value) in
            [("expected", total.expected), ("low", total.low), ("high", total.high), ("observed", total.observed)]
        {
            rows.push(of_fleet(format!("past {what} {end} in {} months", total.months), Some(value)));
        }
    }
    let due = due_by_month(figures.sites.iter().flat_map(|site| &site.parts), figures.as_of);
    rows.push(of_fleet("parts_past_limit".to_owned(), Some(due.past as f64)));
    for row in &due.months {
        for (what, parts) in [("parts_due", row.parts), ("parts_due_low", row.low), ("parts_due_high", row.high)] {
            rows.push(of_fleet(format!("{what} {}", row.month), Some(parts as f64)));
        }
    }
    for contract in &figures.costs.contracts {
        let (about, within) = contract.next_price_about();
        for (what, value) in [("next_price_about", about), ("next_price_within", within)] {
            let id = contract.customer.to_string();
            rows.push(Row { scope: "customer", id, what: what.to_owned(), value: Some(value) });
        }
    }
    table(
        "sums",
        &rows,
        &[
            ("scope", |r| Cell::text(r.scope)),
            ("id", |r| Cell::text(&r.id)),
            ("what", |r| Cell::text(&r.what)),
            ("value", |r| Cell::rounded(r.value, 4)),
        ],
    )
}
