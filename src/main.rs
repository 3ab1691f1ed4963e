//! The command line of `tubwright`.

use std::process::ExitCode;

use clap::Parser;
use mimalloc::MiMalloc;
use tubwright::cli::{Cli, without_invisible};
use tubwright::commands;
use tubwright::interrupt::Stop;

/// Records are read into millions of small pieces, on all threads, and let go as often: a fifth of the time of reading went
/// into the system's own allocator.
#[global_allocator]
static ALLOCATOR: MiMalloc = MiMalloc;

fn main() -> ExitCode {
    let cli = Cli::parse_from(std::env::args_os().map(without_invisible));
    // A program that cannot listen for signals still ends on them, only less tidily.
    let stop = Stop::listen().unwrap_or_else(|_| Stop::never());
    ExitCode::from(commands::run(&cli, &stop))
}
