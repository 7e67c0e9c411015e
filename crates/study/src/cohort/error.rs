//! Why a cohort could not be run, gathered or checked at all.

use std::io;

use super::manifest::ManifestError;

/// No result: the command as a whole failed. A case that fails is not an
/// error but an entry of the summary.
///
/// Names no path: folder and file names may identify a patient.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CohortError {
    /// The manifest cannot be used.
    #[error(transparent)]
    Manifest(#[from] ManifestError),
    /// A shard that does not exist.
    #[error("shard {index}/{count} does not exist: the index runs from 0 to one below the count")]
    Shard {
        /// As given.
        index: u64,
        /// As given.
        count: u64,
    },
    /// Not of the form `I/N`.
    #[error("a shard is written I/N, for example 3/20")]
    ShardSyntax,
    /// A column of the group's own has the name of one of the table's.
    #[error("column `{name}` of the manifest has the name of a column of the tables; rename it")]
    ColumnTaken {
        /// The column.
        name: String,
    },
    /// Another living process writes the same thing.
    #[error(
        "{what} is at work in this output folder; this one did nothing: wait for it to end{hint}"
    )]
    Busy {
        /// Who.
        what: String,
        /// How to work beside it, where that is possible.
        hint: &'static str,
    },
    /// The file system said no.
    #[error("cannot {what}: {kind}")]
    Cannot {
        /// What was tried.
        what: &'static str,
        /// What the file system said.
        kind: io::ErrorKind,
    },
    /// A table could not be written.
    #[error("cannot write table `{table}`: {kind}")]
    Table {
        /// Its name.
        table: &'static str,
        /// What was said.
        kind: io::ErrorKind,
    },
}

impl CohortError {
    /// Exit status of the program: 2 for what the caller can put right, 6
    /// where the same command may help later, 1 for anything else.
    pub fn exit_status(&self) -> u8 {
        match self {
            Self::Manifest(_)
            | Self::Shard { .. }
            | Self::ShardSyntax
            | Self::ColumnTaken { .. } => 2,
            Self::Busy { .. } => 6,
            Self::Cannot { .. } | Self::Table { .. } => 1,
        }
    }

    pub(crate) fn cannot(what: &'static str) -> impl Fn(io::Error) -> Self {
        move |error| Self::Cannot { what, kind: error.kind() }
    }
}
