//! What the water asks for: a turnover short of its limits, tests outside theirs, filters to be cleaned.

use chrono::NaiveDate;
use uom::si::thermodynamic_temperature::degree_celsius;

use super::{ToDo, Urgency};
use crate::calendar::{self, plus_days};
use crate::quantities::SpaFigures;
use crate::quantities::water_tests::TestVerdict;
use crate::quantities::water_turnover::Verdict;
use crate::records::log::Quantity;
use crate::records::{Fleet, Site};
use crate::report::{format, water_words};
use crate::schedule::due::TaskDue;

/// The hottest water that is not a danger by itself, °C (104 °F; UL 1563 as quoted in code text).
const HOTTEST_CELSIUS: f64 = 40.0;

pub(super) fn water(fleet: &Fleet, site: &Site, spas: &[SpaFigures], all: &mut Vec<ToDo>) {
    let units = fleet.settings.units;
    for spa in spas {
        let Some(row) = spa.water.months.last() else { continue };
        let source = row.flow.as_ref().and_then(|f| f.sources.last().cloned());
        // Whatever the rule book has to say of it.
        if row.stands() && row.verdict != Verdict::Closed {
            all.push(ToDo {
                urgency: Urgency::DoNotUse,
                at: Some(spa.at.clone()),
                reason: "no-flow",
                what: "no water passes the filter".to_owned(),
                says: format!(
                    "{}. Close the spa, find out why, and measure the flow again.",
                    format::sentence(water_words::STANDS)
                ),
                if_left: "water that is not filtered or treated can carry disease".to_owned(),
                due: None,
                source,
            });
        } else if row.verdict == Verdict::Short {
            let mut says = Vec::new();
            if let (Some(turnover), Some(limit), true) =
                (&row.turnover, row.limit_min, row.failing.contains(&"turnover"))
            {
                let flow = row.flow.as_ref().map_or(String::new(), |f| {
                    format!(" at {} ({})", format::flow(f.value, units), water_words::known_by(f.basis))
                });
                says.push(format!(
                    "All the water passes the filter in {:.1} min{flow}; the limit is {} min.",
                    turnover.value,
                    water_words::limit_minutes(limit)
                ));
            }
            if let (Some(hours), true) = (water_words::hours(row), row.failing.contains(&"filtration hours")) {
                says.push(hours);
            }
            all.push(ToDo {
                urgency: Urgency::ActNow,
                at: Some(spa.at.clone()),
                reason: "turnover-short",
                what: if row.failing.contains(&"turnover") {
                    "water turnover is short"
                } else {
                    "water is filtered too few hours"
                }
                .to_owned(),
                says: says.join(" "),
                if_left: "water that is filtered too little can carry disease".to_owned(),
                due: None,
                source,
            });
        }
        let records = site.spas.iter().find(|records| records.at == spa.at);
        let set = records.and_then(|records| records.setpoint).map(|t| t.0.get::<degree_celsius>());
        if let Some(set) = set.filter(|set| *set > HOTTEST_CELSIUS + 1e-9) {
            all.push(ToDo {
                urgency: Urgency::DoNotUse,
                at: Some(spa.at.clone()),
                reason: "set-too-hot",
                what: format!(
                    "set the water to {} at most",
                    format::test_value(Quantity::Temperature, HOTTEST_CELSIUS, units)
                ),
                says: format!("By the records it is set to {}.", format::test_value(Quantity::Temperature, set, units)),
                if_left: "water this hot can make bathers faint".to_owned(),
                due: None,
                source: Some(site.source(&format!("spas.{}.setpoint", spa.at))),
            });
        }
        for (name, figures) in water_words::over(row, units) {
            let (reason, if_left) = if name == "velocity" {
                ("velocity-high", "fast water wears pipe and fittings and pulls harder at the suction covers")
            } else {
                ("filter-rate-high", "dirt is pressed through the filter instead of being held")
            };
            let flow = row.flow.as_ref().map_or(String::new(), |f| {
                format!(" at {} ({})", format::flow(f.value, units), water_words::known_by(f.basis))
            });
            all.push(ToDo {
                urgency: Urgency::Plan,
                at: Some(spa.at.clone()),
                reason,
                what: format!("{name} is over its limit"),
                says: format!("The {name} is {figures}{flow}; the ways out are in the section on the water."),
                if_left: if_left.to_owned(),
                due: None,
                source: row.flow.as_ref().and_then(|f| f.sources.last().cloned()),
            });
        }
        for finding in &spa.water.findings {
            all.push(ToDo {
                urgency: Urgency::Plan,
                at: Some(spa.at.clone()),
                reason: "curve-misses-loop",
                what: "check the pump's curve and the pipe in the records".to_owned(),
                says: format!("By what is written {finding}."),
                if_left: "what is said of the flow may be wrong".to_owned(),
                due: None,
                source: Some(site.source(&format!("spas.{}.pipe", spa.at))),
            });
        }
        if row.verdict == Verdict::Unknown && !spa.water.missing.is_empty() {
            all.push(ToDo {
                urgency: Urgency::Note,
                at: Some(spa.at.clone()),
                reason: "turnover-unknown",
                what: "whether the water is turned over enough is not known".to_owned(),
                says: format!("To know it, add {}.", spa.water.missing.join("; ")),
                if_left: String::new(),
                due: None,
                source: Some(site.source(&format!("spas.{}", spa.at))),
            });
        }
    }
}

pub(super) fn tests(fleet: &Fleet, spas: &[SpaFigures], as_of: NaiveDate, all: &mut Vec<ToDo>) {
    for spa in spas {
        for quantity in Quantity::ALL.into_iter().filter(|q| q.is_water_test()) {
            let rows: Vec<_> = spa.tests.iter().filter(|t| t.quantity == quantity).collect();
            let Some(last) = rows.last() else { continue };
            // Water over 40 °C can hurt at once, whatever the rule book has to say of it.
            let hot = quantity == Quantity::Temperature && last.value > HOTTEST_CELSIUS + 1e-9;
            if !matches!(last.verdict, TestVerdict::Low | TestVerdict::High) && !hot {
                continue;
            }
            let over_hottest = format!("over {}", format::test_value(quantity, HOTTEST_CELSIUS, fleet.settings.units));
            let out_of = match last.verdict {
                TestVerdict::Low | TestVerdict::High => last.verdict.word(),
                _ => over_hottest.as_str(),
            };
            let wrong = rows.iter().filter(|t| matches!(t.verdict, TestVerdict::Low | TestVerdict::High)).count();
            let name = format::quantity_name(quantity);
            let value = format::test_value_beside(
                quantity,
                last.value,
                [last.low_limit, last.high_limit],
                fleet.settings.units,
            );
            let limits = format::test_limits(quantity, last.low_limit, last.high_limit, fleet.settings.units);
            all.push(ToDo {
                urgency: if hot { Urgency::DoNotUse } else { Urgency::ActNow },
                at: Some(spa.at.clone()),
                reason: "water-test-out",
                what: format!("{name} is {out_of}"),
                says: if matches!(last.verdict, TestVerdict::Low | TestVerdict::High) {
                    format!(
                        "{} was {value} on {}; the limits are {limits}. {wrong} of {} tests this month were out. {}.",
                        format::sentence(&name),
                        calendar::in_words(last.day),
                        rows.len(),
                        format::sentence(&last.action)
                    )
                } else {
                    format!("{} was {value} on {}.", format::sentence(&name), calendar::in_words(last.day))
                },
                if_left: if hot {
                    "water this hot can make bathers faint"
                } else {
                    "the water may not be fit to bathe in"
                }
                .to_owned(),
                due: Some(plus_days(as_of, 1)),
                source: Some(last.source.clone()),
            });
        }
    }
}

pub(super) fn filters(fleet: &Fleet, spas: &[SpaFigures], tasks: &[TaskDue], as_of: NaiveDate, all: &mut Vec<ToDo>) {
    for spa in spas {
        for filter in &spa.filters {
            let state = &filter.state;
            let (Some((clean_by, low, high)), Some(rise)) = (state.clean_before(), state.rise_per_day) else {
                continue;
            };
            // The water is turned over too slowly before the gauge asks for a clean.
            let short = state.short_by.filter(|_| state.short_rise.is_some());
            let planned =
                tasks.iter().find(|t| t.at == filter.at && t.id.as_str() == "filter_clean").and_then(|t| t.task.every);
            let planned_days = match planned {
                Some(crate::records::upkeep::Every::Period(period)) => Some(period.mean_days()),
                _ => None,
            };
            let needs = state.clean_at().map(|limit| limit / rise);
            let fast = needs.zip(planned_days).is_some_and(|(needs, planned)| needs < planned * 0.75);
            let soon = clean_by <= plus_days(as_of, 14);
            if !fast && !soon && short.is_none() {
                continue;
            }
            let risen = state.pressure.zip(state.clean_pressure).map_or(0.0, |(p, c)| (p - c).max(0.0));
            let limit = state.clean_at().unwrap_or(0.0);
            let units = fleet.settings.units;
            let mut says = format!(
                "Its pressure stood {} above clean on {} and is to be cleaned at {}.",
                format::pressure(risen, units),
                state.read_on.map_or(String::new(), calendar::in_words),
                format::pressure(limit, units)
            );
            if let (true, Some(needs), Some(planned)) = (fast, needs, planned_days) {
                says.push_str(&format!(
                    " It needs a clean about every {needs:.0} days and is planned every {planned:.0}."
                ));
            }
            let reaches = if clean_by <= as_of { "It reached" } else { "It reaches" };
            let when = if low == high {
                format!("on {}", calendar::in_words(low))
            } else {
                format!("between {} and {}", calendar::in_words(low), calendar::in_words(high))
            };
            says.push_str(&format!(" {reaches} that {when}."));
            if short.is_some() {
                says.push_str(
                    " From there on the water would be turned over too slowly, before the gauge's own limit.",
                );
            }
            all.push(ToDo {
                urgency: if soon { Urgency::ActNow } else { Urgency::Plan },
                at: Some(filter.at.clone()),
                reason: if short.is_some() {
                    "turnover-falling-short"
                } else if fast {
                    "filter-fouling-fast"
                } else {
                    "filter-clean-due"
                },
                what: "clean the filter".to_owned(),
                says,
                if_left: "the flow falls and the water is turned over less".to_owned(),
                due: Some(clean_by.max(plus_days(as_of, 1))),
                source: state.sources.last().cloned(),
            });
        }
    }
}
