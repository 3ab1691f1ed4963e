//! The page of one visit: where, what to take, what to read, what to do in order, what to write down.

use std::fmt::Write;

use chrono::NaiveDate;

use super::{AskedView, Given, JobView, SheetPage, TakeRow, blank_view, cautions};
use crate::address::Address;
use crate::calendar;
use crate::report::cautions::in_order;
use crate::report::format::{self, NOT_KNOWN};
use crate::schedule::visits::{Visit, VisitTask, Work};
use crate::swap;
use crate::work_sheet::{self, Asked};

/// Notes of earlier visits on a sheet.
const MOST_NOTES: usize = 3;
/// A note older than this is history, days.
const NOTE_DAYS: i64 = 400;

pub(super) fn page(given: &Given, visit: &Visit) -> SheetPage {
    let site = given.site.site;
    let sheet = work_sheet::sheet(given.fleet, site, visit);
    let asked =
        |asked: &Asked| AskedView { at: asked.at.to_string(), blanks: asked.blanks.iter().map(blank_view).collect() };
    let contact = site.contact.as_ref().map_or(String::new(), |contact| {
        [&contact.name, &contact.phone].into_iter().flatten().map(|text| text.0.clone()).collect::<Vec<_>>().join(", ")
    });
    let text = |text: &Option<crate::records::forms::Text>| {
        text.as_ref().map_or_else(|| NOT_KNOWN.to_owned(), |text| text.0.clone())
    };
    let technician = visit.technician.as_ref().map(|id| {
        let known = given.fleet.settings.technicians.iter().find(|(known, _)| *known == *id);
        known.and_then(|(_, technician)| technician.name.as_ref()).map_or_else(|| id.to_string(), |name| name.0.clone())
    });
    SheetPage {
        visit: visit.id.clone(),
        site: site.name.clone(),
        when: day_in_words(visit.date),
        who: technician.unwrap_or_default(),
        minutes: format!(
            "{} of work, {} on the way",
            minutes(visit.tasks.iter().map(|task| task.minutes).sum()),
            minutes(visit.travel_minutes)
        ),
        address: text(&site.address),
        key: text(&site.key),
        contact: if contact.is_empty() { NOT_KNOWN.to_owned() } else { contact },
        first: in_order(cautions::FIRST, given.fleet.settings.units),
        take: take(given, visit),
        notes: notes(given, visit),
        arriving: sheet.arriving.iter().map(blank_view).collect(),
        readings: sheet.readings.iter().map(asked).collect(),
        jobs: jobs(given, &sheet),
        after: sheet.after.iter().map(asked).collect(),
        leaving: sheet.leaving.iter().map(blank_view).collect(),
        type_back: format!("tubwright add --sheet {}.{} --month {}", visit.id, sheet.mark(), given.month),
    }
}

fn day_in_words(day: NaiveDate) -> String {
    format!("{} {}", day.format("%A"), calendar::in_words(day))
}

fn minutes(minutes: f64) -> String {
    let whole = minutes.round() as i64;
    match (whole / 60, whole % 60) {
        (0, minutes) => format!("{minutes} min"),
        (hours, 0) => format!("{hours} h"),
        (hours, minutes) => format!("{hours} h {minutes} min"),
    }
}

/// Parts to take, those that must match the same together.
fn take(given: &Given, visit: &Visit) -> Vec<TakeRow> {
    let mut rows: Vec<(String, Vec<(String, u32)>)> = Vec::new();
    for task in &visit.tasks {
        let measures = swap::measures_of(given.fleet, given.site.site, &task.at);
        for take in &task.take {
            let number = take.number.as_ref().map_or(String::new(), |number| format!(" ({number})"));
            let part = format!("{}{number}", format::sentence(&format::words(take.part.as_str())));
            let row = rows.iter().position(|(known, _)| *known == measures).unwrap_or_else(|| {
                rows.push((measures.clone(), Vec::new()));
                rows.len() - 1
            });
            match rows[row].1.iter_mut().find(|(known, _)| *known == part) {
                Some((_, count)) => *count += take.count,
                None => rows[row].1.push((part, take.count)),
            }
        }
    }
    let row = |(measures, parts): (String, Vec<(String, u32)>)| TakeRow {
        parts: parts.into_iter().map(|(part, count)| format!("{count} × {part}")).collect(),
        measures,
    };
    rows.into_iter().map(row).collect()
}

/// What earlier visits noted or left, the latest first, and why this one moved.
fn notes(given: &Given, visit: &Visit) -> Vec<String> {
    let mut notes: Vec<String> = visit.moved.iter().map(|why| format::sentence(why)).collect();
    let since = calendar::plus_days(given.site.as_of, -NOTE_DAYS);
    let mut visits: Vec<_> =
        given.site.site.visits.iter().map(|(_, visit)| visit).filter(|visit| visit.date.0 >= since).collect();
    visits.sort_by_key(|visit| std::cmp::Reverse(visit.date.0));
    let mut found = Vec::new();
    for past in visits {
        let day = format::near_date(past.date.0, given.site.as_of);
        found.extend(past.note.iter().map(|note| format!("{day}: {}", note.0)));
        found.extend(past.at.iter().filter_map(|(at, entry)| Some(format!("{day}, {at}: {}", entry.note.as_ref()?.0))));
        found.extend(past.left.iter().map(|left| {
            let note = left.note.as_ref().map_or("something", |note| note.0.as_str());
            format!("{day}, {}: left: {note}", left.at)
        }));
    }
    found.truncate(MOST_NOTES);
    notes.extend(found);
    notes
}

fn jobs(given: &Given, sheet: &work_sheet::Sheet) -> Vec<JobView> {
    let mut place: Option<&Address> = None;
    let mut told: Vec<cautions::StepCaution> = Vec::new();
    let mut last = None;
    let mut views = Vec::new();
    for job in &sheet.jobs {
        let task = job.task;
        let is_new = place != Some(&task.at);
        place = Some(&task.at);
        let caution = cautions::before(given.site.site, task);
        let first = caution.filter(|caution| !told.contains(caution));
        told.extend(first);
        // The same caution right above needs no reminder.
        let again = caution.filter(|_| first.is_none() && (is_new || caution != last));
        last = caution;
        views.push(JobView {
            at: if is_new { task.at.to_string() } else { String::new() },
            identity: if is_new { swap::measures_of(given.fleet, given.site.site, &task.at) } else { String::new() },
            caution: first.map_or(String::new(), |caution| in_order(caution.text, given.fleet.settings.units)),
            reminder: again.map_or(String::new(), |caution| caution.reminder.to_owned()),
            what: what(task),
            why: why(task),
            urgent: task.urgent,
            blanks: job.blanks.iter().map(blank_view).collect(),
        });
    }
    views
}

fn what(task: &VisitTask) -> String {
    match &task.work {
        Work::Renew(part) => format!("Renew {}", format::words(part.as_str())),
        Work::Task(task) => format::sentence(&format::words(task.as_str())),
        Work::Close => "Close for the season".to_owned(),
        Work::Reopen => "Open again after the season".to_owned(),
        Work::Left(what) => format!("Left at an earlier visit: {what}"),
        Work::ContractVisit => "Look round the whole site: leaks, noise, heat, covers, cables".to_owned(),
    }
}

fn why(task: &VisitTask) -> String {
    let mut says = format::sentence(task.because.trim_end_matches('.'));
    if task.minutes > 0.0 {
        let _ = write!(says, "{}{}", if says.is_empty() { "" } else { "; " }, minutes(task.minutes));
    }
    if let Some(skill) = &task.skill {
        let _ = write!(says, "; only by {skill}");
    }
    says
}
