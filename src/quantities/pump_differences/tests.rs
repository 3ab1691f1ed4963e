use crate::quantities::fleet_for_tests::load_with;

const FLEET: &str = "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\n";
const BOOK: &str = "format: 1\nparts: {shaft_seal: {fits: pump, interval: {hours: 14000 h}, wears_by: hours}}\n";

fn factors(log: &str) -> Vec<Option<f64>> {
    let pumps: String = (0..12).map(|k| format!("      p{k}: {{duty: jets, program: {{run: 10 h/day}}}}\n")).collect();
    let site = format!(
        "format: 1\nrecords_from: 2021-01-01\nspas:\n  s:\n    fitted: 2021-01-01\n    pumps:\n{pumps}log:\n{log}"
    );
    let files = [("fleet.yaml", FLEET), ("upkeep.yaml", BOOK), ("sites/a.yaml", site.as_str())];
    load_with(&files, "2025-12-31", |_, figures, _| {
        let pumps = figures.spas[0].pumps.iter();
        pumps.map(|pump| figures.lives.pumps.factor(&figures.site.id, &pump.at).map(|f| f.mean())).collect()
    })
}

fn seal(day: &str, pump: usize) -> String {
    format!(
        "  - {{date: {day}, at: {{s/p{pump}: {{renewed: {{shaft_seal: {{because: failure, noticed: in_use}}}}}}}}}}\n"
    )
}

#[test]
fn a_pump_that_fails_far_more_than_the_others_goes_on_so() {
    let often = [
        "2022-01-01",
        "2022-09-01",
        "2023-05-01",
        "2023-12-01",
        "2024-05-01",
        "2024-11-01",
        "2025-03-01",
        "2025-09-01",
    ];
    let log: String = often.iter().map(|day| seal(day, 0)).collect::<String>() + &seal("2024-01-01", 5);
    let found = factors(&log);
    let (bad, others) = (found[0].unwrap(), found[1].unwrap());
    assert!(bad > 4.0 && others < 1.0, "{found:?}");
    // One failure is more than none, and far from eight. Pumps stand in the order of their names: p5 is the eighth.
    assert!(found[7].unwrap() > others && found[7].unwrap() < bad / 2.0, "{found:?}");
}

#[test]
fn pumps_alike_have_next_to_no_factor() {
    let log: String = (0..12).map(|k| seal(&format!("2024-{:02}-15", k + 1), k)).collect();
    let found = factors(&log);
    assert!(found.iter().all(|factor| factor.is_none_or(|factor| (factor - 1.0).abs() < 0.1)), "{found:?}");
}

/// Of twelve pumps one has failed five times and four of the others once each: too little to be sure that pumps differ, and far
/// from nothing. What is expected of it lies between its like's rate and its own, nearer to its own.
#[test]
fn a_pump_that_fails_much_is_not_taken_for_its_like_for_want_of_proof() {
    let own = ["2021-12-01", "2022-11-01", "2023-10-01", "2024-09-01", "2025-08-01"];
    let log: String = own.iter().map(|day| seal(day, 0)).collect::<String>()
        + &(1..5).map(|pump| seal("2024-01-01", pump)).collect::<String>();
    let found = factors(&log);
    let bad = found[0].unwrap();
    assert!(bad > 1.5 && bad < 5.0, "{found:?}");
    assert!(found.iter().flatten().filter(|factor| **factor < 1.0).count() >= 7, "{found:?}");
}
