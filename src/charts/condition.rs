//! How is the pump getting on? One measured quantity over time, such as its current, with its limit.
//!
//! It exists to show a slow drift before it becomes a failure. It must not fit or judge: the line and
//! the limit come with the figures.

use std::fmt::Write as _;

use chrono::NaiveDate;

use super::timeline::{Level, Reading, Timeline, Trend};
use super::{Chart, NoChart, style};

/// One quantity of one pump.
#[derive(Debug, Clone, PartialEq)]
pub struct ConditionInput {
    /// File stem of the chart.
    pub name: String,
    /// The pump, as the reader knows it.
    pub subject: String,
    /// What is measured, such as "current at high speed".
    pub quantity: String,
    /// Unit of every value here, such as "A".
    pub unit: String,
    /// Decimals of a value in that unit.
    pub decimals: usize,
    /// First day shown.
    pub from: NaiveDate,
    /// Last day of the records; the chart goes on as far as the crossing, within reason.
    pub to: NaiveDate,
    /// Readings, in any order.
    pub readings: Vec<Reading>,
    /// The fitted line.
    pub trend: Option<Trend>,
    /// The limit, in the unit, and what it is called, such as "nameplate".
    pub limit: Option<(f64, String)>,
    /// What the range of the day is, such as "central 80 %".
    pub range_name: String,
}

/// Draws a quantity over time.
///
/// # Errors
/// [`NoChart`] with fewer than two days of readings, or if a figure cannot be drawn.
pub fn condition(input: &ConditionInput) -> Result<Chart, NoChart> {
    let timeline = timeline(input);
    let drawing = timeline.draw()?;
    let unit = style::printable(&input.unit);
    let mut alt = format!(
        "{}: {} was {}.",
        style::printable(&input.subject),
        style::printable(&input.quantity),
        timeline.span_words(&unit, input.decimals)
    );
    if let Some((limit, name)) = &input.limit {
        let _ =
            write!(alt, " The limit is {} {unit} ({}).", style::number(*limit, input.decimals), style::printable(name));
    }
    alt += &timeline.trend_words(&input.range_name, "the limit");
    let caption = timeline.caption(&input.range_name);
    Ok(Chart { name: input.name.clone(), svg: drawing.svg, alt, caption })
}

fn timeline(input: &ConditionInput) -> Timeline<'_> {
    Timeline {
        title: format!("{}, {}", input.quantity, input.unit),
        height: 210,
        from: input.from,
        to: input.to,
        readings: &input.readings,
        breaks: &[],
        break_word: "",
        levels: input
            .limit
            .iter()
            .map(|(value, name)| Level {
                value: *value,
                text: format!("{name} {} {}", style::number(*value, input.decimals), input.unit),
                is_limit: true,
            })
            .collect(),
        trend: input.trend,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::charts::canvas::assert_labels_fit;

    fn input(readings: u32) -> ConditionInput {
        let day = |month| NaiveDate::from_ymd_opt(2026, month, 9).unwrap();
        ConditionInput {
            name: "condition".into(),
            subject: "Jets 1".into(),
            quantity: "current at high speed".into(),
            unit: "A".into(),
            decimals: 1,
            from: day(1),
            to: day(12),
            readings: (0..readings)
                .map(|at| Reading { date: day(at % 12 + 1), value: 7.0 + 0.2 * f64::from(at), is_estimated: false })
                .collect(),
            trend: Some(Trend {
                from: day(1),
                from_value: 7.0,
                to: day(12),
                to_value: 9.2,
                range: Some([(7.2, 8.6), (6.8, 9.8)]),
                crossing: None,
            }),
            limit: Some((10.4, "nameplate".into())),
            range_name: "central 80 %".into(),
        }
    }

    #[test]
    fn labels_fit() {
        for readings in [2, 12, 40] {
            let mut input = input(readings);
            assert_labels_fit(&timeline(&input).draw().unwrap());
            input.quantity = "a measured quantity with a name of well over sixty characters, <b>&\" ".repeat(3);
            input.limit = Some((1e6, input.quantity.clone()));
            assert_labels_fit(&timeline(&input).draw().unwrap());
            input.limit = Some((-10.0, "lowest".into()));
            assert_labels_fit(&timeline(&input).draw().unwrap());
        }
    }

    #[test]
    fn alt_states_the_finding() {
        let chart = condition(&input(12)).unwrap();
        assert_eq!(
            chart.alt,
            "Jets 1: current at high speed was 7.0 A in January 2026 and 9.2 A on 9 December 2026, highest \
             9.2 A in December 2026. The limit is 10.4 A (nameplate). No day on which it reaches \
             the limit can be given."
        );
        assert_eq!(condition(&input(12)).unwrap(), chart);
    }

    /// A crossing that lies behind is told as such, and one that may never come has no late end.
    #[test]
    fn the_day_of_a_crossing_is_told_as_it_is_known() {
        let mut input = input(12);
        let day = |year, month| NaiveDate::from_ymd_opt(year, month, 9).unwrap();
        let mut alt = |earliest, expected, latest| {
            let trend = input.trend.as_mut().unwrap();
            trend.crossing = Some(crate::charts::Crossing { earliest, expected, latest });
            let chart = condition(&input).unwrap();
            assert!(chart.caption.ends_with("bar at the limit: central 80 %."), "{}", chart.caption);
            chart.alt
        };
        let passed = alt(day(2026, 4), day(2026, 5), Some(day(2026, 6)));
        assert!(
            passed.ends_with(
                "By the fitted line it passed the limit about 9 May 2026 (central 80 %: 9 April 2026 to 9 June 2026)."
            ),
            "{passed}"
        );
        let ahead = alt(day(2026, 11), day(2027, 1), None);
        assert!(
            ahead.ends_with("At the present rate it reaches the limit about 9 January 2027 (central 80 %: 9 November 2026 at the earliest, perhaps never)."),
            "{ahead}"
        );
    }

    #[test]
    fn nothing_to_draw_is_said() {
        assert_eq!(condition(&input(1)).unwrap_err().to_string(), "no chart: too few readings");
        let mut bad = input(5);
        bad.readings[2].value = f64::NAN;
        assert!(condition(&bad).is_err());
        let mut bad = input(5);
        bad.limit = Some((f64::INFINITY, "none".into()));
        assert!(condition(&bad).is_err());
    }
}
