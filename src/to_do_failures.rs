//! What failures and drifts ask for: pumps that fail more and more often or more than their like, a
//! motor's current that rises, what failed soon after it was new, pumps that failed close together.

use chrono::NaiveDate;

use crate::address::Address;
use crate::calendar::{self, days_between, plus_days};
use crate::quantities::SpaFigures;
use crate::quantities::failed_together::{After, Question};
use crate::quantities::failure_trends::Scope;
use crate::quantities::failures::Trend;
use crate::quantities::measured_trends::{CLEAR, Drifting, MeasuredTrend, OVERLOADED};
use crate::quantities::part_life_model::FleetLives;
use crate::records::Site;
use crate::records::fleet::Units;
use crate::report::format;
use crate::schedule::due::PartDue;
use crate::to_do::{SUCTION_COVER, ToDo, Urgency};

/// The rise of a current below which it is left at a row of the table, as a share of where it began.
const LEAST_RISE: f64 = 0.05;
/// The rise from which it cannot wait: about what a bearing adds before it seizes; common practice, no source.
const LARGE_RISE: f64 = 0.15;
/// The rise of a clean gauge below which nothing is asked for, as a share of where it began: assumed.
const LEAST_RISE_WHEN_CLEAN: f64 = 0.10;
/// How far below its set point water must be, in K, before anything is asked for: assumed.
const LEAST_LAG: f64 = 1.0;
/// By how much that must have grown, in K: assumed; a thermometer reads to half of it.
const LEAST_LAG_MORE: f64 = 1.0;
/// Days before a current's limit from which it cannot wait.
const SOON: i64 = 60;
/// The wear part whose failing raises a motor's current.
const BEARING: &str = "bearing";

/// The reasons that are questions to check.
pub const QUESTIONS: [&str; 3] = ["failed-soon-after-renewal", "failed-soon-after-exchange", "failed-close-together"];

/// The reason by which a drift stands among what to do, where it asks for something.
pub fn reason_of(drifting: Drifting) -> Option<&'static str> {
    match drifting {
        Drifting::Current | Drifting::CurrentLow => Some("current-rising"),
        Drifting::CleanPressure => Some("cartridge-no-longer-clean"),
        Drifting::TemperatureLag => Some("heat-falls-behind"),
        Drifting::Pressure => None,
    }
}

/// What was seen of a site's parts, readings and failures.
#[derive(Debug, Clone, Copy)]
pub struct Seen<'a> {
    /// Its wear parts with their due dates.
    pub parts: &'a [PartDue<'a>],
    /// What drifts.
    pub trends: &'a [MeasuredTrend],
    /// What its failures ask.
    pub questions: &'a [Question],
}

/// All of it at a site, in no order.
pub fn to_do(
    units: Units,
    site: &Site,
    spas: &[SpaFigures],
    lives: &FleetLives,
    seen: &Seen,
    as_of: NaiveDate,
) -> Vec<ToDo> {
    let Seen { parts, trends, questions } = *seen;
    let mut all = Vec::new();
    failing(site, spas, lives, &mut all);
    all.extend(trends.iter().filter_map(|trend| rising_current(trend, parts, as_of)));
    all.extend(trends.iter().filter_map(|trend| no_longer_clean(trend, units, as_of)));
    all.extend(trends.iter().filter_map(|trend| no_longer_warm(trend, units)));
    all.extend(questions.iter().map(asked));
    all.extend(parts.iter().filter_map(seen_failed));
    all
}

/// A part seen failed that has not been renewed since.
fn seen_failed(part: &PartDue) -> Option<ToDo> {
    let seen = part.part.seen_failed?;
    let name = format::words(part.part.id.as_str());
    // A cover that does not hold can trap a bather.
    let cover = part.part.id.as_str() == SUCTION_COVER;
    Some(ToDo {
        urgency: if cover { Urgency::DoNotUse } else { Urgency::ActNow },
        at: Some(part.part.at.clone()),
        reason: "failed-not-renewed",
        what: format!("renew the {name}, which has failed"),
        says: format!("It was seen failed on {} and has not been renewed since.", calendar::in_words(seen)),
        if_left: if cover {
            "a cover that does not hold can trap a bather"
        } else {
            "what it is there for is not done"
        }
        .to_owned(),
        due: None,
        source: part.sources.last().cloned(),
    })
}

/// Pumps and the site itself that fail more often than they did, and pumps that fail more than their like.
fn failing(site: &Site, spas: &[SpaFigures], lives: &FleetLives, all: &mut Vec<ToDo>) {
    let mut worsening = false;
    for pump in spas.iter().flat_map(|s| &s.pumps) {
        let incidents = &pump.failures.incidents;
        let (Some(first), Some(last)) = (incidents.first(), incidents.last()) else { continue };
        let Some(trend) = lives.trends.pump(&site.id, &pump.at) else { continue };
        if trend.trend == Trend::Worsening {
            worsening = true;
            all.push(ToDo {
                urgency: Urgency::ActNow,
                at: Some(pump.at.clone()),
                reason: "failing-more-often",
                what: "find out why it keeps failing".to_owned(),
                says: format!(
                    "{} failures since {}, the last on {}, and they come closer together.",
                    incidents.len(),
                    calendar::in_words(first.day),
                    calendar::in_words(last.day)
                ),
                if_left: "more failures are to be expected, each with a call-out".to_owned(),
                due: None,
                source: Some(last.source.clone()),
            });
        } else if let Some(beside) = trend.beside.filter(|beside| beside.stands_out && trend.trend != Trend::Improving)
        {
            all.push(ToDo {
                urgency: Urgency::Plan,
                at: Some(pump.at.clone()),
                reason: "failing-more-than-its-like",
                what: "find out why it fails more than others of its model".to_owned(),
                says: format!(
                    "{} failures; at the rate of the others of its model it would have had {}. That is more than bad luck explains.",
                    incidents.len(),
                    format::number(beside.expected, 1)
                ),
                if_left: "more failures are to be expected, each with a call-out".to_owned(),
                due: None,
                source: Some(last.source.clone()),
            });
        }
    }
    let of_site = lives.trends.scope(Scope::Site, site.id.as_str());
    if let (Some(trend), false) = (of_site.filter(|trend| trend.trend == Trend::Worsening), worsening) {
        all.push(ToDo {
            urgency: Urgency::Plan,
            at: None,
            reason: "failing-more-often",
            what: "find out what its pumps share".to_owned(),
            says: format!(
                "{} failures of its pumps together, and they come closer together; of no single pump can that be told.",
                trend.failures
            ),
            if_left: "more failures are to be expected, each with a call-out".to_owned(),
            due: None,
            source: None,
        });
    }
}

/// A motor's current that rises: the sign of a bearing about to go, among others.
fn rising_current(trend: &MeasuredTrend, parts: &[PartDue], as_of: NaiveDate) -> Option<ToDo> {
    let risen = trend.levels.1 / trend.levels.0 - 1.0;
    let of_motor = matches!(trend.quantity, Drifting::Current | Drifting::CurrentLow);
    let clear = trend.p_value < CLEAR && trend.range.is_none_or(|(low, _)| low > 0.0);
    if !of_motor || !clear || risen < LEAST_RISE || trend.levels.0 <= 0.0 {
        return None;
    }
    let mut says = format!(
        "Its current rose by {:.0} % between {} and {}, to {} A.",
        risen * 100.0,
        calendar::in_words(trend.from),
        calendar::in_words(trend.to),
        format::number(trend.levels.1, 2)
    );
    if let (Some(limit), Some(crosses)) = (trend.limit, trend.crosses) {
        let over = (OVERLOADED - 1.0) * 100.0;
        let limit = format!("{over:.0} % over its model's, {} A,", format::number(limit, 2));
        says.push_str(&if crosses <= as_of {
            format!(" It passed {limit} about {}.", calendar::in_words(crosses))
        } else {
            format!(" At this rate it passes {limit} about {}.", calendar::in_words(crosses))
        });
    }
    let bearing = parts.iter().find(|p| p.part.at == trend.at && p.part.id.as_str().contains(BEARING));
    if let Some(bearing) = bearing {
        let name = format::words(bearing.part.id.as_str());
        says.push_str(&format!(" A motor draws more as its bearings go: check the {name}"));
        says.push_str(&match bearing.life_used {
            Some(used) => format!(", of whose life {:.0} % is used.", used * 100.0),
            None => ", whose age is not known.".to_owned(),
        });
    } else {
        says.push_str(" A motor draws more as its bearings go.");
    }
    let soon = trend.crosses.is_some_and(|day| day <= plus_days(as_of, SOON));
    Some(ToDo {
        urgency: if soon || risen >= LARGE_RISE { Urgency::ActNow } else { Urgency::Plan },
        at: Some(trend.at.clone()),
        reason: "current-rising",
        what: "check the motor's bearings".to_owned(),
        says,
        if_left: "a bearing that seizes burns out the motor".to_owned(),
        due: Some(trend.crosses.map_or(plus_days(as_of, SOON), |day| day.max(plus_days(as_of, 1)))),
        source: Some(trend.source.clone()),
    })
}

/// A cartridge whose gauge, right after each clean, shows more and more: what is in it comes out no longer.
fn no_longer_clean(trend: &MeasuredTrend, units: Units, as_of: NaiveDate) -> Option<ToDo> {
    let risen = trend.levels.1 / trend.levels.0 - 1.0;
    if trend.quantity != Drifting::CleanPressure || !trend.is_worth_telling() || risen < LEAST_RISE_WHEN_CLEAN {
        return None;
    }
    let value = |value| format::drifting(trend.quantity, value, units);
    let mut says = format!(
        "Right after a clean its gauge shows {}, where it showed {} at first (the middles of three readings, {} to {}).",
        value(trend.levels.1),
        value(trend.levels.0),
        calendar::in_words(trend.from),
        calendar::in_words(trend.to)
    );
    if let (Some(limit), Some(crosses)) = (trend.limit, trend.crosses) {
        let when = if crosses <= as_of { "It passed" } else { "At this rate it passes" };
        says.push_str(&format!(
            " {when} {} about {}, as high clean as it is to be cleaned at.",
            value(limit),
            calendar::in_words(crosses)
        ));
    }
    let soon = trend.crosses.is_some_and(|day| day <= plus_days(as_of, SOON));
    Some(ToDo {
        urgency: if soon { Urgency::ActNow } else { Urgency::Plan },
        at: Some(trend.at.clone()),
        reason: "cartridge-no-longer-clean",
        what: "soak the filter's cartridge, or renew it".to_owned(),
        says,
        if_left: "less water passes, and cleaning helps for fewer and fewer days".to_owned(),
        due: trend.crosses.filter(|day| *day > as_of),
        source: Some(trend.source.clone()),
    })
}

/// Water that stays further and further below what it is set to.
fn no_longer_warm(trend: &MeasuredTrend, units: Units) -> Option<ToDo> {
    let (from, to) = trend.levels;
    let clear = trend.p_value < CLEAR && trend.range.is_none_or(|(low, _)| low > 0.0);
    if trend.quantity != Drifting::TemperatureLag || !clear || to < LEAST_LAG || to - from < LEAST_LAG_MORE {
        return None;
    }
    let value = |value| format::drifting(trend.quantity, value, units);
    let before = if from > 0.0 { format!("{} below it at first", value(from)) } else { "at it at first".to_owned() };
    Some(ToDo {
        urgency: Urgency::Plan,
        at: Some(trend.at.clone()),
        reason: "heat-falls-behind",
        what: "check the heater, its scale and the cover".to_owned(),
        says: format!(
            "The water is {} below its set point, and was {before} (the middles of three readings, {} to {}).",
            value(to),
            calendar::in_words(trend.from),
            calendar::in_words(trend.to)
        ),
        if_left: "the water no longer gets warm, and a heater that fails does so in use".to_owned(),
        due: None,
        source: Some(trend.source.clone()),
    })
}

fn asked(question: &Question) -> ToDo {
    match question {
        Question::Early { at, part, after, came, failed, early, of, source } => {
            let name = format::words(part);
            let days = days_between(*came, *failed);
            let (what, check) = match after {
                After::Renewal => ("its last renewal", "the fitting, the shaft and the alignment"),
                After::Exchange => ("the pump's exchange", "how the new pump was set up and aligned"),
            };
            let (reason, at): (_, &Address) = match after {
                After::Renewal => ("failed-soon-after-renewal", at),
                After::Exchange => ("failed-soon-after-exchange", at),
            };
            ToDo {
                urgency: Urgency::Note,
                at: Some(at.clone()),
                reason,
                what: format!("why did the {name} fail so soon?"),
                says: format!(
                    "It failed on {}, {days} days after {what}. Of {of} in the fleet that failed at a known age, {early} did so within a tenth of the book's interval. Check {check}.",
                    calendar::in_words(*failed)
                ),
                if_left: String::new(),
                due: None,
                source: source.clone(),
            }
        }
        Question::Cluster { failures, of, pumps, from, to, chance, source } => ToDo {
            urgency: Urgency::Note,
            at: None,
            reason: "failed-close-together",
            what: "why did its pumps fail close together?".to_owned(),
            says: format!(
                "{failures} of {of} failures, of {pumps} pumps, came between {} and {}; spread evenly they would do so about 1 time in {:.0}. Check what the pumps share: water and voltage.",
                calendar::in_words(*from),
                calendar::in_words(*to),
                (1.0 / chance).round()
            ),
            if_left: String::new(),
            due: None,
            source: Some(source.clone()),
        },
    }
}

#[cfg(test)]
mod tests;
