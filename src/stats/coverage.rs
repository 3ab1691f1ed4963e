//! Do the ranges hold what they promise? Simulated fleets with a known truth, seeded, on plain numbers.
//!
//! Each fleet is watched from a day on: parts stand there at some age, half of the failures are found
//! at visits, a third of the positions renew by the book. Truths are drawn from what is believed, for
//! which a central 80 % range covers exactly 80 %; 400 fleets tell it to two points.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use statrs::distribution::{ContinuousCDF, Normal};

use super::posterior::{Posterior, Prior};
use super::weibull::{Sample, Weibull};
use super::{End, Life};

const FLEETS: usize = 400;
const BOOK: f64 = 1000.0;
const SHAPE: (f64, f64, f64) = (0.8, 1.4, 4.0);

struct Dice(ChaCha8Rng);

impl Dice {
    /// Evenly between 0 and 1, both left out.
    fn even(&mut self) -> f64 {
        ((self.0.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        Normal::standard().inverse_cdf(self.even())
    }

    fn truth(&mut self, prior: &Prior) -> Weibull {
        let z = self.normal();
        let shape = (prior.ln_shape + z * if z < 0.0 { prior.shape_below } else { prior.shape_above }).exp();
        let age = (prior.ln_age + self.normal() * prior.age_deviation).exp();
        Weibull { shape, scale: age * (-(-prior.share).ln_1p()).powf(-1.0 / shape) }
    }

    /// An age at failure, given that it outlived another.
    fn life(&mut self, truth: &Weibull, after: f64) -> f64 {
        truth.scale * (truth.cumulative_hazard(after) - self.even().ln()).powf(1.0 / truth.shape)
    }

    /// The lives of a fleet watched for a time.
    fn fleet(&mut self, truth: &Weibull, positions: usize, watched: f64) -> Vec<Life> {
        const VISITS: f64 = 0.2 * BOOK;
        let mut lives = Vec::new();
        for position in 0..positions {
            let limit = if position % 3 == 0 { BOOK } else { f64::INFINITY };
            let mut now = 0.0;
            let mut entry = self.even() * BOOK;
            while now < watched {
                let age = self.life(truth, entry);
                let until = entry + watched - now;
                let (end, spent) = if age.min(limit) >= until {
                    (End::Sound(until), until - entry)
                } else if age >= limit {
                    (End::Sound(limit), limit - entry)
                } else if position % 2 == 0 {
                    (End::Failed(age), age - entry)
                } else {
                    // Found at the next visit, seen good at the one before; failed parts wait for it.
                    let found = ((now + age - entry) / VISITS).ceil() * VISITS;
                    let seen = (found - VISITS).max(now);
                    if found > watched {
                        // Not found yet: all that is known is that it was good at the last visit.
                        (End::Sound(entry + seen - now), watched - now)
                    } else {
                        (End::FailedBetween(entry + seen - now, entry + found - now), found - now)
                    }
                };
                let seen_at_all = match end {
                    End::Sound(age) => age > entry,
                    _ => true,
                };
                if seen_at_all {
                    lives.push(Life { entry, end, count: 1.0 });
                }
                now += spent.max(1e-9);
                entry = 0.0;
            }
        }
        lives
    }
}

/// Whether the true value lies within the central 80 % range.
fn holds(posterior: &Posterior, truth: &Weibull, function: impl Fn(&Weibull) -> f64) -> bool {
    let [low, high] = posterior.quantiles_of([0.1, 0.9], &function);
    (low..=high).contains(&function(truth))
}

/// The share of fleets whose true value lies within the central 80 % range.
#[derive(Default)]
struct Covered {
    of: usize,
    inside: usize,
}

impl Covered {
    fn see(&mut self, inside: bool) {
        self.of += 1;
        self.inside += usize::from(inside);
    }

    #[track_caller]
    fn check(&self, what: &str) {
        let share = self.inside as f64 / self.of as f64;
        // Where fewer fleets qualify, chance alone spreads wider: three of its standard deviations.
        let allowed = (3.0 * (0.16 / self.of as f64).sqrt()).max(0.06);
        assert!((share - 0.8).abs() <= allowed, "{what}: {share} of {}", self.of);
    }
}

#[test]
fn central_ranges_cover_what_they_promise() {
    let prior = Prior::new(SHAPE, 0.1, BOOK, 1.0).unwrap();
    let mut dice = Dice(ChaCha8Rng::seed_from_u64(1));
    let mut all: [Covered; 4] = Default::default();
    let mut with_ten: [Covered; 4] = Default::default();
    let mut ranks = [0usize; 5];
    for _ in 0..FLEETS {
        let truth = dice.truth(&prior);
        let lives = dice.fleet(&truth, 30, 3.0 * BOOK);
        let failures = lives.iter().filter(|l| l.failed()).count();
        let posterior = Posterior::new(Sample::new(&lives).as_ref(), &prior);
        let held = [
            holds(&posterior, &truth, |w| w.scale),
            (posterior.shape(0.1)..=posterior.shape(0.9)).contains(&truth.shape),
            holds(&posterior, &truth, |w| w.quantile(0.1)),
            holds(&posterior, &truth, |w| w.chance_within(0.5 * BOOK, 0.3 * BOOK)),
        ];
        for (i, held) in held.into_iter().enumerate() {
            all[i].see(held);
            if failures >= 10 {
                with_ten[i].see(held);
            }
        }
        ranks[(posterior.shape_at_most(truth.shape) * 4.999_999) as usize] += 1;
    }
    for (covered, which) in [(&all, "all fleets"), (&with_ten, "ten failures or more")] {
        for (covered, what) in covered.iter().zip(["scale", "shape", "B10", "chance within a year"]) {
            covered.check(&format!("{what}, {which}"));
        }
    }
    assert!(with_ten[0].of >= 100, "{}", with_ten[0].of);
    // The truth's rank is even: χ² with four degrees of freedom, 0.1 % point 18.47.
    let expected = FLEETS as f64 / 5.0;
    let chi: f64 = ranks.iter().map(|n| (*n as f64 - expected).powi(2) / expected).sum();
    assert!(chi < 18.47, "{ranks:?}");
}

#[test]
fn central_ranges_cover_a_truth_far_from_the_book() {
    let prior = Prior::new(SHAPE, 0.1, BOOK, 1.0).unwrap();
    let mut dice = Dice(ChaCha8Rng::seed_from_u64(2));
    let truth = Weibull { shape: 2.2, scale: 1500.0 };
    let mut covered: [Covered; 2] = Default::default();
    for _ in 0..FLEETS / 2 {
        let lives = dice.fleet(&truth, 40, 3.0 * BOOK);
        let posterior = Posterior::new(Sample::new(&lives).as_ref(), &prior);
        covered[0].see(holds(&posterior, &truth, |w| w.scale));
        covered[1].see(holds(&posterior, &truth, |w| w.chance_within(0.5 * BOOK, 0.3 * BOOK)));
    }
    covered[0].check("scale");
    covered[1].check("chance within a year");
}
