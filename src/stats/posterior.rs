//! What lives say of a Weibull distribution, starting from what was believed of it: the posterior on
//! a deterministic grid.
//!
//! One estimator serves every count of failures, none included: with few, what was believed leads;
//! with many, the lives do. The grid runs over ln shape and, for each shape, over ln of a quantile
//! around its own most likely value; no random numbers, so the same lives give the same digits.

use statrs::distribution::{ContinuousCDF, Normal};

use super::decision::WIDEST;
use super::replacement::Costs;
use super::weibull::{Sample, Weibull};

/// What is believed before any life is seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prior {
    /// ln of the typical shape: half of the belief lies on either side.
    pub ln_shape: f64,
    /// Standard deviation of ln shape below it.
    pub shape_below: f64,
    /// Standard deviation of ln shape above it.
    pub shape_above: f64,
    /// The share failed that the believed age belongs to: 0.1 for B10, 1 − 1/e for the scale.
    pub share: f64,
    /// ln of the age by which that share is believed to have failed.
    pub ln_age: f64,
    /// Standard deviation of that ln.
    pub age_deviation: f64,
}

/// The normal distribution's 90 % point.
const TEN_PERCENT: f64 = 1.281_551_565_544_6;

impl Prior {
    /// A belief of the shape as low, typical and high (its 10, 50 and 90 % points) and of the age by
    /// which a share has failed. `None` if these are out of order.
    pub fn new(shape: (f64, f64, f64), share: f64, age: f64, age_deviation: f64) -> Option<Self> {
        let (low, typical, high) = shape;
        let ordered = 0.0 < low && low < typical && typical < high && age > 0.0 && high.is_finite() && age.is_finite();
        (ordered && (0.0..1.0).contains(&share) && share > 0.0 && age_deviation > 0.0).then(|| Self {
            ln_shape: typical.ln(),
            shape_below: (typical / low).ln() / TEN_PERCENT,
            shape_above: (high / typical).ln() / TEN_PERCENT,
            share,
            ln_age: age.ln(),
            age_deviation,
        })
    }

    fn ln_shape_density(&self, ln_shape: f64) -> f64 {
        let away = ln_shape - self.ln_shape;
        let deviation = if away < 0.0 { self.shape_below } else { self.shape_above };
        -0.5 * (away / deviation).powi(2) - deviation.ln()
    }

    /// ln scale where the believed share has failed by exp(x).
    fn ln_scale(&self, x: f64, shape: f64) -> f64 {
        x - (-(-self.share).ln_1p()).ln() / shape
    }
}

/// A distribution with its weight.
#[derive(Debug, Clone, Copy)]
struct Point {
    weibull: Weibull,
    weight: f64,
    /// Half the distance to the next on its row, in ln scale.
    half_step: f64,
}

impl Point {
    /// A function's values at both ends of what the point stands for, and its weight.
    fn spread(&self, function: impl Fn(&Weibull) -> f64) -> (f64, f64, f64) {
        let at = |away: f64| Weibull { shape: self.weibull.shape, scale: self.weibull.scale * away.exp() };
        (function(&at(-self.half_step)), function(&at(self.half_step)), self.weight)
    }
}

/// The posterior.
#[derive(Debug, Clone)]
pub struct Posterior {
    /// The fine grid, weights adding up to 1.
    points: Vec<Point>,
    /// A coarse one for what is asked of every kind.
    support: Vec<Point>,
    /// A few distributions with weights, for the means of smooth functions asked of every part.
    nodes: Vec<(Weibull, f64)>,
    /// The summed weights of the points, for draws.
    summed: Vec<f64>,
    /// ln shape of each row, in order, with its weight.
    rows: Vec<(f64, f64)>,
    /// The rows' distance.
    row_step: f64,
}

/// How far below the top of its ln the density is cut off: e⁻²⁰ of it.
const DEPTH: f64 = 20.0;
/// A grid: rows the range of shapes is divided into, columns of ages, and how many of both the coarse one skips.
struct Grid {
    rows: usize,
    columns: usize,
    skip: (usize, usize),
}

const FINE: Grid = Grid { rows: 160, columns: 129, skip: (7, 8) };
/// With many failures what is known is nearly normal, and fewer points tell it as well.
const NORMAL: Grid = Grid { rows: 80, columns: 65, skip: (4, 4) };
/// Failures from which it is.
const NEARLY_NORMAL: f64 = 300.0;

/// The golden section: multiples of it fill 0 to 1 evenly.
const GOLDEN: f64 = 0.618_033_988_749_894_9;

/// One shape of the grid: its ages and the ln of their densities.
struct Row {
    ln_shape: f64,
    from: f64,
    step: f64,
    ln_density: Vec<f64>,
    /// ln of the row's sum of densities times the step.
    ln_mass: f64,
}

/// The ages of a row are shifted by a part of their step, another one in each row, so that no value of a
/// function of both lies on many points at once.
fn row(sample: Option<&Sample>, prior: &Prior, ln_shape: f64, columns: usize, shift: f64) -> Row {
    let shape = ln_shape.exp();
    let at = sample.map(|s| s.at_shape(shape));
    let of_shape = prior.ln_shape_density(ln_shape);
    let density = |x: f64| {
        let data = at.as_ref().map_or(0.0, |at| at.log_likelihood(prior.ln_scale(x, shape)));
        let value = of_shape + data - 0.5 * ((x - prior.ln_age) / prior.age_deviation).powi(2);
        if value.is_nan() { f64::NEG_INFINITY } else { value }
    };
    // The slope falls all along the row: halve to its root, the top of the row.
    let slope = |x: f64| {
        let data = at.as_ref().map_or(0.0, |at| at.slope(prior.ln_scale(x, shape)));
        data - (x - prior.ln_age) / prior.age_deviation.powi(2)
    };
    let (mut low, mut high) = (prior.ln_age - 0.5, prior.ln_age + 0.5);
    let mut step = 1.0;
    while slope(low) < 0.0 && step < 1e3 {
        low -= step;
        step *= 2.0;
    }
    step = 1.0;
    while slope(high) > 0.0 && step < 1e3 {
        high += step;
        step *= 2.0;
    }
    for _ in 0..30 {
        let middle = f64::midpoint(low, high);
        if slope(middle) > 0.0 { low = middle } else { high = middle }
    }
    let top = f64::midpoint(low, high);
    let least = density(top) - DEPTH;
    let edge = |sign: f64| {
        let (mut inside, mut outside) = (0.0, 0.01);
        while density(top + sign * outside) > least && outside < 1e3 {
            inside = outside;
            outside *= 1.6;
        }
        for _ in 0..6 {
            let middle = f64::midpoint(inside, outside);
            if density(top + sign * middle) > least { inside = middle } else { outside = middle }
        }
        top + sign * outside
    };
    let (from, to) = (edge(-1.0), edge(1.0));
    let step = (to - from) / (columns - 1) as f64;
    let from = from - step * shift;
    let ln_density: Vec<f64> = (0..columns).map(|i| density(from + step * i as f64)).collect();
    let highest = ln_density.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = ln_density.iter().map(|d| (d - highest).exp()).sum();
    Row { ln_shape, from, step, ln_density, ln_mass: highest + (sum * step).ln() }
}

/// How many distributions [`Posterior::nodes`] gives.
pub const NODES: usize = SHAPE_NODES.len() * AGE_NODES.len();
/// Gauss–Hermite nodes and weights for the standard normal distribution (Abramowitz & Stegun, table 25.10,
/// nodes times √2 and weights over √π).
const SHAPE_NODES: [(f64, f64); 7] = [
    (-3.750_439_717_725_742, 5.482_688_559_722_18e-4),
    (-2.366_759_410_734_541, 0.030_757_123_967_586_49),
    (-1.154_405_394_739_968, 0.240_123_178_605_012_7),
    (0.0, 0.457_142_857_142_857_14),
    (1.154_405_394_739_968, 0.240_123_178_605_012_7),
    (2.366_759_410_734_541, 0.030_757_123_967_586_49),
    (3.750_439_717_725_742, 5.482_688_559_722_18e-4),
];
/// The same with five nodes.
const AGE_NODES: [(f64, f64); 5] = [
    (-2.856_970_013_872_805_6, 0.011_257_411_327_720_69),
    (-1.355_626_179_974_266, 0.222_075_922_005_612_64),
    (0.0, 0.533_333_333_333_333_3),
    (1.355_626_179_974_266, 0.222_075_922_005_612_64),
    (2.856_970_013_872_805_6, 0.011_257_411_327_720_69),
];

/// Nodes of normal quadrature put at the same quantiles of the shapes and, on each shape's row, of the ages.
fn nodes(rows: &[Row], weights: &[(f64, f64)], row_step: f64, prior: &Prior) -> Vec<(Weibull, f64)> {
    let share = |z: f64| Normal::standard().cdf(z);
    let mut result = Vec::with_capacity(NODES);
    for (z, of_shape) in SHAPE_NODES {
        let (index, into) = cell(weights.iter().map(|w| w.1), share(z));
        let row = &rows[index];
        let ln_shape = row.ln_shape + row_step * (into - 0.5);
        let highest = row.ln_density.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let densities = || row.ln_density.iter().map(|d| (d - highest).exp());
        let sum: f64 = densities().sum();
        for (z, of_age) in AGE_NODES {
            let (index, into) = cell(densities().map(|d| d / sum), share(z));
            let x = row.from + row.step * (index as f64 + into - 0.5);
            let shape = ln_shape.exp();
            result.push((Weibull { shape, scale: prior.ln_scale(x, shape).exp() }, of_shape * of_age));
        }
    }
    result
}

/// The cell in which the summed weights reach a share, and how far into it.
fn cell(weights: impl Iterator<Item = f64>, share: f64) -> (usize, f64) {
    let (mut sum, mut last) = (0.0, (0, 0.5));
    for (index, weight) in weights.enumerate() {
        if weight > 0.0 {
            if sum + weight >= share {
                return (index, (share - sum) / weight);
            }
            last = (index, 1.0);
        }
        sum += weight;
    }
    last
}

impl Posterior {
    /// The posterior of lives, or what was believed where there are none.
    pub fn new(sample: Option<&Sample>, prior: &Prior) -> Self {
        // Rows lie half a step off the typical shape, where the belief may jump.
        let at = |step: f64, i: i64| prior.ln_shape + step * (i as f64 + 0.5);
        let (mut low, mut high) = (prior.ln_shape - 6.5 * prior.shape_below, prior.ln_shape + 6.5 * prior.shape_above);
        for _ in 0..12 {
            let step = (high - low) / 40.0;
            let first = ((low - prior.ln_shape) / step).floor() as i64;
            let masses: Vec<(f64, f64)> =
                (first..=first + 41).map(|i| (at(step, i), row(sample, prior, at(step, i), 33, 0.0).ln_mass)).collect();
            let top = masses.iter().map(|m| m.1).fold(f64::NEG_INFINITY, f64::max);
            let mut held = masses.iter().filter(|m| m.1 > top - DEPTH).map(|m| m.0);
            let (Some(from), to) = (held.next(), held.next_back()) else { break };
            let to = to.unwrap_or(from);
            let narrowed = (to - from + 2.0 * step) / (high - low);
            (low, high) = (from - step, to + step);
            if narrowed > 0.6 {
                break;
            }
        }
        let grid = if sample.is_some_and(|s| s.failures() >= NEARLY_NORMAL) { NORMAL } else { FINE };
        let step = (high - low) / grid.rows as f64;
        let first = ((low - prior.ln_shape) / step).floor() as i64;
        let rows: Vec<Row> = (0..=grid.rows as i64)
            .map(|i| row(sample, prior, at(step, first + i), grid.columns, (i as f64 * GOLDEN).fract()))
            .collect();
        let top = rows.iter().map(|r| r.ln_mass).fold(f64::NEG_INFINITY, f64::max);
        let points = |every_row: usize, every_column: usize, least: f64| {
            let mut points = Vec::new();
            for row in rows.iter().step_by(every_row) {
                let shape = row.ln_shape.exp();
                for (i, density) in row.ln_density.iter().enumerate().step_by(every_column) {
                    let x = row.from + row.step * i as f64;
                    let weight = (density - top).exp() * row.step;
                    points.push(Point {
                        weibull: Weibull { shape, scale: prior.ln_scale(x, shape).exp() },
                        weight,
                        half_step: 0.5 * row.step * every_column as f64,
                    });
                }
            }
            let heaviest = points.iter().map(|p| p.weight).fold(0.0, f64::max);
            points.retain(|p| p.weight > heaviest * least);
            let sum: f64 = points.iter().map(|p| p.weight).sum();
            for point in &mut points {
                point.weight /= sum;
            }
            points
        };
        let total: f64 = rows.iter().map(|r| (r.ln_mass - top).exp()).sum();
        let fine = points(1, 1, 1e-8);
        let summed = fine
            .iter()
            .scan(0.0, |sum, point| {
                *sum += point.weight;
                Some(*sum)
            })
            .collect();
        let weights: Vec<(f64, f64)> = rows.iter().map(|r| (r.ln_shape, (r.ln_mass - top).exp() / total)).collect();
        Self {
            points: fine,
            support: points(grid.skip.0, grid.skip.1, 1e-5),
            nodes: nodes(&rows, &weights, step, prior),
            summed,
            rows: weights,
            row_step: step,
        }
    }

    /// A few distributions with weights that add up to 1: the means of smooth functions over them are
    /// those over the belief. Always [`NODES`] of them, in the same order of belief.
    pub fn nodes(&self) -> &[(Weibull, f64)] {
        &self.nodes
    }

    /// A distribution drawn from the belief; `even` is drawn evenly between 0 and 1.
    pub fn draw(&self, even: f64) -> Weibull {
        let total = self.summed.last().copied().unwrap_or(1.0);
        let index = self.summed.partition_point(|sum| *sum < even * total).min(self.points.len() - 1);
        let point = &self.points[index];
        let into = ((even * total - (self.summed[index] - point.weight)) / point.weight).clamp(0.0, 1.0);
        let away = (2.0 * into - 1.0) * point.half_step;
        Weibull { shape: point.weibull.shape, scale: point.weibull.scale * away.exp() }
    }

    /// The shape below which a share of the belief lies.
    pub fn shape(&self, share: f64) -> f64 {
        let mut sum = 0.0;
        for (ln_shape, weight) in &self.rows {
            if sum + weight >= share {
                let into = (share - sum) / weight;
                return (ln_shape + self.row_step * (into - 0.5)).exp();
            }
            sum += weight;
        }
        self.rows.last().map_or(f64::NAN, |r| r.0.exp())
    }

    /// The share of the belief that the shape is at most so much: that the part does not wear out at 1.
    pub fn shape_at_most(&self, shape: f64) -> f64 {
        let edge = |v: f64| ((shape.ln() - v) / self.row_step + 0.5).clamp(0.0, 1.0);
        self.rows.iter().map(|(v, weight)| weight * edge(*v)).sum()
    }

    /// The mean of a function of the distribution.
    pub fn mean_of(&self, function: impl Fn(&Weibull) -> f64) -> f64 {
        self.points.iter().map(|p| p.weight * function(&p.weibull)).sum()
    }

    /// The share of the belief under which a function is below a value.
    pub fn share_below(&self, value: f64, function: impl Fn(&Weibull) -> f64) -> f64 {
        let of = |(one, other, weight): (f64, f64, f64)| {
            let (low, high) = (one.min(other), one.max(other));
            weight
                * if high > low {
                    ((value - low) / (high - low)).clamp(0.0, 1.0)
                } else {
                    f64::from(u8::from(high < value))
                }
        };
        self.points.iter().map(|p| of(p.spread(&function))).sum()
    }

    /// The values of a function below which shares of the belief lie; the shares in rising order.
    pub fn quantiles_of<const N: usize>(&self, shares: [f64; N], function: impl Fn(&Weibull) -> f64) -> [f64; N] {
        quantiles(self.points.iter().map(|p| p.spread(&function)), shares)
    }

    /// The chance of failing within a further exposure, given that it is sound at an age: the mean
    /// over the belief of those distributions that let it reach that age, as the lives say.
    pub fn chance_within(&self, age: f64, further: f64) -> f64 {
        self.nodes.iter().map(|(weibull, weight)| weight * weibull.chance_within(age, further)).sum()
    }

    /// What renewing at an age costs and saves, over the belief.
    ///
    /// The best age is the one whose mean cost is least among ages between `within` times the book's;
    /// a tight band is how few failures are kept from leading far away. `None` if the costs are not
    /// such that a failure is dearer than planned work.
    pub fn replacement(&self, costs: Costs, book: f64, within: (f64, f64)) -> Option<Replacement> {
        self.replacement_of(costs, &[(book, 1.0)], within)
    }

    /// The same where the book renews some at one age and some at another: ages with their shares of the exposure.
    pub fn replacement_of(&self, costs: Costs, books: &[(f64, f64)], within: (f64, f64)) -> Option<Replacement> {
        let exposure: f64 = books.iter().map(|(_, share)| share).sum();
        let book = books.iter().map(|(age, share)| age * share).sum::<f64>() / exposure;
        let by_book =
            |w: &Weibull| books.iter().map(|(age, share)| share * w.cost_rate(costs, *age)).sum::<f64>() / exposure;
        if !(costs.planned > 0.0 && costs.failure > costs.planned && book > 0.0) {
            return None;
        }
        let mean = |function: &dyn Fn(&Weibull) -> f64| -> f64 {
            self.support.iter().map(|p| p.weight * function(&p.weibull)).sum()
        };
        let steps = 60;
        let (from, to) = (within.0.ln(), within.1.ln());
        let ages = (0..=steps).map(|i| book * (from + (to - from) * f64::from(i) / f64::from(steps)).exp());
        let (age, _) = ages.map(|age| (age, mean(&|w| w.cost_rate(costs, age)))).min_by(|a, b| a.1.total_cmp(&b.1))?;
        let spread = |function: &dyn Fn(&Weibull) -> f64| {
            quantiles(self.support.iter().map(|p| p.spread(function)), [0.1, 0.5, 0.9])
        };
        let against_book = spread(&|w| 1.0 - w.cost_rate(costs, age) / by_book(w));
        let against_failure = spread(&|w| 1.0 - w.cost_rate(costs, age) * w.mean() / costs.failure);
        // So late that it is beyond all bounds is never.
        let latest = book * WIDEST.1;
        let [age_low, _, age_high] =
            spread(&|w| w.best_age(costs).age.filter(|age| *age <= latest).unwrap_or(f64::INFINITY));
        // Both costs are straight lines in the cost of a failure; they cross here.
        let sound_rate = mean(&|w| w.survival(age) / w.mean_until(age));
        let failed_rate = mean(&|w| (1.0 - w.survival(age)) / w.mean_until(age));
        let gain = mean(&|w| 1.0 / w.mean()) - failed_rate;
        Some(Replacement {
            age,
            age_low,
            age_high,
            against_book,
            against_failure,
            flips_at: (gain > 0.0).then(|| costs.planned * sound_rate / gain),
            does_not_wear: self.shape_at_most(1.0),
        })
    }
}

/// What renewing a part at its best age comes to. Ranges are the 10, 50 and 90 % points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Replacement {
    /// The age of least mean cost.
    pub age: f64,
    /// The low end of the best ages; infinite = never.
    pub age_low: f64,
    /// The high end; infinite = never.
    pub age_high: f64,
    /// The share of the cost saved against renewing at the book's age.
    pub against_book: [f64; 3],
    /// The share saved against running to failure.
    pub against_failure: [f64; 3],
    /// The cost of a failure below which running to failure is cheaper; `None` = at any cost.
    pub flips_at: Option<f64>,
    /// The share of the belief that the chance of failing does not rise with age.
    pub does_not_wear: f64,
}

/// Quantiles of weights each spread evenly between two values. Both infinite, or equal: all of it there.
fn quantiles<const N: usize>(spreads: impl Iterator<Item = (f64, f64, f64)>, shares: [f64; N]) -> [f64; N] {
    // Where the slope of the summed weight changes, and where it jumps.
    let mut events: Vec<(f64, f64, f64)> = Vec::new();
    let mut total = 0.0;
    for (one, other, weight) in spreads {
        let (low, high) = (one.min(other), one.max(other));
        total += weight;
        if high.is_finite() && high > low {
            let slope = weight / (high - low);
            events.push((low, slope, 0.0));
            events.push((high, -slope, 0.0));
        } else {
            events.push((high, 0.0, weight));
        }
    }
    events.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let mut result = [f64::NAN; N];
    let (mut sum, mut slope, mut at, mut next) = (0.0, 0.0, f64::NEG_INFINITY, 0);
    for (value, change, jump) in events {
        let reached = if slope > 0.0 && value.is_finite() { sum + slope * (value - at) } else { sum };
        while next < N && shares[next] * total <= reached {
            result[next] = if slope > 0.0 { at + (shares[next] * total - sum) / slope } else { value };
            next += 1;
        }
        sum = reached + jump;
        while next < N && shares[next] * total <= sum {
            result[next] = value;
            next += 1;
        }
        slope += change;
        at = value;
    }
    // What rounding left short of the whole is at the last value.
    for result in result.iter_mut().skip(next) {
        *result = at;
    }
    result
}
