//! Metal, saturated voxels, and where the HU around metal are wrong.

use pilothole_volume::{Mask, NOTHING_I16, Neighbours, without_small};
use rayon::prelude::*;

use crate::boxes::eroded;
use crate::coarse::Cells;
use crate::patch::Patch;

/// Least volume of a piece of metal, mm³; smaller specks are noise or teeth of
/// a dense cortex.
const LEAST_METAL_MM3: f64 = 8.0;
/// Streaks are looked for this far from metal, within its slices, mm.
const STREAK_REACH_MM: f64 = 80.0;
/// HU that soft tissue does not leave without an artefact or contrast.
const SOFT_HU: std::ops::RangeInclusive<f32> = -160.0..=160.0;
/// Least HU of marrow, fat included.
const MARROW_LEAST_HU: f32 = -200.0;
/// Air is at most this, HU.
const AIR_HU: i16 = -500;
/// A share of one in the whole numbers that cells hold.
const ONE: i16 = 10_000;
/// Share of voxels out of their range within 4 mm that makes a zone: 0.12.
const ZONE_SHARE: i16 = 1200;
/// Half-width over which that share is taken, mm.
const ZONE_REACH_MM: f64 = 4.0;

/// What metal does to a region.
pub(crate) struct Metal {
    pub(crate) metal: Mask,
    pub(crate) saturated: Mask,
}

/// Find metal and saturated voxels.
///
/// Saturated are voxels at the storage ceiling where it is known; else those
/// at the region's greatest value when that is 3000 HU or more and shared by
/// eight voxels.
pub(crate) fn find(patch: &Patch<'_>, metal_hu: f64, ceiling_hu: Option<f64>) -> Metal {
    let least_hu = metal_hu.ceil() as i16;
    let bright = patch.voxels_where(least_hu..=i16::MAX, |_| true);
    if bright.is_empty() {
        return Metal { metal: bright, saturated: Mask::none(patch.size) };
    }
    let least = (LEAST_METAL_MM3 / patch.grid.voxel_mm3()).ceil() as usize;
    let metal = without_small(&bright, Neighbours::TwentySix, least);
    let ceiling = ceiling_hu.map_or_else(|| plateau(patch), |hu| Some(hu as f32));
    let saturated = match ceiling {
        Some(ceiling) => patch.voxels_where(ceiling.ceil() as i16..=i16::MAX, |_| true),
        None => Mask::none(patch.size),
    };
    Metal { metal, saturated }
}

fn plateau(patch: &Patch<'_>) -> Option<f32> {
    let all = || (0..patch.hu.rows()).flat_map(|row| patch.hu.row(row));
    let most = *all().max()?;
    let shared = all().filter(|hu| **hu >= most).count();
    (most >= 3000 && shared >= 8).then_some(f32::from(most))
}

/// Where HU are not to be trusted: within `margin_mm` of metal, and wherever,
/// in the slices that metal reaches, voxels of soft tissue or marrow leave
/// their physical range more often than chance; air and voxels that touch a
/// bone, half filled with it, are left out.
pub(crate) fn artefact(
    patch: &Patch<'_>,
    cells: &Cells,
    found: &Metal,
    labels: &[u8],
    margin_mm: f64,
) -> Mask {
    if found.metal.is_empty() {
        return Mask::none(patch.size);
    }
    let metal = cells.any(|row, voxels| {
        let [y, z] = [row % patch.size[1], row / patch.size[1]];
        for (x, to) in voxels.iter_mut().enumerate() {
            *to = found.metal.has([x, y, z]);
        }
    });
    let near = cells.near(&metal, margin_mm);
    let in_reach = cells.widened(&metal, [STREAK_REACH_MM, STREAK_REACH_MM, 0.0]);
    let air = large_air(patch);
    let rim = patch.neighbours();
    let wrong = |at: usize| {
        let index = patch.index(at);
        if !in_reach.has(cells.holding(index)) || !patch.hu.is_known(at) || air.has(index) {
            return NOTHING_I16;
        }
        let hu = patch.hu.at(at);
        if labels[at] != 0 {
            return if hu < MARROW_LEAST_HU { ONE } else { 0 };
        }
        let beside_bone =
            || rim.iter().any(|s| s.from(patch.size, index, at).is_some_and(|to| labels[to] != 0));
        if SOFT_HU.contains(&hu) {
            0
        } else if beside_bone() {
            NOTHING_I16
        } else {
            ONE
        }
    };
    let wrong = cells.mean(|row, voxels| {
        for (x, to) in voxels.iter_mut().enumerate() {
            *to = wrong(row * patch.size[0] + x);
        }
    });
    let share = cells.smooth(&wrong, ZONE_REACH_MM);
    Mask::where_true(patch.size, |at| {
        let cell = cells.holding(patch.index(at));
        near.has(cell) || (in_reach.has(cell) && share[cells.position(cell)] > ZONE_SHARE)
    })
}

/// Air of bowel, skin folds and the room: connected dark voxels of 1 cm³ or
/// more, with the partly filled voxels around it.
fn large_air(patch: &Patch<'_>) -> Mask {
    let dark = patch.voxels_where(NOTHING_I16 + 1..=AIR_HU - 1, |_| true);
    let least = (1000.0 / patch.grid.voxel_mm3()).ceil() as usize;
    let inner = without_small(&dark, Neighbours::Six, least);
    let mut air = inner.clone();
    // The voxel of the air nearest to one outside has a neighbour outside too.
    let deep = eroded(&inner, [1; 3]);
    let on_edge = |index: [usize; 3]| inner.has(index) && !deep.has(index);
    let edge: Vec<usize> =
        (0..patch.len()).into_par_iter().filter(|at| on_edge(patch.index(*at))).collect();
    let rim = patch.ball(4.0);
    for at in edge {
        let index = patch.index(at);
        for step in &rim {
            if let Some(to) = step.from(patch.size, index, at)
                && patch.hu.at(to) < *SOFT_HU.start()
            {
                air.set(patch.index(to), true);
            }
        }
    }
    air
}
