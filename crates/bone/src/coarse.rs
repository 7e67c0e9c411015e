//! Cells of about 1.2 mm: voxels pooled where they are finer.

use pilothole_volume::{Direction, Offset};
use rayon::prelude::*;

use crate::patch::{Patch, box_of};

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
    pub(crate) fn over(patch: &Patch) -> Self {
        let steps = patch.grid.steps();
        let pool: [usize; 3] =
            std::array::from_fn(|a| (CELL_MM / patch.spacing_mm[a]).round().max(1.0) as usize);
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

    /// Array position of the cell that holds a voxel.
    #[inline]
    pub(crate) fn holding(&self, index: [usize; 3]) -> usize {
        let [x, y, z] = [0, 1, 2].map(|a| index[a] / self.pool[a]);
        (z * self.size[1] + y) * self.size[0] + x
    }

    /// Mean over each cell's voxels of `value` of the array position; voxels
    /// with NaN are left out, a cell without any is NaN.
    pub(crate) fn mean(&self, value: impl Fn(usize) -> f32 + Sync) -> Vec<f32> {
        let plane = self.size[0] * self.size[1];
        let mut means = vec![0.0_f32; self.len()];
        means.par_chunks_mut(plane).enumerate().for_each(|(layer, means)| {
            let mut counts = vec![0.0_f32; plane];
            let from = layer * self.pool[2];
            let rows = (from..(from + self.pool[2]).min(self.voxels[2]))
                .flat_map(|z| (0..self.voxels[1]).map(move |y| (y, z)));
            for (y, z) in rows {
                let cells = y / self.pool[1] * self.size[0];
                let row = (z * self.voxels[1] + y) * self.voxels[0];
                self.add_row(row, &value, &mut means[cells..], &mut counts[cells..]);
            }
            for (mean, count) in means.iter_mut().zip(&counts) {
                *mean = if *count > 0.0 { *mean / count } else { f32::NAN };
            }
        });
        means
    }

    #[inline]
    fn add_row(
        &self,
        row: usize,
        value: &impl Fn(usize) -> f32,
        sums: &mut [f32],
        counts: &mut [f32],
    ) {
        let mut cell = 0;
        let mut left = self.pool[0];
        for at in row..row + self.voxels[0] {
            let voxel = value(at);
            if !voxel.is_nan() {
                sums[cell] += voxel;
                counts[cell] += 1.0;
            }
            left -= 1;
            if left == 0 {
                left = self.pool[0];
                cell += 1;
            }
        }
    }

    /// Moving mean over a box of about `reach_mm` to each side; NaN is left out.
    pub(crate) fn smooth(&self, values: &[f32], reach_mm: f64) -> Vec<f32> {
        let reach = self.edges.map(|edge| (reach_mm / edge.length_mm()).round() as usize);
        let mut known: Vec<f32> = values.to_vec();
        let mut any_missing = false;
        for value in &mut known {
            if value.is_nan() {
                *value = 0.0;
                any_missing = true;
            }
        }
        let sums = self.box_sum(known, reach);
        let counts = if any_missing {
            let here = values.iter().map(|v| if v.is_nan() { 0.0 } else { 1.0 }).collect();
            self.box_sum(here, reach)
        } else {
            self.box_sum(vec![1.0; values.len()], reach)
        };
        sums.iter().zip(counts).map(|(s, n)| if n < 0.5 { f32::NAN } else { s / n }).collect()
    }

    /// Sum over a box of `reach` cells to each side, cut at the border.
    fn box_sum(&self, mut values: Vec<f32>, reach: [usize; 3]) -> Vec<f32> {
        let [nx, ny, nz] = self.size;
        let plane = nx * ny;
        values.par_chunks_mut(plane).for_each(|plane| {
            let mut prefix = vec![0.0_f64; nx + 1];
            for row in plane.chunks_mut(nx) {
                sum_row(row, reach[0], &mut prefix);
            }
            let before = plane.to_vec();
            for y in 0..ny {
                let out = &mut plane[y * nx..(y + 1) * nx];
                out.fill(0.0);
                for from in y.saturating_sub(reach[1])..(y + reach[1] + 1).min(ny) {
                    add(out, &before[from * nx..(from + 1) * nx]);
                }
            }
        });
        let mut out = vec![0.0_f32; values.len()];
        out.par_chunks_mut(plane).enumerate().for_each(|(z, out)| {
            for from in z.saturating_sub(reach[2])..(z + reach[2] + 1).min(nz) {
                add(out, &values[from * plane..(from + 1) * plane]);
            }
        });
        out
    }

    /// Cells per mm along a direction, for each axis.
    pub(crate) fn slope(&self, direction: Direction) -> [f64; 3] {
        let [a, b, c] = self.edges;
        let volume = a.cross(b).dot(c);
        [b.cross(c), c.cross(a), a.cross(b)].map(|n| n.dot(direction.offset()) / volume)
    }

    /// Cells of which any part may lie within `reach_mm` of the centre of a cell
    /// whose value is above 0.
    pub(crate) fn near(&self, values: &[f32], reach_mm: f64) -> Vec<bool> {
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
        let mut out = vec![false; values.len()];
        for (at, value) in values.iter().enumerate() {
            if value.is_nan() || *value <= 0.0 {
                continue;
            }
            let index = self.index(at);
            for step in &ball {
                let to: [isize; 3] = std::array::from_fn(|a| index[a] as isize + step[a]);
                if (0..3).all(|a| to[a] >= 0 && to[a] < self.size[a] as isize) {
                    let [x, y, z] = to.map(|c| c as usize);
                    out[(z * self.size[1] + y) * self.size[0] + x] = true;
                }
            }
        }
        out
    }

    /// Cells within `reach_mm`, along columns and along rows, of a cell of the
    /// same slice whose value is above 0.
    pub(crate) fn near_in_slices(&self, values: &[f32], reach_mm: f64) -> Vec<bool> {
        let [nx, ny, _] = self.size;
        let reach = [0, 1].map(|a| (reach_mm / self.edges[a].length_mm()).ceil() as usize);
        let marked: Vec<f32> = values.iter().map(|v| f32::from(u8::from(*v > 0.0))).collect();
        let sums = self.box_sum(marked, [reach[0].min(nx), reach[1].min(ny), 0]);
        sums.iter().map(|sum| *sum > 0.5).collect()
    }

    fn index(&self, at: usize) -> [usize; 3] {
        let in_plane = at % (self.size[0] * self.size[1]);
        [in_plane % self.size[0], in_plane / self.size[0], at / (self.size[0] * self.size[1])]
    }
}

/// Running sums of a row over `reach` to each side.
fn sum_row(row: &mut [f32], reach: usize, prefix: &mut [f64]) {
    let n = row.len();
    for (i, value) in row.iter().enumerate() {
        prefix[i + 1] = prefix[i] + f64::from(*value);
    }
    for (i, value) in row.iter_mut().enumerate() {
        let (low, high) = (i.saturating_sub(reach), (i + reach + 1).min(n));
        *value = (prefix[high] - prefix[low]) as f32;
    }
}

fn add(to: &mut [f32], from: &[f32]) {
    for (to, from) in to.iter_mut().zip(from) {
        *to += from;
    }
}
