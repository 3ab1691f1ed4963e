//! How a month appears: the same bytes each time, whole or not at all, and the exit status that says what happened.

use std::time::{Duration, Instant};

use super::demo::{MONTH, run};
use crate::support::fleet::SITE;
use crate::support::{Fleet, Run, assert_same_files, contents, copy_folder, demo, program, status};

#[test]
fn one_thread_and_many_and_a_second_run_give_the_same_bytes() {
    let first = contents(&run().month());
    assert!(first.keys().any(|path| path.ends_with("report.pdf")));
    let one = Run::report(&demo(), MONTH, &["--jobs", "1"]).expect_status(0);
    assert_same_files(&contents(&one.month()), &first);
    let many_over_it = Run::report_into(one.out, &demo(), MONTH, &["--jobs", "4", "--force"]).expect_status(0);
    assert_same_files(&contents(&many_over_it.month()), &first);
}

#[test]
fn where_the_fleet_stands_does_not_show() {
    let elsewhere = tempfile::tempdir().unwrap();
    let fleet = elsewhere.path().join("a fleet");
    copy_folder(&demo(), &fleet);
    let copied = Run::report(&fleet, MONTH, &[]).expect_status(0);
    assert_same_files(&contents(&copied.month()), &contents(&run().month()));
}

#[test]
fn what_a_run_replaces_is_gone() {
    let before = Fleet::small().file("sites/old-mill.yaml", SITE);
    let first = Run::report(before.path(), "2026-03", &["--pdf", "none"]).expect_status(0);
    assert!(first.month().join("sites/old-mill").exists());
    let second = Run::report_into(first.out, Fleet::small().path(), "2026-03", &["--pdf", "none"]).expect_status(0);
    let fresh = Run::report(Fleet::small().path(), "2026-03", &["--pdf", "none"]).expect_status(0);
    assert_same_files(&contents(&second.month()), &contents(&fresh.month()));
}

#[test]
fn without_pdfs_no_renderer_is_asked_for() {
    let fleet = Fleet::small();
    let run =
        Run::report(fleet.path(), "2026-03", &["--pdf", "none", "--typst", "/nonexistent/typst"]).expect_status(0);
    let files = contents(&run.month());
    assert!(files.contains_key("tables/run_hours.csv"));
    assert!(files.keys().any(|path| path.starts_with("sites/quay-house/charts/")), "{:?}", files.keys());
    assert!(!files.keys().any(|path| path.ends_with("report.pdf")));
    assert_eq!(run.manifest()["left_out"], serde_json::json!([]));
}

#[test]
fn a_missing_renderer_costs_the_pdfs_and_nothing_else() {
    let fleet = Fleet::small();
    let run = Run::report(fleet.path(), "2026-03", &["--typst", "/nonexistent/typst"]).expect_status(1);
    assert!(run.stderr.contains("error: no PDF can be made: --typst names no program"), "{}", run.stderr);
    let files = contents(&run.month());
    assert!(files.contains_key("tables/run_hours.csv"));
    assert!(!files.keys().any(|path| path.ends_with("report.pdf")));
    let left_out = run.manifest()["left_out"].to_string();
    assert!(left_out.contains("every PDF"), "{left_out}");
}

#[test]
fn a_held_folder_gives_three() {
    let out = tempfile::tempdir().unwrap();
    let lock = std::fs::File::create(out.path().join(".lock")).unwrap();
    lock.try_lock().unwrap();
    let held = Run::report_into(out, Fleet::small().path(), "2026-03", &["--pdf", "none"]).expect_status(3);
    assert!(held.stderr.contains("in use by another run"), "{}", held.stderr);
    assert!(!held.month().exists());
    lock.unlock().unwrap();
    Run::report_into(held.out, Fleet::small().path(), "2026-03", &["--pdf", "none"]).expect_status(0);
}

#[test]
fn a_folder_that_is_not_ours_is_left_alone() {
    let out = tempfile::tempdir().unwrap();
    std::fs::create_dir_all(out.path().join("2026-03")).unwrap();
    std::fs::write(out.path().join("2026-03/diary.txt"), "mine").unwrap();
    let run = Run::report_into(out, Fleet::small().path(), "2026-03", &["--pdf", "none"]).expect_status(2);
    assert!(run.stderr.contains("holds no run.json of an earlier run"), "{}", run.stderr);
    assert_eq!(contents(&run.month()).into_iter().collect::<Vec<_>>(), [("diary.txt".to_owned(), b"mine".to_vec())]);
}

#[test]
fn no_fleet_gives_two_and_says_what_a_fleet_is() {
    let run = Run::report(Fleet::empty().path(), "2026-03", &[]).expect_status(2);
    assert!(run.stderr.contains("there is no `fleet.yaml`"), "{}", run.stderr);
    assert!(!run.month().exists());
    let nowhere = Run::report(&Fleet::empty().at("nowhere"), "2026-03", &[]).expect_status(2);
    assert!(nowhere.stderr.contains("nowhere"), "{}", nowhere.stderr);
}

#[test]
fn a_fleet_without_sites_gives_two() {
    let run = Run::report(Fleet::without_sites().path(), "2026-03", &[]).expect_status(2);
    assert!(run.stderr.contains("the fleet has no site"), "{}", run.stderr);
}

#[test]
fn an_error_in_fleet_yaml_gives_two_with_its_place() {
    let fleet = Fleet::small().file("fleet.yaml", "format: 1\nfleet: Quay\ncurrency: GBP\ntimezone: Europe/Lundon\n");
    let run = Run::report(fleet.path(), "2026-03", &[]).expect_status(2);
    assert!(run.stderr.starts_with("fleet.yaml:4:11: error[wrong-value]: "), "{}", run.stderr);
    assert!(!run.month().exists());
}

#[test]
fn a_shared_file_that_is_not_yaml_gives_two() {
    let fleet = Fleet::small().file("pumps.yaml", "format: 1\nmodels: {F-033: {speeds: 1\n");
    let run = Run::report(fleet.path(), "2026-03", &[]).expect_status(2);
    assert!(run.stderr.contains("pumps.yaml:") && run.stderr.contains("error[not-yaml]"), "{}", run.stderr);
}

#[test]
fn an_error_in_what_stands_at_a_site_costs_that_site() {
    let fleet = Fleet::small().file("sites/old-mill.yaml", SITE.replace("volume: 1200 L", "volume: 1200 m"));
    let run = Run::report(fleet.path(), "2026-03", &["--pdf", "none"]).expect_status(1);
    assert!(run.stderr.contains("sites/old-mill.yaml:6:13: error[wrong-value]: "), "{}", run.stderr);
    assert!(run.month().join("sites/quay-house").exists());
    assert!(!run.month().join("sites/old-mill").exists());
    assert!(run.table("run_hours").rows.iter().all(|row| row.get("site") == "quay-house"));
    assert!(run.manifest()["left_out"].to_string().contains("old-mill"));
}

#[test]
fn an_error_in_one_entry_costs_that_entry_and_page_one_says_so() {
    let fleet = Fleet::small().file("sites/quay-house.yaml", SITE.replace("{hours: 2357}", "{hours: 2357 bar}"));
    let run = Run::report(fleet.path(), "2026-03", &[]).expect_status(1);
    assert!(run.stderr.contains("sites/quay-house.yaml:22:"), "{}", run.stderr);
    let text = run.pdf("quay-house").text();
    assert!(text.contains("Theentryforterrace/filtrationonline22"), "{text}");
}

#[cfg(unix)]
#[test]
fn a_run_that_is_asked_to_end_publishes_nothing() {
    let mut fleet = Fleet::without_sites();
    for number in 0..150 {
        fleet = fleet.file(&format!("sites/site-{number}.yaml"), SITE);
    }
    let before = Run::report(fleet.path(), "2026-03", &["--pdf", "none"]).expect_status(0);
    let published = contents(&before.month());
    let out = before.out;
    let mut child = program()
        .arg("report")
        .arg(fleet.path())
        .args(["--month", "2026-03", "--jobs", "1", "--out"])
        .arg(out.path())
        .stderr(std::process::Stdio::null())
        .spawn()
        .unwrap();
    // The renderer takes its time with each of the sites: once the first is there, the run is in the middle.
    let begun = out.path().join(".part-2026-03/sites");
    let patience = Instant::now();
    while !begun.exists() {
        assert!(patience.elapsed() < Duration::from_secs(120), "the run never began");
        assert!(child.try_wait().unwrap().is_none(), "the run ended before it could be stopped");
        std::thread::sleep(Duration::from_millis(5));
    }
    let kill = std::process::Command::new("kill").args(["-TERM", &child.id().to_string()]).status().unwrap();
    assert!(kill.success());
    assert_eq!(status(child.wait().unwrap()), 143);
    assert_same_files(&contents(&out.path().join("2026-03")), &published);
    let mut beside: Vec<_> = std::fs::read_dir(out.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    beside.sort();
    assert_eq!(beside, [".lock", "2026-03"]);
}
