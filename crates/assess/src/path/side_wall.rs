//! How much bone is left beside a screw.

use pilothole_plan::Screw;

use super::Path;
use super::axis::Axis;
use super::spokes::Spokes;
use crate::blocks::Blocks;
use crate::params::PathParams;
use crate::scene::Scene;

/// The least distance from a screw's surface to the envelope's, across the
/// axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SideWall {
    /// Distance, mm; negative where the screw breaks out.
    pub least_mm: f64,
    /// Where along the path, mm from the seat.
    pub at_mm: f64,
    /// In which direction, rad, in the frame of `Direction::across`.
    pub azimuth_rad: f64,
}

/// The side wall of a screw of one length, from a diameter past the near end to
/// the tip, or to a diameter before the far end.
///
/// - `blocks`: those of the scene, where many paths are looked at.
///
/// `None` without both ends, and where the bone is too short for a plane.
pub fn side_wall_of(
    scene: &Scene<'_>,
    blocks: Option<&Blocks>,
    path: &Path,
    screw: &Screw,
    length_mm: f64,
    params: &PathParams,
) -> Option<SideWall> {
    let (near, far) = (path.near?, path.far?);
    let diameter_mm = screw.major_diameter_mm;
    let planes = [near.at_mm + diameter_mm, length_mm.min(far.at_mm - diameter_mm)];
    let step_mm = 2.0 * params.step_mm(scene.grid());
    let bone = path.crossing.bone;
    side_wall(scene, blocks, path.axis, bone, planes, [0.5 * diameter_mm, step_mm])
}

/// Look across the axis in every plane from `from_mm` to `to_mm`.
///
/// `None` when there is no plane. Planes are `step_mm` apart, both ends
/// included. A direction in which the region ends before the surface is met
/// says nothing.
pub fn side_wall(
    scene: &Scene<'_>,
    blocks: Option<&Blocks>,
    axis: Axis,
    bone: u8,
    [from_mm, to_mm]: [f64; 2],
    [radius_mm, step_mm]: [f64; 2],
) -> Option<SideWall> {
    if from_mm.is_nan() || to_mm.is_nan() || from_mm > to_mm {
        return None;
    }
    let count = ((to_mm - from_mm) / step_mm).ceil() as usize;
    let at_mm = |plane: usize| {
        if count == 0 { from_mm } else { from_mm + (to_mm - from_mm) * plane as f64 / count as f64 }
    };
    let spokes = Spokes::new(scene, blocks, axis.direction, bone);
    // Where the axis is least deep first: what is found there ends the others
    // early.
    let depth_mm = |plane: usize| spokes.depth_mm(axis.at(at_mm(plane)));
    let mut order: Vec<(f64, usize)> = (0..=count).map(|plane| (depth_mm(plane), plane)).collect();
    order.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut limit_mm = f64::INFINITY;
    let mut nearest: Vec<(usize, f64, f64)> = Vec::new();
    for (_, plane) in order {
        let seat = axis.at(at_mm(plane));
        let within_mm = limit_mm * (1.0 + NEAR_EQUAL);
        if let Some((mm, azimuth_rad)) = spokes.nearest_surface(seat, within_mm) {
            limit_mm = limit_mm.min(mm);
            nearest.push((plane, mm, azimuth_rad));
        }
    }
    // Of planes that are equal but for rounding, the first.
    nearest.sort_unstable_by_key(|(plane, ..)| *plane);
    nearest.into_iter().fold(None, |best: Option<SideWall>, (plane, mm, azimuth_rad)| {
        let least_mm = mm - radius_mm;
        match best {
            Some(best) if mm >= best.least_mm + radius_mm => Some(best),
            _ => Some(SideWall { least_mm, at_mm: at_mm(plane), azimuth_rad }),
        }
    })
}

/// Distances that differ by less than this share are looked at together.
const NEAR_EQUAL: f64 = 1e-9;
