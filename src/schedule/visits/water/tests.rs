use super::*;
use crate::quantities::fleet_for_tests::{day, load_with};
use crate::schedule::visits::{Work, plan};

const START: &str = "2026-11-01";

fn stays(all: &[(&str, &str)]) -> String {
    let mut text = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//x//x//EN\r\n".to_owned();
    for (uid, (from, to)) in all.iter().enumerate() {
        text += &format!(
            "BEGIN:VEVENT\r\nUID:{uid}\r\nDTSTART;VALUE=DATE:{}\r\nDTEND;VALUE=DATE:{}\r\nEND:VEVENT\r\n",
            from.replace('-', ""),
            to.replace('-', "")
        );
    }
    text + "END:VCALENDAR\r\n"
}

/// The days a water change is planned for, with the reason of each.
fn changes(
    used_as: &str,
    spa: &str,
    more: &str,
    last: &str,
    as_of: &str,
    bookings: Option<&str>,
) -> Vec<(NaiveDate, String)> {
    let fleet = "{format: 1, fleet: Invented, currency: GBP, timezone: Europe/London, limits: uk}";
    let book = "{format: 1, tasks: {water_change: {fits: spa, every: 60 d, or_bather_limit: true, time: 30 min}}}";
    let site = format!(
        "format: 1\nuse: {used_as}\n{more}spas: {{tub: {{fitted: 2024-01-01, volume: 1500 L, {spa}}}}}\nlog: [{{date: {last}, at: {{tub: {{done: [water_change]}}}}}}]\n"
    );
    let mut files = vec![("fleet.yaml", fleet), ("upkeep.yaml", book), ("sites/a.yaml", site.as_str())];
    files.extend(bookings.map(|text| ("bookings/a.ics", text)));
    load_with(&files, as_of, |fleet, site, as_of| {
        let figures = crate::site::site_figures(fleet, site.lives, site.site, site.spas, as_of);
        let plan = plan(fleet, &[figures], as_of, false);
        assert!(plan.not_fitted.is_empty(), "{:?}", plan.not_fitted);
        let of = |visit: &std::sync::Arc<crate::schedule::visits::Visit>| {
            let task = visit.tasks.iter().find(|task| matches!(task.work, Work::Task(_)));
            task.map(|task| (visit.date, task.because.clone()))
        };
        plan.visits.iter().filter_map(of).collect()
    })
}

/// Guests leave on Mondays, each second week, in the year before and the weeks ahead; the day the log was last written
/// does not decide how often guests leave (a lodge whose last change was three days before guests left had 102).
#[test]
fn each_group_has_one_change_and_the_last_days_of_the_log_do_not_multiply_them() {
    let first = day("2025-06-06");
    let all: Vec<(String, String)> = (0..40)
        .map(|n| plus_days(first, 14 * n))
        .map(|from| (from.to_string(), plus_days(from, 3).to_string()))
        .collect();
    let all: Vec<(&str, &str)> = all.iter().map(|(from, to)| (from.as_str(), to.as_str())).collect();
    let text = stays(&all);
    let left = |last: &str, as_of: &str| changes("rental", "bathers: 4 /day", "", last, as_of, Some(&text)).len();
    // 26 groups a year.
    for (last, as_of) in [("2026-10-27", "2026-10-31"), ("2026-10-30", "2026-10-31"), ("2026-11-24", "2026-11-30")] {
        let count = left(last, as_of);
        assert!((25..=27).contains(&count), "{count} changes as of {as_of}");
    }
}

/// Guests of a year before are expected again on the same day of the week, where nothing booked is in their way, and that
/// is said; the coming weeks are taken as they stand.
#[test]
fn beyond_the_bookings_a_year_before_stands_in_and_says_so() {
    let text = stays(&[
        ("2025-11-07", "2025-11-10"),
        ("2026-05-22", "2026-05-25"),
        ("2026-07-03", "2026-07-06"),
        ("2026-11-13", "2026-11-16"),
        ("2027-07-01", "2027-07-05"),
    ]);
    let all = changes("rental", "bathers: 4 /day", "", "2026-10-31", "2026-10-31", Some(&text));
    // Within the days after the guests have gone.
    let after = |date: &str| {
        let days = day(date)..=plus_days(day(date), AFTER_GUESTS_DAYS);
        all.iter().find(|(planned, _)| days.contains(planned)).map(|(_, because)| because.as_str())
    };
    assert_eq!(after("2026-11-16"), Some("Guests change"), "{all:?}");
    assert_eq!(after("2027-05-24"), Some("Guests are expected to change, as a year before (estimated)"), "{all:?}");
    assert_eq!(after("2027-07-05"), Some("Guests change"), "{all:?}");
    // Between groups the book's 60 days stand.
    let gaps: Vec<i64> = all.windows(2).map(|two| days_between(two[0].0, two[1].0)).collect();
    assert!(gaps.iter().all(|gap| *gap <= 60), "{gaps:?}");
    assert!(after("2026-11-06").is_none(), "{all:?}");
}

/// HSG282 (2017), W-06: 1.5 m3 take 150 bathers; at 5 a day that is 30 days, in summer as before a closed winter.
#[test]
fn bathers_are_counted_anew_after_each_change() {
    let closed = "closed: [{from: 2026-11-02, to: 2027-03-12}]\n";
    let all = changes("club", "bathers: 5 /day", closed, "2026-10-26", "2026-10-31", None);
    let summer: Vec<NaiveDate> = all.iter().map(|(date, _)| *date).filter(|date| *date > day("2027-03-20")).collect();
    let gaps: Vec<i64> = summer.windows(2).map(|two| days_between(two[0], two[1])).collect();
    assert!(gaps.len() >= 6 && gaps.iter().all(|gap| (22..=30).contains(gap)), "{all:?}");
    assert!(
        all.iter().skip(2).all(|(_, because)| because.starts_with("Due again by the number of bathers")),
        "{all:?}"
    );
}

/// A stay of ten days outlasts the week the water may stand (HSG282); the week of an empty spa does not count.
#[test]
fn the_longest_time_runs_while_guests_are_in() {
    let stay = |from: i64, to: i64| Stay { from, to, expected: false };
    let week = Period { months: 0, days: 7 };
    assert_eq!(while_in(&[stay(20, 30)], 2, week), Some(27));
    assert_eq!(while_in(&[stay(20, 27)], 2, week), None);
    assert_eq!(while_in(&[stay(20, 23), stay(23, 33)], 2, week), Some(30));
    assert_eq!(day(START), plus_days(day("2026-10-31"), 1));
}
