//! Rule books: which limit applies to a use, and where each number is from.
//!
//! A book is a file of `data/limits`, or one of the fleet's own in the same form: sets of limits, and
//! which set each use is judged by. A use or a number that is not there gives `unknown`, never a guess.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Deserialize;

use crate::address::Id;
use crate::records::forms::{Format, Keyed, Number, Text};
use crate::records::log::Quantity;
use crate::records::site::Use;
use crate::records::tubs::FilterKind;
use crate::records::yaml::{self, Reading};
use crate::units::{Daily, Duration, FilterRate, Period, Temperature, Velocity};

const BUILT_IN: [(&str, &str); 3] = [
    ("none", include_str!("../data/limits/none.yaml")),
    ("uk", include_str!("../data/limits/uk.yaml")),
    ("us", include_str!("../data/limits/us.yaml")),
];

/// The JSON Schema of a rule book of one's own.
pub(crate) fn schema() -> serde_json::Value {
    crate::records::schema::schema_of::<BookFile>("limits/<name>.yaml")
}

/// A rule book.
#[derive(Debug, Clone)]
pub struct RuleBook {
    /// Its name: `uk`.
    pub name: String,
    /// Its title, as printed.
    pub title: String,
    /// What is said of the book as a whole.
    pub note: Option<String>,
    sets: BTreeMap<Id, LimitSet>,
    uses: BTreeMap<Id, Id>,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
struct BookFile {
    /// The version of the form: `1`.
    #[expect(dead_code, reason = "read so that a wrong format is told")]
    format: Format,
    /// Its title, as printed.
    title: Text,
    /// What is said of the book as a whole.
    #[serde(default)]
    note: Option<Text>,
    /// Sets of limits by name.
    #[serde(default)]
    sets: Keyed<Id, LimitSet>,
    /// The set each use is judged by.
    #[serde(default)]
    uses: Keyed<Id, Id>,
}

/// The limits one use is judged by.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct LimitSet {
    /// How long the filter may take to pass the spa's volume once.
    pub turnover: Option<Limit<Duration>>,
    /// How long the water is filtered a day.
    pub filtration: Option<Limit<Daily>>,
    /// The flow through each unit of a filter's area.
    pub filter_rate: FilterRates,
    /// The velocity of the water in the pipe.
    pub velocity: Velocities,
    /// The temperature of the water.
    pub temperature: Option<Limit<Temperature>>,
    /// Limits of water tests.
    pub water_tests: WaterTests,
    /// How often the water is tested on a day it is in use.
    pub tests_per_day: Option<Limit<Number>>,
    /// How long a spa in use may go without a test of the water.
    pub tests_every: Option<Limit<Duration>>,
    /// When the water is to be changed.
    pub refill: Option<Refill>,
}

/// A limit with its source.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(bound = "T: Deserialize<'de>")]
#[schemars(bound = "T: JsonSchema")]
pub struct Limit<T> {
    /// The least allowed.
    #[serde(default)]
    pub at_least: Option<T>,
    /// The most allowed.
    #[serde(default)]
    pub at_most: Option<T>,
    /// Where the number comes from.
    pub source: Text,
    /// The source's edition.
    #[serde(default)]
    pub edition: Option<Text>,
    /// How the number is known.
    pub known: Known,
}

/// How a number is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Known {
    /// The text of the source itself was read.
    Read,
    /// Read in a reproduction of the source.
    SecondHand,
    /// From memory.
    Recalled,
}

impl Known {
    /// In words, for print.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::Read => "read in the source",
            Self::SecondHand => "read in a reproduction",
            Self::Recalled => "from memory; check before relying on it",
        }
    }
}

/// Filter rates by kind of filter.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct FilterRates {
    /// Of a pleated cartridge.
    pub cartridge: Option<Limit<FilterRate>>,
    /// Of sand or other granules.
    pub sand: Option<Limit<FilterRate>>,
    /// Of a precoat filter.
    pub precoat: Option<Limit<FilterRate>>,
}

/// Velocities by side of the pump.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Velocities {
    /// On the suction side.
    pub suction: Option<Limit<Velocity>>,
    /// On the return side.
    pub r#return: Option<Limit<Velocity>>,
}

/// Limits of water tests; concentrations in mg/L, redox in mV.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct WaterTests {
    /// The pH.
    pub ph: Option<Limit<Number>>,
    /// Free chlorine, in mg/L.
    pub free_chlorine: Option<Limit<Number>>,
    /// Combined chlorine, in mg/L.
    pub combined_chlorine: Option<Limit<Number>>,
    /// Bromine, in mg/L.
    pub bromine: Option<Limit<Number>>,
    /// Total alkalinity, in mg/L.
    pub alkalinity: Option<Limit<Number>>,
    /// Calcium hardness, in mg/L.
    pub hardness: Option<Limit<Number>>,
    /// Total dissolved solids, in mg/L.
    pub tds: Option<Limit<Number>>,
    /// The redox potential, in mV.
    pub redox: Option<Limit<Number>>,
}

/// When the water is to be changed.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
pub struct Refill {
    /// The rule it follows.
    pub rule: RefillRule,
    /// Bathers for each cubic metre.
    #[serde(default)]
    pub bathers_per_m3: Option<Number>,
    /// The longest that may pass between two.
    #[serde(default)]
    pub at_most: Option<Period>,
    /// Where the rule comes from.
    pub source: Text,
    /// The source's edition.
    #[serde(default)]
    pub edition: Option<Text>,
    /// How the rule is known.
    pub known: Known,
}

/// The rule a refill follows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum RefillRule {
    /// After so many bathers for each cubic metre.
    BathersPerVolume,
    /// After each group of guests, at the latest after `at_most`.
    EachGroup,
    /// The replacement interval of the busiest day: a third of the gallons over the day's bathers.
    ReplacementInterval,
}

impl<T> Limit<T> {
    /// Source and edition, as printed.
    pub fn source_text(&self) -> String {
        source_text(&self.source, self.edition.as_ref())
    }
}

impl Refill {
    /// Source and edition, as printed.
    pub fn source_text(&self) -> String {
        source_text(&self.source, self.edition.as_ref())
    }
}

/// A source without an edition says so: whoever holds it to be another one must not think it was looked up.
fn source_text(source: &Text, edition: Option<&Text>) -> String {
    match edition {
        Some(edition) => format!("{source}, {edition}"),
        None => format!("{source}, edition not noted"),
    }
}

impl RuleBook {
    /// Its sets of limits, by name.
    pub fn sets(&self) -> impl Iterator<Item = (&Id, &LimitSet)> {
        self.sets.iter()
    }

    /// The set each use is judged by.
    pub fn uses(&self) -> impl Iterator<Item = (&Id, &Id)> {
        self.uses.iter()
    }

    /// The limits a use is judged by; `None` gives `unknown`.
    pub fn limits(&self, used_as: Option<Use>) -> Option<&LimitSet> {
        let word = used_as?.word();
        let set = self.uses.iter().find(|(id, _)| id.as_str() == word).map(|(_, set)| set)?;
        self.sets.get(set)
    }
}

impl LimitSet {
    /// The rate limit of a kind of filter.
    pub fn filter_rate(&self, kind: FilterKind) -> Option<&Limit<FilterRate>> {
        match kind {
            FilterKind::Cartridge => self.filter_rate.cartridge.as_ref(),
            FilterKind::Sand => self.filter_rate.sand.as_ref(),
            FilterKind::Precoat => self.filter_rate.precoat.as_ref(),
        }
    }

    /// The low and high limit of a water test, in the reading's fixed unit, with the source.
    pub fn water_test(&self, quantity: Quantity) -> Option<(Option<f64>, Option<f64>, String, Known)> {
        use uom::si::thermodynamic_temperature::degree_celsius;
        let test = match quantity {
            Quantity::Temperature => {
                let limit = self.temperature.as_ref()?;
                let celsius = |t: Temperature| t.0.get::<degree_celsius>();
                return Some((
                    limit.at_least.map(celsius),
                    limit.at_most.map(celsius),
                    limit.source_text(),
                    limit.known,
                ));
            }
            Quantity::Ph => &self.water_tests.ph,
            Quantity::FreeChlorine => &self.water_tests.free_chlorine,
            Quantity::CombinedChlorine => &self.water_tests.combined_chlorine,
            Quantity::Bromine => &self.water_tests.bromine,
            Quantity::Alkalinity => &self.water_tests.alkalinity,
            Quantity::Hardness => &self.water_tests.hardness,
            Quantity::Tds => &self.water_tests.tds,
            Quantity::Redox => &self.water_tests.redox,
            _ => return None,
        };
        let limit = test.as_ref()?;
        Some((limit.at_least.map(|n| n.0), limit.at_most.map(|n| n.0), limit.source_text(), limit.known))
    }
}

/// Reads a rule book of the fleet's own.
pub fn read(name: &str, text: &str) -> Reading<RuleBook> {
    let Reading { value, problems } = yaml::read::<BookFile>(text, |_| 0);
    let value = value.map(|file| RuleBook {
        name: name.to_owned(),
        title: file.title.0,
        note: file.note.map(|n| n.0),
        sets: file.sets.0.into_iter().collect(),
        uses: file.uses.0.into_iter().collect(),
    });
    Reading { value, problems }
}

/// The built-in rule books.
pub fn built_in() -> Vec<RuleBook> {
    BUILT_IN.iter().filter_map(|(name, text)| read(name, text).value).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use uom::si::time::minute;

    #[test]
    fn every_built_in_book_is_read_without_a_problem() {
        for (name, text) in BUILT_IN {
            let reading = read(name, text);
            assert!(reading.problems.is_empty(), "{name}: {:?}", reading.problems);
            assert!(reading.value.is_some());
        }
        assert_eq!(built_in().len(), 3);
    }

    /// HSE HSG282 (2017), second-hand: 15 min for a domestic-type rental spa, 6 min for a commercial
    /// one. Iowa Admin. Code 641-15.51(1)b, read: 30 min.
    #[test]
    fn the_turnover_limits_are_those_of_their_sources() {
        let books = built_in();
        let minutes = |book: &str, used_as| {
            let book = books.iter().find(|b| b.name == book).unwrap();
            book.limits(Some(used_as))
                .and_then(|l| l.turnover.as_ref())
                .and_then(|l| l.at_most)
                .map(|d| d.0.get::<minute>().round())
        };
        assert_eq!(minutes("uk", Use::Rental), Some(15.0));
        assert_eq!(minutes("uk", Use::Gym), Some(6.0));
        assert_eq!(minutes("uk", Use::Private), None);
        assert_eq!(minutes("us", Use::Hotel), Some(30.0));
        assert_eq!(minutes("none", Use::Hotel), None);
        assert!(books[1].limits(None).is_none());
    }

    /// Georgia DPH Rule 511-3-5-.08(1)(b)2: 0.30 gpm/ft2, which is 12.22 L/min/m2.
    #[test]
    fn filter_rates_keep_their_unit() {
        let book = built_in().into_iter().find(|b| b.name == "us").unwrap();
        let rate = book.limits(Some(Use::Gym)).unwrap().filter_rate(FilterKind::Cartridge).unwrap().at_most.unwrap();
        assert!((rate.litres_per_minute_square_metre - 12.2237).abs() < 1e-3);
    }
}
