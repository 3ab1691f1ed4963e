//! What comes before all else: room for what was promised, and what is overdue or unsafe.

use super::Planner;
use crate::schedule::visits::chains::{Chain, Done, Unfitted};
use crate::schedule::visits::diary::CHANGEOVER_MINUTES;

impl Planner<'_> {
    /// Keeps room for the visits that are promised.
    pub(super) fn promise(&mut self) {
        for place in 0..self.sites.len() {
            for (day, technician, minutes) in &self.site(place).promised {
                let Some(person) = self.people.iter().position(|person| person == technician) else { continue };
                if self.diary.technicians()[person].minutes.get(*day).is_some_and(|m| *m > 0) {
                    self.book(place, *day, person, *minutes);
                }
            }
        }
    }

    /// Books what is overdue or unsafe on the first day it can be done, whatever it costs.
    pub(super) fn urgent(&mut self) {
        let mut all: Vec<(u8, i64, usize, usize)> = Vec::new();
        for place in 0..self.sites.len() {
            for (index, chain) in self.site(place).chains.iter().enumerate() {
                if let Some(rank) = chain.urgent {
                    all.push((rank, chain.due, place, index));
                }
            }
        }
        all.sort_unstable();
        for (_, due, place, index) in all {
            if self.ended() {
                return;
            }
            let site = self.site(place);
            let chain = &site.chains[index];
            let kept = site.promised.iter().filter(|(day, _, _)| chain.promised_first == Some(*day)).find_map(
                |(day, person, _)| {
                    let person = self.people.iter().position(|p| p == person)?;
                    let able = chain.skills & !self.diary.technicians()[person].skills == 0;
                    let open = site.access[chain.access][*day] >= chain.minutes;
                    (able && open && self.booked[place].contains(&(*day, person))).then_some((*day, person))
                },
            );
            // Its room is kept already.
            let reserved = kept.is_some();
            let found = kept.or_else(|| self.earliest(place, chain, chain.first, self.work.days - 1));
            let Some((day, technician)) = found else {
                self.without[place].push(Unfitted { chain: index, due, window: (chain.first, self.work.days - 1) });
                continue;
            };
            // What a contract promises a response for is late behind it; what is due still, behind its due day.
            let by = chain.respond_by.or(usize::try_from(due).ok());
            let late = by.is_some_and(|by| day > by);
            let window = (chain.first, by.unwrap_or(chain.first).max(chain.first).min(self.work.days - 1));
            let done = Done { chain: index, day, technician, window, due, late, cost: 0.0 };
            self.given[place].push(done);
            if reserved {
                continue;
            }
            self.book(place, day, technician, chain.minutes);
        }
    }

    /// The first day on which somebody can do a thing at a site, beside what is booked there.
    pub(super) fn earliest(&self, place: usize, chain: &Chain, from: usize, to: usize) -> Option<(usize, usize)> {
        let site = self.site(place);
        let others = self.others_need(place);
        for day in from..=to.min(self.work.days - 1) {
            let allowed = site.access[chain.access][day];
            if allowed < chain.minutes {
                continue;
            }
            let there: Vec<usize> =
                self.booked[place].iter().filter(|(booked, _)| *booked == day).map(|(_, person)| *person).collect();
            let minutes_here: u32 =
                there.iter().flat_map(|p| self.diary.of(*p, day)).filter(|b| b.site == place).map(|b| b.minutes).sum();
            let can = |person: &usize| {
                let technician = &self.diary.technicians()[*person];
                let booked = self.diary.of(*person, day);
                let trip = booked.iter().filter(|b| b.way.area == site.way.area).map(|b| b.way.minutes).max();
                let way = site.way.minutes.saturating_sub(trip.unwrap_or(0));
                let changeover: u32 = booked.iter().filter(|b| b.changeover).map(|b| b.minutes).sum();
                technician.minutes[day] > 0
                    && chain.skills & !technician.skills == 0
                    && self.diary.taken(*person, day) + way + chain.minutes <= technician.minutes[day]
                    && minutes_here + chain.minutes <= allowed
                    && (!site.changeover[day] || changeover + chain.minutes <= CHANGEOVER_MINUTES)
            };
            let person = if there.is_empty() {
                (0..self.people.len()).filter(can).max_by_key(|person| {
                    let technician = &self.diary.technicians()[*person];
                    let also = (technician.skills & others).count_ones();
                    (also, technician.minutes[day] - self.diary.taken(*person, day), std::cmp::Reverse(*person))
                })
            } else {
                there.into_iter().find(can)
            };
            if let Some(person) = person {
                return Some((day, person));
            }
        }
        None
    }

    /// The skills that what is urgent at a site needs.
    fn others_need(&self, place: usize) -> u64 {
        self.site(place).chains.iter().filter(|c| c.urgent.is_some()).fold(0, |all, c| all | c.skills)
    }
}
