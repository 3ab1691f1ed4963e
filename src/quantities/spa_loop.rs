//! A spa's records as hydraulics: the curve of a pump model at a speed, and the loop it pumps through
//! with its filter as fouled as it is.
//!
//! It exists so that turnover, fouling and the ways out of a shortage all ask the same loop. It must
//! not judge, and it fills in nothing but the roughness of plastic pipe, the half speed of a two-speed
//! pump that names none, and water of 38 °C; each is named in the reports' assumptions.
//!
//! Filters of one spa stand side by side: their flows and areas add up. A filter's rise above clean is
//! a loss measured at the working point itself, so it adds to the head there whatever the flow; at
//! another speed of the pump it goes with the square of the flow from that point.

use uom::si::f64::{Length, Pressure, Ratio, ThermodynamicTemperature, VolumeRate};
use uom::si::length::meter;
use uom::si::pressure::bar;
use uom::si::ratio::ratio;
use uom::si::thermodynamic_temperature::degree_celsius;
use uom::si::volume_rate::cubic_meter_per_second;

use crate::hydraulics::{self, CurvePoint, OperatingPoint, PipeLoop, PumpCurve, QuadraticDrop};
use crate::records::Spa;
use crate::records::pumps::{self, Model, Speeds};
use crate::records::tubs::Speed;

/// The roughness of plastic pipe where none is written (Hazen–Williams).
pub const ASSUMED_C: f64 = 150.0;
/// Low speed over high where a two-speed model names none.
pub const ASSUMED_LOW_SPEED: f64 = 0.5;
/// Water temperature where the spa has no `setpoint`, °C.
pub const ASSUMED_CELSIUS: f64 = 38.0;

/// A loop with what is not written of it.
#[derive(Debug, Clone)]
pub struct SpaLoop {
    pipe: PipeLoop,
    /// Which of the pipe's drops is that of the clean filters; `None` = it is not written.
    filters_drop: Option<usize>,
    temperature: ThermodynamicTemperature,
    /// Whether fittings and the clean filter's drop are all written: without them the flow comes out high.
    pub complete: bool,
}

/// Why there is no flow.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NoFlow {
    /// A field is not written.
    NotWritten,
    /// What is written cannot be: the finding, as a sentence's end.
    Finding(String),
}

/// How a filter's rise above clean adds to the loop.
#[derive(Debug, Clone, Copy)]
pub enum Fouling {
    /// So much at the working point that is looked for, bar.
    AtWorkingPoint(f64),
    /// So much at this flow, bar; elsewhere with its square.
    AtFlow(f64, VolumeRate),
}

impl SpaLoop {
    /// The loop of a spa with clean filters. `None` if the pipe's size or length is not written, or the
    /// size is none of those whose bore is known.
    pub fn of(spa: &Spa) -> Option<Self> {
        let pipe = spa.pipe.as_ref()?;
        let bore = hydraulics::schedule_40_bore(pipe.size?.0)?;
        let celsius = spa.setpoint.map_or(ASSUMED_CELSIUS, |t| t.0.get::<degree_celsius>());
        let temperature = ThermodynamicTemperature::new::<degree_celsius>(celsius);
        let fittings_k =
            pipe.fittings.iter().map(|(name, n)| hydraulics::fitting_k(name.as_str()).unwrap_or(0.0) * n.0).sum();
        let mut drops: Vec<QuadraticDrop> = pipe
            .heater_drop
            .iter()
            .map(|heater| QuadraticDrop { head: heater.head.0, at_flow: heater.flow.0 })
            .collect();
        let clean = clean_filters(spa, temperature);
        let filters_drop = clean.map(|_| drops.len());
        drops.extend(clean);
        let static_head = pipe.static_head.map_or(Length::new::<meter>(0.0), |h| h.0);
        let roughness = pipe.c.map_or(ASSUMED_C, |c| c.0);
        let complete = !pipe.fittings.0.is_empty() && spa.filters.iter().all(|f| f.drop.is_some());
        let pipe = PipeLoop { fittings_k, static_head, drops, ..PipeLoop::new(bore, pipe.length?.0, roughness) };
        Some(Self { pipe, filters_drop, temperature, complete })
    }

    /// The loop with so many times the filter area: the clean filters' drop goes with the flow through each unit of
    /// it. Where their drop is not written they take nothing from the flow as it is, and more area changes nothing.
    #[must_use]
    pub fn with_filter_area(&self, times: f64) -> Self {
        let mut changed = self.clone();
        if let Some(drop) = self.filters_drop.and_then(|index| changed.pipe.drops.get_mut(index)) {
            drop.at_flow *= times;
        }
        changed
    }

    /// Whether what the clean filters take is written, so that their area matters to the flow.
    pub fn knows_filter_drop(&self) -> bool {
        self.filters_drop.is_some()
    }

    /// The loop in pipe of another bore, length and fittings as they are.
    #[must_use]
    pub fn with_bore(&self, bore: Length) -> Self {
        Self { pipe: PipeLoop { bore, ..self.pipe.clone() }, ..self.clone() }
    }

    /// The loop with its losses multiplied by a factor from [`SpaLoop::calibration`].
    #[must_use]
    pub fn calibrated_by(&self, factor: f64) -> Self {
        Self { pipe: self.pipe.calibrated_by(factor), ..self.clone() }
    }

    /// The factor that makes the loop, fouled by `rise_bar` at that flow, meet the curve there.
    pub fn calibration(&self, measured: VolumeRate, rise_bar: f64, curve: &PumpCurve) -> Option<f64> {
        self.fouled(Fouling::AtWorkingPoint(rise_bar))?.calibration(measured, curve)
    }

    /// Where a curve meets the loop with its filter fouled.
    ///
    /// # Errors
    /// If they do not meet, or the water is outside the range of its properties.
    pub fn point(&self, curve: &PumpCurve, fouling: Fouling) -> Result<OperatingPoint, NoFlow> {
        let Some(pipe) = self.fouled(fouling) else {
            return Err(NoFlow::Finding("the water's temperature is outside that of water in a spa".to_owned()));
        };
        hydraulics::operating_point(curve, &pipe).map_err(|error| NoFlow::Finding(error.to_string()))
    }

    fn fouled(&self, fouling: Fouling) -> Option<PipeLoop> {
        let head_of =
            |rise: f64| hydraulics::pressure_to_head(Pressure::new::<bar>(rise.max(0.0)), self.temperature).ok();
        let mut pipe = self.pipe.clone();
        match fouling {
            Fouling::AtWorkingPoint(rise) => pipe.static_head += head_of(rise)?,
            Fouling::AtFlow(rise, at_flow) if at_flow.get::<cubic_meter_per_second>() > 0.0 => {
                // The factor is on the pipes as they were guessed at; the rise was read off a gauge.
                pipe.drops.push(QuadraticDrop { head: head_of(rise)? / pipe.loss_factor, at_flow });
            }
            Fouling::AtFlow(..) => {}
        }
        Some(pipe)
    }
}

/// The drop of all clean filters together, which stand side by side. Where one's is not written none counts.
fn clean_filters(spa: &Spa, temperature: ThermodynamicTemperature) -> Option<QuadraticDrop> {
    // With head k q² at each, the same head over all lets through q = √(head / k) each.
    let mut at_one_metre = VolumeRate::new::<cubic_meter_per_second>(0.0);
    for filter in &spa.filters {
        let drop = filter.drop?;
        let head = hydraulics::pressure_to_head(drop.pressure.0, temperature).ok()?.get::<meter>();
        if head <= 0.0 {
            return None;
        }
        at_one_metre += drop.flow.0 / head.sqrt();
    }
    (at_one_metre.get::<cubic_meter_per_second>() > 0.0)
        .then(|| QuadraticDrop { head: Length::new::<meter>(1.0), at_flow: at_one_metre })
}

/// Low speed over high of a two-speed model.
pub fn low_speed(model: &Model) -> f64 {
    model.low_speed.map_or(ASSUMED_LOW_SPEED, |share| share.0)
}

/// The curve of a model at a speed: as stated, or by the affinity laws from the high speed.
///
/// # Errors
/// If none is written, or what is written is no pump curve.
pub fn curve(model: &Model, speed: Speed) -> Result<PumpCurve, NoFlow> {
    let stated = |points: &[pumps::CurvePoint]| {
        if points.is_empty() {
            return Err(NoFlow::NotWritten);
        }
        let points: Vec<CurvePoint> = points.iter().map(|p| CurvePoint { flow: p.flow.0, head: p.head.0 }).collect();
        PumpCurve::new(&points).map_err(|error| NoFlow::Finding(error.to_string()))
    };
    if model.speeds == Speeds::Two && speed == Speed::All {
        // One counter for both speeds and no program: at which it ran is not known.
        return Err(NoFlow::NotWritten);
    }
    if model.speeds == Speeds::Two && speed == Speed::Low {
        if !model.low_curve.is_empty() {
            return stated(&model.low_curve);
        }
        return stated(&model.curve)?
            .at_speed(Ratio::new::<ratio>(low_speed(model)))
            .map_err(|error| NoFlow::Finding(error.to_string()));
    }
    stated(&model.curve)
}
