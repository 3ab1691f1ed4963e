//! Page one of a site of two spas: North is turned over slowly but within its limit and filtered all day, South quickly but
//! too few hours.

use super::*;
use crate::calendar::Month;
use crate::costs::outlook::{CostRange, ExpectedYear};
use crate::quantities::fleet_for_tests::load_with;
use crate::quantities::forecast_check::judged::Total;
use crate::quantities::forecast_check::{Checks, Held, What};
use crate::report::site_charts::Charts;
use crate::site::{SiteFigures, site_figures};

const BOOK: &str = "format: 1\nparts: {}\n";
const SITE: &str = "format: 1\nuse: rental\nspas:\n  \
    north: {fitted: 2025-01-01, volume: 1400 L, stated_flow: 100 L/min, filters: {main: {kind: cartridge, area: 10 m2}}, \
    pumps: {filtration: {duty: filtration, program: {run: 24 h/day}}}}\n  \
    south: {fitted: 2025-01-01, volume: 600 L, stated_flow: 100 L/min, filters: {main: {kind: cartridge, area: 10 m2}}, \
    pumps: {filtration: {duty: filtration, program: {run: 12 h/day}}}}\n\
    log: [{date: 2025-02-01, at: {north/filtration: {current: 1.5}}}]\n";

/// What page one says, in the office's copy or the customer's, of figures that are changed before.
fn said<T>(copy: &str, change: impl FnOnce(&mut SiteFigures), then: impl FnOnce(&Given) -> T) -> T {
    let fleet =
        format!("{{format: 1, fleet: Test, currency: GBP, timezone: Europe/London, limits: uk, reports_for: {copy}}}");
    let files = [("fleet.yaml", fleet.as_str()), ("upkeep.yaml", BOOK), ("sites/home.yaml", SITE)];
    load_with(&files, "2026-10-31", |fleet, figures, as_of| {
        let mut figures = site_figures(fleet, figures.lives, figures.site, figures.spas, as_of);
        change(&mut figures);
        let charts = Charts::default();
        let month = Month::of(as_of);
        then(&Given { fleet, site: &figures, month, previous: None, charts: &charts, inputs: &[], renderer: "" })
    })
}

/// Ten ranges of run hours, of which one held: so few by chance about 1 time in 100,000 (binomial of 10 and 0.8).
fn poor() -> Checks {
    let total = Total { months: 24, expected: 9000.0, low: 8900.0, high: 9100.0, observed: 9010.0, chance: 0.4 };
    let held = Held { of: 10, inside: 1, promised: 0.8 };
    Checks { judged: vec![Judged { what: What::Hours, held, total: Some(total), behind: None }], ..Checks::default() }
}

#[test]
fn only_the_offices_copy_takes_back_what_its_forecasts_promised() {
    let left_out = |copy| {
        let change = |figures: &mut SiteFigures| figures.judged = poor().judged;
        said(copy, change, |given| page_one(given).left_out)
    };
    let office = left_out("office");
    assert!(matches!(&office[..], [one] if one.starts_with("Take forecasts with care.")), "{office:?}");
    // The counts are those of other customers' pumps too.
    assert_eq!(left_out("customer"), Vec::<String>::new());
}

#[test]
fn the_water_that_is_short_comes_before_the_slower_one() {
    let (worst, headline) = said("office", |_| (), |given| (Numbers::of(given.site).worst, numbers(given)[0].clone()));
    let worst = worst.unwrap();
    assert_eq!((worst.at.as_str(), worst.limit, worst.few_hours), ("south", Some(15.0), true));
    // 600 L at 100 L/min, and half of a day's hours.
    assert!((worst.minutes - 6.0).abs() < 1e-9, "{}", worst.minutes);
    assert_eq!(headline.value, "6.0");
    assert_eq!(headline.caption, "water turnover, South; limit 15 min; filtered too few hours a day");
}

#[test]
fn the_range_of_the_cost_says_how_many_years_it_holds() {
    let caption = |within: f64| {
        let year = ExpectedYear {
            range: CostRange { mean: 1500.0, low: 900.0, high: 2100.0, within },
            p50: 950.0,
            p80: 1000.0,
            p95: 2200.0,
            failures: 0.1,
            planned: 900.0,
            missing: Vec::new(),
        };
        let change = |figures: &mut SiteFigures| figures.expected_year = Some(year);
        said("office", change, |given| {
            let number = numbers(given).into_iter().find(|number| number.caption.starts_with("cost expected"));
            number.unwrap().caption.replace('\u{a0}', " ")
        })
    };
    assert!(caption(0.8).ends_with("£ 900 to £ 2100 in 4 years of 5"), "{}", caption(0.8));
    // One seldom failure that costs much: the mean lies beyond nine years in ten.
    assert!(caption(0.95).ends_with("£ 900 to £ 2100 in 19 years of 20"), "{}", caption(0.95));
}
