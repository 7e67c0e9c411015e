//! From the shared flags to the parameters of a case.

use pilothole_study::{CaseError, CaseParams, Replace, now};

use crate::args::{Measure, Out};
use crate::terminal::Failure;

/// Resolve the shared flags, and set the number of threads.
pub(crate) fn resolve(flags: &Measure) -> Result<CaseParams, Failure> {
    let usage = |text: String| Failure { error: CaseError::Usage(text), json: flags.json };
    let mut params = CaseParams::timeless();
    params.series = flags.series;
    if let Some(threshold_hu) = flags.threshold_hu {
        if !(-200.0..=3000.0).contains(&threshold_hu) {
            return Err(usage(format!(
                "--threshold-hu is {threshold_hu} HU, expected -200 to 3000 HU"
            )));
        }
        params.threshold_hu = Some(threshold_hu);
    }
    params.calibration = flags.calibration;
    if let Some(samples) = flags.samples {
        if samples > CaseParams::MOST_SAMPLES {
            return Err(usage(format!(
                "--samples is {samples}, expected at most {}",
                CaseParams::MOST_SAMPLES
            )));
        }
        params.samples = samples;
    }
    if let Some(seed) = flags.seed {
        params.seed = seed;
    }
    if !flags.timeless {
        params.written_at = now();
    }
    if let Some(threads) = flags.threads {
        if threads == 0 {
            return Err(usage("--threads is 0, expected 1 or more".to_owned()));
        }
        rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build_global()
            .map_err(|_pool| usage("the threads could not be started".to_owned()))?;
    }
    Ok(params)
}

/// What may stand where the results go.
pub(crate) fn replace(out: &Out) -> Replace {
    if out.replace { Replace::Anything } else { Replace::EarlierResults }
}
