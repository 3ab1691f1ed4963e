//! `--templates` and `schema --views`: a user's own templates, and what is said when one is wrong.

use crate::support::{Fleet, Run};

fn with(files: &[(&str, &str)]) -> (tempfile::TempDir, Run) {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let path = folder.path().to_str().unwrap().to_owned();
    let run = Run::report(Fleet::small().path(), "2026-03", &["--pdf", "none", "--templates", &path]);
    (folder, run)
}

#[test]
fn a_page_of_ones_own_stands_in_the_place_of_ours() {
    let (_folder, run) = with(&[
        (
            "index.html.tera",
            "<p>{{ document.site }}: {% for row in rows %}{{ row.name }} {{ row.word }}{% endfor %}</p>",
        ),
        ("README.md", "notes beside the templates are no templates"),
    ]);
    let run = run.expect_status(0);
    let page = std::fs::read_to_string(run.month().join("index.html")).unwrap();
    assert!(page.starts_with("<p>Saltmarsh Lettings: Quay House "), "{page}");
}

#[test]
fn a_mistake_names_the_template_the_line_and_what_was_at_hand() {
    let (_folder, run) = with(&[("index.html.tera", "<p>\n{{ document.sight }}</p>")]);
    let run = run.expect_status(2);
    for wanted in ["--> index.html.tera:2:", "`sight`", "Saltmarsh Lettings", "rows"] {
        assert_eq!(run.stderr.matches(wanted).count(), 1, "{wanted} in {}", run.stderr);
    }
    let (_folder, run) = with(&[("index.html.tera", "<p>\n\n{% for row in %}")]);
    let run = run.expect_status(2);
    assert_eq!(run.stderr.matches("--> index.html.tera:3:").count(), 1, "{}", run.stderr);
}

#[test]
fn a_misspelt_name_is_told() {
    let (_folder, run) = with(&[("sight.typ.tera", "")]);
    let run = run.expect_status(2);
    assert_eq!(run.stderr.matches("there is no template sight.typ.tera").count(), 1, "{}", run.stderr);
    assert!(run.stderr.contains("site.typ.tera"), "{}", run.stderr);
}

#[test]
fn a_layout_of_ones_own_is_set_and_its_mistake_has_a_line() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().to_str().unwrap().to_owned();
    std::fs::write(folder.path().join("fleet-layout.typ"), "#import \"layout.typ\": *\n#let fleet-page-one(view = 1")
        .unwrap();
    let run = Run::report(Fleet::small().path(), "2026-03", &["--templates", &path]).expect_status(1);
    assert!(run.stderr.contains("fleet-layout.typ:2"), "{}", run.stderr);
    // The other documents are there.
    assert!(run.month().join("sites/quay-house/report.pdf").exists());
}

#[test]
fn the_views_are_documented_for_whoever_writes_a_template() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().to_str().unwrap();
    Run::of(&["schema", "--views", "--out", path]).expect_status(0);
    let site: serde_json::Value =
        serde_json::from_slice(&std::fs::read(folder.path().join("site.view.schema.json")).unwrap()).unwrap();
    assert!(site["properties"]["page_one"].is_object());
    for view in ["fleet", "index", "logbook", "visits"] {
        assert!(folder.path().join(format!("{view}.view.schema.json")).exists(), "{view}");
    }
}
