//! Packed frames to stored words, each through a decoder that sees only
//! streams whose size has been checked.

use std::borrow::Cow;
use std::ops::Range;
use std::panic::{AssertUnwindSafe, catch_unwind};

use hayro_jpeg2000::{DecodeSettings, DecoderContext, Image};
use jpeg_decoder::{Decoder, PixelFormat};

use super::PixelFault;
use super::guard::{check_jpeg, check_jpeg2000};
use super::run_length;
use crate::dicom::{Codec, Layout};

/// Decode one frame.
///
/// A panic inside a decoder is a refusal of this frame.
pub(super) fn decode(
    file: &[u8],
    fragments: &[Range<usize>],
    codec: Codec,
    layout: &Layout,
) -> Result<Vec<u16>, PixelFault> {
    let stream = joined(file, fragments);
    let count = layout.rows * layout.columns;
    let decoded = catch_unwind(AssertUnwindSafe(|| match codec {
        Codec::RunLength => run_length::decode(&stream, count, usize::from(layout.allocated) / 8),
        Codec::JpegLossless => jpeg(&stream, layout, 0xC3),
        Codec::JpegBaseline => jpeg(&stream, layout, 0xC0),
        Codec::JpegLs => jpeg_ls(&stream, layout),
        Codec::Jpeg2000 => jpeg2000(&stream, layout),
        Codec::Native | Codec::Unsupported => Err(PixelFault::Undecodable),
    }));
    let words = decoded.unwrap_or(Err(PixelFault::Undecodable))?;
    if words.len() == count { Ok(words) } else { Err(PixelFault::Truncated) }
}

fn joined<'a>(file: &'a [u8], fragments: &[Range<usize>]) -> Cow<'a, [u8]> {
    match fragments {
        [one] => Cow::Borrowed(&file[one.clone()]),
        many => Cow::Owned(many.iter().flat_map(|part| &file[part.clone()]).copied().collect()),
    }
}

fn jpeg(stream: &[u8], layout: &Layout, frame_marker: u8) -> Result<Vec<u16>, PixelFault> {
    check_jpeg(stream, layout, frame_marker)?;
    let mut decoder = Decoder::new(stream);
    decoder.set_max_decoding_buffer_size(layout.rows * layout.columns * 4);
    let bytes = decoder.decode().map_err(|_ignored| PixelFault::Undecodable)?;
    match decoder.info().map(|info| info.pixel_format) {
        Some(PixelFormat::L8) => Ok(bytes.into_iter().map(u16::from).collect()),
        Some(PixelFormat::L16) => {
            Ok(bytes.chunks_exact(2).map(|c| u16::from_ne_bytes([c[0], c[1]])).collect())
        }
        _ => Err(PixelFault::Undecodable),
    }
}

fn jpeg_ls(stream: &[u8], layout: &Layout) -> Result<Vec<u16>, PixelFault> {
    check_jpeg(stream, layout, 0xF7)?;
    let (width, height) = (layout.columns as u32, layout.rows as u32);
    let (words, ..) =
        jpegls::decode(stream, width, height).map_err(|_ignored| PixelFault::Undecodable)?;
    Ok(words)
}

fn jpeg2000(stream: &[u8], layout: &Layout) -> Result<Vec<u16>, PixelFault> {
    let samples = check_jpeg2000(stream, layout)?;
    let image = Image::new(stream, &DecodeSettings::default())
        .map_err(|_ignored| PixelFault::Undecodable)?;
    let mut context = DecoderContext::default();
    let decoded = image.decode(&mut context).map_err(|_ignored| PixelFault::Undecodable)?;
    let component = decoded.components().first().ok_or(PixelFault::Undecodable)?;
    // The decoder lifts every stream by half its range, signed ones too.
    let lifted = if samples.signed { 1_i32 << (samples.precision - 1) } else { 0 };
    Ok(component.samples().iter().map(|v| (v.round() as i32 - lifted) as u16).collect())
}
