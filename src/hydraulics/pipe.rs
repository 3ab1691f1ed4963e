//! One pipe: its bore, the velocity in it, and the head lost to friction and fittings.
//!
//! Friction is by Hazen–Williams, the common formula of the trade, which needs no viscosity; fittings go by
//! the velocity head. With C = 150 the friction of smooth pipe at 38 to 40 °C comes out 8 to 11 % too high:
//! an error towards too little flow. Sizes and coefficients are published ones; none is guessed for a size
//! or a name not in the tables.

use std::f64::consts::PI;

use uom::si::f64::{Area, Length, Velocity, VolumeRate};
use uom::si::length::{inch, meter, millimeter};
use uom::si::velocity::meter_per_second;
use uom::si::volume_rate::cubic_meter_per_second;

use super::STANDARD_GRAVITY_M_S2;

/// Nominal sizes with the bore of Schedule 40: nominal in inches, metric designation, bore in inches.
///
/// Bores are outside diameter − 2 × minimum wall of ASTM D1785 (equal to the nominal bores of ASME B36.10M):
/// 1.315 − 2 × 0.133, 1.660 − 2 × 0.140, 1.900 − 2 × 0.145, 2.375 − 2 × 0.154, 2.875 − 2 × 0.203,
/// 3.500 − 2 × 0.216, 4.500 − 2 × 0.237. The metric designations (DN) are those of ISO 6708.
const SCHEDULE_40: [(f64, f64, f64); 7] = [
    (1.0, 25.0, 1.049),
    (1.25, 32.0, 1.380),
    (1.5, 40.0, 1.610),
    (2.0, 50.0, 2.067),
    (2.5, 65.0, 2.469),
    (3.0, 80.0, 3.068),
    (4.0, 100.0, 4.026),
];

/// Loss coefficients K by name, on the velocity head in the loop's bore: about 2 in pipe, turbulent flow.
///
/// Two-K and three-K methods as in the project's sheet of published values; `union` is a common handbook
/// figure for a threaded union. `reducer` and `expander` are sharp and one size, from or to the next larger or
/// smaller pipe, on the velocity in the smaller. They are typical: makers' fittings differ by a third and more.
pub const FITTINGS: &[(&str, f64)] = &[
    ("elbow_90", 0.60),
    ("elbow_90_long", 0.30),
    ("elbow_45", 0.30),
    ("tee_run", 0.15),
    ("tee_branch", 1.17),
    ("gate_valve", 0.15),
    ("ball_valve", 0.07),
    ("check_valve", 2.2),
    ("entrance", 0.5),
    ("exit", 1.0),
    ("union", 0.08),
    ("reducer", 0.18),
    ("expander", 0.15),
];

/// Loss coefficient of a fitting of this name in [`FITTINGS`].
pub fn fitting_k(name: &str) -> Option<f64> {
    FITTINGS.iter().find(|(known, _)| *known == name).map(|(_, k)| *k)
}

/// How a nominal size was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SizeSystem {
    /// As a nominal pipe size in inches.
    Inch,
    /// As a metric designation (DN) of an inch size.
    ///
    /// Less certain: 32, 40 and 50 mm are outside diameters too in metric plastic pipe, whose bore is
    /// about a sixth smaller. Where it matters the bore should be stated.
    MetricDesignation,
}

/// A nominal size found in the Schedule 40 table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Schedule40 {
    /// The nominal size, as the length of so many inches.
    pub nominal: Length,
    /// The inside diameter.
    pub bore: Length,
    /// How the size given was read.
    pub read_as: SizeSystem,
}

/// The Schedule 40 pipe of a nominal size: 1, 1¼, 1½, 2, 2½, 3 or 4 in, or the metric designations of
/// these, 25, 32, 40, 50, 65, 80 or 100 mm.
///
/// `None` for any other size. 63, 75 and 90 mm are such: they are outside diameters of metric plastic
/// pipe, which has no Schedule 40, and whose bore depends on its pressure class.
pub fn schedule_40(nominal: Length) -> Option<Schedule40> {
    // Tight enough to tell 63 mm from 2½ in (63.5 mm), wide enough for inches rounded to 0.1 mm.
    const INCH_TOLERANCE_MM: f64 = 0.11;
    const METRIC_TOLERANCE_MM: f64 = 0.01;
    let given = nominal.get::<millimeter>();
    let is_near = |expected: f64, tolerance: f64| (given - expected).abs() <= tolerance;
    SCHEDULE_40.iter().find_map(|&(nominal_inch, designation_mm, bore_inch)| {
        let nominal = Length::new::<inch>(nominal_inch);
        let read_as = if is_near(nominal.get::<millimeter>(), INCH_TOLERANCE_MM) {
            SizeSystem::Inch
        } else if is_near(designation_mm, METRIC_TOLERANCE_MM) {
            SizeSystem::MetricDesignation
        } else {
            return None;
        };
        Some(Schedule40 { nominal, bore: Length::new::<inch>(bore_inch), read_as })
    })
}

/// The sizes wider than one, the next first.
pub fn wider_sizes(nominal: Length) -> impl Iterator<Item = Schedule40> {
    SCHEDULE_40.iter().filter_map(|&(inches, _, _)| schedule_40(Length::new::<inch>(inches))).filter(move |pipe| {
        // Of metric designations the nominal size is that in inches.
        schedule_40(nominal).is_some_and(|present| pipe.bore > present.bore)
    })
}

/// Inside diameter of [`schedule_40`] pipe of this nominal size.
pub fn schedule_40_bore(nominal: Length) -> Option<Length> {
    schedule_40(nominal).map(|pipe| pipe.bore)
}

/// Area of a round bore.
pub fn area_of_bore(bore: Length) -> Area {
    bore * bore * (PI / 4.0)
}

/// Mean velocity of a flow in a round bore, which must be above zero.
pub fn velocity(flow: VolumeRate, bore: Length) -> Velocity {
    flow / area_of_bore(bore)
}

/// The flow that has this mean velocity in a round bore.
pub fn flow_at_velocity(velocity: Velocity, bore: Length) -> VolumeRate {
    velocity * area_of_bore(bore)
}

/// Friction in a straight pipe by Hazen–Williams in its SI form, h = 10.67 L Q^1.852 / (C^1.852 d^4.8704),
/// with h, L and d in m and Q in m³/s (engineering reference pages). The published forms differ among
/// themselves by up to 1.2 %; this one is 0.15 % below that of the EPANET 2.2 manual.
///
/// Holds for water near room temperature in turbulent flow, roughly 1 to 3 m/s.
pub fn friction_head(flow: VolumeRate, bore: Length, length: Length, hazen_williams_c: f64) -> Length {
    let flow = flow.get::<cubic_meter_per_second>().max(0.0);
    length * (10.67 * (flow / hazen_williams_c).powf(1.852) / bore.get::<meter>().powf(4.8704))
}

/// Loss in fittings whose coefficients add up to `k`: K v² / 2 g.
pub fn minor_head(k: f64, velocity: Velocity) -> Length {
    let velocity = velocity.get::<meter_per_second>();
    Length::new::<meter>(k * velocity * velocity / (2.0 * STANDARD_GRAVITY_M_S2))
}

#[cfg(test)]
mod tests {
    use super::super::head_to_pressure;
    use super::*;
    use uom::si::f64::ThermodynamicTemperature;
    use uom::si::length::foot;
    use uom::si::pressure::psi;
    use uom::si::thermodynamic_temperature::degree_celsius;
    use uom::si::velocity::foot_per_second;
    use uom::si::volume_rate::gallon_per_minute;

    fn gpm(value: f64) -> VolumeRate {
        VolumeRate::new::<gallon_per_minute>(value)
    }
    fn feet(value: f64) -> Length {
        Length::new::<foot>(value)
    }
    fn inches(value: f64) -> Length {
        Length::new::<inch>(value)
    }
    fn bore(nominal: f64) -> Length {
        schedule_40_bore(inches(nominal)).unwrap()
    }
    #[track_caller]
    fn close(actual: f64, expected: f64, relative: f64) {
        assert!(
            (actual - expected).abs() <= relative * expected.abs(),
            "{actual} is not within {relative} of {expected}"
        );
    }

    #[test]
    fn schedule_40_friction_agrees_with_the_epanet_solver() {
        // 100 ft of PVC (wntr 1.5.0): nominal in, bore in, gpm, ft/s, head ft, psi at C 150,
        // head ft at C 140. ±1 %.
        for (nominal, bore_in, flow, ft_s, head_ft, pressure_psi, head_140_ft) in [
            (1.5, 1.610, 20.0, 3.152, 2.4635, 1.066, 2.799),
            (1.5, 1.610, 30.0, 4.728, 5.2201, 2.259, 5.932),
            (1.5, 1.610, 40.0, 6.304, 8.8933, 3.849, 10.106),
            (2.0, 2.067, 40.0, 3.824, 2.6332, 1.140, 2.992),
            (2.0, 2.067, 60.0, 5.737, 5.5797, 2.415, 6.340),
            (2.0, 2.067, 80.0, 7.649, 9.5060, 4.114, 10.802),
            (2.5, 2.469, 60.0, 4.021, 2.3478, 1.016, 2.668),
            (2.5, 2.469, 80.0, 5.361, 3.9999, 1.731, 4.545),
            (2.5, 2.469, 100.0, 6.701, 6.0468, 2.617, 6.871),
        ] {
            let bore = bore(nominal);
            close(bore.get::<inch>(), bore_in, 1e-9);
            close(velocity(gpm(flow), bore).get::<foot_per_second>(), ft_s, 5e-4);
            let head = friction_head(gpm(flow), bore, feet(100.0), 150.0);
            close(head.get::<foot>(), head_ft, 1e-2);
            let at_20 = ThermodynamicTemperature::new::<degree_celsius>(20.0);
            let pressure = head_to_pressure(head, at_20).unwrap();
            close(pressure.get::<psi>(), pressure_psi, 1e-2);
            let aged = friction_head(gpm(flow), bore, feet(100.0), 140.0);
            close(aged.get::<foot>(), head_140_ft, 1e-2);
        }
        // The note below the table: the SI 10.67 form gives 5.572 ft for X-05.
        let si_form = friction_head(gpm(60.0), bore(2.0), feet(100.0), 150.0);
        close(si_form.get::<foot>(), 5.572, 2e-4);
    }

    /// the head by Darcy and Weisbach with the viscosity of water (fluids 1.3.1, iapws 1.5.5; smooth
    /// pipe, 100 ft) at 20, 38 and 40 °C. Hazen–Williams knows no temperature: with C 150 it is right within 2 % of
    /// cool water and 7 to 12 % high for a spa's, so that the flow of a spa comes out a little low.
    #[test]
    fn warm_water_loses_less_than_hazen_williams_says() {
        for (nominal, flow, cool, at_38, at_40, computed) in [
            (1.5, 30.0, 5.257, 4.851, 4.814, 5.220),
            (2.0, 60.0, 5.485, 5.080, 5.043, 5.580),
            (2.5, 80.0, 3.916, 3.629, 3.603, 4.000),
        ] {
            let head = friction_head(gpm(flow), bore(nominal), feet(100.0), 150.0).get::<foot>();
            close(head, computed, 1e-2);
            close(head, cool, 2.5e-2);
            for warm in [at_38, at_40] {
                assert!((1.07..1.12).contains(&(head / warm)), "{nominal} in: {head} ft against {warm} ft");
                // Section 3.3 of the standards sheet: an equivalent C of 156 to 159.
                let fits = 150.0 * (head / warm).powf(1.0 / 1.852);
                assert!((155.5..159.5).contains(&fits), "{nominal} in: C {fits}");
            }
        }
    }

    #[test]
    fn friction_of_a_published_main() {
        // W-34: PVC main example: 6.0 in, 850 ft, 250 gpm, C 150: 3.71 ft, 2.84 ft/s. ±1 %.
        let head = friction_head(gpm(250.0), inches(6.0), feet(850.0), 150.0);
        close(head.get::<foot>(), 3.71, 1e-2);
        let speed = velocity(gpm(250.0), inches(6.0));
        close(speed.get::<foot_per_second>(), 2.84, 1e-2);
    }

    #[test]
    fn velocity_limited_flows() {
        // W-33: Schedule 40, gpm at 6 and 8 ft/s, ±0.5 %; a published chart within 3 %. The 10 ft/s and 3 in
        // figures are those of the standards sheet, 3.2.
        for (nominal, at_6, at_8, at_10) in
            [(1.5, 38.1, 50.8, 63.5), (2.0, 62.8, 83.7, 104.6), (2.5, 89.5, 119.4, 149.2), (3.0, 138.3, 184.3, 230.4)]
        {
            for (limit, expected) in [(6.0, at_6), (8.0, at_8), (10.0, at_10)] {
                let flow = flow_at_velocity(Velocity::new::<foot_per_second>(limit), bore(nominal));
                close(flow.get::<gallon_per_minute>(), expected, 5e-3);
            }
        }
        for (nominal, limit, chart) in [
            (1.5, 6.0, 37.0),
            (1.5, 8.0, 50.0),
            (2.0, 6.0, 63.0),
            (2.0, 8.0, 82.0),
            (2.5, 6.0, 88.0),
            (2.5, 8.0, 117.0),
        ] {
            let flow = flow_at_velocity(Velocity::new::<foot_per_second>(limit), bore(nominal));
            close(flow.get::<gallon_per_minute>(), chart, 3e-2);
        }
    }

    #[test]
    fn every_schedule_40_bore_fits_its_pipe() {
        // ASTM D1785: outside diameter and minimum wall, in.
        for (nominal, outside, wall) in [
            (1.0, 1.315, 0.133),
            (1.25, 1.660, 0.140),
            (1.5, 1.900, 0.145),
            (2.0, 2.375, 0.154),
            (2.5, 2.875, 0.203),
            (3.0, 3.500, 0.216),
            (4.0, 4.500, 0.237),
        ] {
            close(bore(nominal).get::<inch>(), outside - 2.0 * wall, 1e-9);
        }
    }

    #[test]
    fn metric_sizes() {
        let read = |size: f64| schedule_40(Length::new::<millimeter>(size));
        for (designation, nominal) in
            [(25.0, 1.0), (32.0, 1.25), (40.0, 1.5), (50.0, 2.0), (65.0, 2.5), (80.0, 3.0), (100.0, 4.0)]
        {
            let pipe = read(designation).unwrap();
            assert_eq!(pipe.read_as, SizeSystem::MetricDesignation);
            assert_eq!(pipe.nominal, inches(nominal));
            assert_eq!(pipe.bore, bore(nominal));
        }
        // Inches written in millimetres.
        for (size, nominal) in [(38.1, 1.5), (38.0, 1.5), (50.8, 2.0), (63.5, 2.5)] {
            let pipe = read(size).unwrap();
            assert_eq!(pipe.read_as, SizeSystem::Inch);
            assert_eq!(pipe.nominal, inches(nominal));
        }
        // Outside diameters of metric plastic pipe, and what is no size at all.
        for size in [63.0, 73.0, 75.0, 90.0, 110.0, 45.0, 0.0, -50.0, f64::NAN] {
            assert_eq!(read(size), None, "{size} mm");
        }
    }

    #[test]
    fn fittings_agree_with_the_correlations() {
        // fluids 1.3.1, two-K and three-K methods, 2 in, 60 gpm, 38 °C. The table is rounded.
        for (name, k) in
            [("elbow_90", 0.5995), ("elbow_90_long", 0.3027), ("check_valve", 2.2368), ("tee_branch", 1.1679)]
        {
            close(fitting_k(name).unwrap(), k, 2e-2);
        }
        // 2.5 in to 2 in, sharp, on the 2 in velocity; X-26: 1.5 in to 2 in, on the 1.5 in velocity, which is
        // (1 − (d/D)²)² (Borda and Carnot).
        for (name, k) in [("reducer", 0.1795), ("expander", 0.1547)] {
            close(fitting_k(name).unwrap(), k, 4e-2);
        }
        let widening = (1.0 - (bore(1.5) / bore(2.0)).value.powi(2)).powi(2);
        close(widening, 0.1547, 1e-3);
        // Standards sheet 3.3, typical K.
        for (name, k) in [
            ("entrance", 0.5),
            ("exit", 1.0),
            ("elbow_45", 0.30),
            ("tee_run", 0.15),
            ("gate_valve", 0.15),
            ("ball_valve", 0.07),
        ] {
            assert_eq!(fitting_k(name), Some(k));
        }
        assert!(fitting_k("union").is_some());
        assert_eq!(fitting_k("trombone"), None);
    }
}
