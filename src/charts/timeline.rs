//! A quantity read over time, with a fitted line, level lines and the day a limit is reached.
//!
//! It exists because the pressure at a filter and the condition of a pump are the same picture. It
//! must not fit anything: the line and the day it crosses the limit come with the figures.

use chrono::{Datelike, Days, NaiveDate};

use super::NoChart;
use super::axis::{
    DayScale, EndLabel, MONTHS_HEIGHT, ValueAxis, check, end_label_room, end_labels, long_day, long_month,
};
use super::canvas::{Anchor, Canvas, Drawing, Type};
use super::style::{self, ACCENT, GREY_GRID, GREY_TEXT, INK, Mark, PLAN, TICK, WIDTH};

/// One reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// The day it was taken.
    pub date: NaiveDate,
    /// The value, in the chart's unit.
    pub value: f64,
    /// Estimated, not measured: drawn hollow.
    pub is_estimated: bool,
}

/// A straight line fitted to readings, from one day to another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// Its first day.
    pub from: NaiveDate,
    /// Its value on the first day, in the chart's unit.
    pub from_value: f64,
    /// Its last day: the day it crosses the limit, where it does.
    pub to: NaiveDate,
    /// Its value on the last day, in the chart's unit.
    pub to_value: f64,
    /// The values on both days of the gentlest and of the steepest line of its range; `None` = not known, or told by the
    /// range of the crossing alone.
    pub range: Option<[(f64, f64); 2]>,
    /// When it reaches the limit, if it does.
    pub crossing: Option<Crossing>,
}

impl Trend {
    /// The line's value on a day.
    fn value_on(&self, day: NaiveDate) -> f64 {
        let length = (self.to - self.from).num_days();
        let share = if length == 0 { 0.0 } else { (day - self.from).num_days() as f64 / length as f64 };
        self.from_value + (self.to_value - self.from_value) * share
    }
}

/// The day a limit is reached, with its range.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Crossing {
    /// Low end of the range.
    pub earliest: NaiveDate,
    /// The day itself.
    pub expected: NaiveDate,
    /// High end of the range; `None` = perhaps never.
    pub latest: Option<NaiveDate>,
}

/// A level across the plot.
#[derive(Debug, Clone)]
pub(super) struct Level {
    pub value: f64,
    pub text: String,
    /// A limit is dashed and in ink, anything else thin and grey.
    pub is_limit: bool,
}

/// All that is drawn.
#[derive(Debug, Clone)]
pub(super) struct Timeline<'a> {
    /// What is measured and its unit, over the axis.
    pub title: String,
    /// How high the plot is: a cloud of points about a line needs less than steps between cleans.
    pub height: i32,
    pub from: NaiveDate,
    pub to: NaiveDate,
    pub readings: &'a [Reading],
    /// Days at which the quantity starts afresh; the line through the readings is cut there.
    pub breaks: &'a [NaiveDate],
    /// What such a day is called.
    pub break_word: &'a str,
    pub levels: Vec<Level>,
    pub trend: Option<Trend>,
}

impl Timeline<'_> {
    /// The readings between the first and the last day, in order.
    pub(super) fn shown(&self) -> Vec<Reading> {
        let mut shown: Vec<Reading> =
            self.readings.iter().filter(|reading| (self.from..=self.to).contains(&reading.date)).copied().collect();
        shown.sort_by(|a, b| a.date.cmp(&b.date).then(a.value.total_cmp(&b.value)));
        shown
    }

    /// The last day on the sheet: far enough for the crossing, but never so far that the readings
    /// are pressed into a corner.
    fn end(&self) -> NaiveDate {
        let mut wanted = self.to;
        if let Some(trend) = self.trend {
            wanted = wanted.max(trend.to);
            if let Some(crossing) = trend.crossing {
                wanted = wanted.max(crossing.latest.unwrap_or(NaiveDate::MAX)).max(crossing.expected);
            }
        }
        let span = (self.to - self.from).num_days().unsigned_abs();
        let furthest = self.to.checked_add_days(Days::new((span * 2 / 5).max(31))).unwrap_or(self.to);
        wanted.min(furthest)
    }

    /// The crossing, where the sheet shows it.
    fn crossing(&self) -> Option<Crossing> {
        self.trend?.crossing.filter(|crossing| (self.from..=self.end()).contains(&crossing.earliest))
    }

    pub(super) fn draw(&self) -> Result<Drawing, NoChart> {
        let shown = self.shown();
        let mut days: Vec<NaiveDate> = shown.iter().map(|reading| reading.date).collect();
        days.dedup();
        if days.len() < 2 {
            return Err(NoChart::because("too few readings"));
        }
        let mut values: Vec<f64> = shown.iter().map(|reading| reading.value).collect();
        values.extend(self.levels.iter().map(|level| level.value));
        if let Some(trend) = self.trend {
            check([trend.from_value, trend.to_value])?;
            check(trend.range.iter().flatten().flat_map(|(from, to)| [*from, *to]))?;
        }
        let top = if self.breaks.is_empty() { 70 } else { 116 };
        let bottom = top + self.height;
        let axis = ValueAxis::new(&values, top, bottom, false)?;
        let mut ends: Vec<EndLabel> = self
            .levels
            .iter()
            .map(|level| EndLabel {
                y: axis.y(level.value),
                text: level.text.clone(),
                colour: if level.is_limit { INK } else { GREY_TEXT },
            })
            .collect();
        ends.extend(self.crossing_label(&axis, (top, bottom)));
        let left = axis.label_width() + 20;
        let right = WIDTH - end_label_room(&mut ends, 400).max(10);
        let scale = DayScale::new(self.from, self.end(), left, right)?;

        let mut canvas = Canvas::default();
        let title = style::fit(&self.title, f64::from(WIDTH), f64::from(TICK));
        canvas.text(&title, 0, 28, Type::new(TICK, GREY_TEXT, Anchor::Left));
        axis.draw(&mut canvas, left, right);
        scale.draw(&mut canvas, bottom);
        self.draw_breaks(&mut canvas, &scale, top, bottom);
        self.draw_levels(&mut canvas, &axis, &scale);
        // A limit passed already lies among the readings, and its bar may hide none.
        self.draw_trend(&mut canvas, &axis, &scale, (top, bottom));
        self.draw_readings(&mut canvas, &shown, &axis, &scale);
        end_labels(&mut canvas, ends, right, top);
        canvas.finish(bottom + MONTHS_HEIGHT)
    }

    fn draw_breaks(&self, canvas: &mut Canvas, scale: &DayScale, top: i32, bottom: i32) {
        let type_ = Type::new(TICK, GREY_TEXT, Anchor::Centre);
        let mut breaks = self.breaks.to_vec();
        breaks.sort_unstable();
        breaks.dedup();
        // The last one matters most, so it is named first.
        for &day in breaks.iter().rev().filter(|&&day| scale.holds(day)) {
            let x = scale.middle(day);
            canvas.dashed((x, top - 6), (x, bottom), 2, (6, 8), GREY_TEXT);
            canvas.triangle(x, top - 14, 10, false, GREY_TEXT);
            canvas.try_text(self.break_word, x, top - 34, type_);
        }
    }

    fn draw_levels(&self, canvas: &mut Canvas, axis: &ValueAxis, scale: &DayScale) {
        for level in &self.levels {
            let y = axis.y(level.value);
            if level.is_limit {
                canvas.dashed((scale.left, y), (scale.right, y), 4, (14, 8), INK);
            } else {
                canvas.line(vec![(scale.left, y), (scale.right, y)], 3, GREY_TEXT);
            }
        }
    }

    fn draw_readings(&self, canvas: &mut Canvas, shown: &[Reading], axis: &ValueAxis, scale: &DayScale) {
        let at = |reading: &Reading| (scale.middle(reading.date), axis.y(reading.value));
        let is_cut = |a: &Reading, b: &Reading| self.breaks.iter().any(|&day| a.date < day && day <= b.date);
        // Where nothing starts afresh the fitted line says it better than a zigzag.
        if self.trend.is_none() || !self.breaks.is_empty() {
            for run in shown.chunk_by(|a, b| !is_cut(a, b)) {
                canvas.line(run.iter().map(at).collect(), 3, ACCENT);
            }
        }
        let radius = if shown.len() > 80 { 6 } else { 9 };
        for reading in shown {
            let (x, y) = at(reading);
            if reading.is_estimated {
                canvas.ring(x, y, radius, ACCENT);
            } else {
                canvas.disc(x, y, radius, ACCENT);
            }
        }
    }

    fn draw_trend(&self, canvas: &mut Canvas, axis: &ValueAxis, scale: &DayScale, (top, bottom): (i32, i32)) {
        let Some(trend) = self.trend else { return };
        let length = (trend.to - trend.from).num_days() as f64;
        if length > 0.0 {
            let on = |(from, to): (f64, f64), day: NaiveDate| {
                let share = (day - trend.from).num_days() as f64 / length;
                (scale.middle(day), axis.y(from + (to - from) * share).clamp(top, bottom))
            };
            let point = |day: NaiveDate| on((trend.from_value, trend.to_value), day);
            let start = trend.from.max(scale.first);
            let end = trend.to.min(scale.last);
            let known = end.min(self.to);
            for edge in trend.range.into_iter().flatten().filter(|_| start < known) {
                canvas.line(vec![on(edge, start), on(edge, known)], 2, GREY_TEXT);
            }
            if start < known {
                canvas.line(vec![point(start), point(known)], 4, PLAN);
            }
            let ahead = start.max(known);
            if ahead < end {
                canvas.dashed(point(ahead), point(end), 4, (10, 8), PLAN);
            }
        }
        let Some(crossing) = self.crossing() else { return };
        let y = axis.y(trend.value_on(crossing.expected)).clamp(top, bottom);
        // What may never be reached has no end.
        let to = crossing.latest.map_or(scale.right, |latest| scale.end(latest));
        let from = scale.start(crossing.earliest);
        // A paler bed sets the range off from the dashes of the limit it lies on.
        canvas.fill(from, y - 7, to, y + 7, GREY_GRID);
        canvas.fill(from, y - 3, to, y + 3, PLAN);
        let x = scale.middle(crossing.expected);
        if scale.holds(crossing.expected) {
            canvas.mark(Mark::Plan, x, y);
        }
    }

    /// The day the limit is reached, in words beside the plot: within it the highest readings lie about the limit, and no
    /// word may hide one.
    fn crossing_label(&self, axis: &ValueAxis, (top, bottom): (i32, i32)) -> Option<EndLabel> {
        let (trend, crossing) = (self.trend?, self.crossing()?);
        let with_year = if crossing.expected.year() == self.to.year() { "%-d %b" } else { "%-d %b %Y" };
        Some(EndLabel {
            y: axis.y(trend.value_on(crossing.expected)).clamp(top, bottom),
            text: format!("about {}", crossing.expected.format(with_year)),
            colour: PLAN,
        })
    }

    /// What the trend comes to, as a sentence, for alt texts.
    pub(super) fn trend_words(&self, range_name: &str, limit_name: &str) -> String {
        let Some(trend) = self.trend else { return String::new() };
        match trend.crossing {
            Some(crossing) => {
                let range = match crossing.latest {
                    Some(latest) => format!("{} to {}", long_day(crossing.earliest), long_day(latest)),
                    None => format!("{} at the earliest, perhaps never", long_day(crossing.earliest)),
                };
                format!(
                    " {} {limit_name} about {} ({}: {range}).",
                    if crossing.expected > self.to {
                        "At the present rate it reaches"
                    } else {
                        "By the fitted line it passed"
                    },
                    long_day(crossing.expected),
                    style::printable(range_name)
                )
            }
            None if self.levels.iter().any(|level| level.is_limit) => {
                format!(" No day on which it reaches {limit_name} can be given.")
            }
            None => String::new(),
        }
    }

    /// The explanation of the marks.
    pub(super) fn caption(&self, range_name: &str) -> String {
        let shown = self.shown();
        let mut parts = Vec::new();
        if shown.iter().any(|reading| !reading.is_estimated) {
            parts.push("solid dot: reading".to_owned());
        }
        if shown.iter().any(|reading| reading.is_estimated) {
            parts.push("ring: estimated".to_owned());
        }
        if let Some(trend) = self.trend {
            let ahead = if trend.to > self.to { ", dashed ahead" } else { "" };
            parts.push(format!("straight line: fitted{ahead}"));
            if trend.range.is_some() {
                parts.push(format!("thin lines: {} of its slope", style::printable(range_name)));
            }
            if self.crossing().is_some() {
                parts.push(format!("bar at the limit: {}", style::printable(range_name)));
            }
        }
        style::sentence(&parts)
    }

    /// First and last reading in words.
    pub(super) fn span_words(&self, unit: &str, decimals: usize) -> String {
        let shown = self.shown();
        let (Some(first), Some(last)) = (shown.first(), shown.last()) else { return String::new() };
        let most = shown.iter().fold(*first, |most, reading| if reading.value > most.value { *reading } else { most });
        format!(
            "{} {unit} in {} and {} {unit} on {}, highest {} {unit} in {}",
            style::number(first.value, decimals),
            long_month(first.date),
            style::number(last.value, decimals),
            long_day(last.date),
            style::number(most.value, decimals),
            long_month(most.date)
        )
    }
}
