//! A fingerprint of voxels and geometry, and of nothing else.
//!
//! SHA-256 over, in this order, all numbers little endian:
//! the ASCII bytes `pilothole/scan/1`; one byte, 0 for 16-bit whole HU or 1
//! for 32-bit floats; columns, rows, slices as u64; the first voxel's position
//! and the three steps (column, row, slice) as f64, each L, P, S; the number of
//! slice places as u64 (0 where slices are even) and the places as f64; then
//! for each slice the SHA-256 of its voxels, row by row, padding as the volume
//! holds it (-32768, or the quiet not-a-number 0x7FC00000).
//!
//! Hashing slices apart lets it run beside decoding. File names, their order,
//! and how pixels were packed do not enter.

use pilothole_volume::Grid;
use sha2::{Digest, Sha256};

/// Digest of a volume from the digests of its slices.
pub(crate) fn digest(grid: &Grid, is_float: bool, slices: &[[u8; 32]]) -> [u8; 32] {
    let mut hash = Sha256::new();
    hash.update(b"pilothole/scan/1");
    hash.update([u8::from(is_float)]);
    for count in grid.size() {
        hash.update((count as u64).to_le_bytes());
    }
    let origin = grid.origin().0;
    let steps = grid.steps();
    for number in origin.iter().chain(steps.iter().flat_map(|step| step.0.iter())) {
        // Adding 0 turns -0 into 0.
        hash.update((number + 0.0).to_le_bytes());
    }
    let places = grid.slice_places().unwrap_or_default();
    hash.update((places.len() as u64).to_le_bytes());
    for place in places {
        hash.update(place.to_le_bytes());
    }
    for slice in slices {
        hash.update(slice);
    }
    hash.finalize().into()
}
