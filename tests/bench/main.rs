//! `make bench`: what a run costs, stage by stage, at several sizes of fleet, beside the budgets. It runs the program as
//! a user would, on invented fleets, and writes a table of one run's numbers; nothing here passes or fails.
//!
//! `TUBWRIGHT_BENCH_SITES=20,200` chooses sizes, `TUBWRIGHT_BENCH_PDF_SITES=20` those set with PDFs,
//! `TUBWRIGHT_BENCH_QUOTE_SITES=200` those quoted, `TUBWRIGHT_BENCH_OUT=FILE` the file the table is written to as well.

#![allow(clippy::disallowed_methods, reason = "a benchmark makes folders of its own and starts the program")]
#![allow(clippy::print_stdout, clippy::print_stderr, reason = "what it measures goes to the terminal")]

mod bare_read;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

const YEARS: &str = "5";
/// Of each pump: with it, 10,000 sites of five years hold about five million rows of readings.
const READINGS_PER_DAY: &str = "0.09";
const MONTH: &str = "2026-10";
/// The largest fleet that is looked at for what does not grow with the fleet.
const LARGE: u32 = 10_000;

/// What one run of the program said of itself.
#[derive(Debug, Default)]
struct Measured {
    seconds: f64,
    /// Wall and processor seconds by stage.
    stages: BTreeMap<String, [f64; 2]>,
    own: f64,
    renderer: f64,
    mebibytes: f64,
    /// Seconds of work on the water, over all threads.
    water: f64,
    /// Bytes of `index.html`.
    page: u64,
}

impl Measured {
    /// Wall seconds of some stages together.
    fn wall(&self, stages: &[&str]) -> f64 {
        stages.iter().filter_map(|stage| self.stages.get(*stage)).map(|[wall, _]| wall).sum()
    }
}

/// A run, of what, of how many sites.
struct Run {
    what: &'static str,
    sites: u32,
    measured: Measured,
}

fn sizes(variable: &str, usual: &[u32]) -> Vec<u32> {
    std::env::var(variable)
        .map_or_else(|_| usual.to_vec(), |text| text.split(',').filter_map(|size| size.trim().parse().ok()).collect())
}

fn program(arguments: &[&str]) -> (f64, String) {
    let began = Instant::now();
    let ended = Command::new(env!("CARGO_BIN_EXE_tubwright")).args(arguments).output().expect("the program runs");
    let said = String::from_utf8_lossy(&ended.stderr).into_owned();
    assert!(ended.status.code().is_some_and(|status| status < 2), "{arguments:?}: {said}");
    (began.elapsed().as_secs_f64(), said)
}

fn measured(arguments: &[&str]) -> Measured {
    let (seconds, said) = program(arguments);
    let mut measured = Measured { seconds, ..Measured::default() };
    for line in said.lines() {
        if let Some(usage) = line.strip_prefix("processor: ") {
            let mut numbers = usage.split([' ', ';', ',']).filter_map(|word| word.parse::<f64>().ok());
            measured.own = numbers.next().unwrap_or(f64::NAN);
            measured.renderer = numbers.next().unwrap_or(f64::NAN);
            measured.mebibytes = numbers.next().unwrap_or(f64::NAN);
        } else if let Some(water) = line.strip_prefix("of that, water: ") {
            measured.water = water.split(' ').next().and_then(|text| text.parse().ok()).unwrap_or(f64::NAN);
        } else if let Some((stage, took)) = line.rsplit_once(": ")
            && let Some((seconds, processor)) = took.split_once(" s; ")
            && let Ok(seconds) = seconds.parse::<f64>()
        {
            let processor = processor.split(' ').next().and_then(|text| text.parse::<f64>().ok());
            let sums = measured.stages.entry(stage.to_owned()).or_default();
            sums[0] += seconds;
            sums[1] += processor.unwrap_or(f64::NAN);
        }
    }
    measured
}

/// An invented fleet of a size.
fn fleet(folder: &Path, sites: u32) -> PathBuf {
    let out = folder.join(format!("fleet-{sites}"));
    let (sites, text) = (sites.to_string(), out.to_str().expect("a plain path"));
    let size = ["--sites", &sites, "--years", YEARS, "--readings-per-day", READINGS_PER_DAY];
    program(&[["demo", "--seed", "1", "--out", text, "-q"].as_slice(), &size].concat());
    out
}

fn machine() -> String {
    let read = |file: &str, field: &str| {
        let text = std::fs::read_to_string(file).unwrap_or_default();
        let value =
            text.lines().find_map(|line| line.strip_prefix(field)?.split_once(':').map(|(_, v)| v.trim().to_owned()));
        value.unwrap_or_else(|| "not known".to_owned())
    };
    let cores = std::thread::available_parallelism().map_or(0, usize::from);
    format!(
        "{cores} cores ({}), {} memory, {}",
        read("/proc/cpuinfo", "model name"),
        read("/proc/meminfo", "MemTotal"),
        std::env::consts::OS
    )
}

/// Every run, the smallest fleet first.
fn all_runs(folder: &Path) -> Vec<Run> {
    let mut runs: Vec<Run> = Vec::new();
    let with_pdfs = sizes("TUBWRIGHT_BENCH_PDF_SITES", &[20, 200]);
    let quoted = sizes("TUBWRIGHT_BENCH_QUOTE_SITES", &[200, 1000]);
    let without = sizes("TUBWRIGHT_BENCH_SITES", &[20, 200, 1000, LARGE]);
    let all: BTreeSet<u32> = with_pdfs.iter().chain(&quoted).chain(&without).copied().collect();
    for sites in all {
        let fleet = fleet(folder, sites);
        let out = folder.join("out");
        let (fleet_text, out_text) = (fleet.to_str().expect("a plain path"), out.to_str().expect("a plain path"));
        let mut run = |what: &'static str, arguments: &[&str]| {
            let month = ["--month", MONTH, "-v", "--out", out_text];
            let measured = measured(&[arguments, &month].concat());
            eprintln!("{sites} sites, {what}: {:.1} s, {:.1} s of processor", measured.seconds, measured.own);
            runs.push(Run { what, sites, measured });
            if let (Some(run), Ok(page)) = (runs.last_mut(), out.join(MONTH).join("index.html").metadata()) {
                run.measured.page = page.len();
            }
        };
        let report = ["report", fleet_text];
        if without.contains(&sites) {
            run(WITHOUT, &[report.as_slice(), &["--pdf", "none"]].concat());
            run(UNCHANGED, &[report.as_slice(), &["--pdf", "none"]].concat());
        }
        if with_pdfs.contains(&sites) {
            run(WITH, &report);
        }
        if quoted.contains(&sites) {
            run(QUOTE, &["quote", fleet_text, "--year", "2027", "--pdf", "none"]);
        }
        let _ = std::fs::remove_dir_all(&out);
        let _ = std::fs::remove_dir_all(&fleet);
    }
    runs
}

const WITHOUT: &str = "without PDFs";
const UNCHANGED: &str = "nothing changed";
const WITH: &str = "with PDFs";
const QUOTE: &str = "quote";

/// The runs, and what each of their stages took.
fn tables(runs: &[Run], table: &mut String) {
    let _ = writeln!(
        table,
        "| run | sites | wall s | own CPU s | renderer CPU s | own CPU ms a site | memory MiB | index.html kB |\n\
         | --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |"
    );
    // A quote, and a run with nothing to do, say nothing of their processor and memory.
    let said = |value: f64, decimals: usize| if value > 0.0 { format!("{value:.decimals$}") } else { String::new() };
    for Run { what, sites, measured } in runs {
        let _ = writeln!(
            table,
            "| {what} | {sites} | {:.2} | {} | {} | {} | {} | {} |",
            measured.seconds,
            said(measured.own, 2),
            said(measured.renderer, 2),
            said(1000.0 * measured.own / f64::from(*sites), 1),
            said(measured.mebibytes, 0),
            measured.page / 1000
        );
    }
    let shown: Vec<&Run> = runs.iter().filter(|run| run.what != UNCHANGED).collect();
    let stages: BTreeSet<&String> = shown.iter().flat_map(|run| run.measured.stages.keys()).collect();
    let _ = write!(table, "\n| stage: wall s (processor s) |");
    for run in &shown {
        let _ = write!(table, " {} {} |", run.sites, run.what);
    }
    let _ = writeln!(table, "\n| --- |{}", " ---: |".repeat(shown.len()));
    for stage in stages {
        let _ = write!(table, "| {stage} |");
        for run in &shown {
            let _ = match run.measured.stages.get(stage) {
                Some([seconds, processor]) => write!(table, " {seconds:.2} ({processor:.2}) |"),
                None => write!(table, " |"),
            };
        }
        let _ = writeln!(table);
    }
}

/// What is said under the budgets.
const BEHIND_IT: &str =
    "What stands in the way of a budget that is missed is told in DEVELOPERS.md, \"Where the time goes\".";

/// What was measured beside what was asked.
fn budgets(runs: &[Run], bare: &bare_read::Ratio, table: &mut String) {
    let largest = |what: &str| runs.iter().filter(|run| run.what == what).max_by_key(|run| run.sites);
    let _ = writeln!(table, "\n| budget (two cores) | budget | measured here |\n| --- | ---: | ---: |");
    let _ = writeln!(
        table,
        "| read and check against the bare typed read, {} sites of 3 years | 1.5 | {:.2} ({:.2} s against {:.2} s) |",
        bare.sites,
        bare.checked / bare.bare,
        bare.checked,
        bare.bare
    );
    if let Some(Run { sites, measured, .. }) = largest(WITHOUT) {
        let at = format!("at {sites} sites");
        let mut stage = |name: &str, budget: &str, stages: &[&str]| {
            let _ = writeln!(table, "| {name} | {budget} | {:.1} s {at} |", measured.wall(stages));
        };
        stage(
            "read, hours, energy, ages, forecast of hours, and the water of the next line",
            "15 s, 10,000 sites",
            &["read, hours and water"],
        );
        stage(
            "lives, failures, trends, past forecasts, to-do",
            "10 s, 10,000 sites",
            &["lives", "due and to-do", "past forecasts"],
        );
        stage("plan of 12 months", "20 s, 10,000 sites", &["visits"]);
        stage(
            "tables, charts, page, workbook",
            "15 s, 10,000 sites",
            &["tables, workbook, calendars and documents", "report and page of the fleet"],
        );
        let _ = writeln!(
            table,
            "| all, `--pdf none` | 60 s, 2048 MiB, 10,000 sites | {:.1} s, {:.0} MiB {at} |",
            measured.seconds, measured.mebibytes
        );
        if let Some(small) = runs.iter().find(|run| run.what == WITHOUT && run.sites >= 200 && run.sites < *sites) {
            let a_site = |measured: &Measured, sites: u32| measured.own / f64::from(sites);
            let _ = writeln!(
                table,
                "| processor a site, against that at {} sites | 1, in proportion | {:.2} |",
                small.sites,
                a_site(measured, *sites) / a_site(&small.measured, small.sites)
            );
        }
    }
    if let Some(run) = runs.iter().rev().find(|run| run.what == WITHOUT && run.sites <= 1000) {
        let share = 100.0 * run.measured.water / run.measured.own;
        let _ = writeln!(
            table,
            "| share of the run spent on water | 10 %, 1,000 sites | {share:.1} % at {} sites |",
            run.sites
        );
        let _ = writeln!(
            table,
            "| index.html | 2 MB, 1,000 sites | {:.2} MB at {} sites |",
            run.measured.page as f64 / 1e6,
            run.sites
        );
    }
    if let Some(Run { sites, measured, .. }) = largest(WITH) {
        let _ = writeln!(
            table,
            "| our own CPU a site with PDFs against the renderer's | 0.25 | {:.2} at {sites} sites |",
            measured.own / measured.renderer
        );
    }
    if let Some(Run { sites, measured, .. }) = largest(QUOTE) {
        let _ = writeln!(
            table,
            "| quote, 10,000 draws | 10 s, 1,000 sites | {:.1} s at {sites} sites; of that the draws {:.1} s |",
            measured.seconds,
            measured.wall(&["years drawn"])
        );
    }
    if let Some(run) = runs.iter().rev().find(|run| run.what == UNCHANGED && run.sites <= 1000) {
        let _ = writeln!(
            table,
            "| nothing changed | 3 s, 1,000 sites | {:.2} s at {} sites |",
            run.measured.seconds, run.sites
        );
    }
    let _ = writeln!(table, "\n{BEHIND_IT}");
}

fn main() {
    let folder = std::env::temp_dir().join(format!("tubwright-bench-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("a folder for the fleets");
    let mut table = String::new();
    let profile = if cfg!(debug_assertions) { "debug" } else { "optimised" };
    let binary = Path::new(env!("CARGO_BIN_EXE_tubwright")).metadata().map_or(0, |file| file.len());
    let _ = writeln!(
        table,
        "# What a run costs\n\nWritten by `make bench`; {profile} build (a program of {:.0} MB), version {}, on {}. Invented fleets \
         of `tubwright demo --years {YEARS} --readings-per-day {READINGS_PER_DAY}`, month {MONTH}. Wall seconds by stage; \
         processor seconds and peak memory as Linux counts them. Times on a machine that does other things are too long.\n",
        binary as f64 / 1e6,
        env!("CARGO_PKG_VERSION"),
        machine()
    );
    let bare = bare_read::ratio(&folder);
    let runs = all_runs(&folder);
    tables(&runs, &mut table);
    budgets(&runs, &bare, &mut table);
    let _ = std::fs::remove_dir_all(&folder);
    println!("{table}");
    if let Ok(file) = std::env::var("TUBWRIGHT_BENCH_OUT") {
        std::fs::write(file, &table).expect("the table's file can be written");
    }
}
