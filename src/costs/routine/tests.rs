use super::*;
use crate::quantities::fleet_for_tests::{day, load_with};
use crate::schedule::visits::VisitTask;

const FLEET: &str = "{format: 1, fleet: Invented, currency: GBP, timezone: Europe/London, labour: {cost: 24.00}}";

fn visit(date: &str, work: &[Work]) -> Visit {
    let task = |work: &Work| VisitTask {
        at: Address::parse("tub").unwrap(),
        work: work.clone(),
        because: String::new(),
        due: None,
        urgent: false,
        minutes: 30.0,
        skill: None,
        take: Vec::new(),
        cost: None,
        water_out: false,
        late: None,
        moved: None,
    };
    Visit {
        id: String::new(),
        site: crate::address::Id::parse("home").unwrap(),
        date: day(date),
        technician: None,
        travel_minutes: 20.0,
        travel_cost: None,
        tasks: work.iter().map(task).collect(),
        changeover: false,
        sequence: 0,
        moved: None,
        before: None,
    }
}

fn of(site: &str, visits: Vec<Visit>, look_rounds: LookRounds) -> Routine {
    let site = format!("{{format: 1, customer: harbour, {site} spas: {{tub: {{fitted: 2025-01-01}}}}}}");
    let customers = "{format: 1, customers: {harbour: {contract: {to: 2027-06-30, visits: quarterly}}}}";
    let files = [("fleet.yaml", FLEET), ("customers.yaml", customers), ("sites/home.yaml", &*site)];
    load_with(&files, "2026-10-31", |fleet, figures, as_of| {
        let plan = Plan::of(visits);
        let window = Window::of_year(2027, as_of).unwrap();
        of_plan(figures, &plan, &mut Prices::on(fleet, as_of), window, look_rounds)
    })
}

fn task(id: &str) -> Work {
    Work::Task(crate::address::Id::parse(id).unwrap())
}

fn times(routine: &Routine, work: &Work) -> u32 {
    routine.work.iter().filter(|of| of.work == *work).map(|of| of.times).sum()
}

/// The plan runs from November to October; of the year quoted its last two months are another year's.
#[test]
fn what_recurs_comes_again_and_what_is_done_once_does_not() {
    let seal = Work::Renew(crate::address::Id::parse("shaft_seal").unwrap());
    let left = Work::Left("strap torn".to_owned());
    let check = task("safety_check");
    let visits = vec![
        visit("2026-11-10", &[check.clone(), seal.clone(), left.clone(), Work::Close]),
        visit("2026-12-05", std::slice::from_ref(&seal)),
        visit("2027-03-20", &[Work::Reopen, task("water_change")]),
        visit("2027-09-15", &[task("water_change"), left.clone()]),
    ];
    let routine = of("", visits, LookRounds::AsPlanned);
    assert_eq!((times(&routine, &check), times(&routine, &Work::Close), times(&routine, &Work::Reopen)), (1, 1, 1));
    assert_eq!((times(&routine, &task("water_change")), times(&routine, &seal)), (2, 0));
    // What was left is done where the plan has it within the year, and not a year later as well.
    assert_eq!(times(&routine, &left), 1);
    // Two quarters are promised; the first look round is made at the visit of March, the second for itself.
    assert_eq!((times(&routine, &Work::ContractVisit), routine.for_look_rounds), (2, 1.0));
    // March, September, the November that comes again, and the look round; 24.00 an hour: work and ways by hand.
    assert_eq!(routine.visits, 4.0);
    let minutes = 6.0 * 30.0 + 2.0 * 15.0;
    assert!((routine.labour - minutes * 40.0).abs() < 1e-6, "{}", routine.labour);
    assert!((routine.travel - 4.0 * 20.0 * 40.0).abs() < 1e-6, "{}", routine.travel);
}

#[test]
fn what_was_pulled_forward_at_the_end_of_the_plan_is_not_counted_twice() {
    let check = task("safety_check");
    let visits =
        vec![visit("2026-11-02", &[check.clone(), Work::Close]), visit("2027-10-28", &[check.clone(), Work::Close])];
    let routine = of("", visits, LookRounds::AsPlanned);
    assert_eq!((times(&routine, &check), times(&routine, &Work::Close)), (1, 1));
}

#[test]
fn a_choice_takes_out_what_was_made_for_the_look_round_alone() {
    let visits = || {
        vec![
            visit("2027-01-15", &[Work::ContractVisit]),
            visit("2027-04-15", &[Work::ContractVisit, task("water_change")]),
        ]
    };
    let planned = of("", visits(), LookRounds::AsPlanned);
    assert_eq!((planned.visits, times(&planned, &Work::ContractVisit)), (2.0, 2));
    let half = of("", visits(), LookRounds::Every(6));
    // April stays for the water and has the look round of the first half; that of the second is a visit of its own.
    assert_eq!((half.visits, half.for_look_rounds, times(&half, &Work::ContractVisit)), (2.0, 1.0, 2));
    let monthly = of("", visits(), LookRounds::Every(1));
    assert_eq!((monthly.visits, times(&monthly, &Work::ContractVisit)), (12.0, 12));
    // A closed season has none.
    let closed = of("closed: [{from: 2027-01-01, to: 2027-03-31}],", visits(), LookRounds::Every(1));
    assert_eq!(times(&closed, &Work::ContractVisit), 9);
    // Closed from this November on: so are the next one and December, behind the end of the plan.
    let winter = of("closed: [{from: 2026-11-01, to: 2027-03-31}],", visits(), LookRounds::Every(1));
    assert_eq!(times(&winter, &Work::ContractVisit), 7);
}
