//! Binary STL: 80 bytes of words, a count, 50 bytes a triangle.

use std::io::Write;

use pilothole_volume::PatientPoint;
use rayon::prelude::*;

use super::{Gather, MeshFileError, MeshLabel, check_corners, count_u32};
use crate::mesh::TriMesh;

const HEADER: usize = 80;
const BYTES_A_TRIANGLE: usize = 50;

/// Write a binary STL: mm, LPS, coordinates rounded to f32 (0.03 µm at 0.5 m).
///
/// The header says unit, frame and side; the normals are those of the rounded
/// corners, zero where these have no area.
///
/// # Errors
///
/// [`MeshFileError::Write`]; [`MeshFileError::Corner`];
/// [`MeshFileError::TooLarge`] beyond 2³² − 1 triangles.
pub fn write_stl(
    to: &mut impl Write,
    mesh: &TriMesh,
    label: MeshLabel,
) -> Result<(), MeshFileError> {
    check_corners(mesh)?;
    let mut header = [b' '; HEADER];
    let words = label.line();
    header[..words.len().min(HEADER)].copy_from_slice(&words.as_bytes()[..words.len().min(HEADER)]);
    let mut out = Gather::new(to);
    out.put(&header)?;
    out.put(&count_u32(mesh.triangles.len())?.to_le_bytes())?;
    for triangle in 0..mesh.triangles.len() {
        let corners = mesh.corners(triangle).map(|p| p.0.map(|c| c as f32));
        let mut record = [0; BYTES_A_TRIANGLE];
        let numbers = normal_of(corners).into_iter().chain(corners.into_iter().flatten());
        for (place, number) in record.chunks_exact_mut(4).zip(numbers) {
            place.copy_from_slice(&number.to_le_bytes());
        }
        out.put(&record)?;
    }
    Ok(out.finish()?)
}

/// Unit normal of three corners; zero where they have no area.
fn normal_of(corners: [[f32; 3]; 3]) -> [f32; 3] {
    let [a, b, c] = corners.map(|p| PatientPoint(p.map(f64::from)));
    let normal = (b - a).cross(c - a);
    let length = normal.length_mm();
    if length > 0.0 { normal.0.map(|n| (n / length) as f32) } else { [0.0; 3] }
}

/// Read a binary STL; corners at the same f32 position become one vertex, in
/// the order they first occur.
///
/// The count in the file is compared with the bytes before memory is asked
/// for. Normals and attributes are not looked at; nothing is checked of the
/// surface (see [`crate::ClosedSurface::check`]).
///
/// # Errors
///
/// [`MeshFileError::Truncated`], [`MeshFileError::Trailing`],
/// [`MeshFileError::Text`], [`MeshFileError::NotFinite`],
/// [`MeshFileError::TooLarge`] beyond 2³² − 1 corners.
pub fn read_stl(bytes: &[u8]) -> Result<TriMesh, MeshFileError> {
    let found = bytes.len() as u64;
    let body = HEADER + 4;
    let Some(count) = bytes.get(HEADER..body).and_then(|b| b.first_chunk::<4>()) else {
        return Err(if bytes.starts_with(b"solid") {
            MeshFileError::Text
        } else {
            MeshFileError::Truncated { expected: body as u64, found }
        });
    };
    let count = u32::from_le_bytes(*count);
    let expected = body as u64 + u64::from(count) * BYTES_A_TRIANGLE as u64;
    if expected != found {
        let is_text = bytes.starts_with(b"solid") && bytes.windows(5).any(|w| w == b"facet");
        return Err(match (is_text, found < expected) {
            (true, _) => MeshFileError::Text,
            (_, true) => MeshFileError::Truncated { expected, found },
            (_, false) => MeshFileError::Trailing { expected, found },
        });
    }
    count_u32(count as usize * 3)?;
    let mut corners = Vec::with_capacity(count as usize * 3);
    for (triangle, record) in bytes[body..].chunks_exact(BYTES_A_TRIANGLE).enumerate() {
        for corner in record[12..48].chunks_exact(12) {
            let point = point_of(corner);
            if point.iter().any(|c| !c.is_finite()) {
                return Err(MeshFileError::NotFinite { triangle });
            }
            corners.push(point);
        }
    }
    Ok(merge(&corners))
}

fn point_of(bytes: &[u8]) -> [f32; 3] {
    std::array::from_fn(|n| {
        let number = bytes[4 * n..].first_chunk::<4>().copied().unwrap_or_default();
        // Adding zero turns the negative zero into the positive one.
        f32::from_le_bytes(number) + 0.0
    })
}

fn merge(corners: &[[f32; 3]]) -> TriMesh {
    let keyed = |(n, c): (u32, &[f32; 3])| (c.map(f32::to_bits), n);
    let mut order: Vec<([u32; 3], u32)> = (0..).zip(corners).map(keyed).collect();
    order.par_sort_unstable();
    // First corner at each corner's position.
    let mut first_of = vec![0_u32; corners.len()];
    let mut first = 0;
    let mut last = None;
    for (position, corner) in &order {
        if last != Some(position) {
            first = *corner;
            last = Some(position);
        }
        first_of[*corner as usize] = first;
    }
    let mut mesh = TriMesh::default();
    let mut vertex_of = vec![0_u32; corners.len()];
    for (corner, first) in first_of.iter().enumerate() {
        if *first as usize == corner {
            vertex_of[corner] = mesh.vertices.len() as u32;
            mesh.vertices.push(PatientPoint(corners[corner].map(f64::from)));
        }
    }
    let (triangles, _) = first_of.as_chunks::<3>();
    mesh.triangles = triangles.iter().map(|t| t.map(|c| vertex_of[c as usize])).collect();
    mesh
}
