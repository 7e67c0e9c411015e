//! The size that a packed stream claims, read before a decoder sees it.

use super::PixelFault;
use crate::dicom::Layout;

/// Check that a JPEG or JPEG-LS stream holds one grey image of the stated size.
///
/// - `frame_marker`: the start-of-frame marker that the syntax allows.
///
/// Returns the precision in bits.
pub(super) fn check_jpeg(
    stream: &[u8],
    layout: &Layout,
    frame_marker: u8,
) -> Result<u8, PixelFault> {
    let mut at = match stream {
        [0xFF, 0xD8, ..] => 2,
        _ => return Err(PixelFault::Undecodable),
    };
    loop {
        let marker = match stream.get(at..at + 2) {
            Some([0xFF, 0xFF]) => {
                at += 1;
                continue;
            }
            Some([0xFF, marker]) => *marker,
            Some(_) => return Err(PixelFault::Undecodable),
            None => return Err(PixelFault::Truncated),
        };
        let segment = stream.get(at + 2..).ok_or(PixelFault::Truncated)?;
        let len = half(segment, 0).ok_or(PixelFault::Truncated)?;
        if marker == frame_marker {
            let (Some(rows), Some(columns)) = (half(segment, 3), half(segment, 5)) else {
                return Err(PixelFault::Truncated);
            };
            let components = segment.get(7).copied().ok_or(PixelFault::Truncated)?;
            return fits(rows, columns, components.into(), layout)
                .map(|()| segment.get(2).copied().unwrap_or_default());
        }
        // Another frame type, a scan or an end before the frame header.
        if len < 2 || matches!(marker, 0xC0..=0xC3 | 0xC5..=0xCB | 0xCD..=0xCF | 0xF7 | 0xD9 | 0xDA)
        {
            return Err(PixelFault::Undecodable);
        }
        at += 2 + len;
    }
}

/// What the header of a JPEG 2000 codestream says about its samples.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Samples {
    pub precision: u8,
    pub signed: bool,
}

/// Most tiles of one image; 1 is usual, 64 are tiles of 64² in 512².
const MAX_TILES: usize = 256;

/// Check that a JPEG 2000 codestream (SIZ, ISO/IEC 15444-1 A.5.1) holds one
/// grey image of the stated size, in few tiles, without sub-sampling.
pub(super) fn check_jpeg2000(stream: &[u8], layout: &Layout) -> Result<Samples, PixelFault> {
    if !stream.starts_with(&[0xFF, 0x4F, 0xFF, 0x51]) {
        return Err(PixelFault::Undecodable);
    }
    let full = |at: usize| -> Result<usize, PixelFault> {
        let four = stream.get(at..at + 4).ok_or(PixelFault::Truncated)?;
        Ok(u32::from_be_bytes([four[0], four[1], four[2], four[3]]) as usize)
    };
    let (width, height) = (full(8)?, full(12)?);
    let offsets = [full(16)?, full(20)?, full(32)?, full(36)?];
    let (tile_width, tile_height) = (full(24)?, full(28)?);
    let components = half(stream, 40).ok_or(PixelFault::Truncated)?;
    fits(height, width, components, layout)?;
    if offsets != [0; 4] || tile_width == 0 || tile_height == 0 {
        return Err(PixelFault::Undecodable);
    }
    if width.div_ceil(tile_width) * height.div_ceil(tile_height) > MAX_TILES {
        return Err(PixelFault::Undecodable);
    }
    match stream.get(42..45) {
        Some([depth, 1, 1]) if depth & 0x7F < 16 => {
            Ok(Samples { precision: (depth & 0x7F) + 1, signed: depth & 0x80 != 0 })
        }
        Some(_) => Err(PixelFault::Undecodable),
        None => Err(PixelFault::Truncated),
    }
}

fn fits(rows: usize, columns: usize, components: usize, layout: &Layout) -> Result<(), PixelFault> {
    if rows == layout.rows && columns == layout.columns && components == 1 {
        Ok(())
    } else {
        Err(PixelFault::Size { columns, rows })
    }
}

fn half(bytes: &[u8], at: usize) -> Option<usize> {
    let pair = bytes.get(at..at + 2)?;
    Some(usize::from(u16::from_be_bytes([pair[0], pair[1]])))
}
