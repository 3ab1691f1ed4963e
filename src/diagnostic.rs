//! Diagnostics: what is wrong or odd in the user's records, where, and what would be right.
//!
//! A diagnostic is about records and is collected; an error ends an operation and is returned. One
//! type, several renderers: with excerpt and caret for people, one line for cron, JSON for editors.

use std::fmt::Write;

use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};
use serde::Serialize;

/// A place in a file's text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Serialize)]
pub struct Spot {
    /// The line, from 1.
    pub line: usize,
    /// The column in characters, from 1.
    pub column: usize,
    /// How many characters are meant.
    pub length: usize,
}

/// How bad it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// It cannot be understood; what it concerns is left out.
    Error,
    /// It is implausible or unlike the usual.
    Warning,
}

macro_rules! rules {
    ($($(#[$doc:meta])* $name:ident = $word:literal, $about:literal;)+) => {
        /// What a diagnostic is about, by its stable name.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Rule { $($(#[$doc])* $name),+ }

        impl Rule {
            /// Every rule.
            pub const ALL: &'static [Self] = &[$(Self::$name),+];

            /// The stable name: `counter-backwards`.
            pub fn name(self) -> &'static str {
                match self { $(Self::$name => $word),+ }
            }

            /// What the rule asks and why.
            pub fn about(self) -> &'static str {
                match self { $(Self::$name => $about),+ }
            }
        }
    };
}

rules! {
    /// The text is not a YAML document of format 1.
    NotYaml = "not-yaml", "A record is one YAML 1.2 document without anchors, aliases or tags. What cannot be read as one is left out whole.";
    /// A key stands twice in one mapping.
    RepeatedKey = "repeated-key", "A key may stand once in a mapping: of two values nobody can say which was meant.";
    /// A field that nothing reads.
    UnknownField = "unknown-field", "A field that nothing reads is an error, for a misspelt field would otherwise be a silent gap. `note` and keys that begin `x-` may stand anywhere.";
    /// A field that must be there is not.
    MissingField = "missing-field", "The few fields without which a record means nothing must be there.";
    /// A value that cannot be what its field wants.
    WrongValue = "wrong-value", "A value must be of the kind its field wants: a quantity with a unit that fits, a date that exists, one of the words allowed.";
    /// A file that cannot be read.
    UnreadableFile = "unreadable-file", "A file must be plain UTF-8 text of bearable size inside the fleet's folder; links are not followed.";
    /// A file that no site or purpose claims.
    StrayFile = "stray-file", "A file or a folder stands in the fleet's folder under a name that nothing reads; a misspelt name would otherwise be a silent gap.";
    /// A limit of the fleet's own rule book that judges nothing, or everything.
    LimitWithoutSense = "limit-without-sense", "A rule book of the fleet's own judges for years once it is written, so what of it judges nothing is told: a limit the wrong way round or without the end it is judged by, a use no site can have, a set that is not there.";
    /// A spa's type that tubs.yaml does not have.
    UnknownType = "unknown-type", "A spa's `type` must stand in `tubs.yaml`; nothing else says what stands there.";
    /// A model that pumps.yaml does not have.
    UnknownModel = "unknown-model", "A pump's model should stand in `pumps.yaml`; without it power, ports and curve are not known.";
    /// A customer that customers.yaml does not have.
    UnknownCustomer = "unknown-customer", "A site's customer should stand in `customers.yaml`; without it no statement can be made.";
    /// An address that the site does not have.
    UnknownAddress = "unknown-address", "An address in a log or a sheet must name a spa, or a pump, filter or equipment of it that stood there on that day: not one that was `removed` before.";
    /// A part or task the book does not have, or that does not fit there.
    UnknownPart = "unknown-part", "A part or a task must stand in the book and fit what it is said of. What is `repaired` is a part of the book, or a thing that stands in the spa.";
    /// A technician that fleet.yaml does not have.
    UnknownTechnician = "unknown-technician", "Who made a visit should stand under `technicians` in `fleet.yaml`.";
    /// A column of a sheet that nothing reads.
    UnknownColumn = "unknown-column", "A sheet's columns are named as the fields of the records.";
    /// One id used twice.
    RepeatedId = "repeated-id", "Pumps, filters and equipment of a spa share one set of ids, so that an address names one thing.";
    /// An id that is nearly another's.
    NearlyNamed = "nearly-named", "A spa of a site's file belongs to the line of `sites.csv` with the same id, and `here: false` drops a thing of the type with the same id: a misspelt id would make a second spa, or drop nothing.";
    /// An id that would mix two folders of what is written.
    ReservedId = "reserved-id", "No site is named `customers`: the folder of its quotes would be the one that holds the customers' quotes.";
    /// Lines of one site that say different things of it.
    LinesDisagree = "lines-disagree", "A site of several spas has several lines in `sites.csv`, and its name, customer, use and area are the site's: of two that differ the first is used.";
    /// A program for a speed the model does not have.
    SpeedNotThere = "speed-not-there", "A one-speed pump runs at `run`, a two-speed pump at `low` and `high`; so are its programs, counters and currents named.";
    /// A program that no day can keep.
    ProgramWithoutSense = "program-without-sense", "Of the programs of a pump one holds on any day, so no two begin on the same; and the hours of its speeds together are no more than a day has.";
    /// A pump with no program and no counter.
    NoProgram = "no-program", "A pump with neither a program nor a counter has no known hours; the book's usual program for the use is assumed where it has one. A program names hours, and those of a pump that filters hours at a speed it filters at.";
    /// An event before its equipment stood there.
    BeforeFitting = "before-fitting", "Nothing can be read, renewed or exchanged on equipment before the day it was fitted.";
    /// A counter that runs backwards.
    CounterBackwards = "counter-backwards", "A counter only rises, but for a reset, a rollover or an exchange. The fewest readings that restore order are set aside, of two equal choices the later.";
    /// A counter that runs faster than time.
    CounterTooFast = "counter-too-fast", "No pump runs over 24 hours a day. The fewest readings that restore order are set aside, of two equal choices the later.";
    /// A counter that ran while its pump was down.
    CounterWhileDown = "counter-while-down", "A pump that is down does not run: where its counter gained more than the other days between two readings have hours, one of the two is wrong. The counter prevails.";
    /// A counter that may have turned over unseen.
    CounterTurnUnsure = "counter-turn-unsure", "Between two readings of a counter so much time has passed that it may have turned over once more than it shows, and its program or its other readings speak for it. What it gained is then not known.";
    /// A counter that stands still while its pump should run.
    CounterAtRest = "counter-at-rest", "A counter that shows the same for weeks, while the program says that the pump runs, is broken, or the pump is. What it shows is believed until the records say otherwise.";
    /// Two readings of one thing that contradict each other.
    ReadingsContradict = "readings-contradict", "Two readings of one counter on one day must agree; of two the later is set aside. A pump exchanged twice on one day counts as exchanged once; a part is renewed once a day.";
    /// Power unlike the usual for the duty.
    UnusualPower = "unusual-power", "Circulation pumps are usually under 1 hp and jet pumps up to 8 hp (common practice, no source).";
    /// Union size unlike the usual for the duty.
    UnusualPorts = "unusual-ports", "Unions are usually 1.5 in on circulation pumps and 2 or 2.5 in on jet pumps (common practice, no source).";
    /// A frame unlike the usual for the duty.
    UnusualFrame = "unusual-frame", "Circulation pumps usually have frame 48; jet pumps have 48 or 56 (common practice, no source).";
    /// A frame that contradicts the bolt spacing.
    FrameAgainstBolts = "frame-against-bolts", "About 4 in across the feet is frame 48, about 5.5 in is frame 56 (common practice, no source; NEMA MG 1 gives 2E = 4 1/4 in and 4 7/8 in between bolt centres).";
    /// Gallons in a metric fleet.
    GallonsInMetric = "gallons-in-metric", "Gallons here are US gallons. In a fleet that reports in metric units a volume or a flow in gallons may have been meant as Imperial. Written in litres, it is not asked about.";
    /// A character that no font of the reports has.
    NoGlyph = "no-glyph", "The reports' font has Latin, Greek and Cyrillic letters. Other characters are replaced visibly in print and stay as written in the tables.";
    /// An entry dated after the as-of day.
    AfterAsOf = "after-as-of", "Nobody writes a log of days to come: an entry dated after today, or after the day given with `check --as-of`, has a slip in its date, and a report leaves it out; it is told once for a file. The same holds of what was `fitted` on a day to come. Programs, prices, contracts, leave, closed seasons and bookings may be written ahead, but not by more than five years.";
    /// A closed season, program or contract that ends before it begins.
    EndsBeforeStart = "ends-before-start", "What has a first and a last day must not end before it begins.";
    /// Two dates of one entry in an order that cannot be.
    DatesOutOfOrder = "dates-out-of-order", "A fault is reported before the visit that mends it ends, and work is put off to a later day. A date the other way round has a slip in it, and is not used.";
    /// A visit that stands in the log twice.
    RepeatedVisit = "repeated-visit", "A visit stands in the log once. One that stands there twice, word for word, was typed in again, and what it took would be billed twice; readings given twice are kept once and cost nothing.";
    /// Times and labour of a visit that cannot both be meant.
    VisitTimes = "visit-times", "A visit's `time` ends after it begins, or within eight hours through midnight; its `labour` is near that time, for it is what is billed. Several people may work at once, so only what is six times off, or over a day in one visit, is asked about (common practice, no source).";
    /// A value far from what such things usually have.
    UnlikelyValue = "unlikely-value", "A value far from what spas, pumps and their water usually have is asked about, for a slip of the pen or a wrong unit looks like this. The bounds are generous (common practice, no source); the value is used as it is written. A number like `1.250 L` is asked about too: read as English it is one and a quarter, elsewhere a thousand more.";
    /// A bookings file that cannot be used as it stands.
    Bookings = "bookings", "A bookings file is an iCalendar (RFC 5545) whose events are single stays with a first and a last day. Recurring bookings are not read.";
    /// A share by which no price can be made.
    QuoteShare = "quote-share", "A price covers from half of the years drawn (`covers: 0.5`) to 99 in 100 (`0.99`): beyond, it would be the one dearest year that happened to be drawn. Its `margin` is less than 0.95 of it, for the price is the cost over one less the margin.";
    /// Terms of a contract that cannot be meant so.
    ContractTerms = "contract-terms", "What a contract covers is billed, quoted and planned by: `callouts` is `included`, `charged` or how many a year, `visits` how often (`monthly`, `quarterly`, `6 a year`), `index` a share like `0.04`, and prices stand by year. A contract with terms that are not understood is not used.";
    /// A rule book that is not there.
    UnknownLimits = "unknown-limits", "`limits` names a rule book: `uk`, `us`, `none`, or a file of the fleet's own in `limits/`.";
}

/// Something wrong or odd in the records.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Diagnostic {
    /// How bad it is.
    pub severity: Severity,
    /// The rule.
    pub rule: Rule,
    /// The file, from the fleet's folder.
    pub file: String,
    /// Where in it, if it has a place.
    pub spot: Option<Spot>,
    /// The text of that line.
    pub excerpt: Option<String>,
    /// What is wrong.
    pub message: String,
    /// What would be right.
    pub hint: Option<String>,
    /// A second place that matters: file, spot, its line's text, what it is.
    pub second: Option<Box<Second>>,
    /// What was left out for it, in words.
    pub left_out: Option<String>,
}

/// A second place that matters to a diagnostic.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Second {
    /// The file.
    pub file: String,
    /// Where in it.
    pub spot: Spot,
    /// The text of that line.
    pub excerpt: String,
    /// What stands there, in words.
    pub label: String,
}

impl Diagnostic {
    /// The order of printing: by file, then place, then text.
    pub fn order(&self) -> (String, Option<Spot>, &'static str, String) {
        (self.file.clone(), self.spot, self.rule.name(), self.message.clone())
    }

    /// One line: `sites/a.yaml:31:29: error[unknown-field]: no field …`.
    pub fn one_line(&self) -> String {
        let mut line = String::new();
        line.push_str(&self.file);
        if let Some(spot) = self.spot {
            let _ = write!(line, ":{}:{}", spot.line, spot.column);
        }
        let severity = self.severity_word();
        let _ = write!(line, ": {severity}[{}]: {}", self.rule.name(), self.message);
        for extra in [self.hint.as_ref(), self.left_out.as_ref()].into_iter().flatten() {
            let _ = write!(line, "; {extra}");
        }
        harmless(&line)
    }

    fn severity_word(&self) -> &'static str {
        match self.severity {
            Severity::Error => "error",
            Severity::Warning => "warning",
        }
    }

    /// With excerpt and caret, for people.
    pub fn full(&self, colour: bool) -> String {
        let level = match self.severity {
            Severity::Error => Level::ERROR,
            Severity::Warning => Level::WARNING,
        };
        let (message, file) = (harmless(&self.message), harmless(&self.file));
        let (hint, left_out) = (self.hint.as_deref().map(harmless), self.left_out.as_deref().map(harmless));
        let mut group = level
            .primary_title(message.as_str())
            .id(self.rule.name())
            .elements(Vec::<annotate_snippets::Element>::new());
        let window = |text: &str, spot: Spot| Window::new(text, spot);
        let first = self.spot.zip(self.excerpt.as_deref()).map(|(spot, text)| (spot, window(text, spot)));
        if let Some((spot, window)) = &first {
            group = group.element(
                Snippet::source(window.text.as_str())
                    .line_start(spot.line)
                    .path(file.as_str())
                    .annotation(AnnotationKind::Primary.span(window.bytes.clone())),
            );
        } else {
            let mut origin = annotate_snippets::Origin::path(file.as_str());
            if let Some(spot) = self.spot {
                origin = origin.line(spot.line);
            }
            group = group.element(origin);
        }
        let second = self.second.as_ref().map(|s| (s, window(&s.excerpt, s.spot)));
        if let Some((second, window)) = &second {
            group = group.element(
                Snippet::source(window.text.as_str())
                    .line_start(second.spot.line)
                    .path(second.file.as_str())
                    .annotation(AnnotationKind::Context.span(window.bytes.clone()).label(second.label.as_str())),
            );
        }
        if let Some(hint) = &hint {
            group = group.element(Level::HELP.with_name("hint").message(hint.as_str()));
        }
        if let Some(left_out) = &left_out {
            group = group.element(Level::NOTE.with_name("so").message(left_out.as_str()));
        }
        let renderer = if colour { Renderer::styled() } else { Renderer::plain() };
        renderer.render(&[group]).clone()
    }

    /// For editors and hooks.
    pub fn as_json(&self) -> serde_json::Value {
        serde_json::json!({
            "severity": self.severity_word(),
            "rule": self.rule.name(),
            "file": self.file,
            "line": self.spot.map(|s| s.line),
            "column": self.spot.map(|s| s.column),
            "message": self.message,
            "hint": self.hint,
            "left_out": self.left_out,
            "second": self.second.as_ref().map(|second| serde_json::json!({
                "file": second.file,
                "line": second.spot.line,
                "column": second.spot.column,
                "message": second.label,
            })),
        })
    }
}

/// Text of a record as a terminal may show it: a control character is written out instead of obeyed.
fn harmless(text: &str) -> String {
    if !text.contains(char::is_control) {
        return text.to_owned();
    }
    text.chars().map(|c| if c.is_control() { c.escape_default().to_string() } else { c.to_string() }).collect()
}

/// The part of a line that fits a terminal, around the spot, and the spot's bytes in it.
struct Window {
    text: String,
    bytes: std::ops::Range<usize>,
}

impl Window {
    fn new(line: &str, spot: Spot) -> Self {
        // A window of the line keeps a 100,000-character line from flooding the terminal.
        let start = spot.column.saturating_sub(1);
        let from = if line.chars().count() > 160 { start.saturating_sub(60) } else { 0 };
        let text: String =
            line.chars().skip(from).take(160).map(|c| if c.is_control() && c != '\t' { ' ' } else { c }).collect();
        let byte_at = |column: usize| text.char_indices().nth(column).map_or(text.len(), |(byte, _)| byte);
        let begin = byte_at(start - from);
        let end = byte_at(start - from + spot.length).max(begin);
        Self { text, bytes: begin..end }
    }
}
