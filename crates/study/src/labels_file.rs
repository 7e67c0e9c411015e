//! Labels as a NIfTI-1 file.

use std::io::Write;

use flate2::Compression;
use flate2::write::GzEncoder;
use pilothole_volume::{Grid, Labels};

use crate::error::CaseError;

/// Bytes of a NIfTI-1 header and the four that say no extension follows.
const HEADER_BYTES: usize = 352;

/// Labels on a lattice as `.nii.gz`: unsigned bytes, mm, sform set.
///
/// NIfTI's axes run right to left, posterior to anterior; x and y are turned.
/// Uneven slices cannot be said in a NIfTI header and are refused.
///
/// # Errors
///
/// [`CaseError::Failed`] for uneven slices or more than 32,767 voxels an axis.
///
/// # References
///
/// NIfTI-1 Data Format Standard, `nifti1.h`, fields by their byte offset.
pub(crate) fn labels_nii_gz(grid: &Grid, labels: &Labels) -> Result<Vec<u8>, CaseError> {
    if grid.slice_places().is_some() {
        return Err(CaseError::Failed(
            "the slices are unevenly spaced, which a NIfTI file cannot say".to_owned(),
        ));
    }
    let mut header = vec![0_u8; HEADER_BYTES];
    let mut put = |at: usize, bytes: &[u8]| header[at..at + bytes.len()].copy_from_slice(bytes);
    put(0, &348_i32.to_le_bytes());
    put(40, &3_i16.to_le_bytes());
    for (axis, size) in grid.size().into_iter().enumerate() {
        let size = i16::try_from(size).map_err(|_too_large| {
            CaseError::Failed("the scan is too large for a NIfTI-1 file".to_owned())
        })?;
        put(42 + 2 * axis, &size.to_le_bytes());
    }
    for axis in 3..7 {
        put(42 + 2 * axis, &1_i16.to_le_bytes());
    }
    // Unsigned bytes, 8 bits; pixdim; voxels begin after the header; mm.
    put(70, &2_i16.to_le_bytes());
    put(72, &8_i16.to_le_bytes());
    put(76, &1.0_f32.to_le_bytes());
    for (axis, edge) in grid.spacing_mm().into_iter().enumerate() {
        put(80 + 4 * axis, &(edge as f32).to_le_bytes());
    }
    put(108, &(HEADER_BYTES as f32).to_le_bytes());
    put(112, &1.0_f32.to_le_bytes());
    put(123, &[2]);
    put(148, b"Pilothole labels, mm; research and planning only, not a medical device");
    put(254, &1_i16.to_le_bytes());
    let (steps, origin) = (grid.steps(), grid.origin());
    for row in 0..3 {
        let sign = if row < 2 { -1.0 } else { 1.0 };
        let numbers = [steps[0].0[row], steps[1].0[row], steps[2].0[row], origin.0[row]];
        for (column, number) in numbers.into_iter().enumerate() {
            put(280 + 16 * row + 4 * column, &((sign * number) as f32).to_le_bytes());
        }
    }
    put(344, b"n+1\0");
    let mut packed = GzEncoder::new(Vec::new(), Compression::fast());
    let failed = |error: std::io::Error| CaseError::Failed(error.kind().to_string());
    packed.write_all(&header).map_err(failed)?;
    for slice in labels.view().outer_iter() {
        packed.write_all(&slice.iter().copied().collect::<Vec<u8>>()).map_err(failed)?;
    }
    packed.finish().map_err(failed)
}
