//! `pumps.yaml`: spec sheets of pump models.

use schemars::JsonSchema;
use serde::Deserialize;

use crate::records::forms::{Dated, Format, Keyed, Money, Name, Number, Text, sound};
use crate::units::{Current, Duration, Flow, Length, Power, Voltage};

/// The file as it is written.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
pub struct PumpsFile {
    /// The version of the record format: `1`.
    pub format: Format,
    /// Pump models by name.
    #[serde(default)]
    pub models: Keyed<Name, Model>,
}

/// A pump model.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
pub struct Model {
    /// How many speeds it has: 1 (`run`) or 2 (`low`, `high`).
    pub speeds: Speeds,
    /// The motor's power.
    #[serde(default)]
    pub power: Option<Power>,
    /// The motor's frame.
    #[serde(default)]
    pub frame: Option<Text>,
    /// The sizes of its unions.
    #[serde(default)]
    pub ports: Option<Ports>,
    /// Its electrical supply.
    #[serde(default)]
    pub supply: Option<Supply>,
    /// The motor current at each speed.
    #[serde(default)]
    pub current: SpeedCurrents,
    /// The low speed as a share of full speed.
    #[serde(default, deserialize_with = "low_speed")]
    pub low_speed: Option<Number>,
    /// Its curve at `run` or `high`: points of flow and head.
    #[serde(default)]
    pub curve: Vec<CurvePoint>,
    /// Its curve at `low`, if the maker gives one.
    #[serde(default)]
    pub low_curve: Vec<CurvePoint>,
    /// What it costs.
    #[serde(default)]
    pub cost: Option<Dated<Money>>,
    /// What the customer pays for it.
    #[serde(default)]
    pub sell: Option<Dated<Money>>,
    /// How long an exchange takes.
    #[serde(default)]
    pub time: Option<Duration>,
}

/// How many speeds a pump has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Speeds {
    /// One: `run`.
    One,
    /// Two: `low` and `high`.
    Two,
}

impl<'de> Deserialize<'de> for Speeds {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        match Number::deserialize(deserializer)?.0 {
            1.0 => Ok(Self::One),
            2.0 => Ok(Self::Two),
            other => Err(serde::de::Error::custom(format!("a pump has 1 or 2 speeds, not {other}"))),
        }
    }
}

fn low_speed<'de, D: serde::Deserializer<'de>>(deserializer: D) -> Result<Option<Number>, D::Error> {
    let below_one = |share: &Option<Number>| share.is_none_or(|share| share.0 > 0.0 && share.0 < 1.0);
    sound(deserializer, below_one, "a low speed is a share of full speed, above 0 and below 1, like `0.5`")
}

fn phases<'de, D: serde::Deserializer<'de>>(deserializer: D) -> Result<Option<Number>, D::Error> {
    let one_or_three = |phases: &Option<Number>| phases.is_none_or(|phases| [1.0, 3.0].contains(&phases.0));
    sound(deserializer, one_or_three, "a supply has 1 or 3 phases")
}

/// The sizes of the unions.
#[derive(Debug, Clone, Copy, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Ports {
    /// At the inlet.
    pub inlet: Option<Length>,
    /// At the discharge.
    pub discharge: Option<Length>,
}

/// The electrical supply.
#[derive(Debug, Clone, Copy, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Supply {
    /// The voltage.
    pub voltage: Option<Voltage>,
    /// The phases: 1 or 3.
    #[serde(deserialize_with = "phases")]
    pub phases: Option<Number>,
}

/// The current at each speed.
#[derive(Debug, Clone, Copy, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct SpeedCurrents {
    /// Of a one-speed pump.
    pub run: Option<Current>,
    /// At low speed.
    pub low: Option<Current>,
    /// At high speed.
    pub high: Option<Current>,
}

/// A point of a pump's curve.
#[derive(Debug, Clone, Copy, Deserialize, JsonSchema)]
pub struct CurvePoint {
    /// The flow.
    pub flow: Flow,
    /// The head at that flow.
    pub head: Length,
}

/// The frame whose feet are so many inches apart, centre to centre across the shaft; `None` = neither of the two
/// that spa pumps have.
///
/// NEMA MG 1 has 4 1/4 in (frame 48) and 4 7/8 in (frame 56) for that measure, 2E; feet are slotted, so that a tape
/// finds it within some half an inch.
pub fn frame_by_bolts(inches: f64) -> Option<&'static str> {
    match inches {
        3.7..=4.6 => Some("48"),
        4.7..=5.8 => Some("56"),
        _ => None,
    }
}
