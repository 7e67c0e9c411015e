//! Same input, same bytes: for any number of threads, order of files and names.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use pilothole_phantom::{SeriesHeader, demo_hip, write_series};
use pilothole_tests::{files_below, pilothole, said};

/// Name and bytes of every result.
fn assess(scan: &Path, plan: &Path, out: &Path, threads: &str) -> BTreeMap<String, Vec<u8>> {
    let text = |path: &Path| path.to_str().expect("UTF-8").to_owned();
    let run = pilothole(&[
        "assess",
        &text(scan),
        &text(plan),
        "--out",
        &text(out),
        "--samples",
        "100",
        "--timeless",
        "--threads",
        threads,
    ]);
    assert_eq!(run.status.code(), Some(0), "{:?}", said(&run));
    files_below(out)
        .into_iter()
        .map(|path| {
            let name = path.file_name().expect("a file has a name").to_string_lossy().into_owned();
            (name, fs::read(path).expect("readable"))
        })
        .collect()
}

#[test]
fn threads_and_file_names_change_no_byte() {
    let home = tempfile::tempdir().expect("a folder");
    let phantom = demo_hip().expect("made");
    let scan = home.path().join("scan");
    let files = write_series(&phantom.volume, &scan, &SeriesHeader::default()).expect("written");
    let plan = home.path().join("plan.toml");
    fs::write(&plan, &phantom.plan_toml).expect("written");
    let one = assess(&scan, &plan, &home.path().join("one"), "1");

    // Other names, in another order, below another folder.
    let moved = home.path().join("other").join("deep");
    fs::create_dir_all(&moved).expect("made");
    for (index, file) in files.iter().enumerate() {
        let name = format!("{:05}.bin", (index * 7919) % 100_003);
        fs::rename(file, moved.join(name)).expect("moved");
    }
    let two = assess(&home.path().join("other"), &plan, &home.path().join("two"), "2");
    assert_eq!(one.keys().collect::<Vec<_>>(), two.keys().collect::<Vec<_>>());
    for (name, bytes) in &one {
        assert!(*bytes == two[name], "{name} differs");
    }
}
