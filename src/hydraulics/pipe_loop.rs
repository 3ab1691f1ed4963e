//! The head a loop of pipe, fittings, heater and filter asks for at each flow.
//!
//! Heater and filter are a drop stated at one flow that goes with its square. What the figures of a loop
//! cannot know (bends hidden in the shell, jets, scale) one measured flow can: a calibration factor on all
//! that is lost. A flow below zero counts as none, since a loop has its pump at one end.

use thiserror::Error;
use uom::si::f64::{Length, VolumeRate};
use uom::si::length::meter;
use uom::si::volume_rate::cubic_meter_per_second;

use super::curve::PumpCurve;
use super::pipe::{friction_head, minor_head, velocity};

/// A loss stated at one flow (a heater, a filter), which goes with the square of the flow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct QuadraticDrop {
    /// The loss of head at that flow.
    pub head: Length,
    /// The flow at which it is stated.
    pub at_flow: VolumeRate,
}

impl QuadraticDrop {
    /// The loss at another flow.
    pub fn head_at(&self, flow: VolumeRate) -> Length {
        let part = flow.value.max(0.0) / self.at_flow.value;
        self.head * (part * part)
    }
}

/// Why a loop cannot be computed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum LoopError {
    /// The bore is not above zero.
    #[error("the pipe's bore must be above zero")]
    Bore,
    /// The length is below zero.
    #[error("the pipe's length must not be below zero")]
    Length,
    /// The coefficient is not above zero.
    #[error("the pipe's Hazen–Williams C must be above zero")]
    HazenWilliamsC,
    /// The coefficient is below zero.
    #[error("the sum of the fittings' loss coefficients must not be below zero")]
    FittingsK,
    /// The static head is not a number.
    #[error("the static head must be a number")]
    StaticHead,
    /// A drop is below zero, or stated at no flow.
    #[error("drop {number} must be a loss of zero or more, stated at a flow above zero")]
    Drop {
        /// Which of the drops, counted from 1.
        number: usize,
    },
    /// The calibration factor is not above zero.
    #[error("the factor on the loop's losses must be above zero")]
    LossFactor,
}

/// A loop of pipe as one run of a single bore.
#[derive(Debug, Clone, PartialEq)]
pub struct PipeLoop {
    /// Inside diameter.
    pub bore: Length,
    /// Length of straight pipe, both ways.
    pub length: Length,
    /// Hazen–Williams C: about 150 for new, 140 for aged PVC.
    pub hazen_williams_c: f64,
    /// Sum of the fittings' loss coefficients.
    pub fittings_k: f64,
    /// Height to which the water is lifted and not returned; zero for a closed loop.
    pub static_head: Length,
    /// Losses stated at a flow, such as those of heater and filter.
    pub drops: Vec<QuadraticDrop>,
    /// Factor on all losses but the static head: 1 as computed, else from [`PipeLoop::calibration`].
    pub loss_factor: f64,
}

impl PipeLoop {
    /// Plain pipe: no fittings, no drops, no static head, not calibrated.
    pub fn new(bore: Length, length: Length, hazen_williams_c: f64) -> Self {
        Self {
            bore,
            length,
            hazen_williams_c,
            fittings_k: 0.0,
            static_head: Length::new::<meter>(0.0),
            drops: Vec::new(),
            loss_factor: 1.0,
        }
    }

    /// Whether every figure is one a loop can have. [`PipeLoop::head`] means nothing for one that fails.
    pub fn check(&self) -> Result<(), LoopError> {
        let above_zero = |value: f64| value.is_finite() && value > 0.0;
        let not_below_zero = |value: f64| value.is_finite() && value >= 0.0;
        if !above_zero(self.bore.value) {
            return Err(LoopError::Bore);
        }
        if !not_below_zero(self.length.value) {
            return Err(LoopError::Length);
        }
        if !above_zero(self.hazen_williams_c) {
            return Err(LoopError::HazenWilliamsC);
        }
        if !not_below_zero(self.fittings_k) {
            return Err(LoopError::FittingsK);
        }
        if !self.static_head.is_finite() {
            return Err(LoopError::StaticHead);
        }
        if let Some(index) =
            self.drops.iter().position(|drop| !(not_below_zero(drop.head.value) && above_zero(drop.at_flow.value)))
        {
            return Err(LoopError::Drop { number: index + 1 });
        }
        if !above_zero(self.loss_factor) {
            return Err(LoopError::LossFactor);
        }
        Ok(())
    }

    /// Head the loop asks for at this flow: static head, and all that goes with the flow.
    pub fn head(&self, flow: VolumeRate) -> Length {
        self.static_head + self.losses(flow)
    }

    /// Head lost at this flow to friction, fittings and drops, without the static head.
    pub fn losses(&self, flow: VolumeRate) -> Length {
        let flow = flow.max(VolumeRate::new::<cubic_meter_per_second>(0.0));
        let pipe = friction_head(flow, self.bore, self.length, self.hazen_williams_c)
            + minor_head(self.fittings_k, velocity(flow, self.bore));
        let computed = self.drops.iter().fold(pipe, |sum, drop| sum + drop.head_at(flow));
        computed * self.loss_factor
    }

    /// The same loop with all losses but the static head multiplied by the factor.
    #[must_use]
    pub fn calibrated_by(&self, factor: f64) -> Self {
        Self { loss_factor: self.loss_factor * factor, ..self.clone() }
    }

    /// The factor for [`PipeLoop::calibrated_by`] that makes the loop meet the curve at a measured flow.
    ///
    /// `None` where no factor can: no flow, a flow at which the pump has no head left above the static
    /// head, or a loop without losses.
    pub fn calibration(&self, measured_flow: VolumeRate, curve: &PumpCurve) -> Option<f64> {
        self.check().ok()?;
        let losses = self.losses(measured_flow);
        let available = curve.head(measured_flow) - self.static_head;
        let factor = available.value / losses.value;
        (measured_flow.value > 0.0 && losses.value > 0.0 && factor.is_finite() && factor > 0.0).then_some(factor)
    }
}
#[cfg(test)]
mod tests {
    use super::super::{CurvePoint, schedule_40_bore};
    use super::*;
    use uom::si::length::{foot, inch};
    use uom::si::volume_rate::{gallon_per_minute, liter_per_minute};

    fn gpm(value: f64) -> VolumeRate {
        VolumeRate::new::<gallon_per_minute>(value)
    }
    fn lpm(value: f64) -> VolumeRate {
        VolumeRate::new::<liter_per_minute>(value)
    }
    fn feet(value: f64) -> Length {
        Length::new::<foot>(value)
    }
    fn metres(value: f64) -> Length {
        Length::new::<meter>(value)
    }
    fn bore(nominal: f64) -> Length {
        schedule_40_bore(Length::new::<inch>(nominal)).unwrap()
    }
    #[track_caller]
    fn close(actual: f64, expected: f64, relative: f64) {
        assert!(
            (actual - expected).abs() <= relative * expected.abs(),
            "{actual} is not within {relative} of {expected}"
        );
    }

    #[test]
    fn a_filter_drop_is_the_loss_coefficient_of_the_worked_examples() {
        // 5 psi at 60 gpm in the 2 in bore is K 22.6, 14 psi is K 63.3; 1 psi is 2.311 ft.
        for (drop_psi, k) in [(5.0, 22.6), (14.0, 63.3)] {
            let drop = QuadraticDrop { head: feet(drop_psi * 2.311), at_flow: gpm(60.0) };
            for flow in [30.0, 60.0, 80.0] {
                let by_k = minor_head(k, velocity(gpm(flow), bore(2.0)));
                close(drop.head_at(gpm(flow)).get::<foot>(), by_k.get::<foot>(), 5e-3);
            }
        }
    }

    #[test]
    fn the_parts_of_a_loop_add_up() {
        let plain = PipeLoop::new(bore(2.0), feet(80.0), 150.0);
        let fitted = PipeLoop {
            fittings_k: 12.0,
            static_head: metres(0.4),
            drops: vec![
                QuadraticDrop { head: metres(0.6), at_flow: lpm(100.0) },
                QuadraticDrop { head: metres(0.9), at_flow: lpm(110.0) },
            ],
            ..plain.clone()
        };
        let flow = lpm(200.0);
        let losses = friction_head(flow, bore(2.0), feet(80.0), 150.0)
            + minor_head(12.0, velocity(flow, bore(2.0)))
            + metres(0.6 * 4.0)
            + metres(0.9 * (200.0_f64 / 110.0).powi(2));
        close(fitted.head(flow).get::<meter>(), losses.get::<meter>() + 0.4, 1e-12);
        close(fitted.calibrated_by(1.5).head(flow).get::<meter>(), 1.5 * losses.get::<meter>() + 0.4, 1e-12);
        // Nothing flowing, or flowing backwards, asks for the static head alone.
        for flow in [0.0, -10.0] {
            assert_eq!(fitted.head(lpm(flow)), metres(0.4));
        }
        assert_eq!(plain.head(lpm(0.0)), metres(0.0));
    }

    #[test]
    fn what_is_no_loop_is_named() {
        let good = PipeLoop::new(bore(2.0), metres(9.0), 150.0);
        assert_eq!(good.check(), Ok(()));
        let bad = |change: fn(&mut PipeLoop)| {
            let mut pipes = good.clone();
            change(&mut pipes);
            pipes.check().unwrap_err()
        };
        assert_eq!(bad(|p| p.bore = metres(0.0)), LoopError::Bore);
        assert_eq!(bad(|p| p.length = metres(-1.0)), LoopError::Length);
        assert_eq!(bad(|p| p.hazen_williams_c = f64::NAN), LoopError::HazenWilliamsC);
        assert_eq!(bad(|p| p.fittings_k = -0.1), LoopError::FittingsK);
        assert_eq!(bad(|p| p.static_head = metres(f64::INFINITY)), LoopError::StaticHead);
        assert_eq!(
            bad(|p| p.drops = vec![QuadraticDrop { head: metres(1.0), at_flow: lpm(0.0) }]),
            LoopError::Drop { number: 1 }
        );
        assert_eq!(bad(|p| p.loss_factor = 0.0), LoopError::LossFactor);
    }

    #[test]
    fn calibration_needs_a_flow_the_pump_can_give() {
        let curve = PumpCurve::new(&[CurvePoint { flow: lpm(100.0), head: metres(6.0) }]).unwrap();
        let pipes = PipeLoop { static_head: metres(1.0), ..PipeLoop::new(bore(2.0), metres(9.0), 150.0) };
        let flow = lpm(100.0);
        let factor = pipes.calibration(flow, &curve).unwrap();
        close(pipes.calibrated_by(factor).head(flow).get::<meter>(), 6.0, 1e-12);
        // Calibrating again asks for no change.
        let again = pipes.calibrated_by(factor).calibration(flow, &curve);
        close(again.unwrap(), 1.0, 1e-12);
        // No flow; past runout at 200 L/min; where under 1 m of head is left.
        for flow in [0.0, -50.0, 200.0, 195.0, f64::NAN] {
            assert_eq!(pipes.calibration(lpm(flow), &curve), None, "{flow} L/min");
        }
        let without_losses = PipeLoop { length: metres(0.0), ..pipes };
        assert_eq!(without_losses.calibration(flow, &curve), None);
    }
}
