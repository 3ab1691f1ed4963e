use super::*;

/// Union gaskets at four sites, synthetic: the test of equal scales is far from rejecting (reference case
/// `common_shape_sites`, computed there with mpmath), so they are not told apart.
#[test]
fn groups_that_differ_by_chance_are_not_told_apart() {
    let all: Vec<serde_json::Value> =
        serde_json::from_str(include_str!("../../../tests/reference/lives.json")).unwrap();
    let case = all.iter().find(|c| c["id"] == "common_shape_sites").unwrap();
    let mut sites: BTreeMap<&str, Vec<Life>> = BTreeMap::new();
    let data = &case["data"];
    for ((site, at), failed) in data["site"]
        .as_array()
        .unwrap()
        .iter()
        .zip(data["times"].as_array().unwrap())
        .zip(data["event"].as_array().unwrap())
    {
        let at = at.as_f64().unwrap();
        let end = if failed.as_f64() == Some(1.0) { End::Failed(at) } else { End::Sound(at) };
        sites.entry(site.as_str().unwrap()).or_default().push(Life::from_new(end));
    }
    let groups: Vec<&[Life]> = sites.values().map(Vec::as_slice).collect();
    assert_eq!(difference(&groups, 1.5446), None);
}

/// Two models, one of which fails at a quarter of the other's age: told apart, and each close to its own.
#[test]
fn models_that_differ_have_their_own_lives() {
    use crate::stats::weibull::Weibull;
    let lives = |scale: f64| -> Vec<Life> {
        let weibull = Weibull { shape: 2.0, scale };
        (0..20)
            .map(|i| {
                let age = weibull.quantile((f64::from(i) + 0.5) / 20.0);
                Life::from_new(if age < 20_000.0 { End::Failed(age) } else { End::Sound(20_000.0) })
            })
            .collect()
    };
    let book = "format: 1\nparts:\n  shaft_seal: {fits: pump, interval: {hours: 14000 h}, wears_by: hours, shape: {low: 0.8, typical: 1.4, high: 4.0}}\n";
    let fleet = "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\n";
    let site = "format: 1\nspas: {s: {fitted: 2022-01-01, pumps: {p: {duty: jets, program: {run: 10 h/day}}}}}\n";
    crate::quantities::fleet_for_tests::load_with(
        &[("fleet.yaml", fleet), ("upkeep.yaml", book), ("sites/a.yaml", site)],
        "2025-12-31",
        |fleet, _, _| {
            let (_, part) = &fleet.book.parts.0[0];
            let gathered = |lives: Vec<Life>| {
                let mut gathered = Gathered::default();
                gathered.lives = lives;
                gathered
            };
            let of = |one: f64, other: f64| {
                let by_model = BTreeMap::from([
                    (Some("one".to_owned()), gathered(lives(one))),
                    (Some("other".to_owned()), gathered(lives(other))),
                    (Some("new".to_owned()), gathered(Vec::new())),
                ]);
                let all: Vec<Life> = by_model.values().flat_map(|g| g.lives.iter().copied()).collect();
                let together = kind_model(part, &gathered(all), None, None);
                (groups(part, &by_model, &together), together)
            };
            let (alike, _) = of(10_000.0, 10_000.0);
            assert!(alike.is_empty());
            let (apart, together) = of(5_000.0, 20_000.0);
            let middle = |kind: &KindModel| kind.posterior.as_ref().unwrap().quantiles_of([0.1, 0.5, 0.9], |w| w.scale);
            let [_, one, _] = middle(&apart["one"]);
            let [_, other, _] = middle(&apart["other"]);
            assert!((one / 5_000.0 - 1.0).abs() < 0.1, "{one}");
            assert!((other / 20_000.0 - 1.0).abs() < 0.15, "{other}");
            // A model without lives is believed to be like the others, and less surely.
            let [low, new, high] = middle(&apart["new"]);
            let [own_low, all, own_high] = middle(&together);
            assert!((new / all).ln().abs() < 0.7, "{new} {all}");
            assert!(high / low > 2.0 * own_high / own_low, "{low} {high}");
        },
    );
}
