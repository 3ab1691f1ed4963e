//! Trends of failures and of readings against published and recomputed values:
//! `tests/reference/recurrence.json`, each with its source.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use serde_json::Value;

use super::recurrence::{
    Unit, discoveries, mean_cumulative, misfit, misfit_limit, power_law, power_to_find, rejected_together, trend_test,
};
use super::trend::{rank_test, slope};

fn cases(method: &str) -> Vec<Value> {
    let all: Vec<Value> = serde_json::from_str(include_str!("../../tests/reference/recurrence.json")).unwrap();
    let found: Vec<Value> = all.into_iter().filter(|c| c["method"] == method).collect();
    assert!(!found.is_empty(), "{method}");
    found
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

/// Units of a case. Where the watch ended with a failure, that failure only says when.
fn units(data: &Value) -> Vec<Unit> {
    let ends = numbers(&data["end"]);
    let starts = data["start"].as_array().map_or_else(|| vec![0.0; ends.len()], |_| numbers(&data["start"]));
    let by_failure = data["truncation"] == "failure";
    let systems = data["systems"].as_array().unwrap();
    systems
        .iter()
        .zip(starts.iter().zip(&ends))
        .map(|(failures, (from, to))| {
            let mut failures = numbers(failures);
            if by_failure {
                failures.pop();
            }
            Unit { from: *from, to: *to, failures }
        })
        .collect()
}

#[track_caller]
fn near(found: f64, expected: &Value, relative: f64, what: &str) {
    let expected = expected.as_f64().unwrap();
    assert!((found - expected).abs() <= relative * expected.abs().max(1e-12), "{what}: {found} instead of {expected}");
}

#[test]
fn the_handbook_test_and_laplaces() {
    for case in cases("mil_hdbk_trend_test") {
        let id = case["id"].as_str().unwrap();
        let test = trend_test(&units(&case["data"])).unwrap();
        near(test.chi_squared, &case["expected"]["chi2"], 1e-9, id);
        assert_eq!(2 * test.failures as u64, case["expected"]["df"].as_u64().unwrap(), "{id}");
        // The source's `p_increasing` is the chance of so small a χ²: failures that come closer together.
        near(test.p_worsening, &case["expected"]["p_increasing"], 1e-6, id);
        near(test.p_improving, &case["expected"]["p_decreasing"], 1e-6, id);
    }
    for case in cases("laplace_test") {
        let id = case["id"].as_str().unwrap();
        let test = trend_test(&units(&case["data"])).unwrap();
        near(test.laplace, &case["expected"]["U"], 1e-9, id);
        near(test.laplace_p(), &case["expected"]["p_two_sided"], 1e-6, id);
        assert_eq!(test.laplace > 0.0, case["expected"]["direction"] == "deteriorating", "{id}");
    }
    assert_eq!(trend_test(&[]), None);
    assert_eq!(trend_test(&[Unit { from: 0.0, to: 5.0, failures: vec![6.0] }]), None);
}

#[test]
fn power_laws_and_how_well_they_fit() {
    for case in cases("crow_amsaa") {
        let (data, expected) = (&case["data"], &case["expected"]);
        let id = case["id"].as_str().unwrap();
        let units = units(data);
        if data["truncation"] == "time" {
            let (scale, growth) = power_law(&units).unwrap();
            near(growth, &expected["beta_ml"], 1e-9, id);
            near(scale, &expected["lambda_ml"], 1e-8, id);
        }
        if expected.get("beta_conditional").is_none() {
            continue;
        }
        let test = trend_test(&units).unwrap();
        near(test.unbiased_growth().unwrap(), &expected["beta_unbiased"], 1e-9, id);
        near(test.growth(), &expected["beta_conditional"], 1e-9, id);
        let (low, high) = test.growth_interval(0.95).unwrap();
        near(low, &expected["beta_exact_95"][0], 1e-5, id);
        near(high, &expected["beta_exact_95"][1], 1e-5, id);
        near(misfit(&units).unwrap(), &expected["cvm_C2M"], 1e-8, id);
        // The diesel engine of the Halfbeak does not follow a power law; the others do.
        let fits = misfit(&units).unwrap() <= misfit_limit(test.failures);
        assert_eq!(fits, !id.contains("halfbeak"), "{id}");
    }
}

/// The limits of the misfit are those of the published table, and simulation agrees with them.
#[test]
fn the_misfit_of_power_laws_that_fit() {
    let case = &cases("cvm_critical_values")[0];
    let published = case["expected"]["published"].as_object().unwrap();
    for (failures, row) in published {
        let found = misfit_limit(failures.parse().unwrap());
        assert!((found - row[3].as_f64().unwrap()).abs() < 0.0065, "{failures}: {found}");
    }
    let mut stream = ChaCha8Rng::seed_from_u64(9);
    for failures in [2usize, 5, 20] {
        let beyond = (0..4000)
            .filter(|_| {
                let mut at: Vec<f64> =
                    (0..failures).map(|_| ((stream.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64).collect();
                at.sort_by(f64::total_cmp);
                misfit(&[Unit { from: 0.0, to: 1.0, failures: at }]).unwrap() > misfit_limit(failures)
            })
            .count();
        // One in twenty of 4,000, within four standard deviations.
        assert!((145..=255).contains(&beyond), "{failures}: {beyond}");
    }
}

#[test]
fn failures_a_unit_has_had_on_the_average() {
    for case in cases("mcf") {
        let id = case["id"].as_str().unwrap();
        let (ids, times, status) =
            (numbers(&case["data"]["id"]), numbers(&case["data"]["time"]), numbers(&case["data"]["status"]));
        let mut units: std::collections::BTreeMap<i64, Unit> = std::collections::BTreeMap::new();
        for ((unit, at), failed) in ids.iter().zip(&times).zip(&status) {
            let unit = units.entry(*unit as i64).or_default();
            if *failed == 1.0 {
                unit.failures.push(*at);
            } else {
                unit.to = *at;
            }
        }
        let all: Vec<Unit> = units.into_values().collect();
        let steps = mean_cumulative(&all);
        let rows = case["expected"]["rows"].as_array().unwrap();
        assert_eq!(steps.len(), rows.len(), "{id}");
        for (step, row) in steps.iter().zip(rows) {
            let what = format!("{id} at {}", row["t"]);
            assert_eq!(step.at_risk as u64, row["at_risk"].as_u64().unwrap(), "{what}");
            near(step.mean, &row["M"], 1e-9, &what);
            near(step.variance, &row["var_lawless_nadeau"], 1e-7, &what);
            if let (Some((low, high)), true) = (step.interval(0.95), row["log_95_lawless_nadeau"][0].is_f64()) {
                near(low, &row["log_95_lawless_nadeau"][0], 1e-6, &what);
                near(high, &row["log_95_lawless_nadeau"][1], 1e-6, &what);
            }
        }
    }
    // Who enters later is not at risk before: by hand.
    let late = [Unit { from: 0.0, to: 10.0, failures: vec![2.0] }, Unit { from: 5.0, to: 12.0, failures: vec![8.0] }];
    let steps = mean_cumulative(&late);
    assert_eq!((steps[0].at_risk, steps[0].mean), (1, 1.0));
    assert_eq!((steps[1].at_risk, steps[1].mean), (2, 1.5));
    // Above and below the mean: a half less a quarter, and a quarter.
    assert!(steps[0].variance.abs() < 1e-12 && (steps[1].variance - 0.125).abs() < 1e-12);
}

#[test]
fn readings_that_drift() {
    for case in cases("mann_kendall_theil_sen") {
        let (data, expected) = (&case["data"], &case["expected"]);
        let id = case["id"].as_str().unwrap();
        let readings = numbers(&data["y"]);
        let test = rank_test(&readings).unwrap();
        assert_eq!(test.score, expected["S"].as_i64().unwrap(), "{id}");
        near(test.variance, &expected["var_S"], 1e-9, id);
        let exact = &expected["p_exact_two_sided"];
        near(test.p_value, if exact.is_f64() { exact } else { &expected["p_two_sided"] }, 1e-6, id);
        let points: Vec<(f64, f64)> = numbers(&data["x"]).into_iter().zip(readings).collect();
        let line = slope(&points, 0.95).unwrap();
        near(line.slope, &expected["slope"], 1e-9, id);
        let interval = &expected["slope_95_gilbert"];
        match line.range {
            Some((low, high)) => {
                near(low, &interval[0], 1e-8, id);
                near(high, &interval[1], 1e-8, id);
            }
            None => assert!(interval[0].is_null(), "{id}"),
        }
        near(line.at(0.0), &expected["intercept_conover"], 1e-9, id);
    }
    assert_eq!(rank_test(&[1.0, 2.0]), None);
    assert_eq!(rank_test(&[2.0; 12]).unwrap().p_value, 1.0);
    assert_eq!(slope(&[(1.0, 2.0), (1.0, 3.0)], 0.8), None);
}

/// Holm's and Benjamini and Hochberg's procedures on the ten chances of the latter's paper's kind, by hand.
#[test]
fn many_tests_at_once() {
    let tests: Vec<(f64, f64)> = [0.012, 0.04, 0.3, 0.001].iter().map(|p| (*p, 0.0125)).collect();
    // 0.001 ≤ 0.05/4, 0.012 ≤ 0.05/3, 0.04 > 0.05/2.
    assert_eq!(rejected_together(&tests), [true, false, false, true]);
    // With unequal weights: 0.02 is below the whole level left to it once the other is rejected.
    assert_eq!(rejected_together(&[(0.02, 0.03), (0.001, 0.02)]), [true, true]);
    assert_eq!(rejected_together(&[(0.04, 0.03), (0.9, 0.02)]), [false, false]);
    assert_eq!(discoveries(&[0.01, 0.02, 0.028, 0.9], 0.04), [true, true, true, false]);
    assert_eq!(discoveries(&[0.2, 0.5], 0.1), [false, false]);
    assert!(discoveries(&[], 0.1).is_empty() && rejected_together(&[]).is_empty());
}

/// What the test is said to find it finds, in simulated power laws.
#[test]
fn the_power_is_what_it_is_said_to_be() {
    let mut stream = ChaCha8Rng::seed_from_u64(11);
    for (failures, growth) in [(5usize, 2.0), (10, 2.0), (8, 3.0)] {
        let runs = 3000;
        let found = (0..runs)
            .filter(|_| {
                let mut at: Vec<f64> = (0..failures)
                    .map(|_| (((stream.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64).powf(1.0 / growth))
                    .collect();
                at.sort_by(f64::total_cmp);
                trend_test(&[Unit { from: 0.0, to: 1.0, failures: at }]).unwrap().p_worsening < 0.05
            })
            .count() as f64
            / f64::from(runs);
        let said = power_to_find(failures, growth, 0.05);
        assert!((found - said).abs() < 0.035, "{failures}, {growth}: {found} and {said}");
    }
}
