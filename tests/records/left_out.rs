//! Every optional field of the demo fleet, left out: wherever a figure is lost or rests on less for want of it, the site's
//! report must name the field under "what we do not know" or among what is assumed.
//!
//! What matters is not written down here but seen: a table that has fewer cells, or a figure whose basis is weaker. The
//! planned visits, the costs of the coming year and past forecasts are searched for and simulated, which takes long; they
//! are not looked at here. The log's entries are excepted: nobody can know of a visit, or a reading, that nobody wrote down.

use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;
use tubwright::calendar::Month;
use tubwright::costs::outlook::FleetCosts;
use tubwright::fleet_figures::FleetFigures;
use tubwright::quantities::forecast_check::Checks;
use tubwright::quantities::part_life_model::FleetLives;
use tubwright::records::forms::Keyed;
use tubwright::records::load::{Shared, SiteFiles};
use tubwright::report::site_charts::Charts;
use tubwright::report::site_view;
use tubwright::schedule::visits::Plan;
use tubwright::site;
use tubwright::tables::{self, TableError};

use super::mechanical::{SHARED, demo_text, must_be_there, schema_of};
use crate::support::spoil::{Field, File};
use crate::support::{Fleet, copy_folder, demo};

/// What is known of a site: how many cells of each column hold something, and how many figures rest on each basis.
type Known = BTreeMap<String, usize>;

/// What is known of a site, and what its report says is not. The lives of the fleet's parts take long to learn from: they
/// are those of the fleet as it is, unless none are given.
fn known(
    shared: &Shared,
    files: &SiteFiles,
    text: Option<String>,
    lives: Option<&FleetLives>,
) -> Option<(Known, BTreeSet<String>)> {
    let month: Month = "2026-10".parse().unwrap();
    let as_of = month.last();
    let site = match text {
        Some(text) => shared.read_site_as(files, text).ok()?,
        None => shared.read_site(files).ok()?,
    };
    let site = site.as_of(as_of);
    let spas = tubwright::quantities::spa_figures(&shared.fleet, &site, as_of);
    let all = [(site, spas)];
    let own = lives.is_none().then(|| site::fleet_lives(&shared.fleet, &all, as_of));
    let lives = lives.or(own.as_ref()).unwrap();
    let (site, spas) = &all[0];
    let figures = site::site_figures(&shared.fleet, lives, site, spas, as_of);
    let view = site_view::view(&site_view::Given {
        fleet: &shared.fleet,
        site: &figures,
        month,
        previous: None,
        charts: &Charts::default(),
        inputs: &[],
        renderer: "",
    });
    let unknowns = view.unknowns.unknowns.iter().map(|unknown| format!("{}: {}", unknown.what, unknown.settled_by));
    let assumed = view.unknowns.assumptions.iter().map(|a| format!("{} {}: {}", a.what, a.value, a.change_at));
    let odd = view.unknowns.diagnostics.iter().map(|diagnostic| diagnostic.message.clone());
    let said = unknowns.chain(assumed).chain(odd).collect();
    let sites = vec![figures];
    let plan = Plan::default();
    let fleet = FleetFigures {
        fleet: &shared.fleet,
        month,
        as_of,
        plan,
        sites,
        lives,
        checks: &Checks::default(),
        costs: FleetCosts::default(),
    };
    let mut written = BTreeMap::<&str, Vec<u8>>::new();
    tables::tables(&fleet, |piece| -> Result<(), TableError> {
        written.entry(piece.name).or_default().extend_from_slice(&piece.csv);
        Ok(())
    })
    .unwrap();
    let mut known = Known::new();
    for (name, csv) in written {
        // What is to be done is not a figure: it may grow with what is not known. What documents add up of other tables
        // is looked at there: a kind of work that is not planned any more takes its sum with it.
        if name == "to_do" || name == "sums" {
            continue;
        }
        let mut reader = csv::Reader::from_reader(csv.as_slice());
        let header = reader.headers().unwrap().clone();
        for row in reader.records().map(Result::unwrap) {
            for (column, cell) in header.iter().zip(&row).filter(|(_, cell)| !cell.is_empty()) {
                let of_basis = if column.ends_with("basis") { format!(" {cell}") } else { String::new() };
                *known.entry(format!("{name}.{column}{of_basis}")).or_default() += 1;
            }
        }
    }
    Some((known, said))
}

/// What is learned of lives where there are none: no figure of a site but the chance of a failure rests on it.
fn no_lives(shared: &Shared) -> FleetLives {
    let mut fleet = shared.fleet.clone();
    fleet.book.parts = Keyed::default();
    site::fleet_lives(&fleet, &[], "2026-10".parse::<Month>().unwrap().last())
}

/// Fields of the book that say something of lives.
const OF_LIVES: [&str; 3] = ["shape", "failure", "wears_by"];

/// Whether something is known no longer, or only by default.
fn lost(before: &Known, after: &Known) -> Option<String> {
    let weaker = ["assumed", "estimated", "stated", "curve", "programmed"];
    let fell = before
        .iter()
        .find(|(column, count)| !column.contains(' ') && after.get(*column).copied().unwrap_or(0) < **count);
    let rose = after.iter().find(|(column, count)| {
        weaker.iter().any(|basis| column.ends_with(&format!(" {basis}")))
            && before.get(*column).copied().unwrap_or(0) < **count
    });
    fell.or(rose).map(|(column, count)| format!("{column} ({count} there)"))
}

/// What is wrong with what is said of a field left out, and whether it mattered.
fn fault(
    field: &Field,
    of: &str,
    before: &(Known, BTreeSet<String>),
    after: &(Known, BTreeSet<String>),
) -> (bool, Option<String>) {
    let Some(lost) = lost(&before.0, &after.0) else { return (false, None) };
    let name = format!("`{}`", field.name);
    // The mapping a field stands in may be named for it: `supply` for its `voltage`.
    let above = field.path.rsplit('/').nth(1).map(|above| format!("`{above}`")).unwrap_or_default();
    let new: Vec<&String> = after.1.difference(&before.1).collect();
    let told = new.iter().any(|said| said.contains(&name) || said.contains(&above));
    let said: Vec<&str> = new.iter().map(|said| said.as_str()).collect();
    (
        true,
        (!told).then(|| format!("{of}{}: {lost} is lost and this is said:\n    {}", field.path, said.join("\n    "))),
    )
}

/// Fields whose loss is known from another field, or is no loss of knowledge, with the reason.
const EXCEPTED: [(&str, &str); 13] = [
    ("/closed:", "nobody can know of a season nobody wrote down"),
    ("/spas ", "what stands nowhere is not missed; a site without a spa is an error"),
    ("/type ", "a spa without its type is another spa, and `check` says what it then lacks"),
    ("/types ", "a type that is not there is an error"),
    ("/filters:", "what does not stand there is not missed"),
    ("/filters ", "then the sites that speak of them are wrong, which is an error"),
    ("/pumps:", "what does not stand there is not missed"),
    ("/pumps ", "then the sites that speak of them are wrong, which is an error"),
    ("/equipment:", "what does not stand there is not missed"),
    ("/equipment ", "then the sites that speak of it are wrong, which is an error"),
    ("/here:", "then the type's pump stands there: more is known, of something else"),
    ("yaml/parts:", "a book without parts wears nothing out; what the log says of them is an error"),
    ("yaml/tasks:", "a book without tasks asks for nothing; what the log says of them is an error"),
];

/// The first field of each form that may be left out.
fn optional<'a>(file: &'a File, forms: &mut BTreeSet<String>) -> Vec<&'a Field> {
    let may_go = |field: &&Field| !must_be_there(field) && !field.form.starts_with("/log");
    let fields = file.fields.iter().filter(may_go);
    fields.filter(|field| forms.insert(field.form.clone())).collect()
}

#[test]
fn a_field_left_out_of_a_site_is_named_where_it_matters() {
    let shared = Shared::load(&demo()).unwrap();
    let schema = schema_of("site.schema.json");
    let lives = no_lives(&shared);
    let mut forms = BTreeSet::new();
    let mut work = Vec::new();
    // The shortest logs first: whatever field they have is left out there.
    for site in ["rowan-house", "alder-lodge", "lapwing-club", "willow-court", "heron-gym", "kingfisher-barns"] {
        let files = shared.sites.iter().find(|files| files.id.as_str() == site).unwrap();
        let file = File::new(&demo_text(&format!("sites/{site}.yaml")), &schema);
        let fields: Vec<Field> = optional(&file, &mut forms).into_iter().cloned().collect();
        if !fields.is_empty() {
            work.push((files, file, fields));
        }
    }
    let results: Vec<(bool, Option<String>)> = work
        .par_iter()
        .flat_map(|(files, file, fields)| {
            let before = known(&shared, files, None, Some(&lives)).unwrap();
            let results: Vec<_> = fields
                .par_iter()
                .map(|field| match known(&shared, files, Some(file.without(field)), Some(&lives)) {
                    Some(after) => fault(field, files.id.as_str(), &before, &after),
                    None => (true, Some(format!("without {} the site is lost", field.path))),
                })
                .collect();
            results
        })
        .collect();
    judge(results, 12);
}

#[test]
fn a_field_left_out_of_a_shared_file_is_named_where_it_matters() {
    let shared = Shared::load(&demo()).unwrap();
    // Between them these have pumps of one speed and two, bookings and a contract.
    let sites = ["rowan-house", "alder-lodge"];
    let lives = no_lives(&shared);
    let site =
        |shared: &'_ Shared, id: &str| shared.sites.iter().find(|files| files.id.as_str() == id).unwrap().clone();
    let before: Vec<_> =
        sites.iter().map(|id| known(&shared, &site(&shared, id), None, Some(&lives)).unwrap()).collect();
    let with_lives = vec![known(&shared, &site(&shared, sites[0]), None, None).unwrap()];
    let work: Vec<(&str, File, Field)> = SHARED
        .iter()
        .flat_map(|(name, schema)| {
            let mut forms = BTreeSet::new();
            let text = demo_text(name);
            let file = File::new(&text, &schema_of(schema));
            let fields: Vec<Field> = optional(&file, &mut forms).into_iter().cloned().collect();
            fields
                .into_iter()
                .map(|field| (*name, File { text: text.clone(), fields: Vec::new() }, field))
                .collect::<Vec<_>>()
        })
        .collect();
    let results: Vec<(bool, Option<String>)> = work
        .par_iter()
        .map(|(name, file, field)| {
            let fleet = Fleet::empty();
            copy_folder(&demo(), fleet.path());
            let fleet = fleet.file(name, file.without(field));
            let shared = match Shared::load(fleet.path()) {
                Ok(shared) => shared,
                Err(error) => return (true, Some(format!("without {name}{}: {error}", field.path))),
            };
            // What the book says of a part's life changes what is learned of lives.
            let of_lives = *name == "upkeep.yaml" && field.path.split('/').any(|step| OF_LIVES.contains(&step));
            let (known_lives, before) = if of_lives { (None, &with_lives) } else { (Some(&lives), &before) };
            for (id, before) in sites.iter().zip(before) {
                let Some(after) = known(&shared, &site(&shared, id), None, known_lives) else {
                    return (true, Some(format!("without {name}{} the site {id} is lost", field.path)));
                };
                let (mattered, fault) = fault(field, name, before, &after);
                if mattered {
                    return (true, fault);
                }
            }
            (false, None)
        })
        .collect();
    judge(results, 15);
}

fn judge(results: Vec<(bool, Option<String>)>, least: usize) {
    let mattered = results.iter().filter(|(mattered, _)| *mattered).count();
    assert!(mattered >= least, "only {mattered} of {} fields matter", results.len());
    let excepted = |fault: &String| EXCEPTED.iter().any(|(form, _)| fault.contains(form));
    let faults: Vec<String> =
        results.into_iter().filter_map(|(_, fault)| fault).filter(|fault| !excepted(fault)).collect();
    assert!(faults.is_empty(), "{} fields are not named:\n{}", faults.len(), faults.join("\n"));
}
