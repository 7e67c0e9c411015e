//! The proof that a mesh bounds a body, and what only such a mesh can answer.

mod fans;
mod parts;

use std::sync::OnceLock;

use pilothole_volume::PatientPoint;

use crate::bvh::RayIndex;
use crate::mesh::TriMesh;
pub(crate) use fans::Fans;
use fans::check_fans;
pub use parts::Component;
pub(crate) use parts::parts_of_vertices;
use parts::{Totals, components, totals};

/// Triangles that bound a body; made by the checker only.
///
/// Invariants: every edge is shared by exactly two triangles that run along it
/// in opposite directions; the triangles around every vertex form one ring;
/// no triangle repeats a corner or has no area; every vertex is used and
/// finite; the enclosed volume is positive, so normals point outward.
#[derive(Debug)]
pub struct ClosedSurface {
    mesh: TriMesh,
    totals: Totals,
    components: Vec<Component>,
    index: OnceLock<RayIndex>,
}

/// Why a mesh does not bound a body: what was counted, and of each kind how
/// many; all zero with a volume that is not positive when it is inside out or
/// empty.
#[derive(Clone, Copy, Debug, Default, PartialEq, thiserror::Error)]
#[error(
    "{open_edges} open edges, {shared_edges} edges shared by more than two triangles, \
     {turned_edges} edges that two triangles run along the same way, {pinched_vertices} vertices \
     where sheets touch, {flat_triangles} triangles without area, {bad_corners} corners that do \
     not exist, {bad_vertices} vertices unused or not finite, volume {volume_mm3} mm³"
)]
pub struct NotClosed {
    /// Edges with a triangle on one side only.
    pub open_edges: usize,
    /// Edges shared by more than two triangles.
    pub shared_edges: usize,
    /// Edges whose two triangles run along them in the same direction.
    pub turned_edges: usize,
    /// Vertices whose triangles form more than one ring.
    pub pinched_vertices: usize,
    /// Triangles that repeat a corner or have no area.
    pub flat_triangles: usize,
    /// Corners that point past the vertices; nothing else is counted then.
    pub bad_corners: usize,
    /// Vertices that no triangle uses or whose position is not finite.
    pub bad_vertices: usize,
    /// Enclosed volume with sign, mm³; 0 where anything above is not 0.
    pub volume_mm3: f64,
}

impl ClosedSurface {
    /// Check that a mesh bounds a body.
    ///
    /// # Errors
    ///
    /// [`NotClosed`] with the number of faults of each kind.
    pub fn check(mesh: TriMesh) -> Result<Self, NotClosed> {
        check_fans(&mesh)?;
        let totals = totals(&mesh);
        let components = components(&mesh);
        let positive = totals.volume_mm3 > 0.0;
        if !positive || outermost_is_hollow(&mesh, &components) {
            return Err(NotClosed { volume_mm3: totals.volume_mm3, ..NotClosed::default() });
        }
        Ok(Self { mesh, totals, components, index: OnceLock::new() })
    }

    /// The triangles.
    pub fn mesh(&self) -> &TriMesh {
        &self.mesh
    }

    /// Give the triangles back, and the proof up.
    pub fn into_mesh(self) -> TriMesh {
        self.mesh
    }

    /// Enclosed volume, mm³; hollows are taken off.
    pub fn volume_mm3(&self) -> f64 {
        self.totals.volume_mm3
    }

    /// Area, mm², hollows included.
    pub fn area_mm2(&self) -> f64 {
        self.totals.area_mm2
    }

    /// Centre of the enclosed volume's mass at even density, mm, LPS.
    pub fn mass_centre(&self) -> PatientPoint {
        self.totals.centre
    }

    /// Vertices − edges + triangles: 2 for a ball, 0 for a torus; a hollow
    /// adds 2, a handle takes 2 off.
    pub fn euler_number(&self) -> i64 {
        euler(self.mesh.vertices.len(), self.mesh.triangles.len())
    }

    /// The connected sheets of the surface, in the order of their first
    /// triangle.
    pub fn components(&self) -> &[Component] {
        &self.components
    }

    /// The index for rays and distances, built at the first call.
    pub fn index(&self) -> &RayIndex {
        self.index.get_or_init(|| RayIndex::new(&self.mesh))
    }

    /// Whether a position lies inside the body; one on the surface may be
    /// either.
    pub fn is_inside(&self, at: PatientPoint) -> bool {
        self.index().is_inside(at)
    }

    /// Distance to the surface, mm, positive inside.
    pub fn depth_mm(&self, at: PatientPoint) -> f64 {
        let distance = self.index().nearest(at).map_or(f64::INFINITY, |near| near.distance_mm);
        if self.is_inside(at) { distance } else { -distance }
    }
}

impl Clone for ClosedSurface {
    fn clone(&self) -> Self {
        Self {
            mesh: self.mesh.clone(),
            totals: self.totals,
            components: self.components.clone(),
            index: OnceLock::new(),
        }
    }
}

impl PartialEq for ClosedSurface {
    fn eq(&self, other: &Self) -> bool {
        self.mesh == other.mesh
    }
}

fn euler(vertices: usize, triangles: usize) -> i64 {
    // Every edge has two triangles, so there are 3/2 edges a triangle.
    vertices as i64 - (triangles / 2) as i64
}

/// Whether a sheet that faces inward reaches the end of everything, where
/// nothing can be around it.
fn outermost_is_hollow(mesh: &TriMesh, components: &[Component]) -> bool {
    let Some(all) = mesh.bounds_mm() else { return false };
    components.iter().filter(|c| c.is_hollow()).any(|c| {
        (0..3).any(|axis| {
            c.bounds_mm[0].0[axis] <= all[0].0[axis] || c.bounds_mm[1].0[axis] >= all[1].0[axis]
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tetrahedron() -> TriMesh {
        let vertices = [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
        TriMesh {
            vertices: vertices.map(PatientPoint).to_vec(),
            triangles: vec![[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]],
        }
    }

    #[test]
    fn a_tetrahedron_is_measured() {
        let surface = ClosedSurface::check(tetrahedron()).expect("closed");
        assert!((surface.volume_mm3() - 1.0 / 6.0).abs() < 1e-12);
        assert!((surface.area_mm2() - (1.5 + 0.75_f64.sqrt())).abs() < 1e-12);
        assert!(surface.mass_centre().distance_mm(PatientPoint([0.25; 3])) < 1e-12);
        assert_eq!((surface.euler_number(), surface.components().len()), (2, 1));
        assert!(surface.is_inside(PatientPoint([0.1; 3])));
        assert!(!surface.is_inside(PatientPoint([0.4; 3])));
        assert!((surface.depth_mm(PatientPoint([0.1; 3])) - 0.1).abs() < 1e-12);
    }

    #[test]
    fn each_fault_is_counted_as_what_it_is() {
        let refused = |change: fn(&mut TriMesh)| {
            let mut mesh = tetrahedron();
            change(&mut mesh);
            ClosedSurface::check(mesh).expect_err("not closed")
        };
        assert_eq!(refused(|m| m.triangles.truncate(3)).open_edges, 3);
        assert_eq!(refused(|m| m.triangles[2].reverse()).turned_edges, 3);
        assert_eq!(refused(|m| m.triangles[0][0] = 9).bad_corners, 1);
        assert_eq!(refused(|m| m.vertices.push(PatientPoint([0.0; 3]))).bad_vertices, 1);
        assert_eq!(refused(|m| m.vertices[0].0[1] = f64::NAN).bad_vertices, 1);
        assert!(refused(|m| m.triangles.iter_mut().for_each(|t| t.reverse())).volume_mm3 < 0.0);
        assert!(refused(|m| m.vertices[3] = m.vertices[0]).flat_triangles > 0);
        let twice = |m: &mut TriMesh| {
            m.triangles.extend_from_within(..);
        };
        assert_eq!(refused(twice).shared_edges, 6);
        // Two bodies that touch in one vertex.
        let touching = |m: &mut TriMesh| {
            m.vertices
                .extend([[-1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, -1.0]].map(PatientPoint));
            m.triangles.extend([[0, 4, 5], [0, 6, 4], [4, 6, 5], [0, 5, 6]]);
        };
        assert_eq!(refused(touching), NotClosed { pinched_vertices: 1, ..NotClosed::default() });
    }
}
