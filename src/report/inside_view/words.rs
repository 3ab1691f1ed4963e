//! Shares, chances, errors and ranges in words.

use crate::report::format;

/// "4 years in 5": a share in words.
pub fn share_in_words(share: f64) -> String {
    for (of, parts) in [(2, 1), (3, 2), (4, 3), (5, 4), (10, 9), (20, 19), (100, 99)] {
        if (share - f64::from(parts) / f64::from(of)).abs() < 1e-9 {
            let years = if parts == 1 { "year" } else { "years" };
            return format!("{parts} {years} in {of}");
        }
    }
    format!("{:.0} years in 100", share * 100.0)
}

/// "about 1 in 7": a chance in words.
pub fn chance_in_words(chance: f64) -> String {
    if chance < 0.005 {
        "less than 1 in 200".to_owned()
    } else if chance <= 0.5 {
        format!("about 1 in {:.0}", 1.0 / chance)
    } else if chance > 0.995 {
        "nearly certain".to_owned()
    } else {
        format!("about {:.0} in 10", (chance * 10.0).round().clamp(5.0, 9.0))
    }
}

/// An error with so many digits, with more where these would make it nothing, up to the finest; what is less still is told
/// as one of its last digit. Only an error of nothing is told as nothing.
pub(super) fn error_in_words(error: f64, digits: usize, finest: usize) -> String {
    let unit = |digits: usize| 10f64.powi(-(digits as i32));
    if error <= 0.0 {
        return format::number(0.0, digits);
    }
    let error = error.max(unit(finest));
    let digits = (digits..finest).find(|digits| error >= 0.5 * unit(*digits)).unwrap_or(finest);
    format::number(error, digits)
}

/// A range of the usual share of years needs no word of it: the head of its column says so.
pub(super) fn range(low: String, high: &str, within: f64) -> String {
    let ends = if low == high { low } else { format!("{low} to {high}") };
    if is_usual(within) { ends } else { format!("{ends} {}", format::in_years(within)) }
}

pub(super) fn is_usual(within: f64) -> bool {
    (within - 0.8).abs() < 1e-9
}

pub(super) fn signed(text: String) -> String {
    if text.starts_with('\u{2212}') || text.chars().all(|digit| "0.".contains(digit)) {
        text
    } else {
        format!("+{text}")
    }
}

pub(super) fn with_error(value: &str, error: &str) -> String {
    format!("{value} ± {error}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_range_says_of_how_many_years_it_is() {
        let of = |within| range("+250".to_owned(), "+1\u{a0}910", within);
        assert_eq!([of(0.8), of(0.98)], ["+250 to +1\u{a0}910", "+250 to +1\u{a0}910 in 49 years of 50"]);
        assert_eq!(
            [0.8, 0.9, 0.95, 0.998, 1.0].map(format::in_years),
            ["in 4 years of 5", "in 9 years of 10", "in 19 years of 20", "in 499 years of 500", "in all years drawn"]
        );
        assert_eq!(range("0".to_owned(), "0", 0.8), "0");
    }

    #[test]
    fn an_error_is_nothing_only_where_there_is_none() {
        let of = |error| error_in_words(error, 0, 2);
        assert_eq!(
            [of(12.4), of(0.6), of(0.31), of(0.04), of(0.0001), of(0.0)],
            ["12", "1", "0.3", "0.04", "0.01", "0"]
        );
        assert_eq!([error_in_words(0.0004, 3, 3), error_in_words(0.0, 3, 3)], ["0.001", "0.000"]);
    }
}
