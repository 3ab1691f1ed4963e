//! The survey page of a spa at a site taken over with no history: what to inspect, measure and photograph, in order, so
//! that one visit fills the record.
//!
//! What the records already say, by the spa's type say, is printed to be confirmed; the rest is blank. Each blank has
//! the name of the field it ends up in.

use super::{BlankView, Given, SurveyPage, SurveyRow, SurveyStep, cautions, plain};
use crate::quantities::like_for_like::{self, Attribute};
use crate::quantities::run_hours;
use crate::records::fleet::Units;
use crate::records::forms::Fitted;
use crate::records::log::Quantity;
use crate::records::site::Use;
use crate::records::{Pump, Spa};
use crate::report::cautions::in_order;
use crate::report::format;
use crate::swap;
use crate::work_sheet::unit;

/// Columns for pumps and filters; more take a copy of the page.
const MOST_COLUMNS: usize = 4;

pub(super) fn surveys(given: &Given) -> Vec<SurveyPage> {
    given.site.site.spas.iter().map(|spa| page(given, spa)).collect()
}

fn page(given: &Given, spa: &Spa) -> SurveyPage {
    let site = given.site.site;
    let words = |text: &Option<crate::records::forms::Text>| text.as_ref().map(|text| text.0.clone());
    let contact = site.contact.as_ref();
    SurveyPage {
        site: site.name.clone(),
        spa: spa.at.to_string(),
        address: words(&site.address).unwrap_or_default(),
        first: in_order(cautions::FIRST, given.fleet.settings.units),
        steps: vec![
            SurveyStep {
                title: "The site".to_owned(),
                photograph: "way in, plant door, disconnect".to_owned(),
                blanks: vec![
                    plain("date", "day", "", None),
                    plain("by", "word", "", None),
                    BlankView {
                        filled: site.r#use.map_or_else(String::new, |used_as| used_as.word().to_owned()),
                        words: if site.r#use.is_some() { Vec::new() } else { uses() },
                        ..plain("use", if site.r#use.is_some() { "word" } else { "one_of" }, "", None)
                    },
                    plain("address", "words", "", words(&site.address)),
                    plain("key", "word", "", words(&site.key)),
                    plain("contact.name", "word", "", contact.and_then(|contact| words(&contact.name))),
                    plain("contact.phone", "word", "", contact.and_then(|contact| words(&contact.phone))),
                ],
                ..SurveyStep::default()
            },
            safety(),
            water(given, spa),
            SurveyStep {
                title: "The spa".to_owned(),
                photograph: "maker's plate, spa, plant space".to_owned(),
                blanks: spa_blanks(given, spa),
                ..SurveyStep::default()
            },
            pumps(given, spa),
            filters(given, spa),
            equipment(given, spa),
            SurveyStep {
                title: "The pipe loop of the filtering pump".to_owned(),
                photograph: "the loop from both ends".to_owned(),
                blanks: [("pipe.", "size"), ("pipe.", "length")]
                    .into_iter()
                    .chain(["elbow_90", "elbow_45", "tee_branch", "check_valve", "ball_valve"].map(|name| ("", name)))
                    .map(|(group, name)| plain(&format!("{group}{name}"), "number", "", None))
                    .chain([
                        plain("pipe.c", "number", "150: new plastic", None),
                        plain("pipe.heater_drop.head", "number", head_unit(given), None),
                        plain("pipe.heater_drop.flow", "number", given.fleet.settings.flow_unit(), None),
                    ])
                    .collect(),
                ..SurveyStep::default()
            },
        ],
        type_back: format!(
            "Equipment into sites/{}.yaml, plates into pumps.yaml, the covers' life into upkeep.yaml. Readings: tubwright add {}/{} \
             date=… by=… temperature=… ph=… and so on.",
            site.id, site.id, spa.at
        ),
    }
}

/// The uses a site may have.
fn uses() -> Vec<String> {
    [Use::Rental, Use::Gym, Use::Hotel, Use::Club, Use::Private].map(|used_as| used_as.word().to_owned()).to_vec()
}

fn safety() -> SurveyStep {
    let tick = |what: &str| BlankView { words: vec![what.to_owned()], ..plain("", "tick", "", None) };
    SurveyStep {
        title: "Safe to look at?".to_owned(),
        caution: "One of these not in order: close the spa, say so, and go on only where it is safe.".to_owned(),
        photograph: "each suction cover, rating, date".to_owned(),
        blanks: [
            "disconnect in sight",
            "ground-fault / residual-current trips",
            "every suction cover whole, tight, in date",
            "emergency stop works",
            "over-temperature cut-out there",
            "cover locks",
        ]
        .map(tick)
        .to_vec(),
        ..SurveyStep::default()
    }
}

fn water(given: &Given, spa: &Spa) -> SurveyStep {
    let quantities =
        [Quantity::Temperature, Quantity::Ph, Quantity::FreeChlorine, Quantity::Bromine, Quantity::Alkalinity];
    let setpoint = spa.setpoint.map(|setpoint| {
        format::test_value(
            Quantity::Temperature,
            setpoint.0.get::<uom::si::thermodynamic_temperature::degree_celsius>(),
            given.fleet.settings.units,
        )
    });
    let mut blanks: Vec<BlankView> = quantities
        .into_iter()
        .map(|quantity| plain(quantity.name(), "number", unit(given.fleet, quantity), None))
        .collect();
    blanks.push(plain("setpoint", "number", "", setpoint));
    SurveyStep {
        title: "The water (own thermometer)".to_owned(),
        caution: in_order(
            "Above 40 °C (104 °F) or cloudy: nobody goes in. Stay out of the jets' spray until it is disinfected.",
            given.fleet.settings.units,
        ),
        blanks,
        ..SurveyStep::default()
    }
}

/// The unit a drop of head is written in.
fn head_unit(given: &Given) -> &'static str {
    if given.fleet.settings.units == Units::Us { "ft" } else { "m" }
}

fn fitted_words(fitted: Fitted) -> Option<String> {
    (fitted != Fitted::Unknown).then(|| format::fitted(fitted))
}

fn spa_blanks(given: &Given, spa: &Spa) -> Vec<BlankView> {
    let units = given.fleet.settings.units;
    let volume = spa.volume.map(|volume| format::volume(volume.0.get::<uom::si::volume::liter>(), units));
    let flow = spa.stated_flow.map(|flow| format::flow(flow.0.get::<uom::si::volume_rate::liter_per_minute>(), units));
    vec![
        plain("volume", "number", "", volume),
        plain("fitted", "day", "", fitted_words(spa.fitted)),
        plain("stated_flow", "number", "", flow),
        plain("bathers", "number", "/day", spa.bathers.map(|bathers| swap::trimmed(bathers, 1))),
        plain("suction_cover.fitted", "day", "", None),
        // What is stated on the covers is their life, and that is of the kind: it stands in the book.
        plain("suction_cover.interval.age", "number", "y", None),
    ]
}

/// Heads of columns: what is known to stand there, then room for what is found.
fn columns(known: impl Iterator<Item = String>, least: usize) -> Vec<String> {
    let mut columns: Vec<String> = known.take(MOST_COLUMNS).collect();
    while columns.len() < least {
        columns.push(String::new());
    }
    columns
}

fn pumps(given: &Given, spa: &Spa) -> SurveyStep {
    let site = given.site.site;
    let columns = columns(spa.pumps.iter().map(|pump| pump.at.last().to_owned()), 2);
    let row = |field: &str, of: &dyn Fn(&Pump) -> Option<String>| SurveyRow {
        field: field.to_owned(),
        cells: (0..columns.len()).map(|i| spa.pumps.get(i).and_then(of).unwrap_or_default()).collect(),
    };
    let model = |pump: &Pump| given.fleet.models_at(site, pump).last().and_then(|(_, model)| *model);
    let measured = |attribute: Attribute| {
        move |pump: &Pump| {
            let measure = like_for_like::measure(attribute, model(pump), pump.bolt_spacing)?;
            Some(swap::measure_words(&measure, given.fleet.settings.units))
        }
    };
    // Two fields that stand together share a row.
    let both = |one: Attribute, other: Attribute| {
        move |pump: &Pump| {
            let known: Vec<String> = [one, other].into_iter().filter_map(|of| measured(of)(pump)).collect();
            (!known.is_empty()).then(|| known.join(", "))
        }
    };
    let rows = vec![
        row("model", &|pump| run_hours::model_now(site, pump)),
        row("power", &measured(Attribute::Power)),
        row("speeds", &measured(Attribute::Speeds)),
        row("frame", &measured(Attribute::Frame)),
        row("bolt_spacing (hole to hole)", &|pump| {
            Some(swap::size_words(pump.bolt_spacing?.0.get::<uom::si::length::meter>()))
        }),
        row("ports.inlet, ports.discharge (inside thread)", &both(Attribute::Inlet, Attribute::Discharge)),
        row("supply.voltage, supply.phases", &both(Attribute::Voltage, Attribute::Phases)),
        row("current (on the plate / measured, A)", &|_| None),
        row("fitted", &|pump| fitted_words(pump.fitted)),
        row(&format!("hours, meter.digits ({} on the counter)", given.fleet.settings.hours_unit()), &|_| None),
        row("program (h/day at each speed)", &|_| None),
        row("inspected.shaft_seal (good, worn, failed)", &|_| None),
        row("inspected.motor_bearing (the same)", &|_| None),
    ];
    SurveyStep {
        title: "The pumps".to_owned(),
        caution:
            "Plates are read with the pump stopped, locked off and proved dead. Nothing wired is opened: that is for \
                  those whom the place licenses."
                .to_owned(),
        photograph: "each motor plate, each union, the wiring diagram in the pack".to_owned(),
        wide: true,
        columns,
        rows,
        ..SurveyStep::default()
    }
}

fn filters(given: &Given, spa: &Spa) -> SurveyStep {
    let units = given.fleet.settings.units;
    let columns = columns(spa.filters.iter().map(|filter| filter.at.last().to_owned()), 1);
    let row = |field: String, of: &dyn Fn(&crate::records::Filter) -> Option<String>| SurveyRow {
        field,
        cells: (0..columns.len()).map(|i| spa.filters.get(i).and_then(of).unwrap_or_default()).collect(),
    };
    let bar = given.fleet.settings.pressure_unit();
    let rows = vec![
        row("kind, area".to_owned(), &|filter| {
            let measures = swap::measures_of(given.fleet, given.site.site, &filter.at);
            (!measures.is_empty()).then_some(measures)
        }),
        row("fitted".to_owned(), &|filter| fitted_words(filter.fitted)),
        row(format!("pressure (as found, {bar})"), &|_| None),
        row(format!("clean_pressure ({bar})"), &|filter| {
            let pressure = filter.clean_pressure?;
            Some(format::pressure(pressure.0.get::<uom::si::pressure::bar>(), units))
        }),
        row(format!("flow ({})", given.fleet.settings.flow_unit()), &|_| None),
        row(format!("drop.pressure, drop.flow ({bar}, {})", given.fleet.settings.flow_unit()), &|filter| {
            let drop = filter.drop?;
            Some(format!(
                "{}, {}",
                format::pressure(drop.pressure.0.get::<uom::si::pressure::bar>(), units),
                format::flow(drop.flow.0.get::<uom::si::volume_rate::liter_per_minute>(), units)
            ))
        }),
    ];
    SurveyStep {
        title: "The filters".to_owned(),
        caution: "Pump locked off, pressure let out before a lid is opened.".to_owned(),
        photograph: "gauge, cartridge ends with their number".to_owned(),
        columns,
        rows,
        ..SurveyStep::default()
    }
}

fn equipment(given: &Given, spa: &Spa) -> SurveyStep {
    let name = |id: &str, field: &str| format!("{id}.{field}");
    let mut blanks: Vec<BlankView> = Vec::new();
    for known in spa.equipment.iter().take(MOST_COLUMNS) {
        let id = known.at.last();
        if known.kind.as_str() != id {
            blanks.push(plain(&name(id, "kind"), "word", "", Some(known.kind.to_string())));
        }
        // A cover has no power.
        if known.kind.as_str() != "cover" {
            let power = swap::measures_of(given.fleet, given.site.site, &known.at);
            blanks.push(plain(&name(id, "power"), "number", "", Some(power)));
        }
        blanks.push(plain(&name(id, "fitted"), "day", "", fitted_words(known.fitted)));
    }
    if blanks.is_empty() {
        blanks = [("heater", "power"), ("heater", "fitted"), ("cover", "fitted")]
            .map(|(id, field)| plain(&name(id, field), "number", "", None))
            .to_vec();
    }
    SurveyStep {
        title: "Heater, cover, other equipment".to_owned(),
        photograph: "heater plate, cover inside and out".to_owned(),
        blanks,
        ..SurveyStep::default()
    }
}
