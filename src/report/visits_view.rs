//! What the work sheets of a site say, as finished text: a page for each coming visit, a page for the exchange of a
//! pump, and for a site nobody has written anything down of, a survey page for each spa.
//!
//! It exists so that what a technician takes along is decided and tested in Rust, and the template only places it.
//! Notes are allowed here; prices are not. A blank has the name of the field it ends up in, and nothing on the sheet
//! stands for the local code or for who may do the work.

mod cautions;
mod exchange;
mod sheet;
mod survey;

use schemars::JsonSchema;
use serde::Serialize;

use crate::calendar::Month;
use crate::records::Fleet;
use crate::report::view::Document;
use crate::schedule::visits::Plan;
use crate::site::SiteFigures;
use crate::work_sheet::{self, Blank, Kind};

/// The version of the shape below. It goes up with any change that an overriding template would notice.
pub const VISITS_VIEW_VERSION: u32 = 1;

/// Everything in the work sheets of a site.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct VisitsView {
    /// [`VISITS_VIEW_VERSION`] at the time of writing.
    pub view_version: u32,
    /// Names, paper and language.
    pub document: Document,
    /// A site without history: a page for each spa.
    pub surveys: Vec<SurveyPage>,
    /// A page for each coming visit.
    pub sheets: Vec<SheetPage>,
    /// The page for the exchange of a pump.
    pub exchange: Option<ExchangePage>,
}

/// The work sheet of a visit.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct SheetPage {
    /// The visit's name.
    pub visit: String,
    /// The site's name.
    pub site: String,
    /// The day in words.
    pub when: String,
    /// Who goes.
    pub who: String,
    /// Minutes of work and of the way.
    pub minutes: String,
    /// Where it is.
    pub address: String,
    /// Where the key is.
    pub key: String,
    /// Whom to ask for.
    pub contact: String,
    /// What comes before everything.
    pub first: String,
    /// Parts to take.
    pub take: Vec<TakeRow>,
    /// What was noted at earlier visits, and why the visit moved.
    pub notes: Vec<String>,
    /// Blanks filled in on arrival.
    pub arriving: Vec<BlankView>,
    /// What is read before anything is switched off.
    pub readings: Vec<AskedView>,
    /// The work.
    pub jobs: Vec<JobView>,
    /// What is read when it is done.
    pub after: Vec<AskedView>,
    /// Blanks filled in before leaving.
    pub leaving: Vec<BlankView>,
    /// How the sheet is typed back.
    pub type_back: String,
}

/// Parts to take for the same measures.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct TakeRow {
    /// How many of what, with its number.
    pub parts: Vec<String>,
    /// What they must match.
    pub measures: String,
}

/// Something to be written down.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct BlankView {
    /// The field.
    pub name: String,
    /// `number`, `word`, `words`, `day`, `time`, `tick` or `one_of`.
    pub kind: String,
    /// The unit.
    pub unit: String,
    /// What stands there already.
    pub filled: String,
    /// Words with a box each.
    pub words: Vec<String>,
}

/// Blanks of one address.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct AskedView {
    /// The address, as it is typed.
    pub at: String,
    /// The blanks.
    pub blanks: Vec<BlankView>,
}

/// A piece of work.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct JobView {
    /// The address, as it is typed, where it is another than before; else empty.
    pub at: String,
    /// What stands there: model and measures.
    pub identity: String,
    /// What can hurt, before the step; in full the first time.
    pub caution: String,
    /// The reminder of a caution that stands above.
    pub reminder: String,
    /// What is done.
    pub what: String,
    /// Why now, minutes, who may.
    pub why: String,
    /// Whether it comes first whatever it costs.
    pub urgent: bool,
    /// What is written down. Empty: the box before it is all.
    pub blanks: Vec<BlankView>,
}

/// The page for the exchange of a pump.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct ExchangePage {
    /// The site's name.
    pub site: String,
    /// What comes before everything.
    pub first: String,
    /// The site's pumps.
    pub pumps: Vec<ExchangePump>,
    /// The steps, in order.
    pub steps: Vec<ExchangeStep>,
    /// What is written down.
    pub blanks: Vec<BlankView>,
    /// How it is typed back, and where the comparison stands.
    pub type_back: Vec<String>,
}

/// Pumps alike, with what a new one must match.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct ExchangePump {
    /// Their addresses.
    pub places: String,
    /// The model.
    pub model: String,
    /// What must match.
    pub measures: String,
    /// Models that are like for like.
    pub like: String,
    /// Gaskets and conductors.
    pub needs: String,
}

/// A step of the exchange.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct ExchangeStep {
    /// What can hurt, before it.
    pub caution: String,
    /// In a few words.
    pub title: String,
    /// The step.
    pub text: String,
}

/// The survey of a spa.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct SurveyPage {
    /// The site's name.
    pub site: String,
    /// The spa, as it is addressed.
    pub spa: String,
    /// Where it is, the key and the contact.
    pub address: String,
    /// What comes before everything.
    pub first: String,
    /// The steps, in order.
    pub steps: Vec<SurveyStep>,
    /// Where it is typed in.
    pub type_back: String,
}

/// A step of a survey.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct SurveyStep {
    /// What can hurt, before it.
    pub caution: String,
    /// What is looked at.
    pub title: String,
    /// What to photograph.
    pub photograph: String,
    /// Whether its table needs the width of the page.
    pub wide: bool,
    /// Heads of the columns of `rows`; empty where the step has `blanks`.
    pub columns: Vec<String>,
    /// A field a row, with what is known in each column.
    pub rows: Vec<SurveyRow>,
    /// What is written down.
    pub blanks: Vec<BlankView>,
}

/// A field of several pumps or filters side by side.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct SurveyRow {
    /// The field.
    pub field: String,
    /// What is known of each; empty is a blank.
    pub cells: Vec<String>,
}

/// What the work sheets of a site are made from.
pub struct Given<'a> {
    /// What all sites share.
    pub fleet: &'a Fleet,
    /// The site's figures.
    pub site: &'a SiteFigures<'a>,
    /// The planned visits.
    pub plan: &'a Plan,
    /// The month.
    pub month: Month,
    /// The site report's document: names, paper, language.
    pub document: &'a Document,
}

/// The work sheets of a site; `None` if there is nothing to put on one.
pub fn view(given: &Given) -> Option<VisitsView> {
    let site = given.site.site;
    let surveys = if work_sheet::has_no_history(site) { survey::surveys(given) } else { Vec::new() };
    let coming = work_sheet::coming(given.plan, &site.id, given.site.as_of);
    let sheets: Vec<SheetPage> = coming.into_iter().map(|visit| sheet::page(given, visit)).collect();
    let exchange = exchange::page(given);
    if surveys.is_empty() && sheets.is_empty() && exchange.is_none() {
        return None;
    }
    Some(VisitsView {
        view_version: VISITS_VIEW_VERSION,
        document: Document {
            title: format!("{}: work sheets from {}", site.name, given.month.in_words()),
            header: "Work sheets".to_owned(),
            ..given.document.clone()
        },
        surveys,
        sheets,
        exchange,
    })
}

fn blank_view(blank: &Blank) -> BlankView {
    let (kind, words) = match &blank.kind {
        Kind::Number => ("number", Vec::new()),
        Kind::Word => ("word", Vec::new()),
        Kind::Words => ("words", Vec::new()),
        Kind::Day => ("day", Vec::new()),
        Kind::Time => ("time", Vec::new()),
        Kind::Tick(value) => ("tick", vec![value.clone()]),
        Kind::OneOf(words) => ("one_of", words.iter().map(|word| (*word).to_owned()).collect()),
    };
    BlankView {
        name: blank.key.clone(),
        kind: kind.to_owned(),
        unit: blank.unit.to_owned(),
        filled: blank.filled.clone().unwrap_or_default(),
        words,
    }
}

/// A blank that stands on a page but is no field of a visit's log.
fn plain(name: &str, kind: &str, unit: &str, filled: Option<String>) -> BlankView {
    BlankView {
        name: name.to_owned(),
        kind: kind.to_owned(),
        unit: unit.to_owned(),
        filled: filled.unwrap_or_default(),
        words: Vec::new(),
    }
}

#[cfg(test)]
mod tests;
