//! A cohort's manifest, as CSV and as TOML.
#![no_main]

use libfuzzer_sys::fuzz_target;
use pilothole_study::cohort::Manifest;

fuzz_target!(|bytes: &[u8]| {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["m.csv", "m.toml"] {
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).expect("written");
        let _refused_or_read = Manifest::read(&path);
    }
});
