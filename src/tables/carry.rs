//! `carry.csv`: by month and part, what planned work needs and what to hold for failures.

use rust_decimal::prelude::ToPrimitive;

use super::{Cell, Table, TableError, table};
use crate::fleet_figures::FleetFigures;
use crate::schedule::carry::{self, Carry, Hold};
use crate::stats::stock::Held;

/// A row a part and month. A failure takes a set, so that stock is in whole sets of pieces; money is of a set, and what one
/// more saves or one fewer costs is that of one lead time.
pub(super) fn carry(figures: &FleetFigures) -> Result<Table, TableError> {
    let rows = carry::carry(figures);
    table(
        "carry",
        &rows,
        &[
            ("month", |r| Cell::text(r.month)),
            ("part", |r| Cell::text(r.part)),
            ("number", |r| Cell::text(r.line.number.as_ref().map_or("", |number| number.0.as_str()))),
            ("fits", |r| Cell::text(&r.fits)),
            ("planned", |r| Cell::Count(Some(i64::from(r.planned)))),
            ("expected_failures", |r| Cell::rounded(r.expected_failures, 4)),
            ("stock_to_hold", |r| Cell::Count(r.hold.map(|hold| i64::from(hold.stock())))),
            ("on_order_by", |r| Cell::date(r.on_order_by)),
            ("wanted_in_lead_time", |r| of(r, |hold| Some(hold.demand.mean), 4)),
            ("enough", |r| of(r, |hold| Some(hold.held.enough), 4)),
            ("enough_with_one_set_fewer", |r| of(r, |hold| Some(enough(hold.one_fewer?)), 4)),
            ("enough_with_one_set_more", |r| of(r, |hold| Some(enough(hold.one_more)), 4)),
            ("set_cost", |r| of(r, |hold| hold.price?.to_f64(), 2)),
            ("one_set_fewer_costs", |r| of(r, Hold::one_fewer_costs, 2)),
            ("one_set_more_saves", |r| of(r, Hold::one_more_saves, 2)),
            ("too_late_for", |r| Cell::date(r.too_late_for)),
            ("comes_on", |r| Cell::date(r.comes_on)),
        ],
    )
}

fn of(row: &Carry, figure: fn(&Hold) -> Option<f64>, decimals: i32) -> Cell {
    Cell::rounded(row.hold.as_ref().and_then(figure), decimals)
}

fn enough(held: Held) -> f64 {
    held.enough
}
