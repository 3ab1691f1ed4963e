use std::str::FromStr;

use super::*;
use crate::quantities::fleet_for_tests::load_with;

const FLEET: &str = "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\ntax: {name: VAT, rate: 0.20}\n\
    labour: {cost: 24.00, charge: {2025-01-01: 44.00, 2026-06-02: 46.00}, callout: 95.00, out_of_hours: 1.5}\n\
    technicians: {dan: {days: [mon, tue, wed, thu, fri]}}\nholidays: [2026-06-05]\n";
const BOOK: &str = "format: 1\nparts:\n  shaft_seal: {fits: pump, number: SS-16, cost: 22.00, sell: 41.50, also_renew: [union_gasket]}\n  \
    union_gasket: {fits: pump, count: 2, number: UG-20, cost: 1.10, sell: 3.20}\ntasks: {}\n";

fn amount(text: &str) -> Decimal {
    Decimal::from_str(text).unwrap()
}

/// The statement of June 2026 of a customer with these terms and this log.
fn of<R>(contract: &str, log: &str, look: impl Fn(&Statement) -> R) -> R {
    let customers = format!("format: 1\ncustomers:\n  harbour:\n    name: Harbour\n    contract: {contract}\n");
    let site = format!(
        "format: 1\ncustomer: harbour\nspas: {{tub: {{fitted: 2024-01-01, pumps: {{jets: {{duty: jets}}}}}}}}\nlog: [{log}]\n"
    );
    let files =
        [("fleet.yaml", FLEET), ("customers.yaml", &*customers), ("upkeep.yaml", BOOK), ("sites/home.yaml", &*site)];
    load_with(&files, "2026-06-30", |fleet, site, _| {
        let (id, customer) = fleet.customers.iter().next().unwrap();
        look(&statement(fleet, id, customer, &[site.site], "2026-06".parse().unwrap()))
    })
}

/// Convention 12 by hand: 1.25 h at 44.00 on the 1st = 55.00; from the 2nd the rate is 46.00: 1.33 h = 61.18; a seal
/// 41.50 and two gaskets 6.40; without a contract all of it is charged: 164.08, tax 20 % = 32.816, printed 32.82.
#[test]
fn lines_at_the_price_in_force_add_up_and_tax_comes_last() {
    let log = "{date: 2026-06-01, why: planned, labour: 1.25 h, at: {tub: {}}}, \
        {date: 2026-06-02, why: planned, labour: 1.33 h, at: {tub/jets: {renewed: [shaft_seal]}}}, \
        {date: 2026-07-01, why: planned, labour: 9 h, at: {tub: {}}}";
    of("{from: 2020-01-01, to: 2020-12-31, scope: everything}", log, |statement| {
        let amounts: Vec<Decimal> =
            statement.visits.iter().flat_map(|v| &v.lines).map(|line| line.amount.unwrap()).collect();
        assert_eq!(amounts, ["55.00", "61.18", "41.50", "6.40"].map(amount));
        assert_eq!(statement.sums.charged, amounts.iter().sum());
        assert_eq!(statement.sums.tax, Some(amount("32.82")));
        assert_eq!(statement.sums.to_pay, amount("196.90"));
        assert_eq!((statement.sums.covered, statement.sums.without_amount), (Decimal::ZERO, 0));
    });
}

/// Labour and parts, call-outs included: the call-out, its 1.5 h at 46.00 × 1.5 = 69.00 on a holiday and the gaskets
/// are covered, the failed seal is charged.
#[test]
fn what_the_contract_covers_is_told_from_what_is_charged() {
    let log = "{date: 2026-06-05, time: 09:00-10:30, why: callout, reported: 2026-06-04, \
        at: {tub/jets: {renewed: {shaft_seal: {because: failure, noticed: in_use}}}}, used: {SS-16: 1, UG-20: 2}, labour: 1.5 h}";
    of("{scope: labour_and_parts, callouts: included, response: 24 h}", log, |statement| {
        let visit = &statement.visits[0];
        assert!(visit.out_of_hours);
        let lines: Vec<(Option<Decimal>, bool)> =
            visit.lines.iter().map(|line| (line.amount, line.covered.by_contract())).collect();
        let line = |text: &str, covered: bool| (Some(amount(text)), covered);
        assert_eq!(lines, [line("95.00", true), line("103.50", true), line("41.50", false), line("6.40", true)]);
        assert_eq!(statement.sums.charged, amount("41.50"));
        assert_eq!(statement.sums.covered, amount("204.90"));
        // Called on the 4th at an hour not written, there on the 5th at 09:00: 9 to 33 hours.
        assert_eq!(visit.response.unwrap().kept, Kept::Unknown);
    });
}

#[test]
fn a_response_is_judged_only_where_the_hour_of_the_call_cannot_matter() {
    let kept = |promised: &str, reported: &str| {
        let log = format!(
            "{{date: 2026-06-04, time: 09:00-10:30, why: callout, reported: {reported}, at: {{tub: {{}}}}, labour: 1 h}}"
        );
        of(&format!("{{scope: labour, response: {promised}}}"), &log, |s| s.visits[0].response.unwrap().kept)
    };
    assert_eq!(kept("24 h", "2026-06-04"), Kept::Yes);
    assert_eq!(kept("48 h", "2026-06-03"), Kept::Yes);
    assert_eq!(kept("8 h", "2026-06-03"), Kept::No);
    assert_eq!(kept("24 h", "2026-06-03"), Kept::Unknown);
}

#[test]
fn with_the_times_of_call_and_visit_the_response_is_known_to_the_hour() {
    let of = |reported: &str, time: &str| {
        let log =
            format!("{{date: 2026-06-04, {time} why: callout, reported: {reported}, at: {{tub: {{}}}}, labour: 1 h}}");
        of("{scope: labour, response: 24 h}", &log, |s| {
            let response = s.visits[0].response.unwrap();
            (response.hours, response.kept)
        })
    };
    let there = "time: 09:00-10:30,";
    // By hand: from 09:30 on the 3rd to 09:00 on the 4th are 23.5 hours; from 08:45, 24.25.
    assert_eq!(of("2026-06-03 09:30", there), (Some(23.5), Kept::Yes));
    assert_eq!(of("2026-06-03T08:45", there), (Some(24.25), Kept::No));
    let (hours, kept) = of("2026-06-04 07:40", there);
    assert!((hours.unwrap() - 80.0 / 60.0).abs() < 1e-9 && kept == Kept::Yes, "{hours:?}");
    // Not known to the hour, but known to be kept or missed; or neither.
    assert_eq!(of("2026-06-04 07:40", ""), (None, Kept::Yes));
    assert_eq!(of("2026-06-02 21:00", ""), (None, Kept::No));
    assert_eq!(of("2026-06-03 07:40", ""), (None, Kept::Unknown));
    // Somebody there before the call: one of the times is wrong.
    assert_eq!(of("2026-06-04 11:00", there), (None, Kept::Unknown));
    // The day counts as before in lives and failures.
    assert!(serde_yaml::from_str::<Reported>("2026-06-03 25:00").is_err());
    assert_eq!(serde_yaml::from_str::<Reported>("2026-06-03 07:05").unwrap().to_string(), "2026-06-03 07:05");
}

#[test]
fn what_has_no_price_or_no_hours_is_listed_and_not_guessed() {
    let log = "{date: 2026-06-03, why: planned, at: {tub: {}}, used: {XX-1: 3}}";
    of("{scope: labour, from: 2027-01-01}", log, |statement| {
        assert_eq!(statement.visits[0].lines.iter().map(|line| line.amount).collect::<Vec<_>>(), [None, None]);
        assert_eq!((statement.sums.without_amount, statement.sums.to_pay), (2, Decimal::ZERO));
    });
}
