//! Changes to any file of bytes.

use super::dicom::Draw;

/// Numbers that a reader of lengths and counts may trip over.
const NUMBERS: [u32; 10] =
    [0, 1, 0x7F, 0xFF, 0x7FFF, 0xFFFF, 0x7FFF_FFFF, 0x8000_0000, 0xFFFF_FFFE, 0xFFFF_FFFF];

/// One to four changes anywhere.
pub(super) fn changed(base: &[u8], draw: &mut Draw) -> Vec<u8> {
    let end = base.len();
    changed_head(base, end, draw)
}

/// One to four changes in the first `head` bytes, or a cut anywhere.
pub(super) fn changed_head(base: &[u8], head: usize, draw: &mut Draw) -> Vec<u8> {
    let mut bytes = base.to_vec();
    for _ in 0..=draw.below(4) {
        change(&mut bytes, head, draw);
    }
    bytes
}

fn change(bytes: &mut Vec<u8>, head: usize, draw: &mut Draw) {
    if bytes.len() < 16 {
        return;
    }
    let at = draw.below(head.min(bytes.len() - 12));
    match draw.below(7) {
        0 => {
            let keep = draw.below(bytes.len());
            bytes.truncate(keep);
        }
        1 => bytes[at] ^= 1 << draw.below(8),
        2 => bytes[at] = draw.below(256) as u8,
        3 => bytes[at..at + 4].copy_from_slice(&NUMBERS[draw.below(10)].to_le_bytes()),
        4 => bytes[at..at + 2].copy_from_slice(&(NUMBERS[draw.below(10)] as u16).to_le_bytes()),
        5 => {
            bytes.drain(at..(at + draw.below(64)).min(bytes.len()));
        }
        _ => {
            let copy = bytes[at..(at + draw.below(64)).min(bytes.len())].to_vec();
            bytes.splice(at..at, copy);
        }
    }
}
