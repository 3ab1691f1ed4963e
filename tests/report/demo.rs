//! The demo fleet's month as it is published: every site's report opened again, the manifest, the tables.

use std::collections::BTreeSet;
use std::sync::OnceLock;

use sha2::{Digest, Sha256};

use crate::numbers::contract;
use crate::support::{Run, Table, contents, demo};

/// The month the demo's head speaks of.
pub const MONTH: &str = "2026-10";

/// The sites, their names, and how long their reports may be.
const SITES: [(&str, &str); 6] = [
    ("alder-lodge", "Alder Lodge"),
    ("heron-gym", "Heron Gym"),
    ("kingfisher-barns", "Kingfisher Barns"),
    ("lapwing-club", "Lapwing Club"),
    ("rowan-house", "Rowan House"),
    ("willow-court", "Willow Court"),
];

/// Fewer pages say too little, more nobody reads.
const PAGES: std::ops::RangeInclusive<usize> = 3..=8;

/// The run all these tests look at. Statics are never dropped, so its folder stays behind: it is in the target folder,
/// where `cargo clean` finds it.
pub fn run() -> &'static Run {
    static RUN: OnceLock<Run> = OnceLock::new();
    RUN.get_or_init(|| {
        let out = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
        Run::report_into(out, &demo(), MONTH, &[]).expect_status(0)
    })
}

#[test]
fn the_demo_passes_the_check_without_a_word() {
    let check = Run::check(&demo(), &[]).expect_status(0);
    assert_eq!((check.stdout.as_str(), check.stderr.as_str()), ("", ""));
}

#[test]
fn a_run_that_went_well_says_one_line() {
    assert_eq!(run().stderr, format!("2026-10: 6 of 6 sites in {}\n", run().month().display()));
    assert_eq!(run().stdout, "");
}

#[test]
fn every_site_has_a_report_that_readers_of_all_kinds_can_use() {
    for (site, name) in SITES {
        let pdf = run().pdf(site);
        assert!(PAGES.contains(&pdf.pages()), "{site} has {} pages", pdf.pages());
        assert!(pdf.title().starts_with(name) && pdf.title().ends_with("report for October 2026"), "{}", pdf.title());
        assert!(pdf.language().starts_with("en"), "{site}: {}", pdf.language());
        assert!(pdf.is_tagged(), "{site}");
        // ISO 14289-1: the XMP says which part of PDF/UA the file keeps.
        let metadata = pdf.metadata();
        assert!(metadata.contains("<pdfuaid:part>1</pdfuaid:part>"), "{site}: {metadata}");
        let text = pdf.text();
        assert!(text.contains(&name.replace(' ', "")), "{site} does not name itself");
        assert!(text.contains("October2026"), "{site} does not name its month");
    }
}

#[test]
fn reports_show_their_figures_as_text() {
    let text = run().pdf("willow-court").text();
    for figure in ["6.9min", "232L/min", "measured", "Courtyard"] {
        assert!(text.contains(figure), "no {figure}");
    }
    assert!(run().pdf("heron-gym").text().contains("7failuressince19December2024"));
    assert!(!text.contains('□'), "a character the font lacks");
}

#[test]
fn every_table_keeps_the_contract() {
    let mut names = BTreeSet::new();
    for (path, _) in contents(&run().month().join("tables")) {
        let table = Table::read(&run().month().join("tables").join(&path));
        contract::assert_kept(&table);
        names.insert(table.name);
    }
    for needed in ["run_hours", "water_turnover", "parts", "pump_failures", "to_do", "filters", "water_tests"] {
        assert!(names.contains(needed), "no {needed}.csv");
    }
}

#[test]
fn no_cell_would_be_run_by_a_spreadsheet() {
    for (path, bytes) in contents(&run().month().join("tables")) {
        assert!(!bytes.contains(&b'\r') && bytes.ends_with(b"\n"), "{path}");
    }
    for row in run().table("to_do").rows {
        assert!(!row.cells().iter().any(|cell| cell.starts_with(['=', '+', '-', '@'])), "{row:?}");
    }
}

#[test]
fn the_manifest_lists_what_was_read_and_written_with_right_digests() {
    let manifest = run().manifest();
    assert_eq!(manifest["as_of"], "2026-10-31");
    assert_eq!(manifest["versions"]["tubwright"], env!("CARGO_PKG_VERSION"));
    assert!(manifest["versions"]["renderer"].is_string());
    assert_eq!(manifest["diagnostics"], serde_json::json!([]));
    assert_eq!(manifest["left_out"], serde_json::json!([]));
    let listed = |key: &str| -> Vec<(String, String)> {
        let digest = |file: &serde_json::Value| {
            (file["path"].as_str().unwrap().to_owned(), file["sha256"].as_str().unwrap().to_owned())
        };
        manifest[key].as_array().unwrap().iter().map(digest).collect()
    };
    let digests = |folder: &std::path::Path| -> Vec<(String, String)> {
        let hexadecimal = |byte: &u8| [byte >> 4, byte & 15].map(|digit| char::from_digit(digit.into(), 16).unwrap());
        let sha256 = |bytes: &[u8]| Sha256::digest(bytes).iter().flat_map(hexadecimal).collect();
        contents(folder).iter().map(|(path, bytes)| (path.clone(), sha256(bytes))).collect()
    };
    assert_eq!(listed("inputs"), digests(&demo()));
    let written: Vec<_> = digests(&run().month()).into_iter().filter(|(path, _)| path != "run.json").collect();
    assert_eq!(listed("files"), written);
}

#[test]
fn the_manifest_names_no_place_and_no_time_of_this_machine() {
    let text = std::fs::read_to_string(run().month().join("run.json")).unwrap();
    let out = run().out.path().to_str().unwrap();
    let home = std::env::var("HOME").unwrap_or_else(|_| "/home".to_owned());
    for place in [out, env!("CARGO_MANIFEST_DIR"), &home, "\"/"] {
        assert!(!text.contains(place), "{place} stands in run.json");
    }
    // A time of day would be written with colons; the only ones here follow a key.
    let manifest = run().manifest();
    for key in ["as_of", "versions", "left_out"] {
        assert!(!manifest[key].to_string().contains('T'), "{key}: {}", manifest[key]);
    }
    let keys: Vec<&String> = manifest.as_object().unwrap().keys().collect();
    assert_eq!(
        keys.iter().map(|key| key.as_str()).collect::<BTreeSet<_>>(),
        BTreeSet::from(["as_of", "diagnostics", "files", "inputs", "left_out", "made_from", "versions"])
    );
}

#[test]
fn nothing_hidden_is_left_beside_the_month() {
    let beside: Vec<String> = std::fs::read_dir(run().out.path())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name != ".lock")
        .collect();
    assert_eq!(beside, [MONTH]);
}
