//! A lattice in blocks; a block holds every voxel that a look within it can
//! read, so neighbours share their faces.

use std::ops::RangeInclusive;

use pilothole_volume::{Grid, VoxelPoint};
use rayon::prelude::*;

/// Voxels from one block to the next.
pub(crate) const EDGE: usize = 4;
/// Further than any path leads, mm.
const FAR_MM: f64 = 1e3;

/// How blocks lie in a lattice; they are counted columns fastest, then rows.
#[derive(Clone, Debug)]
pub(crate) struct BlockGrid {
    grid: Grid,
    count: [usize; 3],
}

impl BlockGrid {
    /// Divide a lattice; `None` where slices are uneven, since lines in the
    /// patient are not straight in the lattice then.
    pub(crate) fn of(grid: &Grid) -> Option<Self> {
        let count = grid.size().map(|voxels| (voxels - 1) / EDGE + 1);
        grid.slice_places().is_none().then(|| Self { grid: grid.clone(), count })
    }

    /// Blocks along columns, rows and slices.
    pub(crate) fn count(&self) -> [usize; 3] {
        self.count
    }

    /// The block at a lattice position; `None` outside the lattice.
    #[inline]
    pub(crate) fn at(&self, at: VoxelPoint) -> Option<usize> {
        if !self.grid.holds(at) {
            return None;
        }
        // Signed and of 32 bits: one instruction each.
        let [column, row, slice] = at.0.map(|place| place as i32 as usize / EDGE);
        Some((slice * self.count[1] + row) * self.count[0] + column)
    }

    /// How far from a lattice position a line that leads `per_mm` voxels a
    /// millimetre stays in the block there, and in the lattice, mm.
    #[inline]
    pub(crate) fn stays_mm(&self, at: VoxelPoint, per_mm: [f64; 3]) -> f64 {
        let size = self.grid.size();
        (0..3)
            .map(|i| {
                let before = at.0[i] as i32 as usize / EDGE * EDGE;
                let end = if per_mm[i] > 0.0 { (before + EDGE).min(size[i] - 1) } else { before };
                if per_mm[i].abs() > 0.0 { (end as f64 - at.0[i]) / per_mm[i] } else { FAR_MM }
            })
            .fold(FAR_MM, f64::min)
    }

    /// All blocks, made row by row.
    ///
    /// - `of_row`: the blocks of a row, by its row and slice.
    pub(crate) fn by_rows<T: Send>(&self, of_row: impl Fn([usize; 2]) -> Vec<T> + Sync) -> Vec<T> {
        let [_, rows, slices] = self.count;
        let place = |at: usize| [at % rows, at / rows];
        (0..rows * slices).into_par_iter().flat_map_iter(|at| of_row(place(at))).collect()
    }

    /// Array positions of the first voxels of the rows in a row of blocks.
    pub(crate) fn starts(&self, [row, slice]: [usize; 2]) -> impl Iterator<Item = usize> {
        let rows = self.span(1, row);
        self.span(2, slice)
            .flat_map(move |k| rows.clone().map(move |j| self.grid.offset_of([0, j, k])))
    }

    /// The columns of voxels of each block of a row.
    pub(crate) fn columns(&self) -> impl Iterator<Item = RangeInclusive<usize>> {
        (0..self.count[0]).map(|column| self.span(0, column))
    }

    /// The voxels of a block.
    pub(crate) fn voxels(&self, block: [usize; 3]) -> impl Iterator<Item = [usize; 3]> + use<> {
        let [columns, rows, slices] = [0, 1, 2].map(|axis| self.span(axis, block[axis]));
        slices.flat_map(move |k| {
            let columns = columns.clone();
            rows.clone().flat_map(move |j| columns.clone().map(move |i| [i, j, k]))
        })
    }

    fn span(&self, axis: usize, block: usize) -> RangeInclusive<usize> {
        EDGE * block..=(EDGE * (block + 1)).min(self.grid.size()[axis] - 1)
    }
}
