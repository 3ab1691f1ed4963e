use super::*;
use crate::schedule::visits::bound::bound;
use crate::schedule::visits::diary::CHANGEOVER_MINUTES;
use crate::units::Period;

/// Invented instances with optima by the solver `HiGHS` through `scipy.optimize.milp`; the version stands in each file, the model in
/// `solve.py` beside them.
const INSTANCES: [(&str, &str); 16] = [
    ("one-site-0", include_str!("../../../../tests/reference/visits/one-site-0.json")),
    ("one-site-1", include_str!("../../../../tests/reference/visits/one-site-1.json")),
    ("one-site-2", include_str!("../../../../tests/reference/visits/one-site-2.json")),
    ("one-site-3", include_str!("../../../../tests/reference/visits/one-site-3.json")),
    ("one-site-4", include_str!("../../../../tests/reference/visits/one-site-4.json")),
    ("one-site-5", include_str!("../../../../tests/reference/visits/one-site-5.json")),
    ("one-site-6", include_str!("../../../../tests/reference/visits/one-site-6.json")),
    ("one-site-7", include_str!("../../../../tests/reference/visits/one-site-7.json")),
    ("fleet-0", include_str!("../../../../tests/reference/visits/fleet-0.json")),
    ("fleet-1", include_str!("../../../../tests/reference/visits/fleet-1.json")),
    ("fleet-2", include_str!("../../../../tests/reference/visits/fleet-2.json")),
    ("fleet-3", include_str!("../../../../tests/reference/visits/fleet-3.json")),
    ("fleet-4", include_str!("../../../../tests/reference/visits/fleet-4.json")),
    ("crowded-0", include_str!("../../../../tests/reference/visits/crowded-0.json")),
    ("crowded-1", include_str!("../../../../tests/reference/visits/crowded-1.json")),
    ("crowded-2", include_str!("../../../../tests/reference/visits/crowded-2.json")),
];

/// Invented instances of one site whose work recurs over a year, with optima by `HiGHS` through `highspy`; the version stands in
/// each file, the model in `solve_chains.py` beside them.
const CHAINED: [(&str, &str); 6] = [
    ("chained-0", include_str!("../../../../tests/reference/visits/chained-0.json")),
    ("chained-1", include_str!("../../../../tests/reference/visits/chained-1.json")),
    ("chained-2", include_str!("../../../../tests/reference/visits/chained-2.json")),
    ("chained-3", include_str!("../../../../tests/reference/visits/chained-3.json")),
    ("chained-4", include_str!("../../../../tests/reference/visits/chained-4.json")),
    ("chained-5", include_str!("../../../../tests/reference/visits/chained-5.json")),
];

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn planned(work: &FleetWork) -> FleetYear {
    plan(work, &Stop::never()).unwrap()
}

fn work_of(text: &str) -> (FleetWork, f64, f64) {
    let read: serde_json::Value = serde_json::from_str(text).unwrap();
    let number = |value: &serde_json::Value| value.as_f64().unwrap();
    let list =
        |value: &serde_json::Value| value.as_array().unwrap().iter().map(|m| m.as_u64().unwrap() as u32).collect();
    let days = read["days"].as_u64().unwrap() as usize;
    let technicians = read["technicians"].as_array().unwrap().iter().map(|one| Technician {
        minutes: list(&one["minutes"]),
        skills: u64::from(!one["skills"].as_array().unwrap().is_empty()),
    });
    let sites = read["sites"].as_array().unwrap().iter().map(|site| {
        let chain = |job: &serde_json::Value| {
            let (first, last) = (job["first"].as_u64().unwrap() as usize, job["last"].as_i64().unwrap());
            let (at_first, at_last) = (number(&job["cost_first"]), number(&job["cost_last"]));
            let slope = (at_last - at_first) / ((last - first as i64).max(1) as f64);
            Chain {
                first,
                due: last,
                early: 0,
                again: None,
                after: None,
                minutes: job["minutes"].as_u64().unwrap() as u32,
                skills: u64::from(job["skill"].is_string()),
                access: 0,
                base: at_last,
                thrown_away: (-slope).max(0.0),
                risk: slope.max(0.0),
                urgent: None,
                respond_by: None,
                waits: false,
                may_be_late: true,
                promised: Vec::new(),
                promised_first: None,
            }
        };
        SiteWork {
            way: Way {
                area: site["area"].as_u64().unwrap() as usize,
                minutes: site["way_minutes"].as_u64().unwrap() as u32,
                cost: number(&site["way_cost"]),
            },
            access: vec![list(&site["access"])],
            changeover: vec![false; days],
            closed: Vec::new(),
            chains: site["jobs"].as_array().unwrap().iter().map(chain).collect(),
            promised: Vec::new(),
        }
    });
    let work = FleetWork { start: day("2026-11-02"), days, technicians: technicians.collect(), sites: sites.collect() };
    (work, number(&read["optimum"]), number(&read["proven_bound"]))
}

/// One site whose work recurs, and what its year costs at the least.
fn chained_work_of(text: &str) -> (FleetWork, f64) {
    let read: serde_json::Value = serde_json::from_str(text).unwrap();
    let number = |value: &serde_json::Value| value.as_f64().unwrap();
    let whole = |value: &serde_json::Value| u32::try_from(value.as_u64().unwrap()).unwrap();
    let list = |value: &serde_json::Value| value.as_array().unwrap().iter().map(whole).collect::<Vec<u32>>();
    let access = list(&read["access"]);
    let technicians = read["technicians"].as_array().unwrap().iter().map(|one| Technician {
        minutes: list(&one["minutes"]),
        skills: u64::from(!one["skills"].as_array().unwrap().is_empty()),
    });
    let chain = |one: &serde_json::Value| Chain {
        first: one["first"].as_u64().unwrap() as usize,
        due: one["due"].as_i64().unwrap(),
        early: one["early"].as_i64().unwrap(),
        again: one["again"].as_u64().map(|days| Period { months: 0, days: days as u32 }),
        after: None,
        minutes: whole(&one["minutes"]),
        skills: u64::from(one["skill"].is_string()),
        access: 0,
        base: number(&one["base"]),
        thrown_away: (-number(&one["slope"])).max(0.0),
        risk: number(&one["slope"]).max(0.0),
        urgent: None,
        respond_by: None,
        waits: false,
        may_be_late: true,
        promised: Vec::new(),
        promised_first: None,
    };
    let site = SiteWork {
        way: Way { area: 0, minutes: whole(&read["way_minutes"]), cost: number(&read["way_cost"]) },
        changeover: vec![false; access.len()],
        closed: Vec::new(),
        chains: read["chains"].as_array().unwrap().iter().map(chain).collect(),
        promised: Vec::new(),
        access: vec![access],
    };
    let days = read["days"].as_u64().unwrap() as usize;
    let work = FleetWork { start: day("2026-11-02"), days, technicians: technicians.collect(), sites: vec![site] };
    (work, number(&read["optimum"]))
}

#[test]
fn a_year_of_one_site_whose_work_recurs_equals_the_solver() {
    for (name, text) in CHAINED {
        let (work, optimum) = chained_work_of(text);
        let year = planned(&work);
        check(&work, &year);
        assert!(year.sites[0].unfitted.is_empty() && year.sites[0].done.iter().all(|done| !done.late), "{name}");
        assert!((year.cost - optimum).abs() < 1e-4, "{name}: {} against {optimum}", year.cost);
    }
}

#[test]
fn a_site_of_forty_pumps_takes_few_steps_and_says_that_it_stopped() {
    use rand::{RngExt, SeedableRng};
    let mut draw = rand_chacha::ChaCha8Rng::seed_from_u64(3);
    let days = 365;
    let works = |day: usize| day % 7 < 5;
    // A filter clean, a check, and four wear parts each, at intervals in days.
    let kinds = [(30, 10), (90, 15), (365, 30), (730, 60), (1095, 45), (1460, 20)];
    let chains: Vec<Chain> = (0..40)
        .flat_map(|_| kinds)
        .map(|(again, minutes)| {
            let due = draw.random_range(5..i64::from(again).min(900));
            let early = (i64::from(again) / 4).min(180);
            Chain {
                first: (due - early).max(0) as usize,
                due,
                early,
                again: Some(Period { months: 0, days: again }),
                after: None,
                minutes,
                skills: 0,
                access: 0,
                base: 0.0,
                thrown_away: draw.random_range(0.01..0.3),
                risk: 0.0,
                urgent: None,
                respond_by: None,
                waits: false,
                may_be_late: true,
                promised: Vec::new(),
                promised_first: None,
            }
        })
        .collect();
    let site = SiteWork {
        way: Way { area: 0, minutes: 40, cost: 30.0 },
        access: vec![(0..days).map(|day| if works(day) { 1440 } else { 0 }).collect()],
        changeover: vec![false; days],
        closed: Vec::new(),
        chains,
        promised: Vec::new(),
    };
    let person = Technician { minutes: (0..days).map(|day| if works(day) { 420 } else { 0 }).collect(), skills: 0 };
    let work = FleetWork { start: day("2026-11-02"), days, technicians: vec![person], sites: vec![site] };
    let asked = work.sites[0].asked(work.start, days, &work.sites[0].chains);
    let diary = Diary::new(work.technicians.clone(), days);
    let mut nodes = Vec::new();
    diary.nodes(&work.sites[0].way, |day| work.sites[0].open(day), |_| None, &mut nodes);
    let asked = Chains { most_steps: STEPS[0], ..asked };
    let year = asked.plan(&nodes, &[]);
    // It is asked again from every window that moved, and each time may take a step.
    assert!(year.steps <= 600, "{} steps", year.steps);
    // The search for a better year stops where it has looked at as much as it may, and says so.
    let searched = Chains { most_looks: 50_000, ..asked }.plan(&nodes, &[]);
    assert!(searched.stopped && !year.beats(&searched));
}

/// A plan is what it says: in its windows, on open days, within working days and skills, at the cost it states.
fn check(work: &FleetWork, year: &FleetYear) {
    let mut diary = Diary::new(work.technicians.clone(), work.days);
    for (index, site) in work.sites.iter().enumerate() {
        let plan = &year.sites[index];
        for done in &plan.done {
            let chain = &site.chains[done.chain];
            assert!(site.access[chain.access][done.day] >= chain.minutes, "site {index} is not open: {done:?}");
            assert_eq!(chain.skills & !work.technicians[done.technician].skills, 0, "{done:?}");
            let within = (done.window.0..=done.window.1).contains(&done.day);
            assert!(within || done.late || chain.urgent.is_some(), "{done:?}");
        }
        let visits = visits_of(site, plan);
        let mut days: Vec<usize> = visits.iter().map(|(day, _, _)| *day).collect();
        days.dedup();
        assert_eq!(days.len(), visits.len(), "two visits to site {index} on one day");
        for (day, technician, minutes) in visits {
            assert!(minutes <= site.open(day).0);
            diary.book(technician, day, site.booked(index, day, minutes));
        }
    }
    for (technician, who) in work.technicians.iter().enumerate() {
        for day in 0..work.days {
            assert!(diary.taken(technician, day) <= who.minutes[day], "technician {technician} on day {day}");
            let changing: u32 = diary.of(technician, day).iter().filter(|b| b.changeover).map(|b| b.minutes).sum();
            assert!(changing <= CHANGEOVER_MINUTES);
        }
    }
    // What is late could not have been had in time beside what is planned.
    for (index, site) in work.sites.iter().enumerate() {
        let plan = &year.sites[index];
        for done in plan.done.iter().filter(|done| done.late) {
            let chain = &site.chains[done.chain];
            let next = plan.done.iter().find(|d| d.chain == done.chain && d.day > done.day).map(|d| d.day as i64);
            for day in done.window.0..=done.window.1.min(work.days - 1) {
                let there: Vec<usize> = plan.done.iter().filter(|d| d.day == day).map(|d| d.technician).collect();
                for (technician, who) in work.technicians.iter().enumerate() {
                    let mine = there.iter().all(|t| *t == technician);
                    let here: u32 =
                        diary.of(technician, day).iter().filter(|b| b.site == index).map(|b| b.minutes).sum();
                    let trip = diary.of(technician, day).iter().filter(|b| b.way.area == site.way.area);
                    let way = site.way.minutes.saturating_sub(trip.map(|b| b.way.minutes).max().unwrap_or(0));
                    let changing: u32 =
                        diary.of(technician, day).iter().filter(|b| b.changeover).map(|b| b.minutes).sum();
                    let could = mine
                        && who.minutes[day] > 0
                        && chain.skills & !who.skills == 0
                        && here + chain.minutes <= site.access[chain.access][day]
                        && diary.taken(technician, day) + way + chain.minutes <= who.minutes[day]
                        && (!site.changeover[day] || changing + chain.minutes <= CHANGEOVER_MINUTES);
                    // To do it sooner is no help where its next time would then be late.
                    let again = chain.again.map(|again| day as i64 + i64::from(again.days));
                    let helps = again.is_none_or(|due| {
                        next.map_or(due >= work.days as i64, |next| next <= due && next >= due - chain.early)
                    });
                    let could = could && helps;
                    assert!(!could, "site {index}: {done:?} could have been done on day {day} by {technician}");
                }
            }
        }
    }
    let cost = diary.ways_cost() + year.sites.iter().map(|plan| plan.jobs).sum::<f64>();
    assert!((cost - year.cost).abs() < 1e-6);
}

#[test]
fn one_site_equals_the_solver_and_a_fleet_comes_within_five_percent_of_its_bound() {
    for (name, text) in INSTANCES {
        let (work, optimum, proven) = work_of(text);
        let year = planned(&work);
        check(&work, &year);
        assert!(year.sites.iter().all(|site| site.unfitted.is_empty() && site.done.iter().all(|d| !d.late)), "{name}");
        let over = year.cost / proven - 1.0;
        let bound = bound(&work, &year, &Stop::never());
        if work.sites.len() == 1 {
            assert!((year.cost - optimum).abs() < 1e-4, "{name}: {} against {optimum}", year.cost);
            assert!((bound - optimum).abs() < 1e-4, "{name}: the bound is {bound}, not proven");
        } else {
            assert!(over <= 0.05, "{name}: {} is {:.1} % above {proven}", year.cost, over * 100.0);
        }
        // What is printed as a bound is one.
        assert!(bound <= optimum + 1e-4, "{name}: bound {bound} above the optimum {optimum}");
    }
}

#[test]
fn the_plan_of_a_crowded_fleet_breaks_no_rule() {
    use rand::{RngExt, SeedableRng};
    for seed in 0..2u64 {
        let mut draw = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        let days = 90;
        let person = |skills| Technician {
            minutes: (0..days).map(|day| if day % 7 < 5 && !(40..50).contains(&day) { 300 } else { 0 }).collect(),
            skills,
        };
        let mut sites = Vec::new();
        for site in 0..6usize {
            let mut list = vec![1440; days];
            let mut changeover = vec![false; days];
            for day in 0..days {
                match draw.random_range(0..6) {
                    0 | 1 => list[day] = 0,
                    2 => (list[day], changeover[day]) = (360, true),
                    _ => {}
                }
            }
            let chains = (0..9)
                .map(|index| {
                    let due: i64 = draw.random_range(-20..100);
                    let period: u32 = draw.random_range(7..90);
                    let early = i64::from(period) / 4;
                    Chain {
                        first: (due - early).max(0) as usize,
                        due,
                        early,
                        again: (index < 5).then_some(Period { months: 0, days: period }),
                        after: None,
                        minutes: draw.random_range(10..120),
                        skills: u64::from(index == 4),
                        access: 0,
                        base: 0.0,
                        thrown_away: draw.random_range(0.0..2.0),
                        risk: if index % 3 == 0 { draw.random_range(0.0..2.0) } else { 0.0 },
                        urgent: (due < 0).then_some((index % 3) as u8),
                        respond_by: None,
                        waits: index % 2 == 0,
                        may_be_late: true,
                        promised: Vec::new(),
                        promised_first: None,
                    }
                })
                .collect();
            sites.push(SiteWork {
                way: Way { area: site / 3, minutes: 30, cost: 20.0 },
                access: vec![list],
                changeover,
                closed: vec![(60, 70)],
                chains,
                promised: Vec::new(),
            });
        }
        for site in &mut sites {
            (60..=70).for_each(|day| site.access[0][day] = 0);
        }
        let work = FleetWork { start: day("2026-11-02"), days, technicians: vec![person(1), person(0)], sites };
        let year = planned(&work);
        check(&work, &year);
        // What recurs is chained from when it is done.
        for (site, plan) in work.sites.iter().zip(&year.sites) {
            for (index, chain) in site.chains.iter().enumerate() {
                let Some(again) = chain.again else { continue };
                let done: Vec<&Done> = plan.done.iter().filter(|done| done.chain == index).collect();
                for two in done.windows(2) {
                    let due = two[0].day as i64 + i64::from(again.days);
                    let waited = site.closed.iter().any(|(from, to)| chain.waits && (*from..=*to).contains(&due));
                    assert!(two[1].due == due || waited, "{two:?}");
                    assert!(two[1].late || two[1].day as i64 <= due || waited, "{two:?}");
                }
            }
        }
        assert_eq!(plan_again(&work), year, "the same work gives the same plan");
    }
}

fn plan_again(work: &FleetWork) -> FleetYear {
    planned(work)
}
