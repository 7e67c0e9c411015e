//! What a run, a gathering and a check are told, and what they tell.

use std::path::{Path, PathBuf};
use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::child::Failure;
use super::record::{Outcome, REPORT, Reason};
use super::shard::Shard;

/// How to run a cohort, or a shard of it.
#[derive(Clone, Debug)]
pub struct RunParams {
    /// The list of cases.
    pub manifest: PathBuf,
    /// Where results go.
    pub out: PathBuf,
    /// Which rows.
    pub shard: Shard,
    /// Cases at the same time, at least 1.
    pub jobs: usize,
    /// Bytes that all running cases together may need; `None`: no limit.
    pub memory: Option<u64>,
    /// Longest time of one case; `None`: no limit.
    pub case_limit: Option<Duration>,
    /// Which files of a case stay.
    pub keep: Keep,
    /// When a recorded case counts as unchanged.
    pub freshness: Freshness,
}

/// Which files of a case stay beside `case.json` and `report.json`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Keep {
    /// None: two files a case.
    ReportOnly,
    /// These, where they were written.
    Named(Vec<String>),
    /// All.
    Everything,
}

impl Keep {
    /// These beside what stays always.
    pub fn named(names: &[String]) -> Self {
        let names: Vec<String> = names.iter().filter(|name| *name != REPORT).cloned().collect();
        if names.is_empty() { Self::ReportOnly } else { Self::Named(names) }
    }

    /// Names of the files that a case need make, with commas between; `None`:
    /// all.
    pub(crate) fn only(&self) -> Option<String> {
        match self {
            Self::ReportOnly => Some(REPORT.to_owned()),
            Self::Named(names) => Some(format!("{REPORT},{}", names.join(","))),
            Self::Everything => None,
        }
    }

    /// Whether a case of which this was kept has all that `wanted` asks for.
    pub(crate) fn covers(&self, wanted: &Self) -> bool {
        match (self, wanted) {
            (Self::Everything, _) | (_, Self::ReportOnly) => true,
            (Self::Named(kept), Self::Named(names)) => names.iter().all(|n| kept.contains(n)),
            _ => false,
        }
    }
}

/// When a recorded case counts as unchanged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Freshness {
    /// When names, sizes, times and inodes of its files are as recorded, or
    /// else their bytes are.
    FileTimes,
    /// When the bytes of its files are as recorded; reads every scan.
    Bytes,
}

/// What a run asks and tells while it goes on. Called from several threads.
pub struct Hooks<'a> {
    /// Bytes of memory that the case of this scan will need; `None` when that
    /// cannot be told, and the case counts as its even share of the limit.
    pub estimate: &'a (dyn Fn(&Path) -> Option<u64> + Sync),
    /// Told of every case, in the order in which they end.
    pub observe: &'a (dyn Fn(&Event<'_>) + Sync),
}

impl std::fmt::Debug for Hooks<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Hooks")
    }
}

/// The end of one case.
#[derive(Clone, Debug)]
pub struct Event<'a> {
    /// Row of the manifest, from 1.
    pub row: usize,
    /// The group's id.
    pub case: &'a str,
    /// How it ended.
    pub verdict: &'a Verdict,
    /// Cases that have ended, this one included.
    pub ended: usize,
    /// Cases of this run.
    pub total: usize,
}

/// How a run left one case.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Recorded earlier and unchanged.
    Skipped(Ending),
    /// Run now; where there was a record already, why it no longer held.
    Ran(Ending, Option<Redo>),
    /// No final record.
    Unfinished(Failure),
}

/// How a case ended for good.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Ending {
    /// With a report.
    Done,
    /// Refused; the code of its first reason.
    Refused(String),
}

impl Ending {
    pub(crate) fn of(outcome: Outcome, reasons: &[Reason]) -> Self {
        match outcome {
            Outcome::Done => Self::Done,
            Outcome::ScanRefused | Outcome::PlanRefused => {
                Self::Refused(reasons.first().map(|r| r.code.clone()).unwrap_or_default())
            }
        }
    }
}

/// Why a recorded case was run again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Redo {
    /// Its scan or plan holds other bytes.
    Inputs,
    /// Flags, version or build are others.
    Recipe,
    /// Its record or report is not whole.
    Damaged,
    /// Files are asked for that were not kept.
    Files,
}

impl Redo {
    /// The reason in words.
    pub fn word(self) -> &'static str {
        match self {
            Self::Inputs => "its scan or plan has changed",
            Self::Recipe => "flags, version or build have changed",
            Self::Damaged => "its record is damaged",
            Self::Files => "files asked for were not kept",
        }
    }
}

/// A case by row and id.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Named<T> {
    /// Row of the manifest, from 1.
    pub row: usize,
    /// The group's id.
    pub case: String,
    /// What about it.
    pub what: T,
}

/// What a run did. Lists are in the order of rows.
#[derive(Clone, Debug, Default)]
pub struct RunSummary {
    /// Cases of the shard.
    pub cases: usize,
    /// With a report.
    pub done: usize,
    /// Refused, with the code of the first reason.
    pub refused: Vec<Named<String>>,
    /// Skipped: recorded earlier and unchanged.
    pub skipped: usize,
    /// Recorded earlier, and run again.
    pub redone: Vec<Named<Redo>>,
    /// Without a final record.
    pub unfinished: Vec<Named<Failure>>,
    /// Cases larger than the limit of memory, which ran alone.
    pub too_large: Vec<Named<u64>>,
    /// Largest sum of estimates that ran at the same time, bytes.
    pub most_memory: u64,
    /// The manifest is no longer what it was when the run began; no part was
    /// written.
    pub manifest_changed: bool,
    /// The part could not be written for want of a sound record or of space.
    pub part_missing: bool,
    /// Folders of dead runs that were cleared away.
    pub cleared: usize,
    /// The file system has no locks, so that nothing keeps a second run away.
    pub without_locks: bool,
}

impl RunSummary {
    /// [`Exit::Done`] when every case has a final record, refusals included.
    pub fn exit(&self) -> Exit {
        let incomplete = !self.unfinished.is_empty() || self.manifest_changed || self.part_missing;
        if incomplete { Exit::Incomplete } else { Exit::Done }
    }
}

/// How to gather.
#[derive(Clone, Debug)]
pub struct GatherParams {
    /// The list of cases, as it was run.
    pub manifest: PathBuf,
    /// Where results went.
    pub out: PathBuf,
    /// What every reader has to know first.
    pub caution: String,
}

/// What was gathered.
#[derive(Clone, Debug, Default)]
pub struct GatherSummary {
    /// Cases of the manifest.
    pub cases: usize,
    /// With a report.
    pub done: usize,
    /// Refused.
    pub refused: usize,
    /// Without a final record, the first hundred of them.
    pub unfinished: Vec<Named<()>>,
    /// How many there are.
    pub unfinished_count: usize,
    /// Holes in the table.
    pub holes: usize,
    /// Cases whose known answers cannot be read.
    pub truths_unread: usize,
    /// Folders that dead runs left; the next run over every case clears them.
    pub left_by_the_dead: usize,
    /// Runs that are still at work.
    pub still_at_work: usize,
}

impl GatherSummary {
    /// [`Exit::Incomplete`] before [`Exit::Refused`] before [`Exit::Done`].
    pub fn exit(&self) -> Exit {
        if self.unfinished_count > 0 {
            Exit::Incomplete
        } else if self.refused > 0 {
            Exit::Refused
        } else {
            Exit::Done
        }
    }
}

/// How a command on a cohort ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exit {
    /// Every case has a final record.
    Done,
    /// The same, and some were refused; from gathering only.
    Refused,
    /// Some cases have no final record; the same command may help.
    Incomplete,
}

impl Exit {
    /// Exit status of the program.
    pub fn status(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::Refused => 5,
            Self::Incomplete => 6,
        }
    }
}
