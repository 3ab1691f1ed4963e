//! Wear parts that fall due: what is renewed together, from when on, and what waiting risks.

use chrono::NaiveDate;
use rust_decimal::Decimal;

use super::{EARLY_SHARE, Item, Maker, SiteItems, minutes_of};
use crate::address::{Address, Id};
use crate::calendar::{add, days_between};
use crate::quantities::PumpFigures;
use crate::records::upkeep::{Clock, Part};
use crate::report::format;
use crate::schedule::due::PartDue;
use crate::schedule::visits::chains::Chain;
use crate::schedule::visits::{Take, Work};
use crate::site::SiteFigures;
use crate::to_do::{Urgency, part_urgency};
use crate::units::Period;

/// The most days a part may be renewed before its due day: common practice, no source.
const EARLIEST_PART_DAYS: i64 = 180;
/// Days within which what was put off is done, counted from the day it was put off to: common practice, no source.
const AFTER_DEFERRAL_DAYS: i64 = 14;

impl Maker<'_> {
    pub(super) fn parts(&self, figures: &SiteFigures, all: &mut SiteItems) {
        let mut here: Vec<&PartDue> = figures.parts.iter().filter(|part| part.due.is_some()).collect();
        here.sort_by_key(|part| (&part.part.at, part.due, part.part.id));
        let mut gone: Vec<bool> = vec![false; here.len()];
        let mut pulled: Vec<Option<NaiveDate>> = vec![None; here.len()];
        // A part that is renewed with another goes with it, if it is not due long before.
        for (index, part) in here.iter().enumerate() {
            if gone[index] {
                continue;
            }
            for other in 0..here.len() {
                let with = here[other];
                if other == index
                    || gone[other]
                    || with.part.at != part.part.at
                    || !part.part.part.also_renew.contains(with.part.id)
                {
                    continue;
                }
                let (Some(due), Some(own)) = (with.due, part.due) else { continue };
                let own = pulled[index].unwrap_or(own);
                let days = days_between(due, own);
                let lost = self.day_thrown_away(part) * days.max(0) as f64;
                let once_more = self.worth(with.cost, minutes_of(with.part.part));
                let within = days <= Self::early_days(part).max(0) || own <= self.as_of;
                if days <= 0 || own <= self.as_of || (within && lost <= once_more) {
                    gone[other] = true;
                    if days > 0 {
                        pulled[index] = Some(due);
                    }
                }
            }
        }
        for (index, part) in here.iter().enumerate() {
            if !gone[index] {
                let due = pulled[index].or(part.due);
                if let Some(due) = due {
                    all.items.push(self.part(figures, part, due));
                }
            }
        }
    }

    /// Days of a part's whole life by its due day.
    fn life_days(part: &PartDue) -> f64 {
        let fitted = part.part.fitted.middle();
        fitted.zip(part.due).map_or(365.0, |(fitted, due)| days_between(fitted, due).max(30) as f64)
    }

    fn early_days(part: &PartDue) -> i64 {
        ((Self::life_days(part) * EARLY_SHARE) as i64).clamp(1, EARLIEST_PART_DAYS)
    }

    fn day_thrown_away(&self, part: &PartDue) -> f64 {
        self.worth(part.cost, minutes_of(part.part.part)) / Self::life_days(part)
    }

    fn part(&self, figures: &SiteFigures, part: &PartDue, due: NaiveDate) -> Item {
        let book = part.part.part;
        let minutes = minutes_of(book);
        let skill = book.skill.as_ref().map(|s| s.0.as_str());
        let mut item = self.item(figures.site, &part.part.at, Work::Renew(part.part.id.clone()), minutes, skill);
        item.because = format::part_reason(part, self.as_of);
        item.water_out = book.water_out == Some(true);
        let take = |id: &Id, book: &Part| Take {
            part: id.clone(),
            count: book.count.unwrap_or(1),
            number: book.number.as_ref().map(|n| n.0.clone()),
        };
        item.take.push(take(part.part.id, book));
        item.cost = part.cost;
        let mut with = Vec::new();
        let mut along = 0.0;
        for id in &book.also_renew {
            let Some(other) = self.fleet.book.parts.get(id) else { continue };
            // It goes along where such a part stands there at all.
            if figures.parts.iter().any(|p| p.part.at == part.part.at && p.part.id == id) {
                item.take.push(take(id, other));
                with.push(format::words(id.as_str()));
                // What is renewed along is thrown away along.
                along += figures
                    .parts
                    .iter()
                    .find(|p| p.part.at == part.part.at && p.part.id == id)
                    .map_or(0.0, |other| self.day_thrown_away(other));
                let piece = other.cost.as_ref().and_then(|cost| cost.on(self.as_of));
                item.cost =
                    item.cost.zip(piece).map(|(sum, piece)| sum + piece.0 * Decimal::from(other.count.unwrap_or(1)));
            }
        }
        if !with.is_empty() {
            item.because.push_str(&format!(" With it: {}.", with.join(", ")));
        }
        let chain = &mut item.chain;
        chain.early = Self::early_days(part);
        chain.due = self.index(due);
        chain.first = (chain.due - chain.early).max(0) as usize;
        chain.thrown_away = self.day_thrown_away(part) + along;
        self.risk(figures, part, chain);
        let urgency = part_urgency(part, self.as_of);
        let unsafe_now = urgency == Some(Urgency::DoNotUse);
        match part.part.deferred.filter(|until| *until > self.as_of && !unsafe_now) {
            Some(until) => {
                let until = self.index(until);
                chain.first = chain.first.max(until.max(0) as usize);
                chain.due = chain.due.max(until + AFTER_DEFERRAL_DAYS);
            }
            None if chain.due < 0 => {
                chain.urgent = Some(match urgency {
                    Some(Urgency::DoNotUse) => 0,
                    Some(Urgency::ActNow) => 1,
                    _ => 2,
                });
            }
            None => {}
        }
        // Nothing says what is held, so that what is not urgent waits until it can have come.
        let lead = book.lead_time.or(self.fleet.settings.stock.lead_time);
        let comes = lead.map(|lead| self.index(add(self.as_of, lead)).max(0) as usize);
        if let (Some(lead), Some(comes)) = (lead, comes) {
            if chain.urgent.is_some() {
                item.because.push_str(&format!(
                    " To be ordered at once if none is held: it takes {} to come.",
                    format::period(lead)
                ));
            } else if chain.first < comes {
                chain.first = comes;
                item.lead = Some(lead);
            }
        }
        let chain = &mut item.chain;
        let by_age = book.interval.age;
        let by_hours = book.interval.hours.and_then(|hours| {
            let a_day = pump(figures, &part.part.at)?.forecast.as_ref()?.year() / 365.0;
            let days = hours.0.get::<uom::si::time::hour>() / a_day;
            (days.is_finite() && days < 36_500.0).then_some(Period { months: 0, days: days.max(1.0) as u32 })
        });
        chain.again = match (by_age, by_hours) {
            (Some(age), Some(hours)) if hours.mean_days() < age.mean_days() => Some(hours),
            (Some(age), _) => Some(age),
            (None, hours) => hours,
        };
        item
    }

    /// What waiting risks: the chance, by the life model, of failing before a day, times what a failure costs more than
    /// planned work; a straight line over the window.
    fn risk(&self, figures: &SiteFigures, part: &PartDue, chain: &mut Chain) {
        // Renewing sooner than the book says saves failures only of what wears out, and is worth it only where the best
        // age says so; elsewhere a new part fails as soon as the old one would.
        let Some(kind) = figures.lives.kind_of(&part.part).filter(|kind| kind.age_that_pays().is_some()) else {
            return;
        };
        let (Some(posterior), Some(costs)) = (&kind.posterior, kind.costs) else { return };
        let chance = |day: i64| -> Option<f64> {
            let days = day.max(0) as f64;
            let (age, further) = match kind.clock {
                Clock::Age => (part.part.age_days? as f64, days),
                Clock::Hours => {
                    let a_day = pump(figures, &part.part.at)?.forecast.as_ref()?.year() / 365.0;
                    (part.part.age_hours?, days * a_day)
                }
            };
            Some(posterior.chance_within(age, further)).filter(|chance| chance.is_finite())
        };
        if chain.due < 0 || chain.due >= self.days as i64 {
            return;
        }
        let (Some(early), Some(late)) = (chance(chain.first as i64), chance(chain.due)) else { return };
        let dearer = costs.failure - costs.planned;
        // A new part may fail too: renewing a day sooner buys a day of a whole life's chance, which is not saved.
        let book = kind.book.unwrap_or(0.0);
        let whole_life = posterior.chance_within(0.0, book);
        if whole_life.is_finite() {
            chain.thrown_away += dearer * whole_life / Self::life_days(part);
        }
        let days = (chain.due - chain.first as i64).max(1) as f64;
        chain.base = dearer * late;
        chain.risk = dearer * (late - early).max(0.0) / days;
    }
}

fn pump<'a>(figures: &'a SiteFigures, at: &Address) -> Option<&'a PumpFigures> {
    figures.spas.iter().flat_map(|spa| &spa.pumps).find(|pump| pump.at == *at)
}
