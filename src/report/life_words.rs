//! What the fleet's own lives say of parts, in words: the chance in a part's row and a sentence a kind.

use rust_decimal::Decimal;

use crate::address::Id;
use crate::quantities::part_life_model::{Advice, FleetLives, KindModel, Status};
use crate::records::upkeep::Clock;
use crate::report::format;
use crate::schedule::due::PartDue;
use crate::site::SiteFigures;
use crate::stats::posterior::Replacement;

/// The chance of failing within twelve months, as it is printed in a part's row: a dash where it is not
/// known, "1 in N" where failures are few, and that it is the book's guess where there are none.
pub fn chance(site: &SiteFigures, part: &PartDue) -> String {
    let (Some(kind), Some(chance)) = (site.lives.kind_of(&part.part), part.fail_12mo) else { return "–".to_owned() };
    match kind.status {
        Status::NoFailures if kind.failures_of_unknown_age == 0 => {
            format!("{}, book guess", one_in(chance).trim_start_matches("about "))
        }
        Status::Ok => percent(chance),
        _ => one_in(chance),
    }
}

/// What "book guess" in a row means; empty where it stands in none. The office reads how many of each kind in the fleet have
/// not failed; how many others have is no customer's business.
pub fn guess_note(site: &SiteFigures, shown: &[&PartDue], office: bool) -> String {
    let mut kinds: Vec<(String, usize)> = Vec::new();
    // Where no log is kept nobody knows what has failed.
    if site.site.records_start().is_none() {
        let any = shown.iter().any(|part| part.fail_12mo.is_some());
        return if any { " No log is kept: chances are guessed from the book.".to_owned() } else { String::new() };
    }
    for part in shown {
        let Some(kind) = site.lives.kind(part.part.id) else { continue };
        let guess = matches!(kind.status, Status::NoFailures) && kind.failures_of_unknown_age == 0;
        let name = format::words(part.part.id.as_str());
        if guess && part.fail_12mo.is_some() && !kinds.iter().any(|(known, _)| *known == name) {
            kinds.push((name, kind.in_service));
        }
    }
    if kinds.is_empty() {
        return String::new();
    }
    if !office {
        let names: Vec<String> = kinds.into_iter().map(|(name, _)| name).collect();
        return format!(" Book guess: from the book alone, since no failure of {} is on record.", list_or(&names));
    }
    let each: Vec<String> = kinds.iter().map(|(name, n)| format!("none of the fleet's {n} of {name}")).collect();
    format!(" Book guess: {} has failed yet.", each.join(", "))
}

fn list_or(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} or {last}", first.join(", ")),
    }
}

fn one_in(chance: f64) -> String {
    let one_in = (1.0 / chance).round();
    match one_in {
        n if n < 1.5 => "more likely than not".to_owned(),
        n if n > 1000.0 => "less than 1 in 1000".to_owned(),
        n => format!("about 1 in {n:.0}"),
    }
}

/// A chance in per cent, never said to be none or sure.
pub fn percent(chance: f64) -> String {
    match chance * 100.0 {
        small if small < 1.0 => "under 1 %".to_owned(),
        large if large > 99.0 => "over 99 %".to_owned(),
        other => format!("{other:.0} %"),
    }
}

/// A share saved as it reads behind "it would come out": what saves less than nothing is dearer.
fn dearer_or_cheaper(share: f64) -> String {
    let percent = (share * 100.0).round();
    match percent {
        0.0 => "no dearer".to_owned(),
        more if more < 0.0 => format!("{} % dearer", format::number(-more, 0)),
        less => format!("{} % cheaper", format::number(less, 0)),
    }
}

/// A share saved, with its sign: what costs more saves less than nothing.
fn saving(share: f64) -> String {
    match (share * 100.0).round() {
        less if less < 0.0 => format!("−{:.0} %", -less),
        other => format!("{:.0} %", other.abs()),
    }
}

/// An age on a part's clock: "14 000 h", "3.2 years".
fn age(kind: &KindModel, age: f64) -> String {
    match kind.clock {
        Clock::Hours => format!("{} h", format::number(rounded(age), 0)),
        Clock::Age => format::age(age.round() as i64),
    }
}

/// An estimate to two digits: more would promise what is not known.
fn rounded(value: f64) -> f64 {
    let step = 10f64.powf(value.abs().max(1.0).log10().floor() - 1.0);
    (value / step).round() * step
}

/// A sentence or three for each kind of part at the site of which enough have failed in the fleet to say something, and one
/// for all the others. Where pump models differ each model at the site speaks for itself.
pub fn findings(site: &SiteFigures, office: bool) -> Vec<String> {
    let here = |id: &Id, model: Option<&str>| {
        site.parts.iter().any(|p| p.part.id == id && model.is_none_or(|model| p.part.model.as_deref() == Some(model)))
    };
    let all = each(site.lives).filter(|one| here(one.id, one.model));
    let (few, telling): (Vec<_>, Vec<_>) = all.partition(|one| one.kind.status == Status::FewFailures);
    let mut says: Vec<String> = telling.iter().filter_map(|one| finding(&one.name(), one.kind, office)).collect();
    if !few.is_empty() {
        let names: Vec<String> = few.iter().map(|one| format::words(one.id.as_str())).collect();
        says.push(format!(
            "Too few have failed in the fleet to lead far from the book's interval: {}.",
            crate::charts::style::list(&names)
        ));
    }
    says
}

/// The same for every kind of which some have failed, for the fleet's report.
pub fn fleet_findings(lives: &FleetLives) -> Vec<String> {
    each(lives).filter_map(|one| finding(&one.name(), one.kind, true)).collect()
}

/// A kind of part of which some have failed, or one pump model's of it where models differ.
struct Each<'a> {
    id: &'a Id,
    model: Option<&'a str>,
    kind: &'a KindModel,
}

impl Each<'_> {
    fn name(&self) -> String {
        let name = format::sentence(&format::words(self.id.as_str()));
        self.model.map_or(name.clone(), |model| format!("{name} in {model}"))
    }
}

fn each(lives: &FleetLives) -> impl Iterator<Item = Each<'_>> {
    lives
        .kinds()
        .flat_map(|(id, kind)| {
            let together = kind.groups.is_empty().then_some(Each { id, model: None, kind });
            together.into_iter().chain(kind.groups.iter().map(move |(model, kind)| Each {
                id,
                model: Some(model),
                kind,
            }))
        })
        .filter(|one| one.kind.failures > 0)
}

/// What lives a kind has and when renewing pays; what anything costs is the office's to know.
fn finding(name: &str, kind: &KindModel, office: bool) -> Option<String> {
    let [low, b10, high] = kind.posterior.as_ref()?.quantiles_of([0.1, 0.5, 0.9], |w| w.quantile(0.1));
    let book = kind.book?;
    let times = if kind.failures == 1 { "1 failure".to_owned() } else { format!("{} failures", kind.failures) };
    let mut text = format!(
        "{name}: {times} in the fleet, {} in service. One in ten is expected to have failed by {} ({} to {}); the book renews at {}{}.",
        kind.in_service,
        age(kind, b10),
        age(kind, low),
        age(kind, high),
        age(kind, book),
        match kind.renewed_at.iter().map(|(at, _)| *at).reduce(f64::min).filter(|at| *at < 0.99 * book) {
            Some(at) if kind.clock == Clock::Hours => {
                format!(", by age sooner where a pump runs little, at the least after {}", age(kind, rounded(at)))
            }
            Some(at) =>
                format!(", by hours sooner where a pump runs much, at the least after {}", age(kind, rounded(at))),
            None => String::new(),
        }
    );
    if kind.failures_of_unknown_age > 0 {
        let more = kind.failures_of_unknown_age;
        let was = if more == 1 { "1 more failure has".to_owned() } else { format!("{more} more failures have") };
        text.push_str(&format!(" {was} no known age and cannot be used."));
    }
    if kind.status == Status::FewFailures {
        text.push_str(" That is too few to lead far from the book.");
    }
    if kind.is_disputed() {
        text.push_str(" The failures alone would give another shape than the book's: take the figures with care.");
    }
    match (kind.advice(), &kind.replacement) {
        (Advice::DoesNotPay, found) => {
            text.push_str(" Renewing early does not pay: running it until it fails costs less");
            if office
                && let Some(cost) = found.as_ref().and_then(|r| r.flips_at)
                && let Some(now) = kind.costs
                && cost > now.failure
                && let Ok(cost) = Decimal::try_from(rounded(cost))
            {
                text.push_str(&format!(", unless a failure costs more than {}", cost.normalize()));
            }
            text.push_str(". Due dates follow the book all the same, until its interval is changed.");
        }
        (Advice::NoSignYet, _) if !office => {
            text.push_str(&format!(" No sign yet that renewing early pays. That rests on {times}; due dates stay the book's."));
        }
        (Advice::NoSignYet, Some(found)) => text.push_str(&format!(
            " No sign yet that renewing early pays: it would come out {} than running it until it fails (between {} and {}). That rests on {times}; due dates stay the book's.",
            dearer_or_cheaper(found.against_failure[1]),
            dearer_or_cheaper(found.against_failure[0]),
            dearer_or_cheaper(found.against_failure[2]),
        )),
        (Advice::BestAge(best), Some(_)) if !office => {
            text.push_str(&format!(" It is best renewed at {}.", age(kind, best)));
        }
        (Advice::BestAge(best), Some(found)) => text.push_str(&format!(
            " Renewing at {} ({}) costs least: it saves {} against the book ({} to {}).",
            age(kind, best),
            best_ages(kind, found),
            saving(found.against_book[1]),
            saving(found.against_book[0]),
            saving(found.against_book[2]),
        )),
        _ if !office => {}
        (Advice::Book, _) => text.push_str(" No other age is sure to cost less than the book's."),
        _ if kind.costs.is_none() => {
            text.push_str(" What a failure costs is not written, so no best age can be given.");
        }
        _ => {}
    }
    Some(text)
}

/// The range of the best age.
fn best_ages(kind: &KindModel, found: &Replacement) -> String {
    let low = found.age_low.min(found.age);
    if found.age_high.is_finite() {
        format!("{} to {}", age(kind, low), age(kind, found.age_high.max(found.age)))
    } else {
        format!("{} or later; it may be that no age is best", age(kind, low))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chances_read_as_people_say_them() {
        assert_eq!(one_in(0.123), "about 1 in 8");
        assert_eq!(one_in(0.8), "more likely than not");
        assert_eq!(one_in(0.000_1), "less than 1 in 1000");
        assert_eq!(percent(0.004), "under 1 %");
        assert_eq!(percent(0.304), "30 %");
    }

    #[test]
    fn what_saves_less_than_nothing_is_dearer() {
        assert_eq!(dearer_or_cheaper(-0.204), "20 % dearer");
        assert_eq!(dearer_or_cheaper(0.1), "10 % cheaper");
        assert_eq!(dearer_or_cheaper(-0.001), "no dearer");
    }

    #[test]
    fn what_costs_more_saves_less_than_nothing() {
        assert_eq!(saving(-0.19), "−19 %");
        assert_eq!(saving(0.104), "10 %");
        assert_eq!(saving(-0.001), "0 %");
    }

    #[test]
    fn estimates_keep_two_digits() {
        assert_eq!(rounded(13_471.0), 13_000.0);
        assert_eq!(rounded(86.4), 86.0);
    }
}
