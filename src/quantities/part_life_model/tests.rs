#![expect(clippy::disallowed_methods, reason = "a test writes the fleet it reads")]

use std::path::Path;

use super::*;
use crate::calendar::parse_date;
use crate::records::load::Shared;

const FLEET: &str =
    "format: 1\nfleet: Invented Fleet\ncurrency: GBP\ntimezone: Europe/London\nlabour: {cost: 24, callout: 95}\n";
const BOOK: &str = "format: 1
parts:
  shaft_seal: {fits: pump, interval: {hours: 14000 h}, wears_by: hours, cost: 22, time: 90 min, also_renew: [union_gasket],
    failure: {cost: 260, down: 2 d}, shape: {low: 0.8, typical: 1.4, high: 4.0}}
  union_gasket: {fits: pump, interval: {age: 36 mo}, wears_by: age, cost: 1.1, time: 10 min}
";

fn gathered(log: &str, pump: &str) -> SiteLives {
    let folder = tempfile::tempdir().unwrap();
    let put = |name: &str, text: &str| std::fs::write(Path::join(folder.path(), name), text).unwrap();
    put("fleet.yaml", FLEET);
    put("upkeep.yaml", BOOK);
    std::fs::create_dir(folder.path().join("sites")).unwrap();
    put(
        "sites/a.yaml",
        &format!(
            "format: 1\nname: A\nrecords_from: 2023-01-01\nspas:\n  s:\n    fitted: 2022-01-01\n    pumps:\n      p: {{duty: jets, {pump}, program: {{run: 10 h/day}}}}\nlog:\n{log}"
        ),
    );
    let shared = Shared::load(folder.path()).unwrap();
    let site = shared.read_site(&shared.sites[0]).unwrap();
    assert!(
        site.left_out.is_empty() && site.diagnostics.iter().all(|d| d.severity != crate::diagnostic::Severity::Error),
        "{:?}",
        site.diagnostics
    );
    let as_of = parse_date("2025-12-31").unwrap();
    let site = site.as_of(as_of);
    let figures = crate::quantities::spa_figures(&shared.fleet, &site, as_of);
    site_lives(&shared.fleet, &site, &figures, as_of)
}

fn days(from: &str, to: &str) -> f64 {
    days_between(parse_date(from).unwrap(), parse_date(to).unwrap()) as f64
}

fn of<'a>(lives: &'a SiteLives, part: &str) -> &'a Gathered {
    lives.kinds.iter().find(|((id, _), _)| id.as_str() == part).unwrap().1
}

#[test]
fn a_failure_in_use_ends_a_life_and_what_is_renewed_with_it_ends_sound() {
    let lives = gathered(
        "  - {date: 2024-06-03, reported: 2024-06-01, at: {s/p: {renewed: {shaft_seal: {because: failure, noticed: in_use}}}}}\n",
        "fitted: 2022-01-01",
    );
    let seal = of(&lives, "shaft_seal");
    // The first was watched from the start of the records; hours at 10 a day.
    let first = 10.0 * days("2022-01-01", "2024-06-01");
    assert_eq!(seal.lives.len(), 2);
    assert!((seal.lives[0].entry - 3650.0).abs() < 1e-6);
    assert_eq!(seal.lives[0].end, End::Failed(first));
    assert_eq!(seal.lives[1].entry, 0.0);
    assert_eq!(seal.lives[1].end, End::Sound(10.0 * days("2024-06-03", "2025-12-31")));
    let gasket = of(&lives, "union_gasket");
    assert_eq!(gasket.lives[0].end, End::Sound(days("2022-01-01", "2024-06-03")));
    assert_eq!((seal.in_service, gasket.in_service), (1, 1));
}

#[test]
fn a_failure_found_at_a_visit_happened_since_the_part_was_last_seen_good() {
    let lives = gathered(
        "  - {date: 2024-02-01, at: {s/p: {inspected: {union_gasket: good}}}}
  - {date: 2024-03-01, at: {s/p: {inspected: {union_gasket: failed}}}}
  - {date: 2024-05-01, at: {s/p: {renewed: {union_gasket: {because: failure}}}}}
  - {date: 2025-05-01, at: {s/p: {renewed: {union_gasket: {because: failure}}}}}\n",
        "fitted: 2022-01-01",
    );
    let gasket = of(&lives, "union_gasket");
    let end = |from: &str, to: &str| End::FailedBetween(days("2022-01-01", from), days("2022-01-01", to));
    assert_eq!(gasket.lives[0].end, end("2024-02-01", "2024-03-01"));
    // Never seen good again: since it was renewed.
    assert_eq!(gasket.lives[1].end, End::FailedBetween(0.0, days("2024-05-01", "2025-05-01")));
}

#[test]
fn a_part_seen_failed_and_never_renewed_has_failed() {
    let lives = gathered(
        "  - {date: 2024-02-01, at: {s/p: {inspected: {union_gasket: good}}}}
  - {date: 2024-03-01, at: {s/p: {inspected: {union_gasket: failed}}}}\n",
        "fitted: 2022-01-01",
    );
    let gasket = of(&lives, "union_gasket");
    let seen = |day: &str| days("2022-01-01", day);
    assert_eq!(gasket.lives.len(), 1);
    assert_eq!(gasket.lives[0].end, End::FailedBetween(seen("2024-02-01"), seen("2024-03-01")));
    // Still in service, and seen good again it is sound.
    assert_eq!(gasket.in_service, 1);
    let good_again = gathered(
        "  - {date: 2024-03-01, at: {s/p: {inspected: {union_gasket: failed}}}}
  - {date: 2024-04-01, at: {s/p: {inspected: {union_gasket: good}}}}\n",
        "fitted: 2022-01-01",
    );
    assert!(!of(&good_again, "union_gasket").lives[0].failed());
}

/// Whatever it was renewed for in the end: by plan, with another part, or with the whole pump.
#[test]
fn a_part_seen_failed_and_renewed_for_another_reason_has_failed() {
    let seen = |day: &str| days("2022-01-01", day);
    for later in [
        "renewed: {union_gasket: {because: due}}",
        "renewed: {shaft_seal: {because: due}}",
        "exchanged: {because: request}",
    ] {
        let lives = gathered(
            &format!(
                "  - {{date: 2024-02-01, at: {{s/p: {{inspected: {{union_gasket: good}}}}}}}}
  - {{date: 2024-03-01, at: {{s/p: {{inspected: {{union_gasket: failed}}}}}}}}
  - {{date: 2024-05-01, at: {{s/p: {{{later}}}}}}}\n"
            ),
            "fitted: 2022-01-01",
        );
        let gasket = of(&lives, "union_gasket");
        assert_eq!(gasket.lives[0].end, End::FailedBetween(seen("2024-02-01"), seen("2024-03-01")), "{later}");
        assert_eq!(gasket.lives.len(), 2, "{later}");
        assert!(!gasket.lives[1].failed(), "{later}");
    }
}

#[test]
fn an_exchange_ends_every_life_sound_and_an_unknown_age_is_counted_only() {
    let lives = gathered(
        "  - {date: 2023-02-01, at: {s/p: {renewed: {shaft_seal: {because: failure, noticed: in_use}}}}}
  - {date: 2024-02-01, at: {s/p: {exchanged: {because: failure}}}}\n",
        "fitted: unknown",
    );
    let seal = of(&lives, "shaft_seal");
    assert_eq!(seal.failures_of_unknown_age, 1);
    assert_eq!(seal.lives.len(), 2);
    assert!(seal.lives.iter().all(|l| !l.failed()));
    assert_eq!(seal.lives[0].end, End::Sound(10.0 * days("2023-02-01", "2024-02-01")));
}

#[test]
fn a_fitting_known_by_the_year_makes_the_age_at_failure_a_range() {
    let lives = gathered(
        "  - {date: 2024-02-01, at: {s/p: {renewed: {union_gasket: {because: failure, noticed: in_use}}}}}\n",
        "fitted: 2022",
    );
    let end = of(&lives, "union_gasket").lives[0].end;
    assert_eq!(end, End::FailedBetween(days("2022-12-31", "2024-02-01"), days("2022-01-01", "2024-02-01")));
}

#[test]
fn a_life_that_ended_before_the_records_begin_is_not_there() {
    let lives = gathered(
        "  - {date: 2022-06-01, at: {s/p: {renewed: {union_gasket: {because: failure, noticed: in_use}}}}}
  - {date: 2023-06-01, at: {s/p: {hours: 100}}}\n",
        "fitted: 2022-01-01",
    );
    let gasket = of(&lives, "union_gasket");
    assert_eq!(gasket.lives.len(), 1);
    assert_eq!(gasket.lives[0].entry, days("2022-06-01", "2023-01-01"));
}

fn kind(lives: Vec<Life>, costs: Option<Costs>) -> KindModel {
    let book: crate::records::upkeep::UpkeepFile = serde_yaml::from_str(BOOK).unwrap();
    let (_, part) = book.parts.iter().find(|(id, _)| id.as_str() == "shaft_seal").unwrap();
    let in_service = lives.iter().filter(|l| !l.failed()).count();
    kind_model(part, &Gathered { lives, in_service, failures_of_unknown_age: 0, uses: BTreeMap::new() }, costs, None)
}

#[test]
fn with_no_failure_the_book_leads_and_ages_reached_count_for_it() {
    let none = kind(Vec::new(), None);
    assert_eq!(none.status, Status::NoFailures);
    let [low, b10, high] = none.posterior.as_ref().unwrap().quantiles_of([0.1, 0.5, 0.9], |w| w.quantile(0.1));
    assert!((b10 / 14000.0 - 1.0).abs() < 0.01 && low < 5000.0 && high > 40000.0, "{low} {b10} {high}");
    let sixty = kind(vec![Life { entry: 0.0, end: End::Sound(13000.0), count: 60.0 }], None);
    let later = sixty.posterior.as_ref().unwrap().quantiles_of([0.5], |w| w.quantile(0.1))[0];
    assert!(later > 1.4 * b10, "{later}");
    assert_eq!(sixty.advice(), Advice::Unknown);
}

/// What the book's interval may have meant is within what is believed of it: at the typical shape of a seal the
/// central 80 % of B10 reaches from where the interval is the age by which 45 % have failed to where it is
/// that by which 2 % have.
#[test]
fn the_book_may_have_meant_another_share() {
    let reach = crate::basis::CENTRAL_80 * BOOK_DEVIATION;
    // Share failed by the book's interval when B10 is a factor exp(±reach) of it.
    let share = |ln_b10: f64| 1.0 - (-(1.0f64 - BOOK_SHARE).ln().abs() * (-ln_b10 * 1.4).exp()).exp();
    assert!((0.42..0.50).contains(&share(-reach)), "{}", share(-reach));
    assert!((0.015..0.02).contains(&share(reach)), "{}", share(reach));
}

/// Forty lives of one curve agree with it; lives of two kinds of failure, a fifth at once and the rest late, do not.
#[test]
fn lives_that_follow_no_such_curve_are_told() {
    let weibull = Weibull { shape: 1.6, scale: 20_000.0 };
    let one: Vec<Life> =
        (0..40).map(|i| Life::from_new(End::Failed(weibull.quantile((f64::from(i) + 0.5) / 40.0)))).collect();
    let model = kind(one, None);
    let check = model.curve_check.unwrap();
    assert!(!check.disagrees() && !model.is_disputed(), "{check:?}");
    // By hand: five are watched up to the 36th failure; the 19th is in the middle, with 39 to 22 watched since the first.
    let hazard: f64 = (22..=39).map(|watched| 1.0 / f64::from(watched)).sum();
    assert!((check.counted[1] - (-hazard).exp()).abs() < 1e-12, "{check:?}");
    let two: Vec<Life> = (0..200)
        .map(|i| Life::from_new(End::Failed(if i % 5 == 0 { 200.0 + f64::from(i) } else { 30_000.0 + f64::from(i) })))
        .collect();
    assert!(kind(two, None).is_disputed());
}

#[test]
fn parts_that_do_not_wear_out_are_run_until_they_fail() {
    // Exponential lives at their own quantiles: age does not matter.
    let lives: Vec<Life> =
        (0..40).map(|i| Life::from_new(End::Failed(-9000.0 * (1.0 - (f64::from(i) + 0.5) / 40.0).ln()))).collect();
    let costs = Some(Costs { planned: 60.0, failure: 400.0 });
    let model = kind(lives, costs);
    assert_eq!(model.status, Status::Ok);
    assert_eq!(model.advice(), Advice::DoesNotPay, "{:?}", model.replacement);
}

#[test]
fn parts_that_wear_out_late_are_renewed_later_than_the_book_says() {
    let steep = Weibull { shape: 4.0, scale: 40_000.0 };
    let lives: Vec<Life> =
        (0..60).map(|i| Life::from_new(End::Failed(steep.quantile((f64::from(i) + 0.5) / 60.0)))).collect();
    let costs = Costs { planned: 60.0, failure: 400.0 };
    let model = kind(lives, Some(costs));
    let best = steep.best_age(costs).age.unwrap();
    let Advice::BestAge(age) = model.advice() else { panic!("{:?}", model.replacement) };
    assert!((age / best - 1.0).abs() < 0.1, "{age} against {best}");
    assert!(!model.is_disputed());
    // The same, seen three times only: never far from the book.
    let few = kind((0..3).map(|_| Life::from_new(End::Failed(39_000.0))).collect(), Some(costs));
    assert_eq!(few.status, Status::FewFailures);
    assert!((few.replacement.unwrap().age / 14_000.0 - 1.0).abs() < 0.101);
}

/// A part whose months come long before its hours is renewed by them, and what its best age saves is told against that: at 2 h a
/// day 48 months are 2 922 h, a fifth of 14 000 h.
#[test]
fn what_is_saved_against_the_book_is_told_of_the_limit_that_comes_first() {
    let mut part: Part = serde_yaml::from_str(
        "{fits: pump, interval: {hours: 14000 h, age: 48 mo}, shape: {low: 0.8, typical: 1.4, high: 4}}",
    )
    .unwrap();
    let steep = Weibull { shape: 4.0, scale: 40_000.0 };
    let lives: Vec<Life> =
        (0..60).map(|i| Life::from_new(End::Failed(steep.quantile((f64::from(i) + 0.5) / 60.0)))).collect();
    let costs = Costs { planned: 60.0, failure: 400.0 };
    let of = |part: &Part, per_day: &[f64]| {
        let mut gathered = Gathered { lives: lives.clone(), ..Gathered::default() };
        for hours in per_day {
            gathered.add_use(hours * 365.25, 365.25);
        }
        kind_model(part, &gathered, Some(costs), None)
    };
    let seldom = of(&part, &[2.0]);
    assert!((seldom.book_at_usual_use().unwrap() - 2922.0).abs() < 5.0, "{:?}", seldom.renewed_at);
    assert_eq!(seldom.book, Some(14_000.0));
    let always = of(&part, &[24.0]);
    assert_eq!(always.book_at_usual_use(), Some(14_000.0));
    let saved = |model: &KindModel| model.replacement.unwrap().against_book[1];
    let least = steep.best_age(costs).cost_rate;
    let best = |cost: f64| 1.0 - least / cost;
    let (few_hours, many) = (steep.cost_rate(costs, 2922.0), steep.cost_rate(costs, 14_000.0));
    assert!((saved(&seldom) - best(few_hours)).abs() < 0.03, "{} {}", saved(&seldom), best(few_hours));
    assert!((saved(&always) - best(many)).abs() < 0.03 && saved(&seldom) > saved(&always) + 0.1);
    // Both: each is as dear by the book as its own use makes it, 2 hours of 26 to 24.
    let both = of(&part, &[2.0, 24.0]);
    assert!((saved(&both) - best((2.0 * few_hours + 24.0 * many) / 26.0)).abs() < 0.03, "{}", saved(&both));
    part.interval.age = None;
    assert_eq!(of(&part, &[2.0]).book_at_usual_use(), Some(14_000.0));
}

/// A site with one pump fitted on 2022-01-01 that runs 10 h a day, its seal due as the fleet's lives say.
fn seal_due(renew_by: &str, model: KindModel) -> (Option<NaiveDate>, crate::basis::Basis, Option<f64>) {
    let folder = tempfile::tempdir().unwrap();
    let put = |name: &str, text: &str| std::fs::write(Path::join(folder.path(), name), text).unwrap();
    put("fleet.yaml", &format!("{FLEET}renew_by: {renew_by}\n"));
    put("upkeep.yaml", BOOK);
    std::fs::create_dir(folder.path().join("sites")).unwrap();
    put(
        "sites/a.yaml",
        "format: 1\nspas:\n  s:\n    fitted: 2022-01-01\n    pumps:\n      p: {duty: jets, program: {run: 10 h/day}}\n",
    );
    let shared = Shared::load(folder.path()).unwrap();
    let as_of = parse_date("2025-12-31").unwrap();
    let site = shared.read_site(&shared.sites[0]).unwrap().as_of(as_of);
    let figures = crate::quantities::spa_figures(&shared.fleet, &site, as_of);
    let parts = part_lives::parts_in_service(&shared.fleet, &site, &figures, as_of);
    let seal = parts.iter().find(|p| p.id.as_str() == "shaft_seal").unwrap().id.clone();
    let lives = FleetLives { kinds: BTreeMap::from([(seal, model)]), ..FleetLives::default() };
    let due = due::parts_due(&shared.fleet, &lives, &figures, parts, as_of);
    let due = due.iter().find(|d| d.part.id.as_str() == "shaft_seal").unwrap();
    (due.due, due.basis, due.fail_12mo)
}

#[test]
fn renew_by_chooses_between_the_book_and_the_best_age() {
    use crate::basis::Basis;
    let costs = Some(Costs { planned: 60.0, failure: 400.0 });
    let of = |scale: f64| {
        let steep = Weibull { shape: 4.0, scale };
        kind((0..60).map(|i| Life::from_new(End::Failed(steep.quantile((f64::from(i) + 0.5) / 60.0)))).collect(), costs)
    };
    let book = crate::calendar::plus_days(parse_date("2022-01-01").unwrap(), 1400);
    // Lives much shorter than the book's interval: the best age, about half the scale, comes first.
    let (due, basis, chance) = seal_due("earliest", of(9_000.0));
    assert!(due.unwrap() < book && basis == Basis::LifeModel, "{due:?}");
    assert!(chance.unwrap() > 0.9, "{chance:?}");
    assert_eq!(seal_due("life", of(9_000.0)).0, due);
    assert_eq!(seal_due("book", of(9_000.0)).0, Some(book));
    // Much longer ones: the book's comes first, and only `life` waits.
    assert_eq!(seal_due("earliest", of(40_000.0)).0, Some(book));
    let (due, basis, chance) = seal_due("life", of(40_000.0));
    assert!(due.is_none_or(|due| due > book) && chance.unwrap() < 0.1, "{due:?} {basis} {chance:?}");
    // Nothing that pays: the book.
    let (due, basis, _) = seal_due("life", kind(Vec::new(), costs));
    assert_eq!((due, basis), (Some(book), Basis::Book));
}
