//! Bodies with closed-form answers, lattices of every kind, and a second
//! opinion on topology.

use pilothole_surface::{ClosedSurface, DualContouring, Extract, Extraction, SurfaceNets};
use pilothole_volume::{Field, Grid, Mask, Offset, PatientPoint};

/// A lattice of unit cubes along the patient's axes.
pub(crate) fn unit_grid(size: [usize; 3]) -> Grid {
    placed(size, [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
}

pub(crate) fn placed(size: [usize; 3], steps: [[f64; 3]; 3]) -> Grid {
    Grid::new(size, PatientPoint([-30.0, 12.0, -200.0]), steps.map(Offset)).expect("a lattice")
}

/// Lattices that are oblique, sheared, left-handed, uneven.
pub(crate) fn odd_grids(size: [usize; 3]) -> Vec<Grid> {
    let uneven = (0..size[2]).map(|k| k as f64 + 0.3 * (k % 2) as f64).collect();
    vec![
        unit_grid(size),
        placed(size, [[0.6, 0.3, 0.1], [-0.3, 0.7, 0.2], [0.1, -0.1, 0.8]]),
        placed(size, [[0.5, 0.0, 0.0], [0.0, 0.5, 0.0], [0.3, 0.2, 0.9]]),
        placed(size, [[-0.5, 0.0, 0.0], [0.0, 0.5, 0.0], [0.0, 0.1, 1.2]]),
        unit_grid(size).with_slice_places(uneven).expect("rises"),
    ]
}

/// A field of a body given in voxels: distance to its surface, positive
/// inside.
pub(crate) fn field(grid: &Grid, depth: impl Fn([f64; 3]) -> f64) -> Field {
    let [columns, rows, slices] = grid.size();
    let mut values = Vec::with_capacity(grid.voxel_count());
    for k in 0..slices {
        for j in 0..rows {
            values.extend((0..columns).map(|i| depth([i as f64, j as f64, k as f64]) as f32));
        }
    }
    Field::new(grid.clone(), values).expect("fits")
}

pub(crate) fn ball(centre: [f64; 3], radius: f64) -> impl Fn([f64; 3]) -> f64 {
    move |p| radius - (0..3).map(|n| (p[n] - centre[n]).powi(2)).sum::<f64>().sqrt()
}

pub(crate) fn torus(centre: [f64; 3], ring: f64, tube: f64) -> impl Fn([f64; 3]) -> f64 {
    move |p| {
        let [x, y, z]: [f64; 3] = std::array::from_fn(|n| p[n] - centre[n]);
        tube - (x.hypot(y) - ring).hypot(z)
    }
}

/// A box with sharp edges: the least distance to its six planes.
pub(crate) fn cuboid(low: [f64; 3], high: [f64; 3]) -> impl Fn([f64; 3]) -> f64 {
    move |p| (0..3).map(|n| (p[n] - low[n]).min(high[n] - p[n])).fold(f64::INFINITY, f64::min)
}

/// Both methods on one field.
pub(crate) fn both(field: &Field) -> [Extraction; 2] {
    [
        SurfaceNets.extract_field(field).expect("small"),
        DualContouring.extract_field(field).expect("small"),
    ]
}

pub(crate) fn closed(extraction: Extraction) -> ClosedSurface {
    extraction.closed().expect("closed")
}

/// A small generator of noise with a seed.
pub(crate) struct Noise(u64);

impl Noise {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }

    /// Evenly spread in 0 to 1.
    pub(crate) fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Voxels of which a share belongs.
    pub(crate) fn mask(&mut self, size: [usize; 3], share: f64) -> Mask {
        let draws: Vec<bool> = (0..size.iter().product()).map(|_| self.next() < share).collect();
        Mask::where_true(size, |i| draws[i])
    }
}

/// Euler number that a body's surface must have, by counting cells, faces,
/// edges and corners of the lattice: the body's own is the number of its
/// pieces in all cells, less those in all faces, and so on; its surface's is
/// twice that.
///
/// - `height`: of a sample, positive or 0 inside; not-a-number is outside.
/// - `zero_inside`: whether a height of 0 is inside.
pub(crate) fn expected_euler(
    size: [usize; 3],
    height: impl Fn([usize; 3]) -> f64,
    zero_inside: bool,
) -> i64 {
    let at = |p: [usize; 3]| -> f64 {
        if (0..3).all(|n| p[n] >= 1 && p[n] <= size[n]) {
            height(p.map(|c| c - 1))
        } else {
            f64::NAN
        }
    };
    let inside = |h: f64| h > 0.0 || (zero_inside && h >= 0.0);
    let mut total = 0;
    for k in 0..=size[2] {
        for j in 0..=size[1] {
            for i in 0..=size[0] {
                let heights: Vec<f64> =
                    (0..8).map(|c| at([i + (c & 1), j + (c >> 1 & 1), k + (c >> 2)])).collect();
                total += pieces(&heights, &inside, &[0, 1, 2, 3, 4, 5, 6, 7]);
                for face in [[0, 1, 2, 3], [0, 1, 4, 5], [0, 2, 4, 6]] {
                    total -= pieces(&heights, &inside, &face);
                }
                for edge in [[0, 1], [0, 2], [0, 4]] {
                    total += pieces(&heights, &inside, &edge);
                }
                total -= pieces(&heights, &inside, &[0]);
            }
        }
    }
    2 * total
}

/// Connected pieces of the body in a cell, face, edge or corner: samples inside
/// connect along edges, and across a face whose saddle is inside.
fn pieces(heights: &[f64], inside: &impl Fn(f64) -> bool, corners: &[usize]) -> i64 {
    let body: Vec<usize> = corners.iter().copied().filter(|c| inside(heights[*c])).collect();
    let mut label: Vec<usize> = (0..8).collect();
    for _ in 0..body.len() {
        for a in &body {
            for b in &body {
                if connects(heights, inside, corners, *a, *b) {
                    let least = label[*a].min(label[*b]);
                    label[*a] = least;
                    label[*b] = least;
                }
            }
        }
    }
    body.iter().filter(|c| label[**c] == **c).count() as i64
}

fn connects(
    heights: &[f64],
    inside: &impl Fn(f64) -> bool,
    corners: &[usize],
    a: usize,
    b: usize,
) -> bool {
    let differs = a ^ b;
    match differs.count_ones() {
        1 => true,
        2 => {
            // The other two corners of the face that has a and b opposite.
            let first = differs & differs.wrapping_neg();
            let (c, d) = (a ^ first, b ^ first);
            corners.contains(&c)
                && !inside(heights[c])
                && !inside(heights[d])
                && heights[a] as f32 * heights[b] as f32 > heights[c] as f32 * heights[d] as f32
        }
        _ => false,
    }
}

/// Voxels of a mask as heights: as high inside as low outside, so that nothing
/// joins across a face.
pub(crate) fn mask_height(mask: &Mask) -> impl Fn([usize; 3]) -> f64 + '_ {
    |p| if mask.has(p) { 1.0 } else { -1.0 }
}
