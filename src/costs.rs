//! What does the work cost, and what is charged for it? Here the planned work of the coming twelve months: wear parts
//! due by the book and recurring tasks, without failures, without the way there, and called so. The submodules bill what
//! was done, simulate a year, and quote it.

pub mod contract;
pub mod outlook;
pub mod prices;
pub mod quote;
pub mod routine;
pub mod simulation;
pub mod spent;
pub mod spread;
pub mod statement;
pub mod year;

use chrono::NaiveDate;
use rust_decimal::{Decimal, RoundingStrategy};
use uom::si::time::minute;

use crate::calendar::{add, plus_days};
use crate::records::Fleet;
use crate::schedule::due::{PartDue, TaskDue, labour_cost};

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
    let currency = &fleet.settings.currency.0;
    let mut year = PlannedYear::default();
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
