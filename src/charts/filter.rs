//! When must the filter be cleaned? The pressure at its gauge since some months, with the cleans.
//!
//! It exists to show the rise since the last clean against the pressure at which to clean, and the
//! day it will be reached. It must not fit the rise: the line comes with the figures.

use std::fmt::Write as _;

use chrono::NaiveDate;

use super::axis::long_day;
use super::timeline::{Level, Reading, Timeline, Trend};
use super::{Chart, NoChart, style};

/// The pressure at one filter.
#[derive(Debug, Clone, PartialEq)]
pub struct FilterInput {
    /// File stem of the chart.
    pub name: String,
    /// The filter, as the reader knows it.
    pub filter: String,
    /// First day shown.
    pub from: NaiveDate,
    /// Last day of the records; the chart goes on as far as the crossing, within reason.
    pub to: NaiveDate,
    /// Unit of every pressure here, such as "bar".
    pub unit: String,
    /// Decimals of a pressure in that unit.
    pub decimals: usize,
    /// Readings of the gauge, in any order.
    pub readings: Vec<Reading>,
    /// Days on which the filter was cleaned.
    pub cleans: Vec<NaiveDate>,
    /// Pressure just after a clean, in the unit.
    pub clean_pressure: Option<f64>,
    /// Pressure at which to clean, in the unit.
    pub limit_pressure: Option<f64>,
    /// The fitted rise since the last clean.
    pub trend: Option<Trend>,
    /// What the range of the day is, such as "central 80 %".
    pub range_name: String,
}

/// Draws the pressure at a filter.
///
/// # Errors
/// [`NoChart`] with fewer than two days of readings, or if a figure cannot be drawn.
pub fn filter(input: &FilterInput) -> Result<Chart, NoChart> {
    let timeline = timeline(input);
    let drawing = timeline.draw()?;
    let mut alt = format!(
        "{}: the pressure was {}.",
        style::printable(&input.filter),
        timeline.span_words(&style::printable(&input.unit), input.decimals)
    );
    if let Some(last) = input.cleans.iter().filter(|&&day| day <= input.to).max() {
        let _ = write!(alt, " Last cleaned on {}.", long_day(*last));
    } else {
        alt += " No clean is on record.";
    }
    if let Some(limit) = input.limit_pressure {
        let _ = write!(
            alt,
            " It is to be cleaned at {} {}.",
            style::number(limit, input.decimals),
            style::printable(&input.unit)
        );
    }
    alt += &timeline.trend_words(&input.range_name, "the pressure to clean at");
    let caption = timeline.caption(&input.range_name);
    Ok(Chart { name: input.name.clone(), svg: drawing.svg, alt, caption })
}

fn timeline(input: &FilterInput) -> Timeline<'_> {
    let written = |value: f64| format!("{} {}", style::number(value, input.decimals), input.unit);
    let mut levels = Vec::new();
    levels.extend(input.limit_pressure.map(|value| Level {
        value,
        text: format!("clean at {}", written(value)),
        is_limit: true,
    }));
    levels.extend(input.clean_pressure.map(|value| Level {
        value,
        text: format!("just cleaned {}", written(value)),
        is_limit: false,
    }));
    Timeline {
        title: format!("pressure at the gauge, {}", input.unit),
        height: if input.cleans.is_empty() { 350 } else { 304 },
        from: input.from,
        to: input.to,
        readings: &input.readings,
        breaks: &input.cleans,
        break_word: "cleaned",
        levels,
        trend: input.trend,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::charts::canvas::{MarkBox, assert_labels_fit};
    use crate::charts::timeline::Crossing;
    use chrono::Days;

    fn day(at: u64) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 5, 1).unwrap().checked_add_days(Days::new(at)).unwrap()
    }

    fn input(readings: u64, scale: f64) -> FilterInput {
        FilterInput {
            name: "filter".into(),
            filter: "Main filter".into(),
            from: day(0),
            to: day(183),
            unit: "bar".into(),
            decimals: 2,
            readings: (0..readings)
                .map(|at| Reading {
                    date: day(at * 183 / readings.max(1)),
                    value: (0.8 + 0.002 * (at * 183 / readings.max(1) % 60) as f64) * scale,
                    is_estimated: at % 4 == 1,
                })
                .collect(),
            cleans: vec![day(0), day(60), day(62), day(120)],
            clean_pressure: Some(0.8 * scale),
            limit_pressure: Some(0.95 * scale),
            trend: Some(Trend {
                from: day(120),
                from_value: 0.8 * scale,
                to: day(188),
                to_value: 0.95 * scale,
                range: None,
                crossing: Some(Crossing { earliest: day(184), expected: day(188), latest: Some(day(199)) }),
            }),
            range_name: "central 80 %".into(),
        }
    }

    #[test]
    fn labels_fit() {
        for readings in [2, 3, 12, 40, 180] {
            for scale in [1e-4, 1.0, 1e6] {
                let mut input = input(readings, scale);
                let drawing = timeline(&input).draw().unwrap();
                assert_labels_fit(&drawing);
                // The day is said beside the plot, whatever readings lie about the limit.
                let day = drawing.labels.0.iter().find(|label| label.text == "about 5 Nov").unwrap();
                let spots = drawing.marks.iter().filter_map(|mark| match mark {
                    MarkBox::Spot { right, .. } => Some(*right),
                    MarkBox::Stroke { .. } => None,
                });
                assert!(spots.fold(0.0, f64::max) < day.left);
                input.unit = "units of pressure <with> a name of some sixty characters, & more".into();
                input.limit_pressure = Some(0.801 * scale);
                assert_labels_fit(&timeline(&input).draw().unwrap());
            }
        }
    }

    #[test]
    fn a_far_crossing_does_not_press_the_readings_together() {
        let mut input = input(12, 1.0);
        let far = NaiveDate::from_ymd_opt(2090, 1, 1).unwrap();
        input.trend = Some(Trend {
            to: far,
            range: None,
            crossing: Some(Crossing { earliest: far, expected: far, latest: Some(far) }),
            ..input.trend.unwrap()
        });
        let drawing = timeline(&input).draw().unwrap();
        assert_labels_fit(&drawing);
        assert!(!drawing.svg.contains("2090"));
        assert!(filter(&input).unwrap().alt.contains("about 1 January 2090"));
    }

    #[test]
    fn alt_states_the_finding() {
        let chart = filter(&input(12, 1.0)).unwrap();
        assert!(
            chart.alt.contains("Last cleaned on 29 August 2026. It is to be cleaned at 0.95 bar."),
            "{}",
            chart.alt
        );
        assert!(
            chart.alt.contains("reaches the pressure to clean at about 5 November 2026 (central 80 %: 1 November 2026 to 16 November 2026)"),
            "{}",
            chart.alt
        );
        assert!(chart.caption.starts_with("Solid dot: reading; ring: estimated;"), "{}", chart.caption);
        assert_eq!(filter(&input(12, 1.0)).unwrap(), chart);
    }

    #[test]
    fn nothing_to_draw_is_said() {
        assert_eq!(filter(&input(1, 1.0)).unwrap_err().to_string(), "no chart: too few readings");
        assert!(filter(&input(0, 1.0)).is_err());
        assert!(filter(&input(9, f64::NAN)).is_err());
        let mut swapped = input(9, 1.0);
        (swapped.from, swapped.to) = (swapped.to, swapped.from);
        assert!(filter(&swapped).is_err());
    }
}
