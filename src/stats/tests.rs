//! The methods against published and recomputed values. `tests/reference/lives.json` holds data and
//! expected results with the source of each and whether it was read there or recalled; all were
//! recomputed with mpmath or scipy and agreed by R or other independent code.

use serde_json::Value;

use super::posterior::{Posterior, Prior};
use super::survival::product_limit;
use super::weibull::{KnownShape, NoMaximum, Sample, Weibull};
use super::{End, Life};

fn cases(method: &str) -> Vec<Value> {
    let all: Vec<Value> = serde_json::from_str(include_str!("../../tests/reference/lives.json")).unwrap();
    let found: Vec<Value> = all.into_iter().filter(|c| c["method"] == method).collect();
    assert!(!found.is_empty(), "{method}");
    found
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

fn lives(data: &Value) -> Vec<Life> {
    if let Some(rows) = data["rows"].as_array() {
        return rows
            .iter()
            .map(|row| {
                let end = match (row[0].as_f64(), row[1].as_f64()) {
                    (None, Some(by)) => End::FailedBetween(0.0, by),
                    (Some(age), None) => End::Sound(age),
                    (Some(after), Some(by)) if after < by => End::FailedBetween(after, by),
                    (Some(age), _) => End::Failed(age),
                    (None, None) => panic!("an empty row"),
                };
                Life { entry: 0.0, end, count: row[2].as_f64().unwrap() }
            })
            .collect();
    }
    let ages = numbers(if data["times"].is_array() { &data["times"] } else { &data["exit"] });
    let events = numbers(&data["event"]);
    let of = |field: &str, other: f64| {
        data[field].as_array().map_or_else(|| vec![other; ages.len()], |_| numbers(&data[field]))
    };
    let (counts, entries) = (of("count", 1.0), of("entry", 0.0));
    (0..ages.len())
        .map(|i| Life {
            entry: entries[i],
            end: if events[i] == 1.0 { End::Failed(ages[i]) } else { End::Sound(ages[i]) },
            count: counts[i],
        })
        .collect()
}

#[track_caller]
fn near(found: f64, expected: &Value, relative: f64, what: &str) {
    let expected = expected.as_f64().unwrap();
    assert!((found / expected - 1.0).abs() < relative, "{what}: {found} instead of {expected}");
}

fn check_maximum(case: &Value) {
    let id = case["id"].as_str().unwrap();
    let expected = &case["expected"];
    let sample = Sample::new(&lives(&case["data"])).unwrap();
    let found = sample.maximum();
    match expected["status"].as_str() {
        Some("no_failures") => return assert_eq!(found.unwrap_err(), NoMaximum::NoFailures, "{id}"),
        Some("beta_diverges") => return assert_eq!(found.unwrap_err(), NoMaximum::ShapeDiverges, "{id}"),
        _ => {}
    }
    let found = found.unwrap();
    near(found.weibull.shape, &expected["beta"], 1e-6, id);
    near(found.weibull.scale, &expected["eta"], 1e-6, id);
    assert!((found.log_likelihood - expected["loglik"].as_f64().unwrap()).abs() < 1e-6, "{id}");
    if let Some(mean) = expected.get("mean_life") {
        near(found.weibull.mean(), mean, 1e-6, id);
    }
    if let Some(interval) = expected.get("beta_lr_95") {
        let (low, high) = sample.shape_interval(&found, 0.95);
        near(low.unwrap(), &interval[0], 1e-5, id);
        near(high.unwrap(), &interval[1], 1e-5, id);
    }
    let whole = 1.0 - (-1.0f64).exp();
    let mut asked = vec![(whole, &expected["eta_lr_95"])];
    if expected["b10"].is_object() {
        near(found.weibull.quantile(0.1), &expected["b10"]["t"], 1e-6, id);
        asked.push((0.1, &expected["b10"]["lr_95"]));
    }
    for (share, interval) in asked.into_iter().filter(|(_, i)| i.is_array()) {
        let (low, high) = sample.quantile_interval(&found, share, 0.95);
        near(low.unwrap(), &interval[0], 1e-5, id);
        near(high.unwrap(), &interval[1], 1e-5, id);
    }
}

#[test]
fn the_maximum_of_right_censored_lives() {
    cases("weibull_mle_censored").iter().for_each(check_maximum);
}

#[test]
fn the_maximum_of_lives_failed_between_two_visits() {
    cases("weibull_interval_censored").iter().for_each(check_maximum);
}

#[test]
fn the_maximum_of_lives_seen_from_a_later_age() {
    cases("weibull_left_truncated").iter().for_each(check_maximum);
}

#[test]
fn ages_by_which_a_share_has_failed() {
    for case in cases("b10") {
        let sample = Sample::new(&lives(&case["data"])).unwrap();
        let found = sample.maximum().unwrap();
        for life in case["expected"]["b_lives"].as_array().unwrap() {
            let share = life["p"].as_f64().unwrap();
            let what = format!("{} at {share}", case["id"]);
            near(found.weibull.quantile(share), &life["t"], 1e-6, &what);
            let (low, high) = sample.quantile_interval(&found, share, 0.95);
            near(low.unwrap(), &life["lr_95"][0], 1e-5, &what);
            near(high.unwrap(), &life["lr_95"][1], 1e-5, &what);
        }
    }
}

#[test]
fn the_share_still_sound() {
    for case in cases("kaplan_meier") {
        let steps = product_limit(&lives(&case["data"]), 0.95);
        let rows = case["expected"]["rows"].as_array().unwrap();
        assert_eq!(steps.len(), rows.len(), "{}", case["id"]);
        for (step, row) in steps.iter().zip(rows) {
            let what = format!("{} at {}", case["id"], row["t"]);
            near(step.at_risk, &row["at_risk"], 1e-12, &what);
            near(step.failures, &row["d"], 1e-12, &what);
            assert!((step.sound - row["S"].as_f64().unwrap()).abs() < 1e-9, "{what}");
            if row["loglog_95"][0].is_f64() && step.sound > 0.0 {
                near(step.variance.unwrap(), &row["greenwood_var"], 1e-9, &what);
                let (low, high) = step.interval.unwrap();
                near(low, &row["loglog_95"][0], 1e-7, &what);
                near(high, &row["loglog_95"][1], 1e-7, &what);
            } else {
                assert_eq!(step.interval, None, "{what}");
            }
        }
    }
}

#[test]
fn the_cumulative_hazard() {
    let all: Vec<Value> = serde_json::from_str(include_str!("../../tests/reference/recurrence.json")).unwrap();
    let cases: Vec<&Value> = all.iter().filter(|c| c["method"] == "nelson_aalen").collect();
    assert_eq!(cases.len(), 4);
    for case in cases {
        let steps = product_limit(&lives(&case["data"]), 0.95);
        for (step, row) in steps.iter().zip(case["expected"]["rows"].as_array().unwrap()) {
            let what = format!("{} at {}", case["id"], row["t"]);
            near(step.hazard.0, &row["H"], 1e-9, &what);
            near(step.hazard.1, &row["var_H"], 1e-9, &what);
        }
    }
}

#[test]
fn a_known_shape() {
    for case in cases("weibayes") {
        let (data, expected) = (&case["data"], &case["expected"]);
        // The conjugate case is another method, not built.
        let Some(shape) = data["assumed_beta"].as_f64() else { continue };
        if expected.get("sum_t_beta").is_none() {
            continue;
        }
        let id = case["id"].as_str().unwrap();
        let known = KnownShape::of(&lives(data), shape);
        near(known.exposure, &expected["sum_t_beta"], 1e-9, id);
        near(known.lower_scale(0.95), &expected["eta_lower_one_sided_95"], 1e-9, id);
        near(known.lower_scale(0.975), &expected["eta_two_sided_95"][0], 1e-9, id);
        let bound = Weibull { shape, scale: known.lower_scale(0.95) };
        near(bound.quantile(0.1), &expected["b10_lower_one_sided_95"], 1e-9, id);
        match known.scale() {
            Some(scale) => {
                near(scale, &expected["eta"], 1e-9, id);
                near(known.upper_scale(0.975).unwrap(), &expected["eta_two_sided_95"][1], 1e-9, id);
            }
            None => assert!(expected["eta"].is_null(), "{id}"),
        }
    }
}

#[test]
fn the_posterior_with_no_one_and_eleven_failures() {
    for case in cases("bayes_weibull") {
        let (data, expected) = (&case["data"], &case["expected"]);
        let id = case["id"].as_str().unwrap();
        let of = |field: &str| data["prior"][field].as_f64().unwrap();
        let prior = Prior {
            ln_shape: of("beta_median").ln(),
            shape_below: of("beta_sd_ln"),
            shape_above: of("beta_sd_ln"),
            share: 1.0 - (-1.0f64).exp(),
            ln_age: of("eta_median").ln(),
            age_deviation: of("eta_sd_ln"),
        };
        let sample = Sample::new(&lives(data)).unwrap();
        let posterior = Posterior::new(Some(&sample), &prior);
        let shares = [0.05, 0.5, 0.95];
        for (i, share) in shares.into_iter().enumerate() {
            near(posterior.shape(share), &expected["beta_q"][i], 1e-3, id);
        }
        for (field, found) in [
            ("eta_q", posterior.quantiles_of(shares, |w| w.scale)),
            ("b10_q", posterior.quantiles_of(shares, |w| w.quantile(0.1))),
        ] {
            for i in 0..3 {
                near(found[i], &expected[field][i], 1e-3, &format!("{id} {field}"));
            }
        }
        for (field, found) in [
            ("beta_mean", posterior.mean_of(|w| w.shape)),
            ("ln_beta_mean", posterior.mean_of(|w| w.shape.ln())),
            ("ln_eta_mean", posterior.mean_of(|w| w.scale.ln())),
            ("ln_b10_mean", posterior.mean_of(|w| w.quantile(0.1).ln())),
        ] {
            assert!((found - expected[field].as_f64().unwrap()).abs() < 1e-4, "{id} {field}: {found}");
        }
        // A few nodes serve every part: they must say what the fine grid says.
        let fine = posterior.mean_of(|w| w.chance_within(300.0, 365.0));
        let coarse = posterior.chance_within(300.0, 365.0);
        assert!((coarse / fine - 1.0).abs() < 6e-3, "{id}: {coarse} {fine}");
    }
}

#[test]
fn the_maximum_of_sites_put_together() {
    let case = cases("pooling").into_iter().find(|c| c["id"] == "common_shape_sites").unwrap();
    let (data, expected) = (&case["data"], &case["expected"]);
    let pooled = Sample::new(&lives(data)).unwrap().maximum().unwrap();
    near(pooled.weibull.shape, &expected["complete_pooling"]["beta"], 1e-6, "pooled shape");
    near(pooled.weibull.scale, &expected["complete_pooling"]["eta"], 1e-6, "pooled scale");
    assert!((pooled.log_likelihood - expected["complete_pooling"]["loglik"].as_f64().unwrap()).abs() < 1e-6);
}

#[test]
fn without_lives_the_belief_stands_at_its_own_quantiles() {
    let prior = Prior::new((0.8, 1.4, 4.0), 0.1, 1000.0, 1.0).unwrap();
    let posterior = Posterior::new(None, &prior);
    for (share, shape) in [(0.1, 0.8), (0.5, 1.4), (0.9, 4.0)] {
        assert!((posterior.shape(share) / shape - 1.0).abs() < 5e-3, "{share}: {}", posterior.shape(share));
    }
    let [low, middle, high] = posterior.quantiles_of([0.1, 0.5, 0.9], |w| w.quantile(0.1));
    assert!((middle / 1000.0 - 1.0).abs() < 2e-3, "{middle}");
    assert!((high / low - (2.0f64 * 1.281_551_565_5).exp()).abs() < 0.05, "{low} {high}");
    assert!(Prior::new((1.4, 1.4, 4.0), 0.1, 1000.0, 1.0).is_none());
}

/// Lives found failed at visits, many of them: put together in steps they say what they said one by one, and
/// the grid for many says what the distribution they were drawn from is.
#[test]
fn a_great_many_lives_are_put_together() {
    let truth = Weibull { shape: 1.8, scale: 1000.0 };
    let n = 900;
    let found = |i: usize| {
        let age = truth.quantile((i as f64 + 0.5) / n as f64);
        End::FailedBetween((age - 30.0).max(0.0), age + 20.0)
    };
    let all: Vec<Life> = (0..n).map(|i| Life::from_new(found(i))).collect();
    let few: Vec<Life> = all.iter().step_by(2).copied().collect();
    let [many, half] = [&all, &few].map(|lives| Sample::new(lives).unwrap());
    let (of_all, of_half) = (many.maximum().unwrap().weibull, half.maximum().unwrap().weibull);
    // 450 stand one by one, 900 in steps.
    assert!((of_all.shape / of_half.shape - 1.0).abs() < 0.01, "{of_all:?} {of_half:?}");
    assert!((of_all.scale / of_half.scale - 1.0).abs() < 0.004, "{of_all:?} {of_half:?}");
    let prior = Prior::new((0.8, 1.4, 4.0), 0.1, 300.0, 1.0).unwrap();
    let posterior = Posterior::new(Some(&many), &prior);
    let (low, high) = many.shape_interval(&many.maximum().unwrap(), 0.8);
    assert!((posterior.shape(0.1) / low.unwrap() - 1.0).abs() < 0.01, "{} {low:?}", posterior.shape(0.1));
    assert!((posterior.shape(0.9) / high.unwrap() - 1.0).abs() < 0.01, "{} {high:?}", posterior.shape(0.9));
    let [_, scale, _] = posterior.quantiles_of([0.1, 0.5, 0.9], |w| w.scale);
    assert!((scale / of_all.scale - 1.0).abs() < 0.005, "{scale}");
    let nodes: f64 = posterior.nodes().iter().map(|n| n.1).sum();
    assert!((nodes - 1.0).abs() < 1e-9);
}

#[test]
fn lives_that_cannot_be_are_refused() {
    assert!(Sample::new(&[]).is_none());
    for end in [End::Failed(0.0), End::Sound(f64::NAN), End::FailedBetween(5.0, 5.0)] {
        assert!(Sample::new(&[Life::from_new(end)]).is_none(), "{end:?}");
    }
    assert!(Sample::new(&[Life { entry: 9.0, end: End::Sound(8.0), count: 1.0 }]).is_none());
}
