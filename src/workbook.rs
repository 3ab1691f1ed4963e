//! `fleet.xlsx`: every table of the month as a sheet of one workbook, for whoever would rather filter than program.
//!
//! It says nothing the CSV files do not say, in the same units and under the same names; it adds what a sheet can:
//! types, frozen heads, filters, and a page set-up. Texts go in as texts and are never formulas or links. The workbook
//! carries the as-of day for its date of creation, so that the same figures give the same bytes.
//!
//! Sheets are written row by row into nameless files of the folder given, as the tables are put together, so that memory
//! stays narrow.

use std::borrow::Cow;
use std::path::Path;

use chrono::{Datelike, NaiveDate};
use rust_xlsxwriter::{
    DocProperties, ExcelDateTime, Format, FormatAlign, FormatBorder, Workbook, Worksheet, XlsxError,
};

use crate::calendar::{self, Month};
use crate::records::Fleet;
use crate::records::fleet::Paper;
use crate::tables::{Table, TypedColumn, Values};

/// Rows a sheet holds at most: what more there is stands in the CSV, and the first sheet says so. A sheet could hold
/// 1,048,576, but a million rows open in no reasonable time.
const MOST_ROWS: usize = 50_000;
/// The sites of a fleet up to which the workbook holds all months; that of a larger one holds the months of a year and the
/// one before, with which a month is compared.
const SITES_WITH_ALL_MONTHS: usize = 100;
/// See above.
const MONTHS_KEPT: i32 = 13;
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
    /// The month.
    pub reported: Month,
    /// How many sites the fleet has.
    pub sites: usize,
    /// A folder that can be written to and is on the disk the workbook goes to.
    pub folder: &'a Path,
}

/// The formats of cells.
#[derive(Debug)]
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

    /// The look of a column's cells.
    fn of(&self, column: &TypedColumn) -> &Format {
        match column.values {
            Values::Texts(_) => &self.text,
            Values::Days(_) => &self.day,
            Values::Numbers(_) => self.number(column.name),
            Values::Counts(_) => &self.count,
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
        "ways_out" => "something that would bring a short spa nearer to its limits, the best first",
        "filters" => "a filter at the as-of day",
        "water_tests" => "a test of the month",
        "parts" => "a wear part in service",
        "part_lives" => "a kind of part over the whole fleet",
        "pump_failures" => "a pump, a model, a site or the whole fleet",
        "failures" => "a failure of a pump",
        "mean_failures" => "the failures a pump of a group has had by so many hours, at each failure",
        "occupied_nights" => "a stretch of nights with guests in the coming 12 months",
        "readings" => "a reading of a pressure, a current or a temperature in the last 12 months",
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

/// A workbook in the making.
pub struct Book<'a> {
    given: &'a Given<'a>,
    looks: Looks,
    workbook: Workbook,
    /// Its sheets, in the order of the tables.
    sheets: Vec<Sheet>,
}

/// A sheet as far as it is written.
#[derive(Debug)]
struct Sheet {
    table: &'static str,
    columns: Vec<&'static str>,
    /// The width each column needs, in characters.
    widths: Vec<usize>,
    /// The rows of its table.
    rows: usize,
    /// Those that were written.
    written: usize,
    /// Whether rows of earlier months were left out.
    months_left_out: bool,
}

impl<'a> Book<'a> {
    /// Begins one.
    ///
    /// # Errors
    /// If the folder cannot be written to.
    pub fn begin(given: &'a Given) -> Result<Self, WorkbookError> {
        let mut workbook = Workbook::new();
        workbook.set_tempdir(given.folder)?;
        let settings = &given.fleet.settings;
        workbook.set_properties(
            &DocProperties::new()
                .set_title(format!("{}: figures for {}", settings.fleet.0, given.month))
                .set_author(given.fleet.prepared_by())
                .set_creation_datetime(&day(given.as_of)?),
        );
        workbook.add_worksheet();
        Ok(Self { given, looks: Looks::new(), workbook, sheets: Vec::new() })
    }

    /// Writes a table, or a piece of one, behind what is there of it. A table's pieces come one after the other.
    ///
    /// # Errors
    /// If a sheet is refused, which the tables' own names and sizes rule out, or there is no room on the disk.
    pub fn put(&mut self, table: &Table) -> Result<(), WorkbookError> {
        if self.sheets.last().is_none_or(|sheet| sheet.table != table.name) {
            self.finish_sheet()?;
            self.begin_sheet(table)?;
        }
        let (place, Some(sheet)) = (self.sheets.len(), self.sheets.last_mut()) else { return Ok(()) };
        let worksheet = self.workbook.worksheet_from_index(place)?;
        let since =
            (self.given.sites > SITES_WITH_ALL_MONTHS).then(|| self.given.reported.plus(1 - MONTHS_KEPT).to_string());
        let months = table.columns.iter().find(|column| column.name == "month").map(|column| &column.values);
        let earlier = |row: usize| match (&since, months) {
            (Some(since), Some(Values::Texts(months))) => months[row].as_ref().is_some_and(|month| month < since),
            _ => false,
        };
        sheet.rows += table.rows;
        for row in 0..table.rows {
            if earlier(row) {
                sheet.months_left_out = true;
                continue;
            }
            if sheet.written == MOST_ROWS {
                break;
            }
            sheet.written += 1;
            for (at, (column, width)) in table.columns.iter().zip(&mut sheet.widths).enumerate() {
                cell(worksheet, (sheet.written as u32, at as u16), &column.values, row, width)?;
            }
        }
        Ok(())
    }

    /// The workbook as bytes.
    ///
    /// # Errors
    /// As [`put`](Self::put).
    pub fn finish(mut self) -> Result<Vec<u8>, WorkbookError> {
        self.finish_sheet()?;
        let first = self.workbook.worksheet_from_index(0)?;
        contents(first, self.given, &self.sheets, &self.looks)?;
        Ok(self.workbook.save_to_buffer()?)
    }

    fn begin_sheet(&mut self, table: &Table) -> Result<(), WorkbookError> {
        let worksheet = self.workbook.add_worksheet_with_low_memory()?;
        worksheet.set_name(table.name)?;
        worksheet.set_row_height(0, 30)?;
        for (at, column) in table.columns.iter().enumerate() {
            // Cells take the look of their column: given one each, every cell looks it up anew, which takes longer than
            // to write it.
            worksheet.set_column_format(at as u16, self.looks.of(column))?;
            worksheet.write_string_with_format(0, at as u16, column.name, &self.looks.head)?;
        }
        let columns: Vec<&'static str> = table.columns.iter().map(|column| column.name).collect();
        let widths = columns.iter().map(|name| name.len().div_ceil(2).max(7)).collect();
        let name = table.name;
        self.sheets.push(Sheet { table: name, columns, widths, rows: 0, written: 0, months_left_out: false });
        Ok(())
    }

    fn finish_sheet(&mut self) -> Result<(), WorkbookError> {
        let Some(sheet) = self.sheets.last() else { return Ok(()) };
        let worksheet = self.workbook.worksheet_from_index(self.sheets.len())?;
        for (at, width) in sheet.widths.iter().enumerate() {
            worksheet.set_column_width(at as u16, ((*width).min(60) + 2) as f64)?;
        }
        let last = (sheet.columns.len() as u16).saturating_sub(1);
        worksheet.autofilter(0, 0, sheet.written as u32, last)?;
        // The head stays, and so do the columns that say whose row it is.
        let whose =
            sheet.columns.iter().take(3).take_while(|name| ["site", "at", "scope", "id", "part"].contains(name));
        let whose = whose.count() as u16;
        worksheet.set_freeze_panes(1, whose)?;
        if whose > 0 {
            worksheet.set_repeat_columns(0, whose - 1)?;
        }
        page(worksheet, sheet.table, self.given, sheet.columns.len())?;
        Ok(())
    }
}

impl Sheet {
    /// Which rows of its table it holds, in words; `None` = all.
    fn holds_only(&self, given: &Given) -> Option<String> {
        let since = self.months_left_out.then(|| format!("from {}", given.reported.plus(1 - MONTHS_KEPT)));
        match (self.written == MOST_ROWS && self.rows > MOST_ROWS, since) {
            (true, Some(since)) => Some(format!("the first {MOST_ROWS} of the rows {since} on")),
            (true, None) => Some(format!("the first {MOST_ROWS} rows")),
            (false, Some(since)) => Some(format!("the rows {since} on")),
            (false, None) => None,
        }
    }
}

fn day(day: NaiveDate) -> Result<ExcelDateTime, XlsxError> {
    // Days before 1900 are in no record; the format has none.
    ExcelDateTime::from_ymd(day.year().clamp(1900, 9999) as u16, day.month() as u8, day.day() as u8)
}

fn contents(sheet: &mut Worksheet, given: &Given, tables: &[Sheet], looks: &Looks) -> Result<(), XlsxError> {
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
    for (index, table) in tables.iter().enumerate() {
        let row = head + 1 + index as u32;
        sheet.write_string_with_format(row, 0, table.table, &looks.text)?;
        sheet.write_string_with_format(row, 1, a_row_is(table.table), &looks.text)?;
        sheet.write_number_with_format(row, 2, table.rows as f64, &looks.count)?;
        sheet.write_number_with_format(row, 3, table.written as f64, &looks.count)?;
        if let Some(which) = table.holds_only(given) {
            let note = format!("{which}; all are in tables/{}.csv", table.table);
            sheet.write_string_with_format(row, 4, &note, &looks.text)?;
        }
    }
    for (column, width) in [24.0, 58.0, 12.0, 22.0, 48.0].into_iter().enumerate() {
        sheet.set_column_width(column as u16, width)?;
    }
    page(sheet, "contents", given, 4)
}

/// Writes the cell of a row of a table, unless its value is not known, and sees to the column's width.
fn cell(
    sheet: &mut Worksheet,
    (below, at): (u32, u16),
    values: &Values,
    row: usize,
    width: &mut usize,
) -> Result<(), XlsxError> {
    match values {
        Values::Texts(texts) => {
            if let Some(Some(text)) = texts.get(row) {
                *width = (*width).max(text.chars().count());
                sheet.write_string(below, at, cut(text))?;
            }
        }
        Values::Days(days) => {
            if let Some(Some(value)) = days.get(row) {
                *width = (*width).max(10);
                sheet.write_datetime(below, at, day(*value)?)?;
            }
        }
        Values::Numbers(numbers) => {
            if let Some(Some(value)) = numbers.get(row) {
                // Its digits before the point, the point and three behind it, perhaps a sign.
                let digits = value.abs().max(1.0).log10() as usize + 1;
                *width = (*width).max(digits + 4 + usize::from(*value < 0.0));
                sheet.write_number(below, at, *value)?;
            }
        }
        Values::Counts(counts) => {
            if let Some(Some(value)) = counts.get(row) {
                sheet.write_number(below, at, *value as f64)?;
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
