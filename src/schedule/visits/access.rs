//! On which days can a site be visited, and for how long: open, on a day of the week it allows, and not while guests
//! stay on. On a changeover there is the time between 10:00 and 16:00.

use chrono::{Datelike, NaiveDate};

use super::diary::CHANGEOVER_MINUTES;
use crate::calendar::{days_between, plus_days};
use crate::records::{Site, Spa};

/// Minutes of a day nobody has to share with guests: all of it.
const WHOLE_DAY: u32 = 24 * 60;

/// The days of a site's plan.
#[derive(Debug, Clone)]
pub struct Access {
    /// The minutes that may be worked on each day: of the site as a whole first, then of each spa in order; last, if a
    /// season closes the site, of closing it up, which the first days of the season still allow.
    pub lists: Vec<Vec<u32>>,
    /// Which days are changeovers.
    pub changeover: Vec<bool>,
    /// Closed seasons by day, both ends counted.
    pub closed: Vec<(i64, i64)>,
    /// Which days are days of the week the site can be visited on, closed or not.
    pub visit_day: Vec<bool>,
}

/// Days of a closed season within which a site that found no day before it is still closed up: common practice, no source.
pub const CLOSING_LATE_DAYS: i64 = 14;
/// Days before a closed season within which a site is closed up: common practice, no source.
pub const CLOSING_DAYS: i64 = 10;

impl Access {
    /// The list of days closing goes by.
    pub fn closing(&self, spas: usize) -> usize {
        if self.lists.len() > spas + 1 { spas + 1 } else { 0 }
    }
}

/// What a day is to a spa's guests.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Guests {
    Away,
    Changing,
    Staying,
}

fn guests(spa: &Spa, start: NaiveDate, days: usize) -> Vec<Guests> {
    let mut all = vec![Guests::Away; days];
    let Some(stays) = &spa.stays else { return all };
    let index = |day: NaiveDate| days_between(start, day);
    let mut arrivals = vec![false; days];
    let mut leavings = vec![false; days];
    for (from, to) in &stays.stays {
        let (from, to) = (index(*from), index(*to));
        for day in (from + 1).max(0)..to.min(days as i64) {
            all[day as usize] = Guests::Staying;
        }
        let mark = |list: &mut Vec<bool>, day: i64| {
            if (0..days as i64).contains(&day) {
                list[day as usize] = true;
            }
        };
        mark(&mut arrivals, from);
        mark(&mut leavings, to);
    }
    for day in 0..days {
        if arrivals[day] && leavings[day] && all[day] == Guests::Away {
            all[day] = Guests::Changing;
        }
    }
    all
}

/// The days a site can be visited from `start` on.
pub fn access(site: &Site, start: NaiveDate, days: usize) -> Access {
    let closed: Vec<(i64, i64)> = site
        .closed
        .iter()
        .map(|c| (days_between(start, c.from), days_between(start, c.to)))
        .filter(|(from, to)| *to >= 0 && *from < days as i64)
        .collect();
    let visit_day: Vec<bool> = (0..days)
        .map(|index| {
            let day = plus_days(start, index as i64);
            let on_list =
                |list: &Vec<_>| list.iter().any(|d: &crate::records::fleet::Weekday| d.of_calendar() == day.weekday());
            site.visit_days.as_ref().is_none_or(on_list)
        })
        .collect();
    let is_closed = |index: usize| closed.iter().any(|(from, to)| (*from..=*to).contains(&(index as i64)));
    let open: Vec<bool> = (0..days).map(|index| visit_day[index] && !is_closed(index)).collect();
    let mut changeover = vec![false; days];
    let mut lists = vec![Vec::new()];
    for spa in &site.spas {
        let list = guests(spa, start, days)
            .into_iter()
            .enumerate()
            .map(|(day, guests)| match guests {
                _ if !open[day] => 0,
                Guests::Away => WHOLE_DAY,
                Guests::Changing => {
                    changeover[day] = true;
                    CHANGEOVER_MINUTES
                }
                Guests::Staying => 0,
            })
            .collect();
        lists.push(list);
    }
    lists[0] = (0..days)
        .map(|day| {
            let least = lists[1..].iter().map(|list: &Vec<u32>| list[day]).min();
            least.unwrap_or(if open[day] { WHOLE_DAY } else { 0 })
        })
        .collect();
    if !closed.is_empty() {
        let closing = |day: usize| {
            let near = |(from, to): &(i64, i64)| {
                (*from - CLOSING_DAYS..(*from + CLOSING_LATE_DAYS).min(*to + 1)).contains(&(day as i64))
            };
            match closed.iter().any(near) {
                true if is_closed(day) && visit_day[day] => WHOLE_DAY,
                true => lists[0][day],
                false => 0,
            }
        };
        let list = (0..days).map(closing).collect();
        lists.push(list);
    }
    Access { lists, changeover, closed, visit_day }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantities::fleet_for_tests::{day, load_with};

    #[test]
    fn guests_seasons_and_days_of_the_week_are_kept() {
        let stay = |uid: u32, from: &str, to: &str| {
            format!("BEGIN:VEVENT\r\nUID:{uid}\r\nDTSTART;VALUE=DATE:{from}\r\nDTEND;VALUE=DATE:{to}\r\nEND:VEVENT\r\n")
        };
        let stays = format!(
            "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//x//x//EN\r\n{}{}END:VCALENDAR\r\n",
            stay(1, "20261102", "20261106"),
            stay(2, "20261106", "20261109")
        );
        let files = [
            ("fleet.yaml", "{format: 1, fleet: Invented, currency: GBP, timezone: Europe/London}"),
            (
                "sites/a.yaml",
                "{format: 1, visit_days: [mon, wed, fri], closed: [{from: 2026-11-16, to: 2026-11-20}], \
                 spas: {s: {fitted: 2025-01-01}}}",
            ),
            ("bookings/a.ics", stays.as_str()),
        ];
        load_with(&files, "2026-10-31", |_, figures, _| {
            let access = access(figures.site, day("2026-11-01"), 28);
            let minutes = |date: u32| access.lists[1][date as usize - 1];
            // Monday 2nd: guests arrive, the day before that is free; Wednesday 4th: they stay; Friday 6th: they change.
            assert_eq!((minutes(1), minutes(2), minutes(3), minutes(4)), (0, 1440, 0, 0));
            assert_eq!((minutes(6), access.changeover[5]), (360, true));
            assert_eq!((minutes(9), minutes(11), minutes(13)), (1440, 1440, 1440));
            // Closed from the 16th to the 20th.
            assert_eq!((minutes(16), minutes(18), minutes(20), minutes(23)), (0, 0, 0, 1440));
            assert_eq!(access.lists[0], access.lists[1]);
        });
    }
}
