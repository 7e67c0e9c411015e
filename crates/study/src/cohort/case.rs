//! One row of the manifest: skip it or run it, and leave it whole or not at
//! all.

use std::fs;
use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use super::budget::Budget;
use super::child::{self, CaseRunner, End, Failure};
use super::key::{self, Digest};
use super::line::Line;
use super::lock::Workshop;
use super::manifest::Row;
use super::params::{Ending, Freshness, Hooks, Keep, Redo, RunParams, Verdict};
use super::part;
use super::place::{Place, new_folder, put_folder};
use super::record::{NAME, Outcome, REPORT, Reason, Record};
use super::shard::Shard;
use super::walk::{Entry, entries};

/// Bytes kept of what a failed case said last.
const LAST_WORDS: usize = 1 << 16;

/// What all cases of a run share.
#[derive(Debug)]
pub(crate) struct Bench<'a> {
    pub(crate) place: &'a Place,
    pub(crate) workshop: &'a Workshop,
    pub(crate) settings: String,
    pub(crate) recipe: String,
    pub(crate) runner: &'a CaseRunner,
    pub(crate) params: &'a RunParams,
    pub(crate) hooks: &'a Hooks<'a>,
    pub(crate) budget: Budget,
    /// Parts that stood when the run began.
    pub(crate) parts: Vec<Shard>,
}

/// Files of one case and what they amount to.
struct Inputs {
    scan: Vec<Entry>,
    plan: Vec<Entry>,
    places: String,
    seal: String,
}

/// What an earlier run left.
enum Standing {
    Fresh(Ending),
    Stale(Option<Redo>),
}

/// What ended well, before it is put in place.
struct Finished<'a> {
    record: Record,
    out: &'a Path,
    room: &'a Path,
}

impl Bench<'_> {
    /// Bring one case to its final record. The second answer is the estimate
    /// of a case that was too large for the limit of memory.
    pub(crate) fn case(&self, row: &Row) -> (Verdict, Option<u64>) {
        let judged = catch_unwind(AssertUnwindSafe(|| {
            let mut too_large = None;
            let verdict = self.try_case(row, &mut too_large);
            (verdict.unwrap_or_else(Verdict::Unfinished), too_large)
        }));
        judged.unwrap_or((Verdict::Unfinished(Failure::Internal), None))
    }

    fn try_case(&self, row: &Row, too_large: &mut Option<u64>) -> Result<Verdict, Failure> {
        let inputs = self.inputs(row)?;
        let redo = match self.standing(row, &inputs)? {
            Standing::Fresh(ending) => return Ok(Verdict::Skipped(ending)),
            Standing::Stale(redo) => redo,
        };
        let input = self.input(&inputs)?;
        let room = new_folder(&format!("{}.", row.case), self.workshop.path())
            .map_err(|error| unwritable(&error))?;
        let out = room.path().join("out");
        let bytes = self.estimate(&row.scan);
        if self.budget.is_too_small_for(bytes) {
            *too_large = Some(bytes);
        }
        let end = {
            let _granted = self.budget.grant(bytes);
            let folders = (room.path(), out.as_path());
            child::run(self.runner, (&row.scan, &row.plan), folders, self.params)
        };
        let (outcome, reasons, report) = match end {
            End::Final { outcome, reasons, report } => (outcome, reasons, report),
            End::Failed(failure) => {
                self.keep_last_words(row, room.path());
                return Err(failure);
            }
        };
        if self.inputs(row)?.seal != inputs.seal {
            return Err(Failure::Changed);
        }
        let ending = Ending::of(outcome, &reasons);
        let record = self.record(row, inputs, (input, outcome, reasons, report.as_deref()));
        check_report(row, &record, report.as_deref())?;
        let finished = Finished { record, out: &out, room: room.path() };
        self.finish(row, &finished).map_err(|error| unwritable(&error))?;
        // A log that is not there need not be removed.
        let _removed = fs::remove_file(self.place.log(&row.case));
        Ok(Verdict::Ran(ending, redo))
    }

    fn inputs(&self, row: &Row) -> Result<Inputs, Failure> {
        let of = |path: &Path, what: &'static str| {
            entries(path).map_err(|error| Failure::Unreadable { what, kind: error.kind() })
        };
        let (scan, plan) = (of(&row.scan, "scan")?, of(&row.plan, "plan")?);
        let key = self.place.key();
        let places = key.of_places(&row.written);
        let seal = key.of_entries(&scan, &plan);
        Ok(Inputs { scan, plan, places, seal })
    }

    fn input(&self, inputs: &Inputs) -> Result<String, Failure> {
        key::input(&self.settings, &inputs.scan, &inputs.plan)
            .map_err(|error| Failure::Unreadable { what: "scan or plan", kind: error.kind() })
    }

    fn standing(&self, row: &Row, inputs: &Inputs) -> Result<Standing, Failure> {
        let folder = self.place.case(&row.case);
        let Some((record, _)) = Record::read(&folder, &row.case) else {
            return Ok(Standing::Stale(folder.exists().then_some(Redo::Damaged)));
        };
        if record.recipe != self.recipe {
            return Ok(Standing::Stale(Some(Redo::Recipe)));
        }
        let sealed = record.files == inputs.seal;
        let by_times = self.params.freshness == Freshness::FileTimes && sealed;
        if !by_times && record.input != self.input(inputs)? {
            return Ok(Standing::Stale(Some(Redo::Inputs)));
        }
        let ending = Ending::of(record.outcome, &record.refused);
        if ending == Ending::Done && !record.keep.covers(&self.params.keep) {
            return Ok(Standing::Stale(Some(Redo::Files)));
        }
        if !sealed || record.places != inputs.places {
            let places = inputs.places.clone();
            let renewed = Record { files: inputs.seal.clone(), places, ..record };
            renewed.renew(&folder, self.workshop.path()).map_err(|error| unwritable(&error))?;
        }
        Ok(Standing::Fresh(ending))
    }

    /// Bytes a case counts for. A fault in the estimate costs the estimate.
    fn estimate(&self, scan: &Path) -> u64 {
        let jobs = self.params.jobs.max(1) as u64;
        let share = self.params.memory.map_or(0, |limit| limit / jobs);
        catch_unwind(AssertUnwindSafe(|| (self.hooks.estimate)(scan)))
            .ok()
            .flatten()
            .unwrap_or(share)
    }

    fn record(
        &self,
        row: &Row,
        inputs: Inputs,
        (input, outcome, refused, report): (String, Outcome, Vec<Reason>, Option<&[u8]>),
    ) -> Record {
        Record {
            schema: Record::SCHEMA.to_owned(),
            case: row.case.clone(),
            outcome,
            refused,
            input,
            recipe: self.recipe.clone(),
            places: inputs.places,
            files: inputs.seal,
            report: report.map(|bytes| Digest::of(bytes).hex()),
            keep: self.params.keep.clone(),
        }
    }

    /// Record written, then one step.
    fn finish(&self, row: &Row, finished: &Finished<'_>) -> io::Result<()> {
        let Finished { record, out, room } = finished;
        if record.outcome == Outcome::Done {
            self.prune(out)?;
        } else {
            fs::create_dir_all(room)?;
            if out.exists() {
                fs::remove_dir_all(out)?;
            }
            fs::create_dir(out)?;
        }
        record.write(out)?;
        let wanted = self.place.case(&row.case);
        let already = Record::read(&wanted, &row.case);
        if already.is_some_and(|(other, _)| {
            (&other.input, &other.recipe, &other.keep)
                == (&record.input, &record.recipe, &record.keep)
        }) {
            return Ok(());
        }
        for shard in self.parts.iter().filter(|shard| shard.takes(row.number - 1)) {
            part::remove(self.place, *shard)?;
        }
        put_folder(out, &wanted, &room.join("aside"))
    }

    /// Drop the files that nobody asked for. Of the rest, those that the
    /// record has no digest of are synced.
    fn prune(&self, out: &Path) -> io::Result<()> {
        for entry in fs::read_dir(out)? {
            let entry = entry?;
            let name = entry.file_name();
            let wanted = match &self.params.keep {
                Keep::Everything => true,
                Keep::Named(names) => names.iter().any(|n| name == n.as_str()),
                Keep::ReportOnly => false,
            };
            if name == REPORT {
                continue;
            }
            if wanted {
                fs::File::open(entry.path())?.sync_all()?;
            } else if entry.file_type()?.is_dir() {
                fs::remove_dir_all(entry.path())?;
            } else {
                fs::remove_file(entry.path())?;
            }
        }
        debug_assert!(!out.join(NAME).exists(), "the child writes no record");
        Ok(())
    }

    /// Kept for whoever looks into the failure; a failure to keep them changes
    /// nothing about the case.
    fn keep_last_words(&self, row: &Row, room: &Path) {
        if let Ok(words) = fs::read(room.join("stderr")) {
            let last = &words[words.len().saturating_sub(LAST_WORDS)..];
            let _kept = fs::write(self.place.log(&row.case), last);
        }
    }
}

fn check_report(row: &Row, record: &Record, report: Option<&[u8]>) -> Result<(), Failure> {
    let Some(bytes) = report else { return Ok(()) };
    let report = serde_json::from_slice(bytes).map_err(|_not_json| Failure::NoReport)?;
    match Line::of_report(row.number, record, &report) {
        Ok(_) => Ok(()),
        Err(error) => Err(Failure::OddReport { at: error.at }),
    }
}

fn unwritable(error: &io::Error) -> Failure {
    Failure::Unwritable { kind: error.kind() }
}
