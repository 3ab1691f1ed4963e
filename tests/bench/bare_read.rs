//! What reading and checking cost beside the bare typed read of the same files, at the same thread count.
//!
//! `TUBWRIGHT_BENCH_READ_SITES=200` chooses the size; `RAYON_NUM_THREADS` the threads of both.

use std::path::Path;
use std::time::Instant;

use rayon::prelude::*;
use tubwright::records::load::Shared;
use tubwright::records::site::SiteFile;

use crate::program;

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
        .map(|entry| entry.expect("the fleet's folder can be listed"))
        .filter(|entry| entry.file_type().is_file())
        .map(walkdir::DirEntry::into_path)
        .collect();
    files
        .par_iter()
        .map(|path| {
            let text = std::fs::read_to_string(path).expect("a file of the fleet");
            match path.extension().and_then(|ending| ending.to_str()) {
                Some("yaml") if path.parent().expect("a folder").ends_with("sites") => {
                    serde_yaml::from_str::<SiteFile>(&text).expect("a sound file").log.len()
                }
                Some("csv") if path.parent().expect("a folder").ends_with("readings") => {
                    csv::Reader::from_reader(text.as_bytes()).deserialize::<Row>().flatten().count()
                }
                Some("ics") => text.parse::<icalendar::Calendar>().expect("a sound calendar").components.len(),
                _ => 0,
            }
        })
        .sum()
}

fn read_and_check(folder: &Path) -> usize {
    let shared = Shared::load(folder).expect("a sound fleet");
    shared.sites.par_iter().map(|files| shared.read_site(files).expect("a sound site").visits.len()).sum()
}

/// Seconds of both.
pub(crate) struct Ratio {
    pub(crate) sites: String,
    pub(crate) bare: f64,
    pub(crate) checked: f64,
}

/// Measures both on an invented fleet of three years.
pub(crate) fn ratio(folder: &Path) -> Ratio {
    let sites = std::env::var("TUBWRIGHT_BENCH_READ_SITES").unwrap_or_else(|_| "1000".to_owned());
    let fleet = folder.join("fleet-to-read");
    let text = fleet.to_str().expect("a plain path");
    program(&["demo", "--sites", &sites, "--years", "3", "--seed", "1", "-q", "--out", text]);
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
        assert!(visits > 0, "the fleet has visits");
        checked = checked.min(seconds);
    }
    let _ = std::fs::remove_dir_all(&fleet);
    Ratio { sites, bare, checked }
}
