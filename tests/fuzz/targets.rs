//! What is run on inputs made by chance, and what must hold of each.

use std::collections::BTreeSet;

use chrono::Datelike;
use tubwright::address::{Address, Id};
use tubwright::calendar;
use tubwright::quantities;
use tubwright::records::append::{NewVisit, Value, append};
use tubwright::records::bookings;
use tubwright::records::forms::{Fitted, Money};
use tubwright::records::load::Shared;
use tubwright::records::log::{TimeOfDay, TypedUnits};
use tubwright::records::readings;
use tubwright::records::site::SiteFile;
use tubwright::records::yaml::{self, Reading};
use tubwright::records::{customers, fleet, pumps, tubs, upkeep};
use tubwright::units::{
    Area, Concentration, Current, Daily, Duration, FilterRate, Flow, Length, PerDay, Period, Power, Pressure, Redox,
    Temperature, Typed, Velocity, Voltage, Volume, Written,
};

use super::engine::{Seeds, run};
use crate::support::{Fleet, demo, fixtures};

/// Words that mean something in YAML and in the records.
const YAML_WORDS: &[&str] = &[
    "format: 1\n",
    "spas:",
    "log:\n",
    "- date: 2026-09-30\n",
    "at:",
    "{",
    "}",
    "[",
    "]",
    ": ",
    ", ",
    "- ",
    "? ",
    "&a ",
    "*a",
    "!!int ",
    "%YAML 1.2\n",
    "---\n",
    "...\n",
    "|\n",
    ">-\n",
    "'",
    "\"",
    "\\",
    "#",
    "~",
    "null",
    "true",
    "yes",
    "<<: ",
    "\t",
    "\r\n",
    "\u{feff}",
    "\u{2028}",
    "\0",
    "é",
    "x-own: ",
    "note: ",
    "2026-02-29",
    "0000-01-01",
    "9999-12-31",
    "before 2024-01-01",
    "unknown",
    "2022-05",
    "1250 L",
    "330 gal",
    "24 h/day",
    "1e999 L",
    "-5 bar",
    "06:60",
    "23:59-00:01",
    "terrace/main",
    "../..",
    "hours: 5",
    "exchanged: {because: failure}",
    "meter_reset: {showed: 5, to: 0}",
    "removed: true",
    "renewed: [shaft_seal]",
    "done: [filter_clean]",
    "here: false",
    "type: six-seat",
    "program: {run: 24 h/day}",
    "occupied: {high: 10 min/day}",
    "meter: {digits: 5, at_fitting: 0 h}",
    "down: 2 d",
    "model: J-200",
];

fn has_ending(path: &str, ending: &str) -> bool {
    std::path::Path::new(path).extension().is_some_and(|found| found == ending)
}

fn read(path: &std::path::Path) -> Vec<u8> {
    std::fs::read(path).unwrap()
}

/// The files of a kind among the fixtures, and the demo's, shortened: chance needs short inputs.
fn corpus(matching: &dyn Fn(&str) -> bool) -> Vec<Vec<u8>> {
    let mut all = Vec::new();
    for folder in [demo(), fixtures("invalid"), fixtures("silent"), fixtures("worked")] {
        let files = walkdir::WalkDir::new(folder).sort_by_file_name().into_iter().map(Result::unwrap);
        for entry in files.filter(|entry| entry.file_type().is_file()) {
            if matching(&entry.path().to_string_lossy().replace('\\', "/")) {
                let mut bytes = read(entry.path());
                if let Some(end) =
                    bytes.iter().enumerate().filter(|(_, b)| **b == b'\n').nth(70).map(|(index, _)| index)
                {
                    bytes.truncate(end + 1);
                }
                all.push(bytes);
            }
        }
    }
    assert!(!all.is_empty());
    all
}

/// A message without what differs from input to input.
fn shape(message: &str) -> String {
    let mut quoted = false;
    let mut shape = String::new();
    for c in message.chars() {
        if c == '`' {
            quoted = !quoted;
        }
        if !quoted && !c.is_ascii_digit() {
            shape.push(c);
        }
    }
    shape
}

fn shapes<'a>(messages: impl Iterator<Item = &'a str>) -> String {
    messages.map(shape).collect::<BTreeSet<_>>().into_iter().collect::<Vec<_>>().join("|")
}

/// Reads a text as a type and holds what must hold of any reading.
fn yaml_as<T: serde::de::DeserializeOwned + std::fmt::Debug>(text: &str) -> String {
    let Reading { value, problems } = yaml::read::<T>(text, <[_]>::len);
    assert!(value.is_some() || !problems.is_empty(), "nothing is read and nothing said");
    assert!(problems.len() <= 300, "{} problems", problems.len());
    let lines = text.matches(['\n', '\r']).count() + 2;
    for problem in &problems {
        assert!(problem.spot.line >= 1 && problem.spot.line <= lines, "line {} of {lines}", problem.spot.line);
        assert!(problem.message.len() < 2000, "{}", problem.message);
        assert!(problem.left_out <= problem.path.len());
    }
    if problems.is_empty() && text.ends_with('\n') && !text.trim_start().starts_with(['{', '-']) {
        // The reader with places must read a good file the same.
        let slowly = yaml::read::<T>(&format!("{text}x-slowly: ' &a'\n"), <[_]>::len);
        if slowly.problems.is_empty() {
            assert_eq!(format!("{:?}", slowly.value), format!("{value:?}"), "the two readers differ");
        }
    }
    format!("{}{}", value.is_some(), shapes(problems.iter().map(|problem| problem.message.as_str())))
}

#[test]
fn yaml_of_shared_files() {
    type Target = fn(&str) -> String;
    let kinds: [(&str, Target); 5] = [
        ("/fleet.yaml", yaml_as::<fleet::FleetFile>),
        ("/tubs.yaml", yaml_as::<tubs::TubsFile>),
        ("/pumps.yaml", yaml_as::<pumps::PumpsFile>),
        ("/upkeep.yaml", yaml_as::<upkeep::UpkeepFile>),
        ("/customers.yaml", yaml_as::<customers::CustomersFile>),
    ];
    // The first byte says as which file the rest is read.
    let mut all = Vec::new();
    for (index, (name, _)) in kinds.iter().enumerate() {
        for text in corpus(&|path| path.ends_with(name)) {
            all.push([vec![b'0' + index as u8], text].concat());
        }
    }
    run("YAML of shared files", Seeds { corpus: all, words: YAML_WORDS }, |input| {
        let Some((first, rest)) = input.split_first() else { return String::new() };
        let Ok(text) = std::str::from_utf8(rest) else { return String::new() };
        let index = usize::from(first.wrapping_sub(b'0')) % kinds.len();
        format!("{index}{}", kinds[index].1(text))
    });
}

#[test]
fn yaml_of_sites_up_to_their_figures() {
    let shared = Fleet::without_sites().file("sites/quay-house.yaml", "format: 1\nspas: {a: {}}\n");
    for name in ["tubs.yaml", "pumps.yaml"] {
        std::fs::copy(demo().join(name), shared.at(name)).unwrap();
    }
    let shared = Shared::load(shared.path()).unwrap();
    let files = shared.sites[0].clone();
    let as_of = calendar::parse_date("2026-10-31").unwrap();
    let visit = NewVisit {
        before: vec![("date".to_owned(), Value::Plain("2026-10-20".to_owned()))],
        at: vec![("a".to_owned(), vec![("ph".to_owned(), Value::Plain("7.4".to_owned()))])],
        after: Vec::new(),
    };
    let seeds =
        Seeds { corpus: corpus(&|path| path.contains("/sites/") && has_ending(path, "yaml")), words: YAML_WORDS };
    run("YAML of sites, up to their figures", seeds, |input| {
        let Ok(text) = std::str::from_utf8(input) else { return String::new() };
        let said = yaml_as::<SiteFile>(text);
        // Appending must not make the file another one, whatever it is.
        let appended = append(text, &visit);
        // Blanks at its end may go.
        assert!(appended.len() > text.trim_end().len());
        let (found, lost) = match shared.read_site_as(&files, text.to_owned()) {
            Ok(site) => {
                let figures = quantities::spa_figures(&shared.fleet, &site.clone().as_of(as_of), as_of);
                let hours = figures.iter().flat_map(|spa| &spa.pumps).filter_map(|pump| pump.hours.as_ref());
                for month in hours.flat_map(|hours| &hours.months) {
                    let hours = month.hours.unwrap_or(0.0);
                    assert!((0.0..=744.001).contains(&hours), "{hours} h in {}", month.month);
                }
                (site.diagnostics, false)
            }
            Err(found) => (found, true),
        };
        for diagnostic in &found {
            let (short, full) = (diagnostic.one_line(), diagnostic.full(false));
            assert!(!short.contains(|c: char| c.is_control()), "{short:?}");
            assert!(full.len() < 20_000, "{} bytes are said", full.len());
        }
        format!("{said}{lost}{}", shapes(found.iter().map(|d| d.message.as_str())))
    });
}

const TYPED: TypedUnits = TypedUnits { hours: "h", pressure: "bar", flow: "L/min", temperature: "C" };
const SHEET_WORDS: &[&str] = &[
    ",",
    "\n",
    "\r\n",
    "\"",
    "\"\"",
    ";",
    "\t",
    "date",
    "at",
    "time",
    "hours [min]",
    "flow [gpm]",
    "ph",
    "note",
    "x-own",
    "2026-02-30",
    "2026-09-30",
    "09:10-10:25",
    "terrace/main",
    "\u{feff}",
    "é",
    "1e999",
    "-1",
    "nan",
    "0.47 bar",
    "7,4",
    "site",
    "spa",
    "type",
];

#[test]
fn sheets() {
    let seeds = Seeds { corpus: corpus(&|path| has_ending(path, "csv")), words: SHEET_WORDS };
    run("sheets", seeds, |input| {
        let Ok(text) = std::str::from_utf8(input) else { return String::new() };
        let lines = text.split('\n').count() + 1;
        let (sheet, problems) = readings::read_readings(text, &TYPED);
        for row in &sheet.readings {
            assert!(row.value.is_finite() && row.line as usize <= lines, "{row:?}");
            assert!(calendar::YEARS.contains(&row.day.year()), "{row:?}");
        }
        for problem in &problems {
            assert!((1..=lines).contains(&problem.spot.line), "line {} of {lines}", problem.spot.line);
            assert!(problem.message.len() < 1000, "{}", problem.message);
        }
        let mut said =
            format!("{}{}", sheet.readings.len().min(2), shapes(problems.iter().map(|p| p.message.as_str())));
        match readings::read_sites(text) {
            Ok(all) => {
                let wrong = all.iter().filter_map(|(_, line)| line.as_ref().err());
                said.push_str(&shapes(wrong.map(|problem| problem.message.as_str())));
            }
            Err(problem) => said.push_str(&shape(&problem.message)),
        }
        said
    });
}

const CALENDAR_WORDS: &[&str] = &[
    "BEGIN:VCALENDAR\r\n",
    "END:VCALENDAR\r\n",
    "BEGIN:VEVENT\r\n",
    "END:VEVENT\r\n",
    "BEGIN:VALARM\r\n",
    "UID:a\r\n",
    "\r\n",
    "\n",
    "\r\n ",
    "DTSTART;VALUE=DATE:20260306\r\n",
    "DTEND;VALUE=DATE:20260309\r\n",
    "DTSTART:20260306T150000Z\r\n",
    "DTEND;TZID=Europe/Paris:20260309T100000\r\n",
    "DTSTART;TZID=Europe/London:20260329T013000\r\n",
    "RRULE:FREQ=WEEKLY\r\n",
    "DURATION:P3D\r\n",
    "STATUS:CANCELLED\r\n",
    "00000101",
    "99991231",
    "20260230",
    ";",
    ":",
    ",",
    "\"",
    "SUMMARY:Guest\\, name\r\n",
    "é",
    "\u{feff}",
    "EXDATE:20260306\r\n",
    "RDATE:20260306\r\n",
];

#[test]
fn calendars() {
    let short = corpus(&|path| has_ending(path, "ics"));
    run("calendars", Seeds { corpus: short, words: CALENDAR_WORDS }, |input| {
        let Ok(text) = std::str::from_utf8(input) else { return String::new() };
        let (stays, problems) = bookings::read(text, chrono_tz::Europe::London);
        for (from, to) in &stays.stays {
            assert!(from < to && calendar::YEARS.contains(&from.year()), "{from} to {to}");
        }
        assert!(stays.stays.is_sorted());
        assert!(stays.occupied().windows(2).all(|pair| pair[0].1 < pair[1].0), "{:?}", stays.occupied());
        let lines = text.split('\n').count() + 1;
        assert!(
            problems.iter().all(|p| p.line.is_none_or(|line| line <= lines) && p.message.len() < 500),
            "{problems:?}"
        );
        format!("{}{}", stays.stays.len().min(3), shapes(problems.iter().map(|p| p.message.as_str())))
    });
}

#[test]
fn quantities_dates_and_addresses() {
    const WORDS: &[&str] = &[
        "1250 L",
        "330 gal",
        "1.25 m3",
        "2 in",
        "50 mm",
        "4.6 m2",
        "190 L/min",
        "11.4 m3/h",
        "0.33 hp",
        "230 V",
        "7 psi",
        "38 C",
        "100 F",
        "6 h/day",
        "25 min/day",
        "6 /day",
        "90 d",
        "6 mo",
        "2 y",
        "3.2 mg/L",
        "-720 mV",
        "0.30 gpm/ft2",
        "1.8 m/s",
        "e",
        "E",
        "+",
        "-",
        ".",
        " ",
        "1e308",
        "1e-308",
        "nan",
        "inf",
        "∞",
        "½",
        "٣",
        "before ",
        "unknown",
        "2022-05-04",
        "09:10-10:25",
        "a/b/c",
        "..",
        "--",
        "1_000",
    ];
    fn one<T: Written>(text: &str, says: &mut Vec<String>) {
        match T::read(text) {
            Ok(_) => says.push(T::KIND.to_owned()),
            Err(error) => {
                let error = error.to_string();
                assert!(error.len() < 600, "{error}");
                says.push(shape(&error));
            }
        }
    }
    let corpus = WORDS.iter().map(|word| word.as_bytes().to_vec()).collect();
    run("quantities, dates and addresses", Seeds { corpus, words: WORDS }, |input| {
        let Ok(text) = std::str::from_utf8(input) else { return String::new() };
        let mut says = Vec::new();
        one::<Volume>(text, &mut says);
        one::<Length>(text, &mut says);
        one::<Area>(text, &mut says);
        one::<Flow>(text, &mut says);
        one::<Power>(text, &mut says);
        one::<Current>(text, &mut says);
        one::<Voltage>(text, &mut says);
        one::<Redox>(text, &mut says);
        one::<Pressure>(text, &mut says);
        one::<Temperature>(text, &mut says);
        one::<Velocity>(text, &mut says);
        one::<Duration>(text, &mut says);
        one::<Daily>(text, &mut says);
        one::<PerDay>(text, &mut says);
        one::<Period>(text, &mut says);
        one::<Concentration>(text, &mut says);
        one::<FilterRate>(text, &mut says);
        if let Ok(volume) = Volume::read(text) {
            let litres = volume.0.get::<uom::si::volume::liter>();
            assert!(litres.is_finite() && litres >= 0.0, "{litres}");
        }
        if let Ok(daily) = Daily::read(text) {
            assert!((0.0..=24.0).contains(&daily.hours));
        }
        if let Ok(typed) = Typed::<Flow>::read(text) {
            assert!(typed.with_default("L/min").is_some());
        }
        if let Ok(time) = TimeOfDay::read(text) {
            assert!(time.start < 1440 && time.end.is_none_or(|end| end < 1440));
        }
        for id in [Id::parse(text).map(|id| id.to_string()), Address::parse(text).map(|at| at.to_string())] {
            assert!(id.is_err() || (!text.contains("..") && !text.starts_with('/')));
        }
        let value = serde::de::value::StrDeserializer::<serde::de::value::Error>::new(text);
        let fitted: Result<Fitted, _> = serde::Deserialize::deserialize(value);
        if let Ok(fitted) = fitted {
            // What is written for it reads back as the same day.
            let again = fitted.to_string();
            let value = serde::de::value::StrDeserializer::<serde::de::value::Error>::new(&again);
            assert_eq!(<Fitted as serde::Deserialize>::deserialize(value).ok(), Some(fitted), "{again}");
        }
        let value = serde::de::value::StrDeserializer::<serde::de::value::Error>::new(text);
        let money: Result<Money, _> = serde::Deserialize::deserialize(value);
        says.push(format!("{}{}", fitted.is_ok(), money.is_ok()));
        says.join("|")
    });
}
