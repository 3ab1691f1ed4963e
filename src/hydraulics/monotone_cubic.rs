//! A cubic through falling points that falls between them too.
//!
//! An ordinary spline overshoots, and a pump curve that rises somewhere may meet its loop twice. Plain
//! numbers in and out; which units they are in is the caller's affair.

/// A point of the cubic and its slope there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Knot {
    pub(super) flow: f64,
    pub(super) head: f64,
    pub(super) slope: f64,
}

/// Slopes of a cubic that keeps falling between falling points.
///
/// Source: F. N. Fritsch, R. E. Carlson, SIAM J. Numer. Anal. 17 (1980) 238–246, with the weighted
/// harmonic mean of F. N. Fritsch, J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300–304, and its
/// three-point formula at the ends ("PCHIP").
pub(super) fn monotone_cubic(points: &[(f64, f64)]) -> Vec<Knot> {
    let width: Vec<f64> = points.windows(2).map(|pair| pair[1].0 - pair[0].0).collect();
    let secant: Vec<f64> = points.windows(2).zip(&width).map(|(pair, width)| (pair[1].1 - pair[0].1) / width).collect();
    let last = points.len() - 1;
    let slope = |index: usize| -> f64 {
        if secant.len() == 1 {
            secant[0]
        } else if index == 0 {
            end_slope(width[0], width[1], secant[0], secant[1])
        } else if index == last {
            end_slope(width[last - 1], width[last - 2], secant[last - 1], secant[last - 2])
        } else {
            let before = 2.0 * width[index] + width[index - 1];
            let after = width[index] + 2.0 * width[index - 1];
            (before + after) / (before / secant[index - 1] + after / secant[index])
        }
    };
    points.iter().enumerate().map(|(index, &(flow, head))| Knot { flow, head, slope: slope(index) }).collect()
}

/// The slope at an end from the segment there and the next one; both secants are below zero.
fn end_slope(width: f64, next_width: f64, secant: f64, next_secant: f64) -> f64 {
    let three_point = ((2.0 * width + next_width) * secant - width * next_secant) / (width + next_width);
    // A rising end would make the cubic rise. Too steep it cannot be: it is at most twice the secant.
    three_point.min(0.0)
}

/// The cubic between two knots.
pub(super) fn hermite(left: &Knot, right: &Knot, flow: f64) -> f64 {
    let width = right.flow - left.flow;
    let t = (flow - left.flow) / width;
    let (t2, t3) = (t * t, t * t * t);
    // left.head + what falls: keeps the value at t = 0 exact.
    left.head
        + (right.head - left.head) * (3.0 * t2 - 2.0 * t3)
        + width * (left.slope * (t3 - 2.0 * t2 + t) + right.slope * (t3 - t2))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slopes_worked_by_hand() {
        // Secants −0.1, −0.2, −0.4. Inside: 2 / (1/−0.1 + 1/−0.2) = −2/15 and −4/15. At the ends:
        // (30 × −0.1 − 10 × −0.2) / 20 = −0.05 and (30 × −0.4 − 10 × −0.2) / 20 = −0.5.
        let knots = monotone_cubic(&[(0.0, 10.0), (10.0, 9.0), (20.0, 7.0), (30.0, 3.0)]);
        for (knot, slope) in knots.iter().zip([-0.05, -2.0 / 15.0, -4.0 / 15.0, -0.5]) {
            assert!((knot.slope - slope).abs() < 1e-12, "{knot:?} {slope}");
        }
    }

    #[test]
    fn an_end_that_would_rise_is_flat() {
        // The three-point formula gives (30 × −0.01 − 10 × −0.89) / 20 = +0.43 at the left end.
        let knots = monotone_cubic(&[(0.0, 10.0), (10.0, 9.9), (20.0, 1.0)]);
        assert_eq!(knots[0].slope, 0.0);
        // Unequal widths, by the formula: w = 2 h₁ + h₀ = 70, 2 h₀ + h₁ = 50, secants −0.01 and −0.3.
        let uneven = monotone_cubic(&[(0.0, 10.0), (10.0, 9.9), (40.0, 0.9)]);
        let expected = 120.0 / (70.0 / -0.01 + 50.0 / -0.3);
        assert!((uneven[1].slope - expected).abs() < 1e-12);
    }

    #[test]
    fn two_points_make_a_line() {
        let knots = monotone_cubic(&[(0.0, 8.0), (4.0, 6.0)]);
        assert!((hermite(&knots[0], &knots[1], 1.0) - 7.5).abs() < 1e-12);
        assert_eq!(hermite(&knots[0], &knots[1], 0.0), 8.0);
    }
}
