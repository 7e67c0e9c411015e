//! Archives, opened in memory and under limits.

use std::io::{Cursor, Read};
use std::sync::Arc;

use flate2::read::{DeflateDecoder, MultiGzDecoder};
use zip::ZipArchive;

use super::blob::{Blob, Fault};
use crate::limits::Limits;

/// What the first bytes of a file say it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Packing {
    Zip,
    Gzip,
    Tar,
    None,
}

impl Packing {
    /// Judge by the first 512 bytes.
    pub(super) fn of(head: &[u8]) -> Self {
        if head.get(128..132) == Some(b"DICM") {
            return Self::None;
        }
        match head {
            [b'P', b'K', 3, 4, ..] | [b'P', b'K', 5, 6, ..] => Self::Zip,
            [0x1F, 0x8B, 8, ..] => Self::Gzip,
            _ if head.get(257..262) == Some(b"ustar") => Self::Tar,
            _ => Self::None,
        }
    }
}

/// Bytes inflated so far against the limits.
#[derive(Debug)]
pub(super) struct Budget<'a> {
    limits: &'a Limits,
    unpacked: u64,
}

/// Deflate cannot pack more bytes into one (RFC 1951: 258 bytes in 2 bits); a
/// size that claims more is a lie.
const DEFLATE_MOST: u64 = 1032;

impl<'a> Budget<'a> {
    pub(super) fn new(limits: &'a Limits) -> Self {
        Self { limits, unpacked: 0 }
    }

    /// Take `unpacked` bytes that come from `packed` ones.
    pub(super) fn take(&mut self, unpacked: u64, packed: u64) -> Result<(), Fault> {
        self.unpacked = self.unpacked.saturating_add(unpacked);
        let ratio = unpacked as f64 / packed.max(1) as f64;
        let is_bomb = unpacked > self.limits.ratio_from_bytes && ratio > self.limits.max_ratio;
        if self.unpacked > self.limits.max_unpacked_bytes || is_bomb {
            return Err(Fault::TooLarge);
        }
        Ok(())
    }
}

/// The entries of a zip archive.
pub(super) fn entries_of_zip(
    bytes: Arc<[u8]>,
    limits: &Limits,
    budget: &mut Budget<'_>,
) -> Result<Vec<Blob>, Fault> {
    let packed = bytes.len() as u64;
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(|_ignored| Fault::Unreadable)?;
    if archive.len() > limits.max_files {
        return Err(Fault::TooLarge);
    }
    let mut entries = Vec::with_capacity(archive.len());
    let mut total = 0_u64;
    for index in 0..archive.len() {
        let Ok(entry) = archive.by_index_raw(index) else { return Err(Fault::Unreadable) };
        if !entry.is_file() {
            continue;
        }
        if entry.encrypted() {
            return Err(Fault::Locked);
        }
        let (len, packed_len) = (entry.size(), entry.compressed_size());
        drop(entry);
        if len > limits.max_file_bytes {
            return Err(Fault::TooLarge);
        }
        if len / DEFLATE_MOST > packed_len.saturating_add(1) {
            return Err(Fault::Unreadable);
        }
        total = total.saturating_add(len);
        entries.push(Blob::Zipped { archive: archive.clone(), index, len });
    }
    budget.take(total, packed)?;
    Ok(entries)
}

/// The entries of a tar archive, as parts of its bytes.
pub(super) fn entries_of_tar(bytes: &Arc<[u8]>, limits: &Limits) -> Result<Vec<Blob>, Fault> {
    let mut archive = tar::Archive::new(Cursor::new(&bytes[..]));
    let mut entries = Vec::new();
    for entry in archive.entries().map_err(|_ignored| Fault::Unreadable)? {
        let entry = entry.map_err(|_ignored| Fault::Unreadable)?;
        if entries.len() >= limits.max_files {
            return Err(Fault::TooLarge);
        }
        if !entry.header().entry_type().is_file() {
            continue;
        }
        let from = usize::try_from(entry.raw_file_position()).unwrap_or(usize::MAX);
        let len = usize::try_from(entry.size()).unwrap_or(usize::MAX);
        let to = from.checked_add(len).filter(|to| *to <= bytes.len()).ok_or(Fault::Short)?;
        entries.push(Blob::Held { bytes: Arc::clone(bytes), range: from..to });
    }
    Ok(entries)
}

/// Inflate a gzip file into memory.
pub(super) fn unpack_gzip(packed: &[u8], limits: &Limits) -> Result<Vec<u8>, Fault> {
    inflate(MultiGzDecoder::new(packed), packed.len(), limits)
}

/// Inflate the deflated data set of a file, which starts at `from`
/// (PS3.5 A.5: a bare deflate stream).
pub(crate) fn inflate_raw(blob: &Blob, from: usize, limits: &Limits) -> Result<Vec<u8>, Fault> {
    if blob.len() > limits.max_held_bytes {
        return Err(Fault::TooLarge);
    }
    let whole = blob.whole()?;
    let packed = whole.get(from..).ok_or(Fault::Short)?;
    inflate(DeflateDecoder::new(packed), packed.len(), limits)
}

fn inflate(from: impl Read, packed: usize, limits: &Limits) -> Result<Vec<u8>, Fault> {
    let ratio = (packed as f64 * limits.max_ratio) as u64;
    let most = limits.max_held_bytes.min(ratio.max(limits.ratio_from_bytes));
    let mut out = Vec::new();
    from.take(most + 1).read_to_end(&mut out)?;
    if out.len() as u64 > most {
        return Err(Fault::TooLarge);
    }
    Ok(out)
}
