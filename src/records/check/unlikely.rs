//! Values far from what spas, pumps and their water usually have: a slip of the pen or a wrong unit, asked about.
//!
//! The bounds are generous, each with its reason beside it: common practice, no source, unless one is named. Nothing
//! here is an error, and every value is used as it is written.

use std::collections::BTreeMap;

use uom::si::area::square_meter;
use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::length::{inch, meter, millimeter};
use uom::si::power::kilowatt;
use uom::si::pressure::bar;
use uom::si::thermodynamic_temperature::degree_celsius;
use uom::si::volume::liter;
use uom::si::volume_rate::liter_per_minute;

use super::{place, plain};
use crate::calendar::{add, days_between};
use crate::diagnostic::{Diagnostic, Rule, Severity, Spot};
use crate::hydraulics::{self, CurvePoint, PumpCurve};
use crate::records::forms::Dated;
use crate::records::log::Quantity;
use crate::records::tree::{Folder, LARGEST_SHEET, SourceText};
use crate::records::tubs::SpaFile;
use crate::records::{Fleet, Pump, ReadingRow, Record, Site};

/// What a value usually is: from, to, in a unit.
type Usual = (f64, f64, &'static str);

/// A small tub for one holds some 400 L, a public pool of the largest kind some 50 m³.
const VOLUME: Usual = (200.0, 100_000.0, "L");
/// A trickle, and the loop of the largest pool.
const FLOW: Usual = (1.0, 5000.0, "L/min");
/// Cold plunges are set to 5 °C; UL 1563, as quoted in code text, lets a spa's water be 40 °C at most.
const SETPOINT: Usual = (3.0, 40.0, "C");
/// Old rough iron has a Hazen-Williams C of 60 to 80, new plastic 150 (textbook tables; from memory).
const ROUGHNESS: Usual = (60.0, 160.0, "");
/// Water of a spa is neither ice nor hot enough to scald within seconds.
const TEMPERATURE: Usual = (0.0, 50.0, "C");
/// A skimmer's cartridge has about 1 m²; a bank of cartridges 100 m².
const FILTER_AREA: Usual = (0.05, 100.0, "m2");
/// Vessels of spa filters are made for some 4 bar; gauges end at 4 or 6.
const PRESSURE: Usual = (0.0, 6.0, "bar");
/// Half-inch hose to an eight-inch main.
const PIPE_SIZE: Usual = (10.0, 200.0, "mm");
/// A loop within a building.
const PIPE_LENGTH: Usual = (0.1, 500.0, "m");
/// Feet of the smallest and of the largest motor of NEMA's fractional frames and the next above.
const BOLT_SPACING: Usual = (40.0, 400.0, "mm");
/// More than a hundred bathers an hour use no one spa.
const BATHERS: Usual = (0.0, 1000.0, "/day");
/// A circulation pump takes some tens of watts, the largest jet pump 6 kW.
const PUMP_POWER: Usual = (0.005, 20.0, "kW");
/// Heaters of pools end at 100 kW.
const EQUIPMENT_POWER: Usual = (0.005, 200.0, "kW");
/// From a transformer's 12 V to three phases at 690 V.
const VOLTAGE: Usual = (10.0, 700.0, "V");
/// A pump on a household's fuse takes at most 32 A; three phases of the largest some tens.
const CURRENT: Usual = (0.05, 100.0, "A");
/// A motor takes three times its rated current only while it starts or is stuck.
const CURRENT_OVER_RATED: f64 = 3.0;
/// Days out of service up to one visit's day.
const DOWN_DAYS: i64 = 366;
/// The most that is told of one site: more is no help.
const MOST: usize = 50;
/// Per kWh, in currencies of which one buys about as much as a dollar or a pound.
const ELECTRICITY: f64 = 3.0;
/// Those currencies.
const LIKE_A_DOLLAR: [&str; 10] = ["AUD", "BND", "CAD", "CHF", "EUR", "FKP", "GBP", "NZD", "SGD", "USD"];

/// What readings usually are.
fn usual_reading(quantity: Quantity) -> Option<Usual> {
    Some(match quantity {
        // A counter may show anything; what it gains is looked at elsewhere.
        Quantity::Hours | Quantity::HoursLow | Quantity::HoursHigh => return None,
        Quantity::Current | Quantity::CurrentLow => (0.0, CURRENT.1, "A"),
        Quantity::Pressure => PRESSURE,
        // A blocked filter may let nothing through.
        Quantity::Flow => (0.0, FLOW.1, "L/min"),
        Quantity::Temperature => TEMPERATURE,
        // Test kits show 6.8 to 8.2; water outside 4 to 10 eats or burns.
        Quantity::Ph => (4.0, 10.0, ""),
        // Doses to shock water reach 10 to 20 mg/L.
        Quantity::FreeChlorine | Quantity::Bromine => (0.0, 50.0, "mg/L"),
        Quantity::CombinedChlorine => (0.0, 20.0, "mg/L"),
        // The hardest tap water has some 500 mg/L.
        Quantity::Alkalinity => (0.0, 1000.0, "mg/L"),
        Quantity::Hardness => (0.0, 2500.0, "mg/L"),
        // The sea has 35 000 mg/L.
        Quantity::Tds => (0.0, 40_000.0, "mg/L"),
        // Probes show 100 mV in fouled water and below 1000 mV in any.
        Quantity::Redox => (50.0, 1100.0, "mV"),
    })
}

const ASKED: &str = "are the number and its unit right?";

/// What is said of a value outside what is usual.
fn outside(name: &str, at: &str, value: f64, usual: Usual) -> Option<String> {
    let (low, high, unit) = usual;
    // What is at a bound but for a conversion of units is within it.
    let slack = 1e-9 * (high - low);
    if (low - slack..=high + slack).contains(&value) {
        return None;
    }
    let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
    let of = if at.is_empty() { String::new() } else { format!(" of `{at}`") };
    let (value, low, high) = (short(value), short(low), short(high));
    Some(format!("`{name}`{of} is {value}{unit}; such a value usually lies between {low} and {high}{unit}"))
}

/// Of a value asked about twice, for its size and for how it is written, what says how to write it stays. The
/// diagnostics are in order.
pub(crate) fn one_question_a_value(all: &mut Vec<Diagnostic>) {
    let asks = |diagnostic: &Diagnostic| diagnostic.rule == Rule::UnlikelyValue && diagnostic.spot.is_some();
    let mut of_writing: Vec<(String, Option<Spot>)> = Vec::new();
    for diagnostic in all.iter().filter(|d| asks(d) && d.hint.as_deref() != Some(ASKED)) {
        of_writing.push((diagnostic.file.clone(), diagnostic.spot));
    }
    all.retain(|d| {
        !asks(d) || d.hint.as_deref() != Some(ASKED) || !of_writing.iter().any(|(f, s)| *f == d.file && *s == d.spot)
    });
}

fn short(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn told(file: &str, message: String) -> Diagnostic {
    let mut diagnostic = plain(Severity::Warning, Rule::UnlikelyValue, file, message);
    diagnostic.hint = Some(ASKED.to_owned());
    diagnostic
}

/// What is unlikely in what stands there, by the field's path inside the spa.
fn of_spa(spa: &SpaFile, at: &str) -> Vec<(String, String)> {
    let mut found = Vec::new();
    let mut look = |path: &str, value: Option<f64>, usual: Usual| {
        let (thing, name) = path.rsplit_once('.').unwrap_or(("", path));
        let id = thing.rsplit('.').next().filter(|_| !thing.is_empty() && thing != "pipe");
        let at =
            id.map_or_else(|| at.to_owned(), |id| if at.is_empty() { id.to_owned() } else { format!("{at}/{id}") });
        if let Some(message) = value.and_then(|value| outside(name, &at, value, usual)) {
            found.push((path.to_owned(), message));
        }
    };
    look("volume", spa.volume.map(|v| v.0.get::<liter>()), VOLUME);
    look("stated_flow", spa.stated_flow.map(|f| f.0.get::<liter_per_minute>()), FLOW);
    look("setpoint", spa.setpoint.map(|t| t.0.get::<degree_celsius>()), SETPOINT);
    look("bathers", spa.bathers.map(|b| b.times), BATHERS);
    if let Some(pipe) = &spa.pipe {
        look("pipe.size", pipe.size.map(|l| l.0.get::<millimeter>()), PIPE_SIZE);
        look("pipe.length", pipe.length.map(|l| l.0.get::<meter>()), PIPE_LENGTH);
        look("pipe.c", pipe.c.map(|c| c.0), ROUGHNESS);
    }
    for (id, filter) in spa.filters.iter() {
        look(&format!("filters.{id}.area"), filter.area.map(|a| a.0.get::<square_meter>()), FILTER_AREA);
        look(&format!("filters.{id}.clean_pressure"), filter.clean_pressure.map(|p| p.0.get::<bar>()), PRESSURE);
    }
    for (id, pump) in spa.pumps.iter() {
        look(&format!("pumps.{id}.bolt_spacing"), pump.bolt_spacing.map(|l| l.0.get::<millimeter>()), BOLT_SPACING);
    }
    for (id, item) in spa.equipment.iter() {
        look(&format!("equipment.{id}.power"), item.power.map(|p| p.0.get::<kilowatt>()), EQUIPMENT_POWER);
    }
    let known = |size: &crate::units::Length| hydraulics::schedule_40_bore(size.0).is_some();
    if let Some(size) = spa.pipe.as_ref().and_then(|pipe| pipe.size).filter(|size| !known(size)) {
        let message = format!(
            "`size` is {} in, and no Schedule 40 pipe has that nominal size: its bore is not known, so neither flow nor velocity \
             can be calculated",
            short(size.0.get::<inch>())
        );
        found.push(("pipe.size".to_owned(), message));
    }
    found
}

/// What is unlikely in the spas of a site's own file.
pub(crate) fn spas<'a>(all: impl Iterator<Item = (&'a str, &'a SpaFile)>, source: &SourceText) -> Vec<Diagnostic> {
    let of_site = all.flat_map(|(id, spa)| of_spa(spa, id).into_iter().map(move |(path, said)| (id, path, said)));
    of_site
        .take(MOST)
        .map(|(id, path, message)| {
            let mut diagnostic = told(&source.file, message);
            diagnostic.spot = source.find_text(&format!("spas.{id}.{path}"));
            diagnostic.excerpt = diagnostic.spot.and_then(|spot| source.line(spot.line));
            diagnostic
        })
        .collect()
}

/// What is unlikely in the files all sites share.
pub(crate) fn shared(fleet: &Fleet, types: &BTreeMap<String, SpaFile>, folder: &Folder) -> Vec<Diagnostic> {
    let mut found: Vec<(&str, String, String)> = Vec::new();
    for (name, spa) in types {
        found.extend(
            of_spa(spa, "").into_iter().map(|(path, said)| ("tubs.yaml", format!("types.{name}.{path}"), said)),
        );
    }
    for (name, model) in &fleet.models {
        let mut look = |field: &str, value: Option<f64>, usual: Usual| {
            let last = field.rsplit('.').next().unwrap_or(field);
            if let Some(message) = value.and_then(|value| outside(last, name, value, usual)) {
                found.push(("pumps.yaml", format!("models.{name}.{field}"), message));
            }
        };
        look("power", model.power.map(|p| p.0.get::<kilowatt>()), PUMP_POWER);
        look("supply.voltage", model.supply.and_then(|s| s.voltage).map(|v| v.0.get::<volt>()), VOLTAGE);
        for (field, current) in [
            ("current.run", model.current.run),
            ("current.low", model.current.low),
            ("current.high", model.current.high),
        ] {
            look(field, current.map(|c| c.0.get::<ampere>()), CURRENT);
        }
        for (field, points) in [("curve", &model.curve), ("low_curve", &model.low_curve)] {
            let points: Vec<CurvePoint> =
                points.iter().map(|p| CurvePoint { flow: p.flow.0, head: p.head.0 }).collect();
            if let Some(error) = PumpCurve::new(&points).err().filter(|_| !points.is_empty()) {
                let message =
                    format!("the `{field}` of {name} is no pump's, so no flow can be calculated by it: {error}");
                found.push(("pumps.yaml", format!("models.{name}.{field}"), message));
            }
        }
    }
    let currency = fleet.settings.currency.0.as_str();
    let prices = fleet.settings.electricity.iter().flat_map(Dated::values);
    let highest = prices.filter_map(|price| price.0.to_string().parse::<f64>().ok()).fold(0.0, f64::max);
    if highest > ELECTRICITY && LIKE_A_DOLLAR.contains(&currency) {
        let message = format!(
            "`electricity` is {} {currency} per kWh; such a price is usually below {ELECTRICITY} {currency}",
            short(highest)
        );
        found.push(("fleet.yaml", "electricity".to_owned(), message));
    }
    found
        .into_iter()
        .take(MOST)
        .map(|(file, path, message)| {
            let mut diagnostic = told(file, message);
            place(&mut diagnostic, folder, &path);
            diagnostic
        })
        .collect()
}

/// What is unlikely in a site's readings and visits, once for each place and quantity, with its first record.
pub(crate) fn readings(fleet: &Fleet, site: &Site, source: &SourceText, folder: &Folder) -> Vec<Diagnostic> {
    let mut diagnostics = Vec::new();
    for (at, rows) in &site.readings {
        let pump = site.spas.iter().flat_map(|spa| &spa.pumps).find(|pump| pump.at == *at);
        let mut seen: BTreeMap<Quantity, usize> = BTreeMap::new();
        for row in rows {
            let Some(usual) = bounds(fleet, pump, row.quantity) else { continue };
            let Some(message) = outside(row.quantity.name(), at.as_str(), row.value, usual) else { continue };
            let known = seen.entry(row.quantity).or_default();
            *known += 1;
            if *known == 1 && diagnostics.len() < MOST {
                diagnostics.push(of_row(site, row, (at, message), source, folder));
            }
        }
    }
    for (index, visit) in &site.visits {
        for (at, entry) in visit.at.iter() {
            let Some(down) = entry.down else { continue };
            let days = days_between(visit.date.0, add(visit.date.0, down));
            if days > DOWN_DAYS && diagnostics.len() < MOST {
                let message = format!("`{at}` was down for {days} days up to {}: over a year", visit.date);
                let mut diagnostic = told(&source.file, message);
                diagnostic.spot = source.find_text(&format!("log[{index}].at.{at}.down"));
                diagnostic.excerpt = diagnostic.spot.and_then(|spot| source.line(spot.line));
                diagnostics.push(diagnostic);
            }
        }
    }
    diagnostics
}

/// What a reading usually is, of a pump beside what its model's plate says.
fn bounds(fleet: &Fleet, pump: Option<&Pump>, quantity: Quantity) -> Option<Usual> {
    let usual = usual_reading(quantity)?;
    let currents = pump.and_then(|pump| fleet.model(pump)).map(|model| model.current);
    let rated = match quantity {
        Quantity::Current => currents.and_then(|c| c.run.or(c.high)),
        Quantity::CurrentLow => currents.and_then(|c| c.low),
        _ => None,
    };
    Some(rated.map_or(usual, |rated| (usual.0, CURRENT_OVER_RATED * rated.0.get::<ampere>(), usual.2)))
}

fn of_row(
    site: &Site,
    row: &ReadingRow,
    (at, message): (&crate::address::Address, String),
    source: &SourceText,
    folder: &Folder,
) -> Diagnostic {
    match row.record {
        Record::Sheet(line) => {
            let mut diagnostic = told(&site.sheet, message);
            diagnostic.spot = Some(Spot { line: line as usize, column: 1, length: 1 });
            diagnostic.excerpt = folder.text(&site.sheet, LARGEST_SHEET).ok().and_then(|text| text.line(line as usize));
            diagnostic
        }
        Record::Log(visit) => {
            let mut diagnostic = told(&source.file, message);
            let after = if row.after { "after." } else { "" };
            diagnostic.spot = source.find_text(&format!("log[{visit}].at.{at}.{after}{}", row.quantity.name()));
            diagnostic.excerpt = diagnostic.spot.and_then(|spot| source.line(spot.line));
            diagnostic
        }
        _ => told(&source.file, message),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::load::Shared;

    /// What is said of a site, of what all share, and how many there are of each rule.
    fn said(fleet: &str, spa: &str, log: &str, sheet: &str) -> Vec<String> {
        let folder = tempfile::tempdir().unwrap();
        let write = |name: &str, text: &str| {
            fs_err::create_dir_all(folder.path().join(name).parent().unwrap()).unwrap();
            fs_err::write(folder.path().join(name), text).unwrap();
        };
        write("fleet.yaml", &format!("format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\n{fleet}"));
        write("pumps.yaml", "format: 1\nmodels:\n  M: {speeds: 1, current: {run: 1.6 A}}\n");
        let pump = "pumps: {p: {model: M, duty: filtration, program: {run: 8 h/day}}}";
        write("sites/quay.yaml", &format!("format: 1\nspas:\n  a: {{fitted: 2022, {pump}{spa}}}\nlog:\n{log}"));
        if !sheet.is_empty() {
            write("readings/quay.csv", sheet);
        }
        let shared = Shared::load(folder.path()).unwrap();
        let of_site = shared.read_site(&shared.sites[0]).map_or_else(|wrong| wrong, |site| site.diagnostics);
        shared.diagnostics.iter().chain(&of_site).map(Diagnostic::one_line).collect()
    }

    #[test]
    fn what_is_far_from_the_usual_is_asked_about_once_where_it_stands() {
        for (fleet, spa, log, sheet, told) in [
            (
                "",
                ", setpoint: 104 C",
                "  []\n",
                "",
                "sites/quay.yaml:3:98: warning[unlikely-value]: `setpoint` of `a` is 104 C",
            ),
            ("", ", volume: 1.250 L", "  []\n", "", "`1.250 L` is read with a decimal point"),
            (
                "",
                ", volume: 12 L",
                "  []\n",
                "",
                "`volume` of `a` is 12 L; such a value usually lies between 200 and 100000 L",
            ),
            (
                "",
                "",
                "  - {date: 2026-01-01, at: {a: {ph: 0.74}}}\n",
                "",
                "sites/quay.yaml:5:37: warning[unlikely-value]: `ph` of `a` is 0.74",
            ),
            ("", "", "  - {date: 2026-01-01, at: {a: {temperature: 101}}}\n", "", "`temperature` of `a` is 101 C"),
            (
                "",
                "",
                "  - {date: 2026-01-01, at: {a: {temperature: 38, after: {temperature: 101}}}}\n",
                "",
                ":5:71: warning",
            ),
            (
                "",
                "",
                "  - {date: 2026-01-01, at: {a/p: {current: 150}}}\n",
                "",
                "`current` of `a/p` is 150 A; such a value usually lies between 0 and 4.8 A",
            ),
            (
                "",
                "",
                "  - {date: 2026-01-01, at: {a/p: {down: 900 d}}}\n",
                "",
                "`a/p` was down for 900 days up to 2026-01-01",
            ),
            (
                "",
                "",
                "  []\n",
                "date,at,pressure\n2026-01-01,a,35\n2026-01-02,a,36\n",
                "readings/quay.csv:2:1: warning[unlikely-value]: `pressure` of `a` is 35 bar",
            ),
            (
                "electricity: {2025-01-01: 0.26, 2026-01-01: 28}\n",
                "",
                "  []\n",
                "",
                "fleet.yaml:5:1: warning[unlikely-value]: `electricity` is 28 GBP per kWh",
            ),
        ] {
            let all = said(fleet, spa, log, sheet);
            assert_eq!(all.len(), 1, "{told}: {all:?}");
            assert!(all[0].contains(told), "{told}: {all:?}");
        }
    }

    #[test]
    fn what_is_usual_is_not_asked_about() {
        let spa = ", setpoint: 104 F, volume: 1250 L, stated_flow: 110 L/min, filters: {main: {kind: cartridge, area: 9.6 m2}}";
        let log = "  - {date: 2026-01-01, at: {a: {ph: 6.9, temperature: 39, free_chlorine: 12, redox: 720}, a/p: {current: 1.9, hours: 9}}}\n";
        assert_eq!(said("electricity: 0.29\n", spa, log, ""), Vec::<String>::new());
    }
}
