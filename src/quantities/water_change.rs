//! When does the water have to be changed? By the rule the rule book names for the use: after each group
//! of guests, after so many bathers, or by the replacement interval of the busiest day.
//!
//! The replacement interval (Maine 10-144 C.M.R. ch. 202 App. B) reads "a third of the gallons over the
//! bathers a day". The source's own table is only reproduced if each day's interval is rounded half up to
//! whole days, the smallest since the last drain is kept, and the water is drained on the evening when it
//! is no more than the days since. An average load, or no rounding, gives other days; so does another
//! state's wording of the same rule. The rule is therefore always named where its date is printed.
//!
//! Bathers come from `bathers` of the spa, on days guests are in; nights that are not known count as if
//! they were. This module says when; whether the log is complete it cannot know.

use chrono::NaiveDate;
use uom::si::volume::{cubic_meter, gallon};

use crate::basis::Source;
use crate::calendar::{self, add, days_between, plus_days};
use crate::limits::{Known, LimitSet, Refill, RefillRule};
use crate::records::log::Quantity;
use crate::records::{Site, Spa};

/// Gallons for each bather by the replacement interval.
const GALLONS_PER_BATHER: f64 = 3.0;
/// Dissolved solids above those of the source water at which it is to be drained, mg/L (Maine, same appendix).
const TDS_RISE_MG_L: f64 = 1500.0;
/// Days looked ahead.
const LOOK_AHEAD_DAYS: i64 = 400;

/// When the water is to be changed.
#[derive(Debug, Clone)]
pub struct WaterChange {
    /// When it was last changed, by the log.
    pub last: Option<NaiveDate>,
    /// The day it is due: the evening of that day; in the past where overdue. `None` = the rule cannot say.
    pub due: Option<NaiveDate>,
    /// Whether that is the day the spa is filled again after a closed season.
    pub on_reopening: bool,
    /// The rule in words, with what brought the date.
    pub because: String,
    /// The rule.
    pub rule: RefillRule,
    /// Source and edition of the rule.
    pub rule_source: String,
    /// How the rule's text is known.
    pub known: Known,
    /// Bathers since the last change, as reckoned from `bathers`.
    pub bathers_since: Option<f64>,
    /// What would let the rule say when.
    pub missing: Option<String>,
    /// The changes the rule asked for up to the as-of day that touch its month, beside those logged; by day.
    pub asked: Vec<AskedChange>,
    /// The record of the last change.
    pub source: Option<Source>,
}

/// A change the rule asked for, a change the log tells of, or both.
#[derive(Debug, Clone, PartialEq)]
pub struct AskedChange {
    /// The day it was asked for; `None` where one was made that nothing asked for yet.
    pub due: Option<NaiveDate>,
    /// What asked for it.
    pub why: Why,
    /// The change that answered it.
    pub done: Option<NaiveDate>,
    /// How it stands.
    pub stands: Stands,
}

/// What asks for a change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// A group of guests left.
    GuestsLeft,
    /// The longest time since the last change was over.
    Longest,
    /// The rule's count of bathers, or its interval, was reached.
    Bathers,
    /// Dissolved solids had risen.
    Solids,
    /// The spa was filled again after a closed season.
    Reopening,
    /// Nothing.
    Nothing,
}

/// How a change that was asked for stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stands {
    /// Made in time: before the next guests, or by the day.
    InTime,
    /// Made after it.
    Late,
    /// Not in the log, and overdue.
    Missing,
    /// Not in the log, and still in time: no guests have come since.
    Open,
}

impl Stands {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::InTime => "in time",
            Self::Late => "late",
            Self::Missing => "not logged",
            Self::Open => "before the next guests",
        }
    }
}

/// The replacement interval of a day, in days: a third of the gallons over the day's bathers. `None` on a day
/// without bathers: there is no interval.
pub fn replacement_interval(volume_gallons: f64, bathers: f64) -> Option<f64> {
    (bathers > 0.0 && volume_gallons > 0.0).then(|| volume_gallons / GALLONS_PER_BATHER / bathers)
}

/// Whole days, half up, as the source's table rounds.
fn rounded_half_up(days: f64) -> f64 {
    (days + 0.5).floor()
}

/// On which of the days since the last drain, counted from 1, the water is first to be drained in the evening.
/// Bathers by day, the first day after the drain first.
pub fn drain_day(volume_gallons: f64, bathers: impl IntoIterator<Item = f64>) -> Option<usize> {
    let mut smallest = f64::INFINITY;
    for (index, bathers) in bathers.into_iter().enumerate() {
        if let Some(interval) = replacement_interval(volume_gallons, bathers) {
            smallest = smallest.min(rounded_half_up(interval));
        }
        let elapsed = index + 1;
        if smallest <= elapsed as f64 {
            return Some(elapsed);
        }
    }
    None
}

/// Whether dissolved solids alone ask for a drain (mg/L).
pub fn drain_for_solids(source_water: f64, spa: f64) -> bool {
    spa >= source_water + TDS_RISE_MG_L
}

/// Bathers after which all the water is replaced.
pub fn bathers_per_change(volume_m3: f64, bathers_per_m3: f64) -> f64 {
    volume_m3 * bathers_per_m3
}

/// Bathers an hour a commercial spa is laid out for, by its volume in cubic metres: ten for each, which are three sessions of
/// a quarter of an hour with rests between (HSE HSG282, 2017; read in a reproduction).
pub fn bathers_per_hour(volume_m3: f64) -> f64 {
    10.0 * volume_m3
}

/// Bathers at once: one for each 250 L (same source).
pub fn bathers_at_once(volume_m3: f64) -> f64 {
    (volume_m3 / 0.25 + 1e-9).floor()
}

/// Words for a rule.
pub fn rule_words(refill: &Refill) -> String {
    let rule = match refill.rule {
        RefillRule::EachGroup => "after each group of guests".to_owned(),
        RefillRule::BathersPerVolume => format!(
            "after {} bathers for each cubic metre",
            refill.bathers_per_m3.map_or("so many".to_owned(), |n| crate::report::format::number(n.0, 0))
        ),
        RefillRule::ReplacementInterval => {
            "by the replacement interval of the busiest day: a third of the gallons over that day's bathers".to_owned()
        }
    };
    match refill.at_most {
        Some(period) => format!("{rule}, at most {}", crate::report::format::period(period)),
        None => rule,
    }
}

/// When a spa's water is to be changed by its rule book's rule. `None` if the book has none for its use.
pub fn water_change(limits: Option<&LimitSet>, site: &Site, spa: &Spa, as_of: NaiveDate) -> Option<WaterChange> {
    let refill = limits?.refill.as_ref()?;
    let changes = site.entries(&spa.at).filter(|(_, _, e)| e.done.iter().any(|t| t.as_str() == "water_change"));
    let mut changes: Vec<(NaiveDate, u32)> = changes.map(|(index, visit, _)| (visit.date.0, index)).collect();
    changes.sort_unstable();
    let last = changes.last().copied();
    let rule_source = refill.source_text();
    let mut change = WaterChange {
        last: last.map(|(day, _)| day),
        due: None,
        on_reopening: false,
        because: rule_words(refill),
        rule: refill.rule,
        rule_source,
        known: refill.known,
        bathers_since: None,
        missing: None,
        asked: Vec::new(),
        source: last.map(|(_, index)| site.entry_source(index, &spa.at, "done")),
    };
    let rule = Rule { refill, site, spa, end: plus_days(as_of, LOOK_AHEAD_DAYS) };
    let mut days: Vec<NaiveDate> = changes.iter().map(|(day, _)| *day).collect();
    days.dedup();
    change.asked = rule.asked(&days, as_of);
    let Some(from) = change.last else {
        change.missing = Some(format!("a `water_change` under `done` of {} in the log", spa.at));
        return Some(change);
    };
    if spa.bathers.is_some() {
        let days = days_between(from, as_of).max(0);
        change.bathers_since = Some((1..=days).map(|n| rule.bathers(plus_days(from, n))).sum());
    }
    let next = rule.next(from);
    change.due = next.map(|(day, _)| day);
    match refill.rule {
        RefillRule::EachGroup if change.due.is_none() => {
            change.missing = Some("a bookings file, so that it is known when guests change".to_owned());
        }
        RefillRule::EachGroup => {}
        RefillRule::BathersPerVolume => {
            change.missing = missing(spa);
            if let Some(limit) = rule.bather_limit().filter(|_| spa.bathers.is_some()) {
                change.because =
                    format!("{}, here {}", change.because, crate::report::format::number(limit.floor(), 0));
            }
        }
        RefillRule::ReplacementInterval => change.missing = missing(spa),
    }
    change.on_reopening = next.is_some_and(|(_, why)| why == Why::Reopening);
    if next.is_some_and(|(_, why)| why == Why::Solids) {
        change.because = format!("dissolved solids are {TDS_RISE_MG_L:.0} mg/L above those of the fresh water");
    }
    Some(change)
}

/// A rule at a spa.
struct Rule<'a> {
    refill: &'a Refill,
    site: &'a Site,
    spa: &'a Spa,
    /// The last day looked at.
    end: NaiveDate,
}

impl Rule<'_> {
    fn bathers(&self, day: NaiveDate) -> f64 {
        self.spa.bathers.filter(|_| bathing(self.site, self.spa, day)).unwrap_or(0.0)
    }

    fn bather_limit(&self) -> Option<f64> {
        let (volume, each) = self.spa.volume.zip(self.refill.bathers_per_m3)?;
        Some(bathers_per_change(volume.0.get::<cubic_meter>(), each.0))
    }

    /// The day by whose evening the rule asks for the next change after one.
    fn next(&self, from: NaiveDate) -> Option<(NaiveDate, Why)> {
        let (day, why) = self.while_open(from)?;
        let waits = self.after_seasons(from, day);
        Some((waits, if waits == day { why } else { Why::Reopening }))
    }

    /// The same as if the site never closed.
    fn while_open(&self, from: NaiveDate) -> Option<(NaiveDate, Why)> {
        let latest = self.refill.at_most.map(|period| (add(from, period), Why::Longest));
        [self.by_use(from), latest].into_iter().flatten().min_by_key(|(day, _)| *day)
    }

    /// The day the use of the water asks for, however long that is.
    fn by_use(&self, from: NaiveDate) -> Option<(NaiveDate, Why)> {
        let Self { refill, site, spa, end } = *self;
        match refill.rule {
            RefillRule::EachGroup => {
                let group = spa.stays.as_ref().and_then(|stays| stays.leavings().filter(|day| *day > from).min());
                group.map(|day| (day, Why::GuestsLeft))
            }
            RefillRule::BathersPerVolume => {
                let limit = self.bather_limit().filter(|_| spa.bathers.is_some())?;
                let mut sum = 0.0;
                let day = calendar_days(from, end).find(|day| {
                    sum += self.bathers(*day);
                    sum >= limit - 1e-9
                })?;
                Some((day, Why::Bathers))
            }
            RefillRule::ReplacementInterval => {
                let volume = spa.volume.filter(|_| spa.bathers.is_some())?;
                let days = calendar_days(from, end).map(|day| self.bathers(day));
                let by_load = drain_day(volume.0.get::<gallon>(), days).map(|n| plus_days(from, n as i64));
                let solids = solids(site, spa, from).map(|day| (day, Why::Solids));
                [solids, by_load.map(|day| (day, Why::Bathers))].into_iter().flatten().min_by_key(|(day, _)| *day)
            }
        }
    }

    /// A day that falls into a closed season, or behind one for which the water is let out, waits for its end: then the
    /// water is new.
    fn after_seasons(&self, from: NaiveDate, day: NaiveDate) -> NaiveDate {
        let mut seasons: Vec<_> = self.site.closed.iter().filter(|season| season.to > from).collect();
        seasons.sort_by_key(|season| season.from);
        seasons.into_iter().fold(day, |day, season| {
            let let_out = season.drained && season.from > from && day >= season.from;
            if let_out || (season.from..=season.to).contains(&day) { plus_days(season.to, 1) } else { day }
        })
    }

    /// The changes asked for up to a day that touch its month, beside those logged: each stands from the day it was asked
    /// for until the next change.
    fn asked(&self, changes: &[NaiveDate], as_of: NaiveDate) -> Vec<AskedChange> {
        let first = calendar::Month::of(as_of).first();
        let each_group = self.refill.rule == RefillRule::EachGroup;
        let leavings = |after: Option<NaiveDate>, until: NaiveDate| -> Vec<NaiveDate> {
            let all = self.spa.stays.iter().flat_map(|stays| stays.leavings()).filter(|_| each_group);
            let mut all: Vec<NaiveDate> =
                all.filter(|day| after.is_none_or(|after| *day > after) && *day <= until).collect();
            all.sort_unstable();
            all.dedup();
            all
        };
        let mut rows = Vec::new();
        // With no change on record what the guests of the month asked for still stands.
        if changes.is_empty() {
            rows.extend(
                leavings(Some(plus_days(first, -1)), as_of)
                    .into_iter()
                    .map(|day| self.row(day, Why::GuestsLeft, None, as_of)),
            );
        }
        for (index, from) in changes.iter().enumerate() {
            let done = changes.get(index + 1).copied();
            if done.is_some_and(|done| done < first) {
                continue;
            }
            let until = done.unwrap_or(as_of);
            let mut due: Vec<(NaiveDate, Why)> = Vec::new();
            if each_group {
                due.extend(leavings(Some(*from), until).into_iter().map(|day| (day, Why::GuestsLeft)));
                due.extend(self.refill.at_most.map(|period| (add(*from, period), Why::Longest)));
            } else {
                due.extend(self.while_open(*from));
            }
            for (day, why) in &mut due {
                let waits = self.after_seasons(*from, *day);
                if waits != *day {
                    (*day, *why) = (waits, Why::Reopening);
                }
            }
            due.sort_by_key(|(day, _)| *day);
            due.dedup_by_key(|(day, _)| *day);
            rows.extend(
                due.into_iter().filter(|(day, _)| *day <= until).map(|(day, why)| self.row(day, why, done, as_of)),
            );
        }
        let answered: Vec<NaiveDate> = rows.iter().filter_map(|row| row.done).collect();
        let unasked = changes.iter().filter(|day| **day >= first && !answered.contains(day));
        rows.extend(unasked.map(|day| AskedChange {
            due: None,
            why: Why::Nothing,
            done: Some(*day),
            stands: Stands::InTime,
        }));
        rows.sort_by_key(|row| (row.due.or(row.done), row.done));
        rows
    }

    fn row(&self, due: NaiveDate, why: Why, done: Option<NaiveDate>, as_of: NaiveDate) -> AskedChange {
        // Guests gone, there is time until the next come.
        let latest = match why {
            Why::GuestsLeft => {
                let stays = self.spa.stays.iter().flat_map(|stays| &stays.stays);
                stays.map(|(from, _)| *from).filter(|from| *from >= due).min()
            }
            _ => Some(due),
        };
        let stands = match done {
            Some(done) if latest.is_none_or(|latest| done <= latest) => Stands::InTime,
            Some(_) => Stands::Late,
            None if latest.is_some_and(|latest| latest <= as_of) => Stands::Missing,
            None => Stands::Open,
        };
        AskedChange { due: Some(due), why, done, stands }
    }
}

/// The days after one day up to another.
fn calendar_days(after: NaiveDate, until: NaiveDate) -> impl Iterator<Item = NaiveDate> {
    (1..=days_between(after, until).max(0)).map(move |n| plus_days(after, n))
}

fn missing(spa: &Spa) -> Option<String> {
    match (spa.volume.is_some(), spa.bathers.is_some()) {
        (true, true) => None,
        (false, true) => Some(format!("`volume` of {}", spa.at)),
        (true, false) => Some(format!("`bathers` of {}", spa.at)),
        (false, false) => Some(format!("`volume` and `bathers` of {}", spa.at)),
    }
}

/// Whether somebody may bathe on a day: the site is open, and guests are in or nights are not known.
pub(crate) fn bathing(site: &Site, spa: &Spa, day: NaiveDate) -> bool {
    let occupied = spa.stays.as_ref().is_none_or(|stays| {
        // The day of leaving counts too: people bathe before they go.
        stays.stays.iter().any(|(from, to)| (*from..=*to).contains(&day))
    });
    occupied && !site.is_closed(day)
}

/// The day since the last change on which dissolved solids alone ask for one. The fresh water's are those read
/// after the change.
fn solids(site: &Site, spa: &Spa, since: NaiveDate) -> Option<NaiveDate> {
    let fresh = site.readings_of(&spa.at, Quantity::Tds).filter(|r| r.day == since && r.after).last()?.value;
    site.readings_of(&spa.at, Quantity::Tds).find(|r| r.day > since && drain_for_solids(fresh, r.value)).map(|r| r.day)
}

impl WaterChange {
    /// Why then, in half a line for a list of things to do.
    pub fn in_short(&self) -> String {
        let last = self.last.map_or("not in the log".to_owned(), |day| format!("last on {}", calendar::in_words(day)));
        if self.on_reopening { format!("{last}; due on reopening") } else { format!("{last}; due {}", self.because) }
    }

    /// Why then, in a sentence for an owner.
    pub fn says(&self) -> String {
        let last = self.last.map_or("The log tells of no water change.".to_owned(), |day| {
            format!("The water was last changed on {} by the log.", calendar::in_words(day))
        });
        format!("{last} The rule is {} ({}).", self.because, self.rule_source)
    }
}

#[cfg(test)]
mod tests;
