//! Trilinear interpolation on a lattice.

use crate::grid::Grid;
use crate::space::VoxelPoint;

/// Interpolation of what `number` makes of each voxel's array position and
/// value.
///
/// Not-a-number outside the box of voxel centres. A corner of weight zero is
/// not looked at, so a voxel centre answers with its own value whatever lies
/// beside it.
#[expect(clippy::inline_always, reason = "a place handed over in memory stalls its reading")]
#[inline(always)]
pub(crate) fn interpolate<T: Copy>(
    grid: &Grid,
    at: VoxelPoint,
    all: &[T],
    number: impl Fn(usize, T) -> f64,
) -> f64 {
    if !grid.holds(at) {
        return f64::NAN;
    }
    let Some(cell) = Cell::between(grid, at) else {
        return on_a_plane(grid, at, |i| number(i, all[i]));
    };
    let corners = cell.corners(all);
    blended(|i| number(cell.place(i), corners[i]), cell.parts)
}

/// Eight voxels, and a place strictly between them.
#[derive(Clone, Copy)]
struct Cell {
    /// Array position of the voxel of least coordinates.
    first: usize,
    /// From a row and from a slice to the next.
    strides: [usize; 2],
    /// How far from that voxel to the opposite one the place lies, along each
    /// axis.
    parts: [f64; 3],
}

impl Cell {
    /// The cell around a place that the lattice holds; `None` where a
    /// coordinate is whole.
    #[expect(clippy::inline_always, reason = "a place handed over in memory stalls its reading")]
    #[inline(always)]
    fn between(grid: &Grid, at: VoxelPoint) -> Option<Self> {
        let [x, y, z] = at.0;
        let (i, j, k) = (floor(x), floor(y), floor(z));
        let parts = [x - i, y - j, z - k];
        if !(parts[0] > 0.0 && parts[1] > 0.0 && parts[2] > 0.0) {
            return None;
        }
        let [columns, rows, _] = grid.size();
        let first = (whole(k) * rows + whole(j)) * columns + whole(i);
        Some(Self { first, strides: [columns, columns * rows], parts })
    }

    /// Array position of a corner; columns change fastest, then rows.
    #[inline]
    fn place(&self, corner: usize) -> usize {
        let [row, slice] = self.strides;
        self.first + corner % 2 + corner / 2 % 2 * row + corner / 4 * slice
    }

    /// The values at the corners, two neighbours at a time.
    #[inline]
    fn corners<T: Copy>(&self, all: &[T]) -> [T; 8] {
        let pair = |corner: usize| {
            let first = self.place(corner);
            let both = &all[first..first + 2];
            [both[0], both[1]]
        };
        let ([a, b], [c, d], [e, f], [g, h]) = (pair(0), pair(2), pair(4), pair(6));
        [a, b, c, d, e, f, g, h]
    }
}

/// The number at a place in a cell, of those at its corners.
#[inline]
fn blended(corner: impl Fn(usize) -> f64, [p, q, r]: [f64; 3]) -> f64 {
    let edge = |i: usize| lerp(corner(i), corner(i + 1), p);
    lerp(lerp(edge(0), edge(2), q), lerp(edge(4), edge(6), q), r)
}

/// Where the parts of a sum are whole numbers: 2^52.
pub(crate) const WHOLE: f64 = 4_503_599_627_370_496.0;

/// The whole number at or below a number from 0 to 2^31; without a call, which
/// `f64::floor` is on plain x86-64.
#[inline]
fn floor(number: f64) -> f64 {
    let nearest = (number + WHOLE) - WHOLE;
    if nearest > number { nearest - 1.0 } else { nearest }
}

/// A whole number from 0 to 2^31 as an index.
#[inline]
fn whole(number: f64) -> usize {
    (number + WHOLE).to_bits() as u32 as usize
}

#[inline]
pub(crate) fn lerp(low: f64, high: f64, part: f64) -> f64 {
    low + part * (high - low)
}

/// As [`interpolate`] where a coordinate of a place within the box is whole.
#[cold]
fn on_a_plane(grid: &Grid, at: VoxelPoint, value: impl Fn(usize) -> f64) -> f64 {
    let size = grid.size();
    let below = |i: usize| (at.0[i] as usize).min(size[i].saturating_sub(2));
    let base = [below(0), below(1), below(2)];
    let part: [f64; 3] = std::array::from_fn(|i| at.0[i] - base[i] as f64);
    let edge = |start: usize| blend(&value, start, 1, part[0]);
    let face = |start: usize| blend(&edge, start, size[0], part[1]);
    blend(&face, grid.offset_of(base), size[0] * size[1], part[2])
}

#[inline]
fn blend(inner: &impl Fn(usize) -> f64, start: usize, stride: usize, part: f64) -> f64 {
    if part <= 0.0 {
        inner(start)
    } else if part >= 1.0 {
        inner(start + stride)
    } else {
        lerp(inner(start), inner(start + stride), part)
    }
}
