//! A smooth number at every voxel: a signed depth, a smoothed density.

use ndarray::ArrayView3;

use crate::grid::Grid;
use crate::space::{Offset, PatientPoint, VoxelPoint};
use crate::volume::{VolumeError, interpolate};

/// One number a voxel, read by trilinear interpolation.
///
/// Where it stands for a body, it is positive inside and zero at the surface.
#[derive(Clone, Debug, PartialEq)]
pub struct Field {
    grid: Grid,
    values: Vec<f32>,
}

impl Field {
    /// Put values on a lattice, slice by slice, row by row, columns fastest.
    ///
    /// # Errors
    ///
    /// [`VolumeError::VoxelCount`] when the numbers differ.
    pub fn new(grid: Grid, values: Vec<f32>) -> Result<Self, VolumeError> {
        if values.len() != grid.voxel_count() {
            return Err(VolumeError::VoxelCount {
                expected: grid.voxel_count(),
                found: values.len(),
            });
        }
        Ok(Self { grid, values })
    }

    /// Where the values lie.
    pub fn grid(&self) -> &Grid {
        &self.grid
    }

    /// The values, slice by slice.
    pub fn values(&self) -> &[f32] {
        &self.values
    }

    /// The values as an array, axes slice, row, column.
    ///
    /// # Panics
    ///
    /// Never: there are as many values as the lattice has voxels.
    pub fn view(&self) -> ArrayView3<'_, f32> {
        let [columns, rows, slices] = self.grid.size();
        ArrayView3::from_shape((slices, rows, columns), &self.values)
            .expect("a value for every voxel")
    }

    /// The value at a patient position; not-a-number outside the box of voxel
    /// centres.
    #[inline]
    pub fn sample_or_nan(&self, at: PatientPoint) -> f64 {
        self.sample_voxel_or_nan(self.grid.voxel_from_patient(at))
    }

    /// As [`Field::sample_or_nan`], at a lattice position.
    #[inline]
    pub fn sample_voxel_or_nan(&self, at: VoxelPoint) -> f64 {
        interpolate(&self.grid, at, |i| f64::from(self.values[i]))
    }

    /// Gradient at a patient position per mm, by central differences over half
    /// the shortest voxel edge; not-a-number within that of the border.
    pub fn gradient(&self, at: PatientPoint) -> Offset {
        let reach_mm = 0.5 * self.grid.smallest_edge_mm();
        Offset(std::array::from_fn(|axis| {
            let mut step = Offset::ZERO;
            step.0[axis] = reach_mm;
            (self.sample_or_nan(at + step) - self.sample_or_nan(at - step)) / (2.0 * reach_mm)
        }))
    }
}
