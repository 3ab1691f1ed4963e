//! The renderer kept on its lead: shell scripts that misbehave, and the real program if there is one.

use std::os::unix::fs::PermissionsExt as _;
use std::sync::MutexGuard;

use super::*;

/// One test at a time: while one thread starts a program, another must not have a script open for writing, or the
/// system refuses to run that script.
static ONE: Mutex<()> = Mutex::new(());

/// A renderer of our own making, its input, and a place for the PDF.
struct Bench {
    folder: tempfile::TempDir,
    _one: MutexGuard<'static, ()>,
}

impl Bench {
    fn new(source: &str) -> Bench {
        let one = ONE.lock().unwrap_or_else(PoisonError::into_inner);
        let bench = Bench { folder: tempfile::tempdir().unwrap(), _one: one };
        fs::create_dir(bench.build()).unwrap();
        fs::write(bench.build().join("site.typ"), source).unwrap();
        bench
    }

    fn build(&self) -> PathBuf {
        self.folder.path().join("build")
    }

    fn pdf(&self) -> PathBuf {
        self.folder.path().join("out/quay-house/report.pdf")
    }

    /// Writes `name` as a program that says `version` when asked, and otherwise does `body` with `$pdf` set.
    fn script(&self, name: &str, version: &str, body: &str) -> PathBuf {
        let path = self.folder.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        let text = format!(
            "#!/bin/sh\nif [ \"$1\" = --version ]; then echo '{version}'; exit 0; fi\n\
             for pdf in \"$@\"; do :; done\n{body}\n"
        );
        fs::write(&path, text).unwrap();
        fs::set_permissions(&path, std::fs::Permissions::from_mode(0o755)).unwrap();
        path
    }

    fn typst(&self, body: &str, stop: Stop) -> Typst {
        let flag = Some(self.script("typst", "typst 0.15.1 (test)", body));
        Typst::find(&Places { flag, ..Places::default() }, stop).unwrap()
    }

    fn typeset(&self, typst: &Typst) -> Result<Option<String>, TypesetError> {
        let (build, pdf) = (self.build(), self.pdf());
        typst.typeset(&Job {
            build: &build,
            main: "site.typ",
            pdf: &pdf,
            timestamp: 1_793_404_800,
            subject: "quay-house",
        })
    }

    /// The files in the PDF's folder.
    fn written(&self) -> Vec<String> {
        let Ok(entries) = fs::read_dir(self.pdf().parent().unwrap()) else { return Vec::new() };
        entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect()
    }
}

const WRITE: &str = "printf '%%PDF-1.7\\n%%%%EOF\\n' > \"$pdf\"";

#[test]
fn a_good_renderer_gets_its_arguments_and_nothing_else() {
    let bench = Bench::new("");
    let body = format!("(pwd; echo \"$@\"; env) > seen; {WRITE}");
    assert_eq!(bench.typeset(&bench.typst(&body, Stop::never())).unwrap(), None);
    assert_eq!(bench.written(), ["report.pdf"]);
    let seen = fs::read_to_string(bench.build().join("seen")).unwrap();
    let lines: Vec<&str> = seen.lines().collect();
    assert_eq!(Path::new(lines[0]).canonicalize().unwrap(), bench.build().canonicalize().unwrap());
    for part in [
        "--color never compile --root . --ignore",
        "--pdf-standard ua-1,a-3a --jobs 1",
        "--creation-timestamp=1793404800 ",
    ] {
        assert!(lines[1].contains(part), "{part} in {}", lines[1]);
    }
    // The shell itself sets the last three.
    let known = ["HTTPS_PROXY=http://127.0.0.1:9", "PWD=", "SHLVL=", "_=", "OLDPWD="];
    for variable in &lines[2..] {
        assert!(known.iter().any(|known| variable.starts_with(known)), "{variable}");
    }
    assert!(lines[2..].contains(&known[0]));
    let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode(&bench.pdf()), mode(&bench.build().join("seen")), "as the umask says");
}

#[test]
fn a_warning_is_returned_without_folders_or_terminal_codes() {
    let bench = Bench::new("");
    let body = format!("printf '%s/site.typ:1:1: warning: odd \\033[31mfont\\n' \"$(pwd -P)\" >&2; {WRITE}");
    let typst = bench.typst(&body, Stop::never());
    assert_eq!(bench.typeset(&typst).unwrap().unwrap(), "site.typ:1:1: warning: odd  [31mfont");
}

#[test]
fn an_error_is_reported_with_its_text_and_the_old_pdf_stays() {
    let bench = Bench::new("");
    fs::create_dir_all(bench.pdf().parent().unwrap()).unwrap();
    fs::write(bench.pdf(), "old").unwrap();
    let body = format!("{WRITE}; echo 'site.typ:3:2: error: no such field' >&2; exit 1");
    let error = bench.typeset(&bench.typst(&body, Stop::never())).unwrap_err();
    assert_eq!(error.to_string(), "quay-house: the renderer found an error:\nsite.typ:3:2: error: no such field");
    assert_eq!(fs::read_to_string(bench.pdf()).unwrap(), "old");
    assert_eq!(bench.written(), ["report.pdf"]);
}

#[test]
fn an_error_without_a_message_says_how_it_ended() {
    let bench = Bench::new("");
    let error = bench.typeset(&bench.typst("kill -9 $$", Stop::never())).unwrap_err();
    assert!(error.to_string().contains("no message, signal: 9"), "{error}");
}

#[test]
fn success_is_not_believed_without_a_whole_pdf() {
    let bench = Bench::new("");
    for (body, what) in [
        ("exit 0", "no file"),
        ("rm \"$pdf\"", "no file"),
        ("echo rubbish > \"$pdf\"", "something that is not a PDF"),
        ("printf '%%PDF-1.7\\n' > \"$pdf\"", "half a PDF"),
    ] {
        let error = bench.typeset(&bench.typst(body, Stop::never())).unwrap_err();
        assert!(matches!(error, TypesetError::NotPdf { what: found, .. } if found == what), "{body}: {error}");
        assert_eq!(bench.written(), [""; 0], "{body}");
    }
}

#[test]
fn a_hanging_renderer_is_ended_even_if_it_leaves_a_child_with_its_pipes() {
    let bench = Bench::new("");
    let typst = bench.typst("echo $$ > pid; sleep 20", Stop::never()).with_time_limit(Duration::from_secs(1));
    let started = std::time::Instant::now();
    let error = bench.typeset(&typst).unwrap_err();
    assert_eq!(error.to_string(), "quay-house: the renderer was stopped after 1 s");
    assert!(started.elapsed() < Duration::from_secs(10));
    assert_eq!(bench.written(), [""; 0]);
    let pid = fs::read_to_string(bench.build().join("pid")).unwrap();
    assert!(!Path::new("/proc").join(pid.trim()).exists(), "ended and reaped");
}

#[test]
fn a_flood_of_messages_neither_blocks_nor_fills_the_memory() {
    let bench = Bench::new("");
    let body = format!(
        "i=0; while [ $i -lt 4000 ]; do echo 0123456789012345678901234567890123456789 >&2; i=$((i+1)); done; {WRITE}"
    );
    let text = bench.typeset(&bench.typst(&body, Stop::never())).unwrap().unwrap();
    assert!(text.len() <= MESSAGES_KEPT && text.len() > MESSAGES_KEPT - 50, "{}", text.len());
}

#[test]
fn a_stop_ends_the_renderer_and_the_next_is_not_started() {
    let bench = Bench::new("");
    let stop = Stop::never();
    let typst = bench.typst("sleep 20", stop.clone());
    let started = std::time::Instant::now();
    thread::scope(|scope| {
        let job = scope.spawn(|| bench.typeset(&typst));
        thread::sleep(Duration::from_millis(200));
        stop.request(15);
        assert!(matches!(job.join().unwrap(), Err(TypesetError::Interrupted(Interrupted { signal: 15 }))));
    });
    assert!(matches!(bench.typeset(&typst), Err(TypesetError::Interrupted(_))));
    assert!(started.elapsed() < Duration::from_secs(10));
}

#[test]
fn the_renderer_is_looked_for_in_order_and_a_named_one_must_do() {
    let bench = Bench::new("");
    let root = bench.folder.path();
    let find = |places: &Places| Typst::find(places, Stop::never());
    let mut places = Places::default();
    let error = find(&places).unwrap_err();
    assert!(error.to_string().contains("cargo install --locked typst-cli --version 0.15.1"), "{error}");

    bench.script("home/.cargo/bin/typst", "typst 0.15.3", "");
    places.home = Some(root.join("home").into());
    assert_eq!(find(&places).unwrap().version(), "0.15.3");
    bench.script("cargo/bin/typst", "typst 0.15.4", "");
    places.cargo_home = Some(root.join("cargo").into());
    assert_eq!(find(&places).unwrap().version(), "0.15.4");
    // One of the wrong release in PATH is passed over while there is a right one.
    bench.script("old/typst", "typst 0.13.1 (test)", "");
    places.search_path = Some(std::env::join_paths([Path::new("bin"), &root.join("old")]).unwrap());
    assert_eq!(find(&places).unwrap().version(), "0.15.4");
    places.variable = Some(bench.script("named", "typst 0.15.5", "").into());
    assert_eq!(find(&places).unwrap().version(), "0.15.5");

    places.flag = Some(root.join("old/typst"));
    let error = find(&places).unwrap_err().to_string();
    assert!(error.contains("the typst of --typst is `typst 0.13.1 (test)`, and 0.15 is needed"), "{error}");
    places.flag = Some(root.join("missing"));
    assert!(matches!(find(&places), Err(FindError::NotRunnable { source_name: "--typst", .. })));
}

#[test]
fn only_releases_of_the_series_are_accepted() {
    assert_eq!(version_of("typst 0.15.1 (unknown commit)").as_deref(), Some("0.15.1"));
    for line in ["typst 0.16.0", "typst 0.15.0-rc.1", "typst 1.0.15", "typst 0.15", "biber 0.15.1", ""] {
        assert_eq!(version_of(line), None, "{line}");
    }
}

/// With the real renderer if this machine has one; `None`, saying so, if not.
#[expect(clippy::print_stderr, reason = "a test that is left out says so")]
fn real() -> Option<Typst> {
    match Typst::find(&Places::from_environment(None), Stop::never()) {
        Ok(typst) => Some(typst),
        Err(error) => {
            eprintln!("left out: {error}");
            None
        }
    }
}

const DOCUMENT: &str = "#set document(title: \"Quay House\", date: datetime(year: 2026, month: 10, day: 31))\n\
    #set text(font: \"Noto Sans\", lang: \"en\")\n= Quay House\nWater *turned over* _daily_.\n";

#[test]
fn the_real_renderer_makes_the_same_pdf_twice_without_a_warning() {
    let bench = Bench::new(DOCUMENT);
    let Some(typst) = real() else { return };
    assert_eq!(bench.typeset(&typst).unwrap(), None);
    let first = fs::read(bench.pdf()).unwrap();
    assert_eq!(bench.typeset(&typst).unwrap(), None);
    assert_eq!(fs::read(bench.pdf()).unwrap(), first);
    assert_eq!(bench.written(), ["report.pdf"]);
}

#[test]
fn the_real_renderer_reaches_neither_the_network_nor_other_folders() {
    let Some(typst) = real() else { return };
    for (line, expected) in [
        ("#import \"@preview/example:0.1.0\": *", "failed to download package"),
        ("#read(\"../secret\")", "would escape the project root"),
        ("#read(\"/../secret\")", "would escape the project root"),
    ] {
        let bench = Bench::new(&format!("{DOCUMENT}{line}\n"));
        fs::write(bench.folder.path().join("secret"), "secret").unwrap();
        let error = bench.typeset(&typst).unwrap_err().to_string();
        assert!(error.contains(expected), "{line}: {error}");
        assert!(!error.contains(&*bench.folder.path().to_string_lossy()), "{line}: {error}");
    }
}
