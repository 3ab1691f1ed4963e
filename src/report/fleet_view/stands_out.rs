//! Trends and outliers over the fleet: pumps that fail more and more, pumps that fail more than the others, spas whose
//! turnover drifts towards its limit, filters that foul fast; and the failures of each pump model.

use std::collections::BTreeMap;

use statrs::distribution::{ContinuousCDF, DiscreteCDF, Gamma, Poisson};

use super::{Finding, Given, ModelRow, StandsOut, within};
use crate::calendar;
use crate::quantities::failures::Trend;
use crate::quantities::water_turnover::Verdict;
use crate::report::format;

/// Findings of a kind that are named.
const EACH: usize = 6;
/// Models in the table.
const MODELS: usize = 10;
/// Pumps of a model from which one is held against the others of it.
const LEAST_ALIKE: usize = 3;
/// A count of failures this unlikely at the fleet's rate is called out.
const UNLIKELY: f64 = 0.01;
/// Growth of the turnover time within a year that is called a drift.
const DRIFT: f64 = 0.10;

pub(super) fn stands_out(given: &Given) -> StandsOut {
    let mut rows = Vec::new();
    rows.extend(worsening(given).into_iter().take(EACH));
    rows.extend(more_than_others(given).into_iter().take(EACH));
    rows.extend(drifting(given).into_iter().take(EACH));
    rows.extend(fouling(given).into_iter().take(EACH));
    let models = models(given);
    StandsOut {
        nothing_to_say: (rows.is_empty() && models.is_empty())
            .then(|| "No trend and no outlier, as far as the records can tell.".to_owned()),
        note: format!(
            "A pump fails more often than others where its count would come about by chance less than once in {} pumps at \
             the rate it is held against; a turnover drifts where it took at least {} % longer than in the same month a year before.",
            format::number(1.0 / UNLIKELY, 0),
            format::number(DRIFT * 100.0, 0)
        ),
        rows,
        part_lives: crate::report::life_words::fleet_findings(given.figures.lives),
        models_note: "Failures in 10 000 h; in brackets the central 80 % of the rate, by the count alone.".to_owned(),
        models,
    }
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
    format!("{}: {}", site.site.name, within(site, at))
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
                    "{} failures since {}, each sooner than the one before",
                    incidents.len(),
                    incidents.first().map_or_else(String::new, |i| calendar::in_words(i.day))
                ),
                against: "a steady rate".to_owned(),
            }
        })
        .collect()
}

/// Pumps that fail more often than the others of their model, or of the fleet where the model is rare.
fn more_than_others(given: &Given) -> Vec<Finding> {
    let known: Vec<_> = pumps(given)
        .filter_map(|(site, pump)| {
            let hours = pump.failures.exposure_hours.filter(|h| *h > 0.0)?;
            Some((site, pump, hours, model(site, &pump.at)))
        })
        .collect();
    let sums = |of: &dyn Fn(&Option<String>) -> bool| {
        known.iter().filter(|(_, _, _, model)| of(model)).fold((0, 0.0, 0), |(pumps, hours, failures), known| {
            (pumps + 1, hours + known.2, failures + known.1.failures.incidents.len())
        })
    };
    let fleet = sums(&|_| true);
    let mut found: Vec<_> = known
        .iter()
        .filter(|(_, pump, ..)| pump.failures.incidents.len() >= 2)
        .filter(|(site, pump, ..)| !is_worsening(given, site, pump))
        .filter_map(|(site, pump, exposure, model)| {
            let count = pump.failures.incidents.len();
            let alike = sums(&|other| model.is_some() && other == model);
            let (whose, (_, hours, failures)) = if alike.0 > LEAST_ALIKE && alike.2 > count {
                (format!("the other {}", model.as_deref().unwrap_or_default()), alike)
            } else {
                ("the other pumps".to_owned(), fleet)
            };
            // The pump itself is not among those it is held against.
            let expected = (failures - count) as f64 / (hours - exposure) * exposure;
            let chance = tail(count as u64, expected).filter(|chance| *chance < UNLIKELY)?;
            Some((chance, *site, *pump, expected, whose))
        })
        .collect();
    found.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.2.at.cmp(&b.2.at)));
    found
        .into_iter()
        .map(|(_, site, pump, expected, whose)| Finding {
            kind: "failures".to_owned(),
            place: place(site, pump.at.as_str()),
            seen: format!("{} failures", pump.failures.incidents.len()),
            against: format!("{} at the rate of {whose}", format::number(expected, 2)),
        })
        .collect()
}

fn model(site: &crate::site::SiteFigures, at: &crate::address::Address) -> Option<String> {
    let pump = site.site.spas.iter().flat_map(|s| &s.pumps).find(|p| p.at == *at)?;
    crate::quantities::run_hours::model_now(site.site, pump)
}

/// The chance of at least so many where so many are expected.
fn tail(count: u64, expected: f64) -> Option<f64> {
    let poisson = Poisson::new(expected).ok()?;
    Some(count.checked_sub(1).map_or(1.0, |fewer| poisson.sf(fewer)))
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
                against: "the interval it is planned at".to_owned(),
            }
        })
        .collect()
}

fn models(given: &Given) -> Vec<ModelRow> {
    #[derive(Default)]
    struct Model {
        pumps: usize,
        hours: f64,
        failures: usize,
    }
    let mut models: BTreeMap<String, Model> = BTreeMap::new();
    for (site, figures) in pumps(given) {
        let Some(name) = model(site, &figures.at) else { continue };
        let Some(hours) = figures.failures.exposure_hours else { continue };
        let model = models.entry(name).or_default();
        model.pumps += 1;
        model.hours += hours;
        model.failures += figures.failures.incidents.len();
    }
    let mut sorted: Vec<_> = models.into_iter().filter(|(_, model)| model.hours > 0.0).collect();
    sorted.sort_by(|a, b| b.1.failures.cmp(&a.1.failures).then(a.0.cmp(&b.0)));
    sorted
        .into_iter()
        .take(MODELS)
        .map(|(name, model)| {
            let per = |count: f64| format::number(count / model.hours * 10_000.0, 2);
            let range = rate_range(model.failures)
                .map_or_else(String::new, |(low, high)| format!(" ({} to {})", per(low), per(high)));
            ModelRow {
                model: name,
                pumps: model.pumps.to_string(),
                hours: format::number(model.hours, 0),
                failures: model.failures.to_string(),
                rate: format!("{}{range}", per(model.failures as f64)),
            }
        })
        .collect()
}

/// The central 80 % of a Poisson mean of which so many were counted (Garwood's exact interval, 1936).
fn rate_range(count: usize) -> Option<(f64, f64)> {
    let quantile = |shape: f64, share: f64| Some(Gamma::new(shape, 1.0).ok()?.inverse_cdf(share));
    let low = if count == 0 { 0.0 } else { quantile(count as f64, 0.1)? };
    Some((low, quantile(count as f64 + 1.0, 0.9)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_of_counts_are_garwoods() {
        // Half a chi-square with 2n and 2n + 2 degrees of freedom at 10 % and 90 %: chi-square tables give 4.865 (10
        // degrees, 10 %) and 18.549 (12 degrees, 90 %) for five events, 4.605 (2 degrees, 90 %) for none.
        let (low, high) = rate_range(5).unwrap();
        assert!((low - 4.865 / 2.0).abs() < 1e-3 && (high - 18.549 / 2.0).abs() < 1e-3, "{low} {high}");
        let (low, high) = rate_range(0).unwrap();
        assert!(low == 0.0 && (high - 4.605 / 2.0).abs() < 1e-3, "{high}");
    }

    #[test]
    fn an_unlikely_count_is_told_from_a_likely_one() {
        // With one expected: P(N >= 4) = 1 - e^-1 (1 + 1 + 1/2 + 1/6) = 0.01899; P(N >= 5) = 0.00366.
        assert!((tail(4, 1.0).unwrap() - 0.018_988).abs() < 1e-6);
        assert!((tail(5, 1.0).unwrap() - 0.003_660).abs() < 1e-6);
        assert_eq!(tail(0, 1.0), Some(1.0));
    }
}
