//! The fleet's figures put together: every site's, and what only the whole fleet can say. Tables and the fleet's
//! documents are made from it.

use chrono::NaiveDate;

use crate::calendar::Month;
use crate::costs::outlook::FleetCosts;
use crate::quantities::forecast_check::Checks;
use crate::quantities::part_life_model::FleetLives;
use crate::records::Fleet;
use crate::schedule::visits::Plan;
use crate::site::{self, SiteFigures};
use crate::to_do;

/// A fleet with its figures at the as-of day.
#[derive(Debug)]
pub struct FleetFigures<'a> {
    /// What all sites share.
    pub fleet: &'a Fleet,
    /// The month reported.
    pub month: Month,
    /// The as-of day: the month's last.
    pub as_of: NaiveDate,
    /// Every site, sorted by id.
    pub sites: Vec<SiteFigures<'a>>,
    /// What the lives of all sites say of each kind of part.
    pub lives: &'a FleetLives,
    /// Past forecasts against what happened.
    pub checks: &'a Checks,
    /// The planned visits.
    pub plan: Plan,
    /// What it will cost, and which contracts pay.
    pub costs: FleetCosts,
}

/// Gives each site its visits of the plan: its planned year is counted by them, and what found no day is among what is to
/// do there. `sites` is sorted by id.
pub fn give_visits(fleet: &Fleet, sites: &mut [SiteFigures], plan: &Plan, as_of: NaiveDate) {
    for visit in &plan.visits {
        if let Some(place) = site::place_of(sites, &visit.site) {
            sites[place].visits.push(visit.clone());
        }
    }
    for site in &mut *sites {
        site.year.count_planned(fleet, &site.visits, as_of);
    }
    for not_fitted in &plan.not_fitted {
        if let Some(place) = site::place_of(sites, &not_fitted.site) {
            to_do::add_not_fitted(&mut sites[place].to_do, not_fitted);
        }
    }
}
