//! Files nobody wrote by hand: they get a clear word in bounded time.

use std::time::{Duration, Instant};

use crate::support::{Fleet, Run};

/// Checks a site's text, which must be refused with these words, and soon.
#[track_caller]
fn refused(text: &str, words: &str) {
    let fleet = Fleet::without_sites().file("sites/quay-house.yaml", text);
    let clock = Instant::now();
    let run = Run::check(fleet.path(), &["--format", "short"]).expect_status(1);
    assert!(clock.elapsed() < Duration::from_secs(20), "it took {:?}", clock.elapsed());
    assert!(run.stderr.contains(words), "{}", run.stderr.chars().take(2000).collect::<String>());
    assert!(run.stderr.len() < 100_000, "{} bytes were said", run.stderr.len());
}

#[test]
fn nesting_of_any_depth_is_refused_at_once() {
    for field in ["name", "x-deep"] {
        for (open, close) in [("[", "]"), ("{a: ", "}"), ("[\n ", "]")] {
            let text =
                format!("format: 1\nspas: {{t: {{}}}}\n{field}: {}{}\n", open.repeat(200_000), close.repeat(200_000));
            refused(&text, "nested deeper than 40 levels");
        }
    }
}

#[test]
fn aliases_are_refused_before_they_grow() {
    let mut text = "format: 1\nspas: {t: {}}\nx-a0: &a0 [x, x, x, x, x, x, x, x, x]\n".to_owned();
    for level in 1..30 {
        let before = format!("*a{}, ", level - 1).repeat(9);
        text.push_str(&format!("x-a{level}: &a{level} [{before}]\n"));
    }
    refused(&text, "an anchor stands here");
}

/// What is said of a fleet, which must be soon and not without end.
#[track_caller]
fn said_soon(fleet: &Fleet) -> Run {
    let clock = Instant::now();
    let run = Run::check(fleet.path(), &["--format", "short"]);
    assert!(clock.elapsed() < Duration::from_secs(60), "it took {:?}", clock.elapsed());
    assert!(run.stderr.len() < 300_000, "{} bytes were said", run.stderr.len());
    run
}

#[test]
fn mistakes_without_end_are_told_with_an_end() {
    let entries = "  - {date: 2026-01-31, at: {nowhere: {ph: 7}}}\n".repeat(60_000);
    let site = format!("format: 1\nspas: {{t: {{}}}}\nlog:\n{entries}");
    let run = said_soon(&Fleet::without_sites().file("sites/quay-house.yaml", site)).expect_status(1);
    assert!(run.stderr.contains("more problems of sites/quay-house.yaml are not told"), "{}", &run.stderr[..2000]);
    let event = "BEGIN:VEVENT\r\nUID:one\r\nDTSTART;VALUE=DATE:20260306\r\nRRULE:FREQ=DAILY\r\nEND:VEVENT\r\n";
    let bookings = format!("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:x\r\n{}END:VCALENDAR\r\n", event.repeat(20_000));
    let run = said_soon(&Fleet::small().file("bookings/quay-house.ics", bookings)).expect_status(1);
    assert!(run.stderr.contains("the others are not told"), "{}", &run.stderr[..2000]);
    let sheet = format!("date,at,ph\n{}", "2026-02-30,terrace,7\n".repeat(300_000));
    said_soon(&Fleet::small().file("readings/quay-house.csv", sheet)).expect_status(1);
    let sheet = format!("site,spa\n{}", "a--b,terrace\n".repeat(300_000));
    said_soon(&Fleet::small().file("sites.csv", sheet)).expect_status(1);
}

#[test]
fn more_than_anything_real_is_refused() {
    let spas: String = (0..20_000).map(|n| format!("  s{n}: {{}}\n")).collect();
    refused(&format!("format: 1\nspas:\n{spas}"), "this site has 20000 spas; a site may have 500");
    let pumps: String = (0..20_000).map(|n| format!("      p{n}: {{duty: jets}}\n")).collect();
    refused(&format!("format: 1\nspas:\n  t:\n    pumps:\n{pumps}"), "has 20000 pumps, filters and equipment");
    let sheet: String = (0..200_002).map(|n| format!("s{n},terrace\n")).collect();
    let run = said_soon(&Fleet::small().file("sites.csv", format!("site,spa\n{sheet}"))).expect_status(2);
    assert!(run.stderr.contains("more than 200000 lines"), "{}", &run.stderr[..500.min(run.stderr.len())]);
}

#[test]
fn a_calendar_that_nests_without_end_costs_itself() {
    let deep = format!("BEGIN:VCALENDAR\r\n{}", "BEGIN:VEVENT\r\n".repeat(300_000));
    let run = said_soon(&Fleet::small().file("bookings/quay-house.ics", deep)).expect_status(1);
    assert!(run.stderr.contains("what begins and what ends here do not match"), "{}", run.stderr);
}

#[test]
fn files_of_a_hundred_megabytes_are_not_read() {
    for (name, status) in [
        ("sites/quay-house.yaml", 1),
        ("readings/quay-house.csv", 1),
        ("bookings/quay-house.ics", 1),
        ("limits/own.yaml", 1),
        ("tubs.yaml", 2),
        ("fleet.yaml", 2),
    ] {
        let fleet = Fleet::small();
        let path = fleet.at(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::File::create(path).unwrap().set_len(100 << 20).unwrap();
        let run = said_soon(&fleet).expect_status(status);
        assert!(run.stderr.contains("it is larger than"), "{name}: {}", run.stderr);
    }
}

#[cfg(unix)]
#[test]
fn links_that_leave_the_fleet_or_loop_are_told_and_not_followed() {
    use std::os::unix::fs::symlink;
    let outside = Fleet::small().file("secret.yaml", "format: 1\nname: Secret\nspas: {t: {}}\n");
    let fleet = Fleet::small();
    symlink(outside.at("secret.yaml"), fleet.at("sites/secret.yaml")).unwrap();
    symlink("loop.yaml", fleet.at("sites/loop.yaml")).unwrap();
    symlink(fleet.path(), fleet.at("readings")).unwrap();
    let run = said_soon(&fleet).expect_status(1);
    for name in ["sites/secret.yaml", "sites/loop.yaml", "readings"] {
        assert!(run.stderr.contains(&format!("`{name}` is not read: it is a link")), "{}", run.stderr);
    }
    assert!(!run.stderr.contains("Secret"), "{}", run.stderr);
}

#[test]
fn names_that_would_lead_out_of_the_fleet_are_no_ids() {
    let sheet = "site,spa\n../../outside,terrace\n..,terrace\nquay-house,../terrace\n/etc,terrace\n";
    let fleet = Fleet::without_sites().file("sites.csv", sheet);
    let out = tempfile::tempdir().unwrap();
    let run = Run::report_into(out, fleet.path(), "2026-03", &["--pdf", "none"]);
    assert_ne!(run.status, 0);
    assert_eq!(run.stderr.matches("the id `").count(), 4, "{}", run.stderr);
    let above = run.out.path().parent().unwrap();
    assert!(!above.join("outside").exists());
}

#[test]
fn a_file_too_large_is_not_read() {
    let text = format!("format: 1\nspas: {{t: {{}}}}\nnote: {}\n", "long ".repeat(2_000_000));
    refused(&text, "it is larger than 8 MB");
}
