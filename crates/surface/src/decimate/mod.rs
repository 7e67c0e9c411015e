//! Fewer triangles: edges collapse, cheapest first, and nothing tears.

mod pass;
mod quadric;

use pilothole_volume::PatientPoint;

use crate::bvh::RayIndex;
use crate::check::ClosedSurface;
use crate::deviation::{Deviation, Simplified, measure};
use crate::error::SurfaceError;
use crate::mesh::TriMesh;
use pass::Working;

/// Decimation within a distance: as few triangles as the bound allows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Decimation {
    /// Stop at this many triangles; 4 or more.
    pub fewest_triangles: usize,
    /// No vertex of the original may end up farther than this from the result,
    /// mm.
    pub within_mm: f64,
}

/// Tries, each with half the tolerance of the one before, until the measured
/// distance keeps the bound.
const TRIES: u32 = 6;

impl Decimation {
    /// Collapse edges of a surface as long as the bound is kept.
    ///
    /// The quadrics estimate the distance; the result is measured, and where
    /// the measured maximum is beyond the bound the work is done again with
    /// half the tolerance. What cannot be simplified comes back as it is.
    ///
    /// # Errors
    ///
    /// [`SurfaceError::Parameter`]; [`SurfaceError::NotClosed`] should the
    /// check of the result fail.
    pub fn apply(&self, surface: &ClosedSurface) -> Result<Simplified, SurfaceError> {
        let found = self.within_mm;
        if !(found > 0.0 && found.is_finite()) {
            return Err(SurfaceError::Parameter { name: "within", found, expected: "above 0 mm" });
        }
        let mut tolerance_mm = found;
        for _ in 0..TRIES {
            let tried = collapse(surface.mesh(), self.fewest_triangles, tolerance_mm)?;
            if tried.deviation.max_mm <= self.within_mm {
                return Ok(tried);
            }
            tolerance_mm *= 0.5;
        }
        Ok(Simplified { surface: surface.clone(), deviation: Deviation::default() })
    }
}

/// Collapse edges of a surface until at most `triangles` are left, or until
/// no edge can collapse without tearing or folding it.
///
/// For pictures: the distance is measured, not bounded.
///
/// # Errors
///
/// [`SurfaceError::Parameter`] below 4 triangles; [`SurfaceError::NotClosed`]
/// should the check of the result fail.
pub fn decimate_to(surface: &ClosedSurface, triangles: usize) -> Result<Simplified, SurfaceError> {
    collapse(surface.mesh(), triangles, f64::INFINITY)
}

fn collapse(
    original: &TriMesh,
    fewest: usize,
    tolerance_mm: f64,
) -> Result<Simplified, SurfaceError> {
    if fewest < 4 {
        let found = fewest as f64;
        return Err(SurfaceError::Parameter { name: "triangles", found, expected: "4 or more" });
    }
    let mut working = Working::of(original);
    while working.triangles.len() > fewest && working.pass(fewest, tolerance_mm) > 0 {}
    let middle = working.middle;
    let place = |at: &[f64; 3]| PatientPoint(std::array::from_fn(|n| at[n] + middle[n]));
    let changed = TriMesh {
        vertices: working.places.iter().map(place).collect(),
        triangles: working.triangles,
    };
    let index = RayIndex::new(&changed);
    // The vertex that an original one went into bounds its distance.
    let deviation = measure(&original.vertices, &index, |vertex| {
        let into = working.into[vertex] as usize;
        original.vertices[vertex].distance_mm(changed.vertices[into])
    });
    Ok(Simplified { surface: ClosedSurface::check(changed)?, deviation })
}
