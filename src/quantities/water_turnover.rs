//! Is the water turned over often enough? Per spa and month: flow, turnover time, turnovers and
//! filtration hours a day, filter rate, velocity, and the verdict of the rule book.
//!
//! A flow measured in the month wins; else the last measurement since the filter was cleaned; else
//! the pump's curve against the pipe loop; else what the maker states. A calculated flow never
//! passes for a measured one.
//!
//! Where a pump filters at two speeds, the flow is that of the speed it filters at longest, which is
//! the one gauges are read at. Where several pumps filter, each is taken alone in the loop and they
//! run one after the other as far as the day has room: how they share pipes is not in the records.

use chrono::NaiveDate;
use uom::si::area::square_meter;
use uom::si::f64::VolumeRate;
use uom::si::length::meter;
use uom::si::pressure::bar;
use uom::si::time::minute;
use uom::si::velocity::meter_per_second;
use uom::si::volume::liter;
use uom::si::volume_rate::liter_per_minute;

use crate::basis::{Basis, Figure, Source};
use crate::calendar::{Month, days_between, plus_days};
use crate::hydraulics::{self, OperatingPoint};
use crate::limits::LimitSet;
use crate::quantities::filters::History;
use crate::quantities::run_hours::{self, RunHours};
use crate::quantities::spa_loop::{self, Fouling, NoFlow, SpaLoop};
use crate::records::log::Quantity;
use crate::records::pumps::{Model, Speeds};
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
    /// What is written but cannot be: a curve that never meets the loop.
    pub findings: Vec<String>,
    /// A calculated flow over a measured one, less one, where both are known.
    pub model_error: Option<f64>,
    /// The flow when every filter has risen to where it is to be cleaned, L/min.
    pub flow_when_fouled: Option<Figure>,
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
/// Hours a day by which metered hours may fall short of a limit: cleaning, water changes and a counter's rounding take
/// some. Assumed; printed among the assumptions.
pub const SERVICE_HOURS: f64 = 1.0;
/// Hours of a day.
const DAY_HOURS: f64 = 24.0;

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
    };
    let closed = result.months.last().is_some_and(|m| m.verdict == Verdict::Closed);
    if let Some(limit) = flows.rise_limit() {
        result.flow_when_fouled = flows.calculated(last, Some(limit)).ok().map(|(flow, ..)| flow);
    }
    if let Err(NoFlow::Finding(finding)) = flows.calculated(last, None)
        && !closed
    {
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
    if let Some(found) = found.filter(|found| found.flow.value > 0.0) {
        if let Some(volume) = spa.volume.map(|v| v.0.get::<liter>()) {
            row.turnover = Some(found.flow.map(|q| volume / q));
            row.turnovers_per_day = found.moved(&runs, days).map(|litres| litres / volume / days);
        }
        // A speed the pump was not run at in the month did no harm.
        let ran = runs.iter().zip(&found.by_run).filter(|(run, _)| run.hours.is_none_or(|h| h > 0.0));
        let highest = ran.filter_map(|(_, flow)| *flow).fold(found.flow.value, f64::max);
        let areas: Option<f64> = spa.filters.iter().map(|f| f.area.map(|a| a.0.get::<square_meter>())).sum();
        row.filter_rate = areas.filter(|a| *a > 0.0).map(|area| highest / area);
        let size = spa.pipe.as_ref().and_then(|p| p.size);
        if let Some(bore) = size.and_then(|size| hydraulics::schedule_40_bore(size.0)) {
            let rate = VolumeRate::new::<liter_per_minute>(highest);
            row.velocity = Some(hydraulics::velocity(rate, bore).get::<meter_per_second>());
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

/// A pump at one of the speeds it filters at, in a month.
#[derive(Debug, Clone, Copy)]
pub struct FilterRun {
    /// Which of the filtering pumps.
    pub pump: usize,
    /// The speed.
    pub speed: Speed,
    /// Hours in the month; `None` = not known.
    pub hours: Option<f64>,
}

/// The flow of a month, at each speed of each pump.
struct Found {
    flow: Figure,
    head_m: Option<f64>,
    /// Beside each of the month's runs, L/min.
    by_run: Vec<Option<f64>>,
}

impl Found {
    /// Litres through the filter in the month: the sum of flow times hours over pumps and speeds.
    fn moved(&self, runs: &[FilterRun], days: f64) -> Option<f64> {
        if self.by_run.is_empty() {
            // Measured or stated for all pumps together.
            let hours: f64 = runs.iter().map(|run| run.hours).sum::<Option<f64>>().filter(|_| !runs.is_empty())?;
            return Some(self.flow.value * 60.0 * hours.min(DAY_HOURS * days));
        }
        runs.iter().zip(&self.by_run).map(|(run, flow)| Some(run.hours? * 60.0 * (*flow)?)).sum()
    }
}

/// How a loop was matched to a measured flow.
#[derive(Debug, Clone)]
struct Calibration {
    factor: f64,
    /// The calculated flow over the measured one, less one.
    error: f64,
    /// The day since which that pump stands there.
    since: NaiveDate,
}

/// A spa's pumps, filters and loop, ready to be asked for flows.
pub struct Flows<'a> {
    /// What all sites share.
    pub fleet: &'a Fleet,
    /// The site.
    pub site: &'a Site,
    /// The spa.
    pub spa: &'a Spa,
    /// The pumps that filter, with their hours.
    pub filtering: Vec<(&'a Pump, &'a RunHours)>,
    /// Beside the spa's filters, what their gauges showed.
    pub histories: &'a [History],
    models: Vec<Vec<(NaiveDate, Option<&'a Model>)>>,
    pipe: Option<SpaLoop>,
    calibration: Option<Calibration>,
}

impl<'a> Flows<'a> {
    /// Puts a spa's records in order. `hours` are those of its pumps, `histories` of its filters, in their order.
    pub fn of(
        fleet: &'a Fleet,
        site: &'a Site,
        spa: &'a Spa,
        hours: &'a [Option<RunHours>],
        histories: &'a [History],
    ) -> Self {
        let filtering: Vec<(&Pump, &RunHours)> = spa
            .pumps
            .iter()
            .zip(hours)
            .filter(|(pump, _)| !pump.filters_at.is_empty())
            .filter_map(|(pump, hours)| hours.as_ref().map(|h| (pump, h)))
            .collect();
        let models = filtering.iter().map(|(pump, _)| run_hours::models(fleet, site, pump)).collect();
        let mut flows =
            Self { fleet, site, spa, filtering, histories, models, pipe: SpaLoop::of(spa), calibration: None };
        flows.calibration = flows.calibrate();
        flows
    }

    /// The pumps and speeds that filter in a month. A speed a pump is not run at has no hours there.
    pub fn runs(&self, month: Month) -> Vec<FilterRun> {
        let mut runs = Vec::new();
        for (index, (pump, run)) in self.filtering.iter().enumerate() {
            if run.start >= month.last() || run.end < month.first() {
                continue;
            }
            let filters: Vec<Speed> =
                run.curves.iter().map(|c| c.speed).filter(|speed| pump.filters_at.contains(speed)).collect();
            let only = |hours| FilterRun { pump: index, speed: self.slowest(index, pump, month), hours };
            if run.curves.is_empty() || (filters.is_empty() && run.curves.iter().any(|c| c.speed == Speed::All)) {
                runs.push(only(None));
            } else if filters.is_empty() {
                runs.push(only(Some(0.0)));
            }
            for speed in filters {
                let hours = run.months.iter().find(|m| m.month == month && m.speed == speed);
                runs.push(FilterRun { pump: index, speed, hours: hours.map_or(Some(0.0), |m| m.hours) });
            }
        }
        runs
    }

    /// The slowest speed a pump filters at, for want of one it is known to run at.
    fn slowest(&self, index: usize, pump: &Pump, month: Month) -> Speed {
        match self.model_on(index, month.last()).map(|model| model.speeds) {
            Some(Speeds::Two) if pump.filters_at.contains(&Speed::Low) => Speed::Low,
            Some(Speeds::Two) => Speed::High,
            _ => Speed::Run,
        }
    }

    /// Which of the runs gauges are read at: the longest; of equals, and where hours are not known, the first.
    fn longest(runs: &[FilterRun]) -> Option<usize> {
        let hours = |run: &FilterRun| run.hours.unwrap_or(0.0);
        (0..runs.len()).rev().max_by(|a, b| hours(&runs[*a]).total_cmp(&hours(&runs[*b])))
    }

    /// The model that stands at a filtering pump's address at the end of a day.
    pub fn model_on(&self, pump: usize, day: NaiveDate) -> Option<&'a Model> {
        self.models.get(pump)?.iter().rev().find(|(from, _)| *from <= day)?.1
    }

    /// The model that stood there before the one of today, and the day it went, if it was another.
    pub fn model_before(&self, pump: usize) -> Option<(NaiveDate, &'a Model)> {
        let models = self.models.get(pump)?;
        let [.., (_, before), (day, now)] = models.as_slice() else { return None };
        let (before, now) = ((*before)?, (*now)?);
        (!std::ptr::eq(before, now)).then_some((*day, before))
    }

    /// The flow through the filter in a month, by the firmest thing that is known of it.
    fn flow(&self, month: Month, runs: &[FilterRun]) -> Option<Found> {
        let whole = |flow: Figure| {
            let by_run = self.beside(&flow, runs, month);
            Found { flow, head_m: None, by_run }
        };
        self.measured(month)
            .map(whole)
            .or_else(|| self.since_cleaning(month).map(whole))
            .or_else(|| {
                let (flow, head_m, by_run) = self.calculated(month, None).ok()?;
                Some(Found { flow, head_m: Some(head_m), by_run })
            })
            .or_else(|| self.stated().map(whole))
    }

    /// Where one pump filters at several speeds, the flow at each beside one known at the longest.
    /// Empty where the known flow is that of all.
    fn beside(&self, flow: &Figure, runs: &[FilterRun], month: Month) -> Vec<Option<f64>> {
        let [first, .., _] = runs else { return Vec::new() };
        if runs.iter().any(|run| run.pump != first.pump) {
            return Vec::new();
        }
        let Some(longest) = Self::longest(runs) else { return Vec::new() };
        let calculated = self.calculated(month, None).ok().map(|(_, _, by_run)| by_run);
        let model = self.model_on(first.pump, month.last());
        let speed = |run: &FilterRun| model.map(|m| if run.speed == Speed::Low { spa_loop::low_speed(m) } else { 1.0 });
        runs.iter()
            .enumerate()
            .map(|(index, run)| {
                if index == longest {
                    return Some(flow.value);
                }
                // By the curve in the loop; without one flow goes with the speed, nearly.
                let by_curve =
                    calculated.as_ref().and_then(|c| Some(c.get(index).copied()?? / c.get(longest).copied()??));
                let by_speed = speed(run).zip(speed(&runs[longest])).map(|(this, longest)| this / longest);
                by_curve.or(by_speed).map(|share| flow.value * share)
            })
            .collect()
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
            sources.extend(rows.iter().map(|r| r.source(self.site, &filter.at)));
        }
        let (low, high) = (low.min(sum * (1.0 - MEASURED_WITHIN)), high.max(sum * (1.0 + MEASURED_WITHIN)));
        Some(Figure::new(sum, low, high, Basis::Measured, sources))
    }

    /// The last measurement, if nothing has been cleaned or changed since.
    fn since_cleaning(&self, month: Month) -> Option<Figure> {
        let (mut sum, mut sources) = (0.0, Vec::new());
        for (filter, history) in self.spa.filters.iter().zip(self.histories) {
            let row = self.site.readings_of(&filter.at, Quantity::Flow).filter(|r| r.day <= month.last()).last()?;
            // Work of the same day comes after the reading, unless that says `after`.
            let since = |day: NaiveDate| day <= month.last() && (day > row.day || (day == row.day && !row.after));
            let cleaned = history.cleans().iter().copied().any(since);
            let exchanged = self.filtering.iter().any(|(_, run)| run.exchanges.iter().copied().any(since));
            if cleaned || exchanged {
                return None;
            }
            sum += row.value;
            sources.push(row.source(self.site, &filter.at));
        }
        // The filter has fouled since, so that the flow is hardly more and may well be less.
        let low = 1.0 - CALIBRATED_WITHIN;
        (sum > 0.0).then(|| Figure::new(sum, sum * low, sum * (1.0 + MEASURED_WITHIN), Basis::Estimated, sources))
    }

    /// The flow by the curve against the loop, with the head and the flow of each of the month's runs. With
    /// the filter as it was in the month, or with `rise` bar above clean.
    fn calculated(&self, month: Month, rise: Option<f64>) -> Result<(Figure, f64, Vec<Option<f64>>), NoFlow> {
        let runs = self.runs(month);
        let factor = self.calibration.as_ref().filter(|c| c.since <= month.last()).map(|c| c.factor);
        let pipe = self.pipe.as_ref().ok_or(NoFlow::NotWritten)?.calibrated_by(factor.unwrap_or(1.0));
        let longest = Self::longest(&runs).ok_or(NoFlow::NotWritten)?;
        let known_rise = rise.or_else(|| self.rise(month));
        let rise = known_rise.unwrap_or(0.0);
        let curve_of = |run: &FilterRun| {
            let model = self.model_on(run.pump, month.last()).ok_or(NoFlow::NotWritten)?;
            spa_loop::curve(model, run.speed)
        };
        let main = pipe.point(&curve_of(&runs[longest])?, Fouling::AtWorkingPoint(rise))?;
        let litres = |point: &OperatingPoint| point.flow.get::<liter_per_minute>();
        let by_run: Vec<Option<f64>> = runs
            .iter()
            .enumerate()
            .map(|(index, run)| {
                if index == longest {
                    return Some(litres(&main));
                }
                let point = pipe.point(&curve_of(run).ok()?, Fouling::AtFlow(rise, main.flow)).ok()?;
                Some(litres(&point))
            })
            .collect();
        let within = if factor.is_some() { CALIBRATED_WITHIN } else { CURVE_WITHIN };
        let least =
            if factor.is_none() && (!pipe.complete || known_rise.is_none()) { INCOMPLETE_WITHIN } else { within };
        let sources = vec![self.site.source(&format!("spas.{}.pipe", self.spa.at))];
        let head = main.head.get::<meter>();
        let several = runs.iter().any(|run| run.pump != runs[longest].pump);
        if !several {
            let flow = litres(&main);
            let figure = Figure::new(flow, flow * (1.0 - least), flow * (1.0 + within), Basis::Curve, sources);
            return Ok((figure, head, by_run));
        }
        let days = f64::from(month.days());
        let hours: f64 = runs.iter().map(|r| r.hours).sum::<Option<f64>>().ok_or(NoFlow::NotWritten)?;
        let flows: Vec<f64> = by_run.iter().copied().collect::<Option<_>>().ok_or(NoFlow::NotWritten)?;
        if hours <= 0.0 {
            return Err(NoFlow::NotWritten);
        }
        let moved: f64 = runs.iter().zip(&flows).map(|(run, flow)| run.hours.unwrap_or(0.0) * flow).sum();
        let flow = moved / hours.min(DAY_HOURS * days);
        let low = flows.iter().copied().fold(f64::INFINITY, f64::min) * (1.0 - least);
        let high = flows.iter().sum::<f64>() * (1.0 + within);
        Ok((Figure::new(flow, low, high, Basis::Curve, sources), head, by_run))
    }

    /// The mean rise of the filters' pressure above clean in a month, bar. They stand side by side.
    fn rise(&self, month: Month) -> Option<f64> {
        let rises: Vec<f64> = self.histories.iter().filter_map(|h| h.mean_rise(month)).collect();
        (!rises.is_empty()).then(|| rises.iter().sum::<f64>() / rises.len() as f64)
    }

    /// The rise at which the book has filters cleaned, bar.
    fn rise_limit(&self) -> Option<f64> {
        let mut tasks = self.fleet.book.tasks.iter().filter(|(_, task)| task.fits.as_str() == "filter");
        tasks.find_map(|(_, task)| task.or_pressure_rise).map(|p| p.0.get::<bar>())
    }

    fn stated(&self) -> Option<Figure> {
        let flow = self.spa.stated_flow?.0.get::<liter_per_minute>();
        let source = self.site.source(&format!("spas.{}.stated_flow", self.spa.at));
        Some(Figure::within(flow, STATED_WITHIN, Basis::Stated, vec![source]))
    }

    /// Matches the loop to the last measured flow of the pump that is there now.
    fn calibrate(&self) -> Option<Calibration> {
        let ([(_, run)], [filter]) = (self.filtering.as_slice(), self.spa.filters.as_slice()) else { return None };
        let since = run.exchanges.last().copied().unwrap_or(run.start);
        let row = self
            .site
            .readings_of(&filter.at, Quantity::Flow)
            .filter(|r| r.day > since || (r.day == since && r.after))
            .last()?;
        let rise = self.histories.first()?.rise_on(row.day, row.after).unwrap_or(0.0);
        let runs = self.runs(Month::of(row.day));
        let speed = runs.get(Self::longest(&runs)?)?.speed;
        let curve = spa_loop::curve(self.model_on(0, row.day)?, speed).ok()?;
        let pipe = self.pipe.as_ref()?;
        let calculated = pipe.point(&curve, Fouling::AtWorkingPoint(rise)).ok()?;
        let factor = pipe.calibration(VolumeRate::new::<liter_per_minute>(row.value), rise, &curve)?;
        let error = calculated.flow.get::<liter_per_minute>() / row.value - 1.0;
        Some(Calibration { factor, error, since })
    }

    /// The flow another model would give in this loop at the speed the pump now filters at longest, with the
    /// filter as it was in a month or clean. `None` if it cannot be computed, or several pumps filter.
    pub fn flow_with(&self, model: Option<&Model>, month: Month, clean: bool) -> Option<Figure> {
        self.point_with(model, month, clean).map(|(flow, _)| flow)
    }

    /// The same with the head of the pump at that flow, m.
    pub fn point_with(&self, model: Option<&Model>, month: Month, clean: bool) -> Option<(Figure, f64)> {
        let [_] = self.filtering.as_slice() else { return None };
        let runs = self.runs(month);
        let speed = runs.get(Self::longest(&runs)?)?.speed;
        let model = model.or_else(|| self.model_on(0, month.last()))?;
        let curve = spa_loop::curve(model, speed).ok()?;
        let rise = if clean { 0.0 } else { self.rise(month).unwrap_or(0.0) };
        let (pipe, within) = match &self.calibration {
            Some(c) => (self.pipe.as_ref()?.calibrated_by(c.factor), CALIBRATED_WITHIN),
            None => (self.pipe.clone()?, CURVE_WITHIN),
        };
        let least = if self.calibration.is_none() && !pipe.complete { INCOMPLETE_WITHIN } else { within };
        let point = pipe.point(&curve, Fouling::AtWorkingPoint(rise)).ok()?;
        let flow = point.flow.get::<liter_per_minute>();
        let source = self.site.source(&format!("spas.{}.pipe", self.spa.at));
        let figure = Figure::new(flow, flow * (1.0 - least), flow * (1.0 + within), Basis::Curve, vec![source]);
        Some((figure, point.head.get::<meter>()))
    }

    /// What would let the flow be known.
    fn missing(&self) -> String {
        let at = &self.spa.at;
        match self.filtering.as_slice() {
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
            _ => format!(
                "a `flow` reading at each filter of {at}, its `stated_flow`, or `pipe` and the `curve` and hours of each pump that filters there"
            ),
        }
    }
}

/// The records a month's verdict rests on.
pub fn sources(row: &WaterMonth) -> Vec<Source> {
    row.flow.as_ref().map(|f| f.sources.clone()).unwrap_or_default()
}

#[cfg(test)]
mod tests;
