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

use schemars::JsonSchema;
use serde::Serialize;

use crate::to_do::Urgency;

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

/// Section two.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct WaterSection {
    /// Stands for the whole section when set.
    pub nothing_to_say: Option<String>,
    /// Which rule book judged the water and where that is chosen.
    pub rule_book: String,
    /// All spas beside each other, where there are several; `None` where there is one.
    pub overview: Option<WaterOverview>,
    /// The spas that have a picture or ways out; where there are many, those that are not known to be in order.
    pub spas: Vec<SpaWater>,
    /// Beside an overview: what else is to be said of a spa that has neither picture nor ways out.
    pub other_spas: Vec<OtherSpa>,
    /// The filters at the as-of day.
    pub filters: Vec<FilterRow>,
    /// Small print under the filters; may be empty.
    pub filters_note: String,
    /// Units in the heads of the tables.
    pub units: WaterUnits,
    /// Cautions that belong beside these figures.
    pub cautions: Vec<String>,
}

/// The water of several spas beside each other.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct WaterOverview {
    /// Heads of the columns of turnover times, the oldest first.
    pub months: Vec<String>,
    /// A row a spa.
    pub rows: Vec<OverviewRow>,
    /// Small print under the table.
    pub note: String,
}

/// A spa of which the overview says almost everything.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct OtherSpa {
    /// The spa.
    pub name: String,
    /// The rest, in a sentence or more.
    pub says: String,
}

/// A spa in the overview.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct OverviewRow {
    /// The spa.
    pub spa: String,
    /// The limit of its turnover time.
    pub limit: String,
    /// A turnover time for each month.
    pub turnovers: Vec<OverviewCell>,
    /// Flow in the last month.
    pub flow: String,
    /// Turnovers a day in it.
    pub turnovers_per_day: String,
    /// Filtration hours a day in it.
    pub filtration_hours: String,
    /// The mark of those hours: whether they are fewer than asked.
    pub filtration_mark: Mark,
    /// Filter rate in it.
    pub filter_rate: String,
    /// Highest velocity in it.
    pub velocity: String,
}

/// A month's turnover time in the overview.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct OverviewCell {
    /// The verdict's mark.
    pub mark: Mark,
    /// Minutes, or a dash, or "closed".
    pub minutes: String,
    /// Empty where the flow was measured; else the note's letter.
    pub letter: String,
}

/// One spa's water.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct SpaWater {
    /// The spa's name.
    pub name: String,
    /// The verdict's mark.
    pub mark: Mark,
    /// The verdict's word: meets, short, closed, unknown.
    pub verdict: String,
    /// One or two sentences for the owner.
    pub summary: String,
    /// Pictures.
    pub charts: Vec<Chart>,
    /// Month by month, the oldest first; empty where the overview has them.
    pub months: Vec<WaterMonth>,
    /// Small print under the table.
    pub table_note: String,
    /// If short: ways out, the best first.
    pub ways_out: Vec<WayOut>,
}

/// Units of the water tables.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct WaterUnits {
    /// Of turnover time and its limit, "min".
    pub turnover: String,
    /// Of the flow, "L/min".
    pub flow: String,
    /// Of the filter rate, "L/min m²".
    pub filter_rate: String,
    /// Of the velocity, "m/s".
    pub velocity: String,
    /// Of the filter pressures, "bar".
    pub pressure: String,
}

/// A month of a spa's water.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct WaterMonth {
    /// "Oct 2026".
    pub month: String,
    /// Water turnover time.
    pub turnover: String,
    /// Its limit.
    pub limit: String,
    /// Flow through the filter.
    pub flow: String,
    /// What the flow rests on: measured, calculated, stated.
    pub flow_basis: String,
    /// Turnovers a day.
    pub turnovers_per_day: String,
    /// Filtration hours a day.
    pub filtration_hours: String,
    /// Filter rate.
    pub filter_rate: String,
    /// Highest velocity in the loop.
    pub velocity: String,
    /// The verdict's mark.
    pub mark: Mark,
    /// The verdict's word.
    pub verdict: String,
}

/// A way to bring the turnover within its limit.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct WayOut {
    /// What to do.
    pub what: String,
    /// What it gives, with its range and cost.
    pub gives: String,
}

/// A filter at the as-of day.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct FilterRow {
    /// The filter's name.
    pub name: String,
    /// Kind and area: "cartridge, 9.3 m²".
    pub kind: String,
    /// Pressure now.
    pub pressure: String,
    /// Pressure just after the last clean.
    pub clean_pressure: String,
    /// When it was last cleaned.
    pub last_clean: String,
    /// The day to clean.
    pub clean_by: String,
    /// The range of that day.
    pub clean_by_range: String,
    /// Turnover time on that day if it is not cleaned.
    pub turnover_then: String,
}

/// Section three.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct PumpSection {
    /// Stands for the whole section when set.
    pub nothing_to_say: Option<String>,
    /// What the hours, energy and condition come to, in sentences.
    pub summary: String,
    /// Pictures of hours and condition.
    pub charts: Vec<Chart>,
    /// Who the pumps are.
    pub identities: Vec<PumpIdentity>,
    /// Run hours by month and speed.
    pub hours: HoursTable,
    /// Energy and cost.
    pub energy: EnergyTable,
    /// Condition trends, a sentence each.
    pub trends: Vec<String>,
    /// Failures so far, the verdict and what is expected, in words; empty when not computed.
    pub failures: String,
    /// Pictures of the failures.
    pub failure_charts: Vec<Chart>,
    /// Which counters to read, and how much that would narrow the figures.
    pub reading_advice: Vec<String>,
}

/// The identifying measures of a pump.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct PumpIdentity {
    /// Which pump it is, or which pumps, where several are alike.
    pub place: String,
    /// Model and serial number.
    pub model: String,
    /// Power with its unit.
    pub power: String,
    /// Speeds: "2 (2,850 and 1,420 rpm)".
    pub speeds: String,
    /// Motor frame.
    pub frame: String,
    /// Inlet connection.
    pub inlet: String,
    /// Discharge connection.
    pub discharge: String,
    /// Supply: "230 V, 50 Hz, 1 phase".
    pub supply: String,
}

/// Run hours: a row per pump and speed, a column per month.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct HoursTable {
    /// Column heads, at most twelve: "Nov", "Dec" ...
    pub months: Vec<String>,
    /// Rows; empty means no table.
    pub rows: Vec<HoursRow>,
    /// What the small letters mean, and what is not in the table.
    pub key: String,
}

/// A pump's hours at one speed.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct HoursRow {
    /// The pump.
    pub pump: String,
    /// The speed.
    pub speed: String,
    /// One cell per month of the table, in the same order.
    pub cells: Vec<HoursCell>,
    /// The sum.
    pub total: String,
    /// What the sum rests on: "metered 83 %".
    pub basis: String,
}

/// Hours in a month.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct HoursCell {
    /// Hours, or "–" where there are none to state.
    pub hours: String,
    /// Empty when metered; else the key's letter: "p" programmed, "e" estimated.
    pub letter: String,
}

/// Energy and its cost.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct EnergyTable {
    /// Currency sign or code in the head of the cost columns.
    pub currency: String,
    /// "October 2026", over the first pair of columns.
    pub month: String,
    /// Rows; empty means no table.
    pub rows: Vec<EnergyRow>,
    /// The bottom line.
    pub total: Option<EnergyRow>,
    /// Tariff and where it stands.
    pub note: String,
}

/// A line of the energy table.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct EnergyRow {
    /// The pump.
    pub pump: String,
    /// The speed; empty in a total.
    pub speed: String,
    /// Input power in kW; empty in a total.
    pub power: String,
    /// What the power rests on.
    pub power_basis: String,
    /// Energy in the month, kWh.
    pub month_energy: String,
    /// Cost in the month.
    pub month_cost: String,
    /// Energy in twelve months, kWh.
    pub year_energy: String,
    /// Cost in twelve months.
    pub year_cost: String,
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

/// Section six.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct UnknownSection {
    /// Stands for the whole section when set.
    pub nothing_to_say: Option<String>,
    /// Gaps, contradictions and estimates.
    pub unknowns: Vec<Unknown>,
    /// Defaults used.
    pub assumptions: Vec<Assumption>,
    /// What the check of the records found.
    pub diagnostics: Vec<RecordDiagnostic>,
}

/// Something not known.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Unknown {
    /// What.
    pub what: String,
    /// The record that would settle it.
    pub settled_by: String,
    /// How much it would narrow the answer.
    pub narrows: String,
}

/// A default in use.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Assumption {
    /// What was assumed.
    pub what: String,
    /// The value with its unit.
    pub value: String,
    /// The record that changes it.
    pub change_at: String,
}

/// A finding about the records.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct RecordDiagnostic {
    /// Error, warning or note.
    pub severity: String,
    /// File and line.
    pub place: String,
    /// What is wrong and how to put it right.
    pub message: String,
}

/// Section seven.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct ClosingSection {
    /// Cautions; see `report::cautions`.
    pub cautions: Vec<Caution>,
    /// Each method in two lines.
    pub methods: Vec<Method>,
    /// Each limit with its source.
    pub sources: Vec<LimitSource>,
    /// Programs and rule books with their versions.
    pub versions: Vec<Version>,
    /// The inputs' digests.
    pub inputs: Vec<InputDigest>,
}

/// A caution.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Caution {
    /// What it is about.
    pub subject: String,
    /// The caution.
    pub text: String,
    /// Its short source and how that is known, or that none is cited.
    pub source: String,
}

/// How a figure came about.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Method {
    /// Its name.
    pub name: String,
    /// Two lines on it.
    pub text: String,
}

/// Where a limit comes from.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct LimitSource {
    /// What is limited.
    pub limit: String,
    /// The value with its unit.
    pub value: String,
    /// Source with its edition.
    pub source: String,
    /// How the value is known: read in the source, or in a reproduction.
    pub how_known: String,
}

/// A program or rule book and its version.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Version {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
}

/// A file read, and its digest.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct InputDigest {
    /// Path inside the fleet's folder.
    pub path: String,
    /// SHA-256 in hexadecimal.
    pub sha256: String,
}
