//! `customers.yaml`: who pays, and contracts.

use schemars::JsonSchema;
use serde::Deserialize;

use crate::address::Id;
use crate::records::forms::{Date, Format, Keyed, Money, Name, Number, Text};
use crate::units::Duration;

/// The file as it is written.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
pub struct CustomersFile {
    /// The version of the record format: `1`.
    pub format: Format,
    /// Customers by id.
    #[serde(default)]
    pub customers: Keyed<Id, Customer>,
}

/// Who pays.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Customer {
    /// The name, as printed.
    pub name: Option<Text>,
    /// The address, as printed.
    pub address: Option<Text>,
    /// What was agreed.
    pub contract: Option<Contract>,
}

/// What was agreed.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(default)]
pub struct Contract {
    /// The first day.
    pub from: Option<Date>,
    /// The last day.
    pub to: Option<Date>,
    /// What it covers.
    pub scope: Option<Scope>,
    /// How often visits are made, in words.
    pub visits: Option<Text>,
    /// How soon a call is answered.
    pub response: Option<Duration>,
    /// Whether call-outs are included, in words.
    pub callouts: Option<Text>,
    /// Whether nights lost to failures are borne by whoever does the work, whatever the scope.
    pub bears_lost_nights: Option<bool>,
    /// The price by calendar year.
    pub price: Keyed<Name, Money>,
    /// How much the price rises a year, as a share.
    pub index: Option<Number>,
}

/// What a contract covers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Scope {
    /// Work only.
    Labour,
    /// Work and the parts of planned work.
    LabourAndParts,
    /// Everything, failures too.
    Everything,
}
