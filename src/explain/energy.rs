//! Why a pump's energy is what it is: the current, the voltage and their records, and the nights its hours depend on.

use super::{Explainer, hours_in_print};
use crate::basis::{Place, Source};
use crate::calendar::{Month, in_words, plus_days};
use crate::quantities::run_hours::{self, Input, InputFrom, RunHours};
use crate::records::{Pump, Spa};
use crate::report::format;

impl Explainer<'_> {
    pub(super) fn energy_of(&self, pump: &Pump, hours: &RunHours, out: &mut Vec<String>) {
        let month = Month::of(self.figures.as_of);
        out.extend([String::new(), format!("Energy of the pump in {}", month.in_words())]);
        for row in hours.of_month(month) {
            let speed = row.speed.word();
            match row.hours.zip(row.energy_kwh).filter(|(h, _)| *h > 0.0) {
                Some((run, energy)) => {
                    let cost = row.energy_cost.map_or_else(
                        || "cost not known: `electricity` of fleet.yaml".to_owned(),
                        |cost| format!("{} {}", self.fleet.settings.currency.0, format::number(cost, 2)),
                    );
                    out.push(format!(
                        "  {speed}: {} × {} kW = {} kWh; {cost}",
                        hours_in_print(run),
                        format::number(energy / run, 3),
                        format::number(energy, 1)
                    ));
                    let site = self.figures.site;
                    let inputs = run_hours::inputs(self.fleet, site, pump, &hours.exchanges, row.speed, month);
                    if inputs.len() > 1 {
                        out.push("    exchanged in this month: each pump's hours count at its own power".to_owned());
                    }
                    for input in inputs.iter().flatten() {
                        self.input(pump, input, out);
                    }
                    if row.energy_cost.is_some() {
                        let place = Place::Path("electricity".into());
                        self.from([&Source { file: "fleet.yaml".into(), place }], out);
                    }
                }
                None if row.hours == Some(0.0) => out.push(format!("  {speed}: it did not run")),
                None => out.push(format!("  {speed}: not known; a `current` reading or the model's would tell")),
            }
        }
        out.push(format!(
            "  power = measured current, else the model's, × voltage × {} (assumed) × √3 for three phases",
            run_hours::POWER_FACTOR
        ));
    }

    /// Where the power comes from, with its records.
    fn input(&self, pump: &Pump, input: &Input, out: &mut Vec<String>) {
        let site = self.figures.site;
        let model = run_hours::model_now(site, pump).unwrap_or_default();
        let sheet = |field: &str| Source {
            file: "pumps.yaml".into(),
            place: Place::Path(format!("models.{model}.{field}").into()),
        };
        let kilowatts = format::number(input.kilowatts, 3);
        match &input.from {
            InputFrom::Current { amperes, volts, three_phases, readings } => {
                let of = match readings.as_slice() {
                    [] => "by the model".to_owned(),
                    [one] => format!("measured {}", in_words(one.day)),
                    several => format!("the mean of {} readings", several.len()),
                };
                let phases = if *three_phases { " × √3" } else { "" };
                out.push(format!(
                    "    {} A {of} × {} V × {}{phases} = {kilowatts} kW",
                    format::number(*amperes, 2),
                    format::number(*volts, 0),
                    run_hours::POWER_FACTOR
                ));
                let mut sources: Vec<Source> = readings.iter().map(|row| row.source(site, &pump.at)).collect();
                if sources.is_empty() {
                    sources.push(sheet("current"));
                }
                sources.push(sheet("supply"));
                self.from(&sources, out);
            }
            InputFrom::Shaft(shaft) => {
                out.push(format!(
                    "    {} kW at the shaft ÷ {} (assumed) = {kilowatts} kW",
                    format::number(*shaft, 3),
                    run_hours::MOTOR_EFFICIENCY
                ));
                self.from([&sheet("power")], out);
            }
        }
    }

    /// The nights that a program which changes with guests rests on. Their file may hold names, so no line of it is shown.
    pub(super) fn bookings_of(&self, spa: &Spa, out: &mut Vec<String>) {
        let site = self.figures.site;
        let own = format!("bookings/{}--{}.ics", site.id, spa.at);
        let file = if self.lines.folder.has(&own) { own } else { format!("bookings/{}.ics", site.id) };
        let Some(stays) = &spa.stays else {
            out.push(format!("  nights guests are in: not known, so none is counted; {file} would tell"));
            return;
        };
        let from = plus_days(self.figures.as_of, -364);
        let occupied = stays.occupied();
        let nights =
            (0..365).filter(|day| crate::records::bookings::is_within(&occupied, plus_days(from, *day))).count();
        out.push(format!("  nights guests were in: {nights} of the last 365"));
        out.push(format!("    {file}"));
    }
}
