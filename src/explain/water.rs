//! The chain behind a spa's water: flow, turnover, filters, the next change.

use uom::si::length::{inch, meter};
use uom::si::pressure::bar;
use uom::si::volume::liter;
use uom::si::volume_rate::liter_per_minute;

use super::Explainer;
use crate::address::Address;
use crate::basis::{Basis, Figure, Place, Source};
use crate::hydraulics;
use crate::quantities::SpaFigures;
use crate::quantities::run_hours;
use crate::quantities::water_turnover::{ASSUMED_C, CALIBRATED_WITHIN, MEASURED_WITHIN, STATED_WITHIN, WaterMonth};
use crate::records::Spa;
use crate::report::{filter_words, format};

impl Explainer<'_> {
    pub(super) fn spa(&self, spa: &Spa, figures: &SpaFigures, out: &mut Vec<String>) {
        let site = self.figures.site;
        let volume = spa.volume.map(|v| v.0.get::<liter>());
        out.push(volume.map_or_else(
            || "Volume: not known; `volume` would allow the turnover".to_owned(),
            |v| format!("Volume {} L", format::number(v, 0)),
        ));
        self.from([&self.lines.written(site, spa, "volume")], out);
        let Some(month) = figures.water.months.last() else {
            out.push("Turnover: not known".to_owned());
            return;
        };
        let figure = |name: &str, figure: &Figure, unit: &str| {
            let number = |value: f64| format::number(value, 1);
            format!(
                "{name} {} {unit}, {} to {}  {}",
                number(figure.value),
                number(figure.low),
                number(figure.high),
                figure.basis
            )
        };
        out.push(String::new());
        out.push(format!("Water in {}", month.month.in_words()));
        match &month.flow {
            Some(flow) => {
                out.push(figure("  flow", flow, "L/min"));
                self.flow_from(spa, figures, month, flow, out);
            }
            None => out.push(format!("  flow: not known; {}", figures.water.missing.join("; "))),
        }
        out.extend(figures.water.findings.iter().map(|finding| format!("  {finding}")));
        if let (Some(turnover), Some(flow), Some(volume)) = (&month.turnover, &month.flow, volume) {
            out.push(figure("  turnover", turnover, "min"));
            out.push(format!(
                "    = volume ÷ flow = {} L ÷ {} L/min",
                format::number(volume, 0),
                format::number(flow.value, 1)
            ));
        }
        if let Some(hours) = month.hours_per_day {
            out.push(format!("  filtration {} h/day over the month", format::number(hours, 1)));
        }
        if let Some(turnovers) = month.turnovers_per_day {
            out.push(format!("  {} turnovers a day = flow × filtration hours ÷ volume", format::number(turnovers, 1)));
        }
        if let Some(rate) = month.filter_rate {
            out.push(format!(
                "  filter rate {} L/min/m² = the highest flow ÷ filter area{}",
                format::number(rate, 1),
                month.filter_limit.map_or_else(String::new, |l| format!("; limit {}", format::number(l, 1)))
            ));
        }
        if let Some(velocity) = month.velocity {
            out.push(format!(
                "  velocity {} m/s = the highest flow ÷ bore{}",
                format::number(velocity, 2),
                month.velocity_limit.map_or_else(String::new, |l| format!("; limit {}", format::number(l, 2)))
            ));
        }
        let book = self.fleet.rule_book(site);
        let limits = book.and_then(|book| book.limits(site.r#use));
        match limits.and_then(|l| l.turnover.as_ref()).zip(month.limit_min) {
            Some((limit, minutes)) => out.push(format!(
                "  limit {} min: {}{}, {}",
                format::number(minutes, 0),
                limit.source,
                limit.edition.as_ref().map_or_else(String::new, |e| format!(" ({e})")),
                limit.known.in_words()
            )),
            None => out.push(format!(
                "  no limit on turnover in the rule book `{}` for this use",
                book.map_or("none", |book| book.name.as_str())
            )),
        }
        let failing = if month.failing.is_empty() { String::new() } else { format!(": {}", month.failing.join(", ")) };
        out.push(format!("  verdict: {}{failing}", month.verdict.word()));
        self.filters(spa, figures, out);
        if let Some(change) = &figures.water_change {
            let due = change.due.map_or_else(|| "due: not known".to_owned(), |due| format!("due {due}"));
            out.extend([String::new(), "Water change".to_owned(), format!("  {} {due}", change.says())]);
            self.from(&change.source, out);
        }
        let mine = |at: &Address| at.spa() == spa.at.as_str();
        let otherwise =
            "No one reading now would narrow the turnover: the flow was measured this month, or is not known.";
        self.advise(|advice| advice.part.is_none() && mine(&advice.at), otherwise, out);
    }

    /// What a flow rests on.
    fn flow_from(&self, spa: &Spa, figures: &SpaFigures, month: &WaterMonth, flow: &Figure, out: &mut Vec<String>) {
        let percent = |share: f64| format!("{} %", format::number(share * 100.0, 0));
        match flow.basis {
            Basis::Measured => out.push(format!(
                "    = mean of the month's readings; a reading is right within {} (assumed)",
                percent(MEASURED_WITHIN)
            )),
            Basis::Estimated => out.push(format!(
                "    = the last reading: nothing was cleaned or exchanged since; the filter has fouled, so that the low end is {} down (assumed)",
                percent(CALIBRATED_WITHIN)
            )),
            Basis::Stated => {
                out.push(format!("    = as the maker states, right on site within {} (assumed)", percent(STATED_WITHIN)));
            }
            _ => {
                self.loop_of(spa, figures, month, out);
                return;
            }
        }
        self.from(flow.sources.iter(), out);
    }

    /// The pump's curve and the loop it meets.
    fn loop_of(&self, spa: &Spa, figures: &SpaFigures, month: &WaterMonth, out: &mut Vec<String>) {
        let site = self.figures.site;
        let several = spa.pumps.iter().filter(|pump| !pump.filters_at.is_empty()).count() > 1;
        out.push(format!(
            "    = where the curve of {} meets the loop{}",
            if several { "the pumps, side by side while they run together," } else { "the pump" },
            month.head_m.map_or_else(String::new, |head| format!(", at {} m of head", format::number(head, 2)))
        ));
        for pump in spa.pumps.iter().filter(|pump| !pump.filters_at.is_empty()) {
            let Some(name) = run_hours::model_now(site, pump) else { continue };
            let speeds: Vec<&str> = pump.filters_at.iter().map(|speed| speed.word()).collect();
            out.push(format!("    pump {}: model {name}, filters at {}", pump.at, speeds.join(", ")));
            let place = Place::Path(format!("models.{name}.curve").into());
            self.from([&Source { file: "pumps.yaml".into(), place }], out);
        }
        if let Some(pipe) = &spa.pipe {
            let mut parts = Vec::new();
            if let Some(size) = pipe.size {
                let bore = hydraulics::schedule_40_bore(size.0).map_or_else(String::new, |bore| {
                    format!(" (bore {} mm)", format::number(bore.get::<meter>() * 1000.0, 1))
                });
                parts.push(format!("pipe {} in{bore}", format::number(size.0.get::<inch>(), 2)));
            }
            parts.extend(pipe.length.map(|length| format!("{} m", format::number(length.0.get::<meter>(), 1))));
            parts.push(match pipe.c {
                Some(c) => format!("C {}", format::number(c.0, 0)),
                None => format!("C {} (assumed)", format::number(ASSUMED_C, 0)),
            });
            let k: f64 =
                pipe.fittings.iter().map(|(name, n)| hydraulics::fitting_k(name.as_str()).unwrap_or(0.0) * n.0).sum();
            parts.push(format!("fittings K {}", format::number(k, 2)));
            parts.extend(pipe.heater_drop.map(|drop| {
                format!(
                    "heater {} m at {} L/min",
                    format::number(drop.head.0.get::<meter>(), 2),
                    format::number(drop.flow.0.get::<liter_per_minute>(), 0)
                )
            }));
            for filter in &spa.filters {
                parts.extend(filter.drop.map(|drop| {
                    format!(
                        "clean {} filter {} bar at {} L/min",
                        filter.at.last(),
                        format::number(drop.pressure.0.get::<bar>(), 2),
                        format::number(drop.flow.0.get::<liter_per_minute>(), 0)
                    )
                }));
            }
            out.push(format!("    loop: {}", parts.join(", ")));
            self.from([&self.lines.written(site, spa, "pipe")], out);
        }
        for filter in &figures.filters {
            if let Some((now, clean)) = filter.state.pressure.zip(filter.state.clean_pressure) {
                out.push(format!(
                    "    {}: the gauge at the last reading {} bar above clean",
                    filter.at,
                    format::number((now - clean).max(0.0), 2)
                ));
            }
        }
        if let Some(error) = figures.water.model_error {
            out.push(format!(
                "    the loop's losses are matched to the last measured flow; before, the calculation was {} % {}",
                format::number(error.abs() * 100.0, 0),
                if error >= 0.0 { "high" } else { "low" }
            ));
        }
    }

    fn filters(&self, spa: &Spa, figures: &SpaFigures, out: &mut Vec<String>) {
        let said = filter_words::cleaning(figures);
        for (filter, state) in spa.filters.iter().zip(figures.filters.iter().map(|f| &f.state)) {
            out.extend([String::new(), format!("Filter {}", filter.at)]);
            let pressure =
                |value: Option<f64>| value.map_or("not known".to_owned(), |b| format!("{} bar", format::number(b, 2)));
            out.push(format!(
                "  gauge {}{}; clean {}; last cleaned {}",
                pressure(state.pressure),
                state.read_on.map_or_else(String::new, |day| format!(" on {day}")),
                pressure(state.clean_pressure),
                state.last_clean.map_or("not known".to_owned(), |day| day.to_string())
            ));
            self.from(&state.sources, out);
            if let Some(rise) = state.rise_per_day {
                out.push(format!(
                    "  rises {} bar a day = median slope between readings since a clean",
                    format::number(rise, 4)
                ));
            }
            if let (Some(limit), Some((day, low, high))) = (state.rise_limit, state.clean_by) {
                out.push(format!(
                    "  to be cleaned {} bar above clean: {day}, central 80 % {}",
                    format::number(limit, 2),
                    super::range(low, high)
                ));
            }
            if let (Some(rise), Some((day, low, high))) = (state.short_rise, state.short_by) {
                out.push(format!(
                    "  turned over too slowly from {} bar above clean on: {day}, central 80 % {}",
                    format::number(rise, 2),
                    super::range(low, high)
                ));
            }
            if let Some(then) = &state.turnover_then {
                out.push(format!(
                    "  turnover at the clean limit {} min, {} to {}, if it is not cleaned before",
                    format::number(then.value, 1),
                    format::number(then.low, 1),
                    format::number(then.high, 1)
                ));
            }
        }
        out.extend(said.into_iter().map(|sentence| format!("  {sentence}")));
    }
}
