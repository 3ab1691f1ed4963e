//! What a run costs: processor time, its own and that of the programs it started, and the most memory it held. Read
//! from the system where Linux shows it (proc(5)); elsewhere it is not known. For `--verbose` and the benchmark only;
//! nothing that is written depends on it.

use std::time::Instant;

use fs_err as fs;

/// What this process has used so far.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Usage {
    /// Processor seconds of this process.
    pub own: f64,
    /// Processor seconds of the programs it started and waited for.
    pub started: f64,
    /// The most memory it held, in bytes.
    pub peak: u64,
}

impl Usage {
    /// Reads it; `None` where the system does not show it.
    pub fn now() -> Option<Self> {
        let stat = fs::read_to_string("/proc/self/stat").ok()?;
        let status = fs::read_to_string("/proc/self/status").ok()?;
        let ticks = rustix::param::clock_ticks_per_second() as f64;
        Self::of(&stat, &status, ticks)
    }

    fn of(stat: &str, status: &str, ticks_per_second: f64) -> Option<Self> {
        // The name in parentheses may hold spaces; fields 14 to 17 of proc(5) are the 12th to 15th behind it.
        let fields: Vec<&str> = stat.rsplit_once(") ")?.1.split(' ').collect();
        let seconds = |from: usize| -> Option<f64> {
            let ticks = |field: usize| fields.get(field)?.parse::<f64>().ok();
            Some((ticks(from)? + ticks(from + 1)?) / ticks_per_second)
        };
        let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
        let kibibytes: u64 = peak.trim().strip_suffix("kB")?.trim().parse().ok()?;
        Some(Self { own: seconds(11)?, started: seconds(13)?, peak: kibibytes * 1024 })
    }
}

impl std::fmt::Display for Usage {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let mib = self.peak as f64 / f64::from(1 << 20);
        write!(
            f,
            "processor: {:.2} s of its own, {:.2} s of the renderer; memory: {mib:.0} MiB at most",
            self.own, self.started
        )
    }
}

/// The clock of a stage of a run: wall time, processor time, memory.
#[derive(Debug, Clone, Copy)]
pub struct Clock {
    began: Instant,
    before: Option<Usage>,
}

impl Clock {
    /// Starts it.
    pub fn start() -> Self {
        Self { began: Instant::now(), before: Usage::now() }
    }

    /// What the stage took so far, in words: seconds, processor seconds of the program, the most memory up to here.
    pub fn in_words(self) -> String {
        let seconds = self.began.elapsed().as_secs_f64();
        match self.before.zip(Usage::now()) {
            Some((before, now)) => format!(
                "{seconds:.2} s; {:.2} s of processor; {} MiB at most so far",
                now.own - before.own,
                now.peak >> 20
            ),
            None => format!("{seconds:.2} s"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_fields_of_proc_are_found_behind_a_name_with_spaces() {
        let stat = "7 (a b) c) S 1 7 7 0 -1 4194560 100 0 0 0 250 50 1200 300 20 0 1 0 10 1000 10";
        let status = "Name:\ta\nVmPeak:\t 9999 kB\nVmHWM:\t    2048 kB\n";
        let usage = Usage::of(stat, status, 100.0).unwrap();
        assert_eq!(usage, Usage { own: 3.0, started: 15.0, peak: 2 << 20 });
        assert!(Usage::of("7 (x", status, 100.0).is_none());
    }
}
