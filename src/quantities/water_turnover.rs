//! Is the water turned over often enough? Per spa and month: flow, turnover time, turnovers and
//! filtration hours a day, filter rate, velocity, and the verdict of the rule book.
//!
//! A flow measured in the month wins; else the last measurement since the filter was cleaned; else
//! the pump's curve against the pipe loop; else what the maker states. A calculated flow never
//! passes for a measured one.

use chrono::NaiveDate;
use uom::si::area::square_meter;
use uom::si::f64::{Length as Head, Ratio, VolumeRate};
use uom::si::length::meter;
use uom::si::pressure::bar;
use uom::si::ratio::ratio;
use uom::si::thermodynamic_temperature::degree_celsius;
use uom::si::time::minute;
use uom::si::velocity::meter_per_second;
use uom::si::volume::liter;
use uom::si::volume_rate::liter_per_minute;

use crate::basis::{Basis, Figure, Source};
use crate::calendar::{Month, days_between, plus_days};
use crate::hydraulics::{self, CurvePoint, PipeLoop, PumpCurve, QuadraticDrop};
use crate::limits::LimitSet;
use crate::quantities::filters;
use crate::quantities::run_hours::{self, RunHours};
use crate::records::log::Quantity;
use crate::records::tubs::Speed;
use crate::records::{Fleet, Pump, Site, Spa};

/// What the rule book says of a spa's water in a month.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// It is turned over often enough.
    Meets,
    /// It is not.
    Short,
    /// The spa was closed the whole month.
    Closed,
    /// Not known, or no limit is.
    Unknown,
}

impl Verdict {
    /// The word in tables and print.
    pub fn word(self) -> &'static str {
        match self {
            Self::Meets => "meets",
            Self::Short => "short",
            Self::Closed => "closed",
            Self::Unknown => "unknown",
        }
    }
}

/// A spa's water in a month.
#[derive(Debug, Clone)]
pub struct WaterMonth {
    /// The month.
    pub month: Month,
    /// Flow through the filter, L/min.
    pub flow: Option<Figure>,
    /// The pump's head where it was calculated, m.
    pub head_m: Option<f64>,
    /// Turnover time, min.
    pub turnover: Option<Figure>,
    /// The longest turnover time allowed, min.
    pub limit_min: Option<f64>,
    /// Turnovers a day over the month.
    pub turnovers_per_day: Option<f64>,
    /// Filtration hours a day over the month.
    pub hours_per_day: Option<f64>,
    /// Flow through each square metre of filter, L/min.
    pub filter_rate: Option<f64>,
    /// The highest filter rate allowed.
    pub filter_limit: Option<f64>,
    /// Velocity in the pipe, m/s.
    pub velocity: Option<f64>,
    /// The highest velocity allowed, m/s.
    pub velocity_limit: Option<f64>,
    /// The verdict.
    pub verdict: Verdict,
    /// What fails, by name.
    pub failing: Vec<&'static str>,
}

/// What a spa's water gets, and what is not known of it.
#[derive(Debug, Clone)]
pub struct Water {
    /// Month by month.
    pub months: Vec<WaterMonth>,
    /// Fields that would allow what cannot be computed.
    pub missing: Vec<String>,
    /// A calculated flow over a measured one, where both are known.
    pub model_error: Option<f64>,
}

/// A flow measurement's own accuracy, assumed.
pub const MEASURED_WITHIN: f64 = 0.05;
/// How far a loop matched to a measured flow may be off, assumed.
pub const CALIBRATED_WITHIN: f64 = 0.10;
/// How far a curve against a loop as built may be off, assumed.
pub const CURVE_WITHIN: f64 = 0.15;
/// How far a maker's stated flow may be off on site, assumed.
pub const STATED_WITHIN: f64 = 0.20;
/// The roughness of plastic pipe where none is written (Hazen–Williams).
pub const ASSUMED_C: f64 = 150.0;
/// Hours a day by which metered hours may fall short of a limit: cleaning, water changes and a counter's rounding take
/// some. Assumed; printed among the assumptions.
pub const SERVICE_HOURS: f64 = 1.0;

/// Computes a spa's water up to the as-of month. `hours` are those of its pumps, in their order.
pub fn water(fleet: &Fleet, site: &Site, spa: &Spa, hours: &[Option<RunHours>], as_of: NaiveDate) -> Water {
    let limits = fleet.rule_book(site).and_then(|book| book.limits(site.r#use));
    let last = Month::of(as_of);
    let filtering: Vec<(&Pump, &RunHours)> = spa
        .pumps
        .iter()
        .zip(hours)
        .filter(|(pump, _)| !pump.filters_at.is_empty())
        .filter_map(|(pump, hours)| hours.as_ref().map(|h| (pump, h)))
        .collect();
    let first = filtering.iter().map(|(_, h)| Month::of(plus_days(h.start, 1))).min().unwrap_or(last).min(last);
    let flows =
        Flows { fleet, site, spa, filtering: &filtering, calibration: calibration(fleet, site, spa, &filtering) };
    let mut result =
        Water { months: Vec::new(), missing: Vec::new(), model_error: flows.calibration.as_ref().map(|c| c.error) };
    for month in first.through(last) {
        result.months.push(water_month(&flows, limits, month));
    }
    if spa.volume.is_none() {
        result.missing.push(format!("`volume` of {}", spa.at));
    }
    if result.months.last().is_some_and(|m| m.flow.is_none() && m.verdict != Verdict::Closed) {
        let missing = flows.missing();
        result.missing.push(missing);
    }
    if limits.is_none() {
        let what = if site.r#use.is_none() { "`use` of the site" } else { "`limits`: a rule book that has this use" };
        result.missing.push(what.to_owned());
    }
    result
}

fn water_month(flows: &Flows, limits: Option<&LimitSet>, month: Month) -> WaterMonth {
    let Flows { site, spa, filtering, .. } = flows;
    let open = f64::from(month.days()) - site.closed_days(month.first(), month.last()) as f64;
    let mut row = WaterMonth {
        month,
        flow: None,
        head_m: None,
        turnover: None,
        limit_min: limits.and_then(|l| l.turnover.as_ref()).and_then(|l| l.at_most).map(|d| d.0.get::<minute>()),
        turnovers_per_day: None,
        hours_per_day: None,
        filter_rate: None,
        filter_limit: None,
        velocity: None,
        velocity_limit: None,
        verdict: Verdict::Unknown,
        failing: Vec::new(),
    };
    if open <= 0.0 {
        row.verdict = Verdict::Closed;
        return row;
    }
    let mut hours = Some(0.0);
    let mut served_days = 0.0f64;
    for (pump, run) in *filtering {
        let from = month.first().max(plus_days(run.start, 1));
        let to = month.last().min(run.end);
        if to >= from {
            let closed = site.closed_days(from, to);
            served_days = served_days.max((days_between(from, to) + 1 - closed) as f64);
        }
        for m in run.months.iter().filter(|m| m.month == month && pump.filters_at.contains(&m.speed)) {
            hours = hours.zip(m.hours).map(|(sum, more)| sum + more);
        }
    }
    let no_hours = filtering.iter().all(|(_, run)| run.curves.is_empty());
    let hours = if no_hours { None } else { hours };
    let found = flows.flow(month);
    row.head_m = found.as_ref().and_then(|(_, head)| *head);
    row.flow = found.map(|(flow, _)| flow);
    let days = f64::from(month.days());
    row.hours_per_day = hours.map(|h| h / days);
    if let Some(flow) = row.flow.as_ref().filter(|f| f.value > 0.0) {
        if let Some(volume) = spa.volume.map(|v| v.0.get::<liter>()) {
            row.turnover = Some(flow.map(|q| volume / q));
            row.turnovers_per_day = hours.map(|h| flow.value * 60.0 * h / volume / days);
        }
        let areas: Option<f64> = spa.filters.iter().map(|f| f.area.map(|a| a.0.get::<square_meter>())).sum();
        row.filter_rate = areas.filter(|a| *a > 0.0).map(|area| flow.value / area);
        let size = spa.pipe.as_ref().and_then(|p| p.size);
        if let Some(bore) = size.and_then(|size| hydraulics::schedule_40_bore(size.0)) {
            let rate = VolumeRate::new::<liter_per_minute>(flow.value);
            row.velocity = Some(hydraulics::velocity(rate, bore).get::<meter_per_second>());
        }
    }
    judge(&mut row, limits, spa, hours, served_days);
    row
}

fn judge(row: &mut WaterMonth, limits: Option<&LimitSet>, spa: &Spa, hours: Option<f64>, served_days: f64) {
    let Some(limits) = limits else { return };
    row.filter_limit = spa
        .filters
        .first()
        .and_then(|f| limits.filter_rate(f.kind))
        .and_then(|l| l.at_most)
        .map(|r| r.litres_per_minute_square_metre);
    row.velocity_limit =
        limits.velocity.suction.as_ref().and_then(|l| l.at_most).map(|v| v.0.get::<meter_per_second>());
    let over = |value: Option<f64>, limit: Option<f64>| value.zip(limit).map(|(v, l)| v > l * (1.0 + 1e-9));
    let turnover = over(row.turnover.as_ref().map(|t| t.value), row.limit_min);
    // Judged over the days the water was there: a season closed or a fitting in mid month is not a shortage.
    let daily = hours.filter(|_| served_days > 0.0).map(|h| h / served_days);
    let least = limits.filtration.as_ref().and_then(|l| l.at_least).map(|d| d.hours);
    let too_few_hours = daily.zip(least).map(|(hours, least)| hours < least - SERVICE_HOURS);
    if turnover == Some(true) {
        row.failing.push("turnover");
    }
    if too_few_hours == Some(true) {
        row.failing.push("filtration hours");
    }
    if over(row.filter_rate, row.filter_limit) == Some(true) {
        row.failing.push("filter rate");
    }
    if over(row.velocity, row.velocity_limit) == Some(true) {
        row.failing.push("velocity");
    }
    row.verdict = if turnover == Some(true) || too_few_hours == Some(true) {
        Verdict::Short
    } else if turnover == Some(false) && (least.is_none() || too_few_hours == Some(false)) {
        Verdict::Meets
    } else {
        Verdict::Unknown
    };
}

/// How a loop was matched to a measured flow.
#[derive(Debug, Clone)]
struct Calibration {
    factor: f64,
    /// The calculated flow over the measured one, less one.
    error: f64,
    /// The day of the exchange since which it holds.
    since: NaiveDate,
}

struct Flows<'a> {
    fleet: &'a Fleet,
    site: &'a Site,
    spa: &'a Spa,
    filtering: &'a [(&'a Pump, &'a RunHours)],
    calibration: Option<Calibration>,
}

impl Flows<'_> {
    /// The flow through the filter in a month, L/min, and the head if it was calculated, m.
    fn flow(&self, month: Month) -> Option<(Figure, Option<f64>)> {
        self.measured(month)
            .map(|flow| (flow, None))
            .or_else(|| self.since_cleaning(month).map(|flow| (flow, None)))
            .or_else(|| self.calculated(month))
            .or_else(|| self.stated().map(|flow| (flow, None)))
    }

    fn measured(&self, month: Month) -> Option<Figure> {
        if self.spa.filters.is_empty() {
            return None;
        }
        let (mut sum, mut low, mut high, mut sources) = (0.0, 0.0, 0.0, Vec::new());
        for filter in &self.spa.filters {
            let rows: Vec<_> =
                self.site.readings_of(&filter.at, Quantity::Flow).filter(|row| Month::of(row.day) == month).collect();
            if rows.is_empty() {
                return None;
            }
            sum += rows.iter().map(|r| r.value).sum::<f64>() / rows.len() as f64;
            low += rows.iter().map(|r| r.value).fold(f64::INFINITY, f64::min);
            high += rows.iter().map(|r| r.value).fold(0.0, f64::max);
            sources.extend(rows.iter().map(|r| r.source()));
        }
        let value = sum;
        let (low, high) = (low.min(value * (1.0 - MEASURED_WITHIN)), high.max(value * (1.0 + MEASURED_WITHIN)));
        Some(Figure::new(value, low, high, Basis::Measured, sources))
    }

    /// The last measurement, if nothing has been cleaned or changed since.
    fn since_cleaning(&self, month: Month) -> Option<Figure> {
        let (mut sum, mut sources) = (0.0, Vec::new());
        for filter in &self.spa.filters {
            let row = self.site.readings_of(&filter.at, Quantity::Flow).filter(|r| r.day <= month.last()).last()?;
            let changed = filters::cleans(self.site, &filter.at)
                .into_iter()
                .any(|day| day <= month.last() && (day > row.day || (day == row.day && !row.after)));
            if changed || self.exchanged_after(row.day, month.last()) {
                return None;
            }
            sum += row.value;
            sources.push(row.source());
        }
        // The filter has fouled since, so that the flow is hardly more and may well be less.
        let low = 1.0 - CALIBRATED_WITHIN;
        (sum > 0.0).then(|| Figure::new(sum, sum * low, sum * (1.0 + MEASURED_WITHIN), Basis::Estimated, sources))
    }

    fn exchanged_after(&self, day: NaiveDate, until: NaiveDate) -> bool {
        self.filtering.iter().any(|(_, run)| run.exchanges.iter().any(|e| *e >= day && *e <= until))
    }

    fn calculated(&self, month: Month) -> Option<(Figure, Option<f64>)> {
        let rise = self.rise(month);
        let factor = self.calibration.as_ref().filter(|c| c.since <= month.last()).map(|c| c.factor);
        let point =
            calculate(self.fleet, self.site, self.spa, self.filtering, month.last(), rise, factor.unwrap_or(1.0))?;
        let within = if factor.is_some() { CALIBRATED_WITHIN } else { CURVE_WITHIN };
        let flow = point.flow.get::<liter_per_minute>();
        let sources = vec![self.site.source(&format!("spas.{}.pipe", self.spa.at))];
        Some((Figure::within(flow, within, Basis::Curve, sources), Some(point.head.get::<meter>())))
    }

    /// The mean rise of the filter's pressure above clean in a month, bar.
    fn rise(&self, month: Month) -> f64 {
        self.spa.filters.first().map_or(0.0, |filter| filters::mean_rise(self.site, filter, month).unwrap_or(0.0))
    }

    fn stated(&self) -> Option<Figure> {
        let flow = self.spa.stated_flow?.0.get::<liter_per_minute>();
        let source = self.site.source(&format!("spas.{}.stated_flow", self.spa.at));
        Some(Figure::within(flow, STATED_WITHIN, Basis::Stated, vec![source]))
    }

    /// What would let the flow be known.
    fn missing(&self) -> String {
        let at = &self.spa.at;
        match self.filtering {
            [] => format!("a pump of {at} with `duty: filtration` and known hours"),
            [(pump, _)] => {
                let model = self.fleet.model(pump);
                if model.is_none_or(|m| m.curve.is_empty()) {
                    format!(
                        "a `flow` reading at a filter of {at}, its `stated_flow`, or the `curve` of the model of {}",
                        pump.at
                    )
                } else {
                    format!(
                        "a `flow` reading at a filter of {at}, its `stated_flow`, or `size` and `length` of its `pipe`"
                    )
                }
            }
            _ => format!("a `flow` reading at each filter of {at}: several pumps filter there"),
        }
    }
}

/// The working point of the one filtering pump in the loop with a filter fouled by `rise` bar.
fn calculate(
    fleet: &Fleet,
    site: &Site,
    spa: &Spa,
    filtering: &[(&Pump, &RunHours)],
    day: NaiveDate,
    rise_bar: f64,
    factor: f64,
) -> Option<hydraulics::OperatingPoint> {
    let [(pump, _)] = filtering else { return None };
    let curve = filtering_curve(fleet, site, pump, day)?;
    let mut pipe = pipe_loop(spa)?.calibrated_by(factor);
    // The gauge shows the filter's extra loss at the working point itself, so it adds to the head whatever the flow.
    let temperature = spa.setpoint.map_or(38.0, |t| t.0.get::<degree_celsius>());
    let temperature = uom::si::f64::ThermodynamicTemperature::new::<degree_celsius>(temperature);
    let rise = uom::si::f64::Pressure::new::<bar>(rise_bar.max(0.0));
    pipe.static_head += hydraulics::pressure_to_head(rise, temperature).ok()?;
    hydraulics::operating_point(&curve, &pipe).ok()
}

fn filtering_curve(fleet: &Fleet, site: &Site, pump: &Pump, day: NaiveDate) -> Option<PumpCurve> {
    let model = run_hours::models(fleet, site, pump).into_iter().rev().find(|(from, _)| *from <= day)?.1?;
    let points = |points: &[crate::records::pumps::CurvePoint]| {
        let points: Vec<CurvePoint> = points.iter().map(|p| CurvePoint { flow: p.flow.0, head: p.head.0 }).collect();
        PumpCurve::new(&points).ok()
    };
    let low = pump.filters_at.contains(&Speed::Low) && !pump.filters_at.contains(&Speed::High)
        || (model.speeds == crate::records::pumps::Speeds::Two && pump.filters_at.contains(&Speed::Low));
    if low && model.speeds == crate::records::pumps::Speeds::Two {
        if !model.low_curve.is_empty() {
            return points(&model.low_curve);
        }
        let share = model.low_speed.map_or(0.5, |s| s.0);
        return points(&model.curve)?.at_speed(Ratio::new::<ratio>(share)).ok();
    }
    points(&model.curve)
}

fn pipe_loop(spa: &Spa) -> Option<PipeLoop> {
    let pipe = spa.pipe.as_ref()?;
    let bore = hydraulics::schedule_40_bore(pipe.size?.0)?;
    let c = pipe.c.map_or(ASSUMED_C, |c| c.0);
    let fittings_k: f64 =
        pipe.fittings.iter().map(|(name, n)| hydraulics::fitting_k(name.as_str()).unwrap_or(0.0) * n.0).sum();
    let mut drops = Vec::new();
    if let Some(heater) = pipe.heater_drop {
        drops.push(QuadraticDrop { head: heater.head.0, at_flow: heater.flow.0 });
    }
    for filter in &spa.filters {
        if let Some(drop) = filter.drop {
            let temperature = uom::si::f64::ThermodynamicTemperature::new::<degree_celsius>(38.0);
            let head = hydraulics::pressure_to_head(drop.pressure.0, temperature).ok()?;
            drops.push(QuadraticDrop { head, at_flow: drop.flow.0 });
        }
    }
    let static_head = pipe.static_head.map_or(Head::new::<meter>(0.0), |h| h.0);
    Some(PipeLoop { fittings_k, static_head, drops, ..PipeLoop::new(bore, pipe.length?.0, c) })
}

/// Matches the loop to the last measured flow of the pump that is there now.
fn calibration(fleet: &Fleet, site: &Site, spa: &Spa, filtering: &[(&Pump, &RunHours)]) -> Option<Calibration> {
    let [(pump, run)] = filtering else { return None };
    let [filter] = spa.filters.as_slice() else { return None };
    let since = run.exchanges.last().copied().unwrap_or(run.start);
    let row = site.readings_of(&filter.at, Quantity::Flow).filter(|r| r.day > since).last()?;
    let rise = filters::rise_on(site, filter, row.day, row.after).unwrap_or(0.0);
    let calculated = calculate(fleet, site, spa, filtering, row.day, rise, 1.0)?;
    let curve = filtering_curve(fleet, site, pump, row.day)?;
    let mut pipe = pipe_loop(spa)?;
    let temperature = uom::si::f64::ThermodynamicTemperature::new::<degree_celsius>(38.0);
    pipe.static_head +=
        hydraulics::pressure_to_head(uom::si::f64::Pressure::new::<bar>(rise.max(0.0)), temperature).ok()?;
    let factor = pipe.calibration(VolumeRate::new::<liter_per_minute>(row.value), &curve)?;
    Some(Calibration { factor, error: calculated.flow.get::<liter_per_minute>() / row.value - 1.0, since })
}

/// The records a month's verdict rests on.
pub fn sources(row: &WaterMonth) -> Vec<Source> {
    row.flow.as_ref().map(|f| f.sources.clone()).unwrap_or_default()
}
