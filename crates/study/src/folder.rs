//! A folder of results that is there whole or not at all.
//!
//! Files are written into a new folder beside the wanted one, synced, and the
//! two are exchanged in one step of the file system; killed at any moment, the
//! wanted place holds what it held before or everything that was written.
//! What a killed run leaves beside it is cleared by the next run there: a
//! folder in the making is locked, and the lock ends with its process.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::{PoisonError, RwLock, RwLockReadGuard};

use rustix::fs::{CWD, FlockOperation, RenameFlags, flock, renameat_with};

/// How the names of folders in the making begin.
const STAGING: &str = ".pilothole-";

/// What may stand where results are to go.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Replace {
    /// Nothing, an empty folder, or earlier results of the same kind.
    EarlierResults,
    /// Anything; what the folder held is gone afterwards.
    Anything,
}

/// Folders in the making that this process has begun. The one thing that is
/// known to the whole process: a signal has to find them. Whoever writes into
/// one holds the lock with others.
static BEGUN: RwLock<Vec<PathBuf>> = RwLock::new(Vec::new());

/// Held while a folder is written to or put in place.
fn turn() -> RwLockReadGuard<'static, Vec<PathBuf>> {
    BEGUN.read().unwrap_or_else(PoisonError::into_inner)
}

/// Clear every folder in the making; for a process that is about to end.
///
/// Wanted places stay as they are, or hold everything: what is being put in
/// place is waited for, and from then on whoever would write waits for ever.
pub fn abandon_folders() {
    let begun = BEGUN.write().unwrap_or_else(PoisonError::into_inner);
    for staging in begun.iter() {
        // Under another name nothing more is written into it.
        let mut aside = staging.clone().into_os_string();
        aside.push("-abandoned");
        if fs::rename(staging, &aside).is_ok() && fs::remove_dir_all(&aside).is_err() {
            // A disk that gives no more; a hidden folder is left.
        }
    }
    std::mem::forget(begun);
}

/// A folder in the making.
#[derive(Debug)]
pub struct Folder {
    wanted: PathBuf,
    staging: tempfile::TempDir,
    /// Tells others that the folder in the making is not left over.
    lock: File,
}

impl Folder {
    /// Begin a folder of results.
    ///
    /// - `known`: names that earlier results of the same kind hold.
    ///
    /// # Errors
    ///
    /// [`FolderError`]: what stands there already, or a place that cannot be
    /// written; nothing has been changed then.
    pub fn begin(wanted: &Path, known: &[&str], replace: Replace) -> Result<Self, FolderError> {
        let wanted = std::path::absolute(wanted).map_err(FolderError::cannot("reach"))?;
        if replace == Replace::EarlierResults {
            refuse_foreign(&wanted, known)?;
        } else if wanted.exists() && !wanted.is_dir() {
            return Err(FolderError::NotAFolder);
        }
        let parent = wanted.parent().ok_or(FolderError::NotAFolder)?;
        fs::create_dir_all(parent).map_err(FolderError::cannot("make"))?;
        clear_left_over(parent);
        // A signal finds the folder from the moment it is there.
        let mut begun = BEGUN.write().unwrap_or_else(PoisonError::into_inner);
        let (staging, lock) = stage(parent).map_err(FolderError::cannot("write beside"))?;
        begun.push(staging.path().to_path_buf());
        Ok(Self { wanted, staging, lock })
    }

    /// Where the files lie until [`Folder::finish`].
    pub fn staging(&self) -> &Path {
        self.staging.path()
    }

    /// Write one file, whole and synced.
    ///
    /// # Errors
    ///
    /// [`FolderError::Cannot`], on a full disk for example.
    pub fn write(&self, name: &str, bytes: &[u8]) -> Result<(), FolderError> {
        self.write_with(name, |file| file.write_all(bytes))
    }

    /// As [`Folder::write`], of what `put` makes as it writes.
    ///
    /// # Errors
    ///
    /// [`FolderError::Cannot`], with what `put` says too.
    pub fn write_with(
        &self,
        name: &str,
        put: impl FnOnce(&mut File) -> io::Result<()>,
    ) -> Result<(), FolderError> {
        let _turn = turn();
        let place = self.staging.path().join(name);
        let mut file = File::create(place).map_err(FolderError::cannot("write to"))?;
        put(&mut file).map_err(FolderError::cannot("write to"))?;
        file.sync_all().map_err(FolderError::cannot("write to"))
    }

    /// Put the folder where it is wanted, in one step.
    ///
    /// # Errors
    ///
    /// [`FolderError::Cannot`]; the wanted place is as it was then.
    pub fn finish(self) -> Result<(), FolderError> {
        let _turn = turn();
        open_to_readers(self.staging.path()).map_err(FolderError::cannot("finish"))?;
        sync_folder(self.staging.path()).map_err(FolderError::cannot("finish"))?;
        if self.wanted.is_dir() {
            exchange(self.staging.path(), &self.wanted).map_err(FolderError::cannot("replace"))?;
            match self.staging.close() {
                // Another run cleared it.
                Err(error) if error.kind() == io::ErrorKind::NotFound => {}
                closed => closed.map_err(FolderError::cannot("clear what was replaced in"))?,
            }
        } else {
            let staged = self.staging.keep();
            if let Err(error) = fs::rename(&staged, &self.wanted) {
                fs::remove_dir_all(&staged).map_err(FolderError::cannot("clear"))?;
                return Err(FolderError::cannot("finish")(error));
            }
        }
        drop(self.lock);
        if let Some(parent) = self.wanted.parent() {
            sync_folder(parent).map_err(FolderError::cannot("finish"))?;
        }
        Ok(())
    }
}

/// A new, locked folder beside the wanted one.
fn stage(parent: &Path) -> io::Result<(tempfile::TempDir, File)> {
    loop {
        let staging = tempfile::Builder::new().prefix(STAGING).tempdir_in(parent)?;
        let lock = File::open(staging.path())?;
        // Where the file system knows no locks, nothing is cleared either.
        let _unlocked = flock(&lock, FlockOperation::NonBlockingLockExclusive);
        // Another run may have taken it for left over before it was locked.
        if staging.path().exists() {
            return Ok((staging, lock));
        }
    }
}

/// Clear folders in the making whose process is gone.
fn clear_left_over(parent: &Path) {
    let entries = fs::read_dir(parent).into_iter().flatten().flatten();
    for entry in entries {
        let ours = entry.file_name().as_encoded_bytes().starts_with(STAGING.as_bytes());
        let folder = entry.file_type().is_ok_and(|kind| kind.is_dir());
        let Some(lock) = (ours && folder).then(|| File::open(entry.path()).ok()).flatten() else {
            continue;
        };
        if flock(&lock, FlockOperation::NonBlockingLockExclusive).is_ok() {
            // What cannot be cleared does no harm to what is wanted.
            let _left = fs::remove_dir_all(entry.path());
        }
    }
}

fn refuse_foreign(wanted: &Path, known: &[&str]) -> Result<(), FolderError> {
    let entries = match fs::read_dir(wanted) {
        Ok(entries) => entries,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
        Err(error) if error.kind() == io::ErrorKind::NotADirectory => {
            return Err(FolderError::NotAFolder);
        }
        Err(error) => return Err(FolderError::cannot("read")(error)),
    };
    let mut foreign = 0;
    for entry in entries {
        let name = entry.map_err(FolderError::cannot("read"))?.file_name();
        foreign += usize::from(!known.iter().any(|k| name == *k));
    }
    if foreign > 0 { Err(FolderError::Foreign { foreign }) } else { Ok(()) }
}

/// A temporary folder is made for its owner alone; results are for whoever may
/// read what lies beside them.
fn open_to_readers(folder: &Path) -> io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        fs::set_permissions(folder, fs::Permissions::from_mode(0o755))?;
    }
    Ok(())
}

fn sync_folder(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

fn exchange(a: &Path, b: &Path) -> io::Result<()> {
    Ok(renameat_with(CWD, a, CWD, b, RenameFlags::EXCHANGE)?)
}

/// Why results could not be put into a folder. Names no path.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FolderError {
    /// The place is a file, or has no parent.
    #[error("the place for the results is not a folder")]
    NotAFolder,
    /// The folder holds what is not ours.
    #[error(
        "the folder for the results holds {foreign} other files or folders; name a new one, or add --replace to let it go with all it holds"
    )]
    Foreign {
        /// How many.
        foreign: usize,
    },
    /// The file system said no.
    #[error("cannot {what} the folder for the results: {kind}")]
    Cannot {
        /// What was tried.
        what: &'static str,
        /// What the file system said.
        kind: io::ErrorKind,
    },
}

impl FolderError {
    fn cannot(what: &'static str) -> impl Fn(io::Error) -> Self {
        move |error| Self::Cannot { what, kind: error.kind() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_appears_whole_and_replaces_an_earlier_one() {
        let home = tempfile::tempdir().expect("a folder to work in");
        let wanted = home.path().join("results");
        for text in ["first", "second"] {
            let folder = Folder::begin(&wanted, &["a.txt"], Replace::EarlierResults).expect("free");
            folder.write("a.txt", text.as_bytes()).expect("written");
            folder.finish().expect("finished");
            assert_eq!(fs::read_to_string(wanted.join("a.txt")).expect("there"), text);
        }
        let left = fs::read_dir(home.path()).expect("readable").count();
        assert_eq!(left, 1, "nothing is left beside the results");
    }

    #[test]
    fn what_is_not_ours_is_kept_unless_told() {
        let home = tempfile::tempdir().expect("a folder to work in");
        fs::write(home.path().join("thesis.doc"), "years of work").expect("written");
        let refused = Folder::begin(home.path(), &["a.txt"], Replace::EarlierResults);
        assert!(matches!(refused, Err(FolderError::Foreign { foreign: 1 })));
        assert!(Folder::begin(home.path(), &["a.txt"], Replace::Anything).is_ok());
        assert!(home.path().join("thesis.doc").exists());
    }

    #[test]
    fn what_a_dead_run_left_is_cleared_and_what_a_living_one_makes_is_not() {
        let home = tempfile::tempdir().expect("a folder to work in");
        fs::create_dir(home.path().join(".pilothole-dead")).expect("made");
        fs::write(home.path().join(".pilothole-dead/a.txt"), "half").expect("written");
        let begin = |name: &str| {
            Folder::begin(&home.path().join(name), &["a.txt"], Replace::EarlierResults)
                .expect("free")
        };
        let (one, two) = (begin("one"), begin("two"));
        assert!(!home.path().join(".pilothole-dead").exists());
        for folder in [one, two] {
            folder.write("a.txt", b"whole").expect("still there");
            folder.finish().expect("finished");
        }
        assert_eq!(fs::read_dir(home.path()).expect("readable").count(), 2);
    }

    #[test]
    fn a_dropped_folder_leaves_nothing() {
        let home = tempfile::tempdir().expect("a folder to work in");
        let folder =
            Folder::begin(&home.path().join("r"), &[], Replace::EarlierResults).expect("free");
        folder.write("a.txt", b"x").expect("written");
        drop(folder);
        assert_eq!(fs::read_dir(home.path()).expect("readable").count(), 0);
    }
}
