//! `index.html`: all sites at a glance in a browser, and the way to every document of the month.
//!
//! One file that fetches nothing. The table is whole without JavaScript; with it, columns sort and rows filter. As in
//! every view, each leaf is finished text: the sort keys too, which are numbers written out, so that a template places
//! them and computes nothing. The page links what the run has written and nothing else.

use std::collections::BTreeSet;

use schemars::JsonSchema;
use serde::Serialize;

use crate::calendar;
use crate::fleet_figures::FleetFigures;
use crate::output::FileDigest;
use crate::quantities::water_turnover::Verdict;
use crate::records::fleet::{ReportsFor, Units};
use crate::report::cautions::in_order;
use crate::report::fleet_state::{self, Standing};
use crate::report::format::{self, NOT_KNOWN};
use crate::report::site::Worst;
use crate::to_do::Urgency;

/// The version of the shape below; it goes up with any change that an overriding template would notice.
pub const VIEW_VERSION: u32 = 1;

/// What is due before anything is done.
const CAUTION: &str = "Local codes and licensed practice come before anything here. Isolate the mains before work on a \
    pump; close a spa whose suction cover is loose, cracked or missing, or whose water is over 40 °C (104 °F).";

/// Everything on the page.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct IndexView {
    /// [`VIEW_VERSION`] at the time of writing.
    pub view_version: u32,
    /// Names and language.
    pub document: Page,
    /// How the fleet stands, in a sentence.
    pub summary: String,
    /// The key of the worst state among the sites.
    pub summary_key: String,
    /// Its shape; empty where all is in order.
    pub summary_shape: String,
    /// How many sites stand how; those with none are left out.
    pub counts: Vec<Count>,
    /// What is not in the figures, each a finished notice.
    pub left_out: Vec<String>,
    /// Whether visits are planned, so that the next has a column.
    pub has_visits: bool,
    /// The currency of the costs; `None` where none is shown.
    pub currency: Option<String>,
    /// The sites, the worst first.
    pub rows: Vec<Row>,
    /// What is due before anything is done, in a few words.
    pub caution: String,
    /// The fleet's own documents.
    pub files: Vec<Link>,
    /// The tables.
    pub tables: Vec<Link>,
}

/// What stands at the head of the page.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Page {
    /// The title of the window.
    pub title: String,
    /// The fleet's name; templates of documents call it the same.
    pub site: String,
    /// The month in words.
    pub month: String,
    /// "from records up to 31 October 2026".
    pub as_of: String,
    /// Who prepared it.
    pub prepared_by: String,
    /// BCP 47 tag.
    pub lang: String,
}

/// How many sites stand so.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Count {
    /// The state's word: "act now", "in order".
    pub word: String,
    /// Its key, which rows carry: "0" for the most pressing.
    pub key: String,
    /// The shape beside it.
    pub shape: String,
    /// How many.
    pub sites: String,
}

/// A site.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Row {
    /// Its name.
    pub name: String,
    /// Its report, or the folder of its charts where no PDF was made; empty where there is neither.
    pub href: String,
    /// Who pays; may be empty.
    pub customer: String,
    /// The key of its state, for sorting and filtering.
    pub key: String,
    /// The shape of its state.
    pub shape: String,
    /// The word of its state.
    pub word: String,
    /// The most pressing thing in words; may be empty.
    pub first: String,
    /// How many things there are to do; a number.
    pub things: String,
    /// Turnover of the spa whose water is worst off, with its unit, or "not known".
    pub turnover: String,
    /// Its limit, or what else is to be said of it; may be empty.
    pub limit: String,
    /// Whether a spa's water is turned over too slowly or filtered too few hours.
    pub is_short: bool,
    /// Turnover against its limit, for sorting; empty where it is not known.
    pub turnover_key: String,
    /// Parts past their limit or due in 90 days; a number.
    pub parts: String,
    /// The next planned visit; may be empty.
    pub visit: String,
    /// Its day, for sorting.
    pub visit_key: String,
    /// Planned work of twelve months; may be empty.
    pub cost: String,
    /// The same as a plain number, for sorting.
    pub cost_key: String,
    /// Further documents.
    pub links: Vec<Link>,
}

/// A way to a document.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Link {
    /// Its path from the page.
    pub href: String,
    /// What it is called.
    pub name: String,
}

/// Letters of a name in a row.
const NAME: usize = 120;

/// The key of a state: its rank as a digit.
fn key(urgency: Option<Urgency>) -> String {
    urgency.map_or(9, |u| u as u8).to_string()
}

/// The shape that stands for an urgency; in the order and with the meaning of every document.
fn shape(urgency: Option<Urgency>) -> &'static str {
    match urgency {
        Some(Urgency::DoNotUse) => "■",
        Some(Urgency::ActNow) => "▲",
        Some(Urgency::Plan) => "●",
        Some(Urgency::Note) => "○",
        None => "",
    }
}

/// The page of a fleet. `files` are those the run has written so far; nothing else is linked.
pub fn view(figures: &FleetFigures, files: &[FileDigest], left_out: &[String]) -> IndexView {
    let settings = &figures.fleet.settings;
    let office = settings.reports_for == ReportsFor::Office;
    let written: BTreeSet<&str> = files.iter().map(|file| file.path.as_str()).collect();
    let standings = fleet_state::worst_first(&figures.sites);
    let month = figures.month.in_words();
    // The worst stand first.
    let worst = standings.first().and_then(Standing::urgency);
    IndexView {
        view_version: VIEW_VERSION,
        document: Page {
            title: format!("{}: {month}", settings.fleet.0),
            site: settings.fleet.0.clone(),
            month,
            as_of: format!(
                "from records up to {}; {}",
                calendar::in_words(figures.as_of),
                fleet_state::judged_by(figures)
            ),
            prepared_by: settings.prepared_by.as_ref().map_or_else(String::new, |by| by.0.clone()),
            lang: if settings.units == Units::Us { "en-US" } else { "en-GB" }.to_owned(),
        },
        summary: fleet_state::sentence(&standings),
        summary_key: key(worst),
        summary_shape: shape(worst).to_owned(),
        counts: fleet_state::counts(&standings)
            .into_iter()
            .filter(|(_, sites)| *sites > 0)
            .map(|(urgency, sites)| Count {
                word: urgency.map_or("in order", Urgency::words).to_owned(),
                key: key(urgency),
                shape: shape(urgency).to_owned(),
                sites: sites.to_string(),
            })
            .collect(),
        left_out: if office { left_out.to_vec() } else { Vec::new() },
        has_visits: !figures.plan.visits.is_empty(),
        currency: office.then(|| format::currency_sign(&settings.currency.0).to_owned()),
        rows: standings.iter().map(|standing| row(figures, standing, &written, office)).collect(),
        caution: in_order(CAUTION, settings.units),
        files: [
            ("fleet.pdf", "Report of the fleet"),
            ("fleet.xlsx", "Workbook"),
            ("schedule.ics", "Calendar of visits"),
        ]
        .into_iter()
        .filter(|(path, _)| written.contains(path))
        .map(|(href, name)| Link { href: href.to_owned(), name: name.to_owned() })
        .collect(),
        tables: written
            .iter()
            .filter_map(|path| {
                let name = path.strip_prefix("tables/")?.strip_suffix(".csv")?;
                Some(Link { href: (*path).to_owned(), name: name.to_owned() })
            })
            .collect(),
    }
}

fn row(figures: &FleetFigures, standing: &Standing, written: &BTreeSet<&str>, office: bool) -> Row {
    let site = standing.site.site;
    let folder = format!("sites/{}", site.id);
    let customer = site.customer.as_ref();
    let link = |href: String, name: &str| written.contains(href.as_str()).then(|| Link { href, name: name.to_owned() });
    let links = [
        link(format!("{folder}/visits.pdf"), "work sheets"),
        link(format!("{folder}/logbook.pdf"), "log book"),
        customer.and_then(|customer| link(format!("customers/{customer}/statement.pdf"), "statement")),
    ];
    let report = format!("{folder}/report.pdf");
    let closed = site.is_closed(standing.site.as_of);
    let (turnover, mut limit, turnover_key) = match &standing.numbers.worst {
        Some(worst @ Worst { minutes, limit, .. }) => (
            format!("{} min", format::number(*minutes, 1)),
            match limit {
                Some(limit) if minutes > limit => format!("over the limit of {} min", format::number(*limit, 0)),
                Some(limit) => format!("limit {} min", format::number(*limit, 0)),
                None => "no limit known".to_owned(),
            },
            format!("{:.3}", worst.against_limit()),
        ),
        None if closed => ("closed".to_owned(), String::new(), String::new()),
        None => (NOT_KNOWN.to_owned(), String::new(), String::new()),
    };
    let short: Vec<_> = standing
        .site
        .spas
        .iter()
        .filter_map(|spa| spa.water.months.last())
        .filter(|row| row.verdict == Verdict::Short)
        .collect();
    if short.iter().any(|row| row.failing.contains(&"filtration hours")) {
        limit.push_str("; filtered too few hours");
    }
    let visit = figures.plan.of_site(&site.id).map(|visit| visit.date).min();
    let cost = standing.numbers.planned_cost.filter(|_| office);
    Row {
        name: format::clipped(&site.name, NAME),
        href: if written.contains(report.as_str()) { report } else { String::new() },
        customer: customer
            .and_then(|id| figures.fleet.customers.get(id))
            .and_then(|c| c.name.as_ref())
            .map_or_else(String::new, |name| format::clipped(&name.0, NAME)),
        key: key(standing.urgency()),
        shape: shape(standing.urgency()).to_owned(),
        word: standing.words().to_owned(),
        first: standing.groups.first().map_or_else(String::new, |group| first_thing(standing, group)),
        things: standing.groups.len().to_string(),
        turnover,
        limit,
        is_short: !short.is_empty(),
        turnover_key,
        parts: standing.numbers.parts_due.to_string(),
        visit: visit.map_or_else(String::new, |day| format::near_date(day, figures.as_of)),
        visit_key: visit.map_or_else(String::new, |day| day.to_string()),
        cost: cost.map_or_else(String::new, |cost| format::money_whole(cost, &figures.fleet.settings.currency.0)),
        cost_key: cost.map_or_else(String::new, |cost| cost.to_string()),
        links: links.into_iter().flatten().collect(),
    }
}

/// The most pressing thing in a line: what, and where.
fn first_thing(standing: &Standing, group: &[&crate::to_do::ToDo]) -> String {
    let places: Vec<String> = group
        .iter()
        .filter_map(|one| one.at.as_ref())
        .map(|at| match (standing.site.spas.len(), at.as_str().split_once('/')) {
            (1, Some((_, rest))) => format::words(&rest.replace('/', ", ")),
            _ => format::place(at.as_str()),
        })
        .collect();
    let what = format::sentence(&group[0].what);
    let shown: String = what.chars().take(120).collect();
    let what = if shown.len() < what.len() { format!("{shown}…") } else { what };
    match places.as_slice() {
        [] => what,
        [first] => format!("{what}: {first}"),
        [first, others @ ..] => format!("{what}: {first} and {} more", others.len()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::template::Templates;

    fn row(number: usize) -> Row {
        Row {
            name: format!("Site of a name of the usual length {number}"),
            href: format!("sites/site-of-a-usual-length-{number}/report.pdf"),
            customer: "A customer of the usual length".to_owned(),
            key: "1".to_owned(),
            shape: "▲".to_owned(),
            word: "act now".to_owned(),
            first: "Close the spa until its suction covers are renewed: terrace and 3 more".to_owned(),
            things: "12".to_owned(),
            turnover: "11.9 min".to_owned(),
            limit: "over the limit of 10 min; filtered too few hours".to_owned(),
            is_short: true,
            turnover_key: "1.190".to_owned(),
            parts: "14".to_owned(),
            visit: "12 Nov".to_owned(),
            visit_key: "2026-11-12".to_owned(),
            cost: "£ 12 345".to_owned(),
            cost_key: "12345.67".to_owned(),
            links: ["visits", "logbook"]
                .map(|name| Link {
                    href: format!("sites/site-of-a-usual-length-{number}/{name}.pdf"),
                    name: name.to_owned(),
                })
                .to_vec(),
        }
    }

    #[test]
    fn the_page_of_a_thousand_sites_stays_small() {
        let view = IndexView {
            view_version: VIEW_VERSION,
            document: Page {
                title: "Fleet".to_owned(),
                site: "Fleet".to_owned(),
                month: "October 2026".to_owned(),
                as_of: "from records up to 31 October 2026".to_owned(),
                prepared_by: String::new(),
                lang: "en-GB".to_owned(),
            },
            summary: "All is well.".to_owned(),
            summary_key: "9".to_owned(),
            summary_shape: String::new(),
            counts: Vec::new(),
            left_out: vec!["<b>&\"".to_owned()],
            has_visits: true,
            currency: Some("GBP".to_owned()),
            rows: (0..1000).map(row).collect(),
            caution: in_order(CAUTION, Units::Us),
            files: Vec::new(),
            tables: Vec::new(),
        };
        let page = Templates::embedded().unwrap().render_index(&view).unwrap();
        assert!(page.len() < 2_000_000, "{} bytes", page.len());
        assert!(page.len() > 1_000_000, "{} bytes: are all rows there?", page.len());
        assert!(page.contains("over 104 °F (40 °C)"), "the unit of the fleet comes first");
        // What records say is text, never markup.
        assert!(page.contains("&lt;b&gt;&amp;&quot;") && !page.contains("<b>&"), "not escaped");
    }
}
