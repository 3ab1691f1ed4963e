//! Scales: values from zero with round ticks, months under bars, days along a line.
//!
//! It exists so that all charts read alike: months are named as months, the year stands under January
//! and under the first, and values start at zero. It must not know what is drawn between the axes.

use chrono::{Datelike, Months, NaiveDate};
use plotters::coord::ranged1d::Ranged;
use plotters::coord::types::RangedCoordf64;

use super::NoChart;
use super::canvas::{Anchor, Canvas, Type};
use super::style::{self, GREY_GRID, GREY_TEXT, INK, TICK};

/// Height of the two lines of names under a plot, pixels.
pub(super) const MONTHS_HEIGHT: i32 = 92;
/// No quantity in these reports comes near; beyond it a figure is a slip and its label a nuisance.
const LARGEST: f64 = 1e9;

/// Refuses values that cannot be drawn.
///
/// # Errors
/// [`NoChart`] if one is not a number, or absurdly large.
pub(super) fn check(values: impl IntoIterator<Item = f64>) -> Result<(), NoChart> {
    for value in values {
        if !value.is_finite() {
            return Err(NoChart::because("a value is not a number"));
        }
        if value.abs() > LARGEST {
            return Err(NoChart::because("a value is too large to draw"));
        }
    }
    Ok(())
}

/// A vertical axis of values, from zero (or from below it where there are negative values).
#[derive(Clone)]
pub(super) struct ValueAxis {
    range: RangedCoordf64,
    ticks: Vec<f64>,
    decimals: usize,
    top: i32,
    bottom: i32,
}

impl ValueAxis {
    /// An axis that holds all values, between two heights of the sheet. `whole` allows only whole
    /// numbers as ticks.
    ///
    /// # Errors
    /// [`NoChart`] as [`check`] does, or if there are no values.
    pub(super) fn new(values: &[f64], top: i32, bottom: i32, whole: bool) -> Result<Self, NoChart> {
        check(values.iter().copied())?;
        if values.is_empty() {
            return Err(NoChart::because("no values"));
        }
        let most = values.iter().copied().fold(0.0, f64::max);
        let least = values.iter().copied().fold(0.0, f64::min);
        let span = if most - least < 1e-6 { 1.0 } else { most - least };
        let (mut step, mut decimals) = round_step(span / 4.0);
        if whole && decimals > 0 {
            (step, decimals) = (if step < 1.0 { 1.0 } else { step.ceil() }, 0);
        }
        let first = (least / step + 1e-9).floor() as i64;
        let last = ((most.max(least + span * 0.5) / step - 1e-9).ceil() as i64).max(first + 1);
        let ticks: Vec<f64> = (first..=last).map(|at| at as f64 * step).collect();
        let range = RangedCoordf64::from(first as f64 * step..last as f64 * step);
        Ok(Self { range, ticks, decimals, top, bottom })
    }

    /// The height of a value.
    pub(super) fn y(&self, value: f64) -> i32 {
        // The library's own arithmetic overflows on values far off its range.
        let (low, high) = (self.range.range().start, self.range.range().end);
        let value = value.clamp(2.0 * low - high, 2.0 * high - low);
        self.range.map(&value, (self.bottom, self.top))
    }

    /// Width of the widest tick label, pixels.
    pub(super) fn label_width(&self) -> i32 {
        let widest = self
            .ticks
            .iter()
            .map(|&tick| style::text_width(&style::number(tick, self.decimals), f64::from(TICK), false))
            .fold(0.0, f64::max);
        widest.ceil() as i32
    }

    /// Lines of the grid and their values, to the left of `left`.
    pub(super) fn draw(&self, canvas: &mut Canvas, left: i32, right: i32) {
        for &tick in &self.ticks {
            let y = self.y(tick);
            let (width, colour) = if tick == 0.0 { (3, GREY_TEXT) } else { (2, GREY_GRID) };
            canvas.line(vec![(left, y), (right, y)], width, colour);
            let label = style::number(tick, self.decimals);
            canvas.text(&label, left - 14, y + 10, Type::new(TICK, GREY_TEXT, Anchor::Right));
        }
    }
}

/// The round number (1, 2, 2.5 or 5 times a power of ten) at or above, and its decimals.
pub(super) fn round_step(at_least: f64) -> (f64, usize) {
    let power = at_least.log10().floor() as i32;
    for (factor, more) in [(1.0, 0), (2.0, 0), (2.5, 1), (5.0, 0), (10.0, -1)] {
        let step = factor * 10f64.powi(power);
        if step >= at_least * (1.0 - 1e-9) {
            return (step, (more - power).max(0) as usize);
        }
    }
    (10f64.powi(power + 1), (-power - 1).max(0) as usize)
}

/// The room of one month on a chart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Slot {
    /// First day of the month.
    pub month: NaiveDate,
    pub left: i32,
    pub right: i32,
}

impl Slot {
    pub(super) fn centre(&self) -> i32 {
        i32::midpoint(self.left, self.right)
    }
}

/// First day of the month a day lies in.
pub(super) fn first_of_month(day: NaiveDate) -> NaiveDate {
    day.with_day(1).unwrap_or(day)
}

/// Months in a row from the first to the last, each once.
///
/// # Errors
/// [`NoChart`] if there are none, or more than a century of them.
pub(super) fn months_between(first: NaiveDate, last: NaiveDate) -> Result<Vec<NaiveDate>, NoChart> {
    let (first, last) = (first_of_month(first), first_of_month(last));
    let number = (last.year() - first.year()) * 12 + last.month0().cast_signed() - first.month0().cast_signed() + 1;
    if number < 1 {
        return Err(NoChart::because("its last day is before its first"));
    }
    if number > 1212 {
        return Err(NoChart::because("its dates span more than a century"));
    }
    Ok((0..number as u32).filter_map(|at| first.checked_add_months(Months::new(at))).collect())
}

/// The right edge of a plot of bars: few months do not fill the width.
pub(super) fn bars_right(months: usize, left: i32, right: i32) -> i32 {
    right.min(left + 200 * style::whole(months.clamp(1, 100)))
}

/// Months side by side in equal rooms, for bars.
pub(super) fn equal_slots(months: &[NaiveDate], left: i32, right: i32) -> Vec<Slot> {
    let number = style::whole(months.len().max(1));
    let edge = |at: usize| left + (right - left) * style::whole(at) / number;
    months.iter().enumerate().map(|(at, &month)| Slot { month, left: edge(at), right: edge(at + 1) }).collect()
}

/// Left and right edge of the bar in a slot: not the whole room, and never a slab.
pub(super) fn bar_edges(slot: &Slot) -> (i32, i32) {
    let half = ((slot.right - slot.left) * 39 / 100).min(60);
    (slot.centre() - half, slot.centre() + half)
}

/// Days along the sheet, from the start of the first to the end of the last.
#[derive(Clone)]
pub(super) struct DayScale {
    pub first: NaiveDate,
    pub last: NaiveDate,
    pub left: i32,
    pub right: i32,
    range: RangedCoordf64,
    months: Vec<NaiveDate>,
}

impl DayScale {
    /// Days between two edges of the sheet.
    ///
    /// # Errors
    /// [`NoChart`] as [`months_between`] does.
    pub(super) fn new(first: NaiveDate, last: NaiveDate, left: i32, right: i32) -> Result<Self, NoChart> {
        let months = months_between(first, last)?;
        if last < first {
            return Err(NoChart::because("its last day is before its first"));
        }
        let range = RangedCoordf64::from(days(first)..days(last) + 1.0);
        Ok(Self { first, last, left, right, range, months })
    }

    fn at(&self, days: f64) -> i32 {
        let days = days.clamp(self.range.range().start, self.range.range().end);
        self.range.map(&days, (self.left, self.right))
    }

    /// Where a day begins; days outside the scale lie on its edges.
    pub(super) fn start(&self, day: NaiveDate) -> i32 {
        self.at(days(day))
    }

    /// The middle of a day.
    pub(super) fn middle(&self, day: NaiveDate) -> i32 {
        self.at(days(day) + 0.5)
    }

    /// Where a day ends.
    pub(super) fn end(&self, day: NaiveDate) -> i32 {
        self.at(days(day) + 1.0)
    }

    /// Whether a day lies on the scale.
    pub(super) fn holds(&self, day: NaiveDate) -> bool {
        (self.first..=self.last).contains(&day)
    }

    /// The rooms of its months.
    pub(super) fn slots(&self) -> Vec<Slot> {
        self.months
            .iter()
            .map(|&month| {
                let next = month.checked_add_months(Months::new(1)).unwrap_or(month);
                Slot { month, left: self.start(month), right: self.start(next) }
            })
            .collect()
    }

    /// Baseline of the plot with a tick at each month (at each year where months are too close).
    pub(super) fn draw(&self, canvas: &mut Canvas, bottom: i32) {
        let slots = self.slots();
        let stride = stride(&slots);
        for slot in &slots {
            if self.holds(slot.month) && slot.month.month0().cast_signed() % stride.min(12) == 0 {
                canvas.line(vec![(slot.left, bottom), (slot.left, bottom + 10)], 2, GREY_TEXT);
            }
        }
        month_names(canvas, &slots, bottom + 42);
    }
}

fn days(day: NaiveDate) -> f64 {
    f64::from(day.num_days_from_ce())
}

/// Every how many months a name has room.
fn stride(slots: &[Slot]) -> i32 {
    let widest = (1..=12)
        .filter_map(|month| NaiveDate::from_ymd_opt(2000, month, 1))
        .map(|day| style::text_width(&day.format("%b").to_string(), f64::from(TICK), false))
        .fold(0.0, f64::max);
    let room = slots.iter().map(|slot| slot.right - slot.left).max().unwrap_or(0).max(1);
    [1, 2, 3, 6, 12, 24, 60, 120, 240, 600]
        .into_iter()
        .find(|stride| f64::from(stride * room) >= widest + 16.0)
        .unwrap_or(1200)
}

/// Names under (or over) the months, the year one line below under January and under the first.
pub(super) fn month_names(canvas: &mut Canvas, slots: &[Slot], baseline: i32) {
    let type_ = Type::new(TICK, GREY_TEXT, Anchor::Centre);
    let year_type = Type::new(TICK, INK, Anchor::Centre);
    let stride = stride(slots);
    let room = slots.iter().map(|slot| slot.right - slot.left).max().unwrap_or(0);
    if stride >= 12 {
        for slot in slots.iter().filter(|slot| slot.month.month() == 1) {
            if slot.month.year() % (stride / 12) == 0 {
                canvas.try_text(&slot.month.year().to_string(), slot.left, baseline, year_type);
            }
        }
        return;
    }
    // A sliver of a month at either end goes unnamed.
    let named: Vec<&Slot> = slots
        .iter()
        .filter(|slot| slot.month.month0().cast_signed() % stride == 0)
        .filter(|slot| (slot.right - slot.left) * 2 >= room || slots.len() == 1)
        .collect();
    for slot in &named {
        canvas.text(&slot.month.format("%b").to_string(), slot.centre(), baseline, type_);
    }
    let mut years: Vec<&Slot> = named.iter().copied().filter(|slot| slot.month.month() == 1).collect();
    years.extend(named.first());
    for slot in years {
        canvas.try_text(&slot.month.year().to_string(), slot.centre(), baseline + 36, year_type);
    }
}

/// A label at the right-hand end of a level line.
#[derive(Debug, Clone)]
pub(super) struct EndLabel {
    pub y: i32,
    pub text: String,
    pub colour: plotters::style::RGBColor,
}

/// Room to keep free at the right for labels (pixels), and the labels cut to fit it.
pub(super) fn end_label_room(labels: &mut [EndLabel], most: i32) -> i32 {
    for label in labels.iter_mut() {
        label.text = style::fit(&label.text, f64::from(most), f64::from(TICK));
    }
    labels
        .iter()
        .map(|label| style::text_width(&label.text, f64::from(TICK), false).ceil() as i32 + 22)
        .max()
        .unwrap_or(0)
}

/// Sets labels beside the ends of their lines at `x`, moved apart where they would meet.
pub(super) fn end_labels(canvas: &mut Canvas, mut labels: Vec<EndLabel>, x: i32, top: i32) {
    const PITCH: i32 = 36;
    labels.sort_by_key(|label| label.y);
    let mut places: Vec<i32> = labels.iter().map(|label| label.y.max(top)).collect();
    for at in 1..places.len() {
        // Shared between both, so that neither strays far from its line.
        let lack = PITCH - (places[at] - places[at - 1]);
        if lack > 0 {
            places[at] += lack;
        }
    }
    for (label, place) in labels.iter().zip(places) {
        if (place - label.y).abs() > 4 {
            canvas.line(vec![(x, label.y), (x + 14, place)], 2, label.colour);
        }
        canvas.text(&label.text, x + 18, place + 10, Type::new(TICK, label.colour, Anchor::Left));
    }
}

/// "3 November 2026".
pub(super) fn long_day(day: NaiveDate) -> String {
    format!("{} {}", day.day(), long_month(day))
}

/// "November 2026".
pub(super) fn long_month(day: NaiveDate) -> String {
    day.format("%B %Y").to_string()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::charts::canvas::assert_labels_fit;

    fn day(year: i32, month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(year, month, day).unwrap()
    }

    #[test]
    fn steps_are_round() {
        for (at_least, step, decimals) in [
            (3.9, 5.0, 0),
            (0.21, 0.25, 2),
            (0.3, 0.5, 1),
            (1.0, 1.0, 0),
            (2.2, 2.5, 1),
            (700.0, 1000.0, 0),
            (0.07, 0.1, 1),
        ] {
            let (found, places) = round_step(at_least);
            assert!((found - step).abs() < 1e-9 && places == decimals, "{at_least}: {found} {places}");
        }
    }

    #[test]
    fn values_start_at_zero_and_all_fit() {
        for most in [0.0, 1e-9, 0.013, 0.95, 15.8, 744.0, 1e9] {
            let axis = ValueAxis::new(&[most, most / 3.0], 20, 420, false).unwrap();
            assert_eq!(axis.y(0.0), 420, "{most}");
            assert!(axis.y(most) >= 20 && axis.y(most) <= 420, "{most}");
            assert!((3..=8).contains(&axis.ticks.len()), "{most}: {:?}", axis.ticks);
        }
        let below = ValueAxis::new(&[-3.0, 5.0], 20, 420, false).unwrap();
        assert!(below.y(-3.0) <= 420 && below.y(0.0) < 420);
        let counts = ValueAxis::new(&[1.0], 20, 420, true).unwrap();
        assert_eq!(counts.ticks, [0.0, 1.0]);
        let counts = ValueAxis::new(&[8.4], 20, 420, true).unwrap();
        assert_eq!((counts.ticks, counts.decimals), (vec![0.0, 3.0, 6.0, 9.0], 0));
    }

    #[test]
    fn values_far_off_stay_off_the_plot() {
        let axis = ValueAxis::new(&[0.001], 20, 420, false).unwrap();
        assert!(axis.y(1e9) < 20 && axis.y(-1e9) > 420);
    }

    #[test]
    fn what_cannot_be_drawn_is_refused() {
        assert!(ValueAxis::new(&[], 0, 9, false).is_err());
        for bad in [f64::NAN, f64::INFINITY, -1e12] {
            assert!(ValueAxis::new(&[1.0, bad], 0, 9, false).is_err());
        }
        assert!(DayScale::new(day(2026, 3, 2), day(2026, 3, 1), 0, 9).is_err());
        assert!(DayScale::new(day(1000, 1, 1), day(2026, 3, 1), 0, 9).is_err());
    }

    #[test]
    fn days_have_a_width() {
        let scale = DayScale::new(day(2026, 11, 1), day(2026, 11, 10), 100, 1100).unwrap();
        assert_eq!((scale.start(day(2026, 11, 1)), scale.end(day(2026, 11, 10))), (100, 1100));
        assert_eq!(scale.middle(day(2026, 11, 1)), 150);
        assert_eq!(scale.middle(day(2030, 1, 1)), 1100);
        assert_eq!((scale.end(NaiveDate::MAX), scale.start(NaiveDate::MIN)), (1100, 100));
    }

    #[test]
    fn months_are_named_as_room_allows() {
        for months in [1, 2, 11, 12, 13, 24, 30, 61, 150, 700] {
            let last = day(2026, 12, 20);
            let first = last.checked_sub_months(Months::new(months)).unwrap();
            let mut canvas = Canvas::default();
            DayScale::new(first, last, 150, 1500).unwrap().draw(&mut canvas, 100);
            let drawing = canvas.finish(100 + MONTHS_HEIGHT).unwrap();
            assert_labels_fit(&drawing);
            assert!(
                drawing.labels.0.iter().any(|label| label.text.parse::<i32>().is_ok()),
                "{months} months without a year"
            );
        }
    }

    #[test]
    fn end_labels_move_apart() {
        let mut labels: Vec<EndLabel> =
            [100, 101, 99, 300].iter().map(|&y| EndLabel { y, text: format!("limit {y}"), colour: INK }).collect();
        assert!(end_label_room(&mut labels, 300) < 322);
        let mut canvas = Canvas::default();
        end_labels(&mut canvas, labels, 1400, 40);
        assert_labels_fit(&canvas.finish(400).unwrap());
    }
}
