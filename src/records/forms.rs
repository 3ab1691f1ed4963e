//! The small forms that records are written in: dates known more or less exactly, dated prices,
//! money, mappings whose keys may not repeat, one thing or a list of them.

mod currencies;
mod dates;
mod mappings;

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;
use serde::Deserialize;
use serde::de::{self, Deserializer, Visitor};

pub use self::dates::{Date, Fitted, Reported};
pub(crate) use self::mappings::ONE_OR_MANY;
pub use self::mappings::{Dated, Key, Keyed, Named, OneOrMany};

/// `format: 1`.
#[derive(Debug, Clone, Copy)]
pub struct Format;

impl<'de> Deserialize<'de> for Format {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let number = f64::deserialize(deserializer)?;
        if number == 1.0 {
            Ok(Self)
        } else {
            Err(de::Error::custom(format!("`format: {number}` is not known; this version reads `format: 1`")))
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

// Asked for as a string, what looks like a number is told as it is written: a gate's code `12e4` stays one.
macro_rules! scalar {
    ($name:ident, $how:ident, $what:literal, $read:expr) => {
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
                deserializer.$how(ScalarVisitor)
            }
        }
    };
}
use scalar;

/// Reads a value that must hold more than its form: `must` says what.
///
/// # Errors
/// Those of its form; else `must`.
pub(super) fn sound<'de, T: Deserialize<'de>, D: Deserializer<'de>>(
    deserializer: D,
    is_sound: impl FnOnce(&T) -> bool,
    must: &str,
) -> Result<T, D::Error> {
    let value = T::deserialize(deserializer)?;
    if is_sound(&value) { Ok(value) } else { Err(serde::de::Error::custom(must)) }
}

/// The longest text a record may hold.
const LONGEST_TEXT: usize = 20_000;

scalar!(Text, deserialize_str, "text", |text| {
    if text.len() > LONGEST_TEXT {
        return Err(format!("the text is longer than {LONGEST_TEXT} bytes"));
    }
    Ok(Text(text.to_owned()))
});

/// What is said of a number with a comma in it.
fn of_comma(text: &str) -> &'static str {
    let comma = text.starts_with(|c: char| c.is_ascii_digit()) && text.contains(',');
    if comma { "; decimals take a point, not a comma" } else { "" }
}

/// An amount in the fleet's currency.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Money(pub Decimal);

scalar!(Money, deserialize_any, "an amount of money, a bare number like `22.50`", |text| {
    let shown: String = text.chars().take(40).collect();
    let amount = Decimal::from_str(text).or_else(|_| Decimal::from_scientific(text)).map_err(|_| {
        format!("`{shown}` is not an amount of money; write a bare number like `22.50`{}", of_comma(text))
    })?;
    if amount < Decimal::ZERO || amount > Decimal::from(1_000_000_000u64) {
        return Err(format!(
            "`{shown}` cannot be an amount of money here: it must be between 0 and a thousand million"
        ));
    }
    Ok(Money(amount))
});

/// A share of 1.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Share(pub f64);

scalar!(Share, deserialize_any, "a share between 0 and 1, like `0.20`", |text| {
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

scalar!(Number, deserialize_any, "a number", |text| {
    match text.parse::<f64>() {
        Ok(number) if number.is_finite() && (0.0..=1e9).contains(&number) => Ok(Number(number)),
        _ => Err(format!(
            "`{}` is not a number between 0 and 1e9{}",
            text.chars().take(40).collect::<String>(),
            of_comma(text)
        )),
    }
});

/// A currency by its ISO 4217 code.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Currency(pub String);

scalar!(Currency, deserialize_any, "a currency by its ISO 4217 code, like `GBP`", |text| {
    if currencies::CODES.binary_search(&text).is_ok() {
        return Ok(Currency(text.to_owned()));
    }
    let shown: String = text.chars().take(40).collect();
    // Letters in a wrong order are the likeliest slip; where two codes are as near, neither is guessed.
    let code = shown.to_ascii_uppercase();
    let mut near = currencies::CODES.iter().filter(|known| strsim::osa_distance(known, &code) <= 1);
    let hint = match (near.next(), near.next()) {
        (Some(only), None) => format!("did you mean `{only}`?"),
        _ => near_by_letters(&code)
            .map_or_else(|| "codes look like `GBP`".to_owned(), |only| format!("did you mean `{only}`?")),
    };
    Err(format!("`{shown}` is not a currency of ISO 4217; {hint}"))
});

/// The one code of the same letters in another order.
fn near_by_letters(code: &str) -> Option<&'static str> {
    let sorted = |text: &str| {
        let mut letters: Vec<char> = text.chars().collect();
        letters.sort_unstable();
        letters
    };
    let letters = sorted(code);
    let mut same = currencies::CODES.iter().filter(|known| sorted(known) == letters);
    same.next().filter(|_| same.next().is_none()).copied()
}

/// A time zone by its IANA name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Timezone(pub chrono_tz::Tz);

scalar!(Timezone, deserialize_any, "a time zone by its IANA name, like `Europe/London`", |text| {
    text.parse().map(Timezone).map_err(|_| {
        format!("`{}` is no time zone; IANA names look like `Europe/London`", text.chars().take(60).collect::<String>())
    })
});

/// A model's, type's or part number's name: free text up to 40 characters.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Name(pub String);

impl fmt::Display for Name {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(&self.0)
    }
}

scalar!(Name, deserialize_str, "a name", |text| <Name as Key>::read(text));

#[cfg(test)]
mod tests {
    use super::*;
    use crate::address::Id;
    use crate::calendar;

    /// What is free text is kept as it is written, whatever a number would make of it.
    #[test]
    fn text_that_looks_like_a_number_stays_as_it_is_written() {
        for written in ["12e4", "+447700900123", "1.10", "0x1F", "007", "true", "1_000"] {
            let text: Text = serde_yaml::from_str(written).unwrap();
            assert_eq!(text.0, written);
            let name: Name = serde_yaml::from_str(written).unwrap();
            assert_eq!(name.0, written);
        }
        assert!(serde_yaml::from_str::<Text>("[a]").is_err());
    }

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
    fn a_currency_is_one_of_the_list() {
        let said = |text: &str| serde_yaml::from_str::<Currency>(text).map_err(|error| error.to_string());
        assert_eq!(said("GBP").unwrap().0, "GBP");
        let wrong = said("GPB").unwrap_err();
        assert!(wrong.contains("`GPB` is not a currency of ISO 4217; did you mean `GBP`?"), "{wrong}");
        let wrong = said("pounds").unwrap_err();
        assert!(wrong.contains("codes look like `GBP`"), "{wrong}");
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
