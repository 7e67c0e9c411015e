//! How much bone is left beside a screw.

use std::f64::consts::TAU;

use pilothole_plan::Screw;
use pilothole_volume::{Direction, Grid, PatientPoint, VoxelPoint};

use super::Path;
use super::axis::Axis;
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

/// Directions in a plane: 5° apart; between two of them a flat wall at
/// distance d is overestimated by d(1/cos 2.5° - 1), 0.1 % of it.
const SPOKES: usize = 72;

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
    let spokes = spokes(scene.grid(), axis.direction);
    // Where the axis is least deep first: what is found there ends the others
    // early.
    let depth_at = |at: VoxelPoint| {
        let known = blocks.and_then(|blocks| blocks.depth_deep_in(bone, at));
        known.unwrap_or_else(|| scene.depth_in_voxel_or_nan(bone, at))
    };
    let depth_mm = |plane: usize| depth_at(scene.grid().voxel_from_patient(axis.at(at_mm(plane))));
    let mut order: Vec<(f64, usize)> = (0..=count).map(|plane| (depth_mm(plane), plane)).collect();
    order.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut limit_mm = f64::INFINITY;
    let mut nearest: Vec<(usize, f64, f64)> = Vec::new();
    for (_, plane) in order {
        let seat = axis.at(at_mm(plane));
        let within_mm = limit_mm * (1.0 + NEAR_EQUAL);
        if let Some((mm, azimuth_rad)) =
            nearest_surface(scene.grid(), depth_at, seat, &spokes, within_mm)
        {
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

/// A direction across an axis.
struct Spoke {
    azimuth_rad: f64,
    direction: Direction,
    /// What a millimetre adds in the lattice.
    per_mm: [f64; 3],
}

fn spokes(grid: &Grid, axis: Direction) -> Vec<Spoke> {
    let (u, v) = axis.across();
    (0..SPOKES)
        .filter_map(|spoke| {
            let azimuth_rad = TAU * spoke as f64 / SPOKES as f64;
            let out = u * azimuth_rad.cos() + v * azimuth_rad.sin();
            let direction = Direction::along(out)?;
            let per_mm = grid.voxels_along(direction.offset());
            Some(Spoke { azimuth_rad, direction, per_mm })
        })
        .collect()
}

/// How far a spoke has been followed.
#[derive(Clone, Copy)]
struct Followed {
    spoke: usize,
    /// Where the last look was, mm from the axis, and the depth there.
    at_mm: f64,
    depth_mm: f64,
    /// Whether a longer step ended outside: then step by step.
    stepwise: bool,
}

/// The nearest point of the surface in one plane, when nearer than the limit:
/// its distance from the axis, mm, and its azimuth, rad.
///
/// All spokes are followed together, a look each in turn: looks that do not
/// wait for each other, and a near surface ends the others early.
fn nearest_surface(
    grid: &Grid,
    depth_at: impl Fn(VoxelPoint) -> f64,
    seat: PatientPoint,
    spokes: &[Spoke],
    limit_mm: f64,
) -> Option<(f64, f64)> {
    let from = grid.voxel_from_patient(seat);
    let middle = depth_at(from);
    if middle <= 0.0 {
        return Some((0.0, 0.0));
    }
    if middle.is_nan() {
        return None;
    }
    let even = grid.slice_places().is_none();
    let look = |spoke: usize, mm: f64| {
        let Spoke { direction, per_mm, .. } = &spokes[spoke];
        let at = if even {
            VoxelPoint(std::array::from_fn(|i| from.0[i] + per_mm[i] * mm))
        } else {
            grid.voxel_from_patient(seat + *direction * mm)
        };
        depth_at(at)
    };
    let step_mm = 0.5 * grid.smallest_edge_mm();
    let mut limit_mm = limit_mm;
    let mut found: Option<usize> = None;
    let mut on_the_way: Vec<Followed> = (0..spokes.len())
        .map(|spoke| Followed { spoke, at_mm: 0.0, depth_mm: middle, stepwise: false })
        .collect();
    while !on_the_way.is_empty() {
        on_the_way.retain_mut(|followed| {
            let Followed { spoke, at_mm, depth_mm, stepwise } = *followed;
            if at_mm >= limit_mm {
                return false;
            }
            // The surface is no nearer than the depth says; half of it is kept
            // for what the depth is off by. Where another bone touches, the
            // depth ends at once: then step by step.
            let stride_mm = if stepwise { step_mm } else { step_mm.max(0.5 * depth_mm) };
            let mut next_mm = at_mm + stride_mm;
            let mut here = look(spoke, next_mm);
            if here <= 0.0 && next_mm > at_mm + step_mm {
                next_mm = at_mm + step_mm;
                here = look(spoke, next_mm);
                followed.stepwise = true;
            }
            if here <= 0.0 {
                let distance = next_mm - (next_mm - at_mm) * here / (here - depth_mm);
                // Of equals the first azimuth.
                let ties = distance.total_cmp(&limit_mm).is_eq()
                    && found.is_some_and(|first| spoke < first);
                if distance < limit_mm || ties {
                    limit_mm = distance;
                    found = Some(spoke);
                }
                return false;
            }
            (followed.at_mm, followed.depth_mm) = (next_mm, here);
            !here.is_nan()
        });
    }
    found.map(|spoke| (limit_mm, spokes[spoke].azimuth_rad))
}
