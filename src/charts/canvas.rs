//! The sheet a chart is drawn on: collects shapes and labels, then writes them as SVG.
//!
//! It exists so that no label is set before it is known that it lies inside the sheet and on no other
//! label or mark: texts and marks are recorded with their boxes, and [`Canvas::try_text`] refuses a place that is taken.
//! It must not know what the shapes mean.

use plotters::element::{Circle, PathElement, Polygon, Rectangle, Text};
use plotters::prelude::{IntoDrawingArea, IntoFont, SVGBackend};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontStyle, FontTransform, RGBColor, ShapeStyle, TextStyle};

use super::NoChart;
use super::style::{self, ACT, FAMILY, GREY_GRID, Mark, PAPER, WIDTH};

/// Where a text's x lies on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Left,
    Centre,
    Right,
}

/// How a text is set.
#[derive(Debug, Clone, Copy)]
pub(super) struct Type {
    pub size: i32,
    pub bold: bool,
    pub colour: RGBColor,
    pub anchor: Anchor,
    /// Read from the bottom up.
    pub upright: bool,
}

impl Type {
    pub(super) fn new(size: i32, colour: RGBColor, anchor: Anchor) -> Self {
        Self { size, bold: false, colour, anchor, upright: false }
    }

    pub(super) fn bold(self) -> Self {
        Self { bold: true, ..self }
    }

    pub(super) fn upright(self) -> Self {
        Self { upright: true, ..self }
    }
}

/// The room one label takes, pixels.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct LabelBox {
    pub text: String,
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
}

impl LabelBox {
    fn touches(&self, other: &Self, gap: f64) -> bool {
        self.left < other.right + gap
            && other.left < self.right + gap
            && self.top < other.bottom
            && other.top < self.bottom
    }
}

/// The room a drawn mark takes, pixels: what a reader must see, and no label may lie on. Bars are none, since figures and
/// words stand in and on them, nor are the lines of the grid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum MarkBox {
    /// A dot, ring or triangle.
    Spot { left: f64, top: f64, right: f64, bottom: f64 },
    /// A stretch of a line, with half its width.
    Stroke { from: (f64, f64), to: (f64, f64), half: f64 },
}

impl MarkBox {
    fn spot(x: i32, y: i32, half: i32) -> Self {
        let (x, y, half) = (f64::from(x), f64::from(y), f64::from(half));
        Self::Spot { left: x - half, top: y - half, right: x + half, bottom: y + half }
    }

    /// Whether it lies under a label, `gap` around the letters counted.
    fn touches(&self, label: &LabelBox, gap: f64) -> bool {
        match *self {
            Self::Spot { left, top, right, bottom } => {
                left < label.right + gap && label.left - gap < right && top < label.bottom && label.top < bottom
            }
            Self::Stroke { from, to, half } => {
                // The part of the stretch within the box, by clipping it against each pair of edges.
                let (mut start, mut end) = (0.0f64, 1.0f64);
                for (at, along, low, high) in [
                    (from.0, to.0 - from.0, label.left - gap - half, label.right + gap + half),
                    (from.1, to.1 - from.1, label.top - half, label.bottom + half),
                ] {
                    if along == 0.0 {
                        if at <= low || at >= high {
                            return false;
                        }
                        continue;
                    }
                    let (a, b) = ((low - at) / along, (high - at) / along);
                    (start, end) = (start.max(a.min(b)), end.min(a.max(b)));
                }
                start < end
            }
        }
    }
}

/// All labels of a chart, in the order they were set.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct LabelBoxes(pub Vec<LabelBox>);

impl LabelBoxes {
    fn is_free(&self, wanted: &LabelBox, gap: f64) -> bool {
        !self.0.iter().any(|taken| taken.touches(wanted, gap))
    }
}

#[derive(Debug, Clone)]
enum Shape {
    Fill { corners: [(i32, i32); 2], colour: RGBColor },
    Path { points: Vec<(i32, i32)>, width: u32, colour: RGBColor },
    Polygon { points: Vec<(i32, i32)>, colour: RGBColor },
    Disc { centre: (i32, i32), radius: i32, colour: RGBColor },
    Ring { centre: (i32, i32), radius: i32, width: u32, colour: RGBColor },
    Text { text: String, at: (i32, i32), type_: Type },
}

/// A finished drawing with the places of its labels, which the tests look at.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Drawing {
    pub svg: String,
    pub labels: LabelBoxes,
    pub marks: Vec<MarkBox>,
    pub height: i32,
}

/// The sheet. Always [`WIDTH`] wide; its height is settled last.
#[derive(Debug, Default)]
pub(super) struct Canvas {
    shapes: Vec<Shape>,
    labels: LabelBoxes,
    marks: Vec<MarkBox>,
}

/// Ascent and descent of set text, in ems: room for accents on capitals is in the line pitch.
const ASCENT: f64 = 0.80;
const DESCENT: f64 = 0.25;
/// Paper on either side of a text that lies on paper.
const MARGIN: i32 = 6;

impl Canvas {
    /// A filled rectangle.
    pub(super) fn fill(&mut self, left: i32, top: i32, right: i32, bottom: i32, colour: RGBColor) {
        if right > left && bottom > top {
            self.shapes.push(Shape::Fill { corners: [(left, top), (right, bottom)], colour });
        }
    }

    /// The outline of a rectangle, drawn inside its edges, filled with paper.
    pub(super) fn hollow(&mut self, left: i32, top: i32, right: i32, bottom: i32, colour: RGBColor) {
        const STROKE: i32 = 4;
        if right - left <= 2 * STROKE || bottom - top <= 2 * STROKE {
            // Too thin to have an inside: still outlined by what is left of it.
            self.fill(left, top, right, bottom.max(top + 2), colour);
            return;
        }
        self.fill(left, top, right, bottom, colour);
        self.fill(left + STROKE, top + STROKE, right - STROKE, bottom - STROKE, PAPER);
    }

    /// A dashed outline of a rectangle, filled with paper.
    pub(super) fn dashed_box(&mut self, left: i32, top: i32, right: i32, bottom: i32, colour: RGBColor) {
        self.fill(left, top, right, bottom, PAPER);
        for (from, to) in [
            ((left, bottom), (left, top)),
            ((left, top), (right, top)),
            ((right, top), (right, bottom)),
            ((right, bottom), (left, bottom)),
        ] {
            self.dashed(from, to, 4, (10, 8), colour);
        }
    }

    /// A line through points.
    pub(super) fn line(&mut self, points: Vec<(i32, i32)>, width: u32, colour: RGBColor) {
        if points.len() > 1 {
            if colour != GREY_GRID {
                let exact = |(x, y): (i32, i32)| (f64::from(x), f64::from(y));
                let half = f64::from(width) / 2.0;
                let stretch = |pair: &[(i32, i32)]| MarkBox::Stroke { from: exact(pair[0]), to: exact(pair[1]), half };
                self.marks.extend(points.windows(2).map(stretch));
            }
            self.shapes.push(Shape::Path { points, width, colour });
        }
    }

    /// A dashed straight line; `dash` is the length of a dash and of a gap.
    pub(super) fn dashed(&mut self, from: (i32, i32), to: (i32, i32), width: u32, dash: (i32, i32), colour: RGBColor) {
        let (along_x, along_y) = (f64::from(to.0 - from.0), f64::from(to.1 - from.1));
        let length = along_x.hypot(along_y);
        let at = |distance: f64| {
            let share = distance / length;
            (from.0 + (along_x * share).round() as i32, from.1 + (along_y * share).round() as i32)
        };
        let mut start = 0.0;
        while start < length {
            let end = (start + f64::from(dash.0)).min(length);
            self.line(vec![at(start), at(end)], width, colour);
            start += f64::from(dash.0 + dash.1);
        }
    }

    /// A filled circle.
    pub(super) fn disc(&mut self, x: i32, y: i32, radius: i32, colour: RGBColor) {
        self.marks.push(MarkBox::spot(x, y, radius));
        self.shapes.push(Shape::Disc { centre: (x, y), radius, colour });
    }

    /// A circle filled with paper.
    pub(super) fn ring(&mut self, x: i32, y: i32, radius: i32, colour: RGBColor) {
        self.disc(x, y, radius, PAPER);
        self.shapes.push(Shape::Ring { centre: (x, y), radius: radius - 2, width: 5, colour });
    }

    /// A triangle standing on its base (`up`) or on its point, about `2 * half` wide.
    pub(super) fn triangle(&mut self, x: i32, y: i32, half: i32, up: bool, colour: RGBColor) {
        let (base, tip) = if up { (y + half * 4 / 5, y - half) } else { (y - half * 4 / 5, y + half) };
        let points = vec![(x - half, base), (x + half, base), (x, tip)];
        self.marks.push(MarkBox::spot(x, y, half));
        self.shapes.push(Shape::Polygon { points, colour });
    }

    /// The mark of an urgency.
    pub(super) fn mark(&mut self, mark: Mark, x: i32, y: i32) {
        match mark {
            Mark::DoNotUse => {
                self.marks.push(MarkBox::spot(x, y, 12));
                self.fill(x - 12, y - 12, x + 12, y + 12, ACT);
            }
            Mark::ActNow => self.triangle(x, y, 15, true, ACT),
            Mark::Plan => self.disc(x, y, 12, style::mark_colour(mark)),
            Mark::Note => self.ring(x, y, 12, style::mark_colour(mark)),
        }
    }

    /// Sets a line of text with its baseline at `y`. A text that would leave the sheet sideways is
    /// moved in.
    pub(super) fn text(&mut self, text: &str, x: i32, y: i32, type_: Type) {
        let (text, x, label) = Self::laid_out(text, x, y, type_);
        if !text.is_empty() {
            self.labels.0.push(label);
            self.shapes.push(Shape::Text { text, at: (x, y), type_ });
        }
    }

    /// Sets the text only if no label and no mark drawn so far is in its place; tells whether it did.
    pub(super) fn try_text(&mut self, text: &str, x: i32, y: i32, type_: Type) -> bool {
        let (_, _, label) = Self::laid_out(text, x, y, type_);
        let free = self.is_free(&label, 2.0);
        if free {
            self.text(text, x, y, type_);
        }
        free
    }

    /// As [`Canvas::try_text`], with paper under the text so that no line of the grid runs through it.
    pub(super) fn try_text_on_paper(&mut self, text: &str, x: i32, y: i32, type_: Type) -> bool {
        let (_, _, label) = Self::laid_out(text, x, y, type_);
        let free = self.is_free(&label, f64::from(MARGIN));
        if free {
            self.fill(
                label.left.floor() as i32 - MARGIN,
                label.top.floor() as i32,
                label.right.ceil() as i32 + MARGIN,
                label.bottom.ceil() as i32,
                PAPER,
            );
            self.text(text, x, y, type_);
        }
        free
    }

    fn is_free(&self, label: &LabelBox, gap: f64) -> bool {
        self.labels.is_free(label, 10.0) && !self.marks.iter().any(|mark| mark.touches(label, gap))
    }

    fn laid_out(text: &str, x: i32, y: i32, type_: Type) -> (String, i32, LabelBox) {
        let text = style::printable(text);
        let size = f64::from(type_.size);
        let width = style::text_width(&text, size, type_.bold);
        let before = match type_.anchor {
            Anchor::Left => 0.0,
            Anchor::Centre => width / 2.0,
            Anchor::Right => width,
        };
        if type_.upright {
            let bottom = f64::from(y) + before;
            let label = LabelBox {
                text: text.clone(),
                left: f64::from(x) - ASCENT * size,
                right: f64::from(x) + DESCENT * size,
                top: bottom - width,
                bottom,
            };
            return (text, x, label);
        }
        let left = f64::from(x) - before;
        let moved = if left < 0.0 { (-left).ceil() } else { (f64::from(WIDTH) - left - width).min(0.0).floor() };
        let label = LabelBox {
            text: text.clone(),
            left: left + moved,
            right: left + moved + width,
            top: f64::from(y) - ASCENT * size,
            bottom: f64::from(y) + DESCENT * size,
        };
        (text, x + moved as i32, label)
    }

    /// Writes the sheet.
    ///
    /// # Errors
    /// [`NoChart`] if the drawing library refuses, which it does for no known input.
    pub(super) fn finish(self, height: i32) -> Result<Drawing, NoChart> {
        style::register_fonts();
        let mut svg = String::new();
        {
            let size = (WIDTH as u32, height.max(1) as u32);
            let root = SVGBackend::with_string(&mut svg, size).into_drawing_area();
            let refused = |_| NoChart::because("it could not be drawn");
            for shape in self.shapes {
                match shape {
                    Shape::Fill { corners, colour } => {
                        root.draw(&Rectangle::new(corners, colour.filled())).map_err(refused)?;
                    }
                    Shape::Path { points, width, colour } => {
                        root.draw(&PathElement::new(points, stroke(colour, width))).map_err(refused)?;
                    }
                    Shape::Polygon { points, colour } => {
                        root.draw(&Polygon::new(points, colour.filled())).map_err(refused)?;
                    }
                    Shape::Disc { centre, radius, colour } => {
                        root.draw(&Circle::new(centre, radius, colour.filled())).map_err(refused)?;
                    }
                    Shape::Ring { centre, radius, width, colour } => {
                        root.draw(&Circle::new(centre, radius, stroke(colour, width))).map_err(refused)?;
                    }
                    Shape::Text { text, at, type_ } => {
                        let (place, set) = set_type(at, type_);
                        root.draw(&Text::new(text, place, set)).map_err(refused)?;
                    }
                }
            }
            root.present().map_err(refused)?;
        }
        Ok(Drawing { svg, labels: self.labels, marks: self.marks, height })
    }
}

fn stroke(colour: RGBColor, width: u32) -> ShapeStyle {
    colour.stroke_width(width)
}

/// The library places text by its top, 0.76 em above the baseline, whatever the renderer; its other
/// anchors depend on how a renderer understands `ex`.
fn set_type((x, y): (i32, i32), type_: Type) -> ((i32, i32), TextStyle<'static>) {
    let drop = (0.76 * f64::from(type_.size)).round() as i32;
    let horizontal = match type_.anchor {
        Anchor::Left => HPos::Left,
        Anchor::Centre => HPos::Center,
        Anchor::Right => HPos::Right,
    };
    let weight = if type_.bold { FontStyle::Bold } else { FontStyle::Normal };
    // It also writes font sizes divided by 1.24.
    let mut font = (FAMILY, f64::from(type_.size) * 1.24, weight).into_font();
    let mut place = (x, y - drop);
    if type_.upright {
        font = font.transform(FontTransform::Rotate270);
        place = (x - drop, y);
    }
    let mut set = TextStyle::from(font).pos(Pos::new(horizontal, VPos::Top));
    set.color = type_.colour.to_backend_color();
    (place, set)
}

/// What every chart's tests assert: labels inside the sheet, clear of each other and of every mark.
#[cfg(test)]
pub(super) fn assert_labels_fit(drawing: &Drawing) {
    let labels = &drawing.labels.0;
    assert!(!labels.is_empty(), "a chart without a label");
    for (at, label) in labels.iter().enumerate() {
        assert!(
            label.left >= 0.0
                && label.right <= f64::from(WIDTH)
                && label.top >= 0.0
                && label.bottom <= f64::from(drawing.height),
            "outside the sheet of {}: {label:?}",
            drawing.height
        );
        for other in &labels[at + 1..] {
            assert!(!label.touches(other, 0.0), "{label:?} overlaps {other:?}");
        }
        for mark in &drawing.marks {
            assert!(!mark.touches(label, 0.0), "{label:?} lies on {mark:?}");
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::charts::style::{INK, LABEL};

    #[test]
    fn markup_in_names_is_escaped() {
        let mut canvas = Canvas::default();
        canvas.text("<script>&\"'", 10, 50, Type::new(LABEL, INK, Anchor::Left));
        let svg = canvas.finish(100).unwrap().svg;
        assert!(svg.contains("&lt;script&gt;&amp;&quot;&apos;"), "{svg}");
        assert!(!svg.contains("<script"));
    }

    #[test]
    fn text_names_its_family_and_size() {
        let mut canvas = Canvas::default();
        canvas.text("pump", 10, 50, Type::new(LABEL, INK, Anchor::Left).bold());
        let svg = canvas.finish(100).unwrap().svg;
        assert!(svg.contains("font-family=\"Noto Sans\""), "{svg}");
        assert!(svg.contains("font-size=\"30"), "{svg}");
        assert!(svg.contains("font-weight=\"bold\""), "{svg}");
    }

    #[test]
    fn no_text_is_set_on_a_mark() {
        let type_ = Type::new(LABEL, INK, Anchor::Left);
        let refused = |mark: fn(&mut Canvas)| {
            let mut canvas = Canvas::default();
            mark(&mut canvas);
            let plain = canvas.try_text("label", 100, 100, type_);
            let mut canvas = Canvas::default();
            mark(&mut canvas);
            assert_eq!(canvas.try_text_on_paper("label", 100, 100, type_), plain);
            !plain
        };
        assert!(refused(|canvas| canvas.disc(120, 90, 5, INK)));
        assert!(refused(|canvas| canvas.ring(120, 90, 5, INK)));
        assert!(refused(|canvas| canvas.triangle(120, 90, 5, true, INK)));
        assert!(refused(|canvas| canvas.mark(Mark::DoNotUse, 120, 90)));
        assert!(refused(|canvas| canvas.line(vec![(0, 40), (300, 140)], 3, INK)));
        assert!(refused(|canvas| canvas.dashed((0, 90), (300, 90), 3, (8, 8), INK)));
        assert!(!refused(|canvas| canvas.line(vec![(0, 200), (300, 160)], 3, INK)));
        assert!(!refused(|canvas| canvas.line(vec![(0, 90), (300, 90)], 3, GREY_GRID)));
        assert!(!refused(|canvas| canvas.disc(120, 140, 5, INK)));
    }

    #[test]
    fn a_taken_place_is_refused_and_text_is_moved_in() {
        let mut canvas = Canvas::default();
        let type_ = Type::new(LABEL, INK, Anchor::Centre);
        assert!(canvas.try_text("first label", 4, 50, type_));
        assert!(!canvas.try_text("second", 60, 60, type_));
        assert!(canvas.try_text("second", 1699, 60, type_));
        let drawing = canvas.finish(100).unwrap();
        assert_labels_fit(&drawing);
        assert_eq!(drawing.labels.0.len(), 2);
    }
}
