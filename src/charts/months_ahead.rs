//! When do parts fall due? A bar a month of the coming year, and one for what is past its limit already.
//!
//! It exists so that a manager sees which months bring the work. It must not guess what will fail.

use std::fmt::Write as _;

use chrono::NaiveDate;

use super::axis::{MONTHS_HEIGHT, ValueAxis, bar_edges, equal_slots, long_month, month_names};
use super::canvas::{Anchor, Canvas, Drawing, Type};
use super::style::{self, ACCENT, ACT, GREY_TEXT, INK, PAPER, TICK, WIDTH};
use super::{Chart, NoChart};

/// Most months that are shown.
const MOST_MONTHS: usize = 24;

/// What falls due in the coming months.
#[derive(Debug, Clone, PartialEq)]
pub struct MonthsAheadInput {
    /// File stem of the chart.
    pub name: String,
    /// How many are past their limit already.
    pub past: usize,
    /// Months in a row.
    pub months: Vec<MonthAhead>,
}

/// A month.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MonthAhead {
    /// A day of it.
    pub day: NaiveDate,
    /// How many parts most likely fall due in it.
    pub parts: usize,
    /// How many do so in any case, and how many may: the range of the count.
    pub range: (usize, usize),
}

/// Draws what falls due.
///
/// # Errors
/// [`NoChart`] if nothing falls due.
pub fn months_ahead(input: &MonthsAheadInput) -> Result<Chart, NoChart> {
    if input.past == 0 && input.months.iter().all(|month| month.range.1 == 0) {
        return Err(NoChart::because("nothing falls due"));
    }
    let drawing = draw(input)?;
    Ok(Chart { name: input.name.clone(), svg: drawing.svg, alt: alt(input), caption: caption(input) })
}

fn draw(input: &MonthsAheadInput) -> Result<Drawing, NoChart> {
    let (top, bottom) = (76, 320);
    let months = &input.months[..input.months.len().min(MOST_MONTHS)];
    let counts = months.iter().flat_map(|month| [month.parts, month.range.1]).chain([input.past]);
    let values: Vec<f64> = counts.map(|count| count as f64).collect();
    let axis = ValueAxis::new(&values, top, bottom, true)?;
    let mut canvas = Canvas::default();
    canvas.text("parts that reach their limit", 0, 28, Type::new(TICK, GREY_TEXT, Anchor::Left));
    let left = axis.label_width() + 20;
    axis.draw(&mut canvas, left, WIDTH - 4);
    // A room of its own before the months for what is past already.
    let past_room = 230;
    let days: Vec<NaiveDate> = months.iter().map(|month| month.day).collect();
    let slots = equal_slots(&days, left + past_room, WIDTH - 4);
    let half = slots.first().map_or(50, |slot| (slot.right - slot.left) * 39 / 100).min(60);
    let centre = left + past_room / 2;
    let figure = |canvas: &mut Canvas, count: usize, over: usize, x: i32, room: i32, colour| {
        let text = style::number(count as f64, 0);
        if count > 0 && style::text_width(&text, f64::from(TICK), true) <= f64::from(room) {
            canvas.try_text_on_paper(
                &text,
                x,
                axis.y(over as f64) - 12,
                Type::new(TICK, colour, Anchor::Centre).bold(),
            );
        }
    };
    canvas.fill(centre - half, axis.y(input.past as f64), centre + half, bottom, ACT);
    figure(&mut canvas, input.past, input.past, centre, past_room, ACT);
    canvas.text("past limit", centre, bottom + 42, Type::new(TICK, INK, Anchor::Centre));
    for (month, slot) in months.iter().zip(&slots) {
        let (from, to) = bar_edges(slot);
        canvas.fill(from, axis.y(month.parts as f64), to, bottom, ACCENT);
        let (low, high) = month.range;
        if low < high {
            let x = slot.centre();
            // A paler bed sets the line off from the bar it lies on.
            canvas.line(vec![(x, axis.y(low as f64)), (x, axis.y(high as f64))], 8, PAPER);
            canvas.line(vec![(x, axis.y(low as f64)), (x, axis.y(high as f64))], 4, INK);
        }
        figure(&mut canvas, month.parts, high.max(month.parts), slot.centre(), slot.right - slot.left, INK);
    }
    month_names(&mut canvas, &slots, bottom + 42);
    canvas.finish(bottom + MONTHS_HEIGHT)
}

fn alt(input: &MonthsAheadInput) -> String {
    let total: usize = input.months.iter().map(|month| month.parts).sum();
    let mut out = format!(
        "{} past {} limit; {} in the {} that follow",
        style::count(input.past, "part is", "parts are"),
        if input.past == 1 { "its" } else { "their" },
        style::count(total, "more reaches its limit", "more reach their limit"),
        style::count(input.months.len(), "month", "months")
    );
    if let Some(most) = input.months.iter().max_by_key(|month| (month.parts, std::cmp::Reverse(month.day)))
        && most.parts > 0
    {
        let (low, high) = most.range;
        let range = if low < high { format!(", from {low} to {high} by the parts' ranges") } else { String::new() };
        let _ = write!(out, ", the most in {} ({}{range})", long_month(most.day), most.parts);
    }
    out.push('.');
    out
}

fn caption(input: &MonthsAheadInput) -> String {
    let mut parts = vec!["by the most likely day of each part".to_owned()];
    if input.months.iter().any(|month| month.range.0 < month.range.1) {
        parts.push(
            "thin line: from the parts whose whole range (central 80 %) lies in the month to those whose range touches it"
                .to_owned(),
        );
    }
    if input.past > 0 {
        parts.push("brick: past their limit on the as-of day".to_owned());
    }
    style::sentence(&parts)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::charts::canvas::assert_labels_fit;
    use chrono::Months;

    fn input(months: u32, scale: usize) -> MonthsAheadInput {
        let first = NaiveDate::from_ymd_opt(2026, 11, 1).unwrap();
        MonthsAheadInput {
            name: "ahead".into(),
            past: 3 * scale,
            months: (0..months)
                .map(|at| {
                    let parts = (at as usize * 7 % 5) * scale;
                    let day = first.checked_add_months(Months::new(at)).unwrap();
                    MonthAhead { day, parts, range: (parts / 2, parts + scale) }
                })
                .collect(),
        }
    }

    #[test]
    fn labels_fit() {
        for months in [1, 12, 24, 40] {
            for scale in [1, 100, 10_000] {
                assert_labels_fit(&draw(&input(months, scale)).unwrap());
            }
        }
    }

    #[test]
    fn alt_states_the_finding() {
        let chart = months_ahead(&input(4, 1)).unwrap();
        assert_eq!(
            chart.alt,
            "3 parts are past their limit; 7 more reach their limit in the 4 months that follow, the most in January 2027 (4, from 2 to 5 by the parts' ranges)."
        );
        assert!(months_ahead(&input(0, 0)).is_err());
    }
}
