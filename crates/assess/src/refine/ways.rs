//! The ways of a drill, as a set's access judges them.

use pilothole_plan::Plan;
use pilothole_volume::{Direction, PatientPoint};

use super::params::Corridors;
use crate::hole::HoleResult;
use crate::scene::Scene;
use crate::set::SetParams;
use crate::set::access;
use crate::set::corridor::{Corridor, Surroundings};

/// Corridors by the rules of [`crate::set::judge_set`]: clear of the bones that
/// most holes enter, of the component, of what is solid beyond the skin, and
/// within the wound's cone.
#[derive(Clone, Debug)]
pub struct DrillWays<'a> {
    around: Surroundings<'a>,
}

impl<'a> DrillWays<'a> {
    /// The ways of a plan's drill.
    ///
    /// - `holes`: what is known about each, as for [`crate::set::judge_set`];
    ///   the bones they enter are those that block.
    pub fn new(
        scene: &'a Scene<'a>,
        plan: &Plan,
        holes: &[HoleResult],
        params: &'a SetParams,
    ) -> Self {
        let part = params.part.as_ref();
        Self { around: Surroundings::new(scene, plan, holes, part, &params.access) }
    }
}

impl Corridors for DrillWays<'_> {
    fn reaches(&self, _hole: usize, seat: PatientPoint, direction: Direction) -> bool {
        Corridor::new(seat, direction, &self.around).is_clear(&self.around)
    }

    fn nearest_free(&self, seat: PatientPoint, direction: Direction) -> Option<Direction> {
        access::free(seat, direction, &self.around).map(|(_, free)| free)
    }
}
