//! Fewer triangles: edges collapse, cheapest first, and nothing tears.

mod pass;
mod quadric;

use pilothole_volume::PatientPoint;

use crate::bvh::RayIndex;
use crate::check::{ClosedSurface, parts_of_vertices};
use crate::deviation::{Deviation, Simplified, distances_mm, probes};
use crate::error::SurfaceError;
use crate::mesh::TriMesh;
use pass::Working;

/// Decimation within a distance: as few triangles as are asked for, or as the
/// distance allows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Decimation {
    /// Stop at this many triangles; 4 or more.
    pub fewest_triangles: usize,
    /// No vertex of the original may end up farther than this from the result,
    /// and no vertex or triangle's middle of the result farther from the
    /// original, mm.
    pub within_mm: f64,
}

/// Share of the stated distance below which a part's tolerance is not halved
/// again: it is left as it is.
const LEAST_SHARE: f64 = 1.0 / 32.0;

impl Decimation {
    /// Collapse edges of a surface as long as the bound is kept.
    ///
    /// Quadrics estimate the distance while edges collapse; then it is
    /// measured. Where a connected part of the surface lies beyond the bound,
    /// the work is done again with half the tolerance there, and in the end
    /// the part is left as it was: a speck of a few voxels keeps its shape, the
    /// bone beside it is decimated all the same.
    ///
    /// # Errors
    ///
    /// [`SurfaceError::Parameter`]; [`SurfaceError::NotClosed`] should the
    /// check of the result fail.
    pub fn apply(&self, surface: &ClosedSurface) -> Result<Simplified, SurfaceError> {
        self.check()?;
        let parts = parts_of_vertices(surface.mesh());
        let mut tolerances_mm = vec![self.within_mm; surface.components().len()];
        loop {
            let tried = collapse(surface, self.fewest_triangles, &parts, &tolerances_mm);
            let failed: Vec<usize> =
                (0..tolerances_mm.len()).filter(|n| tried.worst_mm[*n] > self.within_mm).collect();
            for part in &failed {
                let halved = 0.5 * tolerances_mm[*part];
                let is_least = halved < LEAST_SHARE * self.within_mm;
                tolerances_mm[*part] = if is_least { 0.0 } else { halved };
            }
            if failed.is_empty() {
                let surface = ClosedSurface::check(tried.mesh)?;
                return Ok(Simplified { surface, deviation: tried.deviation });
            }
        }
    }

    fn check(&self) -> Result<(), SurfaceError> {
        let found = self.within_mm;
        if !(found > 0.0 && found.is_finite()) {
            return Err(SurfaceError::Parameter { name: "within", found, expected: "above 0 mm" });
        }
        if self.fewest_triangles < 4 {
            let found = self.fewest_triangles as f64;
            return Err(SurfaceError::Parameter {
                name: "triangles",
                found,
                expected: "4 or more",
            });
        }
        Ok(())
    }
}

/// A decimated mesh, and how far it lies from the original.
struct Tried {
    mesh: TriMesh,
    deviation: Deviation,
    /// The largest distance of each part, mm.
    worst_mm: Vec<f64>,
}

/// Collapse edges until at most `fewest` triangles are left or no edge can
/// collapse within its part's tolerance, or without tearing or folding.
fn collapse(surface: &ClosedSurface, fewest: usize, parts: &[u32], tolerances_mm: &[f64]) -> Tried {
    let original = surface.mesh();
    let mut working = Working::of(original, parts);
    while working.triangles.len() > fewest && working.pass(fewest, tolerances_mm) > 0 {}
    let middle = working.middle;
    let place = |at: &[f64; 3]| PatientPoint(std::array::from_fn(|n| at[n] + middle[n]));
    let mesh = TriMesh {
        vertices: working.places.iter().map(place).collect(),
        triangles: working.triangles,
    };
    // The vertex that an original one went into bounds its distance.
    let into = |vertex: usize| {
        original.vertices[vertex].distance_mm(mesh.vertices[working.into[vertex] as usize])
    };
    let away_mm = distances_mm(&original.vertices, &RayIndex::new(&mesh), into);
    let back_mm = distances_mm(&probes(&mesh), surface.index(), |_| f64::INFINITY);
    let of_triangles = mesh.triangles.iter().map(|[a, ..]| working.parts[*a as usize]);
    let back_parts = working.parts.iter().copied().chain(of_triangles);
    let mut worst_mm = vec![0.0_f64; tolerances_mm.len()];
    let all = parts.iter().copied().zip(&away_mm).chain(back_parts.zip(&back_mm));
    for (part, distance) in all {
        worst_mm[part as usize] = worst_mm[part as usize].max(*distance);
    }
    let deviation = Deviation::of(&[away_mm, back_mm]);
    Tried { mesh, deviation, worst_mm }
}
