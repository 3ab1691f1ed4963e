//! Everything that is tested through the command line or the public interface: one binary, so that the tables are linked once.
//!
//! `support` runs the program and builds fleets; `numbers` holds tables against figures worked by hand, `report` looks at what
//! a run writes, `records` at what is said of faulty records, `cli` at arguments and exit statuses.
#![allow(clippy::unwrap_used, reason = "a test that unwraps fails with the reason")]
#![allow(clippy::disallowed_methods, reason = "tests write fleets of their own and start the program")]
#![allow(clippy::case_sensitive_file_extension_comparisons, reason = "the program writes its endings in lower case")]
#![allow(clippy::print_stderr, reason = "a test that could not be made says so")]
#![allow(clippy::many_single_char_names, reason = "formulas of colour are read with the letters of their source")]
#![allow(
    clippy::needless_for_each,
    clippy::needless_pass_by_value,
    clippy::needless_raw_string_hashes,
    reason = "helpers of tests read best so"
)]
#![allow(unreachable_pub, reason = "nothing outside this binary can reach anything in it")]

mod cli;
mod fuzz;
mod numbers;
mod records;
mod report;
mod support;
