use super::*;
use crate::calendar::parse_date;

#[test]
fn quarter_ends_have_three_months_behind_them() {
    let all: Vec<String> = quarter_ends(parse_date("2026-10-31").unwrap()).map(|day| day.to_string()).collect();
    assert_eq!(all.len(), 8);
    assert_eq!((all[0].as_str(), all[7].as_str()), ("2024-09-30", "2026-06-30"));
    let last = quarter_ends(parse_date("2026-09-30").unwrap()).last().unwrap();
    assert_eq!(last.to_string(), "2026-06-30");
    let last = quarter_ends(parse_date("2026-09-29").unwrap()).last().unwrap();
    assert_eq!(last.to_string(), "2026-03-31");
}

#[test]
fn forecasts_are_poor_where_too_few_ranges_held() {
    assert!(!Held { of: 9, inside: 0 }.is_poor());
    assert!(Held { of: 20, inside: 12 }.is_poor());
    assert!(!Held { of: 20, inside: 14 }.is_poor());
}
