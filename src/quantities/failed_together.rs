//! What failed soon after it was new, and what failed close together? A part soon after its own renewal
//! points at the fitting, the shaft or the alignment; one soon after the pump's exchange at how it was set
//! up; pumps that fail close together at what they share: water, voltage.
//!
//! All of it are questions to check, with the counts behind them: none is a finding.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use statrs::distribution::{Binomial, DiscreteCDF};

use crate::address::Address;
use crate::basis::{Place, Source};
use crate::calendar::{days_between, plus_days};
use crate::quantities::SpaFigures;
use crate::quantities::part_life_model::{FleetLives, SiteLives, age_between, book_age};
use crate::quantities::part_lives::{LifeEnd, PartLife, PartPosition};
use crate::records::Site;

/// The share of the book's interval within which a failure is called early.
const EARLY: f64 = 0.1;
/// Days past which an old failure asks no question.
const LOOKS_BACK: i64 = 730;
/// Days within which failures are called close together.
const CLOSE: i64 = 30;
/// Failures of different pumps without which nothing is called a cluster.
const LEAST_CLOSE: usize = 3;
/// The chance above which a cluster may be one by itself.
const BY_CHANCE: f64 = 0.05;

/// What brought the part that failed early.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum After {
    /// Its own renewal.
    Renewal,
    /// The exchange of the pump.
    Exchange,
}

/// Something to ask.
#[derive(Debug, Clone)]
pub enum Question {
    /// A part failed soon after it was new.
    Early {
        /// What it stood in.
        at: Address,
        /// Its name.
        part: String,
        /// What brought it.
        after: After,
        /// When it came.
        came: NaiveDate,
        /// When it failed.
        failed: NaiveDate,
        /// How many failures of the kind came so soon, in the fleet.
        early: usize,
        /// Of how many with a known age.
        of: usize,
        /// The record.
        source: Option<Source>,
    },
    /// Pumps of a site failed close together.
    Cluster {
        /// How many failures.
        failures: usize,
        /// Of how many in the records.
        of: usize,
        /// How many pumps.
        pumps: usize,
        /// The first.
        from: NaiveDate,
        /// The last.
        to: NaiveDate,
        /// The chance of so close a cluster were they spread evenly.
        chance: f64,
        /// The record of the last.
        source: Source,
    },
}

/// What brought a part, if its life ended early by a failure.
pub fn early(position: &PartPosition, life: &PartLife) -> Option<(After, NaiveDate, NaiveDate)> {
    let (LifeEnd::Failed(failed) | LifeEnd::FoundFailed(failed)) = life.end else { return None };
    let came = life.fitted.middle()?;
    let after = match &life.source.as_ref()?.place {
        Place::Entry { field: "renewed", .. } => After::Renewal,
        Place::Entry { field: "exchanged", .. } => After::Exchange,
        _ => return None,
    };
    let age = age_between(position, came, failed)?;
    // Years in place are not soon, however little it ran.
    let soon_by_age = match position.part.interval.age {
        Some(age_limit) => (days_between(came, failed) as f64) < EARLY * age_limit.mean_days(),
        None => true,
    };
    (soon_by_age && age < EARLY * book_age(position.part)?).then_some((after, came, failed))
}

/// The questions that a site's failures ask.
pub fn questions(
    site: &Site,
    spas: &[SpaFigures],
    positions: &[PartPosition],
    lives: &FleetLives,
    as_of: NaiveDate,
) -> Vec<Question> {
    let mut all = Vec::new();
    for position in positions {
        for life in &position.lives {
            let Some((after, came, failed)) = early(position, life) else { continue };
            if days_between(failed, as_of) > LOOKS_BACK {
                continue;
            }
            let counts = lives.early(position.id);
            all.push(Question::Early {
                at: position.at.clone(),
                part: position.id.to_string(),
                after,
                came,
                failed,
                early: counts.early,
                of: counts.of,
                source: life.source.clone(),
            });
        }
    }
    all.extend(cluster(site, spas, as_of));
    all
}

/// The closest cluster of failures of different pumps at a site in the last two years, if it is closer
/// than chance makes it.
fn cluster(site: &Site, spas: &[SpaFigures], as_of: NaiveDate) -> Option<Question> {
    let start = site.records_start()?;
    let watched = days_between(start, as_of);
    let mut incidents: Vec<_> = spas
        .iter()
        .flat_map(|spa| &spa.pumps)
        .flat_map(|pump| pump.failures.of_all_units().map(move |incident| (incident, &pump.at)))
        .collect();
    incidents.sort_by_key(|(incident, _)| incident.day);
    let of = incidents.len();
    let (mut best, mut from) = (None::<(usize, usize, usize)>, 0);
    for to in 0..of {
        while days_between(incidents[from].0.day, incidents[to].0.day) >= CLOSE {
            from += 1;
        }
        let count = to + 1 - from;
        let pumps: BTreeSet<&Address> = incidents[from..=to].iter().map(|i| i.1).collect();
        let recent = incidents[to].0.day > plus_days(as_of, -LOOKS_BACK);
        if recent && pumps.len() >= LEAST_CLOSE && best.is_none_or(|(most, _, _)| count > most) {
            best = Some((count, from, to));
        }
    }
    let (failures, from, to) = best?;
    // Each failure may begin the cluster: the others must fall into the days after it.
    let share = (CLOSE as f64 / watched.max(CLOSE) as f64).min(1.0);
    let others = Binomial::new(share, of as u64 - 1).ok()?;
    let chance = (of as f64 * others.sf(failures as u64 - 2)).min(1.0);
    let pumps: BTreeSet<&Address> = incidents[from..=to].iter().map(|i| i.1).collect();
    (chance < BY_CHANCE).then(|| Question::Cluster {
        failures,
        of,
        pumps: pumps.len(),
        from: incidents[from].0.day,
        to: incidents[to].0.day,
        chance,
        source: incidents[to].0.source.clone(),
    })
}

/// Counts a site's early failures by kind, for those of the fleet.
pub fn count_early(positions: &[PartPosition], into: &mut SiteLives) {
    for position in positions {
        for life in &position.lives {
            let failed = matches!(life.end, LifeEnd::Failed(_) | LifeEnd::FoundFailed(_));
            if failed && life.fitted.middle().is_some() {
                into.count_early(position.id, early(position, life).is_some());
            }
        }
    }
}
