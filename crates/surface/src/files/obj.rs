//! OBJ: one line a vertex, one a triangle.

use std::io::Write;

use super::{Gather, MeshFileError, MeshLabel, check_corners};
use crate::mesh::TriMesh;

/// Write an OBJ: mm, LPS, four decimals (0.1 µm).
///
/// # Errors
///
/// [`MeshFileError::Write`]; [`MeshFileError::Corner`].
pub fn write_obj(
    to: &mut impl Write,
    mesh: &TriMesh,
    label: MeshLabel,
) -> Result<(), MeshFileError> {
    check_corners(mesh)?;
    let mut out = Gather::new(to);
    out.put(format!("# {}\n", label.line()).as_bytes())?;
    for vertex in &mesh.vertices {
        let [x, y, z] = vertex.0;
        out.put(format!("v {x:.4} {y:.4} {z:.4}\n").as_bytes())?;
    }
    for triangle in &mesh.triangles {
        let [a, b, c] = triangle.map(|v| u64::from(v) + 1);
        out.put(format!("f {a} {b} {c}\n").as_bytes())?;
    }
    Ok(out.finish()?)
}
