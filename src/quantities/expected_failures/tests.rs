use super::*;
use crate::quantities::fleet_for_tests::load_with;
use crate::stats::posterior::Prior;

const FLEET: &str = "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\n";
const BOOK: &str = "format: 1
parts:
  shaft_seal: {fits: pump, interval: {hours: 14000 h}, wears_by: hours}
  motor_bearing: {fits: pump, interval: {hours: 25000 h}, wears_by: hours}
";

fn with_log<T>(log: &str, then: impl FnOnce(&crate::site::SiteFigures) -> T) -> T {
    let site = format!(
        "format: 1\nrecords_from: 2023-01-01\nspas:\n  s:\n    fitted: 2022-01-01\n    pumps:\n      p: {{duty: jets, program: {{run: 10 h/day}}}}\n      q: {{duty: jets, program: {{run: 10 h/day}}}}\nlog:\n{log}"
    );
    load_with(
        &[("fleet.yaml", FLEET), ("upkeep.yaml", BOOK), ("sites/a.yaml", &site)],
        "2025-12-31",
        |_, figures, _| then(figures),
    )
}

/// The pump's expectation is its parts' and the residual's, by hand from the same posteriors.
#[test]
fn a_pump_is_its_parts_and_what_no_part_explains() {
    with_log(
        "  - {date: 2024-06-01, at: {s/p: {renewed: {shaft_seal: {because: failure, noticed: in_use}}}}}
  - {date: 2024-09-01, at: {s/q: {exchanged: {because: failure, noticed: in_use}}}}\n",
        |figures| {
            let lives = figures.lives;
            let residual = lives.residual.unwrap();
            // Two pumps at 10 h a day over 1096 days, one unexplained failure: Jeffreys' 1.5 in 21,920 h.
            assert!((residual.fleet.mean() - 1.5 / (2.0 * 10.0 * 1095.0)).abs() < 2e-7, "{residual:?}");
            assert_eq!(residual.likeness, None);
            for (at, outlook) in &figures.pumps_to_come {
                let outlook = outlook.as_ref().unwrap();
                let parts: f64 =
                    figures.parts.iter().filter(|p| p.part.at == *at).map(|p| p.failures_12mo.unwrap()).sum();
                let expected = parts + residual.fleet.mean() * 3650.0;
                assert!((outlook.failures.expected - expected).abs() < 1e-3 * expected, "{at}: {outlook:?} {expected}");
                assert!(outlook.failures.low <= outlook.failures.expected);
                assert!(outlook.failures.high >= outlook.failures.low);
            }
            for part in &figures.parts {
                let (chance, expected) = (part.fail_12mo.unwrap(), part.failures_12mo.unwrap());
                // More than the chance by what fails twice.
                assert!(chance < expected && expected < chance * 1.6, "{chance} {expected}");
            }
        },
    );
}

/// A planned renewal makes a worn part new: by hand, with one distribution.
#[test]
fn a_planned_renewal_makes_the_part_new() {
    let weibull = Weibull { shape: 3.0, scale: 1000.0 };
    let renewals = Renewals::new(weibull, 365.0);
    let outlook = renewals.outlook(900.0, 200.0, &[50.0]);
    let chance = 1.0 - (1.0 - weibull.chance_within(900.0, 50.0)) * weibull.survival(150.0);
    assert!((outlook.chance - chance).abs() < 1e-12, "{outlook:?}");
    assert!(outlook.mean >= outlook.chance && outlook.mean < outlook.chance * 1.02);
    assert!(outlook.mean < renewals.outlook(900.0, 200.0, &[]).mean);
    // After the twelve months it changes nothing.
    assert_eq!(renewals.outlook(900.0, 200.0, &[300.0]), renewals.outlook(900.0, 200.0, &[]));
}

/// What is not known of the kind does not average out: a hundred parts are far less sure than a hundred
/// independent ones.
#[test]
fn a_range_carries_what_all_parts_of_a_kind_share() {
    let prior = Prior::new((0.8, 1.4, 4.0), 0.1, 1000.0, 1.0).unwrap();
    let outlook = KindOutlook::new(&Posterior::new(None, &prior), Clock::Age);
    let mut tally = Tally::default();
    for _ in 0..100 {
        tally.add_part((0, 0), &outlook, (Age::Sound(500.0), 365.0), &[], None);
    }
    let kind = &tally.kinds[&(0, 0)];
    let (mean, second) = outlook
        .nodes
        .iter()
        .zip(kind.means)
        .fold((0.0, 0.0), |(first, second), ((_, w), mean)| (first + w * mean, second + w * mean * mean));
    assert!((second - mean * mean).sqrt() > 2.0 * mean.sqrt(), "{mean} {second}");
}

/// Simulated from the belief itself, a drawn distribution's quantiles are the posterior's, and the drawn
/// rates' are the gamma's.
#[test]
fn draws_follow_what_is_known() {
    use rand_chacha::ChaCha8Rng;
    use rand_chacha::rand_core::{Rng, SeedableRng};
    let mut stream = ChaCha8Rng::seed_from_u64(5);
    let mut even = move || ((stream.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64;
    let prior = Prior::new((0.8, 1.4, 4.0), 0.1, 1000.0, 1.0).unwrap();
    let posterior = Posterior::new(None, &prior);
    let b10: Vec<f64> = (0..4000).map(|_| posterior.draw(even()).quantile(0.1)).collect();
    let below = b10.iter().filter(|b| **b < 1000.0).count();
    // Half of 4,000, within four standard deviations.
    assert!((1874..=2126).contains(&below), "{below}");
    for shape in [0.4, 1.5, 20.0] {
        let gamma = Gamma { shape, rate: 3.0 };
        let tenth = gamma.quantile(0.1);
        let drawn: Vec<f64> = (0..4000).map(|_| gamma.draw(&mut even)).collect();
        let below = drawn.iter().filter(|rate| **rate < tenth).count();
        assert!((324..=476).contains(&below), "{shape}: {below}");
        let mean = drawn.iter().sum::<f64>() / 4000.0;
        assert!((mean - gamma.mean()).abs() < 4.0 * (gamma.variance() / 4000.0).sqrt(), "{shape}: {mean}");
    }
    let life = Weibull { shape: 2.0, scale: 1000.0 };
    assert!((life.age_at_failure(700.0, 1.0) - 700.0).abs() < 1e-9);
    assert!((life.chance_within(700.0, life.age_at_failure(700.0, 0.25) - 700.0) - 0.75).abs() < 1e-12);
}

/// Whole pumps with a known truth: two kinds of part, each drawn from what is believed of it, pumps of which some fail more than their
/// like, failures that no part explains, a third of the positions renewed by the book before and in the year to come. The counts of
/// the coming year of each fleet, randomised between the chance of less and of at most so many, lie evenly.
#[test]
fn counts_of_whole_pumps_with_renewals_lie_evenly() {
    use crate::address::Address;
    use crate::quantities::pump_differences::PumpLives;
    use crate::records::upkeep::Part;
    use crate::stats::counts::count_at_most;
    use crate::stats::coverage::{BOOK, Dice, Evenness, SHAPE, UNLIKELY};
    use crate::stats::{End, Life};

    const YEAR: f64 = 0.3 * BOOK;
    const WATCHED: f64 = 2.0 * BOOK;
    let line = "{fits: pump, interval: {hours: 1000 h}, wears_by: hours, shape: {low: 0.8, typical: 1.4, high: 4}}";
    let part: Part = serde_yaml::from_str(line).unwrap();
    let prior = Prior::new(SHAPE, 0.1, BOOK, 1.0).unwrap();
    let ids = ["seal", "bearing"].map(|id| Id::parse(id).unwrap());
    let site = Id::parse("a").unwrap();
    let places: Vec<Address> = (0..20).map(|k| Address::parse(&format!("s/p-{k}")).unwrap()).collect();
    let mut dice = Dice::new(77);
    let (mut counts, mut held) = (Evenness::default(), 0);
    let fleets = 120;
    for _ in 0..fleets {
        let truths = [dice.truth(&prior), dice.truth(&prior)];
        let by_no_part = -0.5 * dice.even().ln() / BOOK;
        let mut lives: [Vec<Life>; 2] = Default::default();
        let (mut pumps, mut residual, mut now) = (Vec::new(), Vec::new(), Vec::new());
        for (number, at) in places.iter().enumerate() {
            let factor = Gamma { shape: 3.0, rate: 3.0 }.draw(|| dice.even());
            let mut own = Vec::new();
            for (kind, truth) in truths.iter().enumerate() {
                let truth = truth.at_rate(factor);
                let planned = number % 3 == kind;
                let (mut watched, mut entry) = (0.0, dice.even() * 0.8 * BOOK);
                let age = loop {
                    let fails = dice.life(&truth, entry);
                    let ends = fails.min(if planned { BOOK } else { f64::INFINITY });
                    let until = entry + WATCHED - watched;
                    let end = if ends >= until {
                        End::Sound(until)
                    } else if fails <= ends {
                        End::Failed(fails)
                    } else {
                        End::Sound(ends)
                    };
                    let life = Life { entry, end, count: 1.0 };
                    own.push((ids[kind].clone(), life));
                    lives[kind].push(life);
                    if ends >= until {
                        break until;
                    }
                    (watched, entry) = (watched + ends - entry, 0.0);
                };
                now.push((
                    number,
                    kind,
                    truth,
                    age,
                    if planned && BOOK - age < YEAR { vec![BOOK - age] } else { vec![] },
                ));
            }
            pumps.push(PumpLives::simulated(site.clone(), at.clone(), own));
            residual.push(ResidualHistory { failures: poisson(&mut dice, by_no_part * WATCHED), hours: WATCHED });
        }
        let [seals, bearings] = lives;
        let kinds = vec![(ids[0].clone(), &part, seals), (ids[1].clone(), &part, bearings)];
        let known = FleetLives::simulated(kinds, pumps, &residual);
        let mut tally = Tally::default();
        let mut happened = poisson(&mut dice, by_no_part * YEAR * places.len() as f64);
        for history in &residual {
            tally.add_residual(known.residual.as_ref().unwrap(), *history, YEAR);
        }
        for (number, kind, truth, age, planned) in &now {
            let place = usize::from(*kind == 0);
            let factor = known.pumps.factor(&site, &places[*number]);
            let outlook = known.kind(&ids[*kind]).unwrap().outlook.as_ref().unwrap();
            // Kinds are numbered by their ids: the bearing comes first.
            tally.add_part((place, 0), outlook, (Age::Sound(*age), YEAR), planned, factor);
            let (mut spent, mut age) = (0.0, *age);
            let mut next = planned.first().copied().unwrap_or(f64::INFINITY);
            loop {
                let fails = spent + dice.life(truth, age) - age;
                if fails.min(next) > YEAR {
                    break;
                }
                happened += f64::from(u8::from(fails <= next));
                // What has failed before its renewal was planned is new already.
                (spent, age, next) = (fails.min(next), 0.0, f64::INFINITY);
            }
        }
        let (mean, variance) = tally.moments(&known);
        let at_most = |count: f64| if count < 0.0 { 0.0 } else { count_at_most(mean, variance, count) };
        let (less, so_many) = (at_most(happened - 1.0), at_most(happened));
        counts.see(less + (so_many - less) * dice.even());
        held += usize::from(so_many >= 0.1 && less < 0.9);
    }
    assert!(counts.chi_squared() < UNLIKELY, "{counts:?}");
    // Whole counts make the range hold more than four in five; three standard deviations below that is too few.
    assert!(held as f64 >= (0.8 - 3.0 * (0.16 / f64::from(fleets)).sqrt()) * f64::from(fleets), "{held} of {fleets}");
}

fn poisson(dice: &mut crate::stats::coverage::Dice, mean: f64) -> f64 {
    let (mut count, mut reached) = (0.0, -dice.even().ln());
    while reached < mean {
        count += 1.0;
        reached -= dice.even().ln();
    }
    count
}
