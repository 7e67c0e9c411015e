//! Smoothing that cannot run away.

use pilothole_volume::{Grid, Offset, PatientPoint, VoxelPoint};
use rayon::prelude::*;

use crate::check::{ClosedSurface, Fans};
use crate::deviation::{Simplified, deviation};
use crate::dual::MARGIN;
use crate::error::SurfaceError;

/// How far a vertex may move.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Bound<'a> {
    /// At most this many mm from where it was.
    Distance(f64),
    /// Not out of the cell between eight voxel centres in which it was.
    Cell(&'a Grid),
}

/// Smoothing by relaxation that neither shrinks nor leaves its bound.
///
/// Each round moves every vertex towards the mean of its neighbours by 0.5 of
/// the way, then back by 0.53 of the way (a low-pass filter whose gain at
/// constant curvature is 1), and puts it back into its bound.
///
/// # References
///
/// Taubin 1995, "A signal processing approach to fair surface design",
/// SIGGRAPH; the bound after Gibson 1998, "Constrained elastic surface nets".
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Smoothing<'a> {
    /// Rounds, 1 to 1000; 10 takes the steps off a mask's surface.
    pub rounds: u32,
    /// How far a vertex may move.
    pub bound: Bound<'a>,
}

/// Part of the way to the neighbours' mean, forth and back.
///
/// Their pass band ends at 1/0.5 − 1/0.53 = 0.11, as in Taubin's examples.
const FORTH: f64 = 0.5;
const BACK: f64 = -0.53;

impl Smoothing<'_> {
    /// Smooth a surface, check it again, and measure how far it moved.
    ///
    /// # Errors
    ///
    /// [`SurfaceError::Parameter`]; [`SurfaceError::NotClosed`] when a
    /// triangle lost its area.
    pub fn apply(&self, surface: &ClosedSurface) -> Result<Simplified, SurfaceError> {
        self.check()?;
        let mesh = surface.mesh();
        let fans = Fans::of(mesh.vertices.len(), &mesh.triangles);
        let mut now = mesh.vertices.clone();
        let mut next = now.clone();
        for _ in 0..self.rounds {
            for factor in [FORTH, BACK] {
                next.par_iter_mut().with_min_len(1024).enumerate().for_each(|(vertex, to)| {
                    let moved = relaxed(&now, &fans, vertex, factor);
                    *to = self.bounded(mesh.vertices[vertex], moved);
                });
                std::mem::swap(&mut now, &mut next);
            }
        }
        let mut changed = mesh.clone();
        changed.vertices = now;
        let changed = ClosedSurface::check(changed)?;
        let deviation = deviation(surface, &changed);
        Ok(Simplified { surface: changed, deviation })
    }

    fn check(&self) -> Result<(), SurfaceError> {
        if !(1..=1000).contains(&self.rounds) {
            let found = f64::from(self.rounds);
            return Err(SurfaceError::Parameter { name: "rounds", found, expected: "1 to 1000" });
        }
        match self.bound {
            Bound::Distance(found) if !(found > 0.0 && found.is_finite()) => {
                Err(SurfaceError::Parameter { name: "distance", found, expected: "above 0 mm" })
            }
            _ => Ok(()),
        }
    }

    fn bounded(&self, from: PatientPoint, to: PatientPoint) -> PatientPoint {
        match self.bound {
            Bound::Distance(most_mm) => {
                let moved = to - from;
                let length = moved.length_mm();
                if length <= most_mm { to } else { from + moved * (most_mm / length) }
            }
            Bound::Cell(grid) => {
                let margin = f64::from(MARGIN);
                let cell = grid.voxel_from_patient(from).0.map(f64::floor);
                let at = grid.voxel_from_patient(to).0;
                let kept =
                    std::array::from_fn(|n| at[n].clamp(cell[n] + margin, cell[n] + 1.0 - margin));
                grid.patient_from_voxel(VoxelPoint(kept))
            }
        }
    }
}

/// A vertex moved by `factor` of the way to the mean of its neighbours.
fn relaxed(now: &[PatientPoint], fans: &Fans, vertex: usize, factor: f64) -> PatientPoint {
    let at = now[vertex];
    let ring = fans.around(vertex);
    let mut sum = [0.0; 3];
    for [neighbour, _] in ring {
        let away = now[*neighbour as usize] - at;
        for (sum, part) in sum.iter_mut().zip(away.0) {
            *sum += part;
        }
    }
    at + Offset(sum) * (factor / ring.len() as f64)
}
