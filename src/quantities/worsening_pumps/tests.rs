use crate::quantities::expected_failures::DAYS;
use crate::quantities::fleet_for_tests::load_with;
use crate::stats::counts::mixed;

const FLEET: &str = "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\n";
const BOOK: &str = "format: 1
parts:
  shaft_seal: {fits: pump, interval: {hours: 14000 h}, wears_by: hours}
  motor_bearing: {fits: pump, interval: {hours: 25000 h}, wears_by: hours}
";

fn with_failing_seal<T>(then: impl FnOnce(&crate::site::SiteFigures) -> T) -> T {
    let days = ["2024-11-01", "2025-05-01", "2025-09-01", "2025-10-15", "2025-11-20", "2025-12-20"];
    let log: String = days
        .iter()
        .map(|day| {
            format!(
                "  - {{date: {day}, at: {{s/p: {{renewed: {{shaft_seal: {{because: failure, noticed: in_use}}}}}}}}}}\n"
            )
        })
        .collect();
    let pump = "{duty: jets, program: {run: 10 h/day}}";
    let site = format!(
        "format: 1\nrecords_from: 2022-01-01\nspas:\n  s:\n    fitted: 2022-01-01\n    pumps:\n      p: {pump}\n      q: {pump}\n      r: {pump}\nlog:\n{log}"
    );
    load_with(
        &[("fleet.yaml", FLEET), ("upkeep.yaml", BOOK), ("sites/a.yaml", &site)],
        "2025-12-31",
        |_, figures, _| then(figures),
    )
}

/// Of a pump whose seal fails more and more often, parts and what no part explains add up to the pump's count, as of any pump; the
/// bearing, which has not failed in it, is as in its like; the seal's chance and count lie between the two stories, at their chance.
#[test]
fn the_parts_of_a_pump_that_gets_worse_add_up_to_its_count() {
    with_failing_seal(|figures| {
        let lives = figures.lives;
        let (site, at) = (&figures.site.id, &figures.pumps_to_come[0].0);
        let own = lives.worsening(site, at).unwrap();
        assert!(own.chance > 0.1 && own.chance < 1.0, "{}", own.chance);
        let mut steady = lives.clone();
        steady.worsening.clear();
        let mut sum = lives.residual.unwrap().fleet.mean() * 3650.0;
        for due in figures.parts.iter().filter(|due| due.part.at == *at) {
            let alone = steady.part_outlook(&due.part, Some(3650.0)).unwrap();
            let (chance, expected) = (due.fail_12mo.unwrap(), due.failures_12mo.unwrap());
            sum += expected;
            if due.part.id.as_str() == "shaft_seal" {
                let (of_own, mean) = (own.growing.chance(3650.0, 1.0), own.growing.to_come(0.0, 3650.0, 1.0).0);
                assert!((chance - own.chance * of_own - (1.0 - own.chance) * alone.chance).abs() < 1e-3, "{chance}");
                assert!(
                    (expected - own.chance * mean - (1.0 - own.chance) * alone.expected).abs() < 1e-2,
                    "{expected}"
                );
                assert!(expected > 1.3 * alone.expected, "{expected} {alone:?}");
            } else {
                assert!((chance - alone.chance).abs() < 1e-6 && (expected - alone.expected).abs() < 1e-6, "{chance}");
            }
        }
        let outlook = figures.pumps_to_come[0].1.as_ref().unwrap();
        assert!((outlook.failures.expected / sum - 1.0).abs() < 1e-3, "{outlook:?} {sum}");
        assert!(lives.worsening(site, &figures.pumps_to_come[1].0).is_none());
    });
}

/// The range carries that there are two stories: the count has the mean and the variance of their mixture, also where it is added to
/// that of other pumps, which share what is not known of the kind with the steady one.
#[test]
fn a_count_has_the_variance_of_both_stories() {
    with_failing_seal(|figures| {
        let lives = figures.lives;
        let mut steady = lives.clone();
        steady.worsening.clear();
        let pumps = &figures.spas[0].pumps;
        let seal_of = |pump: usize| {
            let parts = figures.parts.iter().map(|due| &due.part);
            let found: Vec<_> = parts.filter(|p| p.at == pumps[pump].at && p.id.as_str() == "shaft_seal").collect();
            vec![(found[0], Vec::new())]
        };
        // Without what no part explains, which is the same in both.
        let [mut lives, mut steady] = [lives.clone(), steady];
        (lives.residual, steady.residual) = (None, None);
        let site = &figures.site.id;
        let of =
            |lives: &super::FleetLives, pump: usize| lives.pump_tally(site, &pumps[pump], &seal_of(pump), 3650.0, DAYS);
        let own = lives.worsening(site, &pumps[0].at).unwrap();
        let close = |one: (f64, f64), other: (f64, f64)| {
            assert!((one.0 / other.0 - 1.0).abs() < 1e-9 && (one.1 / other.1 - 1.0).abs() < 1e-9, "{one:?} {other:?}");
        };
        let alone = of(&steady, 0).moments(&steady);
        let wanted = mixed(own.chance, own.to_come(3650.0, DAYS), alone);
        close(of(&lives, 0).moments(&lives), wanted);
        // With another pump's seal the covariance of the two is that of the steady story, in its share.
        let other = of(&steady, 1).moments(&steady);
        let mut both_steady = of(&steady, 0);
        both_steady.add(&of(&steady, 1));
        let shared = both_steady.moments(&steady).1 - alone.1 - other.1;
        assert!(shared > 0.0);
        let mut both = of(&lives, 0);
        both.add(&of(&lives, 1));
        close(both.moments(&lives), (wanted.0 + other.0, wanted.1 + other.1 + (1.0 - own.chance) * shared));
    });
}
