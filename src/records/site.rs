//! `sites/<site>.yaml` as it is written, and the lines of `sites.csv`.

use schemars::JsonSchema;
use serde::Deserialize;

use crate::address::Id;
use crate::records::fleet::Weekday;
use crate::records::forms::{Date, Dated, Format, Keyed, Money, Text};
use crate::records::log::Visit;
use crate::records::tubs::SpaFile;
use crate::units::Duration;

/// The file as it is written.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
pub struct SiteFile {
    /// The version of the record format: `1`.
    pub format: Format,
    /// Its name, as printed.
    #[serde(default)]
    pub name: Option<Text>,
    /// Who pays: an id in `customers.yaml`.
    #[serde(default)]
    pub customer: Option<Id>,
    /// What it is used for: picks the limits.
    #[serde(default)]
    pub r#use: Option<Use>,
    /// The rule book it is judged by, where not the fleet's.
    #[serde(default)]
    pub limits: Option<Id>,
    /// Sites of one area share a trip.
    #[serde(default)]
    pub area: Option<Text>,
    /// Where it is, as printed.
    #[serde(default)]
    pub address: Option<Text>,
    /// Whom to ask for; printed on the work sheet only.
    #[serde(default)]
    pub contact: Option<Contact>,
    /// Where the key is; printed on the work sheet only.
    #[serde(default)]
    pub key: Option<Text>,
    /// The way there and back.
    #[serde(default)]
    pub travel: Option<Travel>,
    /// The days it can be visited on; left out: the technicians' days.
    #[serde(default)]
    pub visit_days: Option<Vec<Weekday>>,
    /// All failures since then are in the log; left out: the first log entry.
    #[serde(default)]
    pub records_from: Option<Date>,
    /// Closed seasons.
    #[serde(default)]
    pub closed: Vec<Closed>,
    /// What a lost night costs.
    #[serde(default)]
    pub lost_night: Option<Dated<Money>>,
    /// What stands there: spas by id.
    #[serde(default)]
    pub spas: Keyed<Id, SpaFile>,
    /// One entry a visit, in any order.
    #[serde(default)]
    pub log: Vec<Option<Visit>>,
}

/// What a site is used for: it picks the limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Deserialize, JsonSchema)]
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
    /// Every use.
    pub const ALL: [Self; 5] = [Self::Rental, Self::Gym, Self::Hotel, Self::Club, Self::Private];

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
        Self::ALL.into_iter().find(|u| u.word() == text)
    }
}

/// Whom to ask for on site.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Contact {
    /// The name.
    pub name: Option<Text>,
    /// The telephone number.
    pub phone: Option<Text>,
}

/// The way there and back.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Travel {
    /// The time there and back.
    pub time: Option<Duration>,
    /// What the way there and back costs.
    pub cost: Option<Dated<Money>>,
}

/// A closed season, both ends counted.
#[derive(Debug, Clone, Copy, Deserialize, JsonSchema)]
pub struct Closed {
    /// The first day.
    pub from: Date,
    /// The last day.
    pub to: Date,
    /// Whether the water is out.
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
