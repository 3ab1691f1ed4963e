//! Numbers, units and dates as they are printed. What is not known reads so.

use chrono::{Datelike, NaiveDate};
use rust_decimal::Decimal;

use crate::basis::Basis;
use crate::calendar::{self, MONTHS};
use crate::quantities::measured_trends::Drifting;
use crate::records::fleet::Units;
use crate::records::forms::Fitted;
use crate::records::log::Quantity;
use crate::schedule::due::{DueBy, PartDue};
use crate::units::Period;

/// What stands where nothing is known.
pub const NOT_KNOWN: &str = "not known";

const LITRES_PER_GALLON: f64 = 3.785_411_784;
const SQUARE_METRES_PER_SQUARE_FOOT: f64 = 0.092_903_04;
const PSI_PER_BAR: f64 = 14.503_773_773;

pub use crate::charts::style::{grouped, number};

/// A filter rate of 1 gpm/ft² in L/min/m².
pub const GPM_PER_SQUARE_FOOT: f64 = LITRES_PER_GALLON / SQUARE_METRES_PER_SQUARE_FOOT;
/// A foot in metres.
pub const METRES_PER_FOOT: f64 = 0.3048;

/// What beside planned work is in an expected cost: of the ways all, or the time alone where a fare is not written.
pub fn included(fares_known: bool) -> &'static str {
    if fares_known {
        "failures and travel included"
    } else {
        "failures and time on the way included, and such fares as are written"
    }
}

/// A value of something that drifts, in the report's units.
pub fn drifting(quantity: Drifting, value: f64, units: Units) -> String {
    match (quantity, units) {
        (Drifting::Current | Drifting::CurrentLow, _) => format!("{} A", number(value, 2)),
        (Drifting::Pressure | Drifting::CleanPressure, units) => pressure(value, units),
        (Drifting::TemperatureLag, Units::Metric) => format!("{} °C", number(value, 1)),
        (Drifting::TemperatureLag, Units::Us) => format!("{} °F", number(value * 1.8, 1)),
    }
}

/// The beginning of a text of more than `most` letters, with a sign that there is more; a shorter one as it is.
pub fn clipped(text: &str, most: usize) -> String {
    use unicode_segmentation::UnicodeSegmentation as _;
    if text.grapheme_indices(true).nth(most).is_none() {
        return text.to_owned();
    }
    let end = text.grapheme_indices(true).nth(most.saturating_sub(1)).map_or(text.len(), |(at, _)| at);
    format!("{}…", text[..end].trim_end())
}

/// The unit flows are shown in.
pub fn flow_unit(units: Units) -> &'static str {
    if units == Units::Us { "gpm" } else { "L/min" }
}

/// A flow in L/min as a number in the unit shown.
pub fn flow_number(litres_per_minute: f64, units: Units) -> String {
    match units {
        Units::Metric => number(litres_per_minute, 0),
        Units::Us => number(litres_per_minute / LITRES_PER_GALLON, 1),
    }
}

/// A flow in L/min, with its unit.
pub fn flow(litres_per_minute: f64, units: Units) -> String {
    format!("{} {}", flow_number(litres_per_minute, units), flow_unit(units))
}

/// A volume in litres, with its unit.
pub fn volume(litres: f64, units: Units) -> String {
    match units {
        Units::Metric => format!("{} L", number(litres, 0)),
        Units::Us => format!("{} gal", number(litres / LITRES_PER_GALLON, 0)),
    }
}

/// An area in square metres, with its unit.
pub fn area(square_metres: f64, units: Units) -> String {
    match units {
        Units::Metric => format!("{} m²", number(square_metres, 1)),
        Units::Us => format!("{} ft²", number(square_metres / SQUARE_METRES_PER_SQUARE_FOOT, 0)),
    }
}

/// The unit pressures are shown in.
pub fn pressure_unit(units: Units) -> &'static str {
    if units == Units::Us { "psi" } else { "bar" }
}

/// A pressure in bar as it counts in the unit shown.
pub fn pressure_in(bar: f64, units: Units) -> f64 {
    if units == Units::Us { bar * PSI_PER_BAR } else { bar }
}

/// The decimals pressures are shown with.
pub fn pressure_decimals(units: Units) -> usize {
    if units == Units::Us { 1 } else { 2 }
}

/// A pressure in bar as a number in the unit shown.
pub fn pressure_number(bar: f64, units: Units) -> String {
    number(pressure_in(bar, units), pressure_decimals(units))
}

/// A pressure in bar, with its unit.
pub fn pressure(bar: f64, units: Units) -> String {
    format!("{} {}", pressure_number(bar, units), pressure_unit(units))
}

/// The unit filter rates are shown in.
pub fn filter_rate_unit(units: Units) -> &'static str {
    if units == Units::Us { "gpm/ft²" } else { "L/min/m²" }
}

/// A filter rate in L/min/m² as a number in the unit shown.
pub fn filter_rate_number(rate: f64, units: Units) -> String {
    match units {
        Units::Metric => number(rate, 1),
        Units::Us => number(rate / GPM_PER_SQUARE_FOOT, 2),
    }
}

/// The unit velocities are shown in.
pub fn velocity_unit(units: Units) -> &'static str {
    if units == Units::Us { "ft/s" } else { "m/s" }
}

/// A velocity in m/s as a number in the unit shown.
pub fn velocity_number(metres_per_second: f64, units: Units) -> String {
    match units {
        Units::Metric => number(metres_per_second, 1),
        Units::Us => number(metres_per_second / METRES_PER_FOOT, 1),
    }
}

/// A water test's name in words.
pub fn quantity_name(quantity: Quantity) -> String {
    match quantity {
        Quantity::Ph => "pH".to_owned(),
        Quantity::Tds => "total dissolved solids".to_owned(),
        other => other.name().replace('_', " "),
    }
}

/// The unit of a water test.
fn test_unit(quantity: Quantity, units: Units) -> &'static str {
    match quantity {
        Quantity::Ph => "",
        Quantity::Temperature if units == Units::Us => " °F",
        Quantity::Temperature => " °C",
        Quantity::Redox => " mV",
        _ => " mg/L",
    }
}

fn test_number(quantity: Quantity, value: f64, units: Units) -> String {
    match quantity {
        Quantity::Temperature if units == Units::Us => number(value * 1.8 + 32.0, 0),
        Quantity::Temperature
        | Quantity::Ph
        | Quantity::FreeChlorine
        | Quantity::CombinedChlorine
        | Quantity::Bromine => number(value, 1),
        _ => number(value, 0),
    }
}

/// A water test's value with its unit.
pub fn test_value(quantity: Quantity, value: f64, units: Units) -> String {
    format!("{}{}", test_number(quantity, value, units), test_unit(quantity, units))
}

/// A water test's value with its unit, with so many digits that what is outside its limits does not print like them.
pub fn test_value_beside(quantity: Quantity, value: f64, limits: [Option<f64>; 2], units: Units) -> String {
    let text = test_number(quantity, value, units);
    let alike = |limit: &f64| (*limit - value).abs() > 1e-9 && test_number(quantity, *limit, units) == text;
    if !limits.iter().flatten().any(alike) {
        return format!("{text}{}", test_unit(quantity, units));
    }
    let shown = if quantity == Quantity::Temperature && units == Units::Us { value * 1.8 + 32.0 } else { value };
    format!("{}{}", number(shown, 2), test_unit(quantity, units))
}

/// The limits of a water test in words: "7.0 to 7.6".
pub fn test_limits(quantity: Quantity, low: Option<f64>, high: Option<f64>, units: Units) -> String {
    let unit = test_unit(quantity, units);
    match (low, high) {
        (Some(low), Some(high)) => {
            format!("{} to {}{unit}", test_number(quantity, low, units), test_number(quantity, high, units))
        }
        (Some(low), None) => format!("at least {}{unit}", test_number(quantity, low, units)),
        (None, Some(high)) => format!("at most {}{unit}", test_number(quantity, high, units)),
        (None, None) => NOT_KNOWN.to_owned(),
    }
}

/// An amount of money in digits: "1 204.50".
pub fn money(amount: Decimal, currency: &str) -> String {
    let digits = crate::costs::minor_digits(currency) as usize;
    let text = format!("{:.digits$}", crate::costs::rounded(amount, currency));
    let (whole, fraction) = text.split_once('.').map_or((text.as_str(), ""), |(w, f)| (w, f));
    let grouped = grouped(whole);
    if fraction.is_empty() { grouped } else { format!("{grouped}.{fraction}") }
}

/// How a currency is written in every document, in heads and beside amounts: its sign where there is one that everybody
/// knows, else its code.
pub fn currency_sign(currency: &str) -> &str {
    match currency {
        "GBP" => "£",
        "EUR" => "€",
        "USD" => "$",
        other => other,
    }
}

/// An amount in whole units with its currency: "£ 610", "CHF 610".
pub fn money_whole(amount: Decimal, currency: &str) -> String {
    let sign = currency_sign(currency);
    let rounded = amount.round_dp_with_strategy(0, rust_decimal::RoundingStrategy::MidpointAwayFromZero);
    let text = format!("{rounded}");
    let grouped = grouped(&text);
    format!("{sign}\u{a0}{grouped}")
}

/// A day as it is printed in tables: "6 Nov 2026".
pub fn short_date(day: NaiveDate) -> String {
    format!("{} {} {}", day.day(), &MONTHS[day.month0() as usize][..3], day.year())
}

/// A range of days, the year of the first only where it differs: "23 Jan to 31 Mar 2027".
pub fn date_range(low: NaiveDate, high: NaiveDate) -> String {
    if low.year() == high.year() {
        format!("{} {} to {}", low.day(), &MONTHS[low.month0() as usize][..3], short_date(high))
    } else {
        format!("{} to {}", short_date(low), short_date(high))
    }
}

/// A day of the coming year: "6 Nov", with the year where it is not near.
pub fn near_date(day: NaiveDate, as_of: NaiveDate) -> String {
    if calendar::days_between(as_of, day).abs() < 300 {
        format!("{} {}", day.day(), &MONTHS[day.month0() as usize][..3])
    } else {
        short_date(day)
    }
}

/// The day something was fitted, as it is known.
pub fn fitted(fitted: Fitted) -> String {
    match fitted {
        Fitted::Day(day) => short_date(day),
        Fitted::Month(month) => month.in_words(),
        Fitted::Year(year) => year.to_string(),
        Fitted::Before(day) => format!("before {}", short_date(day)),
        Fitted::Unknown => NOT_KNOWN.to_owned(),
    }
}

/// An id in words: "shaft seal".
pub fn words(id: &str) -> String {
    id.replace(['_', '-'], " ")
}

/// A text with its first letter as a capital.
pub fn sentence(text: &str) -> String {
    // The symbol is written so wherever it stands.
    if text.starts_with("pH") {
        return text.to_owned();
    }
    let mut characters = text.chars();
    characters.next().map_or_else(String::new, |first| first.to_uppercase().collect::<String>() + characters.as_str())
}

/// An address in words: "terrace, jets 1".
pub fn place(address: &str) -> String {
    sentence(&address.split('/').map(words).collect::<Vec<_>>().join(", "))
}

/// A stretch of the calendar in words: "12 months", "14 days".
pub fn period(period: Period) -> String {
    let months = match (period.months, period.months % 12) {
        (0, _) => None,
        (12, _) => Some("12 months".to_owned()),
        (months, 0) if months > 24 => Some(format!("{} years", months / 12)),
        (1, _) => Some("1 month".to_owned()),
        (months, _) => Some(format!("{months} months")),
    };
    let days =
        (period.days > 0).then(|| if period.days == 1 { "1 day".to_owned() } else { format!("{} days", period.days) });
    match (months, days) {
        (Some(months), Some(days)) => format!("{months} and {days}"),
        (Some(one), None) | (None, Some(one)) => one,
        (None, None) => "0 days".to_owned(),
    }
}

/// Days of age in words: "3.2 years", "40 days".
pub fn age(days: i64) -> String {
    if days >= 730 {
        format!("{:.1} years", days as f64 / 365.25)
    } else if days >= 60 {
        format!("{:.0} months", days as f64 / 30.44)
    } else if days == 1 {
        "1 day".to_owned()
    } else {
        format!("{days} days")
    }
}

/// Why a part is due, in one sentence for an owner.
pub fn part_reason(part: &PartDue, as_of: NaiveDate) -> String {
    use uom::si::time::hour;
    let Some(due) = part.due else { return "Its due date is not known.".to_owned() };
    if part.unrecorded {
        return format!(
            "No renewal is on record; counted from {} it would have been due {}.",
            self::fitted(part.part.fitted),
            calendar::in_words(due)
        );
    }
    let overdue = due <= as_of;
    let range = match (part.due_low, part.due_high) {
        (Some(low), Some(high)) if low != high => {
            format!(" (between {} and {})", calendar::in_words(low), calendar::in_words(high))
        }
        _ => String::new(),
    };
    if let (Basis::LifeModel, Some(best)) = (part.basis, part.best_age) {
        let best = if part.by == DueBy::Hours { format!("{} h", number(best, 0)) } else { age(best.round() as i64) };
        let reaches = if overdue { "it reached that" } else { "it reaches that" };
        return format!(
            "By the fleet's own failures renewing at {best} costs least; {reaches} around {}{range}.",
            calendar::in_words(due)
        );
    }
    match (part.by, part.part.age_hours, part.part.part.interval.hours, part.part.part.interval.age) {
        (DueBy::Hours, Some(hours), Some(interval), _) => {
            let interval = interval.0.get::<hour>();
            let by = if part.hours_assumed { "By a usual program, which is assumed, it" } else { "It" };
            let run = format!("{by} has run {} of its {} h", number(hours, 0), number(interval, 0));
            if overdue {
                format!("{run} and passed them around {}{range}.", calendar::in_words(due))
            } else {
                format!("{run}; at the present use it reaches them around {}{range}.", calendar::in_words(due))
            }
        }
        (_, _, _, Some(interval)) => {
            let was = if overdue { "it was due" } else { "it is due" };
            let fitted = match part.part.fitted {
                Fitted::Day(day) => format!("Fitted {}", calendar::in_words(day)),
                other => format!("Fitted {}", self::fitted(other)),
            };
            format!("{fitted}; with {} in service {was} {}{range}.", period(interval), calendar::in_words(due))
        }
        _ => format!("It is due {}.", calendar::in_words(due)),
    }
}

/// "in 4 years of 5": how many of the years drawn a range holds.
pub fn in_years(within: f64) -> String {
    let beside = 1.0 - within;
    if beside < 1e-9 {
        return "in all years drawn".to_owned();
    }
    let of = (1.0 / beside).round();
    format!("in {} years of {}", number(of - 1.0, 0), number(of, 0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::str::FromStr;

    #[test]
    fn numbers_are_grouped_and_never_minus_zero() {
        assert_eq!(number(13_100.0, 0), "13\u{a0}100");
        assert_eq!(number(1234.5, 1), "1234.5");
        assert_eq!(number(-0.04, 1), "0.0");
        assert_eq!(number(-12.0, 0), "\u{2212}12");
    }

    #[test]
    fn a_long_name_is_shown_by_its_beginning() {
        assert_eq!(clipped("Weir House", 10), "Weir House");
        assert_eq!(clipped("Weir House", 6), "Weir…");
        assert_eq!(clipped(&"e\u{301}".repeat(9), 3), "e\u{301}e\u{301}…");
        assert_eq!(clipped("", 3), "");
    }

    #[test]
    fn money_has_the_digits_of_its_currency() {
        let amount = Decimal::from_str("12345.675").unwrap();
        assert_eq!(money(amount, "GBP"), "12\u{a0}345.68");
        assert_eq!(money(amount, "JPY"), "12\u{a0}346");
        assert_eq!(money_whole(amount, "GBP"), "£\u{a0}12\u{a0}346");
    }

    #[test]
    fn stretches_read_as_people_say_them() {
        let period_of = |text| period(crate::units::Written::read(text).unwrap());
        assert_eq!(period_of("48 mo"), "4 years");
        assert_eq!(period_of("12 mo"), "12 months");
        assert_eq!(period_of("1 d"), "1 day");
        assert_eq!(place("terrace/jets-1"), "Terrace, jets 1");
    }
}
