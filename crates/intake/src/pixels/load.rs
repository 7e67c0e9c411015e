//! All slices of a series, decoded in parallel straight into one array.

use rayon::prelude::*;

use super::PixelFault;
use super::codec;
use super::convert::{Element, Rule, SliceFacts};
use crate::dicom::{Codec, Layout, PixelPlace, frames_of_fragments};
use crate::limits::Limits;
use crate::source::{Blob, Fault, inflate_raw};

/// One slice: which frame of its file, where in the volume, by which rule.
#[derive(Clone, Debug)]
pub(crate) struct SliceJob {
    pub frame: usize,
    pub slot: usize,
    pub rule: Rule,
}

/// All slices that come from one file.
#[derive(Debug)]
pub(crate) struct FileJob<'a> {
    pub blob: &'a Blob,
    /// Position of the file among all, from 1.
    pub ordinal: usize,
    pub layout: Layout,
    pub place: PixelPlace,
    pub frame_count: usize,
    pub slices: Vec<SliceJob>,
}

/// A filled array, and facts by slice.
pub(crate) struct Loaded<T> {
    pub values: Vec<T>,
    pub slices: Vec<SliceFacts>,
}

/// Which file failed, and how.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct LoadFault {
    pub ordinal: usize,
    pub fault: PixelFault,
}

/// A slice's job and its part of the array.
type Slot<'a, T> = (&'a SliceJob, &'a mut [T]);

/// Fill one array of all slices; every slot has one job.
///
/// # Errors
///
/// The fault of the first file, in order, that has one.
pub(crate) fn load<T: Element>(
    files: &[FileJob<'_>],
    limits: &Limits,
) -> Result<Loaded<T>, LoadFault> {
    let slice_count: usize = files.iter().map(|file| file.slices.len()).sum();
    let slice_voxels = files.first().map_or(0, |file| file.layout.rows * file.layout.columns);
    let mut values = vec![T::default(); slice_count * slice_voxels];
    let mut slots: Vec<Option<&mut [T]>> =
        values.chunks_mut(slice_voxels.max(1)).map(Some).collect();
    let mut work: Vec<(&FileJob<'_>, Vec<Slot<'_, T>>)> = Vec::with_capacity(files.len());
    for file in files {
        let mut own = Vec::with_capacity(file.slices.len());
        for job in &file.slices {
            own.extend(slots.get_mut(job.slot).and_then(Option::take).map(|slot| (job, slot)));
        }
        work.push((file, own));
    }
    let done: Vec<Result<Vec<(usize, SliceFacts)>, LoadFault>> = work
        .into_par_iter()
        .map_init(Vec::new, |buffer, (file, slices)| {
            let fault = |fault| LoadFault { ordinal: file.ordinal, fault };
            load_file(file, slices, buffer, limits).map_err(fault)
        })
        .collect();
    let mut facts: Vec<(usize, SliceFacts)> = Vec::with_capacity(slice_count);
    for file in done {
        facts.extend(file?);
    }
    facts.sort_by_key(|(slot, _)| *slot);
    Ok(Loaded { values, slices: facts.into_iter().map(|(_, facts)| facts).collect() })
}

fn load_file<T: Element>(
    file: &FileJob<'_>,
    slices: Vec<Slot<'_, T>>,
    buffer: &mut Vec<u8>,
    limits: &Limits,
) -> Result<Vec<(usize, SliceFacts)>, PixelFault> {
    let frames = Frames::open(file, limits)?;
    let fill = |buffer: &mut Vec<u8>, (job, out): Slot<'_, T>| {
        frames.fill(file, job, buffer, out)?;
        Ok((job.slot, SliceFacts::of(out)))
    };
    if slices.len() == 1 {
        return slices.into_iter().map(|slice| fill(buffer, slice)).collect();
    }
    slices.into_par_iter().map_init(Vec::new, fill).collect()
}

/// Where the frames of an open file are.
enum Frames<'a> {
    /// Native frames, read from the file one by one.
    Apart(&'a Blob),
    /// Native frames in memory.
    Together(std::borrow::Cow<'a, [u8]>),
    /// Packed frames in memory, by their fragments.
    Packed(std::borrow::Cow<'a, [u8]>, Vec<Vec<std::ops::Range<usize>>>),
}

impl<'a> Frames<'a> {
    fn open(file: &FileJob<'a>, limits: &Limits) -> Result<Self, PixelFault> {
        let place = &file.place;
        if let Some(from) = place.deflated_from {
            let inflated = inflate_raw(file.blob, from, limits)?;
            return Ok(Self::Together(inflated.into()));
        }
        if place.syntax.codec != Codec::Native {
            let whole = file.blob.whole()?;
            let frames = frames_of_fragments(&whole, place.element.at, file.frame_count)
                .ok_or(PixelFault::Truncated)?;
            return Ok(Self::Packed(whole, frames));
        }
        if file.slices.len() > 1 && file.blob.is_packed() {
            return Ok(Self::Together(file.blob.whole()?));
        }
        Ok(Self::Apart(file.blob))
    }

    fn fill<T: Element>(
        &self,
        file: &FileJob<'_>,
        job: &SliceJob,
        buffer: &mut Vec<u8>,
        out: &mut [T],
    ) -> Result<(), PixelFault> {
        let layout = &file.layout;
        let frame_bytes = out.len() * usize::from(layout.allocated) / 8;
        let at = file.place.element.at + job.frame * frame_bytes;
        match self {
            Self::Apart(blob) => {
                buffer.resize(frame_bytes, 0);
                blob.fill(at as u64, buffer)?;
                fill_native(buffer, file, job, out)
            }
            Self::Together(bytes) => {
                let frame = bytes.get(at..at + frame_bytes).ok_or(PixelFault::Truncated)?;
                fill_native(frame, file, job, out)
            }
            Self::Packed(bytes, frames) => {
                let fragments = frames.get(job.frame).ok_or(PixelFault::Truncated)?;
                let words = codec::decode(bytes, fragments, file.place.syntax.codec, layout)?;
                T::fill(words.into_iter(), &job.rule, out)
            }
        }
    }
}

fn fill_native<T: Element>(
    bytes: &[u8],
    file: &FileJob<'_>,
    job: &SliceJob,
    out: &mut [T],
) -> Result<(), PixelFault> {
    if file.layout.allocated == 8 {
        return T::fill(bytes.iter().map(|b| u16::from(*b)), &job.rule, out);
    }
    let (pairs, _) = bytes.as_chunks::<2>();
    if file.place.syntax.encoding.big_endian {
        T::fill(pairs.iter().map(|pair| u16::from_be_bytes(*pair)), &job.rule, out)
    } else {
        T::fill(pairs.iter().map(|pair| u16::from_le_bytes(*pair)), &job.rule, out)
    }
}

impl From<Fault> for PixelFault {
    fn from(fault: Fault) -> Self {
        match fault {
            Fault::Short => Self::Truncated,
            Fault::Unreadable | Fault::TooLarge | Fault::Locked => Self::Unreadable,
        }
    }
}
