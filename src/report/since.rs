//! Last month beside this one: what is new, what was settled, and what was to be done by now and is not.
//!
//! It holds the things of both months side by side by what and where they are, not by how they are worded, since a part
//! that was due becomes one that is overdue. It judges nothing anew.

use chrono::NaiveDate;

use crate::address::Address;
use crate::to_do::{ToDo, Urgency};

/// A thing to do as it stood on a day, kept for the month after.
#[derive(Debug, Clone, PartialEq)]
pub struct Thing {
    /// How urgent it was.
    pub urgency: Urgency,
    /// Where; the site itself where `None`.
    pub at: Option<Address>,
    /// What, in a few words.
    pub what: String,
    /// By when.
    pub due: Option<NaiveDate>,
}

impl Thing {
    fn is(&self, other: &Self) -> bool {
        self.at == other.at && self.what == other.what
    }
}

/// The things of a day; notes are nobody's to do.
pub fn things(to_do: &[ToDo]) -> Vec<Thing> {
    to_do
        .iter()
        .filter(|one| one.urgency != Urgency::Note)
        .map(|one| Thing { urgency: one.urgency, at: one.at.clone(), what: one.what.clone(), due: one.due })
        .collect()
}

/// What changed from one month to the next.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Since {
    /// What was not there before.
    pub new: Vec<Thing>,
    /// What was there and is not any more.
    pub settled: Vec<Thing>,
    /// What was to be done by the as-of day and is still to be done.
    pub not_done: Vec<Thing>,
}

/// Compares the things of the month before with those of the as-of day.
pub fn since(before: &[Thing], now: &[Thing], as_of: NaiveDate) -> Since {
    let missing = |of: &[Thing], from: &[Thing]| -> Vec<Thing> {
        of.iter().filter(|one| !from.iter().any(|other| other.is(one))).cloned().collect()
    };
    Since {
        new: missing(now, before),
        settled: missing(before, now),
        not_done: before
            .iter()
            .filter(|one| one.due.is_some_and(|due| due <= as_of) && now.iter().any(|other| other.is(one)))
            .cloned()
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn thing(what: &str, due: Option<&str>) -> Thing {
        Thing { urgency: Urgency::Plan, at: None, what: what.to_owned(), due: due.map(|day| day.parse().unwrap()) }
    }

    #[test]
    fn what_was_promised_and_not_done_is_told_from_what_is_new_or_settled() {
        let before =
            [thing("seal", Some("2026-10-20")), thing("clean", Some("2026-10-05")), thing("cover", Some("2026-12-01"))];
        let now = [thing("seal", Some("2026-10-20")), thing("cover", Some("2026-12-01")), thing("gasket", None)];
        let since = since(&before, &now, "2026-10-31".parse().unwrap());
        let words = |things: &[Thing]| things.iter().map(|t| t.what.clone()).collect::<Vec<_>>();
        assert_eq!(words(&since.new), ["gasket"]);
        assert_eq!(words(&since.settled), ["clean"]);
        assert_eq!(words(&since.not_done), ["seal"]);
    }
}
