//! What may be typed: arguments only. The doc comments are the help text; what the words mean is for
//! the commands.

use std::ffi::OsString;
use std::path::PathBuf;

use chrono::NaiveDate;
use clap::{Args, Parser, Subcommand, ValueEnum};

use crate::calendar::{self, Month};

/// Signs without width that copying from a page or a spreadsheet can leave in a word: they are in no address, key or name.
const INVISIBLE: [char; 5] = ['\u{200b}', '\u{200c}', '\u{200d}', '\u{2060}', '\u{feff}'];

/// An argument without signs that nobody can see. What is no text stays as it is.
pub fn without_invisible(argument: OsString) -> OsString {
    match argument.to_str() {
        Some(text) if text.contains(INVISIBLE) => text.replace(INVISIBLE, "").into(),
        _ => argument,
    }
}

/// Monthly reports for a fleet of spas, from hand-written YAML records.
///
/// Exit status: 0 every site reported; 1 something was left out, the rest is written; 2 nothing could
/// be written; 3 another run holds the output folder; 128 + n ended by signal n.
#[derive(Debug, Parser)]
#[command(version, about, long_about, propagate_version = true)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
    /// How much is said.
    #[command(flatten)]
    pub saying: Saying,
}

/// How much is said, and how.
#[derive(Debug, Clone, Copy, Args)]
pub struct Saying {
    /// Say nothing but warnings and errors; twice, nothing at all.
    #[arg(short, long, global = true, action = clap::ArgAction::Count)]
    pub quiet: u8,
    /// Say how long each stage takes.
    #[arg(short, long, global = true, action = clap::ArgAction::Count)]
    pub verbose: u8,
    /// How diagnostics are written.
    #[arg(long, global = true, value_enum, default_value_t = Format::Auto)]
    pub format: Format,
}

/// How diagnostics are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// With excerpts on a terminal, else one line each.
    Auto,
    /// With excerpts.
    Full,
    /// One line each.
    Short,
    /// JSON, one object a line, on standard output.
    Json,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Check a fleet's records and say everything that is wrong or odd.
    Check(Check),
    /// Write the reports of a month.
    Report(Report),
    /// Quote a year: what it may cost, and the price that covers it.
    Quote(Quote),
    /// Say whether a published month is as it was written.
    Verify(Verify),
    /// Plan the visits of the coming twelve months.
    Plan(Plan),
    /// Say why a figure is what it is: records, formula, result.
    Explain(Explain),
    /// Write an invented fleet to try the program on.
    Demo(Demo),
    /// Write JSON Schemas of the record files, for editors.
    Schema(Schema),
    /// Write completions for a shell to standard output.
    Completions(Completions),
    /// Write manual pages, one for each command.
    Man(Man),
    /// Append an entry to a site's log.
    Add(Add),
    /// Write a commented file for a new site.
    New(New),
    /// Compare a fitted pump with every model in pumps.yaml.
    Swap(Swap),
}

/// Check a fleet's records.
#[derive(Debug, Args)]
pub struct Check {
    /// The fleet's folder.
    #[arg(required_unless_present = "about")]
    pub fleet: Option<PathBuf>,
    /// The day up to which records may be dated, like 2026-10-31. Default: today in the fleet's time zone.
    #[arg(long, value_name = "DAY", value_parser = calendar::parse_date)]
    pub as_of: Option<NaiveDate>,
    /// Explain a rule by its name, or list the rules with `all`.
    #[arg(long, value_name = "RULE")]
    pub about: Option<String>,
}

/// Write the reports of a month.
#[derive(Debug, Args)]
pub struct Report {
    /// The fleet's folder.
    pub fleet: PathBuf,
    /// The month, like 2026-10; nothing dated after its last day is used. Default: the month before today's.
    #[arg(long)]
    pub month: Option<Month>,
    /// The first of several months, each as it would have been: with the records dated up to its end.
    #[arg(long, value_name = "MONTH", conflicts_with = "month")]
    pub from: Option<Month>,
    /// The last of several months. Default: the month before today's.
    #[arg(long, value_name = "MONTH", requires = "from")]
    pub to: Option<Month>,
    /// Make everything anew, even if nothing changed.
    #[arg(long)]
    pub force: bool,
    /// The folder the month's folder is written into.
    #[arg(long, default_value = "reports")]
    pub out: PathBuf,
    /// Whether PDFs are made.
    #[arg(long, value_enum, default_value_t = Pdf::Required)]
    pub pdf: Pdf,
    /// The renderer; else the variable TYPST, PATH and Cargo's bin folder are looked in.
    #[arg(long, value_name = "PATH")]
    pub typst: Option<PathBuf>,
    /// How many seconds the renderer may take for one document.
    #[arg(long, value_name = "SECONDS", default_value_t = 120, value_parser = clap::value_parser!(u32).range(1..))]
    pub typst_seconds: u32,
    /// A folder of your own templates and layouts, which stand in the place of ours: `site.typ.tera`, `layout.typ`,
    /// `index.html.tera` and so on. `tubwright schema --views` writes what they may use.
    #[arg(long, value_name = "DIR")]
    pub templates: Option<PathBuf>,
    /// How many sites are worked on at a time. Default: one for each core.
    #[arg(long, value_name = "N")]
    pub jobs: Option<std::num::NonZeroUsize>,
}

/// Say whether a published month is as it was written.
///
/// Every file is held against the digest in `run.json`. That file cannot vouch for itself: keep the digest of it that is
/// printed somewhere else, if it matters. Status 0: as written; 1: something was altered, added or is missing; 2: no
/// published month is there.
#[derive(Debug, Args)]
pub struct Verify {
    /// The month's folder, like reports/2026-10.
    pub folder: PathBuf,
}

/// Quote a contract year for every site, one site, or all sites of a customer together.
///
/// For each, `quote.pdf` is for the customer and `inside.pdf` for the office, in `quotes/YEAR/SITE` of the output folder
/// (`quotes/YEAR/customers/CUSTOMER`). Other ways of doing the year are told on standard output and on the inside sheet.
#[derive(Debug, Args)]
pub struct Quote {
    /// The fleet's folder.
    pub fleet: PathBuf,
    /// The contract year, a calendar year. Default: the year after the month's.
    #[arg(long)]
    pub year: Option<i32>,
    /// Quote this site only.
    #[arg(long, conflicts_with = "customer")]
    pub site: Option<String>,
    /// Quote all sites of this customer as one.
    #[arg(long)]
    pub customer: Option<String>,
    /// Another way of doing the year: `visits=monthly`, `renew_by=life`, `renew=shaft_seal`. May be given several times.
    #[arg(long, value_name = "WAY")]
    pub with: Vec<String>,
    /// The month, like 2026-10; nothing dated after its last day is used. Default: the month before today's.
    #[arg(long)]
    pub month: Option<Month>,
    /// How many years are drawn: from 100, below which no share of years can be told, to 1000000.
    #[arg(long, default_value = "10000", value_name = "N", value_parser = clap::value_parser!(u32).range(100..=1_000_000))]
    pub draws: u32,
    /// The folder the quotes are written into.
    #[arg(long, default_value = "reports")]
    pub out: PathBuf,
    /// Whether PDFs are made.
    #[arg(long, value_enum, default_value_t = Pdf::Required)]
    pub pdf: Pdf,
    /// The renderer; else the variable TYPST, PATH and Cargo's bin folder are looked in.
    #[arg(long, value_name = "PATH")]
    pub typst: Option<PathBuf>,
}

/// Say why the figures of a pump, a part or a spa are what they are.
#[derive(Debug, Args)]
pub struct Explain {
    /// What to explain: site/spa, site/spa/pump or site/spa/equipment/part.
    pub address: String,
    /// The fleet's folder.
    #[arg(long, default_value = ".")]
    pub fleet: PathBuf,
    /// The month, like 2026-10; nothing dated after its last day is used. Default: the month before today's.
    #[arg(long)]
    pub month: Option<Month>,
}

/// Plan the visits of the coming twelve months and say them.
///
/// With `--accept` the plan is written to `plan.yaml` in the fleet's folder. Later plans keep its days unless new records
/// give a reason, which `visits.csv` then tells.
#[derive(Debug, Args)]
pub struct Plan {
    /// The fleet's folder.
    pub fleet: PathBuf,
    /// The month after whose last day the plan begins, like 2026-10. Default: the month before today's.
    #[arg(long)]
    pub month: Option<Month>,
    /// The day after which the plan begins, like 2026-11-13, instead of a month.
    #[arg(long, value_name = "DAY", value_parser = calendar::parse_date, conflicts_with = "month")]
    pub as_of: Option<NaiveDate>,
    /// Write the plan to `plan.yaml`.
    #[arg(long)]
    pub accept: bool,
    /// Plan the coming seven days anew and keep the rest; only these days are shown. They begin today if no day is given.
    #[arg(long)]
    pub week: bool,
}

/// Write an invented fleet of any size, to try the program on and to measure it.
#[derive(Debug, Args)]
pub struct Demo {
    /// How many sites.
    #[arg(long, default_value = "20")]
    pub sites: std::num::NonZeroU32,
    /// How many years of records, up to 1 November 2026.
    #[arg(long, default_value = "3", value_parser = clap::value_parser!(u32).range(1..=20))]
    pub years: u32,
    /// The seed: the same seed gives the same fleet, and site k is the same whatever the number of sites.
    #[arg(long, default_value = "1")]
    pub seed: u64,
    /// Counter readings a day of each pump; 0.27 is about 100 a year.
    #[arg(long, default_value = "0.27", value_name = "N")]
    pub readings_per_day: f64,
    /// The folder to write; it must be new or empty.
    #[arg(long)]
    pub out: PathBuf,
}

/// Write JSON Schemas (draft 2020-12) of the record files: an editor that is told of them completes and explains fields.
///
/// A record names its schema in a comment on its first line: `# yaml-language-server: $schema=PATH`.
#[derive(Debug, Args)]
pub struct Schema {
    /// The folder they are written into, one file for each kind of record.
    #[arg(long)]
    pub out: PathBuf,
    /// Write the schemas of the views instead: what a template of a document may use.
    #[arg(long)]
    pub views: bool,
}

/// Write completions for a shell to standard output.
#[derive(Debug, Args)]
pub struct Completions {
    /// The shell.
    pub shell: clap_complete::Shell,
}

/// Write manual pages, one for each command.
#[derive(Debug, Args)]
pub struct Man {
    /// The folder they are written into.
    #[arg(long)]
    pub out: PathBuf,
}

/// Append an entry to a site's log: what was read and done at one address on one day.
///
/// Values are `hours=25310`, `done=filter_clean,water_change`, `renewed.shaft_seal=failure`,
/// `after.pressure=0.35`. Of the visit as a whole: `date`, `time`, `by`, `why`, `reported`, `labour`,
/// `note`, `used.NUMBER=1` and `left=TEXT`. The site's file is checked with the new entry in it and
/// written only if the entry is right.
#[derive(Debug, Args)]
pub struct Add {
    /// What it is about: `site/spa` or `site/spa/equipment`.
    #[arg(required_unless_present = "sheet")]
    pub address: Option<String>,
    /// What was read and done there.
    ///
    /// Readings are named as in the records: `hours=25310`, `ph=7.4`, `after.pressure=0.35`. Work is a list,
    /// `done=filter_clean,water_change`, `renewed=cartridge`, or a reason by its part: `renewed.shaft_seal=failure`. More
    /// of it stands a step deeper: `renewed.shaft_seal.because=failure renewed.shaft_seal.noticed=in_use
    /// renewed.shaft_seal.found="leak at the shaft"`, `exchanged.model=J-200`, `meter_reset.showed=412 meter_reset.to=0`,
    /// `inspected.shaft_seal=worn`, `deferred.shaft_seal=2026-11-15`, `down="2 d"`. Of the visit itself: `date`, `time`,
    /// `by`, `why`, `reported`, `labour`, `used.SS-16=1`, `left="strap torn"`, `note`.
    #[arg(required_unless_present = "sheet", value_name = "KEY=VALUE")]
    pub values: Vec<String>,
    /// Ask for the blanks of a visit's work sheet instead, in the sheet's order, one a line on standard input.
    ///
    /// The name stands at the sheet's foot; the four signs behind its full stop tell whether the plan has changed since.
    /// An empty line leaves a blank out, or keeps what the sheet has printed there; `-` leaves that out too. A box is
    /// ticked with `y`. Nothing is written before the last line, and then all of it or nothing.
    #[arg(long, value_name = "VISIT", conflicts_with_all = ["address", "values", "date"])]
    pub sheet: Option<String>,
    /// The month the sheet was made with, like 2026-10. Default: the month before today's.
    #[arg(long, requires = "sheet")]
    pub month: Option<Month>,
    /// The fleet's folder.
    #[arg(long, default_value = ".")]
    pub fleet: PathBuf,
    /// The day. Default: today in the fleet's time zone.
    #[arg(long)]
    pub date: Option<String>,
}

/// Write a commented file for a new site, which passes `check` as it stands.
#[derive(Debug, Args)]
pub struct New {
    /// The site's id, which is also its file's name.
    pub name: String,
    /// The type of its spa, from tubs.yaml.
    #[arg(long = "type", value_name = "TYPE")]
    pub of_type: String,
    /// The fleet's folder.
    #[arg(long, default_value = ".")]
    pub fleet: PathBuf,
}

/// Compare a fitted pump with every model in pumps.yaml, attribute by attribute: which is like for like, what is
/// missing and where to read it, what the new pump does to turnover and current, what the job needs.
#[derive(Debug, Args)]
pub struct Swap {
    /// The pump: site/spa/pump.
    pub address: String,
    /// The fleet's folder.
    #[arg(long, default_value = ".")]
    pub fleet: PathBuf,
    /// The month, like 2026-10; nothing dated after its last day is used. Default: the month before today's.
    #[arg(long)]
    pub month: Option<Month>,
}

/// Whether PDFs are made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Pdf {
    /// They are; without a renderer the rest is written and the status is 1.
    Required,
    /// They are not.
    None,
}
