//! Warnings about counters out of order: each with the reading it contradicts beside it.

use crate::basis::{Place, Source};
use crate::diagnostic::{Diagnostic, Rule, Second, Severity, Spot};
use crate::records::counters;
use crate::records::tree::SourceText;
use crate::records::yaml;
use crate::records::{Fleet, Site};

/// Warnings about counters out of order, once the readings are in.
pub fn check_counters(fleet: &Fleet, site: &Site, source: &SourceText) -> Vec<Diagnostic> {
    let mut diagnostics = Vec::new();
    let typed = fleet.typed_units();
    for pump in site.spas.iter().flat_map(|spa| &spa.pumps) {
        let counters = counters::counters(site, pump, fleet.model(pump), &typed);
        for aside in &counters.set_aside {
            let message = match aside.rule {
                Rule::CounterBackwards => {
                    format!(
                        "the counter of `{}` runs backwards: {} h on {}",
                        pump.at, aside.reading.hours, aside.reading.day
                    )
                }
                Rule::ReadingsContradict => {
                    format!("two readings of `{}` on {} contradict each other", pump.at, aside.reading.day)
                }
                _ => format!(
                    "the counter of `{}` runs faster than 24 h a day: {} h on {}",
                    pump.at, aside.reading.hours, aside.reading.day
                ),
            };
            let (file, spot, excerpt) = spot_of(source, &aside.reading.source(site, &pump.at));
            let second = aside.against.and_then(|against| {
                let (file, spot, excerpt) = spot_of(source, &against.source(site, &pump.at));
                let label = format!("{} h on {}", against.hours, against.day);
                Some(Box::new(Second { file, spot: spot?, excerpt: excerpt?, label }))
            });
            diagnostics.push(Diagnostic {
                severity: Severity::Warning,
                rule: aside.rule,
                file,
                spot,
                excerpt,
                message,
                hint: Some(
                    if aside.rule == Rule::ReadingsContradict {
                        "keep the one that is right; of readings of one day an `after` comes last"
                    } else {
                        "if the counter was replaced or set back, add `meter_reset` to that visit"
                    }
                    .to_owned(),
                ),
                second,
                left_out: Some("the reading is set aside and the hours between its neighbours are used".to_owned()),
            });
        }
    }
    diagnostics
}

fn spot_of(text: &SourceText, source: &Source) -> (String, Option<Spot>, Option<String>) {
    let spot = match &source.place {
        Place::Line(line) => Some(Spot { line: *line as usize, column: 1, length: 1 }),
        Place::Path(path) => text.find_text(path),
        Place::Entry { visit, at, field } => text.find(&[
            yaml::Step::Key("log".to_owned()),
            yaml::Step::Item(*visit as usize),
            yaml::Step::Key("at".to_owned()),
            yaml::Step::Key(at.to_string()),
            yaml::Step::Key((*field).to_owned()),
        ]),
    };
    let own = *text.file == *source.file;
    (
        source.file.to_string(),
        if own || matches!(source.place, Place::Line(_)) { spot } else { None },
        if own { spot.and_then(|s| text.line(s.line)) } else { None },
    )
}
