//! Which pumps can take the place of one that is fitted, and what would change with them? The fitted pump against
//! every model of `pumps.yaml`, the water and the current with each, and what the job needs.
//!
//! It exists because a pump is bought by what it must match, not by its name. It judges by the one rule of
//! `quantities::like_for_like` and passes nothing that rule does not; a flow it gives is calculated and says so; it
//! never says that somebody may do the work, which the local code does.

mod measures;
mod words;

use uom::si::electric_current::ampere;
use uom::si::length::meter;
use uom::si::volume::liter;

use crate::basis::Figure;
use crate::calendar::Month;
use crate::quantities::like_for_like::{self, Compared, Fit};
use crate::quantities::water_turnover::{Flows, WaterMonth};
use crate::quantities::{SpaFigures, filters, run_hours};
use crate::records::log::Quantity;
use crate::records::pumps::{Model, Speeds};
use crate::records::tubs::Speed;
use crate::records::{Fleet, Pump, Site, Spa};
use crate::units::Length;

pub use measures::{measures_of, pump_measures};
pub use words::{attribute_name, job_words, lines, measure_words, power_words, size_words, trimmed, where_to_look};

/// Conductors of a motor of one speed, with the protective one: common practice, no source.
pub const CONDUCTORS_OF_ONE_SPEED: u8 = 3;
/// Conductors of a motor of two speeds, with the protective one: common practice, no source.
pub const CONDUCTORS_OF_TWO_SPEEDS: u8 = 4;

/// A fitted pump against every model.
#[derive(Debug)]
pub struct Swap<'a> {
    /// What all sites share.
    pub fleet: &'a Fleet,
    /// The pump.
    pub pump: &'a Pump,
    /// The name of the model that stands there now.
    pub name: Option<String>,
    /// Its sheet, if `pumps.yaml` has it.
    pub fitted: Option<&'a Model>,
    /// Across the feet of the pump that stands there, if it was measured.
    pub bolt_spacing: Option<Length>,
    /// What it gives the water now.
    pub water: Water,
    /// The current last measured: at `run` or `high`, and at `low`, A.
    pub measured: [Option<f64>; 2],
    /// The models: those that are like for like first, then those of which something is missing, then the others.
    pub candidates: Vec<Candidate<'a>>,
}

/// What the water gets now.
#[derive(Debug)]
pub enum Water {
    /// The pump filters alone: the figures of the month.
    Filters {
        /// The spa's volume, L.
        volume: Option<f64>,
        /// The longest turnover time allowed, min.
        limit_min: Option<f64>,
        /// The turnover time of the month, min, by the firmest thing that is known.
        now: Option<Figure>,
        /// The flow and head of the fitted model by its curve in the loop.
        fitted: Option<(Figure, f64)>,
    },
    /// The pump does not filter.
    DoesNotFilter,
    /// Several pumps filter: how they share pipes is not in the records.
    SeveralFilter,
}

/// A model in the place of the fitted pump.
#[derive(Debug)]
pub struct Candidate<'a> {
    /// Its name.
    pub name: &'a str,
    /// Its sheet.
    pub model: &'a Model,
    /// Whether it is the model that is fitted.
    pub is_fitted: bool,
    /// Attribute by attribute.
    pub compared: Vec<Compared>,
    /// The flow, L/min, and head, m, it would give in this loop with the filter as it is.
    pub point: Option<(Figure, f64)>,
}

impl Candidate<'_> {
    /// Whether it is like for like, or what is missing may still say.
    pub fn fit(&self) -> Fit {
        like_for_like::worst(&self.compared)
    }

    /// What its exchange needs.
    pub fn job(&self) -> Job {
        job(self.model)
    }
}

/// What an exchange needs beside the pump.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Job {
    /// The sizes of the new union gaskets, m: at the inlet, at the discharge; `None` = the size is not known.
    pub gaskets: [Option<f64>; 2],
    /// The conductors of the connection, the protective one among them; `None` where the usual rule does not hold.
    pub conductors: Option<u8>,
}

/// What an exchange for a model needs.
pub fn job(model: &Model) -> Job {
    let size = |length: Option<Length>| length.map(|length| length.0.get::<meter>());
    let ports = model.ports.unwrap_or_default();
    // With three phases the supply is another: its wiring diagram alone says.
    let single = model.supply.and_then(|supply| supply.phases).is_none_or(|phases| phases.0 == 1.0);
    let conductors = match model.speeds {
        Speeds::One => CONDUCTORS_OF_ONE_SPEED,
        Speeds::Two => CONDUCTORS_OF_TWO_SPEEDS,
    };
    Job { gaskets: [size(ports.inlet), size(ports.discharge)], conductors: single.then_some(conductors) }
}

/// The current of a model's sheet at a speed, A.
pub fn current(model: &Model, speed: Speed) -> Option<f64> {
    let current = match speed {
        Speed::Run => model.current.run,
        Speed::Low => model.current.low,
        Speed::High => model.current.high,
        Speed::All => None,
    };
    current.map(|current| current.0.get::<ampere>())
}

/// The speeds of a model.
pub fn speeds(model: &Model) -> &'static [Speed] {
    match model.speeds {
        Speeds::One => &[Speed::Run],
        Speeds::Two => &[Speed::Low, Speed::High],
    }
}

/// Compares a pump with every model; `figures` are those of its spa in the as-of month.
pub fn swap<'a>(
    fleet: &'a Fleet,
    site: &'a Site,
    spa: &'a Spa,
    figures: &SpaFigures,
    pump: &'a Pump,
    month: Month,
) -> Swap<'a> {
    let as_of = month.last();
    let fitted = fleet.models_at(site, pump).last().and_then(|(_, model)| *model);
    let name = run_hours::model_now(site, pump);
    let exchanged =
        site.entries(&pump.at).filter(|(_, _, entry)| entry.exchanged.is_some()).map(|(_, v, _)| v.date.0).last();
    // The record says how far apart the feet of the first pump are.
    let bolt_spacing = pump.bolt_spacing.filter(|_| exchanged.is_none());
    let hours: Vec<_> = spa.pumps.iter().map(|pump| run_hours::run_hours(fleet, site, spa, pump, as_of)).collect();
    let histories = filters::histories(fleet, site, spa);
    let flows = Flows::of(fleet, site, spa, &hours, &histories);
    let alone = matches!(flows.filtering.as_slice(), [(only, _)] if only.at == pump.at);
    let water = if pump.filters_at.is_empty() {
        Water::DoesNotFilter
    } else if alone {
        let row: Option<&WaterMonth> = figures.water.months.last();
        Water::Filters {
            volume: spa.volume.map(|volume| volume.0.get::<liter>()),
            limit_min: row.and_then(|row| row.limit_min),
            now: row.and_then(|row| row.turnover.clone()),
            fitted: flows.point_with(None, month, false),
        }
    } else {
        Water::SeveralFilter
    };
    let mut candidates: Vec<Candidate> = fleet
        .models
        .iter()
        .map(|(candidate, model)| Candidate {
            name: candidate,
            model,
            is_fitted: name.as_deref() == Some(candidate.as_str()),
            compared: like_for_like::compare(fitted, bolt_spacing, model),
            point: if alone { flows.point_with(Some(model), month, false) } else { None },
        })
        .collect();
    candidates.sort_by_key(|candidate| (candidate.fit(), !candidate.is_fitted));
    // A current of the pump that went says nothing of the one that stands there.
    let measured = [Quantity::Current, Quantity::CurrentLow].map(|quantity| {
        let row = site.readings_of(&pump.at, quantity).last()?;
        exchanged.is_none_or(|day| row.day > day || (row.day == day && row.after)).then_some(row.value)
    });
    Swap { fleet, pump, name, fitted, bolt_spacing, water, measured, candidates }
}

#[cfg(test)]
mod tests;
