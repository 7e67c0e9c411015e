//! The files of a scan or plan, as the file system describes them.

use std::fs;
use std::io;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};

/// Folders within folders beyond which a tree is taken for a loop of links.
const DEEPEST: usize = 32;

/// One file.
#[derive(Clone, Debug)]
pub(crate) struct Entry {
    pub(crate) path: PathBuf,
    relative: PathBuf,
    length: u64,
    numbers: [i64; 5],
}

impl Entry {
    /// Name, length, times and inode in bytes.
    ///
    /// The time of change is among them: it moves with every write and cannot
    /// be set back by the tools that set back the time of modification.
    pub(crate) fn described(&self) -> Vec<u8> {
        let mut bytes = self.relative.as_os_str().as_encoded_bytes().to_vec();
        bytes.push(0);
        bytes.extend(self.length.to_le_bytes());
        bytes.extend(self.numbers.iter().flat_map(|n| n.to_le_bytes()));
        bytes
    }
}

/// The file at `path`, or every file below it, sorted by name.
///
/// # Errors
///
/// What does not exist or cannot be listed, and a tree deeper than 32.
pub(crate) fn entries(path: &Path) -> io::Result<Vec<Entry>> {
    let mut found = Vec::new();
    let mut waiting = vec![(path.to_path_buf(), PathBuf::new(), 0)];
    while let Some((path, relative, depth)) = waiting.pop() {
        let metadata = fs::metadata(&path)?;
        if metadata.is_dir() {
            if depth == DEEPEST {
                return Err(io::ErrorKind::InvalidInput.into());
            }
            for entry in fs::read_dir(&path)? {
                let entry = entry?;
                waiting.push((entry.path(), relative.join(entry.file_name()), depth + 1));
            }
        } else {
            let inode = i64::from_le_bytes(metadata.ino().to_le_bytes());
            let numbers = [
                metadata.mtime(),
                metadata.mtime_nsec(),
                metadata.ctime(),
                metadata.ctime_nsec(),
                inode,
            ];
            found.push(Entry { path, relative, length: metadata.len(), numbers });
        }
    }
    found.sort_unstable_by(|a, b| a.relative.cmp(&b.relative));
    Ok(found)
}
