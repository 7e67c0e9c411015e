//! Where bytes come from: files, folders, archives; never a place on disk that
//! an archive names.

mod archive;
mod blob;
mod gather;

pub(crate) use archive::inflate_raw;
pub(crate) use blob::{Blob, Fault};
pub(crate) use gather::{Source, gather};
