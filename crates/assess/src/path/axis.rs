//! The line of a path.

use pilothole_volume::{Direction, PatientPoint};

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
