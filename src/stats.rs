//! Numerical methods on plain numbers: lives that are cut off, and what they say of the next one.
//!
//! Nothing here knows of records, parts or pumps, so that every method is tested against published
//! values and by simulation. Ages are in one unit a sample, hours or days, and so are the results.

pub mod counts;
pub mod decision;
pub mod growth;
pub mod posterior;
pub mod random;
pub mod recurrence;
pub mod renewal_path;
pub mod renewals;
pub mod replacement;
pub mod stock;
pub mod survival;
pub mod trend;
pub mod weibull;

/// How a life ended, at ages in one unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum End {
    /// Failed at this age.
    Failed(f64),
    /// Failed after the first age and by the second; the first may be 0.
    FailedBetween(f64, f64),
    /// Sound at this age: still in service, or removed without having failed.
    Sound(f64),
}

/// A life, or several alike.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Life {
    /// The age at which it came under observation; 0 = from new. A life that failed before it could
    /// be seen would not be here (left truncation).
    pub entry: f64,
    /// How it ended.
    pub end: End,
    /// How many such.
    pub count: f64,
}

impl Life {
    /// A life seen from new.
    pub fn from_new(end: End) -> Self {
        Self { entry: 0.0, end, count: 1.0 }
    }

    /// The oldest age it is known to have been seen at.
    pub fn last_age(&self) -> f64 {
        match self.end {
            End::Failed(age) | End::Sound(age) | End::FailedBetween(_, age) => age,
        }
    }

    /// Whether it ended by a failure.
    pub fn failed(&self) -> bool {
        !matches!(self.end, End::Sound(_))
    }

    /// Whether its ages can be: finite, above 0 where it ended, in order.
    fn is_possible(&self) -> bool {
        let ordered = match self.end {
            End::Failed(age) | End::Sound(age) => age > 0.0 && age >= self.entry,
            End::FailedBetween(after, by) => after >= self.entry && by > after,
        };
        ordered && self.entry >= 0.0 && self.count > 0.0 && self.last_age().is_finite() && self.count.is_finite()
    }
}

/// The root of a function that is positive at `low` and negative at `high`, to the last bits.
pub(crate) fn falling_root(mut low: f64, mut high: f64, function: impl Fn(f64) -> f64) -> f64 {
    for _ in 0..200 {
        let middle = f64::midpoint(low, high);
        if middle <= low || middle >= high {
            break;
        }
        if function(middle) > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high)
}

#[cfg(test)]
mod count_tests;
#[cfg(test)]
pub(crate) mod coverage;
#[cfg(test)]
mod decision_tests;
#[cfg(test)]
mod recurrence_tests;
#[cfg(test)]
mod tests;
