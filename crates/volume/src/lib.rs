//! Numbers placed in the patient: spaces, grid, voxels, masks, sampling.
//!
//! Everything here is pure: no files, no opinions about bone. Arrays run slice
//! by slice, row by row, columns fastest.

mod components;
mod cylinder;
mod distance;
mod field;
mod grid;
mod lanes;
mod many;
mod mask;
mod region;
mod space;
mod trilinear;
mod volume;

pub use components::{Neighbours, without_small};
pub use cylinder::{Annulus, Quadrature, Weighted, sample_annulus};
pub use distance::{DistanceError, distance_mm};
pub use field::{Field, Numbers};
pub use grid::{Grid, GridError};
pub use lanes::{LANES, Places};
pub use mask::{Labels, Mask, nearest_voxel};
pub use region::Region;
pub use space::{Direction, Offset, PatientPoint, VoxelPoint};
pub use volume::{NOTHING_I16, Volume, VolumeError, Voxels};
