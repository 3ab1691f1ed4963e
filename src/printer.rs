//! What the program says: diagnostics and progress to standard error, data asked for to standard
//! output. The only file that writes to either.

use std::io::{IsTerminal, Write};

use crate::cli::{Format, Saying};
use crate::diagnostic::{Diagnostic, Severity};
use crate::usage::Clock;

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

    /// A question, answered on the same line.
    pub fn question(self, text: &str) {
        let mut out = std::io::stderr().lock();
        let _ = write!(out, "{text}");
        let _ = out.flush();
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

    /// What a stage took, if asked.
    pub fn stage(self, name: &str, clock: Clock) {
        self.verbose(&format!("{name}: {}", clock.in_words()));
    }

    /// A line for those who want to know more.
    pub fn verbose(self, text: &str) {
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

impl Printer {
    /// A diagnostic an earlier run recorded, as one line or, if asked for, as it was.
    pub fn recorded_diagnostic(self, recorded: &serde_json::Value) {
        if self.saying.quiet >= 2 {
            return;
        }
        if self.saying.format == Format::Json {
            self.data(&recorded.to_string());
            return;
        }
        let text = |name: &str| recorded[name].as_str().unwrap_or_default().to_owned();
        let place: String = [text("file"), recorded["line"].to_string(), recorded["column"].to_string()]
            .into_iter()
            .take_while(|part| !part.is_empty() && part != "null")
            .collect::<Vec<_>>()
            .join(":");
        let more: String = ["hint", "left_out"]
            .map(text)
            .iter()
            .filter(|more| !more.is_empty())
            .map(|more| format!("; {more}"))
            .collect();
        self.problem(&format!("{place}: {}[{}]: {}{more}", text("severity"), text("rule"), text("message")));
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
