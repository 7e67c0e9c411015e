//! The closed surface of the bones.

use pilothole_bone::Bones;
use pilothole_surface::{ClosedSurface, Extract, SurfaceNets};

/// Wrap the envelope of all bones of the region, mm, LPS.
///
/// Where bone goes on beyond the region the surface is capped.
///
/// # Errors
///
/// A sentence, where there is no bone or the surface is not closed.
pub fn wrap(bones: &Bones) -> Result<ClosedSurface, String> {
    let extraction = SurfaceNets.extract_field(&bones.field).map_err(|error| error.to_string())?;
    extraction.closed().map_err(|error| error.to_string())
}
