//! What the year of a quote holds: the work of its visits, and the renewals of wear parts, from the same lists the price is
//! made of; what found no day, and what waits for a quotation of its own.

use std::collections::{BTreeMap, BTreeSet};

use super::WorkRow;
use crate::costs::quote::{Given, Quote};
use crate::report::format;
use crate::schedule::visits::{NotFitted, Work};

/// Renewals of a kind that the year has less often than this on the average are not worth a line: one year in twenty.
const LEAST_RENEWALS: f64 = 0.05;
/// From so many on the average a renewal is said to come, below it perhaps.
const LIKELY: f64 = 0.75;
/// The place of looks round among the kinds of work.
const LOOK_ROUND: u8 = 0;
/// The place of renewals among the kinds of work.
const RENEWAL: u8 = 4;
/// How many places a sentence names.
const NAMED: usize = 5;

/// A row for what is done equally often at the same places of a site: looks round and tasks by number, renewals as they fall
/// due.
pub(super) fn rows(given: &Given, quote: &Quote) -> Vec<WorkRow> {
    let mut rows = Vec::new();
    for index in &quote.sites {
        let mut work: BTreeMap<(u8, String), (f64, BTreeSet<&str>)> = BTreeMap::new();
        for (_, done) in quote.work.iter().filter(|(site, _)| site == index) {
            if let Some(kind) = words(&done.work) {
                let entry = work.entry(kind).or_default();
                entry.0 += f64::from(done.times);
                entry.1.insert(done.at.as_str());
            }
        }
        for (_, at, part, times) in
            quote.renewals.iter().filter(|(site, _, _, times)| site == index && *times >= LEAST_RENEWALS)
        {
            let entry = work.entry((RENEWAL, format::words(part.as_str()))).or_default();
            entry.0 += *times;
            entry.1.insert(at.as_str());
        }
        let mut grouped: Vec<(u8, String, String, Vec<String>)> = Vec::new();
        for ((order, what), (times, at)) in work {
            let times = times_in_words(order, times);
            // A look round is of everything, at whichever spa the plan has put it.
            let places = if order == LOOK_ROUND { "The whole site".to_owned() } else { places(&at) };
            match grouped.iter_mut().find(|row| (row.0, &row.1, &row.2) == (order, &times, &places)) {
                Some(row) => row.3.push(what),
                None => grouped.push((order, times, places, vec![what])),
            }
        }
        rows.extend(grouped.into_iter().map(|(order, times, places, what)| WorkRow {
            site: given.base.sites[*index].site.name.clone(),
            times: if what.len() > 1 { format!("{times} each") } else { times },
            what: format::sentence(&match order {
                RENEWAL => format!(
                    "{} renewed, as {} due",
                    what.join(", "),
                    if what.len() > 1 { "they fall" } else { "it falls" }
                ),
                _ => what.join(", "),
            }),
            places,
        }));
    }
    rows
}

fn times_in_words(order: u8, times: f64) -> String {
    match times {
        few if order == RENEWAL && few < LIKELY => "perhaps 1".to_owned(),
        some if order == RENEWAL => format!("about {}", format::number(some.max(1.0), 0)),
        all => format::number(all, 0),
    }
}

/// What stands in one spa together: "North: jets 1, jets 2; South". Addresses come in order.
fn places(all: &BTreeSet<&str>) -> String {
    let mut spas: Vec<(&str, Vec<String>)> = Vec::new();
    for at in all {
        let (spa, inside) = at.split_once('/').map_or((*at, None), |(spa, inside)| (spa, Some(inside)));
        if spas.last().is_none_or(|(known, _)| *known != spa) {
            spas.push((spa, Vec::new()));
        }
        if let (Some((_, there)), Some(inside)) = (spas.last_mut(), inside) {
            there.push(format::words(inside));
        }
    }
    let of_spa = |(spa, there): (&str, Vec<String>)| match there.as_slice() {
        [] => format::place(spa),
        there => format!("{}: {}", format::place(spa), there.join(", ")),
    };
    spas.into_iter().map(of_spa).collect::<Vec<_>>().join("; ")
}

/// What is done, with its place among the kinds; `None` = what a visit left, which is told by its site.
fn words(work: &Work) -> Option<(u8, String)> {
    match work {
        Work::ContractVisit => Some((LOOK_ROUND, "look round, test of the water".to_owned())),
        Work::Task(id) => Some((1, format::words(id.as_str()))),
        Work::Close => Some((2, "closing for the season".to_owned())),
        Work::Reopen => Some((2, "opening after the season".to_owned())),
        Work::Left(_) => Some((3, "what a visit of late left to be done".to_owned())),
        Work::Renew(_) => None,
    }
}

/// Work for which the plan found no day: what is in the price all the same, and what is not.
pub(super) fn not_fitted(given: &Given, quote: &Quote) -> Vec<String> {
    let (renewals, others): (Vec<&NotFitted>, Vec<&NotFitted>) =
        quote.not_fitted.iter().partition(|not| matches!(not.work, Work::Renew(_)));
    let mut lines = Vec::new();
    if !renewals.is_empty() {
        lines.push(format!(
            "No free day was found yet, in the bookings and working days known now, to renew {}. It is in the price; its day \
             is to be agreed.",
            named(given, quote, &renewals)
        ));
    }
    if !others.is_empty() {
        lines.push(format!(
            "No free day was found yet, in the bookings and working days known now, for {}. It is not in the price until its \
             day is agreed.",
            named(given, quote, &others)
        ));
    }
    lines
}

/// "filter clean (north, main; twice), …".
fn named(given: &Given, quote: &Quote, all: &[&NotFitted]) -> String {
    let mut kinds: BTreeMap<String, u32> = BTreeMap::new();
    for not in all {
        let what = match &not.work {
            Work::Renew(id) | Work::Task(id) => format::words(id.as_str()),
            Work::Close => "closing for the season".to_owned(),
            Work::Reopen => "opening after the season".to_owned(),
            Work::Left(_) => "what a visit of late left to be done".to_owned(),
            Work::ContractVisit => "a look round".to_owned(),
        };
        *kinds.entry(format!("{what} ({})", place(given, quote, not))).or_default() += 1;
    }
    let more = kinds.len().saturating_sub(NAMED);
    let mut words: Vec<String> = kinds
        .into_iter()
        .take(NAMED)
        .map(|(what, times)| if times == 1 { what } else { format!("{what}, {times} times") })
        .collect();
    if more > 0 {
        words.push(format!("{more} more"));
    }
    words.join("; ")
}

/// Where something is, with the site where the quote has several.
fn place(given: &Given, quote: &Quote, not: &NotFitted) -> String {
    let place = format::place(not.at.as_str()).to_lowercase();
    let site = quote.sites.iter().map(|index| given.base.sites[*index].site).find(|site| site.id == not.site);
    match site {
        Some(site) if quote.sites.len() > 1 => format!("{}, {place}", site.name),
        _ => place,
    }
}

/// What was seen at a visit and waits for a quotation of its own.
pub(super) fn waits_for_quote(given: &Given, quote: &Quote) -> Vec<String> {
    let mut lines = Vec::new();
    for not in &quote.waits_for_quote {
        let site = quote.sites.iter().map(|index| given.base.sites[*index].site).find(|site| site.id == not.site);
        let Some(site) = site else { continue };
        let seen = site.visits.iter().rev().find_map(|(_, visit)| {
            let left = visit.left.iter().find(|left| left.at == not.at && left.quote == Some(true))?;
            Some(crate::report::left_words::left_words(site, left, visit.date.0))
        });
        let name = if quote.sites.len() > 1 { format!("{}, ", site.name) } else { String::new() };
        if let Some(seen) = seen {
            lines.push(format!("Waiting for a quotation of its own: {name}{seen}."));
        }
    }
    lines.dedup();
    lines
}

/// Why the choices of visits are what they are.
pub(super) fn choice_note(quote: &Quote) -> String {
    let mut note =
        "The visits of the year are those promised and those that the work itself asks for: cleaning filters and \
                    changing water cannot wait for a promised visit."
            .to_owned();
    let same = quote.choices.windows(2).all(|pair| pair[0].visits.round() == pair[1].visits.round());
    if same && quote.choices.iter().all(|choice| choice.for_look_rounds == 0.0) {
        note.push_str(&format!(
            " Here that work asks for all {} visits, and the look round that is promised is made at some of them: the \
             choices differ by the work of the look round alone.",
            format::number(quote.visits.round(), 0)
        ));
    }
    note
}
