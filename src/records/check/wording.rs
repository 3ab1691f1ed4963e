//! Rules about what is written as such, whatever it is written of: gallons where a fleet counts in litres, and
//! characters that no font of the reports has.
//!
//! A file is looked through only if a quick look finds that there is something to find. Nothing here is an error.

use crate::charts::style;
use crate::diagnostic::{Diagnostic, Rule, Severity, Spot};
use crate::records::Fleet;
use crate::records::fleet::Units;
use crate::records::tree::SourceText;
use crate::units::{Flow, Volume, Written};
use uom::si::volume::liter;
use uom::si::volume_rate::liter_per_minute;

/// Litres in an Imperial gallon (Units of Measurement Regulations 1995, exact).
const LITRES_IN_IMPERIAL_GALLON: f64 = 4.546_09;
/// The most that is told of one file: more is no help.
const MOST: usize = 50;

/// What is odd in the text of a YAML file.
pub(super) fn odd_words(fleet: &Fleet, source: &SourceText) -> Vec<Diagnostic> {
    let metric = fleet.settings.units == Units::Metric;
    let gallons = metric && ["gal", "gpm"].iter().any(|unit| source.text.contains(unit));
    let glyphs = !source.text.is_ascii() && source.text.chars().any(is_missing);
    let thousands = may_hold_thousands(&source.text);
    if !gallons && !glyphs && !thousands {
        return Vec::new();
    }
    let mut diagnostics = Vec::new();
    let mut asked_on = 0;
    for (text, spot) in source.scalars() {
        // The points of a curve stand on one line and are asked about once.
        if gallons
            && spot.line != asked_on
            && let Some((message, hint)) = asked_of_gallons(text)
        {
            asked_on = spot.line;
            diagnostics.push(told(source, Rule::GallonsInMetric, spot, message, hint));
        }
        if let Some((message, hint)) = missing(text) {
            diagnostics.push(told(source, Rule::NoGlyph, spot, message, hint));
        }
        if thousands && let Some((message, hint)) = asked_of_thousands(text, || field_before(source, spot)) {
            diagnostics.push(told(source, Rule::UnlikelyValue, spot, message, hint));
        }
    }
    diagnostics.truncate(MOST);
    diagnostics
}

/// Characters that cannot be printed, by the lines of a sheet.
pub(super) fn odd_lines(source: &SourceText) -> Vec<Diagnostic> {
    if source.text.is_ascii() {
        return Vec::new();
    }
    let lines = source.text.lines().enumerate();
    lines
        .filter_map(|(index, line)| {
            let (message, hint) = missing(line)?;
            let spot = Spot { line: index + 1, column: 1, length: line.chars().count().max(1) };
            Some(told(source, Rule::NoGlyph, spot, message, hint))
        })
        .take(MOST)
        .collect()
}

/// A column of a sheet that is in gallons.
pub(crate) fn gallons_in_header(fleet: &Fleet, source: &SourceText) -> Option<Diagnostic> {
    let header = source.text.lines().next().filter(|_| fleet.settings.units == Units::Metric)?;
    let before = header.find("[gpm]")?;
    let column = header[..before].trim_start_matches('\u{feff}').chars().count() + 1;
    let message = "a column in `gpm` is read as US gallons a minute, in a fleet that counts in litres".to_owned();
    let hint = "write the flows in `L/min`, with the factor of the gallons that were meant".to_owned();
    Some(told(source, Rule::GallonsInMetric, Spot { line: 1, column, length: 5 }, message, hint))
}

fn told(source: &SourceText, rule: Rule, spot: Spot, message: String, hint: String) -> Diagnostic {
    let mut diagnostic = super::plain(Severity::Warning, rule, &source.file, message);
    diagnostic.spot = Some(spot);
    diagnostic.excerpt = source.line(spot.line);
    diagnostic.hint = Some(hint);
    diagnostic
}

/// Units of which people write thousands, and three decimals never.
const OF_THOUSANDS: [&str; 6] = ["L", "gal", "L/min", "gpm", "h", "W"];
/// Fields whose bare numbers are such.
const FIELDS_OF_THOUSANDS: [&str; 5] = ["hours", "hours_low", "hours_high", "showed", "flow"];

/// Whether a text holds a number with three decimals: a quick look.
fn may_hold_thousands(text: &str) -> bool {
    let bytes = text.as_bytes();
    let digit = |index: usize| bytes.get(index).is_some_and(u8::is_ascii_digit);
    let dots = bytes.iter().enumerate().filter(|(_, byte)| **byte == b'.').map(|(index, _)| index);
    let mut three = dots.filter(|dot| (1..=3).all(|step| digit(dot + step)) && !digit(dot + 4));
    three.any(|dot| dot > 0 && digit(dot - 1))
}

/// What is asked of `1.250 L`, which is one and a quarter litres here and a thousand more where the point parts
/// thousands.
fn asked_of_thousands(text: &str, field: impl Fn() -> Option<String>) -> Option<(String, String)> {
    let (number, unit) = text.split_once(' ').unwrap_or((text, ""));
    let (whole, decimals) = number.split_once('.')?;
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    if !digits(whole) || whole.len() > 3 || whole.starts_with('0') || decimals.len() != 3 || !digits(decimals) {
        return None;
    }
    let is_meant = if unit.is_empty() {
        FIELDS_OF_THOUSANDS.contains(&field()?.as_str())
    } else {
        OF_THOUSANDS.contains(&unit.trim())
    };
    is_meant.then(|| {
        let short = number.trim_end_matches('0').trim_end_matches('.');
        let (read, thousands) = (format!("{short} {unit}"), format!("{whole}{decimals} {unit}"));
        (
            format!("`{text}` is read with a decimal point, as `{}`", read.trim_end()),
            format!("write it so, or `{}` if the point parts thousands", thousands.trim_end()),
        )
    })
}

/// The name of the field whose value stands at a place.
fn field_before(source: &SourceText, spot: Spot) -> Option<String> {
    let line = source.line(spot.line)?;
    let before: String = line.chars().take(spot.column - 1).collect();
    let name = before.trim_end().strip_suffix(':')?;
    Some(name.rsplit([' ', '{', ',', '-']).next().unwrap_or(name).to_owned())
}

/// What is asked of a quantity in gallons, and what would settle it.
fn asked_of_gallons(text: &str) -> Option<(String, String)> {
    let (number, us, unit) = if let Some(number) = text.strip_suffix("gal") {
        (number, Volume::read(text).ok()?.0.get::<liter>(), "L")
    } else {
        (text.strip_suffix("gpm")?, Flow::read(text).ok()?.0.get::<liter_per_minute>(), "L/min")
    };
    let imperial = number.trim().parse::<f64>().ok()? * LITRES_IN_IMPERIAL_GALLON;
    let (us, imperial) = (rounded(us), rounded(imperial));
    Some((
        format!("`{text}` is read as US gallons, in a fleet that counts in litres"),
        format!("write `{us} {unit}`, or `{imperial} {unit}` if Imperial gallons were meant"),
    ))
}

/// Four figures, as a person would write it.
fn rounded(value: f64) -> String {
    match value {
        ..10.0 => format!("{value:.3}"),
        10.0..100.0 => format!("{value:.2}"),
        100.0..1000.0 => format!("{value:.1}"),
        _ => format!("{value:.0}"),
    }
}

/// Whether a character cannot be printed as it is written. Ends of lines and blanks are no characters to print.
fn is_missing(character: char) -> bool {
    !character.is_ascii() && !character.is_whitespace() && character != '\u{feff}' && !style::has_glyph(character)
}

/// The first character of a text that cannot be printed, and what prints instead.
fn missing(text: &str) -> Option<(String, String)> {
    if text.is_ascii() {
        return None;
    }
    let character = text.chars().find(|character| is_missing(*character))?;
    let code = u32::from(character);
    // An invisible one is printed as nothing at all.
    let (shown, instead) = if style::printable(&character.to_string()).is_empty() {
        (format!("U+{code:04X}"), "it is left out")
    } else {
        (format!("{character}, U+{code:04X}"), "`□` is printed for it")
    };
    Some((
        format!("the reports' font lacks a character written here ({shown}): {instead}"),
        "tables keep it as it is written".to_owned(),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_point_that_may_part_thousands_is_asked_about() {
        let asked = |text: &str, field: &str| asked_of_thousands(text, || Some(field.to_owned()));
        let (message, hint) = asked("1.250 L", "volume").unwrap();
        assert_eq!(message, "`1.250 L` is read with a decimal point, as `1.25 L`");
        assert_eq!(hint, "write it so, or `1250 L` if the point parts thousands");
        let (_, hint) = asked("25.310", "hours").unwrap();
        assert_eq!(hint, "write it so, or `25310` if the point parts thousands");
        for (fine, field) in [("1.25 L", "volume"), ("1.250 m3", "volume"), ("0.352 h", "time"), ("7.400", "ph")] {
            assert!(asked(fine, field).is_none(), "{fine}");
        }
        assert!(may_hold_thousands("volume: 1.250 L") && !may_hold_thousands("1.25, 2.5, 1.2503, .125"));
        let source = SourceText::new("a.yaml", "at: {s/p: {hours: 25.310}}\n".to_owned());
        let spot = source.find_text("at.s/p.hours").unwrap();
        assert_eq!(field_before(&source, spot).as_deref(), Some("hours"));
    }

    #[test]
    fn gallons_are_asked_about_with_both_answers() {
        let (message, hint) = asked_of_gallons("330 gal").unwrap();
        assert!(message.contains("US gallons"), "{message}");
        assert_eq!(hint, "write `1249 L`, or `1500 L` if Imperial gallons were meant");
        let (_, hint) = asked_of_gallons("50 gpm").unwrap();
        assert_eq!(hint, "write `189.3 L/min`, or `227.3 L/min` if Imperial gallons were meant");
        for other in ["1250 L", "gal", "a gal", "0.3 gpm/ft2", "gpm"] {
            assert!(asked_of_gallons(other).is_none(), "{other}");
        }
    }

    #[test]
    fn a_character_without_a_glyph_is_named_with_what_prints_instead() {
        let (message, _) = missing("Quay \u{1f6c1}").unwrap();
        assert!(message.contains("U+1F6C1") && message.contains('□'), "{message}");
        let (message, _) = missing("Quay\u{202e}").unwrap();
        assert!(message.contains("U+202E") && !message.contains('\u{202e}'), "{message}");
        for fine in ["Quay", "Café Ωmega Жук", "a\u{a0}b", "…"] {
            assert!(missing(fine).is_none(), "{fine}");
        }
    }
}
