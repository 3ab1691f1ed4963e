//! A site's figures put together: what stages 2 and 3 say of it, for tables, charts and reports.

use chrono::NaiveDate;
use rayon::prelude::*;

use crate::costs::{self, PlannedYear};
use crate::diagnostic::Diagnostic;
use crate::quantities::forecast_check::{self, ForecastCheck};
use crate::quantities::part_life_model::{self, FleetLives};
use crate::quantities::{self, SpaFigures, part_lives};
use crate::records::load::{Shared, SiteFiles};
use crate::records::{Fleet, Site};
use crate::schedule::due;
use crate::schedule::visits::Visit;
use crate::to_do::{self, ToDo};

/// A site with its figures at the as-of day.
#[derive(Debug)]
pub struct SiteFigures<'a> {
    /// Its records, nothing dated later.
    pub site: &'a Site,
    /// Its spas.
    pub spas: &'a [SpaFigures],
    /// Its wear parts with their due dates.
    pub parts: Vec<due::PartDue<'a>>,
    /// Its recurring tasks.
    pub tasks: Vec<due::TaskDue<'a>>,
    /// The planned year.
    pub year: PlannedYear,
    /// Past forecasts of hours against what happened; empty until they are asked for, since eight forecasts a pump
    /// are made for them.
    pub forecast_checks: Vec<ForecastCheck>,
    /// What somebody should know or do.
    pub to_do: Vec<ToDo>,
    /// Its planned visits by day; empty until the fleet's plan is made.
    pub visits: Vec<Visit>,
    /// What the lives of all sites say of each kind of part.
    pub lives: &'a FleetLives,
    /// The as-of day.
    pub as_of: NaiveDate,
}

/// Puts a site's figures together.
pub fn site_figures<'a>(
    fleet: &'a Fleet,
    lives: &'a FleetLives,
    site: &'a Site,
    spas: &'a [SpaFigures],
    as_of: NaiveDate,
) -> SiteFigures<'a> {
    let parts = due::parts_due(fleet, lives, spas, part_lives::parts_in_service(fleet, site, spas, as_of), as_of);
    let tasks = due::tasks_due(fleet, site, spas, as_of);
    let year = costs::planned_year(fleet, &parts, &tasks, as_of);
    let to_do = to_do::to_do(fleet, site, spas, &parts, &tasks, as_of);
    SiteFigures { site, spas, parts, tasks, year, forecast_checks: Vec::new(), to_do, visits: Vec::new(), lives, as_of }
}

/// Reads a site as it was known on a day and computes the figures of its spas.
///
/// # Errors
/// What is wrong, if the site cannot be reported.
pub fn read(shared: &Shared, files: &SiteFiles, as_of: NaiveDate) -> Result<(Site, Vec<SpaFigures>), Vec<Diagnostic>> {
    let site = shared.read_site(files)?.as_of(as_of);
    let spas = quantities::spa_figures(&shared.fleet, &site, as_of);
    Ok((site, spas))
}

/// What the lives of all sites' parts say, as known on a day.
pub fn fleet_lives(fleet: &Fleet, sites: &[(Site, Vec<SpaFigures>)], as_of: NaiveDate) -> FleetLives {
    let gathered: Vec<_> =
        sites.par_iter().map(|(site, spas)| part_life_model::site_lives(fleet, site, spas, as_of)).collect();
    FleetLives::new(fleet, sites.iter().map(|(site, _)| site).zip(gathered), as_of)
}

impl SiteFigures<'_> {
    /// With the past forecasts of hours held against what happened.
    #[must_use]
    pub fn with_forecast_checks(mut self, fleet: &Fleet) -> Self {
        self.forecast_checks = forecast_check::checks(fleet, self.site, self.spas, self.as_of);
        self
    }

    /// Parts overdue or due within some days of the as-of day.
    pub fn parts_due_within(&self, days: i64) -> usize {
        let end = crate::calendar::plus_days(self.as_of, days);
        self.parts.iter().filter(|p| p.due.is_some_and(|due| due <= end)).count()
    }
}
