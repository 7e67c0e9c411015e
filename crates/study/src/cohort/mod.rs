//! Many cases: a manifest of them, each in a process of its own, to tables
//! that are the same bytes however the work was parted.
//!
//! # Calling it
//!
//! | command | call | exit status |
//! |---|---|---|
//! | `cohort MANIFEST --out DIR [--shard I/N] …` | [`run()`] with [`RunParams`], [`CaseRunner`], [`Hooks`] | [`RunSummary::exit`] |
//! | `cohort MANIFEST --out DIR --gather` | [`gather()`] with [`GatherParams`] | [`GatherSummary::exit`] |
//! | `cohort check MANIFEST` | [`check()`] with [`CheckHooks`] | [`CheckSummary::exit_status`] |
//!
//! Any of them may fail as a whole with a [`CohortError`], whose
//! [`CohortError::exit_status`] and one-sentence `Display` are for the
//! terminal. Nothing here prints, reads the environment or looks at the
//! clock for an output.
//!
//! A [`CaseRunner`] for the binary itself: `program` = the running
//! executable, `first` = `["assess"]`, `flags` = the flags of `assess` that
//! were given (they are part of what a record depends on), `unkeyed` =
//! `["--threads", …]` and the flag by which the child learns its parent's
//! process id, for [`end_with`]; `version` = the program's version. `--out`,
//! `--json` and `--timeless` are added here.
//!
//! # What holds
//!
//! - A case's folder appears whole, by a rename, with its final record inside.
//!   A refusal is a final record; a crash leaves none and the same command
//!   tries again.
//! - A part and the tables appear whole, by a rename.
//! - Folder and file names of scans and plans occur in no output and no error:
//!   a case is called by its id in the manifest, or by its row.
//! - No engine is known here: an engine passes `--shard I/N`.

mod budget;
mod case;
mod check;
mod child;
mod error;
mod gather;
mod key;
mod line;
mod lock;
mod manifest;
mod params;
mod part;
mod place;
mod record;
mod run;
mod shard;
mod summary;
mod table;
mod truth;
mod walk;

pub use check::{CaseProblem, CheckHooks, CheckSummary, check};
pub use child::{CaseRunner, Failure, end_with};
pub use error::CohortError;
pub use gather::gather;
pub use manifest::{Manifest, ManifestError, ManifestProblem, Row, manifest_csv};
pub use params::{
    Ending, Event, Exit, Freshness, GatherParams, GatherSummary, Hooks, Keep, Named, Redo,
    RunParams, RunSummary, Verdict,
};
pub use record::{Outcome, Reason};
pub use run::run;
pub use shard::Shard;
pub use table::dictionary;

/// Grades from best to worst, then what could not be judged.
const GRADES: [&str; 5] = ["good", "fair", "poor", "none", "unknown"];
