//! Reading a made series of 256 x 256 x 64: listed, from a folder, against
//! copying its bytes twice.

#[path = "../tests/all/made.rs"]
#[expect(dead_code, reason = "shared with the tests")]
mod made;

use std::path::PathBuf;

use divan::Bencher;
use pilothole_intake::{Limits, open};

fn main() {
    divan::main();
}

fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let series = made::Series { columns: 256, rows: 256, slices: 64, ..made::Series::default() };
    series.write(folder.path());
    folder
}

#[divan::bench]
fn list(bencher: Bencher<'_, '_>) {
    let folder = folder();
    bencher.bench(|| open(folder.path(), &Limits::default()).expect("opens").series().len());
}

#[divan::bench]
fn read(bencher: Bencher<'_, '_>) {
    let folder = folder();
    bencher.bench(|| made::read(folder.path()).expect("reads"));
}

#[divan::bench]
fn copy_twice(bencher: Bencher<'_, '_>) {
    let folder = folder();
    let entries = std::fs::read_dir(folder.path()).expect("lists");
    let paths: Vec<PathBuf> = entries.map(|e| e.expect("an entry").path()).collect();
    bencher.bench(|| {
        let mut all = Vec::new();
        for path in &paths {
            all.extend_from_slice(&std::fs::read(path).expect("reads"));
        }
        all
    });
}
