//! One file: is it DICOM, how is it written, where do its pixels start.

use super::dataset::DataSet;
use super::head::Head;
use super::syntax::Syntax;
use super::tag::Tag;
use super::walk::{Encoding, Ended, PixelElement, Walk, has_long_length, u16_at, u32_at, walk};
use crate::limits::Limits;
use crate::source::{Blob, Fault, inflate_raw};

/// What a candidate file turned out to be.
#[derive(Debug)]
pub(crate) enum Recognised {
    /// Not DICOM, or an index of files.
    Other,
    /// An object whose header could be read to the end.
    Object(Box<Head>),
    /// DICOM, yet its header cannot be read to the end.
    Damaged(Damage),
}

/// Why a header cannot be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Damage {
    /// Bytes are missing, or a length runs past its container.
    Broken,
    /// Sequences are nested deeper than the limit.
    TooDeep,
    /// More elements than the limit.
    TooMany,
    /// More bytes before the pixels, or after inflating, than the limit.
    TooLong,
    /// The file could not be read.
    Unreadable,
}

/// First read of a file; most headers are shorter.
const FIRST_READ: usize = 24 << 10;
/// Media storage directory: an index of the files around it.
const DIRECTORY: &str = "1.2.840.10008.1.3.10";

/// Read the header of a file.
pub(crate) fn open_file(blob: &Blob, limits: &Limits) -> Recognised {
    let mut want = FIRST_READ;
    loop {
        let Ok(prefix) = blob.prefix(want) else {
            return Recognised::Damaged(Damage::Unreadable);
        };
        let total = usize::try_from(blob.len()).unwrap_or(usize::MAX);
        match read_header(&prefix, total, blob, limits) {
            Step::Done(recognised) => return recognised,
            Step::NeedsMore(upto) if upto > limits.max_header_bytes => {
                return Recognised::Damaged(Damage::TooLong);
            }
            Step::NeedsMore(_) if prefix.len() >= total => {
                return Recognised::Damaged(Damage::Broken);
            }
            Step::NeedsMore(upto) => want = upto.max(4 * want).min(limits.max_header_bytes),
        }
    }
}

enum Step {
    Done(Recognised),
    NeedsMore(usize),
}

fn read_header(prefix: &[u8], total: usize, blob: &Blob, limits: &Limits) -> Step {
    let Some(start) = Start::find(prefix) else { return Step::Done(Recognised::Other) };
    let meta = match start {
        Start::Meta(at) => match read_meta(prefix, at, total) {
            Ok(meta) => meta,
            Err(MetaFault::NeedsMore(upto)) => return Step::NeedsMore(upto),
            Err(MetaFault::Broken) => return Step::Done(Recognised::Damaged(Damage::Broken)),
        },
        Start::Bare => Meta { data_at: 0, syntax: None, is_directory: false },
    };
    if meta.is_directory {
        return Step::Done(Recognised::Other);
    }
    let syntax = match meta.syntax {
        Some(syntax) => syntax,
        None => match guess(prefix, meta.data_at) {
            Some(encoding) => Syntax::native(encoding),
            None => return Step::Done(Recognised::Damaged(Damage::Broken)),
        },
    };
    if syntax.deflated {
        return Step::Done(read_deflated(blob, meta.data_at, syntax, limits));
    }
    let walked = walk(prefix, meta.data_at, total, syntax.encoding, limits);
    finish(prefix, total, &walked, syntax)
}

fn finish(bytes: &[u8], total: usize, walked: &Walk, syntax: Syntax) -> Step {
    let data = DataSet::new(bytes, walked, syntax.encoding.big_endian);
    let object = |pixels: Option<PixelElement>| {
        Step::Done(Recognised::Object(Box::new(Head::read(&data, pixels, syntax, total))))
    };
    match walked.ended {
        Ended::Pixels(pixels) => object(Some(pixels)),
        Ended::End => object(None),
        Ended::NeedsMore(upto) => Step::NeedsMore(upto),
        Ended::Broken => Step::Done(Recognised::Damaged(Damage::Broken)),
        Ended::TooDeep => Step::Done(Recognised::Damaged(Damage::TooDeep)),
        Ended::TooMany => Step::Done(Recognised::Damaged(Damage::TooMany)),
    }
}

fn read_deflated(blob: &Blob, data_at: usize, syntax: Syntax, limits: &Limits) -> Recognised {
    let inflated = match inflate_raw(blob, data_at, limits) {
        Ok(bytes) => bytes,
        Err(Fault::TooLarge) => return Recognised::Damaged(Damage::TooLong),
        Err(_) => return Recognised::Damaged(Damage::Broken),
    };
    let walked = walk(&inflated, 0, inflated.len(), syntax.encoding, limits);
    match finish(&inflated, inflated.len(), &walked, syntax) {
        Step::Done(Recognised::Object(mut head)) => {
            if let Some(pixels) = &mut head.pixels {
                pixels.deflated_from = Some(data_at);
            }
            Recognised::Object(head)
        }
        Step::Done(other) => other,
        Step::NeedsMore(_) => Recognised::Damaged(Damage::Broken),
    }
}

/// Where a DICOM stream starts.
enum Start {
    /// The file meta group, at this offset.
    Meta(usize),
    /// A data set without meta group, from the first byte.
    Bare,
}

impl Start {
    fn find(prefix: &[u8]) -> Option<Self> {
        if prefix.get(128..132) == Some(b"DICM") {
            return Some(Self::Meta(132));
        }
        let first = prefix.get(..8)?;
        if first[..2] == [2, 0] && first[3] == 0 && first[4..6].iter().all(u8::is_ascii_uppercase) {
            return Some(Self::Meta(0));
        }
        guess(prefix, 0).map(|_| Self::Bare)
    }
}

/// Encoding of a data set that starts with group 0008, by its first element.
fn guess(prefix: &[u8], at: usize) -> Option<Encoding> {
    let first = prefix.get(at..at.checked_add(8)?)?;
    let explicit = first[4..6].iter().all(u8::is_ascii_uppercase);
    match (&first[..2], explicit) {
        ([8, 0], true) => Some(Encoding { explicit: true, big_endian: false }),
        ([0, 8], true) => Some(Encoding { explicit: true, big_endian: true }),
        // Group 0008 starts with short elements; text does not look like that.
        ([8, 0], false) if first[3] == 0 && first[2] <= 0x18 && u32_at(first, 4, false) < 1024 => {
            Some(Encoding { explicit: false, big_endian: false })
        }
        _ => None,
    }
}

struct Meta {
    data_at: usize,
    syntax: Option<Syntax>,
    is_directory: bool,
}

enum MetaFault {
    NeedsMore(usize),
    Broken,
}

/// Read the file meta group (PS3.10 7.1), always explicit little endian; its
/// stated length is not used.
fn read_meta(bytes: &[u8], start: usize, total: usize) -> Result<Meta, MetaFault> {
    let mut meta = Meta { data_at: start, syntax: None, is_directory: false };
    let need = |upto: usize| {
        if upto <= total { MetaFault::NeedsMore(upto) } else { MetaFault::Broken }
    };
    // 64: the standard defines 20 elements.
    for _ in 0..64 {
        let at = meta.data_at;
        if at == total {
            return Ok(meta);
        }
        let head =
            bytes.get(at..at + 12.min(total.saturating_sub(at))).ok_or_else(|| need(at + 12))?;
        if head.len() < 8 {
            return Err(MetaFault::Broken);
        }
        let tag = Tag(u16_at(head, 0, false), u16_at(head, 2, false));
        if tag.0 != 2 {
            return Ok(meta);
        }
        let (value_at, len) = match [head[4], head[5]] {
            vr if has_long_length(vr) && head.len() == 12 => {
                (at + 12, u32_at(head, 8, false) as usize)
            }
            vr if vr.iter().all(u8::is_ascii_uppercase) => {
                (at + 8, usize::from(u16_at(head, 6, false)))
            }
            _ => return Err(MetaFault::Broken),
        };
        let end = value_at.checked_add(len).filter(|end| *end <= total).ok_or(MetaFault::Broken)?;
        let value = bytes.get(value_at..end).ok_or_else(|| need(end))?;
        let text = std::str::from_utf8(value).unwrap_or_default().trim_matches(['\0', ' ']);
        match tag {
            Tag::TRANSFER_SYNTAX_UID if !text.is_empty() => {
                meta.syntax = Some(Syntax::from_uid(text));
            }
            Tag::MEDIA_STORAGE_SOP_CLASS_UID => meta.is_directory = text == DIRECTORY,
            _ => {}
        }
        meta.data_at = end;
    }
    Err(MetaFault::Broken)
}
