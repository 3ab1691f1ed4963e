//! Monthly reports for a fleet of spas, from hand-written YAML records.

pub mod address;
pub mod basis;
pub mod calendar;
pub mod diagnostic;
pub mod hydraulics;
pub mod limits;
pub mod records;
pub mod units;
