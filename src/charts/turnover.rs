//! Is the water turned over often enough? Minutes per turnover, month by month, for one spa.
//!
//! It exists to set each month against the limit at one glance, with what was measured told apart
//! from what was worked out. It must not judge: whether a month is short comes with the figures.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use chrono::NaiveDate;

use super::axis::{
    EndLabel, MONTHS_HEIGHT, Slot, ValueAxis, bar_edges, bars_right, end_label_room, end_labels, equal_slots,
    first_of_month, long_month, month_names, months_between,
};
use super::canvas::{Anchor, Canvas, Drawing, Type};
use super::style::{self, ACCENT, ACT, GREY_TEXT, INK, TICK, WIDTH};
use super::{Chart, NoChart};

/// Most months that are shown; earlier ones are left out.
const MOST_MONTHS: usize = 24;
/// Room between the bars and the names of months for the marks of months with too few hours.
const MARKS_HEIGHT: i32 = 30;

/// The turnover times of one spa.
#[derive(Debug, Clone, PartialEq)]
pub struct TurnoverInput {
    /// File stem of the chart.
    pub name: String,
    /// The spa, as the reader knows it.
    pub spa: String,
    /// One entry a month, in any order; months missing between are shown as unknown.
    pub months: Vec<TurnoverMonth>,
    /// Longest allowed turnover time, minutes.
    pub limit_minutes: Option<f64>,
    /// Any day of each month in which the water was filtered fewer hours than asked: no bar shows that, so it has a mark of
    /// its own under the month's bar.
    pub few_hours: Vec<NaiveDate>,
    /// What the range lines are, such as "central 80 %".
    pub range_name: String,
}

/// One month.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TurnoverMonth {
    /// Any day of the month.
    pub month: NaiveDate,
    /// What is known of it.
    pub state: TurnoverState,
}

/// What is known of a month.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TurnoverState {
    /// There is a figure.
    Known {
        /// Minutes for the whole volume to pass the filter once.
        minutes: f64,
        /// Its range, low and high, minutes.
        range_minutes: Option<(f64, f64)>,
        /// What it rests on.
        basis: TurnoverBasis,
        /// Whether the month fell short of the limit, as judged by the caller.
        is_short: bool,
    },
    /// The spa was closed.
    Closed,
    /// Nothing is known.
    Unknown,
}

/// What a month's figure rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TurnoverBasis {
    /// The flow was measured: solid.
    Measured,
    /// The flow was calculated: hollow.
    Calculated,
    /// The flow is a stated one: hollow, dashed.
    Stated,
}

struct Known {
    month: NaiveDate,
    minutes: f64,
    basis: TurnoverBasis,
    is_short: bool,
}

/// Draws the turnover times of a spa.
///
/// # Errors
/// [`NoChart`] if no month has a figure, or a figure cannot be drawn.
pub fn turnover(input: &TurnoverInput) -> Result<Chart, NoChart> {
    let months = in_order(input)?;
    let drawing = draw(input, &months)?;
    Ok(Chart { name: input.name.clone(), svg: drawing.svg, alt: alt(input, &months), caption: caption(input, &months) })
}

/// All months from the first to the last, at most two years of them.
fn in_order(input: &TurnoverInput) -> Result<Vec<TurnoverMonth>, NoChart> {
    let given: BTreeMap<NaiveDate, TurnoverState> =
        input.months.iter().map(|entry| (first_of_month(entry.month), entry.state)).collect();
    let (Some(first), Some(last)) = (given.keys().next(), given.keys().next_back()) else {
        return Err(NoChart::because("no month on record"));
    };
    let mut months: Vec<TurnoverMonth> = months_between(*first, *last)?
        .into_iter()
        .map(|month| TurnoverMonth { month, state: given.get(&month).copied().unwrap_or(TurnoverState::Unknown) })
        .collect();
    months.drain(..months.len().saturating_sub(MOST_MONTHS));
    if known(&months).is_empty() {
        return Err(NoChart::because("no turnover time is known for any month"));
    }
    Ok(months)
}

fn known(months: &[TurnoverMonth]) -> Vec<Known> {
    months
        .iter()
        .filter_map(|entry| match entry.state {
            TurnoverState::Known { minutes, basis, is_short, .. } => {
                Some(Known { month: entry.month, minutes, basis, is_short })
            }
            _ => None,
        })
        .collect()
}

fn draw(input: &TurnoverInput, months: &[TurnoverMonth]) -> Result<Drawing, NoChart> {
    let (top, bottom) = (76, 340);
    let mut values: Vec<f64> = input.limit_minutes.into_iter().collect();
    for entry in months {
        if let TurnoverState::Known { minutes, range_minutes, .. } = entry.state {
            values.push(minutes);
            if let Some((low, high)) = range_minutes {
                values.extend([low, high]);
            }
        }
    }
    if values.iter().any(|&value| value < 0.0) {
        return Err(NoChart::because("a turnover time is below zero"));
    }
    let axis = ValueAxis::new(&values, top, bottom, false)?;
    let mut limit: Vec<EndLabel> = input
        .limit_minutes
        .iter()
        .map(|&minutes| EndLabel { y: axis.y(minutes), text: format!("limit {} min", trimmed(minutes)), colour: INK })
        .collect();
    let left = axis.label_width() + 20;
    let right = bars_right(months.len(), left, WIDTH - end_label_room(&mut limit, 360).max(6));

    let mut canvas = Canvas::default();
    let note = Type::new(TICK, GREY_TEXT, Anchor::Left);
    canvas.text("minutes for the whole volume to pass the filter once", 0, 28, note);
    axis.draw(&mut canvas, left, right);
    let days: Vec<NaiveDate> = months.iter().map(|entry| entry.month).collect();
    let slots = equal_slots(&days, left, right);
    // The limit lies on hollow bars but under the labels, so it is drawn between both.
    for (entry, slot) in months.iter().zip(&slots) {
        bar(&mut canvas, entry, slot, &axis, bottom);
    }
    if let Some(label) = limit.first() {
        canvas.dashed((left, label.y), (right, label.y), 4, (14, 8), INK);
    }
    for (entry, slot) in months.iter().zip(&slots) {
        over_bar(&mut canvas, entry, slot, &axis);
    }
    closed_runs(&mut canvas, months, &slots, bottom);
    end_labels(&mut canvas, limit, right, top);
    let few = few_hours(input, months);
    for (_, slot) in months.iter().zip(&slots).filter(|(entry, _)| few.contains(&entry.month)) {
        canvas.triangle(slot.centre(), bottom + 22, 11, false, ACT);
    }
    let marks = if few.is_empty() { 0 } else { MARKS_HEIGHT };
    month_names(&mut canvas, &slots, bottom + 42 + marks);
    canvas.finish(bottom + MONTHS_HEIGHT + marks)
}

fn bar(canvas: &mut Canvas, entry: &TurnoverMonth, slot: &Slot, axis: &ValueAxis, bottom: i32) {
    let TurnoverState::Known { minutes, basis, is_short, .. } = entry.state else { return };
    let (from, to) = bar_edges(slot);
    let colour = if is_short { ACT } else { ACCENT };
    match basis {
        TurnoverBasis::Measured => canvas.fill(from, axis.y(minutes), to, bottom, colour),
        TurnoverBasis::Calculated => canvas.hollow(from, axis.y(minutes), to, bottom, colour),
        TurnoverBasis::Stated => canvas.dashed_box(from, axis.y(minutes), to, bottom, colour),
    }
}

/// Range line, and over a short month its triangle and figure.
fn over_bar(canvas: &mut Canvas, entry: &TurnoverMonth, slot: &Slot, axis: &ValueAxis) {
    let TurnoverState::Known { minutes, range_minutes, is_short, .. } = entry.state else { return };
    let x = slot.centre();
    let mut top = axis.y(minutes);
    if let Some((low, high)) = range_minutes {
        canvas.line(vec![(x, axis.y(low)), (x, axis.y(high))], 4, INK);
        top = top.min(axis.y(high));
    }
    if is_short {
        canvas.triangle(x, top - 24, 13, true, ACT);
        let type_ = Type::new(TICK, ACT, Anchor::Centre).bold();
        let figure = style::number(minutes, 1);
        // Wider than its month, the figure would stand over the neighbours' range lines.
        if style::text_width(&figure, f64::from(TICK), true) <= f64::from(slot.right - slot.left) + 8.0 {
            canvas.try_text_on_paper(&figure, x, top - 48, type_);
        }
    }
}

/// Baselines tried for words of months without a bar, over the bottom of the plot.
const HEIGHTS: [i32; 6] = [16, 36, 56, 76, 96, 116];

/// "closed" once over each run of closed months, from the bottom up where they are narrow; "?" in
/// each unknown one.
fn closed_runs(canvas: &mut Canvas, months: &[TurnoverMonth], slots: &[Slot], bottom: i32) {
    let type_ = Type::new(TICK, GREY_TEXT, Anchor::Centre);
    let mut at = 0;
    while at < months.len() {
        let run = months[at..].iter().take_while(|entry| entry.state == TurnoverState::Closed).count();
        if run > 0 {
            let (from, to) = (slots[at].left, slots[at + run - 1].right);
            let x = i32::midpoint(from, to);
            let wide = style::text_width("closed", f64::from(TICK), false) + 12.0 <= f64::from(to - from);
            let upright = Type { anchor: Anchor::Left, ..type_ }.upright();
            // Where the limit runs low it would strike the word out, which then stands over it.
            let _ = HEIGHTS.into_iter().any(|height| {
                if wide {
                    canvas.try_text("closed", x, bottom - height, type_)
                } else {
                    canvas.try_text("closed", x + 8, bottom - height, upright)
                }
            });
        } else if months[at].state == TurnoverState::Unknown {
            let x = slots[at].centre();
            let _ = HEIGHTS.into_iter().any(|height| canvas.try_text("?", x, bottom - height, type_));
        }
        at += run.max(1);
    }
}

/// A limit as it is written: without needless decimals.
fn trimmed(value: f64) -> String {
    style::number(value, usize::from((value - value.round()).abs() > 0.05))
}

fn alt(input: &TurnoverInput, months: &[TurnoverMonth]) -> String {
    let known = known(months);
    let least = known.iter().map(|month| month.minutes).fold(f64::INFINITY, f64::min);
    let Some(worst) = known.iter().max_by(|a, b| a.minutes.total_cmp(&b.minutes)) else {
        return String::new();
    };
    let spa = style::printable(&input.spa);
    let mut out = if known.len() == 1 {
        format!("{spa}: one turnover took {} minutes in {}.", style::number(worst.minutes, 1), long_month(worst.month))
    } else {
        format!(
            "{spa}: one turnover took from {} to {} minutes, the longest in {}.",
            style::number(least, 1),
            style::number(worst.minutes, 1),
            long_month(worst.month)
        )
    };
    let short: Vec<String> = known
        .iter()
        .filter(|month| month.is_short)
        .map(|month| format!("{} ({} minutes)", long_month(month.month), style::number(month.minutes, 1)))
        .collect();
    match input.limit_minutes {
        Some(limit) if short.is_empty() => {
            let _ = write!(out, " The limit of {} minutes was met in every month known.", trimmed(limit));
        }
        Some(limit) => {
            let _ = write!(
                out,
                " The limit of {} minutes was not met in {}: {}.",
                trimmed(limit),
                style::count(short.len(), "month", "months"),
                style::list_some(&short)
            );
        }
        None => out += " No limit is on record.",
    }
    let few: Vec<String> = few_hours(input, months).into_iter().map(long_month).collect();
    if !few.is_empty() {
        let _ = write!(
            out,
            " Filtered too few hours in {}: {}.",
            style::count(few.len(), "month", "months"),
            style::list_some(&few)
        );
    }
    let not_measured = known.iter().filter(|month| month.basis != TurnoverBasis::Measured).count();
    if not_measured > 0 {
        let _ = write!(out, " Not measured in {}.", style::count(not_measured, "month", "months"));
    }
    for (state, word) in [(TurnoverState::Closed, "Closed"), (TurnoverState::Unknown, "Not known")] {
        let names: Vec<String> =
            months.iter().filter(|entry| entry.state == state).map(|entry| long_month(entry.month)).collect();
        if !names.is_empty() {
            let _ = write!(out, " {word} in {}.", style::list_some(&names));
        }
    }
    out
}

fn caption(input: &TurnoverInput, months: &[TurnoverMonth]) -> String {
    let known = known(months);
    let mut parts = Vec::new();
    for (basis, words) in [
        (TurnoverBasis::Measured, "Solid: flow measured"),
        (TurnoverBasis::Calculated, "hollow: calculated"),
        (TurnoverBasis::Stated, "dashed outline: as stated by the maker"),
    ] {
        if known.iter().any(|month| month.basis == basis) {
            parts.push(words.to_owned());
        }
    }
    let has_range = |entry: &TurnoverMonth| matches!(entry.state, TurnoverState::Known { range_minutes: Some(_), .. });
    if months.iter().any(has_range) {
        parts.push(format!("thin line: {}", style::printable(&input.range_name)));
    }
    if known.iter().any(|month| month.is_short) {
        parts.push("triangle: limit not met".to_owned());
    }
    if months.iter().any(|entry| entry.state == TurnoverState::Unknown) {
        parts.push("?: not known".to_owned());
    }
    let mut out = style::sentence(&parts);
    let few = few_hours(input, months).len();
    if few > 0 {
        let _ = write!(
            out,
            " Triangle under a month: filtered too few hours, in {} of {}.",
            few,
            style::count(months.len(), "month", "months")
        );
    }
    out
}

/// The months shown in which the water was filtered too few hours.
fn few_hours(input: &TurnoverInput, months: &[TurnoverMonth]) -> Vec<NaiveDate> {
    let few: Vec<NaiveDate> = input.few_hours.iter().map(|day| first_of_month(*day)).collect();
    months.iter().map(|entry| entry.month).filter(|month| few.contains(month)).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::charts::canvas::assert_labels_fit;
    use chrono::Months;

    fn input(months: u32, scale: f64) -> TurnoverInput {
        let first = NaiveDate::from_ymd_opt(2025, 11, 3).unwrap();
        let months = (0..months)
            .map(|at| TurnoverMonth {
                month: first.checked_add_months(Months::new(at)).unwrap(),
                state: match at % 6 {
                    2 => TurnoverState::Closed,
                    4 => TurnoverState::Unknown,
                    _ => {
                        let minutes = (9.0 + f64::from(at % 7)) * scale;
                        TurnoverState::Known {
                            minutes,
                            range_minutes: Some((minutes * 0.9, minutes * 1.1)),
                            basis: [TurnoverBasis::Measured, TurnoverBasis::Calculated, TurnoverBasis::Stated]
                                [at as usize % 3],
                            is_short: minutes > 13.0,
                        }
                    }
                },
            })
            .collect();
        TurnoverInput {
            name: "turnover".into(),
            spa: "Terrace <script>&\" 水".into(),
            months,
            limit_minutes: Some(13.0),
            few_hours: Vec::new(),
            range_name: "central 80 %".into(),
        }
    }

    #[test]
    fn labels_fit_from_one_month_to_many() {
        for months in [1, 2, 5, 12, 13, 24, 40] {
            for scale in [0.001, 1.0, 30.0, 1e5] {
                let input = input(months, scale);
                let drawing = draw(&input, &in_order(&input).unwrap()).unwrap();
                assert_labels_fit(&drawing);
            }
        }
    }

    #[test]
    fn the_same_figures_give_the_same_bytes() {
        let mut other = input(12, 1.0);
        other.months.reverse();
        assert_eq!(turnover(&input(12, 1.0)), turnover(&other));
    }

    #[test]
    fn alt_states_the_finding() {
        let chart = turnover(&input(12, 1.0)).unwrap();
        assert!(chart.alt.contains("from 9.0 to 15.0 minutes, the longest in May 2026"), "{}", chart.alt);
        assert!(
            chart.alt.contains("limit of 13 minutes was not met in 2 months: April 2026 (14.0 minutes) and May 2026"),
            "{}",
            chart.alt
        );
        assert!(chart.alt.contains("Closed in January 2026 and July 2026."), "{}", chart.alt);
        assert!(chart.alt.starts_with("Terrace <script>&\" □:"), "{}", chart.alt);
        assert!(chart.svg.contains(">\n14.0\n<"), "the short month's figure is written");
        assert!(chart.caption.contains("hollow: calculated"), "{}", chart.caption);
        let met = turnover(&input(1, 1.0)).unwrap();
        assert!(met.alt.contains("met in every month known"), "{}", met.alt);
        assert!(!met.caption.contains("hollow"), "{}", met.caption);
    }

    /// Hours are no height of a bar: a month short of them has its mark, and the words say which.
    #[test]
    fn months_filtered_too_few_hours_have_a_mark() {
        let mut input = input(12, 1.0);
        let plain = turnover(&input).unwrap();
        input.few_hours = vec![input.months[0].month, input.months[6].month];
        let marked = turnover(&input).unwrap();
        let triangles = |chart: &Chart| chart.svg.matches("<polygon").count();
        assert_eq!(triangles(&marked), triangles(&plain) + 2, "{}", marked.svg);
        assert!(marked.caption.ends_with("Triangle under a month: filtered too few hours, in 2 of 12 months."));
        assert!(
            marked.alt.contains("Filtered too few hours in 2 months: November 2025 and May 2026."),
            "{}",
            marked.alt
        );
        assert_labels_fit(&draw(&input, &in_order(&input).unwrap()).unwrap());
    }

    #[test]
    fn nothing_to_draw_is_said() {
        let mut none = input(0, 1.0);
        assert_eq!(turnover(&none).unwrap_err().to_string(), "no chart: no month on record");
        none.months =
            vec![TurnoverMonth { month: NaiveDate::from_ymd_opt(2026, 1, 1).unwrap(), state: TurnoverState::Closed }];
        assert!(turnover(&none).is_err());
        assert!(turnover(&input(12, f64::NAN)).is_err());
        assert!(turnover(&input(12, f64::INFINITY)).is_err());
        assert!(turnover(&input(12, -1.0)).is_err());
    }
}
