//! What a contract promises: visits in each stretch of months, and how soon what is urgent is answered.

use chrono::NaiveDate;

use super::{LOOK_ROUND_MINUTES, Maker, SiteItems};
use crate::calendar::{Month, plus_days};
use crate::records::Site;
use crate::records::contract_words::months_between;
use crate::records::log::Why as WhyVisited;
use crate::report::format;
use crate::schedule::visits::Work;
use crate::schedule::visits::access::Access;
use crate::schedule::visits::made::somebody_works;

/// A closed season, by its first and last day's numbers, with the days of what it shuts out.
type Shut = ((i64, i64), Vec<(NaiveDate, NaiveDate)>);

impl Maker<'_> {
    /// What is urgent is done within the response the contract promises.
    pub(super) fn respond(&self, site: &Site, all: &mut SiteItems) {
        let customer = site.customer.as_ref().and_then(|id| self.fleet.customers.get(id));
        let Some(contract) = customer.and_then(|customer| customer.contract.as_ref()) else { return };
        let runs = contract.from.is_none_or(|day| day.0 <= self.start())
            && contract.to.is_none_or(|day| day.0 >= self.start());
        let Some(response) = contract.response.filter(|_| runs) else { return };
        let hours = response.0.get::<uom::si::time::hour>();
        // Days are planned, not hours: 24 h from the evening of the as-of day end with the next day.
        let by = ((hours / 24.0).ceil().max(1.0) as usize - 1).min(self.days - 1);
        for item in all.items.iter_mut().filter(|item| item.chain.urgent.is_some() && item.chain.due < 0) {
            item.chain.respond_by = Some(by.max(item.chain.first));
        }
    }

    /// The visits a contract promises, one in each month, quarter and so on.
    pub(super) fn contract(&self, site: &Site, access: &Access, all: &mut SiteItems) {
        let Some(at) = site.spas.first().map(|spa| &spa.at) else { return };
        let customer = site.customer.as_ref().and_then(|id| self.fleet.customers.get(id));
        let Some(contract) = customer.and_then(|customer| customer.contract.as_ref()) else { return };
        let Some(words) = contract.visits.as_ref().map(|words| words.0.as_str()) else { return };
        let Some(months) = months_between(words) else {
            let why = format!(
                "`visits: {words}` of the contract is not understood; monthly, every two months, quarterly, half-yearly and \
                 yearly are"
            );
            all.refused.push((at.clone(), Work::ContractVisit, None, why));
            return;
        };
        let from = contract.from.map_or(self.start(), |day| day.0).max(self.start());
        let to = contract.to.map_or(self.end(), |day| day.0).min(self.end());
        let first = Month::of(self.start());
        let mut shut: Vec<Shut> = Vec::new();
        // Quarters and halves are those of the calendar year.
        let begin = first.plus(-((first.number() as i32 - 1) % months));
        for month in begin.through(Month::of(self.end())).step_by(months as usize) {
            let (begins, ends) = (month.first(), month.plus(months - 1).last());
            let (window_from, window_to) = (begins.max(from), ends.min(to));
            // What is not over when the plan or the contract ends can still be visited; a stretch begun may have been.
            // A call-out is no promised visit.
            let visited = site.visits.iter().any(|(_, visit)| {
                visit.date.0 >= begins && visit.date.0 < self.start() && visit.why != Some(WhyVisited::Callout)
            });
            let cut_off = ends > self.end() && contract.to.is_none_or(|day| day.0 > self.end());
            if window_from > window_to || visited || cut_off {
                continue;
            }
            if let Some(season) =
                access.closed.iter().find(|season| self.shut(access, **season, window_from, window_to))
            {
                match shut.last_mut().filter(|(before, _)| before == season) {
                    Some((_, stretches)) => stretches.push((window_from, window_to)),
                    None => shut.push((*season, vec![(window_from, window_to)])),
                }
                continue;
            }
            let mut item = self.item(site, at, Work::ContractVisit, LOOK_ROUND_MINUTES, None);
            item.because = format!("Promised {words}");
            item.chain.access = 0;
            item.chain.first = self.index(window_from).max(0) as usize;
            item.chain.due = self.index(window_to);
            item.chain.may_be_late = false;
            all.items.push(item);
        }
        for ((from, to), stretches) in shut {
            let (Some((first, _)), Some((_, last))) = (stretches.first(), stretches.last()) else { continue };
            let why = format!(
                "the site is closed from {} to {}: {} promised {words} from {} to {} cannot be made",
                format::short_date(plus_days(self.start(), from)),
                format::short_date(plus_days(self.start(), to)),
                if stretches.len() == 1 { "the visit".to_owned() } else { format!("the {} visits", stretches.len()) },
                format::short_date(*first),
                format::short_date(*last),
            );
            all.refused.push((at.clone(), Work::ContractVisit, Some(*last), why));
        }
    }

    /// Whether a closed season leaves no day within a stretch on which somebody works and the site can be visited.
    fn shut(&self, access: &Access, (from, to): (i64, i64), first: NaiveDate, last: NaiveDate) -> bool {
        let (first, last) = (self.index(first).max(0), self.index(last));
        (first..=last).any(|day| (from..=to).contains(&day))
            && (first..=last).all(|day| {
                let open =
                    usize::try_from(day).ok().and_then(|day| access.lists[0].get(day)).is_some_and(|min| *min > 0);
                !open || !somebody_works(self.fleet, plus_days(self.start(), day))
            })
    }
}
