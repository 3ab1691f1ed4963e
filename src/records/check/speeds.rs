//! Readings of a speed that a pump does not have: how many speeds stood at an address on a day, by its model and its
//! exchanges, else by the speeds its own program names. Where that is not known, nothing is said.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::address::Address;
use crate::records::log::Quantity;
use crate::records::pumps::Speeds;
use crate::records::{Fleet, Pump, Site};

/// How many speeds the pumps of a site have had, each from a day on; `None` = not known.
#[derive(Debug, Default)]
pub(super) struct SpeedsThere(BTreeMap<Address, Vec<(NaiveDate, Option<Speeds>)>>);

impl SpeedsThere {
    pub(super) fn of(fleet: &Fleet, site: &Site) -> Self {
        let pumps = site.spas.iter().flat_map(|spa| &spa.pumps);
        let mut all: BTreeMap<Address, Vec<_>> =
            pumps.map(|pump| (pump.at.clone(), vec![(NaiveDate::MIN, at_fitting(fleet, pump))])).collect();
        for (_, visit) in &site.visits {
            for (at, entry) in visit.at.iter() {
                let (Some(exchange), Some(known)) = (&entry.exchanged, all.get_mut(at)) else { continue };
                let speeds = match &exchange.model {
                    Some(name) => fleet.models.get(&name.0).map(|model| model.speeds),
                    None => known.last().and_then(|(_, speeds)| *speeds),
                };
                known.push((visit.date.0, speeds));
            }
        }
        Self(all)
    }

    /// Whether a reading is of a speed that the pump there on that day does not have.
    pub(super) fn lacks(&self, at: &Address, day: NaiveDate, quantity: Quantity) -> bool {
        let of_two = matches!(quantity, Quantity::HoursLow | Quantity::HoursHigh | Quantity::CurrentLow);
        if !of_two {
            return false;
        }
        let Some(known) = self.0.get(at) else { return false };
        // On the day of an exchange the reading may be of either pump.
        let until = known.partition_point(|(from, _)| *from <= day);
        let since = known[..until].partition_point(|(from, _)| *from < day).max(1) - 1;
        known[since..until].iter().all(|(_, speeds)| *speeds == Some(Speeds::One))
    }

    /// What is said of such a reading.
    pub(super) fn says(at: &Address, quantity: Quantity) -> (String, String) {
        let name = quantity.name();
        let right = if quantity == Quantity::CurrentLow { "current" } else { "hours" };
        (
            format!("`{name}` is a reading of a pump with two speeds, and `{at}` has one"),
            format!("name the reading `{right}`, or mend the pump's `model`"),
        )
    }
}

fn at_fitting(fleet: &Fleet, pump: &Pump) -> Option<Speeds> {
    if let Some(model) = fleet.model(pump) {
        return Some(model.speeds);
    }
    let run = |program: &crate::records::tubs::ProgramFile| {
        program.run.is_some() || program.occupied.is_some_and(|occupied| occupied.run.is_some())
    };
    (!pump.usual_program && pump.programs.iter().any(run)).then_some(Speeds::One)
}
