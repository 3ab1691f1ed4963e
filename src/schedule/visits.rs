//! Which visits does the coming year hold? What falls due, put into dated visits: the types every document of the
//! plan shares, and the way from records to numbers and back. How days are chosen stands in the submodules, which know
//! days, sites and people as numbers.

pub mod access;
pub mod bound;
pub mod chains;
pub mod diary;
pub mod fleet;
pub mod kept;
mod made;
pub mod one_site;
pub mod water;
pub mod work;

pub use made::{plan, plan_unless, plan_with_bound};

use std::collections::BTreeMap;
use std::sync::{Arc, OnceLock};

use chrono::NaiveDate;
use rust_decimal::Decimal;

use crate::address::{Address, Id};

/// The planned visits of a fleet over the twelve months behind the as-of day.
#[derive(Debug, Clone, Default)]
pub struct Plan {
    /// The visits, by day, then site; a site's figures share them.
    pub visits: Vec<Arc<Visit>>,
    /// What could not be fitted into a visit, and why.
    pub not_fitted: Vec<NotFitted>,
    /// Visits that were accepted and are not made.
    pub cancelled: Vec<Cancelled>,
    /// What the plan costs by what it is made from: ways, life thrown away, the risk of waiting; in the fleet's currency,
    /// or in minutes where the rate of labour is not known.
    pub cost: f64,
    /// What no plan with these windows can undercut, where it was asked for.
    pub bound: Option<f64>,
    /// At how many sites the search stopped at its limit of steps, so that a better plan may have been missed.
    pub stopped: usize,
    /// Where each site's visits stand among them, from the first time they are asked for by site.
    places: OnceLock<BTreeMap<Id, Vec<usize>>>,
}

/// A visit: one site on one day.
#[derive(Debug, Clone, PartialEq)]
pub struct Visit {
    /// Its name, stable from run to run while the plan is kept: the site's id and a number.
    pub id: String,
    /// The site.
    pub site: Id,
    /// The day.
    pub date: NaiveDate,
    /// Who goes; `None` where the fleet names nobody.
    pub technician: Option<Id>,
    /// Minutes of the way that fall to this visit; sites of one area share a trip.
    pub travel_minutes: f64,
    /// What the way costs, the time on it included where its rate is known: its share of a shared trip.
    pub travel_cost: Option<Decimal>,
    /// What is done, in the order of the work.
    pub tasks: Vec<VisitTask>,
    /// Whether guests change on that day, which leaves 10:00 to 16:00.
    pub changeover: bool,
    /// How often it has changed since it was first accepted.
    pub sequence: u32,
    /// Why the visit moved since the accepted plan; `None` if it did not.
    pub moved: Option<String>,
    /// Who was to come by the accepted plan, where somebody else comes now.
    pub before: Option<Option<Id>>,
}

/// A visit that was accepted and is not made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cancelled {
    /// Its name.
    pub id: String,
    /// The site.
    pub site: Id,
    /// The day it was for.
    pub date: NaiveDate,
    /// Who was to come.
    pub technician: Option<Id>,
    /// How often it has changed, the cancellation counted.
    pub sequence: u32,
    /// Why, in words.
    pub because: String,
}

/// One thing to do at a visit.
#[derive(Debug, Clone, PartialEq)]
pub struct VisitTask {
    /// Where.
    pub at: Address,
    /// What.
    pub work: Work,
    /// Why now, in words.
    pub because: String,
    /// The day it is due.
    pub due: Option<NaiveDate>,
    /// Whether it is overdue or unsafe and came first whatever it costs.
    pub urgent: bool,
    /// Minutes of work.
    pub minutes: f64,
    /// The skill it needs.
    pub skill: Option<String>,
    /// What is brought.
    pub take: Vec<Take>,
    /// What the work and parts cost, without the way.
    pub cost: Option<Decimal>,
    /// Whether the water must be out for it.
    pub water_out: bool,
    /// Why no day in time could be had; `None` = it is in time.
    pub late: Option<String>,
    /// Why it is not done on the day, or by whom, it was promised; `None` = it is, or it was not promised.
    pub moved: Option<String>,
}

/// A kind of work.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Work {
    /// A wear part is renewed.
    Renew(Id),
    /// A task of the book is done.
    Task(Id),
    /// The site is closed for the season.
    Close,
    /// It is opened again.
    Reopen,
    /// What a visit left to be done.
    Left(String),
    /// The look round a contract promises.
    ContractVisit,
}

impl Work {
    /// The word in tables: the part's or task's id.
    pub fn word(&self) -> String {
        match self {
            Self::Renew(part) => part.to_string(),
            Self::Task(task) => task.to_string(),
            Self::Close => "close".to_owned(),
            Self::Reopen => "reopen".to_owned(),
            Self::Left(what) => what.clone(),
            Self::ContractVisit => "contract_visit".to_owned(),
        }
    }
}

/// A part brought to a visit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Take {
    /// The part's id in the book.
    pub part: Id,
    /// How many.
    pub count: u32,
    /// The number on the order.
    pub number: Option<String>,
}

/// What could not be fitted into a visit.
#[derive(Debug, Clone, PartialEq)]
pub struct NotFitted {
    /// The site.
    pub site: Id,
    /// Where.
    pub at: Address,
    /// What.
    pub work: Work,
    /// The day it is due.
    pub due: Option<NaiveDate>,
    /// How many other times it is planned.
    pub planned: usize,
    /// Why it did not fit, in words.
    pub why: String,
}

impl Plan {
    /// A plan of visits in the order given, nothing left over, nothing cancelled, its cost not known.
    pub fn of(visits: impl IntoIterator<Item = Visit>) -> Self {
        Self { visits: visits.into_iter().map(Arc::new).collect(), ..Self::default() }
    }

    /// The visits to a site, by day. They are asked for by every part of every site, so the plan is not searched each
    /// time: it must stand as it is from the first time on.
    pub fn of_site<'a>(&'a self, site: &Id) -> impl Iterator<Item = &'a Arc<Visit>> + use<'a> {
        let places = self.places.get_or_init(|| {
            let mut places: BTreeMap<Id, Vec<usize>> = BTreeMap::new();
            for (place, visit) in self.visits.iter().enumerate() {
                places.entry(visit.site.clone()).or_default().push(place);
            }
            places
        });
        places.get(site).into_iter().flatten().map(|place| &self.visits[*place])
    }
}
