//! How placements are drawn.

use crate::judge::JudgeParams;

/// How placements are drawn and judged.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RobustParams {
    /// How a hole is judged.
    pub judge: JudgeParams,
    /// Standard deviation of the entry in each of two directions across the
    /// axis, mm.
    pub entry_sd_mm: f64,
    /// Standard deviation of the direction about each of two axes across it,
    /// rad.
    pub angle_sd_rad: f64,
    /// Standard deviation of the whole component's position in each patient
    /// axis, mm.
    pub shift_sd_mm: f64,
    /// Standard deviation of the whole component's rotation about each patient
    /// axis, rad.
    pub turn_sd_rad: f64,
    /// Placements tried.
    pub samples: usize,
    /// What the draws begin from.
    pub seed: u64,
    /// How what a hole forgives is looked for.
    pub forgive: ForgiveParams,
}

impl RobustParams {
    /// The numbers in use.
    ///
    /// - Entry 1.5 mm and 3.5° per axis: own reading of cadaver and clinical
    ///   series of printed guides, between the best (0.76 ± 0.52 mm, 3.2 ±
    ///   2.3°, spine) and the pelvic ones (median 3.6 mm, 5.9°: Meesters AML
    ///   et al. 2021, J Pers Med 11:763); not published as such.
    /// - Component 3 mm and 4° per axis: own reading of custom flanged
    ///   components, planned against achieved (Bone Jt Open 2024;5-4, 35 hips:
    ///   inclination ± 3.9°, anteversion ± 6.1°, rotation ± 3.2°, centre ± 3
    ///   to 6 mm).
    /// - 1,000 placements: a share is known to 1.6 % or better.
    pub const OWN: Self = Self {
        judge: JudgeParams::OWN,
        entry_sd_mm: 1.5,
        angle_sd_rad: 3.5_f64.to_radians(),
        shift_sd_mm: 3.0,
        turn_sd_rad: 4.0_f64.to_radians(),
        samples: 1000,
        seed: 1,
        forgive: ForgiveParams::OWN,
    };
}

/// How what a hole forgives is looked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ForgiveParams {
    /// Directions looked at, evenly spaced.
    pub azimuths: usize,
    /// Largest shift looked at, mm.
    pub most_shift_mm: f64,
    /// Step in which a failure is looked for, mm; one that is over within a
    /// step may be missed.
    pub shift_step_mm: f64,
    /// To how much the shift is located, mm.
    pub shift_to_mm: f64,
    /// Largest tilt looked at, rad.
    pub most_tilt_rad: f64,
    /// Step in which a failure is looked for, rad.
    pub tilt_step_rad: f64,
    /// To how much the tilt is located, rad.
    pub tilt_to_rad: f64,
}

impl ForgiveParams {
    /// Own choices, no source: beyond 10 mm or 20° a guide is not wrong, it is
    /// on another bone. A step is what a voxel can tell.
    pub const OWN: Self = Self {
        azimuths: 36,
        most_shift_mm: 10.0,
        shift_step_mm: 0.5,
        shift_to_mm: 0.04,
        most_tilt_rad: 20.0_f64.to_radians(),
        tilt_step_rad: 1.0_f64.to_radians(),
        tilt_to_rad: 0.08_f64.to_radians(),
    };
}
