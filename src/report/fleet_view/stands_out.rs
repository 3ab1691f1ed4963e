//! Trends and outliers over the fleet: pumps that fail more and more, pumps that fail more than the others, spas whose
//! turnover drifts towards its limit, filters that foul fast; and the failures of each pump model.

use super::{FailureCostRow, Finding, Given, ModelRow, StandsOut, name, within};
use crate::calendar::{self, plus_days};
use crate::costs::pareto::pareto;
use crate::quantities::failure_trends::{FailureTrends, Scope};
use crate::quantities::failures::Trend;
use crate::quantities::measured_trends::{CLEAR, Drifting};
use crate::quantities::water_turnover::Verdict;
use crate::records::fleet::Units;
use crate::records::upkeep::{Clock, Every};
use crate::report::format;
use crate::report::site::in_view;

/// Findings of a kind that are named.
const EACH: usize = 6;
/// Models in the table.
const MODELS: usize = 10;
/// Growth of the turnover time within a year that is called a drift.
const DRIFT: f64 = 0.10;

pub(super) fn stands_out(given: &Given) -> StandsOut {
    let mut rows = Vec::new();
    rows.extend(worsening(given).into_iter().take(EACH));
    rows.extend(more_than_others(given).into_iter().take(EACH));
    rows.extend(crossing(given).into_iter().take(EACH));
    rows.extend(drifting(given).into_iter().take(EACH));
    rows.extend(fouling(given).into_iter().take(EACH));
    let models = models(given);
    StandsOut {
        nothing_to_say: (rows.is_empty() && models.is_empty())
            .then(|| "No trend and no outlier, as far as the records can tell.".to_owned()),
        note: format!(
            "Failures stand out where bad luck does not explain them (tables/pump_failures.csv); a turnover where all the water \
             took at least {} % longer than in the same month a year before and the ranges of both do not meet.",
            format::number(DRIFT * 100.0, 0)
        ),
        rows,
        part_lives: crate::report::life_words::fleet_findings(given.figures.lives),
        models_note: format!(
            "Failures in 10 000 h; in brackets the central 80 % of the rate, by the count alone.{}",
            because_of(&given.figures.lives.trends, |pump| named(given, pump))
        ),
        models,
        charts: given
            .charts
            .means
            .iter()
            .map(|chart| in_view(chart, "How many failures has a pump had by its hours?"))
            .collect(),
        costs: costs(given),
        currency: given.currency().to_owned(),
        costs_note:
            "All failures of pumps in the records, at today's prices: part, work, damage, one call-out for all that failed \
                     at a site on one day, and nights lost at the mean of the sites that say what one costs; of an \
                     exchange the pump, its work and the call-out."
                .to_owned(),
    }
}

/// What failures cost, the dearest kind first.
fn costs(given: &Given) -> Vec<FailureCostRow> {
    const SHOWN: usize = 8;
    let figures = given.figures;
    let all = pareto(figures.fleet, &figures.sites, figures.lives, figures.as_of);
    let amount = |value: Option<f64>| value.map_or_else(|| "–".to_owned(), |value| format::number(value, 0));
    let percent = |share: Option<f64>| {
        share.map_or_else(|| "–".to_owned(), |share| format!("{} %", format::number(share * 100.0, 0)))
    };
    all.iter()
        .take(SHOWN)
        .map(|one| FailureCostRow {
            what: if one.what == "pump" {
                "Pump exchanged".to_owned()
            } else {
                format::sentence(&format::words(&one.what))
            },
            failures: one.failures.to_string(),
            each: amount(one.each),
            cost: amount(one.cost()),
            share: percent(one.share),
            summed: percent(one.summed),
        })
        .collect()
}

fn pumps<'a>(
    given: &'a Given,
) -> impl Iterator<Item = (&'a crate::site::SiteFigures<'a>, &'a crate::quantities::PumpFigures)> {
    given
        .figures
        .sites
        .iter()
        .flat_map(|site| site.spas.iter().flat_map(move |spa| spa.pumps.iter().map(move |pump| (site, pump))))
}

fn place(site: &crate::site::SiteFigures, at: &str) -> String {
    format!("{}: {}", name(site), within(site, at))
}

fn is_worsening(given: &Given, site: &crate::site::SiteFigures, pump: &crate::quantities::PumpFigures) -> bool {
    let trend = given.figures.lives.trends.pump(&site.site.id, &pump.at);
    trend.is_some_and(|trend| trend.trend == Trend::Worsening)
}

fn worsening(given: &Given) -> Vec<Finding> {
    let mut found: Vec<_> = pumps(given).filter(|(site, pump)| is_worsening(given, site, pump)).collect();
    found.sort_by(|a, b| b.1.failures.incidents.len().cmp(&a.1.failures.incidents.len()).then(a.1.at.cmp(&b.1.at)));
    found
        .into_iter()
        .map(|(site, pump)| {
            let incidents = &pump.failures.incidents;
            Finding {
                kind: "failures".to_owned(),
                place: place(site, pump.at.as_str()),
                seen: format!(
                    "{} failures since {}, and they come closer together",
                    incidents.len(),
                    incidents.first().map_or_else(String::new, |i| calendar::in_words(i.day))
                ),
                against: "a steady rate".to_owned(),
            }
        })
        .collect()
}

/// Which models and whether the fleet fail more and more often, and because of whom where that is a few pumps of them, each as it
/// is named.
fn because_of(trends: &FailureTrends, named: impl Fn(&str) -> String) -> String {
    let mut says = Vec::new();
    for (scope, id, trend) in trends.all() {
        let name = match scope {
            Scope::Model => id.to_owned(),
            Scope::Fleet => "the whole fleet".to_owned(),
            _ => continue,
        };
        if !trend.because_of.is_empty() {
            let pumps: Vec<String> = trend.because_of.iter().map(|pump| named(pump)).collect();
            says.push(format!(
                "{} only because of {}: without {} no trend is left.",
                format::sentence(&format!("{name} fails more and more often")),
                crate::charts::style::list(&pumps),
                if pumps.len() == 1 { "it" } else { "them" }
            ));
        } else if trend.trend == Trend::Worsening {
            says.push(format!(
                "{}.",
                format::sentence(&format!("{name} fails more and more often, and not for one pump alone"))
            ));
        }
    }
    says.iter().map(|text| format!(" {text}")).collect()
}

/// A pump of `site/spa/pump` by its site's name.
fn named(given: &Given, id: &str) -> String {
    let found = id.split_once('/').and_then(|(site, at)| {
        let site = given.figures.sites.iter().find(|figures| figures.site.id.as_str() == site)?;
        Some(format!("{}, {}", name(site), within(site, at)))
    });
    found.unwrap_or_else(|| id.to_owned())
}

/// Pumps that fail more often than their like, by more than bad luck explains.
fn more_than_others(given: &Given) -> Vec<Finding> {
    let trends = &given.figures.lives.trends;
    let mut found: Vec<_> = pumps(given)
        .filter_map(|(site, pump)| {
            let trend = trends.pump(&site.site.id, &pump.at)?;
            let beside = trend.beside.filter(|beside| beside.stands_out && trend.trend != Trend::Worsening)?;
            Some((beside.p_value, site, pump, trend.failures, beside.expected))
        })
        .collect();
    found.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.2.at.cmp(&b.2.at)));
    found
        .into_iter()
        .map(|(_, site, pump, failures, expected)| Finding {
            kind: "failures".to_owned(),
            place: place(site, pump.at.as_str()),
            seen: format!("{failures} failures"),
            against: format!("{} at the rate of its like", format::number(expected, 1)),
        })
        .collect()
}

/// What is measured and drifts towards a limit within a year.
fn crossing(given: &Given) -> Vec<Finding> {
    let as_of = given.figures.as_of;
    let units = given.figures.fleet.settings.units;
    let mut found: Vec<_> = given
        .figures
        .sites
        .iter()
        .flat_map(|site| site.trends.iter().map(move |trend| (site, trend)))
        .filter_map(|(site, trend)| {
            let day = trend.crosses.filter(|day| *day <= plus_days(as_of, 365))?;
            (trend.p_value <= CLEAR).then_some((day, site, trend))
        })
        .collect();
    found.sort_by(|a, b| a.0.cmp(&b.0).then(a.2.at.cmp(&b.2.at)));
    found
        .into_iter()
        .map(|(day, site, trend)| {
            let (name, show): (&str, fn(f64, Units) -> String) = match trend.quantity {
                Drifting::Current => ("motor current", |value, _| format!("{} A", format::number(value, 2))),
                Drifting::CurrentLow => ("motor current, low", |value, _| format!("{} A", format::number(value, 2))),
                Drifting::Pressure => ("filter pressure", format::pressure),
                Drifting::CleanPressure => ("pressure just after cleaning", format::pressure),
                Drifting::TemperatureLag => ("water behind its setpoint", |kelvin, units| match units {
                    Units::Metric => format!("{} °C", format::number(kelvin, 1)),
                    Units::Us => format!("{} °F", format::number(kelvin * 1.8, 1)),
                }),
            };
            Finding {
                kind: name.to_owned(),
                place: place(site, trend.at.as_str()),
                seen: format!(
                    "from {} to {} between {} and {}",
                    show(trend.levels.0, units),
                    show(trend.levels.1, units),
                    format::short_date(trend.from),
                    format::short_date(trend.to)
                ),
                against: trend.limit.map_or_else(String::new, |limit| {
                    let when = if day <= as_of {
                        "passed".to_owned()
                    } else {
                        format!("reached around {}", format::near_date(day, as_of))
                    };
                    format!("a limit of {}, {when}", show(limit, units))
                }),
            }
        })
        .collect()
}

fn drifting(given: &Given) -> Vec<Finding> {
    let mut found = Vec::new();
    for site in &given.figures.sites {
        for spa in site.spas {
            let Some(now) = spa.water.months.last().filter(|row| row.verdict != Verdict::Closed) else { continue };
            let year_ago = spa.water.months.iter().find(|row| row.month == now.month.plus(-12));
            let Some((turnover, before)) = now.turnover.as_ref().zip(year_ago.and_then(|row| row.turnover.as_ref()))
            else {
                continue;
            };
            let grown = turnover.value / before.value - 1.0;
            // Where the ranges overlap the two months may well be alike.
            if grown >= DRIFT && turnover.low > before.high {
                found.push((grown, site, spa, turnover.value, before.value, now.limit_min));
            }
        }
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.2.at.cmp(&b.2.at)));
    found
        .into_iter()
        .map(|(_, site, spa, now, before, limit)| Finding {
            kind: "water turnover".to_owned(),
            place: place(site, spa.at.as_str()),
            seen: format!("{} min", format::number(now, 1)),
            against: format!(
                "{} min a year before{}",
                format::number(before, 1),
                limit.map_or_else(String::new, |limit| format!("; limit {} min", format::number(limit, 0)))
            ),
        })
        .collect()
}

fn fouling(given: &Given) -> Vec<Finding> {
    let sites = given.figures.sites.iter();
    sites
        .flat_map(|site| site.to_do.iter().map(move |to_do| (site, to_do)))
        .filter(|(_, to_do)| to_do.reason == "filter-fouling-fast")
        .map(|(site, to_do)| {
            let at = to_do.at.as_ref().map_or("", |at| at.as_str());
            let state = site.spas.iter().flat_map(|s| &s.filters).find(|f| f.at.as_str() == at).map(|f| &f.state);
            let needs = state.and_then(|s| Some(s.rise_limit? / s.rise_per_day?));
            Finding {
                kind: "filter".to_owned(),
                place: place(site, at),
                seen: needs.map_or_else(
                    || "fouls fast".to_owned(),
                    |days| format!("needs a clean about every {} days", format::number(days, 0)),
                ),
                against: planned_clean(site, at),
            }
        })
        .collect()
}

/// How often a filter is planned to be cleaned.
fn planned_clean(site: &crate::site::SiteFigures, at: &str) -> String {
    let task = site.tasks.iter().find(|task| task.at.as_str() == at && task.id.as_str() == "filter_clean");
    match task.and_then(|task| task.task.every) {
        Some(Every::Period(period)) => format!("planned every {} days", format::number(period.mean_days(), 0)),
        _ => "the interval it is planned at".to_owned(),
    }
}

fn models(given: &Given) -> Vec<ModelRow> {
    let trends = given.figures.lives.trends.all();
    let mut sorted: Vec<_> = trends.filter(|(scope, ..)| *scope == Scope::Model).collect();
    sorted.sort_by(|a, b| b.2.failures.cmp(&a.2.failures).then(a.1.cmp(b.1)));
    sorted
        .into_iter()
        .filter(|(_, id, trend)| trend.clock == Clock::Hours && !id.is_empty())
        .take(MODELS)
        .filter_map(|(_, id, trend)| {
            let exposure = trend.exposure?;
            let per = |rate: f64| format::number(rate * 10_000.0, 2);
            Some(ModelRow {
                model: id.to_owned(),
                hours: format::number(exposure, 0),
                failures: trend.failures.to_string(),
                rate: trend.rate.map_or_else(
                    || "–".to_owned(),
                    |(rate, low, high)| format!("{} ({} to {})", per(rate), per(low), per(high)),
                ),
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantities::failure_trends::Watched;
    use crate::quantities::failures::Failures;

    fn said(all: &[(&str, &str, &[f64])]) -> String {
        let failures: Vec<Failures> = all.iter().map(|(_, _, at)| Failures::simulated(at)).collect();
        let pumps: Vec<Watched> = all
            .iter()
            .zip(&failures)
            .map(|((id, model, _), failures)| Watched {
                id: (*id).to_owned(),
                model: (*model).to_owned(),
                site: "a".to_owned(),
                failures,
            })
            .collect();
        because_of(&FailureTrends::new(&pumps), str::to_uppercase)
    }

    const LATE: &[f64] = &[7_000.0, 8_000.0, 8_700.0, 9_200.0, 9_500.0, 9_700.0, 9_800.0, 9_900.0, 9_950.0];

    /// One pump, or two, make the model and the fleet look worse: it is said whose trend it is. Of a site nothing is said here: its
    /// own report names its pumps.
    #[test]
    fn a_model_that_looks_worse_for_a_few_pumps_names_them() {
        let steady: [(&str, &str, &[f64]); 2] =
            [("a/s/c", "m", &[1_500.0, 6_500.0]), ("a/s/d", "m", &[4_000.0, 3_000.0])];
        let mut all = vec![("a/s/b", "m", LATE)];
        all.extend(steady);
        assert_eq!(
            said(&all),
            " M fails more and more often only because of A/S/B: without it no trend is left. The whole fleet fails more \
             and more often only because of A/S/B: without it no trend is left."
        );
        all.push(("a/s/e", "other", LATE));
        assert_eq!(
            said(&all),
            " M fails more and more often only because of A/S/B: without it no trend is left. Other fails more and more \
             often only because of A/S/E: without it no trend is left. The whole fleet fails more and more often only because \
             of A/S/B and A/S/E: without them no trend is left."
        );
        assert_eq!(said(&steady), "");
    }

    /// Four pumps, none of which shows it alone.
    #[test]
    fn a_model_whose_pumps_get_worse_together_is_said_to() {
        let late: &[f64] = &[8_000.0, 9_000.0, 9_500.0, 9_900.0];
        let all: Vec<(&str, &str, &[f64])> =
            ["a/s/b", "a/s/c", "a/s/d", "a/s/e"].into_iter().map(|id| (id, "m", late)).collect();
        assert_eq!(
            said(&all),
            " M fails more and more often, and not for one pump alone. The whole fleet fails more and more often, and not for \
             one pump alone."
        );
    }
}
