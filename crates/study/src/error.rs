//! Why a case has no result, by whose fault.

use std::io;

use pilothole_intake::Refusal;
use pilothole_plan::PlanRefusal;

use crate::folder::FolderError;
use crate::reason::Reason;

/// Why a case has no result.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CaseError {
    /// The scan is refused; exit status 3.
    #[error("the scan is refused")]
    Scan(Vec<Reason>),
    /// The plan is refused; exit status 4.
    #[error("the plan is refused")]
    Plan(Vec<Reason>),
    /// The command asks for what cannot be; exit status 2.
    #[error("{0}")]
    Usage(String),
    /// The results cannot be put where they are wanted; exit status 2 when the
    /// place is wrong, else 1.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// Anything else; exit status 1.
    #[error("{0}")]
    Failed(String),
}

/// Why the file system refused, in a reader's words.
pub(crate) fn io_words(kind: io::ErrorKind) -> String {
    match kind {
        io::ErrorKind::NotFound => "there is no such file".to_owned(),
        kind => kind.to_string(),
    }
}

impl From<Refusal> for CaseError {
    fn from(refusal: Refusal) -> Self {
        Self::Scan(refusal.0.into_iter().map(Reason::from).collect())
    }
}

impl From<PlanRefusal> for CaseError {
    fn from(refusal: PlanRefusal) -> Self {
        Self::Plan(refusal.problems.into_iter().map(Reason::from).collect())
    }
}

impl CaseError {
    /// Exit status of the program.
    pub fn exit_status(&self) -> u8 {
        match self {
            Self::Scan(_) => 3,
            Self::Plan(_) => 4,
            Self::Usage(_)
            | Self::Folder(FolderError::NotAFolder | FolderError::Foreign { .. }) => 2,
            Self::Folder(FolderError::Cannot { .. }) | Self::Failed(_) => 1,
        }
    }

    /// The refusals, where it is one.
    pub fn reasons(&self) -> &[Reason] {
        match self {
            Self::Scan(reasons) | Self::Plan(reasons) => reasons,
            _ => &[],
        }
    }
}
