//! How unsure is a forecast of hours? From how a pump's own counter has strayed from its program, stretch
//! by stretch; assumed only where there are too few stretches to say.
//!
//! Counter over program is seen as a level that may wander, plus the scatter of a month. How much of the
//! scatter is wandering is not known: each of a few shares is weighed by how well it explains the
//! stretches (the likelihood of a local-level model, as in J. Durbin, S. J. Koopman, "Time Series Analysis
//! by State Space Methods", 2nd ed. 2012, ch. 2), and the spreads are averaged with those weights. The ends of
//! a range take Student's t for the number of stretches, so that few of them give a wide range.

use crate::basis::CENTRAL_80;

/// How unsure a forecast is. The relative spread of the sum of `n` months is the root of
/// `level`² + `month`²/n + `drift`² n.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Of the level learned from the last year.
    pub level: f64,
    /// Of one month about the level.
    pub month: f64,
    /// By how much the level may wander, for the root of each month.
    pub drift: f64,
    /// Whether it is a default, for want of stretches between readings.
    pub assumed: bool,
}

/// A stretch between two readings of a counter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeteredStretch {
    /// Its length in months.
    pub months: f64,
    /// Hours counted.
    pub counted: f64,
    /// Hours by the program.
    pub programmed: f64,
}

/// Spread of a month's hours about the program where no counter has shown it: assumed.
pub const ASSUMED_MONTH_SPREAD: f64 = 0.20;
/// Spread of a pump's level where no counter has shown it: assumed.
pub const ASSUMED_LEVEL_SPREAD: f64 = 0.10;
/// How the level of a coming year may differ from that of the last, where too few stretches show it: assumed.
const ASSUMED_DRIFT: f64 = 0.02;
/// As how many stretches the assumed scatter counts against those there are, while they are few: assumed.
const ASSUMED_COUNTS_AS: f64 = 1.0;
/// Stretches between readings without which the spread counts as assumed.
pub const LEAST_STRETCHES: usize = 6;
/// The months a level is learned from.
const LEVEL_MONTHS: f64 = 12.0;
/// Variance of a month's wandering over that of its scatter, with how far each is believed before the stretches
/// have spoken: assumed. Most pumps keep to their program; one that wanders as fast as it scatters is rare.
const WANDERING: [(f64, f64); 7] =
    [(0.0, 0.30), (0.003, 0.20), (0.01, 0.15), (0.03, 0.12), (0.1, 0.11), (0.3, 0.08), (1.0, 0.04)];
/// Scatter below this share of the level is a counter's rounding and no more.
const LEAST_SCATTER: f64 = 1e-3;

impl Spread {
    /// The relative spread of the sum of so many months.
    pub fn of_months(&self, months: f64) -> f64 {
        let months = months.max(1.0);
        (self.level.powi(2) + self.month.powi(2) / months + self.drift.powi(2) * months).sqrt()
    }

    /// What is assumed of a pump whose counter has shown nothing.
    pub fn assumed() -> Self {
        Self {
            level: ASSUMED_LEVEL_SPREAD.hypot(ASSUMED_DRIFT),
            month: ASSUMED_MONTH_SPREAD,
            drift: 0.0,
            assumed: true,
        }
    }

    /// Of a sum of speeds, each with its spread and its hours. What moves one of them (guests, a new program) may move
    /// the others, so their spreads add up; it is assumed if that of the speed that runs longest is.
    pub fn of_sum(speeds: &[(Self, f64)]) -> Self {
        let total: f64 = speeds.iter().map(|(_, hours)| hours).sum();
        let mean = |pick: fn(&Self) -> f64| -> f64 {
            speeds.iter().map(|(spread, hours)| pick(spread) * hours).sum::<f64>() / total
        };
        match speeds.iter().max_by(|a, b| a.1.total_cmp(&b.1)) {
            Some((longest, _)) if total > 0.0 => Self {
                level: mean(|s| s.level),
                month: mean(|s| s.month),
                drift: mean(|s| s.drift),
                assumed: longest.assumed,
            },
            Some((longest, _)) => *longest,
            None => Self::assumed(),
        }
    }

    /// What a pump's stretches between readings show, in the order of time.
    pub fn of(stretches: &[MeteredStretch]) -> Self {
        let sum = |pick: fn(&MeteredStretch) -> f64| stretches.iter().map(pick).sum::<f64>();
        let (counted, programmed) = (sum(|s| s.counted), sum(|s| s.programmed));
        if counted <= 0.0 || programmed <= 0.0 {
            return Self::assumed();
        }
        let mean = counted / programmed;
        // Each stretch's ratio with its length; a stretch is about a month.
        let ratios: Vec<(f64, f64)> = stretches.iter().map(|s| (s.months, s.counted / s.programmed / mean)).collect();
        if ratios.len() < LEAST_STRETCHES { Self::of_few(&ratios) } else { Self::of_many(&ratios) }
    }

    /// Few stretches: what is assumed yields to them one by one.
    fn of_few(ratios: &[(f64, f64)]) -> Self {
        let squares: f64 = ratios.iter().map(|(months, ratio)| months * (ratio - 1.0).powi(2)).sum();
        let months: f64 = ratios.iter().map(|(months, _)| months).sum();
        let variance = (ASSUMED_COUNTS_AS * ASSUMED_MONTH_SPREAD.powi(2) + squares)
            / (ASSUMED_COUNTS_AS + ratios.len() as f64 - 1.0).max(1.0);
        let precision = 1.0 / ASSUMED_LEVEL_SPREAD.powi(2) + months.min(LEVEL_MONTHS) / variance;
        Self {
            level: (1.0 / precision + ASSUMED_DRIFT.powi(2)).sqrt(),
            month: variance.sqrt(),
            drift: 0.0,
            assumed: true,
        }
    }

    fn of_many(ratios: &[(f64, f64)]) -> Self {
        let freedom = ratios.len() as f64 - 1.0;
        let learned = ratios.iter().map(|(months, _)| months).sum::<f64>().clamp(1.0, LEVEL_MONTHS);
        // Wandering within the months a level is learned from: Σ (j/L)² for j from 1 to L − 1.
        let within = (learned - 1.0) * (2.0 * learned - 1.0) / (6.0 * learned);
        let fits: Vec<(f64, f64, f64)> = WANDERING
            .iter()
            .map(|(share, believed)| {
                let (log_likelihood, squares) = local_level(ratios, *share);
                let scatter = (squares / freedom).max(LEAST_SCATTER.powi(2));
                (*share, scatter, believed.ln() + log_likelihood - freedom / 2.0 * scatter.ln())
            })
            .collect();
        let best = fits.iter().map(|(.., log)| *log).fold(f64::NEG_INFINITY, f64::max);
        let (mut level, mut month, mut drift, mut total) = (0.0, 0.0, 0.0, 0.0);
        for (share, scatter, log) in fits {
            let weight = (log - best).exp();
            total += weight;
            // The months to come wander by Σ (j/n)² for j from 1 to n, which is n/3 + 1/2 + 1/(6 n).
            level += weight * scatter * (1.0 / learned + share * (within + 0.5));
            month += weight * scatter * (1.0 + share / 6.0);
            drift += weight * scatter * share / 3.0;
        }
        let few = student_90(freedom) / CENTRAL_80;
        let spread = |sum: f64| (sum / total).sqrt() * few;
        Self { level: spread(level), month: spread(month), drift: spread(drift), assumed: false }
    }
}

/// The log-likelihood of a local-level model without its scale, and the sum of squares that gives the scale, for
/// a level that wanders by so large a share of the scatter's variance in a month. Kalman filter begun at the
/// first stretch.
fn local_level(ratios: &[(f64, f64)], wanders: f64) -> (f64, f64) {
    let Some(((first_months, first), rest)) = ratios.split_first() else { return (0.0, 0.0) };
    let (mut level, mut variance, mut before) = (*first, 1.0 / first_months, *first_months);
    let (mut log, mut squares) = (0.0, 0.0);
    for (months, ratio) in rest {
        variance += wanders * f64::midpoint(before, *months);
        let expected = variance + 1.0 / months;
        let surprise = ratio - level;
        squares += surprise * surprise / expected;
        log -= 0.5 * expected.ln();
        level += variance / expected * surprise;
        variance *= 1.0 - variance / expected;
        before = *months;
    }
    (log, squares)
}

/// The 0.9 quantile of Student's t (Cornish–Fisher expansion, Abramowitz and Stegun 26.7.5).
fn student_90(freedom: f64) -> f64 {
    let x = CENTRAL_80;
    let of = |power: i32| x.powi(power);
    x + (of(3) + x) / (4.0 * freedom)
        + (5.0 * of(5) + 16.0 * of(3) + 3.0 * x) / (96.0 * freedom.powi(2))
        + (3.0 * of(7) + 19.0 * of(5) + 17.0 * of(3) - 15.0 * x) / (384.0 * freedom.powi(3))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    /// Tables of Student's t, one-sided 0.9: 1.476 at 5, 1.372 at 10, 1.310 at 30 degrees of freedom.
    #[test]
    fn students_quantile_is_that_of_the_tables() {
        for (freedom, quantile) in [(5.0, 1.476), (10.0, 1.372), (30.0, 1.310)] {
            assert!((student_90(freedom) - quantile).abs() < 1e-3, "{freedom}");
        }
    }

    #[test]
    fn nothing_metered_is_assumed_and_few_stretches_still_are() {
        assert_eq!(Spread::of(&[]), Spread::assumed());
        let one = MeteredStretch { months: 1.0, counted: 100.0, programmed: 110.0 };
        let few = Spread::of(&[one; 3]);
        assert!(few.assumed && few.month < ASSUMED_MONTH_SPREAD && few.month > 0.05, "{few:?}");
        let many = Spread::of(&[one; 12]);
        assert!(!many.assumed && many.of_months(12.0) < 0.005, "{many:?}");
    }

    /// A normal number by Box and Muller.
    fn normal(draw: &mut ChaCha8Rng) -> f64 {
        let (u, v): (f64, f64) = (draw.random_range(f64::EPSILON..1.0), draw.random_range(0.0..1.0));
        (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
    }

    /// The share of ranges that hold the mean of the months to come, about the mean of the last year, for pumps that
    /// scatter by 5 % a month and wander by `wanders` of that.
    fn held(months: usize, ahead: usize, wanders: f64) -> f64 {
        let mut draw = ChaCha8Rng::seed_from_u64(4);
        let rounds = 800;
        let inside = (0..rounds).filter(|_| {
            let mut level = 1.0;
            let all: Vec<f64> = (0..months + ahead)
                .map(|_| {
                    level += 0.05 * wanders * normal(&mut draw);
                    level + 0.05 * normal(&mut draw)
                })
                .collect();
            let (past, coming) = all.split_at(months);
            let stretches: Vec<MeteredStretch> =
                past.iter().map(|r| MeteredStretch { months: 1.0, counted: 100.0 * r, programmed: 100.0 }).collect();
            let learned = &past[months.saturating_sub(12)..];
            let mean = |of: &[f64]| of.iter().sum::<f64>() / of.len() as f64;
            let within = CENTRAL_80 * Spread::of(&stretches).of_months(ahead as f64);
            (mean(coming) / mean(learned) - 1.0).abs() <= within
        });
        inside.count() as f64 / f64::from(rounds)
    }

    /// Simulated pumps whose truth is known: four in five is what a range promises. With a year of readings it
    /// holds more, since a wandering level cannot be told from scatter yet, and with one that wanders as fast as
    /// this a little less.
    #[test]
    fn ranges_hold_what_they_promise_on_pumps_of_known_truth() {
        for months in [12, 24, 36] {
            for ahead in [3, 12] {
                for wanders in [0.0, 0.1, 0.2] {
                    let share = held(months, ahead, wanders);
                    assert!((0.70..0.97).contains(&share), "{months} months, {ahead} ahead, {wanders}: {share}");
                }
            }
        }
    }
}
