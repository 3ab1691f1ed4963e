//! A site's figures put together: what stages 2 and 3 say of it, for tables, charts and reports.

use std::sync::Arc;

use chrono::NaiveDate;
use rayon::prelude::*;

use crate::address::Id;
use crate::costs::outlook::ExpectedYear;
use crate::costs::{self, PlannedYear};
use crate::diagnostic::Diagnostic;
use crate::interrupt::{Interrupted, Stop};
use crate::quantities::expected_failures::PumpOutlook;
use crate::quantities::failed_together::{self, Question};
use crate::quantities::forecast_check::{self, Checks, ForecastCheck, Judged};
use crate::quantities::measured_trends::{self, MeasuredTrend};
use crate::quantities::part_life_model::{self, FleetLives};
use crate::quantities::{self, SpaFigures, part_lives};
use crate::records::load::{Shared, SiteFiles};
use crate::records::{Fleet, Site};
use crate::schedule::due;
use crate::schedule::visits::Visit;
use crate::to_do::{self, ToDo};
use crate::to_do_failures::{self, Seen};

/// A site with its figures at the as-of day.
#[derive(Debug)]
pub struct SiteFigures<'a> {
    /// Its records, nothing dated later.
    pub site: &'a Site,
    /// Its spas.
    pub spas: &'a [SpaFigures],
    /// Its wear parts with their due dates.
    pub parts: Vec<due::PartDue<'a>>,
    /// The failures to expect of its pumps, in their order by spa; `None` = a pump's use is not known.
    pub pumps_to_come: Vec<(crate::address::Address, Option<PumpOutlook>)>,
    /// What drifts of what is measured there.
    pub trends: Vec<MeasuredTrend>,
    /// What its failures ask.
    pub questions: Vec<Question>,
    /// Its recurring tasks.
    pub tasks: Vec<due::TaskDue<'a>>,
    /// The planned year.
    pub year: PlannedYear,
    /// What the coming twelve months may cost; `None` until they are drawn, or where no cost of labour is written.
    pub expected_year: Option<ExpectedYear>,
    /// Past forecasts of hours against what happened; empty until they are asked for, since eight forecasts a pump
    /// are made for them.
    pub forecast_checks: Vec<ForecastCheck>,
    /// What the whole fleet's past forecasts say of each kind.
    pub judged: Vec<Judged>,
    /// What somebody should know or do.
    pub to_do: Vec<ToDo>,
    /// Its planned visits by day; empty until the fleet's plan is made.
    pub visits: Vec<Arc<Visit>>,
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
    let positions = part_lives::part_positions(fleet, site, spas, as_of);
    let mut parts = due::parts_due(fleet, lives, spas, part_lives::in_service(site, &positions, as_of), as_of);
    due::mark_unrecorded(site, &mut parts, as_of);
    let questions = failed_together::questions(site, spas, &positions, lives, as_of);
    let trends = measured_trends::measured_trends(fleet, site, spas, as_of);
    let pumps_to_come = spas
        .iter()
        .flat_map(|spa| &spa.pumps)
        .map(|pump| {
            let own: Vec<_> = parts.iter().map(|p| &p.part).filter(|p| p.at == pump.at).collect();
            (pump.at.clone(), lives.pump_outlook(&site.id, pump, &own))
        })
        .collect();
    let tasks = due::tasks_due(fleet, site, spas, as_of);
    let year = costs::planned_year(fleet, &parts, &tasks, as_of);
    let mut to_do = to_do::to_do(fleet, site, spas, &parts, &tasks, as_of);
    let seen = Seen { parts: &parts, trends: &trends, questions: &questions };
    to_do.extend(to_do_failures::to_do(fleet.settings.units, site, spas, lives, &seen, as_of));
    to_do::sort(&mut to_do);
    SiteFigures {
        site,
        spas,
        parts,
        pumps_to_come,
        trends,
        questions,
        tasks,
        year,
        expected_year: None,
        forecast_checks: Vec::new(),
        judged: Vec::new(),
        to_do,
        visits: Vec::new(),
        lives,
        as_of,
    }
}

/// Puts the figures of all sites together, in their order.
pub fn all_figures<'a>(
    fleet: &'a Fleet,
    lives: &'a FleetLives,
    sites: &'a [(Site, Vec<SpaFigures>)],
    as_of: NaiveDate,
) -> Vec<SiteFigures<'a>> {
    sites.par_iter().map(|(site, spas)| site_figures(fleet, lives, site, spas, as_of)).collect()
}

/// Where a site stands among those of a fleet, which are sorted by id.
pub fn place_of(sites: &[SiteFigures], id: &Id) -> Option<usize> {
    sites.binary_search_by(|site| site.site.id.cmp(id)).ok()
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

/// The sites of a fleet as they were read.
#[derive(Debug, Default)]
pub struct AllRead {
    /// Those that can be reported, each with the figures of its spas; sorted by id.
    pub sites: Vec<(Site, Vec<SpaFigures>)>,
    /// The others, with what is wrong.
    pub lost: Vec<(Id, Vec<Diagnostic>)>,
}

/// Reads every site as it was known on a day.
///
/// # Errors
/// If the run was asked to end.
pub fn read_all(shared: &Shared, as_of: NaiveDate, stop: &Stop) -> Result<AllRead, Interrupted> {
    let read: Vec<_> = shared
        .sites
        .par_iter()
        .map(|files| stop.check().map(|()| read(shared, files, as_of)))
        .collect::<Result<_, Interrupted>>()?;
    let mut all = AllRead::default();
    for (files, read) in shared.sites.iter().zip(read) {
        match read {
            Ok(site) => all.sites.push(site),
            Err(found) => all.lost.push((files.id.clone(), found)),
        }
    }
    Ok(all)
}

/// What the lives of all sites' parts say, as known on a day.
pub fn fleet_lives(fleet: &Fleet, sites: &[(Site, Vec<SpaFigures>)], as_of: NaiveDate) -> FleetLives {
    let gathered: Vec<_> =
        sites.par_iter().map(|(site, spas)| part_life_model::site_lives(fleet, site, spas, as_of)).collect();
    let mut lives = FleetLives::new(fleet, sites.iter().map(|(site, _)| site).zip(gathered), as_of);
    lives.judge(sites.iter().map(|(site, spas)| (site, spas.as_slice())));
    lives
}

impl SiteFigures<'_> {
    /// With the past forecasts of hours held against what happened.
    #[must_use]
    pub fn with_forecast_checks(mut self, fleet: &Fleet) -> Self {
        self.forecast_checks = forecast_check::checks(fleet, self.site, self.spas, self.as_of);
        self
    }

    /// With what the past forecasts of the whole fleet came to.
    #[must_use]
    pub fn with_checks(mut self, of_pumps: &[ForecastCheck], all: &Checks) -> Self {
        self.forecast_checks = of_pumps.to_vec();
        self.judged.clone_from(&all.judged);
        self
    }

    /// Parts overdue or due within some days of the as-of day.
    pub fn parts_due_within(&self, days: i64) -> usize {
        let end = crate::calendar::plus_days(self.as_of, days);
        self.parts.iter().filter(|p| !p.unrecorded && p.due.is_some_and(|due| due <= end)).count()
    }
}
