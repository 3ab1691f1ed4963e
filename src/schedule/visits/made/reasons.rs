//! The reasons of a plan in words: why something is due again, why it goes so early, why nothing could be had in time.

use rust_decimal::Decimal;

use super::Told;
use crate::report::format;
use crate::schedule::visits::Work;
use crate::schedule::visits::chains::{Done, Why};
use crate::schedule::visits::work::Item;

/// Days before its due day from which the reader is told why a part is renewed so early: common practice, no source.
const LONG_BEFORE_DAYS: i64 = 30;

impl Told<'_> {
    /// What renewing a part long before it is due costs and saves, in words; `None` = it is not long before.
    pub(super) fn early(&self, index: usize, item: &Item, done: &Done, urgent: bool) -> Option<String> {
        let days = done.due - done.day as i64;
        let priced = matches!(item.work, Work::Renew(_)) && item.cost.is_some();
        if urgent || !priced || days < LONG_BEFORE_DAYS {
            return None;
        }
        let money = |amount: f64| {
            let amount = Decimal::try_from(amount).unwrap_or_default();
            format::money(amount, &self.fleet.settings.currency.0)
        };
        let chain = &item.chain;
        let way = money(self.numbers.sites[index].way.cost);
        let risk = chain.risk * days as f64;
        let saves = if risk >= 0.005 {
            format!(", saves {} of the risk that it fails first", money(risk))
        } else {
            String::new()
        };
        Some(format!(
            "It goes {days} days early: that gives up {} of its life{saves}; a way of its own later costs {way}.",
            money(chain.thrown_away * days as f64)
        ))
    }

    /// Why something is due again that was last planned for a day.
    pub(super) fn again_because(&self, item: &Item, before: usize) -> String {
        let last = format!("last planned for {}", format::short_date(self.day(before)));
        match item.chain.after.as_ref().and_then(|after| after.get(before)).map_or(Why::Period, |next| next.why) {
            Why::Period => format!("Due again, {last}"),
            Why::Guests => "Guests change".to_owned(),
            Why::GuestsExpected => "Guests are expected to change, as a year before (estimated)".to_owned(),
            Why::AtMost => format!("Guests stay on longer than the water may stand, {last}"),
            Why::Bathers => format!("Due again by the number of bathers, {last}"),
            Why::BathersExpected => {
                format!("Due again by the number of bathers, if guests come as a year before (estimated), {last}")
            }
        }
    }

    /// Why nothing could be had within a window, in words: the first hindrance that rules out every day of it.
    pub(super) fn why_not(&self, index: usize, item: &Item, (from, until): (usize, usize)) -> String {
        let work = &self.numbers.sites[index];
        let access = &self.prepared[index].access;
        let days: Vec<usize> = (from..=until.max(from).min(self.numbers.days - 1)).collect();
        let span = match (days.first(), days.last()) {
            (Some(first), Some(last)) if first != last => {
                format!("from {} to {}", format::short_date(self.day(*first)), format::short_date(self.day(*last)))
            }
            _ => format!("on {}", format::short_date(self.day(from.min(self.numbers.days - 1)))),
        };
        let people = &self.numbers.technicians;
        if let Some(lead) = item.lead.filter(|_| from > until) {
            return format!("what it needs is to be ordered first and takes {} to come", format::period(lead));
        }
        if let (true, Some(skill)) = (people.iter().all(|person| item.chain.skills & !person.skills != 0), &item.skill)
        {
            return format!("nobody of the fleet is down as {skill}");
        }
        let longest = people.iter().flat_map(|person| &person.minutes).max().copied().unwrap_or(0);
        if item.minutes + work.way.minutes > longest {
            return format!(
                "it takes {} min and the way {} min, and nobody works longer than {longest} min a day",
                item.minutes, work.way.minutes
            );
        }
        let closed = |day: usize| access.closed.iter().any(|(a, b)| (*a..=*b).contains(&(day as i64)));
        if days.iter().all(|day| closed(*day)) {
            return format!("the site is closed {span}");
        }
        let list = &work.access[item.chain.access];
        if days.iter().all(|day| list[*day] == 0) {
            let open: Vec<usize> = days.iter().copied().filter(|day| !closed(*day)).collect();
            let outside = if open.len() < days.len() { " outside the closed season" } else { "" };
            if !open.iter().any(|day| access.visit_day[*day]) {
                return format!(
                    "no day the site can be visited on falls {}{outside}",
                    span.replacen("from", "between", 1).replacen(" to ", " and ", 1)
                );
            }
            return format!("guests stay on every day the site could be visited {span}{outside}");
        }
        if days.iter().all(|day| list[*day] < item.minutes) {
            return format!(
                "{span} the site can be visited only while guests change, which is shorter than the {} min it takes",
                item.minutes
            );
        }
        let able =
            |day: usize| people.iter().any(|person| item.chain.skills & !person.skills == 0 && person.minutes[day] > 0);
        let open: Vec<usize> = days.iter().copied().filter(|day| list[*day] >= item.minutes).collect();
        if open.iter().all(|day| !able(*day)) {
            return format!("nobody who can do it works on a day the site can be visited {span}");
        }
        format!("the working days of those who can do it are full on every day the site can be visited {span}")
    }
}
