//! Two figures of pump motors that codes speak of: the least energy factor of a pool filter pump, and the unbalance of a
//! three-phase supply.
//!
//! They exist so that whoever compares pumps or looks at a hot motor has them with their sources. No report rests on them:
//! rigid electric spa pumps have no such limit, and the records hold no voltage of each phase. They must not judge.

use uom::si::f64::{ElectricPotential, Power, Ratio};
use uom::si::power::horsepower;
use uom::si::ratio::ratio;

/// A hydraulic horsepower up to which the least energy factor is one number.
const SMALL: f64 = 0.13;
/// A hydraulic horsepower from which the steeper of the two curves holds.
const LARGE: f64 = 0.711;
/// A hydraulic horsepower from which the rule does not speak.
const MOST: f64 = 2.5;

/// The least weighted energy factor of a self-priming, single-phase pool filter pump of this hydraulic power, in thousands of
/// US gallons a kilowatt-hour (10 CFR 431.465, text in force until 5 August 2024). `None` where the rule does not speak.
pub fn least_energy_factor(water_power: Power) -> Option<f64> {
    let power = water_power.get::<horsepower>();
    // Watts do not hold every horsepower exactly.
    let at_least = |step: f64| power >= step * (1.0 - 1e-12);
    if power.is_nan() || power <= 0.0 || at_least(MOST) {
        return None;
    }
    Some(if power <= SMALL * (1.0 + 1e-12) {
        5.55
    } else if at_least(LARGE) {
        -2.30 * power.ln() + 6.59
    } else {
        -1.30 * power.ln() + 2.90
    })
}

/// The largest deviation of three voltages from their mean over that mean (NEMA MG 1; recalled). `None` unless the mean is
/// above zero.
pub fn voltage_unbalance(voltages: [ElectricPotential; 3]) -> Option<Ratio> {
    let mean = (voltages[0] + voltages[1] + voltages[2]) / 3.0;
    let worst = voltages.into_iter().map(|voltage| (voltage - mean).abs().value).fold(0.0, f64::max);
    (mean.value > 0.0).then(|| Ratio::new::<ratio>(worst / mean.value))
}

#[cfg(test)]
mod tests {
    use super::*;
    use uom::si::electric_potential::volt;
    use uom::si::ratio::percent;

    /// W-19: the formulas of 10 CFR 431.465, values computed, ±0.001.
    #[test]
    fn the_least_energy_factor_by_the_rule() {
        for (power, factor) in [
            (0.10, 5.55),
            (0.13, 5.55),
            (0.20, 4.992),
            (0.50, 3.801),
            (0.711, 7.374),
            (0.75, 7.252),
            (1.0, 6.590),
            (1.5, 5.657),
            (2.0, 4.996),
        ] {
            let least = least_energy_factor(Power::new::<horsepower>(power)).unwrap();
            assert!((least - factor).abs() <= 0.001, "{power}: {least}");
        }
        assert_eq!(least_energy_factor(Power::new::<horsepower>(2.5)), None);
        assert_eq!(least_energy_factor(Power::new::<horsepower>(0.0)), None);
    }

    /// W-31: US DOE motor tip sheet (recalled): 462, 463 and 455 V, mean 460, 1.09 %.
    #[test]
    fn an_unbalanced_supply() {
        let unbalance = voltage_unbalance([462.0, 463.0, 455.0].map(ElectricPotential::new::<volt>)).unwrap();
        assert!((unbalance.get::<percent>() - 1.087).abs() < 0.005);
        assert_eq!(voltage_unbalance([0.0; 3].map(ElectricPotential::new::<volt>)), None);
    }
}
