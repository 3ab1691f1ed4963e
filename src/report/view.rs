//! What a site report says, as finished text: one `SiteView` per site, serialised to the `data.json` that the page
//! reads and to the context that chooses the sections.
//!
//! It exists so that rounding, units, dates and "not known" are decided (and tested) in Rust, and the templates only
//! place text. Every leaf is a finished `String`; a `Vec`, an `Option` or a `bool` only says whether something stands.
//! It must not compute, must not hold raw numbers, and must not know the page.
//!
//! Only what a first cut computes needs to be filled: every struct but [`Document`] and [`State`] has a default,
//! an empty list prints nothing, and a section whose `nothing_to_say` is set is that one line and no more.
//!
//! Charts are drawn elsewhere; a [`Chart`] names the file by its path inside the build folder.

mod closing;
mod pumps;
mod water;

use schemars::JsonSchema;
use serde::Serialize;

use crate::to_do::Urgency;

pub use closing::*;
pub use pumps::*;
pub use water::*;

/// The version of the shape below. It goes up with any change that an overriding template would notice.
pub const VIEW_VERSION: u32 = 3;

/// Everything in one site report.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SiteView {
    /// [`VIEW_VERSION`] at the time of writing.
    pub view_version: u32,
    /// Names, paper and language: what stands on every page.
    pub document: Document,
    /// Is it all right, what must be done, what will it cost.
    pub page_one: PageOne,
    /// Water turnover and filters, spa by spa.
    pub water: WaterSection,
    /// Run hours, energy, condition and failures.
    pub pumps: PumpSection,
    /// Wear parts in service.
    pub parts: PartSection,
    /// The coming twelve months, their planned cost, and the parts like for like.
    pub visits: VisitSection,
    /// Gaps, defaults and what the records got wrong.
    pub unknowns: UnknownSection,
    /// Cautions, methods, sources, versions and digests.
    pub closing: ClosingSection,
}

impl SiteView {
    /// The text of `data.json`, the only way by which record text reaches the page.
    ///
    /// # Errors
    /// None is known for a view of strings; the serialiser's own error is passed on all the same.
    pub fn to_json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self)
    }
}

/// Paper sizes on offer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Paper {
    /// ISO A4, 210 by 297 mm.
    #[default]
    A4,
    /// US letter, 8.5 by 11 inches.
    UsLetter,
}

/// How pressing a thing is; the page draws a shape for it and writes the word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Mark {
    /// Filled square, brick: do not use.
    DoNotUse,
    /// Filled triangle, brick: act now.
    ActNow,
    /// Filled circle, amber: plan.
    Plan,
    /// Ring, ink: note.
    Note,
    /// No shape: nothing to point out.
    #[default]
    None,
}

impl Mark {
    /// The word that stands beside the shape; empty for [`Mark::None`].
    pub fn word(self) -> &'static str {
        match self {
            Self::DoNotUse => Urgency::DoNotUse.words(),
            Self::ActNow => Urgency::ActNow.words(),
            Self::Plan => Urgency::Plan.words(),
            Self::Note => Urgency::Note.words(),
            Self::None => "",
        }
    }
}

impl From<Urgency> for Mark {
    fn from(urgency: Urgency) -> Self {
        match urgency {
            Urgency::DoNotUse => Self::DoNotUse,
            Urgency::ActNow => Self::ActNow,
            Urgency::Plan => Self::Plan,
            Urgency::Note => Self::Note,
        }
    }
}

impl From<Option<Urgency>> for Mark {
    fn from(urgency: Option<Urgency>) -> Self {
        urgency.map_or(Self::None, Self::from)
    }
}

/// What stands on every page.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Document {
    /// Title of the file, as a reader's window shows it; must not be empty.
    pub title: String,
    /// The site's name.
    pub site: String,
    /// The month in words, "October 2026".
    pub month: String,
    /// Who prepared the report.
    pub prepared_by: String,
    /// For whom, where it is not the house itself.
    pub prepared_for: Option<String>,
    /// The last day of which records were used, ISO 8601; also the document's date.
    pub as_of: String,
    /// Paper size.
    pub paper: Paper,
    /// BCP 47 tag of the report's language, "en-GB".
    pub lang: String,
    /// Right end of the running head from page two on.
    pub header: String,
    /// Left end of the foot: "Site · Month · from records up to ...". The page adds its number.
    pub footer: String,
}

/// One-sentence state of the site.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct State {
    /// The most pressing kind of thing on the site.
    pub mark: Mark,
    /// The bold half: "In order by the records, with two things to do this week."
    pub lead: String,
    /// The rest of it, may be empty.
    pub rest: String,
}

/// The first page.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PageOne {
    /// The state of the site.
    pub state: State,
    /// What is not in the figures and where it stands in the records, and how far forecasts can be trusted where that is
    /// not as it should be; each is one finished notice.
    pub left_out: Vec<String>,
    /// Up to five actions, the most urgent first.
    pub actions: Vec<Action>,
    /// Stands instead of the list when there is no action.
    pub no_actions: String,
    /// "4 more are under Visits and parts", when the list was cut.
    pub more_actions: Option<String>,
    /// Three numbers with last month's beside them.
    pub numbers: Vec<Headline>,
    /// What changed since last month, a sentence each.
    pub since: Vec<String>,
    /// One picture, or two.
    pub charts: Vec<Chart>,
}

/// One thing to do.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Action {
    /// How pressing.
    pub mark: Mark,
    /// The word for `mark`; see [`Mark::word`].
    pub mark_word: String,
    /// Where: "Terrace spa, filtration pump".
    pub place: String,
    /// What to do: "Replace the shaft seal".
    pub what: String,
    /// By when: "by 6 Nov" or "next visit".
    pub by_when: String,
    /// Why, in half a line.
    pub why: String,
    /// What happens if it is left; may be empty.
    pub if_left: String,
}

/// A large number.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Headline {
    /// The number as printed: "13.4", "£ 610", "not known".
    pub value: String,
    /// Its unit, set smaller behind it; may be empty.
    pub unit: String,
    /// What it is, with its limit or range.
    pub caption: String,
    /// "September 11.6"; may be empty.
    pub last_month: String,
}

/// A picture in the build folder.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Chart {
    /// Path inside the build folder, "charts/water-turnover-terrace.svg".
    pub file: String,
    /// The finding in words, for those who cannot see it; must not be empty.
    pub alt: String,
    /// How to read it, in a line under it; may be empty.
    pub caption: String,
    /// The question it answers; the page sets it above, so the picture carries no title of its own.
    pub title: String,
}

/// Section four.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct PartSection {
    /// Stands for the whole section when set.
    pub nothing_to_say: Option<String>,
    /// What the table comes to, in sentences.
    pub summary: String,
    /// Pictures.
    pub charts: Vec<Chart>,
    /// One row per part in service, the most used up first.
    pub rows: Vec<PartRow>,
    /// Small print under the table.
    pub table_note: String,
    /// What the fleet's own failures say against the book, a sentence each.
    pub fleet_findings: Vec<String>,
}

/// A wear part in service.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct PartRow {
    /// Its mark.
    pub mark: Mark,
    /// Where it is.
    pub place: String,
    /// What it is.
    pub part: String,
    /// How many.
    pub count: String,
    /// When fitted.
    pub fitted: String,
    /// Its age with unit: "13,100 h".
    pub age: String,
    /// The interval with unit.
    pub interval: String,
    /// Whose interval it is: "book", "maker", "fleet".
    pub interval_source: String,
    /// The due date.
    pub due: String,
    /// The range of the due date; may be empty.
    pub due_range: String,
    /// What the due date rests on.
    pub due_basis: String,
    /// Life used in per cent, digits only ("94"), for the bar; anything else draws no bar.
    pub life_used_percent: String,
    /// Life used as printed: "94 %", "not known".
    pub life_used: String,
    /// Chance of failing within 12 months: "about 1 in 3", or a dash.
    pub chance: String,
}

/// Section five.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct VisitSection {
    /// Stands for the whole section when set.
    pub nothing_to_say: Option<String>,
    /// What the year comes to, in sentences.
    pub summary: String,
    /// The coming twelve months' tasks, the earliest first.
    pub tasks: Vec<Task>,
    /// Planned work without failures; `None` where costs are not shown.
    pub planned_cost: Option<PlannedCost>,
    /// The parts list, like for like.
    pub parts_list: Vec<PartToBuy>,
}

/// A dated task.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Task {
    /// The day or the visit.
    pub date: String,
    /// Where.
    pub place: String,
    /// What.
    pub what: String,
    /// Because of which interval, limit or wish.
    pub because: String,
    /// Minutes planned, digits or a dash.
    pub minutes: String,
}

/// What the planned work costs.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct PlannedCost {
    /// What the total is, in so many words: "Planned work without failures".
    pub called: String,
    /// Currency sign or code for the head.
    pub currency: String,
    /// The lines.
    pub lines: Vec<CostLine>,
    /// Their total.
    pub total: String,
    /// What is not in it.
    pub note: String,
}

/// A cost line.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct CostLine {
    /// Labour, travel, or a part.
    pub what: String,
    /// How it comes about: "6 visits, 7.5 h at 48".
    pub how: String,
    /// The amount.
    pub amount: String,
}

/// A part to have at hand.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct PartToBuy {
    /// What.
    pub part: String,
    /// What it fits.
    pub fits: String,
    /// The measures by which like is known for like.
    pub measures: String,
    /// How many.
    pub count: String,
    /// For when.
    pub needed_by: String,
}
