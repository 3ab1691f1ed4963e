//! Run hours against worked cases: small fleets written to a folder and read as a user's would be.
//! The arithmetic of each case stands beside it.

use super::*;
use crate::calendar::parse_date;
use crate::output::NewFolder;
use crate::records::load::Shared;
use proptest::prelude::*;

const FLEET: &str = "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\n";
const MODELS: &str = "format: 1\nmodels:\n  one: {speeds: 1}\n  two: {speeds: 2}\n  old: {speeds: 1, supply: {voltage: 230 V}, current: {run: 4 A}}\n  \
                      new: {speeds: 1, supply: {voltage: 230 V}, current: {run: 2 A}}\n";

fn day(text: &str) -> NaiveDate {
    parse_date(text).unwrap()
}

/// A fleet of one site `a` with one spa `s` and one pump `p`.
struct Case {
    folder: tempfile::TempDir,
    tree: NewFolder,
}

impl Case {
    /// `pump` is the pump's mapping, `log` the log's entries as (date, the pump's entry), `more` other fields of the site.
    fn new(pump: &str, log: &[(&str, &str)], more: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let mut site = format!("format: 1\n{more}\nspas: {{s: {{fitted: 2025-12-31, pumps: {{p: {pump}}}}}}}\n");
        if !log.is_empty() {
            site.push_str("log:\n");
            for (date, entry) in log {
                site.push_str(&format!("  - {{date: {date}, at: {{s/p: {entry}}}}}\n"));
            }
        }
        let tree = NewFolder::create(folder.path()).unwrap();
        tree.write("fleet.yaml", FLEET.as_bytes()).unwrap();
        tree.write("pumps.yaml", MODELS.as_bytes()).unwrap();
        tree.write("sites/a.yaml", site.as_bytes()).unwrap();
        Self { folder, tree }
    }

    /// Nights booked, as (arrival, leaving).
    fn booked(self, stays: &[(&str, &str)]) -> Self {
        let mut text = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//x//x//EN\r\n".to_owned();
        for (index, (from, to)) in stays.iter().enumerate() {
            let plain = |text: &str| text.replace('-', "");
            text.push_str(&format!(
                "BEGIN:VEVENT\r\nUID:{index}\r\nDTSTAMP:20260101T000000Z\r\nDTSTART;VALUE=DATE:{}\r\nDTEND;VALUE=DATE:{}\r\nEND:VEVENT\r\n",
                plain(from),
                plain(to)
            ));
        }
        text.push_str("END:VCALENDAR\r\n");
        self.tree.write("bookings/a.ics", text.as_bytes()).unwrap();
        self
    }

    fn run(&self, as_of: &str) -> RunHours {
        let shared = Shared::load(self.folder.path()).unwrap();
        let errors = |d: &[crate::diagnostic::Diagnostic]| {
            d.iter().map(crate::diagnostic::Diagnostic::one_line).collect::<Vec<_>>()
        };
        let site = shared.read_site(&shared.sites[0]).map_err(|d| errors(&d)).unwrap();
        assert!(site.left_out.is_empty(), "{:?}", errors(&site.diagnostics));
        let site = site.as_of(day(as_of));
        run_hours(&shared.fleet, &site, &site.spas[0], &site.spas[0].pumps[0], day(as_of)).unwrap()
    }
}

fn of_month(hours: &RunHours, month: &str, speed: Speed) -> (f64, &'static str) {
    let month: Month = month.parse().unwrap();
    let row = hours.months.iter().find(|m| m.month == month && m.speed == speed).unwrap();
    (row.hours.unwrap(), row.basis.unwrap().word())
}

fn near(found: (f64, &'static str), hours: f64, basis: &str) {
    assert!((found.0 - hours).abs() < 1e-6 && found.1 == basis, "{found:?}, not {hours} {basis}");
}

#[test]
fn readings_bracket_the_days_between_them() {
    let case = Case::new(
        "{duty: filtration, program: {run: 8 h/day}}",
        &[("2026-01-31", "{hours: 1000}"), ("2026-02-28", "{hours: 1252}"), ("2026-03-31", "{hours: 1531}")],
        "",
    );
    let hours = case.run("2026-04-30");
    // 28 days, 252 h; 31 days, 279 h: read at the ends of the months, so each month is its difference.
    near(of_month(&hours, "2026-02", Speed::Run), 252.0, "metered");
    near(of_month(&hours, "2026-03", Speed::Run), 279.0, "metered");
    // The counter over the program: (252 + 279) / (59 × 8) = 1.125; outside the readings 8 × 1.125 = 9 h a day.
    assert!((hours.curves[0].factor.unwrap() - 1.125).abs() < 1e-12);
    near(of_month(&hours, "2026-01", Speed::Run), 31.0 * 9.0, "calibrated");
    near(of_month(&hours, "2026-04", Speed::Run), 30.0 * 9.0, "calibrated");
}

#[test]
fn missing_months_lie_between_their_neighbours_in_proportion_to_the_program() {
    let program = "[{from: 2026-01-01, run: 4 h/day}, {from: 2026-03-01, run: 8 h/day}]";
    let case = Case::new(
        &format!("{{duty: filtration, program: {program}}}"),
        &[("2026-01-31", "{hours: 0}"), ("2026-04-30", "{hours: 720}")],
        "",
    );
    let hours = case.run("2026-04-30");
    // February 28 × 4 = 112 h, March 31 × 8 = 248 h, April 30 × 8 = 240 h by the program, 600 h in all: × 1.2.
    near(of_month(&hours, "2026-02", Speed::Run), 134.4, "metered");
    near(of_month(&hours, "2026-03", Speed::Run), 297.6, "metered");
    near(of_month(&hours, "2026-04", Speed::Run), 288.0, "metered");
}

#[test]
fn days_on_which_no_program_holds_count_as_the_first_one() {
    let case = Case::new(
        "{duty: filtration, program: [{from: 2026-03-01, run: 8 h/day}, {from: 2026-04-01, run: 16 h/day}]}",
        &[("2026-01-31", "{hours: 0}"), ("2026-04-30", "{hours: 952}")],
        "",
    );
    // February has no program and weighs like the first: 28 × 8 + 31 × 8 + 30 × 16 = 952.
    let hours = case.run("2026-04-30");
    near(of_month(&hours, "2026-02", Speed::Run), 224.0, "metered");
    near(of_month(&hours, "2026-04", Speed::Run), 480.0, "metered");
}

#[test]
fn a_reset_with_what_it_showed_loses_nothing() {
    let case = Case::new(
        "{duty: filtration}",
        &[
            ("2026-01-31", "{hours: 500}"),
            ("2026-02-14", "{meter_reset: {showed: 640, to: 0}}"),
            ("2026-02-28", "{hours: 140}"),
        ],
        "",
    );
    // 640 − 500 and 140 − 0 over 28 days.
    near(of_month(&case.run("2026-02-28"), "2026-02", Speed::Run), 280.0, "metered");
}

#[test]
fn a_reset_without_what_it_showed_leaves_its_days_to_the_program() {
    let case = Case::new(
        "{duty: filtration, program: {run: 12 h/day}}",
        &[
            ("2026-01-14", "{hours: 300}"),
            ("2026-01-31", "{hours: 504}"),
            ("2026-02-14", "{meter_reset: {to: 0}}"),
            ("2026-02-28", "{hours: 168}"),
        ],
        "",
    );
    let hours = case.run("2026-02-28");
    // 204 h in 17 days and 168 h in 14 are 12 h a day: the factor is 1 and 1 to 14 February are 14 × 12 h.
    near(of_month(&hours, "2026-02", Speed::Run), 336.0, "metered");
    let february = hours.months.iter().find(|m| m.month.number() == 2).unwrap();
    assert!((february.metered_fraction - 0.5).abs() < 1e-12);
}

#[test]
fn a_counter_rolls_over_where_its_digits_say() {
    let log = [("2026-01-31", "{hours: 99900}"), ("2026-02-28", "{hours: 124}")];
    let case = Case::new("{duty: filtration, meter: {digits: 5}}", &log, "");
    near(of_month(&case.run("2026-02-28"), "2026-02", Speed::Run), 224.0, "metered");
}

#[test]
fn a_misread_counter_is_no_rollover() {
    let log = [
        ("2026-01-01", "{hours: 500}"),
        ("2026-01-31", "{hours: 99999}"),
        ("2026-02-28", "{hours: 964}"),
        ("2026-03-31", "{hours: 1212}"),
    ];
    let hours = Case::new("{duty: filtration, meter: {digits: 5}}", &log, "").run("2026-03-31");
    assert_eq!(hours.set_aside.len(), 1);
    // 464 h over 58 days are 8 h a day.
    near(of_month(&hours, "2026-02", Speed::Run), 224.0, "estimated");
}

#[test]
fn an_exchange_between_readings_begins_a_new_count() {
    let pump = "{duty: filtration, program: {run: 10 h/day}}";
    let told = Case::new(
        pump,
        &[
            ("2026-01-31", "{hours: 3000}"),
            ("2026-02-10", "{exchanged: {because: failure}, meter_reset: {showed: 3080, to: 0}}"),
            ("2026-02-28", "{hours: 198}"),
        ],
        "",
    );
    // 80 h of the old pump and 198 h of the new one.
    near(of_month(&told.run("2026-02-28"), "2026-02", Speed::Run), 278.0, "metered");
    let untold = Case::new(
        pump,
        &[
            ("2026-01-11", "{hours: 2760}"),
            ("2026-01-31", "{hours: 3000}"),
            ("2026-02-10", "{exchanged: {because: failure}}"),
            ("2026-02-28", "{hours: 198}"),
            ("2026-03-31", "{hours: 477}"),
        ],
        "",
    );
    let hours = untold.run("2026-03-31");
    // Old pump: 240 h in 20 days are 1.2 of the program, so 10 days × 12 h. New pump, from its first reading on:
    // 279 h in 31 days are 0.9, so 18 days × 9 h before it. Neither learns from the other.
    near(of_month(&hours, "2026-02", Speed::Run), 10.0 * 12.0 + 18.0 * 9.0, "calibrated");
    assert!((hours.curves[0].factor.unwrap() - 0.9).abs() < 1e-12);
}

#[test]
fn one_counter_for_two_speeds_is_split_by_the_program() {
    let log = [("2026-01-31", "{hours: 0}"), ("2026-02-28", "{hours: 420}")];
    let case = Case::new("{model: two, duty: filtration_and_jets, program: {low: 9 h/day, high: 3 h/day}}", &log, "");
    let hours = case.run("2026-03-31");
    // 28 × 12 h by the program, 420 h counted: × 1.25. A quarter of them at high.
    near(of_month(&hours, "2026-02", Speed::Low), 315.0, "estimated");
    near(of_month(&hours, "2026-02", Speed::High), 105.0, "estimated");
    near(of_month(&hours, "2026-03", Speed::High), 31.0 * 3.0 * 1.25, "calibrated");
    let case = Case::new("{model: two, duty: jets}", &log, "");
    // No program: all speeds together, and the last 365 days' rate of 15 h a day outside.
    let hours = case.run("2026-03-31");
    near(of_month(&hours, "2026-02", Speed::All), 420.0, "metered");
    near(of_month(&hours, "2026-03", Speed::All), 31.0 * 15.0, "estimated");
}

#[test]
fn both_speeds_together_never_exceed_a_day() {
    // The program itself is too full: high comes first, low gets what is left of 24 h.
    let pump = "{model: two, duty: filtration_and_jets, program: {low: 24 h/day, high: 2 h/day}}";
    let hours = Case::new(pump, &[], "").run("2026-01-31");
    near(of_month(&hours, "2026-01", Speed::High), 62.0, "programmed");
    near(of_month(&hours, "2026-01", Speed::Low), 31.0 * 22.0, "programmed");
    // Two counters, 40 h + 200 h in 10 days are just all of 240 h; on five occupied days high runs 8 h.
    let pump =
        "{model: two, duty: filtration_and_jets, program: {low: 20 h/day, high: 0 h/day, occupied: {high: 8 h/day}}}";
    let log = [("2026-01-10", "{hours_low: 0, hours_high: 0}"), ("2026-01-20", "{hours_low: 200, hours_high: 40}")];
    let hours = Case::new(pump, &log, "").booked(&[("2026-01-11", "2026-01-16")]).run("2026-01-20");
    let between = |speed: Speed, from: &str, to: &str| {
        hours.curves.iter().find(|c| c.speed == speed).unwrap().hours_between(day(from), day(to)).unwrap()
    };
    assert!((between(Speed::High, "2026-01-10", "2026-01-15") - 40.0).abs() < 1e-9);
    // 20 h × 10 days would give low 100 h beside high's 40 in five days of 24 h: 80 h find room, 120 h come after.
    assert!((between(Speed::Low, "2026-01-10", "2026-01-15") - 80.0).abs() < 1e-9);
    assert!((between(Speed::Low, "2026-01-15", "2026-01-20") - 120.0).abs() < 1e-9);
}

#[test]
fn equipment_older_than_its_records_counts_back_by_what_is_known() {
    let log = [("2026-02-01", "{hours: 20000}"), ("2026-03-03", "{hours: 20180}")];
    // A program: 30 days × 12 h, 180 h counted, factor one half, from the fitting on.
    let hours = Case::new("{duty: filtration, program: {run: 12 h/day}}", &log, "").run("2026-03-31");
    near(of_month(&hours, "2026-01", Speed::Run), 31.0 * 6.0, "calibrated");
    assert_eq!(hours.start, day("2025-12-31"));
    // None: the rate of late, 6 h a day, estimated.
    let hours = Case::new("{duty: filtration}", &log, "").run("2026-03-31");
    near(of_month(&hours, "2026-01", Speed::Run), 31.0 * 6.0, "estimated");
    // Fitted nobody knows when: the hours begin with the first reading.
    let hours = Case::new("{duty: filtration, fitted: unknown}", &log, "").run("2026-03-31");
    assert_eq!(hours.start, day("2026-01-31"));
}

#[test]
fn nothing_known_is_not_nothing_run() {
    let hours = Case::new("{duty: jets}", &[], "").run("2026-03-31");
    assert!(hours.curves.is_empty() && hours.months.is_empty());
    assert_eq!(hours.hours_between(day("2026-01-31"), day("2026-02-28")), None);
}

#[test]
fn programs_stand_still_in_a_closed_season_and_out_of_service_but_a_counter_prevails() {
    let closed = "closed: [{from: 2026-02-01, to: 2026-02-10}]";
    let pump = "{duty: filtration, program: {run: 10 h/day}}";
    let hours = Case::new(pump, &[("2026-02-20", "{down: 3 d}")], closed).run("2026-02-28");
    // 28 days less 10 closed and 3 out of service (18 to 20 February).
    near(of_month(&hours, "2026-02", Speed::Run), 150.0, "programmed");
    let log = [("2026-01-31", "{hours: 0}"), ("2026-02-10", "{hours: 40}"), ("2026-02-28", "{hours: 220}")];
    let hours = Case::new(pump, &log, closed).run("2026-02-28");
    near(of_month(&hours, "2026-02", Speed::Run), 220.0, "metered");
    assert!((hours.hours_between(day("2026-01-31"), day("2026-02-10")).unwrap() - 40.0).abs() < 1e-9);
}

#[test]
fn a_counter_at_rest_in_a_closed_season_does_not_stop_the_program_after_it() {
    let log = [("2026-02-01", "{hours: 100}"), ("2026-02-26", "{hours: 100}")];
    let closed = "closed: [{from: 2026-02-01, to: 2026-02-28}]";
    let hours = Case::new("{duty: filtration, program: {run: 10 h/day}}", &log, closed).run("2026-03-31");
    near(of_month(&hours, "2026-03", Speed::Run), 310.0, "programmed");
}

/// A pump whose hours only its counter tells stands still in a closed season as any other does.
#[test]
fn a_counter_without_a_program_rests_in_a_closed_season() {
    let closed = "closed: [{from: 2026-02-01, to: 2026-02-10}, {from: 2026-04-01, to: 2026-04-10}]";
    let log = [("2026-01-31", "{hours: 0}"), ("2026-02-28", "{hours: 180}"), ("2026-03-31", "{hours: 490}")];
    let hours = Case::new("{duty: filtration}", &log, closed).run("2026-04-30");
    // 180 h on the 18 days it was open: 10 h a day; so too after the last reading, 20 days of April.
    assert_eq!(hours.hours_between(day("2026-01-31"), day("2026-02-10")), Some(0.0));
    near(of_month(&hours, "2026-02", Speed::Run), 180.0, "metered");
    assert!((hours.curves[0].rate.unwrap() - 10.0).abs() < 1e-9);
    near(of_month(&hours, "2026-04", Speed::Run), 200.0, "estimated");
}

/// What ran while the spa was closed counts, but teaches nothing of the days on which it is open.
#[test]
fn hours_of_a_closed_season_do_not_raise_the_factor() {
    let closed = "closed: [{from: 2026-02-01, to: 2026-02-28}]";
    let log = [("2026-01-31", "{hours: 0}"), ("2026-02-28", "{hours: 280}"), ("2026-03-31", "{hours: 590}")];
    let hours = Case::new("{duty: filtration, program: {run: 10 h/day}}", &log, closed).run("2026-04-30");
    near(of_month(&hours, "2026-02", Speed::Run), 280.0, "metered");
    assert!((hours.curves[0].factor.unwrap() - 1.0).abs() < 1e-9);
    near(of_month(&hours, "2026-04", Speed::Run), 300.0, "calibrated");
}

/// Fitted some time in 2025, which is about the middle of July, and read in March: it was there in March.
#[test]
fn what_was_read_at_a_pump_was_there() {
    let log = [("2025-03-01", "{hours: 0}"), ("2025-05-01", "{hours: 610}"), ("2026-01-31", "{hours: 3360}")];
    let hours = Case::new("{duty: filtration, fitted: 2025}", &log, "records_from: 2025-03-01").run("2026-01-31");
    assert_eq!(hours.start, day("2025-03-01"));
    assert_eq!(hours.hours_between(day("2025-03-01"), day("2025-05-01")), Some(610.0));
}

/// A pump of two speeds gives way to one of one speed, and its program to that of the new one: each counts by its own
/// counter, and the months add up.
#[test]
fn a_pump_of_two_speeds_may_give_way_to_one_of_one_speed() {
    let pump = "{duty: filtration_and_jets, model: two, program: [{low: 8 h/day, high: 2 h/day}, {from: 2026-03-01, run: 12 h/day}]}";
    let log = [
        ("2026-01-31", "{hours: 0}"),
        ("2026-02-28", "{hours: 280, exchanged: {because: failure, model: one}, after: {hours: 5}}"),
        ("2026-03-31", "{hours: 377}"),
    ];
    let hours = Case::new(pump, &log, "").run("2026-04-30");
    // February: 280 h in proportion 8 to 2. March: 372 h of 31 × 12; so too in April.
    near(of_month(&hours, "2026-02", Speed::Low), 224.0, "estimated");
    near(of_month(&hours, "2026-02", Speed::High), 56.0, "estimated");
    near(of_month(&hours, "2026-03", Speed::Run), 372.0, "metered");
    near(of_month(&hours, "2026-04", Speed::Run), 360.0, "calibrated");
    assert_eq!(of_month(&hours, "2026-03", Speed::Low).0 + of_month(&hours, "2026-02", Speed::Run).0, 0.0);
}

/// The month of an exchange: each pump's hours at its own power, and the current read before the exchange is the old one's.
#[test]
fn the_month_of_an_exchange_is_billed_at_both_powers() {
    let pump = "{duty: filtration, model: old, program: {run: 10 h/day}}";
    let log =
        [("2026-04-10", "{current: 5 A, exchanged: {because: failure, model: new}}"), ("2026-05-15", "{current: 3 A}")];
    let hours = Case::new(pump, &log, "").run("2026-05-31");
    let energy = |month: &str| hours.of_month(month.parse().unwrap())[0].energy_kwh.unwrap();
    // April: 100 h at 230 V × 5 A × 0.9 = 1.035 kW, 200 h at the new model's 2 A, 0.414 kW. May: 310 h at 3 A, 0.621 kW.
    assert!((energy("2026-04") - (103.5 + 82.8)).abs() < 1e-9, "{}", energy("2026-04"));
    assert!((energy("2026-05") - 310.0 * 0.621).abs() < 1e-9);
    // March: the old model's current, for none was read.
    assert!((energy("2026-03") - 310.0 * 0.828).abs() < 1e-9);
}

#[test]
fn occupied_nights_weigh_by_the_program() {
    let pump = "{duty: jets, program: {run: 1 h/day, occupied: {run: 3 h/day}}}";
    let log = [("2026-01-31", "{hours: 0}"), ("2026-02-28", "{hours: 84}")];
    let case = Case::new(pump, &log, "").booked(&[("2026-02-01", "2026-02-08")]);
    let hours = case.run("2026-02-28");
    // Seven nights × 3 h + 21 days × 1 h = 42 h by the program, 84 h counted: × 2, so 42 h by 7 February.
    assert!((hours.hours_between(day("2026-01-31"), day("2026-02-07")).unwrap() - 42.0).abs() < 1e-9);
    // With no bookings file the base program counts.
    let hours = Case::new(pump, &[], "").run("2026-02-28");
    near(of_month(&hours, "2026-02", Speed::Run), 28.0, "estimated");
}

#[test]
fn an_implausible_reading_is_set_aside_and_its_neighbours_bracket_the_days() {
    let log = [
        ("2026-01-31", "{hours: 100}"),
        ("2026-02-14", "{hours: 2600}"),
        ("2026-02-28", "{hours: 380}"),
        ("2026-03-31", "{hours: 690}"),
    ];
    let hours = Case::new("{duty: filtration}", &log, "").run("2026-03-31");
    assert_eq!(hours.set_aside.len(), 1);
    near(of_month(&hours, "2026-02", Speed::Run), 280.0, "estimated");
    assert_eq!(hours.months[1].metered_fraction, 0.0);
    near(of_month(&hours, "2026-03", Speed::Run), 310.0, "metered");
}

#[test]
fn a_reset_nobody_noted_is_no_measurement_and_teaches_nothing() {
    // 8 h a day throughout; set back to 50 h on 28 April, and past the last reading before it on 27 June.
    let log = [
        ("2026-01-28", "{hours: 0}"),
        ("2026-02-27", "{hours: 240}"),
        ("2026-03-29", "{hours: 480}"),
        ("2026-04-28", "{hours: 50}"),
        ("2026-05-28", "{hours: 290}"),
        ("2026-06-27", "{hours: 530}"),
    ];
    let hours = Case::new("{duty: filtration, program: {run: 8 h/day}}", &log, "").run("2026-07-31");
    assert_eq!(hours.set_aside.len(), 2);
    assert!((hours.curves[0].factor.unwrap() - 1.0).abs() < 1e-12);
    near(of_month(&hours, "2026-05", Speed::Run), 31.0 * 8.0, "estimated");
    near(of_month(&hours, "2026-07", Speed::Run), 31.0 * 8.0, "calibrated");
}

#[test]
fn a_counter_faster_than_time_is_held_to_24_hours_and_said_to_be_estimated() {
    // 30 h a day, read daily: each pair is within a visit's hours, all together are not.
    let days: Vec<(String, String)> =
        (1..=31).map(|d| (format!("2026-01-{d:02}"), format!("{{hours: {}}}", 30 * d))).collect();
    let log: Vec<(&str, &str)> = days.iter().map(|(day, entry)| (day.as_str(), entry.as_str())).collect();
    let hours = Case::new("{duty: filtration, program: {run: 12 h/day}}", &log, "").run("2026-02-28");
    assert_eq!(hours.too_fast, [(day("2026-01-01"), day("2026-01-31"))]);
    near(of_month(&hours, "2026-01", Speed::Run), 30.0 * 24.0 + 12.0, "estimated");
    assert_eq!(hours.curves[0].factor, None);
    near(of_month(&hours, "2026-02", Speed::Run), 28.0 * 12.0, "programmed");
}

#[test]
fn what_a_late_reading_holds_over_24_hours_a_day_belongs_to_the_day_before() {
    // Round the clock, read in the evening of 10 January, in the morning of the 20th, in the evening of the 30th: the last
    // interval seems to hold 248 h in ten days. 8 h of them ran on the 20th after the reading.
    let log = [("2026-01-10", "{hours: 0}"), ("2026-01-20", "{hours: 232}"), ("2026-01-30", "{hours: 480}")];
    let hours = Case::new("{duty: filtration}", &log, "").run("2026-01-30");
    assert!((hours.hours_between(day("2026-01-10"), day("2026-01-20")).unwrap() - 240.0).abs() < 1e-9);
    assert!((hours.hours_between(day("2026-01-20"), day("2026-01-30")).unwrap() - 240.0).abs() < 1e-9);
}

#[test]
fn a_counter_at_zero_on_the_day_of_fitting_counts_from_there() {
    let log = [("2026-02-28", "{hours: 590}")];
    let pump = "{duty: filtration, fitted: 2025-12-31, meter: {at_fitting: 0 h}}";
    near(of_month(&Case::new(pump, &log, "").run("2026-02-28"), "2026-01", Speed::Run), 310.0, "metered");
    // Of a day of fitting that is not exact it says nothing: one reading is no interval.
    let pump = "{duty: filtration, fitted: 2025, meter: {at_fitting: 0 h}}";
    assert!(Case::new(pump, &log, "").run("2026-02-28").curves.is_empty());
}

#[test]
fn the_counter_and_an_exact_program_agree_to_the_minute() {
    let pump = "{duty: jets, program: {run: 10 min/day, occupied: {run: 40 min/day}}}";
    let stays = [("2026-02-03", "2026-02-07"), ("2026-02-20", "2026-03-02")];
    let by_program = Case::new(pump, &[], "").booked(&stays).run("2026-03-31");
    // January 31 × 10 min; February 28 × 10 + 13 nights × 30; March 31 × 10 + 1 × 30 min.
    let minutes = [310.0, 280.0 + 390.0, 340.0];
    let counter = |index: usize| minutes[..index].iter().sum::<f64>() / 60.0;
    let entries = [1, 2, 3].map(|index| format!("{{hours: {:.6}}}", counter(index)));
    let log = [
        ("2026-01-01", "{hours: 0.166667}"),
        ("2026-01-31", entries[0].as_str()),
        ("2026-02-28", entries[1].as_str()),
        ("2026-03-31", entries[2].as_str()),
    ];
    let by_counter = Case::new(pump, &log, "").booked(&stays).run("2026-03-31");
    for (month, minutes) in ["2026-01", "2026-02", "2026-03"].into_iter().zip(minutes) {
        for hours in [&by_program, &by_counter] {
            let found = of_month(hours, month, Speed::Run).0 * 60.0;
            assert!((found - minutes).abs() < 0.01, "{month}: {found}, not {minutes}");
        }
    }
}

#[test]
fn a_past_month_is_unmoved_by_what_was_entered_later() {
    let log = [("2026-01-10", "{hours: 100}"), ("2026-01-31", "{hours: 300}")];
    let later = [
        log[0],
        log[1],
        ("2026-02-10", "{hours: 340}"),
        ("2026-02-12", "{exchanged: {because: due}, down: 12 d}"),
        ("2026-03-31", "{hours: 99, removed: true}"),
    ];
    let pump = "{duty: filtration, program: {run: 8 h/day}}";
    let pump_later = "{duty: filtration, program: [{run: 8 h/day}, {from: 2026-02-01, run: 2 h/day}]}";
    let before = Case::new(pump, &log, "").run("2026-01-31");
    let after = Case::new(pump_later, &later, "").run("2026-01-31");
    assert_eq!(before.curves[0].factor, after.curves[0].factor);
    assert_eq!(before.months.len(), 1);
    assert_eq!(before.months[0].hours, after.months[0].hours);
}

#[test]
fn what_would_exceed_a_day_goes_to_the_other_days() {
    // 10 days at 20 h and 10 at 2 h, 300 h in all: 300/220 of 20 h is over 24, so 240 h there and 60 h elsewhere.
    let (rates, rest) = spread(300.0, &[(10.0, 20.0, 24.0), (10.0, 2.0, 24.0)]);
    assert!((rates[0] - 24.0).abs() < 1e-9 && (rates[1] - 6.0).abs() < 1e-9 && rest == 0.0, "{rates:?}");
    // No program: evenly.
    assert_eq!(spread(100.0, &[(10.0, 0.0, 24.0), (10.0, 0.0, 24.0)]).0, [5.0, 5.0]);
    // The program's days are full: the rest goes to days without one.
    let (rates, _) = spread(300.0, &[(10.0, 1.0, 24.0), (10.0, 0.0, 24.0)]);
    assert!((rates[0] - 24.0).abs() < 1e-9 && (rates[1] - 6.0).abs() < 1e-9, "{rates:?}");
}

/// Counter intervals (days, share of the most hours) from a first reading on, as log entries.
fn readings(intervals: &[(u16, f64)]) -> Vec<(NaiveDate, f64)> {
    let mut at = (day("2026-01-05"), 700.0);
    let mut all = vec![at];
    for (days, share) in intervals {
        at = (plus_days(at.0, i64::from(*days)), at.1 + f64::from(*days) * 24.0 * share);
        all.push(at);
    }
    all
}

fn case_of(readings: &[(NaiveDate, f64)], two: bool) -> Case {
    let (pump, field) = if two {
        (
            "{model: two, duty: jets, program: [{low: 6 h/day, high: 1 h/day, occupied: {high: 5 h/day}}, {from: 2026-03-09, low: 23 h/day, high: 3 h/day}]}",
            "hours",
        )
    } else {
        (
            "{model: one, duty: jets, program: [{from: 2026-02-11, run: 6 h/day, occupied: {run: 21 h/day}}, {from: 2026-03-09, run: 3 h/day}]}",
            "hours",
        )
    };
    let entries: Vec<(String, String)> =
        readings.iter().map(|(day, hours)| (day.to_string(), format!("{{{field}: {hours:.9}}}"))).collect();
    let log: Vec<(&str, &str)> = entries.iter().map(|(day, entry)| (day.as_str(), entry.as_str())).collect();
    Case::new(pump, &log, "closed: [{from: 2026-02-20, to: 2026-02-27}]").booked(&[
        ("2026-01-09", "2026-01-19"),
        ("2026-02-13", "2026-02-22"),
        ("2026-04-01", "2026-04-09"),
    ])
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn spread_adds_up_and_never_exceeds_the_most(
        stretches in prop::collection::vec((1u32..60, 0u32..25, 1u32..25), 1..8),
        share in 0.0f64..1.3,
    ) {
        let stretches: Vec<(f64, f64, f64)> =
            stretches.iter().map(|(d, h, c)| (f64::from(*d), f64::from(*h), f64::from(*c))).collect();
        let most: f64 = stretches.iter().map(|(days, _, ceiling)| days * ceiling).sum();
        let (rates, rest) = spread(most * share, &stretches);
        let sum: f64 = rates.iter().zip(&stretches).map(|(rate, (days, ..))| rate * days).sum();
        prop_assert!((sum + rest - most * share).abs() < 1e-6);
        prop_assert!(share > 1.0 || rest < 1e-6);
        prop_assert!(rates.iter().zip(&stretches).all(|(rate, (.., most))| (0.0..=most + 1e-9).contains(rate)));
    }

    #[test]
    fn months_sum_to_the_counter_and_no_day_exceeds_24_hours(
        intervals in prop::collection::vec((1u16..50, 0.0f64..=1.0), 1..6),
        // Up to 1, round the clock; over it, with the hours of the time of day between two readings taken at.
        late in prop::collection::vec((any::<prop::sample::Index>(), 0.0f64..9.0), 0..3),
        two in any::<bool>(),
    ) {
        let mut readings = readings(&intervals);
        for (which, more) in late {
            let index = which.index(intervals.len());
            let round_the_clock = 24.0 * f64::from(intervals[index].0) + more;
            let change = round_the_clock - (readings[index + 1].1 - readings[index].1);
            readings[index + 1..].iter_mut().for_each(|reading| reading.1 += change);
        }
        let (last, shows) = readings[readings.len() - 1];
        let hours = case_of(&readings, two).run(&last.to_string());
        prop_assert_eq!(hours.set_aside.len(), 0);
        let metered = hours.hours_between(readings[0].0, last).unwrap();
        let counted = shows - 700.0;
        if hours.too_fast.is_empty() {
            // What the time of day adds beyond all room is at most a visit's day and its rounding, once for the run.
            let most = 24.0 * days_between(readings[0].0, last) as f64;
            prop_assert!((metered - counted.min(most)).abs() < 1e-5, "{metered} of {counted}");
            prop_assert!(counted - metered < 9.0 + 1e-6, "{metered} of {counted}");
        } else {
            let room = |(from, to): &(NaiveDate, NaiveDate)| 24.0 * days_between(*from, *to) as f64;
            let doubtful: f64 = hours.too_fast.iter().map(room).sum();
            prop_assert!(metered <= counted && doubtful > 0.0);
            for (from, to) in &hours.too_fast {
                prop_assert_eq!(hours.curves.iter().map(|c| c.metered_days_between(*from, *to)).sum::<i64>(), 0);
            }
        }
        // Days before the first reading may be unknown; then their month is.
        if let Some(before) = hours.hours_between(hours.start, readings[0].0) {
            let months: f64 = hours.months.iter().map(|m| m.hours.unwrap()).sum();
            prop_assert!((months - before - metered).abs() < 1e-6);
        }
        let mut at = hours.start;
        while at < last {
            let next = plus_days(at, 1);
            let of_day: f64 = hours.curves.iter().map(|c| c.hours_until(next) - c.hours_until(at)).sum();
            prop_assert!((-1e-9..=24.0 + 1e-6).contains(&of_day), "{next}: {of_day}");
            prop_assert!(hours.curves.iter().all(|c| c.hours_until(next) - c.hours_until(at) >= -1e-9));
            at = next;
        }
    }

    #[test]
    fn a_reading_more_on_the_line_changes_nothing(
        intervals in prop::collection::vec((2u16..60, 0.0f64..1.0), 1..12),
        which in any::<prop::sample::Index>(),
        place in 0.0f64..1.0,
        two in any::<bool>(),
    ) {
        let readings = readings(&intervals);
        let end = plus_days(readings[readings.len() - 1].0, 45);
        let plain = case_of(&readings, two).run(&end.to_string());
        let index = which.index(intervals.len());
        let inside = 1 + (place * f64::from(intervals[index].0 - 1)) as i64;
        let between = plus_days(readings[index].0, inside.min(i64::from(intervals[index].0) - 1));
        let on_the_line = readings[index].1 + plain.hours_between(readings[index].0, between).unwrap();
        let mut more = readings.clone();
        more.insert(index + 1, (between, on_the_line));
        let split = case_of(&more, two).run(&end.to_string());
        prop_assert_eq!(split.set_aside.len(), 0);
        prop_assert_eq!(plain.months.len(), split.months.len());
        for (a, b) in plain.months.iter().zip(&split.months) {
            prop_assert_eq!(a.hours.is_some(), b.hours.is_some());
            let (x, y) = (a.hours.unwrap_or(0.0), b.hours.unwrap_or(0.0));
            prop_assert!((x - y).abs() < 1e-4, "{} {}: {x} and {y}", a.month, a.speed.word());
            prop_assert_eq!(a.basis, b.basis);
        }
    }
}
