//! The frame of a table of holes.
#![no_main]

use libfuzzer_sys::fuzz_target;
use pilothole_study::read_frame;

fuzz_target!(|bytes: &[u8]| {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("frame.txt");
    std::fs::write(&path, bytes).expect("written");
    let _refused_or_read = read_frame(&path);
});
