//! The tables of the site reports, cell by cell, against the rows of `tables/` that they are made from: the number in the
//! PDF is the number of that pump, speed and month, not merely one that stands somewhere.
#![cfg(unix)]

use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;

use serde_json::Value;

use super::demo::MONTH;
use super::views::views;
use crate::support::table::Row;
use crate::support::{Run, Table, demo};

struct Said {
    /// The site reports.
    views: BTreeMap<String, Value>,
    /// Every other document.
    others: BTreeMap<String, Value>,
    /// How many spas each site has.
    spas: BTreeMap<String, usize>,
    run: Run,
}

/// What the demo fleet's reports say, and the run with its tables.
fn said() -> &'static Said {
    static SAID: OnceLock<Said> = OnceLock::new();
    SAID.get_or_init(|| {
        let (views, run) = views(&demo(), MONTH);
        let mut spas: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
        for row in run.table("water_turnover").rows {
            spas.entry(row.get("site").to_owned()).or_default().insert(row.get("at").to_owned());
        }
        let (views, others) = views.into_iter().partition(|(name, _)| !name.contains("--"));
        Said { views, others, spas: spas.into_iter().map(|(site, spas)| (site, spas.len())).collect(), run }
    })
}

fn table(name: &str) -> Table {
    said().run.table(name)
}

/// The months up to the one reported, the oldest first: "2025-11".
fn months(count: i32) -> Vec<String> {
    let last = 2026 * 12 + 9;
    (last + 1 - count..=last).map(|month| format!("{:04}-{:02}", month / 12, month % 12 + 1)).collect()
}

/// An address as the report writes it: the spa is left out where there is only one.
fn place(site: &str, at: &str) -> String {
    let at = if said().spas[site] == 1 { at.split_once('/').map_or(at, |(_, rest)| rest) } else { at };
    let words = at.replace('/', ", ").replace(['-', '_'], " ");
    words[..1].to_uppercase() + &words[1..]
}

fn list<'a>(view: &'a Value, path: &str) -> Vec<&'a Value> {
    view.pointer(path).and_then(Value::as_array).map(|items| items.iter().collect()).unwrap_or_default()
}

fn text<'a>(value: &'a Value, field: &str) -> &'a str {
    value[field].as_str().unwrap_or_else(|| panic!("no {field} in {value}"))
}

/// What is printed is the number of the table, rounded to so many decimals; a dash stands for an empty cell.
#[track_caller]
fn assert_prints(printed: &str, number: Option<f64>, decimals: i32, what: &str) -> usize {
    let Some(number) = number else {
        assert!(matches!(printed, "–" | "" | "?" | "closed"), "{what}: {printed}, and the table has nothing");
        return 0;
    };
    let value: f64 =
        printed.replace('\u{a0}', "").replace('\u{2212}', "-").parse().unwrap_or_else(|_| panic!("{what}: {printed}"));
    // The tables are rounded to four digits themselves.
    assert!((value - number).abs() <= 0.5 * 10f64.powi(-decimals) + 1e-4, "{what}: {printed}, in the table {number}");
    1
}

fn number(row: &Row, column: &str) -> Option<f64> {
    row.get(column).parse().ok()
}

/// The sum over rows; nothing if one is not known.
fn sum(rows: &[&Row], column: &str) -> Option<f64> {
    rows.iter().map(|row| number(row, column)).sum()
}

#[test]
fn run_hours_and_energy_are_those_of_the_pump_speed_and_month() {
    let hours = table("run_hours");
    let months = months(12);
    let (mut seen, mut energies) = (0, 0);
    for (site, view) in &said().views {
        let of = |row: &Value| -> Vec<&Row> {
            let mine = |found: &&Row| {
                place(site, found.get("at")) == text(row, "pump")
                    && found.get("speed") == text(row, "speed")
                    && months.iter().any(|month| month == found.get("month"))
            };
            hours.rows_where(&[("site", site)]).into_iter().filter(mine).collect()
        };
        for row in list(view, "/pumps/hours/rows") {
            let found = of(row);
            assert!(!found.is_empty(), "{site}: {row}");
            for (cell, month) in list(row, "/cells").into_iter().zip(&months) {
                let what = format!("{site}, {}, {month}", text(row, "pump"));
                let Some(at) = found.iter().find(|row| row.get("month") == month) else {
                    assert_eq!(text(cell, "hours"), "", "{what}");
                    continue;
                };
                seen += assert_prints(text(cell, "hours"), number(at, "hours"), 0, &what);
                let letter = match at.get("basis") {
                    "calibrated" => "c",
                    "programmed" => "p",
                    "estimated" => "e",
                    "assumed" => "a",
                    _ => "",
                };
                assert_eq!(text(cell, "letter"), letter, "{what}");
            }
            assert_prints(text(row, "total"), sum(&found, "hours"), 0, "the sum of a year");
        }
        for row in list(view, "/pumps/energy/rows") {
            let found = of(row);
            let now = found.iter().find(|row| row.get("month") == MONTH).unwrap();
            let what = format!("{site}, {}", text(row, "pump"));
            energies += assert_prints(text(row, "month_energy"), number(now, "energy_kwh"), 0, &what);
            assert_prints(text(row, "month_cost"), number(now, "energy_cost"), 2, &what);
            energies += assert_prints(text(row, "year_energy"), sum(&found, "energy_kwh"), 0, &what);
            assert_prints(text(row, "year_cost"), sum(&found, "energy_cost"), 2, &what);
        }
        if let Some(total) = view.pointer("/pumps/energy/total").filter(|total| !total.is_null()) {
            let now = hours.rows_where(&[("site", site), ("month", MONTH)]);
            energies += assert_prints(text(total, "month_energy"), sum(&now, "energy_kwh"), 0, site);
            assert_prints(text(total, "month_cost"), sum(&now, "energy_cost"), 2, site);
        }
    }
    assert!(seen > 250 && energies > 40, "only {seen} hours and {energies} energies were looked at");
}

#[test]
fn the_share_that_is_metered_is_said_and_never_rounded_up_to_all() {
    let hours = table("run_hours");
    for (site, view) in &said().views {
        let now = hours.rows_where(&[("site", site), ("month", MONTH)]);
        let all = sum(&now, "hours").unwrap();
        // By days, since the table has no hours of them: within the days' own unevenness.
        let metered: f64 = now.iter().map(|row| row.number("hours") * row.number("metered_fraction")).sum();
        let share = 100.0 * metered / all;
        let summary = text(&view["pumps"], "summary");
        if share > 99.999 {
            assert!(summary.contains("All of it is metered."), "{site}: {summary}");
        } else if share > 1.0 {
            let said = summary.split(" % of it is metered").next().unwrap().rsplit(' ').next().unwrap();
            let said: f64 = said.parse().unwrap_or_else(|_| panic!("{site}: {summary}"));
            assert!((said - share).abs() < 2.0, "{site}: {said} % is said, {share} % metered");
        } else {
            assert!(summary.contains("No two readings"), "{site}: {summary}");
        }
    }
}

#[test]
fn the_overview_of_the_water_is_that_of_the_spa_and_month() {
    let water = table("water_turnover");
    let months = months(5);
    let (mut seen, mut few) = (0, 0);
    for (site, view) in &said().views {
        for row in list(view, "/water/overview/rows") {
            let of = |month: &str| {
                water
                    .rows_where(&[("site", site), ("month", month)])
                    .into_iter()
                    .find(|found| place(site, found.get("at")) == text(row, "spa"))
            };
            for (cell, month) in list(row, "/turnovers").into_iter().zip(&months) {
                let Some(found) = of(month) else { continue };
                let what = format!("{site}, {}, {month}", text(row, "spa"));
                seen += assert_prints(text(cell, "minutes"), number(found, "turnover_min"), 1, &what);
                let failing = found.get("failing");
                // A triangle beside a time says that the time is too long; hours that are too few have a letter.
                let slow = failing.split("; ").any(|one| one == "turnover");
                assert_eq!(text(cell, "mark") == "act_now", slow, "{what}: {failing}");
                let hours = found.get("verdict") == "short" && failing.contains("filtration hours");
                assert_eq!(text(cell, "letter").contains('h'), hours, "{what}: {failing}");
                few += usize::from(hours);
            }
            let now = of(MONTH).unwrap();
            let hours = now.get("verdict") == "short" && now.get("failing").contains("filtration hours");
            assert_eq!(text(row, "filtration_mark") == "act_now", hours, "{site}");
            for (field, column, decimals) in [
                ("limit", "limit_min", 0),
                ("flow", "flow_l_min", 0),
                ("turnovers_per_day", "turnovers_per_day", 0),
                ("filtration_hours", "hours_per_day", 1),
                ("filter_rate", "filter_rate_l_min_m2", 1),
                ("velocity", "velocity_m_s", 1),
            ] {
                seen += assert_prints(text(row, field), number(now, column), decimals, &format!("{site}: {field}"));
            }
        }
    }
    assert!(seen > 80 && few > 0, "only {seen} numbers and {few} months of too few hours were looked at");
}

#[test]
fn what_is_only_filtered_too_few_hours_is_not_called_too_slow() {
    let view = &said().views["alder-lodge"];
    let state = text(&view["page_one"]["state"], "rest");
    assert!(state.contains("the water of South was filtered fewer hours than the rule book asks"), "{state}");
    let actions = list(view, "/page_one/actions");
    assert!(actions.iter().any(|action| text(action, "what") == "Water is filtered too few hours"), "{actions:?}");
    assert!(actions.iter().all(|action| text(action, "what") != "Water turnover is short"), "{actions:?}");
    let south = list(view, "/water/spas").into_iter().find(|spa| text(spa, "name") == "South").unwrap();
    let chart = list(south, "/charts")[0];
    assert!(text(chart, "alt").contains("Filtered too few hours in 14 months"), "{chart}");
    assert!(text(chart, "caption").contains("filtered too few hours, in 14 of 14 months"), "{chart}");
    // Where the time is too long, that is said.
    let view = &said().views["willow-court"];
    assert!(list(view, "/page_one/actions").iter().any(|action| text(action, "what") == "Water turnover is short"));
}

/// "17 Oct 2025" as the tables write it.
fn as_in_tables(printed: &str) -> Option<String> {
    let mut parts = printed.split(' ');
    let (day, month, year) = (parts.next()?, parts.next()?, parts.next()?);
    let names = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
    let month = names.iter().position(|name| *name == month)? + 1;
    Some(format!("{year}-{month:02}-{:02}", day.parse::<u32>().ok()?))
}

#[test]
fn the_life_and_the_due_day_of_a_part_are_those_of_the_part() {
    let parts = table("parts");
    let mut seen = 0;
    for (site, view) in &said().views {
        for row in list(view, "/parts/rows") {
            let name = text(row, "part").split(" (").next().unwrap().to_lowercase().replace(' ', "_");
            let found: Vec<_> = parts
                .rows_where(&[("site", site), ("part", &name)])
                .into_iter()
                .filter(|found| place(site, found.get("at")) == text(row, "place"))
                .collect();
            let [found] = found.as_slice() else { panic!("{site}: {name} at {}", text(row, "place")) };
            let what = format!("{site}, {name}");
            if let Some(due) = as_in_tables(text(row, "due")) {
                assert_eq!(due, found.get("due"), "{what}");
                seen += 1;
            }
            let used = number(found, "life_used").map(|used| used * 100.0);
            let printed = text(row, "life_used").trim_end_matches(" %");
            seen += assert_prints(printed, used, 0, &what);
            if let Some((_, hours)) = text(row, "age").split_once(", ") {
                seen += assert_prints(hours.trim_end_matches(" h"), number(found, "age_hours"), 0, &what);
            }
            assert_eq!(text(row, "count"), found.get("count"), "{what}");
        }
    }
    assert!(seen > 100, "only {seen} cells were looked at");
}

#[test]
fn the_pressures_of_a_filter_are_those_of_the_filter() {
    let filters = table("filters");
    let mut seen = 0;
    for (site, view) in &said().views {
        for row in list(view, "/water/filters") {
            let found = filters.rows_where(&[("site", site)]);
            let found = found.into_iter().find(|found| place(site, found.get("at")) == text(row, "name")).unwrap();
            seen += assert_prints(text(row, "pressure"), number(found, "pressure_bar"), 2, site);
            seen += assert_prints(text(row, "clean_pressure"), number(found, "clean_pressure_bar"), 2, site);
            let then = text(row, "turnover_then").split(' ').next().unwrap();
            seen += assert_prints(then, number(found, "turnover_at_clean_by_min"), 1, site);
        }
    }
    assert!(seen > 20, "only {seen} cells were looked at");
}

/// Texts that are names, cells or ends of sentences rather than sentences of their own.
const NOT_SENTENCES: [&str; 8] =
    [".closing", ".unknowns", ".document", ".if_left", ".because", ".how_known", ".interval_source", ".caption"];

#[test]
fn every_sentence_begins_with_a_capital() {
    let mut seen = 0;
    for (site, view) in said().views.iter().chain(&said().others) {
        let mut found = Vec::new();
        super::views::texts(view, "", &mut found);
        for (at, text) in found {
            let sentence = text.ends_with('.') && text.contains(' ');
            if !sentence || NOT_SENTENCES.iter().any(|end| at.contains(end)) {
                continue;
            }
            seen += 1;
            for sentence in text.split(". ") {
                let first = sentence.chars().next().unwrap();
                assert!(!first.is_lowercase() || sentence.starts_with("pH"), "{site}{at}: “{sentence}”");
            }
        }
    }
    assert!(seen > 100, "only {seen} sentences were looked at");
}

/// What stands beside page one's numbers as last month's is what last month's report says.
#[test]
fn last_months_numbers_are_those_of_last_months_report() {
    let (before, _run) = views(&demo(), "2026-09");
    let mut seen = 0;
    let now = &said().views;
    let of_sites = now.iter().map(|(site, view)| (site.as_str(), view, "/page_one/numbers"));
    let of_fleet = ("fleet--report", &said().others["fleet--report"], "/numbers");
    for (name, view, path) in of_sites.chain([of_fleet]) {
        for (number, then) in list(view, path).into_iter().zip(list(&before[name], path)) {
            let printed = text(number, "last_month").strip_prefix("September: ").unwrap_or_else(|| panic!("{number}"));
            let value = format!("{} {}", text(then, "value"), text(then, "unit"));
            let value = value.trim_end();
            // Another spa may have been the one then, and is named.
            let unknown = (printed, value) == ("not known", "–");
            let alike = unknown
                || printed == value
                || printed.strip_prefix(value).is_some_and(|rest| {
                    let spa = rest.strip_prefix(", ").unwrap_or_else(|| panic!("{name}: {number}"));
                    text(then, "caption").contains(spa)
                });
            assert!(alike, "{name}: {printed} is said, and was {value}");
            seen += usize::from(value.contains(|digit: char| digit.is_ascii_digit()));
        }
    }
    assert!(seen >= 18, "only {seen} numbers were looked at");
}

#[test]
fn every_action_of_page_one_says_what_happens_if_it_is_left() {
    let mut seen = 0;
    for (site, view) in &said().views {
        for action in list(view, "/page_one/actions") {
            assert!(text(action, "if_left").ends_with('.'), "{site}: {action}");
            seen += 1;
        }
    }
    assert!(seen >= 12, "only {seen} actions were looked at");
}

/// What a chart of a drift reads out is the drift's row of `measured_trends.csv`, and its limit the model's.
#[test]
fn a_drift_that_is_drawn_is_the_one_of_the_table() {
    let trends = table("measured_trends");
    let mut seen = 0;
    for (site, view) in &said().views {
        for chart in list(view, "/pumps/trend_charts") {
            let (file, alt) = (text(chart, "file"), text(chart, "alt"));
            let name = file.strip_prefix("charts/condition-").unwrap().strip_suffix(".svg").unwrap();
            let row = trends.rows_where(&[("site", site)]).into_iter().find(|row| {
                let at = row.get("at").replace('/', ".");
                name == format!("{at}-{}", row.get("quantity").replace('_', "-"))
            });
            let row = row.unwrap_or_else(|| panic!("{site}: {file}"));
            // More than chance, and its range without nought.
            assert!(row.number("p_value") < 0.05, "{site}: {file}");
            assert!(row.number("slope_low") * row.number("slope_high") > 0.0, "{site}: {file}");
            let day = |column: &str| -> String {
                let parts: Vec<u32> = row.get(column).split('-').map(|part| part.parse().unwrap()).collect();
                let month = tubwright::calendar::MONTHS[parts[1] as usize - 1];
                format!("{} {month} {}", parts[2], parts[0])
            };
            if row.get("crosses").is_empty() {
                assert!(!alt.contains(" limit about "), "{alt}");
            } else {
                let verb = if row.get("crosses") <= "2026-10-31" { "passed" } else { "reaches" };
                let wanted = format!("{verb} the limit about {}", day("crosses"));
                assert!(alt.contains(&wanted), "no “{wanted}” in “{alt}”");
                assert!(alt.contains(&format!("(central 80 %: {}", day("crosses_low"))), "{alt}");
                let limit = alt.split_once("The limit is ").unwrap().1.split(' ').next().unwrap();
                seen += assert_prints(limit, number(row, "limit"), 2, file);
            }
        }
    }
    assert!(seen > 0, "the demo fleet has no drift that crosses a limit");
}

/// A dot of a chart is a row of a table.
#[test]
fn the_dots_of_charts_are_in_tables() {
    let month = super::demo::run().month();
    let dots = |chart: &str, radius: u32| {
        let svg = std::fs::read_to_string(month.join("sites").join(chart)).unwrap();
        svg.split("<circle").filter(|circle| circle.contains(&format!(" r=\"{radius}\""))).count()
    };
    let failures = Table::read(&month.join("tables/failures.csv"));
    let of_pump = failures.rows_where(&[("site", "heron-gym"), ("at", "hydro/jets-1")]);
    assert_eq!(of_pump.len(), dots("heron-gym/charts/failures-hydro.jets-1.svg", 11));
    assert!(
        of_pump.windows(2).all(|pair| pair[0].number("hours_since_records") < pair[1].number("hours_since_records"))
    );
    let readings = Table::read(&month.join("tables/readings.csv"));
    let of_filter =
        readings.rows_where(&[("site", "kingfisher-barns"), ("at", "weir/main"), ("quantity", "pressure_bar")]);
    // The chart shows half a year.
    let shown = of_filter.iter().filter(|row| row.get("date") >= "2026-05-01").count();
    assert_eq!(shown, dots("kingfisher-barns/charts/filter-weir.main.svg", 9));
    // A drift is drawn from its first reading to its last.
    let trends = Table::read(&month.join("tables/measured_trends.csv"));
    for (site, at, quantity, read, radius) in [
        ("kingfisher-barns", "osier/filtration", "current", "current_a", 9),
        ("lapwing-club", "terrace", "temperature_lag", "temperature_c", 9),
    ] {
        let drift = trends.row(&[("site", site), ("at", at), ("quantity", quantity)]);
        let of_drift = readings.rows_where(&[("site", site), ("at", at), ("quantity", read)]);
        let days = drift.get("from")..=drift.get("to");
        let shown = of_drift.iter().filter(|row| days.contains(&row.get("date"))).count();
        let chart = format!("{site}/charts/condition-{}-{}.svg", at.replace('/', "."), quantity.replace('_', "-"));
        assert_eq!(shown, dots(&chart, radius), "{chart}");
    }
}
