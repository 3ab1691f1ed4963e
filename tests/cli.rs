//! The command line itself: arguments, exit statuses, how much is said.

mod arguments;
mod explain;
