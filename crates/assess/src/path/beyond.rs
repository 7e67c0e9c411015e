//! What lies along the axis past the tip.

use pilothole_volume::VoxelPoint;

use super::Path;
use super::axis::{Axis, Trace};
use super::profile::{Reading, sample_profile};
use crate::blocks::Blocks;
use crate::hole::{Beyond, Profile};
use crate::params::PathParams;
use crate::plain::{Kind, Plain};
use crate::scene::Scene;

/// What is known of a scan's blocks, where many paths are looked along.
#[derive(Debug)]
pub(crate) struct Known {
    pub(crate) blocks: Option<Blocks>,
    pub(crate) plain: Option<Plain>,
}

/// Look on from a position to the end of the scan.
///
/// - `from_mm`: the tip, or the far end where there is no length; distances
///   count from there.
///
/// Bone counts only once the first bone has been left, and where it is half a
/// voxel's edge or more thick on the axis. Skin is where air
/// begins that goes on for [`PathParams::air_run_mm`] or to the scan's end;
/// shorter stretches are gas inside the body.
pub fn look_beyond(scene: &Scene<'_>, path: &Path, from_mm: f64, params: &PathParams) -> Beyond {
    look(scene, path, &path.profile, from_mm, params, None).unwrap_or_default()
}

/// As [`look_beyond`], where the path's profile may end early; looks whose
/// answer is known are not taken.
pub(crate) fn look_beyond_known(
    scene: &Scene<'_>,
    path: &Path,
    from_mm: f64,
    params: &PathParams,
    known: &Known,
) -> Beyond {
    look(scene, path, &path.profile, from_mm, params, Some(known)).unwrap_or_else(|| {
        let profile = sample_profile(scene, path.axis, params);
        look(scene, path, &profile, from_mm, params, None).unwrap_or_default()
    })
}

/// What lies beyond; `None` where only a whole profile tells. A profile is
/// taken for whole unless there is something `known`.
fn look(
    scene: &Scene<'_>,
    path: &Path,
    profile: &Profile,
    from_mm: f64,
    params: &PathParams,
    known: Option<&Known>,
) -> Option<Beyond> {
    let Path { axis, crossing, .. } = path;
    let axis = *axis;
    let mut beyond = Beyond::default();
    let mut air_from = None;
    let trace = Trace::new(scene.grid(), axis);
    let blocks = known.and_then(|known| known.blocks.as_ref());
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
    let reading = Reading::new(scene, axis, params);
    let plain = known.and_then(|known| known.plain.as_ref());
    let mut end = if known.is_some() { reading.count } else { profile.hu.len() };
    let start = ((from_mm - profile.from_mm) / profile.step_mm).ceil().max(0.0) as usize;
    if known.is_some() && start >= end {
        return None;
    }
    let mut index = start;
    while index < end {
        let t = profile.position_mm(index);
        let (hu, alike_mm) = match profile.hu.get(index) {
            Some(hu) => (*hu, 0.0),
            None => look_once(scene, reading.at(index), plain.zip(trace.per_mm()), params),
        };
        if hu.is_nan() && known.is_some() {
            // Out of the lattice after being in it: nothing follows.
            if index == start || scene.volume.grid().holds(reading.at(index)) {
                return None;
            }
            end = index;
            break;
        }
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
        let is_air = hu < params.air_hu;
        if is_air {
            let began = *air_from.get_or_insert(t);
            if beyond.skin_mm.is_none() && t - began >= params.air_run_mm {
                beyond.skin_mm = Some(began - from_mm);
            }
        } else {
            air_from = None;
        }
        if alike_mm > 0.0 && (!is_air || beyond.skin_mm.is_some()) {
            let bare = blocks.zip(trace.per_mm()).filter(|_| within);
            let bare_mm = bare.map(|(blocks, per_mm)| blocks.bare_mm(trace.at(t), per_mm));
            let clear_mm = alike_mm.min(bare_mm.unwrap_or(if within { 0.0 } else { alike_mm }));
            index += ((clear_mm - SAFE_MM) / profile.step_mm).max(0.0) as usize;
        }
        index += 1;
    }
    let end_mm = profile.position_mm(end.saturating_sub(1));
    if end_mm < params.reach_mm - profile.step_mm {
        beyond.scan_end_mm.get_or_insert(end_mm - from_mm);
        if let (None, Some(began)) = (beyond.skin_mm, air_from) {
            beyond.skin_mm = Some(began - from_mm);
        }
    }
    Some(beyond)
}

/// Samples that need not be looked at end this much before what is known does,
/// mm; far more than positions round.
const SAFE_MM: f64 = 1e-6;

/// Hounsfield units at a lattice position of the scan, or what stands for them
/// in tissue and in air; and how far on that holds, mm.
#[inline]
fn look_once(
    scene: &Scene<'_>,
    at: VoxelPoint,
    plain: Option<(&Plain, [f64; 3])>,
    params: &PathParams,
) -> (f64, f64) {
    match plain.map(|(plain, per_mm)| plain.around(at, per_mm)) {
        Some((Kind::Tissue, far_mm)) => (f64::midpoint(params.air_hu, params.metal_hu), far_mm),
        Some((Kind::Air, far_mm)) => (f64::NEG_INFINITY, far_mm),
        _ => (scene.volume.sample_voxel_or_nan(at), 0.0),
    }
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
