//! Who may write at the same time.
//!
//! Locks are the kernel's, on files that stay: they end with the process that
//! holds them, however it ends. A whole run excludes every other; shards run
//! beside each other, each once. On a file system without locks there is no
//! exclusion, and none is needed for soundness: names are random and results
//! are renamed into place.

use std::fs::{File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};

use super::error::CohortError;
use super::place::{Place, new_folder};
use super::shard::Shard;

/// Held until dropped.
#[derive(Debug)]
pub(crate) struct Held {
    _files: Vec<File>,
    /// Whether the file system has locks at all.
    pub(crate) locks_work: bool,
}

/// The right to run a shard.
///
/// # Errors
///
/// [`CohortError::Busy`] when a living process has it.
pub(crate) fn to_run(place: &Place, shard: Shard) -> Result<Held, CohortError> {
    let locks = place.locks();
    if shard == Shard::WHOLE {
        let held = take(&locks.join("run"), true)?;
        return granted(vec![held], || "another run".to_owned());
    }
    let own = locks.join(format!("shard-{}-of-{}", shard.index(), shard.count()));
    let shared = take(&locks.join("run"), false)?;
    if shared.is_none() {
        return granted(vec![shared], || "a run over every case".to_owned());
    }
    let own = take(&own, true)?;
    granted(vec![shared, own], || format!("another run of shard {shard}"))
}

/// The right to gather.
///
/// # Errors
///
/// [`CohortError::Busy`] when a living process has it.
pub(crate) fn to_gather(place: &Place) -> Result<Held, CohortError> {
    let held = take(&place.locks().join("gather"), true)?;
    granted(vec![held], || "another --gather".to_owned())
}

/// A lock, or `None` when somebody else has it. The file tells whether the
/// file system has locks.
fn take(path: &Path, alone: bool) -> Result<Option<(File, bool)>, CohortError> {
    let cannot = || CohortError::cannot("lock the output folder");
    let file =
        File::options().create(true).truncate(false).write(true).open(path).map_err(cannot())?;
    let tried = if alone { file.try_lock() } else { file.try_lock_shared() };
    match tried {
        Ok(()) => Ok(Some((file, true))),
        Err(TryLockError::WouldBlock) => Ok(None),
        Err(TryLockError::Error(error)) if is_without_locks(&error) => Ok(Some((file, false))),
        Err(TryLockError::Error(error)) => Err(cannot()(error)),
    }
}

fn granted(
    taken: Vec<Option<(File, bool)>>,
    who: impl Fn() -> String,
) -> Result<Held, CohortError> {
    let taken: Option<Vec<(File, bool)>> = taken.into_iter().collect();
    let taken = taken.ok_or_else(|| CohortError::Busy {
        what: who(),
        hint: ", or part the work with --shard I/N",
    })?;
    let locks_work = taken.iter().all(|(_, works)| *works);
    Ok(Held { _files: taken.into_iter().map(|(file, _)| file).collect(), locks_work })
}

fn is_without_locks(error: &io::Error) -> bool {
    let no_locks =
        [rustix::io::Errno::NOLCK, rustix::io::Errno::NOSYS, rustix::io::Errno::OPNOTSUPP];
    error.raw_os_error().is_some_and(|code| no_locks.iter().any(|e| e.raw_os_error() == code))
}

/// A folder for the work in progress of one run, locked as long as it lives.
#[derive(Debug)]
pub(crate) struct Workshop {
    folder: tempfile::TempDir,
    _lock: File,
}

impl Workshop {
    /// Open one.
    ///
    /// # Errors
    ///
    /// [`CohortError::Cannot`] where it cannot be made.
    pub(crate) fn open(place: &Place) -> Result<Self, CohortError> {
        let cannot = || CohortError::cannot("write in the output folder");
        loop {
            let folder = new_folder("run-", &place.temporary()).map_err(cannot())?;
            let lock = match File::create(folder.path().join("lock")) {
                // One who clears away empty leavings was faster.
                Err(error) if error.kind() == io::ErrorKind::NotFound => continue,
                other => other.map_err(cannot())?,
            };
            match lock.try_lock() {
                // One who clears away the leavings of the dead was faster.
                Err(TryLockError::WouldBlock) => {}
                _ if !folder.path().join("lock").exists() => {}
                _ => return Ok(Self { folder, _lock: lock }),
            }
        }
    }

    pub(crate) fn path(&self) -> &Path {
        self.folder.path()
    }
}

/// What runs that are dead left behind.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Leavings {
    /// Workshops of the dead.
    pub(crate) dead: usize,
    /// Workshops whose owner lives.
    pub(crate) alive: usize,
}

/// Count the workshops; clear those of the dead where told to.
pub(crate) fn leavings(place: &Place, clear: bool) -> Leavings {
    let mut found = Leavings::default();
    let Ok(entries) = std::fs::read_dir(place.temporary()) else { return found };
    for entry in entries.flatten() {
        let path: PathBuf = entry.path();
        if !path.is_dir() {
            continue;
        }
        let lock = File::open(path.join("lock"));
        let free = match lock.as_ref().map(File::try_lock) {
            Ok(Ok(())) => true,
            Ok(Err(_)) => false,
            // Cleared half-way, or not yet locked: its maker makes another then.
            Err(error) => error.kind() == io::ErrorKind::NotFound,
        };
        if !free {
            found.alive += 1;
            continue;
        }
        found.dead += 1;
        if clear {
            // A leaving that cannot be cleared is met again by the next run.
            let _cleared = std::fs::remove_dir_all(&path);
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shards_run_beside_each_other_and_a_whole_run_alone() {
        let home = tempfile::tempdir().expect("a folder to work in");
        let place = Place::open(home.path()).expect("writable");
        let shard = |i| Shard::new(i, 3).expect("exists");
        let first = to_run(&place, shard(0)).expect("free");
        let second = to_run(&place, shard(1)).expect("free");
        let said = to_run(&place, shard(1)).expect_err("busy").to_string();
        assert!(said.starts_with("another run of shard 1/3 is at work"), "{said}");
        assert!(to_run(&place, Shard::WHOLE).is_err());
        drop((first, second));
        let whole = to_run(&place, Shard::WHOLE).expect("free");
        assert!(to_run(&place, shard(2)).is_err());
        assert_eq!(to_run(&place, Shard::WHOLE).expect_err("busy").exit_status(), 6);
        drop(whole);
        to_gather(&place).expect("free");
    }

    #[test]
    fn only_the_leavings_of_the_dead_are_cleared() {
        let home = tempfile::tempdir().expect("a folder to work in");
        let place = Place::open(home.path()).expect("writable");
        let living = Workshop::open(&place).expect("writable");
        let dead = place.temporary().join("run-dead");
        std::fs::create_dir(&dead).expect("made");
        std::fs::write(dead.join("lock"), "").expect("written");
        std::fs::write(dead.join("half"), "half a rep").expect("written");
        assert_eq!(leavings(&place, true), Leavings { dead: 1, alive: 1 });
        assert!(!dead.exists() && living.path().exists());
    }
}
