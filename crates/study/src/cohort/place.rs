//! The output folder: what lies where, and how it gets there whole.
//!
//! ```text
//! cases/<2 hex>/<case>/   case.json, report.json, files asked for
//! parts/IIIII-of-NNNNN.ndjson
//! tables/                 holes, cases, findings; cohort.html
//! .tmp/                   work in progress
//! .private/               key, locks, recipe, last words of failed cases
//! ```
//!
//! `.private` and `.tmp` are not meant to leave the group.

use std::fs::{self, File};
use std::io::{self, Write as _};
use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};

use rustix::fs::{CWD, RenameFlags, renameat_with};

use super::error::CohortError;
use super::key::{Digest, Key};
use super::shard::Shard;

/// An output folder that can be written.
#[derive(Debug)]
pub(crate) struct Place {
    root: PathBuf,
    key: Key,
}

impl Place {
    /// Open the folder, made where it is missing.
    ///
    /// # Errors
    ///
    /// [`CohortError::Cannot`] where it cannot be written.
    pub(crate) fn open(root: &Path) -> Result<Self, CohortError> {
        let cannot = || CohortError::cannot("write in the output folder");
        let root = std::path::absolute(root).map_err(cannot())?;
        for name in [".private/locks", ".private/logs", ".tmp", "cases", "parts"] {
            fs::create_dir_all(root.join(name)).map_err(cannot())?;
        }
        let key = key_in(&root.join(".private")).map_err(cannot())?;
        Ok(Self { root, key })
    }

    pub(crate) fn key(&self) -> &Key {
        &self.key
    }

    /// Where a case's results stand once they are complete.
    pub(crate) fn case(&self, case: &str) -> PathBuf {
        self.root.join("cases").join(case_folder(case))
    }

    pub(crate) fn parts(&self) -> PathBuf {
        self.root.join("parts")
    }

    pub(crate) fn part(&self, shard: Shard) -> PathBuf {
        self.parts().join(format!("{:05}-of-{:05}.ndjson", shard.index(), shard.count()))
    }

    pub(crate) fn tables(&self) -> PathBuf {
        self.root.join("tables")
    }

    pub(crate) fn temporary(&self) -> PathBuf {
        self.root.join(".tmp")
    }

    pub(crate) fn locks(&self) -> PathBuf {
        self.root.join(".private/locks")
    }

    /// Where the last words of a failed case are kept.
    pub(crate) fn log(&self, case: &str) -> PathBuf {
        self.root.join(".private/logs").join(format!("{case}.txt"))
    }

    /// The recipe of the latest run, if there was one.
    ///
    /// # Errors
    ///
    /// What the file system says.
    pub(crate) fn recipe(&self) -> Result<Option<String>, CohortError> {
        match fs::read_to_string(self.root.join(".private/recipe")) {
            Ok(text) => Ok(Some(text.trim().to_owned())),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(error) => Err(CohortError::cannot("read the output folder")(error)),
        }
    }

    /// Note the recipe of this run.
    ///
    /// # Errors
    ///
    /// What the file system says.
    pub(crate) fn set_recipe(&self, recipe: &str, workshop: &Path) -> Result<(), CohortError> {
        if self.recipe()?.as_deref() == Some(recipe) {
            return Ok(());
        }
        let wanted = self.root.join(".private/recipe");
        put(&wanted, format!("{recipe}\n").as_bytes(), workshop)
            .map_err(CohortError::cannot("write in the output folder"))
    }
}

/// `<2 hex>/<case>`: at most a 256th of the cases in one folder.
pub(crate) fn case_folder(case: &str) -> String {
    format!("{}/{case}", &Digest::of(case.as_bytes()).hex()[..2])
}

/// Write a file whole and synced, then put it where it is wanted in one step.
///
/// # Errors
///
/// What the file system says; the wanted place is as it was then.
pub(crate) fn put(wanted: &Path, bytes: &[u8], temporary: &Path) -> io::Result<()> {
    let mut file = new_file(temporary)?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    file.persist(wanted).map_err(|error| error.error)?;
    Ok(())
}

/// A new file under a random name, readable as the user's mask allows.
pub(crate) fn new_file(temporary: &Path) -> io::Result<tempfile::NamedTempFile> {
    let permissions = fs::Permissions::from_mode(0o666);
    tempfile::Builder::new().permissions(permissions).tempfile_in(temporary)
}

/// A new folder under a random name, readable as the user's mask allows.
pub(crate) fn new_folder(prefix: &str, temporary: &Path) -> io::Result<tempfile::TempDir> {
    let permissions = fs::Permissions::from_mode(0o777);
    tempfile::Builder::new().prefix(prefix).permissions(permissions).tempdir_in(temporary)
}

/// Put a finished folder where another may stand, which ends up in `aside`.
///
/// In one step where the file system can exchange two folders, else in two
/// between which the wanted place is empty.
///
/// # Errors
///
/// What the file system says.
pub(crate) fn put_folder(finished: &Path, wanted: &Path, aside: &Path) -> io::Result<()> {
    if let Some(parent) = wanted.parent() {
        fs::create_dir_all(parent)?;
    }
    match fs::rename(finished, wanted) {
        Err(error) if is_occupied(&error) => {}
        other => return other,
    }
    if renameat_with(CWD, finished, CWD, wanted, RenameFlags::EXCHANGE).is_ok() {
        return fs::rename(finished, aside);
    }
    fs::rename(wanted, aside)?;
    fs::rename(finished, wanted)
}

/// Sync the whole file system that a folder lies on.
///
/// # Errors
///
/// What the file system says.
pub(crate) fn sync_all_of(folder: &Path) -> io::Result<()> {
    Ok(rustix::fs::syncfs(File::open(folder)?)?)
}

/// Sync a folder's list of names.
pub(crate) fn sync_folder(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

fn is_occupied(error: &io::Error) -> bool {
    matches!(error.kind(), io::ErrorKind::DirectoryNotEmpty | io::ErrorKind::AlreadyExists)
}

/// The folder's key: made by whichever process comes first, read by the rest.
fn key_in(private: &Path) -> io::Result<Key> {
    let wanted = private.join("key");
    if !wanted.exists() {
        let mut bytes = [0; 32];
        getrandom::fill(&mut bytes).map_err(io::Error::other)?;
        let mut file = tempfile::NamedTempFile::new_in(private)?;
        file.write_all(&bytes)?;
        file.as_file().sync_all()?;
        match file.persist_noclobber(&wanted) {
            Err(failed) if failed.error.kind() != io::ErrorKind::AlreadyExists => {
                return Err(failed.error);
            }
            _ => {}
        }
    }
    let bytes = fs::read(&wanted)?;
    bytes.try_into().map(Key).map_err(|_wrong_length| io::ErrorKind::InvalidData.into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_key_for_all_who_open_the_folder() {
        let home = tempfile::tempdir().expect("a folder to work in");
        let keys: Vec<[u8; 32]> = std::thread::scope(|scope| {
            let open = || Place::open(home.path()).expect("writable").key().0;
            let threads: Vec<_> = (0..8).map(|_| scope.spawn(open)).collect();
            threads.into_iter().map(|t| t.join().expect("no panic")).collect()
        });
        assert!(keys.iter().all(|key| *key == keys[0]));
    }

    #[test]
    fn a_folder_takes_the_place_of_another() {
        let home = tempfile::tempdir().expect("a folder to work in");
        let at = |name: &str| home.path().join(name);
        for (round, text) in ["old", "new"].iter().enumerate() {
            fs::create_dir(at("made")).expect("made");
            fs::write(at("made/a"), text).expect("written");
            put_folder(&at("made"), &at("x/wanted"), &at(&format!("aside{round}"))).expect("put");
            assert_eq!(fs::read_to_string(at("x/wanted/a")).expect("there"), *text);
        }
        assert_eq!(fs::read_to_string(at("aside1/a")).expect("kept"), "old");
        assert!(!at("made").exists());
    }
}
