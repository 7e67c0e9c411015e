//! Closed-form bones in CT: shells, tubes and plates with exact blur.

use pilothole_volume::{Direction, Grid, PatientPoint, Volume, Voxels};

/// Soft tissue around every bone, HU.
pub(crate) const SOFT_HU: f64 = 50.0;

/// A lattice of cubic or oblong voxels centred on the origin.
pub(crate) fn lattice(half_mm: f64, spacing_mm: [f64; 3]) -> Grid {
    let size = spacing_mm.map(|s| (2.0 * half_mm / s).round() as usize + 1);
    let origin = std::array::from_fn(|a| -0.5 * (size[a] - 1) as f64 * spacing_mm[a]);
    let axes = [Direction::LEFT, Direction::POSTERIOR, Direction::SUPERIOR];
    Grid::from_axes(size, PatientPoint(origin), axes, spacing_mm).expect("a lattice")
}

/// A body given by its signed depth below the outer surface.
pub(crate) struct Bone<F: Fn([f64; 3]) -> f64> {
    /// Depth, mm, positive inside; a true distance near the surface.
    pub(crate) depth: F,
    pub(crate) cortex_mm: f64,
    pub(crate) cortex_hu: f64,
    pub(crate) marrow_hu: f64,
}

/// What the scanner adds.
#[derive(Clone, Copy)]
pub(crate) struct Scanner {
    pub(crate) noise_hu: f64,
    pub(crate) seed: u64,
}

impl<F: Fn([f64; 3]) -> f64> Bone<F> {
    /// HU above soft tissue of the blurred body, for surfaces flat on the
    /// scale of the blur.
    pub(crate) fn added_hu(&self, at: [f64; 3], sigma_mm: f64) -> f64 {
        let depth = (self.depth)(at);
        let step = |d: f64| 0.5 * (1.0 + erf(d / (std::f64::consts::SQRT_2 * sigma_mm)));
        (self.cortex_hu - SOFT_HU) * step(depth)
            + (self.marrow_hu - self.cortex_hu) * step(depth - self.cortex_mm)
    }
}

/// Scan: the sum of the bodies, averaged over 2 by 2 by 2 points a voxel.
pub(crate) fn scan(grid: &Grid, scanner: Scanner, added: impl Fn([f64; 3]) -> f64) -> Volume {
    let mut noise = Noise(scanner.seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1);
    let size = grid.size();
    let spacing = grid.spacing_mm();
    let hu = (0..grid.voxel_count())
        .map(|at| {
            let index = [at % size[0], at / size[0] % size[1], at / (size[0] * size[1])];
            let centre = grid.centre_of(index).0;
            let corner = |corner: usize| {
                let side = |a: usize| if corner >> a & 1 == 1 { 0.25 } else { -0.25 };
                added(std::array::from_fn(|a| centre[a] + spacing[a] * side(a)))
            };
            let mean = (0..8).map(corner).sum::<f64>() / 8.0;
            let value = SOFT_HU + mean + scanner.noise_hu * noise.next();
            value.round().clamp(-1024.0, 3071.0) as i16
        })
        .collect();
    Volume::new(grid.clone(), Voxels::I16(hu), Some(3071.0)).expect("fits")
}

/// Deterministic noise of unit variance: sum of twelve uniforms.
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        let mut sum = -6.0;
        for _ in 0..12 {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            sum += (self.0 >> 11) as f64 / (1_u64 << 53) as f64;
        }
        sum
    }
}

/// Abramowitz and Stegun 7.1.26, 1.5e-7.
fn erf(x: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.327_591_1 * x.abs());
    let poly = t
        * (0.254_829_592
            + t * (-0.284_496_736
                + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429))));
    (1.0 - poly * (-x * x).exp()).copysign(x)
}
