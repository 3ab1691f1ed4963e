//! A line a site.

use super::{Given, SiteLine};
use crate::report::fleet_state::Standing;
use crate::report::format::{self, NOT_KNOWN};
use crate::report::site::Worst;

/// Lines at most: a table of some thousand rows costs the renderer more than all the rest, and nobody reads it.
const LINES: usize = 1000;

pub(super) fn sites(given: &Given, standings: &[Standing]) -> Vec<SiteLine> {
    let mut by_name: Vec<&Standing> = standings.iter().collect();
    if by_name.len() > LINES {
        // The worst come first in `standings`: those are kept.
        by_name.truncate(LINES);
    }
    by_name.sort_by_key(|s| (s.site.site.name.to_lowercase(), s.site.site.id.clone()));
    by_name.into_iter().map(|standing| line(given, standing)).collect()
}

pub(super) fn note(standings: &[Standing]) -> String {
    let order = "Turnover is that of the spa that is short of its limits, else of the one nearest to its own. Energy is that of the pumps in the month.";
    match standings.len().saturating_sub(LINES) {
        0 => order.to_owned(),
        more => format!("{order} {more} more sites, none of them worse than these, are in index.html."),
    }
}

fn line(given: &Given, standing: &Standing) -> SiteLine {
    let site = standing.site;
    let month = given.figures.month;
    let rows =
        site.spas.iter().flat_map(|spa| &spa.pumps).flat_map(|p| &p.hours).flat_map(|hours| hours.of_month(month));
    let energy: Vec<f64> = rows.filter_map(|m| m.energy_kwh).collect();
    SiteLine {
        mark: standing.urgency().into(),
        word: standing.words().to_owned(),
        site: super::name(site),
        spas: site.spas.len().to_string(),
        things: standing.groups.len().to_string(),
        turnover: match &standing.numbers.worst {
            Some(Worst { minutes, limit: Some(limit), .. }) => {
                format!("{} of {}", format::number(*minutes, 1), format::number(*limit, 0))
            }
            Some(Worst { minutes, limit: None, .. }) => format::number(*minutes, 1),
            None if site.site.is_closed(site.as_of) => "closed".to_owned(),
            None => NOT_KNOWN.to_owned(),
        },
        parts: standing.numbers.parts_due.to_string(),
        energy: if energy.is_empty() { "–".to_owned() } else { format::number(energy.iter().sum(), 0) },
        cost: standing.numbers.planned_cost.map_or_else(
            || "–".to_owned(),
            |cost| format::number(rust_decimal::prelude::ToPrimitive::to_f64(&cost).unwrap_or(0.0), 0),
        ),
    }
}
