//! Binary PLY, with numbers of your own at every vertex.

use std::fmt::Write as _;
use std::io::Write;

use super::{Gather, MeshFileError, MeshLabel, check_corners, count_u32};
use crate::mesh::TriMesh;

/// A number at every vertex.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VertexProperty<'a> {
    /// One word of a-z, 0-9 and underscores; say the unit in it.
    pub name: &'a str,
    /// One value a vertex, in the vertices' order.
    pub values: &'a [f32],
}

/// Write a little-endian binary PLY: mm, LPS, positions as f32.
///
/// - `properties`: written as `float` properties after `x`, `y`, `z`.
///
/// # Errors
///
/// [`MeshFileError::Write`]; [`MeshFileError::Corner`];
/// [`MeshFileError::PropertyCount`]; [`MeshFileError::PropertyName`];
/// [`MeshFileError::TooLarge`] beyond 2³² − 1 vertices or triangles.
pub fn write_ply(
    to: &mut impl Write,
    mesh: &TriMesh,
    label: MeshLabel,
    properties: &[VertexProperty<'_>],
) -> Result<(), MeshFileError> {
    check_corners(mesh)?;
    check_properties(mesh, properties)?;
    let (vertices, triangles) = (count_u32(mesh.vertices.len())?, count_u32(mesh.triangles.len())?);
    let mut header = format!(
        "ply\nformat binary_little_endian 1.0\ncomment {}\nelement vertex {vertices}\n\
         property float x\nproperty float y\nproperty float z\n",
        label.line()
    );
    for property in properties {
        // Writing to a string does not fail.
        writeln!(header, "property float {}", property.name).unwrap_or_default();
    }
    write!(
        header,
        "element face {triangles}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    .unwrap_or_default();
    let mut out = Gather::new(to);
    out.put(header.as_bytes())?;
    for (number, vertex) in mesh.vertices.iter().enumerate() {
        for coordinate in vertex.0 {
            out.put(&(coordinate as f32).to_le_bytes())?;
        }
        for property in properties {
            out.put(&property.values[number].to_le_bytes())?;
        }
    }
    for triangle in &mesh.triangles {
        let mut record = [3; 13];
        for (place, corner) in record[1..].chunks_exact_mut(4).zip(triangle) {
            place.copy_from_slice(&corner.to_le_bytes());
        }
        out.put(&record)?;
    }
    Ok(out.finish()?)
}

fn check_properties(
    mesh: &TriMesh,
    properties: &[VertexProperty<'_>],
) -> Result<(), MeshFileError> {
    for (number, VertexProperty { name, values }) in properties.iter().enumerate() {
        let is_word = !name.is_empty()
            && name.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'_');
        let is_taken = ["x", "y", "z"].contains(name)
            || properties[..number].iter().any(|earlier| earlier.name == *name);
        if !is_word || is_taken {
            return Err(MeshFileError::PropertyName { name: (*name).to_owned() });
        }
        if values.len() != mesh.vertices.len() {
            return Err(MeshFileError::PropertyCount {
                name: (*name).to_owned(),
                expected: mesh.vertices.len(),
                found: values.len(),
            });
        }
    }
    Ok(())
}
