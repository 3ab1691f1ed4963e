//! What a site report says of the pumps: hours, energy, failures, and what a new one must match.

use schemars::JsonSchema;
use serde::Serialize;

use super::Chart;

/// Section three.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct PumpSection {
    /// Stands for the whole section when set.
    pub nothing_to_say: Option<String>,
    /// What the hours, energy and condition come to, in sentences.
    pub summary: String,
    /// Pictures of hours and condition.
    pub charts: Vec<Chart>,
    /// Who the pumps are.
    pub identities: Vec<PumpIdentity>,
    /// Run hours by month and speed.
    pub hours: HoursTable,
    /// Energy and cost.
    pub energy: EnergyTable,
    /// Condition trends, a sentence each.
    pub trends: Vec<String>,
    /// Pictures of the trends that are more than chance.
    pub trend_charts: Vec<Chart>,
    /// Failures so far, the verdict and what is expected, in words; empty when not computed.
    pub failures: String,
    /// Pictures of the failures.
    pub failure_charts: Vec<Chart>,
    /// Which counters to read, and how much that would narrow the figures.
    pub reading_advice: Vec<String>,
}

/// The identifying measures of a pump.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct PumpIdentity {
    /// Which pump it is, or which pumps, where several are alike.
    pub place: String,
    /// Model and serial number.
    pub model: String,
    /// Power with its unit.
    pub power: String,
    /// Speeds: "2 (2,850 and 1,420 rpm)".
    pub speeds: String,
    /// Motor frame.
    pub frame: String,
    /// Inlet connection.
    pub inlet: String,
    /// Discharge connection.
    pub discharge: String,
    /// Supply: "230 V, 50 Hz, 1 phase".
    pub supply: String,
}

/// Run hours: a row per pump and speed, a column per month.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct HoursTable {
    /// Column heads, at most twelve: "Nov", "Dec" ...
    pub months: Vec<String>,
    /// Rows; empty means no table.
    pub rows: Vec<HoursRow>,
    /// What the small letters mean, and what is not in the table.
    pub key: String,
}

/// A pump's hours at one speed.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct HoursRow {
    /// The pump.
    pub pump: String,
    /// The speed.
    pub speed: String,
    /// One cell per month of the table, in the same order.
    pub cells: Vec<HoursCell>,
    /// The sum.
    pub total: String,
    /// What the sum rests on: "metered 83 %".
    pub basis: String,
}

/// Hours in a month.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct HoursCell {
    /// Hours, or "–" where there are none to state.
    pub hours: String,
    /// Empty when metered; else the key's letter: "p" programmed, "e" estimated.
    pub letter: String,
}

/// Energy and its cost.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct EnergyTable {
    /// Currency sign or code in the head of the cost columns.
    pub currency: String,
    /// "October 2026", over the first pair of columns.
    pub month: String,
    /// Rows; empty means no table.
    pub rows: Vec<EnergyRow>,
    /// The bottom line.
    pub total: Option<EnergyRow>,
    /// Tariff and where it stands.
    pub note: String,
}

/// A line of the energy table.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct EnergyRow {
    /// The pump.
    pub pump: String,
    /// The speed; empty in a total.
    pub speed: String,
    /// Input power in kW; empty in a total.
    pub power: String,
    /// What the power rests on.
    pub power_basis: String,
    /// Energy in the month, kWh.
    pub month_energy: String,
    /// Cost in the month.
    pub month_cost: String,
    /// Energy in twelve months, kWh.
    pub year_energy: String,
    /// Cost in twelve months.
    pub year_cost: String,
}
