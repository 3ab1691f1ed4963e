//! What a site's report says: the figures as finished sentences and cells.
//!
//! Every sentence with a number in it is computed here from the figures; what is not known says which
//! record would let it be known.

mod closing;
mod gaps;
mod page_one;
mod parts;
mod pumps;
mod unknowns;
mod visits;
mod water;

use crate::calendar::{self, Month};
use crate::output::FileDigest;
use crate::records::Fleet;
use crate::records::fleet::{Paper, ReportsFor, Units};
use crate::report::site::Numbers;
use crate::report::site_charts::Charts;
use crate::report::{format, view};
use crate::site::SiteFigures;

/// What a view is made from.
pub struct Given<'a> {
    /// What all sites share.
    pub fleet: &'a Fleet,
    /// The site's figures.
    pub site: &'a SiteFigures<'a>,
    /// The month reported.
    pub month: Month,
    /// The numbers of the month before.
    pub previous: Option<&'a Numbers>,
    /// The charts drawn.
    pub charts: &'a Charts,
    /// Digests of the fleet's files.
    pub inputs: &'a [FileDigest],
    /// The renderer's version.
    pub renderer: &'a str,
}

/// Actions on page one.
pub(super) const ACTIONS: usize = page_one::ACTIONS;
/// Months in the tables of the report.
const MONTHS: usize = 12;

impl Given<'_> {
    fn units(&self) -> Units {
        self.fleet.settings.units
    }

    /// Whether the report is for the office: costs, notes and record files may stand in it.
    fn office(&self) -> bool {
        self.fleet.settings.reports_for == ReportsFor::Office
    }

    fn currency(&self) -> &str {
        &self.fleet.settings.currency.0
    }
}

/// The site report's view.
pub fn view(given: &Given) -> view::SiteView {
    view::SiteView {
        view_version: view::VIEW_VERSION,
        document: document_of(given.fleet, given.site, given.month),
        page_one: page_one::page_one(given),
        water: water::water(given),
        pumps: pumps::pumps(given),
        parts: parts::parts(given),
        visits: visits::visits(given),
        unknowns: unknowns::unknowns(given),
        closing: closing::closing(given),
    }
}

/// Names, paper and language of a site's documents.
pub fn document_of(fleet: &Fleet, figures: &SiteFigures, month: Month) -> view::Document {
    let settings = &fleet.settings;
    let site = figures.site;
    let customer = site.customer.as_ref().and_then(|id| fleet.customers.get(id));
    let month = month.in_words();
    view::Document {
        title: format!("{}: report for {month}", site.name),
        site: site.name.clone(),
        month: month.clone(),
        prepared_by: fleet.prepared_by().to_owned(),
        prepared_for: customer.and_then(|c| c.name.as_ref()).map(|n| n.0.clone()),
        as_of: figures.as_of.to_string(),
        paper: match settings.paper {
            Paper::A4 => view::Paper::A4,
            Paper::UsLetter => view::Paper::UsLetter,
        },
        lang: if settings.units == Units::Us { "en-US" } else { "en-GB" }.to_owned(),
        header: settings.fleet.0.clone(),
        footer: format!(
            "{} · {month} · from records up to {} · {}",
            site.name,
            calendar::in_words(figures.as_of),
            match fleet.rule_book(site).filter(|book| book.limits(site.r#use).is_some()) {
                Some(book) => format!("rule book {}; local codes come first", book.name),
                None => "no limits; local codes come first".to_owned(),
            }
        ),
    }
}

fn plural(count: usize, one: &str, many: &str) -> String {
    match count {
        1 => format!("one {one}"),
        2..=9 => {
            let word = ["two", "three", "four", "five", "six", "seven", "eight", "nine"][count - 2];
            format!("{word} {many}")
        }
        _ => format!("{count} {many}"),
    }
}

/// Something at a site, in words: the spa is left out where there is only one.
fn place(given: &Given, at: &str) -> String {
    match (given.site.spas.len(), at.split_once('/')) {
        (1, Some((_, rest))) => format::place(rest),
        _ => format::place(at),
    }
}

/// A place in the middle of a sentence: a spa's name keeps its capital, what belongs to the only spa has none.
fn place_inside(given: &Given, at: &str) -> String {
    let words = place(given, at);
    if given.site.spas.len() > 1 || !at.contains('/') {
        return words;
    }
    let mut characters = words.chars();
    characters.next().map_or_else(String::new, |first| first.to_lowercase().collect::<String>() + characters.as_str())
}
