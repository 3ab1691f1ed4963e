//! What a site report says of the water: turnover and its limits by month, the ways out, the filters.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Chart, Mark};

/// Section two.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct WaterSection {
    /// Stands for the whole section when set.
    pub nothing_to_say: Option<String>,
    /// Which rule book judged the water and where that is chosen.
    pub rule_book: String,
    /// All spas beside each other, where there are several; `None` where there is one.
    pub overview: Option<WaterOverview>,
    /// The spas that have a picture or ways out; where there are many, those that are not known to be in order.
    pub spas: Vec<SpaWater>,
    /// Beside an overview: what else is to be said of a spa that has neither picture nor ways out.
    pub other_spas: Vec<OtherSpa>,
    /// The filters at the as-of day.
    pub filters: Vec<FilterRow>,
    /// Small print under the filters; may be empty.
    pub filters_note: String,
    /// Units in the heads of the tables.
    pub units: WaterUnits,
    /// Cautions that belong beside these figures.
    pub cautions: Vec<String>,
}

/// The water of several spas beside each other.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct WaterOverview {
    /// Heads of the columns of turnover times, the oldest first.
    pub months: Vec<String>,
    /// A row a spa.
    pub rows: Vec<OverviewRow>,
    /// Small print under the table.
    pub note: String,
}

/// A spa of which the overview says almost everything.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct OtherSpa {
    /// The spa.
    pub name: String,
    /// The rest, in a sentence or more.
    pub says: String,
}

/// A spa in the overview.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct OverviewRow {
    /// The spa.
    pub spa: String,
    /// The limit of its turnover time.
    pub limit: String,
    /// A turnover time for each month.
    pub turnovers: Vec<OverviewCell>,
    /// Flow in the last month.
    pub flow: String,
    /// Turnovers a day in it.
    pub turnovers_per_day: String,
    /// Filtration hours a day in it.
    pub filtration_hours: String,
    /// The mark of those hours: whether they are fewer than asked.
    pub filtration_mark: Mark,
    /// Filter rate in it.
    pub filter_rate: String,
    /// Highest velocity in it.
    pub velocity: String,
}

/// A month's turnover time in the overview.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct OverviewCell {
    /// The verdict's mark.
    pub mark: Mark,
    /// Minutes, or a dash, or "closed".
    pub minutes: String,
    /// Empty where the flow was measured; else the note's letter.
    pub letter: String,
}

/// One spa's water.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct SpaWater {
    /// The spa's name.
    pub name: String,
    /// The verdict's mark.
    pub mark: Mark,
    /// The verdict's word: meets, short, closed, unknown.
    pub verdict: String,
    /// One or two sentences for the owner.
    pub summary: String,
    /// Pictures.
    pub charts: Vec<Chart>,
    /// Month by month, the oldest first; empty where the overview has them.
    pub months: Vec<WaterMonth>,
    /// Small print under the table.
    pub table_note: String,
    /// If short: ways out, the best first.
    pub ways_out: Vec<WayOut>,
}

/// Units of the water tables.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct WaterUnits {
    /// Of turnover time and its limit, "min".
    pub turnover: String,
    /// Of the flow, "L/min".
    pub flow: String,
    /// Of the filter rate, "L/min m²".
    pub filter_rate: String,
    /// Of the velocity, "m/s".
    pub velocity: String,
    /// Of the filter pressures, "bar".
    pub pressure: String,
}

/// A month of a spa's water.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct WaterMonth {
    /// "Oct 2026".
    pub month: String,
    /// Water turnover time.
    pub turnover: String,
    /// Its limit.
    pub limit: String,
    /// Flow through the filter.
    pub flow: String,
    /// What the flow rests on: measured, calculated, stated.
    pub flow_basis: String,
    /// Turnovers a day.
    pub turnovers_per_day: String,
    /// Filtration hours a day.
    pub filtration_hours: String,
    /// Filter rate.
    pub filter_rate: String,
    /// Highest velocity in the loop.
    pub velocity: String,
    /// The verdict's mark.
    pub mark: Mark,
    /// The verdict's word.
    pub verdict: String,
}

/// A way to bring the turnover within its limit.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct WayOut {
    /// What to do.
    pub what: String,
    /// What it gives, with its range and cost.
    pub gives: String,
}

/// A filter at the as-of day.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct FilterRow {
    /// The filter's name.
    pub name: String,
    /// Kind and area: "cartridge, 9.3 m²".
    pub kind: String,
    /// Pressure now.
    pub pressure: String,
    /// Pressure just after the last clean.
    pub clean_pressure: String,
    /// When it was last cleaned.
    pub last_clean: String,
    /// The day to clean.
    pub clean_by: String,
    /// The range of that day.
    pub clean_by_range: String,
    /// Turnover time on that day if it is not cleaned.
    pub turnover_then: String,
}
