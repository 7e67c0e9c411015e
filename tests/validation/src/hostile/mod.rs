//! Broken and hostile files, many of each kind, read as the tool reads them.
//!
//! Files are made from sound ones by seeded changes, so that every run tries
//! the same. What is counted: taken, refused, panicked. Memory and time are
//! held by whoever runs it (`tests/hostile.rs` of this crate: a child with a
//! limit of address space and of time).

mod bases;
mod bytes;
#[path = "../../../../crates/intake/tests/all/mutate.rs"]
mod dicom;
mod text;

use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use dicom::{Draw, mutated};
use pilothole_plan::{Format, Frame, Plan, import_plan};
use pilothole_study::cohort::Manifest;
use pilothole_study::{Limits, open, read_frame, read_plan};
use pilothole_surface::{ClosedSurface, read_stl};

use bases::Bases;

/// What became of the files of one kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tried {
    /// What a row of the page calls it.
    pub id: &'static str,
    /// Which kind.
    pub kind: &'static str,
    /// Files tried.
    pub inputs: usize,
    /// Read as if sound: the change did not matter, or cannot be seen.
    pub taken: usize,
    /// Refused with a reason.
    pub refused: usize,
    /// Readers that panicked.
    pub panicked: usize,
}

/// A kind of file: its name, how one is made, how one is read.
struct Kind<'a> {
    id: &'static str,
    name: &'static str,
    make: &'a dyn Fn(&mut Draw) -> Vec<u8>,
    read: &'a dyn Fn(&[u8]) -> bool,
}

/// Try `count` files of every kind.
///
/// # Panics
///
/// When the sound files cannot be made or the folder for them cannot be
/// written.
pub fn try_all(count: usize) -> Vec<Tried> {
    let home = tempfile::tempdir().expect("a folder");
    let bases = Bases::make(home.path());
    let mut all = try_scans(&bases, home.path(), count);
    all.extend(try_texts(&bases, home.path(), count));
    all
}

/// What `open` reads.
fn try_scans(bases: &Bases, home: &Path, count: usize) -> Vec<Tried> {
    let scan = |name: &'static str| {
        let path = home.join(name);
        move |bytes: &[u8]| {
            fs::write(&path, bytes).expect("written");
            reads_as_scan(&path)
        }
    };
    let kinds = [
        Kind {
            id: "hostile-dicom",
            name: "DICOM slice",
            make: &|draw| mutated(&bases.slice, draw),
            read: &scan("slice"),
        },
        Kind {
            id: "hostile-zip",
            name: "zip",
            make: &|draw| bytes::changed(&bases.zip, draw),
            read: &scan("s.zip"),
        },
        Kind {
            id: "hostile-tar",
            name: "tar",
            make: &|draw| bytes::changed(&bases.tar, draw),
            read: &scan("s.tar"),
        },
        Kind {
            id: "hostile-tar-gz",
            name: "tar.gz",
            make: &|draw| bytes::changed(&bases.tar_gz, draw),
            read: &scan("s.tar.gz"),
        },
        Kind {
            id: "hostile-nifti",
            name: "NIfTI",
            make: &|draw| bytes::changed_head(&bases.nifti, 352, draw),
            read: &scan("s.nii"),
        },
    ];
    kinds.iter().map(|kind| tried(kind, count)).collect()
}

/// Plans, tables, frames, manifests, and surfaces of components.
fn try_texts(bases: &Bases, home: &Path, count: usize) -> Vec<Tried> {
    let (manifest, frame) = (home.join("manifest.csv"), home.join("frame.txt"));
    let kinds = [
        Kind {
            id: "hostile-plan-toml",
            name: "plan, TOML",
            make: &|draw| text::changed(&bases.plan_toml, draw),
            read: &|bytes| reads_as_plan(bytes, Format::Toml),
        },
        Kind {
            id: "hostile-plan-json",
            name: "plan, JSON",
            make: &|draw| text::changed(&bases.plan_json, draw),
            read: &|bytes| reads_as_plan(bytes, Format::Json),
        },
        Kind {
            id: "hostile-table",
            name: "table of holes",
            make: &|draw| text::changed(&bases.table, draw),
            read: &|bytes| {
                let table = String::from_utf8_lossy(bytes);
                import_plan(&bases.plan_toml, &table, &Frame::Same).is_ok()
            },
        },
        Kind {
            id: "hostile-frame",
            name: "frame",
            make: &|draw| text::changed(&bases.frame, draw),
            read: &|bytes| {
                fs::write(&frame, bytes).expect("written");
                read_frame(&frame).is_ok()
            },
        },
        Kind {
            id: "hostile-manifest",
            name: "cohort manifest",
            make: &|draw| text::changed(&bases.manifest, draw),
            read: &|bytes| {
                fs::write(&manifest, bytes).expect("written");
                Manifest::read(&manifest).is_ok()
            },
        },
        Kind {
            id: "hostile-stl",
            name: "STL",
            make: &|draw| bytes::changed(&bases.stl, draw),
            read: &|bytes| read_stl(bytes).is_ok_and(|mesh| ClosedSurface::check(mesh).is_ok()),
        },
    ];
    kinds.iter().map(|kind| tried(kind, count)).collect()
}

fn tried(kind: &Kind<'_>, count: usize) -> Tried {
    let mut all =
        Tried { id: kind.id, kind: kind.name, inputs: count, taken: 0, refused: 0, panicked: 0 };
    for seed in 0..count {
        let bytes = (kind.make)(&mut Draw::new(seed as u64));
        match catch_unwind(AssertUnwindSafe(|| (kind.read)(&bytes))) {
            Ok(true) => all.taken += 1,
            Ok(false) => all.refused += 1,
            Err(_panic) => all.panicked += 1,
        }
    }
    all
}

/// Read one file as the tool reads it; whether it was taken.
///
/// - `kind`: `scan`, `plan` or `manifest`.
pub fn reads(kind: &str, path: &Path) -> bool {
    match kind {
        "scan" => reads_as_scan(path),
        "plan" => read_plan(path).is_ok(),
        _ => Manifest::read(path).is_ok(),
    }
}

fn reads_as_scan(path: &Path) -> bool {
    let limits = Limits { min_slices: 1, ..Limits::default() };
    let Ok(scan) = open(path, &limits) else { return false };
    scan.usable().into_iter().filter(|at| scan.read(Some(*at), &limits).is_ok()).count() > 0
}

fn reads_as_plan(bytes: &[u8], format: Format) -> bool {
    let text = String::from_utf8_lossy(bytes);
    // A plan that is taken is also written and read again.
    Plan::parse(&text, format)
        .is_ok_and(|plan| Plan::parse(&plan.resolved_toml(), Format::Toml).is_ok())
}
