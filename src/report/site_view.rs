//! What a site's report says: the figures as finished sentences and cells.
//!
//! Every sentence with a number in it is computed here from the figures; what is not known says which
//! record would let it be known.

use uom::si::{electric_potential::volt, length::inch, power::horsepower, power::kilowatt, time::hour, time::minute};

use crate::basis::Basis;
use crate::calendar::{self, Month, plus_days};
use crate::charts::style::list;
use crate::output::FileDigest;
use crate::quantities::PumpFigures;
use crate::quantities::failures::{LEAST_FAILURES, Trend};
use crate::quantities::run_hours;
use crate::quantities::water_tests::TestVerdict;
use crate::quantities::water_turnover::{self, Verdict, WaterMonth};
use crate::records::fleet::{Paper, ReportsFor, Units};
use crate::records::forms::Fitted;
use crate::records::pumps::{Model, Speeds};
use crate::records::{Fleet, Pump, Spa};
use crate::report::cautions;
use crate::report::format::{self, NOT_KNOWN};
use crate::report::life_words;
use crate::report::site::{Numbers, in_view};
use crate::report::site_charts::Charts;
use crate::report::view;
use crate::schedule::due::PartDue;
use crate::site::SiteFigures;
use crate::to_do::{ToDo, Urgency, part_urgency};

/// What a view is made from.
pub struct Given<'a> {
    /// What all sites share.
    pub fleet: &'a Fleet,
    /// The site's figures.
    pub site: &'a SiteFigures<'a>,
    /// The month reported.
    pub month: Month,
    /// The numbers of the month before.
    pub previous: Option<&'a Numbers>,
    /// The charts drawn.
    pub charts: &'a Charts,
    /// Digests of the fleet's files.
    pub inputs: &'a [FileDigest],
    /// The renderer's version.
    pub renderer: &'a str,
}

/// Actions on page one.
const ACTIONS: usize = 5;
/// Months of water in the tables of a site of several spas.
const SEVERAL_SPAS_MONTHS: usize = 6;
/// Readings that are advised.
const READINGS_ADVISED: usize = 4;
/// Rows of wear parts.
const PART_ROWS: usize = 16;
/// Months in the tables of the report.
const MONTHS: usize = 12;

impl Given<'_> {
    fn units(&self) -> Units {
        self.fleet.settings.units
    }

    /// Whether the report is for the office: costs, notes and record files may stand in it.
    fn office(&self) -> bool {
        self.fleet.settings.reports_for == ReportsFor::Office
    }

    fn currency(&self) -> &str {
        &self.fleet.settings.currency.0
    }
}

/// The site report's view.
pub fn view(given: &Given) -> view::SiteView {
    view::SiteView {
        view_version: view::VIEW_VERSION,
        document: document(given),
        page_one: page_one(given),
        water: water(given),
        pumps: pumps(given),
        parts: parts(given),
        visits: visits(given),
        unknowns: unknowns(given),
        closing: closing(given),
    }
}

fn mark(urgency: Urgency) -> view::Mark {
    match urgency {
        Urgency::DoNotUse => view::Mark::DoNotUse,
        Urgency::ActNow => view::Mark::ActNow,
        Urgency::Plan => view::Mark::Plan,
        Urgency::Note => view::Mark::Note,
    }
}

fn document(given: &Given) -> view::Document {
    let settings = &given.fleet.settings;
    let site = &given.site.site;
    let customer = site.customer.as_ref().and_then(|id| given.fleet.customers.get(id));
    let month = given.month.in_words();
    view::Document {
        title: format!("{}: report for {month}", site.name),
        site: site.name.clone(),
        month: month.clone(),
        prepared_by: settings.prepared_by.as_ref().map_or_else(|| settings.fleet.0.clone(), |p| p.0.clone()),
        prepared_for: customer.and_then(|c| c.name.as_ref()).map(|n| n.0.clone()),
        as_of: given.site.as_of.to_string(),
        paper: match settings.paper {
            Paper::A4 => view::Paper::A4,
            Paper::UsLetter => view::Paper::UsLetter,
        },
        lang: if settings.units == Units::Us { "en-US" } else { "en-GB" }.to_owned(),
        header: settings.fleet.0.clone(),
        footer: format!(
            "{} · {month} · from records up to {} · {}",
            site.name,
            calendar::in_words(given.site.as_of),
            match given.fleet.rule_book(site).filter(|book| book.limits(site.r#use).is_some()) {
                Some(book) => format!("rule book {}; local codes come first", book.name),
                None => "no limits; local codes come first".to_owned(),
            }
        ),
    }
}

fn plural(count: usize, one: &str, many: &str) -> String {
    match count {
        1 => format!("one {one}"),
        2..=9 => {
            let word = ["two", "three", "four", "five", "six", "seven", "eight", "nine"][count - 2];
            format!("{word} {many}")
        }
        _ => format!("{count} {many}"),
    }
}

/// Something at a site, in words: the spa is left out where there is only one.
fn place(given: &Given, at: &str) -> String {
    match (given.site.spas.len(), at.split_once('/')) {
        (1, Some((_, rest))) => format::place(rest),
        _ => format::place(at),
    }
}

fn page_one(given: &Given) -> view::PageOne {
    let to_do = &given.site.to_do;
    let shown = grouped(to_do);
    let actions = shown.iter().take(ACTIONS).map(|group| action(given, group)).collect();
    let more = shown.len().saturating_sub(ACTIONS);
    view::PageOne {
        state: state(given),
        left_out: left_out(given),
        actions,
        no_actions: "Nothing is due in the next 90 days.".to_owned(),
        more_actions: (more > 0)
            .then(|| format!("And {} more in the sections below.", plural(more, "thing", "things"))),
        numbers: numbers(given),
        charts: given.charts.year.iter().map(|c| in_view(c, "What falls due, and when are guests in?")).collect(),
    }
}

/// What is to be done, in groups that say the same of several places.
fn grouped(to_do: &[ToDo]) -> Vec<Vec<&ToDo>> {
    let mut groups: Vec<Vec<&ToDo>> = Vec::new();
    for one in to_do.iter().filter(|t| t.urgency != Urgency::Note) {
        let same = |group: &&mut Vec<&ToDo>| {
            group[0].reason == one.reason
                && group[0].what == one.what
                && (group[0].says == one.says || one.reason == "left-at-visit")
                && group[0].due == one.due
        };
        match groups.iter_mut().find(same) {
            Some(group) => group.push(one),
            None => groups.push(vec![one]),
        }
    }
    groups
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
    let overdue = given.site.parts.iter().filter(|p| p.due.is_some_and(|due| due <= given.site.as_of)).count();
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
        rows.iter().filter(|(_, r)| r.verdict == verdict).map(|(at, _)| format::words(at)).collect()
    };
    let (short, unknown) = (of(Verdict::Short), of(Verdict::Unknown));
    if rows.is_empty() {
        return format!("No water was in use in {month}.");
    }
    if !short.is_empty() {
        let all = short.len() == rows.len() && rows.len() == 1;
        let names = if all { "the spa".to_owned() } else { list(&short) };
        return format!("In {month} the water of {names} was not filtered as often as the rule book asks.");
    }
    if unknown.len() == rows.len() {
        return format!("Whether the water was filtered often enough in {month} is not known, or no limit applies.");
    }
    let calculated = rows
        .iter()
        .any(|(_, r)| r.verdict == Verdict::Meets && r.flow.as_ref().is_some_and(|f| f.basis != Basis::Measured));
    let how = if calculated { " (in part calculated, not measured)" } else { "" };
    let but = if unknown.is_empty() { String::new() } else { format!("; of {} it is not known", list(&unknown)) };
    format!("The water was filtered often enough in {month}{how}{but}.")
}

fn action(given: &Given, group: &[&ToDo]) -> view::Action {
    let as_of = given.site.as_of;
    let to_do = group[0];
    let places: Vec<String> = group
        .iter()
        .map(|t| t.at.as_ref().map_or_else(|| given.site.site.name.clone(), |at| place(given, at.as_str())))
        .collect();
    let by_when = match to_do.due {
        Some(due) if due > as_of => format!("by {}", format::near_date(due, as_of)),
        _ if to_do.urgency <= Urgency::ActNow => "now".to_owned(),
        Some(_) => "overdue".to_owned(),
        None => "next visit".to_owned(),
    };
    view::Action {
        mark: mark(to_do.urgency),
        mark_word: to_do.urgency.words().to_owned(),
        place: places.join("; "),
        what: format::sentence(&to_do.what),
        by_when,
        why: to_do.says.clone(),
        if_left: if to_do.if_left.is_empty() { String::new() } else { format!("{}.", to_do.if_left) },
    }
}

fn numbers(given: &Given) -> Vec<view::Headline> {
    let now = Numbers::of(given.site);
    let last = calendar::MONTHS[given.month.plus(-1).number() as usize - 1];
    let before =
        |text: Option<String>| text.map_or_else(|| format!("{last}: {NOT_KNOWN}"), |text| format!("{last}: {text}"));
    let mut numbers = Vec::new();
    let turnover_before =
        given.previous.and_then(|p| p.worst.as_ref()).map(|(_, minutes, _)| format!("{minutes:.1} min"));
    numbers.push(match &now.worst {
        Some((at, minutes, limit)) => view::Headline {
            value: format!("{minutes:.1}"),
            unit: "min".to_owned(),
            caption: {
                let who = if given.site.spas.len() > 1 { format!(", {}", format::words(at)) } else { String::new() };
                let limit = limit.map_or("; no limit known".to_owned(), |l| format!("; limit {l:.0} min"));
                format!("slowest water turnover{who}{limit}")
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
        let cost = now.planned_cost.map(|c| format::money_whole(c, given.currency()));
        numbers.push(view::Headline {
            value: cost.unwrap_or_else(|| "–".to_owned()),
            unit: String::new(),
            caption: if now.planned_cost.is_some() {
                "planned work of 12 months, without failures and travel".to_owned()
            } else {
                "planned cost is not known: the book has no prices".to_owned()
            },
            last_month: before(
                given.previous.and_then(|p| p.planned_cost).map(|c| format::money_whole(c, given.currency())),
            ),
        });
    }
    numbers
}

fn water(given: &Given) -> view::WaterSection {
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

fn pumps(given: &Given) -> view::PumpSection {
    let pumps: Vec<(&Spa, &Pump, &PumpFigures)> = given
        .site
        .site
        .spas
        .iter()
        .zip(given.site.spas)
        .flat_map(|(spa, figures)| {
            spa.pumps.iter().zip(&figures.pumps).map(move |(pump, figures)| (spa, pump, figures))
        })
        .collect();
    if pumps.is_empty() {
        return view::PumpSection {
            nothing_to_say: Some("No pump is in the records.".to_owned()),
            ..view::PumpSection::default()
        };
    }
    view::PumpSection {
        nothing_to_say: None,
        summary: pump_summary(given, &pumps),
        charts: given
            .charts
            .run_hours
            .iter()
            .map(|(at, chart)| in_view(chart, &format!("How long has {} run?", place_inside(given, at.as_str()))))
            .collect(),
        identities: pumps.iter().map(|(_, pump, _)| identity(given, pump)).collect(),
        hours: hours_table(given, &pumps),
        energy: energy_table(given, &pumps),
        trends: Vec::new(),
        failures: failure_sentence(given, &pumps),
        failure_charts: given
            .charts
            .failures
            .iter()
            .map(|(at, chart)| {
                in_view(chart, &format!("Does {} fail more and more often?", place_inside(given, at.as_str())))
            })
            .collect(),
        reading_advice: reading_advice(given),
    }
}

/// A place in the middle of a sentence.
fn place_inside(given: &Given, at: &str) -> String {
    let words = place(given, at);
    let mut characters = words.chars();
    characters.next().map_or_else(String::new, |first| first.to_lowercase().collect::<String>() + characters.as_str())
}

type Pumps<'a> = [(&'a Spa, &'a Pump, &'a PumpFigures)];

fn hours_of_month(figures: &PumpFigures, month: Month) -> Option<f64> {
    let rows: Vec<_> = figures.hours.as_ref()?.months.iter().filter(|m| m.month == month).collect();
    if rows.is_empty() { None } else { rows.iter().map(|m| m.hours).sum() }
}

fn pump_summary(given: &Given, pumps: &Pumps) -> String {
    let known: Vec<f64> = pumps.iter().filter_map(|(_, _, f)| hours_of_month(f, given.month)).collect();
    let metered = pumps
        .iter()
        .filter(|(_, _, f)| {
            f.hours
                .as_ref()
                .is_some_and(|h| h.months.iter().any(|m| m.month == given.month && m.basis == Some(Basis::Metered)))
        })
        .count();
    let month = given.month.in_words();
    let unknown = pumps.len() - known.len();
    let mut text = format!(
        "{} ran {} hours together in {month}.",
        format::sentence(&plural(known.len(), "pump", "pumps")),
        format::number(known.iter().sum(), 0)
    );
    if metered == pumps.len() {
        text.push_str(" All of it is metered.");
    } else if metered == 0 {
        let corrected = pumps.iter().any(|(_, _, f)| {
            f.hours
                .as_ref()
                .is_some_and(|h| h.months.iter().any(|m| m.month == given.month && m.basis == Some(Basis::Calibrated)))
        });
        text.push_str(" No two readings of a counter span most of the month: the hours are those of the programs");
        text.push_str(if corrected { ", corrected by what the counters have shown." } else { "." });
    } else {
        let by_counter = plural(metered, "pump", "pumps");
        text.push_str(&format!(" {} by their counters, the others by their programs.", format::sentence(&by_counter)));
    }
    if unknown > 0 {
        text.push_str(&format!(" Of {} the hours are not known.", plural(unknown, "pump", "pumps")));
    }
    text
}

fn identity(given: &Given, pump: &Pump) -> view::PumpIdentity {
    let model = model_now(given, pump);
    let or_unknown = |text: Option<String>| text.unwrap_or_else(|| NOT_KNOWN.to_owned());
    let metric = given.units() == Units::Metric;
    let ports = model.and_then(|m| m.ports);
    let inches =
        |l: Option<crate::units::Length>| or_unknown(l.map(|l| format!("{} in", trimmed(l.0.get::<inch>(), 2))));
    view::PumpIdentity {
        place: format::place(pump.at.spa()),
        pump: format::sentence(&format::words(pump.at.last())),
        model: or_unknown(run_hours::model_now(given.site.site, pump)),
        power: or_unknown(model.and_then(|m| m.power).map(|p| {
            let hp = p.0.get::<horsepower>();
            if metric {
                format!("{} hp ({:.2} kW)", trimmed(hp, 2), p.0.get::<kilowatt>())
            } else {
                format!("{} hp", trimmed(hp, 2))
            }
        })),
        speeds: or_unknown(model.map(|m| if m.speeds == Speeds::One { "1" } else { "2" }.to_owned())),
        frame: or_unknown(model.and_then(|m| m.frame.as_ref()).map(|f| f.0.clone())),
        inlet: inches(ports.and_then(|p| p.inlet)),
        discharge: inches(ports.and_then(|p| p.discharge)),
        supply: or_unknown(model.and_then(|m| m.supply).and_then(|s| s.voltage.map(|v| (v, s.phases))).map(
            |(v, phases)| {
                let phases = phases.map_or(String::new(), |p| format!(", {} ph", p.0));
                format!("{:.0} V{phases}", v.0.get::<volt>())
            },
        )),
    }
}

fn trimmed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

fn model_now<'a>(given: &Given<'a>, pump: &Pump) -> Option<&'a Model> {
    run_hours::models(given.fleet, given.site.site, pump).last().and_then(|(_, model)| *model)
}

fn hours_table(given: &Given, pumps: &Pumps) -> view::HoursTable {
    let last = given.month;
    let months: Vec<Month> = last.plus(1 - MONTHS as i32).through(last).collect();
    let mut rows = Vec::new();
    for (_, pump, figures) in pumps {
        let Some(hours) = &figures.hours else { continue };
        for curve in &hours.curves {
            let row = |month: &Month| hours.months.iter().find(|m| m.month == *month && m.speed == curve.speed);
            let total: f64 = months.iter().filter_map(row).filter_map(|m| m.hours).sum();
            rows.push(view::HoursRow {
                pump: place(given, pump.at.as_str()),
                speed: curve.speed.word().to_owned(),
                cells: months
                    .iter()
                    .map(|month| match row(month) {
                        Some(m) => view::HoursCell {
                            hours: m.hours.map_or("?".to_owned(), |h| format::number(h, 0)),
                            letter: m.basis.map_or("", letter).to_owned(),
                        },
                        None => view::HoursCell { hours: String::new(), letter: String::new() },
                    })
                    .collect(),
                total: format::number(total, 0),
                basis: hours.basis_now().map_or("", |b| b.word()).to_owned(),
            });
        }
    }
    view::HoursTable {
        months: months
            .iter()
            .enumerate()
            .map(|(index, m)| {
                let name = &calendar::MONTHS[m.number() as usize - 1][..3];
                if index == 0 || m.number() == 1 { format!("{name} {:02}", m.year() % 100) } else { name.to_owned() }
            })
            .collect(),
        rows,
        key: "c: calibrated by the counter · p: by the program · e: estimated · a: assumed · no letter: metered"
            .to_owned(),
    }
}

fn letter(basis: Basis) -> &'static str {
    match basis {
        Basis::Calibrated => "c",
        Basis::Programmed => "p",
        Basis::Estimated => "e",
        Basis::Assumed => "a",
        _ => "",
    }
}

fn energy_table(given: &Given, pumps: &Pumps) -> view::EnergyTable {
    let year = given.month.plus(-11);
    let mut rows = Vec::new();
    let (mut sums, mut complete) = ([0.0; 4], [true; 4]);
    let office = given.office();
    let number = |value: Option<f64>, decimals: usize| value.map_or("–".to_owned(), |v| format::number(v, decimals));
    for (_, pump, figures) in pumps {
        let Some(hours) = &figures.hours else { continue };
        for curve in &hours.curves {
            let of_speed = || hours.months.iter().filter(|m| m.speed == curve.speed);
            let now = of_speed().find(|m| m.month == given.month);
            let in_year: Vec<_> = of_speed().filter(|m| m.month >= year && m.month <= given.month).collect();
            let year_energy: Option<f64> = in_year.iter().map(|m| m.energy_kwh).sum();
            let year_cost: Option<f64> = in_year.iter().map(|m| m.energy_cost).sum();
            let values = [now.and_then(|m| m.energy_kwh), now.and_then(|m| m.energy_cost), year_energy, year_cost];
            for (index, value) in values.iter().enumerate() {
                match value {
                    Some(value) => sums[index] += value,
                    None => complete[index] = false,
                }
            }
            let power = now.and_then(|m| m.energy_kwh.zip(m.hours)).filter(|(_, h)| *h > 0.0).map(|(e, h)| e / h);
            let measured = given.site.site.readings.get(&pump.at).into_iter().flatten().any(|row| {
                matches!(
                    row.quantity,
                    crate::records::log::Quantity::Current | crate::records::log::Quantity::CurrentLow
                )
            });
            rows.push(view::EnergyRow {
                pump: place(given, pump.at.as_str()),
                speed: curve.speed.word().to_owned(),
                power: power.map_or("–".to_owned(), |kw| format::number(kw * 1000.0, 0)),
                power_basis: if power.is_none() {
                    ""
                } else if measured {
                    "measured"
                } else {
                    "model"
                }
                .to_owned(),
                month_energy: number(values[0], 0),
                month_cost: if office { number(values[1], 2) } else { String::new() },
                year_energy: number(values[2], 0),
                year_cost: if office { number(values[3], 2) } else { String::new() },
            });
        }
    }
    let total = |index: usize, decimals: usize| {
        if complete[index] { format::number(sums[index], decimals) } else { "–".to_owned() }
    };
    view::EnergyTable {
        currency: if office { given.currency().to_owned() } else { String::new() },
        month: calendar::MONTHS[given.month.number() as usize - 1].to_owned(),
        total: (rows.len() > 1).then(|| view::EnergyRow {
            pump: "All pumps".to_owned(),
            speed: String::new(),
            power: String::new(),
            power_basis: String::new(),
            month_energy: total(0, 0),
            month_cost: if office { total(1, 2) } else { String::new() },
            year_energy: total(2, 0),
            year_cost: if office { total(3, 2) } else { String::new() },
        }),
        rows,
        note: "The pumps' energy only: heating, air and lights are not in it. Power is the measured current, else the model's, times the supply voltage and a power factor of 0.9 (assumed).".to_owned(),
    }
}

fn failure_sentence(given: &Given, pumps: &Pumps) -> String {
    let since = given.site.site.records_start();
    let failed: Vec<_> = pumps.iter().filter(|(_, _, f)| !f.failures.incidents.is_empty()).collect();
    let Some(since) = since else { return "No log is kept, so failures are not known.".to_owned() };
    if failed.is_empty() {
        return format!("No pump has failed since the records begin on {}.", calendar::in_words(since));
    }
    let total: usize = failed.iter().map(|(_, _, f)| f.failures.incidents.len()).sum();
    let mut text = format!(
        "{} of pumps since {}.",
        format::sentence(&plural(total, "failure", "failures")),
        calendar::in_words(since)
    );
    for (_, pump, figures) in failed {
        let count = figures.failures.incidents.len();
        let verdict = match figures.failures.trend {
            Trend::TooFew => format!("too few to tell a trend, which takes {LEAST_FAILURES}"),
            Trend::Worsening => "they come closer together: it is getting worse".to_owned(),
            Trend::Improving => "they come further apart: it is getting better".to_owned(),
            Trend::Steady => "steady, as far as can be told".to_owned(),
        };
        text.push_str(&format!(" {}: {count}, {verdict}.", place(given, pump.at.as_str())));
    }
    text
}

/// Which new readings would narrow the answers most, found by computing with them.
fn reading_advice(given: &Given) -> Vec<String> {
    let advice = crate::explain::reading_advice(given.fleet, given.site);
    advice.into_iter().take(READINGS_ADVISED).map(|a| format::sentence(&a.says)).collect()
}

fn parts(given: &Given) -> view::PartSection {
    let site = given.site;
    if site.parts.is_empty() {
        return view::PartSection {
            nothing_to_say: Some("The book has no wear part for what stands here.".to_owned()),
            ..view::PartSection::default()
        };
    }
    let as_of = site.as_of;
    let overdue = site.parts.iter().filter(|p| p.due.is_some_and(|d| d <= as_of)).count();
    let soon = site.parts.iter().filter(|p| p.due.is_some_and(|d| d > as_of && d <= plus_days(as_of, 365))).count();
    let unknown = site.parts.iter().filter(|p| p.due.is_none() && !beyond_use(p)).count();
    let mut summary = format!(
        "Of {} wear parts {} past the limit and {} due within 12 months.",
        site.parts.len(),
        plural(overdue, "is", "are").replace("0 are", "none is"),
        plural(soon, "is", "are").replace("0 are", "none is")
    );
    if unknown > 0 {
        summary.push_str(&format!(" Of {} the due date is not known.", plural(unknown, "part", "parts")));
    }
    let mut sorted: Vec<&PartDue> = site.parts.iter().collect();
    sorted.sort_by_key(|p| (p.due.is_none(), p.due, p.part.at.clone()));
    // The next two years, at most a page; what comes later stands in the table of parts.
    let near = |p: &&&PartDue| p.due.is_some_and(|due| due <= plus_days(as_of, 731));
    let shown = sorted.iter().filter(near).count().min(PART_ROWS).max(sorted.len().min(6));
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
    note.push_str(&life_words::guess_note(site, &sorted[..shown]));
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
        fleet_findings: life_words::findings(site),
    }
}

/// Whether a part's hours are known and would last beyond any use: a date a century away is no date.
fn beyond_use(part: &PartDue) -> bool {
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
    let percent = part.life_used.map(|used| (used * 100.0).round());
    view::PartRow {
        mark: part_urgency(part, as_of).map_or(view::Mark::None, mark),
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
            (Some(low), Some(high)) if low != high => {
                format!("{} to {}", format::short_date(low), format::short_date(high))
            }
            _ => String::new(),
        },
        due_basis: part.due.map_or(String::new(), |due| {
            if due <= as_of { "past its limit".to_owned() } else { part.basis.word().to_owned() }
        }),
        life_used_percent: percent.map_or("0".to_owned(), |p| format!("{p:.0}")),
        life_used: percent.map_or("–".to_owned(), |p| format!("{p:.0} %")),
        chance: life_words::chance(given.site, part),
    }
}

fn visits(given: &Given) -> view::VisitSection {
    let site = given.site;
    let as_of = site.as_of;
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
                    let times = task.times.filter(|t| *t > 1).map_or(String::new(), |t| format!(", {t} times a year"));
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
        currency: given.currency().to_owned(),
        lines: lines
            .iter()
            .map(|line| view::CostLine {
                what: format::sentence(&format::words(&line.what)),
                how: format!("{} ×, {}", line.times, if line.is_task { "work" } else { "part and work" }),
                amount: line.amount.map_or("–".to_owned(), |a| format::money(a, given.currency())),
            })
            .collect(),
        total: format::money(year.total, given.currency()),
        note: format!("At today's cost prices. Failures, the way there and lost nights are not in it.{without}"),
    })
}

/// What to order for the parts due within four months, like for like.
fn parts_list(given: &Given) -> Vec<view::PartToBuy> {
    let as_of = given.site.as_of;
    let mut due: Vec<&PartDue> =
        given.site.parts.iter().filter(|p| p.due.is_some_and(|d| d <= plus_days(as_of, 120))).collect();
    due.sort_by_key(|p| (p.due, p.part.at.clone()));
    due.iter()
        .map(|part| {
            let pump = given.site.site.spas.iter().flat_map(|s| &s.pumps).find(|p| p.at == part.part.at);
            let measures = pump.map_or(String::new(), |pump| {
                let identity = identity(given, pump);
                [
                    identity.model,
                    identity.power,
                    format!("frame {}", identity.frame),
                    format!("{} / {}", identity.inlet, identity.discharge),
                ]
                .into_iter()
                .filter(|text| !text.contains(NOT_KNOWN))
                .collect::<Vec<_>>()
                .join(", ")
            });
            let number = part.part.part.number.as_ref().map_or(String::new(), |n| format!(" ({n})"));
            view::PartToBuy {
                part: format!("{}{number}", format::sentence(&format::words(part.part.id.as_str()))),
                fits: place(given, part.part.at.as_str()),
                measures,
                count: part.part.part.count.unwrap_or(1).to_string(),
                needed_by: part
                    .due
                    .map_or(String::new(), |d| if d <= as_of { "now".to_owned() } else { format::near_date(d, as_of) }),
            }
        })
        .collect()
}

fn unknowns(given: &Given) -> view::UnknownSection {
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
                    if hours.set_aside > 0 {
                        push(
                            format!(
                                "{name}: {} cannot be right beside the others and were set aside",
                                plural(hours.set_aside, "counter reading", "counter readings")
                            ),
                            "`meter_reset`, if the counter was replaced or set back".to_owned(),
                            "hours of those months".to_owned(),
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
    for part in given.site.parts.iter().filter(|p| matches!(p.part.fitted, Fitted::Month(_) | Fitted::Year(_))) {
        if let (Some(low), Some(high)) = (part.due_low, part.due_high)
            && low != high
        {
            let weeks = calendar::days_between(low, high) / 7;
            push(
                format!(
                    "{}: the day the {} was fitted",
                    place(given, part.part.at.as_str()),
                    format::words(part.part.id.as_str())
                ),
                "`fitted`, to the day".to_owned(),
                format!("its due date, now {weeks} weeks wide"),
            );
        }
    }
    let total = unknowns.len();
    unknowns.truncate(24);
    if total > unknowns.len() {
        unknowns.push(view::Unknown {
            what: format!("and {} more of the same kinds", total - unknowns.len()),
            settled_by: String::new(),
            narrows: String::new(),
        });
    }
    let assumptions = given
        .site
        .site
        .assumed
        .iter()
        .chain(&given.fleet.assumed)
        .map(|a| view::Assumption {
            what: format::sentence(&a.what),
            value: String::new(),
            change_at: if office { a.change.clone() } else { String::new() },
        })
        .chain(model_assumptions(given, office))
        .collect::<Vec<_>>();
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
        "nothing yet: the same for all",
    );
    if any_flow(Basis::Measured) {
        assume(
            "A measured flow is right within",
            percent(water_turnover::MEASURED_WITHIN),
            "nothing yet: the flow meter's own figure",
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
                "`c` of `pipe`",
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
    if site.spas.iter().flat_map(|s| &s.pumps).any(|p| p.forecast.as_ref().is_some_and(|f| f.spread_assumed)) {
        assume(
            "Where no counter shows how hours vary, a month varies by",
            percent(0.20),
            "counter readings for six months",
        );
    }
    all
}

fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}

fn closing(given: &Given) -> view::ClosingSection {
    let method = |name: &str, text: &str| view::Method { name: name.to_owned(), text: text.to_owned() };
    let mut versions = vec![
        view::Version { name: "tubwright".to_owned(), version: env!("CARGO_PKG_VERSION").to_owned() },
        view::Version { name: "renderer".to_owned(), version: given.renderer.to_owned() },
        view::Version { name: "record format".to_owned(), version: "1".to_owned() },
    ];
    let book = if given.fleet.book.built_in { "built-in" } else { "the fleet's own" };
    versions.push(view::Version { name: "book of wear parts".to_owned(), version: book.to_owned() });
    view::ClosingSection {
        cautions: cautions::cautions(),
        methods: vec![
            method(
                "Run hours",
                "Between two readings of a counter its difference is spread in proportion to the program. Outside them the program counts, corrected by what the counter has shown over the last 365 metered days.",
            ),
            method(
                "Water turnover",
                "Volume over flow through the filter. A measured flow wins; else the pump's curve is set against the pipe loop (Hazen–Williams, fittings, heater, the filter as fouled as its gauge shows).",
            ),
            method(
                "Due dates",
                "The day the part reaches the hours of the book, by the program in force and the nights booked or usual, or its age by the calendar, whichever comes first.",
            ),
            method(
                "Failures",
                "One incident a pump and day. From five failures on the military-handbook test says whether they come closer together (one-sided, 5 %).",
            ),
            method(
                "Energy",
                "Current times voltage times a power factor of 0.9, at the price in force on each day. Pumps only.",
            ),
        ],
        sources: limit_sources(given),
        versions,
        inputs: if given.office() {
            let site = given.site.site.id.as_str();
            let mine = |path: &str| {
                !path.contains('/')
                    || path == format!("sites/{site}.yaml")
                    || path == format!("readings/{site}.csv")
                    || path.starts_with(&format!("bookings/{site}.ics"))
                    || path.starts_with(&format!("bookings/{site}--"))
                    || path.starts_with("limits/")
            };
            given
                .inputs
                .iter()
                .filter(|f| mine(&f.path))
                .map(|f| view::InputDigest { path: f.path.clone(), sha256: f.sha256.clone() })
                .collect()
        } else {
            Vec::new()
        },
    }
}

fn limit_sources(given: &Given) -> Vec<view::LimitSource> {
    use crate::records::log::Quantity;
    use uom::si::velocity::meter_per_second;
    let site = given.site.site;
    let Some(limits) = given.fleet.rule_book(site).and_then(|book| book.limits(site.r#use)) else { return Vec::new() };
    let units = given.units();
    let mut sources = Vec::new();
    let mut push = |limit: &str, value: String, source: String, known: crate::limits::Known| {
        sources.push(view::LimitSource {
            limit: limit.to_owned(),
            value,
            source,
            how_known: known.in_words().to_owned(),
        });
    };
    if let Some(limit) = &limits.turnover
        && let Some(most) = limit.at_most
    {
        push("turnover time", format!("at most {:.0} min", most.0.get::<minute>()), limit.source_text(), limit.known);
    }
    if let Some(limit) = &limits.filtration
        && let Some(least) = limit.at_least
    {
        push("filtration", format!("at least {:.0} h a day", least.hours), limit.source_text(), limit.known);
    }
    if let Some(kind) = site.spas.iter().flat_map(|s| &s.filters).map(|f| f.kind).next()
        && let Some(limit) = limits.filter_rate(kind)
        && let Some(most) = limit.at_most
    {
        let value = format!(
            "at most {} {}",
            format::filter_rate_number(most.litres_per_minute_square_metre, units),
            format::filter_rate_unit(units)
        );
        push("filter rate", value, limit.source_text(), limit.known);
    }
    if let Some(limit) = &limits.velocity.suction
        && let Some(most) = limit.at_most
    {
        let value = format!(
            "at most {} {}",
            format::velocity_number(most.0.get::<meter_per_second>(), units),
            format::velocity_unit(units)
        );
        push("velocity, suction side", value, limit.source_text(), limit.known);
    }
    for quantity in Quantity::ALL.into_iter().filter(|q| q.is_water_test()) {
        if let Some((low, high, source, known)) = limits.water_test(quantity) {
            push(&format::quantity_name(quantity), format::test_limits(quantity, low, high, units), source, known);
        }
    }
    sources
}
