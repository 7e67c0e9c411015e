//! Volume, area, mass centre; the connected sheets.

use pilothole_volume::PatientPoint;
use rayon::prelude::*;

use crate::mesh::TriMesh;

/// Triangles that one sum takes together; the same for any number of threads,
/// so that sums round the same.
const TRIANGLES_A_SUM: usize = 1 << 14;

/// Sums over all triangles.
#[derive(Clone, Copy, Debug)]
pub(super) struct Totals {
    pub(super) volume_mm3: f64,
    pub(super) area_mm2: f64,
    pub(super) centre: PatientPoint,
}

/// A connected sheet of a closed surface.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Component {
    /// Position of its first triangle.
    pub first_triangle: u32,
    /// Number of its triangles.
    pub triangles: usize,
    /// Volume it bounds, mm³; negative where it is the inner wall of a hollow.
    pub volume_mm3: f64,
    /// Its area, mm².
    pub area_mm2: f64,
    /// Least and greatest coordinate along L, P, S, mm.
    pub bounds_mm: [PatientPoint; 2],
    /// Vertices − edges + triangles: 2 less two a handle.
    pub euler_number: i64,
}

impl Component {
    /// Whether it is the inner wall of a hollow.
    pub fn is_hollow(&self) -> bool {
        self.volume_mm3 <= 0.0
    }
}

/// Six times the volume, twice the area, 24 times the first moment of the
/// tetrahedra and triangles seen from `origin`.
#[derive(Clone, Copy, Default)]
struct Sums {
    volume: f64,
    area: f64,
    moment: [f64; 3],
}

impl Sums {
    fn add(&mut self, mesh: &TriMesh, triangle: usize, origin: PatientPoint) {
        let corners = mesh.corners(triangle).map(|p| p - origin);
        let [a, b, c] = corners;
        let volume = a.dot(b.cross(c));
        self.volume += volume;
        self.area += mesh.doubled_normal(triangle).length_mm();
        for (axis, moment) in self.moment.iter_mut().enumerate() {
            *moment += volume * corners.iter().map(|p| p.0[axis]).sum::<f64>();
        }
    }

    fn plus(mut self, other: &Self) -> Self {
        self.volume += other.volume;
        self.area += other.area;
        for axis in 0..3 {
            self.moment[axis] += other.moment[axis];
        }
        self
    }
}

/// Sums are taken about a point of the mesh, so that little cancels.
fn origin_of(mesh: &TriMesh) -> PatientPoint {
    mesh.bounds_mm().map_or(PatientPoint([0.0; 3]), |[low, high]| {
        PatientPoint(std::array::from_fn(|n| 0.5 * (low.0[n] + high.0[n])))
    })
}

pub(super) fn totals(mesh: &TriMesh) -> Totals {
    let origin = origin_of(mesh);
    let starts: Vec<usize> = (0..mesh.triangles.len()).step_by(TRIANGLES_A_SUM).collect();
    let parts: Vec<Sums> = starts
        .into_par_iter()
        .map(|start| {
            let mut sums = Sums::default();
            for triangle in start..(start + TRIANGLES_A_SUM).min(mesh.triangles.len()) {
                sums.add(mesh, triangle, origin);
            }
            sums
        })
        .collect();
    let sums = parts.iter().fold(Sums::default(), Sums::plus);
    let centre = std::array::from_fn(|n| origin.0[n] + sums.moment[n] / (4.0 * sums.volume));
    Totals {
        volume_mm3: sums.volume / 6.0,
        area_mm2: sums.area / 2.0,
        centre: PatientPoint(centre),
    }
}

/// For each vertex, the connected sheet it belongs to, as numbered by
/// [`components`]; every vertex has a triangle.
pub(crate) fn parts_of_vertices(mesh: &TriMesh) -> Vec<u32> {
    let mut parent = connected(mesh);
    let mut number_of = vec![u32::MAX; mesh.vertices.len()];
    let mut count = 0;
    for [a, ..] in &mesh.triangles {
        let root = root(&mut parent, *a) as usize;
        if number_of[root] == u32::MAX {
            number_of[root] = count;
            count += 1;
        }
    }
    (0..mesh.vertices.len() as u32).map(|v| number_of[root(&mut parent, v) as usize]).collect()
}

/// A forest of vertices, one tree a sheet.
fn connected(mesh: &TriMesh) -> Vec<u32> {
    let mut parent: Vec<u32> = (0..mesh.vertices.len() as u32).collect();
    for [a, b, c] in &mesh.triangles {
        join(&mut parent, *a, *b);
        join(&mut parent, *b, *c);
    }
    parent
}

/// The connected sheets, in the order of their first triangle.
pub(super) fn components(mesh: &TriMesh) -> Vec<Component> {
    let mut parent = connected(mesh);
    let mut number_of = vec![u32::MAX; mesh.vertices.len()];
    let mut sums: Vec<Sums> = Vec::new();
    let mut all: Vec<Component> = Vec::new();
    let origin = origin_of(mesh);
    for (triangle, [a, ..]) in mesh.triangles.iter().enumerate() {
        let root = root(&mut parent, *a) as usize;
        if number_of[root] == u32::MAX {
            number_of[root] = all.len() as u32;
            let at = mesh.vertices[*a as usize];
            sums.push(Sums::default());
            all.push(Component {
                first_triangle: triangle as u32,
                triangles: 0,
                volume_mm3: 0.0,
                area_mm2: 0.0,
                bounds_mm: [at, at],
                euler_number: 0,
            });
        }
        let number = number_of[root] as usize;
        sums[number].add(mesh, triangle, origin);
        all[number].triangles += 1;
    }
    for vertex in 0..mesh.vertices.len() {
        let number = number_of[root(&mut parent, vertex as u32) as usize] as usize;
        let component = &mut all[number];
        component.euler_number += 1;
        let [low, high] = &mut component.bounds_mm;
        for axis in 0..3 {
            low.0[axis] = low.0[axis].min(mesh.vertices[vertex].0[axis]);
            high.0[axis] = high.0[axis].max(mesh.vertices[vertex].0[axis]);
        }
    }
    for (component, sums) in all.iter_mut().zip(&sums) {
        component.volume_mm3 = sums.volume / 6.0;
        component.area_mm2 = sums.area / 2.0;
        component.euler_number -= (component.triangles / 2) as i64;
    }
    all
}

fn join(parent: &mut [u32], a: u32, b: u32) {
    let (a, b) = (root(parent, a), root(parent, b));
    parent[a.max(b) as usize] = a.min(b);
}

fn root(parent: &mut [u32], mut vertex: u32) -> u32 {
    while parent[vertex as usize] != vertex {
        let above = parent[parent[vertex as usize] as usize];
        parent[vertex as usize] = above;
        vertex = above;
    }
    vertex
}
