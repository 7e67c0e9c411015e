//! Cells of about 1.2 mm: voxels pooled where they are finer.

use pilothole_volume::{Direction, Mask, NOTHING_I16, Offset};
use rayon::prelude::*;

use crate::gathered::{bits, marked};
use crate::patch::{Patch, box_of};
use crate::smooth::{Smooth, quotient};

/// Edge of a cell aimed at, mm; half of it costs eight times the time, twice
/// of it joins the two tables of a thin ilium.
const CELL_MM: f64 = 1.2;

/// A lattice of cells over the region, each a whole number of voxels.
#[derive(Clone, Debug)]
pub(crate) struct Cells {
    pub(crate) size: [usize; 3],
    pub(crate) pool: [usize; 3],
    edges: [Offset; 3],
    voxels: [usize; 3],
}

impl Cells {
    pub(crate) fn over(patch: &Patch<'_>) -> Self {
        let steps = patch.grid.steps();
        let pool: [usize; 3] = std::array::from_fn(|a| {
            (CELL_MM / patch.spacing_mm[a] + 1e-6).round().max(1.0) as usize
        });
        let stretch = patch.spacing_mm[2] / steps[2].length_mm();
        let along = [1.0, 1.0, stretch];
        Self {
            size: std::array::from_fn(|a| patch.size[a].div_ceil(pool[a])),
            edges: std::array::from_fn(|a| steps[a] * (along[a] * pool[a] as f64)),
            pool,
            voxels: patch.size,
        }
    }

    pub(crate) fn len(&self) -> usize {
        self.size.iter().product()
    }

    /// The cell that holds a voxel.
    #[inline]
    pub(crate) fn holding(&self, index: [usize; 3]) -> [usize; 3] {
        std::array::from_fn(|a| index[a] / self.pool[a])
    }

    /// First columns beyond the cells that hold a row's columns, the last one's
    /// cut.
    #[inline]
    pub(crate) fn ends(&self, from: usize, to: usize) -> impl Iterator<Item = usize> + use<> {
        let pool = self.pool[0];
        let first = (from / pool + 1) * pool;
        (first..to + pool).step_by(pool).map(move |end| end.min(to))
    }

    /// Array position of a cell.
    #[inline]
    pub(crate) fn position(&self, [x, y, z]: [usize; 3]) -> usize {
        (z * self.size[1] + y) * self.size[0] + x
    }

    /// Mean over each cell's voxels; voxels with [`NOTHING_I16`] are left out, a
    /// cell without any other has it too.
    ///
    /// `fill` writes the values of a row of voxels.
    pub(crate) fn mean(&self, fill: impl Fn(usize, &mut [i16]) + Sync) -> Vec<i16> {
        let plane = self.size[0] * self.size[1];
        let mut means = vec![NOTHING_I16; self.len()];
        means.par_chunks_mut(plane).enumerate().for_each(|(layer, means)| {
            let mut voxels = vec![0_i16; self.voxels[0]];
            let mut sums = vec![0_i32; self.voxels[0]];
            let mut counts = vec![0_i32; self.voxels[0]];
            for (y, means) in means.chunks_mut(self.size[0]).enumerate() {
                sums.fill(0);
                counts.fill(0);
                for row in self.rows_of(y, layer) {
                    fill(row, &mut voxels);
                    count_up(&voxels, &mut sums, &mut counts);
                }
                let (sums, counts) = (self.pooled(&sums), self.pooled(&counts));
                for (mean, (sum, count)) in means.iter_mut().zip(sums.iter().zip(counts)) {
                    *mean = quotient(*sum, count);
                }
            }
        });
        means
    }

    /// Sums over the cells of a row.
    fn pooled(&self, voxels: &[i32]) -> Vec<i32> {
        match self.pool[0] {
            1 => voxels.to_vec(),
            2 => voxels.chunks(2).map(|two| two[0] + two.get(1).unwrap_or(&0)).collect(),
            pool => voxels.chunks(pool).map(|some| some.iter().sum()).collect(),
        }
    }

    /// Cells with a voxel that `fill` marks in its row of voxels.
    pub(crate) fn any(&self, fill: impl Fn(usize, &mut [bool]) + Sync) -> Mask {
        let mut mask = Mask::none(self.size);
        let words = mask.words_per_row();
        mask.words_mut().par_chunks_mut(words).enumerate().for_each_init(
            || vec![false; self.voxels[0]],
            |voxels, (row, words)| {
                for from in self.rows_of(row % self.size[1], row / self.size[1]) {
                    fill(from, voxels);
                    for x in marked(voxels, |voxel| voxel) {
                        let cell = x / self.pool[0];
                        words[cell / 64] |= 1 << (cell % 64);
                    }
                }
            },
        );
        mask
    }

    /// The rows of voxels of a row of cells.
    fn rows_of(&self, y: usize, layer: usize) -> impl Iterator<Item = usize> + use<> {
        let [_, rows, slices] = self.voxels;
        let span = |at: usize, pool: usize, most: usize| at * pool..(at * pool + pool).min(most);
        let lines = span(y, self.pool[1], rows);
        span(layer, self.pool[2], slices)
            .flat_map(move |z| lines.clone().map(move |y| z * rows + y))
    }

    /// Moving mean over a box of about `reach_mm` to each side, cut at the
    /// border; [`NOTHING_I16`] is left out.
    pub(crate) fn smooth(&self, values: &[i16], reach_mm: f64) -> Vec<i16> {
        let reach = self.edges.map(|edge| (reach_mm / edge.length_mm()).round() as usize);
        Smooth { size: self.size, reach }.of(values)
    }

    /// Cells per mm along a direction, for each axis.
    pub(crate) fn slope(&self, direction: Direction) -> [f64; 3] {
        let [a, b, c] = self.edges;
        let volume = a.cross(b).dot(c);
        [b.cross(c), c.cross(a), a.cross(b)].map(|n| n.dot(direction.offset()) / volume)
    }

    /// Cells of which any part may lie within `reach_mm` of the centre of a cell
    /// of the mask.
    pub(crate) fn near(&self, mask: &Mask, reach_mm: f64) -> Mask {
        // A cell's far corner counts, so that no voxel within reach is missed.
        let square: f64 = self.edges.iter().map(|edge| edge.dot(*edge)).sum();
        let reach_mm = reach_mm + 0.5 * square.sqrt();
        let reach = self.edges.map(|edge| (reach_mm / edge.length_mm()).ceil() as isize);
        let ball: Vec<[isize; 3]> = box_of(reach)
            .filter(|[x, y, z]| {
                let [a, b, c] = self.edges;
                let offset = a * *x as f64 + b * *y as f64 + c * *z as f64;
                offset.length_mm() <= reach_mm
            })
            .collect();
        let mut out = Mask::none(self.size);
        for at in (0..self.len()).filter(|at| mask.has(self.index(*at))) {
            let index = self.index(at);
            for step in &ball {
                let to: [isize; 3] = std::array::from_fn(|a| index[a] as isize + step[a]);
                if (0..3).all(|a| to[a] >= 0 && to[a] < self.size[a] as isize) {
                    out.set(to.map(|c| c as usize), true);
                }
            }
        }
        out
    }

    /// Cells within `reach_mm` of a cell of the mask along columns, rows and
    /// slices each.
    pub(crate) fn widened(&self, mask: &Mask, reach_mm: [f64; 3]) -> Mask {
        let reach: [usize; 3] =
            std::array::from_fn(|a| (reach_mm[a] / self.edges[a].length_mm()).ceil() as usize);
        let words = mask.words_per_row();
        let [columns, rows, slices] = self.size;
        let mut along = Mask::none(self.size);
        for (out, row) in along.words_mut().chunks_mut(words).zip(mask.words().chunks(words)) {
            widen_row(row, reach[0], columns, out);
        }
        let across = gathered(&along, reach[1], rows, 1);
        gathered(&across, reach[2], slices, rows)
    }

    fn index(&self, at: usize) -> [usize; 3] {
        let in_plane = at % (self.size[0] * self.size[1]);
        [in_plane % self.size[0], in_plane / self.size[0], at / (self.size[0] * self.size[1])]
    }
}

/// Add the measured voxels of a row to the sums and counts of its columns.
fn count_up(voxels: &[i16], sums: &mut [i32], counts: &mut [i32]) {
    for ((sum, count), voxel) in sums.iter_mut().zip(counts).zip(voxels) {
        let known = *voxel != NOTHING_I16;
        *sum += if known { i32::from(*voxel) } else { 0 };
        *count += i32::from(known);
    }
}

fn widen_row(row: &[u64], reach: usize, columns: usize, out: &mut [u64]) {
    if row.iter().all(|word| *word == 0) {
        return;
    }
    let mut filled = 0;
    for x in bits(row) {
        for to in x.saturating_sub(reach).max(filled)..(x + reach + 1).min(columns) {
            out[to / 64] |= 1 << (to % 64);
        }
        filled = (x + reach + 1).min(columns);
    }
}

/// Each row joined with those within `reach` places of it, `jump` rows apart,
/// of the `count` places along that axis.
fn gathered(mask: &Mask, reach: usize, count: usize, jump: usize) -> Mask {
    let words = mask.words_per_row();
    let mut out = Mask::none(mask.size());
    let rows = mask.words().len() / words;
    for row in 0..rows {
        let from = &mask.words()[row * words..][..words];
        if from.iter().all(|word| *word == 0) {
            continue;
        }
        let place = row / jump % count;
        for to in place.saturating_sub(reach)..(place + reach + 1).min(count) {
            let to_row = row + to * jump - place * jump;
            let to = &mut out.words_mut()[to_row * words..][..words];
            for (to, from) in to.iter_mut().zip(from) {
                *to |= from;
            }
        }
    }
    out
}
