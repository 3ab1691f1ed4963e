//! What comes in the next 12 months? A strip of months with what is due, visits and guest-free days.
//!
//! It exists so that a due date is seen beside the days on which the work can be done. It must not
//! plan: dates, ranges and urgency come with the figures.

use std::fmt::Write as _;

use chrono::{Datelike, Days, Months, NaiveDate};

use super::axis::{DayScale, first_of_month, long_day, long_month, month_names};
use super::canvas::{Anchor, Canvas, Drawing, Type};
use super::style::{self, ACCENT, GREY_BLOCK, GREY_GRID, GREY_TEXT, INK, LABEL, LINE_PITCH, Mark, TICK, WIDTH};
use super::{Chart, NoChart};

/// Most rows on one page.
pub const MOST_ROWS: usize = 40;
/// Beyond this many rows each name gets one line, so that all stay on a page.
const MOST_TWO_LINE_ROWS: usize = 24;

/// The next 12 months of a site.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct YearInput {
    /// File stem of the chart.
    pub name: String,
    /// Any day of the first month shown.
    pub first_month: NaiveDate,
    /// Days on which guests are in; `None` if that is not known (the row is then left out).
    pub guests: Option<Vec<DayRange>>,
    /// Closed seasons.
    pub closed: Vec<ClosedSeason>,
    /// What is due and what is planned, in the order to be shown; beyond [`MOST_ROWS`] rows are left
    /// out, and the caption says so.
    pub rows: Vec<YearRow>,
    /// What the range lines are, such as "central 80 %".
    pub range_name: String,
}

/// Days in a row, first and last included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DayRange {
    /// First day.
    pub first: NaiveDate,
    /// Last day, included.
    pub last: NaiveDate,
}

/// A time the spa or the site is closed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClosedSeason {
    /// Its days.
    pub days: DayRange,
    /// What to write on it, such as "closed, drained".
    pub word: String,
}

/// One row of the strip.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum YearRow {
    /// A thing due once. A day before the first month means its limit is past.
    Due {
        /// The thing, such as "Jets 1: shaft seal".
        label: String,
        /// How pressing it is.
        mark: Mark,
        /// The most likely day.
        date: NaiveDate,
        /// Low and high of that day.
        range: Option<(NaiveDate, NaiveDate)>,
    },
    /// A thing past its limit, since a day if that is known.
    Overdue {
        /// The thing.
        label: String,
        /// How pressing it is.
        mark: Mark,
        /// Since when.
        since: Option<NaiveDate>,
    },
    /// A task or visits: several days.
    Events {
        /// What they are, such as "Visits".
        label: String,
        /// The days; those outside the year are left out.
        dates: Vec<NaiveDate>,
    },
}

impl YearRow {
    fn label(&self) -> &str {
        match self {
            Self::Due { label, .. } | Self::Overdue { label, .. } | Self::Events { label, .. } => label,
        }
    }
}

/// Draws the next 12 months.
///
/// # Errors
/// [`NoChart`] if there is nothing to show in them.
pub fn year(input: &YearInput) -> Result<Chart, NoChart> {
    let drawing = draw(input)?;
    Ok(Chart { name: input.name.clone(), svg: drawing.svg, alt: alt(input)?, caption: caption(input)? })
}

fn rows(input: &YearInput) -> &[YearRow] {
    &input.rows[..input.rows.len().min(MOST_ROWS)]
}

/// First and last day of the strip.
fn span(input: &YearInput) -> Result<(NaiveDate, NaiveDate), NoChart> {
    let first = first_of_month(input.first_month);
    first
        .checked_add_months(Months::new(12))
        .and_then(|next| next.checked_sub_days(Days::new(1)))
        .map(|last| (first, last))
        .ok_or_else(|| NoChart::because("its first month is out of reach"))
}

fn draw(input: &YearInput) -> Result<Drawing, NoChart> {
    let rows = rows(input);
    let (first, last) = span(input)?;
    if rows.is_empty() && input.guests.is_none() && input.closed.is_empty() {
        return Err(NoChart::because("nothing is due or planned"));
    }
    let lines = if rows.len() > MOST_TWO_LINE_ROWS { 1 } else { 2 };
    let labels: Vec<Vec<String>> =
        rows.iter().map(|row| style::wrap(row.label(), 470.0, f64::from(LABEL), lines)).collect();
    let calendar_label = if input.guests.is_some() { "Guests in" } else { "Closed" };
    let has_calendar = input.guests.is_some() || !input.closed.is_empty();
    let widest = labels
        .iter()
        .flatten()
        .map(|line| style::text_width(line, f64::from(LABEL), false))
        .fold(style::text_width(calendar_label, f64::from(LABEL), false), f64::max);
    let left = widest.ceil() as i32 + 46;
    let scale = DayScale::new(first, last, left, WIDTH - 22)?;

    let top = 92;
    let heights: Vec<i32> = labels.iter().map(|lines| 58 + (style::whole(lines.len()) - 1) * LINE_PITCH).collect();
    let calendar_height = if has_calendar { 62 } else { 0 };
    let bottom = top + calendar_height + heights.iter().sum::<i32>();
    let mut canvas = Canvas::default();
    let slots = scale.slots();
    for slot in &slots {
        canvas.line(vec![(slot.left, top - 10), (slot.left, bottom)], 2, GREY_GRID);
    }
    canvas.line(vec![(scale.right, top - 10), (scale.right, bottom)], 2, GREY_GRID);
    month_names(&mut canvas, &slots, 30);
    if has_calendar {
        let middle = top + calendar_height / 2;
        canvas.text(calendar_label, 0, middle + 11, Type::new(LABEL, INK, Anchor::Left));
        draw_calendar(&mut canvas, input, &scale, middle);
    }
    let mut row_top = top + calendar_height;
    for ((row, lines), height) in rows.iter().zip(&labels).zip(&heights) {
        let middle = row_top + height / 2;
        let baseline = middle + 11 - (style::whole(lines.len()) - 1) * LINE_PITCH / 2;
        for (at, line) in lines.iter().enumerate() {
            canvas.text(line, 0, baseline + style::whole(at) * LINE_PITCH, Type::new(LABEL, INK, Anchor::Left));
        }
        draw_row(&mut canvas, row, &scale, middle);
        row_top += height;
    }
    canvas.finish(bottom + 6)
}

fn draw_calendar(canvas: &mut Canvas, input: &YearInput, scale: &DayScale, middle: i32) {
    let edges = |days: &DayRange| {
        (days.first <= days.last && days.last >= scale.first && days.first <= scale.last)
            .then(|| (scale.start(days.first), scale.end(days.last)))
    };
    for (from, to) in input.guests.iter().flatten().filter_map(edges) {
        // A hair of paper between stays that follow each other.
        canvas.fill(from, middle - 12, (to - 1).max(from + 2), middle + 12, GREY_BLOCK);
    }
    for season in &input.closed {
        let Some((from, to)) = edges(&season.days) else { continue };
        canvas.dashed_box(from, middle - 22, to, middle + 22, GREY_TEXT);
        // The whole word, or its first part, or nothing: the outline is explained under the strip.
        let first_part = season.word.split(',').next().unwrap_or_default();
        let fitting = [season.word.as_str(), first_part]
            .into_iter()
            .map(style::printable)
            .find(|word| style::text_width(word, f64::from(TICK), false) <= f64::from(to - from - 12));
        if let Some(word) = fitting {
            let type_ = Type::new(TICK, GREY_TEXT, Anchor::Centre);
            canvas.try_text(&word, i32::midpoint(from, to), middle + 10, type_);
        }
    }
}

fn draw_row(canvas: &mut Canvas, row: &YearRow, scale: &DayScale, middle: i32) {
    match row {
        YearRow::Events { dates, .. } => {
            for &date in dates.iter().filter(|&&date| scale.holds(date)) {
                canvas.triangle(scale.middle(date), middle, 13, false, ACCENT);
            }
        }
        YearRow::Overdue { mark, since, .. } => draw_overdue(canvas, *mark, *since, scale, middle),
        YearRow::Due { mark, date, .. } if *date < scale.first => {
            draw_overdue(canvas, *mark, Some(*date), scale, middle);
        }
        YearRow::Due { mark, date, range, .. } => {
            if let Some((low, high)) = range.filter(|(low, high)| *low <= scale.last && *high >= scale.first) {
                let (from, to) = (scale.start(low), scale.end(high));
                canvas.line(vec![(from, middle), (to, middle)], 5, style::mark_colour(*mark));
                // An end inside the year has a stop, an end beyond it has none.
                for (day, x) in [(low, from), (high, to)] {
                    if scale.holds(day) {
                        canvas.line(vec![(x, middle - 9), (x, middle + 9)], 4, style::mark_colour(*mark));
                    }
                }
            }
            if scale.holds(*date) {
                canvas.mark(*mark, scale.middle(*date), middle);
            } else {
                draw_later(canvas, *mark, *date, *range, scale, middle);
            }
        }
    }
}

fn draw_overdue(canvas: &mut Canvas, mark: Mark, since: Option<NaiveDate>, scale: &DayScale, middle: i32) {
    let x = scale.left;
    canvas.mark(mark, x, middle);
    let colour = if mark == Mark::Note { ACCENT } else { style::mark_colour(mark) };
    canvas.text(&overdue_words(since, scale.first), x + 28, middle + 10, Type::new(TICK, colour, Anchor::Left));
}

/// The year is named once the month alone would be mistaken.
fn overdue_words(since: Option<NaiveDate>, first: NaiveDate) -> String {
    let Some(since) = since else { return "past its limit".to_owned() };
    let months = (first.year() - since.year()) * 12 + first.month0().cast_signed() - since.month0().cast_signed();
    if (0..12).contains(&months) {
        format!("past its limit since {}", since.format("%B"))
    } else {
        format!("past its limit since {}", long_month(since))
    }
}

/// Most likely after the year shown: an arrow at the edge, with the month where there is room.
fn draw_later(
    canvas: &mut Canvas,
    mark: Mark,
    date: NaiveDate,
    range: Option<(NaiveDate, NaiveDate)>,
    scale: &DayScale,
    middle: i32,
) {
    let (x, colour) = (scale.right, style::mark_colour(mark));
    canvas.line(vec![(x - 16, middle), (x + 8, middle)], 5, colour);
    canvas.line(vec![(x - 4, middle - 11), (x + 9, middle), (x - 4, middle + 11)], 5, colour);
    let words = format!("{}", date.format("%b %Y"));
    let mut end = x - 30;
    if let Some((low, _)) = range.filter(|(low, _)| *low <= scale.last) {
        end = end.min(scale.start(low) - 16);
    }
    let width = style::text_width(&words, f64::from(TICK), false).ceil() as i32;
    if end - width >= scale.left {
        canvas.try_text(&words, end, middle + 10, Type::new(TICK, colour, Anchor::Right));
    }
}

fn alt(input: &YearInput) -> Result<String, NoChart> {
    let (first, last) = span(input)?;
    let mut overdue = Vec::new();
    let mut due = Vec::new();
    let mut later = 0;
    let mut events = Vec::new();
    for row in rows(input) {
        let label = style::printable(row.label());
        match row {
            YearRow::Overdue { since, .. } => {
                overdue.push(format!("{label} {}", overdue_words(*since, first)));
            }
            YearRow::Due { date, .. } if *date < first => {
                overdue.push(format!("{label} {}", overdue_words(Some(*date), first)));
            }
            YearRow::Due { date, .. } if *date > last => later += 1,
            YearRow::Due { date, range, .. } => {
                let range =
                    range.map_or(String::new(), |(low, high)| format!(" ({} to {})", long_day(low), long_day(high)));
                due.push((*date, format!("{label} about {}{range}", long_day(*date))));
            }
            YearRow::Events { dates, .. } => {
                let within = dates.iter().filter(|&&date| (first..=last).contains(&date)).count();
                events.push(format!("{label}: {}", style::count(within, "day", "days")));
            }
        }
    }
    due.sort();
    let due: Vec<String> = due.into_iter().map(|(_, words)| words).collect();
    let mut out = format!("{} to {}.", long_month(first), long_month(last));
    if overdue.is_empty() {
        out += " Nothing is past its limit.";
    } else {
        let _ = write!(out, " {}.", style::list_some(&overdue));
    }
    if due.is_empty() {
        out += " Nothing falls due in these months.";
    } else {
        let _ = write!(out, " Due, in this order: {}.", due_words(&due));
    }
    if later > 0 {
        let _ = write!(out, " Later: {}.", style::count(later, "thing", "things"));
    }
    if !events.is_empty() {
        let _ = write!(out, " {}.", style::list(&events));
    }
    for season in &input.closed {
        let _ = write!(
            out,
            " {} from {} to {}.",
            style::sentence(&[style::printable(&season.word)]).trim_end_matches('.'),
            long_day(season.days.first),
            long_day(season.days.last)
        );
    }
    Ok(out)
}

fn due_words(due: &[String]) -> String {
    const MOST: usize = 8;
    let mut out = due[..due.len().min(MOST)].join("; ");
    if due.len() > MOST {
        let _ = write!(out, "; and {} more", due.len() - MOST);
    }
    out
}

fn caption(input: &YearInput) -> Result<String, NoChart> {
    let (_, last) = span(input)?;
    let rows = rows(input);
    let mut parts = Vec::new();
    if rows.iter().any(|row| matches!(row, YearRow::Due { range: Some(_), .. })) {
        parts.push(format!("line: {} of each due date", style::printable(&input.range_name)));
    }
    for wanted in [Mark::DoNotUse, Mark::ActNow, Mark::Plan, Mark::Note] {
        let has = rows
            .iter()
            .any(|row| matches!(row, YearRow::Due { mark, .. } | YearRow::Overdue { mark, .. } if *mark == wanted));
        if has {
            parts.push(format!("{}: {}", style::mark_shape(wanted), wanted.words()));
        }
    }
    if rows.iter().any(|row| matches!(row, YearRow::Due { date, .. } if *date > last)) {
        parts.push("arrow: later than shown".to_owned());
    }
    if rows.iter().any(|row| matches!(row, YearRow::Events { .. })) {
        parts.push("triangle on its point: a planned day".to_owned());
    }
    if input.guests.is_some() {
        parts.push("grey: guests in".to_owned());
    }
    if !input.closed.is_empty() {
        parts.push("dashed: closed".to_owned());
    }
    let mut out = style::sentence(&parts);
    if input.rows.len() > rows.len() {
        let _ = write!(out, " The first {} of {} rows.", rows.len(), input.rows.len());
    }
    Ok(out)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::charts::canvas::assert_labels_fit;

    fn day(year: i32, month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(year, month, day).unwrap()
    }

    fn input(rows: usize, label: &str) -> YearInput {
        let marks = [Mark::DoNotUse, Mark::ActNow, Mark::Plan, Mark::Note];
        YearInput {
            name: "year".into(),
            first_month: day(2026, 11, 1),
            guests: Some(vec![DayRange { first: day(2026, 10, 28), last: day(2026, 11, 9) }]),
            closed: vec![
                ClosedSeason {
                    days: DayRange { first: day(2027, 1, 2), last: day(2027, 2, 18) },
                    word: "closed, drained".into(),
                },
                ClosedSeason {
                    days: DayRange { first: day(2027, 2, 19), last: day(2027, 2, 20) },
                    word: "closed".into(),
                },
            ],
            rows: (0..rows)
                .map(|at| {
                    let (label, mark) = (format!("{label} {at}"), marks[at % 4]);
                    match at % 6 {
                        0 => YearRow::Overdue { label, mark, since: Some(day(2026, 1, 3)) },
                        1 => YearRow::Due { label, mark, date: day(2025, 3, 3), range: None },
                        2 => YearRow::Due {
                            label,
                            mark,
                            date: day(2027, 3, 9),
                            range: Some((day(2027, 2, 20), day(2027, 4, 2))),
                        },
                        3 => YearRow::Due {
                            label,
                            mark,
                            date: day(2028, 3, 9),
                            range: Some((day(2027, 1, 20), day(2040, 4, 2))),
                        },
                        4 => YearRow::Due { label, mark, date: day(2027, 11, 1), range: None },
                        _ => YearRow::Events {
                            label,
                            dates: vec![day(2026, 11, 12), day(2027, 10, 31), day(2029, 1, 1)],
                        },
                    }
                })
                .collect(),
            range_name: "central 80 %".into(),
        }
    }

    #[test]
    fn labels_fit_with_none_to_many_rows_and_long_names() {
        for rows in [0, 1, 2, 10, 24, 25, 40, 55] {
            for label in ["", "Terrace spa by the <script>&\" long wall, jets 1: shaft seal, wet end", &"W".repeat(60)]
            {
                let mut input = input(rows, label);
                let drawing = draw(&input).unwrap();
                assert_labels_fit(&drawing);
                assert!(drawing.height <= 2500, "{} is more than a page", drawing.height);
                input.guests = None;
                assert_labels_fit(&draw(&input).unwrap());
            }
        }
    }

    #[test]
    fn guests_are_shown_only_if_known() {
        let mut input = input(3, "Seal");
        assert!(year(&input).unwrap().svg.contains("Guests in"));
        input.guests = None;
        assert!(!year(&input).unwrap().svg.contains("Guests in"));
        assert!(!year(&input).unwrap().caption.contains("guests"));
    }

    #[test]
    fn alt_states_the_finding() {
        let chart = year(&input(6, "Seal")).unwrap();
        assert_eq!(
            chart.alt,
            "November 2026 to October 2027. Seal 0 past its limit since January and Seal 1 past its limit since \
             March 2025. Due, in this order: Seal 2 about 9 March 2027 (20 February 2027 to 2 April 2027). \
             Later: 2 things. Seal 5: 2 days. Closed, drained from 2 January 2027 to 18 February 2027. \
             Closed from 19 February 2027 to 20 February 2027."
        );
        assert!(chart.svg.contains("past its limit since January"));
        assert!(chart.caption.contains("square: do not use; triangle: act now; dot: plan"), "{}", chart.caption);
        assert_eq!(year(&input(6, "Seal")).unwrap(), chart);
    }

    #[test]
    fn nothing_to_draw_is_said() {
        let none = YearInput { guests: None, closed: vec![], ..input(0, "") };
        assert_eq!(year(&none).unwrap_err().to_string(), "no chart: nothing is due or planned");
    }
}
