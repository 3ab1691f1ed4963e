//! How old is every wear part, in days and hours, through renewals and exchanges?
//!
//! A part is as old as what it stands in, unless the record or the log says otherwise; an exchanged
//! pump brings new parts; renewing a part renews what the book renews with it.

use chrono::NaiveDate;

use crate::address::{Address, Id};
use crate::basis::Source;
use crate::calendar::days_between;
use crate::quantities::SpaFigures;
use crate::quantities::run_hours::{self, RunHours};
use crate::records::forms::{Fitted, Keyed, Name};
use crate::records::tubs::PartFitted;
use crate::records::upkeep::Part;
use crate::records::{Fleet, Site};

/// A wear part in service.
#[derive(Debug, Clone)]
pub struct PartInService<'a> {
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
    /// The day it was last put off to.
    pub deferred: Option<NaiveDate>,
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

/// Every wear part in service at a site on the as-of day.
pub fn parts_in_service<'a>(
    fleet: &'a Fleet,
    site: &'a Site,
    figures: &'a [SpaFigures],
    as_of: NaiveDate,
) -> Vec<PartInService<'a>> {
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
            let model = run_hours::model_now(site, pump);
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
    let mut all = Vec::new();
    for holder in &holders {
        if site.entries(holder.at).any(|(_, _, entry)| entry.removed == Some(true)) {
            continue;
        }
        for (id, part) in fleet.book.parts.iter().filter(|(_, part)| part.fits.as_str() == holder.fits) {
            let named = |models: &Vec<Name>| holder.model.as_ref().is_some_and(|m| models.iter().any(|n| n.0 == *m));
            if part.models.as_ref().is_none_or(named) {
                all.push(in_service(fleet, site, holder, id, part, as_of));
            }
        }
    }
    all.sort_by(|a, b| (&a.at, a.id).cmp(&(&b.at, b.id)));
    all
}

fn in_service<'a>(
    fleet: &'a Fleet,
    site: &'a Site,
    holder: &Holder<'a>,
    id: &'a Id,
    part: &'a Part,
    as_of: NaiveDate,
) -> PartInService<'a> {
    let own = holder.parts.get(id).map(|p| p.fitted);
    let mut fitted = own.unwrap_or(holder.fitted);
    let mut source = (fitted != Fitted::Unknown).then(|| {
        let path = if own.is_some() {
            format!("{}.parts.{id}.fitted", holder.path.trim_end_matches(".fitted"))
        } else {
            holder.path.clone()
        };
        site.source(&path)
    });
    let mut deferred = None;
    for (index, visit, entry) in site.entries(holder.at) {
        if entry.exchanged.is_some() {
            fitted = entry.exchanged.as_ref().and_then(|e| e.fitted).unwrap_or(Fitted::Day(visit.date.0));
            source = Some(site.entry_source(index, holder.at, "exchanged"));
            deferred = None;
        }
        let renewed = entry.renewed.0.iter().any(|(renewed, _)| {
            renewed == id || fleet.book.parts.get(renewed).is_some_and(|p| p.also_renew.contains(id))
        });
        if renewed {
            fitted = Fitted::Day(visit.date.0);
            source = Some(site.entry_source(index, holder.at, "renewed"));
            deferred = None;
        }
        if let Some(until) = entry.deferred.get(id) {
            deferred = Some(until.0);
        }
    }
    let start = fitted.middle();
    let age_days = start.map(|start| days_between(start, as_of).max(0));
    // Hours of before the pump's own curve began are not known.
    let age_hours = start
        .zip(holder.hours)
        .filter(|(start, hours)| *start >= hours.start)
        .and_then(|(start, hours)| hours.hours_between(start, hours.end));
    PartInService { at: holder.at.clone(), id, part, fitted, source, age_days, age_hours, deferred }
}
