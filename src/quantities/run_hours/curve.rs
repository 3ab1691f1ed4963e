//! The cumulative hours of one speed: what its counter says between readings, and outside them the program with
//! what the counter has taught.

use chrono::NaiveDate;

use super::legs::{Interval, Leg, clipped, intervals_of, spread};
use super::{Curve, Run};
use crate::basis::Basis;
use crate::calendar::{days_between, plus_days};
use crate::records::Pump;
use crate::records::counters::{Counters, Why};
use crate::records::tubs::Speed;

/// The least days between readings that say something of how a counter runs against its program.
const LEAST_METERED_DAYS: f64 = 14.0;
/// The days that a factor or a rate is learned from.
const LEARNED_FROM_DAYS: f64 = 365.0;

/// What a unit's counter has shown of late.
#[derive(Debug, Clone, Copy, Default)]
struct Learned {
    /// Counter over program.
    factor: Option<f64>,
    /// What that is of.
    factor_of: Option<(f64, f64)>,
    /// Hours a day on which it may run.
    rate: Option<f64>,
    /// Whether the counter ran and the program says that the pump never does.
    silent: bool,
}

/// What one speed's counter says of one unit.
struct Metering<'a> {
    /// Whether the counter counts all speeds and this speed has a share of it.
    of_all: bool,
    /// This speed's share of all hours by the programs, where a day's own program does not say.
    share: f64,
    /// The program that stands for days on which none holds.
    stand_in: Option<(f64, f64)>,
    /// Whether the program is only what is usual: where a counter speaks, it says nothing beside it.
    usual: bool,
    legs: &'a [Leg],
}

impl Metering<'_> {
    /// Adds the interval's hours a day of the counter on each of its legs.
    fn spread(&self, interval: Interval, pieces: &mut Pieces) {
        let begin = pieces.legs.len();
        pieces.legs.extend(clipped(self.legs, interval.from, interval.to).map(|leg| (leg, 0.0)));
        let most = |leg: &Leg| if self.of_all { 24.0 } else { leg.ceiling };
        let rest = if let [(leg, rate)] = &mut pieces.legs[begin..] {
            // One program throughout, as nearly always: nothing to weigh.
            *rate = (interval.hours / leg.days()).min(most(leg));
            interval.hours - *rate * leg.days()
        } else {
            let stand_in = self.stand_in.filter(|_| !self.usual);
            let stand_in = stand_in.map(|(own, all)| if self.of_all { all } else { own });
            let by_program =
                |leg: &Leg| self.counted_by(leg).or(stand_in.filter(|_| !leg.still)).filter(|hours| *hours > 0.0);
            // Where no program says how the days differ, they are alike, but for those on which nothing should run.
            let alike = pieces.legs[begin..].iter().all(|(leg, _)| by_program(leg).is_none());
            let weight =
                |leg: &Leg| if alike { f64::from(u8::from(!leg.still)) } else { by_program(leg).unwrap_or(0.0) };
            let weigh = |(leg, _): &(Leg, f64)| (leg.days(), weight(leg), most(leg));
            let weights: Vec<(f64, f64, f64)> = pieces.legs[begin..].iter().map(weigh).collect();
            let (rates, rest) = spread(interval.hours, &weights);
            for ((_, rate), found) in pieces.legs[begin..].iter_mut().zip(rates) {
                *rate = found;
            }
            rest
        };
        let doubt = interval.doubt.or((rest > ROUNDING_HOURS).then_some(Why::TooFast));
        pieces.intervals.push((begin..pieces.legs.len(), doubt));
    }

    /// The program's hours a day of what the counter counts.
    fn counted_by(&self, leg: &Leg) -> Option<f64> {
        if self.usual { None } else { leg.counted_by(self.of_all) }
    }

    fn share_of(&self, leg: &Leg) -> f64 {
        if !self.of_all {
            return 1.0;
        }
        match leg.programmed.or(self.stand_in) {
            Some((own, all)) if all > 0.0 => own / all,
            _ => self.share,
        }
    }
}

/// The days between readings of one unit, each with the counter's hours a day.
#[derive(Default)]
struct Pieces {
    legs: Vec<(Leg, f64)>,
    /// Which legs make up each interval, and whether it is in doubt.
    intervals: Vec<(std::ops::Range<usize>, Option<Why>)>,
}

/// Hours that may find no room in an interval without its being wrong: a counter's rounding.
const ROUNDING_HOURS: f64 = 1.0;

/// The curve of a speed from its legs and its counter.
pub(super) fn curve_of(
    speed: Speed,
    pump: &Pump,
    counters: &Counters,
    legs: &[Leg],
    start: NaiveDate,
    end: NaiveDate,
) -> Curve {
    // The counter that counts this speed: its own, else the one that serves both.
    let counts = counters
        .counts
        .iter()
        .find(|(s, _)| *s == speed)
        .or_else(|| counters.counts.iter().find(|(s, _)| *s == Speed::All))
        .map(|(s, counts)| (*s, counts.as_slice()));
    let counter = counts.map(|(counter, _)| counter);
    let of_all = counter.is_some_and(|counter| counter != speed);
    let sum = |pick: fn((f64, f64)) -> f64| -> f64 {
        legs.iter().filter_map(|leg| Some(pick(leg.programmed?) * leg.days())).sum()
    };
    let (own, all) = (sum(|(own, _)| own), sum(|(_, all)| all));
    let share = if all > 0.0 { own / all } else { f64::from(u8::from(speed == Speed::Low)) };
    let stand_in =
        legs.iter().filter_map(|leg| leg.programmed).find(|(own, all)| if of_all { *all > 0.0 } else { *own > 0.0 });
    let metering = Metering { of_all, share, stand_in, usual: pump.usual_program, legs };
    let metered_basis = if of_all { Basis::Estimated } else { Basis::Metered };
    let mut runs: Vec<Run> = Vec::new();
    let mut now = Learned::default();
    let mut readings = Vec::new();
    let mut unit_start = start;
    let current = counters.exchanges.len();
    for unit in 0..=current {
        let unit_end = counters.exchanges.get(unit).map_or(end, |day| (*day).min(end));
        // An exchange dated before the start changes nothing that is counted.
        if unit_end > unit_start || unit == current {
            let mut intervals: Vec<Interval> = Vec::new();
            for count in counts.iter().flat_map(|(_, counts)| *counts).filter(|count| count.unit == unit) {
                intervals.extend(intervals_of(count));
                if unit == current {
                    readings.extend_from_slice(&count.points);
                }
            }
            intervals.sort_by_key(|interval| interval.from);
            let mut pieces = Pieces::default();
            let mut at = unit_start;
            for interval in intervals {
                let (first, last) = (interval.from.max(at), interval.to.min(unit_end));
                if last <= first {
                    continue;
                }
                // A reading from before the fitting gives its share only.
                let part = days_between(first, last) as f64 / days_between(interval.from, interval.to) as f64;
                metering
                    .spread(Interval { from: first, to: last, hours: interval.hours * part, ..interval }, &mut pieces);
                at = last;
            }
            let learned = learn(&pieces, &metering);
            at = unit_start;
            for (piece, doubt) in &pieces.intervals {
                let piece = &pieces.legs[piece.clone()];
                let (Some((first, _)), Some((last, _))) = (piece.first(), piece.last()) else { continue };
                // What lies across a reset or a turn nobody noted is known no better than if there were no readings.
                if doubt.is_some_and(Why::says_nothing) {
                    outside(&metering, speed, pump, learned, at, plus_days(first.from, -1), &mut runs);
                    let begin = runs.len();
                    outside(&metering, speed, pump, learned, plus_days(first.from, -1), last.to, &mut runs);
                    for run in &mut runs[begin..] {
                        run.basis = run.basis.map(|basis| basis.max(Basis::Estimated));
                    }
                    at = last.to;
                    continue;
                }
                outside(&metering, speed, pump, learned, at, plus_days(first.from, -1), &mut runs);
                at = last.to;
                runs.extend(piece.iter().map(|(leg, rate)| Run {
                    from: leg.from,
                    to: leg.to,
                    hours_a_day: (rate * metering.share_of(leg)).min(leg.ceiling),
                    basis: Some(if doubt.is_none() { metered_basis } else { Basis::Estimated }),
                    between_readings: doubt.is_none(),
                    hours_to_end: 0.0,
                }));
            }
            outside(&metering, speed, pump, learned, at, unit_end, &mut runs);
            if unit == current {
                now = learned;
            }
        }
        unit_start = unit_start.max(unit_end);
    }
    let mut total = 0.0;
    for run in &mut runs {
        total += run.hours_a_day * run.days();
        run.hours_to_end = total;
    }
    // They are kept until the last table is written.
    runs.shrink_to_fit();
    readings.shrink_to_fit();
    let Learned { factor, factor_of, rate, silent } = now;
    Curve { speed, counter, runs, factor, factor_of, rate, silent, readings }
}

/// Learns from a unit's last 365 metered days; what is in doubt teaches nothing.
fn learn(pieces: &Pieces, metering: &Metering) -> Learned {
    let (mut days, mut open_days, mut counted) = (0.0, 0.0, 0.0);
    let (mut days_with_program, mut counted_with_program, mut programmed) = (0.0, 0.0, 0.0);
    let sound = pieces.intervals.iter().rev().filter(|(_, doubt)| doubt.is_none());
    for (leg, rate) in sound.flat_map(|(piece, _)| pieces.legs[piece.clone()].iter().rev()) {
        let take = leg.days().min(LEARNED_FROM_DAYS - days);
        if take <= 0.0 {
            break;
        }
        days += take;
        // What ran while everything should stand still says nothing of the days on which it should run.
        if leg.still {
            continue;
        }
        open_days += take;
        counted += rate * take;
        if let Some(hours) = metering.counted_by(leg) {
            days_with_program += take;
            counted_with_program += rate * take;
            programmed += hours * take;
        }
    }
    if open_days < LEAST_METERED_DAYS {
        return Learned::default();
    }
    let factor_of =
        (programmed > 0.0 && days_with_program >= LEAST_METERED_DAYS).then_some((counted_with_program, programmed));
    Learned {
        factor: factor_of.map(|(counted, programmed)| counted / programmed),
        factor_of,
        rate: Some(counted / open_days),
        silent: days_with_program > 0.0 && programmed == 0.0 && counted > 0.0,
    }
}

/// Days outside the readings: the program with what the counter has taught, else the rate of late.
fn outside(
    metering: &Metering,
    speed: Speed,
    pump: &Pump,
    learned: Learned,
    after: NaiveDate,
    until: NaiveDate,
    runs: &mut Vec<Run>,
) {
    if until <= after {
        return;
    }
    for leg in clipped(metering.legs, after, until) {
        let of_rate = |rate: f64| if leg.still { 0.0 } else { rate * metering.share_of(&leg) };
        let (hours_a_day, basis) = match (leg.programmed, learned) {
            // What is usual elsewhere says less than this pump's own counter.
            (Some(_), Learned { rate: Some(rate), .. }) if metering.usual => (of_rate(rate), Some(Basis::Estimated)),
            (Some((own, _)), Learned { factor: Some(factor), .. }) => (own * factor, Some(Basis::Calibrated)),
            // The program says the pump never runs, and the counter says it does.
            (Some((0.0, _)), Learned { rate: Some(rate), silent: true, .. }) => (of_rate(rate), Some(Basis::Estimated)),
            (Some((own, _)), _) => {
                let basis = if pump.usual_program {
                    Basis::Assumed
                } else if leg.occupation_unknown {
                    Basis::Estimated
                } else {
                    Basis::Programmed
                };
                (own, Some(basis))
            }
            (None, Learned { rate: Some(rate), .. }) if !metering.of_all || metering.stand_in.is_some() => {
                (of_rate(rate), Some(Basis::Estimated))
            }
            (None, _) => (0.0, None),
        };
        let ceiling = if speed == Speed::All { 24.0 } else { leg.ceiling };
        runs.push(Run {
            from: leg.from,
            to: leg.to,
            hours_a_day: hours_a_day.min(ceiling),
            basis,
            between_readings: false,
            hours_to_end: 0.0,
        });
    }
}
