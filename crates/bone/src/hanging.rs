//! Vessels that hang on a bone by a neck.
//!
//! A vessel with calcified plaques is no even body, and where it passes a bone
//! noise decides whether the two touch. Shrunk by about a millimetre, bone and
//! vessel come apart, and what comes apart is asked alone.

use rayon::prelude::*;

use crate::lumen::{beside_contrast, falls_to_soft_tissue};
use crate::patch::Patch;
use crate::runs::{Piece, largest, pieces};

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
    let largest = largest(&pieces);
    let least = (LEAST_CORE_MM3 / patch.grid.voxel_mm3()).ceil() as usize;
    let is_vessel = |piece: &&Piece| {
        (least..largest[&piece.label]).contains(&piece.voxel_count)
            && is_contrast(patch, piece)
            && falls_to_soft_tissue(patch, &cores, piece)
    };
    pieces.iter().filter(is_vessel).map(|vessel| with_wall(patch, labels, &cores, vessel)).collect()
}

/// The labels shrunk by [`NECK_MM`]: voxels around which all bear the same.
fn cores(patch: &Patch<'_>, labels: &[u8]) -> Vec<u8> {
    let half = patch.spacing_mm.map(|s| ((NECK_MM / s).round() as usize).max(1));
    let rounds = half.into_iter().max().unwrap_or(1);
    let along = |round: usize| half.map(|h| round < h);
    let first = shrunk(labels, patch.size, along(0));
    (1..rounds).fold(first, |cores, round| shrunk(&cores, patch.size, along(round)))
}

/// Labels whose two neighbours along each chosen axis are the same; none at the
/// region's border.
fn shrunk(labels: &[u8], size: [usize; 3], along: [bool; 3]) -> Vec<u8> {
    let [columns, rows, slices] = size;
    let mut kept = vec![0; labels.len()];
    kept.par_chunks_mut(columns).enumerate().for_each(|(row, kept)| {
        let (y, z) = (row % rows, row / rows);
        let inner = |at: usize, count: usize| at > 0 && at + 1 < count;
        if columns < 3 || !inner(y, rows) || !inner(z, slices) {
            return;
        }
        let line = |row: usize| &labels[row * columns..][..columns];
        let own = line(row);
        // Most rows hold nothing, and memory that nobody writes to is not used.
        if own.iter().all(|label| *label == 0) {
            return;
        }
        kept[1..columns - 1].copy_from_slice(&own[1..columns - 1]);
        let sides = [
            (along[0], &own[..columns - 2], &own[2..]),
            (along[1], &line(row - 1)[1..], &line(row + 1)[1..]),
            (along[2], &line(row - rows)[1..], &line(row + rows)[1..]),
        ];
        for (_, before, after) in sides.into_iter().filter(|(chosen, ..)| *chosen) {
            for (kept, (before, after)) in
                kept[1..columns - 1].iter_mut().zip(before.iter().zip(after))
            {
                *kept = if *kept == *before && *kept == *after { *kept } else { 0 };
            }
        }
    });
    kept
}

/// As bright as contrast throughout, but for plaques.
fn is_contrast(patch: &Patch<'_>, core: &Piece) -> bool {
    let [hollow, plaque] = beside_contrast(patch, core);
    let count = core.voxel_count as f64;
    plaque as f64 <= PLAQUE_SHARE * count && hollow as f64 <= HOLLOW_SHARE * count
}

/// A core with what was shrunk away around it, but for what lies as near to
/// another core.
fn with_wall(patch: &Patch<'_>, labels: &[u8], cores: &[u8], core: &Piece) -> Vec<u32> {
    let own: Vec<u32> = core.voxels().map(|at| at as u32).collect();
    let neighbours = patch.neighbours();
    let finest = patch.finest_mm();
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

#[cfg(test)]
mod tests {
    use pilothole_volume::{Direction, Grid, PatientPoint, Region, Volume, Voxels};

    use super::*;

    const SIZE: [usize; 3] = [50, 40, 40];

    /// What a bar hangs on: a block of bone below column 25, in soft tissue.
    const BLOCK: [[usize; 2]; 3] = [[5, 25], [5, 35], [5, 35]];
    const BAR: [[usize; 2]; 3] = [[30, 40], [12, 22], [6, 34]];

    fn holds(range: [[usize; 2]; 3], at: [usize; 3]) -> bool {
        (0..3).all(|axis| (range[axis][0]..range[axis][1]).contains(&at[axis]))
    }

    /// Array positions of what hangs, with voxels of 1 mm: the bar's HU by
    /// index, and a neck so many voxels thick.
    fn found(bar_hu: impl Fn([usize; 3]) -> i16, thick: usize) -> Vec<Vec<u32>> {
        let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
        let grid = Grid::from_axes(SIZE, PatientPoint([0.0; 3]), axes, [1.0; 3]).expect("square");
        let neck = [[25, 30], [15, 15 + thick], [20, 20 + thick]];
        let hu = |at: [usize; 3]| match at {
            _ if holds(BLOCK, at) => Some(800),
            _ if holds(BAR, at) => Some(bar_hu(at)),
            _ if holds(neck, at) => Some(200),
            _ => None,
        };
        let all: Vec<Option<i16>> = (0..grid.voxel_count()).map(|at| hu(index(at))).collect();
        let labels: Vec<u8> = all.iter().map(|hu| u8::from(hu.is_some())).collect();
        let voxels = Voxels::I16(all.iter().map(|hu| hu.unwrap_or(40)).collect());
        let volume = Volume::new(grid, voxels, None).expect("fits");
        hanging(&Patch::of(&volume, Region::whole(volume.grid())), &labels)
    }

    fn index(at: usize) -> [usize; 3] {
        [at % SIZE[0], at / SIZE[0] % SIZE[1], at / (SIZE[0] * SIZE[1])]
    }

    #[test]
    fn a_vessel_with_plaques_comes_off_whole_and_the_bone_stays() {
        let plaque = |at: [usize; 3]| holds([[36, 39], [13, 21], [10, 13]], at);
        let vessels = found(|at| if plaque(at) { 700 } else { 200 }, 2);
        assert_eq!(vessels.len(), 1);
        let places: Vec<[usize; 3]> = vessels[0].iter().map(|at| index(*at as usize)).collect();
        assert!(places.iter().all(|at| at[0] >= BLOCK[0][1]), "bone was taken");
        let of_bar = places.iter().filter(|at| holds(BAR, **at)).count();
        assert_eq!(of_bar, BAR.iter().map(|[from, to]| to - from).product::<usize>());
    }

    #[test]
    fn a_process_of_bone_stays() {
        let inner = [[31, 39], [13, 21], [7, 33]];
        assert_eq!(found(|at| if holds(inner, at) { 20 } else { 600 }, 2).len(), 0);
        // Even and without marrow, but with a cortex.
        assert_eq!(found(|at| if holds(inner, at) { 300 } else { 600 }, 2).len(), 0);
    }

    #[test]
    fn what_is_no_neck_parts_nothing() {
        assert_eq!(found(|_| 200, 6).len(), 0);
        assert_eq!(found(|_| 200, 1).len(), 1);
    }
}
