//! `fleet.yaml`: who, units, money, people, and how the reports are made.

use serde::Deserialize;

use crate::address::Id;
use crate::records::forms::{Currency, Date, Dated, Format, Keyed, Money, Number, Share, Text, Timezone};
use crate::units::{Duration, Period};

/// The file as it is written.
#[derive(Debug, Clone, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
pub struct FleetFile {
    pub format: Format,
    pub fleet: Text,
    #[serde(default)]
    pub prepared_by: Option<Text>,
    #[serde(default)]
    pub seed: Option<u64>,
    pub currency: Currency,
    #[serde(default)]
    pub units: Units,
    #[serde(default)]
    pub paper: Paper,
    pub timezone: Timezone,
    #[serde(default)]
    pub limits: Option<Id>,
    #[serde(default)]
    pub renew_by: RenewBy,
    #[serde(default)]
    pub electricity: Option<Dated<Money>>,
    #[serde(default)]
    pub tax: Option<Tax>,
    #[serde(default)]
    pub typed_in: TypedIn,
    #[serde(default)]
    pub labour: Labour,
    #[serde(default)]
    pub technicians: Keyed<Id, Technician>,
    #[serde(default)]
    pub holidays: Vec<Date>,
    #[serde(default)]
    pub stock: Stock,
    #[serde(default)]
    pub quote: Quote,
    #[serde(default)]
    pub reports_for: ReportsFor,
}

/// How reports show quantities, and the units people type where they say none.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Units {
    /// Litres, bar, degrees Celsius.
    #[default]
    Metric,
    /// US gallons, psi, degrees Fahrenheit.
    Us,
}

/// The paper of the reports.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Paper {
    /// ISO A4.
    #[default]
    A4,
    /// US letter.
    UsLetter,
}

/// Which limits a due date keeps to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum RenewBy {
    /// The book's.
    Book,
    /// The best age of the life model where it pays, else the book's.
    Life,
    /// Whichever comes first.
    #[default]
    Earliest,
}

/// Who the site reports are for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ReportsFor {
    /// The office: with costs, notes and record files.
    #[default]
    Office,
    /// The customer: without them.
    Customer,
}

/// The tax on what is charged.
#[derive(Debug, Clone, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
pub struct Tax {
    pub name: Text,
    pub rate: Share,
}

/// The units people type where they say none.
#[derive(Debug, Clone, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct TypedIn {
    pub hours: Option<HoursUnit>,
    pub current: Option<CurrentUnit>,
    pub pressure: Option<PressureUnit>,
    pub flow: Option<FlowUnit>,
    pub temperature: Option<TemperatureUnit>,
}

macro_rules! unit_words {
    ($($(#[$doc:meta])* $name:ident { $($variant:ident = $word:literal),+ })+) => {
        $($(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
        #[expect(missing_docs, reason = "the words are the units")]
        pub enum $name { $(#[serde(rename = $word)] $variant),+ }

        impl $name {
            /// The unit as written.
            pub fn word(self) -> &'static str {
                match self { $(Self::$variant => $word),+ }
            }
        })+
    };
}

unit_words! {
    /// A unit of hours run.
    HoursUnit { Hours = "h", Minutes = "min" }
    /// A unit of current.
    CurrentUnit { Amperes = "A" }
    /// A unit of pressure.
    PressureUnit { Bar = "bar", Psi = "psi", Kilopascal = "kPa" }
    /// A unit of flow.
    FlowUnit { LitresPerMinute = "L/min", GallonsPerMinute = "gpm", CubicMetresPerHour = "m3/h" }
    /// A unit of temperature.
    TemperatureUnit { Celsius = "C", Fahrenheit = "F" }
}

/// What an hour and a call-out cost and are charged at.
#[derive(Debug, Clone, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct Labour {
    pub cost: Option<Dated<Money>>,
    pub charge: Option<Dated<Money>>,
    pub callout: Option<Dated<Money>>,
    pub out_of_hours: Option<Number>,
}

/// A technician.
#[derive(Debug, Clone, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct Technician {
    pub name: Option<Text>,
    pub days: Option<Vec<Weekday>>,
    pub hours_per_day: Option<Duration>,
    pub skills: Vec<Text>,
    pub leave: Vec<Leave>,
}

/// A stretch of days off, both ends counted.
#[derive(Debug, Clone, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
pub struct Leave {
    pub from: Date,
    pub to: Date,
}

/// A day of the week.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
#[expect(missing_docs, reason = "the words are the days")]
pub enum Weekday {
    Mon,
    Tue,
    Wed,
    Thu,
    Fri,
    Sat,
    Sun,
}

/// What the shelf should cover.
#[derive(Debug, Clone, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct Stock {
    pub service_level: Option<Share>,
    pub lead_time: Option<Period>,
}

/// How a year is quoted.
#[derive(Debug, Clone, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct Quote {
    pub margin: Option<Share>,
    pub covers: Option<Share>,
}

impl FleetFile {
    /// The unit of a bare number of hours.
    pub fn hours_unit(&self) -> &'static str {
        self.typed_in.hours.map_or("h", HoursUnit::word)
    }

    /// The unit of a bare pressure.
    pub fn pressure_unit(&self) -> &'static str {
        self.typed_in.pressure.map_or(if self.units == Units::Us { "psi" } else { "bar" }, PressureUnit::word)
    }

    /// The unit of a bare flow.
    pub fn flow_unit(&self) -> &'static str {
        self.typed_in.flow.map_or(if self.units == Units::Us { "gpm" } else { "L/min" }, FlowUnit::word)
    }

    /// The unit of a bare temperature.
    pub fn temperature_unit(&self) -> &'static str {
        self.typed_in.temperature.map_or(if self.units == Units::Us { "F" } else { "C" }, TemperatureUnit::word)
    }
}
