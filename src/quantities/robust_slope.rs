//! A straight line through readings that one wild reading cannot bend.
//!
//! The slope is the median of the slopes between all pairs of points (Theil–Sen), with the range that
//! Kendall's statistic gives it (P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379–1389). It exists because
//! gauges are read by eye: a least-squares line follows the one reading that was written down wrong.
//! It knows nothing of what the points are, and it does not look beyond them.

/// Points past which only the last ones count: the pairs grow with the square.
const MOST_POINTS: usize = 200;
/// The normal quantile that leaves a tenth on each side: the central 80 %.
const TENTH: f64 = 1.281_551_565_544_8;

/// A line through points, with the range of its slope.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// The slope.
    pub slope: f64,
    /// The low end of the slope's central 80 %.
    pub slope_low: f64,
    /// The high end.
    pub slope_high: f64,
    /// The value where the abscissa is 0.
    pub at_zero: f64,
    /// How many points it rests on.
    pub points: usize,
}

/// The line through points (x, y). `None` with fewer than two different abscissas.
///
/// With two points the range is the slope itself: they cannot say how far off it is.
pub fn line(points: &[(f64, f64)]) -> Option<Line> {
    let points = &points[points.len().saturating_sub(MOST_POINTS)..];
    let mut slopes = Vec::with_capacity(points.len() * points.len().saturating_sub(1) / 2);
    for (index, (x1, y1)) in points.iter().enumerate() {
        for (x2, y2) in &points[index + 1..] {
            if (x2 - x1).abs() > 0.0 {
                slopes.push((y2 - y1) / (x2 - x1));
            }
        }
    }
    let slope = median(&mut slopes)?;
    let n = points.len() as f64;
    let pairs = slopes.len() as f64;
    let spread = TENTH * (n * (n - 1.0) * (2.0 * n + 5.0) / 18.0).sqrt();
    let rank = |position: f64| {
        // Ranks are counted from 1; past the ends the range is as wide as the slopes seen.
        let index = (position.max(1.0) as usize - 1).min(slopes.len() - 1);
        slopes[index]
    };
    let (slope_low, slope_high) = if points.len() < 3 {
        (slope, slope)
    } else {
        (rank(((pairs - spread) / 2.0).floor()), rank(f64::midpoint(pairs, spread).ceil() + 1.0))
    };
    let mut heights: Vec<f64> = points.iter().map(|(x, y)| y - slope * x).collect();
    let at_zero = median(&mut heights)?;
    Some(Line {
        slope,
        slope_low: slope_low.min(slope),
        slope_high: slope_high.max(slope),
        at_zero,
        points: points.len(),
    })
}

/// The median of values, which are sorted on the way; `None` of none.
pub fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    match values.len() {
        0 => None,
        n if n % 2 == 1 => Some(values[n / 2]),
        n => Some(f64::midpoint(values[n / 2 - 1], values[n / 2])),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_wild_point_does_not_bend_the_line() {
        // y = 1 + 2 x with the fourth point far off: 6 of the 10 slopes are 2, so the median is 2.
        let found = line(&[(0.0, 1.0), (1.0, 3.0), (2.0, 5.0), (3.0, 70.0), (4.0, 9.0)]).unwrap();
        assert_eq!(found.slope, 2.0);
        assert_eq!(found.at_zero, 1.0);
        assert!(found.slope_low <= 2.0 && found.slope_high >= 2.0);
    }

    #[test]
    fn sen_1968_range_by_hand() {
        // Six points: 15 slopes; variance 6·5·17/18 = 28.33, spread 1.2816·5.323 = 6.82; the range is from the
        // 4th (⌊(15 − 6.82)/2⌋) to the 12th (⌈(15 + 6.82)/2⌉ + 1) of them.
        let points = [(0.0, 0.0), (1.0, 1.1), (2.0, 1.8), (3.0, 3.3), (4.0, 3.9), (5.0, 5.2)];
        let mut slopes = Vec::new();
        for (i, a) in points.iter().enumerate() {
            for b in &points[i + 1..] {
                slopes.push((b.1 - a.1) / (b.0 - a.0));
            }
        }
        slopes.sort_by(f64::total_cmp);
        let found = line(&points).unwrap();
        assert_eq!((found.slope, found.slope_low, found.slope_high), (slopes[7], slopes[3], slopes[11]));
    }

    #[test]
    fn too_little_gives_nothing() {
        assert_eq!(line(&[]), None);
        assert_eq!(line(&[(1.0, 2.0)]), None);
        assert_eq!(line(&[(1.0, 2.0), (1.0, 3.0)]), None);
        let two = line(&[(1.0, 2.0), (3.0, 3.0)]).unwrap();
        assert_eq!((two.slope, two.slope_low, two.slope_high), (0.5, 0.5, 0.5));
    }
}
