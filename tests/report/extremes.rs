//! Reports of fleets at the ends of what there is: nothing read, a day of records, thirty spas, names nobody can set.

use std::fmt::Write;

use crate::support::{Fleet, Pdf, Run};

fn report(fleet: &Fleet, month: &str) -> Run {
    Run::report(fleet.path(), month, &[]).expect_status(0)
}

fn pages(run: &Run, site: &str) -> usize {
    run.pdf(site).pages()
}

const NOTHING_READ: &str =
    "format: 1\nname: Quay House\nuse: rental\nspas:\n  terrace:\n    pumps:\n      one: {duty: filtration}\n";

#[test]
fn a_site_of_which_nothing_was_read_has_a_short_report_that_says_so() {
    let run = report(&Fleet::without_sites().file("sites/quay-house.yaml", NOTHING_READ), "2026-03");
    assert!(pages(&run, "quay-house") <= 6, "{} pages", pages(&run, "quay-house"));
    let text = run.pdf("quay-house").text();
    assert!(text.contains("notknown"), "{text}");
    assert!(!text.contains("NaN"), "{text}");
}

#[test]
fn one_day_of_records_is_enough_for_a_report() {
    let site = "format: 1\nname: Quay House\nuse: rental\nspas:\n  terrace:\n    volume: 1200 L\n    fitted: 2026-03-31\n    \
                pumps:\n      filtration: {model: F-033, duty: filtration, program: {run: 24 h/day}}\nlog:\n  \
                - {date: 2026-03-31, by: dan, at: {terrace/filtration: {hours: 3}, terrace: {ph: 7.4}}}\n";
    let run = report(&Fleet::without_sites().file("sites/quay-house.yaml", site), "2026-03");
    assert!(pages(&run, "quay-house") <= 6);
    assert!(Pdf::open(&run.month().join("fleet.pdf")).pages() <= 4);
}

#[test]
fn thirty_spas_with_three_pumps_each_stay_within_the_pages() {
    let mut site = String::from("format: 1\nname: The Long Hall\nuse: rental\nspas:\n");
    for spa in 0..30 {
        let _ = writeln!(
            site,
            "  spa-{spa}:\n    volume: 1200 L\n    fitted: 2024-01-01\n    filters: {{main: {{kind: cartridge, area: 9 m2}}}}\n    \
             pumps:\n      filtration: {{model: F-033, duty: filtration, program: {{run: 24 h/day}}}}\n      \
             jets-1: {{model: F-033, duty: jets, program: {{run: 1 h/day}}}}\n      \
             jets-2: {{model: F-033, duty: jets, program: {{run: 1 h/day}}}}"
        );
    }
    site.push_str("log:\n  - date: 2026-01-31\n    by: dan\n    at:\n");
    for spa in 0..30 {
        let _ = writeln!(site, "      spa-{spa}/filtration: {{hours: {}}}", 1000 + spa);
    }
    let fleet = Fleet::without_sites().file("sites/long-hall.yaml", site);
    // A sheet of a visit to thirty spas takes the renderer long.
    let run = Run::report(fleet.path(), "2026-03", &["--typst-seconds", "600"]).expect_status(0);
    assert!(pages(&run, "long-hall") <= 18, "{} pages", pages(&run, "long-hall"));
    // What is not in the report is in the tables.
    assert!(run.pdf("long-hall").text().contains("tables/run_hours.csv"));
}

#[test]
fn names_of_thousands_of_letters_and_scripts_without_a_font_cost_no_page() {
    for name in
        ["W".repeat(5000), "very long name ".repeat(333), "\u{6e29}\u{6cc9} \u{627}\u{644} \u{1f6c1}".to_owned()]
    {
        let site = crate::support::fleet::SITE.replace("Quay House", &name);
        let fleet = Fleet::without_sites().file("sites/quay-house.yaml", site);
        let run = Run::report(fleet.path(), "2026-03", &[]).expect_status(0);
        assert!(pages(&run, "quay-house") <= 8, "{} pages", pages(&run, "quay-house"));
        let fleet = Pdf::open(&run.month().join("fleet.pdf"));
        assert!(fleet.pages() <= 6);
        // A sentence that names the site has room for its other words.
        let shown: String = name.chars().filter(|c| !c.is_whitespace()).take(40).collect();
        let whole: String = name.chars().filter(|c| !c.is_whitespace()).take(121).collect();
        let text = fleet.text();
        assert!(text.contains(&shown) || !shown.is_ascii(), "{text}");
        assert!(!text.contains(&whole) || whole.chars().count() < 121, "{text}");
    }
}

#[test]
fn forty_pumps_of_long_names_have_charts_and_a_report_within_the_pages() {
    let mut site = String::from(
        "format: 1\nname: The Long Hall\nuse: rental\nspas:\n  terrace:\n    volume: 9000 L\n    fitted: 2024-01-01\n    pumps:\n",
    );
    for pump in 0..40 {
        let name = format!("pump-{pump}-{}", "of-the-upper-terrace-by-lake");
        let _ =
            writeln!(site, "      {}: {{model: F-033, duty: jets, program: {{run: {} h/day}}}}", name, 1 + pump % 9);
    }
    let run = report(&Fleet::without_sites().file("sites/long-hall.yaml", site), "2026-03");
    assert!(pages(&run, "long-hall") <= 12, "{} pages", pages(&run, "long-hall"));
    // The picture shows some of them and says how many, and which.
    assert!(run.pdf("long-hall").text().contains("6of40pumpsareshown"), "{}", run.pdf("long-hall").text());
    assert!(run.month().join("sites/long-hall/charts/run-hours.svg").exists());
}
