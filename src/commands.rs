//! What the program does: one file a command, glue only.

pub mod add;
pub mod add_sheet;
pub mod check;
pub mod completions;
pub mod demo;
pub mod explain;
pub mod man;
pub mod new;
pub mod plan;
pub mod quote;
pub mod report;
pub mod schema;
pub mod swap;
pub mod verify;

use std::path::Path;

use crate::cli::{Cli, Command, Pdf};
use crate::interrupt::{Interrupted, Stop};
use crate::output::OutputError;
use crate::printer::{Printer, count};
use crate::records::load::{LoadError, Shared};
use crate::report::document::{Lacking, Problem};
use crate::report::typst::{Places, Typst};

/// Runs what was typed and gives the exit status.
pub fn run(cli: &Cli, stop: &Stop) -> u8 {
    let printer = Printer::new(cli.saying);
    let result = match &cli.command {
        Command::Check(arguments) => check::run(arguments, printer),
        Command::Report(arguments) => report::run(arguments, printer, stop),
        Command::Quote(arguments) => quote::run(arguments, printer, stop),
        Command::Verify(arguments) => verify::run(arguments, printer),
        Command::Explain(arguments) => explain::run(arguments, printer),
        Command::Demo(arguments) => demo::run(arguments, printer),
        Command::Schema(arguments) => schema::run(arguments, printer),
        Command::Completions(arguments) => completions::run(arguments, printer),
        Command::Man(arguments) => man::run(arguments, printer),
        Command::Add(arguments) => add::run(arguments, printer),
        Command::New(arguments) => new::run(arguments, printer),
        Command::Swap(arguments) => swap::run(arguments, printer),
        Command::Plan(arguments) => plan::run(arguments, printer, stop),
    };
    match result {
        Ok(status) => status,
        Err(failure) => {
            printer.problem(&format!("error: {}", told_once(&failure.error)));
            failure.status
        }
    }
}

/// The shared files of a fleet; `None` where they must be mended first, which is then told.
fn load(fleet: &Path, printer: Printer) -> Result<Option<Shared>, Failure> {
    match Shared::load(fleet) {
        Ok(shared) => Ok(Some(shared)),
        Err(LoadError::Unusable(file, diagnostics)) => {
            printer.diagnostics(&diagnostics);
            printer.summary(&format!("{}; {file} must be mended first", count(&diagnostics)));
            Ok(None)
        }
        Err(error) => Err(Failure::new(error)),
    }
}

fn failure(message: String) -> Failure {
    Failure::new(anyhow::Error::msg(message))
}

/// The renderer, where PDFs are asked for; one that cannot be used is told, and every PDF is then left out.
fn renderer(
    pdf: Pdf,
    named: Option<&Path>,
    printer: Printer,
    stop: &Stop,
    left_out: &mut Vec<String>,
) -> Option<Typst> {
    if pdf == Pdf::None {
        return None;
    }
    match Typst::find(&Places::from_environment(named), stop.clone()) {
        Ok(found) => Some(found),
        Err(error) => {
            printer.problem(&format!("error: no PDF can be made: {error}"));
            left_out.push(format!("every PDF: {error}"));
            None
        }
    }
}

/// Tells of problems of documents; what cost a document counts as left out.
fn tell(problems: impl IntoIterator<Item = Problem>, printer: Printer, left_out: &mut Vec<String>) {
    let mut lacking: Vec<Lacking> = Vec::new();
    for problem in problems {
        if let Some(of_one) = problem.lacking {
            lacking.push(of_one);
            continue;
        }
        let kind = if problem.costs { "error: " } else { "warning: " };
        printer.problem(&format!("{kind}{}", problem.text));
        if problem.costs {
            left_out.push(problem.text);
        }
    }
    lacking.sort();
    for of_subject in lacking.chunk_by(|a, b| a.subject == b.subject) {
        let documents: Vec<String> = of_subject.iter().map(|one| format!("{} {}", one.document, one.texts)).collect();
        printer.problem(&format!(
            "warning: {}: texts with characters the reports' font lacks, which print as □: {}",
            of_subject[0].subject,
            documents.join(", ")
        ));
    }
}

/// An error with its causes, each said once: some say their cause themselves.
fn told_once(error: &anyhow::Error) -> String {
    let mut says = error.to_string();
    for cause in error.chain().skip(1).map(ToString::to_string) {
        if !says.contains(&cause) {
            says = format!("{says}: {cause}");
        }
    }
    says
}

/// Why a command ended without doing what it was asked.
#[derive(Debug)]
pub struct Failure {
    /// The chain of causes.
    pub error: anyhow::Error,
    /// The exit status.
    pub status: u8,
}

impl Failure {
    /// A failure that leaves nothing written.
    pub fn new(error: impl Into<anyhow::Error>) -> Self {
        Self { error: error.into(), status: 2 }
    }
}

impl From<OutputError> for Failure {
    fn from(error: OutputError) -> Self {
        Self { status: error.exit_status(), error: error.into() }
    }
}

impl From<Interrupted> for Failure {
    fn from(stopped: Interrupted) -> Self {
        Self { status: stopped.exit_status(), error: stopped.into() }
    }
}
