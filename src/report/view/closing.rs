//! What a site report says of what is not known, and how it came about: gaps, cautions, methods, sources.

use schemars::JsonSchema;
use serde::Serialize;

/// Section six.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct UnknownSection {
    /// Stands for the whole section when set.
    pub nothing_to_say: Option<String>,
    /// Gaps, contradictions and estimates.
    pub unknowns: Vec<Unknown>,
    /// Defaults used.
    pub assumptions: Vec<Assumption>,
    /// What the check of the records found.
    pub diagnostics: Vec<RecordDiagnostic>,
}

/// Something not known.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Unknown {
    /// What.
    pub what: String,
    /// The record that would settle it.
    pub settled_by: String,
    /// How much it would narrow the answer.
    pub narrows: String,
}

/// A default in use.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Assumption {
    /// What was assumed.
    pub what: String,
    /// The value with its unit.
    pub value: String,
    /// The record that changes it.
    pub change_at: String,
}

/// A finding about the records.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct RecordDiagnostic {
    /// Error, warning or note.
    pub severity: String,
    /// File and line.
    pub place: String,
    /// What is wrong and how to put it right.
    pub message: String,
}

/// Section seven.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct ClosingSection {
    /// Cautions; see `report::cautions`.
    pub cautions: Vec<Caution>,
    /// Each method in two lines.
    pub methods: Vec<Method>,
    /// Each limit with its source.
    pub sources: Vec<LimitSource>,
    /// Programs and rule books with their versions.
    pub versions: Vec<Version>,
    /// The inputs' digests.
    pub inputs: Vec<InputDigest>,
}

/// A caution.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Caution {
    /// What it is about.
    pub subject: String,
    /// The caution.
    pub text: String,
    /// Its short source and how that is known, or that none is cited.
    pub source: String,
}

/// How a figure came about.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Method {
    /// Its name.
    pub name: String,
    /// Two lines on it.
    pub text: String,
}

/// Where a limit comes from.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct LimitSource {
    /// What is limited.
    pub limit: String,
    /// The value with its unit.
    pub value: String,
    /// Source with its edition.
    pub source: String,
    /// How the value is known: read in the source, or in a reproduction.
    pub how_known: String,
}

/// A program or rule book and its version.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct Version {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
}

/// A file read, and its digest.
#[derive(Debug, Clone, PartialEq, Default, Serialize, JsonSchema)]
pub struct InputDigest {
    /// Path inside the fleet's folder.
    pub path: String,
    /// SHA-256 in hexadecimal.
    pub sha256: String,
}
