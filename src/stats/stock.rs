//! How many of a thing to hold, so that a count of failures is met with a given chance: exact sums of the count's own
//! distribution, never a normal one.
//!
//! A count whose rate is known is Poisson; one whose rate is not is spread wider and negative binomial. Means are in
//! things wanted within the time until more can be had.
//!
//! A normal distribution in place of the Poisson one can be off by a whole piece where few are wanted, which is where
//! stock is small enough to matter.

/// The most pieces that are reckoned with.
const MOST: usize = 1_000_000;
/// Chances whose logarithm is less are taken for none.
const LEAST_LN: f64 = -700.0;

/// A count that is wanted: by its mean and variance, Poisson where they are the same, negative binomial where the
/// variance is the larger.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Demand {
    /// The mean.
    pub mean: f64,
    /// The variance; less than the mean counts as the mean.
    pub variance: f64,
}

/// What a stock does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Held {
    /// How many are held.
    pub stock: u32,
    /// The chance that they are enough.
    pub enough: f64,
    /// How many are wanting on the average.
    pub short: f64,
}

impl Demand {
    /// A count whose rate is known.
    pub fn poisson(mean: f64) -> Self {
        Self { mean, variance: mean }
    }

    /// A count at a rate that failures within an exposure have shown, in a further exposure: negative binomial, by
    /// Jeffreys' prior.
    pub fn of_rate(failures: f64, exposure: f64, further: f64) -> Self {
        let shape = failures + 0.5;
        let mean = shape / exposure * further;
        Self { mean, variance: mean + mean * mean / shape }
    }

    /// The chances of 0, 1, 2 and so on, each from the one before it.
    fn chances(self) -> impl Iterator<Item = f64> {
        let excess = if self.mean > 0.0 { (self.variance / self.mean - 1.0).max(0.0) } else { 0.0 };
        // p(k + 1) = p(k) (a + b / (k + 1)), Panjer's recursion; a is 0 for a Poisson count.
        let (a, b, ln_none) = if excess > 1e-9 {
            let (a, size) = (excess / (1.0 + excess), self.mean / excess);
            (a, (size - 1.0) * a, -size * excess.ln_1p())
        } else {
            (0.0, self.mean, -self.mean)
        };
        // Far out a chance of none is too small to be written, so logarithms carry it until the others are not.
        (0u32..).scan((ln_none, None::<f64>), move |(ln, plain), count| {
            if count > 0 {
                let factor = (a + b / f64::from(count)).max(0.0);
                *plain = plain.map(|chance| chance * factor);
                *ln += factor.ln();
            }
            if plain.is_none() && *ln > LEAST_LN {
                *plain = Some(ln.exp());
            }
            Some(plain.unwrap_or(0.0))
        })
    }

    /// The least stock that is enough with a chance, and what it does; `None` if there is none, or the demand is not
    /// known.
    pub fn least_stock(&self, level: f64) -> Option<Held> {
        if !(self.mean.is_finite() && self.variance.is_finite() && self.mean >= 0.0 && (0.0..1.0).contains(&level)) {
            return None;
        }
        let mut enough = 0.0;
        let stock = self.chances().take(MOST).position(|chance| {
            enough += chance;
            enough >= level - 1e-12
        })?;
        Some(self.held(stock as u32))
    }

    /// What a stock does.
    pub fn held(&self, stock: u32) -> Held {
        let (mut enough, mut short) = (0.0, 0.0);
        for (count, chance) in self.chances().take(MOST).enumerate() {
            let over = count as f64 - f64::from(stock);
            if over <= 0.0 {
                enough += chance;
            } else {
                short += over * chance;
                // Behind the mean the chances fall, and soon no more is added.
                if count as f64 > self.mean && over * chance < short * 1e-17 {
                    break;
                }
            }
            if over > 0.0 && chance <= 0.0 && count as f64 > self.mean {
                break;
            }
        }
        Held { stock, enough: f64::min(enough, 1.0), short }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(a: f64, b: f64, relative: f64) {
        assert!((a - b).abs() <= relative * b.abs().max(1e-300), "{a} is not {b}");
    }

    /// Oracle `poisson_spares`: mpmath and scipy, confirmed by R's qpois and ppois. Its shortages are differences of sums
    /// and good to some 1e-7 only; at 24.5 the tail summed with 50 digits is 0.016658098748245855.
    #[test]
    fn poisson_against_the_oracle() {
        for (mean, level, stock, enough, one_less, short) in [
            (0.8, 0.9, 2, 0.952_577_403_929, 0.808_792_135_411, 0.058_121_099_528_2),
            (3.0, 0.95, 6, 0.966_491_464_691, 0.916_082_057_969, 0.050_702_614_240_9),
            (7.3, 0.95, 12, 0.964_217_730_945, 0.931_918_837_816, 0.067_605_255_278_6),
            (24.5, 0.99, 37, 0.993_158_367_84, 0.988_987_816_789, 0.016_658_097_948_2),
            (0.05, 0.95, 0, 0.951_229_424_501, f64::NAN, 0.05),
        ] {
            let demand = Demand::poisson(mean);
            let held = demand.least_stock(level).unwrap();
            assert_eq!(held.stock, stock, "{mean}");
            near(held.enough, enough, 1e-9);
            near(held.short, short, 1e-7);
            if stock == 37 {
                near(held.short, 0.016_658_098_748_245_855, 1e-12);
            }
            if stock > 0 {
                near(demand.held(stock - 1).enough, one_less, 1e-9);
            }
            assert_eq!(demand.held(stock), held);
        }
    }

    /// Oracle `spares_unknown_rate`: mpmath, confirmed by a numeric mixture of Poisson counts.
    #[test]
    fn an_unknown_rate_against_the_oracle() {
        for (failures, past, further, level, stock, enough, plug_in) in [
            (0.0, 30_000.0, 90_000.0, 0.95, 6, 0.951_419_711_113, 0),
            (1.0, 250_000.0, 270_000.0, 0.95, 5, 0.957_257_745_908, 3),
            (4.0, 9_000.0, 5_000.0, 0.9, 5, 0.920_410_382_415, 4),
        ] {
            let held = Demand::of_rate(failures, past, further).least_stock(level).unwrap();
            assert_eq!(held.stock, stock, "{failures}");
            near(held.enough, enough, 1e-8);
            // The rate taken for known holds too few.
            let known = Demand::poisson(failures / past * further).least_stock(level).unwrap();
            assert_eq!(known.stock, plug_in, "{failures}");
        }
    }

    /// University of Southampton statistics exercises 6744 and 6210: weekly mean 3 at 90 % takes 5 and satisfies 2.866 on
    /// the average (from rounded terms; 2.865); mean 104 with at most 5 % shortage takes 121.
    #[test]
    fn two_printed_exercises() {
        let held = Demand::poisson(3.0).least_stock(0.9).unwrap();
        assert_eq!(held.stock, 5);
        near(3.0 - held.short, 2.865, 5e-4);
        let demand = Demand::poisson(104.0);
        assert_eq!(demand.least_stock(0.95).unwrap().stock, 121);
        assert!((1.0 - demand.held(120).enough - 0.0555).abs() < 5e-5);
        assert!((1.0 - demand.held(121).enough - 0.0458).abs() < 5e-5);
    }

    /// 45 units, 2160 h, one failure in 100 000, 200 000, 300 000 h, 95 %: a normal distribution rounded up prints 3, 2, 2;
    /// the exact counts are 3, 2, 1. Then 38.05, 25 and 80 failures in 10⁶ h of 90, 60 and 24 units.
    #[test]
    fn where_the_normal_distribution_is_off_by_one() {
        for (mtbf, stock) in [(100_000.0, 3), (200_000.0, 2), (300_000.0, 1)] {
            assert_eq!(Demand::poisson(45.0 * 2160.0 / mtbf).least_stock(0.95).unwrap().stock, stock, "{mtbf}");
        }
        for (rate, units, hours, level, stock, enough) in [
            (38.05e-6, 90.0, 2160.0, 0.95, 12, 0.9610),
            (25e-6, 60.0, 4380.0, 0.95, 11, 0.9638),
            (25e-6, 60.0, 4380.0, 0.99, 13, 0.9923),
            (80e-6, 24.0, 2920.0, 0.90, 9, 0.9405),
        ] {
            let held = Demand::poisson(rate * units * hours).least_stock(level).unwrap();
            assert_eq!(held.stock, stock);
            assert!((held.enough - enough).abs() < 5e-5, "{held:?}");
        }
    }

    /// So large a count that the chance of none cannot be written: the normal distribution then serves as a check within
    /// a piece or two in two thousand.
    #[test]
    fn a_large_count_does_not_run_out_of_digits() {
        let held = Demand::poisson(2000.0).least_stock(0.95).unwrap();
        assert!((f64::from(held.stock) - (2000.0 + 1.6449 * 2000f64.sqrt())).abs() < 2.0, "{held:?}");
        assert!((0.95..0.952).contains(&held.enough), "{held:?}");
    }

    #[test]
    fn nothing_wanted_takes_nothing_and_what_is_not_known_says_so() {
        assert_eq!(Demand::poisson(0.0).least_stock(0.99), Some(Held { stock: 0, enough: 1.0, short: 0.0 }));
        assert_eq!(Demand::poisson(f64::NAN).least_stock(0.9), None);
        assert_eq!(Demand::poisson(1.0).least_stock(1.0), None);
    }
}
