//! Candidates for bone's walls: what the threshold sees, and thin sheets below it.

use rayon::prelude::*;

use crate::coarse::Cells;
use crate::patch::Patch;

/// A voxel's rank as a piece of wall.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Rank {
    /// Not wall.
    None,
    /// Below the threshold, yet brighter than its surroundings: a cortex that
    /// blur has lowered.
    Weak,
    /// At the threshold or above.
    Strong,
}

/// Weak walls start at this share of the threshold: 130 HU of 226, above
/// muscle (40 to 70 HU) by more than the noise of a pelvic scan.
pub(crate) const WEAK_SHARE: f64 = 0.575;
/// How much brighter than the mean of the 10 mm around a weak wall is, HU.
const WEAK_CONTRAST_HU: f32 = 25.0;
/// Half-width of those surroundings, mm.
const SURROUND_MM: f64 = 5.0;
/// Weak walls count only this near to strong ones, mm.
const WEAK_REACH_MM: f64 = 5.0;

/// Rank of every voxel.
///
/// `also` grants weak walls away from strong ones, by array position.
pub(crate) fn rank(
    patch: &Patch,
    cells: &Cells,
    threshold_hu: f64,
    also: impl Fn(usize) -> bool + Sync,
) -> Vec<Rank> {
    let threshold = threshold_hu as f32;
    let weak = (threshold_hu * WEAK_SHARE) as f32;
    let surround = cells.smooth(&cells.mean(|at| patch.hu[at].clamp(-100.0, 700.0)), SURROUND_MM);
    let strong = cells.mean(|at| f32::from(u8::from(patch.hu[at] >= threshold)));
    let near_strong = cells.smooth(&strong, WEAK_REACH_MM);
    let stands_out = |at: usize| {
        let cell = cells.holding(patch.index(at));
        patch.hu[at] - surround[cell] > WEAK_CONTRAST_HU && (near_strong[cell] > 1e-4 || also(at))
    };
    patch
        .hu
        .par_iter()
        .enumerate()
        .map(|(at, hu)| {
            if *hu >= threshold {
                Rank::Strong
            } else if *hu >= weak && stands_out(at) {
                Rank::Weak
            } else {
                Rank::None
            }
        })
        .collect()
}
