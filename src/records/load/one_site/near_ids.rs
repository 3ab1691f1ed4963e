//! Ids in a site's file that are nearly those of its lines in `sites.csv` or of a spa's type: written by a slip, they make a
//! second thing beside the one that was meant, and nothing would say so.

use super::SiteReader;
use crate::address::{Address, Id};
use crate::diagnostic::{Rule, Second, Severity, Spot};
use crate::records::load::{SiteFiles, about_file};
use crate::records::tree::{LARGEST_SHEET, SourceText};
use crate::records::tubs::SpaFile;
use crate::records::yaml;

impl SiteReader<'_> {
    /// Spas of the file that no line has, and that nothing but a misspelt id sets apart from one that a line has.
    pub(super) fn spas_nearly_named(&mut self, files: &SiteFiles, spas: &[(Id, SpaFile)], source: &SourceText) {
        for (id, spa) in spas {
            // One that is of a type, or has pumps of its own with their duty, is meant as it stands.
            let whole = spa.r#type.is_some() || spa.pumps.iter().any(|(_, pump)| pump.duty.is_some());
            if whole || self.lost || files.lines.iter().any(|line| line.spa == *id) {
                continue;
            }
            let others = files.lines.iter().filter(|line| spas.iter().all(|(own, _)| *own != line.spa));
            let Some(near) = yaml::nearest(id.as_str(), others.clone().map(|line| line.spa.as_str())) else { continue };
            let line = others.clone().find(|line| line.spa.as_str() == near).map(|line| line.line as usize);
            let message = format!("`{id}` is a spa of its own here, beside `{near}` of sites.csv");
            let hint = format!("did you mean `{near}`? what stands here is then that spa's");
            let spot = source.find_text(&format!("spas.{id}"));
            let sheet = line.zip(self.shared.folder.text("sites.csv", LARGEST_SHEET).ok());
            let second = sheet.and_then(|(line, text)| {
                let spot = Spot { line, column: 1, length: 1 };
                let label = "the spa of the sheet".to_owned();
                Some(Box::new(Second { file: "sites.csv".to_owned(), spot, excerpt: text.line(line)?, label }))
            });
            self.nearly_named(spot, message, hint, source);
            if let Some(told) = self.diagnostics.last_mut() {
                told.second = second;
            }
        }
    }

    /// Things dropped with `here: false` that the spa's type has not.
    pub(super) fn drops_nothing(&mut self, id: &Id, spa: &SpaFile, base: Option<&SpaFile>, source: &SourceText) {
        // A type that is not there is told as such, and a misspelt `type` as what it is.
        if self.lost || spa.r#type.is_some() && base.is_none() {
            return;
        }
        let dropped = |of: &SpaFile| -> Vec<(&'static str, Id)> {
            let filters =
                of.filters.iter().filter(|(_, f)| f.here == Some(false)).map(|(id, _)| ("filters", id.clone()));
            let pumps = of.pumps.iter().filter(|(_, p)| p.here == Some(false)).map(|(id, _)| ("pumps", id.clone()));
            let equipment =
                of.equipment.iter().filter(|(_, e)| e.here == Some(false)).map(|(id, _)| ("equipment", id.clone()));
            filters.chain(pumps).chain(equipment).collect()
        };
        let of_type = |group: &str| -> Vec<&str> {
            let Some(base) = base else { return Vec::new() };
            match group {
                "filters" => base.filters.iter().map(|(id, _)| id.as_str()).collect(),
                "pumps" => base.pumps.iter().map(|(id, _)| id.as_str()).collect(),
                _ => base.equipment.iter().map(|(id, _)| id.as_str()).collect(),
            }
        };
        for (group, thing) in dropped(spa) {
            let known = of_type(group);
            if known.contains(&thing.as_str()) {
                continue;
            }
            let at = Address::of_spa(id).join(&thing);
            let message =
                format!("`{at}` is dropped with `here: false`, and the spa's type has no such thing among its {group}");
            let hint = yaml::nearest(thing.as_str(), known.iter().copied()).map_or_else(
                || match known.as_slice() {
                    [] => "leave it out".to_owned(),
                    known => format!("its type has {}", known.join(", ")),
                },
                |near| format!("did you mean `{near}`?"),
            );
            let spot = source.find_text(&format!("spas.{id}.{group}.{thing}"));
            self.nearly_named(spot, message, hint, source);
        }
    }

    /// The id of a type's pump, filter or equipment that is nearly this one.
    pub(super) fn near_in_type(&self, of_type: Option<&str>, id: &Id) -> Option<String> {
        let base = self.shared.types.get(of_type?)?;
        let all = base.filters.iter().map(|(id, _)| id).chain(base.pumps.iter().map(|(id, _)| id));
        let all = all.chain(base.equipment.iter().map(|(id, _)| id)).filter(|known| *known != id);
        yaml::nearest(id.as_str(), all.map(Id::as_str)).map(str::to_owned)
    }

    fn nearly_named(&mut self, spot: Option<Spot>, message: String, hint: String, source: &SourceText) {
        let mut told = about_file(Severity::Warning, Rule::NearlyNamed, &source.file, message, None);
        told.spot = spot;
        told.excerpt = spot.and_then(|spot| source.line(spot.line));
        told.hint = Some(hint);
        self.diagnostics.push(told);
    }
}
