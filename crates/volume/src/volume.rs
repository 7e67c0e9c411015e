//! Hounsfield units placed in the patient.

use crate::grid::Grid;
use crate::region::Region;
use crate::space::{PatientPoint, VoxelPoint};
use crate::trilinear::interpolate;

/// The stored value of a voxel that holds no measurement (padding, or outside
/// the scanned circle); no Hounsfield unit reaches it.
pub const NOTHING_I16: i16 = i16::MIN;

/// Hounsfield units, slice by slice, row by row, columns fastest.
#[derive(Clone, Debug, PartialEq)]
pub enum Voxels {
    /// Whole numbers; [`NOTHING_I16`] where nothing was measured.
    I16(Vec<i16>),
    /// Any number; not-a-number where nothing was measured.
    F32(Vec<f32>),
}

impl Voxels {
    /// Number of voxels.
    pub fn len(&self) -> usize {
        match self {
            Self::I16(all) => all.len(),
            Self::F32(all) => all.len(),
        }
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Hounsfield units of the voxel at a position in the array; not-a-number
    /// where nothing was measured.
    #[inline]
    pub fn hu_or_nan(&self, at: usize) -> f32 {
        match self {
            Self::I16(all) => match all[at] {
                NOTHING_I16 => f32::NAN,
                hu => f32::from(hu),
            },
            Self::F32(all) => all[at],
        }
    }
}

/// A scan: Hounsfield units on a lattice in the patient.
///
/// Invariant: as many voxels as the lattice has.
#[derive(Clone, Debug, PartialEq)]
pub struct Volume {
    grid: Grid,
    voxels: Voxels,
    ceiling_hu: Option<f64>,
}

impl Volume {
    /// Put voxels on a lattice.
    ///
    /// - `ceiling_hu`: the largest value that the scan's storage can hold;
    ///   voxels at it are saturated, their true value is at least that.
    ///   `None` when it is not known.
    ///
    /// # Errors
    ///
    /// [`VolumeError::VoxelCount`] when the numbers of voxels differ.
    pub fn new(grid: Grid, voxels: Voxels, ceiling_hu: Option<f64>) -> Result<Self, VolumeError> {
        if voxels.len() != grid.voxel_count() {
            return Err(VolumeError::VoxelCount {
                expected: grid.voxel_count(),
                found: voxels.len(),
            });
        }
        Ok(Self { grid, voxels, ceiling_hu })
    }

    /// Where the voxels lie.
    pub fn grid(&self) -> &Grid {
        &self.grid
    }

    /// The voxels, slice by slice.
    pub fn voxels(&self) -> &Voxels {
        &self.voxels
    }

    /// The largest value that the scan's storage can hold, HU, where known.
    pub fn ceiling_hu(&self) -> Option<f64> {
        self.ceiling_hu
    }

    /// Hounsfield units of a voxel; not-a-number where nothing was measured.
    ///
    /// # Panics
    ///
    /// When the index is outside the lattice.
    #[inline]
    pub fn hu_or_nan(&self, index: [usize; 3]) -> f32 {
        self.voxels.hu_or_nan(self.grid.offset_of(index))
    }

    /// Trilinear Hounsfield units at a patient position; not-a-number outside
    /// the box of voxel centres and where a voxel that counts was not measured.
    #[inline]
    pub fn sample_or_nan(&self, at: PatientPoint) -> f64 {
        self.sample_voxel_or_nan(self.grid.voxel_from_patient(at))
    }

    /// As [`Volume::sample_or_nan`], at a lattice position.
    #[expect(clippy::inline_always, reason = "a place handed over in memory stalls its reading")]
    #[inline(always)]
    pub fn sample_voxel_or_nan(&self, at: VoxelPoint) -> f64 {
        match &self.voxels {
            Voxels::I16(all) => interpolate(&self.grid, at, all, |_, hu| match hu {
                NOTHING_I16 => f64::NAN,
                hu => f64::from(hu),
            }),
            Voxels::F32(all) => interpolate(&self.grid, at, all, |_, hu| f64::from(hu)),
        }
    }

    /// A copy of the Hounsfield units of a region, not-a-number where nothing
    /// was measured, in array order.
    pub fn copy_region(&self, region: Region) -> Vec<f32> {
        let size = region.size();
        let mut out = Vec::with_capacity(size.iter().product());
        for slice in region.from()[2]..region.to()[2] {
            for row in region.from()[1]..region.to()[1] {
                let start = self.grid.offset_of([region.from()[0], row, slice]);
                match &self.voxels {
                    Voxels::I16(all) => out.extend(
                        all[start..start + size[0]]
                            .iter()
                            .map(|v| if *v == NOTHING_I16 { f32::NAN } else { f32::from(*v) }),
                    ),
                    Voxels::F32(all) => out.extend_from_slice(&all[start..start + size[0]]),
                }
            }
        }
        out
    }
}

/// Why a [`Volume`] could not be made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum VolumeError {
    /// The array does not fit the lattice.
    #[error("{found} voxels for a lattice of {expected}")]
    VoxelCount {
        /// Voxels of the lattice.
        expected: usize,
        /// Voxels given.
        found: usize,
    },
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::Direction;

    fn ramp() -> Volume {
        let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
        let grid =
            Grid::from_axes([4, 5, 6], PatientPoint([10.0, 20.0, 30.0]), axes, [0.5, 1.0, 2.0])
                .expect("orthogonal");
        let mut hu = Vec::new();
        for k in 0..6_i16 {
            for j in 0..5_i16 {
                for i in 0..4_i16 {
                    hu.push(100 * k + 10 * j + i);
                }
            }
        }
        Volume::new(grid, Voxels::I16(hu), None).expect("fits")
    }

    #[test]
    fn a_linear_field_is_read_exactly() {
        let volume = ramp();
        let at = PatientPoint([10.0 + 0.5 * 1.25, 20.0 + 2.5, 30.0 + 2.0 * 3.75]);
        assert!((volume.sample_or_nan(at) - (375.0 + 25.0 + 1.25)).abs() < 1e-9);
    }

    #[test]
    fn the_border_is_in_and_beyond_it_is_nothing() {
        let volume = ramp();
        let last = volume.grid().centre_of([3, 4, 5]);
        assert!((volume.sample_or_nan(last) - 543.0).abs() < 1e-9);
        assert!(volume.sample_or_nan(last + Direction::LEFT * 0.01).is_nan());
    }

    #[test]
    fn padding_is_nothing_but_does_not_spread_to_its_neighbours_centres() {
        let grid = ramp().grid().clone();
        let mut hu = vec![7; grid.voxel_count()];
        hu[grid.offset_of([1, 1, 1])] = NOTHING_I16;
        let volume = Volume::new(grid, Voxels::I16(hu), None).expect("fits");
        assert!(volume.hu_or_nan([1, 1, 1]).is_nan());
        assert!((volume.sample_voxel_or_nan(VoxelPoint([2.0, 1.0, 1.0])) - 7.0).abs() < 1e-12);
        assert!(volume.sample_voxel_or_nan(VoxelPoint([1.5, 1.0, 1.0])).is_nan());
    }
}
