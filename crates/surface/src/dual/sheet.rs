//! One sheet of the surface in one cell.

use super::cell::EDGE_CORNERS;

/// What a cell knows of one sheet of the surface, in its own unit cube.
#[derive(Clone, Copy, Debug)]
pub struct Sheet<'a> {
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
pub struct Crossings {
    points: [[f32; 3]; 12],
    normals: [[f32; 3]; 12],
    count: usize,
}

impl Crossings {
    /// The points, 3 to 12, in the cell's unit cube.
    pub fn points(&self) -> &[[f32; 3]] {
        &self.points[..self.count]
    }

    /// The outward unit normals there, in the lattice's space; along an edge
    /// where nothing around is known.
    pub fn normals(&self) -> &[[f32; 3]] {
        &self.normals[..self.count]
    }
}

/// Four of something, one for each edge along an axis.
type Four = [f32; 4];

/// The axes across an edge along each axis.
const ACROSS: [[usize; 2]; 3] = [[1, 2], [0, 2], [0, 1]];
/// Where the edges along each axis start.
const LOW: [[usize; 4]; 3] = [[0, 2, 4, 6], [0, 1, 4, 5], [0, 1, 2, 3]];
/// Place of the edges along an axis on the two axes across.
const PLACES: [Four; 2] = [[0.0, 1.0, 0.0, 1.0], [0.0, 0.0, 1.0, 1.0]];

impl Sheet<'_> {
    /// Least distance of a vertex from its cell's sides, and of a crossing
    /// from its edge's ends, voxels.
    ///
    /// 1/128 keeps vertices of neighbouring cells apart in the f32 of a mesh
    /// file (0.7 mm voxels 500 mm from the origin: 5 µm against 0.03 µm), and
    /// moves a surface that passes exactly through a sample by that much.
    pub const MARGIN: f32 = 1.0 / 128.0;

    /// Farthest that [`Sheet::middle`] lies from [`Sheet::mean`], voxels.
    ///
    /// A sphere of 6 voxels' radius asks for as much; beyond that the slopes
    /// at the samples say little of the surface between them.
    pub const LIFT: f32 = 1.0 / 16.0;

    /// Share of the tangent planes' mean height above [`Sheet::mean`] by which
    /// that is lifted: 0.5 puts the vertex on a sphere, the rest makes up for
    /// the triangles' chords, so that the volume is right.
    pub const LIFT_SHARE: f32 = 0.85;

    /// Whether the cell holds other sheets too.
    pub fn shares_cell(&self) -> bool {
        self.shares_cell
    }

    /// Mean of the crossing points.
    #[inline]
    pub fn mean(&self) -> [f32; 3] {
        let (parts, on) = (parts(self.heights), self.on());
        let share = 1.0 / self.edges.count_ones() as f32;
        mean(&parts, &on).map(|c| c * share)
    }

    /// The mean of the crossing points, lifted onto the surface.
    ///
    /// The mean lies below a curved surface by half of what the tangent planes
    /// at the crossing points lie above it, and the triangles between such
    /// points lie lower still. [`Sheet::LIFT_SHARE`] makes up for both. A flat sheet, and one whose surroundings are
    /// not known, gets the mean.
    #[inline]
    pub fn middle(&self) -> [f32; 3] {
        let (parts, on) = (parts(self.heights), self.on());
        let share = 1.0 / self.edges.count_ones() as f32;
        let mean = mean(&parts, &on).map(|c| c * share);
        let Some(around) = self.around else { return mean };
        let gradients = gradients(self.heights, around);
        // Sums over the crossings of the gradient, and of its product with
        // the place, axis by axis.
        let mut slopes = [[0.0_f32; 4]; 3];
        let mut climbs = [[0.0_f32; 4]; 3];
        for axis in 0..3 {
            let (part, on) = (&parts[axis], &on[axis]);
            for k in 0..3 {
                let place =
                    if k == axis { part } else { &PLACES[usize::from(k != ACROSS[axis][0])] };
                for n in 0..4 {
                    let low = LOW[axis][n];
                    let (from, to) = (gradients[k][low], gradients[k][low | 1 << axis]);
                    let steep = on[n] * (from + part[n] * (to - from));
                    slopes[k][n] += steep;
                    climbs[k][n] += steep * place[n];
                }
            }
        }
        let sum = |four: Four| (four[0] + four[1]) + (four[2] + four[3]);
        let slope = slopes.map(sum);
        let climb = (0..3).map(|k| sum(climbs[k]) - mean[k] * slope[k]).sum::<f32>();
        // Along the mean gradient, by the mean climb over its length.
        let squared = slope.iter().map(|s| s * s).sum::<f32>();
        let factor = Self::LIFT_SHARE * climb / squared;
        let limit = Self::LIFT / squared.sqrt();
        if !factor.is_finite() {
            return mean;
        }
        let factor = factor.clamp(-limit, limit);
        std::array::from_fn(|k| mean[k] + factor * slope[k])
    }

    /// Where the sheet crosses its cell's edges, and which way it faces there.
    pub fn crossings(&self) -> Crossings {
        let mut found = Crossings { points: [[0.0; 3]; 12], normals: [[0.0; 3]; 12], count: 0 };
        for edge in (0..12).filter(|e| self.edges >> e & 1 == 1) {
            found.points[found.count] = crossing(self.heights, edge);
            found.normals[found.count] = self.normal(edge);
            found.count += 1;
        }
        found
    }

    /// One where an edge along an axis is crossed, zero where not.
    #[inline]
    fn on(&self) -> [Four; 3] {
        [0, 4, 8].map(|shift| ON[(self.edges >> shift & 0b1111) as usize])
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

/// What is crossed, as numbers, for each pattern of four edges.
const ON: [Four; 16] = {
    let mut all = [[0.0; 4]; 16];
    let mut pattern = 0;
    while pattern < 16 {
        let mut n = 0;
        while n < 4 {
            if pattern >> n & 1 == 1 {
                all[pattern][n] = 1.0;
            }
            n += 1;
        }
        pattern += 1;
    }
    all
};

/// Where the surface crosses each edge, from its low end, if it does.
#[inline]
fn parts(heights: &[f32; 8]) -> [Four; 3] {
    let mut parts = [[0.0; 4]; 3];
    for axis in 0..3 {
        for n in 0..4 {
            let low = LOW[axis][n];
            parts[axis][n] = part(heights[low], heights[low | 1 << axis]);
        }
    }
    parts
}

/// Where between two samples the surface passes, 0 to 1 but off the ends;
/// halfway where one holds no measurement.
#[inline]
fn part(from: f32, to: f32) -> f32 {
    let part = from / (from - to);
    let part = if part.is_nan() { 0.5 } else { part };
    part.clamp(Sheet::MARGIN, 1.0 - Sheet::MARGIN)
}

/// Sum of the crossing points.
#[inline]
fn mean(parts: &[Four; 3], on: &[Four; 3]) -> [f32; 3] {
    let mut sum = [0.0; 3];
    for axis in 0..3 {
        let [first, second] = ACROSS[axis];
        let on = &on[axis];
        sum[axis] += (0..4).map(|n| on[n] * parts[axis][n]).sum::<f32>();
        sum[first] += on[1] + on[3];
        sum[second] += on[2] + on[3];
    }
    sum
}

/// Slopes at the corners along each axis, over two voxels.
#[inline]
fn gradients(heights: &[f32; 8], around: &[[f32; 8]; 3]) -> [[f32; 8]; 3] {
    let mut gradients = [[0.0; 8]; 3];
    for axis in 0..3 {
        for low in LOW[axis] {
            let high = low | 1 << axis;
            gradients[axis][low] = 0.5 * (heights[high] - around[axis][low]);
            gradients[axis][high] = 0.5 * (around[axis][high] - heights[low]);
        }
    }
    gradients
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
        assert!(is_at(crossing(&heights, 4), [0.0, Sheet::MARGIN, 0.0]));
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
        assert!(is_at(sheet.middle(), mean));
    }

    #[test]
    fn a_kink_takes_the_flatter_side() {
        assert!((limited(1.0, 1.1, 1.0) - 1.05).abs() < 1e-6);
        assert!((limited(-0.5, 0.0, 1.0)).abs() < 1e-6);
        assert!((limited(0.2, 0.9, 1.0) - 0.2).abs() < 1e-6);
    }
}
