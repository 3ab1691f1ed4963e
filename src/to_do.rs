//! What somebody should know or do: rules over the computed figures, each with a stable reason, what
//! it says, by when, and the record it rests on.

mod water;

use chrono::NaiveDate;

use crate::address::Address;
use crate::basis::Source;
use crate::calendar::{self, Month, days_between, plus_days};
use crate::quantities::SpaFigures;
use crate::records::fleet::ReportsFor;
use crate::records::{Fleet, Site};
use crate::report::format;
use crate::schedule::due::{DueBy, PartDue, TaskDue};
use crate::schedule::visits::{NotFitted, Work};
use crate::to_do_unrecorded;

/// How urgent a thing is, the most urgent first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Urgency {
    /// Nobody should go in until it is seen to.
    DoNotUse,
    /// Now.
    ActNow,
    /// In the coming months.
    Plan,
    /// Worth knowing.
    Note,
}

impl Urgency {
    /// The words in tables and print.
    pub fn words(self) -> &'static str {
        match self {
            Self::DoNotUse => "do not use",
            Self::ActNow => "act now",
            Self::Plan => "plan",
            Self::Note => "note",
        }
    }
}

/// A thing somebody should know or do.
#[derive(Debug, Clone)]
pub struct ToDo {
    /// How urgent.
    pub urgency: Urgency,
    /// Where at the site; the site itself where `None`.
    pub at: Option<Address>,
    /// The stable name of the rule.
    pub reason: &'static str,
    /// What, in a few words.
    pub what: String,
    /// Why, in a sentence.
    pub says: String,
    /// What happens if it is left.
    pub if_left: String,
    /// By when.
    pub due: Option<NaiveDate>,
    /// The record it rests on.
    pub source: Option<Source>,
}

/// The part that keeps bathers off the suction; its life is the one stated on it.
pub(crate) const SUCTION_COVER: &str = "suction_cover";
/// Days before its due date from which a part is on the list.
const PART_SOON_DAYS: i64 = 90;

/// Everything to do at a site but what its failures and drifts ask for, in no order.
pub fn to_do(
    fleet: &Fleet,
    site: &Site,
    spas: &[SpaFigures],
    parts: &[PartDue],
    tasks: &[TaskDue],
    as_of: NaiveDate,
) -> Vec<ToDo> {
    let mut all = Vec::new();
    water::water(fleet, site, spas, &mut all);
    water::tests(fleet, spas, as_of, &mut all);
    water::filters(fleet, spas, tasks, as_of, &mut all);
    parts_to_do(parts, as_of, &mut all);
    tasks_to_do(tasks, as_of, &mut all);
    gaps(site, spas, as_of, &mut all);
    left_at_visits(fleet, site, &mut all);
    all
}

/// Puts the most urgent first.
pub fn sort(all: &mut [ToDo]) {
    all.sort_by(|a, b| {
        let key = |t: &ToDo| (t.urgency, t.due.unwrap_or(NaiveDate::MAX), t.at.clone(), t.reason);
        key(a).cmp(&key(b))
    });
}

/// Adds what no day could be found for; what a visit left is told of already.
pub fn add_not_fitted(all: &mut Vec<ToDo>, left: &NotFitted) {
    if !matches!(left.work, Work::Left(_)) {
        all.push(not_fitted(left));
        sort(all);
    }
}

/// How urgent the renewal of a part is; `None` while it is not due soon.
pub fn part_urgency(part: &PartDue, as_of: NaiveDate) -> Option<Urgency> {
    let due = part.due?;
    let overdue = due <= as_of;
    if part.unrecorded {
        // Nobody can say that it was not renewed; what holds bathers off the suction is looked at all the same.
        let cover = part.part.id.as_str() == SUCTION_COVER;
        return Some(if cover { Urgency::ActNow } else { Urgency::Plan });
    }
    if overdue && part.part.id.as_str() == SUCTION_COVER {
        // No deferring and no margin: entrapment kills.
        return Some(Urgency::DoNotUse);
    }
    if !overdue && days_between(as_of, due) > PART_SOON_DAYS {
        return None;
    }
    // What is worn past its hours may fail any day; what is merely old by the book can be planned.
    let deferred = part.part.deferred.is_some_and(|day| day > as_of);
    let worn = part.by == DueBy::Hours || part.life_used.is_some_and(|used| used > 1.25);
    Some(if overdue && !deferred && worn { Urgency::ActNow } else { Urgency::Plan })
}

fn parts_to_do(parts: &[PartDue], as_of: NaiveDate, all: &mut Vec<ToDo>) {
    to_do_unrecorded::renewals_to_enter(parts, all);
    for part in parts {
        let is_cover = part.part.id.as_str() == SUCTION_COVER;
        if part.due.is_none() && is_cover {
            all.push(ToDo {
                urgency: Urgency::Plan,
                at: Some(part.part.at.clone()),
                reason: "suction-cover-age-unknown",
                what: "find out how old the suction covers are".to_owned(),
                says:
                    "A suction cover is good for the years stated on it; the records do not say when these were fitted."
                        .to_owned(),
                if_left: "a cover past its life can break and hold a bather under water".to_owned(),
                due: None,
                source: part.sources.last().cloned(),
            });
        }
        let Some(due) = part.due else { continue };
        if part.unrecorded {
            if is_cover {
                all.push(to_do_unrecorded::cover_to_look_at(part));
            }
            continue;
        }
        let name = format::words(part.part.id.as_str());
        let overdue = due <= as_of;
        if is_cover && overdue {
            all.push(ToDo {
                urgency: Urgency::DoNotUse,
                at: Some(part.part.at.clone()),
                reason: "suction-cover-over-age",
                what: "close the spa until its suction covers are renewed".to_owned(),
                says: format::part_reason(part, as_of),
                if_left: "a cover past its stated life can break and hold a bather under water".to_owned(),
                due: Some(due),
                source: part.sources.last().cloned(),
            });
            continue;
        }
        let Some(urgency) = part_urgency(part, as_of) else { continue };
        let deferred = part.part.deferred.filter(|day| *day > as_of);
        let says = format::part_reason(part, as_of);
        let left = part.part.part.failure.as_ref().and_then(|f| f.down).map_or(String::new(), |down| {
            format!("a failure puts it out of service for about {}", format::period(down))
        });
        all.push(ToDo {
            urgency,
            at: Some(part.part.at.clone()),
            reason: if overdue { "part-overdue" } else { "part-due" },
            what: format!("renew the {name}"),
            says: match deferred {
                Some(until) => format!("{says} Put off to {}.", calendar::in_words(until)),
                None => says,
            },
            if_left: left,
            due: Some(deferred.unwrap_or(due)),
            source: part.sources.last().cloned(),
        });
    }
}

/// The reason of what no day could be found for in the year's visits.
pub const NOT_IN_PLAN: &str = "not-in-plan";

/// What no day could be found for in the year's visits.
fn not_fitted(left: &NotFitted) -> ToDo {
    let what = match &left.work {
        Work::Renew(part) => format!("renew the {}", format::words(part.as_str())),
        Work::Left(what) => what.clone(),
        Work::Close => "closing for the season".to_owned(),
        Work::Reopen => "opening after the season".to_owned(),
        work => format::words(&work.word()),
    };
    ToDo {
        urgency: Urgency::Plan,
        at: Some(left.at.clone()),
        reason: NOT_IN_PLAN,
        what: if left.planned > 0 {
            format!("{what}: one time more than the {} in the year's visits", left.planned)
        } else {
            format!("{what}: not in the year's visits")
        },
        says: format!("{}.", format::sentence(&left.why)),
        if_left: "it waits for a visit that is not planned".to_owned(),
        due: left.due,
        source: None,
    }
}
fn tasks_to_do(tasks: &[TaskDue], as_of: NaiveDate, all: &mut Vec<ToDo>) {
    for task in tasks {
        let Some(due) = task.due else { continue };
        if due > plus_days(as_of, 365) {
            continue;
        }
        let overdue = due <= as_of;
        let again = task
            .times
            .filter(|times| *times > 1 && !task.by_rule)
            .map_or(String::new(), |times| format!(" About {times} times in 12 months."));
        all.push(ToDo {
            urgency: match (overdue, task.by_rule) {
                // What a rule of hygiene asks for does not wait.
                (true, true) => Urgency::ActNow,
                (true, false) => Urgency::Plan,
                (false, _) => Urgency::Note,
            },
            at: Some(task.at.clone()),
            reason: match (task.by_rule, overdue) {
                (true, _) => "water-change-due",
                (false, true) => "task-overdue",
                (false, false) => "task-due",
            },
            what: format::words(task.id.as_str()),
            says: format!("{}.{again}", format::sentence(task.because.trim_end_matches('.'))),
            if_left: if task.by_rule { "old water can carry disease" } else { "what it would show is not known" }
                .to_owned(),
            due: Some(due),
            source: task.source.clone(),
        });
    }
}

fn gaps(site: &Site, spas: &[SpaFigures], as_of: NaiveDate, all: &mut Vec<ToDo>) {
    for pump in spas.iter().flat_map(|s| &s.pumps) {
        let gap = match &pump.hours {
            None => Some((
                "hours-unknown",
                "its hours are not known",
                "To know them, add its `fitted` day and a `program`, or counter readings.".to_owned(),
            )),
            Some(hours) if hours.curves.is_empty() => Some((
                "hours-unknown",
                "its hours are not known",
                "To know them, add a `program` or counter readings.".to_owned(),
            )),
            Some(hours) if !hours.set_aside.is_empty() => {
                let readings = match hours.set_aside.len() {
                    1 => "One reading of its counter cannot be right beside the others and is".to_owned(),
                    count => format!("{count} readings of its counter cannot be right beside the others and are"),
                };
                Some(("reading-set-aside", "counter readings were set aside", format!("{readings} not used.")))
            }
            Some(hours) if !hours.too_fast.is_empty() => Some((
                "reading-set-aside",
                "its counter runs faster than time",
                "Its counter gained over 24 hours a day; those days count as 24 hours and are estimated.".to_owned(),
            )),
            Some(_) => None,
        };
        if let Some((reason, what, says)) = gap {
            all.push(ToDo {
                urgency: Urgency::Note,
                at: Some(pump.at.clone()),
                reason,
                what: what.to_owned(),
                says,
                if_left: String::new(),
                due: None,
                source: None,
            });
        }
        if let Some(hours) = &pump.hours
            && let Some(day) = hours.exchanges.iter().rev().find(|day| **day > plus_days(as_of, -460))
        {
            all.push(ToDo {
                urgency: Urgency::Note,
                at: Some(pump.at.clone()),
                reason: "pump-exchanged",
                what: "a new pump stands here".to_owned(),
                says: format!(
                    "It was exchanged on {}; its parts and its counter began anew.",
                    calendar::in_words(*day)
                ),
                if_left: String::new(),
                due: None,
                source: None,
            });
        }
    }
    let start = site.records_start().map(Month::of);
    let last = Month::of(as_of);
    let seen = |month: Month| {
        site.visits.iter().any(|(_, v)| Month::of(v.date.0) == month)
            || site.readings.values().flatten().any(|row| Month::of(row.day) == month)
    };
    if let Some(start) = start
        && !site.visits.is_empty()
    {
        for month in start.next().max(last.plus(-11)).through(last) {
            // A season that closes in the month explains the silence.
            let closed = site.closed_days(month.first(), month.last()) > 0;
            if !seen(month) && !closed {
                all.push(ToDo {
                    urgency: Urgency::Note,
                    at: None,
                    reason: "silent-month",
                    what: format!("nothing is in the log for {}", month.in_words()),
                    says: "No visit and no reading is written for the whole month.".to_owned(),
                    if_left: String::new(),
                    due: None,
                    source: Some(site.source("log")),
                });
            }
        }
    }
}

fn left_at_visits(fleet: &Fleet, site: &Site, all: &mut Vec<ToDo>) {
    // Notes are the office's own.
    let office = fleet.settings.reports_for == ReportsFor::Office;
    let known = crate::records::check::addresses(site);
    let Some((_, newest)) = site.visits.last() else { return };
    let recent = plus_days(newest.date.0, -60);
    for (index, visit) in site.visits.iter().filter(|(_, v)| v.date.0 >= recent) {
        for (item, left) in visit.left.iter().enumerate() {
            // What has been worked on since is no longer left.
            let done = site.entries(&left.at).any(|(_, later, entry)| {
                later.date.0 > visit.date.0
                    && (!entry.renewed.0.is_empty() || !entry.repaired.0.is_empty() || entry.exchanged.is_some())
            });
            if done || !known.contains(&left.at) {
                continue;
            }
            let quote = left.quote == Some(true);
            all.push(ToDo {
                urgency: Urgency::Plan,
                at: Some(left.at.clone()),
                reason: "left-at-visit",
                what: if quote { "left at a visit, to be quoted" } else { "left at a visit" }.to_owned(),
                says: match left.note.as_ref().filter(|_| office) {
                    Some(note) => format!("Seen on {}: “{}”", calendar::in_words(visit.date.0), note.0.trim()),
                    None => format!("Seen on {}.", calendar::in_words(visit.date.0)),
                },
                if_left: "how long it holds is not known".to_owned(),
                due: None,
                source: Some(site.source(&format!("log[{index}].left[{item}]"))),
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantities::fleet_for_tests::load_with;

    fn urgent(spa: &str, log: &str) -> Vec<(Urgency, &'static str)> {
        let site = format!("format: 1\nspas: {{tub: {{{spa}}}}}\nlog: [{log}]\n");
        let book = "format: 1\nparts: {suction_cover: {fits: spa, interval: {age: 60 mo}}}\n";
        let fleet = "{format: 1, fleet: Test, currency: GBP, timezone: Europe/London}";
        let files = [("fleet.yaml", fleet), ("upkeep.yaml", book), ("sites/home.yaml", site.as_str())];
        load_with(&files, "2026-06-30", |_, site, _| site.to_do.iter().map(|t| (t.urgency, t.reason)).collect())
    }

    #[test]
    fn a_suction_cover_past_its_stated_life_closes_the_spa() {
        let over = urgent("fitted: 2021-06-30", "{date: 2026-06-01, at: {tub: {ph: 7.2}}}");
        assert_eq!(over[0], (Urgency::DoNotUse, "suction-cover-over-age"));
        // With no log at all nobody can say whether it was renewed: somebody has to look.
        let no_log = urgent("fitted: 2021-06-30", "");
        assert_eq!(no_log[0], (Urgency::ActNow, "suction-cover-age-unknown"));
        // Deferring it changes nothing.
        let deferred =
            urgent("fitted: 2021-06-30", "{date: 2026-06-01, at: {tub: {deferred: {suction_cover: 2027-01-01}}}}");
        assert_eq!(deferred[0], (Urgency::DoNotUse, "suction-cover-over-age"));
        let renewed = urgent("fitted: 2021-06-30", "{date: 2026-06-01, at: {tub: {renewed: [suction_cover]}}}");
        assert!(renewed.iter().all(|(urgency, _)| *urgency != Urgency::DoNotUse), "{renewed:?}");
        let unknown = urgent("fitted: unknown", "");
        assert!(unknown.contains(&(Urgency::Plan, "suction-cover-age-unknown")), "{unknown:?}");
    }

    #[test]
    fn water_over_forty_degrees_closes_the_spa_without_a_rule_book() {
        let of = |temperature: &str| {
            urgent("fitted: 2026-01-01", &format!("{{date: 2026-06-30, at: {{tub: {{temperature: {temperature}}}}}}}"))
        };
        assert_eq!(of("40.5")[0], (Urgency::DoNotUse, "water-test-out"));
        assert!(of("40.0").iter().all(|(urgency, _)| *urgency != Urgency::DoNotUse));
    }
}
