//! Appending an entry to the log of a site's file as text, so that comments, order and layout stay as
//! the user made them.
//!
//! The file knows where a log ends and how a value is written so that YAML reads it back the same; it
//! does not know what the fields mean, and whoever appends reads the new text again before it counts.

use std::fmt::Write;

use crate::records::yaml::{self, Brackets};

/// A value of an entry as it is to be written.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// Free text, which must never be taken for a number or a word of YAML.
    Text(String),
    /// A number, a quantity, a date, a word: what the format takes as it is typed.
    Plain(String),
    /// A list of names.
    List(Vec<String>),
    /// A mapping, in order.
    Mapping(Vec<(String, Value)>),
    /// A list with one mapping.
    Single(Vec<(String, Value)>),
}

impl Value {
    /// In flow style, on one line.
    fn flow(&self) -> String {
        match self {
            Self::Text(text) => scalar(text, true),
            Self::Plain(text) => scalar(text, false),
            Self::List(names) => {
                format!("[{}]", names.iter().map(|name| scalar(name, false)).collect::<Vec<_>>().join(", "))
            }
            Self::Mapping(fields) => mapping(fields),
            Self::Single(fields) => format!("[{}]", mapping(fields)),
        }
    }
}

fn mapping(fields: &[(String, Value)]) -> String {
    let fields: Vec<String> =
        fields.iter().map(|(key, value)| format!("{}: {}", scalar(key, true), value.flow())).collect();
    format!("{{{}}}", fields.join(", "))
}

/// Words some readers of YAML take for something other than text.
const WORDS: [&str; 10] = ["true", "false", "null", "yes", "no", "on", "off", "y", "n", "nan"];

/// A scalar that reads back the same: plain where that is safe, else in double quotes.
pub fn scalar(text: &str, is_text: bool) -> String {
    let plain_inside = |c: char| c.is_ascii_alphanumeric() || matches!(c, ' ' | '_' | '/' | '.' | '-' | '+' | ':');
    let safe = text.chars().all(plain_inside)
        && !text.contains(": ")
        && !text.ends_with([':', ' '])
        && if is_text {
            text.starts_with(|c: char| c.is_ascii_alphabetic()) && !WORDS.contains(&text.to_ascii_lowercase().as_str())
        } else {
            text.starts_with(|c: char| c.is_ascii_alphanumeric())
                || (text.starts_with(['-', '.']) && text[1..].starts_with(|c: char| c.is_ascii_digit()))
        };
    if safe {
        return text.to_owned();
    }
    let mut quoted = String::with_capacity(text.len() + 2);
    quoted.push('"');
    for c in text.chars() {
        match c {
            '"' => quoted.push_str("\\\""),
            '\\' => quoted.push_str("\\\\"),
            '\n' => quoted.push_str("\\n"),
            '\t' => quoted.push_str("\\t"),
            // Line and paragraph separators and the byte order mark would not survive as they are.
            c if c.is_control() || matches!(c, '\u{2028}' | '\u{2029}' | '\u{feff}') => {
                let _ = write!(quoted, "\\u{:04X}", u32::from(c));
            }
            c => quoted.push(c),
        }
    }
    quoted.push('"');
    quoted
}

/// A new visit as it is to be written.
#[derive(Debug, Clone, Default)]
pub struct NewVisit {
    /// The fields before `at`, in order.
    pub before: Vec<(String, Value)>,
    /// What was read and done at each address inside the site, in order.
    pub at: Vec<(String, Vec<(String, Value)>)>,
    /// The fields after `at`, in order.
    pub after: Vec<(String, Value)>,
}

impl NewVisit {
    /// All its fields in order, for a log in brackets.
    fn fields(&self) -> Vec<(String, Value)> {
        let at = self.at.iter().map(|(at, entry)| (at.clone(), Value::Mapping(entry.clone()))).collect();
        let at = ("at".to_owned(), Value::Mapping(at));
        self.before.iter().cloned().chain([at]).chain(self.after.iter().cloned()).collect()
    }
}

/// The text of a site's file with one more visit at the end of its log.
pub fn append(text: &str, visit: &NewVisit) -> String {
    match yaml::brackets_of(text, "log") {
        // A log that is still empty need not stay in brackets.
        Some(place) if place.last.is_none() && text.lines().any(|line| line.starts_with("log: []")) => {
            append_in_lines(text, visit)
        }
        Some(place) => append_in_brackets(text, visit, &place),
        None => append_in_lines(text, visit),
    }
}

/// Into a log, or a whole file, that is written in brackets.
fn append_in_brackets(text: &str, visit: &NewVisit, place: &Brackets) -> String {
    let entry = Value::Mapping(visit.fields()).flow();
    let new = if place.holds_list { entry } else { format!("log: [{entry}]") };
    let ending = if text.contains("\r\n") { "\r\n" } else { "\n" };
    let begin = |byte: usize| text[..byte].rfind('\n').map_or(0, |newline| newline + 1);
    let new = match &place.last {
        None => new,
        Some(last) => {
            let before = &text[begin(last.start)..last.start];
            // One entry a line stays one entry a line.
            if before.trim().is_empty() { format!(",{ending}{before}{new}") } else { format!(", {new}") }
        }
    };
    format!("{}{new}{}", &text[..place.end], &text[place.end..])
}

fn append_in_lines(text: &str, visit: &NewVisit) -> String {
    let ending = if text.contains("\r\n") { "\r\n" } else { "\n" };
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    let key_of =
        |line: &str| line.trim_start_matches('\u{feff}').strip_prefix("log").map(|rest| rest.trim_start().to_owned());
    let log = lines.iter().position(|line| key_of(line).is_some_and(|rest| rest.starts_with(':')));
    let Some(log) = log else {
        while lines.last().is_some_and(|line| line.trim().is_empty()) {
            lines.pop();
        }
        lines.push("log:".to_owned());
        lines.extend(written(visit, 2, 2));
        return joined(&lines, ending);
    };
    let rest = key_of(&lines[log]).unwrap_or_default();
    let value = rest[1..].trim();
    let value =
        if value.starts_with('#') { "" } else { value.split_once(" #").map_or(value, |(value, _)| value.trim()) };
    match value {
        "" => {}
        "[]" | "~" | "null" => {
            let comment = rest.find(" #").map_or("", |at| &rest[at..]);
            lines[log] = format!("log:{comment}");
        }
        // Whatever else stands there: whoever appends sees that no entry was added.
        _ => {}
    }
    let is_item = |line: &str| line.trim() == "-" || line.trim_start().starts_with("- ");
    let belongs = |line: &str| line.is_empty() || line.starts_with([' ', '\t']) || is_item(line);
    let mut last = log;
    // A comment in the first column that more of the log follows is inside it, else it is about what comes next.
    for (index, line) in lines.iter().enumerate().skip(log + 1) {
        if line.starts_with('#') {
            continue;
        }
        if !belongs(line) {
            break;
        }
        if !line.trim().is_empty() {
            last = index;
        }
    }
    let first_item = (log + 1..=last).find(|index| is_item(&lines[*index]));
    let column = |line: &str| line.len() - line.trim_start().len();
    let (dash, step) = first_item.map_or((2, 2), |index| {
        let line = &lines[index];
        let dash = column(line);
        let inside = &line[dash + 1..];
        let gap = column(inside);
        (dash, if inside.trim().is_empty() { 2 } else { gap + 1 })
    });
    let items: Vec<usize> =
        (log + 1..=last).filter(|index| is_item(&lines[*index]) && column(&lines[*index]) == dash).collect();
    let apart = items.len() > 1 && items.last().is_some_and(|item| lines[item - 1].trim().is_empty());
    let mut new = written(visit, dash, step);
    if apart {
        new.insert(0, String::new());
    }
    lines.splice(last + 1..last + 1, new);
    joined(&lines, ending)
}

fn joined(lines: &[String], ending: &str) -> String {
    let mut text = lines.join(ending);
    text.push_str(ending);
    text
}

/// A visit as lines: the dash in column `dash`, the fields `step` further in.
fn written(visit: &NewVisit, dash: usize, step: usize) -> Vec<String> {
    let indent = " ".repeat(dash + step);
    let field = |(key, value): &(String, Value)| format!("{indent}{}: {}", scalar(key, true), value.flow());
    let mut lines: Vec<String> = visit.before.iter().map(field).collect();
    lines.push(format!("{indent}at:"));
    lines.extend(visit.at.iter().map(|(at, entry)| format!("{indent}  {at}: {}", mapping(entry))));
    lines.extend(visit.after.iter().map(field));
    if let Some(first) = lines.first_mut() {
        *first = format!("{}-{}{}", " ".repeat(dash), " ".repeat(step - 1), first.trim_start());
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    fn visit() -> NewVisit {
        NewVisit {
            before: vec![("date".to_owned(), Value::Plain("2026-11-02".to_owned()))],
            at: vec![("terrace/filtration".to_owned(), vec![("hours".to_owned(), Value::Plain("25310".to_owned()))])],
            after: vec![("note".to_owned(), Value::Text("off: yes # no".to_owned()))],
        }
    }

    const NEW: &str =
        "- date: 2026-11-02\n    at:\n      terrace/filtration: {hours: 25310}\n    note: \"off: yes # no\"\n";

    #[test]
    fn an_entry_goes_to_the_end_of_the_log_and_the_rest_stays() {
        let text = "format: 1\nlog:\n  - date: 2026-10-01 # seen\n    at: {a: {}}\n    # end of October\n\n# about the spas\nspas: {}\n";
        let new = append(text, &visit());
        assert_eq!(
            new,
            format!(
                "format: 1\nlog:\n  - date: 2026-10-01 # seen\n    at: {{a: {{}}}}\n    # end of October\n  {NEW}\n# about the spas\nspas: {{}}\n"
            )
        );
    }

    #[test]
    fn a_file_without_a_log_or_with_an_empty_one_gets_one() {
        assert_eq!(append("format: 1", &visit()), format!("format: 1\nlog:\n  {NEW}"));
        assert_eq!(append("log: [] # none\nformat: 1\n", &visit()), format!("log: # none\n  {NEW}format: 1\n"));
    }

    #[test]
    fn a_log_in_brackets_gets_its_entry_inside_them() {
        const IN_BRACKETS: &str =
            "{date: 2026-11-02, at: {terrace/filtration: {hours: 25310}}, note: \"off: yes # no\"}";
        for (before, after) in [
            ("format: 1\nlog: [{date: 2026-01-01}", "] # kept\nspas: {}\n"),
            ("format: 1\nlog:\n  [{date: 2026-01-01}", ", ]\n"),
            ("{format: 1, log: [{date: 2026-01-01, at: {}}", "], spas: {}}\n"),
            ("log: [{note: \"a ] b\"}", " # ] not here\n  ]\n"),
        ] {
            assert_eq!(append(&format!("{before}{after}"), &visit()), format!("{before}, {IN_BRACKETS}{after}"));
        }
        let lines = "log: [\r\n    {date: 2026-01-01}, # first\r\n    {date: 2026-01-02}\r\n  ]\r\n";
        let new = lines.replace("-02}", &format!("-02}},\r\n    {IN_BRACKETS}"));
        assert_eq!(append(lines, &visit()), new);
        assert_eq!(append("{format: 1, log: []}", &visit()), format!("{{format: 1, log: [{IN_BRACKETS}]}}"));
        assert_eq!(append("{format: 1}", &visit()), format!("{{format: 1, log: [{IN_BRACKETS}]}}"));
    }

    #[test]
    fn the_files_own_indentation_and_line_ends_are_kept() {
        let text = "log:\r\n-   date: 2026-10-01\r\n    at: {a: {}}\r\n\r\n-   date: 2026-10-02\r\n    at: {a: {}}\r\n";
        let new = append(text, &visit());
        assert!(new.starts_with(text));
        assert_eq!(
            &new[text.len()..],
            "\r\n-   date: 2026-11-02\r\n    at:\r\n      terrace/filtration: {hours: 25310}\r\n    note: \"off: yes # no\"\r\n"
        );
    }

    #[test]
    fn every_text_reads_back_the_same() {
        for text in [
            "",
            "plain words",
            "yes",
            "NO",
            "12",
            "007",
            "1e3",
            "-",
            "- a",
            "a: b",
            "a #b",
            "#b",
            "a, b",
            "[a]",
            "{a}",
            "\"",
            "\\",
            "'",
            "&a",
            "*a",
            "!a",
            "%a",
            "@a",
            "`a`",
            "|",
            ">",
            "a\nb",
            "tab\there",
            "\u{7}",
            "é ☃",
            "\u{2028}",
            "~",
            "null",
            "trailing ",
            " leading",
            "a:",
            "=",
            "<<",
            "0x10",
            ".inf",
            ".nan",
            "2026-01-01",
        ] {
            for value in
                [Value::Text(text.to_owned()), Value::Single(vec![("k".to_owned(), Value::Text(text.to_owned()))])]
            {
                let written = value.flow();
                let read: serde_yaml::Value = serde_yaml::from_str(&format!("a: {written}")).unwrap();
                let read = if written.starts_with('[') { &read["a"][0]["k"] } else { &read["a"] };
                assert_eq!(read.as_str(), Some(text), "{written}");
            }
        }
    }
}
