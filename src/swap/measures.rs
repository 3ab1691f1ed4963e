//! What a thing must match when a part for it is bought: the identifying measures of a pump, a filter, a heater, in
//! one line. The same line stands on work sheets, parts lists and in the table of what to carry.

use uom::si::area::square_meter;
use uom::si::power::watt;

use super::words::{size_words, trimmed};
use crate::address::Address;
use crate::quantities::like_for_like::{self, Attribute, Measure};
use crate::quantities::run_hours;
use crate::records::pumps::Model;
use crate::records::{Fleet, Site};
use crate::report::format;
use crate::swap::measure_words;
use crate::units::Length;

/// The identifying measures of what stands at an address of a site; empty where there are none.
pub fn measures_of(fleet: &Fleet, site: &Site, at: &Address) -> String {
    let units = fleet.settings.units;
    for spa in site.spas.iter().filter(|spa| spa.at.spa() == at.spa()) {
        if let Some(pump) = spa.pumps.iter().find(|pump| pump.at == *at) {
            let model = fleet.models_at(site, pump).last().and_then(|(_, model)| *model);
            let exchanged = site.entries(&pump.at).any(|(_, _, entry)| entry.exchanged.is_some());
            let bolts = pump.bolt_spacing.filter(|_| !exchanged);
            let name = run_hours::model_now(site, pump);
            return name.into_iter().chain(pump_measures(fleet, model, bolts)).collect::<Vec<_>>().join(", ");
        }
        if let Some(filter) = spa.filters.iter().find(|filter| filter.at == *at) {
            let area = filter.area.map(|area| format::area(area.0.get::<square_meter>(), units));
            return [Some(filter.kind.word().to_owned()), area].into_iter().flatten().collect::<Vec<_>>().join(", ");
        }
        if let Some(equipment) = spa.equipment.iter().find(|equipment| equipment.at == *at) {
            // Heaters and lamps are sold by their watts wherever they stand.
            let power = equipment.power.map(|power| match power.0.get::<watt>() {
                watts if watts < 1000.0 => format!("{watts:.0} W"),
                watts => format!("{} kW", trimmed(watts / 1000.0, 2)),
            });
            return power.unwrap_or_default();
        }
    }
    String::new()
}

/// The measures of a pump that are known: power, speeds, frame, inlet, discharge, supply.
pub fn pump_measures(fleet: &Fleet, model: Option<&Model>, bolt_spacing: Option<Length>) -> Vec<String> {
    let units = fleet.settings.units;
    let mut measures = Vec::new();
    for attribute in Attribute::ALL {
        let Some(measure) = like_for_like::measure(attribute, model, bolt_spacing) else { continue };
        measures.push(match &measure {
            Measure::Speeds(1) => "1 speed".to_owned(),
            Measure::Speeds(speeds) => format!("{speeds} speeds"),
            Measure::Size(metres) if attribute == Attribute::Inlet => format!("inlet {}", size_words(*metres)),
            Measure::Size(metres) => format!("discharge {}", size_words(*metres)),
            Measure::Phases(phases) => format!("{phases} ph"),
            Measure::Power(_) | Measure::Voltage(_) => measure_words(&measure, units),
            _ => format!("frame {}", measure_words(&measure, units)),
        });
    }
    measures
}
