//! Days and months of the civil calendar, and the one place that may ask what day it is.
//!
//! Everything computed depends on the as-of day, which is an argument; nothing below reads a clock
//! but [`today`], so that the same files and the same as-of day give the same bytes.

use std::fmt;
use std::str::FromStr;

use chrono::{DateTime, Datelike, Days, Months, NaiveDate};

use crate::units::Period;

/// The earliest and the latest year a record may speak of.
pub const YEARS: std::ops::RangeInclusive<i32> = 1950..=2150;

/// A calendar month, as the number of months since the beginning of the year 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Month(i32);

impl Month {
    /// The month a day falls in.
    pub fn of(day: NaiveDate) -> Self {
        Self(day.year() * 12 + day.month0() as i32)
    }

    /// Its year.
    pub fn year(self) -> i32 {
        self.0.div_euclid(12)
    }

    /// Its number, 1 to 12.
    pub fn number(self) -> u32 {
        self.0.rem_euclid(12) as u32 + 1
    }

    /// Its first day.
    pub fn first(self) -> NaiveDate {
        NaiveDate::from_ymd_opt(self.year(), self.number(), 1).unwrap_or(NaiveDate::MIN)
    }

    /// Its last day.
    pub fn last(self) -> NaiveDate {
        self.next().first().pred_opt().unwrap_or(NaiveDate::MAX)
    }

    /// How many days it has.
    pub fn days(self) -> u32 {
        self.last().day()
    }

    /// The month after it.
    #[must_use]
    pub fn next(self) -> Self {
        self.plus(1)
    }

    /// The month `months` later (earlier if negative).
    #[must_use]
    pub fn plus(self, months: i32) -> Self {
        Self(self.0 + months)
    }

    /// Every month from this one to `last`, both counted.
    pub fn through(self, last: Self) -> impl ExactSizeIterator<Item = Self> {
        (self.0..last.0 + 1).map(Self)
    }

    /// The month in words: "October 2026".
    pub fn in_words(self) -> String {
        format!("{} {}", MONTHS[self.0.rem_euclid(12) as usize], self.year())
    }
}

/// The months' names.
pub const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

impl fmt::Display for Month {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        write!(f, "{:04}-{:02}", self.year(), self.number())
    }
}

impl FromStr for Month {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || format!("`{text}` is not a month; write it like `2026-10`");
        let (year, month) = text.split_once('-').ok_or_else(wrong)?;
        let digits = |t: &str, n: usize| t.len() == n && t.bytes().all(|b| b.is_ascii_digit());
        if !digits(year, 4) || !digits(month, 2) {
            return Err(wrong());
        }
        let (year, month): (i32, i32) = (year.parse().map_err(|_| wrong())?, month.parse().map_err(|_| wrong())?);
        if !YEARS.contains(&year) || !(1..=12).contains(&month) {
            return Err(wrong());
        }
        Ok(Self(year * 12 + month - 1))
    }
}

/// Reads an ISO 8601 civil date.
///
/// # Errors
/// Says what a date looks like, or that there is no such day.
pub fn parse_date(text: &str) -> Result<NaiveDate, String> {
    let shape = text.len() == 10
        && text.bytes().enumerate().all(|(i, b)| if i == 4 || i == 7 { b == b'-' } else { b.is_ascii_digit() });
    if !shape {
        return Err(format!(
            "`{}` is not a date; write it like `2026-09-30`",
            text.chars().take(40).collect::<String>()
        ));
    }
    // Written out: a fleet has millions of dates, and the shape is known by now.
    let number = |digits: &str| digits.parse::<u32>().unwrap_or(0);
    let date = NaiveDate::from_ymd_opt(number(&text[..4]) as i32, number(&text[5..7]), number(&text[8..]))
        .ok_or_else(|| format!("there is no such day as `{text}`"))?;
    if YEARS.contains(&date.year()) {
        Ok(date)
    } else {
        Err(format!("the year of `{text}` cannot be right; years run from {} to {}", YEARS.start(), YEARS.end()))
    }
}

/// `day` plus months by the calendar, clamped to the month's end, then days.
pub fn add(day: NaiveDate, period: Period) -> NaiveDate {
    day.checked_add_months(Months::new(period.months))
        .and_then(|d| d.checked_add_days(Days::new(u64::from(period.days))))
        .unwrap_or(NaiveDate::MAX)
}

/// `day` plus whole days (before it if negative), held inside the calendar.
pub fn plus_days(day: NaiveDate, days: i64) -> NaiveDate {
    let sum = if days >= 0 {
        day.checked_add_days(Days::new(days as u64))
    } else {
        day.checked_sub_days(Days::new(days.unsigned_abs()))
    };
    sum.unwrap_or(if days >= 0 { NaiveDate::MAX } else { NaiveDate::MIN })
}

/// Days from `start` to `end`.
pub fn days_between(start: NaiveDate, end: NaiveDate) -> i64 {
    end.signed_duration_since(start).num_days()
}

/// A day in words: "6 November 2026".
pub fn in_words(day: NaiveDate) -> String {
    format!("{} {} {}", day.day(), MONTHS[day.month0() as usize], day.year())
}

/// Today's civil date in a time zone.
#[expect(clippy::disallowed_methods, reason = "the one place that asks what day it is")]
pub fn today(timezone: chrono_tz::Tz) -> NaiveDate {
    let seconds = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).map_or(0, |d| d.as_secs());
    DateTime::from_timestamp(seconds as i64, 0).map_or(NaiveDate::MIN, |now| now.with_timezone(&timezone).date_naive())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        parse_date(text).unwrap()
    }

    #[test]
    fn months_run_over_the_year() {
        let month: Month = "2026-12".parse().unwrap();
        assert_eq!(month.next().to_string(), "2027-01");
        assert_eq!(month.plus(-12).to_string(), "2025-12");
        assert_eq!("2024-02".parse::<Month>().unwrap().days(), 29);
        assert_eq!("2026-01".parse::<Month>().unwrap().through(month).count(), 12);
        for wrong in ["2026-13", "2026-1", "0000-01", "x", "2026/01", "+026-01"] {
            assert!(wrong.parse::<Month>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn months_are_added_by_the_calendar_and_clamped() {
        assert_eq!(add(day("2026-01-31"), Period { months: 1, days: 0 }), day("2026-02-28"));
        assert_eq!(add(day("2024-02-29"), Period { months: 12, days: 0 }), day("2025-02-28"));
        assert_eq!(add(day("2025-01-01"), Period { months: 48, days: 0 }), day("2029-01-01"));
    }

    #[test]
    fn a_day_that_is_none_is_refused() {
        for wrong in ["2026-02-31", "2026-2-3", "0000-01-01", "9999-01-01", "2026-09-31", "", "2026-09-3O"] {
            assert!(parse_date(wrong).is_err(), "{wrong}");
        }
    }
}
