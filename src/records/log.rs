//! The log of a site: one entry a visit, as it was written on the sheet.

use std::ops::Deref;
use std::sync::LazyLock;

use schemars::JsonSchema;
use serde::Deserialize;

use crate::address::{Address, Id};
use crate::records::forms::{Date, Fitted, Keyed, Name, Named, Number, Reported, Text, sound};
use crate::units::{Concentration, Current, Duration, Flow, Period, Pressure, Redox, Temperature, Typed, Written};

/// A visit.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
pub struct Visit {
    /// The day.
    pub date: Date,
    /// The time of day: `09:10` or `09:10-10:25`.
    #[serde(default)]
    pub time: Option<TimeOfDay>,
    /// The technician: an id in `fleet.yaml`.
    #[serde(default)]
    pub by: Option<Id>,
    /// Why the visit was made.
    #[serde(default)]
    pub why: Option<Why>,
    /// When a failure was reported: the day, or the day and the time, `2026-10-06 09:40`.
    #[serde(default)]
    pub reported: Option<Reported>,
    /// What was read and done, by address: `terrace`, `terrace/jets-1`.
    pub at: Keyed<Address, Entry>,
    /// The time worked.
    #[serde(default)]
    pub labour: Option<Typed<Duration>>,
    /// Pieces used, by part number.
    #[serde(default)]
    pub used: Keyed<Name, Number>,
    /// What was seen and left for later.
    #[serde(default)]
    pub left: Vec<Left>,
    /// For the technician only.
    #[serde(default)]
    pub note: Option<Text>,
}

/// The time of a visit: `09:10` or `09:10-10:25`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct TimeOfDay {
    /// Minutes after midnight at the start.
    pub start: u32,
    /// Minutes after midnight at the end, if written.
    pub end: Option<u32>,
}

/// A visit through midnight lasts no longer: assumed, so that two times the other way round are seen.
const LONGEST_NIGHT_MINUTES: u32 = 8 * 60;

impl TimeOfDay {
    /// How long it lasts, in minutes, also through midnight; `None` where no end is written, or it lies before the start.
    pub fn lasts(self) -> Option<u32> {
        let end = self.end?;
        let through_midnight =
            || (end + 24 * 60 - self.start <= LONGEST_NIGHT_MINUTES).then(|| end + 24 * 60 - self.start);
        end.checked_sub(self.start).or_else(through_midnight)
    }

    /// Reads one.
    ///
    /// # Errors
    /// Says what a time looks like.
    pub fn read(text: &str) -> Result<Self, String> {
        let shown = || text.chars().take(40).collect::<String>();
        let wrong = || format!("`{}` is not a time of day; write it like `09:10` or `09:10-10:25`", shown());
        let minutes = |t: &str| -> Result<u32, String> {
            let (hour, minute) = t.trim().split_once(':').ok_or_else(wrong)?;
            let digits = |t: &str| (1..=2).contains(&t.len()) && t.bytes().all(|b| b.is_ascii_digit());
            if !digits(hour) || !digits(minute) {
                return Err(wrong());
            }
            let (hour, minute): (u32, u32) = (hour.parse().map_err(|_| wrong())?, minute.parse().map_err(|_| wrong())?);
            if hour < 24 && minute < 60 { Ok(hour * 60 + minute) } else { Err(wrong()) }
        };
        match text.split_once('-') {
            Some((start, end)) => Ok(Self { start: minutes(start)?, end: Some(minutes(end)?) }),
            None => Ok(Self { start: minutes(text)?, end: None }),
        }
    }
}

impl<'de> Deserialize<'de> for TimeOfDay {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let Text(text) = Text::deserialize(deserializer)?;
        Self::read(&text).map_err(serde::de::Error::custom)
    }
}

impl std::fmt::Display for TimeOfDay {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        write!(f, "{:02}:{:02}", self.start / 60, self.start % 60)
    }
}

/// Why a visit was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
#[expect(missing_docs, reason = "the words are those of the record format")]
pub enum Why {
    Planned,
    Callout,
    Changeover,
    Test,
}

/// Something seen and left for later.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
pub struct Left {
    /// Where.
    pub at: Address,
    /// What was seen.
    #[serde(default)]
    pub note: Option<Text>,
    /// Whether it is to be quoted for.
    #[serde(default)]
    pub quote: Option<bool>,
    /// What is to be done, in words that the customer reads on the statement and the quotation.
    #[serde(default)]
    pub what: Option<Text>,
}

fn ph<'de, D: serde::Deserializer<'de>>(deserializer: D) -> Result<Option<Number>, D::Error> {
    let on_the_scale = |ph: &Option<Number>| ph.is_none_or(|ph| ph.0 <= 14.0);
    sound(deserializer, on_the_scale, "it is a bare number from 0 to 14, like `7.4`")
}

macro_rules! with_readings {
    ($($(#[$attribute:meta])* struct $name:ident { $($(#[$field_attribute:meta])* $field:ident: $type:ty,)* })+) => {
        $($(#[$attribute])*
        #[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
        #[serde(default)]
        pub struct $name {
            /// What the counter of hours shows.
            pub hours: Option<Typed<Duration>>,
            /// What the counter of the low speed shows.
            pub hours_low: Option<Typed<Duration>>,
            /// What the counter of the high speed shows.
            pub hours_high: Option<Typed<Duration>>,
            /// The motor current at `run` or `high`.
            pub current: Option<Typed<Current>>,
            /// The motor current at `low`.
            pub current_low: Option<Typed<Current>>,
            /// The gauge at the filter's inlet.
            pub pressure: Option<Typed<Pressure>>,
            /// The flow of the water.
            pub flow: Option<Typed<Flow>>,
            /// The temperature of the water.
            pub temperature: Option<Typed<Temperature>>,
            /// The pH of the water.
            #[serde(deserialize_with = "ph")]
            pub ph: Option<Number>,
            /// Free chlorine.
            pub free_chlorine: Option<Typed<Concentration>>,
            /// Combined chlorine.
            pub combined_chlorine: Option<Typed<Concentration>>,
            /// Bromine.
            pub bromine: Option<Typed<Concentration>>,
            /// Total alkalinity.
            pub alkalinity: Option<Typed<Concentration>>,
            /// Calcium hardness.
            pub hardness: Option<Typed<Concentration>>,
            /// Total dissolved solids.
            pub tds: Option<Typed<Concentration>>,
            /// The redox potential.
            pub redox: Option<Typed<Redox>>,
            $($(#[$field_attribute])* pub $field: $type,)*
        }

        impl $name {
            /// The readings written, in the order of the format.
            fn taken(&self) -> Taken {
                use uom::si::{electric_current::ampere, electric_potential::millivolt, pressure::bar,
                    thermodynamic_temperature::degree_celsius, time::hour, volume_rate::liter_per_minute};
                fn one<T>(typed: Option<Typed<T>>, fixed: impl Fn(T) -> f64) -> Option<(f64, bool)> {
                    typed.map(|typed| match typed {
                        Typed::Bare(number) => (number, true),
                        Typed::WithUnit(value) => (fixed(value), false),
                    })
                }
                let hours = |typed| one(typed, |d: Duration| d.0.get::<hour>());
                let current = |typed| one(typed, |c: Current| c.0.get::<ampere>());
                let concentration = |typed| one(typed, |c: Concentration| c.milligrams_per_litre);
                let all = [
                    (Quantity::Hours, hours(self.hours)),
                    (Quantity::HoursLow, hours(self.hours_low)),
                    (Quantity::HoursHigh, hours(self.hours_high)),
                    (Quantity::Current, current(self.current)),
                    (Quantity::CurrentLow, current(self.current_low)),
                    (Quantity::Pressure, one(self.pressure, |p: Pressure| p.0.get::<bar>())),
                    (Quantity::Flow, one(self.flow, |f: Flow| f.0.get::<liter_per_minute>())),
                    (Quantity::Temperature, one(self.temperature, |t: Temperature| t.0.get::<degree_celsius>())),
                    (Quantity::Ph, self.ph.map(|n| (n.0, false))),
                    (Quantity::FreeChlorine, concentration(self.free_chlorine)),
                    (Quantity::CombinedChlorine, concentration(self.combined_chlorine)),
                    (Quantity::Bromine, concentration(self.bromine)),
                    (Quantity::Alkalinity, concentration(self.alkalinity)),
                    (Quantity::Hardness, concentration(self.hardness)),
                    (Quantity::Tds, concentration(self.tds)),
                    (Quantity::Redox, one(self.redox, |r: Redox| r.0.get::<millivolt>())),
                ];
                Taken(all.into_iter().filter_map(|(quantity, of)| of.map(|(value, bare)| (value, quantity, bare))).collect())
            }
        })+
    };
}

with_readings! {
    /// What was read and done at an address on a visit.
    struct WrittenEntry {
        /// Tasks of the book that were done.
        done: Vec<Id>,
        /// Parts that were renewed: a list of those that were due, or a mapping that says why.
        renewed: Named<Renewal>,
        /// Repairs that restore nothing of a part's life.
        repaired: Named<Repair>,
        /// How a part looked.
        inspected: Keyed<Id, Condition>,
        /// The pump was exchanged for another.
        exchanged: Option<Box<Exchange>>,
        /// Gone from that day on.
        removed: Option<bool>,
        /// A counter was replaced or set anew.
        meter_reset: Option<Box<MeterReset>>,
        /// Work put off, and until when.
        deferred: Keyed<Id, Date>,
        /// How long it was down up to the visit's day.
        down: Option<Period>,
        /// Readings taken after the work.
        after: Option<Readings>,
        /// For the technician only.
        note: Option<Text>,
    }

    /// Readings taken after the work.
    struct Readings {}
}

/// What was read and done at an address on a visit. A fleet has millions and most hold a few readings, so the rest stands
/// apart; an entry without it reads as one in which nothing of the kind was written.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(from = "WrittenEntry")]
pub struct Entry {
    /// Tasks of the book that were done.
    pub done: Vec<Id>,
    /// Readings taken as it was found, until they stand beside those of the sheet.
    pub before: Taken,
    /// Whether the water was tested before the work.
    pub water_tested: bool,
    work: Option<Box<EntryWork>>,
}

/// What an entry says beside tasks done and readings.
#[derive(Debug, Clone, Default)]
pub struct EntryWork {
    /// Parts that were renewed: a list of those that were due, or a mapping that says why.
    pub renewed: Named<Renewal>,
    /// Repairs that restore nothing of a part's life.
    pub repaired: Named<Repair>,
    /// How a part looked.
    pub inspected: Keyed<Id, Condition>,
    /// The pump was exchanged for another.
    pub exchanged: Option<Box<Exchange>>,
    /// Gone from that day on.
    pub removed: Option<bool>,
    /// A counter was replaced or set anew.
    pub meter_reset: Option<Box<MeterReset>>,
    /// Work put off, and until when.
    pub deferred: Keyed<Id, Date>,
    /// How long it was down up to the visit's day.
    pub down: Option<Period>,
    /// Readings taken after the work.
    pub after: Taken,
    /// For the technician only.
    pub note: Option<Text>,
}

impl EntryWork {
    fn is_empty(&self) -> bool {
        let Self { renewed, repaired, inspected, exchanged, removed, meter_reset, deferred, down, after, note } = self;
        renewed.0.is_empty()
            && repaired.0.is_empty()
            && inspected.0.is_empty()
            && exchanged.is_none()
            && removed.is_none()
            && meter_reset.is_none()
            && deferred.0.is_empty()
            && down.is_none()
            && after.is_empty()
            && note.is_none()
    }
}

impl Entry {
    /// Hands out its readings, before and after the work: kept in one place, they are not kept here as well.
    pub fn take_readings(&mut self) -> (Taken, Taken) {
        let after = self.work.as_mut().map(|work| std::mem::take(&mut work.after)).unwrap_or_default();
        self.work = self.work.take().filter(|work| !work.is_empty());
        (std::mem::take(&mut self.before), after)
    }

    /// Whether it says anything beside tasks done and readings.
    pub fn says_more_than_readings(&self) -> bool {
        self.work.is_some()
    }

    /// What it says beside tasks done and readings, to be mended; `None` = nothing.
    pub fn work_mut(&mut self) -> Option<&mut EntryWork> {
        self.work.as_deref_mut()
    }
}

impl Deref for Entry {
    type Target = EntryWork;

    fn deref(&self) -> &EntryWork {
        static NOTHING: LazyLock<EntryWork> = LazyLock::new(EntryWork::default);
        self.work.as_deref().unwrap_or(&NOTHING)
    }
}

impl JsonSchema for Entry {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Entry".into()
    }

    fn json_schema(generator: &mut schemars::SchemaGenerator) -> schemars::Schema {
        WrittenEntry::json_schema(generator)
    }
}

impl From<WrittenEntry> for Entry {
    fn from(written: WrittenEntry) -> Self {
        let before = written.taken();
        let work = EntryWork {
            renewed: written.renewed,
            repaired: written.repaired,
            inspected: written.inspected,
            exchanged: written.exchanged,
            removed: written.removed,
            meter_reset: written.meter_reset,
            deferred: written.deferred,
            down: written.down,
            after: written.after.as_ref().map(Readings::taken).unwrap_or_default(),
            note: written.note,
        };
        let mut done = written.done;
        done.shrink_to_fit();
        let water_tested = before.0.iter().any(|(_, quantity, _)| quantity.is_water_test());
        Self { done, before, water_tested, work: (!work.is_empty()).then(|| Box::new(work)) }
    }
}

/// Readings as they were typed: a number, of what, and whether it came without a unit, which the fleet then says.
#[derive(Debug, Clone, Default)]
pub struct Taken(Box<[(f64, Quantity, bool)]>);

impl Taken {
    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The readings in fixed units; a bare number is in the unit the fleet types in.
    pub fn readings<'a>(&'a self, typed: &'a TypedUnits) -> impl Iterator<Item = (Quantity, f64)> + 'a {
        self.0.iter().filter_map(|(value, quantity, bare)| {
            Some((*quantity, if *bare { quantity.of_bare(*value, typed)? } else { *value }))
        })
    }
}

/// The units of bare numbers in logs and sheets.
#[derive(Debug, Clone, Copy)]
pub struct TypedUnits {
    /// Of hours run.
    pub hours: &'static str,
    /// Of pressures.
    pub pressure: &'static str,
    /// Of flows.
    pub flow: &'static str,
    /// Of temperatures.
    pub temperature: &'static str,
}

/// What a reading is of. The unit is fixed: h, A, bar, L/min, °C, pH, mg/L, mV.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[expect(missing_docs, reason = "the names are those of the record format")]
pub enum Quantity {
    Hours,
    HoursLow,
    HoursHigh,
    Current,
    CurrentLow,
    Pressure,
    Flow,
    Temperature,
    Ph,
    FreeChlorine,
    CombinedChlorine,
    Bromine,
    Alkalinity,
    Hardness,
    Tds,
    Redox,
}

impl Quantity {
    /// Every quantity, in the order of the format.
    pub const ALL: [Self; 16] = [
        Self::Hours,
        Self::HoursLow,
        Self::HoursHigh,
        Self::Current,
        Self::CurrentLow,
        Self::Pressure,
        Self::Flow,
        Self::Temperature,
        Self::Ph,
        Self::FreeChlorine,
        Self::CombinedChlorine,
        Self::Bromine,
        Self::Alkalinity,
        Self::Hardness,
        Self::Tds,
        Self::Redox,
    ];

    /// The field's name.
    pub fn name(self) -> &'static str {
        match self {
            Self::Hours => "hours",
            Self::HoursLow => "hours_low",
            Self::HoursHigh => "hours_high",
            Self::Current => "current",
            Self::CurrentLow => "current_low",
            Self::Pressure => "pressure",
            Self::Flow => "flow",
            Self::Temperature => "temperature",
            Self::Ph => "ph",
            Self::FreeChlorine => "free_chlorine",
            Self::CombinedChlorine => "combined_chlorine",
            Self::Bromine => "bromine",
            Self::Alkalinity => "alkalinity",
            Self::Hardness => "hardness",
            Self::Tds => "tds",
            Self::Redox => "redox",
        }
    }

    /// A bare number of it in its fixed unit; `None` for a unit that does not belong to it.
    fn of_bare(self, number: f64, typed: &TypedUnits) -> Option<f64> {
        use uom::si::{
            electric_current::ampere, electric_potential::millivolt, pressure::bar,
            thermodynamic_temperature::degree_celsius, time::hour, volume_rate::liter_per_minute,
        };
        match self {
            Self::Hours | Self::HoursLow | Self::HoursHigh => {
                Duration::of(number, typed.hours).map(|d| d.0.get::<hour>())
            }
            Self::Current | Self::CurrentLow => Current::of(number, "A").map(|c| c.0.get::<ampere>()),
            Self::Pressure => Pressure::of(number, typed.pressure).map(|p| p.0.get::<bar>()),
            Self::Flow => Flow::of(number, typed.flow).map(|f| f.0.get::<liter_per_minute>()),
            Self::Temperature => Temperature::of(number, typed.temperature).map(|t| t.0.get::<degree_celsius>()),
            Self::Ph => Some(number),
            Self::FreeChlorine
            | Self::CombinedChlorine
            | Self::Bromine
            | Self::Alkalinity
            | Self::Hardness
            | Self::Tds => Concentration::of(number, "mg/L").map(|c| c.milligrams_per_litre),
            Self::Redox => Redox::of(number, "mV").map(|r| r.0.get::<millivolt>()),
        }
    }

    /// Whether it is a test of the water.
    pub fn is_water_test(self) -> bool {
        self >= Self::Temperature
    }
}

/// How a part came to be renewed.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(default)]
#[derive(Default)]
pub struct Renewal {
    /// Why it was renewed.
    pub because: Because,
    /// How a failure came to be known.
    pub noticed: Noticed,
    /// What was found.
    pub found: Option<Text>,
}

/// Why something was renewed or exchanged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[expect(missing_docs, reason = "the words are those of the record format")]
pub enum Because {
    Failure,
    #[default]
    Due,
    WhileThere,
    Damage,
    Request,
}

/// How a failure came to be known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[expect(missing_docs, reason = "the words are those of the record format")]
pub enum Noticed {
    InUse,
    #[default]
    Visit,
}

/// A repair that restores nothing of a part's life.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Repair {
    /// What was found.
    pub found: Option<Text>,
}

/// How a part looked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
#[expect(missing_docs, reason = "the words are those of the record format")]
pub enum Condition {
    Good,
    Worn,
    Failed,
}

/// A pump exchanged for another.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Exchange {
    /// Why the pump was exchanged.
    pub because: Because,
    /// How a failure came to be known.
    pub noticed: Noticed,
    /// The model of the new pump; left out: as before.
    pub model: Option<Name>,
    /// What was found.
    pub found: Option<Text>,
    /// When the new pump was first fitted elsewhere, if it is not new.
    pub fitted: Option<Fitted>,
}

/// A counter, or each of two, set anew.
#[derive(Debug, Clone, Copy, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct MeterReset {
    /// What the counter showed before.
    pub showed: Option<Typed<Duration>>,
    /// What it was set to.
    pub to: Option<Typed<Duration>>,
    /// The counter of the low speed.
    pub low: Option<CounterReset>,
    /// The counter of the high speed.
    pub high: Option<CounterReset>,
}

/// A counter set anew: what it showed and what it was set to.
#[derive(Debug, Clone, Copy, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct CounterReset {
    /// What the counter showed before.
    pub showed: Option<Typed<Duration>>,
    /// What it was set to.
    pub to: Option<Typed<Duration>>,
}
