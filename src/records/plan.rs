//! `plan.yaml`: the accepted plan. The program writes it (`tubwright plan --accept`) and reads it in the next run, so that
//! visits stay where they were promised.

use std::fmt::Write as _;

use chrono::NaiveDate;
use schemars::JsonSchema;
use serde::Deserialize;

use crate::address::{Address, Id};
use crate::records::forms::{Date, Format, Keyed, Name, Text};

/// The file as it is written.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
pub struct PlanFile {
    /// The version of the record format: `1`.
    pub format: Format,
    /// The day up to which the records were known when it was accepted.
    pub as_of: Date,
    /// The last number given to a visit at each site.
    #[serde(default)]
    pub numbers: Keyed<Id, u32>,
    /// The visits promised.
    #[serde(default)]
    pub visits: Vec<PlannedVisit>,
    /// Visits that were promised once and are not any more; calendars are told so.
    #[serde(default)]
    pub cancelled: Vec<CancelledVisit>,
}

/// A visit that is promised.
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
pub struct PlannedVisit {
    /// Its name, the same from run to run.
    pub id: Name,
    /// The site.
    pub site: Id,
    /// The day.
    pub date: Date,
    /// Who comes; left out where the fleet names nobody.
    #[serde(default)]
    pub technician: Option<Id>,
    /// How often it has changed.
    #[serde(default)]
    pub sequence: u32,
    /// What is done.
    #[serde(default)]
    pub tasks: Vec<PlannedTask>,
}

/// What is done at a visit: one of `renew`, `task`, `left` and `visit`.
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
pub struct PlannedTask {
    /// Where.
    pub at: Address,
    /// The part that is renewed.
    #[serde(default)]
    pub renew: Option<Id>,
    /// The task of the book that is done.
    #[serde(default)]
    pub task: Option<Id>,
    /// What a visit left to be done.
    #[serde(default)]
    pub left: Option<Text>,
    /// `close`, `reopen` or `contract_visit`.
    #[serde(default)]
    pub visit: Option<Id>,
    /// The day it was due when the plan was accepted.
    #[serde(default)]
    pub due: Option<Date>,
}

/// A visit that was promised once.
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
pub struct CancelledVisit {
    /// Its name.
    pub id: Name,
    /// The site.
    pub site: Id,
    /// The day it was promised for.
    pub date: Date,
    /// Who was to come.
    #[serde(default)]
    pub technician: Option<Id>,
    /// How often it has changed, the cancellation counted.
    #[serde(default)]
    pub sequence: u32,
    /// Why it is not made.
    #[serde(default)]
    pub because: Option<Text>,
}

/// A text between quotes that YAML reads back as it is.
fn quoted(text: &str) -> String {
    let inside: String = text
        .chars()
        .map(|c| match c {
            '"' | '\\' => format!("\\{c}"),
            c if c.is_control() => " ".to_owned(),
            c => c.to_string(),
        })
        .collect();
    format!("\"{inside}\"")
}

impl PlanFile {
    /// The file's text, the same for the same plan.
    pub fn text(&self) -> String {
        let mut out = format!(
            "# The accepted plan, written by `tubwright plan --accept`. Visits stay on these days until new records give a reason.\n\
             format: 1\nas_of: {}\n",
            self.as_of
        );
        if !self.numbers.0.is_empty() {
            out.push_str("numbers:\n");
            for (site, number) in self.numbers.iter() {
                let _ = writeln!(out, "  {site}: {number}");
            }
        }
        let who = |technician: &Option<Id>| {
            technician.as_ref().map_or_else(String::new, |technician| format!(", technician: {technician}"))
        };
        if !self.visits.is_empty() {
            out.push_str("visits:\n");
        }
        for visit in &self.visits {
            let _ = writeln!(out, "  - id: {}\n    site: {}\n    date: {}", visit.id, visit.site, visit.date);
            if let Some(technician) = &visit.technician {
                let _ = writeln!(out, "    technician: {technician}");
            }
            let _ = writeln!(out, "    sequence: {}\n    tasks:", visit.sequence);
            for task in &visit.tasks {
                let what = [
                    task.renew.as_ref().map(|part| format!(", renew: {part}")),
                    task.task.as_ref().map(|task| format!(", task: {task}")),
                    task.left.as_ref().map(|left| format!(", left: {}", quoted(&left.0))),
                    task.visit.as_ref().map(|visit| format!(", visit: {visit}")),
                    task.due.map(|due| format!(", due: {due}")),
                ];
                let _ = writeln!(out, "      - {{at: {}{}}}", task.at, what.into_iter().flatten().collect::<String>());
            }
        }
        if !self.cancelled.is_empty() {
            out.push_str("cancelled:\n");
        }
        for gone in &self.cancelled {
            let because = gone.because.as_ref().map_or_else(String::new, |b| format!(", because: {}", quoted(&b.0)));
            let _ = writeln!(
                out,
                "  - {{id: {}, site: {}, date: {}{}, sequence: {}{because}}}",
                gone.id,
                gone.site,
                gone.date,
                who(&gone.technician),
                gone.sequence
            );
        }
        out
    }

    /// The visits promised for days after one.
    pub fn after(&self, day: NaiveDate) -> impl Iterator<Item = &PlannedVisit> {
        self.visits.iter().filter(move |visit| visit.date.0 > day)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::yaml;

    #[test]
    fn what_is_written_is_read_back() {
        let id = |text| Id::parse(text).unwrap();
        let date = |text: &str| Date(text.parse().unwrap());
        let task = |what: &str| PlannedTask {
            at: Address::parse("terrace/jets-1").unwrap(),
            renew: None,
            task: None,
            left: Some(Text(what.to_owned())),
            visit: None,
            due: Some(date("2027-03-09")),
        };
        let plan = PlanFile {
            format: yaml::read::<PlanFile>("format: 1\nas_of: 2026-10-31\n", |_| 0).value.unwrap().format,
            as_of: date("2026-10-31"),
            numbers: Keyed(vec![(id("quay-house"), 7)]),
            visits: vec![PlannedVisit {
                id: Name("quay-house-7".to_owned()),
                site: id("quay-house"),
                date: date("2026-11-02"),
                technician: Some(id("dan")),
                sequence: 2,
                tasks: vec![
                    PlannedTask { renew: Some(id("shaft_seal")), left: None, ..task("") },
                    task("strap \"torn\": see {note} #1, back\\slash"),
                ],
            }],
            cancelled: vec![CancelledVisit {
                id: Name("quay-house-3".to_owned()),
                site: id("quay-house"),
                date: date("2026-12-01"),
                technician: None,
                sequence: 1,
                because: Some(Text("the site is closed: winter".to_owned())),
            }],
        };
        let reading = yaml::read::<PlanFile>(&plan.text(), |_| 0);
        assert!(reading.problems.is_empty(), "{:?}\n{}", reading.problems, plan.text());
        let back = reading.value.unwrap();
        assert_eq!(
            (back.visits, back.cancelled, back.numbers),
            (plan.visits.clone(), plan.cancelled.clone(), plan.numbers.clone())
        );
    }
}
