//! Renewal functions, rates and ranges of counts against published and recomputed values:
//! `tests/reference/counts.json`, each with its source.

use serde_json::Value;

use super::counts::{Gamma, count_quantiles, likelihood, rate_of, rate_range, spread_of_rates};
use super::renewals::{Renewals, renewal_function};
use super::weibull::Weibull;

fn cases(method: &str) -> Vec<Value> {
    let all: Vec<Value> = serde_json::from_str(include_str!("../../tests/reference/counts.json")).unwrap();
    let found: Vec<Value> = all.into_iter().filter(|c| c["method"] == method).collect();
    assert!(!found.is_empty(), "{method}");
    found
}

fn number(value: &Value, field: &str) -> Option<f64> {
    value[field].as_f64()
}

#[test]
fn renewals_expected_of_a_new_and_of_an_aged_part() {
    for case in cases("renewal_cost") {
        let (data, expected) = (&case["data"], &case["expected"]);
        let id = case["id"].as_str().unwrap();
        let weibull = Weibull { shape: number(data, "beta").unwrap(), scale: 1.0 };
        let (reach, count) = (number(data, "T_over_eta").unwrap(), number(expected, "M").unwrap());
        let age = number(data, "age_over_eta").unwrap_or(0.0);
        if age == 0.0 {
            // The scheme itself, with one Richardson step as the source has it.
            let fine = *renewal_function(&weibull, reach, 2000).last().unwrap();
            let coarse = *renewal_function(&weibull, reach, 1000).last().unwrap();
            let found = fine + (fine - coarse) / 3.0;
            assert!((found / count - 1.0).abs() < 1e-6, "{id}: {found}");
        }
        // What is asked of every part is coarser: half a percent is nothing against what is not known.
        let outlook = Renewals::new(weibull, reach).outlook(age, reach, &[]);
        assert!((outlook.mean / count - 1.0).abs() < 5e-3, "{id}: {outlook:?}");
        if let Some(variance) = number(expected, "variance") {
            let found = outlook.square - outlook.mean * outlook.mean;
            assert!((found / variance - 1.0).abs() < 0.03, "{id}: {found} instead of {variance}");
            let chance = expected["P_at_least"][0].as_f64().unwrap();
            assert!((outlook.chance / chance - 1.0).abs() < 1e-9, "{id}: {outlook:?}");
        }
    }
}

#[test]
fn the_stock_that_serves() {
    for case in cases("poisson_spares") {
        let (data, expected) = (&case["data"], &case["expected"]);
        let level = number(data, "service_level").unwrap();
        let (mean, variance) = if let Some(mean) = number(data, "mean_demand") {
            (mean, mean)
        } else {
            let past = number(data, "past_exposure").unwrap();
            let rate = rate_of(number(data, "failures").unwrap(), past);
            let future = number(data, "future_exposure").unwrap();
            (rate.mean() * future, rate.mean() * future + rate.variance() * future * future)
        };
        let [stock] = count_quantiles(mean, variance, [level]);
        assert_eq!(Some(stock), number(expected, "stock"), "{}", case["id"]);
    }
}

#[test]
fn the_range_of_a_steady_rate() {
    for case in cases("hpp_mtbf") {
        let (data, expected) = (&case["data"], &case["expected"]);
        let (low, high) = rate_range(number(data, "failures").unwrap(), number(data, "total_time").unwrap(), 0.9);
        // The source gives mean times between failures: the inverses, in the other order.
        let ends = &expected["two_sided_90"];
        assert!((1.0 / high / ends[0].as_f64().unwrap() - 1.0).abs() < 1e-6, "{}: {high}", case["id"]);
        match ends[1].as_f64() {
            Some(end) => assert!((1.0 / low / end - 1.0).abs() < 1e-6, "{}: {low}", case["id"]),
            None => assert_eq!(low, 0.0),
        }
    }
}

#[test]
fn units_that_differ() {
    let case = &cases("pooling")[0];
    let (data, expected) = (&case["data"], &case["expected"]);
    let of = |field: &str| data[field].as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect::<Vec<f64>>();
    let units: Vec<(f64, f64)> = of("failures").into_iter().zip(of("exposure")).collect();
    let spread = spread_of_rates(&units).unwrap();
    let near = |found: f64, field: &str| {
        assert!((found / expected[field].as_f64().unwrap() - 1.0).abs() < 1e-5, "{field} {found}");
    };
    near(spread.shape, "a");
    near(spread.rate, "b");
    near(likelihood(&units, &spread), "loglik");
    for (i, (failures, exposure)) in units.iter().enumerate() {
        let unit = Gamma { shape: spread.shape + failures, rate: spread.rate + exposure };
        let wanted = expected["posterior_mean"][i].as_f64().unwrap();
        assert!((unit.mean() / wanted - 1.0).abs() < 1e-5, "{i}: {}", unit.mean());
        let low = expected["lower_95"][i].as_f64().unwrap();
        assert!((unit.quantile(0.025) / low - 1.0).abs() < 1e-4, "{i}: {}", unit.quantile(0.025));
    }
    // Units at one rate do not differ by more than chance.
    assert_eq!(spread_of_rates(&[(10.0, 100.0), (11.0, 100.0), (9.0, 100.0), (10.0, 100.0)]), None);
    assert_eq!(spread_of_rates(&[(0.0, 100.0), (0.0, 50.0)]), None);
}

/// One part that fails or not, two of them, and a hundred: by the binomial distribution's own sums.
#[test]
fn counts_narrower_than_a_poisson_one() {
    assert_eq!(count_quantiles(0.05, 0.05 * 0.95, [0.1, 0.9, 0.96]), [0.0, 0.0, 1.0]);
    assert_eq!(count_quantiles(0.95, 0.05 * 0.95, [0.04, 0.1, 0.9]), [0.0, 1.0, 1.0]);
    // Two at 0.5: 1/4, 1/2, 1/4.
    assert_eq!(count_quantiles(1.0, 0.5, [0.2, 0.7, 0.8]), [0.0, 1.0, 2.0]);
    // A hundred at 0.3, from tables of the binomial distribution: P(N ≤ 23) = 0.0755, P(N ≤ 24) = 0.1136,
    // P(N ≤ 35) = 0.8839, P(N ≤ 36) = 0.9201.
    assert_eq!(count_quantiles(30.0, 21.0, [0.1, 0.9]), [24.0, 36.0]);
    // A thousand: the normal distribution gives 1000 ± 1.2816 √1000.
    let [low, high] = count_quantiles(1000.0, 1000.0, [0.1, 0.9]);
    assert!((low - 959.5).abs() <= 1.5 && (high - 1040.5).abs() <= 1.5, "{low} {high}");
    assert_eq!(count_quantiles(0.0, 0.0, [0.1, 0.9]), [0.0, 0.0]);
}

/// The beliefs add up with that of being alike, which grows with units that are alike and goes where they are not.
#[test]
fn how_far_units_differ_is_believed_as_far_as_they_show_it() {
    let differ = |units: &[(f64, f64)]| -> f64 {
        let all = super::counts::spreads_of_rates(units).unwrap();
        assert!(all.iter().all(|(spread, weight)| *weight >= 0.0 && spread.shape > 0.0));
        all.iter().map(|(_, weight)| weight).sum()
    };
    let alike: Vec<(f64, f64)> = (0..200).map(|k| (f64::from(1 + k % 3), 2.0)).collect();
    assert!(differ(&alike) < 0.05, "{}", differ(&alike));
    let unlike: Vec<(f64, f64)> = (0..40).map(|k| (if k < 4 { 20.0 } else { 1.0 }, 2.0)).collect();
    assert!(differ(&unlike) > 0.99, "{}", differ(&unlike));
    let few = differ(&[(2.0, 1.0), (0.0, 1.0), (1.0, 1.0)]);
    assert!(few > 0.3 && few < 0.7, "{few}");
}
