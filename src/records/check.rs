//! Rules across records: addresses that nothing has, parts the book lacks, events before their
//! equipment stood there, programs and models that contradict each other, counters out of order.
//!
//! What cannot be understood is an error and costs its entry or its site; what is implausible or
//! unlike the usual is a warning and costs nothing.

mod contracts;
mod counters;
mod history;
mod names;
mod programs;
mod pumps;
mod rule_books;
mod sense;
mod speeds;
mod to_come;
mod unlikely;
mod visits;
mod wording;

use std::collections::BTreeSet;

use crate::address::{Address, Id};
use crate::diagnostic::{Diagnostic, Rule, Severity};
use crate::records::forms::Fitted;
use crate::records::tree::{Folder, LARGEST_RECORD, LARGEST_SHEET, READ_FOLDERS, SourceText};
use crate::records::yaml;
use crate::records::{Fleet, Pump, Site};

pub use contracts::senseless as contracts_without_sense;
pub use counters::check_counters;
pub use history::after_as_of;
pub(crate) use history::wrong_rows;
pub use to_come::of_fleet as far_ahead;
pub(crate) use unlikely::{
    one_question_a_value, readings as unlikely_readings, shared as unlikely_shared, spas as unlikely_spas,
};
pub(crate) use wording::gallons_in_header;

/// What was found at a site.
#[derive(Debug, Default)]
pub struct Found {
    /// What is wrong or odd.
    pub diagnostics: Vec<Diagnostic>,
    /// What was left out for it, in words.
    pub left_out: Vec<String>,
    /// Whether something costs the site its report.
    pub lost: bool,
}

/// The files of a fleet that stand in its folder itself.
const KNOWN: [&str; 7] =
    ["fleet.yaml", "sites.csv", "tubs.yaml", "pumps.yaml", "upkeep.yaml", "customers.yaml", "plan.yaml"];

/// What has been told of a site before its rules are looked at.
#[derive(Debug)]
pub struct Told<'a> {
    /// Whether the site is lost already.
    pub lost: bool,
    /// Where something stands that could not be understood.
    pub lost_at: &'a [Address],
}

impl Told<'_> {
    /// Whether an address is of something, or in something, that was told of.
    pub fn covers(&self, at: &Address) -> bool {
        self.lost_at.iter().any(|lost| {
            at.as_str().strip_prefix(lost.as_str()).is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
        })
    }
}

/// Rules about the shared files.
pub fn check_shared(fleet: &Fleet, folder: &Folder) -> Vec<Diagnostic> {
    let mut diagnostics = Vec::new();
    for file in folder.files.iter().filter(|f| !f.contains('/')) {
        let looks_read = [".yaml", ".yml", ".csv"].iter().any(|ending| file.ends_with(ending));
        if looks_read && !KNOWN.contains(&file.as_str()) {
            let mut diagnostic = plain(
                Severity::Warning,
                Rule::StrayFile,
                file,
                "no file of a fleet has this name, so it is not read".to_owned(),
            );
            diagnostic.hint = yaml::nearest(file, KNOWN.into_iter()).map(|near| format!("did you mean `{near}`?"));
            diagnostics.push(diagnostic);
        }
    }
    for name in &folder.other_folders {
        // Folders of the fleet's own are nobody's business; one that is nearly a folder of the format is a slip.
        if let Some(near) = yaml::nearest(&name.to_lowercase(), READ_FOLDERS.into_iter()) {
            let message = format!("no folder of a fleet is named `{name}`, so nothing in it is read");
            let mut diagnostic = plain(Severity::Warning, Rule::StrayFile, name, message);
            diagnostic.hint = Some(format!("did you mean `{near}`?"));
            diagnostics.push(diagnostic);
        }
    }
    if let Some(name) = &fleet.settings.limits
        && !fleet.rule_books.contains_key(name.as_str())
    {
        let mut diagnostic =
            plain(Severity::Error, Rule::UnknownLimits, "fleet.yaml", format!("no rule book is named `{name}`"));
        place(&mut diagnostic, folder, "limits");
        diagnostic.left_out = Some("nothing can be reported".to_owned());
        let names: Vec<&str> = fleet.rule_books.keys().map(String::as_str).collect();
        diagnostic.hint = Some(format!("there are {}", names.join(", ")));
        diagnostics.push(diagnostic);
    }
    diagnostics.extend(names::in_book(fleet, folder));
    diagnostics.extend(sense::ends_before_start(fleet, folder));
    diagnostics.extend(rule_books::senseless(fleet, folder));
    diagnostics.extend(sense::quote_shares(fleet, folder));
    for file in KNOWN.into_iter().filter(|file| folder.has(file)) {
        let Ok(source) = folder.text(file, LARGEST_SHEET) else { continue };
        diagnostics.extend(if file == "sites.csv" {
            wording::odd_lines(&source)
        } else {
            wording::odd_words(fleet, &source)
        });
    }
    diagnostics
}

fn plain(severity: Severity, rule: Rule, file: &str, message: String) -> Diagnostic {
    Diagnostic {
        severity,
        rule,
        file: file.to_owned(),
        spot: None,
        excerpt: None,
        message,
        hint: None,
        second: None,
        left_out: None,
    }
}

/// Looks up where a path of a diagnostic's file stands.
fn place(diagnostic: &mut Diagnostic, folder: &Folder, path: &str) {
    let Ok(source) = folder.text(&diagnostic.file, LARGEST_RECORD) else { return };
    diagnostic.spot = source.find_text(path);
    diagnostic.excerpt = diagnostic.spot.and_then(|spot| source.line(spot.line));
}

fn nearest_part(fleet: &Fleet, name: &Id) -> Option<String> {
    yaml::nearest(name.as_str(), fleet.book.parts.iter().map(|(id, _)| id.as_str()))
        .map(|near| format!("did you mean `{near}`?"))
}

/// Every address something stands at: spas, and what stands in them.
pub fn addresses(site: &Site) -> BTreeSet<Address> {
    site.spas
        .iter()
        .flat_map(|spa| {
            std::iter::once(spa.at.clone())
                .chain(spa.filters.iter().map(|f| f.at.clone()))
                .chain(spa.pumps.iter().map(|p| p.at.clone()))
                .chain(spa.equipment.iter().map(|e| e.at.clone()))
        })
        .collect()
}

/// What stands at an address: the word a part's `fits` names, when it was fitted, and its model.
pub struct Standing<'a> {
    /// `pump`, `filter`, `spa` or an equipment kind.
    pub fits: &'a str,
    /// When it was fitted.
    pub fitted: Fitted,
    /// A pump.
    pub pump: Option<&'a Pump>,
    /// The mapping of its spa it stands in: `pumps`; `None` for the spa itself.
    pub group: Option<&'static str>,
}

/// What stands at an address.
pub fn standing<'a>(site: &'a Site, at: &Address) -> Option<Standing<'a>> {
    for spa in site.spas.iter().filter(|spa| spa.at.as_str() == at.spa()) {
        if spa.at == *at {
            return Some(Standing { fits: "spa", fitted: spa.fitted, pump: None, group: None });
        }
        if let Some(filter) = spa.filters.iter().find(|f| f.at == *at) {
            return Some(Standing { fits: "filter", fitted: filter.fitted, pump: None, group: Some("filters") });
        }
        if let Some(pump) = spa.pumps.iter().find(|p| p.at == *at) {
            return Some(Standing { fits: "pump", fitted: pump.fitted, pump: Some(pump), group: Some("pumps") });
        }
        if let Some(item) = spa.equipment.iter().find(|e| e.at == *at) {
            return Some(Standing {
                fits: item.kind.as_str(),
                fitted: item.fitted,
                pump: None,
                group: Some("equipment"),
            });
        }
    }
    None
}

/// What was there when.
struct There {
    removals: history::Removals,
    speeds: speeds::SpeedsThere,
}

struct Checker<'a> {
    fleet: &'a Fleet,
    folder: &'a Folder,
    source: &'a SourceText,
    told: &'a Told<'a>,
    found: Found,
    /// What is found once enough is told.
    spare: Option<Diagnostic>,
    /// How much that was.
    not_told: usize,
    /// What is known to be left out, for a quick look.
    left_out: BTreeSet<String>,
}

/// The most that is told of one site by these rules: more is no help, and a hostile file has no end of it.
const MOST_TOLD: usize = 200;

impl Checker<'_> {
    fn tell(
        &mut self,
        severity: Severity,
        rule: Rule,
        path: &str,
        message: String,
        hint: Option<String>,
    ) -> &mut Diagnostic {
        if self.found.diagnostics.len() >= MOST_TOLD {
            self.not_told += 1;
            let file = &self.source.file;
            return self.spare.insert(plain(severity, rule, file, message));
        }
        let spot = self.source.find_text(path);
        self.found.diagnostics.push(Diagnostic {
            severity,
            rule,
            file: self.source.file.to_string(),
            spot,
            excerpt: spot.and_then(|s| self.source.line(s.line)),
            message,
            hint,
            second: None,
            left_out: None,
        });
        let last = self.found.diagnostics.len() - 1;
        &mut self.found.diagnostics[last]
    }

    /// An error that costs an address's entry of a visit.
    fn lose_entry(
        &mut self,
        visit: u32,
        at: &Address,
        rule: Rule,
        field: &str,
        message: String,
        hint: Option<String>,
    ) -> &mut Diagnostic {
        let path = format!("log[{visit}].at.{at}{field}");
        let file = self.source.file.clone();
        // Once enough is told, what else is left out is counted and not told one by one.
        let line = self.tell(Severity::Error, rule, &path, message, hint).spot.map(|spot| spot.line);
        let left_out = line.map(|line| format!("the entry for `{at}` on line {line} of {file} is left out"));
        if let Some(left_out) = &left_out
            && self.left_out.insert(left_out.clone())
        {
            self.found.left_out.push(left_out.clone());
        }
        let Found { diagnostics, .. } = &mut self.found;
        let told = match (&mut self.spare, diagnostics.last_mut()) {
            (None, Some(last)) => last,
            (spare, _) => spare.get_or_insert_with(|| plain(Severity::Error, rule, &file, String::new())),
        };
        told.left_out = left_out;
        told
    }

    /// An error that costs the site.
    fn lose_site(&mut self, rule: Rule, path: &str, message: String, hint: Option<String>) {
        self.tell(Severity::Error, rule, path, message, hint).left_out = Some("the site is left out".to_owned());
        self.found.lost = true;
    }
}

/// Rules about a site; entries that cannot be understood are taken out of it.
pub fn check_site(fleet: &Fleet, folder: &Folder, site: &mut Site, source: &SourceText, told: &Told) -> Found {
    let (found, left_out) = (Found::default(), BTreeSet::new());
    let mut checker = Checker { fleet, folder, source, told, found, spare: None, not_told: 0, left_out };
    checker.site(site);
    for spa in &site.spas {
        // Of what could not be understood there is nothing more to say.
        for pump in spa.pumps.iter().filter(|pump| !told.covers(&pump.at)) {
            checker.pump(site, pump);
        }
        if let Some(pipe) = &spa.pipe {
            for (name, _) in pipe.fittings.iter() {
                if crate::hydraulics::fitting_k(name.as_str()).is_none() {
                    let known: Vec<&str> = crate::hydraulics::FITTINGS.iter().map(|(name, _)| *name).collect();
                    let hint = yaml::nearest(name.as_str(), known.iter().copied()).map_or_else(
                        || format!("known: {}", known.join(", ")),
                        |near| format!("did you mean `{near}`?"),
                    );
                    let path = format!("spas.{}.pipe.fittings.{name}", spa.at);
                    checker.lose_site(
                        Rule::UnknownField,
                        &path,
                        format!("no pipe fitting is named `{name}`"),
                        Some(hint),
                    );
                }
            }
        }
        for item in &spa.equipment {
            checker.misspelt_kind(item);
        }
        for (group, at, parts) in std::iter::once(("", &spa.at, &spa.parts))
            .chain(spa.filters.iter().map(|f| (".filters.", &f.at, &f.parts)))
            .chain(spa.pumps.iter().map(|p| (".pumps.", &p.at, &p.parts)))
            .chain(spa.equipment.iter().map(|e| (".equipment.", &e.at, &e.parts)))
        {
            for (part, _) in parts.iter() {
                if fleet.book.parts.get(part).is_none() && !fleet.book.is_lost(part) {
                    let hint = nearest_part(fleet, part);
                    let thing = if group.is_empty() { "" } else { at.last() };
                    let path = format!("spas.{}{group}{thing}.parts.{part}", spa.at);
                    // What a type says stands in no site's file.
                    let path = if source.holds(&path) { path } else { format!("spas.{}", spa.at) };
                    checker.lose_site(
                        Rule::UnknownPart,
                        &path,
                        format!("the book has no part `{part}`, named under `{at}`"),
                        hint,
                    );
                }
            }
        }
    }
    let there = There { removals: history::Removals::of(site), speeds: speeds::SpeedsThere::of(fleet, site) };
    let mut visits = std::mem::take(&mut site.visits);
    for (index, visit) in &mut visits {
        checker.visit(site, &there, *index, visit);
    }
    site.visits = visits;
    checker.exchanged_twice(site);
    checker.written_twice(site);
    checker.found.diagnostics.extend(wording::odd_words(fleet, source));
    if checker.not_told > 0 {
        let what = format!("{} more problems of {} are not told", checker.not_told, source.file);
        // Of how much else is wrong the last found says it, so that an error among it still counts as one.
        if let Some(mut last) = checker.spare.take() {
            last.message = format!("{}; {what}", last.message);
            checker.found.left_out.push(what);
            checker.found.diagnostics.push(last);
        }
    }
    checker.found
}

impl Checker<'_> {
    fn site(&mut self, site: &Site) {
        // A site whose file could not be read has none for that reason.
        if site.spas.is_empty() && !self.told.lost {
            let hint = Some("add `spas:` with at least one spa".to_owned());
            self.lose_site(Rule::MissingField, "", format!("the site `{}` has no spa", site.id), hint);
        }
        if let Some(name) = &site.limits
            && !self.fleet.rule_books.contains_key(name.as_str())
        {
            let names: Vec<&str> = self.fleet.rule_books.keys().map(String::as_str).collect();
            let hint = Some(format!("there are {}", names.join(", ")));
            self.lose_site(Rule::UnknownLimits, "limits", format!("no rule book is named `{name}`"), hint);
        }
        if site.customer.is_some() && !self.folder.has("customers.yaml") {
            // The same for every site, so that it is told once of all.
            let message = "there is no customers.yaml, and sites name customers".to_owned();
            let mut told = plain(Severity::Warning, Rule::UnknownCustomer, "customers.yaml", message);
            told.left_out = Some("no statement can be made".to_owned());
            self.found.diagnostics.push(told);
        } else if let Some(customer) = &site.customer
            && !self.fleet.customers.contains_key(customer)
            && !self.fleet.lost.customers.iter().any(|lost| lost == customer.as_str())
        {
            let hint = yaml::nearest(customer.as_str(), self.fleet.customers.keys().map(Id::as_str))
                .map(|near| format!("did you mean `{near}`?"));
            self.tell(
                Severity::Warning,
                Rule::UnknownCustomer,
                "customer",
                format!("no customer `{customer}` stands in customers.yaml"),
                hint,
            );
        }
        for (index, closed) in site.closed.iter().enumerate() {
            if closed.to < closed.from {
                let message = format!("the closed season of {} ends on {}, before it begins", closed.from, closed.to);
                self.lose_site(Rule::EndsBeforeStart, &format!("closed[{index}]"), message, None);
            }
        }
    }
}
