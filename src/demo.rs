//! An invented fleet of any size, to try the program on and to measure it.
//!
//! Everything in it is made up and its files say so. Each site draws from a stream of its own, so that
//! site k is the same whatever the number of sites. It writes nothing; it gives files as text.

use std::fmt::Write as _;

use chrono::{Datelike, NaiveDate, Weekday};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::calendar::{Month, days_between, plus_days};

/// What kind of fleet is made.
#[derive(Debug, Clone, Copy)]
pub struct Plan {
    /// How many sites.
    pub sites: u32,
    /// How many years of records.
    pub years: u32,
    /// The seed.
    pub seed: u64,
    /// Counter readings a day of each pump.
    pub readings_per_day: f64,
}

/// A file of the fleet.
#[derive(Debug, Clone)]
pub struct DemoFile {
    /// Its path inside the fleet's folder.
    pub path: String,
    /// Its text.
    pub text: String,
}

const PUMPS: &str = include_str!("../data/demo/pumps.yaml");
const TUBS: &str = include_str!("../data/demo/tubs.yaml");
const UPKEEP: &str = include_str!("../data/demo/upkeep.yaml");
const FLEET: &str = "\
# An invented fleet, made by the program for trying it: no such firm, customer, place or machine exists.
format: 1
fleet: Invented Spa Care
prepared_by: Invented Spa Care, workshop office
seed: 1
currency: GBP
timezone: Europe/London
limits: uk
electricity: {2000-01-01: 0.26, 2026-04-01: 0.28}
tax: {name: VAT, rate: 0.20}
typed_in: {hours: h, current: A, pressure: bar, flow: L/min, temperature: C}
labour: {cost: 24.00, charge: 46.00, callout: 95.00, out_of_hours: 1.5}
technicians:
  dan: {name: Dan, days: [mon, tue, wed, thu, fri], hours_per_day: 7 h, skills: [electrician]}
  ines: {name: Ines, days: [mon, tue, wed, thu, fri], hours_per_day: 7 h}
";

/// The last day of its records.
fn last_day() -> NaiveDate {
    Month::last("2026-10".parse().unwrap_or(Month::of(NaiveDate::MIN)))
}

/// The files of a fleet: what all sites share, then site by site.
pub fn files(plan: &Plan) -> impl Iterator<Item = DemoFile> {
    let plan = *plan;
    let mut customers = "# Invented customers.\nformat: 1\ncustomers:\n".to_owned();
    for number in 0..plan.sites.div_ceil(SITES_OF_A_CUSTOMER) {
        let _ = writeln!(customers, "  customer-{number}: {{name: Invented Customer {number}}}");
    }
    let shared = [
        ("fleet.yaml", fleet(plan.sites)),
        ("pumps.yaml", PUMPS.to_owned()),
        ("tubs.yaml", TUBS.to_owned()),
        ("upkeep.yaml", UPKEEP.to_owned()),
        ("customers.yaml", customers),
    ];
    let shared = shared.into_iter().map(|(path, text)| DemoFile { path: path.to_owned(), text });
    shared.chain((0..plan.sites).flat_map(move |number| site(&plan, number)))
}

const SITES_OF_A_CUSTOMER: u32 = 10;

/// Two technicians can see to about so many sites.
const SITES_OF_TWO: u32 = 50;

/// `fleet.yaml` with as many technicians as so many sites need.
fn fleet(sites: u32) -> String {
    let mut text = FLEET.to_owned();
    for pair in 2..=sites.div_ceil(SITES_OF_TWO) {
        for (id, name, skills) in [("dan", "Dan", ", skills: [electrician]"), ("ines", "Ines", "")] {
            let _ = writeln!(
                text,
                "  {id}-{pair}: {{name: {name} {pair}, days: [mon, tue, wed, thu, fri], hours_per_day: 7 h{skills}}}"
            );
        }
    }
    text
}

/// How a kind of site is used.
struct Kind {
    used_as: &'static str,
    spa_type: &'static str,
    /// Hours a day of the jets, without and with guests.
    jets: (f64, f64),
    /// Flow with a clean filter, L/min, and the gauge, bar.
    flow: f64,
    clean: f64,
    filtration_current: f64,
    jets_current: f64,
}

const KINDS: [Kind; 3] = [
    Kind {
        used_as: "rental",
        spa_type: "six-seat",
        jets: (1.0 / 6.0, 2.0 / 3.0),
        flow: 112.0,
        clean: 0.35,
        filtration_current: 1.8,
        jets_current: 9.6,
    },
    Kind {
        used_as: "rental",
        spa_type: "four-seat",
        jets: (1.0 / 6.0, 2.0 / 3.0),
        flow: 76.0,
        clean: 0.29,
        filtration_current: 1.5,
        jets_current: 9.6,
    },
    Kind {
        used_as: "hotel",
        spa_type: "eight-seat",
        jets: (3.0, 3.0),
        flow: 285.0,
        clean: 0.46,
        filtration_current: 3.8,
        jets_current: 18.4,
    },
];

/// A pump while its days are drawn.
struct PumpNow {
    id: &'static str,
    counter: f64,
    /// Its hours over those of the program.
    level: f64,
    current: f64,
}

fn site(plan: &Plan, number: u32) -> Vec<DemoFile> {
    let mut draw = ChaCha8Rng::seed_from_u64(plan.seed);
    draw.set_stream(u64::from(number));
    let end = last_day();
    let start = plus_days(end, -(i64::from(plan.years) * 365));
    let kind = &KINDS[draw.random_range(0..KINDS.len())];
    let id = format!("site-{number:05}");
    let closes = kind.used_as == "hotel" && draw.random_bool(0.2);
    let stays = if kind.used_as == "rental" { stays(&mut draw, start, plus_days(end, 120)) } else { Vec::new() };
    let mut head = format!(
        "# Invented.\nformat: 1\nname: Invented Site {number}\ncustomer: customer-{}\nuse: {}\narea: area-{}\nrecords_from: {start}\n",
        number / SITES_OF_A_CUSTOMER,
        kind.used_as,
        number / 25
    );
    let closed = |day: NaiveDate| closes && (day.month() == 1 || (day.month() == 2 && day.day() <= 14));
    if closes {
        head.push_str("closed:\n");
        for year in start.year()..=end.year() {
            let _ = writeln!(head, "  - {{from: {year}-01-01, to: {year}-02-14, drained: true}}");
        }
    }
    head.push_str("spas:\n");
    let mut log: Vec<(NaiveDate, String)> = Vec::new();
    let mut rows: Vec<(NaiveDate, u32, String)> = Vec::new();
    for spa in 0..draw.random_range(1..=2u32) {
        let spa = ["terrace", "garden"][spa as usize];
        let fitted = plus_days(start, -draw.random_range(200..1400i64));
        let days = days_between(fitted, start) as f64;
        let _ = writeln!(
            head,
            "  {spa}:\n    type: {}\n    fitted: {fitted}\n    bathers: 4 /day\n    filters: {{main: {{fitted: {fitted}}}}}\n    pumps:",
            kind.spa_type
        );
        let mut pumps = [
            PumpNow {
                id: "filtration",
                counter: 0.0,
                level: draw.random_range(0.96..0.995),
                current: kind.filtration_current,
            },
            PumpNow { id: "jets-1", counter: 0.0, level: draw.random_range(0.8..1.2), current: kind.jets_current },
        ];
        pumps[0].counter = days * 24.0 * pumps[0].level;
        pumps[1].counter = days * f64::midpoint(kind.jets.0, kind.jets.1) * pumps[1].level;
        for pump in &pumps {
            let _ = writeln!(head, "      {}: {{fitted: {fitted}, meter: {{digits: 5, at_fitting: 0 h}}}}", pump.id);
        }
        spa_days(plan, &mut draw, kind, spa, (start, end), &closed, &stays, &mut pumps, &mut log, &mut rows);
    }
    log.sort_by_key(|(day, _)| *day);
    rows.sort_by_key(|(day, minute, _)| (*day, *minute));
    if !log.is_empty() {
        head.push_str("log:\n");
    }
    head.extend(log.into_iter().map(|(_, entry)| entry));
    let mut files = vec![DemoFile { path: format!("sites/{id}.yaml"), text: head }];
    if !rows.is_empty() {
        let mut sheet = "date,time,at,hours\n".to_owned();
        for (day, minute, rest) in rows {
            let _ = writeln!(sheet, "{day},{:02}:{:02},{rest}", minute / 60, minute % 60);
        }
        files.push(DemoFile { path: format!("readings/{id}.csv"), text: sheet });
    }
    if !stays.is_empty() {
        files.push(DemoFile { path: format!("bookings/{id}.ics"), text: calendar_of(&id, &stays) });
    }
    files
}

/// Draws a spa's days: what its pumps run, what is read of them, what is done.
#[expect(clippy::too_many_arguments, reason = "the state of one site, used in one place")]
fn spa_days(
    plan: &Plan,
    draw: &mut ChaCha8Rng,
    kind: &Kind,
    spa: &str,
    (start, end): (NaiveDate, NaiveDate),
    closed: &dyn Fn(NaiveDate) -> bool,
    stays: &[(NaiveDate, NaiveDate)],
    pumps: &mut [PumpNow; 2],
    log: &mut Vec<(NaiveDate, String)>,
    rows: &mut Vec<(NaiveDate, u32, String)>,
) {
    let mut fouling = 0.0;
    let fouls = draw.random_range(0.002..0.006);
    for ahead in 1..=days_between(start, end) {
        let day = plus_days(start, ahead);
        if closed(day) {
            continue;
        }
        fouling += fouls;
        let occupied = stays.iter().any(|(from, to)| *from <= day && day < *to);
        let jets = if occupied { kind.jets.1 } else { kind.jets.0 };
        let mut broken = None;
        for (index, pump) in pumps.iter_mut().enumerate() {
            let by_program = if index == 0 { 24.0 } else { jets };
            let noise = if index == 0 { draw.random_range(0.99..1.005) } else { draw.random_range(0.7..1.3) };
            pump.counter += (by_program * pump.level * noise).min(24.0);
            if draw.random_bool(plan.readings_per_day.fract()) {
                let minute = draw.random_range(480..1080);
                rows.push((day, minute, format!("{spa}/{},{}", pump.id, shown(pump.counter))));
            }
            for _ in 0..plan.readings_per_day.trunc() as u32 {
                let minute = draw.random_range(480..1080);
                rows.push((day, minute, format!("{spa}/{},{}", pump.id, shown(pump.counter))));
            }
            if draw.random_bool(1.0 / 2500.0) {
                broken = Some(index);
            }
        }
        if let Some(index) = broken {
            let pump = &mut pumps[index];
            let showed = shown(pump.counter);
            let what = if draw.random_bool(0.2) {
                pump.counter = 0.0;
                format!("exchanged: {{because: failure, noticed: in_use}}, meter_reset: {{showed: {showed}, to: 0}}")
            } else {
                let part = if draw.random_bool(0.7) { "shaft_seal" } else { "motor_bearing" };
                format!("hours: {showed}, renewed: {{{part}: {{because: failure, noticed: in_use}}}}")
            };
            log.push((
                day,
                format!(
                    "  - {{date: {day}, by: dan, why: callout, at: {{{spa}/{}: {{{what}}}}}, labour: 2 h}}\n",
                    pump.id
                ),
            ));
        } else if day.weekday() == Weekday::Tue && day.day() <= 7 {
            log.push((day, visit(draw, kind, spa, day, pumps, &mut fouling)));
        }
    }
}

/// A planned visit.
fn visit(
    draw: &mut ChaCha8Rng,
    kind: &Kind,
    spa: &str,
    day: NaiveDate,
    pumps: &[PumpNow; 2],
    fouling: &mut f64,
) -> String {
    let mut entry = format!(
        "  - date: {day}\n    by: {}\n    why: planned\n    at:\n",
        ["dan", "ines"][draw.random_range(0..2usize)]
    );
    let _ = writeln!(
        entry,
        "      {spa}: {{ph: {:.1}, free_chlorine: {:.1}, temperature: {:.1}, done: [water_change]}}",
        draw.random_range(7.1..7.6),
        draw.random_range(3.0..4.8),
        draw.random_range(37.2..38.6)
    );
    let renewed = if day.month() == 4 { ", renewed: [cartridge]" } else { "" };
    let _ = writeln!(
        entry,
        "      {spa}/main: {{pressure: {:.2}, flow: {:.0}, done: [filter_clean]{renewed}, after: {{pressure: {:.2}}}}}",
        kind.clean + *fouling,
        kind.flow * (1.0 - 0.6 * *fouling) * draw.random_range(0.98..1.02),
        kind.clean
    );
    *fouling = 0.0;
    for pump in pumps {
        let current = pump.current * draw.random_range(0.97..1.03);
        let _ = writeln!(entry, "      {spa}/{}: {{hours: {}, current: {current:.2}}}", pump.id, shown(pump.counter));
    }
    entry.push_str("    labour: 1.5 h\n");
    entry
}

/// A counter of five digits and tenths.
fn shown(counter: f64) -> String {
    format!("{:.1}", (counter * 10.0).floor() / 10.0 % 100_000.0)
}

/// Stays drawn week by week, fuller in summer.
fn stays(draw: &mut ChaCha8Rng, start: NaiveDate, end: NaiveDate) -> Vec<(NaiveDate, NaiveDate)> {
    let mut all = Vec::new();
    let mut friday = plus_days(start, 4 - i64::from(start.weekday().num_days_from_monday()));
    let popular = draw.random_range(0.35..0.6);
    while friday < end {
        let season = f64::cos((f64::from(friday.ordinal()) - 210.0) / 365.0 * std::f64::consts::TAU);
        let share: f64 = popular + 0.3 * season;
        let monday = plus_days(friday, 3);
        if draw.random_bool(share.clamp(0.05, 0.95)) {
            all.push((friday, monday));
        }
        if draw.random_bool((share - 0.15).clamp(0.02, 0.9)) {
            all.push((monday, plus_days(monday, 4)));
        }
        friday = plus_days(friday, 7);
    }
    all
}

fn calendar_of(site: &str, stays: &[(NaiveDate, NaiveDate)]) -> String {
    let mut text =
        "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Invented sample fleet//Bookings//EN\r\nCALSCALE:GREGORIAN\r\n"
            .to_owned();
    for (index, (from, to)) in stays.iter().enumerate() {
        let plain = |day: &NaiveDate| day.format("%Y%m%d").to_string();
        let _ = write!(
            text,
            "BEGIN:VEVENT\r\nUID:{site}-{index:04}@bookings.invalid\r\nDTSTAMP:20261031T080000Z\r\nDTSTART;VALUE=DATE:{}\r\nDTEND;VALUE=DATE:{}\r\nSUMMARY:Booked\r\nEND:VEVENT\r\n",
            plain(from),
            plain(to)
        );
    }
    text.push_str("END:VCALENDAR\r\n");
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::NewFolder;
    use crate::records::load::Shared;

    fn of_site(sites: u32, number: u32) -> Vec<(String, String)> {
        let plan = Plan { sites, years: 2, seed: 7, readings_per_day: 0.27 };
        let mine = |path: &str| path.contains(&format!("site-{number:05}"));
        files(&plan).filter(|file| mine(&file.path)).map(|file| (file.path, file.text)).collect()
    }

    #[test]
    fn a_site_is_the_same_whatever_their_number() {
        assert_eq!(of_site(4, 3), of_site(11, 3));
        assert_ne!(of_site(4, 2)[0].1, of_site(4, 3)[0].1);
    }

    #[test]
    fn twenty_sites_pass_the_check_without_a_word() {
        let folder = tempfile::tempdir().unwrap();
        let tree = NewFolder::create(&folder.path().join("fleet")).unwrap();
        let plan = Plan { sites: 20, years: 3, seed: 1, readings_per_day: 0.27 };
        let mut rows = 0;
        for file in files(&plan) {
            rows += if file.path.starts_with("readings/") { file.text.lines().count() - 1 } else { 0 };
            tree.write(&file.path, file.text.as_bytes()).unwrap();
        }
        let shared = Shared::load(&folder.path().join("fleet")).unwrap();
        assert_eq!(shared.sites.len(), 20);
        let mut told: Vec<String> = shared.diagnostics.iter().map(crate::diagnostic::Diagnostic::one_line).collect();
        let mut pumps = 0;
        for files in &shared.sites {
            let site = shared.read_site(files).unwrap();
            told.extend(site.diagnostics.iter().map(crate::diagnostic::Diagnostic::one_line));
            pumps += site.spas.iter().map(|spa| spa.pumps.len()).sum::<usize>();
        }
        assert!(told.is_empty(), "{told:?}");
        // About a hundred rows a pump and year.
        let each = rows as f64 / (pumps as f64 * 3.0);
        assert!((80.0..110.0).contains(&each), "{each}");
        // What is there is not written over.
        assert!(NewFolder::create(&folder.path().join("fleet")).is_err());
    }
}
