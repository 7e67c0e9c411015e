//! `case.json`: the final record of a case.
//!
//! It is written into the folder of results before that folder is put in
//! place, so a case has a record or has no results at all. It carries the
//! digest of the report beside it: should a power cut tear either, the case
//! counts as damaged and is run again.

use std::fs;
use std::io;
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::key::Digest;
use super::params::Keep;
use super::place;

/// Name of the record within a case's folder.
pub(crate) const NAME: &str = "case.json";

/// Name of the report within a case's folder.
pub(crate) const REPORT: &str = "report.json";

/// How a case ended for good.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// There is a report.
    Done,
    /// The scan was refused.
    ScanRefused,
    /// The plan was refused.
    PlanRefused,
}

impl Outcome {
    /// The word in files.
    pub fn word(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::ScanRefused => "scan_refused",
            Self::PlanRefused => "plan_refused",
        }
    }
}

/// Why a scan or plan was refused, as the program said it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reason {
    /// Stable code.
    pub code: String,
    /// One sentence.
    pub text: String,
    /// What was measured, in `unit`.
    pub measured: Option<f64>,
    /// What it was held against, in `unit`.
    pub limit: Option<f64>,
    /// Unit of both.
    pub unit: Option<String>,
}

/// The final record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Record {
    pub(crate) schema: String,
    pub(crate) case: String,
    pub(crate) outcome: Outcome,
    pub(crate) refused: Vec<Reason>,
    /// Digest of settings, scan and plan.
    pub(crate) input: String,
    /// Digest of version, flags and the program's bytes.
    pub(crate) recipe: String,
    /// Seal of the places as the manifest has them.
    pub(crate) places: String,
    /// Seal of what the file system said of the files.
    pub(crate) files: String,
    /// Digest of `report.json`, where there is one.
    pub(crate) report: Option<String>,
    /// Which other files were asked for.
    pub(crate) keep: Keep,
}

impl Record {
    pub(crate) const SCHEMA: &'static str = "pilothole/case/1";

    /// The record in a case's folder, where there is a sound one, with the
    /// bytes of the report it speaks of.
    pub(crate) fn read(folder: &Path, case: &str) -> Option<(Self, Option<Vec<u8>>)> {
        let record: Self = serde_json::from_slice(&fs::read(folder.join(NAME)).ok()?).ok()?;
        if record.schema != Self::SCHEMA || record.case != case {
            return None;
        }
        match (&record.report, record.outcome) {
            (Some(digest), Outcome::Done) => {
                let bytes = fs::read(folder.join(REPORT)).ok()?;
                (Digest::of(&bytes).hex() == *digest).then_some((record, Some(bytes)))
            }
            (None, Outcome::ScanRefused | Outcome::PlanRefused) => Some((record, None)),
            _ => None,
        }
    }

    /// Write it into a folder that is not in place yet.
    ///
    /// # Errors
    ///
    /// What the file system says.
    pub(crate) fn write(&self, folder: &Path) -> io::Result<()> {
        fs::write(folder.join(NAME), self.text()?)
    }

    /// Write it over an earlier one of the same results.
    ///
    /// # Errors
    ///
    /// What the file system says; the earlier one stands then.
    pub(crate) fn renew(&self, folder: &Path, temporary: &Path) -> io::Result<()> {
        place::put(&folder.join(NAME), self.text()?.as_bytes(), temporary)
    }

    fn text(&self) -> io::Result<String> {
        let mut text = serde_json::to_string(self).map_err(io::Error::other)?;
        text.push('\n');
        Ok(text)
    }
}
