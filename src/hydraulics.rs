//! Pump and pipe hydraulics: what flow a pump gives in its loop, and what that flow means for the water.
//!
//! A spa's pump and its pipework settle at the one flow where the head the [`PumpCurve`] gives equals the
//! head the [`PipeLoop`] asks for; [`operating_point`] finds it. From that flow follow the turnover, the
//! velocities and the filter's rate. Head is always a length of the water being pumped.
//!
//! Pure physics: quantities with units in, quantities with units out. The module knows no records, no
//! limits and no wording of reports, reads no file, and fills nothing in: what cannot be computed is an
//! error or `None`.

mod curve;
mod monotone_cubic;
mod motor;
mod operating_point;
mod pipe;
mod pipe_loop;
mod water;

pub use curve::{CurveError, CurvePoint, PumpCurve};
pub use motor::{least_energy_factor, voltage_unbalance};
pub use operating_point::{MOST_EVALUATIONS, NoOperatingPoint, OperatingPoint, RESIDUAL_LIMIT_M, operating_point};
pub use pipe::{
    FITTINGS, Schedule40, SizeSystem, area_of_bore, fitting_k, flow_at_velocity, friction_head, minor_head,
    schedule_40, schedule_40_bore, velocity, wider_sizes,
};
pub use pipe_loop::{LoopError, PipeLoop, QuadraticDrop};
pub use water::{
    TemperatureOutOfRange, density, head_to_pressure, npsh_available, npsh_available_from_heads, pressure_to_head,
    saturation_vapour_pressure,
};

use uom::si::area::square_meter;
use uom::si::f64::{Area, Length, MassDensity, Power, Ratio, Time, Velocity, Volume, VolumeRate};
use uom::si::length::meter;
use uom::si::mass_density::kilogram_per_cubic_meter;
use uom::si::power::watt;
use uom::si::ratio::ratio;
use uom::si::time::{hour, second};
use uom::si::volume::cubic_meter;
use uom::si::volume_rate::{cubic_meter_per_hour, cubic_meter_per_second};

/// Standard acceleration of free fall, m/s² (exact by definition, 3rd CGPM 1901).
pub const STANDARD_GRAVITY_M_S2: f64 = 9.806_65;

/// Flow, head and shaft power of a pump at one speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpeedPoint {
    /// Flow through the pump.
    pub flow: VolumeRate,
    /// Head the pump adds.
    pub head: Length,
    /// Power at the shaft.
    pub power: Power,
}

/// The same point of a pump at another speed: flow with the speed ratio, head with its square, shaft
/// power with its cube (affinity laws; EPANET 2.2 manual, pump curves, for flow and head).
///
/// The point moves along a parabola through the origin. A loop with friction follows it only nearly, one
/// with static head not at all: for a pump in a loop use [`PumpCurve::at_speed`] and [`operating_point`].
pub fn affinity(flow: VolumeRate, head: Length, power: Power, speed_ratio: Ratio) -> SpeedPoint {
    SpeedPoint {
        flow: flow * speed_ratio,
        head: head * speed_ratio * speed_ratio,
        power: power * speed_ratio * speed_ratio * speed_ratio,
    }
}

/// Power the water takes up: density × g × flow × head ("water horsepower" when stated in hp).
pub fn water_power(flow: VolumeRate, head: Length, density: MassDensity) -> Power {
    Power::new::<watt>(
        density.get::<kilogram_per_cubic_meter>()
            * STANDARD_GRAVITY_M_S2
            * flow.get::<cubic_meter_per_second>()
            * head.get::<meter>(),
    )
}

/// Power at the shaft of a pump that gives `water_power` at this efficiency ("brake horsepower" when
/// stated in hp). `None` unless the efficiency is above 0 and at most 1.
pub fn brake_power(water_power: Power, pump_efficiency: Ratio) -> Option<Power> {
    let efficiency = pump_efficiency.get::<ratio>();
    (efficiency > 0.0 && efficiency <= 1.0).then(|| water_power / pump_efficiency)
}

/// Time in which the flow moves the whole volume once: volume / flow through the filter (the definition
/// of the Model Aquatic Health Code, 4.7.1.10.2). Infinite when nothing flows.
pub fn turnover_time(volume: Volume, flow: VolumeRate) -> Time {
    if flow.get::<cubic_meter_per_second>() > 0.0 { volume / flow } else { Time::new::<second>(f64::INFINITY) }
}

/// How many times a day the volume passes the filter at this flow and so many hours of running a day.
/// Zero when nothing flows. The volume must be above zero.
pub fn turnovers_per_day(volume: Volume, flow: VolumeRate, hours_per_day: f64) -> f64 {
    flow.get::<cubic_meter_per_hour>().max(0.0) * hours_per_day / volume.get::<cubic_meter>()
}

/// Flow for each unit of filter area, which has the dimension of a velocity. `None` unless the area is
/// above zero.
pub fn filter_rate(flow: VolumeRate, area: Area) -> Option<Velocity> {
    (area.get::<square_meter>() > 0.0).then(|| flow / area)
}

/// Filter area that keeps the flow at or below this rate. `None` unless the rate is above zero.
pub fn filter_area_needed(flow: VolumeRate, rate: Velocity) -> Option<Area> {
    (rate > Velocity::new::<uom::si::velocity::meter_per_second>(0.0)).then(|| flow / rate)
}

/// Time of running a day that moves the volume so many times. `None` when nothing flows.
pub fn running_time_for_turnovers(volume: Volume, flow: VolumeRate, turnovers: f64) -> Option<Time> {
    let once = turnover_time(volume, flow);
    once.get::<hour>().is_finite().then(|| once * turnovers)
}

#[cfg(test)]
mod tests {
    //! "Worked examples" in the comments is the project's sheet of published and cross-computed cases.

    use super::*;
    use uom::si::area::square_foot;
    use uom::si::length::foot;
    use uom::si::power::horsepower;
    use uom::si::thermodynamic_temperature::degree_celsius;
    use uom::si::time::minute;
    use uom::si::volume::gallon;
    use uom::si::volume_rate::gallon_per_minute;

    fn gpm(value: f64) -> VolumeRate {
        VolumeRate::new::<gallon_per_minute>(value)
    }
    fn feet(value: f64) -> Length {
        Length::new::<foot>(value)
    }
    fn hp(value: f64) -> Power {
        Power::new::<horsepower>(value)
    }
    #[track_caller]
    fn close(actual: f64, expected: f64, relative: f64) {
        assert!(
            (actual - expected).abs() <= relative * expected.abs(),
            "{actual} is not within {relative} of {expected}"
        );
    }
    fn cool_water() -> MassDensity {
        density(uom::si::f64::ThermodynamicTemperature::new::<degree_celsius>(20.0)).unwrap()
    }

    #[test]
    fn turnover_flow_of_a_public_spa() {
        // W-01: 600 gal in 30 min needs 20.0 gpm (MAHC 4.7.1.10.2; Iowa 641-15.51). Exact.
        let volume = Volume::new::<gallon>(600.0);
        close(turnover_time(volume, gpm(20.0)).get::<minute>(), 30.0, 1e-6);
        // Standards sheet, section 1: continuous running at 30/15/6 min is 48/96/240 turnovers a day.
        for (flow, each_day) in [(20.0, 48.0), (40.0, 96.0), (100.0, 240.0)] {
            close(turnovers_per_day(volume, gpm(flow), 24.0), each_day, 1e-6);
        }
        close(running_time_for_turnovers(volume, gpm(20.0), 4.0).unwrap().get::<hour>(), 2.0, 1e-6);
    }

    #[test]
    fn nothing_flowing_never_turns_the_water_over() {
        let volume = Volume::new::<gallon>(600.0);
        assert!(turnover_time(volume, gpm(0.0)).get::<minute>().is_infinite());
        assert!(turnover_time(Volume::new::<gallon>(0.0), gpm(0.0)).get::<minute>().is_infinite());
        assert_eq!(turnovers_per_day(volume, gpm(0.0), 24.0), 0.0);
        assert_eq!(running_time_for_turnovers(volume, gpm(0.0), 4.0), None);
    }

    #[test]
    fn clean_and_dirty_filter_turnover() {
        // 420 gal at 76.726 gpm (clean) and 61.075 gpm (dirty): 5.48 and 6.88 min.
        let volume = Volume::new::<gallon>(420.0);
        close(turnover_time(volume, gpm(76.726)).get::<minute>(), 5.48, 2e-3);
        close(turnover_time(volume, gpm(61.075)).get::<minute>(), 6.88, 2e-3);
    }

    #[test]
    fn affinity_examples() {
        // W-10: pump technical bulletin no. 33: 1700 to 2000 rpm. ±0.5 %.
        let faster = affinity(gpm(200.0), feet(60.0), hp(5.0), Ratio::new::<ratio>(2000.0 / 1700.0));
        close(faster.flow.get::<gallon_per_minute>(), 235.3, 5e-3);
        close(faster.head.get::<foot>(), 83.0, 5e-3);
        close(faster.power.get::<horsepower>(), 8.14, 5e-3);
        // 3450 to 1725 rpm. Exact.
        let half = affinity(gpm(80.0), feet(50.0), hp(1.5), Ratio::new::<ratio>(0.5));
        close(half.flow.get::<gallon_per_minute>(), 40.0, 1e-12);
        close(half.head.get::<foot>(), 12.5, 1e-12);
        close(half.power.get::<horsepower>(), 0.1875, 1e-12);
    }

    #[test]
    fn water_power_examples() {
        // W-11: engineering reference page: 20 gpm, 20 ft. ±0.5 %.
        let small = water_power(gpm(20.0), feet(20.0), cool_water());
        close(small.get::<horsepower>(), 0.101, 5e-3);
        // W-12: public water-planner calculator: 200 gpm, 100 ft; 5.06 with 3956, 5.05 with 3960. ±0.5 %.
        let large = water_power(gpm(200.0), feet(100.0), cool_water());
        close(large.get::<horsepower>(), 5.06, 5e-3);
        close(large.get::<horsepower>(), 5.05, 5e-3);
    }

    #[test]
    fn brake_power_examples() {
        // W-13: pump calculator page: 500 gpm, 120 ft, 72 %: 21.04 bhp. ±0.5 %.
        let water = water_power(gpm(500.0), feet(120.0), cool_water());
        let shaft = brake_power(water, Ratio::new::<ratio>(0.72)).unwrap();
        close(shaft.get::<horsepower>(), 21.04, 5e-3);
        // 60 gpm, 45 ft, 55 %: 0.6818 water hp, 1.2397 bhp. ±0.1 %.
        let water = water_power(gpm(60.0), feet(45.0), cool_water());
        close(water.get::<horsepower>(), 0.6818, 1e-3);
        let shaft = brake_power(water, Ratio::new::<ratio>(0.55)).unwrap();
        close(shaft.get::<horsepower>(), 1.2397, 1e-3);
        for efficiency in [0.0, -0.2, 1.01, f64::NAN] {
            assert_eq!(brake_power(water, Ratio::new::<ratio>(efficiency)), None);
        }
    }

    #[test]
    fn filter_area_and_rate() {
        // W-32: 20 gpm at 0.30, 0.375 and 15 gpm/ft2. ±0.1 %.
        for (rate, expected) in [(0.30, 66.7), (0.375, 53.3), (15.0, 1.333)] {
            let rate = gpm(rate) / Area::new::<square_foot>(1.0);
            let area = filter_area_needed(gpm(20.0), rate).unwrap();
            close(area.get::<square_foot>(), expected, 1e-3);
            let back = filter_rate(gpm(20.0), area).unwrap();
            close((back / rate).get::<ratio>(), 1.0, 1e-12);
        }
        assert_eq!(filter_rate(gpm(20.0), Area::new::<square_foot>(0.0)), None);
        assert_eq!(filter_area_needed(gpm(20.0), gpm(0.0) / Area::new::<square_foot>(1.0)), None);
    }
}
