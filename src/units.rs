//! Quantities with their units: reading them as people write them, and the units each may be
//! written in.
//!
//! A quantity in a record carries its unit (`1250 L`, `50 gpm`). Each kind of quantity is a type of
//! its own around the matching `uom` type, so that a flow can never be taken for a volume; the
//! conversion factors are `uom`'s. The file knows nothing of records, files or reports.

use std::fmt;

use serde::Deserialize;
use serde::de::{self, Deserializer, Visitor};

/// Why a text is not the quantity it should be.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum QuantityError {
    /// A number without a unit.
    #[error("`{written}` has no unit; {kind} is written with {fits}, for example `{example}`")]
    Bare {
        /// The text as written.
        written: String,
        /// What is wanted, in words.
        kind: &'static str,
        /// The units that fit.
        fits: String,
        /// A right example.
        example: &'static str,
    },
    /// A unit that belongs to another kind of quantity, or to none.
    #[error("`{unit}` {what}; {kind} is written with {fits}, for example `{example}`")]
    Unit {
        /// The unit as written.
        unit: String,
        /// "is a unit of pressure", or "is not a unit known here".
        what: String,
        /// What is wanted, in words.
        kind: &'static str,
        /// The units that fit.
        fits: String,
        /// A right example.
        example: &'static str,
    },
    /// The part before the unit is not a number.
    #[error("`{written}` does not begin with a number; {kind} is written like `{example}`{hint}")]
    Number {
        /// The text as written.
        written: String,
        /// What is wanted, in words.
        kind: &'static str,
        /// A right example.
        example: &'static str,
        /// What may have been meant.
        hint: &'static str,
    },
    /// A number outside what the quantity can be.
    #[error("`{written}` cannot be {kind}: it must be {must}")]
    Range {
        /// The text as written.
        written: String,
        /// What is wanted, in words.
        kind: &'static str,
        /// The condition.
        must: &'static str,
    },
}

/// A kind of quantity that people write with a unit.
pub trait Written: Sized {
    /// The kind in words, with its article: "a flow".
    const KIND: &'static str;
    /// A right example.
    const EXAMPLE: &'static str;
    /// The units it may be written in, as written.
    const UNITS: &'static [&'static str];
    /// Whether a value below zero can be right.
    const NEGATIVE: bool;

    /// The quantity of `number` times the unit, `None` for a unit that does not belong to it.
    fn of(number: f64, unit: &str) -> Option<Self>;

    /// Reads a number and a unit.
    ///
    /// # Errors
    /// Says what is wrong and which units fit.
    fn read(written: &str) -> Result<Self, QuantityError> {
        let text = written.trim();
        let (number, unit) = split_number(text);
        let Some(number) = number else {
            let comma = text.starts_with(|c: char| c.is_ascii_digit()) && text.contains(',');
            return Err(QuantityError::Number {
                written: shortened(text),
                kind: Self::KIND,
                example: Self::EXAMPLE,
                hint: if comma { "; decimals take a point, not a comma" } else { "" },
            });
        };
        if unit.is_empty() {
            return Err(Self::bare(text));
        }
        if !number.is_finite() || (number.is_sign_negative() && !Self::NEGATIVE) || number.abs() > 1e9 {
            return Err(QuantityError::Range {
                written: shortened(text),
                kind: Self::KIND,
                must: if Self::NEGATIVE { "between -1e9 and 1e9" } else { "between 0 and 1e9" },
            });
        }
        Self::of(number, unit).ok_or_else(|| QuantityError::Unit {
            unit: shortened(unit),
            what: kind_of_unit(unit)
                .map_or_else(|| "is not a unit known here".to_owned(), |k| format!("is the unit of {k}")),
            kind: Self::KIND,
            fits: units_in_words(Self::UNITS),
            example: Self::EXAMPLE,
        })
    }

    /// The error for a number without a unit.
    fn bare(written: &str) -> QuantityError {
        QuantityError::Bare {
            written: shortened(written),
            kind: Self::KIND,
            fits: units_in_words(Self::UNITS),
            example: Self::EXAMPLE,
        }
    }
}

/// Text from a record as it may stand in a message: never longer than a line.
fn shortened(text: &str) -> String {
    if text.chars().count() > 40 {
        format!("{}…", text.chars().take(39).collect::<String>())
    } else {
        text.to_owned()
    }
}

fn units_in_words(units: &[&str]) -> String {
    match units {
        [] => String::new(),
        [one] => format!("`{one}`"),
        [first @ .., last] => {
            let first: Vec<String> = first.iter().map(|u| format!("`{u}`")).collect();
            format!("{} or `{last}`", first.join(", "))
        }
    }
}

/// Splits "1250 L" into 1250 and "L"; the number is `None` if the text does not begin with one.
fn split_number(text: &str) -> (Option<f64>, &str) {
    let bytes = text.as_bytes();
    let mut end = 0;
    while end < bytes.len() {
        let c = bytes[end];
        let exponent = (c == b'e' || c == b'E')
            && end > 0
            && bytes.get(end + 1).is_some_and(|n| n.is_ascii_digit() || *n == b'-' || *n == b'+');
        let sign = (c == b'-' || c == b'+') && (end == 0 || matches!(bytes[end - 1], b'e' | b'E'));
        if c.is_ascii_digit() || c == b'.' || exponent || sign {
            end += 1;
        } else {
            break;
        }
    }
    (text[..end].parse().ok(), text[end..].trim())
}

macro_rules! quantities {
    ($($(#[$doc:meta])* $name:ident, $module:ident :: $uom:ident, $kind:literal, $example:literal, $negative:literal,
        { $($written:literal => $unit:ident),+ $(,)? };)+) => {
        $(
            $(#[$doc])*
            #[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
            pub struct $name(pub uom::si::f64::$uom);

            impl Written for $name {
                const KIND: &'static str = $kind;
                const EXAMPLE: &'static str = $example;
                const UNITS: &'static [&'static str] = &[$($written),+];
                const NEGATIVE: bool = $negative;
                fn of(number: f64, unit: &str) -> Option<Self> {
                    match unit {
                        $($written => Some(Self(uom::si::f64::$uom::new::<uom::si::$module::$unit>(number))),)+
                        _ => None,
                    }
                }
            }

            impl<'de> Deserialize<'de> for $name {
                fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                    deserializer.deserialize_any(WrittenVisitor::<Self>(std::marker::PhantomData))
                }
            }
        )+

        /// The kind of quantity a unit belongs to, in words: "a flow".
        fn kind_of_unit(unit: &str) -> Option<&'static str> {
            $(if <$name as Written>::UNITS.contains(&unit) { return Some($kind); })+
            if Daily::UNITS.contains(&unit) { return Some(Daily::KIND); }
            if PerDay::UNITS.contains(&unit) { return Some(PerDay::KIND); }
            if Period::UNITS.contains(&unit) { return Some(Period::KIND); }
            if Concentration::UNITS.contains(&unit) { return Some(Concentration::KIND); }
            if FilterRate::UNITS.contains(&unit) { return Some(FilterRate::KIND); }
            None
        }
    };
}

quantities! {
    /// A volume of water.
    Volume, volume::Volume, "a volume", "1250 L", false, { "L" => liter, "gal" => gallon, "m3" => cubic_meter };
    /// A length, a pipe size, or a head of water.
    Length, length::Length, "a length", "9 m", false, { "m" => meter, "mm" => millimeter, "cm" => centimeter, "in" => inch, "ft" => foot };
    /// A filter's area.
    Area, area::Area, "an area", "9.6 m2", false, { "m2" => square_meter, "ft2" => square_foot };
    /// A flow of water.
    Flow, volume_rate::VolumeRate, "a flow", "110 L/min", false,
        { "L/min" => liter_per_minute, "gpm" => gallon_per_minute, "m3/h" => cubic_meter_per_hour };
    /// A motor's or heater's power.
    Power, power::Power, "a power", "1.5 kW", false, { "kW" => kilowatt, "W" => watt, "hp" => horsepower };
    /// An electric current.
    Current, electric_current::ElectricCurrent, "a current", "9.8 A", false, { "A" => ampere };
    /// A supply voltage.
    Voltage, electric_potential::ElectricPotential, "a voltage", "230 V", false, { "V" => volt };
    /// Redox potential.
    Redox, electric_potential::ElectricPotential, "a redox potential", "720 mV", true, { "mV" => millivolt };
    /// A gauge pressure or a difference of two.
    Pressure, pressure::Pressure, "a pressure", "0.35 bar", false,
        { "bar" => bar, "psi" => pound_force_per_square_inch, "kPa" => kilopascal };
    /// A temperature.
    Temperature, thermodynamic_temperature::ThermodynamicTemperature, "a temperature", "38 C", true,
        { "C" => degree_celsius, "F" => degree_fahrenheit };
    /// A velocity of water in a pipe.
    Velocity, velocity::Velocity, "a velocity", "1.8 m/s", false, { "m/s" => meter_per_second, "ft/s" => foot_per_second };
    /// Hours run, or minutes of work.
    Duration, time::Time, "a time", "90 min", false, { "h" => hour, "min" => minute };
}

struct WrittenVisitor<T>(std::marker::PhantomData<T>);

impl<T: Written> Visitor<'_> for WrittenVisitor<T> {
    type Value = T;
    fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
        write!(f, "{} with its unit, for example `{}`", T::KIND, T::EXAMPLE)
    }
    fn visit_str<E: de::Error>(self, written: &str) -> Result<T, E> {
        T::read(written).map_err(E::custom)
    }
    fn visit_i64<E: de::Error>(self, number: i64) -> Result<T, E> {
        Err(E::custom(T::bare(&number.to_string())))
    }
    fn visit_u64<E: de::Error>(self, number: u64) -> Result<T, E> {
        Err(E::custom(T::bare(&number.to_string())))
    }
    fn visit_f64<E: de::Error>(self, number: f64) -> Result<T, E> {
        Err(E::custom(T::bare(&number.to_string())))
    }
}

macro_rules! plain_quantities {
    ($($name:ident),+) => {
        $(impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                deserializer.deserialize_any(WrittenVisitor::<Self>(std::marker::PhantomData))
            }
        })+
    };
}
plain_quantities!(Daily, PerDay, Period, Concentration, FilterRate);

/// Hours a day, from 0 to 24, of a program.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Daily {
    /// Hours in a day.
    pub hours: f64,
}

impl Written for Daily {
    const KIND: &'static str = "a time a day";
    const EXAMPLE: &'static str = "6 h/day";
    const UNITS: &'static [&'static str] = &["h/day", "min/day"];
    const NEGATIVE: bool = false;
    fn of(number: f64, unit: &str) -> Option<Self> {
        match unit {
            "h/day" => Some(Self { hours: number }),
            "min/day" => Some(Self { hours: number / 60.0 }),
            _ => None,
        }
    }
    fn read(written: &str) -> Result<Self, QuantityError> {
        let value = read_plain::<Self>(written)?;
        if value.hours > 24.0 {
            return Err(QuantityError::Range {
                written: shortened(written),
                kind: Self::KIND,
                must: "at most 24 h/day",
            });
        }
        Ok(value)
    }
}

/// Times a day: bathers.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct PerDay {
    /// How many a day.
    pub times: f64,
}

impl Written for PerDay {
    const KIND: &'static str = "a number a day";
    const EXAMPLE: &'static str = "6 /day";
    const UNITS: &'static [&'static str] = &["/day"];
    const NEGATIVE: bool = false;
    fn of(number: f64, unit: &str) -> Option<Self> {
        (unit == "/day").then_some(Self { times: number })
    }
}

/// A stretch of the calendar: whole months and days, added by the calendar.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Period {
    /// Calendar months.
    pub months: u32,
    /// Days after those.
    pub days: u32,
}

impl Written for Period {
    const KIND: &'static str = "a stretch of the calendar";
    const EXAMPLE: &'static str = "12 mo";
    const UNITS: &'static [&'static str] = &["d", "mo", "y"];
    const NEGATIVE: bool = false;
    fn of(number: f64, unit: &str) -> Option<Self> {
        // Half a year is six months and half a month fifteen days: months have no halves of their own.
        let months_and_rest = |months: f64| Self {
            months: months.floor() as u32,
            days: ((months - months.floor()) * 30.436_875).round() as u32,
        };
        match unit {
            "d" => Some(Self { months: 0, days: number.round() as u32 }),
            "mo" => Some(months_and_rest(number)),
            "y" => Some(months_and_rest(number * 12.0)),
            _ => None,
        }
    }
    fn read(written: &str) -> Result<Self, QuantityError> {
        let value = read_plain::<Self>(written)?;
        if value.months > 2400 || value.days > 73_000 {
            return Err(QuantityError::Range { written: shortened(written), kind: Self::KIND, must: "at most 200 y" });
        }
        Ok(value)
    }
}

impl Period {
    /// Mean length in days, for comparing stretches.
    pub fn mean_days(self) -> f64 {
        f64::from(self.months) * 30.436_875 + f64::from(self.days)
    }
}

/// A concentration in water, in milligrams a litre (the same as ppm).
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Concentration {
    /// Milligrams in a litre.
    pub milligrams_per_litre: f64,
}

impl Written for Concentration {
    const KIND: &'static str = "a concentration";
    const EXAMPLE: &'static str = "3.2 mg/L";
    const UNITS: &'static [&'static str] = &["mg/L", "ppm"];
    const NEGATIVE: bool = false;
    fn of(number: f64, unit: &str) -> Option<Self> {
        Self::UNITS.contains(&unit).then_some(Self { milligrams_per_litre: number })
    }
}

/// A flow through each unit of a filter's area.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct FilterRate {
    /// Litres a minute through each square metre.
    pub litres_per_minute_square_metre: f64,
}

impl Written for FilterRate {
    const KIND: &'static str = "a filter rate";
    const EXAMPLE: &'static str = "0.30 gpm/ft2";
    const UNITS: &'static [&'static str] = &["gpm/ft2", "L/min/m2"];
    const NEGATIVE: bool = false;
    fn of(number: f64, unit: &str) -> Option<Self> {
        use uom::si::{area::square_meter, volume_rate::liter_per_minute};
        let litres_per_minute_square_metre = match unit {
            "gpm/ft2" => {
                let flow = Flow::of(number, "gpm")?.0.get::<liter_per_minute>();
                flow / Area::of(1.0, "ft2")?.0.get::<square_meter>()
            }
            "L/min/m2" => number,
            _ => return None,
        };
        Some(Self { litres_per_minute_square_metre })
    }
}

/// The trait's own reading, for types that add a condition to it.
fn read_plain<T: Written>(written: &str) -> Result<T, QuantityError> {
    struct Inner<T>(T);
    impl<T: Written> Written for Inner<T> {
        const KIND: &'static str = T::KIND;
        const EXAMPLE: &'static str = T::EXAMPLE;
        const UNITS: &'static [&'static str] = T::UNITS;
        const NEGATIVE: bool = T::NEGATIVE;
        fn of(number: f64, unit: &str) -> Option<Self> {
            T::of(number, unit).map(Inner)
        }
    }
    Inner::<T>::read(written).map(|inner| inner.0)
}

/// A reading from a log or a sheet: a bare number in the unit the fleet types in, or a quantity
/// that names its own unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Typed<T> {
    /// A number; `fleet.yaml` says of what.
    Bare(f64),
    /// A number with its unit.
    WithUnit(T),
}

impl<T: Written + Copy> Typed<T> {
    /// The quantity, with `unit` for a bare number. `None` for a unit that does not belong to the kind.
    pub fn with_default(self, unit: &str) -> Option<T> {
        match self {
            Self::Bare(number) => T::of(number, unit),
            Self::WithUnit(value) => Some(value),
        }
    }

    /// Reads a bare number or a quantity.
    ///
    /// # Errors
    /// As [`Written::read`].
    pub fn read(written: &str) -> Result<Self, QuantityError> {
        let (number, unit) = split_number(written.trim());
        match number {
            Some(number) if unit.is_empty() => Self::bare_number(number, || written.to_owned()),
            _ => T::read(written).map(Self::WithUnit),
        }
    }

    fn bare_number(number: f64, written: impl Fn() -> String) -> Result<Self, QuantityError> {
        if number.is_finite() && (number >= 0.0 || T::NEGATIVE) && number.abs() <= 1e9 {
            Ok(Self::Bare(number))
        } else {
            Err(QuantityError::Range {
                written: shortened(&written()),
                kind: T::KIND,
                must: if T::NEGATIVE { "between -1e9 and 1e9" } else { "between 0 and 1e9" },
            })
        }
    }
}

impl<'de, T: Written + Copy> Deserialize<'de> for Typed<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct TypedVisitor<T>(std::marker::PhantomData<T>);
        impl<T: Written + Copy> Visitor<'_> for TypedVisitor<T> {
            type Value = Typed<T>;
            fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
                write!(f, "{}: a number, or one with its unit like `{}`", T::KIND, T::EXAMPLE)
            }
            fn visit_str<E: de::Error>(self, written: &str) -> Result<Self::Value, E> {
                Typed::read(written).map_err(E::custom)
            }
            fn visit_i64<E: de::Error>(self, number: i64) -> Result<Self::Value, E> {
                Typed::bare_number(number as f64, || number.to_string()).map_err(E::custom)
            }
            fn visit_u64<E: de::Error>(self, number: u64) -> Result<Self::Value, E> {
                Typed::bare_number(number as f64, || number.to_string()).map_err(E::custom)
            }
            fn visit_f64<E: de::Error>(self, number: f64) -> Result<Self::Value, E> {
                Typed::bare_number(number, || number.to_string()).map_err(E::custom)
            }
        }
        deserializer.deserialize_any(TypedVisitor(std::marker::PhantomData))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use uom::si::volume::liter;
    use uom::si::volume_rate::liter_per_minute;

    #[test]
    fn a_quantity_is_read_with_its_unit() {
        assert!((Volume::read("330 gal").unwrap().0.get::<liter>() - 1249.186).abs() < 1e-3);
        assert!((Flow::read("50gpm").unwrap().0.get::<liter_per_minute>() - 189.270_6).abs() < 1e-3);
        assert!((Daily::read("25 min/day").unwrap().hours - 25.0 / 60.0).abs() < 1e-12);
        assert_eq!(Period::read("2 y").unwrap(), Period { months: 24, days: 0 });
        assert_eq!(Period::read("90 d").unwrap(), Period { months: 0, days: 90 });
    }

    #[test]
    fn a_wrong_unit_says_what_it_is_and_what_fits() {
        let text = Volume::read("9 bar").unwrap_err().to_string();
        assert_eq!(
            text,
            "`bar` is the unit of a pressure; a volume is written with `L`, `gal` or `m3`, for example `1250 L`"
        );
        assert!(Volume::read("1250").unwrap_err().to_string().contains("has no unit"));
        assert!(
            Volume::read("1,5 m3").unwrap_err().to_string().contains("has no unit") || Volume::read("1,5 m3").is_err()
        );
        assert!(Volume::read("-3 L").unwrap_err().to_string().contains("between 0"));
        assert!(Volume::read(".nan L").is_err());
        assert!(Volume::read("1e400 L").is_err());
        assert!(Daily::read("25 h/day").is_err());
        assert!(Flow::read("").is_err());
    }

    #[test]
    fn a_bare_number_takes_the_unit_the_fleet_types_in() {
        let bare: Typed<Pressure> = serde_yaml::from_str("0.47").unwrap();
        let psi: Typed<Pressure> = serde_yaml::from_str("7 psi").unwrap();
        let bar = |p: Typed<Pressure>| p.with_default("bar").unwrap().0.get::<uom::si::pressure::bar>();
        assert!((bar(bare) - 0.47).abs() < 1e-12);
        assert!((bar(psi) - 0.482_633).abs() < 1e-6);
        assert!(serde_yaml::from_str::<Typed<Pressure>>("-1").is_err());
        assert!(serde_yaml::from_str::<Typed<Pressure>>(".inf").is_err());
    }
}
