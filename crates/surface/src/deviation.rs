//! How far a changed surface lies from the one it was made of.

use pilothole_volume::PatientPoint;
use rayon::prelude::*;

use crate::bvh::RayIndex;
use crate::check::ClosedSurface;
use crate::mesh::TriMesh;

/// Distances of the original's vertices from the changed surface, mm.
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

/// Measure how far the vertices of `original` lie from `changed`.
pub fn deviation(original: &TriMesh, changed: &ClosedSurface) -> Deviation {
    let reach = |_| f64::INFINITY;
    measure(&original.vertices, changed.index(), reach)
}

/// As [`deviation`], where `reach_mm(vertex)` is known to be reached.
pub(crate) fn measure(
    points: &[PatientPoint],
    changed: &RayIndex,
    reach_mm: impl Fn(usize) -> f64 + Sync,
) -> Deviation {
    /// Points whose squares are summed together, whatever the threads.
    const POINTS_A_SUM: usize = 1 << 12;
    let parts: Vec<(f64, f64)> = points
        .par_chunks(POINTS_A_SUM)
        .enumerate()
        .map(|(part, points)| {
            let mut sums = (0.0_f64, 0.0);
            for (n, point) in points.iter().enumerate() {
                // A little more than known, so that rounding loses nothing.
                let reach = reach_mm(part * POINTS_A_SUM + n) * (1.0 + 1e-9) + 1e-9;
                let near = changed.nearest_within(*point, reach);
                let distance = near.map_or(reach, |n| n.distance_mm);
                sums = (sums.0.max(distance), sums.1 + distance * distance);
            }
            sums
        })
        .collect();
    let max_mm = parts.iter().fold(0.0_f64, |all, p| all.max(p.0));
    let squares: f64 = parts.iter().map(|p| p.1).sum();
    let points = points.len();
    Deviation { max_mm, rms_mm: (squares / points.max(1) as f64).sqrt(), points }
}
