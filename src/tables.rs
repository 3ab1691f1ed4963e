//! Every table from one list of column definitions, as CSV bytes. The fleet-wide joins and groups
//! are polars'; nothing before the tables knows of it.
//!
//! Units are fixed and stand in the column's name; empty is not known; text a spreadsheet would run
//! is made harmless.

mod carry;
mod costs;
mod failures;
mod forecast_check;
mod mean_failures;
mod measured_trends;
mod occupied_nights;
mod part_lives;
mod pump_failures;
pub mod quoted;
mod readings;
mod sums;
mod visits;
mod ways_out;

use chrono::NaiveDate;
use polars::prelude::{Column as PolarsColumn, DataFrame, NamedFrom, Series};
use polars_io::SerWriter;
use polars_io::csv::write::CsvWriter;
use rust_decimal::prelude::ToPrimitive;

use crate::address::Address;
use crate::basis::Figure;
use crate::figures;
use crate::fleet_figures::FleetFigures;
use crate::quantities::water_turnover::WaterMonth;
use crate::site::SiteFigures;

/// A table, or as much of it as was put together at a time.
#[derive(Debug)]
pub struct Table {
    /// Its file's stem.
    pub name: &'static str,
    /// The CSV; of a later piece without the head, which stands in the first one.
    pub csv: Vec<u8>,
    /// How many rows it has.
    pub rows: usize,
    /// The same cells with their types, for the workbook.
    pub columns: Vec<TypedColumn>,
}

/// A column with its values; nothing stands where a value is not known.
#[derive(Debug)]
pub struct TypedColumn {
    /// Its name, with the unit in it.
    pub name: &'static str,
    /// What stands in it, row by row.
    pub values: Values,
}

/// The values of a column.
#[derive(Debug)]
pub enum Values {
    /// Texts, made harmless.
    Texts(Vec<Option<String>>),
    /// Days.
    Days(Vec<Option<NaiveDate>>),
    /// Numbers, rounded as in the CSV.
    Numbers(Vec<Option<f64>>),
    /// Whole numbers.
    Counts(Vec<Option<i64>>),
}

/// A table could not be put together.
#[derive(Debug, thiserror::Error)]
#[error("the table `{name}` could not be written: {source}")]
pub struct TableError {
    name: &'static str,
    source: polars::error::PolarsError,
}

/// A cell.
enum Cell {
    Text(String),
    Date(Option<NaiveDate>),
    Number(Option<f64>),
    Count(Option<i64>),
}

impl Cell {
    fn text(text: impl std::fmt::Display) -> Self {
        let text = text.to_string();
        Self::Text(if is_harmless(&text) { text } else { harmless(&text) })
    }
    fn date(day: Option<NaiveDate>) -> Self {
        Self::Date(day)
    }
    fn rounded(value: Option<f64>, decimals: i32) -> Self {
        let scale = 10f64.powi(decimals);
        // Adding zero turns minus zero into zero.
        Self::Number(value.filter(|v| v.is_finite()).map(|v| (v * scale).round() / scale + 0.0))
    }
}

/// What begins a formula in one spreadsheet or another.
const RUN: [char; 8] = ['=', '+', '-', '@', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}'];

fn is_harmless(text: &str) -> bool {
    !text.starts_with(RUN) && !text.chars().any(char::is_control)
}

/// A text as a spreadsheet may open it: what would be run begins with an apostrophe.
pub fn harmless(text: &str) -> String {
    let text: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    if text.starts_with(RUN) { format!("'{text}") } else { text }
}

/// A column: its name and what stands in it.
type Column<R> = (&'static str, fn(&R) -> Cell);

/// A column's cells put together; the first cell says what kind all are.
fn typed<R>(rows: &[R], (name, cell): &Column<R>) -> TypedColumn {
    let cells = rows.iter().map(cell);
    let values = match rows.first().map(cell) {
        Some(Cell::Number(_)) => {
            Values::Numbers(cells.map(|c| if let Cell::Number(n) = c { n } else { None }).collect())
        }
        Some(Cell::Count(_)) => Values::Counts(cells.map(|c| if let Cell::Count(n) = c { n } else { None }).collect()),
        Some(Cell::Date(_)) => Values::Days(cells.map(|c| if let Cell::Date(day) = c { day } else { None }).collect()),
        _ => Values::Texts(
            // An empty text is not known, and a cell is then empty without quotes.
            cells.map(|c| if let Cell::Text(t) = c { Some(t).filter(|t| !t.is_empty()) } else { None }).collect(),
        ),
    };
    TypedColumn { name, values }
}

fn frame(rows: usize, columns: &[TypedColumn]) -> Result<DataFrame, polars::error::PolarsError> {
    let series = columns
        .iter()
        .map(|column| {
            let name = column.name.into();
            PolarsColumn::from(match &column.values {
                Values::Texts(texts) => Series::new(name, texts),
                Values::Days(days) => {
                    Series::new(name, days.iter().map(|day| day.map(|day| day.to_string())).collect::<Vec<_>>())
                }
                Values::Numbers(numbers) => Series::new(name, numbers),
                Values::Counts(counts) => Series::new(name, counts),
            })
        })
        .collect();
    DataFrame::new(rows, series)
}

fn csv(mut frame: DataFrame) -> Result<Vec<u8>, polars::error::PolarsError> {
    let mut bytes = Vec::new();
    CsvWriter::new(&mut bytes).include_header(true).n_threads(1).finish(&mut frame)?;
    Ok(bytes)
}

fn table<R>(name: &'static str, rows: &[R], columns: &[Column<R>]) -> Result<Table, TableError> {
    let columns: Vec<TypedColumn> = columns.iter().map(|column| typed(rows, column)).collect();
    let csv = frame(rows.len(), &columns).and_then(csv).map_err(|source| TableError { name, source })?;
    Ok(Table { name, csv, rows: rows.len(), columns })
}

/// A row beside the site it belongs to.
struct Of<'a, T> {
    site: &'a str,
    at: &'a Address,
    row: T,
}

/// Where the rows of a table come from.
enum Rows {
    /// Each belongs to a site: from some sites in sorted order.
    Sites(fn(&[SiteFigures]) -> Result<Table, TableError>),
    /// The fleet as a whole.
    Fleet(fn(&FleetFigures) -> Result<Table, TableError>),
}

/// Every table, in the order in which they are shown: what somebody should do comes first, as in every document.
const TABLES: [Rows; 22] = [
    Rows::Sites(to_do),
    Rows::Fleet(sums::sums),
    Rows::Sites(run_hours),
    Rows::Sites(hours_forecast),
    Rows::Sites(water_turnover),
    Rows::Sites(ways_out::ways_out),
    Rows::Sites(filters),
    Rows::Sites(water_tests),
    Rows::Sites(parts),
    Rows::Fleet(|figures| part_lives::part_lives(figures.lives)),
    Rows::Fleet(|figures| pump_failures::pump_failures(&figures.sites, figures.lives)),
    Rows::Sites(failures::failures),
    Rows::Fleet(|figures| mean_failures::mean_failures(figures.lives)),
    Rows::Fleet(pump_failures::failure_costs),
    Rows::Sites(measured_trends::measured_trends),
    Rows::Sites(readings::readings),
    Rows::Sites(occupied_nights::occupied_nights),
    Rows::Sites(visits::visits),
    Rows::Fleet(carry::carry),
    Rows::Fleet(|figures| costs::costs(&figures.costs, minor_units(figures))),
    Rows::Fleet(|figures| costs::contracts(&figures.costs, minor_units(figures))),
    Rows::Fleet(|figures| forecast_check::forecast_check(&figures.sites, figures.checks)),
];

fn minor_units(figures: &FleetFigures) -> f64 {
    crate::costs::prices::minor_units(&figures.fleet.settings.currency.0)
}

/// Sites whose rows are put together at a time: enough for polars to be quick, few enough for memory to stay narrow
/// whatever the size of the fleet.
const SITES_AT_A_TIME: usize = 50;

/// Puts every table together and hands it to `put`, one table after the other, a large one piece by piece. A table without
/// a row is none: a head alone would look like a mistake.
///
/// # Errors
/// If polars refuses a table, or what `put` says.
pub fn tables<E: From<TableError>>(
    figures: &FleetFigures,
    mut put: impl FnMut(Table) -> Result<(), E>,
) -> Result<(), E> {
    use rayon::prelude::*;
    let at_once = SITES_AT_A_TIME * rayon::current_num_threads();
    for rows in TABLES {
        match rows {
            Rows::Sites(of_sites) => {
                let mut begun = false;
                for sites in figures.sites.chunks(at_once) {
                    let pieces: Vec<Result<Table, TableError>> =
                        sites.par_chunks(SITES_AT_A_TIME).map(of_sites).collect();
                    for piece in pieces {
                        let mut piece = piece?;
                        if piece.rows == 0 {
                            continue;
                        }
                        if begun {
                            let head = piece.csv.iter().position(|byte| *byte == b'\n').map_or(0, |end| end + 1);
                            piece.csv.drain(..head);
                        }
                        begun = true;
                        put(piece)?;
                    }
                }
            }
            Rows::Fleet(of_fleet) => {
                let table = of_fleet(figures)?;
                if table.rows > 0 {
                    put(table)?;
                }
            }
        }
    }
    Ok(())
}

fn run_hours(sites: &[SiteFigures]) -> Result<Table, TableError> {
    let rows: Vec<_> = pumps(sites)
        .flat_map(|(site, pump)| {
            pump.hours.iter().flat_map(|h| &h.months).map(move |row| {
                let figure = figures::month_hours(site.site, pump, row);
                let energy = figure.as_ref().and_then(|f| figures::month_energy(f, row));
                Of { site: site.site.id.as_str(), at: &pump.at, row: (row, figure, energy) }
            })
        })
        .collect();
    table(
        "run_hours",
        &rows,
        &[
            ("site", |r| Cell::text(r.site)),
            ("at", |r| Cell::text(r.at)),
            ("month", |r| Cell::text(r.row.0.month)),
            ("speed", |r| Cell::text(r.row.0.speed.word())),
            ("hours", |r| Cell::rounded(r.row.0.hours, 4)),
            ("basis", |r| Cell::text(r.row.0.basis.map_or("", |b| b.word()))),
            ("metered_fraction", |r| Cell::rounded(Some(r.row.0.metered_fraction), 4)),
            ("energy_kwh", |r| Cell::rounded(r.row.0.energy_kwh, 4)),
            ("energy_cost", |r| Cell::rounded(r.row.0.energy_cost, 6)),
            ("hours_low", |r| Cell::rounded(r.row.1.as_ref().map(|f| f.low), 2)),
            ("hours_high", |r| Cell::rounded(r.row.1.as_ref().map(|f| f.high), 2)),
            ("energy_low", |r| Cell::rounded(r.row.2.as_ref().map(|f| f.low), 2)),
            ("energy_high", |r| Cell::rounded(r.row.2.as_ref().map(|f| f.high), 2)),
            ("source", |r| Cell::text(r.row.1.as_ref().map_or(String::new(), |f| figures::source_text(&f.sources)))),
        ],
    )
}

fn pumps<'a>(
    sites: &'a [SiteFigures<'a>],
) -> impl Iterator<Item = (&'a SiteFigures<'a>, &'a crate::quantities::PumpFigures)> {
    sites.iter().flat_map(|site| {
        let mut pumps: Vec<_> = site.spas.iter().flat_map(|spa| &spa.pumps).collect();
        pumps.sort_by(|a, b| a.at.cmp(&b.at));
        pumps.into_iter().map(move |pump| (site, pump))
    })
}

fn hours_forecast(sites: &[SiteFigures]) -> Result<Table, TableError> {
    let rows: Vec<_> = pumps(sites)
        .flat_map(|(site, pump)| {
            pump.forecast.iter().flat_map(|f| &f.months).map(move |row| Of {
                site: site.site.id.as_str(),
                at: &pump.at,
                row,
            })
        })
        .collect();
    table(
        "hours_forecast",
        &rows,
        &[
            ("site", |r| Cell::text(r.site)),
            ("at", |r| Cell::text(r.at)),
            ("month", |r| Cell::text(r.row.month)),
            ("speed", |r| Cell::text(r.row.speed.word())),
            ("hours", |r| Cell::rounded(Some(r.row.hours), 2)),
            ("low", |r| Cell::rounded(Some(r.row.low), 2)),
            ("high", |r| Cell::rounded(Some(r.row.high), 2)),
        ],
    )
}

fn water_turnover(sites: &[SiteFigures]) -> Result<Table, TableError> {
    let rows: Vec<_> = sites
        .iter()
        .flat_map(|site| site.spas.iter().map(move |spa| (site, spa)))
        .flat_map(|(site, spa)| {
            let records = site.site.spas.iter().find(|s| s.at == spa.at);
            spa.water.months.iter().map(move |row| {
                let hours = records.and_then(|s| figures::filtration_hours(site.site, s, &spa.pumps, row));
                Of { site: site.site.id.as_str(), at: &spa.at, row: (row, hours) }
            })
        })
        .collect();
    table(
        "water_turnover",
        &rows,
        &[
            ("site", |r| Cell::text(r.site)),
            ("at", |r| Cell::text(r.at)),
            ("month", |r| Cell::text(r.row.0.month)),
            ("flow_l_min", |r| Cell::rounded(r.row.0.flow.as_ref().map(|f| f.value), 4)),
            ("flow_low", |r| Cell::rounded(r.row.0.flow.as_ref().map(|f| f.low), 4)),
            ("flow_high", |r| Cell::rounded(r.row.0.flow.as_ref().map(|f| f.high), 4)),
            ("head_m", |r| Cell::rounded(r.row.0.head_m, 3)),
            ("basis", |r| Cell::text(r.row.0.flow.as_ref().map_or("", |f| f.basis.word()))),
            ("turnover_min", |r| Cell::rounded(r.row.0.turnover.as_ref().map(|f| f.value), 4)),
            ("limit_min", |r| Cell::rounded(r.row.0.limit_min, 2)),
            ("turnovers_per_day", |r| Cell::rounded(r.row.0.turnovers_per_day, 4)),
            ("hours_per_day", |r| Cell::rounded(r.row.0.hours_per_day, 4)),
            ("filter_rate_l_min_m2", |r| Cell::rounded(r.row.0.filter_rate, 4)),
            ("filter_limit_l_min_m2", |r| Cell::rounded(r.row.0.filter_limit, 4)),
            ("velocity_m_s", |r| Cell::rounded(r.row.0.velocity, 4)),
            ("velocity_limit_m_s", |r| Cell::rounded(r.row.0.velocity_limit, 4)),
            ("verdict", |r| Cell::text(r.row.0.verdict.word())),
            ("failing", |r| Cell::text(r.row.0.failing.join("; "))),
            ("hours_per_day_low", |r| Cell::rounded(r.row.1.as_ref().map(|f| f.low), 4)),
            ("hours_per_day_high", |r| Cell::rounded(r.row.1.as_ref().map(|f| f.high), 4)),
            ("turnover_low", |r| Cell::rounded(r.row.0.turnover.as_ref().map(|f| f.low), 4)),
            ("turnover_high", |r| Cell::rounded(r.row.0.turnover.as_ref().map(|f| f.high), 4)),
            ("turnovers_low", |r| flow_end(r.row.0, r.row.0.turnovers_per_day, |f| f.low)),
            ("turnovers_high", |r| flow_end(r.row.0, r.row.0.turnovers_per_day, |f| f.high)),
            ("filter_rate_low", |r| flow_end(r.row.0, r.row.0.filter_rate, |f| f.low)),
            ("filter_rate_high", |r| flow_end(r.row.0, r.row.0.filter_rate, |f| f.high)),
            ("velocity_low", |r| flow_end(r.row.0, r.row.0.velocity, |f| f.low)),
            ("velocity_high", |r| flow_end(r.row.0, r.row.0.velocity, |f| f.high)),
            ("source", |r| {
                Cell::text(r.row.0.flow.as_ref().map_or(String::new(), |f| figures::source_text(&f.sources)))
            }),
        ],
    )
}

/// An end of the range of a number that goes with the flow.
fn flow_end(row: &WaterMonth, value: Option<f64>, end: fn(&Figure) -> f64) -> Cell {
    Cell::rounded(figures::with_flow(row, value).as_ref().map(end), 4)
}

fn filters(sites: &[SiteFigures]) -> Result<Table, TableError> {
    let rows: Vec<_> = sites
        .iter()
        .flat_map(|site| site.spas.iter().map(move |spa| (site, spa)))
        .flat_map(|(site, spa)| {
            spa.filters.iter().map(move |f| Of { site: site.site.id.as_str(), at: &f.at, row: &f.state })
        })
        .collect();
    table(
        "filters",
        &rows,
        &[
            ("site", |r| Cell::text(r.site)),
            ("at", |r| Cell::text(r.at)),
            ("pressure_bar", |r| Cell::rounded(r.row.pressure, 4)),
            ("clean_pressure_bar", |r| Cell::rounded(r.row.clean_pressure, 4)),
            ("rise_bar_per_day", |r| Cell::rounded(r.row.rise_per_day, 6)),
            ("clean_by", |r| Cell::date(r.row.clean_by.map(|c| c.0))),
            ("clean_by_low", |r| Cell::date(r.row.clean_by.map(|c| c.1))),
            ("clean_by_high", |r| Cell::date(r.row.clean_by.map(|c| c.2))),
            ("turnover_at_clean_by_min", |r| Cell::rounded(r.row.turnover_then.as_ref().map(|t| t.value), 4)),
            ("flow_at_clean_by_l_min", |r| Cell::rounded(r.row.flow_then.as_ref().map(|f| f.value), 4)),
            ("turnover_short_by", |r| Cell::date(r.row.short_by.map(|c| c.0))),
            ("turnover_short_by_low", |r| Cell::date(r.row.short_by.map(|c| c.1))),
            ("turnover_short_by_high", |r| Cell::date(r.row.short_by.map(|c| c.2))),
        ],
    )
}

fn water_tests(sites: &[SiteFigures]) -> Result<Table, TableError> {
    let rows: Vec<_> = sites
        .iter()
        .flat_map(|site| site.spas.iter().map(move |spa| (site, spa)))
        .flat_map(|(site, spa)| spa.tests.iter().map(move |t| Of { site: site.site.id.as_str(), at: &spa.at, row: t }))
        .collect();
    table(
        "water_tests",
        &rows,
        &[
            ("site", |r| Cell::text(r.site)),
            ("at", |r| Cell::text(r.at)),
            ("date", |r| Cell::date(Some(r.row.day))),
            ("time", |r| Cell::text(r.row.time.as_deref().unwrap_or_default())),
            ("by", |r| Cell::text(r.row.by.as_deref().unwrap_or_default())),
            ("quantity", |r| Cell::text(r.row.quantity.name())),
            ("value", |r| Cell::rounded(Some(r.row.value), 4)),
            ("low_limit", |r| Cell::rounded(r.row.low_limit, 4)),
            ("high_limit", |r| Cell::rounded(r.row.high_limit, 4)),
            ("verdict", |r| Cell::text(r.row.verdict.word())),
            ("action", |r| Cell::text(&r.row.action)),
        ],
    )
}

fn parts(sites: &[SiteFigures]) -> Result<Table, TableError> {
    let rows: Vec<_> = sites
        .iter()
        .flat_map(|site| {
            site.parts.iter().map(move |row| {
                let used = figures::life_used(row, site.as_of);
                Of { site: site.site.id.as_str(), at: &row.part.at, row: (row, used) }
            })
        })
        .collect();
    table(
        "parts",
        &rows,
        &[
            ("site", |r| Cell::text(r.site)),
            ("at", |r| Cell::text(r.at)),
            ("part", |r| Cell::text(r.row.0.part.id)),
            ("count", |r| Cell::Count(Some(i64::from(r.row.0.part.part.count.unwrap_or(1))))),
            ("fitted", |r| Cell::text(r.row.0.part.fitted)),
            ("age_days", |r| Cell::Count(r.row.0.part.age_days)),
            ("age_hours", |r| Cell::rounded(r.row.0.part.age_hours, 2)),
            ("interval_source", |r| Cell::text(r.row.0.part.part.source.as_ref().map_or("", |s| s.0.as_str()))),
            ("due", |r| Cell::date(r.row.0.due)),
            ("due_low", |r| Cell::date(r.row.0.due_low)),
            ("due_high", |r| Cell::date(r.row.0.due_high)),
            ("due_basis", |r| Cell::text(if r.row.0.due.is_some() { r.row.0.basis.word() } else { "" })),
            ("life_used", |r| Cell::rounded(r.row.0.life_used, 4)),
            ("fail_12mo", |r| Cell::rounded(r.row.0.fail_12mo, 6)),
            ("cost", |r| Cell::rounded(r.row.0.cost.and_then(|c| c.to_f64()), 4)),
            ("life_used_low", |r| Cell::rounded(r.row.1.as_ref().map(|f| f.low), 4)),
            ("life_used_high", |r| Cell::rounded(r.row.1.as_ref().map(|f| f.high), 4)),
            ("source", |r| Cell::text(figures::source_text(&r.row.0.sources))),
        ],
    )
}

fn to_do(sites: &[SiteFigures]) -> Result<Table, TableError> {
    let mut rows: Vec<_> =
        sites.iter().flat_map(|site| site.to_do.iter().map(move |row| (site.site.id.as_str(), row))).collect();
    rows.sort_by_key(|(site, row)| (row.urgency, *site));
    table(
        "to_do",
        &rows,
        &[
            ("urgency", |(_, r)| Cell::text(r.urgency.words())),
            ("site", |(site, _)| Cell::text(site)),
            ("at", |(_, r)| Cell::text(r.at.as_ref().map_or("", |at| at.as_str()))),
            ("reason", |(_, r)| Cell::text(r.reason)),
            ("says", |(_, r)| Cell::text(format!("{}: {}", crate::report::format::sentence(&r.what), r.says))),
            ("due", |(_, r)| Cell::date(r.due)),
            ("source", |(_, r)| Cell::text(r.source.as_ref().map_or_else(String::new, ToString::to_string))),
        ],
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_spreadsheet_would_run_is_made_harmless() {
        assert_eq!(harmless("=1+1"), "'=1+1");
        assert_eq!(harmless("@x\ny"), "'@x y");
        assert_eq!(harmless("Quay"), "Quay");
    }

    #[test]
    fn a_table_has_its_columns_and_leaves_the_unknown_empty() {
        let rows = [(1.5, "a"), (2.25, "=b")];
        let table = table(
            "x",
            &rows,
            &[("n", |r| Cell::rounded(Some(r.0), 1)), ("none", |_| Cell::Number(None)), ("t", |r| Cell::text(r.1))],
        )
        .unwrap();
        assert_eq!(String::from_utf8(table.csv).unwrap(), "n,none,t\n1.5,,a\n2.3,,'=b\n");
    }
}
