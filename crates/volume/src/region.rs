//! A box of voxels.

use crate::grid::Grid;
use crate::space::{PatientPoint, VoxelPoint};

/// A box of voxel indices, `from` inside, `to` outside; never empty.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Region {
    from: [usize; 3],
    to: [usize; 3],
}

impl Region {
    /// The box from `from` up to, without, `to`; `None` when it is empty.
    pub fn new(from: [usize; 3], to: [usize; 3]) -> Option<Self> {
        (0..3).all(|i| from[i] < to[i]).then_some(Self { from, to })
    }

    /// All voxels of a lattice.
    pub fn whole(grid: &Grid) -> Self {
        Self { from: [0; 3], to: grid.size() }
    }

    /// The voxels within `reach_mm` of a point along every patient axis, cut
    /// to the lattice; `None` when none is.
    pub fn around(grid: &Grid, centre: PatientPoint, reach_mm: f64) -> Option<Self> {
        let mut low = [f64::INFINITY; 3];
        let mut high = [f64::NEG_INFINITY; 3];
        for corner in 0..8_u8 {
            let side = |bit: u8| if corner & (1 << bit) == 0 { -reach_mm } else { reach_mm };
            let moved = PatientPoint(std::array::from_fn(|i| centre.0[i] + side(i as u8)));
            let VoxelPoint(voxel) = grid.voxel_from_patient(moved);
            for axis in 0..3 {
                low[axis] = low[axis].min(voxel[axis]);
                high[axis] = high[axis].max(voxel[axis]);
            }
        }
        let size = grid.size();
        let from = std::array::from_fn(|i| low[i].floor().clamp(0.0, size[i] as f64) as usize);
        let to =
            std::array::from_fn(|i| (high[i].ceil() + 1.0).clamp(0.0, size[i] as f64) as usize);
        Self::new(from, to)
    }

    /// First voxel inside, column, row, slice.
    pub fn from(&self) -> [usize; 3] {
        self.from
    }

    /// First voxel outside, column, row, slice.
    pub fn to(&self) -> [usize; 3] {
        self.to
    }

    /// Number of voxels along columns, rows, slices.
    pub fn size(&self) -> [usize; 3] {
        std::array::from_fn(|i| self.to[i] - self.from[i])
    }
}
