//! The ring of triangles around every vertex.

use rayon::prelude::*;

use super::NotClosed;
use crate::mesh::TriMesh;

/// The triangles around each vertex: for a vertex `v` of a triangle `v, a, b`
/// the pair `[a, b]`.
pub(crate) struct Fans {
    /// Where each vertex's pairs start in `pairs`; one more at the end.
    starts: Vec<u32>,
    pairs: Vec<[u32; 2]>,
}

impl Fans {
    /// Gather the fans; every corner must exist.
    pub(crate) fn of(vertex_count: usize, triangles: &[[u32; 3]]) -> Self {
        let mut starts = vec![0_u32; vertex_count + 1];
        for corner in triangles.iter().flatten() {
            starts[*corner as usize + 1] += 1;
        }
        for vertex in 0..vertex_count {
            starts[vertex + 1] += starts[vertex];
        }
        let mut next = starts.clone();
        let mut pairs = vec![[0_u32; 2]; triangles.len() * 3];
        for [a, b, c] in triangles {
            for [v, ahead, behind] in [[a, b, c], [b, c, a], [c, a, b]] {
                let place = &mut next[*v as usize];
                pairs[*place as usize] = [*ahead, *behind];
                *place += 1;
            }
        }
        Self { starts, pairs }
    }

    /// The pairs around a vertex.
    #[inline]
    pub(crate) fn around(&self, vertex: usize) -> &[[u32; 2]] {
        &self.pairs[self.starts[vertex] as usize..self.starts[vertex + 1] as usize]
    }
}

/// Look at every vertex, edge and triangle.
pub(super) fn check_fans(mesh: &TriMesh) -> Result<(), NotClosed> {
    let count = mesh.vertices.len();
    let bad_corners = mesh.triangles.iter().flatten().filter(|c| **c as usize >= count).count();
    if bad_corners > 0 {
        return Err(NotClosed { bad_corners, ..NotClosed::default() });
    }
    let fans = Fans::of(count, &mesh.triangles);
    let around = (0..count).into_par_iter().with_min_len(4096).map(|vertex| {
        let mut faults = faults_around(vertex as u32, fans.around(vertex));
        faults.bad_vertices += usize::from(!mesh.vertices[vertex].is_finite());
        faults
    });
    let mut faults = around.reduce(NotClosed::default, sum);
    faults.flat_triangles = (0..mesh.triangles.len())
        .into_par_iter()
        .with_min_len(4096)
        .filter(|t| is_flat(mesh, *t))
        .count();
    if faults == NotClosed::default() { Ok(()) } else { Err(faults) }
}

fn is_flat(mesh: &TriMesh, triangle: usize) -> bool {
    let [a, b, c] = mesh.triangles[triangle];
    // A length that is not a number belongs to a vertex that was counted.
    a == b || b == c || c == a || mesh.doubled_normal(triangle).length_mm() <= 0.0
}

fn sum(a: NotClosed, b: NotClosed) -> NotClosed {
    NotClosed {
        open_edges: a.open_edges + b.open_edges,
        shared_edges: a.shared_edges + b.shared_edges,
        turned_edges: a.turned_edges + b.turned_edges,
        pinched_vertices: a.pinched_vertices + b.pinched_vertices,
        flat_triangles: a.flat_triangles + b.flat_triangles,
        bad_corners: a.bad_corners + b.bad_corners,
        bad_vertices: a.bad_vertices + b.bad_vertices,
        volume_mm3: 0.0,
    }
}

/// Faults of a vertex and of its edges to higher vertices.
fn faults_around(vertex: u32, pairs: &[[u32; 2]]) -> NotClosed {
    let mut faults = NotClosed::default();
    if pairs.is_empty() {
        faults.bad_vertices = 1;
        return faults;
    }
    if ring_length(pairs) == Some(pairs.len()) {
        return faults;
    }
    let mut edges_are_sound = true;
    let mut others: Vec<u32> = pairs.iter().flatten().copied().filter(|o| *o != vertex).collect();
    others.sort_unstable();
    others.dedup();
    for other in others {
        let out = pairs.iter().filter(|p| p[0] == other).count();
        let back = pairs.iter().filter(|p| p[1] == other).count();
        edges_are_sound &= out == 1 && back == 1;
        if other < vertex {
            continue;
        }
        match out + back {
            2 => faults.turned_edges += usize::from(out != back),
            1 => faults.open_edges += 1,
            _ => faults.shared_edges += 1,
        }
    }
    faults.pinched_vertices = usize::from(edges_are_sound);
    faults
}

/// Triangles met on a walk around a vertex that starts at the first and turns
/// back to it; `None` when the walk ends, or a step is not unique.
fn ring_length(pairs: &[[u32; 2]]) -> Option<usize> {
    let start = pairs.first()?[0];
    let mut at = start;
    for length in 1..=pairs.len() {
        let mut ways = pairs.iter().filter(|p| p[0] == at);
        let next = ways.next()?[1];
        if ways.next().is_some() {
            return None;
        }
        if next == start {
            return Some(length);
        }
        at = next;
    }
    None
}
