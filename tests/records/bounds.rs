//! Files nobody wrote by hand: they get a clear word in bounded time.

use std::time::{Duration, Instant};

use crate::support::{Fleet, Run};

/// Checks a site's text, which must be refused with these words, and soon.
#[track_caller]
fn refused(text: &str, words: &str) {
    let fleet = Fleet::without_sites().file("sites/quay-house.yaml", text);
    let clock = Instant::now();
    let run = Run::check(fleet.path(), &["--format", "short"]).expect_status(1);
    assert!(clock.elapsed() < Duration::from_secs(20), "it took {:?}", clock.elapsed());
    assert!(run.stderr.contains(words), "{}", run.stderr.chars().take(2000).collect::<String>());
    assert!(run.stderr.len() < 100_000, "{} bytes were said", run.stderr.len());
}

#[test]
fn nesting_of_any_depth_is_refused_at_once() {
    for field in ["name", "x-deep"] {
        for (open, close) in [("[", "]"), ("{a: ", "}"), ("[\n ", "]")] {
            let text =
                format!("format: 1\nspas: {{t: {{}}}}\n{field}: {}{}\n", open.repeat(200_000), close.repeat(200_000));
            refused(&text, "nested deeper than 40 levels");
        }
    }
}

#[test]
fn aliases_are_refused_before_they_grow() {
    let mut text = "format: 1\nspas: {t: {}}\nx-a0: &a0 [x, x, x, x, x, x, x, x, x]\n".to_owned();
    for level in 1..30 {
        let before = format!("*a{}, ", level - 1).repeat(9);
        text.push_str(&format!("x-a{level}: &a{level} [{before}]\n"));
    }
    refused(&text, "an anchor stands here");
}

#[test]
fn a_file_too_large_is_not_read() {
    let text = format!("format: 1\nspas: {{t: {{}}}}\nnote: {}\n", "long ".repeat(2_000_000));
    refused(&text, "it is larger than 8 MB");
}
