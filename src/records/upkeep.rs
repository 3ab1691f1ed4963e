//! `upkeep.yaml`: the book of wear parts and tasks. The built-in book has the same form.

use schemars::JsonSchema;
use serde::{Deserialize, Deserializer};

use crate::address::Id;
use crate::records::forms::{Dated, Format, Keyed, Money, Name, Number, OneOrMany, Text, sound};
use crate::records::tubs::ProgramFile;
use crate::units::{Duration, Period, Pressure};

/// The file as it is written.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
pub struct UpkeepFile {
    /// The version of the record format: `1`.
    pub format: Format,
    /// What wears out and is renewed, by id.
    #[serde(default)]
    pub parts: Keyed<Id, Part>,
    /// What is done again and again, by id.
    #[serde(default)]
    pub tasks: Keyed<Id, Task>,
    /// Usual programs by use and duty; only the built-in book need have them.
    #[serde(default)]
    pub programs: Option<Keyed<Id, Keyed<Id, OneOrMany<ProgramFile>>>>,
}

/// What wears out and is renewed.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
pub struct Part {
    /// What it is a part of: `pump`, `filter`, `spa` or a kind of equipment.
    pub fits: Id,
    /// The pump models it fits; left out: all.
    #[serde(default)]
    pub models: Option<Vec<Name>>,
    /// How many make one set with one life.
    #[serde(default, deserialize_with = "count")]
    pub count: Option<u32>,
    /// When it is due by the book.
    #[serde(default)]
    pub interval: Interval,
    /// The clock its life is measured on.
    #[serde(default)]
    pub wears_by: Option<Clock>,
    /// Where the interval comes from, as printed beside it.
    #[serde(default)]
    pub source: Option<Text>,
    /// The part number on the order.
    #[serde(default)]
    pub number: Option<Text>,
    /// What it costs.
    #[serde(default)]
    pub cost: Option<Dated<Money>>,
    /// What the customer pays for it.
    #[serde(default)]
    pub sell: Option<Dated<Money>>,
    /// How long its renewal takes.
    #[serde(default)]
    pub time: Option<Duration>,
    /// The parts that are renewed with it.
    #[serde(default)]
    pub also_renew: Vec<Id>,
    /// What a failure costs beside the part.
    #[serde(default)]
    pub failure: Option<Failure>,
    /// What is believed of its Weibull shape before the fleet's own failures can say.
    #[serde(default, deserialize_with = "shape")]
    pub shape: Option<Shape>,
    /// How long an order takes.
    #[serde(default)]
    pub lead_time: Option<Period>,
    /// The skill its renewal needs.
    #[serde(default)]
    pub skill: Option<Text>,
    /// Whether the water must be out for it.
    #[serde(default)]
    pub water_out: Option<bool>,
}

fn count<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<u32>, D::Error> {
    sound(deserializer, |count: &Option<u32>| *count != Some(0), "a set has at least one piece")
}

fn shape<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<Shape>, D::Error> {
    let rises = |shape: &Option<Shape>| {
        shape.is_none_or(|Shape { low, typical, high }| 0.0 < low.0 && low <= typical && typical <= high && low < high)
    };
    sound(deserializer, rises, "a shape rises from `low` over `typical` to `high`, all above 0")
}

/// What is said of an interval of nothing.
const NOTHING: &str = "an interval is longer than nothing; leave it out where there is none";

fn hours<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<Duration>, D::Error> {
    sound(deserializer, |hours: &Option<Duration>| hours.is_none_or(|hours| hours.0.value > 0.0), NOTHING)
}

fn age<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<Period>, D::Error> {
    sound(deserializer, |age: &Option<Period>| age.is_none_or(|age| age.mean_days() > 0.0), NOTHING)
}

/// When a part is due by the book: whichever comes first.
#[derive(Debug, Clone, Copy, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Interval {
    /// After so many hours run.
    #[serde(deserialize_with = "hours")]
    pub hours: Option<Duration>,
    /// After so long in place.
    #[serde(deserialize_with = "age")]
    pub age: Option<Period>,
}

/// The clock a part's life is measured on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Clock {
    /// Hours run.
    Hours,
    /// Days in place.
    Age,
}

/// What a failure costs beside the part.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Failure {
    /// What it costs beside the part.
    pub cost: Option<Dated<Money>>,
    /// How long the spa is down.
    pub down: Option<Period>,
}

/// What is believed of a part's Weibull shape before the fleet's own failures can say.
#[derive(Debug, Clone, Copy, Deserialize, JsonSchema)]
pub struct Shape {
    /// The lowest that is likely.
    pub low: Number,
    /// The most likely.
    pub typical: Number,
    /// The highest that is likely.
    pub high: Number,
}

/// What is done again and again, with nothing renewed.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
pub struct Task {
    /// Where it is done: `pump`, `filter`, `spa` or a kind of equipment.
    pub fits: Id,
    /// How often: by the calendar, or at each changeover.
    #[serde(default)]
    pub every: Option<Every>,
    /// The longest that may pass between two.
    #[serde(default, deserialize_with = "age")]
    pub at_most: Option<Period>,
    /// Due sooner once the filter's pressure has risen so far above clean.
    #[serde(default)]
    pub or_pressure_rise: Option<Pressure>,
    /// Due sooner once the rule book's number of bathers is reached.
    #[serde(default)]
    pub or_bather_limit: Option<bool>,
    /// How long it takes.
    #[serde(default)]
    pub time: Option<Duration>,
    /// The skill it needs.
    #[serde(default)]
    pub skill: Option<Text>,
    /// Whether the water must be out for it.
    #[serde(default)]
    pub water_out: Option<bool>,
    /// Where the interval comes from, as printed beside it.
    #[serde(default)]
    pub source: Option<Text>,
}

/// What the log calls closing a site for the season, under `done` of a spa; it stands in no book.
pub const CLOSE: &str = "close";
/// What it calls opening it again.
pub const REOPEN: &str = "reopen";
impl Task {
    /// Whether something says when it is to be done again. What is only done when it is needed, such as dosing after a
    /// test, is in the log and in no plan.
    pub fn recurs(&self) -> bool {
        self.every.is_some()
            || self.at_most.is_some()
            || self.or_pressure_rise.is_some()
            || self.or_bather_limit == Some(true)
    }
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
        let period = Period::read(&text)
            .map_err(|error| serde::de::Error::custom(format!("{error}, or with the word `changeover`")))?;
        if period.mean_days() > 0.0 { Ok(Self::Period(period)) } else { Err(serde::de::Error::custom(NOTHING)) }
    }
}
