//! Last month beside this one: what is new, what was settled, what was to be done by now and is not, and which planned
//! visits are not in the log.
//!
//! It holds the things of both months side by side by what and where they are, not by how they are worded, since a part
//! that was due becomes one that is overdue. Work that comes round again stands in both months though it was done in
//! between: the log decides. It judges nothing anew.

use std::sync::Arc;

use chrono::NaiveDate;

use crate::address::{Address, Id};
use crate::calendar::{self, Month, days_between, plus_days};
use crate::charts::style::list;
use crate::quantities::water_tests::TestVerdict;
use crate::records::Site;
use crate::records::log::{Entry, Visit as Logged, Why};
use crate::report::format;
use crate::schedule::visits::{Visit, Work};
use crate::site::SiteFigures;
use crate::to_do::{NOT_IN_PLAN, ToDo, Urgency};

/// Days by which a visit may be made earlier or later and still be the one that was planned; common practice, no source.
const ABOUT: i64 = 7;
/// The task that cleans a filter.
const FILTER_CLEAN: &str = "filter_clean";

/// A thing to do as it stood on a day, kept for the month after.
#[derive(Debug, Clone, PartialEq)]
pub struct Thing {
    /// How urgent it was.
    pub urgency: Urgency,
    /// Where; the site itself where `None`.
    pub at: Option<Address>,
    /// What, in a few words.
    pub what: String,
    /// By when; `None` also where somebody put it off to a later day.
    pub due: Option<NaiveDate>,
    /// The day the log last told of it as done; `None` = never, or nothing in a log would say so.
    pub last: Option<NaiveDate>,
}

impl Thing {
    fn is(&self, other: &Self) -> bool {
        self.at == other.at && self.what == other.what
    }
}

/// How a site stood on a day, kept for the month after.
#[derive(Debug, Clone, Default)]
pub struct Kept {
    /// The day.
    pub as_of: NaiveDate,
    /// What was to be done.
    pub things: Vec<Thing>,
    /// The visits planned for the month behind it.
    pub visits: Vec<Arc<Visit>>,
}

impl Kept {
    /// How a site stands; notes are nobody's to do.
    pub fn of(site: &SiteFigures) -> Self {
        let end = Month::of(site.as_of).next().last();
        Self {
            as_of: site.as_of,
            things: site
                .to_do
                .iter()
                .filter(|one| one.urgency != Urgency::Note)
                .map(|one| Thing {
                    urgency: one.urgency,
                    at: one.at.clone(),
                    what: one.what.clone(),
                    due: one.due.filter(|_| !is_put_off(site, one) && one.reason != NOT_IN_PLAN),
                    last: last(site, one),
                })
                .collect(),
            visits: site.visits.iter().filter(|visit| visit.date <= end).cloned().collect(),
        }
    }
}

/// What changed from one month to the next.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Since {
    /// What was not there before.
    pub new: Vec<Thing>,
    /// What was there and is not any more.
    pub settled: Vec<Thing>,
    /// What was to be done by the as-of day and has not been done since.
    pub not_done: Vec<Thing>,
    /// Planned visits of which the log tells nothing.
    pub not_made: Vec<NotMade>,
}

/// A planned visit the log does not tell of.
#[derive(Debug, Clone, PartialEq)]
pub struct NotMade {
    /// The day it was planned for.
    pub date: NaiveDate,
    /// What of its work has not been done on another day either.
    pub undone: Vec<(Address, Work)>,
}

/// Compares a site as it stood the month before with how it stands now; `site` is its records up to the as-of day.
pub fn since(before: &Kept, now: &Kept, site: &Site) -> Since {
    let missing = |of: &[Thing], from: &[Thing]| -> Vec<Thing> {
        of.iter().filter(|one| !from.iter().any(|other| other.is(one))).cloned().collect()
    };
    // What was done since and is to be done again was not left undone, however late it was.
    let still = |one: &&Thing| {
        now.things.iter().any(|other| other.is(one) && other.last.is_none_or(|last| last <= before.as_of))
    };
    let due = |one: &&Thing| one.due.is_some_and(|due| due <= now.as_of);
    Since {
        new: missing(&now.things, &before.things),
        settled: missing(&before.things, &now.things),
        not_done: before.things.iter().filter(due).filter(still).cloned().collect(),
        not_made: not_made(before, now.as_of, site),
    }
}

/// The planned visits that are not in the log. A visit in the log is one planned visit, the nearest.
fn not_made(before: &Kept, as_of: NaiveDate, site: &Site) -> Vec<NotMade> {
    // Where no log is kept nothing says whether anybody came.
    if site.records_start().is_none() {
        return Vec::new();
    }
    let planned: Vec<&Arc<Visit>> =
        before.visits.iter().filter(|visit| visit.date > before.as_of && visit.date <= as_of).collect();
    let logged: Vec<&Logged> =
        site.visits.iter().map(|(_, visit)| visit).filter(|visit| visit.date.0 > before.as_of).collect();
    let mut pairs: Vec<(i64, usize, usize)> = Vec::new();
    for (plan, visit) in planned.iter().enumerate() {
        for (log, made) in logged.iter().enumerate().filter(|(_, made)| is_for(made, visit)) {
            let apart = days_between(visit.date, made.date.0).abs();
            if apart <= ABOUT {
                pairs.push((apart, plan, log));
            }
        }
    }
    pairs.sort_unstable();
    let (mut made, mut taken) = (vec![false; planned.len()], vec![false; logged.len()]);
    for (_, plan, log) in pairs {
        if !made[plan] && !taken[log] {
            (made[plan], taken[log]) = (true, true);
        }
    }
    planned
        .iter()
        .zip(made)
        .filter(|(_, made)| !made)
        .map(|(visit, _)| NotMade {
            date: visit.date,
            undone: visit
                .tasks
                .iter()
                .filter(|task| {
                    let since = plus_days(visit.date, -ABOUT).max(before.as_of);
                    last_done(site, &task.at, &task.work).is_none_or(|last| last <= since)
                })
                .map(|task| (task.at.clone(), task.work.clone()))
                .collect(),
        })
        .collect()
}

/// Whether a visit in the log may be a planned one: tests alone are none, and a call-out only if it did some of the work.
fn is_for(made: &Logged, planned: &Visit) -> bool {
    let works = |entry: &Entry| {
        !entry.done.is_empty()
            || !entry.renewed.0.is_empty()
            || !entry.repaired.0.is_empty()
            || !entry.inspected.0.is_empty()
            || entry.exchanged.is_some()
    };
    match made.why {
        Some(Why::Planned | Why::Changeover) => true,
        Some(Why::Test) => false,
        Some(Why::Callout) => {
            planned.tasks.iter().any(|task| made.at.get(&task.at).is_some_and(|entry| does(entry, &task.work)))
        }
        None => made.at.iter().any(|(_, entry)| works(entry)),
    }
}

/// Whether an entry of the log tells of a kind of work.
fn does(entry: &Entry, work: &Work) -> bool {
    let renewed = |part: &str| entry.renewed.0.iter().any(|(id, _)| id.as_str() == part);
    let done = |task: &str| entry.done.iter().any(|id| id.as_str() == task);
    match work {
        Work::Renew(part) => renewed(part.as_str()) || entry.exchanged.is_some(),
        // A cartridge renewed is a filter as clean as one can be.
        Work::Task(task) => done(task.as_str()) || task.as_str() == FILTER_CLEAN && renewed("cartridge"),
        Work::Close => done("close"),
        Work::Reopen => done("reopen"),
        Work::Left(_) => !entry.renewed.0.is_empty() || !entry.repaired.0.is_empty() || entry.exchanged.is_some(),
        Work::ContractVisit => false,
    }
}

/// The day the log last tells of work somewhere.
fn last_done(site: &Site, at: &Address, work: &Work) -> Option<NaiveDate> {
    match work {
        // Whoever was there for work had a look round.
        Work::ContractVisit => {
            let came = |visit: &&Logged| matches!(visit.why, Some(Why::Planned | Why::Changeover));
            site.visits.iter().map(|(_, visit)| visit).filter(came).map(|visit| visit.date.0).max()
        }
        _ => site.entries(at).filter(|(_, _, entry)| does(entry, work)).map(|(_, visit, _)| visit.date.0).max(),
    }
}

/// The day the log last tells of a thing as done.
fn last(site: &SiteFigures, thing: &ToDo) -> Option<NaiveDate> {
    let at = thing.at.as_ref()?;
    let work = match thing.reason {
        "filter-clean-due" | "filter-fouling-fast" => Work::Task(Id::parse(FILTER_CLEAN).ok()?),
        "water-change-due" | "task-overdue" => {
            let task =
                site.tasks.iter().find(|task| task.at == *at && format::words(task.id.as_str()) == thing.what)?;
            Work::Task(task.id.clone())
        }
        "part-due" | "part-overdue" => Work::Renew(part_of(site, thing)?.part.id.clone()),
        // A test that met the limits in between settled it: what is out now came anew.
        "water-test-out" => {
            let spa = site.spas.iter().find(|spa| spa.at == *at)?;
            let of = |name: String| thing.what.strip_prefix(name.as_str()).is_some_and(|rest| rest.starts_with(" is "));
            let met = spa.tests.iter().filter(|test| test.verdict == TestVerdict::Meets);
            return met.filter(|test| of(format::quantity_name(test.quantity))).map(|test| test.day).max();
        }
        _ => return None,
    };
    last_done(site.site, at, &work)
}

fn part_of<'a>(site: &'a SiteFigures, thing: &ToDo) -> Option<&'a crate::schedule::due::PartDue<'a>> {
    let named = |id: &Id| thing.what == format!("renew the {}", format::words(id.as_str()));
    site.parts.iter().find(|part| Some(&part.part.at) == thing.at.as_ref() && named(part.part.id))
}

/// Whether somebody decided to leave a part longer.
fn is_put_off(site: &SiteFigures, thing: &ToDo) -> bool {
    matches!(thing.reason, "part-due" | "part-overdue")
        && part_of(site, thing).is_some_and(|part| part.part.deferred.is_some_and(|day| day > site.as_of))
}

// ---------------------------------------------------------------- words

/// Things and their places in a few words, the same at several places once; `place` names an address.
pub fn named(things: &[Thing], most: usize, place: impl Fn(&str) -> String) -> String {
    let places = things.iter().map(|thing| (thing.what.clone(), thing.at.as_ref().map(|at| place(at.as_str()))));
    by_kind(places, most)
}

/// The planned visits that are not in the log, in a sentence; `None` = there are none. `last` is the month before.
pub fn not_made_words(visits: &[NotMade], last: &str, place: impl Fn(&str) -> String) -> Option<String> {
    if visits.is_empty() {
        return None;
    }
    let mut undone: Vec<(String, Option<String>)> = Vec::new();
    for (at, work) in visits.iter().flat_map(|visit| &visit.undone) {
        let what = match work {
            Work::Renew(part) => format!("renew the {}", format::words(part.as_str())),
            Work::Left(_) => "what a visit left".to_owned(),
            Work::Close => "closing for the season".to_owned(),
            Work::Reopen => "opening after the season".to_owned(),
            Work::ContractVisit => "the look round".to_owned(),
            Work::Task(task) => format::words(task.as_str()),
        };
        let one = (what, (*work != Work::ContractVisit).then(|| place(at.as_str())));
        if !undone.contains(&one) {
            undone.push(one);
        }
    }
    let visit = if visits.len() == 1 { "visit" } else { "visits" };
    let lead = format!("Not in the log: the {visit} planned in {last} for {}", days(visits));
    Some(if undone.is_empty() {
        format!("{lead}; {} work has been done on another day.", if visits.len() == 1 { "its" } else { "their" })
    } else {
        format!("{lead}; not done since: {}.", by_kind(undone.into_iter(), 3))
    })
}

/// Days of planned visits: "2, 5 and 12 October".
pub fn days(visits: &[NotMade]) -> String {
    let runs: Vec<String> = visits
        .chunk_by(|a, b| Month::of(a.date) == Month::of(b.date))
        .map(|run| {
            let days: Vec<String> = run.iter().map(|visit| visit.date.format("%-d").to_string()).collect();
            let month = Month::of(run[0].date).number() as usize;
            format!("{} {}", list(&days), calendar::MONTHS[month - 1])
        })
        .collect();
    list(&runs)
}

fn by_kind(things: impl Iterator<Item = (String, Option<String>)>, most: usize) -> String {
    let mut kinds: Vec<(String, Vec<String>)> = Vec::new();
    for (what, at) in things {
        match kinds.iter_mut().find(|(known, _)| *known == what) {
            Some((_, places)) => places.extend(at.filter(|at| !places.contains(at))),
            None => kinds.push((what, at.into_iter().collect())),
        }
    }
    let words = |(what, places): &(String, Vec<String>)| match places.as_slice() {
        [] => what.clone(),
        places => format!("{what} ({})", list_short(places, 3)),
    };
    list_short(&kinds.iter().map(words).collect::<Vec<_>>(), most)
}

/// The first items, and how many more there are.
pub fn list_short(items: &[String], most: usize) -> String {
    if items.len() <= most {
        list(items)
    } else {
        format!("{} and {} more", items[..most].join(", "), items.len() - most)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantities::fleet_for_tests::{day, load_with};
    use crate::schedule::visits::{self, Plan};

    fn thing(what: &str, due: Option<&str>, last: Option<&str>) -> Thing {
        Thing { urgency: Urgency::Plan, at: None, what: what.to_owned(), due: due.map(day), last: last.map(day) }
    }

    fn words(things: &[Thing]) -> Vec<String> {
        things.iter().map(|t| t.what.clone()).collect()
    }

    const FLEET: &str = "{format: 1, fleet: Test, currency: GBP, timezone: Europe/London, technicians: {ann: {}}}";
    const BOOK: &str = "format: 1\nparts: {seal: {fits: pump, interval: {age: 12 mo}}}\n\
                        tasks: {water_change: {fits: spa, every: 7 d}, drain_check: {fits: spa, every: 14 d}}\n";

    /// How a site with a log stands on a day, its plan made.
    fn kept(log: &str, as_of: &str, then: impl FnOnce(Kept, &Site)) {
        let site = format!(
            "format: 1\nspas:\n  tub:\n    fitted: 2026-01-01\n    pumps: {{one: {{fitted: 2025-09-20, duty: jets}}}}\nlog: [{log}]\n"
        );
        let files = [("fleet.yaml", FLEET), ("upkeep.yaml", BOOK), ("sites/home.yaml", site.as_str())];
        load_with(&files, as_of, |fleet, site, as_of| {
            let plan: Plan = visits::plan(fleet, std::slice::from_ref(site), as_of, false);
            let visits = plan.visits.into_iter().filter(|v| v.date <= Month::of(as_of).next().last()).collect();
            then(Kept { visits, ..Kept::of(site) }, site.site);
        });
    }

    const SEPTEMBER: &str = "{date: 2026-09-14, by: ann, why: planned, at: {tub: {done: [water_change, drain_check]}}}";

    #[test]
    fn what_was_promised_and_not_done_is_told_from_what_is_new_or_settled() {
        let before = Kept {
            as_of: day("2026-09-30"),
            things: vec![
                thing("seal", Some("2026-10-20"), None),
                thing("clean", Some("2026-10-05"), None),
                thing("change", Some("2026-10-07"), Some("2026-09-30")),
                thing("cover", Some("2026-12-01"), None),
            ],
            visits: Vec::new(),
        };
        let now = Kept {
            as_of: day("2026-10-31"),
            things: vec![
                thing("seal", Some("2026-10-20"), Some("2026-09-30")),
                thing("change", Some("2026-10-26"), Some("2026-10-19")),
                thing("cover", Some("2026-12-01"), None),
                thing("gasket", None, None),
            ],
            visits: Vec::new(),
        };
        kept(SEPTEMBER, "2026-10-31", |_, site| {
            let since = since(&before, &now, site);
            assert_eq!(words(&since.new), ["gasket"]);
            assert_eq!(words(&since.settled), ["clean"]);
            assert_eq!(words(&since.not_done), ["seal"]);
        });
    }

    #[test]
    fn work_that_was_done_and_came_round_again_was_not_left_undone() {
        let october = "{date: 2026-10-12, by: ann, why: planned, at: {tub: {done: [water_change]}}}";
        let mut before = Kept::default();
        kept(SEPTEMBER, "2026-09-30", |as_it_stood, _| before = as_it_stood);
        assert!(words(&before.things).contains(&"water change".to_owned()), "{before:?}");
        kept(&format!("{SEPTEMBER}, {october}"), "2026-10-31", |now, site| {
            assert!(words(&now.things).contains(&"water change".to_owned()), "{now:?}");
            let undone = words(&since(&before, &now, site).not_done);
            assert_eq!(undone, ["renew the seal", "drain check"]);
        });
        // With an empty October the change was left undone too.
        kept(SEPTEMBER, "2026-10-31", |now, site| {
            assert_eq!(words(&since(&before, &now, site).not_done), ["renew the seal", "water change", "drain check"]);
        });
    }

    #[test]
    fn planned_visits_that_are_not_in_the_log_are_named_with_what_was_never_done() {
        let mut before = Kept::default();
        kept(SEPTEMBER, "2026-09-30", |as_it_stood, _| before = as_it_stood);
        assert!(before.visits.len() > 2, "{before:?}");
        let first = before.visits[0].date;
        let place = |at: &str| at.to_owned();
        kept(SEPTEMBER, "2026-10-31", |now, site| {
            let none = since(&before, &now, site).not_made;
            assert_eq!(none.len(), before.visits.len());
            let says = not_made_words(&none, "September", place).unwrap();
            assert!(
                says.starts_with(&format!(
                    "Not in the log: the visits planned in September for {}, ",
                    first.format("%-d")
                )),
                "{says}"
            );
            assert!(says.contains("not done since: ") && says.contains("water change (tub)"), "{says}");
        });
        // Made a day later it was made; tests alone are no visit.
        let made = first.succ_opt().unwrap();
        let log = format!(
            "{SEPTEMBER}, {{date: {made}, by: ann, why: planned, at: {{tub: {{done: [water_change, drain_check]}}, tub/one: {{renewed: [seal]}}}}}}, \
             {{date: {}, why: test, at: {{tub: {{ph: 7.4}}}}}}",
            before.visits.last().unwrap().date
        );
        kept(&log, "2026-10-31", |now, site| {
            let others = since(&before, &now, site).not_made;
            assert_eq!(others.len(), before.visits.len() - 1);
            assert!(others.iter().all(|visit| visit.date != first), "{others:?}");
            let says = not_made_words(&others, "September", place).unwrap();
            assert!(!says.contains("seal"), "{says}");
        });
    }

    #[test]
    fn nobody_is_said_to_have_stayed_away_where_no_log_is_kept() {
        let mut before = Kept::default();
        kept("", "2026-09-30", |as_it_stood, _| before = as_it_stood);
        kept("", "2026-10-31", |now, site| assert_eq!(since(&before, &now, site).not_made, []));
    }

    #[test]
    fn days_are_named_by_month() {
        let of = |days: &[&str]| days.iter().map(|d| NotMade { date: day(d), undone: Vec::new() }).collect::<Vec<_>>();
        assert_eq!(days(&of(&["2026-10-02", "2026-10-05", "2026-11-01"])), "2 and 5 October and 1 November");
        let says = not_made_words(&of(&["2026-10-02"]), "September", ToOwned::to_owned).unwrap();
        assert_eq!(
            says,
            "Not in the log: the visit planned in September for 2 October; its work has been done on another day."
        );
    }
}
