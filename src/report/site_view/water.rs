//! The water of each spa: how it stands against its limits, month by month, and its filters.

use super::{Given, MONTHS, plural};
use crate::basis::Basis;
use crate::calendar;
use crate::charts::style::list;
use crate::quantities::water_tests::TestVerdict;
use crate::quantities::water_turnover::{Verdict, WaterMonth};
use crate::records::Spa;
use crate::records::fleet::Units;
use crate::report::format::{self, NOT_KNOWN};
use crate::report::site::in_view;
use crate::report::view;

/// Months of water in the tables of a site of several spas.
const SEVERAL_SPAS_MONTHS: usize = 6;

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
    view::WaterSection {
        nothing_to_say: site.spas.is_empty().then(|| "No spa stood here in this month.".to_owned()),
        rule_book,
        spas: site.spas.iter().zip(given.site.spas).map(|(spa, figures)| spa_water(given, spa, figures)).collect(),
        cautions: vec![
            "Check suction covers and the spa's temperature on every visit; close the spa if a cover is loose, cracked or missing, or the water is over 40 °C (104 °F).".to_owned(),
            "Hold chemicals apart, never mix them, and add them to water, not water to them.".to_owned(),
        ],
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
    // A site of several spas would else be pages of tables; all months are in the table of turnovers.
    let months_shown = if given.site.spas.len() > 1 { SEVERAL_SPAS_MONTHS } else { MONTHS };
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
    let verdict = now.map_or(Verdict::Unknown, |row| row.verdict);
    view::SpaWater {
        name: format::place(spa.at.as_str()),
        mark: match verdict {
            Verdict::Short => view::Mark::ActNow,
            _ => view::Mark::None,
        },
        verdict: verdict_words(verdict).to_owned(),
        summary: water_summary(given, spa, figures),
        charts,
        units: view::WaterUnits {
            turnover: "min".to_owned(),
            flow: format::flow_unit(units).to_owned(),
            filter_rate: format::filter_rate_unit(units).to_owned(),
            velocity: format::velocity_unit(units).to_owned(),
            pressure: format::pressure_unit(units).to_owned(),
        },
        months: shown,
        table_note: water_note(given, figures, units),
        ways_out: crate::report::ways_out_view::ways_out(given.fleet, figures),
        filters: filter_rows(given, spa, figures),
    }
}

fn verdict_words(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Meets => "meets its limits",
        Verdict::Short => "short of its limits",
        Verdict::Closed => "closed",
        Verdict::Unknown => NOT_KNOWN,
    }
}

fn water_note(given: &Given, figures: &crate::quantities::SpaFigures, units: Units) -> String {
    // What holds for all spas is said once.
    let first = given.site.spas.first().is_some_and(|spa| spa.at == figures.at);
    let mut notes = Vec::new();
    if first {
        notes.push(
            "A flow is measured in the month, last measured since the filter was cleaned, calculated from the pump's \
             curve against the pipe loop, or as its maker states."
                .to_owned(),
        );
    }
    if let Some(error) = figures.water.model_error {
        let percent = (error * 100.0).round();
        notes.push(format!(
            "Before it was matched to the last measurement the calculation gave {}{} %.",
            if percent > 0.0 { "+" } else { "" },
            format::number(percent, 0)
        ));
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
        (Some(turnover), Some(flow)) => {
            let volume =
                spa.volume.map_or(String::new(), |v| format!(" of {}", format::volume(v.0.get::<liter>(), units)));
            let limit = match row.limit_min {
                Some(limit) if turnover.value <= limit => format!(", within its limit of {limit:.0} min"),
                Some(limit) => format!(", over its limit of {limit:.0} min"),
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
        limit: or_blank(row.limit_min.map(|l| format!("{l:.0}"))),
        flow: or_blank(row.flow.as_ref().map(|f| format::flow_number(f.value, units))),
        flow_basis: row.flow.as_ref().map_or(String::new(), |f| basis_words(f.basis).to_owned()),
        turnovers_per_day: or_blank(row.turnovers_per_day.map(|t| format::number(t, 0))),
        filtration_hours: or_blank(row.hours_per_day.map(|h| format!("{h:.1}"))),
        filter_rate: or_blank(row.filter_rate.map(|r| format::filter_rate_number(r, units))),
        velocity: or_blank(row.velocity.map(|v| format::velocity_number(v, units))),
        mark: if row.verdict == Verdict::Short { view::Mark::ActNow } else { view::Mark::None },
        verdict: row.verdict.word().to_owned(),
    }
}

fn filter_rows(given: &Given, spa: &Spa, figures: &crate::quantities::SpaFigures) -> Vec<view::FilterRow> {
    let units = given.units();
    let as_of = given.site.as_of;
    spa.filters
        .iter()
        .zip(&figures.filters)
        .map(|(filter, figures)| {
            let state = &figures.state;
            let bar = |p: Option<f64>| p.map_or("–".to_owned(), |p| format::pressure_number(p, units));
            view::FilterRow {
                name: format::sentence(&format::words(filter.at.last())),
                kind: crate::schedule::due::filter_kind(filter.kind).to_owned(),
                pressure: bar(state.pressure),
                clean_pressure: bar(state.clean_pressure),
                last_clean: state.last_clean.map_or(NOT_KNOWN.to_owned(), |d| format::near_date(d, as_of)),
                clean_by: state.clean_by.map_or(NOT_KNOWN.to_owned(), |(d, _, _)| format::near_date(d, as_of)),
                clean_by_range: state.clean_by.map_or(String::new(), |(_, low, high)| {
                    format!("{} to {}", format::near_date(low, as_of), format::near_date(high, as_of))
                }),
                turnover_then: state
                    .turnover_then
                    .as_ref()
                    .map_or("–".to_owned(), |t| format!("{:.1} ({:.1} to {:.1})", t.value, t.low, t.high)),
            }
        })
        .collect()
}
