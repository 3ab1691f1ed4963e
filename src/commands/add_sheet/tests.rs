//! Sheets typed back line by line.

use super::*;
use crate::quantities::fleet_for_tests::{day, load_with};
use crate::schedule::visits::{Take, Visit, Work};
use crate::work_sheet::tests::{id, task, visit};

const FLEET: &str = "{format: 1, fleet: Test, currency: GBP, timezone: Europe/London, technicians: {dan: {}}}";
const SITE: &str = "format: 1
spas:
  tub:
    fitted: 2024-01-01
    filters: {main: {kind: cartridge}}
    pumps: {one: {duty: filtration, meter: {digits: 5}, program: {run: 8 h/day}}}
    equipment: {cover: {kind: cover}}
log:
  - {date: 2026-10-01, at: {tub: {ph: 7.4, free_chlorine: 3}, tub/one: {current: 2.5}}}
";

fn planned_by_hand() -> Visit {
    let mut seal = task("tub/one", Work::Renew(id("shaft_seal")));
    seal.take = vec![Take { part: id("shaft_seal"), count: 1, number: Some("SS-16".to_owned()) }];
    let tasks = vec![
        task("tub/main", Work::Task(id("filter_clean"))),
        seal,
        task("tub", Work::Task(id("water_change"))),
        task("tub", Work::Task(id("safety_check"))),
    ];
    visit("home", 1, "2026-11-05", tasks)
}

fn typed(lines: &[&str]) -> Result<Wanted, String> {
    let visit = planned_by_hand();
    let mut result = Err(String::new());
    load_with(&[("fleet.yaml", FLEET), ("sites/home.yaml", SITE)], "2026-10-31", |fleet, figures, _| {
        let sheet = work_sheet::sheet(fleet, figures.site, &visit);
        result = answered(&sheet, figures.site, &mut lines.join("\n").as_bytes(), None);
    });
    result
}

/// The sheet's blanks in its order; what stands before each line is where it is printed.
const FILLED: &[&str] = &[
    "",            // date, as printed
    "09:10-10:25", // time
    "",            // by, as printed
    "",            // why, as printed
    "38",          // tub: temperature
    "7.4",         // ph
    "3.2",         // free_chlorine
    "0.47",        // tub/main: pressure
    "25310",       // tub/one: hours
    "",            // current
    "y",           // done: filter_clean
    "failure",     // renewed.shaft_seal
    "leak: at the shaft = wet",
    "",     // inspected.shaft_seal
    "",     // deferred.shaft_seal
    "y",    // done: water_change
    "n",    // done: safety_check
    "0.35", // tub/main: after.pressure
    "",     // after.flow
    "2.4",  // tub/one: after.current
    "",     // tub: after.temperature
    "7.2",  // after.ph
    "",     // after.free_chlorine
    "1.25", // labour
    "1",    // used.SS-16
    "gate sticks",
    "home/tub/cover",
    "strap torn",
];

#[test]
fn a_sheet_typed_back_gives_the_log_entry() {
    let wanted = typed(FILLED).unwrap();
    assert_eq!(wanted.date, None);
    let folder = tempfile::tempdir().unwrap();
    fs_err::create_dir(folder.path().join("sites")).unwrap();
    fs_err::write(folder.path().join("fleet.yaml"), FLEET).unwrap();
    fs_err::write(folder.path().join("sites/home.yaml"), SITE).unwrap();
    let saying = crate::cli::Saying { quiet: 2, verbose: 0, format: crate::cli::Format::Short };
    let added = add::add(folder.path(), &[wanted], Printer::new(saying)).map_err(|f| f.error.to_string()).unwrap();
    assert!(matches!(added, add::Added::Written { .. }), "{added:?}");
    let text = fs_err::read_to_string(folder.path().join("sites/home.yaml")).unwrap();
    assert_eq!(
        &text[SITE.len()..],
        "  - date: 2026-11-05
    time: 09:10-10:25
    by: dan
    why: planned
    at:
      tub: {temperature: 38, ph: 7.4, free_chlorine: 3.2, done: [water_change], after: {ph: 7.2}}
      tub/main: {pressure: 0.47, done: [filter_clean], after: {pressure: 0.35}}
      tub/one: {hours: 25310, renewed: {shaft_seal: {because: failure, found: \"leak: at the shaft = wet\"}}, after: {current: 2.4}}
      tub/cover: {}
    labour: 1.25 h
    used: {SS-16: 1}
    left: [{at: tub/cover, note: strap torn}]
    note: gate sticks
"
    );
    let shared = Shared::load(folder.path()).unwrap();
    let site = shared.read_site(&shared.sites[0]).unwrap();
    assert_eq!((site.visits.len(), site.diagnostics.len()), (2, 0));
    assert_eq!(site.visits[1].1.date.0, day("2026-11-05"));
}

/// As long as the sheet has blanks, so many lines are read: what is filled in is the sheet's own order.
#[test]
fn the_order_is_the_sheets() {
    let visit = planned_by_hand();
    load_with(&[("fleet.yaml", FLEET), ("sites/home.yaml", SITE)], "2026-10-31", |fleet, figures, _| {
        let sheet = work_sheet::sheet(fleet, figures.site, &visit);
        let asked = sheet.readings.iter().chain(&sheet.after).map(|asked| asked.blanks.len()).sum::<usize>();
        let jobs = sheet.jobs.iter().map(|job| job.blanks.len()).sum::<usize>();
        assert_eq!(sheet.arriving.len() + asked + jobs + sheet.leaving.len(), FILLED.len());
    });
}

#[test]
fn what_cannot_be_meant_ends_it_and_says_where() {
    let with = |line: usize, text: &'static str| {
        let mut lines = FILLED.to_vec();
        lines[line] = text;
        typed(&lines).unwrap_err()
    };
    let says = with(10, "maybe");
    assert!(says.contains("line 11, tub/main done: filter_clean: `maybe` is neither y nor n"), "{says}");
    let says = with(11, "rust");
    assert!(says.contains("line 12, tub/one renewed.shaft_seal: `rust` is none of due, failure"), "{says}");
    // Found, but not renewed: alone it would count as renewed.
    assert!(with(11, "").contains("is not ticked"));
    let mut longer = FILLED.to_vec();
    longer.push("one more");
    assert!(typed(&longer).unwrap_err().contains("behind the sheet's last blank"));
    assert!(typed(&[]).unwrap_err().contains("nothing is filled in"));
    // Where it was left, but not what.
    let mut where_only = FILLED.to_vec();
    where_only[27] = "";
    assert!(typed(&where_only).unwrap_err().contains("`at` names `tub/cover`"));
}

#[test]
fn what_is_not_typed_is_left_out_and_a_dash_leaves_out_what_is_printed() {
    let wanted = typed(&["", "", "-", "", "38"]).unwrap();
    assert_eq!(
        wanted.at,
        [(
            "home/tub".to_owned(),
            vec!["temperature=38".to_owned(), "date=2026-11-05".to_owned(), "why=planned".to_owned()]
        )]
    );
    // A box ticked with y means the usual reason.
    let mut lines = FILLED.to_vec();
    lines[11] = "Y";
    let wanted = typed(&lines).unwrap();
    assert!(wanted.at.iter().any(|(_, values)| values.iter().any(|value| value == "renewed.shaft_seal=due")));
}

/// A crowded sheet has room for two parts written in by hand: what is said of them goes where they stand.
#[test]
fn parts_written_in_by_hand_go_where_they_stand() {
    let typed = |leaving: &[&str]| {
        let tasks = (0..24).map(|_| task("tub/one", Work::Renew(id("shaft_seal")))).collect();
        let visit = visit("home", 1, "2026-11-05", tasks);
        let mut result = Err(String::new());
        load_with(&[("fleet.yaml", FLEET), ("sites/home.yaml", SITE)], "2026-10-31", |fleet, figures, _| {
            let sheet = work_sheet::sheet(fleet, figures.site, &visit);
            let before = sheet.arriving.len()
                + sheet.readings.iter().chain(&sheet.after).map(|asked| asked.blanks.len()).sum::<usize>();
            let mut lines = vec![""; before];
            // The boxes stand between what is read first and what is read again.
            let again: usize = sheet.after.iter().map(|asked| asked.blanks.len()).sum();
            lines.splice(before - again..before - again, std::iter::repeat_n("y", 24));
            // labour, then the lines.
            lines.push("");
            lines.extend(leaving);
            result = answered(&sheet, figures.site, &mut lines.join("\n").as_bytes(), None);
        });
        result
    };
    let first = ["home/tub/one/shaft_seal", "leak", "", ""];
    let second = ["tub/one/motor_bearing", "", "worn", "2027-01-10"];
    let wanted = typed(&[first, second].concat()).unwrap();
    let (_, values) = wanted.at.iter().find(|(at, _)| at == "home/tub/one").unwrap();
    for owed in [
        "renewed.shaft_seal=due",
        "renewed.shaft_seal.found=leak",
        "inspected.motor_bearing=worn",
        "deferred.motor_bearing=2027-01-10",
    ] {
        assert!(values.iter().any(|value| value == owed), "{owed}: {values:?}");
    }
    assert!(typed(&["", "leak"]).unwrap_err().contains("of which part"));
    assert!(typed(&["tub", "leak"]).unwrap_err().contains("no address with a part"));
    assert!(typed(&["tub/one/shaft_seal"]).unwrap_err().contains("nothing behind it"));
}

/// Every blank that is printed, crowded or not, is asked in the order it is printed, under the name that is printed, and
/// the name is a field the log takes: each typed in alone makes an entry that reads without a word.
#[test]
fn every_blank_printed_is_a_field_of_the_log() {
    let few = planned_by_hand();
    let mut many = planned_by_hand();
    many.tasks.extend((0..40).map(|_| task("tub/one", Work::Renew(id("motor_bearing")))));
    for (visit, is_crowded) in [(few, false), (many, true)] {
        load_with(&[("fleet.yaml", FLEET), ("sites/home.yaml", SITE)], "2026-10-31", |fleet, figures, _| {
            let sheet = work_sheet::sheet(fleet, figures.site, &visit);
            let jobs: Vec<Asked> =
                sheet.jobs.iter().map(|job| Asked { at: job.task.at.clone(), blanks: job.blanks.clone() }).collect();
            let of_tub = |blanks: &[Blank]| Asked { at: figures.site.spas[0].at.clone(), blanks: blanks.to_vec() };
            let mut all = vec![of_tub(&sheet.arriving)];
            all.extend(sheet.readings.iter().chain(&jobs).chain(&sheet.after).cloned());
            all.push(of_tub(&sheet.leaving));
            assert_eq!(all.iter().flat_map(|asked| &asked.blanks).any(|blank| blank.key.contains(PART)), is_crowded);
            for (asked, blank) in all.iter().flat_map(|asked| asked.blanks.iter().map(move |blank| (asked, blank))) {
                // The address is not a field: it is what stands before the fields.
                if blank.key == AT {
                    continue;
                }
                let value = match &blank.kind {
                    Kind::Number if blank.key == "labour" => "1 h",
                    Kind::Number => "5",
                    Kind::Word if blank.key == "by" => "dan",
                    Kind::Word if blank.key == "why" => "planned",
                    Kind::Word | Kind::Words => "words",
                    Kind::Day => "2026-11-20",
                    Kind::Time => "09:10",
                    Kind::Tick(value) => value,
                    Kind::OneOf(words) => words[0],
                };
                let key = blank.key.replace(PART, "shaft_seal");
                let at = if blank.key.contains(PART) { "tub/one" } else { asked.at.as_str() };
                let mut values = vec![format!("{key}={value}"), "note=seen".to_owned()];
                if blank.key == "note" {
                    values.pop();
                }
                let folder = tempfile::tempdir().unwrap();
                fs_err::create_dir(folder.path().join("sites")).unwrap();
                fs_err::write(folder.path().join("fleet.yaml"), FLEET).unwrap();
                fs_err::write(folder.path().join("sites/home.yaml"), SITE).unwrap();
                let saying = crate::cli::Saying { quiet: 2, verbose: 0, format: crate::cli::Format::Short };
                let date = (key != "date").then(|| "2026-11-05".to_owned());
                let wanted = Wanted { date, at: vec![(format!("home/{at}"), values)] };
                let added = add::add(folder.path(), &[wanted], Printer::new(saying));
                let added = added.map_err(|failure| failure.error.to_string()).unwrap();
                let add::Added::Written { warnings, .. } = added else { panic!("{at} {key}: {added:?}") };
                // Days to come are asked about whatever the field.
                assert!(warnings.iter().all(|told| told.rule.name() == "after-as-of"), "{at} {key}: {warnings:?}");
            }
        });
    }
}
