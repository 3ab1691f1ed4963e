//! Rules about a pump beside its model and its duty: what its sheet contradicts, what is unlike the usual.

use uom::si::{length::inch, power::horsepower};

use super::Checker;
use crate::diagnostic::{Rule, Severity};
use crate::records::pumps::{Model, frame_by_bolts};
use crate::records::tubs::{Duty, ProgramFile, Speed};
use crate::records::yaml;
use crate::records::{Pump, Site};

impl Checker<'_> {
    pub(super) fn pump(&mut self, site: &Site, pump: &Pump) {
        let path = format!("spas.{}.pumps.{}", pump.at.spa(), pump.at.last());
        let model = self.fleet.model(pump);
        match (&pump.model, model) {
            (Some(name), None) if !self.fleet.models.is_empty() && !self.fleet.has_model(&name.0) => {
                let near = yaml::nearest(&name.0, self.fleet.models.keys().map(String::as_str))
                    .map(|near| format!("did you mean `{near}`?"));
                self.tell(
                    Severity::Warning,
                    Rule::UnknownModel,
                    &format!("{path}.model"),
                    format!("no model `{name}` stands in pumps.yaml"),
                    near,
                );
            }
            (_, Some(model)) => self.pump_against_model(pump, model, &path),
            _ => {}
        }
        self.programs(site, pump, &path);
        self.program_before_pump(pump, &path);
        self.filters_by_program(pump, &path);
        if pump.programs.is_empty() || pump.usual_program {
            let jets = pump.duty != Duty::Filtration;
            if jets && pump.programs.is_empty() {
                let hint = Some("add `program:` with the hours a day at each speed".to_owned());
                self.tell(
                    Severity::Warning,
                    Rule::NoProgram,
                    &path,
                    format!("the jet pump `{}` has no program", pump.at),
                    hint,
                );
            }
        }
    }

    /// A pump that filters, whose programs have no hours at a speed it filters at.
    fn filters_by_program(&mut self, pump: &Pump, path: &str) {
        let filters = |program: &ProgramFile| {
            let occupied = program.occupied.iter().flat_map(|hours| hours.named().collect::<Vec<_>>());
            program.base().named().chain(occupied).any(|(speed, _)| pump.filters_at.contains(&speed))
        };
        if pump.usual_program || pump.filters_at.is_empty() || pump.programs.iter().all(filters) {
            return;
        }
        let written = pump.filters_at.iter().filter(|speed| **speed != Speed::All);
        let speeds: Vec<String> = written.map(|speed| format!("`{}`", speed.word())).collect();
        let message =
            format!("a program of `{}` has no hours at a speed it filters at ({})", pump.at, speeds.join(", "));
        let hint = Some("add them, or `filters_at` if it filters at another speed".to_owned());
        self.tell(Severity::Warning, Rule::NoProgram, &format!("{path}.program"), message, hint);
    }

    fn pump_against_model(&mut self, pump: &Pump, model: &Model, path: &str) {
        let jets = pump.duty == Duty::Jets;
        if let Some(power) = model.power.map(|p| p.0.get::<horsepower>()) {
            let unusual = if jets { power > 8.0 } else { pump.duty == Duty::Filtration && power >= 1.0 + 1e-9 };
            if unusual {
                let usual = if jets { "up to 8 hp" } else { "under 1 hp" };
                let message = format!("`{}` has {power:.2} hp; pumps of this duty usually have {usual}", pump.at);
                self.tell(Severity::Warning, Rule::UnusualPower, &format!("{path}.model"), message, None);
            }
        }
        if let Some(inlet) = model.ports.and_then(|p| p.inlet).map(|l| l.0.get::<inch>()) {
            let near = |size: f64| (inlet - size).abs() < 0.1;
            let unusual = match pump.duty {
                Duty::Filtration => !near(1.5),
                Duty::Jets => !near(2.0) && !near(2.5),
                Duty::FiltrationAndJets => !near(1.5) && !near(2.0) && !near(2.5),
            };
            if unusual {
                let usual = if jets { "2 or 2.5 in" } else { "1.5 in" };
                let message =
                    format!("`{}` has a {inlet:.2} in inlet; pumps of this duty usually have {usual}", pump.at);
                self.tell(Severity::Warning, Rule::UnusualPorts, &format!("{path}.model"), message, None);
            }
        }
        // Jet pumps have either frame; other makes of frame than these two say nothing of the duty.
        if let Some(frame) = model.frame.as_ref().filter(|frame| frame.0.trim().starts_with("56"))
            && pump.duty == Duty::Filtration
        {
            let message = format!("`{}` has frame {frame}; pumps of this duty usually have frame 48", pump.at);
            self.tell(Severity::Warning, Rule::UnusualFrame, &format!("{path}.model"), message, None);
        }
        if let (Some(spacing), Some(frame)) = (pump.bolt_spacing.map(|l| l.0.get::<inch>()), &model.frame)
            && let Some(seen) = frame_by_bolts(spacing)
            && !frame.0.starts_with(seen)
        {
            let message = format!(
                "`{}` measures {spacing:.1} in across the feet, like frame {seen}, but its model has frame {frame}",
                pump.at
            );
            let path = format!("{path}.bolt_spacing");
            let name = pump.model.as_ref().map_or(String::new(), |name| name.0.clone());
            let second = self.in_shared("pumps.yaml", &["models", &name, "frame"], "its model's frame".to_owned());
            self.tell(Severity::Warning, Rule::FrameAgainstBolts, &path, message, None).second = second;
        }
    }
}
