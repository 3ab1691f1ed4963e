//! `bookings/<site>.ics`: the nights guests are in, from an iCalendar file (RFC 5545).
//!
//! Only days are kept; names and texts of guests are read past and never stored.

use std::borrow::Cow;
use std::collections::HashMap;

use chrono::NaiveDate;
use icalendar::parser::{read_calendar, unfold};
use icalendar::{CalendarDateTime, DatePerhapsTime};

use crate::calendar;

/// Why a bookings file, or one event of it, is not used.
#[derive(Debug, Clone)]
pub struct BookingProblem {
    /// The line of the file, if it could be found.
    pub line: Option<usize>,
    /// What is wrong.
    pub message: String,
    /// Whether the whole file is lost for it.
    pub whole_file: bool,
}

/// The stays of a bookings file, sorted; a stay is from its first night's day to the day of leaving.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Stays {
    /// Sorted stays: the day of arrival and the day of leaving.
    pub stays: Vec<(NaiveDate, NaiveDate)>,
}

impl Stays {
    /// The occupied days, merged: from each first day up to, not counting, the last.
    pub fn occupied(&self) -> Vec<(NaiveDate, NaiveDate)> {
        let mut merged: Vec<(NaiveDate, NaiveDate)> = Vec::new();
        for (from, to) in &self.stays {
            match merged.last_mut() {
                Some((_, end)) if from <= end => *end = (*end).max(*to),
                _ => merged.push((*from, *to)),
            }
        }
        merged
    }

    /// The days on which one stay ends (and guests change, or leave).
    pub fn leavings(&self) -> impl Iterator<Item = NaiveDate> + '_ {
        self.stays.iter().map(|(_, to)| *to)
    }
}

/// Whether a day has a booking's night: used where occupied days are merged stretches.
pub fn is_within(stretches: &[(NaiveDate, NaiveDate)], day: NaiveDate) -> bool {
    let index = stretches.partition_point(|(from, _)| *from <= day);
    index > 0 && day < stretches[index - 1].1
}

/// The line, from 1, on which a stay that begins on a day is written.
pub fn line_of(text: &str, from: NaiveDate) -> Option<usize> {
    let written = from.format("%Y%m%d").to_string();
    let begins = |line: &str| line.starts_with("DTSTART") && line.contains(&written);
    text.lines().position(begins).map(|index| index + 1)
}

/// Reads a bookings file; times are taken in the fleet's time zone.
pub fn read(text: &str, timezone: chrono_tz::Tz) -> (Stays, Vec<BookingProblem>) {
    let whole = |message: String| (Stays::default(), vec![BookingProblem { line: Some(1), message, whole_file: true }]);
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    if !text.trim_start().starts_with("BEGIN:VCALENDAR") {
        return whole("it is not an iCalendar file; one begins with `BEGIN:VCALENDAR`".to_owned());
    }
    if let Err(line) = nesting(text) {
        let message = "what begins and what ends here do not match as in an iCalendar file".to_owned();
        return (Stays::default(), vec![BookingProblem { line: Some(line), message, whole_file: true }]);
    }
    // The reader's own types hold each property once more, by name: its parts are asked for here instead.
    let is_folded = ["\n ", "\n\t"].iter().any(|fold| text.contains(fold));
    let unfolded = if is_folded { Cow::Owned(unfold(text)) } else { Cow::Borrowed(text) };
    let calendar = match read_calendar(&unfolded) {
        Ok(calendar) => calendar,
        Err(error) => {
            return whole(format!("it cannot be read as iCalendar: {}", error.lines().next().unwrap_or_default()));
        }
    };
    let mut stays = Vec::new();
    let mut problems: Vec<BookingProblem> = Vec::new();
    // The lines are looked for only where there is something to tell, and once.
    let lines = std::cell::OnceCell::new();
    for component in &calendar.components {
        if problems.len() >= MOST_PROBLEMS {
            let message = format!("more than {MOST_PROBLEMS} bookings cannot be read; the others are not told");
            problems.push(BookingProblem { line: None, message, whole_file: false });
            break;
        }
        if component.name != "VEVENT" {
            continue;
        }
        // Of what stands twice the last holds.
        let property = |name: &str| component.properties.iter().rev().find(|property| property.name == name);
        let time = |name: &str| DatePerhapsTime::from_property(&property(name)?.clone().into());
        if property("STATUS").is_some_and(|status| status.val.as_str().eq_ignore_ascii_case("CANCELLED")) {
            continue;
        }
        let mut tell = |message: String| {
            let line = property("UID")
                .map(|uid| uid.val.as_str())
                .and_then(|uid| lines.get_or_init(|| lines_of(text)).get(uid).copied());
            problems.push(BookingProblem { line, message, whole_file: false });
        };
        if property("RRULE").is_some() || property("RDATE").is_some() {
            tell("a recurring booking is not read; export each stay as an event of its own".to_owned());
            continue;
        }
        let Some(from) = time("DTSTART").and_then(|at| day_of(&at, timezone)) else {
            tell("a booking has no first day that can be read (`DTSTART`)".to_owned());
            continue;
        };
        let to = match (time("DTEND"), property("DURATION")) {
            (Some(at), _) => day_of(&at, timezone),
            (None, Some(lasts)) => nights_of(lasts.val.as_str()).map(|nights| calendar::plus_days(from, nights)),
            (None, None) => Some(calendar::plus_days(from, 1)),
        };
        match to {
            Some(to) if to > from && calendar::days_between(from, to) <= 3660 => stays.push((from, to)),
            Some(to) if to > from => tell(format!("the booking of {from} lasts over ten years")),
            Some(_) => tell(format!("the booking of {from} ends before it begins; `DTEND` is the day of leaving")),
            None => tell(format!("the booking of {from} has no last day that can be read (`DTEND` or `DURATION`)")),
        }
    }
    stays.sort_unstable();
    stays.dedup();
    (Stays { stays }, problems)
}

/// The most problems told of one file.
const MOST_PROBLEMS: usize = 100;
/// The deepest that components may stand in one another: a calendar, an event, its alarm, and one to spare.
const DEEPEST: usize = 4;

/// Whether every component that begins ends, none too deep: the reader goes into each by calling itself.
///
/// # Errors
/// The line, from 1, where that is not so.
fn nesting(text: &str) -> Result<(), usize> {
    let mut open: Vec<String> = Vec::new();
    let mut lines = text.lines().enumerate().peekable();
    while let Some((index, line)) = lines.next() {
        let mut line = Cow::Borrowed(line);
        // A long line goes on in the next, after a blank.
        while let Some((_, more)) = lines.next_if(|(_, next)| next.starts_with([' ', '\t'])) {
            if line.len() < 100 {
                line.to_mut().push_str(&more[1..]);
            }
        }
        if let Some(name) = name_after("BEGIN:", &line) {
            open.push(name.to_owned());
        } else if let Some(name) = name_after("END:", &line)
            && !open.pop().is_some_and(|begun| begun.eq_ignore_ascii_case(name))
        {
            return Err(index + 1);
        }
        if open.len() > DEEPEST {
            return Err(index + 1);
        }
    }
    if open.is_empty() { Ok(()) } else { Err(text.lines().count().max(1)) }
}

/// What a line names after a word, in letters of either case.
fn name_after<'a>(word: &str, line: &'a str) -> Option<&'a str> {
    let line = line.trim();
    line.get(..word.len()).filter(|begin| begin.eq_ignore_ascii_case(word)).map(|begin| &line[begin.len()..])
}

/// The nights of a duration (RFC 5545, 3.3.6): `P3D`, `P1W`, `PT66H`, `P2DT18H`; what is begun of a day is a night.
fn nights_of(text: &str) -> Option<i64> {
    let length = text.trim().trim_start_matches('+').strip_prefix('P')?;
    let (days, time) = length.split_once('T').unwrap_or((length, ""));
    let mut seconds = 0_i64;
    let of_days: &[(char, i64)] = &[('W', 604_800), ('D', 86_400)];
    let of_time: &[(char, i64)] = &[('H', 3600), ('M', 60), ('S', 1)];
    for (part, units) in [(days, of_days), (time, of_time)] {
        let mut number = String::new();
        for letter in part.chars() {
            if letter.is_ascii_digit() && number.len() < 7 {
                number.push(letter);
                continue;
            }
            let (_, unit) = units.iter().find(|(name, _)| *name == letter)?;
            seconds += number.parse::<i64>().ok()? * unit;
            number.clear();
        }
        if !number.is_empty() {
            return None;
        }
    }
    (seconds > 0).then(|| (seconds + 86_399) / 86_400)
}

/// The line of each event, by its UID.
fn lines_of(text: &str) -> HashMap<&str, usize> {
    let lines = text.lines().enumerate();
    lines.filter_map(|(index, line)| Some((line.strip_prefix("UID:")?, index + 1))).collect()
}

/// The civil day of a date or a time.
fn day_of(at: &DatePerhapsTime, timezone: chrono_tz::Tz) -> Option<NaiveDate> {
    use chrono::TimeZone;
    let day = match at {
        DatePerhapsTime::Date(day) => *day,
        DatePerhapsTime::DateTime(CalendarDateTime::Floating(time)) => time.date(),
        DatePerhapsTime::DateTime(CalendarDateTime::Utc(time)) => time.with_timezone(&timezone).date_naive(),
        DatePerhapsTime::DateTime(CalendarDateTime::WithTimezone { date_time, tzid }) => {
            let zone: chrono_tz::Tz = tzid.parse().unwrap_or(timezone);
            zone.from_local_datetime(date_time).earliest()?.with_timezone(&timezone).date_naive()
        }
    };
    calendar::YEARS.contains(&chrono::Datelike::year(&day)).then_some(day)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn calendar_of(body: &str) -> String {
        format!("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//x//x//EN\r\n{body}END:VCALENDAR\r\n")
    }

    #[test]
    fn stays_are_days_and_touching_ones_are_one_stretch() {
        let text = calendar_of(
            "BEGIN:VEVENT\r\nUID:1\r\nDTSTAMP:20260101T090000Z\r\nDTSTART;VALUE=DATE:20260306\r\nDTEND;VALUE=DATE:20260309\r\nEND:VEVENT\r\n\
             BEGIN:VEVENT\r\nUID:2\r\nDTSTAMP:20260101T090000Z\r\nDTSTART;VALUE=DATE:20260309\r\nDTEND;VALUE=DATE:20260310\r\nEND:VEVENT\r\n",
        );
        let (stays, problems) = read(&text, chrono_tz::Europe::London);
        assert!(problems.is_empty(), "{problems:?}");
        assert_eq!(stays.stays.len(), 2);
        assert_eq!(stays.occupied().len(), 1);
    }

    #[test]
    fn components_that_do_not_match_or_go_too_deep_cost_the_file() {
        let deep = format!("BEGIN:VCALENDAR\r\n{}", "BEGIN:VEVENT\r\n".repeat(100_000));
        let folded = format!("BEGIN:VCALENDAR\r\n{}", "BEG\r\n IN:VEVENT\r\n".repeat(100_000));
        let closed = format!("{deep}{}END:VCALENDAR\r\n", "END:VEVENT\r\n".repeat(100_000));
        let hidden = format!("BEGIN:VCALENDAR\r\n{}", "BEGIN:VEVENT\r\nEND:OTHER\r\n".repeat(100_000));
        for text in [deep, folded, closed, hidden, calendar_of("BEGIN:VEVENT\r\n"), calendar_of("END:VEVENT\r\n")] {
            let (stays, problems) = read(&text, chrono_tz::UTC);
            assert!(stays.stays.is_empty() && problems.len() == 1 && problems[0].whole_file, "{problems:?}");
        }
        let alarm =
            "BEGIN:VEVENT\r\nUID:1\r\nDTSTART;VALUE=DATE:20260306\r\nBEGIN:VALARM\r\nEND:VALARM\r\nEND:VEVENT\r\n";
        assert_eq!(read(&calendar_of(alarm), chrono_tz::UTC).0.stays.len(), 1);
    }

    /// RFC 5545, 3.6.1: an event has a `DTEND` or a `DURATION`.
    #[test]
    fn a_stay_may_be_written_as_its_length() {
        for (lasts, nights) in [("P3D", 3), ("P1W", 7), ("PT72H", 3), ("PT66H", 3), ("P2DT18H", 3), ("+P1D", 1)] {
            let text = calendar_of(&format!(
                "BEGIN:VEVENT\r\nUID:1\r\nDTSTART;VALUE=DATE:20260905\r\nDURATION:{lasts}\r\nEND:VEVENT\r\n"
            ));
            let (stays, problems) = read(&text, chrono_tz::UTC);
            assert!(problems.is_empty(), "{problems:?}");
            let from = calendar::parse_date("2026-09-05").unwrap();
            assert_eq!(stays.stays, [(from, calendar::plus_days(from, nights))], "{lasts}");
        }
        for wrong in ["3D", "P", "PD", "-P3D", "P3", "P3X", "PT"] {
            let text = calendar_of(&format!(
                "BEGIN:VEVENT\r\nUID:1\r\nDTSTART;VALUE=DATE:20260905\r\nDURATION:{wrong}\r\nEND:VEVENT\r\n"
            ));
            let (stays, problems) = read(&text, chrono_tz::UTC);
            assert!(stays.stays.is_empty() && problems.len() == 1, "{wrong}: {stays:?}");
        }
    }

    #[test]
    fn a_recurring_booking_and_one_that_ends_first_are_told() {
        let text = calendar_of(
            "BEGIN:VEVENT\r\nUID:1\r\nDTSTART;VALUE=DATE:20260306\r\nDTEND;VALUE=DATE:20260309\r\nRRULE:FREQ=WEEKLY\r\nEND:VEVENT\r\n\
             BEGIN:VEVENT\r\nUID:2\r\nDTSTART;VALUE=DATE:20260309\r\nDTEND;VALUE=DATE:20260308\r\nEND:VEVENT\r\n",
        );
        let (stays, problems) = read(&text, chrono_tz::Europe::London);
        assert!(stays.stays.is_empty());
        assert_eq!(problems.len(), 2);
        assert_eq!(problems[0].line, Some(5));
        assert!(read("hello", chrono_tz::UTC).1[0].whole_file);
    }

    #[test]
    fn folded_lines_are_one_and_further_days_are_told() {
        let text = calendar_of(
            "BEGIN:VEVENT\r\nUID:1\r\nDTSTART;VALUE=DA\r\n TE:20260306\r\nDTEND;VALUE=DATE:2026\r\n\t0309\r\nEND:VEVENT\r\n\
             BEGIN:VEVENT\r\nUID:2\r\nDTSTART;VALUE=DATE:20260401\r\nRDATE;VALUE=DATE:20260501\r\nEND:VEVENT\r\n\
             BEGIN:VTODO\r\nUID:3\r\nDTSTART;VALUE=DATE:20260601\r\nEND:VTODO\r\n",
        );
        let (stays, problems) = read(&text, chrono_tz::UTC);
        let day = |text| calendar::parse_date(text).unwrap();
        assert_eq!(stays.stays, [(day("2026-03-06"), day("2026-03-09"))]);
        assert_eq!(problems.len(), 1, "{problems:?}");
        assert!(problems[0].message.contains("recurring") && problems[0].line == Some(12), "{problems:?}");
    }
}
