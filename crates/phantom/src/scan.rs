//! From a scene to a scan: partial volume, blur, noise, whole numbers.

mod expose;
mod noise;
mod paint;
mod taps;

use pilothole_volume::{Grid, Volume, VolumeError, Voxels};

use crate::scene::Scene;

pub(crate) use noise::uniform;

/// How a scanner sees.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scanner {
    /// Standard deviation of the blur along columns, rows, slices, mm. 0: a
    /// voxel is the average over its own box. Else: the blurred scene at the
    /// voxel's centre.
    pub blur_mm: [f64; 3],
    /// Fine cells along each edge of a voxel on which the blur is computed:
    /// odd, 1 to 9. With 1, edges finer than a voxel are felt by their share
    /// of it, which leaves a few per cent of a step's height; with 3 or more,
    /// and a blur of half a voxel, less than half a per cent.
    pub cells: usize,
    /// Standard deviation of white Gaussian noise, HU.
    pub noise_hu: f64,
    /// Of the noise; slices draw from streams of their own.
    pub seed: u64,
    /// Parts along each edge of a fine cell that a surface crosses, 1 to 8.
    pub fineness: usize,
    /// Largest value that is stored, HU; what is above is cut to it.
    pub ceiling_hu: Option<f64>,
    /// Whether values are rounded to whole HU.
    pub rounding: Rounding,
}

/// How values are stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rounding {
    /// Whole Hounsfield units, 16 bit.
    Whole,
    /// As computed, 32 bit.
    Exact,
}

impl Scanner {
    /// No blur, no noise, nothing rounded: only the voxels' own averaging.
    pub const PERFECT: Self = Self {
        blur_mm: [0.0; 3],
        cells: 1,
        noise_hu: 0.0,
        seed: 0,
        fineness: 4,
        ceiling_hu: None,
        rounding: Rounding::Exact,
    };

    /// Scan a scene.
    ///
    /// Averages are exact for planes; for curved surfaces to the square of a
    /// part of a cell. Then comes noise, then cutting and rounding.
    ///
    /// # Errors
    ///
    /// [`VolumeError`] never, as the voxels come from the grid.
    pub fn scan(&self, scene: &Scene, grid: &Grid) -> Result<Volume, VolumeError> {
        let hu = self.expose(scene, grid);
        self.store(hu, grid)
    }

    /// The blurred averages, before noise and rounding.
    pub(crate) fn expose(&self, scene: &Scene, grid: &Grid) -> Vec<f32> {
        let detail = expose::Detail {
            cells: self.cells.clamp(1, 9) | 1,
            fineness: self.fineness.clamp(1, 8),
        };
        expose::expose(scene, grid, self.blur_mm, detail)
    }

    /// Noise, ceiling and rounding.
    pub(crate) fn store(&self, mut hu: Vec<f32>, grid: &Grid) -> Result<Volume, VolumeError> {
        noise::add_noise(&mut hu, grid.size(), self.noise_hu, self.seed);
        if let Some(ceiling) = self.ceiling_hu {
            for value in &mut hu {
                *value = value.min(ceiling as f32);
            }
        }
        let voxels = match self.rounding {
            Rounding::Exact => Voxels::F32(hu),
            Rounding::Whole => Voxels::I16(
                hu.into_iter().map(|v| v.round().clamp(-32_767.0, 32_767.0) as i16).collect(),
            ),
        };
        Volume::new(grid.clone(), voxels, self.ceiling_hu)
    }
}
