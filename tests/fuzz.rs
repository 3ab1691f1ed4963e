//! Text nobody meant, by chance: reading it must end, soon, with a word and without a panic, and what is read must be
//! what the reader promises.
//!
//! In `make test` each target runs for a second. `tests/fuzz/README.md` says how to run them for longer, and what that has
//! found.

mod engine;
mod targets;
