use super::*;
use crate::calendar::parse_date;
use crate::demo::{self, Plan};
use crate::output::NewFolder;
use crate::records::load::Shared;

#[test]
fn quarter_ends_have_three_months_behind_them() {
    let all: Vec<String> = quarter_ends(parse_date("2026-10-31").unwrap()).map(|day| day.to_string()).collect();
    assert_eq!(all.len(), 8);
    assert_eq!((all[0].as_str(), all[7].as_str()), ("2024-09-30", "2026-06-30"));
    let last = quarter_ends(parse_date("2026-09-30").unwrap()).last().unwrap();
    assert_eq!(last.to_string(), "2026-06-30");
    let last = quarter_ends(parse_date("2026-09-29").unwrap()).last().unwrap();
    assert_eq!(last.to_string(), "2026-03-31");
}

#[test]
fn forecasts_are_poor_where_too_few_ranges_held() {
    let held = |of, inside| Held { of, inside, promised: 0.8 };
    assert!(!held(9, 0).is_poor());
    assert!(held(20, 11).is_poor());
    assert!(!held(20, 14).is_poor());
    // Below the mark, yet chance explains it: of ten at 80 % six or fewer hold one time in eight.
    assert!(!held(10, 6).is_poor());
}

#[test]
fn forecasts_that_overlap_are_counted_once() {
    let days = |texts: &[&str]| texts.iter().map(|text| parse_date(text).unwrap()).collect::<Vec<_>>();
    let all: Vec<NaiveDate> = quarter_ends(parse_date("2026-10-31").unwrap()).collect();
    let chosen = |months| judged::apart(all.iter().copied().take(if months == 12 { 5 } else { 8 }), months);
    assert_eq!(chosen(3).into_iter().collect::<Vec<_>>(), all);
    assert_eq!(chosen(12).into_iter().collect::<Vec<_>>(), days(&["2024-09-30", "2025-09-30"]));
}

fn fleet(sites: u32, seed: u64) -> (tempfile::TempDir, Shared, Vec<(Site, Vec<SpaFigures>)>, NaiveDate) {
    let folder = tempfile::tempdir().unwrap();
    let tree = NewFolder::create(&folder.path().join("fleet")).unwrap();
    for file in demo::files(&Plan { sites, years: 4, seed, readings_per_day: 0.27 }) {
        tree.write(&file.path, file.text.as_bytes()).unwrap();
    }
    let shared = Shared::load(&folder.path().join("fleet")).unwrap();
    let as_of = parse_date("2026-10-31").unwrap();
    let sites = shared
        .sites
        .iter()
        .map(|files| {
            let site = shared.read_site(files).unwrap().as_of(as_of);
            let figures = crate::quantities::spa_figures(&shared.fleet, &site, as_of);
            (site, figures)
        })
        .collect();
    (folder, shared, sites, as_of)
}

/// Steady invented fleets, whose failures have no trend: no kind is called poor. Rows chosen by what was seen in them gave 2 of 20
/// of a fleet held, and a warning on every first page.
#[test]
fn steady_fleets_raise_no_false_alarm() {
    for seed in [3, 4, 5] {
        let (_folder, shared, sites, as_of) = fleet(60, seed);
        let checks = fleet_checks(&shared.fleet, &sites, as_of);
        let total = |what| checks.judged.iter().find(|one| one.what == what).unwrap().total.unwrap();
        let (failures, due) = (total(What::Failures), total(What::DueParts));
        assert!(failures.observed >= 10.0 && due.observed >= 30.0, "{seed}: {failures:?} {due:?}");
        for judged in &checks.judged {
            assert!(!judged.is_poor(), "{seed}: {judged:?}");
        }
        // The fleet's own ranges hold, of each kind for itself: over 24 months, and of eight quarters at least five.
        assert!((due.observed / due.expected - 1.0).abs() < 0.05, "{seed}: {due:?}");
        for what in [What::Failures, What::DueParts] {
            let of_fleet = checks.groups.iter().filter(|c| c.site.is_none() && c.what == what && c.horizon_months == 3);
            assert!(of_fleet.filter(|c| c.inside()).count() >= 5, "{seed}: {what:?}");
        }
        // What was seen chooses no row.
        assert!(
            checks.groups.iter().filter(|c| c.site.is_some() && c.what != What::Hours).all(|c| c.expected >= ENOUGH)
        );
    }
}

/// Failures of one pump of a steady fleet come thick and fast in the last two years: failures are called biased whatever hours do,
/// and the pump is named.
#[test]
fn a_miss_of_failures_is_not_hidden_by_hours_and_its_pump_is_named() {
    use crate::quantities::failures::Incident;
    let (_folder, shared, mut sites, as_of) = fleet(24, 3);
    let place = sites.iter().position(|(_, spas)| pumps(spas).count() > 1).unwrap();
    let id = sites[place].0.id.clone();
    let pump = &mut sites[place].1[0].pumps[0];
    let at = pump.at.clone();
    let source = crate::basis::Source { file: "a".into(), place: crate::basis::Place::Line(1) };
    for month in 0..20 {
        let day = Month::of(as_of).plus(-2 - month).first();
        pump.failures.incidents.push(Incident { day, what: vec!["pump".to_owned()], source: source.clone() });
    }
    let checks = fleet_checks(&shared.fleet, &sites, as_of);
    let of = |what| checks.judged.iter().find(|one| one.what == what).unwrap();
    assert!(!of(What::Hours).is_poor() && of(What::Failures).is_poor(), "{:?}", checks.judged);
    let behind = of(What::Failures).behind.as_ref().unwrap();
    assert_eq!((&behind.site, &behind.at), (&id, &at));
    assert!(behind.sum.observed >= 19.0);
}

/// An invented fleet, whose truth is known: a range promises to hold four of five. Measured on `tubwright demo
/// --sites 200 --years 4 --seed 5` before what is usual of guests' nights was taken as unsure: jets 78 % of 1545
/// forecasts of twelve months and 75 % of 2472 of three; filtration 94 % and 92 % within 0.2 % of its hours, where
/// the hour of a reading tells.
#[test]
fn ranges_hold_what_they_promise_on_an_invented_fleet() {
    let (_folder, shared, sites, as_of) = fleet(24, 5);
    let all: Vec<ForecastCheck> = fleet_checks(&shared.fleet, &sites, as_of).pumps.into_iter().flatten().collect();
    for (id, least, most, width) in [("jets-1", 0.68, 0.93, 0.20), ("filtration", 0.80, 1.0, 0.006)] {
        for horizon in HORIZONS {
            let mine: Vec<&ForecastCheck> =
                all.iter().filter(|c| c.at.last() == id && c.horizon_months == horizon).collect();
            let held = mine.iter().filter(|c| c.inside()).count() as f64 / mine.len() as f64;
            assert!((least..=most).contains(&held), "{id}, {horizon} months: {held} of {}", mine.len());
            let wide = mine.iter().map(|c| (c.high - c.low) / 2.0 / c.expected).sum::<f64>() / mine.len() as f64;
            assert!(wide < width, "{id}, {horizon} months: {wide}");
        }
    }
}

/// A seal renewed in good time and the one in a pump exchanged in good time were planned; one that failed, and those in a pump that
/// failed and was exchanged, were not: no forecast was to know of them.
#[test]
fn what_an_exchanged_pump_that_failed_took_with_it_was_not_planned() {
    use crate::quantities::fleet_for_tests::{day, load_with};
    const FLEET: &str = "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\n";
    const BOOK: &str = "format: 1\nparts:\n  shaft_seal: {fits: pump, interval: {hours: 9000 h}, wears_by: hours}\n";
    for (entry, planned) in [
        ("exchanged: {because: failure, noticed: in_use}", false),
        ("exchanged: {because: due}", true),
        ("renewed: {shaft_seal: {because: failure}}", false),
        ("renewed: {shaft_seal: {because: due}}", true),
    ] {
        let site = format!(
            "format: 1\nrecords_from: 2023-01-01\nspas:\n  s:\n    fitted: 2023-01-01\n    pumps:\n      p: {{duty: jets, fitted: 2023-01-01, program: {{run: 10 h/day}}}}\nlog:\n  - {{date: 2025-03-02, at: {{s/p: {{{entry}}}}}}}\n"
        );
        let files = [("fleet.yaml", FLEET), ("upkeep.yaml", BOOK), ("sites/a.yaml", &*site)];
        load_with(&files, "2025-12-31", |fleet, site, as_of| {
            let positions = part_lives::part_positions(fleet, site.site, site.spas, as_of);
            let found = renewals(site.site, &positions, day("2024-12-31"), day("2025-12-31"));
            // 2 March is the sixty-first day of the year; the pump runs 10 h a day.
            let exposures: Vec<f64> = found.into_values().flatten().collect();
            match (planned, exposures.as_slice()) {
                (true, [hours]) => assert!((hours - 610.0).abs() < 1e-6, "{entry}: {hours}"),
                (false, []) => {}
                other => panic!("{entry}: {other:?}"),
            }
        });
    }
}

/// A pump that stood still for two months of summer, which was written down at their end: a forecast made before them knows
/// nothing of it. And of a site whose log began behind a quarter's end no failure is held against the forecast of that day.
#[test]
fn a_past_forecast_knows_nothing_of_what_was_written_later() {
    let fleet = "{format: 1, fleet: Test, currency: GBP, timezone: Europe/London}";
    let of = |records_from: &str, log: &str| {
        let site = format!(
            "format: 1\nrecords_from: {records_from}\nspas: {{tub: {{fitted: 2022-01-01, pumps: {{one: {{duty: filtration, fitted: 2022-01-01, program: {{run: 10 h/day}}, meter: {{digits: 5, at_fitting: 0 h}}}}}}}}}}\nlog:\n  - {{date: 2024-09-30, at: {{tub/one: {{hours: 10030}}}}}}\n  - {{date: 2025-06-30, at: {{tub/one: {{hours: 12760}}}}}}\n{log}  - {{date: 2026-06-30, at: {{tub/one: {{hours: 15800}}}}}}\n"
        );
        let files = [("fleet.yaml", fleet), ("sites/home.yaml", site.as_str())];
        crate::quantities::fleet_for_tests::load_with(&files, "2026-10-31", |fleet, site, as_of| {
            let hours: Vec<(NaiveDate, u32, f64)> = checks(fleet, site.site, site.spas, as_of)
                .into_iter()
                .filter(|check| check.made_on < parse_date("2025-08-31").unwrap())
                .map(|check| (check.made_on, check.horizon_months, check.expected))
                .collect();
            let all = fleet_checks(fleet, &[(site.site.clone(), site.spas.to_vec())], as_of);
            let failures = all.groups.iter().filter(|group| group.what == What::Failures).map(|group| group.made_on);
            (hours, failures.min())
        })
    };
    let down = "  - {date: 2025-08-31, at: {tub/one: {down: 62 d}}}\n";
    let (plain, from_the_first) = of("2023-01-01", "");
    assert!(!plain.is_empty());
    assert_eq!(plain, of("2023-01-01", down).0);
    assert_eq!(from_the_first, parse_date("2024-09-30").ok());
    assert_eq!(of("2025-10-05", "").1, parse_date("2025-12-31").ok());
}

/// A counter read once a year brackets every quarter, and says of none how it ran: the program would be held against itself.
#[test]
fn hours_between_readings_far_apart_are_not_observed() {
    use crate::quantities::fleet_for_tests::load_with;
    let fleet = "{format: 1, fleet: Test, currency: GBP, timezone: Europe/London}";
    let seen = |days: &[&str]| {
        let log: Vec<String> = days
            .iter()
            .map(|day| {
                let hours = 8 * days_between(parse_date("2024-01-01").unwrap(), parse_date(day).unwrap());
                format!("{{date: {day}, at: {{s/p: {{hours: {hours}}}}}}}")
            })
            .collect();
        let site = format!(
            "{{format: 1, spas: {{s: {{fitted: 2024-01-01, pumps: {{p: {{duty: filtration, program: {{run: 8 h/day}}}}}}}}}}, log: [{}]}}",
            log.join(", ")
        );
        load_with(&[("fleet.yaml", fleet), ("sites/a.yaml", &site)], "2025-12-31", |_, figures, _| {
            let hours = figures.spas[0].pumps[0].hours.as_ref().unwrap();
            observed(hours, parse_date("2025-03-31").unwrap(), parse_date("2025-06-30").unwrap())
        })
    };
    assert_eq!(seen(&["2024-01-31", "2025-01-15", "2025-12-20"]), None);
    // Half a month off either end will do: 91 days of 8 h.
    assert_eq!(seen(&["2025-01-15", "2025-04-10", "2025-06-16", "2025-12-20"]), Some(728.0));
}
