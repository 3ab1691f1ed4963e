//! Is the water in order? Each test of a month against the rule book's limits, with what was done.

use chrono::NaiveDate;

use crate::address::Address;
use crate::basis::Source;
use crate::calendar::Month;
use crate::limits::{Known, LimitSet};
use crate::quantities::water_change::bathing;
use crate::records::log::{Quantity, TimeOfDay};
use crate::records::{Fleet, MinuteOfDay, ReadingRow, Record, Site, Spa};

/// What a test says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TestVerdict {
    /// Within its limits.
    Meets,
    /// Below.
    Low,
    /// Above.
    High,
    /// No limit is known.
    Unknown,
}

impl TestVerdict {
    /// The word in tables and print.
    pub fn word(self) -> &'static str {
        match self {
            Self::Meets => "meets",
            Self::Low => "low",
            Self::High => "high",
            Self::Unknown => "",
        }
    }
}

/// A test of the water.
#[derive(Debug, Clone)]
pub struct WaterTest {
    /// The spa.
    pub at: Address,
    /// The day.
    pub day: NaiveDate,
    /// The time, if known.
    pub time: Option<String>,
    /// Who made it, if the visit says.
    pub by: Option<String>,
    /// Of what.
    pub quantity: Quantity,
    /// Whether it was taken after the work of its visit.
    pub after: bool,
    /// The value in its fixed unit.
    pub value: f64,
    /// The low limit.
    pub low_limit: Option<f64>,
    /// The high limit.
    pub high_limit: Option<f64>,
    /// What it says.
    pub verdict: TestVerdict,
    /// What was done: on the visit, or after a test outside its limits until a test met them again.
    pub action: String,
    /// The work behind `action`, each with its day.
    pub work: Vec<(NaiveDate, String)>,
    /// The first later test of the same that met its limits; only after one outside them.
    pub retest: Option<Retest>,
    /// The record.
    pub source: Source,
}

/// A later test that met its limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Retest {
    /// The day.
    pub day: NaiveDate,
    /// Minutes after midnight, if known.
    pub minute: Option<u32>,
    /// The value.
    pub value: f64,
}

/// What stands for an action where the log has none.
pub const NOTHING_RECORDED: &str = "nothing recorded";

/// The tests of a spa's water in a month, in order.
///
/// After a test outside its limits `action` says what was done at the spa from then until a test of the same met
/// its limits again, or that nothing is recorded, and when a re-test met.
pub fn tests(fleet: &Fleet, site: &Site, spa: &Spa, month: Month) -> Vec<WaterTest> {
    let limits = fleet.rule_book(site).and_then(|book| book.limits(site.r#use));
    let all: Vec<&ReadingRow> = site.readings.get(&spa.at).into_iter().flatten().collect();
    let judge = |row: &ReadingRow| {
        let limit = limits.and_then(|l| l.water_test(row.quantity));
        let (low, high) = limit.map_or((None, None), |(low, high, _, _)| (low, high));
        let verdict = if low.is_some_and(|low| row.value < low - 1e-9) {
            TestVerdict::Low
        } else if high.is_some_and(|high| row.value > high + 1e-9) {
            TestVerdict::High
        } else if low.is_none() && high.is_none() {
            TestVerdict::Unknown
        } else {
            TestVerdict::Meets
        };
        (low, high, verdict)
    };
    all.iter()
        .enumerate()
        .filter(|(_, row)| row.quantity.is_water_test() && Month::of(row.day) == month)
        .map(|(index, row)| {
            let (low_limit, high_limit, verdict) = judge(row);
            let (by, done) = visit_of(site, spa, row);
            let out = matches!(verdict, TestVerdict::Low | TestVerdict::High);
            let met = all[index + 1..]
                .iter()
                .filter(|_| out)
                .find(|later| later.quantity == row.quantity && judge(later).2 == TestVerdict::Meets);
            let retest = met.map(|r| Retest { day: r.day, minute: r.minute.map(MinuteOfDay::minutes), value: r.value });
            let work = if out {
                work_until(site, spa, row, retest)
            } else {
                done.into_iter().map(|what| (row.day, what)).collect()
            };
            let action = action(&work, row.day, out, retest);
            WaterTest {
                at: spa.at.clone(),
                day: row.day,
                time: row.minute.map(|at| TimeOfDay { start: at.minutes(), end: None }.to_string()),
                by,
                quantity: row.quantity,
                after: row.after,
                value: row.value,
                low_limit,
                high_limit,
                verdict,
                action,
                work,
                retest,
                source: row.source(site, &spa.at),
            }
        })
        .collect()
}

/// How often the water was tested in a month against how often the rule book asks.
#[derive(Debug, Clone, PartialEq)]
pub struct Frequency {
    /// Tests asked for on a day in use.
    pub asked: f64,
    /// Tests made: times at which the water was tested, whatever was measured.
    pub made: usize,
    /// Days the spa was in use: the site open and, where nights are known, guests in.
    pub days_in_use: usize,
    /// Of these, days with fewer tests in the log than asked for.
    pub days_short: usize,
    /// Source and edition of the number.
    pub source: String,
    /// How the number is known.
    pub known: Known,
}

/// How often a spa was tested in the as-of month. `None` if the book does not say how often it should be. `tests` are
/// those of [`tests`] for the same spa and month.
pub fn frequency(
    limits: Option<&LimitSet>,
    site: &Site,
    spa: &Spa,
    tests: &[WaterTest],
    as_of: NaiveDate,
) -> Option<Frequency> {
    let limit = limits?.tests_per_day.as_ref()?;
    let asked = limit.at_least?.0;
    let mut times: Vec<(NaiveDate, Option<&str>, bool)> =
        tests.iter().map(|test| (test.day, test.time.as_deref(), test.after)).collect();
    times.sort_unstable();
    times.dedup();
    let stands_since = spa.fitted.middle().unwrap_or(NaiveDate::MIN);
    let month = Month::of(as_of);
    let in_use: Vec<NaiveDate> = month
        .first()
        .iter_days()
        .take_while(|day| *day <= month.last().min(as_of))
        .filter(|day| *day > stands_since && bathing(site, spa, *day))
        .collect();
    let short = |day: &&NaiveDate| (times.iter().filter(|time| time.0 == **day).count() as f64) < asked - 1e-9;
    Some(Frequency {
        asked,
        made: times.len(),
        days_short: in_use.iter().filter(short).count(),
        days_in_use: in_use.len(),
        source: limit.source_text(),
        known: limit.known,
    })
}

/// What was done at the spa from a test outside its limits until the one that met them.
fn work_until(site: &Site, spa: &Spa, row: &ReadingRow, retest: Option<Retest>) -> Vec<(NaiveDate, String)> {
    let mut work = Vec::new();
    for (_, visit, entry) in site.entries(&spa.at) {
        let day = visit.date.0;
        // Work of the test's own day comes after the test, unless that was taken after the work.
        if day < row.day || (day == row.day && row.after) || retest.is_some_and(|met| day > met.day) {
            continue;
        }
        work.extend(entry.done.iter().map(|task| (day, task.as_str().replace('_', " "))));
    }
    work
}

/// The work in words, and what became of a test outside its limits.
fn action(work: &[(NaiveDate, String)], day: NaiveDate, out: bool, retest: Option<Retest>) -> String {
    let words: Vec<String> =
        work.iter().map(|(on, what)| if *on == day { what.clone() } else { format!("{what} on {on}") }).collect();
    let done = words.join(", ");
    match (out, retest) {
        (false, _) => done,
        (true, retest) => {
            let done = if done.is_empty() { NOTHING_RECORDED.to_owned() } else { done };
            retest
                .map_or_else(|| format!("{done}; no re-test met"), |met| format!("{done}; re-test met on {}", met.day))
        }
    }
}

/// Who read it and what was done at the spa on the same visit; a sheet's row has neither.
fn visit_of(site: &Site, spa: &Spa, row: &ReadingRow) -> (Option<String>, Vec<String>) {
    let Record::Log(visit) = row.record else { return (None, Vec::new()) };
    let Some((_, record)) = site.visits.iter().find(|(index, _)| *index == visit) else { return (None, Vec::new()) };
    let done: Vec<String> =
        record.at.get(&spa.at).iter().flat_map(|e| e.done.iter().map(|t| t.as_str().replace('_', " "))).collect();
    (record.by.as_ref().map(ToString::to_string), done)
}

#[cfg(test)]
mod tests {
    use crate::quantities::fleet_for_tests::load;

    /// pH of a rental spa by HSG282: 7.0 to 7.6.
    #[test]
    fn a_test_outside_its_limits_has_an_action_and_a_retest() {
        let site = "format: 1\nuse: rental\nspas: {tub: {fitted: 2026-01-01}}\nlog: [
            {date: 2026-06-02, time: 09:00, at: {tub: {ph: 7.9}}},
            {date: 2026-06-03, at: {tub: {ph: 7.8, done: [water_change], after: {ph: 7.3}}}},
            {date: 2026-06-20, at: {tub: {ph: 6.8}}},
            {date: 2026-06-25, at: {tub: {ph: 6.9}}}]\n";
        let fleet = "{format: 1, fleet: Test, currency: GBP, timezone: Europe/London, limits: uk}";
        let loaded = load(&[("fleet.yaml", fleet), ("sites/home.yaml", site)], "2026-06-30");
        let said: Vec<(&str, &str)> =
            loaded.spas[0].tests.iter().map(|t| (t.verdict.word(), t.action.as_str())).collect();
        assert_eq!(
            said,
            [
                ("high", "water change on 2026-06-03; re-test met on 2026-06-03"),
                ("high", "water change; re-test met on 2026-06-03"),
                ("meets", "water change"),
                ("low", "nothing recorded; no re-test met"),
                ("low", "nothing recorded; no re-test met"),
            ]
        );
        assert_eq!(loaded.spas[0].tests[0].retest.map(|r| r.value), Some(7.3));
    }
}
