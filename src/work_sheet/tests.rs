//! Sheets of visits planned by hand for small sites read from files.

use super::*;
use crate::quantities::fleet_for_tests::{day, load_with};
use crate::schedule::visits::Take;

const FLEET: &str = "{format: 1, fleet: Test, currency: GBP, timezone: Europe/London, units: us}";
const SITE: &str = "format: 1
closed: [{from: 2026-12-01, to: 2026-12-31, drained: true}]
spas:
  tub:
    fitted: 2024-01-01
    filters: {main: {kind: cartridge}}
    pumps:
      jets: {duty: jets, program: {run: 1 h/day}}
      both: {duty: filtration_and_jets, program: {low: 6 h/day, high: 2 h/day}}
      new: {duty: filtration, meter: {digits: 5}, program: {run: 8 h/day}}
log:
  - date: 2026-10-01
    at:
      tub: {ph: 7.4, bromine: 4, alkalinity: 100}
      tub/main: {pressure: 8 psi, flow: 30 gpm}
      tub/both: {hours_low: 500, hours_high: 20, current: 9, current_low: 3}
  - {date: 2025-01-01, at: {tub: {hardness: 200}}}
";

pub(crate) fn task(at: &str, work: Work) -> VisitTask {
    VisitTask {
        at: Address::parse(at).unwrap(),
        work,
        because: "due by the book".to_owned(),
        due: None,
        urgent: false,
        minutes: 20.0,
        skill: None,
        take: Vec::new(),
        cost: None,
        water_out: false,
        late: None,
        moved: None,
    }
}

pub(crate) fn id(text: &str) -> Id {
    Id::parse(text).unwrap()
}

pub(crate) fn visit(site: &str, number: u32, date: &str, tasks: Vec<VisitTask>) -> Visit {
    Visit {
        id: format!("{site}-{number}"),
        site: id(site),
        date: day(date),
        technician: Some(id("dan")),
        travel_minutes: 35.0,
        travel_cost: None,
        tasks,
        moved: None,
        before: None,
        changeover: false,
        sequence: 0,
    }
}

fn keys(blanks: &[Blank]) -> Vec<&str> {
    blanks.iter().map(|blank| blank.key.as_str()).collect()
}

fn asked(all: &[Asked]) -> Vec<(String, Vec<&str>)> {
    all.iter().map(|asked| (asked.at.to_string(), keys(&asked.blanks))).collect()
}

fn with_sheet(visit: &Visit, then: impl Fn(&Sheet)) {
    load_with(&[("fleet.yaml", FLEET), ("sites/home.yaml", SITE)], "2026-10-31", |fleet, figures, _| {
        then(&sheet(fleet, figures.site, visit));
    });
}

/// Every reading that is taken there is asked for, and none that is not: the hardness of long ago, a counter nobody
/// ever read, chlorine in a spa on bromine.
#[test]
fn what_is_read_there_is_asked_for() {
    with_sheet(&visit("home", 1, "2026-11-05", Vec::new()), |sheet| {
        let expected = [
            ("tub".to_owned(), vec!["temperature", "ph", "bromine", "alkalinity"]),
            ("tub/main".to_owned(), vec!["pressure", "flow"]),
            ("tub/both".to_owned(), vec!["hours_low", "hours_high", "current", "current_low"]),
            ("tub/new".to_owned(), vec!["hours"]),
        ];
        assert_eq!(asked(&sheet.readings), expected);
        let unit = |at: usize, index: usize| sheet.readings[at].blanks[index].unit;
        assert_eq!((unit(0, 0), unit(0, 1), unit(1, 0), unit(1, 1)), ("F", "", "psi", "gpm"));
        assert_eq!(keys(&sheet.arriving), ["date", "time", "by", "why"]);
        assert_eq!(sheet.arriving[0].filled.as_deref(), Some("2026-11-05"));
        assert_eq!(sheet.arriving[2].filled.as_deref(), Some("dan"));
    });
}

#[test]
fn a_drained_spa_is_asked_for_no_water() {
    with_sheet(&visit("home", 1, "2026-12-05", vec![task("tub/main", Work::Task(id("filter_clean")))]), |sheet| {
        let expected =
            [("tub/both".to_owned(), vec!["hours_low", "hours_high"]), ("tub/new".to_owned(), vec!["hours"])];
        assert_eq!(asked(&sheet.readings), expected);
        assert!(sheet.after.is_empty());
    });
}

#[test]
fn every_kind_of_work_has_the_logs_own_blanks_in_its_order() {
    let mut seal = task("tub/both", Work::Renew(id("shaft_seal")));
    let take = |number: &str| Take { part: id("shaft_seal"), count: 1, number: Some(number.to_owned()) };
    seal.take = vec![take("SS-16"), take("UG-20")];
    let tasks = vec![
        task("tub/main", Work::Task(id("filter_clean"))),
        seal,
        task("tub", Work::Task(id("water_change"))),
        task("tub", Work::Left("strap torn".to_owned())),
        task("tub", Work::ContractVisit),
    ];
    with_sheet(&visit("home", 1, "2026-11-05", tasks), |sheet| {
        let jobs: Vec<Vec<&str>> = sheet.jobs.iter().map(|job| keys(&job.blanks)).collect();
        let renew =
            vec!["renewed.shaft_seal", "renewed.shaft_seal.found", "inspected.shaft_seal", "deferred.shaft_seal"];
        assert_eq!(jobs, [vec!["done"], renew, vec!["done"], vec![], vec![]]);
        assert_eq!(sheet.jobs[0].blanks[0].kind, Kind::Tick("filter_clean".to_owned()));
        let after = [
            ("tub/main".to_owned(), vec!["after.pressure", "after.flow"]),
            ("tub/both".to_owned(), vec!["after.current", "after.current_low"]),
            ("tub".to_owned(), vec!["after.temperature", "after.ph", "after.bromine"]),
        ];
        assert_eq!(asked(&sheet.after), after);
        assert_eq!(keys(&sheet.leaving), ["labour", "used.SS-16", "used.UG-20", "note", "at", "left"]);
    });
}

/// The coming eight weeks, and the next visit whenever it is.
#[test]
fn the_next_visit_always_has_a_sheet() {
    let of = |dates: &[&str]| -> Vec<String> {
        let number = |(index, date): (usize, &&str)| visit("home", index as u32, date, Vec::new());
        let plan = Plan::of(dates.iter().enumerate().map(number));
        coming(&plan, &id("home"), day("2026-10-31")).iter().map(|visit| visit.date.to_string()).collect()
    };
    assert_eq!(of(&["2026-11-05", "2026-12-26", "2026-12-27"]), ["2026-11-05", "2026-12-26"]);
    assert_eq!(of(&["2027-06-01", "2027-07-01"]), ["2027-06-01"]);
    assert!(of(&[]).is_empty());
}

/// With forty pieces of work the sheet has one blank each; what is read again is asked for when the work is done, as on any
/// sheet, and there is room for what was found, seen and put off of parts written in by hand.
#[test]
fn a_crowded_sheet_has_what_must_be_said_in_the_order_of_the_work() {
    let task = |number: usize| {
        if number == 0 {
            task("tub/main", Work::Task(id("filter_clean")))
        } else {
            task("tub/new", Work::Renew(id("seal")))
        }
    };
    with_sheet(&visit("home", 1, "2026-11-05", (0..40).map(task).collect()), |sheet| {
        assert!(sheet.jobs.iter().all(|job| job.blanks.len() == 1));
        assert_eq!(keys(&sheet.readings[1].blanks), ["pressure", "flow"]);
        assert_eq!(keys(&sheet.readings[3].blanks), ["hours"]);
        let after = [
            ("tub/main".to_owned(), vec!["after.pressure", "after.flow"]),
            ("tub/new".to_owned(), vec!["after.current"]),
        ];
        assert_eq!(asked(&sheet.after), after);
        let by_hand = ["at", "renewed.PART.found", "inspected.PART", "deferred.PART"];
        let owed = [&["labour"], by_hand.as_slice(), &["note", "at", "left"]].concat();
        assert_eq!(keys(&sheet.leaving), owed);
    });
    // Forty cleans have nothing to find and nothing to put off.
    let cleans = (0..40).map(|_| super::tests::task("tub/main", Work::Task(id("filter_clean")))).collect();
    with_sheet(&visit("home", 1, "2026-11-05", cleans), |sheet| {
        assert_eq!(keys(&sheet.leaving), ["labour", "note", "at", "left"]);
    });
}

/// Another list of blanks under the same name is told by the mark.
#[test]
fn the_mark_tells_one_list_of_blanks_from_another() {
    let of = |date: &str, works: &[&str]| {
        let mut mark = String::new();
        let tasks = works.iter().map(|work| task("tub/main", Work::Task(id(work)))).collect();
        let visit = visit("home", 1, date, tasks);
        load_with(&[("fleet.yaml", FLEET), ("sites/home.yaml", SITE)], "2026-10-31", |fleet, figures, _| {
            mark = sheet(fleet, figures.site, &visit).mark();
        });
        mark
    };
    let first = of("2026-11-05", &["filter_clean"]);
    assert_eq!(first.len(), 4);
    assert_eq!(first, of("2026-11-05", &["filter_clean"]));
    for other in [of("2026-11-06", &["filter_clean"]), of("2026-11-05", &["safety_check"]), of("2026-11-05", &[])] {
        assert_ne!(first, other);
    }
}
