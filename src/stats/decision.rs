//! Renew in good time, at which age, or run it until it fails? What a posterior of lives advises, kept near
//! the book while failures are few.

use super::posterior::Replacement;

/// Failures below which the book leads.
pub const FEW_FAILURES: usize = 5;
/// Failures from which the best age may be looked for anywhere.
const MANY_FAILURES: usize = 10;
/// The share of the cost a best age must save against running to failure.
const LEAST_SAVING: f64 = 0.05;
/// The share of the belief that a part does not wear out above which no early renewal is advised.
const MOST_DOES_NOT_WEAR: f64 = 0.25;

/// What is to be done about renewing before failure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Advice {
    /// Renew at the best age: it saves against the book.
    BestAge(f64),
    /// Keep to the book.
    Book,
    /// Run it until it fails.
    DoesNotPay,
    /// A price is missing, or nothing has failed.
    Unknown,
}

/// Between which multiples of the book's age the best one is looked for.
pub fn within(failures: usize) -> (f64, f64) {
    match failures {
        few if few < FEW_FAILURES => (0.9, 1.1),
        some if some < MANY_FAILURES => (0.5, 2.0),
        _ => (0.1, 8.0),
    }
}

/// The advice, from what renewing at the best age comes to and so many failures.
pub fn advise(replacement: &Replacement, failures: usize) -> Advice {
    let enough = failures >= FEW_FAILURES;
    let saves = replacement.against_book[usize::from(enough)] > 0.0;
    if enough && (replacement.does_not_wear > MOST_DOES_NOT_WEAR || replacement.against_failure[1] < LEAST_SAVING) {
        Advice::DoesNotPay
    } else if saves {
        Advice::BestAge(replacement.age)
    } else {
        Advice::Book
    }
}
