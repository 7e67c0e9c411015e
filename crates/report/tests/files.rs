//! The files of a report: complete, harmless, the same every time.

mod common;

use common::Made;
use pilothole_report::{record, terminal, write_all};

/// Where a look at the files is wanted: they stay beside the test's build.
fn keep(folder: &str, files: &[(&str, Vec<u8>)]) {
    let dir = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join(folder);
    std::fs::create_dir_all(&dir).expect("the build folder can be written");
    for (name, bytes) in files {
        std::fs::write(dir.join(name), bytes).expect("the build folder can be written");
    }
}

#[test]
fn every_file_is_written_and_the_same_twice() {
    let made = Made::usual();
    let started = std::time::Instant::now();
    let files = write_all(&made.case());
    let took = started.elapsed();
    keep("usual", &files);
    let sizes: Vec<(&str, usize)> = files.iter().map(|(n, b)| (*n, b.len())).collect();
    assert_eq!(files, write_all(&made.case()), "{sizes:?} {took:?}");
    let total: usize = files.iter().map(|(_, bytes)| bytes.len()).sum();
    assert!(total <= 6_000_000, "{total} bytes");
    std::fs::write(
        std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("usual/sizes.txt"),
        format!("{sizes:?} {took:?}\n{}", terminal(&record(&made.case()), 80)),
    )
    .expect("the build folder can be written");
}
