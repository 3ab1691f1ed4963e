//! What the failures of a pump that gets worse cost, in the years in which they go on growing: as many as its own failures
//! let expect, each what its failures cost on the average. In the other years it is drawn like any pump. An exchange is none of
//! them: the pump that comes begins anew.

use super::{Prices, Window, part_costs, share_with_guests};
use crate::address::Address;
use crate::quantities::worsening_pumps::WorseningPump;
use crate::site::SiteFigures;

/// A pump that may go on failing more and more often.
#[derive(Debug, Clone)]
pub struct GettingWorse {
    /// Which pump.
    pub at: Address,
    /// The chance that it goes on so: the share of the years in which it does.
    pub chance: f64,
    /// The chances of at most none, one, two … failures in the window, should it go on so.
    pub at_most: Vec<f64>,
    /// What is renewed at a failure.
    pub parts: f64,
    /// The work.
    pub labour: f64,
    /// What a failure costs beside.
    pub damage: f64,
    /// Nights lost.
    pub nights: f64,
}

/// The pumps of a site that get worse and whose use is known. What has no price counts as nothing and is named among what is
/// missing.
pub(super) fn getting_worse(site: &SiteFigures, prices: &mut Prices, window: Window, night: f64) -> Vec<GettingWorse> {
    let pumps = site.spas.iter().flat_map(|spa| &spa.pumps);
    pumps
        .filter_map(|pump| {
            let own = site.lives.worsening(&site.site.id, &pump.at)?;
            let at_most = own.at_most(window.begins(), window.ends())?;
            let night = night * share_with_guests(site, &pump.at, window.as_of);
            Some(of_pump(site, &pump.at, own, at_most, prices, night))
        })
        .collect()
}

fn of_pump(
    site: &SiteFigures,
    at: &Address,
    own: &WorseningPump,
    at_most: Vec<f64>,
    prices: &mut Prices,
    night: f64,
) -> GettingWorse {
    let mut worse =
        GettingWorse { at: at.clone(), chance: own.chance, at_most, parts: 0.0, labour: 0.0, damage: 0.0, nights: 0.0 };
    for part in site.parts.iter().filter(|part| part.part.at == *at) {
        let Some(share) = own.shares.get(part.part.id.as_str()) else { continue };
        let costs = part_costs(part, None, prices, night);
        worse.parts += share * costs.parts;
        worse.labour += share * costs.labour;
        worse.damage += share * costs.damage;
        worse.nights += share * costs.nights;
    }
    worse
}

#[cfg(test)]
mod tests {
    use crate::costs::routine::LookRounds;
    use crate::costs::year::{Habits, Window, site_year};
    use crate::quantities::fleet_for_tests::{day, load_with};
    use crate::schedule::visits::Plan;

    const FLEET: &str = "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\nrenew_by: book\n\
        labour: {cost: 24.00, charge: 46.00, callout: 95.00}\n";
    const MODELS: &str = "format: 1\nmodels: {J: {speeds: 1, cost: 400.00, time: 60 min}}\n";
    const BOOK: &str = "format: 1\nparts:\n  \
        shaft_seal: {fits: pump, interval: {hours: 9000 h}, wears_by: hours, cost: 22.00, time: 90 min, also_renew: [union_gasket], failure: {cost: 260.00, down: 2 d}}\n  \
        motor_bearing: {fits: pump, interval: {hours: 25000 h}, wears_by: hours, cost: 31.00, time: 120 min, failure: {cost: 80.00}}\n  \
        union_gasket: {fits: pump, count: 2, interval: {age: 48 mo}, wears_by: age, cost: 1.10, time: 10 min, failure: {cost: 90.00}}\n";

    /// Six failures that come closer together, two of them of a motor bearing, four of a seal: a failure costs a third of a
    /// bearing (31.00, 120 min, 80.00) and two thirds of a seal with its two gaskets (24.20, 90 min, 260.00, 2 nights at 100.00);
    /// and the years in which that goes on are those the life model has.
    #[test]
    fn a_failure_costs_what_its_failures_cost_on_the_average() {
        let at = |date: &str, what: &str| format!("  - {{date: {date}, at: {{s/p: {{{what}}}}}}}\n");
        let seal = "renewed: {shaft_seal: {because: failure, noticed: in_use}}";
        let pump = "renewed: {motor_bearing: {because: failure, noticed: in_use}}";
        let log: String = [
            at("2024-03-01", seal),
            at("2025-01-10", seal),
            at("2025-03-20", pump),
            at("2025-05-01", seal),
            at("2025-05-25", pump),
            at("2025-06-14", seal),
        ]
        .concat();
        let site = format!(
            "format: 1\ntravel: {{time: 30 min, cost: 10.00}}\nlost_night: 100.00\nrecords_from: 2022-01-01\nspas:\n  s:\n    fitted: 2022-01-01\n    pumps: {{p: {{duty: jets, model: J, fitted: 2022-01-01, program: {{run: 20 h/day}}}}}}\nlog:\n{log}"
        );
        let files = [("fleet.yaml", FLEET), ("pumps.yaml", MODELS), ("upkeep.yaml", BOOK), ("sites/home.yaml", &*site)];
        load_with(&files, "2025-06-30", |fleet, site, as_of| {
            let window = Window::of_twelve_months(as_of);
            let habits = Habits { by_callout: 1.0, out_of_hours: 0.0 };
            let year = site_year(fleet, site, &Plan::default(), habits, window, LookRounds::AsPlanned);
            assert_eq!((as_of, year.getting_worse.len()), (day("2025-06-30"), 1));
            let worse = &year.getting_worse[0];
            let near = |found: f64, expected: f64| assert!((found - expected).abs() < 1e-6, "{found} {expected}");
            near(worse.parts, 3_100.0 / 3.0 + 2_420.0 * 2.0 / 3.0);
            near(worse.labour, 4_800.0 / 3.0 + 3_600.0 * 2.0 / 3.0);
            near(worse.damage, 8_000.0 / 3.0 + 26_000.0 * 2.0 / 3.0);
            near(worse.nights, 2.0 * 10_000.0 * 2.0 / 3.0);
            let own = site.lives.worsening(&site.site.id, &worse.at).unwrap();
            near(worse.chance, own.chance);
            assert!(worse.chance > 0.1 && worse.chance < 1.0, "{}", worse.chance);
            // The seal has failed in it; the gaskets have not.
            let pump = year.things.iter().find(|thing| thing.at == worse.at).unwrap();
            let worsens: Vec<(&str, bool)> = pump.costs.iter().map(|of| (of.kind.as_str(), of.worsens)).collect();
            assert_eq!(worsens, [("shaft_seal", true), ("motor_bearing", true), ("union_gasket", false)]);
        });
    }
}
