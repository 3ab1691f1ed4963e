//! The text of a YAML file with the place of every field, so that one can be deleted, renamed or given another value
//! and everything else stays as it is.
//!
//! Which fields there are, and which of them must be there, is what the schema of the file says.

use std::ops::Range;

use saphyr_parser::{Event, Parser};
use serde_json::Value;

/// A value and the bytes it takes.
#[derive(Debug)]
struct Node {
    bytes: Range<usize>,
    line: usize,
    kind: Kind,
}

#[derive(Debug)]
enum Kind {
    Scalar,
    List(Vec<Node>),
    Mapping { entries: Vec<(Node, Node)>, in_braces: bool },
}

/// A field that is written somewhere in a file.
#[derive(Debug, Clone)]
pub struct Field {
    /// Its name.
    pub name: String,
    /// Where it stands, with ids and places in lists: `/spas/weir/volume`.
    pub path: String,
    /// The same without them: `/spas/*/volume`.
    pub form: String,
    /// Whether its mapping must have it.
    pub required: bool,
    /// Its line, and that of the mapping it stands in.
    pub line: usize,
    pub mapping_line: usize,
    /// What a single value of it may be; `None` for lists and mappings.
    pub value: Option<Kinds>,
    key: Range<usize>,
    written: Range<usize>,
    /// What goes if the field does.
    whole: Range<usize>,
}

/// What a single value may be, by its schema.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kinds {
    /// Any text.
    Text,
    /// Something with a grammar, which may not be below zero.
    Strict,
    /// Something with a grammar that may be below zero.
    Signed,
}

/// A file's text and its fields in order.
pub struct File {
    pub text: String,
    pub fields: Vec<Field>,
}

impl File {
    /// Finds the fields of a text that fits a schema.
    pub fn new(text: &str, schema: &Value) -> Self {
        let root = parse(text);
        let mut fields = Vec::new();
        let walk = Walk { text, schema };
        walk.node(&root, &[schema], root.line, ("", ""), &mut fields);
        Self { text: text.to_owned(), fields }
    }

    /// The text without a field.
    pub fn without(&self, field: &Field) -> String {
        self.with(&field.whole, "")
    }

    /// The text with another name for a field.
    pub fn renamed(&self, field: &Field, name: &str) -> String {
        self.with(&field.key, name)
    }

    /// The value of a field as it is written.
    pub fn value(&self, field: &Field) -> &str {
        &self.text[field.written.clone()]
    }

    /// The text with another value of a field.
    pub fn revalued(&self, field: &Field, value: &str) -> String {
        self.with(&field.written, value)
    }

    fn with(&self, bytes: &Range<usize>, new: &str) -> String {
        format!("{}{new}{}", &self.text[..bytes.start], &self.text[bytes.end..])
    }
}

struct Walk<'a> {
    text: &'a str,
    schema: &'a Value,
}

impl<'a> Walk<'a> {
    fn node(&self, node: &Node, schemas: &[&'a Value], at: usize, path: (&str, &str), fields: &mut Vec<Field>) {
        let schemas: Vec<&Value> = schemas.iter().flat_map(|schema| self.alternatives(schema)).collect();
        let below = |word: &str| -> Vec<&'a Value> {
            let given = |schema: &&'a Value| -> Option<&'a Value> { schema.get(word) };
            schemas.iter().filter_map(given).filter(|schema| schema.is_object()).collect()
        };
        match &node.kind {
            Kind::Scalar => {}
            Kind::List(items) => {
                for (index, item) in items.iter().enumerate() {
                    let path = (format!("{}/{index}", path.0), format!("{}/*", path.1));
                    self.node(item, &below("items"), item.line, (&path.0, &path.1), fields);
                }
            }
            Kind::Mapping { entries, in_braces } => {
                let known = schemas.iter().find(|schema| schema.get("properties").is_some());
                for (index, (key, value)) in entries.iter().enumerate() {
                    let name = &self.text[key.bytes.clone()];
                    let own = known.and_then(|schema| schema["properties"].get(name));
                    let step = if own.is_some() { name } else { "*" };
                    let path = (format!("{}/{name}", path.0), format!("{}/{step}", path.1));
                    if let (Some(schema), Some(known)) = (own, known) {
                        fields.push(Field {
                            name: name.to_owned(),
                            path: path.0.clone(),
                            form: path.1.clone(),
                            required: known["required"].as_array().is_some_and(|all| all.contains(&name.into())),
                            line: key.line,
                            mapping_line: at,
                            value: matches!(value.kind, Kind::Scalar).then(|| self.kind_of(schema)),
                            key: key.bytes.clone(),
                            written: value.bytes.clone(),
                            whole: whole(entries, index, *in_braces),
                        });
                    }
                    let schemas = own.map_or_else(|| below("additionalProperties"), |schema| vec![schema]);
                    self.node(value, &schemas, key.line, (&path.0, &path.1), fields);
                }
            }
        }
    }

    /// A schema, or those it offers to choose from, with references followed.
    fn alternatives(&self, schema: &'a Value) -> Vec<&'a Value> {
        if let Some(name) = schema.get("$ref").and_then(Value::as_str) {
            return self.alternatives(self.schema.pointer(&name[1..]).unwrap());
        }
        match schema.get("anyOf").or_else(|| schema.get("oneOf")).and_then(Value::as_array) {
            Some(all) => all.iter().flat_map(|one| self.alternatives(one)).collect(),
            None => vec![schema],
        }
    }

    fn kind_of(&self, schema: &'a Value) -> Kinds {
        let all = self.alternatives(schema);
        let pattern = |schema: &&Value| schema.get("pattern").and_then(Value::as_str).map(str::to_owned);
        let free = |schema: &&&Value| {
            let text =
                schema["type"] == "string" || schema["type"].as_array().is_some_and(|t| t.contains(&"string".into()));
            // A name is any text that is not too long.
            text && pattern(schema).is_none_or(|p| p.contains(r"\S."))
                && schema.get("enum").is_none()
                && schema.get("const").is_none()
        };
        if all.iter().any(|schema| free(&schema)) {
            Kinds::Text
        } else if all.iter().filter_map(pattern).any(|p| p.starts_with("^-?")) {
            Kinds::Signed
        } else {
            Kinds::Strict
        }
    }
}

/// What goes with a field: up to the next one, or from the end of the last.
fn whole(entries: &[(Node, Node)], index: usize, in_braces: bool) -> Range<usize> {
    let (key, value) = &entries[index];
    match (entries.get(index + 1), index.checked_sub(1)) {
        (Some((next, _)), _) => key.bytes.start..next.bytes.start,
        (None, Some(before)) if in_braces => entries[before].1.bytes.end..value.bytes.end,
        _ => key.bytes.start..value.bytes.end,
    }
}

fn parse(text: &str) -> Node {
    enum Open {
        List(Node),
        Mapping(Node, Option<Node>),
    }
    let bytes: Vec<usize> = text.char_indices().map(|(byte, _)| byte).chain([text.len()]).collect();
    let mut open: Vec<Open> = Vec::new();
    for event in Parser::new_from_str(text) {
        let (event, span) = event.expect("the file is YAML");
        let (start, end) = (bytes[span.start.index()], bytes[span.end.index()]);
        let node = |kind| Node { bytes: start..end, line: span.start.line(), kind };
        let done = match event {
            Event::Scalar(..) => node(Kind::Scalar),
            Event::SequenceStart(..) => {
                open.push(Open::List(node(Kind::List(Vec::new()))));
                continue;
            }
            Event::MappingStart(..) => {
                let in_braces = text[start..].starts_with('{');
                open.push(Open::Mapping(node(Kind::Mapping { entries: Vec::new(), in_braces }), None));
                continue;
            }
            Event::SequenceEnd | Event::MappingEnd => {
                let (Open::List(mut node) | Open::Mapping(mut node, _)) = open.pop().unwrap();
                let last = match &node.kind {
                    Kind::List(items) => items.last().map(|item| item.bytes.end),
                    Kind::Mapping { entries, .. } => entries.last().map(|(_, value)| value.bytes.end),
                    Kind::Scalar => None,
                };
                let closed = text[..end].ends_with(['}', ']']) && text[node.bytes.start..].starts_with(['{', '[']);
                node.bytes.end = if closed { end } else { last.unwrap_or(node.bytes.end) };
                node
            }
            _ => continue,
        };
        match open.last_mut() {
            None => return done,
            Some(Open::List(parent)) => {
                if let Kind::List(items) = &mut parent.kind {
                    items.push(done);
                }
            }
            Some(Open::Mapping(parent, key)) => match key.take() {
                None => *key = Some(done),
                Some(key) => {
                    if let Kind::Mapping { entries, .. } = &mut parent.kind {
                        entries.push((key, done));
                    }
                }
            },
        }
    }
    panic!("the file is empty")
}
