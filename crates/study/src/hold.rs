//! What is known of each hole beyond its path: strength, and wrong placements.

use pilothole_assess::robust::{RobustParams, robust};
use pilothole_assess::set::guides::play_rad;
use pilothole_assess::strength::{StrengthParams, strength};
use pilothole_assess::{Finding, HoleResult, Scene};
use pilothole_plan::Plan;
use rayon::prelude::*;

use crate::calibrate::Calibrated;
use crate::params::CaseParams;

/// How placements are drawn for a case: the play of the guide's sleeves, as an
/// even tilt to all sides, is added to the error of the angle.
pub(crate) fn robust_params(plan: &Plan, params: &CaseParams) -> RobustParams {
    let guide = &plan.guide;
    let play_rad = play_rad(guide.clearance_mm.value, guide.sleeve_length_mm.value);
    // Tilts spread evenly over a disc of radius r have r / 2 per axis.
    let angle_sd_rad = RobustParams::OWN.angle_sd_rad.hypot(0.5 * play_rad);
    RobustParams {
        judge: params.judge,
        samples: params.samples,
        seed: params.seed,
        angle_sd_rad,
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
    let robust_params = robust_params(plan, params);
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
