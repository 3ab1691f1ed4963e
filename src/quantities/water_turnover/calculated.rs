//! The flow by the pump's curve against the pipe loop, matched to the last measured flow where there is one.
//!
//! Several pumps that filter one spa are taken to share its pipe and its filters, since the records know one loop a
//! spa: while they run together they stand side by side on it and hold each other back. That is the cautious
//! reading; with loops of their own the flow is more, which the high end of the range allows for. They run one
//! after the other as far as the day has room, and together beyond that.

use chrono::NaiveDate;
use uom::si::f64::VolumeRate;
use uom::si::length::meter;
use uom::si::pressure::bar;
use uom::si::volume_rate::liter_per_minute;

use super::flows::{FilterRun, Flows};
use super::{CALIBRATED_WITHIN, CURVE_WITHIN, DAY_HOURS, INCOMPLETE_WITHIN, MEASURED_WITHIN};
use crate::basis::{Basis, Figure};
use crate::calendar::Month;
use crate::hydraulics::{OperatingPoint, PumpCurve};
use crate::quantities::spa_loop::{self, Fouling, NoFlow, SpaLoop};
use crate::records::pumps::Model;
use crate::report::format;

/// A flow that was calculated.
pub(super) struct Calculated {
    /// Through the filters while they are fed.
    pub(super) flow: Figure,
    /// The head at the point that holds longest, m.
    pub(super) head_m: f64,
    /// Beside each of the month's runs, as if it ran alone, L/min.
    pub(super) by_run: Vec<Option<f64>>,
    /// Litres through the filters in the month.
    pub(super) moved: Option<f64>,
    /// The most that went through at any time, L/min.
    pub(super) highest: f64,
}

/// How a loop was matched to a measured flow.
#[derive(Debug, Clone)]
pub(super) struct Calibration {
    pub(super) factor: f64,
    /// The calculated flow over the measured one, less one.
    pub(super) error: f64,
    /// Whether it was known how fouled the filters were when it was measured; else part of the factor may be dirt.
    pub(super) rise_known: bool,
    /// The day since which that pump stands there.
    pub(super) since: NaiveDate,
}

impl Flows<'_> {
    /// The flow by the curve against the loop, with the filter as it was in the month or with `rise` bar above clean.
    pub(super) fn calculated(&self, month: Month, rise: Option<f64>) -> Result<Calculated, NoFlow> {
        let factor = self.matched(month).map(|c| c.factor);
        self.calculated_in(self.pipe.as_ref().ok_or(NoFlow::NotWritten)?, factor, month, rise)
    }

    /// The most that would go through filter and pipe at any time with clean filters if the loop were `changed`, L/min;
    /// matched to a measured flow where that lets more through. Losses above those of the pipe as it is written are counted on
    /// only where not all of it is written, and not where they may be dirt: what is laid out by this flow is to be enough.
    /// `None` if it cannot be computed.
    pub fn highest_when_clean(&self, month: Month, changed: impl Fn(&SpaLoop) -> SpaLoop) -> Option<f64> {
        let pipe = changed(self.pipe.as_ref()?);
        let factor =
            self.matched(month).map(|c| if c.rise_known && !pipe.complete { c.factor } else { c.factor.min(1.0) });
        self.calculated_in(&pipe, factor, month, Some(0.0)).ok().map(|calculated| calculated.highest)
    }

    /// The calibration that holds in a month.
    fn matched(&self, month: Month) -> Option<&Calibration> {
        self.calibration.as_ref().filter(|c| c.since <= month.last())
    }

    fn calculated_in(
        &self,
        pipe: &SpaLoop,
        factor: Option<f64>,
        month: Month,
        rise: Option<f64>,
    ) -> Result<Calculated, NoFlow> {
        let runs = self.runs(month);
        let pipe = pipe.calibrated_by(factor.unwrap_or(1.0));
        let longest = Self::longest(&runs).ok_or(NoFlow::NotWritten)?;
        let known_rise = rise.or_else(|| self.rise(month));
        let within = if factor.is_some() { CALIBRATED_WITHIN } else { CURVE_WITHIN };
        // A filter nobody read the gauge of may have fouled, whatever the loop was matched to.
        let incomplete = known_rise.is_none() || (factor.is_none() && !pipe.complete);
        let least = if incomplete { INCOMPLETE_WITHIN } else { within };
        let sources = vec![self.site.source(&format!("spas.{}.pipe", self.spa.at))];
        let rise = known_rise.unwrap_or(0.0);
        if runs.iter().any(|run| run.pump != runs[longest].pump) {
            let found = self.of_several(&pipe, &runs, month, rise)?;
            let figure = Figure::new(
                found.flow,
                found.lowest * (1.0 - least),
                found.in_own_loops.max(found.flow) * (1.0 + within),
                Basis::Curve,
                sources,
            );
            let Several { head_m, by_run, moved, highest, .. } = found;
            return Ok(Calculated { flow: figure, head_m, by_run, moved: Some(moved), highest });
        }
        let main = pipe.point(&self.curve_of(&runs[longest], month)?, Fouling::AtWorkingPoint(rise))?;
        let by_run: Vec<Option<f64>> = runs
            .iter()
            .enumerate()
            .map(|(index, run)| {
                if index == longest {
                    return Some(litres(&main));
                }
                let curve = self.curve_of(run, month).ok()?;
                Some(litres(&pipe.point(&curve, Fouling::AtFlow(rise, main.flow)).ok()?))
            })
            .collect();
        let flow = litres(&main);
        let ran = runs.iter().zip(&by_run).filter(|(run, _)| run.hours.is_none_or(|h| h > 0.0));
        let highest = ran.filter_map(|(_, flow)| *flow).fold(flow, f64::max);
        let moved = runs.iter().zip(&by_run).map(|(run, flow)| Some(run.hours? * 60.0 * (*flow)?)).sum();
        let figure = Figure::new(flow, flow * (1.0 - least), flow * (1.0 + within), Basis::Curve, sources);
        Ok(Calculated { flow: figure, head_m: main.head.get::<meter>(), by_run, moved, highest })
    }

    /// The flow with clean filters of so many times the area, by the calibration that holds. `None` if it cannot be computed, or
    /// if what the filters take when clean is not written, so that their area changes nothing.
    pub fn flow_with_area(&self, month: Month, times: f64) -> Option<Figure> {
        let pipe = self.pipe.as_ref().filter(|pipe| pipe.knows_filter_drop())?.with_filter_area(times);
        let factor = self.matched(month).map(|c| c.factor);
        self.calculated_in(&pipe, factor, month, Some(0.0)).ok().map(|calculated| calculated.flow)
    }

    /// The rise above clean at which the flow has fallen to so many litres a minute, bar. `None` if it cannot be computed, is
    /// less than that with clean filters, or never falls so low within what a filter bears.
    pub fn rise_at_flow(&self, month: Month, litres_a_minute: f64) -> Option<f64> {
        /// Bar; a filter is cleaned long before.
        const HIGHEST: f64 = 3.0;
        // A pump that moves nothing any more moves less than is asked for.
        let flow = |rise: f64| match self.calculated(month, Some(rise)) {
            Ok(calculated) => Some(calculated.flow.value),
            Err(NoFlow::Finding(_)) => Some(0.0),
            Err(NoFlow::NotWritten) => None,
        };
        if flow(0.0)? <= litres_a_minute || flow(HIGHEST)? > litres_a_minute {
            return None;
        }
        let (mut low, mut high) = (0.0, HIGHEST);
        while high - low > 1e-4 {
            let middle = f64::midpoint(low, high);
            if flow(middle)? > litres_a_minute {
                low = middle;
            } else {
                high = middle;
            }
        }
        Some(low)
    }

    /// A measured flow that the pump's curve gives at no head at all, as the end of a sentence.
    pub(super) fn beyond_curve(&self) -> Option<String> {
        let ([_], [readings]) = (self.filtering.as_slice(), self.readings.as_slice()) else { return None };
        let row = readings.last()?;
        let month = Month::of(row.day);
        let runs = self.runs(month);
        let curve = self.curve_of(runs.get(Self::longest(&runs)?)?, month).ok()?;
        let most = curve.largest_flow().get::<liter_per_minute>();
        let units = self.fleet.settings.units;
        (row.value > most * (1.0 + MEASURED_WITHIN)).then(|| {
            format!(
                "the flow of {} measured on {} is more than the pump's curve gives at any head ({})",
                format::flow(row.value, units),
                crate::calendar::in_words(row.day),
                format::flow(most, units)
            )
        })
    }

    /// A month's calculated flow where it is far beyond the last stated point of the pump's curve, as the end of a sentence.
    pub(super) fn extrapolated(&self, month: Month, calculated: &Calculated) -> Option<String> {
        /// Times the last stated flow, beyond which the curve's run is a guess. Common practice, no source.
        const FAR: f64 = 1.5;
        let runs = self.runs(month);
        let longest = Self::longest(&runs)?;
        let curve = self.curve_of(runs.get(longest)?, month).ok()?;
        let last = curve.last_stated_flow().get::<liter_per_minute>();
        let flow = calculated.by_run.get(longest).copied()??;
        let units = self.fleet.settings.units;
        (flow > FAR * last).then(|| {
            format!(
                "the calculated flow of {} lies far beyond the last point stated of the pump's curve ({}), so it is a guess",
                format::flow(flow, units),
                format::flow(last, units)
            )
        })
    }

    fn curve_of(&self, run: &FilterRun, month: Month) -> Result<PumpCurve, NoFlow> {
        let model = self.model_on(run.pump, month.last()).ok_or(NoFlow::NotWritten)?;
        spa_loop::curve(model, run.speed)
    }

    /// Several pumps on the one loop, each with its hours of the month.
    fn of_several(&self, pipe: &SpaLoop, runs: &[FilterRun], month: Month, rise: f64) -> Result<Several, NoFlow> {
        let hours: Vec<f64> = runs.iter().map(|run| run.hours).collect::<Option<_>>().ok_or(NoFlow::NotWritten)?;
        let spans = end_to_end(&hours, DAY_HOURS * f64::from(month.days()));
        let curves: Vec<PumpCurve> = runs.iter().map(|run| self.curve_of(run, month)).collect::<Result<_, NoFlow>>()?;
        let together = |running: &[usize]| {
            let curves: Vec<PumpCurve> = running.iter().map(|run| curves[*run].clone()).collect();
            PumpCurve::side_by_side(&curves).ok_or(NoFlow::NotWritten)
        };
        // Gauges are read in the state that holds longest; at others the rise goes with the flow's square.
        let (main_runs, _) = spans.iter().rev().max_by(|a, b| a.1.total_cmp(&b.1)).ok_or(NoFlow::NotWritten)?;
        let main = pipe.point(&together(main_runs)?, Fouling::AtWorkingPoint(rise))?;
        let at = |running: &[usize]| -> Result<f64, NoFlow> {
            if running == main_runs.as_slice() {
                return Ok(litres(&main));
            }
            Ok(litres(&pipe.point(&together(running)?, Fouling::AtFlow(rise, main.flow))?))
        };
        let alone: Vec<f64> = (0..runs.len()).map(|run| at(&[run])).collect::<Result<_, NoFlow>>()?;
        let (mut moved, mut fed) = (0.0, 0.0);
        let (mut highest, mut lowest, mut in_own_loops) = (0.0f64, f64::INFINITY, 0.0f64);
        for (running, hours) in &spans {
            let flow = at(running)?;
            moved += flow * 60.0 * hours;
            fed += hours;
            highest = highest.max(flow);
            lowest = lowest.min(running.iter().map(|run| alone[*run]).fold(f64::INFINITY, f64::min));
            in_own_loops = in_own_loops.max(running.iter().map(|run| alone[*run]).sum());
        }
        Ok(Several {
            flow: moved / 60.0 / fed,
            head_m: main.head.get::<meter>(),
            by_run: alone.into_iter().map(Some).collect(),
            moved,
            highest,
            lowest,
            in_own_loops,
        })
    }

    /// The rise of the filters' pressure above clean in a month, bar; the mean of them, for they stand side by side.
    pub(super) fn rise(&self, month: Month) -> Option<f64> {
        let rises: Vec<f64> = self.histories.iter().filter_map(|h| h.rise_in(month)).collect();
        (!rises.is_empty()).then(|| rises.iter().sum::<f64>() / rises.len() as f64)
    }

    /// The rise at which the book has filters cleaned, bar.
    pub(super) fn rise_limit(&self) -> Option<f64> {
        let mut tasks = self.fleet.book.tasks.iter().filter(|(_, task)| task.fits.as_str() == "filter");
        tasks.find_map(|(_, task)| task.or_pressure_rise).map(|p| p.0.get::<bar>())
    }

    /// Matches the loop to the last measured flow of the pump that is there now.
    pub(super) fn calibrate(&self) -> Option<Calibration> {
        let ([(_, run)], [readings]) = (self.filtering.as_slice(), self.readings.as_slice()) else { return None };
        let since = run.exchanges.last().copied().unwrap_or(run.start);
        let row = readings.last().filter(|r| r.day > since || (r.day == since && r.after))?;
        let known_rise = self.histories.first()?.rise_on(row.day, row.after);
        let rise = known_rise.unwrap_or(0.0);
        let runs = self.runs(Month::of(row.day));
        let speed = runs.get(Self::longest(&runs)?)?.speed;
        let curve = spa_loop::curve(self.model_on(0, row.day)?, speed).ok()?;
        let pipe = self.pipe.as_ref()?;
        let calculated = pipe.point(&curve, Fouling::AtWorkingPoint(rise)).ok()?;
        let factor = pipe.calibration(VolumeRate::new::<liter_per_minute>(row.value), rise, &curve)?;
        let error = calculated.flow.get::<liter_per_minute>() / row.value - 1.0;
        Some(Calibration { factor, error, rise_known: known_rise.is_some(), since })
    }

    /// The flow another model would give in this loop at the speed the pump now filters at longest, with the
    /// filter as it was in a month or clean. `None` if it cannot be computed. Where several pumps filter it is that of
    /// all as they are, since which of them another model would stand for is not said.
    pub fn flow_with(&self, model: Option<&Model>, month: Month, clean: bool) -> Option<Figure> {
        self.point_with(model, month, clean).map(|(flow, _)| flow)
    }

    /// The same with the head of the pump at that flow, m.
    pub fn point_with(&self, model: Option<&Model>, month: Month, clean: bool) -> Option<(Figure, f64)> {
        if self.filtering.len() > 1 {
            let rise = if clean { 0.0 } else { self.rise(month).unwrap_or(0.0) };
            return self.calculated(month, Some(rise)).ok().map(|c| (c.flow, c.head_m)).filter(|_| model.is_none());
        }
        let runs = self.runs(month);
        let speed = runs.get(Self::longest(&runs)?)?.speed;
        let model = model.or_else(|| self.model_on(0, month.last()))?;
        let curve = spa_loop::curve(model, speed).ok()?;
        let known_rise = if clean { Some(0.0) } else { self.rise(month) };
        let rise = known_rise.unwrap_or(0.0);
        let (pipe, within) = match &self.calibration {
            Some(c) => (self.pipe.as_ref()?.calibrated_by(c.factor), CALIBRATED_WITHIN),
            None => (self.pipe.clone()?, CURVE_WITHIN),
        };
        let incomplete = known_rise.is_none() || (self.calibration.is_none() && !pipe.complete);
        let least = if incomplete { INCOMPLETE_WITHIN } else { within };
        let point = pipe.point(&curve, Fouling::AtWorkingPoint(rise)).ok()?;
        let flow = point.flow.get::<liter_per_minute>();
        let source = self.site.source(&format!("spas.{}.pipe", self.spa.at));
        let figure = Figure::new(flow, flow * (1.0 - least), flow * (1.0 + within), Basis::Curve, vec![source]);
        Some((figure, point.head.get::<meter>()))
    }
}

/// What several pumps give on one loop, L/min.
struct Several {
    /// The mean while any of them feeds the filters.
    flow: f64,
    head_m: f64,
    by_run: Vec<Option<f64>>,
    /// Litres in the month.
    moved: f64,
    highest: f64,
    /// The least that one of them gives alone.
    lowest: f64,
    /// The most they would give together if each had a loop like this one.
    in_own_loops: f64,
}

fn litres(point: &OperatingPoint) -> f64 {
    point.flow.get::<liter_per_minute>()
}

/// Which of some runs hold at once, and for how many hours: laid end to end round the month's hours, so that they
/// overlap only where there is no room for one after the other. Runs without hours are in none.
fn end_to_end(hours: &[f64], month_hours: f64) -> Vec<(Vec<usize>, f64)> {
    let mut pieces: Vec<(f64, f64, usize)> = Vec::new();
    let mut begin = 0.0;
    for (run, hours) in hours.iter().enumerate() {
        let mut left = hours.min(month_hours);
        while left > 1e-9 {
            let end = (begin + left).min(month_hours);
            pieces.push((begin, end, run));
            left -= end - begin;
            begin = if end >= month_hours - 1e-9 { 0.0 } else { end };
        }
    }
    let mut edges: Vec<f64> = pieces.iter().flat_map(|(from, to, _)| [*from, *to]).collect();
    edges.sort_by(f64::total_cmp);
    let mut spans: Vec<(Vec<usize>, f64)> = Vec::new();
    for pair in edges.windows(2).filter(|pair| pair[1] - pair[0] > 1e-9) {
        let middle = f64::midpoint(pair[0], pair[1]);
        let mut running: Vec<usize> =
            pieces.iter().filter(|(from, to, _)| *from < middle && middle < *to).map(|(_, _, run)| *run).collect();
        running.sort_unstable();
        if running.is_empty() {
            continue;
        }
        match spans.iter_mut().find(|(known, _)| *known == running) {
            Some((_, hours)) => *hours += pair[1] - pair[0],
            None => spans.push((running, pair[1] - pair[0])),
        }
    }
    spans
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_overlap_only_where_there_is_no_room() {
        assert_eq!(end_to_end(&[300.0, 200.0, 0.0], 720.0), [(vec![0], 300.0), (vec![1], 200.0)]);
        assert_eq!(end_to_end(&[720.0, 100.0], 720.0), [(vec![0, 1], 100.0), (vec![0], 620.0)]);
        assert_eq!(end_to_end(&[500.0, 400.0], 720.0), [(vec![0, 1], 180.0), (vec![0], 320.0), (vec![1], 220.0)]);
        assert!(end_to_end(&[0.0], 720.0).is_empty());
    }
}
