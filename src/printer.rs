//! What the program says: diagnostics and progress to standard error, data asked for to standard
//! output. The only file that writes to either.

use std::io::{IsTerminal, Write};

use crate::cli::{Format, Saying};
use crate::diagnostic::{Diagnostic, Severity};

/// Says things as loudly as was asked.
#[derive(Debug, Clone, Copy)]
pub struct Printer {
    saying: Saying,
    terminal: bool,
}

impl Printer {
    /// A printer for this process.
    pub fn new(saying: Saying) -> Self {
        Self { saying, terminal: std::io::stderr().is_terminal() }
    }

    /// Data that was asked for. A reader that went away is no error.
    pub fn data(self, text: &str) {
        let _ = writeln!(std::io::stdout().lock(), "{text}");
    }

    /// A line of how it goes: only on a terminal.
    pub fn progress(self, text: &str) {
        if self.terminal && self.saying.quiet == 0 {
            let _ = writeln!(std::io::stderr().lock(), "{text}");
        }
    }

    /// The last line of a run: said unless quiet.
    pub fn summary(self, text: &str) {
        if self.saying.quiet == 0 {
            let _ = writeln!(std::io::stderr().lock(), "{text}");
        }
    }

    /// A thing that somebody must know, in one line.
    pub fn problem(self, text: &str) {
        if self.saying.quiet < 2 {
            let _ = writeln!(std::io::stderr().lock(), "{text}");
        }
    }

    /// How long a stage took, if asked.
    pub fn stage(self, text: &str) {
        if self.saying.verbose > 0 {
            let _ = writeln!(std::io::stderr().lock(), "{text}");
        }
    }

    /// Diagnostics in the form asked for.
    pub fn diagnostics(self, diagnostics: &[Diagnostic]) {
        if self.saying.quiet >= 2 {
            return;
        }
        let full = match self.saying.format {
            Format::Json => {
                for diagnostic in diagnostics {
                    self.data(&diagnostic.as_json().to_string());
                }
                return;
            }
            Format::Full => true,
            Format::Short => false,
            Format::Auto => self.terminal,
        };
        let colour = self.terminal && std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty());
        let mut out = std::io::stderr().lock();
        for diagnostic in diagnostics {
            let _ = if full {
                writeln!(out, "{}\n", diagnostic.full(colour))
            } else {
                writeln!(out, "{}", diagnostic.one_line())
            };
        }
    }
}

/// How many errors and warnings, in words.
pub fn count(diagnostics: &[Diagnostic]) -> String {
    let errors = diagnostics.iter().filter(|d| d.severity == Severity::Error).count();
    let warnings = diagnostics.len() - errors;
    let plural = |n: usize, word: &str| if n == 1 { format!("1 {word}") } else { format!("{n} {word}s") };
    match (errors, warnings) {
        (0, 0) => "no problems".to_owned(),
        (0, warnings) => plural(warnings, "warning"),
        (errors, 0) => plural(errors, "error"),
        (errors, warnings) => format!("{}, {}", plural(errors, "error"), plural(warnings, "warning")),
    }
}
