//! What does a contract cover? Scope, call-outs, response and price of a customer's contract on a day, read once so
//! that the statement, the quote and the year's result judge alike.
//!
//! It must not add up money: it says what is covered and why, in words a customer may read.

use chrono::{Datelike, NaiveDate, Weekday as Day};
use rust_decimal::Decimal;
use uom::si::time::hour;

use crate::records::Fleet;
pub use crate::records::contract_words::CallOuts;
use crate::records::customers::{Contract, Customer, Scope};
use crate::records::fleet::Weekday;
use crate::records::log::{Because, Visit, Why};

/// When the working day begins and ends, in minutes after midnight: 08:00 and 18:00. Common practice, no source.
pub const WORKING_DAY: (u32, u32) = (8 * 60, 18 * 60);

/// Whether something is in the contract's price.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Covered {
    /// It is.
    ByContract,
    /// It is charged, and why.
    Charged(&'static str),
}

impl Covered {
    /// Whether the contract bears it.
    pub fn by_contract(self) -> bool {
        self == Self::ByContract
    }
}

/// What was agreed, on a day.
#[derive(Debug, Clone, Copy)]
pub struct Terms<'a> {
    /// The contract in force; `None` = there is none.
    pub contract: Option<&'a Contract>,
}

impl Scope {
    /// Every scope, from the narrowest.
    pub const ALL: [Self; 3] = [Self::Labour, Self::LabourAndParts, Self::Everything];

    /// The word in records and tables.
    pub fn word(self) -> &'static str {
        match self {
            Self::Labour => "labour",
            Self::LabourAndParts => "labour_and_parts",
            Self::Everything => "everything",
        }
    }

    /// In words, for a head.
    pub fn words(self) -> &'static str {
        match self {
            Self::Labour => "Labour",
            Self::LabourAndParts => "Labour and parts",
            Self::Everything => "Everything",
        }
    }
}

/// The contract of a customer if it is in force on a day.
pub fn contract_on(customer: &Customer, day: NaiveDate) -> Option<&Contract> {
    let contract = customer.contract.as_ref()?;
    let begun = contract.from.is_none_or(|from| from.0 <= day);
    let over = contract.to.is_some_and(|to| to.0 < day);
    (begun && !over).then_some(contract)
}

impl<'a> Terms<'a> {
    /// What was agreed with a customer, on a day.
    pub fn on(customer: Option<&'a Customer>, day: NaiveDate) -> Self {
        Self { contract: customer.and_then(|customer| contract_on(customer, day)) }
    }

    /// The scope.
    pub fn scope(&self) -> Option<Scope> {
        self.contract?.scope
    }

    /// How call-outs are agreed; everything includes them. Words that are not understood have cost the contract on reading.
    pub fn callouts(&self) -> CallOuts {
        if self.scope() == Some(Scope::Everything) {
            return CallOuts::Included;
        }
        let words = self.contract.and_then(|contract| contract.callouts.as_ref());
        words.and_then(|words| CallOuts::read(&words.0)).unwrap_or(CallOuts::Charged)
    }

    /// Whether the work of a visit is covered; `number` = the how-manyth call-out of the calendar year it is.
    pub fn work(&self, why: Option<Why>, number: u32) -> Covered {
        match self.scope() {
            None if self.contract.is_none() => Covered::Charged("no contract"),
            None => Covered::Charged("the contract states no scope"),
            Some(_) if why == Some(Why::Callout) => match self.callouts() {
                CallOuts::Included => Covered::ByContract,
                CallOuts::Some(included) if number <= included => Covered::ByContract,
                CallOuts::Some(_) => Covered::Charged("beyond the call-outs included"),
                CallOuts::Charged => Covered::Charged("call-outs are not included"),
            },
            Some(_) => Covered::ByContract,
        }
    }

    /// Whether a part is covered.
    pub fn part(&self, because: Because) -> Covered {
        match (self.scope(), because) {
            (None, _) if self.contract.is_none() => Covered::Charged("no contract"),
            (None, _) => Covered::Charged("the contract states no scope"),
            (_, Because::Damage) => Covered::Charged("damage is not covered"),
            (_, Because::Request) => Covered::Charged("renewed on request"),
            (Some(Scope::Everything), _) => Covered::ByContract,
            (Some(Scope::LabourAndParts), Because::Due | Because::WhileThere) => Covered::ByContract,
            (Some(Scope::LabourAndParts), Because::Failure) => Covered::Charged("failed parts are not included"),
            (Some(Scope::Labour), _) => Covered::Charged("parts are not included"),
        }
    }

    /// The hours within which a call is answered.
    pub fn response_hours(&self) -> Option<f64> {
        Some(self.contract?.response?.0.get::<hour>())
    }
}

/// The price of a contract year, and whether it is written or follows from the last written one and the index.
pub fn price_of(contract: &Contract, year: i32) -> Option<(Decimal, PriceBasis)> {
    let of = |name: &str| name.trim().parse::<i32>().ok();
    let mut stated: Vec<(i32, Decimal)> =
        contract.price.iter().filter_map(|(name, money)| Some((of(&name.0)?, money.0))).collect();
    stated.sort_unstable();
    if let Some((_, price)) = stated.iter().find(|(stated, _)| *stated == year) {
        return Some((*price, PriceBasis::Stated));
    }
    let (last, price) = *stated.iter().rev().find(|(stated, _)| *stated < year)?;
    let step = Decimal::ONE + Decimal::try_from(contract.index?.0).ok()?;
    let price = (last..year).try_fold(price, |price, _| price.checked_mul(step))?;
    Some((price, PriceBasis::Indexed))
}

/// What a price rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PriceBasis {
    /// Written in the contract.
    Stated,
    /// The last one written, raised by the contract's index.
    Indexed,
}

/// Whether a call-out fell outside working hours: by its time where one is written, on a holiday, or on a day on which
/// nobody works. With no time the day decides.
pub fn is_out_of_hours(fleet: &Fleet, visit: &Visit) -> bool {
    let day = visit.date.0;
    let (begins, ends) = WORKING_DAY;
    visit.time.is_some_and(|time| time.start < begins || time.start >= ends) || !is_working_day(fleet, day)
}

/// Whether anybody works on a day; with no technician written, Monday to Friday.
pub fn is_working_day(fleet: &Fleet, day: NaiveDate) -> bool {
    if fleet.settings.holidays.iter().any(|holiday| holiday.0 == day) {
        return false;
    }
    let weekday = match day.weekday() {
        Day::Mon => Weekday::Mon,
        Day::Tue => Weekday::Tue,
        Day::Wed => Weekday::Wed,
        Day::Thu => Weekday::Thu,
        Day::Fri => Weekday::Fri,
        Day::Sat => Weekday::Sat,
        Day::Sun => Weekday::Sun,
    };
    let usual = !matches!(weekday, Weekday::Sat | Weekday::Sun);
    let technicians = &fleet.settings.technicians;
    if technicians.0.is_empty() {
        return usual;
    }
    technicians.iter().any(|(_, one)| one.days.as_ref().map_or(usual, |days| days.contains(&weekday)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::str::FromStr;

    fn contract(text: &str) -> Contract {
        serde_yaml::from_str(text).unwrap()
    }

    #[test]
    fn each_scope_covers_what_it_says() {
        let of = |text: &str, why: Why, because: Because| {
            let contract = contract(text);
            let terms = Terms { contract: Some(&contract) };
            (terms.work(Some(why), 1).by_contract(), terms.part(because).by_contract())
        };
        assert_eq!(of("{scope: labour}", Why::Planned, Because::Due), (true, false));
        assert_eq!(of("{scope: labour, callouts: included}", Why::Callout, Because::Failure), (true, false));
        assert_eq!(of("{scope: labour_and_parts}", Why::Planned, Because::Due), (true, true));
        assert_eq!(of("{scope: labour_and_parts}", Why::Callout, Because::Failure), (false, false));
        assert_eq!(of("{scope: everything}", Why::Callout, Because::Failure), (true, true));
        assert_eq!(of("{scope: everything}", Why::Callout, Because::Damage), (true, false));
        assert_eq!(of("{visits: monthly}", Why::Planned, Because::Due), (false, false));
        assert_eq!(Terms { contract: None }.part(Because::Due), Covered::Charged("no contract"));
    }

    #[test]
    fn call_outs_beyond_the_number_included_are_charged() {
        let contract = contract("{scope: labour, callouts: 2 a year}");
        let terms = Terms { contract: Some(&contract) };
        assert!(terms.work(Some(Why::Callout), 2).by_contract());
        assert!(!terms.work(Some(Why::Callout), 3).by_contract());
    }

    #[test]
    fn a_price_not_written_follows_from_the_last_and_the_index() {
        let contract = contract("{price: {2025: 1000.00, 2026: 1050.00}, index: 0.04}");
        let amount = |text: &str| Decimal::from_str(text).unwrap();
        assert_eq!(price_of(&contract, 2025), Some((amount("1000.00"), PriceBasis::Stated)));
        assert_eq!(price_of(&contract, 2028), Some((amount("1135.680000"), PriceBasis::Indexed)));
        assert_eq!(price_of(&contract, 2024), None);
    }
}
