//! What every extraction method shares, and what it returns.

use pilothole_volume::{Field, Grid, Mask, Numbers, Region, Volume, Voxels};

use super::extract::extract;
use super::samples::{ArraySamples, MaskSamples, Stored};
use crate::check::{ClosedSurface, NotClosed};
use crate::error::SurfaceError;
use crate::mesh::TriMesh;

/// A dual method: one vertex a sheet and cell, one quad a crossed edge.
///
/// Cells, faces, splitting and triangles are the same for all methods; a
/// method says only where in its cell a vertex lies. The result is closed,
/// oriented outward, without non-manifold edge or vertex, whatever the data:
///
/// - cells that hold several sheets get a vertex for each;
/// - a face with only two opposite corners inside is resolved from its own
///   four values (the bilinear saddle; in a mask the inside is parted), so
///   both its cells agree;
/// - where one sheet passes the same face twice on both sides, the two strips
///   get a vertex each on the face, so that no edge is shared by four;
/// - what leaves the box, or meets a voxel without a measurement, is closed
///   half a voxel beyond the last sample inside.
///
/// The bytes do not depend on the number of threads.
///
/// # References
///
/// Gibson 1998, "Constrained elastic surface nets", MICCAI; Nielson 2004,
/// "Dual marching cubes", IEEE Visualization (a vertex for each sheet);
/// Nielson, Hamann 1991, "The asymptotic decider", IEEE Visualization.
pub trait Extract: Sync {
    /// Where in its cell the vertex of a sheet lies.
    ///
    /// - `steps`: the samples say only inside or outside.
    fn placement(&self, steps: bool) -> Placement;

    /// Surface of the voxels of a mask, through the middle between voxels
    /// inside and outside. Voxels inside touch across faces only.
    ///
    /// # Errors
    ///
    /// [`SurfaceError::MaskSize`]; [`SurfaceError::TooLarge`].
    fn extract_mask(&self, grid: &Grid, mask: &Mask) -> Result<Extraction, SurfaceError> {
        if mask.size() != grid.size() {
            return Err(SurfaceError::MaskSize { expected: grid.size(), found: mask.size() });
        }
        extract(self.placement(true), grid, [0; 3], &MaskSamples(mask))
    }

    /// Surface of a scan's region at a threshold: voxels at it or above are
    /// inside.
    ///
    /// # Errors
    ///
    /// [`SurfaceError::Threshold`]; [`SurfaceError::Region`];
    /// [`SurfaceError::TooLarge`].
    fn extract_volume(
        &self,
        volume: &Volume,
        region: Region,
        threshold: f64,
    ) -> Result<Extraction, SurfaceError> {
        if !threshold.is_finite() {
            return Err(SurfaceError::Threshold { threshold });
        }
        let (grid, level) = (volume.grid(), threshold as f32);
        match volume.voxels() {
            Voxels::I16(all) => {
                // The least stored value is no measurement.
                let least = f64::from(i16::MIN + 1);
                if threshold > f64::from(i16::MAX) {
                    return Ok(Extraction::default());
                }
                let limit = threshold.ceil().max(least) as i16;
                extract_array(self.placement(false), grid, region, &Cut { all, limit, level })
            }
            Voxels::F32(all) => extract_array(
                self.placement(false),
                grid,
                region,
                &Cut { all, limit: level, level },
            ),
        }
    }

    /// Surface of a signed field: inside where it is positive.
    ///
    /// # Errors
    ///
    /// [`SurfaceError::TooLarge`].
    fn extract_field(&self, field: &Field) -> Result<Extraction, SurfaceError> {
        let grid = field.grid();
        let whole = Region::whole(grid);
        match field.numbers() {
            Numbers::F32(all) => {
                let above = &Cut { all, limit: 0.0_f32.next_up(), level: 0.0 };
                extract_array(self.placement(false), grid, whole, above)
            }
            Numbers::Steps { above, least, .. } => {
                let zero = -i32::from(*least);
                let above =
                    &Cut { all: above, limit: (zero + 1).max(0) as u16, level: zero as f32 };
                extract_array(self.placement(false), grid, whole, above)
            }
        }
    }
}

/// Where in its cell the vertex of a sheet lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Placement {
    /// At the mean of the points where the sheet crosses the cell's edges.
    Mean,
    /// There, lifted onto the surface where that is curved.
    Lifted,
    /// Where the planes through those points meet best.
    Planes,
}

/// An array and where in its values the surface lies.
struct Cut<'a, T: Stored> {
    all: &'a [T],
    limit: T,
    level: f32,
}

fn extract_array<T: Stored>(
    placement: Placement,
    grid: &Grid,
    region: Region,
    at: &Cut<'_, T>,
) -> Result<Extraction, SurfaceError> {
    let limit = grid.size();
    if (0..3).any(|axis| region.to()[axis] > limit[axis]) {
        return Err(SurfaceError::Region { to: region.to(), limit });
    }
    let samples = ArraySamples {
        all: at.all,
        pitch: [limit[0], limit[1]],
        region,
        limit: at.limit,
        level: at.level,
    };
    extract(placement, grid, region.from(), &samples)
}

/// Surface nets: a vertex at the mean of its sheet's crossing points, lifted
/// onto the surface where that is curved.
///
/// Rounds edges, smooth everywhere; errs by 0.005 voxel on a sphere of 20
/// voxels. The method for anything that is measured.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SurfaceNets;

impl Extract for SurfaceNets {
    fn placement(&self, steps: bool) -> Placement {
        if steps { Placement::Mean } else { Placement::Lifted }
    }
}

/// Surface nets without the lift: a vertex at the mean of its sheet's crossing
/// points.
///
/// A third quicker than [`SurfaceNets`]; errs by 0.017 voxel on a sphere of 20
/// voxels, always towards the hollow side. For pictures.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct PlainNets;

impl Extract for PlainNets {
    fn placement(&self, _steps: bool) -> Placement {
        Placement::Mean
    }
}

/// A surface and what had to be done to close it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Extraction {
    /// The surface, mm, LPS; empty where nothing is inside.
    pub mesh: TriMesh,
    /// Where the body was cut off.
    pub border: Border,
}

impl Extraction {
    /// Let the checker look at the surface.
    ///
    /// # Errors
    ///
    /// [`NotClosed`], which an extraction of something inside never is; a
    /// surface of nothing is refused.
    pub fn closed(self) -> Result<ClosedSurface, NotClosed> {
        ClosedSurface::check(self.mesh)
    }
}

/// Where a body reached the end of what was measured and was capped, in
/// voxel faces: caps lie half a voxel beyond the last sample inside.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Border {
    /// Caps at the first column, row, slice of the region.
    pub low: [usize; 3],
    /// Caps at the last column, row, slice of the region.
    pub high: [usize; 3],
    /// Caps against voxels inside the region that hold no measurement.
    pub unmeasured: usize,
}

impl Border {
    /// Whether nothing was cut off.
    pub fn is_free(&self) -> bool {
        *self == Self::default()
    }
}
