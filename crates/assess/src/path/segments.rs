//! What each millimetre of a path runs through.

use super::axis::Axis;
use super::crossing::Crossing;
use crate::hole::{Edge, Profile, Segment, Tissue};
use crate::scene::Scene;

/// Below this inside the envelope there is nothing that holds a screw, HU:
/// gas, or a cavity; fat ends above -150. Own choice, no source.
pub const VOID_HU: f64 = -200.0;

/// Split a path from the seat to its far end into stretches of one tissue.
///
/// The walls found at both ends are cortical; between them the profile
/// decides. Empty when no bone is met. Where the path has no far end the last
/// stretch ends where the scan does.
pub fn split(
    scene: &Scene<'_>,
    axis: Axis,
    [near, far]: [Option<Edge>; 2],
    crossing: &Crossing,
    profile: &Profile,
) -> Vec<Segment> {
    let Some(near) = near else { return Vec::new() };
    let end_mm = far.map_or(crossing.seen_to_mm, |edge| edge.at_mm);
    let inner_near = near.at_mm + near.cortex_mm.unwrap_or(0.0);
    let inner_far = end_mm - far.and_then(|edge| edge.cortex_mm).unwrap_or(0.0);
    let tissue = |from_mm: f64, to_mm: f64| {
        let middle = f64::midpoint(from_mm, to_mm);
        if scene.metal.has_at(scene.grid(), axis.at(middle)) {
            Tissue::Metal
        } else if to_mm <= near.at_mm + 1e-9 {
            Tissue::Outside
        } else if profile.at_or_nan(middle) < VOID_HU {
            Tissue::Void
        } else if scene.cement.has_at(scene.grid(), axis.at(middle)) {
            Tissue::Cement
        } else if middle < inner_near || middle > inner_far {
            Tissue::Cortical
        } else {
            Tissue::Cancellous
        }
    };
    let mut segments: Vec<Segment> = Vec::new();
    for (from_mm, to_mm) in pieces(&[near.at_mm, inner_near, inner_far], end_mm, profile.step_mm) {
        let tissue = tissue(from_mm, to_mm);
        match segments.last_mut() {
            Some(last) if last.tissue == tissue => last.to_mm = to_mm,
            _ => segments.push(Segment { from_mm, to_mm, tissue }),
        }
    }
    segments
}

/// Pieces of one step from 0 to the end, cut also at the given places.
fn pieces(cuts: &[f64], end_mm: f64, step_mm: f64) -> Vec<(f64, f64)> {
    let count = (end_mm / step_mm).floor() as usize;
    let mut places: Vec<f64> = (0..=count).map(|i| i as f64 * step_mm).collect();
    places.extend(cuts.iter().copied().filter(|cut| *cut > 0.0 && *cut < end_mm));
    places.push(end_mm);
    places.sort_by(f64::total_cmp);
    places.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
    places.windows(2).map(|w| (w[0], w[1])).collect()
}

/// Shortest stretch of thread in a cortex that counts as holding it, mm. Own
/// choice, no source.
const LEAST_GRIP_MM: f64 = 0.25;

/// How many of the two cortices a thread from `from_mm` to `to_mm` holds.
pub fn engaged_cortices(near: Option<Edge>, far: Option<Edge>, from_mm: f64, to_mm: f64) -> usize {
    let walls = [
        near.and_then(|e| Some((e.at_mm, e.at_mm + e.cortex_mm?))),
        far.and_then(|e| Some((e.at_mm - e.cortex_mm?, e.at_mm))),
    ];
    walls
        .into_iter()
        .flatten()
        .filter(|(start, end)| {
            let grip_mm = end.min(to_mm) - start.max(from_mm);
            grip_mm >= LEAST_GRIP_MM.min(end - start)
        })
        .count()
}
