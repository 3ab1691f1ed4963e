//! The charts of the reports, as SVG text set in the same Noto Sans as the page.
//!
//! They exist because a month's pattern is seen at a glance and a table's is not. Each chart takes a
//! plain struct of finished figures and gives back the drawing, what it shows in words (for readers
//! who cannot see it) and the line that explains its marks. This module computes no result, reads no
//! record and writes no file; where there is nothing honest to draw it says so with [`NoChart`].

use thiserror::Error;

mod axis;
mod canvas;
pub mod condition;
pub mod cost;
pub mod failures;
pub mod filter;
pub mod mean_failures;
pub mod months_ahead;
pub mod ranges_held;
pub mod run_hours;
pub mod style;
mod timeline;
pub mod turnover;
pub mod year;

pub use condition::{ConditionInput, condition};
pub use cost::{CostInput, cost};
pub use failures::{Failure, FailureBound, FailuresInput, failures};
pub use filter::{FilterInput, filter};
pub use mean_failures::{MeanFailures, MeanFailuresInput, mean_failures};
pub use months_ahead::{MonthAhead, MonthsAheadInput, months_ahead};
pub use ranges_held::{RangesHeldInput, RangesMade, ranges_held};
pub use run_hours::{RunHoursInput, RunHoursMonth, RunHoursSpeed, run_hours};
pub use style::Mark;
pub use timeline::{Crossing, Reading, Trend};
pub use turnover::{TurnoverBasis, TurnoverInput, TurnoverMonth, TurnoverState, turnover};
pub use year::{ClosedSeason, DayRange, YearInput, YearRow, year};

/// A finished drawing with the words that go with it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chart {
    /// File stem, as the caller gave it.
    pub name: String,
    /// The SVG document; made to be set as wide as the text column (170 mm).
    pub svg: String,
    /// What the chart shows, in sentences: the finding, not the axes.
    pub alt: String,
    /// The line under the chart: what its marks mean. Only marks that occur are explained.
    pub caption: String,
}

/// Why there is no chart, as a sentence for the reader.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("no chart: {reason}")]
pub struct NoChart {
    /// The reason alone, without "no chart".
    pub reason: String,
}

impl NoChart {
    /// No chart, for the reason given in the reader's words.
    pub fn because(reason: impl Into<String>) -> Self {
        Self { reason: reason.into() }
    }
}
