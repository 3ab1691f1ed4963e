//! A file's text as a tree that knows where everything stands, for files that have a problem.
//!
//! It knows YAML and nothing of records: what stands twice, what no record may hold, how deep it goes. Parts of it can
//! be taken out so that the rest can be read.

use saphyr_parser::{Event, Parser, ScalarStyle};

use super::{DEEPEST, MOST_PROBLEMS, Problem, Step, line_too_deep, too_deep};
use crate::diagnostic::{Rule, Spot};

/// A mark where a node begins and how long it is.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Mark {
    pub(super) line: usize,
    pub(super) column: usize,
    pub(super) length: usize,
}

#[derive(Debug)]
pub(super) struct Node {
    pub(super) mark: Mark,
    /// Of the key the node stands under.
    pub(super) key_mark: Option<Mark>,
    /// A thing no record may hold: an anchor, an alias, a tag.
    pub(super) foreign: Option<&'static str>,
    pub(super) kind: Kind,
}

#[derive(Debug)]
pub(super) enum Kind {
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

/// Where a list in brackets ends, in bytes of a text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Brackets {
    /// Where one more thing can be written.
    pub end: usize,
    /// What stands last in them; nothing if they are empty.
    pub last: Option<std::ops::Range<usize>>,
    /// Whether they are the list's; else they are those of a whole file that does not have the list.
    pub holds_list: bool,
}

/// Where the list under a key of the file ends, if it is written in brackets; or the whole file if that is and does
/// not have the list. `None` for what is written in lines, and for what is no YAML.
pub fn brackets_of(text: &str, key: &str) -> Option<Brackets> {
    let bytes: Vec<usize> = text.char_indices().map(|(byte, _)| byte).chain([text.len()]).collect();
    let skipped = usize::from(text.starts_with('\u{feff}'));
    let byte = |marker: saphyr_parser::Marker| bytes.get(marker.index() + skipped).copied();
    let mut depth = 0_usize;
    // Of the file's mapping: the key whose value comes next, and what stood last.
    let mut wanted: Option<bool> = None;
    let mut in_list = false;
    let mut last: Option<std::ops::Range<usize>> = None;
    let mut root_last: Option<std::ops::Range<usize>> = None;
    let mut root_in_braces = false;
    let mut began = 0;
    for event in Parser::new_from_str(&text[bytes[skipped.min(bytes.len() - 1)]..]) {
        let (event, span) = event.ok()?;
        let (start, end) = (byte(span.start)?, byte(span.end)?);
        match event {
            Event::Scalar(value, ..) if depth == 1 => {
                wanted = match wanted {
                    None => Some(value == key),
                    Some(_) => None,
                };
                root_last = Some(start..end);
            }
            Event::Scalar(..) | Event::Alias(_) if depth == 2 && in_list => last = Some(start..end),
            Event::MappingStart(..) | Event::SequenceStart(..) => {
                if depth == 0 {
                    root_in_braces = text[start..].starts_with('{');
                }
                if depth == 1 {
                    in_list = wanted == Some(true);
                    if in_list && !text[start..].starts_with('[') {
                        return None;
                    }
                    last = None;
                }
                if depth <= 2 {
                    began = start;
                }
                if depth == 2 {
                    last = Some(start..start);
                }
                depth += 1;
            }
            Event::MappingEnd | Event::SequenceEnd => {
                depth = depth.checked_sub(1)?;
                // What the reader calls the end of brackets may lie behind a comment after them.
                let end = if text[start..].starts_with(['}', ']']) { start + 1 } else { end };
                if depth == 2
                    && let Some(last) = &mut last
                {
                    last.end = end;
                }
                if depth == 1 {
                    if in_list {
                        let empty = || text[..end].rfind(']').unwrap_or(end);
                        return Some(Brackets {
                            end: last.as_ref().map_or_else(empty, |l| l.end),
                            last,
                            holds_list: true,
                        });
                    }
                    wanted = None;
                    root_last = Some(began..end);
                }
                if depth == 0 && root_in_braces {
                    let empty = || text[..end].rfind('}').unwrap_or(end);
                    let end = root_last.as_ref().map_or_else(empty, |l| l.end);
                    return Some(Brackets { end, last: root_last, holds_list: false });
                }
            }
            _ => {}
        }
    }
    None
}

pub(super) fn spot(mark: Mark) -> Spot {
    Spot { line: mark.line.max(1), column: mark.column.max(1), length: mark.length.max(1) }
}

pub(super) fn build(text: &str) -> Result<Node, Problem> {
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
        second: None,
    };
    let mut open: Vec<Open> = Vec::new();
    let mut root: Option<Node> = None;
    let mut documents = 0;
    for event in Parser::new_from_str(text) {
        let (event, span) = event.map_err(|error| {
            let mark = Mark { line: error.marker().line(), column: error.marker().col() + 1, length: 1 };
            whole(format!("this is not YAML: {}", error.info()), in_plain_words(error.info()), Rule::NotYaml, mark)
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

/// What would mend a text that is no YAML, from the reader's words for what it stopped at.
fn in_plain_words(info: &str) -> Option<String> {
    let has = |words: &str| info.contains(words);
    let hint = if has("tab") {
        "indent with spaces; a tab may not stand there"
    } else if has("mapping values are not allowed") || has("illegal placement of ':'") || has("simple key expect") {
        "a text that holds a colon needs quotes, like `note: \"Quay: back door\"`; else this line stands too far to the right"
    } else if has("quoted scalar") && (has("end of stream") || has("document indicator") || has("indentation")) {
        "a quotation mark is opened here or before and not closed; close it, or take it out"
    } else if has("double-quoted scalar") {
        "what follows the closing quotation mark belongs inside it, or behind a comma"
    } else if has("flow mapping") || has("flow construct") {
        "a `{` is opened here or before and not closed; between its fields stand commas"
    } else if has("flow sequence") {
        "a `[` is opened here or before and not closed; between its things stand commas"
    } else if has("block mapping")
        || has("block collection")
        || has("simple key")
        || has("block sequence")
        || has("indented")
    {
        "what belongs together begins in the same column: look at the spaces before this line and the one above"
    } else if has("unexpected character") || has("plain scalar") {
        "a text that begins with such a character needs quotes"
    } else {
        return None;
    };
    Some(hint.to_owned())
}

pub(super) fn find_foreign(node: &mut Node, path: &mut Vec<Step>, problems: &mut Vec<Problem>) {
    fn tell(rule: Rule, message: String, hint: &str, mark: Mark, path: &[Step]) -> Problem {
        Problem {
            rule,
            path: path.to_vec(),
            left_out: 0,
            spot: spot(mark),
            message,
            hint: Some(hint.to_owned()),
            second: None,
        }
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
                let known = *seen.entry(key.clone()).or_insert(mark);
                if known.line != mark.line || known.column != mark.column {
                    if problems.len() < MOST_PROBLEMS {
                        let hint = format!("it stands on line {} already; keep one", known.line);
                        let mut problem =
                            tell(Rule::RepeatedKey, format!("`{key}` is written twice"), &hint, mark, path);
                        problem.second = Some(Box::new((spot(known), "the first")));
                        problems.push(problem);
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
pub(super) fn remove(node: &mut Node, path: &[Step]) -> bool {
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
pub(super) fn is_gone(root: &Node, path: &[Step]) -> bool {
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
pub(super) const GONE: &str = "\u{0}gone";
