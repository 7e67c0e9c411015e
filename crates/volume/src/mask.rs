//! One bit a voxel, and one small number a voxel.

use ndarray::ArrayView3;
use rayon::prelude::*;

use crate::grid::Grid;
use crate::space::PatientPoint;

/// A set of voxels, one bit each; rows start at whole 64-bit words, so that
/// rows can be worked on in parallel.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mask {
    size: [usize; 3],
    words_per_row: usize,
    words: Vec<u64>,
}

impl Mask {
    /// No voxel of a box of `size` columns, rows, slices.
    pub fn none(size: [usize; 3]) -> Self {
        let words_per_row = size[0].div_ceil(64);
        Self { size, words_per_row, words: vec![0; words_per_row * size[1] * size[2]] }
    }

    /// The voxels for which `member` of their position in array order holds.
    pub fn where_true(size: [usize; 3], member: impl Fn(usize) -> bool + Sync) -> Self {
        let mut mask = Self::none(size);
        if mask.words.is_empty() {
            return mask;
        }
        mask.words.par_chunks_mut(mask.words_per_row).enumerate().for_each(|(row, words)| {
            for (first, to) in (0..size[0]).step_by(64).zip(words) {
                let mut word = 0;
                for column in first..(first + 64).min(size[0]) {
                    word |= u64::from(member(row * size[0] + column)) << (column - first);
                }
                // What nobody writes to stays a page of zeros that takes no memory.
                if word != 0 {
                    *to = word;
                }
            }
        });
        mask
    }

    /// Columns, rows, slices.
    pub fn size(&self) -> [usize; 3] {
        self.size
    }

    /// Words of 64 voxels a row.
    pub fn words_per_row(&self) -> usize {
        self.words_per_row
    }

    /// The bits, row by row; bit 0 of a row's first word is column 0, bits
    /// past the last column are 0.
    pub fn words(&self) -> &[u64] {
        &self.words
    }

    /// The bits, to be changed; bits past the last column must stay 0.
    pub fn words_mut(&mut self) -> &mut [u64] {
        &mut self.words
    }

    /// Whether a voxel belongs; `false` outside the box.
    #[inline]
    pub fn has(&self, index: [usize; 3]) -> bool {
        if (0..3).any(|i| index[i] >= self.size[i]) {
            return false;
        }
        let row = index[2] * self.size[1] + index[1];
        self.words[row * self.words_per_row + index[0] / 64] >> (index[0] % 64) & 1 == 1
    }

    /// Let a voxel belong, or not.
    ///
    /// # Panics
    ///
    /// When the index is outside the box.
    pub fn set(&mut self, index: [usize; 3], belongs: bool) {
        assert!((0..3).all(|i| index[i] < self.size[i]), "voxel {index:?} is outside the mask");
        let row = index[2] * self.size[1] + index[1];
        let bit = 1 << (index[0] % 64);
        let word = &mut self.words[row * self.words_per_row + index[0] / 64];
        if belongs {
            *word |= bit;
        } else {
            *word &= !bit;
        }
    }

    /// Number of voxels that belong.
    pub fn count(&self) -> usize {
        self.words.iter().map(|w| w.count_ones() as usize).sum()
    }

    /// Whether none belongs.
    pub fn is_empty(&self) -> bool {
        self.words.iter().all(|w| *w == 0)
    }

    /// Whether the voxel whose cell holds a patient position belongs; `false`
    /// outside the lattice.
    #[inline]
    pub fn has_at(&self, grid: &Grid, at: PatientPoint) -> bool {
        nearest_voxel(grid, at).is_some_and(|index| self.has(index))
    }
}

/// One label a voxel; 0 is nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Labels {
    size: [usize; 3],
    values: Vec<u8>,
}

impl Labels {
    /// Put labels on a box, slice by slice, row by row, columns fastest;
    /// `None` when their number is not that of the voxels.
    pub fn new(size: [usize; 3], values: Vec<u8>) -> Option<Self> {
        (values.len() == size.iter().product()).then_some(Self { size, values })
    }

    /// Columns, rows, slices.
    pub fn size(&self) -> [usize; 3] {
        self.size
    }

    /// The labels in array order.
    pub fn values(&self) -> &[u8] {
        &self.values
    }

    /// The labels as an array, axes slice, row, column.
    ///
    /// # Panics
    ///
    /// Never: there are as many labels as voxels.
    pub fn view(&self) -> ArrayView3<'_, u8> {
        let [columns, rows, slices] = self.size;
        ArrayView3::from_shape((slices, rows, columns), &self.values)
            .expect("a label for every voxel")
    }

    /// The label of a voxel.
    ///
    /// # Panics
    ///
    /// When the index is outside the box.
    #[inline]
    pub fn at(&self, index: [usize; 3]) -> u8 {
        self.values[(index[2] * self.size[1] + index[1]) * self.size[0] + index[0]]
    }

    /// The voxels of one label.
    pub fn mask_of(&self, label: u8) -> Mask {
        Mask::where_true(self.size, |i| self.values[i] == label)
    }
}

/// The voxel whose cell holds a patient position; `None` outside the lattice.
#[inline]
pub fn nearest_voxel(grid: &Grid, at: PatientPoint) -> Option<[usize; 3]> {
    let voxel = grid.voxel_from_patient(at).0;
    let size = grid.size();
    // Halves away from zero, without a call for each coordinate.
    let nearest = |i: usize| {
        let below = (voxel[i].max(0.0) as usize).min(size[i]);
        let index = below + usize::from(voxel[i] - below as f64 >= 0.5);
        (voxel[i] > -0.5 && index < size[i]).then_some(index)
    };
    Some([nearest(0)?, nearest(1)?, nearest(2)?])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::Direction;

    #[test]
    fn an_array_of_labels_counts_slice_row_column() {
        let labels = Labels::new([2, 3, 2], (0..12).collect()).expect("fits");
        assert_eq!(labels.view()[[1, 2, 0]], labels.at([0, 2, 1]));
    }

    #[test]
    fn the_nearest_voxel_is_that_of_rounding() {
        let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
        let grid =
            Grid::from_axes([7, 3, 5], PatientPoint([0.0; 3]), axes, [1.0; 3]).expect("square");
        let rounded = |at: PatientPoint| {
            let voxel = grid.voxel_from_patient(at).0.map(f64::round);
            let holds = |i: usize| voxel[i] >= 0.0 && voxel[i] < grid.size()[i] as f64;
            (0..3).all(holds).then(|| voxel.map(|c| c as usize))
        };
        for step in -40..160 {
            let c = f64::from(step) * 0.05;
            for at in [[c, 1.0, 2.0], [3.0, c, 2.0], [3.0, 1.0, c], [c, f64::NAN, 1.0]] {
                assert_eq!(nearest_voxel(&grid, PatientPoint(at)), rounded(PatientPoint(at)));
            }
        }
        for c in [-0.5, -0.0, 0.499_999_999_999_999_94, 0.5, 6.5, 1e300, -1e300] {
            let at = PatientPoint([c, 1.0, 2.0]);
            assert_eq!(nearest_voxel(&grid, at), rounded(at), "{c}");
        }
    }

    #[test]
    fn bits_are_kept_apart_across_words() {
        let mut mask = Mask::none([130, 3, 2]);
        for index in [[0, 0, 0], [63, 1, 0], [64, 1, 0], [129, 2, 1]] {
            mask.set(index, true);
        }
        assert_eq!(mask.count(), 4);
        assert!(mask.has([64, 1, 0]) && !mask.has([65, 1, 0]) && !mask.has([130, 2, 1]));
        mask.set([64, 1, 0], false);
        assert_eq!(mask.count(), 3);
    }

    #[test]
    fn a_mask_from_a_rule_agrees_with_the_rule() {
        let mask = Mask::where_true([70, 2, 2], |i| i % 3 == 0);
        assert!((0..280).all(|i| mask.has([i % 70, i / 70 % 2, i / 140]) == (i % 3 == 0)));
    }
}
