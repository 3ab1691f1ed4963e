//! What the programs of a pump say it should run, day by day, as stretches of equal days.
//!
//! Seasons, occupied nights, closed seasons and days out of service are all edges of stretches; no
//! day is ever looked at alone.

use chrono::{Months, NaiveDate};

use crate::calendar::{days_between, plus_days};
use crate::records::forms::Date;
use crate::records::tubs::{ProgramFile, Speed};
use crate::records::{Pump, Site, Spa};
use crate::units::Daily;

/// Days of one program, both ends counted.
#[derive(Debug, Clone, PartialEq)]
pub struct Stretch {
    /// The first day.
    pub from: NaiveDate,
    /// The last day.
    pub to: NaiveDate,
    /// Hours a day at each speed the program names; `None` where no program holds.
    pub hours: Option<DailyHours>,
    /// Whether programs stand still: a closed season, or out of service.
    pub still: bool,
    /// Whether the program depends on occupation and that is not known.
    pub occupation_unknown: bool,
}

/// Hours a day at each speed a program names. Kept in place: a fleet has millions of stretches.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct DailyHours {
    run: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
}

impl DailyHours {
    /// By speed.
    pub fn iter(&self) -> impl Iterator<Item = (Speed, f64)> + use<> {
        let speeds = [(Speed::Run, self.run), (Speed::Low, self.low), (Speed::High, self.high)];
        speeds.into_iter().filter_map(|(speed, hours)| Some((speed, hours?)))
    }

    /// At a speed, or at all of them; nothing where it names none.
    fn at(&self, speed: Speed) -> f64 {
        match speed {
            Speed::All => self.run.unwrap_or(0.0) + self.low.unwrap_or(0.0) + self.high.unwrap_or(0.0),
            Speed::Run => self.run.unwrap_or(0.0),
            Speed::Low => self.low.unwrap_or(0.0),
            Speed::High => self.high.unwrap_or(0.0),
        }
    }

    /// The same speeds, all at rest.
    fn at_rest(self) -> Self {
        let rest = |hours: Option<f64>| hours.map(|_| 0.0);
        Self { run: rest(self.run), low: rest(self.low), high: rest(self.high) }
    }
}

impl Stretch {
    /// How many days.
    pub fn days(&self) -> f64 {
        (days_between(self.from, self.to) + 1) as f64
    }

    /// Hours a day at a speed; nothing where it names none.
    pub fn at(&self, speed: Speed) -> f64 {
        self.hours.map_or(0.0, |hours| hours.at(speed))
    }
}

/// The stretches of a pump's programs from one day to another, both counted, without gaps, as they were known on a day: what
/// stands still later is known from closed seasons alone.
pub fn stretches(
    site: &Site,
    spa: &Spa,
    pump: &Pump,
    (from, to): (NaiveDate, NaiveDate),
    known_on: NaiveDate,
) -> Vec<Stretch> {
    if to < from {
        return Vec::new();
    }
    let still = standing_still(site, spa, pump, to.min(known_on));
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
            let hours = daily(program, is_occupied.unwrap_or(false));
            if stands_still { hours.at_rest() } else { hours }
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

/// So many days a season may begin earlier or later than the year before: assumed.
const SEASON_SHIFT_DAYS: i64 = 31;
/// A program in force for fewer days was a trial and no season: assumed.
const LEAST_SEASON_DAYS: i64 = 28;

/// The programs expected to hold after a day: those that hold by then, and where they change with the season, last year's
/// changes again.
///
/// They change with the season if the program of the day is that of a year before, about the same day, and another
/// has held in between.
pub fn expected(programs: &[ProgramFile], day: NaiveDate) -> Vec<ProgramFile> {
    let mut known: Vec<ProgramFile> =
        programs.iter().filter(|program| program.from.is_none_or(|from| from.0 <= day)).copied().collect();
    let year_ago = day - Months::new(12);
    let Some(now) = known.last().map(|program| ProgramFile { from: None, ..*program }) else { return known };
    // Each with the last day before the next begins.
    let ends = known.iter().skip(1).map(|next| next.from.map_or(day, |from| plus_days(from.0, -1))).chain([day]);
    let stretches: Vec<(ProgramFile, NaiveDate, NaiveDate)> = known
        .iter()
        .zip(ends)
        .map(|(program, last)| (*program, program.from.map_or(NaiveDate::MIN, |from| from.0), last))
        .collect();
    let is_now = |program: &ProgramFile| ProgramFile { from: None, ..*program } == now;
    let stood_a_year_ago = stretches.iter().any(|(program, first, last)| {
        is_now(program)
            && *first <= plus_days(year_ago, SEASON_SHIFT_DAYS)
            && *last >= plus_days(year_ago, -SEASON_SHIFT_DAYS)
    });
    let other_between = stretches.iter().any(|(program, first, last)| {
        !is_now(program) && days_between((*first).max(year_ago), *last) >= LEAST_SEASON_DAYS
    });
    if stood_a_year_ago && other_between {
        let again: Vec<ProgramFile> = stretches
            .iter()
            .filter(|(_, first, _)| *first > year_ago)
            .map(|(program, first, _)| ProgramFile { from: Some(Date(*first + Months::new(12))), ..*program })
            .collect();
        known.extend(again);
    }
    known
}

/// Hours a day at each speed a program names, with or without guests.
pub fn hours_on(program: &ProgramFile, occupied: bool) -> Vec<(Speed, f64)> {
    daily(program, occupied).iter().collect()
}

fn daily(program: &ProgramFile, occupied: bool) -> DailyHours {
    let hours = |base: Option<Daily>, guests: Option<Daily>| match (base, guests) {
        (_, Some(guests)) if occupied => Some(guests.hours),
        (Some(base), _) => Some(base.hours),
        // A speed that only guests bring.
        (None, Some(_)) => Some(0.0),
        (None, None) => None,
    };
    let (base, guests) = (program.base(), program.occupied.unwrap_or_default());
    DailyHours {
        run: hours(base.run, guests.run),
        low: hours(base.low, guests.low),
        high: hours(base.high, guests.high),
    }
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
