//! How often does it fail? The number of failures so far, against time, for one pump or one site.
//!
//! It exists because a curve that bends upwards is seen before any figure tells it. It must not test
//! for a trend: bounds come with the figures, the verdict stands in the text.

use std::fmt::Write as _;

use chrono::NaiveDate;

use super::axis::{DayScale, EndLabel, MONTHS_HEIGHT, ValueAxis, end_label_room, end_labels, long_day};
use super::canvas::{Anchor, Canvas, Drawing, Type};
use super::style::{self, ACCENT, ACT, GREY_TEXT, INK, TICK, WIDTH};
use super::{Chart, NoChart};

/// The failures of one pump or one site.
#[derive(Debug, Clone, PartialEq)]
pub struct FailuresInput {
    /// File stem of the chart.
    pub name: String,
    /// Whose failures, as the reader knows it.
    pub subject: String,
    /// First day under watch.
    pub from: NaiveDate,
    /// Last day under watch.
    pub to: NaiveDate,
    /// The failures, in any order; those outside the days under watch are left out.
    pub failures: Vec<Failure>,
    /// Bounds of the cumulative number, in order of time; none if there are none.
    pub bounds: Vec<FailureBound>,
    /// What the bounds are, such as "central 80 %".
    pub range_name: String,
}

/// One failure.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Failure {
    /// The day.
    pub date: NaiveDate,
    /// What failed, in a word or two; may be empty.
    pub what: String,
}

/// Bounds of the cumulative number of failures on a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FailureBound {
    /// The day.
    pub date: NaiveDate,
    /// Lower bound, failures.
    pub low: f64,
    /// Upper bound, failures.
    pub high: f64,
}

/// Draws the cumulative number of failures.
///
/// # Errors
/// [`NoChart`] if there is no failure, or a figure cannot be drawn.
pub fn failures(input: &FailuresInput) -> Result<Chart, NoChart> {
    let shown = shown(input);
    let drawing = draw(input, &shown)?;
    Ok(Chart { name: input.name.clone(), svg: drawing.svg, alt: alt(input, &shown), caption: caption(input, &shown) })
}

fn shown(input: &FailuresInput) -> Vec<&Failure> {
    let mut shown: Vec<&Failure> =
        input.failures.iter().filter(|failure| (input.from..=input.to).contains(&failure.date)).collect();
    shown.sort_by(|a, b| a.date.cmp(&b.date).then_with(|| a.what.cmp(&b.what)));
    shown
}

fn draw(input: &FailuresInput, shown: &[&Failure]) -> Result<Drawing, NoChart> {
    if shown.is_empty() {
        return Err(NoChart::because("no failure on record"));
    }
    let (top, bottom) = (70, 340);
    let bounds: Vec<&FailureBound> =
        input.bounds.iter().filter(|bound| (input.from..=input.to).contains(&bound.date)).collect();
    let mut values = vec![shown.len() as f64];
    values.extend(bounds.iter().flat_map(|bound| [bound.low, bound.high]));
    if values.iter().any(|&value| value < 0.0) {
        return Err(NoChart::because("a bound of the failures is below zero"));
    }
    let axis = ValueAxis::new(&values, top, bottom, true)?;
    let mut ends =
        vec![EndLabel { y: axis.y(shown.len() as f64), text: format!("{} so far", shown.len()), colour: INK }];
    if let Some(last) = bounds.last() {
        for (value, word) in [(last.high, "high"), (last.low, "low")] {
            let text = format!("{word} {}", style::number(value, 1));
            ends.push(EndLabel { y: axis.y(value), text, colour: GREY_TEXT });
        }
    }
    let left = axis.label_width() + 20;
    let right = WIDTH - end_label_room(&mut ends, 300);
    let scale = DayScale::new(input.from, input.to, left, right)?;

    let mut canvas = Canvas::default();
    canvas.text("failures so far", 0, 28, Type::new(TICK, GREY_TEXT, Anchor::Left));
    axis.draw(&mut canvas, left, right);
    scale.draw(&mut canvas, bottom);
    for of in [|bound: &FailureBound| bound.low, |bound: &FailureBound| bound.high] {
        let points: Vec<(i32, i32)> = bounds.iter().map(|bound| (scale.end(bound.date), axis.y(of(bound)))).collect();
        for pair in points.windows(2) {
            canvas.dashed(pair[0], pair[1], 3, (8, 8), GREY_TEXT);
        }
    }
    let mut steps = vec![(left, bottom)];
    for (number, failure) in shown.iter().enumerate() {
        let x = scale.middle(failure.date);
        steps.extend([(x, axis.y(number as f64)), (x, axis.y(number as f64 + 1.0))]);
    }
    steps.push((right, axis.y(shown.len() as f64)));
    canvas.line(steps, 5, ACCENT);
    let radius = if shown.len() > 40 { 7 } else { 11 };
    let mut names = Vec::new();
    for (number, failure) in shown.iter().enumerate() {
        let (x, y) = (scale.middle(failure.date), axis.y(number as f64 + 1.0));
        canvas.disc(x, y, radius, ACT);
        let what = style::fit(&failure.what, 330.0, f64::from(TICK));
        let width = style::text_width(&what, f64::from(TICK), false).ceil() as i32;
        names.push((what, width, (x, y)));
    }
    // Once all is drawn, so that no name hides a later failure. To the upper left of its step there is no line of the
    // failures, to the lower right mostly none; a bound may run through either.
    for (what, width, (x, y)) in names.into_iter().filter(|(what, ..)| !what.is_empty()) {
        let to_the_left = Type::new(TICK, INK, Anchor::Right);
        let to_the_right = Type::new(TICK, INK, Anchor::Left);
        let _ = [(x - 20, y - 10, to_the_left), (x - 20, y + 10, to_the_left), (x - 20, y - 34, to_the_left)]
            .into_iter()
            .chain([(x + 20, y + 34, to_the_right), (x + 20, y + 50, to_the_right)])
            .any(|(at, baseline, type_)| {
                let from = if type_.anchor == Anchor::Right { at - width } else { at };
                from >= left
                    && from + width <= right
                    && baseline <= bottom - 10
                    && canvas.try_text_on_paper(&what, at, baseline, type_)
            });
    }
    end_labels(&mut canvas, ends, right, top);
    canvas.finish(bottom + MONTHS_HEIGHT)
}

fn alt(input: &FailuresInput, shown: &[&Failure]) -> String {
    let mut out = format!(
        "{}: {} from {} to {}",
        style::printable(&input.subject),
        style::count(shown.len(), "failure", "failures"),
        long_day(input.from),
        long_day(input.to)
    );
    if let Some(last) = shown.last() {
        let what = style::printable(&last.what);
        let what = if what.is_empty() { what } else { format!(" ({what})") };
        let _ = write!(out, ", the last on {}{what}", long_day(last.date));
    }
    let days = (input.to - input.from).num_days();
    let late = shown.iter().filter(|failure| (failure.date - input.from).num_days() * 2 > days).count();
    let _ = write!(out, "; {late} of them in the second half of that time.");
    if let Some(last) = input.bounds.iter().rfind(|bound| bound.date <= input.to) {
        let _ = write!(
            out,
            " The {} at the end is {} to {} failures.",
            style::printable(&input.range_name),
            style::number(last.low, 1),
            style::number(last.high, 1)
        );
    }
    out
}

/// Failures named one by one below the chart: where they stand close there is no room for their names in it.
const NAMED: usize = 12;

fn caption(input: &FailuresInput, shown: &[&Failure]) -> String {
    let mut parts = vec!["dot: a failure".to_owned()];
    if !input.bounds.is_empty() {
        parts.push(format!("dashed lines: {}", style::printable(&input.range_name)));
    }
    let mut out = style::sentence(&parts);
    let named: Vec<String> = shown.iter().map(|failure| style::fit(&failure.what, 330.0, f64::from(TICK))).collect();
    if (2..=NAMED).contains(&named.len()) && named.iter().all(|what| !what.is_empty()) {
        let _ = write!(out, " In order: {}.", style::list(&named));
    }
    out
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::charts::canvas::assert_labels_fit;
    use chrono::Days;

    fn input(number: u64, what: &str) -> FailuresInput {
        let from = NaiveDate::from_ymd_opt(2022, 3, 5).unwrap();
        let day = |at: u64| from.checked_add_days(Days::new(at)).unwrap();
        FailuresInput {
            name: "failures".into(),
            subject: "Jets 1".into(),
            from,
            to: day(1500),
            failures: (0..number).map(|at| Failure { date: day(1500 - at * at % 1500), what: what.into() }).collect(),
            bounds: (0..=10)
                .map(|at| {
                    let share = at as f64 / 10.0 * number as f64;
                    FailureBound { date: day(at * 150), low: share * 0.6, high: share * 1.5 }
                })
                .collect(),
            range_name: "central 80 %".into(),
        }
    }

    #[test]
    fn labels_fit() {
        for number in [1, 2, 5, 40, 400] {
            for what in ["", "shaft seal", "a failure <of> a part & a name of some sixty characters, no less"] {
                let mut input = input(number, what);
                assert_labels_fit(&draw(&input, &shown(&input)).unwrap());
                input.bounds.clear();
                input.from = input.to;
                assert_labels_fit(&draw(&input, &shown(&input)).unwrap());
            }
        }
    }

    #[test]
    fn alt_states_the_finding() {
        let chart = failures(&input(5, "shaft seal")).unwrap();
        assert_eq!(
            chart.alt,
            "Jets 1: 5 failures from 5 March 2022 to 13 April 2026, the last on 13 April 2026 (shaft seal); \
             5 of them in the second half of that time. The central 80 % at the end is 3.0 to 7.5 failures."
        );
        let mut other = input(5, "shaft seal");
        other.failures.reverse();
        assert_eq!(failures(&other).unwrap(), chart);
    }

    #[test]
    fn every_failure_is_named_though_there_is_no_room_in_the_plot() {
        let mut input = input(5, "shaft seal");
        input.failures[1].what = "capacitor".into();
        let caption = failures(&input).unwrap().caption;
        let named = ["shaft seal", "shaft seal", "shaft seal", "capacitor", "shaft seal"];
        assert!(caption.ends_with(&format!(" In order: {}.", style::list(&named.map(str::to_owned)))), "{caption}");
        assert!(!failures(&self::input(40, "shaft seal")).unwrap().caption.contains("In order"));
    }

    #[test]
    fn nothing_to_draw_is_said() {
        assert_eq!(failures(&input(0, "")).unwrap_err().to_string(), "no chart: no failure on record");
        let mut bad = input(3, "");
        bad.bounds[3].high = f64::NAN;
        assert!(failures(&bad).is_err());
        let mut swapped = input(3, "");
        swapped.to = swapped.from.pred_opt().unwrap();
        assert!(failures(&swapped).is_err());
    }
}
