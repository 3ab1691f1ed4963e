//! Why something is not done on the day it was promised for: the record or the rule that moved it, in words.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::{Accepted, LEAST_SLACK_DAYS, WEEK_DAYS, Work};
use crate::address::{Address, Id};
use crate::calendar::{days_between, plus_days};
use crate::records::Fleet;
use crate::records::plan::{PlannedTask, PlannedVisit};
use crate::report::format;
use crate::schedule::visits::Visit;
use crate::schedule::visits::made::works;
use crate::site::{SiteFigures, place_of};

/// A time something is planned: which visit of the site, which of its tasks, and the day the time before is planned for.
#[derive(Debug, Clone, Copy)]
pub(super) struct Now {
    pub visit: usize,
    pub task: usize,
    pub before: Option<NaiveDate>,
}

/// A promised line, and where it is done now.
pub(super) struct Line<'a> {
    pub old: &'a PlannedVisit,
    promised: &'a PlannedTask,
    work: Work,
    pub now: Option<Now>,
}

/// The promised lines of a site, each with the nearest time the same is planned for now, if there is one near enough to be
/// the same.
pub(super) fn lines<'a>(old: &[&'a PlannedVisit], visits: &[&mut Visit]) -> Vec<Line<'a>> {
    let mut times: BTreeMap<(&Address, &Work), Vec<Now>> = BTreeMap::new();
    for (visit, planned) in visits.iter().enumerate() {
        for (place, task) in planned.tasks.iter().enumerate() {
            let all = times.entry((&task.at, &task.work)).or_default();
            let before = all.last().map(|before| visits[before.visit].date);
            all.push(Now { visit, task: place, before });
        }
    }
    let mut lines: Vec<Line> = Vec::new();
    for visit in old {
        for line in &visit.tasks {
            lines.extend(Work::of_line(line).map(|work| Line { old: visit, promised: line, work, now: None }));
        }
    }
    // The nearest first, so that what stays on its day is not taken for something else.
    let mut pairs: Vec<(i64, usize, usize)> = Vec::new();
    for (place, line) in lines.iter().enumerate() {
        let slack = line.slack();
        for (time, now) in times.get(&(&line.promised.at, &line.work)).into_iter().flatten().enumerate() {
            let away = days_between(line.old.date.0, visits[now.visit].date).abs();
            if away <= slack {
                pairs.push((away, place, time));
            }
        }
    }
    pairs.sort_unstable();
    let mut found: Vec<Option<Now>> = vec![None; lines.len()];
    let mut taken: Vec<(usize, usize)> = Vec::new();
    for (_, place, time) in pairs {
        let line = &lines[place];
        let Some(now) = times.get(&(&line.promised.at, &line.work)).and_then(|times| times.get(time)) else { continue };
        if found[place].is_none() && !taken.contains(&(now.visit, now.task)) {
            taken.push((now.visit, now.task));
            found[place] = Some(*now);
        }
    }
    for (line, now) in lines.iter_mut().zip(found) {
        line.now = now;
    }
    lines
}

impl Line<'_> {
    /// Days it may be moved and still be the same time: as many as it can wait or be early.
    fn slack(&self) -> i64 {
        let due = self.promised.due.map_or(0, |due| days_between(self.old.date.0, due.0).abs());
        due.max(LEAST_SLACK_DAYS)
    }

    fn what(&self) -> String {
        format!("{} at {}", format::words(&self.work.word()), format::place(self.promised.at.as_str()))
    }
}

/// The day something is due; `None` = not known.
struct DueNow(Option<NaiveDate>);

/// What the reasons of a site are read from.
pub(super) struct Reasons<'a> {
    pub fleet: &'a Fleet,
    pub figures: Option<&'a SiteFigures<'a>>,
    pub accepted: Accepted<'a>,
}

impl Reasons<'_> {
    /// Why nothing of a visit could stay on its day; `None` = it could.
    fn of_day(&self, old: &PlannedVisit) -> Option<String> {
        let day = old.date.0;
        let shown = format::short_date(day);
        let Some(figures) = self.figures else { return Some("the site is no longer in the records".to_owned()) };
        if figures.site.is_closed(day) {
            return Some(format!("the site is closed on {shown}"));
        }
        let access = crate::schedule::visits::access::access(figures.site, day, 1);
        if !access.visit_day[0] {
            return Some(format!("the site cannot be visited on the day of the week of {shown}"));
        }
        if access.lists.iter().all(|list| list[0] == 0) {
            return Some(format!("guests stay on {shown}"));
        }
        if self.fleet.settings.holidays.iter().any(|holiday| holiday.0 == day) {
            return Some(format!("{shown} is a holiday"));
        }
        let technician = old.technician.as_ref()?;
        match self.fleet.settings.technicians.get(technician) {
            None => Some(format!("{technician} is no longer in the records")),
            Some(person) if !works(person, day) => {
                let name = person.name.as_ref().map_or(technician.as_str(), |name| name.0.as_str());
                Some(format!("{name} does not work on {shown}"))
            }
            Some(_) => None,
        }
    }

    /// The last day it was done that has been recorded since the plan was accepted.
    fn done_since(&self, line: &Line) -> Option<NaiveDate> {
        let (known, now) = (self.accepted.plan.as_of.0, self.accepted.as_of);
        let entries = self.figures?.site.entries(&line.promised.at);
        let did = |entry: &crate::records::log::Entry| match &line.work {
            Work::Renew(part) => entry.renewed.0.iter().any(|(id, _)| id == part),
            Work::Task(task) => entry.done.contains(task),
            _ => false,
        };
        entries
            .filter(|(_, visit, entry)| visit.date.0 > known && visit.date.0 <= now && did(entry))
            .map(|(_, visit, _)| visit.date.0)
            .max()
    }

    /// When it is due now, where it is not planned; `None` = it is not to be done any more.
    fn due_now(&self, line: &Line) -> Option<DueNow> {
        let figures = self.figures?;
        match &line.work {
            Work::Renew(part) => {
                figures.parts.iter().find(|p| p.part.at == line.promised.at && p.part.id == part).map(|p| DueNow(p.due))
            }
            Work::Task(task) => {
                figures.tasks.iter().find(|t| t.at == line.promised.at && t.id == task).map(|t| DueNow(t.due))
            }
            _ => Some(DueNow(line.promised.due.map(|due| due.0))),
        }
    }

    /// Whether the same was promised for a day.
    fn stays(&self, line: &Line, day: NaiveDate) -> bool {
        let visits =
            self.accepted.plan.visits.iter().filter(|visit| visit.site == line.old.site && visit.date.0 == day);
        visits.flat_map(super::promised_work).any(|(at, work)| *at == line.promised.at && work == line.work)
    }

    /// Why a line cannot be done when it was promised, from what is known of it alone; `None` = nothing speaks against it.
    fn of_line(&self, line: &Line, visits: &[&mut Visit]) -> Option<String> {
        let what = line.what();
        let was = line.promised.due?.0;
        let Some(now) = line.now else {
            let Some(DueNow(due)) = self.due_now(line) else {
                return Some(format!("{what} is not to be done any more"));
            };
            let due = due.map_or_else(String::new, |due| format!(" and is due {}", format::short_date(due)));
            return self.done_since(line).map(|done| format!("{what} was done on {}{due}", format::short_date(done)));
        };
        let due = visits[now.visit].tasks[now.task].due?;
        if due == was {
            return None;
        }
        let due = format!("due {} (before: {})", format::short_date(due), format::short_date(was));
        Some(match (now.before, self.done_since(line)) {
            (Some(before), _) if self.stays(line, before) => {
                let before = format::short_date(before);
                format!("{what} stays on {before} and is then {due} by the readings and bookings there are now")
            }
            (Some(before), _) => format!("{what} is planned for {} and then {due}", format::short_date(before)),
            (None, Some(done)) => format!("{what} was done on {} and is {due}", format::short_date(done)),
            (None, None) => format!("{what} is {due} by the readings and bookings there are now"),
        })
    }

    /// Why a line is not done when it was promised.
    pub(super) fn why(&self, line: &Line, lines: &[Line], visits: &[&mut Visit]) -> String {
        let of_day = || self.of_day(line.old);
        let own = || self.of_line(line, visits);
        let of_week = || {
            let anew = self.accepted.week_anew && line.old.date.0 <= plus_days(self.accepted.as_of, WEEK_DAYS);
            anew.then(|| "the week was planned anew".to_owned())
        };
        // What the visit was for has gone to another day, and the rest goes along.
        let along = || {
            let mut of_visit = lines.iter().filter(|other| other.old.id == line.old.id);
            of_visit.find_map(|other| self.of_line(other, visits)).map(|why| format!("it goes along: {why}"))
        };
        let late = || {
            let now = line.now?;
            visits[now.visit].tasks[now.task].late.clone()
        };
        of_day()
            .or_else(own)
            .or_else(of_week)
            .or_else(along)
            .or_else(late)
            .unwrap_or_else(|| "that day is full of other work".to_owned())
    }

    /// Why a visit is not made when it was promised: what concerns most of its work.
    pub(super) fn of_visit(&self, old: &PlannedVisit, lines: &[Line], visits: &[&mut Visit]) -> String {
        let mine: Vec<&Line> = lines.iter().filter(|line| line.old.id == old.id).collect();
        let own = mine.iter().find_map(|line| self.of_line(line, visits));
        let first = || mine.first().map(|line| self.why(line, lines, visits));
        self.of_day(old).or(own).or_else(first).unwrap_or_else(|| "nothing is to be done there any more".to_owned())
    }
}

/// A reason as it is printed, with the day it moved from where the day is another.
pub(super) fn from(day: NaiveDate, date: NaiveDate, why: &str) -> String {
    let from = if date == day { String::new() } else { format!("From {}: ", format::short_date(day)) };
    format::sentence(&format!("{from}{why}"))
}

/// The site's figures among those of the fleet, which stand by id.
pub(super) fn figures_of<'a, 'b>(sites: &'a [SiteFigures<'b>], site: &Id) -> Option<&'a SiteFigures<'b>> {
    place_of(sites, site).map(|place| &sites[place])
}
