//! Everything that can be wrong before the night, in seconds.

use std::fs;
use std::path::Path;

use rayon::prelude::*;

use super::error::CohortError;
use super::manifest::{Manifest, Row};
use super::table::Schema;
use super::truth::Truth;
use crate::error::io_words;

/// What a check asks.
pub struct CheckHooks<'a> {
    /// What is wrong with a plan file, one short text each; empty when it is
    /// sound. The texts name no path.
    pub plan: &'a (dyn Fn(&Path) -> Vec<String> + Sync),
    /// Bytes of memory that the case of this scan will need, where that can be
    /// told.
    pub estimate: &'a (dyn Fn(&Path) -> Option<u64> + Sync),
}

impl std::fmt::Debug for CheckHooks<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("CheckHooks")
    }
}

/// What a check found.
#[derive(Clone, Debug, Default)]
pub struct CheckSummary {
    /// Cases of the manifest.
    pub cases: usize,
    /// Names of the group's own columns.
    pub own_columns: Vec<String>,
    /// What is wrong, in the order of rows.
    pub problems: Vec<CaseProblem>,
    /// Row and bytes of the case that needs most memory.
    pub largest: Option<(usize, u64)>,
    /// Cases whose need of memory cannot be told.
    pub without_estimate: usize,
}

impl CheckSummary {
    /// Exit status of the program: 0 when nothing is wrong, else 2.
    pub fn exit_status(&self) -> u8 {
        if self.problems.is_empty() { 0 } else { 2 }
    }
}

/// Something wrong with one case. Names no path.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CaseProblem {
    /// Row of the manifest, from 1.
    pub row: usize,
    /// The group's id.
    pub case: String,
    /// What.
    pub text: String,
}

/// Check a manifest and everything it names.
///
/// Scans are looked at, not read: that a file or a folder with files in it is
/// there, and what the estimate makes of it.
///
/// # Errors
///
/// [`CohortError`] when the manifest itself cannot be used.
pub fn check(manifest: &Path, hooks: &CheckHooks<'_>) -> Result<CheckSummary, CohortError> {
    let manifest = Manifest::read(manifest)?;
    Schema::check(&manifest)?;
    let looked: Vec<(Vec<String>, Option<u64>)> =
        manifest.rows().par_iter().map(|row| look(row, hooks)).collect();
    let mut summary = CheckSummary {
        cases: manifest.rows().len(),
        own_columns: manifest.columns().to_vec(),
        ..CheckSummary::default()
    };
    for (row, (problems, bytes)) in manifest.rows().iter().zip(looked) {
        summary.problems.extend(problems.into_iter().map(|text| CaseProblem {
            row: row.number,
            case: row.case.clone(),
            text,
        }));
        match bytes {
            None => summary.without_estimate += 1,
            Some(bytes) if summary.largest.is_none_or(|(_, most)| bytes > most) => {
                summary.largest = Some((row.number, bytes));
            }
            Some(_) => {}
        }
    }
    Ok(summary)
}

fn look(row: &Row, hooks: &CheckHooks<'_>) -> (Vec<String>, Option<u64>) {
    let mut problems = Vec::new();
    let bytes = match presence(&row.scan) {
        Ok(()) => (hooks.estimate)(&row.scan),
        Err(said) => {
            problems.push(format!("the scan {said}"));
            None
        }
    };
    match presence(&row.plan) {
        Ok(()) if row.plan.is_dir() => problems.push("the plan is a folder".to_owned()),
        Ok(()) => {
            problems.extend((hooks.plan)(&row.plan).into_iter().map(|p| format!("the plan: {p}")));
        }
        Err(said) => problems.push(format!("the plan {said}")),
    }
    if row.truth.as_deref().is_some_and(|path| Truth::read(path).is_none()) {
        problems.push("its known answers cannot be read".to_owned());
    }
    (problems, bytes)
}

fn presence(path: &Path) -> Result<(), String> {
    let unreadable = |error: std::io::Error| format!("cannot be read: {}", io_words(error.kind()));
    let metadata = fs::metadata(path).map_err(unreadable)?;
    if metadata.is_dir() {
        let mut entries = fs::read_dir(path).map_err(unreadable)?;
        return match entries.next() {
            None => Err("is an empty folder".to_owned()),
            Some(_) => Ok(()),
        };
    }
    if metadata.len() == 0 {
        return Err("is an empty file".to_owned());
    }
    fs::File::open(path).map(|_file| ()).map_err(unreadable)
}
