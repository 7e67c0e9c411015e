//! What each millimetre of a path runs through.

use super::axis::Axis;
use super::crossing::Crossing;
use crate::hole::{Edge, EdgeRule, Profile, Segment, Tissue};
use crate::scene::Scene;

/// Below this inside the envelope there is nothing that holds a screw, HU:
/// gas, or a cavity; fat ends above -150. Own choice, no source.
pub const VOID_HU: f64 = -200.0;

/// Split a path from the seat to its far end into stretches of one tissue.
///
/// Cortical are the walls at both ends whose thickness a plate gave; the rest of
/// the bone is cancellous unless the profile says void. Empty when no bone is
/// met. Where the path has no far end the last stretch ends where the scan does.
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

/// How many of the two cortices a thread from `from_mm` to `to_mm` is known to
/// hold.
///
/// A cortex of known thickness is held by a grip of 0.25 mm, or of all of it
/// where it is thinner. One whose thickness is not known lies somewhere in
/// its width, so it is held where the thread passes all of that. Where the path
/// begins inside bone there is no outer face, and none is counted. One plate from
/// end to end is one cortex ([`is_one_plate`]).
pub fn engaged_cortices(near: Option<Edge>, far: Option<Edge>, from_mm: f64, to_mm: f64) -> usize {
    let held = |edge: Edge, [start, end]: [f64; 2]| match edge.cortex_mm {
        Some(thick_mm) => {
            let grip_mm = end.min(to_mm) - start.max(from_mm);
            grip_mm >= LEAST_GRIP_MM.min(thick_mm)
        }
        None => edge.rule != EdgeRule::Seat && from_mm <= start && to_mm >= end,
    };
    let walls = [
        near.and_then(|e| Some((e, [e.at_mm, e.at_mm + e.reach_mm()?]))),
        far.and_then(|e| Some((e, [e.at_mm - e.reach_mm()?, e.at_mm]))),
    ];
    let count = walls.into_iter().flatten().filter(|(edge, wall)| held(*edge, *wall)).count();
    if is_one_plate(near, far) { count.min(1) } else { count }
}

/// Whether both ends bound one and the same plate: what the cortex of one end
/// reaches and what that of the other does leave nothing between them.
pub fn is_one_plate(near: Option<Edge>, far: Option<Edge>) -> bool {
    let inner_near = near.and_then(|e| Some(e.at_mm + e.reach_mm()?));
    let inner_far = far.and_then(|e| Some(e.at_mm - e.reach_mm()?));
    inner_near.zip(inner_far).is_some_and(|(near_mm, far_mm)| near_mm >= far_mm)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn edge(at_mm: f64, rule: EdgeRule, cortex_mm: Option<f64>) -> Edge {
        Edge {
            at_mm,
            rule,
            se_mm: None,
            most_off_mm: None,
            cortex_mm,
            cortex_se_mm: None,
            width_mm: Some(6.0),
            peak_hu: Some(500.0),
            incidence_rad: None,
        }
    }

    #[test]
    fn a_cortex_of_unknown_thickness_is_held_only_past_all_that_shows() {
        let near = Some(edge(2.0, EdgeRule::Halfway, None));
        let far = Some(edge(40.0, EdgeRule::Halfway, None));
        assert_eq!(engaged_cortices(near, far, 2.0, 40.0), 2);
        assert_eq!(engaged_cortices(near, far, 2.0, 38.0), 1, "stops short within the far one");
        assert_eq!(engaged_cortices(near, far, 3.0, 38.0), 0, "the thread begins within the near");
        assert_eq!(engaged_cortices(near, None, 2.0, 7.9), 0, "ends within the near one");
    }

    #[test]
    fn a_cortex_of_known_thickness_is_held_by_a_grip() {
        let near = Some(edge(2.0, EdgeRule::Plate, Some(1.0)));
        let far = Some(edge(40.0, EdgeRule::Plate, Some(2.5)));
        assert_eq!(engaged_cortices(near, far, 2.0, 38.0), 2);
        assert_eq!(engaged_cortices(near, far, 2.9, 37.6), 0);
    }

    #[test]
    fn one_plate_from_end_to_end_is_one_cortex() {
        let ends = |depth_mm: f64| {
            let near = Some(edge(2.0, EdgeRule::Plate, Some(4.4)));
            let far = Some(edge(2.0 + depth_mm, EdgeRule::Plate, Some(4.3)));
            (is_one_plate(near, far), engaged_cortices(near, far, 2.0, 2.0 + depth_mm))
        };
        assert_eq!(ends(4.42), (true, 1));
        assert_eq!(ends(8.69), (true, 1));
        assert_eq!(ends(8.71), (false, 2));
    }

    #[test]
    fn a_path_that_begins_inside_bone_holds_no_near_cortex() {
        let seat = Some(edge(0.0, EdgeRule::Seat, None));
        assert_eq!(engaged_cortices(seat, None, 0.0, 30.0), 0);
    }
}
