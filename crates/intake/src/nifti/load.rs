//! The voxels of a `NIfTI` file.

use pilothole_volume::{NOTHING_I16, Volume, Voxels};
use rayon::prelude::*;

use super::header::{NiftiHeader, Stored};
use crate::digest::digest;
use crate::facts::ScanFacts;
use crate::pixels::{Element, HISTOGRAM_FROM_HU, HISTOGRAM_STEP_HU, SliceFacts};
use crate::read::{Intake, look};
use crate::reason::{Reason, Refusal};
use crate::source::{Blob, Fault};

/// Value below which a CT of a body must have voxels, HU: fat at least.
const MUST_GO_BELOW_HU: f64 = -50.0;
/// Least part of voxels below it.
const PART_BELOW: f64 = 0.001;

/// Decode a `NIfTI` file whose header was accepted.
pub(crate) fn read_nifti(
    blob: &Blob,
    header: &NiftiHeader,
    mut facts: ScanFacts,
    mut findings: Vec<Reason>,
) -> Result<Intake, Refusal> {
    let is_integral =
        header.stored.is_whole() && header.slope.fract() == 0.0 && header.intercept.fract() == 0.0;
    let whole = if is_integral { load::<i16>(blob, header)? } else { None };
    let (voxels, slices, is_float) = if let Some((values, slices)) = whole {
        (Voxels::I16(values), slices, false)
    } else {
        let floats = load::<f32>(blob, header)?;
        let (values, slices) = floats.ok_or_else(|| damaged("holds numbers beyond any unit"))?;
        (Voxels::F32(values), slices, true)
    };
    check_low(&slices)?;
    let ceiling = look(&slices, None, &mut facts, &mut findings)?;
    let digests: Vec<[u8; 32]> = slices.iter().map(|slice| slice.digest).collect();
    let digest = digest(&header.grid, is_float, &digests);
    let volume = Volume::new(header.grid.clone(), voxels, ceiling)
        .map_err(|error| damaged(&format!("does not fill its volume: {error}")))?;
    Ok(Intake { volume, facts, findings, digest })
}

/// A `NIfTI` file does not say what its numbers are: without fat or air in them
/// they are not Hounsfield units of a body.
fn check_low(slices: &[SliceFacts]) -> Result<(), Reason> {
    let bins = ((MUST_GO_BELOW_HU - HISTOGRAM_FROM_HU) / HISTOGRAM_STEP_HU) as usize;
    let count = |upto: usize| -> u64 {
        let counts = slices.iter().flat_map(|s| s.histogram.iter().take(upto));
        counts.map(|c| u64::from(*c)).sum()
    };
    let part = count(bins) as f64 / count(usize::MAX).max(1) as f64;
    if part >= PART_BELOW {
        return Ok(());
    }
    Err(Reason::new(
        "units.not_hu",
        format!(
            "{:.2} % of the voxels are below {MUST_GO_BELOW_HU}, at least {:.1} % are expected: \
             neither fat nor air is in it, so its numbers are not Hounsfield units",
            100.0 * part,
            100.0 * PART_BELOW
        ),
    )
    .measured(100.0 * part, 100.0 * PART_BELOW, "percent")
    .next("give the CT itself, neither normalised nor segmented"))
}

type Filled<T> = (Vec<T>, Vec<SliceFacts>);

/// `None` when a number does not fit the type.
fn load<T: FromReal>(blob: &Blob, header: &NiftiHeader) -> Result<Option<Filled<T>>, Reason> {
    let size = header.grid.size();
    let slice_voxels = size[0] * size[1];
    let slice_bytes = slice_voxels * header.stored.bytes();
    let mut values = vec![T::default(); slice_voxels * size[2]];
    let done: Vec<Result<Option<SliceFacts>, Fault>> = values
        .par_chunks_mut(slice_voxels)
        .enumerate()
        .map(|(slot, out)| {
            let slice = if header.reversed { size[2] - 1 - slot } else { slot };
            let mut bytes = vec![0; slice_bytes];
            blob.fill(header.data_at + (slice * slice_bytes) as u64, &mut bytes)?;
            Ok(fill(&bytes, header, out).then(|| SliceFacts::of(out)))
        })
        .collect();
    let mut facts = Vec::with_capacity(size[2]);
    for slice in done {
        match slice {
            Ok(Some(slice)) => facts.push(slice),
            Ok(None) => return Ok(None),
            Err(Fault::Short) => {
                return Err(Reason::new("pixels.truncated", "the NIfTI file is cut off"));
            }
            Err(_) => return Err(damaged("cannot be read again")),
        }
    }
    Ok(Some((values, facts)))
}

fn damaged(what: &str) -> Reason {
    Reason::new("pixels.damaged", format!("the NIfTI file {what}"))
}

/// A voxel type made from a real number.
trait FromReal: Element {
    /// `None` when it does not fit; not-a-number is padding.
    fn from_real(value: f64) -> Option<Self>;
}

impl FromReal for i16 {
    fn from_real(value: f64) -> Option<Self> {
        let fits = value > f64::from(NOTHING_I16) && value <= f64::from(Self::MAX);
        fits.then_some(value as Self)
    }
}

impl FromReal for f32 {
    fn from_real(value: f64) -> Option<Self> {
        Some(if value.is_finite() { value as Self } else { Self::NAN })
    }
}

fn fill<T: FromReal>(bytes: &[u8], header: &NiftiHeader, out: &mut [T]) -> bool {
    let real = |c: &[u8]| number(c, header.stored, header.big_endian);
    bytes.chunks_exact(header.stored.bytes()).zip(out).all(|(c, out)| {
        T::from_real(real(c) * header.slope + header.intercept).map(|value| *out = value).is_some()
    })
}

fn number(c: &[u8], stored: Stored, big_endian: bool) -> f64 {
    let mut wide = [0_u8; 8];
    for (at, byte) in c.iter().enumerate() {
        wide[if big_endian { c.len() - 1 - at } else { at }] = *byte;
    }
    let bits = u64::from_le_bytes(wide);
    match stored {
        Stored::U8 => f64::from(bits as u8),
        Stored::I8 => f64::from((bits as u8).cast_signed()),
        Stored::U16 => f64::from(bits as u16),
        Stored::I16 => f64::from((bits as u16).cast_signed()),
        Stored::U32 => f64::from(bits as u32),
        Stored::I32 => f64::from((bits as u32).cast_signed()),
        Stored::F32 => f64::from(f32::from_bits(bits as u32)),
        Stored::F64 => f64::from_bits(bits),
    }
}
