//! What the sheets say of visits planned by hand.

use super::*;
use crate::quantities::fleet_for_tests::load_with;
use crate::schedule::visits::{Take, Visit, Work};
use crate::work_sheet::tests::{id, task, visit};

const FLEET: &str = "{format: 1, fleet: Test, currency: GBP, timezone: Europe/London, technicians: {dan: {name: Dan}}}";
const PUMPS: &str = "format: 1
models:
  P: {speeds: 1, power: 0.5 hp, frame: \"48\", ports: {inlet: 1.5 in, discharge: 1.5 in}, supply: {voltage: 230 V, phases: 1}}
  Q: {speeds: 1, power: 0.5 hp, frame: \"48\", ports: {inlet: 1.5 in, discharge: 1.5 in}, supply: {voltage: 230 V, phases: 1}}
  R: {speeds: 2, power: 2 hp, frame: \"56\", ports: {inlet: 2 in, discharge: 2.5 in}, supply: {voltage: 230 V, phases: 1}}
";
const HEAD: &str = "format: 1
name: Home
address: 1 Invented Lane
key: box by the gate
contact: {name: Front desk, phone: \"000\"}
spas:
  tub:
    fitted: 2024-01-01
    volume: 1250 L
    filters: {main: {kind: cartridge, area: 9.6 m2}}
    pumps:
      one: {model: P, duty: filtration, program: {run: 8 h/day}}
      two: {model: R, duty: jets, program: {high: 1 h/day}}
    equipment: {heater: {kind: heater, power: 3 kW}, cover: {kind: cover}}
";

fn with_view(log: &str, visits: Vec<Visit>, then: impl Fn(&VisitsView)) {
    with_view_of(FLEET, log, visits, then);
}

fn with_view_of(fleet: &str, log: &str, visits: Vec<Visit>, then: impl Fn(&VisitsView)) {
    let site = format!("{HEAD}{log}");
    let plan = Plan::of(visits);
    load_with(
        &[("fleet.yaml", fleet), ("pumps.yaml", PUMPS), ("sites/home.yaml", &site)],
        "2026-10-31",
        |fleet, figures, as_of| {
            let month = Month::of(as_of);
            let document = crate::report::site_view::document_of(fleet, figures, month);
            let given = Given { fleet, site: figures, plan: &plan, month, document: &document };
            then(&view(&given).unwrap());
        },
    );
}

const LOG: &str = "log:
  - {date: 2026-09-30, note: the dog bites, at: {tub/one: {hours: 100, note: hums}}, left: [{at: tub/cover, note: strap torn}]}
";

/// One switch decides the units: in a fleet of US units no caution leads with degrees Celsius.
#[test]
fn cautions_lead_with_the_units_of_the_fleet() {
    let us = FLEET.replace("format: 1,", "format: 1, units: us,");
    for (fleet, first, other) in
        [(FLEET, "40 °C (104 °F)", "104 °F (40 °C)"), (&us, "104 °F (40 °C)", "40 °C (104 °F)")]
    {
        with_view_of(fleet, LOG, every_kind(), |view| {
            let text = serde_json::to_string(view).unwrap();
            // At the head of each sheet, before tests of safety and before a spa is opened.
            assert!(text.matches(first).count() >= 3 && !text.contains(other), "{text}");
        });
    }
}

fn every_kind() -> Vec<Visit> {
    let mut seal = task("tub/one", Work::Renew(id("shaft_seal")));
    seal.take = vec![Take { part: id("shaft_seal"), count: 1, number: Some("SS-16".to_owned()) }];
    seal.skill = Some("electrician".to_owned());
    let mut bearing = task("tub/one", Work::Renew(id("motor_bearing")));
    bearing.take = vec![Take { part: id("shaft_seal"), count: 1, number: Some("SS-16".to_owned()) }];
    bearing.urgent = true;
    vec![visit(
        "home",
        7,
        "2026-11-12",
        vec![
            seal,
            bearing,
            task("tub/main", Work::Task(id("filter_clean"))),
            task("tub/two", Work::Renew(id("shaft_seal"))),
            task("tub/heater", Work::Renew(id("heater_element"))),
            task("tub", Work::Task(id("water_change"))),
            task("tub", Work::Task(id("safety_check"))),
            task("tub/cover", Work::Left("strap torn".to_owned())),
            task("tub", Work::Close),
            task("tub", Work::Reopen),
            task("tub", Work::ContractVisit),
        ],
    )]
}

#[test]
fn where_who_what_to_take_and_how_long() {
    with_view(LOG, every_kind(), |view| {
        let page = &view.sheets[0];
        assert_eq!(
            (page.visit.as_str(), page.when.as_str(), page.who.as_str()),
            ("home-7", "Thursday 12 November 2026", "Dan")
        );
        // Eleven times 20 min.
        assert_eq!(page.minutes, "3 h 40 min of work, 35 min on the way");
        assert_eq!((page.key.as_str(), page.contact.as_str()), ("box by the gate", "Front desk, 000"));
        let measures = "P, 0.5 hp (0.37 kW), 1 speed, frame 48, inlet 1.5 in, discharge 1.5 in, 230 V, 1 ph";
        let take = TakeRow { parts: vec!["2 × Shaft seal (SS-16)".to_owned()], measures: measures.to_owned() };
        assert_eq!(page.take, [take]);
        assert_eq!(
            page.notes,
            ["30 Sep: the dog bites", "30 Sep, tub/one: hums", "30 Sep, tub/cover: left: strap torn"]
        );
        assert!(page.type_back.starts_with("tubwright add --sheet home-7."), "{}", page.type_back);
        assert!(page.type_back.ends_with(" --month 2026-10"), "{}", page.type_back);
        assert!(view.surveys.is_empty());
    });
}

/// Each kind of work has its caution before its own step, in full where it first stands.
#[test]
fn every_step_has_its_caution_before_it() {
    with_view(LOG, every_kind(), |view| {
        let jobs = &view.sheets[0].jobs;
        let first = |index: usize, word: &str| {
            assert!(
                jobs[index].caution.contains(word) && jobs[index].reminder.is_empty(),
                "{index}: {:?}",
                jobs[index]
            );
        };
        first(0, "prove it dead");
        // The next job at the same pump is under the same caution.
        assert!(jobs[1].caution.is_empty() && jobs[1].reminder.is_empty());
        first(2, "let the pressure out");
        assert!(jobs[3].caution.is_empty() && jobs[3].reminder.contains("locked off"), "{:?}", jobs[3]);
        first(4, "heater cool");
        first(5, "Never mix two chemicals");
        first(6, "40 °C (104 °F)");
        first(7, "two people");
        first(8, "neither may run dry");
        first(9, "Legionella");
        assert!(view.sheets[0].first.contains("Local code"));
        assert_eq!(jobs[0].why, "Due by the book; 20 min; only by electrician");
        // What ends in a full stop is not followed by a semicolon.
        assert!(view.sheets[0].jobs.iter().all(|job| !job.why.contains(".;")));
        assert_eq!((jobs[0].at.as_str(), jobs[1].at.as_str(), jobs[2].at.as_str()), ("tub/one", "", "tub/main"));
        assert_eq!(jobs[0].what, "Renew shaft seal");
    });
}

/// The order is the contract: match, isolate, valves, feet while the plumbing holds, unions, gaskets, wiring, start.
#[test]
fn the_exchange_goes_in_its_order_with_cautions_before_the_steps() {
    with_view(LOG, Vec::new(), |view| {
        let page = view.exchange.as_ref().unwrap();
        let titles: Vec<&str> = page.steps.iter().map(|step| step.title.as_str()).collect();
        let words = [
            "Match",
            "prove dead",
            "valves",
            "feet while the plumbing",
            "unions",
            "gaskets",
            "wiring diagrams",
            "rotation",
        ];
        assert_eq!(titles.len(), words.len());
        for (title, word) in titles.iter().zip(words) {
            assert!(title.contains(word), "{title}");
        }
        for owed in ["power, number of speeds, frame, inlet, discharge, supply", "never the union nut"] {
            assert!(page.steps[0].text.contains(owed), "{owed}");
        }
        assert!(page.steps[1].caution.contains("local electrical code and licensed practice"));
        assert!(page.steps[6].title.contains("never by wire colour"));
        assert_eq!(page.pumps[0].like, "Q");
        assert_eq!(page.pumps[0].needs, "2 gaskets 1.5 in; 3 conductors");
        assert_eq!(page.pumps[1].needs, "gaskets 2 in and 2.5 in; 4 conductors");
        let names: Vec<&str> = page.blanks.iter().map(|blank| blank.name.as_str()).collect();
        assert!(names.contains(&"exchanged.model") && names.contains(&"meter_reset.showed"), "{names:?}");
        // One is of two speeds, and the step has the current read at each.
        assert!(names.contains(&"after.current") && names.contains(&"after.current_low"), "{names:?}");
        // Every blank is in the command.
        for name in names.iter().filter(|name| **name != "at") {
            assert!(page.type_back[0].contains(&format!("{name}=…")), "{name}: {}", page.type_back[0]);
        }
    });
    // With a counter for each speed of one pump there are blanks for each, beside those of the other pump.
    let log = "log:\n  - {date: 2026-09-30, at: {tub/two: {hours_low: 100, hours_high: 20}}}\n";
    with_view(log, Vec::new(), |view| {
        let blanks = &view.exchange.as_ref().unwrap().blanks;
        let names: Vec<&str> =
            blanks.iter().map(|blank| blank.name.as_str()).filter(|n| n.starts_with("meter")).collect();
        let owed = [
            "meter_reset.showed",
            "meter_reset.to",
            "meter_reset.low.showed",
            "meter_reset.low.to",
            "meter_reset.high.showed",
            "meter_reset.high.to",
        ];
        assert_eq!(names, owed);
    });
}

/// The names on a survey's page, without what is said of them in brackets, that are no field of any record.
fn every_unknown_name(page: &SurveyPage) -> Vec<String> {
    let fields: Vec<String> = ["site", "tubs", "pumps", "upkeep"]
        .map(|schema| {
            let path =
                std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("data/schema/{schema}.schema.json"));
            fs_err::read_to_string(path).unwrap()
        })
        .to_vec();
    let blanks = page.steps.iter().flat_map(|step| &step.blanks).filter(|blank| blank.kind != "tick").map(|b| &b.name);
    let names = blanks.chain(page.steps.iter().flat_map(|step| &step.rows).map(|row| &row.field));
    // Names of things and parts are the user's or the book's own.
    let own = ["heater", "cover", "shaft_seal", "motor_bearing", "suction_cover"];
    let is_field = |step: &str| {
        own.contains(&step)
            || crate::hydraulics::fitting_k(step).is_some()
            || fields.iter().any(|schema| schema.contains(&format!("\"{step}\":")))
    };
    let bare = names.flat_map(|name| name.split(" (").next().unwrap_or_default().split(", "));
    bare.filter(|name| !name.split('.').all(is_field)).map(str::to_owned).collect()
}

#[test]
fn a_site_without_history_has_a_survey_that_confirms_what_is_known() {
    with_view("", Vec::new(), |view| {
        let page = &view.surveys[0];
        assert_eq!(page.spa, "tub");
        let titles: Vec<&str> = page.steps.iter().map(|step| step.title.as_str()).collect();
        assert!(titles[1].starts_with("Safe"), "{titles:?}");
        let pumps = page.steps.iter().find(|step| step.title == "The pumps").unwrap();
        assert_eq!(pumps.columns, ["one", "two"]);
        assert!(pumps.caution.contains("proved dead"));
        let row = |field: &str| pumps.rows.iter().find(|row| row.field.starts_with(field)).unwrap().cells.clone();
        assert_eq!(row("power"), ["0.5 hp (0.37 kW)", "2 hp (1.49 kW)"]);
        assert_eq!(row("bolt_spacing"), ["", ""]);
        assert!(pumps.rows.iter().any(|row| row.field.contains("inside thread")));
        // One visit fills the record: who was there when, the use that picks the limits, what the loop and the covers state.
        let blanks: Vec<&str> =
            page.steps.iter().flat_map(|step| &step.blanks).map(|blank| blank.name.as_str()).collect();
        for owed in ["date", "by", "use", "pipe.c", "pipe.heater_drop.head", "suction_cover.interval.age"] {
            assert!(blanks.iter().any(|name| name.starts_with(owed)), "{owed}: {blanks:?}");
        }
        let filters = page.steps.iter().find(|step| step.title == "The filters").unwrap();
        assert!(filters.rows.iter().any(|row| row.field.starts_with("drop")));
        let spa = page.steps.iter().find(|step| step.title == "The spa").unwrap();
        assert_eq!(spa.blanks[0].filled, "1250\u{a0}L".replace('\u{a0}', " "));
        assert_eq!(every_unknown_name(page), Vec::<String>::new());
    });
    with_view(LOG, Vec::new(), |view| assert!(view.surveys.is_empty()));
}

/// Nothing on a sheet is a price, and nothing on it is without words for what it is.
#[test]
fn a_sheet_has_no_prices() {
    with_view(LOG, every_kind(), |view| {
        let text = serde_json::to_string(view).unwrap();
        assert!(!text.contains("GBP") && !text.contains('£'), "{text}");
    });
}
