//! Vessels that hang on a bone by a neck.
//!
//! A vessel with calcified plaques is no even body, and where it passes a bone
//! noise decides whether the two touch. Shrunk by about a millimetre, bone and
//! vessel come apart, and what comes apart is asked alone.

use std::collections::BTreeMap;

use pilothole_volume::Mask;
use rayon::prelude::*;

use crate::boxes::eroded;
use crate::lumen::{CONTRAST_HU, falls_to_soft_tissue};
use crate::patch::Patch;
use crate::runs::{Piece, pieces};

/// How far bones are shrunk, mm, and at least one voxel: necks of up to twice
/// that part. Own choice, no source.
const NECK_MM: f64 = 1.0;
/// Smallest core asked, mm³: 10 mm of a vessel of 6 mm.
const LEAST_CORE_MM3: f64 = 300.0;
/// Share of a core's voxels that may be plaque, denser than contrast. Vessels of
/// an open scan have 0.00 to 0.054; a hand and a vertebra's process on it,
/// which come apart as well, 0.054 to 0.12, and are hollow.
const PLAQUE_SHARE: f64 = 0.07;
/// Share of a core's voxels that may be darker than contrast: vessels there have
/// none, a hand and a process 0.09 to 0.49.
const HOLLOW_SHARE: f64 = 0.05;

/// Array positions of each such vessel, its wall included, rising.
pub(crate) fn hanging(patch: &Patch<'_>, labels: &[u8]) -> Vec<Vec<u32>> {
    let cores = cores(patch, labels);
    let pieces = pieces(&cores, patch.size);
    let mut largest: BTreeMap<u8, usize> = BTreeMap::new();
    for piece in &pieces {
        let most = largest.entry(piece.label).or_insert(0);
        *most = (*most).max(piece.voxel_count);
    }
    let least = (LEAST_CORE_MM3 / patch.grid.voxel_mm3()).ceil() as usize;
    let is_vessel = |piece: &&Piece| {
        (least..largest[&piece.label]).contains(&piece.voxel_count)
            && is_contrast(patch, piece)
            && falls_to_soft_tissue(patch, &cores, piece)
    };
    pieces.iter().filter(is_vessel).map(|vessel| with_wall(patch, labels, &cores, vessel)).collect()
}

/// The labels shrunk: voxels around which all bear the same.
fn cores(patch: &Patch<'_>, labels: &[u8]) -> Vec<u8> {
    let half = patch.spacing_mm.map(|s| ((NECK_MM / s).round() as usize).max(1));
    let [columns, rows, slices] = patch.size;
    let [_, across, up] = patch.strides();
    let alike = Mask::where_true(patch.size, |at| {
        let label = labels[at];
        label != 0 && {
            let [x, y, z] = patch.index(at);
            let inner = |at: usize, count: usize| at > 0 && at + 1 < count;
            inner(x, columns)
                && inner(y, rows)
                && inner(z, slices)
                && [1, across, up]
                    .iter()
                    .all(|s| labels[at - s] == label && labels[at + s] == label)
        }
    });
    let kept = eroded(&alike, half.map(|h| h - 1));
    let mut cores = vec![0; labels.len()];
    let words = kept.words().par_chunks(kept.words_per_row());
    let by_row = cores.par_chunks_mut(columns).zip(labels.par_chunks(columns)).zip(words);
    by_row.for_each(|((cores, labels), words)| {
        for (x, (core, label)) in cores.iter_mut().zip(labels).enumerate() {
            *core = if words[x / 64] >> (x % 64) & 1 == 1 { *label } else { 0 };
        }
    });
    cores
}

/// As bright as contrast throughout, but for plaques.
fn is_contrast(patch: &Patch<'_>, core: &Piece) -> bool {
    let [low, high] = [*CONTRAST_HU.start(), *CONTRAST_HU.end()].map(f32::from);
    let (mut plaque, mut hollow) = (0_usize, 0_usize);
    for at in core.voxels() {
        plaque += usize::from(patch.hu.at(at) > high);
        hollow += usize::from(patch.hu.at(at) < low);
    }
    let count = core.voxel_count as f64;
    plaque as f64 <= PLAQUE_SHARE * count && hollow as f64 <= HOLLOW_SHARE * count
}

/// A core with what was shrunk away around it, but for what lies as near to
/// another core.
fn with_wall(patch: &Patch<'_>, labels: &[u8], cores: &[u8], core: &Piece) -> Vec<u32> {
    let own: Vec<u32> = core.voxels().map(|at| at as u32).collect();
    let neighbours = patch.neighbours();
    let finest = patch.spacing_mm.iter().copied().fold(f64::INFINITY, f64::min);
    let beside = |at: u32| {
        let (at, index) = (at as usize, patch.index(at as usize));
        let around = neighbours.iter().filter_map(move |s| s.from(patch.size, index, at));
        around.filter(|to| labels[*to] == core.label)
    };
    let free = |at: usize| {
        let mut around = beside(at as u32);
        cores[at] == 0
            && !around.any(|to| cores[to] != 0 && own.binary_search(&(to as u32)).is_err())
    };
    let mut all = own.clone();
    let mut front = own.clone();
    for _ in 0..(2.0 * NECK_MM / finest).round().max(1.0) as usize {
        let mut next: Vec<u32> =
            front.iter().flat_map(|at| beside(*at)).map(|to| to as u32).collect();
        next.sort_unstable();
        next.dedup();
        next.retain(|to| all.binary_search(to).is_err() && free(*to as usize));
        all.extend(&next);
        all.sort_unstable();
        front = next;
    }
    all
}
