//! Runs the typst program, which turns a report's text into a PDF.
//!
//! The renderer is somebody else's program fed with text from records, so it is kept on a short lead: no environment, no
//! network, one folder to read, a time limit, and what it wrote is looked at before it is believed. This is the only
//! file that starts a process. It must not know what a report says.

use std::ffi::OsString;
use std::io::{self, Read, Seek as _, SeekFrom};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::mpsc::{self, Receiver};
use std::sync::{Arc, LazyLock, Mutex, PoisonError};
use std::thread;
use std::time::Duration;

use fs_err as fs;
use wait_timeout::ChildExt as _;

use crate::digest::sha256;
use crate::interrupt::{Interrupted, Stop};
use crate::output::{OutputError, Pending, PrivateFolder};

mod stub;

pub use stub::{RecordedJob, StubTypesetter};

/// The releases whose command line and output this program was written against.
const SERIES: [u32; 2] = [0, 15];
/// What to tell somebody who has no renderer, or another one.
const INSTALL: &str = "install it with `cargo install --locked typst-cli --version 0.15.1`";
/// How the renderer is called, up to the folder of the fonts.
const BEFORE_FONTS: [&str; 7] = ["--color", "never", "compile", "--root", ".", "--ignore-system-fonts", "--font-path"];
/// How it goes on.
const BEHIND_FONTS: [&str; 6] = ["--pdf-standard", "ua-1,a-3a", "--jobs", "1", "--diagnostic-format", "short"];
/// The fonts the renderer may use, all of them inside the program.
const FONTS: [(&str, &[u8]); 3] = [
    ("fonts/NotoSans-Regular.ttf", ttf_noto_sans::REGULAR),
    ("fonts/NotoSans-Bold.ttf", ttf_noto_sans::BOLD),
    ("fonts/NotoSans-Italic.ttf", ttf_noto_sans::ITALIC),
];

/// How the renderer is called and with which fonts, as a text that changes whenever they do.
pub fn calling() -> &'static str {
    static CALLING: LazyLock<String> = LazyLock::new(|| {
        let fonts = FONTS.map(|(name, bytes)| format!("{name} {}", sha256(bytes)));
        [BEFORE_FONTS.join(" "), BEHIND_FONTS.join(" "), fonts.join(" ")].join(" ")
    });
    &CALLING
}

/// A port nobody listens on: a package import then fails at once instead of reaching the network.
const NO_PROXY_THERE: &str = "http://127.0.0.1:9";
/// How long one document may take unless told otherwise; the longest measured took 1.1 s.
const TIME_LIMIT: Duration = Duration::from_secs(60);
const VERSION_TIME_LIMIT: Duration = Duration::from_secs(10);
/// How often the stop flag is looked at.
const POLL: Duration = Duration::from_millis(50);
/// How long to wait for the rest of the messages once the renderer has ended.
const LAST_WORDS: Duration = Duration::from_millis(500);
/// Messages beyond this many bytes are read and dropped.
const MESSAGES_KEPT: usize = 16 * 1024;

/// One document to be made.
#[derive(Debug, Clone, Copy)]
pub struct Job<'a> {
    /// The private folder with everything the document reads; the renderer sees nothing outside it.
    pub build: &'a Path,
    /// The document's main file in that folder, such as `site.typ`.
    pub main: &'a str,
    /// Where the PDF goes. Folders above it are made; a file there is replaced in one step.
    pub pdf: &'a Path,
    /// The creation date written into the PDF, in seconds since 1970-01-01T00:00:00Z; never that of the run.
    pub timestamp: i64,
    /// What the document is about, for messages: a site's id.
    pub subject: &'a str,
}

/// Makes PDFs. The program uses [`Typst`]; tests that are not about PDFs use [`StubTypesetter`].
pub trait Typesetter: Sync {
    /// Makes one PDF, and returns the renderer's warnings if it had any.
    ///
    /// # Errors
    /// See [`TypesetError`]; the target is then as it was before.
    fn typeset(&self, job: &Job<'_>) -> Result<Option<String>, TypesetError>;

    /// The renderer's version, for the manifest.
    fn version(&self) -> String;
}

/// Why there is no PDF. Messages name no folder of this machine, since the manifest repeats them; whoever prints one for
/// the user at the terminal adds where the renderer's input was kept.
#[derive(Debug, thiserror::Error)]
pub enum TypesetError {
    /// The renderer reported an error.
    #[error("{subject}: the renderer found an error:\n{text}")]
    Failed {
        /// The job's subject.
        subject: String,
        /// The renderer's messages.
        text: String,
    },
    /// The renderer was ended because it took too long.
    #[error("{subject}: the renderer was stopped after {} s", limit.as_secs_f64())]
    TimedOut {
        /// The job's subject.
        subject: String,
        /// The time limit.
        limit: Duration,
    },
    /// The renderer reported success, but there is no whole PDF.
    #[error("{subject}: the renderer reported success but wrote {what}")]
    NotPdf {
        /// The job's subject.
        subject: String,
        /// What was found.
        what: &'static str,
    },
    /// The renderer could not be started or waited for.
    #[error("{subject}: the renderer could not be run: {error}")]
    Run {
        /// The job's subject.
        subject: String,
        /// What the operating system said.
        error: io::Error,
    },
    /// The PDF's place could not be written to.
    #[error(transparent)]
    Output(#[from] OutputError),
    /// The run was asked to end.
    #[error(transparent)]
    Interrupted(#[from] Interrupted),
}

/// Why no renderer can be used. Messages name no folder of this machine.
#[derive(Debug, thiserror::Error)]
pub enum FindError {
    /// There is none.
    #[error("no typst found in --typst, TYPST, PATH or Cargo's bin folder; {INSTALL}")]
    NotFound,
    /// One was named, but there is no program of that name.
    #[error("{source_name} names no program that can be run ({error}); {INSTALL}")]
    NotRunnable {
        /// Where the program was named.
        source_name: &'static str,
        /// What went wrong.
        error: String,
    },
    /// There is one of another release.
    #[error("the typst of {source_name} is {found}, and 0.15 is needed; {INSTALL}")]
    WrongVersion {
        /// Where the program was found.
        source_name: &'static str,
        /// What it says of itself.
        found: String,
    },
    /// The fonts could not be laid out for the renderer.
    #[error(transparent)]
    Output(#[from] OutputError),
    /// The run was asked to end.
    #[error(transparent)]
    Interrupted(#[from] Interrupted),
}

/// Where to look for the renderer, in this order.
#[derive(Debug, Clone, Default)]
pub struct Places {
    /// The program named by `--typst`. If given, it is used or refused; no other is looked for.
    pub flag: Option<PathBuf>,
    /// The program named by the variable `TYPST`; the same holds.
    pub variable: Option<OsString>,
    /// The variable `PATH`.
    pub search_path: Option<OsString>,
    /// The variable `CARGO_HOME`, whose `bin` is looked in last: cron's `PATH` does not have it.
    pub cargo_home: Option<OsString>,
    /// The variable `HOME`, where `.cargo` stands in for a missing `CARGO_HOME`.
    pub home: Option<OsString>,
}

impl Places {
    /// The places this process's environment names.
    pub fn from_environment(flag: Option<&Path>) -> Places {
        let variable = |name| std::env::var_os(name).filter(|value: &OsString| !value.is_empty());
        Places {
            flag: flag.map(Path::to_owned),
            variable: variable("TYPST"),
            search_path: variable("PATH"),
            cargo_home: variable("CARGO_HOME"),
            home: variable("HOME"),
        }
    }

    /// The program somebody named.
    fn named(&self) -> Option<(&'static str, PathBuf)> {
        let variable = || self.variable.as_ref().map(|path| ("TYPST", PathBuf::from(path)));
        self.flag.as_ref().map(|path| ("--typst", path.clone())).or_else(variable)
    }

    /// The programs there are in the folders searched.
    fn searched(&self) -> Vec<(&'static str, PathBuf)> {
        let file = format!("typst{}", std::env::consts::EXE_SUFFIX);
        let path = self.search_path.iter().flat_map(std::env::split_paths).map(|folder| ("PATH", folder));
        let home = self.home.as_ref().map(|home| Path::new(home).join(".cargo"));
        let cargo = self.cargo_home.as_ref().map(PathBuf::from).or(home);
        path.chain(cargo.map(|cargo| ("Cargo's bin folder", cargo.join("bin"))))
            // A relative entry would make it depend on where the run was started.
            .filter(|(_, folder)| folder.is_absolute())
            .map(|(source, folder)| (source, folder.join(&file)))
            .filter(|(_, program)| program.is_file())
            .collect()
    }
}

/// The typst program, checked, with the fonts it may use.
#[derive(Debug)]
pub struct Typst {
    program: PathBuf,
    version: String,
    private: PrivateFolder,
    packages: PathBuf,
    time_limit: Duration,
    stop: Stop,
}

impl Typst {
    /// Finds a renderer of the right release and lays out the fonts for it, once per run.
    ///
    /// # Errors
    /// [`FindError`], which says what to install.
    pub fn find(places: &Places, stop: Stop) -> Result<Typst, FindError> {
        let (program, version) = match places.named() {
            Some((source, program)) => Self::check(source, &program, &stop)?,
            None => Self::search(places, &stop)?,
        };
        let private = PrivateFolder::new()?;
        for (name, bytes) in FONTS {
            private.write(name, bytes)?;
        }
        let packages = private.folder("packages")?;
        Ok(Typst { program, version, private, packages, time_limit: TIME_LIMIT, stop })
    }

    /// Sets how long one document may take.
    #[must_use]
    pub fn with_time_limit(self, time_limit: Duration) -> Typst {
        Typst { time_limit, ..self }
    }

    /// The first program that will do; if none does, what is wrong with the first.
    fn search(places: &Places, stop: &Stop) -> Result<(PathBuf, String), FindError> {
        let mut first_error = None;
        for (source, program) in places.searched() {
            match Self::check(source, &program, stop) {
                Ok(found) => return Ok(found),
                Err(FindError::Interrupted(interrupted)) => return Err(interrupted.into()),
                Err(error) => first_error = first_error.or(Some(error)),
            }
        }
        Err(first_error.unwrap_or(FindError::NotFound))
    }

    fn check(source_name: &'static str, program: &Path, stop: &Stop) -> Result<(PathBuf, String), FindError> {
        let not_runnable = |error: String| FindError::NotRunnable { source_name, error };
        // Absolute, because the renderer is started in another folder than this run.
        let program = std::path::absolute(program).map_err(|error| not_runnable(error.to_string()))?;
        #[expect(clippy::disallowed_methods, reason = "this is the file that may start a process")]
        let mut command = Command::new(&program);
        command.arg("--version").env_clear();
        let ended = match run(&mut command, VERSION_TIME_LIMIT, stop) {
            Ok(ended) => ended,
            Err(RunError::Io(error)) => return Err(not_runnable(error.to_string())),
            Err(RunError::TimedOut) => return Err(not_runnable("no answer to --version".to_owned())),
            Err(RunError::Interrupted(interrupted)) => return Err(interrupted.into()),
        };
        let first_line = ended.output.lines().next().unwrap_or_default().trim();
        if !ended.status.success() || first_line.is_empty() {
            return Err(not_runnable("it does not say its version".to_owned()));
        }
        match version_of(first_line) {
            Some(version) => Ok((program, version)),
            None => Err(FindError::WrongVersion { source_name, found: format!("`{first_line}`") }),
        }
    }

    fn command(&self, job: &Job<'_>, build: &Path, pdf: &Path) -> Command {
        #[expect(clippy::disallowed_methods, reason = "this is the file that may start a process")]
        let mut command = Command::new(&self.program);
        // The renderer takes settings from a dozen variables; none of them may change a report.
        command.env_clear().env("HTTPS_PROXY", NO_PROXY_THERE).current_dir(build);
        // In `BEFORE_FONTS`, `--color` belongs to the program and not to the subcommand, so it comes first.
        command.args(BEFORE_FONTS).arg(self.private.path().join("fonts")).args(BEHIND_FONTS);
        // One word, so that a date before 1970 is not taken for an option.
        command.arg(format!("--creation-timestamp={}", job.timestamp));
        command.arg("--package-path").arg(&self.packages).arg("--package-cache-path").arg(&self.packages);
        command.arg(job.main).arg(pdf);
        command
    }
}

/// The version in `typst 0.15.1 (...)` if it is one of the series this program knows. Release candidates are not.
fn version_of(line: &str) -> Option<String> {
    let version = line.strip_prefix("typst ")?.split_whitespace().next()?;
    let numbers = version.split('.').map(str::parse).collect::<Result<Vec<u32>, _>>().ok()?;
    (numbers.len() == 3 && numbers.starts_with(&SERIES)).then(|| version.to_owned())
}

impl Typesetter for Typst {
    fn typeset(&self, job: &Job<'_>) -> Result<Option<String>, TypesetError> {
        self.stop.check()?;
        let subject = || job.subject.to_owned();
        let absolute =
            |path| std::path::absolute(path).map_err(|error| TypesetError::Run { subject: subject(), error });
        let build = absolute(job.build)?;
        // The renderer writes in place, so a kill would leave half a file: let it write elsewhere and rename.
        let pending = Pending::beside(&absolute(job.pdf)?)?;
        let ended = match run(&mut self.command(job, &build, pending.path()), self.time_limit, &self.stop) {
            Ok(ended) => ended,
            Err(RunError::Io(error)) => return Err(TypesetError::Run { subject: subject(), error }),
            Err(RunError::TimedOut) => {
                return Err(TypesetError::TimedOut { subject: subject(), limit: self.time_limit });
            }
            Err(RunError::Interrupted(interrupted)) => return Err(interrupted.into()),
        };
        let text = tidy(&ended.messages, &build);
        if !ended.status.success() {
            // A terminal sends its interrupt to the renderer too; then its end is ours.
            self.stop.check()?;
            let text = if text.is_empty() { format!("no message, {}", ended.status) } else { text };
            return Err(TypesetError::Failed { subject: subject(), text });
        }
        match fault_of_pdf(pending.path()) {
            Ok(None) => {}
            Ok(Some(what)) => return Err(TypesetError::NotPdf { subject: subject(), what }),
            Err(error) => return Err(OutputError::from(error).into()),
        }
        pending.persist()?;
        Ok((!text.is_empty()).then_some(text))
    }

    fn version(&self) -> String {
        self.version.clone()
    }
}

/// What is wrong with the file as a PDF (ISO 32000, 7.5.2 and 7.5.5: first and last line); `None` if nothing is.
fn fault_of_pdf(path: &Path) -> io::Result<Option<&'static str>> {
    let mut file = match fs::File::open(path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Some("no file")),
        other => other?,
    };
    let length = file.metadata()?.len();
    if length == 0 {
        return Ok(Some("no file"));
    }
    let mut head = Vec::new();
    file.by_ref().take(5).read_to_end(&mut head)?;
    if head != b"%PDF-" {
        return Ok(Some("something that is not a PDF"));
    }
    let mut tail = Vec::new();
    file.seek(SeekFrom::Start(length.saturating_sub(1024)))?;
    file.read_to_end(&mut tail)?;
    let whole = tail.windows(5).any(|window| window == b"%%EOF");
    Ok(if whole { None } else { Some("half a PDF") })
}

/// The renderer's messages without this machine's folders, and without what would steer a terminal.
fn tidy(messages: &str, build: &Path) -> String {
    let folder = format!("{}{}", build.display(), std::path::MAIN_SEPARATOR);
    let text = messages.replace(&folder, "").replace('\r', "");
    let visible = |c: char| if c.is_control() && c != '\n' { ' ' } else { c };
    text.trim().chars().map(visible).collect()
}

struct Ended {
    status: ExitStatus,
    output: String,
    messages: String,
}

enum RunError {
    Io(io::Error),
    TimedOut,
    Interrupted(Interrupted),
}

/// Runs a command to its end, to the time limit, or to the moment the run is asked to stop; it never outlives this call.
fn run(command: &mut Command, limit: Duration, stop: &Stop) -> Result<Ended, RunError> {
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().map_err(RunError::Io)?;
    let output = child.stdout.take().map(drain);
    let messages = child.stderr.take().map(drain);
    let waited = wait(&mut child, limit, stop);
    if waited.is_err() {
        // Either may fail because the child has just ended by itself, which is all that is wanted.
        let _ = child.kill();
        let _ = child.wait();
    }
    let status = waited?;
    Ok(Ended { status, output: collect(output), messages: collect(messages) })
}

fn wait(child: &mut Child, limit: Duration, stop: &Stop) -> Result<ExitStatus, RunError> {
    // Counted down rather than compared with a clock: nothing in a run may depend on one.
    let mut left = limit;
    loop {
        let slice = left.min(POLL);
        if let Some(status) = child.wait_timeout(slice).map_err(RunError::Io)? {
            return Ok(status);
        }
        stop.check().map_err(RunError::Interrupted)?;
        left = left.saturating_sub(slice);
        if left.is_zero() {
            return Err(RunError::TimedOut);
        }
    }
}

/// A pipe being read by a thread, so that a full pipe never holds up the renderer.
struct Drained {
    kept: Arc<Mutex<Vec<u8>>>,
    ended: Receiver<()>,
}

fn drain(mut pipe: impl Read + Send + 'static) -> Drained {
    let kept = Arc::new(Mutex::new(Vec::new()));
    let (end, ended) = mpsc::channel::<()>();
    let shared = Arc::clone(&kept);
    thread::spawn(move || {
        // Dropped when the thread ends, which is what the receiver waits for.
        let _end = end;
        let mut buffer = [0; 4096];
        while let Ok(count @ 1..) = pipe.read(&mut buffer) {
            let mut kept = shared.lock().unwrap_or_else(PoisonError::into_inner);
            let room = MESSAGES_KEPT.saturating_sub(kept.len()).min(count);
            kept.extend_from_slice(&buffer[..room]);
        }
    });
    Drained { kept, ended }
}

/// What was read. A process the renderer left behind may hold the pipe open, so the wait for its end has an end.
fn collect(drained: Option<Drained>) -> String {
    let Some(Drained { kept, ended }) = drained else { return String::new() };
    let _ = ended.recv_timeout(LAST_WORDS);
    String::from_utf8_lossy(&kept.lock().unwrap_or_else(PoisonError::into_inner)).into_owned()
}

#[cfg(test)]
#[cfg(unix)]
mod tests;
