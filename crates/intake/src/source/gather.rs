//! A path becomes a list of candidate files.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use walkdir::WalkDir;

use super::archive::{Budget, Packing, entries_of_tar, entries_of_zip, unpack_gzip};
use super::blob::{Blob, Fault};
use crate::limits::Limits;
use crate::reason::Reason;
use crate::redacted::Redacted;

/// Everything that may hold a part of a scan.
#[derive(Debug, Default)]
pub(crate) struct Source {
    pub files: Vec<Blob>,
    /// Files that hold nothing for us: archives within archives within
    /// archives, files that cannot be opened.
    pub passed_over: usize,
    /// Archives beside other files whose entries cannot be listed.
    pub damaged: usize,
}

/// Archives within an archive are opened, theirs are not.
const MAX_ARCHIVE_DEPTH: usize = 2;
/// Deepest folder below the one given: patient, study, series, and then some.
const MAX_FOLDER_DEPTH: usize = 24;

/// List the candidate files at a path: a folder, an archive, a file.
///
/// A media directory (`DICOMDIR`) stands for the folder that it lies in; its
/// records are not followed.
pub(crate) fn gather(path: &Path, limits: &Limits) -> Result<Source, Reason> {
    let mut gatherer = Gatherer {
        limits,
        budget: Budget::new(limits),
        source: Source::default(),
        is_alone: false,
    };
    let folder = match std::fs::metadata(path) {
        Err(_) => {
            return Err(Reason::new("scan.nothing", "nothing can be read at the path given")
                .next("check the path, and that its files may be read"));
        }
        Ok(found) if found.is_dir() => Some(path.to_owned()),
        Ok(_) if is_directory_file(path) => path
            .parent()
            .map(|p| if p.as_os_str().is_empty() { Path::new(".") } else { p }.to_owned()),
        Ok(_) => None,
    };
    gatherer.is_alone = folder.is_none();
    let paths = match folder {
        Some(folder) => gatherer.paths_below(&folder)?,
        None => vec![path.to_owned()],
    };
    for path in paths {
        gatherer.add_path(&path)?;
    }
    Ok(gatherer.source)
}

/// Whether a file is a media directory: DICOM, and so named by the standard.
fn is_directory_file(path: &Path) -> bool {
    path.file_name().is_some_and(|name| name.eq_ignore_ascii_case("DICOMDIR"))
}

struct Gatherer<'a> {
    limits: &'a Limits,
    budget: Budget<'a>,
    source: Source,
    /// Whether the path given is one file.
    is_alone: bool,
}

impl Gatherer<'_> {
    /// Regular files below a folder, in order of name.
    fn paths_below(&mut self, folder: &Path) -> Result<Vec<PathBuf>, Reason> {
        let mut paths = Vec::new();
        for entry in WalkDir::new(folder).follow_links(true).max_depth(MAX_FOLDER_DEPTH) {
            match entry {
                Ok(entry) if entry.file_type().is_file() => paths.push(entry.into_path()),
                Ok(entry) if entry.file_type().is_dir() => {}
                Ok(_) | Err(_) => self.source.passed_over += 1,
            }
            if paths.len() > self.limits.max_files {
                return Err(too_many_files(self.limits));
            }
        }
        paths.sort();
        Ok(paths)
    }

    fn add_path(&mut self, path: &Path) -> Result<(), Reason> {
        let Some((blob, head)) = on_disk(path) else {
            self.source.passed_over += 1;
            return Ok(());
        };
        self.add(blob, &head, 0)
    }

    /// Add a file, or what it holds when it is an archive.
    fn add(&mut self, blob: Blob, head: &[u8], depth: usize) -> Result<(), Reason> {
        let packing = Packing::of(head);
        if packing == Packing::None {
            if blob.len() > self.limits.max_file_bytes {
                return Err(too_many_bytes(blob.len(), self.limits.max_file_bytes, "a file"));
            }
            if self.source.files.len() >= self.limits.max_files {
                return Err(too_many_files(self.limits));
            }
            self.source.files.push(blob);
            return Ok(());
        }
        if depth >= MAX_ARCHIVE_DEPTH {
            self.source.passed_over += 1;
            return Ok(());
        }
        match self.entries(&blob, packing) {
            Ok(entries) => {
                for entry in entries {
                    let head = entry.prefix(512).map(std::borrow::Cow::into_owned);
                    match head {
                        Ok(head) => self.add(entry, &head, depth + 1)?,
                        Err(_) => self.source.files.push(entry),
                    }
                }
                Ok(())
            }
            Err(Fault::TooLarge) => Err(Reason::new(
                "limits.too_large",
                format!(
                    "an archive holds more than the limits allow: {} files, {} MiB inflated, \
                     {} MiB packed, or more than {} times its packed size",
                    self.limits.max_files,
                    self.limits.max_unpacked_bytes >> 20,
                    self.limits.max_held_bytes >> 20,
                    self.limits.max_ratio
                ),
            )
            .next("unpack it into a folder and give the folder")),
            Err(Fault::Unreadable | Fault::Short | Fault::Locked)
                if !self.is_alone || depth > 0 =>
            {
                self.source.damaged += 1;
                Ok(())
            }
            Err(Fault::Locked) => {
                Err(Reason::new("scan.locked", "an archive is protected by a password")
                    .next("unpack it with the password, and give the folder"))
            }
            Err(Fault::Unreadable | Fault::Short) => Err(Reason::new(
                "pixels.truncated",
                "an archive is damaged or cut off: its list of entries cannot be read",
            )
            .next("copy or export it again")),
        }
    }

    fn entries(&mut self, blob: &Blob, packing: Packing) -> Result<Vec<Blob>, Fault> {
        if blob.len() > self.limits.max_held_bytes {
            return Err(Fault::TooLarge);
        }
        if blob.is_packed() {
            self.budget.take(blob.len(), blob.len())?;
        }
        let whole: Arc<[u8]> = blob.whole()?.into_owned().into();
        match packing {
            Packing::Zip => {
                let opened = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
                    entries_of_zip(whole, self.limits, &mut self.budget)
                }));
                opened.unwrap_or(Err(Fault::Unreadable))
            }
            Packing::Tar => entries_of_tar(&whole, self.limits),
            Packing::Gzip => {
                let inflated = unpack_gzip(&whole, self.limits)?;
                self.budget.take(inflated.len() as u64, whole.len() as u64)?;
                if Packing::of(&inflated) == Packing::Tar {
                    entries_of_tar(&inflated.into(), self.limits)
                } else {
                    Ok(vec![Blob::held(inflated)])
                }
            }
            Packing::None => Ok(Vec::new()),
        }
    }
}

/// A file on disk and its first bytes.
fn on_disk(path: &Path) -> Option<(Blob, Vec<u8>)> {
    let file = File::open(path).ok()?;
    let len = file.metadata().ok().filter(std::fs::Metadata::is_file)?.len();
    let mut head = Vec::with_capacity(512);
    file.take(512).read_to_end(&mut head).ok()?;
    Some((Blob::File { path: Redacted::new(path.to_owned()), len }, head))
}

fn too_many_files(limits: &Limits) -> Reason {
    Reason::new("limits.too_large", format!("more than {} files, the limit", limits.max_files))
        .measured(limits.max_files as f64 + 1.0, limits.max_files as f64, "files")
        .next("give the folder of one study or one series")
}

fn too_many_bytes(found: u64, limit: u64, what: &str) -> Reason {
    Reason::new(
        "limits.too_large",
        format!("{what} of {} MiB, more than the limit of {} MiB", found >> 20, limit >> 20),
    )
    .measured(found as f64, limit as f64, "bytes")
}
