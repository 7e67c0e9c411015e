//! Rays, distances and inside, against closed forms and against every
//! triangle in turn.

use pilothole_surface::{ClosedSurface, Extract, RayIndex, SurfaceNets, TriMesh};
use pilothole_volume::{Direction, Offset, PatientPoint};

use crate::bodies::{Noise, ball, closed, cuboid, field, torus, unit_grid};

fn torus_surface() -> ClosedSurface {
    let grid = unit_grid([48, 48, 24]);
    closed(
        SurfaceNets
            .extract_field(&field(&grid, torus([23.4, 23.8, 11.2], 14.0, 6.0)))
            .expect("fits"),
    )
}

fn somewhere(noise: &mut Noise) -> PatientPoint {
    PatientPoint([
        -35.0 + 58.0 * noise.next(),
        7.0 + 58.0 * noise.next(),
        -205.0 + 34.0 * noise.next(),
    ])
}

fn anyway(noise: &mut Noise) -> Direction {
    let offset = std::array::from_fn(|_| noise.next() - 0.5);
    Direction::along(Offset(offset)).unwrap_or(Direction::LEFT)
}

/// All distances at which a ray meets triangles, one by one.
fn by_hand(mesh: &TriMesh, from: PatientPoint, along: Direction) -> Vec<f64> {
    let mut distances = Vec::new();
    for triangle in 0..mesh.triangles.len() {
        let [a, b, c] = mesh.corners(triangle);
        let (e1, e2, d) = (b - a, c - a, along.offset());
        let p = d.cross(e2);
        let det = e1.dot(p);
        let s = from - a;
        let q = s.cross(e1);
        let (u, v, t) = (s.dot(p) / det, d.dot(q) / det, e2.dot(q) / det);
        if u >= 0.0 && v >= 0.0 && u + v <= 1.0 && t >= 0.0 {
            distances.push(t);
        }
    }
    distances.sort_by(f64::total_cmp);
    distances
}

#[test]
fn rays_meet_what_they_meet_triangle_by_triangle() {
    let surface = torus_surface();
    let mut noise = Noise::new(11);
    let mut met = 0;
    for _ in 0..2000 {
        let (from, along) = (somewhere(&mut noise), anyway(&mut noise));
        let expected = by_hand(surface.mesh(), from, along);
        let hits = surface.index().all_hits(from, along, f64::INFINITY);
        assert_eq!(hits.len(), expected.len());
        for (hit, distance) in hits.iter().zip(&expected) {
            assert!((hit.distance_mm - distance).abs() < 1e-7);
        }
        let first = surface.index().first_hit(from, along, f64::INFINITY);
        assert_eq!(first.map(|h| h.triangle), hits.first().map(|h| h.triangle));
        assert!(hits.windows(2).all(|w| w[0].entering != w[1].entering));
        assert_eq!(surface.is_inside(from), hits.len() % 2 == 1);
        met += hits.len();
    }
    assert!(met > 500, "{met}");
}

#[test]
fn a_reach_is_kept() {
    let surface = torus_surface();
    let mut noise = Noise::new(3);
    for _ in 0..500 {
        let (from, along) = (somewhere(&mut noise), anyway(&mut noise));
        let Some(hit) = surface.index().first_hit(from, along, f64::INFINITY) else { continue };
        let short = surface.index().first_hit(from, along, hit.distance_mm - 1e-6);
        assert_eq!(short, None);
        let enough = surface.index().first_hit(from, along, hit.distance_mm + 1e-6);
        assert_eq!(enough.map(|h| h.triangle), Some(hit.triangle));
    }
}

#[test]
fn rays_through_vertices_and_edges_do_not_slip_through() {
    let grid = unit_grid([20; 3]);
    let surface = closed(
        SurfaceNets.extract_field(&field(&grid, cuboid([4.0; 3], [14.0; 3]))).expect("fits"),
    );
    let centre = PatientPoint([-21.0, 21.0, -191.0]);
    let mesh = surface.mesh();
    for vertex in &mesh.vertices {
        let along = Direction::along(*vertex - centre).expect("apart");
        let hit = surface.index().first_hit(centre, along, f64::INFINITY).expect("closed");
        assert!((hit.distance_mm - vertex.distance_mm(centre)).abs() < 1e-9);
    }
    // Straight along the axes, through a lattice of vertices and edges.
    for n in 0..121 {
        let from =
            PatientPoint([-28.0 + 2.0 + f64::from(n % 11), 16.0 + f64::from(n / 11), -250.0]);
        let hits = surface.index().all_hits(from, Direction::SUPERIOR, f64::INFINITY);
        assert!(hits.len().is_multiple_of(2), "{hits:?}");
    }
}

#[test]
fn the_nearest_point_is_nearest_and_on_the_surface() {
    let surface = torus_surface();
    let mesh = surface.mesh();
    let mut noise = Noise::new(17);
    for _ in 0..300 {
        let at = somewhere(&mut noise);
        let near = surface.index().nearest(at).expect("not empty");
        assert!((near.at.distance_mm(at) - near.distance_mm).abs() < 1e-9);
        let nearest_vertex =
            mesh.vertices.iter().map(|v| v.distance_mm(at)).fold(f64::INFINITY, f64::min);
        assert!(near.distance_mm <= nearest_vertex + 1e-12);
        // A torus of unit voxels: the closed form, within the surface's error.
        let [x, y, z]: [f64; 3] = std::array::from_fn(|n| at.0[n] - [-6.6, 35.8, -188.8][n]);
        let depth = 6.0 - (x.hypot(y) - 14.0).hypot(z);
        assert!((surface.depth_mm(at) - depth).abs() < 0.06, "{} {depth}", surface.depth_mm(at));
        let within = surface.index().nearest_within(at, near.distance_mm * 0.999);
        assert_eq!(within, None);
    }
}

#[test]
fn many_at_once_answer_as_one_by_one() {
    let surface = torus_surface();
    let mut noise = Noise::new(23);
    let rays: Vec<_> = (0..1500).map(|_| (somewhere(&mut noise), anyway(&mut noise))).collect();
    let points: Vec<_> = rays.iter().map(|r| r.0).collect();
    let hits = surface.index().first_hits(&rays, 40.0);
    let near = surface.index().nearest_all(&points);
    for (n, (from, along)) in rays.iter().enumerate() {
        assert_eq!(hits[n], surface.index().first_hit(*from, *along, 40.0));
        assert_eq!(near[n], surface.index().nearest(*from));
    }
}

#[test]
fn an_empty_mesh_meets_nothing() {
    let index = RayIndex::new(&TriMesh::default());
    let at = PatientPoint([0.0; 3]);
    assert_eq!(index.first_hit(at, Direction::LEFT, f64::INFINITY), None);
    assert_eq!(index.nearest(at), None);
}

#[test]
fn parts_and_hollows_are_told_apart() {
    let grid = unit_grid([40, 20, 20]);
    let shell = |p: [f64; 3]| ball([9.5; 3], 8.0)(p).min(-ball([9.5; 3], 4.0)(p));
    let body = field(&grid, |p| shell(p).max(ball([28.0, 9.5, 9.5], 5.0)(p)));
    let surface = closed(SurfaceNets.extract_field(&body).expect("fits"));
    let parts = surface.components();
    assert_eq!(parts.len(), 3);
    assert_eq!(parts.iter().filter(|c| c.is_hollow()).count(), 1);
    assert!(parts.iter().all(|c| c.euler_number == 2));
    let sum: f64 = parts.iter().map(|c| c.volume_mm3).sum();
    assert!((sum - surface.volume_mm3()).abs() < 1e-6);
    let origin = grid.origin();
    assert!(!surface.is_inside(origin + Offset([9.5, 9.5, 9.5])));
    assert!(surface.is_inside(origin + Offset([9.5, 9.5, 3.5])));
    assert!(surface.is_inside(origin + Offset([28.0, 9.5, 9.5])));
}
