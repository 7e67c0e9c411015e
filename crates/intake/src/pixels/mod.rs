//! Stored pixels become Hounsfield units: unpack, mask, extend, rescale.

mod codec;
mod convert;
mod guard;
mod load;
mod run_length;

pub(crate) use convert::{
    Element, HISTOGRAM_BINS, HISTOGRAM_FROM_HU, HISTOGRAM_STEP_HU, Rule, SliceFacts,
};
pub(crate) use load::{FileJob, LoadFault, Loaded, SliceJob, load};

/// Why the pixels of a frame could not be had.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum PixelFault {
    /// Bytes are missing, or fragments cannot be shared out among frames.
    Truncated,
    /// The packed stream holds an image of another size or kind.
    Size { columns: usize, rows: usize },
    /// The decoder refuses the stream, or failed in it.
    Undecodable,
    /// The file could not be read.
    Unreadable,
    /// The numbers do not fit the type they are put into.
    Range,
}
