//! Sets of voxels read in array order: gathered by many threads, or of a row.

use std::sync::atomic::{AtomicU64, Ordering};

/// Whether any value passes a test; all are asked, many at once.
#[inline]
pub(crate) fn any<T: Copy>(values: &[T], test: impl Fn(T) -> bool) -> bool {
    values.iter().fold(false, |any, value| any | test(*value))
}

/// Places of the values of a row that pass a test, rising; sixteen that do not
/// are passed at once.
#[inline]
pub(crate) fn marked<T: Copy>(
    row: &[T],
    test: impl Fn(T) -> bool + Copy,
) -> impl Iterator<Item = usize> {
    let parts = row.chunks(16).enumerate().filter(move |(_, part)| any(part, test));
    parts.flat_map(move |(at, part)| {
        let own = part.iter().enumerate().filter(move |(_, value)| test(**value));
        own.map(move |(x, _)| 16 * at + x)
    })
}

/// Places of the bits of a row, rising.
#[inline]
pub(crate) fn bits(words: &[u64]) -> impl Iterator<Item = usize> {
    words.iter().enumerate().flat_map(|(at, word)| {
        let mut left = *word;
        std::iter::from_fn(move || {
            let next = (left != 0).then(|| 64 * at + left.trailing_zeros() as usize);
            left &= left.wrapping_sub(1);
            next
        })
    })
}

/// The bits of a row's values that pass a test, 64 at most.
#[inline]
pub(crate) fn word_of<T: Copy>(values: &[T], test: impl Fn(T) -> bool) -> u64 {
    /// Brings the lowest bits of eight bytes together in the highest byte.
    const GATHER: u64 = 0x0102_0408_1020_4080;
    let mut word = 0;
    for (at, eight) in values.chunks(8).enumerate() {
        let mut bytes = [0_u8; 8];
        for (byte, value) in bytes.iter_mut().zip(eight) {
            *byte = u8::from(test(*value));
        }
        word |= (u64::from_le_bytes(bytes).wrapping_mul(GATHER) >> 56) << (8 * at);
    }
    word
}

/// One bit a voxel.
pub(crate) struct Gathered {
    words: Vec<AtomicU64>,
}

impl Gathered {
    /// No voxel of `count`.
    pub(crate) fn none(count: usize) -> Self {
        Self { words: (0..count.div_ceil(64)).map(|_| AtomicU64::new(0)).collect() }
    }

    pub(crate) fn add(&self, at: usize) {
        let (word, bit) = (&self.words[at / 64], 1 << (at % 64));
        // A look costs less than a write that changes nothing.
        if word.load(Ordering::Relaxed) & bit == 0 {
            word.fetch_or(bit, Ordering::Relaxed);
        }
    }

    /// Array positions, rising.
    pub(crate) fn rising(self) -> Vec<u32> {
        let words: Vec<u64> = self.words.into_iter().map(AtomicU64::into_inner).collect();
        bits(&words).map(|at| at as u32).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bits_bytes_and_places_say_the_same() {
        for count in [0, 1, 7, 8, 63, 64] {
            let row: Vec<u8> = (0..count).map(|i: u8| i.wrapping_mul(37) % 5).collect();
            let plainly: Vec<usize> = (0..row.len()).filter(|at| row[*at] > 2).collect();
            let word = word_of(&row, |value| value > 2);
            assert_eq!(bits(&[0, word]).map(|at| at - 64).collect::<Vec<_>>(), plainly);
            assert_eq!(marked(&row, |value| value > 2).collect::<Vec<_>>(), plainly);
            let all = Gathered::none(64);
            plainly.iter().rev().for_each(|at| all.add(*at));
            assert_eq!(all.rising(), plainly.iter().map(|at| *at as u32).collect::<Vec<_>>());
        }
    }
}
