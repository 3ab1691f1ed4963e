//! How old is every wear part, in days and hours, through renewals and exchanges?
//!
//! A part is as old as what it stands in, unless the record or the log says otherwise; an exchanged
//! pump brings new parts; renewing a part renews what the book renews with it. One place walks the
//! log's events: what is in service now is the last life of each position, and the lives before it
//! are what the life model learns from.

use chrono::NaiveDate;

use crate::address::{Address, Id};
use crate::basis::Source;
use crate::calendar::days_between;
use crate::quantities::SpaFigures;
use crate::quantities::run_hours::RunHours;
use crate::records::forms::{Fitted, Keyed, Name};
use crate::records::log::{Because, Condition, Entry, Noticed, Visit};
use crate::records::tubs::PartFitted;
use crate::records::upkeep::Part;
use crate::records::{Fleet, Site};

/// A wear part in service.
#[derive(Debug, Clone)]
pub struct PartInService<'a> {
    /// The site.
    pub site: Id,
    /// What it stands in.
    pub at: Address,
    /// Its id in the book.
    pub id: &'a Id,
    /// Its line of the book.
    pub part: &'a Part,
    /// When it was fitted, as exactly as it is known.
    pub fitted: Fitted,
    /// The record that says so.
    pub source: Option<Source>,
    /// Days in place, from the middle of that range.
    pub age_days: Option<i64>,
    /// Hours run since, of a pump's part.
    pub age_hours: Option<f64>,
    /// The least days it can have been in place: since the records begin.
    pub least_days: i64,
    /// The least hours it can have run.
    pub least_hours: f64,
    /// The model of the pump it is in.
    pub model: Option<String>,
    /// The day it was seen failed, while it has not been renewed since.
    pub seen_failed: Option<NaiveDate>,
    /// The day it was last put off to.
    pub deferred: Option<NaiveDate>,
}

/// How a part's life ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LifeEnd {
    /// It has not: the part is in service.
    InService,
    /// Taken out on a day without having failed.
    Sound(NaiveDate),
    /// Failed on a day.
    Failed(NaiveDate),
    /// Found failed on a day, having failed since it was last renewed or seen good.
    FoundFailed(NaiveDate),
}

/// One life at a part's position.
#[derive(Debug, Clone)]
pub struct PartLife {
    /// When it began, as exactly as it is known.
    pub fitted: Fitted,
    /// The record that says so.
    pub source: Option<Source>,
    /// The model of the pump it was in.
    pub model: Option<String>,
    /// The last day it was seen good.
    pub seen_good: Option<NaiveDate>,
    /// The day it was seen failed, while it has not been renewed since.
    pub seen_failed: Option<NaiveDate>,
    /// The day it was last put off to.
    pub deferred: Option<NaiveDate>,
    /// How it ended.
    pub end: LifeEnd,
}

/// All lives at a part's position, the one in service last.
#[derive(Debug)]
pub struct PartPosition<'a> {
    /// What the part stands in.
    pub at: &'a Address,
    /// Its id in the book.
    pub id: &'a Id,
    /// Its line of the book.
    pub part: &'a Part,
    /// What the pump it is in has run.
    pub hours: Option<&'a RunHours>,
    /// In order, those of models it does not fit left out.
    pub lives: Vec<PartLife>,
}

/// What wear parts stand in.
struct Holder<'a> {
    at: &'a Address,
    fits: &'a str,
    fitted: Fitted,
    path: String,
    parts: &'a Keyed<Id, PartFitted>,
    model: Option<String>,
    hours: Option<&'a RunHours>,
}

/// Every position of a wear part at a site, with all its lives up to the as-of day.
pub fn part_positions<'a>(
    fleet: &'a Fleet,
    site: &'a Site,
    figures: &'a [SpaFigures],
    as_of: NaiveDate,
) -> Vec<PartPosition<'a>> {
    let mut all = Vec::new();
    let there = |holder: &Holder| holder.fitted.range().is_none_or(|(first, _)| first <= as_of);
    for holder in holders(site, figures).into_iter().filter(there) {
        // What begins or ends a life stands in few entries; a thing has many parts.
        let entries: Vec<(u32, &Visit, &Entry)> =
            site.entries(holder.at).filter(|(_, visit, entry)| entry.has_work() && visit.date.0 <= as_of).collect();
        for (id, part) in fleet.book.parts.iter().filter(|(_, part)| part.fits.as_str() == holder.fits) {
            let fits = |model: Option<&String>| {
                let named = |models: &Vec<Name>| model.is_some_and(|m| models.iter().any(|n| n.0 == *m));
                part.models.as_ref().is_none_or(named)
            };
            let mut lives = lives(fleet, site, &holder, &entries, id);
            lives.retain(|life| fits(life.model.as_ref()));
            if !lives.is_empty() {
                all.push(PartPosition { at: holder.at, id, part, hours: holder.hours, lives });
            }
        }
    }
    all.sort_by(|a, b| (a.at, a.id).cmp(&(b.at, b.id)));
    all
}

/// Every wear part in service at a site on the as-of day.
pub fn parts_in_service<'a>(
    fleet: &'a Fleet,
    site: &'a Site,
    figures: &'a [SpaFigures],
    as_of: NaiveDate,
) -> Vec<PartInService<'a>> {
    in_service(site, &part_positions(fleet, site, figures, as_of), as_of)
}

/// The parts in service at a site's positions.
pub fn in_service<'a>(site: &Site, positions: &[PartPosition<'a>], as_of: NaiveDate) -> Vec<PartInService<'a>> {
    positions
        .iter()
        .filter_map(|position| {
            let life = position.lives.last().filter(|life| life.end == LifeEnd::InService)?.clone();
            let start = life.fitted.middle();
            // Hours of before the pump's own curve began are not known.
            let age_hours = start
                .zip(position.hours)
                .filter(|(start, hours)| *start >= hours.start)
                .and_then(|(start, hours)| hours.hours_between(start, hours.end));
            Some(PartInService {
                site: site.id.clone(),
                at: position.at.clone(),
                id: position.id,
                part: position.part,
                fitted: life.fitted,
                source: life.source,
                age_days: start.map(|start| days_between(start, as_of).max(0)),
                age_hours,
                least_days: site.records_start().map_or(0, |from| days_between(from, as_of).max(0)),
                least_hours: position.hours.and_then(|h| h.hours_between(h.start, h.end)).unwrap_or(0.0),
                model: life.model,
                seen_failed: life.seen_failed,
                deferred: life.deferred,
            })
        })
        .collect()
}

fn holders<'a>(site: &'a Site, figures: &'a [SpaFigures]) -> Vec<Holder<'a>> {
    let mut holders = Vec::new();
    for (spa, figures) in site.spas.iter().zip(figures) {
        let path = format!("spas.{}", spa.at);
        holders.push(Holder {
            at: &spa.at,
            fits: "spa",
            fitted: spa.fitted,
            path: format!("{path}.fitted"),
            parts: &spa.parts,
            model: None,
            hours: None,
        });
        for filter in &spa.filters {
            let path = format!("{path}.filters.{}.fitted", filter.at.last());
            holders.push(Holder {
                at: &filter.at,
                fits: "filter",
                fitted: filter.fitted,
                path,
                parts: &filter.parts,
                model: None,
                hours: None,
            });
        }
        for (pump, figures) in spa.pumps.iter().zip(&figures.pumps) {
            let path = format!("{path}.pumps.{}.fitted", pump.at.last());
            let model = pump.model.as_ref().map(|name| name.0.clone());
            holders.push(Holder {
                at: &pump.at,
                fits: "pump",
                fitted: pump.fitted,
                path,
                parts: &pump.parts,
                model,
                hours: figures.hours.as_ref(),
            });
        }
        for item in &spa.equipment {
            let path = format!("{path}.equipment.{}.fitted", item.at.last());
            holders.push(Holder {
                at: &item.at,
                fits: item.kind.as_str(),
                fitted: item.fitted,
                path,
                parts: &item.parts,
                model: None,
                hours: None,
            });
        }
    }
    holders
}

/// The lives of a part in what it stands in, through the log's entries about that.
fn lives(fleet: &Fleet, site: &Site, holder: &Holder, entries: &[(u32, &Visit, &Entry)], id: &Id) -> Vec<PartLife> {
    let own = holder.parts.get(id).map(|p| p.fitted);
    let fitted = own.unwrap_or(holder.fitted);
    let source = (fitted != Fitted::Unknown).then(|| {
        let path = if own.is_some() {
            format!("{}.parts.{id}.fitted", holder.path.trim_end_matches(".fitted"))
        } else {
            holder.path.clone()
        };
        site.source(&path)
    });
    let begun = |fitted, source, model| PartLife {
        fitted,
        source,
        model,
        seen_good: None,
        seen_failed: None,
        deferred: None,
        end: LifeEnd::InService,
    };
    let mut now = begun(fitted, source, holder.model.clone());
    let mut past = Vec::new();
    // The day an inspection found it failed, where it was renewed later.
    let mut seen_failed: Option<NaiveDate> = None;
    for (index, visit, entry) in entries {
        let day = visit.date.0;
        let together = |renewed: &Id| fleet.book.parts.get(renewed).is_some_and(|p| p.also_renew.contains(id));
        let renewed = entry.renewed.0.iter().any(|(renewed, _)| renewed == id || together(renewed));
        let exchanged = entry.exchanged.as_ref();
        match entry.inspected.get(id) {
            Some(Condition::Failed) => seen_failed = seen_failed.or(Some(day)),
            // What was seen on the day of its renewal was the new one.
            Some(Condition::Good) if !renewed && exchanged.is_none() => {
                now.seen_good = Some(day);
                seen_failed = None;
            }
            _ => {}
        }
        let removed = entry.removed == Some(true);
        if renewed || exchanged.is_some() || removed {
            now.end = end_of(id, visit, entry, seen_failed.take());
            let model =
                exchanged.and_then(|e| e.model.as_ref()).map_or_else(|| now.model.clone(), |m| Some(m.0.clone()));
            let next = if renewed {
                begun(Fitted::Day(day), Some(site.entry_source(*index, holder.at, "renewed")), model)
            } else {
                let fitted = exchanged.and_then(|e| e.fitted).unwrap_or(Fitted::Day(day));
                begun(fitted, Some(site.entry_source(*index, holder.at, "exchanged")), model)
            };
            past.push(std::mem::replace(&mut now, next));
            if removed {
                return past;
            }
        }
        if let Some(until) = entry.deferred.get(id) {
            now.deferred = Some(until.0);
        }
    }
    now.seen_failed = seen_failed;
    past.push(now);
    past
}

/// How a life ended that an entry of the log put an end to.
fn end_of(id: &Id, visit: &Visit, entry: &Entry, seen_failed: Option<NaiveDate>) -> LifeEnd {
    let day = visit.date.0;
    let failure = entry.renewed.0.iter().find(|(renewed, r)| renewed == id && r.because == Because::Failure);
    match failure {
        Some((_, renewal)) if renewal.noticed == Noticed::InUse => {
            LifeEnd::Failed(visit.reported.map_or(day, |reported| reported.day.min(day)))
        }
        Some(_) => LifeEnd::FoundFailed(seen_failed.unwrap_or(day)),
        // Seen failed by then, whatever it was renewed for in the end.
        None => seen_failed.map_or(LifeEnd::Sound(day), LifeEnd::FoundFailed),
    }
}
