//! The Weibull distribution S(t) = exp(−(t/scale)^shape): likelihood of cut-off lives, the maximum
//! and its likelihood-ratio intervals, and the case of a known shape.
//!
//! For a fixed shape the likelihood needs only sums over the lives, so that a grid of shapes costs
//! little; lives found failed between two ages are the exception and are kept one by one. Ages are
//! divided by the largest of them inside, so that no power overflows. It must not answer where the
//! likelihood has no maximum: then it says why.

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::{End, Life, falling_root};

/// A Weibull distribution of lives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weibull {
    /// The shape: above 1 the chance of failing rises with age.
    pub shape: f64,
    /// The scale, in the unit of the ages: 63 % have failed by then.
    pub scale: f64,
}

impl Weibull {
    /// (age/scale)^shape: the cumulative hazard.
    pub fn cumulative_hazard(&self, age: f64) -> f64 {
        (age / self.scale).powf(self.shape)
    }

    /// The share that outlives an age.
    pub fn survival(&self, age: f64) -> f64 {
        (-self.cumulative_hazard(age)).exp()
    }

    /// The age by which a share has failed: 0.1 gives B10.
    pub fn quantile(&self, share: f64) -> f64 {
        self.scale * (-(-share).ln_1p()).powf(1.0 / self.shape)
    }

    /// The chance of failing within a further exposure, given that it is sound at an age.
    pub fn chance_within(&self, age: f64, further: f64) -> f64 {
        -(self.cumulative_hazard(age) - self.cumulative_hazard(age + further)).exp_m1()
    }

    /// The mean life.
    pub fn mean(&self) -> f64 {
        self.scale * statrs::function::gamma::gamma(1.0 + 1.0 / self.shape)
    }
}

/// Distinct ages beyond which they are put together in steps of 1/2048 of their size.
const MOST_AGES: usize = 4096;

/// Lives made ready for the likelihood.
#[derive(Debug, Clone)]
pub struct Sample {
    /// ln of the age all ages are divided by.
    ln_unit: f64,
    /// (ln age, weight): ages at the end count for the hazard survived, ages at entry against it.
    exposure: Vec<(f64, f64)>,
    /// (ln of the later age, ln of the earlier, minus infinity for 0, count) of failures found between two.
    between: Vec<(f64, f64, f64)>,
    /// Failures at a known age.
    exact: f64,
    /// Σ ln age of those.
    sum_ln_exact: f64,
    /// Failures found between two ages.
    found: f64,
}

impl Sample {
    /// Prepares lives; `None` if there are none, or an age among them cannot be.
    pub fn new(lives: &[Life]) -> Option<Self> {
        if lives.is_empty() || !lives.iter().all(Life::is_possible) {
            return None;
        }
        let ln_unit = lives.iter().map(Life::last_age).fold(0.0, f64::max).ln();
        let ln = |age: f64| age.ln() - ln_unit;
        let mut exposure = Vec::with_capacity(lives.len());
        let mut between = Vec::new();
        let (mut exact, mut sum_ln_exact, mut found) = (0.0, 0.0, 0.0);
        for life in lives {
            match life.end {
                End::Failed(age) => {
                    exact += life.count;
                    sum_ln_exact += life.count * ln(age);
                    exposure.push((ln(age), life.count));
                }
                End::Sound(age) => exposure.push((ln(age), life.count)),
                End::FailedBetween(after, by) => {
                    found += life.count;
                    between.push((ln(by), ln(after), life.count));
                    if after > 0.0 {
                        exposure.push((ln(after), life.count));
                    }
                }
            }
            if life.entry > 0.0 {
                exposure.push((ln(life.entry), -life.count));
            }
        }
        Some(Self { ln_unit, exposure: merged(exposure), between: merged_between(between), exact, sum_ln_exact, found })
    }

    /// Failures, at a known age or between two.
    pub fn failures(&self) -> f64 {
        self.exact + self.found
    }

    /// The likelihood at one shape.
    pub fn at_shape(&self, shape: f64) -> AtShape<'_> {
        let (mut power, mut power_ln) = (0.0, 0.0);
        for (ln_age, weight) in &self.exposure {
            let term = weight * (shape * ln_age).exp();
            power += term;
            power_ln += term * ln_age;
        }
        let between = self
            .between
            .iter()
            .map(|(by, after, count)| {
                let (high, low) = ((shape * by).exp(), (shape * after).exp());
                // The earlier age may be 0, whose logarithm counts nothing.
                let low_ln = if low > 0.0 { low * after } else { 0.0 };
                (high - low, high * by - low_ln, *count)
            })
            .collect();
        AtShape { sample: self, shape, power, power_ln, between }
    }
}

/// Equal ages put together; a great many are put together in narrow steps as well.
fn merged(mut ages: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    ages.sort_by(|a, b| a.0.total_cmp(&b.0));
    ages.dedup_by(|next, kept| {
        let same = next.0 == kept.0;
        if same {
            kept.1 += next.1;
        }
        same
    });
    if ages.len() > MOST_AGES {
        // Half a step is at most a 4096th of an age: nothing against what is being estimated.
        for age in &mut ages {
            age.0 = (age.0 * 2048.0).round() / 2048.0;
        }
        ages.dedup_by(|next, kept| {
            let same = next.0 == kept.0;
            if same {
                kept.1 += next.1;
            }
            same
        });
    }
    ages
}

/// Failures found between two ages beyond which both ages are put together in steps of 1/64 of their size.
const MOST_BETWEEN: usize = 512;

/// A great many failures found between two ages, put together where both are nearly the same.
fn merged_between(mut between: Vec<(f64, f64, f64)>) -> Vec<(f64, f64, f64)> {
    if between.len() <= MOST_BETWEEN {
        return between;
    }
    for (by, after, _) in &mut between {
        let (from, to) = (*after * 64.0, *by * 64.0);
        // Whole steps, at least one wide; half of one is little beside how long nobody looked.
        let low = from.round();
        *by = to.round().max(if low.is_finite() { low + 1.0 } else { to.round() }) / 64.0;
        *after = low / 64.0;
    }
    between.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    between.dedup_by(|next, kept| {
        let same = next.0 == kept.0 && next.1 == kept.1;
        if same {
            kept.2 += next.2;
        }
        same
    });
    between
}

/// The likelihood of a sample at one shape, as a function of ln scale.
#[derive(Debug)]
pub struct AtShape<'a> {
    sample: &'a Sample,
    shape: f64,
    /// Σ age^shape survived, in the inner unit.
    power: f64,
    /// The same with ln age.
    power_ln: f64,
    /// (difference of powers, its derivative by shape, count) of failures found between two ages.
    between: Vec<(f64, f64, f64)>,
}

impl AtShape<'_> {
    /// The log-likelihood at ln scale.
    pub fn log_likelihood(&self, ln_scale: f64) -> f64 {
        let s = self.sample;
        let u = ln_scale - s.ln_unit;
        let factor = (-self.shape * u).exp();
        let mut sum = s.exact * (self.shape.ln() - self.shape * u - s.ln_unit) + (self.shape - 1.0) * s.sum_ln_exact;
        sum -= self.power * factor;
        for (difference, _, count) in &self.between {
            sum += count * (-(-difference * factor).exp_m1()).ln();
        }
        sum
    }

    /// Its derivatives by ln scale and by ln shape.
    fn gradient(&self, ln_scale: f64) -> (f64, f64) {
        let s = self.sample;
        let u = ln_scale - s.ln_unit;
        let factor = (-self.shape * u).exp();
        let mut by_scale = -s.exact + self.power * factor;
        let mut by_shape = s.sum_ln_exact - s.exact * u - (self.power_ln - u * self.power) * factor;
        for (difference, difference_ln, count) in &self.between {
            let q = difference * factor;
            let weight = if q > 0.0 { count / q.exp_m1() } else { 0.0 };
            by_scale -= if q > 0.0 { weight * q } else { *count };
            by_shape += weight * (difference_ln - u * difference) * factor;
        }
        (self.shape * by_scale, s.exact + self.shape * by_shape)
    }

    /// Its slope along ln scale.
    pub fn slope(&self, ln_scale: f64) -> f64 {
        self.gradient(ln_scale).0
    }

    /// ln of the most likely scale at this shape; `None` without failures.
    pub fn best_ln_scale(&self) -> Option<f64> {
        let s = self.sample;
        if s.failures() <= 0.0 {
            return None;
        }
        if s.found == 0.0 {
            return (self.power > 0.0).then(|| (self.power / s.exact).ln() / self.shape + s.ln_unit);
        }
        // The likelihood has one top along the scale: walk out from the largest age to both sides of it.
        let rising = |x: f64| self.gradient(x).0;
        let (mut low, mut high) = (s.ln_unit - 1.0, s.ln_unit + 1.0);
        let mut step = 1.0;
        while rising(low) <= 0.0 && step < 1e4 {
            low -= step;
            step *= 2.0;
        }
        step = 1.0;
        while rising(high) > 0.0 && step < 1e4 {
            high += step;
            step *= 2.0;
        }
        Some(falling_root(low, high, rising))
    }

    /// The derivative by ln shape along the best scales: its root is the maximum.
    fn profile_score(&self) -> Option<f64> {
        Some(self.gradient(self.best_ln_scale()?).1)
    }

    /// The log-likelihood at the best scale of this shape.
    fn profile(&self) -> f64 {
        self.best_ln_scale().map_or(f64::NEG_INFINITY, |x| self.log_likelihood(x))
    }
}

/// Why there is no maximum.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoMaximum {
    /// Nothing failed, so that any scale large enough fits.
    NoFailures,
    /// No failure is younger than the oldest life: the steeper, the better it fits.
    ShapeDiverges,
    /// There are no lives, or their ages cannot be.
    NotEstimable,
}

/// The most likely Weibull distribution.
#[derive(Debug, Clone, Copy)]
pub struct Maximum {
    /// It.
    pub weibull: Weibull,
    /// Its log-likelihood.
    pub log_likelihood: f64,
    /// How many failures it rests on.
    pub failures: f64,
}

/// The ends of a likelihood-ratio interval; `None` = open on that side.
pub type Interval = (Option<f64>, Option<f64>);

/// ln of the shapes that are looked through.
const LN_SHAPES: (f64, f64) = (-4.0, 4.6);

impl Sample {
    /// The maximum of the likelihood.
    ///
    /// # Errors
    /// If there is none.
    pub fn maximum(&self) -> Result<Maximum, NoMaximum> {
        if self.failures() <= 0.0 {
            return Err(NoMaximum::NoFailures);
        }
        let steps = 86;
        let at = |i: usize| LN_SHAPES.0 + (LN_SHAPES.1 - LN_SHAPES.0) * i as f64 / f64::from(steps);
        let profiles: Vec<f64> = (0..=steps as usize).map(|i| self.at_shape(at(i).exp()).profile()).collect();
        let top = (0..profiles.len())
            .filter(|i| profiles[*i].is_finite())
            .max_by(|a, b| profiles[*a].total_cmp(&profiles[*b]))
            .ok_or(NoMaximum::NotEstimable)?;
        if top == profiles.len() - 1 {
            return Err(NoMaximum::ShapeDiverges);
        }
        if top == 0 {
            return Err(NoMaximum::NotEstimable);
        }
        let ln_shape =
            falling_root(at(top - 1), at(top + 1), |v| self.at_shape(v.exp()).profile_score().unwrap_or(0.0));
        let here = self.at_shape(ln_shape.exp());
        let ln_scale = here.best_ln_scale().ok_or(NoMaximum::NotEstimable)?;
        Ok(Maximum {
            weibull: Weibull { shape: ln_shape.exp(), scale: ln_scale.exp() },
            log_likelihood: here.log_likelihood(ln_scale),
            failures: self.failures(),
        })
    }

    /// The likelihood-ratio interval of the shape.
    pub fn shape_interval(&self, maximum: &Maximum, confidence: f64) -> Interval {
        let least = maximum.log_likelihood - half_quantile(confidence);
        let outward = |sign: f64| {
            let centre = maximum.weibull.shape.ln();
            outwards(centre, sign, 8.0, |v| self.at_shape(v.exp()).profile() - least).map(f64::exp)
        };
        (outward(-1.0), outward(1.0))
    }

    /// The likelihood-ratio interval of the age by which a share has failed; a share of 1 − 1/e is
    /// the scale.
    pub fn quantile_interval(&self, maximum: &Maximum, share: f64, confidence: f64) -> Interval {
        let least = maximum.log_likelihood - half_quantile(confidence);
        let c = (-(-share).ln_1p()).ln();
        let start = maximum.weibull.shape.ln();
        let outward = |sign: f64| {
            let centre = maximum.weibull.quantile(share).ln();
            outwards(centre, sign, 40.0, |x| self.best_through(x, c, start) - least).map(f64::exp)
        };
        (outward(-1.0), outward(1.0))
    }

    /// The highest log-likelihood of the distributions with one quantile held at exp(x).
    fn best_through(&self, x: f64, c: f64, start: f64) -> f64 {
        let value = |v: f64| {
            let shape = v.exp();
            self.at_shape(shape).log_likelihood(x - c / shape)
        };
        // Climb in steps that halve, from the shape of the maximum: one top is assumed.
        let (mut v, mut best, mut step) = (start, value(start), 0.25);
        while step > 1e-8 {
            let (up, down) = (value(v + step), value(v - step));
            if up > best && up >= down {
                v += step;
                best = up;
            } else if down > best {
                v -= step;
                best = down;
            } else {
                step *= 0.5;
            }
            if v.abs() > 6.0 {
                break;
            }
        }
        best
    }
}

/// Half the χ² quantile of one degree of freedom: how far the log-likelihood may drop.
fn half_quantile(confidence: f64) -> f64 {
    ChiSquared::new(1.0).map_or(f64::INFINITY, |chi| chi.inverse_cdf(confidence)) / 2.0
}

/// Where a function that is positive at the centre turns negative on one side; `None` if nowhere
/// within the reach.
fn outwards(centre: f64, sign: f64, reach: f64, function: impl Fn(f64) -> f64) -> Option<f64> {
    let (mut inside, mut step) = (0.0, 0.02);
    loop {
        let outside: f64 = inside + step;
        if outside > reach {
            return None;
        }
        let there = function(centre + sign * outside);
        if !there.is_finite() || there < 0.0 {
            return Some(
                centre
                    + sign
                        * falling_root(inside, outside, |d| {
                            let here = function(centre + sign * d);
                            if here.is_finite() { here } else { -1.0 }
                        }),
            );
        }
        inside = outside;
        step *= 1.5;
    }
}

/// What a known shape makes of failures and exposure.
#[derive(Debug, Clone, Copy)]
pub struct KnownShape {
    /// The shape.
    pub shape: f64,
    /// Failures at a known age.
    pub failures: f64,
    /// Σ age^shape over failed and sound lives, less that of entry.
    pub exposure: f64,
}

impl KnownShape {
    /// Adds up lives; failures between two ages count at the later one.
    pub fn of(lives: &[Life], shape: f64) -> Self {
        let exposure = lives.iter().map(|l| l.count * (l.last_age().powf(shape) - l.entry.powf(shape))).sum();
        let failures = lives.iter().filter(|l| l.failed()).map(|l| l.count).sum();
        Self { shape, failures, exposure }
    }

    /// The most likely scale; `None` without failures.
    pub fn scale(&self) -> Option<f64> {
        (self.failures > 0.0).then(|| (self.exposure / self.failures).powf(1.0 / self.shape))
    }

    /// The lower bound of the scale at a one-sided confidence, for lives cut off by time.
    pub fn lower_scale(&self, confidence: f64) -> f64 {
        let chi = chi_squared(2.0 * self.failures + 2.0, confidence);
        (2.0 * self.exposure / chi).powf(1.0 / self.shape)
    }

    /// The upper bound; `None` without failures.
    pub fn upper_scale(&self, confidence: f64) -> Option<f64> {
        (self.failures > 0.0).then(|| {
            let chi = chi_squared(2.0 * self.failures, 1.0 - confidence);
            (2.0 * self.exposure / chi).powf(1.0 / self.shape)
        })
    }
}

/// A χ² quantile, polished to the last digits.
fn chi_squared(freedom: f64, share: f64) -> f64 {
    let Ok(distribution) = ChiSquared::new(freedom) else { return f64::NAN };
    let near = distribution.inverse_cdf(share);
    falling_root(near * 0.5, near * 2.0 + 1e-9, |x| share - distribution.cdf(x))
}
