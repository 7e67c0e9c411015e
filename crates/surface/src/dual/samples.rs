//! Where the numbers come from: a mask, a scan at a threshold, a signed field.

use pilothole_volume::{Mask, NOTHING_I16, Region};

use super::batch::bends_of;
use super::place::beside;

/// Numbers on a box of the lattice, positive (or 0) inside.
pub(super) trait Samples: Sync {
    /// Columns, rows, slices.
    fn size(&self) -> [usize; 3];

    /// Write which samples of a row are inside, 64 a word; bits past the row
    /// are 0, `words` is one longer than the row where that is full.
    fn write_signs(&self, row: usize, slice: usize, words: &mut [u64]);

    /// Height of a sample above the surface's level; not-a-number where
    /// nothing was measured.
    fn height_or_nan(&self, index: [usize; 3]) -> f32;

    /// Heights of the corners of a cell that lies in the box; `low` is its
    /// first sample.
    #[inline]
    fn heights(&self, low: [usize; 3]) -> [f32; 8] {
        std::array::from_fn(|c| {
            self.height_or_nan([low[0] + (c & 1), low[1] + (c >> 1 & 1), low[2] + (c >> 2)])
        })
    }

    /// For each axis, heights of the samples beside the corners outside the
    /// cell, all in the box.
    #[inline]
    fn around(&self, low: [usize; 3]) -> [[f32; 8]; 3] {
        let height = |axis, c| self.height_or_nan(beside(low, c, axis));
        std::array::from_fn(|axis| std::array::from_fn(|c| height(axis, c)))
    }

    /// [`Samples::heights`], and how much the heights bend along each axis (see
    /// [`bends_of`]); not finite where one of those around was not measured.
    #[inline]
    fn heights_and_bends(&self, low: [usize; 3]) -> ([f32; 8], [f32; 3]) {
        let (heights, around) = (self.heights(low), self.around(low));
        let sum = |eight: &[f32; 8]| eight.iter().sum::<f32>();
        (heights, bends_of(sum(&heights), around.each_ref().map(sum)))
    }

    /// Whether there is only inside and outside, nothing between.
    const STEPS: bool = false;
}

/// A mask's voxels: inside or not.
pub(super) struct MaskSamples<'a>(pub(super) &'a Mask);

impl Samples for MaskSamples<'_> {
    const STEPS: bool = true;

    fn size(&self) -> [usize; 3] {
        self.0.size()
    }

    fn write_signs(&self, row: usize, slice: usize, words: &mut [u64]) {
        let width = self.0.words_per_row();
        let first = (slice * self.0.size()[1] + row) * width;
        words.fill(0);
        words[..width].copy_from_slice(&self.0.words()[first..first + width]);
    }

    #[inline]
    fn height_or_nan(&self, index: [usize; 3]) -> f32 {
        if self.0.has(index) { 1.0 } else { -1.0 }
    }
}

/// A kind of number that a scan or a field is stored in.
pub(super) trait Stored: Copy + PartialOrd + Sync {
    fn or_nan(self) -> f32;
    /// Sum of eight; not-a-number where one is no measurement.
    fn sum_or_nan(eight: [Self; 8]) -> f32;
}

impl Stored for i16 {
    #[inline]
    fn or_nan(self) -> f32 {
        if self == NOTHING_I16 { f32::NAN } else { f32::from(self) }
    }
    #[inline]
    fn sum_or_nan(eight: [Self; 8]) -> f32 {
        let mut unmeasured = false;
        let mut sum = 0;
        for value in eight {
            unmeasured |= value == NOTHING_I16;
            sum += i32::from(value);
        }
        if unmeasured { f32::NAN } else { sum as f32 }
    }
}

impl Stored for u16 {
    #[inline]
    fn or_nan(self) -> f32 {
        f32::from(self)
    }
    #[inline]
    fn sum_or_nan(eight: [Self; 8]) -> f32 {
        eight.into_iter().map(u32::from).sum::<u32>() as f32
    }
}

impl Stored for f32 {
    #[inline]
    fn or_nan(self) -> f32 {
        self
    }
    #[inline]
    fn sum_or_nan([a, b, c, d, e, f, g, h]: [Self; 8]) -> f32 {
        ((a + b) + (c + d)) + ((e + f) + (g + h))
    }
}

/// A region of an array of numbers, inside where they reach a limit.
pub(super) struct ArraySamples<'a, T: Stored> {
    pub(super) all: &'a [T],
    /// Columns and rows of the whole array.
    pub(super) pitch: [usize; 2],
    pub(super) region: Region,
    /// Least stored number inside.
    pub(super) limit: T,
    /// What heights count from.
    pub(super) level: f32,
}

impl<T: Stored> ArraySamples<'_, T> {
    #[inline]
    fn offset_of(&self, index: [usize; 3]) -> usize {
        let from = self.region.from();
        let row = (from[2] + index[2]) * self.pitch[1] + from[1] + index[1];
        row * self.pitch[0] + from[0] + index[0]
    }

    #[inline]
    fn steps(&self) -> [usize; 3] {
        [1, self.pitch[0], self.pitch[0] * self.pitch[1]]
    }

    /// Heights of `N` samples side by side.
    #[inline]
    fn some<const N: usize>(&self, first: usize) -> [f32; N] {
        let mut heights = [0.0; N];
        for (height, stored) in heights.iter_mut().zip(&self.all[first..first + N]) {
            *height = stored.or_nan() - self.level;
        }
        heights
    }
}

impl<T: Stored> Samples for ArraySamples<'_, T> {
    fn size(&self) -> [usize; 3] {
        self.region.size()
    }

    fn write_signs(&self, row: usize, slice: usize, words: &mut [u64]) {
        let first = self.offset_of([0, row, slice]);
        let line = &self.all[first..first + self.region.size()[0]];
        words.fill(0);
        let (full, rest) = line.as_chunks::<64>();
        for (word, chunk) in words.iter_mut().zip(full) {
            *word = signs_of(chunk, self.limit);
        }
        for (bit, value) in rest.iter().enumerate() {
            words[full.len()] |= u64::from(*value >= self.limit) << bit;
        }
    }

    #[inline]
    fn height_or_nan(&self, index: [usize; 3]) -> f32 {
        let [height] = self.some(self.offset_of(index));
        height
    }

    #[inline]
    fn heights(&self, low: [usize; 3]) -> [f32; 8] {
        let [_, row, slice] = self.steps();
        let first = self.offset_of(low);
        let [a, b] = [self.some::<2>(first), self.some::<2>(first + row)];
        let [c, d] = [self.some::<2>(first + slice), self.some::<2>(first + row + slice)];
        [a[0], a[1], b[0], b[1], c[0], c[1], d[0], d[1]]
    }

    #[inline]
    fn around(&self, low: [usize; 3]) -> [[f32; 8]; 3] {
        let [_, row, slice] = self.steps();
        let first = self.offset_of(low);
        // Beside the cell along columns, and whole edges of it along rows and
        // slices: two or four numbers that lie side by side at a time.
        let four = |at: usize| self.some::<4>(at - 1);
        let two = |at: usize| self.some::<2>(at);
        let rows = [first, first + row, first + slice, first + row + slice];
        let [a, b, c, d] = rows.map(four);
        let columns = [a[0], a[3], b[0], b[3], c[0], c[3], d[0], d[3]];
        let [a, b] = [two(rows[0] - row), two(rows[1] + row)];
        let [c, d] = [two(rows[2] - row), two(rows[3] + row)];
        let across_rows = [a[0], a[1], b[0], b[1], c[0], c[1], d[0], d[1]];
        let [a, b] = [two(rows[0] - slice), two(rows[1] - slice)];
        let [c, d] = [two(rows[2] + slice), two(rows[3] + slice)];
        [columns, across_rows, [a[0], a[1], b[0], b[1], c[0], c[1], d[0], d[1]]]
    }

    #[inline]
    fn heights_and_bends(&self, low: [usize; 3]) -> ([f32; 8], [f32; 3]) {
        let [_, row, slice] = self.steps();
        let first = self.offset_of(low);
        let four = |at: usize| &self.all[at - 1..at + 3];
        let two = |at: usize| &self.all[at..at + 2];
        let [a, b] = [four(first), four(first + row)];
        let [c, d] = [four(first + slice), four(first + row + slice)];
        let within = [a[1], a[2], b[1], b[2], c[1], c[2], d[1], d[2]];
        let columns = [a[0], a[3], b[0], b[3], c[0], c[3], d[0], d[3]];
        let [a, b] = [two(first - row), two(first + 2 * row)];
        let [c, d] = [two(first + slice - row), two(first + slice + 2 * row)];
        let across_rows = [a[0], a[1], b[0], b[1], c[0], c[1], d[0], d[1]];
        let [a, b] = [two(first - slice), two(first + row - slice)];
        let [c, d] = [two(first + 2 * slice), two(first + row + 2 * slice)];
        let across_slices = [a[0], a[1], b[0], b[1], c[0], c[1], d[0], d[1]];
        let around = [columns, across_rows, across_slices].map(T::sum_or_nan);
        (within.map(|v| v.or_nan() - self.level), bends_of(T::sum_or_nan(within), around))
    }
}

/// One bit for each of 64 numbers, the first in bit 0.
#[inline]
fn signs_of<T: Stored>(chunk: &[T; 64], limit: T) -> u64 {
    /// Moves the lowest bits of eight bytes to the top byte, in order.
    const GATHER: u64 = 0x0102_0408_1020_4080;
    let bytes: [u8; 64] = std::array::from_fn(|i| u8::from(chunk[i] >= limit));
    let (eights, _) = bytes.as_chunks::<8>();
    eights.iter().enumerate().fold(0, |word, (place, eight)| {
        word | (u64::from_le_bytes(*eight).wrapping_mul(GATHER) >> 56) << (8 * place)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn signs_keep_their_order() {
        let chunk: [i16; 64] = std::array::from_fn(|i| if i % 5 < 2 { 7 } else { -7 });
        let word = signs_of(&chunk, 0);
        assert!((0..64).all(|i| (word >> i & 1 == 1) == (i % 5 < 2)), "{word:064b}");
    }
}
