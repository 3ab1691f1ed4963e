//! What a site's log book says, as finished text: the month's tests with actions and re-tests, the cleans
//! and changes, the closures, and the lines to sign, in the order an inspector reads.
//!
//! It exists because the log book is handed to somebody who may be hostile: it holds what the records
//! say and no more, tells calculated figures as such, and says "nothing recorded" where nothing is. Notes
//! of the house never stand in it, nobody but technicians is named, and they by their first name only.
//! Like the site report's view it holds no raw numbers and does not know the page.

use chrono::NaiveDate;
use serde::Serialize;
use uom::si::volume::liter;

use crate::basis::Basis;
use crate::calendar::{self, Month, plus_days};
use crate::quantities::SpaFigures;
use crate::quantities::water_tests::{NOTHING_RECORDED, TestVerdict, WaterTest};
use crate::quantities::water_turnover::Verdict;
use crate::records::log::{Entry, Quantity, Visit};
use crate::records::{Fleet, Spa};
use crate::report::format;
use crate::report::view::{Document, LimitSource, Mark};
use crate::site::SiteFigures;
use crate::to_do::Urgency;

/// The version of the shape below. It goes up with any change that an overriding template would notice.
pub const LOGBOOK_VIEW_VERSION: u32 = 1;

/// Everything in one log book.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LogBookView {
    /// [`LOGBOOK_VIEW_VERSION`] at the time of writing.
    pub view_version: u32,
    /// Names, paper and language.
    pub document: Document,
    /// The title on the page.
    pub title: String,
    /// Stands for all the rest but the lines to sign when the month holds nothing.
    pub nothing_to_say: Option<String>,
    /// Which rule book judged it.
    pub rule_book: String,
    /// The month in a sentence or two.
    pub summary: String,
    /// What was left out of the records, in words.
    pub left_out: Vec<String>,
    /// What must not go on: a spa not to be used.
    pub warnings: Vec<String>,
    /// The spas.
    pub spas: Vec<LogSpa>,
    /// Closures of the month, of the site and of what stands there.
    pub closures: Vec<Closure>,
    /// Stands where there are none.
    pub no_closures: String,
    /// Limits with their sources.
    pub limits: Vec<LimitSource>,
    /// Cautions that belong to the water.
    pub cautions: Vec<String>,
    /// Lines to sign: for what each is.
    pub sign: Vec<String>,
}

/// A spa's month.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct LogSpa {
    /// Its name.
    pub name: String,
    /// Volume and setpoint.
    pub identity: String,
    /// How often the water was turned over, and when it is to be changed; a sentence each.
    pub facts: Vec<String>,
    /// What was tested, a column each.
    pub columns: Vec<TestColumn>,
    /// When it was tested, a row each.
    pub tests: Vec<TestRow>,
    /// Stands where there are none.
    pub no_tests: String,
    /// Tests outside their limits.
    pub out: Vec<OutRow>,
    /// Cleans, changes and other work.
    pub work: Vec<WorkRow>,
    /// Stands where there is none.
    pub no_work: String,
}

/// A column of tests.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct TestColumn {
    /// Of what, with its unit.
    pub head: String,
    /// The limits, short.
    pub limits: String,
}

/// A time at which the water was tested.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct TestRow {
    /// The day.
    pub date: String,
    /// The time, or that it was after the work.
    pub time: String,
    /// Who.
    pub by: String,
    /// Beside each column.
    pub cells: Vec<TestCell>,
}

/// A value.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct TestCell {
    /// Act now where it is outside its limits.
    pub mark: Mark,
    /// The value, with `low` or `high` behind it.
    pub value: String,
}

/// Tests of one quantity outside their limits, until one met them again.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct OutRow {
    /// Of what.
    pub quantity: String,
    /// From when to when, and how many tests.
    pub when: String,
    /// The worst value.
    pub worst: String,
    /// The limits.
    pub limits: String,
    /// What was done.
    pub action: String,
    /// The re-test that met, or that none did.
    pub retest: String,
}

/// Work of a visit.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct WorkRow {
    /// The day.
    pub date: String,
    /// Where.
    pub place: String,
    /// What.
    pub what: String,
    /// Who.
    pub by: String,
    /// What was read after it.
    pub after: String,
}

/// A closure.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Closure {
    /// What was closed.
    pub place: String,
    /// From when to when.
    pub when: String,
    /// Why, as far as the records say.
    pub why: String,
}

/// What a log book is made from.
pub struct Given<'a> {
    /// What all sites share.
    pub fleet: &'a Fleet,
    /// The site's figures.
    pub site: &'a SiteFigures<'a>,
    /// The month.
    pub month: Month,
    /// The site report's document: names, paper, language.
    pub document: &'a Document,
    /// The site report's line on the rule book.
    pub rule_book: &'a str,
    /// The site report's limits with their sources.
    pub limits: &'a [LimitSource],
}

/// A site's log book.
pub fn view(given: &Given) -> LogBookView {
    let month = given.month.in_words();
    let site = given.site.site;
    let spas: Vec<LogSpa> =
        site.spas.iter().zip(given.site.spas).map(|(spa, figures)| log_spa(given, spa, figures)).collect();
    let closures = closures(given);
    let nothing = spas.iter().all(|s| s.tests.is_empty() && s.work.is_empty()) && closures.is_empty();
    let title = format!("Water log book, {month}");
    LogBookView {
        view_version: LOGBOOK_VIEW_VERSION,
        document: Document {
            title: format!("{}: water log book for {month}", site.name),
            header: title.clone(),
            ..given.document.clone()
        },
        title,
        nothing_to_say: nothing
            .then(|| format!("The records hold no test, clean, change or closure at {} in {month}.", site.name)),
        rule_book: given.rule_book.to_owned(),
        summary: summary(given, &spas),
        left_out: site.left_out.iter().map(|what| format::sentence(what)).collect(),
        warnings: warnings(given),
        spas,
        closures,
        no_closures: format!("No closure is recorded for {month}."),
        limits: given.limits.to_vec(),
        cautions: cautions(),
        sign: ["Kept by (responsible person)", "Seen by (inspector)"].map(str::to_owned).to_vec(),
    }
}

fn summary(given: &Given, spas: &[LogSpa]) -> String {
    let tests: usize = given.site.spas.iter().map(|s| s.tests.len()).sum();
    let out: usize = given
        .site
        .spas
        .iter()
        .flat_map(|s| &s.tests)
        .filter(|t| matches!(t.verdict, TestVerdict::Low | TestVerdict::High))
        .count();
    let without_limit =
        given.site.spas.iter().flat_map(|s| &s.tests).filter(|t| t.verdict == TestVerdict::Unknown).count();
    let work: usize = spas.iter().map(|s| s.work.len()).sum();
    let unmet = spas.iter().flat_map(|s| &s.out).filter(|row| row.retest == NO_RETEST).count();
    let count = |n: usize, one: &str, many: &str| format!("{n} {}", if n == 1 { one } else { many });
    let mut says = format!(
        "{} of the water, {} outside the limits",
        count(tests, "test", "tests"),
        if out == 0 { "none".to_owned() } else { out.to_string() }
    );
    if without_limit > 0 {
        says.push_str(&format!(" ({without_limit} of quantities for which the rule book has no limit)"));
    }
    says.push_str(&format!(". {} in the log.", format::sentence(&count(work, "piece of work", "pieces of work"))));
    if unmet > 0 {
        says.push_str(&format!(
            " {} outside the limits {} no re-test that met them by the end of the month.",
            format::sentence(&count(unmet, "run of tests", "runs of tests")),
            if unmet == 1 { "has" } else { "have" }
        ));
    }
    says
}

/// What the site's list says must not be used, and what of the water must be done now.
fn warnings(given: &Given) -> Vec<String> {
    given
        .site
        .to_do
        .iter()
        .filter(|t| t.urgency == Urgency::DoNotUse)
        .map(|t| {
            let place = t.at.as_ref().map_or(String::new(), |at| format!("{}: ", format::place(at.as_str())));
            format!("Do not use. {}{}. {}", format::sentence(&place), t.what, t.says)
        })
        .collect()
}

fn log_spa(given: &Given, spa: &Spa, figures: &SpaFigures) -> LogSpa {
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
    let work = work(given, spa);
    LogSpa {
        name: format::sentence(&format::place(spa.at.as_str())),
        identity: identity.join(", "),
        facts: facts(given, spa, figures),
        columns,
        tests: test_rows(given, figures, &quantities),
        no_tests: "No test of this water is recorded for the month.".to_owned(),
        out: out_rows(given, figures),
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
                    by: test.by.as_deref().map_or(String::new(), |id| first_name(given.fleet, id)),
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

const NO_RETEST: &str = "none met by the end of the month";

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
                worst: format!("{} {}", format::test_value(quantity, worst.value, units), worst.verdict.word()),
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
        let limit = row.limit_min.map_or("no limit is known".to_owned(), |l| format!("the limit is {l:.0} min"));
        match (&row.turnover, &row.flow) {
            _ if row.verdict == Verdict::Closed => facts.push("Closed the whole month.".to_owned()),
            (Some(turnover), Some(flow)) => {
                let how = match flow.basis {
                    Basis::Measured => "measured",
                    Basis::Curve => "calculated, not measured",
                    Basis::Stated => "by the maker's stated flow, not measured",
                    _ => "by the last measurement",
                };
                facts.push(format!(
                    "Water turnover {:.1} min ({how}; {:.1} to {:.1}); {limit}. {}",
                    turnover.value,
                    turnover.low,
                    turnover.high,
                    row.hours_per_day.map_or("Hours of filtration are not known.".to_owned(), |h| {
                        format!("Filtered {h:.1} h a day.")
                    })
                ));
            }
            _ => facts.push(format!("Water turnover is not known; {limit}.")),
        }
    }
    if let Some(change) = &figures.water_change {
        let due = match (change.due, &change.missing) {
            (Some(due), _) if due <= given.site.as_of => format!(" It was due on {}.", calendar::in_words(due)),
            (Some(due), _) => format!(" It is next due on {}.", calendar::in_words(due)),
            (None, Some(missing)) => format!(" When it is due cannot be said without {missing}."),
            (None, None) => String::new(),
        };
        facts.push(format!("{}{due}", change.says()));
        if let Some(bathers) = change.bathers_since {
            facts.push(format!(
                "Bathers since the last change: about {}, reckoned from {} a day.",
                format::number(bathers, 0),
                spa.bathers.map_or_else(String::new, |b| format::number(b, 0))
            ));
        }
    }
    if let Some(balance) = figures.balance {
        facts.push(format!(
            "Saturation index on {}: {}{} by the table, {} (balanced from −0.5 to +0.5){}.",
            calendar::in_words(balance.day),
            if balance.index < 0.0 { "−" } else { "+" },
            format::number(balance.index.abs(), 2),
            balance.word(),
            if balance.solids_tested { "" } else { "; dissolved solids taken as up to 1 000 mg/L" }
        ));
    }
    facts
}

/// Cleans, changes and other work of the month at a spa.
fn work(given: &Given, spa: &Spa) -> Vec<WorkRow> {
    let mut rows = Vec::new();
    for (_, visit) in &given.site.site.visits {
        if Month::of(visit.date.0) != given.month {
            continue;
        }
        for (at, entry) in visit.at.iter().filter(|(at, _)| at.spa() == spa.at.as_str()) {
            let what = work_words(entry);
            if what.is_empty() {
                continue;
            }
            let place = at.as_str().split_once('/').map_or("the spa".to_owned(), |(_, inside)| format::place(inside));
            rows.push((
                (visit.date.0, visit.time.map(|t| t.start)),
                WorkRow {
                    date: format::near_date(visit.date.0, given.site.as_of),
                    place: format::sentence(&place),
                    what: format::sentence(&what.join(", ")),
                    by: by(given.fleet, visit),
                    after: after_words(given, entry),
                },
            ));
        }
    }
    rows.sort_by_key(|(when, _)| *when);
    rows.into_iter().map(|(_, row)| row).collect()
}

fn work_words(entry: &Entry) -> Vec<String> {
    let mut what: Vec<String> = entry.done.iter().map(|task| format::words(task.as_str())).collect();
    what.extend(entry.renewed.0.iter().map(|(part, _)| format!("renewed {}", format::words(part.as_str()))));
    what.extend(entry.repaired.0.iter().map(|(part, _)| format!("repaired {}", format::words(part.as_str()))));
    if entry.exchanged.is_some() {
        what.push("pump exchanged".to_owned());
    }
    if entry.removed == Some(true) {
        what.push("taken out of service for good".to_owned());
    }
    what
}

fn after_words(given: &Given, entry: &Entry) -> String {
    let units = given.fleet.settings.units;
    let typed = given.fleet.typed_units();
    let Some(after) = &entry.after else { return String::new() };
    after
        .readings(&typed)
        .filter_map(|(quantity, value)| match quantity {
            Quantity::Pressure => Some(format!("pressure {}", format::pressure(value, units))),
            Quantity::Flow => Some(format!("flow {}", format::flow(value, units))),
            q if q.is_water_test() => {
                Some(format!("{} {}", format::quantity_name(q), format::test_value(q, value, units)))
            }
            _ => None,
        })
        .collect::<Vec<_>>()
        .join(", ")
}

fn closures(given: &Given) -> Vec<Closure> {
    let site = given.site.site;
    let (first, last) = (given.month.first(), given.month.last());
    let day = |day: NaiveDate| format::near_date(day, given.site.as_of);
    let mut all: Vec<Closure> = site
        .closed
        .iter()
        .filter(|c| c.from <= last && c.to >= first)
        .map(|c| Closure {
            place: "The whole site".to_owned(),
            when: format!("{} to {}", day(c.from), day(c.to)),
            why: if c.drained { "closed season, water out" } else { "closed season" }.to_owned(),
        })
        .collect();
    for (_, visit) in &site.visits {
        for (at, entry) in visit.at.iter() {
            let Some(down) = entry.down else { continue };
            let from = plus_days(visit.date.0, 1 - down.mean_days().round() as i64);
            if from > last || visit.date.0 < first {
                continue;
            }
            all.push(Closure {
                place: format::sentence(&format::place(at.as_str())),
                when: if from == visit.date.0 { day(from) } else { format!("{} to {}", day(from), day(visit.date.0)) },
                why: format!("out of service, {}", work_words(entry).join(", ")).trim_end_matches(", ").to_owned(),
            });
        }
    }
    all
}

fn by(fleet: &Fleet, visit: &Visit) -> String {
    visit.by.as_ref().map_or(String::new(), |id| first_name(fleet, id.as_str()))
}

/// A technician's first name as in `fleet.yaml`; the id where there is none.
fn first_name(fleet: &Fleet, id: &str) -> String {
    let name = fleet.settings.technicians.iter().find(|(key, _)| key.as_str() == id).and_then(|(_, t)| t.name.as_ref());
    let name = name.map_or(id, |name| name.0.as_str());
    name.split_whitespace().next().unwrap_or(id).to_owned()
}

fn cautions() -> Vec<String> {
    const SUBJECTS: [&str; 4] =
        ["When to close at once", "Suction covers and entrapment", "Chemicals", "Water-borne illness"];
    crate::report::cautions::cautions()
        .into_iter()
        .filter(|c| SUBJECTS.contains(&c.subject.as_str()))
        .map(|c| format!("{}: {}", c.subject, c.text))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantities::fleet_for_tests::load_with;

    const FLEET: &str = "{format: 1, fleet: Test, currency: GBP, timezone: Europe/London, limits: uk, technicians: {dan: {name: Dan Invented}}}";

    fn of(log: &str) -> LogBookView {
        let site = format!(
            "format: 1\nname: Home\nuse: rental\nclosed: [{{from: 2026-07-01, to: 2026-07-31}}]\nspas: {{tub: {{fitted: 2026-01-01, volume: 1200 L, filters: {{main: {{kind: cartridge}}}}}}}}\nlog: [{log}]\n"
        );
        load_with(&[("fleet.yaml", FLEET), ("sites/home.yaml", &site)], "2026-06-30", |fleet, site, as_of| {
            let document = Document {
                title: "t".to_owned(),
                site: "Home".to_owned(),
                month: "June 2026".to_owned(),
                prepared_by: "Test".to_owned(),
                prepared_for: None,
                as_of: as_of.to_string(),
                paper: crate::report::view::Paper::A4,
                lang: "en-GB".to_owned(),
                header: String::new(),
                footer: String::new(),
            };
            let month = Month::of(as_of);
            view(&Given { fleet, site, month, document: &document, rule_book: "uk", limits: &[] })
        })
    }

    #[test]
    fn a_month_with_nothing_is_one_line_and_the_lines_to_sign() {
        let view = of("");
        assert_eq!(
            view.nothing_to_say.as_deref(),
            Some("The records hold no test, clean, change or closure at Home in June 2026.")
        );
        assert_eq!(view.sign.len(), 2);
    }

    #[test]
    fn tests_actions_and_work_without_notes_or_surnames() {
        let view = of("{date: 2026-06-02, time: 09:00, by: dan, note: SECRET, at: {tub: {ph: 7.9, free_chlorine: 4, note: SECRET}}},
            {date: 2026-06-03, by: dan, at: {tub: {done: [water_change], after: {ph: 7.3}}, tub/main: {pressure: 0.5, done: [filter_clean], after: {pressure: 0.3}}}},
            {date: 2026-06-20, at: {tub: {ph: 6.8}, tub/main: {down: 2 d}}}");
        let text = serde_json::to_string(&view).unwrap();
        assert!(!text.contains("SECRET") && !text.contains("Invented"), "{text}");
        assert_eq!(view.nothing_to_say, None);
        let spa = &view.spas[0];
        let heads: Vec<(&str, &str)> = spa.columns.iter().map(|c| (c.head.as_str(), c.limits.as_str())).collect();
        assert_eq!(heads, [("pH", "7.0–7.6"), ("Free chlorine", "3.0–5.0 mg/L")]);
        let rows: Vec<Vec<&str>> =
            spa.tests.iter().map(|t| t.cells.iter().map(|c| c.value.as_str()).collect()).collect();
        assert_eq!(rows, [["7.9 high", "4.0"], ["7.3", ""], ["6.8 low", ""]]);
        assert_eq!((spa.tests[0].by.as_str(), spa.tests[1].time.as_str()), ("Dan", "after work"));
        assert_eq!(spa.out.len(), 2);
        assert_eq!((spa.out[0].action.as_str(), spa.out[0].retest.as_str()), ("Water change 3 Jun", "7.3 on 3 Jun"));
        assert_eq!((spa.out[1].action.as_str(), spa.out[1].retest.as_str()), ("Nothing recorded", NO_RETEST));
        assert_eq!(spa.work.len(), 2);
        assert_eq!(spa.work[1].after, "pressure 0.30 bar");
        // Out of service on the two days up to the 20th; the season of July is no closure of June.
        assert_eq!(view.closures.len(), 1);
        assert_eq!(view.closures[0].when, "19 Jun to 20 Jun");
    }
}
