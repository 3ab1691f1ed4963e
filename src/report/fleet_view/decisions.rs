//! How the fleet stands, what changed, and which sites need a decision.

use rust_decimal::Decimal;

use super::{Decision, Given, Thing, name, within};
use crate::charts::style::list;
use crate::costs::outlook::CostRange;
use crate::quantities::water_turnover::Verdict;
use crate::report::fleet_state::{self, Standing};
use crate::report::format;
use crate::report::since;
use crate::report::view::{Headline, State};
use crate::to_do::{ToDo, Urgency};

/// Sites that are put up for a decision.
const SITES: usize = 10;
/// Things named of each.
const THINGS: usize = 2;
/// Names in a sentence.
const NAMES: usize = 4;

pub(super) fn state(given: &Given, standings: &[Standing]) -> State {
    let worst = standings.first().and_then(Standing::urgency);
    let months: Vec<_> = given
        .figures
        .sites
        .iter()
        .flat_map(|site| site.spas)
        .filter_map(|spa| spa.water.months.last())
        .filter(|row| row.verdict != Verdict::Closed)
        .collect();
    let of = |verdict: Verdict| months.iter().filter(|row| row.verdict == verdict).count();
    let (short, unknown) = (of(Verdict::Short), of(Verdict::Unknown));
    let mut rest = vec![match (months.len(), short) {
        (0, _) => "No spa was in use.".to_owned(),
        (all, 0) => format!("Of {all} spas in use none is known to be short of water turnover."),
        (all, 1) => format!("Of {all} spas in use one is short of water turnover or filtration hours."),
        (all, short) => format!("Of {all} spas in use {short} are short of water turnover or filtration hours."),
    }];
    if unknown > 0 {
        rest.push(format!("Of {unknown} it is not known."));
    }
    let overdue: usize = given
        .figures
        .sites
        .iter()
        .map(|site| site.parts.iter().filter(|p| p.is_past_limit(given.figures.as_of)).count())
        .sum();
    rest.push(match overdue {
        0 => "No wear part is past its limit.".to_owned(),
        1 => "One wear part is past its limit.".to_owned(),
        many => format!("{many} wear parts are past their limit."),
    });
    let parts = given.figures.sites.iter().flat_map(|site| &site.parts);
    match parts.filter(|part| part.unrecorded).count() {
        0 => {}
        1 => rest.push("Of one no renewal is on record, since its site keeps no log yet.".to_owned()),
        many => rest.push(format!("Of {many} no renewal is on record, since their sites keep no log yet.")),
    }
    State { mark: worst.into(), lead: fleet_state::sentence(standings), rest: rest.join(" ") }
}

pub(super) fn numbers(given: &Given, standings: &[Standing]) -> Vec<Headline> {
    let last = given.last_month();
    let pressing = |urgency: Option<Urgency>| urgency.is_some_and(|u| u <= Urgency::ActNow);
    let before: Vec<_> = given.previous.iter().flatten().collect();
    let parts: usize = standings.iter().map(|s| s.numbers.parts_due).sum();
    let sum = |costs: &mut dyn Iterator<Item = Option<Decimal>>| -> Option<Decimal> {
        costs.flatten().reduce(|sum, cost| sum + cost)
    };
    let planned = sum(&mut standings.iter().map(|s| s.numbers.planned_cost));
    let planned_before = sum(&mut before.iter().map(|n| n.planned_cost));
    let decimal = |amount: f64| Decimal::try_from(amount).ok();
    let expected_before = before.iter().filter_map(|n| n.expected_cost).map(|cost| cost.mean).reduce(|a, b| a + b);
    let (cost, cost_before, caption) = match given.figures.costs.all_sites {
        Some(CostRange { mean, low, high, within }) => (
            decimal(mean),
            expected_before.and_then(decimal),
            format!(
                "cost expected in 12 months, {}; {} to {} {}",
                format::included(given.figures.sites.iter().all(|site| site.site.travel.cost.is_some())),
                amount(given, low),
                amount(given, high),
                format::in_years(within)
            ),
        ),
        None => (planned, planned_before, "planned work of 12 months, without failures and travel".to_owned()),
    };
    let money =
        |cost: Option<Decimal>| cost.map_or_else(|| "–".to_owned(), |cost| format::money_whole(cost, given.currency()));
    vec![
        Headline {
            value: standings.iter().filter(|s| pressing(s.urgency())).count().to_string(),
            unit: String::new(),
            caption: format!("of {} sites need attention now or must not be used", standings.len()),
            last_month: format!("{last}: {}", before.iter().filter(|n| pressing(n.urgency)).count()),
        },
        Headline {
            value: format::number(parts as f64, 0),
            unit: String::new(),
            caption: "parts past their limit or due in 90 days".to_owned(),
            last_month: format!(
                "{last}: {}",
                format::number(before.iter().map(|n| n.parts_due).sum::<usize>() as f64, 0)
            ),
        },
        Headline {
            value: money(cost),
            unit: String::new(),
            caption,
            last_month: format!("{last}: {}", money(cost_before)),
        },
    ]
}

fn amount(given: &Given, amount: f64) -> String {
    Decimal::try_from(amount).map_or_else(|_| "–".to_owned(), |amount| format::money_whole(amount, given.currency()))
}

pub(super) fn left_out(given: &Given) -> Vec<String> {
    const SHOWN: usize = 6;
    let mut shown: Vec<String> = given.left_out.iter().take(SHOWN).map(|text| format!("Left out: {text}.")).collect();
    if given.left_out.len() > SHOWN {
        shown.push(format!("And {} more; all are in run.json.", given.left_out.len() - SHOWN));
    }
    shown
}

/// What changed since last month, over all sites.
pub(super) fn since(given: &Given) -> Vec<String> {
    let (mut worse, mut better) = (Vec::new(), Vec::new());
    let (mut new, mut settled, mut not_done, mut not_made) = (0, 0, Vec::new(), Vec::new());
    for (site, before) in given.figures.sites.iter().zip(given.previous) {
        let Some(before) = before else { continue };
        let now = since::Kept::of(site);
        let changed = since::since(&before.kept, &now, site.site);
        new += changed.new.len();
        settled += changed.settled.len();
        let name = name(site);
        if !changed.not_done.is_empty() {
            not_done.push(format!("{name}: {}", since::named(&changed.not_done, THINGS, |at| within(site, at))));
        }
        if !changed.not_made.is_empty() {
            not_made.push(format!("{name} ({})", since::days(&changed.not_made)));
        }
        let urgency = now.things.iter().map(|thing| thing.urgency).min();
        let rank = |u: Option<Urgency>| u.map_or(9, |u| u as u8);
        let step = format!("{name} ({}, was {})", fleet_state::words(urgency), fleet_state::words(before.urgency));
        match rank(urgency).cmp(&rank(before.urgency)) {
            std::cmp::Ordering::Less => worse.push(step),
            std::cmp::Ordering::Greater => better.push(step),
            std::cmp::Ordering::Equal => {}
        }
    }
    let last = given.last_month();
    let mut says = Vec::new();
    if !worse.is_empty() {
        says.push(format!("Stand worse than in {last}: {}.", some(&worse)));
    }
    if !better.is_empty() {
        says.push(format!("Stand better than in {last}: {}.", some(&better)));
    }
    if given.previous.iter().flatten().next().is_some() {
        let came = if new == 0 {
            "nothing new to do came up".to_owned()
        } else {
            format!("{} to do came up", things(new, "thing", "things"))
        };
        let done = match settled {
            0 => "nothing was settled".to_owned(),
            1 => "one was settled".to_owned(),
            many => format!("{many} were settled"),
        };
        says.push(format!("Since then {came} and {done}."));
    }
    if !not_done.is_empty() {
        says.push(format!("To be done by now and not done: {}.", some_in_a_row(&not_done)));
    }
    if !not_made.is_empty() {
        says.push(format!("Visits planned in {last} that are not in the log: {}.", some(&not_made)));
    }
    says
}

fn things(count: usize, one: &str, many: &str) -> String {
    match count {
        0 => format!("no {one}"),
        1 => format!("one {one}"),
        count => format!("{count} {many}"),
    }
}

/// The first names, and how many more there are.
fn some(names: &[String]) -> String {
    if names.len() <= NAMES {
        return list(names);
    }
    format!("{} and {} more", names[..NAMES].join(", "), names.len() - NAMES)
}

/// The first entries that have commas of their own, and how many more there are.
fn some_in_a_row(entries: &[String]) -> String {
    match entries.len().saturating_sub(NAMES) {
        0 => entries.join("; "),
        1 => format!("{}; and one site more", entries[..NAMES].join("; ")),
        more => format!("{}; and {more} sites more", entries[..NAMES].join("; ")),
    }
}

/// The sites put up, and how many more there are.
pub(super) struct Decisions {
    pub shown: Vec<Decision>,
    pub more: String,
}

pub(super) fn decisions(given: &Given, standings: &[Standing]) -> Decisions {
    let pressing: Vec<&Standing> = standings.iter().filter(|s| s.urgency().is_some()).collect();
    let shown = pressing.iter().take(SITES).map(|standing| decision(given, standing)).collect();
    let more = match pressing.len().saturating_sub(SITES) {
        0 => String::new(),
        1 => "One more site has something to do; it is in the list of all sites.".to_owned(),
        many => format!("{many} more sites have something to do; they are in the list of all sites."),
    };
    Decisions { shown, more }
}

fn decision(given: &Given, standing: &Standing) -> Decision {
    let worst = standing.urgency();
    // The same thing at several places is one decision, whatever the days.
    let mut groups: Vec<Vec<&ToDo>> = Vec::new();
    for group in &standing.groups {
        match groups.iter_mut().find(|known| known[0].urgency == group[0].urgency && known[0].what == group[0].what) {
            Some(known) => known.extend(group),
            None => groups.push(group.clone()),
        }
    }
    let more = groups.len().saturating_sub(THINGS);
    Decision {
        mark: worst.into(),
        mark_word: fleet_state::words(worst).to_owned(),
        site: name(standing.site),
        things: groups.iter().take(THINGS).map(|group| thing(given, standing, group)).collect(),
        more: match more {
            0 => String::new(),
            1 => "One more thing is in its report.".to_owned(),
            many => format!("{many} more things are in its report."),
        },
    }
}

fn thing(given: &Given, standing: &Standing, group: &[&ToDo]) -> Thing {
    let as_of = given.figures.as_of;
    let one = group[0];
    let mut places: Vec<String> = Vec::new();
    for at in group.iter().filter_map(|t| t.at.as_ref()).map(|at| within(standing.site, at.as_str())) {
        if !places.contains(&at) {
            places.push(at);
        }
    }
    let what = format::sentence(&one.what);
    Thing {
        what: if places.is_empty() { what } else { format!("{what}: {}", some(&places)) },
        why: why(one, places.len()),
        by_when: match one.due {
            _ if one.urgency == Urgency::DoNotUse => "now".to_owned(),
            Some(due) if due > as_of => format!("by {}", format::near_date(due, as_of)),
            _ if one.urgency <= Urgency::ActNow => "now".to_owned(),
            Some(_) => "overdue".to_owned(),
            None => "next visit".to_owned(),
        },
    }
}

/// Why, in a sentence, and what happens if it is left; the site's report says the rest.
fn why(one: &ToDo, places: usize) -> String {
    let mut says = first_sentence(&one.says).to_owned();
    if places > 1 && !says.is_empty() {
        says = format!("The first: {says}");
    }
    if !one.if_left.is_empty() {
        says.push_str(&format!(" If left: {}.", one.if_left));
    }
    says
}

/// Up to the first full stop that ends a sentence.
fn first_sentence(text: &str) -> &str {
    text.find(". ").map_or(text, |end| &text[..=end])
}
