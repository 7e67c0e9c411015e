//! Run-length encoding of pixels, PS3.5 annex G.

use super::PixelFault;

/// Decode a grey frame of `count` pixels of one or two bytes into words.
pub(super) fn decode(
    frame: &[u8],
    count: usize,
    bytes_each: usize,
) -> Result<Vec<u16>, PixelFault> {
    let header = frame.get(..64).ok_or(PixelFault::Truncated)?;
    let word = |at: usize| {
        u32::from_le_bytes([header[at], header[at + 1], header[at + 2], header[at + 3]]) as usize
    };
    if word(0) != bytes_each {
        return Err(PixelFault::Undecodable);
    }
    let mut out = vec![0_u16; count];
    for plane in 0..bytes_each {
        let from = word(4 + 4 * plane);
        let to = if plane + 1 < bytes_each { word(8 + 4 * plane) } else { frame.len() };
        let segment = frame.get(from..to).filter(|_| from >= 64).ok_or(PixelFault::Truncated)?;
        // The first segment holds the most significant bytes.
        let shift = 8 * (bytes_each - 1 - plane);
        unpack(segment, &mut out, shift)?;
    }
    Ok(out)
}

/// Unpack one segment into one byte of each word.
fn unpack(segment: &[u8], out: &mut [u16], shift: usize) -> Result<(), PixelFault> {
    let mut filled = 0;
    let mut at = 0;
    while filled < out.len() {
        let control = segment.get(at).copied().ok_or(PixelFault::Truncated)?.cast_signed();
        at += 1;
        match control {
            0.. => {
                let run = usize::from(control.unsigned_abs()) + 1;
                let run = run.min(out.len() - filled);
                let literal = segment.get(at..at + run).ok_or(PixelFault::Truncated)?;
                for (word, byte) in out[filled..].iter_mut().zip(literal) {
                    *word |= u16::from(*byte) << shift;
                }
                at += run;
                filled += run;
            }
            -128 => {}
            _ => {
                let run = (usize::from(control.unsigned_abs()) + 1).min(out.len() - filled);
                let byte = segment.get(at).copied().ok_or(PixelFault::Truncated)?;
                let value = u16::from(byte) << shift;
                out[filled..filled + run].iter_mut().for_each(|word| *word |= value);
                at += 1;
                filled += run;
            }
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_and_literals_of_two_planes_meet() {
        let mut frame = vec![0_u8; 64];
        frame[0] = 2;
        frame[4] = 64;
        frame[8] = 66;
        frame.extend([0xFD, 0x01]); // four times 01
        frame.extend([0x01, 0x0A, 0x0B, 0x80, 0xFF, 0x0C]); // 0A 0B, nothing, 0C 0C
        assert_eq!(decode(&frame, 4, 2), Ok(vec![0x010A, 0x010B, 0x010C, 0x010C]));
        assert_eq!(decode(&frame[..70], 4, 2), Err(PixelFault::Truncated));
    }
}
