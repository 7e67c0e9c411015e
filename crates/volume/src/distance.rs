//! Exact Euclidean distances on a lattice with square axes.

use rayon::prelude::*;

use crate::grid::Grid;
use crate::mask::Mask;

/// Distance, mm, from every voxel's centre to the nearest centre of a voxel in
/// the mask; infinite when the mask is empty.
///
/// Separable lower envelope of parabolas (Felzenszwalb and Huttenlocher 2012,
/// Theory of Computing 8:415, doi 10.4086/toc.2012.v008a019) with the true,
/// possibly uneven, slice positions. Exact to f32 rounding.
///
/// # Errors
///
/// [`DistanceError`] on a sheared lattice, where the axes cannot be taken one
/// by one, and when the sizes differ.
pub fn distance_mm(grid: &Grid, mask: &Mask) -> Result<Vec<f32>, DistanceError> {
    let size = grid.size();
    if mask.size() != size {
        return Err(DistanceError::Size);
    }
    if !grid.is_orthogonal() {
        return Err(DistanceError::Sheared);
    }
    let [columns, rows, slices] = size;
    let mut squared = vec![f32::INFINITY; grid.voxel_count()];
    let spacing = grid.spacing_mm();
    let even = |count: usize, step: f64| (0..count).map(|i| i as f64 * step).collect::<Vec<_>>();
    let slice_step = grid.steps()[2].length_mm();
    let places = match grid.slice_places() {
        Some(places) => places.iter().map(|p| p * slice_step).collect(),
        None => even(slices, spacing[2]),
    };
    let (x, y) = (even(columns, spacing[0]), even(rows, spacing[1]));

    squared.par_chunks_mut(columns * rows).enumerate().for_each(|(slice, plane)| {
        let mut work = Work::new(columns.max(rows));
        for row in 0..rows {
            let line = &mut plane[row * columns..(row + 1) * columns];
            for (column, value) in line.iter_mut().enumerate() {
                if mask.has([column, row, slice]) {
                    *value = 0.0;
                }
            }
            work.pass(&x, line.len(), |i| line[i]);
            line.copy_from_slice(&work.out[..columns]);
        }
        for column in 0..columns {
            work.pass(&y, rows, |i| plane[i * columns + column]);
            for row in 0..rows {
                plane[row * columns + column] = work.out[row];
            }
        }
    });
    across_slices(&mut squared, [columns * rows, slices], &places);
    Ok(squared)
}

/// The last pass, along slices, on columns of voxels; roots are taken here.
fn across_slices(squared: &mut [f32], [plane, slices]: [usize; 2], places: &[f64]) {
    const BLOCK: usize = 64;
    let read: &[f32] = squared;
    let blocks: Vec<Vec<f32>> = (0..plane.div_ceil(BLOCK))
        .into_par_iter()
        .map(|block| {
            let (from, to) = (block * BLOCK, ((block + 1) * BLOCK).min(plane));
            let mut work = Work::new(slices);
            let mut done = vec![0.0; (to - from) * slices];
            for at in from..to {
                work.pass(places, slices, |k| read[k * plane + at]);
                for k in 0..slices {
                    done[k * (to - from) + at - from] = work.out[k].sqrt();
                }
            }
            done
        })
        .collect();
    squared.par_chunks_mut(plane).enumerate().for_each(|(k, out)| {
        for (block, done) in blocks.iter().enumerate() {
            let (from, to) = (block * BLOCK, ((block + 1) * BLOCK).min(plane));
            out[from..to].copy_from_slice(&done[k * (to - from)..(k + 1) * (to - from)]);
        }
    });
}

/// Room for one line's lower envelope.
struct Work {
    foot: Vec<usize>,
    starts: Vec<f64>,
    height: Vec<f64>,
    out: Vec<f32>,
}

impl Work {
    fn new(longest: usize) -> Self {
        Self {
            foot: vec![0; longest],
            starts: vec![0.0; longest + 1],
            height: vec![0.0; longest],
            out: vec![0.0; longest],
        }
    }

    /// `out[i]` = min over j of `value(j)` + (x[i] - x[j])².
    fn pass(&mut self, x: &[f64], count: usize, value: impl Fn(usize) -> f32) {
        let mut parabolas = 0;
        for j in 0..count {
            let own = f64::from(value(j));
            self.height[j] = own;
            if own.is_infinite() {
                continue;
            }
            let mut start = f64::NEG_INFINITY;
            while parabolas > 0 {
                let last = self.foot[parabolas - 1];
                start = ((own + x[j] * x[j]) - (self.height[last] + x[last] * x[last]))
                    / (2.0 * (x[j] - x[last]));
                if start > self.starts[parabolas - 1] {
                    break;
                }
                parabolas -= 1;
                start = f64::NEG_INFINITY;
            }
            self.foot[parabolas] = j;
            self.starts[parabolas] = start;
            parabolas += 1;
        }
        if parabolas == 0 {
            self.out[..count].fill(f32::INFINITY);
            return;
        }
        let mut current = 0;
        for i in 0..count {
            while current + 1 < parabolas && self.starts[current + 1] <= x[i] {
                current += 1;
            }
            let foot = self.foot[current];
            self.out[i] = (self.height[foot] + (x[i] - x[foot]).powi(2)) as f32;
        }
    }
}

/// Why distances could not be measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum DistanceError {
    /// The lattice's axes are not square to each other.
    #[error("distances need square axes; resample the sheared lattice first")]
    Sheared,
    /// The mask is not of the lattice's size.
    #[error("the mask is not of the lattice's size")]
    Size,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::{Direction, PatientPoint};
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn distances_equal_the_brute_force(bits in proptest::collection::vec(0u8..12, 7 * 6 * 5)) {
            let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
            let grid = Grid::from_axes([7, 6, 5], PatientPoint([0.0; 3]), axes, [0.5, 0.8, 2.0])
                .expect("orthogonal")
                .with_slice_places(vec![0.0, 0.5, 1.75, 2.0, 3.5])
                .expect("rising");
            let mask = Mask::where_true(grid.size(), |i| bits[i] == 0);
            let found = distance_mm(&grid, &mask).expect("square axes");
            let index = |i: usize| [i % 7, i / 7 % 6, i / 42];
            for (i, got) in found.iter().enumerate() {
                let want = (0..found.len())
                    .filter(|j| bits[*j] == 0)
                    .map(|j| grid.centre_of(index(i)).distance_mm(grid.centre_of(index(j))))
                    .fold(f64::INFINITY, f64::min);
                prop_assert!((f64::from(*got) - want).abs() < 1e-5 || want.is_infinite() && got.is_infinite());
            }
        }
    }
}
