//! What can be wrong with a manifest, each with its place.

use std::collections::{BTreeMap, BTreeSet};
use std::io;

use super::{Row, is_id};
use crate::error::io_words;

/// Problems named in one message; the rest are counted.
const SHOWN: usize = 10;

/// A manifest that cannot be used, with everything wrong with it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ManifestError {
    /// At least one, in the order of rows within each kind.
    pub problems: Vec<ManifestProblem>,
}

impl ManifestError {
    pub(super) fn one(problem: ManifestProblem) -> Self {
        Self { problems: vec![problem] }
    }
}

impl std::error::Error for ManifestError {}

impl std::fmt::Display for ManifestError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "the manifest cannot be used")?;
        for problem in self.problems.iter().take(SHOWN) {
            write!(f, "\n  {problem}")?;
        }
        match self.problems.len().saturating_sub(SHOWN) {
            0 => Ok(()),
            more => write!(f, "\n  and {more} more"),
        }
    }
}

/// One thing wrong with a manifest. Rows count from 1, headings not counted.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ManifestProblem {
    /// The file cannot be read.
    #[error("it cannot be read: {}", io_words(*.kind))]
    Unreadable {
        /// What the file system said.
        kind: io::ErrorKind,
    },
    /// Not UTF-8.
    #[error("it is not UTF-8 text")]
    NotText,
    /// Neither CSV nor TOML can be made of a line.
    #[error("line {line} cannot be understood")]
    Syntax {
        /// Counted from 1, headings counted.
        line: usize,
    },
    /// No case.
    #[error("it lists no case")]
    Empty,
    /// A line with more or fewer cells than heads.
    #[error("row {row} has {found} cells where the heading has {heads}")]
    Width {
        /// The row.
        row: usize,
        /// Cells of the heading.
        heads: usize,
        /// Cells of the row.
        found: usize,
    },
    /// A needed column is absent.
    #[error("column `{name}` is missing")]
    MissingColumn {
        /// `case`, `scan` or `plan`.
        name: &'static str,
    },
    /// A column without a name.
    #[error("column {column} has no name")]
    Nameless {
        /// Counted from 1.
        column: usize,
    },
    /// A name that two columns have.
    #[error("column `{name}` occurs twice")]
    RepeatedColumn {
        /// The name.
        name: String,
    },
    /// A key beside `[[case]]`.
    #[error("`{key}` is not known; a manifest holds `[[case]]` tables")]
    UnknownKey {
        /// The key.
        key: String,
    },
    /// `case` is no array of tables.
    #[error("`case` is not a list of `[[case]]` tables")]
    NotTables,
    /// An array or table where one value belongs.
    #[error("row {row}: `{key}` is not one value")]
    NotOneValue {
        /// The row.
        row: usize,
        /// The key.
        key: String,
    },
    /// No scan or no plan is named.
    #[error("row {row} names no scan or no plan")]
    Blank {
        /// The row.
        row: usize,
    },
    /// An id that cannot name a folder.
    #[error(
        "row {row}: the case's id must be 1 to 64 letters, digits, `-`, `_` or `.`, the first a letter or digit"
    )]
    Id {
        /// The row.
        row: usize,
    },
    /// Two cases with one id, upper and lower case not told apart.
    #[error("rows {first} and {row} have the same case id")]
    RepeatedId {
        /// The row that has it first.
        first: usize,
        /// The row that has it again.
        row: usize,
    },
}

/// Problems of the heading.
pub(super) fn of_heads(heads: &[String]) -> Vec<ManifestProblem> {
    let mut problems = Vec::new();
    for name in ["case", "scan", "plan"] {
        if !heads.iter().any(|head| head == name) {
            problems.push(ManifestProblem::MissingColumn { name });
        }
    }
    let mut seen = BTreeSet::new();
    for (position, head) in heads.iter().enumerate() {
        let first = seen.insert(head);
        if head.is_empty() {
            problems.push(ManifestProblem::Nameless { column: position + 1 });
        } else if !first {
            problems.push(ManifestProblem::RepeatedColumn { name: head.clone() });
        }
    }
    problems
}

/// Problems of the cases' ids.
pub(super) fn of_ids(rows: &[Row]) -> Vec<ManifestProblem> {
    let mut problems = Vec::new();
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    for row in rows {
        if !is_id(&row.case) {
            problems.push(ManifestProblem::Id { row: row.number });
            continue;
        }
        let first = *seen.entry(row.case.to_ascii_lowercase()).or_insert(row.number);
        if first != row.number {
            problems.push(ManifestProblem::RepeatedId { first, row: row.number });
        }
    }
    problems
}
