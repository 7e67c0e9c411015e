//! Mesh files: STL, PLY, OBJ, 3MF out; STL back in.
//!
//! Writers say the unit and the frame where the format has a place for words,
//! and never who the patient is. The same mesh gives the same bytes.

mod obj;
mod ply;
mod stl;
mod threemf;

use std::io::Write;

pub use obj::write_obj;
pub use ply::{VertexProperty, write_ply};
pub use stl::{read_stl, write_stl};
pub use threemf::write_3mf;

/// Side of the body that a surface belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// The patient's left.
    Left,
    /// The patient's right.
    Right,
    /// Both, or the middle.
    Both,
}

impl Side {
    fn word(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
            Self::Both => "both",
        }
    }
}

/// What a file says of itself besides its triangles; nothing of the patient.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MeshLabel {
    /// Side of the body.
    pub side: Side,
}

impl MeshLabel {
    /// Unit, frame, side and what the surface is not, in one line of ASCII, at
    /// most 80 characters: the header of an STL.
    fn line(self) -> String {
        let side = self.side.word();
        format!("Pilothole; unit=mm; frame=LPS; side={side}; planning aid, not a medical device")
    }
}

/// Why a mesh file could not be written or read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum MeshFileError {
    /// The destination failed.
    #[error("writing the mesh failed")]
    Write(#[from] std::io::Error),
    /// The file ends too early.
    #[error("the file has {found} bytes, {expected} are needed for what it promises")]
    Truncated {
        /// Bytes that the file's own counts ask for.
        expected: u64,
        /// Bytes there are.
        found: u64,
    },
    /// The file is longer than its triangles.
    #[error("the file has {found} bytes, its triangles end at {expected}")]
    Trailing {
        /// Bytes that the file's own counts ask for.
        expected: u64,
        /// Bytes there are.
        found: u64,
    },
    /// The file is a text STL.
    #[error("the file is a text STL, expected a binary one")]
    Text,
    /// A coordinate is not a finite number.
    #[error("triangle {triangle} has a coordinate that is not a finite number")]
    NotFinite {
        /// Its position in the file, from 0.
        triangle: usize,
    },
    /// The mesh has more triangles or vertices than the format can count.
    #[error("{found} triangles or vertices, the format counts to {limit}")]
    TooLarge {
        /// Triangles or vertices of the mesh.
        found: usize,
        /// Most that the format holds.
        limit: u32,
    },
    /// A property has not one value a vertex.
    #[error("property {name} has {found} values for {expected} vertices")]
    PropertyCount {
        /// Name of the property.
        name: String,
        /// Vertices of the mesh.
        expected: usize,
        /// Values given.
        found: usize,
    },
    /// A property's name is not one word of letters, digits and underscores,
    /// or is taken.
    #[error("property name {name:?} is taken or not one word of a-z, 0-9 and _")]
    PropertyName {
        /// The refused name.
        name: String,
    },
    /// A triangle names a vertex that does not exist.
    #[error("triangle {triangle} names vertex {vertex} of {vertices}")]
    Corner {
        /// Its position, from 0.
        triangle: usize,
        /// The vertex it names.
        vertex: u32,
        /// Vertices of the mesh.
        vertices: usize,
    },
    /// The packed container could not be written.
    #[error("packing the mesh failed")]
    Package(#[from] zip::result::ZipError),
}

/// Bytes that are gathered before they go out.
const BUFFER: usize = 1 << 16;

/// Gathers small pieces into large writes.
struct Gather<'a, W> {
    to: &'a mut W,
    bytes: Vec<u8>,
}

impl<'a, W: Write> Gather<'a, W> {
    fn new(to: &'a mut W) -> Self {
        Self { to, bytes: Vec::with_capacity(BUFFER + 256) }
    }

    #[inline]
    fn put(&mut self, piece: &[u8]) -> std::io::Result<()> {
        self.bytes.extend_from_slice(piece);
        if self.bytes.len() >= BUFFER {
            self.to.write_all(&self.bytes)?;
            self.bytes.clear();
        }
        Ok(())
    }

    fn finish(self) -> std::io::Result<()> {
        self.to.write_all(&self.bytes)
    }
}

/// Refuse a mesh whose triangles name vertices that do not exist.
fn check_corners(mesh: &crate::mesh::TriMesh) -> Result<(), MeshFileError> {
    let vertices = mesh.vertices.len();
    for (triangle, corners) in mesh.triangles.iter().enumerate() {
        if let Some(vertex) = corners.iter().find(|c| **c as usize >= vertices) {
            return Err(MeshFileError::Corner { triangle, vertex: *vertex, vertices });
        }
    }
    Ok(())
}

fn count_u32(count: usize) -> Result<u32, MeshFileError> {
    let limit = u32::MAX;
    match u32::try_from(count) {
        Ok(count) => Ok(count),
        Err(_) => Err(MeshFileError::TooLarge { found: count, limit }),
    }
}
