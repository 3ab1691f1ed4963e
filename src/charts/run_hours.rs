//! What have the pumps run? Hours a month, a small chart each pump and speed, on the same scale where that shows all.
//!
//! It exists to tell metered hours from estimated ones: the metered part of a bar is solid, the rest
//! hollow. It must not add speeds up or fill months nobody has read.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use chrono::NaiveDate;

use super::axis::{
    MONTHS_HEIGHT, ValueAxis, bar_edges, bars_right, equal_slots, first_of_month, long_month, month_names,
    months_between,
};
use super::canvas::{Anchor, Canvas, Drawing, Type};
use super::style::{self, ACCENT, GREY_TEXT, INK, TICK, WIDTH};
use super::{Chart, NoChart};

/// Most months and most speeds that are shown.
const MOST_MONTHS: usize = 24;
const MOST_SPEEDS: usize = 6;

/// The run hours of one pump.
#[derive(Debug, Clone, PartialEq)]
pub struct RunHoursInput {
    /// File stem of the chart.
    pub name: String,
    /// The pump, as the reader knows it.
    pub pump: String,
    /// Its speeds, or several pumps beside each other, in the order they are to be shown: up to six.
    pub speeds: Vec<RunHoursSpeed>,
    /// What the range lines are, such as "central 80 %".
    pub range_name: String,
}

/// One speed of a pump.
#[derive(Debug, Clone, PartialEq)]
pub struct RunHoursSpeed {
    /// Its name, such as "low speed"; may be empty for a pump with one speed.
    pub speed: String,
    /// One entry a month, in any order; months missing between are shown as unknown.
    pub months: Vec<RunHoursMonth>,
}

/// The hours of one month.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RunHoursMonth {
    /// Any day of the month.
    pub month: NaiveDate,
    /// Hours covered by readings of a counter.
    pub metered_hours: f64,
    /// Hours worked out some other way.
    pub estimated_hours: f64,
    /// Low and high of the sum, hours.
    pub range_hours: Option<(f64, f64)>,
}

/// A speed's name and its months.
type Speed = (String, BTreeMap<NaiveDate, RunHoursMonth>);

/// Draws the run hours of a pump.
///
/// # Errors
/// [`NoChart`] if there is no month with hours, or a figure cannot be drawn.
pub fn run_hours(input: &RunHoursInput) -> Result<Chart, NoChart> {
    let (months, speeds) = in_order(input)?;
    let drawing = draw(&months, &speeds)?;
    Ok(Chart {
        name: input.name.clone(),
        svg: drawing.svg,
        alt: alt(input, &months, &speeds),
        caption: caption(input, &months, &speeds),
    })
}

fn in_order(input: &RunHoursInput) -> Result<(Vec<NaiveDate>, Vec<Speed>), NoChart> {
    let speeds: Vec<Speed> = input
        .speeds
        .iter()
        .take(MOST_SPEEDS)
        .map(|speed| {
            let months = speed.months.iter().map(|entry| (first_of_month(entry.month), *entry)).collect();
            (style::printable(&speed.speed), months)
        })
        .collect();
    let all = || speeds.iter().flat_map(|(_, months)| months.keys().copied());
    let (Some(first), Some(last)) = (all().min(), all().max()) else {
        return Err(NoChart::because("no month on record"));
    };
    let mut months = months_between(first, last)?;
    months.drain(..months.len().saturating_sub(MOST_MONTHS));
    Ok((months, speeds))
}

/// What each panel has to hold.
fn values(months: &[NaiveDate], speeds: &[Speed]) -> Vec<Vec<f64>> {
    speeds
        .iter()
        .map(|(_, hours)| {
            months
                .iter()
                .filter_map(|month| hours.get(month))
                .flat_map(|month| {
                    let (low, high) = month.range_hours.unwrap_or((0.0, 0.0));
                    let low = low.max(0.0);
                    [month.metered_hours + month.estimated_hours, month.metered_hours, low, high]
                })
                .collect()
        })
        .collect()
}

/// One scale for all panels, unless one would be too small on it to tell solid from hollow.
fn one_scale(values: &[Vec<f64>]) -> bool {
    let most: Vec<f64> = values.iter().map(|values| values.iter().copied().fold(0.0, f64::max)).collect();
    let largest = most.iter().copied().fold(0.0, f64::max);
    most.iter().all(|&most| most * 3.0 >= largest)
}

fn draw(months: &[NaiveDate], speeds: &[Speed]) -> Result<Drawing, NoChart> {
    let shown = || speeds.iter().flat_map(|(_, hours)| months.iter().filter_map(|month| hours.get(month)));
    if shown().any(|month| month.metered_hours < 0.0 || month.estimated_hours < 0.0) {
        return Err(NoChart::because("a month has hours below zero"));
    }
    let values = values(months, speeds);
    let share_scale = one_scale(&values);
    let all: Vec<f64> = values.concat();
    // One speed has the width to itself; more stand two abreast, read across.
    let abreast = if speeds.len() == 1 { 1 } else { 2 };
    let plot_height = if abreast == 1 { 250 } else { 150 };
    let gutter = 60;
    let width = (WIDTH - 4 - (abreast - 1) * gutter) / abreast;
    let pitch = plot_height + 66 + MONTHS_HEIGHT;
    let mut canvas = Canvas::default();
    let mut bottom = 0;
    for (at, (speed, hours)) in speeds.iter().enumerate() {
        let (row, column) = (style::whole(at) / abreast, style::whole(at) % abreast);
        let edge = column * (width + gutter);
        let top = 66 + row * pitch;
        bottom = top + plot_height;
        let of = if share_scale || values[at].is_empty() { &all } else { &values[at] };
        let axis = ValueAxis::new(of, top, bottom, false)?;
        let left = edge + axis.label_width() + 20;
        let title = if speed.is_empty() { "hours a month".to_owned() } else { format!("{speed}, hours a month") };
        let title = style::fit_middle(&title, f64::from(width), f64::from(TICK));
        canvas.text(&title, edge, top - 34, Type::new(TICK, GREY_TEXT, Anchor::Left));
        let right = bars_right(months.len(), left, edge + width);
        axis.draw(&mut canvas, left, right);
        let slots = equal_slots(months, left, right);
        for slot in &slots {
            let (from, to) = bar_edges(slot);
            let Some(month) = hours.get(&slot.month) else {
                canvas.text("?", slot.centre(), bottom - 14, Type::new(TICK, GREY_TEXT, Anchor::Centre));
                continue;
            };
            let metered = axis.y(month.metered_hours);
            let whole = axis.y(month.metered_hours + month.estimated_hours);
            if month.estimated_hours > 0.0 {
                canvas.hollow(from, whole, to, metered, ACCENT);
            }
            canvas.fill(from, metered, to, bottom, ACCENT);
            if let Some((low, high)) = month.range_hours {
                canvas.line(vec![(slot.centre(), axis.y(low.max(0.0))), (slot.centre(), axis.y(high))], 4, INK);
            }
        }
        month_names(&mut canvas, &slots, bottom + 42);
    }
    canvas.finish(bottom + MONTHS_HEIGHT)
}

fn alt(input: &RunHoursInput, months: &[NaiveDate], speeds: &[Speed]) -> String {
    let mut out = format!("{}:", style::printable(&input.pump));
    for (at, (speed, hours)) in speeds.iter().enumerate() {
        let known: Vec<&RunHoursMonth> = months.iter().filter_map(|month| hours.get(month)).collect();
        let of = |month: &RunHoursMonth| month.metered_hours + month.estimated_hours;
        let Some(most) = known.iter().copied().max_by(|a, b| of(a).total_cmp(&of(b))) else {
            continue;
        };
        let total: f64 = known.iter().copied().map(of).sum();
        let metered: f64 = known.iter().map(|month| month.metered_hours).sum();
        let share = if total > 0.0 { metered / total * 100.0 } else { 0.0 };
        if at > 0 {
            out.push(';');
        }
        if !speed.is_empty() {
            let _ = write!(out, " {speed},");
        }
        let _ = write!(
            out,
            " {} hours in {}, {} % of them metered, most in {} ({} hours)",
            style::number(total, 0),
            style::count(known.len(), "month", "months"),
            style::number(share, 0),
            long_month(most.month),
            style::number(of(most), 0)
        );
        if known.len() < months.len() {
            let _ = write!(out, ", {} not known", style::count(months.len() - known.len(), "month", "months"));
        }
    }
    out.push('.');
    out
}

fn caption(input: &RunHoursInput, months: &[NaiveDate], speeds: &[Speed]) -> String {
    let shown: Vec<Option<&RunHoursMonth>> =
        speeds.iter().flat_map(|(_, hours)| months.iter().map(|month| hours.get(month))).collect();
    let any = |test: fn(&RunHoursMonth) -> bool| shown.iter().flatten().any(|month| test(month));
    let mut parts = Vec::new();
    if any(|month| month.metered_hours > 0.0) {
        parts.push("solid: metered".to_owned());
    }
    if any(|month| month.estimated_hours > 0.0) {
        parts.push("hollow: estimated".to_owned());
    }
    if any(|month| month.range_hours.is_some()) {
        parts.push(format!("thin line: {}", style::printable(&input.range_name)));
    }
    if !one_scale(&values(months, speeds)) {
        parts.push("each on a scale of its own".to_owned());
    }
    if shown.iter().any(Option::is_none) {
        parts.push("?: not known".to_owned());
    }
    style::sentence(&parts)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::charts::canvas::assert_labels_fit;
    use chrono::Months;

    fn input(months: u32, speeds: usize, scale: f64) -> RunHoursInput {
        let first = NaiveDate::from_ymd_opt(2025, 11, 1).unwrap();
        let speeds = (0..speeds)
            .map(|speed| RunHoursSpeed {
                speed: [
                    "low speed",
                    "high speed",
                    "speed <3>",
                    "a speed with a name of some sixty characters, no less",
                ][speed % 4]
                    .into(),
                months: (0..months)
                    .filter(|at| at % 5 != 3)
                    .map(|at| RunHoursMonth {
                        month: first.checked_add_months(Months::new(at)).unwrap(),
                        metered_hours: f64::from(at * 10) * scale,
                        estimated_hours: f64::from(at % 3) * 100.0 * scale,
                        range_hours: Some((f64::from(at * 9) * scale, f64::from(at * 12 + 200) * scale)),
                    })
                    .collect(),
            })
            .collect();
        RunHoursInput { name: "hours".into(), pump: "Jets 1".into(), speeds, range_name: "central 80 %".into() }
    }

    #[test]
    fn labels_fit_for_one_speed_and_for_many() {
        for months in [1, 12, 24, 40] {
            for speeds in 1..=8 {
                for scale in [0.01, 1.0, 1e5] {
                    let (months, speeds) = in_order(&input(months, speeds, scale)).unwrap();
                    assert_labels_fit(&draw(&months, &speeds).unwrap());
                }
            }
        }
    }

    #[test]
    fn labels_fit_for_forty_pumps_of_long_names() {
        for word in ["W", "Long terrace, jets 1 ", "一", "i"] {
            for pumps in [1, 2, 6, 40] {
                let mut given = input(12, pumps, 1.0);
                for speed in &mut given.speeds {
                    speed.speed = word.repeat(240 / word.len());
                }
                let (months, speeds) = in_order(&given).unwrap();
                assert_labels_fit(&draw(&months, &speeds).unwrap());
                assert!(run_hours(&given).is_ok());
            }
        }
    }

    #[test]
    fn alt_states_the_finding() {
        let chart = run_hours(&input(12, 2, 1.0)).unwrap();
        assert!(
            chart.alt.starts_with("Jets 1: low speed, 1550 hours in 10 months, 35 % of them metered, most in October 2026 (310 hours), 2 months not known; high speed"),
            "{}",
            chart.alt
        );
        assert_eq!(chart.caption, "Solid: metered; hollow: estimated; thin line: central 80 %; ?: not known.");
        assert_eq!(run_hours(&input(12, 2, 1.0)).unwrap(), chart);
    }

    /// Under the picture stands what its signs mean, those that are drawn and no other.
    #[test]
    fn the_note_tells_the_signs_that_are_drawn() {
        let month = |metered_hours: f64, estimated_hours: f64, range_hours| RunHoursMonth {
            month: NaiveDate::from_ymd_opt(2026, 1, 1).unwrap(),
            metered_hours,
            estimated_hours,
            range_hours,
        };
        let note = |months: &[RunHoursMonth]| {
            let mut given = input(0, 2, 1.0);
            for (speed, month) in given.speeds.iter_mut().zip(months) {
                speed.months = vec![*month];
            }
            given.speeds.truncate(months.len());
            run_hours(&given).unwrap().caption
        };
        assert_eq!(note(&[month(10.0, 0.0, None)]), "Solid: metered.");
        assert_eq!(note(&[month(0.0, 10.0, None)]), "Hollow: estimated.");
        let both = month(5.0, 10.0, Some((12.0, 18.0)));
        assert_eq!(note(&[both]), "Solid: metered; hollow: estimated; thin line: central 80 %.");
        // Beside a pump that runs all day the hours of jets would be a line of no height.
        assert_eq!(
            note(&[both, month(700.0, 0.0, None)]),
            "Solid: metered; hollow: estimated; thin line: central 80 %; each on a scale of its own."
        );
    }

    #[test]
    fn nothing_to_draw_is_said() {
        assert_eq!(run_hours(&input(0, 1, 1.0)).unwrap_err().to_string(), "no chart: no month on record");
        assert!(run_hours(&input(3, 0, 1.0)).is_err());
        assert!(run_hours(&input(3, 1, f64::NAN)).is_err());
        assert!(run_hours(&input(3, 1, -1.0)).is_err());
    }
}
