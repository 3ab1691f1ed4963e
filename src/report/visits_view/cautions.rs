//! Which caution belongs before which piece of work, short enough to stand on a sheet.
//!
//! They are the standing cautions of the reports in fewer words. A caution must stand before the step it belongs to and
//! must not be left out for want of room; what it says defers to the local code and to licensed practice.

use crate::records::Site;
use crate::schedule::visits::{VisitTask, Work};
use crate::work_sheet::changes_the_water;

/// What stands at the head of every sheet.
pub(super) const FIRST: &str = "Local code and the makers' instructions come first; wiring, gas and suction fittings \
    are for those whom the place licenses. Close the spa at once if: no circulation; the ground-fault or \
    residual-current device fails its test; a suction cover is missing, loose, cracked or over age; water above 40 °C \
    (104 °F).";

/// What can hurt, and the few words that recall it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct StepCaution {
    pub(super) text: &'static str,
    pub(super) reminder: &'static str,
}

/// Before anything that turns or is wired is touched.
pub(super) const ISOLATE: StepCaution = StepCaution {
    text: "Switch off at the disconnect, lock it there and keep the key, let it stop, then try to start it and prove it \
           dead before touching. A timer can start a pump that looks dead. Close the valves, let the pressure out.",
    reminder: "Isolated, locked off, proved dead?",
};

const HEATER: StepCaution = StepCaution {
    text: "Switch off at the disconnect, lock it, prove it dead; let the heater cool. A heater is never switched on dry. \
           Gas and mains are for those whom the place licenses.",
    reminder: "Isolated, locked off, dead and cool?",
};

const FILTER: StepCaution = StepCaution {
    text: "Stop the pump and lock it off, close the valves and let the pressure out at the filter before it is opened: \
           a lid under pressure flies off. Cartridge acids and chlorine never meet.",
    reminder: "Pump locked off, pressure out?",
};

const WATER: StepCaution = StepCaution {
    text: "Nobody in the water. Pumps and heater off and locked before the level falls; look at every suction cover. \
           Never mix two chemicals; chemical into water, never water into chemical; gloves and eye protection. \
           Disinfect before the jets run: their spray can carry Legionella.",
    reminder: "Pumps and heater locked off? Chemicals apart?",
};

const CHEMICALS: StepCaution = StepCaution {
    text: "Nobody in the water. Never mix two chemicals, not even two kinds of chlorine; chemical into water, never \
           water into chemical; gloves and eye protection, as the label says.",
    reminder: "Chemicals apart, gloves and eyes?",
};

const SAFETY: StepCaution = StepCaution {
    text: "Live tests are for those whom the place licenses. A device that fails its test, a faulty suction cover, water \
           above 40 °C (104 °F): do not use the spa, close it and say so before leaving.",
    reminder: "Anything failed: close the spa.",
};

const CLOSING: StepCaution = StepCaution {
    text: "Pumps and heater off at the disconnect and locked before the water goes: neither may run dry. A drained shell \
           keeps its cover on and locked.",
    reminder: "Off and locked before the water goes?",
};

const OPENING: StepCaution = StepCaution {
    text: "Water in before power on: pumps and heater never run dry. Look at every suction cover first. Water that stood \
           in pipes breeds Legionella: disinfect before the jets run, stay out of the spray. Test before guests; never \
           above 40 °C (104 °F).",
    reminder: "Disinfected before the jets run?",
};

const LIFTING: StepCaution = StepCaution {
    text: "A soaked cover is heavy: two people. A spa without its cover locked on is open water for a child.",
    reminder: "Cover locked on when leaving?",
};

/// The caution before a piece of work; `None` where nothing special is due beyond the head of the sheet.
pub(super) fn before(site: &Site, task: &VisitTask) -> Option<StepCaution> {
    let id = match &task.work {
        Work::Close => return Some(CLOSING),
        Work::Reopen => return Some(OPENING),
        Work::Renew(id) | Work::Task(id) => id.as_str(),
        Work::Left(_) | Work::ContractVisit => "",
    };
    if changes_the_water(task) {
        return Some(WATER);
    }
    if id.contains("safety") || id.contains("suction") || id.contains("ground_fault") || id.contains("residual_current")
    {
        return Some(SAFETY);
    }
    let spa = site.spas.iter().find(|spa| spa.at.spa() == task.at.spa())?;
    if spa.pumps.iter().any(|pump| pump.at == task.at) {
        return Some(ISOLATE);
    }
    if spa.filters.iter().any(|filter| filter.at == task.at) {
        return Some(FILTER);
    }
    if let Some(equipment) = spa.equipment.iter().find(|equipment| equipment.at == task.at) {
        return Some(match equipment.kind.as_str() {
            "heater" => HEATER,
            "cover" => LIFTING,
            // What it is nobody can know here: most of it is wired.
            _ => ISOLATE,
        });
    }
    // The spa itself: its parts may be wired or under pressure, its tasks are about the water.
    match &task.work {
        Work::Renew(_) => Some(ISOLATE),
        Work::Task(_) if ["chem", "shock", "disinfect", "water"].iter().any(|word| id.contains(word)) => {
            Some(CHEMICALS)
        }
        _ => None,
    }
}
