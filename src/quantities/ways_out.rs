//! What would bring a short spa within its limits? Each way with the figure it would reach and what it
//! costs, the cheapest first.
//!
//! It exists because "short" alone helps nobody. A pump is offered only like for like (power, speeds,
//! frame, ports, supply all stated and the same): another power changes the wiring and the flow through
//! the suction covers and is never a plain swap. A way whose figure cannot be computed is not offered.

use rust_decimal::Decimal;
use uom::si::area::square_meter;
use uom::si::f64::{Length, Velocity, VolumeRate};
use uom::si::length::inch;
use uom::si::time::minute;
use uom::si::velocity::meter_per_second;
use uom::si::volume::liter;
use uom::si::volume_rate::liter_per_minute;

use crate::address::Address;
use crate::basis::{Basis, Figure};
use crate::calendar::Month;
use crate::hydraulics;
use crate::limits::LimitSet;
use crate::quantities::filters::FilterState;
use crate::quantities::like_for_like::is_like;
use crate::quantities::water_turnover::{Flows, MEASURED_WITHIN, WaterMonth, hours_allowed, is_over};
use crate::records::fleet::Units;
use crate::records::log::Quantity;
use crate::records::pumps::Model;
use crate::schedule::due::labour_cost;

/// An area a square foot has.
const SQUARE_METRES_PER_SQUARE_FOOT: f64 = 0.092_903_04;

/// A way out of a shortage.
#[derive(Debug, Clone)]
pub struct WayOut {
    /// What to do.
    pub way: Way,
    /// What it would reach.
    pub reaches: Reaches,
    /// Whether that is within the limit it is for.
    pub enough: bool,
    /// Which other limits would be gone over by it, by name.
    pub over: Vec<&'static str>,
    /// What it costs: once, or in a year for what goes on. `None` = not known.
    pub cost: Option<Decimal>,
}

impl WayOut {
    fn new(way: Way, reaches: Reaches, enough: bool, cost: Option<Decimal>) -> Self {
        Self { way, reaches, enough, over: Vec::new(), cost }
    }
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
    /// Wider pipe.
    WiderPipe {
        /// The nominal size there now, in.
        from: f64,
        /// The nominal size of the wider pipe, in.
        to: f64,
    },
    /// Less flow: a slower speed, or a pump of another power, which is no plain swap.
    LessFlow,
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
    /// Turnover time, min, at a flow, L/min, through so many square metres, new and clean.
    LargerFilter {
        /// The area it needs.
        area: f64,
        /// The time.
        minutes: Figure,
        /// The flow.
        flow: Figure,
    },
    /// Filter rate, L/min/m², with so many square metres.
    FilterRate {
        /// The rate.
        rate: f64,
        /// The area it needs.
        area: f64,
        /// The flow the larger filter lets through when clean, L/min; `None` = it cannot be calculated, and the rate is that
        /// at the present flow.
        flow: Option<f64>,
    },
    /// Velocity in the pipe, m/s, at the flow the wider pipe lets through, L/min.
    Velocity {
        /// The velocity.
        velocity: f64,
        /// The flow.
        flow: f64,
    },
    /// At most this flow, L/min, and the turnover time it makes, min.
    AtMost {
        /// The flow.
        flow: f64,
        /// The time.
        minutes: f64,
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
    if row.failing.contains(&"velocity") {
        ways.extend(wider_pipe(flows, row));
    }
    if !row.failing.contains(&"turnover") {
        ways.extend(less_flow(flows, row));
    }
    let kind = |way: &Way| match way {
        Way::Clean { .. } => 0,
        Way::MoreHours { .. } => 1,
        Way::MoreArea { .. } => 2,
        Way::WiderPipe { .. } => 3,
        Way::LikeForLike { .. } => 4,
        Way::ModelBefore { .. } => 5,
        Way::LessFlow => 6,
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
        let enough = !is_over(minutes.value, limit);
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
        let over = over(flows, row, flow_now(&reaches), None);
        ways.push(WayOut { over, ..WayOut::new(Way::Clean { measured }, reaches, enough, cost) });
    }
    ways.extend(larger_filter(flows, row, volume, limit));
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
            ways.push(within(flows, row, WayOut::new(way, reaches, enough, pump_cost(flows, model, row.month))));
        }
    }
    if let Some((until, before)) = flows.model_before(0).filter(|(_, before)| !is_like(before, present))
        && let Some(flow) = flows.flow_with(Some(before), row.month, false)
        && let Some((name, _)) = flows.fleet.models.iter().find(|(_, model)| std::ptr::eq(*model, before))
    {
        let (reaches, enough) = reaches(flow);
        if enough {
            let way = Way::ModelBefore { model: name.clone(), at: pump.at.clone(), until };
            ways.push(within(flows, row, WayOut::new(way, reaches, enough, pump_cost(flows, before, row.month))));
        }
    }
}

/// The flow a way to a shorter turnover reaches, L/min.
fn flow_now(reaches: &Reaches) -> f64 {
    match reaches {
        Reaches::Turnover { flow, .. } | Reaches::LargerFilter { flow, .. } => flow.value,
        _ => 0.0,
    }
}

/// Which limits of filter rate and velocity a flow goes over, through so many square metres, or those there now.
fn over(flows: &Flows, row: &WaterMonth, flow: f64, area: Option<f64>) -> Vec<&'static str> {
    let goes =
        |value: Option<f64>, limit: Option<f64>| value.zip(limit).is_some_and(|(value, limit)| is_over(value, limit));
    let rate = area.or_else(|| filter_area(flows)).filter(|area| *area > 0.0).map(|area| flow / area);
    let bore = bore(flows);
    let velocity = bore
        .map(|bore| hydraulics::velocity(VolumeRate::new::<liter_per_minute>(flow), bore).get::<meter_per_second>());
    let mut all = Vec::new();
    if goes(rate, row.filter_limit) {
        all.push("filter rate");
    }
    if goes(velocity, row.velocity_limit) {
        all.push("velocity");
    }
    all
}

/// A way with the other limits it goes over; it is not enough where there is one.
fn within(flows: &Flows, row: &WaterMonth, way: WayOut) -> WayOut {
    let area = if let Reaches::LargerFilter { area, .. } = way.reaches { Some(area) } else { None };
    let over = over(flows, row, flow_now(&way.reaches), area);
    WayOut { enough: way.enough && over.is_empty(), over, ..way }
}

/// The least filter area with which the water would be turned over in time, new and clean, where cleaning what is there is
/// not enough. `None` where the flow with another area cannot be calculated, or four times the area are not enough.
fn larger_filter(flows: &Flows, row: &WaterMonth, volume: f64, limit: f64) -> Option<WayOut> {
    const MOST_TIMES: f64 = 4.0;
    let from = filter_area(flows).filter(|area| *area > 0.0)?;
    let flow = |area: f64| flows.flow_with_area(row.month, area / from);
    let enough = |area: f64| flow(area).is_some_and(|flow| volume / flow.value <= limit);
    let step = area_step(flows);
    let steps = |times: f64| (from * times / step).ceil() as u32;
    if enough(from) || !enough(f64::from(steps(MOST_TIMES)) * step) {
        return None;
    }
    let (mut low, mut high) = (steps(1.0), steps(MOST_TIMES));
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if enough(f64::from(middle) * step) {
            high = middle;
        } else {
            low = middle;
        }
    }
    let area = f64::from(high) * step;
    let flow = flow(area)?;
    let reaches = Reaches::LargerFilter { area, minutes: flow.map(|q| volume / q), flow };
    Some(within(flows, row, WayOut::new(Way::MoreArea { from }, reaches, true, None)))
}

/// The last digit that is printed of an area, so that what is printed is enough.
fn area_step(flows: &Flows) -> f64 {
    if flows.fleet.settings.units == Units::Us { SQUARE_METRES_PER_SQUARE_FOOT } else { 0.1 }
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

/// Filtering as long as the rule book asks, or as the pump's other speeds leave room for; the cost is a year of the energy of
/// the hours that are added.
fn more_hours(flows: &Flows, limits: &LimitSet, row: &WaterMonth) -> Option<WayOut> {
    let least = limits.filtration.as_ref()?.at_least?.hours;
    let from = row.hours_per_day?;
    // A lone pump that also runs at a speed that does not filter cannot do both at once.
    let elsewhere = match flows.filtering.as_slice() {
        [(pump, hours)] => hours
            .of_month(row.month)
            .iter()
            .filter(|m| !pump.filters_at.contains(&m.speed))
            .filter_map(|m| m.hours)
            .sum::<f64>(),
        _ => 0.0,
    };
    let room = (24.0 - elsewhere / f64::from(row.month.days())).max(from);
    let reached = least.min(room);
    // The energy of an hour, as the month's hours cost.
    let (mut cost, mut hours) = (Some(0.0), 0.0);
    for run in flows.runs(row.month) {
        let (_, pump) = flows.filtering.get(run.pump)?;
        let month = pump.of_month(row.month).iter().find(|m| m.speed == run.speed);
        if let Some(month) = month.filter(|m| m.hours.is_some_and(|h| h > 0.0)) {
            cost = cost.zip(month.energy_cost).map(|(sum, more)| sum + more);
            hours += month.hours.unwrap_or(0.0);
        }
    }
    let each = cost.filter(|_| hours > 0.0).map(|cost| cost / hours);
    let cost = each.and_then(|each| Decimal::try_from(each * (reached - from).max(0.0) * 365.0).ok());
    let enough = reached >= least - hours_allowed(least) - 0.05;
    Some(WayOut::new(Way::MoreHours { from }, Reaches::Hours(reached), enough, cost))
}

/// As much filter area as the limit of the rate asks for. A larger filter, new and clean, lets more through than the
/// fouled one there now, so that the flow is worked out anew for each area until one is enough.
fn more_area(flows: &Flows, row: &WaterMonth) -> Option<WayOut> {
    /// Steps after which it is given up.
    const MOST_STEPS: usize = 200;
    let (rate, limit) = (row.filter_rate?, row.filter_limit.filter(|l| *l > 0.0)?);
    let from = filter_area(flows)?;
    let present = rate * from;
    let measured =
        flow_when_clean(flows, row.month).filter(|(_, measured)| *measured).map_or(0.0, |(flow, _)| flow.value);
    let clean = |area: f64| {
        let flow = flows.highest_when_clean(row.month, |pipe| pipe.with_filter_area(area / from))?;
        Some(flow.max(present).max(measured))
    };
    let step = area_step(flows);
    let enough_for = |flow: f64| (flow / limit / step - 1e-6).ceil() * step;
    let mut area = enough_for(present);
    let mut flow = clean(area);
    for _ in 0..MOST_STEPS {
        let Some(needed) = flow.map(enough_for).filter(|needed| *needed > area) else { break };
        area = needed;
        flow = clean(area);
    }
    let rate = flow.unwrap_or(present) / area;
    let enough = flow.is_some() && rate <= limit * (1.0 + 1e-6);
    Some(WayOut::new(Way::MoreArea { from }, Reaches::FilterRate { rate, area, flow }, enough, None))
}

/// The bore of the pipe there now.
fn bore(flows: &Flows) -> Option<Length> {
    hydraulics::schedule_40_bore(flows.spa.pipe.as_ref()?.size?.0)
}

fn filter_area(flows: &Flows) -> Option<f64> {
    flows.spa.filters.iter().map(|f| f.area.map(|a| a.0.get::<square_meter>())).sum()
}

/// The next size of pipe in which the water, at the flow that size lets through with clean filters, is slow enough.
fn wider_pipe(flows: &Flows, row: &WaterMonth) -> Option<WayOut> {
    let limit = row.velocity_limit?;
    let present = hydraulics::schedule_40(flows.spa.pipe.as_ref()?.size?.0)?;
    hydraulics::wider_sizes(present.nominal).find_map(|pipe| {
        let flow = flows.highest_when_clean(row.month, |there| there.with_bore(pipe.bore))?;
        let rate = VolumeRate::new::<liter_per_minute>(flow);
        let velocity = hydraulics::velocity(rate, pipe.bore).get::<meter_per_second>();
        let way = Way::WiderPipe { from: present.nominal.get::<inch>(), to: pipe.nominal.get::<inch>() };
        let reaches = Reaches::Velocity { velocity, flow };
        (velocity <= limit * (1.0 + 1e-9)).then_some(WayOut::new(way, reaches, true, None))
    })
}

/// The most flow that filter rate and velocity allow, where the water is still turned over in time by it.
fn less_flow(flows: &Flows, row: &WaterMonth) -> Option<WayOut> {
    let by_rate = row.filter_limit.zip(filter_area(flows)).map(|(limit, area)| limit * area);
    let bore = bore(flows);
    let by_velocity = row.velocity_limit.zip(bore).map(|(limit, bore)| {
        hydraulics::flow_at_velocity(Velocity::new::<meter_per_second>(limit), bore).get::<liter_per_minute>()
    });
    if !row.failing.contains(&"filter rate") && !row.failing.contains(&"velocity") {
        return None;
    }
    let flow = [by_rate, by_velocity].into_iter().flatten().min_by(f64::total_cmp)?;
    let minutes = flows.spa.volume?.0.get::<liter>() / flow;
    let enough = minutes <= row.limit_min?;
    enough.then_some(WayOut::new(Way::LessFlow, Reaches::AtMost { flow, minutes }, enough, None))
}

#[cfg(test)]
mod tests;
