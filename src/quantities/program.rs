//! What the programs of a pump say it should run, day by day, as stretches of equal days.
//!
//! Seasons, occupied nights, closed seasons and days out of service are all edges of stretches; no
//! day is ever looked at alone.

use chrono::NaiveDate;

use crate::calendar::{days_between, plus_days};
use crate::records::tubs::{ProgramFile, Speed};
use crate::records::{Pump, Site, Spa};

/// Days of one program, both ends counted.
#[derive(Debug, Clone, PartialEq)]
pub struct Stretch {
    /// The first day.
    pub from: NaiveDate,
    /// The last day.
    pub to: NaiveDate,
    /// Hours a day at each speed the program names; `None` where no program holds.
    pub hours: Option<Vec<(Speed, f64)>>,
    /// Whether programs stand still: a closed season, or out of service.
    pub still: bool,
    /// Whether the program depends on occupation and that is not known.
    pub occupation_unknown: bool,
}

impl Stretch {
    /// How many days.
    pub fn days(&self) -> f64 {
        (days_between(self.from, self.to) + 1) as f64
    }

    /// Hours a day at a speed; nothing where it names none.
    pub fn at(&self, speed: Speed) -> f64 {
        let hours = self.hours.iter().flatten();
        if speed == Speed::All {
            hours.map(|(_, h)| h).sum()
        } else {
            hours.filter(|(s, _)| *s == speed).map(|(_, h)| h).sum()
        }
    }
}

/// The stretches of a pump's programs from one day to another, both counted, without gaps.
pub fn stretches(site: &Site, spa: &Spa, pump: &Pump, from: NaiveDate, to: NaiveDate) -> Vec<Stretch> {
    if to < from {
        return Vec::new();
    }
    let still = standing_still(site, spa, pump, to);
    let depends = pump.programs.iter().any(|p| p.occupied.is_some());
    let occupied = if depends { spa.stays.as_ref().map(|s| s.occupied()) } else { None };
    let mut edges = vec![from];
    let mut edge = |day: NaiveDate| {
        if day > from && day <= to {
            edges.push(day);
        }
    };
    for program in &pump.programs {
        if let Some(start) = program.from {
            edge(start.0);
        }
    }
    for (first, last) in &still {
        edge(*first);
        edge(plus_days(*last, 1));
    }
    for (first, leaving) in occupied.iter().flatten() {
        edge(*first);
        edge(*leaving);
    }
    edges.sort_unstable();
    edges.dedup();
    let mut all: Vec<Stretch> = Vec::with_capacity(edges.len());
    for (index, first) in edges.iter().enumerate() {
        let last = edges.get(index + 1).map_or(to, |next| plus_days(*next, -1));
        let program = in_force(&pump.programs, *first);
        let stands_still = still.iter().any(|(from, to)| (*from..=*to).contains(first));
        let is_occupied = occupied.as_ref().map(|o| crate::records::bookings::is_within(o, *first));
        let hours = program.map(|program| {
            let hours = hours_on(program, is_occupied.unwrap_or(false));
            if stands_still { hours.into_iter().map(|(speed, _)| (speed, 0.0)).collect() } else { hours }
        });
        let occupation_unknown =
            !stands_still && is_occupied.is_none() && program.is_some_and(|program| program.occupied.is_some());
        let stretch = Stretch { from: *first, to: last, hours, still: stands_still, occupation_unknown };
        match all.last_mut() {
            Some(before)
                if before.hours == stretch.hours
                    && before.still == stands_still
                    && before.occupation_unknown == occupation_unknown =>
            {
                before.to = last;
            }
            _ => all.push(stretch),
        }
    }
    all
}

/// The program in force on a day: the last that has begun.
pub fn in_force(programs: &[ProgramFile], day: NaiveDate) -> Option<&ProgramFile> {
    programs.iter().rev().find(|p| p.from.is_none_or(|from| from.0 <= day))
}

/// Hours a day at each speed a program names, with or without guests.
pub fn hours_on(program: &ProgramFile, occupied: bool) -> Vec<(Speed, f64)> {
    let mut hours: Vec<(Speed, f64)> = program.base().named().collect();
    if let Some(with_guests) = &program.occupied {
        for (speed, daily) in with_guests.named() {
            match hours.iter_mut().find(|(s, _)| *s == speed) {
                Some((_, base)) if occupied => *base = daily,
                Some(_) => {}
                None => hours.push((speed, if occupied { daily } else { 0.0 })),
            }
        }
    }
    hours
}

/// The stretches on which programs stand still: closed seasons and days out of service, as told up to a day.
fn standing_still(site: &Site, spa: &Spa, pump: &Pump, until: NaiveDate) -> Vec<(NaiveDate, NaiveDate)> {
    let mut still: Vec<(NaiveDate, NaiveDate)> = site.closed.iter().map(|c| (c.from, c.to)).collect();
    for at in [&pump.at, &spa.at] {
        for (_, visit, entry) in site.entries(at).filter(|(_, visit, _)| visit.date.0 <= until) {
            if let Some(down) = entry.down {
                let days = down.mean_days().round() as i64;
                if days > 0 {
                    still.push((plus_days(visit.date.0, 1 - days), visit.date.0));
                }
            }
        }
    }
    still
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn guests_change_only_the_speeds_named() {
        let program: ProgramFile =
            serde_yaml::from_str("{low: 20 h/day, high: 10 min/day, occupied: {high: 1 h/day}}").unwrap();
        assert_eq!(hours_on(&program, true), [(Speed::Low, 20.0), (Speed::High, 1.0)]);
        let away = hours_on(&program, false);
        assert!((away[1].1 - 1.0 / 6.0).abs() < 1e-12);
        let only: ProgramFile = serde_yaml::from_str("{occupied: {high: 40 min/day}}").unwrap();
        assert_eq!(hours_on(&only, false), [(Speed::High, 0.0)]);
    }
}
