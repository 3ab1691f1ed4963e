//! Is the water in order? Each test of a month against the rule book's limits, with what was done.

use chrono::NaiveDate;

use crate::address::Address;
use crate::basis::Source;
use crate::calendar::Month;
use crate::records::log::{Quantity, TimeOfDay};
use crate::records::{Fleet, ReadingRow, Site, Spa};

/// What a test says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TestVerdict {
    /// Within its limits.
    Meets,
    /// Below.
    Low,
    /// Above.
    High,
    /// No limit is known.
    Unknown,
}

impl TestVerdict {
    /// The word in tables and print.
    pub fn word(self) -> &'static str {
        match self {
            Self::Meets => "meets",
            Self::Low => "low",
            Self::High => "high",
            Self::Unknown => "",
        }
    }
}

/// A test of the water.
#[derive(Debug, Clone)]
pub struct WaterTest {
    /// The spa.
    pub at: Address,
    /// The day.
    pub day: NaiveDate,
    /// The time, if known.
    pub time: Option<String>,
    /// Who made it, if the visit says.
    pub by: Option<String>,
    /// Of what.
    pub quantity: Quantity,
    /// The value in its fixed unit.
    pub value: f64,
    /// The low limit.
    pub low_limit: Option<f64>,
    /// The high limit.
    pub high_limit: Option<f64>,
    /// What it says.
    pub verdict: TestVerdict,
    /// What was done on the visit.
    pub action: String,
    /// The record.
    pub source: Source,
}

/// The tests of a spa's water in a month, in order.
pub fn tests(fleet: &Fleet, site: &Site, spa: &Spa, month: Month) -> Vec<WaterTest> {
    let limits = fleet.rule_book(site).and_then(|book| book.limits(site.r#use));
    let rows = site.readings.get(&spa.at).into_iter().flatten();
    rows.filter(|row| row.quantity.is_water_test() && Month::of(row.day) == month)
        .map(|row| {
            let limit = limits.and_then(|l| l.water_test(row.quantity));
            let (low_limit, high_limit) = limit.map_or((None, None), |(low, high, _, _)| (low, high));
            let verdict = if low_limit.is_some_and(|low| row.value < low - 1e-9) {
                TestVerdict::Low
            } else if high_limit.is_some_and(|high| row.value > high + 1e-9) {
                TestVerdict::High
            } else if low_limit.is_none() && high_limit.is_none() {
                TestVerdict::Unknown
            } else {
                TestVerdict::Meets
            };
            let (by, action) = visit_of(site, spa, row);
            WaterTest {
                at: spa.at.clone(),
                day: row.day,
                time: row.minute.map(|start| TimeOfDay { start, end: None }.to_string()),
                by,
                quantity: row.quantity,
                value: row.value,
                low_limit,
                high_limit,
                verdict,
                action,
                source: row.source(),
            }
        })
        .collect()
}

/// Who read it and what was done at the spa on the same visit; a sheet's row has neither.
fn visit_of(site: &Site, spa: &Spa, row: &ReadingRow) -> (Option<String>, String) {
    let crate::basis::Place::Entry { visit, .. } = &row.place else { return (None, String::new()) };
    let Some((_, record)) = site.visits.iter().find(|(index, _)| index == visit) else { return (None, String::new()) };
    let done: Vec<String> =
        record.at.get(&spa.at).iter().flat_map(|e| e.done.iter().map(|t| t.as_str().replace('_', " "))).collect();
    (record.by.as_ref().map(ToString::to_string), done.join(", "))
}
