//! The words of a contract: how call-outs are agreed, and how often visits are promised. What is not understood is
//! nothing here, so that no slip of the pen is read as the opposite of what was agreed.

/// How call-outs are agreed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CallOuts {
    /// Each is charged.
    Charged,
    /// All are in the price.
    Included,
    /// So many a calendar year are in the price.
    Some(u32),
}

impl CallOuts {
    /// The words that are understood, beside a number.
    pub const WORDS: [&str; 3] = ["included", "charged", "4 a year"];

    /// Reads the contract's words: `included`, `charged`, `4`, `4 a year`; `None` = they are not understood.
    pub fn read(words: &str) -> Option<Self> {
        let words = plain(words);
        if let Some((number, rest)) = counted(&words) {
            let of_them =
                ["", "a year", "per year", "a year included", "included", "call outs a year", "callouts a year"];
            return of_them.contains(&rest).then_some(Self::Some(number));
        }
        match words.as_str() {
            "included" | "all" | "all included" => Some(Self::Included),
            "charged" | "all charged" | "not included" | "excluded" | "none" | "extra" => Some(Self::Charged),
            _ => None,
        }
    }

    /// In words, for the customer.
    pub fn words(self) -> String {
        match self {
            Self::Charged => "charged at the stated rates".to_owned(),
            Self::Included => "included".to_owned(),
            Self::Some(1) => "one a year included, further ones charged".to_owned(),
            Self::Some(number) => format!("{number} a year included, further ones charged"),
        }
    }
}

/// Words for visits, with how many a year they are.
const VISITS: [(&str, u32); 22] = [
    ("weekly", 52),
    ("every week", 52),
    ("fortnightly", 26),
    ("every two weeks", 26),
    ("monthly", 12),
    ("every month", 12),
    ("bimonthly", 6),
    ("two monthly", 6),
    ("every two months", 6),
    ("quarterly", 4),
    ("every quarter", 4),
    ("every three months", 4),
    ("every four months", 3),
    ("half yearly", 2),
    ("twice a year", 2),
    ("every six months", 2),
    ("yearly", 1),
    ("annually", 1),
    ("annual", 1),
    ("once a year", 1),
    ("every year", 1),
    ("every twelve months", 1),
];

/// The words for visits that are understood, beside a number.
pub fn visit_words() -> impl Iterator<Item = &'static str> {
    VISITS.into_iter().map(|(words, _)| words)
}

/// How many visits a year the contract's words promise: `monthly`, `quarterly`, `12`, `6 a year`. `None` = they do not say.
pub fn visits_a_year(words: &str) -> Option<u32> {
    let words = plain(words);
    if let Some((number, rest)) = counted(&words) {
        let a_year = ["", "a year", "per year", "times a year", "visits a year"].contains(&rest);
        return Some(number).filter(|number| a_year && (1..=366).contains(number));
    }
    VISITS.into_iter().find(|(known, _)| *known == words).map(|(_, number)| number)
}

/// How many whole months a contract's words put between two visits; `None` = they do not say, or it is no whole number.
pub fn months_between(words: &str) -> Option<i32> {
    let a_year = visits_a_year(words)?;
    12_u32.is_multiple_of(a_year).then_some((12 / a_year) as i32)
}

/// In small letters, words apart by one blank.
fn plain(words: &str) -> String {
    let words = words.to_lowercase().replace(['_', '-'], " ");
    words.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The number that words begin with, and what follows it.
fn counted(words: &str) -> Option<(u32, &str)> {
    let digits = words.len() - words.trim_start_matches(|c: char| c.is_ascii_digit()).len();
    Some((words[..digits].parse().ok()?, words[digits..].trim_start()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_words_for_call_outs() {
        assert_eq!(CallOuts::read("Included"), Some(CallOuts::Included));
        assert_eq!(CallOuts::read("4 a year"), Some(CallOuts::Some(4)));
        assert_eq!(CallOuts::read("4"), Some(CallOuts::Some(4)));
        assert_eq!(CallOuts::read("not included"), Some(CallOuts::Charged));
        assert_eq!(CallOuts::read("inclded"), None);
        assert_eq!(CallOuts::read("4 hours"), None);
        assert!(CallOuts::WORDS.into_iter().all(|words| CallOuts::read(words).is_some()));
    }

    #[test]
    fn the_words_for_visits() {
        assert_eq!(visits_a_year("monthly"), Some(12));
        assert_eq!(visits_a_year("half-yearly"), Some(2));
        assert_eq!(visits_a_year("6 a year"), Some(6));
        assert_eq!(visits_a_year("when the cuckoo calls"), None);
        // Every six weeks is not six a year.
        assert_eq!(visits_a_year("6 weekly"), None);
        assert_eq!(visits_a_year("0"), None);
        assert_eq!(months_between("quarterly"), Some(3));
        assert_eq!(months_between("3 a year"), Some(4));
        assert_eq!(months_between("weekly"), None);
    }
}
