//! How much of its life has each wear part used? One bar a part against the 100 % line.
//!
//! It exists so that what is worn out stands out from what is not. It must not rank: rows are drawn
//! in the order given.

use std::fmt::Write as _;

use super::axis::check;
use super::canvas::{Anchor, Canvas, Drawing, Type};
use super::style::{self, ACCENT, GREY_GRID, GREY_TEXT, INK, LABEL, LINE_PITCH, Mark, PAPER, TICK, WIDTH};
use super::{Chart, NoChart};

/// Most rows on one page.
pub const MOST_ROWS: usize = 40;
/// Beyond this many rows each name gets one line, so that all stay on a page.
const MOST_TWO_LINE_ROWS: usize = 24;
/// Beyond twice its life a bar is broken off; its figure is written.
const LONGEST_SHARE: f64 = 2.0;

/// The wear parts of a site, a spa or a pump.
#[derive(Debug, Clone, PartialEq)]
pub struct PartLifeInput {
    /// File stem of the chart.
    pub name: String,
    /// One row a part, in the order to be shown; beyond [`MOST_ROWS`] they are left out, and the
    /// caption says so.
    pub rows: Vec<PartLifeRow>,
    /// What the range lines are, such as "central 80 %".
    pub range_name: String,
}

/// One part.
#[derive(Debug, Clone, PartialEq)]
pub struct PartLifeRow {
    /// The part and where it is, such as "Jets 1: shaft seal".
    pub label: String,
    /// Life used as a share: 1 is all of it.
    pub used_share: f64,
    /// Low and high of that share.
    pub range_share: Option<(f64, f64)>,
    /// When it is due, in a few words, such as "about 9 Mar 2027".
    pub due: String,
    /// The use is estimated, not metered: drawn hollow.
    pub is_estimated: bool,
    /// How pressing it is.
    pub mark: Option<Mark>,
}

/// Draws the life used of wear parts.
///
/// # Errors
/// [`NoChart`] if there is no part, or a figure cannot be drawn.
pub fn part_life(input: &PartLifeInput) -> Result<Chart, NoChart> {
    let drawing = draw(input)?;
    Ok(Chart { name: input.name.clone(), svg: drawing.svg, alt: alt(input), caption: caption(input) })
}

fn rows(input: &PartLifeInput) -> &[PartLifeRow] {
    &input.rows[..input.rows.len().min(MOST_ROWS)]
}

fn draw(input: &PartLifeInput) -> Result<Drawing, NoChart> {
    let rows = rows(input);
    if rows.is_empty() {
        return Err(NoChart::because("no wear part on record"));
    }
    check(rows.iter().flat_map(|row| {
        let (low, high) = row.range_share.unwrap_or((0.0, 0.0));
        [row.used_share, low, high]
    }))?;
    if rows.iter().any(|row| row.used_share < 0.0) {
        return Err(NoChart::because("a part has used less than none of its life"));
    }
    let (label_size, tick_size) = (f64::from(LABEL), f64::from(TICK));
    let lines = if rows.len() > MOST_TWO_LINE_ROWS { 1 } else { 2 };
    let labels: Vec<Vec<String>> = rows.iter().map(|row| style::wrap(&row.label, 540.0, label_size, lines)).collect();
    let dues: Vec<String> = rows.iter().map(|row| style::fit(&row.due, 380.0, label_size)).collect();
    let widest = |texts: &mut dyn Iterator<Item = &String>| {
        texts.map(|text| style::text_width(text, label_size, false)).fold(0.0, f64::max).ceil() as i32
    };
    let left = widest(&mut labels.iter().flatten()) + 26;
    // Between the bars and the due dates: a figure at the end of the longest bar, then the mark.
    let figure_room =
        rows.iter().map(|row| style::text_width(&percent(row.used_share), tick_size, false)).fold(0.0, f64::max).ceil()
            as i32
            + 24;
    let due_left = WIDTH - widest(&mut dues.iter());
    let mark_x = due_left - 30;
    let right = mark_x - 30 - figure_room;
    let longest = rows
        .iter()
        .map(|row| row.range_share.map_or(row.used_share, |(_, high)| high.max(row.used_share)))
        .fold(1.05, f64::max)
        .min(LONGEST_SHARE);
    let x = |share: f64| left + (f64::from(right - left) * (share.clamp(0.0, longest) / longest)).round() as i32;

    let mut canvas = Canvas::default();
    let header = Type::new(TICK, GREY_TEXT, Anchor::Centre);
    let top = 64;
    let heights: Vec<i32> = labels.iter().map(|lines| 50 + (style::whole(lines.len()) - 1) * LINE_PITCH).collect();
    let bottom = top + heights.iter().sum::<i32>();
    let ink = Type::new(TICK, INK, Anchor::Centre);
    canvas.text("100 %", x(1.0), 30, ink);
    for (share, text) in [(0.0, "0 %"), (0.5, "50 %"), (1.5, "150 %"), (2.0, "200 %")] {
        if share <= longest {
            canvas.line(vec![(x(share), top - 18), (x(share), bottom)], 2, GREY_GRID);
            canvas.try_text(text, x(share), 30, header);
        }
    }
    canvas.try_text("due", due_left, 30, Type::new(TICK, GREY_TEXT, Anchor::Left));
    // Bars first, then the line over them, then what is written.
    let mut middles = Vec::new();
    let mut row_top = top;
    for (row, height) in rows.iter().zip(&heights) {
        let middle = row_top + height / 2;
        draw_bar(&mut canvas, row, left, x(row.used_share), middle);
        middles.push(middle);
        row_top += height;
    }
    canvas.line(vec![(left, top - 18), (left, bottom)], 3, GREY_TEXT);
    canvas.dashed((x(1.0), top - 18), (x(1.0), bottom), 4, (14, 8), INK);
    for (((row, lines), due), middle) in rows.iter().zip(&labels).zip(&dues).zip(middles) {
        let first = middle + 11 - (style::whole(lines.len()) - 1) * LINE_PITCH / 2;
        for (at, line) in lines.iter().enumerate() {
            canvas.text(line, 0, first + style::whole(at) * LINE_PITCH, Type::new(LABEL, INK, Anchor::Left));
        }
        let colour = row.mark.map_or(ACCENT, style::mark_colour);
        let mut tip = x(row.used_share);
        if let Some((low, high)) = row.range_share {
            canvas.line(vec![(x(low), middle), (x(high), middle)], 4, INK);
            tip = tip.max(x(high));
        }
        let figure = percent(row.used_share);
        let width = style::text_width(&figure, tick_size, false).ceil() as i32;
        // The line of the whole life is read down the rows: a figure that would cut it stands behind it.
        let cuts = tip < x(1.0) + 4 && tip + width + 16 > x(1.0) - 4;
        let tip = if cuts { x(1.0) + 4 } else { tip };
        canvas.fill(tip + 8, middle - 15, tip + width + 16, middle + 15, PAPER);
        canvas.text(&figure, tip + 12, middle + 10, Type::new(TICK, colour, Anchor::Left));
        if let Some(mark) = row.mark {
            canvas.mark(mark, mark_x, middle);
        }
        canvas.text(due, due_left, middle + 11, Type::new(LABEL, INK, Anchor::Left));
    }
    canvas.finish(bottom + 10)
}

fn draw_bar(canvas: &mut Canvas, row: &PartLifeRow, left: i32, end: i32, middle: i32) {
    let colour = row.mark.map_or(ACCENT, style::mark_colour);
    if row.is_estimated {
        canvas.hollow(left, middle - 14, end, middle + 14, colour);
    } else {
        canvas.fill(left, middle - 14, end, middle + 14, colour);
    }
    if row.used_share > LONGEST_SHARE {
        let mut slash = |shift: i32, width, colour| {
            canvas.line(vec![(end - shift - 8, middle + 20), (end - shift + 8, middle - 20)], width, colour);
        };
        if row.is_estimated {
            slash(35, 18, PAPER);
            slash(26, 4, colour);
            slash(44, 4, colour);
        } else {
            slash(26, 7, PAPER);
            slash(44, 7, PAPER);
        }
    }
}

fn percent(share: f64) -> String {
    format!("{} %", style::number(share * 100.0, 0))
}

fn alt(input: &PartLifeInput) -> String {
    let rows = rows(input);
    let named = |row: &PartLifeRow| {
        format!("{} ({}, {})", style::printable(&row.label), percent(row.used_share), style::printable(&row.due))
    };
    let past: Vec<String> = rows.iter().filter(|row| row.used_share >= 1.0).map(named).collect();
    let mut out = if past.is_empty() {
        format!("None of {} has used all of its life.", style::count(rows.len(), "part", "parts"))
    } else {
        format!(
            "{} of {} used all of {} life: {}.",
            past.len(),
            style::count(rows.len(), "part", "parts"),
            if past.len() == 1 { "its" } else { "their" },
            style::list_some(&past)
        )
    };
    let next = rows.iter().filter(|row| row.used_share < 1.0).max_by(|a, b| a.used_share.total_cmp(&b.used_share));
    if let Some(next) = next {
        let _ = write!(out, " Nearest to it: {}.", named(next));
    }
    let estimated = rows.iter().filter(|row| row.is_estimated).count();
    if estimated > 0 {
        let _ = write!(out, " The use is estimated for {}.", style::count(estimated, "part", "parts"));
    }
    out
}

fn caption(input: &PartLifeInput) -> String {
    let rows = rows(input);
    let mut parts = Vec::new();
    if rows.iter().any(|row| !row.is_estimated) {
        parts.push("solid: use metered".to_owned());
    }
    if rows.iter().any(|row| row.is_estimated) {
        parts.push("hollow: use estimated".to_owned());
    }
    if rows.iter().any(|row| row.range_share.is_some()) {
        parts.push(format!("thin line: {}", style::printable(&input.range_name)));
    }
    for mark in [Mark::DoNotUse, Mark::ActNow, Mark::Plan, Mark::Note] {
        if rows.iter().any(|row| row.mark == Some(mark)) {
            parts.push(format!("{}: {}", style::mark_shape(mark), mark.words()));
        }
    }
    if rows.iter().any(|row| row.used_share > LONGEST_SHARE) {
        parts.push("a broken bar goes on".to_owned());
    }
    let mut out = style::sentence(&parts);
    if input.rows.len() > rows.len() {
        let _ = write!(out, " The first {} of {} parts.", rows.len(), input.rows.len());
    }
    out
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::charts::canvas::assert_labels_fit;

    fn input(rows: usize, label: &str, scale: f64) -> PartLifeInput {
        PartLifeInput {
            name: "part-life".into(),
            rows: (0..rows)
                .map(|at| {
                    let used = at as f64 * 0.07 * scale;
                    PartLifeRow {
                        label: format!("{label} {at}"),
                        used_share: used,
                        range_share: (at % 2 == 0).then_some((used * 0.9, used * 1.2)),
                        due: "about 9 Mar 2027".into(),
                        is_estimated: at % 3 == 0,
                        mark: [None, Some(Mark::ActNow), Some(Mark::Plan), Some(Mark::Note), Some(Mark::DoNotUse)]
                            [at % 5],
                    }
                })
                .collect(),
            range_name: "central 80 %".into(),
        }
    }

    #[test]
    fn labels_fit_with_one_to_many_rows_and_long_names() {
        for rows in [1, 2, 10, 24, 25, 40, 60] {
            for label in
                ["Seal", "Terrace spa by the <script>&\" long wall, jets 1: shaft seal, wet end", &"W".repeat(60)]
            {
                for scale in [0.0, 1.0, 1e4] {
                    let mut input = input(rows, label, scale);
                    let drawing = draw(&input).unwrap();
                    assert_labels_fit(&drawing);
                    assert!(drawing.height <= 2400, "{} is more than a page", drawing.height);
                    input.rows[0].due = label.into();
                    assert_labels_fit(&draw(&input).unwrap());
                }
            }
        }
    }

    #[test]
    fn alt_states_the_finding() {
        let chart = part_life(&input(16, "Seal", 1.0)).unwrap();
        assert!(
            chart.alt.starts_with(
                "1 of 16 parts used all of its life: Seal 15 (105 %, about 9 Mar 2027). Nearest to it: Seal 14 (98 %"
            ),
            "{}",
            chart.alt
        );
        assert!(chart.caption.contains("triangle: act now; dot: plan"), "{}", chart.caption);
        assert!(part_life(&input(41, "Seal", 1.0)).unwrap().caption.ends_with("The first 40 of 41 parts."));
        assert_eq!(part_life(&input(16, "Seal", 1.0)).unwrap(), chart);
    }

    #[test]
    fn nothing_to_draw_is_said() {
        assert_eq!(part_life(&input(0, "", 1.0)).unwrap_err().to_string(), "no chart: no wear part on record");
        for bad in [f64::NAN, f64::INFINITY, -1.0] {
            assert!(part_life(&input(3, "Seal", bad)).is_err());
        }
    }
}
