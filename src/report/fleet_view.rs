//! What the fleet's report says, as finished text, for the manager: how the fleet stands, what needs a decision, the
//! coming month's work, money, what stands out, what to buy, how good the forecasts were, and a line a site.
//!
//! Like every view it holds finished strings and does not know the page. A section whose figures are not there is left
//! out. What is added up here over sites is added from the figures of the sites and stands in `headlines.csv` too.

mod appendix;
mod decisions;
mod money;
mod record;
mod stands_out;
mod work;

use schemars::JsonSchema;
use serde::Serialize;

use crate::calendar;
use crate::fleet_figures::FleetFigures;
use crate::records::fleet::{Paper, Units};
use crate::report::fleet_state;
use crate::report::site::{Numbers, in_view};
use crate::report::view::{self, Caution, Chart, Document, Headline, Mark, State};

/// The version of the shape below; it goes up with any change that an overriding template would notice.
pub const FLEET_VIEW_VERSION: u32 = 1;

/// Everything in the fleet's report.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct FleetView {
    /// [`FLEET_VIEW_VERSION`] at the time of writing.
    pub view_version: u32,
    /// Names, paper and language; `site` is the fleet's name.
    pub document: Document,
    /// How the fleet stands, in one paragraph.
    pub state: State,
    /// Three numbers with last month's beside them.
    pub numbers: Vec<Headline>,
    /// What is not in the figures, each a finished notice.
    pub left_out: Vec<String>,
    /// Pictures.
    pub charts: Vec<Chart>,
    /// What changed since last month, a sentence each.
    pub since: Vec<String>,
    /// The sites that need a decision, at most ten, the most pressing first.
    pub decisions: Vec<Decision>,
    /// Stands instead where there is none.
    pub no_decisions: String,
    /// How many more there are; may be empty.
    pub more_decisions: String,
    /// The coming month's visits; nothing where none is planned.
    pub work: Option<Work>,
    /// What the fleet costs.
    pub money: Money,
    /// Contracts against their price; nothing where none is in force.
    pub contracts: Option<crate::report::contracts_view::ContractsSection>,
    /// Trends and outliers.
    pub stands_out: StandsOut,
    /// What to buy and to carry; nothing where it is not computed.
    pub buy: Option<Buy>,
    /// How good the forecasts were.
    pub record: Record,
    /// A line a site.
    pub sites: Vec<SiteLine>,
    /// Under the lines; may be empty.
    pub sites_note: String,
    /// Standing cautions.
    pub cautions: Vec<Caution>,
}

/// A site that needs a decision.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Decision {
    /// How pressing.
    pub mark: Mark,
    /// Its word.
    pub mark_word: String,
    /// The site's name.
    pub site: String,
    /// What is to be decided, a thing each.
    pub things: Vec<Thing>,
    /// "and 3 more things"; may be empty.
    pub more: String,
}

/// A thing at a site.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Thing {
    /// What and where.
    pub what: String,
    /// Why, and what happens if it is left.
    pub why: String,
    /// By when.
    pub by_when: String,
}

/// The coming month's work.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Work {
    /// In a sentence or two.
    pub summary: String,
    /// By week and technician.
    pub weeks: Vec<Week>,
    /// The visits, in order, as many as are listed.
    pub visits: Vec<Visit>,
    /// That there are more than are listed, and where they are; may be empty.
    pub visits_note: String,
    /// What did not fit into a visit, a sentence each.
    pub not_fitted: Vec<String>,
}

/// A technician's week.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Week {
    /// "2 to 8 Nov".
    pub week: String,
    /// Who.
    pub technician: String,
    /// How many visits.
    pub visits: String,
    /// Hours of work.
    pub work: String,
    /// Hours on the way.
    pub travel: String,
    /// How many urgent tasks are in it; a dash for none.
    pub urgent: String,
}

/// A visit.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Visit {
    /// The day.
    pub date: String,
    /// Who.
    pub technician: String,
    /// Where.
    pub site: String,
    /// What is done, in a line.
    pub tasks: String,
    /// Minutes of work.
    pub minutes: String,
}

/// What the fleet costs.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Money {
    /// In a sentence or two.
    pub summary: String,
    /// The currency, for heads.
    pub currency: String,
    /// Heads of the two years compared.
    pub years: [String; 2],
    /// What was and is: a line each.
    pub lines: Vec<MoneyLine>,
    /// Planned work by kind, the dearest first.
    pub planned: Vec<PlannedLine>,
    /// Its sum; may be empty.
    pub planned_total: String,
    /// What is in it and what is not.
    pub note: String,
}

/// A line of what was spent.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct MoneyLine {
    /// What, with its unit.
    pub what: String,
    /// In the twelve months up to the as-of day.
    pub year: String,
    /// In the twelve months before.
    pub before: String,
    /// The change, in per cent; may be a dash.
    pub change: String,
}

/// A kind of planned work.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct PlannedLine {
    /// The part or task.
    pub what: String,
    /// How often in twelve months.
    pub times: String,
    /// At how many sites.
    pub sites: String,
    /// The amount; a dash where a price is missing.
    pub amount: String,
}

/// Trends and outliers.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct StandsOut {
    /// Stands instead where nothing does.
    pub nothing_to_say: Option<String>,
    /// What stands out, the most telling first.
    pub rows: Vec<Finding>,
    /// Under the table.
    pub note: String,
    /// Failures by model, those with the most first.
    pub models: Vec<ModelRow>,
    /// Under that table.
    pub models_note: String,
    /// What the fleet's failures say of the lives of parts, a few sentences a kind.
    pub part_lives: Vec<String>,
    /// How many failures a pump has had by its hours.
    pub charts: Vec<Chart>,
    /// What failures cost, the dearest kind first.
    pub costs: Vec<FailureCostRow>,
    /// The currency of those costs.
    pub currency: String,
    /// Under them.
    pub costs_note: String,
}

/// What the failures of a kind cost.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct FailureCostRow {
    /// What failed.
    pub what: String,
    /// How often.
    pub failures: String,
    /// What one costs; a dash where a price is missing.
    pub each: String,
    /// What all of them cost.
    pub cost: String,
    /// The share of all.
    pub share: String,
    /// The share of it and all before it.
    pub summed: String,
}

/// Something that stands out.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Finding {
    /// Which kind of thing: "failures", "water turnover".
    pub kind: String,
    /// The site and place.
    pub place: String,
    /// What is seen.
    pub seen: String,
    /// Against what.
    pub against: String,
}

/// A pump model's failures.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct ModelRow {
    /// The model.
    pub model: String,
    /// Hours its pumps ran while failures were written down.
    pub hours: String,
    /// Failures.
    pub failures: String,
    /// Failures in 10,000 h, with the central 80 %.
    pub rate: String,
}

/// What to buy and to carry.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Buy {
    /// In a sentence.
    pub summary: String,
    /// The parts.
    pub rows: Vec<BuyRow>,
    /// Under the rows: what one fewer and one more are reckoned by, and where one more would be cheaper.
    pub note: String,
}

/// A part to buy.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct BuyRow {
    /// Which.
    pub part: String,
    /// The number on the order; may be empty.
    pub number: String,
    /// Pieces that planned visits take.
    pub planned: String,
    /// Failures expected in the same months.
    pub failures: String,
    /// Pieces to hold for failures.
    pub hold: String,
    /// What a set costs; a dash where it is not written.
    pub set_cost: String,
    /// What one set fewer costs in a lead time, on the average; a dash where none is held or no night has a price.
    pub one_fewer_costs: String,
    /// What one set more saves in a lead time, on the average.
    pub one_more_saves: String,
    /// The day by which to order; a dash where nothing is ordered.
    pub order_by: String,
}

/// How good the forecasts were.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Record {
    /// Stands instead where none can be held against what happened.
    pub nothing_to_say: Option<String>,
    /// In a sentence or two.
    pub summary: String,
    /// Pictures.
    pub charts: Vec<Chart>,
    /// A line for each horizon.
    pub rows: Vec<RecordRow>,
    /// Under the table.
    pub note: String,
}

/// The forecasts of one horizon.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct RecordRow {
    /// What was forecast and how far ahead.
    pub what: String,
    /// How many forecasts.
    pub forecasts: String,
    /// How many ranges held.
    pub held: String,
    /// Their share.
    pub share: String,
    /// What was expected, all together.
    pub expected: String,
    /// What happened.
    pub observed: String,
    /// The difference in per cent.
    pub difference: String,
}

/// A site in a line.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct SiteLine {
    /// How it stands.
    pub mark: Mark,
    /// The word of it.
    pub word: String,
    /// Its name.
    pub site: String,
    /// How many spas.
    pub spas: String,
    /// Things to do.
    pub things: String,
    /// Turnover of the spa whose water is worst off, against its limit.
    pub turnover: String,
    /// Parts past their limit or due in 90 days.
    pub parts: String,
    /// Energy of the month.
    pub energy: String,
    /// Planned work of twelve months.
    pub cost: String,
}

/// Letters of a site's name in a sentence or a cell.
const NAME: usize = 60;

/// What the view is made from.
pub struct Given<'a> {
    /// The fleet's figures.
    pub figures: &'a FleetFigures<'a>,
    /// The numbers of the month before, site by site.
    pub previous: &'a [Option<Numbers>],
    /// What was left out, in words.
    pub left_out: &'a [String],
    /// The charts drawn.
    pub charts: &'a Charts,
}

/// The charts of the report.
#[derive(Debug, Default)]
pub struct Charts {
    /// When parts fall due.
    pub ahead: Option<crate::charts::Chart>,
    /// Whether past ranges held.
    pub held: Option<crate::charts::Chart>,
    /// Mean failures of all pumps, and of models where these are few.
    pub means: Vec<crate::charts::Chart>,
}

pub use record::{PROMISED, ranges_made};

impl Given<'_> {
    fn currency(&self) -> &str {
        &self.figures.fleet.settings.currency.0
    }

    /// The name of the month before.
    fn last_month(&self) -> &'static str {
        calendar::MONTHS[self.figures.month.plus(-1).number() as usize - 1]
    }
}

/// The view of the fleet's report.
pub fn view(given: &Given) -> FleetView {
    let standings = fleet_state::worst_first(&given.figures.sites);
    let decided = decisions::decisions(given, &standings);
    FleetView {
        view_version: FLEET_VIEW_VERSION,
        document: document(given),
        state: decisions::state(given, &standings),
        numbers: decisions::numbers(given, &standings),
        left_out: decisions::left_out(given).into_iter().chain(record::notice(given)).collect(),
        charts: given.charts.ahead.iter().map(|chart| in_view(chart, "When do parts fall due?")).collect(),
        since: decisions::since(given),
        no_decisions: "No site needs a decision now.".to_owned(),
        more_decisions: decided.more,
        decisions: decided.shown,
        work: work::work(given),
        money: money::money(given),
        contracts: crate::report::contracts_view::section(given.figures.fleet, &given.figures.costs),
        stands_out: stands_out::stands_out(given),
        buy: work::buy(given),
        record: record::record(given),
        sites: appendix::sites(given, &standings),
        sites_note: appendix::note(&standings),
        cautions: crate::report::cautions::cautions(given.figures.fleet.settings.units),
    }
}

fn document(given: &Given) -> Document {
    let settings = &given.figures.fleet.settings;
    let month = given.figures.month.in_words();
    let fleet = settings.fleet.0.clone();
    Document {
        title: format!("{fleet}: report of the fleet for {month}"),
        footer: format!(
            "{fleet} · {month} · from records up to {} · {}",
            calendar::in_words(given.figures.as_of),
            fleet_state::judged_by(given.figures)
        ),
        site: fleet,
        month,
        prepared_by: given.figures.fleet.prepared_by().to_owned(),
        prepared_for: None,
        as_of: given.figures.as_of.to_string(),
        paper: match settings.paper {
            Paper::A4 => view::Paper::A4,
            Paper::UsLetter => view::Paper::UsLetter,
        },
        lang: if settings.units == Units::Us { "en-US" } else { "en-GB" }.to_owned(),
        header: "All sites".to_owned(),
    }
}

/// The name of a site as it stands in a sentence or a cell: one of thousands of letters would leave no room for the others.
fn name(site: &crate::site::SiteFigures) -> String {
    crate::report::format::clipped(&site.site.name, NAME)
}

/// A place within a site: the spa is left out where there is only one.
fn within(site: &crate::site::SiteFigures, at: &str) -> String {
    match (site.spas.len(), at.split_once('/')) {
        (1, Some((_, rest))) => crate::report::format::words(&rest.replace('/', ", ")),
        _ => crate::report::format::place(at),
    }
}

/// A change in per cent with its sign; a dash where there is nothing to compare with.
fn change(before: f64, now: f64) -> String {
    if before <= 0.0 {
        return "–".to_owned();
    }
    let percent = ((now / before - 1.0) * 100.0).round();
    let sign = if percent > 0.0 { "+" } else { "" };
    format!("{sign}{} %", crate::report::format::number(percent, 0))
}
