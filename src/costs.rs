//! What does the work cost, and what is charged for it? Here the planned work of the coming twelve months: wear parts
//! due by the book and recurring tasks, without failures, without the way there, and called so. The submodules bill what
//! was done, simulate a year, and quote it.

pub mod contract;
pub mod outlook;
pub mod pareto;
pub mod prices;
pub mod quote;
pub mod routine;
pub mod simulation;
pub mod spent;
pub mod spread;
pub mod statement;
pub mod year;

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::NaiveDate;
use rust_decimal::{Decimal, RoundingStrategy};
use uom::si::time::minute;

use crate::calendar::{add, plus_days};
use crate::records::Fleet;
use crate::schedule::due::{PartDue, TaskDue, labour_cost};
use crate::schedule::visits::{Visit, Work};

/// A line of the planned year.
#[derive(Debug, Clone)]
pub struct PlannedLine {
    /// What is renewed or done: the part's or task's id.
    pub what: String,
    /// Whether it is a task.
    pub is_task: bool,
    /// How often over the year, all places together.
    pub times: u32,
    /// Its cost, rounded; `None` = a price is not written.
    pub amount: Option<Decimal>,
}

/// The planned year.
#[derive(Debug, Clone, Default)]
pub struct PlannedYear {
    /// Line by line.
    pub lines: Vec<PlannedLine>,
    /// The sum of the lines that have a price.
    pub total: Decimal,
    /// How many lines have none.
    pub without_price: usize,
}

/// Rounds half away from zero to the currency's minor unit.
pub fn rounded(amount: Decimal, currency: &str) -> Decimal {
    amount.round_dp_with_strategy(minor_digits(currency), RoundingStrategy::MidpointAwayFromZero)
}

/// Digits of a currency's minor unit (ISO 4217; two but for those listed).
pub fn minor_digits(currency: &str) -> u32 {
    match currency {
        "BIF" | "CLP" | "DJF" | "GNF" | "ISK" | "JPY" | "KMF" | "KRW" | "PYG" | "RWF" | "UGX" | "VND" | "VUV"
        | "XAF" | "XOF" | "XPF" => 0,
        "BHD" | "IQD" | "JOD" | "KWD" | "LYD" | "OMR" | "TND" => 3,
        _ => 2,
    }
}

/// How often a part falls due within a year from the as-of day: overdue counts once, then again with
/// each interval of its age.
pub fn times_due(part: &PartDue, as_of: NaiveDate) -> u32 {
    let end = plus_days(as_of, 365);
    let Some(mut due) = part.due.map(|due| due.max(plus_days(as_of, 1))) else { return 0 };
    let mut times = 0;
    while due <= end && times < 400 {
        times += 1;
        let Some(age) = part.part.part.interval.age else { break };
        let next = add(due, age);
        if next <= due {
            break;
        }
        due = next;
    }
    times
}

/// Adds up the planned year of a site.
pub fn planned_year(fleet: &Fleet, parts: &[PartDue], tasks: &[TaskDue], as_of: NaiveDate) -> PlannedYear {
    let mut lines: Vec<PlannedLine> = Vec::new();
    let mut put = |what: &str, is_task: bool, times: u32, each: Option<Decimal>| {
        if times == 0 {
            return;
        }
        let amount = each.map(|each| each * Decimal::from(times));
        match lines.iter_mut().find(|line| line.what == what && line.is_task == is_task) {
            Some(line) => {
                line.times += times;
                line.amount = line.amount.zip(amount).map(|(sum, more)| sum + more);
            }
            None => lines.push(PlannedLine { what: what.to_owned(), is_task, times, amount }),
        }
    };
    for part in parts {
        put(part.part.id.as_str(), false, times_due(part, as_of), part.cost);
    }
    for task in tasks {
        let minutes = task.task.time.map(|t| t.0.get::<minute>());
        let each = minutes.and_then(|minutes| labour_cost(fleet, minutes, as_of));
        put(task.id.as_str(), true, task.times.unwrap_or(0), each);
    }
    PlannedYear::of(lines, &fleet.settings.currency.0)
}

impl PlannedYear {
    fn of(lines: Vec<PlannedLine>, currency: &str) -> Self {
        let mut year = Self::default();
        for mut line in lines {
            line.amount = line.amount.map(|amount| rounded(amount, currency));
            match line.amount {
                Some(amount) => year.total += amount,
                None => year.without_price += 1,
            }
            year.lines.push(line);
        }
        year
    }

    /// The same with work counted as it is planned: how often guests, bathers or the pressure ask for it, the plan knows.
    pub fn count_planned(&mut self, fleet: &Fleet, visits: &[Arc<Visit>], as_of: NaiveDate) {
        let mut lines = std::mem::take(&mut self.lines);
        let mut counted: BTreeMap<&str, (u32, Option<Decimal>)> = BTreeMap::new();
        for task in visits.iter().flat_map(|visit| &visit.tasks) {
            let Work::Task(id) = &task.work else { continue };
            let priced = fleet.book.tasks.get(id).and_then(|task| task.time);
            let each = priced.and_then(|time| labour_cost(fleet, time.0.get::<minute>(), as_of));
            let entry = counted.entry(id.as_str()).or_insert((0, Some(Decimal::ZERO)));
            entry.0 += 1;
            entry.1 = entry.1.zip(each).map(|(sum, each)| sum + each);
        }
        // What found no day is still to be done, as often as it falls due.
        lines.retain(|line| !line.is_task || !counted.contains_key(line.what.as_str()));
        lines.extend(counted.into_iter().map(|(what, (times, amount))| PlannedLine {
            what: what.to_owned(),
            is_task: true,
            times,
            amount,
        }));
        *self = Self::of(lines, &fleet.settings.currency.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::str::FromStr;

    #[test]
    fn amounts_are_rounded_half_away_from_zero_to_the_minor_unit() {
        let amount = |text: &str| Decimal::from_str(text).unwrap();
        assert_eq!(rounded(amount("2.345"), "GBP").to_string(), "2.35");
        assert_eq!(rounded(amount("2.5"), "JPY").to_string(), "3");
        assert_eq!(rounded(amount("2.3455"), "KWD").to_string(), "2.346");
    }
}
