//! Page one: is it all right, what must be done, and three numbers beside last month's.

use super::{Given, place, place_inside, plural};
use crate::basis::Basis;
use crate::calendar;
use crate::costs::outlook::CostRange;
use crate::quantities::forecast_check::Judged;
use crate::quantities::forecast_check::judged::hours_held;
use crate::quantities::water_turnover::{Verdict, WaterMonth};
use crate::report::calibration_words;
use crate::report::fleet_state::grouped;
use crate::report::format::{self, NOT_KNOWN};
use crate::report::since;
use crate::report::site::{Numbers, Worst, in_view};
use crate::report::view;
use crate::report::water_words;
use crate::to_do::{ToDo, Urgency};

/// Letters of a reason on page one.
const WHY: usize = 170;
/// Spas named in a sentence.
const SPAS: usize = 5;
/// Actions on page one.
pub(super) const ACTIONS: usize = 5;

pub(super) fn page_one(given: &Given) -> view::PageOne {
    let to_do = &given.site.to_do;
    let shown = grouped(to_do);
    let actions = shown.iter().take(ACTIONS).map(|group| action(given, group)).collect();
    let more = shown.len().saturating_sub(ACTIONS);
    // Without bookings the strip has no row of guests, and does not ask for them.
    let guests = given.site.site.spas.iter().any(|spa| spa.stays.is_some());
    let question =
        if guests { "What falls due, and when are guests in?" } else { "What falls due in the coming year?" };
    view::PageOne {
        state: state(given),
        left_out: left_out(given).into_iter().chain(calibration(given)).collect(),
        actions,
        no_actions: "Nothing is due in the next 90 days.".to_owned(),
        more_actions: (more > 0)
            .then(|| format!("And {} more in the sections below.", plural(more, "thing", "things"))),
        numbers: numbers(given),
        since: since(given),
        charts: given.charts.year.iter().map(|c| in_view(c, question)).collect(),
    }
}

/// How good the forecasts of this site's own hours were, where they were poor though the fleet's were not.
fn own_hours(given: &Given) -> Option<String> {
    let held = hours_held(&given.site.forecast_checks.iter());
    held.is_poor().then(|| {
        format!(
            "Take forecasts of hours here with care. Made again for the past two years, {} of {} ranges held, which are made to \
             hold 4 times in 5; and {}.",
            held.inside,
            held.of,
            calibration_words::FLATTERED
        )
    })
}

/// How good the forecasts were, where they were poor.
fn calibration(given: &Given) -> Option<String> {
    // The counts are the whole fleet's: a customer reads nothing of other customers' pumps, and of a site without records no
    // forecast was ever held against anything.
    if !given.office() || given.site.site.records_start().is_none() {
        return None;
    }
    // What a pump at another site explains says nothing of this one, and another customer's pump is not named.
    let elsewhere = |one: &&Judged| one.behind.as_ref().is_some_and(|behind| behind.site != given.site.site.id);
    let here: Vec<Judged> =
        given.site.judged.iter().filter(|one| !elsewhere(one) || one.held.is_poor()).cloned().collect();
    calibration_words::notice(&here, |site, at| {
        if *site == given.site.site.id { place_inside(given, at.as_str()) } else { "a pump at another site".to_owned() }
    })
    .or_else(|| own_hours(given))
}

/// What changed since last month: what is new, what was settled, what was to be done by now and is
/// not, and which planned visits nobody logged.
fn since(given: &Given) -> Vec<String> {
    let Some(before) = given.previous else { return Vec::new() };
    let changed = since::since(&before.kept, &since::Kept::of(given.site), given.site.site);
    let last = calendar::MONTHS[given.month.plus(-1).number() as usize - 1];
    let named = |things: &[since::Thing]| since::named(things, 3, |at| place_inside(given, at));
    let mut says = Vec::new();
    if !changed.new.is_empty() {
        says.push(format!("New since {last}: {}.", named(&changed.new)));
    }
    if !changed.settled.is_empty() {
        says.push(format!("Settled since {last}: {}.", named(&changed.settled)));
    }
    if !changed.not_done.is_empty() {
        says.push(format!("To be done by now and not done: {}.", named(&changed.not_done)));
    }
    says.extend(since::not_made_words(&changed.not_made, last, |at| place_inside(given, at)));
    says
}

fn left_out(given: &Given) -> Vec<String> {
    let left = &given.site.site.left_out;
    if left.is_empty() {
        return Vec::new();
    }
    let count = plural(left.len(), "record", "records");
    let lead = format!(
        "{} could not be understood and {} not in these figures.",
        format::sentence(&count),
        if left.len() == 1 { "is" } else { "are" }
    );
    if given.office() {
        vec![format!("{lead} {}.", left.iter().take(4).map(|l| format::sentence(l)).collect::<Vec<_>>().join("; "))]
    } else {
        vec![lead]
    }
}

fn state(given: &Given) -> view::State {
    let groups = grouped(&given.site.to_do);
    let of = |urgency: Urgency| groups.iter().filter(|g| g[0].urgency == urgency).collect::<Vec<_>>();
    let (stop, now, plan) = (of(Urgency::DoNotUse), of(Urgency::ActNow), of(Urgency::Plan));
    let named = |group: &[&ToDo]| {
        let at = group.iter().filter_map(|t| t.at.as_ref()).map(|at| place(given, at.as_str())).collect::<Vec<_>>();
        if at.is_empty() { group[0].what.clone() } else { format!("{} ({})", group[0].what, at.join("; ")) }
    };
    let closed = given.site.site.is_closed(given.site.as_of);
    let (mark, lead) = if let Some(group) = stop.first() {
        (view::Mark::DoNotUse, format!("Do not use until it has been seen to: {}.", named(group)))
    } else if let [group] = now.as_slice() {
        (view::Mark::ActNow, format!("One thing needs attention now: {}.", named(group)))
    } else if !now.is_empty() {
        let things = plural(now.len(), "thing needs", "things need");
        (view::Mark::ActNow, format!("{} attention now.", format::sentence(&things)))
    } else if !plan.is_empty() {
        let things = plural(plan.len(), "thing", "things");
        (view::Mark::Plan, format!("In order by the records, with {things} to plan."))
    } else {
        (view::Mark::None, "In order by the records; nothing is due soon.".to_owned())
    };
    let mut rest = Vec::new();
    if closed {
        rest.push("The site is closed for the season.".to_owned());
    }
    rest.push(water_sentence(given));
    let overdue = given.site.parts.iter().filter(|p| p.is_past_limit(given.site.as_of)).count();
    if overdue > 0 {
        let parts = plural(overdue, "part is past its limit", "parts are past their limit");
        rest.push(format!("{}.", format::sentence(&parts)));
    }
    view::State { mark, lead, rest: rest.join(" ") }
}

/// How the month's turnover stands, over all spas.
fn water_sentence(given: &Given) -> String {
    let rows: Vec<(&str, &WaterMonth)> = given
        .site
        .spas
        .iter()
        .filter_map(|s| s.water.months.last().map(|row| (s.at.as_str(), row)))
        .filter(|(_, row)| row.verdict != Verdict::Closed)
        .collect();
    let month = calendar::MONTHS[given.month.number() as usize - 1];
    let of = |verdict: Verdict| -> Vec<String> {
        rows.iter().filter(|(_, r)| r.verdict == verdict).map(|(at, _)| format::place(at)).collect()
    };
    let (short, unknown) = (of(Verdict::Short), of(Verdict::Unknown));
    if rows.is_empty() {
        return format!("No water was in use in {month}.");
    }
    // What is over its limit beside the turnover is said whatever the turnover does.
    let over: Vec<String> = rows
        .iter()
        .filter_map(|(at, row)| {
            let words = water_words::over_words(row, given.units());
            let name = if rows.len() == 1 { "It".to_owned() } else { format::sentence(&format::words(at)) };
            (!words.is_empty()).then(|| format!("{name} is {words}"))
        })
        .collect();
    let over = if over.is_empty() { String::new() } else { format!(" {}.", over.join(". ")) };
    if !short.is_empty() {
        let all = short.len() == rows.len() && rows.len() == 1;
        let names = if all { "the spa".to_owned() } else { since::list_short(&short, SPAS) };
        let enough_turnover = |row: &WaterMonth| !row.failing.contains(&"turnover");
        let how = if rows.iter().all(|(_, row)| row.verdict != Verdict::Short || enough_turnover(row)) {
            "filtered fewer hours than the rule book asks"
        } else {
            "not filtered as often as the rule book asks"
        };
        return format!("In {month} the water of {names} was {how}.{over}");
    }
    if unknown.len() == rows.len() {
        return format!(
            "Whether the water was filtered often enough in {month} is not known, or no limit applies.{over}"
        );
    }
    let met: Vec<&WaterMonth> = rows.iter().map(|(_, row)| *row).filter(|row| row.verdict == Verdict::Meets).collect();
    let measured = |row: &&&WaterMonth| row.flow.as_ref().is_some_and(|flow| flow.basis == Basis::Measured);
    let how = match met.iter().filter(measured).count() {
        all if all == met.len() => "",
        0 => " (by flows not measured in the month)",
        _ => " (in part by flows not measured in the month)",
    };
    let may_be_short = |row: &&&WaterMonth| {
        row.turnover.as_ref().zip(row.limit_min).is_some_and(|(turnover, limit)| turnover.high > limit)
    };
    let close = match met.iter().filter(may_be_short).count() {
        0 => "",
        _ if rows.len() == 1 => "; the range of what is known reaches past the limit",
        _ => "; for one or more the range of what is known reaches past the limit",
    };
    let but = if unknown.is_empty() {
        String::new()
    } else {
        format!("; of {} it is not known", since::list_short(&unknown, SPAS))
    };
    let enough = if over.is_empty() { "was filtered often enough" } else { "was turned over often enough" };
    format!("The water {enough} in {month}{how}{close}{but}.{over}")
}

/// As many whole sentences as half a page's row has room for, at least the first; the rest is in the sections and in
/// the table of what to do.
fn shortened(says: &str) -> &str {
    let mut end = says.find(". ").map_or(says.len(), |at| at + 1);
    while let Some(next) = says[end..].find(". ").map(|at| end + at + 1).or((end < says.len()).then_some(says.len())) {
        if says[..next].chars().count() > WHY {
            break;
        }
        end = next;
    }
    &says[..end]
}

fn action(given: &Given, group: &[&ToDo]) -> view::Action {
    let as_of = given.site.as_of;
    let to_do = group[0];
    let mut places: Vec<String> = Vec::new();
    for one in group {
        let at = one.at.as_ref().map_or_else(|| given.site.site.name.clone(), |at| place(given, at.as_str()));
        if !places.contains(&at) {
            places.push(at);
        }
    }
    // The same at one place on several days is told of the first day.
    let again = match (group.len().saturating_sub(places.len()), group.iter().filter_map(|t| t.due).max()) {
        (more, Some(last)) if more > 0 => {
            let times = plural(more, "more is without a day", "more are without a day");
            format!(" {}, the last due {}.", format::sentence(&times), format::near_date(last, as_of))
        }
        _ => String::new(),
    };
    let by_when = match to_do.due {
        // A spa that must not be used cannot wait for a day.
        _ if to_do.urgency == Urgency::DoNotUse => "now".to_owned(),
        Some(due) if due > as_of => format!("by {}", format::near_date(due, as_of)),
        _ if to_do.urgency <= Urgency::ActNow => "now".to_owned(),
        Some(_) => "overdue".to_owned(),
        None => "next visit".to_owned(),
    };
    view::Action {
        mark: to_do.urgency.into(),
        mark_word: to_do.urgency.words().to_owned(),
        place: places.join("; "),
        what: format::sentence(&to_do.what),
        by_when,
        why: format!("{}{again}", shortened(&to_do.says)),
        if_left: if to_do.if_left.is_empty() { String::new() } else { format!("{}.", to_do.if_left) },
    }
}

/// The expected cost of twelve months with its range; where no cost of labour is written, the planned work alone.
fn cost_headline(given: &Given, now: &Numbers, before: impl Fn(Option<String>) -> String) -> view::Headline {
    let whole = |amount: f64| {
        let amount = rust_decimal::Decimal::try_from(amount).unwrap_or_default();
        format::money_whole(amount, given.currency())
    };
    if let Some(CostRange { mean, low, high, within }) = now.expected_cost {
        return view::Headline {
            value: whole(mean),
            unit: String::new(),
            caption: format!(
                "cost expected in 12 months, {}; {} to {} {}",
                format::included(given.site.site.travel.cost.is_some()),
                whole(low),
                whole(high),
                format::in_years(within)
            ),
            last_month: before(given.previous.and_then(|p| p.expected_cost).map(|cost| whole(cost.mean))),
        };
    }
    let cost = |numbers: &Numbers| numbers.planned_cost.map(|c| format::money_whole(c, given.currency()));
    view::Headline {
        value: cost(now).unwrap_or_else(|| "–".to_owned()),
        unit: String::new(),
        caption: if now.planned_cost.is_some() {
            "planned work of 12 months, without failures and travel".to_owned()
        } else {
            "planned cost is not known: the book has no prices".to_owned()
        },
        last_month: before(given.previous.and_then(cost)),
    }
}

pub(super) fn numbers(given: &Given) -> Vec<view::Headline> {
    let now = Numbers::of(given.site);
    let last = calendar::MONTHS[given.month.plus(-1).number() as usize - 1];
    let before =
        |text: Option<String>| text.map_or_else(|| format!("{last}: {NOT_KNOWN}"), |text| format!("{last}: {text}"));
    let mut numbers = Vec::new();
    let turnover_before = given.previous.and_then(|p| p.worst.as_ref()).map(|worst| match &now.worst {
        // Another spa may have been the one then.
        Some(of_now) if of_now.at != worst.at => format!("{:.1} min, {}", worst.minutes, format::place(&worst.at)),
        _ => format!("{:.1} min", worst.minutes),
    });
    numbers.push(match &now.worst {
        Some(Worst { at, minutes, limit, few_hours }) => view::Headline {
            value: format!("{minutes:.1}"),
            unit: "min".to_owned(),
            caption: {
                let who = if given.site.spas.len() > 1 { format!(", {}", format::place(at)) } else { String::new() };
                let limit = limit.map_or("; no limit known".to_owned(), |l| {
                    format!("; limit {} min", crate::report::water_words::limit_minutes(l))
                });
                let hours = if *few_hours { "; filtered too few hours a day" } else { "" };
                format!("water turnover{who}{limit}{hours}")
            },
            last_month: before(turnover_before),
        },
        None => view::Headline {
            value: "–".to_owned(),
            unit: String::new(),
            caption: "water turnover is not known".to_owned(),
            last_month: before(turnover_before),
        },
    });
    numbers.push(view::Headline {
        value: now.parts_due.to_string(),
        unit: String::new(),
        caption: if now.parts_due == 1 {
            "part past its limit or due in 90 days"
        } else {
            "parts past their limit or due in 90 days"
        }
        .to_owned(),
        last_month: before(given.previous.map(|p| p.parts_due.to_string())),
    });
    if given.office() {
        numbers.push(cost_headline(given, &now, before));
    }
    numbers
}

#[cfg(test)]
mod tests;
