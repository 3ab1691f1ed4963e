//! Optional fields that are left out although some figure here would use them: what is not known for want of each,
//! and what is put in their place.
//!
//! Each field is told once, with all the places it is missing at. It must not say what is wrong: that is `check`'s.

use super::{Given, place};
use chrono::Datelike;

use crate::charts::style::list;
use crate::costs::contract::{contract_on, price_of};
use crate::quantities::measured_trends::{Drifting, MeasuredTrend};
use crate::quantities::run_hours::{MOTOR_EFFICIENCY, POWER_FACTOR};
use crate::quantities::spa_loop::{ASSUMED_CELSIUS, ASSUMED_LOW_SPEED};
use crate::records::customers::Scope;
use crate::records::forms::Name;
use crate::records::log::Quantity;
use crate::records::pumps::{Model, Speeds};
use crate::records::{Pump, Spa};
use crate::report::{format, view};
use crate::schedule::visits::Work;
use crate::schedule::visits::work::{LEFT_MINUTES, LOOK_ROUND_MINUTES, SEASON_MINUTES};

/// The most places named one by one.
const MOST_NAMED: usize = 6;

/// What is not known for want of a field.
pub(super) fn unknowns(given: &Given) -> Vec<view::Unknown> {
    let mut all = Gaps::default();
    for spa in &given.site.site.spas {
        of_spa(given, spa, &mut all);
        for pump in &spa.pumps {
            of_pump(given, spa, pump, &mut all);
        }
    }
    of_book(given, &mut all);
    of_fleet(given, &mut all);
    let office = given.office();
    if office {
        of_contract(given, &mut all);
    }
    all.0
        .into_iter()
        .map(|gap| view::Unknown {
            what: format!("{} of {}", gap.what, places(&gap.of)),
            settled_by: if office { gap.settled_by } else { String::new() },
            narrows: gap.narrows.to_owned(),
        })
        .collect()
}

/// A field that is left out.
struct Gap {
    what: &'static str,
    of: Vec<String>,
    settled_by: String,
    narrows: &'static str,
}

#[derive(Default)]
struct Gaps(Vec<Gap>);

impl Gaps {
    /// `of` is named once, however often it is missing there.
    fn put(&mut self, what: &'static str, of: String, settled_by: &str, narrows: &'static str) {
        match self.0.iter_mut().find(|gap| gap.what == what && gap.settled_by == settled_by) {
            Some(gap) if gap.of.contains(&of) => {}
            Some(gap) => gap.of.push(of),
            None => self.0.push(Gap { what, of: vec![of], settled_by: settled_by.to_owned(), narrows }),
        }
    }
}

fn places(of: &[String]) -> String {
    if of.len() <= MOST_NAMED {
        return list(of);
    }
    format!("{} and {} more", of[..MOST_NAMED].join(", "), of.len() - MOST_NAMED)
}

fn of_spa(given: &Given, spa: &Spa, all: &mut Gaps) {
    let Some(figures) = given.site.spas.iter().find(|figures| figures.at == spa.at) else { return };
    let at = place(given, spa.at.as_str());
    if spa.volume.is_none() {
        all.put(
            "The volume",
            at.clone(),
            "`volume` of the spa or its type",
            "turnovers, the filter's clean date, the water change",
        );
    }
    if let Some(missing) = figures.water_change.as_ref().and_then(|change| change.missing.as_ref()) {
        all.put("When the water is to be changed by the rule book: the spa", at.clone(), missing, "due dates");
    }
    for (filter, figures) in spa.filters.iter().zip(&figures.filters) {
        let at = place(given, filter.at.as_str());
        if filter.area.is_none() {
            all.put(
                "The area",
                at.clone(),
                "`area` of the filter",
                "the filter rate and whether it is within its limit",
            );
        }
        let state = &figures.state;
        if state.clean_pressure.is_none() {
            let by = "`clean_pressure` of the filter, or a `pressure` under `after` of a clean";
            all.put("The pressure when clean", at.clone(), by, "how fouled the filter is, when to clean it");
        } else if state.pressure.is_none() {
            all.put(
                "The pressure",
                at.clone(),
                "`pressure` readings at the filter",
                "how fouled the filter is, when to clean it",
            );
        }
        let drifts_when_clean =
            |trend: &MeasuredTrend| trend.at == filter.at && trend.quantity == Drifting::CleanPressure;
        if filter.clean_pressure.is_none() && given.site.trends.iter().any(drifts_when_clean) {
            let by = "`clean_pressure` of the filter";
            all.put("The pressure of the clean filter when new", at.clone(), by, "when cleaning no longer helps");
        }
        if state.rise_limit.is_none() {
            let by = "`or_pressure_rise` of the task that cleans filters, in upkeep.yaml";
            all.put("The rise of pressure to clean at", at.clone(), by, "when to clean the filter");
        }
        if filter.drop.is_none() && spa.pipe.is_some() {
            let by = "`drop` of the filter: its loss of pressure when clean, at a flow";
            all.put(
                "What the clean filter takes",
                at,
                by,
                "a flow from the pump's curve, which comes out high without it",
            );
        }
    }
    if let Some(pipe) = &spa.pipe {
        if pipe.size.is_none() {
            all.put(
                "The size of the pipe",
                at.clone(),
                "`size` of `pipe`",
                "a flow from the pump's curve, the water's velocity",
            );
        }
        if pipe.length.is_none() {
            all.put("The length of the pipe", at.clone(), "`length` of `pipe`", "a flow from the pump's curve");
        }
        if pipe.fittings.0.is_empty() {
            let narrows = "a flow from the pump's curve, which comes out high without them";
            all.put("The fittings of the pipe", at.clone(), "`fittings` of `pipe`", narrows);
        }
        let heated = spa.equipment.iter().any(|item| item.kind.as_str() == "heater");
        if pipe.heater_drop.is_none() && heated {
            let narrows = "a flow from the pump's curve, which comes out high without it";
            all.put("What the heater takes", at, "`heater_drop` of `pipe`", narrows);
        }
    } else {
        all.put(
            "The pipe loop",
            at,
            "`pipe` of the spa or its type",
            "a flow where none is measured, the water's velocity, ways out of a shortage",
        );
    }
}

/// The model a pump has by now.
fn model_now<'a>(given: &'a Given, pump: &'a Pump) -> (Option<&'a Name>, Option<&'a Model>) {
    let exchanged =
        given.site.site.entries(&pump.at).filter_map(|(_, _, entry)| entry.exchanged.as_ref()?.model.as_ref());
    let name = exchanged.last().or(pump.model.as_ref());
    (name, name.and_then(|name| given.fleet.models.get(&name.0)))
}

fn of_pump(given: &Given, spa: &Spa, pump: &Pump, all: &mut Gaps) {
    let at = place(given, pump.at.as_str());
    let by_guests = pump.programs.iter().any(|program| program.occupied.is_some());
    let counted = given.site.site.readings_of(&pump.at, Quantity::Hours).next().is_some();
    if by_guests && spa.stays.is_none() && !counted {
        all.put(
            "The nights guests are in: hours with guests, which count as if there were none,",
            at.clone(),
            &format!("bookings/{}.ics, or counter readings", given.site.site.id),
            "hours, energy, due dates",
        );
    }
    let (name, model) = model_now(given, pump);
    let narrows = "energy, a flow from its curve, ways out of a shortage";
    let (Some(name), Some(model)) = (name, model) else {
        match name {
            None => all.put("The model", at, "`model` of the pump, with its sheet in pumps.yaml", narrows),
            Some(name) => all.put("The sheet", format!("the model {name}"), "`models` in pumps.yaml", narrows),
        }
        return;
    };
    let of = format!("the model {name}");
    let current_read = given.site.site.readings_of(&pump.at, Quantity::Current).next().is_some();
    let stated = match model.speeds {
        Speeds::One => model.current.run.is_some(),
        Speeds::Two => model.current.low.is_some() && model.current.high.is_some(),
    };
    if !stated {
        let by = "`current` of the model at each speed, or `current` readings";
        all.put(
            "The current",
            of.clone(),
            by,
            "energy, where no current is measured; whether a motor draws more than it should",
        );
    }
    if (stated || current_read) && model.supply.is_none_or(|supply| supply.voltage.is_none()) {
        all.put(
            "The voltage",
            of.clone(),
            "`supply` of the model, with its `voltage`",
            "energy, which is reckoned from the plate's power without it",
        );
    }
    if model.power.is_none() {
        all.put(
            "The power",
            of.clone(),
            "`power` of the model",
            "energy, where no current is known; whether the pump suits its duty",
        );
    }
    let filters = !pump.filters_at.is_empty() && spa.pipe.is_some();
    if model.curve.is_empty() && filters {
        all.put(
            "The curve",
            of.clone(),
            "`curve` of the model",
            "a flow where none is measured, ways out of a shortage",
        );
    }
    if model.ports.is_none() && filters {
        all.put("The unions", of, "`ports` of the model", "whether the pump suits its duty");
    }
}

fn of_book(given: &Given, all: &mut Gaps) {
    for due in &given.site.parts {
        let (id, part) = (format::words(due.part.id.as_str()), due.part.part);
        if part.interval.hours.is_none() && part.interval.age.is_none() {
            all.put("The interval", id.clone(), "`interval` of the part in upkeep.yaml", "due dates");
        }
        if due.due.is_none() && part.interval.hours.is_some() && part.interval.age.is_none() {
            let by = "`interval` of the part in upkeep.yaml, with an `age` beside its `hours`";
            all.put("A latest day", id.clone(), by, "due dates, where hours alone give none");
        }
        // The built-in book has no prices, and says so among the assumptions.
        if given.fleet.book.built_in {
            continue;
        }
        if part.cost.is_none() {
            all.put(
                "The price",
                id.clone(),
                "`cost` of the part in upkeep.yaml",
                "planned cost, the age at which renewing pays",
            );
        }
        if part.failure.as_ref().is_none_or(|failure| failure.cost.is_none()) {
            all.put(
                "What a failure costs",
                id.clone(),
                "`failure` of the part in upkeep.yaml, with its `cost`",
                "the age at which renewing pays",
            );
        }
        if part.number.is_none() {
            all.put("The part number", id.clone(), "`number` of the part in upkeep.yaml", "orders");
        }
        if part.source.is_none() {
            all.put(
                "Where the interval comes from",
                id,
                "`source` of the part in upkeep.yaml",
                "how far the interval can be trusted",
            );
        }
    }
    for due in &given.site.tasks {
        let (id, task) = (format::words(due.id.as_str()), due.task);
        if task.every.is_none() && task.at_most.is_none() {
            all.put("How often it is done", id.clone(), "`every` of the task in upkeep.yaml", "due dates");
        }
        if task.time.is_none() && !given.fleet.book.built_in {
            all.put("The time it takes", id, "`time` of the task in upkeep.yaml", "planned cost, visits");
        }
    }
}

fn of_fleet(given: &Given, all: &mut Gaps) {
    let settings = &given.fleet.settings;
    let months = given.site.spas.iter().flat_map(|spa| &spa.pumps).filter_map(|pump| pump.hours.as_ref());
    let any_energy = months.flat_map(|hours| &hours.months).any(|month| month.energy_kwh.is_some());
    if settings.electricity.is_none() && any_energy {
        all.put("The price", "electricity".to_owned(), "`electricity` in fleet.yaml", "what running the pumps costs");
    }
    if settings.labour.cost.is_none() && !given.fleet.book.built_in {
        all.put(
            "What it costs us",
            "an hour of work".to_owned(),
            "`labour` in fleet.yaml, with its `cost`",
            "planned cost",
        );
    }
}

/// What a contract in force leaves open, and the way to the site. Only the office reads of it.
fn of_contract(given: &Given, all: &mut Gaps) {
    let site = given.site.site;
    let costs = given.fleet.settings.labour.cost.is_some();
    if costs && site.travel.cost.is_none() {
        all.put(
            "The fare",
            "the way there and back".to_owned(),
            "`travel` of the site, with its `cost`",
            "what visits cost, quotes: only the time on the way is in them",
        );
    }
    let Some(id) = &site.customer else { return };
    let Some(contract) = given.fleet.customers.get(id).and_then(|customer| contract_on(customer, given.site.as_of))
    else {
        return;
    };
    let of = format!("the contract of {id}");
    let mut left_out = |is: bool, what: &'static str, field: &str, narrows: &'static str| {
        if is {
            all.put(what, of.clone(), &format!("`{field}` of the contract in customers.yaml"), narrows);
        }
    };
    let everything = contract.scope == Some(Scope::Everything);
    left_out(contract.scope.is_none(), "The scope", "scope", "what is covered: without it all work is charged");
    left_out(contract.visits.is_none(), "The number of visits", "visits", "looks round in the plan and the price");
    left_out(contract.response.is_none(), "The response", "response", "whether calls were answered in time");
    left_out(
        contract.callouts.is_none() && !everything,
        "The agreement on call-outs",
        "callouts",
        "what is covered: without it each call-out is charged",
    );
    let year = given.site.as_of.year();
    left_out(price_of(contract, year).is_none(), "The price of the year", "price", "whether the contract pays");
    left_out(contract.index.is_none(), "The index", "index", "what the next year is to cost");
}

/// The minutes of planned work that no record says.
fn minutes_of_visits(given: &Given, all: &mut Vec<(String, String, &'static str)>) {
    let works = || given.site.visits.iter().flat_map(|visit| &visit.tasks).map(|task| &task.work);
    let assumed = [
        (
            works().any(|w| matches!(w, Work::Close | Work::Reopen)),
            "Closing or opening a spa for the season",
            SEASON_MINUTES,
        ),
        (
            works().any(|w| *w == Work::ContractVisit),
            "The look round at a visit the contract promises",
            LOOK_ROUND_MINUTES,
        ),
        (works().any(|w| matches!(w, Work::Left(_))), "What a visit left to be done", LEFT_MINUTES),
    ];
    for (_, what, minutes) in assumed.into_iter().filter(|(there, ..)| *there) {
        all.push((format!("{what} takes"), format!("{minutes} min"), "nothing yet: the same for all"));
    }
}

/// What is put in the place of fields that are left out: what, its value, and where to say it.
pub(super) fn assumptions(given: &Given) -> Vec<(String, String, &'static str)> {
    let mut all: Vec<(String, String, &'static str)> = Vec::new();
    let site = given.site.site;
    let mut cool = Vec::new();
    let mut counted = Vec::new();
    let (mut from_current, mut from_power, mut low_speed) = (false, false, Vec::new());
    for spa in &site.spas {
        if spa.setpoint.is_none() && spa.pipe.is_some() {
            cool.push(place(given, spa.at.as_str()));
        }
        for pump in &spa.pumps {
            let read = [Quantity::Hours, Quantity::HoursLow, Quantity::HoursHigh]
                .into_iter()
                .any(|quantity| site.readings_of(&pump.at, quantity).next().is_some());
            if read && pump.meter.is_none_or(|meter| meter.digits.is_none()) {
                counted.push(place(given, pump.at.as_str()));
            }
            let (name, model) = model_now(given, pump);
            let Some((name, model)) = name.zip(model) else { continue };
            let voltage = model.supply.is_some_and(|supply| supply.voltage.is_some());
            let current = model.current.run.is_some()
                || model.current.high.is_some()
                || site.readings_of(&pump.at, Quantity::Current).next().is_some();
            from_current |= voltage && current;
            from_power |= !(voltage && current) && model.power.is_some();
            let low = model.speeds == Speeds::Two && model.low_speed.is_none() && model.low_curve.is_empty();
            if low && !low_speed.contains(&name.0) {
                low_speed.push(name.0.clone());
            }
        }
    }
    if !cool.is_empty() {
        let what = format!("The water of {} is at", places(&cool));
        all.push((
            what,
            format::test_value(Quantity::Temperature, ASSUMED_CELSIUS, given.units()),
            "`setpoint` of the spa",
        ));
    }
    if !counted.is_empty() {
        let what = format!("The counters of {} have not rolled over", places(&counted));
        all.push((what, String::new(), "`meter` of the pump, with its `digits`"));
    }
    if !low_speed.is_empty() {
        let what = format!("Low speed over high of the models {}", list(&low_speed));
        all.push((what, format!("{ASSUMED_LOW_SPEED}"), "`low_speed` of the model"));
    }
    minutes_of_visits(given, &mut all);
    if from_current {
        all.push((
            "Power factor of the motors".to_owned(),
            format!("{POWER_FACTOR}"),
            "nothing yet, it is the same for all",
        ));
    }
    if from_power {
        let what = "A motor whose current or voltage is not known draws its plate's power over".to_owned();
        all.push((what, format!("{MOTOR_EFFICIENCY}"), "`current` and `supply` of the model"));
    }
    let untimed: Vec<String> = given
        .site
        .parts
        .iter()
        .filter(|due| due.cost.is_some() && due.part.part.time.is_none())
        .map(|due| format::words(due.part.id.as_str()))
        .collect();
    if !untimed.is_empty() {
        let mut untimed = untimed;
        untimed.sort_unstable();
        untimed.dedup();
        let what = format!("Renewing the {} takes no time of its own", list(&untimed));
        all.push((what, String::new(), "`time` of the part in upkeep.yaml"));
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::Month;
    use crate::quantities::fleet_for_tests::load_with;
    use crate::report::site_charts::Charts;

    /// What is not known of a site whose contract says nothing but when it began.
    fn settled_by(copy: &str) -> Vec<String> {
        let fleet = format!(
            "{{format: 1, fleet: Test, currency: GBP, timezone: Europe/London, labour: {{cost: 24.00}}, reports_for: {copy}}}"
        );
        let customers = "{format: 1, customers: {bay: {contract: {from: 2026-01-01}}}}";
        let site = "{format: 1, customer: bay, spas: {tub: {fitted: 2025-01-01}}}";
        let files = [
            ("fleet.yaml", fleet.as_str()),
            ("upkeep.yaml", "{format: 1, parts: {}}"),
            ("customers.yaml", customers),
            ("sites/home.yaml", site),
        ];
        load_with(&files, "2026-10-31", |fleet, figures, as_of| {
            let (charts, month) = (Charts::default(), Month::of(as_of));
            let given =
                Given { fleet, site: figures, month, previous: None, charts: &charts, inputs: &[], renderer: "" };
            unknowns(&given).into_iter().map(|unknown| format!("{} {}", unknown.what, unknown.settled_by)).collect()
        })
    }

    #[test]
    fn what_a_contract_leaves_open_is_told_to_the_office_alone() {
        let office = settled_by("office");
        for field in ["scope", "visits", "response", "callouts", "price", "index"] {
            let named = |said: &&String| said.contains(&format!("`{field}` of the contract in customers.yaml"));
            assert_eq!(office.iter().filter(named).count(), 1, "{field}: {office:?}");
        }
        assert!(office.iter().any(|said| said.starts_with("The fare ")), "{office:?}");
        let customer = settled_by("customer");
        assert!(customer.iter().all(|said| !said.contains("contract") && !said.contains("fare")), "{customer:?}");
    }
}
