//! `readings/<site>.csv` and `sites.csv`: sheets as a spreadsheet exports them.
//!
//! Columns are named as the fields of the records, a reading's column with its unit if wished
//! (`flow [gpm]`). A wrong row costs the row, a wrong header the file.

mod sites;

use std::collections::HashMap;

use chrono::NaiveDate;

use crate::address::Address;
use crate::calendar;
use crate::diagnostic::{Rule, Spot};
use crate::records::log::{Quantity, TimeOfDay, TypedUnits};
use crate::records::yaml;
use crate::units::{Concentration, Current, Duration, Flow, Pressure, Redox, Temperature, Typed, Written};

pub use self::sites::{SiteLine, read_sites};

/// Something wrong in a sheet.
#[derive(Debug, Clone)]
pub struct SheetProblem {
    /// The rule.
    pub rule: Rule,
    /// Where.
    pub spot: Spot,
    /// What is wrong.
    pub message: String,
    /// What would be right.
    pub hint: Option<String>,
    /// Whether the whole file is lost for it.
    pub whole_file: bool,
}

/// The most wrong rows that are told of a sheet; behind them it is not read on.
const MOST_PROBLEMS: usize = 100;

/// A sheet's readings. A fleet has millions, so what rows share is kept once.
#[derive(Debug, Clone, Default)]
pub struct Sheet {
    /// The addresses that rows name, in the order of the first row of each.
    pub addresses: Vec<Address>,
    /// The readings in the order of the rows.
    pub readings: Vec<SheetReading>,
}

/// A reading of a sheet.
#[derive(Debug, Clone, Copy)]
pub struct SheetReading {
    /// The line, from 1.
    pub line: u32,
    /// The day.
    pub day: NaiveDate,
    /// The time, if written.
    pub time: Option<TimeOfDay>,
    /// Which of the sheet's addresses.
    pub at: u32,
    /// What was read, in fixed units.
    pub quantity: Quantity,
    /// The value.
    pub value: f64,
}

struct Rows<'a> {
    reader: csv::Reader<&'a [u8]>,
    text: &'a str,
}

impl<'a> Rows<'a> {
    fn new(text: &'a str) -> Self {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        // The reader's own trimming makes every row anew, twice: blanks around a cell are left to whoever looks at it.
        let reader = csv::ReaderBuilder::new().flexible(true).from_reader(text.as_bytes());
        Self { reader, text }
    }

    fn header(&mut self) -> Result<Vec<String>, SheetProblem> {
        let whole = |message: String, hint: Option<String>| SheetProblem {
            rule: Rule::UnknownColumn,
            spot: Spot { line: 1, column: 1, length: 1 },
            message,
            hint,
            whole_file: true,
        };
        let header =
            self.reader.headers().map_err(|error| whole(format!("the header cannot be read: {error}"), None))?;
        let names: Vec<String> = header.iter().map(|name| name.trim().to_owned()).collect();
        if names.iter().all(String::is_empty) {
            return Err(whole("the sheet is empty".to_owned(), Some("its first line names the columns".to_owned())));
        }
        if names.len() == 1 && (names[0].contains(';') || names[0].contains('\t')) {
            let hint = "export it with commas between the columns".to_owned();
            return Err(whole("the columns are not separated by commas".to_owned(), Some(hint)));
        }
        for (index, name) in names.iter().enumerate() {
            if names[..index].contains(name) {
                let mut problem = whole(format!("the column `{}` stands twice", short(name)), None);
                problem.spot = cell(self.text, 1, index, name);
                return Err(problem);
            }
        }
        Ok(names)
    }
}

fn short(text: &str) -> String {
    text.chars().take(60).collect()
}

/// Where a cell stands in its line, found by its text.
fn cell(text: &str, line: u32, index: usize, value: &str) -> Spot {
    let whole = text.lines().nth(line.saturating_sub(1) as usize).unwrap_or_default();
    let begin = if index == 0 { 0 } else { whole.match_indices(',').nth(index - 1).map_or(0, |(byte, _)| byte + 1) };
    let byte = whole.get(begin..).and_then(|rest| rest.find(value)).map_or(begin, |found| begin + found);
    let column = whole.get(..byte).map_or(1, |before| before.chars().count() + 1);
    Spot { line: line as usize, column, length: value.chars().count().max(1) }
}

/// Reads a sheet of readings.
pub fn read_readings(text: &str, typed: &TypedUnits) -> (Sheet, Vec<SheetProblem>) {
    enum Column {
        Date,
        Time,
        At,
        Reading(Quantity, Option<String>),
        Note,
    }
    let mut rows = Rows::new(text);
    let header = match rows.header() {
        Ok(header) => header,
        Err(problem) => return (Sheet::default(), vec![problem]),
    };
    let mut columns = Vec::new();
    let mut problems = Vec::new();
    for (index, name) in header.iter().enumerate() {
        let (base, unit) = match name.split_once('[') {
            Some((base, rest)) => (base.trim(), rest.strip_suffix(']').map(|u| u.trim().to_owned())),
            None => (name.as_str(), None),
        };
        let column = match base {
            "date" => Some(Column::Date),
            "time" => Some(Column::Time),
            "at" => Some(Column::At),
            "note" => Some(Column::Note),
            other if other.starts_with("x-") => Some(Column::Note),
            other => Quantity::ALL.into_iter().find(|q| q.name() == other).map(|q| Column::Reading(q, unit.clone())),
        };
        let fault = match &column {
            Some(Column::Reading(quantity, Some(unit))) => value_of(*quantity, &format!("1 {unit}"), typed).err(),
            Some(_) => None,
            None => Some(format!("no column is named `{}`", short(name))),
        };
        if let Some(message) = fault {
            let known = Quantity::ALL.iter().map(|q| q.name()).chain(["date", "time", "at"]);
            let hint =
                yaml::nearest(base, known).filter(|near| *near != base).map(|near| format!("did you mean `{near}`?"));
            problems.push(SheetProblem {
                rule: Rule::UnknownColumn,
                spot: cell(rows.text, 1, index, name),
                message,
                hint,
                whole_file: true,
            });
        }
        columns.push(column.unwrap_or(Column::Note));
    }
    for needed in ["date", "at"] {
        if !header.iter().any(|name| name == needed) {
            problems.push(SheetProblem {
                rule: Rule::MissingField,
                spot: Spot { line: 1, column: 1, length: 1 },
                message: format!("the column `{needed}` is missing"),
                hint: None,
                whole_file: true,
            });
        }
    }
    if !problems.is_empty() {
        return (Sheet::default(), problems);
    }
    let mut sheet = Sheet::default();
    // Rows of a day and of a counter mostly stand together, and a sheet has few addresses.
    let mut last_date: Option<(String, NaiveDate)> = None;
    let mut by_address: HashMap<String, u32> = HashMap::new();
    let mut values: Vec<(Quantity, f64)> = Vec::new();
    let mut record = csv::StringRecord::new();
    loop {
        let more = rows.reader.read_record(&mut record);
        let line = record.position().map_or(0, csv::Position::line) as u32;
        match more {
            Ok(true) => {}
            Ok(false) => break,
            Err(error) => {
                let line = error.position().map_or(1, csv::Position::line) as usize;
                problems.push(SheetProblem {
                    rule: Rule::WrongValue,
                    spot: Spot { line, column: 1, length: 1 },
                    message: format!("the row cannot be read: {error}"),
                    hint: None,
                    whole_file: false,
                });
                if problems.len() > MOST_PROBLEMS {
                    break;
                }
                continue;
            }
        }
        if record.iter().all(|cell| cell.trim().is_empty()) {
            continue;
        }
        let mut day = None;
        let mut time = None;
        let mut at = None;
        values.clear();
        let mut fault: Option<(usize, String, String)> = None;
        if record.len() != columns.len() {
            let message = format!("the row has {} cells and the header {}", record.len(), columns.len());
            problems.push(SheetProblem {
                rule: Rule::WrongValue,
                spot: cell(rows.text, line, 0, record.get(0).unwrap_or_default().trim()),
                message,
                hint: None,
                whole_file: false,
            });
            if problems.len() > MOST_PROBLEMS {
                break;
            }
            continue;
        }
        for (index, (value, column)) in record.iter().map(str::trim).zip(&columns).enumerate() {
            let wrong = match column {
                Column::Date => match &last_date {
                    Some((written, known)) if written == value => {
                        day = Some(*known);
                        Ok(())
                    }
                    _ => calendar::parse_date(value).map(|read| {
                        day = Some(read);
                        let mut written = last_date.take().map_or_else(String::new, |(written, _)| written);
                        written.clear();
                        written.push_str(value);
                        last_date = Some((written, read));
                    }),
                },
                Column::Time if value.is_empty() => Ok(()),
                Column::Time => TimeOfDay::read(value).map(|t| time = Some(t)),
                Column::At => match by_address.get(value) {
                    Some(known) => {
                        at = Some(*known);
                        Ok(())
                    }
                    None => Address::parse(value).map(|address| {
                        let index = sheet.addresses.len() as u32;
                        at = Some(index);
                        by_address.insert(value.to_owned(), index);
                        sheet.addresses.push(address);
                    }),
                },
                Column::Note => Ok(()),
                Column::Reading(..) if value.is_empty() => Ok(()),
                Column::Reading(quantity, unit) => {
                    if let Some(number) = plain_number(value)
                        && let Some(known) = value_of_number(*quantity, number, unit.as_deref(), typed)
                    {
                        values.push((*quantity, known));
                        continue;
                    }
                    let bare = value.parse::<f64>().is_ok();
                    let written = if let (Some(unit), true) = (unit, bare) {
                        format!("{value} {unit}")
                    } else {
                        value.to_owned()
                    };
                    value_of(*quantity, &written, typed).map(|number| values.push((*quantity, number)))
                }
            };
            if let (Err(message), None) = (wrong, &fault) {
                fault = Some((index, value.to_owned(), message));
            }
        }
        if let Some((index, value, message)) = fault {
            problems.push(SheetProblem {
                rule: Rule::WrongValue,
                spot: cell(rows.text, line, index, &value),
                message: header.get(index).map_or(message.clone(), |name| yaml::name_field(name, message)),
                hint: None,
                whole_file: false,
            });
            if problems.len() > MOST_PROBLEMS {
                break;
            }
            continue;
        }
        if let (Some(day), Some(at)) = (day, at) {
            let of_row = |&(quantity, value)| SheetReading { line, day, time, at, quantity, value };
            sheet.readings.extend(values.iter().map(of_row));
        }
    }
    if problems.len() > MOST_PROBLEMS {
        let last = problems.iter().map(|problem| problem.spot.line).max().unwrap_or(1);
        problems.push(SheetProblem {
            rule: Rule::WrongValue,
            spot: Spot { line: last, column: 1, length: 1 },
            message: format!("over {MOST_PROBLEMS} rows are wrong up to here, and no more of the sheet is read"),
            hint: Some("mend these first: every reading behind this line is missing".to_owned()),
            whole_file: false,
        });
    }
    (sheet, problems)
}

/// A number written with digits and a point only, as nearly all are.
fn plain_number(written: &str) -> Option<f64> {
    let plain = written.starts_with(|c: char| c.is_ascii_digit())
        && written.len() <= 12
        && written.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.');
    if plain { written.parse().ok() } else { None }
}

/// The same as [`value_of`] for a plain number in its column's unit, without writing the two together first. `None`
/// leaves it to [`value_of`], which says what is wrong.
fn value_of_number(quantity: Quantity, number: f64, unit: Option<&str>, typed: &TypedUnits) -> Option<f64> {
    use uom::si::{
        electric_current::ampere, electric_potential::millivolt, pressure::bar,
        thermodynamic_temperature::degree_celsius, time::hour, volume_rate::liter_per_minute,
    };
    // What may be too large is told by the thorough way.
    const USUAL: f64 = 1e9;
    if number > USUAL {
        return None;
    }
    Some(match quantity {
        Quantity::Hours | Quantity::HoursLow | Quantity::HoursHigh => {
            Duration::of(number, unit.unwrap_or(typed.hours))?.0.get::<hour>()
        }
        Quantity::Current | Quantity::CurrentLow => Current::of(number, unit.unwrap_or("A"))?.0.get::<ampere>(),
        Quantity::Pressure => Pressure::of(number, unit.unwrap_or(typed.pressure))?.0.get::<bar>(),
        Quantity::Flow => Flow::of(number, unit.unwrap_or(typed.flow))?.0.get::<liter_per_minute>(),
        Quantity::Temperature => Temperature::of(number, unit.unwrap_or(typed.temperature))?.0.get::<degree_celsius>(),
        Quantity::Ph if unit.is_none() && number <= 14.0 => number,
        Quantity::Ph => return None,
        Quantity::Redox => Redox::of(number, unit.unwrap_or("mV"))?.0.get::<millivolt>(),
        _ => Concentration::of(number, unit.unwrap_or("mg/L"))?.milligrams_per_litre,
    })
}

/// A reading's value in the fixed unit of its quantity.
fn value_of(quantity: Quantity, written: &str, typed: &TypedUnits) -> Result<f64, String> {
    use uom::si::{
        electric_current::ampere, electric_potential::millivolt, pressure::bar,
        thermodynamic_temperature::degree_celsius, time::hour, volume_rate::liter_per_minute,
    };
    fn with<T: Written + Copy>(written: &str, unit: &str) -> Result<T, String> {
        let typed = Typed::<T>::read(written).map_err(|error| error.to_string())?;
        typed.with_default(unit).ok_or_else(|| format!("`{unit}` does not fit"))
    }
    Ok(match quantity {
        Quantity::Hours | Quantity::HoursLow | Quantity::HoursHigh => {
            with::<Duration>(written, typed.hours)?.0.get::<hour>()
        }
        Quantity::Current | Quantity::CurrentLow => with::<Current>(written, "A")?.0.get::<ampere>(),
        Quantity::Pressure => with::<Pressure>(written, typed.pressure)?.0.get::<bar>(),
        Quantity::Flow => with::<Flow>(written, typed.flow)?.0.get::<liter_per_minute>(),
        Quantity::Temperature => with::<Temperature>(written, typed.temperature)?.0.get::<degree_celsius>(),
        Quantity::Ph => match written.parse::<f64>() {
            Ok(ph) if (0.0..=14.0).contains(&ph) => ph,
            _ => return Err(format!("`{}` is not a pH; it is a bare number from 0 to 14", short(written))),
        },
        Quantity::Redox => with::<Redox>(written, "mV")?.0.get::<millivolt>(),
        _ => with::<Concentration>(written, "mg/L")?.milligrams_per_litre,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The short way for plain numbers gives the same bits as the thorough one, so that a reading given in the log
    /// and in a sheet is one reading.
    #[test]
    fn the_short_way_and_the_thorough_one_agree() {
        let typed = TypedUnits { hours: "h", pressure: "psi", flow: "gpm", temperature: "F" };
        for quantity in Quantity::ALL {
            for written in ["0", "7.2", "12.05", "3.3333", "13.9"] {
                let short = value_of_number(quantity, plain_number(written).unwrap(), None, &typed).unwrap();
                assert_eq!(short.to_bits(), value_of(quantity, written, &typed).unwrap().to_bits(), "{written}");
            }
        }
        let minutes = value_of_number(Quantity::Hours, 90.0, Some("min"), &typed);
        assert_eq!(minutes, value_of(Quantity::Hours, "90 min", &typed).ok());
        for odd in ["-1", "1e3", "inf", "1,5", "", "."] {
            assert!(plain_number(odd).is_none(), "{odd}");
        }
        assert_eq!(value_of_number(Quantity::Ph, 15.0, None, &typed), None);
    }

    #[test]
    fn rows_share_their_addresses() {
        let typed = TypedUnits { hours: "h", pressure: "bar", flow: "L/min", temperature: "C" };
        let text = "date,at,hours,current\n2026-01-01,s/p,1,2\n2026-01-01,s/q,3,\n2026-01-02,s/p,4.5,\n";
        let (sheet, problems) = read_readings(text, &typed);
        assert!(problems.is_empty(), "{problems:?}");
        assert_eq!(sheet.addresses.iter().map(Address::as_str).collect::<Vec<_>>(), ["s/p", "s/q"]);
        let rows: Vec<_> = sheet.readings.iter().map(|r| (r.line, r.at, r.value)).collect();
        assert_eq!(rows, [(2, 0, 1.0), (2, 0, 2.0), (3, 1, 3.0), (4, 0, 4.5)]);
    }
}
