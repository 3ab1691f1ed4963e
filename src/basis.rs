//! A computed number with what it rests on.
//!
//! No computed number travels alone: it has its range, its basis (metered, programmed, calculated
//! from a curve …) and the records it came from, so that every later page can say why.

use std::fmt;
use std::sync::Arc;

use crate::address::Address;

/// Half the width of a central 80 % range in standard deviations of a normal distribution.
pub const CENTRAL_80: f64 = 1.281_551_565_5;

/// What a figure rests on, the firmest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Basis {
    /// Read off a counter on both sides.
    Metered,
    /// Measured on site in the month.
    Measured,
    /// A program corrected by what the counter has shown.
    Calibrated,
    /// A program as it is set.
    Programmed,
    /// The pump's curve against the pipe loop.
    Curve,
    /// As a maker's sheet states it.
    Stated,
    /// The book's interval.
    Book,
    /// The fleet's own failures.
    LifeModel,
    /// Worked out from other periods or by a split.
    Estimated,
    /// A default that nobody wrote.
    Assumed,
}

impl Basis {
    /// How many there are.
    pub const COUNT: usize = 10;
    /// All, the firmest first.
    pub const ALL: [Self; Self::COUNT] = [
        Self::Metered,
        Self::Measured,
        Self::Calibrated,
        Self::Programmed,
        Self::Curve,
        Self::Stated,
        Self::Book,
        Self::LifeModel,
        Self::Estimated,
        Self::Assumed,
    ];

    /// The word in tables and print.
    pub fn word(self) -> &'static str {
        match self {
            Self::Metered => "metered",
            Self::Measured => "measured",
            Self::Calibrated => "calibrated",
            Self::Programmed => "programmed",
            Self::Curve => "curve",
            Self::Stated => "stated",
            Self::Book => "book",
            Self::LifeModel => "life model",
            Self::Estimated => "estimated",
            Self::Assumed => "assumed",
        }
    }
}

impl fmt::Display for Basis {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// A place in the records: a file and the path inside it, or a row of a sheet. The line is looked
/// up only when it is printed.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Source {
    /// The file, from the fleet's folder.
    pub file: Arc<str>,
    /// Where in it.
    pub place: Place,
}

/// Where in a file.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Place {
    /// A path through mappings and lists: `log[3].at.terrace/main.flow`.
    Path(Arc<str>),
    /// A field of an address's entry of a visit, kept narrow: a fleet has millions.
    Entry {
        /// The visit's number in the log, from 0.
        visit: u32,
        /// The address.
        at: Address,
        /// The field.
        field: &'static str,
    },
    /// A line of a sheet, from 1.
    Line(u32),
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match &self.place {
            Place::Path(path) => write!(f, "{}: {path}", self.file),
            Place::Entry { visit, at, field } => write!(f, "{}: log[{visit}].at.{at}.{field}", self.file),
            Place::Line(line) => write!(f, "{}: line {line}", self.file),
        }
    }
}

/// A computed number: value, the ends of its central 80 %, its basis, the records it came from.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// The value.
    pub value: f64,
    /// The low end of the central 80 %.
    pub low: f64,
    /// The high end of the central 80 %.
    pub high: f64,
    /// What it rests on.
    pub basis: Basis,
    /// The records it came from; figures that follow from one another share them.
    pub sources: Arc<[Source]>,
}

impl Figure {
    /// A figure with its range; the ends are put in order around the value.
    pub fn new(value: f64, low: f64, high: f64, basis: Basis, sources: impl Into<Arc<[Source]>>) -> Self {
        let sources = sources.into();
        Self { value, low: low.min(high).min(value), high: high.max(low).max(value), basis, sources }
    }

    /// A figure known as well as it is written.
    pub fn exact(value: f64, basis: Basis, sources: impl Into<Arc<[Source]>>) -> Self {
        Self { value, low: value, high: value, basis, sources: sources.into() }
    }

    /// A figure within a share of its value on both sides.
    pub fn within(value: f64, share: f64, basis: Basis, sources: impl Into<Arc<[Source]>>) -> Self {
        Self::new(value, value * (1.0 - share), value * (1.0 + share), basis, sources)
    }

    /// The figure through a monotone function: range and records go along.
    #[must_use]
    pub fn map(&self, through: impl Fn(f64) -> f64) -> Self {
        Self::new(through(self.value), through(self.low), through(self.high), self.basis, self.sources.clone())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_falling_function_turns_the_range_round() {
        let flow = Figure::within(100.0, 0.1, Basis::Curve, Vec::new());
        let time = flow.map(|f| 1000.0 / f);
        assert!(time.low < time.value && time.value < time.high);
        assert!((time.low - 1000.0 / 110.0).abs() < 1e-9);
    }
}
