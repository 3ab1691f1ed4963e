//! Properties of water at the temperatures of a spa, and what follows from them: heads, pressures and the
//! net positive suction head.
//!
//! Spa water is warm enough for the difference to matter: from 20 °C to 40 °C the vapour head rises by
//! half a metre. The published fits are used only inside 0 to 60 °C; outside, the answer is an error.
//! Dissolved salts are ignored (they change the density of spa water by about 0.1 %).

use thiserror::Error;
use uom::si::f64::{Length, MassDensity, Pressure, ThermodynamicTemperature};
use uom::si::length::meter;
use uom::si::mass_density::kilogram_per_cubic_meter;
use uom::si::pressure::pascal;
use uom::si::thermodynamic_temperature::{degree_celsius, kelvin};

use super::STANDARD_GRAVITY_M_S2;

const COLDEST_CELSIUS: f64 = 0.0;
const WARMEST_CELSIUS: f64 = 60.0;

/// A water temperature outside 0 to 60 °C.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
#[error(
    "water at {celsius:.1} °C is outside the range of the water properties, {COLDEST_CELSIUS} to {WARMEST_CELSIUS} °C"
)]
pub struct TemperatureOutOfRange {
    /// The temperature given, °C.
    pub celsius: f64,
}

/// The temperature in °C, if it is inside the range. A hair of tolerance lets 0 °C through whose
/// conversion from another scale was rounded.
fn celsius_in_range(temperature: ThermodynamicTemperature) -> Result<f64, TemperatureOutOfRange> {
    let celsius = temperature.get::<degree_celsius>();
    if (COLDEST_CELSIUS - 1e-9..=WARMEST_CELSIUS + 1e-9).contains(&celsius) {
        Ok(celsius)
    } else {
        Err(TemperatureOutOfRange { celsius })
    }
}

/// Density of air-free water at one atmosphere.
///
/// Source: G. S. Kell, "Density, thermal expansivity, and compressibility of liquid water from 0° to
/// 150 °C", J. Chem. Eng. Data 20 (1975) 97–105, the rational fit.
pub fn density(temperature: ThermodynamicTemperature) -> Result<MassDensity, TemperatureOutOfRange> {
    let t = celsius_in_range(temperature)?;
    // In nested (Horner) form, highest power innermost.
    let numerator = 999.839_52
        + t * (16.945_176 + t * (-7.987_040_1e-3 + t * (-46.170_461e-6 + t * (105.563_02e-9 + t * -280.542_53e-12))));
    Ok(MassDensity::new::<kilogram_per_cubic_meter>(numerator / (1.0 + 16.879_850e-3 * t)))
}

/// Saturation vapour pressure of water, absolute.
///
/// Source: W. Wagner, A. Pruß, J. Phys. Chem. Ref. Data 31 (2002) 387–535, equation 2.5 (the equation of
/// the IAPWS supplementary release SR1-86(1992)).
pub fn saturation_vapour_pressure(temperature: ThermodynamicTemperature) -> Result<Pressure, TemperatureOutOfRange> {
    const CRITICAL_TEMPERATURE_K: f64 = 647.096;
    const CRITICAL_PRESSURE_PA: f64 = 22.064e6;
    const TERMS: [(f64, f64); 6] = [
        (-7.859_517_83, 1.0),
        (1.844_082_59, 1.5),
        (-11.786_649_7, 3.0),
        (22.680_741_1, 3.5),
        (-15.961_871_9, 4.0),
        (1.801_225_02, 7.5),
    ];
    celsius_in_range(temperature)?;
    let absolute = temperature.get::<kelvin>();
    let theta = 1.0 - absolute / CRITICAL_TEMPERATURE_K;
    let sum: f64 = TERMS.iter().map(|(coefficient, exponent)| coefficient * theta.powf(*exponent)).sum();
    Ok(Pressure::new::<pascal>(CRITICAL_PRESSURE_PA * (CRITICAL_TEMPERATURE_K / absolute * sum).exp()))
}

/// Height of a column of water at this temperature that the pressure holds up: p / (ρ g).
pub fn pressure_to_head(
    pressure: Pressure,
    temperature: ThermodynamicTemperature,
) -> Result<Length, TemperatureOutOfRange> {
    let density = density(temperature)?.get::<kilogram_per_cubic_meter>();
    Ok(Length::new::<meter>(pressure.get::<pascal>() / (density * STANDARD_GRAVITY_M_S2)))
}

/// Pressure at the foot of a column of water at this temperature: ρ g h.
pub fn head_to_pressure(
    head: Length,
    temperature: ThermodynamicTemperature,
) -> Result<Pressure, TemperatureOutOfRange> {
    let density = density(temperature)?.get::<kilogram_per_cubic_meter>();
    Ok(Pressure::new::<pascal>(head.get::<meter>() * density * STANDARD_GRAVITY_M_S2))
}

/// Net positive suction head available at a pump: (atmospheric − vapour pressure) / (ρ g) + level above
/// the pump − suction losses (Hydraulic Institute's definition without the velocity head).
///
/// `level_above_pump` is negative where the pump stands above the water. The velocity head in the suction
/// pipe is left out, as the published examples do.
pub fn npsh_available(
    atmospheric_pressure: Pressure,
    temperature: ThermodynamicTemperature,
    level_above_pump: Length,
    suction_losses: Length,
) -> Result<Length, TemperatureOutOfRange> {
    let vapour_pressure = saturation_vapour_pressure(temperature)?;
    Ok(npsh_available_from_heads(
        pressure_to_head(atmospheric_pressure, temperature)?,
        pressure_to_head(vapour_pressure, temperature)?,
        level_above_pump,
        suction_losses,
    ))
}

/// [`npsh_available`] from heads already known.
pub fn npsh_available_from_heads(
    atmospheric_head: Length,
    vapour_head: Length,
    level_above_pump: Length,
    suction_losses: Length,
) -> Length {
    atmospheric_head - vapour_head + level_above_pump - suction_losses
}

#[cfg(test)]
mod tests {
    use super::*;
    use uom::si::length::foot;
    use uom::si::pressure::{kilopascal, psi};
    use uom::si::thermodynamic_temperature::degree_fahrenheit;

    fn celsius(value: f64) -> ThermodynamicTemperature {
        ThermodynamicTemperature::new::<degree_celsius>(value)
    }
    fn feet(value: f64) -> Length {
        Length::new::<foot>(value)
    }
    #[track_caller]
    fn within(actual: f64, expected: f64, allowed: f64) {
        assert!((actual - expected).abs() <= allowed, "{actual} is not within {allowed} of {expected}");
    }

    #[test]
    fn properties_match_iapws_if97() {
        // Standards sheet 3.5 (IAPWS-IF97): °C, density kg/m3, vapour pressure kPa, vapour head ft.
        for (temperature, expected_density, vapour_kpa, vapour_ft) in [
            (20.0, 998.21, 2.339, 0.784),
            (25.0, 997.05, 3.170, 1.064),
            (30.0, 995.65, 4.247, 1.427),
            (35.0, 994.04, 5.629, 1.894),
            (38.0, 992.97, 6.632, 2.235),
            (40.0, 992.22, 7.384, 2.490),
        ] {
            let at = celsius(temperature);
            within(density(at).unwrap().get::<kilogram_per_cubic_meter>(), expected_density, 0.05);
            let vapour = saturation_vapour_pressure(at).unwrap();
            within(vapour.get::<kilopascal>(), vapour_kpa, 0.005 * vapour_kpa);
            let head = pressure_to_head(vapour, at).unwrap();
            within(head.get::<foot>(), vapour_ft, 0.005 * vapour_ft);
        }
    }

    #[test]
    fn the_ends_of_the_range_are_inside_and_beyond_is_an_error() {
        // 32 °F and 140 °F are the ends of the range by another scale.
        for fahrenheit in [32.0, 140.0] {
            let at = ThermodynamicTemperature::new::<degree_fahrenheit>(fahrenheit);
            assert!(density(at).is_ok(), "{fahrenheit} °F");
        }
        // Kell's table: 999.8396 kg/m3 at 0 °C (the fit's own constant term).
        within(density(celsius(0.0)).unwrap().get::<kilogram_per_cubic_meter>(), 999.84, 0.005);
        for outside in [-0.1, 60.1, f64::NAN] {
            assert!(density(celsius(outside)).is_err());
            assert!(saturation_vapour_pressure(celsius(outside)).is_err());
            assert!(pressure_to_head(Pressure::new::<psi>(1.0), celsius(outside)).is_err());
        }
        assert_eq!(
            density(celsius(72.0)).unwrap_err().to_string(),
            "water at 72.0 °C is outside the range of the water properties, 0 to 60 °C"
        );
    }

    #[test]
    fn one_psi_of_water() {
        // Standards sheet 3.4: 1 psi is 2.311 ft at 20 °C and 2.325 ft at 40 °C; 2.309 ft at 60 °F.
        let pressure = Pressure::new::<psi>(1.0);
        let fahrenheit_60 = ThermodynamicTemperature::new::<degree_fahrenheit>(60.0);
        for (at, expected) in [(celsius(20.0), 2.311), (celsius(40.0), 2.325), (fahrenheit_60, 2.309)] {
            let head = pressure_to_head(pressure, at).unwrap();
            within(head.get::<foot>(), expected, 0.001);
            within(head_to_pressure(head, at).unwrap().get::<psi>(), 1.0, 1e-12);
        }
    }

    #[test]
    fn npsh_from_published_heads() {
        // Atmospheric, vapour, level, losses, expected; ft. The tolerance is that of the printed answer.
        for (atmospheric, vapour, level, losses, expected, tolerance) in [
            // W-14, W-15: water and wastewater plant operations handbook, s. 10.2.12.1.1, example 10.11.
            (34.0, 0.6, 15.0, 0.4 + 2.0, 46.0, 0.05),
            (34.0, 0.6, -20.0, 0.4 + 2.0, 11.0, 0.05),
            // W-16, W-17: pump-user handbook, NPSH chapter.
            (33.9, 0.839, 6.0, 2.0 + 2.0, 35.061, 0.0005),
            (26.2, 0.411, -8.0, 1.0 + 2.0, 14.789, 0.0005),
        ] {
            let npsh = npsh_available_from_heads(feet(atmospheric), feet(vapour), feet(level), feet(losses));
            within(npsh.get::<foot>(), expected, tolerance);
        }
    }

    #[test]
    fn npsh_from_water_properties() {
        // X-27 to X-31 (IAPWS-IF97): °C, kPa, level ft, losses ft, atmospheric head ft, NPSHa ft. ±0.5 %.
        for (temperature, atmospheric, level, losses, atmospheric_ft, expected) in [
            (20.0, 101.325, 2.0, 4.0, 33.959, 31.175),
            (40.0, 101.325, 2.0, 4.0, 34.164, 29.674),
            (38.0, 101.325, 1.5, 3.2, 34.138, 30.204),
            (40.0, 84.56, 1.0, 4.0, 28.512, 23.022),
            (40.0, 101.325, -3.0, 5.0, 34.164, 23.674),
        ] {
            let at = celsius(temperature);
            let pressure = Pressure::new::<kilopascal>(atmospheric);
            let head = pressure_to_head(pressure, at).unwrap();
            within(head.get::<foot>(), atmospheric_ft, 0.005);
            let npsh = npsh_available(pressure, at, feet(level), feet(losses)).unwrap();
            within(npsh.get::<foot>(), expected, 0.005 * expected);
        }
    }
}
