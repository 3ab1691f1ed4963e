//! How good the past forecasts were, in words: for a first page where they were poor, and for the section that says it all.
//!
//! Each kind speaks for itself. Counts are those of forecasts that do not overlap.

use crate::address::{Address, Id};
use crate::quantities::forecast_check::judged::Total;
use crate::quantities::forecast_check::{Judged, What};
use crate::report::format;

/// What makes past forecasts look better than they were, said wherever they are judged.
pub const FLATTERED: &str = "entries dated back make them look better than they were";

/// A notice for a first page where a kind's forecasts were poor; `name` names a pump.
pub fn notice(judged: &[Judged], name: impl Fn(&Id, &Address) -> String) -> Option<String> {
    let poor: Vec<String> = judged.iter().filter(|one| one.is_poor()).map(|one| poorly(one, &name)).collect();
    (!poor.is_empty()).then(|| {
        format!(
            "Take forecasts with care. Made again for the past two years in the whole fleet: {}; and {FLATTERED}.",
            poor.join("; ")
        )
    })
}

fn poorly(judged: &Judged, name: &impl Fn(&Id, &Address) -> String) -> String {
    let mut says = Vec::new();
    if let Some(total) = judged.total.filter(|_| judged.is_biased()) {
        let mut text =
            format!("{} came, {} were expected ({})", observed(judged.what, &total), expected(&total), range(&total));
        if let Some(behind) = &judged.behind {
            text.push_str(&format!(", {} of them at {}", amount(behind.sum.observed), name(&behind.site, &behind.at)));
        }
        says.push(text);
    }
    if judged.held.is_poor() {
        says.push(format!(
            "ranges of {} held in {} of {} cases, {:.0} should have",
            plainly(judged.what),
            judged.held.inside,
            judged.held.of,
            judged.held.promised * judged.held.of as f64
        ));
    }
    says.join(", and ")
}

/// How a kind's forecasts were, in a sentence or two; `None` = none was held against what happened.
pub fn sentence(judged: &Judged, name: impl Fn(&Id, &Address) -> String) -> Option<String> {
    let held = (judged.held.of > 0).then(|| {
        format!(
            "{} of {} ranges held ({:.0} %, made to hold {:.0} %), {}",
            format::number(judged.held.inside as f64, 0),
            format::number(judged.held.of as f64, 0),
            judged.held.share() * 100.0,
            judged.held.promised * 100.0,
            verdict(judged)
        )
    });
    let total = judged.total.map(|total| {
        let bias = (total.bias() * 100.0).round();
        let mut text = format!(
            "in {} months {} came where {} were expected ({}): {}{:.0} %, {}",
            total.months,
            observed(judged.what, &total),
            expected(&total),
            range(&total),
            if bias > 0.0 {
                "+"
            } else if bias < 0.0 {
                "−"
            } else {
                ""
            },
            bias.abs(),
            if judged.is_biased() {
                "more than chance explains"
            } else if judged.matters() {
                "which chance may explain"
            } else {
                "too little to matter"
            }
        );
        if let Some(behind) = &judged.behind {
            text.push_str(&format!(
                "; without {}, of which {} came and {} were expected, that would not be said",
                name(&behind.site, &behind.at),
                amount(behind.sum.observed),
                format::number(behind.sum.expected, 1)
            ));
        }
        text
    });
    let all: Vec<String> = held.into_iter().chain(total).collect();
    (!all.is_empty()).then(|| format!("{}: {}.", format::sentence(plainly(judged.what)), all.join("; ")))
}

/// What the share of ranges that held says, if it says anything: two standard errors are taken as chance.
fn verdict(judged: &Judged) -> &'static str {
    let held = judged.held;
    let error = 2.0 * (held.surely() * (1.0 - held.surely()) / held.of.max(1) as f64).sqrt();
    if held.is_poor() || held.share() < held.promised - error {
        "too few: read the ranges as wider than printed"
    } else if held.share() > held.promised + error {
        "more than promised: the ranges are wider than they need be"
    } else {
        "as it should be"
    }
}

fn plainly(what: What) -> &'static str {
    match what {
        What::Hours => "run hours",
        What::Failures => "failures",
        What::DueParts => "parts that reach their hours",
    }
}

fn observed(what: What, total: &Total) -> String {
    match what {
        What::Hours => format!("{} run hours", amount(total.observed)),
        What::Failures if total.observed == 1.0 => "1 failure".to_owned(),
        What::Failures => format!("{} failures", amount(total.observed)),
        What::DueParts if total.observed == 1.0 => "1 part due".to_owned(),
        What::DueParts => format!("{} parts due", amount(total.observed)),
    }
}

fn amount(value: f64) -> String {
    format::number(value, 0)
}

fn expected(total: &Total) -> String {
    format::number(total.expected, usize::from(total.expected < 100.0))
}

fn range(total: &Total) -> String {
    format!("{} to {}", amount(total.low), amount(total.high))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantities::forecast_check::{BehindIt, Held, PumpSum};

    fn judged(what: What, inside: usize, observed: f64) -> Judged {
        let chance = if (observed - 9.0f64).abs() > 6.0 { 0.01 } else { 0.4 };
        Judged {
            what,
            held: Held { of: 20, inside, promised: 0.8 },
            total: Some(Total { months: 24, expected: 9.0, low: 5.0, high: 13.0, observed, chance }),
            behind: None,
        }
    }

    #[test]
    fn each_kind_is_said_for_itself() {
        let name = |site: &Id, at: &Address| format!("{site}, {at}");
        assert_eq!(notice(&[judged(What::Hours, 17, 9.0)], name), None);
        let mut biased = judged(What::Failures, 16, 17.0);
        let sum = PumpSum { expected: 1.0, variance: 1.0, observed: 7.0 };
        let (site, at) = (Id::parse("gym").unwrap(), Address::parse("pool/jets").unwrap());
        biased.behind = Some(BehindIt { site, at, sum });
        let says = notice(&[judged(What::Hours, 17, 9.0), biased.clone()], name).unwrap();
        assert!(says.contains(" in the whole fleet: "), "{says}");
        assert!(says.contains("17 failures came, 9.0 were expected (5 to 13), 7 of them at gym, pool/jets;"), "{says}");
        assert!(!says.contains("hours") && says.contains("dated back"), "{says}");
        let says = sentence(&biased, name).unwrap();
        assert!(says.contains("+89 %, more than chance explains; without gym, pool/jets"), "{says}");
        // Two standard errors of 80 % of 20 are 18 %.
        let says = sentence(&judged(What::DueParts, 12, 9.0), name).unwrap();
        assert!(says.contains("too few") && says.contains("0 %, too little to matter"), "{says}");
        assert!(sentence(&judged(What::Hours, 20, 9.0), name).unwrap().contains("wider than they need be"));
    }
}
