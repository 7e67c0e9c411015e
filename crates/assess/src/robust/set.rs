//! All holes at once, with an error of the whole component.

use pilothole_plan::Plan;
use pilothole_volume::Offset;
use rayon::prelude::*;

use super::placement::{Motion, displaced, normals};
use super::sequence::Points;
use super::trial::{Nominal, Trial};
use super::{RobustParams, share, share_se};
use crate::hole::{Grade, HoleResult};
use crate::scene::Scene;

/// What happens to the set when the component and every guide sit wrong.
#[derive(Clone, Debug, PartialEq)]
pub struct SetRobust {
    /// Share of placements in which every hole that was tried keeps its grade,
    /// 0 to 1; `None` when no hole was tried.
    pub keeps_every_grade: Option<f64>,
    /// Standard error of the shares, at most.
    pub share_se: f64,
    /// The same hole by hole, in the order of the plan.
    pub holes: Vec<HoleShare>,
    /// Placements tried.
    pub samples: usize,
}

/// A hole under the errors of its component and its own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HoleShare {
    /// The hole.
    pub hole: usize,
    /// Share of placements whose tip keeps the far-cortex margin, 0 to 1.
    pub keeps_margin: f64,
    /// Share of placements that stay inside sideways, 0 to 1.
    pub stays_inside: f64,
    /// Share of placements that keep the hole's grade, 0 to 1.
    pub keeps_grade: f64,
}

/// Stream of the component's errors.
const COMPONENT: u64 = u64::MAX;

/// Try the set at placements of the whole component.
///
/// In each, the component is turned about the socket's centre and moved, all
/// its holes with it, and then every hole is displaced by its own error as in
/// [`super::robust`]. Holes without a recommended length are left out.
pub fn robust_set(
    scene: &Scene<'_>,
    plan: &Plan,
    holes: &[HoleResult],
    params: &RobustParams,
) -> SetRobust {
    let tried: Vec<(usize, Grade, Trial<'_>, Points)> = holes
        .par_iter()
        .filter_map(|hole| {
            let screw = plan.screw_of(plan.holes.get(hole.hole)?);
            let nominal = Nominal::of(hole)?;
            let trial = Trial::new(scene, &plan.policy, screw, &nominal, &params.judge)?;
            let points = Points::new(params.seed, hole.stream);
            Some((hole.hole, hole.grade, trial, points))
        })
        .collect();
    let common = Points::new(params.seed, COMPONENT);
    // Per placement and hole: margin kept, inside, grade kept.
    let kept: Vec<Vec<[bool; 3]>> = (0..params.samples)
        .into_par_iter()
        .map(|sample| {
            let z = normals::<6>(&common, sample as u32);
            let motion = Motion {
                centre: plan.socket.centre,
                turn_rad: Offset([z[0], z[1], z[2]]) * params.turn_sd_rad,
                shift_mm: Offset([z[3], z[4], z[5]]) * params.shift_sd_mm,
            };
            tried
                .iter()
                .map(|(_, grade, trial, points)| {
                    let own = normals::<4>(points, sample as u32);
                    let axis = displaced(
                        motion.apply(trial.axis),
                        [own[0], own[1]].map(|z| z * params.entry_sd_mm),
                        [own[2], own[3]].map(|z| z * params.angle_sd_rad),
                    );
                    let met = trial.at(axis);
                    [met.keeps_margin, met.stays_inside, met.grade >= *grade]
                })
                .collect()
        })
        .collect();
    summary(&tried.iter().map(|(hole, ..)| *hole).collect::<Vec<_>>(), &kept)
}

fn summary(tried: &[usize], kept: &[Vec<[bool; 3]>]) -> SetRobust {
    let samples = kept.len();
    let all = kept.iter().filter(|row| row.iter().all(|hole| hole[2])).count();
    let mut counts = vec![all];
    let holes = tried
        .iter()
        .enumerate()
        .map(|(at, hole)| {
            let count = |what: usize| kept.iter().filter(|row| row[at][what]).count();
            let found = [count(0), count(1), count(2)];
            counts.extend(found);
            let [keeps_margin, stays_inside, keeps_grade] = found.map(|c| share(c, samples));
            HoleShare { hole: *hole, keeps_margin, stays_inside, keeps_grade }
        })
        .collect();
    SetRobust {
        keeps_every_grade: (!tried.is_empty() && samples > 0).then(|| share(all, samples)),
        share_se: share_se(&counts, samples),
        holes,
        samples,
    }
}
