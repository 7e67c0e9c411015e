//! How far a changed surface lies from the one it was made of.

use pilothole_volume::PatientPoint;
use rayon::prelude::*;

use crate::bvh::RayIndex;
use crate::check::ClosedSurface;
use crate::mesh::TriMesh;

/// Distances between a surface and a changed one, both ways, mm: of the
/// original's vertices from the changed surface, and of the changed one's
/// vertices and triangle middles from the original.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Deviation {
    /// The largest.
    pub max_mm: f64,
    /// Root of the mean square.
    pub rms_mm: f64,
    /// How many were measured.
    pub points: usize,
}

/// A changed surface and how far it lies from the original.
#[derive(Clone, Debug, PartialEq)]
pub struct Simplified {
    /// The changed surface, checked again.
    pub surface: ClosedSurface,
    /// Measured, not estimated.
    pub deviation: Deviation,
}

/// Measure how far two surfaces lie apart.
pub fn deviation(original: &ClosedSurface, changed: &ClosedSurface) -> Deviation {
    let anywhere = |_| f64::INFINITY;
    Deviation::of(&[
        distances_mm(&original.mesh().vertices, changed.index(), anywhere),
        distances_mm(&probes(changed.mesh()), original.index(), anywhere),
    ])
}

impl Deviation {
    pub(crate) fn of(distances_mm: &[Vec<f64>]) -> Self {
        let all = || distances_mm.iter().flatten();
        let points = all().count();
        let squares: f64 = all().map(|d| d * d).sum();
        Self {
            max_mm: all().copied().fold(0.0, f64::max),
            rms_mm: (squares / points.max(1) as f64).sqrt(),
            points,
        }
    }
}

/// Where a changed surface is measured: its vertices, then the middles of its
/// triangles.
pub(crate) fn probes(mesh: &TriMesh) -> Vec<PatientPoint> {
    let middles = (0..mesh.triangles.len()).map(|triangle| {
        let [a, b, c] = mesh.corners(triangle);
        a + ((b - a) + (c - a)) * (1.0 / 3.0)
    });
    mesh.vertices.iter().copied().chain(middles).collect()
}

/// How far points lie from a surface, mm, where `reach_mm(point)` is known to
/// be no less.
pub(crate) fn distances_mm(
    points: &[PatientPoint],
    from: &RayIndex,
    reach_mm: impl Fn(usize) -> f64 + Sync,
) -> Vec<f64> {
    let distance = |(n, at): (usize, &PatientPoint)| {
        // A little more than known, so that rounding loses nothing.
        let reach = reach_mm(n) * (1.0 + 1e-9) + 1e-9;
        from.nearest_within(*at, reach).map_or(reach, |near| near.distance_mm)
    };
    points.par_iter().enumerate().with_min_len(256).map(distance).collect()
}
