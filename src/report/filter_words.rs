//! How often a filter really needs cleaning against how often that is planned, in a sentence for an owner.
//!
//! It stands in the site report and in the log book, so it is written once. It must not compute.

use crate::quantities::SpaFigures;
use crate::report::format;

/// Days from which a range is open upwards: it fouls so slowly that the gauge hardly tells.
const OPEN_DAYS: f64 = 366.0;

/// A sentence for each filter of a spa whose rise is known.
pub fn cleaning(figures: &SpaFigures) -> Vec<String> {
    figures
        .filters
        .iter()
        .filter_map(|filter| {
            let (days, soonest, latest) = filter.state.needs_every?;
            let whole = |days: f64| format::number(days.round().max(1.0), 0);
            let name = format::words(filter.at.last());
            let every = if days >= OPEN_DAYS {
                format!("less than once a year (at the soonest every {} days)", whole(soonest))
            } else if latest >= OPEN_DAYS {
                format!("about every {} days (at the soonest every {})", whole(days), whole(soonest))
            } else {
                format!("about every {} days ({} to {})", whole(days), whole(soonest), whole(latest))
            };
            let Some(planned) = filter.state.planned_every else {
                return Some(format!(
                    "As the {name} filter fouls now it needs a clean {every}; no interval is planned."
                ));
            };
            let against = if latest < planned {
                ", which is too seldom"
            } else if soonest > planned {
                ", which is more often than the gauge asks for"
            } else {
                ""
            };
            let is = whole(planned);
            let day = if is == "1" { "every day".to_owned() } else { format!("every {is} days") };
            Some(format!("As the {name} filter fouls now it needs a clean {every}; planned is one {day}{against}."))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantities::fleet_for_tests::load;

    fn said(every: &str) -> Vec<String> {
        let fleet = "{format: 1, fleet: Test, currency: GBP, timezone: Europe/London}";
        let book = format!(
            "{{format: 1, tasks: {{filter_clean: {{fits: filter, every: {every}, or_pressure_rise: 0.15 bar}}}}}}"
        );
        // 0.005 bar a day: 0.15 bar above clean are reached in 30 days. A gauge is read within 0.01 bar.
        let site = "format: 1\nspas: {tub: {fitted: 2026-01-01, filters: {main: {kind: cartridge, clean_pressure: 0.30 bar}}}}\nlog: [
            {date: 2026-06-01, at: {tub/main: {done: [filter_clean], after: {pressure: 0.300}}}},
            {date: 2026-06-07, at: {tub/main: {pressure: 0.330}}}, {date: 2026-06-13, at: {tub/main: {pressure: 0.360}}},
            {date: 2026-06-19, at: {tub/main: {pressure: 0.390}}}, {date: 2026-06-25, at: {tub/main: {pressure: 0.420}}}]\n";
        let files = [("fleet.yaml", fleet), ("upkeep.yaml", &book), ("sites/home.yaml", site)];
        cleaning(&load(&files, "2026-06-30").spas[0])
    }

    #[test]
    fn what_it_needs_stands_against_what_is_planned() {
        let begins = "As the main filter fouls now it needs a clean about every 30 days (";
        for (every, ends) in [
            ("60 d", "planned is one every 60 days, which is too seldom."),
            ("30 d", "planned is one every 30 days."),
            ("7 d", "planned is one every 7 days, which is more often than the gauge asks for."),
        ] {
            let all = said(every);
            assert!(all[0].starts_with(begins) && all[0].ends_with(ends), "{every}: {all:?}");
        }
    }
}
