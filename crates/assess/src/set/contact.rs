//! Where the part's surface lies on bone.

use super::model::ContactPatch;
use super::params::{LoadParams, Part};
use super::springs::vector;
use crate::scene::Scene;
use pilothole_volume::{Direction, PatientPoint};

/// Most patches; more are thinned evenly, their areas kept in sum.
const MOST_PATCHES: usize = 600;

/// The part's triangles that lie on the envelope's surface, as patches that
/// press across it.
///
/// - `centre`: the hip centre.
pub(crate) fn contact_patches(
    scene: &Scene<'_>,
    part: &Part,
    centre: PatientPoint,
    params: &LoadParams,
) -> Vec<ContactPatch> {
    let touching: Vec<(PatientPoint, Direction, f64)> = part
        .triangles
        .iter()
        .filter_map(|[a, b, c]| {
            let at = *a + ((*b - *a) + (*c - *a)) * (1.0 / 3.0);
            let depth = scene.depth_or_nan(at);
            if depth.is_nan() || depth.abs() > params.contact_reach_mm {
                return None;
            }
            let into_bone = Direction::along(scene.field.gradient(at))?;
            // Seen from the bone, a triangle counts by the area it shows.
            let doubled = (*b - *a).cross(*c - *a);
            let area_mm2 = 0.5 * doubled.dot(into_bone.offset()).abs();
            Some((at, into_bone, area_mm2))
        })
        .collect();
    let every = touching.len().div_ceil(MOST_PATCHES).max(1);
    touching
        .iter()
        .step_by(every)
        .map(|(at, into_bone, area_mm2)| {
            let n_per_mm = params.contact_n_per_mm3 * area_mm2 * every as f64;
            ContactPatch::new(vector(*at - centre), vector(into_bone.offset()), n_per_mm)
        })
        .collect()
}
