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
        let low = PatientPoint(centre.0.map(|c| c - reach_mm));
        let high = PatientPoint(centre.0.map(|c| c + reach_mm));
        Self::spanning(grid, low, high)
    }

    /// The voxels that a box along the patient axes touches, cut to the
    /// lattice; `None` when none is.
    pub fn spanning(grid: &Grid, low: PatientPoint, high: PatientPoint) -> Option<Self> {
        let mut least = [f64::INFINITY; 3];
        let mut most = [f64::NEG_INFINITY; 3];
        for corner in 0..8_usize {
            let at = PatientPoint(std::array::from_fn(|i| {
                if corner >> i & 1 == 0 { low.0[i] } else { high.0[i] }
            }));
            let VoxelPoint(voxel) = grid.voxel_from_patient(at);
            for axis in 0..3 {
                least[axis] = least[axis].min(voxel[axis]);
                most[axis] = most[axis].max(voxel[axis]);
            }
        }
        let size = grid.size();
        let from = std::array::from_fn(|i| least[i].floor().clamp(0.0, size[i] as f64) as usize);
        let to =
            std::array::from_fn(|i| (most[i].ceil() + 1.0).clamp(0.0, size[i] as f64) as usize);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::Direction;

    #[test]
    fn a_region_is_cut_to_the_lattice_and_never_empty() {
        let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
        let grid = Grid::from_axes([10; 3], PatientPoint([0.0; 3]), axes, [1.0, 1.0, 2.0])
            .expect("square");
        let region = Region::around(&grid, PatientPoint([1.0, 5.0, 6.0]), 2.5).expect("overlaps");
        assert_eq!((region.from(), region.to()), ([0, 2, 1], [5, 9, 6]));
        assert_eq!(Region::around(&grid, PatientPoint([40.0, 5.0, 6.0]), 2.5), None);
    }
}
