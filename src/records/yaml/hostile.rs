//! Texts nobody means well with: each is refused or read in bounded time, with a word that says why.

use std::time::{Duration, Instant};

use super::{Reading, read};
use crate::records::site::SiteFile;

fn read_in_time(name: &str, text: &str) -> Reading<SiteFile> {
    let clock = Instant::now();
    let reading = read::<SiteFile>(text, <[_]>::len);
    let took = clock.elapsed();
    assert!(took < Duration::from_secs(20), "{name}: {took:?}");
    reading
}

fn refused(name: &str, text: &str, says: &str) {
    let reading = read_in_time(name, text);
    let first = reading.problems.first().unwrap_or_else(|| panic!("{name}: nothing is said"));
    let said: Vec<&str> = reading.problems.iter().map(|p| p.message.as_str()).collect();
    assert!(said.iter().any(|message| message.contains(says)), "{name}: {}", first.message);
    assert!(reading.problems.len() <= 200, "{name}: {} problems", reading.problems.len());
}

#[test]
fn deep_nesting_is_refused_in_every_style() {
    let deep = 100_000;
    let flow = format!("format: 1\nspas: {}{}", "[".repeat(deep), "]".repeat(deep));
    let unclosed = format!("format: 1\nspas: {}", "{a: ".repeat(deep));
    let dashes = format!("format: 1\nlog:\n  {}a\n", "- ".repeat(deep));
    let questions = format!("format: 1\nlog:\n  {}a\n", "? ".repeat(deep));
    let block: String = (0..2000).map(|depth| format!("{}a:\n", " ".repeat(depth))).collect();
    for (name, text) in
        [("flow", flow), ("unclosed", unclosed), ("dashes", dashes), ("questions", questions), ("block", block)]
    {
        let reading = read_in_time(name, &text);
        assert!(reading.value.is_none() && !reading.problems.is_empty(), "{name}");
    }
}

#[test]
fn aliases_do_not_multiply() {
    let mut bomb = "format: 1\nx-a: &a [z, z, z]\n".to_owned();
    for level in 0..30u8 {
        let (name, of) = (char::from(b'b' + level % 20), char::from(b'a' + level % 20));
        bomb.push_str(&format!("x-{level}: &{name} [*{of}, *{of}, *{of}, *{of}, *{of}, *{of}, *{of}, *{of}]\n"));
    }
    refused("bomb", &bomb, "stands here");
}

#[test]
fn many_keys_and_many_mistakes_take_bounded_time() {
    let keys: String = (0..60_000).map(|n| format!("  s{n}: {{}}\n")).collect();
    let reading = read_in_time("keys", &format!("format: 1\nspas:\n{keys}"));
    assert_eq!(reading.value.map(|site| site.spas.0.len()), Some(60_000));
    refused("repeated keys", &format!("format: 1\n{}", "name: a\n".repeat(60_000)), "written twice");
    let unknown: String = (0..60_000).map(|n| format!("field-{n}: 1\n")).collect();
    refused("unknown fields", &format!("format: 1\n{unknown}"), "no field is named");
    let wrong = "  - {date: 2026-02-30, at: {a: {hours: many}}}\n".repeat(20_000);
    refused("wrong values", &format!("format: 1\nlog:\n{wrong}"), "2026-02-30");
}

#[test]
fn odd_values_are_refused_with_a_word() {
    let spa = |field: &str| format!("format: 1\nspas: {{a: {{{field}}}}}\n");
    for (field, says) in [
        ("volume: .nan", "unit"),
        ("volume: .inf L", "volume"),
        ("volume: 1e999 L", "volume"),
        ("volume: -5 L", "volume"),
        ("fitted: 0000", "year"),
        ("fitted: 9999", "year"),
        ("fitted: 0000-01-01", "0000-01-01"),
        ("fitted: 9999-12-31", "9999-12-31"),
    ] {
        refused(field, &spa(field), says);
    }
    refused("id", "format: 1\nspas: {'../../x': {}}\n", "the id `../../x`");
    refused("nan format", "format: .nan\n", "format");
    refused("long line", &format!("format: 1\nname: {}\n", "a".repeat(100_000)), "longer than");
    refused("long key", &format!("format: 1\n{}: 1\n", "a".repeat(100_000)), "");
    refused("tag", "format: !!int 1\n", "a tag stands here");
    refused("two documents", "format: 1\n---\nformat: 1\n", "second document");
    refused("empty", "", "empty");
}

#[test]
fn a_byte_order_mark_and_carriage_returns_are_read() {
    let reading = read_in_time("bom", "\u{feff}format: 1\r\nname: Quay\r\nspas:\r\n  a: {fitted: 2022}\r\n");
    assert!(reading.problems.is_empty(), "{:?}", reading.problems);
    let site = reading.value.unwrap();
    assert_eq!(site.name.unwrap().0, "Quay");
}

#[test]
fn a_separator_that_ends_no_line_reads_the_same_whether_or_not_something_is_wrong() {
    for separator in ['\u{85}', '\u{2028}', '\u{2029}'] {
        let name = |more: &str| {
            let text = format!("format: 1\nname: {separator} Quay\nspas: {{a: {{fitted: 2022}}}}\n{more}");
            read_in_time("separator", &text).value.unwrap().name.unwrap().0
        };
        assert_eq!(name(""), name("x-slowly: ' &a'\n"));
    }
}
