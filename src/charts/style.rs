//! Colours, sizes and the measuring of text, for every chart.
//!
//! It exists so that a label is as wide on the page as it was when its place was chosen: widths come
//! from the font files the page is set with. It also settles what may be written at all, since a
//! character the font lacks would cost the whole report its accessible PDF. It must not draw.

use std::sync::{LazyLock, Once};

use plotters::style::{FontStyle, RGBColor, register_font};
use ttf_parser::Face;
use unicode_segmentation::UnicodeSegmentation;

/// The one family, named in every text so that no renderer picks another.
pub const FAMILY: &str = "Noto Sans";

/// Width of every chart in its own pixels: ten to the millimetre of a 170 mm column.
pub const WIDTH: i32 = 1700;
/// Size of labels, pixels: 8.5 pt at column width.
pub const LABEL: i32 = 30;
/// Size of ticks and side notes, pixels: 8 pt at column width.
pub const TICK: i32 = 28;
/// From one line of text to the next within a label, pixels.
pub const LINE_PITCH: i32 = 39;

/// Text and axes.
pub const INK: RGBColor = RGBColor(0x1d, 0x2a, 0x30);
/// Figures.
pub const ACCENT: RGBColor = RGBColor(0x0d, 0x6b, 0x6b);
/// Act now.
pub const ACT: RGBColor = RGBColor(0xa3, 0x26, 0x1d);
/// Plan.
pub const PLAN: RGBColor = RGBColor(0x8a, 0x5a, 0x00);
/// Secondary text: still 4.5 : 1 on white.
pub const GREY_TEXT: RGBColor = RGBColor(0x5a, 0x68, 0x6e);
/// Blocks that carry no verdict, such as occupied days.
pub const GREY_BLOCK: RGBColor = RGBColor(0xb4, 0xc0, 0xc4);
/// Lines of the grid.
pub const GREY_GRID: RGBColor = RGBColor(0xdc, 0xe2, 0xe4);
/// Paper.
pub const PAPER: RGBColor = RGBColor(0xff, 0xff, 0xff);

/// How pressing a thing is: told by shape and by colour.
pub use crate::to_do::Urgency as Mark;

/// The colour of a mark, also of the range line beside it.
pub fn mark_colour(mark: Mark) -> RGBColor {
    match mark {
        Mark::DoNotUse | Mark::ActNow => ACT,
        Mark::Plan => PLAN,
        Mark::Note => ACCENT,
    }
}

/// The name of a mark's shape, for captions.
pub fn mark_shape(mark: Mark) -> &'static str {
    match mark {
        Mark::DoNotUse => "square",
        Mark::ActNow => "triangle",
        Mark::Plan => "dot",
        Mark::Note => "ring",
    }
}

static REGULAR: LazyLock<Option<Face<'static>>> = LazyLock::new(|| Face::parse(ttf_noto_sans::REGULAR, 0).ok());
static BOLD: LazyLock<Option<Face<'static>>> = LazyLock::new(|| Face::parse(ttf_noto_sans::BOLD, 0).ok());
static REGISTERED: Once = Once::new();

/// Makes the fonts known to the drawing library, once in the life of the program.
pub fn register_fonts() {
    REGISTERED.call_once(|| {
        // The fonts are part of the program, so this cannot fail; and if it did, the drawing would
        // still be right, as every place is worked out from `text_width`.
        let _ = register_font(FAMILY, FontStyle::Normal, ttf_noto_sans::REGULAR);
        let _ = register_font(FAMILY, FontStyle::Bold, ttf_noto_sans::BOLD);
    });
}

fn face(bold: bool) -> Option<&'static Face<'static>> {
    if bold { BOLD.as_ref() } else { REGULAR.as_ref() }
}

/// Whether both weights of the font can show a character. Control and invisible formatting
/// characters count as not shown, whatever the font's table says.
pub fn has_glyph(character: char) -> bool {
    !is_invisible(character)
        && [false, true]
            .into_iter()
            .all(|bold| face(bold).and_then(|face| face.glyph_index(character)).is_some_and(|glyph| glyph.0 != 0))
}

/// Controls, joiners, direction marks and the like: they have no width and may turn text round.
fn is_invisible(character: char) -> bool {
    character.is_control()
        || matches!(
            character,
            '\u{ad}'
                | '\u{34f}'
                | '\u{61c}'
                | '\u{200b}'..='\u{200f}'
                | '\u{2028}'..='\u{202e}'
                | '\u{2060}'..='\u{206f}'
                | '\u{fe00}'..='\u{fe0f}'
                | '\u{feff}'
                | '\u{fffc}'
        )
}

/// Text as it can be set: white space in single blanks but for no-break spaces, invisible characters dropped, and each
/// character the font lacks replaced by `□`.
pub fn printable(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    // A no-break space keeps a number's digits and its unit together.
    for word in text.split(|c: char| c.is_whitespace() && c != '\u{a0}').filter(|word| !word.is_empty()) {
        if !out.is_empty() {
            out.push(' ');
        }
        out.extend(
            word.chars()
                .filter(|&character| !is_invisible(character))
                .map(|character| if has_glyph(character) { character } else { '□' }),
        );
    }
    out.trim().to_owned()
}

/// The width of a line of text in pixels, from the font's own advances.
pub fn text_width(text: &str, size_px: f64, bold: bool) -> f64 {
    let Some(face) = face(bold) else {
        return text.chars().count() as f64 * size_px * 0.7;
    };
    let units: f64 = text
        .chars()
        .map(|character| {
            face.glyph_index(character)
                .and_then(|glyph| face.glyph_hor_advance(glyph))
                .map_or(f64::from(face.units_per_em()) * 0.6, f64::from)
        })
        .sum();
    units * size_px / f64::from(face.units_per_em())
}

/// The text if it fits into a width (pixels), else as much of it as does, ended by `…`. Empty where
/// not even that fits.
pub fn fit(text: &str, width: f64, size_px: f64) -> String {
    let text = printable(text);
    if text_width(&text, size_px, false) <= width {
        return text;
    }
    let mut ends: Vec<usize> = text.grapheme_indices(true).map(|(at, _)| at).collect();
    while let Some(end) = ends.pop() {
        let kept = text[..end].trim_end_matches(|c: char| c.is_whitespace() || ",;:.-–".contains(c));
        if kept.is_empty() {
            break;
        }
        let short = format!("{kept}…");
        if text_width(&short, size_px, false) <= width {
            return short;
        }
    }
    if text_width("…", size_px, false) <= width { "…".to_owned() } else { String::new() }
}

/// As [`fit`], but takes from the middle: in "where: which part" both ends tell it from its neighbours.
pub fn fit_middle(text: &str, width: f64, size_px: f64) -> String {
    let text = printable(text);
    if text_width(&text, size_px, false) <= width {
        return text;
    }
    let letters: Vec<&str> = text.graphemes(true).collect();
    for kept in (4..letters.len()).rev() {
        let (head, tail) = (letters[..kept.div_ceil(2)].concat(), letters[letters.len() - kept / 2..].concat());
        // Half a word at the start of the tail tells nothing.
        let tail = match tail.find(' ') {
            Some(at) if at * 2 < tail.len() => &tail[at..],
            _ => &tail,
        };
        let short = format!("{}…{tail}", head.trim_end());
        if text_width(&short, size_px, false) <= width {
            return short;
        }
    }
    fit(&text, width, size_px)
}

/// The text broken between words into at most `lines` lines of a width (pixels); what is too much for
/// the last line is taken from its middle. At least one line, which may be empty.
pub fn wrap(text: &str, width: f64, size_px: f64, lines: usize) -> Vec<String> {
    let text = printable(text);
    let mut rest = text.as_str();
    let mut out: Vec<String> = Vec::new();
    while out.len() + 1 < lines && text_width(rest, size_px, false) > width {
        let broken = rest
            .match_indices(' ')
            .map(|(at, _)| at)
            .take_while(|&at| text_width(&rest[..at], size_px, false) <= width)
            .last();
        let Some(at) = broken else { break };
        out.push(rest[..at].to_owned());
        rest = rest[at..].trim_start();
    }
    out.push(fit_middle(rest, width, size_px));
    out
}

/// Digits with a no-break space between thousands, from five digits on (ISO 80000-1 sets thousands apart by a space; a
/// number of four digits reads well without).
pub fn grouped(digits: &str) -> String {
    let mut grouped = String::new();
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) && digits.len() > 4 {
            grouped.push('\u{a0}');
        }
        grouped.push(digit);
    }
    grouped
}

/// A number for print, the same in charts, pages and tables of reports: fixed decimals, thousands set apart, a real minus,
/// and never a minus zero.
pub fn number(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let (sign, rest) = text.strip_prefix('-').map_or(("", text.as_str()), |rest| ("\u{2212}", rest));
    let (whole, fraction) = rest.split_once('.').map_or((rest, None), |(w, f)| (w, Some(f)));
    let grouped = grouped(whole);
    let zero = whole.chars().all(|c| c == '0') && fraction.is_none_or(|f| f.chars().all(|c| c == '0'));
    let sign = if zero { "" } else { sign };
    fraction.map_or_else(|| format!("{sign}{grouped}"), |fraction| format!("{sign}{grouped}.{fraction}"))
}

/// A number of things as the sheet counts pixels.
pub(super) fn whole(number: usize) -> i32 {
    i32::try_from(number).unwrap_or(i32::MAX)
}

/// "1 month", "2 months".
pub(super) fn count(number: usize, one: &str, many: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { many })
}

/// "a", "a and b", "a, b and c".
pub fn list(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [only] => only.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

/// As [`list`], but after five items only how many more there are.
pub(super) fn list_some(items: &[String]) -> String {
    const MOST: usize = 5;
    if items.len() <= MOST + 1 {
        return list(items);
    }
    format!("{} and {} more", items[..MOST].join(", "), items.len() - MOST)
}

/// Parts of a caption as one sentence; empty for none.
pub(super) fn sentence(parts: &[String]) -> String {
    let text = parts.join("; ");
    let mut rest = text.chars();
    rest.next().map_or(String::new(), |first| format!("{}{}.", first.to_uppercase(), rest.as_str()))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn luminance(RGBColor(r, g, b): RGBColor) -> f64 {
        let part = |value: u8| {
            let value = f64::from(value) / 255.0;
            if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b)
    }

    #[test]
    fn text_colours_have_contrast() {
        for colour in [INK, ACCENT, ACT, PLAN, GREY_TEXT] {
            let contrast = (luminance(PAPER) + 0.05) / (luminance(colour) + 0.05);
            assert!(contrast >= 4.5, "{colour:?} has {contrast:.2} : 1");
        }
    }

    #[test]
    fn widths_are_those_of_the_font() {
        // Advances in Noto Sans Regular, 2048 to the em: n 1266, m 1909.
        let em = |units: f64| units * 100.0 / 2048.0;
        assert!((text_width("n", 100.0, false) - em(1266.0)).abs() < 0.01);
        assert!((text_width("nn", 100.0, false) - em(2532.0)).abs() < 0.01);
        assert!(text_width("pump", 100.0, true) > text_width("pump", 100.0, false));
    }

    #[test]
    fn text_is_shortened_only_when_needed() {
        let text = "Filtration pump: shaft seal";
        let width = text_width(text, 30.0, false);
        assert_eq!(fit(text, width, 30.0), text);
        let short = fit(text, width - 1.0, 30.0);
        assert!(short.ends_with('…') && short.starts_with("Filtration pump: shaft s"), "{short}");
        assert!(text_width(&short, 30.0, false) <= width - 1.0);
        assert_eq!(fit(text, 3.0, 30.0), "");
        assert_eq!(fit(text, 30.0, 30.0), "…");
        // A letter and its accent stay together.
        let accent = fit("e\u{301}e\u{301}e\u{301}e\u{301}", 60.0, 30.0);
        assert!(accent.ends_with("\u{301}…"), "{accent}");
    }

    #[test]
    fn both_ends_of_a_name_are_kept() {
        let short = fit_middle("Terrace spa by the long wall, jets 1: shaft seal", 400.0, 30.0);
        assert!(short.starts_with("Terrace spa") && short.ends_with("shaft seal"), "{short}");
        assert!(short.contains('…') && text_width(&short, 30.0, false) <= 400.0, "{short}");
        assert_eq!(fit_middle("seal", 400.0, 30.0), "seal");
        assert_eq!(fit_middle("shaft seal", 3.0, 30.0), "");
    }

    #[test]
    fn long_labels_break_between_words() {
        let lines = wrap("Terrace spa by the long wall, jets 1: shaft seal, wet end", 420.0, 30.0, 2);
        assert_eq!(lines.len(), 2);
        assert!(lines.iter().all(|line| text_width(line, 30.0, false) <= 420.0), "{lines:?}");
        assert!(lines[0].starts_with("Terrace spa by the long"), "{lines:?}");
        assert_eq!(wrap("short", 420.0, 30.0, 2), ["short"]);
        assert_eq!(wrap("", 420.0, 30.0, 2), [""]);
    }

    #[test]
    fn what_the_font_lacks_is_replaced() {
        assert!(has_glyph('ß') && has_glyph('Ω') && has_glyph('Ж') && has_glyph('…'));
        assert!(has_glyph('□'));
        for absent in ['水', '😀', '\u{7}', '\u{202e}', '\u{feff}', '\u{0}'] {
            assert!(!has_glyph(absent), "{absent:?}");
        }
        assert_eq!(printable("a\u{202e}b 水\t\n c\u{7}"), "ab □ c");
        assert_eq!(printable("\u{feff} "), "");
        assert_eq!(printable("14\u{a0}000  h"), "14\u{a0}000 h");
    }

    #[test]
    fn numbers_for_print() {
        assert_eq!(number(13_100.4, 0), "13\u{a0}100");
        assert_eq!(number(3100.4, 0), "3100");
        assert_eq!(number(999.0, 1), "999.0");
        assert_eq!(number(-0.04, 1), "0.0");
        assert_eq!(number(-1_234_567.5, 1), "−1\u{a0}234\u{a0}567.5");
        assert_eq!(list(&["a".into(), "b".into(), "c".into()]), "a, b and c");
        let many: Vec<String> = (0..9).map(|at| at.to_string()).collect();
        assert_eq!(list_some(&many), "0, 1, 2, 3, 4 and 4 more");
        assert_eq!(list_some(&many[..6]), "0, 1, 2, 3, 4 and 5");
        assert_eq!(count(1, "month", "months"), "1 month");
    }
}
