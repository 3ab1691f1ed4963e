//! What stands on the pages, as a reader of the PDF gets it: the text of each page of a small fleet's reports against the
//! one kept in `tests/fixtures/pages` (set `UPDATE_EXPECTED=1` to write it anew, and read what changed), and how many pages
//! a document may have.

use regex::Regex;

use super::demo::MONTH;
use crate::support::{Fleet, Pdf, Run, contents, copy_folder, demo, project};

/// The small fleet, or the same with reports for the customer.
fn fleet(for_customers: bool) -> Fleet {
    let fleet = Fleet::small();
    let settings = std::fs::read_to_string(fleet.at("fleet.yaml")).unwrap();
    if for_customers { fleet.file("fleet.yaml", settings + "reports_for: customer\n") } else { fleet }
}

/// The text of each page under its number. Digests and versions are of the program and not of what it says.
fn text_of(pdf: &Pdf) -> String {
    let digest = Regex::new("\\b[0-9a-f]{16}\\b").unwrap();
    let version = Regex::new("(tubwright|renderer) ?[0-9][0-9.]*").unwrap();
    let mut all = String::new();
    for page in 1..=pdf.pages() {
        all.push_str(&format!("---- page {page}\n"));
        for line in pdf.page(page).lines().map(str::trim_end).filter(|line| !line.is_empty()) {
            let line = digest.replace_all(line, "(digest)");
            all.push_str(&version.replace_all(&line, "$1 (version)"));
            all.push('\n');
        }
    }
    all
}

#[test]
fn the_pages_of_a_small_fleet_say_what_was_read_and_found_right() {
    let office = Run::report(fleet(false).path(), "2026-03", &[]).expect_status(0);
    let customer = Run::report(fleet(true).path(), "2026-03", &[]).expect_status(0);
    for (kept, pdf) in [
        ("site.txt", office.pdf("quay-house")),
        ("fleet.txt", Pdf::open(&office.month().join("fleet.pdf"))),
        ("customer.txt", customer.pdf("quay-house")),
    ] {
        let text = text_of(&pdf);
        let path = project().join("tests/fixtures/pages").join(kept);
        if std::env::var_os("UPDATE_EXPECTED").is_some() {
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(&path, &text).unwrap();
        }
        let expected = std::fs::read_to_string(&path).unwrap();
        for (number, (now, then)) in text.lines().zip(expected.lines()).enumerate() {
            assert_eq!(now, then, "{kept}, line {}", number + 1);
        }
        assert_eq!(text.lines().count(), expected.lines().count(), "{kept}");
    }
}

#[test]
fn on_us_letter_and_in_us_units_no_site_report_is_longer_than_eight_pages() {
    let folder = tempfile::tempdir().unwrap();
    copy_folder(&demo(), folder.path());
    let settings = folder.path().join("fleet.yaml");
    let text = std::fs::read_to_string(&settings).unwrap();
    let us = text.replace("units: metric", "units: us").replace("paper: a4", "paper: us-letter");
    assert_ne!(us, text);
    std::fs::write(&settings, us).unwrap();
    let run = Run::report(folder.path(), MONTH, &[]).expect_status(0);
    let mut seen = 0;
    for path in contents(&run.month()).into_keys() {
        let Some(site) = path.strip_prefix("sites/").and_then(|path| path.strip_suffix("/report.pdf")) else {
            continue;
        };
        let pdf = run.pdf(site);
        assert!((3..=8).contains(&pdf.pages()), "{site} has {} pages", pdf.pages());
        // Degrees Celsius stand alone nowhere: Fahrenheit is before or beside them, as in "104 °F (40 °C)".
        let text = pdf.text();
        for (at, _) in text.match_indices("°C") {
            let after: String = text[at..].chars().take(12).collect();
            assert!(
                after.starts_with("°C)") || after.starts_with("°C(") && after.contains(|c: char| c.is_ascii_digit()),
                "{site}: {after}"
            );
        }
        seen += 1;
    }
    assert_eq!(seen, 6);
}

/// Numbers are grouped by spaces, and their signs and units stand behind spaces, none of which may end a line; nor may a day
/// stand apart from its month, or a pump from its number.
#[test]
fn no_line_ends_within_a_number_a_date_or_a_pump() {
    let run = super::demo::run();
    let parted = [
        Regex::new("[a-z] [£$€]$").unwrap(),
        Regex::new("(^|[^0-9])[0-9]{1,2} (January|February|March|April|May|June|July|August|September|October|November|December)").unwrap(),
        Regex::new("jets [0-9]").unwrap(),
    ];
    let mut bound = 0;
    for path in contents(&run.month()).into_keys().filter(|path| path.ends_with("/report.pdf")) {
        let pdf = Pdf::open(&run.month().join(&path));
        for page in 1..=pdf.pages() {
            let text = pdf.page(page);
            for line in text.lines().map(|line| line.trim_end_matches(' ')) {
                for pattern in &parted {
                    assert!(!pattern.is_match(line), "{path}, page {page}: {line}");
                }
                bound += line.matches('\u{a0}').count();
            }
        }
    }
    assert!(bound > 100, "only {bound} spaces that do not break were found");
}

#[test]
fn the_statement_of_a_month_is_one_page() {
    let run = super::demo::run();
    let mut seen = 0;
    for path in contents(&run.month()).into_keys().filter(|path| path.ends_with("/statement.pdf")) {
        assert_eq!(Pdf::open(&run.month().join(&path)).pages(), 1, "{path}");
        seen += 1;
    }
    assert!(seen >= 4, "only {seen} statements were looked at");
}
