//! A made pelvis with a worn socket, and a plan for it.
//!
//! Nobody's anatomy: balls, capsules and curved plates put together so that
//! sizes are plausible and every path has an exact answer. The left hip is
//! drawn; the right one is its mirror image. Origin: midway between the hip
//! centres.

mod bones;
mod plan;

use pilothole_volume::{Direction, Grid, GridError, PatientPoint};

use crate::draft::PlanDraft;
use crate::scene::Scene;

pub(crate) use bones::HipNumbers;

/// Half the distance between the hip centres, mm.
const HALF_WIDTH_MM: f64 = 80.0;

/// The scene and the plan; the left hip is the operated one.
pub(crate) fn hip(numbers: &HipNumbers) -> (Scene, PlanDraft) {
    let scene = bones::scene(numbers);
    let draft = plan::draft(&scene);
    (scene, draft)
}

/// The lattice of the built-in demo: 0.9 × 0.9 × 1.25 mm, all of the pelvis.
pub(crate) fn demo_grid() -> Result<Grid, GridError> {
    let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
    let spacing = [0.9, 0.9, 1.25];
    let size = [344, 240, 172];
    let corner = [-154.35, -104.0, -92.0];
    Grid::from_axes(size, PatientPoint(corner), axes, spacing)
}

/// The middle of the demo's box.
pub(crate) fn middle() -> PatientPoint {
    PatientPoint([0.0, 3.5, 15.0])
}
