//! What several quotes come to together, drawn jointly: totals are added year by year, and single points never.

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use super::{Pricing, Quote, ScopeQuote};
use crate::costs::outlook::together;
use crate::costs::prices::minor_units;
use crate::costs::spread::Spread;
use crate::records::Fleet;

/// What several quotes come to together.
#[derive(Debug, Clone)]
pub struct Portfolio {
    /// How many.
    pub quotes: usize,
    /// What all of them may cost, drawn jointly; minor units.
    pub spread: Spread,
    /// What the single costs that are covered would add up to, which is not what is covered together.
    pub added_up: f64,
    /// The price of all as one: the cost covered together, over one less the margin.
    pub price: Decimal,
    /// The single prices added up.
    pub prices: Decimal,
    /// The chance that all together cost more than their single prices.
    pub loses: f64,
}

/// Puts quotes together.
pub fn portfolio(fleet: &Fleet, quotes: &[(Quote, Vec<i64>)]) -> Portfolio {
    let pricing = Pricing::of(fleet);
    let spread = Spread::of(together(quotes.iter().map(|(_, totals)| totals.as_slice())));
    let chosen = |quote: &Quote| quote.scopes.iter().find(|of| of.scope == quote.chosen).cloned();
    let chosen: Vec<ScopeQuote> = quotes.iter().filter_map(|(quote, _)| chosen(quote)).collect();
    let prices: Decimal = chosen.iter().map(|of| of.price).sum();
    let in_minor = prices.to_f64().unwrap_or(0.0) * minor_units(&fleet.settings.currency.0);
    Portfolio {
        quotes: quotes.len(),
        added_up: chosen.iter().map(|of| of.spread.quantile(pricing.covers).value).sum(),
        loses: 1.0 - spread.share_at_most(in_minor),
        prices,
        price: pricing.price(fleet, &spread),
        spread,
    }
}
