//! `tubs.yaml`: types of spa, and what a spa is made of; a site's spa is written with the same
//! fields and inherits from its type key by key.

use serde::Deserialize;

use crate::address::Id;
use crate::records::forms::{Date, Fitted, Format, Keyed, Name, Number, OneOrMany, Text};
use crate::units::{Area, Daily, Duration, Flow, Length, PerDay, Power, Pressure, Temperature, Volume};

/// The file as it is written.
#[derive(Debug, Clone, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
pub struct TubsFile {
    pub format: Format,
    #[serde(default)]
    pub types: Keyed<Name, SpaFile>,
}

/// A spa or a type of spa.
#[derive(Debug, Clone, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct SpaFile {
    pub r#type: Option<Name>,
    pub fitted: Option<Fitted>,
    pub volume: Option<Volume>,
    pub stated_flow: Option<Flow>,
    pub setpoint: Option<Temperature>,
    pub bathers: Option<PerDay>,
    pub pipe: Option<PipeFile>,
    pub filters: Keyed<Id, FilterFile>,
    pub pumps: Keyed<Id, PumpFile>,
    pub equipment: Keyed<Id, EquipmentFile>,
    pub parts: Keyed<Id, PartFitted>,
}

/// The pipe loop.
#[derive(Debug, Clone, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct PipeFile {
    pub size: Option<Length>,
    pub length: Option<Length>,
    pub fittings: Keyed<Id, Number>,
    pub c: Option<Number>,
    pub static_head: Option<Length>,
    pub heater_drop: Option<HeadDrop>,
}

/// A loss of head at a flow.
#[derive(Debug, Clone, Copy, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
pub struct HeadDrop {
    pub head: Length,
    pub flow: Flow,
}

/// A loss of pressure at a flow.
#[derive(Debug, Clone, Copy, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
pub struct PressureDrop {
    pub pressure: Pressure,
    pub flow: Flow,
}

/// A filter.
#[derive(Debug, Clone, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct FilterFile {
    pub kind: Option<FilterKind>,
    pub area: Option<Area>,
    pub fitted: Option<Fitted>,
    pub clean_pressure: Option<Pressure>,
    pub drop: Option<PressureDrop>,
    pub parts: Keyed<Id, PartFitted>,
    pub here: Option<bool>,
}

/// The kind of a filter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum FilterKind {
    /// Pleated cartridge.
    Cartridge,
    /// High-rate sand or other granules.
    Sand,
    /// Precoat.
    Precoat,
}

/// A pump.
#[derive(Debug, Clone, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct PumpFile {
    pub model: Option<Name>,
    pub duty: Option<Duty>,
    pub fitted: Option<Fitted>,
    pub meter: Option<Meter>,
    pub bolt_spacing: Option<Length>,
    pub program: Option<OneOrMany<ProgramFile>>,
    pub filters_at: Option<Vec<Speed>>,
    pub parts: Keyed<Id, PartFitted>,
    pub here: Option<bool>,
}

/// What a pump is there for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
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
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Deserialize)]
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

/// A counter of hours.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct Meter {
    pub digits: Option<u32>,
    pub at_fitting: Option<Duration>,
}

/// Hours a day at each speed.
#[derive(Debug, Clone, Copy, PartialEq, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct SpeedHours {
    pub run: Option<Daily>,
    pub low: Option<Daily>,
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
#[derive(Debug, Clone, Copy, PartialEq, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct ProgramFile {
    pub from: Option<Date>,
    pub run: Option<Daily>,
    pub low: Option<Daily>,
    pub high: Option<Daily>,
    pub occupied: Option<SpeedHours>,
}

impl ProgramFile {
    /// The hours a day of a day with nobody in, or of every day if occupation is not known.
    pub fn base(&self) -> SpeedHours {
        SpeedHours { run: self.run, low: self.low, high: self.high }
    }
}

/// What else stands in a spa.
#[derive(Debug, Clone, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct EquipmentFile {
    pub kind: Option<Id>,
    pub power: Option<Power>,
    pub model: Option<Text>,
    pub fitted: Option<Fitted>,
    pub parts: Keyed<Id, PartFitted>,
    pub here: Option<bool>,
}

/// When a part was fitted that was not as old as what it stands in.
#[derive(Debug, Clone, Copy, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
pub struct PartFitted {
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
