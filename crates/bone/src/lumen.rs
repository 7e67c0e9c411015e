//! Vessels, bowel and bladder filled with contrast: as bright as bone, but even,
//! solid and without a cortex.
//!
//! Their walls would join bones that they pass, and noise would decide whether
//! they do. Places are looked for around which nothing but even contrast lies;
//! what those places fill is a body, and a body counts as a lumen when it falls
//! to soft tissue on most sides without a brighter rim. What is narrower than
//! about 5 mm, or denser than 450 HU, is not found.

use pilothole_volume::{Mask, PatientPoint};
use rayon::prelude::*;

use crate::patch::{Patch, Step, box_of};
use crate::runs::{Piece, pieces};

/// HU of contrast on a pelvic scan: above muscle and clot; arteries seldom pass
/// 450, cortex does even when blurred.
pub(crate) const CONTRAST_HU: std::ops::RangeInclusive<i16> = 130..=450;
/// Half-width of the box around a place that must be even, mm, and at least one
/// voxel.
const EVEN_MM: f64 = 2.0;
/// Greatest standard deviation in that box, HU: twice the noise of a usual
/// pelvic scan; cancellous bone has 30 to 100.
const EVEN_SD_HU: f64 = 30.0;
/// Smallest body asked, mm³: 10 mm of a vessel of 6 mm.
const LEAST_MM3: f64 = 300.0;
/// How far a body's sides are followed outwards, mm.
const BESIDE_MM: f64 = 6.0;
/// What a lumen falls to, HU: above muscle with contrast.
const SOFT_HU: f32 = 110.0;
/// Sides that must fall to it. Lumens of an open scan: 0.42 to 0.97 and mostly
/// above 0.7, even places in its bones: below 0.45.
const SOFT_SHARE: f64 = 0.5;
/// Sides that may rise to cortex instead: calcified plaques, a bone that is met.
const BRIGHT_SHARE: f64 = 0.05;

/// The lumens of a region.
pub(crate) struct Lumens {
    /// Array positions, rising.
    pub(crate) voxels: Vec<u32>,
    pub(crate) count: usize,
    /// A voxel of the largest.
    pub(crate) at: Option<PatientPoint>,
}

/// Find the lumens.
pub(crate) fn find(patch: &Patch<'_>) -> Lumens {
    let half = patch.spacing_mm.map(|s| ((EVEN_MM / s).round() as usize).max(1));
    let solid = patch.voxels_where(CONTRAST_HU, |_| true);
    let places = eroded(&solid, half);
    let around: Vec<Step> = box_steps(patch, half);
    let row_places: Vec<Vec<usize>> = (0..patch.hu.rows())
        .into_par_iter()
        .map(|row| even_places(patch, &places, &around, row))
        .collect();
    let mut bodies: Vec<u8> = Vec::new();
    for at in row_places.into_iter().flatten() {
        if bodies.is_empty() {
            bodies = vec![0; patch.len()];
        }
        for step in &around {
            bodies[at.wrapping_add_signed(step.jump)] = 1;
        }
    }
    let mut found = Lumens { voxels: Vec::new(), count: 0, at: None };
    if bodies.is_empty() {
        return found;
    }
    let least = (LEAST_MM3 / patch.grid.voxel_mm3()).ceil() as usize;
    let mut largest = 0;
    for piece in pieces(&bodies, patch.size) {
        if piece.voxel_count < least || !is_lumen(patch, &bodies, &piece) {
            continue;
        }
        found.count += 1;
        found.voxels.extend(piece.voxels().map(|at| at as u32));
        if piece.voxel_count > largest {
            largest = piece.voxel_count;
            found.at = Some(patch.centre(patch.index(piece.runs[0].from)));
        }
    }
    found.voxels.sort_unstable();
    found
}

/// The steps to every voxel of a box, its middle included.
fn box_steps(patch: &Patch<'_>, half: [usize; 3]) -> Vec<Step> {
    box_of(half.map(|h| h as isize)).map(|by| patch.step(by)).collect()
}

/// Places of a row around which HU are even.
fn even_places(patch: &Patch<'_>, places: &Mask, around: &[Step], row: usize) -> Vec<usize> {
    let columns = patch.size[0];
    let words = &places.words()[row * places.words_per_row()..][..places.words_per_row()];
    let mut even = Vec::new();
    for (word, bits) in words.iter().enumerate().filter(|(_, bits)| **bits != 0) {
        for bit in (0..64).filter(|bit| bits >> bit & 1 == 1) {
            let at = row * columns + 64 * word + bit;
            let (mut sum, mut squares) = (0.0, 0.0);
            for step in around {
                let hu = f64::from(patch.hu.at(at.wrapping_add_signed(step.jump)));
                sum += hu;
                squares += hu * hu;
            }
            let count = around.len() as f64;
            let variance = squares / count - (sum / count).powi(2);
            if variance < EVEN_SD_HU * EVEN_SD_HU {
                even.push(at);
            }
        }
    }
    even
}

/// The voxels whose whole box belongs; what lies outside does not belong.
fn eroded(mask: &Mask, half: [usize; 3]) -> Mask {
    let [_, rows, slices] = mask.size();
    let words = mask.words_per_row();
    let mut along = mask.clone();
    along.words_mut().par_chunks_mut(words).for_each(|row| erode_row(row, half[0]));
    let mut planes = Mask::none(mask.size());
    let meet = |to: &mut [u64], from: &Mask, row: usize| {
        for (to, from) in to.iter_mut().zip(&from.words()[row * words..][..words]) {
            *to &= from;
        }
    };
    planes.words_mut().par_chunks_mut(words).enumerate().for_each(|(row, to)| {
        let y = row % rows;
        if y >= half[1] && y + half[1] < rows {
            to.fill(u64::MAX);
            (row - half[1]..=row + half[1]).for_each(|from| meet(to, &along, from));
        }
    });
    let mut all = Mask::none(mask.size());
    all.words_mut().par_chunks_mut(words).enumerate().for_each(|(row, to)| {
        let z = row / rows;
        if z >= half[2] && z + half[2] < slices {
            to.fill(u64::MAX);
            let from = row - half[2] * rows..=row + half[2] * rows;
            from.step_by(rows).for_each(|from| meet(to, &planes, from));
        }
    });
    all
}

/// Keep the bits of a row whose `half` neighbours to each side are set too.
fn erode_row(row: &mut [u64], half: usize) {
    for _ in 0..half {
        let mut before = 0;
        for word in 0..row.len() {
            let next = row.get(word + 1).copied().unwrap_or(0);
            let own = row[word];
            row[word] = own & (own << 1 | before >> 63) & (own >> 1 | next << 63);
            before = own;
        }
    }
}

/// Falls to soft tissue on most sides, and rises to cortex on next to none.
fn is_lumen(patch: &Patch<'_>, bodies: &[u8], piece: &Piece) -> bool {
    let strides = patch.strides().map(|s| s as isize);
    let reach = patch.spacing_mm.map(|s| ((BESIDE_MM / s).round() as isize).max(2));
    let (mut all, mut soft, mut bright) = (0_usize, 0_usize, 0_usize);
    for at in piece.voxels() {
        let index = patch.index(at);
        for (axis, outward) in (0..3).flat_map(|axis| [(axis, -1_isize), (axis, 1)]) {
            let beyond = |step: isize| {
                let to = index[axis] as isize + outward * step;
                let inside = to >= 0 && to < patch.size[axis] as isize;
                inside.then(|| at.wrapping_add_signed(outward * step * strides[axis]))
            };
            if beyond(1).is_none_or(|to| bodies[to] != 0) {
                continue;
            }
            all += 1;
            for hu in (1..=reach[axis]).map_while(beyond).map(|to| patch.hu.at(to)) {
                if hu < SOFT_HU {
                    soft += 1;
                    break;
                }
                if hu > f32::from(*CONTRAST_HU.end()) {
                    bright += 1;
                    break;
                }
            }
        }
    }
    let all = all as f64;
    soft as f64 >= SOFT_SHARE * all && bright as f64 <= BRIGHT_SHARE * all
}
