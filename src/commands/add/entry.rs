//! What is typed, as an entry of the log: addresses and `key=value` become fields in the order they are written.

use crate::address::{Address, Id};
use crate::commands::{Failure, failure};
use crate::records::append::{NewVisit, Value};

/// Fields of the visit that stand before `at`, in the order they are written.
const BEFORE: [&str; 5] = ["date", "time", "by", "why", "reported"];
/// Fields of the visit that stand after it.
const AFTER: [&str; 4] = ["labour", "used", "left", "note"];
/// Fields whose value is free text.
const FREE_TEXT: [&str; 4] = ["note", "found", "model", "left"];

/// `site/spa[/equipment]` as the site and the address inside it.
pub(super) fn address(written: &str) -> Result<(Id, Address), Failure> {
    let Some((site, at)) = written.split_once('/') else {
        return Err(failure(format!("`{written}` names no spa; write `site/spa` or `site/spa/equipment`")));
    };
    if at.split('/').count() > 2 {
        let message = "name a part in the key, like `renewed.shaft_seal=failure`";
        return Err(failure(format!("`{written}` has more than three steps; {message}")));
    }
    Ok((Id::parse(site).map_err(failure)?, Address::parse(at).map_err(failure)?))
}

/// What was typed of one visit, as the log has it.
///
/// # Errors
/// Says which of it cannot be meant.
pub(super) fn new_visit(all: &[(Address, &[String])], day: String, day_given: bool) -> Result<NewVisit, String> {
    let mut of_visit: Vec<(String, Value)> = Vec::new();
    let mut entries = Vec::new();
    for (at, values) in all {
        let mut fields: Vec<(String, Value)> = Vec::new();
        for written in *values {
            let (key, value) =
                written.split_once('=').ok_or_else(|| format!("`{written}` is not `key=value`, like `hours=25310`"))?;
            let steps: Vec<&str> = match key.split_once('.') {
                // A part number may hold points itself.
                Some(("used", number)) => vec!["used", number],
                _ => key.split('.').collect(),
            };
            if steps.iter().any(|step| step.trim().is_empty()) {
                return Err(format!("`{written}` has no key; write `key=value`, like `hours=25310`"));
            }
            if value.trim().is_empty() {
                return Err(format!("`{key}` has no value; leave it out if it is not known"));
            }
            if key == "date" && day_given {
                return Err("the day is given twice: with `--date` and as `date=`".to_owned());
            }
            let is_of_visit = BEFORE.contains(&steps[0]) || AFTER.contains(&steps[0]);
            let put_into = if is_of_visit { &mut of_visit } else { &mut fields };
            put(put_into, &steps, value_of(at, &steps, value.trim())).map_err(|what| format!("`{key}` {what}"))?;
        }
        if fields.is_empty() && !of_visit.iter().any(|(key, _)| key == "left" || key == "note") {
            return Err(format!("nothing is said of `{at}`; add what was read or done there, like `hours=25310`"));
        }
        if entries.iter().any(|(known, _)| known == at.as_str()) {
            return Err(format!("`{at}` stands twice in one visit"));
        }
        entries.push((at.as_str().to_owned(), fields));
    }
    if !of_visit.iter().any(|(key, _)| key == "date") {
        of_visit.push(("date".to_owned(), Value::Plain(day)));
    }
    let mut take = |names: &[&str]| -> Vec<(String, Value)> {
        let found = |name: &&str| {
            let index = of_visit.iter().position(|(key, _)| key == name)?;
            Some(of_visit.remove(index))
        };
        names.iter().filter_map(found).collect()
    };
    let (before, after) = (take(&BEFORE), take(&AFTER));
    Ok(NewVisit { before, at: entries, after })
}

/// A value as its field wants it: `done` and `renewed` are lists, `renewed.PART` is a reason.
fn value_of(at: &Address, steps: &[&str], value: &str) -> Value {
    let list = || Value::List(value.split(',').map(|name| name.trim().to_owned()).collect());
    let field = |key: &str, value: Value| Value::Mapping(vec![(key.to_owned(), value)]);
    match steps {
        ["done" | "renewed" | "repaired"] => list(),
        ["renewed", _] | ["exchanged"] => field("because", Value::Plain(value.to_owned())),
        ["repaired", _] => field("found", Value::Text(value.to_owned())),
        ["left"] => Value::Single(vec![
            ("at".to_owned(), Value::Plain(at.as_str().to_owned())),
            ("note".to_owned(), Value::Text(value.to_owned())),
        ]),
        [.., last] if FREE_TEXT.contains(last) => Value::Text(value.to_owned()),
        _ => Value::Plain(value.to_owned()),
    }
}

/// Puts a value where its steps lead, making the mappings on the way.
fn put(fields: &mut Vec<(String, Value)>, steps: &[&str], value: Value) -> Result<(), &'static str> {
    let [first, rest @ ..] = steps else { return Err("has no key") };
    let place = fields.iter_mut().find(|(key, _)| key == first).map(|(_, value)| value);
    match (place, rest) {
        (None, []) => fields.push(((*first).to_owned(), value)),
        (None, rest) => {
            let mut inner = Vec::new();
            put(&mut inner, rest, value)?;
            fields.push(((*first).to_owned(), Value::Mapping(inner)));
        }
        (Some(Value::Mapping(known)), []) => match value {
            // `renewed.shaft_seal=failure` beside `renewed.shaft_seal.found=…`.
            Value::Mapping(new) => {
                for (key, value) in new {
                    put(known, &[key.as_str()], value)?;
                }
            }
            _ => return Err("is written twice"),
        },
        (Some(Value::Mapping(inner)), rest) => put(inner, rest, value)?,
        (Some(_), []) => return Err("is written twice"),
        (Some(_), _) => return Err("is written both whole and in pieces"),
    }
    Ok(())
}
