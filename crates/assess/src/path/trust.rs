//! How much of a purchase the Hounsfield units can be believed.

use std::f64::consts::TAU;

use super::axis::Axis;
use crate::scene::Scene;

/// Points around the thread at one position.
const SPOKES: usize = 12;

/// Fraction of the thread from `from_mm` to `to_mm` outside artefact zones,
/// metal and saturated voxels; axis, core and major radius are looked at.
pub fn trusted_share(
    scene: &Scene<'_>,
    axis: Axis,
    [from_mm, to_mm]: [f64; 2],
    [core_mm, major_mm]: [f64; 2],
    step_mm: f64,
) -> f64 {
    let (u, v) = axis.direction.across();
    let count = ((to_mm - from_mm) / step_mm).ceil().max(1.0) as usize;
    let mut trusted = 0;
    for i in 0..count {
        let centre = axis.at(from_mm + (i as f64 + 0.5) * (to_mm - from_mm) / count as f64);
        for spoke in 0..SPOKES {
            let angle = TAU * spoke as f64 / SPOKES as f64;
            let out = u * angle.cos() + v * angle.sin();
            let bad = [0.0, core_mm, major_mm]
                .into_iter()
                .any(|r| scene.untrusted.has_at(scene.grid(), centre + out * r));
            trusted += usize::from(!bad);
        }
    }
    trusted as f64 / (count * SPOKES) as f64
}
