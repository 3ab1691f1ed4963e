//! How many parts of a fleet fall due in each coming month? By the most likely day of each, with the fewest and the most that
//! their ranges allow. The chart of the fleet's report draws it, and `sums.csv` holds it.

use chrono::NaiveDate;

use crate::calendar::Month;
use crate::schedule::due::PartDue;

/// A month and the parts that fall due in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DueInMonth {
    /// The month.
    pub month: Month,
    /// Parts whose most likely day lies in it.
    pub parts: usize,
    /// Those whose whole range lies in it.
    pub low: usize,
    /// Those whose range touches it.
    pub high: usize,
}

/// The parts that fall due behind an as-of day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DueByMonth {
    /// Parts past their limit on that day.
    pub past: usize,
    /// The months behind it.
    pub months: Vec<DueInMonth>,
}

/// Months looked at.
const MONTHS: i32 = 12;

/// Counts the parts of some sites by the month they fall due in.
pub fn due_by_month<'a>(parts: impl Iterator<Item = &'a PartDue<'a>>, as_of: NaiveDate) -> DueByMonth {
    let first = Month::of(as_of).next();
    let count = |month| DueInMonth { month, parts: 0, low: 0, high: 0 };
    let mut all = DueByMonth { past: 0, months: first.through(first.plus(MONTHS - 1)).map(count).collect() };
    for part in parts {
        let Some(due) = part.due else { continue };
        if due <= as_of {
            all.past += 1;
            continue;
        }
        // What is not past its limit on the as-of day falls due behind it, whatever its range says.
        let (low, high) = (part.due_low.unwrap_or(due).min(due), part.due_high.unwrap_or(due).max(due));
        let (low, due, high) = (Month::of(low).max(first), Month::of(due), Month::of(high));
        for row in &mut all.months {
            row.parts += usize::from(row.month == due);
            row.low += usize::from(low == high && row.month == due);
            row.high += usize::from((low..=high).contains(&row.month));
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantities::fleet_for_tests::load_with;

    /// A seal of 10 000 h at 24 h a day is due on a day known to the week, a filter known by its year of fitting in a range
    /// of months; what is past its limit is in no month.
    #[test]
    fn the_range_of_each_part_counts_in_every_month_it_touches() {
        let fleet = "{format: 1, fleet: Test, currency: GBP, timezone: Europe/London}";
        let book = "format: 1\nparts:\n  cartridge: {fits: filter, interval: {age: 24 mo}, wears_by: age}\n  lid_gasket: {fits: filter, interval: {age: 12 mo}, wears_by: age}\n";
        let site = "format: 1\nspas: {tub: {fitted: 2025-01-10, filters: {main: {kind: cartridge, fitted: 2025}, other: {kind: cartridge, fitted: 2025-01-10}}, pumps: {}}}\n";
        load_with(
            &[("fleet.yaml", fleet), ("upkeep.yaml", book), ("sites/home.yaml", site)],
            "2026-10-31",
            |_, figures, as_of| {
                let all = due_by_month(figures.parts.iter(), as_of);
                assert_eq!(all.past, 2, "two lid gaskets");
                let row = |month: &str| *all.months.iter().find(|row| row.month.to_string() == month).unwrap();
                // 2025-01-10 and two years: known to the day.
                let january = row("2027-01");
                assert_eq!((january.parts, january.low), (1, 1));
                // Fitted some day of 2025: due some day of 2027, the middle of the year the most likely.
                let due: Vec<_> = figures.parts.iter().filter(|part| part.due.is_some_and(|due| due > as_of)).collect();
                assert_eq!(due.len(), 2);
                for row in &all.months {
                    assert!(row.low <= row.parts && row.parts <= row.high, "{row:?}");
                }
                let touched = all.months.iter().filter(|row| row.high > row.low).count();
                assert!(touched >= 6, "{:?}", all.months);
            },
        );
    }
}
