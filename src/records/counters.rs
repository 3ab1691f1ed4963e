//! The counters of a pump put in order: which readings belong to one uninterrupted count, where a
//! counter was reset, rolled over or exchanged, and which readings cannot be right.
//!
//! What is implausible is set aside, never altered: the fewest readings that restore order, of two
//! equal choices the later.

use chrono::NaiveDate;
use uom::si::time::hour;

use crate::address::Address;
use crate::basis::Source;
use crate::calendar::days_between;
use crate::diagnostic::Rule;
use crate::records::log::{CounterReset, Quantity, TypedUnits};
use crate::records::pumps::{Model, Speeds};
use crate::records::tubs::Speed;
use crate::records::{Fleet, MinuteOfDay, Pump, ReadingRow, Record, Site};
use crate::units::{Duration, Typed};

/// A reading of a counter, unrolled: it only rises within a count. A fleet has millions, so it is kept narrow.
#[derive(Debug, Clone, Copy)]
pub struct Point {
    /// Hours since the count's own zero, rollovers added.
    pub hours: f64,
    /// Where it was written.
    pub record: Record,
    /// The day, at whose end it holds.
    pub day: NaiveDate,
    /// When on that day, if known.
    pub minute: Option<MinuteOfDay>,
    /// The counter that shows it.
    pub quantity: Quantity,
}

impl Point {
    /// The record it came from, for a pump at a site.
    pub fn source(&self, site: &Site, at: &Address) -> Source {
        self.record.source(site, at, self.quantity)
    }
}

/// An uninterrupted count of one counter on one unit.
#[derive(Debug, Clone, Default)]
pub struct Count {
    /// Sound readings in order, at most one a day.
    pub points: Vec<Point>,
    /// Days between its readings of which it says less than it seems to, in order.
    pub doubts: Vec<Doubt>,
    /// The number of the unit it belongs to: 0 for the first pump at the address, then one more with each exchange.
    pub unit: usize,
}

/// Days between two sound readings of which the count says less than it seems to.
#[derive(Debug, Clone, Copy)]
pub struct Doubt {
    /// The reading at whose day's end they begin.
    pub first: Point,
    /// The reading at whose day's end they end.
    pub last: Point,
    /// Why.
    pub why: Why,
}

/// Why days between two sound readings are in doubt.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// A reading between them was set aside: their difference is used, and is no measurement.
    SetAside,
    /// The counter looks set back between them: their difference says nothing.
    LooksReset,
    /// The count runs faster than time and its excess finds no room on any day.
    TooFast,
    /// They are so many that the counter may have turned over once more than it shows, and it would have run rather as
    /// the program or its other readings say: their difference says nothing.
    TurnUnsure,
}

/// A reading that cannot be right beside the others.
#[derive(Debug, Clone)]
pub struct SetAside {
    /// The reading.
    pub reading: Point,
    /// What is wrong with it.
    pub rule: Rule,
    /// The reading it contradicts.
    pub against: Option<Point>,
    /// The first of the readings set aside one after the other that agree among themselves, as after a reset or before
    /// one, and how many they are. It stands at the first of them; the others have `Some` with 0.
    pub agreeing: Option<usize>,
}

/// The counters of the pumps that have stood at an address.
#[derive(Debug, Clone)]
pub struct Counters {
    /// Counts by the speed they count; `All` is one counter for two speeds.
    pub counts: Vec<(Speed, Vec<Count>)>,
    /// The days of exchange, in order.
    pub exchanges: Vec<NaiveDate>,
    /// The day it was removed for good.
    pub removed: Option<NaiveDate>,
    /// Readings set aside.
    pub set_aside: Vec<SetAside>,
}

impl Why {
    /// Whether the difference of the readings says nothing at all.
    pub fn says_nothing(self) -> bool {
        matches!(self, Self::LooksReset | Self::TurnUnsure)
    }
}

impl Counters {
    /// Where a counter may have turned over unseen.
    pub fn turns_unsure(&self) -> impl Iterator<Item = &Doubt> {
        let counts = self.counts.iter().flat_map(|(_, counts)| counts);
        counts.flat_map(|count| &count.doubts).filter(|doubt| doubt.why == Why::TurnUnsure)
    }

    /// Where a counter runs faster than time.
    pub fn too_fast(&self) -> impl Iterator<Item = &Doubt> {
        let counts = self.counts.iter().flat_map(|(_, counts)| counts);
        counts.flat_map(|count| &count.doubts).filter(|doubt| doubt.why == Why::TooFast)
    }
}

/// Hours a counter may seem to gain by the time of day, where no time is written: visits fall
/// within a working day.
const WORKING_DAY_HOURS: f64 = 8.0;
/// Hours a counter may seem to gain by rounding.
const ROUNDING_HOURS: f64 = 1.0;
/// So many readings set aside that agree among themselves are no slips of the pen: the counter was set back.
const AGREEING_READINGS: usize = 2;

/// Puts a pump's counters in order.
pub fn counters(fleet: &Fleet, site: &Site, pump: &Pump) -> Counters {
    counters_with(fleet, site, pump, NaiveDate::MAX, &[])
}

/// Whether a pump's counters are in order at a glance: no reset, no exchange, no reading that falls back or runs ahead.
/// Where that cannot be seen so cheaply it says no, and [`counters`] tells.
pub fn plainly_sound(site: &Site, pump: &Pump) -> bool {
    let events = |entry: &crate::records::log::Entry| entry.exchanged.is_some() || entry.meter_reset.is_some();
    let Some(rows) = site.readings.get(&pump.at) else { return true };
    // What was read last of each counter, and the least it was behind time.
    let mut last: [Option<(NaiveDate, f64, f64)>; 3] = [None; 3];
    let turn = turn_of(pump);
    let at_fitting = pump.meter.and_then(|meter| meter.at_fitting).map(|shown| shown.0.get::<hour>());
    last[0] = exact_day(pump).zip(at_fitting).map(|(day, hours)| (day, hours, 0.0));
    for row in rows {
        let of = match row.quantity {
            Quantity::Hours => 0,
            Quantity::HoursLow => 1,
            Quantity::HoursHigh => 2,
            _ => continue,
        };
        let Some((day, hours, behind)) = last[of] else {
            last[of] = Some((row.day, row.value, 0.0));
            continue;
        };
        let gained = row.value - hours;
        let ahead = behind + gained - 24.0 * days_between(day, row.day) as f64;
        if gained < 0.0 || ahead > ROUNDING_HOURS || day == row.day && gained > 0.0 {
            return false;
        }
        let most = 24.0 * days_between(day, row.day) as f64 + WORKING_DAY_HOURS + ROUNDING_HOURS;
        if turn.is_some_and(|turn| gained + turn <= most) {
            return false;
        }
        last[of] = Some((row.day, row.value, ahead.max(0.0)));
    }
    !site.entries(&pump.at).any(|(_, _, entry)| events(entry))
}

/// The same from what is dated up to a day, with some more readings than the records have, to see what they would
/// change.
pub fn counters_with(fleet: &Fleet, site: &Site, pump: &Pump, until: NaiveDate, more: &[ReadingRow]) -> Counters {
    let mut result = Counters { counts: Vec::new(), exchanges: Vec::new(), removed: None, set_aside: Vec::new() };
    for (_, visit, entry) in site.entries(&pump.at).filter(|(_, visit, _)| visit.date.0 <= until) {
        if entry.exchanged.is_some() {
            result.exchanges.push(visit.date.0);
        }
        if entry.removed == Some(true) {
            result.removed = Some(visit.date.0);
        }
    }
    result.exchanges.sort_unstable();
    result.exchanges.dedup();
    let models = match result.exchanges.as_slice() {
        [] => vec![(NaiveDate::MIN, fleet.model(pump))],
        _ => fleet.models_at(site, pump),
    };
    let two_speeds = |unit: usize| {
        let since = unit.checked_sub(1).and_then(|exchange| result.exchanges.get(exchange)).copied();
        let there = models.iter().rev().find(|(day, _)| since.map_or(*day == NaiveDate::MIN, |since| *day <= since));
        is_two_speed(pump, there.and_then(|(_, model)| *model))
    };
    let two_speeds: Vec<bool> = (0..=result.exchanges.len()).map(two_speeds).collect();
    let typed = fleet.typed_units();
    for quantity in [Quantity::Hours, Quantity::HoursLow, Quantity::HoursHigh] {
        let counts = counts_of(site, pump, quantity, &typed, until, more, &mut result);
        // One counter of a pump with two speeds counts both.
        let speed_of = |count: &Count| match quantity {
            Quantity::HoursLow => Speed::Low,
            Quantity::HoursHigh => Speed::High,
            _ if two_speeds.get(count.unit) == Some(&true) => Speed::All,
            _ => Speed::Run,
        };
        for count in counts.into_iter().filter(|count| !count.points.is_empty()) {
            let speed = speed_of(&count);
            match result.counts.iter_mut().find(|(known, _)| *known == speed) {
                Some((_, counts)) => counts.push(count),
                None => result.counts.push((speed, vec![count])),
            }
        }
    }
    result
}

/// Whether a pump has two speeds: by its model, else by its programs and readings.
pub fn is_two_speed(pump: &Pump, model: Option<&Model>) -> bool {
    match model {
        Some(model) => model.speeds == Speeds::Two,
        None => pump.programs.iter().any(|p| {
            p.low.is_some() || p.high.is_some() || p.occupied.is_some_and(|o| o.low.is_some() || o.high.is_some())
        }),
    }
}

/// What happens to a counter on a day, in the order of a day: readings, then work, then `after`.
enum Event<'a> {
    Reading(&'a ReadingRow),
    Reset { day: NaiveDate, showed: Option<f64>, to: Option<f64>, visit: u32 },
    Exchange(NaiveDate),
}

impl Event<'_> {
    fn order(&self) -> (NaiveDate, u8) {
        match self {
            Self::Reading(row) => (row.day, if row.after { 3 } else { 0 }),
            Self::Exchange(day) => (*day, 1),
            Self::Reset { day, .. } => (*day, 2),
        }
    }
}

fn counts_of(
    site: &Site,
    pump: &Pump,
    quantity: Quantity,
    typed: &TypedUnits,
    until: NaiveDate,
    more: &[ReadingRow],
    result: &mut Counters,
) -> Vec<Count> {
    let hours =
        |written: Option<Typed<Duration>>| written.and_then(|t| t.with_default(typed.hours)).map(|d| d.0.get::<hour>());
    let more = more.iter().filter(|row| row.quantity == quantity);
    let recorded = site.readings_of(&pump.at, quantity).take_while(|row| row.day <= until);
    let mut events: Vec<Event> = recorded.chain(more).map(Event::Reading).collect();
    for (index, visit, entry) in site.entries(&pump.at).filter(|(_, visit, _)| visit.date.0 <= until) {
        if entry.exchanged.is_some() {
            events.push(Event::Exchange(visit.date.0));
        }
        if let Some(reset) = &entry.meter_reset {
            let one = CounterReset { showed: reset.showed, to: reset.to };
            let own = match quantity {
                Quantity::Hours if reset.low.is_none() && reset.high.is_none() => Some(one),
                Quantity::HoursLow => reset.low,
                Quantity::HoursHigh => reset.high,
                _ => None,
            };
            if let Some(own) = own {
                events.push(Event::Reset {
                    day: visit.date.0,
                    showed: hours(own.showed),
                    to: hours(own.to),
                    visit: index,
                });
            }
        }
    }
    // Stable: readings of one day keep the order of their times.
    events.sort_by_key(Event::order);
    let mut counts = vec![Count::default()];
    if let (Some(at_fitting), Some(day), Quantity::Hours) =
        (pump.meter.and_then(|m| m.at_fitting), exact_day(pump), quantity)
    {
        let hours = at_fitting.0.get::<hour>();
        counts[0].points.push(Point { hours, record: Record::AtFitting, day, minute: None, quantity });
    }
    let mut unit = 0;
    let mut exchanged_today = None;
    for event in events {
        match event {
            Event::Reading(row) => {
                let ReadingRow { value, record, day, minute, .. } = *row;
                push(&mut counts, Point { hours: value, record, day, minute, quantity });
            }
            Event::Exchange(day) => {
                unit += 1;
                exchanged_today = Some((day, counts.len() - 1));
                counts.push(Count { unit, ..Count::default() });
            }
            Event::Reset { day, showed, to, visit } => {
                let shows = |hours| Point { hours, record: Record::Reset(visit), day, minute: None, quantity };
                // What the counter showed belongs to the count it ends, also when the pump went with it.
                let ended = match exchanged_today {
                    Some((exchange, index)) if exchange == day => index,
                    _ => counts.len() - 1,
                };
                if let Some(showed) = showed {
                    counts[ended].points.push(shows(showed));
                }
                if ended == counts.len() - 1 {
                    counts.push(Count { unit, ..Count::default() });
                }
                if let Some(to) = to {
                    push(&mut counts, shows(to));
                }
            }
        }
    }
    for count in &mut counts {
        unroll(&mut count.points, turn_of(pump));
        let aside_before = result.set_aside.len();
        keep_sound(&mut count.points, &mut result.set_aside);
        count.doubts = doubts(&count.points, &result.set_aside[aside_before..]);
        if let Some(turn) = turn_of(pump) {
            let unsure = turns_unsure(&count.points, turn, |from, to| programmed(site, pump, quantity, from, to));
            count.doubts.extend(unsure);
            count.doubts.sort_by_key(|doubt| (doubt.first.day, doubt.last.day));
        }
    }
    counts
}

/// The stretches on which a counter may have turned over once more than it shows, and would then have run rather as
/// expected: as the program says, else as its other readings do. Where neither says anything nobody can tell.
fn turns_unsure(
    points: &[Point],
    turn: f64,
    programmed: impl Fn(NaiveDate, NaiveDate) -> Option<f64>,
) -> impl Iterator<Item = Doubt> {
    /// So many days of other readings say how much it runs: assumed.
    const ENOUGH_DAYS: i64 = 30;
    let once_more = |pair: &[Point]| pair[1].hours - pair[0].hours + turn <= most_between(&pair[0], &pair[1]);
    let unsure: Vec<&[Point]> = points.windows(2).filter(|pair| once_more(pair)).collect();
    let (mut hours, mut days) = (0.0, 0);
    if !unsure.is_empty() {
        for pair in points.windows(2).filter(|pair| !once_more(pair)) {
            hours += pair[1].hours - pair[0].hours;
            days += days_between(pair[0].day, pair[1].day);
        }
    }
    let rate = (days >= ENOUGH_DAYS).then(|| hours / days as f64);
    let as_expected = |pair: &&[Point]| {
        let (from, to) = (pair[0].day, pair[1].day);
        let expected = programmed(from, to).or(rate.map(|rate| rate * days_between(from, to) as f64));
        expected.is_some_and(|expected| expected <= pair[1].hours - pair[0].hours + turn / 2.0)
    };
    let found: Vec<Doubt> = unsure
        .into_iter()
        .filter(|pair| !as_expected(pair))
        .map(|pair| Doubt { first: pair[0], last: pair[1], why: Why::TurnUnsure })
        .collect();
    found.into_iter()
}

/// Hours of a counter's speeds by the programs from the end of one day to the end of another; `None` where they do not
/// say, or only with the nights guests were in.
fn programmed(site: &Site, pump: &Pump, quantity: Quantity, from: NaiveDate, to: NaiveDate) -> Option<f64> {
    if pump.usual_program || pump.programs.iter().any(|program| program.occupied.is_some()) {
        return None;
    }
    let begins = |index: usize| pump.programs.get(index).and_then(|program| program.from).map(|from| from.0);
    let first = crate::calendar::plus_days(from, 1);
    if pump.programs.is_empty() || begins(0).is_some_and(|begins| begins > first) {
        return None;
    }
    let hours = pump.programs.iter().enumerate().map(|(index, program)| {
        let first = begins(index).unwrap_or(first).max(first);
        let last = begins(index + 1).map_or(to, |next| crate::calendar::plus_days(next, -1)).min(to);
        if first > last {
            return 0.0;
        }
        let base = program.base();
        let counted = base.named().filter(|(speed, _)| match quantity {
            Quantity::HoursLow => *speed == Speed::Low,
            Quantity::HoursHigh => *speed == Speed::High,
            _ => true,
        });
        let days = days_between(first, last) + 1 - site.closed_days(first, last);
        counted.map(|(_, hours)| hours).sum::<f64>() * days as f64
    });
    Some(hours.sum())
}

fn push(counts: &mut [Count], point: Point) {
    if let Some(count) = counts.last_mut() {
        count.points.push(point);
    }
}

fn exact_day(pump: &Pump) -> Option<NaiveDate> {
    if pump.fitted.is_exact() { pump.fitted.earliest() } else { None }
}

/// Hours after which a pump's counter rolls over, if its digits are written.
pub fn turn_of(pump: &Pump) -> Option<f64> {
    let digits = pump.meter.and_then(|meter| meter.digits).filter(|digits| (1..=12).contains(digits))?;
    Some(10f64.powi(digits as i32))
}

/// Adds what a counter lost when it rolled over.
fn unroll(points: &mut [Point], turn: Option<f64>) {
    let Some(span) = turn else { return };
    let mut offset = 0.0;
    for index in 1..points.len() {
        let (before, after) = points.split_at_mut(index);
        let (earlier, before) = before.split_at(index - 1);
        let (before, point) = (&before[0], &mut after[0]);
        let shown = point.hours + offset;
        let rolled_over = shown < before.hours && shown + span - before.hours <= most_between(before, point);
        // Where the reading before is the odd one out, it is that which is wrong.
        let odd = earlier.last().is_some_and(|sound: &Point| {
            let here = Point { hours: shown, ..*point };
            !follows(sound, before) && follows(sound, &here)
        });
        if rolled_over && !odd {
            offset += span;
        }
        point.hours += offset;
    }
}

/// The most hours a counter can gain between two readings.
fn most_between(before: &Point, after: &Point) -> f64 {
    let days = days_between(before.day, after.day) as f64;
    let time_of_day = match (before.minute, after.minute) {
        (Some(before), Some(after)) => (f64::from(after.minutes()) - f64::from(before.minutes())) / 60.0,
        _ if days > 0.0 => WORKING_DAY_HOURS,
        _ => 0.0,
    };
    days * 24.0 + time_of_day.max(0.0) + ROUNDING_HOURS
}

fn follows(before: &Point, after: &Point) -> bool {
    let gained = after.hours - before.hours;
    gained >= -1e-9 && gained <= most_between(before, after)
}

/// The longest run of points each of which follows the last; the others are set aside. Of two runs
/// of one length the one that keeps the earlier points.
fn keep_sound(points: &mut Vec<Point>, set_aside: &mut Vec<SetAside>) {
    /// Where order is broken, so many points are looked at together: more would take long and help little.
    const WINDOW: usize = 2000;
    if points.windows(2).all(|pair| follows(&pair[0], &pair[1])) {
        keep_one_a_day(points);
        return;
    }
    let mut kept: Vec<Point> = Vec::with_capacity(points.len());
    let all = std::mem::take(points);
    let mut together: Vec<SetAside> = Vec::new();
    for window in all.chunks(WINDOW) {
        let longest = longest_run(kept.last(), window);
        for (index, point) in window.iter().enumerate() {
            if longest.binary_search(&index).is_ok() {
                set_aside.extend(told_together(std::mem::take(&mut together)));
                kept.push(*point);
                continue;
            }
            let before = kept.last();
            let after = longest.iter().find(|kept| **kept > index).map(|next| &window[*next]);
            let against = match (before, after) {
                (Some(before), _) if !follows(before, point) => Some(before),
                (_, Some(after)) if !follows(point, after) => Some(after),
                (before, _) => before,
            };
            let rule = match against {
                Some(other) if other.day == point.day => Rule::ReadingsContradict,
                Some(other) if (other.day < point.day) == (point.hours < other.hours) => Rule::CounterBackwards,
                _ => Rule::CounterTooFast,
            };
            together.push(SetAside { reading: *point, rule, against: against.copied(), agreeing: None });
        }
    }
    set_aside.extend(told_together(together));
    *points = kept;
    keep_one_a_day(points);
}

/// Marks readings set aside one after the other that run backwards and agree among themselves.
fn told_together(mut aside: Vec<SetAside>) -> Vec<SetAside> {
    let backwards = aside.iter().all(|a| a.rule == Rule::CounterBackwards);
    let agree = aside
        .windows(2)
        .all(|pair| pair[0].reading.day < pair[1].reading.day && follows(&pair[0].reading, &pair[1].reading));
    if aside.len() >= AGREEING_READINGS && backwards && agree {
        let count = aside.len();
        for (index, one) in aside.iter_mut().enumerate() {
            one.agreeing = Some(if index == 0 { count } else { 0 });
        }
    }
    aside
}

/// The days of a count that are in doubt: those across readings that were set aside, and those on which it runs faster
/// than time. Between one pair of readings a counter may seem to gain some hours by the times of day they were taken
/// at; over all of them it gains those once and no more.
fn doubts(points: &[Point], set_aside: &[SetAside]) -> Vec<Doubt> {
    let mut found: Vec<Doubt> = Vec::new();
    for aside in set_aside {
        let after = points.partition_point(|point| point.day <= aside.reading.day);
        let (Some(before), Some(last)) = (points[..after].last(), points.get(after)) else { continue };
        // One of a day that has a sound reading lies within no days.
        if before.day == aside.reading.day || found.last().is_some_and(|known| known.last.day == last.day) {
            continue;
        }
        let why = if aside.agreeing.is_some() { Why::LooksReset } else { Why::SetAside };
        found.push(Doubt { first: *before, last: *last, why });
    }
    let ahead = |point: &Point| point.hours - 24.0 * days_between(points[0].day, point.day) as f64;
    let (mut lowest, mut index) = (0, 1);
    while index < points.len() {
        let slack = points[index].minute.map_or(0.0, |m| f64::from(m.minutes()) / 60.0).max(WORKING_DAY_HOURS);
        if ahead(&points[index]) - ahead(&points[lowest]) > slack + ROUNDING_HOURS {
            while index + 1 < points.len() && ahead(&points[index + 1]) > ahead(&points[index]) {
                index += 1;
            }
            found.push(Doubt { first: points[lowest], last: points[index], why: Why::TooFast });
            lowest = index;
        } else if ahead(&points[index]) <= ahead(&points[lowest]) {
            lowest = index;
        }
        index += 1;
    }
    found.sort_by_key(|doubt| (doubt.first.day, doubt.last.day));
    found
}

fn longest_run(before: Option<&Point>, window: &[Point]) -> Vec<usize> {
    let mut length = vec![1usize; window.len()];
    let mut next: Vec<Option<usize>> = vec![None; window.len()];
    for index in (0..window.len()).rev() {
        for later in index + 1..window.len() {
            if length[later] + 1 > length[index] && follows(&window[index], &window[later]) {
                length[index] = length[later] + 1;
                next[index] = Some(later);
            }
        }
    }
    let can_start = |index: &usize| before.is_none_or(|before| follows(before, &window[*index]));
    let start = (0..window.len()).filter(can_start).max_by(|a, b| length[*a].cmp(&length[*b]).then(b.cmp(a)));
    let mut run = Vec::new();
    let mut at = start;
    while let Some(index) = at {
        run.push(index);
        at = next[index];
    }
    run
}

/// Of readings of one day the last holds: an entry holds at the end of its day.
fn keep_one_a_day(points: &mut Vec<Point>) {
    let mut kept: Vec<Point> = Vec::with_capacity(points.len());
    for point in points.drain(..) {
        match kept.last_mut() {
            Some(last) if last.day == point.day => *last = point,
            _ => kept.push(point),
        }
    }
    *points = kept;
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::parse_date;

    fn points(readings: &[(&str, f64)]) -> Vec<Point> {
        readings
            .iter()
            .map(|(day, hours)| Point {
                hours: *hours,
                record: Record::Sheet(1),
                day: parse_date(day).unwrap(),
                minute: None,
                quantity: Quantity::Hours,
            })
            .collect()
    }

    fn sound(readings: &[(&str, f64)]) -> (Vec<f64>, Vec<(f64, Rule)>) {
        let mut all = points(readings);
        let mut aside = Vec::new();
        keep_sound(&mut all, &mut aside);
        (all.iter().map(|p| p.hours).collect(), aside.iter().map(|a| (a.reading.hours, a.rule)).collect())
    }

    #[test]
    fn the_fewest_readings_are_set_aside() {
        let (kept, aside) =
            sound(&[("2026-01-01", 100.0), ("2026-01-11", 900.0), ("2026-01-21", 200.0), ("2026-01-31", 250.0)]);
        assert_eq!(kept, [100.0, 200.0, 250.0]);
        assert_eq!(aside, [(900.0, Rule::CounterTooFast)]);
    }

    #[test]
    fn of_two_equal_choices_the_later_is_set_aside() {
        let (kept, aside) = sound(&[("2026-01-01", 100.0), ("2026-01-11", 90.0)]);
        assert_eq!(kept, [100.0]);
        assert_eq!(aside, [(90.0, Rule::CounterBackwards)]);
        let (kept, aside) = sound(&[("2026-01-01", 100.0), ("2026-01-01", 140.0)]);
        assert_eq!(kept, [100.0]);
        assert_eq!(aside, [(140.0, Rule::ReadingsContradict)]);
    }

    fn in_doubt(readings: &[(&str, f64)]) -> Vec<(String, String, Why)> {
        let mut all = points(readings);
        let mut aside = Vec::new();
        keep_sound(&mut all, &mut aside);
        let found = doubts(&all, &aside);
        found.iter().map(|d| (d.first.day.to_string(), d.last.day.to_string(), d.why)).collect()
    }

    #[test]
    fn the_time_of_day_gives_its_hours_once_and_not_with_every_reading() {
        // 30 h a day, each pair within a visit's hours; a pump that never stops, read at 16:00 and at 8:00 in turn.
        let fast = [("2026-01-01", 0.0), ("2026-01-02", 30.0), ("2026-01-03", 60.0), ("2026-01-04", 90.0)];
        assert_eq!(in_doubt(&fast), [("2026-01-01".to_owned(), "2026-01-04".to_owned(), Why::TooFast)]);
        let in_turn = [("2026-01-01", 0.0), ("2026-01-02", 32.0), ("2026-01-03", 48.0), ("2026-01-04", 80.0)];
        assert_eq!(in_doubt(&in_turn), []);
    }

    #[test]
    fn days_across_a_reading_set_aside_are_in_doubt() {
        let slip = [("2026-01-01", 100.0), ("2026-01-11", 900.0), ("2026-01-21", 200.0), ("2026-01-31", 250.0)];
        assert_eq!(in_doubt(&slip), [("2026-01-01".to_owned(), "2026-01-21".to_owned(), Why::SetAside)]);
        let reset = [
            ("2026-01-01", 100.0),
            ("2026-01-11", 200.0),
            ("2026-01-21", 300.0),
            ("2026-01-31", 40.0),
            ("2026-02-10", 140.0),
            ("2026-02-20", 310.0),
        ];
        assert_eq!(in_doubt(&reset), [("2026-01-21".to_owned(), "2026-02-20".to_owned(), Why::LooksReset)]);
        let twice = [("2026-01-01", 100.0), ("2026-01-01", 140.0), ("2026-01-11", 150.0)];
        assert_eq!(in_doubt(&twice), []);
    }

    /// What passes the glance has nothing for the thorough look to find, also beside what the counter showed when the pump
    /// was fitted.
    #[test]
    fn the_glance_passes_nothing_that_is_out_of_order() {
        for (fitted, shown, first, second, passes) in [
            ("2026-01-01", "100 h", 140.0, 200.0, true),
            ("2026-01-01", "100 h", 90.0, 200.0, false),
            ("2026-01-01", "100 h", 1000.0, 1010.0, false),
            ("2026-01-10", "100 h", 140.0, 200.0, false),
            // The day is not known, so that what it showed then says nothing.
            ("2025", "9000 h", 140.0, 200.0, true),
            ("2026-01-01", "100 h", 140.0, 130.0, false),
        ] {
            let site = format!(
                "format: 1\nspas: {{s: {{fitted: 2025, pumps: {{p: {{duty: filtration, fitted: {fitted}, meter: {{digits: 5, at_fitting: \
                 {shown}}}}}}}}}}}\nlog:\n  - {{date: 2026-01-10, at: {{s/p: {{hours: {first}}}}}}}\n  - {{date: 2026-01-20, at: {{s/p: {{hours: \
                 {second}}}}}}}\n"
            );
            let fleet = "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\n";
            let files = [("fleet.yaml", fleet), ("sites/a.yaml", site.as_str())];
            crate::quantities::fleet_for_tests::load_with(&files, "2026-03-31", |fleet, figures, _| {
                let (site, pump) = (figures.site, &figures.site.spas[0].pumps[0]);
                assert_eq!(plainly_sound(site, pump), passes, "{fitted} {shown} {first} {second}");
                let thorough = counters(fleet, site, pump);
                let in_order = thorough.set_aside.is_empty() && thorough.too_fast().next().is_none();
                assert!(in_order || !passes, "{fitted} {shown} {first} {second}");
            });
        }
    }

    /// Ten thousand hours are 417 days; 500 days between two readings leave room for a whole turn.
    #[test]
    fn a_turn_that_may_have_been_missed_is_in_doubt_unless_something_says_that_it_was_not() {
        let unsure = |readings: &[(&str, f64)], programmed: Option<f64>| {
            turns_unsure(&points(readings), 1e4, |from, to| {
                programmed.map(|hours| hours * days_between(from, to) as f64)
            })
            .count()
        };
        let long = [("2025-01-01", 5000.0), ("2026-05-16", 6500.0)];
        assert_eq!(unsure(&long, None), 1);
        assert_eq!(unsure(&long, Some(3.0)), 0);
        assert_eq!(unsure(&long, Some(24.0)), 1);
        // Its other readings say 23 h a day, or 3.
        assert_eq!(unsure(&[("2024-12-01", 4287.0), long[0], long[1]], None), 1);
        assert_eq!(unsure(&[("2024-12-01", 4907.0), long[0], long[1]], None), 0);
        // In 400 days it cannot have turned.
        assert_eq!(unsure(&[("2025-01-01", 5000.0), ("2026-02-05", 5001.0)], Some(24.0)), 0);
    }

    #[test]
    fn a_counter_that_rolled_over_goes_on() {
        let mut all = points(&[("2026-01-01", 99_900.0), ("2026-01-31", 20.0), ("2026-02-10", 120.0)]);
        unroll(&mut all, Some(1e5));
        assert_eq!(all.iter().map(|p| p.hours).collect::<Vec<_>>(), [99_900.0, 100_020.0, 100_120.0]);
        // Too far for a rollover: it stays as it is and will be set aside.
        let mut all = points(&[("2026-01-01", 50_000.0), ("2026-01-31", 20.0)]);
        unroll(&mut all, Some(1e5));
        assert_eq!(all[1].hours, 20.0);
    }
}
