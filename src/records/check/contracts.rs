//! What stands in contracts and cannot be meant so: words nobody understands, an index that is no share, prices of years that
//! are none. Read the wrong way round, each would charge a customer for what the contract covers.

use chrono::Datelike;

use super::{place, plain};
use crate::address::Id;
use crate::diagnostic::{Diagnostic, Rule, Severity};
use crate::records::Fleet;
use crate::records::contract_words::{CallOuts, visit_words, visits_a_year};
use crate::records::customers::Contract;
use crate::records::tree::Folder;
use crate::records::yaml;

/// Years a contract may have a price for.
const YEARS: std::ops::RangeInclusive<i32> = 1990..=2099;
/// A price rises or falls by less than this share a year.
const MOST_INDEX: f64 = 0.5;

/// What is wrong in a contract.
struct Wrong {
    /// Below the contract: `callouts`.
    field: String,
    severity: Severity,
    message: String,
    hint: Option<String>,
}

/// What cannot be meant so, and the customers whose contract cannot be used for it.
pub fn senseless(fleet: &Fleet, folder: &Folder) -> (Vec<Diagnostic>, Vec<Id>) {
    let (mut all, mut lost) = (Vec::new(), Vec::new());
    for (id, customer) in &fleet.customers {
        let Some(contract) = &customer.contract else { continue };
        for wrong in wrong_in(contract) {
            let message = format!("the contract of `{id}`: {}", wrong.message);
            let mut told = plain(wrong.severity, Rule::ContractTerms, "customers.yaml", message);
            place(&mut told, folder, &format!("customers.{id}.contract.{}", wrong.field));
            told.hint = wrong.hint;
            if wrong.severity == Severity::Error {
                told.left_out = Some("the contract is not used: nothing is billed, quoted or planned by it".to_owned());
                if lost.last() != Some(id) {
                    lost.push(id.clone());
                }
            }
            all.push(told);
        }
    }
    (all, lost)
}

fn wrong_in(contract: &Contract) -> Vec<Wrong> {
    let mut wrong = Vec::new();
    let mut tell = |field: &str, severity: Severity, message: String, hint: Option<String>| {
        wrong.push(Wrong { field: field.to_owned(), severity, message, hint });
    };
    if let Some(words) = contract.callouts.as_ref().filter(|words| CallOuts::read(&words.0).is_none()) {
        let near = yaml::nearest(&words.0, CallOuts::WORDS.into_iter()).map(|near| format!("did you mean `{near}`?"));
        let known = || "write `included`, `charged`, or how many a year are included, like `4 a year`".to_owned();
        let message = format!("`callouts: {}` is not understood", shown(&words.0));
        tell("callouts", Severity::Error, message, near.or_else(|| Some(known())));
    }
    if let Some(words) = contract.visits.as_ref().filter(|words| visits_a_year(&words.0).is_none()) {
        let near = yaml::nearest(&words.0, visit_words()).map(|near| format!("did you mean `{near}`?"));
        let known =
            || "write `monthly`, `every two months`, `quarterly`, `half-yearly`, `yearly`, or `6 a year`".to_owned();
        let message = format!("`visits: {}` is not understood", shown(&words.0));
        tell("visits", Severity::Error, message, near.or_else(|| Some(known())));
    }
    if let Some(index) = contract.index.filter(|index| index.0.abs() >= MOST_INDEX) {
        let percent = index.0.abs() < 100.0 * MOST_INDEX;
        let hint = if percent {
            format!("a share is meant, and {} in 100 is `{}`", index.0, index.0 / 100.0)
        } else {
            "a share is meant, like `0.04`".to_owned()
        };
        let message = format!("`index` is {}, by which the price would change beyond reason each year", index.0);
        tell("index", Severity::Error, message, Some(hint));
    }
    for (name, _) in contract.price.iter() {
        let field = format!("price.{}", name.0);
        let Some(year) = name.0.trim().parse::<i32>().ok().filter(|year| YEARS.contains(year)) else {
            let message = format!("`{}` is no year that could have a price", shown(&name.0));
            tell(&field, Severity::Error, message, Some("prices stand by year, like `{2026: 2140.00}`".to_owned()));
            continue;
        };
        let (from, to) = (contract.from.map(|day| day.0.year()), contract.to.map(|day| day.0.year()));
        // The price of the year before may stand for the index to begin at.
        if from.is_some_and(|from| year < from - 1) || to.is_some_and(|to| year > to) {
            let message = format!("{year} has a price, and the contract does not hold in it");
            tell(
                &field,
                Severity::Warning,
                message,
                Some("is it the year that is wrong, or `from` or `to`?".to_owned()),
            );
        }
    }
    wrong
}

fn shown(words: &str) -> String {
    words.chars().take(60).collect()
}
