use crate::quantities::fleet_for_tests::load_with;

const FLEET: &str = "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\n";
const BOOK: &str = "format: 1\nparts: {shaft_seal: {fits: pump, interval: {hours: 14000 h}, wears_by: hours}}\n";

fn reasons(pumps: usize, log: &str) -> Vec<(String, String)> {
    let pumps: String =
        (0..pumps).map(|k| format!("      p{k}: {{duty: jets, program: {{run: 10 h/day}}}}\n")).collect();
    let site = format!(
        "format: 1\nrecords_from: 2021-01-01\nspas:\n  s:\n    fitted: 2021-01-01\n    pumps:\n{pumps}log:\n{log}"
    );
    let files = [("fleet.yaml", FLEET), ("upkeep.yaml", BOOK), ("sites/a.yaml", site.as_str())];
    load_with(&files, "2025-12-31", |_, figures, _| {
        figures.to_do.iter().map(|t| (t.reason.to_owned(), t.says.clone())).collect()
    })
}

fn seal(day: &str, pump: usize) -> String {
    format!(
        "  - {{date: {day}, at: {{s/p{pump}: {{renewed: {{shaft_seal: {{because: failure, noticed: in_use}}}}}}}}}}\n"
    )
}

#[test]
fn a_seal_soon_after_its_renewal_asks_about_the_fitting() {
    let log = seal("2025-03-01", 0) + &seal("2025-05-10", 0);
    let told = reasons(1, &log);
    let (_, says) = told.iter().find(|(reason, _)| reason == "failed-soon-after-renewal").unwrap();
    // 70 days at 10 h are 700 h, within a tenth of 14,000 h; the first ran for four years.
    assert!(says.contains("70 days after its last renewal") && says.contains("Of 2 in the fleet"), "{says}");
    assert!(says.contains("1 did so") && says.contains("the shaft and the alignment"), "{says}");
    let late = seal("2025-01-01", 0) + &seal("2025-12-01", 0);
    assert!(reasons(1, &late).iter().all(|(reason, _)| reason != "failed-soon-after-renewal"));
}

#[test]
fn a_seal_soon_after_an_exchange_asks_how_the_pump_was_set_up() {
    let log =
        "  - {date: 2025-03-01, at: {s/p0: {exchanged: {because: failure}}}}\n".to_owned() + &seal("2025-05-10", 0);
    let told = reasons(1, &log);
    let (_, says) = told.iter().find(|(reason, _)| reason == "failed-soon-after-exchange").unwrap();
    assert!(says.contains("70 days after the pump's exchange"), "{says}");
}

#[test]
fn a_part_seen_failed_is_to_be_renewed_and_counts_as_failed() {
    let log = "  - {date: 2025-03-01, at: {s/p0: {inspected: {shaft_seal: failed}}}}\n";
    let told = reasons(1, log);
    let (_, says) = told.iter().find(|(reason, _)| reason == "failed-not-renewed").unwrap();
    assert!(says.starts_with("It was seen failed on 1 March 2025"), "{says}");
}

#[test]
fn pumps_that_fail_close_together_ask_what_they_share() {
    let close = seal("2025-06-01", 0) + &seal("2025-06-08", 1) + &seal("2025-06-20", 2);
    let told = reasons(4, &close);
    let (_, says) = told.iter().find(|(reason, _)| reason == "failed-close-together").unwrap();
    assert!(says.starts_with("3 of 3 failures, of 3 pumps,") && says.contains("water and voltage"), "{says}");
    let spread = seal("2022-06-01", 0) + &seal("2024-06-08", 1) + &seal("2025-06-20", 2);
    assert!(reasons(4, &spread).iter().all(|(reason, _)| reason != "failed-close-together"));
}

#[test]
fn failures_that_come_closer_together_are_told_with_their_count() {
    let days = [
        "2023-01-01",
        "2024-06-01",
        "2025-02-01",
        "2025-06-01",
        "2025-09-01",
        "2025-10-20",
        "2025-12-01",
        "2025-12-20",
    ];
    let log: String = days.iter().map(|day| seal(day, 0)).collect();
    let told = reasons(2, &log);
    let (_, says) = told.iter().find(|(reason, _)| reason == "failing-more-often").unwrap();
    assert!(says.starts_with("8 failures since"), "{says}");
}
