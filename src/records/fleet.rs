//! `fleet.yaml`: who, units, money, people, and how the reports are made.

use schemars::JsonSchema;
use serde::Deserialize;

use crate::address::Id;
use crate::records::forms::{Currency, Date, Dated, Format, Keyed, Money, Number, Share, Text, Timezone, sound};
use crate::units::{Duration, Period};

/// The file as it is written.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
pub struct FleetFile {
    /// The version of the record format: `1`.
    pub format: Format,
    /// The fleet's name, as printed.
    #[serde(deserialize_with = "name")]
    pub fleet: Text,
    /// Who prepares the reports, as printed.
    #[serde(default)]
    pub prepared_by: Option<Text>,
    /// The seed of every simulation.
    #[serde(default)]
    pub seed: Option<u64>,
    /// The currency of all amounts, by its ISO 4217 code.
    pub currency: Currency,
    /// How reports show quantities.
    #[serde(default)]
    pub units: Units,
    /// The paper of the reports.
    #[serde(default)]
    pub paper: Paper,
    /// The time zone of all dates, by its IANA name.
    pub timezone: Timezone,
    /// The rule book the sites are judged by: `uk`, `us`, `none`, or a file in `limits/`.
    #[serde(default)]
    pub limits: Option<Id>,
    /// Which limits a due date keeps to.
    #[serde(default)]
    pub renew_by: RenewBy,
    /// What a kilowatt hour costs, always or from each day on.
    #[serde(default)]
    pub electricity: Option<Dated<Money>>,
    /// The tax on what is charged.
    #[serde(default)]
    pub tax: Option<Tax>,
    /// The units of bare numbers in logs and sheets.
    #[serde(default)]
    pub typed_in: TypedIn,
    /// What an hour and a call-out cost and are charged at.
    #[serde(default)]
    pub labour: Labour,
    /// The people who make the visits, by id.
    #[serde(default)]
    pub technicians: Keyed<Id, Technician>,
    /// Days on which nobody works.
    #[serde(default)]
    pub holidays: Vec<Date>,
    /// What the shelf should cover.
    #[serde(default)]
    pub stock: Stock,
    /// How a year is quoted.
    #[serde(default)]
    pub quote: Quote,
    /// Who the site reports are for.
    #[serde(default)]
    pub reports_for: ReportsFor,
}

/// How reports show quantities, and the units people type where they say none.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Units {
    /// Litres, bar, degrees Celsius.
    #[default]
    Metric,
    /// US gallons, psi, degrees Fahrenheit.
    Us,
}

/// The paper of the reports.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Paper {
    /// ISO A4.
    #[default]
    A4,
    /// US letter.
    UsLetter,
}

/// Which limits a due date keeps to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize, JsonSchema)]
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
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum ReportsFor {
    /// The office: with costs, notes and record files.
    #[default]
    Office,
    /// The customer: without them.
    Customer,
}

/// The tax on what is charged.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
pub struct Tax {
    /// Its name, as printed.
    pub name: Text,
    /// Its rate as a share: `0.20`.
    pub rate: Share,
}

/// The units people type where they say none.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct TypedIn {
    /// Of hours run.
    pub hours: Option<HoursUnit>,
    /// Of motor currents.
    pub current: Option<CurrentUnit>,
    /// Of pressures.
    pub pressure: Option<PressureUnit>,
    /// Of flows.
    pub flow: Option<FlowUnit>,
    /// Of temperatures.
    pub temperature: Option<TemperatureUnit>,
}

macro_rules! unit_words {
    ($($(#[$doc:meta])* $name:ident { $($variant:ident = $word:literal),+ })+) => {
        $($(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
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
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Labour {
    /// What an hour of work costs.
    pub cost: Option<Dated<Money>>,
    /// What an hour of work is charged at.
    pub charge: Option<Dated<Money>>,
    /// What a call-out is charged at.
    pub callout: Option<Dated<Money>>,
    /// The factor outside working hours.
    pub out_of_hours: Option<Number>,
}

/// A technician.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Technician {
    /// The name, as printed on work sheets.
    pub name: Option<Text>,
    /// The days worked.
    #[serde(deserialize_with = "days")]
    pub days: Option<Vec<Weekday>>,
    /// The hours worked on such a day.
    #[serde(deserialize_with = "hours_per_day")]
    pub hours_per_day: Option<Duration>,
    /// What only some may do.
    pub skills: Vec<Text>,
    /// Days off.
    pub leave: Vec<Leave>,
}

fn name<'de, D: serde::Deserializer<'de>>(deserializer: D) -> Result<Text, D::Error> {
    sound(
        deserializer,
        |name: &Text| !name.0.trim().is_empty(),
        "a fleet has a name, which stands on all that is printed",
    )
}

fn days<'de, D: serde::Deserializer<'de>>(deserializer: D) -> Result<Option<Vec<Weekday>>, D::Error> {
    let once = |days: &Option<Vec<Weekday>>| {
        days.as_ref().is_none_or(|days| {
            !days.is_empty() && days.iter().enumerate().all(|(index, day)| !days[..index].contains(day))
        })
    };
    sound(deserializer, once, "name each day worked once, like `[mon, tue]`; somebody who is away has `leave`")
}

fn hours_per_day<'de, D: serde::Deserializer<'de>>(deserializer: D) -> Result<Option<Duration>, D::Error> {
    let of_a_day = |hours: &Option<Duration>| {
        hours.is_none_or(|hours| (0.0..=24.0).contains(&hours.0.get::<uom::si::time::hour>()) && hours.0.value > 0.0)
    };
    sound(deserializer, of_a_day, "a working day has more than 0 and at most 24 hours, like `7 h`")
}

/// A stretch of days off, both ends counted.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
pub struct Leave {
    /// The first day off.
    pub from: Date,
    /// The last day off.
    pub to: Date,
}

/// A day of the week.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
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

impl Weekday {
    /// The calendar's word for it.
    pub fn of_calendar(self) -> chrono::Weekday {
        match self {
            Self::Mon => chrono::Weekday::Mon,
            Self::Tue => chrono::Weekday::Tue,
            Self::Wed => chrono::Weekday::Wed,
            Self::Thu => chrono::Weekday::Thu,
            Self::Fri => chrono::Weekday::Fri,
            Self::Sat => chrono::Weekday::Sat,
            Self::Sun => chrono::Weekday::Sun,
        }
    }
}

/// What the shelf should cover.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Stock {
    /// The chance that the shelf lasts through a lead time, as a share.
    pub service_level: Option<Share>,
    /// How long an order takes, where a part does not say.
    pub lead_time: Option<Period>,
}

/// How a year is quoted.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Quote {
    /// The margin as a share of the price, below 0.95.
    pub margin: Option<Share>,
    /// The chance that the price covers the year's cost, as a share from 0.5 to 0.99.
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
