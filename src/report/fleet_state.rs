//! How the sites of a fleet stand, the way the page and the fleet's report both say it: which sites are worst, how many
//! stand how, and the one sentence that sums them up. It counts; what makes a site urgent is decided in `to_do`.

use crate::fleet_figures::FleetFigures;
use crate::report::site::Numbers;
use crate::site::SiteFigures;
use crate::to_do::{NOT_IN_PLAN, ToDo, Urgency};

/// How one site stands.
#[derive(Debug)]
pub struct Standing<'a> {
    /// The site.
    pub site: &'a SiteFigures<'a>,
    /// What is to be done there, in groups that say the same of several places; notes are not in it.
    pub groups: Vec<Vec<&'a ToDo>>,
    /// Its numbers of page one.
    pub numbers: Numbers,
}

impl<'a> Standing<'a> {
    /// How a site stands.
    pub fn of(site: &'a SiteFigures<'a>) -> Self {
        Self { site, groups: grouped(&site.to_do), numbers: Numbers::of(site) }
    }

    /// The most pressing kind of thing there; nothing for a site in order.
    pub fn urgency(&self) -> Option<Urgency> {
        self.groups.iter().map(|group| group[0].urgency).min()
    }

    /// How many things are as urgent as that.
    pub fn count(&self, urgency: Urgency) -> usize {
        self.groups.iter().filter(|group| group[0].urgency == urgency).count()
    }

    /// The words for how it stands.
    pub fn words(&self) -> &'static str {
        words(self.urgency())
    }
}

/// What is to be done, in groups that say the same of several places, or of several days of which each found no visit.
/// Notes are left out.
pub fn grouped(to_do: &[ToDo]) -> Vec<Vec<&ToDo>> {
    let mut groups: Vec<Vec<&ToDo>> = Vec::new();
    for one in to_do.iter().filter(|t| t.urgency != Urgency::Note) {
        let same = |group: &&mut Vec<&ToDo>| {
            group[0].reason == one.reason
                && group[0].what == one.what
                && (one.reason == NOT_IN_PLAN || group[0].says == one.says && group[0].due == one.due)
        };
        match groups.iter_mut().find(same) {
            Some(group) => group.push(one),
            None => groups.push(vec![one]),
        }
    }
    groups
}

/// Every site, the worst first: by the most pressing thing, then by how many there are of it, then by name.
pub fn worst_first<'a>(sites: &'a [SiteFigures<'a>]) -> Vec<Standing<'a>> {
    let mut all: Vec<Standing> = sites.iter().map(Standing::of).collect();
    all.sort_by_cached_key(|standing| {
        let urgency = standing.urgency();
        let rank = urgency.map_or(u8::MAX, |u| u as u8);
        let many = urgency.map_or(0, |u| standing.count(u));
        (rank, std::cmp::Reverse(many), standing.site.site.name.to_lowercase(), standing.site.site.id.clone())
    });
    all
}

/// How many sites stand how, the most pressing first; `None` is in order.
pub fn counts(standings: &[Standing]) -> Vec<(Option<Urgency>, usize)> {
    [Some(Urgency::DoNotUse), Some(Urgency::ActNow), Some(Urgency::Plan), None]
        .into_iter()
        .map(|urgency| (urgency, standings.iter().filter(|s| s.urgency() == urgency).count()))
        .collect()
}

/// The words for an urgency; a site without any is in order.
pub fn words(urgency: Option<Urgency>) -> &'static str {
    urgency.map_or("in order", Urgency::words)
}

/// How the fleet stands, in one sentence.
pub fn sentence(standings: &[Standing]) -> String {
    let of = |number: usize, one: &str, many: &str| match number {
        0 => String::new(),
        1 => format!("one {one}"),
        number => format!("{number} {many}"),
    };
    let counts = counts(standings);
    let parts: Vec<String> = [
        of(counts[0].1, "must not be used", "must not be used"),
        of(counts[1].1, "needs attention now", "need attention now"),
        of(counts[2].1, "has things to plan", "have things to plan"),
        of(counts[3].1, "is in order", "are in order"),
    ]
    .into_iter()
    .filter(|part| !part.is_empty())
    .collect();
    let sites = match standings.len() {
        0 => return "The fleet has no site that could be understood.".to_owned(),
        1 => "The one site".to_owned(),
        number => format!("Of {number} sites"),
    };
    if standings.len() == 1 {
        return format!("{sites} {}.", parts.join("").trim_start_matches("one "));
    }
    format!("{sites} {}.", crate::charts::style::list(&parts))
}

/// Which rule books the sites' water is judged by, in words: "rule books uk and us; local codes come first".
pub(super) fn judged_by(figures: &FleetFigures) -> String {
    let fleet = figures.fleet;
    let books = figures.sites.iter().filter_map(|site| {
        fleet.rule_book(site.site).filter(|book| book.limits(site.site.r#use).is_some()).map(|book| book.name.as_str())
    });
    let names: std::collections::BTreeSet<&str> = books.collect();
    let names: Vec<&str> = names.into_iter().collect();
    match names.as_slice() {
        [] => "no limits; local codes come first".to_owned(),
        [one] => format!("rule book {one}; local codes come first"),
        [before @ .., last] => format!("rule books {} and {last}; local codes come first", before.join(", ")),
    }
}
