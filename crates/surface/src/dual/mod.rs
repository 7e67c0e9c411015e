//! Dual extraction: a vertex in every cell the surface passes, a quad around
//! every lattice edge it crosses.

mod batch;
mod cell;
mod contour;
mod count;
mod extract;
mod layer;
mod method;
mod place;
mod quads;
mod samples;
mod sheet;
mod signs;

pub use contour::DualContouring;
pub use method::{Border, Extract, Extraction, Placement, PlainNets, SurfaceNets};

/// Least distance of a vertex from its cell's sides, and of a crossing from its
/// edge's ends, voxels.
///
/// 1/128 keeps vertices of neighbouring cells apart in the f32 of a mesh file
/// (0.7 mm voxels 500 mm from the origin: 5 µm against 0.03 µm), and moves a
/// surface that passes exactly through a sample by that much.
pub(crate) const MARGIN: f32 = 1.0 / 128.0;

/// The margin of a cell's vertices in their order. Each has one of its own, so
/// that two of them and a neighbour's, all kept from the same edge of their
/// cells, do not lie on one line.
#[inline]
pub(crate) fn margin_of(number: u32) -> f32 {
    MARGIN * (1.0 + number as f32 / 16.0)
}
