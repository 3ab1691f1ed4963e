//! What happens, day by day, to parts that stand in one thing: planned renewals, failures, and what is renewed with them.
//!
//! The luck of a part is a Poisson process of rate 1 in its cumulative hazard: a part fails when the hazard it has run
//! through, whatever renewals came between, reaches the next arrival. Two policies that are given the same arrivals meet
//! the same luck, and differ by nothing but the policy. A new part is as good as new.

use super::weibull::Weibull;

/// A place of a part.
#[derive(Debug, Clone, PartialEq)]
pub struct Position {
    /// Units of the part's clock that pass in a day.
    pub per_day: f64,
    /// Its age on its clock at day 0.
    pub age: f64,
    /// The day of the first planned renewal; infinite = none is planned.
    pub first: f64,
    /// Days from each renewal to the next planned one; infinite = none.
    pub every: f64,
    /// The other positions that are renewed with it.
    pub together: Vec<usize>,
}

/// What happens to a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Happens {
    /// It is renewed as planned.
    Planned,
    /// It fails, and is renewed.
    Fails,
}

/// A stretch of a part's age.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Its age at the start, on its clock.
    pub from: f64,
    /// At the end.
    pub to: f64,
}

impl Stretch {
    /// The hazard run through.
    pub fn hazard(self, life: &Weibull) -> f64 {
        life.cumulative_hazard(self.to) - life.cumulative_hazard(self.from)
    }
}

/// The stretches of age each part runs through up to a day if none fails, and the planned renewals on the way.
pub fn without_failures(positions: &[Position], until: f64, mut planned: impl FnMut(usize, f64)) -> Vec<Vec<Stretch>> {
    let mut stretches = vec![Vec::new(); positions.len()];
    let mut state: Vec<(f64, f64, f64)> = positions.iter().map(|p| (p.age, 0.0, p.first)).collect();
    loop {
        let next = (0..positions.len()).min_by(|a, b| state[*a].2.total_cmp(&state[*b].2));
        let Some(index) = next.filter(|index| state[*index].2 < until) else { break };
        let day = state[index].2;
        planned(index, day);
        for renewed in std::iter::once(index).chain(positions[index].together.iter().copied()) {
            let (age, since, _) = state[renewed];
            let to = age + positions[renewed].per_day * (day - since);
            stretches[renewed].push(Stretch { from: age, to });
            state[renewed] = (0.0, day, day + positions[renewed].every);
        }
    }
    for ((position, state), stretches) in positions.iter().zip(&state).zip(&mut stretches) {
        stretches.push(Stretch { from: state.0, to: state.0 + position.per_day * (until - state.1) });
    }
    stretches
}

/// How a part lives at a position, with the hazards that every walk there asks for: many walks go over few of them.
#[derive(Debug, Clone, Copy)]
pub struct LifeAt {
    life: Weibull,
    /// The hazard run through by day 0.
    begun: f64,
    /// The hazard from there to its first planned renewal, or to the last day.
    to_first: f64,
    /// The hazard from a renewal to the next planned one, or over all the days.
    to_next: f64,
}

impl LifeAt {
    /// A life at a position, for walks up to a day.
    pub fn new(life: Weibull, position: &Position, until: f64) -> Self {
        let begun = life.cumulative_hazard(position.age);
        let planned = position.age + position.per_day * position.first.min(until);
        Self {
            begun,
            to_first: life.cumulative_hazard(planned) - begun,
            to_next: life.cumulative_hazard(position.per_day * position.every.min(until)),
            life,
        }
    }
}

/// A part on its way.
#[derive(Debug, Clone, Copy)]
struct Part {
    /// Its age on its clock when its life began or day 0 came.
    age: f64,
    /// The hazard it had run through then.
    begun: f64,
    /// The day of that.
    since: f64,
    /// The next planned renewal.
    planned: f64,
    /// The hazard left until it fails.
    left: f64,
    /// The day it fails if nothing comes before.
    fails: f64,
}

impl Part {
    /// Finds the day it fails; `ahead` is the hazard up to its next planned renewal or the last day, behind which no day
    /// matters. Powers take most of a walk's time, so that they are spared where the hazard left clearly reaches further:
    /// by far more than rounding can hide.
    fn find_failure(&mut self, per_day: f64, life: Option<&Weibull>, ahead: f64) {
        const CLEARLY: f64 = 1e-9;
        let outlives = self.left > ahead + CLEARLY * (self.begun + ahead);
        self.fails = match life {
            Some(life) if !outlives && self.left.is_finite() && per_day > 0.0 => {
                let hazard = self.begun + self.left;
                let age = life.scale * hazard.powf(1.0 / life.shape);
                self.since + (age - self.age).max(0.0) / per_day
            }
            _ => f64::INFINITY,
        };
    }
}

/// Walks through days; it keeps its room from one walk to the next, since there are many.
#[derive(Debug, Default)]
pub struct Walker {
    parts: Vec<Part>,
}

impl Walker {
    /// Walks through the days up to `until`. `lives` are what each part's life is distributed by (`None` = it does not
    /// fail), `arrivals` the hazard up to its first failure. `happens` is told of each event and answers a failure with
    /// the hazard from it to the part's next one.
    pub fn walk(
        &mut self,
        positions: &[Position],
        lives: &[Option<LifeAt>],
        arrivals: &[f64],
        until: f64,
        mut happens: impl FnMut(usize, f64, Happens) -> f64,
    ) {
        let parts = &mut self.parts;
        parts.clear();
        for ((position, life), arrival) in positions.iter().zip(lives).zip(arrivals) {
            let mut part = Part {
                age: position.age,
                begun: life.map_or(0.0, |at| at.begun),
                since: 0.0,
                planned: position.first,
                left: *arrival,
                fails: f64::INFINITY,
            };
            part.find_failure(position.per_day, life.as_ref().map(|at| &at.life), life.map_or(0.0, |at| at.to_first));
            parts.push(part);
        }
        loop {
            let next = (0..parts.len())
                .map(|index| (index, parts[index].planned.min(parts[index].fails)))
                .min_by(|a, b| a.1.total_cmp(&b.1));
            let Some((index, day)) = next.filter(|(_, day)| *day < until) else { return };
            let failed = parts[index].fails <= parts[index].planned;
            let again = happens(index, day, if failed { Happens::Fails } else { Happens::Planned });
            for renewed in std::iter::once(index).chain(positions[index].together.iter().copied()) {
                let position = &positions[renewed];
                let part = &mut parts[renewed];
                if failed && renewed == index {
                    part.left = again;
                } else if let Some(at) = &lives[renewed] {
                    let to = part.age + position.per_day * (day - part.since);
                    let run = at.life.cumulative_hazard(to) - part.begun;
                    part.left = (part.left - run).max(0.0);
                }
                part.age = 0.0;
                part.begun = 0.0;
                part.since = day;
                part.planned = day + position.every;
                let life = lives[renewed].as_ref();
                part.find_failure(position.per_day, life.map(|at| &at.life), life.map_or(0.0, |at| at.to_next));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::random::Stream;

    /// Counts of failures and planned renewals over many runs of one part.
    fn counts(life: Weibull, age: f64, every: f64, until: f64, runs: usize) -> Vec<(f64, f64)> {
        let named = format!("{life:?} {age} {every} {until}");
        let position = Position { per_day: 1.0, age, first: every - age, every, together: Vec::new() };
        // A renewal exactly at the end counts, as it does in the reference values.
        let until = until + 1e-9;
        let life = LifeAt::new(life, &position, until);
        let stream = Stream::new(1, &["renewals", &named]);
        (0..runs)
            .map(|run| {
                let mut more = stream.more(run);
                let first = more.exponential();
                let (mut failures, mut planned) = (0.0, 0.0);
                Walker::default().walk(
                    std::slice::from_ref(&position),
                    &[Some(life)],
                    &[first],
                    until,
                    |_, _, what| match what {
                        Happens::Fails => {
                            failures += 1.0;
                            more.exponential()
                        }
                        Happens::Planned => {
                            planned += 1.0;
                            0.0
                        }
                    },
                );
                (failures, planned)
            })
            .collect()
    }

    fn mean(values: impl Iterator<Item = f64> + Clone) -> (f64, f64) {
        let n = values.clone().count() as f64;
        let mean = values.clone().sum::<f64>() / n;
        (mean, values.map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0))
    }

    /// Ordinary Weibull renewal processes (shape, exposure in scales, mean, variance, chances of at least 1, 2, 3):
    /// reference values computed three ways after Smith & Leadbetter (1963) and Xie (1989); shape 1 is Poisson, in closed
    /// form. Allowed: four standard errors.
    #[test]
    fn counts_of_renewals_are_those_of_the_renewal_process() {
        let cases = [
            (
                2.0,
                1.0,
                0.753_691_277_537,
                0.446_245_743_272,
                [0.632_120_558_829, 0.113_158_131_948, 0.008_100_648_712_89],
            ),
            (2.0, 3.0, 3.021_745_008_95, 1.041_714_508_63, [0.999_876_590_196, 0.958_220_171_245, 0.680_890_129_409]),
            (1.5, 2.0, 1.945_500_799_93, 1.149_123_478_4, [0.940_894_253_438, 0.634_222_342_474, 0.273_093_861_82]),
            (0.8, 2.0, 2.023_547_970_26, 2.555_267_773_9, [0.824_672_763_195, 0.570_558_256_652, 0.335_181_420_014]),
            (3.5, 5.0, 5.107_092_752_64, 0.652_392_034_331, [1.0, 1.0, 0.999_999_500_018]),
            (1.0, 4.0, 4.0, 4.0, [0.981_684_361_111, 0.908_421_805_556, 0.761_896_694_446]),
        ];
        let runs = 40_000;
        for (shape, exposure, expected, variance, at_least) in cases {
            let found = counts(Weibull { shape, scale: 1.0 }, 0.0, f64::INFINITY, exposure, runs);
            let (m, v) = mean(found.iter().map(|c| c.0));
            let error = 4.0 * (variance / runs as f64).sqrt();
            assert!((m - expected).abs() < error, "shape {shape}: {m} against {expected} ± {error}");
            assert!((v / variance - 1.0).abs() < 0.06, "shape {shape}: variance {v} against {variance}");
            for (k, chance) in at_least.iter().enumerate() {
                let share = found.iter().filter(|c| c.0 > k as f64).count() as f64 / runs as f64;
                let error = 4.0 * (chance * (1.0 - chance) / runs as f64).sqrt() + 1e-6;
                assert!((share - chance).abs() < error, "shape {shape}: P(N > {k}) {share} against {chance}");
            }
        }
    }

    /// Parts that have an age already (modified renewal process, Cox 1962): shape, age, exposure, mean.
    #[test]
    fn a_part_that_is_old_already_fails_as_old_parts_do() {
        for (shape, age, exposure, expected) in [(2.5, 0.8, 1.0, 1.321_595_332_4), (1.4, 0.5, 2.0, 2.184_139_346_76)] {
            let found = counts(Weibull { shape, scale: 1.0 }, age, f64::INFINITY, exposure, 40_000);
            let (m, v) = mean(found.iter().map(|c| c.0));
            assert!((m - expected).abs() < 4.0 * (v / 40_000.0).sqrt(), "{m} against {expected}");
        }
    }

    /// Age replacement over a finite horizon, from the renewal equation with an atom at the replacement age: shape, age,
    /// horizon, cost planned, cost of a failure, failures, planned renewals, cost.
    #[test]
    fn a_policy_costs_what_its_renewal_equation_says() {
        let cases = [
            (2.5, 0.5, 2.2, 1.0, 5.0, 0.703_147_168_755, 3.440_701_440_89, 6.956_437_284_67),
            (3.5, 0.4, 3.0, 120.0, 1500.0, 0.284_461_691_465, 6.752_424_820_55, 1_236.983_515_66),
        ];
        for (shape, every, horizon, planned, failure, failures, renewals, cost) in cases {
            let found = counts(Weibull { shape, scale: 1.0 }, 0.0, every, horizon, 40_000);
            let near = |values: Vec<f64>, expected: f64| {
                let (m, v) = mean(values.into_iter());
                assert!((m - expected).abs() < 4.0 * (v / 40_000.0).sqrt(), "shape {shape}: {m} against {expected}");
            };
            near(found.iter().map(|c| c.0).collect(), failures);
            near(found.iter().map(|c| c.1).collect(), renewals);
            near(found.iter().map(|c| c.0 * failure + c.1 * planned).collect(), cost);
        }
    }

    #[test]
    fn without_failures_the_planned_renewals_divide_the_ages() {
        let positions = [
            Position { per_day: 20.0, age: 1000.0, first: 50.0, every: 100.0, together: vec![1] },
            Position { per_day: 1.0, age: 10.0, first: f64::INFINITY, every: 500.0, together: vec![] },
        ];
        let mut seen = Vec::new();
        let stretches = without_failures(&positions, 200.0, |index, day| seen.push((index, day)));
        assert_eq!(seen, [(0, 50.0), (0, 150.0)]);
        let ages = |i: usize| stretches[i].iter().map(|s| (s.from, s.to)).collect::<Vec<_>>();
        assert_eq!(ages(0), [(1000.0, 2000.0), (0.0, 2000.0), (0.0, 1000.0)]);
        assert_eq!(ages(1), [(10.0, 60.0), (0.0, 100.0), (0.0, 50.0)]);
    }

    /// Powers are spared where a part outlives its stretch; what happens is what it would be were every day found.
    #[test]
    fn what_is_spared_changes_nothing() {
        let until = 700.0;
        let stream = Stream::new(11, &["walks"]);
        let mut failures = 0;
        for run in 0..3000 {
            let mut more = stream.more(run);
            let mut within = |from: f64, to: f64| from + (to - from) * more.even();
            let positions: Vec<Position> = (0..3)
                .map(|index| Position {
                    per_day: within(0.5, 20.0),
                    age: within(0.0, 4000.0),
                    first: if within(0.0, 1.0) < 0.3 { f64::INFINITY } else { within(0.0, 900.0) },
                    every: within(100.0, 900.0),
                    together: if index == 0 { vec![1, 2] } else { Vec::new() },
                })
                .collect();
            let lives: Vec<Weibull> =
                (0..3).map(|_| Weibull { shape: within(0.8, 4.0), scale: within(300.0, 9000.0) }).collect();
            let arrivals: Vec<f64> = (0..3).map(|_| -within(0.0, 1.0).ln()).collect();
            let walked = |spared: bool| {
                let at = |(life, position): (&Weibull, &Position)| {
                    let at = LifeAt::new(*life, position, until);
                    let all = LifeAt { to_first: f64::INFINITY, to_next: f64::INFINITY, ..at };
                    Some(if spared { at } else { all })
                };
                let lives: Vec<Option<LifeAt>> = lives.iter().zip(&positions).map(at).collect();
                let mut seen = Vec::new();
                Walker::default().walk(&positions, &lives, &arrivals, until, |index, day, what| {
                    seen.push((index, day.to_bits(), what));
                    0.4 + 0.1 * index as f64
                });
                seen
            };
            let all = walked(false);
            failures += all.iter().filter(|(_, _, what)| *what == Happens::Fails).count();
            assert_eq!(walked(true), all, "{run}");
        }
        assert!(failures > 1000, "{failures}");
    }

    /// A part whose arrival lies beyond the hazard of the undisturbed path does not fail on it, and one within does: the
    /// quick test that spares most walks.
    #[test]
    fn the_hazard_of_the_undisturbed_path_tells_whether_anything_fails() {
        let life = Weibull { shape: 2.0, scale: 300.0 };
        let position = Position { per_day: 1.0, age: 40.0, first: 90.0, every: 120.0, together: vec![] };
        let hazard: f64 = without_failures(std::slice::from_ref(&position), 365.0, |_, _| {})[0]
            .iter()
            .map(|stretch| stretch.hazard(&life))
            .sum();
        for (arrival, expected) in [(hazard * 0.999_999, 1), (hazard * 1.000_001, 0)] {
            let mut failures = 0;
            let count = |_: usize, _: f64, what: Happens| {
                failures += usize::from(what == Happens::Fails);
                1e9
            };
            let life = LifeAt::new(life, &position, 365.0);
            Walker::default().walk(std::slice::from_ref(&position), &[Some(life)], &[arrival], 365.0, count);
            assert_eq!(failures, expected);
        }
    }
}
