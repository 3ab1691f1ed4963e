//! Do readings drift? The rank test of Mann and Kendall with ties, and the slope of Theil and Sen with
//! its range.
//!
//! Neither asks that the readings be spread in any known way, and one wild reading bends neither.

use statrs::distribution::{ContinuousCDF, Normal};

/// What the rank test says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RankTest {
    /// Pairs that rise less pairs that fall.
    pub score: i64,
    /// The variance of that were there no drift, ties allowed for.
    pub variance: f64,
    /// The chance of a score as far from 0, were there no drift.
    pub p_value: f64,
}

/// Readings up to which the chance is counted exactly, if no two are equal.
const EXACT_TO: usize = 10;

/// The test of Mann and Kendall on readings in order of time (R. O. Gilbert, Statistical Methods for
/// Environmental Pollution Monitoring (1987), ch. 16). `None` with fewer than three.
pub fn rank_test(readings: &[f64]) -> Option<RankTest> {
    let n = readings.len();
    if n < 3 {
        return None;
    }
    let mut score = 0i64;
    for (i, early) in readings.iter().enumerate() {
        for late in &readings[i + 1..] {
            score += i64::from(late > early) - i64::from(late < early);
        }
    }
    let mut sorted = readings.to_vec();
    sorted.sort_by(f64::total_cmp);
    let (mut ties, mut tied) = (0.0, false);
    for group in sorted.chunk_by(|a, b| a == b) {
        let t = group.len() as f64;
        ties += t * (t - 1.0) * (2.0 * t + 5.0);
        tied |= group.len() > 1;
    }
    let count = n as f64;
    let variance = (count * (count - 1.0) * (2.0 * count + 5.0) - ties) / 18.0;
    let p_value = if n <= EXACT_TO && !tied {
        exact(n, score)
    } else if score == 0 || variance <= 0.0 {
        1.0
    } else {
        // Continuity: the score moves in steps of two.
        let z = (score.abs() - 1) as f64 / variance.sqrt();
        2.0 * Normal::standard().sf(z)
    };
    Some(RankTest { score, variance, p_value })
}

/// The chance of a score as far from 0 among all orders of `n` different readings.
fn exact(n: usize, score: i64) -> f64 {
    // Orders by their number of falling pairs.
    let mut orders = vec![1.0];
    for k in 2..=n {
        let mut next = vec![0.0; orders.len() + k - 1];
        for (falling, count) in orders.iter().enumerate() {
            for more in 0..k {
                next[falling + more] += count;
            }
        }
        orders = next;
    }
    let all: f64 = orders.iter().sum();
    let pairs = (n * (n - 1) / 2) as i64;
    let tail: f64 =
        orders.iter().enumerate().filter(|(falling, _)| pairs - 2 * *falling as i64 >= score.abs()).map(|o| o.1).sum();
    (2.0 * tail / all).min(1.0)
}

/// A slope.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slope {
    /// The median of the slopes of all pairs.
    pub slope: f64,
    /// The ends of its range; `None` = too few readings to give them.
    pub range: Option<(f64, f64)>,
    /// The median abscissa.
    pub centre: f64,
    /// The median reading: the line passes through both.
    pub level: f64,
}

impl Slope {
    /// The line's value at an abscissa.
    pub fn at(&self, x: f64) -> f64 {
        self.level + self.slope * (x - self.centre)
    }
}

/// The slope of Theil and Sen through points (x, y), with the range of Kendall's statistic at a
/// confidence, ranks interpolated (Gilbert (1987), ch. 16). `None` without two different abscissas.
pub fn slope(points: &[(f64, f64)], confidence: f64) -> Option<Slope> {
    let mut slopes = Vec::with_capacity(points.len() * points.len().saturating_sub(1) / 2);
    for (i, (x1, y1)) in points.iter().enumerate() {
        let later = points[i + 1..].iter().filter(|(x2, _)| (x2 - x1).abs() > 0.0);
        slopes.extend(later.map(|(x2, y2)| (y2 - y1) / (x2 - x1)));
    }
    let mut readings: Vec<f64> = points.iter().map(|p| p.1).collect();
    let mut places: Vec<f64> = points.iter().map(|p| p.0).collect();
    let slope = median(&mut slopes)?;
    let variance = rank_test(&readings).map(|test| test.variance);
    let range = variance.and_then(|variance| {
        let spread = Normal::standard().inverse_cdf(0.5 + confidence / 2.0) * variance.sqrt();
        let pairs = slopes.len() as f64;
        let at = |rank: f64| {
            if !(1.0..=pairs).contains(&rank) {
                return None;
            }
            let below = rank.floor();
            let first = slopes[below as usize - 1];
            let next = slopes.get(below as usize).copied().unwrap_or(first);
            Some(first + (next - first) * (rank - below))
        };
        Some((at((pairs - spread) / 2.0)?, at(f64::midpoint(pairs, spread) + 1.0)?))
    });
    Some(Slope { slope, range, centre: median(&mut places)?, level: median(&mut readings)? })
}

/// The median of values, which are sorted on the way; `None` of none.
fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    match values.len() {
        0 => None,
        n if n % 2 == 1 => Some(values[n / 2]),
        n => Some(f64::midpoint(values[n / 2 - 1], values[n / 2])),
    }
}
