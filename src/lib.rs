//! Monthly reports for a fleet of spas, from hand-written YAML records.

pub mod address;
pub mod basis;
pub mod calendar;
pub mod charts;
pub mod cli;
pub mod commands;
pub mod costs;
pub mod demo;
pub mod diagnostic;
pub mod explain;
pub mod figures;
pub mod hydraulics;
pub mod interrupt;
pub mod limits;
pub mod output;
pub mod printer;
pub mod quantities;
pub mod records;
pub mod report;
pub mod schedule;
pub mod site;
pub mod stats;
pub mod tables;
pub mod to_do;
pub mod to_do_failures;
pub mod units;
