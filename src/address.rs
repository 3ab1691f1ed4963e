//! Ids and addresses: how a record names a site, a spa, a pump, a part.
//!
//! An address joins ids with `/` (`terrace/jets-1`); inside a site's own file the site is left out.

use std::cmp::Ordering;
use std::fmt;

use compact_str::{CompactString, format_compact};
use serde::de::Visitor;
use serde::{Deserialize, Deserializer};

/// The longest an id may be.
const LONGEST: usize = 40;

/// Why a text is not an id: `None` if it is one.
pub fn fault_of_id(text: &str) -> Option<&'static str> {
    if text.is_empty() {
        return Some("is empty");
    }
    if text.len() > LONGEST {
        return Some("is longer than 40 characters");
    }
    if !text.starts_with(|c: char| c.is_ascii_lowercase()) {
        return Some("must begin with a lower-case letter");
    }
    if !text.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'_' || b == b'-') {
        return Some("may hold only lower-case letters, digits, `_` and single `-`");
    }
    if text.contains("--") {
        return Some("must not hold two `-` in a row");
    }
    None
}

macro_rules! text_type {
    ($(#[$doc:meta])* $name:ident, $check:expr, $what:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, Hash)]
        // Nearly all are short enough to need no memory of their own, and a fleet has millions.
        pub struct $name(CompactString);

        impl $name {
            /// Reads one.
            ///
            /// # Errors
            /// Says what is wrong with the text.
            pub fn parse(text: &str) -> Result<Self, String> {
                let shown = || text.chars().take(60).collect::<String>();
                match $check(text) {
                    Some(fault) => Err(format!("{} `{}` {fault}", $what, shown())),
                    None => Ok(Self(CompactString::new(text))),
                }
            }

            /// As text.
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                struct Reader;
                impl Visitor<'_> for Reader {
                    type Value = $name;
                    fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
                        f.write_str("a string")
                    }
                    fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<$name, E> {
                        $name::parse(text).map_err(E::custom)
                    }
                }
                deserializer.deserialize_str(Reader)
            }
        }

        impl PartialOrd for $name {
            fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
                Some(self.cmp(other))
            }
        }

        impl Ord for $name {
            /// Id by id, so that `a/b` comes before `a-1/b`.
            fn cmp(&self, other: &Self) -> Ordering {
                // The separator sorts before whatever may stand in an id.
                let (mine, theirs) = (self.0.as_bytes(), other.0.as_bytes());
                match mine.iter().zip(theirs).find(|(a, b)| a != b) {
                    None => mine.len().cmp(&theirs.len()),
                    Some((b'/', _)) => Ordering::Less,
                    Some((_, b'/')) => Ordering::Greater,
                    Some((a, b)) => a.cmp(b),
                }
            }
        }
    };
}

text_type! {
    /// The id of a site, a spa, a pump, a filter, a piece of equipment, a part, a task or a customer.
    Id, fault_of_id, "the id"
}

text_type! {
    /// The address of something at a site: `terrace`, `terrace/jets-1`, `terrace/jets-1/shaft_seal`.
    Address, |text: &str| {
        if text.split('/').count() > 3 {
            return Some("has more than three steps: spa, equipment, part");
        }
        text.split('/').find_map(fault_of_id)
    }, "the address"
}

impl Address {
    /// The address of a spa.
    pub fn of_spa(spa: &Id) -> Self {
        Self(spa.0.clone())
    }

    /// The address of something in it.
    #[must_use]
    pub fn join(&self, id: &Id) -> Self {
        Self(format_compact!("{}/{}", self.0, id.0))
    }

    /// The first id: the spa.
    pub fn spa(&self) -> &str {
        self.0.split('/').next().unwrap_or_default()
    }

    /// The last id.
    pub fn last(&self) -> &str {
        self.0.rsplit('/').next().unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_keep_to_the_rules() {
        for good in ["a", "quay-house", "jets-1", "shaft_seal", &"a".repeat(40)] {
            assert!(Id::parse(good).is_ok(), "{good}");
        }
        for wrong in ["", "1a", "A", "a--b", "a/b", "..", "a.b", "é", "a b", &"a".repeat(41)] {
            assert!(Id::parse(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn addresses_sort_id_by_id() {
        let mut all: Vec<Address> = ["a-1/b", "a/c", "a"].iter().map(|t| Address::parse(t).unwrap()).collect();
        all.sort();
        assert_eq!(all.iter().map(Address::as_str).collect::<Vec<_>>(), ["a", "a/c", "a-1/b"]);
        assert!(Address::parse("a/../b").is_err());
        assert!(Address::parse("a/b/c/d").is_err());
        assert!(Address::parse("/a").is_err());
    }
}
