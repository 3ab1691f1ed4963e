//! Names of parts, tasks and kinds, in the book and in what is said of a site, that nothing has: a misspelt one is read without a word otherwise, and a
//! part that fits nothing is never due.

use std::collections::BTreeSet;

use super::{Checker, Standing, addresses, nearest_part, place, plain};
use crate::address::{Address, Id};
use crate::diagnostic::{Diagnostic, Rule, Second, Severity};
use crate::records::tree::{Folder, LARGEST_RECORD};
use crate::records::yaml::{self, Step};
use crate::records::{Equipment, Fleet, Site};

/// What a part or task fits that is no kind of equipment.
const FITS: [&str; 3] = ["pump", "filter", "spa"];
/// Kinds of equipment that records usually name (common practice, no source).
const KINDS: [&str; 6] = ["heater", "cover", "lamp", "ozonator", "blower", "controls"];

/// Names in the book that nothing has.
pub(super) fn in_book(fleet: &Fleet, folder: &Folder) -> Vec<Diagnostic> {
    if fleet.book.built_in {
        return Vec::new();
    }
    let mut diagnostics = Vec::new();
    let mut tell = |rule: Rule, path: &str, message: String, hint: Option<String>| {
        let mut diagnostic = plain(Severity::Warning, rule, "upkeep.yaml", message);
        place(&mut diagnostic, folder, path);
        diagnostic.hint = hint;
        diagnostics.push(diagnostic);
    };
    let did_you_mean = |near: &str| format!("did you mean `{near}`?");
    for (id, part) in fleet.book.parts.iter() {
        for other in &part.also_renew {
            if fleet.book.parts.get(other).is_none() && !fleet.book.is_lost(other) {
                let message = format!("`also_renew` of `{id}` names `{other}`, which the book does not have");
                tell(Rule::UnknownPart, &format!("parts.{id}.also_renew"), message, nearest_part(fleet, other));
            }
        }
        for (index, model) in part.models.iter().flatten().enumerate() {
            if !fleet.models.is_empty() && !fleet.has_model(&model.0) {
                let message = format!("`models` of `{id}` names `{model}`, which pumps.yaml does not have");
                let hint = yaml::nearest(&model.0, fleet.models.keys().map(String::as_str)).map(did_you_mean);
                tell(Rule::UnknownModel, &format!("parts.{id}.models[{index}]"), message, hint);
            }
        }
    }
    let parts = fleet.book.parts.iter().map(|(id, part)| ("parts", id, &part.fits));
    let tasks = fleet.book.tasks.iter().map(|(id, task)| ("tasks", id, &task.fits));
    for (group, id, fits) in parts.chain(tasks) {
        let known = FITS.into_iter().chain(KINDS);
        if !known.clone().any(|kind| kind == fits.as_str())
            && let Some(near) = yaml::nearest(fits.as_str(), known)
        {
            let message = format!("`{id}` fits a `{fits}`, and nothing is called so");
            tell(Rule::UnknownPart, &format!("{group}.{id}.fits"), message, Some(did_you_mean(near)));
        }
    }
    let people = &fleet.settings.technicians;
    let skills = || people.iter().flat_map(|(_, person)| &person.skills).map(|skill| skill.0.as_str());
    let part_skills = fleet.book.parts.iter().map(|(id, part)| ("parts", id, part.skill.as_ref()));
    let task_skills = fleet.book.tasks.iter().map(|(id, task)| ("tasks", id, task.skill.as_ref()));
    for (group, id, skill) in part_skills.chain(task_skills).filter(|_| !people.0.is_empty()) {
        let Some(skill) = skill.filter(|skill| skills().all(|known| known != skill.0)) else { continue };
        let message = format!("`{id}` needs the skill `{skill}`, which no technician of fleet.yaml has");
        let hint = yaml::nearest(&skill.0, skills()).map(did_you_mean);
        let hint = hint.or_else(|| Some("add it to somebody's `skills`, or no visit can be planned for it".to_owned()));
        tell(Rule::UnknownTechnician, &format!("{group}.{id}.skill"), message, hint);
    }
    diagnostics
}

impl Checker<'_> {
    /// What is repaired is a part of the book, or a thing that stands in the spa.
    pub(super) fn can_be_repaired(&mut self, site: &Site, index: u32, at: &Address, name: &Id) -> bool {
        let here = addresses(site);
        let things: Vec<&str> = here.iter().filter(|a| a.spa() == at.spa()).map(Address::last).collect();
        if self.fleet.book.parts.get(name).is_some() || self.fleet.book.is_lost(name) || things.contains(&name.as_str())
        {
            return true;
        }
        let parts = self.fleet.book.parts.iter().map(|(id, _)| id.as_str());
        let hint = yaml::nearest(name.as_str(), parts.chain(things)).map(|near| format!("did you mean `{near}`?"));
        let message = format!("`{name}` is neither a part of the book nor a thing in `{}`", at.spa());
        self.lose_entry(index, at, Rule::UnknownPart, &format!(".repaired.{name}"), message, hint);
        false
    }

    pub(super) fn part_fits(&mut self, index: u32, at: &Address, field: &str, part: &Id, standing: &Standing) -> bool {
        let (message, hint) = match self.fleet.book.parts.get(part) {
            Some(known) if known.fits.as_str() == standing.fits => return true,
            Some(known) => {
                (format!("the part `{part}` fits a {}, and `{at}` is a {}", known.fits, standing.fits), None)
            }
            None if self.fleet.book.is_lost(part) => return true,
            None => (format!("the book has no part `{part}`"), nearest_part(self.fleet, part)),
        };
        self.lose_entry(index, at, Rule::UnknownPart, &format!(".{field}"), message, hint);
        false
    }

    /// A kind of equipment that no part of the book fits and that is spelt nearly as one it does.
    pub(super) fn misspelt_kind(&mut self, item: &Equipment) {
        let kind = item.kind.as_str();
        let book = &self.fleet.book;
        let fits = book.parts.iter().map(|(_, part)| &part.fits).chain(book.tasks.iter().map(|(_, task)| &task.fits));
        let known: BTreeSet<&str> = fits.map(Id::as_str).filter(|fits| !FITS.contains(fits)).collect();
        if known.contains(kind) || KINDS.contains(&kind) {
            return;
        }
        let Some(near) = yaml::nearest(kind, known.into_iter()).map(|near| format!("did you mean `{near}`?")) else {
            return;
        };
        let path = format!("spas.{}.equipment.{}.kind", item.at.spa(), item.at.last());
        let message = format!("no part of the book fits a `{kind}`, the kind of `{}`", item.at);
        self.tell(Severity::Warning, Rule::UnknownPart, &path, message, Some(near));
    }

    /// A second place in a file that all sites share.
    pub(super) fn in_shared(&self, file: &str, path: &[&str], label: String) -> Option<Box<Second>> {
        let text = self.folder.text(file, LARGEST_RECORD).ok()?;
        let steps: Vec<Step> = path.iter().map(|step| Step::Key((*step).to_owned())).collect();
        let spot = text.find(&steps)?;
        let excerpt = text.line(spot.line)?;
        Some(Box::new(Second { file: file.to_owned(), spot, excerpt, label }))
    }
}
