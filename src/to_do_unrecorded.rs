//! What a site without a log is asked for: the days its parts were last renewed, and a look at what keeps bathers off the
//! suction.
//!
//! Where nothing was ever logged, a part past its age may well have been renewed: that is a question, and no alarm.

use std::collections::BTreeMap;

use crate::address::Address;
use crate::charts::style::list;
use crate::report::format;
use crate::schedule::due::PartDue;
use crate::to_do::{SUCTION_COVER, ToDo, Urgency};

/// Suction covers whose age no log tells.
pub(crate) fn cover_to_look_at(part: &PartDue) -> ToDo {
    ToDo {
        urgency: Urgency::ActNow,
        at: Some(part.part.at.clone()),
        reason: "suction-cover-age-unknown",
        what: "look at the date on the suction covers".to_owned(),
        says: format!(
            "A suction cover is good for the years stated on it. No renewal is on record since {}: where a cover is past \
             its years, close the spa until it is renewed; where it is not, enter the day it was fitted.",
            format::fitted(part.part.fitted)
        ),
        if_left: "a cover past its life can break and hold a bather under water".to_owned(),
        due: None,
        source: part.sources.last().cloned(),
    }
}

/// One thing to do for each place of a site without a log: to write down when its parts were last renewed.
pub(crate) fn renewals_to_enter(parts: &[PartDue], all: &mut Vec<ToDo>) {
    let mut by_place: BTreeMap<&Address, Vec<&PartDue>> = BTreeMap::new();
    for part in parts.iter().filter(|part| part.unrecorded && part.part.id.as_str() != SUCTION_COVER) {
        by_place.entry(&part.part.at).or_default().push(part);
    }
    for (at, parts) in by_place {
        let names: Vec<String> = parts.iter().map(|part| format::words(part.part.id.as_str())).collect();
        let since = format::fitted(parts[0].part.fitted);
        let (what, each) = if parts.len() == 1 { ("part was", "it was") } else { ("parts were", "each was") };
        all.push(ToDo {
            urgency: Urgency::Plan,
            at: Some(at.clone()),
            reason: "no-renewal-on-record",
            what: format!("write down when its {what} last renewed"),
            says: format!(
                "No renewal is on record of the {}: enter the day {each} last renewed, else it counts from {since}.",
                list(&names)
            ),
            if_left: "what is said of its life stays a guess".to_owned(),
            due: None,
            source: parts[0].sources.first().cloned(),
        });
    }
}
