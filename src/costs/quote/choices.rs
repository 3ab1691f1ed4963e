//! What hangs on how often visits are promised, and on the ways to them: visits as a choice, and the price were every visit a
//! trip of its own. All other work stays where the plan has it, so that each year's total moves by the same amount.

use rust_decimal::Decimal;

use super::{Drawn, Given, Pricing, look_rounds};
use crate::costs::routine::LookRounds;
use crate::costs::spread::Spread;
use crate::costs::year::{SiteYear, routine_of};
use crate::records::Fleet;
use crate::records::customers::Contract;

/// A frequency of visits and its price.
#[derive(Debug, Clone)]
pub struct Choice {
    /// How often visits are promised, in words.
    pub words: String,
    /// Whether it is what the quote's own price is for.
    pub as_quoted: bool,
    /// How many visits the year then has, those the work asks for included.
    pub visits: f64,
    /// How many of them are made for the look round alone.
    pub for_look_rounds: f64,
    /// The price before tax, under the chosen scope.
    pub price: Decimal,
}

/// The ways of the planned visits, as the plan of all sites shares them and as each site would have them by itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ways {
    /// What they cost as they are planned, minor units of the year quoted.
    pub shared: f64,
    /// What they would cost were each visit a trip of its own.
    pub alone: f64,
    /// The price with those.
    pub price_alone: Decimal,
}

impl Ways {
    pub(super) fn of(fleet: &Fleet, years: &[SiteYear], index: f64, spread: &Spread) -> Self {
        let shared = years.iter().map(|year| year.routine.travel).sum::<f64>() * index;
        let alone = years.iter().map(|year| year.routine.visits * (year.callout_time + year.callout_fare)).sum::<f64>();
        let alone = alone * index;
        Self { shared, alone, price_alone: Pricing::of(fleet).price_moved(fleet, spread, alone - shared) }
    }
}

/// Visits as a choice, among them what the contract promises; what is quoted where nothing is promised comes last.
pub(super) fn choices(
    given: &Given,
    contract: Option<&Contract>,
    sites: &[usize],
    base: &Drawn,
    spread: &Spread,
    index: f64,
) -> Vec<Choice> {
    let of = |words: &str, months| choice(given, words, months, sites, base, spread, index);
    let mut choices: Vec<Choice> = given.choices.iter().map(|(words, months)| of(words, Some(*months))).collect();
    if !choices.iter().any(|choice| choice.as_quoted) {
        let promised = contract.and_then(|contract| contract.visits.as_ref()).map(|words| words.0.as_str());
        choices.push(of(promised.unwrap_or("none promised"), None));
    }
    choices
}

/// A frequency of visits: the looks round and the visits made for them alone are other ones, and with them each year's
/// total moves by the same amount. All other work stays where the plan has it.
fn choice(
    given: &Given,
    words: &str,
    months: Option<i32>,
    sites: &[usize],
    base: &Drawn,
    spread: &Spread,
    index: f64,
) -> Choice {
    let window = given.worlds.window();
    let (fleet, plan) = (given.base.fleet, given.base.plan);
    let (mut visits, mut moves, mut for_look_rounds) = (0.0, 0.0, 0.0);
    let mut as_quoted = true;
    for (site, was) in sites.iter().zip(&base.years) {
        let site = &given.base.sites[*site];
        let look_rounds = look_rounds(fleet, site.site, months);
        as_quoted &= look_rounds == LookRounds::AsPlanned;
        let routine = routine_of(fleet, site, plan, window, look_rounds);
        visits += routine.visits;
        for_look_rounds += routine.for_look_rounds;
        moves += routine.labour + routine.travel - was.routine.labour - was.routine.travel;
    }
    let price = Pricing::of(fleet).price_moved(fleet, spread, moves * index);
    Choice { words: words.to_owned(), as_quoted, visits, for_look_rounds, price }
}
