//! What a result depends on, as digests.
//!
//! Four of them. The *settings* cover the program's version and the flags of
//! the cases; the *recipe* covers the settings and the program's own bytes, so
//! that another build redoes what this one did; the *input key* covers the
//! settings and the bytes of scan and plan, and stands in the tables, which
//! are the same for every build that finds the same; the *seal* covers what the manifest and the file system say of a
//! case (paths, sizes, times) and is keyed with random bytes that stay in the
//! output folder's private part, since a plain hash of a name can be guessed
//! back.
//!
//! A seal that still fits lets a rerun skip a case without reading its scan.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use sha2::{Digest as _, Sha256};

use super::walk::Entry;

/// A SHA-256.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Digest([u8; 32]);

impl Digest {
    pub(crate) fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }

    /// Over parts, each with its length, so that no two lists of parts give
    /// the same bytes.
    pub(crate) fn of_parts<'a>(parts: impl IntoIterator<Item = &'a [u8]>) -> Self {
        let mut hasher = Sha256::new();
        for part in parts {
            hasher.update((part.len() as u64).to_le_bytes());
            hasher.update(part);
        }
        Self(hasher.finalize().into())
    }

    /// Of a file's bytes, in constant memory.
    pub(crate) fn of_file(path: &Path) -> io::Result<Self> {
        let mut file = File::open(path)?;
        let mut hasher = Sha256::new();
        let mut buffer = vec![0; 1 << 17];
        loop {
            let read = file.read(&mut buffer)?;
            if read == 0 {
                return Ok(Self(hasher.finalize().into()));
            }
            hasher.update(&buffer[..read]);
        }
    }

    /// 64 hexadecimal digits.
    pub(crate) fn hex(self) -> String {
        use std::fmt::Write as _;
        self.0.iter().fold(String::with_capacity(64), |mut text, byte| {
            // Writing to a string cannot fail.
            let _written = write!(text, "{byte:02x}");
            text
        })
    }
}

/// Digest of the program's version and of the flags that can change a result.
pub(crate) fn settings(version: &str, flags: &[String]) -> String {
    let parts = [version].into_iter().chain(flags.iter().map(String::as_str));
    Digest::of_parts(parts.map(str::as_bytes)).hex()
}

/// Digest of settings and of the program's bytes.
///
/// # Errors
///
/// A program that cannot be read.
pub(crate) fn recipe(settings: &str, program: &Path) -> io::Result<String> {
    let program = Digest::of_file(program)?;
    Ok(Digest::of_parts([settings.as_bytes(), &program.0]).hex())
}

/// Digest of settings, plan and scan. The scan's files count by their bytes;
/// their names and order do not.
///
/// # Errors
///
/// A file that cannot be read.
pub(crate) fn input(settings: &str, scan: &[Entry], plan: &[Entry]) -> io::Result<String> {
    let of_all = |entries: &[Entry]| -> io::Result<Digest> {
        let mut digests =
            entries.iter().map(|e| Digest::of_file(&e.path)).collect::<io::Result<Vec<_>>>()?;
        digests.sort_unstable();
        Ok(Digest::of_parts(digests.iter().map(|d| d.0.as_slice())))
    };
    let (scan, plan) = (of_all(scan)?, of_all(plan)?);
    Ok(Digest::of_parts([settings.as_bytes(), &scan.0, &plan.0]).hex())
}

/// Random bytes of one output folder.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Key(pub(crate) [u8; 32]);

impl Key {
    /// Seal of the two places as the manifest has them.
    pub(crate) fn of_places(&self, written: &[String; 2]) -> String {
        self.keyed(written.iter().map(String::as_bytes))
    }

    /// Seal of what the file system says of the files.
    pub(crate) fn of_entries(&self, scan: &[Entry], plan: &[Entry]) -> String {
        let described: Vec<Vec<u8>> =
            scan.iter().map(Entry::described).chain(plan.iter().map(Entry::described)).collect();
        self.keyed(described.iter().map(Vec::as_slice))
    }

    fn keyed<'a>(&'a self, parts: impl IntoIterator<Item = &'a [u8]>) -> String {
        let inner = Digest::of_parts([self.0.as_slice()].into_iter().chain(parts));
        Digest::of_parts([self.0.as_slice(), &inner.0]).hex()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cohort::walk::entries;

    #[test]
    fn a_renamed_file_changes_the_seal_and_not_the_input() {
        let home = tempfile::tempdir().expect("a folder to work in");
        let at = |name: &str| home.path().join(name);
        std::fs::create_dir(at("scan")).expect("made");
        std::fs::write(at("scan/1"), "one").expect("written");
        std::fs::write(at("scan/2"), "two").expect("written");
        std::fs::write(at("plan"), "plan").expect("written");
        let both = || (entries(&at("scan")).expect("there"), entries(&at("plan")).expect("there"));
        let (scan, plan) = both();
        std::fs::rename(at("scan/1"), at("scan/9")).expect("renamed");
        let (renamed, _) = both();
        let key = Key([7; 32]);
        assert_ne!(key.of_entries(&scan, &plan), key.of_entries(&renamed, &plan));
        let before = input("r", &renamed, &plan).expect("read");
        std::fs::write(at("scan/2"), "twp").expect("written");
        let (changed, _) = both();
        assert_ne!(before, input("r", &changed, &plan).expect("read"));
        assert_ne!(before, input("s", &renamed, &plan).expect("read"));
    }

    #[test]
    fn parts_do_not_run_into_each_other() {
        assert_ne!(settings("1", &["ab".into()]), settings("1", &["a".into(), "b".into()]));
        assert_ne!(settings("1", &["2".into()]), settings("12", &[]));
    }
}
