//! What makes a crew's plan better once there is one: sites planned again beside what the others have become, several
//! moved at once, and what is late put right.

use std::collections::BTreeMap;

use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::{LOOKS, LOOKS_OF_FEW, Planner};
use crate::schedule::visits::chains::{Chains, Done, SiteYear};

/// How often visits of several sites are moved at once is this over the square of how much there is to do, and at most so
/// often: it takes longer the more there is.
const SHAKES: usize = 200_000;
const SHAKES_MOST: usize = 150;

impl Planner<'_> {
    /// Plans sites again beside what the others have become, as long as that saves.
    pub(super) fn again(&mut self) {
        let mut alone: BTreeMap<usize, usize> = BTreeMap::new();
        for place in 0..self.sites.len() {
            *alone.entry(self.site(place).way.area).or_default() += 1;
        }
        for _ in 0..self.rounds() {
            let mut better = false;
            for place in 0..self.sites.len() {
                if self.ended() {
                    return;
                }
                let rank = self.years[place].rank();
                if alone[&self.site(place).way.area] == 1 && rank.0 + rank.1 == 0 {
                    continue;
                }
                let ways = self.strike(place);
                let before = SiteYear { ways, ..std::mem::take(&mut self.years[place]) };
                let year = self.year(place, 1.0, 0);
                let take = year.beats(&before);
                better |= take;
                self.write(place, if take { year } else { before });
            }
            if !better {
                break;
            }
        }
    }

    /// How good the crew's plan is, the least best.
    fn rank(&self) -> (usize, usize, f64) {
        let (mut without, mut late, mut cost) = (0, 0, self.diary.ways_cost());
        for year in &self.years {
            let rank = year.rank();
            without += rank.0;
            late += rank.1;
            cost += year.jobs;
        }
        (without, late, cost)
    }

    /// Where there are few sites: takes the visits of some out and plans them together in another order, reckoning with a
    /// part of their ways, then each again; keeps what is better. Planning one by one cannot move two sites at once.
    pub(super) fn shake(&mut self) {
        if self.many() != 1 || self.sites.len() < 2 {
            return;
        }
        let tasks: usize = self.years.iter().map(|year| year.done.len()).sum();
        let mut draw = ChaCha8Rng::seed_from_u64(1);
        for _ in 0..(SHAKES / (tasks * tasks).max(1)).min(SHAKES_MOST) {
            if self.ended() {
                return;
            }
            let before = (self.diary.clone(), self.booked.clone(), self.years.clone());
            let rank = self.rank();
            let mut some: Vec<usize> = (0..self.sites.len()).collect();
            some.shuffle(&mut draw);
            some.truncate(draw.random_range(2..=self.sites.len()));
            for place in &some {
                self.strike(*place);
            }
            let discount = [1.0, 0.7, 0.5, 0.3][draw.random_range(0..4)];
            for place in &some {
                let year = self.year(*place, discount, 0);
                self.write(*place, year);
            }
            self.again();
            let now = self.rank();
            let better =
                (now.0, now.1) < (rank.0, rank.1) || ((now.0, now.1) == (rank.0, rank.1) && now.2 < rank.2 - 1e-9);
            if !better {
                (self.diary, self.booked, self.years) = before;
            }
        }
    }

    /// Where there are few sites: each site's visits are moved about, beside what the others have become, as long as that
    /// saves.
    pub(super) fn polish(&mut self) {
        let looks = [LOOKS, LOOKS_OF_FEW, 0][self.many()];
        for place in 0..self.sites.len() {
            if looks == 0 || self.ended() {
                return;
            }
            let ways = self.strike(place);
            let before = SiteYear { ways, ..std::mem::take(&mut self.years[place]) };
            let year = self.year(place, 1.0, looks);
            self.write(place, if year.beats(&before) { year } else { before });
        }
    }

    /// What is late and can be done in time after all, beside what the others have become, is; unless its next time would
    /// then be late.
    pub(super) fn mend(&mut self) {
        for place in 0..self.sites.len() {
            if self.ended() {
                return;
            }
            let site = self.site(place);
            for index in 0..self.years[place].done.len() {
                let done = self.years[place].done[index];
                let chain = &site.chains[done.chain];
                if !done.late {
                    continue;
                }
                let asked = self.asked(site, &site.chains);
                let next = self.years[place].done.iter().position(|d| d.chain == done.chain && d.day > done.day);
                let found = (done.window.0..=done.window.1).find_map(|day| {
                    let (day, person) = self.earliest(place, chain, day, day)?;
                    let window = asked.next_window(chain, day);
                    let fits = match (next, window) {
                        (Some(next), Some((first, _, last))) => {
                            let next = self.years[place].done[next].day;
                            next >= first && next as i64 <= last
                        }
                        // A time more would be due within the plan.
                        (None, Some((_, due, _))) => due >= self.work.days as i64,
                        (_, None) => true,
                    };
                    fits.then_some((day, person, window))
                });
                let Some((day, person, window)) = found else { continue };
                let cost = Chains::job(chain, done.window, done.due).cost_on(day);
                self.strike(place);
                let mut year = std::mem::take(&mut self.years[place]);
                year.done[index] = Done { day, technician: person, late: false, cost, ..done };
                if let (Some(next), Some((first, due, last))) = (next, window) {
                    let after = &mut year.done[next];
                    after.window = (first, (last.max(0) as usize).min(self.work.days - 1));
                    after.due = due;
                    after.late = false;
                    after.cost = Chains::job(chain, after.window, due).cost_on(after.day);
                }
                year.jobs = year.done.iter().map(|done| done.cost).sum();
                self.write(place, year);
            }
            self.years[place].done.sort_by_key(|done| (done.day, done.chain, done.due));
        }
    }
}
