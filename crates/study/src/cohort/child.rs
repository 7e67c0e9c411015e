//! One case in a process of its own.
//!
//! Whatever goes wrong in it (a panic, a kill for want of memory, a decoder
//! that never ends) costs that case only.

use std::ffi::OsString;
use std::fs::{self, File};
use std::io::{self, Read as _};
use std::os::unix::process::ExitStatusExt as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, getppid, set_parent_process_death_signal};
use serde::Deserialize;

use super::params::RunParams;
use super::record::{Outcome, REPORT, Reason};
use crate::error::io_words;

/// Bytes of a child's standard output that are read for its reasons.
const LONGEST_REASONS: u64 = 1 << 20;

/// Longest pause between two looks at a child with a time limit.
const LONGEST_PAUSE: Duration = Duration::from_millis(50);

/// The program that judges one case.
///
/// It is called as `program first… SCAN PLAN --out DIR --json --timeless
/// flags… unkeyed…`, with `--only NAMES` where not every file is kept, and
/// answers with its exit status: 0 and `report.json` in DIR; 3 (scan) or 4
/// (plan) and `{"refused":[…]}` on standard output; with any other the case has
/// no final record.
#[derive(Clone, Debug)]
pub struct CaseRunner {
    /// The executable; its bytes are part of what a record depends on.
    pub program: PathBuf,
    /// What stands before the scan: `assess`.
    pub first: Vec<OsString>,
    /// Flags that may change a result; part of what a record depends on.
    pub flags: Vec<String>,
    /// Flags that do not: `--threads`.
    pub unkeyed: Vec<String>,
    /// Version of the program; part of what a record depends on.
    pub version: String,
}

/// How a child ended.
#[derive(Debug)]
pub(crate) enum End {
    /// With the bytes of the report, where there is one.
    Final {
        outcome: Outcome,
        reasons: Vec<Reason>,
        report: Option<Vec<u8>>,
    },
    Failed(Failure),
}

/// Why a case has no final record. Names no path.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Failure {
    /// Scan or plan cannot be read.
    #[error("its {what} cannot be read: {}", io_words(*.kind))]
    Unreadable {
        /// `scan` or `plan`.
        what: &'static str,
        /// What the file system said.
        kind: io::ErrorKind,
    },
    /// The program could not be started.
    #[error("its process could not be started: {kind}")]
    NotStarted {
        /// What the system said.
        kind: io::ErrorKind,
    },
    /// Ended by a signal: 9 is also how a system out of memory ends one.
    #[error("its process was ended by signal {signal}")]
    Signal {
        /// Number of the signal.
        signal: i32,
    },
    /// An exit status that is no answer.
    #[error("its process ended with status {status}")]
    Status {
        /// The status.
        status: i32,
    },
    /// It took too long and was ended.
    #[error("its process was ended after {seconds} s")]
    TooSlow {
        /// The limit.
        seconds: u64,
    },
    /// Status 0 without a whole report.
    #[error("its process left no whole report")]
    NoReport,
    /// A report that the tables cannot take.
    #[error("its report holds something unexpected at `{at}`")]
    OddReport {
        /// The column.
        at: &'static str,
    },
    /// Status 3 or 4 without reasons.
    #[error("its process refused it without a reason")]
    NoReason,
    /// Scan or plan changed while the case ran.
    #[error("its scan or plan changed while it ran")]
    Changed,
    /// Results could not be put in place.
    #[error("its results cannot be written: {kind}")]
    Unwritable {
        /// What the file system said.
        kind: io::ErrorKind,
    },
    /// A fault of this program.
    #[error("an internal fault")]
    Internal,
}

#[derive(Deserialize)]
struct Refusal {
    refused: Vec<Reason>,
}

/// Let this process end when its parent does; for the child's own use.
///
/// A run that is killed takes its cases along, so that they do not go on
/// beside those of the next one. `parent` is the parent's process id as it
/// told it; where that one has ended already, the answer is `false` and the
/// caller should end.
pub fn end_with(parent: u32) -> bool {
    let armed = set_parent_process_death_signal(Some(Signal::KILL)).is_ok();
    let now = getppid().map(|pid| Pid::as_raw(Some(pid)));
    armed && now == i32::try_from(parent).ok()
}

/// Run one case.
///
/// - `room`: a folder of the case's own, gone afterwards.
/// - `out`: where the child writes, within `room`; does not exist yet.
pub(crate) fn run(
    runner: &CaseRunner,
    (scan, plan): (&Path, &Path),
    (room, out): (&Path, &Path),
    params: &RunParams,
) -> End {
    let [words, complaints] = [room.join("stdout"), room.join("stderr")];
    let files = File::create(&words).and_then(|a| Ok((a, File::create(&complaints)?)));
    let (stdout, stderr) = match files {
        Ok(both) => both,
        Err(error) => return End::Failed(Failure::Unwritable { kind: error.kind() }),
    };
    let limit = params.case_limit;
    let only = params.keep.only();
    let started = Command::new(&runner.program)
        .args(&runner.first)
        .arg(scan)
        .arg(plan)
        .arg("--out")
        .arg(out)
        .args(["--json", "--timeless"])
        .args(only.iter().flat_map(|names| ["--only", names]))
        .args(&runner.flags)
        .args(&runner.unkeyed)
        .stdin(Stdio::null())
        .stdout(stdout)
        .stderr(stderr)
        .spawn();
    let ended = started.and_then(|child| wait(child, limit));
    match ended {
        Ok(Some(status)) => judge(status, &words, out),
        Ok(None) => End::Failed(Failure::TooSlow { seconds: limit.unwrap_or_default().as_secs() }),
        Err(error) => End::Failed(Failure::NotStarted { kind: error.kind() }),
    }
}

/// The status, or `None` when the limit came first.
fn wait(mut child: Child, limit: Option<Duration>) -> io::Result<Option<ExitStatus>> {
    let Some(limit) = limit else { return child.wait().map(Some) };
    let begun = Instant::now();
    let mut pause = Duration::from_millis(1);
    loop {
        if let Some(status) = child.try_wait()? {
            return Ok(Some(status));
        }
        if begun.elapsed() >= limit {
            child.kill()?;
            child.wait()?;
            return Ok(None);
        }
        std::thread::sleep(pause);
        pause = (pause * 2).min(LONGEST_PAUSE);
    }
}

fn judge(status: ExitStatus, words: &Path, out: &Path) -> End {
    let outcome = match status.code() {
        Some(0) => Outcome::Done,
        Some(3) => Outcome::ScanRefused,
        Some(4) => Outcome::PlanRefused,
        Some(status) => return End::Failed(Failure::Status { status }),
        None => {
            let signal = status.signal().unwrap_or_default();
            return End::Failed(Failure::Signal { signal });
        }
    };
    if outcome == Outcome::Done {
        return match fs::read(out.join(REPORT)) {
            Ok(bytes) => End::Final { outcome, reasons: Vec::new(), report: Some(bytes) },
            Err(_) => End::Failed(Failure::NoReport),
        };
    }
    match reasons(words) {
        Some(reasons) if !reasons.is_empty() => End::Final { outcome, reasons, report: None },
        _ => End::Failed(Failure::NoReason),
    }
}

fn reasons(words: &Path) -> Option<Vec<Reason>> {
    let mut bytes = Vec::new();
    File::open(words).ok()?.take(LONGEST_REASONS).read_to_end(&mut bytes).ok()?;
    serde_json::from_slice::<Refusal>(&bytes).ok().map(|refusal| refusal.refused)
}
