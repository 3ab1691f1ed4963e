//! The work sheets as the renderer sets them: a page a visit for every kind of work and at extremes, the exchange page, the
//! survey of a site nobody has written anything down of, and a sheet typed back through the program.

use std::io::Write;
use std::path::Path;
use std::process::Stdio;

use tubwright::address::{Address, Id};
use tubwright::calendar::Month;
use tubwright::interrupt::Stop;
use tubwright::output::OutputFolder;
use tubwright::records::load::Shared;
use tubwright::report::template::Templates;
use tubwright::report::typst::{Places, Typst};
use tubwright::report::work_sheets::WorkSheets;
use tubwright::schedule::visits::{Plan, Take, Visit, VisitTask, Work};
use tubwright::{site, work_sheet};

use crate::report::demo;
use crate::support::{Fleet, Pdf, Run, Table, copy_folder, demo as demo_folder, program};

const MONTH: &str = "2026-10";

fn id(text: &str) -> Id {
    Id::parse(text).unwrap()
}

fn task(at: &str, work: Work) -> VisitTask {
    VisitTask {
        at: Address::parse(at).unwrap(),
        work,
        because: "it has run 13 100 of its 14 000 hours".to_owned(),
        due: None,
        urgent: true,
        minutes: 45.0,
        skill: Some("electrician".to_owned()),
        take: Vec::new(),
        cost: None,
        water_out: false,
        late: None,
        moved: None,
    }
}

fn visit(number: u32, tasks: Vec<VisitTask>) -> Visit {
    Visit {
        id: format!("home-{number}"),
        site: id("home"),
        date: format!("2026-11-{:02}", number + 1).parse().unwrap(),
        technician: Some(id("dan")),
        travel_minutes: 35.0,
        travel_cost: None,
        tasks,
        moved: Some("Moved from 3 November: guests stay on".to_owned()),
        before: None,
        changeover: false,
        sequence: 0,
    }
}

/// Sets the sheets of a fleet's one site with visits planned by hand.
fn sheets(fleet: &Fleet, visits: Vec<Visit>) -> Pdf {
    let shared = Shared::load(fleet.path()).unwrap();
    let month: Month = MONTH.parse().unwrap();
    let all: Vec<_> = shared.sites.iter().map(|files| site::read(&shared, files, month.last()).unwrap()).collect();
    let lives = site::fleet_lives(&shared.fleet, &all, month.last());
    let (of_site, spas) = &all[0];
    let figures = site::site_figures(&shared.fleet, &lives, of_site, spas, month.last());
    let typst = Typst::find(&Places::from_environment(None), Stop::never()).unwrap();
    let out = tempfile::tempdir().unwrap();
    let folder = OutputFolder::open(out.path()).unwrap();
    let part = folder.part(MONTH).unwrap();
    let (plan, templates) = (Plan::of(visits), Templates::embedded().unwrap());
    let sheets = WorkSheets { fleet: &shared.fleet, plan: &plan, month, templates: &templates };
    let mut problems = Vec::new();
    assert!(sheets.make(&part, &figures, &typst, &mut problems).unwrap(), "{problems:?}");
    assert!(problems.iter().all(|problem| !problem.costs && !problem.text.contains("warns")), "{problems:?}");
    Pdf::open(&part.path("sites/home/visits.pdf").unwrap())
}

const PUMPS: &str = "format: 1
models:
  P: {speeds: 1, power: 0.5 hp, frame: \"48\", ports: {inlet: 1.5 in, discharge: 1.5 in}, supply: {voltage: 230 V, phases: 1}}
  R: {speeds: 2, power: 2 hp, frame: \"56\", ports: {inlet: 2 in, discharge: 2.5 in}, supply: {voltage: 230 V, phases: 1}}
";

fn usual() -> Fleet {
    Fleet::without_sites().file("pumps.yaml", PUMPS).file(
        "sites/home.yaml",
        "format: 1
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
log:
  - {date: 2026-09-30, note: the dog bites, at: {tub/one: {hours: 100, current: 2.5}, tub: {ph: 7.4}}}
",
    )
}

/// Every kind of work alone and all of them together: a page each, and the exchange behind them.
#[test]
fn every_kind_of_work_is_a_page() {
    let mut seal = task("tub/one", Work::Renew(id("shaft_seal")));
    seal.take = vec![Take { part: id("shaft_seal"), count: 1, number: Some("SS-16".to_owned()) }];
    let kinds = vec![
        seal,
        task("tub/main", Work::Task(id("filter_clean"))),
        task("tub/main", Work::Renew(id("cartridge"))),
        task("tub/heater", Work::Renew(id("heater_element"))),
        task("tub", Work::Task(id("water_change"))),
        task("tub", Work::Task(id("safety_check"))),
        task("tub/cover", Work::Left("strap torn".to_owned())),
        task("tub", Work::Close),
        task("tub", Work::Reopen),
        task("tub", Work::ContractVisit),
    ];
    let mut visits: Vec<Visit> =
        kinds.iter().enumerate().map(|(number, kind)| visit(number as u32, vec![kind.clone()])).collect();
    visits.push(visit(20, kinds));
    let pages = visits.len() + 1;
    let pdf = sheets(&usual(), visits);
    assert_eq!(pdf.pages(), pages);
    assert!(pdf.is_tagged());
    let text = pdf.text();
    for owed in [
        "home-20",
        "boxbythegate",
        "Frontdesk,000",
        "thedogbites",
        "1×Shaftseal(SS-16)",
        "inlet1.5in",
        "renewed.shaft_seal",
        "inspected.shaft_seal",
        "done:filter_clean",
        "after.pressure",
        "used.SS-16",
        "labour",
        "proveitdead",
        "Legionella",
        "40°C(104°F)",
        "tubwrightadd--sheethome-20.",
        "Matchthenewpumpfirst",
        "neverbywirecolour",
        "feetwhiletheplumbingstillholdsthepump",
        "meter_reset.showed",
    ] {
        assert!(text.contains(owed), "{owed}");
    }
}

/// Forty pieces of work at eight places whose names, like those of the parts, are as long as names may be, at a site whose
/// texts never end: still a page.
#[test]
fn forty_pieces_of_work_with_long_names_are_a_page() {
    let mut pumps = String::new();
    let (mut tasks, mut parts) = (Vec::new(), String::new());
    for part in 0..5 {
        parts.push_str(&format!(
            "  a_wear_part_with_a_long_name_of_forty_c{part}: {{fits: pump, interval: {{age: 24 mo}}, wears_by: age}}\n"
        ));
    }
    for pump in 0..8 {
        let name = format!("a-pump-of-a-name-as-long-as-names-may-b{pump}");
        pumps.push_str(&format!(
            "      {name}: {{model: R, duty: jets, meter: {{digits: 5}}, program: {{high: 1 h/day}}}}\n"
        ));
        for number in 0..5 {
            let part = id(&format!("a_wear_part_with_a_long_name_of_forty_c{number}"));
            let mut task = task(&format!("courtyard-of-the-old-mill/{name}"), Work::Renew(part.clone()));
            task.take = vec![Take { part, count: 1, number: Some(format!("NUMBER-{number}-12345")) }];
            tasks.push(task);
        }
    }
    let long = "long words that never end ".repeat(200);
    let fleet = Fleet::without_sites().file("pumps.yaml", PUMPS).file("upkeep.yaml", format!("format: 1\nparts:\n{parts}")).file(
        "sites/home.yaml",
        format!(
            "format: 1\nname: {w}\naddress: {long}\nkey: {long}\ncontact: {{name: {long}, phone: {w}}}\nspas:\n  courtyard-of-the-old-mill:\n    fitted: 2024-01-01\n    pumps:\n{pumps}log:\n  - {{date: 2026-09-30, note: {long}, at: {{courtyard-of-the-old-mill: {{ph: 7.4}}}}}}\n",
            w = "W".repeat(3000)
        ),
    );
    assert_eq!(tasks.len(), 40);
    let pdf = sheets(&fleet, vec![visit(7, tasks)]);
    assert_eq!(pdf.pages(), 2, "the sheet and the exchange");
    let text = pdf.text();
    // Each by both ends of its name.
    for part in 0..5 {
        assert_eq!(text.matches(&format!("_of_forty_c{part}")).count(), 8, "{part}");
    }
    assert!(text.contains("proveitdead") && text.contains("labour"));
    // What is said of a part has the log's own names on a crowded sheet too.
    for owed in ["renewed.PART.found", "inspected.PART", "deferred.PART"] {
        assert_eq!(text.matches(owed).count(), 1, "{owed}");
    }
    assert!(!text.contains("left.at") && !text.contains("found.at"));
}

/// The exchange's page is typed back with the command at its foot: each of its names is a field that `add` takes.
#[test]
fn the_command_under_the_exchange_is_one_that_add_takes() {
    let fleet = usual();
    let text = sheets(&fleet, Vec::new()).text();
    let (_, foot) = text.split_once("tubwrightaddhome/AT").unwrap();
    let (foot, _) = foot.split_once(';').unwrap();
    let names: Vec<&str> =
        foot.split("=…").map(|name| name.trim_matches('"')).filter(|name| !name.is_empty()).collect();
    assert!(names.len() >= 7, "{names:?}");
    // The pump at hand has one speed.
    let values = names.iter().filter(|name| !name.ends_with("_low")).map(|name| {
        let value = match *name {
            "date" => "2026-10-05",
            "by" => "dan",
            "exchanged" => "failure",
            "exchanged.model" => "P",
            "exchanged.found" => "shaft broken",
            "meter_reset.showed" => "200",
            "meter_reset.to" => "0",
            _ => "2.5",
        };
        format!("{name}={value}")
    });
    let path = fleet.path().to_str().unwrap().to_owned();
    let arguments = ["add", "home/tub/one"].map(str::to_owned).into_iter().chain(values);
    let arguments: Vec<String> = arguments.chain(["--fleet".to_owned(), path]).collect();
    Run::of(&arguments.iter().map(String::as_str).collect::<Vec<_>>()).expect_status(0);
    let written = std::fs::read_to_string(fleet.path().join("sites/home.yaml")).unwrap();
    assert!(written.contains("exchanged: {because: failure, model: P, found: shaft broken}"), "{written}");
}

/// A site without a log gets a survey page for each spa, known or not, and one with thirty pumps still has it on a page.
#[test]
fn a_site_without_history_is_surveyed() {
    let spas = |count: usize| -> String {
        let pumps: String = (0..count)
            .map(|pump| format!("      jets-{pump}: {{model: P, duty: jets, program: {{run: 1 h/day}}}}\n"))
            .collect();
        format!(
            "format: 1\nname: Home\nspas:\n  tub:\n    volume: 1250 L\n    pumps:\n{pumps}  bare: {{fitted: unknown}}\n"
        )
    };
    for pumps in [1, 30] {
        let fleet = Fleet::without_sites().file("pumps.yaml", PUMPS).file("sites/home.yaml", spas(pumps));
        let pdf = sheets(&fleet, Vec::new());
        assert_eq!(pdf.pages(), 3, "two surveys and the exchange");
        let text = pdf.text();
        for owed in ["Survey:tub", "Survey:bare", "Photograph", "insidethread", "bolt_spacing", "1250L", "suctioncover"]
        {
            assert!(text.contains(owed), "{owed}");
        }
    }
}

/// The demo's sheets: as many pages as the table has visits within eight weeks, the next one at least, and the exchange.
#[test]
fn the_demo_has_a_page_a_visit() {
    let visits = demo::run().table("visits");
    for site in ["alder-lodge", "heron-gym", "kingfisher-barns", "lapwing-club", "rowan-house", "willow-court"] {
        let mut days: Vec<(&str, &str)> =
            visits.rows_where(&[("site", site)]).iter().map(|row| (row.get("date"), row.get("visit"))).collect();
        days.sort_unstable();
        days.dedup();
        let soon = days.iter().filter(|(day, _)| *day <= "2026-12-26").count().max(usize::from(!days.is_empty()));
        let pdf = Pdf::open(&demo::run().month().join("sites").join(site).join("visits.pdf"));
        assert_eq!(pdf.pages(), soon + 1, "{site}: {days:?}");
        let text = pdf.text();
        // What is copied from the page can be typed: no sign without width is in it.
        assert!(!text.contains(['\u{200b}', '\u{2060}', '\u{ad}']), "{site}");
        for (_, visit) in days.iter().take(soon) {
            assert!(text.contains(&format!("tubwrightadd--sheet{visit}.")), "{site}: {visit}");
        }
    }
    assert_eq!(work_sheet::SHEET_DAYS, 56);
}

fn typed_back(fleet: &Path, visit: &str, lines: &str) -> (i32, String) {
    let mut child = program()
        .args(["add", "--sheet", visit, "--month", MONTH, "--fleet"])
        .arg(fleet)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(lines.as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    (output.status.code().unwrap_or(-1), String::from_utf8(output.stderr).unwrap())
}

/// A sheet of the demo typed back, every box ticked: the log has the visit, and the next report counts the work as done.
#[test]
fn a_sheet_typed_back_is_an_entry_of_the_log() {
    let folder = tempfile::tempdir().unwrap();
    copy_folder(&demo_folder(), folder.path());
    let visits: Table = demo::run().table("visits");
    let rows = visits.rows_where(&[("site", "rowan-house")]);
    let first = rows.iter().min_by_key(|row| row.get("date").to_owned()).unwrap();
    let visit = first.get("visit").to_owned();
    let file = folder.path().join("sites/rowan-house.yaml");
    let before = std::fs::read_to_string(&file).unwrap();
    // Date, by and why as printed; nothing else on arrival.
    let (status, said) = typed_back(folder.path(), &visit, "\n10:00-11:30\n");
    assert_eq!((status, said.contains("nothing is filled in")), (2, true), "{said}");
    let (status, said) = typed_back(folder.path(), "rowan-house-99", "\n");
    assert_eq!((status, said.contains("no visit `rowan-house-99`")), (2, true), "{said}");
    let (status, said) = typed_back(folder.path(), &visit, &format!("\n\n\n\nhot\n{}", "\n".repeat(200)));
    assert_eq!(status, 2, "{said}");
    assert_eq!(std::fs::read_to_string(&file).unwrap(), before);
    let (status, said) = typed_back(folder.path(), &format!("{visit}.zzzz"), "\n10:00-11:30\n\n\n37\n7.3\n");
    assert_eq!((status, said.contains("the plan has changed")), (2, true), "{said}");
    // As it stands at the foot of the sheet.
    let sheets = Pdf::open(&demo::run().month().join("sites/rowan-house/visits.pdf")).text();
    let (_, foot) = sheets.split_once(&format!("tubwrightadd--sheet{visit}.")).unwrap();
    let name = format!("{visit}.{}", &foot[..4]);
    // A sign without width that came along with the copy is not seen, and not meant.
    let copied = name.replacen('-', "\u{200b}-\u{200b}", 1);
    let (status, said) = typed_back(folder.path(), &copied, "\n10:00-11:30\n\n\n37\n7.3\n");
    assert_eq!(status, 0, "{said}");
    let after = std::fs::read_to_string(&file).unwrap();
    assert!(after.starts_with(&before));
    let date = first.get("date");
    let entry = &after[before.len()..];
    assert!(entry.contains(&format!("- date: {date}")) && entry.contains("time: 10:00-11:30"), "{entry}");
    assert!(entry.contains("why: planned") && entry.contains("garden: {temperature: 37, ph: 7.3}"), "{entry}");
    Run::check(folder.path(), &["--as-of", date]).expect_status(0);
}
