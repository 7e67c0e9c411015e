//! A smooth number at every voxel: a signed depth, a smoothed density.

use rayon::prelude::*;

use crate::grid::Grid;
use crate::space::{Direction, Offset, PatientPoint, VoxelPoint};
use crate::trilinear::interpolate;
use crate::volume::VolumeError;

/// One number a voxel, read by trilinear interpolation.
///
/// Where it stands for a body, it is positive inside and zero at the surface.
#[derive(Clone, Debug, PartialEq)]
pub struct Field {
    grid: Grid,
    numbers: Numbers,
}

/// The numbers of a field, slice by slice, row by row, columns fastest.
#[derive(Clone, Debug, PartialEq)]
pub enum Numbers {
    /// As they are.
    F32(Vec<f32>),
    /// Whole numbers of steps.
    Steps {
        /// For each voxel, how many above the least: where most are the least,
        /// they are plain zeros, and pages of zeros need no memory until
        /// somebody writes there.
        above: Vec<u16>,
        /// The least number of steps.
        least: i16,
        /// What one step is worth.
        step: f32,
    },
}

/// The number that so many steps above the least are.
#[inline]
pub(crate) fn of_steps(above: u16, least: i16, step: f32) -> f32 {
    (i32::from(above) + i32::from(least)) as f32 * step
}

impl Numbers {
    /// The number at a position in the array.
    #[inline]
    pub fn at(&self, at: usize) -> f32 {
        match self {
            Self::F32(all) => all[at],
            Self::Steps { above, least, step } => of_steps(above[at], *least, *step),
        }
    }

    fn len(&self) -> usize {
        match self {
            Self::F32(all) => all.len(),
            Self::Steps { above, .. } => above.len(),
        }
    }
}

impl Field {
    /// Put values on a lattice, slice by slice, row by row, columns fastest.
    ///
    /// # Errors
    ///
    /// [`VolumeError::VoxelCount`] when the numbers differ.
    pub fn new(grid: Grid, values: Vec<f32>) -> Result<Self, VolumeError> {
        Self::of(grid, Numbers::F32(values))
    }

    /// Put numbers on a lattice.
    ///
    /// # Errors
    ///
    /// [`VolumeError::VoxelCount`] when the numbers differ.
    pub fn of(grid: Grid, numbers: Numbers) -> Result<Self, VolumeError> {
        if numbers.len() != grid.voxel_count() {
            return Err(VolumeError::VoxelCount {
                expected: grid.voxel_count(),
                found: numbers.len(),
            });
        }
        Ok(Self { grid, numbers })
    }

    /// Where the values lie.
    pub fn grid(&self) -> &Grid {
        &self.grid
    }

    /// The values, slice by slice.
    pub fn numbers(&self) -> &Numbers {
        &self.numbers
    }

    /// The value of the voxel at a position in the array.
    #[inline]
    pub fn at(&self, at: usize) -> f32 {
        self.numbers.at(at)
    }

    /// Array positions of the values above `low` and below `high`, rising.
    pub fn places_between(&self, low: f32, high: f32) -> Vec<usize> {
        let within = |(at, value): (usize, f32)| (value > low && value < high).then_some(at);
        match &self.numbers {
            Numbers::F32(all) => all.par_iter().copied().enumerate().filter_map(within).collect(),
            Numbers::Steps { above, least, step } => {
                let value = |above: &u16| of_steps(*above, *least, *step);
                above.par_iter().map(value).enumerate().filter_map(within).collect()
            }
        }
    }

    /// Trilinear interpolation at a lattice position of what `change` makes of
    /// each voxel's array position and value; not-a-number outside the box of
    /// voxel centres.
    #[expect(clippy::inline_always, reason = "a place handed over in memory stalls its reading")]
    #[inline(always)]
    pub fn sample_changed_or_nan(&self, at: VoxelPoint, change: impl Fn(usize, f32) -> f32) -> f64 {
        match &self.numbers {
            Numbers::F32(all) => {
                interpolate(&self.grid, at, all, |i, value| f64::from(change(i, value)))
            }
            Numbers::Steps { above, least, step } => {
                interpolate(&self.grid, at, above, |i, above| {
                    f64::from(change(i, of_steps(above, *least, *step)))
                })
            }
        }
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
        self.sample_changed_or_nan(at, |_, value| value)
    }

    /// Gradient at a patient position per mm, by central differences over half
    /// the shortest voxel edge; not-a-number within that of the border.
    pub fn gradient(&self, at: PatientPoint) -> Offset {
        self.gradient_over(at, 0.5 * self.grid.smallest_edge_mm())
    }

    /// Gradient at a patient position per mm, by central differences over a
    /// reach to each side; not-a-number within that of the border.
    pub fn gradient_over(&self, at: PatientPoint, reach_mm: f64) -> Offset {
        Offset(std::array::from_fn(|axis| {
            let mut step = Offset::ZERO;
            step.0[axis] = reach_mm;
            (self.sample_or_nan(at + step) - self.sample_or_nan(at - step)) / (2.0 * reach_mm)
        }))
    }

    /// How far the surface of a field of distances leaves its tangent plane at a
    /// place on it, over a reach: the greatest distance found at four points of
    /// that plane; not-a-number where one lies outside the box of voxel centres.
    pub fn bend_mm(&self, at: PatientPoint, normal: Direction, reach_mm: f64) -> f64 {
        let (first, second) = normal.across();
        [first, second, -first, -second]
            .map(|along| self.sample_or_nan(at + along * reach_mm).abs())
            .into_iter()
            .fold(0.0, |most, mm| if mm.is_nan() || mm > most { mm } else { most })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Depth below the surface of a ball around the origin.
    fn ball(radius_mm: f64) -> Field {
        let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
        let grid =
            Grid::from_axes([41; 3], PatientPoint([-20.0; 3]), axes, [1.0; 3]).expect("a lattice");
        let depth = |at: usize| {
            let index = [at % 41, at / 41 % 41, at / (41 * 41)];
            (radius_mm - (grid.centre_of(index) - PatientPoint([0.0; 3])).length_mm()) as f32
        };
        let numbers = Numbers::F32((0..grid.voxel_count()).map(depth).collect());
        Field::of(grid, numbers).expect("fits")
    }

    #[test]
    fn a_balls_gradient_points_inwards_over_any_reach() {
        let field = ball(12.0);
        let at = PatientPoint([0.0, 7.2, 9.6]);
        for reach_mm in [0.5, 1.5, 3.0] {
            let gradient = field.gradient_over(at, reach_mm);
            let off = (gradient - Offset([0.0, -0.6, -0.8])).length_mm();
            assert!(off < 0.05, "{reach_mm}: {gradient:?}");
        }
    }

    #[test]
    fn a_ball_bends_by_its_sagitta() {
        for radius_mm in [5.0, 10.0, 15.0] {
            let field = ball(radius_mm);
            let top = PatientPoint([0.0, 0.0, radius_mm]);
            let bend_mm = field.bend_mm(top, Direction::SUPERIOR, 2.0);
            let known_mm = radius_mm.hypot(2.0) - radius_mm;
            assert!((bend_mm - known_mm).abs() < 0.06, "{radius_mm}: {bend_mm}, {known_mm}");
        }
        let field = ball(12.0);
        assert!(field.bend_mm(PatientPoint([0.0, 0.0, 20.0]), Direction::LEFT, 30.0).is_nan());
    }
}
