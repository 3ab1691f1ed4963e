//! Which one new reading would narrow the answer most? Each reading that could be taken on the as-of
//! day is tried: the figures are computed again as if it showed what is expected, and the ranges
//! compared. No reading is recommended that was not tried so.

use chrono::NaiveDate;
use uom::si::time::hour;
use uom::si::volume::liter;

use crate::address::{Address, Id};
use crate::basis::Basis;
use crate::calendar::{add, days_between, plus_days};
use crate::quantities::hours_forecast;
use crate::quantities::run_hours::{self, RunHours};
use crate::quantities::water_turnover::MEASURED_WITHIN;
use crate::records::log::Quantity;
use crate::records::tubs::Speed;
use crate::records::{Fleet, Pump, ReadingRow, Record, Spa};
use crate::report::format;
use crate::schedule::due::{self, DueBy, PartDue};
use crate::site::SiteFigures;

/// A reading that would narrow an answer.
#[derive(Debug, Clone)]
pub struct ReadingAdvice {
    /// Where it is taken.
    pub at: Address,
    /// The part whose date it narrows; `None` = the turnover time of the spa.
    pub part: Option<Id>,
    /// It in a sentence.
    pub says: String,
    /// The width of the range after it over the width before.
    pub narrows_to: f64,
}

/// A range must shrink at least to this share of itself for a reading to be worth a sentence: assumed.
const WORTH_TELLING: f64 = 0.9;
/// A date known to within so many days is exact enough to plan by: assumed.
const EXACT_DAYS: i64 = 7;
/// Dates further off than this say little whatever their range: assumed.
const SOON_DAYS: i64 = 3 * 365;

/// Whether a day is too far off for a reading to say much of it.
pub(super) fn is_far_off(as_of: NaiveDate, day: NaiveDate) -> bool {
    days_between(as_of, day) > SOON_DAYS
}

/// The readings that would narrow a site's answers, the most useful first, at most one for each pump and spa.
pub fn reading_advice(fleet: &Fleet, figures: &SiteFigures) -> Vec<ReadingAdvice> {
    let site = figures.site;
    let mut all = Vec::new();
    for (spa, of_spa) in site.spas.iter().zip(figures.spas) {
        for (pump, of_pump) in spa.pumps.iter().zip(&of_spa.pumps) {
            if let Some(hours) = &of_pump.hours {
                all.extend(counter_advice(fleet, figures, spa, pump, hours));
            }
        }
        all.extend(flow_advice(figures, spa, &of_spa.water));
    }
    all.sort_by(|a, b| a.narrows_to.total_cmp(&b.narrows_to).then_with(|| a.at.cmp(&b.at)));
    all
}

fn counter_advice(
    fleet: &Fleet,
    figures: &SiteFigures,
    spa: &Spa,
    pump: &Pump,
    hours: &RunHours,
) -> Option<ReadingAdvice> {
    let as_of = figures.as_of;
    let mut parts = figures.parts.iter().filter(|part| part.part.at == pump.at && part.by == DueBy::Hours).peekable();
    parts.peek()?;
    let rows = expected_readings(pump, hours, as_of)?;
    let then = run_hours::with_readings(fleet, figures.site, spa, pump, as_of, &rows)?;
    let forecast = hours_forecast::forecast(figures.site, spa, pump, &then, as_of)?;
    let narrowed = parts.filter_map(|part| {
        let (due, low, high) = (part.due?, part.due_low?, part.due_high?);
        if due <= as_of || is_far_off(as_of, due) {
            return None;
        }
        let interval = part.part.part.interval.hours?.0.get::<hour>();
        let (_, early, late) = due::due_by_hours(&part.part, interval, &then, Some(&forecast), as_of)?;
        // Where the book also sets an age, that ends the range whatever the hours.
        let (first, last) = by_age(part).unwrap_or((early, late));
        let (before, after) = (days_between(low, high), days_between(early.min(first), late.min(last)));
        Some((due, &part.part.id, before, after))
    });
    // Of the pump's parts the one that is due first: that is the date to plan by.
    let (_, id, before, after) = narrowed.min_by_key(|(due, ..)| *due)?;
    let narrows_to = after as f64 / before.max(1) as f64;
    (before > EXACT_DAYS && narrows_to <= WORTH_TELLING).then(|| ReadingAdvice {
        at: pump.at.clone(),
        part: Some((*id).clone()),
        says: format!(
            "A counter reading on {} now would narrow the date of the {} from {}.",
            format::place(pump.at.as_str()),
            format::words(id.as_str()),
            from_to(before, after)
        ),
        narrows_to,
    })
}

/// The ends of a part's date by its age.
fn by_age(part: &PartDue) -> Option<(NaiveDate, NaiveDate)> {
    let (first, last) = part.part.fitted.range()?;
    let age = part.part.part.interval.age?;
    Some((add(first, age), add(last, age)))
}

/// What a pump's counters would show on a day if they ran as expected; `None` where one reading more
/// brackets nothing: it has just been read, or never yet and nobody says where it began.
fn expected_readings(pump: &Pump, hours: &RunHours, day: NaiveDate) -> Option<Vec<ReadingRow>> {
    if hours.end < day || hours.last_reading().is_some_and(|last| last >= day) {
        return None;
    }
    let span = pump.meter.and_then(|meter| meter.digits).filter(|d| (1..=12).contains(d)).map(|d| 10f64.powi(d as i32));
    let mut rows: Vec<ReadingRow> = Vec::new();
    for curve in &hours.curves {
        let counter = curve.counter?;
        let last = curve.readings.last()?;
        let quantity = match counter {
            Speed::Low => Quantity::HoursLow,
            Speed::High => Quantity::HoursHigh,
            Speed::All | Speed::Run => Quantity::Hours,
        };
        let since = curve.hours_between(last.day, day)?;
        if let Some(row) = rows.iter_mut().find(|row| row.quantity == quantity) {
            row.value += since;
            continue;
        }
        rows.push(ReadingRow {
            value: last.hours + since,
            record: Record::Supposed,
            day,
            minute: None,
            after: true,
            quantity,
        });
    }
    for row in &mut rows {
        row.value = span.map_or(row.value, |span| row.value % span);
    }
    (!rows.is_empty()).then_some(rows)
}

fn flow_advice(
    figures: &SiteFigures,
    spa: &Spa,
    water: &crate::quantities::water_turnover::Water,
) -> Option<ReadingAdvice> {
    let month = water.months.last()?;
    let (flow, turnover) = (month.flow.as_ref()?, month.turnover.as_ref()?);
    let [filter] = spa.filters.as_slice() else { return None };
    if flow.basis == Basis::Measured || figures.site.is_closed(figures.as_of) {
        return None;
    }
    let volume = spa.volume?.0.get::<liter>();
    let turnover_at = |share: f64| volume / (flow.value * share);
    let (low, high) = (turnover_at(1.0 + MEASURED_WITHIN), turnover_at(1.0 - MEASURED_WITHIN));
    let narrows_to = (high - low) / (turnover.high - turnover.low).max(1e-9);
    let minutes = |low: f64, high: f64| format!("{} to {} min", format::number(low, 1), format::number(high, 1));
    (narrows_to <= WORTH_TELLING).then(|| ReadingAdvice {
        at: filter.at.clone(),
        part: None,
        says: format!(
            "A flow reading at {} now would narrow the turnover time from {} to a range like {}.",
            format::place(filter.at.as_str()),
            minutes(turnover.low, turnover.high),
            minutes(low, high)
        ),
        narrows_to,
    })
}

/// Two spans of days in one unit: "10 weeks to 2".
fn from_to(before: i64, after: i64) -> String {
    let say = |days: i64, unit: i64, one: &str, many: &str| {
        let (before, after) = ((days as f64 / unit as f64).round(), (after as f64 / unit as f64).round());
        format!("{before} {} to {after}", if before == 1.0 { one } else { many })
    };
    let after_shown = after.max(0);
    if before < 28 || after_shown < 7 { say(before, 1, "day", "days") } else { say(before, 7, "week", "weeks") }
}

/// What is said of a pump without a counter reading: one alone is no interval.
pub fn first_readings(as_of: NaiveDate) -> String {
    format!(
        "It has no counter reading: a first one narrows nothing, a second one from {} on tells how it runs against its program.",
        crate::calendar::in_words(plus_days(as_of, 28))
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::parse_date;
    use crate::output::NewFolder;
    use crate::records::load::Shared;
    use crate::site;

    /// The advice for a site of one pump with a seal due by hours, and the due range of the seal.
    fn advice(log: &str) -> (Vec<ReadingAdvice>, i64) {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path();
        let tree = NewFolder::create(root).unwrap();
        let fleet = "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\n";
        tree.write("fleet.yaml", fleet.as_bytes()).unwrap();
        let book = "format: 1\nparts: {shaft_seal: {fits: pump, interval: {hours: 10000 h}}}\n";
        tree.write("upkeep.yaml", book.as_bytes()).unwrap();
        let spa = "spas: {s: {fitted: 2024-12-31, pumps: {jets-1: {duty: jets, program: {run: 12 h/day}}}}}";
        tree.write("sites/a.yaml", format!("format: 1\n{spa}\nlog:\n{log}").as_bytes()).unwrap();
        let shared = Shared::load(root).unwrap();
        let as_of = parse_date("2026-10-31").unwrap();
        let site = shared.read_site(&shared.sites[0]).unwrap().as_of(as_of);
        let spas = crate::quantities::spa_figures(&shared.fleet, &site, as_of);
        let lives = site::fleet_lives(&shared.fleet, &[(site.clone(), spas.clone())], as_of);
        let figures = site::site_figures(&shared.fleet, &lives, &site, &spas, as_of);
        let part = &figures.parts[0];
        let width = days_between(part.due_low.unwrap(), part.due_high.unwrap());
        (reading_advice(&shared.fleet, &figures), width)
    }

    const OLD: &str =
        "  - {date: 2024-12-31, at: {s/jets-1: {hours: 0}}}\n  - {date: 2025-02-28, at: {s/jets-1: {hours: 708}}}\n";

    #[test]
    fn the_sentence_says_what_the_reading_would_do() {
        let (advice, before) = advice(OLD);
        assert_eq!(advice.len(), 1);
        // The reading taken, with what was expected of it: 59 days gave 12 h a day, so do the 610 since.
        let read = format!("{OLD}  - {{date: 2026-10-31, at: {{s/jets-1: {{hours: 8028}}}}}}\n");
        let (none, after) = super::tests::advice(&read);
        assert!(after < before);
        let said = format!(
            "A counter reading on {} now would narrow the date of the shaft seal from {}.",
            format::place("s/jets-1"),
            from_to(before, after)
        );
        assert_eq!(advice[0].says, said);
        // Read on the day itself, there is nothing more to read.
        assert!(none.is_empty());
    }

    #[test]
    fn one_reading_of_a_counter_never_read_narrows_nothing() {
        assert!(advice("  - {date: 2025-02-28, at: {s: {ph: 7.2}}}\n").0.is_empty());
    }

    #[test]
    fn spans_share_a_unit() {
        assert_eq!(from_to(70, 14), "10 weeks to 2");
        assert_eq!(from_to(20, 3), "20 days to 3");
        assert_eq!(from_to(400, 3), "400 days to 3");
    }
}
