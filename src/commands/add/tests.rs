//! Entries appended to small fleets in folders of their own.

use super::*;
use crate::records::load::Shared;

const FLEET: &str = "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\n";
const SITE: &str = "format: 1\n# kept\nspas:\n  terrace:\n    fitted: 2022\n    filters: {main: {kind: cartridge}}\n    pumps:\n      filtration: {duty: filtration, program: {run: 8 h/day}}\nlog: # kept too\n  - date: 2026-09-30 # and this\n    at:\n      terrace/filtration: {hours: 100}\n";

fn fleet() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs_err::create_dir(folder.path().join("sites")).unwrap();
    fs_err::write(folder.path().join("fleet.yaml"), FLEET).unwrap();
    fs_err::write(folder.path().join("sites/quay.yaml"), SITE).unwrap();
    folder
}

fn add(folder: &Path, address: &str, values: &[&str], date: Option<&str>) -> Result<u8, String> {
    let saying = crate::cli::Saying { quiet: 2, verbose: 0, format: crate::cli::Format::Short };
    let arguments = Add {
        address: Some(address.to_owned()),
        sheet: None,
        month: None,
        values: values.iter().map(|v| (*v).to_owned()).collect(),
        fleet: folder.to_path_buf(),
        date: date.map(str::to_owned),
    };
    run(&arguments, Printer::new(saying)).map_err(|failure| format!("{:#}", failure.error))
}

fn file(folder: &Path) -> String {
    fs_err::read_to_string(folder.join("sites/quay.yaml")).unwrap()
}

#[test]
fn an_entry_is_appended_and_everything_else_stays() {
    let folder = fleet();
    let values = [
        "hours=340",
        "renewed.shaft_seal=failure",
        "renewed.shaft_seal.found=leak: at the shaft",
        "inspected.motor_bearing=good",
        "time=09:10-10:25",
        "labour=1.25 h",
        "used.SS-16=1",
        "note=yes",
        "left=strap torn",
    ];
    assert_eq!(add(folder.path(), "quay/terrace/filtration", &values, Some("2026-10-20")), Ok(0));
    let text = file(folder.path());
    assert!(text.starts_with(SITE));
    assert_eq!(
        &text[SITE.len()..],
        "  - date: 2026-10-20\n    time: 09:10-10:25\n    at:\n      terrace/filtration: {hours: 340, renewed: {shaft_seal: {because: failure, found: \"leak: at the shaft\"}}, inspected: {motor_bearing: good}}\n    labour: 1.25 h\n    used: {SS-16: 1}\n    left: [{at: terrace/filtration, note: strap torn}]\n    note: \"yes\"\n"
    );
    let shared = Shared::load(folder.path()).unwrap();
    let site = shared.read_site(&shared.sites[0]).unwrap();
    assert_eq!((site.visits.len(), site.diagnostics.len()), (2, 0));
}

#[test]
fn an_entry_that_is_wrong_changes_nothing() {
    let folder = fleet();
    for values in [
        &["hourz=340"][..],
        &["hours=many"],
        &["hours=340 L"],
        &["done=polish"],
        &["renewed.shaft_zeal=failure"],
        &["renewed.shaft_seal=bored"],
        &["hours=340", "date=2026-13-01"],
        &["hours=340", "why=boredom"],
        &["hours=340", "date=2020-01-01"],
    ] {
        assert_eq!(add(folder.path(), "quay/terrace/filtration", values, None), Ok(2), "{values:?}");
        assert_eq!(file(folder.path()), SITE, "{values:?}");
    }
    assert_eq!(add(folder.path(), "quay/terrace/jets", &["hours=1"], None), Ok(2));
    for (address, values, says) in [
        ("quay", &["hours=1"][..], "names no spa"),
        ("key/terrace", &["ph=7"], "no site `key`"),
        ("quay/terrace/filtration/shaft_seal", &["hours=1"], "more than three steps"),
        ("quay/../terrace", &["hours=1"], "the address"),
        ("../quay/terrace", &["hours=1"], "the id `..`"),
        ("quay/terrace", &["ph"], "not `key=value`"),
        ("quay/terrace", &["ph="], "no value"),
        ("quay/terrace", &["ph=7", "ph=8"], "written twice"),
        ("quay/terrace", &["why=planned"], "nothing is said"),
    ] {
        let error = add(folder.path(), address, values, None).unwrap_err();
        assert!(error.contains(says), "{error}");
    }
    assert_eq!(file(folder.path()), SITE);
}

#[test]
fn an_older_mistake_does_not_stand_in_the_way_and_a_broken_file_does() {
    let folder = fleet();
    let path = folder.path().join("sites/quay.yaml");
    let with_mistake = SITE.replace("{hours: 100}", "{hourz: 100}");
    fs_err::write(&path, &with_mistake).unwrap();
    assert_eq!(add(folder.path(), "quay/terrace/filtration", &["hours=340"], None), Ok(0));
    assert!(file(folder.path()).starts_with(&with_mistake));
    let broken = SITE.replace("spas:", "spas: [");
    fs_err::write(&path, &broken).unwrap();
    assert!(add(folder.path(), "quay/terrace/filtration", &["hours=340"], None).is_err());
    assert_eq!(file(folder.path()), broken);
}

#[test]
fn a_log_in_brackets_is_added_to_inside_them() {
    let folder = fleet();
    let path = folder.path().join("sites/quay.yaml");
    let (head, _) = SITE.split_once("log:").unwrap();
    let log = "log: [{date: 2026-09-30, at: {terrace/filtration: {hours: 100}}}] # kept\n";
    fs_err::write(&path, format!("{head}{log}")).unwrap();
    assert_eq!(add(folder.path(), "quay/terrace/filtration", &["hours=340"], Some("2026-10-20")), Ok(0));
    let new = ", {date: 2026-10-20, at: {terrace/filtration: {hours: 340}}}] # kept\n";
    assert_eq!(file(folder.path()), format!("{head}{}{new}", log.strip_suffix("] # kept\n").unwrap()));
    assert_eq!(add(folder.path(), "quay/terrace/filtration", &["hours=many"], None), Ok(2));
}

#[test]
fn of_many_at_once_none_is_lost() {
    let folder = fleet();
    let before = file(folder.path());
    std::thread::scope(|scope| {
        for worker in 0..4 {
            let folder = folder.path();
            scope.spawn(move || {
                for entry in 0..5 {
                    let ph = format!("ph=7.{worker}{entry}");
                    assert_eq!(add(folder, "quay/terrace", &[&ph], Some("2026-10-20")), Ok(0));
                }
            });
        }
    });
    let after = file(folder.path());
    assert!(after.starts_with(&before));
    for worker in 0..4 {
        for entry in 0..5 {
            assert!(after.contains(&format!("{{ph: 7.{worker}{entry}}}")), "{after}");
        }
    }
    assert_eq!(after.matches("- date: 2026-10-20").count(), 20);
    assert_eq!(fs_err::read_dir(folder.path().join("sites")).unwrap().count(), 1);
}

#[test]
fn of_several_visits_one_that_is_wrong_leaves_all_unwritten() {
    let folder = fleet();
    let bay = SITE.replace("terrace", "roof");
    fs_err::write(folder.path().join("sites/bay.yaml"), &bay).unwrap();
    let visit = |at: &str, value: &str| Wanted {
        date: Some("2026-10-20".to_owned()),
        at: vec![(at.to_owned(), vec![value.to_owned()])],
    };
    let printer = Printer::new(crate::cli::Saying { quiet: 2, verbose: 0, format: crate::cli::Format::Short });
    let wrong = [visit("quay/terrace", "ph=7.4"), visit("bay/roof", "phh=7.4")];
    let added = super::add(folder.path(), &wrong, printer).unwrap();
    assert!(matches!(&added, Added::Refused { what, .. } if what == "sites/bay.yaml"), "{added:?}");
    assert_eq!(file(folder.path()), SITE);
    let right = [visit("quay/terrace", "ph=7.4"), visit("bay/roof", "ph=7.3"), visit("quay/terrace", "ph=7.5")];
    let added = super::add(folder.path(), &right, printer).unwrap();
    assert!(matches!(&added, Added::Written { files, .. } if files.len() == 2), "{added:?}");
    assert_eq!(file(folder.path()).matches("{ph: 7.").count(), 2);
    let both = Wanted {
        date: Some("2026-10-21".to_owned()),
        at: vec![
            ("quay/terrace".to_owned(), vec!["ph=7.2".to_owned(), "by=dan".to_owned()]),
            ("quay/terrace/filtration".to_owned(), vec!["hours=500".to_owned()]),
        ],
    };
    super::add(folder.path(), &[both], printer).unwrap();
    let end = "  - date: 2026-10-21\n    by: dan\n    at:\n      terrace: {ph: 7.2}\n      terrace/filtration: {hours: 500}\n";
    assert!(file(folder.path()).ends_with(end), "{}", file(folder.path()));
}

#[cfg(unix)]
#[test]
fn a_link_is_neither_followed_nor_replaced() {
    let folder = fleet();
    let outside = tempfile::tempdir().unwrap();
    fs_err::write(outside.path().join("x.yaml"), "format: 1\n").unwrap();
    let sheet = "site,spa,type\nbay,terrace,\n";
    fs_err::write(folder.path().join("sites.csv"), sheet).unwrap();
    std::os::unix::fs::symlink(outside.path().join("x.yaml"), folder.path().join("sites/bay.yaml")).unwrap();
    assert!(add(folder.path(), "bay/terrace", &["ph=7.4"], None).unwrap_err().contains("there already"));
    assert_eq!(fs_err::read_to_string(outside.path().join("x.yaml")).unwrap(), "format: 1\n");
}
