//! The water of each spa: how it stands against its limits, month by month, and its filters.

use super::{Given, MONTHS, place, plural};
use crate::basis::Basis;
use crate::calendar::{self, Month};
use crate::charts::style::list;
use crate::quantities::SpaFigures;
use crate::quantities::water_tests::TestVerdict;
use crate::quantities::water_turnover::{Verdict, WaterMonth};
use crate::records::Spa;
use crate::records::fleet::Units;
use crate::report::format::{self, NOT_KNOWN};
use crate::report::site::in_view;
use crate::report::view;
use crate::report::water_words;
use crate::to_do::Urgency;

/// Months of water in the overview of a site of several spas.
const OVERVIEW_MONTHS: usize = 5;
/// Spas from which only those that are not known to be in order are told of one by one.
const MANY_SPAS: usize = 5;
/// Spas that are told of one by one at most.
const SPAS_TOLD: usize = 6;
/// Filters in the table.
const FILTERS: usize = 20;

pub(super) fn water(given: &Given) -> view::WaterSection {
    let site = given.site.site;
    let rule_book = match given.fleet.rule_book(site) {
        Some(book) if book.limits(site.r#use).is_some() => {
            let used_as = site.r#use.map_or("", |u| u.word());
            format!(
                "Judged by the rule book “{}” ({}) for the use “{used_as}”. Local codes come first.",
                book.title, book.name
            )
        }
        Some(book) => format!(
            "The rule book “{}” has no limits for this use, so nothing is judged. Local codes come first.",
            book.title
        ),
        None => "No rule book is named, so nothing is judged. Local codes come first.".to_owned(),
    };
    let (spas, other_spas) = spas(given);
    view::WaterSection {
        nothing_to_say: site.spas.is_empty().then(|| "No spa stood here in this month.".to_owned()),
        rule_book,
        overview: (site.spas.len() > 1).then(|| overview(given)),
        spas,
        other_spas,
        filters: filters(given),
        filters_note: filters_note(given),
        units: {
            let units = given.units();
            view::WaterUnits {
                turnover: "min".to_owned(),
                flow: format::flow_unit(units).to_owned(),
                filter_rate: format::filter_rate_unit(units).to_owned(),
                velocity: format::velocity_unit(units).to_owned(),
                pressure: format::pressure_unit(units).to_owned(),
            }
        },
        cautions: vec![
            crate::report::cautions::in_order(
                "Check suction covers and the spa's temperature on every visit; close the spa if a cover is loose, cracked or missing, or the water is over 40 °C (104 °F).",
                given.units(),
            ),
            "Hold chemicals apart, never mix them, and add them to water, not water to them.".to_owned(),
        ],
    }
}

/// The spas that are told of one by one: all of a few, of many those that are not known to be in order.
fn told<'a>(given: &'a Given) -> Vec<(&'a Spa, &'a SpaFigures)> {
    let all = || given.site.site.spas.iter().zip(given.site.spas);
    if given.site.spas.len() < MANY_SPAS {
        return all().collect();
    }
    let troubled = |figures: &SpaFigures| {
        let at = |address: &crate::address::Address| address.spa() == figures.at.as_str();
        figures.water.months.last().is_some_and(|row| row.verdict == Verdict::Short)
            || given.site.to_do.iter().any(|t| {
                t.urgency <= Urgency::ActNow && t.reason.starts_with("filter-") && t.at.as_ref().is_some_and(at)
            })
    };
    all().filter(|(_, figures)| troubled(figures)).take(SPAS_TOLD).collect()
}

/// The spas that are told of at length, and those of which the overview leaves little to say.
fn spas(given: &Given) -> (Vec<view::SpaWater>, Vec<view::OtherSpa>) {
    let overview = given.site.spas.len() > 1;
    let (at_length, briefly): (Vec<_>, Vec<_>) = told(given)
        .into_iter()
        .map(|(spa, figures)| spa_water(given, spa, figures))
        .partition(|spa| !overview || !spa.charts.is_empty() || !spa.ways_out.is_empty());
    let brief = |spa: view::SpaWater| view::OtherSpa {
        name: spa.name,
        says: [spa.summary, spa.table_note].into_iter().filter(|says| !says.is_empty()).collect::<Vec<_>>().join(" "),
    };
    (at_length, briefly.into_iter().map(brief).collect())
}

fn overview(given: &Given) -> view::WaterOverview {
    let units = given.units();
    let last = given.month;
    let months: Vec<Month> = last.plus(1 - OVERVIEW_MONTHS as i32).through(last).collect();
    let or_blank = |text: Option<String>| text.unwrap_or_else(|| "–".to_owned());
    let mut letters = std::collections::BTreeSet::new();
    let mut rows: Vec<view::OverviewRow> = given
        .site
        .spas
        .iter()
        .map(|figures| {
            let now = figures.water.months.last();
            view::OverviewRow {
                spa: format::place(figures.at.as_str()),
                limit: or_blank(now.and_then(|row| row.limit_min).map(|limit| format::number(limit, 0))),
                turnovers: months
                    .iter()
                    .map(|month| {
                        let row = figures.water.months.iter().find(|row| row.month == *month);
                        let letter = row.and_then(|r| r.flow.as_ref()).map_or("", |flow| flow_letter(flow.basis));
                        letters.insert(letter);
                        view::OverviewCell {
                            mark: row.map_or(view::Mark::None, water_words::mark),
                            minutes: match row {
                                Some(row) if row.verdict == Verdict::Closed => "closed".to_owned(),
                                row => {
                                    or_blank(row.and_then(|r| r.turnover.as_ref()).map(|t| format::number(t.value, 1)))
                                }
                            },
                            letter: letter.to_owned(),
                        }
                    })
                    .collect(),
                flow: or_blank(now.and_then(|r| r.flow.as_ref()).map(|f| format::flow_number(f.value, units))),
                turnovers_per_day: or_blank(now.and_then(|r| r.turnovers_per_day).map(|t| format::number(t, 0))),
                filtration_hours: or_blank(now.and_then(|r| r.hours_per_day).map(|h| format::number(h, 1))),
                filtration_mark: view::Mark::None,
                filter_rate: or_blank(now.and_then(|r| r.filter_rate).map(|r| format::filter_rate_number(r, units))),
                velocity: or_blank(now.and_then(|r| r.velocity).map(|v| format::velocity_number(v, units))),
            }
        })
        .collect();
    let few_hours = mark_few_hours(given, &mut rows, &months);
    let mut key: Vec<&str> = letters
        .into_iter()
        .filter_map(|letter| match letter {
            "c" => Some("c: flow calculated from the pump's curve against the pipe loop"),
            "l" => Some("l: last measured, since the filter was cleaned"),
            "s" => Some("s: as the maker states"),
            _ => None,
        })
        .collect();
    key.push("no letter: measured in the month");
    let triangle = rows.iter().flat_map(|row| &row.turnovers).any(|cell| cell.mark != view::Mark::None);
    if triangle {
        key.push("triangle: turned over too slowly; dot: filter rate or velocity over its limit");
    }
    if few_hours {
        key.push("h, and the triangle under Filtered: filtered too few hours");
    }
    let last_month = calendar::MONTHS[last.number() as usize - 1];
    view::WaterOverview {
        months: months.iter().map(|m| calendar::MONTHS[m.number() as usize - 1][..3].to_owned()).collect(),
        rows,
        note: format!(
            "Minutes for all the water to pass the filter once; {}. The columns on the right are those of {last_month}.{}",
            key.join("; "),
            if given.office() {
                " Every month is in tables/water_turnover.csv.".to_owned()
            } else {
                // The tables stay in the office.
                format!(" Every month is to be had from {}.", given.fleet.prepared_by())
            }
        ),
    }
}

/// Moves the mark of a spa whose hours are short, and only they, from its turnover time to where the hours stand: the
/// time itself is within its limit. Whether there is any such month.
fn mark_few_hours(given: &Given, rows: &mut [view::OverviewRow], months: &[Month]) -> bool {
    let mut any = false;
    for (row, figures) in rows.iter_mut().zip(given.site.spas) {
        let of = |month: &Month| figures.water.months.iter().find(|water| water.month == *month);
        let few = |water: &WaterMonth| water.verdict == Verdict::Short && water.failing.contains(&"filtration hours");
        for (cell, month) in row.turnovers.iter_mut().zip(months) {
            if let Some(water) = of(month).filter(|water| few(water)) {
                any = true;
                cell.letter.push('h');
                if !water.failing.contains(&"turnover") {
                    cell.mark = view::Mark::None;
                }
            }
        }
        if of(&given.month).is_some_and(few) {
            row.filtration_mark = view::Mark::ActNow;
        }
    }
    any
}

fn flow_letter(basis: Basis) -> &'static str {
    match basis {
        Basis::Measured => "",
        Basis::Curve => "c",
        Basis::Stated => "s",
        _ => "l",
    }
}

fn filters(given: &Given) -> Vec<view::FilterRow> {
    let of = |(spa, figures)| filter_rows(given, spa, figures);
    let mut rows: Vec<(Option<chrono::NaiveDate>, view::FilterRow)> =
        given.site.site.spas.iter().zip(given.site.spas).flat_map(of).collect();
    // Of many the soonest to clean; the order of the site is kept where all are shown.
    if rows.len() > FILTERS {
        rows.sort_by_key(|(clean_by, _)| clean_by.unwrap_or(chrono::NaiveDate::MAX));
        rows.truncate(FILTERS);
    }
    rows.into_iter().map(|(_, row)| row).collect()
}

fn filters_note(given: &Given) -> String {
    let all: usize = given.site.site.spas.iter().map(|spa| spa.filters.len()).sum();
    match (all.saturating_sub(FILTERS), given.office()) {
        (0, _) => String::new(),
        (more, true) => format!("The {FILTERS} that are to be cleaned first; {more} more are in tables/filters.csv."),
        (_, false) => format!("The {FILTERS} that are to be cleaned first."),
    }
}

fn basis_words(basis: Basis) -> &'static str {
    match basis {
        Basis::Measured => "measured",
        Basis::Curve => "calculated",
        Basis::Estimated => "last measured",
        other => other.word(),
    }
}

fn spa_water(given: &Given, spa: &Spa, figures: &crate::quantities::SpaFigures) -> view::SpaWater {
    let units = given.units();
    let rows = &figures.water.months;
    let now = rows.last();
    // Of several spas the overview has the months.
    // Nor does a table of dashes tell anybody anything.
    let told = |row: &WaterMonth| row.flow.is_some() || row.hours_per_day.is_some() || row.verdict == Verdict::Closed;
    let months_shown = if given.site.spas.len() > 1 || !rows.iter().any(told) { 0 } else { MONTHS };
    let shown: Vec<view::WaterMonth> =
        rows.iter().rev().take(months_shown).rev().map(|row| water_row(row, units)).collect();
    let charts = given
        .charts
        .turnover
        .iter()
        .filter(|(at, _)| *at == spa.at)
        .map(|(_, chart)| in_view(chart, "Is the water turned over often enough?"))
        .chain(
            given
                .charts
                .filters
                .iter()
                .filter(|(at, _)| at.spa() == spa.at.as_str())
                .map(|(_, chart)| in_view(chart, "When does the filter have to be cleaned?")),
        )
        .collect();
    view::SpaWater {
        name: format::place(spa.at.as_str()),
        mark: now.map_or(view::Mark::None, water_words::mark),
        verdict: water_words::verdict(now, units),
        summary: water_summary(given, spa, figures),
        charts,
        months: shown,
        table_note: water_note(given, figures, units),
        ways_out: crate::report::ways_out_view::ways_out(given.fleet, figures),
    }
}

/// How far the calculation was off before it was matched to a measurement.
fn model_error(error: f64) -> String {
    let percent = format::number((error * 100.0).abs(), 0);
    let off = match error {
        _ if percent == "0" => "within half a per cent of the measured flow".to_owned(),
        error if error > 0.0 => format!("{percent} % above the measured flow"),
        _ => format!("{percent} % below the measured flow"),
    };
    format!("Before it was matched to the last measurement the calculated flow was {off}.")
}

fn water_note(given: &Given, figures: &crate::quantities::SpaFigures, units: Units) -> String {
    // Of several spas the overview says it.
    let first = given.site.spas.len() == 1;
    let mut notes = Vec::new();
    if first {
        notes.push(
            "A flow is measured in the month, last measured since the filter was cleaned, calculated from the pump's \
             curve against the pipe loop, or as its maker states."
                .to_owned(),
        );
    }
    if let Some(error) = figures.water.model_error {
        notes.push(model_error(error));
    }
    if let Some(row) = figures.water.months.last() {
        if let (Some(limit), Some(rate)) = (row.filter_limit, row.filter_rate) {
            notes.push(format!(
                "Filter rate {} against a limit of {} {}.",
                format::filter_rate_number(rate, units),
                format::filter_rate_number(limit, units),
                format::filter_rate_unit(units)
            ));
        }
        if let (Some(limit), Some(velocity)) = (row.velocity_limit, row.velocity) {
            notes.push(format!(
                "Velocity in the pipe {} against {} {} on the suction side.",
                format::velocity_number(velocity, units),
                format::velocity_number(limit, units),
                format::velocity_unit(units)
            ));
        }
    }
    notes.extend(crate::report::filter_words::cleaning(figures));
    let wrong: Vec<_> =
        figures.tests.iter().filter(|t| matches!(t.verdict, TestVerdict::Low | TestVerdict::High)).collect();
    if !figures.tests.is_empty() {
        let tested = plural(figures.tests.len(), "water test", "water tests");
        notes.push(if wrong.is_empty() {
            format!("{} of the month, none outside its limits.", format::sentence(&tested))
        } else {
            format!("{} of the month, {} outside the limits.", format::sentence(&tested), wrong.len())
        });
    }
    notes.join(" ")
}

fn water_summary(given: &Given, spa: &Spa, figures: &crate::quantities::SpaFigures) -> String {
    use uom::si::volume::liter;
    let units = given.units();
    let Some(row) = figures.water.months.last() else { return "Nothing is known of its water.".to_owned() };
    let month = given.month.in_words();
    match (&row.turnover, &row.flow) {
        _ if row.verdict == Verdict::Closed => format!("The spa was closed throughout {month}."),
        _ if row.stands() => format!("{}.", format::sentence(water_words::STANDS)),
        (Some(turnover), Some(flow)) => {
            let volume =
                spa.volume.map_or(String::new(), |v| format!(" of {}", format::volume(v.0.get::<liter>(), units)));
            let limit = match row.limit_min {
                Some(limit) if !row.failing.contains(&"turnover") => {
                    format!(", within its limit of {} min", water_words::limit_minutes(limit))
                }
                Some(limit) => format!(", over its limit of {} min", water_words::limit_minutes(limit)),
                None => ", for which no limit is known".to_owned(),
            };
            let close = row.limit_min.is_some_and(|limit| (turnover.low <= limit) != (turnover.high <= limit));
            let margin = if close { " That is close enough for the range to lie on both sides." } else { "" };
            let hours = row.hours_per_day.map_or(String::new(), |h| {
                let failing =
                    if row.failing.contains(&"filtration hours") { ", less than the rule book asks" } else { "" };
                format!(
                    " It was filtered {h:.1} hours a day{failing}{}.",
                    row.turnovers_per_day.map_or(String::new(), |t| format!(" and turned over {t:.0} times a day"))
                )
            });
            format!(
                "In {month} all the water{volume} passed the filter once in {:.1} min ({}, {:.1} to {:.1} min){limit}.{margin}{hours}",
                turnover.value,
                basis_words(flow.basis),
                turnover.low,
                turnover.high
            )
        }
        // The names of fields are for whoever keeps the records.
        _ if !given.office() => {
            "How long all the water takes to pass the filter is not known: the records do not say enough yet."
                .to_owned()
        }
        _ => format!(
            "How long all the water takes to pass the filter is not known. To know it, add {}.",
            list(&figures.water.missing)
        ),
    }
}

fn water_row(row: &WaterMonth, units: Units) -> view::WaterMonth {
    let or_blank = |text: Option<String>| text.unwrap_or_else(|| "–".to_owned());
    view::WaterMonth {
        month: format!("{} {}", &calendar::MONTHS[row.month.number() as usize - 1][..3], row.month.year()),
        turnover: or_blank(row.turnover.as_ref().map(|t| format!("{:.1}", t.value))),
        limit: or_blank(row.limit_min.map(water_words::limit_minutes)),
        flow: or_blank(row.flow.as_ref().map(|f| format::flow_number(f.value, units))),
        flow_basis: row.flow.as_ref().map_or(String::new(), |f| basis_words(f.basis).to_owned()),
        turnovers_per_day: or_blank(row.turnovers_per_day.map(|t| format::number(t, 0))),
        filtration_hours: or_blank(row.hours_per_day.map(|h| format!("{h:.1}"))),
        filter_rate: or_blank(row.filter_rate.map(|r| format::filter_rate_number(r, units))),
        velocity: or_blank(row.velocity.map(|v| format::velocity_number(v, units))),
        mark: water_words::mark(row),
        verdict: water_words::in_short(row),
    }
}

/// The turnover time on the day a filter is to be cleaned, min, with its range and the flow it comes of.
fn turnover_then(state: &crate::quantities::filters::FilterState, limit: Option<f64>, units: Units) -> String {
    let Some(then) = &state.turnover_then else { return "–".to_owned() };
    let over = if limit.is_some_and(|limit| then.value > limit) { ", over its limit" } else { "" };
    let flow = state.flow_then.as_ref().map_or_else(String::new, |f| format!(" at {}", format::flow(f.value, units)));
    format!("{:.1} ({:.1} to {:.1}){flow}{over}", then.value, then.low, then.high)
}

/// The filters of a spa, each with the day to clean it.
fn filter_rows(
    given: &Given,
    spa: &Spa,
    figures: &crate::quantities::SpaFigures,
) -> Vec<(Option<chrono::NaiveDate>, view::FilterRow)> {
    let units = given.units();
    let as_of = given.site.as_of;
    let limit = figures.water.months.last().and_then(|row| row.limit_min);
    spa.filters
        .iter()
        .zip(&figures.filters)
        .map(|(filter, figures)| {
            let state = &figures.state;
            let bar = |p: Option<f64>| p.map_or("–".to_owned(), |p| format::pressure_number(p, units));
            let row = view::FilterRow {
                name: place(given, filter.at.as_str()),
                kind: filter.kind.word().to_owned(),
                pressure: bar(state.pressure),
                clean_pressure: bar(state.clean_pressure),
                last_clean: state.last_clean.map_or(NOT_KNOWN.to_owned(), |d| format::near_date(d, as_of)),
                clean_by: state.clean_before().map_or(NOT_KNOWN.to_owned(), |(d, _, _)| format::near_date(d, as_of)),
                clean_by_range: state.clean_before().map_or(String::new(), |(_, low, high)| {
                    format!("{} to {}", format::near_date(low, as_of), format::near_date(high, as_of))
                }),
                turnover_then: turnover_then(state, limit, units),
            };
            (state.clean_before().map(|(day, _, _)| day), row)
        })
        .collect()
}
