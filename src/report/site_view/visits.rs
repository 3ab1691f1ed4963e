//! What falls due in the coming year, what it costs as planned, and what to order.

use chrono::NaiveDate;
use uom::si::time::minute;

use super::{Given, place, plural};
use crate::address::{Address, Id};
use crate::calendar::plus_days;
use crate::records::upkeep::Part;
use crate::report::format;
use crate::report::view;
use crate::schedule::due::PartDue;
use crate::schedule::visits::Work;
use crate::swap;

pub(super) fn visits(given: &Given) -> view::VisitSection {
    let site = given.site;
    let as_of = site.as_of;
    if !site.visits.is_empty() {
        return planned(given);
    }
    let mut tasks: Vec<_> = site.tasks.iter().filter(|t| t.due.is_some_and(|d| d <= plus_days(as_of, 365))).collect();
    tasks.sort_by_key(|t| (t.due, t.at.clone()));
    let unknown = site.tasks.iter().filter(|t| t.due.is_none()).count();
    let summary = if tasks.is_empty() {
        "No recurring task falls due within 12 months.".to_owned()
    } else {
        let not = if unknown > 0 {
            format!(" Of {} no date is known.", plural(unknown, "task", "tasks"))
        } else {
            String::new()
        };
        format!("The next date of each of {} recurring tasks within 12 months.{not}", tasks.len())
    };
    view::VisitSection {
        nothing_to_say: (tasks.is_empty() && site.year.lines.is_empty())
            .then(|| "Nothing falls due within 12 months.".to_owned()),
        summary,
        tasks: tasks.iter().fold(Vec::new(), |mut rows: Vec<view::Task>, task| {
            let row = view::Task {
                date: task.due.map_or(String::new(), |d| {
                    if d <= as_of {
                        format!("overdue since {}", format::near_date(d, as_of))
                    } else {
                        format::short_date(d)
                    }
                }),
                place: place(given, task.at.as_str()),
                what: format::sentence(&format::words(task.id.as_str())),
                because: {
                    let planned = given.site.visits.iter().flat_map(|visit| &visit.tasks);
                    let planned = planned.filter(|t| t.at == task.at && t.work == Work::Task(task.id.clone())).count();
                    let times = if planned > 1 { format!(", {planned} times within the year") } else { String::new() };
                    format!("{}{times}", task.because)
                },
                minutes: task.task.time.map_or(String::new(), |t| format!("{:.0}", t.0.get::<minute>())),
            };
            // The same on one day at several places is one row that names them.
            let same = |r: &&mut view::Task| {
                r.date == row.date && r.what == row.what && r.because == row.because && r.minutes == row.minutes
            };
            match rows.iter_mut().find(same) {
                Some(there) => there.place.push_str(&format!("; {}", row.place)),
                None => rows.push(row),
            }
            rows
        }),
        planned_cost: planned_cost(given),
        parts_list: parts_list(given),
    }
}

/// Rows of the planned visits: the next ones, so that the report stays short; the calendar and the table have the rest.
const MOST_ROWS: usize = 9;

/// The planned visits, each with what is done.
fn planned(given: &Given) -> view::VisitSection {
    let site = given.site;
    let works: usize = site.visits.iter().map(|visit| visit.tasks.len()).sum();
    let hours: f64 = site.visits.iter().flat_map(|visit| &visit.tasks).map(|task| task.minutes).sum::<f64>() / 60.0;
    let mut rows: Vec<view::Task> = Vec::new();
    for visit in &site.visits {
        let moved = visit.moved.as_ref().map_or_else(String::new, |why| format!(" Moved. {why}."));
        let mut of_visit: Vec<view::Task> = Vec::new();
        for task in &visit.tasks {
            let what = match &task.work {
                Work::Renew(part) => format!("Renew the {}", format::words(part.as_str())),
                Work::Left(_) => "What was left at a visit".to_owned(),
                other => format::sentence(&format::words(&other.word())),
            };
            let minutes = format!("{:.0}", task.minutes);
            let row = view::Task {
                date: format::short_date(visit.date),
                place: place(given, task.at.as_str()),
                what,
                because: format!("{}{moved}", in_short(&task.because)),
                minutes,
            };
            match of_visit
                .iter_mut()
                .find(|r| r.what == row.what && r.because == row.because && r.minutes == row.minutes)
            {
                Some(there) => there.place.push_str(&format!("; {}", row.place)),
                None => of_visit.push(row),
            }
        }
        if rows.len() + of_visit.len() > MOST_ROWS {
            break;
        }
        rows.extend(of_visit);
    }
    let shown = rows.last().map(|row| row.date.clone()).unwrap_or_default();
    let rest = if site.visits.last().is_some_and(|last| format::short_date(last.date) != shown) {
        format!(" The list reaches to {shown}; the calendar has the rest.")
    } else {
        String::new()
    };
    view::VisitSection {
        nothing_to_say: None,
        summary: format!(
            "{} over the next 12 months for {}, about {hours:.0} hours of work.{rest}",
            plural(site.visits.len(), "visit is planned", "visits are planned"),
            plural(works, "thing to do", "things to do")
        ),
        tasks: rows,
        planned_cost: planned_cost(given),
        parts_list: parts_list(given),
    }
}

/// Letters of a reason beside a planned visit: two lines of its column.
const BECAUSE: usize = 100;

/// The first sentence of a reason without its range, which stands with the part; if that is too long, what comes before
/// its semicolon.
fn in_short(because: &str) -> String {
    let first = because.split(". ").next().unwrap_or(because).trim_end_matches('.');
    let range = first.find(" (between ").and_then(|from| Some((from, from + first[from..].find(')')? + 1)));
    let says = range.map_or_else(|| first.to_owned(), |(from, to)| format!("{}{}", &first[..from], &first[to..]));
    match says.split_once("; ") {
        Some((before, _)) if says.chars().count() > BECAUSE => before.to_owned(),
        _ => says,
    }
}

fn planned_cost(given: &Given) -> Option<view::PlannedCost> {
    let year = &given.site.year;
    if !given.office() || year.lines.is_empty() {
        return None;
    }
    let mut lines: Vec<_> = year.lines.iter().collect();
    lines.sort_by(|a, b| b.amount.cmp(&a.amount).then(a.what.cmp(&b.what)));
    let without = if year.without_price > 0 {
        format!(
            " {} no price in the book and {} not in the sum.",
            format::sentence(&plural(year.without_price, "line has", "lines have")),
            if year.without_price == 1 { "is" } else { "are" }
        )
    } else {
        String::new()
    };
    Some(view::PlannedCost {
        called: "Planned work of the next 12 months, without failures".to_owned(),
        currency: format::currency_sign(given.currency()).to_owned(),
        lines: lines
            .iter()
            .map(|line| view::CostLine {
                what: format::sentence(&format::words(&line.what)),
                how: format!("{} ×, {}", line.times, if line.is_task { "work" } else { "part and work" }),
                amount: line.amount.map_or("–".to_owned(), |a| format::money(a, given.currency())),
            })
            .collect(),
        // Where no line has a price there is no sum, not one of nothing.
        total: if year.lines.iter().all(|line| line.amount.is_none()) {
            format::NOT_KNOWN.to_owned()
        } else {
            format::money(year.total, given.currency())
        },
        note: format!(
            "At today's cost prices, work as often as it is planned above, parts as they fall due. Failures, the way there and lost nights are not in it.{without}"
        ),
    })
}

/// What to order for the parts due within four months, like for like, and for what is renewed along with them.
fn parts_list(given: &Given) -> Vec<view::PartToBuy> {
    let as_of = given.site.as_of;
    let mut due: Vec<&PartDue> = given
        .site
        .parts
        .iter()
        .filter(|p| !p.unrecorded && p.due.is_some_and(|d| d <= plus_days(as_of, 120)))
        .collect();
    due.sort_by_key(|p| (p.due, p.part.at.clone()));
    let mut listed: Vec<(&Address, &Id)> = due.iter().map(|part| (&part.part.at, part.part.id)).collect();
    let mut list = Vec::new();
    for part in due {
        let at = &part.part.at;
        list.push(part_to_buy(given, at, part.part.id, part.part.part, part.due));
        for along in &part.part.part.also_renew {
            let found = given.site.parts.iter().find(|other| other.part.at == *at && other.part.id == along);
            if let Some(other) = found.filter(|_| !listed.contains(&(at, along))) {
                listed.push((at, along));
                list.push(part_to_buy(given, at, along, other.part.part, part.due));
            }
        }
    }
    list
}

fn part_to_buy(given: &Given, at: &Address, id: &Id, part: &Part, due: Option<NaiveDate>) -> view::PartToBuy {
    let as_of = given.site.as_of;
    let number = part.number.as_ref().map_or(String::new(), |n| format!(" ({n})"));
    view::PartToBuy {
        part: format!("{}{number}", format::sentence(&format::words(id.as_str()))),
        fits: place(given, at.as_str()),
        measures: Some(swap::measures_of(given.fleet, given.site.site, at))
            .filter(|measures| !measures.is_empty())
            .unwrap_or_else(|| format::NOT_KNOWN.to_owned()),
        count: part.count.unwrap_or(1).to_string(),
        needed_by: due
            .map_or(String::new(), |d| if d <= as_of { "now".to_owned() } else { format::near_date(d, as_of) }),
    }
}

#[cfg(test)]
mod tests {
    use super::in_short;

    #[test]
    fn a_reason_beside_a_visit_is_its_first_sentence_without_the_range() {
        assert_eq!(
            in_short(
                "Fitted 2021; with 6 years in service it is due 2 July 2027 (between 1 January 2027 and 31 December 2027)."
            ),
            "Fitted 2021; with 6 years in service it is due 2 July 2027"
        );
        assert_eq!(
            in_short("It has run 22 h of 25 h. With it: shaft seal. Shaft seal: worn."),
            "It has run 22 h of 25 h"
        );
        let long = format!("Last on 2 May; {}", "due again ".repeat(12));
        assert_eq!(in_short(&long), "Last on 2 May");
        assert_eq!(in_short("Promised monthly"), "Promised monthly");
        assert_eq!(in_short("Of 1.5 h (between"), "Of 1.5 h (between");
    }
}
