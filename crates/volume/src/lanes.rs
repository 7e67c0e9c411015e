//! Trilinear interpolation at several places together: each step is done for
//! all of them before the next, so that they share its instructions.

use crate::grid::Grid;
use crate::space::VoxelPoint;
use crate::trilinear::{WHOLE, lerp};

/// Places that are read together.
pub const LANES: usize = 8;

/// One number for each place.
pub(crate) type Lanes = [f64; LANES];

/// Lattice positions of places that are read together, along columns, rows and
/// slices.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Places([Lanes; 3]);

impl Places {
    /// Take a place for each lane.
    #[inline]
    pub fn of(at: impl Fn(usize) -> VoxelPoint) -> Self {
        let all: [VoxelPoint; LANES] = std::array::from_fn(at);
        Self(std::array::from_fn(|axis| all.map(|place| place.0[axis])))
    }

    /// The place of a lane.
    ///
    /// # Panics
    ///
    /// When there is no such lane.
    #[inline]
    pub fn at(&self, lane: usize) -> VoxelPoint {
        VoxelPoint([self.0[0][lane], self.0[1][lane], self.0[2][lane]])
    }
}

/// The eight voxels around each of several places.
pub(crate) struct Cells<T> {
    /// Values at the corners; columns change fastest, then rows.
    pub(crate) corners: [[T; LANES]; 8],
    /// How far from the first corner to the last a place lies, along each axis.
    parts: [Lanes; 3],
}

impl<T: Copy + Default> Cells<T> {
    /// The cells around places; `None` where one of these lies outside the
    /// lattice or has a whole coordinate.
    #[expect(clippy::needless_bitwise_bool, reason = "a branch would part the lanes")]
    #[inline]
    pub(crate) fn around(grid: &Grid, places: &Places, all: &[T]) -> Option<Self> {
        let last = grid.last();
        let mut parts = [[0.0; LANES]; 3];
        let mut below = [[0.0; LANES]; 3];
        let mut between = true;
        for axis in 0..3 {
            for lane in 0..LANES {
                let at = places.0[axis][lane];
                // As `floor` there, which alone is quicker with a branch.
                let nearest = (at + WHOLE) - WHOLE;
                let floor = nearest - if nearest > at { 1.0 } else { 0.0 };
                let part = at - floor;
                between &= (at >= 0.0) & (at <= last[axis]) & (part > 0.0);
                (below[axis][lane], parts[axis][lane]) = (floor, part);
            }
        }
        if !between {
            return None;
        }
        let [columns, rows, _] = grid.size();
        let (per_row, per_slice) = (columns as f64, rows as f64);
        let mut first = [0_u64; LANES];
        for lane in 0..LANES {
            // Whole numbers below 2^52, so exact.
            let place = (below[2][lane] * per_slice + below[1][lane]) * per_row + below[0][lane];
            first[lane] = (place + WHOLE).to_bits() & (WHOLE_BITS - 1);
        }
        let mut corners = [[T::default(); LANES]; 8];
        let strides = [0, columns, columns * rows, columns * rows + columns];
        for (lane, first) in first.into_iter().enumerate() {
            for (edge, stride) in strides.into_iter().enumerate() {
                let start = first as usize + stride;
                let both = &all[start..start + 2];
                (corners[2 * edge][lane], corners[2 * edge + 1][lane]) = (both[0], both[1]);
            }
        }
        Some(Self { corners, parts })
    }

    /// The numbers at the places, of those at the corners.
    #[inline]
    pub(crate) fn blended(&self, number: impl Fn(T) -> f64) -> Lanes {
        let [p, q, r] = &self.parts;
        let corner = |i: usize| self.corners[i].map(&number);
        let edge = |i: usize| lerps(&corner(i), &corner(i + 1), p);
        lerps(&lerps(&edge(0), &edge(2), q), &lerps(&edge(4), &edge(6), q), r)
    }
}

/// Where the number 2^52 keeps the whole numbers added to it.
const WHOLE_BITS: u64 = 1 << 52;

#[inline]
fn lerps(low: &Lanes, high: &Lanes, part: &Lanes) -> Lanes {
    let mut out = [0.0; LANES];
    for lane in 0..LANES {
        out[lane] = lerp(low[lane], high[lane], part[lane]);
    }
    out
}
