//! What is known of each hole beyond its path: strength, and wrong placements.

use pilothole_assess::robust::{RobustParams, robust};
use pilothole_assess::strength::{StrengthParams, strength};
use pilothole_assess::{Finding, HoleResult, Scene};
use pilothole_plan::Plan;
use rayon::prelude::*;

use crate::calibrate::Calibrated;
use crate::params::CaseParams;

/// How placements are drawn for a case.
pub(crate) fn robust_params(params: &CaseParams) -> RobustParams {
    RobustParams {
        judge: params.judge,
        samples: params.samples,
        seed: params.seed,
        ..RobustParams::OWN
    }
}

/// Add strength and robustness to measured holes, in place.
pub(crate) fn hold(
    scene: &Scene<'_>,
    plan: &Plan,
    holes: &mut [HoleResult],
    calibrated: &Calibrated,
    params: &CaseParams,
) {
    let strength_params = calibrated.line().map(StrengthParams::with);
    let robust_params = robust_params(params);
    holes.par_iter_mut().for_each(|hole| {
        match &strength_params {
            Some(strength_params) => {
                let screw = plan.screw_of(&plan.holes[hole.hole]);
                let found = strength(scene, screw, hole, strength_params);
                hole.pullout = found.pullout;
                hole.findings.extend(found.findings);
            }
            None => hole.findings.push(
                Finding::new(
                    "strength.no_law",
                    "The densities are not of hydroxyapatite; no law of strength is stated in them.",
                )
                .of_hole(hole.hole),
            ),
        }
        if params.samples > 0 {
            hole.robust = robust(scene, plan, hole, &robust_params);
        }
    });
}
