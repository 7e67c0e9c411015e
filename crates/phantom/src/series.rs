//! A volume as a CT series: uncompressed little-endian DICOM, one file a slice.
//!
//! # References
//!
//! DICOM PS3.3 A.3 (CT Image IOD), C.7.6.2 (Image Plane), C.8.2.1 (CT Image).

mod header;

use std::fs;
use std::path::{Path, PathBuf};

use dicom_object::{FileMetaTableBuilder, InMemDicomObject};
use pilothole_volume::{Grid, Volume};
use rayon::prelude::*;
use sha2::{Digest, Sha256};

/// What a series says of itself besides geometry and voxels.
#[derive(Clone, Debug, PartialEq)]
pub struct SeriesHeader {
    /// How values are stored.
    pub storage: Storage,
    /// HU per stored unit.
    pub slope: f64,
    /// HU of a stored 0.
    pub intercept: f64,
    /// Stored value of voxels that hold no measurement.
    pub padding: Option<i32>,
    /// Tube voltage, kV.
    pub kvp: Option<f64>,
    /// Reconstruction kernel.
    pub kernel: Option<String>,
    /// Series description.
    pub description: String,
    /// Modality, `CT` but for tests of refusals.
    pub modality: String,
    /// A made identity, for tests of its removal; `None` writes none.
    pub identity: Option<Identity>,
}

/// How values are stored, 16 bits allocated.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Storage {
    /// Two's complement, 16 bits.
    Signed,
    /// Unsigned, 16 bits.
    Unsigned,
    /// Unsigned, 12 bits: 0 to 4095.
    Twelve,
}

impl Storage {
    fn bits(self) -> u16 {
        match self {
            Self::Signed | Self::Unsigned => 16,
            Self::Twelve => 12,
        }
    }

    fn limits(self) -> (f64, f64) {
        match self {
            Self::Signed => (-32_768.0, 32_767.0),
            Self::Unsigned => (0.0, 65_535.0),
            Self::Twelve => (0.0, 4095.0),
        }
    }
}

/// A made identity, planted to see that nothing of it gets out.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Identity {
    /// Patient's name.
    pub patient_name: String,
    /// Patient's number.
    pub patient_id: String,
    /// Birth date, `YYYYMMDD`.
    pub birth_date: String,
    /// Hospital.
    pub institution: String,
    /// Referring physician.
    pub physician: String,
    /// Study description.
    pub study_description: String,
    /// Study date, `YYYYMMDD`.
    pub study_date: String,
}

impl Default for SeriesHeader {
    /// Signed, slope 1, intercept 0, padding -32768, 120 kV, no identity.
    fn default() -> Self {
        Self {
            storage: Storage::Signed,
            slope: 1.0,
            intercept: 0.0,
            padding: Some(-32_768),
            kvp: Some(120.0),
            kernel: Some("STANDARD".to_owned()),
            description: "synthetic phantom".to_owned(),
            modality: "CT".to_owned(),
            identity: None,
        }
    }
}

/// Why a series could not be written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SeriesError {
    /// Rows and columns are not square to each other, which no header can say.
    #[error(
        "rows and columns meet at a cosine of {cosine:.1e}, at most {limit:.0e} can be written"
    )]
    Skewed {
        /// Of the angle between them.
        cosine: f64,
        /// Largest that is written.
        limit: f64,
    },
    /// A side is longer than a header can say.
    #[error("{size} voxels along an axis, at most 65535 can be written")]
    TooLarge {
        /// Voxels along the axis.
        size: usize,
    },
    /// The folder or a file could not be written.
    #[error("a file of the series could not be written")]
    Io {
        /// What the system says.
        #[source]
        source: std::io::Error,
    },
    /// The object could not be put together.
    #[error("slice {slice} could not be encoded")]
    Encode {
        /// Which, from 0.
        slice: usize,
    },
}

/// Write a volume as a CT series into a folder, which is made if needed.
///
/// UIDs are `2.25.` and 128 bits of SHA-256 over geometry, voxels and header,
/// so the same volume gives the same files. Any orientation and any gantry
/// tilt can be written; columns and rows must be square to each other.
///
/// Returns the files in slice order.
///
/// # Errors
///
/// [`SeriesError`].
pub fn write_series(
    volume: &Volume,
    folder: &Path,
    header: &SeriesHeader,
) -> Result<Vec<PathBuf>, SeriesError> {
    let grid = volume.grid();
    let steps = grid.steps();
    let cosine = steps[0].dot(steps[1]) / (steps[0].length_mm() * steps[1].length_mm());
    let limit = Grid::ORTHOGONAL_TOLERANCE;
    if cosine.abs() > limit {
        return Err(SeriesError::Skewed { cosine, limit });
    }
    if let Some(size) = grid.size().into_iter().find(|n| *n > 65_535) {
        return Err(SeriesError::TooLarge { size });
    }
    fs::create_dir_all(folder).map_err(|source| SeriesError::Io { source })?;
    let uids = Uids::of(volume, header);
    (0..grid.size()[2])
        .into_par_iter()
        .map(|slice| {
            let path = folder.join(format!("slice-{:04}.dcm", slice + 1));
            let bytes = encode(volume, slice, header, &uids)?;
            fs::write(&path, bytes).map_err(|source| SeriesError::Io { source })?;
            Ok(path)
        })
        .collect()
}

fn encode(
    volume: &Volume,
    slice: usize,
    header: &SeriesHeader,
    uids: &Uids,
) -> Result<Vec<u8>, SeriesError> {
    let mut object = InMemDicomObject::new_empty();
    header::describe(&mut object, header, uids, slice);
    header::place(&mut object, volume.grid(), slice);
    header::pixels(&mut object, header, volume.grid().size(), stored(volume, slice, header));
    let meta = FileMetaTableBuilder::new()
        .transfer_syntax("1.2.840.10008.1.2.1")
        .media_storage_sop_class_uid(header::CT_IMAGE_STORAGE)
        .media_storage_sop_instance_uid(uids.instance(slice))
        .implementation_class_uid(uid("implementation", b"pilothole-phantom"))
        .implementation_version_name("PILOTHOLE");
    let mut bytes = Vec::new();
    object
        .with_meta(meta)
        .ok()
        .and_then(|file| file.write_all(&mut bytes).ok())
        .ok_or(SeriesError::Encode { slice })?;
    Ok(bytes)
}

/// A slice's stored values, as the bits of 16-bit words.
fn stored(volume: &Volume, slice: usize, header: &SeriesHeader) -> Vec<u16> {
    let [columns, rows, _] = volume.grid().size();
    let plane = columns * rows;
    let (low, high) = header.storage.limits();
    let padding = header.padding.unwrap_or(0);
    (slice * plane..(slice + 1) * plane)
        .map(|i| {
            let hu = f64::from(volume.voxels().hu_or_nan(i));
            let value = if hu.is_nan() {
                padding
            } else {
                ((hu - header.intercept) / header.slope).round().clamp(low, high) as i32
            };
            // The low 16 bits are the two's complement of a negative value.
            (value & 0xffff) as u16
        })
        .collect()
}

/// Unique identifiers of a series.
struct Uids {
    digest: Vec<u8>,
}

impl Uids {
    fn of(volume: &Volume, header: &SeriesHeader) -> Self {
        let mut hash = Sha256::new();
        hash.update(format!("{:?} {header:?}", volume.grid()).as_bytes());
        for slice in 0..volume.grid().size()[2] {
            for word in stored(volume, slice, header) {
                hash.update(word.to_le_bytes());
            }
        }
        Self { digest: hash.finalize().to_vec() }
    }

    fn of_kind(&self, kind: &str) -> String {
        uid(kind, &self.digest)
    }

    fn instance(&self, slice: usize) -> String {
        uid(&format!("instance {slice}"), &self.digest)
    }
}

/// `2.25.` and 128 bits of SHA-256 as a decimal number.
fn uid(kind: &str, content: &[u8]) -> String {
    let mut hash = Sha256::new();
    hash.update(kind.as_bytes());
    hash.update([0]);
    hash.update(content);
    let number = hash.finalize().iter().take(16).fold(0_u128, |n, byte| n << 8 | u128::from(*byte));
    format!("2.25.{number}")
}
