//! What would bring a short spa within its limits? Each way with the figure it would reach and what it
//! costs, the cheapest first.
//!
//! It exists because "short" alone helps nobody. A pump is offered only like for like (power, speeds,
//! frame, ports, supply all stated and the same): another power changes the wiring and the flow through
//! the suction covers and is never a plain swap. A way whose figure cannot be computed is not offered.

use rust_decimal::Decimal;
use uom::si::area::square_meter;
use uom::si::time::minute;
use uom::si::volume::liter;

use crate::address::Address;
use crate::basis::{Basis, Figure};
use crate::calendar::Month;
use crate::limits::LimitSet;
use crate::quantities::filters::FilterState;
use crate::quantities::like_for_like::is_like;
use crate::quantities::water_turnover::{Flows, MEASURED_WITHIN, WaterMonth};
use crate::records::log::Quantity;
use crate::records::pumps::Model;
use crate::schedule::due::labour_cost;

/// A way out of a shortage.
#[derive(Debug, Clone)]
pub struct WayOut {
    /// What to do.
    pub way: Way,
    /// What it would reach.
    pub reaches: Reaches,
    /// Whether that is within the limit it is for.
    pub enough: bool,
    /// What it costs: once, or in a year for what goes on. `None` = not known.
    pub cost: Option<Decimal>,
}

/// What to do.
#[derive(Debug, Clone)]
pub enum Way {
    /// Clean the filters.
    Clean {
        /// Whether the flow after a clean was measured rather than calculated.
        measured: bool,
    },
    /// Filter longer.
    MoreHours {
        /// Hours a day now.
        from: f64,
    },
    /// More filter area.
    MoreArea {
        /// Square metres there now.
        from: f64,
    },
    /// Another model that is like for like.
    LikeForLike {
        /// Its name.
        model: String,
    },
    /// The model that stood there before: another power than now, so not a plain swap.
    ModelBefore {
        /// Its name.
        model: String,
        /// The pump's address.
        at: Address,
        /// The day it went.
        until: chrono::NaiveDate,
    },
}

/// The figure a way reaches.
#[derive(Debug, Clone)]
pub enum Reaches {
    /// Turnover time, min, at a flow, L/min.
    Turnover {
        /// The time.
        minutes: Figure,
        /// The flow.
        flow: Figure,
    },
    /// Filtration hours a day.
    Hours(f64),
    /// Filter rate, L/min/m², with so many square metres.
    FilterRate {
        /// The rate.
        rate: f64,
        /// The area it needs.
        area: f64,
    },
}

/// The ways out for a spa in the as-of month, the cheapest of those that are enough first; what is not enough
/// comes last. Empty if nothing fails.
pub fn ways_out(flows: &Flows, filters: &[FilterState], limits: Option<&LimitSet>, row: &WaterMonth) -> Vec<WayOut> {
    let Some(limits) = limits else { return Vec::new() };
    let mut ways = Vec::new();
    if row.failing.contains(&"turnover") {
        faster(flows, filters, row, &mut ways);
    }
    if row.failing.contains(&"filtration hours") {
        ways.extend(more_hours(flows, limits, row));
    }
    if row.failing.contains(&"filter rate") {
        ways.extend(more_area(flows, row));
    }
    let kind = |way: &Way| match way {
        Way::Clean { .. } => 0,
        Way::MoreHours { .. } => 1,
        Way::MoreArea { .. } => 2,
        Way::LikeForLike { .. } => 3,
        Way::ModelBefore { .. } => 4,
    };
    // A cost that is not known comes behind those that are.
    ways.sort_by(|a, b| {
        let key = |w: &WayOut| (!w.enough, w.cost.is_none(), w.cost.unwrap_or_default(), kind(&w.way));
        key(a).cmp(&key(b))
    });
    ways
}

/// Ways to a shorter turnover time.
fn faster(flows: &Flows, filters: &[FilterState], row: &WaterMonth, ways: &mut Vec<WayOut>) {
    let (Some(volume), Some(limit)) = (flows.spa.volume.map(|v| v.0.get::<liter>()), row.limit_min) else { return };
    let as_of = row.month.last();
    let reaches = |flow: Figure| {
        let minutes = flow.map(|q| volume / q);
        let enough = minutes.value <= limit * (1.0 + 1e-9);
        (Reaches::Turnover { minutes, flow }, enough)
    };
    let now = row.flow.as_ref().map_or(0.0, |f| f.value);
    // A clean that gains under a hundredth of the flow is none.
    if let Some((flow, measured)) = flow_when_clean(flows, row.month).filter(|(flow, _)| flow.value > now * 1.01)
        && fouled(filters)
    {
        let task = flows.fleet.book.tasks.iter().find(|(id, _)| id.as_str() == "filter_clean");
        let minutes = task.and_then(|(_, task)| task.time).map(|t| t.0.get::<minute>() * filters.len() as f64);
        let (reaches, enough) = reaches(flow);
        let cost = minutes.and_then(|minutes| labour_cost(flows.fleet, minutes, as_of));
        ways.push(WayOut { way: Way::Clean { measured }, reaches, enough, cost });
    }
    let [(pump, _)] = flows.filtering.as_slice() else { return };
    let Some(present) = flows.model_on(0, as_of) else { return };
    for (name, model) in &flows.fleet.models {
        if std::ptr::eq(model, present) || !is_like(model, present) {
            continue;
        }
        let Some(flow) = flows.flow_with(Some(model), row.month, false) else { continue };
        let (reaches, enough) = reaches(flow);
        if enough {
            let way = Way::LikeForLike { model: name.clone() };
            ways.push(WayOut { way, reaches, enough, cost: pump_cost(flows, model, row.month) });
        }
    }
    if let Some((until, before)) = flows.model_before(0).filter(|(_, before)| !is_like(before, present))
        && let Some(flow) = flows.flow_with(Some(before), row.month, false)
        && let Some((name, _)) = flows.fleet.models.iter().find(|(_, model)| std::ptr::eq(*model, before))
    {
        let (reaches, enough) = reaches(flow);
        if enough {
            let way = Way::ModelBefore { model: name.clone(), at: pump.at.clone(), until };
            ways.push(WayOut { way, reaches, enough, cost: pump_cost(flows, before, row.month) });
        }
    }
}

fn fouled(filters: &[FilterState]) -> bool {
    filters.iter().any(|f| f.pressure.zip(f.clean_pressure).is_some_and(|(now, clean)| now > clean + 0.005))
        || filters.iter().all(|f| f.clean_pressure.is_none())
}

/// The flow with clean filters: measured after the last clean with the pump that is there now, else calculated.
fn flow_when_clean(flows: &Flows, month: Month) -> Option<(Figure, bool)> {
    if let ([filter], [(_, run)], [history]) =
        (flows.spa.filters.as_slice(), flows.filtering.as_slice(), flows.histories)
    {
        let since = run.exchanges.last().copied().unwrap_or(run.start);
        let row = flows
            .site
            .readings_of(&filter.at, Quantity::Flow)
            .filter(|r| r.after && r.day >= since && history.cleans().contains(&r.day))
            .last();
        if let Some(row) = row {
            return Some((
                Figure::within(row.value, MEASURED_WITHIN, Basis::Measured, vec![row.source(flows.site, &filter.at)]),
                true,
            ));
        }
    }
    flows.flow_with(None, month, true).map(|flow| (flow, false))
}

fn pump_cost(flows: &Flows, model: &Model, month: Month) -> Option<Decimal> {
    let price = model.cost.as_ref().and_then(|cost| cost.on(month.last()))?;
    let labour = labour_cost(flows.fleet, model.time?.0.get::<minute>(), month.last())?;
    Some(price.0 + labour)
}

/// Filtering as long as the rule book asks; the cost is a year of the energy of the hours that are added.
fn more_hours(flows: &Flows, limits: &LimitSet, row: &WaterMonth) -> Option<WayOut> {
    let least = limits.filtration.as_ref()?.at_least?.hours;
    let from = row.hours_per_day?;
    let reached = least.min(24.0);
    // The energy of an hour, as the month's hours cost.
    let (mut cost, mut hours) = (Some(0.0), 0.0);
    for run in flows.runs(row.month) {
        let (_, pump) = flows.filtering.get(run.pump)?;
        let month = pump.months.iter().find(|m| m.month == row.month && m.speed == run.speed);
        if let Some(month) = month.filter(|m| m.hours.is_some_and(|h| h > 0.0)) {
            cost = cost.zip(month.energy_cost).map(|(sum, more)| sum + more);
            hours += month.hours.unwrap_or(0.0);
        }
    }
    let each = cost.filter(|_| hours > 0.0).map(|cost| cost / hours);
    let cost = each.and_then(|each| Decimal::try_from(each * (reached - from).max(0.0) * 365.0).ok());
    Some(WayOut { way: Way::MoreHours { from }, reaches: Reaches::Hours(reached), enough: true, cost })
}

/// As much filter area as the limit of the rate asks for at the present flow.
fn more_area(flows: &Flows, row: &WaterMonth) -> Option<WayOut> {
    let (rate, limit) = (row.filter_rate?, row.filter_limit.filter(|l| *l > 0.0)?);
    let from: f64 = flows.spa.filters.iter().map(|f| f.area.map(|a| a.0.get::<square_meter>())).sum::<Option<f64>>()?;
    // Up to a tenth of a square metre, so that what is printed is enough.
    let area = (from * rate / limit * 10.0 - 1e-6).ceil() / 10.0;
    let reaches = Reaches::FilterRate { rate: from * rate / area, area };
    Some(WayOut { way: Way::MoreArea { from }, reaches, enough: true, cost: None })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantities::fleet_for_tests::load;

    /// All losses are the heater's 3 (Q/100)² m, so each flow can be worked out: h = 4/3 h₁ − h₁/3 (Q/q)².
    /// P: 6 m at 120 L/min, 135.01 L/min. Q: 9 m at 120: 12 = Q² (3/14400 + 3/10000), Q² = 23606.6, 153.64 L/min.
    fn fleet(volume: &str, other: &str, log: &str) -> Vec<WayOut> {
        fleet_with(volume, other, log, "filtration: {model: P, duty: filtration, program: {run: 20 h/day}}")
    }

    fn fleet_with(volume: &str, other: &str, log: &str, pumps_there: &str) -> Vec<WayOut> {
        let like = "speeds: 1, frame: \"48\", ports: {inlet: 2 in, discharge: 2 in}, supply: {voltage: 230 V, phases: 1}, cost: 100.00, time: 60 min";
        let pumps = format!(
            "format: 1\nmodels:\n  P: {{{like}, power: 0.5 hp, curve: [{{flow: 120 L/min, head: 6 m}}]}}\n  Q: {{{like}, {other}, curve: [{{flow: 120 L/min, head: 9 m}}]}}\n"
        );
        let site = format!(
            "format: 1\nuse: rental\nspas:\n  tub:\n    fitted: 2026-01-01\n    volume: {volume}\n    pipe: {{size: 2 in, length: 0 m, heater_drop: {{head: 3 m, flow: 100 L/min}}}}\n    filters: {{main: {{kind: cartridge, area: 10 m2, clean_pressure: 0.10 bar}}}}\n    pumps: {{{pumps_there}}}\nlog: [{log}]\n"
        );
        let fleet = "{format: 1, fleet: Test, currency: GBP, timezone: Europe/London, limits: uk, labour: {cost: 24.00}, electricity: 0.25}";
        load(&[("fleet.yaml", fleet), ("pumps.yaml", &pumps), ("sites/home.yaml", &site)], "2026-06-30").spas[0]
            .ways_out
            .clone()
    }

    const FOULED: &str = "{date: 2026-06-10, at: {tub/main: {pressure: 0.30}}}";

    /// 1900 L, fouled by 0.2 bar to 116.4 L/min: 16.3 min, over 15. Clean, 135.01 L/min: 14.07 min, for 20 min of
    /// work at 24 an hour, 8.00. More hours come beside it, since 20 of 24 are run. The like-for-like pump, fouled
    /// too: 12 − 2.0539 = Q² × 5.083333e-4, Q² = 19566, 139.88 L/min: 13.58 min for 124.00.
    #[test]
    fn ranked_by_cost_with_their_figures() {
        let ways = fleet("1900 L", "power: 0.5 hp", FOULED);
        let of = |pick: fn(&Way) -> bool| ways.iter().find(|w| pick(&w.way)).unwrap();
        let minutes = |way: &WayOut| match &way.reaches {
            Reaches::Turnover { minutes, .. } => minutes.value,
            _ => panic!("{way:?}"),
        };
        let clean = of(|w| matches!(w, Way::Clean { measured: false }));
        assert!((minutes(clean) - 14.0730).abs() < 1e-3 && clean.enough, "{clean:?}");
        assert_eq!(clean.cost.map(|c| c.round_dp(2)), Some(Decimal::from(8)));
        let pump = of(|w| matches!(w, Way::LikeForLike { .. }));
        assert!((minutes(pump) - 13.5832).abs() < 1e-3, "{pump:?}");
        assert_eq!(pump.cost.map(|c| c.round_dp(2)), Some(Decimal::from(124)));
        let hours = of(|w| matches!(w, Way::MoreHours { .. }));
        // 0.5 hp over 0.7 is 0.53264 kW; 4 h × 365 days × 0.25 each kWh: 194.41.
        assert!((hours.cost.unwrap() - Decimal::new(19441, 2)).abs() < Decimal::new(5, 2), "{hours:?}");
        let costs: Vec<_> = ways.iter().map(|w| w.cost.unwrap()).collect();
        assert!(costs.is_sorted(), "{costs:?}");
    }

    /// Two pumps P side by side all day, fouled by 0.2 bar: 8 − 2.0539 = Q² (2/57600 + 3/10000), Q = 133.28 L/min, and
    /// 2100 L take 15.8 min. Clean they give 154.598 L/min: 13.584 min. Another model for one of two is not offered.
    #[test]
    fn a_clean_helps_several_pumps_too() {
        let pump = "{model: P, duty: filtration, program: {run: 24 h/day}}";
        let ways = fleet_with("2100 L", "power: 0.5 hp", FOULED, &format!("one: {pump}, two: {pump}"));
        let [WayOut { way: Way::Clean { measured: false }, reaches: Reaches::Turnover { minutes, .. }, enough, .. }] =
            ways.as_slice()
        else {
            panic!("{ways:?}");
        };
        assert!((minutes.value - 13.5836).abs() < 1e-3 && *enough, "{ways:?}");
    }

    #[test]
    fn never_another_power_as_a_plain_swap() {
        for other in ["power: 0.75 hp", "note: no power stated"] {
            let ways = fleet("1900 L", other, FOULED);
            assert!(!ways.iter().any(|w| matches!(w.way, Way::LikeForLike { .. })), "{other}");
        }
    }

    /// 3000 L: clean gives 22.2 min. It is said, last, and as not enough.
    #[test]
    fn what_is_not_enough_comes_last() {
        let ways = fleet("3000 L", "power: 0.75 hp", FOULED);
        let last = ways.last().unwrap();
        assert!(matches!(last.way, Way::Clean { .. }) && !last.enough, "{ways:?}");
    }

    #[test]
    fn a_spa_that_meets_its_limits_needs_none() {
        let ways = fleet("1200 L", "power: 0.5 hp", "");
        assert!(ways.iter().all(|w| matches!(w.way, Way::MoreHours { .. })), "{ways:?}");
    }

    /// 0.30 gpm/ft² is 12.2237 L/min/m²: 135.01 L/min through 10 m² are 13.50, and need 11.045 m², so 11.1.
    #[test]
    fn more_area_where_the_rate_fails() {
        let site = "format: 1\nuse: hotel\nspas:\n  tub:\n    fitted: 2026-01-01\n    volume: 1200 L\n    pipe: {size: 2 in, length: 0 m, heater_drop: {head: 3 m, flow: 100 L/min}}\n    filters: {main: {kind: cartridge, area: 10 m2}}\n    pumps: {filtration: {model: P, duty: filtration, program: {run: 24 h/day}}}\n";
        let pumps = "format: 1\nmodels: {P: {speeds: 1, curve: [{flow: 120 L/min, head: 6 m}]}}\n";
        let fleet = "{format: 1, fleet: Test, currency: USD, timezone: America/Denver, limits: us}";
        let loaded = load(&[("fleet.yaml", fleet), ("pumps.yaml", pumps), ("sites/home.yaml", site)], "2026-06-30");
        let ways = &loaded.spas[0].ways_out;
        let [WayOut { way: Way::MoreArea { from }, reaches: Reaches::FilterRate { rate, area }, .. }] = ways.as_slice()
        else {
            panic!("{ways:?}");
        };
        assert_eq!((*from, *area), (10.0, 11.1));
        assert!((rate - 12.1631).abs() < 1e-3);
    }
}
