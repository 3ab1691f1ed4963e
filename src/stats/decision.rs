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
    /// Keep to the book: there is no sign yet that renewing early pays, and no proof that it does not.
    NoSignYet,
    /// Run it until it fails.
    DoesNotPay,
    /// A price is missing, or nothing has failed.
    Unknown,
}

/// The widest multiples of the book's age; beyond them an age is no advice.
pub const WIDEST: (f64, f64) = (0.1, 8.0);

/// Between which multiples of the book's age the best one is looked for.
pub fn within(failures: usize) -> (f64, f64) {
    match failures {
        few if few < FEW_FAILURES => (0.9, 1.1),
        some if some < MANY_FAILURES => (0.5, 2.0),
        _ => WIDEST,
    }
}

/// The advice, from what renewing at the best age comes to and so many failures.
///
/// That a part may not wear out takes the best age back to the book's; running it until it fails is advised only where
/// it is cheaper in the middle of what is known and failures are many, or wherever else the truth may lie.
pub fn advise(replacement: &Replacement, failures: usize) -> Advice {
    let enough = failures >= FEW_FAILURES;
    let saves = replacement.against_book[usize::from(enough)] > 0.0;
    let gains_nothing = replacement.against_failure[1] < LEAST_SAVING;
    if enough && (gains_nothing || replacement.does_not_wear > MOST_DOES_NOT_WEAR) {
        if (gains_nothing && failures >= MANY_FAILURES) || replacement.against_failure[2] < 0.0 {
            Advice::DoesNotPay
        } else {
            Advice::NoSignYet
        }
    } else if saves {
        Advice::BestAge(replacement.age)
    } else {
        Advice::Book
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(against_failure: [f64; 3], does_not_wear: f64) -> Replacement {
        Replacement {
            age: 1000.0,
            age_low: 800.0,
            age_high: f64::INFINITY,
            against_book: [0.1, 0.2, 0.3],
            against_failure,
            flips_at: None,
            does_not_wear,
        }
    }

    /// Seven failures and a saving of −19 % that may as well be +10 %: that is no ground to leave the book.
    #[test]
    fn a_few_failures_do_not_send_a_part_to_its_failure() {
        assert_eq!(advise(&found([-1.57, -0.19, 0.10], 0.6), 7), Advice::NoSignYet);
        assert_eq!(advise(&found([-1.57, -0.40, -0.02], 0.9), 7), Advice::DoesNotPay);
        assert_eq!(advise(&found([-0.5, -0.19, 0.10], 0.6), 20), Advice::DoesNotPay);
        // Over a quarter of the belief that it does not wear out: no best age, but no running to failure either.
        assert_eq!(advise(&found([-0.1, 0.20, 0.40], 0.3), 20), Advice::NoSignYet);
        assert_eq!(advise(&found([0.1, 0.20, 0.40], 0.1), 20), Advice::BestAge(1000.0));
    }
}
