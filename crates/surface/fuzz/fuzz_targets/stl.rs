//! An STL, and whether its surface is closed.
#![no_main]

use libfuzzer_sys::fuzz_target;
use pilothole_surface::{ClosedSurface, read_stl};

fuzz_target!(|bytes: &[u8]| {
    if let Ok(mesh) = read_stl(bytes) {
        let _closed_or_not = ClosedSurface::check(mesh);
    }
});
