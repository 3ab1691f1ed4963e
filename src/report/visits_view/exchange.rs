//! The page for the exchange of a pump: what the new one must match, and the steps in the order they are done, each
//! caution before its step.
//!
//! The order is not to be changed: a pump that does not match is found before anything is apart, and the feet are free
//! before the unions, so that no pump hangs on its pipes by one union.

use super::{BlankView, ExchangePage, ExchangePump, ExchangeStep, Given, cautions, plain};
use crate::quantities::like_for_like::is_like;
use crate::quantities::run_hours;
use crate::records::Pump;
use crate::report::cautions::in_order;
use crate::report::format::NOT_KNOWN;
use crate::swap;
use crate::work_sheet::{self, BECAUSE};

/// A step: what can hurt, in a few words, the step.
pub(super) type Step = (&'static str, &'static str, &'static str);

/// The steps of an exchange, in order.
pub(super) const EXCHANGE_STEPS: &[Step] = &[
    (
        "Another power is another job: it changes the wiring, its protection and the flow through the suction covers.",
        "Match the new pump first",
        "Lay its plate beside the old one's: power, number of speeds, frame, inlet, discharge, supply. Measure a thread \
         inside, never the union nut; measure the feet across, hole to hole. All match: go on. One does not, or cannot be \
         read: stop here. The brand may be another when all match.",
    ),
    (
        "Mains voltage kills. The local electrical code and licensed practice decide who may do this and what follows.",
        "Isolate, lock off, prove dead",
        "Switch off at the disconnect, lock it, keep the key. Try to start it; test for voltage at the pump with a tester \
         proved on a live source before and after.",
    ),
    (
        "The water may be hot and under pressure; a heater must not be left to run dry.",
        "Close the valves, or drain",
        "Close the valves on both sides of the pump, or drain to below it. Let the pressure out.",
    ),
    (
        "",
        "Unfasten the feet while the plumbing still holds the pump",
        "Take the bolts out of the feet. Support the pump: from the next step on nothing else holds it.",
    ),
    (
        "The pump is heavy and water runs out: nothing live stands where it runs.",
        "Undo the unions",
        "Note and photograph the wiring at both ends, disconnect it, undo both unions by hand or strap, lift the pump out.",
    ),
    (
        "",
        "New union gaskets, every time",
        "Clean the seats, put a new gasket in each union, set the pump in, make the unions up by hand, then bolt the feet \
         so that nothing is strained.",
    ),
    (
        "Wire colours differ between makers: a wrong speed wire or earth wire kills or burns.",
        "Connect by the wiring diagrams of pump and pack, never by wire colour",
        "Three conductors for one speed, four for two, the protective one among them (common practice, no source). \
         Protective conductor and bonding first, and tight.",
    ),
    (
        "Guards and lids on and hands clear before power. A pump is never run dry.",
        "Open, prime, leak-test, check current and rotation",
        "Open the valves, let the air out, unlock, start. Look for leaks at the unions, standing and running. Measure the \
         current at each speed against the plate and write each down. Check that it turns the way of its arrow. Leave no bather until the \
         suction covers are seen whole.",
    ),
];

/// The page for a site's pumps; `None` if it has none.
pub(super) fn page(given: &Given) -> Option<ExchangePage> {
    let pumps = pumps(given);
    if pumps.is_empty() {
        return None;
    }
    let site = given.site.site;
    let one_of = |name: &str, words: &[&str]| BlankView {
        words: words.iter().map(|word| (*word).to_owned()).collect(),
        ..plain(name, "one_of", "", None)
    };
    let hours = given.fleet.settings.hours_unit();
    let all = || site.spas.iter().flat_map(|spa| &spa.pumps);
    let two_counters = |pump: &Pump| work_sheet::counters(site, pump).len() > 1;
    let mut blanks = vec![
        plain("date", "day", "", None),
        plain("by", "word", "", None),
        plain("at", "word", "", None),
        one_of("exchanged", BECAUSE),
        plain("exchanged.model", "word", "", None),
        plain("exchanged.found", "words", "", None),
    ];
    // One counter, or one a speed; where the site has both kinds of pump the page has blanks for both.
    let counters = [
        ("", all().any(|pump| !two_counters(pump))),
        ("low.", all().any(two_counters)),
        ("high.", all().any(two_counters)),
    ];
    for (speed, _) in counters.into_iter().filter(|(_, there)| *there) {
        blanks.extend(["showed", "to"].map(|what| plain(&format!("meter_reset.{speed}{what}"), "number", hours, None)));
    }
    blanks.push(plain("after.current", "number", "A", None));
    if all().any(|pump| work_sheet::currents(given.fleet, site, pump).len() > 1) {
        blanks.push(plain("after.current_low", "number", "A", None));
    }
    // Every blank is in the command, in the page's order; the address is its own word.
    let values: Vec<String> = blanks
        .iter()
        .filter(|blank| blank.name != "at")
        .map(|blank| match blank.kind.as_str() {
            "words" => format!("\"{}=…\"", blank.name),
            _ => format!("{}=…", blank.name),
        })
        .collect();
    Some(ExchangePage {
        site: site.name.clone(),
        first: in_order(cautions::FIRST, given.fleet.settings.units),
        pumps,
        steps: EXCHANGE_STEPS
            .iter()
            .map(|(caution, title, text)| ExchangeStep {
                caution: in_order(caution, given.fleet.settings.units),
                title: (*title).to_owned(),
                text: in_order(text, given.fleet.settings.units),
            })
            .collect(),
        blanks,
        type_back: vec![
            format!("tubwright add {}/AT {}; what is not known is left out", site.id, values.join(" ")),
            format!("Each attribute against every model: tubwright swap {}/AT", site.id),
        ],
    })
}

/// The site's pumps, those alike on one line.
fn pumps(given: &Given) -> Vec<ExchangePump> {
    let site = given.site.site;
    let mut found: Vec<(String, ExchangePump)> = Vec::new();
    for pump in site.spas.iter().flat_map(|spa| &spa.pumps) {
        let one = exchange_pump(given, pump);
        let key = format!("{}{}", one.model, one.measures);
        match found.iter_mut().find(|(known, _)| *known == key) {
            Some((_, there)) => {
                there.places.push_str(", ");
                there.places.push_str(pump.at.as_str());
            }
            None => found.push((key, one)),
        }
    }
    found.into_iter().map(|(_, pump)| pump).collect()
}

fn exchange_pump(given: &Given, pump: &Pump) -> ExchangePump {
    let site = given.site.site;
    let model = given.fleet.models_at(site, pump).last().and_then(|(_, model)| *model);
    let name = run_hours::model_now(site, pump);
    let exchanged = site.entries(&pump.at).any(|(_, _, entry)| entry.exchanged.is_some());
    let measures = swap::pump_measures(given.fleet, model, pump.bolt_spacing.filter(|_| !exchanged));
    let like: Vec<&str> = model.map_or(Vec::new(), |model| {
        let others = given
            .fleet
            .models
            .iter()
            .filter(|(other, candidate)| Some(other.as_str()) != name.as_deref() && is_like(candidate, model));
        others.map(|(other, _)| other.as_str()).collect()
    });
    let needs = model.map_or_else(String::new, |model| {
        let job = swap::job(model);
        let size = |size: Option<f64>| size.map_or("size to be measured".to_owned(), swap::size_words);
        let conductors = job.conductors.map_or(String::new(), |count| format!("; {count} conductors"));
        let [inlet, discharge] = job.gaskets.map(size);
        if inlet == discharge {
            format!("2 gaskets {inlet}{conductors}")
        } else {
            format!("gaskets {inlet} and {discharge}{conductors}")
        }
    });
    ExchangePump {
        places: pump.at.to_string(),
        model: name.unwrap_or_else(|| NOT_KNOWN.to_owned()),
        measures: if measures.is_empty() { NOT_KNOWN.to_owned() } else { measures.join(", ") },
        like: like.join(", "),
        needs,
    }
}
