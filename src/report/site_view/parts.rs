//! The wear parts: how much of each life is used and when it is due.

use uom::si::time::hour;

use super::{Given, place, plural};
use crate::calendar::plus_days;
use crate::report::format::{self, NOT_KNOWN};
use crate::report::{life_words, view};
use crate::schedule::due::PartDue;
use crate::to_do::part_urgency;

/// Rows of wear parts.
const PART_ROWS: usize = 14;

pub(super) fn parts(given: &Given) -> view::PartSection {
    let site = given.site;
    if site.parts.is_empty() {
        return view::PartSection {
            nothing_to_say: Some("The book has no wear part for what stands here.".to_owned()),
            ..view::PartSection::default()
        };
    }
    let as_of = site.as_of;
    let overdue = site.parts.iter().filter(|p| p.is_past_limit(as_of)).count();
    let unrecorded = site.parts.iter().filter(|p| p.unrecorded).count();
    let soon = site.parts.iter().filter(|p| p.due.is_some_and(|d| d > as_of && d <= plus_days(as_of, 365))).count();
    let unknown = site.parts.iter().filter(|p| p.due.is_none() && !beyond_use(p)).count();
    let mut summary = format!(
        "Of {} wear parts {} past the limit and {} due within 12 months.",
        site.parts.len(),
        plural(overdue, "is", "are").replace("0 are", "none is"),
        plural(soon, "is", "are").replace("0 are", "none is")
    );
    if unrecorded > 0 {
        summary.push_str(&format!(
            " Of {} no renewal is on record: enter the day each was last renewed, else it counts from the day it was fitted.",
            plural(unrecorded, "part", "parts")
        ));
    }
    if unknown > 0 {
        summary.push_str(&format!(" Of {} the due date is not known.", plural(unknown, "part", "parts")));
    }
    let mut sorted: Vec<&PartDue> = site.parts.iter().collect();
    sorted.sort_by_key(|p| (p.due.is_none(), p.due, p.part.at.clone()));
    // The next two years, at most a page; what comes later stands in the table of parts.
    let near = |p: &&&PartDue| p.due.is_some_and(|due| due <= plus_days(as_of, 731));
    let dated = sorted.iter().filter(|p| p.due.is_some()).count();
    let shown = sorted.iter().filter(near).count().min(PART_ROWS).max(dated.min(6));
    let mut sources: Vec<&str> =
        sorted.iter().take(shown).filter_map(|p| p.part.part.source.as_ref()).map(|s| s.0.as_str()).collect();
    sources.sort_unstable();
    sources.dedup();
    let one_source = if let [only] = sources.as_slice() { Some((*only).to_owned()) } else { None };
    let mut note =
        "Due by the book's hours or age, or by the best age of the fleet's own lives where that pays, whichever comes first. \
                    The range is the central 80 % of the hours to come \
                    and of a day of fitting that is not known exactly."
            .to_owned();
    if let Some(source) = &one_source {
        note.push_str(&format!(" Source of the intervals: {source}."));
    }
    note.push_str(&life_words::guess_note(site, &sorted[..shown], given.office()));
    let later = sorted.len() - shown;
    if later > 0 {
        let parts = plural(later, "part is", "parts are");
        note.push_str(&format!(" {} due later or on a day not known.", format::sentence(&parts)));
        if given.office() {
            note.push_str(" All are in tables/parts.csv.");
        }
    }
    view::PartSection {
        nothing_to_say: None,
        summary,
        charts: Vec::new(),
        rows: sorted.iter().take(shown).map(|p| part_row(given, p, one_source.is_some())).collect(),
        table_note: note,
        fleet_findings: life_words::findings(site, given.office()),
    }
}

/// Whether a part's hours are known and would last beyond any use: a date a century away is no date.
pub(super) fn beyond_use(part: &PartDue) -> bool {
    part.due.is_none() && part.part.age_hours.is_some() && part.part.part.interval.age.is_none()
}

fn part_row(given: &Given, part: &PartDue, source_in_note: bool) -> view::PartRow {
    let as_of = given.site.as_of;
    let interval = &part.part.part.interval;
    let mut limits = Vec::new();
    if let Some(hours) = interval.hours {
        limits.push(format!("{} h", format::number(hours.0.get::<hour>(), 0)));
    }
    if let Some(age) = interval.age {
        limits.push(format::period(age));
    }
    let mut age = part.part.age_days.map_or(NOT_KNOWN.to_owned(), format::age);
    if let (Some(hours), Some(_)) = (part.part.age_hours, interval.hours) {
        age = format!("{age}, {} h", format::number(hours, 0));
    }
    let percent = part.life_used.filter(|_| !part.unrecorded).map(|used| (used * 100.0).round());
    view::PartRow {
        mark: part_urgency(part, as_of).into(),
        place: place(given, part.part.at.as_str()),
        part: {
            let name = format::sentence(&format::words(part.part.id.as_str()));
            match part.part.part.count {
                Some(count) if count > 1 => format!("{name} ({count})"),
                _ => name,
            }
        },
        count: part.part.part.count.unwrap_or(1).to_string(),
        fitted: format::fitted(part.part.fitted),
        age,
        interval: limits.join(" or "),
        interval_source: if source_in_note {
            String::new()
        } else {
            part.part.part.source.as_ref().map_or(String::new(), |s| s.0.clone())
        },
        due: part.due.map_or_else(
            || if beyond_use(part) { "not in 100 years" } else { NOT_KNOWN }.to_owned(),
            format::short_date,
        ),
        due_range: match (part.due_low, part.due_high) {
            (Some(low), Some(high)) if low != high => format::date_range(low, high),
            _ => String::new(),
        },
        due_basis: part.due.map_or(String::new(), |due| {
            if part.unrecorded {
                "no renewal on record".to_owned()
            } else if due <= as_of {
                "past its limit".to_owned()
            } else {
                part.basis.word().to_owned()
            }
        }),
        life_used_percent: percent.map_or("0".to_owned(), |p| format!("{p:.0}")),
        life_used: percent.map_or("–".to_owned(), |p| format!("{p:.0} %")),
        chance: life_words::chance(given.site, part),
    }
}
