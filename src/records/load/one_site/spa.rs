//! A spa of a site put together from what its site's file, its line of the sheet and its type say.

use super::{MOST_THINGS, SiteReader};
use crate::address::{Address, Id};
use crate::diagnostic::{Diagnostic, Rule, Second, Severity, Spot};
use crate::records::check;
use crate::records::forms::{Fitted, Name};
use crate::records::load::{SiteFiles, about_file};
use crate::records::pumps::Speeds;
use crate::records::site::Use;
use crate::records::tree::{LARGEST_RECORD, SourceText};
use crate::records::tubs::{Duty, ProgramFile, SpaFile, Speed, SpeedHours};
use crate::records::yaml::Step;
use crate::records::{Assumed, Equipment, Filter, Pump, Spa};

impl SiteReader<'_> {
    pub(super) fn resolve_spa(
        &mut self,
        id: &Id,
        mut spa: SpaFile,
        used_as: Option<Use>,
        files: &SiteFiles,
        source: &SourceText,
        assumed: &mut Vec<Assumed>,
    ) -> Spa {
        let at = Address::of_spa(id);
        let fitted = spa.fitted.unwrap_or(Fitted::Unknown);
        let where_written = |path: &str| -> (String, Option<Spot>) {
            if files.file.is_some() {
                (source.file.to_string(), source.find_text(path))
            } else {
                ("sites.csv".to_owned(), None)
            }
        };
        let of_type = spa.r#type.clone();
        let of_type = of_type.as_ref();
        let things = spa.filters.0.len() + spa.pumps.0.len() + spa.equipment.0.len();
        if things > MOST_THINGS {
            let (file, spot) = where_written(&format!("spas.{id}"));
            let message = format!("`{at}` has {things} pumps, filters and equipment; a spa may have {MOST_THINGS}");
            self.lose(file, spot, Rule::WrongValue, message, None, source);
            spa.filters.0.truncate(1);
            spa.pumps.0.truncate(1);
            spa.equipment.0.truncate(1);
        }
        let mut filters = Vec::new();
        for (id, filter) in spa.filters.0 {
            if filter.here == Some(false) {
                continue;
            }
            let at = at.join(&id);
            let Some(kind) = filter.kind else {
                let hint = "add `kind: cartridge`, `sand` or `precoat`";
                let miss = Missed { group: "filters", is: "filter", field: "kind", hint };
                self.miss(at, &id, of_type, &miss, source);
                continue;
            };
            filters.push(Filter {
                at,
                kind,
                area: filter.area,
                fitted: filter.fitted.unwrap_or(fitted),
                clean_pressure: filter.clean_pressure,
                drop: filter.drop,
                parts: filter.parts,
            });
        }
        let mut pumps = Vec::new();
        for (id, pump) in spa.pumps.0 {
            if pump.here == Some(false) {
                continue;
            }
            let at = at.join(&id);
            let path = format!("spas.{}.pumps.{id}", at.spa());
            let Some(duty) = pump.duty else {
                let hint = "add `duty: filtration`, `jets` or `filtration_and_jets`";
                let miss = Missed { group: "pumps", is: "pump", field: "duty", hint };
                self.miss(at, &id, of_type, &miss, source);
                continue;
            };
            if let Some(model) = pump.model.as_ref().filter(|m| self.shared.bad_models.contains(&m.0)) {
                let (file, spot) = where_written(&format!("{path}.model"));
                let message = format!("the model `{model}` of `{at}` cannot be used as it stands in pumps.yaml");
                self.lose(file, spot, Rule::UnknownModel, message, None, source);
            }
            let mut programs = pump.program.map(|p| p.0).unwrap_or_default();
            // A program of no hours at all says nothing; that the pump stands still is written `0 h/day`.
            let written = programs.len();
            programs.retain(names_hours);
            if programs.len() < written && !self.is_told(&at) {
                let (file, spot) = where_written(&format!("{path}.program"));
                let message = format!("a `program` of `{at}` names no hours");
                let mut told = about_file(Severity::Warning, Rule::NoProgram, &file, message, None);
                told.spot = spot;
                told.excerpt = spot.and_then(|spot| source.line(spot.line));
                told.hint = Some("add `run: 8 h/day`, or `low` and `high`; `0 h/day` if it stands still".to_owned());
                told.left_out = Some("it counts as not written".to_owned());
                self.diagnostics.push(told);
            }
            let mut usual_program = false;
            if programs.is_empty()
                && let Some(usual) = self.shared.fleet.book.usual_program(used_as, duty)
            {
                let model = pump.model.as_ref().and_then(|m| self.shared.fleet.models.get(&m.0));
                let two = model.is_some_and(|m| m.speeds == Speeds::Two);
                programs = usual.iter().map(|program| usual_for_speeds(program, two)).collect();
                usual_program = true;
            }
            programs.sort_by_key(|p| p.from);
            pumps.push(Pump {
                filters_at: filtering_speeds(duty, pump.filters_at),
                at,
                model: pump.model,
                duty,
                fitted: pump.fitted.unwrap_or(fitted),
                meter: pump.meter,
                bolt_spacing: pump.bolt_spacing,
                programs,
                usual_program,
                parts: pump.parts,
            });
        }
        let mut equipment = Vec::new();
        for (id, item) in spa.equipment.0 {
            if item.here == Some(false) {
                continue;
            }
            let at = at.join(&id);
            let Some(kind) = item.kind else {
                let hint = "add `kind:`, for example `heater` or `cover`";
                let miss = Missed { group: "equipment", is: "equipment", field: "kind", hint };
                self.miss(at, &id, of_type, &miss, source);
                continue;
            };
            equipment.push(Equipment {
                at,
                kind,
                fitted: item.fitted.unwrap_or(fitted),
                power: item.power,
                parts: item.parts,
            });
        }
        let mut all: Vec<&Address> = filters
            .iter()
            .map(|f| &f.at)
            .chain(pumps.iter().map(|p| &p.at))
            .chain(equipment.iter().map(|e| &e.at))
            .collect();
        all.sort();
        if let Some(twice) = all.windows(2).find_map(|pair| (pair[0] == pair[1]).then_some(pair[0])) {
            let paths = ["filters", "pumps", "equipment"].map(|group| format!("spas.{id}.{group}.{}", twice.last()));
            let mut written = paths.iter().filter(|path| source.holds(path)).map(String::as_str);
            let (first, again) = (written.next(), written.next());
            let whole = format!("spas.{id}");
            let (file, spot) = where_written(again.or(first).unwrap_or(&whole));
            let message = format!(
                "two things are named `{twice}`; ids are unique among the pumps, filters and equipment of a spa",
            );
            self.lose(file, spot, Rule::RepeatedId, message, None, source);
            let second = first.filter(|_| again.is_some()).and_then(|first| {
                let spot = source.find_text(first)?;
                let (excerpt, label) = (source.line(spot.line)?, "the first".to_owned());
                Some(Box::new(Second { file: source.file.to_string(), spot, excerpt, label }))
            });
            if let Some(told) = self.diagnostics.last_mut() {
                told.second = second;
            }
        }
        filters.sort_by(|a, b| a.at.cmp(&b.at));
        pumps.sort_by(|a, b| a.at.cmp(&b.at));
        equipment.sort_by(|a, b| a.at.cmp(&b.at));
        if fitted == Fitted::Unknown {
            assumed.push(Assumed {
                what: format!("the day `{at}` was fitted is not known, so ages of what is as old as it are not"),
                change: format!("`fitted` of {at} in {}", source.file),
            });
        }
        Spa {
            at,
            fitted,
            volume: spa.volume,
            stated_flow: spa.stated_flow,
            setpoint: spa.setpoint,
            bathers: spa.bathers.map(|b| b.times),
            pipe: spa.pipe,
            filters,
            pumps,
            equipment,
            parts: spa.parts,
            stays: None,
            of_type: spa.r#type,
            line: files.lines.iter().find(|line| line.spa == *id).map(|line| line.line),
        }
    }

    /// Whether something there, or in what it stands in, could not be understood and has been told.
    fn is_told(&self, at: &Address) -> bool {
        let told = check::Told { lost: true, lost_at: &self.lost_at };
        told.covers(at)
    }

    /// A field without which a pump, filter or piece of equipment means nothing. It is told where the thing stands: in
    /// the site's file, beside the type that does not say it either, or in the type alone.
    fn miss(&mut self, at: Address, id: &Id, of_type: Option<&Name>, miss: &Missed, source: &SourceText) {
        let &Missed { group, is, field, hint } = miss;
        // What could not be understood there has been told.
        if self.is_told(&at) {
            return;
        }
        let own = format!("spas.{}.{group}.{id}", at.spa());
        let in_type = of_type.filter(|name| {
            self.shared.types.get(&name.0).is_some_and(|base| match group {
                "filters" => base.filters.get(id).is_some(),
                "pumps" => base.pumps.get(id).is_some(),
                _ => base.equipment.get(id).is_some(),
            })
        });
        let type_place = in_type.and_then(|name| {
            let text = self.shared.folder.text("tubs.yaml", LARGEST_RECORD).ok()?;
            let steps = ["types", &name.0, group, id.as_str()].map(|step| Step::Key(step.to_owned()));
            let spot = text.find(&steps)?;
            Some((spot, text.line(spot.line)?, name))
        });
        let (file, spot, excerpt, message, second) = match type_place {
            Some((spot, excerpt, name)) if !source.holds(&own) => {
                let message = format!("`{field}` of the {is} `{id}` of the type `{name}` is missing");
                ("tubs.yaml".to_owned(), Some(spot), Some(excerpt), message, None)
            }
            type_place => {
                let spot = source.find_text(&own);
                let second = type_place.map(|(spot, excerpt, name)| {
                    let label = format!("the type `{name}` does not say it either");
                    Box::new(Second { file: "tubs.yaml".to_owned(), spot, excerpt, label })
                });
                let message = format!("`{field}` of the {is} `{at}` is missing");
                (source.file.to_string(), spot, spot.and_then(|s| source.line(s.line)), message, second)
            }
        };
        let near = self.near_in_type(of_type.filter(|_| in_type.is_none()).map(|name| name.0.as_str()), id);
        let hint =
            near.map_or_else(|| hint.to_owned(), |near| format!("did you mean `{near}` of its type? else {hint}"));
        self.lost = true;
        self.diagnostics.push(Diagnostic {
            severity: Severity::Error,
            rule: Rule::MissingField,
            file,
            spot,
            excerpt,
            message,
            hint: Some(hint),
            second,
            left_out: Some("the site is left out".to_owned()),
        });
        self.lost_at.push(at);
    }
}

/// A field that a thing needs and does not have.
struct Missed {
    /// The mapping the thing stands in: `pumps`.
    group: &'static str,
    /// What it is, in words.
    is: &'static str,
    /// The field.
    field: &'static str,
    /// What would be right.
    hint: &'static str,
}

fn names_hours(program: &ProgramFile) -> bool {
    let occupied = program.occupied.is_some_and(|hours| hours.named().next().is_some());
    program.base().named().next().is_some() || occupied
}

/// A usual program names speeds of both kinds of pump; only those of this pump's kind hold.
fn usual_for_speeds(program: &ProgramFile, two: bool) -> ProgramFile {
    let mut program = *program;
    let keep = |hours: &mut SpeedHours| {
        if two {
            hours.run = None;
        } else {
            hours.low = None;
            hours.high = None;
        }
    };
    let mut base = program.base();
    keep(&mut base);
    (program.run, program.low, program.high) = (base.run, base.low, base.high);
    if let Some(occupied) = &mut program.occupied {
        keep(occupied);
    }
    program
}

fn filtering_speeds(duty: Duty, written: Option<Vec<Speed>>) -> Vec<Speed> {
    written.unwrap_or_else(|| match duty {
        Duty::Filtration => vec![Speed::Run, Speed::Low, Speed::High, Speed::All],
        Duty::Jets => Vec::new(),
        Duty::FiltrationAndJets => vec![Speed::Run, Speed::Low],
    })
}
