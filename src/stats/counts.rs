//! Counts of failures: what range a count will fall in, and rates that failures and exposure show.
//!
//! A rate known from few failures has a gamma distribution, and the count to come is then negative
//! binomial. Where units differ among themselves, each is drawn towards the fleet's rate as far as its
//! own exposure leaves it unknown.

use statrs::distribution::{ContinuousCDF, Gamma as GammaDistribution};
use statrs::function::gamma::ln_gamma;

/// A gamma distribution of a rate: mean shape/rate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gamma {
    /// Its shape: as many failures as it is worth.
    pub shape: f64,
    /// Its rate: as much exposure as it is worth.
    pub rate: f64,
}

impl Gamma {
    /// The mean.
    pub fn mean(&self) -> f64 {
        self.shape / self.rate
    }

    /// The variance.
    pub fn variance(&self) -> f64 {
        self.shape / (self.rate * self.rate)
    }

    /// The value below which a share lies.
    pub fn quantile(&self, share: f64) -> f64 {
        GammaDistribution::new(self.shape, self.rate).map_or(f64::NAN, |gamma| gamma.inverse_cdf(share))
    }

    /// A value drawn from it (Marsaglia and Tsang, ACM Trans. Math. Softw. 26 (2000) 363–372); `even`
    /// draws evenly between 0 and 1.
    pub fn draw(&self, mut even: impl FnMut() -> f64) -> f64 {
        let (shape, boost) =
            if self.shape < 1.0 { (self.shape + 1.0, even().powf(1.0 / self.shape)) } else { (self.shape, 1.0) };
        let d = shape - 1.0 / 3.0;
        let c = 1.0 / (9.0 * d).sqrt();
        loop {
            // Box and Muller's normal.
            let normal = (-2.0 * even().ln()).sqrt() * (std::f64::consts::TAU * even()).cos();
            let cube = (1.0 + c * normal).powi(3);
            if cube > 0.0 && even().ln() < 0.5 * normal * normal + d - d * cube + d * cube.ln() {
                return d * cube * boost / self.rate;
            }
        }
    }
}

/// The rate that failures within an exposure show: the posterior from Jeffreys' prior, so that no failure
/// at all still leaves a rate.
pub fn rate_of(failures: f64, exposure: f64) -> Gamma {
    Gamma { shape: failures + 0.5, rate: exposure }
}

/// The exact range of a steady rate, for a watch that time ended (NIST/SEMATECH e-Handbook 8.4.5.1).
pub fn rate_range(failures: f64, exposure: f64, confidence: f64) -> (f64, f64) {
    let tail = 0.5 - confidence / 2.0;
    let low = if failures > 0.0 { Gamma { shape: failures, rate: exposure }.quantile(tail) } else { 0.0 };
    (low, Gamma { shape: failures + 1.0, rate: exposure }.quantile(1.0 - tail))
}

/// How units differ: the most likely gamma distribution of their rates, from (failures, exposure) of each.
/// `None` if they do not differ by more than chance, or there are too few to tell.
pub fn spread_of_rates(units: &[(f64, f64)]) -> Option<Gamma> {
    let failures: f64 = units.iter().map(|u| u.0).sum();
    let exposure: f64 = units.iter().map(|u| u.1).sum();
    if units.len() < 2 || failures < 2.0 || exposure <= 0.0 {
        return None;
    }
    let counts = CountsOf::new(units);
    let mean_at = |shape: f64| best_ln_mean(units, shape, (failures / exposure).ln()).exp();
    let profile = |ln_shape: f64| {
        let shape = ln_shape.exp();
        counts.likelihood(units, &Gamma { shape, rate: shape / mean_at(shape) })
    };
    let at = |i: u32| -4.0 + 0.25 * f64::from(i);
    let steps = 48;
    let top = (0..=steps).map(|i| (i, profile(at(i)))).max_by(|a, b| a.1.total_cmp(&b.1))?.0;
    if top == steps {
        return None;
    }
    // Golden section to the top, as near as the likelihood itself can tell.
    let (mut low, mut high) = (at(top) - 0.25, at(top) + 0.25);
    let golden = 0.618_033_988_749_894_9;
    let inner = |low: f64, high: f64| (high - golden * (high - low), low + golden * (high - low));
    let (one, other) = inner(low, high);
    let (mut at_one, mut at_other) = (profile(one), profile(other));
    for _ in 0..40 {
        let (one, other) = inner(low, high);
        if at_one > at_other {
            high = other;
            (at_other, at_one) = (at_one, profile(inner(low, high).0));
        } else {
            low = one;
            (at_one, at_other) = (at_other, profile(inner(low, high).1));
        }
    }
    let shape = f64::midpoint(low, high).exp();
    Some(Gamma { shape, rate: shape / mean_at(shape) })
}

/// Shapes of the gamma distribution that units' rates may be spread by, from very unlike to nearly alike.
const SHAPES: [f64; 8] = [0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0];
/// How far it is believed, before there is anything to say so, that units are alike; else each of the shapes as much as the
/// others. Assumed.
const ALIKE: f64 = 0.5;

/// How units may differ, from (failures, exposure) of each: gamma distributions of their rates, each with how far it is believed
/// (the prior times how well it explains the units, at the mean it does so best). What is missing to one is the belief that
/// they are alike. `None` if there are too few to tell.
pub fn spreads_of_rates(units: &[(f64, f64)]) -> Option<Vec<(Gamma, f64)>> {
    let failures: f64 = units.iter().map(|u| u.0).sum();
    let exposure: f64 = units.iter().map(|u| u.1).sum();
    if units.len() < 2 || failures < 2.0 || exposure <= 0.0 {
        return None;
    }
    let counts = CountsOf::new(units);
    let alike = Gamma { shape: 1e9, rate: 1e9 * exposure / failures };
    let base = counts.likelihood(units, &alike);
    let weighed: Vec<(Gamma, f64)> = SHAPES
        .into_iter()
        .map(|shape| {
            let mean = best_ln_mean(units, shape, (failures / exposure).ln()).exp();
            let spread = Gamma { shape, rate: shape / mean };
            let weight = (1.0 - ALIKE) / SHAPES.len() as f64 * (counts.likelihood(units, &spread) - base).exp();
            (spread, weight)
        })
        .collect();
    let all: f64 = ALIKE + weighed.iter().map(|(_, weight)| weight).sum::<f64>();
    if !all.is_finite() {
        // So clear that nothing else counts: the one that explains the units best.
        let best = weighed.into_iter().max_by(|a, b| a.1.total_cmp(&b.1))?.0;
        return Some(vec![(best, 1.0)]);
    }
    Some(weighed.into_iter().map(|(spread, weight)| (spread, weight / all)).collect())
}

/// The ln of the mean rate at which units are most likely at a shape: the root of a slope that falls, by Newton's steps kept
/// within what is known of it.
fn best_ln_mean(units: &[(f64, f64)], shape: f64, centre: f64) -> f64 {
    let slope = |ln_mean: f64| {
        let mean = ln_mean.exp();
        units.iter().fold((0.0, 0.0), |(value, falls), (r, t)| {
            let expected = t * mean;
            let share = 1.0 / (shape + expected);
            (value + shape * (r - expected) * share, falls + shape * expected * (shape + r) * share * share)
        })
    };
    let (mut low, mut high) = (centre - 12.0, centre + 12.0);
    let mut at = centre;
    for _ in 0..100 {
        let (value, falls) = slope(at);
        if value > 0.0 {
            low = at;
        } else {
            high = at;
        }
        let next = at + value / falls;
        let next = if next > low && next < high { next } else { f64::midpoint(low, high) };
        if (next - at).abs() <= 1e-13 * at.abs().max(1.0) {
            return next;
        }
        at = next;
    }
    at
}

/// How many units have each number of failures, so that what goes with the number alone is worked out once for all of them.
struct CountsOf(Vec<(f64, f64)>);

impl CountsOf {
    fn new(units: &[(f64, f64)]) -> Self {
        let mut failures: Vec<f64> = units.iter().map(|(failures, _)| *failures).collect();
        failures.sort_unstable_by(f64::total_cmp);
        Self(failures.chunk_by(|a, b| a == b).map(|alike| (alike[0], alike.len() as f64)).collect())
    }

    /// The same as [`likelihood`] of the units they are counted from.
    fn likelihood(&self, units: &[(f64, f64)], spread: &Gamma) -> f64 {
        let Gamma { shape: a, rate: b } = *spread;
        let of_none = ln_gamma(a);
        let by_count: f64 =
            self.0.iter().map(|(r, count)| count * (ln_gamma(a + r) - of_none - ln_gamma(r + 1.0))).sum();
        let by_exposure: f64 = units
            .iter()
            .map(|(r, t)| a * (b / (b + t)).ln() + if *r > 0.0 { r * (t / (b + t)).ln() } else { 0.0 })
            .sum();
        by_count + by_exposure
    }
}

/// The log-likelihood of failures and exposures whose rates are spread so: negative binomial each.
pub fn likelihood(units: &[(f64, f64)], spread: &Gamma) -> f64 {
    CountsOf::new(units).likelihood(units, spread)
}

/// A distribution of counts with a mean and a variance: binomial below the Poisson's variance, negative
/// binomial above it; a single part that fails or not is met exactly.
///
/// Panjer's recursion, p(k) = p(k − 1) (a + b/k).
struct Counts {
    a: f64,
    b: f64,
    none: f64,
}

impl Counts {
    fn new(mean: f64, variance: f64) -> Self {
        let excess = (variance - mean) / mean;
        let (a, b, ln_none) = if excess > 1e-9 {
            let size = mean / excess;
            let a = excess / (1.0 + excess);
            (a, (size - 1.0) * a, -size * excess.ln_1p())
        } else if excess < -1e-9 {
            // A binomial distribution's trials need not be whole: beyond them nothing is left.
            let p = (-excess).min(1.0 - 1e-9);
            let trials = mean / p;
            let odds = p / (1.0 - p);
            (-odds, (trials + 1.0) * odds, trials * (-p).ln_1p())
        } else {
            (0.0, mean, -mean)
        };
        Self { a, b, none: ln_none.exp() }
    }

    /// Counts from none up, each with the chance of at most so many; ends where nothing is left.
    fn summed(&self, mean: f64) -> impl Iterator<Item = (f64, f64)> {
        let (mut count, mut each, mut sum) = (-1.0, 0.0, 0.0);
        std::iter::from_fn(move || {
            count += 1.0;
            each = if count == 0.0 { self.none } else { each * (self.a + self.b / count).max(0.0) };
            sum += each;
            (each > 1e-300 || count <= mean).then_some((count, sum))
        })
    }
}

/// The mean and the variance of a count that comes of one distribution with a chance and of another otherwise, each given by
/// its mean and variance.
pub fn mixed(chance: f64, one: (f64, f64), other: (f64, f64)) -> (f64, f64) {
    let rest = 1.0 - chance;
    let mean = chance * one.0 + rest * other.0;
    (mean, chance * one.1 + rest * other.1 + chance * rest * (one.0 - other.0).powi(2))
}

/// A mean past which a gamma distribution moved by half a count is within a count or so.
const LARGE: f64 = 300.0;

/// The gamma distribution of a mean and a variance.
pub fn with_moments(mean: f64, variance: f64) -> Gamma {
    let variance = variance.max(1e-9);
    Gamma { shape: mean * mean / variance, rate: mean / variance }
}

/// The least count at or below which a share of a distribution with this mean and variance lies, for
/// each of some shares in rising order.
pub fn count_quantiles<const N: usize>(mean: f64, variance: f64, shares: [f64; N]) -> [f64; N] {
    if mean.is_nan() || variance.is_nan() {
        return [f64::NAN; N];
    }
    if mean <= 1e-12 {
        return [0.0; N];
    }
    if mean > LARGE {
        let gamma = with_moments(mean, variance);
        return shares.map(|share| (gamma.quantile(share) - 0.5).ceil().max(0.0));
    }
    let (mut result, mut next) = ([0.0; N], 0);
    for (count, sum) in Counts::new(mean, variance).summed(mean) {
        while next < N && sum >= shares[next] - 1e-12 {
            result[next] = count;
            next += 1;
        }
        if next == N {
            break;
        }
        // What rounding leaves short of the whole is at the last count.
        result[next..].fill(count);
    }
    result
}

/// The chance of at most so many, for a mean and a variance.
pub fn count_at_most(mean: f64, variance: f64, count: f64) -> f64 {
    if mean <= 1e-12 {
        return 1.0;
    }
    if mean > LARGE {
        let gamma = with_moments(mean, variance);
        return GammaDistribution::new(gamma.shape, gamma.rate).map_or(f64::NAN, |g| g.cdf(count + 0.5));
    }
    let counts = Counts::new(mean, variance);
    counts.summed(mean).take_while(|(so_many, _)| *so_many <= count).last().map_or(0.0, |(_, sum)| sum.min(1.0))
}
