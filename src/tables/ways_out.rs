//! `ways_out.csv`: what would bring a short spa within its limits, as the reports list it.

use rust_decimal::prelude::ToPrimitive;

use super::{Cell, Of, Table, TableError, table};
use crate::basis::Figure;
use crate::quantities::ways_out::{Reaches, Way, WayOut};
use crate::site::SiteFigures;

pub(super) fn ways_out(sites: &[SiteFigures]) -> Result<Table, TableError> {
    let rows: Vec<_> = sites
        .iter()
        .flat_map(|site| site.spas.iter().map(move |spa| (site, spa)))
        .flat_map(|(site, spa)| {
            let ways = spa.ways_out.iter().enumerate();
            ways.map(move |(place, way)| Of { site: site.site.id.as_str(), at: &spa.at, row: (place, way) })
        })
        .collect();
    table(
        "ways_out",
        &rows,
        &[
            ("site", |r| Cell::text(r.site)),
            ("at", |r| Cell::text(r.at)),
            ("rank", |r| Cell::Count(i64::try_from(r.row.0 + 1).ok())),
            ("way", |r| Cell::text(word(&r.row.1.way))),
            ("enough", |r| Cell::text(if r.row.1.enough { "yes" } else { "no" })),
            ("over", |r| Cell::text(r.row.1.over.join("; "))),
            ("model", |r| Cell::text(model(&r.row.1.way))),
            ("from", |r| Cell::rounded(from(&r.row.1.way), 4)),
            ("to", |r| Cell::rounded(to(r.row.1), 4)),
            ("unit", |r| Cell::text(unit(&r.row.1.way))),
            ("flow_l_min", |r| Cell::rounded(flow(&r.row.1.reaches), 4)),
            ("turnover_min", |r| Cell::rounded(turnover(&r.row.1.reaches, |figure| figure.value), 4)),
            ("turnover_low", |r| Cell::rounded(turnover(&r.row.1.reaches, |figure| figure.low), 4)),
            ("turnover_high", |r| Cell::rounded(turnover(&r.row.1.reaches, |figure| figure.high), 4)),
            ("filter_rate_l_min_m2", |r| Cell::rounded(rate(&r.row.1.reaches), 4)),
            ("velocity_m_s", |r| Cell::rounded(velocity(&r.row.1.reaches), 4)),
            ("cost", |r| Cell::rounded(r.row.1.cost.and_then(|cost| cost.to_f64()), 4)),
        ],
    )
}

fn word(way: &Way) -> &'static str {
    match way {
        Way::Clean { measured: true } => "clean, measured",
        Way::Clean { measured: false } => "clean",
        Way::MoreHours { .. } => "more hours",
        Way::MoreArea { .. } => "more filter area",
        Way::WiderPipe { .. } => "wider pipe",
        Way::LessFlow => "less flow",
        Way::LikeForLike { .. } => "model like for like",
        Way::ModelBefore { .. } => "model that stood there before",
    }
}

fn model(way: &Way) -> &str {
    match way {
        Way::LikeForLike { model } | Way::ModelBefore { model, .. } => model,
        _ => "",
    }
}

/// What `from` and `to` are in.
fn unit(way: &Way) -> &'static str {
    match way {
        Way::MoreHours { .. } => "h/day",
        Way::MoreArea { .. } => "m2",
        Way::WiderPipe { .. } => "in",
        _ => "",
    }
}

fn from(way: &Way) -> Option<f64> {
    match way {
        Way::MoreHours { from } | Way::MoreArea { from } | Way::WiderPipe { from, .. } => Some(*from),
        _ => None,
    }
}

fn to(way: &WayOut) -> Option<f64> {
    match (&way.way, &way.reaches) {
        (Way::WiderPipe { to, .. }, _) => Some(*to),
        (_, Reaches::Hours(hours)) => Some(*hours),
        (_, Reaches::LargerFilter { area, .. } | Reaches::FilterRate { area, .. }) => Some(*area),
        _ => None,
    }
}

fn flow(reaches: &Reaches) -> Option<f64> {
    match reaches {
        Reaches::Turnover { flow, .. } | Reaches::LargerFilter { flow, .. } => Some(flow.value),
        Reaches::FilterRate { flow, .. } => *flow,
        Reaches::Velocity { flow, .. } | Reaches::AtMost { flow, .. } => Some(*flow),
        Reaches::Hours(_) => None,
    }
}

fn turnover(reaches: &Reaches, end: fn(&Figure) -> f64) -> Option<f64> {
    match reaches {
        Reaches::Turnover { minutes, .. } | Reaches::LargerFilter { minutes, .. } => Some(end(minutes)),
        Reaches::AtMost { minutes, .. } => Some(*minutes),
        _ => None,
    }
}

fn rate(reaches: &Reaches) -> Option<f64> {
    if let Reaches::FilterRate { rate, .. } = reaches { Some(*rate) } else { None }
}

fn velocity(reaches: &Reaches) -> Option<f64> {
    if let Reaches::Velocity { velocity, .. } = reaches { Some(*velocity) } else { None }
}
