//! Reading a YAML file into a record type: the only file that names a YAML crate.
//!
//! A good file goes straight through serde, fast and without places. A file with any problem is read
//! once more into a tree that knows lines and columns; each problem is told with its place, what it
//! concerns is taken out of the tree, and reading goes on, so that all problems of a file are told at
//! once and an error costs as little as it can. The file knows nothing of what the records mean.

mod from_tree;
mod tree;

use std::cell::RefCell;

use serde::de::DeserializeOwned;

use self::from_tree::{At, Context, missing};
use self::tree::{Mark, build, find_foreign, is_gone, remove, spot};
use crate::diagnostic::{Rule, Spot};

pub use self::tree::{Brackets, Tree, brackets_of};

/// The deepest nesting a record may have; format 1 needs nine levels.
const DEEPEST: usize = 40;
/// The most brackets that may be open at once anywhere in a text, quoted or not. Scanners take a time that grows with
/// the square of the depth, so the look at it comes before them.
const MOST_OPEN: usize = 1000;
/// The most problems told of one file.
const MOST_PROBLEMS: usize = 100;
/// The most bytes read while the problems of one file are looked for.
const MOST_BYTES_READ: usize = 64 << 20;

/// One step of a path inside a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Step {
    /// A key of a mapping.
    Key(String),
    /// A place in a list, from 0.
    Item(usize),
}

/// Something wrong in a file.
#[derive(Debug, Clone)]
pub struct Problem {
    /// The rule it breaks.
    pub rule: Rule,
    /// The path to it.
    pub path: Vec<Step>,
    /// How many steps of the path lead to what was left out for it; 0 is the whole file.
    pub left_out: usize,
    /// Where it stands.
    pub spot: Spot,
    /// What is wrong.
    pub message: String,
    /// What would be right.
    pub hint: Option<String>,
    /// A second place that matters, and what stands there.
    pub second: Option<Box<(Spot, &'static str)>>,
}

/// A file as far as it could be understood.
#[derive(Debug)]
pub struct Reading<T> {
    /// What was read, less what the problems cost; `None` if nothing was.
    pub value: Option<T>,
    /// Everything that is wrong, in the order of the file.
    pub problems: Vec<Problem>,
}

/// Reads a file's text. `cost` says of the path of a problem how many of its steps lead to what is
/// left out for it.
pub fn read<T: DeserializeOwned>(text: &str, cost: impl Fn(&[Step]) -> usize) -> Reading<T> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let deep = may_be_deep(text);
    if deep && let Some(line) = line_too_deep(text) {
        return Reading { value: None, problems: vec![too_deep(Mark { line, column: 1, length: 1 })] };
    }
    if !deep && !may_hold_references(text) && !has_odd_breaks(text) {
        let mut all_known = true;
        let fast = serde_ignored::deserialize(serde_yaml::Deserializer::from_str(text), |path| {
            all_known &= matches!(&path, serde_ignored::Path::Map { key, .. } if passes_unread(key));
        });
        if let (Ok(value), true) = (fast, all_known) {
            return Reading { value: Some(value), problems: Vec::new() };
        }
    }
    read_with_places(text, cost)
}

/// Keys that any mapping may hold and nothing reads.
fn passes_unread(key: &str) -> bool {
    key == "note" || key.starts_with("x-")
}

/// Whether the text may hold an anchor, an alias or a tag: a cheap look that may be wrong only in
/// the direction of a slower reading.
fn may_hold_references(text: &str) -> bool {
    // Few texts have one of these at all, which is found without a look at each byte on its own.
    let begins = |byte: u8| matches!(byte, b'&' | b'*' | b'!' | b'%');
    if !text.as_bytes().chunks(512).any(|chunk| chunk.iter().fold(false, |found, byte| found | begins(*byte))) {
        return false;
    }
    let mut previous = b'\n';
    text.bytes().any(|byte| {
        let starts = matches!(previous, b' ' | b'\n' | b'\t' | b'[' | b'{' | b',' | b'-' | b':' | b'\r');
        previous = byte;
        starts && begins(byte)
    })
}

/// Whether the text holds what ends a line in YAML 1.1 and does not in YAML 1.2: the fast reader knows the older one.
fn has_odd_breaks(text: &str) -> bool {
    !text.is_ascii() && text.contains(['\u{85}', '\u{2028}', '\u{2029}'])
}

/// The line on which more brackets are open than any record could need. Such a text [`may_be_deep`].
fn line_too_deep(text: &str) -> Option<usize> {
    let (mut open, mut line) = (0_usize, 1);
    for byte in text.bytes() {
        match byte {
            b'[' | b'{' => open += 1,
            b']' | b'}' => open = open.saturating_sub(1),
            b'\n' => line += 1,
            _ => {}
        }
        if open > MOST_OPEN {
            return Some(line);
        }
    }
    None
}

fn too_deep(mark: Mark) -> Problem {
    Problem {
        rule: Rule::NotYaml,
        path: Vec::new(),
        left_out: 0,
        spot: spot(mark),
        message: format!("this is nested deeper than {DEEPEST} levels"),
        hint: Some("no record needs more than ten".to_owned()),
        second: None,
    }
}

/// Whether the text may be nested deeper than a record can be: as cheap, and wrong only in the same
/// direction. The fast reader takes time with the square of the depth.
fn may_be_deep(text: &str) -> bool {
    let (mut brackets, mut dashes, mut previous) = (0usize, 0usize, 0u8);
    text.bytes().any(|byte| {
        match byte {
            b'[' | b'{' => brackets += 1,
            b']' | b'}' => brackets = brackets.saturating_sub(1),
            _ => {}
        }
        // `- - - …` and `? ? ? …` open a level each on one line.
        match byte {
            b' ' | b'\t' => {}
            b'-' | b'?' if matches!(previous, b' ' | b'\t' | b'\n' | 0) => dashes += 1,
            _ => dashes = 0,
        }
        previous = byte;
        brackets > DEEPEST || dashes > DEEPEST
    })
}

/// Reads a path's text again: `log[3].at.terrace/main.flow`.
pub fn parse_path(text: &str) -> Vec<Step> {
    let mut steps = Vec::new();
    for piece in text.split('.') {
        let mut rest = piece;
        if let Some(open) = piece.find('[') {
            steps.push(Step::Key(piece[..open].to_owned()));
            rest = &piece[open..];
            while let Some(inner) = rest.strip_prefix('[') {
                let Some(close) = inner.find(']') else { break };
                if let Ok(item) = inner[..close].parse() {
                    steps.push(Step::Item(item));
                }
                rest = &inner[close + 1..];
            }
        } else {
            steps.push(Step::Key(rest.to_owned()));
        }
    }
    steps
}

fn read_with_places<T: DeserializeOwned>(text: &str, cost: impl Fn(&[Step]) -> usize) -> Reading<T> {
    let mut root = match build(text) {
        Ok(root) => root,
        Err(problem) => return Reading { value: None, problems: vec![problem] },
    };
    // Each round reads the whole file again: a huge file gets fewer of them.
    let rounds = (MOST_BYTES_READ / text.len().max(1)).clamp(5, MOST_PROBLEMS);
    let mut round = 0;
    let mut problems = Vec::new();
    find_foreign(&mut root, &mut Vec::new(), &mut problems);
    for problem in &mut problems {
        problem.left_out = cost(&problem.path);
    }
    let paths: Vec<Vec<Step>> = problems.iter().map(|p| p.path[..p.left_out].to_vec()).collect();
    for path in paths.iter().filter(|p| !p.is_empty()) {
        remove(&mut root, path);
    }
    let mut whole_lost = paths.iter().any(Vec::is_empty);
    let value = loop {
        if problems.len() >= MOST_PROBLEMS || round >= rounds {
            let message = format!("with this one {} things are wrong, and no more were looked for", problems.len());
            let spot = problems.last().map_or(spot(root.mark), |last| last.spot);
            problems.push(Problem {
                rule: Rule::WrongValue,
                path: Vec::new(),
                left_out: 0,
                spot,
                message,
                hint: Some("mend these first; what stands behind them may be wrong too".to_owned()),
                second: None,
            });
            break None;
        }
        round += 1;
        let context = Context { path: RefCell::new(Vec::new()), unknown: RefCell::new(Vec::new()) };
        let result = T::deserialize(At { node: &root, context: &context });
        let unknown = context.unknown.into_inner();
        let any_unknown = !unknown.is_empty();
        for mut problem in unknown {
            problem.left_out = cost(&problem.path);
            let path = problem.path[..problem.left_out].to_vec();
            let itself = problem.path.clone();
            problems.push(problem);
            remove(&mut root, &itself);
            if path.is_empty() {
                whole_lost = true;
            } else if path != itself {
                remove(&mut root, &path);
            }
        }
        match result {
            Ok(value) if !any_unknown => break Some(value),
            Ok(_) => {}
            Err(fault) => {
                let path = fault.path.unwrap_or_default();
                if is_gone(&root, &path) {
                    // A list that cannot do without what was taken out goes as a whole: nothing new to tell.
                    let parent = &path[..path.len() - 1];
                    if parent.is_empty() || !remove(&mut root, parent) {
                        break None;
                    }
                    continue;
                }
                let left_out = cost(&path);
                let mark = fault.mark.unwrap_or(root.mark);
                // A field that misses because its value was taken out has been told of.
                let told = fault.rule == Rule::MissingField
                    && problems.iter().any(|p| match p.path.split_last() {
                        Some((Step::Key(key), above)) => above == path && fault.message == missing(key),
                        _ => false,
                    });
                if !told {
                    let message = match fault.rule {
                        Rule::WrongValue => naming_field(&path, fault.message),
                        _ => fault.message,
                    };
                    problems.push(Problem {
                        rule: fault.rule,
                        path: path.clone(),
                        left_out,
                        spot: spot(mark),
                        message,
                        hint: fault.hint,
                        second: None,
                    });
                }
                if left_out == 0 {
                    whole_lost = true;
                }
                // What is wrong comes out so that the rest can be looked at; a mapping that misses a
                // field goes as a whole, for nothing would mend it.
                let out = if left_out == 0 { &path[..] } else { &path[..left_out] };
                if out.is_empty() || !remove(&mut root, out) {
                    break None;
                }
            }
        }
    };
    problems.sort_by_key(|p| (p.spot.line, p.spot.column));
    Reading { value: if whole_lost { None } else { value }, problems }
}

/// A message with the field it is about in front, unless it names it anyway.
fn naming_field(path: &[Step], message: String) -> String {
    let mut keys = path.iter().rev().filter_map(|step| if let Step::Key(key) = step { Some(key) } else { None });
    let Some(last) = keys.next() else { return message };
    // A price that holds from a day on: the day alone would not say of what.
    let field = match keys.next() {
        Some(above) if last.starts_with(|c: char| c.is_ascii_digit()) => format!("{above}.{last}"),
        _ => last.clone(),
    };
    name_field(&field, message)
}

/// A message with the field or column it is about in front, unless it names it anyway.
pub(crate) fn name_field(field: &str, message: String) -> String {
    if message.contains(&format!("`{field}`")) || message.contains(&format!("`{field}:")) {
        return message;
    }
    let shown: String = field.chars().take(60).collect();
    format!("`{shown}`: {message}")
}

/// The nearest of the known names, if any is near enough to have been meant.
pub fn nearest<'a>(name: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let short: String = name.chars().take(80).collect();
    known
        .map(|candidate| (strsim::damerau_levenshtein(&short, candidate), candidate))
        .filter(|(distance, candidate)| *distance <= (candidate.chars().count().max(3) / 3).max(1))
        .min()
        .map(|(_, candidate)| candidate)
}

#[cfg(test)]
mod hostile;
