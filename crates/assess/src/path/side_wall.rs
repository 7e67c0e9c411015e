//! How much bone is left beside a screw.

use std::f64::consts::TAU;

use pilothole_plan::Screw;
use pilothole_volume::{Direction, PatientPoint};

use super::Path;
use super::axis::{Axis, Trace};
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

/// Directions in a plane: 5° apart; between two of them a flat wall at
/// distance d is overestimated by d(1/cos 2.5° - 1), 0.1 % of it.
const SPOKES: usize = 72;

/// The side wall of a screw of one length, from a diameter past the near end to
/// the tip, or to a diameter before the far end.
///
/// `None` without both ends, and where the bone is too short for a plane.
pub fn side_wall_of(
    scene: &Scene<'_>,
    path: &Path,
    screw: &Screw,
    length_mm: f64,
    params: &PathParams,
) -> Option<SideWall> {
    let (near, far) = (path.near?, path.far?);
    let diameter_mm = screw.major_diameter_mm;
    let planes = [near.at_mm + diameter_mm, length_mm.min(far.at_mm - diameter_mm)];
    let step_mm = 2.0 * params.step_mm(scene.grid());
    side_wall(scene, path.axis, path.crossing.bone, planes, [0.5 * diameter_mm, step_mm])
}

/// Look across the axis in every plane from `from_mm` to `to_mm`.
///
/// `None` when there is no plane. Planes are `step_mm` apart, both ends
/// included. A direction in which the region ends before the surface is met
/// says nothing.
pub fn side_wall(
    scene: &Scene<'_>,
    axis: Axis,
    bone: u8,
    [from_mm, to_mm]: [f64; 2],
    [radius_mm, step_mm]: [f64; 2],
) -> Option<SideWall> {
    if from_mm.is_nan() || to_mm.is_nan() || from_mm > to_mm {
        return None;
    }
    let planes = ((to_mm - from_mm) / step_mm).ceil() as usize;
    let spokes = spokes(axis.direction);
    let mut best: Option<SideWall> = None;
    for plane in 0..=planes {
        let at_mm = if planes == 0 {
            from_mm
        } else {
            from_mm + (to_mm - from_mm) * plane as f64 / planes as f64
        };
        let limit_mm = best.map_or(f64::INFINITY, |b| b.least_mm + radius_mm);
        if let Some((distance_mm, azimuth_rad)) =
            nearest_surface(scene, bone, axis.at(at_mm), &spokes, limit_mm)
        {
            best = Some(SideWall { least_mm: distance_mm - radius_mm, at_mm, azimuth_rad });
        }
    }
    best
}

/// Azimuths, rad, and directions across an axis.
fn spokes(axis: Direction) -> Vec<(f64, Direction)> {
    let (u, v) = axis.across();
    (0..SPOKES)
        .filter_map(|spoke| {
            let azimuth_rad = TAU * spoke as f64 / SPOKES as f64;
            let out = u * azimuth_rad.cos() + v * azimuth_rad.sin();
            Some((azimuth_rad, Direction::along(out)?))
        })
        .collect()
}

/// The nearest point of the surface in one plane, when nearer than the limit:
/// its distance from the axis, mm, and its azimuth, rad.
fn nearest_surface(
    scene: &Scene<'_>,
    bone: u8,
    seat: PatientPoint,
    spokes: &[(f64, Direction)],
    limit_mm: f64,
) -> Option<(f64, f64)> {
    let grid = scene.grid();
    let middle = scene.depth_in_or_nan(bone, seat);
    if middle <= 0.0 {
        return Some((0.0, 0.0));
    }
    let step_mm = 0.5 * grid.smallest_edge_mm();
    let mut limit_mm = limit_mm;
    let mut found = None;
    for (azimuth_rad, direction) in spokes.iter().copied() {
        let spoke = Trace::new(grid, Axis { seat, direction });
        let (mut r, mut before, mut stepwise) = (0.0, middle, false);
        while r < limit_mm && !before.is_nan() {
            // The surface is no nearer than the depth says; half of it is kept
            // for what the depth is off by. Where another bone touches, the
            // depth ends at once: then step by step.
            let mut next_mm = r + if stepwise { step_mm } else { step_mm.max(0.5 * before) };
            let mut here = scene.depth_in_voxel_or_nan(bone, spoke.at(next_mm));
            if here <= 0.0 && next_mm > r + step_mm {
                next_mm = r + step_mm;
                here = scene.depth_in_voxel_or_nan(bone, spoke.at(next_mm));
                stepwise = true;
            }
            if here <= 0.0 {
                let distance = next_mm - (next_mm - r) * here / (here - before);
                if distance < limit_mm {
                    limit_mm = distance;
                    found = Some((distance, azimuth_rad));
                }
                break;
            }
            (r, before) = (next_mm, here);
        }
    }
    found
}
