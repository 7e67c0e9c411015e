//! Structure-aware mutation of DICOM files: what a hostile or broken writer
//! would change.

/// Numbers from a seed (xorshift64*), the same on every machine.
pub(crate) struct Draw(u64);

impl Draw {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    pub(crate) fn below(&mut self, limit: usize) -> usize {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        let mixed = self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 33;
        mixed as usize % limit.max(1)
    }
}

/// Lengths that a reader may trip over.
const LENGTHS: [u32; 12] = [
    0,
    1,
    2,
    7,
    255,
    65_535,
    65_536,
    0x7FFF_FFFF,
    0x8000_0000,
    0xFFFF_FFF0,
    0xFFFF_FFFE,
    0xFFFF_FFFF,
];
const REPRESENTATIONS: [&[u8; 2]; 10] =
    [b"SQ", b"UN", b"OB", b"OW", b"DS", b"US", b"UT", b"PN", b"XX", b"\0\0"];
const SYNTAXES: [&str; 14] = [
    "", ".1", ".2", ".1.99", ".4.50", ".4.51", ".4.57", ".4.70", ".4.80", ".4.81", ".4.90",
    ".4.91", ".4.201", ".5",
];

/// Change a file in one to four ways.
pub(crate) fn mutated(base: &[u8], draw: &mut Draw) -> Vec<u8> {
    let mut bytes = base.to_vec();
    for _ in 0..=draw.below(4) {
        change(&mut bytes, draw);
    }
    bytes
}

fn change(bytes: &mut Vec<u8>, draw: &mut Draw) {
    if bytes.len() < 16 {
        return;
    }
    let at = draw.below(bytes.len() - 12);
    match draw.below(12) {
        0 => bytes.truncate(at),
        1 => bytes[at] ^= 1 << draw.below(8),
        2 => bytes[at] = draw.below(256) as u8,
        3 => {
            let at = header(bytes, draw).unwrap_or(at);
            bytes[at + 4..at + 8].copy_from_slice(&LENGTHS[draw.below(12)].to_le_bytes());
        }
        4 => {
            let at = header(bytes, draw).unwrap_or(at);
            bytes[at + 8..at + 12].copy_from_slice(&LENGTHS[draw.below(12)].to_le_bytes());
        }
        5 => {
            let at = header(bytes, draw).unwrap_or(at);
            bytes[at + 4..at + 6].copy_from_slice(REPRESENTATIONS[draw.below(10)]);
        }
        6 => {
            let at = header(bytes, draw).unwrap_or(at);
            bytes[at + draw.below(4)] = draw.below(256) as u8;
        }
        7 => {
            let end = (at + draw.below(64)).min(bytes.len());
            bytes.drain(at..end);
        }
        8 => {
            let end = (at + draw.below(64)).min(bytes.len());
            let copy = bytes[at..end].to_vec();
            bytes.splice(at..at, copy);
        }
        9 => switch_syntax(bytes, draw),
        10 => {
            let deep = 1 + draw.below(60);
            let at = header(bytes, draw).unwrap_or(at);
            bytes.splice(at..at, nested(deep));
        }
        _ => {
            let value = (draw.below(65_536) as u16).to_le_bytes();
            let at = image_element(bytes, draw).unwrap_or(at);
            bytes[at + 8..at + 10].copy_from_slice(&value);
        }
    }
}

/// Offset of something that looks like an explicit element.
fn header(bytes: &[u8], draw: &mut Draw) -> Option<usize> {
    let from = draw.below(bytes.len() - 12);
    (from..bytes.len() - 12).find(|at| {
        let vr = &bytes[at + 4..at + 6];
        bytes[at + 1] < 0x80 && vr.iter().all(u8::is_ascii_uppercase)
    })
}

/// Offset of an element of the image's layout, group 0028.
fn image_element(bytes: &[u8], draw: &mut Draw) -> Option<usize> {
    let from = draw.below(bytes.len() / 2);
    (from..bytes.len() - 12).find(|at| bytes[*at..at + 2] == [0x28, 0] && bytes[at + 3] < 2)
}

/// Write another transfer syntax over the one stated.
fn switch_syntax(bytes: &mut [u8], draw: &mut Draw) {
    let root = b"1.2.840.10008.1.2";
    let Some(at) = bytes.windows(root.len()).position(|w| w == root) else { return };
    let tail = SYNTAXES[draw.below(SYNTAXES.len())].as_bytes();
    let after = &mut bytes[at + root.len()..];
    if after.len() > tail.len() {
        after[..tail.len()].copy_from_slice(tail);
        after[tail.len()] = 0;
    }
}

/// Sequences of undefined length within each other.
fn nested(deep: usize) -> Vec<u8> {
    let mut bytes = Vec::new();
    for _ in 0..deep {
        bytes.extend([0x08, 0x00, 0x40, 0x11, b'S', b'Q', 0, 0, 0xFF, 0xFF, 0xFF, 0xFF]);
        bytes.extend([0xFE, 0xFF, 0x00, 0xE0, 0xFF, 0xFF, 0xFF, 0xFF]);
    }
    for _ in 0..deep {
        bytes.extend([0xFE, 0xFF, 0x0D, 0xE0, 0, 0, 0, 0, 0xFE, 0xFF, 0xDD, 0xE0, 0, 0, 0, 0]);
    }
    bytes
}
