//! Which flow a spa's water had in a month, by the firmest thing that is known of it, and what its pumps ran.
//!
//! It holds a spa's pumps, filters and loop in order, so that turnover, fouling and the ways out of a
//! shortage ask the same. It must not judge.

use chrono::NaiveDate;
use uom::si::volume_rate::liter_per_minute;

use super::calculated::{Calculated, Calibration};
use super::{CALIBRATED_WITHIN, DAY_HOURS, INCOMPLETE_WITHIN, MEASURED_WITHIN, STATED_WITHIN};
use crate::basis::{Basis, Figure};
use crate::calendar::Month;
use crate::quantities::filters::{History, READ_WITHIN_BAR};
use crate::quantities::run_hours::RunHours;
use crate::quantities::spa_loop::{self, SpaLoop};
use crate::records::log::Quantity;
use crate::records::pumps::{Model, Speeds};
use crate::records::tubs::Speed;
use crate::records::{Filter, Fleet, Pump, ReadingRow, Site, Spa};

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

/// The flow of a month.
pub(super) struct Found {
    /// Through the filters while they are fed.
    pub(super) flow: Figure,
    /// The pump's head where it was calculated, m.
    pub(super) head_m: Option<f64>,
    /// Litres through the filters in the month: flow times hours, over pumps and speeds.
    pub(super) moved: Option<f64>,
    /// The most that went through filter and pipe at any time, L/min.
    pub(super) highest: f64,
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
    /// Beside the spa's filters, the flows read there, in order.
    pub(super) readings: Vec<Vec<ReadingRow>>,
    pub(super) pipe: Option<SpaLoop>,
    pub(super) calibration: Option<Calibration>,
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
        let models = filtering.iter().map(|(pump, _)| fleet.models_at(site, pump)).collect();
        let of_filter = |filter: &Filter| site.readings_of(&filter.at, Quantity::Flow).copied().collect();
        let readings = spa.filters.iter().map(of_filter).collect();
        let pipe = SpaLoop::of(spa);
        let mut flows = Self { fleet, site, spa, filtering, histories, models, readings, pipe, calibration: None };
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
                let found = run.months.binary_search_by_key(&(month, speed), |m| (m.month, m.speed));
                let hours = found.map_or(Some(0.0), |index| run.months[index].hours);
                runs.push(FilterRun { pump: index, speed, hours });
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
    pub(super) fn longest(runs: &[FilterRun]) -> Option<usize> {
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
    pub(super) fn flow(&self, month: Month, runs: &[FilterRun]) -> Option<Found> {
        let whole = |flow: Figure| self.known_at_longest(flow, runs, month);
        let calculated = || {
            let Calculated { flow, head_m, moved, highest, .. } = self.calculated(month, None).ok()?;
            Some(Found { flow, head_m: Some(head_m), moved, highest })
        };
        if let Some(flow) = self.measured(month) {
            return Some(whole(flow));
        }
        match self.since_cleaning(month) {
            Some(flow) if !self.fouled_since_measured(month) => Some(whole(flow)),
            // The measurement still says how the loop is; the gauge says what the filter has come to take since. Where the pump
            // moves nothing against that, no older figure stands in for it.
            Some(_) if self.calibration.is_some() => calculated(),
            Some(flow) => {
                let low = flow.value * (1.0 - INCOMPLETE_WITHIN);
                Some(whole(Figure { low: flow.low.min(low), ..flow }))
            }
            None => calculated().or_else(|| self.stated().map(whole)),
        }
    }

    /// A flow that was measured or stated: that of all pumps together, or of one pump at the speed it runs longest at.
    fn known_at_longest(&self, flow: Figure, runs: &[FilterRun], month: Month) -> Found {
        let by_run = self.beside(&flow, runs, month);
        if by_run.is_empty() {
            let hours: Option<f64> = runs.iter().map(|run| run.hours).sum();
            let most = DAY_HOURS * f64::from(month.days());
            let moved = hours.filter(|_| !runs.is_empty()).map(|hours| flow.value * 60.0 * hours.min(most));
            return Found { highest: flow.value, head_m: None, moved, flow };
        }
        // A speed the pump was not run at in the month did no harm.
        let ran = runs.iter().zip(&by_run).filter(|(run, _)| run.hours.is_none_or(|h| h > 0.0));
        let highest = ran.filter_map(|(_, flow)| *flow).fold(flow.value, f64::max);
        let moved = runs.iter().zip(&by_run).map(|(run, flow)| Some(run.hours? * 60.0 * (*flow)?)).sum();
        Found { highest, head_m: None, moved, flow }
    }

    /// Where one pump filters at several speeds, the flow at each beside one known at the longest.
    /// Empty where the known flow is that of all.
    fn beside(&self, flow: &Figure, runs: &[FilterRun], month: Month) -> Vec<Option<f64>> {
        let [first, .., _] = runs else { return Vec::new() };
        if runs.iter().any(|run| run.pump != first.pump) {
            return Vec::new();
        }
        let Some(longest) = Self::longest(runs) else { return Vec::new() };
        let calculated = self.calculated(month, None).ok().map(|calculated| calculated.by_run);
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
        let (first, last) = (month.first(), month.last());
        let exchanges = self.filtering.iter().flat_map(|(_, run)| &run.exchanges);
        let exchanged = exchanges.copied().filter(|day| *day <= last).max();
        for (filter, all) in self.spa.filters.iter().zip(&self.readings) {
            let begin = all.partition_point(|row| row.day < first);
            let rows = &all[begin..all.partition_point(|row| row.day <= last)];
            // What was measured of a pump that has gone says nothing of the one that stands there.
            let rows = &rows[rows
                .partition_point(|row| exchanged.is_some_and(|day| row.day < day || (row.day == day && !row.after)))..];
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
        let last = month.last();
        for ((filter, history), all) in self.spa.filters.iter().zip(self.histories).zip(&self.readings) {
            let row = all[..all.partition_point(|row| row.day <= last)].last()?;
            // Work of the same day comes after the reading, unless that says `after`.
            let since = |day: NaiveDate| day <= last && (day > row.day || (day == row.day && !row.after));
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

    /// Whether the gauges stand higher in a month than when the flow was last measured, by more than they are read to.
    fn fouled_since_measured(&self, month: Month) -> bool {
        self.histories.iter().zip(&self.readings).any(|(history, all)| {
            let row = all[..all.partition_point(|row| row.day <= month.last())].last();
            let then = row.and_then(|row| history.rise_on(row.day, row.after));
            then.zip(history.rise_in(month)).is_some_and(|(then, now)| now > then + READ_WITHIN_BAR)
        })
    }

    fn stated(&self) -> Option<Figure> {
        let flow = self.spa.stated_flow?.0.get::<liter_per_minute>();
        let source = self.site.source(&format!("spas.{}.stated_flow", self.spa.at));
        Some(Figure::within(flow, STATED_WITHIN, Basis::Stated, vec![source]))
    }

    /// What would let the flow be known.
    pub(super) fn missing(&self) -> String {
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
