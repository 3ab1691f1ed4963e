//! Pumps side by side on one loop: at each head their flows add up.
//!
//! A pump that cannot give the head gives no flow: that it lets none back is assumed, as a check valve or
//! the pump's own strainer and union would see to it. What the pumps share, and when they run together, is
//! the caller's affair.

use uom::si::f64::{Length, VolumeRate};
use uom::si::length::meter;
use uom::si::volume_rate::cubic_meter_per_second;

use super::{PumpCurve, Shape};
use crate::hydraulics::monotone_cubic::{Knot, monotone_cubic};

/// Heads of each pump at which the flows of unlike pumps are added; between them the curve is a cubic.
const STEPS: u32 = 64;
/// Halvings that find the flow at a head: a bracket of 1e-16 of the largest flow.
const HALVINGS: u32 = 54;

impl PumpCurve {
    /// The flow at which the pump gives this head: its largest at none, zero at its shutoff head and above.
    pub fn flow_at(&self, head: Length) -> VolumeRate {
        VolumeRate::new::<cubic_meter_per_second>(self.flow_at_m(head.get::<meter>()))
    }

    fn flow_at_m(&self, head: f64) -> f64 {
        if head >= self.head_m(0.0) {
            return 0.0;
        }
        let (mut low, mut high) = (0.0, self.largest_flow().get::<cubic_meter_per_second>());
        for _ in 0..HALVINGS {
            let middle = 0.5 * (low + high);
            if self.head_m(middle) > head { low = middle } else { high = middle }
        }
        high
    }

    /// One curve for pumps that stand side by side. `None` without a pump.
    ///
    /// That of like pumps is exact; that of unlike ones goes through 64 points of each and is otherwise good to
    /// a thousandth of the flow.
    pub fn side_by_side(curves: &[Self]) -> Option<Self> {
        let (first, rest) = curves.split_first()?;
        if rest.iter().all(|curve| curve == first) {
            return Some(first.times(curves.len() as f64));
        }
        let mut heads: Vec<f64> = curves
            .iter()
            .flat_map(|curve| {
                let largest = curve.largest_flow().get::<cubic_meter_per_second>();
                (0..=STEPS).map(move |step| curve.head_m(largest * f64::from(step) / f64::from(STEPS)).max(0.0))
            })
            .collect();
        heads.sort_by(|a, b| b.total_cmp(a));
        let mut points: Vec<(f64, f64)> = Vec::with_capacity(heads.len());
        for head in heads {
            let flow = curves.iter().map(|curve| curve.flow_at_m(head)).sum::<f64>();
            let falls = |&(before_flow, before_head): &(f64, f64)| {
                flow > before_flow * (1.0 + 1e-9) && head < before_head - 1e-9
            };
            if points.last().is_none_or(falls) {
                points.push((flow, head));
            }
        }
        let (last_flow, _) = *points.last().filter(|_| points.len() > 1)?;
        Some(Self { shape: Shape::Interpolated(monotone_cubic(&points)), last_stated_flow_m3_s: last_flow })
    }

    /// So many like pumps side by side.
    fn times(&self, count: f64) -> Self {
        let shape = match &self.shape {
            Shape::Power { a, b, c } => Shape::Power { a: *a, b: b / count.powf(*c), c: *c },
            Shape::Interpolated(knots) => Shape::Interpolated(
                knots
                    .iter()
                    .map(|knot| Knot { flow: count * knot.flow, head: knot.head, slope: knot.slope / count })
                    .collect(),
            ),
        };
        Self { shape, last_stated_flow_m3_s: count * self.last_stated_flow_m3_s }
    }
}

#[cfg(test)]
mod tests {
    use super::super::CurvePoint;
    use super::super::tests::any_curve;
    use super::*;
    use crate::hydraulics::{PipeLoop, operating_point, schedule_40_bore};
    use proptest::prelude::*;
    use uom::si::length::inch;
    use uom::si::volume_rate::liter_per_minute;

    fn curve(points: &[(f64, f64)]) -> PumpCurve {
        let points: Vec<CurvePoint> = points
            .iter()
            .map(|&(flow, head)| CurvePoint {
                flow: VolumeRate::new::<liter_per_minute>(flow),
                head: Length::new::<meter>(head),
            })
            .collect();
        PumpCurve::new(&points).unwrap()
    }

    #[test]
    fn flows_add_at_each_head() {
        // h = 8 − 2 (Q/120)² gives 6 m at 120 L/min; h = 6 − 1.5 (Q/90)² gives 4.5 m at 90 and nothing at 6 m.
        let (strong, weak) = (curve(&[(120.0, 6.0)]), curve(&[(90.0, 4.5)]));
        let both = PumpCurve::side_by_side(&[strong.clone(), weak.clone()]).unwrap();
        let flow = |curve: &PumpCurve, head| curve.flow_at(Length::new::<meter>(head)).get::<liter_per_minute>();
        // At 4.5 m: 120 √(3.5/2) = 158.745 and 90.
        assert!((flow(&strong, 4.5) - 158.745).abs() < 1e-3);
        assert!((flow(&both, 4.5) / 248.745 - 1.0).abs() < 1e-3, "{}", flow(&both, 4.5));
        assert!((flow(&both, 6.0) / 120.0 - 1.0).abs() < 1e-3);
        assert!((flow(&both, 7.0) / flow(&strong, 7.0) - 1.0).abs() < 1e-3);
        // Two like pumps are exact: (8 − 2 (Q/240)²).
        let two = PumpCurve::side_by_side(&[strong.clone(), strong]).unwrap();
        assert!((two.head(VolumeRate::new::<liter_per_minute>(240.0)).get::<meter>() - 6.0).abs() < 1e-12);
        assert_eq!(PumpCurve::side_by_side(&[]), None);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(200))]

        /// A second pump on a loop never takes flow away, and never brings more than it would alone.
        #[test]
        fn two_pumps_lie_between_one_and_the_sum(a in any_curve(), b in any_curve(), length in 1.0..60.0_f64) {
            let (a, b) = (curve(&a), curve(&b));
            let bore = schedule_40_bore(Length::new::<inch>(2.0)).unwrap();
            let pipes = PipeLoop::new(bore, Length::new::<meter>(length), 150.0);
            let flow = |curve: &PumpCurve| operating_point(curve, &pipes).unwrap().flow.get::<liter_per_minute>();
            let both = flow(&PumpCurve::side_by_side(&[a.clone(), b.clone()]).unwrap());
            let (a, b) = (flow(&a), flow(&b));
            prop_assert!(both >= a.max(b) * 0.995, "{both} {a} {b}");
            prop_assert!(both <= (a + b) * 1.005, "{both} {a} {b}");
        }
    }
}
