//! The pieces hours are put together from: days of one program, what a counter gained between two readings,
//! and how that is spread over days.

use chrono::NaiveDate;

use super::Curve;
use crate::calendar::{days_between, plus_days};
use crate::quantities::program::Stretch;
use crate::records::counters::{Count, Why};
use crate::records::tubs::Speed;

/// Days on which one speed of a pump has one program, both ends counted.
#[derive(Debug, Clone, Copy)]
pub(super) struct Leg {
    pub(super) from: NaiveDate,
    pub(super) to: NaiveDate,
    /// Hours a day of this speed and of all speeds; `None` where no program holds.
    pub(super) programmed: Option<(f64, f64)>,
    /// Whether programs stand still: a closed season, or out of service.
    pub(super) still: bool,
    /// Whether the program depends on nights that are not known.
    pub(super) occupation_unknown: bool,
    /// The most this speed can run in a day.
    pub(super) ceiling: f64,
}

impl Leg {
    pub(super) fn days(&self) -> f64 {
        (days_between(self.from, self.to) + 1) as f64
    }

    /// The program's hours a day of what a counter counts.
    pub(super) fn counted_by(&self, counter_of_all: bool) -> Option<f64> {
        self.programmed.map(|(own, all)| if counter_of_all { all } else { own })
    }
}

/// The legs of a speed; `above` are the curves of the other speeds known so far, whose hours a day are not there for
/// this one.
pub(super) fn legs(programs: &[Stretch], speed: Speed, above: &[Curve]) -> Vec<Leg> {
    let whole = programs.iter().map(|stretch| Leg {
        from: stretch.from,
        to: stretch.to,
        programmed: stretch.hours.is_some().then(|| (stretch.at(speed), stretch.at(Speed::All))),
        still: stretch.still,
        occupation_unknown: stretch.occupation_unknown,
        ceiling: 24.0,
    });
    above.iter().fold(whole.collect(), |legs, other| below(&legs, other))
}

/// Legs with what another speed leaves of each day.
fn below(legs: &[Leg], above: &Curve) -> Vec<Leg> {
    let mut left = Vec::new();
    for leg in legs {
        let begin = above.runs.partition_point(|run| run.to < leg.from);
        for run in above.runs[begin..].iter().take_while(|run| run.from <= leg.to) {
            left.push(Leg {
                from: leg.from.max(run.from),
                to: leg.to.min(run.to),
                ceiling: (leg.ceiling - run.hours_a_day).max(0.0),
                ..*leg
            });
        }
    }
    left
}

/// The parts of legs after one day up to another.
pub(super) fn clipped(legs: &[Leg], after: NaiveDate, until: NaiveDate) -> impl Iterator<Item = Leg> + '_ {
    let begin = legs.partition_point(move |leg| leg.to <= after);
    legs[begin..].iter().take_while(move |leg| leg.from <= until).map(move |leg| Leg {
        from: leg.from.max(plus_days(after, 1)),
        to: leg.to.min(until),
        ..*leg
    })
}

/// What a counter gained between two sound readings of one count.
#[derive(Debug, Clone, Copy)]
pub(super) struct Interval {
    pub(super) from: NaiveDate,
    pub(super) to: NaiveDate,
    pub(super) hours: f64,
    /// Why it says less than it seems to.
    pub(super) doubt: Option<Why>,
}

/// The intervals of a count. A reading is taken some time within its day but holds at the day's end, so
/// an interval may seem to hold more than 24 h a day: the excess is what ran on the day of its first
/// reading after that was taken, and goes to the interval before; where there is none, to the next. What
/// finds no room in any is no more than the hours of one visit's day, for intervals faster than time are in
/// doubt and keep to 24 h a day by themselves.
pub(super) fn intervals_of(count: &Count) -> Vec<Interval> {
    let mut doubts = count.doubts.iter().peekable();
    let mut all: Vec<Interval> = Vec::with_capacity(count.points.len().saturating_sub(1));
    for pair in count.points.windows(2) {
        let (from, to) = (pair[0].day, pair[1].day);
        while doubts.next_if(|doubt| doubt.last.day <= from).is_some() {}
        let doubt = doubts.peek().filter(|doubt| doubt.first.day < to).map(|doubt| doubt.why);
        all.push(Interval { from, to, hours: pair[1].hours - pair[0].hours, doubt });
    }
    let most = |interval: &Interval| 24.0 * days_between(interval.from, interval.to) as f64;
    for index in 0..all.len() {
        let mut excess = all[index].hours - most(&all[index]);
        if excess <= 0.0 {
            continue;
        }
        all[index].hours -= excess;
        if all[index].doubt.is_some() {
            continue;
        }
        for other in (0..index).rev().chain(index + 1..all.len()) {
            if all[other].doubt.is_some() {
                continue;
            }
            let room = (most(&all[other]) - all[other].hours).clamp(0.0, excess);
            all[other].hours += room;
            excess -= room;
            if excess <= 0.0 {
                break;
            }
        }
    }
    all
}

/// Hours a day for each of some stretches (days, program's hours a day, the most hours a day) so that they
/// add up to `hours`, in proportion to the program, evenly where there is none, and never over the
/// most: what would exceed it goes to the other days. Also gives the hours that find no room.
pub fn spread(hours: f64, stretches: &[(f64, f64, f64)]) -> (Vec<f64>, f64) {
    let mut rates = vec![0.0; stretches.len()];
    let mut rest = hours;
    for with_program in [true, false] {
        let mut open: Vec<usize> = (0..stretches.len())
            .filter(|i| (stretches[*i].1 > 0.0) == with_program && stretches[*i].0 > 0.0 && stretches[*i].2 > 0.0)
            .collect();
        while rest > 1e-12 && !open.is_empty() {
            let weight = |i: usize| if with_program { stretches[i].1 } else { 1.0 };
            let total: f64 = open.iter().map(|i| stretches[*i].0 * weight(*i)).sum();
            let factor = rest / total;
            let full: Vec<usize> = open.iter().copied().filter(|i| factor * weight(*i) > stretches[*i].2).collect();
            if full.is_empty() {
                for i in open.drain(..) {
                    rates[i] = factor * weight(i);
                }
                rest = 0.0;
            } else {
                for i in full {
                    rates[i] = stretches[i].2;
                    rest -= stretches[i].2 * stretches[i].0;
                    open.retain(|o| *o != i);
                }
            }
        }
        if rest <= 1e-12 {
            break;
        }
    }
    (rates, rest.max(0.0))
}
