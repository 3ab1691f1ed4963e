//! Reading a record type from a tree, so that whatever is wrong is told with its place.

use std::cell::RefCell;

use serde::de::value::StrDeserializer;
use serde::de::{self, DeserializeSeed, Deserializer, IntoDeserializer, MapAccess, SeqAccess, Visitor};

use super::tree::{GONE, Kind, Mark, Node, spot};
use super::{MOST_PROBLEMS, Problem, Step, nearest, passes_unread};
use crate::diagnostic::Rule;
use crate::records::forms::ONE_OR_MANY;

pub(super) struct Context {
    pub(super) path: RefCell<Vec<Step>>,
    pub(super) unknown: RefCell<Vec<Problem>>,
}

/// What went wrong while a value was read.
#[derive(Debug)]
pub(super) struct Fault {
    pub(super) rule: Rule,
    pub(super) message: String,
    pub(super) hint: Option<String>,
    pub(super) mark: Option<Mark>,
    pub(super) path: Option<Vec<Step>>,
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

pub(super) fn missing(field: &str) -> String {
    format!("`{field}` is missing")
}

/// serde's names for plain types, in words.
pub(super) fn with_article(expected: &str) -> String {
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

#[derive(Clone, Copy)]
pub(super) struct At<'a> {
    pub(super) node: &'a Node,
    pub(super) context: &'a Context,
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
                visitor.visit_map(Entries { rest, value: None, before: None, fields, context: self.context })
            }
        };
        self.placed(result)
    }
}

/// A plain scalar means what the reader of good files takes it for: that reader decides.
pub(super) fn plain<'a, V: Visitor<'a>>(text: &'a str, visitor: V) -> Result<V::Value, Fault> {
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

    fn deserialize_newtype_struct<V: Visitor<'de>>(self, name: &'static str, visitor: V) -> Result<V::Value, Fault> {
        if name == ONE_OR_MANY {
            // One thing is read as itself, so that a field it does not have is told where it stands.
            return match &self.node.kind {
                Kind::Mapping(_) => self.placed(visitor.visit_some(self)),
                _ => self.any(visitor, None),
            };
        }
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

pub(super) struct Items<'a> {
    items: std::iter::Enumerate<std::slice::Iter<'a, Node>>,
    pub(super) context: &'a Context,
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

pub(super) struct Entries<'a> {
    rest: std::slice::Iter<'a, (String, Node)>,
    value: Option<(&'a str, &'a Node)>,
    /// What stands before it.
    before: Option<(&'a str, &'a Node)>,
    fields: Option<&'static [&'static str]>,
    pub(super) context: &'a Context,
}

/// What is said of `{ph: 7,4}`, which is `ph: 7` and a field `4` of nothing.
fn decimal_comma(name: &str, value: &Node, key: &str, node: &Node) -> Option<String> {
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let (Kind::Scalar { text: whole, plain: true }, Kind::Scalar { text: nothing, plain: true }) =
        (&value.kind, &node.kind)
    else {
        return None;
    };
    // A unit may stand behind: `{volume: 1,25 m3}`.
    let number = key.split(' ').next().unwrap_or(key);
    if !digits(whole) || !digits(number) || !matches!(nothing.as_str(), "" | "~") {
        return None;
    }
    let rest = &key[number.len()..];
    let thousand = if number.len() == 3 && whole != "0" {
        format!(", or `{name}: {whole}{number}{rest}` for thousands")
    } else {
        String::new()
    };
    Some(format!(
        "a comma begins the next field; decimals take a point: write `{name}: {whole}.{number}{rest}`{thousand}"
    ))
}

impl<'a> MapAccess<'a> for Entries<'a> {
    type Error = Fault;

    fn next_key_seed<S: DeserializeSeed<'a>>(&mut self, seed: S) -> Result<Option<S::Value>, Fault> {
        let Some((key, node)) = self.rest.next() else { return Ok(None) };
        self.value = Some((key, node));
        let before = self.before.replace((key, node));
        self.context.path.borrow_mut().push(Step::Key(key.clone()));
        if let Some(fields) = self.fields
            && !fields.contains(&key.as_str())
            && !passes_unread(key)
            && self.context.unknown.borrow().len() < MOST_PROBLEMS
        {
            let shown: String = key.chars().take(60).collect();
            let hint = nearest(key, fields.iter().copied())
                .map_or_else(|| format!("known here: {}", fields.join(", ")), |near| format!("did you mean `{near}`?"));
            let comma = before.and_then(|(name, value)| decimal_comma(name, value, key, node));
            self.context.unknown.borrow_mut().push(Problem {
                rule: Rule::UnknownField,
                path: self.context.path.borrow().clone(),
                left_out: 0,
                spot: spot(node.key_mark.unwrap_or(node.mark)),
                message: format!("no field is named `{shown}` here"),
                hint: Some(comma.unwrap_or(hint)),
                second: None,
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
