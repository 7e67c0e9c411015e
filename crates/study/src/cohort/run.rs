//! A run: every case of a shard to its final record, then the shard's part.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use super::budget::Budget;
use super::case::Bench;
use super::child::CaseRunner;
use super::error::CohortError;
use super::key;
use super::lock::{self, Workshop};
use super::manifest::{Manifest, Row};
use super::params::{Ending, Event, Hooks, Named, RunParams, RunSummary, Verdict};
use super::part;
use super::place::{Place, sync_all_of};

/// Run a cohort, or a shard of it.
///
/// Killed at any moment, it leaves whole cases only; the same call goes on
/// where it was.
///
/// # Errors
///
/// [`CohortError`] where nothing could be run at all. A case that fails is no
/// error: the summary names it.
pub fn run(
    params: &RunParams,
    runner: &CaseRunner,
    hooks: &Hooks<'_>,
) -> Result<RunSummary, CohortError> {
    let manifest = Manifest::read(&params.manifest)?;
    let place = Place::open(&params.out)?;
    let held = lock::to_run(&place, params.shard)?;
    let cleared = lock::leavings(&place, true).dead;
    let workshop = Workshop::open(&place)?;
    let settings = key::settings(&runner.version, &runner.flags);
    let recipe = key::recipe(&settings, &runner.program)
        .map_err(CohortError::cannot("read the program that judges a case"))?;
    place.set_recipe(&recipe, workshop.path())?;
    let bench = Bench {
        place: &place,
        workshop: &workshop,
        settings,
        recipe,
        runner,
        params,
        hooks,
        budget: Budget::new(params.memory),
        parts: part::standing(&place),
    };
    let rows: Vec<&Row> =
        manifest.rows().iter().filter(|row| params.shard.takes(row.number - 1)).collect();
    let mut summary = summed(&rows, work(&bench, &rows));
    summary.most_memory = bench.budget.most();
    summary.cleared = cleared;
    summary.without_locks = !held.locks_work;
    summary.manifest_changed = !manifest.is_unchanged(&params.manifest);
    if summary.unfinished.is_empty() && !summary.manifest_changed {
        let written = sync_all_of(&place.parts()).and_then(|()| part::write(&bench, &rows));
        summary.part_missing = written.is_err();
    }
    Ok(summary)
}

/// Longest time of work that a power cut can undo: cases are not synced one by
/// one, since a torn one is known by its digest and run again.
const SYNC_EVERY: Duration = Duration::from_secs(10);

type Judged = (usize, Verdict, Option<u64>);

/// Every row by one of `jobs` threads; answers in the order of rows.
fn work(bench: &Bench<'_>, rows: &[&Row]) -> Vec<Judged> {
    let next = AtomicUsize::new(0);
    let ended = Mutex::new(Vec::with_capacity(rows.len()));
    let synced = Mutex::new(Instant::now());
    let hand = || {
        while let Some(row) = rows.get(next.fetch_add(1, Ordering::Relaxed)) {
            let (verdict, too_large) = bench.case(row);
            let mut ended = ended.lock().unwrap_or_else(PoisonError::into_inner);
            let event = Event {
                row: row.number,
                case: &row.case,
                verdict: &verdict,
                ended: ended.len() + 1,
                total: rows.len(),
            };
            (bench.hooks.observe)(&event);
            ended.push((row.number, verdict, too_large));
            drop(ended);
            sync_now_and_then(bench.place, &synced);
        }
    };
    std::thread::scope(|scope| {
        let hands = bench.params.jobs.clamp(1, rows.len().max(1));
        for _ in 0..hands {
            scope.spawn(hand);
        }
    });
    let mut ended = ended.into_inner().unwrap_or_else(PoisonError::into_inner);
    ended.sort_unstable_by_key(|(row, _, _)| *row);
    ended
}

/// By one thread at a time; the others go on.
fn sync_now_and_then(place: &Place, synced: &Mutex<Instant>) {
    if let Ok(mut last) = synced.try_lock()
        && last.elapsed() >= SYNC_EVERY
    {
        // What cannot be synced is lost in a power cut at most, and run again.
        let _synced = sync_all_of(&place.parts());
        *last = Instant::now();
    }
}

fn summed(rows: &[&Row], judged: Vec<Judged>) -> RunSummary {
    let mut summary = RunSummary { cases: rows.len(), ..RunSummary::default() };
    for (row, (number, verdict, too_large)) in rows.iter().zip(judged) {
        debug_assert_eq!(row.number, number, "one answer a row");
        let mut ended = |ending| match ending {
            Ending::Done => summary.done += 1,
            Ending::Refused(code) => summary.refused.push(named(row, code)),
        };
        match verdict {
            Verdict::Skipped(ending) => {
                ended(ending);
                summary.skipped += 1;
            }
            Verdict::Ran(ending, redo) => {
                ended(ending);
                summary.redone.extend(redo.map(|why| named(row, why)));
            }
            Verdict::Unfinished(failure) => summary.unfinished.push(named(row, failure)),
        }
        summary.too_large.extend(too_large.map(|bytes| named(row, bytes)));
    }
    summary
}

fn named<T>(row: &Row, what: T) -> Named<T> {
    Named { row: row.number, case: row.case.clone(), what }
}
