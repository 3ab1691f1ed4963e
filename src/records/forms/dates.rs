//! Days as records write them: a civil date, and a day of fitting as exactly as it is known.

use std::fmt;

use chrono::NaiveDate;
use serde::Deserialize;
use serde::de::{self, Deserializer, Visitor};

use super::scalar;
use crate::calendar::{self, Month};

/// A civil date.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Date(pub NaiveDate);

impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        self.0.fmt(f)
    }
}

scalar!(Date, "a date like `2026-09-30`", |text| calendar::parse_date(text).map(Date));

/// The day something was fitted, as exactly as it is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fitted {
    /// To the day.
    Day(NaiveDate),
    /// To the month.
    Month(Month),
    /// To the year.
    Year(i32),
    /// Not known, but for the latest day it can have been.
    Before(NaiveDate),
    /// Not known.
    Unknown,
}

scalar!(
    Fitted,
    "a day, month or year like `2022-05-04`, `2022-05` or `2022`, `before 2024-01-01`, or `unknown`",
    |text| {
        let shown: String = text.chars().take(40).collect();
        if text == "unknown" {
            return Ok(Fitted::Unknown);
        }
        if let Some(day) = text.strip_prefix("before ") {
            return calendar::parse_date(day.trim()).map(Fitted::Before);
        }
        if text.len() == 4 && text.bytes().all(|b| b.is_ascii_digit()) {
            return match text.parse::<i32>() {
                Ok(year) if calendar::YEARS.contains(&year) => Ok(Fitted::Year(year)),
                _ => Err(format!(
                    "the year `{shown}` cannot be right; years run from {} to {}",
                    calendar::YEARS.start(),
                    calendar::YEARS.end()
                )),
            };
        }
        if text.len() == 7 {
            return text.parse().map(Fitted::Month);
        }
        calendar::parse_date(text).map(Fitted::Day).map_err(|error| {
        format!("{error}; a day of fitting may also be a month `2022-05`, a year `2022`, `before 2024-01-01` or `unknown`")
    })
    }
);

impl Fitted {
    /// The first and the last day it can have been; `None` if not known.
    pub fn range(self) -> Option<(NaiveDate, NaiveDate)> {
        match self {
            Self::Day(day) => Some((day, day)),
            Self::Month(month) => Some((month.first(), month.last())),
            Self::Year(year) => Some((NaiveDate::from_ymd_opt(year, 1, 1)?, NaiveDate::from_ymd_opt(year, 12, 31)?)),
            Self::Before(_) | Self::Unknown => None,
        }
    }

    /// The middle of that range, which stands for it in every figure.
    pub fn middle(self) -> Option<NaiveDate> {
        let (first, last) = self.range()?;
        Some(calendar::plus_days(first, calendar::days_between(first, last) / 2))
    }

    /// Whether the day itself is known.
    pub fn is_exact(self) -> bool {
        matches!(self, Self::Day(_))
    }

    /// The first day it can have been, or the latest day named if only that is known.
    pub fn earliest(self) -> Option<NaiveDate> {
        self.range().map(|(first, _)| first)
    }
}

impl fmt::Display for Fitted {
    /// As it is written in a record.
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            Self::Day(day) => write!(f, "{day}"),
            Self::Month(month) => write!(f, "{month}"),
            Self::Year(year) => write!(f, "{year}"),
            Self::Before(day) => write!(f, "before {day}"),
            Self::Unknown => f.write_str("unknown"),
        }
    }
}
