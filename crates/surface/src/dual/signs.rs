//! Which samples are inside, one bit each, and which cells the surface passes.

use std::ops::Range;

use rayon::prelude::*;

use super::samples::Samples;

/// Inside or outside for every sample; everything around the box is outside.
///
/// Cell `(i, j, k)` lies between samples `i - 1` and `i` along columns, and
/// so on, so there is one cell more than samples along every axis.
pub(super) struct Signs {
    size: [usize; 3],
    /// Words a row, enough for the cells.
    width: usize,
    words: Vec<u64>,
    /// Of each row, the words from the first to past the last with a sample
    /// inside.
    spans: Vec<Range<u32>>,
    nothing: Vec<u64>,
}

/// The span of a row without a sample inside: it widens no other.
const NO_WORDS: Range<u32> = Range { start: u32::MAX, end: 0 };

/// The corners of 64 cells of a row: bit `n` of word `c` is corner `c` of the
/// `n`-th cell.
#[derive(Clone, Copy)]
pub(super) struct Corners([u64; 8]);

impl Signs {
    pub(super) fn of<S: Samples>(samples: &S) -> Self {
        let size = samples.size();
        let width = size[0] / 64 + 1;
        let mut words = vec![0; width * size[1] * size[2]];
        let mut spans = vec![0..0; size[1] * size[2]];
        let slices = words.par_chunks_mut(width * size[1]);
        slices.zip(spans.par_chunks_mut(size[1])).enumerate().for_each(|(slice, (rows, spans))| {
            for (row, (words, span)) in rows.chunks_mut(width).zip(spans).enumerate() {
                samples.write_signs(row, slice, words);
                *span = span_of(words);
            }
        });
        Self { size, width, words, spans, nothing: vec![0; width] }
    }

    /// Samples along columns, rows, slices.
    pub(super) fn size(&self) -> [usize; 3] {
        self.size
    }

    /// A row of samples; `row` and `slice` count from one before the box.
    #[inline]
    pub(super) fn row(&self, row: usize, slice: usize) -> &[u64] {
        match (row.checked_sub(1), slice.checked_sub(1)) {
            (Some(row), Some(slice)) if row < self.size[1] && slice < self.size[2] => {
                let first = (slice * self.size[1] + row) * self.width;
                &self.words[first..first + self.width]
            }
            _ => &self.nothing,
        }
    }

    /// The words of a row of cells that the surface may pass.
    #[inline]
    pub(super) fn words_of_cells(&self, row: usize, slice: usize) -> Range<usize> {
        let mut words = NO_WORDS;
        for (row, slice) in [(row, slice), (row + 1, slice), (row, slice + 1), (row + 1, slice + 1)]
        {
            let (Some(row), Some(slice)) = (row.checked_sub(1), slice.checked_sub(1)) else {
                continue;
            };
            if row < self.size[1] && slice < self.size[2] {
                let span = &self.spans[slice * self.size[1] + row];
                words.start = words.start.min(span.start);
                words.end = words.end.max(span.end);
            }
        }
        // The last sample of a word is a corner of the next word's first cell.
        words.start as usize..(words.end as usize + 1).min(self.width)
    }

    /// The four rows of samples around a row of cells: low row low slice,
    /// high row low slice, low row high slice, high both.
    #[inline]
    pub(super) fn rows_of_cells(&self, row: usize, slice: usize) -> [&[u64]; 4] {
        [
            self.row(row, slice),
            self.row(row + 1, slice),
            self.row(row, slice + 1),
            self.row(row + 1, slice + 1),
        ]
    }

    /// Whether a sample is inside; indices count from one before the box.
    pub(super) fn is_inside(&self, index: [usize; 3]) -> bool {
        let Some(column) = index[0].checked_sub(1) else { return false };
        column < self.size[0] && self.row(index[1], index[2])[column / 64] >> (column % 64) & 1 == 1
    }

    /// Which corners of a cell are inside, bit `c` for corner `c`.
    pub(super) fn cell(&self, cell: [usize; 3]) -> u8 {
        (0..8).fold(0, |inside, corner| {
            let at = [cell[0] + (corner & 1), cell[1] + (corner >> 1 & 1), cell[2] + (corner >> 2)];
            inside | u8::from(self.is_inside(at)) << corner
        })
    }

    /// Samples inside on each side of the box: low and high columns, rows,
    /// slices.
    pub(super) fn on_border(&self) -> [usize; 6] {
        let [columns, rows, slices] = self.size;
        let mut counts = [0; 6];
        for slice in 1..=slices {
            for row in 1..=rows {
                let words = self.row(row, slice);
                let last = columns - 1;
                counts[0] += (words[0] & 1) as usize;
                counts[1] += (words[last / 64] >> (last % 64) & 1) as usize;
                let edges =
                    [(2, row == 1), (3, row == rows), (4, slice == 1), (5, slice == slices)];
                if edges.iter().any(|(_, is_edge)| *is_edge) {
                    let count = words.iter().map(|w| w.count_ones() as usize).sum::<usize>();
                    edges.iter().filter(|e| e.1).for_each(|(side, _)| counts[*side] += count);
                }
            }
        }
        counts
    }
}

/// The words from the first to past the last that are not 0.
fn span_of(words: &[u64]) -> Range<u32> {
    let first = words.iter().position(|w| *w != 0);
    let last = words.iter().rposition(|w| *w != 0);
    first.zip(last).map_or(NO_WORDS, |(first, last)| first as u32..last as u32 + 1)
}

/// The bits of a row moved up by one: bit `n` tells of the sample before.
#[inline]
pub(super) fn before(row: &[u64], word: usize) -> u64 {
    row[word] << 1 | if word > 0 { row[word - 1] >> 63 } else { 0 }
}

impl Corners {
    /// Gather the corners of the cells of a word from the rows around them.
    #[inline]
    pub(super) fn gather(rows: [&[u64]; 4], word: usize) -> Self {
        let mut corners = [0; 8];
        for (place, row) in rows.into_iter().enumerate() {
            corners[2 * place] = before(row, word);
            corners[2 * place + 1] = row[word];
        }
        Self(corners)
    }

    /// Cells with corners on both sides of the surface.
    #[inline]
    pub(super) fn crossed(&self) -> u64 {
        let any = self.0.iter().fold(0, |all, c| all | c);
        let every = self.0.iter().fold(u64::MAX, |all, c| all & c);
        any & !every
    }

    /// Cells that may hold several sheets: a face with only two opposite
    /// corners inside, or only two opposite corners of the cell on one side.
    ///
    /// In any other cell both the corners inside and those outside are
    /// connected along edges, so one closed line parts them: one sheet.
    #[inline]
    pub(super) fn intricate(&self) -> u64 {
        const FACES: [[usize; 4]; 6] =
            [[0, 2, 4, 6], [1, 3, 5, 7], [0, 1, 4, 5], [2, 3, 6, 7], [0, 1, 2, 3], [4, 5, 6, 7]];
        let c = &self.0;
        let mut several = 0;
        for [p, q, r, s] in FACES {
            several |= !(c[p] ^ c[s]) & !(c[q] ^ c[r]) & (c[p] ^ c[q]);
        }
        for first in 0..4 {
            let others = (0..4).filter(|n| *n != first);
            let (mut any, mut every) = (0, u64::MAX);
            for n in others {
                any |= c[n] | c[7 - n];
                every &= c[n] & c[7 - n];
            }
            several |= c[first] & c[7 - first] & !any;
            several |= !(c[first] | c[7 - first]) & every;
        }
        several
    }

    /// Corners of one of the 64 cells, bit `c` for corner `c`.
    #[inline]
    pub(super) fn of_cell(&self, bit: u32) -> u8 {
        self.0
            .iter()
            .enumerate()
            .fold(0, |inside, (c, word)| inside | ((word >> bit & 1) as u8) << c)
    }
}

/// The positions of the set bits of a word, lowest first.
#[inline]
pub(super) fn bits_of(mut word: u64) -> impl Iterator<Item = u32> {
    std::iter::from_fn(move || {
        (word != 0).then(|| {
            let bit = word.trailing_zeros();
            word &= word - 1;
            bit
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dual::cell::find_sheets;

    #[test]
    fn cells_with_several_sheets_are_among_the_intricate_ones() {
        for inside in 1..u8::MAX {
            let corners = Corners(std::array::from_fn(|c| u64::from(inside >> c & 1)));
            assert_eq!(corners.crossed() & 1, 1);
            let several = [false, true].iter().any(|join| find_sheets(inside, |_| *join).count > 1);
            if several {
                assert_eq!(corners.intricate() & 1, 1, "{inside:08b}");
            }
            assert_eq!(corners.of_cell(0), inside);
        }
    }

    #[test]
    fn set_bits_come_in_order() {
        assert_eq!(bits_of(1 << 63 | 0b101).collect::<Vec<_>>(), [0, 2, 63]);
    }
}
