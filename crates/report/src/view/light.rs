//! A surface light enough for a page: vertices gathered in cells.
//!
//! For pictures only, never for measuring: neighbouring sheets closer than a
//! cell may merge.

use pilothole_surface::TriMesh;

/// Most triangles of a light mesh.
///
/// 60,000 take about 0.7 MB in a page; a hip bone then has edges of 1.5 mm.
const MOST_TRIANGLES: usize = 60_000;
/// Most vertices, so that a position in the list fits 16 bits.
const MOST_VERTICES: usize = 65_000;

/// A light mesh, mm, LPS.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct LightMesh {
    pub(crate) vertices: Vec<[f32; 3]>,
    pub(crate) triangles: Vec<[u16; 3]>,
    /// Edge of a cell, mm; 0 when the mesh came through unchanged.
    pub(crate) cell_mm: f64,
}

impl LightMesh {
    /// The mesh with its vertices gathered in cells as small as the limits
    /// allow.
    pub(crate) fn of(mesh: &TriMesh) -> Self {
        let area: f64 =
            (0..mesh.triangles.len()).map(|t| 0.5 * mesh.doubled_normal(t).length_mm()).sum();
        if area <= 0.0 {
            return Self::default();
        }
        // About two triangles a cell face that the surface crosses.
        let mut cell_mm = (2.6 * area / MOST_TRIANGLES as f64).sqrt();
        loop {
            let light = gathered(mesh, cell_mm);
            if let Some(light) = light {
                return light;
            }
            cell_mm *= 1.12;
        }
    }

    /// Least and greatest coordinates, mm.
    pub(crate) fn bounds(&self) -> [[f32; 3]; 2] {
        let mut bounds = [[f32::INFINITY; 3], [f32::NEG_INFINITY; 3]];
        for vertex in &self.vertices {
            for axis in 0..3 {
                bounds[0][axis] = bounds[0][axis].min(vertex[axis]);
                bounds[1][axis] = bounds[1][axis].max(vertex[axis]);
            }
        }
        bounds
    }

    /// Unit normals at the vertices, outward.
    pub(crate) fn normals(&self) -> Vec<[f32; 3]> {
        let mut normals = vec![[0.0_f32; 3]; self.vertices.len()];
        for triangle in &self.triangles {
            let [a, b, c] = triangle.map(|v| self.vertices[usize::from(v)]);
            let normal = cross(minus(b, a), minus(c, a));
            for corner in triangle {
                let sum = &mut normals[usize::from(*corner)];
                (0..3).for_each(|i| sum[i] += normal[i]);
            }
        }
        for normal in &mut normals {
            let length = normal.iter().map(|c| c * c).sum::<f32>().sqrt().max(1e-12);
            *normal = normal.map(|c| c / length);
        }
        normals
    }
}

fn minus(a: [f32; 3], b: [f32; 3]) -> [f32; 3] {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

fn cross(a: [f32; 3], b: [f32; 3]) -> [f32; 3] {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

/// The mesh with one vertex a cell; `None` when that is still too much.
fn gathered(mesh: &TriMesh, cell_mm: f64) -> Option<LightMesh> {
    let low = mesh.bounds_mm()?[0].0;
    let key = |at: [f64; 3]| {
        let cell = |axis: usize| ((at[axis] - low[axis]) / cell_mm) as u64;
        cell(2) << 42 | cell(1) << 21 | cell(0)
    };
    let mut keyed: Vec<(u64, u32)> =
        (0..).zip(&mesh.vertices).map(|(index, vertex)| (key(vertex.0), index)).collect();
    keyed.sort_unstable();
    let mut cell_of = vec![0_u32; mesh.vertices.len()];
    let mut vertices: Vec<[f32; 3]> = Vec::new();
    for run in keyed.chunk_by(|a, b| a.0 == b.0) {
        if vertices.len() >= MOST_VERTICES {
            return None;
        }
        let mut sum = [0.0; 3];
        for (_, index) in run {
            cell_of[*index as usize] = vertices.len() as u32;
            let at = mesh.vertices[*index as usize].0;
            (0..3).for_each(|axis| sum[axis] += at[axis]);
        }
        vertices.push(sum.map(|c| (c / run.len() as f64) as f32));
    }
    let mut triangles: Vec<[u16; 3]> = mesh
        .triangles
        .iter()
        .map(|corners| corners.map(|v| cell_of[v as usize] as u16))
        .filter(|[a, b, c]| a != b && b != c && a != c)
        .map(|[a, b, c]| {
            if a < b && a < c {
                [a, b, c]
            } else if b < c {
                [b, c, a]
            } else {
                [c, a, b]
            }
        })
        .collect();
    triangles.sort_unstable();
    triangles.dedup();
    (triangles.len() <= MOST_TRIANGLES).then_some(LightMesh { vertices, triangles, cell_mm })
}

#[cfg(test)]
mod tests {
    use super::*;
    use pilothole_volume::PatientPoint;

    /// A square patch of `n` by `n` quads of 1 mm.
    fn patch(n: u32) -> TriMesh {
        let vertices = (0..=n)
            .flat_map(|y| (0..=n).map(move |x| PatientPoint([f64::from(x), f64::from(y), 0.0])))
            .collect();
        let at = |x: u32, y: u32| y * (n + 1) + x;
        let triangles = (0..n)
            .flat_map(|y| (0..n).map(move |x| (x, y)))
            .flat_map(|(x, y)| {
                [
                    [at(x, y), at(x + 1, y), at(x + 1, y + 1)],
                    [at(x, y), at(x + 1, y + 1), at(x, y + 1)],
                ]
            })
            .collect();
        TriMesh { vertices, triangles }
    }

    #[test]
    fn a_large_mesh_becomes_small_and_keeps_its_extent() {
        let light = LightMesh::of(&patch(500));
        assert!(light.triangles.len() <= MOST_TRIANGLES);
        assert!(light.triangles.len() > MOST_TRIANGLES / 4, "{}", light.triangles.len());
        let [low, high] = light.bounds();
        assert!(low[0] < 3.0 && high[0] > 497.0);
        assert!(light.normals().iter().all(|n| (n[2] - 1.0).abs() < 1e-5));
    }

    #[test]
    fn nothing_stays_nothing() {
        assert_eq!(LightMesh::of(&TriMesh::default()), LightMesh::default());
    }
}
