//! What the pictures of one hole are drawn from.

use pilothole_assess::{HoleResult, Scene};
use pilothole_plan::{FarCortex, Plan, Screw, Side};
use pilothole_volume::{Direction, Offset, PatientPoint};

use crate::record::HoleRecord;

/// One hole, its judgement, and the scan around it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Subject<'a> {
    pub(crate) scene: Scene<'a>,
    pub(crate) plan: &'a Plan,
    pub(crate) result: &'a HoleResult,
    pub(crate) record: &'a HoleRecord,
}

/// Before the seat that a picture begins, mm.
const BEFORE_MM: f64 = 13.0;
/// Past the last thing of interest that it ends, mm.
const AFTER_MM: f64 = 14.0;
/// Shortest and longest picture, mm; a plan's longest screw is far below.
const LENGTH_MM: (f64, f64) = (58.0, 170.0);

impl<'a> Subject<'a> {
    /// The screw of the hole.
    pub(crate) fn screw(&self) -> Option<&'a Screw> {
        self.plan.holes.get(self.result.hole).map(|hole| self.plan.screw_of(hole))
    }

    /// The side operated on.
    pub(crate) fn side(&self) -> Side {
        self.plan.side
    }

    /// Whether the tip is to pass the far cortex.
    pub(crate) fn engages(&self) -> bool {
        self.plan.policy.far_cortex.value == FarCortex::Engage
    }

    /// Where pictures begin and end, mm from the seat.
    pub(crate) fn extent_mm(&self) -> (f64, f64) {
        let ends =
            [self.record.far_cortex_mm, self.record.length_mm, self.record.planned_length_mm];
        let last = ends.into_iter().flatten().fold(0.0, f64::max) + AFTER_MM;
        (-BEFORE_MM, (last + BEFORE_MM).clamp(LENGTH_MM.0, LENGTH_MM.1) - BEFORE_MM)
    }

    /// Radius of the thread, mm.
    pub(crate) fn radius_mm(&self) -> f64 {
        0.5 * self.record.major_diameter_mm
    }

    /// Length at which the screw is drawn, mm.
    pub(crate) fn drawn_length_mm(&self) -> Option<f64> {
        self.record.set_length_mm()
    }

    /// A place beside the path.
    pub(crate) fn beside(&self, along_mm: f64, across: Offset) -> PatientPoint {
        self.result.seat + self.result.direction * along_mm + across
    }

    /// The two directions across the path: azimuths 0° and 90° of every
    /// picture of this hole.
    pub(crate) fn across(&self) -> (Direction, Direction) {
        self.result.direction.across()
    }
}
