//! A rule book of the fleet's own that says nothing where it seems to say something: a limit the wrong way round, one that
//! is read by nothing, a use of no such name.
//!
//! It exists because a book is written once and judges for years: what it leaves out gives `unknown`, which looks like a
//! missing record and not like a slip in the book.

use uom::si::thermodynamic_temperature::degree_celsius;
use uom::si::time::minute;
use uom::si::velocity::meter_per_second;

use super::{place, plain};
use crate::diagnostic::{Diagnostic, Rule, Severity};
use crate::limits::{Limit, LimitSet, RefillRule, RuleBook};
use crate::records::Fleet;
use crate::records::log::Quantity;
use crate::records::site::Use;
use crate::records::tree::Folder;
use crate::records::yaml;

/// Which end of a limit is judged by.
#[derive(Clone, Copy, PartialEq)]
enum Judged {
    Most,
    Least,
    /// One of them, or both.
    Either,
}

/// The ends of a limit as numbers.
type Ends = (Option<f64>, Option<f64>);

fn ends<T: Copy>(limit: Option<&Limit<T>>, number: impl Fn(T) -> f64) -> Option<Ends> {
    limit.map(|limit| (limit.at_least.map(&number), limit.at_most.map(&number)))
}

/// Every limit of a set: where it stands in it, its ends, and which of them is judged by.
fn limits_of(set: &LimitSet) -> Vec<(String, Ends, Judged)> {
    let minutes = |limit| ends(limit, |time: crate::units::Duration| time.0.get::<minute>());
    let speed = |limit| ends(limit, |speed: crate::units::Velocity| speed.0.get::<meter_per_second>());
    let rate = |limit| ends(limit, |rate: crate::units::FilterRate| rate.litres_per_minute_square_metre);
    let mut all = vec![
        ("turnover", minutes(set.turnover.as_ref()), Judged::Most),
        ("filtration", ends(set.filtration.as_ref(), |daily| daily.hours), Judged::Least),
        ("filter_rate.cartridge", rate(set.filter_rate.cartridge.as_ref()), Judged::Most),
        ("filter_rate.sand", rate(set.filter_rate.sand.as_ref()), Judged::Most),
        ("filter_rate.precoat", rate(set.filter_rate.precoat.as_ref()), Judged::Most),
        ("velocity.suction", speed(set.velocity.suction.as_ref()), Judged::Most),
        ("velocity.return", speed(set.velocity.r#return.as_ref()), Judged::Most),
        ("temperature", ends(set.temperature.as_ref(), |t| t.0.get::<degree_celsius>()), Judged::Either),
        ("tests_per_day", ends(set.tests_per_day.as_ref(), |n| n.0), Judged::Least),
        ("tests_every", minutes(set.tests_every.as_ref()), Judged::Most),
    ]
    .into_iter()
    .filter_map(|(name, ends, judged)| Some((name.to_owned(), ends?, judged)))
    .collect::<Vec<_>>();
    for quantity in Quantity::ALL.into_iter().filter(|quantity| *quantity != Quantity::Temperature) {
        if let Some((low, high, _, _)) = set.water_test(quantity) {
            all.push((format!("water_tests.{}", quantity.name()), (low, high), Judged::Either));
        }
    }
    all
}

/// What is wrong with a limit; `None` = nothing.
fn wrong(name: &str, (low, high): Ends, judged: Judged) -> Option<String> {
    let needs =
        |end: &str| Some(format!("`{name}` has no `{end}`, which is what it is judged by, so it judges nothing"));
    match (judged, low, high) {
        (Judged::Most, _, None) => needs("at_most"),
        (Judged::Least, None, _) => needs("at_least"),
        (Judged::Either, None, None) => {
            Some(format!("`{name}` has neither `at_least` nor `at_most`, so it judges nothing"))
        }
        (_, Some(low), Some(high)) if low > high => {
            Some(format!("`{name}` is at least {low} and at most {high}: no value lies between, so each is out"))
        }
        (Judged::Most, _, Some(high)) if high <= 0.0 => {
            Some(format!("`{name}` is at most {high}: nothing can meet that"))
        }
        _ => None,
    }
}

fn of_set(id: &str, set: &LimitSet, found: &mut Vec<(String, String, Option<String>)>) {
    for (name, ends, judged) in limits_of(set) {
        if let Some(message) = wrong(&name, ends, judged) {
            found.push((format!("sets.{id}.{name}"), message, None));
        }
    }
    let Some(refill) = &set.refill else { return };
    let path = format!("sets.{id}.refill");
    let bathers = refill.bathers_per_m3.map(|n| n.0);
    if refill.rule == RefillRule::BathersPerVolume && bathers.is_none_or(|bathers| bathers <= 0.0) {
        let message = "`bathers_per_volume` needs `bathers_per_m3`, a number above 0: without it it asks for no change"
            .to_owned();
        found.push((path, message, None));
    } else if refill.rule != RefillRule::BathersPerVolume && bathers.is_some() {
        found.push((path, "`bathers_per_m3` is read only by the rule `bathers_per_volume`".to_owned(), None));
    }
}

fn of_book(book: &RuleBook) -> Vec<(String, String, Option<String>)> {
    let mut found = Vec::new();
    for (id, set) in book.sets() {
        of_set(id.as_str(), set, &mut found);
    }
    let sets = || book.sets().map(|(id, _)| id.as_str());
    for (word, set) in book.uses() {
        let path = format!("uses.{word}");
        if Use::read(word.as_str()).is_none() {
            let near = yaml::nearest(word.as_str(), Use::ALL.into_iter().map(Use::word));
            let hint = near.map(|near| format!("did you mean `{near}`?"));
            found.push((path, format!("no site can be used as `{word}`, so this judges nothing"), hint));
        } else if !sets().any(|id| id == set.as_str()) {
            let hint = yaml::nearest(set.as_str(), sets()).map(|near| format!("did you mean `{near}`?"));
            found.push((
                path,
                format!("the book has no set `{set}`, so sites used as `{word}` are judged by nothing"),
                hint,
            ));
        }
    }
    if book.uses().next().is_none() {
        found.push(("title".to_owned(), "the book names no `uses`, so it judges nothing".to_owned(), None));
    }
    found
}

/// What makes no sense in the rule books of the fleet's own.
pub(super) fn senseless(fleet: &Fleet, folder: &Folder) -> Vec<Diagnostic> {
    let mut diagnostics = Vec::new();
    for (name, file) in folder.under("limits", ".yaml") {
        let Some(book) = fleet.rule_books.get(name) else { continue };
        for (path, message, hint) in of_book(book) {
            let mut diagnostic = plain(Severity::Warning, Rule::LimitWithoutSense, file, message);
            place(&mut diagnostic, folder, &path);
            diagnostic.hint = hint;
            diagnostics.push(diagnostic);
        }
    }
    diagnostics
}
