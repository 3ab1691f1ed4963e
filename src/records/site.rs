//! `sites/<site>.yaml` as it is written, and the lines of `sites.csv`.

use serde::Deserialize;

use crate::address::Id;
use crate::records::fleet::Weekday;
use crate::records::forms::{Date, Dated, Format, Keyed, Money, Text};
use crate::records::log::Visit;
use crate::records::tubs::SpaFile;
use crate::units::Duration;

/// The file as it is written.
#[derive(Debug, Clone, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
pub struct SiteFile {
    pub format: Format,
    #[serde(default)]
    pub name: Option<Text>,
    #[serde(default)]
    pub customer: Option<Id>,
    #[serde(default)]
    pub r#use: Option<Use>,
    #[serde(default)]
    pub limits: Option<Id>,
    #[serde(default)]
    pub area: Option<Text>,
    #[serde(default)]
    pub address: Option<Text>,
    #[serde(default)]
    pub contact: Option<Contact>,
    #[serde(default)]
    pub key: Option<Text>,
    #[serde(default)]
    pub travel: Option<Travel>,
    #[serde(default)]
    pub visit_days: Option<Vec<Weekday>>,
    #[serde(default)]
    pub records_from: Option<Date>,
    #[serde(default)]
    pub closed: Vec<Closed>,
    #[serde(default)]
    pub lost_night: Option<Dated<Money>>,
    #[serde(default)]
    pub spas: Keyed<Id, SpaFile>,
    #[serde(default)]
    pub log: Vec<Option<Visit>>,
}

/// What a site is used for: it picks the limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "lowercase")]
#[expect(missing_docs, reason = "the words are those of the record format")]
pub enum Use {
    Rental,
    Gym,
    Hotel,
    Club,
    Private,
}

impl Use {
    /// The word in records.
    pub fn word(self) -> &'static str {
        match self {
            Self::Rental => "rental",
            Self::Gym => "gym",
            Self::Hotel => "hotel",
            Self::Club => "club",
            Self::Private => "private",
        }
    }

    /// Reads the word.
    pub fn read(text: &str) -> Option<Self> {
        [Self::Rental, Self::Gym, Self::Hotel, Self::Club, Self::Private].into_iter().find(|u| u.word() == text)
    }
}

/// Whom to ask for on site.
#[derive(Debug, Clone, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct Contact {
    pub name: Option<Text>,
    pub phone: Option<Text>,
}

/// The way there and back.
#[derive(Debug, Clone, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct Travel {
    pub time: Option<Duration>,
    pub cost: Option<Dated<Money>>,
}

/// A closed season, both ends counted.
#[derive(Debug, Clone, Copy, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
pub struct Closed {
    pub from: Date,
    pub to: Date,
    #[serde(default)]
    pub drained: Option<bool>,
}

/// A line of `sites.csv`: one spa.
#[derive(Debug, Clone)]
#[expect(missing_docs, reason = "the fields are the sheet's columns")]
pub struct SheetLine {
    pub line: u32,
    pub name: Option<Text>,
    pub customer: Option<Id>,
    pub r#use: Option<Use>,
    pub area: Option<Text>,
    pub spa: Id,
    pub file: SpaFile,
}
