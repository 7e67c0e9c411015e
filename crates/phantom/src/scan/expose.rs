//! The blurred scene at every voxel, before noise.
//!
//! The scene is averaged on a lattice of fine cells, a few slices at a time,
//! and each axis is weighed down to voxels as soon as it can be.

use pilothole_volume::{Grid, Offset, PatientPoint, VoxelPoint};
use rayon::prelude::*;

use super::paint::Brush;
use super::taps::{Axis, Taps};
use crate::scene::Scene;

/// Fine slices that are painted at a time.
const SLAB: usize = 8;

/// How finely a scene is looked at.
#[derive(Clone, Copy, Debug)]
pub(super) struct Detail {
    /// Fine cells along each edge of a voxel; odd.
    pub(super) cells: usize,
    /// Parts along each edge of a fine cell that a surface crosses.
    pub(super) fineness: usize,
}

/// - `sigma_mm`: blur along columns, rows, slices.
pub(super) fn expose(scene: &Scene, grid: &Grid, sigma_mm: [f64; 3], detail: Detail) -> Vec<f32> {
    let (size, spacing) = (grid.size(), grid.spacing_mm());
    let axes: [Axis; 3] =
        std::array::from_fn(|i| Axis::new(size[i], detail.cells, sigma_mm[i] / spacing[i]));
    let fine = FineLattice::new(grid, axes, detail.cells);
    let taps = [axes[0].taps(|p| p), axes[1].taps(|p| p), axes[2].taps(|p| fine.slice_place(p))];
    let plane = size[0] * size[1];
    let fine_size = axes.map(|a| a.fine_count());
    let mut stack = vec![0.0_f32; plane * fine_size[2]];
    stack.par_chunks_mut(plane * SLAB).enumerate().for_each(|(slab, out)| {
        let from = slab * SLAB;
        let count = out.len() / plane;
        let centre = |index: [usize; 3]| fine.centre_of([index[0], index[1], index[2] + from]);
        let brush = Brush { scene, edges: fine.edges, fineness: detail.fineness, centre: &centre };
        let painted = brush.paint([fine_size[0], fine_size[1], count]);
        for (slice, out) in out.chunks_mut(plane).enumerate() {
            let all = fine_size[0] * fine_size[1];
            weigh_plane(&painted[slice * all..(slice + 1) * all], fine_size[0], &taps, out);
        }
    });
    let mut hu = vec![0.0_f32; grid.voxel_count()];
    hu.par_chunks_mut(plane).zip(&taps[2]).for_each(|(out, taps)| {
        let mut sums = vec![0.0_f64; plane];
        for (k, weight) in taps.weights.iter().enumerate() {
            let slice = &stack[(taps.first + k) * plane..(taps.first + k + 1) * plane];
            for (sum, value) in sums.iter_mut().zip(slice) {
                *sum += weight * f64::from(*value);
            }
        }
        for (voxel, sum) in out.iter_mut().zip(sums) {
            *voxel = sum as f32;
        }
    });
    hu
}

/// Weigh a plane of fine cells down to a plane of voxels.
fn weigh_plane(fine: &[f32], fine_columns: usize, taps: &[Vec<Taps>; 3], out: &mut [f32]) {
    let columns = taps[0].len();
    let narrow: Vec<f32> = fine
        .chunks(fine_columns)
        .flat_map(|row| {
            taps[0].iter().map(|taps| {
                let cells = &row[taps.first..taps.first + taps.weights.len()];
                cells.iter().zip(&taps.weights).map(|(c, w)| w * f64::from(*c)).sum::<f64>() as f32
            })
        })
        .collect();
    let mut sums = vec![0.0_f64; columns];
    for (row, taps) in out.chunks_mut(columns).zip(&taps[1]) {
        sums.fill(0.0);
        for (k, weight) in taps.weights.iter().enumerate() {
            let cells = &narrow[(taps.first + k) * columns..(taps.first + k + 1) * columns];
            for (sum, cell) in sums.iter_mut().zip(cells) {
                *sum += weight * f64::from(*cell);
            }
        }
        for (voxel, sum) in row.iter_mut().zip(&sums) {
            *voxel = *sum as f32;
        }
    }
}

/// The lattice of fine cells, its margins included.
struct FineLattice<'a> {
    grid: &'a Grid,
    axes: [Axis; 3],
    /// Edges of a fine cell; along slices the mean one.
    edges: [Offset; 3],
    /// Stretch of the slice step to the mean one.
    stretch: f64,
}

impl<'a> FineLattice<'a> {
    fn new(grid: &'a Grid, axes: [Axis; 3], cells: usize) -> Self {
        let steps = grid.steps();
        let stretch = grid.spacing_mm()[2] / steps[2].length_mm();
        let edges = [steps[0], steps[1], steps[2] * stretch].map(|e| e * (1.0 / cells as f64));
        Self { grid, axes, edges, stretch }
    }

    fn centre_of(&self, index: [usize; 3]) -> PatientPoint {
        let place = std::array::from_fn(|i| self.axes[i].place(index[i]));
        self.grid.patient_from_voxel(VoxelPoint(place))
    }

    /// Place of a slice position along the slice axis, in mean slices.
    fn slice_place(&self, slice: f64) -> f64 {
        let step = self.grid.steps()[2];
        let at = self.grid.patient_from_voxel(VoxelPoint([0.0, 0.0, slice]));
        (at - self.grid.origin()).dot(step) / step.dot(step) / self.stretch
    }
}
