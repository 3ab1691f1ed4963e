//! What the failures of a pump that gets worse cost: as many as its own failures let expect, each what its failures cost on the
//! average.

use super::{Prices, Unexplained, Window, part_costs, share_with_guests};
use crate::quantities::worsening_pumps::WorseningPump;
use crate::site::SiteFigures;

/// Makes a pump's failures that no part explains all its failures. `one` comes with the price of the pump and the work of
/// exchanging it; what has no price here counts as nothing and is named among what is missing.
pub(super) fn of_its_own(
    site: &SiteFigures,
    own: &WorseningPump,
    one: &mut Unexplained,
    prices: &mut Prices,
    window: Window,
    night: f64,
) {
    one.at_most = own.at_most(window.begins(), window.ends());
    let night = night * share_with_guests(site, &one.at, window.as_of);
    let exchange = own.shares.get("pump").copied().unwrap_or(0.0);
    let (mut parts, mut labour) = (one.parts * exchange, one.labour * exchange);
    let (mut damage, mut nights) = (0.0, 0.0);
    for part in site.parts.iter().filter(|part| part.part.at == one.at) {
        let Some(share) = own.shares.get(part.part.id.as_str()) else { continue };
        let costs = part_costs(part, None, prices, night);
        parts += share * costs.parts;
        labour += share * costs.labour;
        damage += share * costs.damage;
        nights += share * costs.nights;
    }
    (one.parts, one.labour, one.damage, one.nights) = (parts, labour, damage, nights);
}
