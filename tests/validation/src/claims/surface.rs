//! The bone's surface.

use pilothole_surface::{ClosedSurface, DualContouring, Extract, RayIndex, SurfaceNets, TriMesh};
use pilothole_volume::{Direction, Field, Grid, Offset, PatientPoint, Region, Volume, Voxels};

use super::{Section, World};
use crate::row::{ERROR_HEADS, Row, Tag, figures};

/// Errors of vertices and triangle middles of a sphere of 20 voxels, voxels.
fn sphere(method: &dyn Extract) -> Vec<f64> {
    let centre = PatientPoint([24.3, 23.6, 24.9]);
    let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
    let grid =
        Grid::from_axes([49, 49, 50], PatientPoint([0.0; 3]), axes, [1.0; 3]).expect("square");
    let depth = |at: PatientPoint| 20.0 - at.distance_mm(centre);
    let values = (0..grid.voxel_count())
        .map(|i| depth(grid.centre_of([i % 49, i / 49 % 49, i / 2401])) as f32)
        .collect();
    let field = Field::new(grid, values).expect("fits");
    let surface = method.extract_field(&field).expect("fits").closed().expect("closed");
    let mesh = surface.mesh();
    let middles = (0..mesh.triangles.len()).map(|t| middle(mesh.corners(t)));
    mesh.vertices.iter().copied().chain(middles).map(|at| -depth(at)).collect()
}

fn middle(corners: [PatientPoint; 3]) -> PatientPoint {
    PatientPoint(std::array::from_fn(|n| corners.iter().map(|c| c.0[n]).sum::<f64>() / 3.0))
}

/// First voxel and size of the block of `tests/reference/surface_vtk.py`.
const FROM: [usize; 3] = [356, 252, 78];
const SIZE: [usize; 3] = [14, 14, 7];

/// VTK's surface, as recorded.
fn theirs(world: &World) -> TriMesh {
    let path = world.root.join("fixtures/reference/surface_vtk.csv");
    let text = std::fs::read_to_string(path).expect("the recorded surface is there");
    let mut mesh = TriMesh::default();
    for line in text.lines() {
        let cells: Vec<&str> = line.split(',').collect();
        if cells[0] == "v" {
            let at = std::array::from_fn(|n| cells[n + 1].parse().expect("a number"));
            mesh.vertices.push(PatientPoint(at));
        } else {
            let corners = std::array::from_fn(|n| cells[n + 1].parse().expect("a vertex"));
            mesh.triangles.push(corners);
        }
    }
    mesh
}

/// The same block of the scan, with a layer of -1024 around.
fn block(volume: &Volume) -> Volume {
    let steps = volume.grid().steps();
    let back = steps.iter().fold(Offset::ZERO, |sum, step| sum + *step * -1.0);
    let origin = volume.grid().centre_of(FROM) + back;
    let size = SIZE.map(|n| n + 2);
    let grid = Grid::new(size, origin, steps).expect("spans a volume");
    let inside = |index: [usize; 3]| (0..3).all(|n| (1..=SIZE[n]).contains(&index[n]));
    let hu = (0..grid.voxel_count())
        .map(|i| [i % size[0], i / size[0] % size[1], i / (size[0] * size[1])])
        .map(|index| {
            let there = std::array::from_fn(|n| FROM[n] + index[n] - usize::from(index[n] > 0));
            if inside(index) { volume.hu_or_nan(there) } else { -1024.0 }
        })
        .collect();
    Volume::new(grid, Voxels::F32(hu), None).expect("fits")
}

/// Distances of points from a surface, mm.
fn distances(points: &[PatientPoint], index: &RayIndex) -> Vec<f64> {
    index.nearest_all(points).iter().map(|near| near.expect("a surface").distance_mm).collect()
}

/// Distances of our vertices from VTK's surface, and of VTK's from ours, mm;
/// `None` where the scan is not at hand.
///
/// # Panics
///
/// When the recorded surface cannot be read or ours is not closed.
pub fn both_ways(world: &World) -> Option<(Vec<f64>, Vec<f64>)> {
    let volume = block(world.native()?);
    let region = Region::whole(volume.grid());
    let ours: ClosedSurface =
        SurfaceNets.extract_volume(&volume, region, 226.0).expect("fits").closed().expect("closed");
    let theirs = theirs(world);
    let there = distances(&ours.mesh().vertices, &RayIndex::new(&theirs));
    Some((there, distances(&theirs.vertices, ours.index())))
}

pub(super) fn section(world: &World) -> Section {
    let (there, back) = both_ways(world).unwrap_or_default();
    let ball = |id, name: &str, method: &dyn Extract| Row {
        id,
        what: format!("a sphere of 20 voxels, {name}, vertices and triangle middles"),
        source: "closed form".to_owned(),
        tag: Tag::Derived,
        figures: figures(&sphere(method), "voxel"),
        test: "crates/surface/tests/surface/accuracy.rs `a_sphere_of_20_voxels_is_within_a_hundredth`",
        needs_scan: false,
    };
    let real = |id, what: &str, errors: &[f64]| Row {
        id,
        what: format!(
            "{what}, 14 × 14 × 7 voxels of 1 × 1 × 3 mm in the roof of a real hip, 226 HU"
        ),
        source: "VTK 9, flying edges".to_owned(),
        tag: Tag::Recorded,
        figures: figures(errors, "mm"),
        test: "tests/validation/tests/page.rs `both_surfaces_of_real_bone_lie_within_half_a_voxel`",
        needs_scan: true,
    };
    Section {
        title: "Surface",
        claim: "The surface of the bone is closed, without an edge of three triangles, and lies on the bone.".to_owned(),
        heads: ERROR_HEADS.to_vec(),
        rows: vec![
            ball("surface-sphere", "surface nets", &SurfaceNets),
            ball("surface-sphere-sharp", "dual contouring", &DualContouring),
            real("surface-vtk-there", "our vertices to VTK's surface", &there),
            real("surface-vtk-back", "VTK's vertices to our surface", &back),
        ],
        remarks: "Distances have no sign, so bias is the mean distance. Surface nets put one vertex into a cell where VTK puts one on every edge; on a slice step of 3 mm the two differ most at edges across slices. Held without a figure here: 500 volumes of noise stay closed and manifold (`crates/surface/tests/surface/topology.rs`).".to_owned(),
    }
}
