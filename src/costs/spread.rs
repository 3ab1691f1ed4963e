//! What do many simulated years say? Quantiles of a total with the error that comes of drawing only so many years.

/// The shares of years a range may hold. What happens seldom and costs much moves the mean out of the first ones; all the
/// years hold it.
const WITHIN: [f64; 7] = [0.8, 0.9, 0.95, 0.98, 0.99, 0.998, 1.0];
/// How much wider than a quantile's own spread its surroundings are looked at for its error.
const WIDER: f64 = 2.0;
/// How many standard deviations to either side count: of the weights of a normal distribution less than a ten-thousandth
/// lies beyond.
const REACH: f64 = 4.0;

/// A quantile with its Monte Carlo standard error.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// Its standard error.
    pub error: f64,
}

/// What a year may come to, in the currency's minor unit.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Spread {
    /// The mean.
    pub mean: Estimate,
    /// The low end of the range that holds [`Spread::within`] of the years: as a rule the 10 % point.
    pub low: f64,
    /// One year in two costs less.
    pub p50: Estimate,
    /// Four years in five cost less.
    pub p80: Estimate,
    /// The high end of that range.
    pub high: f64,
    /// The share of the years in it, as many below as above: the central 80 %, more where these do not hold the mean.
    pub within: f64,
    /// Nineteen years in twenty cost less.
    pub p95: Estimate,
    /// In rising order.
    sorted: Vec<i64>,
}

impl Spread {
    /// The spread of simulated totals; none at all gives zeros.
    pub fn of(mut totals: Vec<i64>) -> Self {
        if totals.is_empty() {
            return Self::default();
        }
        totals.sort_unstable();
        let count = totals.len() as f64;
        // Whole minor units add up exactly, in any order.
        let sum: i128 = totals.iter().map(|total| i128::from(*total)).sum();
        let mean = sum as f64 / count;
        let square: f64 = totals.iter().map(|total| (*total as f64 - mean).powi(2)).sum();
        let mut spread = Self {
            mean: Estimate { value: mean, error: (square / (count - 1.0).max(1.0) / count).sqrt() },
            sorted: totals,
            ..Self::default()
        };
        spread.within = WITHIN.into_iter().find(|within| spread.range(*within).contains(&mean)).unwrap_or(1.0);
        (spread.low, spread.high) = spread.range(spread.within).into_inner();
        spread.p50 = spread.quantile(0.5);
        spread.p80 = spread.quantile(0.8);
        spread.p95 = spread.quantile(0.95);
        spread
    }

    /// The value below which a share of the years lies, without its error, which takes longer to find.
    pub fn point(&self, share: f64) -> f64 {
        if self.sorted.is_empty() { 0.0 } else { self.at(share * (self.sorted.len() - 1) as f64) }
    }

    /// The value below which a share of the years lies. Its error is nothing only where all totals near it are equal.
    pub fn quantile(&self, share: f64) -> Estimate {
        let count = self.sorted.len();
        if count == 0 {
            return Estimate::default();
        }
        let place = share * (count - 1) as f64;
        Estimate { value: self.at(place), error: self.error_at(place, (count as f64 * share * (1.0 - share)).sqrt()) }
    }

    /// The standard error of the total at a place whose standard deviation over drawings is given, in places: the spread of
    /// the totals with the weights a bootstrap gives them (Maritz & Jarrett, Journal of the American Statistical Association
    /// 73, 1978), here those of the normal distribution. Totals are lumpy, since failures have few different prices: the
    /// weights are spread over [`WIDER`] times the width, lest the error told depend on where a lump ends.
    fn error_at(&self, place: f64, deviation: f64) -> f64 {
        let width = WIDER * deviation;
        if width <= 0.0 {
            return 0.0;
        }
        let first = (place - REACH * width).ceil().max(0.0) as usize;
        let last = ((place + REACH * width) as usize).min(self.sorted.len() - 1);
        let origin = self.at(place);
        let (mut all, mut sum, mut squares) = (0.0, 0.0, 0.0);
        for (index, total) in self.sorted.iter().enumerate().take(last + 1).skip(first) {
            let weight = (-0.5 * ((index as f64 - place) / width).powi(2)).exp();
            let off = *total as f64 - origin;
            all += weight;
            sum += weight * off;
            squares += weight * off * off;
        }
        if all > 0.0 { (squares / all - (sum / all).powi(2)).max(0.0).sqrt() / WIDER } else { 0.0 }
    }

    /// The total at a place among them, between two of them in proportion.
    fn at(&self, place: f64) -> f64 {
        let count = self.sorted.len();
        let place = place.clamp(0.0, (count - 1) as f64);
        let index = (place as usize).min(count - 1);
        let (before, after) = (self.sorted[index] as f64, self.sorted[(index + 1).min(count - 1)] as f64);
        before + (after - before) * (place - index as f64)
    }

    /// Between which totals at least the central share of the years lies. They are totals that were drawn, for between two
    /// numbers of failures there is none.
    fn range(&self, within: f64) -> std::ops::RangeInclusive<f64> {
        let last = self.sorted.len().max(1) - 1;
        let beside = (0.5 * (1.0 - within) * last as f64) as usize;
        self.at(beside as f64)..=self.at((last - beside) as f64)
    }

    /// The totals, in rising order.
    pub fn totals(&self) -> &[i64] {
        &self.sorted
    }

    /// The share of years that cost at most so much.
    pub fn share_at_most(&self, total: f64) -> f64 {
        let within = self.sorted.partition_point(|one| *one as f64 <= total);
        within as f64 / self.sorted.len().max(1) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::random::{Stream, exponential};

    fn draws(seed: u64, count: usize) -> Spread {
        let mut words = vec![0; count];
        Stream::new(seed, &["spread"]).fill(&mut words);
        Spread::of(words.into_iter().map(|word| (exponential(word) * 1e6) as i64).collect())
    }

    /// The exponential distribution in closed form: quantile −ln(1 − p), standard error √(p/(1 − p)/n).
    #[test]
    fn the_error_told_is_the_error_seen() {
        let runs: Vec<Spread> = (0..60).map(|seed| draws(seed, 2000)).collect();
        for (share, pick) in [
            (0.5, (|s: &Spread| s.p50) as fn(&Spread) -> Estimate),
            (0.8, |s: &Spread| s.p80),
            (0.95, |s: &Spread| s.p95),
        ] {
            let values: Vec<f64> = runs.iter().map(|run| pick(run).value).collect();
            let mean = values.iter().sum::<f64>() / 60.0;
            let seen = (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / 59.0).sqrt();
            let told = runs.iter().map(|run| pick(run).error).sum::<f64>() / 60.0;
            let exact = (share / (1.0 - share) / 2000.0_f64).sqrt() * 1e6;
            assert!((mean + 1e6 * (1.0_f64 - share).ln()).abs() < 4.0 * exact / 60.0_f64.sqrt() + 2000.0, "{mean}");
            assert!((told / exact - 1.0).abs() < 0.1, "{share}: told {told}, exact {exact}");
            assert!((seen / exact - 1.0).abs() < 0.35, "{share}: seen {seen}, exact {exact}");
        }
    }

    /// Totals of few different values: an error of nothing is told where all that is near is equal, and nowhere else.
    #[test]
    fn no_error_is_told_only_where_all_near_is_equal() {
        let lumps = |at: usize| Spread::of((0..1000).map(|draw| if draw < at { 250 } else { 900 }).collect());
        assert_eq!((lumps(500).p80.value, lumps(500).p80.error), (900.0, 0.0));
        // A lump ends one binomial standard deviation and a half away, 12.6 places each.
        let near = lumps(781).p80;
        assert!(near.value == 900.0 && near.error > 50.0, "{near:?}");
        assert_eq!(lumps(1000).p80.error, 0.0);
    }

    /// One year in fifty costs ten times as much: no range of the years up to 19 in 20 holds the mean.
    #[test]
    fn a_range_holds_its_mean() {
        let of = |seldom: usize, count: usize| {
            Spread::of((0..count).map(|draw| if draw < seldom { 5000 } else { 500 }).collect())
        };
        let spread = of(20, 1000);
        assert_eq!((spread.low, spread.high, spread.within), (500.0, 5000.0, 0.98));
        let spread = of(1, 10_000);
        assert_eq!((spread.low, spread.high, spread.within), (500.0, 5000.0, 1.0));
        let spread = of(0, 1000);
        assert_eq!((spread.low, spread.high, spread.within), (500.0, 500.0, 0.8));
        let usual = draws(3, 5000);
        let near = |found: f64, share: f64| (found / usual.quantile(share).value - 1.0).abs() < 0.01;
        assert!(usual.within == 0.8 && near(usual.low, 0.1) && near(usual.high, 0.9), "{} {}", usual.low, usual.high);
        // One failure more in 20 years of 400: no range ends between none and one.
        let fewer = Spread::of((0..400).map(|draw| i64::from(draw < 20)).collect());
        assert_eq!((fewer.low, fewer.high, fewer.within), (0.0, 1.0, 0.9));
    }

    #[test]
    fn a_share_of_years_costs_at_most_its_quantile() {
        let spread = draws(7, 5000);
        assert!((spread.share_at_most(spread.p80.value) - 0.8).abs() < 0.001);
        assert_eq!(Spread::of(Vec::new()).p80.value, 0.0);
    }
}
