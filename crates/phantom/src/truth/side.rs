//! Bone beside a screw, in planes across its axis.

use pilothole_plan::Hole;
use pilothole_volume::Direction;

use crate::scene::Scene;

/// Between planes, mm.
const STEP_MM: f64 = 0.5;
/// Rays a plane.
const AROUND: u32 = 144;
/// How far from the axis is looked, mm.
const REACH_MM: f64 = 30.0;

/// Least distance, in planes across the axis, from the screw's surface to the
/// bone's; negative where it breaks out.
///
/// The planes run from one diameter after `near` to `tip`, or to one diameter
/// before `far`; `None` where none is left.
pub(super) fn side_wall_mm(
    scene: &Scene,
    hole: &Hole,
    diameter_mm: f64,
    (near, tip, far): (f64, f64, f64),
) -> Option<f64> {
    let (from, to) = (near + diameter_mm, tip.min(far - diameter_mm));
    if to < from {
        return None;
    }
    let planes = ((to - from) / STEP_MM).ceil().max(1.0) as u32;
    let least = (0..=planes)
        .map(|plane| {
            wall_mm(scene, hole, from + (to - from) * f64::from(plane) / f64::from(planes))
        })
        .fold(f64::INFINITY, f64::min);
    Some(least - diameter_mm / 2.0)
}

/// Distance of the axis from the bone's surface in the plane at `t`, mm;
/// negative outside bone.
fn wall_mm(scene: &Scene, hole: &Hole, t: f64) -> f64 {
    let (u, v) = hole.direction.across();
    let centre = hole.seat + hole.direction * t;
    let nearby = scene.around(centre, REACH_MM);
    let inside = nearby.tissue_at(centre).in_bone();
    let rays = (0..AROUND).filter_map(|step| {
        let turn = std::f64::consts::TAU * f64::from(step) / f64::from(AROUND);
        let ray = Direction::along(u * turn.cos() + v * turn.sin())?;
        let bone = nearby.bone_along(centre, ray, REACH_MM);
        let (from, to) = bone.first().copied().unwrap_or((REACH_MM, REACH_MM));
        Some(if inside { to } else { from })
    });
    let nearest = rays.fold(REACH_MM, f64::min);
    if inside { nearest } else { -nearest }
}
