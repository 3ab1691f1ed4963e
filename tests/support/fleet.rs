//! Small fleets written into a folder of their own.

use std::path::{Path, PathBuf};

use tempfile::TempDir;

/// A fleet in a folder that is removed with this value.
#[derive(Debug)]
pub struct Fleet {
    folder: TempDir,
}

/// A site that reports without a warning: one spa, one filtration pump with a counter, a filter, two visits.
pub const SITE: &str = "\
format: 1
name: Quay House
use: rental
spas:
  terrace:
    volume: 1200 L
    fitted: 2024-01-01
    filters:
      main: {kind: cartridge, area: 9 m2, clean_pressure: 0.35 bar}
    pumps:
      filtration: {model: F-033, duty: filtration, program: {run: 24 h/day}}
log:
  - date: 2026-01-31
    by: dan
    at:
      terrace: {ph: 7.4, free_chlorine: 3.5}
      terrace/main: {pressure: 0.4, flow: 100, done: [filter_clean]}
      terrace/filtration: {hours: 1000}
  - date: 2026-03-31
    by: dan
    at:
      terrace/filtration: {hours: 2357}
";

impl Fleet {
    /// An empty folder.
    pub fn empty() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    /// A fleet's shared files, without a site.
    pub fn without_sites() -> Self {
        Self::empty()
            .file(
                "fleet.yaml",
                "format: 1\nfleet: Saltmarsh Lettings\ncurrency: GBP\ntimezone: Europe/London\nlimits: uk\n\
                 electricity: 0.25\ntyped_in: {hours: h, pressure: bar, flow: L/min, temperature: C}\n\
                 technicians:\n  dan: {name: Dan}\n",
            )
            .file(
                "pumps.yaml",
                "format: 1\nmodels:\n  F-033:\n    speeds: 1\n    power: 0.33 hp\n    current: {run: 1.6 A}\n    \
                 supply: {voltage: 230 V, phases: 1}\n    curve: [{flow: 0 L/min, head: 7.6 m}, \
                 {flow: 90 L/min, head: 5.8 m}, {flow: 150 L/min, head: 2.9 m}]\n",
            )
    }

    /// A fleet of one site, `quay-house`, of which nothing is to be said.
    pub fn small() -> Self {
        Self::without_sites().file("sites/quay-house.yaml", SITE)
    }

    /// The same with a file more, or another in its place.
    #[must_use]
    pub fn file(self, name: &str, content: impl AsRef<[u8]>) -> Self {
        let path = self.folder.path().join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, content).unwrap();
        self
    }

    /// The folder.
    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    /// A path in the folder.
    pub fn at(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }
}
