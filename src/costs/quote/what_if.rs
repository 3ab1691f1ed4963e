//! Other ways of doing a year that can be asked for: how often visits are promised, by which limits parts are renewed, one
//! kind of part renewed early.

use std::str::FromStr;

use crate::address::Id;
use crate::records::Fleet;
use crate::records::fleet::RenewBy;

/// Another way of doing the year.
#[derive(Debug, Clone, PartialEq)]
pub enum WhatIf {
    /// Visits are promised so often.
    Visits(String),
    /// Parts are renewed by these limits.
    RenewBy(RenewBy),
    /// Every part of a kind is renewed at the first visit of the year.
    Renew(Id),
}

impl FromStr for WhatIf {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || {
            format!(
                "`{text}` is no way of doing the year; there are `visits=monthly` (or quarterly, half-yearly …), \
                 `renew_by=book`, `life` or `earliest`, and `renew=shaft_seal` (or another part of the book)"
            )
        };
        let (key, value) = text.split_once('=').ok_or_else(wrong)?;
        match (key.trim(), value.trim()) {
            ("visits", words) if crate::schedule::visits::work::months_between(words).is_some() => {
                Ok(Self::Visits(words.to_owned()))
            }
            ("renew_by", "book") => Ok(Self::RenewBy(RenewBy::Book)),
            ("renew_by", "life") => Ok(Self::RenewBy(RenewBy::Life)),
            ("renew_by", "earliest") => Ok(Self::RenewBy(RenewBy::Earliest)),
            ("renew", part) => Id::parse(part).map(Self::Renew).map_err(|_| wrong()),
            _ => Err(wrong()),
        }
    }
}

impl WhatIf {
    /// In words: "with visits monthly".
    pub fn words(&self) -> String {
        match self {
            Self::Visits(words) => format!("with visits {words}"),
            Self::RenewBy(RenewBy::Book) => "renewing by the book alone".to_owned(),
            Self::RenewBy(RenewBy::Life) => "renewing by the fleet's own lives where that pays".to_owned(),
            Self::RenewBy(RenewBy::Earliest) => {
                "renewing by the book or the fleet's own lives, whichever is first".to_owned()
            }
            Self::Renew(part) => {
                format!("renewing every {} at the first visit", crate::report::format::words(part.as_str()))
            }
        }
    }

    /// Whether it moves due dates, so that the year must be planned anew.
    pub fn is_planned_anew(&self) -> bool {
        matches!(self, Self::RenewBy(_))
    }

    /// The fleet as it would be.
    pub fn applied(&self, fleet: &Fleet) -> Fleet {
        let mut fleet = fleet.clone();
        if let Self::RenewBy(by) = self {
            fleet.settings.renew_by = *by;
        }
        fleet
    }
}
