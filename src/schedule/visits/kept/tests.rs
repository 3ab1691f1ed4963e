use super::*;
use crate::quantities::fleet_for_tests::day;
use crate::records::load::Shared;
use crate::schedule::visits;
use crate::site;

const FLEET: &str = "format: 1
fleet: Invented Spa Care
currency: GBP
timezone: Europe/London
labour: {cost: 24}
technicians:
  dan: {name: Dan, days: [mon, tue, wed, thu, fri], hours_per_day: 7 h, skills: [electrician]LEAVE}
  ines: {name: Ines, days: [mon, tue, wed, thu, fri], hours_per_day: 7 h}
";
const BOOK: &str = "format: 1
parts:
  shaft_seal: {fits: pump, interval: {age: 48 mo}, wears_by: age, cost: 22, time: 90 min, also_renew: [union_gasket]}
  union_gasket: {fits: pump, count: 2, interval: {age: 36 mo}, wears_by: age, cost: 1.1, time: 10 min}
tasks:
  filter_clean: {fits: filter, every: 30 d, time: 20 min}
  safety_check: {fits: spa, every: 12 mo, time: 45 min, skill: electrician}
";
const SITE: &str = "format: 1
name: Quay House
area: harbour
travel: {time: 40 min, cost: 12}
CLOSEDspas:
  terrace:
    fitted: 2022-06-01
    filters: {main: {kind: cartridge}}
    pumps: {jets-1: {duty: jets, fitted: 2023-03-01}}
log:
  - {date: 2026-10-20, at: {terrace/main: {done: [filter_clean]}, terrace: {done: [safety_check]}}}
LOG";

/// Plans an invented fleet of one site: with days of leave, a closed season, more of a log, and an accepted plan.
#[expect(clippy::disallowed_methods, reason = "a test writes its own fleet")]
fn planned_with(leave: &str, closed: &str, log: &str, as_of: &str, accepted_plan: Option<&str>, week: bool) -> Planned {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir_all(folder.path().join("sites")).unwrap();
    let write = |path: &str, text: &str| std::fs::write(folder.path().join(path), text).unwrap();
    write("fleet.yaml", &FLEET.replace("LEAVE", leave));
    write("upkeep.yaml", BOOK);
    write("sites/quay-house.yaml", &SITE.replace("CLOSED", closed).replace("LOG", log));
    if let Some(plan) = accepted_plan {
        write("plan.yaml", plan);
    }
    let shared = Shared::load(folder.path()).unwrap();
    let as_of = day(as_of);
    let read: Vec<_> = shared.sites.iter().map(|files| site::read(&shared, files, as_of).unwrap()).collect();
    let lives = site::fleet_lives(&shared.fleet, &read, as_of);
    let figures = site::all_figures(&shared.fleet, &lives, &read, as_of);
    let plan = visits::plan(&shared.fleet, &figures, as_of, week);
    let text = accepted(&plan, shared.fleet.plan.as_ref(), shared.fleet.settings.format, as_of).text();
    let calendars = crate::ics::tests::calendars(&shared.fleet, &figures, &plan, as_of).unwrap();
    (plan, text, calendars)
}

type Planned = (visits::Plan, String, Vec<(String, String)>);

fn planned(leave: &str, closed: &str, log: &str, as_of: &str, accepted_plan: Option<&str>) -> Planned {
    planned_with(leave, closed, log, as_of, accepted_plan, false)
}

fn days(plan: &visits::Plan) -> Vec<(String, NaiveDate, u32)> {
    plan.visits.iter().map(|visit| (visit.id.clone(), visit.date, visit.sequence)).collect()
}

#[test]
fn an_accepted_plan_stays_put() {
    let (first, text, _) = planned("", "", "", "2026-10-31", None);
    assert!(first.visits.len() >= 12 && first.not_fitted.is_empty(), "{first:#?}");
    let (second, again, _) = planned("", "", "", "2026-10-31", Some(&text));
    assert_eq!(days(&second), days(&first));
    assert_eq!(second.visits, first.visits);
    assert!(second.cancelled.is_empty());
    assert_eq!(again, text);
}

#[test]
fn what_leave_gives_a_reason_to_move_moves_and_says_so_and_the_rest_stays() {
    let (first, text, _) = planned("", "", "", "2026-10-31", None);
    let old = first.visits.iter().find(|visit| visit.technician.as_ref().is_some_and(|t| t.as_str() == "dan")).unwrap();
    let leave = format!(", leave: [{{from: {}, to: {}}}]", old.date, old.date);
    let (second, _, calendars) = planned(&leave, "", "", "2026-10-31", Some(&text));
    let new = second.visits.iter().find(|visit| visit.id == old.id).unwrap();
    assert!(new.date != old.date || new.technician != old.technician);
    assert!(new.moved.as_ref().unwrap().contains("Dan does not work on"), "{new:?}");
    assert_eq!(new.sequence, 1);
    for visit in first.visits.iter().filter(|visit| visit.id != old.id && visit.date < old.date) {
        assert!(second.visits.contains(visit), "{visit:?}");
    }
    // The calendar says the same to whoever reads it.
    let events = crate::ics::tests::events(&calendars[0].1);
    let event = events.iter().find(|event| event["UID"].starts_with(&format!("{}@", old.id))).unwrap();
    assert_eq!(event["SEQUENCE"], "1");
    assert_eq!(event["DTSTART"], new.date.format("%Y%m%d").to_string());
}

#[test]
fn a_closed_season_cancels_with_a_reason_and_the_calendar_says_cancelled() {
    let (first, text, _) = planned("", "", "", "2026-10-31", None);
    let last = first.visits.last().unwrap();
    let from = first.visits[first.visits.len() - 2].date;
    let closed = format!("closed: [{{from: {from}, to: 2028-01-31}}]\n");
    let (second, again, calendars) = planned("", &closed, "", "2026-10-31", Some(&text));
    assert!(second.visits.iter().all(|visit| visit.date < from));
    let gone = second.cancelled.iter().find(|gone| gone.id == last.id).unwrap();
    assert!(gone.because.contains("closed"), "{gone:?}");
    let events = crate::ics::tests::events(&calendars[0].1);
    let event = events.iter().find(|event| event["UID"].starts_with(&format!("{}@", last.id))).unwrap();
    assert_eq!((event["STATUS"].as_str(), event["SEQUENCE"].as_str()), ("CANCELLED", "1"));
    // Accepted so, it is still told, and not counted up again.
    let (third, _, _) = planned("", &closed, "", "2026-10-31", Some(&again));
    assert!(third.cancelled.iter().any(|gone| gone.id == last.id && gone.sequence == 1));
}

#[test]
fn a_seal_brings_its_gasket_and_skills_are_kept() {
    let (plan, _, _) = planned("", "", "", "2026-10-31", None);
    let tasks = || plan.visits.iter().flat_map(|visit| visit.tasks.iter().map(move |task| (visit, task)));
    let (visit, seal) = tasks().find(|(_, task)| task.work.word() == "shaft_seal").unwrap();
    assert!(visit.date <= day("2027-03-01"));
    assert!(seal.take.iter().any(|take| take.part.as_str() == "union_gasket" && take.count == 2));
    for (visit, task) in tasks().filter(|(_, task)| task.skill.is_some()) {
        assert_eq!(visit.technician.as_ref().unwrap().as_str(), "dan", "{task:?}");
    }
}

#[test]
fn the_coming_week_is_planned_anew_with_all_its_work_and_the_rest_stays() {
    // The clean is overdue, so that it comes in the first week.
    let (first, text, _) = planned("", "", "", "2026-11-30", None);
    let week_ends = plus_days(day("2026-11-30"), WEEK_DAYS);
    let work = |plan: &visits::Plan| -> Vec<String> {
        let of_week = plan.visits.iter().filter(|visit| visit.date <= week_ends);
        of_week.flat_map(|visit| &visit.tasks).map(|task| format!("{}/{}", task.at, task.work.word())).collect()
    };
    assert!(work(&first).contains(&"terrace/main/filter_clean".to_owned()), "{first:#?}");
    let (second, _, _) = planned_with("", "", "", "2026-11-30", Some(&text), true);
    assert_eq!(work(&second), work(&first));
    let rest = |plan: &visits::Plan| days(plan).into_iter().filter(|(_, day, _)| *day > week_ends).collect::<Vec<_>>();
    assert_eq!(rest(&second), rest(&first));
}
