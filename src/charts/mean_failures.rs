//! How many failures has a pump had by its age? The mean number over some pumps, against the hours they have run.
//!
//! It exists because a mean that bends upwards tells of pumps that wear, whatever their ages. It must not test for a
//! trend, and it must not draw what stands on one or two pumps: the bounds come with the figures.

use super::axis::{EndLabel, ValueAxis, check, end_label_room, end_labels, round_step};
use super::canvas::{Anchor, Canvas, Drawing, Type};
use super::style::{self, ACCENT, GREY_TEXT, INK, TICK, WIDTH};
use super::{Chart, NoChart};

/// The mean cumulative failures of some pumps.
#[derive(Debug, Clone, PartialEq)]
pub struct MeanFailuresInput {
    /// File stem of the chart.
    pub name: String,
    /// Whose, as the reader knows them.
    pub subject: String,
    /// What the ages count from: "since new", "since records began".
    pub since: String,
    /// In rising age, a step each.
    pub steps: Vec<MeanFailures>,
    /// What the bounds are.
    pub range_name: String,
}

/// A step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanFailures {
    /// Hours run.
    pub hours: f64,
    /// Pumps watched at them.
    pub pumps: usize,
    /// Failures a pump has had by then on the average.
    pub mean: f64,
    /// The bounds of that; `None` with too few pumps.
    pub bounds: Option<(f64, f64)>,
}

/// Most steps that are drawn: more would not be told apart.
const MOST: usize = 120;

/// Draws the mean.
///
/// # Errors
/// [`NoChart`] if fewer than two steps have bounds, or a figure cannot be drawn.
pub fn mean_failures(input: &MeanFailuresInput) -> Result<Chart, NoChart> {
    let shown = shown(input);
    let drawing = draw(input, &shown)?;
    Ok(Chart {
        name: input.name.clone(),
        svg: drawing.svg,
        alt: alt(input, &shown),
        caption: style::sentence(&[
            "line: failures a pump has had by its hours, on the average".to_owned(),
            format!("dashed lines: {}", style::printable(&input.range_name)),
        ]),
    })
}

/// The steps with bounds, thinned where there are very many; the last is always among them.
fn shown(input: &MeanFailuresInput) -> Vec<MeanFailures> {
    let all: Vec<MeanFailures> = input.steps.iter().copied().filter(|step| step.bounds.is_some()).collect();
    let every = all.len().div_ceil(MOST).max(1);
    let first = (all.len().max(1) - 1) % every;
    all.into_iter().skip(first).step_by(every).collect()
}

fn draw(input: &MeanFailuresInput, shown: &[MeanFailures]) -> Result<Drawing, NoChart> {
    let (Some(last), true) = (shown.last(), shown.len() > 1) else {
        return Err(NoChart::because("too few pumps for a mean with bounds"));
    };
    check(shown.iter().flat_map(|step| [step.hours, step.mean]))?;
    let (top, bottom) = (70, 320);
    let (low, high) = last.bounds.unwrap_or((last.mean, last.mean));
    let values: Vec<f64> =
        shown.iter().flat_map(|step| [step.mean, step.bounds.map_or(step.mean, |bounds| bounds.1)]).collect();
    let axis = ValueAxis::new(&values, top, bottom, false)?;
    let label = |value: f64, word: &str, colour| EndLabel {
        y: axis.y(value),
        text: format!("{word} {}", style::number(value, 2)),
        colour,
    };
    let mut ends = vec![label(last.mean, "mean", INK), label(high, "high", GREY_TEXT), label(low, "low", GREY_TEXT)];
    let left = axis.label_width() + 20;
    let right = WIDTH - end_label_room(&mut ends, 300);
    let room = f64::from(right - left);
    let x = |hours: f64| left + (room * (hours / last.hours).clamp(0.0, 1.0)).round() as i32;
    let mut canvas = Canvas::default();
    canvas.text("failures a pump, by the hours it has run", 0, 28, Type::new(TICK, GREY_TEXT, Anchor::Left));
    axis.draw(&mut canvas, left, right);
    let (step, _) = round_step(last.hours / 5.0);
    for tick in 0..=(last.hours / step) as i32 {
        let hours = step * f64::from(tick);
        let text = if tick > 0 { format!("{} h", style::number(hours, 0)) } else { "0".to_owned() };
        let anchor = if last.hours - hours < 0.1 * last.hours { Anchor::Right } else { Anchor::Centre };
        canvas.try_text(&text, x(hours), bottom + 42, Type::new(TICK, GREY_TEXT, anchor));
    }
    let stairs = |of: &dyn Fn(&MeanFailures) -> f64| {
        let (mut points, mut before) = (vec![(left, bottom)], 0.0);
        for step in shown {
            points.extend([(x(step.hours), axis.y(before)), (x(step.hours), axis.y(of(step)))]);
            before = of(step);
        }
        points
    };
    for bound in [(|b: (f64, f64)| b.0) as fn((f64, f64)) -> f64, |b| b.1] {
        let points: Vec<(i32, i32)> =
            shown.iter().map(|step| (x(step.hours), axis.y(step.bounds.map_or(step.mean, bound)))).collect();
        for pair in points.windows(2) {
            canvas.dashed(pair[0], pair[1], 3, (8, 8), GREY_TEXT);
        }
    }
    canvas.line(stairs(&|step| step.mean), 5, ACCENT);
    let since = format!("{}; {} pumps at the end", style::printable(&input.since), last.pumps);
    canvas.try_text(&since, left, bottom + 78, Type::new(TICK, GREY_TEXT, Anchor::Left));
    end_labels(&mut canvas, ends, right, top);
    canvas.finish(bottom + 92)
}

fn alt(input: &MeanFailuresInput, shown: &[MeanFailures]) -> String {
    let Some(last) = shown.last() else { return String::new() };
    let (low, high) = last.bounds.unwrap_or((last.mean, last.mean));
    let half = shown.iter().rfind(|step| step.hours <= last.hours / 2.0).map_or(0.0, |step| step.mean);
    format!(
        "{}: by {} hours {} a pump has failed {} times on the average ({} {} to {}); {} of that came in the first half of those hours.",
        style::printable(&input.subject),
        style::number(last.hours, 0),
        style::printable(&input.since),
        style::number(last.mean, 2),
        style::printable(&input.range_name),
        style::number(low, 2),
        style::number(high, 2),
        style::number(half, 2)
    )
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::charts::canvas::assert_labels_fit;

    fn input(steps: usize) -> MeanFailuresInput {
        let step = |at: usize| {
            let mean = 0.1 * at as f64;
            MeanFailures { hours: 400.0 * at as f64, pumps: 40, mean, bounds: Some((0.7 * mean, 1.4 * mean)) }
        };
        MeanFailuresInput {
            name: "mean-failures".into(),
            subject: "All pumps".into(),
            since: "since new".into(),
            steps: (1..=steps).map(step).collect(),
            range_name: "central 80 %".into(),
        }
    }

    #[test]
    fn labels_fit() {
        for steps in [2, 5, 119, 120, 121, 5000] {
            let input = input(steps);
            let shown = shown(&input);
            assert!(shown.len() <= MOST && shown.last() == input.steps.last());
            assert_labels_fit(&draw(&input, &shown).unwrap());
        }
    }

    #[test]
    fn alt_states_the_finding() {
        assert_eq!(
            mean_failures(&input(10)).unwrap().alt,
            "All pumps: by 4000 hours since new a pump has failed 1.00 times on the average (central 80 % 0.70 to 1.40); 0.50 of that came in the first half of those hours."
        );
    }

    #[test]
    fn nothing_is_drawn_of_one_or_two_pumps() {
        let mut few = input(10);
        few.steps.iter_mut().for_each(|step| step.bounds = None);
        assert_eq!(mean_failures(&few).unwrap_err().to_string(), "no chart: too few pumps for a mean with bounds");
    }
}
