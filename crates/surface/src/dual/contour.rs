//! Dual contouring: sharp edges and corners are kept.

use isosurface::feature::{MinimiseQEF, PlaceFeatureInCell};
use isosurface::math::Vec3;

use super::batch::LIFT_SHARE;
use super::method::{Extract, Placement};
use super::sheet::{Crossings, Sheet};

/// Dual contouring of Hermite data: a vertex where the planes through its
/// sheet's crossing points meet best.
///
/// An edge or corner gets the point of least squared distance to the planes,
/// kept inside its cell. Flat and gently curved sheets (normals within 30° of
/// each other) get the lifted mean, as with [`crate::SurfaceNets`]; sheets that
/// share their cell or have more than eight crossings get the mean. For bodies with true edges; on a
/// mask it shows the voxels' steps.
///
/// It keeps what the samples show: where a distance field's nearest plane
/// changes between two samples, the crossing between them is off, and with it
/// the edge, by up to 0.4 voxel.
///
/// # References
///
/// Ju, Losasso, Schaefer, Warren 2002, "Dual contouring of Hermite data",
/// SIGGRAPH. The minimiser is `isosurface`'s.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct DualContouring;

impl Extract for DualContouring {
    fn placement(&self, _steps: bool) -> Placement {
        Placement::Planes
    }
}

/// The vertex of a sheet, in the unit cube of its cell.
pub(super) fn place(sheet: &Sheet<'_>) -> [f32; 3] {
    let crossings = sheet.crossings();
    let most = crossings.points().len() <= 8;
    if sheet.shares_cell || !most {
        return sheet.mean();
    }
    if is_gentle(crossings.normals()) {
        return lifted(&crossings, sheet.mean());
    }
    let (points, normals) = eight(&crossings, sheet.mean());
    let Vec3 { x, y, z } = MinimiseQEF {}.place_feature_in_cell(&points, &normals);
    let placed = [x, y, z];
    if placed.iter().all(|c| c.is_finite()) { placed } else { sheet.mean() }
}

/// Farthest that a gentle sheet's vertex is lifted, voxels: a sphere of 6 voxels'
/// radius asks for as much; where it is more, normals within 30° say little.
const LIFT: f32 = 1.0 / 16.0;

/// Whether all normals are within 30° of each other, so that there is no edge.
fn is_gentle(normals: &[[f32; 3]]) -> bool {
    const COSINE: f32 = 0.866_025_4;
    let dot = |a: &[f32; 3], b: &[f32; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
    normals.iter().enumerate().all(|(n, a)| normals[..n].iter().all(|b| dot(a, b) > COSINE))
}

/// The mean lifted as by [`SurfaceNets`](crate::SurfaceNets), with normals that
/// do not reach around an edge.
fn lifted(crossings: &Crossings, mean: [f32; 3]) -> [f32; 3] {
    let count = crossings.points().len() as f32;
    let (mut normal, mut climb) = ([0.0; 3], 0.0);
    for (point, facing) in crossings.points().iter().zip(crossings.normals()) {
        for axis in 0..3 {
            normal[axis] += facing[axis] / count;
            climb += facing[axis] * (point[axis] - mean[axis]) / count;
        }
    }
    let lift = (LIFT_SHARE * climb).clamp(-LIFT, LIFT);
    std::array::from_fn(|axis| mean[axis] + lift * normal[axis])
}

/// Fill the minimiser's eight places.
///
/// Places that are left repeat the sheet's planes in turn, each at the foot of
/// the mean point: the planes stay the same, and the centre hardly moves.
fn eight(crossings: &Crossings, mean: [f32; 3]) -> ([Vec3; 8], [Vec3; 8]) {
    let (points, normals) = (crossings.points(), crossings.normals());
    let normal = |n: usize| vec(normals[n % normals.len()]);
    let point = |n: usize| {
        let on_plane = vec(points[n % points.len()]);
        if n < points.len() {
            return on_plane;
        }
        let height = (vec(mean) - on_plane).dot(normal(n));
        vec(mean) - normal(n) * height
    };
    (std::array::from_fn(point), std::array::from_fn(normal))
}

fn vec([x, y, z]: [f32; 3]) -> Vec3 {
    Vec3::new(x, y, z)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dual::cell::crossed_edges;

    /// The vertex of a body given by its height above each sample around the
    /// cell, at whole numbers from −1 to 2.
    fn placed(height: impl Fn([f32; 3]) -> f32) -> [f32; 3] {
        let at = |c: usize| [(c & 1) as f32, (c >> 1 & 1) as f32, (c >> 2) as f32];
        let heights: [f32; 8] = std::array::from_fn(|c| height(at(c)));
        let around = std::array::from_fn(|axis| {
            std::array::from_fn(|c| {
                let mut next = at(c);
                next[axis] += if c >> axis & 1 == 1 { 1.0 } else { -1.0 };
                height(next)
            })
        });
        let inside = (0..8).fold(0, |all, c| all | u8::from(heights[c] > 0.0) << c);
        let edges = crossed_edges(inside);
        place(&Sheet { heights: &heights, around: Some(&around), edges, shares_cell: false })
    }

    fn assert_at(found: [f32; 3], want: [f32; 3]) {
        for (a, b) in found.into_iter().zip(want) {
            assert!((a - b).abs() < 1e-4, "{found:?} != {want:?}");
        }
    }

    #[test]
    fn three_planes_meet_in_a_corner() {
        let corner = placed(|[x, y, z]| (0.4 - x).min(0.4 - y).min(0.4 - z));
        assert_at(corner, [0.4; 3]);
    }

    #[test]
    fn two_planes_meet_in_an_edge() {
        let edge = placed(|[x, y, _]| (0.7 - x).min(0.7 - y));
        assert_at(edge, [0.7, 0.7, 0.5]);
    }

    #[test]
    fn a_flat_sheet_gets_its_mean() {
        assert_at(placed(|[x, y, z]| 0.8 - 0.1 * x - 0.2 * y - z), [0.5, 0.5, 0.65]);
    }
}
