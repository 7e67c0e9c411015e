//! One file as NIfTI.
#![no_main]

use libfuzzer_sys::fuzz_target;
use pilothole_intake::{Limits, open};

fuzz_target!(|bytes: &[u8]| {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("scan.nii");
    std::fs::write(&path, bytes).expect("written");
    let limits = Limits { min_slices: 1, ..Limits::default() };
    if let Ok(scan) = open(&path, &limits) {
        for ordinal in scan.usable() {
            let _refused_or_read = scan.read(Some(ordinal), &limits);
        }
    }
});
