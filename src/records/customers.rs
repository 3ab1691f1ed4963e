//! `customers.yaml`: who pays, and contracts.

use serde::Deserialize;

use crate::address::Id;
use crate::records::forms::{Date, Format, Keyed, Money, Name, Number, Text};
use crate::units::Duration;

/// The file as it is written.
#[derive(Debug, Clone, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
pub struct CustomersFile {
    pub format: Format,
    #[serde(default)]
    pub customers: Keyed<Id, Customer>,
}

/// Who pays.
#[derive(Debug, Clone, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct Customer {
    pub name: Option<Text>,
    pub address: Option<Text>,
    pub contract: Option<Contract>,
}

/// What was agreed.
#[derive(Debug, Clone, Default, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of the record format")]
#[serde(default)]
pub struct Contract {
    pub from: Option<Date>,
    pub to: Option<Date>,
    pub scope: Option<Scope>,
    pub visits: Option<Text>,
    pub response: Option<Duration>,
    pub callouts: Option<Text>,
    pub price: Keyed<Name, Money>,
    pub index: Option<Number>,
}

/// What a contract covers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Scope {
    /// Work only.
    Labour,
    /// Work and the parts of planned work.
    LabourAndParts,
    /// Everything, failures too.
    Everything,
}
