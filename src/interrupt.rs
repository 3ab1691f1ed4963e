//! Notices that the run is asked to end, so that it ends between two pieces of work instead of in the middle of one.
//!
//! A signal only sets a flag; whoever works looks at the flag between sites and while waiting for the renderer, and
//! returns [`Interrupted`]. A second signal ends the process at once, for the case that something hangs. This module
//! must not clean up, print or exit: folders clean up when they are dropped, and `main` turns the error into a status.

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

#[cfg(unix)]
use signal_hook::consts::SIGHUP;
use signal_hook::consts::{SIGINT, SIGTERM};
use signal_hook::flag;

#[cfg(unix)]
const SIGNALS: [i32; 3] = [SIGTERM, SIGINT, SIGHUP];
#[cfg(not(unix))]
const SIGNALS: [i32; 2] = [SIGTERM, SIGINT];

/// The run was asked to end; nothing it had not yet published is published.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("ended by signal {signal}; nothing was published")]
pub struct Interrupted {
    /// The signal's number, such as 15 for SIGTERM.
    pub signal: u8,
}

impl Interrupted {
    /// The exit status by which a shell knows that a signal ended the program: 128 + the signal's number.
    pub fn exit_status(self) -> u8 {
        self.signal.saturating_add(128)
    }
}

/// The flag a signal sets. Clones share it, so every worker can hold one.
#[derive(Debug, Clone, Default)]
pub struct Stop {
    requested: Arc<AtomicBool>,
    signal: Arc<AtomicUsize>,
}

impl Stop {
    /// A flag no signal sets, for callers that are not the program itself.
    pub fn never() -> Stop {
        Stop::default()
    }

    /// A flag that SIGTERM, SIGINT and SIGHUP set. Call it once, early in `main`.
    ///
    /// SIGHUP is left alone where the process was started with it ignored: that is how `nohup` says that the run is to
    /// go on after the terminal is closed.
    ///
    /// # Errors
    /// The operating system refused to register a handler.
    pub fn listen() -> io::Result<Stop> {
        let stop = Stop::default();
        for signal in SIGNALS {
            #[cfg(unix)]
            if signal == SIGHUP && is_ignored(signal) {
                continue;
            }
            // The order matters: at the first signal the flag is still down, so only it is raised; at the second the
            // default action comes first and ends the process.
            flag::register_conditional_default(signal, Arc::clone(&stop.requested))?;
            flag::register_usize(signal, Arc::clone(&stop.signal), usize::try_from(signal).unwrap_or(0))?;
            flag::register(signal, Arc::clone(&stop.requested))?;
        }
        Ok(stop)
    }

    /// Raises the flag as signal number `signal` would.
    pub fn request(&self, signal: u8) {
        self.signal.store(usize::from(signal), Ordering::SeqCst);
        self.requested.store(true, Ordering::SeqCst);
    }

    /// Returns an error once the run has been asked to end.
    ///
    /// # Errors
    /// [`Interrupted`], naming the signal.
    pub fn check(&self) -> Result<(), Interrupted> {
        if !self.requested.load(Ordering::SeqCst) {
            return Ok(());
        }
        let signal = self.signal.load(Ordering::SeqCst);
        Err(Interrupted { signal: u8::try_from(signal).unwrap_or(0) })
    }
}

/// Whether this process ignores `signal`, read where Linux shows it. Elsewhere the answer is no.
#[cfg(unix)]
fn is_ignored(signal: i32) -> bool {
    fs_err::read_to_string("/proc/self/status").is_ok_and(|status| ignores(&status, signal))
}

/// Whether the mask of ignored signals in `status` (proc(5), bit 0 is signal 1) contains `signal`.
#[cfg(unix)]
fn ignores(status: &str, signal: i32) -> bool {
    status
        .lines()
        .find_map(|line| line.strip_prefix("SigIgn:"))
        .and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok())
        .is_some_and(|mask| mask >> (signal - 1) & 1 == 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_flag_nobody_raised_lets_work_go_on() {
        assert_eq!(Stop::never().check(), Ok(()));
    }

    #[test]
    fn clones_share_the_flag_and_the_signal() {
        let stop = Stop::never();
        let worker = stop.clone();
        stop.request(2);
        let interrupted = worker.check().unwrap_err();
        assert_eq!(interrupted, Interrupted { signal: 2 });
        assert_eq!(interrupted.exit_status(), 130);
    }

    /// Only one signal may be raised in the test process: a second one would end it, as it should.
    #[test]
    fn a_signal_raises_the_flag() {
        let stop = Stop::listen().unwrap();
        assert_eq!(stop.check(), Ok(()));
        signal_hook::low_level::raise(SIGTERM).unwrap();
        assert_eq!(stop.check().unwrap_err().exit_status(), 143);
    }

    #[cfg(unix)]
    #[test]
    fn an_ignored_signal_is_found_in_the_mask() {
        let status = "Name:\tx\nSigIgn:\t0000000000001001\nSigCgt:\t0000000000000002\n";
        assert!(ignores(status, 1));
        assert!(ignores(status, 13));
        assert!(!ignores(status, 2));
        assert!(!ignores("Name:\tx\n", 1));
    }
}
