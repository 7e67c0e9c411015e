//! Ends of the bone on a displaced axis, by the envelope alone.
//!
//! The same rules as [`crate::path::cross`], in fewer looks: the depth says how
//! far the surface is, so where bone is deep the step is long. A gap or a
//! flake of bone thinner than half a voxel may be stepped over.

use crate::path::Axis;
use crate::scene::Scene;

/// First entry and first exit, mm from the seat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Ends {
    /// The bone entered.
    pub(crate) bone: u8,
    /// Whether the seat lies in bone.
    pub(crate) seat_in_bone: bool,
    /// First entry.
    pub(crate) enters_mm: f64,
    /// First exit; infinite when it lies past the reach, `None` when what was
    /// scanned ends first.
    pub(crate) leaves_mm: Option<f64>,
}

/// Share of the depth that is stepped: the depth is only about a distance, and
/// chamfered ones are up to an eighth too long.
const STEP_PER_DEPTH: f64 = 0.6;
/// Longest step, mm; no bone that holds a screw is thinner. Half a voxel where
/// that is more.
const LONGEST_STEP_MM: f64 = 1.2;
/// Halvings before a crossing is taken as straight; the depth is near enough
/// to straight over an eighth of half a voxel.
const HALVINGS: usize = 3;

/// Follow an axis to its first entry and exit, at most `reach_mm` far.
///
/// `None` when no bone is met.
pub(crate) fn find_ends(scene: &Scene<'_>, axis: Axis, reach_mm: f64) -> Option<Ends> {
    let least_step_mm = 0.5 * scene.grid().smallest_edge_mm();
    let any = |t: f64| scene.depth_or_nan(axis.at(t));
    let first = any(0.0);
    let enters_mm = if first > 0.0 {
        0.0
    } else {
        match change(&any, [0.0, first], reach_mm, least_step_mm) {
            Change::At(t) => t,
            Change::Beyond | Change::Unseen => return None,
        }
    };
    let bone = bone_met(scene, axis, enters_mm)?;
    let own = |t: f64| scene.depth_in_or_nan(bone, axis.at(t));
    // Another bone's voxels beside the entry pull the depth below zero there.
    let inside_mm =
        (0..4).map(|i| enters_mm + f64::from(i) * least_step_mm).find(|t| own(*t) > 0.0);
    let leaves_mm = match inside_mm {
        None => Some(enters_mm),
        Some(from) => match change(&own, [from, own(from)], reach_mm, least_step_mm) {
            Change::At(t) => Some(t),
            Change::Beyond => Some(f64::INFINITY),
            Change::Unseen => None,
        },
    };
    Some(Ends { bone, seat_in_bone: first > 0.0, enters_mm, leaves_mm })
}

enum Change {
    At(f64),
    Beyond,
    Unseen,
}

/// Where the depth first changes sign, from a position and its depth on.
fn change(
    depth: &impl Fn(f64) -> f64,
    [from_mm, first]: [f64; 2],
    reach_mm: f64,
    least_step_mm: f64,
) -> Change {
    let sign = if first > 0.0 { 1.0 } else { -1.0 };
    let outside = |value: f64| if sign > 0.0 { value <= 0.0 } else { value > 0.0 };
    let (mut before, mut before_depth) = (from_mm, first);
    if first.is_nan() {
        return Change::Unseen;
    }
    loop {
        let step = (STEP_PER_DEPTH * before_depth.abs()).min(LONGEST_STEP_MM).max(least_step_mm);
        let here = before + step;
        if before > reach_mm {
            return Change::Beyond;
        }
        let here_depth = depth(here);
        if here_depth.is_nan() {
            return Change::Unseen;
        }
        if outside(here_depth) {
            let ends = [(before, before_depth), (here, here_depth)];
            return Change::At(locate(depth, ends, outside));
        }
        (before, before_depth) = (here, here_depth);
    }
}

/// A crossing between two positions: halved a few times, then straight.
fn locate(
    depth: &impl Fn(f64) -> f64,
    [mut low, mut high]: [(f64, f64); 2],
    outside: impl Fn(f64) -> bool,
) -> f64 {
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low.0, high.0);
        let value = depth(middle);
        if outside(value) {
            high = (middle, value);
        } else {
            low = (middle, value);
        }
    }
    let fall = low.1 - high.1;
    if fall == 0.0 { high.0 } else { low.0 + (high.0 - low.0) * (low.1 / fall).clamp(0.0, 1.0) }
}

/// The first label within about a voxel of an entry.
fn bone_met(scene: &Scene<'_>, axis: Axis, enters_mm: f64) -> Option<u8> {
    let step_mm = 0.25 * scene.grid().smallest_edge_mm();
    let reach_mm = scene.grid().voxel_step_mm(axis.direction) + step_mm;
    let count = (reach_mm / step_mm).ceil() as usize;
    (0..=count)
        .filter_map(|i| scene.bone_at(axis.at(enters_mm + i as f64 * step_mm)))
        .find(|bone| *bone != 0)
}
