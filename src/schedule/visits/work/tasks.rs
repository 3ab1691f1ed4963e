//! Tasks of the book that recur: by their period, by guests or bathers, by pressure.

use std::sync::Arc;

use chrono::NaiveDate;
use uom::si::time::minute;

use super::{EARLY_SHARE, Maker, REOPENING_DAYS, SOONER, SiteItems, UNSAID_MINUTES, whole};
use crate::records::upkeep::Every;
use crate::records::{Site, Spa};
use crate::report::format;
use crate::schedule::due::TaskDue;
use crate::schedule::visits::Work;
use crate::schedule::visits::chains::{Chain, Next};
use crate::schedule::visits::water::{self, Asked};
use crate::site::SiteFigures;
use crate::units::Period;

impl Maker<'_> {
    pub(super) fn tasks(&self, figures: &SiteFigures, all: &mut SiteItems) {
        for task in &figures.tasks {
            let Some(due) = task.due else { continue };
            let minutes = task.task.time.map_or(UNSAID_MINUTES, |t| whole(t.0.get::<minute>()));
            let skill = task.task.skill.as_ref().map(|s| s.0.as_str());
            let mut item = self.item(figures.site, &task.at, Work::Task(task.id.clone()), minutes, skill);
            item.because = format::sentence(&task.because);
            item.water_out = task.task.water_out == Some(true);
            let spa = figures.site.spas.iter().find(|spa| spa.at.as_str() == task.at.spa());
            let after = spa.and_then(|spa| self.asked_again(figures.site, spa, task));
            let again = after.as_deref().map_or_else(|| Self::comes_again(figures, task), |after| self.about(after));
            let period = again.map_or(365.0, Period::mean_days).max(1.0);
            item.chain.again = again;
            item.chain.after = after;
            item.chain.early = ((period * EARLY_SHARE) as i64).max(1);
            item.chain.due = self.index(due);
            item.chain.first = (item.chain.due - item.chain.early).max(0) as usize;
            item.chain.thrown_away = self.worth(item.cost, minutes) / period;
            item.chain.waits = true;
            if item.chain.after.as_deref().is_some_and(|after| after.iter().any(|next| next.why.is_guests())) {
                // The water is used up when guests leave; sooner is better, and nothing is thrown away.
                (item.chain.thrown_away, item.chain.risk) = (0.0, SOONER);
            }
            if task.because == "on reopening" {
                item.chain.first = item.chain.due.max(0) as usize;
                item.chain.due += REOPENING_DAYS - 1;
            } else if item.chain.due >= 0 && item.chain.after.is_some() {
                self.after_guests(figures.site, spa, task, due, &mut item.chain);
            }
            if item.chain.due < 0 {
                item.chain.urgent = Some(if task.by_rule { 1 } else { 2 });
            }
            all.items.push(item);
        }
    }

    /// When a task is due again by the day it is done, where the rule for changing the water or guests changing say so.
    fn asked_again(&self, site: &Site, spa: &Spa, task: &TaskDue) -> Option<Arc<[Next]>> {
        let limits = self.fleet.rule_book(site).and_then(|book| book.limits(site.r#use));
        let rule = limits.and_then(|limits| limits.refill.as_ref()).filter(|_| task.task.or_bather_limit == Some(true));
        let at_most = match task.task.every {
            Some(Every::Period(period)) => Some(period),
            _ => task.task.at_most,
        };
        let each_change = task.task.every == Some(Every::Changeover);
        let asked = Asked { rule, each_change, at_most, early_share: EARLY_SHARE };
        water::again(site, spa, self.start(), self.days, asked).map(Arc::from)
    }

    /// About how long it is until something is due again: the mean over the plan's days, counted by whole times.
    fn about(&self, after: &[Next]) -> Option<Period> {
        let mut day = 0;
        let mut times = 0u32;
        while let Some(next) = after.get(day).filter(|next| next.due < self.days as i64) {
            day = (next.due.max(0) as usize).max(day + 1);
            times += 1;
        }
        (times > 0).then(|| Period { months: 0, days: (day as u32 / times).max(1) })
    }

    /// Work that guests leaving ask for first is done behind them, not before.
    fn after_guests(&self, site: &Site, spa: Option<&Spa>, task: &TaskDue, due: NaiveDate, chain: &mut Chain) {
        let leaves = spa.and_then(|spa| spa.stays.as_ref()).is_some_and(|stays| stays.leavings().any(|day| day == due));
        let by_group = task.by_rule || task.task.every == Some(Every::Changeover);
        if let Some(next) = spa.filter(|_| leaves && by_group).and_then(|spa| {
            let next = water::leaving(site, spa, self.start(), self.days, due)?;
            (next.first as i64 == self.index(due)).then_some(next)
        }) {
            (chain.first, chain.due, chain.early) = (next.first, next.last, 0);
        }
    }

    /// How long until a task is due again: its period, or less where pressure asks for it sooner.
    fn comes_again(figures: &SiteFigures, task: &TaskDue) -> Option<Period> {
        let period = match task.task.every {
            Some(Every::Period(period)) => Some(period),
            _ => task.task.at_most,
        };
        let filter = figures.spas.iter().flat_map(|spa| &spa.filters).find(|f| f.at == task.at);
        let by_pressure = task.task.or_pressure_rise.and_then(|_| {
            let state = &filter?.state;
            Some(state.rise_limit? / state.rise_per_day.filter(|rise| *rise > 0.0)?)
        });
        let sooner = by_pressure.filter(|days: &f64| days.is_finite());
        match (period, sooner) {
            (Some(period), Some(days)) if days < period.mean_days() => {
                Some(Period { months: 0, days: days.max(1.0) as u32 })
            }
            (Some(period), _) => Some(period),
            (None, Some(days)) => Some(Period { months: 0, days: days.max(1.0) as u32 }),
            (None, None) => None,
        }
    }
}
