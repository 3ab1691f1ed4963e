//! A comparison of pumps in words, for the command and for the sheets: what each attribute is called, how it is
//! written, and where it is read or measured on site when nobody has written it down.

use uom::si::f64::{Length, Power};
use uom::si::length::{inch, meter};
use uom::si::power::{horsepower, kilowatt, watt};

use super::{Candidate, Job, Swap, Water, current, speeds};
use crate::basis::Figure;
use crate::quantities::like_for_like::{self, Attribute, Fit, Measure};
use crate::records::fleet::Units;
use crate::records::tubs::Speed;
use crate::report::format::{flow, number};

/// Rise of the calculated flow from which the suction covers are to be looked at: less is within what is known of it.
const MORE_FLOW: f64 = 1.01;

/// An attribute's name.
pub fn attribute_name(attribute: Attribute) -> &'static str {
    match attribute {
        Attribute::Power => "power",
        Attribute::Speeds => "speeds",
        Attribute::Frame => "frame",
        Attribute::Inlet => "inlet",
        Attribute::Discharge => "discharge",
        Attribute::Voltage => "voltage",
        Attribute::Phases => "phases",
    }
}

/// The field of `pumps.yaml` it is written in.
pub(super) fn field_name(attribute: Attribute) -> &'static str {
    match attribute {
        Attribute::Inlet => "ports: {inlet: …}",
        Attribute::Discharge => "ports: {discharge: …}",
        Attribute::Voltage => "supply: {voltage: …}",
        Attribute::Phases => "supply: {phases: …}",
        plain => attribute_name(plain),
    }
}

/// Where an attribute is read or measured on a pump.
pub fn where_to_look(attribute: Attribute) -> &'static str {
    match attribute {
        Attribute::Power => {
            "read the rated output on the motor's plate, in hp or kW; the size of the motor says nothing"
        }
        Attribute::Speeds => {
            "read it on the motor's plate: two currents, or two speeds in rpm, are two speeds; the connection has three \
             conductors for one speed, four for two (common practice, no source)"
        }
        Attribute::Frame => {
            "read FR or FRAME on the motor's plate; else measure the bolt spacing across the feet, centre to centre of \
             the holes: about 4 1/4 in is frame 48, about 4 7/8 in is frame 56 (NEMA MG 1, as reproduced); write it as \
             `bolt_spacing`"
        }
        Attribute::Inlet => {
            "measure the inside diameter of the thread at the pump's inlet, not the union nut, and compare it with the \
             new pump's; the nominal size is on the maker's sheet"
        }
        Attribute::Discharge => {
            "measure the inside diameter of the thread at the pump's discharge, not the union nut, and compare it with \
             the new pump's; the nominal size is on the maker's sheet"
        }
        Attribute::Voltage => "read it on the motor's plate, and have the supply measured by who may open it",
        Attribute::Phases => "read PH or PHASE on the motor's plate",
    }
}

/// A measure as it is written.
pub fn measure_words(measure: &Measure, units: Units) -> String {
    match measure {
        Measure::Power(watts) => power_words(*watts, units),
        Measure::Speeds(speeds) => speeds.to_string(),
        Measure::Frame(frame) => frame.clone(),
        Measure::FrameByBolts(frame, inches) => format!("{frame}, by {} in across the feet", trimmed(*inches, 3)),
        Measure::FrameDisputed(plate, inches) => {
            format!("{plate} by its sheet, but {} in across the feet", trimmed(*inches, 3))
        }
        Measure::Size(metres) => size_words(*metres),
        Measure::Voltage(volts) => format!("{volts:.0} V"),
        Measure::Phases(phases) => trimmed(*phases, 0),
    }
}

/// A power as plates say it.
pub fn power_words(watts: f64, units: Units) -> String {
    let power = Power::new::<watt>(watts);
    let hp = trimmed(power.get::<horsepower>(), 2);
    match units {
        Units::Metric => format!("{hp} hp ({:.2} kW)", power.get::<kilowatt>()),
        Units::Us => format!("{hp} hp"),
    }
}

/// A nominal size.
pub fn size_words(metres: f64) -> String {
    format!("{} in", trimmed(Length::new::<meter>(metres).get::<inch>(), 2))
}

/// A number without the zeros behind it.
pub fn trimmed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// The gaskets and conductors of a job, a sentence each.
pub fn job_words(job: &Job) -> [String; 2] {
    let size = |size: Option<f64>| size.map_or("of a size to be measured".to_owned(), size_words);
    let [inlet, discharge] = job.gaskets;
    let gaskets = format!("2 new union gaskets every time: inlet {}, discharge {}", size(inlet), size(discharge));
    let conductors = match job.conductors {
        Some(count) => format!(
            "{count} conductors, the protective one among them (common practice, no source): connect by the wiring \
             diagrams of pump and pack, never by wire colour"
        ),
        None => "conductors as the wiring diagrams of pump and pack say: the supply has more than one phase".to_owned(),
    };
    [gaskets, conductors]
}

/// The whole comparison, line by line.
pub fn lines(swap: &Swap, address: &str) -> Vec<String> {
    let units = swap.fleet.settings.units;
    let mut lines = vec![match (&swap.name, swap.fitted) {
        (Some(name), Some(_)) => format!("{address}: fitted is {name}"),
        (Some(name), None) => format!("{address}: fitted is {name}, which has no sheet in pumps.yaml"),
        (None, _) => format!("{address}: which model is fitted is not written down"),
    }];
    for attribute in Attribute::ALL {
        let fitted = like_for_like::measure(attribute, swap.fitted, swap.bolt_spacing);
        let words = fitted
            .map_or_else(|| format!("missing: {}", where_to_look(attribute)), |measure| measure_words(&measure, units));
        lines.push(row(attribute_name(attribute), "", &words));
    }
    lines.extend(water_now(swap, units));
    for candidate in &swap.candidates {
        lines.push(String::new());
        lines.extend(candidate_lines(swap, candidate, units));
    }
    lines.push(String::new());
    lines.push(match swap.candidates.iter().filter(|c| c.fit() == Fit::Fits).count() {
        0 if swap.candidates.is_empty() => "pumps.yaml has no model to compare with.".to_owned(),
        0 => "None of the models in pumps.yaml is known to be like for like.".to_owned(),
        _ => {
            let names: Vec<_> =
                swap.candidates.iter().filter(|c| c.fit() == Fit::Fits).map(|candidate| candidate.name).collect();
            format!("Like for like: {}. The brand may change, since all seven attributes match.", names.join(", "))
        }
    });
    lines
}

fn row(name: &str, verdict: &str, words: &str) -> String {
    format!("  {name:<11}{verdict:<14}{words}").trim_end().to_owned()
}

fn water_now(swap: &Swap, units: Units) -> Vec<String> {
    let says = match &swap.water {
        Water::DoesNotFilter => "this pump does not filter: turnover stays as it is".to_owned(),
        Water::SeveralFilter => "several pumps filter here: what one of them adds is not computed".to_owned(),
        Water::Filters { now, limit_min, fitted, .. } => {
            let turnover = now.as_ref().map_or("turnover not known".to_owned(), |turnover| {
                format!("turnover {} min ({})", number(turnover.value, 1), turnover.basis.word())
            });
            let limit = limit_min.map_or(String::new(), |limit| format!("; limit {} min", number(limit, 0)));
            let point =
                fitted.as_ref().map_or(String::new(), |point| format!("; by its curve {}", point_words(point, units)));
            format!("{turnover}{limit}{point}")
        }
    };
    vec![row("water", "", &says)]
}

fn point_words((flow_figure, head): &(Figure, f64), units: Units) -> String {
    let head = match units {
        Units::Metric => format!("{} m", number(*head, 1)),
        Units::Us => format!("{} ft", number(*head / 0.3048, 0)),
    };
    format!(
        "{} ({} to {}) at {head} of head, calculated",
        flow(flow_figure.value, units),
        flow(flow_figure.low, units),
        flow(flow_figure.high, units)
    )
}

fn candidate_lines(swap: &Swap, candidate: &Candidate, units: Units) -> Vec<String> {
    let verdict = match candidate.fit() {
        Fit::Fits => "like for like",
        Fit::Missing => "not known to be like for like: see what is missing",
        Fit::DoesNotFit => "not like for like",
    };
    let fitted = if candidate.is_fitted { ", the model that is fitted" } else { "" };
    let mut lines = vec![format!("{}{fitted}: {verdict}", candidate.name)];
    for one in &candidate.compared {
        let words = |measure: &Option<Measure>| measure.as_ref().map(|measure| measure_words(measure, units));
        let (fitted, offered) = (words(&one.fitted), words(&one.offered));
        let (verdict, says) = match (one.fit, fitted, offered) {
            (Fit::Fits, _, Some(offered)) => ("fits", offered),
            (Fit::DoesNotFit, Some(fitted), Some(offered)) => ("does not fit", format!("{offered}; fitted {fitted}")),
            (_, Some(fitted), Some(offered)) => {
                ("missing", format!("{offered}; fitted {fitted}: {}", where_to_look(one.attribute)))
            }
            (_, Some(fitted), None) => {
                ("missing", format!("`{}` of {}; fitted {fitted}", field_name(one.attribute), candidate.name))
            }
            (_, None, Some(offered)) => {
                ("missing", format!("{offered}; of the fitted pump: {}", where_to_look(one.attribute)))
            }
            (_, None, None) => (
                "missing",
                format!(
                    "`{}` of {}; of the fitted pump: {}",
                    field_name(one.attribute),
                    candidate.name,
                    where_to_look(one.attribute)
                ),
            ),
        };
        lines.push(row(attribute_name(one.attribute), verdict, &says));
    }
    lines.extend(water_lines(swap, candidate, units));
    lines.push(row("current", "", &current_words(swap, candidate)));
    let [gaskets, conductors] = job_words(&candidate.job());
    lines.push(row("gaskets", "", &gaskets));
    lines.push(row("wiring", "", &conductors));
    let power = candidate.compared.iter().find(|one| one.attribute == Attribute::Power);
    if power.is_some_and(|one| one.fit == Fit::DoesNotFit) {
        let says = "another power changes the wiring, its protection and the flow through the suction covers: never a \
                    plain swap";
        lines.push(row("caution", "", says));
    }
    lines
}

fn water_lines(swap: &Swap, candidate: &Candidate, units: Units) -> Vec<String> {
    let Water::Filters { volume, limit_min, fitted, .. } = &swap.water else { return Vec::new() };
    let Some(point) = &candidate.point else {
        let says = "not computed: it takes the model's `curve` and the `size` and `length` of the spa's `pipe`";
        return vec![row("water", "", says)];
    };
    let mut says = point_words(point, units);
    if let Some(volume) = volume {
        let minutes = point.0.map(|flow| volume / flow);
        says.push_str(&format!(
            "; turnover {} min ({} to {})",
            number(minutes.value, 1),
            number(minutes.low, 1),
            number(minutes.high, 1)
        ));
        if let Some(limit) = limit_min {
            let verdict = if minutes.value <= limit * (1.0 + 1e-9) { "within" } else { "over" };
            says.push_str(&format!(", {verdict} the {} min allowed", number(*limit, 0)));
        }
        if let Some((fitted, _)) = fitted {
            says.push_str(&format!(
                "; the fitted model by the same calculation {} min",
                number(volume / fitted.value, 1)
            ));
        }
    } else {
        says.push_str("; turnover not known: the `volume` of the spa is not written");
    }
    let mut lines = vec![row("water", "", &says)];
    if fitted.as_ref().is_some_and(|(fitted, _)| point.0.value > fitted.value * MORE_FLOW) {
        let says = "more flow than with the fitted model: before anything else check that every suction cover is made \
                    for it, whole and within its date";
        lines.push(row("caution", "", says));
    }
    lines
}

fn current_words(swap: &Swap, candidate: &Candidate) -> String {
    let amperes = |value: f64| format!("{} A", trimmed(value, 1));
    let of = |model, speed: &Speed| {
        current(model, *speed)
            .map_or(format!("{} not on its sheet", speed.word()), |a| format!("{} {}", speed.word(), amperes(a)))
    };
    let all = |model| speeds(model).iter().map(|speed| of(model, speed)).collect::<Vec<_>>().join(", ");
    let mut says = all(candidate.model);
    if let Some(fitted) = swap.fitted.filter(|_| !candidate.is_fitted) {
        says.push_str(&format!("; fitted {}", all(fitted)));
    }
    let [full, low] = swap.measured;
    let measured: Vec<String> = [(full, "last measured"), (low, "at low")]
        .iter()
        .filter_map(|(value, called)| value.map(|value| format!("{called} {}", amperes(value))))
        .collect();
    if !measured.is_empty() {
        says.push_str(&format!("; {}", measured.join(", ")));
    }
    let highest = |model| {
        speeds(model)
            .iter()
            .filter_map(|speed| current(model, *speed))
            .fold(None, |most: Option<f64>, a| Some(most.map_or(a, |most| most.max(a))))
    };
    if let (Some(now), Some(new)) = (swap.fitted.and_then(highest), highest(candidate.model))
        && new > now * (1.0 + like_for_like::SAME_WITHIN)
    {
        says.push_str(&format!(
            "; {} more than the fitted model: cable and protection are to be checked by who may",
            amperes(new - now)
        ));
    }
    says
}
