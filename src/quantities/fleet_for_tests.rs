//! Small fleets for tests, read the way a user's is: from files.

use chrono::NaiveDate;

use crate::quantities::{self, SpaFigures};
use crate::records::Fleet;
use crate::records::load::Shared;
use crate::site::{self, SiteFigures};

/// A day, written as in the records.
pub(crate) fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// What was computed of a fleet's one site.
pub(crate) struct Loaded {
    /// Its figures.
    pub(crate) spas: Vec<SpaFigures>,
}

/// Reads files (path, text) as a fleet of one site and computes its figures on a day.
pub(crate) fn load(files: &[(&str, &str)], as_of: &str) -> Loaded {
    load_with(files, as_of, |_, site, _| Loaded { spas: site.spas.to_vec() })
}

/// The same with all that is known of the site.
#[expect(clippy::disallowed_methods, reason = "a test writes its own fleet")]
pub(crate) fn load_with<T>(
    files: &[(&str, &str)],
    as_of: &str,
    then: impl FnOnce(&Fleet, &SiteFigures, NaiveDate) -> T,
) -> T {
    let folder = tempfile::tempdir().unwrap();
    for (path, text) in files {
        let path = folder.path().join(path);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, text).unwrap();
    }
    let shared = Shared::load(folder.path()).unwrap();
    let site = shared.read_site(&shared.sites[0]).unwrap_or_else(|problems| panic!("{problems:#?}"));
    assert!(site.left_out.is_empty(), "{:?} {:#?}", site.left_out, site.diagnostics);
    let as_of = day(as_of);
    let site = site.as_of(as_of);
    let spas = quantities::spa_figures(&shared.fleet, &site, as_of);
    let lives = site::fleet_lives(&shared.fleet, &[(site.clone(), spas.clone())], as_of);
    let figures = site::site_figures(&shared.fleet, &lives, &site, &spas, as_of);
    then(&shared.fleet, &figures, as_of)
}
