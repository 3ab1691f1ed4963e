//! A plan that stays put: which of today's work was promised for which day, and, once days are chosen, which visit is
//! which, what moved and why, and what is cancelled.

mod reasons;

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::NaiveDate;

use super::{Cancelled, Plan, Visit, Work};
use crate::address::{Address, Id};
use crate::calendar::plus_days;
use crate::records::Fleet;
use crate::records::forms::{Date, Format, Keyed, Name, Text};
use crate::records::plan::{CancelledVisit, PlanFile, PlannedTask, PlannedVisit};
use crate::site::SiteFigures;
use reasons::{Reasons, figures_of};

/// Days of the week that is planned anew with `--week`.
pub const WEEK_DAYS: i64 = 7;

/// Days a visit may move and still be the same, whatever its work can wait: common practice, no source.
const LEAST_SLACK_DAYS: i64 = 14;

/// The accepted plan as it is to be kept.
#[derive(Debug, Clone, Copy)]
pub struct Accepted<'a> {
    /// What was accepted.
    pub plan: &'a PlanFile,
    /// The as-of day.
    pub as_of: NaiveDate,
    /// Whether the coming week is planned anew.
    pub week_anew: bool,
}

impl Work {
    /// The work a line of the accepted plan stands for.
    fn of_line(line: &PlannedTask) -> Option<Self> {
        match (&line.renew, &line.task, &line.left, line.visit.as_ref().map(Id::as_str)) {
            (Some(part), ..) => Some(Self::Renew(part.clone())),
            (_, Some(task), ..) => Some(Self::Task(task.clone())),
            (_, _, Some(left), _) => Some(Self::Left(left.0.clone())),
            (_, _, _, Some("close")) => Some(Self::Close),
            (_, _, _, Some("reopen")) => Some(Self::Reopen),
            (_, _, _, Some("contract_visit")) => Some(Self::ContractVisit),
            _ => None,
        }
    }

    fn line(&self, at: &Address, due: Option<NaiveDate>) -> PlannedTask {
        let mut line =
            PlannedTask { at: at.clone(), renew: None, task: None, left: None, visit: None, due: due.map(Date) };
        match self {
            Self::Renew(part) => line.renew = Some(part.clone()),
            Self::Task(task) => line.task = Some(task.clone()),
            Self::Left(what) => line.left = Some(Text(what.clone())),
            Self::Close | Self::Reopen | Self::ContractVisit => line.visit = Id::parse(&self.word()).ok(),
        }
        line
    }
}

impl<'a> Accepted<'a> {
    /// The visits to a site that are to be kept.
    pub fn kept(self, site: &Id) -> impl Iterator<Item = &'a PlannedVisit> {
        let free_until = if self.week_anew { plus_days(self.as_of, WEEK_DAYS) } else { self.as_of };
        let site = site.clone();
        self.plan.after(free_until).filter(move |visit| visit.site == site)
    }
}

/// The work of a visit, by place.
pub fn promised_work(visit: &PlannedVisit) -> impl Iterator<Item = (&Address, Work)> {
    promised_lines(visit).map(|(at, work, _)| (at, work))
}

/// The same with the day each was due.
pub fn promised_lines(visit: &PlannedVisit) -> impl Iterator<Item = (&Address, Work, Option<NaiveDate>)> {
    visit.tasks.iter().filter_map(|line| Some((&line.at, Work::of_line(line)?, line.due.map(|due| due.0))))
}

/// Gives visits the names they had, says what moved and why, and lists what is cancelled.
pub fn settle(plan: &mut Plan, fleet: &Fleet, sites: &[SiteFigures], accepted: Accepted) {
    let mut numbers: BTreeMap<&Id, u32> = accepted.plan.numbers.iter().map(|(id, number)| (id, *number)).collect();
    let mut promised: BTreeMap<&Id, Vec<&PlannedVisit>> = BTreeMap::new();
    for visit in accepted.plan.after(accepted.as_of) {
        promised.entry(&visit.site).or_default().push(visit);
    }
    let mut visits: BTreeMap<Id, Vec<&mut Visit>> = BTreeMap::new();
    for visit in &mut plan.visits {
        visits.entry(visit.site.clone()).or_default().push(Arc::make_mut(visit));
    }
    for (site, visits) in &mut visits {
        let old = promised.remove(site).unwrap_or_default();
        let figures = figures_of(sites, site);
        let reasons = Reasons { fleet, figures, accepted };
        let lines = reasons::lines(&old, visits);
        let mut moved: Vec<(usize, usize, String)> = Vec::new();
        for line in &lines {
            let Some(now) = line.now else { continue };
            let visit = &visits[now.visit];
            if visit.date != line.old.date.0 || visit.technician != line.old.technician {
                let why = reasons::from(line.old.date.0, visit.date, &reasons.why(line, &lines, visits));
                moved.push((now.visit, now.task, why));
            }
        }
        let of_visit: BTreeMap<&str, String> =
            old.iter().map(|old| (old.id.0.as_str(), reasons.of_visit(old, &lines, visits))).collect();
        let reason = |old: &PlannedVisit| of_visit.get(old.id.0.as_str()).cloned().unwrap_or_default();
        for (visit, task, why) in moved {
            visits[visit].tasks[task].moved = Some(why);
        }
        let mut taken = vec![false; visits.len()];
        let mut left: Vec<&PlannedVisit> = Vec::new();
        for old in old {
            match visits.iter().position(|visit| visit.date == old.date.0) {
                Some(place) if !taken[place] => {
                    taken[place] = true;
                    name(visits[place], old, &reason);
                }
                _ => left.push(old),
            }
        }
        for old in left {
            let common = |visit: &Visit| {
                promised_work(old)
                    .filter(|(at, work)| visit.tasks.iter().any(|t| t.at == **at && t.work == *work))
                    .count()
            };
            let away = |visit: &Visit| visit.date.signed_duration_since(old.date.0).num_days().abs();
            // Further away than the work could wait or be early it is another visit, not this one moved.
            let slack = old
                .tasks
                .iter()
                .filter_map(|line| Some(line.due?.0.signed_duration_since(old.date.0).num_days().abs()))
                .max()
                .unwrap_or(0)
                .max(LEAST_SLACK_DAYS);
            let near = (0..visits.len())
                .filter(|place| !taken[*place] && common(visits[*place]) > 0 && away(visits[*place]) <= slack)
                .min_by_key(|place| (away(visits[*place]), std::cmp::Reverse(common(visits[*place]))));
            match near {
                Some(place) => {
                    taken[place] = true;
                    name(visits[place], old, &reason);
                }
                None => plan.cancelled.push(cancelled(old, reason(old))),
            }
        }
        let number = numbers.entry(figures.map_or(site, |figures| &figures.site.id)).or_default();
        for (visit, _) in visits.iter_mut().zip(taken).filter(|(_, taken)| !taken) {
            *number += 1;
            visit.id = format!("{site}-{number}");
        }
    }
    for (site, old) in promised {
        for old in old {
            let reasons = Reasons { fleet, figures: figures_of(sites, site), accepted };
            let why = reasons.of_visit(old, &reasons::lines(&[old], &[]), &[]);
            plan.cancelled.push(cancelled(old, why));
        }
    }
    // What was cancelled before is told until its day has passed.
    for old in accepted.plan.cancelled.iter().filter(|old| old.date.0 > accepted.as_of) {
        plan.cancelled.push(Cancelled {
            id: old.id.0.clone(),
            site: old.site.clone(),
            date: old.date.0,
            technician: old.technician.clone(),
            sequence: old.sequence,
            because: old.because.as_ref().map_or_else(String::new, |because| because.0.clone()),
        });
    }
    plan.cancelled.sort_by(|a, b| (a.date, &a.id).cmp(&(b.date, &b.id)));
}

fn cancelled(old: &PlannedVisit, because: String) -> Cancelled {
    Cancelled {
        id: old.id.0.clone(),
        site: old.site.clone(),
        date: old.date.0,
        technician: old.technician.clone(),
        sequence: old.sequence + 1,
        because,
    }
}

/// Makes a visit the one that was promised; a change raises its sequence.
fn name(visit: &mut Visit, old: &PlannedVisit, reason: &dyn Fn(&PlannedVisit) -> String) {
    visit.id = old.id.0.clone();
    let moved = visit.date != old.date.0 || visit.technician != old.technician;
    let tasks: Vec<(Address, Work)> = promised_work(old).map(|(at, work)| (at.clone(), work)).collect();
    let same = tasks.len() == visit.tasks.len()
        && visit.tasks.iter().all(|task| tasks.iter().any(|(at, work)| *at == task.at && *work == task.work));
    visit.sequence = old.sequence + u32::from(moved || !same);
    if visit.technician != old.technician {
        visit.before = Some(old.technician.clone());
    }
    visit.moved = moved.then(|| reasons::from(old.date.0, visit.date, &reason(old)));
}

/// The plan as it is accepted.
pub fn accepted(plan: &Plan, before: Option<&PlanFile>, format: Format, as_of: NaiveDate) -> PlanFile {
    let mut numbers: BTreeMap<Id, u32> =
        before.map(|before| before.numbers.iter().cloned().collect()).unwrap_or_default();
    for visit in &plan.visits {
        let number = visit.id.rsplit('-').next().and_then(|number| number.parse().ok()).unwrap_or(0);
        let last = numbers.entry(visit.site.clone()).or_default();
        *last = (*last).max(number);
    }
    let mut visits: Vec<PlannedVisit> = plan
        .visits
        .iter()
        .map(|visit| PlannedVisit {
            id: Name(visit.id.clone()),
            site: visit.site.clone(),
            date: Date(visit.date),
            technician: visit.technician.clone(),
            sequence: visit.sequence,
            tasks: visit.tasks.iter().map(|task| task.work.line(&task.at, task.due)).collect(),
        })
        .collect();
    visits.sort_by(|a, b| (a.date, &a.site).cmp(&(b.date, &b.site)));
    let cancelled = plan
        .cancelled
        .iter()
        .map(|gone| CancelledVisit {
            id: Name(gone.id.clone()),
            site: gone.site.clone(),
            date: Date(gone.date),
            technician: gone.technician.clone(),
            sequence: gone.sequence,
            because: Some(Text(gone.because.clone())),
        })
        .collect();
    PlanFile { format, as_of: Date(as_of), numbers: Keyed(numbers.into_iter().collect()), visits, cancelled }
}

#[cfg(test)]
mod tests;
