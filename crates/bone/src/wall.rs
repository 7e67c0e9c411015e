//! Candidates for bone's walls: what the threshold sees, and thin sheets below it.

use pilothole_volume::NOTHING_I16;
use rayon::prelude::*;

use crate::coarse::Cells;
use crate::gathered::marked;
use crate::patch::Patch;

/// A voxel that is no wall of any bone, or not yet.
pub(crate) const NOBODY: u8 = 0;
/// A wall without an owner that blur has lowered below the threshold: brighter
/// than its surroundings only.
pub(crate) const FREE_WEAK: u8 = 254;
/// A wall without an owner at the threshold or above.
pub(crate) const FREE_STRONG: u8 = 255;

/// Weak walls start at this share of the threshold: 130 HU of 226, above
/// muscle (40 to 70 HU) by more than the noise of a pelvic scan.
pub(crate) const WEAK_SHARE: f64 = 0.575;
/// How much brighter than the mean of the 10 mm around a weak wall is, HU.
const WEAK_CONTRAST_HU: i32 = 25;
/// Half-width of those surroundings, mm.
const SURROUND_MM: f64 = 5.0;
/// Weak walls count only this near to strong ones, mm.
const WEAK_REACH_MM: f64 = 5.0;

/// Walls of a region, one byte a voxel: [`NOBODY`], [`FREE_WEAK`] or
/// [`FREE_STRONG`].
///
/// `also` grants weak walls away from strong ones, by array position.
pub(crate) fn walls(
    patch: &Patch<'_>,
    calm: &Patch<'_>,
    cells: &Cells,
    threshold_hu: f64,
    also: impl Fn(usize) -> bool + Sync,
) -> Vec<u8> {
    // Whole units: at the threshold or above is at its next whole unit or above.
    let threshold = threshold_hu.ceil() as i16;
    let weak = (threshold_hu * WEAK_SHARE).ceil() as i16;
    let tame = |row: usize, voxels: &mut [i16]| {
        for (to, hu) in voxels.iter_mut().zip(patch.hu.row(row)) {
            *to = if *hu == NOTHING_I16 { NOTHING_I16 } else { (*hu).clamp(-100, 700) };
        }
    };
    let is_strong = |row: usize, voxels: &mut [bool]| {
        for (to, hu) in voxels.iter_mut().zip(patch.hu.row(row)) {
            *to = *hu >= threshold;
        }
    };
    let surround = cells.smooth(&cells.mean(tame), SURROUND_MM);
    let strong = cells.any(is_strong);
    let near_strong = cells.widened(&strong, [WEAK_REACH_MM; 3]);
    let [columns, rows, _] = patch.size;
    let mut walls = vec![NOBODY; patch.len()];
    walls.par_chunks_mut(columns).enumerate().for_each(|(row, walls)| {
        let start = row * columns;
        let (y, z) = (row % rows / cells.pool[1], row / rows / cells.pool[2]);
        let (all, calm) = (patch.hu.row(row), calm.hu.row(row));
        for x in marked(all, |hu| hu >= weak) {
            let hu = calm[x];
            if all[x] >= threshold {
                walls[x] = FREE_STRONG;
                continue;
            }
            let cell = [x / cells.pool[0], y, z];
            let around = surround[cells.position(cell)];
            let stands_out = i32::from(hu) - i32::from(around) > WEAK_CONTRAST_HU;
            if hu >= weak && stands_out && (near_strong.has(cell) || also(start + x)) {
                walls[x] = FREE_WEAK;
            }
        }
    });
    walls
}
