//! Everything that is tested through the command line or the public interface: one binary, so that the tables are linked once.
//!
//! `support` runs the program and builds fleets; `numbers` holds tables against figures worked by hand, `report` looks at what
//! a run writes, `records` at what is said of faulty records, `cli` at arguments and exit statuses.
#![allow(clippy::unwrap_used, reason = "a test that unwraps fails with the reason")]
#![allow(clippy::disallowed_methods, reason = "tests write fleets of their own and start the program")]
#![allow(unreachable_pub, reason = "nothing outside this binary can reach anything in it")]

mod cli;
mod fuzz;
mod numbers;
mod records;
mod report;
mod support;
