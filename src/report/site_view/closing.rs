//! Cautions, methods, the limits' sources, versions and the files read.

use uom::si::time::minute;

use super::Given;
use crate::quantities::water_change;
use crate::quantities::water_turnover::ASSUMED_C;
use crate::records::Site;
use crate::records::tubs::FilterKind;
use crate::report::{cautions, format, view, water_words};

pub(super) fn closing(given: &Given) -> view::ClosingSection {
    let method = |name: &str, text: &str| view::Method { name: name.to_owned(), text: text.to_owned() };
    let mut versions = vec![
        view::Version { name: "tubwright".to_owned(), version: env!("CARGO_PKG_VERSION").to_owned() },
        view::Version { name: "renderer".to_owned(), version: given.renderer.to_owned() },
        view::Version { name: "record format".to_owned(), version: "1".to_owned() },
    ];
    let book = if given.fleet.book.built_in { "built-in" } else { "the fleet's own" };
    versions.push(view::Version { name: "book of wear parts".to_owned(), version: book.to_owned() });
    view::ClosingSection {
        cautions: cautions::cautions(given.fleet.settings.units),
        methods: vec![
            method(
                "Run hours",
                "Between two readings of a counter its difference is spread in proportion to the program. Outside them the program counts, corrected by what the counter has shown over the last 365 metered days.",
            ),
            method(
                "Water turnover",
                &format!(
                    "Volume over flow through the filter. A measured flow wins; else the pump's curve is set against the pipe loop (Hazen–Williams{}, fittings, heater, the filter as fouled as its gauge shows).",
                    roughness(given.site.site)
                ),
            ),
            method(
                "Due dates",
                "The day the part reaches the hours of the book, by the program in force and the nights booked or usual, or its age by the calendar, whichever comes first.",
            ),
            method(
                "Failures",
                "One incident a pump and day; a repair is none, and a pump put in the place of another begins anew. From five failures on the military-handbook test says whether they come closer together. However many pumps a fleet has, the chance that any of them, any model, site or the fleet is called worsening though its rate is steady is at most 5 % (Holm's procedure; 3 % for pumps, 2 % for the rest).",
            ),
            method(
                "Energy",
                "Current times voltage times a power factor of 0.9, at the price in force on each day. Pumps only.",
            ),
        ],
        sources: limit_sources(given),
        versions,
        inputs: if given.office() {
            let site = given.site.site.id.as_str();
            let mine = |path: &str| {
                !path.contains('/')
                    || path == format!("sites/{site}.yaml")
                    || path == format!("readings/{site}.csv")
                    || path.starts_with(&format!("bookings/{site}.ics"))
                    || path.starts_with(&format!("bookings/{site}--"))
                    || path.starts_with("limits/")
            };
            given
                .inputs
                .iter()
                .filter(|f| mine(&f.path))
                .map(|f| view::InputDigest { path: f.path.clone(), sha256: f.sha256.clone() })
                .collect()
        } else {
            Vec::new()
        },
    }
}

/// The coefficients the pipes of a site are reckoned with: " with C 140 and 150 (assumed)". Empty where it has no pipe.
fn roughness(site: &Site) -> String {
    let pipes = site.spas.iter().filter_map(|spa| spa.pipe.as_ref());
    let mut all: Vec<String> = pipes
        .map(|pipe| match pipe.c {
            Some(c) => format::number(c.0, 0),
            None => format!("{} (assumed)", format::number(ASSUMED_C, 0)),
        })
        .collect();
    all.sort();
    all.dedup();
    if all.is_empty() { String::new() } else { format!(" with C {}", all.join(" and ")) }
}

fn limit_sources(given: &Given) -> Vec<view::LimitSource> {
    use crate::records::log::Quantity;
    use uom::si::velocity::meter_per_second;
    let site = given.site.site;
    let Some(limits) = given.fleet.rule_book(site).and_then(|book| book.limits(site.r#use)) else { return Vec::new() };
    let units = given.units();
    let mut sources = Vec::new();
    let mut push = |limit: &str, value: String, source: String, known: crate::limits::Known| {
        sources.push(view::LimitSource {
            limit: limit.to_owned(),
            value,
            source,
            how_known: known.in_words().to_owned(),
        });
    };
    if let Some(limit) = &limits.turnover
        && let Some(most) = limit.at_most
    {
        push(
            "turnover time",
            format!("at most {} min", water_words::limit_minutes(most.0.get::<minute>())),
            limit.source_text(),
            limit.known,
        );
    }
    if let Some(limit) = &limits.filtration
        && let Some(least) = limit.at_least
    {
        push(
            "filtration",
            format!("at least {} h a day", water_words::limit_minutes(least.hours)),
            limit.source_text(),
            limit.known,
        );
    }
    let mut kinds: Vec<FilterKind> = site.spas.iter().flat_map(|s| &s.filters).map(|f| f.kind).collect();
    kinds.sort_by_key(|kind| kind.word());
    kinds.dedup();
    for kind in kinds {
        if let Some(limit) = limits.filter_rate(kind)
            && let Some(most) = limit.at_most
        {
            let value = format!(
                "at most {} {}",
                format::filter_rate_number(most.litres_per_minute_square_metre, units),
                format::filter_rate_unit(units)
            );
            push(&format!("filter rate, {}", kind.word()), value, limit.source_text(), limit.known);
        }
    }
    for (side, limit) in [("suction", &limits.velocity.suction), ("return", &limits.velocity.r#return)] {
        if let Some(limit) = limit
            && let Some(most) = limit.at_most
        {
            let value = format!(
                "at most {} {}",
                format::velocity_number(most.0.get::<meter_per_second>(), units),
                format::velocity_unit(units)
            );
            push(&format!("velocity, {side} side"), value, limit.source_text(), limit.known);
        }
    }
    if let Some(limit) = &limits.tests_per_day
        && let Some(least) = limit.at_least
    {
        let value = format!("at least {} a day in use", format::number(least.0, 0));
        push("water tests", value, limit.source_text(), limit.known);
    }
    if let Some(limit) = &limits.tests_every
        && let Some(most) = limit.at_most
    {
        let value = format!("one at least every {} min in use", water_words::limit_minutes(most.0.get::<minute>()));
        push("water tests", value, limit.source_text(), limit.known);
    }
    for quantity in Quantity::ALL.into_iter().filter(|q| q.is_water_test()) {
        if let Some((low, high, source, known)) = limits.water_test(quantity) {
            push(&format::quantity_name(quantity), format::test_limits(quantity, low, high, units), source, known);
        }
    }
    if let Some(refill) = &limits.refill {
        push("change of water", water_change::rule_words(refill), refill.source_text(), refill.known);
    }
    sources
}
