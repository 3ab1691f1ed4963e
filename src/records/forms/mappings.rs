//! Mappings and lists as records write them: keys that may not repeat, one thing or a list of them, what holds from a
//! day on, names with or without more said of each.

use std::fmt;
use std::marker::PhantomData;

use chrono::NaiveDate;
use serde::Deserialize;
use serde::de::{self, DeserializeSeed, Deserializer, MapAccess, SeqAccess, Visitor};

use super::{Date, Name, Text};
use crate::address::{Address, Id};
use crate::calendar;

/// A mapping in the order it is written, whose keys may not repeat.
#[derive(Debug, Clone, PartialEq)]
pub struct Keyed<K, V>(pub Vec<(K, V)>);

impl<K, V> Default for Keyed<K, V> {
    fn default() -> Self {
        Self(Vec::new())
    }
}

impl<K: PartialEq, V> Keyed<K, V> {
    /// The value under a key.
    pub fn get(&self, key: &K) -> Option<&V> {
        self.0.iter().find(|(k, _)| k == key).map(|(_, v)| v)
    }

    /// Keys and values in the order they are written.
    pub fn iter(&self) -> std::slice::Iter<'_, (K, V)> {
        self.0.iter()
    }
}

/// What may be a key.
pub trait Key: Sized + PartialEq + fmt::Display {
    /// What it looks like, as a regular expression of ECMA 262 without its anchors.
    const PATTERN: &'static str;

    /// Reads a key.
    ///
    /// # Errors
    /// Says what is wrong with it.
    fn read(text: &str) -> Result<Self, String>;
}

impl Key for Id {
    const PATTERN: &'static str = "[a-z][a-z0-9_]*(-[a-z0-9_]+)*-?";
    fn read(text: &str) -> Result<Self, String> {
        Self::parse(text)
    }
}

impl Key for Address {
    const PATTERN: &'static str = "[a-z][a-z0-9_]*(-[a-z0-9_]+)*-?(/[a-z][a-z0-9_]*(-[a-z0-9_]+)*-?){0,2}";
    fn read(text: &str) -> Result<Self, String> {
        Self::parse(text)
    }
}

impl Key for Date {
    const PATTERN: &'static str = "[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])";
    fn read(text: &str) -> Result<Self, String> {
        calendar::parse_date(text).map(Self)
    }
}

impl Key for Name {
    const PATTERN: &'static str = r" *\S.{0,39}";
    fn read(text: &str) -> Result<Self, String> {
        if text.trim().is_empty() {
            return Err("a name must not be empty".to_owned());
        }
        if text.chars().count() > 40 {
            return Err(format!(
                "the name `{}…` is longer than 40 characters",
                text.chars().take(39).collect::<String>()
            ));
        }
        Ok(Self(text.to_owned()))
    }
}

impl<'de, K: Key, V: Deserialize<'de>> Deserialize<'de> for Keyed<K, V> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct KeySeed<K>(PhantomData<K>);
        impl<'de, K: Key> DeserializeSeed<'de> for KeySeed<K> {
            type Value = K;
            fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<K, D::Error> {
                struct KeyVisitor<K>(PhantomData<K>);
                impl<K: Key> Visitor<'_> for KeyVisitor<K> {
                    type Value = K;
                    fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
                        f.write_str("a key")
                    }
                    fn visit_str<E: de::Error>(self, text: &str) -> Result<K, E> {
                        K::read(text).map_err(E::custom)
                    }
                    fn visit_u64<E: de::Error>(self, number: u64) -> Result<K, E> {
                        self.visit_str(&number.to_string())
                    }
                    fn visit_i64<E: de::Error>(self, number: i64) -> Result<K, E> {
                        self.visit_str(&number.to_string())
                    }
                    fn visit_f64<E: de::Error>(self, number: f64) -> Result<K, E> {
                        self.visit_str(&number.to_string())
                    }
                }
                deserializer.deserialize_any(KeyVisitor(PhantomData))
            }
        }
        struct KeyedVisitor<K, V>(PhantomData<(K, V)>);
        impl<'de, K: Key, V: Deserialize<'de>> Visitor<'de> for KeyedVisitor<K, V> {
            type Value = Keyed<K, V>;
            fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
                f.write_str("a mapping")
            }
            fn visit_unit<E: de::Error>(self) -> Result<Self::Value, E> {
                Ok(Keyed(Vec::new()))
            }
            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
                let mut entries: Vec<(K, V)> = Vec::new();
                // Looking through the few keys of a usual mapping is quicker than any index; of a huge one it is not.
                let mut index = std::collections::HashSet::new();
                while let Some(key) = map.next_key_seed(KeySeed(PhantomData))? {
                    if entries.len() == SMALL {
                        index.extend(entries.iter().map(|(k, _)| k.to_string()));
                    }
                    let repeated = if entries.len() < SMALL {
                        entries.iter().any(|(k, _)| *k == key)
                    } else {
                        !index.insert(key.to_string())
                    };
                    if repeated {
                        return Err(de::Error::custom(format!("`{key}` is written twice")));
                    }
                    entries.push((key, map.next_value()?));
                }
                // A log holds hundreds of thousands of them, most of one entry: none keeps room for more.
                entries.shrink_to_fit();
                Ok(Keyed(entries))
            }
        }
        deserializer.deserialize_map(KeyedVisitor(PhantomData))
    }
}

/// The most keys that are looked through one by one.
const SMALL: usize = 64;

/// What the reader with places knows this form by.
pub(crate) const ONE_OR_MANY: &str = "OneOrMany";

/// One thing, or a list of them.
#[derive(Debug, Clone, PartialEq)]
pub struct OneOrMany<T>(pub Vec<T>);

impl<T> Default for OneOrMany<T> {
    fn default() -> Self {
        Self(Vec::new())
    }
}

impl<'de, T: Deserialize<'de>> Deserialize<'de> for OneOrMany<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct OneVisitor<T>(PhantomData<T>);
        impl<'de, T: Deserialize<'de>> Visitor<'de> for OneVisitor<T> {
            type Value = OneOrMany<T>;
            fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
                f.write_str("a mapping or a list of mappings")
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Self::Value, A::Error> {
                let mut all = Vec::new();
                while let Some(one) = list.next_element()? {
                    all.push(one);
                }
                Ok(OneOrMany(all))
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Self::Value, A::Error> {
                T::deserialize(Fields(map)).map(|one| OneOrMany(vec![one]))
            }
            // A reader that cannot tell which of the two it is asks again.
            fn visit_newtype_struct<D: Deserializer<'de>>(self, deserializer: D) -> Result<Self::Value, D::Error> {
                deserializer.deserialize_any(self)
            }
            // One that can has found one thing.
            fn visit_some<D: Deserializer<'de>>(self, deserializer: D) -> Result<Self::Value, D::Error> {
                T::deserialize(deserializer).map(|one| OneOrMany(vec![one]))
            }
        }
        deserializer.deserialize_newtype_struct(ONE_OR_MANY, OneVisitor(PhantomData))
    }
}

/// A mapping already begun, as a deserializer that also tells the fields wanted of it.
struct Fields<A>(A);

impl<'de, A: MapAccess<'de>> Deserializer<'de> for Fields<A> {
    type Error = A::Error;
    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, A::Error> {
        visitor.visit_map(self.0)
    }
    fn deserialize_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        fields: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, A::Error> {
        visitor.visit_map(Strict { map: self.0, fields })
    }
    serde::forward_to_deserialize_any! {
        bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str string bytes byte_buf option
        unit unit_struct newtype_struct seq tuple tuple_struct map enum identifier ignored_any
    }
}

/// A mapping that may hold only the fields wanted (and `note`, `x-…`).
struct Strict<A> {
    map: A,
    fields: &'static [&'static str],
}

impl<'de, A: MapAccess<'de>> MapAccess<'de> for Strict<A> {
    type Error = A::Error;
    fn next_key_seed<S: DeserializeSeed<'de>>(&mut self, seed: S) -> Result<Option<S::Value>, A::Error> {
        let Some(Text(key)) = self.map.next_key::<Text>()? else { return Ok(None) };
        if !self.fields.contains(&key.as_str()) && key != "note" && !key.starts_with("x-") {
            let hint = crate::records::yaml::nearest(&key, self.fields.iter().copied()).map_or_else(
                || format!("known here: {}", self.fields.join(", ")),
                |near| format!("did you mean `{near}`?"),
            );
            return Err(de::Error::custom(format!("no field is named `{key}` here; {hint}")));
        }
        let name: de::value::StringDeserializer<A::Error> = de::IntoDeserializer::into_deserializer(key);
        seed.deserialize(name).map(Some)
    }
    fn next_value_seed<S: DeserializeSeed<'de>>(&mut self, seed: S) -> Result<S::Value, A::Error> {
        self.map.next_value_seed(seed)
    }
}

/// A value that may change from a day on: `0.26`, or `{2025-01-01: 0.26, 2026-04-01: 0.28}`.
#[derive(Debug, Clone, PartialEq)]
pub enum Dated<T> {
    /// The same always.
    Always(T),
    /// From each of these days, in order.
    From(Vec<(NaiveDate, T)>),
}

impl<T> Dated<T> {
    /// Every value.
    pub fn values(&self) -> impl Iterator<Item = &T> {
        let (always, steps) = match self {
            Self::Always(value) => (Some(value), [].as_slice()),
            Self::From(steps) => (None, steps.as_slice()),
        };
        always.into_iter().chain(steps.iter().map(|(_, value)| value))
    }

    /// The day from which the last value holds, if it is dated.
    pub fn last_step(&self) -> Option<NaiveDate> {
        match self {
            Self::Always(_) => None,
            Self::From(steps) => steps.last().map(|(day, _)| *day),
        }
    }
}

impl<T: Copy> Dated<T> {
    /// The value in force on a day; `None` before the first.
    pub fn on(&self, day: NaiveDate) -> Option<T> {
        match self {
            Self::Always(value) => Some(*value),
            Self::From(steps) => steps.iter().rev().find(|(from, _)| *from <= day).map(|(_, value)| *value),
        }
    }
}

impl<'de, T: Deserialize<'de>> Deserialize<'de> for Dated<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct DatedVisitor<T>(PhantomData<T>);
        impl<'de, T: Deserialize<'de>> Visitor<'de> for DatedVisitor<T> {
            type Value = Dated<T>;
            fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
                f.write_str("a value, or a mapping of days to values like `{2025-01-01: 0.26}`")
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Self::Value, A::Error> {
                let steps = Keyed::<Date, T>::deserialize(de::value::MapAccessDeserializer::new(map))?;
                let mut steps: Vec<(NaiveDate, T)> = steps.0.into_iter().map(|(day, value)| (day.0, value)).collect();
                steps.sort_by_key(|(day, _)| *day);
                Ok(Dated::From(steps))
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<Self::Value, E> {
                T::deserialize(de::value::StrDeserializer::new(text)).map(Dated::Always)
            }
            fn visit_f64<E: de::Error>(self, number: f64) -> Result<Self::Value, E> {
                T::deserialize(de::value::F64Deserializer::new(number)).map(Dated::Always)
            }
            fn visit_u64<E: de::Error>(self, number: u64) -> Result<Self::Value, E> {
                T::deserialize(de::value::U64Deserializer::new(number)).map(Dated::Always)
            }
            fn visit_i64<E: de::Error>(self, number: i64) -> Result<Self::Value, E> {
                T::deserialize(de::value::I64Deserializer::new(number)).map(Dated::Always)
            }
        }
        deserializer.deserialize_any(DatedVisitor(PhantomData))
    }
}

/// A mapping of names to values, or a short list of names that stand for the default value.
#[derive(Debug, Clone, PartialEq)]
pub struct Named<V>(pub Vec<(Id, V)>);

impl<V> Default for Named<V> {
    fn default() -> Self {
        Self(Vec::new())
    }
}

impl<'de, V: Deserialize<'de> + Default> Deserialize<'de> for Named<V> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct NamedVisitor<V>(PhantomData<V>);
        impl<'de, V: Deserialize<'de> + Default> Visitor<'de> for NamedVisitor<V> {
            type Value = Named<V>;
            fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
                f.write_str("a list of names, or a mapping of names to what is said of each")
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Self::Value, A::Error> {
                let mut all: Vec<(Id, V)> = Vec::new();
                while let Some(id) = list.next_element::<Id>()? {
                    if all.iter().any(|(k, _)| *k == id) {
                        return Err(de::Error::custom(format!("`{id}` is written twice")));
                    }
                    all.push((id, V::default()));
                }
                Ok(Named(all))
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Self::Value, A::Error> {
                Keyed::deserialize(de::value::MapAccessDeserializer::new(map)).map(|keyed| Named(keyed.0))
            }
        }
        deserializer.deserialize_any(NamedVisitor(PhantomData))
    }
}
