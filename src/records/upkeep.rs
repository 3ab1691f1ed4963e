//! `upkeep.yaml`: the book of wear parts and tasks. The built-in book has the same form.

use serde::Deserialize;

use crate::address::Id;
use crate::records::forms::{Dated, Format, Keyed, Money, Name, Number, OneOrMany, Text};
use crate::records::tubs::ProgramFile;
use crate::units::{Duration, Period, Pressure};

/// The file as it is written.
#[derive(Debug, Clone, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
pub struct UpkeepFile {
    pub format: Format,
    #[serde(default)]
    pub parts: Keyed<Id, Part>,
    #[serde(default)]
    pub tasks: Keyed<Id, Task>,
    /// Usual programs by use and duty; only the built-in book need have them.
    #[serde(default)]
    pub programs: Option<Keyed<Id, Keyed<Id, OneOrMany<ProgramFile>>>>,
}

/// What wears out and is renewed.
#[derive(Debug, Clone, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
pub struct Part {
    pub fits: Id,
    #[serde(default)]
    pub models: Option<Vec<Name>>,
    #[serde(default)]
    pub count: Option<u32>,
    #[serde(default)]
    pub interval: Interval,
    #[serde(default)]
    pub wears_by: Option<Clock>,
    #[serde(default)]
    pub source: Option<Text>,
    #[serde(default)]
    pub number: Option<Text>,
    #[serde(default)]
    pub cost: Option<Dated<Money>>,
    #[serde(default)]
    pub sell: Option<Dated<Money>>,
    #[serde(default)]
    pub time: Option<Duration>,
    #[serde(default)]
    pub also_renew: Vec<Id>,
    #[serde(default)]
    pub failure: Option<Failure>,
    #[serde(default)]
    pub shape: Option<Shape>,
    #[serde(default)]
    pub lead_time: Option<Period>,
    #[serde(default)]
    pub skill: Option<Text>,
}

/// When a part is due by the book: whichever comes first.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct Interval {
    pub hours: Option<Duration>,
    pub age: Option<Period>,
}

/// The clock a part's life is measured on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Clock {
    /// Hours run.
    Hours,
    /// Days in place.
    Age,
}

/// What a failure costs beside the part.
#[derive(Debug, Clone, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct Failure {
    pub cost: Option<Dated<Money>>,
    pub down: Option<Period>,
}

/// What is believed of a part's Weibull shape before the fleet's own failures can say.
#[derive(Debug, Clone, Copy, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
pub struct Shape {
    pub low: Number,
    pub typical: Number,
    pub high: Number,
}

/// What is done again and again, with nothing renewed.
#[derive(Debug, Clone, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
pub struct Task {
    pub fits: Id,
    #[serde(default)]
    pub every: Option<Every>,
    #[serde(default)]
    pub at_most: Option<Period>,
    #[serde(default)]
    pub or_pressure_rise: Option<Pressure>,
    #[serde(default)]
    pub or_bather_limit: Option<bool>,
    #[serde(default)]
    pub time: Option<Duration>,
    #[serde(default)]
    pub skill: Option<Text>,
    #[serde(default)]
    pub source: Option<Text>,
}

/// How often a task comes round.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Every {
    /// Each time guests change.
    Changeover,
    /// By the calendar.
    Period(Period),
}

impl<'de> Deserialize<'de> for Every {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        use crate::units::Written;
        let Text(text) = Text::deserialize(deserializer)?;
        if text == "changeover" {
            return Ok(Self::Changeover);
        }
        Period::read(&text)
            .map(Self::Period)
            .map_err(|error| serde::de::Error::custom(format!("{error}, or with the word `changeover`")))
    }
}
