//! The flow at which a pump and its loop agree.
//!
//! The head a pump gives falls with the flow and the head a loop asks for rises, so there is at most one
//! such flow, and it lies between none and the pump's largest. The bracket is narrowed by the ITP method
//! (interpolate, truncate, project), which is about as fast as the secant method on smooth curves and never
//! needs more than a set number of evaluations over bisection, whatever the curve.
//!
//! Source: I. F. D. Oliveira, R. H. C. Takahashi, "An enhancement of the bisection method average
//! performance preserving minmax optimality", ACM Trans. Math. Softw. 47 (2021) 5:1–5:24.

use thiserror::Error;
use uom::si::f64::{Length, VolumeRate};
use uom::si::length::meter;

use super::curve::PumpCurve;
use super::pipe_loop::{LoopError, PipeLoop};

/// The heads of pump and loop differ by no more than this at an operating point, m.
pub const RESIDUAL_LIMIT_M: f64 = 1e-6;

/// No operating point takes more evaluations of the two heads than this.
pub const MOST_EVALUATIONS: u32 = 40;

/// The search stops below this difference, m: well inside the limit, so that a flow that comes out of a
/// calibration is the flow that went in.
const GOOD_ENOUGH_M: f64 = 1e-9;

/// Halvings that leave a bracket of a thousand-millionth of the first one.
const HALVINGS: i32 = 30;

/// Evaluations the search may spend beyond those halvings on interpolating. With the two or three before it
/// they make up [`MOST_EVALUATIONS`].
const SLACK: i32 = 7;

/// Where pump and loop meet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OperatingPoint {
    /// Flow in the loop.
    pub flow: VolumeRate,
    /// Head of the pump at that flow.
    pub head: Length,
    /// Head of the pump less head of the loop: what the search left over, at most [`RESIDUAL_LIMIT_M`].
    pub residual: Length,
    /// Evaluations of the difference of heads that were made.
    pub evaluations: u32,
}

/// Why a pump and a loop have no operating point.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum NoOperatingPoint {
    /// The loop lifts the water as high as the pump can, or higher.
    #[error(
        "the pump moves no water: it can lift it {shutoff_head_m:.1} m at most, and the loop asks for {static_head_m:.1} m before anything flows"
    )]
    StaticHeadTooGreat {
        /// The pump's head at zero flow, m.
        shutoff_head_m: f64,
        /// The loop's head at zero flow, m.
        static_head_m: f64,
    },
    /// The loop asks for less than no head even at the pump's largest flow (falling water drives it).
    #[error("the loop holds the pump back too little: the flow would pass the largest the pump's curve allows")]
    PastLargestFlow,
    /// The loop is not one that can be computed.
    #[error(transparent)]
    Loop(#[from] LoopError),
    /// The figures are so extreme that the search did not come close enough.
    #[error(
        "the flow could not be found: pump and loop still differ by {residual_m:.1e} m of head; the figures of the pump's curve or of the pipe are hardly those of a spa"
    )]
    Unresolved {
        /// Head of the pump less head of the loop where the search ended, m.
        residual_m: f64,
    },
}

/// The flow and head at which the pump and the loop agree to [`RESIDUAL_LIMIT_M`].
pub fn operating_point(curve: &PumpCurve, pipe_loop: &PipeLoop) -> Result<OperatingPoint, NoOperatingPoint> {
    pipe_loop.check()?;
    let largest_flow = curve.largest_flow();
    let at = |flow: VolumeRate, evaluations: u32| {
        let head = curve.head(flow);
        OperatingPoint { flow, head, residual: head - pipe_loop.head(flow), evaluations }
    };

    let still = at(largest_flow * 0.0, 1);
    let spare_m = still.residual.get::<meter>();
    if spare_m <= 0.0 {
        return Err(NoOperatingPoint::StaticHeadTooGreat {
            shutoff_head_m: curve.shutoff_head().get::<meter>(),
            static_head_m: pipe_loop.static_head.get::<meter>(),
        });
    }
    let runout = at(largest_flow, 2);
    let excess_m = runout.residual.get::<meter>();
    if excess_m.abs() <= GOOD_ENOUGH_M {
        return Ok(runout);
    }
    if excess_m > 0.0 {
        return Err(NoOperatingPoint::PastLargestFlow);
    }

    // The losses go with the flow's square at most, so that at this part of the largest flow they have
    // used up all the head there is to spare. It keeps the bracket small for a loop that is nearly shut.
    let losses_m = pipe_loop.losses(largest_flow).get::<meter>();
    let part = (spare_m / losses_m).sqrt() * (1.0 + 1e-9);
    let widest = if part < 1.0 { at(largest_flow * part, 3) } else { runout };

    let found = search(&at, &still, &widest);
    let residual_m = found.residual.get::<meter>();
    if residual_m.abs() <= RESIDUAL_LIMIT_M { Ok(found) } else { Err(NoOperatingPoint::Unresolved { residual_m }) }
}

/// The point of least difference that the ITP method finds between no flow, where the pump has head to
/// spare, and a flow at which it lacks some.
fn search(
    at: &impl Fn(VolumeRate, u32) -> OperatingPoint,
    still: &OperatingPoint,
    widest: &OperatingPoint,
) -> OperatingPoint {
    // The method's parameters as its authors recommend, κ₁ = 0.2 / width and κ₂ = 2, but more slack (n₀)
    // and fewer halvings: pump and loop are smooth, and interpolating pays. Flows are parts of the widest.
    const SHIFT: f64 = 0.2;
    let finest = 2_f64.powi(-HALVINGS - 1);

    let (mut low, mut high) = (0.0, 1.0);
    let mut spare = still.residual.get::<meter>();
    let mut lack = widest.residual.get::<meter>();
    let mut best = *widest;
    let mut last_moved_low = None;
    for step in 0..HALVINGS + SLACK {
        let width: f64 = high - low;
        if width <= 2.0 * finest {
            break;
        }
        let middle = 0.5 * (low + high);
        // Interpolate. The quotient is a weight between 0 and 1, or not a number if a head overflowed.
        let weight = spare / (spare - lack);
        let straight = if weight.is_finite() { low + width * weight } else { middle };
        // Truncate: a small shift towards the middle, so that both ends close in.
        let towards_middle = (middle - straight).signum();
        let shift = SHIFT * width * width;
        let shifted = if shift <= (middle - straight).abs() { straight + towards_middle * shift } else { middle };
        // Project: no further from the middle than bisection's lead allows.
        let reach = finest * 2_f64.powi(HALVINGS + SLACK - step) - 0.5 * width;
        let next = if (shifted - middle).abs() <= reach { shifted } else { middle - towards_middle * reach };
        let point = at(widest.flow * next, best.evaluations + 1);
        let difference = point.residual.get::<meter>();
        best = if difference.abs() < best.residual.get::<meter>().abs() {
            point
        } else {
            OperatingPoint { evaluations: point.evaluations, ..best }
        };
        if difference.abs() <= GOOD_ENOUGH_M {
            break;
        }
        // An end that stays twice running has its difference halved (the Illinois variant), or the
        // interpolation would creep where the loop's head is very great at the pump's largest flow.
        let moves_low = difference > 0.0;
        if moves_low {
            (low, spare) = (next, difference);
            if last_moved_low == Some(true) {
                lack *= 0.5;
            }
        } else {
            (high, lack) = (next, difference);
            if last_moved_low == Some(false) {
                spare *= 0.5;
            }
        }
        last_moved_low = Some(moves_low);
    }
    best
}

#[cfg(test)]
mod tests {
    use super::super::curve::tests::any_curve;
    use super::super::{CurvePoint, QuadraticDrop, schedule_40_bore};
    use super::*;
    use proptest::prelude::*;
    use uom::si::f64::Ratio;
    use uom::si::length::{foot, inch};
    use uom::si::ratio::ratio;
    use uom::si::volume_rate::{gallon_per_minute, liter_per_minute};

    fn metres(value: f64) -> Length {
        Length::new::<meter>(value)
    }
    fn lpm(value: f64) -> VolumeRate {
        VolumeRate::new::<liter_per_minute>(value)
    }
    fn bore(nominal: f64) -> Length {
        schedule_40_bore(Length::new::<inch>(nominal)).unwrap()
    }
    /// A curve from points in gpm and ft.
    fn us_curve(points: &[(f64, f64)]) -> PumpCurve {
        let points: Vec<_> = points
            .iter()
            .map(|&(flow, head)| CurvePoint {
                flow: VolumeRate::new::<gallon_per_minute>(flow),
                head: Length::new::<foot>(head),
            })
            .collect();
        PumpCurve::new(&points).unwrap()
    }
    /// A curve from points in L/min and m.
    fn metric_curve(points: &[(f64, f64)]) -> PumpCurve {
        let points: Vec<_> =
            points.iter().map(|&(flow, head)| CurvePoint { flow: lpm(flow), head: metres(head) }).collect();
        PumpCurve::new(&points).unwrap()
    }
    #[track_caller]
    fn close(actual: f64, expected: f64, relative: f64) {
        assert!(
            (actual - expected).abs() <= relative * expected.abs(),
            "{actual} is not within {relative} of {expected}"
        );
    }

    /// The pump of, gpm and ft.
    const P: &[(f64, f64)] = &[(0.0, 60.0), (60.0, 45.0), (100.0, 20.0)];

    #[test]
    fn operating_points_agree_with_the_epanet_solver() {
        struct Case {
            id: &'static str,
            points: &'static [(f64, f64)],
            length_ft: f64,
            nominal_inch: f64,
            k: f64,
            static_ft: f64,
            speed: f64,
            /// gpm, ft
            epanet: (f64, f64),
            independent: (f64, f64),
        }
        #[rustfmt::skip]
        let case = |id, points, (length_ft, nominal_inch, k, static_ft, speed), epanet, independent| Case {
            id, points, length_ft, nominal_inch, k, static_ft, speed, epanet, independent,
        };
        // wntr 1.5.0 and an independent solution, C 150. ±0.5 %.
        #[rustfmt::skip]
        let cases = [
            case("X-10", P, (80.0, 2.0, 12.0, 0.0, 1.0), (93.340, 24.958), (93.329, 24.966)),
            case("X-11", P, (60.0, 1.5, 10.0, 0.0, 1.0), (73.856, 37.646), (73.843, 37.654)),
            case("X-12", P, (120.0, 2.5, 15.0, 3.0, 1.0), (99.356, 20.494), (99.347, 20.500)),
            case("X-13", P, (80.0, 2.0, 12.0, 0.0, 0.7), (65.031, 12.384), (65.023, 12.388)),
            case("X-14", P, (80.0, 2.0, 12.0, 0.0, 0.5), (46.235, 6.396), (46.230, 6.398)),
            case("X-15", &[(60.0, 40.0)], (100.0, 2.0, 20.0, 0.0, 1.0), (81.530, 28.714), (81.516, 28.722)),
            case("X-16", P, (80.0, 2.0, 34.6, 0.0, 1.0), (76.726, 35.948), (76.709, 35.959)),
            case("X-17", P, (80.0, 2.0, 75.3, 0.0, 1.0), (61.075, 44.480), (61.056, 44.489)),
        ];
        for case in cases {
            let curve = us_curve(case.points).at_speed(Ratio::new::<ratio>(case.speed)).unwrap();
            let pipes = PipeLoop {
                fittings_k: case.k,
                static_head: Length::new::<foot>(case.static_ft),
                ..PipeLoop::new(bore(case.nominal_inch), Length::new::<foot>(case.length_ft), 150.0)
            };
            let point = operating_point(&curve, &pipes).unwrap_or_else(|e| panic!("{}: {e}", case.id));
            for (flow_gpm, head_ft) in [case.epanet, case.independent] {
                close(point.flow.get::<gallon_per_minute>(), flow_gpm, 5e-3);
                close(point.head.get::<foot>(), head_ft, 5e-3);
            }
            assert!(point.evaluations <= 15, "{}: {point:?}", case.id);
        }
    }

    #[test]
    fn half_speed_gives_a_little_less_than_half_the_flow() {
        // X-14 against X-10: flow ratio 0.4953, because friction goes with Q^1.852.
        let curve = us_curve(P);
        let pipes = PipeLoop { fittings_k: 12.0, ..PipeLoop::new(bore(2.0), Length::new::<foot>(80.0), 150.0) };
        let full = operating_point(&curve, &pipes).unwrap();
        let slow = curve.at_speed(Ratio::new::<ratio>(0.5)).unwrap();
        let half = operating_point(&slow, &pipes).unwrap();
        close((half.flow / full.flow).get::<ratio>(), 0.4953, 2e-4);
    }

    #[test]
    fn a_pump_too_weak_for_the_lift_says_so() {
        let curve = metric_curve(&[(90.0, 4.5)]);
        let pipes = PipeLoop { static_head: metres(7.2), ..PipeLoop::new(bore(2.0), metres(9.0), 150.0) };
        assert_eq!(
            operating_point(&curve, &pipes).unwrap_err().to_string(),
            "the pump moves no water: it can lift it 6.0 m at most, and the loop asks for 7.2 m before anything flows"
        );
        let just = PipeLoop { static_head: curve.shutoff_head(), ..pipes };
        assert!(matches!(operating_point(&curve, &just), Err(NoOperatingPoint::StaticHeadTooGreat { .. })));
    }

    #[test]
    fn the_ends_of_the_curve() {
        let curve = metric_curve(&[(90.0, 4.5)]);
        // Nothing to hold it back: the pump runs at its largest flow.
        let nothing = PipeLoop::new(bore(2.0), metres(0.0), 150.0);
        let point = operating_point(&curve, &nothing).unwrap();
        close(point.flow.get::<liter_per_minute>(), 180.0, 1e-9);
        assert_eq!(point.evaluations, 2);
        // Falling water drives the loop.
        let downhill = PipeLoop { static_head: metres(-2.0), ..nothing.clone() };
        assert_eq!(operating_point(&curve, &downhill), Err(NoOperatingPoint::PastLargestFlow));
        let no_bore = PipeLoop { bore: metres(0.0), ..nothing };
        assert_eq!(operating_point(&curve, &no_bore), Err(NoOperatingPoint::Loop(LoopError::Bore)));
    }

    #[test]
    fn a_nearly_closed_valve_is_still_resolved() {
        let curve = us_curve(P);
        for k in [1e4, 1e6, 1e9] {
            let pipes = PipeLoop { fittings_k: k, ..PipeLoop::new(bore(2.0), metres(20.0), 150.0) };
            let point = operating_point(&curve, &pipes).unwrap();
            assert!(point.evaluations <= MOST_EVALUATIONS, "{point:?}");
            assert!(point.residual.get::<meter>().abs() <= RESIDUAL_LIMIT_M);
        }
    }

    #[test]
    fn absurd_figures_are_an_error_and_not_a_flow() {
        // The loop's head overflows at every flow but the least.
        let pipes = PipeLoop { fittings_k: 1e300, loss_factor: 1e200, ..PipeLoop::new(bore(2.0), metres(20.0), 150.0) };
        let error = operating_point(&us_curve(P), &pipes).unwrap_err();
        assert!(matches!(error, NoOperatingPoint::Unresolved { .. }), "{error:?}");
    }

    /// A loop such as a spa may have, and worse: its static head is a part of the pump's shutoff head.
    fn any_loop() -> impl Strategy<Value = (PipeLoop, f64)> {
        let nominal = prop::sample::select(vec![1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0]);
        let drop = (0.0..5.0_f64, 20.0..400.0_f64)
            .prop_map(|(head, flow)| QuadraticDrop { head: metres(head), at_flow: lpm(flow) });
        (
            nominal,
            0.0..120.0_f64,
            80.0..160.0_f64,
            0.0..300.0_f64,
            prop::collection::vec(drop, 0..3),
            0.2..5.0_f64,
            0.0..0.98_f64,
        )
            .prop_map(|(nominal, length, c, k, drops, factor, lifted)| {
                let pipes = PipeLoop {
                    fittings_k: k,
                    drops,
                    loss_factor: factor,
                    ..PipeLoop::new(bore(nominal), metres(length), c)
                };
                (pipes, lifted)
            })
    }

    fn lift(curve: &PumpCurve, (pipes, lifted): (PipeLoop, f64)) -> PipeLoop {
        PipeLoop { static_head: curve.shutoff_head() * lifted, ..pipes }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2000))]

        #[test]
        fn every_sane_case_is_resolved(points in any_curve(), pipes in any_loop()) {
            let curve = metric_curve(&points);
            let pipes = lift(&curve, pipes);
            let point = operating_point(&curve, &pipes).unwrap();
            prop_assert!(point.evaluations <= MOST_EVALUATIONS, "{:?}", point);
            let difference = curve.head(point.flow) - pipes.head(point.flow);
            prop_assert!(difference.get::<meter>().abs() < RESIDUAL_LIMIT_M, "{:?}", point);
            prop_assert!(point.flow.value > 0.0 && point.flow <= curve.largest_flow());
        }

        #[test]
        fn more_loss_never_means_more_flow(
            points in any_curve(), pipes in any_loop(), more in 1.0..3.0_f64, which in 0..5
        ) {
            let curve = metric_curve(&points);
            let less = lift(&curve, pipes);
            let mut worse = less.clone();
            match which {
                0 => worse.length *= more,
                1 => worse.fittings_k *= more,
                2 => worse.hazen_williams_c /= more,
                3 => worse.loss_factor *= more,
                _ => worse.drops.push(QuadraticDrop { head: metres(more), at_flow: lpm(100.0) }),
            }
            let before = operating_point(&curve, &less).unwrap().flow;
            let after = operating_point(&curve, &worse).unwrap().flow;
            prop_assert!(after <= before + curve.largest_flow() * 1e-6, "{:?} {:?}", before, after);
        }

        #[test]
        fn a_larger_bore_never_means_less_flow(
            points in any_curve(), pipes in any_loop(), wider in 1.0..2.0_f64
        ) {
            let curve = metric_curve(&points);
            let narrow = lift(&curve, pipes);
            let wide = PipeLoop { bore: narrow.bore * wider, ..narrow.clone() };
            let before = operating_point(&curve, &narrow).unwrap().flow;
            let after = operating_point(&curve, &wide).unwrap().flow;
            prop_assert!(after >= before - curve.largest_flow() * 1e-6, "{:?} {:?}", before, after);
        }

        #[test]
        fn calibration_reproduces_the_measured_flow(
            points in any_curve(), pipes in any_loop(), part in 0.05..0.95_f64
        ) {
            let curve = metric_curve(&points);
            let (pipes, _) = pipes;
            let pipes = PipeLoop { length: pipes.length + metres(1.0), ..pipes };
            let measured = curve.largest_flow() * part;
            let factor = pipes.calibration(measured, &curve).unwrap();
            let point = operating_point(&curve, &pipes.calibrated_by(factor)).unwrap();
            prop_assert!(
                ((point.flow / measured).get::<ratio>() - 1.0).abs() < 1e-6,
                "{:?} {:?}", measured, point
            );
        }
    }
}
