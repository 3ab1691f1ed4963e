//! When is each wear part due, and each task? By the book: hours or age, whichever comes first; by the
//! best age of the life model where it pays; the pressure of a filter; guests changing.

use chrono::NaiveDate;
use rust_decimal::Decimal;
use uom::si::time::{hour, minute};

use crate::address::{Address, Id};
use crate::basis::{Basis, Source};
use crate::calendar::{self, add, days_between, plus_days};
use crate::quantities::SpaFigures;
use crate::quantities::hours_forecast::Forecast;
use crate::quantities::part_life_model::{FleetLives, KindModel};
use crate::quantities::part_lives::PartInService;
use crate::quantities::run_hours::RunHours;
use crate::records::fleet::RenewBy;
use crate::records::log::Entry;
use crate::records::upkeep::{Clock, Every, Part, Task};
use crate::records::{Fleet, Site};

/// A wear part with its due date.
#[derive(Debug, Clone)]
pub struct PartDue<'a> {
    /// The part.
    pub part: PartInService<'a>,
    /// The due day; in the past where it is overdue. `None` = not known.
    pub due: Option<NaiveDate>,
    /// The early end of the central 80 %.
    pub due_low: Option<NaiveDate>,
    /// The late end.
    pub due_high: Option<NaiveDate>,
    /// Which limit comes first.
    pub by: DueBy,
    /// What the date rests on.
    pub basis: Basis,
    /// The best age of the life model where it pays, in hours or days by its clock.
    pub best_age: Option<f64>,
    /// The largest of the shares of its limits that are used.
    pub life_used: Option<f64>,
    /// The chance that it fails within twelve months, given its age; `None` = not known.
    pub fail_12mo: Option<f64>,
    /// Failures expected at its place in twelve months, if it is not renewed before it fails.
    pub failures_12mo: Option<f64>,
    /// Cost of the part and its work; `None` = not known.
    pub cost: Option<Decimal>,
    /// The records the date rests on.
    pub sources: Vec<Source>,
    /// Whether the hours it is due by rest on a program that is only what is usual.
    pub hours_assumed: bool,
    /// Whether its day has passed only because nothing is on record: the site keeps no log, so nobody can say whether it
    /// was renewed since it was fitted.
    pub unrecorded: bool,
}

impl PartDue<'_> {
    /// Whether it is past its limit by what is on record.
    pub fn is_past_limit(&self, as_of: NaiveDate) -> bool {
        !self.unrecorded && self.due.is_some_and(|due| due <= as_of)
    }
}

/// A day a limit is reached, and the ends of its range.
type Crossing = (NaiveDate, NaiveDate, NaiveDate);

/// A limit a part may be renewed by.
struct Limit {
    crossing: Option<Crossing>,
    by: DueBy,
    basis: Basis,
    used: Option<f64>,
}

/// Which limit comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DueBy {
    /// Hours run.
    Hours,
    /// Days in place.
    Age,
}

/// Marks the parts of a site without any log whose day has passed: they may well have been renewed.
pub fn mark_unrecorded(site: &Site, parts: &mut [PartDue], as_of: NaiveDate) {
    if site.records_start().is_none() {
        for part in parts {
            part.unrecorded = part.due.is_some_and(|due| due <= as_of);
        }
    }
}

/// The due dates of a site's wear parts.
pub fn parts_due<'a>(
    fleet: &Fleet,
    lives: &FleetLives,
    spas: &[SpaFigures],
    parts: Vec<PartInService<'a>>,
    as_of: NaiveDate,
) -> Vec<PartDue<'a>> {
    parts.into_iter().map(|part| part_due(fleet, lives, spas, part, as_of)).collect()
}

fn part_due<'a>(
    fleet: &Fleet,
    lives: &FleetLives,
    spas: &[SpaFigures],
    part: PartInService<'a>,
    as_of: NaiveDate,
) -> PartDue<'a> {
    let pump = spas.iter().flat_map(|s| &s.pumps).find(|p| p.at == part.at);
    let interval_hours = part.part.interval.hours.map(|h| h.0.get::<hour>()).filter(|_| pump.is_some());
    let by_age = part.part.interval.age.and_then(|age| {
        let (first, last) = part.fitted.range()?;
        Some((add(part.fitted.middle()?, age), add(first, age), add(last, age)))
    });
    let at_hours = |limit: f64| -> Option<Crossing> {
        let pump = pump?;
        due_by_hours(&part, limit, pump.hours.as_ref()?, pump.forecast.as_ref(), as_of)
    };
    let share_of_days =
        |due: NaiveDate| Some(part.age_days? as f64 / days_between(part.fitted.middle()?, due).max(1) as f64);
    let mut limits: Vec<Limit> = Vec::new();
    if let Some(limit) = interval_hours {
        limits.push(Limit {
            crossing: at_hours(limit),
            by: DueBy::Hours,
            basis: Basis::Book,
            used: part.age_hours.map(|age| age / limit),
        });
    }
    if let Some(crossing) = by_age {
        let used = share_of_days(crossing.0);
        limits.push(Limit { crossing: Some(crossing), by: DueBy::Age, basis: Basis::Book, used });
    }
    // The best age of the life model counts only where it pays.
    let best_age = lives.kind_of(&part).and_then(KindModel::age_that_pays);
    let of_life = best_age.and_then(|(clock, age)| match clock {
        Clock::Hours => Some(Limit {
            crossing: Some(at_hours(age)?),
            by: DueBy::Hours,
            basis: Basis::LifeModel,
            used: part.age_hours.map(|run| run / age),
        }),
        Clock::Age => {
            let (first, last) = part.fitted.range()?;
            let after = |day| plus_days(day, age.round() as i64);
            let due = after(part.fitted.middle()?);
            let crossing = Some((due, after(first), after(last)));
            Some(Limit { crossing, by: DueBy::Age, basis: Basis::LifeModel, used: share_of_days(due) })
        }
    });
    match (fleet.settings.renew_by, of_life) {
        (RenewBy::Life, Some(limit)) => limits = vec![limit],
        (RenewBy::Earliest, Some(limit)) => limits.push(limit),
        _ => {}
    }
    let first = limits
        .iter()
        .filter_map(|limit| Some((limit.crossing?, limit.by, limit.basis)))
        .min_by_key(|(crossing, _, _)| crossing.0);
    // The range ends where the earliest of the limits does, at each end.
    let end = |pick: fn(Crossing) -> NaiveDate| limits.iter().filter_map(|limit| limit.crossing).map(pick).min();
    let mut sources: Vec<Source> = part.source.iter().cloned().collect();
    if first.is_some_and(|(_, by, _)| by == DueBy::Hours) {
        sources.extend(pump.and_then(|p| p.hours.as_ref()).map(|hours| hours.sources.clone()).unwrap_or_default());
    }
    let outlook = lives.part_outlook(&part, pump.and_then(|p| p.forecast.as_ref()).map(Forecast::year));
    PartDue {
        due: first.map(|((due, _, _), _, _)| due),
        due_low: first.and_then(|_| end(|d| d.1)),
        due_high: first.and_then(|_| end(|d| d.2)),
        by: first.map_or(DueBy::Age, |(_, by, _)| by),
        basis: first.map_or(Basis::Book, |(_, _, basis)| basis),
        best_age: best_age.map(|(_, age)| age),
        life_used: limits.iter().filter_map(|limit| limit.used).max_by(f64::total_cmp),
        fail_12mo: outlook.map(|o| o.chance),
        failures_12mo: outlook.map(|o| o.expected),
        cost: renewal_cost(fleet, part.part, as_of),
        hours_assumed: first.is_some_and(|(_, by, _)| by == DueBy::Hours)
            && pump.and_then(|pump| pump.hours.as_ref()?.basis_now()) == Some(Basis::Assumed),
        unrecorded: false,
        sources,
        part,
    }
}

/// The day by whose end a part has run its hours, and the ends of its central 80 %; `None` = not known.
pub fn due_by_hours(
    part: &PartInService,
    interval_hours: f64,
    hours: &RunHours,
    forecast: Option<&Forecast>,
    as_of: NaiveDate,
) -> Option<(NaiveDate, NaiveDate, NaiveDate)> {
    let start = part.fitted.middle().filter(|start| *start >= hours.start)?;
    let age = hours.hours_between(start, hours.end)?;
    let (first, last) = part.fitted.range()?;
    if age >= interval_hours - 1e-6 {
        let day = hours.day_reached(start, interval_hours)?;
        // Fitted sooner, it had run its hours sooner; fitted later, it may not have run them yet. Hours that no counter
        // brackets are as unsure behind us as before us.
        let unsure = forecast.map_or(0.0, |f| f.level() * hours.unmetered_hours_between(start, day));
        let early = hours.day_reached(first.max(hours.start), (interval_hours - unsure).max(0.0));
        let to_come = || {
            let short = interval_hours + unsure - hours.hours_between(last, hours.end)?;
            forecast?.day_of(short.max(0.0), 0.0).map(|(day, _, _)| day)
        };
        let late = hours.day_reached(last, interval_hours + unsure).or_else(to_come);
        return Some((day, early.map_or(day, |early| early.min(day)), late.map_or(day, |late| late.max(day))));
    }
    let unmetered = hours.unmetered_hours_between(start, hours.end);
    let (day, early, late) = forecast?.day_of(interval_hours - age, unmetered)?;
    let far = || calendar::plus_days(as_of, 36_525);
    // A day of fitting that is not exact moves the date by as many days of running at both ends.
    let before = days_between(first, start);
    let behind = days_between(start, last);
    Some((day, plus_days(early.unwrap_or(day), -before), plus_days(late.unwrap_or_else(far), behind)))
}

/// What renewing a part costs us: the parts of its set and the work. `None` if neither price is written.
pub fn renewal_cost(fleet: &Fleet, part: &Part, day: NaiveDate) -> Option<Decimal> {
    let count = Decimal::from(part.count.unwrap_or(1));
    let piece = part.cost.as_ref().and_then(|c| c.on(day))?;
    let labour = labour_cost(fleet, part.time.map_or(0.0, |t| t.0.get::<minute>()), day)?;
    Some(piece.0 * count + labour)
}

/// What some minutes of work cost us.
pub fn labour_cost(fleet: &Fleet, minutes: f64, day: NaiveDate) -> Option<Decimal> {
    let rate = fleet.settings.labour.cost.as_ref()?.on(day)?;
    Some(rate.0 * Decimal::try_from(minutes / 60.0).ok()?)
}

/// A recurring task with its next date.
#[derive(Debug, Clone)]
pub struct TaskDue<'a> {
    /// Where it is done.
    pub at: Address,
    /// Its id in the book.
    pub id: &'a Id,
    /// Its line of the book.
    pub task: &'a Task,
    /// When it was last done.
    pub last: Option<NaiveDate>,
    /// When it is next due; `None` = nothing says.
    pub due: Option<NaiveDate>,
    /// Why then, in words.
    pub because: String,
    /// How often in the next twelve months, the next time counted.
    pub times: Option<u32>,
    /// Whether the log has never told of it.
    pub never_recorded: bool,
    /// Whether the rule book's rule for changing the water gave the date.
    pub by_rule: bool,
    /// The record of the last time.
    pub source: Option<Source>,
}

/// The recurring tasks of a site.
pub fn tasks_due<'a>(fleet: &'a Fleet, site: &'a Site, spas: &[SpaFigures], as_of: NaiveDate) -> Vec<TaskDue<'a>> {
    let mut all = Vec::new();
    for (spa, figures) in site.spas.iter().zip(spas) {
        let mut places: Vec<(&Address, &str)> = vec![(&spa.at, "spa")];
        places.extend(spa.filters.iter().map(|f| (&f.at, "filter")));
        places.extend(spa.pumps.iter().map(|p| (&p.at, "pump")));
        places.extend(spa.equipment.iter().map(|e| (&e.at, e.kind.as_str())));
        for (at, fits) in places {
            let here = |(_, task): &(&Id, &Task)| task.fits.as_str() == fits && task.recurs();
            for (id, task) in fleet.book.tasks.iter().map(|(id, task)| (id, task)).filter(here) {
                all.push(task_due(site, spa, figures, at, id, task, as_of));
            }
        }
    }
    all.sort_by(|a, b| (&a.at, a.id).cmp(&(&b.at, b.id)));
    all
}

fn task_due<'a>(
    site: &Site,
    spa: &crate::records::Spa,
    figures: &SpaFigures,
    at: &Address,
    id: &'a Id,
    task: &'a Task,
    as_of: NaiveDate,
) -> TaskDue<'a> {
    let does = |entry: &Entry| {
        // A cartridge renewed is a filter as clean as one can be.
        let renewed =
            id.as_str() == "filter_clean" && entry.renewed.0.iter().any(|(part, _)| part.as_str() == "cartridge");
        entry.done.contains(id) || renewed
    };
    let last =
        site.entries(at).filter(|(_, _, entry)| does(entry)).last().map(|(index, visit, _)| (index, visit.date.0));
    let mut due = TaskDue {
        at: at.clone(),
        id,
        task,
        last: last.map(|(_, day)| day),
        due: None,
        because: String::new(),
        times: None,
        never_recorded: last.is_none(),
        by_rule: false,
        source: last.map(|(index, _)| site.entry_source(index, at, "done")),
    };
    // A task the log never told of counts from where the log begins; with no log at all, from the as-of day.
    let from = due.last.or(site.records_start()).unwrap_or(as_of);
    let period = match task.every {
        Some(Every::Period(period)) => Some(period),
        Some(Every::Changeover) => {
            let next = spa.stays.as_ref().and_then(|s| s.leavings().find(|day| *day > as_of));
            let year_ago = calendar::plus_days(as_of, -365);
            due.times =
                spa.stays.as_ref().map(|s| s.leavings().filter(|day| *day > year_ago && *day <= as_of).count() as u32);
            if let Some(next) = next {
                due.due = Some(next);
                due.because = "guests change".to_owned();
                by_bather_limit(&mut due, figures);
                return due;
            }
            task.at_most
        }
        None => task.at_most,
    };
    if let Some(period) = period {
        let next = add(from, period);
        due.due = Some(next);
        let days = period.mean_days().max(1.0);
        due.times = Some(((365.0 / days).floor() as u32).max(u32::from(next <= plus_days(as_of, 365))));
        due.because = match due.last {
            Some(last) => format!("last done {}", crate::report::format::short_date(last)),
            None => "not in the log yet".to_owned(),
        };
    }
    if task.or_pressure_rise.is_some()
        && let Some(filter) = figures.filters.iter().find(|f| f.at == *at)
        && let Some((clean_by, _, _)) = filter.state.clean_before()
        && due.due.is_none_or(|planned| clean_by < planned)
    {
        due.due = Some(clean_by);
        due.because = if filter.state.on_reopening {
            "on reopening"
        } else if filter.state.short_by.is_some() {
            "the water is turned over too slowly from there on"
        } else {
            "the pressure reaches its clean limit"
        }
        .to_owned();
        if let Some(rise) = filter.state.rise_per_day.filter(|r| *r > 0.0) {
            let cycle = filter.state.clean_at().unwrap_or(0.0) / rise;
            due.times = due.times.map(|times| times.max((365.0 / cycle.max(1.0)).floor() as u32));
        }
    }
    by_bather_limit(&mut due, figures);
    // A closed season waits.
    if let Some(day) = due.due
        && let Some(closed) = site.closed.iter().find(|c| (c.from..=c.to).contains(&day) && c.to > as_of)
        && day > as_of
    {
        due.due = Some(plus_days(closed.to, 1));
        due.because = "on reopening".to_owned();
    }
    due
}

/// The rule book's rule for changing the water, where the book's task asks for it and it comes first.
fn by_bather_limit(due: &mut TaskDue, figures: &SpaFigures) {
    let Some(change) = figures.water_change.as_ref().filter(|_| due.task.or_bather_limit == Some(true)) else { return };
    let Some(day) = change.due.filter(|day| due.due.is_none_or(|planned| *day < planned)) else { return };
    due.due = Some(day);
    due.because = change.in_short();
    due.by_rule = true;
}

#[cfg(test)]
mod tests;
