//! The list of cases: CSV with a heading, or TOML with `[[case]]` tables.
//!
//! Columns `case`, `scan`, `plan`, optionally `truth`; every other column is
//! the group's own and is carried into the tables as text. Paths are relative
//! to the manifest's folder.

mod parse;
mod problem;

use std::fs;
use std::path::{Path, PathBuf};

use super::key::Digest;
use parse::{Sheet, csv_sheet, toml_sheet};

pub use parse::manifest_csv;
pub use problem::{ManifestError, ManifestProblem};

/// Longest id of a case, bytes: leaves room for random bytes in file names.
const LONGEST_ID: usize = 64;

/// A sound list of cases, in the order written.
#[derive(Clone, Debug)]
pub struct Manifest {
    columns: Vec<String>,
    rows: Vec<Row>,
    has_truth: bool,
    digest: Digest,
}

/// One case.
#[derive(Clone, Debug)]
pub struct Row {
    /// Counted from 1, headings not counted.
    pub number: usize,
    /// The group's id of the case.
    pub case: String,
    /// Where the scan lies.
    pub scan: PathBuf,
    /// Where the plan lies.
    pub plan: PathBuf,
    /// Where the known answers lie, for phantoms.
    pub truth: Option<PathBuf>,
    /// Values of the group's own columns.
    pub own: Vec<String>,
    /// Scan and plan as written, whatever folder the manifest is read from.
    pub(crate) written: [String; 2],
}

impl Manifest {
    /// Read a manifest and judge it whole.
    ///
    /// A name that ends in `.toml` is TOML, any other CSV.
    ///
    /// # Errors
    ///
    /// [`ManifestError`] with every problem found, each with its row.
    pub fn read(path: &Path) -> Result<Self, ManifestError> {
        let bytes = fs::read(path).map_err(|error| {
            ManifestError::one(ManifestProblem::Unreadable { kind: error.kind() })
        })?;
        let folder = path.parent().unwrap_or(Path::new(""));
        let is_toml = path.extension().is_some_and(|e| e.eq_ignore_ascii_case("toml"));
        let sheet = if is_toml { toml_sheet(&bytes) } else { csv_sheet(&bytes) };
        Self::from_sheet(&sheet.map_err(ManifestError::one)?, folder, Digest::of(&bytes))
    }

    /// The cases.
    pub fn rows(&self) -> &[Row] {
        &self.rows
    }

    /// Names of the group's own columns.
    pub fn columns(&self) -> &[String] {
        &self.columns
    }

    /// Whether there is a column `truth`.
    pub fn has_truth(&self) -> bool {
        self.has_truth
    }

    /// Whether the file at `path` still holds what was read.
    pub(crate) fn is_unchanged(&self, path: &Path) -> bool {
        fs::read(path).is_ok_and(|bytes| Digest::of(&bytes) == self.digest)
    }

    fn from_sheet(sheet: &Sheet, folder: &Path, digest: Digest) -> Result<Self, ManifestError> {
        let mut problems = problem::of_heads(&sheet.heads);
        if sheet.lines.is_empty() {
            problems.push(ManifestProblem::Empty);
        }
        if !problems.is_empty() {
            return Err(ManifestError { problems });
        }
        let at = |name: &str| sheet.heads.iter().position(|head| head == name);
        let places = (at("case"), at("scan"), at("plan"), at("truth"));
        let (Some(case), Some(scan), Some(plan), truth) = places else {
            return Err(ManifestError { problems });
        };
        let special = [Some(case), Some(scan), Some(plan), truth];
        let own: Vec<usize> =
            (0..sheet.heads.len()).filter(|i| !special.contains(&Some(*i))).collect();
        let rows: Vec<Row> = sheet
            .lines
            .iter()
            .enumerate()
            .map(|(position, line)| Row {
                number: position + 1,
                case: line[case].clone(),
                scan: folder.join(&line[scan]),
                plan: folder.join(&line[plan]),
                truth: truth.map(|t| &line[t]).filter(|t| !t.is_empty()).map(|t| folder.join(t)),
                own: own.iter().map(|i| line[*i].clone()).collect(),
                written: [line[scan].clone(), line[plan].clone()],
            })
            .collect();
        let empty = |line: &Vec<String>| line[scan].is_empty() || line[plan].is_empty();
        let blanks = sheet.lines.iter().enumerate().filter(|(_, line)| empty(line));
        problems.extend(blanks.map(|(p, _)| ManifestProblem::Blank { row: p + 1 }));
        problems.extend(problem::of_ids(&rows));
        if !problems.is_empty() {
            return Err(ManifestError { problems });
        }
        let columns = own.iter().map(|i| sheet.heads[*i].clone()).collect();
        Ok(Self { columns, rows, has_truth: truth.is_some(), digest })
    }
}

/// Whether a case may be called so: 1 to 64 of ASCII letters, digits, `-`,
/// `_` and `.`, the first a letter or digit. The id names a folder and stands
/// in every table.
fn is_id(text: &str) -> bool {
    let allowed = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
    text.len() <= LONGEST_ID
        && text.starts_with(|c: char| c.is_ascii_alphanumeric())
        && text.chars().all(allowed)
}

#[cfg(test)]
mod tests;
