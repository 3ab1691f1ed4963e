//! Prices on the as-of day, as numbers of the currency's minor unit. What has no price counts as nothing and is noted, so
//! that whoever reads a sum is told what is not in it; nothing is guessed.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use crate::address::{Address, Id};
use crate::costs::minor_digits;
use crate::records::Fleet;
use crate::records::upkeep::Part;
use crate::report::format;

/// What is not in a year's cost for want of a record.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Missing {
    /// What an hour of our work costs.
    Labour,
    /// What a part of the book costs.
    PartPrice(Id),
    /// How long a part of the book lives.
    Life(Id),
    /// How much a pump runs.
    Use(Address),
    /// What a new pump costs.
    PumpPrice(Address),
}

impl Missing {
    /// In words, for the office: what it is and where it would be written.
    pub fn words(&self) -> String {
        match self {
            Self::Labour => "what an hour of work costs (labour.cost in fleet.yaml)".to_owned(),
            Self::PartPrice(id) => format!("what a {} costs (cost in upkeep.yaml)", format::words(id.as_str())),
            Self::Life(id) => format!("how long a {} lives (interval in upkeep.yaml)", format::words(id.as_str())),
            Self::Use(at) => format!("how much {at} runs (a program or readings)"),
            Self::PumpPrice(at) => format!("what the pump at {at} costs (cost in pumps.yaml)"),
        }
    }
}

/// The minor units in one unit of the currency.
pub fn minor_units(currency: &str) -> f64 {
    10f64.powi(minor_digits(currency) as i32)
}

/// Prices on the as-of day, in minor units; the absence of one is noted.
pub(super) struct Prices<'a> {
    /// Whose.
    pub(super) fleet: &'a Fleet,
    /// The as-of day.
    pub(super) day: NaiveDate,
    /// Minor units in one of the currency.
    pub(super) units: f64,
    /// What was asked for and is not written.
    pub(super) missing: BTreeSet<Missing>,
}

impl<'a> Prices<'a> {
    /// Those of a fleet on a day.
    pub(super) fn on(fleet: &'a Fleet, day: NaiveDate) -> Self {
        Self { fleet, day, units: minor_units(&fleet.settings.currency.0), missing: BTreeSet::new() }
    }

    /// An amount in minor units.
    pub(super) fn minor(&self, amount: Decimal) -> f64 {
        amount.to_f64().unwrap_or(0.0) * self.units
    }

    /// Notes what is not known.
    pub(super) fn miss(&mut self, what: Missing) {
        self.missing.insert(what);
    }

    /// Minutes of our work.
    pub(super) fn work(&mut self, minutes: f64) -> f64 {
        let rate = self.fleet.settings.labour.cost.as_ref().and_then(|rate| rate.on(self.day));
        if rate.is_none() && minutes > 0.0 {
            self.miss(Missing::Labour);
        }
        rate.map_or(0.0, |rate| self.minor(rate.0) * minutes / 60.0)
    }

    /// A set of a part.
    pub(super) fn set(&mut self, id: &Id, part: &Part) -> f64 {
        let Some(cost) = part.cost.as_ref().and_then(|cost| cost.on(self.day)) else {
            self.miss(Missing::PartPrice(id.clone()));
            return 0.0;
        };
        self.minor(cost.0) * f64::from(part.count.unwrap_or(1))
    }
}
