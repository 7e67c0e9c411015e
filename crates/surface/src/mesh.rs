//! Triangles without a promise.

use pilothole_volume::{Offset, PatientPoint};

/// Triangles over shared vertices; nothing is promised about them.
///
/// A triangle's corners run counter-clockwise seen from outside. What can be
/// asked only of a closed surface is asked of [`crate::ClosedSurface`].
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TriMesh {
    /// Positions, mm, LPS.
    pub vertices: Vec<PatientPoint>,
    /// Three positions in `vertices` each.
    pub triangles: Vec<[u32; 3]>,
}

impl TriMesh {
    /// Corners of a triangle.
    ///
    /// # Panics
    ///
    /// When `triangle` or one of its corners does not exist.
    #[inline]
    pub fn corners(&self, triangle: usize) -> [PatientPoint; 3] {
        self.triangles[triangle].map(|v| self.vertices[v as usize])
    }

    /// Vector along a triangle's outward normal, as long as twice its area, mm².
    ///
    /// # Panics
    ///
    /// As [`TriMesh::corners`].
    #[inline]
    pub fn doubled_normal(&self, triangle: usize) -> Offset {
        let [a, b, c] = self.corners(triangle);
        (b - a).cross(c - a)
    }

    /// Least and greatest coordinate along L, P, S, mm; `None` without vertices.
    pub fn bounds_mm(&self) -> Option<[PatientPoint; 2]> {
        let first = *self.vertices.first()?;
        let mut bounds = [first, first];
        for vertex in &self.vertices {
            for axis in 0..3 {
                bounds[0].0[axis] = bounds[0].0[axis].min(vertex.0[axis]);
                bounds[1].0[axis] = bounds[1].0[axis].max(vertex.0[axis]);
            }
        }
        Some(bounds)
    }

    /// Shape of each triangle: 4√3·area over the sum of its squared edges;
    /// 1 for an equilateral triangle, 0 for one without area.
    ///
    /// # References
    ///
    /// Bank, Smith 1997, "Mesh smoothing using a posteriori error estimates",
    /// SIAM J. Numer. Anal. 34(3), equation 2.1.
    pub fn qualities(&self) -> Vec<f64> {
        (0..self.triangles.len())
            .map(|triangle| {
                let [a, b, c] = self.corners(triangle);
                let edges = [b - a, c - b, a - c].map(|e| e.dot(e)).iter().sum::<f64>();
                let area = 0.5 * self.doubled_normal(triangle).length_mm();
                if edges > 0.0 { 4.0 * 3.0_f64.sqrt() * area / edges } else { 0.0 }
            })
            .collect()
    }
}
