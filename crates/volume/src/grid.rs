//! Where the voxels of a volume lie in the patient.

use crate::region::Region;
use crate::space::{Direction, Offset, PatientPoint, VoxelPoint};

/// A lattice of voxels: its size, and its place in the patient.
///
/// Columns and rows are evenly spaced; the lattice may be oblique, and sheared
/// (a tilted gantry moves each slice within its own plane). Slices may be
/// unevenly spaced: slice `k` lies at `origin + place[k] * slice_step`.
///
/// Invariant, checked by [`Grid::new`]: no axis is empty, the steps are finite
/// and span a volume, and the places rise strictly from 0.
#[derive(Clone, Debug, PartialEq)]
pub struct Grid {
    size: [usize; 3],
    /// Of the last voxel along each axis.
    last: [f64; 3],
    origin: PatientPoint,
    steps: [Offset; 3],
    /// Rows of the inverse of the matrix whose columns are `steps`.
    inverse: [Offset; 3],
    places: Option<Vec<f64>>,
}

impl Grid {
    /// Least volume of one voxel relative to the product of its edges.
    ///
    /// 0.05 is a shear of 87°, far beyond any gantry (30°); below it the
    /// lattice is a mistake and the inverse loses digits.
    pub const MIN_RELATIVE_VOLUME: f64 = 0.05;

    /// Largest cosine between two axes of a lattice that counts as orthogonal.
    ///
    /// Direction cosines come as decimal strings of at most 16 characters, so
    /// an honest header is better than 1e-6; 1e-4 over 500 mm is 0.05 mm.
    pub const ORTHOGONAL_TOLERANCE: f64 = 1e-4;

    /// Place a lattice in the patient.
    ///
    /// - `size`: number of voxels along columns, rows, slices.
    /// - `origin`: centre of voxel (0, 0, 0), mm, LPS.
    /// - `steps`: from a voxel to the next along column, row, slice index, mm.
    ///
    /// # Errors
    ///
    /// [`GridError`] names the first invariant that fails, with the number
    /// that was measured.
    ///
    /// # References
    ///
    /// DICOM PS3.3, C.7.6.2.1.1, equation C.7.6.2.1-1.
    pub fn new(
        size: [usize; 3],
        origin: PatientPoint,
        steps: [Offset; 3],
    ) -> Result<Self, GridError> {
        for axis in 0..3 {
            if size[axis] == 0 {
                return Err(GridError::EmptyAxis { axis });
            }
            let step_mm = steps[axis].length_mm();
            if !(step_mm.is_finite() && step_mm > 0.0) {
                return Err(GridError::Step { axis, step_mm });
            }
        }
        if !origin.is_finite() {
            return Err(GridError::Origin);
        }
        let volume = steps[0].cross(steps[1]).dot(steps[2]);
        let edges: f64 = steps.iter().map(|s| s.length_mm()).product();
        let relative = volume.abs() / edges;
        if relative < Self::MIN_RELATIVE_VOLUME {
            return Err(GridError::Flat { relative, limit: Self::MIN_RELATIVE_VOLUME });
        }
        let inverse = [
            steps[1].cross(steps[2]) * (1.0 / volume),
            steps[2].cross(steps[0]) * (1.0 / volume),
            steps[0].cross(steps[1]) * (1.0 / volume),
        ];
        Ok(Self { size, last: last_of(size), origin, steps, inverse, places: None })
    }

    /// Place a lattice by unit axes and spacings, as DICOM headers state it.
    ///
    /// # Errors
    ///
    /// As [`Grid::new`].
    pub fn from_axes(
        size: [usize; 3],
        origin: PatientPoint,
        axes: [Direction; 3],
        spacing_mm: [f64; 3],
    ) -> Result<Self, GridError> {
        Self::new(size, origin, std::array::from_fn(|i| axes[i] * spacing_mm[i]))
    }

    /// The same lattice with slices at places of their own.
    ///
    /// - `places`: for each slice, its distance from the first one in units of
    ///   the slice step; rises strictly from 0.
    ///
    /// # Errors
    ///
    /// [`GridError::Places`] when there is not one place a slice, the first is
    /// not 0, or they do not rise.
    pub fn with_slice_places(mut self, places: Vec<f64>) -> Result<Self, GridError> {
        let rises = places.windows(2).all(|w| w[1] > w[0] && w[1].is_finite());
        if places.len() != self.size[2] || places[0] != 0.0 || !rises {
            return Err(GridError::Places { expected: self.size[2], found: places.len() });
        }
        let even = places.iter().enumerate().all(|(k, place)| (place - k as f64).abs() < 1e-9);
        self.places = (!even).then_some(places);
        Ok(self)
    }

    /// Number of voxels along columns, rows, slices.
    #[inline]
    pub fn size(&self) -> [usize; 3] {
        self.size
    }

    /// Number of voxels in all.
    pub fn voxel_count(&self) -> usize {
        self.size.iter().product()
    }

    /// Centre of voxel (0, 0, 0).
    pub fn origin(&self) -> PatientPoint {
        self.origin
    }

    /// From a voxel to the next along column, row and slice index, mm; along
    /// slices the unit of [`Grid::slice_places`].
    pub fn steps(&self) -> [Offset; 3] {
        self.steps
    }

    /// Places of the slices in units of the slice step; `None` when even.
    pub fn slice_places(&self) -> Option<&[f64]> {
        self.places.as_deref()
    }

    /// Distance between neighbouring voxel centres along each axis, mm; along
    /// slices the mean.
    pub fn spacing_mm(&self) -> [f64; 3] {
        let mut spacing: [f64; 3] = std::array::from_fn(|i| self.steps[i].length_mm());
        if let Some(places) = &self.places
            && let Some(last) = places.last()
        {
            spacing[2] *= last / (places.len() - 1) as f64;
        }
        spacing
    }

    /// Shortest distance between neighbouring voxel centres, mm.
    pub fn smallest_edge_mm(&self) -> f64 {
        let mut slice = self.steps[2].length_mm();
        if let Some(places) = &self.places {
            slice *= places.windows(2).map(|w| w[1] - w[0]).fold(f64::INFINITY, f64::min);
        }
        slice.min(self.steps[0].length_mm()).min(self.steps[1].length_mm())
    }

    /// Volume of one voxel, mm³; of the mean one where slices are uneven.
    pub fn voxel_mm3(&self) -> f64 {
        let one = self.steps[0].cross(self.steps[1]).dot(self.steps[2]).abs();
        one * self.spacing_mm()[2] / self.steps[2].length_mm()
    }

    /// Whether the three axes are square to each other, to
    /// [`Grid::ORTHOGONAL_TOLERANCE`].
    pub fn is_orthogonal(&self) -> bool {
        [(0, 1), (0, 2), (1, 2)].into_iter().all(|(a, b)| {
            let cosine = self.steps[a].dot(self.steps[b])
                / (self.steps[a].length_mm() * self.steps[b].length_mm());
            cosine.abs() < Self::ORTHOGONAL_TOLERANCE
        })
    }

    /// Length of path, mm, over which the lattice position moves by one voxel.
    pub fn voxel_step_mm(&self, direction: Direction) -> f64 {
        let stretch = self.spacing_mm()[2] / self.steps[2].length_mm();
        let mut moved = self.inverse.map(|row| row.dot(direction.offset()));
        moved[2] /= stretch;
        1.0 / Offset(moved).length_mm()
    }

    /// Patient position, mm, of a position in the lattice; beyond the last
    /// slices the outermost spacing goes on.
    pub fn patient_from_voxel(&self, voxel: VoxelPoint) -> PatientPoint {
        let [column, row, slice] = voxel.0;
        self.origin
            + self.steps[0] * column
            + self.steps[1] * row
            + self.steps[2] * self.place_from_slice(slice)
    }

    /// Patient position, mm, of a voxel's centre.
    pub fn centre_of(&self, index: [usize; 3]) -> PatientPoint {
        self.patient_from_voxel(VoxelPoint(index.map(|i| i as f64)))
    }

    /// Lattice position of a patient position; may lie outside the volume.
    #[inline]
    pub fn voxel_from_patient(&self, patient: PatientPoint) -> VoxelPoint {
        let offset = patient - self.origin;
        let [column, row, place] = &self.inverse;
        let slice = self.slice_from_place(place.dot(offset));
        VoxelPoint([column.dot(offset), row.dot(offset), slice])
    }

    /// How far an offset leads in the lattice, voxels; along slices in units of
    /// the slice step, which are slices where these are even.
    #[inline]
    pub fn voxels_along(&self, offset: Offset) -> [f64; 3] {
        let [column, row, slice] = &self.inverse;
        [column.dot(offset), row.dot(offset), slice.dot(offset)]
    }

    /// Whether a lattice position lies within the box of voxel centres, where
    /// trilinear interpolation needs no voxel that is not there.
    #[inline]
    pub fn holds(&self, voxel: VoxelPoint) -> bool {
        let within = |i: usize| voxel.0[i] >= 0.0 && voxel.0[i] <= self.last[i];
        within(0) && within(1) && within(2)
    }

    /// Positions of the last voxel along each axis.
    #[inline]
    pub(crate) fn last(&self) -> [f64; 3] {
        self.last
    }

    /// Position of a voxel in the voxel array (slice, row, column order).
    #[inline]
    pub fn offset_of(&self, index: [usize; 3]) -> usize {
        (index[2] * self.size[1] + index[1]) * self.size[0] + index[0]
    }

    /// The lattice of a box of this one's voxels.
    #[must_use]
    pub fn within(&self, region: Region) -> Self {
        let places = self.places.as_ref().map(|all| {
            let first = all[region.from()[2]];
            all[region.from()[2]..region.to()[2]].iter().map(|place| place - first).collect()
        });
        Self {
            size: region.size(),
            last: last_of(region.size()),
            origin: self.centre_of(region.from()),
            steps: self.steps,
            inverse: self.inverse,
            places,
        }
    }

    fn place_from_slice(&self, slice: f64) -> f64 {
        let Some(places) = &self.places else { return slice };
        let segment = (slice.floor().max(0.0) as usize).min(places.len().saturating_sub(2));
        match places.get(segment + 1) {
            Some(next) => places[segment] + (slice - segment as f64) * (next - places[segment]),
            None => slice,
        }
    }

    #[inline]
    fn slice_from_place(&self, place: f64) -> f64 {
        let Some(places) = &self.places else { return place };
        let above = places.partition_point(|p| *p <= place);
        let segment = above.saturating_sub(1).min(places.len().saturating_sub(2));
        match places.get(segment + 1) {
            Some(next) => segment as f64 + (place - places[segment]) / (next - places[segment]),
            None => place,
        }
    }
}

/// Positions of the last voxel of a box along its axes.
fn last_of(size: [usize; 3]) -> [f64; 3] {
    size.map(|count| count as f64 - 1.0)
}

/// Why a [`Grid`] could not be made.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum GridError {
    /// There are no voxels along an axis.
    #[error("axis {axis} (0 columns, 1 rows, 2 slices) has no voxels")]
    EmptyAxis {
        /// 0 columns, 1 rows, 2 slices.
        axis: usize,
    },
    /// A step is zero or not a number.
    #[error("step along axis {axis} is {step_mm} mm, expected above 0")]
    Step {
        /// 0 columns, 1 rows, 2 slices.
        axis: usize,
        /// The refused length, mm.
        step_mm: f64,
    },
    /// The origin is not finite.
    #[error("the position of the first voxel is not a finite number")]
    Origin,
    /// The axes do not span a volume.
    #[error("a voxel spans {relative:.1e} of the product of its edges, expected {limit} or more")]
    Flat {
        /// Volume of a voxel divided by the product of its edges.
        relative: f64,
        /// Least accepted value.
        limit: f64,
    },
    /// Slice places are not one a slice, rising strictly from 0.
    #[error("{found} slice places for {expected} slices, or they do not rise from 0")]
    Places {
        /// Number of slices.
        expected: usize,
        /// Number of places.
        found: usize,
    },
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A slanted, sheared lattice with slices 0.7 mm apart on average.
    fn slanted(angle_rad: f64) -> Grid {
        let (s, c) = angle_rad.sin_cos();
        let steps = [Offset([0.4 * c, 0.4 * s, 0.0]), Offset([-0.5 * s, 0.5 * c, 0.0])];
        let slice = Offset([0.05, 0.2, 0.7]);
        Grid::new([64, 48, 4], PatientPoint([-12.0, 30.0, -400.0]), [steps[0], steps[1], slice])
            .expect("spans a volume")
            .with_slice_places(vec![0.0, 0.8, 2.0, 3.0])
            .expect("places rise")
    }

    #[test]
    fn the_standards_worked_positions_come_out() {
        // DICOM PS3.3 C.7.6.2.1-1; values equal highdicom's PixelToReferenceTransformer.
        // Columns: position, row cosines, column cosines, spacing (rows, columns), index, answer.
        type Row = ([f64; 3], [f64; 3], [f64; 3], [f64; 2], [f64; 2], [f64; 3]);
        let rows: [Row; 4] = [
            (
                [56.0, 34.2, 1.0],
                [1.0, 0.0, 0.0],
                [0.0, 1.0, 0.0],
                [0.5, 0.5],
                [0.0, 10.0],
                [56.0, 39.2, 1.0],
            ),
            (
                [56.0, 34.2, 1.0],
                [1.0, 0.0, 0.0],
                [0.0, 1.0, 0.0],
                [0.5, 0.5],
                [5.0, 5.0],
                [58.5, 36.7, 1.0],
            ),
            (
                [-100.0, -120.0, 50.0],
                [0.8, 0.6, 0.0],
                [0.0, 0.0, -1.0],
                [0.5, 0.75],
                [10.0, 20.0],
                [-94.0, -115.5, 40.0],
            ),
            (
                [-158.135_803, -179.035_797, -75.699_997],
                [1.0, 0.0, 0.0],
                [0.0, 1.0, 0.0],
                [0.661_468, 0.661_468],
                [3.0, 5.0],
                [-156.151_399, -175.728_457, -75.699_997],
            ),
        ];
        for (position, x, y, spacing, index, expected) in rows {
            let x = Direction::along(Offset(x)).expect("unit");
            let y = Direction::along(Offset(y)).expect("unit");
            let z = Direction::along(x.offset().cross(y.offset())).expect("unit");
            let grid = Grid::from_axes(
                [32, 32, 2],
                PatientPoint(position),
                [x, y, z],
                [spacing[1], spacing[0], 1.0],
            )
            .expect("orthogonal");
            let found = grid.patient_from_voxel(VoxelPoint([index[0], index[1], 0.0]));
            for (axis, want) in expected.iter().enumerate() {
                assert!((found.0[axis] - want).abs() < 1e-6, "{found:?} != {expected:?}");
            }
        }
    }

    #[test]
    fn there_and_back_is_home() {
        for step in 0..100 {
            let grid = slanted(f64::from(step) * 0.063);
            let voxel = VoxelPoint([f64::from(step), 47.5, f64::from(step) * 0.05 - 1.25]);
            let back = grid.voxel_from_patient(grid.patient_from_voxel(voxel));
            for axis in 0..3 {
                assert!((back.0[axis] - voxel.0[axis]).abs() < 1e-9, "{back:?} != {voxel:?}");
            }
        }
    }

    #[test]
    fn a_part_of_a_lattice_keeps_its_place() {
        let grid = slanted(0.4);
        let region = Region::new([3, 5, 1], [10, 9, 4]).expect("not empty");
        let part = grid.within(region);
        let (a, b) = (grid.centre_of([4, 7, 3]), part.centre_of([1, 2, 2]));
        assert!(a.distance_mm(b) < 1e-9, "{a:?} != {b:?}");
    }

    #[test]
    fn a_flat_lattice_is_refused_with_its_number() {
        let steps = [Offset([1.0, 0.0, 0.0]), Offset([0.0, 1.0, 0.0]), Offset([1.0, 0.0, 0.01])];
        let refused = Grid::new([2; 3], PatientPoint([0.0; 3]), steps);
        assert!(matches!(refused, Err(GridError::Flat { relative, .. }) if relative < 0.011));
    }

    #[test]
    fn an_oblique_path_counts_voxels() {
        let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
        let grid = Grid::from_axes([9; 3], PatientPoint([0.0; 3]), axes, [1.0, 1.0, 3.0])
            .expect("orthogonal");
        assert!((grid.voxel_step_mm(Direction::SUPERIOR) - 3.0).abs() < 1e-12);
        let slant = Direction::along(Offset([1.0, 0.0, 3.0])).expect("unit");
        assert!((grid.voxel_step_mm(slant) - (10.0_f64 / 2.0).sqrt()).abs() < 1e-12);
    }
}
