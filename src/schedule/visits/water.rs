//! When is the water to be changed again, if it is changed on a given day? The rule book's rule for changing the water,
//! and a task's own "each time guests change", asked again for every day of the plan: guests come and go, so the time
//! until the next change is another after each.
//!
//! Bookings of the coming weeks are taken as they stand. Further on they are not yet all made, so stays of a year before
//! (52 weeks, which keeps the day of the week) are expected again where nothing booked is in their way: `estimated`, and
//! said so. The longest time between two changes runs while guests are in; the water of an empty spa is not used, and
//! the rule (HSG282) is for water that is: judgement. What the rule cannot say, the book's period says.

use chrono::NaiveDate;
use uom::si::volume::{cubic_meter, gallon};

use super::chains::{Next, Why};
use crate::calendar::{add, days_between, plus_days};
use crate::limits::{Refill, RefillRule};
use crate::quantities::water_change::{bathers_per_change, drain_day};
use crate::records::{Site, Spa};
use crate::units::Period;

/// Days within which bookings are taken as complete: common practice, no source.
const BOOKED_UP_DAYS: i64 = 42;
/// Days of a year of whole weeks, after which the same stays are expected.
const WEEKS_OF_YEAR: i64 = 364;
/// Days after guests leave within which the spa is made ready, where nobody follows: common practice, no source.
pub const AFTER_GUESTS_DAYS: i64 = 3;

/// A stay, and whether it is only expected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Stay {
    /// Days counted from the first of the plan.
    from: i64,
    to: i64,
    expected: bool,
}

/// What asks for another change of the water, or another time of a task.
#[derive(Debug, Clone, Copy)]
pub struct Asked<'a> {
    /// The rule book's rule, where the task goes by it.
    pub rule: Option<&'a Refill>,
    /// Whether the task is done each time guests change.
    pub each_change: bool,
    /// The task's own longest time.
    pub at_most: Option<Period>,
    /// The share of a time before its end from which it may be done.
    pub early_share: f64,
}

/// By day of the plan, when the work is due again if it is done that day. `None` = no rule asks for it: the period alone
/// says.
pub fn again(site: &Site, spa: &Spa, start: NaiveDate, days: usize, asked: Asked) -> Option<Vec<Next>> {
    let by_group = asked.each_change || asked.rule.is_some_and(|rule| rule.rule == RefillRule::EachGroup);
    let stays = spa.stays.as_ref().map(|_| expected_stays(site, spa, start, days as i64));
    let groups = stays.as_deref().filter(|_| by_group);
    let count = asked.rule.and_then(|rule| Count::new(rule, site, spa, stays.as_deref(), start, days));
    if groups.is_none() && count.is_none() {
        return None;
    }
    let at_most_in_use = asked.rule.filter(|rule| rule.rule == RefillRule::EachGroup).and_then(|rule| rule.at_most);
    let next = |done: usize| -> Next {
        let early = |due: i64| ((due - done as i64) as f64 * asked.early_share) as i64;
        let plain = |due: i64, why: Why| {
            let due = due.max(done as i64 + 1);
            Next { first: (due - early(due).max(1)).max(done as i64 + 1) as usize, due, last: due, why }
        };
        let mut all: Vec<Next> = Vec::new();
        if let Some(groups) = groups {
            all.extend(after_group(groups, done as i64, days as i64));
            all.extend(
                at_most_in_use.and_then(|most| while_in(groups, done as i64, most)).map(|due| plain(due, Why::AtMost)),
            );
        }
        all.extend(count.as_ref().and_then(|count| count.due(done)).map(|(due, why)| plain(due, why)));
        let by_book = asked.at_most.map(|period| days_between(start, add(plus_days(start, done as i64), period)));
        all.extend(by_book.map(|due| plain(due, Why::Period)));
        let beyond = Next { first: days, due: days as i64, last: days as i64, why: Why::Period };
        all.into_iter().min_by_key(|next| (next.due, next.first)).unwrap_or(beyond)
    };
    Some((0..days).map(next).collect())
}

/// The first window between guests who leave and those who follow, from a day on.
pub fn leaving(site: &Site, spa: &Spa, start: NaiveDate, days: usize, from: NaiveDate) -> Option<Next> {
    spa.stays.as_ref()?;
    let stays = expected_stays(site, spa, start, days as i64);
    after_group(&stays, days_between(start, from) - 1, days as i64)
}

/// The window behind the first guests to leave after a day.
fn after_group(stays: &[Stay], done: i64, days: i64) -> Option<Next> {
    let leaving = stays.iter().filter(|stay| stay.to > done).min_by_key(|stay| stay.to)?;
    let follow = stays.iter().filter(|stay| !stay.expected && stay.from >= leaving.to).map(|stay| stay.from).min();
    let ready = leaving.to + AFTER_GUESTS_DAYS;
    // When guests arrive who are only expected is not known well enough to be late for them.
    let last = follow.map_or(ready, |day| day.min(ready));
    let why = if leaving.expected { Why::GuestsExpected } else { Why::Guests };
    (leaving.to < days).then(|| Next { first: leaving.to.max(0) as usize, due: last, last, why })
}

/// The day on which guests have been in for the longest time the water may stand.
fn while_in(stays: &[Stay], done: i64, most: Period) -> Option<i64> {
    let most = most.mean_days().round() as i64;
    stays
        .iter()
        .filter(|stay| stay.to > done)
        .map(|stay| (stay.from.max(done) + most, stay.to))
        .find(|(due, to)| due < to)
        .map(|(due, _)| due)
}

/// Stays from the plan's first day on: as booked, and beyond the coming weeks also those of a year before.
fn expected_stays(site: &Site, spa: &Spa, start: NaiveDate, days: i64) -> Vec<Stay> {
    let booked = spa.stays.as_ref().map_or(&[][..], |stays| &stays.stays);
    let of = |(from, to): &(NaiveDate, NaiveDate)| (days_between(start, *from), days_between(start, *to));
    let mut all: Vec<Stay> =
        booked.iter().map(of).filter(|(_, to)| *to >= 0).map(|(from, to)| Stay { from, to, expected: false }).collect();
    let known = all.clone();
    let before = booked.iter().map(of).map(|(from, to)| (from + WEEKS_OF_YEAR, to + WEEKS_OF_YEAR));
    for (from, to) in before.filter(|(from, _)| *from >= BOOKED_UP_DAYS && *from < days) {
        let in_the_way = known.iter().any(|stay| from < stay.to && stay.from < to);
        let closed = site.is_closed(plus_days(start, from)) || site.is_closed(plus_days(start, to - 1));
        if !in_the_way && !closed {
            all.push(Stay { from, to, expected: true });
        }
    }
    all.sort_by_key(|stay| (stay.from, stay.to));
    all
}

/// The bathers of the plan's days, counted as the rule counts them.
struct Count {
    bathers: Vec<f64>,
    /// Bathers up to the beginning of each day.
    sums: Vec<f64>,
    limit: Limit,
    expected: bool,
}

/// What the count runs to.
enum Limit {
    /// So many bathers.
    Bathers(f64),
    /// The replacement interval of so many gallons.
    Interval(f64),
}

impl Count {
    fn new(
        rule: &Refill,
        site: &Site,
        spa: &Spa,
        stays: Option<&[Stay]>,
        start: NaiveDate,
        days: usize,
    ) -> Option<Self> {
        let volume = spa.volume?;
        let a_day = spa.bathers?;
        let limit = match rule.rule {
            RefillRule::EachGroup => return None,
            RefillRule::BathersPerVolume => {
                Limit::Bathers(bathers_per_change(volume.0.get::<cubic_meter>(), rule.bathers_per_m3?.0))
            }
            RefillRule::ReplacementInterval => Limit::Interval(volume.0.get::<gallon>()),
        };
        let mut bathers = vec![if stays.is_some() { 0.0 } else { a_day }; days];
        for stay in stays.unwrap_or_default() {
            // The day of leaving counts too: people bathe before they go.
            for day in stay.from.max(0)..=stay.to.min(days as i64 - 1) {
                bathers[day as usize] = a_day;
            }
        }
        for (day, bathers) in bathers.iter_mut().enumerate() {
            if site.is_closed(plus_days(start, day as i64)) {
                *bathers = 0.0;
            }
        }
        let mut sums = vec![0.0];
        for today in &bathers {
            sums.push(sums.last().copied().unwrap_or(0.0) + today);
        }
        let expected = stays.is_some_and(|stays| stays.iter().any(|stay| stay.expected));
        Some(Self { bathers, sums, limit, expected })
    }

    /// The evening on which the water is to be changed that was changed on a day, if that is within the plan.
    fn due(&self, done: usize) -> Option<(i64, Why)> {
        let days = self.bathers.len();
        let due = match self.limit {
            Limit::Bathers(limit) => {
                let from = self.sums[(done + 1).min(days)];
                let place = self.sums.partition_point(|sum| sum - from < limit - 1e-9);
                (place <= days).then(|| place as i64 - 1)
            }
            Limit::Interval(gallons) => {
                drain_day(gallons, self.bathers[(done + 1).min(days)..].iter().copied()).map(|day| (done + day) as i64)
            }
        }?;
        Some((due, if self.expected { Why::BathersExpected } else { Why::Bathers }))
    }
}

#[cfg(test)]
mod tests;
