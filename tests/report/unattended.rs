//! A run nobody watches: nothing changed is nothing done, what is kept is what would be made, and whatever happens to
//! the run, the folder of the month is whole.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;

use super::demo::{MONTH, run};
use crate::support::fleet::SITE;
use crate::support::{Fleet, Run, assert_same_files, contents, copy_folder, demo, program, status};

/// A renderer that says it is one, and then does `body` with the PDF's path in `$pdf`.
fn renderer(folder: &Path, body: &str) -> String {
    let path = folder.join("renderer");
    let text = format!(
        "#!/bin/sh\nif [ \"$1\" = --version ]; then echo 'typst 0.15.1 (test)'; exit 0; fi\n\
         for pdf in \"$@\"; do :; done\n{body}\n"
    );
    std::fs::write(&path, text).unwrap();
    #[cfg(unix)]
    std::fs::set_permissions(&path, std::os::unix::fs::PermissionsExt::from_mode(0o755)).unwrap();
    path.to_str().unwrap().to_owned()
}

/// Writes what can be taken for a PDF.
const A_PDF: &str = "printf '%%PDF-1.7\\nnothing\\n%%%%EOF\\n' > \"$pdf\"";

fn nothing_beside(out: &Path, expected: &[&str]) {
    let mut beside: Vec<_> =
        std::fs::read_dir(out).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    beside.sort();
    assert_eq!(beside, expected);
}

#[test]
fn nothing_changed_is_nothing_done() {
    let fleet = Fleet::small();
    let first = Run::report(fleet.path(), "2026-03", &["--pdf", "none"]).expect_status(0);
    let before = std::fs::metadata(first.month().join("run.json")).unwrap().modified().unwrap();
    let second = Run::report_into(first.out, fleet.path(), "2026-03", &["--pdf", "none"]).expect_status(0);
    assert!(second.stderr.contains("nothing changed"), "{}", second.stderr);
    assert_eq!(std::fs::metadata(second.month().join("run.json")).unwrap().modified().unwrap(), before);
    // An altered file, another record, and the word of the user each make it run.
    let table = second.month().join("tables/run_hours.csv");
    let whole = std::fs::read(&table).unwrap();
    std::fs::write(&table, "mine").unwrap();
    let third = Run::report_into(second.out, fleet.path(), "2026-03", &["--pdf", "none"]).expect_status(0);
    assert!(!third.stderr.contains("nothing changed"));
    assert_eq!(std::fs::read(&table).unwrap(), whole);
    let forced = Run::report_into(third.out, fleet.path(), "2026-03", &["--pdf", "none", "--force"]).expect_status(0);
    assert!(!forced.stderr.contains("nothing changed"));
    let fleet = fleet.file("sites/quay-house.yaml", SITE.replace("hours: 2357", "hours: 2358"));
    let fourth = Run::report_into(forced.out, fleet.path(), "2026-03", &["--pdf", "none"]).expect_status(0);
    assert!(!fourth.stderr.contains("nothing changed"));
    assert_ne!(std::fs::read(&table).unwrap(), whole);
}

#[test]
fn an_unchanged_month_ends_with_the_status_and_the_words_it_had() {
    let fleet = Fleet::small().file("sites/quay-house.yaml", SITE.replace("{hours: 2357}", "{hours: 2357 bar}"));
    let first = Run::report(fleet.path(), "2026-03", &["--pdf", "none"]).expect_status(1);
    let said = first.stderr.lines().next().unwrap().to_owned();
    let second = Run::report_into(first.out, fleet.path(), "2026-03", &["--pdf", "none"]).expect_status(1);
    assert!(second.stderr.contains("nothing changed"), "{}", second.stderr);
    assert_eq!(second.stderr.lines().next().unwrap(), said);
}

#[test]
fn what_is_kept_is_byte_for_byte_what_a_full_run_makes() {
    let folder = tempfile::tempdir().unwrap();
    let fleet = folder.path().join("fleet");
    copy_folder(&demo(), &fleet);
    let out = tempfile::tempdir().unwrap();
    copy_folder(&run().month(), &out.path().join(MONTH));
    // One site's note changes; the others' documents may be kept.
    let site = fleet.join("sites/kingfisher-barns.yaml");
    let text = std::fs::read_to_string(&site).unwrap();
    assert!(text.contains("\nname: "));
    std::fs::write(&site, text.replacen("\nname: ", "\nnote: another word\nname: ", 1)).unwrap();
    let kept = Run::report_into(out, &fleet, MONTH, &["-v"]).expect_status(0);
    assert!(!kept.stderr.contains("nothing changed"), "{}", kept.stderr);
    let full = Run::report(&fleet, MONTH, &["--force"]).expect_status(0);
    assert_same_files(&contents(&kept.month()), &contents(&full.month()));
}

#[test]
fn a_document_is_set_again_only_when_what_it_is_made_from_changed() {
    let tools = tempfile::tempdir().unwrap();
    let count = tools.path().join("count");
    let counting = renderer(tools.path(), &format!("echo \"$pdf\" >> {}; {A_PDF}", count.display()));
    let set = || std::fs::read_to_string(&count).map_or(0, |text| text.lines().count());
    let fleet = Fleet::small().file("sites/old-mill.yaml", SITE.replace("Quay House", "Old Mill"));
    let first = Run::report(fleet.path(), "2026-03", &["--typst", &counting]).expect_status(0);
    let all = set();
    assert!(all >= 4, "{all}");
    let fleet = fleet.file("sites/old-mill.yaml", SITE.replace("Quay House", "Old Mill").replace("ph: 7.4", "ph: 7.5"));
    let second = Run::report_into(first.out, fleet.path(), "2026-03", &["--typst", &counting]).expect_status(0);
    let again = std::fs::read_to_string(&count).unwrap();
    let again: Vec<&str> = again.lines().skip(all).collect();
    assert!(!again.is_empty() && again.len() < all, "{again:?}");
    assert!(again.iter().any(|pdf| pdf.contains("old-mill")), "{again:?}");
    assert!(!again.iter().any(|pdf| pdf.contains("quay-house")), "{again:?}");
    let before = set();
    Run::report_into(second.out, fleet.path(), "2026-03", &["--typst", &counting, "--force"]).expect_status(0);
    assert_eq!(set() - before, all);
}

#[test]
fn verify_tells_what_was_altered_added_and_lost() {
    let fleet = Fleet::small();
    let run = Run::report(fleet.path(), "2026-03", &["--pdf", "none"]).expect_status(0);
    let month = run.month();
    let verify = || Run::of(&[Path::new("verify"), &month]);
    let whole = verify().expect_status(0);
    assert!(whole.stdout.contains("as they were written"), "{}", whole.stdout);
    std::fs::write(month.join("tables/run_hours.csv"), "site,at\n").unwrap();
    std::fs::write(month.join("diary.txt"), "mine").unwrap();
    let lost = std::fs::read_dir(month.join("sites/quay-house/charts")).unwrap().next().unwrap().unwrap().path();
    std::fs::remove_file(&lost).unwrap();
    let altered = verify().expect_status(1);
    for line in ["tables/run_hours.csv: altered", "diary.txt: not of this run", ".svg: missing"] {
        assert!(altered.stderr.contains(line), "{line}: {}", altered.stderr);
    }
    Run::of(&[Path::new("verify"), fleet.path()]).expect_status(2);
}

#[test]
fn past_months_are_as_they_would_have_been() {
    let fleet = Fleet::small();
    let several = Run::report(fleet.path(), "2026-02", &["--pdf", "none"]);
    assert_eq!(several.status, 0, "{}", several.stderr);
    let out = tempfile::tempdir().unwrap();
    let mut command = program();
    command.arg("report").arg(fleet.path()).args(["--from", "2026-01", "--to", "2026-03", "--pdf", "none", "--out"]);
    assert_eq!(status(command.arg(out.path()).stderr(Stdio::null()).status().unwrap()), 0);
    nothing_beside(out.path(), &[".lock", "2026-01", "2026-02", "2026-03"]);
    assert_same_files(&contents(&out.path().join("2026-02")), &contents(&several.month()));
    let wrong = Run::of(&["report", fleet.path().to_str().unwrap(), "--from", "2026-03", "--to", "2026-01"]);
    assert!(wrong.expect_status(2).stderr.contains("is after"));
}

#[test]
fn a_month_before_every_record_is_said_to_be_empty_and_harms_nothing() {
    let run = Run::report(Fleet::small().path(), "1999-12", &["--pdf", "none"]);
    assert!(run.status == 0 || run.status == 1, "{} {}", run.status, run.stderr);
    assert!(run.table_if_there("run_hours").is_none());
}

#[cfg(unix)]
#[test]
fn the_surroundings_of_cron_make_no_difference() {
    let fleet = Fleet::small();
    let at_home = Run::report(fleet.path(), "2026-03", &[]).expect_status(0);
    let out = tempfile::tempdir().unwrap();
    let home = std::env::var_os("CARGO_HOME")
        .map_or_else(|| Path::new(&std::env::var_os("HOME").unwrap()).join(".cargo"), Into::into);
    let mut command = Command::new("/bin/sh");
    command
        .args(["-c", "umask 077; exec \"$0\" \"$@\"", env!("CARGO_BIN_EXE_tubwright"), "report"])
        .arg(fleet.path())
        .args(["--month", "2026-03", "--out"])
        .arg(out.path())
        .arg("--typst")
        .arg(home.join("bin/typst"))
        .env_clear()
        .env("PATH", "/usr/bin:/bin")
        .env("LC_ALL", "tr_TR.UTF-8")
        .current_dir("/")
        .stdin(Stdio::null());
    let ended = command.output().unwrap();
    assert_eq!(status(ended.status), 0, "{}", String::from_utf8_lossy(&ended.stderr));
    assert_same_files(&contents(&out.path().join("2026-03")), &contents(&at_home.month()));
}

#[cfg(unix)]
#[test]
fn renderers_that_lie_fail_hang_and_crash_cost_their_documents_and_nothing_else() {
    let fleet = Fleet::small();
    for (body, says) in [
        ("exit 0", "wrote no file"),
        ("echo rubbish > \"$pdf\"", "not a PDF"),
        ("printf '%%PDF-1.7\\n' > \"$pdf\"", "PDF"),
        ("echo 'error: no'; exit 1", "the renderer found an error"),
        ("kill -SEGV $$", "the renderer found an error"),
        ("sleep 100 & sleep 100", "the renderer was stopped after 1 s"),
        ("head -c 3000000 /dev/zero | tr '\\0' x >&2; exit 1", "the renderer found an error"),
    ] {
        let tools = tempfile::tempdir().unwrap();
        let bad = renderer(tools.path(), body);
        let run = Run::report(fleet.path(), "2026-03", &["--typst", &bad, "--typst-seconds", "1"]).expect_status(1);
        assert!(run.stderr.contains(says), "{body}: {}", run.stderr);
        let files = contents(&run.month());
        assert!(files.contains_key("tables/run_hours.csv"), "{body}");
        assert!(!files.keys().any(|path| path.contains("pdf")), "{body}");
        assert_eq!(run.manifest()["made_from"], serde_json::Value::Null, "{body}");
        // The next run does not think that it was done.
        let good = renderer(tools.path(), A_PDF);
        let next = Run::report_into(run.out, fleet.path(), "2026-03", &["--typst", &good]).expect_status(0);
        assert!(contents(&next.month()).contains_key("sites/quay-house/report.pdf"), "{body}");
        nothing_beside(next.out.path(), &[".lock", "2026-03"]);
    }
}

#[cfg(unix)]
#[test]
fn a_record_that_changes_while_it_is_read_is_noticed() {
    let fleet = Fleet::small();
    let tools = tempfile::tempdir().unwrap();
    let meddling =
        renderer(tools.path(), &format!("echo '# late' >> {}; {A_PDF}", fleet.at("sites/quay-house.yaml").display()));
    let run = Run::report(fleet.path(), "2026-03", &["--typst", &meddling]).expect_status(2);
    assert!(run.stderr.contains("sites/quay-house.yaml changed while it was read"), "{}", run.stderr);
    assert!(!run.month().exists());
    nothing_beside(run.out.path(), &[".lock"]);
}

#[test]
fn two_runs_at_once_leave_one_whole_month() {
    let fleet = Fleet::small();
    let alone = Run::report(fleet.path(), "2026-03", &["--pdf", "none"]).expect_status(0);
    let out = tempfile::tempdir().unwrap();
    let start = || {
        program()
            .arg("report")
            .arg(fleet.path())
            .args(["--month", "2026-03", "--pdf", "none", "--out"])
            .arg(out.path())
            .stderr(Stdio::null())
            .spawn()
            .unwrap()
    };
    for _ in 0..10 {
        let mut both = [start(), start()];
        let ended = both.each_mut().map(|child| status(child.wait().unwrap()));
        assert!(ended.contains(&0) && ended.iter().all(|status| [0, 3].contains(status)), "{ended:?}");
        assert_same_files(&contents(&out.path().join("2026-03")), &contents(&alone.month()));
    }
    nothing_beside(out.path(), &[".lock", "2026-03"]);
}

/// How many runs are killed; `TUBWRIGHT_KILLS` asks for more.
const KILLS: u32 = 40;

#[cfg(unix)]
#[test]
fn kills_at_any_moment_leave_the_old_month_or_the_new() {
    let kills = std::env::var("TUBWRIGHT_KILLS").ok().and_then(|text| text.parse().ok()).unwrap_or(KILLS);
    let tools = tempfile::tempdir().unwrap();
    let good = renderer(tools.path(), A_PDF);
    let arguments = ["--typst", good.as_str(), "--force"];
    let mut fleets: Vec<Fleet> = Vec::new();
    for hours in ["2357", "2311"] {
        let mut fleet = Fleet::without_sites();
        for site in ["quay-house", "old-mill", "long-barn", "west-pier"] {
            fleet = fleet.file(&format!("sites/{site}.yaml"), SITE.replace("hours: 2357", &format!("hours: {hours}")));
        }
        fleets.push(fleet);
    }
    let whole: Vec<_> = fleets
        .iter()
        .map(|fleet| contents(&Run::report(fleet.path(), "2026-03", &arguments).expect_status(0).month()))
        .collect();
    assert_ne!(whole[0], whole[1]);
    let out = Run::report(fleets[0].path(), "2026-03", &arguments).expect_status(0).out;
    let begun = std::time::Instant::now();
    let out = Run::report_into(out, fleets[0].path(), "2026-03", &arguments).expect_status(0).out;
    let usual = begun.elapsed();
    let mut stream = ChaCha8Rng::seed_from_u64(12);
    let mut seen = [0, 0];
    for kill in 0..kills {
        let fleet = &fleets[kill as usize % 2];
        let mut child = program()
            .arg("report")
            .arg(fleet.path())
            .args(["--month", "2026-03", "--out"])
            .arg(out.path())
            .args(arguments)
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(Duration::from_secs_f64(usual.as_secs_f64() * stream.random_range(0.0..1.1)));
        let _ = child.kill();
        child.wait().unwrap();
        let now = contents(&out.path().join("2026-03"));
        let which = whole.iter().position(|whole| *whole == now);
        // Between the two steps of a swap on a file system that cannot exchange there may be none; here there is one.
        seen[which.unwrap_or_else(|| panic!("kill {kill}: the month is neither the old nor the new"))] += 1;
    }
    let last = Run::report_into(out, fleets[1].path(), "2026-03", &arguments).expect_status(0);
    assert_same_files(&contents(&last.month()), &whole[1]);
    nothing_beside(last.out.path(), &[".lock", "2026-03"]);
    assert!(seen[0] > 0, "{seen:?}");
}

/// Runs a shell script where it may mount file systems that nobody else sees; `None` where the system forbids that.
#[cfg(target_os = "linux")]
#[expect(clippy::print_stderr, reason = "a test that could not be made says so")]
fn with_mounts(script: &str) -> Option<String> {
    let allowed = Command::new("unshare").args(["-Urm", "true"]).output().is_ok_and(|ended| ended.status.success());
    if !allowed {
        eprintln!("skipped: `unshare -Urm` is not allowed here, so no small file system can be mounted");
        return None;
    }
    let ended = Command::new("unshare").args(["-Urm", "sh", "-c", script]).output().unwrap();
    let text = String::from_utf8_lossy(&ended.stdout).into_owned() + &String::from_utf8_lossy(&ended.stderr);
    assert!(ended.status.success(), "{text}");
    Some(text)
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_and_a_closed_folder_leave_the_month_as_it_was() {
    let fleet = Fleet::small();
    let out = tempfile::tempdir().unwrap();
    let script = format!(
        "set -u; mount -t tmpfs -o size=3m tmpfs {out}; \
         run() {{ {program} report {fleet} --month 2026-03 --pdf none --out {out} --force; echo status $?; }}; \
         state() {{ (cd {out}/2026-03 && find . -type f | sort | xargs sha256sum | sha256sum); ls -A {out}; }}; \
         run; state > /tmp/before.$$; \
         head -c 2950k /dev/zero > {out}/filler 2>/dev/null; dd if=/dev/zero of={out}/filler2 bs=1k 2>/dev/null; \
         run; rm {out}/filler {out}/filler2; state > /tmp/after.$$; cmp /tmp/before.$$ /tmp/after.$$ && echo unharmed; \
         mount -o remount,ro {out}; run; state > /tmp/after.$$; cmp /tmp/before.$$ /tmp/after.$$ && echo unharmed; \
         mount -o remount,rw {out}; run; state > /tmp/after.$$; cmp /tmp/before.$$ /tmp/after.$$ && echo unharmed; \
         rm -f /tmp/before.$$ /tmp/after.$$",
        out = out.path().display(),
        program = env!("CARGO_BIN_EXE_tubwright"),
        fleet = fleet.path().display(),
    );
    let Some(text) = with_mounts(&script) else { return };
    let statuses: Vec<&str> = text.lines().filter(|line| line.starts_with("status")).collect();
    assert_eq!(statuses, ["status 0", "status 2", "status 2", "status 0"], "{text}");
    assert_eq!(text.lines().filter(|line| *line == "unharmed").count(), 3, "{text}");
    assert!(text.contains("No space left on device") && text.contains("Read-only file system"), "{text}");
}
