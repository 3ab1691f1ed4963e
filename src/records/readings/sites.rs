//! `sites.csv`: the first evening, one line a spa. A wrong line costs its site, a wrong header the file.

use super::{Rows, SheetProblem, cell, short};
use crate::address::Id;
use crate::diagnostic::{Rule, Spot};
use crate::records::forms::{Fitted, Key, Name, Text};
use crate::records::site::{SheetLine, Use};
use crate::records::tubs::SpaFile;
use crate::records::yaml;

/// The most lines of `sites.csv` that are read.
const MOST_LINES: usize = 200_000;
/// The most wrong lines of `sites.csv` that are told: what stands below them is not read.
const MOST_WRONG_LINES: usize = 500;

fn fault_at(position: Option<&csv::Position>) -> SheetProblem {
    let line = position.map_or(1, csv::Position::line) as usize;
    let spot = Spot { line, column: 1, length: 1 };
    SheetProblem { rule: Rule::WrongValue, spot, message: String::new(), hint: None, whole_file: false }
}

/// A line of `sites.csv`, or what is wrong with it; the site's id stands with either if it could be read.
pub type SiteLine = (Option<Id>, Result<SheetLine, SheetProblem>);

/// Reads `sites.csv`.
///
/// # Errors
/// What is wrong with the header, which costs the file.
pub fn read_sites(text: &str) -> Result<Vec<SiteLine>, SheetProblem> {
    const COLUMNS: [&str; 8] = ["site", "name", "customer", "use", "area", "spa", "type", "fitted"];
    let mut rows = Rows::new(text);
    let header = rows.header()?;
    let header_problem = |rule, index: usize, name: &str, message: String, hint| SheetProblem {
        rule,
        spot: cell(rows.text, 1, index, name),
        message,
        hint,
        whole_file: true,
    };
    for (index, name) in header.iter().enumerate() {
        if !COLUMNS.contains(&name.as_str()) && name != "note" && !name.starts_with("x-") {
            let hint = yaml::nearest(name, COLUMNS.into_iter())
                .map_or_else(|| format!("known: {}", COLUMNS.join(", ")), |near| format!("did you mean `{near}`?"));
            return Err(header_problem(
                Rule::UnknownColumn,
                index,
                name,
                format!("no column is named `{}`", short(name)),
                Some(hint),
            ));
        }
    }
    for needed in ["site", "spa"] {
        if !header.iter().any(|name| name == needed) {
            return Err(header_problem(Rule::MissingField, 0, "", format!("the column `{needed}` is missing"), None));
        }
    }
    let index_of = |name: &str| header.iter().position(|h| h == name);
    let mut lines: Vec<SiteLine> = Vec::new();
    let mut wrong = 0;
    let mut record = csv::StringRecord::new();
    loop {
        match rows.reader.read_record(&mut record) {
            Ok(true) => record.trim(),
            Ok(false) => break,
            Err(error) => {
                let line = error.position().map_or(1, csv::Position::line) as usize;
                let spot = Spot { line, column: 1, length: 1 };
                let message = format!("the row cannot be read: {error}");
                lines.push((
                    None,
                    Err(SheetProblem { rule: Rule::WrongValue, spot, message, hint: None, whole_file: false }),
                ));
                wrong += 1;
                if wrong > MOST_WRONG_LINES {
                    break;
                }
                continue;
            }
        }
        if record.iter().all(str::is_empty) {
            continue;
        }
        let line = record.position().map_or(0, csv::Position::line) as u32;
        let get = |name: &str| index_of(name).and_then(|i| record.get(i)).filter(|value| !value.is_empty());
        let site = get("site").and_then(|text| Id::parse(text).ok());
        let fault = |name: &str, rule: Rule, message: String| SheetProblem {
            rule,
            spot: cell(rows.text, line, index_of(name).unwrap_or(0), get(name).unwrap_or_default()),
            message: yaml::name_field(name, message),
            hint: None,
            whole_file: false,
        };
        let read = || -> Result<SheetLine, SheetProblem> {
            if record.len() != header.len() {
                let message = format!("the row has {} cells and the header {}", record.len(), header.len());
                return Err(SheetProblem { message, ..fault("site", Rule::WrongValue, String::new()) });
            }
            let needed =
                |name: &str| get(name).ok_or_else(|| fault(name, Rule::MissingField, format!("`{name}` is missing")));
            Id::parse(needed("site")?).map_err(|m| fault("site", Rule::WrongValue, m))?;
            let spa = Id::parse(needed("spa")?).map_err(|m| fault("spa", Rule::WrongValue, m))?;
            let customer =
                get("customer").map(Id::parse).transpose().map_err(|m| fault("customer", Rule::WrongValue, m))?;
            let r#use = match get("use") {
                None => None,
                Some(word) => Some(Use::read(word).ok_or_else(|| {
                    let near = yaml::nearest(word, ["rental", "gym", "hotel", "club", "private"].into_iter());
                    let hint = near.map_or_else(String::new, |n| format!("; did you mean `{n}`?"));
                    fault(
                        "use",
                        Rule::WrongValue,
                        format!("`{}` is none of `rental`, `gym`, `hotel`, `club`, `private`{hint}", short(word)),
                    )
                })?),
            };
            let r#type =
                get("type").map(<Name as Key>::read).transpose().map_err(|m| fault("type", Rule::WrongValue, m))?;
            let fitted: Option<Fitted> = get("fitted")
                .map(|text| {
                    serde::Deserialize::deserialize(serde::de::value::StrDeserializer::<serde::de::value::Error>::new(
                        text,
                    ))
                })
                .transpose()
                .map_err(|error| fault("fitted", Rule::WrongValue, error.to_string()))?;
            Ok(SheetLine {
                line,
                name: get("name").map(|t| Text(t.to_owned())),
                customer,
                r#use,
                area: get("area").map(|t| Text(t.to_owned())),
                spa,
                file: SpaFile { r#type, fitted, ..SpaFile::default() },
            })
        };
        let line = read();
        wrong += usize::from(line.is_err());
        lines.push((site, line));
        if wrong > MOST_WRONG_LINES {
            break;
        }
        if lines.len() > MOST_LINES {
            let message = format!("the sheet has more than {MOST_LINES} lines, more than any fleet needs");
            return Err(SheetProblem { whole_file: true, message, ..fault_at(record.position()) });
        }
    }
    Ok(lines)
}
