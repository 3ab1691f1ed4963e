//! The small forms that records are written in: dates known more or less exactly, dated prices,
//! money, mappings whose keys may not repeat, one thing or a list of them.

use std::fmt;
use std::marker::PhantomData;
use std::str::FromStr;

use chrono::NaiveDate;
use rust_decimal::Decimal;
use serde::Deserialize;
use serde::de::{self, DeserializeSeed, Deserializer, MapAccess, SeqAccess, Visitor};

use crate::address::{Address, Id};
use crate::calendar::{self, Month};

/// `format: 1`.
#[derive(Debug, Clone, Copy)]
pub struct Format;

impl<'de> Deserialize<'de> for Format {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let number = f64::deserialize(deserializer)?;
        if number == 1.0 {
            Ok(Self)
        } else {
            Err(de::Error::custom(format!("format {number} is not known; this version reads `format: 1`")))
        }
    }
}

/// Free text; a number is taken as it is written.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Text(pub String);

impl fmt::Display for Text {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(&self.0)
    }
}

macro_rules! scalar {
    ($name:ident, $what:literal, $read:expr) => {
        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                struct ScalarVisitor;
                impl Visitor<'_> for ScalarVisitor {
                    type Value = $name;
                    fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
                        f.write_str($what)
                    }
                    fn visit_str<E: de::Error>(self, text: &str) -> Result<$name, E> {
                        let read: fn(&str) -> Result<$name, String> = $read;
                        read(text).map_err(E::custom)
                    }
                    fn visit_i64<E: de::Error>(self, number: i64) -> Result<$name, E> {
                        self.visit_str(&number.to_string())
                    }
                    fn visit_u64<E: de::Error>(self, number: u64) -> Result<$name, E> {
                        self.visit_str(&number.to_string())
                    }
                    fn visit_f64<E: de::Error>(self, number: f64) -> Result<$name, E> {
                        self.visit_str(&number.to_string())
                    }
                }
                deserializer.deserialize_any(ScalarVisitor)
            }
        }
    };
}

/// The longest text a record may hold.
const LONGEST_TEXT: usize = 20_000;

scalar!(Text, "text", |text| {
    if text.len() > LONGEST_TEXT {
        return Err(format!("the text is longer than {LONGEST_TEXT} bytes"));
    }
    Ok(Text(text.to_owned()))
});

/// An amount in the fleet's currency.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Money(pub Decimal);

scalar!(Money, "an amount of money, a bare number like `22.50`", |text| {
    let shown: String = text.chars().take(40).collect();
    let amount = Decimal::from_str(text)
        .or_else(|_| Decimal::from_scientific(text))
        .map_err(|_| format!("`{shown}` is not an amount of money; write a bare number like `22.50`"))?;
    if amount < Decimal::ZERO || amount > Decimal::from(1_000_000_000u64) {
        return Err(format!(
            "`{shown}` cannot be an amount of money here: it must be between 0 and a thousand million"
        ));
    }
    Ok(Money(amount))
});

/// A civil date.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Date(pub NaiveDate);

impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        self.0.fmt(f)
    }
}

scalar!(Date, "a date like `2026-09-30`", |text| calendar::parse_date(text).map(Date));

/// A share of 1.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Share(pub f64);

scalar!(Share, "a share between 0 and 1, like `0.20`", |text| {
    match text.parse::<f64>() {
        Ok(share) if (0.0..=1.0).contains(&share) => Ok(Share(share)),
        _ => {
            Err(format!("`{}` is not a share between 0 and 1, like `0.20`", text.chars().take(40).collect::<String>()))
        }
    }
});

/// A plain number above or at zero.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Number(pub f64);

scalar!(Number, "a number", |text| {
    match text.parse::<f64>() {
        Ok(number) if number.is_finite() && (0.0..=1e9).contains(&number) => Ok(Number(number)),
        _ => Err(format!("`{}` is not a number between 0 and 1e9", text.chars().take(40).collect::<String>())),
    }
});

/// A currency by its ISO 4217 code.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Currency(pub String);

scalar!(Currency, "a currency by its ISO 4217 code, like `GBP`", |text| {
    if text.len() == 3 && text.bytes().all(|b| b.is_ascii_uppercase()) {
        Ok(Currency(text.to_owned()))
    } else {
        Err(format!(
            "`{}` is not a currency by its ISO 4217 code, like `GBP`",
            text.chars().take(40).collect::<String>()
        ))
    }
});

/// A time zone by its IANA name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Timezone(pub chrono_tz::Tz);

scalar!(Timezone, "a time zone by its IANA name, like `Europe/London`", |text| {
    text.parse().map(Timezone).map_err(|_| {
        format!("`{}` is no time zone; IANA names look like `Europe/London`", text.chars().take(60).collect::<String>())
    })
});

/// The day something was fitted, as exactly as it is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fitted {
    /// To the day.
    Day(NaiveDate),
    /// To the month.
    Month(Month),
    /// To the year.
    Year(i32),
    /// Not known, but for the latest day it can have been.
    Before(NaiveDate),
    /// Not known.
    Unknown,
}

scalar!(
    Fitted,
    "a day, month or year like `2022-05-04`, `2022-05` or `2022`, `before 2024-01-01`, or `unknown`",
    |text| {
        let shown: String = text.chars().take(40).collect();
        if text == "unknown" {
            return Ok(Fitted::Unknown);
        }
        if let Some(day) = text.strip_prefix("before ") {
            return calendar::parse_date(day.trim()).map(Fitted::Before);
        }
        if text.len() == 4 && text.bytes().all(|b| b.is_ascii_digit()) {
            return match text.parse::<i32>() {
                Ok(year) if calendar::YEARS.contains(&year) => Ok(Fitted::Year(year)),
                _ => Err(format!(
                    "the year `{shown}` cannot be right; years run from {} to {}",
                    calendar::YEARS.start(),
                    calendar::YEARS.end()
                )),
            };
        }
        if text.len() == 7 {
            return text.parse().map(Fitted::Month);
        }
        calendar::parse_date(text).map(Fitted::Day).map_err(|error| {
        format!("{error}; a day of fitting may also be a month `2022-05`, a year `2022`, `before 2024-01-01` or `unknown`")
    })
    }
);

impl Fitted {
    /// The first and the last day it can have been; `None` if not known.
    pub fn range(self) -> Option<(NaiveDate, NaiveDate)> {
        match self {
            Self::Day(day) => Some((day, day)),
            Self::Month(month) => Some((month.first(), month.last())),
            Self::Year(year) => Some((NaiveDate::from_ymd_opt(year, 1, 1)?, NaiveDate::from_ymd_opt(year, 12, 31)?)),
            Self::Before(_) | Self::Unknown => None,
        }
    }

    /// The middle of that range, which stands for it in every figure.
    pub fn middle(self) -> Option<NaiveDate> {
        let (first, last) = self.range()?;
        Some(calendar::plus_days(first, calendar::days_between(first, last) / 2))
    }

    /// Whether the day itself is known.
    pub fn is_exact(self) -> bool {
        matches!(self, Self::Day(_))
    }

    /// The first day it can have been, or the latest day named if only that is known.
    pub fn earliest(self) -> Option<NaiveDate> {
        self.range().map(|(first, _)| first)
    }
}

impl fmt::Display for Fitted {
    /// As it is written in a record.
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            Self::Day(day) => write!(f, "{day}"),
            Self::Month(month) => write!(f, "{month}"),
            Self::Year(year) => write!(f, "{year}"),
            Self::Before(day) => write!(f, "before {day}"),
            Self::Unknown => f.write_str("unknown"),
        }
    }
}

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

/// A model's, type's or part number's name: free text up to 40 characters.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Name(pub String);

impl fmt::Display for Name {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(&self.0)
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

scalar!(Name, "a name", |text| <Name as Key>::read(text));

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
                Ok(Keyed(entries))
            }
        }
        deserializer.deserialize_map(KeyedVisitor(PhantomData))
    }
}

/// The most keys that are looked through one by one.
const SMALL: usize = 64;

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
        }
        deserializer.deserialize_any(OneVisitor(PhantomData))
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

#[cfg(test)]
mod tests {
    use super::*;

    fn fitted(text: &str) -> Fitted {
        serde_yaml::from_str(text).unwrap()
    }

    #[test]
    fn a_day_of_fitting_is_as_exact_as_it_is_known() {
        assert_eq!(fitted("2022").middle().unwrap().to_string(), "2022-07-02");
        assert_eq!(fitted("2022-05").middle().unwrap().to_string(), "2022-05-16");
        assert_eq!(fitted("2022-05-04").range().unwrap().0.to_string(), "2022-05-04");
        assert_eq!(fitted("before 2024-01-01").to_string(), "before 2024-01-01");
        assert!(fitted("unknown").range().is_none());
        for wrong in ["22", "2022-13", "yesterday", "0000", "9999", "2022-02-30"] {
            assert!(serde_yaml::from_str::<Fitted>(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn a_dated_price_holds_from_its_day() {
        let price: Dated<Money> = serde_yaml::from_str("{2026-04-01: 0.28, 2025-01-01: 0.26}").unwrap();
        let on = |day: &str| price.on(calendar::parse_date(day).unwrap()).map(|m| m.0.to_string());
        assert_eq!(on("2024-12-31"), None);
        assert_eq!(on("2026-03-31").as_deref(), Some("0.26"));
        assert_eq!(on("2026-04-01").as_deref(), Some("0.28"));
    }

    #[test]
    fn money_keeps_its_digits_and_a_key_may_not_repeat() {
        assert_eq!(serde_yaml::from_str::<Money>("0.1").unwrap().0.to_string(), "0.1");
        assert!(serde_yaml::from_str::<Money>("-1").is_err());
        assert!(serde_yaml::from_str::<Money>(".nan").is_err());
        assert!(serde_yaml::from_str::<Money>("1,5").is_err());
        assert!(serde_yaml::from_str::<Keyed<Id, Number>>("{a: 1, a: 2}").is_err());
    }
}
