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
    if !gallons && !glyphs {
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
