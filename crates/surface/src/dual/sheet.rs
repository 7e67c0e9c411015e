//! One sheet of the surface in one cell.

use super::MARGIN;
use super::cell::EDGE_CORNERS;

/// What a cell knows of one sheet of the surface, in its own unit cube.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sheet<'a> {
    /// Heights of the cell's corners.
    pub(super) heights: &'a [f32; 8],
    /// For each axis and corner, the height of the sample next to the corner
    /// outside the cell; carried on from the cell where there is none.
    pub(super) around: Option<&'a [[f32; 8]; 3]>,
    /// Crossed edges, as bits.
    pub(super) edges: u16,
    /// Whether the cell holds other sheets too.
    pub(super) shares_cell: bool,
}

/// Where a sheet crosses the edges of its cell.
#[derive(Clone, Copy, Debug)]
pub(super) struct Crossings {
    points: [[f32; 3]; 12],
    normals: [[f32; 3]; 12],
    count: usize,
}

impl Crossings {
    /// The points, 3 to 12, in the cell's unit cube.
    pub(super) fn points(&self) -> &[[f32; 3]] {
        &self.points[..self.count]
    }

    /// The outward unit normals there, in the lattice's space; along an edge
    /// where nothing around is known.
    pub(super) fn normals(&self) -> &[[f32; 3]] {
        &self.normals[..self.count]
    }
}

/// The axes across an edge along each axis.
const ACROSS: [[usize; 2]; 3] = [[1, 2], [0, 2], [0, 1]];

impl Sheet<'_> {
    /// Mean of the crossing points.
    pub(super) fn mean(&self) -> [f32; 3] {
        let mut mean = [0.0; 3];
        for edge in (0..12).filter(|e| self.edges >> e & 1 == 1) {
            let at = crossing(self.heights, edge);
            mean = std::array::from_fn(|n| mean[n] + at[n]);
        }
        mean.map(|c| c / self.edges.count_ones() as f32)
    }

    /// Where the sheet crosses its cell's edges, and which way it faces there.
    pub(super) fn crossings(&self) -> Crossings {
        let mut found = Crossings { points: [[0.0; 3]; 12], normals: [[0.0; 3]; 12], count: 0 };
        for edge in (0..12).filter(|e| self.edges >> e & 1 == 1) {
            found.points[found.count] = crossing(self.heights, edge);
            found.normals[found.count] = self.normal(edge);
            found.count += 1;
        }
        found
    }

    /// Slope at a corner along an axis, from both sides.
    fn slope(&self, around: &[[f32; 8]; 3], corner: usize, axis: usize, along: f32) -> f32 {
        let own = self.heights[corner];
        let within = self.heights[corner ^ 1 << axis] - own;
        let beyond = own - around[axis][corner];
        if corner >> axis & 1 == 0 {
            limited(beyond, within, along)
        } else {
            limited(-within, -beyond, along)
        }
    }

    /// Outward unit normal where the surface crosses an edge.
    ///
    /// Along the edge the slope is that of its two samples; across it, those of
    /// both samples, mixed in proportion.
    fn normal(&self, edge: usize) -> [f32; 3] {
        let [low, high] = EDGE_CORNERS[edge].map(usize::from);
        let axis = edge / 4;
        let along = self.heights[high] - self.heights[low];
        let mut gradient = [0.0; 3];
        // Not-a-number is outside.
        let outward = if self.heights[low] >= 0.0 { -1.0 } else { 1.0 };
        gradient[axis] = if along.is_finite() { along } else { outward };
        if let Some(around) = self.around.filter(|_| along.is_finite()) {
            let part = crossing(self.heights, edge)[axis];
            for across in ACROSS[axis] {
                let [from, to] = [low, high].map(|c| self.slope(around, c, across, along.abs()));
                gradient[across] = from + part * (to - from);
            }
        }
        let length = gradient.iter().map(|g| g * g).sum::<f32>().sqrt();
        gradient.map(|g| -g / length)
    }
}

/// Where between two samples the surface passes, 0 to 1 but off the ends;
/// halfway where one holds no measurement.
#[inline]
pub(super) fn part(from: f32, to: f32) -> f32 {
    let part = from / (from - to);
    if part.is_nan() { 0.5 } else { between(part, MARGIN, 1.0 - MARGIN) }
}

/// A number kept between two; the lower one for not-a-number.
///
/// `f32::clamp` asks about not-a-number first and so becomes a branch, taken at
/// random; this is two instructions.
#[inline]
pub(super) fn between(value: f32, low: f32, high: f32) -> f32 {
    let value = if value > low { value } else { low };
    if value < high { value } else { high }
}

/// Mean of two one-sided slopes where they agree, the flatter one where the
/// field has a kink (the difference stencil must not reach around an edge of
/// the body), 0 where they oppose each other.
fn limited(back: f32, forth: f32, along: f32) -> f32 {
    /// Bending over one voxel, relative to the slope, that still counts as
    /// smooth: a radius of about seven voxels.
    const SMOOTH: f32 = 0.15;
    let steepest = along.max(back.abs()).max(forth.abs());
    if (back - forth).abs() <= SMOOTH * steepest {
        0.5 * (back + forth)
    } else if back * forth <= 0.0 {
        0.0
    } else if back.abs() < forth.abs() {
        back
    } else {
        forth
    }
}

/// Where the surface crosses an edge, in the cell's unit cube.
#[inline]
pub(super) fn crossing(heights: &[f32; 8], edge: usize) -> [f32; 3] {
    let [low, high] = EDGE_CORNERS[edge];
    let mut at = [f32::from(low & 1), f32::from(low >> 1 & 1), f32::from(low >> 2)];
    at[edge / 4] = part(heights[low as usize], heights[high as usize]);
    at
}

#[cfg(test)]
mod tests {
    use super::*;

    fn is_at(found: [f32; 3], want: [f32; 3]) -> bool {
        found.into_iter().zip(want).all(|(a, b)| (a - b).abs() < 1e-6)
    }

    #[test]
    fn a_crossing_lies_in_proportion_and_off_the_ends() {
        let mut heights = [-1.0; 8];
        heights[0] = 3.0;
        assert!(is_at(crossing(&heights, 0), [0.75, 0.0, 0.0]));
        heights[0] = 0.0;
        assert!(is_at(crossing(&heights, 4), [0.0, MARGIN, 0.0]));
        heights[1] = f32::NAN;
        assert!(is_at(crossing(&heights, 0), [0.5, 0.0, 0.0]));
    }

    #[test]
    fn the_mean_is_that_of_the_crossings() {
        let heights = [0.3, -0.2, -0.9, -1.4, 0.7, 0.4, -0.1, -0.8];
        let edges = super::super::cell::crossed_edges(0b0011_0001);
        let sheet = Sheet { heights: &heights, around: None, edges, shares_cell: false };
        let crossings = sheet.crossings();
        let count = crossings.points().len() as f32;
        let mean =
            std::array::from_fn(|n| crossings.points().iter().map(|p| p[n]).sum::<f32>() / count);
        assert_eq!(crossings.points().len(), edges.count_ones() as usize);
        assert!(is_at(sheet.mean(), mean), "{:?} {mean:?}", sheet.mean());
    }

    #[test]
    fn a_kink_takes_the_flatter_side() {
        assert!((limited(1.0, 1.1, 1.0) - 1.05).abs() < 1e-6);
        assert!((limited(-0.5, 0.0, 1.0)).abs() < 1e-6);
        assert!((limited(0.2, 0.9, 1.0) - 0.2).abs() < 1e-6);
    }
}
