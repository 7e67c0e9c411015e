//! Files written, and read back by this crate and by others.

use std::io::Cursor;

use pilothole_surface::{
    ClosedSurface, Extract, MeshFileError, MeshLabel, Side, SurfaceNets, TriMesh, VertexProperty,
    read_stl, write_3mf, write_obj, write_ply, write_stl,
};

use crate::bodies::{closed, field, torus, unit_grid};

const LABEL: MeshLabel = MeshLabel { side: Side::Left };

fn surface() -> ClosedSurface {
    let grid = unit_grid([48, 48, 24]);
    closed(
        SurfaceNets
            .extract_field(&field(&grid, torus([23.4, 23.8, 11.2], 14.0, 6.0)))
            .expect("fits"),
    )
}

fn stl(mesh: &TriMesh) -> Vec<u8> {
    let mut bytes = Vec::new();
    write_stl(&mut bytes, mesh, LABEL).expect("memory");
    bytes
}

#[test]
fn an_stl_comes_back_the_same() {
    let surface = surface();
    let bytes = stl(surface.mesh());
    let header = std::str::from_utf8(&bytes[..80]).expect("ASCII");
    assert!(
        header.contains("unit=mm") && header.contains("frame=LPS") && header.contains("side=left")
    );
    assert!(!header.starts_with("solid"));
    let back = read_stl(&bytes).expect("own file");
    assert_eq!(back.triangles.len(), surface.mesh().triangles.len());
    for triangle in 0..back.triangles.len() {
        for (a, b) in back.corners(triangle).into_iter().zip(surface.mesh().corners(triangle)) {
            assert!(a.distance_mm(b) < 2e-5);
        }
    }
    let again = ClosedSurface::check(back).expect("closed in f32 too");
    assert!((again.volume_mm3() / surface.volume_mm3() - 1.0).abs() < 1e-6);
    assert_eq!(stl(again.mesh()), bytes);
}

#[test]
fn another_reader_reads_the_same() {
    let surface = surface();
    let bytes = stl(surface.mesh());
    let theirs = stl_io::read_stl(&mut Cursor::new(&bytes)).expect("reads");
    let ours = read_stl(&bytes).expect("reads");
    assert_eq!(theirs.faces.len(), ours.triangles.len());
    assert_eq!(theirs.vertices.len(), ours.vertices.len());
    theirs.validate().expect("no holes");
    for (face, triangle) in theirs.faces.iter().zip(0..) {
        let normal = ours.doubled_normal(triangle);
        let length = normal.length_mm();
        for axis in 0..3 {
            assert!((f64::from(face.normal[axis]) - normal.0[axis] / length).abs() < 1e-4);
        }
    }
}

#[test]
fn hostile_stls_are_refused_before_memory_is_asked_for() {
    let good = stl(surface().mesh());
    for length in (0..good.len()).step_by(997).chain([0, 79, 80, 83, 84, 85]) {
        assert!(read_stl(&good[..length]).is_err(), "{length} bytes");
    }
    let mut lying = good[..84].to_vec();
    lying[80..].copy_from_slice(&u32::MAX.to_le_bytes());
    assert!(matches!(
        read_stl(&lying),
        Err(MeshFileError::Truncated { expected: 214_748_364_834, found: 84 })
    ));
    let mut long = good.clone();
    long.push(0);
    assert!(matches!(read_stl(&long), Err(MeshFileError::Trailing { .. })));
    let mut bad = good.clone();
    bad[84 + 50 * 3 + 12..][..4].copy_from_slice(&f32::NAN.to_le_bytes());
    assert!(matches!(read_stl(&bad), Err(MeshFileError::NotFinite { triangle: 3 })));
    let text = b"solid part\n facet normal 0 0 1\n outer loop\n vertex 0 0 0\n vertex 1 0 0\n vertex 0 1 0\n endloop\n endfacet\nendsolid part\n";
    assert!(matches!(read_stl(text), Err(MeshFileError::Text)));
}

#[test]
fn an_stl_of_nothing_is_84_bytes() {
    let bytes = stl(&TriMesh::default());
    assert_eq!(bytes.len(), 84);
    assert_eq!(read_stl(&bytes).expect("reads"), TriMesh::default());
}

#[test]
fn a_ply_holds_positions_triangles_and_properties() {
    let surface = surface();
    let mesh = surface.mesh();
    let values: Vec<f32> = (0..mesh.vertices.len()).map(|n| n as f32 * 0.5).collect();
    let property = VertexProperty { name: "density_hu", values: &values };
    let mut bytes = Vec::new();
    write_ply(&mut bytes, mesh, LABEL, &[property]).expect("memory");
    let end = bytes.windows(11).position(|w| w == b"end_header\n").expect("a header") + 11;
    let header = std::str::from_utf8(&bytes[..end]).expect("ASCII");
    assert!(header.starts_with("ply\nformat binary_little_endian 1.0\ncomment "));
    assert!(
        header.contains("unit=mm; frame=LPS; side=left") && header.contains("not a medical device")
    );
    assert!(header.contains("property float z\nproperty float density_hu\nelement face"));
    let body = &bytes[end..];
    assert_eq!(body.len(), mesh.vertices.len() * 16 + mesh.triangles.len() * 13);
    let number = |at: usize| f32::from_le_bytes(*body[at..].first_chunk().expect("in the file"));
    for (n, vertex) in mesh.vertices.iter().enumerate() {
        for axis in 0..3 {
            assert!((f64::from(number(16 * n + 4 * axis)) - vertex.0[axis]).abs() < 2e-5);
        }
        assert!((number(16 * n + 12) - values[n]).abs() < 1e-6);
    }
    let faces = &body[mesh.vertices.len() * 16..];
    for (face, triangle) in faces.chunks_exact(13).zip(&mesh.triangles) {
        assert_eq!(face[0], 3);
        let corner =
            |n: usize| u32::from_le_bytes(*face[1 + 4 * n..].first_chunk().expect("in the file"));
        assert_eq!([corner(0), corner(1), corner(2)], *triangle);
    }
}

#[test]
fn ply_properties_are_checked() {
    let surface = surface();
    let write = |name, count| {
        let values = vec![0.0; count];
        write_ply(
            &mut Vec::new(),
            surface.mesh(),
            LABEL,
            &[VertexProperty { name, values: &values }],
        )
    };
    let count = surface.mesh().vertices.len();
    assert!(matches!(write("hu", count - 1), Err(MeshFileError::PropertyCount { .. })));
    for name in ["", "x", "two words", "line\nbreak"] {
        assert!(matches!(write(name, count), Err(MeshFileError::PropertyName { .. })));
    }
}

#[test]
fn an_obj_and_a_3mf_hold_the_same_numbers() {
    let surface = surface();
    let mesh = surface.mesh();
    let mut obj = Vec::new();
    write_obj(&mut obj, mesh, LABEL).expect("memory");
    let obj = String::from_utf8(obj).expect("text");
    let vertices: Vec<Vec<f64>> = obj
        .lines()
        .filter_map(|l| l.strip_prefix("v "))
        .map(|l| l.split(' ').map(|n| n.parse().expect("a number")).collect())
        .collect();
    let triangles: Vec<Vec<u32>> = obj
        .lines()
        .filter_map(|l| l.strip_prefix("f "))
        .map(|l| l.split(' ').map(|n| n.parse::<u32>().expect("a number") - 1).collect())
        .collect();
    assert_eq!((vertices.len(), triangles.len()), (mesh.vertices.len(), mesh.triangles.len()));
    assert!(triangles.iter().zip(&mesh.triangles).all(|(a, b)| a == b));
    for (found, vertex) in vertices.iter().zip(&mesh.vertices) {
        assert!((0..3).all(|n| (found[n] - vertex.0[n]).abs() < 6e-5));
    }
    let mut package = Cursor::new(Vec::new());
    write_3mf(&mut package, mesh, LABEL).expect("memory");
    let mut archive = zip::ZipArchive::new(package).expect("a package");
    let mut model = String::new();
    let mut part = archive.by_name("3D/3dmodel.model").expect("a model");
    std::io::Read::read_to_string(&mut part, &mut model).expect("text");
    assert_eq!(model.matches("<vertex ").count(), mesh.vertices.len());
    assert_eq!(model.matches("<triangle ").count(), mesh.triangles.len());
    assert!(model.contains("unit=\"millimeter\""));
}

#[test]
fn the_same_mesh_gives_the_same_bytes() {
    let surface = surface();
    let package = || {
        let mut bytes = Cursor::new(Vec::new());
        write_3mf(&mut bytes, surface.mesh(), LABEL).expect("memory");
        bytes.into_inner()
    };
    assert!(package() == package());
}

#[test]
fn a_corner_that_does_not_exist_is_refused() {
    let mesh = TriMesh { vertices: Vec::new(), triangles: vec![[0, 1, 2]] };
    let refused = write_stl(&mut Vec::new(), &mesh, LABEL);
    assert!(matches!(refused, Err(MeshFileError::Corner { triangle: 0, vertex: 0, vertices: 0 })));
}
