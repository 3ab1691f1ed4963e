//! What may the year cost? How many of the simulated years come to how much, with the cost that is covered and the price.
//!
//! It exists because a mean hides what a contract can lose. It must not draw years: the totals come with the figures.

use super::canvas::{Anchor, Canvas, Drawing, Type};
use super::style::{self, ACCENT, ACT, GREY_TEXT, INK, TICK, WIDTH};
use super::{Chart, NoChart};

/// The totals of simulated years.
#[derive(Debug, Clone, PartialEq)]
pub struct CostInput {
    /// File stem of the chart.
    pub name: String,
    /// What is quoted, as the reader knows it.
    pub subject: String,
    /// The currency's code.
    pub currency: String,
    /// The totals in the currency, in any order.
    pub totals: Vec<f64>,
    /// The cost that is covered.
    pub covered: f64,
    /// How many years stay below it, in words: "4 years in 5".
    pub share: String,
    /// The price before tax.
    pub price: f64,
}

/// Bars at most.
const BARS: usize = 44;

/// Draws the spread of a year's cost.
///
/// # Errors
/// [`NoChart`] if there are no years, or they all cost the same.
pub fn cost(input: &CostInput) -> Result<Chart, NoChart> {
    let drawing = draw(input)?;
    let mean = input.totals.iter().sum::<f64>() / input.totals.len() as f64;
    let money = |amount: f64| format!("{} {}", style::printable(&input.currency), style::number(amount, 0));
    let over = input.totals.iter().filter(|total| **total > input.price).count() as f64 / input.totals.len() as f64;
    let alt = format!(
        "{}: of {} simulated years {} cost less than {}; the mean is {}, the price {}, and {} % of the years cost more than it.",
        style::printable(&input.subject),
        input.totals.len(),
        style::printable(&input.share),
        money(input.covered),
        money(mean),
        money(input.price),
        style::number(over * 100.0, 1)
    );
    let caption =
        "Height: how many of the simulated years come to so much; filled: years within what is covered.".to_owned();
    Ok(Chart { name: input.name.clone(), svg: drawing.svg, alt, caption })
}

fn draw(input: &CostInput) -> Result<Drawing, NoChart> {
    let mut totals: Vec<f64> = input.totals.iter().copied().filter(|total| total.is_finite()).collect();
    totals.sort_by(f64::total_cmp);
    let (Some(first), Some(last)) = (totals.first(), totals.last()) else {
        return Err(NoChart::because("no year was drawn"));
    };
    if !(input.covered.is_finite() && input.price.is_finite()) || last - first < 1e-6 * last.abs().max(1.0) {
        return Err(NoChart::because("every year costs the same"));
    }
    // The dearest one in a hundred would press the rest together; the last bar holds them.
    let dear = totals[(totals.len() - 1) * 99 / 100].max(input.price).max(input.covered);
    let step = nice_step((dear - first) / 6.0);
    let (from, to) = ((first / step).floor() * step, (dear / step).ceil() * step);
    let (left, right, top, bottom) = (20, WIDTH - 20, 100, 330);
    let x =
        |value: f64| left + (f64::from(right - left) * ((value - from) / (to - from)).clamp(0.0, 1.0)).round() as i32;
    let mut counts = vec![0usize; BARS];
    let width = (to - from) / BARS as f64;
    for total in &totals {
        counts[(((total - from) / width) as usize).min(BARS - 1)] += 1;
    }
    let most = counts.iter().copied().max().unwrap_or(1).max(1) as f64;
    let mut canvas = Canvas::default();
    canvas.fill(left, bottom, right, bottom + 2, INK);
    for (index, count) in counts.iter().enumerate().filter(|(_, count)| **count > 0) {
        let (begins, ends) = (from + width * index as f64, from + width * (index + 1) as f64);
        let height = (f64::from(bottom - top) * *count as f64 / most).round().max(2.0) as i32;
        if 0.5 * (begins + ends) <= input.covered {
            canvas.fill(x(begins) + 1, bottom - height, x(ends) - 1, bottom, ACCENT);
        } else {
            canvas.hollow(x(begins) + 1, bottom - height.max(8), x(ends) - 1, bottom, ACCENT);
        }
    }
    let mut tick = from;
    while tick <= to + 0.5 * step {
        canvas.fill(x(tick), bottom, x(tick) + 2, bottom + 10, INK);
        canvas.try_text(&style::number(tick, 0), x(tick), bottom + 42, Type::new(TICK, GREY_TEXT, Anchor::Centre));
        tick += step;
    }
    let lines = [
        (input.covered, format!("{}: less than {}", input.share, style::number(input.covered, 0)), ACCENT, 36),
        (input.price, format!("price {}", style::number(input.price, 0)), ACT, 78),
    ];
    for (value, words, colour, y) in lines {
        canvas.dashed((x(value), y + 8), (x(value), bottom), 3, (10, 6), colour);
        let is_right = x(value) > i32::midpoint(left, right);
        let (anchor, beside) = if is_right { (Anchor::Right, -10) } else { (Anchor::Left, 10) };
        canvas.text(&style::fit(&words, 500.0, f64::from(TICK)), x(value) + beside, y, Type::new(TICK, colour, anchor));
    }
    canvas.finish(bottom + 60)
}

/// 1, 2 or 5 times a power of ten, at least a step.
fn nice_step(least: f64) -> f64 {
    let power = 10f64.powf(least.max(1e-9).log10().floor());
    [1.0, 2.0, 5.0, 10.0].into_iter().map(|times| times * power).find(|step| *step >= least).unwrap_or(10.0 * power)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::charts::canvas::assert_labels_fit;

    fn input(scale: f64) -> CostInput {
        CostInput {
            name: "cost".into(),
            subject: "Quay House".into(),
            currency: "GBP".into(),
            totals: (0..1000).map(|i| scale * (1000.0 + f64::from(i * i) / 1000.0)).collect(),
            covered: scale * 1640.0,
            share: "4 years in 5".into(),
            price: scale * 2000.0,
        }
    }

    #[test]
    fn labels_fit() {
        for scale in [0.01, 1.0, 1e4] {
            for price in [0.5, 1.0, 3.0] {
                let mut input = input(scale);
                input.price *= price;
                assert_labels_fit(&draw(&input).unwrap());
            }
        }
    }

    #[test]
    fn alt_states_the_finding() {
        let chart = cost(&input(1.0)).unwrap();
        assert_eq!(
            chart.alt,
            "Quay House: of 1000 simulated years 4 years in 5 cost less than GBP 1640; the mean is GBP 1333, the price GBP 2000, \
             and 0.0 % of the years cost more than it."
        );
        assert_eq!(cost(&input(1.0)).unwrap(), chart);
    }

    #[test]
    fn nothing_to_draw_is_said() {
        let mut none = input(1.0);
        none.totals.clear();
        assert!(cost(&none).is_err());
        let mut same = input(1.0);
        same.totals = vec![5.0; 10];
        assert_eq!(cost(&same).unwrap_err().to_string(), "no chart: every year costs the same");
        let mut bad = input(1.0);
        bad.price = f64::NAN;
        assert!(cost(&bad).is_err());
    }
}
