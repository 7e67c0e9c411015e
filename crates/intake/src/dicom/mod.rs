//! DICOM bytes, checked before they are believed.
//!
//! Reading is done here and not by a library: an element's length is held
//! against the bytes that remain before anything is allocated, nesting is
//! bounded without recursion, and no value is ever part of an error.
//! Reference: DICOM PS3.5 (encoding), PS3.10 (files), PS3.3 (attributes).

mod dataset;
mod file;
mod fragments;
mod functional;
mod head;
mod syntax;
mod tag;
mod walk;

pub(crate) use dataset::DataSet;
pub(crate) use file::{Damage, Recognised, open_file};
pub(crate) use fragments::frames_of_fragments;
pub(crate) use head::{FrameHead, Head, Kind, Layout, PixelPlace};
pub(crate) use syntax::Codec;
pub(crate) use tag::Tag;
