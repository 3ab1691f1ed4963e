//! What to carry for small fleets read from files, beside the same counted another way.

use super::*;
use crate::costs::outlook::FleetCosts;
use crate::quantities::fleet_for_tests::{day, load_with};
use crate::quantities::forecast_check::Checks;
use crate::schedule::visits::{Plan, Take};
use crate::work_sheet::tests::{id, task, visit};

const FLEET: &str =
    "{format: 1, fleet: Test, currency: GBP, timezone: Europe/London, stock: {service_level: 0.95, lead_time: 10 d}}";
const BOOK: &str = "format: 1
parts:
  seal: {fits: pump, interval: {age: 24 mo}, wears_by: age, number: SE-1, cost: 20.00, also_renew: [gasket], shape: {low: 0.99, typical: 1.0, high: 1.01}}
  gasket: {fits: pump, count: 2, interval: {age: 24 mo}, wears_by: age, cost: 1.10, lead_time: 30 d, shape: {low: 0.99, typical: 1.0, high: 1.01}}
  odd: {fits: spa, wears_by: hours}
";

/// Twenty spas with one pump each, half of them on another model.
fn site(lost_night: &str) -> String {
    let mut text = format!("format: 1\nrecords_from: 2024-01-01\n{lost_night}spas:\n");
    for number in 0..20 {
        let model = if number % 2 == 0 { "P" } else { "Q" };
        text.push_str(&format!(
            "  s{number}:\n    fitted: 2025-01-01\n    pumps: {{one: {{model: {model}, duty: filtration, program: {{run: 8 h/day}}}}}}\n"
        ));
    }
    text
}

fn with_carry(lost_night: &str, fleet: &str, plan: &Plan, then: impl Fn(&FleetFigures, Vec<Carry>)) {
    let site = site(lost_night);
    let files = [
        ("fleet.yaml", fleet),
        ("upkeep.yaml", BOOK),
        ("pumps.yaml", "{format: 1, models: {P: {speeds: 1}, Q: {speeds: 1}}}"),
        ("sites/home.yaml", &site),
    ];
    load_with(&files, "2026-10-31", |fleet, figures, as_of| {
        let of_site = crate::site::site_figures(fleet, figures.lives, figures.site, figures.spas, as_of);
        let month = Month::of(as_of);
        let all = FleetFigures {
            fleet,
            month,
            as_of,
            sites: vec![of_site],
            lives: figures.lives,
            plan: plan.clone(),
            checks: &Checks::default(),
            costs: FleetCosts::default(),
        };
        then(&all, carry(&all));
    });
}

fn row<'a, 'b>(rows: &'b [Carry<'a>], part: &str, month: usize) -> &'b Carry<'a> {
    rows.iter().filter(|row| row.part.as_str() == part).nth(month).unwrap()
}

/// Failures at a rate that does not change with age: those of a window are the year's in proportion, and the stock is
/// that of the Poisson count about each of the distributions the kind may have, summed one by one.
#[test]
fn stock_is_that_of_the_one_failure_model_summed_one_by_one() {
    with_carry("", FLEET, &Plan::default(), |figures, rows| {
        let seal = row(&rows, "seal", 0);
        let year: f64 = (0..12).map(|month| row(&rows, "seal", month).expected_failures.unwrap()).sum();
        let weights = figures.lives.weights_of(&id("seal"));
        let mut means = vec![0.0; weights.len()];
        for part in figures.sites[0].parts.iter().filter(|part| part.part.id.as_str() == "seal") {
            let exposure = Exposure { further: 365.0, planned: &[] };
            add_up(&mut means, &figures.lives.means_of(&part.part, &exposure).unwrap());
        }
        let of_year: f64 = weights.iter().zip(&means).map(|(weight, mean)| weight * mean).sum();
        assert!((year / of_year - 1.0).abs() < 1e-9, "{year} {of_year}");
        let hold = seal.hold.unwrap();
        // Ten days from the first of the month.
        assert!((hold.demand.mean / (of_year * 10.0 / 365.0) - 1.0).abs() < 0.02, "{hold:?}");
        let enough = |stock: u32| -> f64 {
            let of = |mean: f64| Demand::poisson(mean * 10.0 / 365.0).held(stock).enough;
            weights.iter().zip(&means).map(|(weight, mean)| weight * of(*mean)).sum()
        };
        assert!(enough(hold.held.stock) >= 0.95 - 0.01, "{hold:?}");
        assert!(hold.held.stock == 0 || enough(hold.held.stock - 1) < 0.95 + 0.01, "{hold:?}");
        assert!((enough(hold.held.stock) - hold.held.enough).abs() < 0.01, "{hold:?}");
    });
}

/// A gasket is wanted for its own failures and for those of the seal that has it renewed along; two make a set.
#[test]
fn what_is_renewed_along_is_wanted_too_and_in_whole_sets() {
    with_carry("", FLEET, &Plan::default(), |_, rows| {
        let (seal, gasket) = (row(&rows, "seal", 0), row(&rows, "gasket", 0));
        let hold = gasket.hold.unwrap();
        let own = gasket.expected_failures.unwrap();
        // November has 30 days, as the lead time of the gasket; of the seals the month's failures come along.
        assert!((hold.demand.mean / (own + seal.expected_failures.unwrap()) - 1.0).abs() < 1e-6, "{hold:?}");
        assert_eq!(hold.stock(), 2 * hold.held.stock);
        assert_eq!(hold.price, Some(Decimal::new(220, 2)));
        assert_eq!(gasket.fits, "pump: P ×10; Q ×10");
        assert_eq!(seal.line.number.as_ref().unwrap().0, "SE-1");
    });
}

#[test]
fn one_more_and_one_fewer_cost_what_their_nights_do() {
    with_carry("lost_night: 180.00\n", FLEET, &Plan::default(), |_, rows| {
        let hold = row(&rows, "gasket", 0).hold.unwrap();
        assert!(hold.held.stock > 0);
        assert_eq!(hold.wanting, Some(180.0 * 30.0));
        let fewer = hold.one_fewer.unwrap();
        assert!(fewer.enough < 0.95 && hold.held.enough >= 0.95 && hold.one_more.enough > hold.held.enough);
        // One more saves a wait whenever more are wanted than held; one fewer costs one whenever all are wanted.
        let saves = (1.0 - hold.held.enough) * 5400.0;
        let costs = (1.0 - fewer.enough) * 5400.0;
        assert!((hold.one_more_saves().unwrap() - saves).abs() < 1e-6 * saves.max(1.0));
        assert!((hold.one_fewer_costs().unwrap() - costs).abs() < 1e-6 * costs.max(1.0));
    });
    with_carry("", FLEET, &Plan::default(), |_, rows| {
        assert_eq!(row(&rows, "gasket", 0).hold.unwrap().one_more_saves(), None);
    });
}

/// Planned work counts in the month of its visit, is ordered a lead time before it, and prevents failures behind it.
#[test]
fn planned_work_is_ordered_a_lead_time_before_its_visit() {
    let mut seal = task("s3/one", Work::Renew(id("seal")));
    let take = |part: &str, count: u32| Take { part: id(part), count, number: None };
    seal.take = vec![take("seal", 1), take("gasket", 2)];
    let plan = Plan::of([visit("home", 1, "2027-02-20", vec![seal])]);
    with_carry("", FLEET, &plan, |_, rows| {
        let planned: Vec<u32> = (0..12).map(|month| row(&rows, "gasket", month).planned).collect();
        assert_eq!(planned, [0, 0, 0, 2, 0, 0, 0, 0, 0, 0, 0, 0]);
        assert_eq!(row(&rows, "seal", 3).month.to_string(), "2027-02");
        assert_eq!(row(&rows, "seal", 3).on_order_by, Some(day("2027-02-10")));
        assert_eq!(row(&rows, "gasket", 3).on_order_by, Some(day("2027-01-21")));
        // What is to be held at once is to be on order at once.
        assert_eq!(row(&rows, "gasket", 0).on_order_by, Some(day("2026-10-31")));
    });
}

/// A visit on 3 November takes a seal that comes in ten days: ordered on the as-of day, 31 October, it comes on the 10th.
/// A visit on the 10th is in time.
#[test]
fn a_visit_before_an_order_can_come_is_told() {
    let of = |date: &str| {
        let mut seal = task("s3/one", Work::Renew(id("seal")));
        seal.take = vec![Take { part: id("seal"), count: 1, number: None }];
        let plan = Plan::of([visit("home", 1, date, vec![seal])]);
        let found = std::cell::Cell::new((None, None, None));
        with_carry("", FLEET, &plan, |_, rows| {
            let row = row(&rows, "seal", 0);
            found.set((row.on_order_by, row.too_late_for, row.comes_on));
        });
        found.get()
    };
    let now = Some(day("2026-10-31"));
    assert_eq!(of("2026-11-03"), (now, Some(day("2026-11-03")), Some(day("2026-11-10"))));
    assert_eq!(of("2026-11-10"), (now, None, Some(day("2026-11-10"))));
}

/// The service level is met without a seal on the shelf, and one would save more in ten days than it costs: it is said, and
/// not held.
#[test]
fn what_would_be_cheaper_than_the_service_level_is_told() {
    let pays = |lost_night: &str| {
        let pays = std::cell::Cell::new((0, false));
        with_carry(lost_night, FLEET, &Plan::default(), |_, rows| {
            let hold = row(&rows, "seal", 0).hold.unwrap();
            pays.set((hold.held.stock, hold.one_more_pays()));
        });
        pays.get()
    };
    let (stock, nights_dear) = pays("lost_night: 18000.00\n");
    assert!(nights_dear);
    assert_eq!(pays("lost_night: 0.01\n"), (stock, false));
    assert_eq!(pays(""), (stock, false));
}

#[test]
fn what_cannot_be_said_is_left_empty() {
    let without = "{format: 1, fleet: Test, currency: GBP, timezone: Europe/London}";
    with_carry("", without, &Plan::default(), |_, rows| {
        let seal = row(&rows, "seal", 0);
        assert!(seal.hold.is_none() && seal.on_order_by.is_none() && seal.expected_failures.is_some());
    });
    with_carry("", FLEET, &Plan::default(), |_, rows| {
        let odd = row(&rows, "odd", 0);
        assert!(odd.expected_failures.is_none() && odd.hold.is_none());
    });
}

/// By hand: renewals planned at every pump on the first day leave, at a constant rate, as many failures as none; a part
/// that wears is where renewal helps, and the model of lives has its own tests for that.
#[test]
fn use_to_come_is_followed_by_quarters() {
    with_carry("", FLEET, &Plan::default(), |figures, rows| {
        assert_eq!(rows.len(), 12 * 3);
        let months: Vec<f64> = (0..12).map(|month| row(&rows, "seal", month).expected_failures.unwrap()).collect();
        let days: Vec<f64> = (1..=12).map(|month| f64::from(figures.month.plus(month).days())).collect();
        // Of an unchanging rate a day has its share; what is not known of the rate lets it fall a little within the year.
        for (failures, days) in months.iter().zip(&days) {
            let share = failures / days / (months.iter().sum::<f64>() / 365.0);
            assert!((share - 1.0).abs() < 0.05, "{months:?}");
        }
    });
}
