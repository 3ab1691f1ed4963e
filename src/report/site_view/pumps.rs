//! The pumps: what each has run, what that cost, how often it failed, and what it is.

use uom::si::electric_potential::volt;
use uom::si::length::inch;
use uom::si::power::{horsepower, kilowatt};

use super::{Given, MONTHS, place, place_inside, plural};
use crate::basis::Basis;
use crate::calendar::{self, Month};
use crate::quantities::expected_failures::Tally;
use crate::quantities::failure_trends::ScopeTrend;
use crate::quantities::failures::{LEAST_FAILURES, Trend};
use crate::quantities::forecast_check::judged::hours_held;
use crate::quantities::measured_trends::MeasuredTrend;
use crate::quantities::{PumpFigures, run_hours};
use crate::records::fleet::Units;
use crate::records::pumps::{Model, Speeds};
use crate::records::upkeep::Clock;
use crate::records::{Pump, Spa};
use crate::report::calibration_words;
use crate::report::format::{self, NOT_KNOWN};
use crate::report::site::in_view;
use crate::report::view;
use crate::to_do::ToDo;
use crate::to_do_failures;

/// Rows of run hours and of energy; of more pumps the tables tell.
const ROWS: usize = 18;
/// Readings that are advised.
const READINGS_ADVISED: usize = 4;

pub(super) fn pumps(given: &Given) -> view::PumpSection {
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
        summary: pump_summary(given, &pumps) + &past_forecasts(given),
        charts: given.charts.run_hours.iter().map(|chart| in_view(chart, "How long have the pumps run?")).collect(),
        identities: identities(given, &pumps),
        hours: hours_table(given, &pumps),
        energy: energy_table(given, &pumps),
        trends: trends(given),
        trend_charts: given
            .charts
            .conditions
            .iter()
            .map(|(at, chart)| {
                in_view(chart, &format!("Is something changing at {}?", place_inside(given, at.as_str())))
            })
            .collect(),
        failures: failure_sentence(given, &pumps),
        failure_charts: given
            .charts
            .failures
            .iter()
            .map(|(at, chart)| {
                in_view(chart, &format!("Does {} fail more and more often?", place_inside(given, at.as_str())))
            })
            .chain(
                given
                    .charts
                    .mean_failures
                    .iter()
                    .map(|chart| in_view(chart, "How many failures has a pump had by its hours?")),
            )
            .collect(),
        reading_advice: reading_advice(given),
    }
}

type Pumps<'a> = [(&'a Spa, &'a Pump, &'a PumpFigures)];

fn hours_of_month(figures: &PumpFigures, month: Month) -> Option<f64> {
    let rows = figures.hours.as_ref()?.of_month(month);
    if rows.is_empty() { None } else { rows.iter().map(|m| m.hours).sum() }
}

fn pump_summary(given: &Given, pumps: &Pumps) -> String {
    let known: Vec<f64> = pumps.iter().filter_map(|(_, _, f)| hours_of_month(f, given.month)).collect();
    let of_month =
        || pumps.iter().filter_map(|(_, _, f)| f.hours.as_ref()).flat_map(|hours| hours.of_month(given.month));
    let metered: f64 = of_month().map(|m| m.hours.map_or(0.0, |hours| m.metered_hours.min(hours))).sum();
    let month = given.month.in_words();
    let unknown = pumps.len() - known.len();
    if known.is_empty() {
        return format!("What the pumps ran in {month} is not known.");
    }
    let total: f64 = known.iter().sum();
    let mut text = format!(
        "{} ran {} hours together in {month}.",
        format::sentence(&plural(known.len(), "pump", "pumps")),
        format::number(total, 0)
    );
    // What is metered is never rounded up to all of it, nor down to nothing.
    let share = if total > 0.0 { (100.0 * metered / total + 1e-9).floor() } else { 0.0 };
    let corrected = of_month().any(|m| m.basis == Some(Basis::Calibrated)) || metered > 0.0;
    let by_program =
        if corrected { "by the programs, corrected by what the counters have shown" } else { "by the programs" };
    if share >= 100.0 {
        text.push_str(" All of it is metered.");
    } else if metered > 0.0 {
        let share = if share < 1.0 { "Less than 1".to_owned() } else { format::number(share, 0) };
        text.push_str(&format!(
            " {share} % of it is metered, between readings of the counters; the rest is {by_program}."
        ));
    } else if total > 0.0 {
        text.push_str(&format!(" No two readings of a counter lie on either side of it: the hours are {by_program}."));
    }
    if unknown > 0 {
        text.push_str(&format!(" Of {} the hours are not known.", plural(unknown, "pump", "pumps")));
    }
    text
}

/// The pumps as fitted; those that are alike in every measure share a row.
fn identities(given: &Given, pumps: &Pumps) -> Vec<view::PumpIdentity> {
    let mut rows: Vec<view::PumpIdentity> = Vec::new();
    for (_, pump, _) in pumps {
        let row = view::PumpIdentity { place: place(given, pump.at.as_str()), ..identity(given, pump) };
        let alike = |other: &&mut view::PumpIdentity| {
            view::PumpIdentity { place: row.place.clone(), ..(**other).clone() } == row
        };
        // Of a pump of which no measure is written the section on what is not known tells.
        let measures = [&row.model, &row.power, &row.speeds, &row.frame, &row.inlet, &row.discharge, &row.supply];
        if measures.iter().all(|measure| measure.as_str() == NOT_KNOWN) {
            continue;
        }
        match rows.iter_mut().find(alike) {
            Some(there) => there.place.push_str(&format!("; {}", row.place)),
            None => rows.push(row),
        }
    }
    rows
}

fn identity(given: &Given, pump: &Pump) -> view::PumpIdentity {
    let model = model_now(given, pump);
    let or_unknown = |text: Option<String>| text.unwrap_or_else(|| NOT_KNOWN.to_owned());
    let metric = given.units() == Units::Metric;
    let ports = model.and_then(|m| m.ports);
    let inches =
        |l: Option<crate::units::Length>| or_unknown(l.map(|l| format!("{} in", trimmed(l.0.get::<inch>(), 2))));
    view::PumpIdentity {
        place: place(given, pump.at.as_str()),
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
    given.fleet.models_at(given.site.site, pump).last().and_then(|(_, model)| *model)
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
    let more = cut(given, &mut rows, "run_hours");
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
        key: format!(
            "c: calibrated by the counter · p: by the program · e: estimated · a: assumed · no letter: metered{more}"
        ),
    }
}

/// Cuts a table to its rows and says so.
fn cut<R>(given: &Given, rows: &mut Vec<R>, table: &str) -> String {
    let more = rows.len().saturating_sub(ROWS);
    if more == 0 {
        return String::new();
    }
    rows.truncate(ROWS);
    let place = if given.office() { format!(" in tables/{table}.csv") } else { String::new() };
    format!(" · {more} more{place}")
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
    let lines = rows.len();
    let more = cut(given, &mut rows, "run_hours");
    view::EnergyTable {
        currency: if office { format::currency_sign(given.currency()).to_owned() } else { String::new() },
        month: calendar::MONTHS[given.month.number() as usize - 1].to_owned(),
        total: (lines > 1).then(|| view::EnergyRow {
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
        note: "The pumps' energy only: heating, air and lights are not in it. Power is the measured current, else the model's, times the supply voltage and a power factor of 0.9 (assumed).".to_owned() + &more,
    }
}

fn failure_sentence(given: &Given, pumps: &Pumps) -> String {
    let since = given.site.site.records_start();
    let failed: Vec<_> = pumps.iter().filter(|(_, _, f)| f.failures.of_all_units().next().is_some()).collect();
    let Some(since) = since else { return "No log is kept, so failures are not known.".to_owned() };
    if failed.is_empty() {
        let none = format!("No pump has failed since the records begin on {}.", calendar::in_words(since));
        return none + &to_come(given);
    }
    let total: usize = failed.iter().map(|(_, _, f)| f.failures.of_all_units().count()).sum();
    let mut text = format!(
        "{} of pumps since {}.",
        format::sentence(&plural(total, "failure", "failures")),
        calendar::in_words(since)
    );
    // Pumps of which the same is to be said are named together.
    let mut said: Vec<(usize, String, Vec<String>)> = Vec::new();
    for (_, pump, figures) in failed {
        let count = figures.failures.incidents.len();
        let trend = given.site.lives.trends.pump(&given.site.site.id, &pump.at);
        let before = figures.failures.of_all_units().count() - count;
        if count == 0 {
            said.push((
                before,
                "of the pump before the one there now".to_owned(),
                vec![place(given, pump.at.as_str())],
            ));
            continue;
        }
        let verdict = match trend.map_or(Trend::TooFew, |trend| trend.trend) {
            Trend::TooFew if count >= LEAST_FAILURES => "when is not known well enough to tell a trend".to_owned(),
            Trend::TooFew => {
                let range = trend.and_then(rate).map_or_else(String::new, |range| format!("; {range}"));
                format!("too few to tell a trend, which takes {LEAST_FAILURES}{range}")
            }
            Trend::Worsening => "they come closer together: it is getting worse".to_owned(),
            Trend::Improving => "they come further apart: it is getting better".to_owned(),
            Trend::Steady => {
                let power = trend.and_then(|trend| trend.power).map_or(0.0, |power| power * 100.0);
                format!(
                    "steady, as far as can be told; a rate that grew with the hours run would be told from so many in {power:.0} % of cases"
                )
            }
        };
        let verdict = if before > 0 { format!("{verdict} ({before} more of the pump before it)") } else { verdict };
        let place = place(given, pump.at.as_str());
        match said.iter_mut().find(|known| known.0 == count && known.1 == verdict) {
            Some((.., places)) => places.push(place),
            None => said.push((count, verdict, vec![place])),
        }
    }
    for (count, verdict, places) in said {
        let each = if places.len() > 1 { " each" } else { "" };
        text.push_str(&format!(" {}: {count}{each}, {verdict}.", places.join("; ")));
    }
    text + &to_come(given) + &questions(given)
}

/// The rate of so few failures by their count alone, with its exact range; `None` where nobody knows how long it ran.
fn rate(trend: &ScopeTrend) -> Option<String> {
    let (_, low, high) = trend.rate?;
    let per = |rate: f64| format::number(rate * 10_000.0, 2);
    let unit = if trend.clock == Clock::Hours { "10 000 h" } else { "10 000 days" };
    Some(format!("by the count alone {} to {} in {unit} (exact, 4 times in 5)", per(low), per(high)))
}

/// How often the ranges of past forecasts of these pumps' hours held, where there are enough to say.
fn past_forecasts(given: &Given) -> String {
    let held = hours_held(&given.site.forecast_checks.iter());
    if !held.is_enough() || !given.office() {
        return String::new();
    }
    let poor = if held.is_poor() { ": read them as wider than printed" } else { "" };
    format!(
        " Of the forecasts of their hours made again for the past two years, {} of {} ranges held, which are made to hold 4 times \
         in 5{poor}; {}.",
        held.inside,
        held.of,
        calibration_words::FLATTERED
    )
}

/// What the failures ask, with the counts behind it. They are for whoever answers for the work.
fn questions(given: &Given) -> String {
    let asked =
        given.site.to_do.iter().filter(|to_do| given.office() && to_do_failures::QUESTIONS.contains(&to_do.reason));
    let one = |to_do: &ToDo| {
        let at = to_do.at.as_ref().map_or_else(String::new, |at| format!("{}: ", place(given, at.as_str())));
        format!(" To check: {at}{} {}", to_do.what, to_do.says)
    };
    asked.map(one).collect()
}

/// How many failures the coming year is expected to bring; nothing where no pump's use is known.
fn to_come(given: &Given) -> String {
    let mut tally = Tally::default();
    let known: Vec<_> = given.site.pumps_to_come.iter().filter_map(|(_, outlook)| outlook.as_ref()).collect();
    for outlook in &known {
        tally.add(&outlook.tally);
    }
    if known.is_empty() {
        return String::new();
    }
    let worse: Vec<String> = given
        .site
        .pumps_to_come
        .iter()
        .filter_map(|(at, outlook)| {
            let own = given.site.lives.worsening(&given.site.site.id, at)?;
            Some(format!(
                "{} of {}, whose failures come closer together; the chance that this goes on is taken to be {}",
                format::number(outlook.as_ref()?.failures.expected, 1),
                place(given, at.as_str()),
                crate::report::life_words::percent(own.chance)
            ))
        })
        .collect();
    let expected = tally.expected(given.site.lives);
    let range = if expected.low == expected.high {
        format!("{:.0}", expected.low)
    } else {
        format!("{:.0} to {:.0}", expected.low, expected.high)
    };
    format!(
        " In 12 months, if nothing is renewed before it fails, expect about {} ({range} four times in five){}.",
        format::number(expected.expected, 1),
        if worse.is_empty() { String::new() } else { format!(", of them {}", crate::charts::style::list(&worse)) }
    )
}

/// The drifts that are more than chance, a sentence each.
fn trends(given: &Given) -> Vec<String> {
    let units = given.units();
    let told = |trend: &MeasuredTrend| {
        let reason = to_do_failures::reason_of(trend.quantity);
        given.site.to_do.iter().any(|t| Some(t.reason) == reason && t.at.as_ref() == Some(&trend.at))
    };
    given
        .site
        .trends
        .iter()
        // What is small is in the table; what asks for something is on the first page.
        .filter(|trend| trend.is_worth_telling() && !told(trend))
        .map(|trend| {
            let (what, value) = (trend.quantity.words(), |value| format::drifting(trend.quantity, value, units));
            let (from, to) = trend.levels;
            let mut says = format!(
                "{}: the {what} went from {} to {} (the middles of the first three readings and of the last) between {} and {}",
                format::sentence(&place(given, trend.at.as_str())),
                value(from),
                value(to),
                calendar::in_words(trend.from),
                calendar::in_words(trend.to)
            );
            if let (Some(limit), Some(day)) = (trend.limit, trend.crosses) {
                let when = if day <= given.site.as_of { "passed" } else { "at this rate passes" };
                says.push_str(&format!("; it {when} {} about {}", value(limit), calendar::in_words(day)));
            }
            says.push('.');
            says
        })
        .collect()
}

/// Which new readings would narrow the answers most, found by computing with them.
fn reading_advice(given: &Given) -> Vec<String> {
    let advice = crate::explain::reading_advice(given.fleet, given.site);
    advice.into_iter().take(READINGS_ADVISED).map(|a| format::sentence(&a.says)).collect()
}
