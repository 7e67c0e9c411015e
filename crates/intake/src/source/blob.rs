//! One candidate file, wherever its bytes are.

use std::borrow::Cow;
use std::fs::File;
use std::io::{self, Cursor, Read, Seek, SeekFrom};
use std::ops::Range;
use std::path::PathBuf;
use std::sync::Arc;

use zip::ZipArchive;

use crate::redacted::Redacted;

/// A zip archive held in memory; clones share its bytes.
pub(super) type Zip = ZipArchive<Cursor<Arc<[u8]>>>;

/// Bytes of one file.
pub(crate) enum Blob {
    /// On disk; read when asked for.
    File { path: Redacted<PathBuf>, len: u64 },
    /// Part of bytes in memory.
    Held { bytes: Arc<[u8]>, range: Range<usize> },
    /// An entry of a zip archive; inflated when asked for.
    Zipped { archive: Zip, index: usize, len: u64 },
}

impl std::fmt::Debug for Blob {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Blob").field("len", &self.len()).finish_non_exhaustive()
    }
}

/// Why bytes could not be had; carries nothing of the system's message, which
/// would quote names.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Fault {
    /// The file or archive cannot be read, or a checksum disagrees.
    Unreadable,
    /// Fewer bytes than promised.
    Short,
    /// More than a limit allows.
    TooLarge,
    /// Encrypted.
    Locked,
}

impl From<io::Error> for Fault {
    fn from(error: io::Error) -> Self {
        if error.kind() == io::ErrorKind::UnexpectedEof { Self::Short } else { Self::Unreadable }
    }
}

impl Blob {
    /// A file's bytes in memory.
    pub(crate) fn held(bytes: Vec<u8>) -> Self {
        let range = 0..bytes.len();
        Self::Held { bytes: bytes.into(), range }
    }

    /// Number of bytes, as found on disk or promised by the archive.
    pub(crate) fn len(&self) -> u64 {
        match self {
            Self::File { len, .. } | Self::Zipped { len, .. } => *len,
            Self::Held { range, .. } => range.len() as u64,
        }
    }

    /// Whether asking for a part costs as much as asking for all before it.
    pub(crate) fn is_packed(&self) -> bool {
        matches!(self, Self::Zipped { .. })
    }

    /// The first `count` bytes, or all where there are fewer.
    pub(crate) fn prefix(&self, count: usize) -> Result<Cow<'_, [u8]>, Fault> {
        let count = count.min(usize::try_from(self.len()).unwrap_or(usize::MAX));
        if let Self::Held { bytes, range } = self {
            return Ok(Cow::Borrowed(&bytes[range.start..range.start + count]));
        }
        let mut out = vec![0; count];
        self.fill(0, &mut out)?;
        Ok(Cow::Owned(out))
    }

    /// All bytes.
    pub(crate) fn whole(&self) -> Result<Cow<'_, [u8]>, Fault> {
        self.prefix(usize::MAX)
    }

    /// Fill `out` with the bytes from `at` on.
    pub(crate) fn fill(&self, at: u64, out: &mut [u8]) -> Result<(), Fault> {
        match self {
            Self::Held { bytes, range } => {
                let from = usize::try_from(at).ok().and_then(|at| at.checked_add(range.start));
                let part = from
                    .and_then(|from| Some(from..from.checked_add(out.len())?))
                    .filter(|part| part.end <= range.end)
                    .ok_or(Fault::Short)?;
                out.copy_from_slice(&bytes[part]);
                Ok(())
            }
            Self::File { path, .. } => {
                let mut file = File::open(path.inner())?;
                if at > 0 {
                    file.seek(SeekFrom::Start(at))?;
                }
                Ok(file.read_exact(out)?)
            }
            Self::Zipped { archive, index, len } => fill_zipped(archive, *index, at, *len, out),
        }
    }
}

/// Inflate an entry up to the wanted bytes; when these reach the end of the
/// entry, its checksum is verified.
fn fill_zipped(
    archive: &Zip,
    index: usize,
    at: u64,
    len: u64,
    out: &mut [u8],
) -> Result<(), Fault> {
    let mut archive = archive.clone();
    let mut entry = archive.by_index(index).map_err(|_ignored| Fault::Unreadable)?;
    if at > 0 && io::copy(&mut entry.by_ref().take(at), &mut io::sink())? < at {
        return Err(Fault::Short);
    }
    entry.read_exact(out)?;
    let rest = len.saturating_sub(at + out.len() as u64);
    // A short rest is read too: the checksum stands behind it.
    if rest <= out.len() as u64 && io::copy(&mut entry.take(rest + 1), &mut io::sink())? > rest {
        return Err(Fault::Unreadable);
    }
    Ok(())
}
