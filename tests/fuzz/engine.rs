//! Inputs made from good ones by chance, kept where they led somewhere new, on the stable compiler.
//!
//! There is no view of which code ran. What stands for it is what the target says of an input, in short (which rules it
//! broke, in what words, what was read): an input that makes it say something new is kept and varied further.

use std::collections::HashSet;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::{Duration, Instant};

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// The most bytes an input grows to.
const LARGEST: usize = 200_000;
/// The most inputs that are kept.
const MOST_KEPT: usize = 4000;
/// The longest one input may take, unoptimised and on a busy machine.
const LONGEST: Duration = Duration::from_secs(20);

/// What is varied: where it begins, and what may be put in.
pub struct Seeds {
    /// Good inputs.
    pub corpus: Vec<Vec<u8>>,
    /// Pieces that mean something.
    pub words: &'static [&'static str],
}

/// How a run went.
#[derive(Debug, Default)]
pub struct Ran {
    /// How many inputs were tried.
    pub executions: u64,
    /// How many of them led somewhere new.
    pub new: usize,
    /// The inputs that made the target fail, with what it said.
    pub failures: Vec<(Vec<u8>, String)>,
    /// The longest that one took.
    pub slowest: Duration,
}

/// How long each target runs: `FUZZ_SECONDS`, else a second.
fn seconds() -> u64 {
    std::env::var("FUZZ_SECONDS").ok().and_then(|text| text.parse().ok()).unwrap_or(1)
}

/// The seed: `FUZZ_SEED`, else 1.
fn seed() -> u64 {
    std::env::var("FUZZ_SEED").ok().and_then(|text| text.parse().ok()).unwrap_or(1)
}

/// Runs a target for its time and fails if any input made it fail.
#[allow(clippy::print_stderr, reason = "how far it got is asked for with --nocapture")]
pub fn run(name: &str, seeds: Seeds, target: impl Fn(&[u8]) -> String) {
    let ran = vary(name, &seeds, &target, Duration::from_secs(seconds()), seed());
    eprintln!(
        "{name}: {} executions, {} led somewhere new, the slowest took {:?}",
        ran.executions, ran.new, ran.slowest
    );
    let told: Vec<String> = ran
        .failures
        .iter()
        .map(|(input, why)| format!("{why}\n    {:?}", String::from_utf8_lossy(&input[..input.len().min(3000)])))
        .collect();
    assert!(told.is_empty(), "{name}, seed {}: {}", seed(), told.join("\n"));
}

fn vary(name: &str, seeds: &Seeds, target: &impl Fn(&[u8]) -> String, limit: Duration, seed: u64) -> Ran {
    let mut chance = ChaCha8Rng::seed_from_u64(seed);
    let mut kept = seeds.corpus.clone();
    let mut seen = HashSet::new();
    let mut ran = Ran::default();
    let clock = Instant::now();
    let mut next = 0;
    let last = std::env::var_os("FUZZ_LAST").map(|folder| std::path::Path::new(&folder).join(format!("{name}.txt")));
    while clock.elapsed() < limit && ran.failures.len() < 5 {
        // Every good input is tried as it stands first.
        let input = if next < seeds.corpus.len() {
            next += 1;
            seeds.corpus[next - 1].clone()
        } else {
            let mut input = kept[chance.random_range(0..kept.len())].clone();
            for _ in 0..1 << chance.random_range(0..4) {
                spoil(&mut input, &kept, seeds.words, &mut chance);
            }
            input.truncate(LARGEST);
            input
        };
        ran.executions += 1;
        // A stack that overflows ends the process: the input that did it is then in this file.
        if let Some(file) = &last {
            std::fs::write(file, &input).unwrap();
        }
        let began = Instant::now();
        let said = catch_unwind(AssertUnwindSafe(|| target(&input)));
        let took = began.elapsed();
        ran.slowest = ran.slowest.max(took);
        match said {
            Err(panic) => {
                let why = panic.downcast_ref::<String>().cloned();
                let why = why.or_else(|| panic.downcast_ref::<&str>().map(|text| (*text).to_owned()));
                ran.failures.push((input, why.unwrap_or_else(|| "it panicked".to_owned())));
            }
            Ok(_) if took > LONGEST => ran.failures.push((input, format!("it took {took:?}"))),
            Ok(said) => {
                if seen.insert(said) && kept.len() < MOST_KEPT {
                    ran.new += 1;
                    kept.push(input);
                }
            }
        }
    }
    ran
}

/// One change of an input.
fn spoil(input: &mut Vec<u8>, kept: &[Vec<u8>], words: &[&str], chance: &mut ChaCha8Rng) {
    let length = input.len();
    let at = chance.random_range(0..=length);
    let piece = |chance: &mut ChaCha8Rng| {
        let from = chance.random_range(0..=length);
        from..(from + chance.random_range(0..64)).min(length)
    };
    match chance.random_range(0..13) {
        0 if at < length => input[at] ^= 1 << chance.random_range(0..8),
        1 if at < length => input[at] = chance.random_range(0..=255),
        2 => drop(input.drain(piece(chance))),
        3 => {
            let word = words[chance.random_range(0..words.len())].as_bytes();
            input.splice(at..at, word.iter().copied());
        }
        4 => {
            let word = words[chance.random_range(0..words.len())].as_bytes();
            let end = (at + word.len()).min(length);
            input.splice(at..end, word.iter().copied());
        }
        5 => {
            let again = input[piece(chance)].to_vec();
            let times = [1, 2, 10, 100][chance.random_range(0..4)];
            if again.len() * times + length < LARGEST {
                input.splice(at..at, again.repeat(times));
            }
        }
        6 => {
            let other = &kept[chance.random_range(0..kept.len())];
            let from = chance.random_range(0..=other.len());
            let to = (from + chance.random_range(0..400)).min(other.len());
            input.splice(at..at, other[from..to].iter().copied());
        }
        7 => in_place_of_a_number(input, at, chance),
        8 | 9 => lines(input, chance),
        10 => input.truncate(at),
        11 => {
            let other = &kept[chance.random_range(0..kept.len())];
            let from = chance.random_range(0..=other.len());
            input.truncate(at);
            input.extend_from_slice(&other[from..]);
        }
        _ => {
            let word = in_place_of_a_word(input, at);
            let new = words[chance.random_range(0..words.len())].as_bytes();
            input.splice(word, new.iter().copied());
        }
    }
}

/// The word around a place.
fn in_place_of_a_word(input: &[u8], at: usize) -> std::ops::Range<usize> {
    let of_word = |byte: &u8| byte.is_ascii_alphanumeric() || matches!(byte, b'_' | b'-' | b'.' | b'/');
    let from = input[..at].iter().rposition(|byte| !of_word(byte)).map_or(0, |index| index + 1);
    let to = input[at..].iter().position(|byte| !of_word(byte)).map_or(input.len(), |index| at + index);
    from..to
}

fn in_place_of_a_number(input: &mut Vec<u8>, at: usize, chance: &mut ChaCha8Rng) {
    const NUMBERS: [&str; 18] = [
        "0",
        "-1",
        "1e308",
        "-0.0",
        "9999999999999999999999",
        "0.0000001",
        "nan",
        "inf",
        ".inf",
        "1e-400",
        "2147483648",
        "18446744073709551616",
        "0x10",
        "1_000",
        "1,5",
        "24",
        "9999",
        "",
    ];
    let Some(from) = input[at..].iter().position(u8::is_ascii_digit).map(|index| at + index) else { return };
    let to = input[from..].iter().position(|byte| !byte.is_ascii_digit()).map_or(input.len(), |index| from + index);
    let new = NUMBERS[chance.random_range(0..NUMBERS.len())];
    input.splice(from..to, new.bytes());
}

/// A line twice, gone, further in, or somewhere else.
fn lines(input: &mut Vec<u8>, chance: &mut ChaCha8Rng) {
    let mut lines: Vec<Vec<u8>> = input.split_inclusive(|byte| *byte == b'\n').map(<[u8]>::to_vec).collect();
    if lines.is_empty() {
        return;
    }
    let (one, other) = (chance.random_range(0..lines.len()), chance.random_range(0..lines.len()));
    match chance.random_range(0..5) {
        0 => lines.insert(other, lines[one].clone()),
        1 => drop(lines.remove(one)),
        2 => lines.swap(one, other),
        3 => lines[one].insert(0, b' '),
        _ if lines[one].first() == Some(&b' ') => drop(lines[one].remove(0)),
        _ => lines.insert(other, b"  x-own: 1\n".to_vec()),
    }
    *input = lines.concat();
}
