//! The command line of `tubwright`.

use std::process::ExitCode;

use clap::Parser;
use tubwright::cli::{Cli, without_invisible};
use tubwright::commands;
use tubwright::interrupt::Stop;

fn main() -> ExitCode {
    let cli = Cli::parse_from(std::env::args_os().map(without_invisible));
    // A program that cannot listen for signals still ends on them, only less tidily.
    let stop = Stop::listen().unwrap_or_else(|_| Stop::never());
    ExitCode::from(commands::run(&cli, &stop))
}
