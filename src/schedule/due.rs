//! When is each wear part due, and each task? By the book: hours or age, whichever comes first; the
//! pressure of a filter; guests changing.

use chrono::NaiveDate;
use rust_decimal::Decimal;
use uom::si::time::{hour, minute};

use crate::address::{Address, Id};
use crate::basis::{Basis, Source};
use crate::calendar::{self, add, days_between, plus_days};
use crate::quantities::SpaFigures;
use crate::quantities::part_lives::PartInService;
use crate::records::log::Entry;
use crate::records::tubs::FilterKind;
use crate::records::upkeep::{Every, Task};
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
    /// The larger of the shares of its hours and of its age that are used.
    pub life_used: Option<f64>,
    /// Cost of the part and its work; `None` = not known.
    pub cost: Option<Decimal>,
    /// The records the date rests on.
    pub sources: Vec<Source>,
}

/// Which limit of the book comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DueBy {
    /// Hours run.
    Hours,
    /// Days in place.
    Age,
}

/// The due dates of a site's wear parts.
pub fn parts_due<'a>(
    fleet: &Fleet,
    spas: &[SpaFigures],
    parts: Vec<PartInService<'a>>,
    as_of: NaiveDate,
) -> Vec<PartDue<'a>> {
    parts.into_iter().map(|part| part_due(fleet, spas, part, as_of)).collect()
}

fn part_due<'a>(fleet: &Fleet, spas: &[SpaFigures], part: PartInService<'a>, as_of: NaiveDate) -> PartDue<'a> {
    let pump = spas.iter().flat_map(|s| &s.pumps).find(|p| p.at == part.at);
    let interval_hours = part.part.interval.hours.map(|h| h.0.get::<hour>()).filter(|_| pump.is_some());
    let by_age = part.part.interval.age.and_then(|age| {
        let (first, last) = part.fitted.range()?;
        Some((add(part.fitted.middle()?, age), add(first, age), add(last, age)))
    });
    let by_hours = interval_hours.zip(part.age_hours).and_then(|(interval, age)| {
        let pump = pump?;
        let start = part.fitted.middle()?;
        let hours = pump.hours.as_ref()?;
        if age >= interval - 1e-6 {
            let day = hours.day_reached(start, interval)?;
            return Some((day, day, day));
        }
        let (day, early, late) = pump.forecast.as_ref()?.day_of(interval - age)?;
        let far = || calendar::plus_days(as_of, 36_525);
        // A day of fitting that is not exact moves the date by as many days of running at both ends.
        let (first, last) = part.fitted.range()?;
        let before = days_between(first, start);
        let behind = days_between(start, last);
        Some((day, plus_days(early.unwrap_or(day), -before), plus_days(late.unwrap_or_else(far), behind)))
    });
    let first = match (by_hours, by_age) {
        (Some(hours), Some(age)) if hours.0 <= age.0 => Some((hours, DueBy::Hours)),
        (_, Some(age)) => Some((age, DueBy::Age)),
        (Some(hours), None) => Some((hours, DueBy::Hours)),
        (None, None) => None,
    };
    // The range ends where the earlier of the two limits does, at each end.
    let end = |pick: fn((NaiveDate, NaiveDate, NaiveDate)) -> NaiveDate| {
        [by_hours, by_age].into_iter().flatten().map(pick).min()
    };
    let used_hours = interval_hours.zip(part.age_hours).map(|(interval, age)| age / interval);
    let used_age = by_age
        .zip(part.fitted.middle())
        .zip(part.age_days)
        .map(|(((due, _, _), start), days)| days as f64 / days_between(start, due).max(1) as f64);
    let mut sources: Vec<Source> = part.source.iter().cloned().collect();
    if first.is_some_and(|(_, by)| by == DueBy::Hours) {
        sources.extend(
            pump.and_then(|p| p.hours.as_ref())
                .map(super::super::quantities::run_hours::RunHours::sources)
                .unwrap_or_default(),
        );
    }
    PartDue {
        due: first.map(|((due, _, _), _)| due),
        due_low: first.and_then(|_| end(|d| d.1)),
        due_high: first.and_then(|_| end(|d| d.2)),
        by: first.map_or(DueBy::Age, |(_, by)| by),
        basis: Basis::Book,
        life_used: match (used_hours, used_age) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (a, b) => a.or(b),
        },
        cost: part_cost(fleet, &part, as_of),
        sources,
        part,
    }
}

/// What renewing a part costs us: the parts of its set and the work. `None` if neither price is written.
fn part_cost(fleet: &Fleet, part: &PartInService, day: NaiveDate) -> Option<Decimal> {
    let count = Decimal::from(part.part.count.unwrap_or(1));
    let piece = part.part.cost.as_ref().and_then(|c| c.on(day))?;
    let labour = labour_cost(fleet, part.part.time.map_or(0.0, |t| t.0.get::<minute>()), day)?;
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
            for (id, task) in fleet.book.tasks.iter().filter(|(_, task)| task.fits.as_str() == fits) {
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
            Some(last) => format!("last done {}", calendar::in_words(last)),
            None => "not in the log yet".to_owned(),
        };
    }
    if task.or_pressure_rise.is_some()
        && let Some(filter) = figures.filters.iter().find(|f| f.at == *at)
        && let Some((clean_by, _, _)) = filter.state.clean_by
        && due.due.is_none_or(|planned| clean_by < planned)
    {
        due.due = Some(clean_by);
        due.because = "the pressure reaches its clean limit".to_owned();
        if let Some(rise) = filter.state.rise_per_day.filter(|r| *r > 0.0) {
            let cycle = filter.state.rise_limit.unwrap_or(0.0) / rise;
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

/// The kind of a filter in words.
pub fn filter_kind(kind: FilterKind) -> &'static str {
    match kind {
        FilterKind::Cartridge => "cartridge",
        FilterKind::Sand => "sand",
        FilterKind::Precoat => "precoat",
    }
}
