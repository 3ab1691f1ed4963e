//! What is not known, which record would settle it, and what was assumed.

use super::parts::beyond_use;
use super::{Given, MONTHS, gaps, place, plural};
use crate::basis::Basis;
use crate::calendar;
use crate::charts::style::list;
use crate::quantities::water_turnover;
use crate::records::forms::Fitted;
use crate::records::tubs::Speed;
use crate::report::{format, view};

/// The most that are told: more is no help. The fields that would tell most come first.
const MOST_UNKNOWNS: usize = 32;

pub(super) fn unknowns(given: &Given) -> view::UnknownSection {
    let office = given.office();
    let mut unknowns = Vec::new();
    let mut push = |what: String, settled_by: String, narrows: String| {
        unknowns.push(view::Unknown { what, settled_by: if office { settled_by } else { String::new() }, narrows });
    };
    for spa in given.site.spas {
        for missing in &spa.water.missing {
            push(
                format!("{}: whether the water is turned over often enough", format::place(spa.at.as_str())),
                missing.clone(),
                "turnover, its verdict and the filter's clean date".to_owned(),
            );
        }
        for pump in &spa.pumps {
            let name = place(given, pump.at.as_str());
            match &pump.hours {
                None => push(
                    format!("{name}: its hours"),
                    "`fitted`, and a `program` or counter readings".to_owned(),
                    "hours, energy, due dates".to_owned(),
                ),
                Some(hours) if hours.curves.is_empty() => {
                    push(
                        format!("{name}: its hours"),
                        "a `program` or counter readings".to_owned(),
                        "hours, energy, due dates".to_owned(),
                    );
                }
                Some(hours) => {
                    if !hours.set_aside.is_empty() {
                        push(
                            format!(
                                "{name}: {} cannot be right beside the others and were set aside",
                                plural(hours.set_aside.len(), "counter reading", "counter readings")
                            ),
                            "`meter_reset`, if the counter was replaced or set back".to_owned(),
                            "hours of those months".to_owned(),
                        );
                    }
                    if let Some((after, until)) = hours.too_fast.first() {
                        push(
                            format!(
                                "{name}: its hours between {after} and {until}, when its counter ran faster than time"
                            ),
                            "the counter read again, and what it counts".to_owned(),
                            "hours of those months, held to 24 h a day".to_owned(),
                        );
                    }
                    if hours.curves.iter().any(|curve| curve.speed == Speed::All) {
                        push(
                            format!("{name}: how its hours are split between its two speeds"),
                            "`program`, or counter readings of each speed".to_owned(),
                            "hours of each speed, energy, water turnover".to_owned(),
                        );
                    }
                    let of_records = given.site.site.spas.iter().flat_map(|spa| &spa.pumps);
                    let unwritten = of_records
                        .filter(|written| written.at == pump.at)
                        .any(|written| written.usual_program || written.programs.is_empty());
                    if unwritten && hours.curves.iter().any(|curve| curve.rate.is_some()) {
                        push(
                            format!("{name}: its program"),
                            "`program`".to_owned(),
                            "hours of days between no two readings, which are at the counter's rate of late".to_owned(),
                        );
                    }
                    if hours.basis_now() == Some(Basis::Assumed) {
                        push(
                            format!("{name}: its program"),
                            "`program`, or counter readings".to_owned(),
                            "hours, which are the book's usual for this use".to_owned(),
                        );
                    }
                }
            }
        }
    }
    let parts_without: Vec<_> = given.site.parts.iter().filter(|p| p.due.is_none() && !beyond_use(p)).collect();
    let mut by_place: std::collections::BTreeMap<String, Vec<String>> = std::collections::BTreeMap::new();
    for part in parts_without {
        let why = if part.part.fitted.range().is_none() {
            "`fitted`, or the day it was last renewed"
        } else {
            "counter readings or a `program`"
        };
        by_place
            .entry(format!("{}|{why}", place(given, part.part.at.as_str())))
            .or_default()
            .push(format::words(part.part.id.as_str()));
    }
    for (key, names) in by_place {
        let (at, why) = key.split_once('|').unwrap_or((&key, ""));
        push(format!("{at}: when the {} will be due", list(&names)), why.to_owned(), "due dates".to_owned());
    }
    let unrecorded = given.site.parts.iter().filter(|part| part.unrecorded).count();
    if unrecorded > 0 {
        push(
            format!("When {} last renewed", plural(unrecorded, "part was", "parts were")),
            "`renewed` in the log, or `fitted` under `parts`".to_owned(),
            "due dates, which count from the day of fitting".to_owned(),
        );
    }
    let dated = |part: &&crate::schedule::due::PartDue| {
        !part.unrecorded && matches!(part.part.fitted, Fitted::Month(_) | Fitted::Year(_))
    };
    for part in given.site.parts.iter().filter(dated) {
        if let (Some(low), Some(high)) = (part.due_low, part.due_high)
            && low != high
        {
            push(
                format!(
                    "{}: the day the {} was fitted",
                    place(given, part.part.at.as_str()),
                    format::words(part.part.id.as_str())
                ),
                "`fitted`, to the day".to_owned(),
                format!("its due date, now {} wide", width(calendar::days_between(low, high))),
            );
        }
    }
    unknowns.extend(gaps::unknowns(given));
    let total = unknowns.len();
    unknowns.truncate(MOST_UNKNOWNS);
    if total > unknowns.len() {
        unknowns.push(view::Unknown {
            what: format!("and {} more of the same kinds", total - unknowns.len()),
            settled_by: String::new(),
            narrows: String::new(),
        });
    }
    let settings = given.site.site.assumed.iter().chain(&given.fleet.assumed).map(|a| view::Assumption {
        what: format::sentence(&a.what),
        value: String::new(),
        change_at: if office { a.change.clone() } else { String::new() },
    });
    // Those of the figures come first.
    let assumptions: Vec<view::Assumption> = model_assumptions(given, office)
        .into_iter()
        .chain(gaps::assumptions(given).into_iter().map(|(what, value, change)| view::Assumption {
            what,
            value,
            change_at: if office { change.to_owned() } else { String::new() },
        }))
        .chain(settings)
        .collect();
    let diagnostics = if office {
        given
            .site
            .site
            .diagnostics
            .iter()
            .map(|d| view::RecordDiagnostic {
                severity: match d.severity {
                    crate::diagnostic::Severity::Error => "error",
                    crate::diagnostic::Severity::Warning => "warning",
                }
                .to_owned(),
                place: d.spot.map_or_else(|| d.file.clone(), |s| format!("{}, line {}", d.file, s.line)),
                message: format::sentence(&d.message),
            })
            .collect()
    } else {
        Vec::new()
    };
    let nothing = unknowns.is_empty() && diagnostics.is_empty() && assumptions.is_empty();
    view::UnknownSection {
        nothing_to_say: nothing.then(|| "Nothing that matters here is unknown.".to_owned()),
        unknowns,
        assumptions,
        diagnostics,
    }
}

/// How wide a stretch of days is, in the words people use.
fn width(days: i64) -> String {
    let years = days as f64 / 365.25;
    match days {
        ..=1 => "a day".to_owned(),
        2..=20 => format!("{days} days"),
        21..=180 => format!("{} weeks", days / 7),
        181..=729 => format!("{:.0} months", years * 12.0),
        _ => format!("{years:.0} years"),
    }
}

fn model_assumptions(given: &Given, office: bool) -> Vec<view::Assumption> {
    let mut all = Vec::new();
    let mut assume = |what: &str, value: String, change: &str| {
        all.push(view::Assumption {
            what: what.to_owned(),
            value,
            change_at: if office { change.to_owned() } else { String::new() },
        });
    };
    let site = given.site;
    let any_flow = |basis: Basis| {
        site.spas.iter().any(|s| {
            s.water.months.iter().rev().take(MONTHS).any(|m| m.flow.as_ref().is_some_and(|f| f.basis == basis))
        })
    };
    assume(
        "Hours a day that cleaning, water changes and a counter's rounding may take from continuous running",
        format!("{:.0} h", water_turnover::SERVICE_HOURS),
        "nothing yet, it is the same for all",
    );
    if any_flow(Basis::Measured) {
        assume(
            "A measured flow is right within",
            percent(water_turnover::MEASURED_WITHIN),
            "nothing yet, the flow meter's own figure is not asked for",
        );
    }
    if any_flow(Basis::Curve) {
        assume(
            "A calculated flow is right within (matched to a measurement, or not)",
            format!("{} or {}", percent(water_turnover::CALIBRATED_WITHIN), percent(water_turnover::CURVE_WITHIN)),
            "a `flow` reading at the filter",
        );
        if site.site.spas.iter().any(|s| s.pipe.as_ref().is_some_and(|p| p.c.is_none())) {
            assume(
                "Roughness of the pipe (Hazen–Williams C)",
                format::number(water_turnover::ASSUMED_C, 0),
                "the field c of `pipe`",
            );
        }
        let filtering = |spa: &crate::records::Spa| spa.pumps.iter().filter(|p| !p.filters_at.is_empty()).count();
        if site.site.spas.iter().any(|spa| filtering(spa) > 1) {
            assume(
                "Several pumps that filter one spa share its pipe and filters; they run one after the other as far as the \
                 day has room, and together beyond that",
                "the cautious reading".to_owned(),
                "a `flow` reading at each filter",
            );
        }
        assume("Bores are those of Schedule 40 plastic pipe", "ASTM D1785".to_owned(), "`size` of `pipe`");
    }
    if any_flow(Basis::Stated) {
        assume(
            "A flow stated by the maker holds on site within",
            percent(water_turnover::STATED_WITHIN),
            "a `flow` reading at the filter",
        );
    }
    if site.spas.iter().flat_map(|s| &s.pumps).any(|p| p.forecast.as_ref().is_some_and(|f| f.spread.assumed)) {
        assume(
            "Where no counter shows how hours vary, a month varies by",
            percent(crate::quantities::hours_spread::ASSUMED_MONTH_SPREAD),
            "counter readings for six months",
        );
    }
    all
}

fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}
