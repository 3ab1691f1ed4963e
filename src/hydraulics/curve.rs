//! The head a pump gives at each flow, from the few points its maker states.
//!
//! One point is expanded, and three points from zero flow on are fitted, as EPANET does (EPANET 2.2
//! manual, pump curves), so that results can be checked against that solver. Any other number of points
//! is joined by a cubic that keeps falling between falling points; EPANET's straight segments would put
//! kinks into the curve. Past the last point the curve is never flatter than it was just before it, so a
//! flow is not overstated; before the first it stays level, so a head is not overstated.

mod side_by_side;

use thiserror::Error;
use uom::si::f64::{Length, Ratio, VolumeRate};
use uom::si::length::meter;
use uom::si::ratio::ratio;
use uom::si::volume_rate::{cubic_meter_per_second, liter_per_minute};

use super::monotone_cubic::{Knot, hermite, monotone_cubic};

/// The exponents C for which h = A − B qᶜ is a shape a pump has. Below the lower bound the curve would
/// plunge within the first litres and then hardly fall; the upper bound is EPANET's own. Outside, the
/// three points are interpolated.
const SENSIBLE_EXPONENTS: std::ops::RangeInclusive<f64> = 0.5..=20.0;

/// One stated point of a pump curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    /// Flow through the pump.
    pub flow: VolumeRate,
    /// Head the pump adds at that flow.
    pub head: Length,
}

/// Why points are not a pump curve. Points are counted from 1, as written.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum CurveError {
    /// No point at all.
    #[error("a pump curve needs at least one point")]
    Empty,
    /// A flow or head that is negative or not a number.
    #[error("point {point} of the pump curve has a flow or a head below zero, or not a number")]
    NotAPoint {
        /// Which point.
        point: usize,
    },
    /// A curve of one point at zero flow, or with no head.
    #[error("a pump curve of one point needs a flow and a head above zero there")]
    OnePointWithoutFlowOrHead,
    /// A flow no greater than that of the point before.
    #[error(
        "point {point} of the pump curve, at {flow_l_min:.1} L/min, must come after point {} by its flow, which is {previous_flow_l_min:.1} L/min",
        .point - 1
    )]
    FlowNotRising {
        /// Which point.
        point: usize,
        /// Its flow, L/min.
        flow_l_min: f64,
        /// The flow of the point before, L/min.
        previous_flow_l_min: f64,
    },
    /// A head no smaller than that of the point before.
    #[error(
        "a pump's head falls as its flow rises, but point {point} of the pump curve has {head_m:.2} m of head after {previous_head_m:.2} m at point {}",
        .point - 1
    )]
    HeadNotFalling {
        /// Which point.
        point: usize,
        /// Its head, m.
        head_m: f64,
        /// The head of the point before, m.
        previous_head_m: f64,
    },
    /// A speed that is not above zero.
    #[error("a pump has a curve only at a speed above zero, not at {speed_ratio} of the stated speed")]
    SpeedRatio {
        /// The ratio given.
        speed_ratio: f64,
    },
}

/// Head against flow of a pump at one speed. Strictly falling from its first point on.
#[derive(Debug, Clone, PartialEq)]
pub struct PumpCurve {
    shape: Shape,
    /// The greatest flow for which the maker states a head, m³/s. Beyond it the curve is extrapolated.
    last_stated_flow_m3_s: f64,
}

/// All in SI: flows in m³/s, heads in m.
#[derive(Debug, Clone, PartialEq)]
enum Shape {
    /// h = a − b qᶜ.
    Power { a: f64, b: f64, c: f64 },
    /// A monotone cubic between at least two points, falling in head.
    Interpolated(Vec<Knot>),
}

impl PumpCurve {
    /// The curve through the points, which are in the order of rising flow and have falling heads.
    ///
    /// One point (q, h) is expanded to a shutoff head of 4/3 h and zero head at 2 q, which gives C = 2.
    /// Three points of which the first is at zero flow are fitted by h = A − B qᶜ if C comes out between
    /// 0.5 and 20. Otherwise the points are joined by a shape-preserving cubic.
    pub fn new(points: &[CurvePoint]) -> Result<Self, CurveError> {
        let stated: Vec<(f64, f64)> = points
            .iter()
            .map(|point| (point.flow.get::<cubic_meter_per_second>(), point.head.get::<meter>()))
            .collect();
        let acceptable = |value: f64| value.is_finite() && value >= 0.0;
        if let Some(index) = stated.iter().position(|(flow, head)| !(acceptable(*flow) && acceptable(*head))) {
            return Err(CurveError::NotAPoint { point: index + 1 });
        }
        for (index, pair) in stated.windows(2).enumerate() {
            let [(previous_flow, previous_head), (flow, head)] = [pair[0], pair[1]];
            let point = index + 2;
            if flow <= previous_flow {
                return Err(CurveError::FlowNotRising {
                    point,
                    flow_l_min: points[index + 1].flow.get::<liter_per_minute>(),
                    previous_flow_l_min: points[index].flow.get::<liter_per_minute>(),
                });
            }
            if head >= previous_head {
                return Err(CurveError::HeadNotFalling { point, head_m: head, previous_head_m: previous_head });
            }
        }
        let Some(&(last_flow, _)) = stated.last() else {
            return Err(CurveError::Empty);
        };
        let shape = match stated[..] {
            [(flow, head)] => {
                if flow == 0.0 || head == 0.0 {
                    return Err(CurveError::OnePointWithoutFlowOrHead);
                }
                Shape::Power { a: head * 4.0 / 3.0, b: head / (3.0 * flow * flow), c: 2.0 }
            }
            [(0.0, shutoff), second, third] => {
                fitted(shutoff, second, third).unwrap_or_else(|| Shape::Interpolated(monotone_cubic(&stated)))
            }
            _ => Shape::Interpolated(monotone_cubic(&stated)),
        };
        Ok(Self { shape, last_stated_flow_m3_s: last_flow })
    }

    /// Head at this flow; zero past [`Self::largest_flow`]. A flow below zero counts as none.
    pub fn head(&self, flow: VolumeRate) -> Length {
        Length::new::<meter>(self.head_m(flow.get::<cubic_meter_per_second>().max(0.0)).max(0.0))
    }

    /// Head at zero flow, the greatest the pump gives.
    pub fn shutoff_head(&self) -> Length {
        Length::new::<meter>(self.head_m(0.0))
    }

    /// The flow at which no head is left (runout).
    pub fn largest_flow(&self) -> VolumeRate {
        let last = self.last_stated_flow_m3_s;
        let largest = match &self.shape {
            Shape::Power { a, b, c } if *c >= 1.0 => (a / b).powf(c.recip()),
            _ => last + self.head_m(last).max(0.0) / self.fall_past_last_point(),
        };
        VolumeRate::new::<cubic_meter_per_second>(largest)
    }

    /// The greatest flow for which a head was stated. Past it, heads are extrapolated.
    pub fn last_stated_flow(&self) -> VolumeRate {
        VolumeRate::new::<cubic_meter_per_second>(self.last_stated_flow_m3_s)
    }

    /// (A, B, C) of h = A − B qᶜ in SI (h and A in m, q in m³/s), if the curve has that form.
    pub fn coefficients(&self) -> Option<(f64, f64, f64)> {
        match self.shape {
            Shape::Power { a, b, c } => Some((a, b, c)),
            Shape::Interpolated(_) => None,
        }
    }

    /// The curve at another speed, by the affinity laws: flow with the ratio s, head with its square.
    /// For the fitted form this is h = s² A − B s^(2−C) qᶜ.
    ///
    /// # Errors
    /// If the ratio is not above zero.
    pub fn at_speed(&self, speed_ratio: Ratio) -> Result<Self, CurveError> {
        let s = speed_ratio.get::<ratio>();
        if !(s.is_finite() && s > 0.0) {
            return Err(CurveError::SpeedRatio { speed_ratio: s });
        }
        let shape = match &self.shape {
            Shape::Power { a, b, c } => Shape::Power { a: s * s * a, b: b * s.powf(2.0 - c), c: *c },
            Shape::Interpolated(knots) => Shape::Interpolated(
                knots
                    .iter()
                    .map(|knot| Knot { flow: s * knot.flow, head: s * s * knot.head, slope: s * knot.slope })
                    .collect(),
            ),
        };
        Ok(Self { shape, last_stated_flow_m3_s: s * self.last_stated_flow_m3_s })
    }

    /// Head in m at a flow in m³/s of zero or more. Goes on below zero past the largest flow.
    fn head_m(&self, flow: f64) -> f64 {
        let last = self.last_stated_flow_m3_s;
        match &self.shape {
            // With an exponent under 1 the form flattens out; straight on is the safer guess.
            Shape::Power { a, b, c } if *c < 1.0 && flow > last => {
                a - b * last.powf(*c) - self.fall_past_last_point() * (flow - last)
            }
            Shape::Power { a, b, c } => a - b * flow.powf(*c),
            Shape::Interpolated(knots) => {
                let after = knots.partition_point(|knot| knot.flow <= flow);
                match (after.checked_sub(1).and_then(|i| knots.get(i)), knots.get(after)) {
                    (Some(left), Some(right)) => hermite(left, right, flow),
                    (Some(end), None) => end.head - self.fall_past_last_point() * (flow - end.flow),
                    (None, Some(first)) => first.head,
                    (None, None) => 0.0,
                }
            }
        }
    }

    /// Head lost for each m³/s past the last stated point, in m/(m³/s); above zero.
    fn fall_past_last_point(&self) -> f64 {
        match &self.shape {
            Shape::Power { b, c, .. } => b * c * self.last_stated_flow_m3_s.powf(c - 1.0),
            Shape::Interpolated(knots) => match knots[..] {
                // The cubic's slope at its end may be as little as zero: the last segment's counts too.
                [.., before, end] => {
                    let segment = (before.head - end.head) / (end.flow - before.flow);
                    segment.max(-end.slope)
                }
                _ => f64::INFINITY,
            },
        }
    }
}

/// h = A − B qᶜ through (0, shutoff) and two more falling points, if C is one a pump can have.
fn fitted(shutoff: f64, second: (f64, f64), third: (f64, f64)) -> Option<Shape> {
    let fall = shutoff - second.1;
    let c = ((shutoff - third.1) / fall).ln() / (third.0 / second.0).ln();
    let b = fall / second.0.powf(c);
    (SENSIBLE_EXPONENTS.contains(&c) && b.is_finite() && b > 0.0).then_some(Shape::Power { a: shutoff, b, c })
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use proptest::prelude::*;
    use uom::si::length::foot;
    use uom::si::volume_rate::gallon_per_minute;

    fn lpm(value: f64) -> VolumeRate {
        VolumeRate::new::<liter_per_minute>(value)
    }
    /// Points in L/min and m.
    fn metric(points: &[(f64, f64)]) -> Vec<CurvePoint> {
        points.iter().map(|&(flow, head)| CurvePoint { flow: lpm(flow), head: Length::new::<meter>(head) }).collect()
    }
    fn curve(points: &[(f64, f64)]) -> PumpCurve {
        PumpCurve::new(&metric(points)).unwrap()
    }
    fn error(points: &[(f64, f64)]) -> CurveError {
        PumpCurve::new(&metric(points)).unwrap_err()
    }
    fn speed(s: f64) -> Ratio {
        Ratio::new::<ratio>(s)
    }
    #[track_caller]
    fn close(actual: f64, expected: f64, relative: f64) {
        assert!(
            (actual - expected).abs() <= relative * expected.abs(),
            "{actual} is not within {relative} of {expected}"
        );
    }

    #[test]
    fn one_point_expands_as_in_epanet() {
        // W-18: EPANET network 1, 1500 gpm at 250 ft: A 333.33 ft, B 3.7037e-5, C 2; in SI 101.6 m,
        // 2836.1385285628063 s²/m5, 2 (wntr 1.5.0). ±0.01 %.
        let one = PumpCurve::new(&[CurvePoint {
            flow: VolumeRate::new::<gallon_per_minute>(1500.0),
            head: Length::new::<foot>(250.0),
        }])
        .unwrap();
        let (a, b, c) = one.coefficients().unwrap();
        close(a, 101.6, 1e-4);
        close(b, 2_836.138_528_562_806, 1e-4);
        close(c, 2.0, 1e-12);
        let gpm_in_m3_s = lpm(1.0).get::<cubic_meter_per_second>() * 3.785_411_784;
        close(a / 0.3048, 333.33, 1e-4);
        close(b * gpm_in_m3_s.powi(2) / 0.3048, 3.7037e-5, 1e-4);
        // The solver's point at time 0: 1866.18 gpm at 204.35 ft.
        let head = one.head(VolumeRate::new::<gallon_per_minute>(1866.18));
        close(head.get::<foot>(), 204.35, 1e-4);
        close(one.largest_flow().get::<gallon_per_minute>(), 3000.0, 1e-9);
    }

    #[test]
    fn three_points_give_the_published_coefficients() {
        // Worked examples, pump P of in gpm and ft: A 60, B 0.00577946, C 1.92009.
        let points: Vec<CurvePoint> = [(0.0, 60.0), (60.0, 45.0), (100.0, 20.0)]
            .iter()
            .map(|&(flow, head)| CurvePoint {
                flow: VolumeRate::new::<gallon_per_minute>(flow),
                head: Length::new::<foot>(head),
            })
            .collect();
        let pump = PumpCurve::new(&points).unwrap();
        let (a, b, c) = pump.coefficients().unwrap();
        let gpm_in_m3_s = VolumeRate::new::<gallon_per_minute>(1.0).get::<cubic_meter_per_second>();
        close(a / 0.3048, 60.0, 1e-9);
        close(b * gpm_in_m3_s.powf(c) / 0.3048, 0.005_779_46, 1e-5);
        close(c, 1.920_09, 1e-5);
        for point in &points {
            close(pump.head(point.flow).get::<meter>(), point.head.get::<meter>(), 1e-9);
        }
    }

    #[test]
    fn several_points_are_joined_by_a_monotone_cubic() {
        // Worked by hand from the formulas of Fritsch and Butland: slopes −0.05, −2/15, −4/15, −0.5 m per
        // L/min; the value amid a segment is the mean of its ends + width (left slope − right slope) / 8.
        let four = curve(&[(0.0, 10.0), (10.0, 9.0), (20.0, 7.0), (30.0, 3.0)]);
        assert_eq!(four.coefficients(), None);
        for (flow, head) in [
            (0.0, 10.0),
            (5.0, 9.604_166_667),
            (10.0, 9.0),
            (15.0, 8.166_666_667),
            (20.0, 7.0),
            (25.0, 5.291_666_667),
            (30.0, 3.0),
            // Straight on at −0.5 m per L/min, to no head at 36 L/min.
            (32.0, 2.0),
        ] {
            close(four.head(lpm(flow)).get::<meter>(), head, 1e-9);
        }
        close(four.largest_flow().get::<liter_per_minute>(), 36.0, 1e-9);
        assert_eq!(four.head(lpm(40.0)).get::<meter>(), 0.0);
        close(four.last_stated_flow().get::<liter_per_minute>(), 30.0, 1e-9);
    }

    #[test]
    fn two_points_are_a_straight_line() {
        let two = curve(&[(20.0, 8.0), (60.0, 4.0)]);
        close(two.head(lpm(30.0)).get::<meter>(), 7.0, 1e-12);
        close(two.head(lpm(80.0)).get::<meter>(), 2.0, 1e-12);
        close(two.largest_flow().get::<liter_per_minute>(), 100.0, 1e-12);
        // Level before the first point: no head is claimed that nobody stated.
        close(two.shutoff_head().get::<meter>(), 8.0, 1e-12);
        close(two.head(lpm(-5.0)).get::<meter>(), 8.0, 1e-12);
    }

    #[test]
    fn three_points_a_power_does_not_fit_are_interpolated() {
        // C would be 0.014: hardly a fall after the first litres, and runout at an absurd flow.
        let odd = curve(&[(0.0, 10.0), (60.0, 9.0), (120.0, 8.99)]);
        assert_eq!(odd.coefficients(), None);
        close(odd.head(lpm(60.0)).get::<meter>(), 9.0, 1e-12);
        // Three points that do not begin at zero flow have no shutoff head to fit.
        assert_eq!(curve(&[(10.0, 10.0), (60.0, 8.0), (90.0, 5.0)]).coefficients(), None);
    }

    #[test]
    fn a_flattening_curve_goes_straight_on() {
        // C = ln(3/2)/ln 2 = 0.585; the slope at the last point is C (10 − 7) / 120 m per L/min.
        let flattening = curve(&[(0.0, 10.0), (60.0, 8.0), (120.0, 7.0)]);
        let (_, _, c) = flattening.coefficients().unwrap();
        close(c, 1.5_f64.ln() / 2_f64.ln(), 1e-12);
        close(flattening.largest_flow().get::<liter_per_minute>(), 120.0 + 7.0 / (c * 3.0 / 120.0), 1e-9);
        close(flattening.head(lpm(160.0)).get::<meter>(), 7.0 - 40.0 * c * 3.0 / 120.0, 1e-9);
    }

    #[test]
    fn a_curve_that_ends_at_no_head_ends_there() {
        let ends = curve(&[(0.0, 9.0), (40.0, 8.0), (80.0, 5.0), (100.0, 0.0)]);
        close(ends.largest_flow().get::<liter_per_minute>(), 100.0, 1e-12);
    }

    #[test]
    fn errors_name_the_point() {
        assert_eq!(PumpCurve::new(&[]), Err(CurveError::Empty));
        assert_eq!(
            error(&[(0.0, 8.0), (50.0, 6.0), (90.0, 6.5), (120.0, 2.0)]).to_string(),
            "a pump's head falls as its flow rises, but point 3 of the pump curve has 6.50 m of head after 6.00 m at point 2"
        );
        assert!(matches!(error(&[(0.0, 8.0), (50.0, 8.0)]), CurveError::HeadNotFalling { point: 2, .. }));
        assert_eq!(
            error(&[(0.0, 8.0), (50.0, 6.0), (50.0, 5.0)]).to_string(),
            "point 3 of the pump curve, at 50.0 L/min, must come after point 2 by its flow, which is 50.0 L/min"
        );
        assert_eq!(error(&[(0.0, 8.0), (50.0, -6.0)]), CurveError::NotAPoint { point: 2 });
        assert_eq!(error(&[(f64::NAN, 8.0)]), CurveError::NotAPoint { point: 1 });
        for one in [(0.0, 8.0), (50.0, 0.0)] {
            assert_eq!(error(&[one]), CurveError::OnePointWithoutFlowOrHead);
        }
    }

    #[test]
    fn there_is_no_curve_without_speed() {
        let pump = curve(&[(90.0, 5.0)]);
        for s in [0.0, -0.5, f64::NAN, f64::INFINITY] {
            assert!(matches!(pump.at_speed(speed(s)), Err(CurveError::SpeedRatio { .. })));
        }
    }

    /// Curves of one to six falling points, in L/min and m; some end at no head.
    pub(in super::super) fn any_curve() -> impl Strategy<Value = Vec<(f64, f64)>> {
        let steps = prop::collection::vec((5.0..200.0_f64, 0.05..1.0_f64), 0..5);
        (0.5..40.0_f64, 0.0..1.0_f64, prop::bool::ANY, steps).prop_map(|(shutoff, kept, from_zero, steps)| {
            if steps.is_empty() {
                return vec![(20.0 + 400.0 * kept, shutoff)];
            }
            let falls: f64 = steps.iter().map(|step| step.1).sum();
            let mut point = (if from_zero { 0.0 } else { 15.0 }, shutoff);
            let mut points = vec![point];
            for (flow, fall) in &steps {
                let fall = shutoff * (1.0 - 0.8 * kept) * fall / falls;
                point = (point.0 + flow, (point.1 - fall).max(0.0));
                points.push(point);
            }
            points
        })
    }

    proptest! {
        #[test]
        fn a_curve_never_rises_and_meets_its_points(points in any_curve()) {
            let pump = curve(&points);
            let runout = pump.largest_flow();
            prop_assert!(runout >= pump.last_stated_flow() * 0.999_999_999);
            prop_assert!(runout.value.is_finite());
            prop_assert!(pump.head(runout).get::<meter>() < 1e-9);
            for &(flow, head) in &points {
                prop_assert!((pump.head(lpm(flow)).get::<meter>() - head).abs() < 1e-9);
            }
            let mut before = pump.shutoff_head();
            for step in 1..=300 {
                let head = pump.head(runout * (f64::from(step) / 290.0));
                prop_assert!(head <= before + Length::new::<meter>(1e-12));
                before = head;
            }
        }

        #[test]
        fn full_speed_is_the_curve_itself(points in any_curve()) {
            let pump = curve(&points);
            prop_assert_eq!(pump.at_speed(speed(1.0)).unwrap(), pump);
        }

        #[test]
        fn speed_follows_the_affinity_laws(
            points in any_curve(), s in 0.2..1.5_f64, part in 0.0..1.2_f64
        ) {
            let pump = curve(&points);
            let slowed = pump.at_speed(speed(s)).unwrap();
            let flow = pump.largest_flow() * part;
            let expected = pump.head(flow) * s * s;
            prop_assert!(
                (slowed.head(flow * s) - expected).abs() < Length::new::<meter>(1e-9)
            );
            let runouts = slowed.largest_flow() / (pump.largest_flow() * s);
            prop_assert!((runouts.get::<ratio>() - 1.0).abs() < 1e-9);
        }
    }
}
