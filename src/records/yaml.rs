//! Reading a YAML file into a record type: the only file that names a YAML crate.
//!
//! A good file goes straight through serde, fast and without places. A file with any problem is read
//! once more into a tree that knows lines and columns; each problem is told with its place, what it
//! concerns is taken out of the tree, and reading goes on, so that all problems of a file are told at
//! once and an error costs as little as it can. The file knows nothing of what the records mean.

use std::cell::RefCell;

use saphyr_parser::{Event, Parser, ScalarStyle};
use serde::de::value::StrDeserializer;
use serde::de::{
    self, DeserializeOwned, DeserializeSeed, Deserializer, IntoDeserializer, MapAccess, SeqAccess, Visitor,
};

use crate::diagnostic::{Rule, Spot};

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
    if let Some(line) = line_too_deep(text) {
        return Reading { value: None, problems: vec![too_deep(Mark { line, column: 1, length: 1 })] };
    }
    if !may_hold_references(text) && !may_be_deep(text) {
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
    let mut previous = b'\n';
    text.bytes().any(|byte| {
        let starts = matches!(previous, b' ' | b'\n' | b'\t' | b'[' | b'{' | b',' | b'-' | b':' | b'\r');
        previous = byte;
        starts && matches!(byte, b'&' | b'*' | b'!' | b'%')
    })
}

/// The line on which more brackets are open than any record could need.
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

/// A mark where a node begins and how long it is.
#[derive(Debug, Clone, Copy, Default)]
struct Mark {
    line: usize,
    column: usize,
    length: usize,
}

#[derive(Debug)]
struct Node {
    mark: Mark,
    /// Of the key the node stands under.
    key_mark: Option<Mark>,
    /// A thing no record may hold: an anchor, an alias, a tag.
    foreign: Option<&'static str>,
    kind: Kind,
}

#[derive(Debug)]
enum Kind {
    Scalar { text: String, plain: bool },
    Sequence(Vec<Node>),
    Mapping(Vec<(String, Node)>),
}

/// A file's text as a tree that knows where everything stands.
#[derive(Debug)]
pub struct Tree {
    root: Node,
}

impl Tree {
    /// Reads a text.
    ///
    /// # Errors
    /// The problem, if it is not YAML at all, is nested too deep, or holds more than one document.
    pub fn read(text: &str) -> Result<Self, Problem> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        if let Some(line) = line_too_deep(text) {
            return Err(too_deep(Mark { line, column: 1, length: 1 }));
        }
        build(text).map(|root| Self { root })
    }

    /// Whether a path is written.
    pub fn holds(&self, path: &[Step]) -> bool {
        let mut node = Some(&self.root);
        for step in path {
            node = node.and_then(|node| match (&node.kind, step) {
                (Kind::Mapping(entries), Step::Key(key)) => entries.iter().find(|(k, _)| k == key).map(|(_, n)| n),
                (Kind::Sequence(items), Step::Item(item)) => items.get(*item),
                _ => None,
            });
        }
        node.is_some()
    }

    /// The values that are read, all but those under keys of the writer's own, and where they stand.
    pub fn scalars(&self) -> Vec<(&str, Spot)> {
        fn gather<'a>(node: &'a Node, all: &mut Vec<(&'a str, Spot)>) {
            match &node.kind {
                Kind::Scalar { text, .. } => all.push((text, spot(node.mark))),
                Kind::Sequence(items) => items.iter().for_each(|item| gather(item, all)),
                Kind::Mapping(entries) => {
                    entries.iter().filter(|(key, _)| !key.starts_with("x-")).for_each(|(_, value)| gather(value, all));
                }
            }
        }
        let mut all = Vec::new();
        gather(&self.root, &mut all);
        all
    }

    /// Where a path stands: the deepest of its steps that is there.
    pub fn find(&self, path: &[Step]) -> Spot {
        let mut node = &self.root;
        let mut mark = node.mark;
        for step in path {
            let next = match (&node.kind, step) {
                (Kind::Mapping(entries), Step::Key(key)) => entries.iter().find(|(k, _)| k == key).map(|(_, n)| n),
                (Kind::Sequence(items), Step::Item(item)) => items.get(*item),
                _ => None,
            };
            let Some(next) = next else { break };
            node = next;
            mark = node.key_mark.unwrap_or(node.mark);
        }
        // A plain value is what the reader looks for; of a mapping or list it is the name.
        let mark = if matches!(node.kind, Kind::Scalar { .. }) { node.mark } else { mark };
        spot(mark)
    }
}

fn spot(mark: Mark) -> Spot {
    Spot { line: mark.line.max(1), column: mark.column.max(1), length: mark.length.max(1) }
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

fn build(text: &str) -> Result<Node, Problem> {
    enum Open {
        Sequence(Node),
        Mapping(Node, Option<(String, Mark)>),
    }
    let whole = |message: String, hint: Option<String>, rule: Rule, mark: Mark| Problem {
        rule,
        path: Vec::new(),
        left_out: 0,
        spot: spot(mark),
        message,
        hint,
    };
    let mut open: Vec<Open> = Vec::new();
    let mut root: Option<Node> = None;
    let mut documents = 0;
    for event in Parser::new_from_str(text) {
        let (event, span) = event.map_err(|error| {
            let mark = Mark { line: error.marker().line(), column: error.marker().col() + 1, length: 1 };
            whole(format!("this is not YAML: {}", error.info()), None, Rule::NotYaml, mark)
        })?;
        let (start, end) = (span.start, span.end);
        let length = if start.line() == end.line() { end.col().saturating_sub(start.col()) } else { 1 };
        let mark = Mark { line: start.line(), column: start.col() + 1, length: length.max(1) };
        let foreign_of = |anchor: usize, tag: bool| {
            if anchor != 0 {
                Some("an anchor")
            } else if tag {
                Some("a tag")
            } else {
                None
            }
        };
        let node = match event {
            Event::DocumentStart(_) => {
                documents += 1;
                if documents > 1 {
                    return Err(whole(
                        "a second document begins here".to_owned(),
                        Some("a file holds one document; take the `---` out".to_owned()),
                        Rule::NotYaml,
                        mark,
                    ));
                }
                continue;
            }
            Event::Scalar(value, style, anchor, tag) => Some(Node {
                mark,
                key_mark: None,
                foreign: foreign_of(anchor, tag.is_some()),
                kind: Kind::Scalar { text: value.into_owned(), plain: matches!(style, ScalarStyle::Plain) },
            }),
            Event::Alias(_) => Some(Node {
                mark,
                key_mark: None,
                foreign: Some("an alias"),
                kind: Kind::Scalar { text: String::new(), plain: true },
            }),
            Event::SequenceStart(anchor, tag) => {
                let foreign = foreign_of(anchor, tag.is_some());
                open.push(Open::Sequence(Node { mark, key_mark: None, foreign, kind: Kind::Sequence(Vec::new()) }));
                None
            }
            Event::MappingStart(anchor, tag) => {
                let foreign = foreign_of(anchor, tag.is_some());
                open.push(Open::Mapping(Node { mark, key_mark: None, foreign, kind: Kind::Mapping(Vec::new()) }, None));
                None
            }
            Event::SequenceEnd | Event::MappingEnd => match open.pop() {
                Some(Open::Sequence(node) | Open::Mapping(node, _)) => Some(node),
                None => None,
            },
            _ => continue,
        };
        if open.len() > DEEPEST {
            return Err(too_deep(mark));
        }
        let Some(mut node) = node else { continue };
        match open.last_mut() {
            None => root = Some(node),
            Some(Open::Sequence(parent)) => {
                if let Kind::Sequence(items) = &mut parent.kind {
                    items.push(node);
                }
            }
            Some(Open::Mapping(parent, key)) => match key.take() {
                None => match node.kind {
                    Kind::Scalar { text, .. } => *key = Some((text, node.mark)),
                    _ => {
                        return Err(whole("a key must be plain text".to_owned(), None, Rule::NotYaml, node.mark));
                    }
                },
                Some((name, key_mark)) => {
                    node.key_mark = Some(key_mark);
                    if let Kind::Mapping(entries) = &mut parent.kind {
                        entries.push((name, node));
                    }
                }
            },
        }
    }
    root.ok_or_else(|| {
        whole(
            "the file is empty".to_owned(),
            Some("begin it with `format: 1`".to_owned()),
            Rule::NotYaml,
            Mark::default(),
        )
    })
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
                    problems.push(Problem {
                        rule: fault.rule,
                        path: path.clone(),
                        left_out,
                        spot: spot(mark),
                        message: fault.message,
                        hint: fault.hint,
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

fn find_foreign(node: &mut Node, path: &mut Vec<Step>, problems: &mut Vec<Problem>) {
    fn tell(rule: Rule, message: String, hint: &str, mark: Mark, path: &[Step]) -> Problem {
        Problem { rule, path: path.to_vec(), left_out: 0, spot: spot(mark), message, hint: Some(hint.to_owned()) }
    }
    if problems.len() >= MOST_PROBLEMS {
        return;
    }
    if let Some(what) = node.foreign.take() {
        let hint = "records use no anchors, aliases or tags; write the value out";
        problems.push(tell(Rule::NotYaml, format!("{what} stands here"), hint, node.mark, path));
    }
    match &mut node.kind {
        Kind::Scalar { .. } => {}
        Kind::Sequence(items) => {
            for (index, item) in items.iter_mut().enumerate() {
                path.push(Step::Item(index));
                find_foreign(item, path, problems);
                path.pop();
            }
        }
        Kind::Mapping(entries) => {
            let mut seen = std::collections::BTreeMap::new();
            let mut repeated = Vec::new();
            for (index, (key, value)) in entries.iter_mut().enumerate() {
                path.push(Step::Key(key.clone()));
                let mark = value.key_mark.unwrap_or(value.mark);
                if let Some(first) = seen.insert(key.clone(), mark.line) {
                    if problems.len() < MOST_PROBLEMS {
                        problems.push(tell(
                            Rule::RepeatedKey,
                            format!("`{key}` is written twice"),
                            &format!("it stands on line {first} already; keep one"),
                            mark,
                            path,
                        ));
                    }
                    repeated.push(index);
                } else {
                    find_foreign(value, path, problems);
                }
                path.pop();
            }
            if !repeated.is_empty() {
                let mut repeated = repeated.into_iter().peekable();
                let mut index = 0;
                entries.retain(|_| {
                    let keep = repeated.next_if_eq(&index).is_none();
                    index += 1;
                    keep
                });
            }
        }
    }
}

/// Takes a path out of the tree; `false` if it is not there.
fn remove(node: &mut Node, path: &[Step]) -> bool {
    let [first, rest @ ..] = path else { return false };
    match (&mut node.kind, first) {
        (Kind::Mapping(entries), Step::Key(key)) => {
            let Some(index) = entries.iter().position(|(k, _)| k == key) else { return false };
            if rest.is_empty() {
                entries.remove(index);
                true
            } else {
                remove(&mut entries[index].1, rest)
            }
        }
        (Kind::Sequence(items), Step::Item(item)) => {
            let Some(child) = items.get_mut(*item) else { return false };
            if rest.is_empty() {
                // The places of the others must not move: what was taken out reads as nothing.
                let gone = !matches!(&child.kind, Kind::Scalar { text, plain: true } if text == GONE);
                child.kind = Kind::Scalar { text: GONE.to_owned(), plain: true };
                gone
            } else {
                remove(child, rest)
            }
        }
        _ => false,
    }
}

/// Whether something was taken out at this place of a list.
fn is_gone(root: &Node, path: &[Step]) -> bool {
    let mut node = root;
    for step in path {
        let next = match (&node.kind, step) {
            (Kind::Mapping(entries), Step::Key(key)) => entries.iter().find(|(k, _)| k == key).map(|(_, n)| n),
            (Kind::Sequence(items), Step::Item(item)) => items.get(*item),
            _ => None,
        };
        match next {
            Some(next) => node = next,
            None => return false,
        }
    }
    matches!(&node.kind, Kind::Scalar { text, plain: true } if text == GONE)
}

/// Stands in a list where something was taken out.
const GONE: &str = "\u{0}gone";

struct Context {
    path: RefCell<Vec<Step>>,
    unknown: RefCell<Vec<Problem>>,
}

/// What went wrong while a value was read.
#[derive(Debug)]
struct Fault {
    rule: Rule,
    message: String,
    hint: Option<String>,
    mark: Option<Mark>,
    path: Option<Vec<Step>>,
}

impl std::fmt::Display for Fault {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for Fault {}

impl Fault {
    fn new(rule: Rule, message: String, hint: Option<String>) -> Self {
        Self { rule, message, hint, mark: None, path: None }
    }
}

impl de::Error for Fault {
    fn custom<T: std::fmt::Display>(message: T) -> Self {
        Self::new(Rule::WrongValue, message.to_string(), None)
    }
    fn invalid_type(found: de::Unexpected, expected: &dyn de::Expected) -> Self {
        let found = match found {
            de::Unexpected::Unit => "nothing".to_owned(),
            de::Unexpected::Map => "a mapping".to_owned(),
            de::Unexpected::Seq => "a list".to_owned(),
            de::Unexpected::Str(text) => format!("the text `{}`", text.chars().take(60).collect::<String>()),
            de::Unexpected::Signed(n) => format!("the number `{n}`"),
            de::Unexpected::Unsigned(n) => format!("the number `{n}`"),
            de::Unexpected::Float(n) => format!("the number `{n}`"),
            de::Unexpected::Bool(b) => format!("`{b}`"),
            other => other.to_string(),
        };
        Self::new(
            Rule::WrongValue,
            format!("{found} stands where {} is due", with_article(&expected.to_string())),
            None,
        )
    }
    fn invalid_value(found: de::Unexpected, expected: &dyn de::Expected) -> Self {
        Self::invalid_type(found, expected)
    }
    fn missing_field(field: &'static str) -> Self {
        Self::new(Rule::MissingField, missing(field), Some(format!("add `{field}:` here")))
    }
    fn unknown_variant(variant: &str, expected: &'static [&'static str]) -> Self {
        let words: Vec<String> = expected.iter().map(|w| format!("`{w}`")).collect();
        let hint = nearest(variant, expected.iter().copied()).map(|near| format!("did you mean `{near}`?"));
        let shown: String = variant.chars().take(60).collect();
        Self::new(Rule::WrongValue, format!("`{shown}` is none of {}", words.join(", ")), hint)
    }
}

fn missing(field: &str) -> String {
    format!("`{field}` is missing")
}

/// serde's names for plain types, in words.
fn with_article(expected: &str) -> String {
    match expected {
        "a string" | "a borrowed string" => "text".to_owned(),
        "f64" | "u32" | "u8" | "u64" | "i64" | "usize" => "a number".to_owned(),
        "a boolean" => "`true` or `false`".to_owned(),
        "a sequence" => "a list".to_owned(),
        "a map" => "a mapping".to_owned(),
        text if text.starts_with("struct ") => "a mapping".to_owned(),
        text => text.to_owned(),
    }
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

#[derive(Clone, Copy)]
struct At<'a> {
    node: &'a Node,
    context: &'a Context,
}

impl<'a> At<'a> {
    /// Gives a fault the place of this node, if no deeper one has.
    fn placed<T>(self, result: Result<T, Fault>) -> Result<T, Fault> {
        result.map_err(|mut fault| {
            if fault.mark.is_none() {
                let named = matches!(fault.rule, Rule::MissingField);
                fault.mark = Some(if named { self.node.key_mark.unwrap_or(self.node.mark) } else { self.node.mark });
                fault.path = Some(self.context.path.borrow().clone());
            }
            fault
        })
    }

    fn any<V: Visitor<'a>>(self, visitor: V, fields: Option<&'static [&'static str]>) -> Result<V::Value, Fault> {
        let result = match &self.node.kind {
            Kind::Scalar { text, .. } if text == GONE => visitor.visit_unit(),
            Kind::Scalar { text, plain: false } => visitor.visit_borrowed_str(text),
            Kind::Scalar { text, plain: true } => plain(text, visitor),
            Kind::Sequence(items) => {
                visitor.visit_seq(Items { items: items.iter().enumerate(), context: self.context })
            }
            Kind::Mapping(entries) => {
                let rest = entries.iter();
                visitor.visit_map(Entries { rest, value: None, fields, context: self.context })
            }
        };
        self.placed(result)
    }
}

/// A plain scalar means what the reader of good files takes it for: that reader decides.
fn plain<'a, V: Visitor<'a>>(text: &'a str, visitor: V) -> Result<V::Value, Fault> {
    // Only these can be other than text; asking about every word would cost more than all the rest.
    let starts_as_number = text.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '+' | '-' | '.'));
    let is_word =
        matches!(text, "" | "~" | "null" | "Null" | "NULL" | "true" | "True" | "TRUE" | "false" | "False" | "FALSE");
    if !is_word && (!starts_as_number || text.contains([' ', '/', ':'])) {
        return visitor.visit_borrowed_str(text);
    }
    match serde_yaml::from_str::<serde_yaml::Value>(text) {
        Ok(serde_yaml::Value::Null) => visitor.visit_unit(),
        Ok(serde_yaml::Value::Bool(value)) => visitor.visit_bool(value),
        Ok(serde_yaml::Value::Number(number)) => {
            if let Some(value) = number.as_u64() {
                visitor.visit_u64(value)
            } else if let Some(value) = number.as_i64() {
                visitor.visit_i64(value)
            } else {
                visitor.visit_f64(number.as_f64().unwrap_or(f64::NAN))
            }
        }
        _ => visitor.visit_borrowed_str(text),
    }
}

impl<'de> Deserializer<'de> for At<'de> {
    type Error = Fault;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        self.any(visitor, None)
    }

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        let empty = match &self.node.kind {
            Kind::Scalar { text, plain: true } => {
                text == GONE || matches!(text.as_str(), "" | "~" | "null" | "Null" | "NULL")
            }
            _ => false,
        };
        if empty { visitor.visit_none() } else { visitor.visit_some(self) }
    }

    fn deserialize_str<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        self.any(visitor, None)
    }

    fn deserialize_string<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        self.any(visitor, None)
    }

    fn deserialize_newtype_struct<V: Visitor<'de>>(self, _: &'static str, visitor: V) -> Result<V::Value, Fault> {
        visitor.visit_newtype_struct(self)
    }

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        fields: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Fault> {
        self.any(visitor, Some(fields))
    }

    fn deserialize_enum<V: Visitor<'de>>(
        self,
        _: &'static str,
        _: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Fault> {
        let result = match &self.node.kind {
            Kind::Scalar { text, .. } => {
                let word: StrDeserializer<'_, Fault> = text.as_str().into_deserializer();
                visitor.visit_enum(word)
            }
            Kind::Sequence(_) => Err(de::Error::invalid_type(de::Unexpected::Seq, &"one word")),
            Kind::Mapping(_) => Err(de::Error::invalid_type(de::Unexpected::Map, &"one word")),
        };
        self.placed(result)
    }

    fn deserialize_ignored_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        visitor.visit_unit()
    }

    serde::forward_to_deserialize_any! {
        bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char bytes byte_buf
        unit unit_struct seq tuple tuple_struct map identifier
    }
}

struct Items<'a> {
    items: std::iter::Enumerate<std::slice::Iter<'a, Node>>,
    context: &'a Context,
}

impl<'a> SeqAccess<'a> for Items<'a> {
    type Error = Fault;
    fn next_element_seed<S: DeserializeSeed<'a>>(&mut self, seed: S) -> Result<Option<S::Value>, Fault> {
        let Some((index, node)) = self.items.next() else { return Ok(None) };
        self.context.path.borrow_mut().push(Step::Item(index));
        let here = At { node, context: self.context };
        let result = here.placed(seed.deserialize(here));
        self.context.path.borrow_mut().pop();
        result.map(Some)
    }
}

struct Entries<'a> {
    rest: std::slice::Iter<'a, (String, Node)>,
    value: Option<(&'a str, &'a Node)>,
    fields: Option<&'static [&'static str]>,
    context: &'a Context,
}

impl<'a> MapAccess<'a> for Entries<'a> {
    type Error = Fault;

    fn next_key_seed<S: DeserializeSeed<'a>>(&mut self, seed: S) -> Result<Option<S::Value>, Fault> {
        let Some((key, node)) = self.rest.next() else { return Ok(None) };
        self.value = Some((key, node));
        self.context.path.borrow_mut().push(Step::Key(key.clone()));
        if let Some(fields) = self.fields
            && !fields.contains(&key.as_str())
            && !passes_unread(key)
            && self.context.unknown.borrow().len() < MOST_PROBLEMS
        {
            let shown: String = key.chars().take(60).collect();
            let hint = nearest(key, fields.iter().copied())
                .map_or_else(|| format!("known here: {}", fields.join(", ")), |near| format!("did you mean `{near}`?"));
            self.context.unknown.borrow_mut().push(Problem {
                rule: Rule::UnknownField,
                path: self.context.path.borrow().clone(),
                left_out: 0,
                spot: spot(node.key_mark.unwrap_or(node.mark)),
                message: format!("no field is named `{shown}` here"),
                hint: Some(hint),
            });
        }
        let name: StrDeserializer<'_, Fault> = key.as_str().into_deserializer();
        let at_key = |mut fault: Fault| {
            if fault.mark.is_none() {
                fault.mark = node.key_mark;
                fault.path = Some(self.context.path.borrow().clone());
            }
            fault
        };
        let result = seed.deserialize(name).map(Some).map_err(at_key);
        self.context.path.borrow_mut().pop();
        result
    }

    fn next_value_seed<S: DeserializeSeed<'a>>(&mut self, seed: S) -> Result<S::Value, Fault> {
        let Some((key, node)) = self.value.take() else { return Err(de::Error::custom("a value without a key")) };
        self.context.path.borrow_mut().push(Step::Key(key.to_owned()));
        let here = At { node, context: self.context };
        let result = here.placed(seed.deserialize(here));
        self.context.path.borrow_mut().pop();
        result
    }
}

#[cfg(test)]
mod hostile;
