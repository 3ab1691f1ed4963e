//! Did the forecasts' ranges hold? A dot a quarter for the share of ranges that held what happened, against the share
//! they were made to hold.
//!
//! It exists because a range nobody checks is decoration. It must not join the dots: the quarters are apart.

use chrono::{Datelike, NaiveDate};

use super::axis::{EndLabel, ValueAxis, check, end_label_room, end_labels};
use super::canvas::{Anchor, Canvas, Drawing, Type};
use super::style::{self, ACCENT, ACT, GREY_TEXT, INK, TICK, WIDTH};
use super::{Chart, NoChart};

/// Most quarters that are shown.
const MOST: usize = 12;

/// The ranges of forecasts by the day they were made.
#[derive(Debug, Clone, PartialEq)]
pub struct RangesHeldInput {
    /// File stem of the chart.
    pub name: String,
    /// The share that ought to hold.
    pub promised: f64,
    /// By the day they were made, in order.
    pub made: Vec<RangesMade>,
    /// What the range lines are.
    pub range_name: String,
}

/// The forecasts of a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RangesMade {
    /// The day.
    pub on: NaiveDate,
    /// How many.
    pub forecasts: usize,
    /// The share of their ranges that held.
    pub share: f64,
    /// The range of that share.
    pub low: f64,
    /// Its other end.
    pub high: f64,
}

/// Draws the shares.
///
/// # Errors
/// [`NoChart`] if there are fewer than two days, or a share cannot be drawn.
pub fn ranges_held(input: &RangesHeldInput) -> Result<Chart, NoChart> {
    let shown = &input.made[input.made.len().saturating_sub(MOST)..];
    if shown.len() < 2 {
        return Err(NoChart::because("forecasts of fewer than two quarters"));
    }
    let drawing = draw(input, shown)?;
    Ok(Chart {
        name: input.name.clone(),
        svg: drawing.svg,
        alt: alt(input, shown),
        caption: style::sentence(&[
            "dot: share of ranges that held, with the number of forecasts under it".to_owned(),
            format!("line: {} of that share, by their number alone", style::printable(&input.range_name)),
        ]),
    })
}

fn draw(input: &RangesHeldInput, shown: &[RangesMade]) -> Result<Drawing, NoChart> {
    let (top, bottom) = (76, 330);
    check(shown.iter().flat_map(|one| [one.share, one.low, one.high]))?;
    let axis = ValueAxis::new(&[0.0, 100.0], top, bottom, true)?;
    let mut label = vec![EndLabel {
        y: axis.y(input.promised * 100.0),
        text: format!("made to hold {} %", style::number(input.promised * 100.0, 0)),
        colour: INK,
    }];
    let left = axis.label_width() + 20;
    let right = WIDTH - end_label_room(&mut label, 360).max(6);
    let mut canvas = Canvas::default();
    canvas.text("per cent of ranges that held", 0, 28, Type::new(TICK, GREY_TEXT, Anchor::Left));
    axis.draw(&mut canvas, left, right);
    canvas.dashed((left, label[0].y), (right, label[0].y), 4, (14, 8), INK);
    let room = (right - left) / style::whole(shown.len());
    for (at, one) in shown.iter().enumerate() {
        let x = left + room * style::whole(at) + room / 2;
        // Below what was promised by more than chance: said by a triangle too.
        let short = one.high < input.promised;
        let colour = if short { ACT } else { ACCENT };
        canvas.line(vec![(x, axis.y(one.low * 100.0)), (x, axis.y(one.high * 100.0))], 4, colour);
        if short {
            canvas.triangle(x, axis.y(one.share * 100.0), 15, true, colour);
        } else {
            canvas.disc(x, axis.y(one.share * 100.0), 12, colour);
        }
        canvas.try_text(&month(one.on), x, bottom + 42, Type::new(TICK, GREY_TEXT, Anchor::Centre));
        let count = style::number(one.forecasts as f64, 0);
        canvas.try_text(&count, x, bottom + 78, Type::new(TICK, INK, Anchor::Centre));
    }
    end_labels(&mut canvas, label, right, top);
    canvas.finish(bottom + 92)
}

fn month(day: NaiveDate) -> String {
    format!("{} {:02}", day.format("%b"), day.year() % 100)
}

fn alt(input: &RangesHeldInput, shown: &[RangesMade]) -> String {
    let percent = |share: f64| style::number(share * 100.0, 0);
    let least = shown.iter().map(|one| one.share).fold(f64::INFINITY, f64::min);
    let most = shown.iter().map(|one| one.share).fold(0.0, f64::max);
    let short = shown.iter().filter(|one| one.high < input.promised).count();
    format!(
        "Of the forecasts made in {} between {} and {} % of the ranges held; they are made to hold {} %. {}",
        style::count(shown.len(), "quarter", "quarters"),
        percent(least),
        percent(most),
        percent(input.promised),
        match short {
            0 => "No quarter fell short of that by more than chance.".to_owned(),
            short => format!("{} fell short of that by more than chance.", style::count(short, "quarter", "quarters")),
        }
    )
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::charts::canvas::assert_labels_fit;
    use chrono::Months;

    fn input(quarters: u32) -> RangesHeldInput {
        let first = NaiveDate::from_ymd_opt(2024, 3, 31).unwrap();
        RangesHeldInput {
            name: "held".into(),
            promised: 0.8,
            made: (0..quarters)
                .map(|at| RangesMade {
                    on: first.checked_add_months(Months::new(3 * at)).unwrap(),
                    forecasts: 10_000 * at as usize + 4,
                    share: 0.95 - f64::from(at) * 0.05,
                    low: 0.9 - f64::from(at) * 0.05,
                    high: 1.0 - f64::from(at) * 0.05,
                })
                .collect(),
            range_name: "central 80 %".into(),
        }
    }

    #[test]
    fn labels_fit() {
        for quarters in [2, 8, 12, 18] {
            let input = input(quarters);
            let shown = &input.made[input.made.len().saturating_sub(MOST)..];
            assert_labels_fit(&draw(&input, shown).unwrap());
        }
    }

    #[test]
    fn alt_states_the_finding() {
        let chart = ranges_held(&input(6)).unwrap();
        assert_eq!(
            chart.alt,
            "Of the forecasts made in 6 quarters between 70 and 95 % of the ranges held; they are made to hold 80 %. \
             1 quarter fell short of that by more than chance."
        );
        assert_eq!(ranges_held(&input(1)).unwrap_err().to_string(), "no chart: forecasts of fewer than two quarters");
    }
}
