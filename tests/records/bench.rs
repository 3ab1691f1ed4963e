//! What reading and checking cost beside the bare typed read of the same files, at the same thread count. Nothing here
//! passes or fails: `cargo test --release --test all -- --ignored --nocapture bare_typed_read`
//! prints the two times.
//!
//! `TUBWRIGHT_BENCH_SITES=200` chooses the size; `RAYON_NUM_THREADS` the threads of both.

use std::path::Path;
use std::time::Instant;

use rayon::prelude::*;
use tubwright::records::load::Shared;
use tubwright::records::site::SiteFile;

use crate::support::program;

/// A row of a sheet of readings, as it is written.
#[derive(serde::Deserialize)]
#[expect(dead_code, reason = "it is read, which is what is measured")]
struct Row {
    date: String,
    at: String,
    #[serde(default)]
    hours: Option<f64>,
    #[serde(default)]
    pressure: Option<f64>,
    #[serde(default)]
    ph: Option<f64>,
    #[serde(default)]
    free_chlorine: Option<f64>,
    #[serde(default)]
    temperature: Option<f64>,
}

/// Every file of a fleet's folder, into its type and no further.
fn bare_read(folder: &Path) -> usize {
    let files: Vec<_> = walkdir::WalkDir::new(folder)
        .into_iter()
        .map(Result::unwrap)
        .filter(|entry| entry.file_type().is_file())
        .map(walkdir::DirEntry::into_path)
        .collect();
    files
        .par_iter()
        .map(|path| {
            let text = std::fs::read_to_string(path).unwrap();
            match path.extension().and_then(|ending| ending.to_str()) {
                Some("yaml") if path.parent().unwrap().ends_with("sites") => {
                    serde_yaml::from_str::<SiteFile>(&text).unwrap().log.len()
                }
                Some("csv") if path.parent().unwrap().ends_with("readings") => {
                    csv::Reader::from_reader(text.as_bytes()).deserialize::<Row>().map(Result::unwrap).count()
                }
                Some("ics") => text.parse::<icalendar::Calendar>().unwrap().components.len(),
                _ => 0,
            }
        })
        .sum()
}

fn read_and_check(folder: &Path) -> usize {
    let shared = Shared::load(folder).unwrap();
    shared.sites.par_iter().map(|files| shared.read_site(files).unwrap().visits.len()).sum()
}

#[test]
#[allow(clippy::print_stdout, reason = "what it measures is its answer")]
#[ignore = "it measures, and passes whatever it measures"]
fn reading_and_checking_beside_the_bare_typed_read() {
    let sites = std::env::var("TUBWRIGHT_BENCH_SITES").unwrap_or_else(|_| "1000".to_owned());
    let folder = tempfile::tempdir().unwrap();
    let fleet = folder.path().join("fleet");
    let made = program()
        .args(["demo", "--sites", &sites, "--years", "3", "--seed", "1", "-q", "--out"])
        .arg(&fleet)
        .status()
        .unwrap();
    assert!(made.success());
    let timed = |what: &dyn Fn() -> usize| {
        let clock = Instant::now();
        let read = what();
        (clock.elapsed().as_secs_f64(), read)
    };
    // The best of some rounds, one after the other, so that what else the machine does falls on both.
    let (mut bare, mut checked) = (f64::INFINITY, f64::INFINITY);
    for _ in 0..5 {
        bare = bare.min(timed(&|| bare_read(&fleet)).0);
        let (seconds, visits) = timed(&|| read_and_check(&fleet));
        assert!(visits > 0);
        checked = checked.min(seconds);
    }
    println!(
        "{sites} sites of 3 years, {} threads: bare typed read {bare:.3} s, read and checked {checked:.3} s, ratio {:.2} (budget 1.5)",
        rayon::current_num_threads(),
        checked / bare
    );
}
