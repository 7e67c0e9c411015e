//! How wrong the guide may sit: every hole under seeded placement errors.
//!
//! The tip's margin, the side wall, the purchase and the grade are looked at
//! again at displaced axes, with the recommended length kept. Ends come from
//! the bone's envelope, moved by as much as the planned path's measured ends
//! lie from it, since placing ends by HU at every placement would take a
//! hundred times as long. What it does not do: bend a drill, or move bone.

mod ends;
mod forgive;
mod normal;
mod params;
mod placement;
mod reading;
mod sequence;
mod set;
mod trial;

pub use normal::inverse_normal;
pub use params::{ForgiveParams, RobustParams};
pub use sequence::{MOST_DIMENSIONS, Points};
pub use set::{HoleShare, SetRobust, robust_set};

pub(crate) use placement::{displaced, normals};

pub(crate) use trial::{Nominal, Trial};

use pilothole_plan::Plan;
use rayon::prelude::*;

use crate::hole::{HoleResult, Robust};
use crate::scene::Scene;

/// Try a hole at seeded placements, and find what it forgives.
///
/// `None` when the hole has no recommended length (so there is no screw to
/// displace), when one of its ends is not known, or when no sample is asked
/// for. A grade is kept when it is the same or better.
///
/// # Accuracy
///
/// Shares have the standard error that is returned with them; it is that of
/// independent draws, and the low-discrepancy points do better. The circle of
/// the thread is known to 1.3 % of its radius. Forgiven shift and tilt are
/// exact to [`ForgiveParams::shift_to_mm`] and [`ForgiveParams::tilt_to_rad`]
/// in the directions looked at.
pub fn robust(
    scene: &Scene<'_>,
    plan: &Plan,
    hole: &HoleResult,
    params: &RobustParams,
) -> Option<Robust> {
    let screw = plan.screw_of(plan.holes.get(hole.hole)?);
    let trial = Trial::new(scene, &plan.policy, screw, &Nominal::of(hole)?, &params.judge)?;
    let samples = params.samples;
    if samples == 0 {
        return None;
    }
    let points = Points::new(params.seed, hole.stream);
    let place = |sample: usize| {
        let z = normals::<4>(&points, sample as u32);
        let shift_mm = [z[0], z[1]].map(|z| z * params.entry_sd_mm);
        let turn_rad = [z[2], z[3]].map(|z| z * params.angle_sd_rad);
        trial.at(displaced(trial.axis, shift_mm, turn_rad))
    };
    let (met, forgiven) = rayon::join(
        || (0..samples).into_par_iter().map(place).collect::<Vec<_>>(),
        || forgive::forgiven(&trial, &params.forgive),
    );
    let purchases_mm: Vec<f64> = met.iter().map(trial::Outcome::purchase_mm).collect();
    let margin = met.iter().filter(|m| m.keeps_margin).count();
    let inside = met.iter().filter(|m| m.stays_inside).count();
    let grade = met.iter().filter(|m| m.grade >= hole.grade).count();
    let mut sorted = purchases_mm.clone();
    sorted.sort_by(f64::total_cmp);
    Some(Robust {
        keeps_margin: share(margin, samples),
        stays_inside: share(inside, samples),
        keeps_grade: share(grade, samples),
        share_se: share_se(&[margin, inside, grade], samples),
        purchase_p10_mm: quantile(&sorted, 0.1),
        purchase_p50_mm: quantile(&sorted, 0.5),
        forgiven_shift_mm: forgiven.shift_mm,
        forgiven_tilt_rad: forgiven.tilt_rad,
        tilt_ring_rad: forgiven.tilt_ring_rad,
        purchases_mm,
        samples,
    })
}

fn share(count: usize, samples: usize) -> f64 {
    count as f64 / samples.max(1) as f64
}

/// The largest standard error of some shares, with two successes and two
/// failures added, so that a share of 0 or 1 is not said to be exact (Agresti
/// and Coull 1998, Am Stat 52:119).
fn share_se(counts: &[usize], samples: usize) -> f64 {
    let n = samples as f64 + 4.0;
    let se = |count: usize| {
        let p = (count as f64 + 2.0) / n;
        (p * (1.0 - p) / n).sqrt()
    };
    counts.iter().map(|count| se(*count)).fold(0.0, f64::max)
}

/// A quantile of sorted values, linear between order statistics (type 7); 0
/// for none.
pub(crate) fn quantile(sorted: &[f64], share: f64) -> f64 {
    let Some(last) = sorted.len().checked_sub(1) else { return 0.0 };
    let at = share * last as f64;
    let low = at.floor() as usize;
    let high = (low + 1).min(last);
    sorted[low] + (at - low as f64) * (sorted[high] - sorted[low])
}
