//! Stands in for the renderer in tests that are about what is typeset, not about PDFs.
//!
//! It exists so that such tests run without typst and in no time. It must not be used by a run: its PDF is empty.

use std::path::PathBuf;
use std::sync::{Mutex, PoisonError};

use fs_err as fs;

use super::{Job, TypesetError, Typesetter};
use crate::output::{OutputError, Pending};

/// A job as [`StubTypesetter`] saw it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RecordedJob {
    /// The text of the main file.
    pub source: String,
    /// Where the PDF went.
    pub pdf: PathBuf,
    /// Its creation date, in seconds since 1970-01-01T00:00:00Z.
    pub timestamp: i64,
    /// What it was about.
    pub subject: String,
}

/// For tests: writes the same one-page, empty PDF for every job, remembers the jobs, and starts no process.
#[derive(Debug, Default)]
pub struct StubTypesetter {
    jobs: Mutex<Vec<RecordedJob>>,
    failing: Vec<String>,
}

impl StubTypesetter {
    /// A whole PDF with one empty page.
    pub const PDF: &'static [u8] = b"%PDF-1.4\n\
        1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n\
        2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj\n\
        3 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 595 842]>>endobj\n\
        xref\n0 4\n0000000000 65535 f \n0000000009 00000 n \n0000000052 00000 n \n0000000101 00000 n \n\
        trailer<</Size 4/Root 1 0 R>>\nstartxref\n164\n%%EOF\n";

    /// A stub that fails for jobs about any of `subjects`, as the renderer does on an error in the text.
    pub fn failing_for(subjects: &[&str]) -> StubTypesetter {
        StubTypesetter { failing: subjects.iter().map(|&subject| subject.to_owned()).collect(), ..Self::default() }
    }

    /// The jobs so far, sorted by where their PDFs went.
    pub fn jobs(&self) -> Vec<RecordedJob> {
        let mut jobs = self.jobs.lock().unwrap_or_else(PoisonError::into_inner).clone();
        jobs.sort_by(|a, b| a.pdf.cmp(&b.pdf));
        jobs
    }
}

impl Typesetter for StubTypesetter {
    fn typeset(&self, job: &Job<'_>) -> Result<Option<String>, TypesetError> {
        let source = fs::read_to_string(job.build.join(job.main)).map_err(OutputError::from)?;
        let (pdf, timestamp, subject) = (job.pdf.to_owned(), job.timestamp, job.subject.to_owned());
        self.jobs.lock().unwrap_or_else(PoisonError::into_inner).push(RecordedJob { source, pdf, timestamp, subject });
        if self.failing.iter().any(|failing| failing == job.subject) {
            return Err(TypesetError::Failed { subject: job.subject.to_owned(), text: "asked to fail".to_owned() });
        }
        let pending = Pending::beside(job.pdf)?;
        fs::write(pending.path(), Self::PDF).map_err(OutputError::from)?;
        pending.persist()?;
        Ok(None)
    }

    fn version(&self) -> String {
        "stub".to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::PrivateFolder;

    #[test]
    fn the_pdf_is_where_its_own_table_says() {
        let text = std::str::from_utf8(StubTypesetter::PDF).unwrap();
        for (number, line) in text.lines().filter(|line| line.ends_with("00000 n ")).enumerate() {
            let offset: usize = line[..10].parse().unwrap();
            assert!(text[offset..].starts_with(&format!("{} 0 obj", number + 1)), "{line}");
        }
        let start: usize = text.split("startxref\n").nth(1).unwrap().lines().next().unwrap().parse().unwrap();
        assert!(text[start..].starts_with("xref\n0 4"));
    }

    #[test]
    fn jobs_are_remembered_and_fail_on_demand() {
        let build = PrivateFolder::new().unwrap();
        build.write("site.typ", b"= Quay House").unwrap();
        let out = tempfile::tempdir().unwrap();
        let stub = StubTypesetter::failing_for(&["mill-lane"]);
        let make = |subject: &str| {
            let pdf = out.path().join(subject).join("report.pdf");
            stub.typeset(&Job { build: build.path(), main: "site.typ", pdf: &pdf, timestamp: 5, subject }).map(|_| pdf)
        };
        assert_eq!(fs::read(make("quay-house").unwrap()).unwrap(), StubTypesetter::PDF);
        assert_eq!(
            make("mill-lane").unwrap_err().to_string(),
            "mill-lane: the renderer found an error:\nasked to fail"
        );
        assert!(!out.path().join("mill-lane").exists());
        let jobs = stub.jobs();
        assert_eq!(jobs.iter().map(|job| job.subject.as_str()).collect::<Vec<_>>(), ["mill-lane", "quay-house"]);
        assert_eq!((jobs[1].source.as_str(), jobs[1].timestamp), ("= Quay House", 5));
    }
}
