//! `pumps.yaml`: spec sheets of pump models.

use serde::Deserialize;

use crate::records::forms::{Dated, Format, Keyed, Money, Name, Number, Text};
use crate::units::{Current, Duration, Flow, Length, Power, Voltage};

/// The file as it is written.
#[derive(Debug, Clone, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
pub struct PumpsFile {
    pub format: Format,
    #[serde(default)]
    pub models: Keyed<Name, Model>,
}

/// A pump model.
#[derive(Debug, Clone, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
pub struct Model {
    pub speeds: Speeds,
    #[serde(default)]
    pub power: Option<Power>,
    #[serde(default)]
    pub frame: Option<Text>,
    #[serde(default)]
    pub ports: Option<Ports>,
    #[serde(default)]
    pub supply: Option<Supply>,
    #[serde(default)]
    pub current: SpeedCurrents,
    #[serde(default)]
    pub low_speed: Option<Number>,
    #[serde(default)]
    pub curve: Vec<CurvePoint>,
    #[serde(default)]
    pub low_curve: Vec<CurvePoint>,
    #[serde(default)]
    pub cost: Option<Dated<Money>>,
    #[serde(default)]
    pub sell: Option<Dated<Money>>,
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

/// The sizes of the unions.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct Ports {
    pub inlet: Option<Length>,
    pub discharge: Option<Length>,
}

/// The electrical supply.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct Supply {
    pub voltage: Option<Voltage>,
    pub phases: Option<Number>,
}

/// The current at each speed.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct SpeedCurrents {
    pub run: Option<Current>,
    pub low: Option<Current>,
    pub high: Option<Current>,
}

/// A point of a pump's curve.
#[derive(Debug, Clone, Copy, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
pub struct CurvePoint {
    pub flow: Flow,
    pub head: Length,
}
