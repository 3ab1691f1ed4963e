//! Publishing, refusing, clearing up: on real folders.

use super::*;

/// What is under `root`, with contents; folders end in `/`. Our lock is left out.
fn tree(root: &Path) -> BTreeMap<String, String> {
    let entries = WalkDir::new(root).min_depth(1).into_iter().map(Result::unwrap);
    let text = |entry: walkdir::DirEntry| {
        let path = relative_to(root, entry.path()).to_str().unwrap().to_owned();
        if entry.file_type().is_dir() {
            (path + "/", String::new())
        } else {
            (path, fs::read_to_string(entry.path()).unwrap())
        }
    };
    entries.map(text).filter(|(path, _)| path != LOCK).collect()
}

fn names(root: &Path) -> Vec<String> {
    tree(root).into_keys().collect()
}

fn manifest(part: &Part) -> Vec<u8> {
    serde_json::to_vec(&serde_json::json!({ "as_of": "2026-10-31", "files": part.files() })).unwrap()
}

/// Publishes the month with these files.
fn publish(out: &Path, files: &[(&str, &str)]) -> Result<Published, OutputError> {
    let folder = OutputFolder::open(out)?;
    let part = folder.part("2026-10")?;
    for (path, text) in files {
        part.write(path, text.as_bytes())?;
    }
    let manifest = manifest(&part);
    part.publish(&manifest)
}

const FILES: [(&str, &str); 2] = [("index.html", "<p>"), ("sites/quay-house/report.pdf", "%PDF-")];

#[test]
fn a_month_appears_whole_and_the_same_again() {
    let root = tempfile::tempdir().unwrap();
    let out = root.path().join("new/reports");
    let published = publish(&out, &FILES).unwrap();
    assert_eq!(published.folder, out.join("2026-10"));
    let first = tree(&out);
    let expected =
        ["2026-10/", "2026-10/index.html", "2026-10/run.json", "2026-10/sites/", "2026-10/sites/quay-house/"];
    assert_eq!(first.keys().take(5).collect::<Vec<_>>(), expected.iter().collect::<Vec<_>>());
    assert_eq!(first.len(), 6);
    let again = publish(&out, &FILES).unwrap();
    assert!(again.carried.is_empty() && again.left_behind.is_none());
    assert_eq!(tree(&out), first);
}

#[test]
fn what_an_earlier_run_listed_goes_and_what_is_the_users_own_stays() {
    let root = tempfile::tempdir().unwrap();
    let out = root.path();
    publish(out, &[("index.html", "old"), ("sites/mill-lane/report.pdf", "old"), ("sites/gone/report.pdf", "")])
        .unwrap();
    let month = out.join("2026-10");
    fs::write(month.join("notes.txt"), "call back").unwrap();
    fs::write(month.join("sites/mill-lane/photo.jpg"), "jpg").unwrap();
    fs::create_dir_all(month.join("mine/empty")).unwrap();
    #[cfg(unix)]
    fs_err::os::unix::fs::symlink("notes.txt", month.join("link")).unwrap();

    let published = publish(out, &FILES).unwrap();
    assert!(published.left_behind.is_none(), "{:?}", published.left_behind);
    assert!(published.carried.contains(&PathBuf::from("notes.txt")));
    let now = tree(&month);
    assert_eq!(now["notes.txt"], "call back");
    assert_eq!(now["sites/mill-lane/photo.jpg"], "jpg");
    assert!(now.contains_key("mine/empty/"));
    assert_eq!(now["index.html"], "<p>");
    assert!(!now.contains_key("sites/mill-lane/report.pdf") && !now.contains_key("sites/gone/"), "{now:?}");
    #[cfg(unix)]
    assert_eq!(fs::read_link(month.join("link")).unwrap(), Path::new("notes.txt"));
    assert_eq!(fs::read_dir(out).unwrap().count(), 2, "the month and the lock");
    // And once more: they are still nobody's but the user's.
    publish(out, &FILES).unwrap();
    assert_eq!(tree(&month), now);
}

#[test]
fn a_file_of_the_users_own_with_a_new_files_name_stops_publishing() {
    let root = tempfile::tempdir().unwrap();
    publish(root.path(), &FILES).unwrap();
    fs::write(root.path().join("2026-10/fleet.xlsx"), "mine").unwrap();
    fs::write(root.path().join("2026-10/tables"), "mine too").unwrap();
    let before = tree(root.path());
    for path in ["fleet.xlsx", "tables/parts.csv"] {
        let error = publish(root.path(), &[(path, "new")]).unwrap_err();
        assert!(matches!(error, OutputError::InTheWay { .. }), "{path}: {error}");
        assert_eq!(tree(root.path()), before);
    }
}

#[test]
fn a_folder_that_is_not_ours_is_refused_before_work_begins() {
    let root = tempfile::tempdir().unwrap();
    let month = root.path().join("2026-10");
    fs::create_dir(&month).unwrap();
    publish(root.path(), &FILES).expect("an empty folder is free to use");
    for content in [None, Some("{}"), Some("not JSON")] {
        fs::remove_dir_all(&month).unwrap();
        fs::create_dir(&month).unwrap();
        fs::write(month.join("thesis.txt"), "mine").unwrap();
        if let Some(content) = content {
            fs::write(month.join(MANIFEST), content).unwrap();
        }
        let error = OutputFolder::open(root.path()).unwrap().part("2026-10").unwrap_err();
        assert!(matches!(error, OutputError::NotOurs { .. }), "{content:?}: {error}");
        assert_eq!(error.exit_status(), 2);
        assert_eq!(fs::read_to_string(month.join("thesis.txt")).unwrap(), "mine");
    }
    fs::remove_dir_all(&month).unwrap();
    fs::write(&month, "a file").unwrap();
    assert!(matches!(publish(root.path(), &FILES), Err(OutputError::NotOurs { .. })));
}

#[test]
fn a_listed_path_that_leads_out_deletes_nothing_there() {
    let root = tempfile::tempdir().unwrap();
    let out = root.path().join("reports");
    publish(&out, &FILES).unwrap();
    fs::write(root.path().join("outside"), "mine").unwrap();
    let listed = r#"{"files": [{"path": "../../outside", "sha256": ""}, {"path": "index.html", "sha256": ""}]}"#;
    fs::write(out.join("2026-10").join(MANIFEST), listed).unwrap();
    publish(&out, &FILES).unwrap();
    assert_eq!(fs::read_to_string(root.path().join("outside")).unwrap(), "mine");
}

#[test]
fn the_lock_names_its_holder_and_outlives_the_folder_value() {
    let root = tempfile::tempdir().unwrap();
    let part = OutputFolder::open(root.path()).unwrap().part("2026-10").unwrap();
    let error = OutputFolder::open(root.path()).unwrap_err();
    assert!(matches!(error, OutputError::Held { holder: Some(id), .. } if id == std::process::id()), "{error}");
    assert_eq!(error.exit_status(), 3);
    assert!(error.to_string().ends_with(&format!("is in use by another run (process {})", std::process::id())));
    assert!(part.path.is_dir(), "the other run's part is not taken for a stale one");
    drop(part);
    OutputFolder::open(root.path()).unwrap();
}

#[test]
fn what_a_killed_run_left_is_cleared_up() {
    let root = tempfile::tempdir().unwrap();
    let out = root.path();
    publish(out, &FILES).unwrap();
    fs::write(out.join("2026-10/notes.txt"), "mine").unwrap();
    let before = tree(out);
    fs::create_dir_all(out.join(".part-2026-11/sites")).unwrap();
    // Killed between the two renames: the old month comes back.
    fs::rename(out.join("2026-10"), out.join(".old-2026-10")).unwrap();
    OutputFolder::open(out).unwrap();
    assert_eq!(tree(out), before);
    // Killed before the old month was deleted: it goes, but for the user's own.
    fs::rename(out.join("2026-10"), out.join("away")).unwrap();
    publish(out, &FILES).unwrap();
    fs::rename(out.join("away"), out.join(".old-2026-10")).unwrap();
    OutputFolder::open(out).unwrap();
    assert_eq!(tree(out), before);
}

#[test]
fn an_old_folder_that_cannot_be_deleted_is_kept_and_named() {
    let root = tempfile::tempdir().unwrap();
    let out = root.path();
    publish(out, &FILES).unwrap();
    fs::create_dir(out.join(".old-2026-10")).unwrap();
    fs::write(out.join(".old-2026-10/index.html"), "not listed, not the same").unwrap();
    let folder = OutputFolder::open(out).unwrap();
    assert!(matches!(folder.part("2026-10"), Err(OutputError::LeftBehind { .. })));
    assert!(out.join(".old-2026-10/index.html").exists());
    folder.part("2026-11").unwrap();
}

#[test]
fn a_part_dropped_leaves_nothing() {
    let root = tempfile::tempdir().unwrap();
    let folder = OutputFolder::open(root.path()).unwrap();
    let part = folder.part("2026-10").unwrap();
    part.write("tables/parts.csv", b"a").unwrap();
    assert_eq!(names(root.path()).len(), 3);
    drop(part);
    assert_eq!(names(root.path()), [""; 0]);
}

#[test]
fn paths_that_lead_elsewhere_are_refused() {
    let root = tempfile::tempdir().unwrap();
    let folder = OutputFolder::open(root.path()).unwrap();
    let part = folder.part("2026-10").unwrap();
    for path in ["", "/a", "../a", "a/../b", "a//b", "a/", "./a", ".build/a", "a\\b", "c:a", "a\nb", MANIFEST] {
        assert!(matches!(part.write(path, b""), Err(OutputError::BadPath { .. })), "{path:?}");
    }
    for name in ["..", "/abs", ".lock", "a+b"] {
        assert!(matches!(folder.part(name), Err(OutputError::BadPath { .. })), "{name:?}");
    }
}

#[test]
fn files_are_recorded_once_with_their_digest_whoever_wrote_them() {
    let root = tempfile::tempdir().unwrap();
    let folder = OutputFolder::open(root.path()).unwrap();
    let part = folder.part("2026-10").unwrap();
    std::thread::scope(|scope| {
        for worker in 0..4 {
            let part = &part;
            scope.spawn(move || {
                for number in 0..50 {
                    part.write(&format!("sites/s{number}/w{worker}.csv"), b"abc").unwrap();
                }
            });
        }
    });
    fs::write(part.path("adopted.pdf").unwrap(), "abc").unwrap();
    part.adopt("adopted.pdf", None).unwrap();
    let files = part.files();
    assert_eq!(files.len(), 201);
    assert!(files.is_sorted());
    // The example of FIPS 180-2, appendix B.1.
    let abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    assert!(files.iter().all(|file| file.sha256 == abc));
    assert!(matches!(part.write("adopted.pdf", b"x"), Err(OutputError::Twice { .. })));
    assert!(matches!(part.adopt("adopted.pdf", None), Err(OutputError::Twice { .. })));
    assert!(matches!(part.adopt("missing.pdf", None), Err(OutputError::Io(_))));
}

#[test]
fn a_manifest_that_differs_from_the_files_is_not_published() {
    let root = tempfile::tempdir().unwrap();
    let folder = OutputFolder::open(root.path()).unwrap();
    let refused = |change: &dyn Fn(&Part), late: &dyn Fn(&Part)| {
        let part = folder.part("2026-10").unwrap();
        change(&part);
        let manifest = manifest(&part);
        late(&part);
        let error = part.publish(&manifest).unwrap_err();
        assert_eq!(names(root.path()), [""; 0]);
        error.to_string()
    };
    let write = |part: &Part| part.write("a.csv", b"a").unwrap();
    let stray = |part: &Part| fs::write(part.path("b.pdf").unwrap(), "b").unwrap();
    let remove = |part: &Part| fs::remove_file(part.path("a.csv").unwrap()).unwrap();
    assert!(refused(&|_| (), &write).ends_with("differ at `a.csv`"));
    assert!(refused(&write, &stray).ends_with("differ at `b.pdf`"));
    assert!(refused(&write, &remove).ends_with("differ at `a.csv`"));
}

#[test]
fn neither_the_renderers_folders_nor_empty_ones_are_published_and_failed_input_is_kept_on_demand() {
    let root = tempfile::tempdir().unwrap();
    let folder = OutputFolder::open(root.path()).unwrap();
    let part = folder.part("2026-10").unwrap();
    part.build_folder("quay-house").unwrap().write("data/data.json", b"{}").unwrap();
    assert!(part.build_folder("a/b").is_err());
    let open = part.build_folder("mill-lane").unwrap();
    drop(Pending::beside(&part.path("sites/quay-house/report.pdf").unwrap()).unwrap());
    let failed = part.build_folder("quay-house").expect("the first was removed when dropped");
    failed.write("site.typ", b"= X").unwrap();
    let kept = failed.keep().unwrap();
    assert_eq!(fs::read_to_string(kept.join("site.typ")).unwrap(), "= X");
    let manifest = manifest(&part);
    part.publish(&manifest).unwrap();
    drop(open);
    assert_eq!(names(&root.path().join("2026-10")), [MANIFEST]);
    assert!(kept.exists());
    drop(folder.part("2026-10").unwrap());
    assert!(!kept.exists(), "the next run of the month starts afresh");
}

#[test]
fn a_name_with_a_folder_in_it_is_published_there() {
    let root = tempfile::tempdir().unwrap();
    let folder = OutputFolder::open(root.path()).unwrap();
    for _ in 0..2 {
        let part = folder.part("quotes/2027").unwrap();
        part.write("quay-house/quote.pdf", b"%PDF-").unwrap();
        let manifest = manifest(&part);
        part.publish(&manifest).unwrap();
    }
    assert!(root.path().join("quotes/2027/quay-house/quote.pdf").exists());
    assert_eq!(fs::read_dir(root.path()).unwrap().count(), 2);
}
