//! `tubs.yaml`: types of spa, and what a spa is made of; a site's spa is written with the same
//! fields and inherits from its type key by key.

use schemars::JsonSchema;
use serde::Deserialize;

use crate::address::Id;
use crate::records::forms::{Date, Fitted, Format, Keyed, Name, Number, OneOrMany, Text, sound};
use crate::units::{Area, Daily, Duration, Flow, Length, PerDay, Power, Pressure, Temperature, Volume};

/// The file as it is written.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
pub struct TubsFile {
    /// The version of the record format: `1`.
    pub format: Format,
    /// Types of spa by name.
    #[serde(default)]
    pub types: Keyed<Name, SpaFile>,
}

/// A spa or a type of spa.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct SpaFile {
    /// The type from `tubs.yaml` it takes every field from that is left out here.
    pub r#type: Option<Name>,
    /// When it was fitted, as exactly as it is known.
    pub fitted: Option<Fitted>,
    /// The volume of its water.
    pub volume: Option<Volume>,
    /// The flow its maker states; shown as stated, never as measured.
    pub stated_flow: Option<Flow>,
    /// The water temperature it is set to.
    pub setpoint: Option<Temperature>,
    /// How many bathe in it on a day in use.
    pub bathers: Option<PerDay>,
    /// The pipe loop of the filtering pump.
    pub pipe: Option<PipeFile>,
    /// Its filters by id.
    pub filters: Keyed<Id, FilterFile>,
    /// Its pumps by id.
    pub pumps: Keyed<Id, PumpFile>,
    /// What else stands in it, by id: heaters, covers, lamps.
    pub equipment: Keyed<Id, EquipmentFile>,
    /// Its own parts that were not as old as it when the records began.
    pub parts: Keyed<Id, PartFitted>,
}

/// The pipe loop.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct PipeFile {
    /// The inner size of the pipe.
    pub size: Option<Length>,
    /// The length of the loop.
    pub length: Option<Length>,
    /// How many of each fitting.
    pub fittings: Keyed<Id, Number>,
    /// The Hazen-Williams coefficient.
    pub c: Option<Number>,
    /// The head that the loop lifts the water at rest.
    pub static_head: Option<Length>,
    /// What the heater takes.
    pub heater_drop: Option<HeadDrop>,
}

/// A loss of head at a flow.
#[derive(Debug, Clone, Copy, Deserialize, JsonSchema)]
pub struct HeadDrop {
    /// The loss of head.
    pub head: Length,
    /// The flow at which it is lost.
    pub flow: Flow,
}

/// A loss of pressure at a flow.
#[derive(Debug, Clone, Copy, Deserialize, JsonSchema)]
pub struct PressureDrop {
    /// The loss of pressure.
    pub pressure: Pressure,
    /// The flow at which it is lost.
    pub flow: Flow,
}

/// A filter.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct FilterFile {
    /// Its kind.
    pub kind: Option<FilterKind>,
    /// Its area.
    pub area: Option<Area>,
    /// When it was fitted; left out: with the spa.
    pub fitted: Option<Fitted>,
    /// What the gauge at its inlet shows when it is clean.
    pub clean_pressure: Option<Pressure>,
    /// What it takes when clean.
    pub drop: Option<PressureDrop>,
    /// Its parts that were not as old as it when the records began.
    pub parts: Keyed<Id, PartFitted>,
    /// `false` drops a filter of the type.
    pub here: Option<bool>,
}

/// The kind of a filter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum FilterKind {
    /// Pleated cartridge.
    Cartridge,
    /// High-rate sand or other granules.
    Sand,
    /// Precoat.
    Precoat,
}

impl FilterKind {
    /// The word of the records.
    pub fn word(self) -> &'static str {
        match self {
            Self::Cartridge => "cartridge",
            Self::Sand => "sand",
            Self::Precoat => "precoat",
        }
    }
}

/// A pump.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct PumpFile {
    /// Its model in `pumps.yaml`.
    pub model: Option<Name>,
    /// What it is there for.
    pub duty: Option<Duty>,
    /// When it was fitted; left out: with the spa.
    pub fitted: Option<Fitted>,
    /// Its counter of hours.
    pub meter: Option<Meter>,
    /// The distance of the bolts across its feet, when the plate cannot be read.
    pub bolt_spacing: Option<Length>,
    /// Its hours a day, or a list of programs each from a day on.
    pub program: Option<OneOrMany<ProgramFile>>,
    /// The speeds it filters at.
    pub filters_at: Option<Vec<Speed>>,
    /// Its parts that were not as old as it when the records began.
    pub parts: Keyed<Id, PartFitted>,
    /// `false` drops a pump of the type.
    pub here: Option<bool>,
}

/// What a pump is there for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Duty {
    /// It turns the water over through the filter.
    Filtration,
    /// It drives the jets.
    Jets,
    /// Both: it filters at low unless `filters_at` says otherwise.
    FiltrationAndJets,
}

/// A speed of a pump.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Speed {
    /// All speeds together, where one counter serves two and no program splits it.
    #[serde(skip)]
    All,
    /// The only speed of a one-speed pump.
    Run,
    /// The low speed.
    Low,
    /// The high speed.
    High,
}

impl Speed {
    /// The word in records and tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::All => "all",
            Self::Run => "run",
            Self::Low => "low",
            Self::High => "high",
        }
    }
}

fn digits<'de, D: serde::Deserializer<'de>>(deserializer: D) -> Result<Option<u32>, D::Error> {
    let of_a_counter = |digits: &Option<u32>| digits.is_none_or(|digits| (3..=9).contains(&digits));
    sound(deserializer, of_a_counter, "a counter of hours has from 3 to 9 digits")
}

/// A counter of hours.
#[derive(Debug, Clone, Copy, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Meter {
    /// How many digits it has before it rolls over.
    #[serde(deserialize_with = "digits")]
    pub digits: Option<u32>,
    /// What it showed on the day the pump was fitted.
    pub at_fitting: Option<Duration>,
}

/// Hours a day at each speed.
#[derive(Debug, Clone, Copy, PartialEq, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct SpeedHours {
    /// The time a day of a one-speed pump.
    pub run: Option<Daily>,
    /// The time a day at low speed.
    pub low: Option<Daily>,
    /// The time a day at high speed.
    pub high: Option<Daily>,
}

impl SpeedHours {
    /// The speeds named, each with its hours a day.
    pub fn named(&self) -> impl Iterator<Item = (Speed, f64)> {
        [(Speed::Run, self.run), (Speed::Low, self.low), (Speed::High, self.high)]
            .into_iter()
            .filter_map(|(speed, daily)| daily.map(|d| (speed, d.hours)))
    }

    /// The hours a day at a speed, if named.
    pub fn at(&self, speed: Speed) -> Option<f64> {
        self.named().find(|(s, _)| *s == speed).map(|(_, hours)| hours)
    }
}

/// A program that holds from a day on.
#[derive(Debug, Clone, Copy, PartialEq, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct ProgramFile {
    /// The first day it holds; left out: from the fitting.
    pub from: Option<Date>,
    /// The time a day of a one-speed pump.
    pub run: Option<Daily>,
    /// The time a day at low speed.
    pub low: Option<Daily>,
    /// The time a day at high speed.
    pub high: Option<Daily>,
    /// What holds instead on days with guests in.
    pub occupied: Option<SpeedHours>,
}

impl ProgramFile {
    /// The hours a day of a day with nobody in, or of every day if occupation is not known.
    pub fn base(&self) -> SpeedHours {
        SpeedHours { run: self.run, low: self.low, high: self.high }
    }
}

/// What else stands in a spa.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct EquipmentFile {
    /// Its kind, the word that the `fits` of parts and tasks names: `heater`, `cover`.
    pub kind: Option<Id>,
    /// Its power.
    pub power: Option<Power>,
    /// Its model, as printed.
    pub model: Option<Text>,
    /// When it was fitted; left out: with the spa.
    pub fitted: Option<Fitted>,
    /// Its parts that were not as old as it when the records began.
    pub parts: Keyed<Id, PartFitted>,
    /// `false` drops a piece of equipment of the type.
    pub here: Option<bool>,
}

/// When a part was fitted that was not as old as what it stands in.
#[derive(Debug, Clone, Copy, Deserialize, JsonSchema)]
pub struct PartFitted {
    /// When the part was fitted.
    pub fitted: Fitted,
}

/// What inherits field by field.
pub trait Inherit {
    /// Takes from `base` every field that is left out here.
    fn inherit(&mut self, base: &Self);
}

macro_rules! inherit {
    ($name:ident: $($option:ident),* ; $($map:ident),*) => {
        impl Inherit for $name {
            fn inherit(&mut self, base: &Self) {
                $(if self.$option.is_none() { self.$option.clone_from(&base.$option); })*
                $(inherit_map(&mut self.$map, &base.$map);)*
            }
        }
    };
}

/// Mappings merge key by key: what the base has comes first, in its order.
fn inherit_map<V: Inherit + Clone>(own: &mut Keyed<Id, V>, base: &Keyed<Id, V>) {
    let mut merged = Vec::with_capacity(own.0.len() + base.0.len());
    for (id, value) in base.iter() {
        let mut value_here = own.get(id).cloned();
        if let Some(here) = &mut value_here {
            here.inherit(value);
        }
        merged.push((id.clone(), value_here.unwrap_or_else(|| value.clone())));
    }
    merged.extend(own.0.iter().filter(|(id, _)| base.get(id).is_none()).cloned());
    own.0 = merged;
}

inherit!(SpaFile: fitted, volume, stated_flow, setpoint, bathers ; filters, pumps, equipment, parts);
inherit!(FilterFile: kind, area, fitted, clean_pressure, drop, here ; parts);
inherit!(PumpFile: model, duty, fitted, meter, bolt_spacing, program, filters_at, here ; parts);
inherit!(EquipmentFile: kind, power, model, fitted, here ; parts);

impl Inherit for PartFitted {
    fn inherit(&mut self, _: &Self) {}
}

impl Inherit for PipeFile {
    fn inherit(&mut self, base: &Self) {
        self.size = self.size.or(base.size);
        self.length = self.length.or(base.length);
        self.c = self.c.or(base.c);
        self.static_head = self.static_head.or(base.static_head);
        self.heater_drop = self.heater_drop.or(base.heater_drop);
        for (id, number) in base.fittings.iter() {
            if self.fittings.get(id).is_none() {
                self.fittings.0.push((id.clone(), *number));
            }
        }
    }
}

impl SpaFile {
    /// Takes from its type every field that is left out, mappings key by key.
    pub fn inherit_from(&mut self, base: &Self) {
        self.inherit(base);
        match (&mut self.pipe, &base.pipe) {
            (Some(own), Some(base)) => own.inherit(base),
            (own @ None, base) => own.clone_from(base),
            (Some(_), None) => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spa_overrides_its_type_field_by_field() {
        let base: SpaFile = serde_yaml::from_str(
            "{volume: 1250 L, pumps: {filtration: {model: F, duty: filtration, program: {run: 24 h/day}}, jets: {duty: jets}}}",
        )
        .unwrap();
        let mut own: SpaFile = serde_yaml::from_str(
            "{pumps: {filtration: {program: [{run: 10 h/day}]}, jets: {here: false}, extra: {duty: jets}}}",
        )
        .unwrap();
        own.inherit_from(&base);
        assert_eq!(own.volume, base.volume);
        let pump = own.pumps.get(&Id::parse("filtration").unwrap()).unwrap();
        assert_eq!(pump.model.as_ref().unwrap().0, "F");
        assert_eq!(pump.program.as_ref().unwrap().0[0].run.unwrap().hours, 10.0);
        assert_eq!(own.pumps.0.len(), 3);
        assert_eq!(own.pumps.get(&Id::parse("jets").unwrap()).unwrap().here, Some(false));
    }
}
