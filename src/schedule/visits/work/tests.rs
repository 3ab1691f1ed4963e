use super::*;
use crate::address::Id;
use crate::quantities::fleet_for_tests::{day, load_with};
use crate::schedule::visits::{Plan, Visit, VisitTask, plan};

const BOOK: &str = "format: 1
parts:
  lamp: {fits: uv_lamp, interval: {age: 24 mo}, wears_by: age, cost: 46.00, time: 20 min, lead_time: 20 d}
tasks: {safety_check: {fits: spa, every: 12 mo, time: 45 min, skill: electrician}}
";

/// The plan of one site as of the end of October 2026, a Saturday.
fn planned(people: &str, contract: &str, site: &str) -> Plan {
    let fleet = format!(
        "{{format: 1, fleet: Invented, currency: GBP, timezone: Europe/London, labour: {{cost: 24.00}}{people}}}"
    );
    let customers = format!("format: 1\ncustomers: {{harbour: {{contract: {{{contract}}}}}}}\n");
    let site = format!("format: 1\ncustomer: harbour\n{site}");
    let files =
        [("fleet.yaml", &*fleet), ("customers.yaml", &*customers), ("upkeep.yaml", BOOK), ("sites/a.yaml", &*site)];
    load_with(&files, "2026-10-31", |fleet, site, as_of| {
        let figures = crate::site::site_figures(fleet, site.lives, site.site, site.spas, as_of);
        plan(fleet, &[figures], as_of, false)
    })
}

fn tasks<'a>(plan: &'a Plan, work: &Work) -> Vec<(&'a Visit, &'a VisitTask)> {
    plan.visits
        .iter()
        .flat_map(|visit| visit.tasks.iter().map(move |task| (visit.as_ref(), task)))
        .filter(|(_, task)| task.work == *work)
        .collect()
}

/// Only Sunday 1 November is left before the season: the site is closed up on Monday, late, not never. What the log says
/// was closed is not closed again, and the promised visits of the shut months are one line.
#[test]
fn a_site_is_closed_up_late_rather_than_never_and_a_shut_season_is_told_once() {
    let site = "closed: [{from: 2026-11-02, to: 2027-03-12, drained: true}]\nspas: {tub: {fitted: 2024-01-01}}\n";
    let all = planned("", "visits: monthly", site);
    let close = tasks(&all, &Work::Close);
    assert_eq!(close.len(), 1);
    assert_eq!((close[0].0.date, close[0].1.urgent, close[0].1.late.is_some()), (day("2026-11-02"), true, true));
    let shut: Vec<_> = all.not_fitted.iter().filter(|left| left.work == Work::ContractVisit).collect();
    assert_eq!(shut.len(), 1, "{shut:?}");
    assert!(shut[0].why.contains("the 4 visits promised monthly"), "{}", shut[0].why);
    let log = format!("{site}log: [{{date: 2026-10-28, at: {{tub: {{done: [close]}}}}}}]\n");
    assert!(tasks(&planned("", "visits: monthly", &log), &Work::Close).is_empty());
}

/// A call-out in the quarter is not the visit the contract promises; a planned one is.
#[test]
fn a_call_out_is_no_promised_visit() {
    let first = |why: &str| {
        let site = format!(
            "spas: {{tub: {{fitted: 2024-01-01}}}}\nlog: [{{date: 2026-10-12, why: {why}, at: {{tub: {{ph: 7.4}}}}}}]\n"
        );
        let all = planned("", "visits: quarterly", &site);
        tasks(&all, &Work::ContractVisit).first().map(|(visit, _)| visit.date).unwrap()
    };
    assert!(first("callout") <= day("2026-12-31"));
    assert!(first("planned") >= day("2027-01-01"));
}

/// A lamp of 24 months that takes 20 days to come: not urgent, it waits until it can be there; overdue, it does not.
#[test]
fn a_part_is_not_planned_before_it_can_have_come() {
    let lamp = Work::Renew(Id::parse("lamp").unwrap());
    let on = |fitted: &str| {
        let site =
            format!("spas: {{tub: {{fitted: 2022-01-01, equipment: {{uv: {{kind: uv_lamp, fitted: {fitted}}}}}}}}}\n");
        let all = planned("", "visits: monthly", &site);
        let (visit, task) = tasks(&all, &lamp)[0];
        (visit.date, task.because.clone(), task.late.clone())
    };
    let (date, _, late) = on("2024-11-10");
    assert!(date >= day("2026-11-20"), "{date}");
    assert!(late.is_some_and(|late| late.contains("ordered first")));
    let (date, because, _) = on("2024-05-10");
    assert_eq!(date, day("2026-11-02"));
    assert!(because.contains("To be ordered at once"), "{because}");
}

/// Overdue work is due within the promised response, by the calendar of those who can do it: the electrician is away until
/// the 16th, so that it is late and says so; where she is there, it is not.
#[test]
fn what_is_overdue_is_due_within_the_response_by_the_calendar_of_who_can_do_it() {
    let site = "spas: {tub: {fitted: 2024-01-01}}\nlog: [{date: 2025-01-10, at: {tub: {done: [safety_check]}}}]\n";
    let check = Work::Task(Id::parse("safety_check").unwrap());
    let of = |leave: &str| {
        let people = format!(
            ", technicians: {{dan: {{days: [mon, tue, wed, thu, fri], hours_per_day: 7 h}}, \
             ola: {{days: [mon, wed], hours_per_day: 7 h, skills: [electrician]{leave}}}}}"
        );
        let all = planned(&people, "visits: yearly, response: 72 h", site);
        let (visit, task) = tasks(&all, &check)[0];
        (visit.date, visit.technician.as_ref().map(ToString::to_string), task.late.is_some())
    };
    assert_eq!(of(""), (day("2026-11-02"), Some("ola".to_owned()), false));
    let away = ", leave: [{from: 2026-11-01, to: 2026-11-15}]";
    assert_eq!(of(away), (day("2026-11-16"), Some("ola".to_owned()), true));
}
