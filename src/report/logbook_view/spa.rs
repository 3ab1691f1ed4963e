//! A spa's month in the log book: what its water got, its tests, and what became of those outside their limits.

use chrono::NaiveDate;
use uom::si::volume::{cubic_meter, liter};

use super::{ChangeRow, Given, LogSpa, OutRow, TestCell, TestColumn, TestRow};
use crate::basis::Basis;
use crate::calendar;
use crate::limits::RefillRule;
use crate::quantities::SpaFigures;
use crate::quantities::water_change::{self, Stands, Why};
use crate::quantities::water_tests::{Frequency, NOTHING_RECORDED, TestVerdict, WaterTest};
use crate::quantities::water_turnover::Verdict;
use crate::records::Spa;
use crate::records::log::Quantity;
use crate::report::view::Mark;
use crate::report::{filter_words, format, water_words};

/// A spa's month.
pub(super) fn log_spa(given: &Given, spa: &Spa, figures: &SpaFigures) -> LogSpa {
    let units = given.fleet.settings.units;
    let mut identity = Vec::new();
    identity.push(spa.volume.map_or("volume not known".to_owned(), |v| format::volume(v.0.get::<liter>(), units)));
    if let Some(setpoint) = spa.setpoint {
        use uom::si::thermodynamic_temperature::degree_celsius;
        let celsius = setpoint.0.get::<degree_celsius>();
        identity.push(format!("set to {}", format::test_value(Quantity::Temperature, celsius, units)));
    }
    if let Some(bathers) = spa.bathers {
        identity.push(format!("{} bathers a day", format::number(bathers, 0)));
    }
    let quantities: Vec<Quantity> =
        Quantity::ALL.into_iter().filter(|q| figures.tests.iter().any(|t| t.quantity == *q)).collect();
    let columns = quantities
        .iter()
        .filter_map(|q| figures.tests.iter().find(|t| t.quantity == *q))
        .map(|t| TestColumn { head: short_name(t.quantity).to_owned(), limits: short_limits(t, units) })
        .collect();
    let work = super::work::work(given, spa);
    LogSpa {
        name: format::sentence(&format::place(spa.at.as_str())),
        identity: identity.join(", "),
        mark: figures.water.months.last().map_or(Mark::None, water_words::mark),
        verdict: format!("Water turnover: {}.", water_words::verdict(figures.water.months.last(), units)),
        facts: facts(given, spa, figures),
        columns,
        tests: test_rows(given, figures, &quantities),
        no_tests: "No test of this water is recorded for the month.".to_owned(),
        out: out_rows(given, figures),
        changes: change_rows(given, figures),
        work,
        no_work: "No clean, change or other work is recorded for the month.".to_owned(),
    }
}

/// Names that fit the head of a column.
fn short_name(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Temperature => "Temperature",
        Quantity::Ph => "pH",
        Quantity::FreeChlorine => "Free chlorine",
        Quantity::CombinedChlorine => "Comb. chlorine",
        Quantity::Bromine => "Bromine",
        Quantity::Alkalinity => "Alkalinity",
        Quantity::Hardness => "Hardness",
        Quantity::Tds => "Diss. solids",
        Quantity::Redox => "Redox",
        _ => "",
    }
}

fn short_limits(test: &WaterTest, units: crate::records::fleet::Units) -> String {
    let words = format::test_limits(test.quantity, test.low_limit, test.high_limit, units);
    let short = words.replace(" to ", "–").replace("at most ", "≤ ").replace("at least ", "≥ ");
    if test.low_limit.is_none() && test.high_limit.is_none() { "no limit".to_owned() } else { short }
}

fn test_rows(given: &Given, figures: &SpaFigures, quantities: &[Quantity]) -> Vec<TestRow> {
    let units = given.fleet.settings.units;
    // One row a visit: the same day, time and side of the work.
    let mut rows: Vec<(NaiveDate, Option<String>, bool, TestRow)> = Vec::new();
    for test in &figures.tests {
        let key = |row: &(NaiveDate, Option<String>, bool, TestRow)| {
            row.0 == test.day && row.1 == test.time && row.2 == test.after
        };
        let index = rows.iter().position(key).unwrap_or_else(|| {
            rows.push((
                test.day,
                test.time.clone(),
                test.after,
                TestRow {
                    date: format::near_date(test.day, given.site.as_of),
                    time: match (&test.time, test.after) {
                        (Some(time), false) => time.clone(),
                        (_, true) => "after work".to_owned(),
                        (None, false) => String::new(),
                    },
                    by: test.by.as_deref().map_or(String::new(), |id| super::work::first_name(given.fleet, id)),
                    cells: vec![TestCell::default(); quantities.len()],
                },
            ));
            rows.len() - 1
        });
        if let Some(column) = quantities.iter().position(|q| *q == test.quantity) {
            let value = format::test_value(test.quantity, test.value, units);
            // The unit stands in the limits of the head.
            let number = value.split(' ').next().unwrap_or_default().to_owned();
            rows[index].3.cells[column] = match test.verdict {
                TestVerdict::Low | TestVerdict::High => {
                    TestCell { mark: Mark::ActNow, value: format!("{number} {}", test.verdict.word()) }
                }
                _ => TestCell { mark: Mark::None, value: number },
            };
        }
    }
    rows.sort_by(|a, b| (a.0, a.2, &a.1).cmp(&(b.0, b.2, &b.1)));
    rows.into_iter().map(|(_, _, _, row)| row).collect()
}

/// Stands where no re-test met the limits.
pub(super) const NO_RETEST: &str = "none met by the end of the month";

fn out_rows(given: &Given, figures: &SpaFigures) -> Vec<OutRow> {
    let units = given.fleet.settings.units;
    let day = |day: NaiveDate| format::near_date(day, given.site.as_of);
    let mut rows = Vec::new();
    for quantity in Quantity::ALL {
        let tests: Vec<&WaterTest> = figures.tests.iter().filter(|t| t.quantity == quantity).collect();
        let is_out = |t: &WaterTest| matches!(t.verdict, TestVerdict::Low | TestVerdict::High);
        for episode in tests.chunk_by(|a, b| is_out(a) == is_out(b)).filter(|chunk| is_out(chunk[0])) {
            let (Some(first), Some(last)) = (episode.first(), episode.last()) else { continue };
            let beyond = |t: &WaterTest| {
                t.low_limit.map_or(0.0, |low| low - t.value).max(t.high_limit.map_or(0.0, |high| t.value - high))
            };
            let worst = episode.iter().max_by(|a, b| beyond(a).total_cmp(&beyond(b))).unwrap_or(last);
            let when = if episode.len() == 1 {
                format!("{}{}", day(first.day), first.time.as_ref().map_or(String::new(), |t| format!(", {t}")))
            } else if first.day == last.day {
                format!("{}, {} tests", day(first.day), episode.len())
            } else {
                format!("{} to {}, {} tests", day(first.day), day(last.day), episode.len())
            };
            let mut work: Vec<String> = first.work.iter().map(|(on, what)| format!("{what} {}", day(*on))).collect();
            work.dedup();
            rows.push(OutRow {
                quantity: format::sentence(&format::quantity_name(quantity)),
                when,
                worst: format!(
                    "{} {}",
                    format::test_value_beside(quantity, worst.value, [worst.low_limit, worst.high_limit], units),
                    worst.verdict.word()
                ),
                limits: format::test_limits(quantity, first.low_limit, first.high_limit, units),
                action: format::sentence(&if work.is_empty() { NOTHING_RECORDED.to_owned() } else { work.join(", ") }),
                retest: last.retest.map_or(NO_RETEST.to_owned(), |met| {
                    format!("{} on {}", format::test_value(quantity, met.value, units), day(met.day))
                }),
            });
        }
    }
    rows
}

fn facts(given: &Given, spa: &Spa, figures: &SpaFigures) -> Vec<String> {
    let mut facts = Vec::new();
    if let Some(row) = figures.water.months.last() {
        let limit = row
            .limit_min
            .map_or("no limit is known".to_owned(), |l| format!("the limit is {} min", water_words::limit_minutes(l)));
        match (&row.turnover, &row.flow) {
            _ if row.verdict == Verdict::Closed => facts.push("Closed the whole month.".to_owned()),
            _ if row.stands() => facts.push(format!("{}; {limit}.", format::sentence(water_words::STANDS))),
            (Some(turnover), Some(flow)) => {
                let unmeasured = matches!(flow.basis, Basis::Curve | Basis::Stated);
                let how =
                    format!("{}{}", water_words::known_by(flow.basis), if unmeasured { ", not measured" } else { "" });
                facts.push(format!(
                    "Water turnover {:.1} min ({how}; {:.1} to {:.1}); {limit}. {}",
                    turnover.value,
                    turnover.low,
                    turnover.high,
                    water_words::hours(row).unwrap_or("Hours of filtration are not known.".to_owned())
                ));
                facts.extend(water_words::rate_and_velocity(row, given.fleet.settings.units));
            }
            _ => facts.push(format!(
                "Water turnover is not known; {limit}. {}",
                water_words::hours(row).unwrap_or("Hours of filtration are not known.".to_owned())
            )),
        }
    }
    facts.extend(figures.test_frequency.as_ref().map(tested).or_else(|| not_compared(given, figures)));
    if let Some(change) = &figures.water_change {
        let due = match (change.due, &change.missing) {
            (Some(due), _) if due <= given.site.as_of => format!(" It was due on {}.", calendar::in_words(due)),
            (Some(due), _) if change.on_reopening => {
                format!(" It is next due on {}, when the spa is filled again on reopening.", calendar::in_words(due))
            }
            (Some(due), _) => format!(" It is next due on {}.", calendar::in_words(due)),
            (None, Some(missing)) => format!(" When it is due cannot be said without {missing}."),
            (None, None) => String::new(),
        };
        facts.push(format!("{}{due}", change.says()));
        // The guidance that names the rule also says what load such a spa is laid out for.
        if let (RefillRule::BathersPerVolume, Some(volume), true) =
            (change.rule, spa.volume, change.rule_source.contains("HSG282"))
        {
            let volume = volume.0.get::<cubic_meter>();
            facts.push(format!(
                "By its volume it is laid out for {} bathers an hour and {} at once (HSE HSG282, 2017, read in a reproduction).",
                format::number(water_change::bathers_per_hour(volume).floor(), 0),
                format::number(water_change::bathers_at_once(volume), 0)
            ));
        }
        if let Some(bathers) = change.bathers_since {
            facts.push(format!(
                "Bathers since the last change: about {}, reckoned from {} a day.",
                format::number(bathers, 0),
                spa.bathers.map_or_else(String::new, |b| format::number(b, 0))
            ));
        }
    }
    facts.extend(filter_words::cleaning(figures));
    if let Some(balance) = figures.balance {
        facts.push(format!(
            "Saturation index on {}: {} by the table, {} (balanced from −0.5 to +0.5){}.",
            calendar::in_words(balance.day),
            signed(balance.index),
            balance.word(),
            match balance.by_formula {
                Some(index) => format!("; {} by the formula", signed(index)),
                None => "; dissolved solids taken as up to 1 000 mg/L".to_owned(),
            }
        ));
    }
    facts
}

/// How often the water was tested against how often the rule book asks.
fn tested(frequency: &Frequency) -> String {
    let tests = tests_logged(frequency.made);
    let days = |count: usize| if count == 1 { "1 day".to_owned() } else { format!("{count} days") };
    let kept = match (frequency.days_short, frequency.days_in_use) {
        (_, 0) => "none was asked for".to_owned(),
        (0, _) => "kept on every one".to_owned(),
        (short, _) => format!("on {} fewer are logged", days(short)),
    };
    format!(
        "{tests}. The spa was in use on {}, and on each at least {} asked for ({}; {}): {kept}.",
        days(frequency.days_in_use),
        match frequency.asked {
            1.0 => "1 is".to_owned(),
            asked => format!("{} are", format::number(asked, 0)),
        },
        frequency.source,
        frequency.known.in_words()
    )
}

/// Why nobody can say from the records whether the water was tested often enough; `None` where no rule book applies.
fn not_compared(given: &Given, figures: &SpaFigures) -> Option<String> {
    let site = given.site.site;
    let book = given.fleet.rule_book(site)?;
    let limits = book.limits(site.r#use)?;
    let mut times: Vec<_> = figures.tests.iter().map(|test| (test.day, test.time.as_deref(), test.after)).collect();
    times.sort_unstable();
    times.dedup();
    let made = tests_logged(times.len());
    Some(match limits.tests_every.as_ref().and_then(|limit| Some((limit, limit.at_most?))) {
        Some((limit, most)) => format!(
            "{made}. Asked for is one at least every {:.0} min while the spa is in use ({}; {}): the records hold no hours of \
             opening, so that it cannot be said whether that was kept.",
            most.0.get::<uom::si::time::minute>(),
            limit.source_text(),
            limit.known.in_words()
        ),
        None => format!("{made}. The rule book ({}) names no number of tests a day for this use.", book.title),
    })
}

fn tests_logged(made: usize) -> String {
    match made {
        0 => "No test is logged".to_owned(),
        1 => "1 test is logged".to_owned(),
        many => format!("{many} tests are logged"),
    }
}

/// The water changes the rule asked for beside those logged.
fn change_rows(given: &Given, figures: &SpaFigures) -> Vec<ChangeRow> {
    let day = |day: Option<NaiveDate>| day.map_or("–".to_owned(), |day| format::near_date(day, given.site.as_of));
    let rows = figures.water_change.iter().flat_map(|change| &change.asked);
    rows.map(|row| ChangeRow {
        mark: if matches!(row.stands, Stands::Late | Stands::Missing) { Mark::ActNow } else { Mark::None },
        due: day(row.due),
        why: match row.why {
            Why::GuestsLeft => "guests left",
            Why::Longest => "the longest time between changes is over",
            Why::Bathers => "by the count of bathers",
            Why::Solids => "dissolved solids have risen",
            Why::Reopening => "filled again on reopening",
            Why::Nothing => "–",
        }
        .to_owned(),
        done: day(row.done),
        stands: if row.due.is_none() { "not asked for yet" } else { row.stands.words() }.to_owned(),
    })
    .collect()
}

/// An index with its sign.
fn signed(index: f64) -> String {
    format!("{}{}", if index < 0.0 { "−" } else { "+" }, format::number(index.abs(), 2))
}
