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
    assert!(!Held { of: 9, inside: 0 }.is_poor());
    assert!(Held { of: 20, inside: 12 }.is_poor());
    assert!(!Held { of: 20, inside: 14 }.is_poor());
}

/// An invented fleet, whose truth is known: a range promises to hold four of five. Measured on `tubwright demo
/// --sites 200 --years 4 --seed 5` before what is usual of guests' nights was taken as unsure: jets 78 % of 1545
/// forecasts of twelve months and 75 % of 2472 of three; filtration 94 % and 92 % within 0.2 % of its hours, where
/// the hour of a reading tells.
#[test]
fn ranges_hold_what_they_promise_on_an_invented_fleet() {
    let folder = tempfile::tempdir().unwrap();
    let tree = NewFolder::create(&folder.path().join("fleet")).unwrap();
    for file in demo::files(&Plan { sites: 24, years: 4, seed: 5, readings_per_day: 0.27 }) {
        tree.write(&file.path, file.text.as_bytes()).unwrap();
    }
    let shared = Shared::load(&folder.path().join("fleet")).unwrap();
    let as_of = crate::calendar::parse_date("2026-10-31").unwrap();
    let sites: Vec<(Site, Vec<SpaFigures>)> = shared
        .sites
        .iter()
        .map(|files| {
            let site = shared.read_site(files).unwrap().as_of(as_of);
            let figures = crate::quantities::spa_figures(&shared.fleet, &site, as_of);
            (site, figures)
        })
        .collect();
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
