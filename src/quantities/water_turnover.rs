//! Is the water turned over often enough? Per spa and month: flow, turnover time, turnovers and
//! filtration hours a day, filter rate, velocity, and the verdict of the rule book.
//!
//! A flow measured in the month wins; else the last measurement since the filter was cleaned; else
//! the pump's curve against the pipe loop; else what the maker states. A calculated flow never
//! passes for a measured one.
//!
//! Where a pump filters at two speeds, the flow is that of the speed it filters at longest, which is
//! the one gauges are read at. What is taken of several pumps stands in `calculated`.

mod calculated;
mod flows;

pub use flows::{FilterRun, Flows};

use chrono::NaiveDate;
use uom::si::f64::{Area, Time, Volume, VolumeRate};
use uom::si::ratio::ratio;
use uom::si::time::minute;
use uom::si::velocity::meter_per_second;
use uom::si::volume::liter;
use uom::si::volume_rate::liter_per_minute;

use crate::basis::Figure;
use crate::calendar::{Month, days_between, plus_days};
use crate::hydraulics;
use crate::limits::LimitSet;
use crate::quantities::spa_loop::NoFlow;
use crate::records::Spa;

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
    /// Filtration hours a day over the days the water was there and open, which are what the limit is held against.
    pub hours_in_use: Option<f64>,
    /// The least hours a day asked for.
    pub hours_limit: Option<f64>,
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
    /// What fails, by name. A slice that stands for all months alike: a fleet has a million of them.
    pub failing: &'static [&'static str],
}

impl WaterMonth {
    /// Whether the water is known to be turned over in time.
    fn is_in_time(&self) -> bool {
        self.turnover.is_some() && self.limit_min.is_some() && !self.failing.contains(&"turnover")
    }

    /// Whether it was measured that no water passes the filter.
    pub fn stands(&self) -> bool {
        self.flow.as_ref().is_some_and(|flow| flow.value <= 0.0)
    }
}

/// What a spa's water gets, and what is not known of it.
#[derive(Debug, Clone)]
pub struct Water {
    /// Month by month.
    pub months: Vec<WaterMonth>,
    /// Fields that would allow what cannot be computed.
    pub missing: Vec<String>,
    /// What is written but cannot be: a curve that never meets the loop.
    pub findings: Vec<String>,
    /// A calculated flow over a measured one, less one, where both are known.
    pub model_error: Option<f64>,
    /// The flow when every filter has risen to where it is to be cleaned, L/min.
    pub flow_when_fouled: Option<Figure>,
    /// The rise of the filters above clean from which on the water is turned over too slowly, bar; `None` where it is so
    /// already, or it cannot be computed.
    pub short_rise: Option<f64>,
}

pub use crate::quantities::spa_loop::ASSUMED_C;

/// A flow measurement's own accuracy, assumed.
pub const MEASURED_WITHIN: f64 = 0.05;
/// How far a loop matched to a measured flow may be off, assumed.
pub const CALIBRATED_WITHIN: f64 = 0.10;
/// How far a curve against a loop as built may be off, assumed.
pub const CURVE_WITHIN: f64 = 0.15;
/// How far a maker's stated flow may be off on site, assumed.
pub const STATED_WITHIN: f64 = 0.20;
/// How far below the curve's flow a loop may be whose fittings, filter drop or filter state is not written, assumed.
pub const INCOMPLETE_WITHIN: f64 = 0.25;
/// Hours a day by which metered hours may fall short of continuous filtration: cleaning, water changes and a counter's
/// rounding take some. Assumed; printed among the assumptions.
pub const SERVICE_HOURS: f64 = 1.0;
/// How far a value may be over a limit and still be at it: litres and gallons, each rounded where they are written, are then
/// judged alike.
const AT_THE_LIMIT: f64 = 1e-4;
/// A flow of 1 m/s through an area is so many litres a minute through each square metre.
const LITRES_A_MINUTE_A_SQUARE_METRE: f64 = 60_000.0;
/// Hours of a day.
const DAY_HOURS: f64 = 24.0;

/// Whether a value is over its limit.
pub fn is_over(value: f64, limit: f64) -> bool {
    value > limit * (1.0 + AT_THE_LIMIT)
}

/// Hours a day by which filtration may fall short of a limit: of the whole day, for nobody can run a pump while its filter is
/// out; of fewer hours nothing, for there is time for both.
pub fn hours_allowed(least: f64) -> f64 {
    if least >= DAY_HOURS - 1e-9 { SERVICE_HOURS } else { 0.0 }
}

/// Computes a spa's water up to the as-of month. `hours` are those of its pumps, in their order; `flows` from
/// [`Flows::of`] for the same spa.
pub fn water(flows: &Flows, limits: Option<&LimitSet>, as_of: NaiveDate) -> Water {
    let Flows { site, spa, filtering, .. } = flows;
    let last = Month::of(as_of);
    let first = filtering.iter().map(|(_, h)| Month::of(plus_days(h.start, 1))).min().unwrap_or(last).min(last);
    let mut result = Water {
        months: first.through(last).map(|month| water_month(flows, limits, month)).collect(),
        missing: Vec::new(),
        findings: Vec::new(),
        model_error: flows.calibration.as_ref().map(|c| c.error),
        flow_when_fouled: None,
        short_rise: None,
    };
    result.months.shrink_to_fit();
    let closed = result.months.last().is_some_and(|m| m.verdict == Verdict::Closed);
    if let Some(limit) = flows.rise_limit() {
        result.flow_when_fouled = flows.calculated(last, Some(limit)).ok().map(|calculated| calculated.flow);
    }
    let row = result.months.last();
    if let (Some(volume), Some(limit)) = (spa.volume, row.filter(|row| row.is_in_time()).and_then(|row| row.limit_min))
    {
        let least = volume.0 / Time::new::<minute>(limit);
        result.short_rise = flows.rise_at_flow(last, least.get::<liter_per_minute>());
    }
    let now = flows.calculated(last, None);
    if let Err(NoFlow::Finding(finding)) = &now
        && !closed
    {
        result.findings.push(finding.clone());
    }
    if let Some(finding) = now.ok().and_then(|now| flows.extrapolated(last, &now)).filter(|_| !closed) {
        result.findings.push(finding);
    }
    if let Some(finding) = flows.beyond_curve().filter(|_| !closed) {
        result.findings.push(finding);
    }
    if spa.volume.is_none() {
        result.missing.push(format!("`volume` of {}", spa.at));
    }
    if result.months.last().is_some_and(|m| m.flow.is_none()) && !closed {
        result.missing.push(flows.missing());
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
        hours_in_use: None,
        hours_limit: limits.and_then(|l| l.filtration.as_ref()).and_then(|l| l.at_least).map(|d| d.hours),
        filter_rate: None,
        filter_limit: None,
        velocity: None,
        velocity_limit: None,
        verdict: Verdict::Unknown,
        failing: &[],
    };
    if open <= 0.0 {
        row.verdict = Verdict::Closed;
        return row;
    }
    let mut served_days = 0.0f64;
    for (_, run) in filtering {
        let from = month.first().max(plus_days(run.start, 1));
        let to = month.last().min(run.end);
        if to >= from {
            let closed = site.closed_days(from, to);
            served_days = served_days.max((days_between(from, to) + 1 - closed) as f64);
        }
    }
    let days = f64::from(month.days());
    let runs = flows.runs(month);
    let pump_hours: Option<f64> = if runs.is_empty() { None } else { runs.iter().map(|run| run.hours).sum() };
    // Pumps run at the same time where the day has no room for one after the other.
    let hours = pump_hours.map(|h| h.min(DAY_HOURS * days));
    row.hours_per_day = hours.map(|h| h / days);
    let found = flows.flow(month, &runs);
    row.head_m = found.as_ref().and_then(|found| found.head_m);
    if let Some(found) = found.as_ref().filter(|found| found.flow.value <= 0.0) {
        // Measured, and nothing: it is not unknown.
        row.flow = Some(found.flow.clone());
        row.turnovers_per_day = spa.volume.map(|_| 0.0);
    }
    if let Some(found) = found.filter(|found| found.flow.value > 0.0) {
        if let Some(volume) = spa.volume.map(|v| v.0) {
            let turnover = |litres: f64| hydraulics::turnover_time(volume, flow_of(litres)).get::<minute>();
            row.turnover = Some(found.flow.map(turnover));
            let moved = found.moved.map(Volume::new::<liter>);
            row.turnovers_per_day = moved.map(|moved| (moved / volume).get::<ratio>() / days);
        }
        let highest = flow_of(found.highest);
        let area: Option<Area> = spa.filters.iter().map(|f| f.area.map(|a| a.0)).sum();
        let rate = area.and_then(|area| hydraulics::filter_rate(highest, area));
        row.filter_rate = rate.map(|rate| rate.get::<meter_per_second>() * LITRES_A_MINUTE_A_SQUARE_METRE);
        let size = spa.pipe.as_ref().and_then(|p| p.size);
        if let Some(bore) = size.and_then(|size| hydraulics::schedule_40_bore(size.0)) {
            row.velocity = Some(hydraulics::velocity(highest, bore).get::<meter_per_second>());
        }
        row.flow = Some(found.flow);
    }
    judge(&mut row, limits, spa, hours, served_days);
    row
}

fn judge(row: &mut WaterMonth, limits: Option<&LimitSet>, spa: &Spa, hours: Option<f64>, served_days: f64) {
    let Some(limits) = limits else { return };
    // Filters of two kinds share the flow: the stricter limit holds, and one that is not known leaves all unknown.
    let rates: Option<Vec<f64>> =
        spa.filters.iter().map(|f| Some(limits.filter_rate(f.kind)?.at_most?.litres_per_minute_square_metre)).collect();
    row.filter_limit = rates.and_then(|rates| rates.into_iter().min_by(f64::total_cmp));
    // One size of pipe serves both sides, so the lower of the two limits is the one that counts.
    row.velocity_limit = [&limits.velocity.suction, &limits.velocity.r#return]
        .into_iter()
        .filter_map(|limit| limit.as_ref()?.at_most)
        .map(|v| v.0.get::<meter_per_second>())
        .min_by(f64::total_cmp);
    let over = |value: Option<f64>, limit: Option<f64>| value.zip(limit).map(|(value, limit)| is_over(value, limit));
    let turnover = if row.stands() {
        row.limit_min.map(|_| true)
    } else {
        over(row.turnover.as_ref().map(|t| t.value), row.limit_min)
    };
    // Judged over the days the water was there: a season closed or a fitting in mid month is not a shortage.
    let daily = hours.filter(|_| served_days > 0.0).map(|h| h / served_days);
    let least = row.hours_limit;
    row.hours_in_use = daily;
    let too_few_hours =
        daily.zip(least).map(|(hours, least)| hours < least - hours_allowed(least) - least * AT_THE_LIMIT);
    row.failing = failing([
        turnover == Some(true),
        too_few_hours == Some(true),
        over(row.filter_rate, row.filter_limit) == Some(true),
        over(row.velocity, row.velocity_limit) == Some(true),
    ]);
    row.verdict = if turnover == Some(true) || too_few_hours == Some(true) {
        Verdict::Short
    } else if turnover == Some(false) && (least.is_none() || too_few_hours == Some(false)) {
        Verdict::Meets
    } else {
        Verdict::Unknown
    };
}

/// The names of what fails: turnover, filtration hours, filter rate and velocity, in that order.
fn failing([turnover, hours, rate, velocity]: [bool; 4]) -> &'static [&'static str] {
    const TURNOVER: &str = "turnover";
    const HOURS: &str = "filtration hours";
    const RATE: &str = "filter rate";
    const VELOCITY: &str = "velocity";
    match (turnover, hours, rate, velocity) {
        (false, false, false, false) => &[],
        (true, false, false, false) => &[TURNOVER],
        (false, true, false, false) => &[HOURS],
        (true, true, false, false) => &[TURNOVER, HOURS],
        (false, false, true, false) => &[RATE],
        (true, false, true, false) => &[TURNOVER, RATE],
        (false, true, true, false) => &[HOURS, RATE],
        (true, true, true, false) => &[TURNOVER, HOURS, RATE],
        (false, false, false, true) => &[VELOCITY],
        (true, false, false, true) => &[TURNOVER, VELOCITY],
        (false, true, false, true) => &[HOURS, VELOCITY],
        (true, true, false, true) => &[TURNOVER, HOURS, VELOCITY],
        (false, false, true, true) => &[RATE, VELOCITY],
        (true, false, true, true) => &[TURNOVER, RATE, VELOCITY],
        (false, true, true, true) => &[HOURS, RATE, VELOCITY],
        (true, true, true, true) => &[TURNOVER, HOURS, RATE, VELOCITY],
    }
}

fn flow_of(litres_a_minute: f64) -> VolumeRate {
    VolumeRate::new::<liter_per_minute>(litres_a_minute)
}

#[cfg(test)]
mod tests;
