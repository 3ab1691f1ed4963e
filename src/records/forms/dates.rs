//! Days as records write them: a civil date, and a day of fitting as exactly as it is known.

use std::fmt;

use chrono::NaiveDate;
use serde::Deserialize;
use serde::de::{self, Deserializer, Visitor};

use super::scalar;
use crate::calendar::{self, Month};
use crate::records::log::TimeOfDay;

/// A civil date.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Date(pub NaiveDate);

impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        self.0.fmt(f)
    }
}

scalar!(Date, deserialize_any, "a date like `2026-09-30`", |text| calendar::parse_date(text).map(Date));

/// When something was reported: the day, and the time of day where it is known. `2026-10-06` or `2026-10-06 09:40`, in the
/// fleet's time zone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Reported {
    /// The day.
    pub day: NaiveDate,
    /// Minutes after midnight; `None` = not written.
    pub minute: Option<u32>,
}

impl Reported {
    /// What a day with a time looks like.
    pub(crate) const PATTERN: &'static str = "[ Tt]+([01]?[0-9]|2[0-3]):[0-5]?[0-9]";
}

scalar!(Reported, deserialize_any, "a day like `2026-10-06`, or with its time, `2026-10-06 09:40`", |text| {
    let Some((day, time)) = text.trim().split_once([' ', 'T', 't']) else {
        return calendar::parse_date(text).map(|day| Reported { day, minute: None });
    };
    let shown: String = text.chars().take(40).collect();
    let wrong = || format!("`{shown}` is not a day with a time; write it like `2026-10-06 09:40`");
    let day = calendar::parse_date(day)?;
    let time = TimeOfDay::read(time).map_err(|_| wrong())?;
    if time.end.is_some() {
        return Err(wrong());
    }
    Ok(Reported { day, minute: Some(time.start) })
});

impl fmt::Display for Reported {
    /// As it is written in a record.
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self.minute {
            Some(minute) => write!(f, "{} {:02}:{:02}", self.day, minute / 60, minute % 60),
            None => self.day.fmt(f),
        }
    }
}

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
    deserialize_any,
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
