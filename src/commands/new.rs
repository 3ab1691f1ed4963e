//! `tubwright new`: a commented file for a new site, which passes `check` as it stands.

use crate::address::Id;
use crate::cli::New;
use crate::commands::Failure;
use crate::commands::add::refuse_what_is_there;
use crate::commands::{failure, load};
use crate::diagnostic::Severity;
use crate::output;
use crate::printer::{Printer, count};
use crate::records::append::scalar;
use crate::records::load::{SiteFiles, is_reserved};
use crate::records::tubs::SpaFile;
use crate::records::yaml::nearest;

/// Writes the file.
///
/// # Errors
/// If nothing was written: the site is there already, the type is not, or a file cannot be written.
pub fn run(arguments: &New, printer: Printer) -> Result<u8, Failure> {
    let Some(shared) = load(&arguments.fleet, printer)? else { return Ok(2) };
    let id = Id::parse(&arguments.name).map_err(failure)?;
    if is_reserved(&id) {
        return Err(failure(format!("no site may be named `{id}`, the folder of customers' quotes")));
    }
    let Some(of_type) = shared.spa_type(&arguments.of_type) else {
        let names: Vec<&str> = shared.type_names().collect();
        let hint = match nearest(&arguments.of_type, names.iter().copied()) {
            Some(near) => format!("did you mean `{near}`?"),
            None if names.is_empty() => "there are none yet; add one under `types` there".to_owned(),
            None => format!("there are {}", names.join(", ")),
        };
        return Err(failure(format!("no type is named `{}` in tubs.yaml; {hint}", arguments.of_type)));
    };
    let name = format!("sites/{id}.yaml");
    refuse_what_is_there(&arguments.fleet, &name)?;
    let known = shared.sites.iter().find(|files| files.id == id);
    let spa = known.and_then(|files| files.lines.first()).map_or("spa", |line| line.spa.as_str());
    let text = starter(&id, spa, &arguments.of_type, of_type);
    let files = SiteFiles {
        id,
        file: Some(name.clone()),
        lines: known.map(|files| files.lines.clone()).unwrap_or_default(),
        bad_line: false,
    };
    let diagnostics = match shared.read_site_as(&files, text.clone()) {
        Ok(site) => site.diagnostics,
        Err(diagnostics) => diagnostics,
    };
    printer.diagnostics(&diagnostics);
    if diagnostics.iter().any(|diagnostic| diagnostic.severity == Severity::Error) {
        printer.summary(&format!("{}; {name} is not written", count(&diagnostics)));
        return Ok(2);
    }
    output::write_atomically(&arguments.fleet.join(&name), text.as_bytes()).map_err(Failure::new)?;
    printer.summary(&format!("wrote {name}"));
    Ok(0)
}

/// The file's text: what must be said, and in comments what may be.
fn starter(site: &Id, spa: &str, type_name: &str, of_type: &SpaFile) -> String {
    let mut text = format!(
        "# The site `{site}`. Take `# ` away from a line to use it; what is left out is not known.
format: 1
# name: {site}                 # as it is printed
# customer: some-customer      # an id from customers.yaml
# use: rental                  # rental, gym, hotel, club or private: picks the limits
# area: harbour                # sites of one area share a trip
# travel: {{time: 30 min}}       # there and back
# closed: [{{from: 2026-01-05, to: 2026-02-20, drained: true}}]
spas:
  {spa}:
    type: {}
    # fitted: 2022             # a day, a month or a year; before a day; or unknown
    # setpoint: 38 C
    # bathers: 6 /day
",
        scalar(type_name, true)
    );
    let mut group = |name: &str, ids: Vec<&Id>, line: &str| {
        if ids.is_empty() {
            return;
        }
        text.push_str(&format!("    # {name}:\n"));
        for id in ids {
            text.push_str(&format!("    #   {id}: {line}\n"));
        }
    };
    group(
        "filters",
        of_type.filters.iter().map(|(id, _)| id).collect(),
        "{fitted: 2025-11-03, clean_pressure: 0.35 bar}",
    );
    group("pumps", of_type.pumps.iter().map(|(id, _)| id).collect(), "{fitted: 2022-05-04, meter: {digits: 5}}");
    group("equipment", of_type.equipment.iter().map(|(id, _)| id).collect(), "{fitted: 2022}");
    text.push_str(&format!(
        "# log:                         # one entry a visit, as it was written on the sheet
#   - date: 2026-09-30
#     why: planned             # planned, callout, changeover or test
#     at:
#       {spa}: {{ph: 7.4, free_chlorine: 3.2 mg/L, temperature: 38 C}}
"
    ));
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::load::Shared;

    fn fleet() -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        let write = |name: &str, text: &str| fs_err::write(folder.path().join(name), text).unwrap();
        write("fleet.yaml", "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\n");
        write(
            "tubs.yaml",
            "format: 1\ntypes:\n  six-seat:\n    volume: 1250 L\n    filters: {main: {kind: cartridge}}\n    pumps:\n      filtration: {duty: filtration, program: {run: 24 h/day}}\n    equipment: {heater: {kind: heater}}\n",
        );
        folder
    }

    fn new(folder: &std::path::Path, name: &str, of_type: &str) -> Result<u8, String> {
        let saying = crate::cli::Saying { quiet: 2, verbose: 0, format: crate::cli::Format::Short };
        let arguments = New { name: name.to_owned(), of_type: of_type.to_owned(), fleet: folder.to_path_buf() };
        run(&arguments, Printer::new(saying)).map_err(|failure| format!("{:#}", failure.error))
    }

    #[test]
    fn a_new_site_passes_at_once_and_with_every_comment_taken_away() {
        let folder = fleet();
        assert_eq!(new(folder.path(), "quay", "six-seat"), Ok(0));
        let shared = Shared::load(folder.path()).unwrap();
        let site = shared.read_site(&shared.sites[0]).unwrap();
        assert_eq!((site.spas.len(), site.spas[0].pumps.len(), site.diagnostics.len()), (1, 1, 0));
        let text = fs_err::read_to_string(folder.path().join("sites/quay.yaml")).unwrap();
        let bare = |line: &str| line.replacen("# ", "", usize::from(line.trim_start().starts_with("# ")));
        let lines: Vec<String> = text.lines().skip(1).map(bare).collect();
        let all = lines.join("\n");
        let site = shared.read_site_as(&shared.sites[0], all.clone()).unwrap_or_else(|d| panic!("{d:?}\n{all}"));
        assert_eq!(site.visits.len(), 1);
        // The customer's id is an example and stands nowhere.
        assert_eq!(site.diagnostics.iter().map(|d| d.rule.name()).collect::<Vec<_>>(), ["unknown-customer"], "{all}");
    }

    #[test]
    fn nothing_is_overwritten_and_an_unknown_type_names_the_nearest() {
        let folder = fleet();
        assert!(new(folder.path(), "customers", "six-seat").unwrap_err().contains("no site may be named"));
        assert!(new(folder.path(), "quay", "six-sead").unwrap_err().contains("did you mean `six-seat`?"));
        assert!(new(folder.path(), "../quay", "six-seat").unwrap_err().contains("the id"));
        assert_eq!(new(folder.path(), "quay", "six-seat"), Ok(0));
        assert!(new(folder.path(), "quay", "six-seat").unwrap_err().contains("not overwritten"));
    }
}
