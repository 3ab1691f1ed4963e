//! Rules about an entry of the log: who was there, whether what it names stood there, and whether what it says of it can be.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use uom::si::time::minute;

use super::{Checker, There, addresses, history, sense, speeds, standing};
use crate::address::Address;
use crate::diagnostic::{Rule, Severity};
use crate::records::Site;
use crate::records::log::{Entry, TimeOfDay, Visit, Why};
use crate::records::upkeep::{CLOSE, REOPEN};
use crate::records::yaml;

/// Labour beyond so many times a visit's time, or below the time by as much, is asked about: assumed.
const LABOUR_TIMES: f64 = 6.0;
/// Below so much labour nothing is too much for its time: assumed.
const MUCH_LABOUR_MINUTES: f64 = 240.0;
/// In less time than that nothing is too little labour: assumed.
const LITTLE_TIME_MINUTES: f64 = 30.0;
/// More labour in one visit is asked about where no time stands beside it: assumed.
const MOST_LABOUR_MINUTES: f64 = 24.0 * 60.0;

/// A visit as it can be held against another.
fn written(visit: &Visit) -> String {
    format!("{visit:?}")
}

impl Checker<'_> {
    /// A visit: entries that cannot be understood are taken out of it.
    pub(super) fn visit(&mut self, site: &Site, there: &There, index: u32, visit: &mut Visit) {
        if let Some(by) = &visit.by
            && !self.fleet.settings.technicians.0.is_empty()
            && self.fleet.settings.technicians.get(by).is_none()
        {
            let names = self.fleet.settings.technicians.iter().map(|(id, _)| id.as_str());
            let hint = yaml::nearest(by.as_str(), names).map(|near| format!("did you mean `{near}`?"));
            let message = format!("no technician `{by}` stands in fleet.yaml");
            self.tell(Severity::Warning, Rule::UnknownTechnician, &format!("log[{index}].by"), message, hint);
        }
        let known = if visit.left.is_empty() { BTreeSet::new() } else { addresses(site) };
        for (place, left) in visit.left.iter().enumerate() {
            let told = self.told.covers(&left.at) || self.told.lost && known.is_empty();
            if !known.contains(&left.at) && !told {
                let message = format!("nothing at this site has the address `{}`", left.at);
                let hint = yaml::nearest(left.at.as_str(), known.iter().map(Address::as_str))
                    .map(|near| format!("did you mean `{near}`?"));
                let path = format!("log[{index}].left[{place}].at");
                self.tell(Severity::Warning, Rule::UnknownAddress, &path, message, hint);
            }
        }
        self.out_of_order(index, visit);
        self.times(index, visit);
        self.numbers_used(index, visit);
        let day = visit.date.0;
        visit.at.0.retain(|(at, entry)| {
            self.is_there(&there.removals, index, day, at) && self.entry(site, there, (index, day), at, entry)
        });
    }

    /// A visit's time and labour, and whether one can be meant beside the other.
    fn times(&mut self, index: u32, visit: &mut Visit) {
        if let Some(time) = &mut visit.time
            && let Some(end) = time.end.filter(|_| time.lasts().is_none())
        {
            let clock = |minutes: u32| format!("{:02}:{:02}", minutes / 60, minutes % 60);
            let message = format!("a visit from {} to {} ends before it begins", clock(time.start), clock(end));
            let hint = format!("was it `{}-{}`?", clock(end), clock(time.start));
            let path = format!("log[{index}].time");
            let told = self.tell(Severity::Warning, Rule::VisitTimes, &path, message, Some(hint));
            told.left_out = Some("its end is not used".to_owned());
            time.end = None;
        }
        let Some(labour) = visit.labour.and_then(|labour| labour.with_default("h")) else { return };
        let labour = labour.0.get::<minute>();
        let lasts = visit.time.and_then(TimeOfDay::lasts).map(f64::from);
        let odd = match lasts {
            Some(lasts) => {
                labour > LABOUR_TIMES * lasts && labour >= MUCH_LABOUR_MINUTES
                    || labour * LABOUR_TIMES < lasts && lasts >= LITTLE_TIME_MINUTES
            }
            None => labour > MOST_LABOUR_MINUTES,
        };
        if !odd {
            return;
        }
        let hours = |minutes: f64| format!("{} h", (minutes / 60.0 * 100.0).round() / 100.0);
        let message = match lasts {
            Some(lasts) => format!("`labour` is {}, and the visit's `time` is {}", hours(labour), hours(lasts)),
            None => format!("`labour` of one visit is {}", hours(labour)),
        };
        let hint = "hours and minutes mixed up, like `75 h` for `75 min`? it is billed as it is written".to_owned();
        self.tell(Severity::Warning, Rule::VisitTimes, &format!("log[{index}].labour"), message, Some(hint));
    }

    /// Numbers under `used` that no part of the book has, where it has numbers at all.
    fn numbers_used(&mut self, index: u32, visit: &Visit) {
        if visit.used.0.is_empty() {
            return;
        }
        let book = self.fleet;
        let numbers = || book.book.parts.iter().filter_map(|(_, part)| Some(part.number.as_ref()?.0.as_str()));
        if numbers().next().is_none() {
            return;
        }
        for (number, _) in visit.used.iter() {
            let of_part = || book.book.parts.iter().any(|(id, _)| id.as_str() == number.0);
            if numbers().any(|known| known == number.0) || of_part() || book.has_model(&number.0) {
                continue;
            }
            let near = yaml::nearest(&number.0, numbers()).map(|near| format!("did you mean `{near}`?"));
            let hint = near.unwrap_or_else(|| "add it to the book with its `sell`, or it has no price".to_owned());
            let message = format!("no part of the book has the number `{}`", number.0);
            let told = self.tell(
                Severity::Warning,
                Rule::UnknownPart,
                &format!("log[{index}].used.{}", number.0),
                message,
                Some(hint),
            );
            told.left_out = Some("it stands on the statement without a price".to_owned());
        }
    }

    /// Visits that stand in the log twice, word for word: a sheet typed in again counts again.
    pub(super) fn written_twice(&mut self, site: &Site) {
        // Sorted by day, so that only neighbours can be alike.
        for (place, (index, visit)) in site.visits.iter().enumerate() {
            // A reading given twice is kept once; time, pieces and call-outs are billed.
            let billed = visit.labour.is_some() || visit.time.is_some_and(|time| time.end.is_some());
            if !billed && visit.used.0.is_empty() && visit.why != Some(Why::Callout) {
                continue;
            }
            let earlier = site.visits[..place].iter().rev().take_while(|(_, other)| other.date == visit.date);
            let alike = |(_, other): &&(u32, Visit)| {
                let (here, there) = (visit.at.iter().map(|(at, _)| at), other.at.iter().map(|(at, _)| at));
                visit.by == other.by && !visit.at.0.is_empty() && here.eq(there) && written(visit) == written(other)
            };
            let Some((first, _)) = earlier.filter(alike).last() else { continue };
            let message = format!("the visit of {} stands in the log twice, word for word", visit.date);
            let second = self.source.beside(&format!("log[{first}].date"), "the first".to_owned());
            let path = format!("log[{index}].date");
            let hint = Some("keep one".to_owned());
            let told = self.tell(Severity::Warning, Rule::RepeatedVisit, &path, message, hint);
            told.left_out = Some("both count, and are billed".to_owned());
            told.second = second;
        }
    }

    /// Whether an address was not removed before a visit.
    fn is_there(&mut self, removals: &history::Removals, index: u32, day: NaiveDate, at: &Address) -> bool {
        let Some((gone, visit)) = removals.gone_before(at, day) else { return true };
        let message = format!("this is dated {day}, but `{at}` was removed on {gone}");
        let hint = Some("mend one of the dates; a pump that another takes the place of is `exchanged`".to_owned());
        let second = history::removal(self.source, visit);
        self.lose_entry(index, at, Rule::UnknownAddress, "", message, hint).second = second;
        false
    }

    /// Whether an entry can be understood.
    fn entry(
        &mut self,
        site: &Site,
        there: &There,
        (index, day): (u32, NaiveDate),
        at: &Address,
        entry: &Entry,
    ) -> bool {
        let Some(standing) = standing(site, at) else {
            // Where no spa could be understood, nothing that is said of them can be wrong.
            if self.told.covers(at) || self.told.lost && site.spas.is_empty() {
                return false;
            }
            let known = addresses(site);
            let hint = yaml::nearest(at.as_str(), known.iter().map(Address::as_str)).map_or_else(
                || format!("there are {}", known.iter().map(Address::as_str).collect::<Vec<_>>().join(", ")),
                |near| format!("did you mean `{near}`?"),
            );
            self.lose_entry(
                index,
                at,
                Rule::UnknownAddress,
                "",
                format!("nothing at this site has the address `{at}`"),
                Some(hint),
            );
            return false;
        };
        if history::first_day(standing.fitted).is_some_and(|first| day < first) {
            let message = format!("this is dated {day}, before `{at}` was fitted: {}", standing.fitted);
            let second = history::fitting(self.source, at, standing.group);
            self.lose_entry(index, at, Rule::BeforeFitting, "", message, None).second = second;
            return false;
        }
        let parts = entry
            .renewed
            .0
            .iter()
            .map(|(id, _)| ("renewed", id))
            .chain(entry.inspected.iter().map(|(id, _)| ("inspected", id)))
            .chain(
                entry
                    .deferred
                    .iter()
                    .filter(|(id, _)| self.fleet.book.tasks.get(id).is_none())
                    .map(|(id, _)| ("deferred", id)),
            );
        for (field, part) in parts {
            if !self.part_fits(index, at, field, part, &standing) {
                return false;
            }
        }
        for (name, _) in &entry.repaired.0 {
            if !self.can_be_repaired(site, index, at, name) {
                return false;
            }
        }
        for task in &entry.done {
            // Closing for the season and opening again are every spa's, and stand in no book.
            let of_season = [CLOSE, REOPEN].contains(&task.as_str()).then_some("spa");
            let fits = self.fleet.book.tasks.get(task).map(|t| t.fits.as_str()).or(of_season);
            if fits != Some(standing.fits) && !self.fleet.book.is_lost(task) {
                let (message, hint) = match fits {
                    None => (
                        format!("the book has no task `{task}`"),
                        yaml::nearest(task.as_str(), self.fleet.book.tasks.iter().map(|(id, _)| id.as_str()))
                            .map(|near| format!("did you mean `{near}`?")),
                    ),
                    Some(fits) => {
                        (format!("the task `{task}` is done at a {fits}, and `{at}` is a {}", standing.fits), None)
                    }
                };
                self.lose_entry(index, at, Rule::UnknownPart, ".done", message, hint);
                return false;
            }
        }
        if let Some((quantity, belongs)) = sense::out_of_place(self.fleet, standing.fits, entry) {
            let message = format!("`{}` is read at a {belongs}, and `{at}` is a {}", quantity.name(), standing.fits);
            self.lose_entry(index, at, Rule::WrongValue, &format!(".{}", quantity.name()), message, None);
            return false;
        }
        let typed = self.fleet.typed_units();
        let after = entry.after.readings(&typed);
        let lacking =
            entry.before.readings(&typed).chain(after).find(|(quantity, _)| there.speeds.lacks(at, day, *quantity));
        if let Some((quantity, _)) = lacking {
            let (message, hint) = speeds::SpeedsThere::says(at, quantity);
            let field = format!(".{}", quantity.name());
            self.lose_entry(index, at, Rule::SpeedNotThere, &field, message, Some(hint));
            return false;
        }
        if entry.exchanged.is_some() && standing.pump.is_none() {
            let message = format!("only a pump is exchanged, and `{at}` is a {}", standing.fits);
            self.lose_entry(index, at, Rule::WrongValue, ".exchanged", message, None);
            return false;
        }
        if let Some(model) = entry.exchanged.as_ref().and_then(|e| e.model.as_ref())
            && !self.fleet.models.is_empty()
            && !self.fleet.has_model(&model.0)
        {
            let hint = yaml::nearest(&model.0, self.fleet.models.keys().map(String::as_str))
                .map(|near| format!("did you mean `{near}`?"));
            let path = format!("log[{index}].at.{at}.exchanged");
            self.tell(
                Severity::Warning,
                Rule::UnknownModel,
                &path,
                format!("no model `{model}` stands in pumps.yaml"),
                hint,
            );
        }
        true
    }
}
