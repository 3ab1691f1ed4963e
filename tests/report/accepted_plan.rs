//! The demo's plan accepted at the end of September and planned again a month later: what moves has a reason that is true, and
//! all else stays.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use tubwright::records::plan::PlanFile;

use crate::support::{Run, Table, copy_folder, demo};

/// Rows of `visits.csv` that may be moved, visits that may be cancelled, and how many visits there may be. October's work in the
/// demo's log was done about a week sooner than planned at three sites, and what recurs there follows from it; a plan made anew
/// has 151 visits.
const MOST_MOVED: usize = 90;
const MOST_CANCELLED: usize = 8;
const MOST_VISITS: usize = 165;

fn accepted(folder: &Path) -> PlanFile {
    serde_yaml::from_str(&std::fs::read_to_string(folder.join("plan.yaml")).unwrap()).unwrap()
}

/// A day as reasons write it.
fn shown(day: chrono::NaiveDate) -> String {
    tubwright::report::format::short_date(day)
}

#[test]
fn a_month_later_only_what_new_records_moved_has_moved() {
    let folder = tempfile::tempdir().unwrap();
    copy_folder(&demo(), folder.path());
    let fleet = folder.path().to_str().unwrap();
    Run::of(&["plan", fleet, "--month", "2026-09", "--accept"]).expect_status(0);
    let promised = accepted(folder.path());
    let run = Run::report(folder.path(), "2026-10", &["--pdf", "none"]).expect_status(0);
    let visits = run.table("visits");
    let as_of: chrono::NaiveDate = "2026-10-31".parse().unwrap();
    let old: BTreeMap<&str, _> =
        promised.visits.iter().filter(|v| v.date.0 > as_of).map(|v| (v.id.0.as_str(), v)).collect();
    let mut moved = 0;
    for row in &visits.rows {
        let why = row.get("moved");
        if let Some(old) = old.get(row.get("visit"))
            && why.is_empty()
        {
            // What says nothing stands as it was promised.
            assert_eq!(row.get("date"), old.date.to_string(), "{row:?}");
            assert_eq!(row.get("technician"), old.technician.as_ref().map_or("", |id| id.as_str()), "{row:?}");
        }
        if !why.is_empty() {
            moved += 1;
            assert!(is_true(why, row.get("site"), &promised, &visits, folder.path()), "{row:?}");
        }
    }
    assert!((1..=MOST_MOVED).contains(&moved), "{moved} rows have moved");
    let names: BTreeSet<&str> = visits.rows.iter().map(|row| row.get("visit")).collect();
    assert!(names.len() <= MOST_VISITS, "{} visits", names.len());
    // Every promised visit is made or told to be cancelled, with a reason.
    let told = Run::of(&["plan", fleet, "--month", "2026-10"]).expect_status(0).stdout;
    let mut cancelled = 0;
    for (name, visit) in old.iter().filter(|(name, _)| !names.contains(**name)) {
        cancelled += 1;
        let line = told.lines().find(|line| line.contains("cancelled: ") && line.contains(&format!(" {name} ")));
        let line = line.unwrap_or_else(|| panic!("{name} is neither made nor cancelled"));
        let why = line.split("cancelled: ").nth(1).unwrap();
        assert!(is_true(why, visit.site.as_str(), &promised, &visits, folder.path()), "{line}");
    }
    assert!(cancelled <= MOST_CANCELLED, "{cancelled} visits are cancelled");
    // As it stands now it is accepted, and nothing moves any more.
    Run::of(&["plan", fleet, "--month", "2026-10", "--accept"]).expect_status(0);
    let again = Run::report(folder.path(), "2026-10", &["--pdf", "none"]).expect_status(0).table("visits");
    let still: Vec<&str> = again.rows.iter().map(|row| row.get("moved")).filter(|why| !why.is_empty()).collect();
    assert!(still.is_empty(), "{still:?}");
}

/// Whether a reason says what the log, the accepted plan and the new plan say.
fn is_true(why: &str, site: &str, promised: &PlanFile, visits: &Table, folder: &Path) -> bool {
    let of_site = || promised.visits.iter().filter(|visit| visit.site.as_str() == site);
    // "From 27 Nov 2026: ..." names a day on which a visit was promised.
    let from = why.strip_prefix("From ").and_then(|rest| rest.split_once(": "));
    if let Some((day, _)) = from
        && !of_site().any(|visit| shown(visit.date.0) == day)
    {
        return false;
    }
    let why = from.map_or(why, |(_, rest)| rest);
    let why = why.strip_prefix("it goes along: ").unwrap_or(why);
    // "(before: 29 Nov 2026)" is a day something was due by the accepted plan, and "due 21 Nov 2026" is one it is due now.
    let after = |words: &str| {
        why.split_once(words).map(|(_, rest)| rest.split([' ', ')', ',']).take(3).collect::<Vec<_>>().join(" "))
    };
    if let Some(before) = after("(before: ") {
        let was =
            of_site().flat_map(|visit| &visit.tasks).any(|line| line.due.is_some_and(|due| shown(due.0) == before));
        let is = after("due ").is_some_and(|due| {
            visits
                .rows
                .iter()
                .any(|row| row.get("site") == site && row.get("due").parse().is_ok_and(|day| shown(day) == due))
        });
        if !was || !is {
            return false;
        }
    }
    if let Some(done) = after(" was done on ") {
        // The log has a visit on that day.
        let day = chrono::NaiveDate::parse_from_str(&done, "%d %b %Y").unwrap();
        let log = std::fs::read_to_string(folder.join("sites").join(format!("{site}.yaml"))).unwrap();
        return day > promised.as_of.0 && log.contains(&format!("date: {day}"));
    }
    if let Some(planned) = after(" is planned for ") {
        let on = |row: &crate::support::table::Row| row.get("date").parse().is_ok_and(|day| shown(day) == planned);
        return visits.rows.iter().any(|row| row.get("site") == site && on(row));
    }
    if let Some(stays) = after(" stays on ") {
        return of_site().any(|visit| shown(visit.date.0) == stays);
    }
    why.contains("by the readings and bookings there are now")
}
