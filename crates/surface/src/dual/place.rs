//! What an extraction reads: heights of cells, their sheets, their vertices.

use super::batch::bends_of;
use super::cell::{EDGE_CORNERS, Sheets, crossed_edges, find_sheets};
use super::method::Placement;
use super::samples::Samples;
use super::signs::Signs;

/// All that is read during an extraction.
///
/// Indices count from one sample before the box, so that everything around
/// the box has an index.
pub(super) struct Scene<'a, S> {
    pub(super) placement: Placement,
    pub(super) samples: &'a S,
    pub(super) signs: &'a Signs,
}

/// What a vertex in a cell depends on.
pub(super) struct View {
    /// Heights of the cell's corners.
    pub(super) heights: [f32; 8],
    /// Whether all of these are known.
    pub(super) is_measured: bool,
    /// See [`bends_of`]; not-a-number where they are not known or not asked for.
    pub(super) bends: [f32; 3],
    /// Heights beside the corners, where asked for.
    pub(super) around: Option<[[f32; 8]; 3]>,
}

/// A cell that may hold several sheets.
#[derive(Clone, Copy, Debug)]
pub(super) struct Intricate {
    pub(super) sheets: Sheets,
    /// Bit `a`: on the high face along axis `a`, a sheet passes twice on both
    /// sides, so that its two strips get a vertex each.
    pub(super) strips_on: u8,
}

impl Intricate {
    pub(super) fn vertices(&self) -> u32 {
        u32::from(self.sheets.count) + 2 * self.strips_on.count_ones()
    }
}

impl<S: Samples> Scene<'_, S> {
    /// Height of a sample; not-a-number around the box.
    #[inline]
    fn height_or_nan(&self, index: [usize; 3]) -> f32 {
        if self.is_in_box(index) {
            self.samples.height_or_nan(index.map(|i| i - 1))
        } else {
            f32::NAN
        }
    }

    #[inline]
    fn is_in_box(&self, index: [usize; 3]) -> bool {
        let size = self.signs.size();
        (0..3).all(|a| index[a] >= 1 && index[a] <= size[a])
    }

    /// Whether a cell, and all within `reach` samples of it, lies in the box.
    #[inline]
    fn is_within(&self, cell: [usize; 3], reach: usize) -> bool {
        let size = self.signs.size();
        (0..3).all(|a| cell[a] > reach && cell[a] + reach < size[a])
    }

    /// Heights of a cell's corners.
    #[inline]
    fn heights(&self, cell: [usize; 3], inside: u8) -> [f32; 8] {
        if S::STEPS {
            std::array::from_fn(|c| if inside >> c & 1 == 1 { 1.0 } else { -1.0 })
        } else if self.is_within(cell, 0) {
            self.samples.heights(cell.map(|c| c - 1))
        } else {
            std::array::from_fn(|c| self.height_or_nan(corner_at(cell, c)))
        }
    }

    /// What a vertex in a cell depends on.
    #[inline]
    pub(super) fn view(&self, cell: [usize; 3], inside: u8) -> View {
        if self.placement == Placement::Lifted && !S::STEPS && self.is_within(cell, 1) {
            let (heights, bends) = self.samples.heights_and_bends(cell.map(|c| c - 1));
            // A sum with not-a-number is none.
            if (bends[0] + bends[1] + bends[2]).is_finite() {
                return View { heights, is_measured: true, bends, around: None };
            }
        }
        self.view_slowly(cell, inside)
    }

    #[inline(never)]
    fn view_slowly(&self, cell: [usize; 3], inside: u8) -> View {
        let heights = self.heights(cell, inside);
        let is_measured = !heights.iter().any(|h| h.is_nan());
        let unknown = [f32::NAN; 3];
        match self.placement {
            Placement::Mean => View { heights, is_measured, bends: unknown, around: None },
            Placement::Planes => {
                View { heights, is_measured, bends: unknown, around: self.around(cell, &heights) }
            }
            Placement::Lifted => {
                let sum = |eight: &[f32; 8]| eight.iter().sum::<f32>();
                let bends = self
                    .around(cell, &heights)
                    .map_or(unknown, |around| bends_of(sum(&heights), around.each_ref().map(sum)));
                View { heights, is_measured, bends, around: None }
            }
        }
    }

    /// Heights next to a cell's corners outside it; carried on from the cell
    /// where there is no measurement. `None` where a corner has none itself.
    #[inline]
    fn around(&self, cell: [usize; 3], heights: &[f32; 8]) -> Option<[[f32; 8]; 3]> {
        if !self.is_within(cell, 0) || heights.iter().any(|h| !h.is_finite()) {
            return None;
        }
        let mut around = if self.is_within(cell, 1) {
            self.samples.around(cell.map(|c| c - 1))
        } else {
            let beside = |axis, c| self.height_or_nan(beside(cell, c, axis));
            std::array::from_fn(|axis| std::array::from_fn(|c| beside(axis, c)))
        };
        if around.as_flattened().iter().all(|h| h.is_finite()) {
            return Some(around);
        }
        for (axis, around) in around.iter_mut().enumerate() {
            for (corner, height) in around.iter_mut().enumerate() {
                let carried = 2.0 * heights[corner] - heights[corner ^ 1 << axis];
                *height = if height.is_finite() { *height } else { carried };
            }
        }
        Some(around)
    }

    fn sheets(&self, cell: [usize; 3], inside: u8) -> Sheets {
        let heights = self.heights(cell, inside);
        find_sheets(inside, |[in_a, in_b, out_a, out_b]| {
            let at = |corner: u8| heights[corner as usize];
            // Sign of the bilinear saddle; false where something is not known.
            at(in_a) * at(in_b) > at(out_a) * at(out_b)
        })
    }

    /// Look closer at a cell that may hold several sheets.
    pub(super) fn intricate(&self, cell: [usize; 3], inside: u8) -> Intricate {
        let sheets = self.sheets(cell, inside);
        let mut strips_on = 0;
        for axis in 0..3 {
            if sheets.twice >> (2 * axis + 1) & 1 == 0 {
                continue;
            }
            let mut next = cell;
            next[axis] += 1;
            let beyond = self.sheets(next, self.signs.cell(next));
            strips_on |= (beyond.twice >> (2 * axis) & 1) << axis;
        }
        Intricate { sheets, strips_on }
    }

    /// Crossed edges of a cell, of those that no other cell with a lower index
    /// has, against a sample in the box that holds no measurement.
    pub(super) fn unmeasured(&self, cell: [usize; 3], heights: &[f32; 8], crossed: u16) -> usize {
        [3, 7, 11]
            .into_iter()
            .filter(|edge| crossed >> edge & 1 == 1)
            .flat_map(|edge| EDGE_CORNERS[edge])
            .map(usize::from)
            .filter(|c| heights[*c].is_nan() && self.is_in_box(corner_at(cell, *c)))
            .count()
    }
}

/// Crossing edges of one sheet, as bits.
pub(super) fn edges_of_sheet(sheets: &Sheets, inside: u8, sheet: u8) -> u16 {
    let crossed = crossed_edges(inside);
    (0..12)
        .filter(|e| crossed >> e & 1 == 1 && sheets.of_edge[*e] == sheet)
        .fold(0, |all, e| all | 1 << e)
}

#[inline]
fn corner_at(cell: [usize; 3], corner: usize) -> [usize; 3] {
    [cell[0] + (corner & 1), cell[1] + (corner >> 1 & 1), cell[2] + (corner >> 2)]
}

/// The sample next to a corner along an axis, outside the cell; the corner is
/// not the first sample of all.
#[inline]
pub(super) fn beside(cell: [usize; 3], corner: usize, axis: usize) -> [usize; 3] {
    let mut at = corner_at(cell, corner);
    at[axis] = if corner >> axis & 1 == 1 { at[axis] + 1 } else { at[axis] - 1 };
    at
}
