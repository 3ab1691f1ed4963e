//! `fleet.xlsx`: every table of the month as a sheet of one workbook, for whoever would rather filter than program.
//!
//! It says nothing the CSV files do not say, in the same units and under the same names; it adds what a sheet can:
//! types, frozen heads, filters, and a page set-up. Texts go in as texts and are never formulas or links. The workbook
//! carries the as-of day for its date of creation, so that the same figures give the same bytes.
//!
//! Sheets are written row by row into nameless files of the folder given, so that memory stays narrow.

use std::borrow::Cow;
use std::path::Path;

use chrono::{Datelike, NaiveDate};
use rust_xlsxwriter::{
    DocProperties, ExcelDateTime, Format, FormatAlign, FormatBorder, Workbook, Worksheet, XlsxError,
};

use crate::calendar;
use crate::records::Fleet;
use crate::records::fleet::Paper;
use crate::tables::{Table, Values};

/// The longest text a cell of the format can hold, in UTF-16 units (ECMA-376 leaves it open; readers hold 32,767).
const LONGEST_TEXT: usize = 32_767;
/// Columns beyond which a printed sheet is two pages wide.
const ONE_PAGE_COLUMNS: usize = 14;

/// The workbook could not be put together.
#[derive(Debug, thiserror::Error)]
#[error("the workbook could not be written: {0}")]
pub struct WorkbookError(#[from] XlsxError);

/// What is told of the fleet in the workbook.
#[derive(Debug)]
pub struct Given<'a> {
    /// The fleet.
    pub fleet: &'a Fleet,
    /// The month in words.
    pub month: &'a str,
    /// The as-of day.
    pub as_of: NaiveDate,
    /// The tables, in the order of their sheets.
    pub tables: &'a [Table],
    /// A folder that can be written to and is on the disk the workbook goes to.
    pub folder: &'a Path,
}

/// The formats of cells.
struct Looks {
    head: Format,
    text: Format,
    day: Format,
    count: Format,
    number: Format,
    share: Format,
    money: Format,
    title: Format,
}

impl Looks {
    fn new() -> Self {
        let base = || Format::new().set_font_name("Noto Sans").set_font_size(9).set_align(FormatAlign::Top);
        Self {
            head: base()
                .set_bold()
                .set_text_wrap()
                .set_align(FormatAlign::Bottom)
                .set_border_top(FormatBorder::Medium)
                .set_border_bottom(FormatBorder::Thin),
            text: base(),
            day: base().set_num_format("yyyy-mm-dd"),
            count: base().set_num_format("#,##0"),
            number: base().set_num_format("#,##0.0##"),
            share: base().set_num_format("0.0%"),
            money: base().set_num_format("#,##0.00"),
            title: base().set_bold().set_font_size(16),
        }
    }

    fn number(&self, column: &str) -> &Format {
        match kind(column) {
            Kind::Share => &self.share,
            Kind::Money => &self.money,
            Kind::Plain => &self.number,
        }
    }
}

enum Kind {
    Plain,
    Share,
    Money,
}

/// What a column of numbers holds, by the words of its name.
fn kind(column: &str) -> Kind {
    let has = |words: &[&str]| words.iter().any(|word| column.split('_').any(|part| part == *word));
    if column.starts_with("life_used") || column == "fail_12mo" || has(&["fraction", "saving"]) {
        Kind::Share
    } else if has(&["cost", "labour", "travel", "price", "tax", "spent", "total", "result"]) {
        Kind::Money
    } else {
        Kind::Plain
    }
}

/// What a row of a table is, in words.
fn a_row_is(table: &str) -> &'static str {
    match table {
        "run_hours" => "a pump, speed and month, from fitting to the month reported",
        "hours_forecast" => "a pump, speed and coming month",
        "water_turnover" => "a spa and month",
        "filters" => "a filter at the as-of day",
        "water_tests" => "a test of the month",
        "parts" => "a wear part in service",
        "part_lives" => "a kind of part over the whole fleet",
        "pump_failures" => "a pump, a model, a site or the whole fleet",
        "measured_trends" => "a measured quantity of a pump, filter or spa",
        "visits" => "a task within a planned visit",
        "carry" => "a part and month",
        "costs" => "a site, year and scope",
        "contracts" => "a contract, year to date",
        "forecast_check" => "a past forecast against what happened",
        "failure_costs" => "a kind of part, by what its failures cost",
        "sums" => "a number that a document adds up or rounds from the other tables",
        "to_do" => "a thing somebody should know or do",
        _ => "see README.md",
    }
}

/// The workbook as bytes.
///
/// # Errors
/// If a sheet is refused, which the tables' own names and sizes rule out.
pub fn workbook(given: &Given) -> Result<Vec<u8>, WorkbookError> {
    let looks = Looks::new();
    let mut workbook = Workbook::new();
    workbook.set_tempdir(given.folder)?;
    let prepared_by = given.fleet.settings.prepared_by.as_ref().unwrap_or(&given.fleet.settings.fleet).0.clone();
    workbook.set_properties(
        &DocProperties::new()
            .set_title(format!("{}: figures for {}", given.fleet.settings.fleet.0, given.month))
            .set_author(prepared_by)
            .set_creation_datetime(&day(given.as_of)?),
    );
    contents(workbook.add_worksheet(), given, &looks)?;
    // What somebody should do comes first, as in every document.
    let (first, others): (Vec<&Table>, Vec<&Table>) = given.tables.iter().partition(|table| table.name == "to_do");
    for table in first.into_iter().chain(others) {
        sheet(workbook.add_worksheet_with_low_memory()?, table, given, &looks)?;
    }
    Ok(workbook.save_to_buffer()?)
}

fn day(day: NaiveDate) -> Result<ExcelDateTime, XlsxError> {
    // Days before 1900 are in no record; the format has none.
    ExcelDateTime::from_ymd(day.year().clamp(1900, 9999) as u16, day.month() as u8, day.day() as u8)
}

fn contents(sheet: &mut Worksheet, given: &Given, looks: &Looks) -> Result<(), XlsxError> {
    sheet.set_name("contents")?;
    let settings = &given.fleet.settings;
    sheet.write_string_with_format(0, 0, cut(&format!("{}, {}", settings.fleet.0, given.month)), &looks.title)?;
    let says = [
        format!("From records up to {}.", calendar::in_words(given.as_of)),
        format!("Amounts of money are in {}; units stand in the names of the columns.", settings.currency.0),
        "An empty cell is not known. Low and high are the ends of the central 80 %.".to_owned(),
        "Shares are shown in per cent; in the CSV files they are fractions.".to_owned(),
    ];
    for (row, text) in says.iter().enumerate() {
        sheet.write_string_with_format(1 + row as u32, 0, cut(text), &looks.text)?;
    }
    let head = 2 + says.len() as u32;
    for (column, text) in ["Table", "A row is", "Rows", "Rows in this workbook"].into_iter().enumerate() {
        sheet.write_string_with_format(head, column as u16, text, &looks.head)?;
    }
    for (index, table) in given.tables.iter().enumerate() {
        let row = head + 1 + index as u32;
        sheet.write_string_with_format(row, 0, table.name, &looks.text)?;
        sheet.write_string_with_format(row, 1, a_row_is(table.name), &looks.text)?;
        sheet.write_number_with_format(row, 2, table.rows as f64, &looks.count)?;
        sheet.write_number_with_format(row, 3, table.kept() as f64, &looks.count)?;
        if let Some(which) = &table.kept_only {
            let note = format!("{which}; all are in tables/{}.csv", table.name);
            sheet.write_string_with_format(row, 4, &note, &looks.text)?;
        }
    }
    for (column, width) in [24.0, 58.0, 12.0, 22.0, 48.0].into_iter().enumerate() {
        sheet.set_column_width(column as u16, width)?;
    }
    page(sheet, "contents", given, 4)
}

/// A column as it is written, row after row.
struct Written<'a> {
    values: &'a Values,
    look: &'a Format,
    widest: usize,
}

fn sheet(sheet: &mut Worksheet, table: &Table, given: &Given, looks: &Looks) -> Result<(), XlsxError> {
    sheet.set_name(table.name)?;
    let rows = table.kept();
    let mut columns: Vec<Written> = Vec::new();
    for (index, column) in table.columns.iter().enumerate() {
        sheet.write_string_with_format(0, index as u16, column.name, &looks.head)?;
        let (look, widest) = match &column.values {
            Values::Texts(_) => (&looks.text, 0),
            Values::Days(_) => (&looks.day, 10),
            Values::Numbers(_) => (looks.number(column.name), 0),
            Values::Counts(_) => (&looks.count, 0),
        };
        columns.push(Written {
            values: &column.values,
            look,
            widest: widest.max(column.name.len().div_ceil(2)).max(7),
        });
    }
    for row in 0..rows {
        for (index, column) in columns.iter_mut().enumerate() {
            cell(sheet, row, index as u16, column)?;
        }
    }
    for (index, column) in columns.iter().enumerate() {
        sheet.set_column_width(index as u16, (column.widest.min(60) + 2) as f64)?;
    }
    let columns = table.columns.len() as u16;
    sheet.set_row_height(0, 30)?;
    let last = columns.saturating_sub(1);
    sheet.autofilter(0, 0, rows as u32, last)?;
    // The head stays, and so do the columns that say whose row it is.
    let whose = table.columns.iter().take(3).take_while(|c| ["site", "at", "scope", "id", "part"].contains(&c.name));
    let whose = whose.count() as u16;
    sheet.set_freeze_panes(1, whose)?;
    if whose > 0 {
        sheet.set_repeat_columns(0, whose - 1)?;
    }
    page(sheet, table.name, given, table.columns.len())
}

/// Writes a cell, unless its value is not known, and sees to the column's width.
fn cell(sheet: &mut Worksheet, row: usize, at: u16, column: &mut Written) -> Result<(), XlsxError> {
    let below_head = row as u32 + 1;
    match column.values {
        Values::Texts(texts) => {
            if let Some(Some(text)) = texts.get(row) {
                column.widest = column.widest.max(text.chars().count());
                sheet.write_string_with_format(below_head, at, cut(text), column.look)?;
            }
        }
        Values::Days(days) => {
            if let Some(Some(value)) = days.get(row) {
                sheet.write_datetime_with_format(below_head, at, day(*value)?, column.look)?;
            }
        }
        Values::Numbers(numbers) => {
            if let Some(Some(value)) = numbers.get(row) {
                // Its digits before the point, the point and three behind it, perhaps a sign.
                let digits = value.abs().max(1.0).log10() as usize + 1;
                column.widest = column.widest.max(digits + 4 + usize::from(*value < 0.0));
                sheet.write_number_with_format(below_head, at, *value, column.look)?;
            }
        }
        Values::Counts(counts) => {
            if let Some(Some(value)) = counts.get(row) {
                sheet.write_number_with_format(below_head, at, *value as f64, column.look)?;
            }
        }
    }
    Ok(())
}

/// A text as a cell can hold it.
fn cut(text: &str) -> Cow<'_, str> {
    if text.len() <= LONGEST_TEXT {
        return Cow::Borrowed(text);
    }
    let mut units = 0;
    let short: String = text
        .chars()
        .take_while(|c| {
            units += c.len_utf16();
            units < LONGEST_TEXT
        })
        .collect();
    Cow::Owned(format!("{short}…"))
}

/// How a sheet is printed.
fn page(sheet: &mut Worksheet, name: &str, given: &Given, columns: usize) -> Result<(), XlsxError> {
    let paper = match given.fleet.settings.paper {
        Paper::A4 => 9,
        Paper::UsLetter => 1,
    };
    // An ampersand begins an instruction in a header; two are one.
    let plain = |text: &str| text.chars().take(80).collect::<String>().replace('&', "&&");
    let fleet = plain(&given.fleet.settings.fleet.0);
    sheet
        .set_paper_size(paper)
        .set_landscape()
        .set_print_fit_to_pages(if columns > ONE_PAGE_COLUMNS { 2 } else { 1 }, 0)
        .set_header(format!("&L{fleet}&C{}&R{}", plain(name), plain(given.month)))
        .set_footer("&RPage &P of &N");
    sheet.set_repeat_rows(0, 0)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_and_money_are_told_by_the_names_of_columns() {
        for (column, share, money) in [
            ("life_used_low", true, false),
            ("metered_fraction", true, false),
            ("best_age_saving", true, false),
            ("energy_cost", false, true),
            ("cost", false, true),
            ("hours", false, false),
            ("turnover_min", false, false),
        ] {
            assert_eq!(matches!(kind(column), Kind::Share), share, "{column}");
            assert_eq!(matches!(kind(column), Kind::Money), money, "{column}");
        }
    }

    #[test]
    fn a_text_longer_than_a_cell_is_cut() {
        let long = "𝄞".repeat(20_000);
        assert!(cut(&long).encode_utf16().count() <= LONGEST_TEXT);
        assert_eq!(cut("short"), "short");
    }
}
