//! `make bench`: what a run costs, stage by stage, at several sizes of fleet, beside the budgets. It runs the program as
//! a user would, on invented fleets, and writes a table of one run's numbers; nothing here passes or fails.
//!
//! `TUBWRIGHT_BENCH_SITES=20,200` chooses sizes, `TUBWRIGHT_BENCH_PDF_SITES=20` those set with PDFs,
//! `TUBWRIGHT_BENCH_OUT=FILE` the file the table is written to as well.

#![allow(clippy::disallowed_methods, reason = "a benchmark makes folders of its own and starts the program")]
#![allow(clippy::print_stdout, clippy::print_stderr, reason = "what it measures goes to the terminal")]

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

const YEARS: &str = "5";
const MONTH: &str = "2026-10";

/// What one run of the program said of itself.
#[derive(Debug, Default)]
struct Measured {
    seconds: f64,
    stages: BTreeMap<String, f64>,
    own: f64,
    renderer: f64,
    mebibytes: f64,
    /// Bytes of `index.html`.
    page: u64,
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
        } else if let Some((stage, seconds)) = line.rsplit_once(": ")
            && let Some(seconds) = seconds.strip_suffix(" s").and_then(|text| text.parse::<f64>().ok())
        {
            *measured.stages.entry(stage.to_owned()).or_default() += seconds;
        }
    }
    measured
}

/// An invented fleet of a size, made once.
fn fleet(folder: &Path, sites: u32, years: &str) -> PathBuf {
    let out = folder.join(format!("fleet-{sites}-{years}"));
    let text = out.to_str().expect("a plain path");
    program(&["demo", "--sites", &sites.to_string(), "--years", years, "--seed", "1", "--out", text, "-q"]);
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

fn main() {
    let folder = std::env::temp_dir().join(format!("tubwright-bench-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("a folder for the fleets");
    let mut table = String::new();
    let profile = if cfg!(debug_assertions) { "debug" } else { "optimised" };
    let _ = writeln!(
        table,
        "# What a run costs\n\nWritten by `make bench`; {profile} build, version {}, on {}. Invented fleets of `tubwright demo --years \
         {YEARS}`, month {MONTH}. Wall seconds by stage; processor seconds and peak memory as Linux counts them. Times on a \
         machine that does other things are too long.\n",
        env!("CARGO_PKG_VERSION"),
        machine()
    );
    let mut runs: Vec<(String, u32, Measured)> = Vec::new();
    for sites in sizes("TUBWRIGHT_BENCH_SITES", &[20, 200, 1000, 10_000]) {
        let fleet = fleet(&folder, sites, YEARS);
        let out = folder.join("out");
        let arguments = [
            "report",
            fleet.to_str().expect("a plain path"),
            "--month",
            MONTH,
            "--pdf",
            "none",
            "-v",
            "--out",
            out.to_str().expect("a plain path"),
        ];
        runs.push(("without PDFs".to_owned(), sites, measured(&arguments)));
        if let (Some((_, _, run)), Ok(page)) = (runs.last_mut(), out.join(MONTH).join("index.html").metadata()) {
            run.page = page.len();
        }
        runs.push(("nothing changed".to_owned(), sites, measured(&arguments)));
        let _ = std::fs::remove_dir_all(&out);
        let _ = std::fs::remove_dir_all(&fleet);
        eprintln!("{sites} sites without PDFs: {:.1} s", runs[runs.len() - 2].2.seconds);
    }
    for sites in sizes("TUBWRIGHT_BENCH_PDF_SITES", &[20, 200]) {
        let fleet = fleet(&folder, sites, YEARS);
        let out = folder.join("out");
        let fleet_text = fleet.to_str().expect("a plain path");
        let out_text = out.to_str().expect("a plain path");
        let arguments = ["report", fleet_text, "--month", MONTH, "-v", "--out", out_text];
        runs.push(("with PDFs".to_owned(), sites, measured(&arguments)));
        let _ = std::fs::remove_dir_all(&out);
        let _ = std::fs::remove_dir_all(&fleet);
        eprintln!("{sites} sites with PDFs: {:.1} s", runs[runs.len() - 1].2.seconds);
    }
    let _ = writeln!(
        table,
        "| run | sites | wall s | own CPU s | renderer CPU s | own CPU ms a site | memory MiB |\n| --- | ---: | ---: | ---: | ---: | ---: | ---: |"
    );
    for (what, sites, run) in &runs {
        let _ = writeln!(
            table,
            "| {what} | {sites} | {:.2} | {:.2} | {:.2} | {:.1} | {:.0} |",
            run.seconds,
            run.own,
            run.renderer,
            1000.0 * run.own / f64::from(*sites),
            run.mebibytes
        );
    }
    let stages: std::collections::BTreeSet<&String> = runs.iter().flat_map(|(_, _, run)| run.stages.keys()).collect();
    let shown: Vec<_> = runs.iter().filter(|(what, _, _)| what != "nothing changed").collect();
    let _ = write!(table, "\n| stage, wall s |");
    for (what, sites, _) in &shown {
        let _ = write!(table, " {sites} {what} |");
    }
    let _ = writeln!(table, "\n| --- |{}", " ---: |".repeat(shown.len()));
    for stage in stages {
        let _ = write!(table, "| {stage} |");
        for (_, _, run) in &shown {
            let _ = match run.stages.get(stage) {
                Some(seconds) => write!(table, " {seconds:.2} |"),
                None => write!(table, " |"),
            };
        }
        let _ = writeln!(table);
    }
    let largest = runs.iter().filter(|(what, _, _)| what == "without PDFs").max_by_key(|(_, sites, _)| *sites);
    let pdfs = runs.iter().filter(|(what, _, _)| what == "with PDFs").max_by_key(|(_, sites, _)| *sites);
    let unchanged = runs.iter().filter(|(what, _, _)| what == "nothing changed").max_by_key(|(_, sites, _)| *sites);
    let _ = writeln!(table, "\n| budget (two cores) | budget | measured here |\n| --- | ---: | ---: |");
    if let Some((_, sites, run)) = largest {
        let scale = 10_000.0 / f64::from(*sites);
        let _ = writeln!(
            table,
            "| all, `--pdf none`, 10,000 sites | 60 s, 2048 MiB | {:.1} s, {:.0} MiB at {sites} sites; in proportion {:.0} s |",
            run.seconds,
            run.mebibytes,
            run.seconds * scale
        );
    }
    for (_, sites, run) in runs.iter().filter(|(_, _, run)| run.page > 0) {
        let _ = writeln!(
            table,
            "| `index.html` of {sites} sites | 2 MB for 1,000 sites | {:.3} MB; in proportion {:.2} MB |",
            run.page as f64 / 1e6,
            run.page as f64 / 1e6 * 1000.0 / f64::from(*sites)
        );
    }
    if let Some((_, _, run)) = pdfs {
        let _ = writeln!(
            table,
            "| our own CPU a site with PDFs against the renderer's | 0.25 | {:.2} |",
            run.own / run.renderer
        );
    }
    if let Some((_, sites, run)) = unchanged {
        let _ = writeln!(
            table,
            "| nothing changed, 1,000 sites | 3 s | {:.2} s at {sites} sites; in proportion {:.2} s |",
            run.seconds,
            run.seconds * 1000.0 / f64::from(*sites)
        );
    }
    let _ = std::fs::remove_dir_all(&folder);
    println!("{table}");
    if let Ok(file) = std::env::var("TUBWRIGHT_BENCH_OUT") {
        std::fs::write(file, &table).expect("the table's file can be written");
    }
}
