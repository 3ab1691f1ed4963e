//! `reports/sample`: what is kept there is what the program makes of the demo fleet today.

use super::demo::run;
use crate::support::project;

/// The documents kept as samples, and where a run writes them. The pictures beside them are made from the same run.
const KEPT: [(&str, &str); 3] = [
    ("fleet.pdf", "fleet.pdf"),
    ("site-report.pdf", "sites/kingfisher-barns/report.pdf"),
    ("log-book.pdf", "sites/heron-gym/logbook.pdf"),
];

#[test]
fn samples_are_what_the_program_makes_today() {
    for (sample, made) in KEPT {
        let kept = std::fs::read(project().join("reports/sample").join(sample))
            .unwrap_or_else(|error| panic!("reports/sample/{sample}: {error}; run `make sample`"));
        let made = std::fs::read(run().month().join(made)).unwrap();
        assert!(kept == made, "reports/sample/{sample} is not what is made today: run `make sample` and look at it");
    }
}
