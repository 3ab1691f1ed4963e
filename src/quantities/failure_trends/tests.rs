use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

use super::*;
use crate::stats::counts::count_quantiles;

struct Dice(ChaCha8Rng);

impl Dice {
    fn even(&mut self) -> f64 {
        ((self.0.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    /// Failures of a power law, on the average `mean` of them within 10,000 hours.
    fn failures(&mut self, mean: f64, growth: f64) -> Failures {
        let (mut at, mut reached) = (Vec::new(), 0.0);
        loop {
            reached -= self.even().ln();
            if reached > mean {
                break;
            }
            at.push(10_000.0 * (reached / mean).powf(1.0 / growth));
        }
        watched(&at)
    }
}

fn watched(at: &[f64]) -> Failures {
    Failures::simulated(at)
}

fn judged(all: &[Failures]) -> FailureTrends {
    let pumps: Vec<Watched> = all
        .iter()
        .enumerate()
        .map(|(i, failures)| Watched {
            id: format!("site-{}/spa/pump-{i}", i / 4),
            model: format!("model-{}", i % 3),
            site: format!("site-{}", i / 4),
            failures,
        })
        .collect();
    FailureTrends::new(&pumps)
}

/// Steady fleets of forty pumps with rates that differ fivefold: `worsening` anywhere, or `improving`, in at
/// most one of twenty runs.
#[test]
fn steady_fleets_raise_few_false_alarms() {
    let mut dice = Dice(ChaCha8Rng::seed_from_u64(21));
    let runs = 400;
    let (mut worse, mut better) = (0, 0);
    for _ in 0..runs {
        let all: Vec<Failures> = (0..40).map(|i| dice.failures(1.5 + 6.0 * f64::from(i % 5) / 4.0, 1.0)).collect();
        let trends = judged(&all);
        worse += u32::from(trends.all().any(|(_, _, trend)| trend.trend == Trend::Worsening));
        better += u32::from(trends.all().any(|(_, _, trend)| trend.trend == Trend::Improving));
    }
    // 5 % and three standard deviations of chance.
    let most = (0.05 + 3.0 * (0.05 * 0.95 / f64::from(runs)).sqrt()) * f64::from(runs);
    assert!(f64::from(worse) <= most && f64::from(better) <= most, "{worse} {better} of {runs}");
    assert!(worse + better > 0);
}

/// One pump of twelve grows with the square of its hours: it is found as often as the table says or more
/// often, since what others leave of the level it gets.
#[test]
fn a_pump_that_grows_worse_is_found_with_the_power_that_is_told() {
    let mut dice = Dice(ChaCha8Rng::seed_from_u64(22));
    let runs = 400;
    let (mut found, mut said, mut tested) = (0.0, 0.0, 0.0);
    for _ in 0..runs {
        let mut all: Vec<Failures> = (0..11).map(|_| dice.failures(3.0, 1.0)).collect();
        all.push(dice.failures(12.0, POWER_AT));
        let trends = judged(&all);
        let (_, _, trend) = trends.all().find(|(_, id, _)| *id == "site-2/spa/pump-11").unwrap();
        let Some(power) = trend.power else { continue };
        tested += 1.0;
        said += power;
        found += f64::from(u8::from(trend.trend == Trend::Worsening));
    }
    let (found, said) = (found / tested, said / tested);
    assert!(found > said - 0.06 && found < said + 0.15, "found {found}, said {said}");
    assert!(said > 0.3, "{said}");
}

/// One pump gets worse among steady ones: its model, site and fleet do not, and say because of whom they look so. Where all of a
/// site's pumps get worse together, the site does.
#[test]
fn a_group_is_not_worsening_for_one_pump_of_it() {
    let mut all = vec![watched(&[7_000.0, 8_000.0, 8_700.0, 9_200.0, 9_500.0, 9_700.0, 9_800.0, 9_900.0, 9_950.0])];
    all.extend([1_500.0, 4_000.0, 6_500.0, 3_000.0, 5_500.0].map(|at| watched(&[at])));
    let trends = judged(&all);
    assert_eq!(trends.scope(Scope::Pump, "site-0/spa/pump-0").unwrap().trend, Trend::Worsening);
    for (scope, id) in [(Scope::Model, "model-0"), (Scope::Site, "site-0"), (Scope::Fleet, "all")] {
        let group = trends.scope(scope, id).unwrap();
        assert!(group.test.unwrap().p_worsening < 0.01, "{id}: it looks worse");
        assert_eq!(group.trend, Trend::Steady, "{id}");
        assert_eq!(group.because_of, ["site-0/spa/pump-0"], "{id}");
    }
    let late = [8_000.0, 9_000.0, 9_500.0, 9_900.0];
    let together = judged(&(0..4).map(|_| watched(&late)).collect::<Vec<_>>());
    let site = together.scope(Scope::Site, "site-0").unwrap();
    assert_eq!((site.trend, site.because_of.len()), (Trend::Worsening, 0));
}

#[test]
fn fewer_than_five_failures_are_a_count_with_its_range() {
    let trends = judged(&[watched(&[100.0, 9_000.0, 9_500.0, 9_900.0])]);
    let pump = trends.scope(Scope::Pump, "site-0/spa/pump-0").unwrap();
    assert_eq!((pump.trend, pump.failures), (Trend::TooFew, 4));
    assert!(pump.test.is_none() && pump.power.is_none());
    // Exact ends for 4 failures (χ² with 8 and 10 degrees of freedom at 10 and 90 %: 3.4895 and 15.987).
    let (rate, low, high) = pump.rate.unwrap();
    assert!((rate * 10_000.0 - 4.0).abs() < 1e-9);
    assert!((low * 20_000.0 - 3.4895).abs() < 1e-3 && (high * 20_000.0 - 15.987).abs() < 1e-3, "{low} {high}");
}

/// A pump with ten times the failures of its like stands out; steady fleets have few such.
#[test]
fn a_pump_that_fails_more_than_its_like_stands_out() {
    let mut dice = Dice(ChaCha8Rng::seed_from_u64(23));
    let mut false_ones = 0;
    for _ in 0..200 {
        let all: Vec<Failures> = (0..30).map(|_| dice.failures(2.0, 1.0)).collect();
        let trends = judged(&all);
        false_ones += u32::from(trends.all().any(|(_, _, t)| t.beside.is_some_and(|b| b.stands_out)));
    }
    // Where nothing stands out, any is false: one fleet in ten, and three standard deviations.
    assert!(f64::from(false_ones) <= 200.0 * (0.1 + 3.0 * (0.09f64 / 200.0).sqrt()), "{false_ones}");
    let mut all: Vec<Failures> = (0..29).map(|_| dice.failures(1.0, 1.0)).collect();
    all.push(watched(&(1..=12).map(|k| 800.0 * f64::from(k)).collect::<Vec<_>>()));
    let trends = judged(&all);
    let (_, _, pump) = trends.all().find(|(_, id, _)| *id == "site-7/spa/pump-29").unwrap();
    let beside = pump.beside.unwrap();
    assert!(beside.stands_out && beside.expected < 3.0, "{beside:?}");
    assert_eq!(pump.trend, Trend::Steady);
    // The range of a count of its like would not have reached it.
    assert!(count_quantiles(beside.expected, beside.expected, [0.999])[0] < 12.0);
}
