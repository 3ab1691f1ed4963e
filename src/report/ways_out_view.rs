//! The ways out of a short spa, as finished sentences for the site report.
//!
//! It exists beside `site_view` so that what is said of each way stands in one place. It must not
//! compute, and it shows no cost to a customer.

use crate::calendar;
use crate::quantities::SpaFigures;
use crate::quantities::water_turnover::{Verdict, WaterMonth};
use crate::quantities::ways_out::{Reaches, Way, WayOut};
use crate::records::Fleet;
use crate::records::fleet::ReportsFor;
use crate::report::format;
use crate::report::view;
use crate::report::water_words::limit_minutes;

/// The ways out of a spa, the best first.
pub fn ways_out(fleet: &Fleet, figures: &SpaFigures) -> Vec<view::WayOut> {
    let Some(row) = figures.water.months.last() else { return Vec::new() };
    let mut said: Vec<view::WayOut> = figures
        .ways_out
        .iter()
        .map(|way| view::WayOut { what: what(fleet, way), gives: gives(fleet, way, row) })
        .collect();
    if row.verdict == Verdict::Short && said.is_empty() {
        said.push(view::WayOut {
            what: "No way out can be worked out from these records.".to_owned(),
            gives: "A flow measured after a clean, the pump's curve, the pipe and what the clean filter takes would let them be \
                    told."
                .to_owned(),
        });
    }
    let slower = |way: &WayOut| matches!(way.way, Way::WiderPipe { .. } | Way::LessFlow);
    if row.failing.contains(&"velocity") && !figures.ways_out.iter().any(slower) {
        said.push(view::WayOut {
            what: "For the velocity there is no plain swap.".to_owned(),
            gives: "It takes wider pipe, or less flow and another pump, laid out by whoever is licensed for it; what either \
                    would reach cannot be computed from these records within the limits."
                .to_owned(),
        });
    }
    said
}

fn what(fleet: &Fleet, way: &WayOut) -> String {
    let units = fleet.settings.units;
    match &way.way {
        Way::Clean { .. } if way.enough => "Clean the filter.".to_owned(),
        Way::Clean { .. } => "Cleaning the filter alone is not enough.".to_owned(),
        Way::MoreHours { from } => match way.reaches {
            Reaches::Hours(hours) if way.enough => format!("Filter {hours:.0} hours a day instead of {from:.1}."),
            Reaches::Hours(hours) if hours > from + 0.05 => format!(
                "Filter {hours:.1} hours a day instead of {from:.1}; more is not to be had, for the rest of the day the pump runs \
                 at a speed that does not filter."
            ),
            Reaches::Hours(_) => {
                "More hours are not to be had from this pump: the rest of the day it runs at a speed that does not filter."
                    .to_owned()
            }
            _ => "Filter longer.".to_owned(),
        },
        Way::MoreArea { from } => match way.reaches {
            Reaches::FilterRate { area, .. } | Reaches::LargerFilter { area, .. } => {
                format!("Fit {} of filter instead of {}.", format::area(area, units), format::area(*from, units))
            }
            _ => "Fit more filter area.".to_owned(),
        },
        Way::WiderPipe { from, to } => {
            let inches = |size: f64| format::number(size, 2).trim_end_matches('0').trim_end_matches('.').to_owned();
            format!("Lay the loop in {} in pipe instead of {} in.", inches(*to), inches(*from))
        }
        Way::LessFlow => match way.reaches {
            Reaches::AtMost { flow, .. } => format!("Let at most {} through.", format::flow(flow, units)),
            _ => "Let less through.".to_owned(),
        },
        Way::LikeForLike { model } => {
            format!(
                "Exchange the pump for model {model}: the same power, speeds, frame, ports and supply. The steps and their \
                 cautions are the last page of the work sheets."
            )
        }
        Way::ModelBefore { model, at, until } => format!(
            "Go back to model {model}, which stood at {} until {}.",
            format::place(at.as_str()),
            calendar::in_words(*until)
        ),
    }
}

fn gives(fleet: &Fleet, way: &WayOut, row: &WaterMonth) -> String {
    let units = fleet.settings.units;
    let limit = row.limit_min;
    let mut says = match &way.reaches {
        Reaches::Turnover { minutes, flow } => {
            let known = match way.way {
                Way::Clean { measured: true } => "measured after a clean",
                _ => "calculated",
            };
            let against = limit.map_or(String::new(), |limit| format!("; the limit is {} min", limit_minutes(limit)));
            let close = limit.is_some_and(|limit| way.enough && minutes.high > limit);
            format!(
                "It gives {} and a turnover in {:.1} min ({known}, {:.1} to {:.1} min){against}.{}",
                format::flow(flow.value, units),
                minutes.value,
                minutes.low,
                minutes.high,
                if close { " The range reaches past the limit: measure the flow afterwards." } else { "" }
            )
        }
        Reaches::Hours(_) if way.enough => "That is what the rule book asks.".to_owned(),
        Reaches::Hours(_) => format!(
            "The rule book asks for {} h: that takes a filtration pump of its own, laid out by whoever is licensed for it.",
            row.hours_limit.map_or_else(String::new, limit_minutes)
        ),
        Reaches::LargerFilter { minutes, flow, .. } => format!(
            "New and clean it lets {} through and all the water passes in {:.1} min (calculated, {:.1} to {:.1} min){}. Measure \
             the flow afterwards.",
            format::flow(flow.value, units),
            minutes.value,
            minutes.low,
            minutes.high,
            limit.map_or_else(String::new, |limit| format!("; the limit is {} min", limit_minutes(limit)))
        ),
        Reaches::FilterRate { rate, flow, .. } => {
            let rate = format!("{} {}", format::filter_rate_number(*rate, units), format::filter_rate_unit(units));
            match flow {
                Some(flow) => format!(
                    "New and clean it lets {} through (calculated), which makes {rate}, within the limit. Measure the flow \
                     afterwards.",
                    format::flow(*flow, units)
                ),
                None => format!(
                    "That is the least: at the present flow it makes {rate}. A clean filter lets more through, and how much \
                     more cannot be calculated from these records."
                ),
            }
        }
        Reaches::Velocity { velocity, flow } => format!(
            "With clean filters {} then go through it at {} {} (calculated); the limit is {}.",
            format::flow(*flow, units),
            format::velocity_number(*velocity, units),
            format::velocity_unit(units),
            row.velocity_limit.map_or_else(String::new, |limit| format::velocity_number(limit, units))
        ),
        Reaches::AtMost { minutes, .. } => format!(
            "Filter rate and velocity are then within their limits, and all the water passes in {minutes:.1} min{}. It \
             takes a slower speed or a pump of another power, which is no plain swap.",
            limit.map_or_else(String::new, |limit| format!("; the limit is {} min", limit_minutes(limit)))
        ),
    };
    if !way.over.is_empty() {
        says.push_str(&format!(" At that flow the {} would be over its limit.", way.over.join(" and the ")));
    }
    if let Way::ModelBefore { .. } = way.way {
        says.push_str(
            " It has another power than the pump there now, so it is no plain swap: have the supply and the suction covers checked for it first.",
        );
    }
    if fleet.settings.reports_for == ReportsFor::Office {
        let currency = &fleet.settings.currency.0;
        let amount = way.cost.map(|cost| format::money_whole(crate::costs::rounded(cost, currency), currency));
        match (amount, &way.way) {
            (Some(amount), Way::Clean { .. }) => says.push_str(&format!(" Cost about {amount} each time.")),
            (Some(amount), Way::MoreHours { .. }) => says.push_str(&format!(" Energy about {amount} a year.")),
            (Some(amount), _) => says.push_str(&format!(" Cost about {amount}, pump and work.")),
            (None, _) => says.push_str(" What it costs is not known."),
        }
    }
    says
}
