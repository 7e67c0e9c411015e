//! Room between screws, and between screws and metal in the scan.

use pilothole_volume::{PatientPoint, VoxelPoint};

use super::body::{Frustum, ScrewBody};
use super::convex::{Gap, gap};
use super::params::ClashParams;
use super::types::{Clash, MetalNear};
use crate::scene::Scene;

/// Every pair's room, heads included, and that of the threads alone.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Rooms {
    /// Pairs nearer than the gap wanted, nearest first.
    pub clash: Vec<Clash>,
    /// Pairs not in `clash` whose threads share bone, nearest first.
    pub sharing: Vec<Clash>,
}

/// Measure the room between every two screws.
///
/// - `gap_mm`: wanted between two surfaces.
pub(crate) fn rooms(bodies: &[ScrewBody], gap_mm: f64, params: &ClashParams) -> Rooms {
    let mut rooms = Rooms::default();
    for (i, a) in bodies.iter().enumerate() {
        for b in &bodies[i + 1..] {
            let (with_head_a, with_head_b) = (whole(a), whole(b));
            let nearest = between(a, b, &with_head_a, &with_head_b);
            if nearest.gap_mm < gap_mm {
                rooms.clash.push(nearest);
                continue;
            }
            let threads = between(a, b, &a.shaft, &b.shaft);
            if threads.gap_mm < params.shared_bone_mm {
                rooms.sharing.push(threads);
            }
        }
    }
    rooms.clash.sort_by(|x, y| x.gap_mm.total_cmp(&y.gap_mm));
    rooms.sharing.sort_by(|x, y| x.gap_mm.total_cmp(&y.gap_mm));
    rooms
}

fn whole(body: &ScrewBody) -> Vec<Frustum> {
    std::iter::once(body.head).chain(body.shaft.iter().copied()).collect()
}

/// The nearest of all pairs of pieces.
fn between(a: &ScrewBody, b: &ScrewBody, of_a: &[Frustum], of_b: &[Frustum]) -> Clash {
    let mut nearest: Option<Gap> = None;
    for x in of_a {
        for y in of_b {
            let found = gap(x, y);
            if nearest.is_none_or(|least| found.mm < least.mm) {
                nearest = Some(found);
            }
        }
    }
    let nearest = nearest.unwrap_or(Gap { mm: f64::INFINITY, on_a: a.seat, on_b: b.seat });
    let at = nearest.on_a + (nearest.on_b - nearest.on_a) * 0.5;
    Clash {
        a: a.hole,
        b: b.hole,
        gap_mm: nearest.mm,
        at_a_mm: a.along_mm(nearest.on_a),
        at_b_mm: b.along_mm(nearest.on_b),
        at,
    }
}

/// Screws near metal that is in the scan, nearest first.
///
/// Distances are to voxel centres of the metal mask of the scene's region.
pub(crate) fn metal_near(
    scene: &Scene<'_>,
    bodies: &[ScrewBody],
    params: &ClashParams,
) -> Vec<MetalNear> {
    if scene.metal.is_empty() {
        return Vec::new();
    }
    let mut near: Vec<MetalNear> =
        bodies.iter().filter_map(|body| nearest_metal(scene, body, params.metal_mm)).collect();
    near.sort_by(|x, y| x.gap_mm.total_cmp(&y.gap_mm));
    near
}

fn nearest_metal(scene: &Scene<'_>, body: &ScrewBody, within_mm: f64) -> Option<MetalNear> {
    let pieces = whole(body);
    let (from, to) = box_around(scene, body, within_mm)?;
    let mut nearest: Option<(f64, PatientPoint)> = None;
    for slice in from[2]..to[2] {
        for row in from[1]..to[1] {
            for column in from[0]..to[0] {
                let index = [column, row, slice];
                if !scene.metal.has(index) {
                    continue;
                }
                let at = scene.grid().centre_of(index);
                let gap_mm =
                    pieces.iter().map(|p| p.signed_distance_mm(at)).fold(f64::INFINITY, f64::min);
                if gap_mm < within_mm && nearest.is_none_or(|(least, _)| gap_mm < least) {
                    nearest = Some((gap_mm, at));
                }
            }
        }
    }
    let (gap_mm, at) = nearest?;
    Some(MetalNear { hole: body.hole, gap_mm, at_mm: body.along_mm(at), at })
}

/// The voxels, from and up to without, that may lie within reach of a screw.
fn box_around(
    scene: &Scene<'_>,
    body: &ScrewBody,
    within_mm: f64,
) -> Option<([usize; 3], [usize; 3])> {
    let grid = scene.grid();
    let reach = within_mm + 0.5 * body.major_mm.max(2.0 * body.head.from_radius_mm);
    let ends = [
        body.seat + body.direction * -body.head.length_mm,
        body.seat + body.direction * body.length_mm,
    ];
    let mut low = [f64::INFINITY; 3];
    let mut high = [f64::NEG_INFINITY; 3];
    for end in ends {
        for corner in 0..8_u8 {
            let side = |axis: usize| if corner >> axis & 1 == 0 { -reach } else { reach };
            let moved = PatientPoint(std::array::from_fn(|i| end.0[i] + side(i)));
            let VoxelPoint(voxel) = grid.voxel_from_patient(moved);
            for axis in 0..3 {
                low[axis] = low[axis].min(voxel[axis]);
                high[axis] = high[axis].max(voxel[axis]);
            }
        }
    }
    let size = grid.size();
    let from: [usize; 3] = std::array::from_fn(|i| low[i].floor().max(0.0) as usize);
    let to: [usize; 3] =
        std::array::from_fn(|i| ((high[i].ceil() + 1.0).max(0.0) as usize).min(size[i]));
    (0..3).all(|i| from[i] < to[i]).then_some((from, to))
}

#[cfg(test)]
mod tests {
    use pilothole_plan::thread_table;
    use pilothole_volume::{Direction, Offset};

    use super::*;

    /// A 6.5 mm screw of 60 mm.
    fn screw(hole: usize, seat: [f64; 3], towards: [f64; 3]) -> ScrewBody {
        let threads = thread_table();
        let thread = threads
            .iter()
            .find(|t| (t.major_diameter_mm - 6.5).abs() < 1e-9)
            .expect("in the table");
        let direction = Direction::along(Offset(towards)).expect("has length");
        ScrewBody::new(hole, PatientPoint(seat), direction, thread, 60.0)
    }

    #[test]
    fn screws_meet_where_their_axes_are_nearest() {
        // The second axis passes 1 mm beside the first at 40 mm of it, at
        // 13.5 mm of its own: 5.5 mm deep.
        let (sin, cos) = 50.0_f64.to_radians().sin_cos();
        let second = [1.0, -13.5 * sin, 40.0 - 13.5 * cos];
        let bodies = [screw(0, [0.0; 3], [0.0, 0.0, 1.0]), screw(1, second, [0.0, sin, cos])];
        let found = rooms(&bodies, 3.0, &ClashParams::OWN).clash[0];
        assert!((found.gap_mm + 5.5).abs() < 1e-6, "{found:?}");
        assert!((found.at_a_mm - 40.0).abs() < 1e-6, "{found:?}");
        assert!((found.at_b_mm - 13.5).abs() < 1e-6, "{found:?}");
        assert!(found.at.distance_mm(PatientPoint([0.5, 0.0, 40.0])) < 1e-6, "{found:?}");
    }

    #[test]
    fn heads_meet_before_the_seat() {
        // Shafts that part into bone from heads whose axes cross 3 mm before
        // their seats.
        let lean = 20.0_f64.to_radians();
        let seat = 3.0 * lean.sin();
        let side = |hole: usize, sign: f64| {
            screw(hole, [sign * seat, 0.0, 0.0], [sign * lean.sin(), 0.0, lean.cos()])
        };
        let found = rooms(&[side(0, 1.0), side(1, -1.0)], 3.0, &ClashParams::OWN);
        let found = found.clash[0];
        assert!(found.gap_mm < 0.0, "{found:?}");
        assert!((found.at_a_mm + 3.0).abs() < 1e-6, "{found:?}");
        assert!((found.at_b_mm + 3.0).abs() < 1e-6, "{found:?}");
    }
}
