//! What was asked for, resolved before the work begins.

use pilothole_assess::JudgeParams;
use pilothole_intake::Limits;

/// How one case is run.
#[derive(Clone, Debug)]
pub struct CaseParams {
    /// Ordinal of the series, as `inspect` prints it; `None` takes the only
    /// usable one.
    pub series: Option<usize>,
    /// Bone threshold, HU, asked for on the command line.
    pub threshold_hu: Option<f64>,
    /// HU to density, slope (mg/cm³ per HU) and intercept (mg/cm³), asked for
    /// on the command line.
    pub calibration: Option<[f64; 2]>,
    /// Placements tried a hole.
    pub samples: usize,
    /// Seed of every random draw.
    pub seed: u64,
    /// When the report is written, RFC 3339; `None` for a timeless one.
    pub written_at: Option<String>,
    /// Limits of what is read.
    pub limits: Limits,
    /// How holes are judged.
    pub judge: JudgeParams,
}

impl CaseParams {
    /// Placements tried a hole unless asked otherwise: the standard error of a
    /// share is then at most 1.6 %.
    pub const SAMPLES: usize = 1000;
    /// Most placements that may be asked for a hole; a hundred times as many
    /// as make the standard error smaller than any doubt about the errors.
    pub const MOST_SAMPLES: usize = 100_000;
    /// Seed unless asked otherwise.
    pub const SEED: u64 = 1;

    /// Everything as it is unless asked otherwise, and no time of writing.
    pub fn timeless() -> Self {
        Self {
            series: None,
            threshold_hu: None,
            calibration: None,
            samples: Self::SAMPLES,
            seed: Self::SEED,
            written_at: None,
            limits: Limits::default(),
            judge: JudgeParams::OWN,
        }
    }
}
