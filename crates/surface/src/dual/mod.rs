//! Dual extraction: a vertex in every cell the surface passes, a quad around
//! every lattice edge it crosses.

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
pub use method::{Border, Extract, Extraction, PlainNets, SurfaceNets};
pub use sheet::{Crossings, Sheet};
