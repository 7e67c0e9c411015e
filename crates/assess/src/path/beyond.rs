//! What lies along the axis past the tip.

use super::Path;
use super::axis::{Axis, Trace};
use crate::blocks::Blocks;
use crate::hole::Beyond;
use crate::params::PathParams;
use crate::scene::Scene;

/// Look on from a position to the end of the scan.
///
/// - `blocks`: those of the scene, where many paths are looked along.
/// - `from_mm`: the tip, or the far end where there is no length; distances
///   count from there.
///
/// Bone counts only once the first bone has been left, and where it is half a
/// voxel's edge or more thick on the axis. Skin is where air
/// begins that goes on for [`PathParams::air_run_mm`] or to the scan's end;
/// shorter stretches are gas inside the body.
pub fn look_beyond(
    scene: &Scene<'_>,
    blocks: Option<&Blocks>,
    path: &Path,
    from_mm: f64,
    params: &PathParams,
) -> Beyond {
    let Path { axis, crossing, profile, .. } = path;
    let axis = *axis;
    let mut beyond = Beyond::default();
    let mut air_from = None;
    let trace = Trace::new(scene.grid(), axis);
    let region_end_mm = leaves_region_mm(scene, axis);
    let left = |t: f64| crossing.leaves_mm.is_some_and(|leaves| t > leaves + profile.step_mm);
    let in_bone = |t: f64| {
        blocks.is_none_or(|blocks| blocks.may_be_bone(trace.at(t)))
            && scene.field.sample_voxel_or_nan(trace.at(t)) > 0.0
    };
    let in_metal = |t: f64| {
        blocks.is_none_or(|blocks| blocks.may_be_metal(trace.at(t)))
            && scene.metal.has_at(scene.grid(), axis.at(t))
    };
    let start = ((from_mm - profile.from_mm) / profile.step_mm).ceil().max(0.0) as usize;
    for index in start..profile.hu.len() {
        let t = profile.position_mm(index);
        let hu = profile.hu[index];
        if hu.is_nan() {
            beyond.scan_end_mm = Some(t - from_mm);
            break;
        }
        let within = t <= region_end_mm;
        if beyond.bone_mm.is_none()
            && left(t)
            && within
            && (index - start).is_multiple_of(2)
            && in_bone(t)
        {
            // Two samples are at most half a voxel's edge apart.
            let before = t - profile.step_mm;
            let first = if index > start && left(before) && in_bone(before) { before } else { t };
            beyond.bone_mm = Some(first - from_mm);
        }
        if beyond.metal_mm.is_none() && (hu >= params.metal_hu || (within && in_metal(t))) {
            beyond.metal_mm = Some(t - from_mm);
        }
        if hu < params.air_hu {
            let began = *air_from.get_or_insert(t);
            if beyond.skin_mm.is_none() && t - began >= params.air_run_mm {
                beyond.skin_mm = Some(began - from_mm);
            }
        } else {
            air_from = None;
        }
    }
    let end_mm = profile.position_mm(profile.hu.len().saturating_sub(1));
    if end_mm < params.reach_mm - profile.step_mm {
        beyond.scan_end_mm.get_or_insert(end_mm - from_mm);
        if let (None, Some(began)) = (beyond.skin_mm, air_from) {
            beyond.skin_mm = Some(began - from_mm);
        }
    }
    beyond
}

/// Position past which an axis is outside the scene's region for good, mm from
/// the seat; there is neither bone nor metal to be found there. At least that,
/// and a voxel more than need be.
fn leaves_region_mm(scene: &Scene<'_>, axis: Axis) -> f64 {
    let grid = scene.grid();
    if grid.slice_places().is_some() {
        // Positions in the lattice are not straight lines then.
        return f64::INFINITY;
    }
    let from = grid.voxel_from_patient(axis.seat).0;
    let to = grid.voxel_from_patient(axis.at(1.0)).0;
    (0..3)
        .map(|i| {
            let speed = to[i] - from[i];
            let border = if speed > 0.0 { grid.size()[i] as f64 } else { -1.0 };
            if speed.abs() > 1e-9 { (border - from[i]) / speed } else { f64::INFINITY }
        })
        .fold(f64::INFINITY, f64::min)
}
