//! Help, version, the explanations of the rules, and the exit status of what cannot be run.

use crate::support::fleet::SITE;
use crate::support::{Fleet, Run, fixtures};

#[test]
fn help_says_what_it_does_and_what_the_statuses_mean() {
    let help = Run::of(&["--help"]).expect_status(0);
    assert_eq!(help.stderr, "");
    for needed in ["Monthly reports for a fleet of spas", "check", "report", "Exit status", "another run holds"] {
        assert!(help.stdout.contains(needed), "no `{needed}`: {}", help.stdout);
    }
    let report = Run::of(&["report", "--help"]).expect_status(0).stdout;
    for option in ["--month", "--out", "--pdf", "--typst", "--jobs", "--quiet", "--format"] {
        assert!(report.contains(option), "no `{option}`: {report}");
    }
}

#[test]
fn the_version_is_the_packages() {
    let version = Run::of(&["--version"]).expect_status(0);
    assert_eq!(version.stdout, format!("tubwright {}\n", env!("CARGO_PKG_VERSION")));
}

#[test]
fn every_rule_explains_itself() {
    let all = Run::of(&["check", "--about", "all"]).expect_status(0);
    let names: Vec<&str> = all.stdout.lines().collect();
    assert!(names.len() > 20, "{names:?}");
    for name in names {
        let about = Run::of(&["check", "--about", name]).expect_status(0).stdout;
        let (first, rest) = about.split_once("\n\n").unwrap();
        assert_eq!(first, name);
        assert!(rest.len() > 30 && rest.ends_with(".\n"), "{name}: {rest}");
    }
}

#[test]
fn an_unknown_rule_names_the_nearest() {
    let near = Run::of(&["check", "--about", "counter-backward"]).expect_status(2);
    assert_eq!(near.stderr, "error: no rule is named `counter-backward`; did you mean `counter-backwards`?\n");
    let far = Run::of(&["check", "--about", "weather"]).expect_status(2);
    assert!(far.stderr.contains("list them with `--about all`"), "{}", far.stderr);
}

#[test]
fn wrong_arguments_give_two() {
    for arguments in [
        &["repord"][..],
        &["report"],
        &["check"],
        &["report", "fleet", "--month", "2026-13"],
        &["report", "fleet", "--month", "October"],
        &["report", "fleet", "--jobs", "0"],
        &["report", "fleet", "--pdf", "perhaps"],
        &["check", "fleet", "--format", "xml"],
    ] {
        let run = Run::of(arguments).expect_status(2);
        assert!(run.stderr.starts_with("error: "), "{arguments:?}: {}", run.stderr);
        assert_eq!(run.stdout, "", "{arguments:?}");
    }
}

#[test]
fn an_output_folder_that_cannot_be_made_gives_two() {
    let fleet = Fleet::small();
    let file = fleet.at("fleet.yaml");
    let arguments = ["report", fleet.path().to_str().unwrap(), "--month", "2026-03", "--out", file.to_str().unwrap()];
    let run = Run::of(&arguments).expect_status(2);
    assert!(run.stderr.contains("fleet.yaml"), "{}", run.stderr);
}

#[test]
fn check_gives_one_for_errors_and_nought_for_warnings() {
    let warned = Run::check(&fixtures("invalid/unknown-technician"), &[]).expect_status(0);
    assert!(warned.stderr.ends_with("1 warning\n"), "{}", warned.stderr);
    let wrong = Run::check(&fixtures("invalid/unknown-field"), &[]).expect_status(1);
    assert!(wrong.stderr.ends_with("1 error\n"), "{}", wrong.stderr);
    let unusable = Run::check(&fixtures("invalid/missing-field-in-fleet"), &[]).expect_status(2);
    assert!(unusable.stderr.ends_with("1 error; fleet.yaml must be mended first\n"), "{}", unusable.stderr);
}

#[test]
fn quiet_once_leaves_only_problems_and_twice_nothing() {
    let sound = Fleet::small();
    let said = |fleet: &Fleet, more: &[&str], status: i32| {
        let options = [&["--pdf", "none"][..], more].concat();
        let run = Run::report(fleet.path(), "2026-03", &options).expect_status(status);
        assert_eq!(run.stdout, "");
        run.stderr
    };
    assert_eq!(said(&sound, &[], 0).lines().count(), 1);
    assert_eq!(said(&sound, &["-q"], 0), "");
    let faulty = Fleet::small().file("sites/old-mill.yaml", SITE.replace("1200 L", "1200"));
    let once = said(&faulty, &["-q"], 1);
    assert_eq!(once.lines().count(), 1, "{once}");
    assert!(once.starts_with("sites/old-mill.yaml:6:13: error[wrong-value]"), "{once}");
    assert_eq!(said(&faulty, &["-qq"], 1), "");
    assert!(said(&sound, &["-v"], 0).contains("tables, workbook, calendars and documents: "));
}

#[test]
fn away_from_a_terminal_nothing_is_coloured() {
    for format in ["auto", "full", "short"] {
        let run = Run::check(&fixtures("invalid/unknown-field"), &["--format", format]).expect_status(1);
        assert!(!run.stderr.contains('\u{1b}'), "{format}");
    }
}

#[test]
fn completions_and_manual_pages_name_every_command() {
    let help = Run::of(&["--help"]).expect_status(0).stdout;
    let commands: Vec<&str> = help
        .lines()
        .skip_while(|line| !line.starts_with("Commands:"))
        .skip(1)
        .take_while(|line| line.starts_with("  "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|command| *command != "help")
        .collect();
    assert!(commands.contains(&"report") && commands.len() > 8, "{commands:?}");
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let completions = Run::of(&["completions", shell]).expect_status(0).stdout;
        for command in &commands {
            assert!(completions.contains(command), "{shell}: {command}");
        }
    }
    let out = tempfile::tempdir().unwrap();
    Run::of(&["man", "--out", out.path().to_str().unwrap()]).expect_status(0);
    for command in &commands {
        let page = std::fs::read_to_string(out.path().join(format!("tubwright-{command}.1"))).unwrap();
        assert!(page.contains(".SH SYNOPSIS"), "{page}");
    }
    let page = std::fs::read_to_string(out.path().join("tubwright.1")).unwrap();
    assert!(page.contains("Exit status") && page.contains("tubwright\\-report"), "{page}");
}
