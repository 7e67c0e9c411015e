//! How much of the thread's ring lies inside the bone.

use std::f64::consts::TAU;

use super::axis::Axis;
use crate::scene::Scene;

/// Points around one ring: 15° apart.
const SPOKES: usize = 24;
/// Rings of equal area between core and major radius.
const RINGS: usize = 3;

/// Share, 0 to 1, of the ring from core to major radius that lies in a bone,
/// in the plane at one position.
pub fn ring_share(
    scene: &Scene<'_>,
    axis: Axis,
    bone: u8,
    at_mm: f64,
    [core_mm, major_mm]: [f64; 2],
) -> f64 {
    let (u, v) = axis.direction.across();
    let centre = axis.at(at_mm);
    let mut inside = 0;
    for ring in 0..RINGS {
        let share = (ring as f64 + 0.5) / RINGS as f64;
        let radius = (core_mm.powi(2) + share * (major_mm.powi(2) - core_mm.powi(2))).sqrt();
        for spoke in 0..SPOKES {
            let angle = TAU * (spoke as f64 + 0.5) / SPOKES as f64;
            let at = centre + u * (radius * angle.cos()) + v * (radius * angle.sin());
            inside += usize::from(scene.depth_in_or_nan(bone, at) > 0.0);
        }
    }
    inside as f64 / (RINGS * SPOKES) as f64
}

/// Length of thread from `from_mm` to `to_mm`, each millimetre weighted by
/// [`ring_share`], mm. Midpoint rule at steps of at most `step_mm`.
pub fn engaged_mm(
    scene: &Scene<'_>,
    axis: Axis,
    bone: u8,
    [from_mm, to_mm]: [f64; 2],
    radii_mm: [f64; 2],
    step_mm: f64,
) -> f64 {
    if from_mm.is_nan() || to_mm.is_nan() || from_mm >= to_mm {
        return 0.0;
    }
    let count = ((to_mm - from_mm) / step_mm).ceil() as usize;
    let step = (to_mm - from_mm) / count as f64;
    (0..count)
        .map(|i| ring_share(scene, axis, bone, from_mm + (i as f64 + 0.5) * step, radii_mm) * step)
        .sum()
}
