//! `fleet.xlsx` opened again: every table as a sheet, nothing that runs, the same bytes twice.

use std::io::Read;

use super::demo::run;
use crate::support::{Fleet, Run, Table, contents};

/// The parts of a workbook by their names.
fn parts(path: &std::path::Path) -> Vec<(String, String)> {
    let mut archive = zip::ZipArchive::new(std::fs::File::open(path).unwrap()).unwrap();
    (0..archive.len())
        .map(|index| {
            let mut file = archive.by_index(index).unwrap();
            let mut text = String::new();
            file.read_to_string(&mut text).unwrap();
            (file.name().unwrap().into_owned(), text)
        })
        .collect()
}

fn part<'a>(parts: &'a [(String, String)], name: &str) -> &'a str {
    &parts.iter().find(|(known, _)| known == name).unwrap_or_else(|| panic!("no {name}")).1
}

#[test]
fn every_table_is_a_sheet_with_all_its_rows() {
    let parts = parts(&run().month().join("fleet.xlsx"));
    let book = part(&parts, "xl/workbook.xml");
    for (path, _) in contents(&run().month().join("tables")) {
        let table = Table::read(&run().month().join("tables").join(&path));
        let at =
            book.find(&format!("<sheet name=\"{}\"", table.name)).unwrap_or_else(|| panic!("no sheet {}", table.name));
        let number = book[..at].matches("<sheet name=").count() + 1;
        let sheet = part(&parts, &format!("xl/worksheets/sheet{number}.xml"));
        assert_eq!(sheet.matches("<row ").count(), table.rows.len() + 1, "{path}");
        // Frozen, filtered, set up for print.
        for wanted in ["state=\"frozen\"", "<autoFilter ref=\"A1:", "orientation=\"landscape\"", "fitToHeight=\"0\""] {
            assert!(sheet.contains(wanted), "{}: no {wanted}", table.name);
        }
        // A number is a number: as many cells without a text as the table has numbers and days.
        assert!(table.rows.is_empty() || sheet.contains("<v>"), "{path}");
    }
}

#[test]
fn nothing_in_it_runs_or_leads_elsewhere_and_it_carries_the_as_of_day() {
    let fleet = Fleet::small().file(
        "sites/quay-house.yaml",
        crate::support::fleet::SITE.replace("name: Quay House", "name: \"=HYPERLINK(\\\"http://example.org\\\")\""),
    );
    let run = Run::report(fleet.path(), "2026-03", &["--pdf", "none"]).expect_status(0);
    let parts = parts(&run.month().join("fleet.xlsx"));
    for (name, text) in &parts {
        assert!(!text.contains("<f>") && !text.contains("<f "), "a formula in {name}");
        assert!(!name.contains("externalLink") && !text.contains("TargetMode=\"External\""), "{name} leads elsewhere");
    }
    let about = part(&parts, "docProps/core.xml");
    assert!(about.contains("2026-03-31T"), "{about}");
}

#[test]
fn the_same_figures_give_the_same_bytes() {
    let fleet = Fleet::small();
    let book = || {
        let run = Run::report(fleet.path(), "2026-03", &["--pdf", "none"]).expect_status(0);
        std::fs::read(run.month().join("fleet.xlsx")).unwrap()
    };
    assert!(book() == book());
}
