//! What a strength is computed with.

use super::law::{CortexLaw, DensityLine, ShearLaw};

/// What a strength is computed with.
#[derive(Clone, Debug, PartialEq)]
pub struct StrengthParams {
    /// How HU become density in this scan.
    pub calibration: DensityLine,
    /// Laws of cancellous bone; the first gives the estimate, the others are
    /// shown beside it.
    pub laws: Vec<ShearLaw>,
    /// Law of the cortex.
    pub cortex: CortexLaw,
    /// Factor on the thread shape factor: 1 for a solid screw,
    /// [`super::CANNULATED`] for a cannulated one.
    pub thread_scale: f64,
    /// Relative standard deviation of what the thread's shape predicts.
    pub thread_sd: f64,
    /// Standard deviation of an end of the bone where the path does not state
    /// its own, mm.
    pub edge_sd_mm: f64,
    /// Yield strength of the screw, N/mm²: Ti-6Al-4V ELI (confirmed by a second
    /// source; sheet 2 §2.3).
    pub yield_mpa: f64,
    /// Draws of the propagation; 0 for the estimate alone.
    pub samples: usize,
    /// What the draws begin from.
    pub seed: u64,
}

impl StrengthParams {
    /// The laws and spreads in use, for a calibration.
    ///
    /// - Thread 7 %: residual of the law over eleven modern screws in foam
    ///   (computed from Weidling M et al. 2022, Sci Rep 12:8051, Table 2).
    /// - Edge 0.25 mm: own choice; on plates of known place the median error
    ///   of an end is below a fifth of a voxel.
    pub fn with(calibration: DensityLine) -> Self {
        Self {
            calibration,
            laws: vec![
                ShearLaw::STONE_1983,
                ShearLaw::CARTER_HAYES_1977,
                ShearLaw::KELLER_1994,
                ShearLaw::KEYAK_1998,
            ],
            cortex: CortexLaw::TURNER_2001,
            thread_scale: 1.0,
            thread_sd: 0.07,
            edge_sd_mm: 0.25,
            yield_mpa: 795.0,
            samples: 512,
            seed: 1,
        }
    }
}
