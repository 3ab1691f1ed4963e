//! Is another pump a plain swap for the one that is fitted? Attribute by attribute: what fits, what does not, and
//! what nobody has written down.
//!
//! There is one such rule for the ways out of a shortage, the `swap` command and the parts lists. A pump passes only
//! where all seven attributes are known of both and the same; what is missing never counts as fitting, and another
//! power never passes, since it changes the wiring and the flow through the suction covers. The brand and the model's
//! name are no attribute: they may change when all of these match.

use uom::si::electric_potential::volt;
use uom::si::length::{inch, meter};
use uom::si::power::watt;

use crate::records::pumps::{Model, Speeds, frame_by_bolts};
use crate::units::Length;

/// How far two figures may be apart and still be the same: sizes are written in rounded inches or millimetres, powers
/// in horsepower or watts.
pub const SAME_WITHIN: f64 = 0.02;

/// What must be alike, in the order it is checked on site.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Attribute {
    /// The motor's power.
    Power,
    /// The number of speeds.
    Speeds,
    /// The motor's frame, which is the place of its feet and shaft.
    Frame,
    /// The size of the union at the inlet.
    Inlet,
    /// The size of the union at the discharge.
    Discharge,
    /// The voltage of the supply.
    Voltage,
    /// The phases of the supply.
    Phases,
}

impl Attribute {
    /// All of them, in order.
    pub const ALL: [Self; 7] =
        [Self::Power, Self::Speeds, Self::Frame, Self::Inlet, Self::Discharge, Self::Voltage, Self::Phases];
}

/// What is known of an attribute.
#[derive(Debug, Clone, PartialEq)]
pub enum Measure {
    /// A power, W.
    Power(f64),
    /// So many speeds.
    Speeds(u8),
    /// A frame as the plate says it.
    Frame(String),
    /// The frame that goes with a measured bolt spacing, and the spacing, in.
    FrameByBolts(&'static str, f64),
    /// A plate and a bolt spacing, in, that go with different frames.
    FrameDisputed(String, f64),
    /// A nominal size, m.
    Size(f64),
    /// A voltage, V.
    Voltage(f64),
    /// So many phases.
    Phases(f64),
}

/// Whether an attribute fits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fit {
    /// It is known of both and the same.
    Fits,
    /// It is not known of one of them, or disputed.
    Missing,
    /// It is another.
    DoesNotFit,
}

/// An attribute of the two pumps.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared {
    /// Which.
    pub attribute: Attribute,
    /// Of the pump that is fitted; `None` = not known.
    pub fitted: Option<Measure>,
    /// Of the pump that is offered; `None` = not known.
    pub offered: Option<Measure>,
    /// Whether it fits.
    pub fit: Fit,
}

/// Compares what is fitted with a model. Where the plate of the fitted pump says no frame, its bolt spacing may.
pub fn compare(fitted: Option<&Model>, bolt_spacing: Option<Length>, offered: &Model) -> Vec<Compared> {
    Attribute::ALL
        .iter()
        .map(|attribute| {
            let fitted = measure(*attribute, fitted, bolt_spacing);
            let offered = measure(*attribute, Some(offered), None);
            let fit = match (&fitted, &offered) {
                (Some(Measure::FrameDisputed(..)) | None, _) | (_, None) => Fit::Missing,
                (Some(fitted), Some(offered)) if is_same(fitted, offered) => Fit::Fits,
                _ => Fit::DoesNotFit,
            };
            Compared { attribute: *attribute, fitted, offered, fit }
        })
        .collect()
}

/// The worst of what was compared: [`Fit::Fits`] only if all of it fits.
pub fn worst(compared: &[Compared]) -> Fit {
    compared.iter().map(|one| one.fit).max().unwrap_or(Fit::Missing)
}

/// Whether two models can be swapped plainly: all that must be alike is stated for both and the same.
pub fn is_like(a: &Model, b: &Model) -> bool {
    worst(&compare(Some(a), None, b)) == Fit::Fits
}

/// What is known of an attribute of a model, or of the pump that is fitted.
pub fn measure(attribute: Attribute, model: Option<&Model>, bolt_spacing: Option<Length>) -> Option<Measure> {
    if attribute == Attribute::Frame {
        return frame(model, bolt_spacing.map(|spacing| spacing.0.get::<inch>()));
    }
    let model = model?;
    match attribute {
        Attribute::Power => model.power.map(|power| Measure::Power(power.0.get::<watt>())),
        Attribute::Speeds => Some(Measure::Speeds(if model.speeds == Speeds::One { 1 } else { 2 })),
        Attribute::Frame => None,
        Attribute::Inlet => model.ports?.inlet.map(|size| Measure::Size(size.0.get::<meter>())),
        Attribute::Discharge => model.ports?.discharge.map(|size| Measure::Size(size.0.get::<meter>())),
        Attribute::Voltage => model.supply?.voltage.map(|voltage| Measure::Voltage(voltage.0.get::<volt>())),
        Attribute::Phases => model.supply?.phases.map(|phases| Measure::Phases(phases.0)),
    }
}

fn frame(model: Option<&Model>, bolts: Option<f64>) -> Option<Measure> {
    let plate = model.and_then(|model| model.frame.as_ref()).map(|frame| frame.0.trim().to_owned());
    let seen = bolts.and_then(|inches| Some((frame_by_bolts(inches)?, inches)));
    match (plate.filter(|plate| !plate.is_empty()), seen) {
        (Some(plate), Some((frame, inches))) if !plate.starts_with(frame) => {
            Some(Measure::FrameDisputed(plate, inches))
        }
        (Some(plate), _) => Some(Measure::Frame(plate)),
        (None, Some((frame, inches))) => Some(Measure::FrameByBolts(frame, inches)),
        (None, None) => None,
    }
}

fn is_same(a: &Measure, b: &Measure) -> bool {
    let near = |a: &f64, b: &f64| (a - b).abs() <= SAME_WITHIN * a.abs().max(b.abs());
    match (a, b) {
        (Measure::Power(a), Measure::Power(b))
        | (Measure::Size(a), Measure::Size(b))
        | (Measure::Voltage(a), Measure::Voltage(b)) => near(a, b),
        (Measure::Phases(a), Measure::Phases(b)) => a == b,
        (Measure::Speeds(a), Measure::Speeds(b)) => a == b,
        (Measure::Frame(a), Measure::Frame(b)) => a.eq_ignore_ascii_case(b),
        // Feet say the number of a frame and not what a letter behind it stands for: that is read on the plate.
        (Measure::FrameByBolts(seen, _), Measure::Frame(plate)) => plate == seen,
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FULL: &str = "speeds: 1\npower: 0.5 hp\nframe: \"48\"\nports: {inlet: 1.5 in, discharge: 1.5 in}\nsupply: {voltage: 230 V, phases: 1}\n";

    fn model(text: &str) -> Model {
        serde_yaml::from_str(text).unwrap()
    }

    fn spacing(text: &str) -> Length {
        crate::units::Written::read(text).unwrap()
    }

    /// Each attribute alone wrong, alone missing, and all right: nothing else may change the verdict.
    #[test]
    fn each_attribute_alone_wrong_missing_or_right() {
        let cases = [
            (Attribute::Power, "power: 0.5 hp\n", "power: 0.75 hp\n"),
            (Attribute::Frame, "frame: \"48\"\n", "frame: \"56\"\n"),
            (Attribute::Inlet, "inlet: 1.5 in, ", "inlet: 2 in, "),
            (Attribute::Discharge, ", discharge: 1.5 in", ", discharge: 2 in"),
            (Attribute::Voltage, "voltage: 230 V, ", "voltage: 115 V, "),
            (Attribute::Phases, ", phases: 1", ", phases: 3"),
        ];
        let full = model(FULL);
        assert_eq!(worst(&compare(Some(&full), None, &full)), Fit::Fits);
        for (attribute, right, wrong) in cases {
            let of = |compared: Vec<Compared>| -> Vec<(Attribute, Fit)> {
                compared.into_iter().filter(|c| c.fit != Fit::Fits).map(|c| (c.attribute, c.fit)).collect()
            };
            let (wrong, missing) = (model(&FULL.replace(right, wrong)), model(&FULL.replace(right, "")));
            assert_eq!(of(compare(Some(&full), None, &wrong)), [(attribute, Fit::DoesNotFit)]);
            assert_eq!(of(compare(Some(&wrong), None, &full)), [(attribute, Fit::DoesNotFit)]);
            assert_eq!(of(compare(Some(&full), None, &missing)), [(attribute, Fit::Missing)]);
            assert_eq!(of(compare(Some(&missing), None, &full)), [(attribute, Fit::Missing)]);
            assert!(!is_like(&full, &wrong) && !is_like(&full, &missing));
        }
        // A model cannot be written without its speeds; a pump without a model has none that are known.
        let two = model(&FULL.replace("speeds: 1", "speeds: 2"));
        let fits = |compared: &[Compared]| compared.iter().map(|c| c.fit).collect::<Vec<_>>();
        assert_eq!(compare(Some(&full), None, &two)[1].fit, Fit::DoesNotFit);
        assert_eq!(fits(&compare(None, None, &full)), [Fit::Missing; 7]);
    }

    #[test]
    fn another_power_never_passes_and_another_way_to_write_it_does() {
        for (power, fits) in [
            ("373 W", true),
            ("0.37 kW", true),
            ("0.53 hp", false),
            ("0.45 hp", false),
            ("0.33 hp", false),
            ("5 hp", false),
        ] {
            let other = model(&FULL.replace("power: 0.5 hp", &format!("power: {power}")));
            assert_eq!(is_like(&model(FULL), &other), fits, "{power}");
        }
        assert!(is_like(&model(FULL), &model(&FULL.replace("inlet: 1.5 in", "inlet: 38 mm"))));
    }

    /// Feet 4 1/4 in apart are frame 48 and 4 7/8 in frame 56: NEMA MG 1, 2E, as reproduced.
    #[test]
    fn feet_stand_for_a_plate_that_cannot_be_read_and_never_against_one() {
        let (full, bare) = (model(FULL), model(&FULL.replace("frame: \"48\"\n", "")));
        let fit = |fitted: &Model, bolts: &str| compare(Some(fitted), Some(spacing(bolts)), &full)[2].fit;
        assert_eq!(fit(&bare, "4.25 in"), Fit::Fits);
        assert_eq!(fit(&bare, "4.875 in"), Fit::DoesNotFit);
        assert_eq!(fit(&bare, "7 in"), Fit::Missing);
        assert_eq!(fit(&full, "4.25 in"), Fit::Fits);
        assert_eq!(fit(&full, "4.875 in"), Fit::Missing);
        let with_letter = model(&FULL.replace("\"48\"", "48Y"));
        assert_eq!(compare(Some(&bare), Some(spacing("4.25 in")), &with_letter)[2].fit, Fit::DoesNotFit);
    }
}
