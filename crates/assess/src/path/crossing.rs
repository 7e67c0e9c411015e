//! Where an axis crosses the bone's envelope.

use super::axis::{Axis, Trace};
use crate::params::PathParams;
use crate::scene::Scene;

/// First entry into and first exit from the envelope, by the field alone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crossing {
    /// The bone entered; 0 when none is.
    pub bone: u8,
    /// First entry, mm from the seat; `None` when no bone is met.
    pub enters_mm: Option<f64>,
    /// First exit from that bone, mm; `None` when the scan ends before.
    pub leaves_mm: Option<f64>,
    /// Depth of the seat in bone, mm; 0 or less when it is outside.
    pub seat_depth_mm: f64,
    /// How far the path could be followed, mm from the seat.
    pub seen_to_mm: f64,
    /// Another bone that begins where this one ends, without a gap.
    pub touches_bone: Option<u8>,
}

/// Halvings when a crossing is located: 0.25 mm / 2^12 is below a tenth of a
/// micrometre.
const HALVINGS: usize = 12;

/// Follow an axis from the seat to its first entry and exit.
pub fn cross(scene: &Scene<'_>, axis: Axis, params: &PathParams) -> Crossing {
    let step_mm = params.step_mm(scene.grid());
    let trace = Trace::new(scene.grid(), axis);
    let any = |t: f64| scene.field.sample_voxel_or_nan(trace.at(t));
    let seat_depth_mm = any(0.0);
    let mut crossing = Crossing {
        bone: 0,
        enters_mm: None,
        leaves_mm: None,
        seat_depth_mm,
        seen_to_mm: 0.0,
        touches_bone: None,
    };
    let Some(enters_mm) = first_inside(&any, step_mm, params.reach_mm, &mut crossing.seen_to_mm)
    else {
        return crossing;
    };
    crossing.enters_mm = Some(enters_mm);
    crossing.bone = bone_entered(scene, axis, enters_mm, step_mm);
    let bone = crossing.bone;
    let own = |t: f64| scene.depth_in_voxel_or_nan(bone, trace.at(t));
    leave(scene, axis, &own, &mut crossing, [step_mm, params.reach_mm, params.touch_mm]);
    crossing
}

/// The first position from the seat on where the depth is positive.
fn first_inside(
    depth: &impl Fn(f64) -> f64,
    step_mm: f64,
    reach_mm: f64,
    seen_to_mm: &mut f64,
) -> Option<f64> {
    let mut before = 0.0;
    let mut t = 0.0;
    while t <= reach_mm {
        let here = depth(t);
        if here.is_nan() {
            return None;
        }
        *seen_to_mm = t;
        if here > 0.0 {
            return Some(if t > 0.0 { halve(before, t, |x| depth(x) > 0.0) } else { 0.0 });
        }
        before = t;
        t += step_mm;
    }
    None
}

fn leave(
    scene: &Scene<'_>,
    axis: Axis,
    own: &impl Fn(f64) -> f64,
    crossing: &mut Crossing,
    [step_mm, reach_mm, touch_mm]: [f64; 3],
) {
    let Some(enters_mm) = crossing.enters_mm else { return };
    let mut inside = enters_mm;
    let mut been_inside = false;
    let scan = Trace::new(scene.volume.grid(), axis);
    let mut t = enters_mm;
    while t <= reach_mm {
        let here = own(t);
        if here.is_nan() || scene.volume.sample_voxel_or_nan(scan.at(t)).is_nan() {
            return;
        }
        crossing.seen_to_mm = t;
        if here > 0.0 {
            been_inside = true;
            inside = t;
        } else if been_inside || t > enters_mm + 2.0 * step_mm {
            let leaves_mm = halve(inside, t, |x| own(x) <= 0.0);
            crossing.leaves_mm = Some(leaves_mm);
            let past = scene.bone_at(axis.at(leaves_mm + touch_mm)).unwrap_or(0);
            crossing.touches_bone = (past != 0 && past != crossing.bone).then_some(past);
            return;
        }
        t += step_mm;
    }
}

/// Locate where a condition that fails at `low` and holds at `high` begins.
fn halve(mut low: f64, mut high: f64, holds: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if holds(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    f64::midpoint(low, high)
}

/// The bone entered: the first label met within a voxel of the entry.
fn bone_entered(scene: &Scene<'_>, axis: Axis, enters_mm: f64, step_mm: f64) -> u8 {
    let reach = (scene.grid().voxel_step_mm(axis.direction) / step_mm).ceil() as usize + 1;
    (0..=reach)
        .find_map(|i| {
            let at = axis.at(enters_mm + i as f64 * step_mm);
            scene.bone_at(at).filter(|bone| *bone != 0)
        })
        .unwrap_or_else(|| strongest_corner(scene, axis, enters_mm))
}

/// The bone of the deepest of the eight voxels around a point.
fn strongest_corner(scene: &Scene<'_>, axis: Axis, at_mm: f64) -> u8 {
    let grid = scene.grid();
    let base = grid.voxel_from_patient(axis.at(at_mm)).0.map(f64::floor);
    let size = grid.size();
    let mut best = (f32::NEG_INFINITY, 0);
    for corner in 0..8_usize {
        let index: [f64; 3] =
            std::array::from_fn(|i| base[i] + if corner >> i & 1 == 1 { 1.0 } else { 0.0 });
        if (0..3).all(|i| index[i] >= 0.0 && index[i] < size[i] as f64) {
            let at = grid.offset_of(index.map(|c| c as usize));
            if scene.field.at(at) > best.0 {
                best = (scene.field.at(at), scene.labels.values()[at]);
            }
        }
    }
    best.1
}
