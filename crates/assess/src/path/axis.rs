//! The line of a path.

use pilothole_volume::{Direction, Grid, PatientPoint, VoxelPoint};

/// A half-line in the patient: from the seat, into bone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Axis {
    /// Where the underside of the head seats; position 0.
    pub seat: PatientPoint,
    /// Direction in which positions grow.
    pub direction: Direction,
}

impl Axis {
    /// The point at a position, mm from the seat; negative before it.
    #[inline]
    pub fn at(&self, position_mm: f64) -> PatientPoint {
        self.seat + self.direction * position_mm
    }
}

/// An axis in a lattice, for many looks along it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Trace<'a> {
    grid: &'a Grid,
    axis: Axis,
    /// The seat, and what a millimetre adds, where the lattice is even.
    line: Option<[[f64; 3]; 2]>,
}

impl<'a> Trace<'a> {
    pub(crate) fn new(grid: &'a Grid, axis: Axis) -> Self {
        let line = grid.slice_places().is_none().then(|| {
            [grid.voxel_from_patient(axis.seat).0, grid.voxels_along(axis.direction.offset())]
        });
        Self { grid, axis, line }
    }

    /// What a millimetre adds in the lattice; `None` where that is uneven.
    pub(crate) fn per_mm(&self) -> Option<[f64; 3]> {
        self.line.map(|[_, per_mm]| per_mm)
    }

    /// The lattice position at a position, mm from the seat.
    #[inline]
    pub(crate) fn at(&self, position_mm: f64) -> VoxelPoint {
        match &self.line {
            Some([from, per_mm]) => VoxelPoint([
                from[0] + per_mm[0] * position_mm,
                from[1] + per_mm[1] * position_mm,
                from[2] + per_mm[2] * position_mm,
            ]),
            None => self.grid.voxel_from_patient(self.axis.at(position_mm)),
        }
    }
}
